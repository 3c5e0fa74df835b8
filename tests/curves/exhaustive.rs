//! The slow, obvious programme beside the fit: every point may be a joint, every pair of points is tried.
//!
//! Its cubics need not be tangent-continuous at the joints, so its count bounds from below what a smooth fit
//! through the same points can reach. It shares no code with the library.

use super::to_segment;
use kurbo::{CubicBez, ParamCurve, ParamCurveNearest, Point, Vec2};

/// Free handles by least squares with reprojection (Schneider 1990), ends on the first and last point.
fn free_cubic(points: &[Point]) -> CubicBez {
    let (p0, p3) = (points[0], points[points.len() - 1]);
    let mut sums = vec![0.0];
    for pair in points.windows(2) {
        sums.push(sums[sums.len() - 1] + pair[0].distance(pair[1]));
    }
    let total = sums[sums.len() - 1];
    let mut ts: Vec<f64> = sums.iter().map(|s| s / total).collect();
    let mut best = CubicBez::new(p0, p0.lerp(p3, 1.0 / 3.0), p0.lerp(p3, 2.0 / 3.0), p3);
    if points.len() == 2 {
        return best;
    }
    let mut least = f64::INFINITY;
    for _ in 0..12 {
        let (mut a11, mut a12, mut a22) = (1e-9, 0.0, 1e-9);
        let (mut r1, mut r2) = (Vec2::ZERO, Vec2::ZERO);
        for (p, &t) in points.iter().zip(&ts) {
            let u = 1.0 - t;
            let (b1, b2) = (3.0 * u * u * t, 3.0 * u * t * t);
            let rest = p.to_vec2() - (u * u * u + b1) * p0.to_vec2() - (b2 + t * t * t) * p3.to_vec2();
            a11 += b1 * b1;
            a12 += b1 * b2;
            a22 += b2 * b2;
            r1 += b1 * rest;
            r2 += b2 * rest;
        }
        let det = a11 * a22 - a12 * a12;
        if det < 1e-12 {
            break;
        }
        let (h1, h2) = ((a22 * r1 - a12 * r2) / det, (a11 * r2 - a12 * r1) / det);
        let next = CubicBez::new(p0, p0 + h1, p3 + h2, p3);
        let mut worst: f64 = 0.0;
        for (p, t) in points.iter().zip(&mut ts) {
            for _ in 0..3 {
                let r = next.eval(*t) - *p;
                let h = 1e-5;
                let v = (next.eval(*t + h) - next.eval(*t - h)) / (2.0 * h);
                if v.hypot2() > 0.0 {
                    *t = (*t - r.dot(v) / v.hypot2()).clamp(0.0, 1.0);
                }
            }
            worst = worst.max(next.eval(*t).distance(*p));
        }
        if worst < least {
            least = worst;
            best = next;
        }
    }
    best
}

/// Whether the cubic is sound and both distances are within the tolerance.
fn is_within(c: &CubicBez, points: &[Point], tolerance: f64) -> bool {
    let chord = c.p0.distance(c.p3);
    if (c.p1 - c.p0).hypot() > chord || (c.p3 - c.p2).hypot() > chord {
        return false;
    }
    let limit = tolerance * tolerance;
    if points.iter().any(|p| c.nearest(*p, 1e-4).distance_sq > limit) {
        return false;
    }
    let n = 4 * points.len();
    (0..=n).all(|k| {
        let q = c.eval(k as f64 / n as f64);
        points.windows(2).any(|s| to_segment(q, s[0], s[1]) <= tolerance)
    })
}

/// Least number of cubics for an open line without corners.
pub(super) fn least_count(points: &[Point], tolerance: f64) -> usize {
    let n = points.len();
    let mut best = vec![usize::MAX; n];
    best[0] = 0;
    for i in 0..n - 1 {
        let mut failures = 0;
        for j in i + 1..n {
            if best[j] <= best[i] + 1 {
                continue;
            }
            let part = &points[i..=j];
            if is_within(&free_cubic(part), part, tolerance) {
                best[j] = best[i] + 1;
                failures = 0;
            } else {
                failures += 1;
                // Longer spans are given up only after many failures in a row.
                if failures > 25 {
                    break;
                }
            }
        }
    }
    best[n - 1]
}
