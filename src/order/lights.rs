//! Lights that black has to leave bare, and thin darks, square by square.

use std::collections::BTreeMap;

use kurbo::{ParamCurve, ParamCurveArclen, ParamCurveDeriv, Point};

use crate::plan::{Marked, PlanValue};
use crate::sheet::Cell;
use crate::thin::ThinMark;
use crate::transitions::AreaPolygon;

use super::{LEAST_MARK_MM, LinePart, OrderGround};

/// Distance in mm at which a light's sides are looked at along it.
const STEP_MM: f64 = 0.1;
/// How far beyond a light's own edge its sides are looked at, in mm: past the blur of its edge.
const BESIDE_MM: f64 = 0.5;

/// Lights inside or beside black: thin ones, as far as black lies on a side, then areas of paper that have nothing but
/// black around them.
pub(super) fn reserved(ground: &OrderGround<'_>, polygons: &[AreaPolygon]) -> Vec<(Cell, LinePart)> {
    let mut lights = Vec::new();
    for (k, mark) in ground.thin.iter().enumerate().filter(|(_, mark)| mark.light) {
        listed(&mut lights, Marked::Thin(k), &beside_black(ground, mark));
    }
    for area in within_black(ground) {
        let mut lengths: BTreeMap<Cell, f64> = BTreeMap::new();
        let polygon = &polygons[area];
        for ring in std::iter::once(&polygon.outer).chain(&polygon.holes) {
            let round: Vec<Point> = ring.iter().chain(ring.first()).copied().collect();
            for (cell, length) in ground.squares.lengths(&round) {
                *lengths.entry(cell).or_insert(0.0) += length;
            }
        }
        listed(&mut lights, Marked::Area(area), &lengths);
    }
    lights
}

/// Thin darks with their values.
pub(super) fn darks(ground: &OrderGround<'_>) -> Vec<(Cell, LinePart, u8)> {
    let mut darks = Vec::new();
    for (k, mark) in ground.thin.iter().enumerate().filter(|(_, mark)| !mark.light) {
        let mut lengths: BTreeMap<Cell, f64> = BTreeMap::new();
        for (middle, length, _) in pieces(mark) {
            *lengths.entry(ground.squares.cell(middle)).or_insert(0.0) += length;
        }
        let mut parts = Vec::new();
        listed(&mut parts, Marked::Thin(k), &lengths);
        darks.extend(parts.into_iter().map(|(cell, part)| (cell, part, mark.value)));
    }
    darks
}

/// Lists something in the squares that have enough of it, or most of it where it is short.
fn listed(list: &mut Vec<(Cell, LinePart)>, of: Marked, lengths: &BTreeMap<Cell, f64>) {
    let most = lengths.values().copied().fold(0.0, f64::max);
    let enough = |length: f64| length >= LEAST_MARK_MM || length >= most;
    let parts = lengths.iter().filter(|&(_, &length)| enough(length));
    list.extend(parts.map(|(&cell, &length_mm)| (cell, LinePart { of, length_mm })));
}

/// A mark in short pieces: the middle of each, its length, and the way across to the left.
fn pieces(mark: &ThinMark) -> impl Iterator<Item = (Point, f64, kurbo::Vec2)> {
    mark.curve.iter().flat_map(|c| {
        let length = c.arclen(1e-4);
        let count = (length / STEP_MM).ceil().max(1.0) as usize;
        (0..count).map(move |k| {
            let t = |k: f64| k / count as f64;
            let piece = c.subsegment(t(k as f64)..t(k as f64 + 1.0));
            let along = piece.deriv().eval(0.5).to_vec2();
            let across = kurbo::Vec2::new(along.y, -along.x);
            let across = if across.hypot() > 0.0 { across.normalize() } else { across };
            (piece.eval(0.5), piece.arclen(1e-4), across)
        })
    })
}

/// How much of a light in each square has black on a side, in mm.
fn beside_black(ground: &OrderGround<'_>, mark: &ThinMark) -> BTreeMap<Cell, f64> {
    let off = mark.median_width_mm() / 2.0 + BESIDE_MM;
    let values = ground.values;
    let black = |p: Point| {
        let at = |mm: f64, count: usize| ((mm * ground.px_per_mm).max(0.0) as usize).min(count - 1);
        values.at(at(p.x, values.width()), at(p.y, values.height())) == ground.last
    };
    let mut lengths = BTreeMap::new();
    for (middle, length, across) in pieces(mark) {
        if black(middle + off * across) || black(middle - off * across) {
            *lengths.entry(ground.squares.cell(middle)).or_insert(0.0) += length;
        }
    }
    lengths
}

/// Areas of bare paper whose every neighbour is black, by their numbers on the plan.
fn within_black(ground: &OrderGround<'_>) -> Vec<usize> {
    let black_number = PlanValue::whole(ground.last);
    let mut around = vec![(0_usize, true); ground.labels.len()];
    for t in &ground.net.transitions {
        for (own, other) in [(t.left, t.right), (t.right, t.left)] {
            let (count, black) = &mut around[own];
            *count += 1;
            *black &= ground.labels[other] == black_number;
        }
    }
    let bare = |k: &usize| ground.labels[*k] == PlanValue::whole(1) && around[*k].0 > 0 && around[*k].1;
    (0..around.len()).filter(bare).collect()
}
