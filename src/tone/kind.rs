//! Which kind of reference it is: hatched ink, tonal, or either with holding lines.

use rayon::prelude::*;
use serde::Serialize;

use super::directed::directed_share;
use super::gauss::{HALVING_BLURS, gaussian, halved};
use super::pitch::PitchMap;
use crate::colour::lightness_f32;
use crate::raster::Raster;

/// What a reference is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReferenceKind {
    /// Tone made of ink marks (hatching, stipple, printing screen).
    Hatched,
    /// The same with dark contours drawn round the objects: borders run in their middle.
    HatchedWithLines,
    /// Continuous tones.
    Tonal,
    /// Continuous tones with dark contours drawn round the objects.
    TonalWithLines,
}

impl ReferenceKind {
    /// Whether tone is made of ink marks.
    #[must_use]
    pub fn is_ink(self) -> bool {
        matches!(self, Self::Hatched | Self::HatchedWithLines)
    }
}

/// What the kind was judged by.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KindEvidence {
    /// Median over the mid-toned parts of the variance of reflectance within 1.5 mm, as a share of what pure ink
    /// on pure paper of the same mean would give (1 = ink marks, 0 = even tone).
    pub ink_share: f64,
    /// Share of the picture in which the texture repeats at a pitch.
    pub patterned_share: f64,
    /// Share of the picture covered by dark lines thinner than 0.8 mm with lighter tone on both sides.
    pub line_share: f64,
    /// Share of the light tiles whose slopes keep to few directions, as those of strokes do and of dots do not; those of smooth
    /// tones do too, so it tells something of ink only.
    pub directed_share: f64,
    /// Share, by length, of the hard borders between light areas along which a dark line lies; known once borders are, of a
    /// reference with a texture of ink.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outlined: Option<f64>,
    /// Whether the person set the kind.
    pub set_by_hand: bool,
}

/// Share of light tiles with few directions from which marks count as strokes, more and more up to the second; see DEVELOPERS.md.
const STROKES_SHARE: [f64; 2] = [0.35, 0.8];
/// Ink share from which they do whatever their directions, because dense crossed strokes have as many as dots: on rendered pages
/// stipple has up to 0.71, hatching 0.68 to 0.80.
const STROKES_INK_SHARE: [f64; 2] = [0.72, 0.80];
/// Ink share of dots from which they count as drawn by a hand, more and more up to the second: printing screens have 0.19 to 0.30,
/// stipple 0.43 to 0.71.
const DRAWN_SHARE: [f64; 2] = [0.25, 0.45];

impl KindEvidence {
    /// How far the marks of an ink reference are strokes, 0 (dots) to 1.
    #[must_use]
    pub fn strokes(&self) -> f64 {
        part_of_way(self.directed_share, STROKES_SHARE).max(part_of_way(self.ink_share, STROKES_INK_SHARE))
    }

    /// How far the marks are drawn by a hand, 0 (printing screens, tones without marks) to 1: strokes are, and dots by their ink
    /// share.
    pub(crate) fn drawn(&self) -> f64 {
        self.strokes().max(part_of_way(self.ink_share, DRAWN_SHARE))
    }
}

/// How far a share is on the way from the first of two to the second, 0 to 1.
fn part_of_way(share: f64, [from, to]: [f64; 2]) -> f64 {
    ((share - from) / (to - from)).clamp(0.0, 1.0)
}

/// Radius of the surroundings in which the variance of reflectance is taken, in mm (Gaussian width).
const SURROUNDINGS_MM: f64 = 0.75;
/// Ink share from which a reference counts as ink: measured, see DEVELOPERS.md.
const INK_SHARE: f64 = 0.25;
/// Share of patterned tiles that makes a reference ink at a third of that ink share (fine screens lose contrast
/// when they are scanned coarsely).
const PATTERNED_SHARE: f64 = 0.4;
/// Share of thin dark lines that are too many for outlines: they are hatching, faint because it is fine.
const STROKE_SHARE: f64 = 0.08;
/// Share of thin dark lines from which a tonal reference counts as outlined.
const LINE_SHARE: f64 = 0.004;

/// Judges the kind of a reference (reflectance, normalised to its paper and ink).
pub(super) fn judge(
    reflectance: &Raster<f32>,
    px_per_mm: f64,
    pitches: &PitchMap,
) -> (ReferenceKind, KindEvidence) {
    // So wide a mean changes little from pixel to pixel: half of them each way do.
    let sigma = ((SURROUNDINGS_MM * px_per_mm).powi(2) - HALVING_BLURS).max(0.0).sqrt() / 2.0;
    let surroundings = |of: &Raster<f32>| gaussian(&halved(of), sigma as f32);
    let (mean, square) =
        rayon::join(|| surroundings(reflectance), || surroundings(&reflectance.map(|v| v * v)));
    let mut shares: Vec<f32> = mean
        .data()
        .par_iter()
        .zip(square.data().par_iter())
        .filter(|(m, _)| (0.06..0.92).contains(*m))
        .map(|(&m, &s)| (s - m * m).max(0.0) / (m * (1.0 - m)))
        .collect();
    let ink_share = if shares.len() * 50 < mean.data().len() {
        // Hardly any mid tone: bare paper and solid black alone are ink as much as tone.
        0.0
    } else {
        let mid = shares.len() / 2;
        f64::from(*shares.select_nth_unstable_by(mid, f32::total_cmp).1)
    };
    let patterned_share = pitches.patterned_share();
    let (line_share, directed_share) =
        rayon::join(|| thin_dark_share(reflectance, px_per_mm), || directed_share(reflectance, px_per_mm));
    let ink = ink_share > INK_SHARE
        || (ink_share > INK_SHARE / 3.0 && (patterned_share > PATTERNED_SHARE || line_share > STROKE_SHARE));
    let kind = match (ink, line_share > LINE_SHARE) {
        (true, _) => ReferenceKind::Hatched,
        (false, true) => ReferenceKind::TonalWithLines,
        (false, false) => ReferenceKind::Tonal,
    };
    let evidence = KindEvidence {
        ink_share,
        patterned_share,
        line_share,
        directed_share,
        outlined: None,
        set_by_hand: false,
    };
    (kind, evidence)
}

/// Share of pixels on thin dark lines: much darker than their grey-scale closing over 0.8 mm.
fn thin_dark_share(reflectance: &Raster<f32>, px_per_mm: f64) -> f64 {
    let closed = close_disc(reflectance, 0.4 * px_per_mm);
    let n = closed
        .data()
        .par_iter()
        .zip(reflectance.data())
        .with_min_len(1 << 14)
        .filter(|&(&c, &v)| lightness_f32(c) - lightness_f32(v) > 20.0)
        .count();
    n as f64 / closed.data().len() as f64
}

/// Grey-scale closing with a disc of `radius_px`: dark things thinner than the disc vanish, lights keep their place.
#[must_use]
pub(super) fn close_disc(input: &Raster<f32>, radius_px: f64) -> Raster<f32> {
    let spread = extreme_disc(input, radius_px, f32::max);
    extreme_disc(&spread, radius_px, f32::min)
}

/// Largest or smallest sample within a disc round each pixel.
pub(super) fn extreme_disc(
    input: &Raster<f32>,
    radius_px: f64,
    pick: impl Fn(f32, f32) -> f32 + Sync,
) -> Raster<f32> {
    let (w, h) = (input.width(), input.height());
    let r = radius_px.floor() as isize;
    let mut out = input.clone();
    out.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        for dy in -r..=r {
            let yy = y as isize + dy;
            if yy < 0 || yy >= h as isize {
                continue;
            }
            let half = (radius_px * radius_px - (dy * dy) as f64).sqrt().floor() as usize;
            let row = input.row(yy as usize);
            for dx in 0..=half {
                // Shifted rows, so that the inner loop runs over slices.
                let n = w.saturating_sub(dx);
                for (o, &v) in out[..n].iter_mut().zip(&row[w - n..]) {
                    *o = pick(*o, v);
                }
                for (o, &v) in out[w - n..].iter_mut().zip(&row[..n]) {
                    *o = pick(*o, v);
                }
            }
        }
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// OpenCV `morphologyEx` (closing) and scikit-image `closing` with the same disc, on the same array: exact
    /// (tests/oracles/kernels.py).
    #[test]
    fn closings_are_those_of_opencv() {
        let figures: serde_json::Value = serde_json::from_str(include_str!("../../tests/data/kernels.json"))
            .expect("the figures are JSON");
        let width = figures["width"].as_u64().expect("a width") as usize;
        let levels = |list: &serde_json::Value| {
            let list = list.as_array().expect("a list");
            let data: Vec<f32> = list.iter().map(|v| v.as_f64().expect("a level") as f32).collect();
            Raster::from_vec(width, data.len() / width, data)
        };
        let picture = levels(&figures["picture"]);
        let cases = figures["disc"].as_array().expect("a list of cases");
        assert!(cases.len() > 2, "too few discs");
        for case in cases {
            let radius = case["radius_px"].as_f64().expect("a radius");
            let (got, want) = (close_disc(&picture, radius), levels(&case["closed"]));
            assert!(got == want, "a disc of {radius} px closes otherwise");
            assert!(got != picture, "a disc of {radius} px is to close something");
        }
    }
}
