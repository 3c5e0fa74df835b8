//! Where a joint may lie and which way the line runs there: a parabola fitted to the points around it.
//!
//! The window grows as long as the parabola's residual does not (a stepwise form of Lepski's rule), so that noise
//! is averaged over a long window and a tight bend is measured over a short one.

use kurbo::{Point, Vec2};

/// Half widths of the windows tried, in mm.
const WINDOWS_MM: [f64; 5] = [0.45, 0.85, 1.4, 2.2, 3.5];
/// Most of the tolerance that a joint may lie off its point.
const MOST_SHIFT: f64 = 0.45;

/// The points around one place, as the estimator sees them.
pub(super) struct Around<'a> {
    pub(super) points: &'a [Point],
    pub(super) along: &'a [f64],
    /// Total length when the line closes on itself: windows then run round.
    pub(super) round: Option<f64>,
}

impl Around<'_> {
    /// Point number `i + k` with its length from point `i`, if the line has one.
    fn neighbour(&self, i: usize, k: isize) -> Option<(Point, f64)> {
        let n = self.points.len() as isize;
        let j = i as isize + k;
        if (0..n).contains(&j) {
            return Some((self.points[j as usize], self.along[j as usize] - self.along[i]));
        }
        let length = self.round?;
        let turns = j.div_euclid(n);
        let j = j.rem_euclid(n) as usize;
        Some((self.points[j], self.along[j] + turns as f64 * length - self.along[i]))
    }

    /// Where the curve passes near point `i` and its unit direction there. The ends of an open line are kept.
    pub(super) fn joint(&self, i: usize, tolerance: f64) -> (Point, Vec2) {
        let last = self.points.len() - 1;
        let is_end = self.round.is_none() && (i == 0 || i == last);
        let mut best: Option<Parabola> = None;
        for half in WINDOWS_MM {
            let half = self.round.map_or(half, |length| half.min(length / 5.0));
            let Some(found) = self.parabola(i, half, is_end) else { continue };
            match &best {
                Some(old) if found.residual > 1.2 * old.residual + 0.03 * tolerance => break,
                _ => best = Some(found),
            }
        }
        let here = self.points[i];
        match best {
            Some(found) if found.residual <= 0.6 * tolerance && found.slope.hypot() > 1e-6 => {
                let direction = found.slope / found.slope.hypot();
                let shift = found.at - here;
                // Only the part across the line is noise; a shift along it would uneven the lengths.
                let across = shift - shift.dot(direction) * direction;
                let most = MOST_SHIFT * tolerance;
                let across = if across.hypot() > most { across * (most / across.hypot()) } else { across };
                (if is_end { here } else { here + across }, direction)
            }
            _ => (here, self.plain_direction(i)),
        }
    }

    /// Direction between the neighbours of point `i`.
    fn plain_direction(&self, i: usize) -> Vec2 {
        let before = self.neighbour(i, -1).map_or(self.points[i], |n| n.0);
        let after = self.neighbour(i, 1).map_or(self.points[i], |n| n.0);
        let v = after - before;
        if v.hypot() > 1e-9 {
            return v / v.hypot();
        }
        // The line turns back on itself here: go on the way it came.
        let v = self.points[i] - before;
        if v.hypot() > 1e-9 { v / v.hypot() } else { Vec2::new(1.0, 0.0) }
    }

    /// Least-squares parabola over the points within `half` mm of point `i` (at least two on each side that has
    /// any), held to the point itself if `through` is set.
    fn parabola(&self, i: usize, half: f64, through: bool) -> Option<Parabola> {
        let origin = self.points[i];
        let mut sums = [0.0; 5];
        let mut rights = [Vec2::ZERO; 3];
        let mut squares = 0.0;
        let mut add = |p: Point, s: f64| {
            let v = p - origin;
            let mut power = 1.0;
            for (k, sum) in sums.iter_mut().enumerate() {
                *sum += power;
                if k < 3 {
                    rights[k] += power * v;
                }
                power *= s;
            }
            squares += v.hypot2();
        };
        add(origin, 0.0);
        for direction in [-1, 1] {
            for k in 1..=self.points.len() as isize / 2 {
                let Some((p, s)) = self.neighbour(i, direction * k) else { break };
                if s.abs() > half && k > 2 {
                    break;
                }
                add(p, s);
            }
        }
        let count = sums[0];
        let (constant, slope, bend);
        if through {
            let det = sums[2] * sums[4] - sums[3] * sums[3];
            if count < 3.0 || det.abs() < 1e-12 {
                return None;
            }
            constant = Vec2::ZERO;
            slope = (sums[4] * rights[1] - sums[3] * rights[2]) / det;
            bend = (sums[2] * rights[2] - sums[3] * rights[1]) / det;
        } else {
            let [s0, s1, s2, s3, s4] = sums;
            let c0 = s2 * s4 - s3 * s3;
            let c1 = s2 * s3 - s1 * s4;
            let c2 = s1 * s3 - s2 * s2;
            let det = s0 * c0 + s1 * c1 + s2 * c2;
            if count < 4.0 || det.abs() < 1e-12 {
                return None;
            }
            let [r0, r1, r2] = rights;
            constant = (c0 * r0 + c1 * r1 + c2 * r2) / det;
            slope = (c1 * r0 + (s0 * s4 - s2 * s2) * r1 + (s1 * s2 - s0 * s3) * r2) / det;
            bend = (c2 * r0 + (s1 * s2 - s0 * s3) * r1 + (s0 * s2 - s1 * s1) * r2) / det;
        }
        let explained = constant.dot(rights[0]) + slope.dot(rights[1]) + bend.dot(rights[2]);
        let spare = count - if through { 2.0 } else { 3.0 };
        let residual = ((squares - explained).max(0.0) / spare.max(1.0)).sqrt();
        Some(Parabola { at: origin + constant, slope, residual })
    }
}

/// A fitted parabola at its middle.
struct Parabola {
    at: Point,
    slope: Vec2,
    /// Root mean square distance of the points from it, in mm.
    residual: f64,
}
