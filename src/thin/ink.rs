//! What a thin light on an ink reference has to be: bare paper between darks, over its length.
//!
//! Paper between two strokes is texture. A light thing left white in a dark is told from it by three marks, all read
//! from the reference with its strokes still in it: it is bare paper, what lies on either side is dark over the width
//! of a few strokes, and no other gap as light runs beside it.

use std::ops::Range;

use super::judge::Looked;
use crate::colour::reflectance;
use crate::tone::ToneField;
use crate::transitions::sample;

/// Reflectance of bare paper in a light this thin, at least: the pixels' own blur takes some of its 0.94.
const BARE: f64 = 0.8;
/// Middle part of a mark's width that has to be bare.
const MIDDLE: f64 = 0.4;
/// A flank begins so far beyond the mark's edge, in mm: where the edge's own blur has ended.
const OFF_EDGE_MM: f64 = 0.15;
/// A flank is so wide: this many mm, or this many pitches of the texture.
const FLANK_MM: f64 = 1.2;
const FLANK_PITCHES: f64 = 1.5;
/// Flanks and middle are read over so many mm along the line to either side of a place: strokes cross it.
const ALONG_MM: f64 = 1.0;
/// No line beside the mark, averaged along it, is lighter than this share of its own reflectance: a gap between
/// strokes that run along it has others beside it.
const GAP_SHARE: f64 = 0.5;
/// Distance between the readings across, in mm.
const STEP_MM: f64 = 0.1;

/// Where along a stretch of a line the reference is bare paper between two dark flanks.
pub(super) fn bare_between_darks(tone: &ToneField, looked: &Looked, range: Range<usize>) -> Vec<bool> {
    let px = tone.px_per_mm;
    let n = tone.scale.values();
    // The darkest two values of five; of fewer than four only solid ink.
    let dark = reflectance(tone.scale.break_between(n - 1 - u8::from(n > 3), n - u8::from(n > 3)));
    let flank_mm = FLANK_MM.max(FLANK_PITCHES * tone.pitch_mm.unwrap_or(0.0));
    let steps = (flank_mm / STEP_MM).round() as usize;
    // Readings across at each place: the middle, then each step of the left and of the right flank.
    let rows: Vec<Vec<f64>> = range
        .clone()
        .map(|i| {
            let half = looked.across[i].map_or(0.0, |a| 0.5 * a.width_px / px);
            let read = |off_mm: f64| {
                let p = looked.points[i] + looked.normals[i] * off_mm;
                sample(&tone.reflectance, (p.to_vec2() * px).to_point())
            };
            let middle = [-1.0, 0.0, 1.0].iter().map(|t| read(t * MIDDLE * half)).sum::<f64>() / 3.0;
            let flanks = [1.0, -1.0].into_iter().flat_map(|side| {
                (0..steps).map(move |k| side * (half + OFF_EDGE_MM + (k as f64 + 0.5) * STEP_MM))
            });
            [middle].into_iter().chain(flanks.map(read)).collect()
        })
        .collect();
    let reach = (ALONG_MM / looked.spacing_mm).round() as usize;
    let columns = 1 + 2 * steps;
    let mut sums = vec![vec![0.0; columns]];
    for row in &rows {
        let last = &sums[sums.len() - 1];
        sums.push(last.iter().zip(row).map(|(s, v)| s + v).collect());
    }
    (0..rows.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(reach), (i + reach + 1).min(rows.len()));
            let mean = |c: usize| (sums[to][c] - sums[from][c]) / (to - from) as f64;
            let middle = mean(0);
            let is_dark = |flank: Range<usize>| {
                let along: Vec<f64> = flank.map(mean).collect();
                along.iter().sum::<f64>() / along.len() as f64 <= dark
                    && along.iter().all(|&v| v <= GAP_SHARE * middle)
            };
            middle >= BARE && is_dark(1..1 + steps) && is_dark(1 + steps..columns)
        })
        .collect()
}
