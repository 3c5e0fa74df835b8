//! Smoothing along a line: the pixel stairs and the texture's waver go, corners and ends stay.

use kurbo::Point;

/// A polyline resampled at even distances, with where its old points went.
pub(crate) struct Even {
    /// Points about `step` apart; a closed line does not repeat its first.
    pub(crate) points: Vec<Point>,
    /// Place of each old point along the line, in new points (a fraction between two).
    pub(crate) at: Vec<f64>,
}

/// Resamples a polyline at even distances of about `step`; ends stay.
pub(crate) fn even(points: &[Point], closed: bool, step: f64) -> Even {
    let mut along = Vec::with_capacity(points.len() + 1);
    let mut length = 0.0;
    along.push(0.0);
    for pair in points.windows(2) {
        length += pair[0].distance(pair[1]);
        along.push(length);
    }
    if closed {
        length += points[points.len() - 1].distance(points[0]);
        along.push(length);
    }
    let pieces = ((length / step).round() as usize).max(if closed { 6 } else { 1 });
    let spacing = (length / pieces as f64).max(1e-9);
    let count = if closed { pieces } else { pieces + 1 };
    let mut out = Vec::with_capacity(count);
    let mut i = 0;
    for k in 0..count {
        let s = k as f64 * spacing;
        while i + 2 < along.len() && along[i + 1] < s {
            i += 1;
        }
        let (a, b) = (points[i], points[(i + 1) % points.len()]);
        let t = ((s - along[i]) / (along[i + 1] - along[i]).max(1e-12)).clamp(0.0, 1.0);
        out.push(a.lerp(b, t));
    }
    if !closed {
        out[count - 1] = points[points.len() - 1];
    }
    Even { points: out, at: along.iter().take(points.len()).map(|s| s / spacing).collect() }
}

/// Smooths an evenly spaced line with a Gaussian, `sigmas` points wide at each point, twice over so that curves keep
/// their place: 2 G - G G shrinks a circle only in the fourth order of sigma / radius (Tukey's twicing).
///
/// Open lines are continued by point reflection at their ends, which therefore stay.
pub(crate) fn smooth(points: &[Point], closed: bool, sigmas: &[f64]) -> Vec<Point> {
    if points.len() < 4 {
        return points.to_vec();
    }
    // Waves longer than the line itself do not exist: no mean wider than a part of it.
    let most = points.len() as f64 / if closed { 6.0 } else { 3.0 };
    let once = gaussian(points, closed, sigmas, most);
    let twice = gaussian(&once, closed, sigmas, most);
    let mut out: Vec<Point> =
        once.iter().zip(&twice).map(|(a, b)| Point::new(2.0 * a.x - b.x, 2.0 * a.y - b.y)).collect();
    if !closed {
        let last = points.len() - 1;
        (out[0], out[last]) = (points[0], points[last]);
    }
    out
}

/// Gaussian mean of each point's neighbours along the line; under 0.3 points wide a point stays.
fn gaussian(points: &[Point], closed: bool, sigmas: &[f64], most: f64) -> Vec<Point> {
    let n = points.len() as isize;
    let at = |i: isize| -> Point {
        if closed {
            return points[i.rem_euclid(n) as usize];
        }
        let (first, last) = (points[0], points[(n - 1) as usize]);
        if i < 0 {
            let p = points[(-i).min(n - 1) as usize];
            Point::new(2.0 * first.x - p.x, 2.0 * first.y - p.y)
        } else if i >= n {
            let p = points[(2 * (n - 1) - i).max(0) as usize];
            Point::new(2.0 * last.x - p.x, 2.0 * last.y - p.y)
        } else {
            points[i as usize]
        }
    };
    let mut weights: Vec<f64> = Vec::new();
    let mut made_for = 0.0;
    (0..n)
        .zip(sigmas)
        .map(|(i, &sigma)| {
            let sigma = sigma.min(most);
            if sigma < 0.3 {
                return at(i);
            }
            let reach = (3.0 * sigma).ceil() as isize;
            if f64::total_cmp(&sigma, &made_for).is_ne() {
                weights = (-reach..=reach).map(|k| (-0.5 * (k as f64 / sigma).powi(2)).exp()).collect();
                let sum: f64 = weights.iter().sum();
                weights.iter_mut().for_each(|w| *w /= sum);
                made_for = sigma;
            }
            let (mut x, mut y) = (0.0, 0.0);
            for (k, w) in (-reach..=reach).zip(&weights) {
                let p = at(i + k);
                x += w * p.x;
                y += w * p.y;
            }
            Point::new(x, y)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    /// Small loops stay round and keep their size (closed form: a circle stays a circle).
    #[test]
    fn small_circles_keep_their_radius() {
        for (radius, sigma_mm) in [(1.0_f64, 0.3_f64), (2.0, 0.6), (5.0, 0.8)] {
            let n = (TAU * radius / 0.1).round() as usize;
            let circle: Vec<Point> = (0..n)
                .map(|i| Point::new(0.0, 0.0) + kurbo::Vec2::from_angle(TAU * i as f64 / n as f64) * radius)
                .collect();
            for p in smooth(&circle, true, &vec![sigma_mm / 0.1; n]) {
                let r = p.to_vec2().hypot();
                assert!((r - radius).abs() < 0.012 * radius, "radius {radius} became {r}");
            }
        }
    }

    #[test]
    fn straight_lines_and_ends_stay() {
        let line: Vec<Point> = (0..50).map(|i| Point::new(0.1 * f64::from(i), 0.05 * f64::from(i))).collect();
        for (a, b) in smooth(&line, false, &[8.0; 50]).iter().zip(&line) {
            assert!(a.distance(*b) < 1e-9, "{b:?} moved to {a:?}");
        }
    }

    #[test]
    fn even_spacing_keeps_ends_and_length() {
        let points = [Point::new(0.0, 0.0), Point::new(3.0, 0.0), Point::new(3.0, 4.0)];
        let got = even(&points, false, 0.5);
        assert_eq!((got.points[0], got.points[14]), (points[0], points[2]), "ends moved");
        assert!((got.at[1] - 6.0).abs() < 1e-9, "the corner lies six steps along: {}", got.at[1]);
    }
}
