//! Areas turned inside out: lines that cross nowhere can still lie on each other's wrong side where an area is about
//! as narrow as lines may move.

use std::collections::{BTreeMap, BTreeSet};

use kurbo::{CubicBez, ParamCurve, ParamCurveArea, ParamCurveExtrema, Point, Rect};

use super::cut::cut;
use super::lines::Line;
use super::place::{Ground, Side};
use super::trace::ArcEnd;
use super::weave::Woven;

/// Ends on the picture's edge are whole micrometres.
const ROUNDING_MM: f64 = 0.001;

/// Places of lines that lie on the wrong side of others: (line, place in mm). Empty when every area lies on its own
/// side of every line.
///
/// Four things are asked, which with no crossing anywhere make the net lie as its map of areas does: junctions keep
/// their order along the line that they lie on; lines keep their order along the picture's edge; what the lines
/// around an area enclose, itself away from the picture's edge, is positive; no line leaves
/// the picture.
pub(super) fn turned(
    ground: &Ground<'_>,
    lines: &[Line],
    sides_of: &[Vec<Side>],
    woven: &[Woven],
) -> Vec<(usize, Point)> {
    let mut found = passed_out_of_order(lines, woven);
    found.extend(edge_out_of_order(ground, lines, woven));
    found.extend(inside_out(ground, lines, sides_of, woven));
    found.extend(beyond_the_edge(ground, woven));
    found
}

/// Lines that leave the picture by more than rounding.
fn beyond_the_edge(ground: &Ground<'_>, woven: &[Woven]) -> Vec<(usize, Point)> {
    let px = ground.tone.px_per_mm;
    let picture = Rect::new(0.0, 0.0, ground.nodes.width() as f64 / px, ground.nodes.height() as f64 / px);
    let held = picture.inflate(ROUNDING_MM, ROUNDING_MM);
    let leaves = |c: &CubicBez| {
        let reach = c.bounding_box();
        [held.x0 - reach.x0, reach.x1 - held.x1, held.y0 - reach.y0, reach.y1 - held.y1]
            .iter()
            .any(|&d| d > 0.0)
    };
    let of_line = |(l, w): (usize, &Woven)| {
        w.curve.iter().filter(|c| leaves(c)).map(|c| (l, c.eval(0.5))).collect::<Vec<_>>()
    };
    woven.iter().enumerate().flat_map(of_line).collect()
}

/// Junctions that lie along their line in another order than on its cracks, or in one place.
fn passed_out_of_order(lines: &[Line], woven: &[Woven]) -> Vec<(usize, Point)> {
    let mut found = Vec::new();
    for (l, (line, w)) in lines.iter().zip(woven).enumerate() {
        let place = |k: usize| (w.passed[k].0 as f64 + w.passed[k].1, w.passed[k].2);
        let n = w.passed.len();
        let falls: Vec<usize> = (1..n).filter(|&k| place(k).0 <= place(k - 1).0).collect();
        // A closed line may begin anywhere, so it may fall once.
        let wraps = line.closed() && falls.len() == 1 && place(n - 1).0 < place(0).0;
        if !wraps {
            found.extend(falls.iter().flat_map(|&k| [(l, place(k - 1).1), (l, place(k).1)]));
        }
    }
    found
}

/// Lines that reach the picture's edge in another order than their cracks do, or in one place.
fn edge_out_of_order(ground: &Ground<'_>, lines: &[Line], woven: &[Woven]) -> Vec<(usize, Point)> {
    let px = ground.tone.px_per_mm;
    let (w, h) = (ground.nodes.width() as f64 / px, ground.nodes.height() as f64 / px);
    let around = 2.0 * (w + h);
    let mut contacts: Vec<(f64, f64, usize, Point)> = Vec::new();
    for (l, (line, w_line)) in lines.iter().zip(woven).enumerate() {
        let last = w_line.curve.len() - 1;
        let ends = [
            (line.points[0], w_line.curve[0].p0),
            (line.points[line.points.len() - 1], w_line.curve[last].p3),
        ];
        for (&end, (crack, fitted)) in line.ends.iter().zip(ends) {
            if end == ArcEnd::Frame {
                let of_crack = along_edge(Point::new(crack.x / px, crack.y / px), w, h);
                let moved = along_edge(fitted, w, h) - of_crack;
                let moved = moved - around * (moved / around).round();
                contacts.push((of_crack, of_crack + moved, l, fitted));
            }
        }
    }
    contacts.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut found = Vec::new();
    for (i, a) in contacts.iter().enumerate() {
        let b = contacts[(i + 1) % contacts.len()];
        let next = if i + 1 == contacts.len() { b.1 + around } else { b.1 };
        if next <= a.1 {
            found.extend([(a.2, a.3), (b.2, b.3)]);
        }
    }
    found
}

/// Place on the edge of a picture of `w` x `h` mm in mm from its top left corner, down the left side first.
pub(super) fn along_edge(p: Point, w: f64, h: f64) -> f64 {
    let sides = [p.x.abs(), (h - p.y).abs(), (w - p.x).abs(), p.y.abs()];
    let side = (0..4).min_by(|&a, &b| sides[a].total_cmp(&sides[b])).unwrap_or(0);
    match side {
        0 => p.y,
        1 => h + p.x,
        2 => h + w + (h - p.y),
        _ => (2.0 * h + w + (w - p.x)) % (2.0 * (w + h)),
    }
}

/// Areas away from the picture's edge whose lines enclose nothing, or less.
fn inside_out(
    ground: &Ground<'_>,
    lines: &[Line],
    sides_of: &[Vec<Side>],
    woven: &[Woven],
) -> Vec<(usize, Point)> {
    let nodes = &ground.nodes;
    let (w, h) = (nodes.width(), nodes.height());
    let mut at_edge: BTreeSet<u32> = nodes.row(0).iter().chain(nodes.row(h - 1)).copied().collect();
    at_edge.extend((0..h).flat_map(|y| [nodes.at(0, y), nodes.at(w - 1, y)]));
    // With y down a walk against the clock, its area on the left, encloses a negative area.
    let mut enclosed: BTreeMap<u32, f64> = BTreeMap::new();
    let mut around: BTreeMap<u32, Vec<(usize, Point)>> = BTreeMap::new();
    for (l, (line, w)) in lines.iter().zip(woven).enumerate() {
        for piece in cut(line, w, &|_| true) {
            let index = piece.behind.map_or(0, |k| line.passed[k].index) % line.points.len();
            let side = &sides_of[l][index];
            let swept: f64 = piece.curve.iter().map(ParamCurveArea::signed_area).sum();
            for (area, sign) in [(side.left, -1.0), (side.right, 1.0)] {
                if !at_edge.contains(&area) {
                    *enclosed.entry(area).or_default() += sign * swept;
                    let places = piece.curve.iter().flat_map(|c| [c.p0, c.eval(0.5), c.p3]);
                    around.entry(area).or_default().extend(places.map(|p| (l, p)));
                }
            }
        }
    }
    enclosed.iter().filter(|&(_, &mm2)| mm2 <= 0.0).flat_map(|(area, _)| around[area].clone()).collect()
}
