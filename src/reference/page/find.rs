//! The four corners of a page or a picture, found.

use std::f64::consts::TAU;

use crate::colour::lightness_f32;
use crate::raster::Raster;
use crate::reference::resample;

use super::homography::{Quad, check_corners, turn};
use super::sides::{Side, refine};

/// A page that was found.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Found {
    /// Its corners, clockwise from the one nearest the reference's top left.
    pub(super) quad: Quad,
    /// How much of its weakest side is seen as an edge, 0 to 1.
    pub(super) confidence: f64,
    /// How far its most curved side strays from straight, as a share of that side's length.
    pub(super) bend: f64,
}

/// Longer side of the picture in which lines are looked for, in pixels.
const SEARCHED: f64 = 480.0;
/// Least slope of an edge, in L* a pixel.
const LEAST_SLOPE: f32 = 1.5;
/// Slope from which an edge counts no more than others: solid ink must not outvote paper on a light table.
const FULL_SLOPE: f32 = 6.0;
/// Bins of direction over a full turn, and how far a vote is spread, in bins.
const DIRECTIONS: usize = 360;
const SPREAD: isize = 2;
/// How far a side may lean from upright or level, in degrees: 25 degrees of tilt and a turned camera.
const MOST_LEAN: isize = 38;
/// Lines looked at for each side.
const LINES_PER_SIDE: usize = 14;
/// Two lines nearer than this (bins of direction, pixels) are one.
const SAME_DIRECTION: isize = 4;
const SAME_PLACE: isize = 5;
/// How far from a line an edge may lie and still be seen on it, in pixels, and how far its direction may differ.
const BESIDE: isize = 2;
const ASKEW: f64 = 0.25;
/// Places along a side at which it is looked for.
const PLACES: usize = 64;
/// Least share of the reference that a page covers.
const LEAST_AREA: f64 = 0.1;
/// Share of its weakest side that has to be seen as an edge, or the page is not believed.
///
/// On six drawings and two still lifes without a page the best false one had 0.59; photographed pages have over 0.95.
pub(super) const LEAST_CONFIDENCE: f64 = 0.7;
/// Least ratio of opposite sides: a tilt beyond 60 degrees.
const LEAST_OPPOSITE: f64 = 0.4;

/// Slopes of lightness.
struct Slopes {
    width: usize,
    height: usize,
    slope: Vec<[f32; 2]>,
}

impl Slopes {
    fn of(picture: &Raster<f32>) -> Self {
        let soft = smoothed(&picture.map(lightness_f32));
        let (w, h) = (soft.width(), soft.height());
        let slope = (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let at = |x: usize, y: usize| soft.at(x.min(w - 1), y.min(h - 1));
                [
                    0.5 * (at(x + 1, y) - at(x.saturating_sub(1), y)),
                    0.5 * (at(x, y + 1) - at(x, y.saturating_sub(1))),
                ]
            })
            .collect();
        Self { width: w, height: h, slope }
    }

    fn at(&self, x: isize, y: isize) -> [f32; 2] {
        let inside = x >= 0 && y >= 0 && (x as usize) < self.width && (y as usize) < self.height;
        if inside { self.slope[y as usize * self.width + x as usize] } else { [0.0; 2] }
    }

    /// Whether an edge that rises along `normal` lies near a place.
    fn seen(&self, [x, y]: [f64; 2], normal: [f64; 2]) -> bool {
        (-BESIDE..=BESIDE).any(|d| {
            let at = [x + d as f64 * normal[0], y + d as f64 * normal[1]].map(|v| (v - 0.5).round() as isize);
            let [gx, gy] = self.at(at[0], at[1]).map(f64::from);
            let along = gx * normal[0] + gy * normal[1];
            let across = gx * normal[1] - gy * normal[0];
            along >= f64::from(LEAST_SLOPE) && across.abs() <= ASKEW.tan() * 1.5 * along
        })
    }
}

/// The mean with neighbours by 1 2 1 in both directions, twice: about a Gaussian of one pixel.
fn smoothed(picture: &Raster<f32>) -> Raster<f32> {
    let (w, h) = (picture.width(), picture.height());
    let mut now = picture.clone();
    for _ in 0..2 {
        let across: Vec<f32> = (0..w * h)
            .map(|i| {
                let (x, row) = (i % w, now.row(i / w));
                0.25 * (row[x.saturating_sub(1)] + 2.0 * row[x] + row[(x + 1).min(w - 1)])
            })
            .collect();
        let down = (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                0.25 * (across[y.saturating_sub(1) * w + x]
                    + 2.0 * across[i]
                    + across[(y + 1).min(h - 1) * w + x])
            })
            .collect();
        now = Raster::from_vec(w, h, down);
    }
    now
}

/// A line: where it is lighter (a direction in radians) and how far it lies that way from the middle of the picture.
#[derive(Clone, Copy, Debug)]
struct Line {
    normal: [f64; 2],
    offset: f64,
}

impl Line {
    /// Where two lines meet.
    fn meet(&self, other: &Self) -> Option<[f64; 2]> {
        let [a, b] = [self.normal, other.normal];
        let det = a[0] * b[1] - a[1] * b[0];
        (det.abs() > 1e-3).then(|| {
            [
                (self.offset * b[1] - other.offset * a[1]) / det,
                (a[0] * other.offset - b[0] * self.offset) / det,
            ]
        })
    }
}

/// Looks for a page: its four sides lighter than what lies round it, or darker (a picture on a wall or a white page).
///
/// Edges vote for lines with the direction of their own slope (the Hough transform of Duda & Hart 1972, directed as in
/// O'Gorman & Clowes 1976); quadrangles of such lines are judged by how much of each side is an edge (as in Zhang & He
/// 2007, "Whiteboard scanning and image enhancement", section 3.1); the best one's sides are then placed anew by the
/// steepest slope in light at the reference's own pixels. Of well seen quadrangles the largest is the page. `None` when
/// there is none of which every side is seen at all.
pub(super) fn find_page(reference: &Raster<f32>) -> Option<Found> {
    let size = [reference.width(), reference.height()];
    let longer = size[0].max(size[1]) as f64;
    let scale = (SEARCHED / longer).min(1.0);
    let [w, h] = size.map(|side| ((side as f64 * scale).round() as usize).max(1));
    if w < 32 || h < 32 {
        return None;
    }
    let slopes = Slopes::of(&resample(reference, w, h));
    let votes = Votes::of(&slopes);
    let (lines, darker) = [false, true]
        .into_iter()
        .filter_map(|darker| best_quad(&slopes, &votes, darker).map(|(lines, rank)| (lines, darker, rank)))
        .max_by(|a, b| a.2.total_cmp(&b.2))
        .map(|(lines, darker, _)| (lines, darker))?;
    let quad = corners(&lines)?;
    let up = [size[0] as f64 / w as f64, size[1] as f64 / h as f64];
    let quad = quad.map(|p| [p[0] * up[0], p[1] * up[1]]);
    let sides: [Side; 4] =
        std::array::from_fn(|k| refine(reference, quad[k], quad[(k + 1) % 4], darker, 1.0 / scale));
    let met: Option<Vec<[f64; 2]>> = (0..4).map(|k| sides[(k + 3) % 4].meet(&sides[k])).collect();
    let refined: Quad = met?.try_into().ok()?;
    // Along its curve: a page that rises to its gutter is seen as well as a flat one.
    let seen = sides.iter().zip(&lines).map(|(side, line)| {
        let at = |share: f64| {
            let [x, y] = side.place(share);
            [x / up[0], y / up[1]]
        };
        side_seen(&slopes, at, line.normal).min(side.seen)
    });
    let seen = seen.fold(1.0, f64::min);
    let bend = sides.iter().map(|s| s.bend).fold(0.0, f64::max);
    check_corners(&refined, size).ok()?;
    Some(Found { quad: refined, confidence: seen, bend })
}

/// Votes for lines by direction and offset.
struct Votes {
    reach: isize,
    middle: [f64; 2],
    votes: Vec<f32>,
}

impl Votes {
    fn of(slopes: &Slopes) -> Self {
        let middle = [slopes.width as f64 / 2.0, slopes.height as f64 / 2.0];
        let reach = middle[0].hypot(middle[1]).ceil() as isize + 1;
        let across = (2 * reach + 1) as usize;
        let mut votes = vec![0.0_f32; DIRECTIONS * across];
        for (i, &[gx, gy]) in slopes.slope.iter().enumerate() {
            let steep = gx.hypot(gy);
            if steep < LEAST_SLOPE {
                continue;
            }
            let at =
                [(i % slopes.width) as f64 + 0.5 - middle[0], (i / slopes.width) as f64 + 0.5 - middle[1]];
            let direction = (f64::from(gy).atan2(f64::from(gx)) / TAU * DIRECTIONS as f64).round() as isize;
            for d in -SPREAD..=SPREAD {
                let bin = (direction + d).rem_euclid(DIRECTIONS as isize) as usize;
                let (s, c) = (bin as f64 / DIRECTIONS as f64 * TAU).sin_cos();
                let offset = (at[0] * c + at[1] * s).round() as isize + reach;
                votes[bin * across + offset as usize] += steep.min(FULL_SLOPE);
            }
        }
        Self { reach, middle, votes }
    }

    /// The strongest lines whose direction lies about `towards`, in bins.
    fn strongest(&self, towards: isize) -> Vec<Line> {
        let across = 2 * self.reach + 1;
        let mut all: Vec<(f32, isize, isize)> = Vec::new();
        for lean in -MOST_LEAN..=MOST_LEAN {
            let bin = (towards + lean).rem_euclid(DIRECTIONS as isize);
            for offset in 0..across {
                let votes = self.votes[(bin * across + offset) as usize];
                if votes > 0.0 {
                    all.push((votes, lean, offset));
                }
            }
        }
        all.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        let mut kept: Vec<(isize, isize)> = Vec::new();
        for (_, lean, offset) in all {
            let near = |&(l, o): &(isize, isize)| {
                (l - lean).abs() <= SAME_DIRECTION && (o - offset).abs() <= SAME_PLACE
            };
            if !kept.iter().any(near) {
                kept.push((lean, offset));
                if kept.len() == LINES_PER_SIDE {
                    break;
                }
            }
        }
        kept.into_iter()
            .map(|(lean, offset)| {
                let (s, c) = ((towards + lean) as f64 / DIRECTIONS as f64 * TAU).sin_cos();
                let offset = (offset - self.reach) as f64 + self.middle[0] * c + self.middle[1] * s;
                Line { normal: [c, s], offset }
            })
            .collect()
    }
}

/// Corners of four lines, top, right, bottom, left: clockwise from the top left.
fn corners(lines: &[Line; 4]) -> Option<Quad> {
    let [top, right, bottom, left] = lines;
    Some([left.meet(top)?, top.meet(right)?, right.meet(bottom)?, bottom.meet(left)?])
}

/// The best quadrangle that is lighter (or darker) inside: its lines and its rank.
fn best_quad(slopes: &Slopes, votes: &Votes, darker: bool) -> Option<([Line; 4], f64)> {
    // Towards which the slope rises at the top, right, bottom and left side of a light page: inwards.
    let turned = if darker { 180 } else { 0 };
    let [tops, rights, bottoms, lefts] = [90, 180, 270, 0].map(|d| votes.strongest(d + turned));
    let size = [slopes.width, slopes.height];
    let mut best: Option<([Line; 4], f64)> = None;
    for top in &tops {
        for bottom in &bottoms {
            for left in &lefts {
                for right in &rights {
                    let lines = [*top, *right, *bottom, *left];
                    let Some(quad) = corners(&lines) else { continue };
                    if !possible(&quad, size) {
                        continue;
                    }
                    let seen = (0..4).map(|k| {
                        let (a, b) = (quad[k], quad[(k + 1) % 4]);
                        let at = |t: f64| [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
                        side_seen(slopes, at, lines[k].normal)
                    });
                    let seen: Vec<f64> = seen.collect();
                    let weakest = seen.iter().copied().fold(1.0, f64::min);
                    let mean = seen.iter().sum::<f64>() / 4.0;
                    let area = area(&quad) / (size[0] * size[1]) as f64;
                    let rank = weakest * mean * area.powf(0.35);
                    if best.as_ref().is_none_or(|b| rank > b.1) {
                        best = Some((lines, rank));
                    }
                }
            }
        }
    }
    best.filter(|b| b.1 > 0.0)
}

fn area(quad: &Quad) -> f64 {
    0.5 * (turn(quad[0], quad[1], quad[2]) + turn(quad[0], quad[2], quad[3]))
}

/// Whether a quadrangle can be a page at all.
fn possible(quad: &Quad, size: [usize; 2]) -> bool {
    let long = |k: usize| {
        let (a, b) = (quad[k], quad[(k + 1) % 4]);
        (a[0] - b[0]).hypot(a[1] - b[1])
    };
    let alike = |a: f64, b: f64| a.min(b) >= LEAST_OPPOSITE * a.max(b);
    // A light page seen as the dark outside of itself has its top below.
    let upright = quad[0][0] < quad[1][0] && quad[3][0] < quad[2][0] && quad[0][1] < quad[3][1];
    upright
        && alike(long(0), long(2))
        && alike(long(1), long(3))
        && area(quad) >= LEAST_AREA * (size[0] * size[1]) as f64
        && check_corners(quad, size).is_ok()
}

/// Share of a side that is seen as an edge; a twentieth at either end is left out, where corners are round.
fn side_seen(slopes: &Slopes, at: impl Fn(f64) -> [f64; 2], normal: [f64; 2]) -> f64 {
    let place = |k: usize| at(0.05 + 0.9 * (k as f64 + 0.5) / PLACES as f64);
    (0..PLACES).filter(|&k| slopes.seen(place(k), normal)).count() as f64 / PLACES as f64
}

#[cfg(test)]
mod tests;
