//! What the report says of a working order: each square with its steps, and where the boxes to tick lie.

use super::number::rounded;
use crate::order::{HAND_MM, Hand, LinePart, OrderPage, Passes, Step, WorkOrder, WorkSquare};
use crate::plan::Marked;
use crate::sheet::Squares;
use serde::Serialize;

/// What of an area is inked in a square.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartReport {
    /// The area's id in the net file.
    pub area: usize,
    /// Its number on the plan: 3, or 3.5 for the half.
    pub value: f64,
    /// As it is written.
    pub text: String,
    /// How much of it lies in the square.
    pub size_mm2: f64,
    /// The same as a share of the square, 0 to 1.
    pub share: f64,
}

/// What of a thin mark, or of a light within black, lies in a square.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LineReport {
    /// The thin mark's place in the net file.
    pub thin: Option<usize>,
    /// Or the area's id there.
    pub area: Option<usize>,
    /// Length of its line in the square; of a light as far as it lies beside black.
    pub length_mm: f64,
}

/// A step with its box.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StepReport {
    /// `lights`, `hatch` or `black`.
    pub step: &'static str,
    /// The value that is hatched or filled.
    pub value: Option<f64>,
    /// The page of the box, from 1.
    pub page: usize,
    /// The box: left, top, width, height in mm on that page.
    pub box_mm: [f64; 4],
}

/// A square in its place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SquareReport {
    /// Its name.
    pub name: String,
    /// Left, top, width, height in mm on the picture.
    pub rect_mm: [f64; 4],
    /// The group that it is inked with.
    pub group: Option<String>,
    /// What is inked.
    pub areas: Vec<PartReport>,
    /// Lights to be kept out of black.
    pub lights: Vec<LineReport>,
    /// Thin darks.
    pub darks: Vec<LineReport>,
    /// Share that stays bare paper.
    pub paper: f64,
    /// Share that becomes black.
    pub black: f64,
    /// What is to be done, in order.
    pub steps: Vec<StepReport>,
}

/// A working order.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct OrderReport {
    /// Where the work begins: `top`, `point` or `groups`.
    pub begin: String,
    /// The square that it goes outward from.
    pub from: Option<String>,
    /// The groups that it goes by.
    pub groups: Vec<String>,
    /// The drawing hand.
    pub hand: Hand,
    /// How far the hand is taken to reach, sideways and down.
    pub hand_mm: [f64; 2],
    /// How many further squares are inked before blacks are dry.
    pub wet_for: usize,
    /// How often the hand lies on ink that may be wet.
    pub wet: Passes,
    /// How often it lies on ink, wet or dry.
    pub ever: Passes,
    /// The squares in order.
    pub squares: Vec<SquareReport>,
    /// Names of squares with nothing to ink.
    pub bare: Vec<String>,
    /// How many pages there are.
    pub pages: usize,
    /// Width and height of one in mm.
    pub page_mm: [f64; 2],
    /// Where the map lies on the first page: left, top, width, height in mm.
    pub map_mm: Option<[f64; 4]>,
}

impl OrderReport {
    /// The report of an order on its pages; what was asked for is to be filled in.
    #[must_use]
    pub fn new(
        order: &WorkOrder,
        pages: &[OrderPage],
        squares: Squares,
        groups: &[String],
        last: u8,
    ) -> Self {
        let ticks: Vec<_> = pages
            .iter()
            .enumerate()
            .flat_map(|(page, of)| of.ticks.iter().map(move |tick| (page + 1, tick)))
            .collect();
        let boxes = |place: usize| ticks.iter().filter(move |(_, tick)| tick.square == place);
        let square = |(place, square): (usize, &WorkSquare)| SquareReport {
            name: square.name.clone(),
            rect_mm: rect(&square.rect_mm),
            group: square.group.and_then(|group| groups.get(group).cloned()),
            areas: square
                .areas
                .iter()
                .map(|part| PartReport {
                    area: part.area,
                    value: part.label.number(),
                    text: part.label.text(),
                    size_mm2: rounded(part.size_mm2),
                    share: share(part.share),
                })
                .collect(),
            lights: square.lights.iter().map(line).collect(),
            darks: square.darks.iter().map(|(dark, _)| line(dark)).collect(),
            paper: share(square.paper),
            black: share(square.black),
            steps: boxes(place)
                .map(|&(page, tick)| {
                    let (step, value) = match square.steps[tick.step] {
                        Step::Lights => ("lights", None),
                        Step::Hatch(label) => ("hatch", Some(label.number())),
                        Step::Black => ("black", Some(f64::from(last))),
                    };
                    StepReport { step, value, page, box_mm: rect(&tick.rect) }
                })
                .collect(),
        };
        Self {
            groups: groups.to_vec(),
            hand_mm: HAND_MM,
            wet: order.wet,
            ever: order.ever,
            squares: order.squares.iter().enumerate().map(square).collect(),
            bare: order.bare.iter().map(|&[column, row]| squares.name(column, row)).collect(),
            pages: pages.len(),
            page_mm: pages.first().map_or([0.0; 2], |page| page.size_mm),
            map_mm: pages.iter().find_map(|page| page.map_mm.as_ref().map(rect)),
            ..Self::default()
        }
    }
}

fn rect(r: &crate::sheet::RectMm) -> [f64; 4] {
    [r.x, r.y, r.width, r.height].map(rounded)
}

fn share(share: f64) -> f64 {
    (share * 1e6).round() / 1e6
}

fn line(part: &LinePart) -> LineReport {
    let (thin, area) = match part.of {
        Marked::Thin(place) => (Some(place), None),
        Marked::Area(id) => (None, Some(id)),
    };
    LineReport { thin, area, length_mm: rounded(part.length_mm) }
}
