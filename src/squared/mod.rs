//! Squared: the reference at full strength with the working squares over it, and its busiest squares enlarged.
//!
//! In: the picture at the reference's own pixels, the [`BoundaryNet`], the working squares. Out: the grid over the sheet,
//! and pages of enlargements. Units: mm; lengths of line are on the picture.
//! Keeps: nothing is resampled, pixels are only placed; an enlargement shows its square whole, with a little of what lies
//! around it, at the scale that it says.

use std::cmp::Reverse;

use kurbo::{Affine, BezPath, PathEl, Point, Vec2};

use crate::raster::Raster;
use crate::sheet::lettering::shortened;
use crate::sheet::{Anchor, Cell, Furniture, Layer, Lettering, MarkLines, RectMm, Squares};
use crate::thin::ThinMark;
use crate::transitions::BoundaryNet;

/// What is shown around a square that is enlarged, in mm on the picture: strokes are followed over its edge.
pub const AROUND_MM: f64 = 2.0;
/// Width and height in mm that the pages have inside their edge at least: two squares of 25 mm twice as large beside each other.
pub const LEAST_ROOM_MM: [f64; 2] = [117.0, 165.0];

/// Lines over the picture: white, and black within it, so that they are seen on any tone. Width in mm and strength.
const OVER: [(f64, f64); 2] = [(0.45, 0.0), (0.13, 1.0)];
/// Heights of lettering in mm (ISO 3098-1).
const HEADING_MM: f64 = 3.5;
const LETTER_MM: f64 = 2.5;
const SMALL_MM: f64 = 1.8;
/// Between one enlargement and the next, across and down, its caption included, in mm.
const GAP_MM: [f64; 2] = [5.0, 9.0];
/// Width of a caption in mm, which small squares keep free for it.
const CAPTION_MM: f64 = 36.0;
/// Height of the heading of a page in mm.
const HEAD_MM: f64 = 11.0;
/// How far straight pieces may lie from the curves, in mm: at 0.01 mm a square's lines came out 0.05 mm short, and one along an
/// edge in the wrong square.
const FLAT_MM: f64 = 0.000_2;

/// A square with the length of line in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Busy {
    /// Its column and row.
    pub cell: Cell,
    /// Its name.
    pub name: String,
    /// Boundary lines and thin marks in it, in mm.
    pub line_mm: f64,
}

/// A square shown larger.
#[derive(Clone, Debug, PartialEq)]
pub struct Enlarged {
    /// Which.
    pub square: Busy,
    /// How many times larger than on the sheet.
    pub scale: f64,
    /// Where the square lies on its page, in mm.
    pub rect_mm: RectMm,
    /// Pixels of the reference per mm of the page.
    pub px_per_mm: f64,
}

/// A piece of the picture, pixel by pixel.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Its grey samples.
    pub grey: Raster<u8>,
    /// Where it lies on its page, in mm.
    pub rect_mm: RectMm,
}

/// A page of enlargements.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct EnlargedPage {
    /// Width and height in mm.
    pub size_mm: [f64; 2],
    /// What is printed on it.
    pub furniture: Furniture,
    /// The pieces of the picture on it.
    pub pieces: Vec<Piece>,
    /// The squares on it.
    pub squares: Vec<Enlarged>,
}

/// The picture and its squares.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// The picture in grey samples of sRGB, at the reference's own pixels.
    pub picture: &'a Raster<u8>,
    /// Its width and height on the sheet, in mm.
    pub picture_mm: [f64; 2],
    /// The working squares.
    pub squares: Squares,
}

/// How squares are enlarged.
#[derive(Clone, Debug, PartialEq)]
pub struct EnlargeOptions {
    /// How many times larger, as long as a page holds it.
    pub times: f64,
    /// Width and height of a page in mm.
    pub size_mm: [f64; 2],
    /// Its bare edge in mm.
    pub edge_mm: f64,
    /// What the study is: its picture and sheet.
    pub remark: String,
}

/// All squares with the length of line in each, the busiest first; of equals the one that is read first.
#[must_use]
pub fn by_line(net: &BoundaryNet, thin: &[ThinMark], squares: Squares) -> Vec<Busy> {
    let mut lengths = vec![0.0; squares.columns * squares.rows];
    let paths = net.drawn().map(|t| t.path()).chain(thin.iter().map(ThinMark::path));
    for path in paths {
        for ([column, row], length) in squares.lengths(&flattened(&path)) {
            lengths[row * squares.columns + column] += length;
        }
    }
    let busy = |(k, &line_mm): (usize, &f64)| {
        let cell = [k % squares.columns, k / squares.columns];
        Busy { cell, name: squares.name(cell[0], cell[1]), line_mm }
    };
    let mut all: Vec<Busy> = lengths.iter().enumerate().map(busy).collect();
    // In whole micrometres, so that equal squares stay in reading order whatever the last bit says.
    all.sort_by_key(|square| Reverse((square.line_mm * 1000.0).round() as i64));
    all
}

fn flattened(path: &BezPath) -> Vec<Point> {
    let (mut points, mut first) = (Vec::new(), Point::ORIGIN);
    kurbo::flatten(path.elements().iter().copied(), FLAT_MM, |element| match element {
        PathEl::MoveTo(p) => {
            first = p;
            points.push(p);
        }
        PathEl::LineTo(p) => points.push(p),
        PathEl::ClosePath if points.last() != Some(&first) => points.push(first),
        _ => {}
    });
    points
}

/// The grid of the squares over the picture, edge included: from the picture to the sheet as shown.
#[must_use]
pub fn grid(squares: Squares, [width, height]: [f64; 2], shown: Affine) -> Vec<MarkLines> {
    let at = |x: f64, y: f64| shown * Point::new(x, y);
    let place = |k: usize, length: f64| (k as f64 * squares.side_mm).min(length);
    let down = (0..=squares.columns).map(|k| place(k, width)).map(|x| vec![at(x, 0.0), at(x, height)]);
    let across = (0..=squares.rows).map(|k| place(k, height)).map(|y| vec![at(0.0, y), at(width, y)]);
    over(down.chain(across).collect())
}

/// Lines that are seen on any tone.
fn over(paths: Vec<Vec<Point>>) -> Vec<MarkLines> {
    let of =
        |(line_mm, strength)| MarkLines { layer: Layer::Squares, paths: paths.clone(), line_mm, strength };
    OVER.into_iter().map(of).collect()
}

/// Squares enlarged, on as many pages as it takes; at least [`LEAST_ROOM_MM`] has to be left inside the edge.
#[must_use]
pub fn enlarge(source: &Source<'_>, squares: &[Busy], options: &EnlargeOptions) -> Vec<EnlargedPage> {
    if squares.is_empty() {
        return Vec::new();
    }
    let room = options.size_mm.map(|side| side - 2.0 * options.edge_mm);
    let shown_mm = source.squares.side_mm + 2.0 * AROUND_MM;
    let most = (room[0] / shown_mm).min((room[1] - HEAD_MM - GAP_MM[1]) / shown_mm);
    let scale = options.times.min(most);
    let step = [(shown_mm * scale).max(CAPTION_MM) + GAP_MM[0], shown_mm * scale + GAP_MM[1]];
    let fit = |length: f64, step: f64, gap: f64| (((length + gap) / step + 1e-9) as usize).max(1);
    let columns = fit(room[0], step[0], GAP_MM[0]);
    // A caption stands under the last row too.
    let rows = fit(room[1] - HEAD_MM, step[1], 0.0);
    let chunks: Vec<&[Busy]> = squares.chunks(columns * rows).collect();
    let page = |(number, own): (usize, &&[Busy])| {
        let mut page = EnlargedPage { size_mm: options.size_mm, ..EnlargedPage::default() };
        let edge = options.edge_mm;
        let mut text = |text: String, at: Point, height_mm: f64, anchor: Anchor| {
            let lettering =
                Lettering { layer: Layer::Numbers, text, at, height_mm, anchor, quarter_turns: 0 };
            page.furniture.texts.push(lettering);
        };
        let heading = Point::new(edge, edge + HEADING_MM);
        text("Squares with most lines".into(), heading, HEADING_MM, Anchor::Start);
        let remark = shortened(&options.remark, SMALL_MM, room[0]).unwrap_or_default();
        text(remark, heading + Vec2::new(0.0, 1.6 * SMALL_MM), SMALL_MM, Anchor::Start);
        if chunks.len() > 1 {
            let at = Point::new(edge + room[0], edge + SMALL_MM);
            text(format!("page {} of {}", number + 1, chunks.len()), at, SMALL_MM, Anchor::End);
        }
        for (k, square) in own.iter().enumerate() {
            let corner = Point::new(
                edge + (k % columns) as f64 * step[0],
                edge + HEAD_MM + (k / columns) as f64 * step[1],
            );
            put(&mut page, source, square, corner, scale);
        }
        page
    };
    chunks.iter().enumerate().map(page).collect()
}

/// Puts a square on a page, what is shown of it beginning at a corner.
fn put(page: &mut EnlargedPage, source: &Source<'_>, square: &Busy, corner: Point, scale: f64) {
    let side = source.squares.side_mm;
    let [width, height] = source.picture_mm;
    let [x, y] = square.cell.map(|place| place as f64 * side);
    let on_picture = RectMm { x, y, width: side.min(width - x), height: side.min(height - y) };
    // From the picture to the page.
    let shown = Affine::translate((corner.x, corner.y))
        * Affine::scale(scale)
        * Affine::translate((AROUND_MM - x, AROUND_MM - y));
    let (piece, piece_mm) = cut(source, &on_picture);
    let placed = |r: &RectMm| {
        let at = shown * Point::new(r.x, r.y);
        RectMm { x: at.x, y: at.y, width: r.width * scale, height: r.height * scale }
    };
    let px_per_mm = source.picture.width() as f64 / width / scale;
    page.pieces.push(Piece { grey: piece, rect_mm: placed(&piece_mm) });
    let rect_mm = placed(&on_picture);
    let (right, bottom) = (rect_mm.x + rect_mm.width, rect_mm.y + rect_mm.height);
    let corners = [(rect_mm.x, rect_mm.y), (right, rect_mm.y), (right, bottom), (rect_mm.x, bottom)];
    let ring: Vec<Point> = corners.iter().chain(&corners[..1]).copied().map(Point::from).collect();
    page.furniture.lines.extend(over(vec![ring]));
    let shown_mm = placed(&piece_mm);
    let below = Point::new(corner.x, shown_mm.y + shown_mm.height);
    let words = [
        (square.name.clone(), LETTER_MM, 0.0),
        (format!("{} times; {:.0} mm of line", rounded(scale), square.line_mm), SMALL_MM, 8.0),
    ];
    for (text, height_mm, aside) in words {
        let at = Point::new(below.x + aside, below.y + LETTER_MM + 1.2);
        let anchor = Anchor::Start;
        page.furniture.texts.push(Lettering {
            layer: Layer::Numbers,
            text,
            at,
            height_mm,
            anchor,
            quarter_turns: 0,
        });
    }
    page.squares.push(Enlarged { square: square.clone(), scale, rect_mm, px_per_mm });
}

/// A scale as it is said: 2, or 1.83.
fn rounded(scale: f64) -> f64 {
    (scale * 100.0).round() / 100.0
}

/// The whole pixels that show a rectangle with what lies around it, and where they lie, in mm on the picture.
fn cut(source: &Source<'_>, of: &RectMm) -> (Raster<u8>, RectMm) {
    let picture = source.picture;
    let size = [picture.width(), picture.height()];
    let px = [0, 1].map(|k| size[k] as f64 / source.picture_mm[k]);
    let first = |k: usize, at: f64| (((at - AROUND_MM) * px[k]).round().max(0.0) as usize).min(size[k] - 1);
    let last = |k: usize, at: f64| (((at + AROUND_MM) * px[k]).round().max(1.0) as usize).min(size[k]);
    let (left, top) = (first(0, of.x), first(1, of.y));
    let right = last(0, of.x + of.width).max(left + 1);
    let bottom = last(1, of.y + of.height).max(top + 1);
    let rows = (top..bottom).flat_map(|row| picture.row(row)[left..right].iter().copied());
    let piece = Raster::from_vec(right - left, bottom - top, rows.collect());
    let mm = |pixels: usize, k: usize| pixels as f64 / px[k];
    let piece_mm =
        RectMm { x: mm(left, 0), y: mm(top, 1), width: mm(right - left, 0), height: mm(bottom - top, 1) };
    (piece, piece_mm)
}

#[cfg(test)]
mod tests;
