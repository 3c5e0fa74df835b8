//! The widest place for a box inside an area: where it is farthest from every line.
//!
//! The clearance of a box changes by no more than the box is moved, so a square of middles holds nothing better than
//! its own middle's clearance and half its diagonal. Squares are halved, the most promising first, until nothing is left
//! that could be better by a share (branch and bound, Land & Doig 1960).

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use kurbo::{Point, Rect};
use rstar::{AABB, PointDistance, RTree, RTreeObject};

/// Most that the best place may be better than the one found, as a share of it.
const SLACK: f64 = 0.03;
/// Places looked at before a search is given up: corridors of even width have many places that are as good.
const MOST_LOOKS: usize = 200_000;
/// Smallest side of the squares begun with, as a share of the longer side.
const LEAST_START_SHARE: f64 = 1.0 / 32.0;

/// A straight piece of a line, as a box of a fixed size sees it from its middle.
struct Grown {
    ends: [Point; 2],
    half: [f64; 2],
}

impl RTreeObject for Grown {
    type Envelope = AABB<[f64; 2]>;

    fn envelope(&self) -> Self::Envelope {
        let [a, b] = self.ends;
        let [w, h] = self.half;
        AABB::from_corners([a.x.min(b.x) - w, a.y.min(b.y) - h], [a.x.max(b.x) + w, a.y.max(b.y) + h])
    }
}

impl PointDistance for Grown {
    fn distance_2(&self, middle: &[f64; 2]) -> f64 {
        let [w, h] = self.half;
        let [x, y] = *middle;
        box_to_segment(Rect::new(x - w, y - h, x + w, y + h), self.ends).powi(2)
    }
}

/// Lines as a box of one size sees them.
pub(super) struct Seen {
    tree: RTree<Grown>,
    half: [f64; 2],
}

impl Seen {
    /// Straight pieces seen by a box of a size in mm; a point when that is nothing.
    pub(super) fn new<'a>(pieces: impl Iterator<Item = &'a [Point; 2]>, size: [f64; 2]) -> Self {
        let half = size.map(|side| side / 2.0);
        Self { tree: RTree::bulk_load(pieces.map(|&ends| Grown { ends, half }).collect()), half }
    }

    /// Distance in mm from the box around a middle to the nearest line: 0 where it touches one.
    pub(super) fn clearance(&self, middle: Point) -> f64 {
        let nearest = self.tree.nearest_neighbor_iter_with_distance_2(&[middle.x, middle.y]).next();
        nearest.map_or(f64::INFINITY, |(_, squared)| squared.sqrt())
    }
}

/// Distance from a box to a straight piece; 0 where they touch.
///
/// Two convex shapes that are apart are nearest at a corner of one of them.
pub(super) fn box_to_segment(b: Rect, [from, to]: [Point; 2]) -> f64 {
    if segment_meets_box(b, [from, to]) {
        return 0.0;
    }
    let to_box = |p: Point| {
        let dx = (b.x0 - p.x).max(p.x - b.x1).max(0.0);
        let dy = (b.y0 - p.y).max(p.y - b.y1).max(0.0);
        dx.hypot(dy)
    };
    let corners = [(b.x0, b.y0), (b.x1, b.y0), (b.x1, b.y1), (b.x0, b.y1)];
    let ends = to_box(from).min(to_box(to));
    corners.into_iter().map(|c| point_to_segment(c.into(), [from, to])).fold(ends, f64::min)
}

/// Distance from a point to a straight piece.
pub(super) fn point_to_segment(p: Point, [from, to]: [Point; 2]) -> f64 {
    let along = to - from;
    let t = ((p - from).dot(along) / along.hypot2().max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
    p.distance(from + along * t)
}

/// Whether a straight piece touches a box: what is left of it between each pair of sides (Liang & Barsky 1984).
pub(super) fn segment_meets_box(b: Rect, [from, to]: [Point; 2]) -> bool {
    let (mut enters, mut leaves) = (0.0_f64, 1.0_f64);
    for (start, way, low, high) in [(from.x, to.x - from.x, b.x0, b.x1), (from.y, to.y - from.y, b.y0, b.y1)]
    {
        if way.abs() < 1e-12 {
            if start < low || start > high {
                return false;
            }
            continue;
        }
        let (first, second) = ((low - start) / way, (high - start) / way);
        enters = enters.max(first.min(second));
        leaves = leaves.min(first.max(second));
    }
    enters <= leaves
}

/// Whether points lie in an area: its rings in bands, so that few edges are looked at.
pub(super) struct Inside {
    top: f64,
    step: f64,
    bands: Vec<Vec<[Point; 2]>>,
    /// The smallest box that holds the area.
    pub(super) bounds: Rect,
}

/// Height of a band in mm.
const BAND_MM: f64 = 0.5;

impl Inside {
    /// The area within rings (the last point of each is joined to its first).
    pub(super) fn new(rings: &[Vec<Point>]) -> Self {
        let first = rings.iter().flatten().next().copied().unwrap_or_default();
        let bounds = rings.iter().flatten().fold(Rect::from_points(first, first), |b, &p| b.union_pt(p));
        let count = (bounds.height() / BAND_MM).ceil().max(1.0);
        let step = (bounds.height() / count).max(f64::MIN_POSITIVE);
        let mut bands = vec![Vec::new(); count as usize];
        for ring in rings {
            for (k, &a) in ring.iter().enumerate() {
                let b = ring[(k + 1) % ring.len()];
                let band = |y: f64| (((y - bounds.y0) / step) as usize).min(bands.len() - 1);
                let held = band(a.y.min(b.y))..=band(a.y.max(b.y));
                bands[held].iter_mut().for_each(|edges| edges.push([a, b]));
            }
        }
        Self { top: bounds.y0, step, bands, bounds }
    }

    /// Whether the area holds a point: a ray to the right leaves it an odd number of times.
    pub(super) fn holds(&self, p: Point) -> bool {
        if p.y < self.top {
            return false;
        }
        let Some(band) = self.bands.get(((p.y - self.top) / self.step) as usize) else { return false };
        let passed = band.iter().filter(|[a, b]| {
            (a.y > p.y) != (b.y > p.y) && p.x < a.x + (p.y - a.y) / (b.y - a.y) * (b.x - a.x)
        });
        passed.count() % 2 == 1
    }
}

/// Where a box lies best.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Place {
    /// Its middle.
    pub(super) middle: Point,
    /// Its distance from the nearest line in mm.
    pub(super) clearance_mm: f64,
}

/// A square of middles.
struct Cell {
    middle: Point,
    half: f64,
    /// No box with its middle in the square has more room than this.
    bound: f64,
}

impl PartialEq for Cell {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Cell {}

impl PartialOrd for Cell {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Cell {
    /// The most promising is the greatest; of equals the upper, then the left one.
    fn cmp(&self, other: &Self) -> Ordering {
        self.bound
            .total_cmp(&other.bound)
            .then(other.middle.y.total_cmp(&self.middle.y))
            .then(other.middle.x.total_cmp(&self.middle.x))
    }
}

/// The widest place for the box in an area, when it has at least `least_mm` of room there.
///
/// `seen` has to hold the area's whole border; then a box whose middle lies in the area and that touches no line lies
/// in the area. The best place has at most 3 % more room.
pub(super) fn widest(inside: &Inside, seen: &Seen, least_mm: f64) -> Option<Place> {
    widest_away(inside, seen, least_mm, &[], 0.0)
}

/// The same farther than `away_mm` from some points: what lies beyond that distance counts as room too.
pub(super) fn widest_away(
    inside: &Inside,
    seen: &Seen,
    least_mm: f64,
    from: &[Point],
    away_mm: f64,
) -> Option<Place> {
    let [w, h] = seen.half;
    let b = &inside.bounds;
    let room = [b.width() - 2.0 * w, b.height() - 2.0 * h];
    if room[0] < 0.0 || room[1] < 0.0 {
        return None;
    }
    let longest = room[0].max(room[1]).max(f64::MIN_POSITIVE);
    let half = room[0].min(room[1]).max(longest * LEAST_START_SHARE) / 2.0;
    // The smaller of two distances changes by no more than the box is moved, either.
    let beyond =
        |middle: Point| from.iter().map(|p| p.distance(middle) - away_mm).fold(f64::INFINITY, f64::min);
    let look = |middle: Point| {
        let far = beyond(middle);
        if far <= 0.0 || !inside.holds(middle) { far.min(0.0) } else { seen.clearance(middle).min(far) }
    };
    let mut best: Option<Place> = None;
    let mut cells = BinaryHeap::new();
    let mut looks = 0;
    let mut take = |middle: Point, half: f64, cells: &mut BinaryHeap<Cell>, best: &mut Option<Place>| {
        let clearance_mm = look(middle);
        looks += 1;
        if clearance_mm >= least_mm && best.is_none_or(|b| clearance_mm > b.clearance_mm) {
            *best = Some(Place { middle, clearance_mm });
        }
        let bound = clearance_mm + half * std::f64::consts::SQRT_2;
        let needed = best.map_or(least_mm, |b| b.clearance_mm * (1.0 + SLACK));
        if bound > needed {
            cells.push(Cell { middle, half, bound });
        }
        looks
    };
    let count = room.map(|side| (side / (2.0 * half)).ceil().max(1.0) as usize);
    for row in 0..count[1] {
        for column in 0..count[0] {
            let at = |k: usize| (2.0 * k as f64 + 1.0) * half;
            let middle = Point::new(b.x0 + w + at(column), b.y0 + h + at(row));
            take(middle, half, &mut cells, &mut best);
        }
    }
    while let Some(cell) = cells.pop() {
        let needed = best.map_or(least_mm, |b| b.clearance_mm * (1.0 + SLACK));
        if cell.bound <= needed {
            break;
        }
        let half = cell.half / 2.0;
        let mut looked = 0;
        for (x, y) in [(-half, -half), (half, -half), (-half, half), (half, half)] {
            looked = take(Point::new(cell.middle.x + x, cell.middle.y + y), half, &mut cells, &mut best);
        }
        if looked > MOST_LOOKS {
            break;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(points: &[(f64, f64)]) -> Vec<Point> {
        points.iter().map(|&p| p.into()).collect()
    }

    fn pieces(rings: &[Vec<Point>]) -> Vec<[Point; 2]> {
        rings.iter().flat_map(|r| (0..r.len()).map(move |k| [r[k], r[(k + 1) % r.len()]])).collect()
    }

    #[test]
    fn in_a_rectangle_the_middle_is_widest() {
        // Closed form: a box of 2 x 3 in a rectangle of 20 x 10 has (10 - 3) / 2 of room, anywhere along its middle.
        let rings = [ring(&[(0.0, 0.0), (0.0, 10.0), (20.0, 10.0), (20.0, 0.0)])];
        let seen = Seen::new(pieces(&rings).iter(), [2.0, 3.0]);
        let place = widest(&Inside::new(&rings), &seen, 0.3).expect("there is room");
        assert!(place.clearance_mm <= 3.5 + 1e-9 && place.clearance_mm > 3.5 / 1.03, "{place:?}");
        assert!(widest(&Inside::new(&rings), &seen, 3.6).is_none(), "no place has 3.6 mm of room");
    }

    #[test]
    fn in_a_triangle_the_room_is_that_of_the_closed_form() {
        // Right triangle with legs of 12: a box a x b keeps d from all sides when 12 = a + b + 2 d + d sqrt 2 along
        // the legs (its corner is nearest to the hypotenuse).
        let rings = [ring(&[(0.0, 0.0), (0.0, 12.0), (12.0, 0.0)])];
        let seen = Seen::new(pieces(&rings).iter(), [2.0, 3.0]);
        let room = (12.0 - 5.0) / (2.0 + std::f64::consts::SQRT_2);
        let place = widest(&Inside::new(&rings), &seen, 0.3).expect("there is room");
        assert!(place.clearance_mm <= room + 1e-9 && place.clearance_mm > room / 1.03, "{place:?}, {room}");
    }

    #[test]
    fn holes_are_kept_out_of() {
        let rings = [
            ring(&[(0.0, 0.0), (0.0, 10.0), (10.0, 10.0), (10.0, 0.0)]),
            ring(&[(3.0, 3.0), (10.0 - 0.2, 3.0), (10.0 - 0.2, 9.8), (3.0, 9.8)]),
        ];
        let seen = Seen::new(pieces(&rings).iter(), [1.5, 2.0]);
        let place = widest(&Inside::new(&rings), &seen, 0.3).expect("there is room");
        assert!(place.middle.x < 3.0 || place.middle.y < 3.0, "{place:?} is in the hole");
        assert!(widest(&Inside::new(&rings), &Seen::new(pieces(&rings).iter(), [3.5, 3.5]), 0.1).is_none());
    }

    #[test]
    fn distances_between_boxes_and_pieces() {
        let b = Rect::new(0.0, 0.0, 4.0, 2.0);
        for (from, to, wanted) in [
            ((-3.0, 1.0), (8.0, 1.0), 0.0),
            ((1.0, 1.0), (2.0, 1.5), 0.0),
            ((-3.0, 5.0), (8.0, 5.0), 3.0),
            ((7.0, 6.0), (9.0, 9.0), 5.0),
            // A slope past the corner (4, 2): the line x + y = 8 is sqrt 2 off.
            ((8.0, 0.0), (0.0, 8.0), std::f64::consts::SQRT_2),
        ] {
            let got = box_to_segment(b, [from.into(), to.into()]);
            assert!((got - wanted).abs() < 1e-9, "{from:?} to {to:?}: {got}");
        }
    }
}
