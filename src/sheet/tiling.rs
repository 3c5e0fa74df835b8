//! A sheet over several printer pages: cells that meet at trim lines, each shown with some of its neighbours around it.

mod page;

pub use page::{Page, SheetOnPage};

use super::{Paper, RectMm, SheetError, View};
use crate::notes::Noted;
use kurbo::{Affine, Point};

/// How much neighbouring pages share unless set, in mm (common practice, no source).
pub const DEFAULT_OVERLAP_MM: f64 = 10.0;
/// Least overlap in mm: crosses and trim lines have to be on both pages.
const LEAST_OVERLAP_MM: f64 = 6.0;
/// Least side of a cell in mm: a page that shows less is mostly overlap.
const LEAST_CELL_MM: f64 = 20.0;
/// Most pages of one sheet: A0 takes 21 of A4, ten metres of drawing are for a printing house.
const MOST_PAGES: usize = 400;

/// How a sheet is printed.
#[derive(Clone, Debug, PartialEq)]
pub struct PrintOptions {
    /// The paper in the printer; `None`: each sheet on a page of its own size.
    pub paper: Option<Paper>,
    /// How much neighbouring pages share, in mm.
    pub overlap_mm: f64,
    /// Edge of the paper that the printer does not reach, in mm.
    pub printer_margin_mm: f64,
    /// What the printed rules measured as a share of what they say, across and down.
    pub measured: [f64; 2],
}

impl Default for PrintOptions {
    fn default() -> Self {
        Self {
            paper: None,
            overlap_mm: DEFAULT_OVERLAP_MM,
            printer_margin_mm: super::DEFAULT_PRINTER_MARGIN_MM,
            measured: [1.0; 2],
        }
    }
}

/// One cell of the sheet as shown, in whole micrometres.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Cell {
    column: usize,
    row: usize,
    rect: RectMm,
    /// What is printed of the sheet beyond the cell's left, top, right and bottom: half the overlap, but at the edge of
    /// the sheet nothing where the page has no room for it.
    beyond: [f64; 4],
}

/// The pages of a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Printing {
    /// The pages in the order of printing; with several, the first shows how they go together.
    pub pages: Vec<Page>,
}

impl Printing {
    /// One page of a sheet's own size.
    #[must_use]
    pub fn plain(sheet_mm: [f64; 2]) -> Self {
        Self { pages: vec![page::whole(sheet_mm, [1.0; 2])] }
    }
}

/// Lays the sheet out on the printer's pages.
///
/// `shown` is the size in mm of the sheet as shown, and `holds` tells whether a rectangle of it holds anything that is
/// to be printed; cells that hold nothing get no page. Every page says the `name` of the picture, shortened where it is
/// long, and the `remark`, never shortened. The pages are turned the way that needs fewer of them.
///
/// # Errors
/// [`SheetError`] when overlap and margins leave nothing of a page, or far too many pages would be needed.
pub fn lay_out(
    shown: [f64; 2],
    options: &PrintOptions,
    name: &str,
    remark: &str,
    holds: &dyn Fn(&RectMm) -> bool,
) -> Result<Noted<Printing>, SheetError> {
    let factor = options.measured.map(|share| 1.0 / share);
    let Some(paper) = &options.paper else {
        return Ok(Noted::new(Printing { pages: vec![page::whole(shown, factor)] }));
    };
    let upright = [paper.width_mm.min(paper.height_mm), paper.width_mm.max(paper.height_mm)];
    // Upright first: of equals it is taken.
    let ways = [upright, [upright[1], upright[0]]]
        .map(|page_mm| Ok((page_mm, cells(shown, page_mm, factor, options)?)));
    let [first, second] = ways;
    let (first, second) = (first?, second?);
    let filled = |(page_mm, cells): ([f64; 2], Vec<Cell>)| {
        let full: Vec<Cell> = cells.iter().copied().filter(|c| holds(&c.rect)).collect();
        (page_mm, cells, full)
    };
    let (first, second) = (filled(first), filled(second));
    let (page_mm, all, full) = if second.2.len() < first.2.len() { second } else { first };
    let mut notes = Vec::new();
    if full.is_empty() {
        notes.push("The sheet holds nothing to print, so there is only the page that says so.".into());
    } else if full.len() < all.len() {
        notes.push(format!(
            "{} of the {} pages hold nothing and are left out.",
            all.len() - full.len(),
            all.len()
        ));
    }
    let sheets = page::Sheets { shown, page_mm, factor, options, name, remark, all: &all, full: &full };
    Ok(Noted::with(Printing { pages: sheets.pages() }, notes))
}

/// The cells of a sheet on pages of a size, row by row.
fn cells(
    shown: [f64; 2],
    page_mm: [f64; 2],
    factor: [f64; 2],
    options: &PrintOptions,
) -> Result<Vec<Cell>, SheetError> {
    let overlap = options.overlap_mm;
    if !(overlap.is_finite() && overlap >= LEAST_OVERLAP_MM) {
        return Err(SheetError::OverlapTooSmall { least_mm: LEAST_OVERLAP_MM });
    }
    let mut stretches = [Vec::new(), Vec::new()];
    for axis in 0..2 {
        // A print that comes out small is drawn larger, and takes more of the page.
        let reached = (page_mm[axis] - 2.0 * options.printer_margin_mm) / factor[axis].max(1.0);
        if reached - overlap < LEAST_CELL_MM {
            return Err(too_small(page_mm, factor, options));
        }
        stretches[axis] = divided(shown[axis], reached, overlap);
    }
    let [columns, rows] = &stretches;
    let pages = columns.len() * rows.len();
    if pages > MOST_PAGES {
        return Err(SheetError::TooManyPages { pages, most: MOST_PAGES });
    }
    let mut cells = Vec::new();
    for (row, down) in rows.iter().enumerate() {
        for (column, across) in columns.iter().enumerate() {
            let rect = RectMm {
                x: across.from,
                y: down.from,
                width: across.to - across.from,
                height: down.to - down.from,
            };
            let beyond = [across.beyond[0], down.beyond[0], across.beyond[1], down.beyond[1]];
            cells.push(Cell { column, row, rect, beyond });
        }
    }
    Ok(cells)
}

/// What is said of a page that margins and overlap fill.
fn too_small(page_mm: [f64; 2], factor: [f64; 2], options: &PrintOptions) -> SheetError {
    // Downwards, so that what is said to fit does.
    let reading = |mm: f64| (mm * 10.0).floor() / 10.0;
    let reached = [0, 1].map(|k| (page_mm[k] - 2.0 * options.printer_margin_mm) / factor[k].max(1.0));
    let most = reading(reached[0].min(reached[1]) - LEAST_CELL_MM);
    SheetError::PageTooSmall {
        width_mm: reading(page_mm[0]),
        height_mm: reading(page_mm[1]),
        margin_mm: reading(options.printer_margin_mm),
        overlap_mm: reading(options.overlap_mm),
        remedy: if most >= LEAST_OVERLAP_MM {
            format!("an overlap of at most {most} mm, or a larger page")
        } else {
            "a larger page, or a smaller printer margin".into()
        },
    }
}

/// One cell along one side of the sheet, in mm, and how much is printed before and behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Stretch {
    from: f64,
    to: f64,
    beyond: [f64; 2],
}

/// The fewest cells that cover a length, when a page reaches so far and neighbours share an overlap.
///
/// Equal cells with half the overlap on both sides, where that needs no more pages; then even an outer page has room
/// beyond its trim lines. Otherwise every page shows equally much, and the outer ones end at the edge of the sheet.
fn divided(length: f64, reached: f64, overlap: f64) -> Vec<Stretch> {
    let half = overlap / 2.0;
    let count = ((length - overlap - 0.001) / (reached - overlap)).ceil().max(1.0);
    let each = (length + (count - 1.0) * overlap) / count;
    let roomy = length / count + overlap <= reached + 1e-9;
    let last = count as usize;
    let cut = |k: usize| {
        let at = match k {
            0 => 0.0,
            k if k == last => length,
            k if roomy => length * k as f64 / count,
            k => k as f64 * (each - overlap) + half,
        };
        super::paper::whole_um(at)
    };
    let outer = if roomy { half } else { 0.0 };
    (0..last)
        .map(|k| Stretch {
            from: cut(k),
            to: cut(k + 1),
            beyond: [if k == 0 { outer } else { half }, if k + 1 == last { outer } else { half }],
        })
        .collect()
}

/// What takes a sheet as shown to a page whose middle shows a point of it, drawn larger or smaller by a factor each way.
fn onto(page_mm: [f64; 2], middle: Point, factor: [f64; 2]) -> Affine {
    Affine::translate((page_mm[0] / 2.0, page_mm[1] / 2.0))
        * Affine::scale_non_uniform(factor[0], factor[1])
        * Affine::translate(-middle.to_vec2())
}

/// What takes the sheet as it is to a page that shows it in a view.
#[must_use]
pub fn sheet_to_page(sheet_mm: [f64; 2], view: View, on_page: &SheetOnPage) -> Affine {
    on_page.transform * view.transform(sheet_mm)
}

#[cfg(test)]
mod tests;
