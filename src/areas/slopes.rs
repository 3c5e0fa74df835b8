//! Borders on slopes: where a value between two others is too narrow for an area, their border lies half way up the slope.

use rayon::prelude::*;

use crate::colour::{lightness, reflectance};
use crate::raster::{Raster, gradient};
use crate::tone::{ValueScale, gaussian};

/// A border is led on slopes, not on edges, which lie on their ridge: the tone is steeper there than in the surroundings, by this
/// factor (an even slope has 1, a step blurred by a Gaussian 2 in its middle).
const RIDGE: f32 = 1.4;
/// Least radius of those surroundings in pixels.
const LEAST_RADIUS_PX: f64 = 2.0;
/// A slope is even where a mean leaves its tone: one of this width, in narrowest widths (standard deviation), changes it by no
/// more than this share of what it rises over that width. The teeth of a dry brush and points of areas are not.
const EVEN_WIDTHS: f64 = 0.35;
const EVEN: f32 = 0.25;
/// How far a border is led at most, in mm.
const FARTHEST_MM: f64 = 1.0;

/// A tone as a slope runs through it.
struct Slope<'a> {
    lightness: &'a Raster<f32>,
    /// Of the lightness, in L* per pixel.
    gradient: Raster<f32>,
    /// Its mean, and how far that rises over its width, in L*.
    mean: Raster<f32>,
    rise: Raster<f32>,
    scale: &'a ValueScale,
    /// Radius of a pixel's surroundings: the width of the sharpest edges.
    radius_px: f64,
}

impl Slope<'_> {
    /// Darkest and lightest tone around a pixel.
    fn ends(&self, i: usize) -> [f32; 2] {
        let (w, h) = (self.lightness.width(), self.lightness.height());
        let (x, y, reach) = (i % w, i / w, self.radius_px as usize);
        let mut ends = [f32::INFINITY, f32::NEG_INFINITY];
        for row in y.saturating_sub(reach)..(y + reach + 1).min(h) {
            let half = (self.radius_px.powi(2) - row.abs_diff(y).pow(2) as f64).max(0.0).sqrt() as usize;
            for &l in &self.lightness.row(row)[x.saturating_sub(half)..(x + half + 1).min(w)] {
                ends = [ends[0].min(l), ends[1].max(l)];
            }
        }
        ends
    }

    /// Whether a pixel of value `own` is nearer to value `beyond`: past the middle of the breaks between them, or past half the
    /// height in light where both values lie so near that it is an edge. Nothing is said where the tone is steepest or its slope is
    /// not even.
    fn goes_over(&self, i: usize, own: u8, beyond: u8) -> bool {
        if (self.lightness.data()[i] - self.mean.data()[i]).abs() > EVEN * self.rise.data()[i] {
            return false;
        }
        let [dark, light] = self.ends(i);
        if self.gradient.data()[i] * 2.0 * self.radius_px as f32 > RIDGE * (light - dark) {
            return false;
        }
        let edge = self.scale.value(light) <= own.min(beyond) && self.scale.value(dark) >= own.max(beyond);
        let level = if edge {
            lightness(0.5 * (reflectance(f64::from(dark)) + reflectance(f64::from(light))))
        } else {
            self.scale.break_between(own, beyond)
        };
        let tone = f64::from(self.lightness.data()[i]);
        if beyond > own { tone < level } else { tone > level }
    }
}

/// Leads borders between values that are no neighbours to where the tone is as near to the one as to the other.
///
/// A flood meets on the steepest place, and on an even slope that is anywhere: such borders ran in steps. Pixels in no core
/// go over, from the border on, to the value beyond it that their tone is nearer to. `blur_mm` is the width of the sharpest edges,
/// `narrowest_mm` that of the narrowest areas.
/// Whether any did.
pub(super) fn lead(
    values: &mut Raster<u8>,
    core: &Raster<u8>,
    (lightness, scale): (&Raster<f32>, &ValueScale),
    px_per_mm: f64,
    [blur_mm, narrowest_mm]: [f64; 2],
) -> bool {
    let (w, h) = (values.width(), values.height());
    let radius_px = (blur_mm * px_per_mm).max(LEAST_RADIUS_PX);
    let width_px = (EVEN_WIDTHS * narrowest_mm * px_per_mm).max(1.0) as f32;
    let mean = gaussian(lightness, width_px);
    let rise = gradient(&mean).map(|g| g * width_px);
    let slope = Slope { lightness, gradient: gradient(lightness), mean, rise, scale, radius_px };
    let around = |i: usize| {
        let (x, y) = (i % w, i / w);
        let steps =
            [(x > 0, i.wrapping_sub(1)), (x + 1 < w, i + 1), (y > 0, i.wrapping_sub(w)), (y + 1 < h, i + w)];
        steps.into_iter().filter_map(|(there, j)| there.then_some(j))
    };
    let over = |values: &Raster<u8>, i: usize| -> Option<u8> {
        let own = values.data()[i];
        if core.data()[i] != 0 {
            return None;
        }
        let mut beyond: Vec<u8> =
            around(i).map(|j| values.data()[j]).filter(|v| v.abs_diff(own) > 1).collect();
        beyond.sort_unstable_by_key(|v| (v.abs_diff(own), *v));
        beyond.into_iter().find(|&v| slope.goes_over(i, own, v))
    };
    let mut any = false;
    let mut at: Vec<usize> = (0..w * h).collect();
    for _ in 0..(FARTHEST_MM * px_per_mm).ceil() as usize {
        let led: Vec<(usize, u8)> =
            at.par_iter().with_min_len(1 << 12).filter_map(|&i| over(values, i).map(|v| (i, v))).collect();
        if led.is_empty() {
            break;
        }
        any = true;
        led.iter().for_each(|&(i, v)| values.data_mut()[i] = v);
        at = led.iter().flat_map(|&(i, _)| around(i)).collect();
        at.sort_unstable();
        at.dedup();
    }
    any
}

#[cfg(test)]
mod tests {
    use super::*;

    const PX_PER_MM: f64 = 6.0;
    const SIDE: usize = 120;

    /// Values 1 to 5 on even steps.
    fn scale() -> ValueScale {
        ValueScale::new(vec![80.0, 60.0, 40.0, 20.0])
    }

    fn raster<T: Copy + Send + Sync>(of: impl Fn(f64, f64) -> T) -> Raster<T> {
        let middle =
            |i: usize| [i % SIDE, i / SIDE].map(|p| (p as f64 + 0.5 - SIDE as f64 / 2.0) / PX_PER_MM);
        let samples = (0..SIDE * SIDE).map(|i| {
            let [x, y] = middle(i);
            of(x, y)
        });
        Raster::from_vec(SIDE, SIDE, samples.collect())
    }

    /// Distance in mm from a border that leans by a fifth.
    fn across(x: f64, y: f64) -> f64 {
        (x - 0.2 * y) / 1.04_f64.sqrt()
    }

    /// An even slope from 90 to 50 L* over 1.4 mm, between values 1 and 3. The border begins in steps, by half a millimetre too
    /// far to the one or the other side; it ends where the tone is 70.
    #[test]
    fn a_border_on_a_slope_follows_the_tone() {
        let tone = |x: f64, y: f64| (70.0 - across(x, y) / 1.4 * 40.0).clamp(50.0, 90.0);
        let lightness = raster(|x, y| tone(x, y) as f32);
        let core = raster(|x, y| match across(x, y) {
            a if a < -0.7 => 1,
            a if a > 0.7 => 3,
            _ => 0_u8,
        });
        let steps = |y: f64| if (y / 2.0).floor() % 2.0 == 0.0 { 0.5 } else { -0.5 };
        let mut values = raster(|x, y| if across(x, y) < steps(y) { 1_u8 } else { 3 });
        let want = raster(|x, y| if tone(x, y) > 70.0 { 1_u8 } else { 3 });
        let off = |values: &Raster<u8>| values.data().iter().zip(want.data()).filter(|(v, w)| v != w).count();
        let before = off(&values);
        assert!(lead(&mut values, &core, (&lightness, &scale()), PX_PER_MM, [0.2, 0.5]));
        let left = off(&values);
        assert!(20 * left < before, "{left} of {before} pixels are on the wrong side");
    }

    /// A step from 90 to 30 L*, blurred in light by a Gaussian whose width is that of the sharpest edges, has its border at half
    /// its height, on its ridge, and keeps it there.
    #[test]
    fn the_border_of_a_blurred_edge_stays() {
        let sigma = 0.25;
        // The Gaussian's integral by the logistic function, 0.01 off at most (Bowling et al. 2009).
        let share = |a: f64| 1.0 / (1.0 + (-1.702 * a / sigma).exp());
        let light = |x: f64, y: f64| {
            reflectance(90.0) + (reflectance(30.0) - reflectance(90.0)) * share(across(x, y))
        };
        let tone = raster(|x, y| lightness(light(x, y)) as f32);
        let found = raster(|x, y| if across(x, y) < 0.0 { 1_u8 } else { 4 });
        let core = raster(|_, _| 0_u8);
        let mut values = found.clone();
        lead(&mut values, &core, (&tone, &scale()), PX_PER_MM, [sigma * std::f64::consts::TAU.sqrt(), 0.5]);
        let moved = values.data().iter().zip(found.data()).filter(|(v, f)| v != f).count();
        assert!(moved <= SIDE / 10, "{moved} pixels went over along a border of {SIDE}");
    }

    /// Teeth 0.3 mm long and as wide on an edge, as a dry brush leaves them, are not followed one by one.
    #[test]
    fn teeth_lead_no_border() {
        let tooth = |y: f64| if (y / 0.3).floor() % 2.0 == 0.0 { 0.15 } else { -0.15 };
        let ragged = raster(|x, y| (70.0 - (x - tooth(y)) / 0.5 * 60.0).clamp(30.0, 90.0) as f32);
        let found = raster(|x, _| if x < 0.0 { 1_u8 } else { 4 });
        let core = raster(|_, _| 0_u8);
        let moved = |lightness: &Raster<f32>| {
            let mut values = found.clone();
            lead(&mut values, &core, (lightness, &scale()), PX_PER_MM, [0.2, 1.0]);
            values.data().iter().zip(found.data()).filter(|(v, f)| v != f).count()
        };
        let even = raster(|x, _| (60.0 - (x - 0.15) / 1.4 * 60.0).clamp(30.0, 90.0) as f32);
        assert!(moved(&even) >= SIDE / 2, "an even slope leads it: {} pixels", moved(&even));
        assert!(moved(&ragged) < SIDE / 4, "{} pixels went over", moved(&ragged));
    }

    /// What lies in a core keeps its value, whatever its tone.
    #[test]
    fn cores_stay() {
        let lightness = raster(|x, _| (70.0 - 20.0 * x).clamp(0.0, 100.0) as f32);
        let found = raster(|x, _| if x < -0.4 { 1_u8 } else { 3 });
        let mut values = found.clone();
        assert!(!lead(&mut values, &found, (&lightness, &scale()), PX_PER_MM, [0.2, 0.5]));
        assert!(values == found);
    }
}
