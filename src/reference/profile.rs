//! Embedded ICC profiles: parsing, naming, and ready transforms to linear or encoded sRGB.
//!
//! The intent is relative colorimetric: the profile's white becomes white paper, and nothing else is
//! bent. Black is not stretched: how dark a printed black looks is left for normalising ink and paper.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use moxcms::{
    BarycentricWeightScale, ColorProfile, DataColorSpace, InterpolationMethod, Layout, ProfileText,
    RenderingIntent, ToneReprCurve, TransformF32Executor, TransformOptions,
};

use super::decoded::Channels;
use crate::colour;

/// Most characters of a profile's name that are kept.
const LONGEST_NAME: usize = 80;

/// A profile made ready for one kind of samples.
pub(super) enum Prepared {
    /// Grey code (evenly spaced from 0 to 1) to linear light.
    Grey(Vec<f32>),
    /// Red, green and blue (0 to 1) to linear sRGB, which may lie outside 0 to 1.
    Colour(Arc<TransformF32Executor>),
    /// Four inks, or colour through tables, to encoded sRGB.
    Encoded(Arc<TransformF32Executor>),
}

/// A usable profile and its name.
pub(super) struct Profile {
    pub(super) prepared: Prepared,
    pub(super) name: String,
}

/// Parses a profile and prepares it for samples of that kind; `codes` is how many grey codes there are.
///
/// Grey samples may come with a colour profile: they stand for equal red, green and blue.
///
/// # Errors
/// A few words on why the profile cannot be used.
pub(super) fn prepare(icc: &[u8], channels: Channels, codes: usize) -> Result<Profile, String> {
    // Profiles come from anywhere; a parser that gives up must not take the picture with it.
    catch_unwind(AssertUnwindSafe(|| prepare_unguarded(icc, channels, codes)))
        .unwrap_or_else(|_| Err("it could not be parsed".into()))
}

fn prepare_unguarded(icc: &[u8], channels: Channels, codes: usize) -> Result<Profile, String> {
    let profile = ColorProfile::new_from_slice(icc).map_err(|e| format!("it could not be parsed: {e}"))?;
    let name = name(&profile);
    let space = profile.color_space;
    let prepared = match (channels, space) {
        (Channels::Grey | Channels::GreyAlpha, DataColorSpace::Gray) => {
            Prepared::Grey(grey_curve(&profile, codes)?)
        }
        (Channels::Grey | Channels::GreyAlpha, DataColorSpace::Rgb) => {
            Prepared::Grey(neutral_curve(&colour_transform(&profile)?, codes)?)
        }
        (Channels::Rgb | Channels::RgbAlpha, DataColorSpace::Rgb) => colour_transform(&profile)?,
        (Channels::Cmyk, DataColorSpace::Cmyk) => {
            let transform = profile
                .create_transform_f32(Layout::Rgba, &ColorProfile::new_srgb(), Layout::Rgb, options())
                .map_err(|e| e.to_string())?;
            Prepared::Encoded(transform)
        }
        _ => return Err(format!("it is made for {space:?} and the picture is not")),
    };
    check(&prepared, channels)?;
    Ok(Profile { prepared, name })
}

fn options() -> TransformOptions {
    TransformOptions {
        rendering_intent: RenderingIntent::RelativeColorimetric,
        prefer_fixed_point: false,
        interpolation_method: InterpolationMethod::Tetrahedral,
        barycentric_weight_scale: BarycentricWeightScale::High,
        allow_extended_range_rgb_xyz: true,
        ..TransformOptions::default()
    }
}

/// sRGB's primaries with samples that are light itself.
fn linear_srgb() -> ColorProfile {
    let mut profile = ColorProfile::new_srgb();
    let straight = || Some(ToneReprCurve::Parametric(vec![1.0]));
    profile.red_trc = straight();
    profile.green_trc = straight();
    profile.blue_trc = straight();
    // Otherwise the transfer function named there would be used instead of the curves.
    profile.cicp = None;
    profile
}

/// Matrix profiles go straight to linear light, without a clip; table profiles to encoded sRGB, because
/// their tables are spaced for encoded values.
fn colour_transform(profile: &ColorProfile) -> Result<Prepared, String> {
    let tables = profile.lut_a_to_b_perceptual.is_some()
        || profile.lut_a_to_b_colorimetric.is_some()
        || profile.lut_a_to_b_saturation.is_some();
    let target = if tables { ColorProfile::new_srgb() } else { linear_srgb() };
    let transform = profile
        .create_transform_f32(Layout::Rgb, &target, Layout::Rgb, options())
        .map_err(|e| e.to_string())?;
    Ok(if tables { Prepared::Encoded(transform) } else { Prepared::Colour(transform) })
}

/// The curve of a grey profile.
fn grey_curve(profile: &ColorProfile, codes: usize) -> Result<Vec<f32>, String> {
    let transform = profile
        .create_transform_f32(Layout::Gray, &ColorProfile::new_gray_with_gamma(1.0), Layout::Gray, options())
        .map_err(|e| e.to_string())?;
    let source = evenly_spaced(codes);
    let mut light = vec![0.0; codes];
    transform.transform(&source, &mut light).map_err(|e| e.to_string())?;
    Ok(light)
}

/// Luminance of equal red, green and blue.
fn neutral_curve(prepared: &Prepared, codes: usize) -> Result<Vec<f32>, String> {
    let source: Vec<f32> = evenly_spaced(codes).into_iter().flat_map(|v| [v; 3]).collect();
    let mut light = vec![0.0; codes];
    prepared.luminance(&source, &mut light)?;
    Ok(light)
}

fn evenly_spaced(codes: usize) -> Vec<f32> {
    (0..codes).map(|i| i as f32 / (codes - 1) as f32).collect()
}

impl Prepared {
    /// Linear luminance (0 to 1) of pixels given as 0 to 1: three samples each, four for inks.
    pub(super) fn luminance(&self, samples: &[f32], light: &mut [f32]) -> Result<(), String> {
        let mut rgb = vec![0.0; light.len() * 3];
        match self {
            Self::Grey(_) => return Err("a grey curve was given colour".into()),
            Self::Colour(t) => {
                t.transform(samples, &mut rgb).map_err(|e| e.to_string())?;
            }
            Self::Encoded(t) => {
                t.transform(samples, &mut rgb).map_err(|e| e.to_string())?;
                rgb.iter_mut().for_each(|v| *v = colour::srgb_to_linear(f64::from(v.clamp(0.0, 1.0))) as f32);
            }
        }
        let [r, g, b] = colour::LUMINANCE_WEIGHTS;
        for (out, p) in light.iter_mut().zip(rgb.chunks_exact(3)) {
            *out = (r * p[0] + g * p[1] + b * p[2]).clamp(0.0, 1.0);
        }
        Ok(())
    }
}

/// A profile that turns its own white dark, or gives no numbers, is broken whatever its header says.
fn check(prepared: &Prepared, channels: Channels) -> Result<(), String> {
    let (white, black) = if let Prepared::Grey(curve) = prepared {
        (curve.last().copied().unwrap_or(0.0), curve.first().copied().unwrap_or(1.0))
    } else {
        let mut ends = [0.0; 2];
        let (full, none) = if channels == Channels::Cmyk { (0.0, 1.0) } else { (1.0, 0.0) };
        let source: Vec<f32> = [full, none].iter().flat_map(|&v| vec![v; channels.colours()]).collect();
        prepared.luminance(&source, &mut ends)?;
        (ends[0], ends[1])
    };
    let sane = white.is_finite() && black.is_finite() && white > 0.5 && black < 0.5;
    if sane { Ok(()) } else { Err(format!("it makes white {white:.2} and black {black:.2}")) }
}

/// The profile's own description, or the kind it is of.
fn name(profile: &ColorProfile) -> String {
    let text = match &profile.description {
        Some(ProfileText::PlainString(s)) => s.as_str(),
        Some(ProfileText::Localizable(all)) => all.first().map_or("", |l| l.value.as_str()),
        Some(ProfileText::Description(d)) if !d.ascii_string.is_empty() => d.ascii_string.as_str(),
        Some(ProfileText::Description(d)) => d.unicode_string.as_str(),
        None => "",
    };
    let clean: String = text.chars().filter(|c| !c.is_control()).take(LONGEST_NAME).collect();
    let clean = clean.trim();
    if !clean.is_empty() {
        return clean.to_owned();
    }
    match profile.color_space {
        DataColorSpace::Gray => "unnamed grey profile".into(),
        DataColorSpace::Cmyk => "unnamed CMYK profile".into(),
        _ => "unnamed RGB profile".into(),
    }
}
