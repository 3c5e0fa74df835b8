//! Lines as the machine gets them: begun anywhere, drawn on over their beginning, kept out of rectangles.

use super::PlotterStroke;
use crate::sheet::RectMm;
use crate::strokes::{Gates, cut, length_mm};
use crate::transitions::fit::round_um;
use kurbo::{CubicBez, ParamCurve, ParamCurveArclen, Point};

/// Distance in mm between the places where a closed line may begin ...
const PLACES_MM: f64 = 0.5;
/// ... which are at most so many.
const MOST_PLACES: f64 = 64.0;

fn piece(c: &CubicBez, from: f64, to: f64) -> CubicBez {
    let c = c.subsegment(from..to);
    CubicBez::new(round_um(c.p0), round_um(c.p1), round_um(c.p2), round_um(c.p3))
}

/// A chain of points as a stroke; it is closed when it ends where it begins.
pub(super) fn straight(points: &[Point]) -> PlotterStroke {
    let side = |pair: &[Point]| {
        CubicBez::new(pair[0], pair[0].lerp(pair[1], 1.0 / 3.0), pair[0].lerp(pair[1], 2.0 / 3.0), pair[1])
    };
    let closed = points.len() > 2 && points[0] == points[points.len() - 1];
    PlotterStroke { curve: points.windows(2).map(side).collect(), closed, transitions: Vec::new() }
}

/// The pieces of a stroke outside a rectangle.
pub(super) fn outside(stroke: &PlotterStroke, rect: &RectMm) -> Vec<PlotterStroke> {
    let pieces = cut(&stroke.curve, stroke.closed, rect, false);
    pieces.into_iter().map(|(curve, closed)| PlotterStroke { curve, closed, ..stroke.clone() }).collect()
}

/// Places where a closed line may begin: a cubic's number and how far along it, 0 up to 1.
pub(super) fn places(curve: &[CubicBez]) -> Vec<(usize, f64)> {
    let gap = PLACES_MM.max(length_mm(curve) / MOST_PLACES);
    let of = |(k, c): (usize, &CubicBez)| {
        let count = (c.arclen(0.01) / gap).floor().max(1.0) as usize;
        (0..count).map(move |i| (k, i as f64 / count as f64)).collect::<Vec<_>>()
    };
    curve.iter().enumerate().flat_map(of).collect()
}

/// Where a stroke can be begun.
pub(super) fn gates(stroke: &PlotterStroke, places: &[(usize, f64)]) -> Gates {
    let curve = &stroke.curve;
    if stroke.closed {
        Gates::Closed(places.iter().map(|&(k, t)| round_um(curve[k].eval(t))).collect())
    } else {
        Gates::Open([curve[0].p0, curve[curve.len() - 1].p3])
    }
}

/// A stroke drawn in one of its ways.
pub(super) fn begun(stroke: &PlotterStroke, places: &[(usize, f64)], way: usize) -> PlotterStroke {
    let mut stroke = stroke.clone();
    if stroke.closed {
        let (k, t) = places[way];
        stroke.curve.rotate_left(k);
        if t > 0.0 {
            let first = stroke.curve.remove(0);
            stroke.curve.insert(0, piece(&first, t, 1.0));
            stroke.curve.push(piece(&first, 0.0, t));
        }
    } else if way == 1 {
        stroke.curve.reverse();
        for c in &mut stroke.curve {
            *c = CubicBez::new(c.p3, c.p2, c.p1, c.p0);
        }
        stroke.transitions.reverse();
    }
    stroke
}

/// Draws a closed line on over its beginning, at most once round.
pub(super) fn close_over(stroke: &mut PlotterStroke, over_mm: f64) {
    let mut left = over_mm;
    for k in 0..stroke.curve.len() {
        if left <= 0.0 {
            return;
        }
        let c = stroke.curve[k];
        let length = c.arclen(1e-4);
        let more = if left >= length { c } else { piece(&c, 0.0, c.inv_arclen(left, 1e-4)) };
        stroke.curve.push(more);
        left -= length;
    }
}

/// Whether the straight way from one point to another passes over a rectangle (clipping of Liang & Barsky 1984).
pub(super) fn passes(a: Point, b: Point, rect: &RectMm) -> bool {
    let d = b - a;
    let (mut enter, mut leave) = (0.0f64, 1.0f64);
    for (from, step, low, high) in
        [(a.x, d.x, rect.x, rect.x + rect.width), (a.y, d.y, rect.y, rect.y + rect.height)]
    {
        if step == 0.0 {
            if from <= low || from >= high {
                return false;
            }
            continue;
        }
        let (s, t) = ((low - from) / step, (high - from) / step);
        enter = enter.max(s.min(t));
        leave = leave.min(s.max(t));
    }
    leave - enter > 1e-9
}
