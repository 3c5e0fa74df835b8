//! How far a line was moved on its way from the pixels' border to the cubics that are drawn.

use kurbo::{CubicBez, ParamCurve, Point};
use rstar::RTree;
use rstar::primitives::Line as Chord;

/// Places in which each cubic is measured.
const PER_CUBIC: usize = 24;

/// Largest distances between the steps from the pixels' border to a line, in mm.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moved {
    /// From the border of the areas' pixels to the line as placed on the tone.
    pub placed_mm: f64,
    /// From the line as placed to the line as smoothed, its ends brought to where it meets others.
    pub smoothed_mm: f64,
    /// From the line as smoothed to the fitted cubics.
    pub fitted_mm: f64,
}

impl Moved {
    /// The larger of each distance.
    #[must_use]
    pub fn or_farther(self, other: Self) -> Self {
        Self {
            placed_mm: self.placed_mm.max(other.placed_mm),
            smoothed_mm: self.smoothed_mm.max(other.smoothed_mm),
            fitted_mm: self.fitted_mm.max(other.fitted_mm),
        }
    }
}

/// Distances of one line: `crack` to `placed` point by point, the others from each point to the whole line before.
pub(super) fn moved(
    crack: &[Point],
    placed: &[Point],
    smoothed: &[Point],
    closed: bool,
    curve: &[CubicBez],
) -> Moved {
    let places = curve
        .iter()
        .flat_map(|c| (0..=PER_CUBIC).map(|k| c.eval(k as f64 / PER_CUBIC as f64)))
        .collect::<Vec<Point>>();
    Moved {
        placed_mm: crack.iter().zip(placed).map(|(a, b)| a.distance(*b)).fold(0.0, f64::max),
        smoothed_mm: farthest(smoothed, placed, closed),
        fitted_mm: farthest(&places, smoothed, closed),
    }
}

/// The farthest of some points from a polyline, in mm.
fn farthest(points: &[Point], line: &[Point], closed: bool) -> f64 {
    let next = |i: usize| line.get(i + 1).or(if closed { line.first() } else { None });
    let chords = (0..line.len())
        .filter_map(|i| next(i).map(|q| Chord::new([line[i].x, line[i].y], [q.x, q.y])))
        .collect();
    let tree = RTree::bulk_load(chords);
    let apart = |p: &Point| {
        tree.nearest_neighbor_iter_with_distance_2(&[p.x, p.y])
            .next()
            .map_or(0.0, |(_, d): (_, f64)| d.sqrt())
    };
    points.iter().map(apart).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A square of 10 mm moved by 0.3 mm across, then pulled in by 0.2 mm at one place, then drawn as it is.
    #[test]
    fn each_step_is_measured_for_itself() {
        let line = |y: f64| (0..=10).map(|x| Point::new(f64::from(x), y)).collect::<Vec<_>>();
        let (crack, placed, mut smoothed) = (line(0.0), line(0.3), line(0.3));
        smoothed[5].y = 0.5;
        let straight = |a: Point, b: Point| CubicBez::new(a, a.lerp(b, 1.0 / 3.0), a.lerp(b, 2.0 / 3.0), b);
        let curve = [straight(smoothed[0], smoothed[10])];
        let got = moved(&crack, &placed, &smoothed, false, &curve);
        assert!((got.placed_mm - 0.3).abs() < 1e-12, "placed {}", got.placed_mm);
        assert!((got.smoothed_mm - 0.2).abs() < 1e-12, "smoothed {}", got.smoothed_mm);
        // The middle of the straight line lies under the tooth's tip, whose flanks rise by 0.2 over 1 mm.
        let wanted = 0.2 / f64::hypot(1.0, 0.2);
        assert!((got.fitted_mm - wanted).abs() < 1e-9, "fitted {} for {wanted}", got.fitted_mm);
        let both = got.or_farther(Moved { placed_mm: 1.0, ..Moved::default() });
        assert!(both.placed_mm >= 1.0 && both.smoothed_mm >= 0.2 - 1e-12, "{both:?}");
    }

    #[test]
    fn a_closed_line_is_measured_over_its_last_chord_too() {
        let square = [(0.0, 0.0), (10.0, 0.0), (10.0, 10.0), (0.0, 10.0)].map(Point::from);
        assert!(farthest(&[Point::new(0.0, 5.0)], &square, true) < 1e-12, "on the last side");
        assert!(farthest(&[Point::new(0.0, 5.0)], &square, false) > 4.0, "that an open line has not");
    }
}
