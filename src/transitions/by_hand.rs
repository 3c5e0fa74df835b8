//! Borders of areas that the artist edited: placed where the tone has its own border, or on the artist's line.

use kurbo::{CubicBez, ParamCurve, Point};

use super::lines::Line;
use super::place::Side;
use crate::areas::edits::Edited;
use crate::raster::Raster;
use crate::tone::ValueScale;

/// Within this distance in mm of a line of the artist a point of a border lies on it: half the way between two points of a
/// line, where it cuts a corner.
const ON_LINE_MM: f64 = 0.07;
/// Within this distance in mm a fitted curve follows it: the fit's tolerance and what rounding adds.
const FOLLOWS_MM: f64 = 0.2;
/// Distance in mm of the places at which a curve is looked at.
const LOOK_MM: f64 = 0.3;

/// What lies on the sides of each point of a line, its own tones where an edit gave it other values.
///
/// `leaves` are the areas on the left and right at each point.
pub(super) fn sides(
    edited: &Edited,
    scale: &ValueScale,
    line: &Line,
    sides: &mut [Side],
    ids: &Raster<u32>,
    leaves: impl Fn(usize) -> [u32; 2],
) {
    let mut known = vec![false; sides.len()];
    for (i, side) in sides.iter_mut().enumerate() {
        let [left, right] = leaves(i);
        if !edited.pinned[left as usize] && !edited.pinned[right as usize] {
            known[i] = true;
            continue;
        }
        let Some([a, b]) = pixels_beside(line.points[i], ids.width(), ids.height()) else { continue };
        known[i] = true;
        let bit = if b == a + 1 && !is_whole(line.points[i].y) { 1 } else { 2 };
        side.by_hand = edited.cracks.data()[a] & bit != 0;
        let [l, r] = if ids.data()[a] == left { [a, b] } else { [b, a] }.map(|p| edited.own.data()[p]);
        // Where the artist's line runs the tone has no border of its own, and nothing to be placed by.
        if l != r {
            side.left_lighter = l < r;
            side.level = scale.break_between(l, r);
        }
    }
    // An end lies on a corner of pixels: what holds beside it holds there.
    for (end, beside) in [(0, 1), (sides.len() - 1, sides.len().saturating_sub(2))] {
        if !known[end] && known.get(beside) == Some(&true) {
            let (from, to) = (sides[beside], &mut sides[end]);
            (to.left_lighter, to.level, to.by_hand) = (from.left_lighter, from.level, from.by_hand);
        }
    }
}

fn is_whole(n: f64) -> bool {
    (n - n.round()).abs() < 0.25
}

/// The two pixels beside the middle of a crack edge; none for a corner of pixels.
fn pixels_beside(p: Point, w: usize, h: usize) -> Option<[usize; 2]> {
    let (x, y) = (p.x.floor() as usize, p.y.floor() as usize);
    match (is_whole(p.x), is_whole(p.y)) {
        (true, false) if x > 0 && x < w => Some([y * w + x - 1, y * w + x]),
        (false, true) if y > 0 && y < h => Some([(y - 1) * w + x, y * w + x]),
        _ => None,
    }
}

/// The nearest place of some lines, in their own unit, and how far it is.
pub(super) fn nearest(lines: &[Vec<Point>], p: Point) -> Option<(f64, Point)> {
    let mut best: Option<(f64, Point)> = None;
    for ends in lines.iter().flat_map(|line| line.windows(2)) {
        let way = ends[1] - ends[0];
        let t = ((p - ends[0]).dot(way) / way.hypot2().max(1e-18)).clamp(0.0, 1.0);
        let q = ends[0] + way * t;
        let far = p.distance(q);
        if best.is_none_or(|(least, _)| far < least) {
            best = Some((far, q));
        }
    }
    best
}

/// The lines of the artist in mm that a line may run along; none where it does not.
pub(super) fn beside(edited: Option<&Edited>, sides: &[Side], px_per_mm: f64) -> Vec<Vec<Point>> {
    let Some(edited) = edited.filter(|_| sides.iter().any(|s| s.by_hand)) else { return Vec::new() };
    let to_mm = |p: &Point| Point::new(p.x / px_per_mm, p.y / px_per_mm);
    edited.lines.iter().map(|line| line.iter().map(to_mm).collect()).collect()
}

/// Takes smoothing (in any unit) away where points in mm lie on the artist's lines.
pub(super) fn keep(lines: &[Vec<Point>], points: &[Point], mut sigmas: Vec<f64>) -> Vec<f64> {
    if lines.is_empty() {
        return sigmas;
    }
    for (sigma, &p) in sigmas.iter_mut().zip(points) {
        if nearest(lines, p).is_some_and(|(far, _)| far < ON_LINE_MM) {
            *sigma = 0.0;
        }
    }
    sigmas
}

/// Whether a curve in mm follows the artist's lines for most of its length.
pub(super) fn follows(lines: &[Vec<Point>], curve: &[CubicBez]) -> bool {
    let mut counts = [0_usize; 2];
    for c in curve {
        let steps = (c.p0.distance(c.p3) / LOOK_MM).ceil().max(1.0) as usize;
        for k in 0..steps {
            let p = c.eval((k as f64 + 0.5) / steps as f64);
            counts[usize::from(nearest(lines, p).is_some_and(|(far, _)| far < FOLLOWS_MM))] += 1;
        }
    }
    counts[1] > counts[0]
}
