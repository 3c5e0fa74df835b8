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
