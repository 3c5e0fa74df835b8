//! Places in a reference as a person writes them: four corners, and a rectangle to crop.

use std::fmt;
use std::str::FromStr;

use crate::units::{MM_PER_INCH, parse_length_mm};

use super::PageError;

/// A place or a length along one axis of the reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measure {
    /// In hundredths of its width or height.
    Percent(f64),
    /// In its pixels, after it is turned upright.
    Pixels(f64),
    /// In mm on the original, for references that state their resolution or whose true size is given.
    Mm(f64),
}

impl FromStr for Measure {
    type Err = String;

    /// `25%`, `840px`, or a length such as `40mm`.
    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let number = |part: &str| part.trim().parse().ok().filter(|n: &f64| n.is_finite());
        let read = if let Some(percent) = text.strip_suffix('%') {
            number(percent).map(Self::Percent)
        } else if let Some(pixels) = text.strip_suffix("px") {
            number(pixels).map(Self::Pixels)
        } else {
            parse_length_mm(text).ok().map(Self::Mm)
        };
        read.ok_or_else(|| {
            format!("\"{text}\" is no measure: write a share such as 25%, pixels such as 840px, or a length such as 40mm")
        })
    }
}

impl fmt::Display for Measure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Percent(n) => write!(f, "{n}%"),
            Self::Pixels(n) => write!(f, "{n}px"),
            Self::Mm(n) => write!(f, "{n}mm"),
        }
    }
}

impl Measure {
    /// In pixels along a side of so many pixels.
    ///
    /// # Errors
    /// [`PageError::NoScale`] for a length where `pixels_per_inch` is not known.
    pub(super) fn pixels(self, side: usize, pixels_per_inch: Option<f64>) -> Result<f64, PageError> {
        match self {
            Self::Percent(n) => Ok(n / 100.0 * side as f64),
            Self::Pixels(n) => Ok(n),
            Self::Mm(mm) => pixels_per_inch
                .map(|ppi| mm / MM_PER_INCH * ppi)
                .ok_or_else(|| PageError::NoScale { asked: self.to_string() }),
        }
    }

    fn number(self) -> f64 {
        match self {
            Self::Percent(n) | Self::Pixels(n) | Self::Mm(n) => n,
        }
    }
}

/// Measures between commas.
fn list(text: &str) -> Result<Vec<Measure>, String> {
    text.split(',').map(str::parse).collect()
}

/// One corner, `X,Y` from the reference's top left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corner(pub [Measure; 2]);

impl FromStr for Corner {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match list(text)?.as_slice() {
            &[x, y] => Ok(Self([x, y])),
            other => Err(format!(
                "\"{text}\" has {} numbers, but a corner takes two: X,Y such as 12%,8% or 310px,95px",
                other.len()
            )),
        }
    }
}

impl fmt::Display for Corner {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{},{}", self.0[0], self.0[1])
    }
}

/// A rectangle that is kept: `rect:LEFT,TOP,WIDTH,HEIGHT`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crop {
    /// Left and top.
    pub corner: [Measure; 2],
    /// Width and height.
    pub size: [Measure; 2],
}

impl FromStr for Crop {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let form =
            "write rect:LEFT,TOP,WIDTH,HEIGHT, such as rect:10%,5%,80%,90% or rect:12mm,8mm,90mm,120mm";
        let numbers =
            text.trim().strip_prefix("rect:").ok_or_else(|| format!("\"{text}\" is no rectangle: {form}"))?;
        match list(numbers)?.as_slice() {
            &[x, y, w, h] if w.number() > 0.0 && h.number() > 0.0 => {
                Ok(Self { corner: [x, y], size: [w, h] })
            }
            &[_, _, _, _] => Err(format!("\"{text}\" has no size: give it a width and a height above 0")),
            other => {
                Err(format!("\"{text}\" has {} numbers, but a rectangle takes four: {form}", other.len()))
            }
        }
    }
}

impl fmt::Display for Crop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ([x, y], [w, h]) = (self.corner, self.size);
        write!(f, "rect:{x},{y},{w},{h}")
    }
}

/// A rectangle of whole pixels.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct PixelRect {
    pub(super) left: usize,
    pub(super) top: usize,
    pub(super) width: usize,
    pub(super) height: usize,
}

impl PixelRect {
    /// A whole picture.
    pub(super) fn whole(width: usize, height: usize) -> Self {
        Self { left: 0, top: 0, width, height }
    }
}

/// How far a rectangle may reach beyond the picture before it is refused, in pixels: a number rounded by hand.
const BEYOND_PX: f64 = 1.0;

impl Crop {
    /// The whole pixels nearest to the rectangle.
    ///
    /// # Errors
    /// [`PageError`] when it reaches out of the picture, holds no pixel, or is a length without a scale.
    pub(super) fn pixels(
        &self,
        size: [usize; 2],
        pixels_per_inch: Option<[f64; 2]>,
    ) -> Result<PixelRect, PageError> {
        let along = |axis: usize| -> Result<(usize, usize), PageError> {
            let ppi = pixels_per_inch.map(|p| p[axis]);
            let start = self.corner[axis].pixels(size[axis], ppi)?;
            let end = start + self.size[axis].pixels(size[axis], ppi)?;
            let side = size[axis] as f64;
            if start < -BEYOND_PX || end > side + BEYOND_PX {
                return Err(PageError::CropOutside { asked: self.to_string(), size });
            }
            let (start, end) = (start.round().max(0.0) as usize, end.round().min(side) as usize);
            if end <= start {
                return Err(PageError::CropEmpty { asked: self.to_string() });
            }
            Ok((start, end - start))
        };
        let ((left, width), (top, height)) = (along(0)?, along(1)?);
        Ok(PixelRect { left, top, width, height })
    }
}
