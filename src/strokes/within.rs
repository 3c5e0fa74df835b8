//! Strokes cut off at the edges of a rectangle.

use super::{Stroke, StrokePlan, ThinStroke, length_mm};
use crate::sheet::RectMm;
use kurbo::common::solve_cubic;
use kurbo::{CubicBez, ParamCurve, Point};

impl StrokePlan {
    /// The parts of the plan that lie in a rectangle of the sheet, in the same order.
    #[must_use]
    pub fn within(&self, rect: &RectMm) -> Self {
        let mut plan = Self::default();
        for stroke in &self.strokes {
            plan.strokes.extend(
                cut(&stroke.curve, stroke.closed, rect, true).into_iter().map(|(curve, closed)| Stroke {
                    curve,
                    closed,
                    ..stroke.clone()
                }),
            );
        }
        for stroke in &self.thin {
            let pieces = cut(&stroke.curve, false, rect, true);
            plan.thin.extend(pieces.into_iter().map(|(curve, _)| ThinStroke { curve, ..stroke.clone() }));
        }
        let curves: Vec<&Vec<CubicBez>> =
            plan.strokes.iter().map(|s| &s.curve).chain(plan.thin.iter().map(|s| &s.curve)).collect();
        let drawn_mm = curves.iter().map(|curve| length_mm(curve)).sum();
        let travel_mm =
            curves.windows(2).filter_map(|w| Some(w[0].last()?.p3.distance(w[1].first()?.p0))).sum();
        Self { drawn_mm, travel_mm, ..plan }
    }
}

/// The pieces of a curve inside a rectangle (or outside it), and whether a piece is the whole closed curve.
pub(crate) fn cut(
    curve: &[CubicBez],
    closed: bool,
    rect: &RectMm,
    within: bool,
) -> Vec<(Vec<CubicBez>, bool)> {
    let inside = |p: Point| {
        (rect.x..=rect.x + rect.width).contains(&p.x) && (rect.y..=rect.y + rect.height).contains(&p.y)
    };
    let mut pieces: Vec<Vec<CubicBez>> = Vec::new();
    let mut running = false;
    let mut all = true;
    for cubic in curve {
        let mut at = vec![0.0];
        at.extend(crossings(cubic, rect));
        at.push(1.0);
        for pair in at.windows(2).filter(|pair| pair[1] - pair[0] > 1e-9) {
            if inside(cubic.eval(f64::midpoint(pair[0], pair[1]))) != within {
                (running, all) = (false, false);
                continue;
            }
            let piece =
                if pair[1] - pair[0] >= 1.0 { *cubic } else { rounded(cubic.subsegment(pair[0]..pair[1])) };
            match pieces.last_mut() {
                Some(last) if running => last.push(piece),
                _ => pieces.push(vec![piece]),
            }
            running = true;
        }
    }
    // A closed curve that leaves the rectangle is cut where it leaves, not where it happens to begin.
    if closed && !all && running && pieces.len() > 1 && pieces[0][0].p0 == curve[0].p0 {
        let first = pieces.remove(0);
        if let Some(last) = pieces.last_mut() {
            last.extend(first);
        }
    }
    pieces.into_iter().map(|piece| (piece, closed && all)).collect()
}

/// Where a cubic crosses the lines of a rectangle's sides, from 0 to 1, in order.
fn crossings(c: &CubicBez, rect: &RectMm) -> Vec<f64> {
    let mut found = Vec::new();
    for (p, low, high) in [
        ([c.p0.x, c.p1.x, c.p2.x, c.p3.x], rect.x, rect.x + rect.width),
        ([c.p0.y, c.p1.y, c.p2.y, c.p3.y], rect.y, rect.y + rect.height),
    ] {
        // Bernstein to powers of t.
        let [a, b, d, e] = p;
        let powers = [a, 3.0 * (b - a), 3.0 * (a - 2.0 * b + d), e - 3.0 * d + 3.0 * b - a];
        for side in [low, high] {
            found.extend(solve_cubic(powers[0] - side, powers[1], powers[2], powers[3]));
        }
    }
    found.retain(|t| *t > 0.0 && *t < 1.0);
    found.sort_by(f64::total_cmp);
    found
}

fn rounded(c: CubicBez) -> CubicBez {
    let um = |p: Point| Point::new((p.x * 1000.0).round() / 1000.0, (p.y * 1000.0).round() / 1000.0);
    CubicBez::new(um(c.p0), um(c.p1), um(c.p2), um(c.p3))
}
