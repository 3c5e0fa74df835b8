//! Corners of a traced border: where it turns sharply over a short arm.
//!
//! At every point a straight line is fitted to the arm before it and to the arm after it (least squares across
//! the line); the turn is the angle between the two. A corner keeps its turn when the arms are halved, a tight
//! bend loses half of it, so both are asked for. Of neighbouring points only the one with the largest turn
//! counts, moved to the point nearest to where the two arms' lines cross.

use kurbo::{Point, Vec2};

/// When a turn counts as a corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CornerOptions {
    /// Least turn in degrees that counts as a corner.
    pub angle_deg: f64,
    /// Length in mm of the arms over which the turn is measured.
    pub reach_mm: f64,
}

impl Default for CornerOptions {
    fn default() -> Self {
        Self { angle_deg: 50.0, reach_mm: 0.8 }
    }
}

/// Share of the asked turn that must remain when the arms are halved (on a circle half of it remains).
const HALF_ARM_SHARE: f64 = 0.72;
/// Share of the arm next to the point that is left out, since smoothing rounds it.
const SKIPPED_SHARE: f64 = 0.2;
/// Shortest arm, as a share of the reach, that is still judged near the end of an open line.
const SHORTEST_SHARE: f64 = 0.6;

/// Indices, in rising order, of the points where the line has a corner.
///
/// The points should be evenly spaced (about 0.1 to 0.2 mm) and lightly smoothed. On a closed line the first
/// point follows the last (it is not repeated); on an open line the ends are no corners.
#[must_use]
pub fn find_corners(points: &[Point], closed: bool, options: &CornerOptions) -> Vec<usize> {
    let Some(line) = Line::new(points, closed) else { return Vec::new() };
    // Arms of a small loop must not meet on its far side.
    let reach = if closed { options.reach_mm.min(line.length / 4.0) } else { options.reach_mm };
    if !reach.is_finite() || reach <= 0.0 || !options.angle_deg.is_finite() {
        return Vec::new();
    }
    let least = options.angle_deg.to_radians();
    let turns: Vec<f64> = (0..points.len())
        .map(|i| {
            let Some(turn) = line.turn(i, reach) else { return 0.0 };
            if turn < least {
                return 0.0;
            }
            match line.turn(i, reach / 2.0) {
                Some(half) if half >= HALF_ARM_SHARE * least => turn + half,
                _ => 0.0,
            }
        })
        .collect();
    let mut found: Vec<usize> = Vec::new();
    for i in 0..points.len() {
        if turns[i] > 0.0 && line.is_peak(&turns, i, reach / 2.0) {
            found.push(line.sharpen(i, reach));
        }
    }
    found.sort_unstable();
    found.dedup();
    found
}

/// The polyline with lengths along it.
struct Line<'a> {
    points: &'a [Point],
    closed: bool,
    /// Length from the first point to each point.
    along: Vec<f64>,
    length: f64,
}

/// A straight line fitted to an arm: its middle and unit direction, pointing the way the line is walked.
struct Arm {
    middle: Point,
    direction: Vec2,
}

impl<'a> Line<'a> {
    fn new(points: &'a [Point], closed: bool) -> Option<Self> {
        if points.len() < 5 || !points.iter().all(|p| p.is_finite()) {
            return None;
        }
        let mut along = Vec::with_capacity(points.len());
        let mut length = 0.0;
        along.push(0.0);
        for pair in points.windows(2) {
            length += pair[0].distance(pair[1]);
            along.push(length);
        }
        if closed {
            length += points[points.len() - 1].distance(points[0]);
        }
        (length > 0.0).then_some(Self { points, closed, along, length })
    }

    /// The next index forwards or backwards, or none at the end of an open line.
    fn step(&self, i: usize, forwards: bool) -> Option<usize> {
        let n = self.points.len();
        match (forwards, self.closed) {
            (true, _) if i + 1 < n => Some(i + 1),
            (false, _) if i > 0 => Some(i - 1),
            (true, true) => Some(0),
            (false, true) => Some(n - 1),
            _ => None,
        }
    }

    /// Line through the points from `SKIPPED_SHARE` of the reach up to the reach away from point `i`.
    fn arm(&self, i: usize, forwards: bool, reach: f64) -> Option<Arm> {
        let origin = self.points[i];
        let (mut n, mut sx, mut sy, mut sxx, mut sxy, mut syy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        let mut gone = 0.0;
        let mut at = i;
        let mut chord = Vec2::ZERO;
        for _ in 0..self.points.len() {
            let Some(next) = self.step(at, forwards) else { break };
            let stride = self.points[at].distance(self.points[next]);
            if gone + stride > 1.05 * reach {
                break;
            }
            gone += stride;
            at = next;
            let v = self.points[at] - origin;
            chord = v;
            if gone >= SKIPPED_SHARE * reach {
                n += 1.0;
                sx += v.x;
                sy += v.y;
                sxx += v.x * v.x;
                sxy += v.x * v.y;
                syy += v.y * v.y;
            }
        }
        if n < 2.0 || gone < SHORTEST_SHARE * reach {
            return None;
        }
        let (mx, my) = (sx / n, sy / n);
        let (cxx, cxy, cyy) = (sxx / n - mx * mx, sxy / n - mx * my, syy / n - my * my);
        // Direction of the largest spread (total least squares).
        let angle = 0.5 * (2.0 * cxy).atan2(cxx - cyy);
        let mut direction = Vec2::from_angle(angle);
        let walked = if forwards { chord } else { -chord };
        if direction.dot(walked) < 0.0 {
            direction = -direction;
        }
        Some(Arm { middle: origin + Vec2::new(mx, my), direction })
    }

    /// Turn at point `i` in radians, 0 to pi.
    fn turn(&self, i: usize, reach: f64) -> Option<f64> {
        let before = self.arm(i, false, reach)?;
        let after = self.arm(i, true, reach)?;
        Some(before.direction.cross(after.direction).atan2(before.direction.dot(after.direction)).abs())
    }

    /// Distance along the line between two points.
    fn apart(&self, i: usize, j: usize) -> f64 {
        let d = (self.along[i] - self.along[j]).abs();
        if self.closed { d.min(self.length - d) } else { d }
    }

    /// Whether no point within `radius` has a larger turn (of equal turns the first counts).
    fn is_peak(&self, turns: &[f64], i: usize, radius: f64) -> bool {
        for forwards in [true, false] {
            let mut at = i;
            for _ in 0..self.points.len() {
                let Some(next) = self.step(at, forwards) else { break };
                if next == i || self.apart(i, next) > radius {
                    break;
                }
                at = next;
                if turns[at] > turns[i] || (turns[at] >= turns[i] && at < i) {
                    return false;
                }
            }
        }
        true
    }

    /// The point, within a quarter of the reach of `i`, nearest to where the arms' lines cross.
    fn sharpen(&self, i: usize, reach: f64) -> usize {
        let (Some(before), Some(after)) = (self.arm(i, false, reach), self.arm(i, true, reach)) else { return i };
        let cross = before.direction.cross(after.direction);
        if cross.abs() < 1e-6 {
            return i;
        }
        let t = (after.middle - before.middle).cross(after.direction) / cross;
        let apex = before.middle + t * before.direction;
        let mut best = (self.points[i].distance_squared(apex), i);
        for forwards in [true, false] {
            let mut at = i;
            while let Some(next) = self.step(at, forwards) {
                // Never the end of an open line.
                if next == i || self.apart(i, next) > reach / 4.0 || self.step(next, forwards).is_none() {
                    break;
                }
                at = next;
                let d = self.points[at].distance_squared(apex);
                if d < best.0 {
                    best = (d, at);
                }
            }
        }
        best.1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_circle_has_no_corner_and_a_square_four() {
        for radius in [1.0, 2.0, 10.0] {
            let n = (2.0 * std::f64::consts::PI * radius / 0.15) as usize;
            let circle: Vec<Point> = (0..n)
                .map(|i| (radius * Vec2::from_angle(i as f64 * std::f64::consts::TAU / n as f64)).to_point())
                .collect();
            assert!(find_corners(&circle, true, &CornerOptions::default()).is_empty(), "circle of {radius} mm");
        }
        let side = 40;
        let mut square = Vec::new();
        for k in 0..4 * side {
            let (edge, t) = (k / side, f64::from(k % side) * 0.1);
            let full = f64::from(side) * 0.1;
            square.push(match edge {
                0 => Point::new(t, 0.0),
                1 => Point::new(full, t),
                2 => Point::new(full - t, full),
                _ => Point::new(0.0, full - t),
            });
        }
        assert_eq!(find_corners(&square, true, &CornerOptions::default()), vec![0, 40, 80, 120], "the square's corners");
    }

    #[test]
    fn short_and_broken_input_has_no_corner() {
        let options = CornerOptions::default();
        assert!(find_corners(&[], true, &options).is_empty(), "no points");
        assert!(find_corners(&[Point::ZERO; 20], true, &options).is_empty(), "equal points");
        assert!(find_corners(&[Point::new(f64::NAN, 0.0); 9], false, &options).is_empty(), "not a number");
    }
}
