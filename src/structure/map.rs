//! Where the groups lie: their outlines on a small picture, and the place of each with most room.

use kurbo::{Point, Rect};

use crate::distance::squared_distance_to;
use crate::raster::Raster;
use crate::tone::gaussian;

use super::thumbnail::{fitted, sampled, working};

/// Width of the mean that takes the pixel's stairs out of outlines, in pixels.
const SMOOTH_PX: f32 = 1.2;
/// Half the width of what a name keeps off a line, in pixels.
const LINE_PX: f64 = 2.0;

/// Groups on a small picture.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct GroupMap {
    /// Width and height in mm.
    pub(super) size_mm: [f64; 2],
    /// Outlines in mm on it, in straight pieces.
    pub(super) outlines: Vec<Vec<Point>>,
    /// For each group the place with most room on it in mm, and that room in mm.
    pub(super) places: Vec<(Point, f64)>,
    /// The same for its name: off the line of a window.
    pub(super) names: Vec<(Point, f64)>,
    /// How many times the picture is larger.
    times: f64,
}

impl GroupMap {
    /// The map of a picture whose pixels belong to groups; names keep off the line of a window, in mm on the picture.
    pub(super) fn new(
        of: &Raster<u32>,
        count: usize,
        window_mm: Option<Rect>,
        picture_mm: [f64; 2],
        room_mm: [f64; 2],
    ) -> Self {
        let size_mm = fitted(picture_mm, room_mm);
        let small = sampled(of, working(size_mm));
        let (w, h) = (small.width(), small.height());
        let per_px = size_mm[0] / w as f64;
        let mut outlines = Vec::new();
        let (mut places, mut names) = (Vec::new(), Vec::new());
        for group in 0..count as u32 {
            // The picture's edge is no outline, but bounds the room.
            let mut outside = Raster::new(w + 2, h + 2, true);
            for y in 0..h {
                for x in 0..w {
                    outside.set(x + 1, y + 1, small.at(x, y) != group);
                }
            }
            let (at, room_mm) = widest(&outside, per_px);
            if let Some(r) = window_mm {
                let to_px = size_mm[0] / picture_mm[0] / per_px;
                let line = |from: f64, to: f64, p: usize| {
                    let off = |edge: f64| (p as f64 - 0.5 - edge * to_px).abs();
                    off(from).min(off(to)) < LINE_PX
                };
                let across = |from: f64, to: f64, p: usize| {
                    let p = p as f64 - 0.5;
                    p > from * to_px - LINE_PX && p < to * to_px + LINE_PX
                };
                for y in 0..h + 2 {
                    for x in 0..w + 2 {
                        let on = line(r.x0, r.x1, x) && across(r.y0, r.y1, y)
                            || line(r.y0, r.y1, y) && across(r.x0, r.x1, x);
                        if on {
                            outside.set(x, y, true);
                        }
                    }
                }
            }
            names.push(widest(&outside, per_px));
            // A group too thin for a small pixel lies where its own pixels do.
            let thin = || anywhere(of, group, [w, h]).map(|p| Point::new(p.x * per_px, p.y * per_px));
            places.push((if room_mm > 0.0 { at } else { thin().unwrap_or(at) }, room_mm));
            let share = gaussian(&small.map(|g| if g == group { 1.0 } else { 0.0 }), SMOOTH_PX);
            let placed = |p: Point| Point::new(p.x * per_px, p.y * per_px);
            outlines
                .extend(level_lines(&share, 0.5).into_iter().map(|l| l.into_iter().map(placed).collect()));
        }
        Self { size_mm, outlines, places, names, times: picture_mm[0] / size_mm[0] }
    }

    /// mm on it for each mm on the picture.
    pub(super) fn scale(&self) -> f64 {
        1.0 / self.times
    }

    /// The place of each group with most room, in mm on the picture.
    pub(super) fn middles(&self) -> Vec<Point> {
        self.places.iter().map(|(p, _)| Point::new(p.x * self.times, p.y * self.times)).collect()
    }
}

/// The place with most room off some pixels, one around them added on every side, and that room, in mm.
fn widest(outside: &Raster<bool>, per_px: f64) -> (Point, f64) {
    let room = squared_distance_to(outside);
    let w = room.width();
    let most =
        (0..room.data().len()).fold(0, |best, i| if room.data()[i] > room.data()[best] { i } else { best });
    let at = Point::new((most % w) as f64 - 0.5, (most / w) as f64 - 0.5);
    (Point::new(at.x * per_px, at.y * per_px), f64::from(room.data()[most]).sqrt() * per_px)
}

/// The middle of a group's first pixel, in small pixels.
fn anywhere(of: &Raster<u32>, group: u32, [w, h]: [usize; 2]) -> Option<Point> {
    let i = of.data().iter().position(|&g| g == group)?;
    let at = |k: usize, large: usize, small: usize| (k as f64 + 0.5) / large as f64 * small as f64;
    Some(Point::new(at(i % of.width(), of.width(), w), at(i / of.width(), of.height(), h)))
}

/// The lines of a level of a field, in pixels, samples being at the middles of pixels: marching squares (Lorensen & Cline 1987,
/// in two dimensions). Saddles are cut so that what is below stays joined; pieces are joined to chains.
fn level_lines(field: &Raster<f32>, level: f32) -> Vec<Vec<Point>> {
    let (w, h) = (field.width(), field.height());
    // Places where the level is crossed: on the way right of a sample, or below it. Each cell joins two or four of them.
    let across = |x: usize, y: usize| (y * w + x) * 2;
    let down = |x: usize, y: usize| (y * w + x) * 2 + 1;
    let above = |x: usize, y: usize| field.at(x, y) >= level;
    let mut beside: std::collections::BTreeMap<usize, Vec<usize>> = std::collections::BTreeMap::new();
    let mut join = |a: usize, b: usize| {
        beside.entry(a).or_default().push(b);
        beside.entry(b).or_default().push(a);
    };
    for y in 0..h.saturating_sub(1) {
        for x in 0..w.saturating_sub(1) {
            let (top, bottom) = (across(x, y), across(x, y + 1));
            let (left, right) = (down(x, y), down(x + 1, y));
            let corners = [above(x, y), above(x + 1, y), above(x + 1, y + 1), above(x, y + 1)];
            match corners {
                [true, false, true, false] => {
                    join(top, left);
                    join(bottom, right);
                }
                [false, true, false, true] => {
                    join(top, right);
                    join(bottom, left);
                }
                [a, b, c, d] => {
                    let crossed = [(a != b, top), (b != c, right), (c != d, bottom), (d != a, left)];
                    let mut ends = crossed.into_iter().filter(|(is, _)| *is).map(|(_, at)| at);
                    if let (Some(p), Some(q)) = (ends.next(), ends.next()) {
                        join(p, q);
                    }
                }
            }
        }
    }
    let point = |place: usize| {
        let (x, y) = (place / 2 % w, place / 2 / w);
        let (to_x, to_y) = if place.is_multiple_of(2) { (x + 1, y) } else { (x, y + 1) };
        let (a, b) = (field.at(x, y), field.at(to_x, to_y));
        let share = f64::from((level - a) / (b - a));
        let from = Point::new(x as f64 + 0.5, y as f64 + 0.5);
        from.lerp(Point::new(to_x as f64 + 0.5, to_y as f64 + 0.5), share)
    };
    let mut lines = Vec::new();
    // Open chains first, from their ends; what is left is closed.
    let ends: Vec<usize> = beside.iter().filter(|(_, next)| next.len() == 1).map(|(&p, _)| p).collect();
    let all: Vec<usize> = beside.keys().copied().collect();
    for start in ends.into_iter().chain(all) {
        let mut chain = vec![start];
        let mut at = start;
        while let Some(next) = beside.get_mut(&at).and_then(Vec::pop) {
            if let Some(back) = beside.get_mut(&next)
                && let Some(k) = back.iter().position(|&p| p == at)
            {
                back.remove(k);
            }
            chain.push(next);
            at = next;
        }
        if chain.len() > 1 {
            lines.push(chain.into_iter().map(point).collect());
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_disc_has_one_round_outline_and_its_middle_most_room() {
        // Radius 20 mm about (40, 30) on 100 x 60 mm, on a map of the same size.
        let of = Raster::from_vec(
            600,
            360,
            (0..600 * 360)
                .map(|i| {
                    let (x, y) = ((i % 600) as f64 / 6.0 - 40.0, (i / 600) as f64 / 6.0 - 30.0);
                    if x.hypot(y) < 20.0 { 0 } else { u32::MAX }
                })
                .collect(),
        );
        let map = GroupMap::new(&of, 1, None, [100.0, 60.0], [100.0, 60.0]);
        assert_eq!(map.outlines.len(), 1, "one outline");
        let line = &map.outlines[0];
        assert_eq!(line.first(), line.last(), "it closes");
        for p in line {
            let off = (*p - Point::new(40.0, 30.0)).hypot() - 20.0;
            assert!(off.abs() < 0.17, "{p:?} is {off} mm off");
        }
        let (at, room) = map.places[0];
        assert!((at - Point::new(40.0, 30.0)).hypot() < 0.3 && (room - 20.0).abs() < 0.3, "{at:?} {room}");
    }
}
