//! From edges to open tone: the edge-keeping mean near hard edges, wider plain means away from them.
//!
//! An edge-keeping mean makes stairs on smooth gradations. Away from hard edges there is no edge to keep, so
//! the field fades to plain Gaussians that widen with the distance to the nearest hard edge.

use rayon::prelude::*;

use super::edge_mean::rolling_mean;
use super::gauss::gaussian;
use crate::colour::lightness_f32;
use crate::components::components;
use crate::distance::squared_distance_to;
use crate::raster::{Raster, gradient};

/// Widest plain mean that the field fades to, in mm: gradations bend over centimetres, not millimetres.
const WIDEST_MM: f64 = 0.8;
/// Distance to a hard edge at which the first plain mean takes over, in first widths.
const FAR: f32 = 3.0;
/// A step of tone (L*) is a hard edge from this many L* on ...
const HARD_L: f32 = 3.0;
/// ... and from this many times what half of the pixels of like tone show (a Rayleigh-distributed slope passes
/// 2.5 times its median once in 75; what then hangs together over more than a speck is rarer by far).
const HARD_MEDIANS: f32 = 2.5;
/// Size of the largest speck that is no edge, in squares of the mean's width.
const SPECK: f32 = 15.0;
/// Tones that are compared with each other, in L*.
const TONE_BIN: f32 = 10.0;
/// Width of the mean in which a step is looked for, in first widths, and least in mm.
const STEP_WIDTHS: f32 = 1.5;
const STEP_LEAST_MM: f64 = 0.2;
/// The same place is looked at through a mean this many times wider: across a step the slope falls as the mean
/// widens, on a gradation it stays.
const STEP_WIDER: f32 = 2.5;
/// Share of the wider mean's slope that has to be exceeded.
const STEP_EXCESS: f32 = 1.2;

/// A tone field and what was learnt on the way.
pub(super) struct Kept {
    /// L* with texture averaged and edges kept.
    pub(super) lightness: Raster<f32>,
    /// Where the tone steps.
    pub(super) hard: Raster<bool>,
}

/// The tone (L*) with texture averaged and edges kept.
pub(super) fn edge_keeping(
    reflectance: &Raster<f32>,
    first: &Raster<f32>,
    px_per_mm: f64,
    width_mm: f64,
    range_l: f32,
    rounds: usize,
) -> Kept {
    let w = first.width();
    let sigma = (width_mm * px_per_mm) as f32;
    let kept = rolling_mean(reflectance, first, sigma.max(1.0), range_l, rounds).map(lightness_f32);
    // Each plain mean is twice as wide as the one before.
    let steps = ((WIDEST_MM / width_mm).log2().round() as usize).clamp(2, 5);
    let wider: Vec<Raster<f32>> =
        (1..=steps).map(|k| gaussian(reflectance, sigma * (1 << k) as f32)).collect();
    let hard = steps_of_tone(reflectance, sigma.max((STEP_LEAST_MM * px_per_mm) as f32 / STEP_WIDTHS));
    let away = squared_distance_to(&hard);
    let plain: Vec<Raster<f32>> =
        std::iter::once(first).chain(&wider).map(|r| r.map(lightness_f32)).collect();
    let mut out = kept.clone();
    out.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        for (x, o) in out.iter_mut().enumerate() {
            let distance = away.at(x, y).sqrt() / (FAR * sigma);
            // -1 the edge-keeping mean, 0 the first plain mean, 1 the one twice as wide ...
            let at = distance.max(1e-3).log2().clamp(-1.0, steps as f32);
            let (level, t) = ((at.floor() + 1.0) as usize, at - at.floor());
            let lower = if level == 0 { *o } else { plain[level - 1].at(x, y) };
            let upper = plain[level.min(steps)].at(x, y);
            *o = lower + t * (upper - lower);
        }
    });
    Kept { lightness: out, hard }
}

/// Where the tone makes a step that is neither gradation nor texture, seen through means of a few `sigma`.
fn steps_of_tone(reflectance: &Raster<f32>, sigma: f32) -> Raster<bool> {
    let near = STEP_WIDTHS * sigma;
    let (fine_tone, coarse_tone) = (
        gaussian(reflectance, near).map(lightness_f32),
        gaussian(reflectance, STEP_WIDER * near).map(lightness_f32),
    );
    let (fine, coarse) = (gradient(&fine_tone), gradient(&coarse_tone));
    // A step of tone d, blurred by a Gaussian of width s, has slope d / (s sqrt(2 pi)) in its middle.
    let to_step = near * std::f32::consts::TAU.sqrt() / (1.0 - STEP_EXCESS / STEP_WIDER);
    // What texture shows by itself, by tone: half of the pixels have less.
    let bins = (100.0 / TONE_BIN) as usize;
    let bin = |l: f32| ((l / TONE_BIN) as usize).min(bins - 1);
    let mut shown: Vec<Vec<f32>> = vec![Vec::new(); bins];
    for ((&l, &a), &b) in coarse_tone.data().iter().zip(fine.data()).zip(coarse.data()).step_by(3) {
        shown[bin(l)].push((a - b).abs() * to_step);
    }
    let median = |v: &mut Vec<f32>| {
        let mid = v.len() / 2;
        if v.is_empty() { 0.0 } else { *v.select_nth_unstable_by(mid, f32::total_cmp).1 }
    };
    let overall = median(&mut shown.concat());
    let least: Vec<f32> =
        shown.iter_mut().map(|v| HARD_L.max(HARD_MEDIANS * median(v).min(2.0 * overall))).collect();
    let mask = fine
        .data()
        .par_iter()
        .zip(coarse.data().par_iter())
        .zip(coarse_tone.data().par_iter())
        .with_min_len(1 << 14)
        .map(|((a, b), &l)| u8::from((a - STEP_EXCESS * b) * to_step > least[bin(l)]))
        .collect();
    // A hard edge is longer than it is wide; what is not is a speck of the texture.
    let (ids, count) = components(&Raster::from_vec(fine.width(), fine.height(), mask));
    let mut sizes = vec![0_u32; count + 1];
    ids.data().iter().for_each(|&id| sizes[id as usize] += 1);
    sizes[0] = 0;
    ids.map(|id| sizes[id as usize] as f32 > SPECK * near * near)
}
