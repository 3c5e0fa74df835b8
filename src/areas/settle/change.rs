//! Where strokes change: how far their directions, or the sets that cross, differ from one side of a place to the other.

use std::f64::consts::PI;

use rayon::prelude::*;

use crate::raster::{Raster, slope_at};
use crate::tone::gaussian;

/// Width of the Gaussian that slopes are read in, in mm: finer than a stroke is wide.
const SLOPE_MM: f64 = 0.12;
/// Width of the Gaussian that directions are averaged in, in mm: less than strokes are apart, or where they change is lost.
const WINDOW_MM: f64 = 0.7;
/// How far to either side of a place directions are compared, in mm, and in how many directions.
const ASIDE_MM: f64 = 0.8;
const AROUND: usize = 8;
/// A squared slope that says nothing about directions.
const FAINT: f32 = 2e-3;
/// Say of the second harmonic. Of its strength alone: its own direction turns twice as fast, with a hand's wobble too.
const SECOND: f32 = 0.7;
/// Say of solid ink, and width of the Gaussian it is seen in, in mm.
const OF_SOLID: f32 = 0.5;
const SOLID_MM: f64 = 0.3;

/// The squared difference between what lies on either side of each place of the half grid, the most over all directions.
///
/// Compared are the first two harmonics of the slopes' directions over half a turn, weighed by the slopes' squares (Kass & Witkin
/// 1987 take the first; where sets cross it fades, and the second need not), and whether ink is `solid`. One set of
/// strokes has a first harmonic of 1, two at right angles have none.
pub(super) fn change(reflectance: &Raster<f32>, solid: &Raster<bool>, px_per_mm: f64) -> Raster<f32> {
    let half = px_per_mm / 2.0;
    let [across, down] = [solid.width(), solid.height()];
    let features = features(reflectance, solid, px_per_mm);
    let aside: Vec<[isize; 2]> = (0..AROUND)
        .map(|k| {
            let (sin, cos) = (PI * k as f64 / AROUND as f64).sin_cos();
            [cos, sin].map(|part| (ASIDE_MM * half * part).round() as isize)
        })
        .collect();
    let mut out = Raster::new(across, down, 0.0_f32);
    out.data_mut().par_chunks_mut(across).enumerate().for_each(|(y, row)| {
        let feature = |x: isize, y: isize| {
            let [x, y] = [x.clamp(0, across as isize - 1), y.clamp(0, down as isize - 1)];
            &features[y as usize * across + x as usize]
        };
        for (x, o) in row.iter_mut().enumerate() {
            let (x, y) = (x as isize, y as isize);
            for &[i, j] in &aside {
                let (a, b) = (feature(x + i, y + j), feature(x - i, y - j));
                *o = o.max(a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum());
            }
        }
    });
    out
}

/// What is compared at each place of the half grid.
fn features(reflectance: &Raster<f32>, solid: &Raster<bool>, px_per_mm: f64) -> Vec<[f32; 4]> {
    let half = px_per_mm / 2.0;
    let [across, down] = [solid.width(), solid.height()];
    let smooth = gaussian(reflectance, (SLOPE_MM * px_per_mm) as f32);
    let mut sums = vec![[0.0_f32; 5]; across * down];
    sums.par_chunks_mut(across).enumerate().for_each(|(y, row)| {
        for (x, out) in row.iter_mut().enumerate() {
            for (i, j) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                let (x, y) = ((2 * x + i).min(smooth.width() - 1), (2 * y + j).min(smooth.height() - 1));
                let of = harmonics(slope_at(&smooth, x, y));
                out.iter_mut().zip(of).for_each(|(o, s)| *o += 0.25 * s);
            }
        }
    });
    let window = (WINDOW_MM * half) as f32;
    let means: Vec<Raster<f32>> = (0..5)
        .into_par_iter()
        .map(|k| gaussian(&Raster::from_vec(across, down, sums.iter().map(|s| s[k]).collect()), window))
        .collect();
    let solid = gaussian(&solid.map(|s| if s { OF_SOLID } else { 0.0 }), (SOLID_MM * half) as f32);
    let at = |i: usize| {
        let [square, first, first_im, second, second_im] = std::array::from_fn(|k| means[k].data()[i]);
        let whole = square + FAINT;
        [first / whole, first_im / whole, SECOND * second.hypot(second_im) / whole, solid.data()[i]]
    };
    (0..across * down).into_par_iter().map(at).collect()
}

/// The square of a slope, and that times the first and the second harmonic of its direction over half a turn.
fn harmonics([gx, gy]: [f32; 2]) -> [f32; 5] {
    let square = gx * gx + gy * gy;
    if square <= 0.0 {
        return [0.0; 5];
    }
    let [re, im] = [gx * gx - gy * gy, 2.0 * gx * gy];
    [square, re, im, (re * re - im * im) / square, 2.0 * re * im / square]
}

#[cfg(test)]
mod tests {
    use super::*;

    const PX_PER_MM: f64 = 6.0;
    const SIDE: usize = 240;

    /// The change over a picture 40 mm wide, by its light at a place in mm; at a place in mm.
    fn changes(light: impl Fn(f64, f64) -> f64) -> impl Fn(f64, f64) -> f32 {
        let at = |i: usize| [i % SIDE, i / SIDE].map(|p| (p as f64 + 0.5) / PX_PER_MM);
        let data = (0..SIDE * SIDE).map(at).map(|[x, y]| light(x, y) as f32).collect();
        let none = Raster::new(SIDE / 2, SIDE / 2, false);
        let found = change(&Raster::from_vec(SIDE, SIDE, data), &none, PX_PER_MM);
        move |x, y| found.at((x * PX_PER_MM / 2.0) as usize, (y * PX_PER_MM / 2.0) as usize)
    }

    fn wave(x: f64, y: f64, degrees: f64) -> f64 {
        let (sin, cos) = degrees.to_radians().sin_cos();
        (2.0 * PI * (x * cos + y * sin)).sin()
    }

    /// Harmonics by hand: a slope of 2 along 30 degrees has 4 (cos 60, sin 60) and 4 (cos 120, sin 120).
    #[test]
    fn harmonics_turn_with_the_slope() {
        let (sin, cos) = 30_f32.to_radians().sin_cos();
        let root = 3_f32.sqrt();
        let found = harmonics([2.0 * cos, 2.0 * sin]);
        for (found, by_hand) in found.into_iter().zip([4.0, 2.0, 2.0 * root, -2.0, 2.0 * root]) {
            assert!((found - by_hand).abs() < 1e-5, "{found} for {by_hand}");
        }
    }

    /// Strokes that run on change nowhere, whatever their tone does; strokes that turn by a right angle change by 2 squared.
    #[test]
    fn strokes_change_where_they_turn() {
        let even = changes(|x, y| 0.5 + (0.1 + 0.005 * x) * wave(x, y, 25.0));
        let turned = changes(|x, y| 0.5 + 0.3 * wave(x, y, if x < 20.0 { 25.0 } else { 115.0 }));
        for y in [12.0, 20.0, 28.0] {
            assert!((5..35).all(|x| even(f64::from(x), y) < 0.01), "none in one set of strokes");
            // Compared 0.8 mm to either side, some of the other side is seen: 0.13 of it through a Gaussian of 0.7 mm, more where
            // places are rounded to the half grid.
            assert!((1.0..4.0).contains(&turned(20.0, y)), "{}", turned(20.0, y));
            let most = (100_i32..300)
                .max_by(|&a, &b| turned(0.1 * f64::from(a), y).total_cmp(&turned(0.1 * f64::from(b), y)));
            assert!(most.is_some_and(|x| (x - 200).abs() <= 5), "most at {most:?} tenths of a mm");
            assert!(turned(14.0, y) < 0.01 && turned(26.0, y) < 0.01, "none away from there");
        }
    }

    /// Where a second set begins to cross the first harmonic fades: by its square, a half of 1, on ideal waves.
    #[test]
    fn strokes_change_where_they_are_crossed() {
        let crossed = changes(|x, y| {
            let second = if x < 20.0 { 0.0 } else { 0.3 * wave(x, y, 115.0) };
            0.5 + 0.3 * wave(x, y, 25.0) + second
        });
        assert!((0.2..1.2).contains(&crossed(20.0, 20.0)), "{}", crossed(20.0, 20.0));
        assert!(crossed(14.0, 20.0) < 0.02 && crossed(27.0, 20.0) < 0.05, "none away from there");
    }
}
