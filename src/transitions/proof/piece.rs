//! A part of a cubic with its place along the line: hulls, halves and the straight case.

use kurbo::{CubicBez, ParamCurve, ParamCurveArclen, Point, Rect, Vec2};

/// A part of one cubic of one line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Piece {
    pub(super) cubic: CubicBez,
    /// Index of the line.
    pub(super) line: usize,
    /// Length along the line where the part begins and ends, in mm.
    pub(super) along: [f64; 2],
}

/// Two straight pieces where they are closest.
pub(super) struct Closest {
    pub(super) distance: f64,
    pub(super) at: Point,
    /// Share of either piece gone by there.
    pub(super) shares: [f64; 2],
    /// Whether each crosses to the other's far side.
    pub(super) crosses: bool,
}

/// Adds the line's pieces, each of which goes forward in one direction; returns the line's length in mm.
pub(super) fn monotone_pieces(curve: &[CubicBez], line: usize, pieces: &mut Vec<Piece>) -> f64 {
    let mut along = 0.0;
    for cubic in curve.iter().filter(|c| c.is_finite()) {
        let length = cubic.arclen(1e-4);
        split(Piece { cubic: *cubic, line, along: [along, along + length] }, 0, pieces);
        along += length;
    }
    along
}

fn split(piece: Piece, depth: usize, pieces: &mut Vec<Piece>) {
    // A piece under a micrometre is a cusp; both its sides are compared as pieces of their own.
    if piece.goes_forward() || depth == 24 || piece.length() < 1e-3 {
        pieces.push(piece);
        return;
    }
    let (a, b) = piece.halves();
    split(a, depth + 1, pieces);
    split(b, depth + 1, pieces);
}

impl Piece {
    pub(super) fn length(&self) -> f64 {
        self.along[1] - self.along[0]
    }

    fn corners(&self) -> [Point; 4] {
        [self.cubic.p0, self.cubic.p1, self.cubic.p2, self.cubic.p3]
    }

    /// Whether all legs of the control polygon go forward along the chord, so that the piece cannot meet itself.
    fn goes_forward(&self) -> bool {
        let c = self.corners();
        let chord = c[3] - c[0];
        // A piece that ends where it begins goes forward only if it goes nowhere.
        if chord.hypot() <= 0.0 {
            return c[1] == c[0] && c[2] == c[0];
        }
        c.windows(2).all(|w| {
            let leg = w[1] - w[0];
            leg.dot(chord) >= 0.2 * leg.hypot() * chord.hypot()
        })
    }

    /// Box of the control points.
    pub(super) fn hull_box(&self) -> Rect {
        let c = self.corners();
        Rect::from_points(c[0], c[3]).union_pt(c[1]).union_pt(c[2])
    }

    /// The two halves by parameter, with their lengths along the line.
    pub(super) fn halves(&self) -> (Self, Self) {
        let (a, b) = self.cubic.subdivide();
        // The shares of the control polygons give the middle's length closely enough: the lengths only decide
        // how near to a shared end a place is.
        let size = |c: &CubicBez| c.p0.distance(c.p1) + c.p1.distance(c.p2) + c.p2.distance(c.p3);
        let (la, lb) = (size(&a), size(&b));
        let share = if la + lb > 0.0 { la / (la + lb) } else { 0.5 };
        let middle = self.along[0] + share * self.length();
        (
            Self { cubic: a, line: self.line, along: [self.along[0], middle] },
            Self { cubic: b, line: self.line, along: [middle, self.along[1]] },
        )
    }

    /// Largest distance of the inner control points from the thirds of the chord: bounds the distance of the
    /// curve from its chord.
    pub(super) fn flatness(&self) -> f64 {
        let c = &self.cubic;
        c.p1.distance(c.p0.lerp(c.p3, 1.0 / 3.0)).max(c.p2.distance(c.p0.lerp(c.p3, 2.0 / 3.0)))
    }

    /// Whether a straight line, along an axis or along either chord, keeps the hulls more than `gap` apart.
    pub(super) fn is_clear_of(&self, other: &Self, gap: f64) -> bool {
        let (p, q) = (self.hull_box(), other.hull_box());
        if p.x0 - q.x1 > gap || q.x0 - p.x1 > gap || p.y0 - q.y1 > gap || q.y0 - p.y1 > gap {
            return true;
        }
        [self, other].iter().any(|s| {
            let chord = s.cubic.p3 - s.cubic.p0;
            let size = chord.hypot();
            if size <= 0.0 {
                return false;
            }
            let normal = Vec2::new(-chord.y, chord.x) / size;
            let reach = |piece: &Self| {
                let d = piece.corners().map(|c| (c - s.cubic.p0).dot(normal));
                (
                    d.iter().copied().fold(f64::INFINITY, f64::min),
                    d.iter().copied().fold(f64::NEG_INFINITY, f64::max),
                )
            };
            let ((a0, a1), (b0, b1)) = (reach(self), reach(other));
            a0 - b1 > gap || b0 - a1 > gap
        })
    }

    /// Whether the control points, seen from the shared place `here`, lie in wedges at least about 8 degrees
    /// apart. Then the pieces lie 0.005 mm apart from 0.04 mm on.
    pub(super) fn parts_from(&self, other: &Self, here: Point) -> bool {
        const LEAST_SIN: f64 = 0.14;
        let rays = |piece: &Self| piece.corners().map(|c| c - here).into_iter().filter(|v| v.hypot() > 1e-9);
        let Some(first) = rays(self).next() else { return false };
        let Some(second) = rays(other).next() else { return false };
        let side = first.cross(second).signum();
        let apart = |u: Vec2, v: Vec2| {
            let size = u.hypot() * v.hypot();
            side * u.cross(v) >= LEAST_SIN * size
        };
        // All on one side of each other: each wedge then is under half a turn and the two are disjoint.
        if rays(self).all(|u| rays(other).all(|v| apart(u, v))) {
            return true;
        }
        // Or all roughly opposite.
        let axis = first / first.hypot() - second / second.hypot();
        let size = axis.hypot();
        size > 0.0
            && rays(self).all(|u| u.dot(axis) > 0.1 * u.hypot() * size)
            && rays(other).all(|v| v.dot(axis) < -0.1 * v.hypot() * size)
    }

    /// Where the chords are closest.
    pub(super) fn closest(&self, other: &Self) -> Closest {
        closest([self.cubic.p0, self.cubic.p3], [other.cubic.p0, other.cubic.p3])
    }

    /// Ends of the part of this chord, around the share `around`, that lies within `gap` of the other chord.
    pub(super) fn stretch_near(&self, other: &Self, around: f64, gap: f64) -> [Point; 2] {
        let (from, to) = (self.cubic.p0, self.cubic.p3);
        let chord = [other.cubic.p0, other.cubic.p3];
        [0.0, 1.0].map(|end| {
            // The distance from a straight line grows away from where it is least: halving finds its edge.
            let (mut near, mut far) = (around, end);
            for _ in 0..20 {
                let p = from.lerp(to, far);
                if closest([p, p], chord).distance <= gap {
                    break;
                }
                let middle = f64::midpoint(near, far);
                let p = from.lerp(to, middle);
                if closest([p, p], chord).distance <= gap {
                    near = middle;
                } else {
                    far = middle;
                }
            }
            from.lerp(to, far)
        })
    }
}

/// Distance between two straight stretches.
pub(super) fn stretches_apart(a: &[Point; 2], b: &[Point; 2]) -> f64 {
    closest(*a, *b).distance
}

/// Where the straight lines between two pairs of points are closest.
fn closest([a0, a1]: [Point; 2], [b0, b1]: [Point; 2]) -> Closest {
    let (u, v) = (a1 - a0, b1 - b0);
    let cross = u.cross(v);
    let (sb0, sb1) = (u.cross(b0 - a0), u.cross(b1 - a0));
    let (sa0, sa1) = (v.cross(a0 - b0), v.cross(a1 - b0));
    if sb0 * sb1 <= 0.0 && sa0 * sa1 <= 0.0 && cross.abs() > 0.0 {
        let s = ((b0 - a0).cross(v) / cross).clamp(0.0, 1.0);
        let t = ((b0 - a0).cross(u) / cross).clamp(0.0, 1.0);
        return Closest { distance: 0.0, at: a0 + s * u, shares: [s, t], crosses: true };
    }
    let foot = |p: Point, o: Point, d: Vec2| {
        let size = d.hypot2();
        if size > 0.0 { ((p - o).dot(d) / size).clamp(0.0, 1.0) } else { 0.0 }
    };
    let options =
        [(0.0, foot(a0, b0, v)), (1.0, foot(a1, b0, v)), (foot(b0, a0, u), 0.0), (foot(b1, a0, u), 1.0)];
    let mut best = Closest { distance: f64::INFINITY, at: a0, shares: [0.0, 0.0], crosses: false };
    for (s, t) in options {
        let (p, q) = (a0 + s * u, b0 + t * v);
        let distance = p.distance(q);
        if distance < best.distance {
            best = Closest { distance, at: p.midpoint(q), shares: [s, t], crosses: false };
        }
    }
    best
}
