//! The map: the picture small, in tints, with each square's place in the order.

use kurbo::{Affine, Point, Vec2};

use crate::sheet::lettering::width_mm;
use crate::sheet::{Anchor, Fill, Layer, MarkLines, RectMm, column_name};

use super::{BOX_LINE_MM, Drawn, LETTER_MM, OrderPage, RULE_MM, SMALL_MM};

/// Side of a square on the map in mm, where there is room for it.
const SQUARE_MM: f64 = 9.0;
/// Most that the map takes of a page's width and height, as long as its numbers can be read.
const MOST_SHARE: [f64; 2] = [0.55, 0.40];
/// Height in mm that is left for the texts on a page that the map would fill.
const FOR_TEXTS_MM: f64 = 75.0;
/// Room for the names of rows and columns, in mm.
const NAMES_MM: f64 = 4.0;
/// Room around a number in its square, both sides together, in mm.
const AROUND_MM: f64 = 0.8;
/// How strong the lines between squares are.
const GRID_STRENGTH: f64 = 0.55;

/// Millimetres on the page for one on the picture, in a room of so much width and height.
pub(super) fn scale(of: &Drawn<'_>, room: [f64; 2]) -> f64 {
    let side = of.squares.side_mm;
    let fit = |share: [f64; 2], less: f64| {
        let within = |k: usize| (room[k] * share[k] - NAMES_MM - less * k as f64) / of.picture_mm[k];
        within(0).min(within(1))
    };
    let calm = (SQUARE_MM / side).min(fit(MOST_SHARE, 0.0));
    let least = (longest(of, SMALL_MM) + AROUND_MM).max(SMALL_MM + 2.0 * AROUND_MM) / side;
    calm.max(least.min(fit([1.0, 1.0], FOR_TEXTS_MM)))
}

/// Width of the longest number in mm.
fn longest(of: &Drawn<'_>, height_mm: f64) -> f64 {
    width_mm(&"8".repeat(of.order.squares.len().to_string().len()), height_mm)
}

/// Draws the map with its corner at a point, names included; gives the rectangle that it takes.
pub(super) fn draw(
    page: &mut OrderPage,
    of: &Drawn<'_>,
    corner: Point,
    scale: f64,
    notes: &mut Vec<String>,
) -> RectMm {
    let origin = corner + Vec2::new(NAMES_MM, NAMES_MM);
    let shown = Affine::translate(origin.to_vec2()) * Affine::scale(scale);
    let [width, height] = of.picture_mm;
    let squares = of.squares;
    page.furniture
        .fills
        .extend(of.tints.iter().map(|fill| Fill { outline: shown * fill.outline.clone(), ..fill.clone() }));
    let at = |x: f64, y: f64| shown * Point::new(x, y);
    let inner = |count: usize| (1..count).map(|k| k as f64 * squares.side_mm);
    let down = inner(squares.columns).map(|x| vec![at(x, 0.0), at(x, height)]);
    let across = inner(squares.rows).map(|y| vec![at(0.0, y), at(width, y)]);
    let paths: Vec<_> = down.chain(across).collect();
    if !paths.is_empty() {
        let grid = MarkLines { layer: Layer::Order, paths, line_mm: RULE_MM, strength: GRID_STRENGTH };
        page.furniture.lines.push(grid);
    }
    let map_mm = RectMm { x: origin.x, y: origin.y, width: width * scale, height: height * scale };
    page.outline(&map_mm, BOX_LINE_MM);
    names(page, of, &map_mm, scale);
    let side = squares.side_mm * scale;
    let high = if longest(of, LETTER_MM) + AROUND_MM <= side { LETTER_MM } else { SMALL_MM };
    let mut without = Vec::new();
    for (place, square) in of.order.squares.iter().enumerate() {
        let r = &square.rect_mm;
        let text = (place + 1).to_string();
        let fits = |high: f64| {
            width_mm(&text, high) + AROUND_MM <= r.width * scale && high + AROUND_MM <= r.height * scale
        };
        match [high, SMALL_MM].into_iter().find(|&high| fits(high)) {
            Some(high) => {
                let middle = at(r.x + r.width / 2.0, r.y + r.height / 2.0);
                page.text(text, middle + Vec2::new(0.0, high / 2.0), high, Anchor::Middle);
            }
            None => without.push(square.name.as_str()),
        }
    }
    if !without.is_empty() {
        notes.push(format!(
            "{} of {} squares are too small on the map of the working order for their number: {}.",
            without.len(),
            of.order.squares.len(),
            super::said::few(&without)
        ));
    }
    page.map_mm = Some(map_mm);
    RectMm { x: corner.x, y: corner.y, width: NAMES_MM + map_mm.width, height: NAMES_MM + map_mm.height }
}

/// Names of columns above and of rows beside the map; what is too narrow goes without.
fn names(page: &mut OrderPage, of: &Drawn<'_>, map_mm: &RectMm, scale: f64) {
    let [width, height] = of.picture_mm;
    let side = of.squares.side_mm;
    let span = |k: usize, length: f64| {
        let (from, to) = (k as f64 * side, ((k + 1) as f64 * side).min(length));
        ((from + to) / 2.0 * scale, (to - from) * scale)
    };
    for column in 0..of.squares.columns {
        let (middle, room) = span(column, width);
        let text = column_name(column);
        if width_mm(&text, SMALL_MM) + AROUND_MM <= room {
            let at = Point::new(map_mm.x + middle, map_mm.y - 1.2);
            page.text(text, at, SMALL_MM, Anchor::Middle);
        }
    }
    for row in 0..of.squares.rows {
        let (middle, room) = span(row, height);
        if SMALL_MM + AROUND_MM <= room {
            let at = Point::new(map_mm.x - 1.0, map_mm.y + middle + SMALL_MM / 2.0);
            page.text((row + 1).to_string(), at, SMALL_MM, Anchor::End);
        }
    }
}
