//! The title block: what the sheet is, in a few words under the picture.

use super::{Anchor, Furniture, Ground, Layer, Lettering, Side};
use crate::sheet::lettering::{missing_letters, width_mm};
use kurbo::Point;

/// What the title block says; empty parts are left out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TitleBlock {
    /// Name of the picture's file.
    pub name: String,
    /// The sheet: its paper and size.
    pub sheet: String,
    /// Size of the picture, and its scale where that is known.
    pub scale: String,
    /// Whose picture it is after, as the artist wrote it.
    pub credit: String,
    /// The date, as the artist wrote it: the program adds none, so that output repeats.
    pub date: String,
    /// Anything else that has to be said of this sheet.
    pub remark: String,
}

/// Height of the lettering, and of the word that the sheet is mirrored, in mm (ISO 3098-1).
const LETTER_MM: f64 = 1.8;
const LOUD_MM: f64 = 2.5;
/// Distance from line to line as a multiple of the height (ISO 3098-1: at least 1.4).
const LINE_SPACING: f64 = 1.6;
/// Least distance from what lies above, in mm.
const GAP_MM: f64 = 1.2;
/// What stands between the parts.
const BETWEEN: &str = "  \u{b7}  ";
/// What a mirrored sheet says of itself.
const MIRRORED: &str =
    "MIRRORED: for tracing from the back, rubbing down face down, or toner transfer; not for graphite paper";

/// Writes the title block below the picture, `below` mm from it on, or above it where there is more room.
pub(super) fn draw(
    furniture: &mut Furniture,
    ground: &Ground,
    title: &TitleBlock,
    mirrored: bool,
    below: f64,
    notes: &mut Vec<String>,
) {
    let parts: Vec<&str> =
        [&title.name, &title.sheet, &title.scale, &title.credit, &title.date, &title.remark]
            .into_iter()
            .map(|part| part.trim())
            .filter(|part| !part.is_empty())
            .collect();
    let [left, _, right, _] = ground.reach;
    let start_x = ground.picture.x.max(left);
    let mut lines: Vec<(String, f64)> = Vec::new();
    if mirrored {
        lines.push((MIRRORED.into(), LOUD_MM));
    }
    lines.extend(wrapped(&parts, right - start_x).into_iter().map(|line| (line, LETTER_MM)));
    if lines.is_empty() {
        return;
    }
    let missing = missing_letters(&parts.concat());
    if !missing.is_empty() {
        notes.push(format!(
            "The sheet's lettering lacks {}; a question mark stands for each.",
            missing.iter().map(char::to_string).collect::<Vec<_>>().join(" ")
        ));
    }
    let depth: f64 = lines.iter().map(|(_, height)| height * LINE_SPACING).sum();
    let p = &ground.picture;
    let rule_above = furniture.rules.iter().any(|rule| !rule.down && rule.y < p.y);
    let above = if rule_above { ground.room(Side::Top) } else { super::squares::DEPTH_MM };
    // Outwards: below the picture the first line is nearest, above it the last one.
    let mut baseline = if ground.room(Side::Bottom) - below >= GAP_MM + depth {
        p.y + p.height + below + GAP_MM
    } else if ground.room(Side::Top) - above >= GAP_MM + depth {
        p.y - above - GAP_MM - depth
    } else {
        notes.push(format!(
            "There is no room for the title block{}: it needs {:.0} mm below the picture, or {:.0} mm above it.",
            if mirrored { ", which says that the sheet is mirrored" } else { "" },
            (below + GAP_MM + depth).ceil(),
            (super::squares::DEPTH_MM + GAP_MM + depth).ceil()
        ));
        return;
    };
    for (text, height_mm) in lines {
        baseline += height_mm * LINE_SPACING;
        // Never wider than what the printer reaches: a name without spaces is drawn smaller.
        let fitted = height_mm * ((right - start_x) / width_mm(&text, height_mm)).min(1.0);
        furniture.texts.push(Lettering {
            layer: Layer::Marks,
            text,
            at: Point::new(start_x, baseline - height_mm * (LINE_SPACING - 1.0)),
            height_mm: fitted,
            anchor: Anchor::Start,
            quarter_turns: 0,
        });
    }
}

/// The parts set in lines no longer than `room_mm`, broken between parts only.
fn wrapped(parts: &[&str], room_mm: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for part in parts {
        if let Some(line) = lines.last_mut() {
            let joined = format!("{line}{BETWEEN}{part}");
            if width_mm(&joined, LETTER_MM) <= room_mm {
                *line = joined;
                continue;
            }
        }
        lines.push((*part).into());
    }
    lines
}
