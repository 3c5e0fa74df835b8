//! Texture: how uneven a tone is at each width of mean, and what unevenness an averaged tone keeps.

use rayon::prelude::*;

use super::gauss::{HALVING_BLURS, gaussian, halved};
use crate::colour::{lightness_f32, reflectance};
use crate::raster::Raster;

/// Widths of mean that are tried, in mm (standard deviation of a Gaussian), a third of an octave apart.
pub(super) const WIDTHS_MM: [f64; 14] =
    [0.0, 0.06, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1.0];
/// Widths of mean to an octave.
const PER_OCTAVE: usize = 3;
/// Side of the tiles in which unevenness is measured, in mm.
const UNEVEN_TILE_MM: f64 = 5.0;

/// Unevenness of a tone by tile.
pub(super) struct Unevenness {
    /// L* by tile, row by row: 1.48 times the median of |difference from a mean twice as wide| (a robust
    /// standard deviation, so that edges, which fill a small part of a tile, do not count).
    pub(super) tiles: Vec<f32>,
}

impl Unevenness {
    /// The unevenness below which the share `q` (0 to 1) of all tiles stays.
    pub(super) fn quantile(&self, q: f64) -> f64 {
        let mut sorted = self.tiles.clone();
        sorted.sort_by(f32::total_cmp);
        f64::from(sorted[((sorted.len() - 1) as f64 * q).round() as usize])
    }
}

/// Of tiles of twice so many rows every second row is enough.
const ENOUGH_ROWS: usize = 10;

/// Unevenness of `fine` (L* of a mean over some width) against `coarse` (twice as wide).
pub(super) fn unevenness(fine: &Raster<f32>, coarse: &Raster<f32>, px_per_mm: f64) -> Unevenness {
    let (w, h) = (fine.width(), fine.height());
    let tile = ((UNEVEN_TILE_MM * px_per_mm) as usize).clamp(4, w.max(h).max(4));
    let (across, down) = (w.div_ceil(tile), h.div_ceil(tile));
    let tiles = (0..across * down)
        .into_par_iter()
        .map(|t| {
            let (x0, y0) = (t % across * tile, t / across * tile);
            let mut d = Vec::with_capacity(tile * tile);
            for y in (y0..(y0 + tile).min(h)).step_by(if tile >= 2 * ENOUGH_ROWS { 2 } else { 1 }) {
                let across = x0..(x0 + tile).min(w);
                let pairs = fine.row(y)[across.clone()].iter().zip(&coarse.row(y)[across]);
                d.extend(pairs.map(|(a, b)| (a - b).abs()));
            }
            let mid = d.len() / 2;
            1.48 * *d.select_nth_unstable_by(mid, f32::total_cmp).1
        })
        .collect();
    Unevenness { tiles }
}

/// Means at least so many pixels wide are compared on a grid of half the size, and so on: there they still change little from
/// pixel to pixel.
const HALVE_FROM_PX: f64 = 1.8;
/// Smaller grids, of so many pixels to a tile's side, would tell little by a tile's median.
const LEAST_TILE_PX: f64 = 12.0;

/// Unevenness of the reflectance at each of [`WIDTHS_MM`].
///
/// The mean twice as wide is the one an octave on in the same list, so each is made once on each grid that needs it.
pub(super) fn unevenness_by_width(reflectance: &Raster<f32>, px_per_mm: f64) -> Vec<Unevenness> {
    let beyond = WIDTHS_MM[WIDTHS_MM.len() - PER_OCTAVE..].iter().map(|mm| 2.0 * mm);
    let widths: Vec<f64> = WIDTHS_MM.iter().copied().chain(beyond).collect();
    let mut grids = vec![(reflectance.clone(), px_per_mm)];
    while let Some((grid, px)) = grids.last()
        && WIDTHS_MM[WIDTHS_MM.len() - 1] * px >= HALVE_FROM_PX
        && UNEVEN_TILE_MM * px >= 2.0 * LEAST_TILE_PX
        && grid.width().min(grid.height()) >= 8
    {
        grids.push((halved(grid), px / 2.0));
    }
    // The smallest grid on which a mean is wide enough, the first for single pixels.
    let grid_of =
        |i: usize| (1..grids.len()).rev().find(|&g| widths[i] * grids[g - 1].1 >= HALVE_FROM_PX).unwrap_or(0);
    let mut needed: Vec<(usize, usize)> =
        (0..WIDTHS_MM.len()).flat_map(|i| [(grid_of(i), i), (grid_of(i), i + PER_OCTAVE)]).collect();
    needed.sort_unstable();
    needed.dedup();
    let mean = |&(g, i): &(usize, usize)| {
        let (grid, px) = &grids[g];
        // What the halvings have blurred already, the last one first, in squared pixels of this grid.
        let blurred = (1..=g).map(|k| HALVING_BLURS / 4_f64.powi(k as i32)).sum::<f64>();
        let sigma = ((widths[i] * px).powi(2) - blurred).max(0.0).sqrt();
        gaussian(grid, sigma as f32).map(lightness_f32)
    };
    let means: Vec<Raster<f32>> = needed.par_iter().map(mean).collect();
    let mean_of =
        |of: (usize, usize)| &means[needed.binary_search(&of).expect("each that is asked for was made")];
    (0..WIDTHS_MM.len())
        .into_par_iter()
        .map(|i| {
            let g = grid_of(i);
            // Single pixels are compared with a mean over two of them.
            let single = (i == 0).then(|| gaussian(reflectance, 2.0).map(lightness_f32));
            let coarse = single.as_ref().unwrap_or_else(|| mean_of((g, i + PER_OCTAVE)));
            unevenness(mean_of((g, i)), coarse, grids[g].1)
        })
        .collect()
}

/// Steps of lightness in which unevenness is kept, in L*.
const TONE_STEP: f64 = 5.0;
/// Side of the windows in which unevenness by tone is measured, in mm.
const WINDOW_MM: f64 = 8.0;
/// Smaller windows, in mm, and how many times their unevenness is believed in the large ones: grain on large shapes shows 1.5 and
/// 1.2 times. Form grows faster: where small shapes fill the picture, no large window is free of it. A hand's waver grows
/// with the window as form does (2 to 6 times), so of what is drawn by one the large windows alone are asked.
const CHECKED_MM: [(f64, f64); 2] = [(4.0, 1.7), (5.6, 1.35)];
/// How many times that growth is let through where all is drawn by a hand: more than form grows.
const UNCHECKED: f64 = 20.0;
/// Places looked at along a side of a window.
const PLACES: f64 = 16.0;
/// Windows whose mean tone is this near, in L*, tell of one tone: unevenness changes slowly with it, and among few
/// windows those across an edge would be the most ...
const ALIKE_L: f64 = 7.5;
/// ... and at least so many, the nearest in tone, are asked.
const LEAST_WINDOWS: usize = 24;
/// The calmer windows count, at this quantile: the others hold form as well as texture.
const CALMER: f64 = 1.0 / 3.0;
/// A peak of unevenness over at most twice as many steps of tone is taken off.
const PEAK_STEPS: usize = 2;
/// Unevenness above this, in L*, is form, however much of the picture is full of it: means are made wide enough to leave less of
/// texture. Hatching by a hand that wavers leaves 0.4 to 1.6 at most (six scenes), a drawing full of small faces shows 5.8.
const MOST_WAVER_L: f64 = 2.0;
/// Windows calmer than this, in L*, say nothing of how far unevenness hangs together.
const LEAST_WAVER_L: f64 = 0.05;
/// Tones, in L*, at which unevenness of ink is compared: among the lighter there may be bare paper, which has none.
const COMPARED_L: [f64; 2] = [10.0, 90.0];
/// Of these the calmer third say what ink of its own does, and how many times that counts as texture, for sets of strokes that cross
/// waver more than one set; see DEVELOPERS.md.
const OF_MARKS: f64 = 2.0;
/// Share of a window that has to be free of hard edges.
const OPEN_SHARE: f64 = 0.9;

/// How uneven the averaged tone still is, by tone: the hand's waver, grain, whatever is no form.
#[derive(Clone, Debug, PartialEq)]
pub struct Waver {
    /// Standard deviation in L* at lightness 0, 5, 10 ... 100.
    by_tone: Vec<f64>,
    /// How far the unevenness hangs together, in mm (Gaussian correlation width).
    pub reach_mm: f64,
}

impl Waver {
    /// A tone with no texture at all.
    #[must_use]
    pub fn none() -> Self {
        Self { by_tone: vec![0.0; (100.0 / TONE_STEP) as usize + 1], reach_mm: 0.0 }
    }

    /// Standard deviation in L* of tones about `lightness`.
    #[must_use]
    pub fn at(&self, lightness: f64) -> f64 {
        let x = (lightness / TONE_STEP).clamp(0.0, (self.by_tone.len() - 1) as f64);
        let i = (x as usize).min(self.by_tone.len() - 2);
        let t = x - i as f64;
        self.by_tone[i] * (1.0 - t) + self.by_tone[i + 1] * t
    }

    /// The same on a picture `times` smaller.
    pub(super) fn smaller(&self, times: f64) -> Self {
        Self { by_tone: self.by_tone.clone(), reach_mm: self.reach_mm / times }
    }

    /// Typical standard deviation in L*: the mean over all tones.
    #[must_use]
    pub fn typical(&self) -> f64 {
        self.by_tone.iter().sum::<f64>() / self.by_tone.len() as f64
    }
}

/// What a window shows besides the form in it.
#[derive(Default)]
struct Window {
    /// Share of the window that is free of hard edges.
    open: f64,
    mean: f64,
    sd: f64,
    reach_px: f64,
}

/// Measures the waver of an averaged tone (L*) away from hard edges. `drawn` is how far the reference's marks are drawn by
/// a hand, 0 (continuous tone, printing screens) to 1.
pub(super) fn waver(lightness: &Raster<f32>, hard: &Raster<bool>, px_per_mm: f64, drawn: f64) -> Waver {
    let free = UNCHECKED.powf(drawn);
    let mut waver = waver_in_windows(lightness, hard, px_per_mm, WINDOW_MM);
    for (mm, growth) in CHECKED_MM {
        // Where every large window holds an edge, the smaller ones are all that tells of texture.
        if waver.is_some() && drawn >= 1.0 {
            break;
        }
        let Some(smaller) = waver_in_windows(lightness, hard, px_per_mm, mm) else { continue };
        match &mut waver {
            Some(waver) => waver
                .by_tone
                .iter_mut()
                .zip(&smaller.by_tone)
                .for_each(|(sd, smaller)| *sd = sd.min(growth * free * smaller)),
            None => {
                let by_tone = smaller.by_tone.iter().map(|sd| (growth * sd).min(MOST_WAVER_L)).collect();
                waver = Some(Waver { by_tone, ..smaller });
            }
        }
    }
    // Without any open window nothing is known of texture.
    let mut waver = waver.unwrap_or_else(Waver::none);
    if drawn > 0.0 {
        no_more_than_of_marks(&mut waver.by_tone);
    }
    waver
}

/// How uneven marks of ink are at a tone (L*), in L* where one unit is a standard deviation of the whole light. Ink that
/// covers all but Y of the paper varies by Y (1 - Y), so its unevenness has the course sqrt(Y (1 - Y)) dL*/dY over tones.
pub(crate) fn course_of_marks(lightness: f64) -> f64 {
    let light = reflectance(lightness).clamp(0.0, 1.0);
    (light * (1.0 - light)).sqrt() / (reflectance(lightness + 0.5) - reflectance(lightness - 0.5))
}

/// Takes off what no marks of ink do: what is far above their course at some tones is form, which fills the windows there.
fn no_more_than_of_marks(by_tone: &mut [f64]) {
    let tones = || (0..).map(|i| TONE_STEP * f64::from(i));
    let course = |l: f64| course_of_marks(l.clamp(COMPARED_L[0], COMPARED_L[1]));
    let compared = tones().zip(by_tone.iter()).filter(|(l, _)| (COMPARED_L[0]..=COMPARED_L[1]).contains(l));
    let mut shares: Vec<f64> = compared.map(|(l, sd)| sd / course(l)).collect();
    shares.sort_by(f64::total_cmp);
    let Some(calm) = shares.get((CALMER * shares.len() as f64) as usize) else { return };
    for (l, sd) in tones().zip(by_tone) {
        *sd = sd.min(OF_MARKS * calm * course(l));
    }
}

/// The waver in windows `window_mm` wide, a quadratic surface taken off each; `None` without any that is open.
fn waver_in_windows(
    lightness: &Raster<f32>,
    hard: &Raster<bool>,
    px_per_mm: f64,
    window_mm: f64,
) -> Option<Waver> {
    let (w, h) = (lightness.width(), lightness.height());
    let side = ((window_mm * px_per_mm) as usize).clamp(4, w.min(h).max(4));
    let step = (side / 2).max(1);
    let every = ((window_mm / PLACES * px_per_mm) as usize).max(1);
    let places: Vec<(usize, usize)> = (0..h.saturating_sub(side / 2).max(1))
        .step_by(step)
        .flat_map(|y| (0..w.saturating_sub(side / 2).max(1)).step_by(step).map(move |x| (x, y)))
        .collect();
    let windows: Vec<Window> =
        places.into_par_iter().map(|(x0, y0)| window(lightness, hard, [x0, y0], side, every)).collect();
    let open: Vec<&Window> = windows.iter().filter(|win| win.open > OPEN_SHARE).collect();
    if open.is_empty() {
        return None;
    }
    let quantile = |v: &mut Vec<f64>, q: f64| {
        v.sort_by(f64::total_cmp);
        v.get((v.len() as f64 * q) as usize).copied()
    };
    let bins = (100.0 / TONE_STEP) as usize + 1;
    let by_tone: Vec<f64> = (0..bins)
        .map(|i| {
            let mut near: Vec<(f64, f64)> =
                open.iter().map(|win| ((win.mean - TONE_STEP * i as f64).abs(), win.sd)).collect();
            near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
            let alike = near.iter().take_while(|n| n.0 <= ALIKE_L).count().max(LEAST_WINDOWS);
            let mut sds: Vec<f64> = near.into_iter().take(alike).map(|n| n.1).collect();
            quantile(&mut sds, CALMER).unwrap_or(0.0).min(MOST_WAVER_L)
        })
        .collect();
    // Unevenness changes slowly with tone: a peak that is narrow in tone is form seen in too few windows.
    let extreme = |from: &[f64], pick: fn(f64, f64) -> f64| -> Vec<f64> {
        let r = PEAK_STEPS;
        (0..bins)
            .map(|i| {
                from[i.saturating_sub(r)..(i + r + 1).min(bins)].iter().copied().reduce(pick).unwrap_or(0.0)
            })
            .collect()
    };
    let by_tone = extreme(&extreme(&by_tone, f64::min), f64::max);
    let mut reaches: Vec<f64> =
        open.iter().filter(|win| win.sd > LEAST_WAVER_L).map(|win| win.reach_px / px_per_mm).collect();
    Some(Waver { by_tone, reach_mm: quantile(&mut reaches, 0.5).unwrap_or(0.0) })
}

/// Terms of the surface that is taken off a window: form, of which only what bends within the window is left.
const TERMS: usize = 6;

/// Fits a quadratic surface to the open pixels of a window; what is left gives its standard deviation and reach.
fn window(lightness: &Raster<f32>, hard: &Raster<bool>, at: [usize; 2], side: usize, every: usize) -> Window {
    let [x0, y0] = at;
    let (x1, y1) = ((x0 + side).min(lightness.width()), (y0 + side).min(lightness.height()));
    let (cx, cy) = ((x0 + x1) as f64 / 2.0, (y0 + y1) as f64 / 2.0);
    let half = side as f64 / 2.0;
    let terms = |x: usize, y: usize| {
        let (u, v) = ((x as f64 - cx) / half, (y as f64 - cy) / half);
        [1.0, u, v, u * u, u * v, v * v]
    };
    let open = |x: usize, y: usize| !hard.at(x, y);
    let places = || (y0..y1).step_by(every).flat_map(move |y| (x0..x1).step_by(every).map(move |x| (x, y)));
    let (mut n, mut sum) = (0.0, 0.0);
    let mut normal = [[0.0; TERMS + 1]; TERMS];
    for (x, y) in places().filter(|&(x, y)| open(x, y)) {
        let (t, l) = (terms(x, y), f64::from(lightness.at(x, y)));
        n += 1.0;
        sum += l;
        for (i, row) in normal.iter_mut().enumerate() {
            for (j, cell) in row.iter_mut().take(TERMS).enumerate() {
                *cell += t[i] * t[j];
            }
            row[TERMS] += t[i] * l;
        }
    }
    let Some(surface) = (n >= 4.0 * TERMS as f64).then(|| solve(normal)).flatten() else {
        return Window::default();
    };
    let left = |x: usize, y: usize| {
        f64::from(lightness.at(x, y)) - terms(x, y).iter().zip(&surface).map(|(t, c)| t * c).sum::<f64>()
    };
    let (mut square, mut slope, mut pairs) = (0.0, 0.0, 0.0);
    for (x, y) in places().filter(|&(x, y)| open(x, y)) {
        let here = left(x, y);
        square += here * here;
        if x + 1 < x1 && y + 1 < y1 {
            let (along, down) = (left(x + 1, y) - here, left(x, y + 1) - here);
            slope += along * along + down * down;
            pairs += 1.0;
        }
    }
    let sd = (square / n).sqrt();
    // A Gaussian field of width s has a mean square slope of 2 (sd / s)^2 in the plane.
    let slope = (slope / f64::max(pairs, 1.0)).sqrt();
    let reach_px = if slope > 1e-9 { std::f64::consts::SQRT_2 * sd / slope } else { 0.0 };
    Window { open: n / places().count() as f64, mean: sum / n, sd, reach_px }
}

/// Solves normal equations by elimination with pivots on the diagonal; `None` where the places do not span the terms.
fn solve(mut rows: [[f64; TERMS + 1]; TERMS]) -> Option<[f64; TERMS]> {
    for k in 0..TERMS {
        let pivot = rows[k];
        if pivot[k] < 1e-9 * rows[0][0].max(1.0) {
            return None;
        }
        for row in rows.iter_mut().skip(k + 1) {
            let by = row[k] / pivot[k];
            row.iter_mut().zip(&pivot).for_each(|(r, p)| *r -= by * p);
        }
    }
    let mut out = [0.0; TERMS];
    for k in (0..TERMS).rev() {
        let known: f64 = (k + 1..TERMS).map(|j| rows[k][j] * out[j]).sum();
        out[k] = (rows[k][TERMS] - known) / rows[k][k];
    }
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PX_PER_MM: f64 = 6.0;
    const SIDE: usize = 360;

    /// A tone by the place (mm), with waves of standard deviation 0.4 L* some 2 mm long; the sides of cells are hard.
    fn waver_of(tone: impl Fn(f64, f64) -> f64, side_mm: f64, hard_mm: f64) -> Waver {
        waver_of_marks(tone, side_mm, hard_mm, 0.0)
    }

    /// The same, told of marks that are drawn so far.
    fn waver_of_marks(tone: impl Fn(f64, f64) -> f64, side_mm: f64, hard_mm: f64, drawn: f64) -> Waver {
        let mut lightness = Raster::new(SIDE, SIDE, 0.0_f32);
        let mut hard = Raster::new(SIDE, SIDE, false);
        for i in 0..SIDE * SIDE {
            let [x, y] = [i % SIDE, i / SIDE].map(|p| (p as f64 + 0.5) / PX_PER_MM);
            // A product of two waves has half their height as its standard deviation.
            let wave = 0.8 * (3.1 * x + 1.7 * y).sin() * (2.3 * y - 1.3 * x).cos();
            lightness.data_mut()[i] = (tone(x, y) + wave) as f32;
            let off = |p: f64| (p / side_mm - (p / side_mm).round()).abs() * side_mm;
            hard.data_mut()[i] = off(x).min(off(y)) < hard_mm;
        }
        waver(&lightness, &hard, PX_PER_MM, drawn)
    }

    /// Unevenness that has the course of ink's own stays as it is; where form adds to it at some tones, it is cut back.
    /// The course by hand (CIE 15): at L* 50 Y is 0.184 and dY/dL* 3 / 116 * Y^(2/3) = 0.00837, at L* 20 0.0299 and 0.00249.
    #[test]
    fn form_at_some_tones_is_no_waver_of_ink() {
        let ink = |l: f64| {
            let light = ((l + 16.0) / 116.0).powi(3);
            0.01 * (light * (1.0 - light)).sqrt() / (3.0 / 116.0 * light.powf(2.0 / 3.0))
        };
        assert!((ink(50.0) - 0.463).abs() < 0.002 && (ink(20.0) - 0.684).abs() < 0.002);
        let ours: Vec<f64> = (0..=20).map(|i| ink(5.0 * f64::from(i))).collect();
        let mut cut = ours.clone();
        no_more_than_of_marks(&mut cut);
        for (i, (cut, own)) in cut.iter().zip(&ours).enumerate().take(19).skip(2) {
            assert!((cut - own).abs() < 1e-12, "L* {}: {cut} for {own}", 5 * i);
        }
        let mut formed = ours;
        formed[..=8].fill(2.0);
        no_more_than_of_marks(&mut formed);
        assert!((formed[4] / (2.0 * ink(20.0)) - 1.0).abs() < 0.01, "{} at L* 20", formed[4]);
        assert!((formed[10] - ink(50.0)).abs() < 1e-12, "{} at L* 50", formed[10]);
    }

    /// A picture whose dark half is full of small forms: of drawn ink those are cut back, of what no hand drew nothing is.
    #[test]
    fn only_drawn_ink_is_held_to_the_course_of_marks() {
        let half_formed = |x: f64, y: f64| {
            if x < 30.0 { 20.0 + 4.0 * (1.9 * x).sin() * (2.1 * y).cos() } else { 30.0 + 0.9 * x }
        };
        let dark = |drawn: f64| waver_of_marks(half_formed, 1e3, 0.0, drawn).at(20.0);
        let [printed, drawn] = [0.0, 1.0].map(dark);
        assert!(printed > 1.5 && drawn < 0.9 * printed, "{printed:.2} L* printed, {drawn:.2} L* drawn");
    }

    /// Small shapes, each bent in itself, leave no large window without form; what is texture is what flat ground shows.
    #[test]
    fn form_in_small_shapes_is_no_waver() {
        let flat = waver_of(|_, _| 50.0, 1e3, 0.0);
        assert!((0.2..0.6).contains(&flat.at(50.0)), "flat ground: {:.2} L*", flat.at(50.0));
        let cell = 6.5;
        let shaped = |x: f64, y: f64| {
            let (m, n) = ((x / cell) as usize, (y / cell) as usize);
            let bent = |p: f64| (p / cell).fract() * 3.0;
            35.0 + ((m * 7 + n * 5) % 4) as f64 * 8.0 + 3.0 * (bent(x) + m as f64).sin() * bent(y).cos()
        };
        // Of windows of 8 mm some are open, then none is.
        for hard_mm in [0.1, 0.3] {
            let shapes = waver_of(shaped, cell, hard_mm);
            for l in [40.0, 50.0, 60.0] {
                let share = shapes.at(l) / flat.at(50.0);
                assert!((0.4..2.2).contains(&share), "about L* {l}, {hard_mm} mm: {share:.2} of flat ground");
            }
        }
    }

    /// Chance of standard deviation s on each pixel is left, in the difference of means w and 2 w pixels wide, with
    /// s / w sqrt((1 + 1/4 - 4/5) / 4 pi) (means of Gaussians in closed form): on every grid alike.
    #[test]
    fn chance_is_as_uneven_on_every_grid() {
        let mut even = crate::tone::fade::tests::even_numbers();
        // A sum of twelve even numbers has the variance 1.
        let mut chance = || (0..12).map(|_| even()).sum::<f64>() - 6.0;
        let (side, sd) = (600, 0.02);
        let light =
            Raster::from_vec(side, side, (0..side * side).map(|_| (0.4 + sd * chance()) as f32).collect());
        let by_width = unevenness_by_width(&light, 8.0);
        let to_lightness = (lightness_f32(0.41) - lightness_f32(0.39)) / 0.02;
        let seen: Vec<(f64, f64)> =
            WIDTHS_MM.iter().zip(&by_width).map(|(w, u)| (*w, u.quantile(0.5))).collect();
        for (width, found) in seen.into_iter().filter(|(w, _)| *w > 0.1) {
            let closed = sd / (8.0 * width) * (0.45 / (4.0 * std::f64::consts::PI)).sqrt();
            let want = closed * f64::from(to_lightness);
            assert!((found / want - 1.0).abs() < 0.1, "{width} mm: {found} L* for {want}");
        }
    }
}
