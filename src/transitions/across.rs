//! What is seen across one point of a line: tone and marks by offset, and whose they are.

use std::ops::Range;

use kurbo::{Point, Vec2};

use super::place::{Ground, Side, sample_each};
use super::regional::STEP_PX;

/// Samples in a row that are an area, not a jag of a border.
const LEAST_RUN: usize = 3;

/// What lies across a line at one of its points.
pub(super) struct Across {
    /// Averaged tone and marks as reflectance by offset, outermost right first; NaN where a place belongs to neither area.
    pub(super) samples: Vec<[f64; 2]>,
    /// Number and sum of the marks' samples of the right, then of the left side.
    pub(super) sums: [f64; 4],
    /// The samples that are nearer to this border than to the one at the right area's, and the left area's, other end.
    nearer: Range<usize>,
}

impl Across {
    /// Looks across a line at `p`, to `far` steps on both sides of it, and sums the marks up by side from `guard` pixels on.
    pub(super) fn at(
        ground: &Ground<'_>,
        p: Point,
        normal: Vec2,
        side: &Side,
        far: usize,
        guard: f64,
    ) -> Self {
        let mut sums = [0.0; 4];
        let mut owners = vec![None; 2 * far + 1];
        let samples = (0..=2 * far)
            .map(|k| {
                let off = (k as f64 - far as f64) * STEP_PX;
                let q = p + normal * off;
                let own = match ground.node_at(q) {
                    Some(node) if node == side.left => 1,
                    Some(node) if node == side.right => 0,
                    _ => return [f64::NAN; 2],
                };
                owners[k] = Some(own);
                let [mean, marks] = sample_each([ground.light, &ground.tone.reflectance], q);
                if (off > guard && own == 1) || (off < -guard && own == 0) {
                    sums[2 * own] += 1.0;
                    sums[2 * own + 1] += marks;
                }
                [mean, marks]
            })
            .collect();
        Self { samples, sums, nearer: nearer(&owners) }
    }

    /// How many samples a border at sample `k` would have passed the middle of the area beside it by.
    pub(super) fn beyond_by(&self, k: usize) -> usize {
        self.nearer.start.saturating_sub(k) + (k + 1).saturating_sub(self.nearer.end)
    }

    /// What lies across several points: means of what is seen.
    pub(super) fn mean(each: impl Iterator<Item = Self>) -> Self {
        let mut all = Self { samples: Vec::new(), sums: [0.0; 4], nearer: 0..0 };
        for (before, other) in each.enumerate() {
            if before == 0 {
                all = other;
                continue;
            }
            let count = before as f64 + 1.0;
            all.nearer = all.nearer.start.max(other.nearer.start)..all.nearer.end.min(other.nearer.end);
            all.sums.iter_mut().zip(other.sums).for_each(|(sum, add)| *sum += add);
            for (own, new) in all.samples.iter_mut().flatten().zip(other.samples.into_iter().flatten()) {
                // What one of them does not see the others say.
                *own = if own.is_nan() {
                    new
                } else if new.is_nan() {
                    *own
                } else {
                    *own + (new - *own) / count
                };
            }
        }
        all
    }
}

/// The samples that are nearer to the border than to the other end of the area on either side, by whose each sample is: the
/// right side's (0), which lies first, the left side's (1) or neither's. The line is smoother than the border, which is
/// where the owner changes nearest to the line's own place in the middle.
fn nearer(owners: &[Option<usize>]) -> Range<usize> {
    let middle = owners.len() / 2;
    let changes = (1..owners.len()).filter(|&k| owners[k - 1] == Some(0) && owners[k] == Some(1));
    let Some(border) = changes.min_by_key(|&k| (2 * k).abs_diff(2 * middle + 1)) else {
        return 0..owners.len();
    };
    let right = owners[..border].iter().rev().take_while(|o| **o == Some(0)).count();
    let left = owners[border..].iter().take_while(|o| **o == Some(1)).count();
    // An area that does not end in sight, and a jag, bound nothing.
    let start = if right >= LEAST_RUN && right < border { border - right / 2 } else { 0 };
    let end =
        if left >= LEAST_RUN && border + left < owners.len() { border + left / 2 } else { owners.len() };
    start..end
}

#[cfg(test)]
mod tests {
    use super::*;

    const RIGHT: Option<usize> = Some(0);
    const LEFT: Option<usize> = Some(1);

    /// By whose samples are, so many in a row each.
    fn owners(runs: &[(Option<usize>, usize)]) -> Vec<Option<usize>> {
        runs.iter().flat_map(|&(own, n)| std::iter::repeat_n(own, n)).collect()
    }

    /// An area that goes on as far as is seen bounds nothing.
    #[test]
    fn wide_areas_give_all_the_room_there_is() {
        assert_eq!(nearer(&owners(&[(RIGHT, 10), (LEFT, 11)])), 0..21);
        assert_eq!(nearer(&owners(&[(RIGHT, 7), (LEFT, 14)])), 0..21);
    }

    /// A spear between parts of one area, or of two, leaves each of its borders half of it, wherever the line lies.
    #[test]
    fn a_narrow_area_is_shared_by_its_borders() {
        for beyond in [LEFT, None] {
            // The middle is sample 10; the right side has samples 4 to 9.
            assert_eq!(nearer(&owners(&[(beyond, 4), (RIGHT, 6), (LEFT, 11)])), 7..21);
            // The line lies two samples to the left of the border.
            assert_eq!(nearer(&owners(&[(beyond, 2), (RIGHT, 6), (LEFT, 13)])), 5..21);
        }
        let both = nearer(&owners(&[(LEFT, 4), (RIGHT, 6), (LEFT, 7), (RIGHT, 4)]));
        assert_eq!(both, 7..13);
        let across = Across { samples: Vec::new(), sums: [0.0; 4], nearer: both };
        assert_eq!([5, 7, 12, 13, 15].map(|k| across.beyond_by(k)), [2, 0, 0, 1, 3]);
    }

    /// A jag of a border is no area.
    #[test]
    fn jags_bound_nothing() {
        assert_eq!(nearer(&owners(&[(RIGHT, 6), (LEFT, 2), (RIGHT, 2), (LEFT, 11)])), 0..21);
    }
}
