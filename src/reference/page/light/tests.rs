//! Pages of known reflectance under known light.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;

use super::*;
use crate::colour::lightness_f32;

const SIDE: [usize; 2] = [420, 560];

/// A page whose reflectance is `ink` inside a margin of an eighth, under a light by place (shares of the page).
pub(super) fn lit(ink: impl Fn(f64, f64) -> f64, light: impl Fn(f64, f64) -> f64) -> Raster<f32> {
    let at = |i: usize| ((i % SIDE[0]) as f64 / SIDE[0] as f64, (i / SIDE[0]) as f64 / SIDE[1] as f64);
    let data = (0..SIDE[0] * SIDE[1]).map(|i| {
        let (x, y) = at(i);
        let margin = x.min(y).min(1.0 - x).min(1.0 - y) < 0.125;
        (light(x, y) * if margin { 1.0 } else { ink(x, y) }) as f32
    });
    Raster::from_vec(SIDE[0], SIDE[1], data.collect())
}

pub(super) fn evened(page: &Raster<f32>, how: EvenLight) -> (Raster<f32>, LightFigures) {
    even(page, how).unwrap_or_else(|e| panic!("{e}"))
}

/// Mean lightness of the evened page over a square of 12 pixels at a place.
pub(super) fn tone(page: &Raster<f32>, x: f64, y: f64) -> f64 {
    let (x, y) = ((x * SIDE[0] as f64) as usize, (y * SIDE[1] as f64) as usize);
    let sum: f64 = (0..144).map(|i| f64::from(page.at(x + i % 12, y + i / 12))).sum();
    lightness(sum / 144.0)
}

/// Two dark tones side by side and a large black area.
fn tones(x: f64, y: f64) -> f64 {
    match (x < 0.5, y < 0.4) {
        (true, true) => 0.45,
        (false, true) => 0.2,
        _ => 0.01,
    }
}

/// Strokes of solid ink 5 pixels wide, 10 apart.
fn strokes(x: f64, y: f64) -> f64 {
    if ((x * SIDE[0] as f64 + 0.6 * y * SIDE[1] as f64) / 10.0).fract() < 0.5 { 0.02 } else { 1.0 }
}

proptest! {
    // Always the same cases, so that what passes here passes everywhere.
    #![proptest_config(ProptestConfig { cases: 16, rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]

    /// Fall-off to 60 % from any side and yellowed paper: paper is white, tones are theirs, black stays black.
    #[test]
    fn a_fall_off_is_taken_out(fall in 0.1..0.4_f64, turn in 0.0..std::f64::consts::TAU, paper in 0.55..0.9_f64) {
        let light = |x: f64, y: f64| {
            let t = 0.5 + 0.7 * ((x - 0.5) * turn.cos() + (y - 0.5) * turn.sin());
            paper * (1.0 - fall * t.clamp(0.0, 1.0).powf(1.5))
        };
        let (page, figures) = evened(&lit(tones, light), EvenLight::Paper);
        for (x, y) in [(0.03, 0.03), (0.93, 0.03), (0.03, 0.93), (0.93, 0.93), (0.5, 0.05), (0.05, 0.5)] {
            prop_assert!((tone(&page, x, y) - 100.0).abs() < 0.8, "paper at {:?} has L* {}", (x, y), tone(&page, x, y));
        }
        for (x, y, want) in [(0.25, 0.25, 0.45), (0.7, 0.25, 0.2), (0.4, 0.7, 0.01), (0.8, 0.8, 0.01)] {
            prop_assert!((tone(&page, x, y) - lightness(want)).abs() < 1.5, "L* {} for {}", tone(&page, x, y), lightness(want));
        }
        // Light is least and most in corners.
        let corners = [(0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0)].map(|(x, y)| light(x, y));
        let [least, most] = [f64::min, f64::max].map(|pick| corners.into_iter().reduce(pick).expect("four"));
        prop_assert!((figures.darkest - least / most).abs() < 0.05, "{} for {}", figures.darkest, least / most);
    }

    /// Between strokes paper is seen all over, so a hand's shadow in the middle of the picture goes too.
    #[test]
    fn a_shadow_on_hatching_is_taken_out(x0 in 0.3..0.7_f64, y0 in 0.3..0.7_f64, deep in 0.1..0.3_f64) {
        let light = |x: f64, y: f64| 0.8 * (1.0 - deep * (-((x - x0).powi(2) + (y - y0).powi(2)) / 0.06).exp());
        let (page, _) = evened(&lit(strokes, light), EvenLight::Paper);
        let want = lightness(0.5 + 0.5 * 0.02);
        let softened = |x: f64, y: f64| {
            let (x, y) = ((x * SIDE[0] as f64) as usize, (y * SIDE[1] as f64) as usize);
            // A whole number of strokes across.
            let sum: f64 = (0..1600).map(|i| f64::from(page.at(x + i % 40, y + i / 40))).sum();
            lightness(sum / 1600.0)
        };
        for (x, y) in [(0.2, 0.2), (0.7, 0.7), (x0 - 0.05, y0 - 0.04)] {
            prop_assert!((softened(x, y) - want).abs() < 2.5, "L* {} for {} at {:?}", softened(x, y), want, (x, y));
        }
    }
}

#[test]
fn what_shows_through_becomes_paper() {
    // Soft stripes of 8 % over the whole sheet, as wide as letters.
    let back = |x: f64, y: f64| 1.0 - 0.04 * (1.0 + (x * 90.0).sin() * (y * 120.0).sin());
    let (page, figures) = evened(&lit(|_, _| 1.0, |x, y| 0.8 * back(x, y)), EvenLight::Paper);
    assert!(figures.show_through > 0.03, "only {} was seen", figures.show_through);
    let darkest = page.data().iter().map(|&y| lightness_f32(y)).fold(100.0, f32::min);
    assert!(darkest > 98.5, "L* {darkest} is left");
}

/// The back darkens tones as it does the bare paper among them; only that says by how much.
#[test]
fn tones_are_lifted_by_what_bare_paper_among_them_has_lost() {
    let in_margin = |x: f64, y: f64| x.min(y).min(1.0 - x).min(1.0 - y) < 0.125;
    let back = |x: f64, y: f64| 1.0 - 0.04 * (1.0 + (x * 90.0).sin() * (y * 120.0).sin());
    let light = |x: f64, y: f64| if in_margin(x, y) { 0.8 } else { 0.8 * back(x, y) };
    let grey = 0.184;
    let with_paper =
        |x: f64, y: f64| if (0.35..0.65).contains(&x) && (0.3..0.5).contains(&y) { 1.0 } else { grey };
    let mean = |ink: &dyn Fn(f64, f64) -> f64| {
        let (page, _) = evened(&lit(ink, light), EvenLight::Paper);
        let (left, top) = (SIDE[0] / 4, SIDE[1] * 5 / 8);
        let sum: f64 = (0..140 * 100).map(|i| f64::from(page.at(left + i % 140, top + i / 140))).sum();
        sum / (140.0 * 100.0)
    };
    let found = mean(&with_paper);
    // The light follows a part of the paper's loss, so more than half of the tones' 4 % comes back, not all.
    assert!((found / grey - 1.0).abs() < 0.02, "{found} for {grey}");
    let alone = mean(&|_, _| grey);
    assert!((alone / (0.96 * grey) - 1.0).abs() < 0.01, "{alone}: nothing says what tones alone have lost");
}

#[test]
fn a_light_wash_is_no_shadow() {
    // Half of the picture in L* 88, hard against bare paper.
    let wash = crate::colour::reflectance(88.0);
    let (page, _) =
        evened(&lit(|x, _| if x < 0.5 { wash } else { 1.0 }, |_, y| 0.9 - 0.2 * y), EvenLight::Paper);
    for y in [0.2, 0.5, 0.8] {
        assert!((tone(&page, 0.3, y) - 88.0).abs() < 1.5, "the wash has L* {} at {y}", tone(&page, 0.3, y));
        assert!((tone(&page, 0.7, y) - 100.0).abs() < 1.0, "paper has L* {} at {y}", tone(&page, 0.7, y));
    }
}

#[test]
fn without_paper_it_is_refused_and_a_guess_is_a_guess() {
    let tonal = |x: f64, y: f64| 0.15 + 0.4 * (0.5 + 0.5 * (9.0 * x).sin() * (7.0 * y).cos());
    let full = |fall: f64| {
        let data = (0..SIDE[0] * SIDE[1]).map(|i| {
            let (x, y) = ((i % SIDE[0]) as f64 / SIDE[0] as f64, (i / SIDE[0]) as f64 / SIDE[1] as f64);
            (tonal(x, y) * (1.0 - fall * x)) as f32
        });
        Raster::from_vec(SIDE[0], SIDE[1], data.collect())
    };
    assert_eq!(even(&full(0.4), EvenLight::Paper), Err(PageError::NoPaper), "there is no paper");
    let (page, figures) = evened(&full(0.4), EvenLight::Guess);
    assert_eq!(figures.told_by, EvenLight::Guess, "said to be a guess");
    // The same tones at the left and the right are nearer each other than before.
    let ratio = |p: &Raster<f32>| f64::from(p.at(20, 280)) / f64::from(p.at(400, 280));
    let (before, after, want) = (ratio(&full(0.4)), ratio(&page), ratio(&full(0.0)));
    assert!(
        (after / want).ln().abs() < 0.5 * (before / want).ln().abs(),
        "{before} became {after} for {want}"
    );
}

#[test]
fn even_light_changes_nothing_but_grain() {
    let page = lit(tones, |_, _| 1.0);
    let (same, figures) = evened(&page, EvenLight::Paper);
    assert!(figures.darkest > 0.99, "there is no fall-off: {}", figures.darkest);
    let most = same.data().iter().zip(page.data()).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
    assert!(most < 0.01, "a pixel changed by {most}");
}

#[test]
fn even_tones_at_the_edges_are_no_margins() {
    // A wall of two tones and a table to all edges, with something in the middle.
    let data = (0..SIDE[0] * SIDE[1]).map(|i| {
        let (x, y) = ((i % SIDE[0]) as f64 / SIDE[0] as f64, (i / SIDE[0]) as f64 / SIDE[1] as f64);
        match (x, y) {
            _ if (x - 0.5).hypot(y - 0.5) < 0.2 => 0.05,
            _ if y > 0.8 => 0.9,
            _ if x < 0.45 => 0.6,
            _ => 0.35,
        }
    });
    let page = Raster::from_vec(SIDE[0], SIDE[1], data.collect());
    assert_eq!(even(&page, EvenLight::Paper), Err(PageError::NoPaper), "there are no margins");
}
