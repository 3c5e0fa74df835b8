//! Placing: each point of a border moved along its normal to where the tone itself changes.
//!
//! Hard edges lie at half height in linear reflectance (blur happens in light), soft ones on the level of L*
//! between the two values.

use kurbo::{Point, Vec2};
use rayon::prelude::*;

use super::by_hand;
use super::lines::Line;
use super::regional::place_regionally;
use super::trace::ArcEnd;
use crate::areas::edits::Edited;
use crate::raster::Raster;
use crate::tone::ToneField;

/// How far from the crack a place is looked for, in pixels, beside the width of the mean.
const REACH_PX: f64 = 1.6;
/// A change of tone over the reach that makes an edge hard there, in L*.
pub(super) const HARD_STEP_L: f64 = 7.0;
/// Steps in which the profile across is read, in pixels.
const STEP_PX: f64 = 0.25;

/// What lines are placed on.
pub(super) struct Ground<'a> {
    /// Tones.
    pub(super) tone: &'a ToneField,
    /// Lightness of the tone as reflectance: between pixels light is what mixes.
    pub(super) light: &'a Raster<f32>,
    /// Area of the finest net (node of the merge tree) that each pixel lies in.
    pub(super) nodes: &'a Raster<u32>,
    /// What the artist's edits changed.
    pub(super) edited: Option<&'a Edited>,
    /// Whether holding lines lie on the borders.
    pub(super) outlined: bool,
}

impl Ground<'_> {
    /// The area at a place in pixels; none outside of the picture.
    pub(super) fn node_at(&self, p: Point) -> Option<u32> {
        let inside =
            p.x >= 0.0 && p.y >= 0.0 && p.x < self.nodes.width() as f64 && p.y < self.nodes.height() as f64;
        inside.then(|| self.nodes.at(p.x as usize, p.y as usize))
    }
}

/// What lies on both sides of a point of a line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Side {
    /// Area on the left (node of the merge tree), seen on the sheet.
    pub(super) left: u32,
    /// Area on the right.
    pub(super) right: u32,
    /// Whether the left has the lighter value.
    pub(super) left_lighter: bool,
    /// Break of L* between their values.
    pub(super) level: f64,
    /// Whether the border runs along a line of the artist there, not where the tone changes.
    pub(super) by_hand: bool,
}

/// Value of a grid at a place in pixels, bilinear between pixel centres, level beyond the border.
pub(crate) fn sample(raster: &Raster<f32>, p: Point) -> f64 {
    let [value] = sample_each([raster], p);
    value
}

/// The same of several grids of one size.
pub(super) fn sample_each<const N: usize>(rasters: [&Raster<f32>; N], p: Point) -> [f64; N] {
    let (w, h) = (rasters[0].width(), rasters[0].height());
    let x = (p.x - 0.5).clamp(0.0, (w - 1) as f64);
    let y = (p.y - 0.5).clamp(0.0, (h - 1) as f64);
    let (x0, y0) = (x as usize, y as usize);
    let (right, below) = (usize::from(x0 + 1 < w), if y0 + 1 < h { w } else { 0 });
    let (tx, ty) = (x - x0 as f64, y - y0 as f64);
    let first = y0 * w + x0;
    rasters.map(|raster| {
        let at = |i: usize| f64::from(raster.data()[i]);
        let top = at(first) + tx * (at(first + right) - at(first));
        let bottom = at(first + below) + tx * (at(first + below + right) - at(first + below));
        top + ty * (bottom - top)
    })
}

/// Unit normal to the left of each point of a line (seen on the sheet), from its neighbours `reach` points away.
pub(crate) fn normals(points: &[Point], closed: bool, reach: usize) -> Vec<Vec2> {
    let n = points.len();
    (0..n)
        .map(|i| {
            let (a, b) = if closed {
                let reach = reach.min(n / 2);
                (points[(i + n - reach) % n], points[(i + reach) % n])
            } else {
                (points[i.saturating_sub(reach)], points[(i + reach).min(n - 1)])
            };
            let d = b - a;
            let length = d.hypot();
            if length > 0.0 { Vec2::new(d.y, -d.x) / length } else { Vec2::new(0.0, -1.0) }
        })
        .collect()
}

/// Places the points of a line, in pixels; `sides` says what lies on its two sides at each point. End points stay.
pub(super) fn place(ground: &Ground<'_>, line: &Line, sides: &[Side]) -> Vec<Point> {
    let mut placed = place_on_tone(ground, line, sides);
    let Some(edited) = ground.edited else { return placed };
    let ends = [0, placed.len() - 1];
    for (i, p) in placed.iter_mut().enumerate().filter(|(i, _)| sides[*i].by_hand) {
        if (line.closed() || !ends.contains(&i))
            && let Some((far, on)) = by_hand::nearest(&edited.lines, line.points[i])
            && far <= 1.0
        {
            *p = on;
        }
    }
    placed
}

/// The same where the tone alone says where a border runs.
fn place_on_tone(ground: &Ground<'_>, line: &Line, sides: &[Side]) -> Vec<Point> {
    let tone = ground.tone;
    if tone.is_textured() {
        return place_regionally(ground, line, sides);
    }
    let reach = REACH_PX + 1.5 * tone.mean_width_mm * tone.px_per_mm;
    let normals = normals(&line.points, line.closed(), 4);
    let last = line.points.len() - 1;
    line.points
        .par_iter()
        .with_min_len(256)
        .enumerate()
        .map(|(i, &p)| {
            if !line.closed() && (i == 0 || i == last) {
                return p;
            }
            let n = normals[i];
            p + n * offset(&tone.lightness, ground.light, p, n, reach, sides[i].level)
        })
        .collect()
}

/// How far along the normal the tone passes its level, in pixels; 0 where it does not within reach.
fn offset(tone: &Raster<f32>, light: &Raster<f32>, p: Point, n: Vec2, reach: f64, level: f64) -> f64 {
    let steps = (reach / STEP_PX).ceil() as i32;
    let read = |field: &Raster<f32>, k: i32| sample(field, p + n * (f64::from(k) * STEP_PX));
    let step = (read(tone, -steps) - read(tone, steps)).abs();
    let field = if step > HARD_STEP_L { light } else { tone };
    let profile: Vec<f64> = (-steps..=steps).map(|k| read(field, k)).collect();
    let (first, last) = (profile[0], profile[profile.len() - 1]);
    let level = if step > HARD_STEP_L { 0.5 * (first + last) } else { level };
    // The passage nearest to the crack, in the direction of the whole change.
    let mut best: Option<f64> = None;
    for (k, pair) in profile.windows(2).enumerate() {
        let (a, b) = (pair[0] - level, pair[1] - level);
        if a * b > 0.0 || (b - a) * (last - first) < 0.0 || (b - a).abs() < 1e-9 {
            continue;
        }
        let t = (k as f64 - f64::from(steps) + a / (a - b)) * STEP_PX;
        if best.is_none_or(|old| t.abs() < old.abs()) {
            best = Some(t);
        }
    }
    best.unwrap_or(0.0)
}

/// Within this many pixels of an end the profile across meets a third area or the picture's edge.
const BLIND_PX: f64 = 2.6;
/// An end is not carried on further than this many pixels from its corner.
const CARRY_PX: f64 = 1.2;

/// Takes off the points near a line's ends that could not be placed, and carries the line straight on to its end:
/// to the picture's edge, or to about where it meets the line that it ends on. Only ends that are `free` move.
pub(super) fn carry_ends(points: &mut [Point], line: &Line, free: [bool; 2], size: [usize; 2]) {
    if line.closed() {
        return;
    }
    for (e, end) in line.ends.iter().enumerate() {
        if points.len() < 16 || !free[e] {
            continue;
        }
        if e == 1 {
            points.reverse();
        }
        let corner = points[0];
        let first = points.iter().position(|p| p.distance(corner) > BLIND_PX).unwrap_or(points.len() - 1);
        if first + 8 < points.len() {
            let (near, far) = (points[first], points[first + 5]);
            let on = (near - far) / (near - far).hypot().max(1e-9);
            let carried = match end {
                ArcEnd::Frame => to_edge(near, on, corner, size),
                _ => near + on * near.distance(corner),
            };
            if carried.distance(corner) <= CARRY_PX {
                points[0] = carried;
            }
            // Points kept for the places of passed junctions are only moved, so that none is lost.
            let start = points[0];
            for (k, p) in points.iter_mut().enumerate().take(first).skip(1) {
                *p = start.lerp(near, k as f64 / first as f64);
            }
        }
        if e == 1 {
            points.reverse();
        }
    }
}

/// Where a line through `near` in direction `on` leaves the picture, on the side on which `corner` lies.
fn to_edge(near: Point, on: Vec2, corner: Point, size: [usize; 2]) -> Point {
    let [w, h] = size.map(|n| n as f64);
    let upright = corner.x <= 0.0 || corner.x >= w;
    let t = if upright { (corner.x - near.x) / on.x } else { (corner.y - near.y) / on.y };
    if !t.is_finite() || t < 0.0 {
        return corner;
    }
    let p = near + on * t;
    if upright { Point::new(corner.x, p.y.clamp(0.0, h)) } else { Point::new(p.x.clamp(0.0, w), corner.y) }
}
