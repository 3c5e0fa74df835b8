//! Ridges of a tone: where it is an extreme across some direction, linked into lines.
//!
//! Steger 1998, "An unbiased detector of curvilinear structures" (IEEE PAMI 20-2): the second-order Taylor
//! polynomial of the smoothed tone gives the direction across (the eigenvector of the Hessian with the largest
//! eigenvalue) and, to a fraction of a pixel, the place where the slope across is zero. A pixel that holds such a
//! place lies on a ridge; pixels are linked from the strongest on, always to the neighbour that goes on straightest.

use kurbo::{Point, Vec2};
use rayon::prelude::*;

use crate::raster::Raster;

/// How far from its pixel's centre a ridge point may lie, in pixels: a little over half, so that none falls
/// between two pixels (Steger, section III).
const WITHIN_PX: f64 = 0.6;
/// Ridge points are linked when the lines across them turn by less than this (cosine of 50 degrees).
const TURN_COS: f64 = 0.64;
/// A pixel lies ahead when it is seen within this of the line's direction (cosine of 50 degrees).
const AHEAD_COS: f64 = 0.64;

/// Side of the tiles in which ridges are looked for or not, in pixels.
const TILE: usize = 16;

/// Where ridges are looked for: tiles that hold a pixel that could lie on one, and those round them.
pub(super) struct Tiles {
    across: usize,
    down: usize,
    active: Vec<bool>,
}

impl Tiles {
    /// The tiles of a grid of `w` x `h` pixels in which some pixel (column, row) may lie on a ridge.
    pub(super) fn with(w: usize, h: usize, may: &(impl Fn(usize, usize) -> bool + Sync)) -> Self {
        let (across, down) = (w.div_ceil(TILE), h.div_ceil(TILE));
        let own: Vec<bool> = (0..across * down)
            .into_par_iter()
            .map(|t| {
                let (x0, y0) = (t % across * TILE, t / across * TILE);
                (y0..(y0 + TILE).min(h)).any(|y| (x0..(x0 + TILE).min(w)).any(|x| may(x, y)))
            })
            .collect();
        let near = |n: usize, most: usize| n.saturating_sub(1)..=(n + 1).min(most - 1);
        let active = (0..across * down)
            .map(|t| near(t / across, down).any(|y| near(t % across, across).any(|x| own[y * across + x])))
            .collect();
        Self { across, down, active }
    }
}

/// A ridge point in one pixel.
#[derive(Clone, Copy, Debug)]
struct RidgePoint {
    /// The pixel.
    pixel: usize,
    /// Its place, in pixels.
    at: Point,
    /// Unit direction across the ridge.
    across: Vec2,
    /// How sharply the tone bends across, in L* per pixel squared.
    bend: f64,
}

/// Lines along the light (or the dark) ridges of a smoothed lightness (L*) within tiles, that bend by at least
/// `least_bend` L* per pixel squared. Points in pixels, about one pixel apart; strongest lines first.
pub(super) fn ridges(smooth: &Raster<f32>, light: bool, least_bend: f64, tiles: &Tiles) -> Vec<Vec<Point>> {
    let (w, h) = (smooth.width(), smooth.height());
    let found: Vec<RidgePoint> = (0..tiles.across * tiles.down)
        .into_par_iter()
        .filter(|&t| tiles.active[t])
        .flat_map_iter(|t| {
            let (x0, y0) = (t % tiles.across * TILE, t / tiles.across * TILE);
            let pixels =
                (y0..(y0 + TILE).min(h)).flat_map(move |y| (x0..(x0 + TILE).min(w)).map(move |x| (x, y)));
            pixels.filter_map(|(x, y)| ridge_point(smooth, x, y, light)).filter(|r| r.bend >= least_bend)
        })
        .collect();
    let mut number = vec![0_u32; w * h];
    for (n, r) in (1..).zip(&found) {
        number[r.pixel] = n;
    }
    let mut seeds: Vec<usize> = (0..found.len()).collect();
    seeds.sort_by(|&a, &b| found[b].bend.total_cmp(&found[a].bend).then(found[a].pixel.cmp(&found[b].pixel)));
    let mut linker = Linker { found: &found, number, taken: vec![false; found.len()], w, h };
    seeds.into_iter().filter_map(|seed| linker.line_through(seed)).collect()
}

/// The ridge point of a pixel, if its Taylor polynomial has one within the pixel.
fn ridge_point(smooth: &Raster<f32>, x: usize, y: usize, light: bool) -> Option<RidgePoint> {
    let (w, h) = (smooth.width(), smooth.height());
    let (xs, ys) =
        ([x.saturating_sub(1), x, (x + 1).min(w - 1)], [y.saturating_sub(1), y, (y + 1).min(h - 1)]);
    let g = |i: usize, j: usize| f64::from(smooth.at(xs[i], ys[j]));
    let slope = Vec2::new(0.5 * (g(2, 1) - g(0, 1)), 0.5 * (g(1, 2) - g(1, 0)));
    let xx = g(2, 1) - 2.0 * g(1, 1) + g(0, 1);
    let yy = g(1, 2) - 2.0 * g(1, 1) + g(1, 0);
    let xy = 0.25 * (g(2, 2) - g(2, 0) - g(0, 2) + g(0, 0));
    let (half, mean) = ((0.5 * (xx - yy)).hypot(xy), 0.5 * (xx + yy));
    // Of the two eigenvalues mean +- half, the larger by size; a light ridge bends down.
    let most = if mean < 0.0 { mean - half } else { mean + half };
    if most.abs() < 1e-6 || (most < 0.0) != light {
        return None;
    }
    // Its eigenvector, from the row of the Hessian that tells it better.
    let (a, b) = (Vec2::new(xy, most - xx), Vec2::new(most - yy, xy));
    let across = if a.hypot2() > b.hypot2() { a } else { b };
    let across = if across.hypot2() > 0.0 { across / across.hypot() } else { Vec2::new(1.0, 0.0) };
    let shift = -across.dot(slope) / most;
    let offset = across * shift;
    (offset.x.abs() <= WITHIN_PX && offset.y.abs() <= WITHIN_PX).then(|| RidgePoint {
        pixel: y * w + x,
        at: Point::new(x as f64 + 0.5, y as f64 + 0.5) + offset,
        across,
        bend: most.abs(),
    })
}

/// Links ridge points into lines; each belongs to at most one.
struct Linker<'a> {
    found: &'a [RidgePoint],
    /// Number of each pixel's ridge point, from 1; 0 for none.
    number: Vec<u32>,
    taken: Vec<bool>,
    w: usize,
    h: usize,
}

impl Linker<'_> {
    /// The line through a ridge point that no line has taken yet.
    fn line_through(&mut self, seed: usize) -> Option<Vec<Point>> {
        if self.taken[seed] {
            return None;
        }
        self.taken[seed] = true;
        let across = self.found[seed].across;
        let along = Vec2::new(-across.y, across.x);
        let back = self.follow(seed, -along);
        let on = self.follow(seed, along);
        let line: Vec<usize> = back.into_iter().rev().chain([seed]).chain(on).collect();
        for &i in &line {
            self.take_beside(i);
        }
        Some(line.into_iter().map(|i| self.found[i].at).collect())
    }

    /// The points of the line from a point on, in a direction.
    fn follow(&mut self, from: usize, mut heading: Vec2) -> Vec<usize> {
        let (mut at, mut line) = (from, Vec::new());
        // One missing pixel is stepped over.
        while let Some(next) = self.next(at, heading, 1).or_else(|| self.next(at, heading, 2)) {
            let (here, there) = (self.found[at], self.found[next]);
            let along = Vec2::new(-there.across.y, there.across.x);
            heading = if along.dot(there.at - here.at) < 0.0 { -along } else { along };
            self.taken[next] = true;
            line.push(next);
            at = next;
        }
        line
    }

    /// The free ridge point ahead that goes on nearest and straightest, `ring` pixels away.
    fn next(&self, at: usize, heading: Vec2, ring: isize) -> Option<usize> {
        let here = self.found[at];
        let mut best: Option<(f64, usize)> = None;
        for j in self.around(at, ring).filter(|&j| !self.taken[j]) {
            let there = self.found[j];
            let step = there.at - here.at;
            let turn = here.across.dot(there.across).abs();
            if turn < TURN_COS || step.dot(heading) < AHEAD_COS * step.hypot() || step.hypot() < 0.2 {
                continue;
            }
            // Distance and angle count alike (Steger, section III).
            let cost = step.hypot() + turn.min(1.0).acos();
            if best.is_none_or(|(least, _)| cost < least) {
                best = Some((cost, j));
            }
        }
        best.map(|(_, j)| j)
    }

    /// Takes the points beside a line's point that hold the same ridge once more.
    fn take_beside(&mut self, at: usize) {
        for j in self.around(at, 1).collect::<Vec<_>>() {
            if self.found[at].across.dot(self.found[j].across).abs() > TURN_COS {
                self.taken[j] = true;
            }
        }
    }

    /// Ridge points in the pixels of the square ring round a ridge point's pixel.
    fn around(&self, at: usize, ring: isize) -> impl Iterator<Item = usize> {
        let pixel = self.found[at].pixel;
        let (w, h) = (self.w as isize, self.h as isize);
        let (x, y) = ((pixel % self.w) as isize, (pixel / self.w) as isize);
        (-ring..=ring)
            .flat_map(move |dy| (-ring..=ring).map(move |dx| (dx, dy)))
            .filter(move |(dx, dy)| dx.abs().max(dy.abs()) == ring)
            .map(move |(dx, dy)| (x + dx, y + dy))
            .filter(move |&(x, y)| x >= 0 && y >= 0 && x < w && y < h)
            .filter_map(move |(x, y)| (self.number[(y * w + x) as usize] as usize).checked_sub(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tone::gaussian;

    /// A bar of width 3 px through the grid at an angle: its ridge is its middle line (closed form).
    #[test]
    fn the_ridge_of_a_bar_is_its_middle_line() {
        for (light, angle) in [(true, 0.0_f64), (true, 0.4), (false, 1.1), (false, 2.5)] {
            let (n, middle) = (Vec2::from_angle(angle), 40.3);
            let mut bar = Raster::new(80, 80, 0.0_f32);
            for i in 0..80 * 80 {
                // Sixteen by sixteen places a pixel.
                let inside = (0..256).filter(|k| {
                    let p = Vec2::new(
                        (i % 80) as f64 + (f64::from(k % 16) + 0.5) / 16.0 - middle,
                        (i / 80) as f64 + (f64::from(k / 16) + 0.5) / 16.0 - middle,
                    );
                    p.dot(n).abs() <= 1.5
                });
                let share = inside.count() as f32 / 256.0;
                bar.data_mut()[i] = if light { 100.0 * share } else { 100.0 - 100.0 * share };
            }
            let (smooth, all) = (gaussian(&bar, 1.7), Tiles::with(80, 80, &|_, _| true));
            let lines = ridges(&smooth, light, 3.0, &all);
            assert!(lines[0].len() > 60, "one long line, not {} points", lines[0].len());
            // Within three widths of the Gaussian of the border the mirrored bar bends the ridge.
            let inside = |p: &&Point| [p.x, p.y].iter().all(|v| (5.1..74.9).contains(v));
            for p in lines[0].iter().filter(inside) {
                let off = (p.to_vec2() - Vec2::new(middle, middle)).dot(n).abs();
                assert!(off < 0.1, "{p:?} lies {off:.3} px from the middle at angle {angle}");
            }
            assert!(
                ridges(&smooth, !light, 3.0, &all)
                    .iter()
                    .flatten()
                    .all(|p| { (p.to_vec2() - Vec2::new(middle, middle)).dot(n).abs() > 1.5 }),
                "no ridge of the other sign on the bar"
            );
        }
    }

    #[test]
    fn an_edge_has_no_ridge() {
        let mut edge = Raster::new(60, 60, 10.0_f32);
        for (i, v) in edge.data_mut().iter_mut().enumerate() {
            *v = if i % 60 < 30 { 90.0 } else { 10.0 };
        }
        let blurred = gaussian(&gaussian(&edge, 2.0), 1.7);
        let all = Tiles::with(60, 60, &|_, _| true);
        for light in [true, false] {
            assert!(ridges(&blurred, light, 0.5, &all).is_empty(), "a blurred edge has no extreme across");
        }
    }
}
