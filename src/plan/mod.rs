//! Plan: the numbered value plan of a net, and the key to it.
//!
//! In: the [`BoundaryNet`] with its areas, thin marks, where the sheet lies and what is
//! printed around it. Out: [`Plan`]: labels, leaders and a list, in mm on the sheet as shown; [`KeyValue`]s.
//! Keeps: a number without a leader lies whole in its area, as far from every line as it can be (to 5 %); no number's box
//! touches a line, a mark, another number or a leader, and no two leaders cross; an area has a number, far away from it
//! another, or is in the list. Labels are found in the order of the net's areas, so they repeat.

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
use crate::transitions::{BoundaryNet, NetArea, Outline, Part, WalkError};

pub use ground::PlanGround;
pub use key::{
    KeyPage, KeyPatch, KeyTexts, KeyValue, LEAST_ROOM_MM, Made, key_in_margin, key_pages, key_values,
};
pub use numbers::{HEIGHTS_MM, LEADER_HEIGHTS_MM, PlanValue, box_size};

use ground::{Ground, part_grid, rect};
use leaders::{Speck, Taken};
use numbers::{around, lettered};
use widest::{Place, Seen, widest, widest_away};

/// Width of the plan's lines in mm, and of its leaders (ISO 128-2).
pub const PLAN_LINE_MM: f64 = 0.25;
const LEADER_LINE_MM: f64 = 0.18;
/// Least distance from a number's box to the middle of a line in mm: half the line and as much as the eye needs.
pub const LEAST_GAP_MM: f64 = 0.35;
/// Room in mm that a number of the larger height has around it: elsewhere the smaller is calmer.
pub const LARGE_GAP_MM: f64 = 2.5;
/// Distance in mm from its number at which an area has it again, where there is room for the larger height.
pub const AGAIN_MM: f64 = 60.0;
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

/// What a number belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Marked {
    /// An area, by its place in the net.
    Area(usize),
    /// A thin light or dark, by its place among the thin marks.
    Thin(usize),
}

/// A straight line from a number to what it belongs to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leader {
    /// What that is.
    pub of: Marked,
    /// Where it begins, off the number's box.
    pub from: Point,
    /// Where it ends with a dot: inside the area, or on the thin mark.
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
    /// Whether the area has a number already, far away.
    pub again: bool,
    /// Leaders to what it is the number of, when it stands elsewhere.
    pub leaders: Vec<Leader>,
}

/// What has a number that found no room.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Listed {
    /// What it is.
    pub of: Marked,
    /// What it would be labelled with.
    pub value: PlanValue,
    /// A place in it or on it, in mm on the sheet as shown.
    pub at: Point,
    /// The same in mm on the picture.
    pub on_picture: Point,
}

/// The numbers of a plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// Numbers that stand in their areas, in the order of the areas; then those with leaders.
    pub labels: Vec<Label>,
    /// Areas and thin marks whose number found no room, in the order of the net.
    pub listed: Vec<Listed>,
    /// Numbers, leaders, dots and tints, and the marks around the picture, as they are drawn.
    pub furniture: Furniture,
}

/// What each area of a net is labelled with; with `halves`, one whose tone lies between two values with the half.
#[must_use]
pub fn numbers_of(net: &BoundaryNet, scale: &ValueScale, halves: bool) -> Vec<PlanValue> {
    let number = |area: &NetArea| match halves && !area.edited {
        // The value that the artist gave is whole, whatever the tone under it.
        true => PlanValue::with_halves(area.value, area.tone, scale),
        false => PlanValue::whole(area.value),
    };
    net.areas.iter().map(number).collect()
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
    let values = numbers_of(of.net, scale, options.halves);
    let seen = |size| Seen::new(ground.lines.iter(), size);
    let numbered: Vec<[Seen; 2]> =
        HEIGHTS_MM.iter().map(|&height| [false, true].map(|half| seen(box_size(half, height)))).collect();
    let own = |(area, &value): (usize, &PlanValue)| {
        let inside = &ground.areas[area];
        let put = |k: usize, place: Place, again: bool| Label {
            value,
            height_mm: HEIGHTS_MM[k],
            box_mm: around(place.middle, box_size(value.is_half(), HEIGHTS_MM[k])),
            clearance_mm: place.clearance_mm,
            area: Some(area),
            again,
            leaders: Vec::new(),
        };
        let seen = |k: usize| &numbered[k][usize::from(value.is_half())];
        let gaps = [LARGE_GAP_MM, LEAST_GAP_MM].into_iter().enumerate();
        let first = gaps.into_iter().find_map(|(k, gap)| Some((k, widest(inside, seen(k), gap)?)));
        let mut labels: Vec<Label> = first.map(|(k, place)| put(k, place, false)).into_iter().collect();
        let mut middles: Vec<Point> = first.map(|(_, place)| place.middle).into_iter().collect();
        // Far from its number an area has it again, where there is as much room.
        while !middles.is_empty()
            && let Some(mut place) = widest_away(inside, seen(0), LARGE_GAP_MM, &middles, AGAIN_MM)
        {
            place.clearance_mm = seen(0).clearance(place.middle);
            labels.push(put(0, place, true));
            middles.push(place.middle);
        }
        labels
    };
    let placed: Vec<Vec<Label>> = values.par_iter().enumerate().map(own).collect();
    let points = seen([0.0; 2]);
    let dot = |area: usize| widest(&ground.areas[area], &points, LEAST_DOT_MM).map(|place| place.middle);
    let back = ground.shown.inverse();
    let (mut labels, mut specks, mut listed) = (Vec::new(), Vec::new(), Vec::new());
    let list = |of: Marked, value: PlanValue, at: Point| Listed { of, value, at, on_picture: back * at };
    for (area, found) in placed.into_iter().enumerate() {
        if !found.is_empty() {
            labels.extend(found);
            continue;
        }
        let (of, value) = (Marked::Area(area), values[area]);
        match dot(area) {
            Some(at) => specks.push(Speck { of, value, at }),
            None => listed.push(list(of, value, ground.areas[area].bounds.center())),
        }
    }
    for (k, mark) in of.thin.iter().enumerate() {
        let at = ground.shown * mark.middle();
        specks.push(Speck { of: Marked::Thin(k), value: PlanValue::whole(mark.value), at });
    }
    let blocks: Vec<_> = blocks.iter().map(rect).collect();
    for speck in Taken::new(&ground, &labels, &blocks).lead(specks, &mut labels) {
        listed.push(list(speck.of, speck.value, speck.at));
    }
    listed.sort_by_key(|l| l.of);
    let mut plan = Plan { labels, listed, furniture: of.marks.clone() };
    let boxes: Vec<_> = plan.labels.iter().map(|l| rect(&l.box_mm)).collect();
    part_grid(&mut plan.furniture, &boxes, GRID_GAP_MM);
    plan.write();
    if options.tints {
        plan.furniture.fills.extend(tints(of.net, ground.shown, scale.values())?);
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
}

/// Tints of all areas by value, all but the lightest, moved from the picture by a transform.
///
/// # Errors
/// [`WalkError`] when the net does not keep its invariants; never on a net made by [`trace`](crate::transitions::trace).
pub fn tints(net: &BoundaryNet, shown: Affine, last: u8) -> Result<Vec<Fill>, WalkError> {
    let outlines = net.outlines()?;
    let mut fills = Vec::new();
    for value in 2..=last {
        let strength = DARKEST_TINT * f64::from(value - 1) / f64::from(last - 1);
        let mut outline = BezPath::new();
        for (area, walks) in net.areas.iter().zip(&outlines) {
            if area.value == value {
                outline.extend((shown * outline_of(net, walks)).elements().iter().copied());
            }
        }
        if !outline.elements().is_empty() {
            fills.push(Fill { layer: Layer::Tints, outline, strength });
        }
    }
    Ok(fills)
}

/// An area's outline with its holes as one path, in mm on the picture.
fn outline_of(net: &BoundaryNet, outline: &Outline) -> BezPath {
    let mut path = BezPath::new();
    for ring in std::iter::once(&outline.outer).chain(&outline.holes) {
        let mut begun = false;
        let mut to = |path: &mut BezPath, p: Point| {
            if begun {
                path.line_to(p);
            } else {
                path.move_to(p);
            }
            begun = true;
        };
        for part in ring {
            match *part {
                Part::Transition { index, backward } => {
                    let t = &net.transitions[index];
                    to(&mut path, if backward { t.end() } else { t.start() });
                    if backward {
                        t.curve.iter().rev().for_each(|c| path.curve_to(c.p2, c.p1, c.p0));
                    } else {
                        t.curve.iter().for_each(|c| path.curve_to(c.p1, c.p2, c.p3));
                    }
                }
                Part::Frame { from, to: end } => {
                    to(&mut path, from);
                    net.corners_between(from, end).into_iter().for_each(|p| path.line_to(p));
                    path.line_to(end);
                }
            }
        }
        path.close_path();
    }
    path
}
