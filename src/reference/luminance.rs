//! Samples to linear luminance: transfer function or profile, then coverage over white paper, then
//! orientation.

use rayon::prelude::*;

use super::decoded::{Channels, Coding, Decoded, Samples};
use super::error::Fault;
use super::profile::{self, Prepared};
use crate::colour;
use crate::raster::Raster;

/// One stored sample.
trait Sample: Copy + Send + Sync {
    /// From 0 to 1.
    fn unit(self) -> f32;
}

impl Sample for u8 {
    fn unit(self) -> f32 {
        f32::from(self) / 255.0
    }
}

impl Sample for u16 {
    fn unit(self) -> f32 {
        f32::from(self) / 65_535.0
    }
}

impl Sample for f32 {
    fn unit(self) -> f32 {
        self.clamp(0.0, 1.0)
    }
}

/// How samples become light.
enum Tones {
    /// By a table over evenly spaced codes, each channel alone.
    Table(Vec<f32>),
    /// They are light already.
    Linear,
    /// Pixel by pixel through a profile.
    Profile(Prepared),
}

impl Tones {
    /// Light of one sample that stands alone.
    #[inline]
    fn of(&self, unit: f32) -> f32 {
        match self {
            // Codes of 8 and 16 bits come out exactly; float samples at the nearest of 65,536.
            Self::Table(table) => {
                table[((unit * (table.len() - 1) as f32 + 0.5) as usize).min(table.len() - 1)]
            }
            Self::Linear | Self::Profile(_) => unit,
        }
    }
}

/// Linear luminance of a decoded picture in its stored axes, and the name of the profile honoured.
///
/// # Errors
/// [`Fault::UnknownInks`] for CMYK without a usable profile, [`Fault::Damaged`] for samples that are not
/// numbers.
pub(super) fn luminance(
    decoded: &Decoded,
    notes: &mut Vec<String>,
) -> Result<(Raster<f32>, Option<String>), Fault> {
    let codes = if matches!(decoded.samples, Samples::U8(_)) { 256 } else { 65_536 };
    let mut honoured = None;
    let mut tones = None;
    if let Some(icc) = decoded.icc.as_deref() {
        match profile::prepare(icc, decoded.channels, codes) {
            Ok(found) => {
                honoured = Some(found.name);
                tones = Some(match found.prepared {
                    Prepared::Grey(curve) => Tones::Table(curve.iter().map(|v| v.clamp(0.0, 1.0)).collect()),
                    other => Tones::Profile(other),
                });
            }
            Err(why) if decoded.channels == Channels::Cmyk => {
                return Err(Fault::UnknownInks(format!("with a colour profile that cannot be used ({why})")));
            }
            Err(why) => {
                let taken = if decoded.coding == Coding::Srgb { "sRGB" } else { "it states otherwise" };
                notes.push(format!(
                    "the embedded colour profile is not used ({why}); the picture is read as {taken}"
                ));
            }
        }
    } else if decoded.channels == Channels::Cmyk {
        return Err(Fault::UnknownInks("without a colour profile".into()));
    }
    let tones = tones.unwrap_or_else(|| without_profile(decoded.coding, codes));
    let light = match &decoded.samples {
        Samples::U8(samples) => rows(decoded, samples, &tones)?,
        Samples::U16(samples) => rows(decoded, samples, &tones)?,
        Samples::F32(samples) => {
            check_floats(samples, notes)?;
            rows(decoded, samples, &tones)?
        }
    };
    Ok((Raster::from_vec(decoded.width, decoded.height, light), honoured))
}

/// Tones where no profile says how to take them.
fn without_profile(coding: Coding, codes: usize) -> Tones {
    let table = |f: &dyn Fn(f64) -> f64| {
        Tones::Table((0..codes).map(|i| f(i as f64 / (codes - 1) as f64) as f32).collect())
    };
    match coding {
        Coding::Srgb => table(&colour::srgb_to_linear),
        Coding::Power(p) => table(&|v| v.powf(p)),
        Coding::Linear => Tones::Linear,
    }
}

/// Refuses what is no number; tells when highlights are cut off.
fn check_floats(samples: &[f32], notes: &mut Vec<String>) -> Result<(), Fault> {
    if samples.par_iter().any(|v| !v.is_finite()) {
        return Err(Fault::Damaged("some samples are not numbers".into()));
    }
    if samples.par_iter().any(|&v| !(-0.001..=1.001).contains(&v)) {
        notes.push("samples below 0 or above 1 are cut off there: 1 is taken as white paper".into());
    }
    Ok(())
}

/// All rows, in parallel; each pixel depends on itself alone.
fn rows<T: Sample>(decoded: &Decoded, samples: &[T], tones: &Tones) -> Result<Vec<f32>, Fault> {
    let mut light = vec![0.0_f32; decoded.width * decoded.height];
    let stride = decoded.width * decoded.channels.count();
    light
        .par_chunks_mut(decoded.width)
        .zip(samples.par_chunks(stride))
        .try_for_each(|(out, row)| one_row(decoded, row, tones, out))?;
    Ok(light)
}

/// Light of one row, over white paper.
fn one_row<T: Sample>(decoded: &Decoded, row: &[T], tones: &Tones, out: &mut [f32]) -> Result<(), Fault> {
    let channels = decoded.channels;
    let (count, colours) = (channels.count(), channels.colours());
    let alpha = |p: &[T]| if channels.has_alpha() { p[colours].unit() } else { 1.0 };
    // Undoing the multiplication first lets the transfer function see the colour that was meant.
    let colour = |p: &[T], c: usize| {
        let (sample, a) = (p[c].unit(), alpha(p));
        if decoded.premultiplied && a > 0.0 { (sample / a).min(1.0) } else { sample }
    };
    match tones {
        Tones::Profile(prepared) => {
            let units: Vec<f32> =
                row.chunks_exact(count).flat_map(|p| (0..colours).map(move |c| colour(p, c))).collect();
            prepared
                .luminance(&units, out)
                .map_err(|e| Fault::Damaged(format!("its colour profile fails: {e}")))?;
        }
        _ if colours == 1 => {
            for (o, p) in out.iter_mut().zip(row.chunks_exact(count)) {
                *o = tones.of(colour(p, 0));
            }
        }
        _ => {
            let [r, g, b] = colour::LUMINANCE_WEIGHTS;
            for (o, p) in out.iter_mut().zip(row.chunks_exact(count)) {
                *o = r * tones.of(colour(p, 0)) + g * tones.of(colour(p, 1)) + b * tones.of(colour(p, 2));
            }
        }
    }
    if channels.has_alpha() {
        for (o, p) in out.iter_mut().zip(row.chunks_exact(count)) {
            let a = alpha(p);
            *o = a * *o + (1.0 - a);
        }
    }
    // The three weights add up to 1 only to the last bit of an f32.
    out.iter_mut().for_each(|o| *o = o.clamp(0.0, 1.0));
    Ok(())
}

/// Turns and mirrors a picture as its EXIF orientation (1 to 8) asks (Exif 2.32, tag 274).
pub(super) fn orient(stored: Raster<f32>, orientation: u8) -> Raster<f32> {
    if !(2..=8).contains(&orientation) {
        return stored;
    }
    let (w, h) = (stored.width(), stored.height());
    let (width, height) = if swaps_axes(orientation) { (h, w) } else { (w, h) };
    let mut turned = Raster::new(width, height, 0.0_f32);
    turned.data_mut().par_chunks_mut(width).enumerate().for_each(|(y, row)| {
        for (x, out) in row.iter_mut().enumerate() {
            *out = match orientation {
                2 => stored.at(w - 1 - x, y),
                3 => stored.at(w - 1 - x, h - 1 - y),
                4 => stored.at(x, h - 1 - y),
                5 => stored.at(y, x),
                6 => stored.at(y, h - 1 - x),
                7 => stored.at(w - 1 - y, h - 1 - x),
                _ => stored.at(w - 1 - y, x),
            };
        }
    });
    turned
}

/// Whether an orientation stands the picture on its side.
pub(super) fn swaps_axes(orientation: u8) -> bool {
    (5..=8).contains(&orientation)
}
