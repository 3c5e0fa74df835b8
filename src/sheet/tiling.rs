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
/// Most pages of one sheet: A0 takes 25 of A4, ten metres of drawing are for a printing house.
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
}

/// The pages of a sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Printing {
    /// The pages in the order of printing; with several, the first shows how they go together.
    pub pages: Vec<Page>,
}

/// Lays the sheet out on the printer's pages.
///
/// `shown` is the size in mm of the sheet as shown, and `holds` tells whether a rectangle of it holds anything that is
/// to be printed; cells that hold nothing get no page. The pages are turned the way that needs fewer of them.
///
/// # Errors
/// [`SheetError`] when overlap and margins leave nothing of a page, or far too many pages would be needed.
pub fn lay_out(
    shown: [f64; 2],
    options: &PrintOptions,
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
    let sheets = page::Sheets { shown, page_mm, factor, options, remark, all: &all, full: &full };
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
    let mut counts = [0; 2];
    for axis in 0..2 {
        // A print that comes out small is drawn larger, and takes more of the page.
        let reached = (page_mm[axis] - 2.0 * options.printer_margin_mm) / factor[axis].max(1.0);
        let most = reached - overlap;
        if most < LEAST_CELL_MM {
            return Err(SheetError::PageTooSmall {
                width_mm: page_mm[0],
                height_mm: page_mm[1],
                margin_mm: options.printer_margin_mm,
                overlap_mm: overlap,
                least_mm: LEAST_CELL_MM,
            });
        }
        counts[axis] = ((shown[axis] - 0.001) / most).ceil().max(1.0) as usize;
    }
    let [columns, rows] = counts;
    if columns * rows > MOST_PAGES {
        return Err(SheetError::TooManyPages { pages: columns * rows, most: MOST_PAGES });
    }
    let division =
        |axis: usize, k: usize| super::paper::whole_um(shown[axis] * k as f64 / counts[axis] as f64);
    let mut cells = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let (x, y) = (division(0, column), division(1, row));
            let rect = RectMm { x, y, width: division(0, column + 1) - x, height: division(1, row + 1) - y };
            cells.push(Cell { column, row, rect });
        }
    }
    Ok(cells)
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
