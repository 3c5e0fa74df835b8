//! Plan: the numbered value plan of a net, and the key to it.
//!
//! In: the [`BoundaryNet`](crate::transitions::BoundaryNet) with its areas, thin marks, where the sheet lies and what is
//! printed around it. Out: [`Plan`]: labels, leaders and a list, in mm on the sheet as shown; [`KeyValue`]s.
//! Keeps: a number without a leader lies whole in its area, as far from every line as it can be (to 5 %); no number's box
//! touches a line, a mark, another number or a leader, and no two leaders cross; an area has exactly one label or is in
//! the list. Labels are found in the order of the net's areas, so they repeat.

mod ground;
pub mod hatching;
mod key;
mod leaders;
mod numbers;
mod widest;

use kurbo::{Affine, BezPath, Circle, Point, Shape};
use rayon::prelude::*;

use crate::sheet::{Fill, Furniture, Layer, MarkLines, RectMm};
use crate::tone::ValueScale;
use crate::transitions::{Outline, Part, WalkError};

pub use ground::PlanGround;
pub use key::{KeyPage, KeyPatch, KeyTexts, KeyValue, Made, key_in_margin, key_pages, key_values};
pub use numbers::{HEIGHTS_MM, LEADER_HEIGHTS_MM, PlanValue, box_size};

use ground::{Ground, part_grid, rect};
use leaders::{Speck, Taken};
use numbers::{around, lettered};
use widest::{Seen, widest};

/// Width of the plan's lines in mm, and of its leaders (ISO 128-2).
pub const PLAN_LINE_MM: f64 = 0.25;
const LEADER_LINE_MM: f64 = 0.18;
/// Least distance from a number's box to the middle of a line in mm: half the line and as much as the eye needs.
pub const LEAST_GAP_MM: f64 = 0.35;
/// Room in mm that a number of the larger height has around it: elsewhere the smaller is calmer.
pub const LARGE_GAP_MM: f64 = 2.5;
/// Room in mm that the dot of a leader needs at least; areas narrower than that are listed.
const LEAST_DOT_MM: f64 = 0.05;
/// The darkest of the tints under the numbers, as a share of black: lines and numbers are read on it with ease.
const DARKEST_TINT: f64 = 0.32;
/// Distance kept bare between a number and the grid over the picture, in mm.
const GRID_GAP_MM: f64 = 0.4;

/// How a plan is made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PlanOptions {
    /// Whether an area whose tone lies between two values is labelled with the half.
    pub halves: bool,
    /// Whether areas are tinted by value.
    pub tints: bool,
}

/// A straight line from a number to an area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leader {
    /// The area, by its place in the net.
    pub area: usize,
    /// Where it begins, off the number's box.
    pub from: Point,
    /// Where it ends, inside the area, with a dot.
    pub to: Point,
    /// Radius of the dot in mm.
    pub dot_mm: f64,
}

/// A number on the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    /// What it says.
    pub value: PlanValue,
    /// Its height in mm.
    pub height_mm: f64,
    /// The box that it fills.
    pub box_mm: RectMm,
    /// Distance from the box to the nearest line.
    pub clearance_mm: f64,
    /// The area in which it stands and which it is the number of, by its place in the net; `None` with leaders.
    pub area: Option<usize>,
    /// Leaders to the areas that it is the number of, when it stands elsewhere.
    pub leaders: Vec<Leader>,
}

/// An area whose number found no room.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Listed {
    /// The area, by its place in the net.
    pub area: usize,
    /// What it would be labelled with.
    pub value: PlanValue,
    /// A place in it, in mm on the sheet as shown.
    pub at: Point,
    /// The same in mm on the picture.
    pub on_picture: Point,
}

/// The numbers of a plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// Numbers that stand in their areas, in the order of the areas; then those with leaders.
    pub labels: Vec<Label>,
    /// Areas whose number found no room, in the order of the areas.
    pub listed: Vec<Listed>,
    /// Numbers, leaders, dots and tints, and the marks around the picture, as they are drawn.
    pub furniture: Furniture,
}

/// Labels every area of a net; `blocks` are rectangles of the sheet as shown that are taken.
///
/// # Errors
/// [`WalkError`] when the net does not keep its invariants; never on a net made by [`trace`](crate::transitions::trace).
pub fn label(
    of: &PlanGround<'_>,
    scale: &ValueScale,
    options: PlanOptions,
    blocks: &[RectMm],
) -> Result<Plan, WalkError> {
    let ground = Ground::new(of)?;
    let values: Vec<PlanValue> = of
        .net
        .areas
        .iter()
        .map(|area| match options.halves {
            true => PlanValue::with_halves(area.value, area.tone, scale),
            false => PlanValue::whole(area.value),
        })
        .collect();
    let seen = |size| Seen::new(ground.lines.iter(), size);
    let numbered: Vec<[Seen; 2]> =
        HEIGHTS_MM.iter().map(|&height| [false, true].map(|half| seen(box_size(half, height)))).collect();
    let own = |(area, &value): (usize, &PlanValue)| {
        HEIGHTS_MM.iter().zip([LARGE_GAP_MM, LEAST_GAP_MM]).enumerate().find_map(|(k, (&height_mm, gap))| {
            let half = value.is_half();
            let place = widest(&ground.areas[area], &numbered[k][usize::from(half)], gap)?;
            Some(Label {
                value,
                height_mm,
                box_mm: around(place.middle, box_size(half, height_mm)),
                clearance_mm: place.clearance_mm,
                area: Some(area),
                leaders: Vec::new(),
            })
        })
    };
    let placed: Vec<Option<Label>> = values.par_iter().enumerate().map(own).collect();
    let points = seen([0.0; 2]);
    let dot = |area: usize| widest(&ground.areas[area], &points, LEAST_DOT_MM).map(|place| place.middle);
    let back = ground.shown.inverse();
    let (mut labels, mut specks, mut listed) = (Vec::new(), Vec::new(), Vec::new());
    let mut list = |area: usize, at: Point| {
        listed.push(Listed { area, value: values[area], at, on_picture: back * at });
    };
    for (area, found) in placed.into_iter().enumerate() {
        match (found, dot) {
            (Some(label), _) => labels.push(label),
            (None, dot) => match dot(area) {
                Some(at) => specks.push(Speck { area, value: values[area], at }),
                None => list(area, ground.areas[area].bounds.center()),
            },
        }
    }
    let blocks: Vec<_> = blocks.iter().map(rect).collect();
    for speck in Taken::new(&ground, &labels, &blocks).lead(specks, &mut labels) {
        list(speck.area, speck.at);
    }
    listed.sort_by_key(|l| l.area);
    let mut plan = Plan { labels, listed, furniture: of.marks.clone() };
    let boxes: Vec<_> = plan.labels.iter().map(|l| rect(&l.box_mm)).collect();
    part_grid(&mut plan.furniture, &boxes, GRID_GAP_MM);
    plan.write();
    if options.tints {
        plan.tint(of, ground.shown, scale.values())?;
    }
    Ok(plan)
}

impl Plan {
    /// Draws numbers, leaders and dots.
    fn write(&mut self) {
        let mut dots = BezPath::new();
        let mut paths = Vec::new();
        for label in &self.labels {
            let middle = rect(&label.box_mm).center();
            self.furniture.texts.push(lettered(label.value, middle, label.height_mm));
            for leader in &label.leaders {
                paths.push(vec![leader.from, leader.to]);
                dots.extend(Circle::new(leader.to, leader.dot_mm).path_elements(0.001));
            }
        }
        if !paths.is_empty() {
            let line_mm = LEADER_LINE_MM;
            self.furniture.lines.push(MarkLines { layer: Layer::Values, paths, line_mm, strength: 1.0 });
            self.furniture.fills.push(Fill { layer: Layer::Values, outline: dots, strength: 1.0 });
        }
    }

    /// Tints each area by its value, all but the lightest.
    fn tint(&mut self, of: &PlanGround<'_>, shown: Affine, last: u8) -> Result<(), WalkError> {
        let outlines = of.net.outlines()?;
        for value in 2..=last {
            let strength = DARKEST_TINT * f64::from(value - 1) / f64::from(last - 1);
            let mut outline = BezPath::new();
            for (area, walks) in of.net.areas.iter().zip(&outlines) {
                if area.value == value {
                    outline.extend((shown * outline_of(of, walks)).elements().iter().copied());
                }
            }
            if !outline.elements().is_empty() {
                self.furniture.fills.push(Fill { layer: Layer::Tints, outline, strength });
            }
        }
        Ok(())
    }
}

/// An area's outline with its holes as one path, in mm on the picture.
fn outline_of(of: &PlanGround<'_>, outline: &Outline) -> BezPath {
    let mut path = BezPath::new();
    for ring in std::iter::once(&outline.outer).chain(&outline.holes) {
        let mut begun = false;
        let mut to = |path: &mut BezPath, p: Point| {
            if begun { path.line_to(p) } else { path.move_to(p) }
            begun = true;
        };
        for part in ring {
            match *part {
                Part::Transition { index, backward } => {
                    let t = &of.net.transitions[index];
                    to(&mut path, if backward { t.end() } else { t.start() });
                    if backward {
                        t.curve.iter().rev().for_each(|c| path.curve_to(c.p2, c.p1, c.p0));
                    } else {
                        t.curve.iter().for_each(|c| path.curve_to(c.p1, c.p2, c.p3));
                    }
                }
                Part::Frame { from, to: end } => {
                    to(&mut path, from);
                    of.net.corners_between(from, end).into_iter().for_each(|p| path.line_to(p));
                    path.line_to(end);
                }
            }
        }
        path.close_path();
    }
    path
}
