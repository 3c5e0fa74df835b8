//! PNG: a walk over the chunks (size, resolution, EXIF, gamma), then the decode.

use std::io::Cursor;

use image::{DynamicImage, ImageDecoder};

use super::decoded::{Budget, Coding, Decoded};
use super::error::Fault;
use super::exif;
use super::resolution::{self, Per, PixelsPerInch, pixels_per_inch};

/// What the chunks say.
#[derive(Clone, Debug, Default, PartialEq)]
struct Chunks<'a> {
    density: Option<PixelsPerInch>,
    exif: Option<&'a [u8]>,
    /// gAMA: the exponent that encoded the samples.
    gamma: Option<f64>,
    /// sRGB, iCCP or cICP is there, each of which overrides gAMA (PNG third edition, section 4.3).
    overridden: bool,
    /// cICP is there: which colour space the samples are in, as a code.
    coded: Option<[u8; 4]>,
}

fn be32(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(bytes.get(at..at.checked_add(4)?)?.try_into().ok()?))
}

/// Width and height from the header chunk.
pub(super) fn header(bytes: &[u8]) -> Option<(u64, u64)> {
    (bytes.get(12..16)? == b"IHDR").then_some(())?;
    Some((be32(bytes, 16)?.into(), be32(bytes, 20)?.into()))
}

/// Walks over the chunks; stops quietly where the file stops.
fn walk(bytes: &[u8]) -> Chunks<'_> {
    let mut chunks = Chunks::default();
    let mut at = 8_usize;
    while let (Some(length), Some(kind)) = (be32(bytes, at), bytes.get(at + 4..at + 8)) {
        let start = at + 8;
        let Some(end) = start.checked_add(length as usize) else { break };
        let Some(body) = bytes.get(start..end) else { break };
        match kind {
            b"pHYs" if body.get(8) == Some(&1) => {
                if let (Some(x), Some(y)) = (be32(body, 0), be32(body, 4)) {
                    chunks.density = pixels_per_inch(f64::from(x), f64::from(y), Per::Metre);
                }
            }
            b"eXIf" => chunks.exif = Some(body),
            b"gAMA" => chunks.gamma = be32(body, 0).filter(|&g| g > 0).map(|g| f64::from(g) / 100_000.0),
            b"sRGB" | b"iCCP" => chunks.overridden = true,
            b"cICP" => {
                chunks.overridden = true;
                chunks.coded = body.try_into().ok();
            }
            b"IEND" => break,
            _ => {}
        }
        let Some(next) = end.checked_add(4) else { break };
        at = next;
    }
    chunks
}

/// Decodes a PNG; of an animated one its still picture.
///
/// # Errors
/// [`Fault`] when it is too large, cut off or damaged.
pub(super) fn decode(bytes: &[u8], budget: Budget) -> Result<Decoded, Fault> {
    if let Some((width, height)) = header(bytes) {
        budget.check(width, height)?;
    }
    let mut decoder = image::codecs::png::PngDecoder::with_limits(Cursor::new(bytes), budget.limits())?;
    let (width, height) = decoder.dimensions();
    budget.check(width.into(), height.into())?;
    if decoder.total_bytes() > budget.bytes() {
        return Err(Fault::TooManyPixels { width: width.into(), height: height.into() });
    }
    let icc = decoder.icc_profile()?;
    let mut decoded = Decoded::from_image(DynamicImage::from_decoder(decoder)?)?;
    decoded.icc = icc;

    let chunks = walk(bytes);
    let exif = chunks.exif.map(exif::read).unwrap_or_default();
    decoded.orientation = exif.orientation.unwrap_or(1);
    decoded.pixels_per_inch =
        resolution::settle(chunks.density, exif.pixels_per_inch, "pHYs", &mut decoded.notes);
    decoded.coding = coding(&chunks, &mut decoded.notes);
    Ok(decoded)
}

/// How the samples stand for light where there is no profile.
fn coding(chunks: &Chunks<'_>, notes: &mut Vec<String>) -> Coding {
    // Primaries 1 with transfer 1, 6 or 13 is sRGB or near enough to it (ITU-T H.273).
    if let Some([_, transfer, _, _]) = chunks.coded.filter(|c| c[0] != 1 || !matches!(c[1], 1 | 6 | 13)) {
        if transfer == 8 {
            return Coding::Linear;
        }
        notes.push(
            "the colour space that its cICP chunk names is not followed; the picture is read as sRGB".into(),
        );
        return Coding::Srgb;
    }
    match chunks.gamma {
        // 1/2.2 is how writers state sRGB in this chunk (PNG third edition, annex on sRGB).
        Some(gamma)
            if !chunks.overridden && (gamma - 1.0 / 2.2).abs() > 0.005 && (0.1..=10.0).contains(&gamma) =>
        {
            if (gamma - 1.0).abs() < 0.005 {
                Coding::Linear
            } else {
                Coding::Power(1.0 / gamma)
            }
        }
        _ => Coding::Srgb,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A chunk with a wrong checksum, which the walk does not look at.
    fn chunk(kind: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let mut out = (body.len() as u32).to_be_bytes().to_vec();
        out.extend(kind);
        out.extend(body);
        out.extend([0; 4]);
        out
    }

    #[test]
    fn chunks_are_read_and_overridden() {
        let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
        bytes.extend(chunk(b"gAMA", &100_000_u32.to_be_bytes()));
        bytes.extend(chunk(b"pHYs", &[0, 0, 0x2E, 0x23, 0, 0, 0x2E, 0x23, 1]));
        let chunks = walk(&bytes);
        assert_eq!(coding(&chunks, &mut Vec::new()), Coding::Linear, "gAMA of 1 is linear light");
        let ppi = chunks.density.map(|p| p[0]).unwrap_or_default();
        assert!((ppi - 11_811.0 * 0.0254).abs() < 1e-9, "11811 per metre gave {ppi}");
        bytes.extend(chunk(b"sRGB", &[0]));
        assert_eq!(coding(&walk(&bytes), &mut Vec::new()), Coding::Srgb, "the sRGB chunk overrides gAMA");
    }

    #[test]
    fn shape_only_density_states_nothing() {
        let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
        bytes.extend(chunk(b"pHYs", &[0, 0, 0, 1, 0, 0, 0, 1, 0]));
        assert_eq!(walk(&bytes).density, None, "unit 0 is a ratio");
    }

    proptest! {
        #[test]
        fn the_walk_survives_any_bytes(bytes in proptest::collection::vec(prop_oneof![Just(0_u8), any::<u8>()], 0..200)) {
            let _ = walk(&bytes);
            let _ = header(&bytes);
        }
    }
}
