//! Lines and shapes divided by the working squares: how much of them lies in each.

use std::collections::BTreeMap;

use kurbo::Point;

use super::Squares;

/// Column and row of a square, counted from 0.
pub type Cell = [usize; 2];

impl Squares {
    /// How much of a chain of straight pieces lies in each square, in mm; points are in mm on the picture. What lies
    /// beside the picture counts with the nearest square.
    #[must_use]
    pub fn lengths(&self, line: &[Point]) -> BTreeMap<Cell, f64> {
        let mut lengths = BTreeMap::new();
        for (a, b) in line.iter().zip(line.iter().skip(1)) {
            let mut cuts = vec![0.0, 1.0];
            for (from, to, count) in [(a.x, b.x, self.columns), (a.y, b.y, self.rows)] {
                let lines = (1..count).map(|k| (k as f64 * self.side_mm - from) / (to - from));
                cuts.extend(lines.filter(|t| *t > 0.0 && *t < 1.0));
            }
            cuts.sort_by(f64::total_cmp);
            for t in cuts.windows(2).filter(|t| t[1] > t[0]) {
                let cell = self.cell(a.lerp(*b, (t[0] + t[1]) / 2.0));
                *lengths.entry(cell).or_insert(0.0) += a.distance(*b) * (t[1] - t[0]);
            }
        }
        lengths
    }

    /// How much of a shape lies in each square, in mm2: `rings` go around it one way and around its holes the other, in
    /// mm on the picture, each from its last point back to its first. Squares that it does not reach are left out.
    #[must_use]
    pub fn sizes<'a>(&self, rings: impl IntoIterator<Item = &'a Vec<Point>>) -> BTreeMap<Cell, f64> {
        let mut sizes: BTreeMap<Cell, f64> = BTreeMap::new();
        for ring in rings {
            let span = |of: fn(&Point) -> f64, points: &[Point]| {
                points.iter().map(of).fold((f64::MAX, f64::MIN), |(low, high), s| (low.min(s), high.max(s)))
            };
            for (column, strip) in self.strips(ring, span(|p| p.x, ring), self.columns, |p| p.x) {
                for (row, part) in self.strips(&strip, span(|p| p.y, &strip), self.rows, |p| p.y) {
                    *sizes.entry([column, row]).or_insert(0.0) += signed_size(&part);
                }
            }
        }
        sizes.values_mut().for_each(|size| *size = size.abs());
        sizes.retain(|_, size| *size > 0.0);
        sizes
    }

    /// A ring cut into strips as wide as the squares; the outermost have no end.
    fn strips(
        &self,
        ring: &[Point],
        (low, high): (f64, f64),
        count: usize,
        of: fn(&Point) -> f64,
    ) -> Vec<(usize, Vec<Point>)> {
        if ring.is_empty() {
            return Vec::new();
        }
        let place = |s: f64| ((s / self.side_mm).max(0.0) as usize).min(count - 1);
        let strip = |k: usize| {
            let (from, to) = (k as f64 * self.side_mm, (k + 1) as f64 * self.side_mm);
            let kept = if k == 0 { ring.to_vec() } else { clipped(ring, |p| of(&p) - from) };
            (k, if k + 1 == count { kept } else { clipped(&kept, |p| to - of(&p)) })
        };
        (place(low)..=place(high)).map(strip).filter(|(_, part)| part.len() > 2).collect()
    }
}

/// The part of a polygon on which a linear function is not negative (Sutherland & Hodgman 1974). Parts of one that is not
/// convex hang together by pieces of no width, so its size is right all the same.
pub(crate) fn clipped(points: &[Point], keeps: impl Fn(Point) -> f64) -> Vec<Point> {
    let mut kept = Vec::new();
    for (k, &a) in points.iter().enumerate() {
        let b = points[(k + 1) % points.len()];
        let (at_a, at_b) = (keeps(a), keeps(b));
        if at_a >= 0.0 {
            kept.push(a);
        }
        if (at_a >= 0.0) != (at_b >= 0.0) {
            kept.push(a.lerp(b, at_a / (at_a - at_b)));
        }
    }
    kept
}

/// The size of a polygon, positive when it is walked with the clock as seen on the sheet (Gauss's formula).
fn signed_size(points: &[Point]) -> f64 {
    let turned = |k: usize| points[k].to_vec2().cross(points[(k + 1) % points.len()].to_vec2());
    (0..points.len()).map(turned).sum::<f64>() / 2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SQUARES: Squares = Squares { side_mm: 25.0, columns: 3, rows: 2 };

    fn ring(points: &[(f64, f64)]) -> Vec<Point> {
        points.iter().copied().map(Point::from).collect()
    }

    #[test]
    fn worked_examples() {
        // A line along the diagonal of the first square, on into the one below its right neighbour.
        let lengths = SQUARES.lengths(&ring(&[(0.0, 0.0), (30.0, 30.0)]));
        let diagonal = 2.0_f64.sqrt();
        assert_eq!(lengths.keys().copied().collect::<Vec<_>>(), [[0, 0], [1, 1]], "two squares");
        assert!((lengths[&[0, 0]] - 25.0 * diagonal).abs() < 1e-9, "{lengths:?}");
        assert!((lengths[&[1, 1]] - 5.0 * diagonal).abs() < 1e-9, "{lengths:?}");
        // A U of 70 x 30 mm with a slot of 50 x 20 mm from above: in the first square 25 x 25 - 15 x 20.
        let outline = [
            (0.0, 0.0),
            (10.0, 0.0),
            (10.0, 20.0),
            (60.0, 20.0),
            (60.0, 0.0),
            (70.0, 0.0),
            (70.0, 30.0),
            (0.0, 30.0),
        ];
        let sizes = SQUARES.sizes([&ring(&outline)]);
        let wanted = [
            ([0, 0], 325.0),
            ([0, 1], 125.0),
            ([1, 0], 125.0),
            ([1, 1], 125.0),
            ([2, 0], 300.0),
            ([2, 1], 100.0),
        ];
        for (cell, size) in wanted {
            assert!((sizes[&cell] - size).abs() < 1e-9, "{cell:?}: {} for {size}", sizes[&cell]);
        }
    }

    #[test]
    fn holes_are_left_out() {
        let outer = ring(&[(5.0, 5.0), (5.0, 45.0), (70.0, 45.0), (70.0, 5.0)]);
        let hole = ring(&[(20.0, 20.0), (40.0, 20.0), (40.0, 30.0), (20.0, 30.0)]);
        let sizes = SQUARES.sizes([&outer, &hole]);
        assert!((sizes[&[0, 0]] - (400.0 - 25.0)).abs() < 1e-9, "20 x 20 less 5 x 5: {sizes:?}");
        assert!((sizes.values().sum::<f64>() - (65.0 * 40.0 - 200.0)).abs() < 1e-9, "nothing is lost");
    }

    proptest! {
        #[test]
        fn parts_make_up_the_whole(radii in prop::collection::vec(3.0..40.0, 3..40), x in 20.0..60.0, y in 10.0..40.0) {
            // A star around a point, beyond the picture too.
            let corner = |(k, r): (usize, &f64)| {
                let angle = std::f64::consts::TAU * k as f64 / radii.len() as f64;
                Point::new(x, y) + *r * kurbo::Vec2::from_angle(angle)
            };
            let star: Vec<Point> = radii.iter().enumerate().map(corner).collect();
            let whole = signed_size(&star).abs();
            let sizes = SQUARES.sizes([&star]);
            prop_assert!((sizes.values().sum::<f64>() - whole).abs() < 1e-6, "{sizes:?} of {whole}");
            let length: f64 = star.windows(2).map(|p| p[0].distance(p[1])).sum();
            prop_assert!((SQUARES.lengths(&star).values().sum::<f64>() - length).abs() < 1e-6);
        }
    }
}
