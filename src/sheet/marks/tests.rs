//! Marks around the picture: where they lie, what finds no room, names of squares.

use super::*;
use crate::sheet::{Paper, PlaceOptions, place};
use proptest::prelude::*;

fn sheet(margin_mm: f64) -> Placement {
    let paper = Paper::parse("a4").unwrap_or_else(|e| panic!("{e}"));
    let options = PlaceOptions { margin_mm: Some(margin_mm), ..PlaceOptions::default() };
    place(&paper, [600, 800], 1.0, &options).unwrap_or_else(|e| panic!("{e}")).value
}

fn options() -> MarkOptions {
    let title = TitleBlock { name: "jug.png".into(), sheet: "A4".into(), ..TitleBlock::default() };
    MarkOptions { printer_margin_mm: 5.0, square_mm: Some(25.0), square_grid: true, title }
}

#[test]
fn columns_are_named_without_i_and_o() {
    for (column, name) in
        [(0, "A"), (7, "H"), (8, "J"), (13, "P"), (23, "Z"), (24, "AA"), (47, "AZ"), (48, "BA")]
    {
        assert_eq!(column_name(column), name, "column {column}");
    }
}

#[test]
fn everything_is_there_on_a4_and_where_it_belongs() {
    let placed = sheet(20.0);
    let got = furnish(&placed, View::default(), &options());
    assert!(got.notes.is_empty(), "{:?}", got.notes);
    let made = got.value;
    // The picture is 170 x 226.667 mm at 20, 35.167; crosses lie 9.5 mm off its corners.
    let wanted = [(10.5, 25.667), (199.5, 25.667), (10.5, 271.334), (199.5, 271.334)];
    for (cross, (x, y)) in made.crosses.iter().zip(wanted) {
        assert!(cross.distance(Point::new(x, y)) < 1e-9, "{cross:?}");
    }
    assert_eq!(
        made.squares,
        Some(Squares { side_mm: 25.0, columns: 7, rows: 10 }),
        "170 / 25 and 226.7 / 25"
    );
    let lengths: Vec<f64> = made.rules.iter().map(|r| r.mm).collect();
    assert_eq!(lengths, [100.0, 200.0], "across and down");
    for line in &made.lines {
        for p in line.paths.iter().flatten() {
            assert!((5.0..=205.0).contains(&p.x) && (5.0..=292.0).contains(&p.y), "{p:?} is out of reach");
        }
    }
}

#[test]
fn what_has_no_room_is_told() {
    let got = furnish(&sheet(6.0), View::default(), &options());
    assert!(got.notes.iter().any(|n| n.contains("register crosses")), "{:?}", got.notes);
    assert!(got.value.crosses.is_empty(), "no cross over the picture");
    let got = furnish(&sheet(2.0), View::default(), &options());
    assert!(got.notes.iter().any(|n| n.contains("nearer to the edge")), "{:?}", got.notes);
}

#[test]
fn a_mirrored_sheet_says_so_and_its_letters_run_the_other_way() {
    let view = View { mirrored: true, quarter_turns: 0 };
    let made = furnish(&sheet(20.0), view, &options()).value;
    assert!(made.texts.iter().any(|t| t.text.starts_with("MIRRORED")), "it is said");
    let at = |name: &str| made.texts.iter().find(|t| t.text == name).map(|t| t.at.x);
    assert!(at("A") > at("B"), "A is on the right");
}

/// The texts of the title block's parts, with the heights of their capitals, on a paper that has small margins.
fn title_on(paper: &str, title: TitleBlock, mirrored: bool) -> (Vec<(String, f64)>, Vec<String>) {
    let paper = Paper::parse(paper).unwrap_or_else(|e| panic!("{e}"));
    let place_options = PlaceOptions { margin_mm: Some(20.0), ..PlaceOptions::default() };
    let placed = place(&paper, [600, 800], 1.0, &place_options).unwrap_or_else(|e| panic!("{e}")).value;
    let mark_options = MarkOptions { square_mm: None, title, ..options() };
    let view = View { mirrored, quarter_turns: 0 };
    let got = furnish(&placed, view, &mark_options);
    // Left of the picture's left side, where titles begin, and as far as the printer reaches.
    let shown = view.placement(&placed);
    let (from, to) = (shown.picture_mm.x, shown.sheet_mm[0] - 5.0);
    let is_rule = |text: &str| text.ends_with(" mm") && text.len() < 8 || text.ends_with(" in");
    let texts: Vec<_> = got.value.texts.iter().filter(|t| !is_rule(&t.text)).collect();
    for text in &texts {
        let [a, b] = text.bounds();
        assert!(a.x >= from - 1e-9 && b.x <= to + 1e-9, "{:?} runs from {} to {}", text.text, a.x, b.x);
        assert!(a.y.max(b.y) <= shown.sheet_mm[1] - 5.0, "{:?} is out of reach", text.text);
        for cross in &got.value.crosses {
            let beside = a.x.max(b.x) <= cross.x - 3.0 || a.x.min(b.x) >= cross.x + 3.0;
            let beyond = a.y.max(b.y) <= cross.y - 3.0 || a.y.min(b.y) >= cross.y + 3.0;
            assert!(beside || beyond, "{:?} lies over the cross at {cross:?}", text.text);
        }
    }
    (texts.into_iter().map(|t| (t.text.clone(), t.height_mm)).collect(), got.notes)
}

#[test]
fn a_long_file_name_loses_its_middle_and_no_height() {
    let name = format!("{}-2.png", "jug-and-bowl-".repeat(9));
    for paper in ["a4", "a6"] {
        let title = TitleBlock { name: name.clone(), sheet: "A5".into(), ..TitleBlock::default() };
        let (lines, notes) = title_on(paper, title, false);
        assert!(notes.iter().all(|n| !n.contains("title block")), "{paper}: {notes:?}");
        let (text, height) = &lines[0];
        assert!((height - 1.8).abs() < 1e-9, "{paper}: the height stays");
        if paper == "a4" {
            assert_eq!(*text, format!("{name}  \u{b7}  A5"), "there is room for all of it");
        } else {
            let [start, end] = ["jug-and-bowl-", "-2.png"];
            assert!(text.starts_with(start) && text.contains("...") && text.ends_with(end), "{text}");
            assert_eq!(lines[1], ("A5".to_owned(), 1.8), "the sheet follows on a line of its own");
        }
    }
}

#[test]
fn a_long_credit_is_wrapped_by_words() {
    let credit = "after a still life of our own with a jug, a bowl, three apples and a cloth that hangs over the table";
    let title = TitleBlock { name: "jug.png".into(), credit: credit.into(), ..TitleBlock::default() };
    let (lines, notes) = title_on("a6", title, false);
    assert!(notes.iter().all(|n| !n.contains("title block")), "{notes:?}");
    assert!(lines.iter().all(|(_, height)| (height - 1.8).abs() < 1e-9), "{lines:?}");
    let said: Vec<&str> = lines[1..].iter().map(|(text, _)| text.as_str()).collect();
    assert_eq!((said.len(), said.join(" ").as_str()), (2, credit), "every word in its place");
}

#[test]
fn the_word_that_a_sheet_is_mirrored_wraps_and_shrinks_only_without_room() {
    let mirrored_lines = |paper: &str| {
        let title = TitleBlock { name: "jug.png".into(), ..TitleBlock::default() };
        let (mut lines, notes) = title_on(paper, title, true);
        assert!(notes.iter().all(|n| !n.contains("title block")), "{paper}: {notes:?}");
        let end = lines.iter().position(|(text, _)| text.ends_with("graphite paper"));
        lines.truncate(end.map_or(0, |last| last + 1));
        assert!(lines[0].0.starts_with("MIRRORED"), "{paper}: {lines:?}");
        lines
    };
    let a4 = mirrored_lines("a4");
    assert_eq!((a4.len(), a4[0].1), (1, 2.5), "one line, loud");
    let a6 = mirrored_lines("a6");
    assert!(a6.len() == 2 && a6.iter().all(|line| (line.1 - 1.8).abs() < 1e-9), "{a6:?}");
}

proptest! {
    #[test]
    fn a_squares_name_gives_its_rectangle(column in 0usize..400, row in 0usize..400) {
        let picture = RectMm { x: 10.0, y: 20.0, width: 10_000.0, height: 10_000.0 };
        let squares = Squares::of(&picture, 25.0);
        let name = format!("{}{}", column_name(column), row + 1);
        let wanted = (10.0 + 25.0 * column as f64, 20.0 + 25.0 * row as f64);
        let got = squares.rect(&name, &picture);
        prop_assert_eq!(got.map(|r| (r.x, r.y)), Some(wanted), "{}", name);
    }
}
