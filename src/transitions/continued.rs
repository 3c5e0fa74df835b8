//! Strokes continued: what each side of a border would have on both sides of it, if its own strokes ran on.
//!
//! A border in hatching is where strokes end, turn or are crossed, and the tones beside it may hardly differ. So each
//! side is asked for the directions of its strokes (a histogram of the slopes' directions, weighed by their squares, as in
//! Dalal & Triggs 2005), and along each the marks that lie deeper in it are carried on to the place in question. Sets that
//! cross cover independently (Demichel 1924), so their shares of the paper that shows multiply. How far that foretells
//! the marks of the side's own inside says how much of it is believed: dots foretell nothing, and there the side's tone
//! is all that is expected.

use std::f64::consts::PI;

use kurbo::{Point, Vec2};
use rayon::prelude::*;

use super::place::{Ground, Side, sample};
use crate::raster::{Raster, slope_at};

/// Bins of directions over half a turn.
const BINS: usize = 36;
/// The directions are those of so many mm along the border ...
const DIRECTIONS_MM: f64 = 2.0;
/// ... asked for at every so manieth point.
const ASKED_EVERY: usize = 4;
/// Most directions of a side, and the least height of a peak, as a share of the highest and of the mean of all bins.
const MOST_WAYS: usize = 3;
const PEAK: f64 = 0.3;
const OVER_MEAN: f64 = 1.3;
/// A share of a peak's height that belongs to no direction and has no say in where its middle lies.
const BACKGROUND: f64 = 0.3;
/// Strokes that run along the border within this sine of an angle are not carried on: they do not reach it.
const LEAST_SINE: f64 = 0.2;
/// Marks are carried on over at most so many mm, for strokes bend ...
const MOST_MM: f64 = 3.0;
/// ... as means of so many samples so many mm apart, of which half at least have to lie in the side's area ...
const TAPS: usize = 6;
const TAP_MM: f64 = 0.25;
/// ... the first so many guards deep from the place, or what is told inside would be told by itself.
const OWN_GUARDS: f64 = 0.7;
/// How well the marks are foretold is asked over so many mm along the border.
pub(super) const ASKED_MM: f64 = 2.0;
/// Share of the marks' variance that has to be foretold for strokes to have a say, and from which they have it whole.
const FORETOLD: [f64; 2] = [0.15, 0.4];
/// Least variance of marks, and least share of it that is believed to be left.
const LEAST_VARIANCE: f64 = 0.0125;
const LEAST_LEFT: f64 = 0.1;
/// Least reflectance that shares of paper are taken of.
pub(super) const LEAST_TONE: f64 = 0.02;
/// Samples (weighed along the line) that it takes to be asked.
const LEAST_SAMPLES: f64 = 2.0;

/// What is known of the places across one point of a border.
pub(super) struct Expected {
    /// By offset, outermost right first: reflectance expected of the right and of the left side.
    pub(super) by_side: Vec<[f64; 2]>,
    /// Mean variance of the marks about that.
    pub(super) variance: f64,
    /// Whether the strokes of a side have a say in it.
    pub(super) strokes: bool,
}

/// The places across a border that are looked at: by point from `-far` to `far` steps along its normal, which points left.
pub(super) struct Places<'a> {
    pub(super) base: &'a [Point],
    pub(super) normals: &'a [Vec2],
    pub(super) sides: &'a [Side],
    /// Whether the last point is followed by the first.
    pub(super) closed: bool,
    /// Points to a pixel, about.
    pub(super) per_px: f64,
    /// Length of a step in pixels.
    pub(super) step_px: f64,
    /// Steps looked at to each side.
    pub(super) far: usize,
    /// Steps within which the border is looked for.
    pub(super) reach: usize,
    /// Pixels from the base within which a place may belong to either side.
    pub(super) guard: f64,
    /// Which points are asked about.
    pub(super) asked: &'a [bool],
}

impl Places<'_> {
    fn at(&self, i: usize, k: usize) -> (f64, Point) {
        let off = (k as f64 - self.far as f64) * self.step_px;
        (off, self.base[i] + self.normals[i] * off)
    }

    fn node(&self, i: usize, side: usize) -> u32 {
        if side == 1 { self.sides[i].left } else { self.sides[i].right }
    }

    /// The side that a place so many pixels off lies well inside of, 0 the right and 1 the left.
    fn inside(&self, ground: &Ground<'_>, i: usize, (off, q): (f64, Point)) -> Option<usize> {
        let side = usize::from(off > 0.0);
        (off.abs() > self.guard && ground.node_at(q) == Some(self.node(i, side))).then_some(side)
    }
}

/// What both sides are expected to have at the places across each point within reach, where it is asked and both are seen. `marks` are
/// by point and step, `tones` those of the right and left side.
pub(super) fn expected(
    ground: &Ground<'_>,
    places: &Places<'_>,
    marks: &(dyn Fn(usize, usize) -> f64 + Sync),
    tones: &[[Option<f64>; 2]],
) -> Vec<Option<Expected>> {
    let n = places.base.len();
    let px = ground.tone.px_per_mm;
    let ways = ways_of_sides(ground, places);
    let foretold: Vec<Vec<[f64; 2]>> = (0..n)
        .into_par_iter()
        .with_min_len(32)
        .map(|i| {
            if !places.asked[i] {
                return Vec::new();
            }
            let mut out = vec![tones[i].map(|t| t.unwrap_or(f64::NAN)); 2 * places.far + 1];
            for side in 0..2 {
                let (Some(tone), ways) = (tones[i][side], &ways[i / ASKED_EVERY][side]) else { continue };
                if !ways.is_empty() {
                    carry_on(ground, places, i, side, tone, ways, &mut out);
                }
            }
            out
        })
        .collect();
    let sums: Vec<[f64; 12]> = (0..n)
        .into_par_iter()
        .with_min_len(128)
        .map(|i| {
            let mut sums = [0.0; 12];
            for (k, foretold) in foretold[i].iter().enumerate() {
                let Some(side) = places.inside(ground, i, places.at(i, k)) else { continue };
                let (x, v) = (foretold[side], marks(i, k));
                if x.is_nan() || v.is_nan() {
                    continue;
                }
                for (sum, add) in sums[6 * side..].iter_mut().zip([1.0, x, v, x * x, x * v, v * v]) {
                    *sum += add;
                }
            }
            sums
        })
        .collect();
    let sums = along(&sums, places.closed, ASKED_MM * px * places.per_px, 1);
    let range = places.far - places.reach..=places.far + places.reach;
    sums.iter()
        .zip(&foretold)
        .map(|(sums, foretold)| {
            if foretold.is_empty() {
                return None;
            }
            let (right, left) = (Fit::of(&sums[..6])?, Fit::of(&sums[6..])?);
            let by_side = foretold[range.clone()].iter().map(|x| [right.at(x[0]), left.at(x[1])]).collect();
            let variance = 0.5 * (right.variance + left.variance);
            Some(Expected { by_side, variance, strokes: right.slope.max(left.slope) > 0.0 })
        })
        .collect()
}

/// How the marks of a side follow what is foretold.
struct Fit {
    means: [f64; 2],
    slope: f64,
    variance: f64,
}

impl Fit {
    /// From sums of 1, x, v, x^2, xv and v^2, x being foretold and v the marks; none of too few.
    fn of(sums: &[f64]) -> Option<Self> {
        let n = sums[0];
        if n < LEAST_SAMPLES {
            return None;
        }
        let [x, v] = [sums[1] / n, sums[2] / n];
        let (xx, xv, vv) = (sums[3] / n - x * x, sums[4] / n - x * v, sums[5] / n - v * v);
        let (slope, share) = if xx > 1e-6 && vv > 1e-6 && xv > 0.0 {
            ((xv / xx).min(1.0), (xv * xv / (xx * vv)).min(1.0))
        } else {
            (0.0, 0.0)
        };
        let slope = slope * ((share - FORETOLD[0]) / (FORETOLD[1] - FORETOLD[0])).clamp(0.0, 1.0);
        let left = (vv - slope * (2.0 * xv - slope * xx)).max(LEAST_VARIANCE) / vv.max(LEAST_VARIANCE);
        // Marks that cover all but Y of the paper vary by Y (1 - Y); the part of it that is foretold is no doubt.
        let variance = (v * (1.0 - v)).max(LEAST_VARIANCE) * left.clamp(LEAST_LEFT, 1.0);
        Some(Self { means: [x, v], slope, variance })
    }

    fn at(&self, x: f64) -> f64 {
        let [mean, marks] = self.means;
        if x.is_nan() { marks } else { marks + self.slope * (x - mean) }
    }
}

/// Carries the marks deep in one side on along its strokes, to each place across a point that lies in the side or within reach:
/// to every second one, for they are means over more than a step, the others lie between.
fn carry_on(
    ground: &Ground<'_>,
    places: &Places<'_>,
    i: usize,
    side: usize,
    tone: f64,
    ways: &[Vec2],
    out: &mut [[f64; 2]],
) {
    let px = ground.tone.px_per_mm;
    let sign = if side == 1 { 1.0 } else { -1.0 };
    let node = places.node(i, side);
    let inwards: Vec<(Vec2, f64)> = ways
        .iter()
        .map(|way| (*way, way.dot(places.normals[i]) * sign))
        .filter(|(_, sine)| sine.abs() >= LEAST_SINE)
        .map(|(way, sine)| (way * sine.signum(), sine.abs()))
        .collect();
    for k in (0..out.len()).step_by(2) {
        let (off, q) = places.at(i, k);
        let depth = sign * off;
        if depth < -(places.reach as f64 + 1.0) * places.step_px {
            continue;
        }
        let mut shows = tone;
        for &(way, sine) in &inwards {
            let from = (places.guard - depth).max(OWN_GUARDS * places.guard) / sine;
            if from > MOST_MM * px {
                continue;
            }
            let (mut sum, mut count) = (0.0, 0);
            for t in 0..TAPS {
                let p = q + way * (from + t as f64 * TAP_MM * px);
                if ground.node_at(p) != Some(node) {
                    break;
                }
                sum += sample(&ground.tone.reflectance, p);
                count += 1;
            }
            if 2 * count >= TAPS {
                shows *= sum / count as f64 / tone.max(LEAST_TONE);
            }
        }
        out[k][side] = shows.min(1.0);
    }
    for k in (1..out.len()).step_by(2) {
        out[k][side] = 0.5 * (out[k - 1][side] + out[k + 1][side]);
    }
}

/// Directions of the strokes of the right and left side, strongest first, at every [`ASKED_EVERY`]th point.
fn ways_of_sides(ground: &Ground<'_>, places: &Places<'_>) -> Vec<[Vec<Vec2>; 2]> {
    let marks = &ground.tone.reflectance;
    let slopes: Vec<[f64; 2 * BINS]> = (0..places.base.len())
        .into_par_iter()
        .with_min_len(128)
        .map(|i| {
            let mut bins = [0.0; 2 * BINS];
            for k in (0..=2 * places.far).filter(|_| places.asked[i]) {
                let place = places.at(i, k);
                let Some(side) = places.inside(ground, i, place) else { continue };
                let slope = slope(marks, place.1);
                if slope.hypot2() < 1e-12 {
                    continue;
                }
                // Strokes run across the slope.
                let angle = slope.x.atan2(-slope.y).rem_euclid(PI);
                let bin = ((angle / PI * BINS as f64) as usize).min(BINS - 1);
                bins[side * BINS + bin] += slope.hypot2();
            }
            bins
        })
        .collect();
    let sigma = DIRECTIONS_MM * ground.tone.px_per_mm * places.per_px;
    along(&slopes, places.closed, sigma, ASKED_EVERY)
        .iter()
        .map(|bins| [0, 1].map(|side| peaks(&bins[side * BINS..(side + 1) * BINS])))
        .collect()
}

/// The slope at the pixel of a place inside a raster. Read by differences of one row alone it costs 0.02 of F1 on hatching.
fn slope(raster: &Raster<f32>, p: Point) -> Vec2 {
    let [across, down] = slope_at(raster, p.x as usize, p.y as usize);
    Vec2::new(f64::from(across), f64::from(down))
}

/// Directions in which a histogram over half a turn has its peaks, highest first.
fn peaks(bins: &[f64]) -> Vec<Vec2> {
    let total: f64 = bins.iter().sum();
    if total <= 0.0 {
        return Vec::new();
    }
    let round = |i: usize, by: isize| (i as isize + by).rem_euclid(BINS as isize) as usize;
    let smooth: Vec<f64> = (0..BINS)
        .map(|i| (-2..=2_isize).map(|d| (3 - d.abs()) as f64 * bins[round(i, d)]).sum::<f64>() / 9.0)
        .collect();
    let highest = smooth.iter().copied().fold(0.0, f64::max);
    let least = (PEAK * highest).max(OVER_MEAN * total / BINS as f64);
    let mut found: Vec<(f64, Vec2)> = (0..BINS)
        .filter(|&i| {
            let (before, own, after) = (smooth[round(i, -1)], smooth[i], smooth[round(i, 1)]);
            own >= least && own > before && own >= after
        })
        .map(|i| {
            let (mut sum, mut moment) = (0.0, 0.0);
            for d in -3..=3_isize {
                let w = (bins[round(i, d)] - BACKGROUND * smooth[i]).max(0.0);
                sum += w;
                moment += w * d as f64;
            }
            let middle = i as f64 + 0.5 + if sum > 0.0 { moment / sum } else { 0.0 };
            (smooth[i], Vec2::from_angle(middle * PI / BINS as f64))
        })
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(MOST_WAYS);
    found.into_iter().map(|(_, way)| way).collect()
}

/// How many standard deviations sums along a line reach.
pub(super) const ALONG_SIGMAS: f64 = 2.5;

/// Sums at every so manieth point, weighed by a Gaussian `sigma` points wide along the line.
pub(super) fn along<const N: usize>(
    sums: &[[f64; N]],
    closed: bool,
    sigma: f64,
    every: usize,
) -> Vec<[f64; N]> {
    let n = sums.len() as isize;
    let reach = (ALONG_SIGMAS * sigma).ceil() as isize;
    let weights: Vec<f64> = (0..=reach).map(|k| (-0.5 * (k as f64 / sigma).powi(2)).exp()).collect();
    let span = if closed { reach.min((n - 1) / 2) } else { reach };
    (0..sums.len().div_ceil(every))
        .into_par_iter()
        .with_min_len(128)
        .map(|i| {
            let i = (i * every) as isize;
            let mut total = [0.0; N];
            for d in -span..=span {
                let j = if closed { (i + d).rem_euclid(n) } else { i + d };
                let Some(add) = usize::try_from(j).ok().and_then(|j| sums.get(j)) else { continue };
                let w = weights[d.unsigned_abs()];
                total.iter_mut().zip(add).for_each(|(sum, add)| *sum += w * add);
            }
            total
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A histogram of strokes at these angles, each spread over neighbouring bins as a slightly unsteady hand does.
    fn strokes_at(degrees: &[(f64, f64)]) -> Vec<f64> {
        let width = 180.0 / BINS as f64;
        let mut bins = vec![0.05; BINS];
        for &(angle, weight) in degrees {
            for (i, bin) in bins.iter_mut().enumerate() {
                let off = ((i as f64 + 0.5) * width - angle + 90.0).rem_euclid(180.0) - 90.0;
                *bin += weight * (-0.5 * (off / 4.0).powi(2)).exp();
            }
        }
        bins
    }

    fn turned_by(way: Vec2, degrees: f64) -> f64 {
        let own = way.y.atan2(way.x).to_degrees();
        ((own - degrees + 90.0).rem_euclid(180.0) - 90.0).abs()
    }

    proptest! {
        /// Two sets of strokes that cross are both found, within 1.5 degrees, however they lie, the stronger first.
        #[test]
        fn crossing_sets_are_told_apart(first in 0.0_f64..180.0, between in 35.0_f64..145.0, share in 0.45_f64..0.9) {
            let second = first + between;
            let found = peaks(&strokes_at(&[(first, 1.0), (second, share)]));
            prop_assert_eq!(found.len(), 2);
            let off = [turned_by(found[0], first), turned_by(found[1], second)];
            prop_assert!(off[0] < 1.5 && off[1] < 1.5, "off by {:?} degrees", off);
        }
    }

    /// What has no direction has no strokes: level histograms, and none at all.
    #[test]
    fn no_direction_is_none() {
        assert!(peaks(&[1.0; BINS]).is_empty());
        assert!(peaks(&[0.0; BINS]).is_empty());
    }

    /// Sums over samples of what was foretold and of the marks.
    fn sums_of(samples: &[(f64, f64)]) -> [f64; 6] {
        samples.iter().fold([0.0; 6], |s, (x, v)| {
            let add = [1.0, *x, *v, x * x, x * v, v * v];
            std::array::from_fn(|i| s[i] + add[i])
        })
    }

    /// Marks that are as foretold are believed whole; where they have nothing to do with it the side's tone is all that is
    /// expected, and a share under the lower limit (here 0.1, by hand) has no say either.
    #[test]
    fn only_what_is_foretold_is_believed() {
        let as_foretold = Fit::of(&sums_of(&[(0.0, 0.1), (1.0, 0.9), (1.0, 0.9), (0.0, 0.1)])).expect("four");
        assert!((as_foretold.at(1.0) - 0.9).abs() < 1e-9 && (as_foretold.at(0.0) - 0.1).abs() < 1e-9);
        assert!((as_foretold.variance - 0.25 * LEAST_LEFT).abs() < 1e-9, "{}", as_foretold.variance);
        let by_chance = Fit::of(&sums_of(&[(0.0, 0.0), (0.0, 1.0), (1.0, 0.0), (1.0, 1.0)])).expect("four");
        assert!((by_chance.at(1.0) - 0.5).abs() < 1e-9 && (by_chance.variance - 0.25).abs() < 1e-9);
        // 658 of 1000 agree: the correlation is 0.316, a tenth of the variance.
        let little: Vec<(f64, f64)> = [(0.0, 0.0, 658), (0.0, 1.0, 342), (1.0, 0.0, 342), (1.0, 1.0, 658)]
            .iter()
            .flat_map(|&(x, v, n)| std::iter::repeat_n((x, v), n))
            .collect();
        let little = Fit::of(&sums_of(&little)).expect("two thousand");
        assert!(little.slope.abs() < 1e-12 && (little.at(1.0) - 0.5).abs() < 1e-9);
        assert!(Fit::of(&sums_of(&[(0.5, 0.5)])).is_none(), "one sample tells nothing");
    }

    /// Of waves 5 pixels long and longer the direction is told within 0.6 degrees however they lie; by differences of one
    /// row, sin(k cos t) across and sin(k sin t) down in closed form, it is off by 4.
    #[test]
    fn slopes_tell_directions_truly() {
        for (length, degrees) in
            [5.0_f64, 6.0, 8.0].into_iter().flat_map(|l| (0..18).map(move |d| (l, d * 10)))
        {
            let (sin, cos) = f64::from(degrees).to_radians().sin_cos();
            let wave = |i: usize| {
                let along = (i % 40) as f64 * cos + (i / 40) as f64 * sin;
                (std::f64::consts::TAU * along / length).sin() as f32
            };
            let raster = Raster::from_vec(40, 40, (0..1600).map(wave).collect());
            let slopes =
                (5..35).flat_map(|y| (5..35).map(move |x| Point::new(x as f64 + 0.5, y as f64 + 0.5)));
            let steepest = slopes.map(|p| slope(&raster, p)).max_by(|a, b| a.hypot2().total_cmp(&b.hypot2()));
            let off = turned_by(steepest.expect("there are places"), f64::from(degrees));
            assert!(off < 0.6, "waves of {length} px at {degrees} degrees are off by {off}");
        }
    }

    /// A closed line's sums go round its end, an open line's do not; sums of ones are the weights' own.
    #[test]
    fn sums_go_round_closed_lines() {
        let mut sums = vec![[0.0]; 20];
        sums[0] = [1.0];
        let (open, round) = (along(&sums, false, 1.0, 1), along(&sums, true, 1.0, 1));
        assert!(open[19][0].abs() < 1e-12 && (round[19][0] - (-0.5_f64).exp()).abs() < 1e-12);
        assert!((open[1][0] - round[1][0]).abs() < 1e-12);
        assert_eq!(along(&sums, true, 1.0, 4).len(), 5);
    }
}
