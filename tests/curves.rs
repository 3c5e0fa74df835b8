//! Curves from outside: fit, corners and the proof of no crossing against closed forms, slow obvious programmes
//! and other libraries.

mod bounds;
mod exhaustive;
mod found_corners;
mod meetings;
mod shapes;

use kurbo::{CubicBez, ParamCurve, ParamCurveNearest, Point, Shape, Vec2};

/// Distance from `p` to the segment `a` `b`.
fn to_segment(p: Point, a: Point, b: Point) -> f64 {
    let v = b - a;
    let vv = v.hypot2();
    let t = if vv > 0.0 { ((p - a).dot(v) / vv).clamp(0.0, 1.0) } else { 0.0 };
    p.distance(a + t * v)
}

/// Distance from `p` to the polyline.
fn to_polyline(p: Point, points: &[Point]) -> f64 {
    points.windows(2).map(|s| to_segment(p, s[0], s[1])).fold(f64::INFINITY, f64::min)
}

/// Distance from `p` to the curve, by kurbo's nearest point.
fn to_curve(p: Point, curve: &[CubicBez]) -> f64 {
    let mut least = f64::INFINITY;
    for c in curve {
        let hull = Shape::bounding_box(c);
        let away = Vec2::new(
            (hull.x0 - p.x).max(p.x - hull.x1).max(0.0),
            (hull.y0 - p.y).max(p.y - hull.y1).max(0.0),
        );
        if away.hypot() < least {
            least = least.min(c.nearest(p, 1e-7).distance_sq.sqrt());
        }
    }
    least
}

/// Places on the curve, `each` to a cubic, the last end with them.
fn places(curve: &[CubicBez], each: usize) -> Vec<Point> {
    let mut out: Vec<Point> =
        curve.iter().flat_map(|c| (0..each).map(|k| c.eval(k as f64 / each as f64))).collect();
    out.extend(curve.last().map(|c| c.p3));
    out
}

/// Largest distance of a point from the curve, and of a place on the curve from the polyline.
fn deviation(points: &[Point], curve: &[CubicBez]) -> [f64; 2] {
    let out = points.iter().map(|p| to_curve(*p, curve)).fold(0.0, f64::max);
    let back = places(curve, 60).iter().map(|q| to_polyline(*q, points)).fold(0.0, f64::max);
    [out, back]
}

/// Largest change of direction in degrees at the joints, the closing one not among them.
fn kink_deg(curve: &[CubicBez]) -> f64 {
    let turn = |w: &[CubicBez]| {
        let (a, b) = (w[0].p3 - w[0].p2, w[1].p1 - w[1].p0);
        a.cross(b).atan2(a.dot(b)).abs().to_degrees()
    };
    curve.windows(2).map(turn).fold(0.0, f64::max)
}

/// Whether each cubic begins where the one before ends.
fn is_joined(curve: &[CubicBez]) -> bool {
    curve.windows(2).all(|w| w[0].p3 == w[1].p0)
}

/// Numbers that look random and are the same everywhere (Knuth's MMIX congruence).
struct Numbers(u64);

impl Numbers {
    /// Between 0 and 1.
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as f64 / (1_u64 << 31) as f64
    }

    /// Between -1 and 1.
    fn signed(&mut self) -> f64 {
        2.0 * self.share() - 1.0
    }

    /// About normal with deviation 1 (sum of twelve).
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.share()).sum::<f64>() - 6.0
    }
}

/// Spacing of the points of test lines, in mm.
const STEP_MM: f64 = 0.15;

/// A line like a traced border: curvature of about `bend` per mm that changes over `reach` points, and points
/// shaken by up to `noise` mm.
fn wander(numbers: &mut Numbers, count: usize, bend: f64, reach: usize, noise: f64) -> Vec<Point> {
    let mut curvature: Vec<f64> = (0..count).map(|_| numbers.normal()).collect();
    for _ in 0..2 {
        curvature = (0..count)
            .map(|i| {
                let part = &curvature[i.saturating_sub(reach)..(i + reach + 1).min(count)];
                part.iter().sum::<f64>() / (part.len() as f64).sqrt()
            })
            .collect();
        let size = (curvature.iter().map(|x| x * x).sum::<f64>() / count as f64).sqrt();
        for x in &mut curvature {
            *x /= size;
        }
    }
    let (mut at, mut heading) = (Point::new(20.0, 20.0), 0.0);
    curvature
        .iter()
        .map(|k| {
            let shaken = at + noise * Vec2::new(numbers.signed(), numbers.signed());
            heading += bend * k * STEP_MM;
            at += STEP_MM * Vec2::from_angle(heading);
            shaken
        })
        .collect()
}

/// Gaussian mean over the points with the deviation in points; the ends of an open line stay.
fn smoothed(points: &[Point], sigma: f64, closed: bool) -> Vec<Point> {
    let reach = (3.0 * sigma).ceil() as isize;
    let n = points.len() as isize;
    (0..n)
        .map(|i| {
            let m = if closed { reach } else { reach.min(i).min(n - 1 - i) };
            let (mut sum, mut weight) = (Vec2::ZERO, 0.0);
            for k in -m..=m {
                let g = (-0.5 * (k as f64 / sigma).powi(2)).exp();
                sum += g * points[(i + k).rem_euclid(n) as usize].to_vec2();
                weight += g;
            }
            (sum / weight).to_point()
        })
        .collect()
}
