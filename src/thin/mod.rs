//! Thin marks: lights and darks too thin for an area of their own, each kept as one centre line with its value.
//!
//! In: [`ToneField`] and [`AreaMap`] (pixels), the [`BoundaryNet`]. Out: [`ThinMark`]s, in mm on the picture.
//! Keeps: a mark is an extreme, lighter than both of its sides or darker than both, so the in-between tones of an
//! edge are never one; marks stay clear of each other and of every boundary line by [`CLEAR_MM`]; coordinates are
//! whole micrometres. Ends are free. Marks are found beside the finest net, each with the height at which it dies: a
//! larger plainness takes whole marks away and moves none; only where a line of the net is drawn a mark makes way.
//! Method: ridges after Steger 1998 (`ridge`) where the tone is not what the finest net shows, measured on the tone
//! itself (`across`), told from texture by hysteresis along the line (`judge`; Canny 1986) and, on ink, by what the
//! strokes themselves show (`ink`); points of areas are followed to their tips (`tip`); marks are cut where boundary
//! lines run (`trim`).

mod across;
mod ink;
mod judge;
mod ridge;
mod tip;
mod trim;

use kurbo::{BezPath, CubicBez, ParamCurve, ParamCurveArclen, Point};
use rayon::prelude::*;

use crate::areas::AreaMap;
use crate::tone::{ReferenceKind, ToneField, gaussian};
use crate::transitions::fit::{FitOptions, fit};
use crate::transitions::proof::{ProofLine, find_meetings};
use crate::transitions::{BoundaryNet, even, normals, smooth};

use judge::{Limits, Looked, judge};

pub use trim::CLEAR_MM;

/// Settings of thin marks: what the areas' own settings do not say.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ThinOptions {
    /// Thinnest light or dark that is kept, in mm; marks are wider than this and narrower than the narrowest area.
    pub limit_mm: f64,
    /// How far a point has to run on beyond its area's line for its tip to be drawn, in mm; `None` draws no tips.
    pub least_tip_mm: Option<f64>,
    /// Merging height of the net in L*^2 mm: a mark is kept when it is worth its line as the borders of areas are.
    pub height: f64,
}

/// A thin light or dark, drawn as one centre line.
#[derive(Clone, Debug, PartialEq)]
pub struct ThinMark {
    /// Its centre line: cubics that join end to end, in mm on the picture, whole micrometres.
    pub curve: Vec<CubicBez>,
    /// Its value number.
    pub value: u8,
    /// Whether it is lighter than both of its sides; darker otherwise.
    pub light: bool,
    /// Its width at half height in mm, at even steps along the curve.
    pub width_mm: Vec<f64>,
    /// Merging height at which it dies, in L*^2 mm: at that of the net and above it is not drawn.
    pub height: f64,
}

impl ThinMark {
    /// Median width in mm.
    #[must_use]
    pub fn median_width_mm(&self) -> f64 {
        median(self.width_mm.clone())
    }

    /// Length in mm, within 0.001 mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        self.curve.iter().map(|c| c.arclen(1e-4)).sum()
    }

    /// The middle of its middle cubic, in mm on the picture; the origin for a mark without any.
    #[must_use]
    pub fn middle(&self) -> Point {
        self.curve.get(self.curve.len() / 2).map_or(Point::ORIGIN, |c| c.eval(0.5))
    }

    /// The centre line as one path.
    #[must_use]
    pub fn path(&self) -> BezPath {
        let mut path = BezPath::new();
        if let Some(first) = self.curve.first() {
            path.move_to(first.p0);
        }
        self.curve.iter().for_each(|c| path.curve_to(c.p1, c.p2, c.p3));
        path
    }
}

/// Distance between the points along a line before it is fitted, in mm.
const SPACING_MM: f64 = 0.1;
/// Smoothing along a line before it is measured, in mm: takes out the pixels.
const CALM_MM: f64 = 0.15;
/// Smoothing of its measured middle, in narrowest widths and in widths of the first mean, as for boundary lines.
const SMOOTH_PER_NARROWEST: f64 = 0.3;
const SMOOTH_PER_MEAN: f64 = 2.0;
/// Most distance of the fitted centre line from its points, in mm: well under [`CLEAR_MM`], so that cutting holds.
const TOLERANCE_MM: f64 = 0.05;
/// A mean (standard deviation) bears nothing narrower than this many of its widths, as for areas.
const BEARABLE_WIDTHS: f64 = 1.2;
/// A bar of width w bends most sharply through a Gaussian of w / (2 sqrt 3) (Steger 1998, eq. 9).
const SIGMA_PER_WIDTH: f64 = 0.288_675_134_594_812_9;
/// Bend of a bar 1 L* high through that Gaussian, times sigma squared: 0.31 for the widest that is looked for.
const BEND_OF_BAR: f64 = 0.3;
/// A ridge is looked along when so much of it, in mm, is of a value beyond what the net shows there.
const LEAST_BEYOND_MM: f64 = 1.0;
/// Widths at which the width is kept, in mm along the line.
const WIDTH_EVERY: usize = 5;

/// Whether thin darks are marks: where the reference has holding lines they cannot be told from these, and on ink
/// not from any stroke.
fn keeps_darks(kind: ReferenceKind) -> bool {
    match kind {
        ReferenceKind::Tonal => true,
        ReferenceKind::Hatched | ReferenceKind::HatchedWithLines | ReferenceKind::TonalWithLines => false,
    }
}

/// Whether points of dark areas are followed: a point is wider than a holding line where it begins.
fn keeps_points(kind: ReferenceKind, light: bool) -> bool {
    light || kind != ReferenceKind::TonalWithLines
}

/// A line of one sign that has passed the judge, not yet cut where others run.
#[derive(Clone, Debug)]
struct Candidate {
    points: Vec<Point>,
    widths_mm: Vec<f64>,
    value: u8,
    light: bool,
    /// Squared difference of tone it stands for, in L*^2 mm2: what decides which of two gives way.
    weight: f64,
    /// Merging height at which it dies, in L*^2 mm.
    height: f64,
    /// Shortest piece of it that is worth a line, in mm.
    least_mm: f64,
    /// Whether its last point is the tip of an area: without it there is no use for it.
    tip: bool,
}

/// A mark as it is beside the finest net.
#[derive(Clone, Debug)]
struct Found {
    mark: ThinMark,
    least_mm: f64,
    tip: bool,
}

/// Finds the thin marks of a picture that live above the height of a net, cut where its lines run.
///
/// Where the limit leaves no room below the narrowest width of the areas there are no marks.
#[must_use]
pub fn find(tone: &ToneField, areas: &AreaMap, net: &BoundaryNet, options: &ThinOptions) -> Vec<ThinMark> {
    let narrowest_mm = areas.used.narrowest_mm;
    let limit_mm = options.limit_mm.max(BEARABLE_WIDTHS * tone.mean_width_mm);
    if limit_mm >= narrowest_mm {
        return Vec::new();
    }
    let mut found =
        beside_finest(tone, areas, &Limits { limit_mm, narrowest_mm, least_tip_mm: options.least_tip_mm });
    found.retain(|f| f.mark.height > options.height);
    trim::clear_of(net, &found)
}

/// All marks beside the finest net, whichever part of it is drawn.
fn beside_finest(tone: &ToneField, areas: &AreaMap, limits: &Limits) -> Vec<Found> {
    let stands = areas.tree.cut(0.0);
    let of_leaf: Vec<u8> = stands.iter().map(|&node| areas.tree.value(node)).collect();
    let values = areas.ids.map(|leaf| of_leaf[leaf as usize]);
    let px = tone.px_per_mm;
    let sigma_px = SIGMA_PER_WIDTH * limits.narrowest_mm * px;
    let least_bend = BEND_OF_BAR * judge::WEAK_L / (sigma_px * sigma_px);
    let smooth = gaussian(&tone.lightness, sigma_px as f32);
    let (w, h) = (values.width(), values.height());
    let mut candidates: Vec<Candidate> = Vec::new();
    for is_light in [true, false] {
        if !is_light && !keeps_darks(tone.kind) {
            continue;
        }
        let on_ink = tone.kind.is_ink();
        let beyond = |x: usize, y: usize| {
            let (here, shown) = (tone.scale.value(tone.lightness.at(x, y)), values.at(x, y));
            if is_light { here < shown && (!on_ink || here == 1) } else { here > shown }
        };
        let beyond_at = |p: &Point| beyond((p.x as usize).min(w - 1), (p.y as usize).min(h - 1));
        let tiles = ridge::Tiles::with(w, h, &beyond);
        let found: Vec<Vec<Candidate>> = ridge::ridges(&smooth, is_light, least_bend, &tiles)
            .into_par_iter()
            .filter(|ridge| ridge.iter().filter(|p| beyond_at(p)).count() as f64 >= LEAST_BEYOND_MM * px)
            .map(|ridge| {
                look_along(tone, &ridge, is_light, limits)
                    .map_or_else(Vec::new, |looked| judge(tone, &values, &looked, is_light, limits))
            })
            .collect();
        candidates.extend(found.into_iter().flatten());
    }
    candidates.extend(tip::tips(tone, areas, &stands, limits));
    candidates.sort_by(|a, b| {
        let first = |c: &Candidate| (c.points[0].y, c.points[0].x);
        let (p, q) = (first(a), first(b));
        b.weight.total_cmp(&a.weight).then(p.0.total_cmp(&q.0)).then(p.1.total_cmp(&q.1))
    });
    let found = trim::apart(candidates).into_par_iter().filter_map(|c| fitted(&c)).collect();
    proven(found)
}

/// Measures a ridge (points in pixels) along its length; `None` when it is too short to be anything.
fn look_along(tone: &ToneField, ridge: &[Point], is_light: bool, limits: &Limits) -> Option<Looked> {
    let px = tone.px_per_mm;
    if ridge.len() < 4 {
        return None;
    }
    let in_mm: Vec<Point> = ridge.iter().map(|p| Point::new(p.x / px, p.y / px)).collect();
    let points = even(&in_mm, false, SPACING_MM).points;
    if points.len() < 6 {
        return None;
    }
    let points = smooth(&points, false, &vec![CALM_MM / SPACING_MM; points.len()]);
    let reach = [0.35, 1.25].map(|widths| widths * limits.narrowest_mm * px);
    let measured = |points: &[Point]| -> Vec<Option<across::Across>> {
        let normals = normals(points, false, 4);
        points
            .iter()
            .zip(&normals)
            .map(|(p, &n)| {
                across::across(&tone.lightness, Point::new(p.x * px, p.y * px), n, reach, is_light)
            })
            .collect()
    };
    // On to the middle between its two edges: unlike sides pull the ridge towards the one that is more like it.
    let first = measured(&points);
    let normal = normals(&points, false, 4);
    let moved: Vec<Point> = points
        .iter()
        .zip(&first)
        .zip(&normal)
        .map(|((&p, a), &n)| {
            a.filter(|a| a.middle_px.abs() <= reach[0]).map_or(p, |a| p + n * (a.middle_px / px))
        })
        .collect();
    let sigma = (SMOOTH_PER_NARROWEST * limits.narrowest_mm).hypot(SMOOTH_PER_MEAN * tone.mean_width_mm);
    let points = smooth(&moved, false, &vec![sigma / SPACING_MM; moved.len()]);
    let across = measured(&points);
    let normals = normals(&points, false, 4);
    Some(Looked { points, normals, across, spacing_mm: SPACING_MM })
}

/// The mark of a candidate that has been cut.
fn fitted(candidate: &Candidate) -> Option<Found> {
    let options = FitOptions { tolerance_mm: TOLERANCE_MM };
    let curve = fit(&candidate.points, false, &[], [None, None], &options);
    let width_mm: Vec<f64> =
        candidate.widths_mm.iter().copied().skip(WIDTH_EVERY / 2).step_by(WIDTH_EVERY).collect();
    (!curve.is_empty() && !width_mm.is_empty()).then_some(Found {
        mark: ThinMark {
            curve,
            value: candidate.value,
            light: candidate.light,
            width_mm,
            height: candidate.height,
        },
        least_mm: candidate.least_mm,
        tip: candidate.tip,
    })
}

/// Leaves out marks that meet a stronger one or themselves: cutting keeps them apart, this makes sure.
fn proven(mut found: Vec<Found>) -> Vec<Found> {
    loop {
        let lines: Vec<ProofLine<'_>> = found
            .iter()
            .map(|f| ProofLine { curve: &f.mark.curve, closed: false, ends: [None, None] })
            .collect();
        let weaker = find_meetings(&lines).iter().map(|m| m.lines[1]).max();
        match weaker {
            Some(i) => drop(found.remove(i)),
            None => return found,
        }
    }
}

/// Middle one of some numbers; 0 of none.
fn median(mut all: Vec<f64>) -> f64 {
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied().unwrap_or(0.0)
}
