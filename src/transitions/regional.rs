//! Placing in texture: where the tones of both sides divide the marks best.
//!
//! At a weak contrast the half height of a mean wanders with every stroke. Here the reflectance of each side is averaged
//! over millimetres along the line, and of all lines near the border the one is taken that leaves least squared error
//! to both tones at the least bending: the two-phase model of Chan & Vese (2001), solved exactly along the normals of
//! one line by dynamic programming (Amini, Weymouth & Jain 1990). It reads the averaged tone, because in the strokes
//! themselves a holding line would be taken for the darker side.

use kurbo::{Point, Vec2};
use rayon::prelude::*;

use super::lines::Line;
use super::place::{Ground, HARD_STEP_L, Side, normals, sample};
use super::smooth::smooth;
use crate::colour::{lightness, reflectance};
use crate::tone::ToneField;

/// Steps in which offsets are tried, in pixels.
const STEP_PX: f64 = 0.5;
/// Most steps that the offset changes by from one point to the next.
const MOST_STEPS: usize = 3;
/// Smoothing of the cracks that offsets are measured from, in widths of the first mean.
const CALM_WIDTHS: f64 = 2.0;
/// How far from there the border may lie, in widths of the first mean.
const REACH_WIDTHS: f64 = 2.5;
/// How far the tones of the sides are looked at, and how near the border they are not, in widths of the first mean.
const SIDE_WIDTHS: [f64; 2] = [0.7, 4.0];
/// Width of the mean along the line that gives the tones of the sides, in mm.
const ALONG_MM: f64 = 1.5;
/// What bending costs, in reflectance^2 mm^2: a step of full contrast gives way to waves shorter than a millimetre.
const BENDING: f64 = 0.1;
/// What an offset costs where one side is not to be seen, per squared step: the crack is all that is known.
const BLIND_COST: f64 = 1e-4;
/// Samples (weighed along the line) that make the tone of a side.
const LEAST_SAMPLES: f64 = 2.0;
/// Narrowest first mean that makes a line textured, in mm.
const TEXTURED_MM: f64 = 0.1;

/// Whether a tone has texture enough for lines to be placed by what lies on both sides.
pub(super) fn textured(tone: &ToneField) -> bool {
    tone.kind.is_ink() && tone.mean_width_mm >= TEXTURED_MM
}

/// Sums over the samples of one side of a point.
type Sum = [f64; 2];

/// What lies across a line at one of its points.
struct Across {
    /// Averaged tone as reflectance by offset, outermost right first; NaN where a place belongs to neither area.
    samples: Vec<f64>,
    /// Sums over the reflectance of the right and of the left side, texture still in it.
    sums: [Sum; 2],
}

/// Moves the points of a line, in pixels, to where its two sides are divided best; `sides` says by point what lies on them.
/// End points stay.
pub(super) fn place_regionally(ground: &Ground<'_>, line: &Line, sides: &[Side]) -> Vec<Point> {
    let tone = ground.tone;
    let px = tone.px_per_mm;
    let width = tone.mean_width_mm * px;
    let calm = vec![CALM_WIDTHS * width; line.points.len()];
    let base = smooth(&line.points, line.closed(), &calm);
    let n = base.len();
    if n < 8 {
        return line.points.clone();
    }
    let normals = normals(&base, line.closed(), 4.max(width as usize));
    let reach = ((REACH_WIDTHS * width / STEP_PX).ceil() as usize).max(4);
    let far = reach.max(((SIDE_WIDTHS[1] * width / STEP_PX).ceil()) as usize);
    let guard = SIDE_WIDTHS[0] * width;
    let across: Vec<Across> = (0..n)
        .into_par_iter()
        .with_min_len(128)
        .map(|i| look_across(ground, base[i], normals[i], &sides[i], far, guard))
        .collect();
    let tones = along(&across, line.closed(), ALONG_MM * px);
    let costs: Vec<Vec<f64>> = (0..n)
        .into_par_iter()
        .with_min_len(128)
        .map(|i| {
            let mut cost = costs(&across[i].samples[far - reach..=far + reach], tones[i], &sides[i]);
            cost.iter_mut().for_each(|c| *c *= STEP_PX / px);
            cost
        })
        .collect();
    let mut apart: Vec<f64> = (0..n).map(|i| base[i].distance(base[(i + 1) % n]).max(0.2) / px).collect();
    if !line.closed() {
        apart[n - 1] = apart[n - 2];
    }
    let offsets = least_bending(&costs, &apart, line.closed(), BENDING * (STEP_PX / px).powi(2));
    let last = n - 1;
    (0..n)
        .map(|i| {
            if !line.closed() && (i == 0 || i == last) {
                return line.points[i];
            }
            base[i] + normals[i] * ((offsets[i] as f64 - reach as f64) * STEP_PX)
        })
        .collect()
}

/// Reads the tone across a line, and sums the reflectance up by side from `guard` pixels on.
fn look_across(ground: &Ground<'_>, p: Point, normal: Vec2, side: &Side, far: usize, guard: f64) -> Across {
    let mut sums = [[0.0; 2]; 2];
    let samples = (0..=2 * far)
        .map(|k| {
            let off = (k as f64 - far as f64) * STEP_PX;
            let q = p + normal * off;
            let own = match ground.node_at(q) {
                Some(node) if node == side.left => 1,
                Some(node) if node == side.right => 0,
                _ => return f64::NAN,
            };
            if (off > guard && own == 1) || (off < -guard && own == 0) {
                sums[own][0] += sample(&ground.tone.reflectance, q);
                sums[own][1] += 1.0;
            }
            sample(&ground.light, q)
        })
        .collect();
    Across { samples, sums }
}

/// What a border at each offset costs, in squared reflectance times steps: differences are what counts. `tones` are those
/// of the right and of the left side.
fn costs(samples: &[f64], tones: [Option<f64>; 2], side: &Side) -> Vec<f64> {
    let [Some(right), Some(left)] = tones else {
        let middle = (samples.len() / 2) as f64;
        return (0..samples.len()).map(|k| (k as f64 - middle).powi(2) * BLIND_COST).collect();
    };
    let hard = (lightness(left) - lightness(right)).abs() > HARD_STEP_L;
    // A soft edge has no two tones: there the break itself divides what is lighter from what is darker.
    let middle = if hard { 0.5 * (left + right) } else { reflectance(side.level) };
    // Tones the wrong way round say nothing about where the border lies.
    let gap = if (left > right) == side.left_lighter { left - right } else { 0.0 };
    let mut sum = 0.0;
    samples
        .iter()
        .map(|&v| {
            // A sample passed over goes from the left to the right: (v - right)^2 - (v - left)^2.
            let add = if v.is_nan() { 0.0 } else { 2.0 * gap * (v - middle) };
            sum += add;
            sum - 0.5 * add
        })
        .collect()
}

/// Tone of the right and left side at each point: means over a Gaussian `sigma` points wide along the line.
fn along(across: &[Across], closed: bool, sigma: f64) -> Vec<[Option<f64>; 2]> {
    let n = across.len() as isize;
    let reach = (2.5 * sigma).ceil() as isize;
    let weights: Vec<f64> = (0..=reach).map(|k| (-0.5 * (k as f64 / sigma).powi(2)).exp()).collect();
    (0..n)
        .into_par_iter()
        .with_min_len(128)
        .map(|i| {
            let mut sums = [[0.0; 2]; 2];
            let span = if closed { reach.min((n - 1) / 2) } else { reach };
            for d in -span..=span {
                let j = i + d;
                let j = if closed {
                    j.rem_euclid(n)
                } else if j < 0 || j >= n {
                    continue;
                } else {
                    j
                };
                let w = weights[d.unsigned_abs()];
                for (sum, add) in sums.iter_mut().zip(&across[j as usize].sums) {
                    sum[0] += w * add[0];
                    sum[1] += w * add[1];
                }
            }
            sums.map(|s| (s[1] > LEAST_SAMPLES).then(|| s[0] / s[1]))
        })
        .collect()
}

/// The offset of each point that makes cost and bending least together; `weight` is that of a squared step, over the distance
/// between points in mm; costs are per mm of line.
fn least_bending(costs: &[Vec<f64>], apart: &[f64], closed: bool, weight: f64) -> Vec<usize> {
    let n = costs.len();
    // A closed line is walked half a round more at both ends: what is left in the middle does not know where it began.
    let lead = if closed { n / 2 } else { 0 };
    let total = n + 2 * lead;
    let at = |i: usize| (i + n - lead) % n;
    let k = costs[0].len();
    let mut best: Vec<f64> = costs[at(0)].iter().map(|c| c * apart[at(0)]).collect();
    let mut came: Vec<u8> = vec![0; total * k];
    for i in 1..total {
        let from = at(i - 1);
        let bend = weight / apart[from];
        let mut next = vec![f64::INFINITY; k];
        for (j, out) in next.iter_mut().enumerate() {
            let (lo, hi) = (j.saturating_sub(MOST_STEPS), (j + MOST_STEPS).min(k - 1));
            for (q, before) in best.iter().enumerate().take(hi + 1).skip(lo) {
                let step = j as f64 - q as f64;
                let c = before + bend * step * step;
                if c < *out {
                    *out = c;
                    came[i * k + j] = (q + MOST_STEPS - j) as u8;
                }
            }
            *out += costs[at(i)][j] * apart[at(i)];
        }
        best = next;
    }
    let mut j = (0..k).min_by(|&a, &b| best[a].total_cmp(&best[b])).unwrap_or(0);
    let mut out = vec![0; n];
    for i in (0..total).rev() {
        if i >= lead && i < lead + n {
            out[at(i)] = j;
        }
        if i > 0 {
            j = j + usize::from(came[i * k + j]) - MOST_STEPS;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Least cost over all paths, tried one by one.
    fn least_of_all(costs: &[Vec<f64>], apart: &[f64], closed: bool, weight: f64) -> f64 {
        let (n, k) = (costs.len(), costs[0].len());
        let mut best = f64::INFINITY;
        for code in 0..k.pow(n as u32) {
            let path: Vec<usize> = (0..n).map(|i| code / k.pow(i as u32) % k).collect();
            best = best.min(cost_of(&path, costs, apart, closed, weight));
        }
        best
    }

    fn cost_of(path: &[usize], costs: &[Vec<f64>], apart: &[f64], closed: bool, weight: f64) -> f64 {
        let n = path.len();
        let own: f64 = (0..n).map(|i| costs[i][path[i]] * apart[i]).sum();
        let bends = (0..if closed { n } else { n - 1 }).map(|i| {
            let step = path[(i + 1) % n].abs_diff(path[i]);
            if step > MOST_STEPS { f64::INFINITY } else { weight / apart[i] * (step * step) as f64 }
        });
        own + bends.sum::<f64>()
    }

    proptest! {
        /// No path costs less, tried against every path there is (open lines; a closed one is held below).
        #[test]
        fn the_path_is_the_best_of_all(cells in proptest::collection::vec(0.0_f64..1.0, 30), weight in 0.0_f64..0.5) {
            let costs: Vec<Vec<f64>> = cells.chunks(5).map(<[f64]>::to_vec).collect();
            let apart = [1.0, 0.5, 0.8, 1.0, 0.7, 1.2];
            let got = least_bending(&costs, &apart, false, weight);
            let (cost, least) = (cost_of(&got, &costs, &apart, false, weight), least_of_all(&costs, &apart, false, weight));
            prop_assert!((cost - least).abs() < 1e-12, "{cost} is more than {least}");
        }
    }

    /// A closed line fits together where it was begun: turned round, it is the same line.
    #[test]
    fn a_closed_line_does_not_know_where_it_began() {
        let n = 40;
        let cost = |i: usize| -> Vec<f64> {
            let middle = 5.0 + 3.0 * (std::f64::consts::TAU * i as f64 / n as f64).sin();
            (0..11).map(|k| (f64::from(k) - middle).powi(2)).collect()
        };
        let apart = vec![1.0; n];
        let whole: Vec<Vec<f64>> = (0..n).map(cost).collect();
        let got = least_bending(&whole, &apart, true, 0.5);
        for turn in [1, 7, 20] {
            let turned: Vec<Vec<f64>> = (0..n).map(|i| cost((i + turn) % n)).collect();
            let other = least_bending(&turned, &apart, true, 0.5);
            assert!(
                (0..n).all(|i| other[i] == got[(i + turn) % n]),
                "begun {turn} points on it is another line"
            );
        }
    }

    /// Ink strokes across a border: the two tones divide them where the strokes end, not where a mean half fades.
    #[test]
    fn strokes_are_divided_where_they_end() {
        let side = Side { left: 1, right: 2, left_lighter: true, level: 60.0 };
        // Right of the border every second sample is ink, left of it none.
        for border in [6_usize, 9, 12] {
            let samples: Vec<f64> =
                (0..20).map(|k| if k < border && k % 2 == 0 { 0.0 } else { 1.0 }).collect();
            let cost = costs(&samples, [Some(0.5), Some(1.0)], &side);
            let least = (0..20).min_by(|&a, &b| cost[a].total_cmp(&cost[b])).expect("there are twenty");
            assert!(least.abs_diff(border) <= 1, "the border at {border} was put at {least}");
        }
    }
}
