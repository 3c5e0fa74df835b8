//! Gaussian blur of a grid, separable, with mirrored borders.

use rayon::prelude::*;

use crate::raster::Raster;

/// How many standard deviations the kernel reaches: beyond 3.5 the weight left out is under 0.05 %.
const REACH: f32 = 3.5;
/// Above this width in pixels the grid is halved first; a pixel of 1/4 of the width loses nothing visible.
const HALVE_ABOVE_PX: f32 = 8.0;

/// Half of a normalised Gaussian kernel, centre first.
fn kernel(sigma_px: f32) -> Vec<f32> {
    let radius = (sigma_px * REACH).ceil().max(1.0) as usize;
    let mut half: Vec<f32> = (0..=radius).map(|i| (-0.5 * (i as f32 / sigma_px).powi(2)).exp()).collect();
    let sum = half[0] + 2.0 * half[1..].iter().sum::<f32>();
    half.iter_mut().for_each(|w| *w /= sum);
    half
}

/// Index mirrored about the border samples' outer edges, so that the mean is kept near borders.
#[inline]
fn mirror(i: isize, n: usize) -> usize {
    let n = n as isize;
    let mut i = i;
    loop {
        if i < 0 {
            i = -1 - i;
        } else if i >= n {
            i = 2 * n - 1 - i;
        } else {
            return i as usize;
        }
    }
}

/// Adds to each sample those `k` before and behind it by their weight, `k` from 1 up. Four at a time, which saves three in
/// four ways to memory and back.
#[inline]
fn add_pairs<'a>(half: &[f32], out: &mut [f32], pair: impl Fn(usize) -> [&'a [f32]; 2]) {
    let n = out.len();
    let mut k = 1;
    while k + 4 <= half.len() {
        let [a, b, c, d] = std::array::from_fn(|i| pair(k + i).map(|row| &row[..n]));
        let weights = &half[k..k + 4];
        for (x, o) in out.iter_mut().enumerate() {
            *o = *o
                + weights[0] * (a[0][x] + a[1][x])
                + weights[1] * (b[0][x] + b[1][x])
                + weights[2] * (c[0][x] + c[1][x])
                + weights[3] * (d[0][x] + d[1][x]);
        }
        k += 4;
    }
    for (k, &wt) in half.iter().enumerate().skip(k) {
        let [before, behind] = pair(k);
        for ((o, &a), &b) in out.iter_mut().zip(before).zip(behind) {
            *o += wt * (a + b);
        }
    }
}

/// Blurs with a Gaussian of `sigma_px` pixels; up to 0.2 px the grid is returned as it is.
#[must_use]
pub fn gaussian(input: &Raster<f32>, sigma_px: f32) -> Raster<f32> {
    if sigma_px <= 0.2 {
        return input.clone();
    }
    if sigma_px > HALVE_ABOVE_PX && input.width() >= 8 && input.height() >= 8 {
        return gaussian_wide(input, sigma_px);
    }
    let half = kernel(sigma_px);
    let (w, h) = (input.width(), input.height());
    let radius = half.len() - 1;
    let mut across = vec![0.0_f32; w * h];
    across.par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        let row = input.row(y);
        let mut padded = vec![0.0_f32; w + 2 * radius];
        for (i, p) in padded.iter_mut().enumerate() {
            *p = row[mirror(i as isize - radius as isize, w)];
        }
        for (x, o) in out.iter_mut().enumerate() {
            *o = half[0] * padded[x + radius];
        }
        add_pairs(&half, out, |k| [&padded[radius - k..][..w], &padded[radius + k..][..w]]);
    });
    let mut down = vec![0.0_f32; w * h];
    down.par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        let row = |k: isize| {
            let r = mirror(y as isize + k, h);
            &across[r * w..(r + 1) * w]
        };
        for (o, &c) in out.iter_mut().zip(row(0)) {
            *o = half[0] * c;
        }
        add_pairs(&half, out, |k| [row(-(k as isize)), row(k as isize)]);
    });
    Raster::from_vec(w, h, down)
}

/// A wide blur: on a grid of half the size, then back by linear interpolation.
fn gaussian_wide(input: &Raster<f32>, sigma_px: f32) -> Raster<f32> {
    let (w, h) = (input.width(), input.height());
    let (hw, hh) = (w.div_ceil(2), h.div_ceil(2));
    let mut small = Raster::new(hw, hh, 0.0_f32);
    small.data_mut().par_chunks_mut(hw).enumerate().for_each(|(y, out)| {
        let (a, b) = (input.row(2 * y), input.row((2 * y + 1).min(h - 1)));
        for (x, o) in out.iter_mut().enumerate() {
            let (l, r) = (2 * x, (2 * x + 1).min(w - 1));
            *o = 0.25 * (a[l] + a[r] + b[l] + b[r]);
        }
    });
    // Halving (variance 1/4 px) and going back (1/2 px about) blur a little themselves.
    let rest = (sigma_px * sigma_px - 0.75).max(0.0).sqrt();
    let blurred = gaussian(&small, rest / 2.0);
    let mut out = Raster::new(w, h, 0.0_f32);
    out.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        let fy = ((y as f32 - 0.5) / 2.0).clamp(0.0, (hh - 1) as f32);
        let (y0, ty) = (fy as usize, fy.fract());
        let (a, b) = (blurred.row(y0), blurred.row((y0 + 1).min(hh - 1)));
        for (x, o) in out.iter_mut().enumerate() {
            let fx = ((x as f32 - 0.5) / 2.0).clamp(0.0, (hw - 1) as f32);
            let (x0, tx) = (fx as usize, fx.fract());
            let x1 = (x0 + 1).min(hw - 1);
            let top = a[x0] + tx * (a[x1] - a[x0]);
            let bottom = b[x0] + tx * (b[x1] - b[x0]);
            *o = top + ty * (bottom - top);
        }
    });
    out
}

/// Weights of the samples that make one of half the size: of the binomial filter, which leaves hardly anything of marks as fine as
/// the smaller grid's pixels, so that they do not come back as coarse ones ...
const HALVING: [f32; 4] = [0.125, 0.375, 0.375, 0.125];
/// ... and the variance by which it blurs, in squared pixels of the larger grid.
pub(super) const HALVING_BLURS: f64 = 0.75;

/// A grid at half its size, level beyond its border.
pub(super) fn halved(grid: &Raster<f32>) -> Raster<f32> {
    let (w, h) = (grid.width(), grid.height());
    let near = |i: usize, n: usize| std::array::from_fn(|k| (2 * i + k).saturating_sub(1).min(n - 1));
    let mut half = Raster::new(w.div_ceil(2), h.div_ceil(2), 0.0_f32);
    let across = half.width();
    half.data_mut().par_chunks_mut(across).enumerate().for_each(|(y, out)| {
        let rows: [&[f32]; 4] = near(y, h).map(|y| grid.row(y));
        let down: Vec<f32> = (0..w).map(|x| (0..4).map(|k| HALVING[k] * rows[k][x]).sum()).collect();
        for (x, out) in out.iter_mut().enumerate() {
            let taps: [usize; 4] = near(x, w);
            *out = taps.iter().zip(HALVING).map(|(&x, weight)| weight * down[x]).sum();
        }
    });
    half
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A blurred step is the normal distribution function (closed form).
    #[test]
    fn a_blurred_step_is_an_error_function() {
        // Under 2 px the pixels themselves are coarser than the curve.
        for sigma in [2.0_f32, 5.0, 20.0] {
            let w = 400;
            let step =
                Raster::from_vec(w, 9, (0..w * 9).map(|i| if i % w < w / 2 { 0.0 } else { 1.0 }).collect());
            let got = gaussian(&step, sigma);
            for (x, want) in [(-1.0_f32, 0.158_655_3_f32), (0.0, 0.5), (1.0, 0.841_344_7)] {
                // Linear interpolation at `x` standard deviations from the step.
                let at = x * sigma + w as f32 / 2.0 - 0.5;
                let (i, t) = (at.floor() as usize, at.fract());
                let value = got.at(i, 4) * (1.0 - t) + got.at(i + 1, 4) * t;
                assert!((value - want).abs() < 0.012, "sigma {sigma}, {x} sd: {value} for {want}");
            }
        }
    }

    #[test]
    fn the_mean_is_kept() {
        let r = Raster::from_vec(37, 23, (0..37 * 23).map(|i| ((i * 7919) % 101) as f32 / 100.0).collect());
        let mean =
            |r: &Raster<f32>| r.data().iter().map(|&v| f64::from(v)).sum::<f64>() / r.data().len() as f64;
        for sigma in [0.5, 2.0, 6.0] {
            assert!((mean(&gaussian(&r, sigma)) - mean(&r)).abs() < 1e-4, "sigma {sigma} moved the mean");
        }
    }

    /// A wave comes out with the height that the binomial filter leaves it, cos^3 of half its turn per sample (closed form):
    /// a slow one nearly whole, and of one that would come back as a coarse one hardly anything. The mean stays.
    #[test]
    fn halving_leaves_no_coarse_waves_of_fine_ones() {
        let n = 240;
        for waves in [6.0_f32, 30.0, 108.0] {
            let turn = std::f32::consts::TAU * waves / n as f32;
            let grid = Raster::from_vec(
                n,
                n,
                (0..n * n).map(|i| 0.5 + 0.4 * (turn * (i % n) as f32).sin()).collect(),
            );
            let half = halved(&grid);
            assert_eq!((half.width(), half.height()), (n / 2, n / 2));
            let left = (0.5 * turn).cos().powi(3);
            for x in 4..n / 2 - 4 {
                // A sample lies between two of the larger grid's.
                let want = 0.5 + 0.4 * left * (turn * (2.0 * x as f32 + 0.5)).sin();
                assert!((half.at(x, 50) - want).abs() < 1e-4, "{waves} waves: {} for {want}", half.at(x, 50));
            }
        }
        let odd = halved(&Raster::from_vec(7, 5, vec![0.3; 35]));
        assert_eq!((odd.width(), odd.height()), (4, 3));
        assert!(odd.data().iter().all(|v| (v - 0.3).abs() < 1e-6));
    }
}
