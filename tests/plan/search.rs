//! An exhaustive search for the place with most room, to compare with.

use kurbo::{Point, Rect};
use merestone::plan::{HEIGHTS_MM, LARGE_GAP_MM, LEAST_GAP_MM, box_size};
use merestone::transitions::BoundaryNet;
use proptest::prelude::*;
use proptest::test_runner::TestCaseError;

use super::{Made, Seen};
use geo::{BoundingRect, Contains, Polygon};

/// Step of the first look, in mm; the best of it are looked at down to the last.
const STEPS_MM: [f64; 2] = [0.25, 0.01];
/// How many of the first look are followed.
const FOLLOWED: usize = 12;
/// The least share of the best room that a number has to have.
const SHARE: f64 = 0.95;

/// Distance from a box to a straight piece, by looking at where the piece lies over the box: the piece is cut at the lines
/// through the box's sides, and in each part the nearest point is an end or the foot below a corner.
fn room(middle: Point, [w, h]: [f64; 2], piece: &[Point; 2]) -> f64 {
    let b = Rect::from_center_size(middle, (w, h));
    let [from, to] = *piece;
    let mut cuts = vec![0.0, 1.0];
    for (start, way, sides) in [(from.x, to.x - from.x, [b.x0, b.x1]), (from.y, to.y - from.y, [b.y0, b.y1])]
    {
        cuts.extend(sides.map(|side| (side - start) / way).into_iter().filter(|t| (0.0..=1.0).contains(t)));
    }
    let along = (to - from).hypot2();
    for corner in [(b.x0, b.y0), (b.x1, b.y0), (b.x1, b.y1), (b.x0, b.y1)] {
        let t = (Point::from(corner) - from).dot(to - from) / along;
        cuts.extend((0.0..=1.0).contains(&t).then_some(t));
    }
    let off = |t: f64| {
        let p = from.lerp(to, t);
        (b.x0 - p.x).max(p.x - b.x1).max(0.0).hypot((b.y0 - p.y).max(p.y - b.y1).max(0.0))
    };
    cuts.into_iter().map(off).fold(f64::INFINITY, f64::min)
}

/// The most room that the box finds in an area, by looking everywhere; `pieces` are those of the area's border.
fn most_room(area: &Polygon<f64>, pieces: &[[Point; 2]], size: [f64; 2]) -> f64 {
    let bounds = area.bounding_rect().expect("an area has bounds");
    let look = |x: f64, y: f64| {
        if !area.contains(&geo::Point::new(x, y)) {
            return 0.0;
        }
        pieces.iter().map(|piece| room(Point::new(x, y), size, piece)).fold(f64::INFINITY, f64::min)
    };
    let [mut step, last] = STEPS_MM;
    let places = |from: f64, to: f64, half: f64| {
        let count = ((to - from - 2.0 * half) / step).max(-1.0).floor() as i64;
        (0..=count).map(move |k| from + half + k as f64 * step).chain([(from + to) / 2.0])
    };
    let mut found: Vec<(f64, f64, f64)> = Vec::new();
    for y in places(bounds.min().y, bounds.max().y, size[1] / 2.0) {
        for x in places(bounds.min().x, bounds.max().x, size[0] / 2.0) {
            found.push((look(x, y), x, y));
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(FOLLOWED);
    while step > last {
        step /= 2.0;
        for best in &mut found {
            let (_, x, y) = *best;
            for (dx, dy) in [
                (-1.0, 0.0),
                (1.0, 0.0),
                (0.0, -1.0),
                (0.0, 1.0),
                (-1.0, -1.0),
                (1.0, 1.0),
                (-1.0, 1.0),
                (1.0, -1.0),
            ] {
                let (x, y) = (x + dx * step, y + dy * step);
                let room = look(x, y);
                if room > best.0 {
                    *best = (room, x, y);
                }
            }
        }
    }
    found.iter().map(|f| f.0).fold(0.0, f64::max)
}

/// Straight pieces of an area's border.
fn border(area: &Polygon<f64>) -> Vec<[Point; 2]> {
    let rings = std::iter::once(area.exterior()).chain(area.interiors());
    rings
        .flat_map(geo::LineString::lines)
        .map(|l| [Point::new(l.start.x, l.start.y), Point::new(l.end.x, l.end.y)])
        .collect()
}

/// Every number that stands in its area has nearly as much room as any place there; where none stands there is none.
pub(super) fn rooms(net: &BoundaryNet, made: &Made) -> Result<(), TestCaseError> {
    let Made { plan, seen: Seen { areas, .. }, .. } = made;
    for (id, area) in areas.iter().enumerate().take(net.areas.len()) {
        let pieces = border(area);
        let own = plan.labels.iter().find(|l| l.area == Some(id) && !l.again);
        let at = |height: f64| most_room(area, &pieces, box_size(false, height));
        match own {
            Some(l) => {
                let best = at(l.height_mm);
                prop_assert!(l.clearance_mm >= SHARE * best, "{:?}, but there is {} mm", l, best);
                if l.height_mm < HEIGHTS_MM[0] {
                    let large = at(HEIGHTS_MM[0]);
                    prop_assert!(large < LARGE_GAP_MM * 1.01, "{:?}, but the larger has {} mm", l, large);
                }
            }
            None => {
                let best = at(HEIGHTS_MM[1]);
                prop_assert!(best < LEAST_GAP_MM * 1.01, "area {} has {} mm for a number and none", id, best);
            }
        }
    }
    Ok(())
}
