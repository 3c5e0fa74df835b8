//! Tests of the pages: everything is on them, once, and inside their edge.

use std::collections::BTreeSet;

use crate::order::{AreaPart, LinePart, Passes, Step, WorkSquare};
use crate::plan::{Marked, PlanValue};
use crate::sheet::lettering::width_mm;

use super::*;

/// Every square of a picture, with all steps that there can be in it.
fn order(squares: Squares, picture_mm: [f64; 2], labels: &[PlanValue]) -> WorkOrder {
    let square = |k: usize| {
        let cell = [k % squares.columns, k / squares.columns];
        let part = |(area, &label): (usize, &PlanValue)| AreaPart { area, label, size_mm2: 60.0, share: 0.1 };
        let name = squares.name(cell[0], cell[1]);
        let at = RectMm { x: 0.0, y: 0.0, width: picture_mm[0], height: picture_mm[1] };
        let rect_mm = squares.rect(&name, &at).unwrap_or_else(|| panic!("{name}"));
        let mut square = WorkSquare {
            cell,
            name,
            rect_mm,
            group: Some(k % 3),
            areas: labels.iter().enumerate().map(part).collect(),
            lights: vec![LinePart { of: Marked::Thin(0), length_mm: 12.0 }; k % 2],
            darks: Vec::new(),
            paper: 0.1,
            black: 0.1,
            steps: Vec::new(),
        };
        square.fill_steps(9);
        square
    };
    let mut squares: Vec<_> = (0..squares.columns * squares.rows).map(square).collect();
    squares.sort_by_key(|square| square.group);
    WorkOrder {
        squares,
        bare: vec![[0, 0], [1, 0], [2, 0], [4, 1]],
        wet: Passes::default(),
        ever: Passes::default(),
        lain_on: Vec::new(),
    }
}

#[test]
fn every_step_has_one_box_and_all_is_inside_the_edge() {
    let whole: Vec<PlanValue> = (2..=9).map(PlanValue::whole).collect();
    let scale = crate::tone::ValueScale::new((1..9).map(|k| 100.0 - 11.0 * f64::from(k)).collect());
    // Tones just beside each break give the halves too.
    let halves =
        (1..9_u8).map(|value| PlanValue::with_halves(value, 100.1 - 11.0 * f64::from(value), &scale));
    let mut all = whole.clone();
    all.extend(halves.filter(|label| label.is_half()));
    assert!(all.len() > 14, "{} labels", all.len());
    for picture_mm in [[170.0, 255.0], [60.0, 40.0], [380.0, 554.0], [101.0, 800.0]] {
        for labels in [&whole[..2], &whole[..], &all[..]] {
            for room in [LEAST_ROOM_MM, [188.0, 275.0]] {
                for groups in [
                    vec![],
                    vec!["figure".to_owned(), "table".to_owned(), "a very far away background".repeat(9)],
                ] {
                    let edge_mm = 11.0;
                    let size_mm = room.map(|side| side + 2.0 * edge_mm);
                    let at = RectMm { x: 0.0, y: 0.0, width: picture_mm[0], height: picture_mm[1] };
                    let squares = Squares::of(&at, 25.0);
                    let order = order(squares, picture_mm, labels);
                    let texts = OrderTexts {
                        remark: "a name.png, a4".into(),
                        groups,
                        last: 9,
                        ..OrderTexts::default()
                    };
                    let tints = [];
                    let of = Drawn {
                        order: &order,
                        squares,
                        picture_mm,
                        tints: &tints,
                        texts: &texts,
                        size_mm,
                        edge_mm,
                    };
                    check(&of, &order_pages(&of).value);
                }
            }
        }
    }
}

fn check(of: &Drawn<'_>, pages: &[OrderPage]) {
    let wanted: BTreeSet<(usize, usize)> = of
        .order
        .squares
        .iter()
        .enumerate()
        .flat_map(|(k, s)| (0..s.steps.len()).map(move |step| (k, step)))
        .collect();
    let ticks: Vec<(usize, usize)> =
        pages.iter().flat_map(|p| &p.ticks).map(|t| (t.square, t.step)).collect();
    let context = format!("{:?} on {:?}, {} groups", of.picture_mm, of.size_mm, of.texts.groups.len());
    assert_eq!(ticks.len(), wanted.len(), "{context}");
    assert_eq!(ticks.iter().copied().collect::<BTreeSet<_>>(), wanted, "{context}");
    for page in pages {
        let inside = |p: Point| {
            let least = of.edge_mm - 0.5;
            p.x > least && p.x < of.size_mm[0] - least && p.y > least && p.y < of.size_mm[1] - least
        };
        for text in &page.furniture.texts {
            assert!(text.bounds().into_iter().all(inside), "{context}: {text:?}");
        }
        let points = page.furniture.lines.iter().flat_map(|l| l.paths.iter().flatten());
        assert!(points.copied().all(inside), "{context}: a line is outside");
        // No text lies on a box, or on another text.
        let rect = |text: &Lettering| {
            let [a, b] = text.bounds();
            kurbo::Rect::from_points(a, b)
        };
        let boxes = page
            .ticks
            .iter()
            .map(|t| kurbo::Rect::new(t.rect.x, t.rect.y, t.rect.x + t.rect.width, t.rect.y + t.rect.height));
        let all: Vec<kurbo::Rect> = page.furniture.texts.iter().map(rect).chain(boxes).collect();
        let mut by_left: Vec<&kurbo::Rect> = all.iter().collect();
        by_left.sort_by(|a, b| a.x0.total_cmp(&b.x0));
        for (k, a) in by_left.iter().enumerate() {
            for b in by_left[k + 1..].iter().take_while(|b| b.x0 < a.x1) {
                let shared = a.intersect(**b);
                assert!(shared.width() < 0.01 || shared.height() < 0.01, "{context}: {a:?} and {b:?}");
            }
        }
    }
}

/// An order on A4, as far as the printer reaches.
fn on_a4<'a>(
    order: &'a WorkOrder,
    squares: Squares,
    picture_mm: [f64; 2],
    texts: &'a OrderTexts,
) -> Drawn<'a> {
    Drawn { order, squares, picture_mm, tints: &[], texts, size_mm: [210.0, 297.0], edge_mm: 11.0 }
}

#[test]
fn a_page_is_saved_where_closer_lines_save_one() {
    // A4 inside its edge. Two tables of all these steps stand beside each other only when they are a little closer.
    let pages = |rows: usize, labels: &[PlanValue]| {
        let picture_mm = [175.0, 25.0 * rows as f64];
        let at = RectMm { x: 0.0, y: 0.0, width: picture_mm[0], height: picture_mm[1] };
        let squares = Squares::of(&at, 25.0);
        let order = order(squares, picture_mm, labels);
        let texts = OrderTexts { last: 9, ..OrderTexts::default() };
        let of = on_a4(&order, squares, picture_mm, &texts);
        let pages = order_pages(&of).value;
        check(&of, &pages);
        let rows: Vec<f64> = pages.iter().flat_map(|page| &page.ticks).map(|tick| tick.rect.y).collect();
        let step = rows.windows(2).map(|w| w[1] - w[0]).filter(|step| *step > 0.1);
        (pages.len(), step.fold(f64::INFINITY, f64::min))
    };
    let to = |last: u8| (2..=last).map(PlanValue::whole).collect::<Vec<_>>();
    let (few, calm) = pages(4, &to(4));
    assert!(
        few == 1 && (calm - 6.6).abs() < 1e-9,
        "{few} pages of lines {calm} mm apart: nothing is to be saved"
    );
    // Some of these numbers of rows and steps would end just over a page; there lines come closer.
    let mut closer = 0;
    for last in 3..=8 {
        let all: Vec<(usize, f64)> = (5..=14).map(|rows| pages(rows, &to(last))).collect();
        assert!(all.windows(2).all(|w| w[0].0 <= w[1].0), "more squares never take fewer pages: {all:?}");
        closer += all.iter().filter(|(_, step)| (step - 5.8).abs() < 1e-9).count();
    }
    assert!((3..30).contains(&closer), "lines came closer {closer} times of 60");
}

#[test]
fn a_square_says_its_steps_in_the_order_of_the_work() {
    let squares = Squares { side_mm: 25.0, columns: 2, rows: 2 };
    let labels = [PlanValue::whole(9), PlanValue::whole(3), PlanValue::whole(2)];
    let order = order(squares, [50.0, 50.0], &labels);
    let lit =
        order.squares.iter().find(|square| !square.lights.is_empty()).unwrap_or_else(|| panic!("lights"));
    let hatch = |value| Step::Hatch(PlanValue::whole(value));
    assert_eq!(lit.steps, [Step::Lights, hatch(2), hatch(3), Step::Black]);
}

#[test]
fn neighbours_are_said_as_ranges() {
    let squares = Squares { side_mm: 25.0, columns: 6, rows: 3 };
    let cells = [[0, 0], [1, 0], [2, 0], [4, 0], [5, 0], [0, 1], [3, 2]];
    assert_eq!(said::ranges(squares, &cells), "A1 to C1, E1, F1, A2, D3");
    assert_eq!(said::few(&["A1", "B1"]), "A1, B1");
    assert!(said::few(&["A1"; 30]).ends_with(" and others"));
}

#[test]
fn numbers_stand_on_the_map_at_their_squares() {
    let picture_mm = [170.0, 200.0];
    let at = RectMm { x: 0.0, y: 0.0, width: picture_mm[0], height: picture_mm[1] };
    let squares = Squares::of(&at, 25.0);
    let order = order(squares, picture_mm, &[PlanValue::whole(2)]);
    let texts = OrderTexts { last: 9, ..OrderTexts::default() };
    let of = on_a4(&order, squares, picture_mm, &texts);
    let made = order_pages(&of);
    assert!(made.notes.is_empty(), "{:?}", made.notes);
    let page = &made.value[0];
    let map = page.map_mm.unwrap_or_else(|| panic!("a map"));
    let scale = map.width / picture_mm[0];
    assert!((map.height / picture_mm[1] - scale).abs() < 1e-9, "one scale both ways");
    for (place, square) in order.squares.iter().enumerate() {
        let r = &square.rect_mm;
        let middle =
            Point::new(map.x + scale * (r.x + r.width / 2.0), map.y + scale * (r.y + r.height / 2.0));
        let text = (place + 1).to_string();
        let there = page.furniture.texts.iter().filter(|t| t.text == text).any(|t| {
            let [a, b] = t.bounds();
            a.midpoint(b).distance(middle) < 0.05 && width_mm(&text, t.height_mm) < r.width * scale
        });
        assert!(there, "{text} in {}", square.name);
    }
}
