//! The squared reference of a study: the picture at the study's size under its squares, and pages of enlargements.

use kurbo::Affine;

use crate::notes::Noted;
use crate::output::{DrawingOptions, Ink, SquaredReport, Underlay};
use crate::sheet::{Furniture, Printing, Squares};
use crate::squared::{
    AROUND_MM, Busy, EnlargeOptions, EnlargedPage, LEAST_ROOM_MM, Source, by_line, enlarge, grid,
};
use crate::strokes::StrokePlan;

use super::pages::{page_mm, remark, squares_side};
use super::{Settings, Stages, StudyError, on_paper};

/// How many squares are enlarged unless set: one page of A4.
pub const DEFAULT_ENLARGED: usize = 9;
/// How many times unless set: strokes a third of a mm apart become as far apart as the eye tells with ease.
pub const DEFAULT_TIMES: f64 = 2.0;
/// Pixels of the reference per mm of the page under which an enlargement shows its pixels (common practice, no source).
const COARSE_PX_PER_MM: f64 = 4.0;

/// Settings of a squared reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SquaredSettings {
    /// How many of the squares with most lines are enlarged.
    pub enlarged: usize,
    /// How many times.
    pub times: f64,
}

impl Default for SquaredSettings {
    fn default() -> Self {
        Self { enlarged: DEFAULT_ENLARGED, times: DEFAULT_TIMES }
    }
}

/// A squared reference, ready to be written.
#[derive(Clone, Debug)]
pub struct SquaredSheet {
    /// All squares, that with most line first.
    pub squares: Vec<Busy>,
    /// What is printed on the sheet besides the picture.
    pub furniture: Furniture,
    /// The pages of the sheet.
    pub printing: Printing,
    /// Pages of enlargements.
    pub pages: Vec<EnlargedPage>,
    picture: Underlay,
}

impl SquaredSettings {
    /// Checks what can be judged without the reference.
    ///
    /// # Errors
    /// [`StudyError::NoSquares`] when there are no working squares.
    pub fn check(&self, settings: &Settings) -> Result<(), StudyError> {
        squares_side(settings).map(drop)
    }
}

/// Makes the squared reference of a study; `settings.keep_picture` has to have been set for the stages.
///
/// # Errors
/// [`StudyError::NoSquares`] without working squares, [`StudyError::NoPicture`] when the stages did not keep the picture,
/// or as the pages of the drawing.
pub fn squared_sheet(
    stages: &Stages,
    settings: &Settings,
    of: &SquaredSettings,
) -> Result<Noted<SquaredSheet>, StudyError> {
    let Stages { placement, shown, traced, thin, .. } = stages;
    let picture = stages.picture.as_ref().ok_or(StudyError::NoPicture)?;
    let at = placement.picture_mm;
    let picture_mm = [at.width, at.height];
    let squares = Squares::of(&at, squares_side(settings)?);
    let view = settings.on_paper.view;
    let to_sheet = view.transform(placement.sheet_mm) * Affine::translate((at.x, at.y));
    let mut furniture = shown.furniture.clone();
    furniture.lines.extend(grid(squares, picture_mm, to_sheet));
    let mut notes = Vec::new();
    // The sheet's own notes were given with the drawing's pages; only where pages are is new.
    let printing =
        on_paper::pages(&StrokePlan::default(), &shown.placement, &furniture, true, settings)?.value;
    let all = by_line(&traced.net, thin, squares);
    let chosen: Vec<Busy> =
        all.iter().filter(|square| square.line_mm > 0.0).take(of.enlarged).cloned().collect();
    let (size_mm, edge_mm) = page_mm(settings, placement.sheet_mm, LEAST_ROOM_MM);
    let options = EnlargeOptions { times: of.times, size_mm, edge_mm, remark: remark(settings) };
    let pages = enlarge(&Source { picture, picture_mm, squares }, &chosen, &options);
    if let Some(first) = pages.first().and_then(|page| page.squares.first()) {
        if first.scale < of.times - 1e-9 {
            notes.push(format!(
                "A page holds squares of {} mm, with {AROUND_MM} mm around them, no more than {:.2} times as large.",
                squares.side_mm, first.scale
            ));
        }
        if first.px_per_mm < COARSE_PX_PER_MM {
            notes.push(format!(
                "The enlarged squares have {:.1} pixels of the reference per mm, so pixels show; a larger scan has more.",
                first.px_per_mm
            ));
        }
    }
    let picture = Underlay::of_grey(picture.clone(), placement, view);
    Ok(Noted::with(SquaredSheet { squares: all, furniture, printing, pages, picture }, notes))
}

impl SquaredSheet {
    /// What the writers need to know of the sheet.
    #[must_use]
    pub fn drawing_options(&self, settings: &Settings) -> DrawingOptions {
        DrawingOptions {
            title: format!("Squared reference, {}", settings.paper.name),
            ink: Ink::Black,
            furniture: self.furniture.clone(),
            underlay: Some(self.picture.clone()),
            ..DrawingOptions::default()
        }
    }

    /// The same of a page of enlargements.
    #[must_use]
    pub fn page_options(&self, page: &EnlargedPage, settings: &Settings) -> DrawingOptions {
        let pieces = page.pieces.iter().map(|piece| Underlay::piece(piece.grey.clone(), piece.rect_mm));
        DrawingOptions {
            title: format!("Squares enlarged, {}", settings.paper.name),
            ink: Ink::Black,
            furniture: page.furniture.clone(),
            pieces: pieces.collect(),
            ..DrawingOptions::default()
        }
    }

    /// What the report says of it.
    #[must_use]
    pub fn report(&self) -> SquaredReport {
        let grey = &self.picture.grey;
        SquaredReport::new([grey.width(), grey.height()], &self.squares, &self.pages)
    }
}
