//! Edge-keeping mean: rolling guidance (Zhang et al. 2014) on a bilateral grid (Chen, Paris & Durand 2007).
//!
//! The mean is always of the original reflectance, in linear light, so it stays the tone that the eye
//! reads; the guide is the lightness of the round before.

use rayon::prelude::*;

use crate::colour::lightness_f32;
use crate::raster::Raster;

/// Cells kept free around the grid, so that the blur needs no border cases.
const PAD: usize = 2;
/// Binomial kernel of variance 1 cell: a Gaussian as wide as a cell.
const BINOMIAL: [f32; 5] = [1.0 / 16.0, 4.0 / 16.0, 6.0 / 16.0, 4.0 / 16.0, 1.0 / 16.0];

/// Mean reflectance of each pixel's surroundings of like lightness.
///
/// `sigma_px` is the width of the surroundings in pixels (at least 1), `sigma_l` the width in L* of what counts
/// as alike in `guide` (L*).
#[must_use]
pub fn joint_mean(
    reflectance: &Raster<f32>,
    guide: &Raster<f32>,
    sigma_px: f32,
    sigma_l: f32,
) -> Raster<f32> {
    let (w, h) = (reflectance.width(), reflectance.height());
    let cells = |n: usize| ((n - 1) as f32 / sigma_px).round() as usize + 2 * PAD + 2;
    let (gx, gy, gz) = (cells(w), cells(h), (100.0 / sigma_l).ceil() as usize + 2 * PAD + 2);
    let plane = gx * gz;
    // Splat: each grid row takes its own pixel rows, in order, so sums do not depend on threads.
    let cell_row = |y: usize| (y as f32 / sigma_px).round() as usize + PAD;
    let mut rows_of = vec![(0_usize, 0_usize); gy];
    for y in 0..h {
        let r = &mut rows_of[cell_row(y)];
        if r.1 == 0 {
            r.0 = y;
        }
        r.1 = y + 1;
    }
    let mut grid = vec![[0.0_f32; 2]; gy * plane];
    grid.par_chunks_mut(plane).zip(rows_of.par_iter()).for_each(|(cells, &(from, to))| {
        for y in from..to {
            for (x, (&v, &g)) in reflectance.row(y).iter().zip(guide.row(y)).enumerate() {
                let cx = (x as f32 / sigma_px).round() as usize + PAD;
                let cz = (g.clamp(0.0, 100.0) / sigma_l).round() as usize + PAD;
                let cell = &mut cells[cx * gz + cz];
                cell[0] += v;
                cell[1] += 1.0;
            }
        }
    });
    // Blur along lightness and across, cell row by cell row; then down.
    grid.par_chunks_mut(plane).for_each(|row| {
        let mut line = vec![[0.0_f32; 2]; gz.max(gx)];
        for column in row.chunks_mut(gz) {
            line[..gz].copy_from_slice(column);
            for z in PAD..gz - PAD {
                column[z] = weigh(|k| line[z + k - PAD]);
            }
        }
        for z in 0..gz {
            for x in 0..gx {
                line[x] = row[x * gz + z];
            }
            for x in PAD..gx - PAD {
                row[x * gz + z] = weigh(|k| line[x + k - PAD]);
            }
        }
    });
    let mut blurred = vec![[0.0_f32; 2]; gy * plane];
    blurred.par_chunks_mut(plane).enumerate().for_each(|(y, out)| {
        if y < PAD || y >= gy - PAD {
            return;
        }
        for (i, o) in out.iter_mut().enumerate() {
            *o = weigh(|k| grid[(y + k - PAD) * plane + i]);
        }
    });
    let mut out = Raster::new(w, h, 0.0_f32);
    out.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        let fy = y as f32 / sigma_px + PAD as f32;
        let (y0, ty) = (fy as usize, fy.fract());
        for (x, o) in out.iter_mut().enumerate() {
            let fx = x as f32 / sigma_px + PAD as f32;
            let (x0, tx) = (fx as usize, fx.fract());
            let fz = guide.at(x, y).clamp(0.0, 100.0) / sigma_l + PAD as f32;
            let (z0, tz) = (fz as usize, fz.fract());
            let mut sum = [0.0_f32; 2];
            for (dy, wy) in [(0, 1.0 - ty), (1, ty)] {
                for (dx, wx) in [(0, 1.0 - tx), (1, tx)] {
                    let at = ((y0 + dy).min(gy - 1) * gx + (x0 + dx).min(gx - 1)) * gz + z0;
                    for (dz, wz) in [(0, 1.0 - tz), (1, tz)] {
                        let cell = blurred[at + dz];
                        let wt = wy * wx * wz;
                        sum[0] += wt * cell[0];
                        sum[1] += wt * cell[1];
                    }
                }
            }
            *o = if sum[1] > 1e-6 { sum[0] / sum[1] } else { reflectance.at(x, y) };
        }
    });
    out
}

/// Binomial mean of five cells.
#[inline]
fn weigh(cell: impl Fn(usize) -> [f32; 2]) -> [f32; 2] {
    let mut sum = [0.0_f32; 2];
    for (k, wt) in BINOMIAL.iter().enumerate() {
        let c = cell(k);
        sum[0] += wt * c[0];
        sum[1] += wt * c[1];
    }
    sum
}

/// Rolling guidance: `rounds` joint means of the original reflectance, each guided by the lightness of the last.
#[must_use]
pub fn rolling_mean(
    reflectance: &Raster<f32>,
    first: &Raster<f32>,
    sigma_px: f32,
    sigma_l: f32,
    rounds: usize,
) -> Raster<f32> {
    let mut mean = first.clone();
    for _ in 0..rounds {
        let guide = mean.map(lightness_f32);
        mean = joint_mean(reflectance, &guide, sigma_px, sigma_l);
    }
    mean
}
