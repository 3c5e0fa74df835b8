//! WebP, BMP and GIF: small headers, then the image library's decoders.

use std::io::Cursor;

use image::{DynamicImage, ImageDecoder};

use super::decoded::{Budget, Decoded};
use super::error::Fault;
use super::exif;
use super::resolution::{Per, PixelsPerInch, pixels_per_inch};

fn le16(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(bytes.get(at..at.checked_add(2)?)?.try_into().ok()?))
}

fn le32(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_le_bytes(bytes.get(at..at.checked_add(4)?)?.try_into().ok()?))
}

/// Checks sizes and decodes with what is common to the three.
fn decode_with(mut decoder: impl ImageDecoder, budget: Budget) -> Result<Decoded, Fault> {
    let (width, height) = decoder.dimensions();
    budget.check(width.into(), height.into())?;
    if decoder.total_bytes() > budget.bytes() {
        return Err(Fault::TooManyPixels { width: width.into(), height: height.into() });
    }
    decoder.set_limits(budget.limits())?;
    let icc = decoder.icc_profile()?;
    let exif = decoder.exif_metadata()?.map(|block| exif::read(&block)).unwrap_or_default();
    let mut decoded = Decoded::from_image(DynamicImage::from_decoder(decoder)?)?;
    decoded.icc = icc;
    decoded.orientation = exif.orientation.unwrap_or(1);
    decoded.pixels_per_inch = exif.pixels_per_inch;
    Ok(decoded)
}

/// Decodes a WebP; of an animated one the first frame. Resolution comes from its EXIF block.
///
/// # Errors
/// [`Fault`] when it is too large, cut off or damaged.
pub(super) fn decode_webp(bytes: &[u8], budget: Budget) -> Result<Decoded, Fault> {
    // The RIFF header states the length: a shorter file is cut off, whatever the decoder makes of it.
    let stated = le32(bytes, 4).ok_or(Fault::Truncated)?;
    if (bytes.len() as u64) < u64::from(stated) + 8 {
        return Err(Fault::Truncated);
    }
    let decoder = image::codecs::webp::WebPDecoder::new(Cursor::new(bytes))?;
    let animated = decoder.has_animation();
    let mut decoded = decode_with(decoder, budget)?;
    if animated {
        decoded.notes.push("the file is animated; its first frame is read".into());
    }
    Ok(decoded)
}

/// Decodes a BMP.
///
/// # Errors
/// [`Fault`] when it is too large, cut off or damaged.
pub(super) fn decode_bmp(bytes: &[u8], budget: Budget) -> Result<Decoded, Fault> {
    if let Some((width, height)) = bmp_size(bytes) {
        budget.check(width, height)?;
    }
    let mut decoded = decode_with(image::codecs::bmp::BmpDecoder::new(Cursor::new(bytes))?, budget)?;
    decoded.pixels_per_inch = bmp_resolution(bytes);
    Ok(decoded)
}

/// Width and height from the information header; a negative height only says which row comes first.
fn bmp_size(bytes: &[u8]) -> Option<(u64, u64)> {
    if le32(bytes, 14)? == 12 {
        return Some((le16(bytes, 18)?.into(), le16(bytes, 20)?.into()));
    }
    let signed = |at| le32(bytes, at).map(|v| u64::from(v.cast_signed().unsigned_abs()));
    Some((signed(18)?, signed(22)?))
}

/// Pixels per metre from the information header (bytes 38 to 45).
fn bmp_resolution(bytes: &[u8]) -> Option<PixelsPerInch> {
    if le32(bytes, 14)? < 40 {
        return None;
    }
    pixels_per_inch(
        f64::from(le32(bytes, 38)?.cast_signed()),
        f64::from(le32(bytes, 42)?.cast_signed()),
        Per::Metre,
    )
}

/// Decodes the first frame of a GIF, which states no physical resolution.
///
/// # Errors
/// [`Fault`] when it is too large, cut off or damaged.
pub(super) fn decode_gif(bytes: &[u8], budget: Budget) -> Result<Decoded, Fault> {
    if let (Some(width), Some(height)) = (le16(bytes, 6), le16(bytes, 8)) {
        budget.check(width.into(), height.into())?;
    }
    decode_with(image::codecs::gif::GifDecoder::new(Cursor::new(bytes))?, budget)
}
