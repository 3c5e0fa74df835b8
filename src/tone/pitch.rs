//! Pitch of hatching, stipple or printing screen in mm, by tile and by region.
//!
//! The places where a tile's power spectrum stands out are the directions and frequencies of its sets of lines
//! (Hong, Wan & Jain 1998 read the same from the profile across the ridges; Matsuyama, Miura & Nagao 1983 take
//! structural textures apart by such peaks). What makes a peak a texture's own, and not an edge, an outline, a
//! harmonic or the sum of two crossed sets, is said beside each test.
//! Limits: pitches up to 3.2 mm and of at least 2.2 pixels. Three dark sets that cross at 37 degrees run into each other
//! in the spectrum from about 1.6 mm on, and stipple of 2 mm whose dots stray by a quarter of it drowns in its own noise:
//! both come out as none.

use rayon::prelude::*;
use rustfft::{Fft, FftPlanner, num_complex::Complex};

use crate::raster::Raster;

/// Side of the tiles, in mm: six lines of 2 mm.
const TILE_MM: f64 = 12.0;
/// Coarsest pitch looked for, in mm.
const PITCH_MAX_MM: f64 = 3.2;
/// Highest frequency looked at, in cycles per pixel: beyond it resampling has taken the contrast.
const HIGHEST: f64 = 0.45;
/// Standard deviation of reflectance that the strongest set of lines has to make.
const LEAST_STRENGTH: f64 = 0.025;
/// What is no texture at a frequency: the power that a fifth of all directions stays under (of a short ring three
/// crossed sets fill more than half).
const QUIET_SHARE: f64 = 0.2;
/// A peak exceeds that this many times: at 9.6 two of 36 tiles of white noise had a pitch, at 12 none.
const OVER_QUIET: f64 = 12.0;
/// Cycles per tile from a peak to where nothing of it is left: two of the window, one of the box, one of rounding.
const CLEAR: f64 = 3.5;
/// A peak exceeds what is that far beside it on its own ray this many times: edges are rays, not peaks.
const OVER_RAY: f64 = 3.0;
/// Share of a peak's power that may lie at lower frequencies on its ray: a harmonic has its fundamental there,
/// a bar or a pair of contours its bulk.
const BELOW_ON_RAY: f64 = 0.6;
/// Share of the strongest power at lower frequencies in any direction that a peak has to reach: the finer parts of
/// a coarse pattern (floor, wall) do not.
const OF_COARSER: f64 = 0.3;
/// Two sets are drawn with one pitch when they differ by less; their sum and difference differ by more.
const LIKE_PITCH: f64 = 0.12;
/// Share of a sum's or difference's power that each of the two sets has at least.
const SET_POWER: f64 = 0.4;
/// Share of all tiles that have to be patterned before the picture has a pitch.
const LEAST_PATTERNED: f64 = 0.05;
/// Least relative difference of two regions' pitches: a hand keeps its pitch to 7 % (measured on rendered hatching).
const LEAST_DIFFERENCE: f64 = 0.15;
/// Regions differ by this many times the measurement's own error.
const ERRORS_APART: f64 = 3.0;
/// Smallest share of the picture that is a region.
const LEAST_SHARE: f64 = 0.02;

/// Pitch of hatching, screen or stipple in one tile.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TilePitch {
    /// Distance from line to line (or dot row to dot row) in mm.
    pub pitch_mm: f64,
    /// Standard deviation of reflectance that the strongest set of lines makes.
    pub strength: f64,
}

/// Part of the picture in which the texture has one pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PitchRegion {
    /// Median distance from line to line (or dot row to dot row) in mm.
    pub pitch_mm: f64,
    /// Share of the picture, 0 to 1.
    pub share: f64,
}

/// Coarse map of the texture's pitch.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PitchMap {
    /// Tiles across.
    pub across: usize,
    /// Tiles down.
    pub down: usize,
    /// Pitch by tile, row by row, `None` without periodic texture; tiles overlap by half.
    pub tiles: Vec<Option<TilePitch>>,
}

impl PitchMap {
    /// Measures the pitch by tile; `reflectance` is linear, 0 ink to 1 paper.
    #[must_use]
    pub fn of(reflectance: &Raster<f32>, px_per_mm: f64) -> Self {
        let (w, h) = (reflectance.width(), reflectance.height());
        let n = ((TILE_MM * px_per_mm).round() as usize).min(w).min(h);
        if n < 16 {
            return Self::default();
        }
        let fft = FftPlanner::new().plan_fft_forward(n);
        // Hann's window: what a tile cuts off leaves no cross in the spectrum.
        let window: Vec<f32> =
            (0..n).map(|i| 0.5 - 0.5 * (std::f32::consts::TAU * (i as f32 + 0.5) / n as f32).cos()).collect();
        let starts = |len: usize| -> Vec<usize> {
            let steps = (2 * (len - n)).div_ceil(n);
            (0..=steps).map(|i| (i * (len - n)).checked_div(steps).unwrap_or(0)).collect()
        };
        let (xs, ys) = (starts(w), starts(h));
        let tiles = (0..xs.len() * ys.len())
            .into_par_iter()
            .map(|t| {
                let (x0, y0) = (xs[t % xs.len()], ys[t / xs.len()]);
                let rows = || (y0..y0 + n).map(|y| &reflectance.row(y)[x0..x0 + n]);
                let sum: f64 = rows().flatten().map(|&v| f64::from(v)).sum();
                let mean = (sum / (n * n) as f64) as f32;
                let cells: Vec<f32> = rows()
                    .zip(&window)
                    .flat_map(|(row, wy)| row.iter().zip(&window).map(move |(v, wx)| (v - mean) * wx * wy))
                    .collect();
                Spectrum::new(n, power(&cells, n, &*fft)).pitch(n as f64 / px_per_mm)
            })
            .collect();
        Self { across: xs.len(), down: ys.len(), tiles }
    }

    /// Share of the tiles that have a pitch, 0 to 1.
    #[must_use]
    pub fn patterned_share(&self) -> f64 {
        self.tiles.iter().flatten().count() as f64 / self.tiles.len().max(1) as f64
    }

    /// The picture's pitch in mm: the median of the stronger half of the patterned tiles; `None` when less than a
    /// twentieth of the picture is patterned.
    #[must_use]
    pub fn median_mm(&self) -> Option<f64> {
        let mut found: Vec<TilePitch> = self.tiles.iter().copied().flatten().collect();
        if found.is_empty() || self.patterned_share() < LEAST_PATTERNED {
            return None;
        }
        found.sort_by(|a, b| b.strength.total_cmp(&a.strength));
        found.truncate(found.len().div_ceil(2));
        Some(median(found.iter().map(|t| t.pitch_mm).collect()))
    }

    /// The measurement's own error, as a share of the pitch: from how much tiles that overlap differ.
    #[must_use]
    pub fn relative_error(&self) -> f64 {
        let at = |x: usize, y: usize| self.tiles[y * self.across + x].map(|t| t.pitch_mm.ln());
        let mut differences = Vec::new();
        for y in 0..self.down {
            for x in 0..self.across {
                let Some(here) = at(x, y) else { continue };
                if x + 1 < self.across
                    && let Some(right) = at(x + 1, y)
                {
                    differences.push((here - right).abs());
                }
                if y + 1 < self.down
                    && let Some(below) = at(x, y + 1)
                {
                    differences.push((here - below).abs());
                }
            }
        }
        // 1.48 medians are a standard deviation; a difference has two errors in it.
        if differences.is_empty() { 0.0 } else { 1.48 * median(differences) / std::f64::consts::SQRT_2 }
    }

    /// Regions of one pitch, the largest first; nothing when the picture has no pitch.
    ///
    /// Tiles in order of their pitch, neighbours joined as long as the means of what is joined differ by less than
    /// three times the measurement's own error (agglomerative, Ward 1963, in one dimension).
    #[must_use]
    pub fn regions(&self) -> Vec<PitchRegion> {
        let apart = LEAST_DIFFERENCE.max(ERRORS_APART * self.relative_error());
        let mut pitches: Vec<f64> = self.tiles.iter().flatten().map(|t| t.pitch_mm).collect();
        if self.median_mm().is_none() {
            return Vec::new();
        }
        pitches.sort_by(f64::total_cmp);
        // Each group with the sum of its logarithms.
        let mut groups: Vec<(Vec<f64>, f64)> = pitches.into_iter().map(|p| (vec![p], p.ln())).collect();
        let mean = |(group, sum): &(Vec<f64>, f64)| sum / group.len() as f64;
        while groups.len() > 1 {
            let cost = |i: usize| {
                let (a, b) = (&groups[i], &groups[i + 1]);
                let (na, nb) = (a.0.len() as f64, b.0.len() as f64);
                (mean(b) - mean(a)).powi(2) * na * nb / (na + nb)
            };
            let open = (0..groups.len() - 1).filter(|&i| mean(&groups[i + 1]) - mean(&groups[i]) < apart);
            let Some(i) = open.min_by(|&a, &b| cost(a).total_cmp(&cost(b))) else { break };
            let (next, sum) = groups.remove(i + 1);
            groups[i].0.extend(next);
            groups[i].1 += sum;
        }
        let tiles = self.tiles.len() as f64;
        let mut regions: Vec<PitchRegion> = groups
            .into_iter()
            .map(|(g, _)| PitchRegion { share: g.len() as f64 / tiles, pitch_mm: median(g) })
            .filter(|r| r.share >= LEAST_SHARE)
            .collect();
        regions.sort_by(|a, b| b.share.total_cmp(&a.share).then(a.pitch_mm.total_cmp(&b.pitch_mm)));
        regions
    }
}

/// Power by cycles across times `n` and cycles down, of n x n real cells in Hann's window; `fft` is of n samples.
fn power(cells: &[f32], n: usize, fft: &dyn Fft<f32>) -> Vec<f64> {
    // Half of the columns: the others are their mirror images, because the cells are real.
    let half = n / 2 + 1;
    // For the same reason two rows go through one transform, as real and imaginary part.
    let mut pairs: Vec<Complex<f32>> = Vec::with_capacity(n * n.div_ceil(2));
    for rows in cells.chunks(2 * n) {
        let (first, second) = rows.split_at(n);
        let second = second.iter().copied().chain(std::iter::repeat(0.0));
        pairs.extend(first.iter().zip(second).map(|(&re, im)| Complex::new(re, im)));
    }
    fft.process(&mut pairs);
    let mut columns = vec![Complex::new(0.0_f32, 0.0); half * n];
    for (pair, both) in pairs.chunks(n).enumerate() {
        for k in 0..half {
            let (z, mirrored) = (both[k], both[if k == 0 { 0 } else { n - k }].conj());
            columns[k * n + 2 * pair] = (z + mirrored) * 0.5;
            if 2 * pair + 1 < n {
                columns[k * n + 2 * pair + 1] = (z - mirrored) * Complex::new(0.0, -0.5);
            }
        }
    }
    fft.process(&mut columns);
    // Freed from the transform's n^4 and the window (3/8 in each direction).
    let scale = 1.0 / ((n as f64).powi(4) * 0.375 * 0.375);
    let mut power = vec![0.0; n * n];
    for (k, column) in columns.chunks(n).enumerate() {
        for (f, c) in column.iter().enumerate() {
            let p = f64::from(c.norm_sqr()) * scale;
            power[k * n + f] = p;
            power[(n - k) % n * n + (n - f) % n] = p;
        }
    }
    power
}

/// Median of at least one number.
fn median(mut of: Vec<f64>) -> f64 {
    let mid = of.len() / 2;
    *of.select_nth_unstable_by(mid, f64::total_cmp).1
}

/// A tile's power spectrum, each place with its eight neighbours (a window spreads a peak over three).
struct Spectrum {
    n: usize,
    power: Vec<f64>,
    boxes: Vec<f64>,
}

/// A place of the spectrum that stands out: cycles per tile across and down (centre of gravity, finer than a cycle
/// per tile), and its power.
#[derive(Clone, Copy)]
struct Peak {
    fx: f64,
    fy: f64,
    power: f64,
}

impl Peak {
    fn radius(&self) -> f64 {
        self.fx.hypot(self.fy)
    }
}

impl Spectrum {
    fn new(n: usize, power: Vec<f64>) -> Self {
        let mut down = Vec::with_capacity(n * n);
        for column in power.chunks(n) {
            down.push(column[n - 1] + column[0] + column[1]);
            down.extend(column.windows(3).map(|three| three[0] + three[1] + three[2]));
            down.push(column[n - 2] + column[n - 1] + column[0]);
        }
        let column = |x: usize| &down[x % n * n..][..n];
        let mut boxes = Vec::with_capacity(n * n);
        for x in 0..n {
            let sums = column(x + n - 1).iter().zip(column(x)).zip(column(x + 1));
            boxes.extend(sums.map(|((back, own), on)| back + own + on));
        }
        Self { n, power, boxes }
    }

    fn index(&self, fx: isize, fy: isize) -> usize {
        // Places lie less than a turn off either way.
        let round = |f: isize| if f < 0 { f + self.n as isize } else { f } as usize;
        round(fx) * self.n + round(fy)
    }

    /// Power about a place between the samples.
    fn boxed(&self, fx: f64, fy: f64) -> f64 {
        self.boxes[self.index(fx.round() as isize, fy.round() as isize)]
    }

    /// The tile's pitch, if it has one.
    fn pitch(&self, side_mm: f64) -> Option<TilePitch> {
        let peaks = self.peaks(side_mm);
        let like = |a: &Peak, b: &Peak| (a.radius() / b.radius()).ln().abs() < LIKE_PITCH;
        // C = A + B or A - B of two sets of like pitch, from which C's own differs.
        let sum_of_two = |c: &Peak| {
            peaks.iter().any(|a| {
                let (bx, by) = (c.fx - a.fx, c.fy - a.fy);
                let (cx, cy) = (c.fx + a.fx, c.fy + a.fy);
                peaks.iter().any(|b| {
                    let near =
                        |x: f64, y: f64| (b.fx - x).hypot(b.fy - y).min((b.fx + x).hypot(b.fy + y)) < 1.0;
                    (near(bx, by) || near(cx, cy))
                        && like(a, b)
                        && !like(c, a)
                        && a.power.min(b.power) > SET_POWER * c.power
                })
            })
        };
        let best = peaks.iter().filter(|c| !sum_of_two(c)).max_by(|a, b| a.power.total_cmp(&b.power))?;
        // Both halves of the spectrum hold the same power.
        let strength = (2.0 * best.power).sqrt();
        (strength >= LEAST_STRENGTH).then(|| TilePitch { pitch_mm: side_mm / best.radius(), strength })
    }

    /// A peak with its centre of gravity.
    fn peak(&self, fx: isize, fy: isize) -> Peak {
        let (mut weight, mut x, mut y) = (0.0, 0.0, 0.0);
        for dx in -1..=1 {
            for dy in -1..=1 {
                let p = self.power[self.index(fx + dx, fy + dy)];
                weight += p;
                x += p * (fx + dx) as f64;
                y += p * (fy + dy) as f64;
            }
        }
        Peak { fx: x / weight, fy: y / weight, power: weight }
    }

    /// The peaks that are a texture's.
    fn peaks(&self, side_mm: f64) -> Vec<Peak> {
        let lowest = side_mm / PITCH_MAX_MM;
        let highest = HIGHEST * self.n as f64;
        let reach = highest.ceil() as isize;
        // What is no texture by ring, and the strongest power within each ring's radius from two cycles on.
        let mut rings: Vec<Vec<f64>> = vec![Vec::new(); reach as usize + 2];
        for fx in 0..=reach {
            for fy in -reach..=reach {
                let r = ((fx * fx + fy * fy) as f64).sqrt().round() as usize;
                if r < rings.len() {
                    rings[r].push(self.boxes[self.index(fx, fy)]);
                }
            }
        }
        let strongest: Vec<f64> = rings
            .iter()
            .enumerate()
            .scan(0.0_f64, |most, (r, ring)| {
                if r >= 2 {
                    *most = ring.iter().copied().fold(*most, f64::max);
                }
                Some(*most)
            })
            .collect();
        let quiet: Vec<f64> = rings
            .into_iter()
            .map(|mut ring| {
                let at = (ring.len() as f64 * QUIET_SHARE) as usize;
                if ring.is_empty() { 0.0 } else { *ring.select_nth_unstable_by(at, f64::total_cmp).1 }
            })
            .collect();
        let mut peaks = Vec::new();
        for fx in 0..=reach {
            for fy in -reach..=reach {
                let radius = ((fx * fx + fy * fy) as f64).sqrt();
                if radius < lowest || radius > highest || (fx == 0 && fy < 0) {
                    continue;
                }
                let power = self.boxes[self.index(fx, fy)];
                let ring = radius.round() as usize;
                let below = (0.7 * radius) as usize;
                if power < 0.5 * LEAST_STRENGTH * LEAST_STRENGTH
                    || power < OVER_QUIET * quiet[ring]
                    || power < OF_COARSER * strongest[below]
                    || (-2..=2).any(|dx| (-2..=2).any(|dy| self.boxes[self.index(fx + dx, fy + dy)] > power))
                {
                    continue;
                }
                let (ux, uy) = (fx as f64 / radius, fy as f64 / radius);
                let on_ray = |r: f64| self.boxed(r * ux, r * uy);
                let beside = on_ray((radius - CLEAR).max(2.0)).max(on_ray(radius + CLEAR));
                let lower = (4..).map(|k| 0.5 * f64::from(k)).take_while(|&r| r <= radius - CLEAR);
                if power > OVER_RAY * beside && lower.map(on_ray).all(|p| p < BELOW_ON_RAY * power) {
                    peaks.push(self.peak(fx, fy));
                }
            }
        }
        peaks
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Powers are those of the Fourier transform by its definition, of even and of odd sizes.
        #[test]
        fn powers_are_those_of_the_definition(n in 3_usize..9, cells in proptest::collection::vec(-1.0_f32..1.0, 64)) {
            let cells = &cells[..n * n];
            let got = power(cells, n, &*FftPlanner::new().plan_fft_forward(n));
            let scale = (n as f64).powi(4) * 0.375 * 0.375;
            for (fx, fy) in (0..n).flat_map(|fx| (0..n).map(move |fy| (fx, fy))) {
                let (mut re, mut im) = (0.0, 0.0);
                for (i, &v) in cells.iter().enumerate() {
                    let turn = std::f64::consts::TAU * ((i % n * fx + i / n * fy) % n) as f64 / n as f64;
                    re += f64::from(v) * turn.cos();
                    im -= f64::from(v) * turn.sin();
                }
                let want = (re * re + im * im) / scale;
                let found = got[fx * n + fy];
                prop_assert!((found - want).abs() < 1e-5 * (1.0 + want), "({fx}, {fy}): {found} for {want}");
            }
        }
    }
}
