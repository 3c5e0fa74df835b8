//! The fit against shapes known in closed form, over tolerances.

use super::{kink_deg, places, to_curve};
use kurbo::{CubicBez, Point, Vec2};
use merestone::transitions::fit::{FitOptions, fit};
use std::f64::consts::{PI, TAU};

const TOLERANCES: [f64; 6] = [0.02, 0.05, 0.1, 0.2, 0.35, 0.5];
/// Room for the chord of the 0.15 mm steps: 0.15^2 / (8 R) for the smallest radius of curvature used, 1 mm.
const SAGITTA_MM: f64 = 0.0029;

/// The curve against dense places on the true shape, both ways, and its joints.
fn check(name: &str, curve: &[CubicBez], truth: &[Point], closed: bool, tolerance: f64) {
    let limit = tolerance + SAGITTA_MM;
    let out = truth.iter().map(|p| to_curve(*p, curve)).fold(0.0, f64::max);
    let back = places(curve, 40).iter().map(|q| super::to_polyline(*q, truth)).fold(0.0, f64::max);
    assert!(out <= limit && back <= limit, "{name} at {tolerance} mm: {out} and {back} mm");
    let mut round = curve.to_vec();
    if closed {
        round.push(curve[0]);
    }
    assert!(kink_deg(&round) < 0.6, "{name} at {tolerance} mm: a joint turns {} degrees", kink_deg(&round));
}

/// Points of `shape` over a parameter, about 0.15 mm apart, and four times as dense.
fn sampled(shape: impl Fn(f64) -> Point, length: f64, closed: bool) -> (Vec<Point>, Vec<Point>) {
    let n = (length / super::STEP_MM).ceil() as usize;
    let take = |n: usize| (0..n).map(|i| shape(i as f64 / n as f64)).collect::<Vec<_>>();
    let (mut sparse, mut dense) = (take(n), take(4 * n));
    dense.push(shape(1.0));
    if !closed {
        sparse.push(shape(1.0));
    }
    (sparse, dense)
}

#[test]
fn circles_need_no_more_than_the_closed_form() {
    for radius in [1.0, 2.0, 5.0, 20.0, 50.0] {
        let at = |t: f64| Point::new(60.0, 60.0) + radius * Vec2::from_angle(TAU * t);
        let (points, truth) = sampled(at, TAU * radius, true);
        for tolerance in TOLERANCES {
            let curve = fit(&points, true, &[], [None, None], &FitOptions { tolerance_mm: tolerance });
            check("circle", &curve, &truth, true, tolerance);
            // The usual cubic over an arc of angle a strays 4/27 R sin^6(a/4) / cos^2(a/4) (Goldapp 1991: the
            // radius errs by that to first order). Its handles must not be longer than its chord either, which
            // the fit keeps to: so at least three.
            let error = |a: f64| 4.0 / 27.0 * radius * (a / 4.0).sin().powi(6) / (a / 4.0).cos().powi(2);
            let enough = (3..40).find(|&k| error(TAU / f64::from(k)) <= tolerance).unwrap_or(40);
            assert!(
                curve.len() <= enough as usize + 1,
                "circle of {radius} mm at {tolerance} mm: {} cubics, {enough} are enough",
                curve.len()
            );
        }
    }
}

#[test]
fn ellipses_spirals_and_clothoids_are_met() {
    for (a, b) in [(5.0, 3.0), (20.0, 5.0), (40.0, 30.0)] {
        let at = |t: f64| Point::new(60.0 + a * (TAU * t).cos(), 60.0 + b * (TAU * t).sin());
        let (points, truth) = sampled(at, PI * (a + b), true);
        for tolerance in TOLERANCES {
            let curve = fit(&points, true, &[], [None, None], &FitOptions { tolerance_mm: tolerance });
            check("ellipse", &curve, &truth, true, tolerance);
            assert!((2..=10).contains(&curve.len()), "ellipse {a} x {b}: {} cubics", curve.len());
        }
    }
    // Logarithmic spiral r = 2 e^(0.15 angle), two turns.
    let grow = 0.15_f64;
    let turns = 2.0 * TAU;
    // Equal steps of length: s grows with r.
    let total = 2.0 * ((grow * turns).exp() - 1.0) / grow * grow.hypot(1.0);
    let spiral = |t: f64| {
        let angle = (1.0 + t * ((grow * turns).exp() - 1.0)).ln() / grow;
        Point::new(60.0, 60.0) + 2.0 * (grow * angle).exp() * Vec2::from_angle(angle)
    };
    let (points, truth) = sampled(spiral, total, false);
    for tolerance in TOLERANCES {
        let curve = fit(&points, false, &[], [None, None], &FitOptions { tolerance_mm: tolerance });
        check("spiral", &curve, &truth, false, tolerance);
        // Each quarter turn of a circle strays under 0.0003 R, so eight quarters of R <= 13 mm are ample.
        assert!(curve.len() <= 9, "spiral at {tolerance} mm: {} cubics", curve.len());
    }
    // Clothoid: heading s^2 / (2 A^2) over 40 mm with A^2 = 60, curvature up to 2/3 per mm. Simpson's rule.
    let heading = |s: f64| Vec2::from_angle(s * s / 120.0);
    let mut table = vec![Vec2::ZERO];
    let h = 0.002;
    for k in 0..20_000 {
        let s = f64::from(k) * h;
        let step = (heading(s) + 4.0 * heading(s + h / 2.0) + heading(s + h)) * (h / 6.0);
        table.push(table[table.len() - 1] + step);
    }
    let clothoid = |t: f64| Point::new(20.0, 20.0) + table[((t * 20_000.0).round() as usize).min(20_000)];
    let (points, truth) = sampled(clothoid, 40.0, false);
    let mut before = usize::MAX;
    for tolerance in TOLERANCES {
        let curve = fit(&points, false, &[], [None, None], &FitOptions { tolerance_mm: tolerance });
        check("clothoid", &curve, &truth, false, tolerance);
        assert!(curve.len() <= before, "a looser clothoid has more cubics: {} after {before}", curve.len());
        before = curve.len();
    }
}
