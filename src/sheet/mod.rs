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
    /// One length, where a size has two.
    #[error("\"{text}\" is no paper: a size needs its width and its height, such as 180x240mm")]
    OneSide {
        /// What was written.
        text: String,
    },
    /// A size written out that no sheet has.
    #[error("the paper size \"{text}\" is out of range: each side has to be between 20 mm and 10000 mm")]
    SizeOutOfRange {
        /// What was written.
        text: String,
    },
    /// A margin that is negative, longer than any paper or no number.
    #[error("the margin is out of range: it has to be between 0 mm and 10000 mm")]
    MarginOutOfRange,
    /// Nothing is left of the sheet inside the margins.
    #[error(
        "the margins {sides} leave no room: {first_mm} + {second_mm} mm on a sheet that is {side_mm} mm {way}; together \
         they have to be under {side_mm} mm"
    )]
    MarginsFillSheet {
        /// "left and right" or "above and below".
        sides: &'static str,
        /// The margin on the left, or above, in mm, rounded for reading.
        first_mm: f64,
        /// The margin on the right, or below, in mm, rounded for reading.
        second_mm: f64,
        /// The side of the sheet in mm, rounded for reading.
        side_mm: f64,
        /// "wide" or "high".
        way: &'static str,
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
         so take smaller margins, ask for a larger picture, or crop the reference"
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
        "an overlap of {overlap_mm} mm and {margin_mm} mm at each edge that the printer does not reach leave too little \
         of a page of {width_mm} x {height_mm} mm: take {remedy}"
    )]
    PageTooSmall {
        /// Width of the page in mm, rounded for reading.
        width_mm: f64,
        /// Height of the page in mm, rounded for reading.
        height_mm: f64,
        /// The printer's margin in mm, rounded for reading.
        margin_mm: f64,
        /// The overlap in mm, rounded for reading.
        overlap_mm: f64,
        /// What would do.
        remedy: String,
    },
    /// More pages than anyone joins.
    #[error(
        "the sheet would take {pages} printed pages, and at most {most} are joined: take larger paper for the printer, or \
         a smaller sheet"
    )]
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
