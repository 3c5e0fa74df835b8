//! Tests of the working order: ways and hand by closed forms and brute force, a scene whose squares are known.

use kurbo::{Point, Rect};
use proptest::prelude::*;

use super::hand::lain_on;
use super::way::sequence;
use super::*;

/// How often the hand lies on squares.
fn passes(squares: &[Rect], wet_for: impl Fn(usize) -> usize, hand: Hand) -> Passes {
    Passes::of(&lain_on(squares, wet_for, hand))
}

/// Squares of a side in rows and columns, row by row.
fn grid(columns: usize, rows: usize, side: f64) -> Vec<Rect> {
    let square = |k: usize| {
        let (x, y) = ((k % columns) as f64 * side, (k / columns) as f64 * side);
        Rect::new(x, y, x + side, y + side)
    };
    (0..columns * rows).map(square).collect()
}

fn in_order(columns: usize, rows: usize, side: f64, begin: Begin, hand: Hand) -> Vec<Rect> {
    let places: Vec<_> = (0..columns * rows).map(|k| ([k % columns, k / columns], None)).collect();
    let squares = grid(columns, rows, side);
    sequence(&places, begin, hand).into_iter().map(|k| squares[k]).collect()
}

#[test]
fn from_the_top_the_hand_is_never_on_ink() {
    for hand in [Hand::Right, Hand::Left] {
        for (columns, rows, side) in [(1, 1, 25.0), (7, 10, 25.0), (16, 22, 25.4), (3, 40, 5.0), (40, 3, 5.0)]
        {
            let order = in_order(columns, rows, side, Begin::Top, hand);
            assert_eq!(
                passes(&order, |_| usize::MAX, hand),
                Passes::default(),
                "{columns} x {rows}, {hand:?}"
            );
        }
    }
}

#[test]
fn from_the_wrong_side_it_is_on_ink_as_often_as_a_sum_says() {
    // Rows from the right, drawn by the right hand: it lies on the squares of the same row up to 80 mm beyond the one that
    // is inked, which were inked before. With c columns, n of them covered, each of r rows counts sum min(i, n, w),
    // i from 0 to c - 1, over those inked in the last w.
    let [aside, _] = HAND_MM;
    for (columns, rows, side) in [(7_usize, 10_usize, 25.0), (5, 4, 40.0), (12, 2, 30.0)] {
        let order = in_order(columns, rows, side, Begin::Top, Hand::Left);
        // The square beyond the one that the tip is in begins at 0; another is reached as long as it begins before 80 mm.
        let covered = (aside / side).ceil() as usize;
        for wet_for in [0, 1, 2, 4, 100] {
            let in_row: usize = (0..columns).map(|i| i.min(covered).min(wet_for)).sum();
            let got = passes(&order, |_| wet_for, Hand::Right);
            assert_eq!(got.times, rows * in_row, "{columns} x {rows} of {side} mm, wet for {wet_for}");
            // All but the last of each row are lain on, as soon as anything is wet.
            let squares = if wet_for == 0 { 0 } else { rows * (columns - 1) };
            assert_eq!(got.squares, squares, "{columns} x {rows} of {side} mm, wet for {wet_for}");
        }
    }
}

#[test]
fn outward_goes_ring_by_ring() {
    let places: Vec<_> = (0..12).map(|k| ([k % 4, k / 4], None)).collect();
    let order = sequence(&places, Begin::Outward([1, 1]), Hand::Right);
    // 4 x 3 squares around the one in the second column and row, by hand: eight around it, then the last column.
    assert_eq!(order, [5, 0, 1, 2, 4, 6, 8, 9, 10, 3, 7, 11]);
    let left = sequence(&places, Begin::Outward([1, 1]), Hand::Left);
    assert_eq!(left, [5, 2, 1, 0, 6, 4, 10, 9, 8, 3, 7, 11]);
}

#[test]
fn groups_go_front_to_back() {
    let groups = [None, Some(1), Some(0), Some(1), Some(0), None];
    let places: Vec<_> = groups.into_iter().enumerate().map(|(k, group)| ([k % 3, k / 3], group)).collect();
    assert_eq!(sequence(&places, Begin::Groups, Hand::Right), [2, 4, 1, 3, 0, 5]);
    // The first group that has a quarter of a square, else the one with most.
    for (shares, wanted) in [
        (&[0.3, 0.7][..], Some(0)),
        (&[0.24, 0.7], Some(1)),
        (&[0.1, 0.2], Some(1)),
        (&[0.1, 0.1], Some(0)),
        (&[0.0, 0.0], None),
        (&[], None),
    ] {
        assert_eq!(group_of(shares), wanted, "{shares:?}");
    }
}

proptest! {
    #[test]
    fn the_hand_lies_where_some_tip_puts_it(
        columns in 1_usize..6, rows in 1_usize..6, side in 8.0_f64..60.0, seed in prop::collection::vec(0_u32..1000, 36),
        left: bool, wet_for in 0_usize..8
    ) {
        let hand = if left { Hand::Left } else { Hand::Right };
        let mut order: Vec<usize> = (0..columns * rows).collect();
        order.sort_by_key(|&k| (seed[k], k));
        let all = grid(columns, rows, side);
        let squares: Vec<Rect> = order.iter().map(|&k| all[k]).collect();
        // By brute force: the tip at many places of the square, every wet square looked at in many points.
        let [aside, down] = HAND_MM;
        let inner = |r: &Rect| {
            let at = move |r: Rect, k: usize| 0.02 + (r.width() - 0.04) * k as f64 / 4.0;
            let r = *r;
            (0..25).map(move |k| Point::new(r.x0 + at(r, k % 5), r.y0 + at(r, k / 5))).collect::<Vec<_>>()
        };
        let (mut times, mut covered) = (0, vec![false; squares.len()]);
        for (now, square) in squares.iter().enumerate() {
            for before in now.saturating_sub(wet_for)..now {
                let on = inner(square).iter().any(|tip| {
                    inner(&squares[before]).iter().any(|p| {
                        let beside = if left { tip.x - p.x } else { p.x - tip.x };
                        (0.0..aside).contains(&beside) && (0.0..down).contains(&(p.y - tip.y))
                    })
                });
                times += usize::from(on);
                covered[before] |= on;
            }
        }
        // Squares that the hand reaches by less than the points are apart are left to chance: none are made.
        let near = |reach: f64| (reach / side).fract() * side;
        prop_assume!(near(aside).min(side - near(aside)) > 0.3 && near(down).min(side - near(down)) > 0.3);
        let wanted = Passes { squares: covered.iter().filter(|on| **on).count(), times };
        prop_assert_eq!(passes(&squares, |_| wet_for, hand), wanted);
    }
}

mod scene {
    //! A black field of 60 x 50 mm at the left, grey at the right, with a light hole in the black.

    use super::*;
    use crate::areas::{AreaOptions, find};
    use crate::plan::{Marked, numbers_of};
    use crate::tone::{BreakRule, PitchRule, ReferenceKind, ToneField, ToneOptions, ToneRange, measure};
    use crate::transitions::{NetOptions, Traced, trace};

    const PX: f64 = 6.0;
    const SIZE_MM: [f64; 2] = [100.0, 75.0];
    /// The hole: left, top, width, height.
    const HOLE: [f64; 4] = [20.0, 10.0, 10.0, 10.0];

    fn made() -> (ToneField, Traced) {
        let [w, h] = SIZE_MM.map(|mm| (mm * PX) as usize);
        let light = |i: usize| {
            let (x, y) = (((i % w) as f64 + 0.5) / PX, ((i / w) as f64 + 0.5) / PX);
            let [left, top, width, height] = HOLE;
            match () {
                () if x > left && x < left + width && y > top && y < top + height => 0.95,
                () if y > 50.0 => 0.95,
                () if x < 60.0 => 0.01,
                () => 0.3,
            }
        };
        let raster = Raster::from_vec(w, h, (0..w * h).map(|i| light(i) as f32).collect());
        let options = ToneOptions {
            values: 3,
            breaks: BreakRule::Explicit(vec![80.0, 30.0]),
            tone_range: ToneRange::Fixed([0.0, 100.0]),
            kind: Some(ReferenceKind::Tonal),
            pitch: PitchRule::None,
        };
        let tone = measure(&raster, PX, &options).unwrap_or_else(|e| panic!("{e}")).value;
        let areas = find(&tone, &AreaOptions { narrowest_mm: 1.0, least_area_mm2: 6.0 });
        let traced = trace(&tone, &areas, &NetOptions::default());
        (tone, traced)
    }

    fn ordered(thin: &[ThinMark]) -> WorkOrder {
        let (tone, traced) = made();
        let labels = numbers_of(&traced.net, &tone.scale, false);
        let picture = RectMm { x: 0.0, y: 0.0, width: SIZE_MM[0], height: SIZE_MM[1] };
        let ground = OrderGround {
            net: &traced.net,
            labels: &labels,
            last: 3,
            thin,
            values: &traced.values,
            px_per_mm: PX,
            picture_mm: SIZE_MM,
            squares: Squares::of(&picture, 25.0),
        };
        let options = OrderOptions { begin: Begin::Top, hand: Hand::Right, wet_for: 4 };
        work_order(&ground, &[], &options).unwrap_or_else(|e| panic!("{e}"))
    }

    fn square<'a>(order: &'a WorkOrder, name: &str) -> &'a WorkSquare {
        order.squares.iter().find(|square| square.name == name).unwrap_or_else(|| panic!("no {name}"))
    }

    #[test]
    fn shares_are_those_of_the_shapes() {
        let order = ordered(&[]);
        // The lowest row is bare; of the rest the shapes say what each square has.
        assert_eq!(order.bare, [[0, 2], [1, 2], [2, 2], [3, 2]]);
        let names: Vec<&str> = order.squares.iter().map(|square| square.name.as_str()).collect();
        assert_eq!(names, ["A1", "B1", "C1", "D1", "A2", "B2", "C2", "D2"]);
        for (name, black, paper) in [
            ("A1", 0.92, 0.08),
            ("B1", 0.92, 0.08),
            ("C1", 0.4, 0.0),
            ("D1", 0.0, 0.0),
            ("A2", 1.0, 0.0),
            ("C2", 0.4, 0.0),
        ] {
            let of = square(&order, name);
            assert!((of.black - black).abs() < 0.005, "{name}: {of:?}");
            assert!((of.paper - paper).abs() < 0.005, "{name}: {of:?}");
            let inked: f64 = of.areas.iter().map(|part| part.share).sum();
            assert!((inked + of.paper - 1.0).abs() < 0.005, "{name} is all told: {of:?}");
        }
        assert_eq!((order.wet, order.ever), (Passes::default(), Passes::default()), "from the top");
    }

    #[test]
    fn a_light_within_black_is_outlined_first() {
        let order = ordered(&[]);
        for name in ["A1", "B1"] {
            let of = square(&order, name);
            assert_eq!(of.steps, [Step::Lights, Step::Black], "{name}");
            // Half of the hole lies in each: two sides of 5 mm and one of 10, its corners rounded off a little.
            assert_eq!(of.lights.len(), 1, "{name}");
            assert!(matches!(of.lights[0].of, Marked::Area(_)), "{of:?}");
            assert!((18.0..=20.2).contains(&of.lights[0].length_mm), "{name}: {of:?}");
        }
        assert_eq!(square(&order, "C1").steps, [Step::Hatch(PlanValue::whole(2)), Step::Black]);
        assert_eq!(square(&order, "D1").steps, [Step::Hatch(PlanValue::whole(2))]);
    }

    fn thin(from: (f64, f64), to: (f64, f64), value: u8, light: bool) -> ThinMark {
        let line = kurbo::CubicBez::new(
            Point::from(from),
            Point::from(from).lerp(Point::from(to), 1.0 / 3.0),
            Point::from(from).lerp(Point::from(to), 2.0 / 3.0),
            Point::from(to),
        );
        ThinMark { curve: vec![line], value, light, width_mm: vec![0.6], height: 1e6 }
    }

    #[test]
    fn thin_lights_count_as_far_as_black_lies_beside_them() {
        // 10 mm within the black and on over 15 mm of grey; one in the grey alone; a dark in the bare row.
        let marks = [
            thin((50.0, 40.0), (75.0, 40.0), 1, true),
            thin((80.0, 30.0), (95.0, 30.0), 1, true),
            thin((10.0, 60.0), (40.0, 60.0), 3, false),
        ];
        let order = ordered(&marks);
        let of = square(&order, "C2");
        assert_eq!(of.lights.len(), 1, "{of:?}");
        assert_eq!(of.lights[0].of, Marked::Thin(0));
        assert!((of.lights[0].length_mm - 10.0).abs() < 0.2, "{of:?}");
        assert!(square(&order, "D2").lights.is_empty(), "grey is hatched around a light");
        // The dark is drawn in black in both squares that it crosses.
        for (name, length) in [("A3", 15.0), ("B3", 15.0)] {
            let of = square(&order, name);
            assert_eq!(of.steps, [Step::Black], "{name}");
            assert!((of.darks[0].0.length_mm - length).abs() < 0.2, "{of:?}");
            assert_eq!(of.amount(Step::Black, 3), (0, 1, 0.0), "a line and no area");
        }
    }
}
