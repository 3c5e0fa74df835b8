//! Working squares: the picture divided from its top left corner, with letters along and numbers down.

use super::{Furniture, Ground, Layer, Lettering, MARK_LINE_MM, MarkLines, RectMm, Side};
use crate::sheet::{Placement, View};
use kurbo::Point;
use serde::Serialize;

/// How far the squares' ticks and names reach out from the picture, in mm.
pub(super) const DEPTH_MM: f64 = 6.5;
/// Distances of a tick's ends from the picture, in mm.
const TICK_MM: [f64; 2] = [0.5, 2.5];
/// Distance of the middle of the names from the picture, in mm.
const NAME_MM: f64 = 4.8;
/// Height of the names in mm (ISO 3098-1).
const NAME_HEIGHT_MM: f64 = 2.5;
/// Narrowest column or row that has its name beside it, in mm: the name and half a millimetre to both sides.
const LEAST_NAMED_MM: f64 = NAME_HEIGHT_MM + 1.0;
/// How strong the grid is, compared with the boundary lines.
const GRID_STRENGTH: f64 = 0.25;
/// Letters of the columns: no I and no O, which look like figures.
const LETTERS: &[u8; 24] = b"ABCDEFGHJKLMNPQRSTUVWXYZ";

/// The working squares of a picture, from its top left corner.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Squares {
    /// Side of a square in mm.
    pub side_mm: f64,
    /// Columns, the last of which may be narrower.
    pub columns: usize,
    /// Rows, the last of which may be lower.
    pub rows: usize,
}

impl Squares {
    /// The squares of a picture of this size in mm.
    #[must_use]
    pub fn of(picture: &RectMm, side_mm: f64) -> Self {
        // A rest thinner than a hundredth of a mm is rounding, not a square.
        let count = |length: f64| ((length - 0.01) / side_mm).ceil().max(1.0) as usize;
        Self { side_mm, columns: count(picture.width), rows: count(picture.height) }
    }

    /// Column and row, counted from 0, of the square that holds a point in mm on the picture.
    #[must_use]
    pub fn cell(&self, at: Point) -> [usize; 2] {
        let of = |place: f64, count: usize| ((place / self.side_mm).max(0.0) as usize).min(count - 1);
        [of(at.x, self.columns), of(at.y, self.rows)]
    }

    /// What a square is called.
    #[must_use]
    pub fn name(&self, column: usize, row: usize) -> String {
        format!("{}{}", column_name(column), row + 1)
    }

    /// The rectangle of a square by its name (`C4`) on a picture that lies so on the sheet; `None` where there is none.
    #[must_use]
    pub fn rect(&self, name: &str, picture: &RectMm) -> Option<RectMm> {
        let name = name.trim().to_uppercase();
        let split = name.find(|c: char| c.is_ascii_digit())?;
        let (letters, digits) = name.split_at(split);
        let column = column_number(letters)?;
        let row = digits.parse::<usize>().ok()?.checked_sub(1)?;
        if column >= self.columns || row >= self.rows {
            return None;
        }
        let (x, y) = (column as f64 * self.side_mm, row as f64 * self.side_mm);
        Some(RectMm {
            x: picture.x + x,
            y: picture.y + y,
            width: self.side_mm.min(picture.width - x),
            height: self.side_mm.min(picture.height - y),
        })
    }
}

/// The letters of a column, counted from 0: A to Z without I and O, then AA, AB and so on.
#[must_use]
pub fn column_name(column: usize) -> String {
    let base = LETTERS.len();
    let mut name = Vec::new();
    let mut rest = column + 1;
    while rest > 0 {
        rest -= 1;
        name.push(char::from(LETTERS[rest % base]));
        rest /= base;
    }
    name.iter().rev().collect()
}

/// The column that has these letters.
fn column_number(letters: &str) -> Option<usize> {
    if letters.is_empty() || letters.len() > 4 {
        return None;
    }
    let mut number = 0;
    for letter in letters.bytes() {
        number = number * LETTERS.len() + LETTERS.iter().position(|&l| l == letter)? + 1;
    }
    Some(number - 1)
}

/// Draws ticks and names in the margin, and the grid if asked, of the picture as it is shown.
pub(super) fn draw(
    furniture: &mut Furniture,
    placement: &Placement,
    view: View,
    side_mm: f64,
    grid: bool,
    ground: &Ground,
) {
    let picture = &placement.picture_mm;
    let squares = Squares::of(picture, side_mm);
    let shown = |x: f64, y: f64| view.point(placement.sheet_mm, Point::new(x, y));
    let (right, bottom) = (picture.x + picture.width, picture.y + picture.height);
    // Where columns and rows are divided, without the picture's own edges.
    let inner = |from: f64, count: usize| (1..count).map(move |k| from + k as f64 * side_mm);
    let mut ticks = Vec::new();
    let [near, far] = TICK_MM;
    for x in inner(picture.x, squares.columns) {
        ticks.push(vec![shown(x, picture.y - near), shown(x, picture.y - far)]);
        ticks.push(vec![shown(x, bottom + near), shown(x, bottom + far)]);
    }
    for y in inner(picture.y, squares.rows) {
        ticks.push(vec![shown(picture.x - near, y), shown(picture.x - far, y)]);
        ticks.push(vec![shown(right + near, y), shown(right + far, y)]);
    }
    ticks.retain(|tick| within(ground, &tick[1]));
    if !ticks.is_empty() {
        furniture.mark(Layer::Squares, ticks);
    }
    if grid && squares.columns.max(squares.rows) > 1 {
        let down = inner(picture.x, squares.columns).map(|x| vec![shown(x, picture.y), shown(x, bottom)]);
        let across = inner(picture.y, squares.rows).map(|y| vec![shown(picture.x, y), shown(right, y)]);
        let paths = down.chain(across).collect();
        let line_mm = MARK_LINE_MM;
        furniture.lines.push(MarkLines { layer: Layer::Squares, paths, line_mm, strength: GRID_STRENGTH });
    }
    // The middle of each column or row, the last of which may be narrow.
    let middle = |from: f64, length: f64, k: usize| {
        from + (k as f64 * side_mm + ((k + 1) as f64 * side_mm).min(length)) / 2.0
    };
    let mut name = |text: String, at: Point| {
        let room = kurbo::Vec2::new(NAME_HEIGHT_MM / 2.0, NAME_HEIGHT_MM / 2.0);
        if within(ground, &(at - room)) && within(ground, &(at + room)) {
            furniture.texts.push(Lettering::centred(Layer::Numbers, text, at, NAME_HEIGHT_MM));
        }
    };
    // A last column or row too narrow for its name goes without, or the name would lie on the corner's mark.
    let named = |length: f64, k: usize| length - k as f64 * side_mm >= LEAST_NAMED_MM;
    for column in (0..squares.columns).filter(|&k| named(picture.width, k)) {
        let x = middle(picture.x, picture.width, column);
        for y in [picture.y - NAME_MM, bottom + NAME_MM] {
            name(column_name(column), shown(x, y));
        }
    }
    for row in (0..squares.rows).filter(|&k| named(picture.height, k)) {
        let y = middle(picture.y, picture.height, row);
        for x in [picture.x - NAME_MM, right + NAME_MM] {
            name((row + 1).to_string(), shown(x, y));
        }
    }
    furniture.squares = Some(squares);
}

/// Whether the printer reaches a point beside the picture.
fn within(ground: &Ground, point: &Point) -> bool {
    let p = &ground.picture;
    let beyond = [
        (Side::Top, p.y - point.y),
        (Side::Right, point.x - p.x - p.width),
        (Side::Bottom, point.y - p.y - p.height),
        (Side::Left, p.x - point.x),
    ];
    beyond.into_iter().all(|(side, out)| out <= 0.0 || out <= ground.room(side))
}
