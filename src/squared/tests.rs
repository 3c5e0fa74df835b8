//! Tests of the squared reference: lengths in closed form, pixels at their places, everything on its page.

use kurbo::CubicBez;
use proptest::prelude::*;

use super::*;
use crate::transitions::{BoundaryNet, NetArea, Transition};

const SQUARES: Squares = Squares { side_mm: 25.0, columns: 4, rows: 3 };
const PICTURE_MM: [f64; 2] = [90.0, 70.0];

/// A net of closed rings around circles.
fn circles(of: &[(f64, f64, f64)]) -> BoundaryNet {
    let area = NetArea { value: 2, size_mm2: 1.0, tone: 50.0, edited: false };
    let ring = |&(x, y, r): &(f64, f64, f64)| {
        // The usual four cubics: within 0.03 % of the circle.
        let k = 0.552_284_749_8 * r;
        let at = |dx: f64, dy: f64| Point::new(x + dx, y + dy);
        let curve = vec![
            CubicBez::new(at(r, 0.0), at(r, k), at(k, r), at(0.0, r)),
            CubicBez::new(at(0.0, r), at(-k, r), at(-r, k), at(-r, 0.0)),
            CubicBez::new(at(-r, 0.0), at(-r, -k), at(-k, -r), at(0.0, -r)),
            CubicBez::new(at(0.0, -r), at(k, -r), at(r, -k), at(r, 0.0)),
        ];
        Transition {
            from: None,
            to: None,
            closed: true,
            left: 0,
            right: 1,
            values: [1, 2],
            curve,
            width_mm: vec![0.1],
            edge_mm: 0.1,
            hard: true,
            height: 1.0,
            suppressed: false,
        }
    };
    BoundaryNet {
        width_mm: PICTURE_MM[0],
        height_mm: PICTURE_MM[1],
        junctions: Vec::new(),
        transitions: of.iter().map(ring).collect(),
        areas: vec![area.clone(), area],
    }
}

#[test]
fn squares_come_by_the_line_in_them() {
    // A circle of 10 mm in B1 alone; one of 12 mm around the corner of C2, C3, D2 and D3, a quarter in each.
    let mut net = circles(&[(37.5, 12.5, 10.0), (75.0, 50.0, 12.0)]);
    let all = by_line(&net, &[], SQUARES);
    let names: Vec<&str> = all.iter().map(|square| square.name.as_str()).collect();
    assert_eq!(
        names[..6],
        ["B1", "C2", "D2", "C3", "D3", "A1"],
        "the busiest first, equals as they are read"
    );
    let tau = std::f64::consts::TAU;
    for (square, wanted) in all.iter().zip([tau * 10.0, tau * 3.0, tau * 3.0, tau * 3.0, tau * 3.0, 0.0]) {
        assert!((square.line_mm - wanted).abs() < 0.05, "{square:?} for {wanted}");
    }
    net.transitions[0].suppressed = true;
    assert_eq!(by_line(&net, &[], SQUARES)[0].name, "C2", "what is not drawn is no line");
}

/// A picture whose every pixel tells its place.
fn picture(width: usize, height: usize) -> Raster<u8> {
    Raster::from_vec(
        width,
        height,
        (0..width * height).map(|i| ((i % width) * 7 + (i / width) * 13) as u8).collect(),
    )
}

fn busy(cells: &[Cell]) -> Vec<Busy> {
    cells.iter().map(|&cell| Busy { cell, name: SQUARES.name(cell[0], cell[1]), line_mm: 10.0 }).collect()
}

#[test]
fn the_grid_has_every_square_and_the_edge() {
    let lines = grid(SQUARES, PICTURE_MM, Affine::translate((20.0, 30.0)));
    assert_eq!(lines.len(), 2, "white, and black within it");
    for of in &lines {
        assert_eq!(of.paths.len(), 5 + 4, "four columns and three rows have nine lines");
        assert!(
            of.paths.contains(&vec![Point::new(110.0, 30.0), Point::new(110.0, 100.0)]),
            "the right edge"
        );
        assert!(of.paths.contains(&vec![Point::new(70.0, 30.0), Point::new(70.0, 100.0)]), "between B and C");
    }
    assert!(lines[0].strength <= 0.0 && lines[0].line_mm > lines[1].line_mm, "black on white");
}

proptest! {
    #[test]
    fn every_pixel_lies_at_its_place(
        width in 40_usize..900, height in 30_usize..700, column in 0_usize..4, row in 0_usize..3, times in 1.0_f64..4.0
    ) {
        let picture = picture(width, height);
        let source = Source { picture: &picture, picture_mm: PICTURE_MM, squares: SQUARES };
        let options =
            EnlargeOptions { times, size_mm: [210.0, 297.0], edge_mm: 11.0, remark: "a.png, a4".into() };
        let pages = enlarge(&source, &busy(&[[column, row]]), &options);
        let (square, piece) = (&pages[0].squares[0], &pages[0].pieces[0]);
        prop_assert!((square.scale - times).abs() < 1e-9, "there is room for it");
        // Where the piece's pixels lie on the picture, by way of the square's own place on page and picture.
        let back = |x: f64, y: f64| {
            [(x - square.rect_mm.x) / square.scale + column as f64 * 25.0, (y - square.rect_mm.y) / square.scale + row as f64 * 25.0]
        };
        for (px, py) in [(0, 0), (piece.grey.width() - 1, piece.grey.height() - 1), (piece.grey.width() / 2, 0)] {
            let at = |k: usize, count: usize, from: f64, length: f64| from + (k as f64 + 0.5) / count as f64 * length;
            let r = piece.rect_mm;
            let mm = back(at(px, piece.grey.width(), r.x, r.width), at(py, piece.grey.height(), r.y, r.height));
            let own = [mm[0] / PICTURE_MM[0] * width as f64, mm[1] / PICTURE_MM[1] * height as f64];
            // The middle of a pixel of the reference, to a thousandth of it, and that pixel's own tone.
            prop_assert!(own.iter().all(|p| (p.fract() - 0.5).abs() < 1e-3), "{own:?}");
            prop_assert_eq!(piece.grey.at(px, py), picture.at(own[0] as usize, own[1] as usize));
        }
        // The square is shown whole.
        let (r, s) = (piece.rect_mm, square.rect_mm);
        let rest = square.scale * PICTURE_MM[0] / width as f64;
        prop_assert!(r.x <= s.x + rest && r.y <= s.y + rest, "{r:?} begins within {s:?}");
        prop_assert!(r.x + r.width >= s.x + s.width - rest && r.y + r.height >= s.y + s.height - rest);
    }
}

#[test]
fn pages_hold_all_squares_inside_their_edge() {
    let picture = picture(900, 700);
    let source = Source { picture: &picture, picture_mm: PICTURE_MM, squares: SQUARES };
    let all: Vec<Cell> = (0..12).map(|k| [k % 4, k / 4]).collect();
    for (times, size_mm) in
        [(2.0, [210.0, 297.0]), (10.0, [210.0, 297.0]), (1.0, [82.0, 102.0]), (3.0, [297.0, 420.0])]
    {
        let edge_mm = 11.0;
        let options = EnlargeOptions { times, size_mm, edge_mm, remark: "a name.png, a4".repeat(9) };
        let pages = enlarge(&source, &busy(&all), &options);
        let names: Vec<&str> =
            pages.iter().flat_map(|page| &page.squares).map(|square| square.square.name.as_str()).collect();
        assert_eq!(names, busy(&all).iter().map(|square| square.name.as_str()).collect::<Vec<_>>());
        for page in &pages {
            let inside = |p: Point| {
                let least = edge_mm - 0.5;
                p.x > least && p.x < size_mm[0] - least && p.y > least && p.y < size_mm[1] - least
            };
            let corners = |r: &RectMm| [Point::new(r.x, r.y), Point::new(r.x + r.width, r.y + r.height)];
            for piece in &page.pieces {
                assert!(
                    corners(&piece.rect_mm).into_iter().all(inside),
                    "{times} on {size_mm:?}: {:?}",
                    piece.rect_mm
                );
            }
            for text in &page.furniture.texts {
                assert!(text.bounds().into_iter().all(inside), "{times} on {size_mm:?}: {text:?}");
                let covers = |piece: &Piece| {
                    let [a, b] = text.bounds();
                    let text = kurbo::Rect::from_points(a, b);
                    let [c, d] = corners(&piece.rect_mm);
                    text.intersect(kurbo::Rect::from_points(c, d)).area() > 0.0
                };
                assert!(
                    !page.pieces.iter().any(covers),
                    "{times} on {size_mm:?}: {text:?} lies on a picture"
                );
            }
        }
    }
    assert!(
        enlarge(
            &source,
            &[],
            &EnlargeOptions { times: 2.0, size_mm: [210.0, 297.0], edge_mm: 11.0, remark: String::new() }
        )
        .is_empty()
    );
}
