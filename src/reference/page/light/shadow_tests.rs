//! Soft shadows of known depth over margins and tones.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;

use super::tests::{evened, lit, tone};
use super::*;

/// Three even tones, and a round form that is lit from its upper left.
fn still(x: f64, y: f64) -> f64 {
    let (u, v) = ((x - 0.35) / 0.15, (y - 0.3) / 0.12);
    match u * u + v * v {
        r if r < 1.0 => 0.08 + 0.7 * (0.8 * (1.0 - r).sqrt() - 0.4 * u - 0.4 * v).max(0.0),
        _ if y < 0.5 => 0.4,
        _ if x < 0.5 => 0.12,
        _ => 0.25,
    }
}

/// A soft shadow whose middle is a point on the page's edge: a band with a round end at `tip`.
fn shadow(from: [f64; 2], tip: [f64; 2], deep: f64) -> impl Fn(f64, f64) -> f64 {
    move |x, y| {
        let way = [tip[0] - from[0], tip[1] - from[1]];
        let along = ((x - from[0]) * way[0] + (y - from[1]) * way[1]) / (way[0].powi(2) + way[1].powi(2));
        let t = along.clamp(0.0, 1.0);
        let away = (x - from[0] - t * way[0]).hypot(y - from[1] - t * way[1]);
        1.0 - deep * (0.5 - 0.5 * ((away - 0.12) / 0.06).tanh())
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, rng_seed: RngSeed::Fixed(2), ..ProptestConfig::default() })]

    /// A hand's shadow that ends on tones goes, wherever its end lies, and a form's shading stays.
    #[test]
    fn a_shadow_that_ends_on_tones_is_taken_out(y in 0.5..0.8_f64, x in 0.55..0.75_f64, deep in 0.1..0.3_f64) {
        let over = shadow([1.05, y + 0.1], [x, y], deep);
        let (page, _) = evened(&lit(still, |x, y| 0.8 * over(x, y)), EvenLight::Paper);
        // In its middle, at its end, and out of it.
        for (x, y) in [(x + 0.05, y), (x, y + 0.02), (x - 0.12, y), (0.3, 0.8), (0.7, 0.2)] {
            if (y - 0.5_f64).abs() < 0.04 || (x - 0.5_f64).abs() < 0.04 {
                continue;
            }
            let want = lightness(still(x, y));
            prop_assert!((tone(&page, x, y) - want).abs() < 2.5, "L* {} for {want} at {:?}", tone(&page, x, y), (x, y));
        }
        for (x, y) in [(0.28, 0.25), (0.35, 0.3), (0.42, 0.35)] {
            let want = tone(&lit(still, |_, _| 1.0), x, y);
            prop_assert!((tone(&page, x, y) - want).abs() < 1.5, "the form has L* {} for {want}", tone(&page, x, y));
        }
    }
}

#[test]
fn what_grades_softly_stays_where_no_shadow_is_on_the_margin() {
    let graded = |x: f64, y: f64| 0.4 * shadow([0.5, 0.6], [0.5, 0.4], 0.3)(x, y);
    let (page, _) = evened(&lit(graded, |_, y| 0.8 - 0.2 * y), EvenLight::Paper);
    for (x, y) in [(0.5, 0.5), (0.62, 0.5), (0.2, 0.2), (0.7, 0.75)] {
        let want = tone(&lit(graded, |_, _| 1.0), x, y);
        assert!((tone(&page, x, y) - want).abs() < 1.0, "L* {} for {want}", tone(&page, x, y));
    }
}

#[test]
fn what_grades_softly_stays_apart_from_a_shadow() {
    let graded = |x: f64, y: f64| 0.4 * shadow([0.45, 0.25], [0.3, 0.25], 0.3)(x, y);
    let over = shadow([1.05, 0.85], [0.75, 0.75], 0.3);
    let (page, _) = evened(&lit(graded, |x, y| 0.8 * over(x, y)), EvenLight::Paper);
    for (x, y) in [(0.4, 0.25), (0.3, 0.25), (0.2, 0.5)] {
        let want = tone(&lit(graded, |_, _| 1.0), x, y);
        assert!((tone(&page, x, y) - want).abs() < 1.5, "L* {} for {want}", tone(&page, x, y));
    }
}

#[test]
fn the_lit_side_of_a_form_is_no_paper() {
    // From L* 99 down, next to white: the light stays that of the margins.
    let form = |x: f64, _: f64| 0.97 * (1.0 - (2.6 * (x - 0.5)).powi(2) * 0.6);
    let (page, figures) = evened(&lit(form, |_, _| 0.8), EvenLight::Paper);
    assert!(figures.darkest > 0.97, "even light is said to fall to {}", figures.darkest);
    for x in [0.25, 0.3, 0.35] {
        let want = tone(&lit(form, |_, _| 1.0), x, 0.5);
        assert!((tone(&page, x, 0.5) - want).abs() < 1.5, "L* {} for {want} at {x}", tone(&page, x, 0.5));
    }
}
