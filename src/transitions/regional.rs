//! Placing in texture: where what both sides would have there divides the marks best.
//!
//! At a weak contrast the half height of a mean wanders with every stroke. Here each side is asked what it would have on
//! both sides of the border (its strokes carried on, see [`continued`](super::continued); else its tone, averaged over millimetres
//! along the line), and of all lines near the border the one is taken that leaves least squared error to both at the least
//! bending: the two-phase model of Chan & Vese (2001), solved exactly along the normals of one line by dynamic
//! programming (Amini, Weymouth & Jain 1990). Where the reference has holding lines a dark line of some width may lie on
//! the border as a third phase.

use kurbo::{Point, Vec2};
use rayon::prelude::*;

use super::across::Across;
use super::continued::{ALONG_SIGMAS, ASKED_MM, Expected, LEAST_TONE, Places, along, expected};
use super::lines::Line;
use super::place::{Ground, HARD_STEP_L, Side, normals};
use super::smooth::smooth;
use crate::colour::{lightness, reflectance};

/// Steps in which offsets are tried, in pixels.
pub(super) const STEP_PX: f64 = 0.5;
/// So many points of a line in a row are looked at as one.
const EVERY: usize = 2;
/// Most steps that the offset changes by from one of these groups to the next.
const MOST_STEPS: usize = 5;
/// Smoothing of the cracks that offsets are measured from, in widths of the first mean.
const CALM_WIDTHS: f64 = 2.0;
/// How far from there the border may lie, in widths of the first mean.
const REACH_WIDTHS: f64 = 2.5;
/// How far the tones of the sides are looked at, and how near the border they are not, in widths of the first mean.
const SIDE_WIDTHS: [f64; 2] = [0.7, 4.0];
/// Width of the mean along the line that gives the tones of the sides, in mm.
const ALONG_MM: f64 = 1.5;
/// What bending costs, in quarters of a variance times mm^2 (reflectance^2 mm^2 of half ink and half paper): a step of full
/// contrast gives way to waves shorter than a millimetre.
const BENDING: f64 = 0.4;
/// Least variance of marks, as a share of that of half ink and half paper, that errors are measured by.
const LEAST_VARIANCE: f64 = 0.05;
/// What an offset costs where one side is not to be seen, per squared step: the crack is all that is known.
const BLIND_COST: f64 = 1e-4;
/// What a sample beyond the middle of the area beside a border costs it to pass, in quarters of a variance: more than most marks do.
const BEYOND: f64 = 4.0;
/// Samples (weighed along the line) that make the tone of a side.
const LEAST_SAMPLES: f64 = 2.0;
/// Say of marks beside the averaged tone where no strokes are known, in a texture of dots; in one of strokes they have none.
const MARKS_OF_DOTS: f64 = 0.5;
/// Widths of holding lines that are tried, in mm.
const LINE_MM: [f64; 3] = [0.25, 0.4, 0.6];
/// What holding lines cost where the reference is asked whether it has any: strokes along a border are none ...
const LINES_ASKED: LineCost = LineCost { line: 0.2, change: 0.3 };
/// ... and where it is known to have them: there a border without one is the exception.
const LINES_EXPECTED: LineCost = LineCost { line: -0.05, change: 0.3 };
/// Reflectance that both sides need for a line between them to be told from their darks.
const LIGHT_SIDES: f64 = 0.2;
/// Share of the borders between such sides, by length, that shows a dark line, from which the reference has holding lines. Of 72
/// pictures hatched or stippled without lines none has more (0.018 the most), of 36 hatched with them all but two.
const OUTLINED: f64 = 0.021;

/// What a holding line costs, in quarters of a variance.
#[derive(Clone, Copy, Default, PartialEq)]
struct LineCost {
    /// Over its length, times mm.
    line: f64,
    /// That one begins, ends or changes its width, times mm^2.
    change: f64,
}

/// Whether a reference of which such a share is outlined has holding lines.
pub(super) fn has_lines(outlined: f64) -> bool {
    outlined >= OUTLINED
}

/// How the borders of a line were found to run; all but its base is of groups of [`EVERY`] points.
struct Found {
    /// Points that offsets are measured from, in pixels, and unit normals there, one for each of the line's own.
    base: Vec<(Point, Vec2)>,
    /// The offset along the normal in pixels, and whether a holding line lies there.
    offsets: Vec<(f64, bool)>,
    /// The tones of the right and left side, where they are seen.
    tones: Vec<[Option<f64>; 2]>,
    /// The distance to the next, in mm.
    apart: Vec<f64>,
}

impl Found {
    /// The offset at one of the line's own points, between those of the groups' middles.
    fn offset(&self, i: usize, closed: bool) -> f64 {
        let n = self.offsets.len();
        let at = (i as f64 - 0.5 * (EVERY - 1) as f64) / EVERY as f64;
        let before = at.floor();
        let of = |k: f64| {
            let k = k as isize;
            let k = if closed { k.rem_euclid(n as isize) } else { k.clamp(0, n as isize - 1) };
            self.offsets[k as usize].0
        };
        of(before) + (at - before) * (of(before + 1.0) - of(before))
    }
}

/// Finds where the two sides of a line are divided best, with a holding line where that explains the marks better if `lines`
/// says what a line and its changes cost. None where the line is too short to tell, or is asked for holding lines and has no place
/// for them.
fn divide(ground: &Ground<'_>, line: &Line, sides: &[Side], lines: Option<LineCost>) -> Option<Found> {
    let tone = ground.tone;
    let px = tone.px_per_mm;
    let width = tone.mean_width_mm * px;
    let calm = vec![CALM_WIDTHS * width; line.points.len()];
    let whole = smooth(&line.points, line.closed(), &calm);
    if whole.len() < 8 {
        return None;
    }
    let whole: Vec<(Point, Vec2)> =
        whole.iter().copied().zip(normals(&whole, line.closed(), 4.max(width as usize))).collect();
    let (base, normals): (Vec<Point>, Vec<Vec2>) = whole
        .chunks(EVERY)
        .map(|group| {
            let [p, normal] = group.iter().fold([Vec2::ZERO; 2], |[p, n], of| [p + of.0.to_vec2(), n + of.1]);
            ((p / group.len() as f64).to_point(), normal / normal.hypot().max(1e-9))
        })
        .unzip();
    let all_sides = sides;
    let sides: Vec<Side> = sides.iter().step_by(EVERY).copied().collect();
    let n = base.len();
    let per_mm = STEP_PX / px;
    let reach = ((REACH_WIDTHS * width / STEP_PX).ceil() as usize).max(4);
    let far = reach.max(((SIDE_WIDTHS[1] * width / STEP_PX).ceil()) as usize);
    let guard = SIDE_WIDTHS[0] * width;
    let per_px = 1.0 / EVERY as f64;
    let across: Vec<Across> = whole
        .par_chunks(EVERY)
        .zip(all_sides.par_chunks(EVERY))
        .with_min_len(64)
        .map(|(points, sides)| {
            let each = points.iter().zip(sides);
            Across::mean(each.map(|(&(p, normal), side)| Across::at(ground, p, normal, side, far, guard)))
        })
        .collect();
    let sums: Vec<[f64; 4]> = across.iter().map(|a| a.sums).collect();
    let tones: Vec<[Option<f64>; 2]> = along(&sums, line.closed(), ALONG_MM * px * per_px, 1)
        .iter()
        .map(|s| [0, 2].map(|i| (s[i] > LEAST_SAMPLES).then(|| s[i + 1] / s[i])))
        .collect();
    let asked = lines == Some(LINES_ASKED);
    let asked_at = if asked {
        // What is asked of a place is read off its surroundings, and no farther.
        let around = (ALONG_SIGMAS * ASKED_MM * px * per_px).ceil() as usize;
        near(&tones.iter().map(|&t| between_lights(t)).collect::<Vec<bool>>(), around, line.closed())
    } else {
        vec![true; n]
    };
    if !asked_at.contains(&true) {
        return None;
    }
    let places = Places {
        base: &base,
        normals: &normals,
        sides: &sides,
        closed: line.closed(),
        per_px,
        step_px: STEP_PX,
        far,
        reach,
        guard,
        asked: &asked_at,
    };
    let expected = expected(ground, &places, &|i, k| across[i].samples[k][1], &tones);
    let marks = if asked { 1.0 } else { MARKS_OF_DOTS * (1.0 - tone.evidence.strokes()) };
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
            let mut cost = costs(
                samples,
                tones[i],
                &sides[i],
                expected[i].as_ref(),
                marks,
                &halves,
                line_cost.line / per_mm,
            );
            // A border that ran past the middle of the area beside it would cross the next one there.
            let beyond = |k: usize| BEYOND * across[i].beyond_by(k % (2 * reach + 1) + far - reach) as f64;
            cost.iter_mut().enumerate().for_each(|(k, c)| *c = (*c + beyond(k)) * per_mm);
            cost
        })
        .collect();
    let mut apart: Vec<f64> = (0..n).map(|i| base[i].distance(base[(i + 1) % n]).max(0.2) / px).collect();
    if !line.closed() {
        apart[n - 1] = apart[n - 2];
    }
    let price =
        Price { bending: BENDING * per_mm.powi(2), change: line_cost.change, layers: 1 + halves.len() };
    let offsets = least_bending(&costs, &apart, line.closed(), &price)
        .into_iter()
        .map(|(offset, layer)| ((offset as f64 - reach as f64) * STEP_PX, layer > 0))
        .collect();
    Some(Found { base: whole, offsets, tones, apart })
}

/// The points of a line with one of `of` at most so many points away.
fn near(of: &[bool], points: usize, closed: bool) -> Vec<bool> {
    let n = of.len();
    let mut out = vec![false; n];
    for i in (0..n).filter(|&i| of[i]) {
        for k in 0..=2 * points.min(n) {
            let j = i + n + k - points.min(n);
            if closed || (n..2 * n).contains(&j) {
                out[j % n] = true;
            }
        }
    }
    out
}

/// Whether a border is a hard one between two light sides.
fn between_lights(tones: [Option<f64>; 2]) -> bool {
    let [Some(a), Some(b)] = tones else { return false };
    a.min(b) > LIGHT_SIDES && (lightness(a) - lightness(b)).abs() > HARD_STEP_L
}

/// Share, by length, of the hard borders between two light sides that shows a dark line; 0 where there are none.
pub(super) fn outlined(ground: &Ground<'_>, lines: &[Line], sides_of: &[Vec<Side>]) -> f64 {
    let lengths: Vec<[f64; 2]> = lines
        .par_iter()
        .zip(sides_of)
        .map(|(line, sides)| {
            let Some(found) = divide(ground, line, sides, Some(LINES_ASKED)) else {
                return [0.0; 2];
            };
            let mut lengths = [0.0; 2];
            for ((tones, apart), (_, lined)) in found.tones.iter().zip(&found.apart).zip(&found.offsets) {
                if between_lights(*tones) {
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
    let Some(found) = divide(ground, line, sides, ground.outlined.then_some(LINES_EXPECTED)) else {
        return line.points.clone();
    };
    let last = found.base.len() - 1;
    found
        .base
        .iter()
        .enumerate()
        .map(|(i, &(p, normal))| {
            if !line.closed() && (i == 0 || i == last) {
                return line.points[i];
            }
            p + normal * found.offset(i, line.closed())
        })
        .collect()
}

/// What a border at each offset costs, in quarters of squared errors per variance times steps: differences are what counts.
/// First without, then with a holding line of each half width in `halves` (steps) on it, which costs `line` more. `tones` are
/// those of the right and of the left side, `expected` what they would have at each sample; `marks` is the
/// say, 0 to 1, of marks beside the averaged tone where no strokes are known.
fn costs(
    samples: &[[f64; 2]],
    tones: [Option<f64>; 2],
    side: &Side,
    expected: Option<&Expected>,
    marks: f64,
    halves: &[usize],
    line: f64,
) -> Vec<f64> {
    let k = samples.len();
    let ([Some(right), Some(left)], Some(expected)) = (tones, expected) else {
        let middle = (k / 2) as f64;
        let blind = (0..k).map(|k| (k as f64 - middle).powi(2) * BLIND_COST);
        return blind.chain(std::iter::repeat_n(f64::INFINITY, k * halves.len())).collect();
    };
    // A sample passed over goes from the left to the right; what it costs more there adds up.
    let passed = |adds: &mut dyn Iterator<Item = f64>| -> Vec<f64> {
        let mut sum = 0.0;
        let mut out = Vec::with_capacity(k * (1 + halves.len()));
        for add in adds.map(|add| if add.is_nan() { 0.0 } else { add }) {
            sum += add;
            out.push(sum - 0.5 * add);
        }
        out
    };
    if (lightness(left) - lightness(right)).abs() <= HARD_STEP_L {
        // A soft edge has no two tones: there the break itself divides what is lighter from what is darker, and strokes
        // say what they do about any tone. Tones the wrong way round say nothing about where the border lies.
        let gap = if (left > right) == side.left_lighter { left - right } else { 0.0 };
        let per_unit = 2.0 * gap * certainty(right, left);
        let level = reflectance(side.level);
        let by_strokes = |v: &[f64; 2], e: &[f64; 2]| {
            if !expected.strokes {
                return 0.0;
            }
            let [r, l] = [e[0] / right.max(LEAST_TONE), e[1] / left.max(LEAST_TONE)].map(|of| of * v[0]);
            0.25 / expected.variance * ((v[1] - r).powi(2) - (v[1] - l).powi(2))
        };
        let each = samples.iter().zip(&expected.by_side);
        let mut out = passed(&mut each.map(|(v, e)| per_unit * (v[0] - level) + by_strokes(v, e)));
        out.resize(k * (1 + halves.len()), f64::INFINITY);
        return out;
    }
    let certainty = 0.25 / expected.variance;
    // Where no strokes are known, single marks are noise about the tone, and their mean has its say.
    let say = if expected.strokes { 1.0 } else { marks };
    let read = |v: &[f64; 2]| v[0] + say * (v[1] - v[0]);
    let error = |v: f64, expected: f64| certainty * (v - expected).powi(2);
    let by_side = &expected.by_side;
    let mut out =
        passed(&mut samples.iter().zip(by_side).map(|(v, e)| error(read(v), e[0]) - error(read(v), e[1])));
    if halves.is_empty() {
        return out;
    }
    // Under a line a sample is ink instead of what the side would have.
    let inked = |side: usize| -> Vec<f64> {
        let mut sums = vec![0.0];
        let mut sum = 0.0;
        for (v, e) in samples.iter().zip(by_side) {
            sum += if v[1].is_nan() { 0.0 } else { error(v[1], 0.0) - error(v[1], e[side]) };
            sums.push(sum);
        }
        sums
    };
    let (on_right, on_left) = (inked(0), inked(1));
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
fn certainty(right: f64, left: f64) -> f64 {
    let variance = |y: f64| 4.0 * y * (1.0 - y);
    1.0 / (0.5 * (variance(right) + variance(left))).clamp(LEAST_VARIANCE, 1.0)
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
