//! Fit: the fewest cubics that stay within a tolerance of a border's points.
//!
//! The line is cut at its corners. In each piece every point gets a place and a direction for a joint that may
//! lie there (`local`); a cubic between two such points has two free handles (`span`); dynamic programming
//! picks the joints (`breaks`; Plass & Stone, Curve-fitting with piecewise parametric cubics, 1983). Because
//! both cubics of a joint share its direction, joints are tangent-continuous everywhere but at corners.

mod breaks;
mod local;
mod span;
#[cfg(test)]
mod tests;

use kurbo::{CubicBez, Point, Vec2};
use local::Around;
use span::{Piece, straight};

/// How close the curve keeps to the points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FitOptions {
    /// Most distance in mm of any point from the curve and of any place on the curve from the polyline.
    pub tolerance_mm: f64,
}

impl Default for FitOptions {
    fn default() -> Self {
        Self { tolerance_mm: 0.1 }
    }
}

/// Smallest tolerance in mm that is worked with: below it rounding to 0.001 mm rules.
const LEAST_TOLERANCE_MM: f64 = 0.005;
/// Closed lines of up to this many points are tried from many starts, longer ones from a few.
const SMALL_LOOP_POINTS: usize = 1500;

/// The point rounded to whole micrometres (0.001 mm).
#[must_use]
pub fn round_um(p: Point) -> Point {
    // Adding zero turns -0.0 into 0.0, which is written without a sign.
    Point::new((p.x * 1000.0).round() / 1000.0 + 0.0, (p.y * 1000.0).round() / 1000.0 + 0.0)
}

/// The fewest cubics within the tolerance of a line's points, tangent-continuous except at `corners`.
///
/// The curve begins and ends exactly on the first and the last point (rounded to 0.001 mm); when `closed` it
/// ends where it begins, and the first point need not be repeated. `corners` are indices into `points`.
/// `end_tangents` are the directions, along the walk, with which an open line must leave its first point and
/// reach its last one. Where no cubic fits, the polyline's own edges are returned as straight cubics.
///
/// Points that are not finite or repeat the one before are left out. Fewer than two different points give no
/// curve.
#[must_use]
pub fn fit(
    points: &[Point],
    closed: bool,
    corners: &[usize],
    end_tangents: [Option<Vec2>; 2],
    options: &FitOptions,
) -> Vec<CubicBez> {
    let tolerance = if options.tolerance_mm.is_finite() {
        options.tolerance_mm.max(LEAST_TOLERANCE_MM)
    } else {
        FitOptions::default().tolerance_mm
    };
    let (points, corners) = tidied(points, closed, corners);
    if points.len() < 2 {
        return Vec::new();
    }
    let cubics = if !closed {
        fit_open(&points, &corners, end_tangents, tolerance)
    } else if points.len() == 2 {
        vec![straight(points[0], points[1]), straight(points[1], points[0])]
    } else if let Some(&first) = corners.first() {
        let mut turned: Vec<Point> = points[first..].iter().chain(&points[..=first]).copied().collect();
        turned[points.len()] = turned[0];
        let shifted: Vec<usize> = corners.iter().map(|c| c - first).collect();
        fit_open(&turned, &shifted, [None, None], tolerance)
    } else {
        fit_round(&points, tolerance)
    };
    cubics.iter().map(rounded).collect()
}

/// The cubic with its points rounded to whole micrometres.
fn rounded(c: &CubicBez) -> CubicBez {
    CubicBez::new(round_um(c.p0), round_um(c.p1), round_um(c.p2), round_um(c.p3))
}

/// The points without those that are not finite or repeat the one before, and the corners' new indices.
fn tidied(points: &[Point], closed: bool, corners: &[usize]) -> (Vec<Point>, Vec<usize>) {
    const SAME_MM: f64 = 1e-6;
    let mut kept: Vec<Point> = Vec::with_capacity(points.len());
    let mut moved = Vec::new();
    let mut wanted: Vec<usize> = corners.iter().copied().filter(|&c| c < points.len()).collect();
    wanted.sort_unstable();
    let mut wanted = wanted.into_iter().peekable();
    for (i, p) in points.iter().enumerate() {
        let is_new = p.is_finite() && kept.last().is_none_or(|q| q.distance(*p) > SAME_MM);
        if is_new {
            kept.push(*p);
        }
        while wanted.next_if_eq(&i).is_some() {
            if !kept.is_empty() {
                moved.push(kept.len() - 1);
            }
        }
    }
    while closed && kept.len() > 1 && kept[0].distance(kept[kept.len() - 1]) <= SAME_MM {
        kept.pop();
    }
    for c in &mut moved {
        if *c >= kept.len() {
            *c = 0;
        }
    }
    moved.sort_unstable();
    moved.dedup();
    (kept, moved)
}

/// Fits an open line piece by piece between its corners.
fn fit_open(
    points: &[Point],
    corners: &[usize],
    end_tangents: [Option<Vec2>; 2],
    tolerance: f64,
) -> Vec<CubicBez> {
    let last = points.len() - 1;
    let mut stops: Vec<usize> = corners.iter().copied().filter(|&c| c > 0 && c < last).collect();
    stops.push(last);
    let mut cubics = Vec::new();
    let mut from = 0;
    for to in stops {
        let mut tangents = [None, None];
        if from == 0 {
            tangents[0] = end_tangents[0];
        }
        if to == last {
            tangents[1] = end_tangents[1];
        }
        cubics.append(&mut fit_piece(&points[from..=to], tangents, tolerance));
        from = to;
    }
    cubics
}

/// Fits a piece without corners.
fn fit_piece(points: &[Point], tangents: [Option<Vec2>; 2], tolerance: f64) -> Vec<CubicBez> {
    let unit = |v: Vec2| (v.is_finite() && v.hypot() > 1e-9).then(|| v / v.hypot());
    let tangents = tangents.map(|t| t.and_then(unit));
    if points.len() == 2 && tangents == [None, None] {
        return vec![straight(points[0], points[1])];
    }
    let along = lengths(points);
    let around = Around { points, along: &along, round: None };
    let (at, mut direction): (Vec<Point>, Vec<Vec2>) =
        (0..points.len()).map(|i| around.joint(i, tolerance)).unzip();
    let last = points.len() - 1;
    if let Some(t) = tangents[0] {
        direction[0] = t;
    }
    if let Some(t) = tangents[1] {
        direction[last] = t;
    }
    let free = tangents.map(|t| t.is_none());
    Piece { points: points.to_vec(), along, at, direction, free }.fewest(tolerance).0
}

/// Length from the first point to each point.
fn lengths(points: &[Point]) -> Vec<f64> {
    let mut sum = 0.0;
    let mut along = Vec::with_capacity(points.len());
    along.push(0.0);
    for pair in points.windows(2) {
        sum += pair[0].distance(pair[1]);
        along.push(sum);
    }
    along
}

/// Fits a closed line without corners. The count depends on where the first joint lies, so several are tried.
fn fit_round(points: &[Point], tolerance: f64) -> Vec<CubicBez> {
    let n = points.len();
    let along = lengths(points);
    let length = along[n - 1] + points[n - 1].distance(points[0]);
    let around = Around { points, along: &along, round: Some(length) };
    let (at, direction): (Vec<Point>, Vec<Vec2>) = (0..n).map(|i| around.joint(i, tolerance)).unzip();
    let opened = |start: usize| {
        let turned: Vec<Point> = points[start..].iter().chain(&points[..=start]).copied().collect();
        Piece {
            along: lengths(&turned),
            points: turned,
            at: at[start..].iter().chain(&at[..=start]).copied().collect(),
            direction: direction[start..].iter().chain(&direction[..=start]).copied().collect(),
            free: [false, false],
        }
    };
    // A least solution has a joint somewhere within the longest first step.
    let (_, _, reach) = opened(0).walked(tolerance);
    let starts = if n <= SMALL_LOOP_POINTS { 12 } else { 3 };
    let mut tried: Vec<(usize, usize, usize)> = (0..starts)
        .map(|k| (reach * k / starts) % n)
        .map(|start| {
            let (bare, count, _) = opened(start).walked(tolerance);
            (bare, count, start)
        })
        .collect();
    tried.sort_unstable();
    tried.dedup();
    let finalists = if n <= SMALL_LOOP_POINTS { 4 } else { 1 };
    let mut best: Option<(Vec<CubicBez>, breaks::Cost)> = None;
    for &(_, _, start) in tried.iter().take(finalists) {
        let found = opened(start).fewest(tolerance);
        if best.as_ref().is_none_or(|old| found.1.less(&old.1)) {
            best = Some(found);
        }
    }
    best.map(|b| b.0).unwrap_or_default()
}
