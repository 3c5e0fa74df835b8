//! How much is drawn: a plainness, a budget of line or a number of areas, each one height of the merge order.
//!
//! Every line of the finest net has the height at which it dies, so the length left is a function of height with
//! one step at each distinct height. It is computed once from the final curves, and a budget reads the smallest
//! height off it: no drawing is made to be thrown away. Lines that an edit keeps never die: no budget leaves them out.

use std::collections::HashMap;

use kurbo::{CubicBez, ParamCurveArclen};
use rayon::prelude::*;

use super::cut::cut;
use super::lines::Line;
use super::trace::{ArcEnd, Tracing};
use super::weave::Woven;

/// Plainness at which a picture with figures gives about 3 to 5 m of line on A4; see DEVELOPERS.md.
pub const DEFAULT_PLAINNESS: f64 = 55.0;

/// Merging height in L*^2 mm at plainness just above 0 and at 100; between them a logarithmic map.
const HEIGHTS: [f64; 2] = [10.0, 20_000.0];

/// Accuracy of one cubic's length in mm: a tenth of a written digit.
const LENGTH_ACCURACY_MM: f64 = 1e-4;
/// Lengths are summed in whole nanometres, so that sums are the same in any order.
const NM_PER_MM: f64 = 1e6;

/// How much to draw: one of three ways to choose a height of the merge order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HowMuch {
    /// How far areas are merged, 0 (every difference that the texture allows one to believe) to 100.
    Plainness(f64),
    /// At most so many mm of boundary line, whole lines before soft ones are broken or left out.
    LineBudget {
        /// Most length of all lines in mm.
        mm: f64,
    },
    /// At most so many areas.
    Areas(usize),
}

impl Default for HowMuch {
    fn default() -> Self {
        Self::Plainness(DEFAULT_PLAINNESS)
    }
}

/// What is drawn from one merging height up to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amount {
    /// Merging height in L*^2 mm: 0, or that of a line, which dies there.
    pub height: f64,
    /// Length of all lines that live above it, in mm.
    pub length_mm: f64,
    /// Areas of the net.
    pub areas: usize,
}

/// Merging height in L*^2 mm for a plainness of 0 to 100; 0 merges only what the texture makes doubtful.
#[must_use]
pub fn merging_height(plainness: f64) -> f64 {
    if plainness <= 0.0 {
        return 0.0;
    }
    HEIGHTS[0] * (HEIGHTS[1] / HEIGHTS[0]).powf(plainness.min(100.0) / 100.0)
}

/// The smallest plainness that merges everything up to a height (L*^2 mm): the inverse of [`merging_height`].
/// `None` for heights that no plainness has: between 0 and that of the least plainness, and above that of 100.
#[must_use]
pub fn plainness_of(height: f64) -> Option<f64> {
    if height <= 0.0 {
        return Some(0.0);
    }
    if !(HEIGHTS[0]..=HEIGHTS[1]).contains(&height) {
        return None;
    }
    let mut plainness = (100.0 * (height / HEIGHTS[0]).ln() / (HEIGHTS[1] / HEIGHTS[0]).ln()).max(0.0);
    // Rounding must not bring a line back that dies at this very height.
    let mut step = f64::EPSILON;
    while merging_height(plainness) < height {
        plainness = (plainness + step).min(100.0);
        step *= 2.0;
        if plainness >= 100.0 {
            break;
        }
    }
    Some(plainness)
}

/// The smallest height (L*^2 mm) at which no more than `how_much` is drawn. `amounts` are not empty, in order of
/// height; the last draws nothing but what an edit keeps, so that every budget can be kept as far as there is one to be.
#[must_use]
pub fn height_for(amounts: &[Amount], how_much: HowMuch) -> f64 {
    let first = |within: &dyn Fn(&Amount) -> bool| {
        amounts.iter().find(|a| within(a)).or(amounts.last()).map_or(0.0, |a| a.height)
    };
    match how_much {
        HowMuch::Plainness(plainness) => merging_height(plainness),
        HowMuch::LineBudget { mm } => first(&|a| a.length_mm <= mm),
        HowMuch::Areas(most) => first(&|a| a.areas <= most),
    }
}

/// Length of cubics end to end in whole nanometres.
pub(super) fn length_nm(curve: &[CubicBez]) -> i64 {
    curve.iter().map(cubic_nm).sum()
}

/// Whole nanometres in mm.
pub(super) fn mm_of(nm: i64) -> f64 {
    nm as f64 / NM_PER_MM
}

fn cubic_nm(cubic: &CubicBez) -> i64 {
    (cubic.arclen(LENGTH_ACCURACY_MM) * NM_PER_MM).round() as i64
}

/// Height up to which each junction is there: the greatest of the lines that end on it; 0 where none does.
pub(super) fn junction_heights(lines: &[Line], junctions: usize) -> Vec<f64> {
    let mut heights = vec![0.0_f64; junctions];
    for line in lines {
        for end in line.ends {
            if let ArcEnd::Junction(j) = end {
                heights[j] = heights[j].max(line.height);
            }
        }
    }
    heights
}

/// Length and number of areas at 0 and at each distinct height at which a line dies, lowest first.
pub(super) fn amounts(tracing: &Tracing, heights: &[f64], lines: &[Line], woven: &[Woven]) -> Vec<Amount> {
    let junctions = junction_heights(lines, tracing.junctions.len());
    let mut changes: Vec<(f64, i64)> =
        lines.par_iter().zip(woven).flat_map_iter(|(line, w)| changes_of(line, w, &junctions)).collect();
    changes.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Areas that merge at or under a height share an arc that dies there: joining arcs counts them.
    let mut arcs: Vec<(f64, [u32; 2])> =
        tracing.arcs.iter().zip(heights).map(|(arc, &h)| (h, arc.sides)).collect();
    arcs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let leaves = tracing.arcs.iter().flat_map(|a| a.sides).max().map_or(1, |m| m as usize + 1);
    let mut sets = Sets { above: (0..leaves).collect(), count: leaves };
    let mut levels: Vec<f64> = lines.iter().map(|l| l.height).filter(|height| height.is_finite()).collect();
    levels.push(0.0);
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    let (mut changes, mut arcs) = (changes.into_iter().peekable(), arcs.into_iter().peekable());
    let mut nm = 0;
    levels
        .into_iter()
        .map(|height| {
            while let Some((_, change)) = changes.next_if(|c| c.0 <= height) {
                nm += change;
            }
            while let Some((_, [a, b])) = arcs.next_if(|a| a.0 <= height) {
                sets.join(a as usize, b as usize);
            }
            Amount { height, length_mm: mm_of(nm), areas: sets.count }
        })
        .collect()
}

/// Length that a line adds at 0 and what changes at each height until it dies: rounding moves a cut line by less
/// than a micrometre, so it is not quite as long when a junction on it has gone.
fn changes_of(line: &Line, woven: &Woven, junctions: &[f64]) -> Vec<(f64, i64)> {
    // Most cubics stay whole from one cut to the next, so each is measured once.
    let mut measured: HashMap<[[u64; 2]; 4], i64> = HashMap::new();
    let mut length_at = |height: f64| {
        cut(line, woven, &|j| junctions[j] > height)
            .iter()
            .flat_map(|piece| &piece.curve)
            .map(|c| {
                let key = [c.p0, c.p1, c.p2, c.p3].map(|p| [p.x.to_bits(), p.y.to_bits()]);
                *measured.entry(key).or_insert_with(|| cubic_nm(c))
            })
            .sum::<i64>()
    };
    let mut levels: Vec<f64> = line
        .passed
        .iter()
        .map(|p| junctions[p.junction])
        .filter(|h| (0.0..line.height).contains(h))
        .collect();
    levels.push(0.0);
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    let mut now = 0;
    let mut changes: Vec<(f64, i64)> = levels
        .into_iter()
        .map(|height| {
            let length = length_at(height);
            let change = (height, length - now);
            now = length;
            change
        })
        .collect();
    changes.push((line.height, -now));
    changes
}

/// Sets that are joined and counted.
struct Sets {
    above: Vec<usize>,
    count: usize,
}

impl Sets {
    fn root(&mut self, mut i: usize) -> usize {
        while self.above[i] != i {
            self.above[i] = self.above[self.above[i]];
            i = self.above[i];
        }
        i
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        if a != b {
            self.above[a.max(b)] = a.min(b);
            self.count -= 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The inverse of the logarithmic map never merges less than was asked for, and hardly more.
        #[test]
        fn plainness_and_height_are_inverse(exponent in 0.0_f64..1.0) {
            let height = (HEIGHTS[0] * (HEIGHTS[1] / HEIGHTS[0]).powf(exponent)).min(HEIGHTS[1]);
            let plainness = plainness_of(height).expect("a height of the map");
            prop_assert!(merging_height(plainness) >= height, "{plainness} merges less than {height}");
            prop_assert!(merging_height(plainness) <= height * (1.0 + 1e-12), "{plainness} merges more than {height}");
        }
    }

    #[test]
    fn heights_that_no_plainness_has_have_none() {
        assert_eq!(plainness_of(0.0), Some(0.0), "nothing merged");
        assert_eq!(plainness_of(20_000.0), Some(100.0), "the end of the map");
        for height in [1e-9, 9.999, 20_000.1, f64::INFINITY, f64::NAN] {
            assert_eq!(plainness_of(height), None, "{height}");
        }
    }

    #[test]
    fn the_smallest_height_within_the_budget_is_chosen() {
        let amounts = [(0.0, 300.0, 6), (2.0, 250.0, 5), (7.0, 90.0, 3), (40.0, 0.0, 1)]
            .map(|(height, length_mm, areas)| Amount { height, length_mm, areas });
        let budget = |mm| height_for(&amounts, HowMuch::LineBudget { mm });
        for (mm, height) in
            [(1e9, 0.0), (300.0, 0.0), (299.999, 2.0), (250.0, 2.0), (249.0, 7.0), (90.0, 7.0), (89.0, 40.0)]
        {
            assert!((budget(mm) - height).abs() < 1e-12, "{mm} mm gave {}", budget(mm));
        }
        for (most, height) in [(9, 0.0), (6, 0.0), (5, 2.0), (4, 7.0), (3, 7.0), (2, 40.0), (1, 40.0)] {
            let got = height_for(&amounts, HowMuch::Areas(most));
            assert!((got - height).abs() < 1e-12, "{most} areas gave {got}");
        }
    }
}
