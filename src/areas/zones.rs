//! Focus and rest: zones of the picture where more or fewer lines are wanted.
//!
//! In: outlines and a painted mask. Out: a weight for each working pixel, from -1 (rest) over 0 to 1 (focus), and the
//! limits that follow from it. Units: fractions of the picture, or mm on the picture from its top left.
//! Keeps: inside a zone its own limits hold in full; outside they blend over `BLEND_MM`.

mod outline;

use std::fmt;

use thiserror::Error;

use super::AreaOptions;
use crate::colour::linear_to_srgb;
use crate::distance::squared_distance_to;
use crate::raster::Raster;
use crate::reference::resample;
use crate::tone::gaussian;

pub(crate) use outline::said;
pub use outline::{Measure, Outline, OutlineError};

/// Narrowest width in focus, as a share of the narrowest width elsewhere (0.5 mm for 1 mm).
pub const FOCUS_NARROWEST_SHARE: f64 = 0.5;
/// Narrowest width at rest, as a share of the narrowest width elsewhere (2 mm for 1 mm).
pub const REST_NARROWEST_SHARE: f64 = 2.0;
/// Least area in focus, as a share of the least area elsewhere (1.5 mm2 for 6 mm2).
pub const FOCUS_LEAST_AREA_SHARE: f64 = 0.25;
/// Least area at rest, as a share of the least area elsewhere (25 mm2 for 6 mm2).
pub const REST_LEAST_AREA_SHARE: f64 = 25.0 / 6.0;

/// Way in mm over which limits blend outside a zone: two of the widest default limit, so that a strip sees its limit
/// change by less than its own width along a stretch as long as it is wide.
const BLEND_MM: f64 = 4.0;
/// Width (standard deviation) of the Gaussian over a painted mask, in mm: a hard edge blends over the same 4 mm.
const MASK_SOFTEN_MM: f64 = BLEND_MM / 2.56;
/// Weights up to this are mid grey: an 8-bit mask has two middles, 127 and 128.
const MID_GREY: f32 = 0.01;
/// How far a mask's shape may be from the picture's (common practice, no source).
const MASK_SHAPE_SLACK: f64 = 1.02;

/// What a zone asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// More lines.
    Focus,
    /// Fewer lines.
    Rest,
}

impl fmt::Display for Purpose {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Focus => "focus",
            Self::Rest => "rest",
        })
    }
}

/// One zone.
#[derive(Clone, Debug, PartialEq)]
pub struct Zone {
    /// What it asks for.
    pub purpose: Purpose,
    /// Where it lies.
    pub outline: Outline,
}

/// All zones of a picture; none by default.
///
/// Where they overlap, focus wins over rest and outlines win over the mask.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Zones {
    /// Zones with outlines.
    pub outlined: Vec<Zone>,
    /// A mask over the whole picture, from -1 (rest) to 1 (focus), of any size; see [`mask_weights`].
    pub mask: Option<Raster<f32>>,
}

/// Why zones do not fit a picture.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum ZoneError {
    /// A zone that covers nothing of the picture.
    #[error(
        "the {purpose} zone {outline} covers nothing of the picture, which is {width_mm:.1} x {height_mm:.1} mm \
         on the sheet; measure it from the picture's top left"
    )]
    Outside {
        /// What the zone asks for.
        purpose: Purpose,
        /// The zone as it is written.
        outline: Outline,
        /// Width of the picture in mm.
        width_mm: f64,
        /// Height of the picture in mm.
        height_mm: f64,
    },
    /// A mask of another shape than the picture.
    #[error(
        "the mask of the zones is {mask_width} x {mask_height} pixels, which is not the shape of the picture \
         ({width} x {height}); paint it over the whole reference, at any size"
    )]
    MaskShape {
        /// Pixels of the mask across.
        mask_width: usize,
        /// Pixels of the mask down.
        mask_height: usize,
        /// Pixels of the reference across.
        width: usize,
        /// Pixels of the reference down.
        height: usize,
    },
}

/// Weights of a painted mask that was read as linear luminance: white is 1 (focus), mid grey 0, black -1 (rest).
#[must_use]
pub fn mask_weights(luminance: &Raster<f32>) -> Raster<f32> {
    luminance.map(|l| {
        // Greys are meant as painted, so the mean of black and white is the encoded one.
        let weight = (2.0 * linear_to_srgb(f64::from(l)) - 1.0) as f32;
        if weight.abs() <= MID_GREY { 0.0 } else { weight.clamp(-1.0, 1.0) }
    })
}

impl Zones {
    /// Whether there are no zones at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.outlined.is_empty() && self.mask.is_none()
    }

    /// Whether any part of the picture is asked to be this.
    #[must_use]
    pub fn has(&self, purpose: Purpose) -> bool {
        let sign = if purpose == Purpose::Focus { 1.0 } else { -1.0 };
        self.outlined.iter().any(|z| z.purpose == purpose)
            || self.mask.as_ref().is_some_and(|m| m.data().iter().any(|&v| v * sign > 0.0))
    }

    /// Checks that the zones fit a picture of this size in mm and a reference of this many pixels.
    ///
    /// # Errors
    /// [`ZoneError`] for the first zone of which nothing lies on the picture (at `px_per_mm`), or a mask of another
    /// shape by more than 2 %.
    pub fn check(&self, size_mm: [f64; 2], pixels: [usize; 2], px_per_mm: f64) -> Result<(), ZoneError> {
        let working = size_mm.map(|side| (side * px_per_mm).round().max(1.0) as usize);
        for zone in &self.outlined {
            if !zone.outline.rows(size_mm, working).any(|(_, row)| !row.is_empty()) {
                return Err(ZoneError::Outside {
                    purpose: zone.purpose,
                    outline: zone.outline.clone(),
                    width_mm: size_mm[0],
                    height_mm: size_mm[1],
                });
            }
        }
        if let Some(mask) = &self.mask {
            let aspect = mask.width() as f64 / mask.height() as f64;
            // Pixels need not be square: the mask may be painted over the reference or over a print of it.
            let near = |other: f64| (1.0 / MASK_SHAPE_SLACK..=MASK_SHAPE_SLACK).contains(&(aspect / other));
            if !near(size_mm[0] / size_mm[1]) && !near(pixels[0] as f64 / pixels[1] as f64) {
                return Err(ZoneError::MaskShape {
                    mask_width: mask.width(),
                    mask_height: mask.height(),
                    width: pixels[0],
                    height: pixels[1],
                });
            }
        }
        Ok(())
    }

    /// The weight of each pixel of a working raster, from -1 (rest) to 1 (focus).
    #[must_use]
    pub fn weights(&self, width: usize, height: usize, px_per_mm: f64) -> Raster<f32> {
        let mut weights = match &self.mask {
            Some(mask) => soften(&resample(mask, width, height), px_per_mm),
            None => Raster::new(width, height, 0.0),
        };
        // Rest first: where both lie, focus has the last word.
        for (purpose, sign) in [(Purpose::Rest, -1.0), (Purpose::Focus, 1.0)] {
            let covered = self.covered(purpose, width, height, px_per_mm);
            if !covered.data().contains(&true) {
                continue;
            }
            let away = squared_distance_to(&covered);
            for (w, &d) in weights.data_mut().iter_mut().zip(away.data()) {
                let t = (1.0 - d.sqrt() / (BLEND_MM * px_per_mm) as f32).max(0.0);
                let share = t * t * (3.0 - 2.0 * t);
                // Inside it is the end itself, not its rounding.
                *w = if share >= 1.0 { sign } else { *w + share * (sign - *w) };
            }
        }
        weights
    }

    fn covered(&self, purpose: Purpose, width: usize, height: usize, px_per_mm: f64) -> Raster<bool> {
        let mut covered = Raster::new(width, height, false);
        let size_mm = [width as f64 / px_per_mm, height as f64 / px_per_mm];
        for zone in self.outlined.iter().filter(|z| z.purpose == purpose) {
            for (y, row) in zone.outline.rows(size_mm, [width, height]) {
                for span in row {
                    covered.data_mut()[y * width + span.start..y * width + span.end].fill(true);
                }
            }
        }
        covered
    }
}

/// Softens a mask; one that is even stays as it is to the last bit.
fn soften(mask: &Raster<f32>, px_per_mm: f64) -> Raster<f32> {
    let first = mask.data()[0];
    if mask.data().iter().all(|&v| v.total_cmp(&first).is_eq()) {
        return mask.clone();
    }
    gaussian(mask, (MASK_SOFTEN_MM * px_per_mm) as f32).map(|v| v.clamp(-1.0, 1.0))
}

/// The zones of a picture and their limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Zoning {
    /// Where they lie.
    pub zones: Zones,
    /// Limits in focus.
    pub focus: AreaOptions,
    /// Limits at rest.
    pub rest: AreaOptions,
}

/// A limit at a weight: a geometric blend, because limits act by their ratio (twice the width is one step, whether
/// from 0.5 or from 1 mm).
pub(super) fn blended(elsewhere: f64, focus: f64, rest: f64, weight: f32) -> f64 {
    let end = if weight > 0.0 { focus } else { rest };
    let share = f64::from(weight.abs());
    // At the end itself the limit is the one asked for, not its rounded root.
    if share >= 1.0 { end } else { elsewhere * (end / elsewhere).powf(share) }
}

#[cfg(test)]
mod tests;
