//! Printed rules: mm on one side, inches on the other, both ways, so that the print can be measured.

use super::{Anchor, Furniture, Ground, Layer, Lettering, Side};
use crate::units::MM_PER_INCH;
use kurbo::Point;
use serde::Serialize;

/// A printed rule: a line with divisions, from its zero to the end of the longer scale.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Rule {
    /// Its zero.
    pub x: f64,
    /// Its zero.
    pub y: f64,
    /// Whether it runs down; to the right otherwise.
    pub down: bool,
    /// Length of its mm scale, in mm.
    pub mm: f64,
    /// Length of its inch scale, in inches.
    pub inches: f64,
}

/// Lengths of a rule's scales, in mm and inches: long ones show an error along the feed that short ones hide.
const LENGTHS: [(f64, f64); 2] = [(200.0, 8.0), (100.0, 4.0)];
/// Longest and shorter divisions of the scales, in mm: a ten or an inch, a five or a half, one or an eighth.
const DIVISION_MM: [f64; 3] = [2.2, 1.6, 1.0];
/// Room for the text behind the end, in mm.
const TEXT_ROOM_MM: f64 = 11.0;
/// Height of its lettering in mm (ISO 3098-1).
const LETTER_MM: f64 = 1.8;
/// Distances of a rule from the picture that are tried, in mm: beside the picture, then beyond the crosses.
const DISTANCES_MM: [f64; 2] = [9.5, 15.5];

impl Rule {
    /// The longest rule within a stretch from `start` that has `room_mm`.
    pub(crate) fn fitting(start: Point, down: bool, room_mm: f64) -> Option<Self> {
        let (mm, inches) = LENGTHS
            .into_iter()
            .find(|&(mm, inches)| mm.max(inches * MM_PER_INCH) + TEXT_ROOM_MM <= room_mm)?;
        Some(Self { x: start.x, y: start.y, down, mm, inches })
    }

    /// Draws it; the mm scale lies above a rule to the right, and left of a rule that runs down.
    pub(crate) fn draw(&self, furniture: &mut Furniture) {
        // Along and across: (along, across), across counts to the right of the way it runs.
        let at = |along: f64, across: f64| {
            if self.down {
                Point::new(self.x - across, self.y + along)
            } else {
                Point::new(self.x + along, self.y + across)
            }
        };
        let inner = if self.down { 1.0 } else { -1.0 };
        let long = self.mm.max(self.inches * MM_PER_INCH);
        let mut paths = vec![vec![at(0.0, 0.0), at(long, 0.0)]];
        for k in 0..=self.mm as usize {
            let kind = if k % 10 == 0 { 0 } else { 1 + usize::from(k % 5 != 0) };
            let along = k as f64;
            paths.push(vec![at(along, 0.0), at(along, inner * DIVISION_MM[kind])]);
        }
        for k in 0..=(self.inches * 8.0) as usize {
            let kind = if k % 8 == 0 { 0 } else { 1 + usize::from(k % 4 != 0) };
            let along = k as f64 * MM_PER_INCH / 8.0;
            paths.push(vec![at(along, 0.0), at(along, -inner * DIVISION_MM[kind])]);
        }
        furniture.mark(Layer::Marks, paths);
        let quarter_turns = u8::from(self.down);
        for (text, side) in [(format!("{} mm", self.mm), inner), (format!("{} in", self.inches), -inner)] {
            // The baseline lies half a letter beyond the middle: below it, or left of it where the text runs down.
            let across = side * 1.2 + LETTER_MM / 2.0;
            furniture.texts.push(Lettering {
                layer: Layer::Marks,
                text,
                at: at(long + 1.2, across),
                height_mm: LETTER_MM,
                anchor: Anchor::Start,
                quarter_turns,
            });
        }
        furniture.rules.push(*self);
    }
}

/// Draws a rule each way, where there is room, and gives the distance below the picture that is taken.
pub(super) fn draw(furniture: &mut Furniture, ground: &Ground, notes: &mut Vec<String>) -> f64 {
    let mut below = super::squares::DEPTH_MM;
    for (down, name, sides) in
        [(false, "across", [Side::Bottom, Side::Top]), (true, "down", [Side::Right, Side::Left])]
    {
        match best(ground, down, sides) {
            Some((rule, side, distance)) => {
                rule.draw(furniture);
                if side == Side::Bottom {
                    below = distance + DIVISION_MM[0];
                }
            }
            None => notes.push(format!(
                "There is no room for a printed rule {name}: it needs {:.0} mm between the picture and the edge that the \
                 printer reaches, and {:.0} mm of length.",
                DISTANCES_MM[0] + DIVISION_MM[0],
                LENGTHS[1].1 * MM_PER_INCH + TEXT_ROOM_MM
            )),
        }
    }
    below
}

/// The longest rule that finds a place, on the side and at the distance that come first.
fn best(ground: &Ground, down: bool, sides: [Side; 2]) -> Option<(Rule, Side, f64)> {
    let p = &ground.picture;
    let [left, top, right, bottom] = ground.reach;
    let mut found: Option<(Rule, Side, f64)> = None;
    for side in sides {
        for (k, distance) in DISTANCES_MM.into_iter().enumerate() {
            if ground.room(side) < distance + DIVISION_MM[0] {
                continue;
            }
            let across = match side {
                Side::Top => p.y - distance,
                Side::Right => p.x + p.width + distance,
                Side::Bottom => p.y + p.height + distance,
                Side::Left => p.x - distance,
            };
            // Beside the picture the crosses at its corners bound a rule; beyond them the paper does.
            let [from, to] = match (down, k) {
                (true, 0) => [p.y.max(top), (p.y + p.height).min(bottom)],
                (true, _) => [top, bottom],
                (false, 0) => [p.x.max(left), (p.x + p.width).min(right)],
                (false, _) => [left, right],
            };
            let start = if down { Point::new(across, from) } else { Point::new(from, across) };
            if let Some(rule) = Rule::fitting(start, down, to - from)
                && found.is_none_or(|(other, ..)| rule.mm > other.mm)
            {
                found = Some((rule, side, distance));
            }
        }
    }
    found
}
