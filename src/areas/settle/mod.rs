//! Which value a place has where its tone leaves that in doubt: borders go where strokes change.
//!
//! A hand's pressure makes the tone of strokes waver by several L* over millimetres, however it is averaged, and a line that
//! follows the tone alone wanders by as much as the tone is slow. But a hand that darkens a place crosses it, turns its
//! strokes or fills it, and that is seen to within a stroke. So each break divides the picture where it costs least: a place
//! on the wrong side costs the square of how far its tone is from the break, a border costs its length, and next to nothing where
//! strokes change (Boykov & Jolly 2001). Ink is solid where it shows no gaps, and then it is of the darkest value, whatever strokes
//! next to it do to the mean.

mod change;
mod min_cut;
mod solid;

use rayon::prelude::*;

use crate::raster::Raster;
use crate::tone::{ToneField, course_of_marks};
use min_cut::{Grid, WAYS};

/// Doubt of the tone of strokes in L*, about the middle tone; at others it goes with the square of the course of marks.
const DOUBT_L: f64 = 4.0;
/// The middle tone (L*).
const MIDDLE_L: f64 = 50.0;
/// Squared distance from a break, in doubts, beyond which it is all the same.
const CERTAIN: f64 = 9.0;
/// How many doubts lighter than the last break solid ink may seem, where a mean mixes in what lies beside it.
const MIXED: f64 = 3.0;
/// What it costs to give the darkest value to what shows gaps, in squared doubts, where that is black: its break, in L*, up to which it
/// is, and from which dense strokes are as good.
const GAPS: f64 = 0.8;
const BLACK_L: [f64; 2] = [32.0, 45.0];
/// What a border costs where strokes do not change, in squared doubts times mm.
const PRICE: f64 = 2.0;
/// The share of it that is left where they change altogether, and the change that halves it.
const LEAST_SHARE: f64 = 0.05;
const HALVING: f64 = 0.01;
/// Say of strokes (0 to 1, see `KindEvidence::strokes`) from which anything is settled.
const LEAST_STROKES: f64 = 0.05;
/// Widest first mean in mm for which strokes are about as fine as lengths in mm here are meant for.
const USUAL_WIDTH_MM: f64 = 0.8;
/// Whole numbers to a price of 1.
const UNIT: f64 = 4096.0;

/// Settles the values of a picture drawn in strokes, in half its resolution; a value that holds within a pixel of the half grid
/// stays as the tone says it, so that edges keep their places. Pictures of other kinds stay as they are.
pub(super) fn settle(values: &mut Raster<u8>, tone: &ToneField) {
    let strokes = if tone.is_textured() { tone.evidence.strokes() } else { 0.0 };
    if strokes < LEAST_STROKES {
        return;
    }
    // On large sheets, whose strokes are coarse, all lengths here grow with them.
    let px = tone.px_per_mm * (tone.mean_width_mm / USUAL_WIDTH_MM).max(1.0);
    let solid = solid::solid(&tone.reflectance, tone.mean_width_mm * tone.px_per_mm)
        .map(|s| if s { 1.0_f32 } else { 0.0 });
    let solid = halved(&solid).map(|s| s > 0.5);
    let lightness = halved(&tone.lightness);
    let (least, halving) = (LEAST_SHARE as f32, HALVING as f32);
    let share = change::change(&tone.reflectance, &solid, px)
        .map(|change| least + (1.0 - least) * halving / (halving + change));
    let breaks = tone.scale.breaks();
    let darker: Vec<Vec<bool>> = breaks
        .par_iter()
        .enumerate()
        .map(|(b, &level)| {
            let off = off_break(level, &lightness, (b + 1 == breaks.len()).then_some(&solid), strokes);
            darker_side(&off, &share, 2.0 / px)
        })
        .collect();
    let (w, h) = (lightness.width(), lightness.height());
    let settled = (0..w * h).map(|i| 1 + darker.iter().filter(|d| d[i]).count() as u8).collect();
    take(values, &Raster::from_vec(w, h, settled));
}

/// Means of squares of four pixels; the last row and column stand for what lies beyond them.
fn halved(full: &Raster<f32>) -> Raster<f32> {
    let (w, h) = (full.width().div_ceil(2), full.height().div_ceil(2));
    let mean = |i: usize| {
        let (x, y) = (2 * (i % w), 2 * (i / w));
        let (right, below) = ((x + 1).min(full.width() - 1), (y + 1).min(full.height() - 1));
        0.25 * (full.at(x, y) + full.at(right, y) + full.at(x, below) + full.at(right, below))
    };
    Raster::from_vec(w, h, (0..w * h).into_par_iter().map(mean).collect())
}

/// By how much it costs more to call each place darker than a break than lighter, in squared doubts; `solid` where darker than the
/// break is the darkest value.
fn off_break(level: f64, lightness: &Raster<f32>, solid: Option<&Raster<bool>>, strokes: f64) -> Raster<f64> {
    let doubt = DOUBT_L * strokes * (course_of_marks(level) / course_of_marks(MIDDLE_L)).powi(2);
    let gaps = GAPS * ((BLACK_L[1] - level) / (BLACK_L[1] - BLACK_L[0])).clamp(0.0, 1.0);
    let cost = |i: usize| {
        let off = (f64::from(lightness.data()[i]) - level) / doubt;
        let square = (off * off).min(CERTAIN).copysign(off);
        match solid.map(|s| s.data()[i]) {
            None => square,
            Some(true) if off < MIXED => -CERTAIN,
            Some(true) => square,
            Some(false) => square + gaps,
        }
    };
    let (w, h) = (lightness.width(), lightness.height());
    Raster::from_vec(w, h, (0..w * h).into_par_iter().map(cost).collect())
}

/// Divides a grid of places `mm` apart where it costs least: what lies on the darker side. `share` of a border's price is asked at
/// each place.
fn darker_side(off: &Raster<f64>, share: &Raster<f32>, mm: f64) -> Vec<bool> {
    let (w, h) = (off.width(), off.height());
    let mut grid = Grid::new(w, h);
    for y in 0..h {
        for x in 0..w {
            grid.prefer(x, y, (UNIT * mm * mm * off.at(x, y)).round() as i32);
            for (way, cracks) in CRACKS {
                let [along, down] = WAYS[way];
                let (Some(p), q) = (x.checked_add_signed(along), y.wrapping_add_signed(down)) else {
                    continue;
                };
                if p < w && q < h {
                    let share = 0.5 * f64::from(share.at(x, y) + share.at(p, q));
                    grid.part(x, y, way, (UNIT * PRICE * mm * cracks * share).round() as i32);
                }
            }
        }
    }
    grid.divide().into_iter().map(|lighter| !lighter).collect()
}

/// What each pair of neighbours adds to a border's length where it parts them, in places: so much along rows and columns and half as much
/// along diagonals makes borders of all directions about as long as they are (Boykov & Kolmogorov 2003).
const CRACKS: [(usize, f64); 4] = [(0, 0.5), (2, 0.5), (4, 0.25), (6, 0.25)];

/// Takes over values of the half grid where neither it nor its neighbours have the place's own.
fn take(values: &mut Raster<u8>, settled: &Raster<u8>) {
    let (w, h) = (settled.width(), settled.height());
    let full = values.width();
    values.data_mut().par_chunks_mut(full).enumerate().for_each(|(y, row)| {
        let rows = (y / 2).saturating_sub(1)..=(y / 2 + 1).min(h - 1);
        for (x, v) in row.iter_mut().enumerate() {
            let columns = (x / 2).saturating_sub(1)..=(x / 2 + 1).min(w - 1);
            if !rows.clone().any(|j| settled.row(j)[columns.clone()].contains(v)) {
                *v = settled.at(x / 2, y / 2);
            }
        }
    });
}

#[cfg(test)]
mod tests;
