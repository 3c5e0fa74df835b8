//! A line cut at junctions into the pieces that become transitions.

use kurbo::{CubicBez, ParamCurve, Point};

use super::fit::round_um;
use super::lines::Line;
use super::trace::ArcEnd;
use super::weave::Woven;

/// A stretch of a line between two junctions.
pub(super) struct Piece {
    /// Its cubics.
    pub(super) curve: Vec<CubicBez>,
    /// Junctions at its ends.
    pub(super) ends: [Option<usize>; 2],
    /// Whether it is a whole closed line.
    pub(super) closed: bool,
    /// Number of the junction passed behind which it begins, `None` for the line's own beginning.
    pub(super) behind: Option<usize>,
}

/// Cuts a line at the junctions that are wanted; a closed line is turned to begin at the first of them.
pub(super) fn cut(line: &Line, woven: &Woven, wanted: &impl Fn(usize) -> bool) -> Vec<Piece> {
    let mut cuts: Vec<(usize, f64, Point, usize)> = line
        .passed
        .iter()
        .enumerate()
        .filter(|(_, p)| wanted(p.junction))
        .map(|(k, _)| {
            let (i, t, p) = woven.passed[k];
            (i, t, p, k)
        })
        .collect();
    cuts.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.3.cmp(&b.3)));
    let own_end = |e: usize| match line.ends[e] {
        ArcEnd::Junction(j) => Some(j),
        _ => None,
    };
    if cuts.is_empty() {
        return vec![Piece {
            curve: woven.curve.clone(),
            ends: [own_end(0), own_end(1)],
            closed: line.closed(),
            behind: None,
        }];
    }
    let last = woven.curve.len() - 1;
    let start = (0, 0.0, woven.curve[0].p0, usize::MAX);
    let stop = (last, 1.0, woven.curve[last].p3, usize::MAX);
    let junction = |k: usize| line.passed[k].junction;
    let mut out = Vec::new();
    let stretch = |a: &(usize, f64, Point, usize), b: &(usize, f64, Point, usize)| {
        let mut curve = Vec::new();
        for i in a.0..=b.0 {
            let (from, to) = (if i == a.0 { a.1 } else { 0.0 }, if i == b.0 { b.1 } else { 1.0 });
            if to - from > 1e-9 {
                curve.push(if from <= 0.0 && to >= 1.0 {
                    woven.curve[i]
                } else {
                    woven.curve[i].subsegment(from..to)
                });
            }
        }
        joined(curve, a.2, b.2)
    };
    if line.closed() {
        for (k, a) in cuts.iter().enumerate() {
            let curve = match cuts.get(k + 1) {
                Some(b) => stretch(a, b),
                None => {
                    let mut curve = stretch(a, &stop);
                    curve.extend(stretch(&start, &cuts[0]));
                    joined(curve, a.2, cuts[0].2)
                }
            };
            let to = cuts.get(k + 1).unwrap_or(&cuts[0]);
            out.push(Piece {
                curve,
                ends: [Some(junction(a.3)), Some(junction(to.3))],
                closed: false,
                behind: Some(a.3),
            });
        }
    } else {
        let mut from = start;
        for b in cuts.iter().chain(std::iter::once(&stop)) {
            let end = |c: &(usize, f64, Point, usize), e: usize| {
                if c.3 == usize::MAX { own_end(e) } else { Some(junction(c.3)) }
            };
            out.push(Piece {
                curve: stretch(&from, b),
                ends: [end(&from, 0), end(b, 1)],
                closed: false,
                behind: (from.3 != usize::MAX).then_some(from.3),
            });
            from = *b;
        }
    }
    out
}

/// Cubics in whole micrometres that join exactly and run from `a` to `b`; never none.
fn joined(mut curve: Vec<CubicBez>, a: Point, b: Point) -> Vec<CubicBez> {
    for c in &mut curve {
        *c = CubicBez::new(round_um(c.p0), round_um(c.p1), round_um(c.p2), round_um(c.p3));
    }
    curve.retain(|c| c.p0 != c.p3 || c.p1 != c.p0 || c.p2 != c.p3);
    if curve.is_empty() {
        curve.push(CubicBez::new(a, a, b, b));
    }
    let last = curve.len() - 1;
    curve[0].p0 = a;
    curve[last].p3 = b;
    for i in 1..curve.len() {
        curve[i].p0 = curve[i - 1].p3;
    }
    curve
}
