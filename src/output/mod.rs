//! Output: svg, pdf, png and json, all from the same strokes in mm on the sheet.

mod file;
mod ink;
mod net_file;
mod number;
mod order_report;
mod packet_report;
mod pdf;
mod plan_report;
mod plotter;
mod png;
mod report;
mod squared_report;
mod svg;
mod underlay;

pub use file::{StagedFile, file_among, write_file};
pub use ink::{Ink, LineWeight, Look, soft_line_mm};
pub use net_file::net_json;
pub use order_report::{LineReport, OrderReport, PartReport, SquareReport, StepReport};
pub use packet_report::{PacketPart, PacketReport};
pub use pdf::{PdfPart, PdfSheet, pdf, pdf_pages, pdf_parts, pdf_sheets};
pub use plan_report::{KeyReport, LabelReport, ListedReport, PlanReport};
pub use plotter::{order_view_png, order_view_svg, plotter_svg};
pub use png::{grey_png, png, value_map_png};
pub use report::{
    Count, Distances, Kind, LengthCount, Limits, Merging, Nodes, PageReport, PitchShare, Print,
    ReferenceReport, Report, SheetSize, report_json,
};
pub use squared_report::{EnlargedReport, SquareLineReport, SquaredReport};
pub use svg::{svg, svg_layer};
pub use underlay::{Underlay, grey};

use crate::sheet::Furniture;
use std::path::PathBuf;
use thiserror::Error;

/// How the drawing looks in print.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawingOptions {
    /// Width of the lines of hard edges in mm.
    pub line_mm: f64,
    /// Width of the lines of soft edges in mm.
    pub soft_line_mm: f64,
    /// Whether lines are heavier where more values change.
    pub weight: LineWeight,
    /// Title of the drawing; none when empty.
    pub title: String,
    /// Whether the picture's edge is drawn.
    pub frame: bool,
    /// Colour of everything that is drawn.
    pub ink: Ink,
    /// What is printed around and over the picture.
    pub furniture: Furniture,
    /// The reference under the lines.
    pub underlay: Option<Underlay>,
    /// Pieces of it, over that and under the lines.
    pub pieces: Vec<Underlay>,
}

impl DrawingOptions {
    /// The reference and its pieces, in the order in which they are drawn.
    fn pictures(&self) -> impl Iterator<Item = &Underlay> {
        self.underlay.iter().chain(&self.pieces)
    }
}

impl Default for DrawingOptions {
    /// Black lines for the light box (common practice, no source).
    fn default() -> Self {
        Self {
            line_mm: 0.35,
            soft_line_mm: 0.18,
            weight: LineWeight::Even,
            title: String::new(),
            frame: false,
            ink: Ink::Black,
            furniture: Furniture::default(),
            underlay: None,
            pieces: Vec::new(),
        }
    }
}

/// The title without what XML 1.0 cannot hold: file names may contain control characters.
fn clean_title(title: &str) -> String {
    title
        .chars()
        .filter(|&c| !c.is_control() && c != '\u{FFFE}' && c != '\u{FFFF}')
        .collect::<String>()
        .trim()
        .into()
}

/// Why an output cannot be made or written.
#[derive(Debug, Error)]
pub enum OutputError {
    /// A preview with no pixels or too many.
    #[error(
        "a preview of {width} x {height} pixels is out of range: each side needs 1 pixel and \
         both together at most {limit} million, so ask for another number of pixels per mm"
    )]
    PreviewSize {
        /// Pixels across.
        width: f64,
        /// Pixels down.
        height: f64,
        /// Largest number of pixels, in millions.
        limit: u32,
    },
    /// The drawing could not be read back for the preview.
    #[error("the preview could not be drawn: {0}")]
    Preview(String),
    /// The file is there already.
    #[error("{}: there is such a file already: name another or allow it to be overwritten", .0.display())]
    Exists(PathBuf),
    /// A folder, a device or something else that is no file to write over.
    #[error("{}: this is not a file: name a file to write to", .0.display())]
    NotAFile(PathBuf),
    /// The folder to write into does not exist.
    #[error("{}: there is no such folder: make it first or name another", .0.display())]
    NoFolder(PathBuf),
    /// What should be the folder to write into, or lie above it, is a file.
    #[error("{}: this is a file and no folder, so nothing can be written into it: name a folder", .0.display())]
    FileForFolder(PathBuf),
    /// The folder or the file may not be written.
    #[error("{}: writing there is not permitted: name another folder or change its permissions", .0.display())]
    NotPermitted(PathBuf),
    /// No room on the disk.
    #[error("{}: the disk is full (or your share of it): free some room or name another folder", .0.display())]
    DiskFull(PathBuf),
    /// Larger than the system allows a file to be.
    #[error("{}: the file would be larger than the limit on file sizes here: raise the limit", .0.display())]
    FileTooLarge(PathBuf),
    /// Anything else the system has against it.
    #[error("{}: the file could not be written: {source}", path.display())]
    Write {
        /// Where.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}
