//! The working order as pages: a map of the picture, how to work, and the squares with boxes to tick.

mod map;
mod said;
mod table;

use kurbo::Point;

use crate::notes::Noted;
use crate::sheet::lettering::wrapped;
use crate::sheet::{Anchor, Fill, Furniture, Layer, Lettering, MarkLines, RectMm, Squares};

use super::{Hand, WorkOrder};

/// Heights of lettering in mm (ISO 3098-1): headings, what is read while working, and the small print.
const HEADING_MM: f64 = 3.5;
const LETTER_MM: f64 = 2.5;
const SMALL_MM: f64 = 1.8;
/// Distance from line to line as a multiple of the height (ISO 3098-1: at least 1.4).
const SPACING: f64 = 1.6;
/// Width of the lines of boxes and map in mm, and of the rules between squares with their strength.
const BOX_LINE_MM: f64 = 0.25;
const RULE_MM: f64 = 0.13;
const RULE_STRENGTH: f64 = 0.45;
/// Between paragraphs, in mm.
const PARAGRAPH_MM: f64 = 1.4;
/// Distance between what stands side by side, in mm.
const GAP_MM: f64 = 6.0;

/// Width and height in mm that the pages need inside their edge.
pub const LEAST_ROOM_MM: [f64; 2] = [117.0, 165.0];

/// What is said on the pages besides the squares.
#[derive(Clone, Debug, Default)]
pub struct OrderTexts {
    /// What the study is: its picture and sheet.
    pub remark: String,
    /// The square that the work goes outward from, where it does.
    pub from: Option<String>,
    /// Names of the groups, where it goes by groups.
    pub groups: Vec<String>,
    /// The drawing hand.
    pub hand: Hand,
    /// The last value, which is black.
    pub last: u8,
}

/// What the pages are made of.
#[derive(Clone, Copy, Debug)]
pub struct Drawn<'a> {
    /// The squares in order.
    pub order: &'a WorkOrder,
    /// The working squares of the picture.
    pub squares: Squares,
    /// Width and height of the picture in mm.
    pub picture_mm: [f64; 2],
    /// Its areas in tints, in mm on the picture.
    pub tints: &'a [Fill],
    /// What is said.
    pub texts: &'a OrderTexts,
    /// Width and height of a page in mm.
    pub size_mm: [f64; 2],
    /// Its bare edge in mm.
    pub edge_mm: f64,
}

impl Drawn<'_> {
    /// Width and height inside the edge.
    fn room(&self) -> [f64; 2] {
        self.size_mm.map(|side| side - 2.0 * self.edge_mm)
    }
}

/// A box to tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tick {
    /// The square, by its place in the order.
    pub square: usize,
    /// The step, by its place in the square.
    pub step: usize,
    /// Where the box lies on its page, in mm.
    pub rect: RectMm,
}

/// A page of the working order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OrderPage {
    /// Width and height in mm.
    pub size_mm: [f64; 2],
    /// What is printed on it.
    pub furniture: Furniture,
    /// The boxes on it.
    pub ticks: Vec<Tick>,
    /// Where the map lies, on the page that has it, in mm.
    pub map_mm: Option<RectMm>,
}

impl OrderPage {
    fn text(&mut self, text: impl Into<String>, at: Point, height_mm: f64, anchor: Anchor) {
        let text = text.into();
        self.furniture.texts.push(Lettering {
            layer: Layer::Order,
            text,
            at,
            height_mm,
            anchor,
            quarter_turns: 0,
        });
    }

    /// A text in lines under each other; `y` is moved past them.
    fn paragraph(&mut self, text: &str, x: f64, y: &mut f64, room_mm: f64, height_mm: f64) {
        for line in wrapped(text, room_mm, height_mm) {
            *y += height_mm * SPACING;
            self.text(line, Point::new(x, *y), height_mm, Anchor::Start);
        }
    }

    fn line(&mut self, path: Vec<Point>, line_mm: f64, strength: f64) {
        self.furniture.lines.push(MarkLines { layer: Layer::Order, paths: vec![path], line_mm, strength });
    }

    fn outline(&mut self, r: &RectMm, line_mm: f64) {
        let (right, bottom) = (r.x + r.width, r.y + r.height);
        let corners = [(r.x, r.y), (right, r.y), (right, bottom), (r.x, bottom), (r.x, r.y)];
        self.line(corners.map(Point::from).to_vec(), line_mm, 1.0);
    }
}

/// The pages of a working order: at least [`LEAST_ROOM_MM`] has to be left inside the edge.
#[must_use]
pub fn order_pages(of: &Drawn<'_>) -> Noted<Vec<OrderPage>> {
    let mut notes = Vec::new();
    let edge = of.edge_mm;
    let [width, height] = of.room();
    let mut first = OrderPage { size_mm: of.size_mm, ..OrderPage::default() };
    let mut y = edge + HEADING_MM;
    first.text("Working order", Point::new(edge, y), HEADING_MM, Anchor::Start);
    if !of.texts.remark.is_empty() {
        first.paragraph(&of.texts.remark, edge, &mut y, width, SMALL_MM);
    }
    y += 3.0;
    let scale = map::scale(of, [width, height - (y - edge)]);
    let map_mm = map::draw(&mut first, of, Point::new(edge, y), scale, &mut notes);
    // The text stands beside the map where that leaves it room.
    let beside = edge + map_mm.width + GAP_MM;
    let room = edge + width - beside;
    let paragraphs = said::paragraphs(of);
    let tall = |high: f64| {
        let lines: usize = paragraphs.iter().map(|text| wrapped(text, room, high).len()).sum();
        lines as f64 * high * SPACING + paragraphs.len() as f64 * PARAGRAPH_MM
    };
    let (x, room, mut at, high) = match room >= said::LEAST_MM {
        true if tall(LETTER_MM) <= map_mm.height => (beside, room, y - 1.0, LETTER_MM),
        true => (beside, room, y - 1.0, SMALL_MM),
        false => (edge, width, y + map_mm.height + 1.0, SMALL_MM),
    };
    for text in &paragraphs {
        first.paragraph(text, x, &mut at, room, high);
        at += PARAGRAPH_MM;
    }
    let top = at.max(y + map_mm.height) + 4.0;
    let pages = table::fill(of, &first, top);
    Noted::with(pages, notes)
}

#[cfg(test)]
mod tests;
