//! The fit's bound on noisy lines, its count beside a slow exhaustive programme and kurbo's fitter, odd input.

use super::exhaustive::least_count;
use super::{Numbers, deviation, is_joined, kink_deg, smoothed, wander};
use kurbo::simplify::SimplifyBezPath;
use kurbo::{BezPath, CubicBez, Point, Vec2, fit_to_bezpath};
use merestone::transitions::fit::{FitOptions, fit, round_um};
use proptest::prelude::*;

const FREE: [Option<Vec2>; 2] = [None, None];

fn within(tolerance_mm: f64) -> FitOptions {
    FitOptions { tolerance_mm }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_point_and_every_place_is_within_the_tolerance(
        seed in any::<u64>(), count in 3_usize..160, bend in 0.02_f64..1.5, reach in 2_usize..30,
        noise in 0.0_f64..0.08, tolerance in 0.02_f64..0.5,
    ) {
        let points = wander(&mut Numbers(seed), count, bend, reach, noise);
        let curve = fit(&points, false, &[], FREE, &within(tolerance));
        prop_assert!(is_joined(&curve), "cubics join");
        prop_assert_eq!(curve[0].p0, round_um(points[0]), "starts on the first point");
        prop_assert_eq!(curve[curve.len() - 1].p3, round_um(points[count - 1]), "ends on the last point");
        let [out, back] = deviation(&points, &curve);
        prop_assert!(out <= tolerance, "a point lies {out} mm off at {tolerance} mm");
        prop_assert!(back <= tolerance, "the curve strays {back} mm at {tolerance} mm");
    }

    #[test]
    fn closed_lines_with_corners_keep_the_bound_and_the_corners(
        seed in any::<u64>(), sides in 3_usize..8, each in 4_usize..25, noise in 0.0_f64..0.05,
        tolerance in 0.02_f64..0.5, cut in 0_usize..4,
    ) {
        // A star-shaped outline whose sides bulge; `cut` turns the list so that it starts between corners too.
        let mut numbers = Numbers(seed);
        let bulge = 0.3 * numbers.signed();
        let n = sides * each;
        let mut points: Vec<Point> = (0..n)
            .map(|i| {
                let share = (i % each) as f64 / each as f64;
                let angle = i as f64 / n as f64 * std::f64::consts::TAU;
                let radius = 0.15 * n as f64 / 6.0 * (1.0 + bulge * (share * std::f64::consts::PI).sin());
                let shake = noise * Vec2::new(numbers.signed(), numbers.signed());
                Point::new(30.0, 30.0) + radius * Vec2::from_angle(angle) + shake
            })
            .collect();
        points.rotate_left(cut);
        let corners: Vec<usize> = (0..sides).map(|k| (k * each + n - cut) % n).collect();
        let curve = fit(&points, true, &corners, FREE, &within(tolerance));
        prop_assert!(is_joined(&curve), "cubics join");
        prop_assert_eq!(curve[curve.len() - 1].p3, curve[0].p0, "ends where it begins");
        for &c in &corners {
            let at = round_um(points[c]);
            prop_assert!(curve.iter().any(|q| q.p0 == at), "a joint on corner {c}");
        }
        points.push(points[0]);
        let [out, back] = deviation(&points, &curve);
        prop_assert!(out <= tolerance && back <= tolerance, "{out} and {back} mm at {tolerance} mm");
    }

    #[test]
    fn asked_directions_are_kept(
        seed in any::<u64>(), turn in -0.5_f64..0.5, other in -0.5_f64..0.5, tolerance in 0.05_f64..0.3,
    ) {
        let points = wander(&mut Numbers(seed), 60, 0.2, 12, 0.0);
        let n = points.len();
        let asked = [
            Vec2::from_angle((points[1] - points[0]).atan2() + turn),
            Vec2::from_angle((points[n - 1] - points[n - 2]).atan2() + other),
        ];
        let curve = fit(&points, false, &[], asked.map(Some), &within(tolerance));
        let [out, back] = deviation(&points, &curve);
        prop_assert!(out <= tolerance && back <= tolerance, "{out} and {back} mm at {tolerance} mm");
        let last = curve[curve.len() - 1];
        let got = [curve[0].p1 - curve[0].p0, last.p3 - last.p2];
        for (got, asked) in got.iter().zip(asked) {
            // Where nothing leaves in the asked direction the polyline's own edge is given back, a straight cubic.
            let off = got.cross(asked).atan2(got.dot(asked)).abs();
            let rounding = 0.0015 / got.hypot();
            prop_assert!(off <= rounding, "leaves {} degrees off", off.to_degrees());
        }
    }
}

#[test]
fn odd_input_gives_what_the_contract_says() {
    let options = FitOptions::default();
    let p = |x: f64, y: f64| Point::new(x, y);
    for closed in [false, true] {
        for input in [vec![], vec![p(1.0, 2.0)], vec![p(1.0, 2.0); 7], vec![p(f64::NAN, 0.0), p(1.0, 1.0)]] {
            assert!(fit(&input, closed, &[0, 3, 99], FREE, &options).is_empty(), "no curve from {input:?}");
        }
    }
    let two = [p(1.0, 2.0), p(4.0, 6.0)];
    let curve = fit(&two, false, &[], FREE, &options);
    assert_eq!(curve.len(), 1, "two points make one cubic");
    assert_eq!((curve[0].p0, curve[0].p3), (two[0], two[1]), "from one to the other");
    assert_eq!(fit(&two, true, &[], FREE, &options).len(), 2, "two points closed: there and back");
    let line: Vec<Point> = (0..40).map(|i| p(0.3 * f64::from(i), 0.0)).collect();
    let repeated: Vec<Point> = line.iter().flat_map(|q| [*q, *q, *q]).collect();
    let curve = fit(&repeated, false, &[], FREE, &options);
    assert_eq!(curve, fit(&line, false, &[], FREE, &options), "repeated points change nothing");
    assert_eq!(curve.len(), 1, "a straight line is one cubic");
    let mut ring: Vec<Point> =
        (0..60).map(|i| (4.0 * Vec2::from_angle(f64::from(i) * 0.104_72)).to_point()).collect();
    let once = fit(&ring, true, &[], FREE, &options);
    ring.push(ring[0]);
    assert_eq!(fit(&ring, true, &[], FREE, &options), once, "the first point may be repeated");
    for tolerance in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
        assert!(!fit(&line, false, &[], FREE, &within(tolerance)).is_empty(), "tolerance {tolerance}");
    }
    // Back and forth over the same edge: no smooth curve exists, the edges themselves are within any tolerance.
    let back: Vec<Point> = (0..20).map(|i| p(f64::from(i % 2), 0.001 * f64::from(i))).collect();
    let curve = fit(&back, false, &[], FREE, &within(0.02));
    let [out, stray] = deviation(&back, &curve);
    assert!(out <= 0.02 && stray <= 0.02, "a zigzag keeps the bound: {out}, {stray}");
}

#[test]
fn counts_come_near_the_slow_programme() {
    let tolerance = 0.1;
    let (mut ours, mut least) = (0, 0);
    let mut numbers = Numbers(7);
    for (bend, reach) in [(0.15, 20), (0.3, 12), (0.6, 8)] {
        for noise in [0.03, 0.05] {
            for _ in 0..2 {
                let points = smoothed(&wander(&mut numbers, 160, bend, reach, noise), 1.2, false);
                ours += fit(&points, false, &[], FREE, &within(tolerance)).len();
                least += least_count(&points, tolerance);
            }
        }
    }
    let ratio = f64::from(u32::try_from(ours).unwrap_or(u32::MAX)) / least as f64;
    assert!(ratio <= 1.2, "{ours} cubics, at least {least} without smooth joints: {ratio:.3} times");
    // Nothing smooth can be below: a lower figure would mean that one of the two cheats.
    assert!(ratio >= 0.95, "{ours} cubics where the slow programme needs {least}");
}

/// kurbo's fitter over the points. It is made for smooth sources, so it gets a Catmull-Rom curve through them.
fn by_kurbo(points: &[Point], tolerance: f64) -> Vec<CubicBez> {
    let last = points.len() - 1;
    let slope = |i: usize| (points[(i + 1).min(last)] - points[i.saturating_sub(1)]) / 6.0;
    let mut source = BezPath::new();
    source.move_to(points[0]);
    for i in 0..last {
        source.curve_to(points[i] + slope(i), points[i + 1] - slope(i + 1), points[i + 1]);
    }
    let path = fit_to_bezpath(&SimplifyBezPath::new(source), tolerance);
    path.segments().map(|s| s.to_cubic()).collect()
}

#[test]
fn beside_kurbos_fitter_the_bound_holds_and_the_count_is_no_higher() {
    let tolerance = 0.1;
    let (mut counts, mut worst) = ([0, 0], [0.0_f64, 0.0]);
    let mut numbers = Numbers(11);
    for (bend, reach, noise) in [(0.15, 20, 0.0), (0.3, 12, 0.02), (0.6, 8, 0.03)] {
        for _ in 0..3 {
            let points = smoothed(&wander(&mut numbers, 160, bend, reach, noise), 1.2, false);
            for (k, curve) in
                [fit(&points, false, &[], FREE, &within(tolerance)), by_kurbo(&points, tolerance)]
                    .iter()
                    .enumerate()
            {
                counts[k] += curve.len();
                worst[k] = deviation(&points, curve).iter().fold(worst[k], |a, b| a.max(*b));
            }
            assert!(kink_deg(&fit(&points, false, &[], FREE, &within(tolerance))) < 0.5, "joints are smooth");
        }
    }
    assert!(worst[0] <= tolerance, "ours strays {} mm", worst[0]);
    assert!(counts[0] <= counts[1], "cubics: ours and kurbo's {counts:?}, farthest {worst:?} mm");
}
