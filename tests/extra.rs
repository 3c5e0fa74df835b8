//! Extra lines: exactly what a lower plainness adds, in the same place.

use std::path::Path;

use kurbo::{CubicBez, ParamCurve, ParamCurveNearest, Point};
use merestone::reference::{ReadOptions, read_file};
use merestone::sheet::Paper;
use merestone::study::{ExtraLines, ExtraPlace, Settings, Stages, run};
use merestone::transitions::HowMuch;

const HIGHER: f64 = 60.0;
const LOWER: f64 = 20.0;

fn stages(plainness: f64, extra: Option<ExtraPlace>) -> Stages {
    let picture = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/still-life-tonal.png");
    let options = ReadOptions::default();
    let reference = read_file(&picture, &options).unwrap_or_else(|e| panic!("{e}")).value;
    let settings = Settings {
        how_much: HowMuch::Plainness(plainness),
        extra: extra.map(|place| ExtraLines { plainness: LOWER, place }),
        thin_mm: None,
        ..Settings::on(Paper::parse("a5").unwrap_or_else(|e| panic!("{e}")))
    };
    run(reference, &settings, &|_| {}).unwrap_or_else(|e| panic!("{e}")).value
}

fn cubics(stages: &Stages) -> Vec<CubicBez> {
    stages.strokes.strokes.iter().flat_map(|s| s.curve.iter().copied()).collect()
}

/// Distance in mm from a point to the nearest of some curves.
fn distance(to: &[CubicBez], from: Point) -> f64 {
    to.iter().map(|c| c.nearest(from, 1e-5).distance_sq).fold(f64::MAX, f64::min).sqrt()
}

#[test]
fn the_extra_sheet_is_the_finer_drawing_less_the_plainer_one() {
    let (plainer, finer) = (stages(HIGHER, None), stages(LOWER, None));
    let extra = stages(HIGHER, Some(ExtraPlace::Whole));
    let added = finer.strokes.drawn_mm - plainer.strokes.drawn_mm;
    assert!(added > 100.0, "the two drawings differ by only {added} mm, so nothing is tested");
    let drawn = extra.strokes.drawn_mm;
    assert!((drawn - added).abs() < 0.05, "{drawn} mm are drawn, and {added} mm are between the two");
    let (lines, fine, plain) = (cubics(&extra), cubics(&finer), cubics(&plainer));
    for c in &lines {
        for t in [0.0, 0.3, 0.5, 0.7, 1.0] {
            let p = c.eval(t);
            assert!(distance(&fine, p) < 0.002, "{p:?} is on no line of the finer drawing");
        }
    }
    // The other half: every line of the finer drawing is on one of the two sheets.
    for c in &fine {
        let p = c.eval(0.5);
        let near = distance(&lines, p).min(distance(&plain, p));
        assert!(near < 0.002, "{p:?} of the finer drawing is on neither sheet, {near} mm off");
    }
}

#[test]
fn in_one_working_square_lines_are_those_of_the_whole_that_lie_in_it() {
    let whole = stages(HIGHER, Some(ExtraPlace::Whole));
    let lines = cubics(&whole);
    let squares = whole.shown.furniture.squares.unwrap_or_else(|| panic!("no working squares"));
    let mut busiest = ("A1".to_owned(), 0);
    for row in 1..=squares.rows {
        for column in 0..squares.columns {
            let name = format!("{}{row}", merestone::sheet::column_name(column));
            let Some(r) = squares.rect(&name, &whole.placement.picture_mm) else {
                panic!("no square {name}")
            };
            let inside = |p: Point| p.x > r.x && p.x < r.x + r.width && p.y > r.y && p.y < r.y + r.height;
            let held = lines.iter().filter(|c| inside(c.eval(0.5))).count();
            if held > busiest.1 {
                busiest = (name, held);
            }
        }
    }
    let (name, held) = busiest;
    assert!(held > 0, "no square holds a line");
    let part = cubics(&stages(HIGHER, Some(ExtraPlace::Square(name.to_lowercase()))));
    let Some(r) = squares.rect(&name, &whole.placement.picture_mm) else { panic!("no square {name}") };
    assert!(!part.is_empty(), "square {name} has lines");
    for c in &part {
        for t in [0.0, 0.25, 0.5, 0.75, 1.0] {
            let p = c.eval(t);
            let inside = p.x > r.x - 0.002
                && p.x < r.x + r.width + 0.002
                && p.y > r.y - 0.002
                && p.y < r.y + r.height + 0.002;
            assert!(inside, "{p:?} is outside square {name}");
            assert!(distance(&lines, p) < 0.003, "{p:?} moved");
        }
    }
}
