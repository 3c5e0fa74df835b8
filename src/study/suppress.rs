//! Lines that are left out: found where the artist looked at them, then taken off what is drawn.

use kurbo::{CubicBez, ParamCurve, ParamCurveNearest, Point};

use super::StudyError;
use super::by_hand::{ByHand, EntryFault, SUPPRESS_WITHIN_MM};
use crate::areas::zones::said;
use crate::notes::Noted;
use crate::output::LengthCount;
use crate::thin::ThinMark;
use crate::transitions::{BoundaryNet, HowMuch, Traced};

/// Lines keep their geometry at every plainness but for whole micrometres where a junction cuts them: within this distance, in
/// mm, they are the same.
const SAME_MM: f64 = 0.01;

/// The lines of a drawing: the net's transitions, then the thin marks.
type Lines<'a> = (&'a BoundaryNet, &'a [ThinMark]);

impl ByHand {
    /// How much was drawn where lines to be left out were looked at, when that is not what is drawn now.
    pub(super) fn looked_at_for_lines(&self, drawn: HowMuch) -> Option<HowMuch> {
        self.looked_at.filter(|&own| !self.suppressed.is_empty() && own != drawn)
    }

    /// Leaves out the lines nearest to the points that say so, and counts them.
    ///
    /// With other lines that were looked at the nearest of those is meant: what the drawing has of it is left out, and that may
    /// be nothing.
    pub(super) fn suppress(
        &self,
        net: &mut BoundaryNet,
        thin: &mut Vec<ThinMark>,
        looked_at: Option<&(Traced, Vec<ThinMark>)>,
    ) -> Result<Noted<LengthCount>, StudyError> {
        let size_mm = [net.width_mm, net.height_mm];
        let mut without: Vec<usize> = Vec::new();
        let mut notes = Vec::new();
        for point in &self.suppressed {
            let p = Point::new(point.what[0].mm(size_mm[0]), point.what[1].mm(size_mm[1]));
            let drawn: Lines<'_> = (net, thin);
            let meant = looked_at.map_or(drawn, |(traced, thin)| (&traced.net, thin));
            let nearest = curves(meant).map(|curve| (curve, foot(curve, p)));
            let nearest = nearest.min_by(|(_, a), (_, b)| a.distance(p).total_cmp(&b.distance(p)));
            let (curve, at) = match nearest {
                Some((curve, at)) if at.distance(p) <= SUPPRESS_WITHIN_MM => (curve, at),
                nearest => {
                    let nearest_mm = nearest.map(|(_, at)| at.distance(p));
                    return Err(point.at_fault(EntryFault::NoLine { at: point.what, nearest_mm }));
                }
            };
            let before = without.len();
            if looked_at.is_none() {
                without.extend(curves(drawn).position(|other| std::ptr::eq(other, curve)));
            } else {
                // A finer drawing may have the line in several pieces, a plainer one as part of a longer line.
                let holds = |other: &[CubicBez]| {
                    foot(other, at).distance(at) <= SAME_MM
                        || middle(other).is_some_and(|m| foot(curve, m).distance(m) <= SAME_MM)
                };
                without.extend((0..).zip(curves(drawn)).filter(|(_, other)| holds(other)).map(|(k, _)| k));
            }
            if without.len() == before {
                notes.push(format!(
                    "The line at {} that the study file leaves out is not drawn with this much line anyway.",
                    said(&point.what)
                ));
            }
        }
        without.sort_unstable();
        without.dedup();
        let mut counted = LengthCount { count: without.len(), length_mm: 0.0 };
        let edges = net.transitions.len();
        for &k in without.iter().rev() {
            if k < edges {
                counted.length_mm += net.transitions[k].length_mm();
                net.transitions[k].suppressed = true;
            } else {
                counted.length_mm += thin.remove(k - edges).length_mm();
            }
        }
        Ok(Noted::with(counted, notes))
    }
}

/// All curves of a drawing.
fn curves<'a>((net, thin): Lines<'a>) -> impl Iterator<Item = &'a [CubicBez]> {
    let edges = net.transitions.iter().map(|t| t.curve.as_slice());
    edges.chain(thin.iter().map(|mark| mark.curve.as_slice()))
}

/// The point of a curve that is nearest to another; infinitely far where there is no curve.
fn foot(curve: &[CubicBez], p: Point) -> Point {
    let nearest = curve.iter().map(|c| (c, c.nearest(p, 1e-4)));
    let nearest = nearest.min_by(|(_, a), (_, b)| a.distance_sq.total_cmp(&b.distance_sq));
    nearest.map_or(Point::new(f64::INFINITY, f64::INFINITY), |(c, nearest)| c.eval(nearest.t))
}

/// A point in the midst of a curve.
fn middle(curve: &[CubicBez]) -> Option<Point> {
    curve.get(curve.len() / 2).map(|c| c.eval(0.5))
}
