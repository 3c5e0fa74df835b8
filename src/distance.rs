//! Exact Euclidean distance on grids, by imageproc's transform (Felzenszwalb & Huttenlocher 2012).

use image::{GrayImage, ImageBuffer, Luma};
use imageproc::distance_transform::euclidean_squared_distance_transform;

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
