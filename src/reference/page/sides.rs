//! A side of a page placed at the reference's own pixels, and how far it is from straight.

use nalgebra::{Matrix3, Vector3};

use crate::raster::Raster;

/// One side of a page.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Side {
    /// Its start, and its direction of length 1.
    at: [f64; 2],
    along: [f64; 2],
    /// Its length, and how far its middle lies inwards of its chord, in pixels.
    length: f64,
    rise: f64,
    /// Share of it that was seen as an edge near the line.
    pub(super) seen: f64,
    /// How far its middle strays from the line through its ends, as a share of its length.
    pub(super) bend: f64,
}

/// Places along a side at which its edge is looked for.
const PLACES: usize = 160;
/// How far to either side it is looked for, as a share of its length.
const REACH_SHARE: f64 = 0.02;
/// Pixels along the side over which each place is averaged, to either side.
const ALONG: isize = 3;
/// Rounds of the robust fit, and its least scale in pixels.
const ROUNDS: usize = 12;
const LEAST_SCALE: f64 = 0.5;
/// An edge farther from the curve than this many scales is no part of the side.
const FAR_SCALES: f64 = 4.685;

impl Side {
    /// The place at a share of its length, on its curve.
    pub(super) fn place(&self, share: f64) -> [f64; 2] {
        let rise = self.rise * (1.0 - (2.0 * share - 1.0).powi(2));
        let inward = [-self.along[1], self.along[0]];
        [0, 1].map(|k| self.at[k] + share * self.length * self.along[k] + rise * inward[k])
    }

    /// Where two sides meet.
    pub(super) fn meet(&self, other: &Self) -> Option<[f64; 2]> {
        let det = self.along[0] * other.along[1] - self.along[1] * other.along[0];
        let apart = [other.at[0] - self.at[0], other.at[1] - self.at[1]];
        (det.abs() > 1e-6).then(|| {
            let t = (apart[0] * other.along[1] - apart[1] * other.along[0]) / det;
            [self.at[0] + t * self.along[0], self.at[1] + t * self.along[1]]
        })
    }
}

/// Places a side that is about from `a` to `b`, clockwise round a page that is `darker` than what lies round it or
/// lighter; `coarse` pixels is how finely it was found.
///
/// At many places along it the steepest slope in light is where the edge is: blur is even in light. A parabola is fitted
/// by Tukey's biweight (Beaton & Tukey 1974), so that a hand or a fold in the way does not pull; its chord is the side and
/// its rise the bend.
pub(super) fn refine(reference: &Raster<f32>, a: [f64; 2], b: [f64; 2], darker: bool, coarse: f64) -> Side {
    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
    let along = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
    // Inwards, to the right of the way round.
    let inward = [-along[1], along[0]];
    let reach = (REACH_SHARE * length).max(3.0 * coarse).ceil() as isize + 2;
    let mut edges: Vec<(f64, f64)> = Vec::new();
    for place in 0..PLACES {
        let t = 0.03 + 0.94 * (place as f64 + 0.5) / PLACES as f64;
        let middle = [0, 1].map(|k| a[k] + t * (b[k] - a[k]));
        let profile: Vec<f64> = (-reach..=reach)
            .map(|d| {
                (-ALONG..=ALONG)
                    .map(|l| {
                        let at = [0, 1].map(|k| middle[k] + d as f64 * inward[k] + l as f64 * along[k]);
                        between(reference, at)
                    })
                    .sum::<f64>()
                    / (2 * ALONG + 1) as f64
            })
            .collect();
        edges.extend(steepest(&profile, darker).map(|d| (2.0 * t - 1.0, d - reach as f64)));
    }
    let Some((curve, scale)) = fit(&edges) else {
        return Side { at: a, along, length, rise: 0.0, seen: 0.0, bend: 0.0 };
    };
    let on = edges.iter().filter(|&&(t, d)| (d - value(&curve, t)).abs() <= FAR_SCALES * scale).count();
    // The chord: from the curve's start to its end.
    let ends = [-1.0, 1.0].map(|t| value(&curve, t));
    let start = [0, 1].map(|k| a[k] + ends[0] * inward[k]);
    let end = [0, 1].map(|k| b[k] + ends[1] * inward[k]);
    let chord = (end[0] - start[0]).hypot(end[1] - start[1]);
    Side {
        at: start,
        along: [0, 1].map(|k| (end[k] - start[k]) / chord),
        length: chord,
        rise: -curve[2],
        seen: on as f64 / PLACES as f64,
        bend: curve[2].abs() / length,
    }
}

fn value(curve: &Vector3<f64>, t: f64) -> f64 {
    curve[0] + t * (curve[1] + t * curve[2])
}

/// Light at a place, linearly between pixels; beyond the picture its edge goes on.
fn between(picture: &Raster<f32>, at: [f64; 2]) -> f64 {
    let side = [picture.width(), picture.height()];
    let [(x, u), (y, v)] = [0, 1].map(|k| {
        let p = (at[k] - 0.5).clamp(0.0, (side[k] - 1) as f64);
        ((p as usize).min(side[k].saturating_sub(2)), p - p.floor().min((side[k].saturating_sub(2)) as f64))
    });
    let (x1, y1) = ((x + 1).min(side[0] - 1), (y + 1).min(side[1] - 1));
    let mix = |a: f32, b: f32| f64::from(a) + u * (f64::from(b) - f64::from(a));
    let (top, bottom) =
        (mix(picture.at(x, y), picture.at(x1, y)), mix(picture.at(x, y1), picture.at(x1, y1)));
    top + v * (bottom - top)
}

/// Least rise of a side's edge, as a share of the profile's brightest light.
const LEAST_RISE: f64 = 0.06;

/// Where a profile rises (or falls) most steeply, in samples, if it does so at all.
fn steepest(profile: &[f64], darker: bool) -> Option<f64> {
    let sign = if darker { -1.0 } else { 1.0 };
    let slope: Vec<f64> = profile.windows(3).map(|w| sign * 0.5 * (w[2] - w[0])).collect();
    let (k, &most) = slope.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
    let brightest = profile.iter().copied().fold(0.0, f64::max);
    if k == 0 || k + 1 == slope.len() || most < LEAST_RISE * brightest {
        return None;
    }
    // The middle of the slope's own mass round the steepest place: even for an edge blurred over several pixels.
    let (mut sum, mut moment) = (0.0, 0.0);
    let mut add = |i: usize| {
        sum += slope[i];
        moment += slope[i] * i as f64;
    };
    add(k);
    (0..k).rev().take_while(|&i| slope[i] > 0.1 * most).for_each(&mut add);
    (k + 1..slope.len()).take_while(|&i| slope[i] > 0.1 * most).for_each(&mut add);
    Some(moment / sum + 1.0)
}

/// A parabola through most of the edges, and the scale of their scatter.
fn fit(edges: &[(f64, f64)]) -> Option<(Vector3<f64>, f64)> {
    if edges.len() < 12 {
        return None;
    }
    let median = |mut list: Vec<f64>| {
        list.sort_by(f64::total_cmp);
        list[list.len() / 2]
    };
    let mut curve = Vector3::new(median(edges.iter().map(|e| e.1).collect()), 0.0, 0.0);
    let mut scale = f64::INFINITY;
    for round in 0..ROUNDS {
        let off: Vec<f64> = edges.iter().map(|&(t, d)| d - value(&curve, t)).collect();
        scale = (1.4826 * median(off.iter().map(|r| r.abs()).collect())).max(LEAST_SCALE);
        let mut left = Matrix3::<f64>::zeros();
        let mut right = Vector3::<f64>::zeros();
        for (&(t, d), r) in edges.iter().zip(&off) {
            let u = r / (FAR_SCALES * scale);
            // The first rounds take everything that is not far off: the start is no more than a level line.
            let weight =
                if round < 2 { 1.0 / (1.0 + (r / scale).abs()) } else { (1.0 - u * u).max(0.0).powi(2) };
            let row = Vector3::new(1.0, t, t * t);
            left += weight * row * row.transpose();
            right += weight * d * row;
        }
        curve = left.cholesky()?.solve(&right);
    }
    Some((curve, scale))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use proptest::test_runner::RngSeed;

    /// A light page whose upper side is the parabola y(x), drawn with exact coverage down each column.
    fn page(top: impl Fn(f64) -> f64) -> Raster<f32> {
        let (w, h) = (500, 200);
        let light = |i: usize| {
            let inside = ((i / w) as f64 + 1.0 - top((i % w) as f64 + 0.5)).clamp(0.0, 1.0);
            (0.1 + 0.7 * inside) as f32
        };
        Raster::from_vec(w, h, (0..w * h).map(light).collect())
    }

    proptest! {
        // Always the same cases, so that what passes here passes everywhere.
        #![proptest_config(ProptestConfig { rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]

        /// A side that leans and bends is found to a sixth of a pixel, and its bend to a twenty-fifth of a per cent.
        #[test]
        fn sides_are_placed(at in 60.0..70.0_f64, lean in -0.02..0.02_f64, rise in -4.0..4.0_f64) {
            let top = |x: f64| {
                let t = (x - 250.0) / 250.0;
                at + lean * (x - 250.0) + rise * (1.0 - t * t)
            };
            let side = refine(&page(top), [0.0, at - lean * 250.0], [500.0, at + lean * 250.0], false, 1.0);
            prop_assert!(side.seen > 0.95, "seen {}", side.seen);
            for x in [0.0, 500.0] {
                let want = at + lean * (x - 250.0);
                let got = side.at[1] + (x - side.at[0]) / side.along[0] * side.along[1];
                prop_assert!((got - want).abs() < 0.16, "{} for {}", got, want);
            }
            prop_assert!((side.bend - rise.abs() / 500.0).abs() < 4e-4, "bend {} for {}", side.bend, rise.abs() / 500.0);
        }
    }
}
