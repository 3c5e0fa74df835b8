//! Parts of a page drawn from its top left corner: texts, lines, ink.

use kurbo::{BezPath, Point, Rect};

use crate::sheet::{Anchor, Fill, Furniture, Layer, Lettering, MarkLines};

/// Heights of lettering in mm (ISO 3098-1).
pub(super) const SMALL_MM: f64 = 1.8;
pub(super) const LETTER_MM: f64 = 2.5;
pub(super) const HEADING_MM: f64 = 3.5;
/// Distance from line to line as a multiple of the height (ISO 3098-1: at least 1.4).
pub(super) const SPACING: f64 = 1.6;
/// Width of thin lines in mm (ISO 128-2).
pub(super) const THIN_MM: f64 = 0.18;
/// Width of lines that stand out in mm (ISO 128-2).
pub(super) const LINE_MM: f64 = 0.35;

/// What is printed on a page of value structure.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Block {
    pub(super) drawn: Furniture,
}

impl Block {
    pub(super) fn text(&mut self, text: impl Into<String>, at: Point, height_mm: f64, anchor: Anchor) {
        let (layer, text) = (Layer::Structure, text.into());
        self.drawn.texts.push(Lettering { layer, text, at, height_mm, anchor, quarter_turns: 0 });
    }

    pub(super) fn ink(&mut self, outline: BezPath, strength: f64) {
        if !outline.elements().is_empty() {
            self.drawn.fills.push(Fill { layer: Layer::Structure, outline, strength });
        }
    }

    pub(super) fn lines(&mut self, paths: Vec<Vec<Point>>, line_mm: f64, strength: f64) {
        if !paths.is_empty() {
            self.drawn.lines.push(MarkLines { layer: Layer::Structure, paths, line_mm, strength });
        }
    }

    pub(super) fn outline(&mut self, r: Rect, line_mm: f64, strength: f64) {
        let corners = [(r.x0, r.y0), (r.x1, r.y0), (r.x1, r.y1), (r.x0, r.y1), (r.x0, r.y0)];
        self.lines(vec![corners.map(Point::from).to_vec()], line_mm, strength);
    }
}
