//! The pitch of texture, on patches rendered here at known pitches, and on pictures that have none.
//!
//! The expected pitches are what was rendered (closed form). Hatching is an exact box filter of square-wave lines,
//! so that nothing of the renderer's own raster is left in it.

use merestone::raster::Raster;
use merestone::tone::{PitchMap, PitchRule, ToneError, ToneOptions, gaussian, measure};

/// Side of the patches in mm.
const SIDE_MM: f64 = 36.0;
/// Scales in pixels per mm: the usual one and that of a narrowest width of 0.4 mm.
const SCALES: [f64; 2] = [6.0, 10.0];
/// Pitches in mm.
const PITCHES: [f64; 7] = [0.4, 0.55, 0.7, 0.9, 1.2, 1.6, 2.0];
/// Largest relative error of a pitch.
const WITHIN: f64 = 0.15;

/// A picture from a function of mm, the mean of 4 x 4 points to a pixel.
fn picture(scale: f64, f: impl Fn(f64, f64) -> f64) -> Raster<f32> {
    let n = (SIDE_MM * scale) as usize;
    let at = |i: usize, k: usize| (i as f64 + (k as f64 + 0.5) / 4.0) / scale;
    let pixel =
        |x: usize, y: usize| (0..16).map(|k| f(at(x, k % 4), at(y, k / 4))).sum::<f64>() as f32 / 16.0;
    Raster::from_vec(n, n, (0..n * n).map(|i| pixel(i % n, i / n)).collect())
}

/// Reflectance of one set of lines: 0 on the line, which covers the share `coverage`.
fn lines(x: f64, y: f64, degrees: f64, pitch: f64, coverage: f64) -> f64 {
    let (sin, cos) = degrees.to_radians().sin_cos();
    f64::from(u8::from(((y * cos - x * sin) / pitch).rem_euclid(1.0) >= coverage))
}

/// Numbers from 0 to 1 that repeat: the top bits of Knuth's linear congruential generator (MMIX).
fn chance(seed: u64) -> impl FnMut() -> f64 {
    let mut state = seed;
    move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    }
}

fn comes_out(picture: &Raster<f32>, scale: f64, pitch: f64, what: &str) {
    let map = PitchMap::of(picture, scale);
    let got = map.median_mm();
    assert!(
        got.is_some_and(|got| (got / pitch - 1.0).abs() < WITHIN),
        "{what}, pitch {pitch} mm at {scale} px/mm came out as {got:?}, {:?}",
        map.regions()
    );
}

fn has_none(picture: &Raster<f32>, scale: f64, what: &str) {
    let map = PitchMap::of(picture, scale);
    assert_eq!(map.median_mm(), None, "{what} at {scale} px/mm has no pitch, but {:?}", map.tiles);
    assert!(map.regions().is_empty(), "{what} at {scale} px/mm has regions of no pitch");
}

/// A hatched drawing is the same drawing on a larger sheet: its pitch, its means and what is left of its texture grow with
/// it, and its tones stay.
#[test]
fn texture_grows_with_the_sheet() {
    // 300 mm across, then twice that, by the same pixels.
    let hatched = picture(25.0, |x, y| lines(x, y, 30.0, 0.3, if x < 18.0 { 0.3 } else { 0.5 }));
    let on = |px_per_mm| measure(&hatched, px_per_mm, &ToneOptions::default()).expect("a fair picture").value;
    let (small, large) = (on(3.0), on(1.5));
    let pitch = small.pitch_mm.expect("hatching has a pitch");
    assert!((pitch / 2.5 - 1.0).abs() < WITHIN, "{pitch} mm for 2.5");
    assert!(small.mean_width_mm > 0.5, "a mean over the hatching, not {} mm", small.mean_width_mm);
    let twice =
        |a: f64, b: f64, what: &str| assert!((b / a - 2.0).abs() < 1e-9, "{what}: {a} mm, then {b} mm");
    twice(pitch, large.pitch_mm.expect("hatching has a pitch"), "pitch");
    twice(small.mean_width_mm, large.mean_width_mm, "first mean");
    twice(small.waver.reach_mm, large.waver.reach_mm, "reach of the waver");
    assert!(large.lightness == small.lightness, "the tones differ");
}

#[test]
fn parallel_hatching_has_its_pitch() {
    for scale in SCALES {
        for pitch in PITCHES {
            for (degrees, coverage) in [(0.0, 0.3), (20.0, 0.15), (45.0, 0.5), (70.0, 0.7), (110.0, 0.85)] {
                let hatched = picture(scale, |x, y| lines(x, y, degrees, pitch, coverage));
                comes_out(
                    &hatched,
                    scale,
                    pitch,
                    &format!("hatching at {degrees} degrees covering {coverage}"),
                );
            }
        }
    }
}

#[test]
fn crossed_hatching_has_the_pitch_of_its_sets() {
    for scale in SCALES {
        for pitch in PITCHES {
            for angles in
                [&[15.0, 90.0][..], &[20.0, 110.0], &[45.0, 82.0], &[5.0, 65.0, 125.0], &[10.0, 85.0, 47.0]]
            {
                for coverage in [0.2, 0.4] {
                    // Three dark sets 37 degrees apart: their peaks run into each other when lines are few in a tile.
                    if angles.contains(&47.0) && coverage > 0.3 && pitch > 1.6 {
                        continue;
                    }
                    let crossed = picture(scale, |x, y| {
                        angles.iter().map(|&a| lines(x, y, a, pitch, coverage)).product()
                    });
                    comes_out(&crossed, scale, pitch, &format!("{angles:?} covering {coverage} each"));
                }
            }
        }
    }
}

/// A clustered-dot screen at 45 degrees; its pitch is the distance between rows of dots.
#[test]
fn a_printing_screen_has_its_rows_distance() {
    for scale in SCALES {
        for pitch in PITCHES {
            for threshold in [-0.4, 0.0, 0.3] {
                let k = std::f64::consts::PI * std::f64::consts::SQRT_2 / pitch;
                let screen =
                    picture(scale, |x, y| f64::from(u8::from((k * x).cos() * (k * y).cos() < threshold)));
                comes_out(&screen, scale, pitch, &format!("screen at threshold {threshold}"));
            }
        }
    }
}

/// Dots on a square lattice, each moved by up to a fifth of the pitch either way; the pitch is the rows' mean distance.
#[test]
fn stipple_on_a_jittered_lattice_has_its_rows_distance() {
    for scale in SCALES {
        for pitch in PITCHES {
            let mut chance = chance(7);
            let n = (SIDE_MM / pitch) as usize + 3;
            let dots: Vec<[f64; 2]> = (0..n * n)
                .map(|i| [i % n, i / n].map(|k| (k as f64 - 0.5 + 0.4 * chance() - 0.2) * pitch))
                .collect();
            let stippled = picture(scale, |x, y| {
                let cell = |v: f64| ((v / pitch + 0.5).round() as usize).min(n - 1);
                let (cx, cy) = (cell(x), cell(y));
                let near = (cy.saturating_sub(1)..(cy + 2).min(n))
                    .flat_map(|j| (cx.saturating_sub(1)..(cx + 2).min(n)).map(move |i| j * n + i))
                    .any(|d| (dots[d][0] - x).hypot(dots[d][1] - y) < 0.3 * pitch);
                f64::from(u8::from(!near))
            });
            comes_out(&stippled, scale, pitch, "stipple");
        }
    }
}

/// Lines that swing by a tenth of a mm over some mm, as a hand draws them.
#[test]
fn hatching_with_a_hands_waver_has_its_pitch() {
    for scale in SCALES {
        for pitch in PITCHES {
            let hatched = picture(scale, |x, y| {
                let swing = 0.1 * ((x / 1.9).sin() + (y / 2.3 + x / 5.0).sin());
                lines(x + swing, y + swing, 35.0, pitch, 0.3 + 0.06 * (x / 3.1).sin() * (y / 2.7).cos())
            });
            comes_out(&hatched, scale, pitch, "wavering hatching");
        }
    }
}

#[test]
fn two_halves_with_different_pitches_are_two_regions() {
    for scale in SCALES {
        for [left, right] in [[0.5, 0.9], [0.8, 1.1], [1.6, 0.7]] {
            let halves = picture(scale, |x, y| {
                let pitch = if x < SIDE_MM / 2.0 { left } else { right };
                lines(x, y, 30.0, pitch, 0.4)
            });
            let regions = PitchMap::of(&halves, scale).regions();
            for pitch in [left, right] {
                let found = regions.iter().filter(|r| (r.pitch_mm / pitch - 1.0).abs() < WITHIN / 2.0);
                let share: f64 = found.map(|r| r.share).sum();
                assert!(
                    (0.3..=0.6).contains(&share),
                    "{pitch} of {left} | {right} mm at {scale}: {regions:?}"
                );
            }
        }
    }
}

#[test]
fn one_pitch_is_one_region() {
    for scale in SCALES {
        for pitch in PITCHES {
            let hatched = picture(scale, |x, y| lines(x, y, 25.0, pitch, 0.35));
            let regions = PitchMap::of(&hatched, scale).regions();
            assert!(regions.len() == 1 && regions[0].share > 0.9, "{pitch} mm at {scale} px/mm: {regions:?}");
        }
    }
}

#[test]
fn pictures_without_texture_have_no_pitch() {
    for scale in SCALES {
        let disc = |x: f64, y: f64, r: f64| (x - 17.0).hypot(y - 19.0) < r;
        has_none(&picture(scale, |_, _| 0.6), scale, "one flat tone");
        let shapes = |x: f64, y: f64| {
            if disc(x, y, 9.0) {
                0.1
            } else if x + 0.3 * y < 14.0 {
                0.4
            } else {
                0.9
            }
        };
        has_none(&picture(scale, shapes), scale, "flat shapes");
        has_none(&picture(scale, |x, y| (x + 2.0 * y) / (3.0 * SIDE_MM)), scale, "a gradation");
        let mut dice = chance(3);
        let mut noise = picture(scale, |_, _| 0.5);
        noise.data_mut().iter_mut().for_each(|v| *v = 0.1 + 0.8 * dice() as f32);
        has_none(&noise, scale, "white noise");
        has_none(&gaussian(&noise, (0.12 * scale) as f32), scale, "grain");
        has_none(&gaussian(&picture(scale, shapes), (0.3 * scale) as f32), scale, "a blurred photograph");
        let outline = |x: f64, y: f64| {
            let ring = |r: f64| disc(x, y, r + 0.25) && !disc(x, y, r - 0.25);
            let bar = |at: f64| (0.8 * x + 0.6 * y - at).abs() < 0.25;
            f64::from(u8::from(!(ring(5.0) || ring(11.0) || bar(12.0) || bar(14.0) || bar(30.0))))
        };
        has_none(&picture(scale, outline), scale, "an outline drawing");
        let floor =
            |x: f64, y: f64| f64::from(u8::from(((x / 4.0).floor() + (y / 4.0).floor()) % 2.0 == 0.0));
        has_none(&picture(scale, floor), scale, "a chequered floor of 8 mm");
        let wall = |x: f64, y: f64| {
            let course = (y / 4.0).floor();
            let joint = (x + 4.0 * (course % 2.0)).rem_euclid(8.0) < 0.6 || y.rem_euclid(4.0) < 0.6;
            if joint { 0.85 } else { 0.35 }
        };
        has_none(&picture(scale, wall), scale, "a brick wall of 8 mm");
    }
}

/// A pitch that is given decides the first mean: 0.55 of it; none averages nothing.
#[test]
fn a_pitch_that_is_given_decides_the_first_mean() {
    let hatched = picture(6.0, |x, y| lines(x, y, 30.0, 0.9, 0.4));
    let with = |pitch| measure(&hatched, 6.0, &ToneOptions { pitch, ..ToneOptions::default() });
    for mm in [0.4, 0.9, 2.0] {
        let field = with(PitchRule::Fixed(mm)).expect("a fair pitch").value;
        assert!((field.mean_width_mm - 0.55 * mm).abs() < 1e-12, "{mm} mm gave {}", field.mean_width_mm);
        assert_eq!(field.pitch_mm, Some(mm), "what is given is reported");
    }
    let bare = with(PitchRule::None).expect("no pitch").value;
    assert!(bare.mean_width_mm <= 0.0 && bare.pitch_mm.is_none(), "no texture, no mean");
    for bad in [0.0, -1.0, 0.05, 12.1, f64::NAN, f64::INFINITY] {
        assert!(matches!(with(PitchRule::Fixed(bad)), Err(ToneError::Pitch(_))), "{bad} mm is no pitch");
    }
}
