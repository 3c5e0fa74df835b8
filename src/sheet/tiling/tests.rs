//! Tiling: cells that cover the sheet once, crosses that coincide, turning and refusals.

use super::*;
use crate::sheet::View;

fn options(page: &str) -> PrintOptions {
    let paper = Paper::parse(page).unwrap_or_else(|e| panic!("{e}"));
    PrintOptions { paper: Some(paper), ..PrintOptions::default() }
}

fn pages(shown: [f64; 2], options: &PrintOptions) -> Vec<Page> {
    lay_out(shown, options, "", "", &|_| true).unwrap_or_else(|e| panic!("{e}")).value.pages
}

#[test]
fn the_cells_cover_the_sheet_once_and_lie_within_what_the_printer_reaches() {
    // By hand: A4 less 5 mm all round reaches 200 x 287, so n pages with 10 mm of overlap reach 190 n + 10 or 277 n + 10;
    // letter reaches 205.9 x 269.4. A1 on its side takes 5 x 3 upright pages, but 841 = 3 x 277 + 10, so 3 x 4 turned ones.
    for (shown, page, count) in [
        ([297.0, 420.0], "a4", 4),
        ([457.2, 609.6], "letter", 8),
        ([841.0, 594.0], "a4", 12),
        ([841.0, 1189.0], "a4", 21),
        ([210.0, 297.0], "a3", 1),
    ] {
        let options = options(page);
        let pages = pages(shown, &options);
        assert_eq!(pages.len(), count + 1, "{shown:?} on {page}: pages and the assembly page");
        let mut area = 0.0;
        for page in &pages[1..] {
            let (cell, shows) = page.sheet.trimmed.zip(page.sheet.shows).unwrap_or_else(|| panic!("no cell"));
            area += cell.width * cell.height;
            let low = page.sheet.transform * Point::new(shows.x, shows.y);
            let high = page.sheet.transform * Point::new(shows.x + shows.width, shows.y + shows.height);
            let edge = options.printer_margin_mm - 1e-3;
            assert!(low.x >= edge && low.y >= edge, "{} begins at {low:?}", page.name);
            let [width, height] = page.size_mm;
            assert!(high.x <= width - edge && high.y <= height - edge, "{} ends at {high:?}", page.name);
        }
        assert!((area - shown[0] * shown[1]).abs() < 1e-3, "{shown:?}: the cells cover {area} mm2");
    }
}

#[test]
fn every_page_says_that_it_is_mirrored_and_a_long_name_is_shortened() {
    let name = format!("{}-2.png", "jug-and-bowl-".repeat(9));
    let laid_out = lay_out([297.0, 420.0], &options("a4"), &name, "mirrored", &|_| true);
    let pages = laid_out.unwrap_or_else(|e| panic!("{e}")).value.pages;
    for page in &pages {
        let texts: Vec<&str> = page.own.texts.iter().map(|t| t.text.as_str()).collect();
        assert!(texts.iter().any(|t| t.contains("\u{b7}  mirrored")), "{}: {texts:?}", page.name);
        assert!(texts.iter().any(|t| t.contains("jug") && t.contains("2.png")), "{}: {texts:?}", page.name);
    }
    for page in &pages[1..] {
        // No two texts, and no text and cross, lie over each other.
        let boxes: Vec<RectMm> = page.own.cleared.clone();
        for (k, a) in boxes.iter().enumerate() {
            let apart = |b: &RectMm| {
                a.x + a.width <= b.x || b.x + b.width <= a.x || a.y + a.height <= b.y || b.y + b.height <= a.y
            };
            assert!(boxes[k + 1..].iter().all(apart), "{}: {boxes:?}", page.name);
            for cross in &page.own.crosses {
                let arms = RectMm { x: cross.x - 3.0, y: cross.y - 3.0, width: 6.0, height: 6.0 };
                assert!(apart(&arms), "{}: a text over the cross at {cross:?}", page.name);
            }
            // What stays of the page when it is cut is never cleared.
            let trimmed = page.sheet.trimmed.unwrap_or_else(|| panic!("no cell"));
            let low = page.sheet.transform * Point::new(trimmed.x, trimmed.y);
            assert!(apart(&RectMm { x: low.x, y: low.y, ..trimmed }), "{}: {a:?}", page.name);
        }
    }
}

#[test]
fn crosses_of_neighbours_are_the_same_places_of_the_sheet() {
    let pages = pages([297.0, 420.0], &options("a4"));
    let mut places: Vec<[i64; 2]> = Vec::new();
    for page in &pages[1..] {
        let back = page.sheet.transform.inverse();
        for &cross in &page.own.crosses {
            let p = back * cross;
            places.push([(p.x * 1000.0).round() as i64, (p.y * 1000.0).round() as i64]);
        }
    }
    places.sort_unstable();
    assert_eq!(places.len(), 16, "two crosses on four inner edges, each on two pages");
    for pair in places.chunks(2) {
        assert_eq!(pair[0], pair[1], "a cross that only one page has");
    }
}

#[test]
fn cells_that_hold_nothing_have_no_page_and_pages_are_counted_without_them() {
    let printing = lay_out([297.0, 420.0], &options("a4"), "", "", &|cell| cell.x < 1.0);
    let printing = printing.unwrap_or_else(|e| panic!("{e}"));
    let names: Vec<&str> = printing.value.pages.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["assembly", "page 1 of 2", "page 2 of 2"], "the left half");
    assert!(printing.notes[0].contains("2 of the 4"), "{:?}", printing.notes);
}

#[test]
fn impossible_pages_are_refused() {
    let overlap = PrintOptions { overlap_mm: 400.0, ..options("a4") };
    let margin = PrintOptions { printer_margin_mm: 100.0, ..options("a4") };
    let thin = PrintOptions { overlap_mm: 1.0, ..options("a4") };
    let nothing = |options: &PrintOptions, sheet| lay_out(sheet, options, "", "", &|_| true).map(|_| ());
    for (refused_options, remedy) in [(overlap, "at most 180 mm"), (margin, "a smaller printer margin")] {
        let error = nothing(&refused_options, [297.0, 420.0]).expect_err(remedy);
        assert!(matches!(error, SheetError::PageTooSmall { .. }), "{error:?}");
        assert!(error.to_string().contains(remedy), "{error}");
    }
    let most = PrintOptions { overlap_mm: 180.0, ..options("a4") };
    assert!(nothing(&most, [297.0, 420.0]).is_ok(), "what is said to fit does");
    let refused = nothing(&thin, [297.0, 420.0]);
    assert!(matches!(refused, Err(SheetError::OverlapTooSmall { .. })), "{refused:?}");
    let refused = nothing(&options("a4"), [10_000.0, 10_000.0]);
    assert!(matches!(refused, Err(SheetError::TooManyPages { .. })), "{refused:?}");
}

#[test]
fn a_correction_makes_up_for_what_the_rules_measured() {
    // A rule of 200 mm that comes out as 199 mm has to be drawn 200 / 199 as long.
    let options = PrintOptions { measured: [0.995, 1.0], ..PrintOptions::default() };
    let page = &pages([210.0, 297.0], &options)[0];
    let [a, b] = [Point::new(5.0, 20.0), Point::new(205.0, 20.0)].map(|p| page.sheet.transform * p);
    assert!(((b.x - a.x) * 0.995 - 200.0).abs() < 1e-9, "200 mm on paper");
    assert!((a.y - 20.0).abs() < 1e-9, "nothing changes down the page");
    let plain = sheet_to_page(
        [210.0, 297.0],
        View::default(),
        &pages([210.0, 297.0], &PrintOptions::default())[0].sheet,
    );
    assert_eq!(plain, Affine::IDENTITY, "nothing to correct");
}
