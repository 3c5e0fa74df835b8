//! What a thin mark looks like across: how far it stands out on either side, how wide it is, where its middle lies.

use kurbo::{Point, Vec2};

use crate::colour::{lightness, reflectance};
use crate::raster::Raster;

/// Steps in which the profile across is read, in pixels.
const STEP_PX: f64 = 0.25;
/// A side ends where the tone has come back by this share of the way: beyond lies another thing.
const COME_BACK: f64 = 0.3;

/// The profile across a line at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Across {
    /// L* of the extreme.
    pub(super) peak: f64,
    /// L* of the left and right side.
    pub(super) sides: [f64; 2],
    /// Width at half height in reflectance (blur happens in light), in pixels.
    pub(super) width_px: f64,
    /// Where the middle lies along the direction across, in pixels from the place.
    pub(super) middle_px: f64,
}

impl Across {
    /// How far it stands out from the nearer of its sides, in L*; never under 0.
    pub(super) fn depth(&self) -> f64 {
        self.sides.iter().map(|s| (self.peak - s).abs()).fold(f64::INFINITY, f64::min)
    }
}

/// Reflectance at a place (pixels) of a lightness (L*), between pixel centres by interpolation: light is what mixes.
fn light_at(tone: &Raster<f32>, p: Point) -> f64 {
    let (w, h) = (tone.width(), tone.height());
    let x = (p.x - 0.5).clamp(0.0, (w - 1) as f64);
    let y = (p.y - 0.5).clamp(0.0, (h - 1) as f64);
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = ((x0 + 1).min(w - 1), (y0 + 1).min(h - 1));
    let at = |x: usize, y: usize| reflectance(f64::from(tone.at(x, y)));
    let mix = |a: f64, b: f64, t: f64| a + t * (b - a);
    mix(mix(at(x0, y0), at(x1, y0), x.fract()), mix(at(x0, y1), at(x1, y1), x.fract()), y.fract())
}

/// Reads the profile in light of `tone` (L*) through `at` along `across`, both in pixels.
///
/// The extreme is looked for within `near_px` of the place, each side within `reach_px` of the extreme. `None` where
/// the picture ends before a side has shown, or one side does not fall away at all.
pub(super) fn across(
    tone: &Raster<f32>,
    at: Point,
    across: Vec2,
    [near_px, reach_px]: [f64; 2],
    is_light: bool,
) -> Option<Across> {
    let (w, h) = (tone.width() as f64, tone.height() as f64);
    // Seen so that the mark is always the higher one.
    let sign = if is_light { 1.0 } else { -1.0 };
    let read = |k: i32| {
        let p = at + across * (f64::from(k) * STEP_PX);
        (p.x >= 0.0 && p.y >= 0.0 && p.x <= w && p.y <= h).then(|| sign * light_at(tone, p))
    };
    let near = (near_px / STEP_PX).ceil() as i32;
    let (mut top, mut peak) = (0, f64::NEG_INFINITY);
    for k in -near..=near {
        if let Some(v) = read(k)
            && (v > peak || (v >= peak && k.abs() < top))
        {
            (top, peak) = (k, v);
        }
    }
    let reach = (reach_px / STEP_PX).ceil() as i32;
    let mut sides = [0.0; 2];
    let mut edges = [0.0; 2];
    for (side, way) in [(0, 1), (1, -1)] {
        let mut profile = vec![peak];
        let mut lowest = peak;
        for k in 1..=reach {
            let Some(v) = read(top + way * k) else { break };
            lowest = lowest.min(v);
            if v > lowest + COME_BACK * (peak - lowest) && lowest < peak {
                break;
            }
            profile.push(v);
        }
        let half = 0.5 * (peak + lowest);
        let (k, pair) = profile.windows(2).enumerate().find(|(_, p)| p[0] > half && p[1] <= half)?;
        edges[side] = f64::from(way) * (k as f64 + (pair[0] - half) / (pair[0] - pair[1])) * STEP_PX;
        sides[side] = lightness(sign * lowest);
    }
    Some(Across {
        peak: lightness(sign * peak),
        sides,
        width_px: edges[0] - edges[1],
        middle_px: f64::from(top) * STEP_PX + 0.5 * (edges[0] + edges[1]),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A bar between unlike grounds: width and middle are its own, whatever lies beside it.
    #[test]
    fn a_bar_between_unlike_sides_keeps_width_and_middle() {
        let l_star = |y: f32| lightness(f64::from(y)) as f32;
        for (tones, is_light) in [([0.1, 0.9, 0.4], true), ([0.9, 0.05, 0.5], false)] {
            let mut row = Raster::new(60, 9, 0.0_f32);
            for (i, v) in row.data_mut().iter_mut().enumerate() {
                // The bar covers 28.0 to 31.0 px.
                *v = l_star(tones[usize::from(i % 60 >= 28) + usize::from(i % 60 >= 31)]);
            }
            let got = across(&row, Point::new(29.0, 4.5), Vec2::new(1.0, 0.0), [2.0, 8.0], is_light);
            let got = got.expect("the bar stands out");
            assert!((got.width_px - 3.0).abs() < 0.1, "3 px wide, not {}", got.width_px);
            assert!((got.middle_px - 0.5).abs() < 0.1, "its middle is at 29.5, not {}", 29.0 + got.middle_px);
            let want = [tones[2], tones[0]].map(|t| lightness(f64::from(t)));
            assert!((got.sides[0] - want[0]).abs() < 0.1 && (got.sides[1] - want[1]).abs() < 0.1, "{got:?}");
        }
    }

    #[test]
    fn an_edge_stands_out_on_one_side_only() {
        let mut row = Raster::new(40, 5, 50.0_f32);
        for (i, v) in row.data_mut().iter_mut().enumerate() {
            *v = if i % 40 < 20 { 95.0 } else { 50.0 };
        }
        let got = across(&row, Point::new(18.0, 2.5), Vec2::new(1.0, 0.0), [2.0, 8.0], true);
        assert!(got.is_none_or(|a| a.depth() < 1e-6), "{got:?}");
    }
}
