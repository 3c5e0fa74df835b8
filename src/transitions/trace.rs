//! From the pixel map of areas to arcs: the cracks between unlike pixels, each walked once.

use kurbo::Point;
use rayon::prelude::*;

use crate::raster::Raster;

/// Where an arc ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum ArcEnd {
    /// At a junction (its number).
    Junction(usize),
    /// On the picture's edge.
    Frame,
    /// Nowhere: the arc closes on itself.
    Closed,
}

/// The border of two areas of the finest net from junction to junction, as it runs between the pixels.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Arc {
    /// Ends: where it begins and where it stops.
    pub(super) ends: [ArcEnd; 2],
    /// Area on the left and right, walking along, seen on the sheet.
    pub(super) sides: [u32; 2],
    /// Middles of the crack edges in pixels, between the end points (junction or frame) where it has ends.
    pub(super) points: Vec<Point>,
}

/// Arcs and junctions of a map of areas.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Tracing {
    /// Each border once.
    pub(super) arcs: Vec<Arc>,
    /// Where three or more areas meet, in pixels.
    pub(super) junctions: Vec<Point>,
}

/// Steps right, down, left, up.
const STEPS: [(isize, isize); 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];

/// The grid of pixel corners over a map of areas.
struct Cracks<'a> {
    ids: &'a Raster<u32>,
    w: isize,
    h: isize,
}

impl Cracks<'_> {
    /// Areas on the left and right of the crack edge that leaves corner (x, y) in a direction, if there is one.
    fn edge(&self, x: isize, y: isize, direction: usize) -> Option<[u32; 2]> {
        // Pixel on the left and right of each direction, from the corner.
        let [l, r] = match direction {
            0 => [(x, y - 1), (x, y)],
            1 => [(x, y), (x - 1, y)],
            2 => [(x - 1, y), (x - 1, y - 1)],
            _ => [(x - 1, y - 1), (x, y - 1)],
        };
        let inside = |(px, py): (isize, isize)| px >= 0 && py >= 0 && px < self.w && py < self.h;
        if !inside(l) || !inside(r) {
            return None;
        }
        let at = |(px, py): (isize, isize)| self.ids.at(px as usize, py as usize);
        (at(l) != at(r)).then(|| [at(l), at(r)])
    }

    /// Directions in which crack edges leave a corner.
    fn leaving(&self, x: isize, y: isize) -> impl Iterator<Item = usize> {
        (0..4).filter(move |&d| self.edge(x, y, d).is_some())
    }

    /// The corners between pixels that are not all of one area, row by row.
    fn corners(&self) -> Vec<(isize, isize)> {
        let (w, h) = (self.ids.width(), self.ids.height());
        let rows: Vec<Vec<(isize, isize)>> = (0..=h)
            .into_par_iter()
            .map(|y| {
                let (up, down) = (self.ids.row(y.saturating_sub(1)), self.ids.row(y.min(h - 1)));
                let here = |x: usize| (x as isize, y as isize);
                let along =
                    |x: &usize| up[*x - 1] != up[*x] || down[*x - 1] != down[*x] || up[*x] != down[*x];
                let first = (up[0] != down[0]).then(|| here(0));
                let last = (up[w - 1] != down[w - 1]).then(|| here(w));
                first.into_iter().chain((1..w).filter(along).map(here)).chain(last).collect()
            })
            .collect();
        rows.concat()
    }

    fn on_frame(&self, x: isize, y: isize) -> bool {
        x == 0 || y == 0 || x == self.w || y == self.h
    }

    /// Whether three or more areas meet at a corner (two that touch there at a point pass each other).
    fn is_junction(&self, x: isize, y: isize) -> bool {
        if self.on_frame(x, y) {
            return false;
        }
        match self.leaving(x, y).count() {
            0..=2 => false,
            3 => true,
            _ => {
                let at = |dx, dy| self.ids.at((x + dx) as usize, (y + dy) as usize);
                at(-1, -1) != at(0, 0) && at(0, -1) != at(-1, 0)
            }
        }
    }

    /// Direction in which a walk that arrives at a corner goes on: the one crack edge with the same areas on its
    /// sides. Where four edges meet at a point between two areas that touch, the walk turns so that it stays
    /// with the area that goes through.
    fn next(&self, x: isize, y: isize, arrived: usize) -> usize {
        let back = (arrived + 2) % 4;
        let mut on = self.leaving(x, y).filter(|&d| d != back);
        let first = on.next().unwrap_or(back);
        if on.next().is_none() {
            return first;
        }
        // Four edges, two diagonal pixels of one area: that area goes through, so the walk turns round the
        // corner of one of the other two.
        let at = |dx: isize, dy: isize| self.ids.at((x + dx) as usize, (y + dy) as usize);
        let falling = at(-1, -1) == at(0, 0);
        // Corner pixels: falling diagonal joined -> edges up+right enclose (0,-1), down+left enclose (-1,0).
        match (back, falling) {
            (3, true) => 0,
            (0, true) => 3,
            (1, true) => 2,
            (2, true) => 1,
            (3, false) => 2,
            (2, false) => 3,
            (0, false) => 1,
            _ => 0,
        }
    }
}

/// Walks every crack of the map once.
#[must_use]
pub(super) fn trace(ids: &Raster<u32>) -> Tracing {
    let cracks = Cracks { ids, w: ids.width() as isize, h: ids.height() as isize };
    let stride = ids.width() + 1;
    // Two bits a corner: its crack edge to the right and the one down have been walked.
    let mut walked = vec![0_u8; stride * (ids.height() + 1)];
    let mark = |walked: &mut [u8], x: isize, y: isize, d: usize| -> bool {
        let (cx, cy, bit) = match d {
            0 => (x, y, 1),
            1 => (x, y, 2),
            2 => (x - 1, y, 1),
            _ => (x, y - 1, 2),
        };
        let cell = &mut walked[cy as usize * stride + cx as usize];
        let seen = *cell & bit != 0;
        *cell |= bit;
        seen
    };
    let mut out = Tracing::default();
    let mut number = std::collections::BTreeMap::new();
    let corners = cracks.corners();
    for &(x, y) in corners.iter().filter(|&&(x, y)| cracks.is_junction(x, y)) {
        number.insert((y, x), out.junctions.len());
        out.junctions.push(Point::new(x as f64, y as f64));
    }
    let end_at = |x: isize, y: isize| {
        if cracks.on_frame(x, y) {
            Some(ArcEnd::Frame)
        } else {
            number.get(&(y, x)).map(|&n| ArcEnd::Junction(n))
        }
    };
    // From every junction and every place on the frame first; what is left closes on itself.
    for closed in [false, true] {
        for &(x, y) in &corners {
            let end = end_at(x, y);
            if end.is_some() == closed {
                continue;
            }
            for d in 0..4 {
                let Some(sides) = cracks.edge(x, y, d) else { continue };
                if (closed && d > 1) || mark(&mut walked, x, y, d) {
                    continue;
                }
                let start = Point::new(x as f64, y as f64);
                let mark = |x, y, d| mark(&mut walked, x, y, d);
                out.arcs.push(walk(&cracks, (x, y, d), end, sides, start, mark, &end_at));
            }
        }
    }
    out
}

/// Walks one arc from a corner in a direction.
fn walk(
    cracks: &Cracks<'_>,
    from: (isize, isize, usize),
    end: Option<ArcEnd>,
    sides: [u32; 2],
    start: Point,
    mut mark: impl FnMut(isize, isize, usize) -> bool,
    end_at: &impl Fn(isize, isize) -> Option<ArcEnd>,
) -> Arc {
    let (mut x, mut y, mut d) = from;
    let mut points = Vec::new();
    if end.is_some() {
        points.push(start);
    }
    loop {
        let (sx, sy) = STEPS[d];
        points.push(Point::new(x as f64 + 0.5 * sx as f64, y as f64 + 0.5 * sy as f64));
        (x, y) = (x + sx, y + sy);
        if let Some(last) = end_at(x, y) {
            points.push(Point::new(x as f64, y as f64));
            return Arc { ends: [end.unwrap_or(ArcEnd::Closed), last], sides, points };
        }
        d = cracks.next(x, y, d);
        if mark(x, y, d) {
            return Arc { ends: [ArcEnd::Closed; 2], sides, points };
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    fn corners_of(arc: &Arc) -> Vec<(i64, i64)> {
        arc.points
            .iter()
            .filter(|p| p.x.fract() > 0.25 || p.y.fract() > 0.25)
            .map(|p| ((p.x * 2.0) as i64, (p.y * 2.0) as i64))
            .collect()
    }

    proptest! {
        /// Every crack edge lies in exactly one arc, with its areas on the right sides; arcs join at junctions.
        #[test]
        fn every_crack_is_walked_once(w in 1_usize..14, h in 1_usize..14, cells in proptest::collection::vec(0_u32..4, 196)) {
            let ids = Raster::from_vec(w, h, cells[..w * h].to_vec());
            let got = trace(&ids);
            let mut seen = BTreeSet::new();
            for arc in &got.arcs {
                prop_assert_ne!(arc.sides[0], arc.sides[1], "an arc separates two areas");
                for m in corners_of(arc) {
                    prop_assert!(seen.insert(m), "a crack was walked twice");
                }
                // Left and right, looked up beside every step.
                for (i, m) in arc.points.iter().enumerate().filter(|(_, p)| p.x.fract() > 0.25 || p.y.fract() > 0.25) {
                    let pixel = |x: f64, y: f64| ids.at(x as usize, y as usize);
                    let pair = if m.x.fract() > 0.25 { [pixel(m.x, m.y - 0.5), pixel(m.x, m.y + 0.5)] } else { [pixel(m.x - 0.5, m.y), pixel(m.x + 0.5, m.y)] };
                    let both = [arc.sides[0].min(arc.sides[1]), arc.sides[0].max(arc.sides[1])];
                    prop_assert_eq!([pair[0].min(pair[1]), pair[0].max(pair[1])], both, "step {} of an arc", i);
                }
                for (end, p) in arc.ends.iter().zip([arc.points[0], arc.points[arc.points.len() - 1]]) {
                    match end {
                        ArcEnd::Junction(j) => prop_assert_eq!(p, got.junctions[*j]),
                        ArcEnd::Frame => prop_assert!(p.x < 0.25 || p.y < 0.25 || p.x > w as f64 - 0.25 || p.y > h as f64 - 0.25),
                        ArcEnd::Closed => prop_assert_eq!(arc.ends, [ArcEnd::Closed; 2]),
                    }
                }
            }
            let mut cracks = 0;
            for y in 0..h {
                for x in 0..w {
                    cracks += usize::from(x + 1 < w && ids.at(x, y) != ids.at(x + 1, y));
                    cracks += usize::from(y + 1 < h && ids.at(x, y) != ids.at(x, y + 1));
                }
            }
            prop_assert_eq!(seen.len(), cracks, "a crack was left out");
        }
    }

    #[test]
    fn areas_that_touch_at_a_point_pass_each_other() {
        let ids = Raster::from_vec(4, 4, vec![0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 2, 0, 0, 0, 0, 0]);
        let got = trace(&ids);
        assert!(got.junctions.is_empty(), "two areas on one ground make no junction");
        assert_eq!(got.arcs.len(), 2, "one closed arc round each");
    }
}
