//! What shows through from a page's back: how far its bare paper dips.

use super::{Cells, UNDER_FLAT};

/// How far under the surface a cell as a whole may lie and tell of it: the back in solid ink at 8 %.
const UNDER_THROUGH: f64 = 0.09;
/// Cells that are near, when the dip of a drawing's paper from paper beside is looked for.
const NEAR: usize = 3;
/// Cells that differ by more than this from paper two cells away do not: what is lit round slopes away so.
const SLOPING: f64 = 0.018;

impl Cells {
    /// How far the darkest of a cell of paper dips, by what shows through: from the surface where the cell lies on it,
    /// else from the brightest paper near, for print has edges. `None` too far under.
    pub(super) fn dip_of_drawing(&self, i: usize, surface: &[f64], paper: &[bool]) -> Option<f64> {
        let under = surface[i] - self.bright[i];
        if under < UNDER_FLAT {
            return Some(self.dark[i] - surface[i]);
        }
        let (x, y) = (i % self.width, i / self.width);
        let near = (y.saturating_sub(NEAR)..(y + NEAR + 1).min(self.height))
            .flat_map(|y| (x.saturating_sub(NEAR)..(x + NEAR + 1).min(self.width)).map(move |x| (x, y)))
            .map(|(x, y)| y * self.width + x)
            .filter(|&j| paper[j])
            .map(|j| self.bright[j].min(surface[j]))
            .fold(self.bright[i], f64::max);
        (under < UNDER_THROUGH).then_some(self.dark[i] - near)
    }

    /// The same where tones are: not by the darkest pixels, which in a grain lie far under what the eye reads, and by steps,
    /// because the lights of a lit form slope away from paper.
    pub(super) fn dip_of_tones(&self, i: usize, surface: &[f64], bare: &[bool]) -> Option<f64> {
        let under = surface[i] - self.bright[i];
        if under < UNDER_FLAT {
            return Some(self.bright[i] - self.uneven[i] - surface[i]);
        }
        let step = self
            .across(i)
            .filter(|&(j, o)| [j, (i + j) / 2, (i + o) / 2, o].iter().all(|&c| bare[c]))
            .map(|(j, o)| {
                let sides = [self.mean[j] - self.mean[i], self.mean[i] - self.mean[o]].map(f64::abs);
                sides[0].max(sides[1]) - sides[0].min(sides[1])
            });
        (under < UNDER_THROUGH).then(|| -step.fold(0.0, f64::max))
    }

    /// Pairs of cells on opposite sides of one, two cells away.
    fn across(&self, i: usize) -> impl Iterator<Item = (usize, usize)> {
        let (w, h, x, y) = (self.width, self.height, i % self.width, i / self.width);
        let sideways = (x >= 2 && x + 2 < w).then(|| (i - 2, i + 2));
        let upright = (y >= 2 && y + 2 < h).then(|| (i - 2 * w, i + 2 * w));
        [sideways, upright].into_iter().flatten()
    }

    /// Whether a cell lies on a slope of bare paper beside it, as the lights of forms do.
    pub(super) fn slopes(&self, i: usize, bare: &[bool]) -> bool {
        self.across(i)
            .flat_map(|(j, o)| [j, o])
            .any(|j| bare[j] && bare[(i + j) / 2] && (self.mean[j] - self.mean[i]).abs() > SLOPING)
    }
}
