//! Width of an edge: over how many millimetres the tone changes from 10 to 90 % across a boundary line.

use kurbo::{CubicBez, ParamCurve, ParamCurveArclen, ParamCurveDeriv, Point, Vec2};

use super::place::sample;
use crate::colour::lightness_f32;
use crate::tone::ToneField;

/// Distance between two places along a line where the width is measured, in mm.
pub(super) const EVERY_MM: f64 = 0.5;
/// How far across the tone is followed, in mm.
const FOLLOW_MM: f64 = 10.0;
/// The change across ends where the slope falls under this share of the steepest.
const SLOPE_SHARE: f64 = 0.08;
/// Profiles are averaged along the line over this many mm to either side, texture or not.
const ALONG_MM: f64 = 1.0;
/// 10 to 90 % of a Gaussian-blurred step, in standard deviations (2 x 1.2816, normal distribution).
const STEP_WIDTH_SIGMAS: f64 = 2.563;

/// Places and directions at even distances along a curve, at least one.
fn stations(curve: &[CubicBez]) -> Vec<(Point, Vec2)> {
    let mut out = Vec::new();
    let total: f64 = curve.iter().map(|c| c.arclen(1e-3)).sum();
    let count = (total / EVERY_MM).round().max(1.0) as usize;
    let gap = total / count as f64;
    let (mut next, mut before) = (0.5 * gap, 0.0);
    for c in curve {
        let length = c.arclen(1e-3);
        while next <= before + length + 1e-9 && out.len() < count {
            let t = c.inv_arclen((next - before).clamp(0.0, length), 1e-3);
            let d = c.deriv().eval(t).to_vec2();
            let d = if d.hypot() > 1e-9 { d } else { c.p3 - c.p0 };
            let d = d / d.hypot().max(1e-12);
            out.push((c.eval(t), Vec2::new(d.y, -d.x)));
            next += gap;
        }
        before += length;
    }
    if out.is_empty() {
        out.push((curve[0].p0, Vec2::new(0.0, -1.0)));
    }
    out
}

/// Widths in mm (10 to 90 % of the change of L*) every half millimetre along a curve (mm on the picture).
pub(super) fn widths(tone: &ToneField, curve: &[CubicBez]) -> Vec<f64> {
    let px = tone.px_per_mm;
    let step = (1.0 / px).max(0.1);
    let reach = (FOLLOW_MM / step) as i32;
    let profiles: Vec<Vec<f64>> = stations(curve)
        .into_iter()
        .map(|(p, n)| {
            (-reach..=reach)
                .map(|k| {
                    let q = p + n * (f64::from(k) * step);
                    f64::from(lightness_f32(sample(&tone.fine, Point::new(q.x * px, q.y * px)) as f32))
                })
                .collect()
        })
        .collect();
    let along = ((ALONG_MM + 2.0 * tone.mean_width_mm) / EVERY_MM) as usize;
    let blur = STEP_WIDTH_SIGMAS * tone.mean_width_mm;
    (0..profiles.len())
        .map(|i| {
            let near = &profiles[i.saturating_sub(along)..(i + along + 1).min(profiles.len())];
            let mean: Vec<f64> = (0..profiles[i].len())
                .map(|k| near.iter().map(|p| p[k]).sum::<f64>() / near.len() as f64)
                .collect();
            let seen = width_of(&mean, step);
            // What the first mean added is taken off again.
            (seen * seen - blur * blur).max(0.0).sqrt()
        })
        .collect()
}

/// Width of the change through the middle of a profile, in mm.
fn width_of(profile: &[f64], step: f64) -> f64 {
    let middle = profile.len() / 2;
    // The steepest place within a millimetre of the line.
    let near = ((1.0 / step) as usize).max(1).min(middle - 1);
    let slope = |k: usize| profile[k + 1] - profile[k];
    let steepest = (middle - near..middle + near)
        .max_by(|&a, &b| {
            slope(a).abs().total_cmp(&slope(b).abs()).then(b.abs_diff(middle).cmp(&a.abs_diff(middle)))
        })
        .unwrap_or(middle);
    let top = slope(steepest);
    if top.abs() < 1e-6 {
        return 2.0 * FOLLOW_MM;
    }
    let goes_on = |k: usize| slope(k) / top > SLOPE_SHARE;
    let (mut a, mut b) = (steepest, steepest + 1);
    while a > 0 && goes_on(a - 1) {
        a -= 1;
    }
    while b + 1 < profile.len() && goes_on(b) {
        b += 1;
    }
    let (from, to) = (profile[a], profile[b]);
    let passes = |share: f64| {
        let level = from + share * (to - from);
        (a..b)
            .find_map(|k| {
                let (p, q) = (profile[k] - level, profile[k + 1] - level);
                (p * q <= 0.0 && (p - q).abs() > 1e-12).then(|| k as f64 + p / (p - q))
            })
            .unwrap_or(a as f64)
    };
    (passes(0.9) - passes(0.1)).abs() * step
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A ramp of width w has 10 to 90 % over 0.8 w (closed form); a blurred step 2.563 sigma.
    #[test]
    fn ramps_and_blurred_steps_have_their_width() {
        let step = 0.1;
        for w in [0.5_f64, 2.0, 6.0, 12.0] {
            let ramp: Vec<f64> =
                (-100..=100).map(|k| 50.0 + 40.0 * (f64::from(k) * step / w).clamp(-0.5, 0.5)).collect();
            let got = width_of(&ramp, step);
            assert!((got - 0.8 * w).abs() < 0.12, "a ramp of {w} mm measured {got}");
        }
        for sigma in [0.3_f64, 1.0, 2.0] {
            // Logistic curve of the same standard deviation; its 10 to 90 % is 2 ln 9 s with s = sigma sqrt(3) / pi.
            let s = sigma * 3.0_f64.sqrt() / std::f64::consts::PI;
            let curve: Vec<f64> =
                (-100..=100).map(|k| 20.0 + 60.0 / (1.0 + (-f64::from(k) * step / s).exp())).collect();
            let want = 2.0 * 9.0_f64.ln() * s;
            let got = width_of(&curve, step);
            assert!((got / want - 1.0).abs() < 0.15, "sigma {sigma} measured {got} for {want}");
        }
    }
}
