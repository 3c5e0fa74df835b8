//! Areas in texture without the spikes that grow into gaps between strokes.

use rayon::prelude::*;

use crate::components::components;
use crate::raster::Raster;
use crate::tone::gaussian;

/// Width of the mean that a pixel's surroundings are asked with, in narrowest widths (standard deviation).
const WIDTH: f64 = 0.35;

/// Gives each pixel the value that most of its surroundings have: one step of the diffusion and thresholding of Merriman,
/// Bence & Osher (1992), which draws in what is much narrower than the narrowest width and leaves straight borders.
/// What then falls apart into patches smaller than `least_px` goes as well, into what lies around it.
pub(super) fn calm(values: &Raster<u8>, most: u8, narrowest_px: f64, least_px: f64) -> Raster<u8> {
    let sigma = (WIDTH * narrowest_px) as f32;
    let shares: Vec<Raster<f32>> = (1..=most)
        .into_par_iter()
        .map(|value| gaussian(&values.map(|v| f32::from(u8::from(v == value))), sigma))
        .collect();
    let mut calm = values.clone();
    calm.data_mut().par_iter_mut().with_min_len(1 << 14).enumerate().for_each(|(i, to)| {
        let mut best = 0.0_f32;
        for (value, share) in (1..=most).zip(&shares) {
            if share.data()[i] > best {
                (best, *to) = (share.data()[i], value);
            }
        }
    });
    absorb(&mut calm, most, least_px);
    calm
}

/// Gives patches smaller than `least_px` the value that most of the pixels around them have, of two the lighter.
pub(super) fn absorb(values: &mut Raster<u8>, most: u8, least_px: f64) {
    let (patches, count) = components(values);
    let (w, h) = (values.width(), values.height());
    let mut sizes = vec![0_u32; count + 1];
    patches.data().iter().for_each(|&id| sizes[id as usize] += 1);
    let small = |id: u32| f64::from(sizes[id as usize]) < least_px;
    let values_count = usize::from(most) + 1;
    let mut around = vec![0_u32; (count + 1) * values_count];
    let mut meet = |a: (usize, usize), b: (usize, usize)| {
        let (own, beside) = (patches.at(a.0, a.1), patches.at(b.0, b.1));
        if own != beside {
            around[own as usize * values_count + usize::from(values.at(b.0, b.1))] += 1;
            around[beside as usize * values_count + usize::from(values.at(a.0, a.1))] += 1;
        }
    };
    for y in 0..h {
        for x in 0..w {
            if x + 1 < w {
                meet((x, y), (x + 1, y));
            }
            if y + 1 < h {
                meet((x, y), (x, y + 1));
            }
        }
    }
    for (value, &id) in values.data_mut().iter_mut().zip(patches.data()) {
        let own = &around[id as usize * values_count..][..values_count];
        if small(id)
            && let Some((to, _)) =
                own.iter().enumerate().filter(|(_, n)| **n > 0).max_by_key(|&(v, n)| (*n, usize::MAX - v))
        {
            *value = to as u8;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map(of: impl Fn(usize, usize) -> u8) -> Raster<u8> {
        let mut out = Raster::new(60, 60, 0_u8);
        for y in 0..60 {
            for x in 0..60 {
                out.data_mut()[y * 60 + x] = of(x, y);
            }
        }
        out
    }

    /// A spike two pixels wide, a third of the narrowest width, goes; the straight border that it stands on stays.
    #[test]
    fn spikes_are_drawn_in() {
        let border = |x: usize| if x < 30 { 1 } else { 2 };
        let spiked = map(|x, y| if (28..30).contains(&y) && x < 50 { 1 } else { border(x) });
        let straight = map(|x, _| border(x));
        let calmed = calm(&spiked, 2, 6.0, 10.0);
        for y in 0..60 {
            for x in 34..60 {
                assert_eq!(calmed.at(x, y), 2, "the spike's tip is left at {x}, {y}");
            }
        }
        assert_eq!(calm(&straight, 2, 6.0, 10.0), straight);
    }

    /// What is as wide as the narrowest width keeps its width.
    #[test]
    fn bands_of_the_narrowest_width_stay() {
        let band = map(|_, y| if (27..33).contains(&y) { 2 } else { 1 });
        assert_eq!(calm(&band, 2, 6.0, 10.0), band);
    }

    /// A neck that parts leaves no speck: what came off and is under the least size goes too.
    #[test]
    fn no_specks_are_made() {
        let dumbbell = map(|x, y| {
            let in_disc = |cx: f64, r: f64| (x as f64 - cx).hypot(y as f64 - 30.0) < r;
            if in_disc(15.0, 10.0) || in_disc(40.0, 3.5) || (y == 30 && (15..40).contains(&x)) {
                2
            } else {
                1
            }
        });
        let sizes = |values: &Raster<u8>| {
            let (patches, count) = components(values);
            let mut sizes = vec![0; count + 1];
            patches.data().iter().for_each(|&id| sizes[id as usize] += 1);
            sizes.into_iter().filter(|&n| n > 0).min().unwrap_or(0)
        };
        let parted = calm(&dumbbell, 2, 6.0, 1.0);
        assert!(sizes(&parted) < 60, "the small end comes off: {}", sizes(&parted));
        assert!(sizes(&calm(&dumbbell, 2, 6.0, 60.0)) >= 60);
    }
}
