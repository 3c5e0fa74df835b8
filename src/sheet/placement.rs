//! Where the picture lies on the sheet: orientation, margins, fit. The only step from picture to sheet.

use super::paper::{LONGEST_SIDE_MM, whole_um};
use super::{Paper, SheetError};
use crate::notes::Noted;
use crate::units::MM_PER_INCH;
use kurbo::Vec2;
use serde::Serialize;

/// Margin on paper sold by the millimetre, in mm (common practice, no source).
pub const DEFAULT_MARGIN_MM: f64 = 20.0;
/// Margin on paper sold by the inch, in mm: one inch (common practice, no source).
pub const DEFAULT_MARGIN_US_MM: f64 = MM_PER_INCH;
/// A picture thinner than this holds no line, in mm.
const THINNEST_PICTURE_MM: f64 = 1.0;
/// Slack in comparing sizes, in mm: half of the last digit that is written.
const SLACK_MM: f64 = 0.000_5;

/// Which way the sheet is turned.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Orientation {
    /// Upright for an upright picture, on its side for a wide one.
    #[default]
    AsPicture,
    /// Upright.
    Portrait,
    /// On its side.
    Landscape,
}

/// Where the picture lies in the room that the margins leave.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Align {
    /// At the low end: left, or top.
    Start,
    /// In the middle.
    #[default]
    Middle,
    /// At the high end: right, or bottom.
    End,
}

/// How the picture is put on the sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlaceOptions {
    /// Margin on all four sides in mm; `None`: 20 mm, or 25.4 mm on paper sold by the inch.
    pub margin_mm: Option<f64>,
    /// Margins of single sides in mm (top, right, bottom, left), where they differ from the others.
    pub side_margins_mm: [Option<f64>; 4],
    /// Where the picture lies across and down.
    pub align: [Align; 2],
    /// Size of the picture as a share of the reference's own physical size; `None`: as large as fits.
    pub scale: Option<f64>,
    /// Which way the sheet is turned.
    pub orientation: Orientation,
    /// Width of the picture in mm; `None`: as large as fits.
    pub picture_width_mm: Option<f64>,
    /// Height of the picture in mm; `None`: as large as fits.
    pub picture_height_mm: Option<f64>,
}

/// A rectangle on the sheet, in mm from its top left, y down.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct RectMm {
    /// Left edge.
    pub x: f64,
    /// Top edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

/// The sheet as turned, and the picture on it; all numbers are whole micrometres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placement {
    /// Width and height of the sheet in mm.
    pub sheet_mm: [f64; 2],
    /// Where the picture lies.
    pub picture_mm: RectMm,
}

impl Placement {
    /// What takes a point of the picture (mm from its top left) to the sheet.
    #[must_use]
    pub fn offset(&self) -> Vec2 {
        Vec2::new(self.picture_mm.x, self.picture_mm.y)
    }
}

/// A reference as placing sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Original {
    /// Pixels across and down.
    pub pixels: [usize; 2],
    /// Stated pixels per inch across and down.
    pub pixels_per_inch: Option<[f64; 2]>,
}

impl Original {
    /// The stated resolution, when it is one.
    fn resolution(&self) -> Option<[f64; 2]> {
        self.pixels_per_inch.filter(|ppi| ppi.iter().all(|&p| p > 0.0) && (ppi[1] / ppi[0]).is_finite())
    }

    /// Width of a pixel over its height; 1 where no resolution is stated.
    #[must_use]
    pub fn pixel_aspect(&self) -> f64 {
        self.resolution().map_or(1.0, |[across, down]| down / across)
    }

    /// Its own width in mm, when it states its resolution.
    #[must_use]
    pub fn width_mm(&self) -> Option<f64> {
        self.resolution().map(|ppi| self.pixels[0] as f64 / ppi[0] * MM_PER_INCH)
    }

    /// How much larger the picture is on the sheet than the reference is, when that states its resolution.
    #[must_use]
    pub fn enlargement(&self, placement: &Placement) -> Option<f64> {
        self.width_mm().map(|own| placement.picture_mm.width / own)
    }

    /// Pixels of the reference per mm of the sheet, the finer of both directions.
    #[must_use]
    pub fn px_per_mm(&self, placement: &Placement) -> f64 {
        let picture = placement.picture_mm;
        (self.pixels[0] as f64 / picture.width).max(self.pixels[1] as f64 / picture.height)
    }
}

/// Puts a reference on a sheet, as [`place`] does; a scale asked for is taken of its own physical size.
///
/// # Errors
/// As [`place`], and when a scale is asked for and the reference does not state its resolution.
pub fn place_original(
    paper: &Paper,
    original: &Original,
    options: &PlaceOptions,
) -> Result<Noted<Placement>, SheetError> {
    let mut options = options.clone();
    if let Some(scale) = options.scale.take() {
        let own_mm = original.width_mm().ok_or(SheetError::NoResolution)?;
        options.picture_width_mm = Some(own_mm * scale);
    }
    place(paper, original.pixels, original.pixel_aspect(), &options)
}

/// Puts a picture of `picture_px` pixels on a sheet; `pixel_aspect` is the width of a pixel over its height.
///
/// The picture is fitted inside the margins, or has the width or height asked for, and lies in the middle of the room
/// they leave, or where it is asked for. Given both, it is as large as fits in both, and a note says so when its own
/// proportions leave one of them unused.
///
/// # Errors
/// [`SheetError`] when a length is out of range, the margins fill the sheet, or the picture does not fit.
pub fn place(
    paper: &Paper,
    picture_px: [usize; 2],
    pixel_aspect: f64,
    options: &PlaceOptions,
) -> Result<Noted<Placement>, SheetError> {
    if picture_px.contains(&0) || !(pixel_aspect.is_finite() && pixel_aspect > 0.0) {
        return Err(SheetError::NoPixels);
    }
    // Width over height of the picture.
    let aspect = picture_px[0] as f64 * pixel_aspect / picture_px[1] as f64;
    let sheet_mm = turned(paper, aspect, options.orientation);
    let margins = margins_mm(paper, options)?;
    let [top, right, bottom, left] = margins;
    let room = [sheet_mm[0] - left - right, sheet_mm[1] - top - bottom];
    for (room, side, [first, second], sides, way) in [
        (room[0], sheet_mm[0], [left, right], "left and right", "wide"),
        (room[1], sheet_mm[1], [top, bottom], "above and below", "high"),
    ] {
        if room <= SLACK_MM {
            return Err(SheetError::MarginsFillSheet {
                sides,
                first_mm: for_reading(first),
                second_mm: for_reading(second),
                side_mm: for_reading(side),
                way,
            });
        }
    }

    let mut notes = Vec::new();
    let largest_width = room[0].min(room[1] * aspect);
    let width_mm = match (options.picture_width_mm, options.picture_height_mm) {
        (None, None) => largest_width,
        (Some(width), None) => checked(width, "width", largest_width, sheet_mm)?,
        (None, Some(height)) => checked(height, "height", largest_width / aspect, sheet_mm)? * aspect,
        (Some(width), Some(height)) => {
            for (side, asked) in [("width", width), ("height", height)] {
                in_range(asked, side)?;
            }
            let fitted = width.min(height * aspect);
            let fitted = checked(fitted, "width", largest_width, sheet_mm)?;
            if (fitted - width).abs() > 0.05 || (fitted / aspect - height).abs() > 0.05 {
                notes.push(format!(
                    "The picture keeps its proportions: it is {} x {} mm, the largest inside {} x {} mm.",
                    for_reading(fitted),
                    for_reading(fitted / aspect),
                    for_reading(width),
                    for_reading(height)
                ));
            }
            fitted
        }
    };
    let size = [whole_um(width_mm), whole_um(width_mm / aspect)];
    if size[0].min(size[1]) < THINNEST_PICTURE_MM {
        return Err(SheetError::PictureTooThin {
            width_mm: for_reading(size[0]),
            height_mm: for_reading(size[1]),
        });
    }
    let picture_mm = RectMm {
        x: whole_um(left + (room[0] - size[0]) * share(options.align[0])),
        y: whole_um(top + (room[1] - size[1]) * share(options.align[1])),
        width: size[0],
        height: size[1],
    };
    Ok(Noted::with(Placement { sheet_mm, picture_mm }, notes))
}

/// Margins in mm: top, right, bottom, left.
fn margins_mm(paper: &Paper, options: &PlaceOptions) -> Result<[f64; 4], SheetError> {
    let usual = if paper.us { DEFAULT_MARGIN_US_MM } else { DEFAULT_MARGIN_MM };
    let all = options.margin_mm.unwrap_or(usual);
    let margins = options.side_margins_mm.map(|side| side.unwrap_or(all));
    let lengths = margins.iter().all(|side| (0.0..=LONGEST_SIDE_MM).contains(side));
    if lengths { Ok(margins) } else { Err(SheetError::MarginOutOfRange) }
}

/// The share of the spare room that lies before the picture.
fn share(align: Align) -> f64 {
    match align {
        Align::Start => 0.0,
        Align::Middle => 0.5,
        Align::End => 1.0,
    }
}

/// The sheet turned as asked, or to suit a picture of this width over height; a square picture leaves it as it is.
fn turned(paper: &Paper, aspect: f64, orientation: Orientation) -> [f64; 2] {
    let upright = paper.width_mm <= paper.height_mm;
    let turn = match orientation {
        Orientation::Portrait => !upright,
        Orientation::Landscape => upright,
        Orientation::AsPicture if upright => aspect > 1.0,
        Orientation::AsPicture => aspect < 1.0,
    };
    let sides = [whole_um(paper.width_mm), whole_um(paper.height_mm)];
    if turn { [sides[1], sides[0]] } else { sides }
}

/// Refuses a length that is no length.
fn in_range(asked_mm: f64, side: &'static str) -> Result<(), SheetError> {
    if asked_mm.is_finite() && asked_mm > 0.0 { Ok(()) } else { Err(SheetError::PictureOutOfRange { side }) }
}

/// A picture side asked for, when it fits inside the margins.
fn checked(
    asked_mm: f64,
    side: &'static str,
    largest_mm: f64,
    sheet_mm: [f64; 2],
) -> Result<f64, SheetError> {
    in_range(asked_mm, side)?;
    if asked_mm > largest_mm + SLACK_MM {
        return Err(SheetError::PictureTooLarge {
            side,
            asked_mm: for_reading(asked_mm),
            width_mm: for_reading(sheet_mm[0]),
            height_mm: for_reading(sheet_mm[1]),
            largest_mm: ((largest_mm + SLACK_MM) * 100.0).floor() / 100.0,
        });
    }
    Ok(asked_mm)
}

/// A length rounded to 0.01 mm, for sentences.
fn for_reading(mm: f64) -> f64 {
    (mm * 100.0).round() / 100.0
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "placed lengths are whole micrometres, compared as written")]
mod tests;
