//! Broken lines: real gaps in the geometry, evenly fitted, never at an end or a corner.

use super::{LENGTH_ACCURACY_MM, heading, length_mm, reversed};
use kurbo::{CubicBez, ParamCurve, ParamCurveArclen};

/// Length of the drawn parts that is aimed for, in mm.
const DASH_MM: f64 = 5.0;
/// Length of a gap in mm, for lines of usual width.
const GAP_MM: f64 = 1.5;
/// Paper left bare in a gap between the line's round ends, at least, in mm.
const BARE_MM: f64 = 1.0;
/// A line, or a part of one between corners, that is shorter is drawn whole, in mm.
const WHOLE_UNDER_MM: f64 = 8.0;
/// Cosine of the tangent break that counts as a corner: 30 degrees.
const CORNER_COS: f64 = 0.866_025_403_784_438_6;
/// A cut closer than this to the end of a cubic is made at that end, in mm: less than a written digit.
const SNAP_MM: f64 = 0.000_5;

/// Length of a gap in mm for lines of this width: their round ends reach half the width into it from both sides.
pub(super) fn gap_mm(line_mm: f64) -> f64 {
    GAP_MM.max(line_mm + BARE_MM)
}

/// The drawn parts of a line; the first begins where the line begins and the last ends where it ends.
///
/// A line that closes on itself (`closed`) has half a dash at both, so that the two together are one.
pub(super) fn broken(curve: &[CubicBez], closed: bool, gap_mm: f64) -> Vec<Vec<CubicBez>> {
    let lengths: Vec<f64> = curve.iter().map(|c| c.arclen(LENGTH_ACCURACY_MM)).collect();
    let total: f64 = lengths.iter().sum();
    if total < WHOLE_UNDER_MM {
        return vec![curve.to_vec()];
    }
    // Sections from corner to corner, as lengths along the line.
    let mut bounds = vec![0.0];
    let mut sum = 0.0;
    for (i, pair) in curve.windows(2).enumerate() {
        sum += lengths[i];
        if is_corner(&pair[0], &pair[1]) {
            bounds.push(sum);
        }
    }
    bounds.push(total);
    let last = bounds.len() - 2;
    let mut cuts = Vec::new();
    for (i, section) in bounds.windows(2).enumerate() {
        // Where two sections meet, their dashes are one, so each has half of it.
        let share = |at_end: bool| if at_end && !closed { 1.0 } else { 0.5 };
        let shares = share(i == 0) + share(i == last);
        cuts.extend(gaps_in(section[0], section[1], share(i == 0), shares, gap_mm));
    }
    let mut parts = Vec::new();
    let mut from = 0.0;
    for (gap_start, gap_end) in cuts {
        parts.push(between(curve, &lengths, from, gap_start));
        from = gap_end;
    }
    parts.push(between(curve, &lengths, from, total));
    parts
}

/// The gaps between `start` and `end`: as many as bring the dashes nearest to their length, at least one.
///
/// `first_share` is the length of the first dash in dashes, `shares` that of first and last together.
fn gaps_in(start: f64, end: f64, first_share: f64, shares: f64, gap_mm: f64) -> Vec<(f64, f64)> {
    let length = end - start;
    if length < WHOLE_UNDER_MM {
        return Vec::new();
    }
    let ideal = (length - DASH_MM * (shares - 1.0)) / (DASH_MM + gap_mm);
    let count = ideal.round().max(1.0);
    let dash = (length - gap_mm * count) / (count - 1.0 + shares);
    // A line as wide as this leaves nothing to draw between its gaps.
    if dash <= gap_mm / 2.0 {
        return Vec::new();
    }
    (0..count as usize)
        .map(|i| {
            let gap_start = start + dash * first_share + i as f64 * (dash + gap_mm);
            (gap_start, gap_start + gap_mm)
        })
        .collect()
}

/// Whether the tangent breaks by more than 30 degrees from one cubic to the next.
fn is_corner(a: &CubicBez, b: &CubicBez) -> bool {
    let arriving = -heading(&reversed(&[*a]));
    let leaving = heading(&[*b]);
    // A cubic that is a single point has no direction and makes no corner.
    arriving.hypot2() > 0.0 && leaving.hypot2() > 0.0 && arriving.dot(leaving) < CORNER_COS
}

/// The part of a curve between two lengths along it; its pieces stay cubics.
fn between(curve: &[CubicBez], lengths: &[f64], from: f64, to: f64) -> Vec<CubicBez> {
    let mut part = Vec::new();
    let mut sum = 0.0;
    for (cubic, &length) in curve.iter().zip(lengths) {
        let (a, b) = (from - sum, to - sum);
        sum += length;
        if b <= SNAP_MM || a >= length - SNAP_MM {
            continue;
        }
        let t0 = if a <= SNAP_MM { 0.0 } else { cubic.inv_arclen(a, LENGTH_ACCURACY_MM) };
        let t1 = if b >= length - SNAP_MM { 1.0 } else { cubic.inv_arclen(b, LENGTH_ACCURACY_MM) };
        // A whole cubic stays as it was proven, to the last digit.
        part.push(if t0 <= 0.0 && t1 >= 1.0 { *cubic } else { cubic.subsegment(t0..t1) });
    }
    debug_assert!((length_mm(&part) - (to - from)).abs() < 0.01, "a part has the length it was cut to");
    part
}
