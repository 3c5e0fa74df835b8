//! Cuts marks where boundary lines or stronger marks run: nothing drawn crosses.

use kurbo::{CubicBez, ParamCurve, Point};
use rstar::RTree;

use super::Candidate;
use crate::transitions::BoundaryNet;

/// Gap in mm between a mark and any other line: less than a third of a pencil line, more than the fit's tolerance.
pub const CLEAR_MM: f64 = 0.12;
/// Distance between the samples of a line that marks keep away from, in mm.
const SAMPLE_MM: f64 = 0.04;

/// Cuts candidates (strongest first) so that each keeps [`CLEAR_MM`] from every boundary line and from all before it;
/// pieces that become too short go.
///
/// The points of a mark lie closer together than the gap is wide, so between two that are clear it crosses nothing.
pub(super) fn trim(net: &BoundaryNet, candidates: Vec<Candidate>) -> Vec<Candidate> {
    let lines = net.transitions.iter().flat_map(|t| t.curve.iter()).flat_map(samples).collect::<Vec<_>>();
    let net_lines = RTree::bulk_load(lines);
    let mut marks = RTree::new();
    let mut out = Vec::new();
    for candidate in candidates {
        // A sample may lie half its spacing further away than the line itself.
        let away = (CLEAR_MM + 0.5 * SAMPLE_MM).powi(2);
        let is_clear = |tree: &RTree<[f64; 2]>, p: &Point| {
            tree.nearest_neighbor(&[p.x, p.y])
                .is_none_or(|q| (q[0] - p.x).powi(2) + (q[1] - p.y).powi(2) > away)
        };
        let clear: Vec<bool> =
            candidate.points.iter().map(|p| is_clear(&net_lines, p) && is_clear(&marks, p)).collect();
        let (mut from, before) = (0, out.len());
        for stretch in clear.chunk_by(|a, b| a == b) {
            let range = from..from + stretch.len();
            from = range.end;
            let points = &candidate.points[range.clone()];
            let length: f64 = points.windows(2).map(|p| p[0].distance(p[1])).sum();
            if stretch[0] && points.len() > 2 && length >= candidate.least_mm {
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

/// Points along a cubic, [`SAMPLE_MM`] apart at most.
fn samples(c: &CubicBez) -> Vec<[f64; 2]> {
    // The control polygon is never shorter than the curve; twice as many, since a cubic's pace may vary.
    let length = c.p0.distance(c.p1) + c.p1.distance(c.p2) + c.p2.distance(c.p3);
    let pieces = (2.0 * length / SAMPLE_MM).ceil().max(2.0) as usize;
    (0..=pieces).map(|i| c.eval(i as f64 / pieces as f64)).map(|p| [p.x, p.y]).collect()
}
