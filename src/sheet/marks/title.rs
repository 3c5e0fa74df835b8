//! The title block: what the sheet is, in a few words under the picture.

use super::{Anchor, CROSS_ARM_MM, Furniture, Ground, Layer, Lettering, Side};
use crate::sheet::lettering::{missing_letters, shortened, width_mm, wrapped};
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
/// Least height of lettering where there is no room for more lines, in mm (common practice, no source).
const LEAST_MM: f64 = 1.0;
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
    if parts.is_empty() && !mirrored {
        return;
    }
    let [left, _, right, _] = ground.reach;
    let start_x = ground.picture.x.max(left);
    let missing = missing_letters(&parts.concat());
    if !missing.is_empty() {
        notes.push(format!(
            "The sheet's lettering lacks {}; a question mark stands for each.",
            missing.iter().map(char::to_string).collect::<Vec<_>>().join(" ")
        ));
    }
    let p = &ground.picture;
    let rule_above = furniture.rules.iter().any(|rule| !rule.down && rule.y < p.y);
    let above = if rule_above { ground.room(Side::Top) } else { super::squares::DEPTH_MM };
    // Beside the cross at the picture's corner lines end before it, beyond it at what the printer reaches.
    let cross_mm = furniture.crosses.first().map(|cross| p.y - cross.y);
    let room_mm = |taken: f64| match cross_mm {
        Some(off) if taken + GAP_MM < off + CROSS_ARM_MM => {
            right.min(p.x + p.width + off - CROSS_ARM_MM - GAP_MM) - start_x
        }
        _ => right - start_x,
    };
    // Lettering of full height comes first, below the picture or above it; smaller lettering takes fewer lines.
    let mut least_depth: Option<f64> = None;
    let mut placed: Option<(Vec<Line>, f64)> = None;
    for full in [true, false] {
        for (side, taken) in [(Side::Bottom, below), (Side::Top, above)] {
            let lines = if full {
                at_full_height(title.name.trim(), &parts, mirrored, room_mm(taken))
            } else {
                smaller(&parts, mirrored, room_mm(taken))
            };
            let Some(lines) = lines else { continue };
            let depth = depth_mm(&lines);
            least_depth = Some(least_depth.map_or(depth, |least| least.min(depth)));
            if placed.is_none() && ground.room(side) - taken >= GAP_MM + depth {
                // Outwards: below the picture the first line is nearest, above it the last one.
                let start = match side {
                    Side::Bottom => p.y + p.height + below + GAP_MM,
                    _ => p.y - above - GAP_MM - depth,
                };
                placed = Some((lines, start));
            }
        }
    }
    let Some((lines, mut baseline)) = placed else {
        let what = if mirrored { ", which says that the sheet is mirrored" } else { "" };
        notes.push(match least_depth {
            Some(depth) => format!(
                "There is no room for the title block{what}: it needs {:.0} mm below the picture, or {:.0} mm above it.",
                (below + GAP_MM + depth).ceil(),
                (super::squares::DEPTH_MM + GAP_MM + depth).ceil()
            ),
            None => format!(
                "There is no room for the title block{what}: only {:.0} mm lie between the picture's left side and the \
                 edge that the printer reaches.",
                right - start_x
            ),
        });
        return;
    };
    for (text, height_mm) in lines {
        baseline += height_mm * LINE_SPACING;
        furniture.texts.push(Lettering {
            layer: Layer::Marks,
            text,
            at: Point::new(start_x, baseline - height_mm * (LINE_SPACING - 1.0)),
            height_mm,
            anchor: Anchor::Start,
            quarter_turns: 0,
        });
    }
}

/// A line and the height of its capitals in mm.
type Line = (String, f64);

/// How deep lines are together, in mm.
fn depth_mm(lines: &[Line]) -> f64 {
    lines.iter().map(|(_, height)| height * LINE_SPACING).sum()
}

/// The title block at its full height: a long name loses its middle, everything else is wrapped by words.
///
/// `None` where not even a few letters have room beside each other.
fn at_full_height(name: &str, parts: &[&str], mirrored: bool, room_mm: f64) -> Option<Vec<Line>> {
    let mut lines: Vec<Line> = Vec::new();
    if mirrored {
        let fitted = fitted_mm(MIRRORED, LOUD_MM, room_mm);
        if fitted >= LETTER_MM {
            lines.push((MIRRORED.into(), fitted));
        } else {
            lines.extend(by_words(MIRRORED, room_mm)?.into_iter().map(|line| (line, LETTER_MM)));
        }
    }
    let mut set: Vec<String> = Vec::new();
    for &part in parts {
        if let Some(line) = set.last_mut() {
            let joined = format!("{line}{BETWEEN}{part}");
            if width_mm(&joined, LETTER_MM) <= room_mm {
                *line = joined;
                continue;
            }
        }
        if part == name {
            set.push(shortened(part, LETTER_MM, room_mm)?);
        } else {
            set.extend(by_words(part, room_mm)?);
        }
    }
    lines.extend(set.into_iter().map(|line| (line, LETTER_MM)));
    Some(lines)
}

/// A text in lines no longer than `room_mm`; a single word that is longer loses its middle.
fn by_words(text: &str, room_mm: f64) -> Option<Vec<String>> {
    let words: Option<Vec<String>> =
        text.split_whitespace().map(|word| shortened(word, LETTER_MM, room_mm)).collect();
    Some(wrapped(&words?.join(" "), room_mm, LETTER_MM))
}

/// The title block in as few lines as it has without wrapping a part: what is longer than the room is drawn smaller.
///
/// `None` where a line would be too small to read.
fn smaller(parts: &[&str], mirrored: bool, room_mm: f64) -> Option<Vec<Line>> {
    let mut lines: Vec<Line> = Vec::new();
    if mirrored {
        lines.push((MIRRORED.into(), fitted_mm(MIRRORED, LOUD_MM, room_mm)));
    }
    lines.extend(between_parts(parts, room_mm).into_iter().map(|line| {
        let fitted = fitted_mm(&line, LETTER_MM, room_mm);
        (line, fitted)
    }));
    lines.iter().all(|(_, height)| *height >= LEAST_MM).then_some(lines)
}

/// The height of a text that is no wider than a room, at most `height_mm`.
fn fitted_mm(text: &str, height_mm: f64, room_mm: f64) -> f64 {
    height_mm * (room_mm / width_mm(text, height_mm)).min(1.0)
}

/// The parts set in lines no longer than `room_mm`, broken between parts only.
fn between_parts(parts: &[&str], room_mm: f64) -> Vec<String> {
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
