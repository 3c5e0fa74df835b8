//! Along the tone: each place takes the mean of its own line of equal tone.
//!
//! What texture leaves in a mean moves every line that is drawn by it. A wider mean takes more of it off, but rounds whatever
//! bends across it; along lines of equal tone nothing bends. The lines are those of a direction field, which is smoother
//! than the tone (structure tensor: Bigun & Granlund 1987, "Optimal orientation detection of linear symmetry"), followed step
//! by step (line integral convolution: Cabral & Leedom 1993), and they end at hard edges.

use rayon::prelude::*;

use super::fade::{Kept, tone_bin, usual_by_tone};
use super::gauss::gaussian;
use crate::colour::{lightness_f32, reflectance};
use crate::distance::squared_distance_within;
use crate::raster::Raster;
use crate::reference::resample;

/// How a mean along the tone is taken, in standard deviations.
struct Along {
    /// How widely the tone is averaged before its direction is asked.
    before: f32,
    /// Over how much of the surroundings the direction is averaged.
    direction: f32,
    /// How far along it the mean goes.
    along: f32,
}

/// In open tone, in mm: with grain or dots, and with strokes, whose own direction must not show.
const OPEN: [Along; 2] =
    [Along { before: 0.5, direction: 1.0, along: 1.2 }, Along { before: 2.0, direction: 4.0, along: 4.0 }];
/// Beside hard edges, where strokes begin and end, in first widths; with dots and grain edges are even without it.
const BESIDE: Along = Along { before: 0.5, direction: 2.0, along: 2.0 };
/// Samples of the direction field to a mm.
const DIRECTIONS_PER_MM: f64 = 2.0;
/// How much more of the slopes than across has to lie one way (0 none, 1 all); elsewhere, at corners, nothing is followed.
const COHERENT: f32 = 0.2;
/// Length of a step along a line, in mm.
const STEP_MM: f32 = 0.5;
/// A line is followed for so many standard deviations each way.
const REACH: f32 = 2.0;
/// Open tone begins so many first widths away from hard edges; twice as far off it has no more to do with them.
const CLEAR: f32 = 1.5;
/// The mean in open tone has its whole say up to this many times what half of the places of like tone are changed by, or so many L*;
/// at twice that it has none: it has met a bend that it did not follow.
const BEND_MEDIANS: f32 = 5.0;
const BEND_L: f32 = 0.1;
/// The change is itself averaged over so many mm: bends hang together, chance does not.
const BEND_MM: f32 = 0.5;

/// The tone (L*) in its mean along lines of equal tone; `width_mm` is the first mean's width, `strokes` says how far the texture is
/// of strokes, 0 to 1.
pub(super) fn along_the_tone(kept: &Kept, px_per_mm: f64, width_mm: f64, strokes: f32) -> Raster<f32> {
    let clear = (f64::from(CLEAR) * width_mm * px_per_mm) as f32;
    let reach = (2.0 * clear).ceil() as usize;
    let open = squared_distance_within(&kept.hard, reach).map(|d| (d.sqrt() / clear - 1.0).min(1.0));
    // The tone is a mean over its first width at least, so that no smaller step tells more of it.
    let every = ((width_mm * px_per_mm) as usize).clamp(1, 4);
    let followed = |tone: &Raster<f32>, room: &Raster<f32>, ways: Directions, along: f32, every: usize| {
        let (w, h) = (tone.width(), tone.height());
        let (few, high) = (w.div_ceil(every), h.div_ceil(every));
        let light = resample(&tone.map(|l| reflectance(f64::from(l)) as f32), few, high);
        let per_mm = px_per_mm as f32 * few as f32 / w as f32;
        let lines =
            Lines { ways, room: resample(room, few, high), step: STEP_MM * per_mm, reach: along / STEP_MM };
        let change = lines.change(&light);
        (light, lines.room, change, per_mm)
    };
    let added = |tone: &Raster<f32>, change: &Raster<f32>| {
        let change = resample(change, tone.width(), tone.height());
        let pixels = tone.data().par_iter().zip(change.data()).with_min_len(1 << 14);
        let data = pixels.map(|(l, c)| (l + c).clamp(0.0, 100.0)).collect();
        Raster::from_vec(tone.width(), tone.height(), data)
    };

    let [dots, drawn] = OPEN;
    let between = |length: fn(&Along) -> f32| length(&dots) + (length(&drawn) - length(&dots)) * strokes;
    // Slopes beside hard edges have no say in open tone.
    let say = open.map(|r| (r + 1.0).min(1.0).powi(4));
    let ways = Directions::of(
        &kept.lightness,
        Some(&say),
        px_per_mm,
        [between(|a| a.before), between(|a| a.direction)],
    );
    let (light, room, mut change, per_mm) =
        followed(&kept.lightness, &open, ways, between(|a| a.along), every);
    let bend = gaussian(&change, BEND_MM * per_mm);
    let seen = light.data().iter().zip(bend.data()).map(|(&v, b)| (lightness_f32(v), b.abs()));
    let usual = usual_by_tone(seen, 0.5);
    let places = change.data_mut().iter_mut().zip(bend.data()).zip(light.data()).zip(room.data());
    for (((change, &bend), &v), &room) in places {
        let chance = BEND_L.max(BEND_MEDIANS * usual[tone_bin(lightness_f32(v))]);
        *change *= room.clamp(0.0, 1.0) * (2.0 - bend.abs() / chance).clamp(0.0, 1.0);
    }
    let tone = added(&kept.lightness, &change);

    if strokes <= 0.0 {
        return tone;
    }
    let width = width_mm as f32;
    let ways = Directions::of(&tone, None, px_per_mm, [BESIDE.before * width, BESIDE.direction * width]);
    let beside = open.map(|r| 1.0 - r);
    let (_, room, mut change, _) = followed(&tone, &beside, ways, BESIDE.along * width * strokes, 1);
    for (change, &room) in change.data_mut().iter_mut().zip(room.data()) {
        *change *= room.clamp(0.0, 1.0);
    }
    added(&tone, &change)
}

/// Which way the tone changes least.
struct Directions {
    /// Unit vectors, whose sign means nothing; none where no way is more so than another.
    ways: Raster<Option<[f32; 2]>>,
}

impl Directions {
    /// Read from a tone (L*) over `[before, direction]` mm (see [`Along`]); `say` is how far a place is heard, everywhere
    /// wholly without it.
    fn of(
        tone: &Raster<f32>,
        say: Option<&Raster<f32>>,
        px_per_mm: f64,
        [before, direction]: [f32; 2],
    ) -> Self {
        let (w, h) = (tone.width(), tone.height());
        let smaller = (px_per_mm / DIRECTIONS_PER_MM).max(1.0);
        let (few, high) = ((w as f64 / smaller).ceil() as usize, (h as f64 / smaller).ceil() as usize);
        let per_mm = px_per_mm as f32 * few as f32 / w as f32;
        let smooth = gaussian(&resample(tone, few, high), before * per_mm);
        let say = say.map(|say| resample(say, few, high));
        let products = |product: fn(f32, f32) -> f32| {
            let mut out = Raster::new(few, high, 0.0_f32);
            for y in 0..high {
                let (up, down) = (y.saturating_sub(1), (y + 1).min(high - 1));
                for x in 0..few {
                    let dx = smooth.at((x + 1).min(few - 1), y) - smooth.at(x.saturating_sub(1), y);
                    let dy = smooth.at(x, down) - smooth.at(x, up);
                    out.set(x, y, say.as_ref().map_or(1.0, |say| say.at(x, y)) * product(dx, dy));
                }
            }
            gaussian(&out, direction * per_mm)
        };
        let (xx, (xy, yy)) = rayon::join(
            || products(|x, _| x * x),
            || rayon::join(|| products(|x, y| x * y), || products(|_, y| y * y)),
        );
        let ways = xx.data().iter().zip(xy.data()).zip(yy.data()).map(|((xx, xy), yy)| {
            if (xx - yy).hypot(2.0 * xy) <= COHERENT * (xx + yy) {
                return None;
            }
            let across = 0.5 * (2.0 * xy).atan2(xx - yy);
            Some([-across.sin(), across.cos()])
        });
        Self { ways: Raster::from_vec(few, high, ways.collect()) }
    }

    /// The direction at a place, given as shares of the picture's width and height.
    fn at(&self, x: f32, y: f32) -> Option<[f32; 2]> {
        let (w, h) = (self.ways.width(), self.ways.height());
        self.ways.at(((x * w as f32) as usize).min(w - 1), ((y * h as f32) as usize).min(h - 1))
    }
}

/// Lines of equal tone on a raster.
struct Lines {
    ways: Directions,
    /// Above 0 where lines may run.
    room: Raster<f32>,
    /// Length of a step in pixels of that raster.
    step: f32,
    /// Standard deviation of the mean along the line, in steps.
    reach: f32,
}

impl Lines {
    /// What the means along the lines change, in L*.
    fn change(&self, light: &Raster<f32>) -> Raster<f32> {
        let steps = (REACH * self.reach).ceil() as usize;
        let weights: Vec<f32> = (1..=steps).map(|k| (-0.5 * (k as f32 / self.reach).powi(2)).exp()).collect();
        let mut change = Raster::new(light.width(), light.height(), 0.0_f32);
        change.data_mut().par_chunks_mut(light.width()).enumerate().for_each(|(y, row)| {
            for (x, change) in row.iter_mut().enumerate() {
                if self.room.at(x, y) > 0.0 {
                    *change = lightness_f32(self.mean(light, &weights, x, y)) - lightness_f32(light.at(x, y));
                }
            }
        });
        change
    }

    /// The mean of `light` along the line through a pixel, with the weights of the steps from it.
    fn mean(&self, light: &Raster<f32>, steps: &[f32], x: usize, y: usize) -> f32 {
        let (mut sum, mut weights) = (light.at(x, y), 1.0_f32);
        let (w, h) = (light.width() as f32, light.height() as f32);
        let way = |at: [f32; 2], before: [f32; 2]| {
            let [x, y] = self.ways.at((at[0] + 0.5).max(0.0) / w, (at[1] + 0.5).max(0.0) / h)?;
            Some(if x * before[0] + y * before[1] < 0.0 { [-x, -y] } else { [x, y] })
        };
        let start = [x as f32, y as f32];
        let Some(first) = way(start, [1.0, 0.0]) else { return sum };
        for mut going in [first, [-first[0], -first[1]]] {
            let mut at = start;
            for weight in steps {
                // The direction half a step on: the second-order Runge-Kutta method.
                let Some(on) = way([0, 1].map(|i| at[i] + 0.5 * self.step * going[i]), going) else { break };
                going = on;
                at = [0, 1].map(|i| at[i] + self.step * going[i]);
                let inside = at[0] >= 0.0 && at[1] >= 0.0 && at[0] <= w - 1.0 && at[1] <= h - 1.0;
                if !inside || self.room.at((at[0] + 0.5) as usize, (at[1] + 0.5) as usize) <= 0.0 {
                    break;
                }
                sum += weight * between_pixels(light, at);
                weights += weight;
            }
        }
        sum / weights
    }
}

/// The raster at a place inside it, linear between pixels.
fn between_pixels(raster: &Raster<f32>, [x, y]: [f32; 2]) -> f32 {
    let (left, top) = (x as usize, y as usize);
    let (right, bottom) = ((left + 1).min(raster.width() - 1), (top + 1).min(raster.height() - 1));
    let (across, down) = (x - left as f32, y - top as f32);
    let row = |y| raster.at(left, y) + across * (raster.at(right, y) - raster.at(left, y));
    row(top) + down * (row(bottom) - row(top))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tone::fade::tests::even_numbers;

    const PX_PER_MM: f64 = 6.0;
    const WIDTH_MM: f64 = 0.5;
    const SIDE: usize = 300;

    /// The place of a pixel in mm, seen from the middle of the picture.
    fn place(i: usize) -> [f64; 2] {
        [i % SIDE, i / SIDE].map(|p| (p as f64 + 0.5 - SIDE as f64 / 2.0) / PX_PER_MM)
    }

    /// A tone (L*) by the place, and where it is hard.
    fn kept(tone: impl Fn([f64; 2]) -> f64, hard: impl Fn([f64; 2]) -> bool) -> Kept {
        let lightness = (0..SIDE * SIDE).map(|i| tone(place(i)) as f32).collect();
        let hard = (0..SIDE * SIDE).map(|i| hard(place(i))).collect();
        Kept { lightness: Raster::from_vec(SIDE, SIDE, lightness), hard: Raster::from_vec(SIDE, SIDE, hard) }
    }

    /// A round form: what chance has left falls, along circles 6 to 18 mm from the middle, and the form stays. Along a line chance
    /// that hangs together over s is averaged over a width a: its deviation falls by (1 + (a / s)^2)^(1/4) (both Gaussian).
    #[test]
    fn a_round_form_loses_chance_and_keeps_its_tones() {
        let mut even = even_numbers();
        // Even numbers between -1 and 1 have the deviation 1 / sqrt(3), averaged by a Gaussian of s pixels 1 / (2 sqrt(pi) s) of it.
        let s = (WIDTH_MM * PX_PER_MM) as f32;
        let raw = Raster::from_vec(SIDE, SIDE, (0..SIDE * SIDE).map(|_| 2.0 * even() as f32 - 1.0).collect());
        let chance =
            gaussian(&raw, s).map(|v| 1.5 * v * 3.0_f32.sqrt() * 2.0 * std::f32::consts::PI.sqrt() * s);
        let form = |[x, y]: [f64; 2]| 80.0 - 3.0 * x.hypot(y);
        let mut field = kept(form, |_| false);
        field
            .lightness
            .data_mut()
            .iter_mut()
            .zip(chance.data())
            .for_each(|(l, c)| *l = (*l + c).clamp(0.0, 100.0));
        let off = |tone: &Raster<f32>| {
            let ring = (0..SIDE * SIDE).map(|i| (place(i), tone.data()[i]));
            let off: Vec<f64> = ring
                .filter(|([x, y], _)| (6.0..18.0).contains(&x.hypot(*y)))
                .map(|(at, l)| f64::from(l) - form(at))
                .collect();
            let mean = off.iter().sum::<f64>() / off.len() as f64;
            (mean, (off.iter().map(|o| (o - mean).powi(2)).sum::<f64>() / off.len() as f64).sqrt())
        };
        let (_, before) = off(&field.lightness);
        for (strokes, along) in [(0.0, 1.2), (1.0, 4.0)] {
            let (mean, left) = off(&along_the_tone(&field, PX_PER_MM, WIDTH_MM, strokes));
            let closed = before / (1.0_f64 + (along / WIDTH_MM).powi(2)).powf(0.25);
            assert!(left < 1.35 * closed, "{before} L* became {left}, in closed form {closed}");
            assert!(mean.abs() < 0.3, "the form is off by {mean} L*");
        }
    }

    /// A smooth step of 40 L* across a distance in mm.
    fn step(across: f64) -> f64 {
        30.0 + 40.0 / (1.0 + (-across / 0.25).exp())
    }

    /// Where a row of pixels passes 50 L*, in mm.
    fn crossing(tone: &Raster<f32>, y: usize) -> f64 {
        let x = (0..SIDE - 1).find(|&x| tone.at(x, y) < 50.0 && tone.at(x + 1, y) >= 50.0);
        let x = x.unwrap_or_else(|| panic!("row {y} passes nowhere"));
        let (a, b) = (f64::from(tone.at(x, y)), f64::from(tone.at(x + 1, y)));
        (x as f64 + 0.5 + (50.0 - a) / (b - a)) / PX_PER_MM
    }

    /// Strokes 1.2 mm apart end by turns sooner and later; the edge that they make is one.
    #[test]
    fn an_edge_of_ends_of_strokes_is_drawn_straight() {
        let edge = |y: f64| 0.15 * (std::f64::consts::TAU * y / 1.2).sin();
        let field = kept(|[x, y]| step(x - edge(y)), |[x, _]| x.abs() < 0.4);
        let swing = |tone: &Raster<f32>| {
            let at: Vec<f64> = (60..SIDE - 60).map(|y| crossing(tone, y)).collect();
            at.iter().copied().fold(f64::MIN, f64::max) - at.iter().copied().fold(f64::MAX, f64::min)
        };
        let drawn = swing(&along_the_tone(&field, PX_PER_MM, WIDTH_MM, 1.0));
        assert!(drawn < 0.25 * swing(&field.lightness), "it still swings by {drawn} mm");
        let dots = along_the_tone(&field, PX_PER_MM, WIDTH_MM, 0.0);
        assert!(
            (swing(&dots) - swing(&field.lightness)).abs() < 0.01,
            "with dots edges are left as they are"
        );
    }

    /// Neither side nor corner of a square, hard all round, moves; a corner by half a millimetre at most.
    #[test]
    fn corners_stay() {
        let side = 12.0;
        let across = |[x, y]: [f64; 2]| x.abs().max(y.abs()) - side;
        let field = kept(|at| step(across(at)), |at| across(at).abs() < 0.4);
        let tone = along_the_tone(&field, PX_PER_MM, WIDTH_MM, 1.0);
        let along = |from: [f64; 2]| {
            // How far from the middle, in shares of `from`, 50 L* is passed.
            let at = |t: f64| {
                let [x, y] = from.map(|c| (c * t * PX_PER_MM + SIDE as f64 / 2.0 - 0.5) as f32);
                between_pixels(&tone, [x, y])
            };
            (900..1100).map(|t| f64::from(t) / 1000.0).find(|&t| at(t) >= 50.0).unwrap_or(0.0)
        };
        let (middle, corner) = (along([side, 0.0]) * side, along([side, side]) * side * 2.0_f64.sqrt());
        assert!((middle - side).abs() < 0.05, "the side lies at {middle} mm");
        assert!((corner - side * 2.0_f64.sqrt()).abs() < 0.5, "the corner lies at {corner} mm");
    }
}
