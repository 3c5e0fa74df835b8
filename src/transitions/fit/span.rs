//! One cubic through a span of points: end points and end directions given, handles by least squares.
//!
//! The first solution measures each point against the curve at its share of the length (Schneider, Graphics Gems
//! 1990); the following ones measure mostly across the curve at the foot point, which converges in a few rounds
//! (tangent distance minimisation; Wang, Pottmann & Liu 2006).

use kurbo::{CubicBez, Point, Vec2};

/// Longest handle as a share of the chord.
const LONGEST_HANDLE: f64 = 1.0;
/// Shortest handle as a share of the chord: shorter ones hide a sharp bend next to a joint.
const SHORTEST_HANDLE: f64 = 0.08;
/// Widest wedge that may hold the three legs of the control polygon. Below half a turn the curve has no cusp and
/// no loop, because it goes forward along the wedge's middle everywhere.
const WIDEST_WEDGE_COS: f64 = -0.98;
/// Room left for rounding the control points to whole micrometres (0.0007 mm at most) and for [`UNSEEN_MM`].
const ROUNDING_MM: f64 = 0.0015;
/// How far the curve may stray between two places at which it is checked, in mm.
const UNSEEN_MM: f64 = 0.0005;
/// Most places between two points at which a curve is checked; one that needs more swings too wildly to be kept.
const MOST_STEPS: f64 = 1000.0;
/// Largest angle between a free end direction and the one measured there: 20 degrees.
const FREE_END_COS: f64 = 0.94;
/// Shortest span whose end direction may be free.
const FREE_LEAST_MM: f64 = 1.0;
/// Points of a span that take part in the least squares; all take part in the check.
const SAMPLES: usize = 18;
/// Round by round, the distance in limits above which the rounds to come are not expected to help.
const GIVE_UP: [f64; 5] = [f64::INFINITY, 6.0, 2.5, 1.6, 1.3];
/// How much a distance along the curve counts beside one across it.
const ALONG_WEIGHT: f64 = 0.05;

/// A stretch of the line between two ends or corners.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    /// The points as given, none repeated.
    pub(super) points: Vec<Point>,
    /// Length from the first point to each point.
    pub(super) along: Vec<f64>,
    /// Where the curve passes if it has a joint at this point.
    pub(super) at: Vec<Point>,
    /// Unit direction of the curve if it has a joint there.
    pub(super) direction: Vec<Vec2>,
    /// Whether the direction at the first and the last point may be chosen by the fit.
    pub(super) free: [bool; 2],
}

/// A fitted cubic.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    pub(super) cubic: CubicBez,
    /// Squared distance of the points from the curve, summed over the length, in mm3.
    pub(super) error: f64,
}

/// A cubic along the straight line from `a` to `b`, handles at the thirds.
pub(super) fn straight(a: Point, b: Point) -> CubicBez {
    CubicBez::new(a, a.lerp(b, 1.0 / 3.0), a.lerp(b, 2.0 / 3.0), b)
}

/// Power form of a cubic, for fast evaluation.
struct Power {
    a: Vec2,
    b: Vec2,
    c: Vec2,
    d: Vec2,
}

impl Power {
    fn new(q: &CubicBez) -> Self {
        let (p0, p1, p2, p3) = (q.p0.to_vec2(), q.p1.to_vec2(), q.p2.to_vec2(), q.p3.to_vec2());
        Self { a: p3 - p0 + 3.0 * (p1 - p2), b: 3.0 * (p0 - 2.0 * p1 + p2), c: 3.0 * (p1 - p0), d: p0 }
    }
    fn at(&self, t: f64) -> Vec2 {
        ((t * self.a + self.b) * t + self.c) * t + self.d
    }
    fn slope(&self, t: f64) -> Vec2 {
        (3.0 * t * self.a + 2.0 * self.b) * t + self.c
    }
    fn bend(&self, t: f64) -> Vec2 {
        6.0 * t * self.a + 2.0 * self.b
    }
    /// One Newton step from `t` towards the foot point of `p`.
    fn step(&self, t: f64, p: Vec2) -> f64 {
        let r = self.at(t) - p;
        let v = self.slope(t);
        let vv = v.hypot2();
        let bottom = vv + r.dot(self.bend(t));
        // Far from the curve the second derivative can mislead; the first alone never does.
        let bottom = if bottom > 0.3 * vv { bottom } else { vv };
        if bottom <= 0.0 { t } else { (t - r.dot(v) / bottom).clamp(0.0, 1.0) }
    }
}

/// What a least-squares round may choose at one end.
#[derive(Clone, Copy)]
enum Handle {
    /// The length along this direction.
    Along(Vec2),
    /// Both coordinates.
    Free,
}

impl Piece {
    /// The cubic from point `a` to point `b` (indices, `a < b`), if one lies within `tolerance` both ways.
    pub(super) fn span(&self, a: usize, b: usize, tolerance: f64) -> Option<Span> {
        let limit = tolerance - ROUNDING_MM;
        let (p0, p3) = (self.at[a], self.at[b]);
        let chord = p0.distance(p3);
        let length = self.along[b] - self.along[a];
        // No allowed control polygon is longer than three chords.
        if chord < 1e-6 || length > 3.0 * chord + 2.0 * tolerance {
            return None;
        }
        let fixed = [Handle::Along(self.direction[a]), Handle::Along(-self.direction[b])];
        let mut chosen = fixed;
        if length > FREE_LEAST_MM {
            if self.free[0] && a == 0 {
                chosen[0] = Handle::Free;
            }
            if self.free[1] && b + 1 == self.points.len() {
                chosen[1] = Handle::Free;
            }
        }
        let is_free = chosen.iter().any(|h| matches!(h, Handle::Free));
        if is_free
            && let Some(cubic) = self.solve(a, b, chosen, limit)
            && (cubic.p1 - p0).dot(self.direction[a]) >= FREE_END_COS * (cubic.p1 - p0).hypot()
            && (p3 - cubic.p2).dot(self.direction[b]) >= FREE_END_COS * (p3 - cubic.p2).hypot()
            && let Some(span) = self.checked(a, b, cubic, limit)
        {
            return Some(span);
        }
        let cubic = self.solve(a, b, fixed, limit)?;
        self.checked(a, b, cubic, limit)
    }

    /// Least squares for the handles. None when it is clear early that no cubic fits.
    fn solve(&self, a: usize, b: usize, handles: [Handle; 2], limit: f64) -> Option<CubicBez> {
        let (p0, p3) = (self.at[a], self.at[b]);
        let chord = p0.distance(p3);
        let third = |h: Handle, towards: Vec2| match h {
            Handle::Along(d) => d * (chord / 3.0),
            Handle::Free => towards / 3.0,
        };
        let prior = [third(handles[0], p3 - p0), third(handles[1], p0 - p3)];
        let mut cubic = CubicBez::new(p0, p0 + prior[0], p3 + prior[1], p3);
        let inside = b - a - 1;
        if inside == 0 {
            return Some(cubic);
        }
        let count = inside.min(SAMPLES);
        let mut picked = [(Vec2::ZERO, 0.0); SAMPLES];
        let length = self.along[b] - self.along[a];
        for (k, slot) in picked[..count].iter_mut().enumerate() {
            let i = if inside <= SAMPLES { a + 1 + k } else { a + 1 + (2 * k + 1) * inside / (2 * SAMPLES) };
            *slot = (self.points[i].to_vec2(), (self.along[i] - self.along[a]) / length);
        }
        let picked = &mut picked[..count];
        let mut last = f64::INFINITY;
        for (round, give_up) in GIVE_UP.into_iter().enumerate() {
            let along = if round == 0 { 1.0 } else { ALONG_WEIGHT };
            let offsets = match handles {
                [Handle::Along(d0), Handle::Along(d1)] => lengths(&cubic, [d0, d1], picked, along)?,
                _ => least_squares(&cubic, handles, prior, picked, along)?,
            };
            let next = CubicBez::new(p0, p0 + offsets[0], p3 + offsets[1], p3);
            let power = Power::new(&next);
            let mut worst: f64 = 0.0;
            let mut sum = 0.0;
            for (p, t) in picked.iter_mut() {
                *t = power.step(*t, *p);
                let d = (power.at(*t) - *p).hypot2();
                worst = worst.max(d);
                sum += d;
            }
            let worst = worst.sqrt();
            if round > 0 && worst > give_up * limit {
                return None;
            }
            if sum < last {
                cubic = next;
            }
            if round > 1 && sum > 0.95 * last {
                break;
            }
            last = sum.min(last);
        }
        Some(cubic)
    }

    /// The cubic with its error, when its shape is sound and it keeps within `limit` of the points and they of it.
    ///
    /// Points and curve are walked together (a Frechet-like matching), which is stricter than two distances apart.
    fn checked(&self, a: usize, b: usize, cubic: CubicBez, limit: f64) -> Option<Span> {
        if !is_sound(&cubic) {
            return None;
        }
        let power = Power::new(&cubic);
        let bend = power.bend(0.0).hypot().max(power.bend(1.0).hypot());
        let mut before = 0.0;
        let mut before_off = (power.at(0.0) - self.points[a].to_vec2()).hypot();
        let mut error = 0.0;
        if before_off > limit {
            return None;
        }
        for i in a + 1..=b {
            let p = self.points[i].to_vec2();
            let gap = self.along[i] - self.along[i - 1];
            let t = if i == b {
                1.0
            } else {
                let speed = power.slope(before).hypot();
                let mut t = if speed > 0.0 { (before + gap / speed).min(1.0) } else { before };
                // Any place that goes forward will do as the match of a point; more steps only bring it nearer.
                for round in 0..6 {
                    t = power.step(t, p);
                    let is_settled = round > 0 || (power.at(t) - p).hypot2() < 0.25 * limit * limit;
                    if is_settled && (power.at(t.max(before)) - p).hypot2() <= limit * limit {
                        break;
                    }
                }
                t.max(before)
            };
            let off = (power.at(t) - p).hypot();
            if off > limit {
                return None;
            }
            error += off * off * gap;
            // Between the two matched places the curve leaves its chord by at most this much.
            let dt = t - before;
            let most = before_off.max(off) + dt * dt / 8.0 * bend;
            if most > limit {
                // So many parts that none leaves its chord by more than UNSEEN_MM. A chord is nowhere farther from
                // the straight edge than at its ends, which are looked at.
                let steps = (dt * (bend / (8.0 * UNSEEN_MM)).sqrt()).ceil().clamp(2.0, MOST_STEPS);
                if dt * dt * bend > 8.0 * UNSEEN_MM * steps * steps {
                    return None;
                }
                for k in 1..steps as usize {
                    let q = power.at(before + dt * k as f64 / steps).to_point();
                    if distance_to_segment(q, self.points[i - 1], self.points[i]) > limit {
                        return None;
                    }
                }
            }
            before = t;
            before_off = off;
        }
        Some(Span { cubic, error })
    }
}

/// Distance from `p` to the straight line from `a` to `b`.
pub(super) fn distance_to_segment(p: Point, a: Point, b: Point) -> f64 {
    let v = b - a;
    let vv = v.hypot2();
    let t = if vv > 0.0 { ((p - a).dot(v) / vv).clamp(0.0, 1.0) } else { 0.0 };
    p.distance(a + t * v)
}

/// Whether the control polygon is free of long handles, stubs, loops and cusps.
fn is_sound(cubic: &CubicBez) -> bool {
    let chord = cubic.p0.distance(cubic.p3);
    let legs = [cubic.p1 - cubic.p0, cubic.p2 - cubic.p1, cubic.p3 - cubic.p2];
    for handle in [legs[0].hypot(), legs[2].hypot()] {
        if !(handle <= LONGEST_HANDLE * chord && handle >= SHORTEST_HANDLE * chord) {
            return false;
        }
    }
    // Three directions lie in one wedge under half a turn when no two are nearly opposite and they do not go
    // all the way round.
    let units = legs.map(|v| if v.hypot() > 1e-9 { v / v.hypot() } else { Vec2::ZERO });
    let pairs = [(0, 1), (1, 2), (0, 2)];
    if pairs.iter().any(|&(i, j)| units[i].dot(units[j]) < WIDEST_WEDGE_COS) {
        return false;
    }
    let turns = pairs.map(|(i, j)| units[i].cross(units[j]));
    !(turns[0] * turns[1] > 0.0 && turns[0] * turns[2] < 0.0)
}

/// Solves one round for the lengths of two handles along given directions.
fn lengths(cubic: &CubicBez, directions: [Vec2; 2], picked: &[(Vec2, f64)], along: f64) -> Option<[Vec2; 2]> {
    let power = Power::new(cubic);
    let (p0, p3) = (cubic.p0.to_vec2(), cubic.p3.to_vec2());
    let chord = cubic.p0.distance(cubic.p3);
    let (mut a11, mut a12, mut a22, mut r1, mut r2) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for &(p, t) in picked {
        let u = 1.0 - t;
        let (b1, b2) = (3.0 * u * u * t, 3.0 * u * t * t);
        let start = u * u * u + b1;
        let rest = p - start * p0 - (1.0 - start) * p3;
        let slope = power.slope(t);
        // Weighted sum over the two axes: across counts 1, along counts `along`.
        let off = (1.0 - along) / slope.hypot2().max(1e-30);
        let (h1, h2) = (b1 * directions[0], b2 * directions[1]);
        let (s1, s2, s3) = (h1.dot(slope), h2.dot(slope), rest.dot(slope));
        a11 += h1.dot(h1) - off * s1 * s1;
        a12 += h1.dot(h2) - off * s1 * s2;
        a22 += h2.dot(h2) - off * s2 * s2;
        r1 += h1.dot(rest) - off * s1 * s3;
        r2 += h2.dot(rest) - off * s2 * s3;
    }
    // A slight pull towards handles of a third keeps spans that say nothing about a handle solvable.
    let pull = 1e-5 * (a11 + a22) + 1e-12;
    a11 += pull;
    a22 += pull;
    r1 += pull * chord / 3.0;
    r2 += pull * chord / 3.0;
    let det = a11 * a22 - a12 * a12;
    if det.is_nan() || det <= 0.0 {
        return None;
    }
    let fit = |x: f64| x.clamp(SHORTEST_HANDLE * 1.05 * chord, LONGEST_HANDLE * 0.99 * chord);
    let (x1, x2) = ((a22 * r1 - a12 * r2) / det, (a11 * r2 - a12 * r1) / det);
    (x1.is_finite() && x2.is_finite()).then(|| [fit(x1) * directions[0], fit(x2) * directions[1]])
}

/// Solves one round: offsets of the inner control points from the ends.
fn least_squares(
    cubic: &CubicBez,
    handles: [Handle; 2],
    prior: [Vec2; 2],
    picked: &[(Vec2, f64)],
    along: f64,
) -> Option<[Vec2; 2]> {
    let power = Power::new(cubic);
    let (p0, p3) = (cubic.p0.to_vec2(), cubic.p3.to_vec2());
    // Columns of the unknowns: (which handle, direction).
    let mut columns = [(0usize, Vec2::ZERO); 4];
    let mut size = 0;
    for (k, handle) in handles.iter().enumerate() {
        match *handle {
            Handle::Along(d) => {
                columns[size] = (k, d);
                size += 1;
            }
            Handle::Free => {
                columns[size] = (k, Vec2::new(1.0, 0.0));
                columns[size + 1] = (k, Vec2::new(0.0, 1.0));
                size += 2;
            }
        }
    }
    let columns = &columns[..size];
    let mut m = [[0.0; 5]; 4];
    for &(p, t) in picked {
        let u = 1.0 - t;
        let (b0, b1, b2, b3) = (u * u * u, 3.0 * u * u * t, 3.0 * u * t * t, t * t * t);
        let rest = p - (b0 + b1) * p0 - (b2 + b3) * p3;
        let slope = power.slope(t);
        let speed = slope.hypot();
        let tangent = if speed > 0.0 { slope / speed } else { Vec2::new(1.0, 0.0) };
        let normal = Vec2::new(-tangent.y, tangent.x);
        for (w, weight) in [(normal, 1.0), (tangent, along)] {
            let mut row = [0.0; 4];
            for (value, &(k, d)) in row.iter_mut().zip(columns) {
                *value = w.dot(d) * if k == 0 { b1 } else { b2 };
            }
            let target = w.dot(rest);
            for i in 0..size {
                let weighted = weight * row[i];
                for j in i..size {
                    m[i][j] += weighted * row[j];
                }
                m[i][4] += weighted * target;
            }
        }
    }
    // A slight pull towards handles of a third keeps spans that say nothing about a handle solvable.
    let trace: f64 = (0..size).map(|i| m[i][i]).sum();
    let pull = 1e-5 * trace + 1e-12;
    for i in 0..size {
        m[i][i] += pull;
        m[i][4] += pull * prior[columns[i].0].dot(columns[i].1);
        let (above, rest) = m.split_at_mut(i);
        for (value, row) in rest[0].iter_mut().zip(above.iter()) {
            *value = row[i];
        }
    }
    let x = gauss(&mut m, size)?;
    let chord = cubic.p0.distance(cubic.p3);
    let mut offsets = [Vec2::ZERO; 2];
    for (value, &(k, d)) in x.iter().zip(columns) {
        let value = match handles[k] {
            Handle::Along(_) => value.clamp(SHORTEST_HANDLE * 1.05 * chord, LONGEST_HANDLE * 0.99 * chord),
            Handle::Free => *value,
        };
        offsets[k] += value * d;
    }
    Some(offsets)
}

/// Gaussian elimination of the symmetric positive system in the first `size` rows; column 4 is the right side.
fn gauss(m: &mut [[f64; 5]; 4], size: usize) -> Option<[f64; 4]> {
    for i in 0..size {
        let pivot = m[i][i];
        if pivot.is_nan() || pivot <= 0.0 {
            return None;
        }
        for k in i + 1..size {
            let f = m[k][i] / pivot;
            for j in (i..size).chain([4]) {
                m[k][j] -= f * m[i][j];
            }
        }
    }
    let mut x = [0.0; 4];
    for i in (0..size).rev() {
        let known: f64 = (i + 1..size).map(|j| m[i][j] * x[j]).sum();
        x[i] = (m[i][4] - known) / m[i][i];
    }
    x.iter().all(|v| v.is_finite()).then_some(x)
}
