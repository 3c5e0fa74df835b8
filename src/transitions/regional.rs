//! Placing in texture: where the tones of both sides divide the marks best.
//!
//! A mean wide enough to hide hatching blurs the edge that is looked for, and at a weak contrast its half height
//! wanders with every stroke. Here the reflectance itself decides, texture and all: along the line the tone of each
//! side is averaged over millimetres, and of all lines near the border the one is taken that leaves least squared
//! error to both tones at the least bending. That is the two-phase model of Chan & Vese (2001), solved exactly
//! along the normals of one line by dynamic programming (Amini, Weymouth & Jain 1990).

use kurbo::Point;
use rayon::prelude::*;

use super::lines::Line;
use super::place::{HARD_STEP_L, Ground, Side, normals, sample};
use super::smooth::smooth;
use crate::colour::{lightness, reflectance};

/// Steps in which offsets are tried, in pixels.
const STEP_PX: f64 = 0.5;
/// Most steps that the offset changes by from one point to the next.
const MOST_STEPS: usize = 3;

pub(super) fn knob(name: &str, default: f64) -> f64 {
    std::env::var(name).ok().and_then(|v| v.parse().ok()).unwrap_or(default)
}

/// Sums over the samples of one side of a point.
type Sum = [f64; 2];

/// What lies across a line at one of its points.
struct Across {
    /// Error that a sample adds on the left less what it adds on the right, by offset, outermost right first;
    /// before the tones are known: the sample, NaN where it belongs to neither area.
    samples: Vec<f64>,
    /// Samples of the right and left side.
    sums: [Sum; 2],
}

/// Moves the points of a line, in pixels, to where its two sides are divided best; `sides` says by point what lies on them.
/// End points stay.
pub(super) fn place_regionally(ground: &Ground<'_>, line: &Line, sides: &[Side]) -> Vec<Point> {
    let tone = ground.tone;
    let px = tone.px_per_mm;
    let width = tone.mean_width_mm * px;
    let calm = vec![knob("RB_CALM", 2.0) * width; line.points.len()];
    let base = smooth(&line.points, line.closed(), &calm);
    let n = base.len();
    if n < 8 {
        return line.points.clone();
    }
    let normals = normals(&base, line.closed(), 4.max(width as usize));
    let reach = ((knob("RB_REACH", 2.5) * width / STEP_PX).ceil() as usize).max(4);
    let far = reach.max(((knob("RB_FAR", 4.0) * width / STEP_PX).ceil()) as usize);
    let guard = knob("RB_GUARD", 0.7) * width;
    let across: Vec<Across> = (0..n)
        .into_par_iter()
        .with_min_len(128)
        .map(|i| {
            let mut sums = [[0.0; 2]; 2];
            let side = &sides[i];
            let samples = (0..=2 * far)
                .map(|k| {
                    let off = (k as f64 - far as f64) * STEP_PX;
                    let p = base[i] + normals[i] * off;
                    let at = ground.node_at(p);
                    let own = if at == Some(side.left) {
                        1
                    } else if at == Some(side.right) {
                        0
                    } else {
                        return f64::NAN;
                    };
                    let v = sample(&tone.reflectance, p);
                    if (off > guard && own == 1) || (off < -guard && own == 0) {
                        sums[own][0] += v;
                        sums[own][1] += 1.0;
                    }
                    v
                })
                .collect();
            Across { samples, sums }
        })
        .collect();
    let tones = along(&across, line.closed(), knob("RB_ALONG", 1.5) * px);
    let weight = knob("RB_BEND", 0.1);
    // Costs by offset in reflectance^2 mm^2 per mm of line: differences are what counts.
    let costs: Vec<Vec<f64>> = (0..n)
        .into_par_iter()
        .with_min_len(128)
        .map(|i| {
            let [right, left] = tones[i];
            let (Some(right), Some(left)) = (right, left) else {
                // One side is not to be seen: the crack is all that is known.
                return (0..=2 * reach).map(|k| (k as f64 - reach as f64).powi(2) * 1e-4).collect();
            };
            let hard = (lightness(left) - lightness(right)).abs() > HARD_STEP_L;
            let mut gap = left - right;
            let middle = if hard { 0.5 * (left + right) } else { reflectance(sides[i].level) };
            let lighter = sides[i].left_lighter;
            if (gap > 0.0) != lighter {
                gap = 0.0;
            }
            let mut sum = 0.0;
            let mut cost = Vec::with_capacity(2 * reach + 1);
            for k in 0..=2 * reach {
                // A sample passed over goes from the left to the right.
                let v = across[i].samples[far - reach + k];
                let add = if v.is_nan() { 0.0 } else { 2.0 * gap * (v - middle) };
                cost.push(sum + 0.5 * add);
                sum += add;
            }
            cost.iter_mut().for_each(|c| *c *= STEP_PX / px);
            cost
        })
        .collect();
    let mut apart: Vec<f64> =
        (0..n).map(|i| base[i].distance(base[(i + 1) % n]).max(0.2) / px).collect();
    if !line.closed() {
        apart[n - 1] = apart[n - 2];
    }
    let offsets = least_bending(&costs, &apart, line.closed(), weight * (STEP_PX / px).powi(2));
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
                let j = if closed { j.rem_euclid(n) } else if j < 0 || j >= n { continue } else { j };
                let w = weights[d.unsigned_abs()];
                for (sum, add) in sums.iter_mut().zip(&across[j as usize].sums) {
                    sum[0] += w * add[0];
                    sum[1] += w * add[1];
                }
            }
            sums.map(|s| (s[1] > 2.0).then(|| s[0] / s[1]))
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
