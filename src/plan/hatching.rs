//! Patches of true line hatching that reflect as much as a value does: printed greys cannot be trusted.
//!
//! Ink covers a share of the paper, and what is left reflects (Murray & Davies 1936, of black that reflects nothing). One
//! set of parallel lines of width w at a pitch p covers w/p; n sets that cross at random leave (1 - w/p)^n bare (Demichel
//! 1924). Lines have a whole number of periods in a patch both ways, so its mean is that of endless hatching.

use kurbo::{BezPath, Point, Rect, Vec2};
use std::collections::BTreeMap;
use std::f64::consts::FRAC_1_SQRT_2;

use crate::sheet::clipped;

/// Most ink of one set alone, and of two that cross, before another set is taken (common practice, no source).
const MOST_OPEN: f64 = 0.40;
const MOST_CROSSED: f64 = 0.70;
/// Periods along the sides of a patch that are tried, in mm; sides are whole multiples of [`SIDE_MM`].
const PERIODS_MM: [f64; 3] = [1.0, 1.5, 3.0];
/// Sides of patches are whole multiples of this, in mm.
pub const SIDE_MM: f64 = 3.0;
/// Thinnest line of a patch in mm: thinner ones break up in print.
const LEAST_LINE_MM: f64 = 0.18;

/// Sets of parallel lines that hatching of so much ink takes: 1 to 3.
#[must_use]
pub fn sets(coverage: f64) -> u8 {
    match coverage {
        c if c <= MOST_OPEN => 1,
        c if c <= MOST_CROSSED => 2,
        _ => 3,
    }
}

/// Width of a line as a share of its pitch, when so many sets are to cover a share of the paper.
#[must_use]
pub fn line_share(coverage: f64, sets: u8) -> f64 {
    1.0 - (1.0 - coverage.clamp(0.0, 1.0)).powf(1.0 / f64::from(sets))
}

/// The ink of a patch that covers a share of it: nothing at 0, all of it at 1, lines between.
///
/// Its sides have to be whole multiples of [`SIDE_MM`], or its mean is only near what was asked for.
#[must_use]
pub fn patch(rect: Rect, coverage: f64) -> BezPath {
    let mut ink = BezPath::new();
    if coverage >= 1.0 {
        polygon(&mut ink, &corners(rect));
    } else if coverage > 0.0 {
        let sets = sets(coverage);
        let share = line_share(coverage, sets);
        let period = period_mm(share);
        // Both ways across, then along; that one as close as the others, to a whole number of lines.
        let along = (rect.height() / (period * FRAC_1_SQRT_2)).round().max(1.0);
        let ways = [
            (Vec2::new(1.0, 1.0), period),
            (Vec2::new(1.0, -1.0), period),
            (Vec2::new(0.0, 1.0), rect.height() / along),
        ];
        for (normal, period) in ways.into_iter().take(usize::from(sets)) {
            lines(&mut ink, rect, normal, period, share);
        }
    }
    ink
}

/// Hatching that covers a share of a shape of any outline, under 1; the rings are closed, and inside is what an odd number of them
/// goes around.
///
/// Lines are those of [`patch`], placed from the origin, so that shapes beside each other share them; each ends where its middle
/// leaves the shape.
#[must_use]
pub fn hatched(rings: &[Vec<Point>], coverage: f64) -> BezPath {
    let mut ink = BezPath::new();
    if coverage <= 0.0 {
        return ink;
    }
    let sets = sets(coverage);
    let share = line_share(coverage, sets);
    let period = period_mm(share) * FRAC_1_SQRT_2;
    let ways =
        [Vec2::new(1.0, 1.0) * FRAC_1_SQRT_2, Vec2::new(1.0, -1.0) * FRAC_1_SQRT_2, Vec2::new(0.0, 1.0)];
    for normal in ways.into_iter().take(usize::from(sets)) {
        let along = Vec2::new(-normal.y, normal.x);
        let place = |p: Point| p.to_vec2().dot(normal) / period;
        // Crossings of each line, by its number.
        let mut crossings: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
        for ring in rings {
            for (k, &a) in ring.iter().enumerate() {
                let b = ring[(k + 1) % ring.len()];
                let (from, to) = (place(a), place(b));
                for line in from.min(to).ceil() as i64..=from.max(to).floor() as i64 {
                    let at = line as f64;
                    // Half open, so that a corner on a line counts once.
                    if (from <= at) != (to <= at) {
                        let p = a.lerp(b, (at - from) / (to - from));
                        crossings.entry(line).or_default().push(p.to_vec2().dot(along));
                    }
                }
            }
        }
        let half = normal * (share * period / 2.0);
        for (line, mut ends) in crossings {
            ends.sort_by(f64::total_cmp);
            let middle = (normal * (line as f64 * period)).to_point();
            for pair in ends.chunks_exact(2) {
                let [a, b] = [pair[0], pair[1]].map(|s| middle + along * s);
                polygon(&mut ink, &[a - half, b - half, b + half, a + half]);
            }
        }
    }
    ink
}

/// The least of [`PERIODS_MM`] whose lines, of a share of it, are wide enough to print.
fn period_mm(share: f64) -> f64 {
    let wide_enough = |&&period: &&f64| share * period * FRAC_1_SQRT_2 >= LEAST_LINE_MM;
    *PERIODS_MM.iter().find(wide_enough).unwrap_or(&PERIODS_MM[PERIODS_MM.len() - 1])
}

/// Lines where `normal` times the place, modulo the period, is less than a share of it.
fn lines(ink: &mut BezPath, rect: Rect, normal: Vec2, period: f64, share: f64) {
    let along = |p: Point| (p - rect.origin()).dot(normal);
    let places = corners(rect).map(along);
    let (low, high) = places.iter().fold((f64::MAX, f64::MIN), |(low, high), &s| (low.min(s), high.max(s)));
    let first = (low / period).floor() as i64;
    let last = (high / period).ceil() as i64;
    for k in first..=last {
        // Half a gap at both ends, so that a single set begins and ends alike.
        let from = (k as f64 + (1.0 - share) / 2.0) * period;
        let kept = clipped(&corners(rect), |p| along(p) - from);
        let kept = clipped(&kept, |p| from + share * period - along(p));
        polygon(ink, &kept);
    }
}

fn corners(r: Rect) -> [Point; 4] {
    [Point::new(r.x0, r.y0), Point::new(r.x1, r.y0), Point::new(r.x1, r.y1), Point::new(r.x0, r.y1)]
}

fn polygon(path: &mut BezPath, points: &[Point]) {
    if points.len() < 3 {
        return;
    }
    path.move_to(points[0]);
    points[1..].iter().for_each(|&p| path.line_to(p));
    path.close_path();
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::Shape;

    /// Share of a patch that its ink covers, counted over points.
    fn covered(rect: Rect, ink: &BezPath) -> f64 {
        // The number of points shares no factor with any number of lines.
        const COUNT: usize = 997;
        let at = |k: usize, side: f64| (k as f64 + 0.5) / COUNT as f64 * side;
        let polygons: Vec<(Rect, BezPath)> = ink
            .elements()
            .split_inclusive(|e| matches!(e, kurbo::PathEl::ClosePath))
            .map(|part| BezPath::from_vec(part.to_vec()))
            .map(|p| (p.bounding_box(), p))
            .collect();
        let mut inked = vec![false; COUNT * COUNT];
        for (bounds, polygon) in &polygons {
            let index = |low: f64, from: f64, side: f64| {
                (((low - from) / side * COUNT as f64).floor().max(0.0) as usize).min(COUNT - 1)
            };
            for row in index(bounds.y0, rect.y0, rect.height())..=index(bounds.y1, rect.y0, rect.height()) {
                let y = rect.y0 + at(row, rect.height());
                // Convex: between its two crossings of the row.
                let mut xs = Vec::new();
                for s in polygon.segments() {
                    if let kurbo::PathSeg::Line(l) = s
                        && (l.p0.y > y) != (l.p1.y > y)
                    {
                        xs.push(l.p0.x + (y - l.p0.y) / (l.p1.y - l.p0.y) * (l.p1.x - l.p0.x));
                    }
                }
                xs.sort_by(f64::total_cmp);
                if let [from, to] = xs[..] {
                    for (column, inked) in inked[row * COUNT..(row + 1) * COUNT].iter_mut().enumerate() {
                        let x = rect.x0 + at(column, rect.width());
                        *inked |= x > from && x < to;
                    }
                }
            }
        }
        inked.iter().filter(|&&i| i).count() as f64 / inked.len() as f64
    }

    #[test]
    fn patches_are_as_dark_as_asked_for() {
        for (width, height) in [(9.0, 6.0), (12.0, 6.0), (18.0, 12.0), (18.0, 18.0), (12.0, 12.0)] {
            let rect = Rect::new(20.0, 30.0, 20.0 + width, 30.0 + height);
            for k in 0..=24 {
                let coverage = f64::from(k) / 24.0;
                let got = covered(rect, &patch(rect, coverage));
                assert!((got - coverage).abs() < 0.005, "{width} x {height} mm: {got} for {coverage}");
            }
        }
    }

    #[test]
    fn sets_cross_as_the_formula_says() {
        // Demichel: two sets of a half each leave a quarter bare, three leave an eighth.
        for (sets, coverage) in [(1, 0.5), (2, 0.75), (3, 0.875)] {
            assert!((line_share(coverage, sets) - 0.5).abs() < 1e-12, "{sets} sets of a half");
        }
        assert_eq!([0.1, 0.4, 0.5, 0.7, 0.9].map(sets), [1, 1, 2, 2, 3], "more ink takes more sets");
    }

    #[test]
    fn lines_are_never_too_thin_to_print_where_that_can_be() {
        let thinnest = |coverage: f64| {
            let ink = patch(Rect::new(0.0, 0.0, 18.0, 12.0), coverage);
            // Area of the longest line over its length.
            ink.elements()
                .split_inclusive(|e| matches!(e, kurbo::PathEl::ClosePath))
                .map(|part| BezPath::from_vec(part.to_vec()))
                .map(|p| (p.area().abs() / (p.perimeter(1e-6) / 2.0), p.area().abs()))
                .max_by(|a, b| a.1.total_cmp(&b.1))
                .map_or(0.0, |(width, _)| width)
        };
        for coverage in [0.1, 0.2, 0.35, 0.45, 0.65, 0.75, 0.9] {
            assert!(thinnest(coverage) > 0.17, "{coverage}: lines of {} mm", thinnest(coverage));
        }
    }
}
