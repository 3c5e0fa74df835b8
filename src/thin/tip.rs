//! Points of areas: where an area tapers, its tip is followed beyond what the net can show.
//!
//! An area's opening ends where it is as narrow as the narrowest width, and texture averaged away takes more. A taper
//! says by its own widths where it ends; the reference, with its texture still in it, says how far that is true.

use std::collections::BTreeSet;

use kurbo::{Point, Vec2};
use rayon::prelude::*;

use super::judge::{Limits, STRONG_L};
use super::{Candidate, SPACING_MM, keeps_points};
use crate::areas::AreaMap;
use crate::colour::lightness;
use crate::raster::Raster;
use crate::tone::ToneField;
use crate::transitions::sample;

/// Radius of the disc in which an end is told from a side, in narrowest widths.
const ROUND: f64 = 2.0;
/// An end fills this share of the disc round it at most: a straight side fills half, a square corner a quarter.
const END_SHARE: f64 = 0.3;
/// Share of what lies around an end that has to be beyond it in value: lighter all round, or darker.
const ALL_ROUND: f64 = 0.95;
/// About so many places of the disc are looked at.
const LOOKS: f64 = 120.0;
/// Part of the area behind its end that tells how it tapers, in narrowest widths, and how long that is at least, in
/// mm: a point drawn on purpose is longer than what strokes leave between them.
const BEHIND: [f64; 2] = [0.3, 3.5];
const BEHIND_MM: f64 = 3.0;
/// Room beside the area as it was found, in narrowest widths, and how wide the sides beyond it are.
const ROOM: f64 = 0.5;
const SIDE: f64 = 1.2;
/// Widening per length of a taper that is a point: whole angles of 8 to 50 degrees.
const WIDENING: [f64; 2] = [0.14, 0.93];
/// Most deviation of its widths from a straight taper, in mm (root mean square), and as a share of their mean.
const ROUGH_MM: f64 = 0.1;
const ROUGH_SHARE: f64 = 0.12;
/// So far beyond a side, in narrowest widths, no more than this share of the contrast is left.
const EDGE: f64 = 0.4;
const EDGE_LEFT: f64 = 0.25;
/// A tip lies no further beyond the end than this, in narrowest widths ...
const MOST_BEYOND: f64 = 4.0;
/// ... and is not looked for further than this beyond where the taper says.
const SLACK: f64 = 0.4;
/// The area goes on while its middle keeps this share of its contrast with the sides, in reflectance: on ink nearly
/// all of what a pixel's width takes, elsewhere what blur leaves of a tip half as wide as itself.
const KEEPS_ON_INK: f64 = 0.35;
const KEEPS: f64 = 0.2;
/// The middle is read over so many mm along and across, to either side.
const READ_ALONG_MM: f64 = 0.2;
const READ_ACROSS_MM: f64 = 0.08;
/// How far the middle may turn aside from one place to the next, in mm.
const ASIDE_MM: f64 = 0.04;
/// On ink a point is of solid ink or bare paper: what its core, this share of its width, may fall short of that in
/// reflectance.
const NOT_PURE: f64 = 0.08;
const CORE: f64 = 0.6;
/// What a width may lie above its taper before it counts as a stroke that runs on, in mm.
const STROKE_MM: f64 = 0.12;
/// A tip is drawn from so far inside its area, in narrowest widths: it is cut at the area's line, wherever that runs.
const INSIDE: f64 = 0.8;

/// What the search looks at.
struct View<'a> {
    tone: &'a ToneField,
    areas: &'a AreaMap,
    /// Area of the finest net of each pixel.
    nodes: Raster<u32>,
    limits: &'a Limits,
    /// A tip is drawn when so much of it, in mm, lies beyond the area's line.
    least_mm: f64,
}

/// An end of an area.
#[derive(Clone, Copy, Debug)]
struct End {
    pixel: usize,
    /// Share of the disc that it fills.
    share: f64,
    light: bool,
}

/// How an area tapers towards an end.
struct Taper {
    /// Direction of its point.
    along: Vec2,
    /// Where its middle line passes the end, in mm.
    end: Point,
    /// Widening per length.
    widening: f64,
    /// How far its point lies beyond the end, in mm.
    beyond_mm: f64,
    /// Mean reflectance along its middle.
    inside: f64,
    /// Mean reflectance beside it, on its left and right.
    sides: [f64; 2],
}

impl Taper {
    /// Its width in mm, so far beyond the end (behind it where less than 0).
    fn width(&self, beyond_mm: f64) -> f64 {
        (self.widening * (self.beyond_mm - beyond_mm)).max(0.0)
    }
}

/// The tips that the finest net (`stands`: the area of each leaf) leaves out, if tips are wanted.
pub(super) fn tips(tone: &ToneField, areas: &AreaMap, stands: &[usize], limits: &Limits) -> Vec<Candidate> {
    let Some(least_mm) = limits.least_tip_mm else { return Vec::new() };
    let nodes = areas.ids.map(|leaf| stands[leaf as usize] as u32);
    let view = View { tone, areas, nodes, limits, least_mm };
    ends(&view).into_par_iter().filter_map(|end| tip(&view, end)).collect()
}

/// Ends of areas that are extremes, the sharpest first, none within a disc of another of the same area.
fn ends(view: &View<'_>) -> Vec<End> {
    let nodes = &view.nodes;
    let (w, h) = (nodes.width(), nodes.height());
    let radius = ROUND * view.limits.narrowest_mm * view.tone.px_per_mm;
    let step = (std::f64::consts::PI * radius * radius / LOOKS).sqrt().round().max(1.0) as isize;
    let reach = (radius as isize / step) * step;
    let disc: Vec<[isize; 2]> = (-reach..=reach)
        .step_by(step as usize)
        .flat_map(|y| (-reach..=reach).step_by(step as usize).map(move |x| [x, y]))
        .filter(|[x, y]| ((x * x + y * y) as f64) <= radius * radius)
        .collect();
    let mut found: Vec<End> = (0..h)
        .into_par_iter()
        .flat_map_iter(|y| (0..w).map(move |x| (x, y)))
        .filter(|&(x, y)| {
            let here = nodes.at(x, y);
            (x + 1 < w && nodes.at(x + 1, y) != here)
                || (x > 0 && nodes.at(x - 1, y) != here)
                || (y + 1 < h && nodes.at(x, y + 1) != here)
                || (y > 0 && nodes.at(x, y - 1) != here)
        })
        .filter_map(|(x, y)| end_at(view, x, y, &disc))
        .collect();
    found.sort_by(|a, b| a.share.total_cmp(&b.share).then(a.pixel.cmp(&b.pixel)));
    let mut kept: Vec<End> = Vec::new();
    for end in found {
        let far = |other: &End| {
            let dx = (end.pixel % w).abs_diff(other.pixel % w) as f64;
            let dy = (end.pixel / w).abs_diff(other.pixel / w) as f64;
            nodes.data()[end.pixel] != nodes.data()[other.pixel] || dx.hypot(dy) > radius
        };
        if kept.iter().all(far) {
            kept.push(end);
        }
    }
    kept
}

/// The end at a pixel, if an area ends there in what is lighter, or darker, all round.
fn end_at(view: &View<'_>, x: usize, y: usize, disc: &[[isize; 2]]) -> Option<End> {
    let nodes = &view.nodes;
    let (w, h) = (nodes.width() as isize, nodes.height() as isize);
    let here = nodes.at(x, y);
    let value = view.areas.tree.value(here as usize);
    let (mut own, mut lighter, mut darker) = (0_usize, 0_usize, 0_usize);
    let most = (END_SHARE * disc.len() as f64) as usize;
    for [dx, dy] in disc {
        let (u, v) = (x as isize + dx, y as isize + dy);
        // Beyond the picture's edge everything goes on.
        if u < 0 || v < 0 || u >= w || v >= h {
            own += 1;
        } else {
            let there = nodes.at(u as usize, v as usize);
            let other = view.areas.tree.value(there as usize);
            own += usize::from(there == here);
            lighter += usize::from(there != here && other < value);
            darker += usize::from(there != here && other > value);
        }
        if own > most {
            return None;
        }
    }
    let around = (disc.len() - own) as f64;
    let light = darker > lighter;
    let pure = !view.tone.kind.is_ink() || value == if light { 1 } else { view.tone.scale.values() };
    let is_end =
        lighter.max(darker) as f64 >= ALL_ROUND * around && pure && keeps_points(view.tone.kind, light);
    is_end.then_some(End { pixel: y * w as usize + x, share: own as f64 / disc.len() as f64, light })
}

/// The middle line of an area towards its end: where it passes the end (mm), and its direction.
fn middle_line(view: &View<'_>, end: End) -> (Point, Vec2) {
    let nodes = &view.nodes;
    let (w, h) = (nodes.width(), nodes.height());
    let px = view.tone.px_per_mm;
    let (x0, y0) = (end.pixel % w, end.pixel / w);
    let far = (BEHIND[1] * view.limits.narrowest_mm).max(BEHIND_MM) * px;
    let reach = far.ceil() as usize;
    let here = nodes.data()[end.pixel];
    let mut own: Vec<Vec2> = Vec::new();
    for y in y0.saturating_sub(reach)..(y0 + reach + 1).min(h) {
        for x in x0.saturating_sub(reach)..(x0 + reach + 1).min(w) {
            let at = Vec2::new(x as f64 - x0 as f64, y as f64 - y0 as f64);
            if nodes.at(x, y) == here && at.hypot() <= far {
                own.push(at);
            }
        }
    }
    let middle = own.iter().copied().fold(Vec2::ZERO, |a, b| a + b) / own.len() as f64;
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in &own {
        let d = *p - middle;
        xx += d.x * d.x;
        xy += d.x * d.y;
        yy += d.y * d.y;
    }
    let long = Vec2::from_angle(0.5 * (2.0 * xy).atan2(xx - yy));
    let along = if long.dot(middle) > 0.0 { -long } else { long };
    let last = own.iter().map(|p| p.dot(along)).fold(f64::NEG_INFINITY, f64::max);
    let place = Vec2::new(x0 as f64 + 0.5, y0 as f64 + 0.5) + middle + along * (last - middle.dot(along));
    ((place / px).to_point(), along)
}

/// How an area tapers towards its end, if it does so evenly.
///
/// Its width at a place is what its contrast adds up to across: blur spreads that and does not change it, and
/// strokes beside it add up to what they are on average.
fn taper(view: &View<'_>, end: End) -> Option<Taper> {
    let narrowest_mm = view.limits.narrowest_mm;
    let (place, along) = middle_line(view, end);
    let across = Vec2::new(-along.y, along.x);
    let px = view.tone.px_per_mm;
    let read = |s: f64, off: f64| {
        let p = place + along * s + across * off;
        sample(&view.tone.reflectance, (p.to_vec2() * px).to_point())
    };
    let [behind, end_of] = [BEHIND[0] * narrowest_mm, (BEHIND[1] * narrowest_mm).max(BEHIND_MM)];
    // The pixels of the area itself, with room on either side for what the map takes away from it.
    let nodes = &view.nodes;
    let here = nodes.data()[end.pixel];
    let is_own = |s: f64, off: f64| {
        let p = (place + along * s + across * off).to_vec2() * px;
        let inside = p.x >= 0.0 && p.y >= 0.0 && p.x < nodes.width() as f64 && p.y < nodes.height() as f64;
        inside && nodes.at(p.x as usize, p.y as usize) == here
    };
    let half = |s: f64| {
        steps(0.0, 2.0 * end_of).take_while(|&o| is_own(s, o) || is_own(s, -o)).count() as f64 * SPACING_MM
    };
    let places: Vec<(f64, f64)> =
        steps(behind, end_of).map(|d| (-d, half(-d) + ROOM * narrowest_mm)).collect();
    let inside = mean(places.iter().map(|&(s, _)| read(s, 0.0)));
    let sides = [1.0, -1.0].map(|sign| {
        mean(
            places
                .iter()
                .flat_map(|&(s, o)| steps(0.0, SIDE * narrowest_mm).map(move |d| (s, sign * (o + d))))
                .map(|(s, o)| read(s, o)),
        )
    });
    // Lighter than both sides, or darker.
    if sides.iter().any(|&side| (inside > side) != end.light) {
        return None;
    }
    let on_ink = view.tone.kind.is_ink();
    let pure = if end.light { 1.0 } else { 0.0 };
    let half_width = |s: f64, o: f64, sign: f64, side: f64| {
        let at = |d: f64| read(s, sign * d);
        if on_ink {
            // To where the solid ink (or the bare paper) ends.
            let ends = steps(0.0, o).find(|&d| (at(d + SPACING_MM) - pure).abs() >= 0.5);
            ends.map_or(o, |d| {
                let (a, b) = ((at(d) - pure).abs(), (at(d + SPACING_MM) - pure).abs());
                d + SPACING_MM * ((0.5 - a) / (b - a)).clamp(0.0, 1.0)
            })
        } else {
            let share = |d: f64| (at(d + 0.5 * SPACING_MM) - side) / (inside - side);
            steps(0.0, o - SPACING_MM).map(share).sum::<f64>() * SPACING_MM
        }
    };
    let halves = [(1.0, sides[0]), (-1.0, sides[1])].map(|(sign, side)| {
        let widths = places.iter().map(|&(s, o)| (s, half_width(s, o, sign, side))).collect();
        straight(widths, on_ink)
    });
    let [Some(left), Some(right)] = halves else { return None };
    let widening = -(left.slope + right.slope);
    let beyond_mm = (left.at_end + right.at_end) / widening;
    let typical = left.at_end + right.at_end + 0.5 * widening * (behind + end_of);
    let is_even = left.rough.max(right.rough) <= ROUGH_MM + 0.5 * ROUGH_SHARE * typical;
    let is_point = (WIDENING[0]..=WIDENING[1]).contains(&widening)
        && (0.0..=MOST_BEYOND * narrowest_mm).contains(&beyond_mm);
    // The solid core that makes it a point of ink, and not of strokes that lie close.
    let core = |&(s, _): &(f64, f64)| {
        [-1.0, 0.0, 1.0].map(|t| (read(s, t * CORE * 0.5 * widening * (beyond_mm - s)) - pure).abs())
    };
    let is_solid = || mean(places.iter().flat_map(core)) <= NOT_PURE;
    // Both its sides are edges: on a form that turns away one side of a taper is a gradation.
    let is_hard = || {
        [(1.0, sides[0], &left), (-1.0, sides[1], &right)].into_iter().all(|(sign, side, line)| {
            let beside = places.iter().map(|&(s, _)| {
                let off = (line.at_end + line.slope * s).max(0.0) + EDGE * narrowest_mm;
                (read(s, sign * off) - side) / (inside - side)
            });
            mean(beside) <= EDGE_LEFT
        })
    };
    (is_even && is_point && if on_ink { is_solid() } else { is_hard() }).then_some(Taper {
        along,
        end: place,
        widening,
        beyond_mm,
        inside,
        sides,
    })
}

/// A straight line through widths.
struct Straight {
    /// Width at place 0.
    at_end: f64,
    /// Widening per length.
    slope: f64,
    /// Deviation of the widths that it goes through, root mean square.
    rough: f64,
}

/// The straight line through widths (place, width) by least squares. With `lower`, strokes that run on from an edge
/// only ever add to a width: what lies furthest above the line is left out, step by step, until what is left agrees or
/// is too little (`None`).
fn straight(mut widths: Vec<(f64, f64)>, lower: bool) -> Option<Straight> {
    let least = widths.len() / 3;
    while widths.len() > least.max(2) {
        let (x, y) = (mean(widths.iter().map(|p| p.0)), mean(widths.iter().map(|p| p.1)));
        let (xx, xy) = widths
            .iter()
            .fold((0.0, 0.0), |(xx, xy), p| (xx + (p.0 - x).powi(2), xy + (p.0 - x) * (p.1 - y)));
        let slope = if xx > 0.0 { xy / xx } else { 0.0 };
        let at_end = y - slope * x;
        let off = |p: &(f64, f64)| p.1 - at_end - slope * p.0;
        let rough = mean(widths.iter().map(|p| off(p).powi(2))).sqrt();
        let highest = widths.iter().map(&off).fold(0.0, f64::max);
        if !lower || highest <= STROKE_MM {
            return Some(Straight { at_end, slope, rough });
        }
        widths.retain(|p| off(p) < 0.7 * highest);
    }
    None
}

/// Distances in mm from `from` on, up to `to`, in even steps.
fn steps(from: f64, to: f64) -> impl Iterator<Item = f64> + Clone {
    (0..=((to - from) / SPACING_MM + 1e-6) as usize).map(move |k| from + k as f64 * SPACING_MM)
}

fn mean(all: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = all.fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    sum / f64::max(n, 1.0)
}

/// The mark from an area's end to its tip.
fn tip(view: &View<'_>, end: End) -> Option<Candidate> {
    let (tone, narrowest_mm) = (view.tone, view.limits.narrowest_mm);
    let px = tone.px_per_mm;
    let taper = taper(view, end)?;
    let across = Vec2::new(-taper.along.y, taper.along.x);
    let read = |s: f64, off: f64| {
        let p = taper.end + taper.along * s + across * off;
        sample(&tone.reflectance, (p.to_vec2() * px).to_point())
    };
    let sides = taper.sides;
    // The side that is more like it decides.
    let ground = if end.light { sides[0].max(sides[1]) } else { sides[0].min(sides[1]) };
    let depth = (lightness(taper.inside) - lightness(ground)).abs();
    if depth < STRONG_L {
        return None;
    }
    let contrast = |s: f64, off: f64| {
        let patch = steps(-READ_ALONG_MM, READ_ALONG_MM)
            .flat_map(|ds| [-1.0, 0.0, 1.0].map(|t| read(s + ds, off + t * READ_ACROSS_MM)));
        (mean(patch) - ground) / (taper.inside - ground)
    };
    let (mut off, mut reached) = (0.0_f64, 0.0);
    for s in steps(0.0, taper.beyond_mm + SLACK * narrowest_mm) {
        let tried = [0.0, ASIDE_MM, -ASIDE_MM].map(|d| off + d);
        let best = tried
            .into_iter()
            .map(|o| (contrast(s, o), o))
            .fold((f64::NEG_INFINITY, off), |a, b| if b.0 > a.0 + 1e-9 { b } else { a });
        if best.0 < if tone.kind.is_ink() { KEEPS_ON_INK } else { KEEPS } {
            break;
        }
        (off, reached) = (best.1, s);
    }
    let to = taper.end + taper.along * reached + across * off;
    let from = taper.end - taper.along * (INSIDE * narrowest_mm);
    let pieces = (from.distance(to) / SPACING_MM).ceil() as usize;
    let points: Vec<Point> = (0..=pieces).map(|k| from.lerp(to, k as f64 / pieces as f64)).collect();
    let widths_mm: Vec<f64> = points.iter().map(|p| taper.width((*p - taper.end).dot(taper.along))).collect();
    let weight = widths_mm.iter().sum::<f64>() * SPACING_MM * depth * depth;
    Some(Candidate {
        points,
        widths_mm,
        value: view.areas.tree.value(view.nodes.data()[end.pixel] as usize),
        light: end.light,
        weight,
        height: border_height(view, end.pixel),
        least_mm: view.least_mm,
        tip: true,
    })
}

/// Merging height at which the area's border at its end dies: the tip lives as long as the point it belongs to.
fn border_height(view: &View<'_>, pixel: usize) -> f64 {
    let ids = &view.areas.ids;
    let (w, h) = (ids.width(), ids.height());
    let (x, y) = (pixel % w, pixel / w);
    let here = ids.at(x, y);
    let beside: BTreeSet<u32> = (y.saturating_sub(1)..=(y + 1).min(h - 1))
        .flat_map(|v| (x.saturating_sub(1)..=(x + 1).min(w - 1)).map(move |u| ids.at(u, v)))
        .filter(|&id| id != here)
        .collect();
    let heights = beside.into_iter().map(|id| view.areas.tree.height_between(here as usize, id as usize));
    heights.filter(|&height| height > 0.0).fold(f64::INFINITY, f64::min)
}
