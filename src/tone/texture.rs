//! Texture: how uneven a tone is at each width of mean, and what unevenness an averaged tone keeps.

use rayon::prelude::*;

use super::gauss::gaussian;
use crate::colour::lightness_f32;
use crate::raster::Raster;

/// Widths of mean that are tried, in mm (standard deviation of a Gaussian), a third of an octave apart.
pub(super) const WIDTHS_MM: [f64; 14] =
    [0.0, 0.06, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1.0];
/// Widths of mean to an octave.
const PER_OCTAVE: usize = 3;
/// Side of the tiles in which unevenness is measured, in mm.
const UNEVEN_TILE_MM: f64 = 5.0;

/// Unevenness of a tone by tile.
pub(super) struct Unevenness {
    /// L* by tile, row by row: 1.48 times the median of |difference from a mean twice as wide| (a robust
    /// standard deviation, so that edges, which fill a small part of a tile, do not count).
    pub(super) tiles: Vec<f32>,
}

impl Unevenness {
    /// The unevenness below which the share `q` (0 to 1) of all tiles stays.
    pub(super) fn quantile(&self, q: f64) -> f64 {
        let mut sorted = self.tiles.clone();
        sorted.sort_by(f32::total_cmp);
        f64::from(sorted[((sorted.len() - 1) as f64 * q).round() as usize])
    }
}

/// Unevenness of `fine` (reflectance already averaged over some width) against `coarse` (twice as wide).
pub(super) fn unevenness(fine: &Raster<f32>, coarse: &Raster<f32>, px_per_mm: f64) -> Unevenness {
    let (w, h) = (fine.width(), fine.height());
    let tile = ((UNEVEN_TILE_MM * px_per_mm) as usize).clamp(4, w.max(h).max(4));
    let (across, down) = (w.div_ceil(tile), h.div_ceil(tile));
    let tiles = (0..across * down)
        .into_par_iter()
        .map(|t| {
            let (x0, y0) = (t % across * tile, t / across * tile);
            let mut d = Vec::with_capacity(tile * tile);
            for y in y0..(y0 + tile).min(h) {
                for x in x0..(x0 + tile).min(w) {
                    d.push((lightness_f32(fine.at(x, y)) - lightness_f32(coarse.at(x, y))).abs());
                }
            }
            let mid = d.len() / 2;
            1.48 * *d.select_nth_unstable_by(mid, f32::total_cmp).1
        })
        .collect();
    Unevenness { tiles }
}

/// Unevenness of the reflectance at each of [`WIDTHS_MM`].
///
/// The mean twice as wide is the one an octave on in the same list, so each is made once.
pub(super) fn unevenness_by_width(reflectance: &Raster<f32>, px_per_mm: f64) -> Vec<Unevenness> {
    let mean = |mm: f64| gaussian(reflectance, (mm * px_per_mm) as f32);
    let beyond = WIDTHS_MM[WIDTHS_MM.len() - PER_OCTAVE..].iter().map(|mm| 2.0 * mm);
    let means: Vec<Raster<f32>> = WIDTHS_MM.iter().copied().chain(beyond).map(mean).collect();
    (0..WIDTHS_MM.len())
        .map(|i| {
            // Single pixels are compared with a mean over two of them.
            let single = (i == 0).then(|| gaussian(reflectance, 2.0));
            unevenness(&means[i], single.as_ref().unwrap_or(&means[i + PER_OCTAVE]), px_per_mm)
        })
        .collect()
}

/// Steps of lightness in which unevenness is kept, in L*.
const TONE_STEP: f64 = 5.0;
/// Side of the windows in which unevenness by tone is measured, in mm, and their distance.
const WINDOW_MM: f64 = 5.0;
/// Share of a window that has to be free of hard edges.
const OPEN_SHARE: f64 = 0.97;

/// How uneven the averaged tone still is, by tone: the hand's waver, grain, whatever is no form.
#[derive(Clone, Debug, PartialEq)]
pub struct Waver {
    /// Standard deviation in L* at lightness 0, 5, 10 ... 100.
    by_tone: Vec<f64>,
    /// How far the unevenness hangs together, in mm (Gaussian correlation width).
    pub reach_mm: f64,
}

impl Waver {
    /// A tone with no texture at all.
    #[must_use]
    pub fn none() -> Self {
        Self { by_tone: vec![0.0; (100.0 / TONE_STEP) as usize + 1], reach_mm: 0.0 }
    }

    /// Standard deviation in L* of tones about `lightness`.
    #[must_use]
    pub fn at(&self, lightness: f64) -> f64 {
        let x = (lightness / TONE_STEP).clamp(0.0, (self.by_tone.len() - 1) as f64);
        let i = (x as usize).min(self.by_tone.len() - 2);
        let t = x - i as f64;
        self.by_tone[i] * (1.0 - t) + self.by_tone[i + 1] * t
    }

    /// Typical standard deviation in L*: the mean over all tones.
    #[must_use]
    pub fn typical(&self) -> f64 {
        self.by_tone.iter().sum::<f64>() / self.by_tone.len() as f64
    }
}

/// Sums for a plane fitted to a window, and what it leaves.
#[derive(Default)]
struct Window {
    n: f64,
    mean: f64,
    sd: f64,
    reach_px: f64,
}

/// Measures the waver of an averaged tone (L*) in windows away from hard edges, a plane taken off each.
pub(super) fn waver(lightness: &Raster<f32>, hard: &Raster<bool>, px_per_mm: f64) -> Waver {
    let (w, h) = (lightness.width(), lightness.height());
    let side = ((WINDOW_MM * px_per_mm) as usize).clamp(4, w.min(h).max(4));
    let step = (side / 2).max(1);
    let places: Vec<(usize, usize)> = (0..h.saturating_sub(side / 2).max(1))
        .step_by(step)
        .flat_map(|y| (0..w.saturating_sub(side / 2).max(1)).step_by(step).map(move |x| (x, y)))
        .collect();
    let windows: Vec<Window> =
        places.into_par_iter().map(|(x0, y0)| window(lightness, hard, [x0, y0], side)).collect();
    let bins = (100.0 / TONE_STEP) as usize + 1;
    let mut by_bin: Vec<Vec<f64>> = vec![Vec::new(); bins];
    let mut reaches = Vec::new();
    for win in windows.iter().filter(|win| win.n > OPEN_SHARE * (side * side) as f64) {
        by_bin[(win.mean / TONE_STEP).round().clamp(0.0, (bins - 1) as f64) as usize].push(win.sd);
        if win.sd > 0.05 {
            reaches.push(win.reach_px / px_per_mm);
        }
    }
    let quantile = |v: &mut Vec<f64>, of: usize| {
        v.sort_by(f64::total_cmp);
        v.get(v.len() / of).copied()
    };
    // The calmer windows of a tone: the others hold form as well as texture.
    let known: Vec<(usize, f64)> =
        by_bin.iter_mut().enumerate().filter_map(|(i, v)| Some((i, quantile(v, 3)?))).collect();
    // Tones that fill no window take what their nearest neighbours have.
    let by_tone = (0..bins)
        .map(|i| {
            let below = known.iter().rev().find(|k| k.0 <= i);
            let above = known.iter().find(|k| k.0 >= i);
            match (below, above) {
                (Some(a), Some(b)) if a.0 < b.0 => a.1 + (b.1 - a.1) * (i - a.0) as f64 / (b.0 - a.0) as f64,
                (Some(a), _) | (None, Some(a)) => a.1,
                (None, None) => 0.0,
            }
        })
        .collect();
    Waver { by_tone, reach_mm: quantile(&mut reaches, 2).unwrap_or(0.0) }
}

/// Fits a plane to the open pixels of a window; what is left gives its standard deviation and reach.
fn window(lightness: &Raster<f32>, hard: &Raster<bool>, at: [usize; 2], side: usize) -> Window {
    let [x0, y0] = at;
    let (x1, y1) = ((x0 + side).min(lightness.width()), (y0 + side).min(lightness.height()));
    let (mut n, mut sums, mut products) = (0.0, [0.0_f64; 3], [0.0_f64; 5]);
    let (cx, cy) = ((x0 + x1) as f64 / 2.0, (y0 + y1) as f64 / 2.0);
    let each = |f: &mut dyn FnMut(f64, f64, f64, usize, usize)| {
        for y in y0..y1 {
            for x in x0..x1 {
                if !hard.at(x, y) {
                    f(x as f64 - cx, y as f64 - cy, f64::from(lightness.at(x, y)), x, y);
                }
            }
        }
    };
    each(&mut |x, y, v, _, _| {
        n += 1.0;
        sums[0] += x;
        sums[1] += y;
        sums[2] += v;
        products[0] += x * x;
        products[1] += x * y;
        products[2] += y * y;
        products[3] += x * v;
        products[4] += y * v;
    });
    if n < 16.0 {
        return Window::default();
    }
    let [mx, my, mean] = sums.map(|s| s / n);
    let [xx, xy, yy, xv, yv] = products;
    let (xx, xy, yy) = (xx - n * mx * mx, xy - n * mx * my, yy - n * my * my);
    let (xv, yv) = (xv - n * mx * mean, yv - n * my * mean);
    let det = xx * yy - xy * xy;
    let (gx, gy) =
        if det > 1e-9 { ((xv * yy - yv * xy) / det, (yv * xx - xv * xy) / det) } else { (0.0, 0.0) };
    let (mut square, mut slope, mut pairs) = (0.0, 0.0, 0.0);
    each(&mut |dx, dy, v, x, y| {
        square += (v - mean - gx * (dx - mx) - gy * (dy - my)).powi(2);
        if x + 1 < x1 && y + 1 < y1 {
            let along = f64::from(lightness.at(x + 1, y)) - v - gx;
            let down = f64::from(lightness.at(x, y + 1)) - v - gy;
            slope += along * along + down * down;
            pairs += 1.0;
        }
    });
    let sd = (square / n).sqrt();
    // A Gaussian field of width s has a mean square slope of 2 (sd / s)^2 in the plane.
    let slope = (slope / f64::max(pairs, 1.0)).sqrt();
    Window { n, mean, sd, reach_px: if slope > 1e-9 { std::f64::consts::SQRT_2 * sd / slope } else { 0.0 } }
}
