//! Placing in texture: where the tones of both sides divide the marks best.
//!
//! At a weak contrast the half height of a mean wanders with every stroke. Here the reflectance of each side is averaged
//! over millimetres along the line, and of all lines near the border the one is taken that leaves least squared error
//! to both tones at the least bending: the two-phase model of Chan & Vese (2001), solved exactly along the normals of
//! one line by dynamic programming (Amini, Weymouth & Jain 1990). It reads the averaged tone, because in the strokes
//! themselves a holding line would be taken for the darker side; where the reference is known to have none it reads the
//! strokes, and where it is known to have them a dark line of some width may lie on the border as a third phase.

use kurbo::{Point, Vec2};
use rayon::prelude::*;

use super::lines::Line;
use super::place::{Ground, HARD_STEP_L, Side, normals, sample_each};
use super::smooth::smooth;
use crate::colour::{lightness, reflectance};
use crate::tone::{Outlined, ReferenceKind};

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
/// What bending costs in the averaged tone and in the marks themselves, which are rougher, in reflectance^2 mm^2: a step of
/// full contrast gives way to waves shorter than a millimetre.
const BENDING: [f64; 2] = [0.14, 0.2];
/// Least variance of marks, as a share of that of half ink and half paper, that errors are measured by.
const LEAST_VARIANCE: f64 = 0.05;
/// What an offset costs where one side is not to be seen, per squared step: the crack is all that is known.
const BLIND_COST: f64 = 1e-4;
/// Samples (weighed along the line) that make the tone of a side.
const LEAST_SAMPLES: f64 = 2.0;
/// Widths of holding lines that are tried, in mm.
const LINE_MM: [f64; 3] = [0.25, 0.4, 0.6];
/// What holding lines cost: where one has to be seen, for strokes that lie along a border are none ...
const LINES_SEEN: LineCost = LineCost { line: 0.03, by_tone: 0.0, change: 0.1 };
/// ... where it has to be sure ...
const LINES_SURE: LineCost = LineCost { line: 0.03, by_tone: 0.1, change: 0.4 };
/// ... and where the reference is known to have them: there a border without one is the exception.
const LINES_EXPECTED: LineCost = LineCost { line: -0.01, by_tone: 0.0, change: 0.3 };
/// Reflectance that both sides need for a line between them to be told from their darks.
const LIGHT_SIDES: f64 = 0.2;
/// Shares of the borders between such sides, by length, where a line is seen and where one is sure, from which the reference
/// has holding lines. Of 42 pictures hatched without lines two have more (0.39 and 0.62 sure, the next 0.34); of 36 with lines
/// 20 do.
const OUTLINED_SEEN: f64 = 0.45;
const OUTLINED_SURE: f64 = 0.35;
/// Share up to which no line is to be feared and the marks themselves can be read: stippled scenes have 0 to 0.11.
const UNLINED: f64 = 0.12;
/// Sums over the samples of one side of a point.
type Sum = [f64; 2];

/// What a holding line costs.
#[derive(Clone, Copy, Default)]
struct LineCost {
    /// In squared reflectance mm, over its length.
    line: f64,
    /// What comes on top, in squared reflectance mm for each unit of the mean square of both sides' reflectance: between light sides a
    /// line stands out more.
    by_tone: f64,
    /// What it costs that one begins, ends or changes its width, in squared reflectance mm^2.
    change: f64,
}

impl LineCost {
    /// The cost between two sides.
    fn between(&self, tones: [Option<f64>; 2]) -> f64 {
        match tones {
            [Some(a), Some(b)] => self.line + self.by_tone * 0.5 * (a * a + b * b),
            _ => self.line,
        }
    }
}

/// What lines on ink are placed by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reading {
    /// The marks themselves: nothing dark lies along the borders.
    Marks,
    /// The averaged tone: in the marks a line along a border would be taken for the darker side.
    Mean,
    /// The averaged tone, with dark lines in the marks that borders run in the middle of.
    Outlines,
}

impl Reading {
    /// The reading for a reference whose borders are outlined so far. A kind that was set by hand stands.
    pub(super) fn of(kind: ReferenceKind, set_by_hand: bool, outlined: Outlined) -> Self {
        match kind {
            ReferenceKind::HatchedWithLines => Self::Outlines,
            _ if outlined.surely >= OUTLINED_SURE && !set_by_hand => Self::Outlines,
            _ if outlined.seen <= UNLINED => Self::Marks,
            _ => Self::Mean,
        }
    }
}

/// What lies across a line at one of its points.
struct Across {
    /// Averaged tone and marks as reflectance by offset, outermost right first; NaN where a place belongs to neither area.
    samples: Vec<[f64; 2]>,
    /// Sums over the reflectance of the right and of the left side, texture still in it.
    sums: [Sum; 2],
}

/// How the borders of a line were found to run.
struct Found {
    /// Points that offsets are measured from, in pixels.
    base: Vec<Point>,
    /// Unit normals there.
    normals: Vec<Vec2>,
    /// By point the offset along the normal in pixels, and whether a holding line lies there.
    offsets: Vec<(f64, bool)>,
    /// By point the tones of the right and left side, where they are seen.
    tones: Vec<[Option<f64>; 2]>,
    /// By point the distance to the next, in mm.
    apart: Vec<f64>,
}

/// Finds where the two sides of a line are divided best, with a holding line where that explains the marks better if `lines`
/// says what a line and its changes cost. None where the line is too short to tell.
fn divide(
    ground: &Ground<'_>,
    line: &Line,
    sides: &[Side],
    marks: bool,
    lines: Option<LineCost>,
) -> Option<Found> {
    let tone = ground.tone;
    let px = tone.px_per_mm;
    let width = tone.mean_width_mm * px;
    let calm = vec![CALM_WIDTHS * width; line.points.len()];
    let base = smooth(&line.points, line.closed(), &calm);
    let n = base.len();
    if n < 8 {
        return None;
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
    let per_mm = STEP_PX / px;
    let halves: Vec<usize> = match lines {
        Some(_) => LINE_MM.iter().map(|w| (0.5 * w / per_mm).round() as usize).collect(),
        None => Vec::new(),
    };
    let line_cost = lines.unwrap_or_default();
    let costs: Vec<Vec<f64>> = (0..n)
        .into_par_iter()
        .with_min_len(128)
        .map(|i| {
            let samples = &across[i].samples[far - reach..=far + reach];
            let mut cost =
                costs(samples, tones[i], &sides[i], marks, &halves, line_cost.between(tones[i]) / per_mm);
            let weight = per_mm * certainty(tones[i]);
            cost.iter_mut().for_each(|c| *c *= weight);
            cost
        })
        .collect();
    let mut apart: Vec<f64> = (0..n).map(|i| base[i].distance(base[(i + 1) % n]).max(0.2) / px).collect();
    if !line.closed() {
        apart[n - 1] = apart[n - 2];
    }
    let bending = BENDING[usize::from(marks)] * (STEP_PX / px).powi(2);
    let price = Price { bending, change: line_cost.change, layers: 1 + halves.len() };
    let offsets = least_bending(&costs, &apart, line.closed(), &price)
        .into_iter()
        .map(|(offset, layer)| ((offset as f64 - reach as f64) * STEP_PX, layer > 0))
        .collect();
    Some(Found { base, normals, offsets, tones, apart })
}

/// How far borders are outlined: the hard ones between two light sides.
pub(super) fn outlined(ground: &Ground<'_>, lines: &[Line], sides_of: &[Vec<Side>]) -> Outlined {
    let seen = outlined_share(ground, lines, sides_of, LINES_SEEN);
    let surely =
        if seen >= OUTLINED_SEEN { outlined_share(ground, lines, sides_of, LINES_SURE) } else { 0.0 };
    Outlined { seen, surely }
}

/// Share, by length, of the hard borders between two light sides that shows a dark line at this cost of lines and their changes;
/// 0 where there are none.
fn outlined_share(ground: &Ground<'_>, lines: &[Line], sides_of: &[Vec<Side>], cost: LineCost) -> f64 {
    let lengths: Vec<[f64; 2]> = lines
        .par_iter()
        .zip(sides_of)
        .map(|(line, sides)| {
            let Some(found) = divide(ground, line, sides, false, Some(cost)) else {
                return [0.0; 2];
            };
            let mut lengths = [0.0; 2];
            for ((tones, apart), (_, lined)) in found.tones.iter().zip(&found.apart).zip(&found.offsets) {
                if let [Some(a), Some(b)] = *tones
                    && a.min(b) > LIGHT_SIDES
                    && (lightness(a) - lightness(b)).abs() > HARD_STEP_L
                {
                    lengths[0] += apart;
                    lengths[1] += if *lined { *apart } else { 0.0 };
                }
            }
            lengths
        })
        .collect();
    let [all, lined] = lengths.iter().fold([0.0; 2], |sum, l| [sum[0] + l[0], sum[1] + l[1]]);
    if all > 0.0 { lined / all } else { 0.0 }
}

/// Moves the points of a line, in pixels, to where its two sides are divided best; `sides` says by point what lies on them.
/// End points stay.
pub(super) fn place_regionally(ground: &Ground<'_>, line: &Line, sides: &[Side]) -> Vec<Point> {
    let lines = (ground.reading == Reading::Outlines).then_some(LINES_EXPECTED);
    let Some(found) = divide(ground, line, sides, ground.reading == Reading::Marks, lines) else {
        return line.points.clone();
    };
    let last = found.base.len() - 1;
    (0..=last)
        .map(|i| {
            if !line.closed() && (i == 0 || i == last) {
                return line.points[i];
            }
            found.base[i] + found.normals[i] * found.offsets[i].0
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
                _ => return [f64::NAN; 2],
            };
            let [mean, marks] = sample_each([ground.light, &ground.tone.reflectance], q);
            if (off > guard && own == 1) || (off < -guard && own == 0) {
                sums[own][0] += marks;
                sums[own][1] += 1.0;
            }
            [mean, marks]
        })
        .collect();
    Across { samples, sums }
}

/// What a border at each offset costs, in squared reflectance times steps: differences are what counts. First without, then
/// with a holding line of each half width in `halves` (steps) on it, which costs `line` more. `tones` are those of the right and
/// of the left side; hard edges are read in the marks or in the averaged tone.
fn costs(
    samples: &[[f64; 2]],
    tones: [Option<f64>; 2],
    side: &Side,
    marks: bool,
    halves: &[usize],
    line: f64,
) -> Vec<f64> {
    let k = samples.len();
    let [Some(right), Some(left)] = tones else {
        let middle = (k / 2) as f64;
        let blind = (0..k).map(|k| (k as f64 - middle).powi(2) * BLIND_COST);
        return blind.chain(std::iter::repeat_n(f64::INFINITY, k * halves.len())).collect();
    };
    let hard = (lightness(left) - lightness(right)).abs() > HARD_STEP_L;
    // A soft edge has no two tones: there the break itself divides what is lighter from what is darker.
    let middle = if hard { 0.5 * (left + right) } else { reflectance(side.level) };
    // Tones the wrong way round say nothing about where the border lies.
    let gap = if (left > right) == side.left_lighter { left - right } else { 0.0 };
    let which = usize::from(hard && marks);
    let mut sum = 0.0;
    let mut out: Vec<f64> = samples
        .iter()
        .map(|v| {
            // A sample passed over goes from the left to the right: (v - right)^2 - (v - left)^2.
            let add = if v[which].is_nan() { 0.0 } else { 2.0 * gap * (v[which] - middle) };
            sum += add;
            sum - 0.5 * add
        })
        .collect();
    if !hard {
        out.resize(k * (1 + halves.len()), f64::INFINITY);
        return out;
    }
    // Under a line a sample is ink instead of the side's tone: v^2 - (v - tone)^2.
    let inked = |tone: f64| -> Vec<f64> {
        let mut sums = vec![0.0];
        let mut sum = 0.0;
        for v in samples {
            sum += if v[1].is_nan() { 0.0 } else { tone * (2.0 * v[1] - tone) };
            sums.push(sum);
        }
        sums
    };
    let (on_right, on_left) = (inked(right), inked(left));
    for &half in halves {
        for o in 0..k {
            let (from, to) = (o.saturating_sub(half), (o + half + 1).min(k));
            let mid = o.max(from);
            let ink = on_right[mid] - on_right[from] + on_left[to] - on_left[mid];
            out.push(out[o] + ink + line);
        }
    }
    out
}

/// How much a squared error tells between two tones, 1 for marks that cover half: the variance of ink that covers all but Y
/// of the paper is Y (1 - Y), so near paper and near black smaller differences are as sure.
fn certainty(tones: [Option<f64>; 2]) -> f64 {
    let [Some(right), Some(left)] = tones else { return 1.0 };
    let variance = |y: f64| 4.0 * y * (1.0 - y);
    1.0 / (0.5 * (variance(right) + variance(left))).clamp(LEAST_VARIANCE, 1.0)
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

/// What a path pays besides its places.
struct Price {
    /// For a squared step, over the distance between points in mm.
    bending: f64,
    /// For a change of layer, in squared reflectance mm^2.
    change: f64,
    /// How many layers the costs of a point hold, one after the other.
    layers: usize,
}

/// The offset and layer of each point that make cost, bending and changes least together; costs are per mm of line.
fn least_bending(costs: &[Vec<f64>], apart: &[f64], closed: bool, price: &Price) -> Vec<(usize, usize)> {
    let n = costs.len();
    // A closed line is walked half a round more at both ends: what is left in the middle does not know where it began.
    let lead = if closed { n / 2 } else { 0 };
    let total = n + 2 * lead;
    let at = |i: usize| (i + n - lead) % n;
    let all = costs[0].len();
    let k = all / price.layers;
    let mut best: Vec<f64> = costs[at(0)].iter().map(|c| c * apart[at(0)]).collect();
    // Where a state came from: another layer at the same offset, or a step in its own.
    let mut came: Vec<u16> = vec![0; total * all];
    let mut next = vec![f64::INFINITY; all];
    for i in 1..total {
        let from = at(i - 1);
        let bend = price.bending / apart[from];
        let came = &mut came[i * all..(i + 1) * all];
        next.fill(f64::INFINITY);
        for layer in 0..price.layers {
            let span = layer * k..(layer + 1) * k;
            let own = &best[span.clone()];
            let (next, came) = (&mut next[span.clone()], &mut came[span]);
            came.iter_mut().enumerate().for_each(|(j, way)| *way = (layer * k + j) as u16);
            // Shifted slices, so that the inner loop runs in vector registers; of like ways the lowest offset is taken.
            for shift in (0..=2 * MOST_STEPS).filter(|s| s.abs_diff(MOST_STEPS) < k) {
                let (to, of) = (MOST_STEPS.saturating_sub(shift), shift.saturating_sub(MOST_STEPS));
                let step = shift.abs_diff(MOST_STEPS) as f64;
                let cost = bend * step * step;
                let n = k - to.max(of);
                let ways = (layer * k + of) as u16..;
                for (((next, way), before), q) in
                    next[to..to + n].iter_mut().zip(&mut came[to..to + n]).zip(&own[of..of + n]).zip(ways)
                {
                    let c = before + cost;
                    let less = c < *next;
                    *next = if less { c } else { *next };
                    *way = if less { q } else { *way };
                }
            }
            for other in (0..price.layers).filter(|&o| o != layer) {
                for (j, (next, way)) in next.iter_mut().zip(&mut *came).enumerate() {
                    let c = best[other * k + j] + price.change;
                    if c < *next {
                        (*next, *way) = (c, (other * k + j) as u16);
                    }
                }
            }
        }
        next.iter_mut().zip(&costs[at(i)]).for_each(|(next, cost)| *next += cost * apart[at(i)]);
        std::mem::swap(&mut best, &mut next);
    }
    let mut state = (0..all).min_by(|&a, &b| best[a].total_cmp(&best[b])).unwrap_or(0);
    let mut out = vec![(0, 0); n];
    for i in (0..total).rev() {
        if i >= lead && i < lead + n {
            out[at(i)] = (state % k, state / k);
        }
        if i > 0 {
            state = usize::from(came[i * all + state]);
        }
    }
    out
}

#[cfg(test)]
mod tests;
