//! Where the picture lies on the sheet: orientation, margins, fit. The only step from picture to sheet.

use super::paper::whole_um;
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

/// How the picture is put on the sheet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlaceOptions {
    /// Margin on all four sides in mm; `None`: 20 mm, or 25.4 mm on paper sold by the inch.
    pub margin_mm: Option<f64>,
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

/// Puts a picture of `picture_px` pixels on a sheet; `pixel_aspect` is the width of a pixel over its height.
///
/// The picture is fitted inside the margins, or has the width or height asked for, and is centred. Given both,
/// it is as large as fits in both, and a note says so when its own proportions leave one of them unused.
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
    let margin_mm =
        options.margin_mm.unwrap_or(if paper.us { DEFAULT_MARGIN_US_MM } else { DEFAULT_MARGIN_MM });
    if !(margin_mm.is_finite() && margin_mm >= 0.0) {
        return Err(SheetError::MarginOutOfRange);
    }
    let room = sheet_mm.map(|side| side - 2.0 * margin_mm);
    if room[0].min(room[1]) <= SLACK_MM {
        return Err(SheetError::MarginsFillSheet {
            margin_mm: for_reading(margin_mm),
            width_mm: for_reading(sheet_mm[0]),
            height_mm: for_reading(sheet_mm[1]),
            limit_mm: for_reading(sheet_mm[0].min(sheet_mm[1]) / 2.0),
        });
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
        x: whole_um((sheet_mm[0] - size[0]) / 2.0),
        y: whole_um((sheet_mm[1] - size[1]) / 2.0),
        width: size[0],
        height: size[1],
    };
    Ok(Noted::with(Placement { sheet_mm, picture_mm }, notes))
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
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn paper(text: &str) -> Paper {
        Paper::parse(text).unwrap_or_else(|e| panic!("{e}"))
    }

    fn placed(text: &str, px: [usize; 2], options: &PlaceOptions) -> Placement {
        place(&paper(text), px, 1.0, options).unwrap_or_else(|e| panic!("{text}: {e}")).value
    }

    #[test]
    fn the_sheet_turns_with_the_picture() {
        let fit = PlaceOptions::default();
        assert_eq!(placed("a4", [600, 800], &fit).sheet_mm, [210.0, 297.0], "upright picture, upright A4");
        assert_eq!(placed("a4", [800, 600], &fit).sheet_mm, [297.0, 210.0], "wide picture, A4 on its side");
        let small = PlaceOptions { margin_mm: Some(10.0), ..fit.clone() };
        assert_eq!(placed("140x180mm", [120, 160], &small).sheet_mm, [140.0, 180.0], "suits as written");
        assert_eq!(placed("180x140mm", [120, 160], &small).sheet_mm, [140.0, 180.0], "turned to suit");
        assert_eq!(placed("180x140mm", [100, 100], &small).sheet_mm, [180.0, 140.0], "square: as written");
        let portrait = PlaceOptions { orientation: Orientation::Portrait, ..fit.clone() };
        assert_eq!(placed("a4", [800, 600], &portrait).sheet_mm, [210.0, 297.0], "set upright");
        let landscape = PlaceOptions { orientation: Orientation::Landscape, ..fit };
        assert_eq!(placed("a4", [600, 800], &landscape).sheet_mm, [297.0, 210.0], "set on its side");
    }

    #[test]
    fn the_picture_is_fitted_and_centred() {
        // By hand: A4 less 20 mm all round is 170 x 257; a 3:4 picture is 170 x 226.667 there.
        let got = placed("a4", [600, 800], &PlaceOptions::default()).picture_mm;
        assert_eq!(got, RectMm { x: 20.0, y: 35.167, width: 170.0, height: 226.667 }, "3:4 on A4");
        // 11x14 in less an inch all round is 228.6 x 304.8 mm: exactly 3:4.
        let got = placed("11x14in", [600, 800], &PlaceOptions::default()).picture_mm;
        assert_eq!(got, RectMm { x: 25.4, y: 25.4, width: 228.6, height: 304.8 }, "3:4 on 11x14 in");
        // Pixels twice as wide as high.
        let wide = place(&paper("a4"), [300, 800], 2.0, &PlaceOptions::default()).map(|n| n.value.picture_mm);
        assert_eq!(wide, Ok(placed("a4", [600, 800], &PlaceOptions::default()).picture_mm), "pixel aspect");
    }

    #[test]
    fn a_width_or_height_is_exact() {
        let width = PlaceOptions { picture_width_mm: Some(120.0), ..PlaceOptions::default() };
        let got = placed("a4", [600, 800], &width).picture_mm;
        assert_eq!(got, RectMm { x: 45.0, y: 68.5, width: 120.0, height: 160.0 }, "120 mm wide");
        let height = PlaceOptions { picture_height_mm: Some(160.0), ..PlaceOptions::default() };
        assert_eq!(placed("a4", [600, 800], &height).picture_mm, got, "160 mm high is the same");
        let both = PlaceOptions { picture_height_mm: Some(200.0), ..width };
        let noted = place(&paper("a4"), [600, 800], 1.0, &both).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(noted.value.picture_mm, got, "the tighter of the two decides");
        assert_eq!(noted.notes.len(), 1, "and a note says so");
    }

    #[test]
    fn what_does_not_fit_is_refused_with_the_largest() {
        let wide = PlaceOptions { picture_width_mm: Some(180.0), ..PlaceOptions::default() };
        let error = place(&paper("a4"), [600, 800], 1.0, &wide).expect_err("180 mm in 170 mm");
        assert!(error.to_string().contains("the largest that fits is 170 mm"), "{error}");
        let largest = PlaceOptions { picture_width_mm: Some(170.0), ..PlaceOptions::default() };
        assert!(place(&paper("a4"), [600, 800], 1.0, &largest).is_ok(), "the largest itself fits");
        let margins = PlaceOptions { margin_mm: Some(105.0), ..PlaceOptions::default() };
        let error = place(&paper("a4"), [600, 800], 1.0, &margins).expect_err("margins fill the sheet");
        assert!(matches!(error, SheetError::MarginsFillSheet { .. }), "{error}");
        assert!(
            matches!(
                place(&paper("a4"), [60_000, 1], 1.0, &PlaceOptions::default()),
                Err(SheetError::PictureTooThin { .. })
            ),
            "a sliver is refused"
        );
    }

    #[test]
    fn nonsense_numbers_are_refused() {
        let a4 = paper("a4");
        for bad in [0.0, -5.0, f64::NAN, f64::INFINITY] {
            for options in [
                PlaceOptions { picture_width_mm: Some(bad), ..PlaceOptions::default() },
                PlaceOptions { picture_height_mm: Some(bad), ..PlaceOptions::default() },
                PlaceOptions {
                    picture_width_mm: Some(100.0),
                    picture_height_mm: Some(bad),
                    ..PlaceOptions::default()
                },
            ] {
                assert!(place(&a4, [600, 800], 1.0, &options).is_err(), "{options:?}");
            }
            assert!(place(&a4, [600, 800], bad, &PlaceOptions::default()).is_err(), "pixel aspect {bad}");
        }
        for bad in [-5.0, f64::NAN, f64::INFINITY] {
            let options = PlaceOptions { margin_mm: Some(bad), ..PlaceOptions::default() };
            assert!(place(&a4, [600, 800], 1.0, &options).is_err(), "margin {bad}");
        }
        assert!(place(&a4, [0, 800], 1.0, &PlaceOptions::default()).is_err(), "no pixels");
    }

    proptest! {
        #[test]
        fn a_fitted_picture_fills_the_room_and_keeps_its_shape(
            width in 1usize..4000, height in 1usize..4000, margin in 0.0f64..60.0, row in 0usize..40,
        ) {
            let row = crate::sheet::papers()[row % crate::sheet::papers().len()];
            let options = PlaceOptions { margin_mm: Some(margin), ..PlaceOptions::default() };
            if let Ok(noted) = place(&row.into(), [width, height], 1.0, &options) {
                let Placement { sheet_mm, picture_mm: p } = noted.value;
                let room = sheet_mm.map(|s| s - 2.0 * margin);
                prop_assert!(p.width <= room[0] + 0.001 && p.height <= room[1] + 0.001, "inside the margins");
                prop_assert!((p.width - room[0]).abs() < 0.001 || (p.height - room[1]).abs() < 0.001, "fills");
                prop_assert!((p.width * height as f64 - p.height * width as f64).abs()
                    <= 0.001 * (width + height) as f64, "keeps its shape");
                prop_assert!((p.x * 2.0 + p.width - sheet_mm[0]).abs() < 0.002, "centred across");
                prop_assert!((p.y * 2.0 + p.height - sheet_mm[1]).abs() < 0.002, "centred down");
            }
        }
    }
}
