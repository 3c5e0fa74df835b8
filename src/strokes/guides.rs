//! Guide lines as strokes: cut at the picture's edge, drawn after everything else, each on to the nearest that is left.

use super::{Line, Run, StrokePlan, cut, length_mm, on_sheet, order};
use crate::guides::GuideLine;
use crate::sheet::Placement;
use kurbo::{CubicBez, Point};

/// One guide line as the pencil draws it.
#[derive(Clone, Debug, PartialEq)]
pub struct GuideStroke {
    /// The line as cubics that join end to end, in mm on the sheet, whole micrometres.
    pub curve: Vec<CubicBez>,
    /// Whether it ends where it begins and is drawn as a closed line.
    pub closed: bool,
}

impl StrokePlan {
    /// Adds guide lines (mm on the picture) behind all other strokes, and what they add to length and travel.
    pub fn add_guides(&mut self, lines: &[GuideLine], placement: &Placement) {
        let offset = placement.offset();
        let pieces: Vec<(Vec<CubicBez>, bool)> = lines
            .iter()
            .flat_map(|line| {
                let curve: Vec<CubicBez> = line.curve.iter().map(|&c| on_sheet(c, offset)).collect();
                cut(&curve, line.closed, &placement.picture_mm, true)
            })
            .collect();
        let lines = pieces
            .iter()
            .enumerate()
            .filter(|(_, (curve, _))| length_mm(curve) > 0.0)
            .map(|(i, (curve, closed))| Line {
                runs: vec![Run { transition: i, reversed: false, curve: curve.clone(), free: *closed }],
                closed: *closed,
            })
            .collect();
        let mut before = self.end();
        let mut at = before.unwrap_or(Point::ZERO);
        for line in order::shortest(lines, &mut at) {
            let closed = line.closed;
            for Run { curve, .. } in line.runs {
                self.drawn_mm += length_mm(&curve);
                self.travel_mm += before.map_or(0.0, |p| p.distance(curve[0].p0));
                before = curve.last().map(|c| c.p3);
                self.guides.push(GuideStroke { curve, closed });
            }
        }
    }
}
