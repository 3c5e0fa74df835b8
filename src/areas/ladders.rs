//! Ladders in texture: what lies between a lighter and a darker value and has no tone of its own.
//!
//! A mean as wide as texture asks for spreads an edge over millimetres, and the values that it passes through there are no areas. Their
//! width does not tell them from true bands, but the marks do: where an edge was spread, the marks on one side of a line are those of the
//! lighter neighbour and on the other side those of the darker one; a band has marks of its own. So both are fitted (two regions
//! of one tone each, as in Chan & Vese 2001, against three), and what its neighbours explain as well as a tone of its own is a ladder.

use rayon::prelude::*;

use crate::components::components;
use crate::distance::squared_distance_within;
use crate::raster::Raster;
use crate::reference::resample;

/// Farthest that a lighter and a darker value lie apart on either side of a ladder, in widths of the first mean.
const WIDEST: f64 = 10.0;
/// Cells in which places are compared, in widths of the first mean, in whole pixels ...
const CELL_WIDTHS: f64 = 0.5;
/// ... and how many make the side of a square, over which tones are averaged.
const SQUARE: usize = 2;
/// Standard deviations in mm of the surroundings whose tones are heard: of the narrow place itself ...
const AROUND_MM: f64 = 1.5;
/// ... and of its neighbours. On large sheets, whose texture is coarse, they grow with it from this first mean (mm) on.
const BESIDE_MM: f64 = 1.0;
const USUAL_WIDTH_MM: f64 = 0.8;
/// How far surroundings are heard, in standard deviations.
const REACH: f64 = 2.5;
/// Parts of the way from the lighter to the darker neighbour, between which a line is tried.
const PARTS: usize = 4;
/// How much worse than a tone of its own its neighbours may explain a place, as a share of their squared difference, and still
/// do: marks are uneven.
const MARGIN: f64 = 0.01;
/// The share of a narrow piece that has to be a ladder for all of it to be one: a line that ended half way would have to turn there.
const MOST: f64 = 0.5;

/// Pixels or cells, and the sum of their reflectances.
type Sum = [f64; 2];

/// Takes the cores off ladders. `values` has every pixel's value up to `count`, `reflectance` is the normalised reference itself.
pub(super) fn drop_ladders(
    core: &mut Raster<u8>,
    values: &Raster<u8>,
    count: u8,
    reflectance: &Raster<f32>,
    [px_per_mm, mean_width_mm]: [f64; 2],
) {
    let width_px = mean_width_mm * px_per_mm;
    let cell = ((CELL_WIDTHS * width_px).ceil() as usize).max(1);
    let (w, h) = (values.width().div_ceil(cell), values.height().div_ceil(cell));
    let middle = |i: usize, n: usize| (i * cell + cell / 2).min(n - 1);
    let cells = (0..w * h).map(|i| values.at(middle(i % w, values.width()), middle(i / w, values.height())));
    let cells = Raster::from_vec(w, h, cells.collect());
    let widest = WIDEST * width_px / cell as f64;
    let reach = widest.ceil() as usize + 1;
    let between = Between {
        away: (1..=count).into_par_iter().map(|v| away_from(&cells, v, reach)).collect(),
        light: resample(reflectance, w, h),
        cells,
        widest: widest as f32,
        squares_per_mm: px_per_mm / (cell * SQUARE) as f64 / (mean_width_mm / USUAL_WIDTH_MM).max(1.0),
    };
    let ladders: Vec<Raster<bool>> = (2..count).into_par_iter().map(|v| between.ladders(v)).collect();
    let across = core.width();
    core.data_mut().par_chunks_mut(across).enumerate().for_each(|(y, row)| {
        for (x, c) in row.iter_mut().enumerate() {
            if *c > 1 && *c < count && ladders[usize::from(*c) - 2].at(x / cell, y / cell) {
                *c = 0;
            }
        }
    });
}

/// Distance to the nearest cell of a value, in cells.
fn away_from(cells: &Raster<u8>, value: u8, reach: usize) -> Raster<f32> {
    squared_distance_within(&cells.map(|v| v == value), reach).map(f32::sqrt)
}

/// What there is to be told about places between values.
struct Between {
    /// Value and reflectance of each cell.
    cells: Raster<u8>,
    light: Raster<f32>,
    /// Distance to each value.
    away: Vec<Raster<f32>>,
    /// Farthest that a lighter and a darker value lie apart, in cells.
    widest: f32,
    squares_per_mm: f64,
}

/// A cell between a lighter and a darker value.
#[derive(Clone, Copy)]
struct Narrow {
    /// How far it is on the way from the lighter to the darker, of [`PARTS`].
    part: usize,
    /// Stands for the two values: what lies between others is another piece.
    pair: u8,
}

/// What a square of cells holds: of narrow places by their part, and of what is lighter and darker.
#[derive(Clone, Copy, Default)]
struct Square {
    narrow: [Sum; PARTS],
    lighter: Sum,
    darker: Sum,
}

impl Between {
    /// Which cells of a value are ladders.
    fn ladders(&self, value: u8) -> Raster<bool> {
        let (w, h) = (self.cells.width(), self.cells.height());
        let narrow: Vec<Option<Narrow>> = (0..w * h).into_par_iter().map(|i| self.narrow(value, i)).collect();
        let pairs = narrow.iter().map(|n| n.map_or(0, |n| n.pair)).collect();
        let (pieces, count) = components(&Raster::from_vec(w, h, pairs));
        let across = w.div_ceil(SQUARE);
        let square_of = |i: usize| (i / w / SQUARE) * across + i % w / SQUARE;
        let mut squares = vec![Square::default(); across * h.div_ceil(SQUARE)];
        for (i, (&v, &light)) in self.cells.data().iter().zip(self.light.data()).enumerate() {
            let square = &mut squares[square_of(i)];
            let sum = match narrow[i] {
                Some(n) => &mut square.narrow[n.part],
                None if v < value => &mut square.lighter,
                None if v > value => &mut square.darker,
                None => continue,
            };
            sum[0] += 1.0;
            sum[1] += f64::from(light);
        }
        let explained = explained(&squares, across, self.squares_per_mm);
        let mut held = vec![[0_usize; 2]; count + 1];
        for (i, &piece) in pieces.data().iter().enumerate() {
            held[piece as usize][0] += 1;
            held[piece as usize][1] += usize::from(explained[square_of(i)]);
        }
        pieces.map(|piece| {
            let [all, explained] = held[piece as usize];
            piece > 0 && explained as f64 > MOST * all as f64
        })
    }

    /// Where a cell of a value lies between others that are near enough.
    fn narrow(&self, value: u8, i: usize) -> Option<Narrow> {
        if self.cells.data()[i] != value {
            return None;
        }
        let nearest = |values: std::ops::Range<usize>| {
            let away = values.map(|v| (v, self.away[v].data()[i]));
            away.min_by(|a, b| a.1.total_cmp(&b.1)).expect("there is a value on either side")
        };
        let (middle, all) = (usize::from(value) - 1, self.away.len());
        let ((lighter, before), (darker, beyond)) = (nearest(0..middle), nearest(middle + 1..all));
        // Cell centres lie one cell further apart than the borders between them.
        (before + beyond <= self.widest + 1.0).then(|| Narrow {
            part: ((PARTS as f32 * before / (before + beyond)) as usize).min(PARTS - 1),
            pair: (1 + lighter * all + darker) as u8,
        })
    }
}

/// In which squares the neighbours explain the narrow places as well as a tone of their own does.
fn explained(squares: &[Square], across: usize, per_mm: f64) -> Vec<bool> {
    let (around, beside) = (Weights::new(AROUND_MM * per_mm), Weights::new(BESIDE_MM * per_mm));
    let down = squares.len() / across;
    let own: Vec<Sum> = squares.iter().map(Square::own).collect();
    let tones: Vec<Option<[f64; 3]>> = (0..squares.len())
        .into_par_iter()
        .map(|at| {
            (own[at][0] > 0.0).then(|| {
                let mut sums = [[0.0; 2]; 3];
                around.each([across, down], at, |other, weight| add(&mut sums[1], own[other], weight));
                beside.each([across, down], at, |other, weight| {
                    add(&mut sums[0], squares[other].lighter, weight);
                    add(&mut sums[2], squares[other].darker, weight);
                });
                sums.iter().all(|sum| sum[0] > 0.0).then(|| sums.map(|sum| sum[1] / sum[0]))
            })?
        })
        .collect();
    let excess: Vec<Option<[f64; PARTS + 1]>> =
        squares.par_iter().zip(&tones).map(|(square, tones)| Some(square.excess((*tones)?))).collect();
    let told = |(at, tones): (usize, &Option<[f64; 3]>)| {
        let Some([lighter, _, darker]) = tones else { return false };
        let (mut sums, mut cells) = ([0.0; PARTS + 1], 0.0);
        around.each([across, down], at, |other, weight| {
            if let Some(excess) = &excess[other] {
                sums.iter_mut().zip(excess).for_each(|(sum, excess)| *sum += weight * excess);
                cells += weight * own[other][0];
            }
        });
        let least = sums.into_iter().fold(f64::INFINITY, f64::min);
        least <= MARGIN * cells * (lighter - darker).powi(2)
    };
    tones.par_iter().enumerate().map(told).collect()
}

fn add(to: &mut Sum, sum: Sum, weight: f64) {
    to[0] += weight * sum[0];
    to[1] += weight * sum[1];
}

impl Square {
    /// All of its narrow places.
    fn own(&self) -> Sum {
        self.narrow.iter().fold([0.0; 2], |all, sum| [all[0] + sum[0], all[1] + sum[1]])
    }

    /// By how much the squared error of the narrow places is larger with the neighbours' tones, divided after each part, than with a tone
    /// of their own. `tones` are those of the lighter neighbour, of the place and of the darker one.
    fn excess(&self, [lighter, own, darker]: [f64; 3]) -> [f64; PARTS + 1] {
        // Less the squares of the reflectances themselves, which every tone leaves alike.
        let error = |sum: &Sum, tone: f64| tone * (sum[0] * tone - 2.0 * sum[1]);
        let alone = error(&self.own(), own);
        std::array::from_fn(|line| {
            let parts = self.narrow.iter().enumerate();
            let divided = parts.map(|(part, sum)| error(sum, if part < line { lighter } else { darker }));
            divided.sum::<f64>() - alone
        })
    }
}

/// Half of a Gaussian's weights along one axis, centre first.
struct Weights(Vec<f64>);

impl Weights {
    fn new(deviation: f64) -> Self {
        let reach = (REACH * deviation).ceil() as usize;
        Self((0..=reach).map(|k| (-0.5 * (k as f64 / deviation).powi(2)).exp()).collect())
    }

    /// Tells each square within reach of one, always in the same order, and its weight.
    fn each(&self, [across, down]: [usize; 2], at: usize, mut tell: impl FnMut(usize, f64)) {
        let (x, y, reach) = (at % across, at / across, self.0.len() - 1);
        for j in y.saturating_sub(reach)..=(y + reach).min(down - 1) {
            for i in x.saturating_sub(reach)..=(x + reach).min(across - 1) {
                tell(j * across + i, self.0[i.abs_diff(x)] * self.0[j.abs_diff(y)]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tone::gaussian;

    const SIDE: usize = 240;
    const PX_PER_MM: f64 = 6.0;
    const WIDTH_MM: f64 = 0.5;
    /// Reflectances of values 1, 2 and 3, and the limits between them.
    const TONES: [f32; 3] = [0.8, 0.4, 0.1];
    const LIMITS: [f32; 2] = [0.6, 0.25];

    /// How much of the middle value's cores is left of dots whose share of paper across the picture (mm from its middle) is as told, and
    /// of whose tone the mean of a width (mm) is taken.
    fn left(light: impl Fn(f64) -> f32, spread_mm: f64) -> [usize; 2] {
        let mut even = crate::tone::even_numbers();
        let at = |i: usize| ((i % SIDE) as f64 + 0.5 - SIDE as f64 / 2.0) / PX_PER_MM;
        let dots = (0..SIDE * SIDE).map(|i| if (even() as f32) < light(at(i)) { 1.0 } else { 0.0 }).collect();
        let tone = Raster::from_vec(SIDE, SIDE, (0..SIDE * SIDE).map(|i| light(at(i))).collect());
        let tone = gaussian(&tone, (spread_mm * PX_PER_MM) as f32);
        let values = tone.map(|t| 1 + LIMITS.iter().filter(|&&limit| t < limit).count() as u8);
        let mut core = values.clone();
        drop_ladders(&mut core, &values, 3, &Raster::from_vec(SIDE, SIDE, dots), [PX_PER_MM, WIDTH_MM]);
        assert!(core.data().iter().zip(values.data()).all(|(c, v)| *v == 2 || c == v), "others keep theirs");
        [&values, &core].map(|of| of.data().iter().filter(|&&v| v == 2).count())
    }

    /// An edge from the first value to the third, spread over millimetres: the second is no tone there.
    #[test]
    fn a_spread_edge_has_no_value_between() {
        for spread in [0.8, 1.2, 1.6] {
            let [had, has] = left(|x| if x < 0.3 { TONES[0] } else { TONES[2] }, spread);
            assert!(had > SIDE * 3, "the mean of {spread} mm makes no ladder to begin with");
            assert_eq!(has, 0, "of a ladder spread by {spread} mm, {had} pixels");
        }
    }

    /// A band with a tone of its own stays, however narrow it is, and so does one on an even gradation.
    #[test]
    fn a_band_between_two_values_stays() {
        for wide in [1.0, 2.0, 3.0] {
            let [had, has] = left(|x| TONES[usize::from(x > 0.0) + usize::from(x > wide)], 0.2);
            assert_eq!(has, had, "a band of {wide} mm");
        }
        let [had, has] = left(|x| (0.45 - 0.12 * x as f32).clamp(0.05, 0.9), 0.2);
        assert!(had > SIDE * 12, "the gradation passes through the value");
        assert_eq!(has, had, "a gradation");
    }
}
