//! How long movements take: trapezoids of speed along lines, slower round bends.
//!
//! A straight movement gathers speed at an even acceleration, keeps it and brakes (the trapezoidal profile of motion
//! control; a triangle when it is too short to reach its speed). Along a curve the acceleration towards its inside,
//! v^2 / r, is held to the same limit, and at a corner of more than 30 degrees the pencil stands still.

use crate::strokes::heading;
use kurbo::{CubicBez, ParamCurve, ParamCurveArclen, Vec2};

/// The machine's speeds, in mm and s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Machine {
    /// Speed with the pencil down, in mm/s.
    pub drawing_mm_s: f64,
    /// Speed with the pencil up, in mm/s.
    pub travel_mm_s: f64,
    /// Acceleration in mm/s2.
    pub acceleration_mm_s2: f64,
    /// Time to raise and lower the pencil once, in s.
    pub lift_s: f64,
}

impl Default for Machine {
    /// A small machine, not hurried (common practice, no source).
    fn default() -> Self {
        Self { drawing_mm_s: 30.0, travel_mm_s: 80.0, acceleration_mm_s2: 400.0, lift_s: 0.4 }
    }
}

/// Longest piece of a curve that is looked at as straight, in mm.
const PIECE_MM: f64 = 0.1;
/// Cosine of the bend at which the pencil stands still: 30 degrees.
const STOP_COS: f64 = 0.866_025_403_784_438_6;

/// Time in s of a straight movement from rest to rest.
#[must_use]
pub fn straight_s(length_mm: f64, speed_mm_s: f64, machine: &Machine) -> f64 {
    let a = machine.acceleration_mm_s2;
    if length_mm >= speed_mm_s * speed_mm_s / a {
        length_mm / speed_mm_s + speed_mm_s / a
    } else {
        2.0 * (length_mm / a).sqrt()
    }
}

/// Time in s of drawing a line from rest to rest.
#[must_use]
pub fn drawing_s(curve: &[CubicBez], machine: &Machine) -> f64 {
    let (a, most) = (machine.acceleration_mm_s2, machine.drawing_mm_s);
    // Pieces with their lengths, and the square of the speed allowed where each begins.
    let mut lengths = Vec::new();
    let mut allowed = Vec::new();
    let mut before: Option<(Vec2, f64)> = None;
    for cubic in curve {
        let length = cubic.arclen(1e-3);
        if length <= 0.0 {
            continue;
        }
        let corner = before.is_none_or(|(direction, _)| direction.dot(heading(&[*cubic])) < STOP_COS);
        let count = (length / PIECE_MM).ceil().max(1.0) as usize;
        for k in 0..count {
            let t = |k: usize| k as f64 / count as f64;
            let chord = cubic.eval(t(k + 1)) - cubic.eval(t(k));
            let piece = chord.hypot();
            if piece <= 0.0 {
                continue;
            }
            let direction = chord / piece;
            let speed = match before {
                Some((last, last_piece)) if !(k == 0 && corner) => {
                    let turn = last.cross(direction).atan2(last.dot(direction)).abs();
                    let radius = f64::midpoint(piece, last_piece) / turn.max(1e-12);
                    (a * radius).min(most * most)
                }
                _ => 0.0,
            };
            allowed.push(speed);
            lengths.push(piece);
            before = Some((direction, piece));
        }
    }
    allowed.push(0.0);
    // Never faster than can be braked before the next place, nor than has been gathered since the last.
    for k in (0..lengths.len()).rev() {
        allowed[k] = allowed[k].min(allowed[k + 1] + 2.0 * a * lengths[k]);
    }
    for k in 0..lengths.len() {
        allowed[k + 1] = allowed[k + 1].min(allowed[k] + 2.0 * a * lengths[k]);
    }
    (0..lengths.len())
        .map(|k| {
            let (from, to) = (allowed[k], allowed[k + 1]);
            let top = (f64::midpoint(from, to) + a * lengths[k]).min(most * most).max(from.max(to));
            let even = lengths[k] - (2.0 * top - from - to) / (2.0 * a);
            (2.0 * top.sqrt() - from.sqrt() - to.sqrt()) / a + even.max(0.0) / top.sqrt()
        })
        .sum()
}
