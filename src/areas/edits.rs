//! Edits: what the artist changes on the areas, by a point on each.
//!
//! In: an [`AreaMap`], the height of the drawing that was looked at, and [`Edit`]s. Out: another map of areas.
//! Units: points in shares of the picture or mm from its top left.
//! Keeps: neighbours differ in value and every pixel is in one area, as before. An edited area is one leaf whose value
//! stands ([`Edited::pinned`]), so no plainness merges it into another value or divides it; so is what a split leaves.
//! Everything else merges as it did.
//!
//! Areas are those of the drawing that was looked at, at one height. Splits are made first, in their order, then values are
//! given and areas merged; at last neighbours of one value become one area.

mod parts;

#[cfg(test)]
mod tests;

use kurbo::Point;
use thiserror::Error;

use super::merge::{Held, merge_tree_held};
use super::zones::{Measure, said};
use super::{AreaMap, AreaSums, Doubt};
use crate::components::components;
use crate::raster::Raster;
use crate::tone::ToneField;

use parts::Parts;

/// A place on the picture: across and down.
pub type PlaceOnPicture = [Measure; 2];

/// One edit.
#[derive(Clone, Debug, PartialEq)]
pub struct Edit {
    /// A point of the area.
    pub at: PlaceOnPicture,
    /// What becomes of it.
    pub act: Act,
}

/// What an edit does to the area at its point.
#[derive(Clone, Debug, PartialEq)]
pub enum Act {
    /// It gets a value.
    Value(u8),
    /// It becomes one with the area at another point, of the value given or else of that which most of both has.
    Merge {
        /// A point of the other area.
        with: PlaceOnPicture,
        /// The value of both.
        value: Option<u8>,
    },
    /// It is cut in two along a line; the part that the point is in gets a value, the rest keeps its own.
    Split {
        /// The line, from end to end.
        along: Vec<PlaceOnPicture>,
        /// The value.
        value: u8,
    },
}

/// What edits changed on a map of areas.
#[derive(Clone, Debug)]
pub struct Edited {
    /// By leaf, whether it is an edited area.
    pub pinned: Vec<bool>,
    /// Value of each pixel in the finest net without edits: what borders that the tone makes are placed by.
    pub own: Raster<u8>,
    /// Bit 0: between this pixel and the next one to the right runs a line of the artist that splits an area; bit 1: the
    /// same below.
    pub cracks: Raster<u8>,
    /// Those lines, in pixels.
    pub lines: Vec<Vec<Point>>,
    /// Splits whose two parts have one value in the end, by number of the edit.
    pub idle: Vec<usize>,
}

/// Why an edit cannot be made.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum EditFault {
    /// A point that is not on the picture.
    #[error(
        "the point {} lies outside the picture, which is {width_mm:.1} x {height_mm:.1} mm on the sheet; measure it \
         from the picture's top left",
        said(at)
    )]
    Outside {
        /// The point.
        at: PlaceOnPicture,
        /// Width of the picture in mm.
        width_mm: f64,
        /// Height of the picture in mm.
        height_mm: f64,
    },
    /// A line that does not part the area.
    #[error(
        "the line does not cut the area at {} in two; carry both of its ends on beyond that area's border, or close the \
         line",
        said(at)
    )]
    SplitsNothing {
        /// The point.
        at: PlaceOnPicture,
    },
    /// Areas that have no border in common.
    #[error(
        "the areas at {} and {} do not touch, so they cannot be one; merge what lies between them too",
        said(at),
        said(with)
    )]
    Apart {
        /// The point.
        at: PlaceOnPicture,
        /// The other point.
        with: PlaceOnPicture,
    },
    /// Two edits that give one area two values.
    #[error("the area at {} gets value {second} here, but value {first} by {}; take one of them out", said(at), other_said(*.other))]
    TwoValues {
        /// The point.
        at: PlaceOnPicture,
        /// Value by the earlier edit.
        first: u8,
        /// Value by this one.
        second: u8,
        /// The earlier edit, counted from 0.
        other: usize,
    },
}

fn other_said(number: usize) -> String {
    format!("edit number {}", number + 1)
}

/// The areas as edited: those of the drawing at a merging height (L*^2 mm) are what edits speak of.
///
/// # Errors
/// The number of the first edit that cannot be made, from 0, and why.
pub fn edited(
    tone: &ToneField,
    areas: &AreaMap,
    edits: &[Edit],
    height: f64,
) -> Result<AreaMap, (usize, EditFault)> {
    let (w, h) = (areas.ids.width(), areas.ids.height());
    let grid = Grid { px_per_mm: tone.px_per_mm, width: w, height: h };
    let mut parts = Parts::of(areas, height);
    let mut cracks = Raster::new(w, h, 0_u8);
    let mut lines = Vec::new();
    for (k, edit) in edits.iter().enumerate() {
        let at = grid.pixel(edit.at).map_err(|fault| (k, fault))?;
        if let Act::Split { along, value } = &edit.act {
            let line: Vec<Point> = along.iter().map(|&p| grid.place(p)).collect();
            if !parts.split(at, &line, (*value, k), &mut cracks) {
                return Err((k, EditFault::SplitsNothing { at: edit.at }));
            }
            lines.push(line);
        }
    }
    parts.separate();
    let mut pairs = Vec::new();
    for (k, edit) in edits.iter().enumerate() {
        let at = grid.pixel(edit.at).map_err(|fault| (k, fault))?;
        let done = match &edit.act {
            // A later split may have cut the point's part again, and given it another value.
            Act::Value(value) | Act::Split { value, .. } => parts.force(at, (*value, k)),
            Act::Merge { with, value } => {
                let other = grid.pixel(*with).map_err(|fault| (k, fault))?;
                pairs.push((k, at, other));
                parts.merge(at, other).and_then(|()| value.map_or(Ok(()), |v| parts.force(at, (v, k))))
            }
        };
        done.map_err(|clash| {
            let (second, by) = clash.later;
            let fault = EditFault::TwoValues {
                at: edits[by].at,
                first: clash.earlier.0,
                second,
                other: clash.earlier.1,
            };
            (by, fault)
        })?;
    }
    let (values, touched) = parts.values();
    let (mut homes, count) = components(&values);
    homes.data_mut().iter_mut().for_each(|id| *id -= 1);
    for (k, at, other) in pairs {
        if homes.data()[at] != homes.data()[other] {
            let Act::Merge { with, .. } = edits[k].act else { continue };
            return Err((k, EditFault::Apart { at: edits[k].at, with }));
        }
    }
    let mut pinned_home = vec![false; count];
    for (&home, &touched) in homes.data().iter().zip(touched.data()) {
        pinned_home[home as usize] |= touched;
    }
    let idle = edits.iter().enumerate().filter_map(|(k, edit)| {
        let line = matches!(edit.act, Act::Split { .. });
        (line && !parts_differ(&homes, &cracks, grid.pixel(edit.at).ok()?)).then_some(k)
    });
    let idle = idle.collect();
    // A crack whose two sides came to one value is no border any more, so it does no harm.
    Ok(rebuilt(tone, areas, &homes, &values, &pinned_home, (cracks, lines, idle)))
}

/// Whether the area at a pixel has a border along a line of the artist.
fn parts_differ(homes: &Raster<u32>, cracks: &Raster<u8>, at: usize) -> bool {
    let (w, home) = (homes.width(), homes.data()[at]);
    let beside = |i: usize, j: usize| {
        let pair = [homes.data()[i], homes.data()[j]];
        pair[0] != pair[1] && pair.contains(&home)
    };
    (0..homes.data().len()).any(|i| {
        let bits = cracks.data()[i];
        bits & 1 != 0 && beside(i, i + 1) || bits & 2 != 0 && beside(i, i + w)
    })
}

/// Leaves and tree anew: pinned areas whole, what is left of the old leaves in connected pieces.
fn rebuilt(
    tone: &ToneField,
    areas: &AreaMap,
    homes: &Raster<u32>,
    values: &Raster<u8>,
    pinned_home: &[bool],
    (cracks, lines, idle): (Raster<u8>, Vec<Vec<Point>>, Vec<usize>),
) -> AreaMap {
    let old = &areas.tree;
    let leaves = old.leaves() as u32;
    let mut keys = homes.clone();
    for (key, &leaf) in keys.data_mut().iter_mut().zip(areas.ids.data()) {
        *key = if pinned_home[*key as usize] { leaves + *key } else { leaf };
    }
    let (ids, key_of) = parts::pieces(&keys);
    let pinned: Vec<bool> = key_of.iter().map(|&key| key >= leaves).collect();
    let mut home = vec![(0, 0); key_of.len()];
    let mut sums = vec![AreaSums::default(); key_of.len()];
    for (i, &id) in ids.data().iter().enumerate() {
        let of_leaf = old.sums(areas.ids.data()[i] as usize);
        let sum = &mut sums[id as usize];
        sum.pixels += 1.0;
        sum.reflectance += f64::from(tone.reflectance.data()[i]);
        sum.emphasis += of_leaf.emphasis / of_leaf.pixels;
        home[id as usize] = (homes.data()[i], values.data()[i]);
    }
    let leaf_values: Vec<u8> = (0..key_of.len())
        .map(|n| if pinned[n] { home[n].1 } else { old.value(key_of[n] as usize) })
        .collect();
    let held = Held { pinned: &pinned, home: &home };
    let doubt = Doubt::of(tone);
    doubt.sum_misfits(&ids, &mut sums);
    let tree = merge_tree_held(&ids, &leaf_values, &sums, tone.px_per_mm, doubt, held);
    let finest = old.cut(0.0);
    let own = areas.ids.map(|leaf| old.value(finest[leaf as usize]));
    AreaMap { ids, tree, edited: Some(Edited { pinned, own, cracks, lines, idle }), ..*areas }
}

/// The pixels that points lie in.
struct Grid {
    px_per_mm: f64,
    width: usize,
    height: usize,
}

impl Grid {
    fn sides_mm(&self) -> [f64; 2] {
        [self.width, self.height].map(|n| n as f64 / self.px_per_mm)
    }

    /// A point in pixels.
    fn place(&self, at: PlaceOnPicture) -> Point {
        let [width, height] = self.sides_mm();
        Point::new(at[0].mm(width) * self.px_per_mm, at[1].mm(height) * self.px_per_mm)
    }

    /// The number of the pixel that a point lies in.
    fn pixel(&self, at: PlaceOnPicture) -> Result<usize, EditFault> {
        let [width_mm, height_mm] = self.sides_mm();
        let p = self.place(at);
        // The picture's far edges are on the picture.
        let slack = 1e-6;
        let along = |v: f64, n: usize| {
            (v >= -slack && v <= n as f64 + slack).then(|| (v.max(0.0) as usize).min(n - 1))
        };
        let found = along(p.x, self.width).zip(along(p.y, self.height));
        found.map(|(x, y)| y * self.width + x).ok_or(EditFault::Outside { at, width_mm, height_mm })
    }
}
