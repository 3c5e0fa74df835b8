//! From edges to open tone: the edge-keeping mean near hard edges, wider plain means away from them.
//!
//! An edge-keeping mean makes stairs on smooth gradations. Away from hard edges there is no edge to keep, so
//! the field fades to plain Gaussians that widen with the distance to the nearest hard edge.

use rayon::prelude::*;

use super::edge_mean::rolling_mean;
use super::gauss::gaussian;
use super::texture::unevenness;
use crate::colour::lightness_f32;
use crate::distance::squared_distance_to;
use crate::raster::Raster;

/// Plain means that the field fades to: the first width times 1, 2 and 4.
const STEPS: usize = 3;
/// Distance to a hard edge at which the first plain mean takes over, in first widths.
const FAR: f32 = 3.0;
/// A difference of tone across two first widths is a hard edge from this many L* on ...
const HARD_L: f32 = 4.0;
/// ... and from this many times the texture's own unevenness there.
const HARD_UNEVEN: f32 = 4.0;

/// The tone (L*) with texture averaged and edges kept, and how uneven it still is (L*).
pub(super) fn edge_keeping(
    reflectance: &Raster<f32>, first: &Raster<f32>, px_per_mm: f64, width_mm: f64, range_l: f32, rounds: usize,
) -> (Raster<f32>, f64) {
    let (w, h) = (first.width(), first.height());
    let sigma = (width_mm * px_per_mm) as f32;
    let kept = rolling_mean(reflectance, first, sigma.max(1.0), range_l, rounds).map(lightness_f32);
    let wider: Vec<Raster<f32>> = (1..=STEPS).map(|k| gaussian(reflectance, sigma * (1 << k) as f32)).collect();
    let uneven = unevenness(first, &wider[0], px_per_mm);
    let typical = uneven.quantile(0.5).max(uneven.quantile(0.8) * 0.5) as f32;
    let limit = HARD_L.max(HARD_UNEVEN * typical);
    let radius = sigma.ceil().max(1.0) as usize;
    let hard = {
        let (low, high) = (extreme_square(&kept, radius, f32::min), extreme_square(&kept, radius, f32::max));
        let mask = low.data().iter().zip(high.data()).map(|(a, b)| b - a > limit).collect();
        Raster::from_vec(w, h, mask)
    };
    let away = squared_distance_to(&hard);
    let plain: Vec<Raster<f32>> =
        std::iter::once(first).chain(&wider).map(|r| r.map(lightness_f32)).collect();
    let mut out = kept.clone();
    out.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        for (x, o) in out.iter_mut().enumerate() {
            let distance = away.at(x, y).sqrt() / (FAR * sigma);
            // -1 the edge-keeping mean, 0 the first plain mean, 1 the one twice as wide ...
            let at = distance.max(1e-3).log2().clamp(-1.0, STEPS as f32);
            let (level, t) = ((at.floor() + 1.0) as usize, at - at.floor());
            let lower = if level == 0 { *o } else { plain[level - 1].at(x, y) };
            let upper = plain[level.min(STEPS)].at(x, y);
            *o = lower + t * (upper - lower);
        }
    });
    (out, f64::from(typical))
}

/// Largest or smallest sample within a square of 2 x radius + 1 pixels round each pixel.
fn extreme_square(input: &Raster<f32>, radius: usize, pick: fn(f32, f32) -> f32) -> Raster<f32> {
    let (w, h) = (input.width(), input.height());
    let mut across = input.clone();
    across.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        let row = input.row(y);
        for d in 1..=radius.min(w - 1) {
            for (o, &v) in out[..w - d].iter_mut().zip(&row[d..]) {
                *o = pick(*o, v);
            }
            for (o, &v) in out[d..].iter_mut().zip(&row[..w - d]) {
                *o = pick(*o, v);
            }
        }
    });
    let mut down = across.clone();
    down.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        for yy in y.saturating_sub(radius)..(y + radius + 1).min(h) {
            for (o, &v) in out.iter_mut().zip(across.row(yy)) {
                *o = pick(*o, v);
            }
        }
    });
    down
}
