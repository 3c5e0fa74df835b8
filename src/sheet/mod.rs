//! Sheet: paper sizes, where the picture lies on the sheet, what is printed around it, and the pages that it takes.

pub mod lettering;
mod marks;
mod paper;
mod placement;
mod tiling;
mod view;

pub(crate) use marks::clipped;
pub use marks::{
    Anchor, Cell, DEFAULT_PRINTER_MARGIN_MM, DEFAULT_SQUARE_MM, DEFAULT_SQUARE_US_MM, Fill, Furniture, Layer,
    Lettering, MarkLines, MarkOptions, Rule, Squares, TitleBlock, column_name, furnish,
};

pub use paper::{NamedPaper, Paper, papers};
pub use placement::{
    Align, DEFAULT_MARGIN_MM, DEFAULT_MARGIN_US_MM, Orientation, Original, PlaceOptions, Placement, RectMm,
    place, place_original,
};

pub use tiling::{DEFAULT_OVERLAP_MM, Page, PrintOptions, Printing, SheetOnPage, lay_out, sheet_to_page};
pub use view::View;

use crate::units::UnitError;
use thiserror::Error;

/// Why a sheet cannot be made as asked.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum SheetError {
    /// A paper name that is in no table.
    #[error(
        "there is no paper called \"{name}\": did you mean {nearest}? A size can also be written out, such as 180x240mm"
    )]
    UnknownPaper {
        /// What was written.
        name: String,
        /// The name in the table that differs least from it.
        nearest: &'static str,
    },
    /// A size written out that cannot be read as two lengths.
    #[error("\"{text}\" is not a paper size: {source}")]
    UnreadableSize {
        /// What was written.
        text: String,
        /// What is wrong with the length.
        source: UnitError,
    },
    /// A size written out that no sheet has.
    #[error("the paper size \"{text}\" is out of range: each side has to be between 20 mm and 10 m")]
    SizeOutOfRange {
        /// What was written.
        text: String,
    },
    /// A margin that is negative or no number.
    #[error("the margin is out of range: it has to be 0 mm or more")]
    MarginOutOfRange,
    /// Nothing is left of the sheet inside the margins.
    #[error(
        "margins of {margin_mm} mm leave no room on a sheet of {width_mm} x {height_mm} mm: \
         they have to be under {limit_mm} mm"
    )]
    MarginsFillSheet {
        /// The margin in mm, rounded for reading.
        margin_mm: f64,
        /// Width of the sheet in mm.
        width_mm: f64,
        /// Height of the sheet in mm.
        height_mm: f64,
        /// Half the shorter side in mm.
        limit_mm: f64,
    },
    /// A picture width or height that is zero, negative or no number.
    #[error("the picture's {side} is out of range: it has to be more than 0 mm")]
    PictureOutOfRange {
        /// "width" or "height".
        side: &'static str,
    },
    /// The picture asked for does not fit inside the margins.
    #[error(
        "a picture {side} of {asked_mm} mm does not fit inside the margins of a sheet of \
         {width_mm} x {height_mm} mm: the largest that fits is {largest_mm} mm"
    )]
    PictureTooLarge {
        /// "width" or "height".
        side: &'static str,
        /// What was asked for in mm.
        asked_mm: f64,
        /// Width of the sheet in mm.
        width_mm: f64,
        /// Height of the sheet in mm.
        height_mm: f64,
        /// The largest in mm, rounded down to 0.01 mm.
        largest_mm: f64,
    },
    /// The picture would be thinner than any line.
    #[error(
        "the picture would be only {width_mm} x {height_mm} mm on the sheet: each side has to be at least 1 mm, \
         so crop the reference or ask for a larger picture"
    )]
    PictureTooThin {
        /// Width of the picture in mm, rounded for reading.
        width_mm: f64,
        /// Height of the picture in mm, rounded for reading.
        height_mm: f64,
    },
    /// A scale of a reference whose own size is not known.
    #[error(
        "the reference does not state its resolution, so it has no size of its own to scale: give the picture's width \
         or height on the sheet instead"
    )]
    NoResolution,
    /// An overlap on which no cross has room.
    #[error(
        "the overlap of the pages is too small: crosses and trim lines need at least {least_mm} mm of it"
    )]
    OverlapTooSmall {
        /// The least overlap in mm.
        least_mm: f64,
    },
    /// Margins and overlap leave too little of a page.
    #[error(
        "a page of {width_mm} x {height_mm} mm with {margin_mm} mm at each edge that the printer does not reach and an \
         overlap of {overlap_mm} mm leaves too little to print on: {least_mm} mm are needed each way, so take a larger \
         page, a smaller overlap or a smaller printer margin"
    )]
    PageTooSmall {
        /// Width of the page in mm.
        width_mm: f64,
        /// Height of the page in mm.
        height_mm: f64,
        /// The printer's margin in mm.
        margin_mm: f64,
        /// The overlap in mm.
        overlap_mm: f64,
        /// What has to be left, in mm.
        least_mm: f64,
    },
    /// More pages than anyone joins.
    #[error("the sheet would take {pages} pages; take a larger page: at most {most} are printed")]
    TooManyPages {
        /// Pages needed.
        pages: usize,
        /// The most.
        most: usize,
    },
    /// A reference with no pixels, or pixels of no shape.
    #[error("the reference has no pixels to place")]
    NoPixels,
}
