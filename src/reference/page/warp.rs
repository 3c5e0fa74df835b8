//! A page in perspective laid flat, in one resampling of linear light.

use rayon::prelude::*;

use crate::raster::Raster;

use super::homography::{Homography, Quad};

/// Most pixels of the flat page, as a multiple of the reference's: the far side of a tilted page is drawn larger.
const MOST_TIMES: f64 = 3.0;
/// Widest kernel in pixels of the reference on either side of its middle: a bound on time for absurd corners.
const WIDEST: f64 = 64.0;

/// How much wider a flat page is made at most, so that its sides are whole pixels at its true ratio.
const WIDENED: f64 = 1.03;
/// Pixels of a mm are counted in this part of one, or in whole ones where there are many.
const PART_OF_PX: f64 = 0.25;
const MANY_PX_PER_MM: f64 = 4.0;

/// The size of a flat page in pixels.
///
/// No pixel of it covers more than one of the reference anywhere, so that nothing is lost, unless that takes more than
/// three times the reference's `pixels`. Where its size in mm is known, a mm has a whole number of pixels (or of quarters
/// of one), so that lengths are cut exactly; elsewhere it is a little wider where its ratio (width to height) then comes
/// out exactly.
pub(super) fn flat_size(quad: &Quad, ratio: f64, size_mm: Option<[f64; 2]>, pixels: usize) -> [usize; 2] {
    let mut needed = [0.0_f64; 2];
    if let Some(map) = Homography::from_rectangle(1.0, 1.0, quad) {
        for at in [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]] {
            for (need, step) in needed.iter_mut().zip(map.steps(at)) {
                *need = need.max(step[0].hypot(step[1]));
            }
        }
    }
    let wide = needed[0].max(needed[1] * ratio);
    let wide = wide.min((MOST_TIMES * pixels as f64 * ratio).sqrt());
    let whole = |side: f64| (side.round() as usize).max(1);
    if let Some(mm) = size_mm {
        let part = if wide / mm[0] > MANY_PX_PER_MM { 1.0 } else { PART_OF_PX };
        let px_per_mm = (wide / mm[0] / part - 1e-6).ceil().max(1.0) * part;
        return mm.map(|side| whole(side * px_per_mm));
    }
    let first = wide.ceil().max(1.0) as usize;
    let off = |width: usize| {
        let height = width as f64 / ratio;
        (height - height.round()).abs() / height
    };
    let width = (first..=(first as f64 * WIDENED) as usize).min_by(|&a, &b| off(a).total_cmp(&off(b)));
    let width = width.unwrap_or(first);
    [width, whole(width as f64 / ratio)]
}

/// Lays the quad of a reference flat as `width` x `height` pixels.
///
/// Each pixel is the mean of the reference under a Catmull-Rom cubic (Catmull & Rom 1974) as wide, along either axis of
/// the reference, as the pixel's own footprint there or one pixel, whichever is more: it interpolates where the page is
/// enlarged and leaves nothing to alias where it is made smaller (Heckbert 1989, "Fundamentals of texture mapping",
/// chapter 3). The result is held within the samples under the kernel, so that no halo arises beside blacks. Outside
/// the reference its edge goes on. Pixels nearer to an edge of the page than `sliver` (a share of the side, and pixels
/// more) repeat what lies so far in.
pub(super) fn lay_flat(
    reference: &Raster<f32>,
    quad: &Quad,
    [width, height]: [usize; 2],
    sliver: [f64; 2],
) -> Raster<f32> {
    let mut flat = Raster::new(width, height, 0.0_f32);
    let Some(map) = Homography::from_rectangle(width as f64, height as f64, quad) else {
        return flat;
    };
    let within = |at: f64, side: usize| {
        let edge = depth(sliver, side).min(0.5 * side as f64);
        at.clamp(edge, side as f64 - edge)
    };
    flat.data_mut().par_chunks_mut(width).enumerate().for_each_init(
        || [Vec::new(), Vec::new()],
        |taps, (y, row)| {
            for (x, out) in row.iter_mut().enumerate() {
                let at = [within(x as f64 + 0.5, width), within(y as f64 + 0.5, height)];
                let [along, down] = map.steps(at);
                let middle = map.apply(at);
                let [across, below] = taps;
                fill(across, middle[0], along[0].hypot(down[0]), reference.width());
                fill(below, middle[1], along[1].hypot(down[1]), reference.height());
                *out = weigh(reference, across, below);
            }
        },
    );
    flat
}

/// How far a sliver reaches in from an end of a side of so many pixels.
fn depth([share, pixels]: [f64; 2], side: usize) -> f64 {
    share * side as f64 + pixels
}

/// The picture with its edges drawn from further in: pixels in the outermost `sliver` (as in [`lay_flat`]) repeat what lies
/// next to it. A photograph mixes what lies on either side of a crop.
pub(super) fn from_further_in(picture: &Raster<f32>, sliver: [f64; 2]) -> Raster<f32> {
    let within = |at: usize, side: usize| {
        let edge = (depth(sliver, side).round() as usize).min((side - 1) / 2);
        at.clamp(edge, side - 1 - edge)
    };
    let (w, h) = (picture.width(), picture.height());
    let rows = (0..h).flat_map(|y| (0..w).map(move |x| picture.at(within(x, w), within(y, h))));
    Raster::from_vec(w, h, rows.collect())
}

/// Samples along one axis with their shares, which add up to 1.
fn fill(taps: &mut Vec<(usize, f32)>, middle: f64, footprint: f64, samples: usize) {
    taps.clear();
    let wide = footprint.clamp(1.0, WIDEST / 2.0);
    let (first, last) = ((middle - 2.0 * wide - 0.5).ceil(), (middle + 2.0 * wide - 0.5).floor());
    let mut sum = 0.0;
    let mut i = first;
    while i <= last {
        let share = catmull_rom((i + 0.5 - middle) / wide);
        sum += share;
        taps.push((i.clamp(0.0, (samples - 1) as f64) as usize, share as f32));
        i += 1.0;
    }
    taps.iter_mut().for_each(|tap| tap.1 /= sum as f32);
}

/// The Catmull-Rom cubic, 0 from 2 on.
fn catmull_rom(t: f64) -> f64 {
    let t = t.abs();
    if t < 1.0 {
        1.0 + t * t * (1.5 * t - 2.5)
    } else if t < 2.0 {
        2.0 + t * (t * (2.5 - 0.5 * t) - 4.0)
    } else {
        0.0
    }
}

/// The weighted mean, held within the samples.
fn weigh(reference: &Raster<f32>, across: &[(usize, f32)], below: &[(usize, f32)]) -> f32 {
    let (mut sum, mut low, mut high) = (0.0_f32, f32::INFINITY, f32::NEG_INFINITY);
    for &(y, down) in below {
        let row = reference.row(y);
        let mut part = 0.0_f32;
        for &(x, share) in across {
            let sample = row[x];
            part += share * sample;
            low = low.min(sample);
            high = high.max(sample);
        }
        sum += down * part;
    }
    sum.max(low).min(high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A smooth pattern whose mean is known everywhere.
    fn waves(width: usize, height: usize) -> Raster<f32> {
        let data = (0..width * height).map(|i| wave((i % width) as f64 + 0.5, (i / width) as f64 + 0.5));
        Raster::from_vec(width, height, data.collect())
    }

    fn wave(x: f64, y: f64) -> f32 {
        (0.5 + 0.2 * (x / 9.0).sin() + 0.2 * (y / 11.0).cos()) as f32
    }

    proptest! {
        /// Every pixel of the flat page is the reference at the place where the map says (a pattern in closed form).
        #[test]
        fn pixels_come_from_their_places(moved in proptest::array::uniform8(0.0..40.0_f64)) {
            let picture = waves(260, 240);
            let mut quad = [[20.0, 20.0], [240.0, 20.0], [240.0, 220.0], [20.0, 220.0]];
            for (k, corner) in quad.iter_mut().enumerate() {
                let inward = [[1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0], [1.0, -1.0]][k];
                corner[0] += inward[0] * moved[2 * k];
                corner[1] += inward[1] * moved[2 * k + 1];
            }
            let size = flat_size(&quad, 1.1, None, 260 * 240);
            let flat = lay_flat(&picture, &quad, size, [0.0; 2]);
            let map = Homography::from_rectangle(size[0] as f64, size[1] as f64, &quad).expect("a map");
            for (x, y) in [(3, 5), (size[0] / 2, size[1] / 3), (size[0] - 7, size[1] - 4)] {
                let [u, v] = map.apply([x as f64 + 0.5, y as f64 + 0.5]);
                prop_assert!((flat.at(x, y) - wave(u, v)).abs() < 0.01, "{} for {}", flat.at(x, y), wave(u, v));
            }
        }
    }

    #[test]
    fn an_upright_rectangle_is_cut_out_as_it_is() {
        let picture = waves(60, 50);
        let quad = [[10.0, 5.0], [50.0, 5.0], [50.0, 45.0], [10.0, 45.0]];
        assert_eq!(flat_size(&quad, 1.0, None, 3000), [40, 40], "one pixel for one");
        assert_eq!(flat_size(&quad, 1.0, Some([6.0, 6.0]), 3000), [42, 42], "seven pixels a mm");
        assert_eq!(flat_size(&quad, 1.0, Some([30.0, 30.0]), 3000), [45, 45], "one and a half pixels a mm");
        let flat = lay_flat(&picture, &quad, [40, 40], [0.0; 2]);
        for (i, &got) in flat.data().iter().enumerate() {
            let want = picture.at(10 + i % 40, 5 + i / 40);
            assert!((got - want).abs() < 1e-6, "{got} for {want}");
        }
    }

    #[test]
    fn fine_stripes_made_smaller_are_grey_and_not_moire() {
        let stripes = Raster::from_vec(800, 800, (0..640_000).map(|i| (i % 2) as f32).collect());
        let quad = [[100.0, 100.0], [700.0, 130.0], [690.0, 680.0], [120.0, 700.0]];
        let flat = lay_flat(&stripes, &quad, [150, 150], [0.0; 2]);
        for &v in flat.data() {
            assert!((v - 0.5).abs() < 0.02, "stripes of half ink came out as {v}");
        }
    }
}
