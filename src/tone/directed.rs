//! Strokes told from dots: the slopes of strokes keep to a few directions, those of dots have all alike.

use std::f32::consts::PI;

use rayon::prelude::*;

use super::gauss::gaussian;
use crate::raster::Raster;

/// Width of the Gaussian that slopes are read in, in mm: finer than a stroke is wide.
const SLOPE_MM: f64 = 0.12;
/// Side of the tiles that directions are counted in, in mm: a few strokes.
const TILE_MM: f64 = 2.5;
/// Parts that half a turn is counted in.
const PARTS: usize = 18;
/// Mean reflectance of the tiles that are looked at: in darker ones strokes cross in three and more directions, and the dots
/// of a printing screen touch in rows.
const LIGHT: [f32; 2] = [0.35, 0.92];
/// The same where a picture has fewer light tiles than these, and fewest tiles that tell anything.
const MID: [f32; 2] = [0.06, 0.92];
const FEWEST: usize = 20;
/// How uneven the directions of a tile are to count as a few. 1 is all alike, 6 one alone, 3 two alone; see DEVELOPERS.md.
const FEW: f32 = 1.8;

/// Share of the tiles of light tone in which the slopes of reflectance keep to few directions; 0 where there are hardly any
/// tiles of mid tone. Directions are weighed by the square of the slope (Kass & Witkin 1987) and counted, because two crossing
/// sets cancel each other in a structure tensor. Sets that cross so densely that the gaps between them are round look like dots.
pub(super) fn directed_share(reflectance: &Raster<f32>, px_per_mm: f64) -> f64 {
    let smooth = gaussian(reflectance, (SLOPE_MM * px_per_mm) as f32);
    let side = ((TILE_MM * px_per_mm).round() as usize).max(8);
    let (across, down) = (smooth.width() / side, smooth.height() / side);
    let tiles: Vec<(f32, f32)> = (0..across * down)
        .into_par_iter()
        .map(|t| tile(&smooth, [(t % across) * side, (t / across) * side], side))
        .collect();
    let among = |[dark, light]: [f32; 2]| -> Vec<f32> {
        tiles.iter().filter(|(mean, _)| (dark..light).contains(mean)).map(|t| t.1).collect()
    };
    let mut seen = among(LIGHT);
    if seen.len() < FEWEST {
        seen = among(MID);
    }
    if seen.len() < FEWEST {
        return 0.0;
    }
    seen.iter().filter(|&&uneven| uneven > FEW).count() as f64 / seen.len() as f64
}

/// Mean of a tile, and how uneven the directions of its slopes are: the mean square of their shares, 1 where all are alike. Every row
/// is read: every second one of a printing screen beats with its dots, which then have few directions.
fn tile(smooth: &Raster<f32>, [x0, y0]: [usize; 2], side: usize) -> (f32, f32) {
    let mut counts = [0.0_f32; PARTS];
    let mut sum = 0.0;
    for y in y0..y0 + side {
        let row = smooth.row(y);
        let (above, below) = (smooth.row(y.saturating_sub(1)), smooth.row((y + 1).min(smooth.height() - 1)));
        for x in x0..x0 + side {
            let gx = row[(x + 1).min(row.len() - 1)] - row[x.saturating_sub(1)];
            let gy = below[x] - above[x];
            let part = (gy.atan2(gx) / PI).rem_euclid(1.0) * PARTS as f32;
            counts[(part as usize).min(PARTS - 1)] += gx * gx + gy * gy;
            sum += row[x];
        }
    }
    let mean = sum / (side * side) as f32;
    let total: f32 = counts.iter().sum();
    if total <= 0.0 {
        return (mean, 0.0);
    }
    let of_three = |i: usize| counts[(i + PARTS - 1) % PARTS] + counts[i] + counts[(i + 1) % PARTS];
    let squares: f32 = (0..PARTS).map(|i| (of_three(i) / (3.0 * total)).powi(2)).sum();
    (mean, PARTS as f32 * squares)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PX_PER_MM: f64 = 8.0;
    const SIDE: usize = 240;

    fn picture(tone: impl Fn(f64, f64) -> f64) -> Raster<f32> {
        let at = |i: usize| ((i % SIDE) as f64 + 0.5, (i / SIDE) as f64 + 0.5);
        let data = (0..SIDE * SIDE).map(at).map(|(x, y)| tone(x / PX_PER_MM, y / PX_PER_MM) as f32).collect();
        Raster::from_vec(SIDE, SIDE, data)
    }

    /// Waves along one direction have slopes along it alone: all fall into one part of eighteen, counted with its two neighbours
    /// as a third each, so 18 (3 / 9) = 6 in closed form.
    #[test]
    fn one_direction_alone_is_six_times_uneven() {
        for degrees in [5.0_f64, 45.0, 115.0, 175.0] {
            let (sin, cos) = degrees.to_radians().sin_cos();
            let wave = picture(|x, y| 0.6 + 0.2 * (6.0 * (x * cos + y * sin)).sin());
            let (mean, uneven) = tile(&wave, [60, 100], 60);
            assert!((mean - 0.6).abs() < 0.05 && (uneven - 6.0).abs() < 0.05, "{degrees} degrees: {uneven}");
        }
        assert_eq!(tile(&picture(|_, _| 0.5), [0, 0], 20), (0.5, 0.0), "a flat tile has no directions");
    }

    /// A round dot's slopes look all ways alike: 1 in closed form.
    #[test]
    fn a_round_dot_has_all_directions() {
        let dot = picture(|x, y| 0.9 - 0.8 * (-((x - 15.0).powi(2) + (y - 15.0).powi(2)) / 1.0).exp());
        let (_, uneven) = tile(&dot, [90, 90], 60);
        assert!((uneven - 1.0).abs() < 0.02, "{uneven}");
    }

    /// Strokes keep to few directions, also when a photograph has blurred and dimmed them, and crossed ones while they are sharp;
    /// dots do not, nor does even tone.
    #[test]
    fn strokes_are_told_from_dots() {
        // Strokes 0.25 mm wide; crossed at 0.8 mm the gaps between them would be round.
        let edge = |from_middle: f64| 1.0 / (1.0 + (-(from_middle - 0.125) / 0.03).exp());
        let stroke = |across: f64, apart: f64| edge(((across / apart).rem_euclid(1.0) - 0.5).abs() * apart);
        let sharp = |x: f64, y: f64| stroke(0.8 * x + 0.6 * y, 0.8);
        let crossed = |x: f64, y: f64| stroke(0.8 * x + 0.6 * y, 2.0) * stroke(0.6 * x - 0.8 * y, 2.0);
        let mut even = crate::tone::fade::tests::even_numbers();
        // Dots stand about as far apart as the strokes do, each off its place by chance.
        let places: Vec<(f64, f64)> = (0..40 * 40)
            .map(|i| [i % 40, i / 40].map(|k| 0.75 * (k as f64 + 0.8 * (even() - 0.5))).into())
            .collect();
        let dots = |x: f64, y: f64| {
            let near = places.iter().map(|p| (p.0 - x).hypot(p.1 - y)).fold(f64::MAX, f64::min);
            edge(near - 0.1)
        };
        let share = |tone: &dyn Fn(f64, f64) -> f64, blur: f32| {
            let dimmed = gaussian(&picture(tone), blur).map(|v| 0.15 + 0.8 * v);
            directed_share(&dimmed, PX_PER_MM)
        };
        for blur in [0.0, 1.2] {
            let found = [&sharp as &dyn Fn(f64, f64) -> f64, &dots].map(|tone| share(tone, blur));
            assert!(found[0] > 0.9 && found[1] < 0.1, "strokes, dots: {found:?} at {blur} px");
        }
        assert!(share(&crossed, 0.0) > 0.5, "crossed strokes: {}", share(&crossed, 0.0));
        assert!(share(&|_, _| 0.5, 0.0) < f64::EPSILON, "even tone has no directions");
    }

    /// A printing screen of 70 lines to the inch at 45 degrees, from light to mid tone, at 8 pixels per mm: its dots have no few directions,
    /// whatever they and the pixels do together. Of every second row 0.79 of the tiles had.
    #[test]
    fn a_printing_screen_is_no_strokes() {
        let (px, apart) = (PX_PER_MM, 25.4 / 70.0);
        let side = (40.0 * px) as usize;
        let spot = |x: f64, y: f64| {
            let along = std::f64::consts::SQRT_2 * std::f64::consts::PI / apart;
            (along * x).cos() * (along * y).cos()
        };
        let at = |i: usize| {
            let white = (0..25).filter(|k| {
                let sub = |n: usize, k: usize| (n as f64 + (k as f64 + 0.5) / 5.0) / px;
                let (x, y) = (sub(i % side, k % 5), sub(i / side, k / 5));
                spot(x, y) < 0.9 - 0.02 * x
            });
            white.count() as f32 / 25.0
        };
        let screen = Raster::from_vec(side, side, (0..side * side).map(at).collect());
        let found = directed_share(&screen, px);
        assert!(found < 0.35, "{found}");
    }
}
