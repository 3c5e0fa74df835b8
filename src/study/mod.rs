//! Study: the settings of one study, and the stages run in order.

mod amount_notes;
mod by_hand;
mod choices;
mod extra;
pub mod file;
mod lay;
mod on_paper;
mod order;
mod packet;
mod pages;
mod plan;
mod plotter;
mod report;
mod run;
mod settings;
mod squared;
mod structure;
mod suppress;
mod written;

use thiserror::Error;

use crate::areas::zones::{Outline, Purpose, ZoneError};
use crate::reference::ReferenceError;
use crate::reference::page::PageError;
use crate::sheet::SheetError;
use crate::tone::ToneError;
use crate::transitions::WalkError;

use file::Place;

pub use by_hand::{ByHand, ByHandFigures, Entry, EntryFault, SUPPRESS_WITHIN_MM};
pub use choices::{Choices, Marks};
pub use extra::{ExtraLines, ExtraPlace};
pub use on_paper::{OnPaper, Shown, SquareRule};
pub use order::{BeginRule, DEFAULT_WET_FOR, OrderSettings, OrderSheet, order_sheet};
pub use packet::{PacketSettings, PacketSheet};
pub use pages::page_printing;
pub use plan::{KeyPlace, PlanSettings, ValuePlan, value_plan};
pub use report::report;
pub use run::{Stages, Step, most_working_pixels, run, working_scale};
pub use settings::{
    DEFAULT_LEAST_AREA_MM2, DEFAULT_LEAST_TIP_MM, DEFAULT_LINE_MM, DEFAULT_MAX_MEGAPIXELS,
    DEFAULT_NARROWEST_MM, DEFAULT_THIN_MM, DEFAULT_VALUES, Settings, ZoneLimits,
};
pub use squared::{DEFAULT_ENLARGED, DEFAULT_TIMES, SquaredSettings, SquaredSheet, squared_sheet};
pub use structure::{ValueStructure, value_structure};
pub use written::WrittenError;

/// Why a study cannot be made.
#[derive(Debug, Error)]
pub enum StudyError {
    /// Too few or too many values.
    #[error("{asked} values make no study; choose 2 to 9")]
    Values {
        /// What was asked for.
        asked: u8,
    },
    /// Not as many breaks as there are borders between values.
    #[error(
        "{values} values need {wanted} breaks between them, but {listed} are listed; list {wanted}, or change the number of values"
    )]
    BreakCount {
        /// Number of values.
        values: u8,
        /// Breaks that they need.
        wanted: usize,
        /// Breaks that were listed.
        listed: usize,
    },
    /// A break that leaves no room on one side.
    #[error("a break at L* {asked} divides nothing; a break lies between 0 and 100, both left out")]
    BreakRange {
        /// The break.
        asked: f64,
    },
    /// Breaks that do not go from light to dark.
    #[error(
        "the breaks are out of order: {first} comes before {second}; list them from light to dark, each once"
    )]
    BreakOrder {
        /// The earlier one.
        first: f64,
        /// The later one.
        second: f64,
    },
    /// Ink that is not darker than paper, or not a lightness.
    #[error("the tone range {ink},{paper} makes no sense; give the L* of ink, then of paper, from 0 to 100")]
    ToneRange {
        /// L* of ink.
        ink: f64,
        /// L* of paper.
        paper: f64,
    },
    /// A number outside its range.
    #[error("the {what} is {asked} {unit}; it has to be between {least} and {most} {unit}")]
    OutOfRange {
        /// What it is.
        what: &'static str,
        /// Its unit.
        unit: &'static str,
        /// What was asked for.
        asked: f64,
        /// The least that makes sense.
        least: f64,
        /// The most that makes sense.
        most: f64,
    },
    /// A least area that is no size.
    #[error("the least area is {asked} mm2; it has to be more than 0 and at most {most} mm2")]
    LeastArea {
        /// What was asked for.
        asked: f64,
        /// The most that makes sense.
        most: f64,
    },
    /// A length that is no size.
    #[error("the {what} is {asked_mm} mm; it has to be more than 0 mm")]
    NotPositive {
        /// What it is.
        what: &'static str,
        /// What was asked for.
        asked_mm: f64,
    },
    /// A picture of no area at all.
    #[error("at most 0 areas is no drawing; a picture has at least 1 area, and 2 where there is a line")]
    NoAreas,
    /// A margin that is no length.
    #[error("the margin is {asked_mm} mm; it has to be 0 mm or more")]
    Margin {
        /// What was asked for.
        asked_mm: f64,
    },
    /// A picture so large, worked so finely, that memory would have no bound.
    #[error(
        "a picture of {width_mm:.0} x {height_mm:.0} mm with lines {narrowest_mm} mm apart needs more than \
         {most} million working pixels; make the narrowest width larger or the picture smaller"
    )]
    TooFine {
        /// Width of the picture on the sheet, in mm.
        width_mm: f64,
        /// Height of the picture on the sheet, in mm.
        height_mm: f64,
        /// Narrowest width, in mm.
        narrowest_mm: f64,
        /// The most working pixels, in millions.
        most: usize,
    },
    /// Extra lines of a plainness that adds none.
    #[error(
        "plainness {asked} adds no line to this drawing, whose own plainness is about {own:.0}; ask for a lower one"
    )]
    NothingExtra {
        /// What was asked for.
        asked: f64,
        /// The smallest plainness that draws the drawing.
        own: f64,
    },
    /// A place for extra lines without any.
    #[error(
        "there is a place for extra lines, but no extra lines; say with extra-lines which lower plainness they are of"
    )]
    NoExtra,
    /// Extra lines of a working square that there is not.
    #[error(
        "there is no working square \"{asked}\": squares of {side_mm} mm go from A1 to {last} on this picture; take one \
         of them, a zone such as rect:40%,30%,20%,20%, or whole"
    )]
    NoSquare {
        /// What was asked for.
        asked: String,
        /// Side of the squares in mm.
        side_mm: f64,
        /// Name of the last square.
        last: String,
    },
    /// Something that goes by working squares, without any.
    #[error("this sheet goes by working squares, and there are none; leave out squares, or give their side")]
    NoSquares,
    /// A sheet that shows the picture, from stages that did not keep it.
    #[error("the picture was not kept for this sheet; this is a fault of the program, please report it")]
    NoPicture,
    /// An order by groups without groups.
    #[error(
        "the working order is to go by groups, and there are none; add [[group]] entries to the study file, the foremost \
         first, or begin at the top or at a point"
    )]
    NoGroupsToGoBy,
    /// An order that begins at a point, without one.
    #[error("the working order is to begin at a point; say where with begin-at, or set a focus zone")]
    NoPoint,
    /// A point to begin at that is beside the picture.
    #[error(
        "{at} is outside the picture, which is {width_mm:.1} x {height_mm:.1} mm on the sheet; measure begin-at from the \
         picture's top left"
    )]
    PointOutside {
        /// The point as it is written.
        at: String,
        /// Width of the picture in mm.
        width_mm: f64,
        /// Height of the picture in mm.
        height_mm: f64,
    },
    /// Lines that are joined have no one step to be as heavy as.
    #[error(
        "joined lines run along steps of several sizes, so they cannot be heavier by step; leave out the joining or the \
         weight"
    )]
    WeightOfChained,
    /// Limits of zones without such zones.
    #[error("limits in {purpose} are given, but no {purpose} zone; add one, or leave the limits out")]
    NoZone {
        /// The zones that are missing.
        purpose: Purpose,
    },
    /// Limits in focus that are coarser than elsewhere, or finer ones at rest.
    #[error(
        "the {what} in {purpose} is {asked}, and {elsewhere} elsewhere; it has to be {} there",
        if *.purpose == Purpose::Focus { "no larger" } else { "no smaller" }
    )]
    ZoneLimit {
        /// Which limit.
        what: &'static str,
        /// Which zones.
        purpose: Purpose,
        /// What was asked for in the zones, in mm or mm2.
        asked: f64,
        /// What holds elsewhere, in mm or mm2.
        elsewhere: f64,
    },
    /// A zone that asks for more and for fewer lines.
    #[error("the zone {outline} is both in focus and at rest; take it out of one of them")]
    TwoPurposes {
        /// The zone as it is written.
        outline: Outline,
    },
    /// Something decided by hand in the study file.
    #[error("{fault}")]
    Entry {
        /// Where the study file says so.
        place: Option<Place>,
        /// What is wrong.
        fault: Box<EntryFault>,
    },
    /// Zones that do not fit the picture.
    #[error(transparent)]
    Zone(#[from] ZoneError),
    /// The reference.
    #[error(transparent)]
    Reference(#[from] ReferenceError),
    /// The page in the reference.
    #[error(transparent)]
    Page(#[from] PageError),
    /// The sheet.
    #[error(transparent)]
    Sheet(#[from] SheetError),
    /// The tones.
    #[error(transparent)]
    Tone(#[from] ToneError),
    /// A net that cannot be walked around.
    #[error("{0}; this is a fault of the program, please report it with the reference")]
    Net(#[from] WalkError),
}

impl StudyError {
    /// Whether the settings are at fault, not the reference or the machine.
    #[must_use]
    pub fn wrong_use(&self) -> bool {
        match self {
            Self::Reference(error) => matches!(error, ReferenceError::BadLimit { .. }),
            Self::Net(_) | Self::NoPicture => false,
            Self::Page(error) => error.wrong_use(),
            Self::Sheet(error) => !matches!(error, SheetError::NoPixels),
            Self::Entry { fault, .. } => !matches!(**fault, EntryFault::Guide(_)),
            _ => true,
        }
    }
}
