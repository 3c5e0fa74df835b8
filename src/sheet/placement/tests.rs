//! Placement by hand and by property.

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
fn margins_of_single_sides_and_alignment_move_the_picture() {
    let options =
        PlaceOptions { side_margins_mm: [Some(10.0), None, None, Some(50.0)], ..PlaceOptions::default() };
    // By hand: 210 - 50 - 20 wide and 297 - 10 - 20 high is left; 3:4 fits as 140 x 186.667.
    let got = placed("a4", [600, 800], &options).picture_mm;
    assert_eq!(got, RectMm { x: 50.0, y: 50.167, width: 140.0, height: 186.667 }, "binding edge left");
    for (align, x, y) in [
        ([Align::Start, Align::Start], 20.0, 20.0),
        ([Align::Middle, Align::End], 55.0, 143.667),
        ([Align::End, Align::Middle], 90.0, 81.834),
    ] {
        let options = PlaceOptions { align, picture_width_mm: Some(100.0), ..PlaceOptions::default() };
        let got = placed("a4", [600, 800], &options).picture_mm;
        assert_eq!([got.x, got.y], [x, y], "{align:?}");
    }
    let negative = PlaceOptions { side_margins_mm: [None, Some(-1.0), None, None], ..options };
    assert_eq!(
        place(&paper("a4"), [6, 8], 1.0, &negative).map(|n| n.value),
        Err(SheetError::MarginOutOfRange),
        "a negative side"
    );
}

#[test]
fn a_scale_is_of_the_references_own_size() {
    // 600 px at 150 an inch are 4 in, 101.6 mm.
    let original = Original { pixels: [600, 800], pixels_per_inch: Some([150.0, 150.0]) };
    let options = PlaceOptions { scale: Some(1.25), ..PlaceOptions::default() };
    let got = place_original(&paper("a4"), &original, &options).unwrap_or_else(|e| panic!("{e}")).value;
    assert_eq!(got.picture_mm.width, 127.0, "a quarter larger than 101.6 mm");
    assert_eq!(original.enlargement(&got), Some(1.25), "and said so");
    assert!((original.px_per_mm(&got) - 600.0 / 127.0).abs() < 1e-3, "pixels per mm there");
    let unknown = Original { pixels_per_inch: None, ..original };
    assert_eq!(
        place_original(&paper("a4"), &unknown, &options).map(|n| n.value),
        Err(SheetError::NoResolution),
        "no size of its own"
    );
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
    assert!(matches!(error, SheetError::MarginsFillSheet { sides: "left and right", .. }), "{error}");
    let margins =
        PlaceOptions { side_margins_mm: [Some(200.0), None, Some(100.0), None], ..PlaceOptions::default() };
    let error = place(&paper("a4"), [600, 800], 1.0, &margins).expect_err("300 mm of 297 mm").to_string();
    assert!(error.contains("above and below leave no room: 200 + 100 mm"), "{error}");
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
