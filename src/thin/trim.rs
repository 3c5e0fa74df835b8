//! Cuts marks where boundary lines or stronger marks run: nothing drawn crosses.

use kurbo::{CubicBez, ParamCurve, Point};
use rayon::prelude::*;
use rstar::primitives::Rectangle;
use rstar::{RTree, RTreeObject};

use super::{Candidate, Found, ThinMark};
use crate::transitions::BoundaryNet;
use crate::transitions::fit::round_um;

/// Gap in mm between a mark and any other line: less than a third of a pencil line, more than the fit's tolerance.
pub const CLEAR_MM: f64 = 0.12;
/// Distance between the samples of a line that marks keep away from, in mm.
const SAMPLE_MM: f64 = 0.04;

/// Cuts candidates (strongest first) so that each keeps [`CLEAR_MM`] from all before it; pieces that become too short
/// go.
///
/// The points of a mark lie closer together than the gap is wide, so between two that are clear it crosses nothing.
pub(super) fn apart(candidates: Vec<Candidate>) -> Vec<Candidate> {
    let mut marks = RTree::new();
    let mut out = Vec::new();
    for candidate in candidates {
        let clear: Vec<bool> = candidate.points.iter().map(|p| is_clear(&marks, *p)).collect();
        let (mut from, before) = (0, out.len());
        for stretch in clear.chunk_by(|a, b| a == b) {
            let range = from..from + stretch.len();
            from = range.end;
            let points = &candidate.points[range.clone()];
            let length: f64 = points.windows(2).map(|p| p[0].distance(p[1])).sum();
            let holds_tip = !candidate.tip || range.end == clear.len();
            if stretch[0] && holds_tip && points.len() > 2 && length >= candidate.least_mm {
                out.push(Candidate {
                    points: points.to_vec(),
                    widths_mm: candidate.widths_mm[range].to_vec(),
                    ..candidate
                });
            }
        }
        // Only what is drawn keeps others away.
        for kept in &out[before..] {
            for pair in kept.points.windows(2) {
                for p in (0..3).map(|k| pair[0].lerp(pair[1], f64::from(k) / 3.0)) {
                    marks.insert([p.x, p.y]);
                }
            }
        }
    }
    out
}

/// Cuts marks where they come nearer than [`CLEAR_MM`] to a line of a net. What is left keeps its coordinates but for
/// the rounding of a cubic that is cut (to whole micrometres); of a tip only the piece with its point is left.
pub(super) fn clear_of(net: &BoundaryNet, found: &[Found]) -> Vec<ThinMark> {
    // Only what runs near a mark has to be known closely.
    let marks =
        RTree::bulk_load(found.iter().flat_map(|f| &f.mark.curve).map(|c| hull(c, CLEAR_MM)).collect());
    let near: Vec<&CubicBez> = net
        .transitions
        .par_iter()
        .flat_map_iter(|t| &t.curve)
        .filter(|c| {
            let around = hull(c, SAMPLE_MM).envelope();
            marks.locate_in_envelope_intersecting(&around).next().is_some()
        })
        .collect();
    let lines = RTree::bulk_load(near.into_iter().flat_map(samples).collect());
    found.par_iter().flat_map_iter(|f| clear_pieces(&lines, f)).collect()
}

fn clear_pieces(lines: &RTree<[f64; 2]>, found: &Found) -> Vec<ThinMark> {
    let curve = &found.mark.curve;
    // Places along the whole curve: cubic and parameter, a sample apart at most.
    let places: Vec<(usize, f64)> = curve
        .iter()
        .enumerate()
        .flat_map(|(i, c)| {
            let pieces = pieces(c);
            (usize::from(i > 0)..=pieces).map(move |k| (i, k as f64 / pieces as f64))
        })
        .collect();
    let at = |&(i, t): &(usize, f64)| curve[i].eval(t);
    let clear: Vec<bool> = places.iter().map(|p| is_clear(lines, at(p))).collect();
    if clear.iter().all(|&c| c) {
        return vec![found.mark.clone()];
    }
    let mut out = Vec::new();
    let mut from = 0;
    for stretch in clear.chunk_by(|a, b| a == b) {
        let part = &places[from..from + stretch.len()];
        from += stretch.len();
        let length: f64 = part.windows(2).map(|p| at(&p[0]).distance(at(&p[1]))).sum();
        let holds_tip = !found.tip || from == clear.len();
        if !stretch[0] || !holds_tip || length < found.least_mm {
            continue;
        }
        let (Some(&a), Some(&b)) = (part.first(), part.last()) else { continue };
        let piece = between(curve, a, b);
        let widths = &found.mark.width_mm;
        // Widths lie at even steps along the whole curve.
        let step = |k: usize| k * widths.len() / clear.len();
        let (first, last) = (step(from - stretch.len()), step(from).max(step(from - stretch.len()) + 1));
        if !piece.is_empty() {
            let width_mm = widths[first..last.min(widths.len())].to_vec();
            out.push(ThinMark { curve: piece, width_mm, ..found.mark.clone() });
        }
    }
    out
}

/// The stretch of a curve between two places (cubic and parameter), in whole micrometres.
fn between(curve: &[CubicBez], a: (usize, f64), b: (usize, f64)) -> Vec<CubicBez> {
    let mut out: Vec<CubicBez> = (a.0..=b.0)
        .filter_map(|i| {
            let (from, to) = (if i == a.0 { a.1 } else { 0.0 }, if i == b.0 { b.1 } else { 1.0 });
            (to > from).then(|| if to - from < 1.0 { curve[i].subsegment(from..to) } else { curve[i] })
        })
        .map(|c| CubicBez::new(round_um(c.p0), round_um(c.p1), round_um(c.p2), round_um(c.p3)))
        .collect();
    for i in 1..out.len() {
        out[i].p0 = out[i - 1].p3;
    }
    out
}

/// The box round a cubic's control points, wider by so much on every side.
fn hull(c: &CubicBez, more: f64) -> Rectangle<[f64; 2]> {
    let points = [c.p0, c.p1, c.p2, c.p3];
    let least = |f: fn(&Point) -> f64| points.iter().map(f).fold(f64::INFINITY, f64::min) - more;
    let most = |f: fn(&Point) -> f64| points.iter().map(f).fold(f64::NEG_INFINITY, f64::max) + more;
    Rectangle::from_corners([least(|p| p.x), least(|p| p.y)], [most(|p| p.x), most(|p| p.y)])
}

/// Whether a place keeps the gap from lines known by their samples.
fn is_clear(lines: &RTree<[f64; 2]>, p: Point) -> bool {
    // A sample may lie half its spacing further away than the line itself.
    let away = (CLEAR_MM + 0.5 * SAMPLE_MM).powi(2);
    lines.nearest_neighbor(&[p.x, p.y]).is_none_or(|q| (q[0] - p.x).powi(2) + (q[1] - p.y).powi(2) > away)
}

/// Into how many pieces a cubic is divided so that they are [`SAMPLE_MM`] long at most.
fn pieces(c: &CubicBez) -> usize {
    // The control polygon is never shorter than the curve; twice as many, since a cubic's pace may vary.
    let length = c.p0.distance(c.p1) + c.p1.distance(c.p2) + c.p2.distance(c.p3);
    (2.0 * length / SAMPLE_MM).ceil().max(2.0) as usize
}

/// Points along a cubic, [`SAMPLE_MM`] apart at most.
fn samples(c: &CubicBez) -> Vec<[f64; 2]> {
    let pieces = pieces(c);
    (0..=pieces).map(|i| c.eval(i as f64 / pieces as f64)).map(|p| [p.x, p.y]).collect()
}
