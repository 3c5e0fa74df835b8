//! JPEG: a walk over the markers (size, resolution, EXIF, inks, completeness), then the decode.
//!
//! The decoder is called directly rather than through the image library, for two reasons: the latter
//! turns printing inks into naive RGB, and it fills what is missing from a cut-off scan with grey.

use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::decoded::{Budget, Channels, Decoded, Samples};
use super::error::Fault;
use super::exif;
use super::resolution::{self, Per, PixelsPerInch, pixels_per_inch};

/// What the markers say.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Marks<'a> {
    /// Width, height and components of the frame.
    pub(super) frame: Option<(u16, u16, u8)>,
    /// Bits of one sample.
    precision: u8,
    /// The frame marker: baseline, progressive, lossless ...
    kind: u8,
    density: Option<PixelsPerInch>,
    exif: Option<&'a [u8]>,
    /// The transform number of an Adobe marker.
    adobe: Option<u8>,
    /// The header of each scan.
    scans: Vec<Scan>,
    /// Where the end marker lies, when one follows a scan: nothing is missing from the tail.
    end: Option<usize>,
}

/// What a scan header says: which coefficients of which components it brings, down to which bit.
#[derive(Clone, Debug, PartialEq)]
struct Scan {
    components: Vec<u8>,
    first: u8,
    last: u8,
    lowest_bit: u8,
}

/// Walks over the markers up to the end of the first picture; stops quietly where the file stops.
pub(super) fn walk(bytes: &[u8]) -> Marks<'_> {
    let mut marks = Marks::default();
    let mut at = 2;
    while let Some(found) = next_marker(bytes, at) {
        let (marker, after) = found;
        match marker {
            0xD9 => {
                marks.end = (!marks.scans.is_empty()).then_some(after - 2);
                break;
            }
            0x01 | 0xD0..=0xD8 => at = after,
            _ => {
                let Some(length) = be16(bytes, after).map(usize::from).filter(|&n| n >= 2) else { break };
                let Some(body) = bytes.get(after + 2..after + length) else { break };
                segment(marker, body, &mut marks);
                at = after + length;
            }
        }
    }
    marks
}

/// The next marker from `at` on and the position behind it; bytes of a scan are passed over.
fn next_marker(bytes: &[u8], mut at: usize) -> Option<(u8, usize)> {
    loop {
        at += bytes.get(at..)?.iter().position(|&b| b == 0xFF)?;
        match *bytes.get(at + 1)? {
            // A stuffed byte of a scan, or a restart inside one.
            0x00 | 0xD0..=0xD7 => at += 2,
            0xFF => at += 1,
            marker => return Some((marker, at + 2)),
        }
    }
}

fn be16(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_be_bytes(bytes.get(at..at.checked_add(2)?)?.try_into().ok()?))
}

/// Notes down what one segment states.
fn segment<'a>(marker: u8, body: &'a [u8], marks: &mut Marks<'a>) {
    match marker {
        0xC0..=0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF if marks.frame.is_none() => {
            if let (Some(&precision), Some(height), Some(width), Some(&parts)) =
                (body.first(), be16(body, 1), be16(body, 3), body.get(5))
            {
                marks.frame = Some((width, height, parts));
                marks.precision = precision;
                marks.kind = marker;
            }
        }
        0xE0 if body.starts_with(b"JFIF\0") && marks.density.is_none() => {
            // Unit 0 states only the shape of a pixel, nothing physical (JFIF 1.02).
            let per = match body.get(7) {
                Some(1) => Per::Inch,
                Some(2) => Per::Centimetre,
                _ => return,
            };
            if let (Some(x), Some(y)) = (be16(body, 8), be16(body, 10)) {
                marks.density = pixels_per_inch(f64::from(x), f64::from(y), per);
            }
        }
        0xE1 if body.starts_with(b"Exif\0\0") && marks.exif.is_none() => marks.exif = Some(body),
        0xDA => marks.scans.extend(scan(body)),
        0xEE if body.starts_with(b"Adobe") => marks.adobe = body.get(11).copied(),
        _ => {}
    }
}

/// Reads a scan header (ITU-T T.81, B.2.3).
fn scan(body: &[u8]) -> Option<Scan> {
    let count = usize::from(*body.first()?);
    let components = (0..count).map(|i| body.get(1 + 2 * i).copied()).collect::<Option<Vec<_>>>()?;
    let rest = body.get(1 + 2 * count..)?;
    Some(Scan { components, first: *rest.first()?, last: *rest.get(1)?, lowest_bit: rest.get(2)? & 15 })
}

/// Whether the scans of a progressive picture bring everything down to the last bit.
///
/// What a component was begun with has to be refined to bit 0; the first component (lightness) has to
/// have all its 64 coefficients. A picture cut between two scans and closed by some program fails this.
fn refined(scans: &[Scan]) -> bool {
    let Some(&lightness) = scans.first().and_then(|s| s.components.first()) else { return false };
    let mut seen: Vec<(u8, [Option<u8>; 64])> = Vec::new();
    for scan in scans {
        for &component in &scan.components {
            if !seen.iter().any(|(c, _)| *c == component) {
                seen.push((component, [None; 64]));
            }
            let Some((_, bits)) = seen.iter_mut().find(|(c, _)| *c == component) else { continue };
            bits.iter_mut()
                .enumerate()
                .filter(|(k, _)| (usize::from(scan.first)..=usize::from(scan.last)).contains(k))
                .for_each(|(_, bit)| *bit = Some(scan.lowest_bit));
        }
    }
    seen.iter().all(|(component, bits)| {
        bits.iter().all(|bit| *bit == Some(0) || (bit.is_none() && *component != lightness))
    })
}

/// The bytes for the decoder: a single sequential scan without its end marker.
///
/// Where the decoder meets the end marker too early it makes up zeros; where the bytes run out it says
/// so. It reads up to 8 bytes ahead, hence the filler; up to 8 bytes missing from the tail stay unseen.
fn open_ended(bytes: &[u8], marks: &Marks<'_>, end: usize) -> Vec<u8> {
    let parts = marks.frame.map_or(0, |f| usize::from(f.2));
    let single =
        marks.kind != PROGRESSIVE && marks.scans.len() == 1 && marks.scans[0].components.len() == parts;
    if !single {
        return bytes.to_vec();
    }
    let mut open = bytes.get(..end).unwrap_or(bytes).to_vec();
    open.extend([0; 8]);
    open
}

/// The frame marker of progressive pictures.
const PROGRESSIVE: u8 = 0xC2;

/// Decodes a JPEG.
///
/// # Errors
/// [`Fault`] when it is too large, cut off, damaged or of a kind the decoder lacks.
pub(super) fn decode(bytes: &[u8], budget: Budget) -> Result<Decoded, Fault> {
    let marks = walk(bytes);
    if let Some((width, height, _)) = marks.frame {
        budget.check(width.into(), height.into())?;
        if !matches!(marks.kind, 0xC0..=0xC2) {
            return Err(Fault::Unsupported("lossless, hierarchical or arithmetic coding".into()));
        }
        if marks.precision != 8 {
            return Err(Fault::Unsupported(format!("{} bits a sample", marks.precision)));
        }
    }
    let Some(end) = marks.end else { return Err(Fault::Truncated) };
    if marks.kind == PROGRESSIVE && !refined(&marks.scans) {
        return Err(Fault::Truncated);
    }
    let open = open_ended(bytes, &marks, end);

    // Headers leniently (stray bytes between segments do no harm), the scan strictly (what is missing
    // from a scan would come out as grey).
    let options = DecoderOptions::default()
        .set_strict_mode(false)
        .set_max_width(usize::from(u16::MAX))
        .set_max_height(usize::from(u16::MAX));
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(open.as_slice()), options);
    decoder.decode_headers().map_err(fault)?;
    let info = decoder.info().ok_or_else(|| Fault::Damaged("no frame header".into()))?;
    budget.check(info.width.into(), info.height.into())?;
    let stored = decoder.input_colorspace();
    let (out, channels) = match info.components {
        1 => (ColorSpace::Luma, Channels::Grey),
        3 => (ColorSpace::RGB, Channels::Rgb),
        4 if stored == Some(ColorSpace::YCCK) => (ColorSpace::YCCK, Channels::Cmyk),
        4 => (ColorSpace::CMYK, Channels::Cmyk),
        n => return Err(Fault::Unsupported(format!("{n} components"))),
    };
    decoder.set_options(options.set_strict_mode(true).jpeg_set_out_colorspace(out));
    let mut samples = decoder.decode().map_err(fault)?;
    if channels == Channels::Cmyk {
        inks(&mut samples, out == ColorSpace::YCCK, marks.adobe.is_some());
    }

    let mut decoded = Decoded::new(info.width.into(), info.height.into(), Samples::U8(samples), channels)?;
    decoded.icc = decoder.icc_profile();
    let exif = marks.exif.map(exif::read).unwrap_or_default();
    decoded.orientation = exif.orientation.unwrap_or(1);
    decoded.pixels_per_inch =
        resolution::settle(marks.density, exif.pixels_per_inch, "JFIF", &mut decoded.notes);
    Ok(decoded)
}

/// Turns the four stored components into ink, 0 for none and 255 for full.
///
/// With the Adobe marker inks are stored upside down, without it they are not (common practice of
/// decoders, no source). In YCCK the first three are YCbCr (JFIF 1.02) of the complement of what is stored
/// as CMYK; black stays as it is. So with the marker the two turns cancel for three of the four.
fn inks(samples: &mut [u8], ycck: bool, inverted: bool) {
    use rayon::prelude::*;
    samples.par_chunks_mut(1 << 16).for_each(|part| {
        for pixel in part.chunks_exact_mut(4) {
            if ycck {
                let (y, cb, cr) =
                    (f32::from(pixel[0]), f32::from(pixel[1]) - 128.0, f32::from(pixel[2]) - 128.0);
                let rgb = [y + 1.402 * cr, y - 0.344_136 * cb - 0.714_136 * cr, y + 1.772 * cb];
                for (sample, value) in pixel.iter_mut().zip(rgb) {
                    let byte = (value + 0.5).clamp(0.0, 255.0) as u8;
                    *sample = if inverted { byte } else { 255 - byte };
                }
                if inverted {
                    pixel[3] = 255 - pixel[3];
                }
            } else if inverted {
                pixel.iter_mut().for_each(|s| *s = 255 - *s);
            }
        }
    });
}

/// The decoder's errors in our words.
fn fault(error: zune_jpeg::errors::DecodeErrors) -> Fault {
    use zune_jpeg::errors::DecodeErrors as E;
    match error {
        E::ExhaustedData | E::FormatStatic("Premature end of buffer") => Fault::Truncated,
        E::Unsupported(kind) => Fault::Unsupported(format!("{kind:?}")),
        other => {
            let text = format!("{other:?}").replace('"', "");
            if text.contains("more than bits left") { Fault::Truncated } else { Fault::Damaged(text) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_walk_reads_size_and_density() {
        // Assembled by hand from ITU-T T.81 annex B and JFIF 1.02.
        let mut bytes = vec![0xFF, 0xD8, 0xFF, 0xE0, 0, 16];
        bytes.extend(*b"JFIF\0");
        bytes.extend([1, 2, 2, 0, 118, 0, 118, 0, 0]);
        bytes.extend([0xFF, 0xC0, 0, 11, 8, 0xEA, 0x60, 0x00, 0x20, 1, 1, 0x11, 0]);
        bytes.extend([0xFF, 0xDA, 0, 8, 1, 1, 0, 0, 63, 0, 0x12, 0xFF, 0x00, 0xFF, 0xD0, 0x34]);
        let cut = walk(&bytes);
        assert_eq!(cut.frame, Some((32, 60_000, 1)), "width, height, components");
        assert!(cut.end.is_none(), "no end marker yet");
        let ppi = cut.density.map(|p| p[0]).unwrap_or_default();
        assert!((ppi - 118.0 * 2.54).abs() < 1e-9, "118 per cm gave {ppi}");
        bytes.extend([0xFF, 0xD9]);
        assert!(walk(&bytes).end.is_some(), "the end marker follows the scan");
    }

    #[test]
    fn inks_from_ycck_by_construction() {
        // Inks (40, 90, 200, 30) as libjpeg's conversion would store them, by the JFIF 1.02 equations:
        // Y = 0.299 R + 0.587 G + 0.114 B of the stored-upside-down inks themselves.
        let (r, g, b) = (40.0_f32, 90.0_f32, 200.0_f32);
        let y = 0.299 * r + 0.587 * g + 0.114 * b;
        let stored = [
            y,
            128.0 - 0.168_736 * r - 0.331_264 * g + 0.5 * b,
            128.0 + 0.5 * r - 0.418_688 * g - 0.081_312 * b,
        ];
        let mut pixel: Vec<u8> = stored.iter().map(|v| v.round() as u8).collect();
        pixel.push(255 - 30);
        inks(&mut pixel, true, true);
        for (got, want) in pixel.iter().zip([40, 90, 200, 30]) {
            assert!((i32::from(*got) - want).abs() <= 2, "inks came out as {pixel:?}");
        }
    }

    proptest! {
        #[test]
        fn the_walk_survives_any_bytes(bytes in proptest::collection::vec(prop_oneof![Just(0xFF_u8), any::<u8>()], 0..300)) {
            let _ = walk(&bytes);
        }
    }
}
