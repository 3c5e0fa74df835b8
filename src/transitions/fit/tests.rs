//! Tests of the fit's parts; the whole is tested from outside, in `tests/curves`.

use super::*;

#[test]
fn corners_follow_their_points_when_repeated_ones_go() {
    let p = |x: f64| Point::new(x, 0.0);
    let points = [p(0.0), p(0.0), p(1.0), p(f64::NAN), p(2.0), p(2.0), p(3.0), p(0.0)];
    let (kept, corners) = tidied(&points, true, &[0, 1, 3, 5, 7, 40]);
    assert_eq!(kept, [p(0.0), p(1.0), p(2.0), p(3.0)], "each point once, the closing one left out");
    // Corner 3 sat on a point that is not finite: it goes to the one before. Corner 7 is the first point again.
    assert_eq!(corners, [0, 1, 2], "corners on the points that stand for theirs");
}

#[test]
fn a_joint_runs_along_a_noisy_circle() {
    // Tangent and radius of a circle of 10 mm in closed form; the noise is a fixed wave of 0.03 mm.
    let n = 400;
    let angle = |i: usize| i as f64 / n as f64 * std::f64::consts::TAU;
    let points: Vec<Point> = (0..n)
        .map(|i| ((10.0 + 0.03 * (2.4 * i as f64).sin()) * Vec2::from_angle(angle(i))).to_point())
        .collect();
    let along = lengths(&points);
    let round = Some(along[n - 1] + points[n - 1].distance(points[0]));
    let around = Around { points: &points, along: &along, round };
    // The narrowest window holds five points 0.157 mm apart. Its slope errs by at most
    // 0.03 (2 + 1 + 1 + 2) / (0.157 (4 + 1 + 1 + 4)) = 0.115, 6.6 degrees; wider ones by less.
    let mut sum = 0.0;
    for i in 0..n {
        let (at, direction) = around.joint(i, 0.1);
        let tangent = Vec2::from_angle(angle(i) + std::f64::consts::FRAC_PI_2);
        let off = direction.cross(tangent).asin().abs().to_degrees();
        sum += off;
        assert!(off < 6.6 && direction.dot(tangent) > 0.0, "point {i}: {off} degrees off the tangent");
        assert!((at.to_vec2().hypot() - 10.0).abs() < 0.031, "point {i}: joint at {at:?}");
    }
    // Most windows are far wider: the mean is a fraction of what five points would give (3.5 degrees for noise
    // of the same size without a pattern).
    let mean = sum / n as f64;
    assert!(mean < 1.0, "{mean} degrees off in the mean");
}

#[test]
fn a_whole_micrometre_is_written_without_a_sign_on_zero() {
    let p = round_um(Point::new(-0.0004, 1.23449));
    assert!(p.x.is_sign_positive(), "no negative zero");
    assert_eq!(p, Point::new(0.0, 1.234), "rounded to 0.001 mm");
}
