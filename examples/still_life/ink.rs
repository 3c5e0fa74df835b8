//! The hand: strokes that follow the form, nearer and crossed where it is darker.
//!
//! Strokes are laid evenly along a field of directions (Jobard & Lefer 1997). Their width is chosen so that
//! the ink covers exactly the share of paper that the tone asks for: one minus its reflectance.

use crate::vector::Dice;
use crate::{PX_PER_MM, Picture};

/// Ink share under which the paper stays bare, and over which it is filled in solid.
const BARE: f64 = 0.09;
const SOLID: f64 = 0.955;
/// Distance between strokes in mm, in the lightest and the darkest hatching.
const PITCH_MM: [f64; 2] = [1.04, 0.86];
/// Length of one step along a stroke, in pixels.
const STRIDE: f64 = 2.0;
/// Angles in radians by which the second and third set of strokes cross the first.
const CROSSING: [f64; 3] = [0.0, 0.92, -0.78];

/// Ink share of each of the three crossing sets that together give `cover`.
fn shares(cover: f64) -> [f64; 3] {
    if !(BARE..=SOLID).contains(&cover) {
        return [0.0; 3];
    }
    let rest = |open: f64| 1.0 - (1.0 - cover) / open;
    if cover < 0.5 {
        [cover, 0.0, 0.0]
    } else if cover < 0.71 {
        [0.42, rest(0.58), 0.0]
    } else if cover < 0.8 {
        [0.42, 0.42, rest(0.58 * 0.58)]
    } else {
        [1.0 - (1.0 - cover).cbrt(); 3]
    }
}

/// Distance between strokes in pixels; on a flat thing it does not change with the tone, as rows of strokes
/// that have to be let in or left out would show there.
fn pitch_px(share: f64, flat: bool) -> f64 {
    let t = if flat { 0.6 } else { ((share - BARE) / (0.5 - BARE)).clamp(0.0, 1.0) };
    (PITCH_MM[0] + (PITCH_MM[1] - PITCH_MM[0]) * t) * PX_PER_MM
}

type Point = [f64; 2];

/// All points laid so far in one set, in square cells so that near ones are found quickly.
struct Laid {
    cell: f64,
    across: usize,
    cells: Vec<Vec<(Point, u32, u32)>>,
}

impl Laid {
    fn new(width: usize, height: usize) -> Self {
        let cell = 12.0;
        let across = (width as f64 / cell) as usize + 1;
        let down = (height as f64 / cell) as usize + 1;
        Self { cell, across, cells: vec![Vec::new(); across * down] }
    }

    fn add(&mut self, p: Point, line: u32, step: u32) {
        let at = (p[1] / self.cell) as usize * self.across + (p[0] / self.cell) as usize;
        self.cells[at].push((p, line, step));
    }

    /// Calls `f` for every point in the nine cells round `p`.
    fn near(&self, p: Point, mut f: impl FnMut(Point, u32, u32)) {
        let (cx, cy) = ((p[0] / self.cell) as usize, (p[1] / self.cell) as usize);
        let down = self.cells.len() / self.across;
        for y in cy.saturating_sub(1)..=(cy + 1).min(down - 1) {
            for x in cx.saturating_sub(1)..=(cx + 1).min(self.across - 1) {
                for &(q, line, step) in &self.cells[y * self.across + x] {
                    f(q, line, step);
                }
            }
        }
    }

    fn clear_of(&self, p: Point, distance: f64, own: Option<(u32, u32)>) -> bool {
        let mut clear = true;
        self.near(p, |q, line, step| {
            let mine = own.is_some_and(|(l, s)| l == line && s.abs_diff(step) < 14);
            if !mine && f64::hypot(q[0] - p[0], q[1] - p[1]) < distance {
                clear = false;
            }
        });
        clear
    }
}

/// One set of strokes over one picture.
struct Set<'a> {
    picture: &'a Picture,
    which: usize,
    laid: Vec<Laid>,
    lines: Vec<(usize, Vec<Point>)>,
}

impl Set<'_> {
    fn pixel(&self, p: Point) -> Option<usize> {
        let inside = p[0] >= 0.0
            && p[1] >= 0.0
            && p[0] < self.picture.width as f64
            && p[1] < self.picture.height as f64;
        inside.then(|| p[1] as usize * self.picture.width + p[0] as usize)
    }

    fn share(&self, pixel: usize) -> f64 {
        shares(1.0 - self.picture.light[pixel])[self.which]
    }

    fn direction(&self, pixel: usize, before: Point) -> Point {
        let [x, y] = self.picture.along[pixel];
        let (s, c) = CROSSING[self.which].sin_cos();
        let d = [c * x - s * y, s * x + c * y];
        if d[0] * before[0] + d[1] * before[1] < 0.0 { [-d[0], -d[1]] } else { d }
    }

    /// Follows the form from `seed` one way; `turn` is 1 or -1.
    fn follow(&self, thing: usize, seed: Point, turn: f64) -> Vec<Point> {
        let mut points = vec![];
        let mut p = seed;
        let Some(first) = self.pixel(seed) else { return points };
        let [x, y] = self.direction(first, [1.0, 0.0]);
        let mut heading = [x * turn, y * turn];
        let laid = &self.laid[thing];
        for _ in 0..2000 {
            let Some(here) = self.pixel(p) else { break };
            let d = self.direction(here, heading);
            let half = [p[0] + d[0] * STRIDE / 2.0, p[1] + d[1] * STRIDE / 2.0];
            let Some(middle) = self.pixel(half) else { break };
            let d = self.direction(middle, d);
            let next = [p[0] + d[0] * STRIDE, p[1] + d[1] * STRIDE];
            let Some(pixel) = self.pixel(next) else { break };
            let share = self.share(pixel);
            let turned = d[0] * heading[0] + d[1] * heading[1];
            if self.picture.thing[pixel] != thing || share <= 0.0 || turned < 0.6 {
                break;
            }
            if !laid.clear_of(next, 0.62 * pitch_px(share, self.picture.flat[pixel]), None) {
                break;
            }
            // A closed turn round the form ends where it began.
            if points.len() > 14 && f64::hypot(next[0] - seed[0], next[1] - seed[1]) < STRIDE {
                break;
            }
            points.push(next);
            heading = d;
            p = next;
        }
        points
    }

    fn lay(&mut self, seed: Point) -> Option<usize> {
        let pixel = self.pixel(seed)?;
        let share = self.share(pixel);
        let thing = self.picture.thing[pixel];
        if share <= 0.0
            || !self.laid[thing].clear_of(seed, 0.84 * pitch_px(share, self.picture.flat[pixel]), None)
        {
            return None;
        }
        let mut line = self.follow(thing, seed, -1.0);
        line.reverse();
        line.push(seed);
        line.extend(self.follow(thing, seed, 1.0));
        let id = self.lines.len();
        if line.len() < 5 {
            return None;
        }
        for (step, &p) in line.iter().enumerate() {
            self.laid[thing].add(p, id as u32, step as u32);
        }
        self.lines.push((thing, line));
        Some(id)
    }

    /// Lays lines beside lines until nothing is left open.
    fn fill(&mut self, dice: &mut Dice) {
        let (w, h) = (self.picture.width, self.picture.height);
        for y in (2..h).step_by(7) {
            for x in (2..w).step_by(7) {
                let seed = [x as f64 + dice.between(-2.0, 2.0), y as f64 + dice.between(-2.0, 2.0)];
                let Some(first) = self.lay(seed) else { continue };
                let mut next = first;
                while next < self.lines.len() {
                    for (p, n, pitch) in self.flanks(next) {
                        for side in [-1.0, 1.0] {
                            self.lay([p[0] + side * n[0] * pitch, p[1] + side * n[1] * pitch]);
                        }
                    }
                    next += 1;
                }
            }
        }
    }

    /// Every few steps along a line: the place, the direction across, and the distance to the next line.
    fn flanks(&self, line: usize) -> Vec<(Point, Point, f64)> {
        let points = &self.lines[line].1;
        (0..points.len())
            .step_by(4)
            .filter_map(|i| {
                let n = across(points, i);
                let pixel = self.pixel(points[i])?;
                Some((points[i], n, pitch_px(self.share(pixel), self.picture.flat[pixel])))
            })
            .collect()
    }

    /// Distance from a line to those beside it, along the line, in pixels.
    fn gaps(&self, line: usize) -> Vec<f64> {
        let (thing, points) = &self.lines[line];
        let raw: Vec<f64> = (0..points.len())
            .map(|i| {
                let n = across(points, i);
                let mut side = [13.0f64; 2];
                self.laid[*thing].near(points[i], |q, other, _| {
                    let d = [q[0] - points[i][0], q[1] - points[i][1]];
                    let off = d[0] * n[0] + d[1] * n[1];
                    let on = d[0] * n[1] - d[1] * n[0];
                    if other as usize != line && on.abs() < 2.0 {
                        let s = usize::from(off > 0.0);
                        side[s] = side[s].min(off.abs());
                    }
                });
                // Where a side is open, the line answers for no more than its own half pitch there.
                (side[0].min(13.0) + side[1].min(13.0)) / 2.0
            })
            .collect();
        (0..raw.len())
            .map(|i| {
                let (a, b) = (i.saturating_sub(4), (i + 5).min(raw.len()));
                raw[a..b].iter().sum::<f64>() / (b - a) as f64
            })
            .collect()
    }
}

fn across(points: &[Point], i: usize) -> Point {
    let a = points[i.saturating_sub(1)];
    let b = points[(i + 1).min(points.len() - 1)];
    let len = f64::hypot(b[0] - a[0], b[1] - a[1]).max(1e-9);
    [-(b[1] - a[1]) / len, (b[0] - a[0]) / len]
}

/// The sheet being inked: share of each pixel under ink.
struct Sheet {
    width: usize,
    height: usize,
    ink: Vec<f64>,
}

impl Sheet {
    /// One short piece of a stroke, from `a` to `b`, with half widths `ra` and `rb`.
    /// It stays on the thing it was begun on, whose outline is as sharp as the pixels let it be.
    fn piece(&mut self, picture: &Picture, thing: usize, [a, b]: [Point; 2], [ra, rb]: [f64; 2]) {
        let r = ra.max(rb) + 1.0;
        let x0 = (a[0].min(b[0]) - r).max(0.0) as usize;
        let y0 = (a[1].min(b[1]) - r).max(0.0) as usize;
        let x1 = ((a[0].max(b[0]) + r).max(0.0) as usize + 1).min(self.width);
        let y1 = ((a[1].max(b[1]) + r).max(0.0) as usize + 1).min(self.height);
        let d = [b[0] - a[0], b[1] - a[1]];
        let len2 = (d[0] * d[0] + d[1] * d[1]).max(1e-9);
        for y in y0..y1 {
            for x in x0..x1 {
                let p = [x as f64 + 0.5 - a[0], y as f64 + 0.5 - a[1]];
                let t = ((p[0] * d[0] + p[1] * d[1]) / len2).clamp(0.0, 1.0);
                let off = f64::hypot(p[0] - t * d[0], p[1] - t * d[1]);
                let half = ra + (rb - ra) * t;
                // Share of the pixel under a band of that width, also when the band is thinner than it.
                let cover = ((half - off + 0.5).clamp(0.0, 1.0)).min(2.0 * half);
                if cover <= 0.0 {
                    continue;
                }
                let cover = cover * share_round(picture, y * self.width + x, |j| picture.thing[j] == thing);
                let at = &mut self.ink[y * self.width + x];
                *at = at.max(cover);
            }
        }
    }
}

/// A slow unsteadiness of the hand: a few sines with their own phases.
struct Wobble([f64; 6]);

impl Wobble {
    fn new(dice: &mut Dice) -> Self {
        Self(std::array::from_fn(|_| dice.between(0.0, std::f64::consts::TAU)))
    }

    /// Sideways in pixels, after `s` pixels along the stroke.
    fn aside(&self, s: f64) -> f64 {
        0.42 * (s / 31.0 + self.0[0]).sin()
            + 0.3 * (s / 13.0 + self.0[1]).sin()
            + 0.16 * (s / 5.3 + self.0[2]).sin()
    }

    /// Factor on the width.
    fn press(&self, s: f64) -> f64 {
        1.0 + 0.09 * (s / 42.0 + self.0[3]).sin() + 0.06 * (s / 9.0 + self.0[4]).sin()
    }
}

/// Inks the picture: share of each pixel under ink.
pub(crate) fn ink(picture: &Picture, seed: u64) -> Vec<f64> {
    let (width, height) = (picture.width, picture.height);
    let mut sheet = Sheet { width, height, ink: vec![0.0; width * height] };
    let mut all = vec![0.0; width * height];
    let things = picture.thing.iter().max().map_or(0, |m| m + 1);
    for which in 0..3 {
        let mut dice = Dice(seed + which as u64);
        let laid = (0..things).map(|_| Laid::new(width, height)).collect();
        let mut set = Set { picture, which, laid, lines: vec![] };
        set.fill(&mut dice);
        // Things share the pixels of their outlines, so their ink adds up; strokes that cross overlap.
        let mut layer = vec![0.0f64; width * height];
        for thing in 0..things {
            sheet.ink.fill(0.0);
            for line in (0..set.lines.len()).filter(|&l| set.lines[l].0 == thing) {
                stroke(&set, line, &mut sheet, &mut dice);
            }
            for (sum, &one) in layer.iter_mut().zip(&sheet.ink) {
                *sum += one;
            }
        }
        for (sum, &one) in all.iter_mut().zip(&layer) {
            *sum = 1.0 - (1.0 - *sum) * (1.0 - one.min(1.0));
        }
    }
    for (i, sum) in all.iter_mut().enumerate() {
        *sum = sum.max(share_round(picture, i, |j| 1.0 - picture.light[j] > SOLID));
    }
    all
}

/// Share of the nine pixels round pixel `i` for which `holds` is true: an edge without a staircase.
fn share_round(picture: &Picture, i: usize, holds: impl Fn(usize) -> bool) -> f64 {
    let (x, y) = (i % picture.width, i / picture.width);
    let (mut held, mut all) = (0.0, 0.0);
    for ny in y.saturating_sub(1)..(y + 2).min(picture.height) {
        for nx in x.saturating_sub(1)..(x + 2).min(picture.width) {
            all += 1.0;
            held += f64::from(u8::from(holds(ny * picture.width + nx)));
        }
    }
    held / all
}

/// Draws one laid line as strokes of a hand's length.
fn stroke(set: &Set<'_>, line: usize, sheet: &mut Sheet, dice: &mut Dice) {
    let (thing, points) = (set.lines[line].0, &set.lines[line].1);
    let gaps = set.gaps(line);
    let wobble = Wobble::new(dice);
    let mut lift_at = dice.between(140.0, 520.0);
    let mut before: Option<(Point, f64)> = None;
    for i in 0..points.len() {
        let s = i as f64 * STRIDE;
        if s > lift_at {
            // The hand is set down again a little further on.
            lift_at = s + dice.between(160.0, 520.0);
            before = None;
            continue;
        }
        let Some(pixel) = set.pixel(points[i]) else { continue };
        let n = across(points, i);
        let off = wobble.aside(s);
        let p = [points[i][0] + n[0] * off, points[i][1] + n[1] * off];
        let half = (set.share(pixel) * gaps[i] * wobble.press(s) / 2.0).max(0.4);
        if let Some((q, r)) = before {
            sheet.piece(set.picture, thing, [q, p], [r, half]);
        }
        before = Some((p, half));
        // A stroke that meets an outline runs up to it, so that no gap is left there.
        for (end, way) in [(0, -1.0), (points.len() - 1, 1.0)] {
            let tip = [p[0] + way * n[1] * 4.0, p[1] - way * n[0] * 4.0];
            if i == end && set.pixel(tip).is_some_and(|j| set.picture.thing[j] != thing) {
                sheet.piece(set.picture, thing, [p, tip], [half, half]);
            }
        }
    }
}
