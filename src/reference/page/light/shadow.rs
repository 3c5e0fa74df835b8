//! A shadow that comes in over the page's margin, followed into the picture by the tones it lies on.
//!
//! Margins say that a shadow is there and how deep it is, not where it ends inside. Most tones are even, and a shadow's soft
//! end is the one thing that makes even tones slope together: so the light's rises are taken from the tones', robustly, for
//! a shaded form slopes by itself. Without a shadow on the margin nothing of this is done: what grades softly is tone.

use super::super::surface::{Figures, Step, surface_by_steps};
use super::{Cells, rank};

/// How far under the light without it the margin's darkest parts (this share of it) lie, before a shadow is seen there.
const SEEN: f64 = 0.04;
const SEEN_SHARE: f64 = 0.02;
/// Rounds of finding the light without the shadow, by how far under it margin may lie and have a part in it.
const UNDERS: [f64; 12] = [0.15, 0.13, 0.11, 0.097, 0.084, 0.073, 0.063, 0.055, 0.047, 0.041, 0.035, 0.03];
/// A cell is of one tone when the means of its quarters differ by less than this ...
const EVEN: f64 = 0.2;
/// ... and two cells are of the same tone when they differ by less than this, and half of it after smoothing.
const SAME: f64 = 0.1;
/// Fewest of a cell's neighbourhood of 5 x 5, itself included, that have to be of its tone.
const FEWEST_SAME: usize = 5;
/// Cells from one end of a rise to the other: noise and grain are the less in it the farther they lie apart.
const APART: usize = 3;
/// Weight of a rise against a cell of margin.
const RISE_WEIGHT: f64 = 10.0;
/// How much steeper than on the margin a shadow's end may be inside; the rises of those margins, by rank.
const STEEPER: f64 = 1.5;
const STEEP_RANK: f64 = 0.99;
/// Weight of "there is no shadow" in a cell, and where the surface is lighter than without one or is no part of the
/// shadow: light only just has to keep to the margins' there.
const NONE_WEIGHT: f64 = 0.02;
const NONE_AT_ALL: f64 = 1.0;
/// Rounds of a redescending estimate (Geman & McClure 1987), ever less forgiving: scale of rises that the surface does not
/// follow, and of shadow where none may be.
const SCALES: [[f64; 2]; 8] = [
    [0.09, 0.2],
    [0.09, 0.15],
    [0.06, 0.1],
    [0.06, 0.07],
    [0.04, 0.05],
    [0.04, 0.04],
    [0.03, 0.03],
    [0.03, 0.03],
];
/// The last of them again, after what is not joined to the margin's shadow has been left out.
const AGAIN: usize = 2;
/// From how deep on it belongs to the shadow, and how many cells farther its end still may.
const JOINED: f64 = 0.02;
const JOINED_BEYOND: usize = 2;

/// What is known of a shadow over the margin.
pub(super) struct Shadow<'a> {
    cells: &'a Cells,
    rim: &'a [bool],
    /// Log light without the shadow.
    without: Vec<f64>,
    /// Rises of tones inside, over the light without the shadow; their weights are set by each round.
    rises: Vec<(usize, usize, f64)>,
}

/// Weight of a residual: 1 for none, falling to 0.
fn forgiving(residual: f64, scale: f64) -> f64 {
    (1.0 + (residual / scale).powi(2)).powi(-2)
}

impl<'a> Shadow<'a> {
    /// The shadow over the margin, if one is seen there.
    pub(super) fn over(cells: &'a Cells, rim: &'a [bool]) -> Option<Self> {
        let without = cells.upper(|i| rim[i], &UNDERS)?;
        let under: Vec<f64> = (0..cells.len()).map(|i| cells.bright[i] - without[i]).collect();
        let mut margin: Vec<f64> = (0..cells.len()).filter(|&i| rim[i]).map(|i| under[i]).collect();
        if margin.is_empty() || rank(&mut margin, SEEN_SHARE) > -SEEN {
            return None;
        }
        let weights: Vec<f64> = rim.iter().map(|&r| f64::from(u8::from(r))).collect();
        let figures = Figures { width: cells.width, height: cells.height, values: &under, weights: &weights };
        let on_rim = surface_by_steps(&figures, &[])?;
        let mut slopes: Vec<f64> = pairs(cells)
            .filter(|&(from, to, _)| rim[from] && rim[to])
            .map(|(from, to, _)| (on_rim[to] - on_rim[from]).abs())
            .collect();
        let steepest = STEEPER * rank(&mut slopes, STEEP_RANK);
        let tones = Tones::of(cells, rim, &without);
        let rises = pairs(cells)
            .filter(|&(from, to, step)| tones.together(from, to, step))
            .map(|(from, to, _)| (from, to, tones.smooth[to] - tones.smooth[from]))
            .filter(|(_, _, rise)| rise.abs() < steepest)
            .collect();
        Some(Self { cells, rim, without, rises })
    }

    /// The log light of paper, shadow included, through paper (weights of its cells) and by what the tones between say.
    pub(super) fn surface(&self, paper: &[f64]) -> Option<Vec<f64>> {
        let cells = self.cells;
        let under: Vec<f64> = (0..cells.len()).map(|i| cells.bright[i] - self.without[i]).collect();
        let figures = Figures { width: cells.width, height: cells.height, values: &under, weights: paper };
        let mut depth = surface_by_steps(&figures, &[])?;
        for scales in SCALES {
            depth = self.round(&under, paper, &depth, scales, None)?;
        }
        let part = self.joined(&under, &depth);
        for scales in &SCALES[SCALES.len() - AGAIN..] {
            depth = self.round(&under, paper, &depth, *scales, Some(&part))?;
        }
        Some((0..cells.len()).map(|i| self.without[i] + depth[i]).collect())
    }

    /// One round: how far under the light without it the light lies, 0 or less.
    fn round(
        &self,
        under: &[f64],
        paper: &[f64],
        depth: &[f64],
        [rise_scale, none_scale]: [f64; 2],
        part: Option<&[bool]>,
    ) -> Option<Vec<f64>> {
        let cells = self.cells;
        let of_it = |i: usize| part.is_none_or(|p| p[i]);
        let (mut values, mut weights) = (vec![0.0; cells.len()], vec![0.0; cells.len()]);
        for i in (0..cells.len()).filter(|&i| !cells.outermost(i)) {
            (values[i], weights[i]) = match depth[i] {
                _ if paper[i] > 0.0 => (under[i], paper[i]),
                d if d > 0.0 || !of_it(i) => (0.0, NONE_AT_ALL),
                d => (0.0, NONE_WEIGHT * forgiving(d, none_scale)),
            };
        }
        let steps: Vec<Step> = self
            .rises
            .iter()
            .filter(|&&(from, to, _)| of_it(from) && of_it(to))
            .map(|&(from, to, rise)| {
                let residual = rise - (depth[to] - depth[from]);
                Step { from, to, rise, weight: RISE_WEIGHT * forgiving(residual, rise_scale) }
            })
            .collect();
        let figures =
            Figures { width: cells.width, height: cells.height, values: &values, weights: &weights };
        surface_by_steps(&figures, &steps)
    }

    /// The cells that a shadow reaches from the margin without a gap, and a few beyond.
    fn joined(&self, under: &[f64], depth: &[f64]) -> Vec<bool> {
        let cells = self.cells;
        let mut part: Vec<bool> = (0..cells.len()).map(|i| self.rim[i] && under[i] < -SEEN).collect();
        let mut next: Vec<usize> = (0..cells.len()).filter(|&i| part[i]).collect();
        while let Some(i) = next.pop() {
            for j in cells.beside(i) {
                if !part[j] && depth[j] < -JOINED {
                    part[j] = true;
                    next.push(j);
                }
            }
        }
        for _ in 0..JOINED_BEYOND {
            let grown = (0..cells.len()).map(|i| part[i] || cells.beside(i).any(|j| part[j])).collect();
            part = grown;
        }
        part
    }
}

/// Cells [`APART`] from each other along a row or a column, and the step from one cell to the next between them.
fn pairs(cells: &Cells) -> impl Iterator<Item = (usize, usize, usize)> {
    let (w, h) = (cells.width, cells.height);
    (0..cells.len()).flat_map(move |i| {
        let across = (i % w + APART < w).then_some((i, i + APART, 1));
        let down = (i / w + APART < h).then_some((i, i + APART * w, w));
        [across, down].into_iter().flatten()
    })
}

/// Even tones inside the margins, over the light without the shadow.
struct Tones {
    even: Vec<bool>,
    /// Log light over that without the shadow: means over neighbours of the same tone.
    smooth: Vec<f64>,
}

impl Tones {
    fn of(cells: &Cells, rim: &[bool], without: &[f64]) -> Self {
        let over: Vec<f64> = (0..cells.len()).map(|i| cells.mean[i] - without[i]).collect();
        let inside: Vec<bool> =
            (0..cells.len()).map(|i| !rim[i] && !cells.outermost(i) && cells.uneven[i] < EVEN).collect();
        let mut tones = Self { even: inside.clone(), smooth: over.clone() };
        for i in (0..cells.len()).filter(|&i| inside[i]) {
            let (x, y) = (i % cells.width, i / cells.width);
            let same: Vec<f64> = (y.saturating_sub(2)..(y + 3).min(cells.height))
                .flat_map(|y| (x.saturating_sub(2)..(x + 3).min(cells.width)).map(move |x| (x, y)))
                .map(|(x, y)| y * cells.width + x)
                .filter(|&j| inside[j] && (over[j] - over[i]).abs() < SAME)
                .map(|j| over[j])
                .collect();
            tones.even[i] = same.len() >= FEWEST_SAME;
            tones.smooth[i] = same.iter().sum::<f64>() / same.len() as f64;
        }
        tones
    }

    /// Whether all cells from one to another are even and go on evenly.
    fn together(&self, from: usize, to: usize, step: usize) -> bool {
        (from..=to).step_by(step).all(|i| self.even[i])
            && (from..to).step_by(step).all(|i| (self.smooth[i + step] - self.smooth[i]).abs() < SAME / 2.0)
    }
}
