//! Which stretches of a ridge are thin marks: extreme against both sides, thin, sure, solid, and not in the net yet.

use std::ops::Range;

use kurbo::{Point, Vec2};

use super::across::Across;
use super::{Candidate, ink, median};
use crate::raster::Raster;
use crate::tone::ToneField;

/// What a mark has to stand out by from both sides, in L*: what counts as one tone for the mean.
pub(super) const STRONG_L: f64 = 12.0;
/// What its weaker stretches have to stand out by, in L* (half; Canny 1986 keeps weak edges that hang on strong ones).
pub(super) const WEAK_L: f64 = 6.0;
/// A mark has to stand out by this many standard deviations of the texture's waver, at its own tone and its sides'.
const SURE: f64 = 5.0;
/// Marks are this long at least: so many mm, and so many of their own widths (common practice, no source).
const LEAST_MM: f64 = 3.0;
const LEAST_WIDTHS: f64 = 5.0;
/// Share of its length over which a mark has to be strong.
const SOLID_SHARE: f64 = 0.6;
/// Widths up to this many narrowest ones are thin: no hole between what an area needs and what a mark may have.
const WIDEST: f64 = 1.25;
/// A width measured this much under the limit is at the limit, in pixels: the pixels' own blur.
const WIDTH_SLACK_PX: f64 = 0.25;
/// The net's values are looked up so many narrowest widths beyond the mark's edges.
const BESIDE: f64 = 0.3;
/// A mark that goes on from an area of its value is followed this many points into it, so that it ends on the border
/// wherever exactly that lies.
const INTO_AREA: usize = 4;

/// What marks are held to.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limits {
    /// Thinnest mark in mm.
    pub(super) limit_mm: f64,
    /// Narrowest area in mm.
    pub(super) narrowest_mm: f64,
    /// Shortest tip in mm; `None` for no tips.
    pub(super) least_tip_mm: Option<f64>,
}

/// A ridge measured along its length, in mm.
pub(super) struct Looked {
    /// Points at even distances.
    pub(super) points: Vec<Point>,
    /// Unit direction across at each.
    pub(super) normals: Vec<Vec2>,
    /// The profile across at each.
    pub(super) across: Vec<Option<Across>>,
    /// Distance between points in mm.
    pub(super) spacing_mm: f64,
}

/// What the net shows at a place of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Shown {
    /// An area of the mark's own value (or beyond it).
    Own,
    /// Something else: an area of a value between, or a side that is no less extreme than the mark.
    Other,
    /// Its surroundings only: the mark is missing.
    Missing,
}

/// The stretches of a ridge that are thin marks.
pub(super) fn judge(
    tone: &ToneField,
    values: &Raster<u8>,
    looked: &Looked,
    is_light: bool,
    limits: &Limits,
) -> Vec<Candidate> {
    let px = tone.px_per_mm;
    let weak = |a: &Across| a.depth() >= WEAK_L && a.width_px / px <= WIDEST * limits.narrowest_mm;
    let strong =
        |a: &Across| a.depth() >= STRONG_L && weak(a) && a.width_px >= limits.limit_mm * px - WIDTH_SLACK_PX;
    let n = looked.points.len();
    let hole = (limits.limit_mm / looked.spacing_mm).ceil() as usize;
    let mut out = Vec::new();
    for run in runs(&bridged((0..n).map(|i| looked.across[i].is_some_and(|a| weak(&a))).collect(), hole)) {
        let Some(value) = value_of(tone, &looked.across[run.clone()], is_light, strong) else { continue };
        let on_ink = tone.kind.is_ink();
        if on_ink && (!is_light || value != 1) {
            continue;
        }
        let shown: Vec<Shown> =
            run.clone().map(|i| shown(values, looked, i, value, is_light, limits, px)).collect();
        let mut missing = bridged_over(&shown, hole);
        if on_ink {
            let bare = bridged(ink::bare_between_darks(tone, looked, run.clone()), hole);
            missing.iter_mut().zip(bare).for_each(|(m, b)| *m &= b);
        }
        for piece in runs(&missing) {
            let own = |at: Option<usize>| at.and_then(|i| shown.get(i)) == Some(&Shown::Own);
            let joined = [own(piece.start.checked_sub(1)), own(Some(piece.end))];
            // A dark line by itself that is not black is a drawn line more often than a thing.
            if !is_light && value < tone.scale.values() && joined == [false; 2] {
                continue;
            }
            let [from, to] = [run.start + piece.start, run.start + piece.end];
            let Some((kept, height)) = worth(tone, looked, from..to, joined, limits, &strong) else {
                continue;
            };
            let start =
                if joined[0] && kept.start == from { from.saturating_sub(INTO_AREA) } else { kept.start };
            let end = if joined[1] && kept.end == to { (to + INTO_AREA).min(n) } else { kept.end };
            out.push(candidate(looked, start..end, value, is_light, height, limits, px));
        }
    }
    out
}

/// Whether a stretch is worth a line: the part of it that is, and the merging height (L*^2 mm) up to which it is.
fn worth(
    tone: &ToneField,
    looked: &Looked,
    piece: Range<usize>,
    joined: [bool; 2],
    limits: &Limits,
    strong: &impl Fn(&Across) -> bool,
) -> Option<(Range<usize>, f64)> {
    let px = tone.px_per_mm;
    let found = |range: Range<usize>| looked.across[range].iter().flatten();
    let is_strong = |i: &usize| looked.across[*i].is_some_and(|a| strong(&a));
    let width_mm = median(found(piece.clone()).map(|a| a.width_px / px).collect());
    let depth = median(found(piece.clone()).map(Across::depth).collect());
    let waver = median(
        found(piece.clone())
            .map(|a| a.sides.iter().copied().chain([a.peak]).map(|l| tone.waver.at(l)).fold(0.0, f64::max))
            .collect(),
    );
    if depth < STRONG_L.max(SURE * waver) {
        return None;
    }
    // A free end is followed as a taper for two narrowest widths beyond the last strong place, no further.
    let taper = (2.0 * limits.narrowest_mm / looked.spacing_mm) as usize;
    let (first, last) = (piece.clone().find(is_strong)?, piece.clone().rev().find(is_strong)?);
    let start = if joined[0] { piece.start } else { first.saturating_sub(taper).max(piece.start) };
    let end = if joined[1] { piece.end } else { (last + 1 + taper).min(piece.end) };
    let length_mm = (end - start) as f64 * looked.spacing_mm;
    let share = (start..end).filter(is_strong).count() as f64 / (end - start) as f64;
    let is_mark = length_mm >= LEAST_MM.max(LEAST_WIDTHS * width_mm) && share >= SOLID_SHARE;
    is_mark.then_some((start..end, width_mm * depth * depth))
}

fn candidate(
    looked: &Looked,
    kept: Range<usize>,
    value: u8,
    light: bool,
    height: f64,
    limits: &Limits,
    px: f64,
) -> Candidate {
    let mut last = limits.limit_mm;
    let widths_mm: Vec<f64> = kept
        .clone()
        .map(|i| {
            last = looked.across[i].map_or(last, |a| a.width_px / px);
            last
        })
        .collect();
    let weight: f64 =
        kept.clone().filter_map(|i| looked.across[i]).map(|a| a.depth().powi(2) * a.width_px / px).sum();
    Candidate {
        points: looked.points[kept].to_vec(),
        widths_mm,
        value,
        light,
        weight: weight * looked.spacing_mm,
        height,
        // Ends give way to the border by as much.
        least_mm: limits.narrowest_mm - 2.0 * super::CLEAR_MM,
        tip: false,
    }
}

/// The value of a stretch: that of its peaks, the quarter of them that stand out most left out (thin places show
/// less than their tone); from its strong places if it has any.
fn value_of(
    tone: &ToneField,
    across: &[Option<Across>],
    is_light: bool,
    strong: impl Fn(&Across) -> bool,
) -> Option<u8> {
    let mut peaks: Vec<f64> = across.iter().flatten().filter(|a| strong(a)).map(|a| a.peak).collect();
    if peaks.is_empty() {
        peaks = across.iter().flatten().map(|a| a.peak).collect();
    }
    peaks.sort_by(f64::total_cmp);
    if is_light {
        peaks.reverse();
    }
    peaks.get(peaks.len() / 4).map(|&l| tone.scale.value(l as f32))
}

/// What the net shows where a line of this value runs.
fn shown(
    values: &Raster<u8>,
    looked: &Looked,
    i: usize,
    value: u8,
    is_light: bool,
    limits: &Limits,
    px: f64,
) -> Shown {
    // Seen so that a more extreme value is always the larger.
    let rank = |v: u8| if is_light { -i32::from(v) } else { i32::from(v) };
    let at = |offset_mm: f64| {
        let p = looked.points[i] + looked.normals[i] * offset_mm;
        let inside = |v: f64, n: usize| ((v * px).max(0.0) as usize).min(n - 1);
        rank(values.at(inside(p.x, values.width()), inside(p.y, values.height())))
    };
    let half_mm = looked.across[i].map_or(limits.limit_mm, |a| a.width_px / px) / 2.0;
    let beside = half_mm + BESIDE * limits.narrowest_mm;
    let (here, sides) = (at(0.0), [at(beside), at(-beside)]);
    if here >= rank(value) {
        Shown::Own
    } else if sides.iter().any(|&s| s >= rank(value)) || sides.iter().all(|&s| s < here) {
        Shown::Other
    } else {
        Shown::Missing
    }
}

/// Where the mark is missing, short stretches that show something else filled in, but never its own area.
fn bridged_over(shown: &[Shown], hole: usize) -> Vec<bool> {
    let filled = bridged(shown.iter().map(|s| *s == Shown::Missing).collect(), hole);
    filled.iter().zip(shown).map(|(&f, s)| f && *s != Shown::Own).collect()
}

/// Fills holes of up to `most` between two places that hold.
fn bridged(mut holds: Vec<bool>, most: usize) -> Vec<bool> {
    let mut last: Option<usize> = None;
    for i in 0..holds.len() {
        if holds[i] {
            if let Some(l) = last.filter(|l| i - l - 1 <= most) {
                holds[l..i].fill(true);
            }
            last = Some(i);
        }
    }
    holds
}

/// Stretches of places that hold.
fn runs(holds: &[bool]) -> Vec<Range<usize>> {
    let mut out = Vec::new();
    let mut start = None;
    for (i, &h) in holds.iter().chain([&false]).enumerate() {
        match (h, start) {
            (true, None) => start = Some(i),
            (false, Some(s)) => {
                out.push(s..i);
                start = None;
            }
            _ => {}
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_holes_are_filled_and_own_areas_are_not() {
        use Shown::{Missing, Other, Own};
        let holds = |text: &str| text.bytes().map(|b| b == b'1').collect::<Vec<bool>>();
        assert_eq!(bridged(holds("0110011000101"), 2), holds("0111111000111"), "holes of two are filled");
        assert_eq!(runs(&holds("0110011")), [1..3, 5..7], "stretches up to the end");
        let shown = [Missing, Other, Missing, Own, Missing, Other];
        assert_eq!(bridged_over(&shown, 2), [true, true, true, false, true, false], "the area stays open");
    }
}
