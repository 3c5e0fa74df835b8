//! Exact Euclidean distance on grids, by imageproc's transform (Felzenszwalb & Huttenlocher 2012).

use image::{GrayImage, ImageBuffer, Luma};
use imageproc::distance_transform::euclidean_squared_distance_transform;
use rayon::prelude::*;

use crate::raster::Raster;

/// Squared distance in pixels from each pixel centre to the nearest pixel centre for which `target` holds.
///
/// Where no pixel is a target the result is infinite everywhere.
#[must_use]
pub fn squared_distance_to(target: &Raster<bool>) -> Raster<f32> {
    let (w, h) = (target.width(), target.height());
    if !target.data().contains(&true) {
        return Raster::new(w, h, f32::INFINITY);
    }
    let mask: Vec<u8> = target.data().iter().map(|&t| u8::from(t)).collect();
    let mask: GrayImage =
        ImageBuffer::from_vec(w as u32, h as u32, mask).expect("a raster holds width x height samples");
    let squared: ImageBuffer<Luma<f64>, Vec<f64>> = euclidean_squared_distance_transform(&mask);
    Raster::from_vec(w, h, squared.into_raw().into_iter().map(|d| d as f32).collect())
}

/// Reach in pixels up to which rows are compared: the usual limits need fewer than ten. Beyond it time must not grow with it.
const BY_ROWS_PX: usize = 24;

/// [`squared_distance_to`] where only distances up to `reach_px` matter: farther pixels get infinity.
///
/// The least over each column's neighbourhood by definition: for a few pixels of reach that takes less than half the time
/// of lower envelopes (an engraving on A4), because rows are compared as wholes.
#[must_use]
pub fn squared_distance_within(target: &Raster<bool>, reach_px: usize) -> Raster<f32> {
    let (w, h) = (target.width(), target.height());
    let limit = (reach_px * reach_px) as f32;
    let near = |d: f32| if d > limit { f32::INFINITY } else { d };
    if reach_px > BY_ROWS_PX {
        return squared_distance_to(target).map(near);
    }
    // In small whole numbers, of which twice as many go into a vector register.
    let beyond = reach_px as i16 + 1;
    let mut across = Raster::new(w, h, FAR_OFF);
    across.data_mut().par_chunks_mut(w.max(1)).enumerate().for_each(|(y, out)| {
        let mut apart = beyond;
        for (o, &is_target) in out.iter_mut().zip(target.row(y)) {
            apart = if is_target { 0 } else { (apart + 1).min(beyond) };
            *o = apart;
        }
        apart = beyond;
        for (o, &is_target) in out.iter_mut().zip(target.row(y)).rev() {
            apart = if is_target { 0 } else { (apart + 1).min(beyond) };
            *o = apart.min(*o);
        }
        out.iter_mut().for_each(|o| *o = if *o == beyond { FAR_OFF } else { *o * *o });
    });
    let mut nearest = Raster::new(w, h, f32::INFINITY);
    nearest.data_mut().par_chunks_mut(w.max(1)).enumerate().for_each_init(
        || vec![0_i16; w],
        |least, (y, out)| {
            least.copy_from_slice(across.row(y));
            for d in 1..=reach_px {
                let lift = (d * d) as i16;
                for from in [y.checked_sub(d), Some(y + d).filter(|&below| below < h)].into_iter().flatten() {
                    for (o, &a) in least.iter_mut().zip(across.row(from)) {
                        *o = (*o).min(a + lift);
                    }
                }
            }
            out.iter_mut().zip(least).for_each(|(o, &mut d)| *o = near(f32::from(d)));
        },
    );
    nearest
}

/// More than any squared distance within [`BY_ROWS_PX`], also when one is added to it.
const FAR_OFF: i16 = i16::MAX / 2;

/// Least of |x - c|^2 + lift(c) over all pixels c, for each pixel x, in square pixels; a lift of infinity leaves a
/// pixel out. With the lift of minus a squared radius the result is at most 0 inside the union of those discs.
///
/// The lower envelope of parabolas along each axis in turn, linear in pixels (Felzenszwalb & Huttenlocher 2012,
/// "Distance transforms of sampled functions").
#[must_use]
pub fn power_distance(lift: &Raster<f64>) -> Raster<f64> {
    let (w, h) = (lift.width(), lift.height());
    let turned = |from: &Raster<f64>| {
        let (w, h) = (from.width(), from.height());
        let data = (0..w * h).map(|i| from.at(i / h, i % h)).collect();
        Raster::from_vec(h, w, data)
    };
    let mut across = lift.clone();
    across.data_mut().chunks_mut(w).for_each(lower_envelope);
    let mut down = turned(&across);
    down.data_mut().chunks_mut(h).for_each(lower_envelope);
    turned(&down)
}

/// Replaces each f(q) by the least of (p - q)^2 + f(q) over all q.
fn lower_envelope(f: &mut [f64]) {
    // Places of the parabolas of the envelope, and where each begins to be the lowest.
    let mut lowest: Vec<(usize, f64)> = Vec::new();
    for q in 0..f.len() {
        if f[q].is_infinite() {
            continue;
        }
        let mut from = f64::NEG_INFINITY;
        while let Some(&(p, begins)) = lowest.last() {
            // In differences, so that no large squares cancel.
            let gap = (q - p) as f64;
            let meet = p as f64 + 0.5 * (gap + (f[q] - f[p]) / gap);
            if meet > begins {
                from = meet;
                break;
            }
            lowest.pop();
        }
        lowest.push((q, from));
    }
    if lowest.is_empty() {
        return;
    }
    let heights: Vec<f64> = lowest.iter().map(|&(q, _)| f[q]).collect();
    let mut k = 0;
    for (p, out) in f.iter_mut().enumerate() {
        while k + 1 < lowest.len() && lowest[k + 1].1 < p as f64 {
            k += 1;
        }
        *out = (p as f64 - lowest[k].0 as f64).powi(2) + heights[k];
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Against the definition; heights are quarters, so that all sums are exact.
        #[test]
        fn power_distances_agree_with_brute_force(w in 1_usize..14, h in 1_usize..14, lifts in proptest::collection::vec(-200_i32..100, 196)) {
            let lift: Vec<f64> = lifts[..w * h].iter().map(|&l| if l > 20 { f64::INFINITY } else { f64::from(l) / 4.0 }).collect();
            let got = power_distance(&Raster::from_vec(w, h, lift.clone()));
            for i in 0..w * h {
                let apart = |j: usize| ((i % w).abs_diff(j % w).pow(2) + (i / w).abs_diff(j / w).pow(2)) as f64;
                let want = (0..w * h).map(|j| apart(j) + lift[j]).fold(f64::INFINITY, f64::min);
                prop_assert!(got.data()[i].total_cmp(&want).is_eq(), "{} for {}", got.data()[i], want);
            }
        }

        /// Near pixels as by the transform of imageproc, far ones none.
        #[test]
        fn near_distances_are_those_of_the_whole_transform(
            w in 1_usize..24, h in 1_usize..24, reach in 0_usize..36,
            bits in proptest::collection::vec(any::<u8>(), 576),
        ) {
            let target = Raster::from_vec(w, h, (0..w * h).map(|i| bits[i] < 12).collect());
            let want = squared_distance_to(&target).map(|d| if d > (reach * reach) as f32 { f32::INFINITY } else { d });
            prop_assert_eq!(squared_distance_within(&target, reach), want);
        }

        /// Against the slow obvious version, on small and thin grids too.
        #[test]
        fn agrees_with_brute_force(w in 1_usize..24, h in 1_usize..24, bits in proptest::collection::vec(any::<u8>(), 576)) {
            let mask: Vec<bool> = (0..w * h).map(|i| bits[i] < 20).collect();
            let got = squared_distance_to(&Raster::from_vec(w, h, mask.clone()));
            for y in 0..h {
                for x in 0..w {
                    let want = (0..w * h).filter(|&i| mask[i]).map(|i| {
                        let (dx, dy) = ((i % w) as f32 - x as f32, (i / w) as f32 - y as f32);
                        dx * dx + dy * dy
                    }).fold(f32::INFINITY, f32::min);
                    let got = got.at(x, y);
                    prop_assert!(got.total_cmp(&want).is_eq(), "{} for {}", got, want);
                }
            }
        }
    }
}
