//! A decoded picture before its tones are known: samples, what they mean, and what the file states.

use image::DynamicImage;

use super::error::Fault;
use super::resolution::PixelsPerInch;

/// Samples as the file stores them, interleaved, row by row.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Samples {
    /// 0 to 255.
    U8(Vec<u8>),
    /// 0 to 65535.
    U16(Vec<u16>),
    /// 0 to 1, or beyond in pictures that keep highlights.
    F32(Vec<f32>),
}

impl Samples {
    /// Bits of one sample.
    pub(super) fn bits(&self) -> u8 {
        match self {
            Self::U8(_) => 8,
            Self::U16(_) => 16,
            Self::F32(_) => 32,
        }
    }

    /// How many there are.
    pub(super) fn len(&self) -> usize {
        match self {
            Self::U8(v) => v.len(),
            Self::U16(v) => v.len(),
            Self::F32(v) => v.len(),
        }
    }
}

/// What the samples of one pixel are, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Channels {
    /// Grey.
    Grey,
    /// Grey and coverage.
    GreyAlpha,
    /// Red, green, blue.
    Rgb,
    /// Red, green, blue and coverage.
    RgbAlpha,
    /// Cyan, magenta, yellow and black ink, 0 for none.
    Cmyk,
}

impl Channels {
    /// Samples per pixel.
    pub(super) fn count(self) -> usize {
        match self {
            Self::Grey => 1,
            Self::GreyAlpha => 2,
            Self::Rgb => 3,
            Self::RgbAlpha | Self::Cmyk => 4,
        }
    }

    /// Samples per pixel without coverage.
    pub(super) fn colours(self) -> usize {
        self.count() - usize::from(self.has_alpha())
    }

    /// Whether the last sample is coverage.
    pub(super) fn has_alpha(self) -> bool {
        matches!(self, Self::GreyAlpha | Self::RgbAlpha)
    }
}

/// How samples stand for light where no profile says so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Coding {
    /// The sRGB transfer function.
    Srgb,
    /// Samples are linear light.
    Linear,
    /// Light is the sample to this power (PNG's gAMA).
    Power(f64),
}

/// A decoded picture and everything its file states about it.
#[derive(Clone, Debug)]
pub(super) struct Decoded {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) samples: Samples,
    pub(super) channels: Channels,
    /// Colour was multiplied by coverage before it was stored.
    pub(super) premultiplied: bool,
    pub(super) coding: Coding,
    /// The embedded ICC profile, as bytes.
    pub(super) icc: Option<Vec<u8>>,
    /// EXIF orientation, 1 to 8.
    pub(super) orientation: u8,
    /// In the stored axes, before orientation.
    pub(super) pixels_per_inch: Option<PixelsPerInch>,
    pub(super) notes: Vec<String>,
}

impl Decoded {
    /// A picture with nothing stated beside its samples.
    ///
    /// # Errors
    /// [`Fault::Damaged`] when there is no pixel, or when samples and size do not agree.
    pub(super) fn new(
        width: usize,
        height: usize,
        samples: Samples,
        channels: Channels,
    ) -> Result<Self, Fault> {
        let needed = width.checked_mul(height).and_then(|n| n.checked_mul(channels.count()));
        if width == 0 || height == 0 || needed != Some(samples.len()) {
            return Err(Fault::Damaged("its size and its data do not agree".into()));
        }
        Ok(Self {
            width,
            height,
            samples,
            channels,
            premultiplied: false,
            coding: Coding::Srgb,
            icc: None,
            orientation: 1,
            pixels_per_inch: None,
            notes: Vec::new(),
        })
    }

    /// Takes over a picture as the image library hands it out.
    pub(super) fn from_image(picture: DynamicImage) -> Result<Self, Fault> {
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let (samples, channels) = match picture {
            DynamicImage::ImageLuma8(p) => (Samples::U8(p.into_raw()), Channels::Grey),
            DynamicImage::ImageLumaA8(p) => (Samples::U8(p.into_raw()), Channels::GreyAlpha),
            DynamicImage::ImageRgb8(p) => (Samples::U8(p.into_raw()), Channels::Rgb),
            DynamicImage::ImageRgba8(p) => (Samples::U8(p.into_raw()), Channels::RgbAlpha),
            DynamicImage::ImageLuma16(p) => (Samples::U16(p.into_raw()), Channels::Grey),
            DynamicImage::ImageLumaA16(p) => (Samples::U16(p.into_raw()), Channels::GreyAlpha),
            DynamicImage::ImageRgb16(p) => (Samples::U16(p.into_raw()), Channels::Rgb),
            DynamicImage::ImageRgba16(p) => (Samples::U16(p.into_raw()), Channels::RgbAlpha),
            other => return Err(Fault::Unsupported(format!("samples of type {:?}", other.color()))),
        };
        Self::new(width, height, samples, channels)
    }
}

/// How much a decoder may read and allocate, from the limit on pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Budget {
    /// Most pixels of one picture.
    pub(super) pixels: f64,
}

/// Bytes that the largest pixel needs: four channels of 32 bits.
const MOST_BYTES_PER_PIXEL: f64 = 16.0;
/// Room for what is not pixels (profiles, metadata, a decoder's own tables).
const SLACK_BYTES: f64 = 64.0 * 1024.0 * 1024.0;

impl Budget {
    /// Refuses a picture by the size its header announces.
    pub(super) fn check(self, width: u64, height: u64) -> Result<(), Fault> {
        if width as f64 * height as f64 > self.pixels {
            Err(Fault::TooManyPixels { width, height })
        } else {
            Ok(())
        }
    }

    /// Most bytes of a file or of one decoded picture.
    pub(super) fn bytes(self) -> u64 {
        (self.pixels * MOST_BYTES_PER_PIXEL + SLACK_BYTES) as u64
    }

    /// The same for a decoder of the image library.
    pub(super) fn limits(self) -> image::Limits {
        let mut limits = image::Limits::no_limits();
        limits.max_alloc = Some(self.bytes());
        limits
    }
}
