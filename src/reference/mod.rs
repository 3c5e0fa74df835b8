//! Reference: the picture studied, read from a file into linear luminance.
//!
//! JPEG, PNG, TIFF, WebP, BMP and GIF; colour by the embedded profile, else sRGB; coverage over white
//! paper in linear light; turned as EXIF says. The size a header announces is checked before anything
//! is decoded, and a decoder that panics is caught.

mod decoded;
mod error;
mod exif;
mod jpeg;
mod luminance;
pub mod page;
mod plain;
mod png;
mod profile;
mod resample;
mod resolution;
mod tiff;

use std::fs::File;
use std::io::{self, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use sha2::{Digest, Sha256};

pub use error::ReferenceError;
pub use resample::resample;

use crate::notes::Noted;
use crate::raster::Raster;
use decoded::{Budget, Decoded};
use error::Fault;

/// Bytes that tell the formats apart.
const SNIFF_BYTES: usize = 32;

/// How a reference is read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadOptions {
    /// Largest picture that is decoded, in millions of pixels. It also bounds the bytes read and the
    /// memory taken: about 16 bytes a pixel.
    pub max_megapixels: f64,
}

impl Default for ReadOptions {
    fn default() -> Self {
        Self { max_megapixels: 400.0 }
    }
}

/// A reference ready for the later stages.
#[derive(Clone, Debug, PartialEq)]
pub struct Reference {
    /// Linear reflectance, 0 black to 1 white, at the picture's own pixels, turned upright.
    pub luminance: Raster<f32>,
    /// Stated physical resolution, pixels per inch across and down, after turning upright.
    pub pixels_per_inch: Option<[f64; 2]>,
    /// SHA-256 of the file's bytes, in lower-case hexadecimal.
    pub sha256: String,
    /// The format, such as "JPEG".
    pub format: &'static str,
    /// Bits of one sample as decoded: 8, 16, or 32 for floating point.
    pub bits: u8,
    /// The name of the embedded colour profile that was honoured; none means sRGB (or linear light,
    /// where the file says so).
    pub profile: Option<String>,
}

/// The formats that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Format {
    Jpeg,
    Png,
    Tiff,
    WebP,
    Bmp,
    Gif,
}

impl Format {
    /// Tells the format by the first bytes; the file's extension says nothing.
    fn sniff(bytes: &[u8]) -> Option<Self> {
        match bytes {
            [0xFF, 0xD8, 0xFF, ..] => Some(Self::Jpeg),
            [0x89, b'P', b'N', b'G', b'\r', b'\n', 0x1A, b'\n', ..] => Some(Self::Png),
            [b'I', b'I', 42 | 43, 0, ..] | [b'M', b'M', 0, 42 | 43, ..] => Some(Self::Tiff),
            [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Some(Self::WebP),
            // A text may begin with BM: the header's size, a small number, has to follow.
            [b'B', b'M', _, _, _, _, _, _, _, _, _, _, _, _, 12..=124, 0, 0, 0, ..] => Some(Self::Bmp),
            [b'G', b'I', b'F', b'8', b'7' | b'9', b'a', ..] => Some(Self::Gif),
            _ => None,
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
            Self::Tiff => "TIFF",
            Self::WebP => "WebP",
            Self::Bmp => "BMP",
            Self::Gif => "GIF",
        }
    }

    fn decode(self, bytes: &[u8], budget: Budget) -> Result<Decoded, Fault> {
        match self {
            Self::Jpeg => jpeg::decode(bytes, budget),
            Self::Png => png::decode(bytes, budget),
            Self::Tiff => tiff::decode(bytes, budget),
            Self::WebP => plain::decode_webp(bytes, budget),
            Self::Bmp => plain::decode_bmp(bytes, budget),
            Self::Gif => plain::decode_gif(bytes, budget),
        }
    }
}

/// Reads a reference from a file.
///
/// # Errors
/// [`ReferenceError`], naming the file, when it is missing, a folder, empty, no picture, too large, cut
/// off, damaged, or of a kind that is not read.
pub fn read_file(path: &Path, options: &ReadOptions) -> Result<Noted<Reference>, ReferenceError> {
    let name = path.display().to_string();
    let budget = budget(options)?;
    let opened = |e: io::Error| match e.kind() {
        io::ErrorKind::NotFound => ReferenceError::Missing { name: name.clone() },
        io::ErrorKind::IsADirectory => ReferenceError::Directory { name: name.clone() },
        _ => ReferenceError::Unreadable { name: name.clone(), source: e },
    };
    let mut file = File::open(path).map_err(opened)?;
    if file.metadata().map_err(opened)?.is_dir() {
        return Err(ReferenceError::Directory { name });
    }
    // The first bytes alone first: a device or a film must not be read to its end to learn that it is
    // no picture.
    let mut bytes = Vec::new();
    file.by_ref().take(SNIFF_BYTES as u64).read_to_end(&mut bytes).map_err(opened)?;
    if !bytes.is_empty() && Format::sniff(&bytes).is_none() {
        return Err(ReferenceError::NotAPicture { name });
    }
    file.take(budget.bytes().saturating_add(1)).read_to_end(&mut bytes).map_err(opened)?;
    read_bytes(&bytes, &name, options)
}

/// Reads a reference from bytes; `name` stands for it in messages ("standard input", say).
///
/// # Errors
/// As [`read_file`].
pub fn read_bytes(
    bytes: &[u8],
    name: &str,
    options: &ReadOptions,
) -> Result<Noted<Reference>, ReferenceError> {
    let budget = budget(options)?;
    let max_megapixels = options.max_megapixels;
    if bytes.is_empty() {
        return Err(ReferenceError::Empty { name: name.to_owned() });
    }
    let Some(format) = Format::sniff(bytes) else {
        return Err(ReferenceError::NotAPicture { name: name.to_owned() });
    };
    if bytes.len() as u64 > budget.bytes() {
        let mebibytes = budget.bytes() >> 20;
        return Err(ReferenceError::FileTooLarge { name: name.to_owned(), mebibytes, max_megapixels });
    }
    // The decoders are other people's code: one that panics on a damaged file is a refusal, no crash.
    catch_unwind(AssertUnwindSafe(|| read_as(format, bytes, budget)))
        .unwrap_or_else(|_| Err(Fault::Damaged("the decoder gave up on it".into())))
        .map_err(|fault| fault.named(name, format.name(), max_megapixels))
}

/// Width and height in pixels that a file says it has, by its header alone; `None` when it cannot be read or says nothing.
#[must_use]
pub fn announced_pixels(path: &Path) -> Option<[u32; 2]> {
    let reader = image::ImageReader::open(path).ok()?.with_guessed_format().ok()?;
    // The decoders are other people's code.
    let (width, height) = catch_unwind(AssertUnwindSafe(|| reader.into_dimensions())).ok()?.ok()?;
    Some([width, height])
}

fn read_as(format: Format, bytes: &[u8], budget: Budget) -> Result<Noted<Reference>, Fault> {
    let mut decoded = format.decode(bytes, budget)?;
    let mut notes = std::mem::take(&mut decoded.notes);
    let (stored, profile) = luminance::luminance(&decoded, &mut notes)?;
    let Decoded { orientation, pixels_per_inch, ref samples, .. } = decoded;
    let bits = samples.bits();
    drop(decoded);
    let luminance = luminance::orient(stored, orientation);
    let pixels_per_inch =
        pixels_per_inch.map(|[x, y]| if luminance::swaps_axes(orientation) { [y, x] } else { [x, y] });
    let sha256 = Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect();
    let reference = Reference { luminance, pixels_per_inch, sha256, format: format.name(), bits, profile };
    Ok(Noted::with(reference, notes))
}

fn budget(options: &ReadOptions) -> Result<Budget, ReferenceError> {
    let max_megapixels = options.max_megapixels;
    if max_megapixels.is_finite() && max_megapixels > 0.0 {
        Ok(Budget { pixels: max_megapixels * 1e6 })
    } else {
        Err(ReferenceError::BadLimit { max_megapixels })
    }
}
