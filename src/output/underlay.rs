//! The reference under the lines, as faint as wanted.

use crate::colour::linear_to_srgb;
use crate::raster::Raster;
use crate::sheet::{Placement, RectMm, View};
use kurbo::Affine;

/// The reference as it lies under the lines.
#[derive(Clone, Debug, PartialEq)]
pub struct Underlay {
    /// Grey samples, encoded by the sRGB curve, already as faint as wanted.
    pub grey: Raster<u8>,
    /// Where it lies on the sheet as it is, in mm.
    pub picture_mm: RectMm,
    /// From the sheet as it is to the sheet as shown.
    pub shown: Affine,
}

impl Underlay {
    /// The reference (linear reflectance, at any scale) at a strength: 1 as it is, 0 bare paper.
    #[must_use]
    pub fn new(luminance: &Raster<f32>, strength: f64, placement: &Placement, view: View) -> Self {
        Self::of_grey(grey(luminance, strength), placement, view)
    }

    /// Grey samples as they are, over the picture.
    #[must_use]
    pub fn of_grey(grey: Raster<u8>, placement: &Placement, view: View) -> Self {
        Self { grey, picture_mm: placement.picture_mm, shown: view.transform(placement.sheet_mm) }
    }

    /// Grey samples as they are, in a rectangle of the sheet as shown.
    #[must_use]
    pub fn piece(grey: Raster<u8>, rect: RectMm) -> Self {
        Self { grey, picture_mm: rect, shown: Affine::IDENTITY }
    }
}

/// Linear reflectance in grey samples of sRGB, at a strength: 1 as it is, 0 bare paper.
#[must_use]
pub fn grey(luminance: &Raster<f32>, strength: f64) -> Raster<u8> {
    luminance.map(|y| {
        let encoded = linear_to_srgb(f64::from(y).clamp(0.0, 1.0));
        (255.0 * (1.0 - strength * (1.0 - encoded))).round() as u8
    })
}
