//! Three numbers as a point, a direction or a reflectance in space, and a seeded generator.

use std::ops::{Add, Mul, Neg, Sub};

/// A point or direction: x to the right, y up, z towards the viewer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct V3 {
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) z: f64,
}

pub(crate) const fn v(x: f64, y: f64, z: f64) -> V3 {
    V3 { x, y, z }
}

impl Add for V3 {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        v(self.x + o.x, self.y + o.y, self.z + o.z)
    }
}

impl Sub for V3 {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        v(self.x - o.x, self.y - o.y, self.z - o.z)
    }
}

impl Neg for V3 {
    type Output = Self;
    fn neg(self) -> Self {
        v(-self.x, -self.y, -self.z)
    }
}

impl Mul<f64> for V3 {
    type Output = Self;
    fn mul(self, k: f64) -> Self {
        v(self.x * k, self.y * k, self.z * k)
    }
}

impl V3 {
    pub(crate) fn dot(self, o: Self) -> f64 {
        self.x * o.x + self.y * o.y + self.z * o.z
    }

    pub(crate) fn cross(self, o: Self) -> Self {
        v(self.y * o.z - self.z * o.y, self.z * o.x - self.x * o.z, self.x * o.y - self.y * o.x)
    }

    pub(crate) fn len(self) -> f64 {
        self.dot(self).sqrt()
    }

    /// The direction of `self`; a zero vector stays zero.
    pub(crate) fn unit(self) -> Self {
        let l = self.len();
        if l > 0.0 { self * (1.0 / l) } else { self }
    }

    /// Turned about the vertical axis by `angle` radians.
    pub(crate) fn turned(self, angle: f64) -> Self {
        let (s, c) = angle.sin_cos();
        v(c * self.x + s * self.z, self.y, c * self.z - s * self.x)
    }
}

/// Soft minimum of two distances: blends over a length `k` (polynomial, third order in its joint).
pub(crate) fn soft_min(a: f64, b: f64, k: f64) -> f64 {
    let h = (k - (a - b).abs()).max(0.0) / k;
    a.min(b) - h * h * h * k / 6.0
}

/// Smooth step from 0 at `a` to 1 at `b`.
pub(crate) fn step(a: f64, b: f64, t: f64) -> f64 {
    let u = ((t - a) / (b - a)).clamp(0.0, 1.0);
    u * u * (3.0 - 2.0 * u)
}

/// A small generator of repeatable numbers (splitmix64: Steele, Lea & Flood 2014).
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    /// The next number, 0 to just under 1.
    pub(crate) fn roll(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// The next number between `a` and `b`.
    pub(crate) fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.roll()
    }
}
