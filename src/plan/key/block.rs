//! Parts of the key drawn from their own corner: patches, outlines, texts.

use kurbo::{Affine, BezPath, Circle, Point, Rect, Shape};

use crate::plan::hatching::patch;
use crate::sheet::lettering::quarter_turned;
use crate::sheet::{Anchor, Fill, Furniture, Layer, Lettering, MarkLines, RectMm};

use super::{KeyPatch, KeyValue};

/// Heights of lettering in mm (ISO 3098-1).
pub(super) const SMALL_MM: f64 = 1.8;
pub(super) const LETTER_MM: f64 = 2.5;
/// Outlines lie so far outside the patches, in mm, that they add no ink to them.
pub(super) const OUTSIDE_MM: f64 = 0.3;
/// Their width in mm and how strong they are.
const OUTLINE_MM: f64 = 0.13;
const OUTLINE_STRENGTH: f64 = 0.45;
/// Diameter of the hole in mm: that of an office punch (ISO 838, from memory).
const HOLE_MM: f64 = 6.0;

/// Something drawn from its own corner, to be put on a sheet.
#[derive(Default)]
pub(super) struct Block {
    drawn: Furniture,
    pub(super) patches: Vec<KeyPatch>,
    /// Its width and height in mm.
    pub(super) size: [f64; 2],
}

impl Block {
    /// A text on one line.
    pub(super) fn text(
        &mut self,
        text: impl Into<String>,
        x: f64,
        baseline: f64,
        height_mm: f64,
        anchor: Anchor,
    ) {
        let at = Point::new(x, baseline);
        let text = text.into();
        self.drawn.texts.push(Lettering { layer: Layer::Key, text, at, height_mm, anchor, quarter_turns: 0 });
    }

    /// The patch of a value, with a hole to punch in its middle if wanted.
    pub(super) fn patch(&mut self, of: &KeyValue, r: Rect, hole: bool) {
        let ink = patch(r, of.coverage);
        if !ink.elements().is_empty() {
            self.drawn.fills.push(Fill { layer: Layer::Key, outline: ink, strength: 1.0 });
        }
        let rect = RectMm { x: r.x0, y: r.y0, width: r.width(), height: r.height() };
        self.patches.push(KeyPatch { value: of.value, rect, hole });
        if hole {
            let circle = Circle::new(r.center(), HOLE_MM / 2.0);
            let outline: BezPath = circle.to_path(0.001);
            let round = |k: i32| circle.center + circle.radius * kurbo::Vec2::from_angle(f64::from(k) * TURN);
            self.drawn.fills.push(Fill { layer: Layer::Key, outline, strength: 0.0 });
            self.line((0..=SIDES).map(round).collect());
        }
    }

    /// A thin line around a rectangle, outside it.
    pub(super) fn outline(&mut self, r: Rect) {
        let r = r.inflate(OUTSIDE_MM, OUTSIDE_MM);
        let corners = [(r.x0, r.y0), (r.x1, r.y0), (r.x1, r.y1), (r.x0, r.y1), (r.x0, r.y0)];
        self.line(corners.map(Point::from).to_vec());
    }

    fn line(&mut self, path: Vec<Point>) {
        let (line_mm, strength) = (OUTLINE_MM, OUTLINE_STRENGTH);
        self.drawn.lines.push(MarkLines { layer: Layer::Key, paths: vec![path], line_mm, strength });
    }

    /// Puts it on a sheet with its corner at a point, upright or turned by a quarter clockwise.
    pub(super) fn put(&self, corner: Point, turned: bool) -> (Furniture, RectMm) {
        let [w, h] = self.size;
        let affine = if turned {
            Affine::translate((corner.x + h, corner.y)) * quarter_turned(1)
        } else {
            Affine::translate(corner.to_vec2())
        };
        let mut put = Furniture::default();
        put.add(&self.drawn, affine);
        put.texts.iter_mut().for_each(|text| text.quarter_turns = u8::from(turned));
        let [width, height] = if turned { [h, w] } else { [w, h] };
        (put, RectMm { x: corner.x, y: corner.y, width, height })
    }
}

/// Straight pieces of a circle, and the angle of one.
const SIDES: i32 = 48;
const TURN: f64 = std::f64::consts::TAU / SIDES as f64;
