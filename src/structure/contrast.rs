//! The strongest contrast: where two neighbouring areas differ most, seen through a window of a working square's size.
//!
//! At a place on the border of two areas they have shares p and q of the window around it (of all of it, also where it reaches
//! over the picture's edge), with the L* of their mean reflectances in it. Its strength is the step between these two times 2 sqrt(p q): twice the standard deviation of
//! lightness over both when they fill the window (root-mean-square contrast, Peli 1990, "Contrast in complex images"), so the
//! whole step where each has half, and little for a speck on a ground. In L*.

use std::collections::HashMap;

use kurbo::{Point, Rect};
use rayon::prelude::*;
use serde::Serialize;

use crate::groups::rounded;
use crate::raster::Raster;
use crate::tone::tone_of;

use super::StructureGround;

/// Places on borders are looked at so many to a window's side.
const PLACES_ACROSS: f64 = 12.0;
/// Most samples across a window: shares are as good as a hundredth.
const SAMPLES_ACROSS: usize = 160;
/// From this share of the strongest on a border counts as strong as it is.
const AS_STRONG: f64 = 0.9;
/// Sides of the surroundings as multiples of the window's.
const AROUND: f64 = 3.0;
/// Share of the surroundings that their range leaves out at each end.
const OUTLIERS: f64 = 0.025;

/// Another strong contrast.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rival {
    /// How strong it is, in L*.
    pub strength: f64,
    /// Where, in mm on the picture.
    pub at_mm: [f64; 2],
    /// The working square there.
    pub square: Option<String>,
}

/// The strongest contrast of a picture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contrast {
    /// Its strength in L*: the step times 2 sqrt(p q).
    pub strength: f64,
    /// The step between both sides in L*.
    pub step: f64,
    /// L* of the mean reflectance of the lighter and of the darker area within the window.
    pub lightness: [f64; 2],
    /// Their values in the drawing.
    pub values: [u8; 2],
    /// Shares of the window that they have: p and q.
    pub shares: [f64; 2],
    /// Where, in mm on the picture.
    pub at_mm: [f64; 2],
    /// The working square there.
    pub square: Option<String>,
    /// Side of the window in mm.
    pub window_mm: f64,
    /// L* of the mean reflectance of what lies around the window, three windows wide.
    pub around_lightness: Option<f64>,
    /// L* of the lightest and of the darkest tone there, texture averaged away, 2.5 % of it left out at either end.
    pub around_range: Option<[f64; 2]>,
    /// The next strongest, more than a window's side away.
    pub next: Option<Rival>,
    /// Strength that half of the length of all borders stays below, in L*.
    pub median: f64,
    /// Share of the length of all borders that is at least 0.9 times as strong.
    pub as_strong_share: f64,
}

impl Contrast {
    /// The window, in mm on the picture.
    pub(super) fn window(&self) -> Rect {
        Rect::from_center_size((self.at_mm[0], self.at_mm[1]), (self.window_mm, self.window_mm))
    }
}

/// A place on the border of two areas.
struct Place {
    at: Point,
    areas: [u32; 2],
    /// Crack edges that it stands for.
    cracks: usize,
}

/// What the window around a place holds of both areas.
#[derive(Clone, Copy, Default)]
struct Side {
    count: f64,
    reflectance: f64,
}

/// The strongest contrast between neighbours among `areas` (numbers from 0); `None` where there is one area.
#[must_use]
pub fn strongest_contrast(of: &StructureGround<'_>, areas: &Raster<u32>, window_mm: f64) -> Option<Contrast> {
    let px = of.tone.px_per_mm;
    let window_px = (window_mm * px).max(2.0);
    let places = places(areas, window_px / PLACES_ACROSS);
    let seen: Vec<[Side; 2]> = places.par_iter().map(|p| window(of, areas, p, window_px)).collect();
    let judged: Vec<Judged> = seen.iter().map(|sides| Judged::new(sides, samples_in(window_px))).collect();
    // The first of several alike, in reading order.
    let best = |wanted: &dyn Fn(usize) -> bool| {
        (0..places.len()).filter(|&k| wanted(k)).fold(None, |best: Option<usize>, k| match best {
            Some(b) if judged[b].strength >= judged[k].strength => Some(b),
            _ => Some(k),
        })
    };
    let k = best(&|_| true)?;
    let at_mm = |p: Point| Point::new(p.x / px, p.y / px);
    let place = at_mm(places[k].at);
    let next = best(&|j| {
        let away = at_mm(places[j].at) - place;
        away.x.abs().max(away.y.abs()) > window_mm
    });
    let length = |wanted: &dyn Fn(usize) -> bool| -> f64 {
        (0..places.len()).filter(|&j| wanted(j)).map(|j| places[j].cracks as f64).sum()
    };
    let all = length(&|_| true);
    let mut by_strength: Vec<usize> = (0..places.len()).collect();
    by_strength.sort_by(|&a, &b| judged[a].strength.total_cmp(&judged[b].strength));
    let mut sum = 0.0;
    let median = by_strength.iter().find(|&&j| {
        sum += places[j].cracks as f64;
        sum >= all / 2.0
    });
    let j = &judged[k];
    // The lighter first.
    let [first, second] = if j.lightness[0] >= j.lightness[1] { [0, 1] } else { [1, 0] };
    let (around_lightness, around_range) = around(of, places[k].at, window_px).unzip();
    let value = |side: usize| {
        let area = places[k].areas[side];
        let pixel = areas.data().iter().position(|&id| id == area).unwrap_or(0);
        of.values.data()[pixel]
    };
    let point = |p: Point| [p.x, p.y].map(|mm| rounded(mm, 2));
    Some(Contrast {
        strength: rounded(j.strength, 3),
        step: rounded((j.lightness[0] - j.lightness[1]).abs(), 3),
        lightness: [first, second].map(|s| rounded(j.lightness[s], 3)),
        values: [first, second].map(value),
        shares: [first, second].map(|s| rounded(j.shares[s], 4)),
        at_mm: point(place),
        square: of.square(place),
        window_mm,
        around_lightness: around_lightness.map(|l| rounded(l, 3)),
        around_range: around_range.map(|range| range.map(|l| rounded(l, 3))),
        next: next.map(|j| {
            let at = at_mm(places[j].at);
            Rival { strength: rounded(judged[j].strength, 3), at_mm: point(at), square: of.square(at) }
        }),
        median: rounded(median.map_or(0.0, |&j| judged[j].strength), 3),
        as_strong_share: rounded(length(&|i| judged[i].strength >= AS_STRONG * j.strength) / all, 4),
    })
}

/// Places on all borders: of each border one in each cell of a grid, with as many crack edges as it has there.
fn places(areas: &Raster<u32>, cell_px: f64) -> Vec<Place> {
    let (w, h) = (areas.width(), areas.height());
    let cell_px = cell_px.max(1.0);
    let mut known: HashMap<([u32; 2], [u32; 2]), usize> = HashMap::new();
    let mut found: Vec<Vec<Point>> = Vec::new();
    let mut pairs = Vec::new();
    let mut add = |a: u32, b: u32, at: Point| {
        let pair = [a.min(b), a.max(b)];
        let cell = [at.x, at.y].map(|s| (s / cell_px) as u32);
        let k = *known.entry((cell, pair)).or_insert_with(|| {
            found.push(Vec::new());
            pairs.push(pair);
            found.len() - 1
        });
        found[k].push(at);
    };
    for y in 0..h {
        for x in 0..w {
            let here = areas.at(x, y);
            if x + 1 < w && areas.at(x + 1, y) != here {
                add(here, areas.at(x + 1, y), Point::new(x as f64 + 1.0, y as f64 + 0.5));
            }
            if y + 1 < h && areas.at(x, y + 1) != here {
                add(here, areas.at(x, y + 1), Point::new(x as f64 + 0.5, y as f64 + 1.0));
            }
        }
    }
    let middle = |(points, areas): (Vec<Point>, [u32; 2])| Place {
        at: points[points.len() / 2],
        areas,
        cracks: points.len(),
    };
    found.into_iter().zip(pairs).map(middle).collect()
}

/// What a window around a place holds of both its areas.
fn window(of: &StructureGround<'_>, areas: &Raster<u32>, place: &Place, window_px: f64) -> [Side; 2] {
    let mut sides = [Side::default(); 2];
    let rows = samples(place.at.y, window_px, areas.height());
    let columns = samples(place.at.x, window_px, areas.width());
    for y in rows {
        for x in columns.clone() {
            if let Some(k) = place.areas.iter().position(|&a| a == areas.at(x, y)) {
                sides[k].count += 1.0;
                sides[k].reflectance += f64::from(of.tone.reflectance.at(x, y));
            }
        }
    }
    sides
}

/// Pixels of a window along one axis, no more than [`SAMPLES_ACROSS`].
fn samples(middle: f64, window_px: f64, side: usize) -> std::iter::StepBy<std::ops::Range<usize>> {
    let from = (middle - window_px / 2.0).round().max(0.0) as usize;
    let to = ((middle + window_px / 2.0).round() as usize).clamp(from + 1, side.max(from + 1));
    (from.min(side - 1)..to.min(side)).step_by(step(window_px))
}

/// Pixels from sample to sample.
fn step(window_px: f64) -> usize {
    (window_px as usize / SAMPLES_ACROSS).max(1)
}

/// Samples in a window that lies whole on the picture.
fn samples_in(window_px: f64) -> f64 {
    (window_px / step(window_px) as f64).powi(2)
}

/// How strong the contrast at a place is.
struct Judged {
    strength: f64,
    lightness: [f64; 2],
    shares: [f64; 2],
}

impl Judged {
    fn new([a, b]: &[Side; 2], all: f64) -> Self {
        let lightness = [a, b].map(|s| tone_of(s.reflectance, s.count));
        let shares = [a, b].map(|s| (s.count / all).min(1.0));
        let step = if a.count > 0.0 && b.count > 0.0 { (lightness[0] - lightness[1]).abs() } else { 0.0 };
        Self { strength: step * 2.0 * (shares[0] * shares[1]).sqrt(), lightness, shares }
    }
}

/// L* of what lies around a window, and the range of its tones; `None` when the window is the picture.
fn around(of: &StructureGround<'_>, at: Point, window_px: f64) -> Option<(f64, [f64; 2])> {
    let (w, h) = (of.values.width(), of.values.height());
    let inside = |p: usize, middle: f64| (p as f64 + 0.5 - middle).abs() < window_px / 2.0;
    let (mut sum, mut tones) = (0.0, Vec::new());
    for y in samples(at.y, AROUND * window_px, h) {
        for x in samples(at.x, AROUND * window_px, w) {
            if !(inside(x, at.x) && inside(y, at.y)) {
                sum += f64::from(of.tone.reflectance.at(x, y));
                tones.push(of.tone.lightness.at(x, y));
            }
        }
    }
    if tones.is_empty() {
        return None;
    }
    tones.sort_unstable_by(f32::total_cmp);
    let out = (OUTLIERS * tones.len() as f64) as usize;
    let range = [tones[tones.len() - 1 - out], tones[out]].map(f64::from);
    Some((tone_of(sum, tones.len() as f64), range))
}
