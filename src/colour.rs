//! Tone maths: the sRGB transfer function, luminance weights and CIE lightness.
//!
//! Reflectance (Y) is linear, 0 black to 1 white; lightness (L*) is 0 to 100.

/// sRGB luminance weights of linear red, green and blue (IEC 61966-2-1, from ITU-R BT.709).
pub const LUMINANCE_WEIGHTS: [f32; 3] = [0.2126, 0.7152, 0.0722];

/// Where the cube root of CIE L* gives way to its straight part: (6/29)^3 (CIE 15).
const CIE_EPSILON: f64 = 216.0 / 24_389.0;
/// Slope of the straight part times 100: (29/3)^3 (CIE 15).
const CIE_KAPPA: f64 = 24_389.0 / 27.0;

/// Decodes one sRGB component (0 to 1) to linear light (IEC 61966-2-1).
#[must_use]
pub fn srgb_to_linear(encoded: f64) -> f64 {
    if encoded <= 0.040_45 { encoded / 12.92 } else { ((encoded + 0.055) / 1.055).powf(2.4) }
}

/// Encodes linear light (0 to 1) as one sRGB component (IEC 61966-2-1).
#[must_use]
pub fn linear_to_srgb(linear: f64) -> f64 {
    if linear <= 0.003_130_8 { linear * 12.92 } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 }
}

/// CIE 1976 lightness L* of a reflectance Y/Yn (CIE 15); negative input gives 0.
#[must_use]
pub fn lightness(reflectance: f64) -> f64 {
    let y = reflectance.max(0.0);
    if y > CIE_EPSILON { 116.0 * y.cbrt() - 16.0 } else { CIE_KAPPA * y }
}

/// Reflectance Y/Yn of a CIE 1976 lightness L* (inverse of [`lightness`]).
#[must_use]
pub fn reflectance(lightness: f64) -> f64 {
    if lightness > 8.0 { ((lightness + 16.0) / 116.0).powi(3) } else { lightness / CIE_KAPPA }
}

/// [`lightness`] for pixel loops: within 0.00003 L* of it.
#[must_use]
#[inline]
pub fn lightness_f32(reflectance: f32) -> f32 {
    let y = reflectance.max(0.0);
    if y > CIE_EPSILON as f32 { 116.0 * cube_root(y) - 16.0 } else { CIE_KAPPA as f32 * y }
}

/// Cube root of a positive number, without a call or a branch, so that loops over pixels run in vector registers: a
/// third of the exponent (W. Kahan and others), then two of Halley's steps, each of which cubes the error of about 4 %.
#[inline]
fn cube_root(y: f32) -> f32 {
    const THIRD_OF_BIAS: u32 = 709_958_130;
    let mut x = f32::from_bits(y.to_bits() / 3 + THIRD_OF_BIAS);
    for _ in 0..2 {
        let cube = x * x * x;
        x *= (cube + 2.0 * y) / (2.0 * cube + y);
    }
    x
}
