//! Order: the working squares of a study in the order in which they are inked, and what is to be done in each.
//!
//! In: the [`BoundaryNet`] with its labels, thin marks, the working squares, which group
//! has each. Out: [`WorkOrder`]; its pages by [`order_pages`]. Units: mm on the picture as it is inked, never mirrored or
//! turned; shares from 0 to 1.
//! Keeps: a square is in the order once or has nothing to ink; every area that is inked is in the square that has most of
//! it; from the top, the hand never lies on a square that was inked before.

mod hand;
mod lights;
mod page;
mod way;

use kurbo::Rect;

use crate::plan::{Marked, PlanValue};
use crate::raster::Raster;
use crate::sheet::{Cell, RectMm, Squares};
use crate::thin::ThinMark;
use crate::transitions::{BoundaryNet, WalkError};

pub use hand::{HAND_MM, Hand, Passes};
pub use page::{Drawn, LEAST_ROOM_MM, OrderPage, OrderTexts, Tick, order_pages};
pub use way::{Begin, GROUP_SHARE, group_of};

/// Smallest part of an area that makes it one of a square's, in mm2: a line or two of hatching that reaches over from the
/// next square is drawn with that one (common practice, no source).
pub const LEAST_PART_MM2: f64 = 1.0;
/// Least length of a thin mark in a square that makes it one of that square's, in mm.
pub const LEAST_MARK_MM: f64 = 0.5;
/// How far straight pieces may lie from the curves, in mm: sizes are off by far less than a hundredth.
const FLAT_MM: f64 = 0.004;

/// A study as its working order sees it.
#[derive(Clone, Copy, Debug)]
pub struct OrderGround<'a> {
    /// The net, in mm on the picture.
    pub net: &'a BoundaryNet,
    /// What each area of the net is labelled with on the plan.
    pub labels: &'a [PlanValue],
    /// The last value, which is black.
    pub last: u8,
    /// Thin marks beside the net.
    pub thin: &'a [ThinMark],
    /// Value of each working pixel.
    pub values: &'a Raster<u8>,
    /// Working pixels per mm.
    pub px_per_mm: f64,
    /// Width and height of the picture in mm.
    pub picture_mm: [f64; 2],
    /// The working squares.
    pub squares: Squares,
}

/// How the squares follow each other.
#[derive(Clone, Debug, PartialEq)]
pub struct OrderOptions {
    /// Where the work begins.
    pub begin: Begin,
    /// The drawing hand.
    pub hand: Hand,
    /// How many further squares are inked before a square's blacks are dry.
    pub wet_for: usize,
}

/// What of an area is inked in a square.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AreaPart {
    /// The area, by its place in the net.
    pub area: usize,
    /// Its number on the plan.
    pub label: PlanValue,
    /// How much of the area lies in the square, in mm2.
    pub size_mm2: f64,
    /// The same as a share of the square.
    pub share: f64,
}

/// What of a thin mark, or of a light within black, lies in a square.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinePart {
    /// What it is.
    pub of: Marked,
    /// How much of its line lies in the square, in mm: of a light only as far as it lies beside black.
    pub length_mm: f64,
}

/// One thing to do in a square, with a box to tick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Outline the lights that black is to leave bare, in ink.
    Lights,
    /// Hatch to a value, or to the half between two.
    Hatch(PlanValue),
    /// Fill with solid black.
    Black,
}

/// A working square with something to ink.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkSquare {
    /// Its column and row.
    pub cell: Cell,
    /// Its name.
    pub name: String,
    /// Where it lies on the picture.
    pub rect_mm: RectMm,
    /// The group that it is inked with, by its place among the groups.
    pub group: Option<usize>,
    /// What is inked in it, in the order of the net's areas.
    pub areas: Vec<AreaPart>,
    /// Lights to be kept out of black.
    pub lights: Vec<LinePart>,
    /// Thin darks, with their values.
    pub darks: Vec<(LinePart, u8)>,
    /// Share of it that stays bare paper.
    pub paper: f64,
    /// Share of it that becomes black.
    pub black: f64,
    /// What is to be done, in order.
    pub steps: Vec<Step>,
}

/// The squares in their order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WorkOrder {
    /// Squares with something to ink, the first to be inked first.
    pub squares: Vec<WorkSquare>,
    /// Columns and rows of squares with nothing to ink, row by row.
    pub bare: Vec<Cell>,
    /// Squares that the hand comes to lie on while they may be wet, by their places in the order.
    pub lain_on: Vec<usize>,
    /// How often the hand lies on wet ink.
    pub wet: Passes,
    /// How often it lies on ink at all, wet or dry.
    pub ever: Passes,
}

impl WorkSquare {
    /// How many areas and thin darks are inked by a step, and the share of the square that the areas have.
    #[must_use]
    pub fn amount(&self, step: Step, last: u8) -> (usize, usize, f64) {
        let label = match step {
            Step::Lights => return (0, 0, 0.0),
            Step::Hatch(label) => label,
            Step::Black => PlanValue::whole(last),
        };
        let parts = self.areas.iter().filter(|part| part.label == label);
        let (count, share) = parts.fold((0, 0.0), |(count, share), part| (count + 1, share + part.share));
        let darks = self.darks.iter().filter(|(_, value)| PlanValue::whole(*value) == label).count();
        (count, darks, share)
    }

    fn fill_steps(&mut self, last: u8) {
        let black = PlanValue::whole(last);
        let darks = self.darks.iter().map(|(_, value)| PlanValue::whole(*value));
        let mut labels: Vec<PlanValue> = self.areas.iter().map(|part| part.label).chain(darks).collect();
        labels.sort_unstable();
        labels.dedup();
        let lights = (!self.lights.is_empty()).then_some(Step::Lights);
        let inked =
            labels.into_iter().map(|label| if label == black { Step::Black } else { Step::Hatch(label) });
        self.steps = lights.into_iter().chain(inked).collect();
    }

    fn rect(&self) -> Rect {
        let r = &self.rect_mm;
        Rect::new(r.x, r.y, r.x + r.width, r.y + r.height)
    }
}

/// Puts the working squares of a study in order; `groups` is the group that has each square, row by row.
///
/// # Errors
/// [`WalkError`] when the net does not keep its invariants; never on a net made by [`trace`](crate::transitions::trace).
pub fn work_order(
    ground: &OrderGround<'_>,
    groups: &[Option<usize>],
    options: &OrderOptions,
) -> Result<WorkOrder, WalkError> {
    let (last, columns) = (ground.last, ground.squares.columns);
    let mut squares = empty(ground, groups);
    let black = PlanValue::whole(last);
    let polygons = ground.net.polygons(FLAT_MM)?;
    let mut whole = vec![0.0; squares.len()];
    for (area, polygon) in polygons.iter().enumerate() {
        let label = ground.labels[area];
        let sizes = ground.squares.sizes(std::iter::once(&polygon.outer).chain(&polygon.holes));
        let most = sizes.values().copied().fold(0.0, f64::max);
        for (&[column, row], &size_mm2) in &sizes {
            let k = row * columns + column;
            whole[k] += size_mm2;
            let square = &mut squares[k];
            if label == PlanValue::whole(1) {
                square.paper += size_mm2;
                continue;
            }
            if label == black {
                square.black += size_mm2;
            }
            if size_mm2 >= LEAST_PART_MM2 || size_mm2 >= most {
                square.areas.push(AreaPart { area, label, size_mm2, share: size_mm2 });
            }
        }
    }
    for (square, &whole) in squares.iter_mut().zip(&whole) {
        let whole = f64::max(whole, f64::MIN_POSITIVE);
        square.areas.iter_mut().for_each(|part| part.share /= whole);
        square.paper /= whole;
        square.black /= whole;
    }
    for ([column, row], light) in lights::reserved(ground, &polygons) {
        squares[row * columns + column].lights.push(light);
    }
    for ([column, row], dark, value) in lights::darks(ground) {
        squares[row * columns + column].darks.push((dark, value));
    }
    squares.iter_mut().for_each(|square| square.fill_steps(last));
    let (inked, bare): (Vec<_>, Vec<_>) = squares.into_iter().partition(|square| !square.steps.is_empty());
    let places: Vec<(Cell, Option<usize>)> = inked.iter().map(|square| (square.cell, square.group)).collect();
    let order = way::sequence(&places, options.begin, options.hand);
    let squares: Vec<WorkSquare> = order.into_iter().map(|k| inked[k].clone()).collect();
    let rects: Vec<Rect> = squares.iter().map(WorkSquare::rect).collect();
    let wet_for = |k: usize| match squares[k].steps.contains(&Step::Black) {
        true => options.wet_for,
        false => hand::HATCHING_WET_FOR.min(options.wet_for),
    };
    let wet = hand::lain_on(&rects, wet_for, options.hand);
    let ever = hand::lain_on(&rects, |_| usize::MAX, options.hand);
    Ok(WorkOrder {
        bare: bare.iter().map(|square| square.cell).collect(),
        wet: Passes::of(&wet),
        ever: Passes::of(&ever),
        lain_on: wet.into_iter().map(|(place, _)| place).collect(),
        squares,
    })
}

/// All squares, row by row, with nothing in them.
fn empty(ground: &OrderGround<'_>, groups: &[Option<usize>]) -> Vec<WorkSquare> {
    let Squares { side_mm, columns, rows } = ground.squares;
    let [width, height] = ground.picture_mm;
    let square = |k: usize| {
        let cell = [k % columns, k / columns];
        let [x, y] = cell.map(|place| place as f64 * side_mm);
        WorkSquare {
            cell,
            name: ground.squares.name(cell[0], cell[1]),
            rect_mm: RectMm { x, y, width: side_mm.min(width - x), height: side_mm.min(height - y) },
            group: groups.get(k).copied().flatten(),
            areas: Vec::new(),
            lights: Vec::new(),
            darks: Vec::new(),
            paper: 0.0,
            black: 0.0,
            steps: Vec::new(),
        }
    };
    (0..columns * rows).map(square).collect()
}

#[cfg(test)]
mod tests;
