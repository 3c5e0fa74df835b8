//! Pages that go with a sheet: how large they are, and how they are printed.

use crate::sheet::{Placement, Printing, RectMm, Squares};

use super::{Settings, StudyError};

/// Largest sides of such a page in mm: about A3. Larger ones give way to A4, or letter.
const LARGEST_PAGE_MM: [f64; 2] = [300.0, 440.0];
/// Bare edge beyond what the printer leaves, in mm.
const EDGE_MM: f64 = 6.0;

/// A page by itself, as a sheet of its own on one page of its size.
#[must_use]
pub fn page_printing(size_mm: [f64; 2]) -> (Placement, Printing) {
    let [width, height] = size_mm;
    let picture_mm = RectMm { x: 0.0, y: 0.0, width, height };
    (Placement { sheet_mm: size_mm, picture_mm }, Printing::plain(size_mm))
}

/// A page upright, and its bare edge: the printer's paper or the sheet, where what is to be printed has room on it and it
/// is not very large; else A4, or letter. `least` is the room needed inside the edge.
pub(super) fn page_mm(settings: &Settings, sheet_mm: [f64; 2], least: [f64; 2]) -> ([f64; 2], f64) {
    let edge = settings.on_paper.print.printer_margin_mm + EDGE_MM;
    let asked = match &settings.on_paper.print.paper {
        Some(paper) => [paper.width_mm, paper.height_mm],
        None => sheet_mm,
    };
    let asked = [asked[0].min(asked[1]), asked[0].max(asked[1])];
    let suits = |k: usize| asked[k] - 2.0 * edge >= least[k] && asked[k] <= LARGEST_PAGE_MM[k];
    if suits(0) && suits(1) {
        return (asked, edge);
    }
    // ISO 216, and the letter of ANSI/ASME Y14.1.
    let usual = if settings.paper.us { [215.9, 279.4] } else { [210.0, 297.0] };
    // However much of the page a printer leaves bare, what is printed is whole.
    let most = (0..2).map(|k| (usual[k] - least[k]) / 2.0).fold(edge, f64::min);
    (usual, most)
}

/// The working squares of the picture, when there are any.
pub(super) fn squares(placement: &Placement, settings: &Settings) -> Option<Squares> {
    let side_mm = settings.on_paper.square_mm(&settings.paper);
    side_mm.map(|side| Squares::of(&placement.picture_mm, side))
}

/// Side of the working squares in mm, for what cannot be without them.
pub(super) fn squares_side(settings: &Settings) -> Result<f64, StudyError> {
    settings.on_paper.square_mm(&settings.paper).ok_or(StudyError::NoSquares)
}

/// What the study is: the picture's name and its sheet.
pub(super) fn remark(settings: &Settings) -> String {
    let name = &settings.on_paper.title.name;
    let parts = [name.as_str(), settings.paper.name.as_str()];
    parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ")
}
