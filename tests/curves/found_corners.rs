//! Corners of zigzags and polygons, known by construction.

use super::{Numbers, STEP_MM, smoothed};
use kurbo::{Point, Vec2};
use merestone::transitions::corners::{CornerOptions, find_corners};

/// Deviation of the smoothing in mm.
const SMOOTH_MM: f64 = 0.15;

/// Points every 0.15 mm along the polygon through `tips`.
fn along(tips: &[Point], closed: bool) -> Vec<Point> {
    let mut points = Vec::new();
    let n = tips.len();
    let mut left = 0.0;
    for i in 0..if closed { n } else { n - 1 } {
        let (a, b) = (tips[i], tips[(i + 1) % n]);
        let length = a.distance(b);
        while left < length {
            points.push(a.lerp(b, left / length));
            left += STEP_MM;
        }
        left -= length;
    }
    points
}

/// Every tip has a corner within 0.2 mm and there is no other.
fn check(name: &str, tips: &[Point], points: &[Point], closed: bool, options: &CornerOptions) {
    let line = smoothed(points, SMOOTH_MM / STEP_MM, closed);
    let found = find_corners(&line, closed, options);
    assert_eq!(found.len(), tips.len(), "{name}: corners at {found:?}");
    for tip in tips {
        let near = found.iter().map(|&i| line[i].distance(*tip)).fold(f64::INFINITY, f64::min);
        assert!(near <= 0.2, "{name}: nearest corner {near} mm off");
    }
}

/// A zigzag with sides of 5 to 7 mm that turns by `turn` degrees, left and right in turn.
fn zigzag(turn: f64, numbers: &mut Numbers) -> Vec<Point> {
    let mut tips = vec![Point::new(50.0, 50.0)];
    let mut heading = numbers.share() * 6.0;
    for k in 0..7 {
        tips.push(tips[k] + (5.0 + 2.0 * numbers.share()) * Vec2::from_angle(heading));
        heading += turn.to_radians() * if k % 2 == 0 { 1.0 } else { -1.0 };
    }
    tips
}

#[test]
fn turns_of_60_to_150_degrees_are_found_in_their_place() {
    let mut numbers = Numbers(3);
    for turn in (60..=150).step_by(5) {
        for _ in 0..5 {
            let tips = zigzag(f64::from(turn), &mut numbers);
            let points = along(&tips, false);
            let inner = &tips[1..tips.len() - 1];
            check(&format!("zigzag of {turn} degrees"), inner, &points, false, &CornerOptions::default());
        }
    }
    // Blunter ones when asked for: the inner angle of 150 degrees is a turn of 30.
    for turn in [30, 40, 50] {
        let tips = zigzag(f64::from(turn), &mut numbers);
        let points = along(&tips, false);
        let options = CornerOptions { angle_deg: 20.0, ..CornerOptions::default() };
        check(&format!("zigzag of {turn} degrees"), &tips[1..tips.len() - 1], &points, false, &options);
        let found = find_corners(&smoothed(&points, 1.0, false), false, &CornerOptions::default());
        assert!(turn >= 50 || found.is_empty(), "turns of {turn} degrees are no corners at 50: {found:?}");
    }
}

#[test]
fn regular_polygons_have_their_corners_wherever_the_list_starts() {
    for sides in 3..=6_u32 {
        let tips: Vec<Point> = (0..sides)
            .map(|k| {
                Point::new(30.0, 30.0)
                    + 6.0 * Vec2::from_angle(f64::from(k) * std::f64::consts::TAU / f64::from(sides))
            })
            .collect();
        let points = along(&tips, true);
        for start in [0, 1, 5, points.len() / 2, points.len() - 1] {
            let mut turned = points.clone();
            turned.rotate_left(start);
            check(&format!("{sides} sides from {start}"), &tips, &turned, true, &CornerOptions::default());
        }
    }
}

#[test]
fn smooth_bends_are_no_corners() {
    // Over arms of 0.8 mm the small circles turn by more than 50 degrees, but by half of it over half the arms.
    for (a, b) in [(0.8, 0.8), (0.9, 0.9), (1.0, 1.0), (3.0, 2.0), (10.0, 4.0), (20.0, 5.0)] {
        let n = (std::f64::consts::PI * (a + b) / STEP_MM) as usize;
        let points: Vec<Point> = (0..n)
            .map(|i| i as f64 / n as f64 * std::f64::consts::TAU)
            .map(|t| Point::new(a * t.cos(), b * t.sin()))
            .collect();
        assert!(find_corners(&points, true, &CornerOptions::default()).is_empty(), "ellipse {a} x {b}");
    }
}
