//! TIFF: decoded directly, because the image library lacks float grey and turns inks into naive RGB.

use std::io::Cursor;

use tiff::ColorType;
use tiff::decoder::ifd::Value;
use tiff::decoder::{Decoder, DecodingResult, Limits};
use tiff::tags::Tag;

use super::decoded::{Budget, Channels, Coding, Decoded, Samples};
use super::error::Fault;
use super::exif::{orientation_from, resolution_from};

type File<'a> = Decoder<Cursor<&'a [u8]>>;

/// ExtraSamples 1: coverage that the colour was multiplied by (TIFF 6.0, page 31).
const ASSOCIATED: u16 = 1;
/// ExtraSamples 2: coverage beside untouched colour.
const UNASSOCIATED: u16 = 2;
/// JPEG inside TIFF, the technical note's kind.
const COMPRESSION_JPEG: u16 = 7;

/// Decodes the first picture of a TIFF.
///
/// Float samples without a profile are taken as linear light from 0 to 1.
///
/// # Errors
/// [`Fault`] when it is too large, cut off, damaged or of a kind that is not read.
pub(super) fn decode(bytes: &[u8], budget: Budget) -> Result<Decoded, Fault> {
    let mut limits = Limits::default();
    let most = usize::try_from(budget.bytes()).unwrap_or(usize::MAX);
    limits.decoding_buffer_size = most;
    limits.intermediate_buffer_size = most;
    limits.ifd_value_size = most.min(64 << 20);
    let mut file = Decoder::new(Cursor::new(bytes)).map_err(fault)?.with_limits(limits);
    let (width, height) = file.dimensions().map_err(fault)?;
    budget.check(width.into(), height.into())?;
    let (width, height) = (width as usize, height as usize);

    let extra: Vec<u16> = file.find_tag_unsigned_vec(Tag::ExtraSamples).map_err(fault)?.unwrap_or_default();
    let kind = file.colortype().map_err(fault)?;
    let jpeg =
        number(&mut file, Tag::Compression).is_some_and(|c| (c - f64::from(COMPRESSION_JPEG)).abs() < 0.5);
    let (stored, channels, keep) = layout(kind, extra.first().copied(), jpeg)?;

    let mut buffer = DecodingResult::U8(Vec::new());
    let read = file.read_image_to_buffer(&mut buffer).map_err(fault)?;
    if buffer.as_buffer(0).as_bytes().len() < read.complete_len {
        return Err(Fault::Unsupported("separate colour planes over the allocation limit".into()));
    }
    let planes = read.planes.max(1);
    let order =
        Order { width, height, stored, keep, planes, plane_bytes: read.plane_stride.map_or(0, |n| n.get()) };
    let samples = match buffer {
        DecodingResult::U8(v) if kind.bit_depth() < 8 => {
            Samples::U8(unpack(&v, width, height, kind.bit_depth())?)
        }
        DecodingResult::U8(v) if kind.bit_depth() == 8 => Samples::U8(order.interleave(v, 1)?),
        DecodingResult::U16(v) => Samples::U16(order.interleave(v, 2)?),
        DecodingResult::F16(v) => {
            Samples::F32(order.interleave(v, 2)?.into_iter().map(|half| half.to_f32()).collect())
        }
        DecodingResult::F32(v) => Samples::F32(order.interleave(v, 4)?),
        _ => return Err(Fault::Unsupported(format!("{} bit samples of this type", kind.bit_depth()))),
    };

    let mut decoded = Decoded::new(width, height, samples, channels)?;
    decoded.premultiplied = channels.has_alpha() && extra.first() == Some(&ASSOCIATED);
    if matches!(decoded.samples, Samples::F32(_)) {
        decoded.coding = Coding::Linear;
    }
    decoded.icc = file.find_tag(Tag::IccProfile).ok().flatten().and_then(|v| v.into_u8_vec().ok());
    decoded.orientation = number(&mut file, Tag::Orientation).and_then(orientation_from).unwrap_or(1);
    let (x, y) = (number(&mut file, Tag::XResolution), number(&mut file, Tag::YResolution));
    decoded.pixels_per_inch = resolution_from(x, y, number(&mut file, Tag::ResolutionUnit));
    if file.more_images() {
        decoded.notes.push("the file holds several pictures; the first is read".into());
    }
    Ok(decoded)
}

/// Stored samples per pixel, what they are, and how many of them count.
fn layout(kind: ColorType, extra: Option<u16>, jpeg: bool) -> Result<(usize, Channels, usize), Fault> {
    let covers = matches!(extra, Some(ASSOCIATED | UNASSOCIATED));
    Ok(match kind {
        ColorType::Gray(1 | 2 | 4 | 8 | 16 | 32) => (1, Channels::Grey, 1),
        ColorType::Multiband { bit_depth: 8 | 16 | 32, num_samples: 2 } if covers => {
            (2, Channels::GreyAlpha, 2)
        }
        ColorType::Multiband { bit_depth: 8 | 16 | 32, num_samples: 2 } => (2, Channels::Grey, 1),
        ColorType::RGB(8 | 16 | 32) => (3, Channels::Rgb, 3),
        ColorType::RGBA(8 | 16 | 32) if covers => (4, Channels::RgbAlpha, 4),
        // A fourth sample of no stated meaning is not coverage (TIFF 6.0, ExtraSamples 0).
        ColorType::RGBA(8 | 16 | 32) => (4, Channels::Rgb, 3),
        ColorType::CMYK(_) if jpeg => {
            return Err(Fault::Unsupported("CMYK in JPEG compression inside TIFF".into()));
        }
        ColorType::CMYK(8 | 16) => (4, Channels::Cmyk, 4),
        other => return Err(Fault::Unsupported(format!("colour type {other:?}"))),
    })
}

/// Where the samples lie in the decoder's buffer.
struct Order {
    width: usize,
    height: usize,
    /// Samples per pixel in the file.
    stored: usize,
    /// How many of them are kept.
    keep: usize,
    planes: usize,
    /// Bytes from one plane to the next.
    plane_bytes: usize,
}

impl Order {
    /// The samples that count, pixel by pixel.
    fn interleave<T: Copy>(&self, samples: Vec<T>, bytes_each: usize) -> Result<Vec<T>, Fault> {
        let short = || Fault::Damaged("less data than its size asks for".into());
        let pixels = self.width * self.height;
        if self.planes > 1 {
            let stride = self.plane_bytes / bytes_each;
            let planes = (0..self.keep)
                .map(|p| samples.get(p * stride..).and_then(|s| s.get(..pixels)).ok_or_else(short))
                .collect::<Result<Vec<_>, _>>()?;
            return Ok((0..pixels).flat_map(|i| planes.iter().map(move |p| p[i])).collect());
        }
        if samples.len() < pixels * self.stored {
            return Err(short());
        }
        if self.keep == self.stored {
            let mut samples = samples;
            samples.truncate(pixels * self.stored);
            return Ok(samples);
        }
        let pixel = samples.chunks_exact(self.stored).take(pixels);
        Ok(pixel.flat_map(|p| p.iter().take(self.keep).copied()).collect())
    }
}

/// Grey of 1, 2 or 4 bits, rows padded to whole bytes, as 8 bits.
fn unpack(packed: &[u8], width: usize, height: usize, bits: u8) -> Result<Vec<u8>, Fault> {
    if !matches!(bits, 1 | 2 | 4) {
        return Err(Fault::Unsupported(format!("{bits} bit samples")));
    }
    let bits = usize::from(bits);
    let row_bytes = (width * bits).div_ceil(8);
    if packed.len() < row_bytes * height {
        return Err(Fault::Damaged("less data than its size asks for".into()));
    }
    let most = (1_u8 << bits) - 1;
    let mut out = Vec::with_capacity(width * height);
    for row in packed.chunks_exact(row_bytes).take(height) {
        out.extend((0..width).map(|x| {
            let bit = x * bits;
            ((row[bit / 8] >> (8 - bits - bit % 8)) & most) * (255 / most)
        }));
    }
    Ok(out)
}

/// A tag's first value as a number.
fn number(file: &mut File<'_>, tag: Tag) -> Option<f64> {
    fn of(value: Value) -> Option<f64> {
        match value {
            Value::Byte(v) => Some(v.into()),
            Value::Short(v) => Some(v.into()),
            Value::Unsigned(v) => Some(v.into()),
            Value::Float(v) => Some(v.into()),
            Value::Double(v) => Some(v),
            Value::Rational(top, bottom) if bottom != 0 => Some(f64::from(top) / f64::from(bottom)),
            Value::List(list) => list.into_iter().next().and_then(of),
            _ => None,
        }
    }
    file.find_tag(tag).ok().flatten().and_then(of)
}

/// The decoder's errors in our words.
fn fault(error: tiff::TiffError) -> Fault {
    match error {
        tiff::TiffError::IoError(e) => e.into(),
        tiff::TiffError::UnsupportedError(e) => Fault::Unsupported(e.to_string()),
        tiff::TiffError::LimitsExceeded => {
            Fault::Unsupported("its data need more memory than its size allows".into())
        }
        other => Fault::Damaged(other.to_string()),
    }
}
