//! Thin marks as strokes: drawn after the net, each on to the nearest that is left.

use super::{Line, Run, StrokePlan, length_mm, on_sheet, order};
use crate::sheet::Placement;
use crate::thin::ThinMark;
use kurbo::{CubicBez, Point};

/// One thin mark as the pencil draws it.
#[derive(Clone, Debug, PartialEq)]
pub struct ThinStroke {
    /// The centre line as cubics that join end to end, in mm on the sheet, whole micrometres.
    pub curve: Vec<CubicBez>,
    /// Its value number.
    pub value: u8,
    /// Its median width in mm.
    pub width_mm: f64,
}

impl StrokePlan {
    /// Adds thin marks (mm on the picture) behind the strokes of the net, and what they add to length and travel.
    pub fn add_thin(&mut self, marks: &[ThinMark], placement: &Placement) {
        let offset = placement.offset();
        let lines = marks
            .iter()
            .enumerate()
            .filter(|(_, m)| !m.curve.is_empty())
            .map(|(i, m)| Line {
                runs: vec![Run { transition: i, reversed: false, curve: m.curve.clone(), free: false }],
                closed: false,
            })
            .collect();
        let last = self.end();
        let mut at = last.unwrap_or(Point::ZERO) - offset;
        let mut before = last;
        for run in order::shortest(lines, &mut at).into_iter().flat_map(|line| line.runs) {
            let mark = &marks[run.transition];
            let curve: Vec<CubicBez> = run.curve.iter().map(|&c| on_sheet(c, offset)).collect();
            self.drawn_mm += length_mm(&curve);
            self.travel_mm += before.map_or(0.0, |p| p.distance(curve[0].p0));
            before = curve.last().map(|c| c.p3);
            self.thin.push(ThinStroke { curve, value: mark.value, width_mm: mark.median_width_mm() });
        }
    }
}
