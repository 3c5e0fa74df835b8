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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
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
