//! From edges to open tone: the edge-keeping mean near hard edges, wider plain means away from them.
//!
//! An edge-keeping mean makes stairs on smooth gradations. Away from hard edges there is no edge to keep, so
//! the field fades to plain Gaussians that widen with the distance to the nearest hard edge, but no further than the
//! tone goes on straight: where a wider mean says something else than the one before it, beyond what the texture's
//! chance makes of it, the tone bends and the narrower one is nearer to it (Lepski's rule: Lepskii 1991, "On a problem of
//! adaptive estimation in Gaussian white noise", Theory of Probability and its Applications 35).

use rayon::prelude::*;

use super::edge_mean::rolling_mean;
use super::gauss::gaussian;
use crate::colour::lightness_f32;
use crate::components::components;
use crate::distance::squared_distance_within;
use crate::raster::{Raster, gradient};

/// Widest plain mean that the field fades to, in mm.
pub(crate) const WIDEST_MM: f64 = 1.6;
/// Distance to a hard edge at which the first plain mean takes over, in first widths.
const FAR: f32 = 1.5;
/// A wider mean has its whole say up to this many times what half of the places of like tone differ by from the mean
/// before it, or so many L*; at twice that it has none.
const BEND_MEDIANS: f32 = 2.5;
const BEND_L: f32 = 0.1;
/// That difference is itself averaged over so many widths of the wider mean: bends hang together, chance does not.
const BEND_WIDTHS: f32 = 0.6;
/// What half of the places differ by falls to this share at most as the mean widens twice: chance falls to a half, form,
/// which may fill most of a picture, grows.
const BEND_FALL: f32 = 0.7;
/// A step of tone (L*) is a hard edge from this many L* on ...
const HARD_L: f32 = 3.0;
/// ... and from so many times what the calmest of the pixels of like tone exceed, of texture and of strokes, whose slopes hang
/// together along the stroke. Of a Rayleigh-distributed slope this share stays below 0.57 of its width, and one in 350 or
/// 3,000 passes that many times as much. A middle share would count edges as texture where many small shapes meet.
const HARD_TIMES: [f32; 2] = [6.0, 7.0];
const CALM_SHARE: f32 = 0.15;
/// Pixels that show less than this, in L*, are solid or bare and tell nothing of texture.
const SHOWN_L: f32 = 0.5;
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

/// The tone (L*) with texture averaged and edges kept; `strokes` says how far the texture is of strokes, 0 (none or dots) to 1.
pub(super) fn edge_keeping(
    reflectance: &Raster<f32>,
    first: &Raster<f32>,
    px_per_mm: f64,
    width_mm: f64,
    range_l: f32,
    rounds: usize,
    strokes: f32,
) -> Kept {
    let w = first.width();
    let sigma = (width_mm * px_per_mm) as f32;
    // Each plain mean is twice as wide as the one before.
    let steps = ((WIDEST_MM / width_mm).log2().round() as usize).clamp(2, 6);
    let plain = first.map(lightness_f32);
    let (kept, (hard, wider)) = rayon::join(
        || rolling_mean(reflectance, first, sigma.max(1.0), range_l, rounds).map(lightness_f32),
        || {
            let least = (STEP_LEAST_MM * px_per_mm) as f32 / STEP_WIDTHS;
            rayon::join(
                || steps_of_tone(reflectance, sigma.max(least), strokes),
                || wider_means(reflectance, &plain, sigma, steps),
            )
        },
    );
    // Farther off a hard edge the widest mean has its whole say.
    let reach = (FAR * sigma * (1 << steps) as f32).ceil() as usize;
    let away = squared_distance_within(&hard, reach);
    let mut out = kept;
    out.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        for (x, o) in out.iter_mut().enumerate() {
            let distance = away.at(x, y).sqrt() / (FAR * sigma);
            // -1 the edge-keeping mean, 0 the first plain mean, 1 the one twice as wide ...
            let at = distance.max(1e-3).log2().clamp(-1.0, steps as f32);
            let mut before = plain.at(x, y);
            *o += (at + 1.0).min(1.0) * (before - *o);
            let mut most = 1.0_f32;
            for (k, wider) in wider.iter().enumerate().take_while(|(k, _)| at > *k as f32) {
                most = most.min(wider.say(x, y));
                let mean = wider.lightness.at(x, y);
                *o += (at - k as f32).min(most) * (mean - before);
                before = mean;
            }
        }
    });
    Kept { lightness: out, hard }
}

/// A plain mean, and how far it says something else than the one half as wide.
struct Wider {
    /// L* in its mean.
    lightness: Raster<f32>,
    /// Its difference from the narrower mean, in L*.
    bend: Raster<f32>,
    /// What half of all places of like tone differ by, as far as it is chance, in L*.
    usual: Vec<f32>,
}

/// `steps` plain means, each twice as wide as the one before, the first twice as wide as `plain` (L*), whose width is `sigma` pixels.
fn wider_means(reflectance: &Raster<f32>, plain: &Raster<f32>, sigma: f32, steps: usize) -> Vec<Wider> {
    let widths: Vec<f32> = (1..=steps).map(|k| sigma * (1 << k) as f32).collect();
    let means: Vec<Raster<f32>> =
        widths.par_iter().map(|&width| gaussian(reflectance, width).map(lightness_f32)).collect();
    let narrower: Vec<&Raster<f32>> = std::iter::once(plain).chain(&means).collect();
    let told: Vec<(Raster<f32>, Vec<f32>)> =
        (0..steps).into_par_iter().map(|k| Wider::beside(narrower[k], &means[k], widths[k])).collect();
    let mut wider: Vec<Wider> = Vec::with_capacity(steps);
    for (lightness, (bend, mut usual)) in means.into_iter().zip(told) {
        if let Some(before) = wider.last() {
            usual
                .iter_mut()
                .zip(&before.usual)
                .for_each(|(usual, before)| *usual = usual.min(BEND_FALL * before));
        }
        wider.push(Wider { lightness, bend, usual });
    }
    wider
}

impl Wider {
    /// How far a mean of a width `sigma` in pixels says something else than the narrower one (both L*), and what is usual.
    fn beside(narrower: &Raster<f32>, mean: &Raster<f32>, sigma: f32) -> (Raster<f32>, Vec<f32>) {
        let differences = mean.data().iter().zip(narrower.data()).map(|(a, b)| a - b).collect();
        let differences = Raster::from_vec(mean.width(), mean.height(), differences);
        let bend = gaussian(&differences, BEND_WIDTHS * sigma);
        let seen = mean.data().iter().zip(bend.data()).step_by(3).map(|(&l, b)| (l, b.abs()));
        let usual = usual_by_tone(seen, 0.5);
        (bend, usual)
    }

    /// How much say this mean has at a place, 0 to 1.
    fn say(&self, x: usize, y: usize) -> f32 {
        let chance = BEND_L.max(BEND_MEDIANS * self.usual[tone_bin(self.lightness.at(x, y))]);
        (2.0 - self.bend.at(x, y).abs() / chance).clamp(0.0, 1.0)
    }
}

/// The bin of a tone among those that are compared with each other.
pub(super) fn tone_bin(lightness: f32) -> usize {
    ((lightness / TONE_BIN) as usize).min((100.0 / TONE_BIN) as usize - 1)
}

/// What a share of the places of like tone stay below, by tone, from pairs of tone and size; at most twice what it is
/// among all.
pub(super) fn usual_by_tone(seen: impl Iterator<Item = (f32, f32)>, share: f32) -> Vec<f32> {
    let mut sizes: Vec<Vec<f32>> = vec![Vec::new(); (100.0 / TONE_BIN) as usize];
    seen.for_each(|(l, size)| sizes[tone_bin(l)].push(size));
    let usual = |v: &mut Vec<f32>| {
        let at = (v.len() as f32 * share) as usize;
        if v.is_empty() { 0.0 } else { *v.select_nth_unstable_by(at, f32::total_cmp).1 }
    };
    let overall = usual(&mut sizes.concat());
    sizes.iter_mut().map(|v| usual(v).min(2.0 * overall)).collect()
}

/// Where the tone makes a step that is neither gradation nor texture, seen through means of a few `sigma`; `strokes` says
/// how far the texture is of strokes, 0 to 1.
fn steps_of_tone(reflectance: &Raster<f32>, sigma: f32, strokes: f32) -> Raster<bool> {
    let near = STEP_WIDTHS * sigma;
    let (fine_tone, coarse_tone) = (
        gaussian(reflectance, near).map(lightness_f32),
        gaussian(reflectance, STEP_WIDER * near).map(lightness_f32),
    );
    let (fine, coarse) = (gradient(&fine_tone), gradient(&coarse_tone));
    // A step of tone d, blurred by a Gaussian of width s, has slope d / (s sqrt(2 pi)) in its middle.
    let to_step = near * std::f32::consts::TAU.sqrt() / (1.0 - STEP_EXCESS / STEP_WIDER);
    // What texture shows by itself.
    let seen = coarse_tone.data().iter().zip(fine.data()).zip(coarse.data()).step_by(3);
    let shown = seen.map(|((&l, &a), &b)| (l, (a - b).abs() * to_step)).filter(|&(_, step)| step > SHOWN_L);
    let times = HARD_TIMES[0] + (HARD_TIMES[1] - HARD_TIMES[0]) * strokes;
    let least: Vec<f32> =
        usual_by_tone(shown, CALM_SHARE).into_iter().map(|calm| HARD_L.max(times * calm)).collect();
    let mask = fine
        .data()
        .par_iter()
        .zip(coarse.data().par_iter())
        .zip(coarse_tone.data().par_iter())
        .with_min_len(1 << 14)
        .map(|((a, b), &l)| u8::from((a - STEP_EXCESS * b) * to_step > least[tone_bin(l)]))
        .collect();
    // A hard edge is longer than it is wide; what is not is a speck of the texture.
    let (ids, count) = components(&Raster::from_vec(fine.width(), fine.height(), mask));
    let mut sizes = vec![0_u32; count + 1];
    ids.data().iter().for_each(|&id| sizes[id as usize] += 1);
    sizes[0] = 0;
    ids.map(|id| sizes[id as usize] as f32 > SPECK * near * near)
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::colour::reflectance;

    const PX_PER_MM: f64 = 8.0;
    const WIDTH_MM: f64 = 0.16;
    const SIDE: usize = 320;

    /// Numbers evenly spread from 0 to 1, always the same ones: Marsaglia's xorshift (2003).
    pub(crate) fn even_numbers() -> impl FnMut() -> f64 {
        let mut state = 7_u64;
        move || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1_u64 << 53) as f64
        }
    }

    /// Reflectance of a tone by the place (mm), with chance of a standard deviation (L*) on each pixel.
    fn by_chance(tone: impl Fn(f64, f64) -> f64, sd: f64) -> Raster<f32> {
        let mut even = even_numbers();
        let light = (0..SIDE * SIDE).map(|i| {
            // Twelve even numbers less 6 have the standard deviation 1.
            let chance: f64 = (0..12).map(|_| even()).sum::<f64>() - 6.0;
            let [x, y] = [i % SIDE, i / SIDE].map(|p| (p as f64 + 0.5) / PX_PER_MM);
            reflectance((tone(x, y) + sd * chance).clamp(0.0, 100.0)) as f32
        });
        Raster::from_vec(SIDE, SIDE, light.collect())
    }

    /// A tone by the place across (mm) with chance of standard deviation 1.5 L* on each pixel, kept with its edges.
    fn kept(tone: impl Fn(f64) -> f64) -> Raster<f32> {
        let light = by_chance(|x, _| tone(x), 1.5);
        let first = gaussian(&light, (WIDTH_MM * PX_PER_MM) as f32);
        edge_keeping(&light, &first, PX_PER_MM, WIDTH_MM, 12.0, 4, 0.0).lightness
    }

    /// Where small shapes fill a picture most places lie near an edge; the edges are none the less hard.
    #[test]
    fn edges_of_small_shapes_are_not_taken_for_texture() {
        let cell = 4.0;
        let light = by_chance(
            |x, y| if ((x / cell) as usize + (y / cell) as usize).is_multiple_of(2) { 30.0 } else { 55.0 },
            8.0,
        );
        let hard = steps_of_tone(&light, (0.4 * PX_PER_MM) as f32, 0.0);
        let side = (cell * PX_PER_MM) as usize;
        // The middles of the cells' sides: corners of four cells have no step.
        let middles: Vec<bool> = (1..SIDE / side)
            .flat_map(|n| (0..SIDE / side).map(move |m| (n * side, m * side + side / 2)))
            .flat_map(|(edge, middle)| [hard.at(edge, middle), hard.at(middle, edge)])
            .collect();
        let found = middles.iter().filter(|&&h| h).count();
        assert!(10 * found >= 9 * middles.len(), "{found} of {} sides are hard", middles.len());
    }

    /// Where the mean of all rows first exceeds a tone, in mm.
    fn crossing(kept: &Raster<f32>, level: f64) -> f64 {
        let column =
            |x: usize| (40..SIDE - 40).map(|y| f64::from(kept.at(x, y))).sum::<f64>() / (SIDE - 80) as f64;
        let x = (0..SIDE).find(|&x| column(x) > level).unwrap_or_else(|| panic!("nothing exceeds {level}"));
        let (a, b) = (column(x - 1), column(x));
        (x as f64 - 0.5 + (level - a) / (b - a)) / PX_PER_MM
    }

    /// Where a flat tone begins to rise steeply, a wide mean rises too early: here by 0.6 mm at the widest.
    #[test]
    fn a_tone_that_bends_is_not_rounded() {
        let kept = kept(|x| 30.0 + 10.0 * (x - 20.0).clamp(0.0, 3.5));
        let found = crossing(&kept, 31.0);
        assert!((found - 20.1).abs() < 0.12, "31 L* is exceeded at {found} mm, truly at 20.1");
    }

    /// On a straight gradation chance is averaged as far as the widest mean does: by about 2 sqrt(pi) times its width in pixels.
    #[test]
    fn a_straight_gradation_is_averaged_widely() {
        let kept = kept(|x| 30.0 + x);
        let off: Vec<f64> = (40..SIDE - 40)
            .flat_map(|y| (40..SIDE - 40).map(move |x| (x, y)))
            .map(|(x, y)| f64::from(kept.at(x, y)) - (30.0 + (x as f64 + 0.5) / PX_PER_MM))
            .collect();
        let mean = off.iter().sum::<f64>() / off.len() as f64;
        let sd = (off.iter().map(|o| (o - mean).powi(2)).sum::<f64>() / off.len() as f64).sqrt();
        let widest = WIDTH_MM * PX_PER_MM * 4.0;
        let closed = 1.5 / (2.0 * std::f64::consts::PI.sqrt() * widest);
        assert!(sd < 1.5 * closed, "{sd} L* are left, of a plain mean {closed}");
        assert!(mean.abs() < 0.15, "the tone is off by {mean} L*");
    }
}
