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
/// Cell rows that one thread works through: few enough to share among threads, many against the five that two
/// neighbours both make.
const BAND: usize = 32;

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
    let grid = Grid::new(reflectance, guide, sigma_px, sigma_l);
    let mut out = Raster::new(w, h, 0.0_f32);
    // The pixel rows between two cell rows belong to the upper one; a band takes those of its cell rows.
    let mut bands: Vec<(usize, usize, &mut [f32])> = Vec::new();
    let mut rest = out.data_mut();
    let mut from = 0;
    while from < h {
        let end = PAD + (grid.row_above(from).0 - PAD) / BAND * BAND + BAND;
        let to = (from..h).find(|&y| grid.row_above(y).0 >= end).unwrap_or(h);
        let (band, others) = rest.split_at_mut((to - from) * w);
        bands.push((from, to, band));
        rest = others;
        from = to;
    }
    bands.into_par_iter().for_each(|(from, to, band)| grid.means(from, to, band));
    out
}

/// A bilateral grid, of which only the few cell rows that are being read are held.
struct Grid<'a> {
    reflectance: &'a Raster<f32>,
    guide: &'a Raster<f32>,
    sigma_px: f32,
    sigma_l: f32,
    /// Cells down and in lightness.
    gy: usize,
    gz: usize,
    /// Numbers in a cell row: sum and weight of each cell.
    row_len: usize,
    /// Pixel rows that fall into each cell row.
    rows_of: Vec<(usize, usize)>,
    /// First number of the column of cells that each pixel column falls into.
    falls: Vec<usize>,
    /// First number of the column of cells to the left of each pixel column, of the one to its right, and how far it
    /// is on the way.
    between: Vec<(usize, usize, f32)>,
}

impl<'a> Grid<'a> {
    fn new(reflectance: &'a Raster<f32>, guide: &'a Raster<f32>, sigma_px: f32, sigma_l: f32) -> Self {
        let (w, h) = (reflectance.width(), reflectance.height());
        let cells = |n: usize| ((n.max(1) - 1) as f32 / sigma_px).round() as usize + 2 * PAD + 2;
        let (gx, gy, gz) = (cells(w), cells(h), (100.0 / sigma_l).ceil() as usize + 2 * PAD + 2);
        let nearest = |i: usize| (i as f32 / sigma_px).round() as usize + PAD;
        let mut rows_of = vec![(0_usize, 0_usize); gy];
        for y in 0..h {
            let r = &mut rows_of[nearest(y)];
            if r.1 == 0 {
                r.0 = y;
            }
            r.1 = y + 1;
        }
        let between = |x: usize| {
            let fx = x as f32 / sigma_px + PAD as f32;
            let left = fx as usize;
            (left.min(gx - 1) * gz * 2, (left + 1).min(gx - 1) * gz * 2, fx.fract())
        };
        Self {
            reflectance,
            guide,
            sigma_px,
            sigma_l,
            gy,
            gz,
            row_len: gx * gz * 2,
            rows_of,
            falls: (0..w).map(|x| nearest(x) * gz * 2).collect(),
            between: (0..w).map(between).collect(),
        }
    }

    /// The cell row above a pixel row, and how far the pixel row is on the way to the next.
    fn row_above(&self, y: usize) -> (usize, f32) {
        let fy = y as f32 / self.sigma_px + PAD as f32;
        (fy as usize, fy.fract())
    }

    /// One cell row, blurred along lightness and across. Pixels are added in their order, so that sums depend on
    /// nothing else.
    fn fill(&self, cell_row: usize, scratch: &mut [Vec<f32>; 2], out: &mut [f32]) {
        let [splat, along] = scratch;
        splat.fill(0.0);
        let (from, to) = self.rows_of[cell_row];
        for y in from..to {
            for ((&v, &g), &column) in self.reflectance.row(y).iter().zip(self.guide.row(y)).zip(&self.falls)
            {
                let z = (g.clamp(0.0, 100.0) / self.sigma_l).round() as usize + PAD;
                let cell = &mut splat[column + 2 * z..column + 2 * z + 2];
                cell[0] += v;
                cell[1] += 1.0;
            }
        }
        // The free cells at both ends of each column keep what is blurred over an end out of the next column.
        weigh_along(splat, 2, along);
        weigh_along(along, 2 * self.gz, out);
    }

    /// Means of the pixel rows `from` to `to`.
    fn means(&self, from: usize, to: usize, out: &mut [f32]) {
        let w = self.reflectance.width();
        let first = self.row_above(from).0;
        let mut scratch = [vec![0.0; self.row_len], vec![0.0; self.row_len]];
        let mut filled: [Vec<f32>; 5] = std::array::from_fn(|_| vec![0.0; self.row_len]);
        let (mut above, mut below) = (vec![0.0; self.row_len], vec![0.0; self.row_len]);
        let mut next = first - PAD;
        // A cell row blurred down; those at the grid's ends are empty.
        let mut blurred = |row: usize, into: &mut [f32]| {
            if row + PAD >= self.gy {
                into.fill(0.0);
                return;
            }
            while next <= row + PAD {
                self.fill(next, &mut scratch, &mut filled[next % 5]);
                next += 1;
            }
            let rows: [&[f32]; 5] = std::array::from_fn(|k| &filled[(row + k - PAD) % 5][..]);
            weigh(rows, into);
        };
        let mut at = first;
        blurred(at, &mut above);
        blurred(at + 1, &mut below);
        for (y, out) in (from..to).zip(out.chunks_mut(w)) {
            let (row, ty) = self.row_above(y);
            while at < row {
                at += 1;
                std::mem::swap(&mut above, &mut below);
                blurred(at + 1, &mut below);
            }
            let pixels = out.iter_mut().zip(self.guide.row(y)).zip(self.reflectance.row(y));
            for (((o, &g), &v), &(left, right, tx)) in pixels.zip(&self.between) {
                let fz = g.clamp(0.0, 100.0) / self.sigma_l + PAD as f32;
                let (z, tz) = (2 * fz as usize, fz.fract());
                let mut sum = [0.0_f32; 2];
                for (cells, wy) in [(&above, 1.0 - ty), (&below, ty)] {
                    for (column, wx) in [(left, 1.0 - tx), (right, tx)] {
                        let cells = &cells[column + z..column + z + 4];
                        let (near, far) = (wy * wx * (1.0 - tz), wy * wx * tz);
                        sum[0] += near * cells[0] + far * cells[2];
                        sum[1] += near * cells[1] + far * cells[3];
                    }
                }
                *o = if sum[1] > 1e-6 { sum[0] / sum[1] } else { v };
            }
        }
    }
}

/// Binomial mean of five rows.
fn weigh(rows: [&[f32]; 5], out: &mut [f32]) {
    let [a, b, c, d, e] = rows.map(|r| &r[..out.len()]);
    for (i, o) in out.iter_mut().enumerate() {
        *o = BINOMIAL[0] * a[i]
            + BINOMIAL[1] * b[i]
            + BINOMIAL[2] * c[i]
            + BINOMIAL[3] * d[i]
            + BINOMIAL[4] * e[i];
    }
}

/// Binomial mean of five numbers `step` apart; the `2 step` at either end are left as they are.
fn weigh_along(from: &[f32], step: usize, out: &mut [f32]) {
    let inner = from.len() - 4 * step;
    let rows = std::array::from_fn(|k| &from[k * step..k * step + inner]);
    weigh(rows, &mut out[2 * step..2 * step + inner]);
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
