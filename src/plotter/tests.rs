//! Times against closed forms; lines begun elsewhere and cut keep their length.

use super::*;
use proptest::prelude::*;
use std::f64::consts::{PI, TAU};

fn circle(centre: Point, radius: f64) -> PlotterStroke {
    // The usual handle length for a quarter circle: 4/3 tan(pi/8).
    let k = radius * 4.0 / 3.0 * (TAU / 16.0).tan();
    let turn = [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)].map(kurbo::Vec2::from);
    let quarter = |i: usize| {
        let (u, v) = (turn[i], turn[(i + 1) % 4]);
        let (a, b) = (centre + u * radius, centre + v * radius);
        CubicBez::new(a, a + v * k, b + u * k, b)
    };
    PlotterStroke { curve: (0..4).map(quarter).collect(), closed: true, transitions: vec![0] }
}

proptest! {
    /// A straight line has the closed form of the trapezoid or the triangle: ramps of v/a, each v^2 / 2a long.
    #[test]
    fn straight_lines_take_the_trapezoids_time(length in 0.1f64..400.0, v in 1.0f64..200.0, a in 10.0f64..5000.0) {
        let machine = Machine { drawing_mm_s: v, acceleration_mm_s2: a, ..Machine::default() };
        let ramp = v * v / (2.0 * a);
        let want = if 2.0 * ramp <= length { 2.0 * v / a + (length - 2.0 * ramp) / v } else { 2.0 * (length / a).sqrt() };
        prop_assert!((straight_s(length, v, &machine) / want - 1.0).abs() < 1e-9, "in closed form");
        let line = lines::straight(&[Point::ZERO, Point::new(length, 0.0)]);
        let got = drawing_s(&line.curve, &machine);
        prop_assert!((got / want - 1.0).abs() < 1e-3, "{got} s, {want} s in closed form");
    }

    /// A circle is drawn at sqrt(a r) where that is the lower speed (acceleration towards the middle, v^2 / r).
    #[test]
    fn circles_are_drawn_as_fast_as_their_bend_allows(radius in 3.0f64..60.0, v in 5.0f64..300.0) {
        let machine = Machine { drawing_mm_s: v, ..Machine::default() };
        let even = v.min((machine.acceleration_mm_s2 * radius).sqrt());
        let want = TAU * radius / even + even / machine.acceleration_mm_s2;
        let got = drawing_s(&circle(Point::ZERO, radius).curve, &machine);
        if even * even / machine.acceleration_mm_s2 < TAU * radius {
            prop_assert!((got / want - 1.0).abs() < 0.02, "{got} s, {want} s in closed form");
        }
    }

    #[test]
    fn closed_lines_begin_anywhere_and_stay_whole(radius in 2.0f64..50.0, way in 0usize..1000, over in 0.0f64..3.0) {
        let whole = circle(Point::new(100.0, 100.0), radius);
        let places = lines::places(&whole.curve);
        let mut got = lines::begun(&whole, &places, way % places.len());
        let ends = (got.curve[0].p0, got.curve[got.curve.len() - 1].p3);
        prop_assert!(ends.0.distance(ends.1) < 0.002, "it closes");
        prop_assert!((length_mm(&got.curve) - length_mm(&whole.curve)).abs() < 0.005, "as long as it was");
        lines::close_over(&mut got, over);
        let longer = length_mm(&got.curve) - length_mm(&whole.curve);
        prop_assert!((longer - over).abs() < 0.01, "{longer} mm over its beginning, {over} asked for");
    }

    #[test]
    fn nothing_is_drawn_where_the_pencil_keeps_out(x in 60.0f64..140.0, y in 60.0f64..140.0, side in 1.0f64..60.0) {
        let rect = RectMm { x, y, width: side, height: side };
        let whole = circle(Point::new(100.0, 100.0), 30.0);
        let left = lines::outside(&whole, &rect);
        let mut length = 0.0;
        for stroke in &left {
            length += length_mm(&stroke.curve);
            for p in stroke.curve.iter().flat_map(|c| [0.1, 0.5, 0.9].map(|t| kurbo::ParamCurve::eval(c, t))) {
                let deep = (p.x - x).min(x + side - p.x).min(p.y - y).min(y + side - p.y);
                prop_assert!(deep < 0.002, "{p:?} lies {deep} mm inside");
            }
        }
        let inside = cut_length(&whole, &rect);
        prop_assert!((length + inside - TAU * 30.0).abs() < 0.1, "what is left and what is cut make the circle");
    }
}

fn cut_length(stroke: &PlotterStroke, rect: &RectMm) -> f64 {
    crate::strokes::cut(&stroke.curve, true, rect, true).iter().map(|(c, _)| length_mm(c)).sum()
}

#[test]
fn a_corner_stops_the_pencil() {
    let machine = Machine::default();
    let [a, b, c] = [(0.0, 0.0), (40.0, 0.0), (40.0, 40.0)].map(Point::from);
    let got = drawing_s(&lines::straight(&[a, b, c]).curve, &machine);
    let want = 2.0 * straight_s(40.0, machine.drawing_mm_s, &machine);
    assert!((got / want - 1.0).abs() < 1e-3, "{got} s, {want} s with a stop at the corner");
}

#[test]
fn parts_end_with_strokes_and_hold_the_lead() {
    let line = |y: f64| crate::strokes::Stroke {
        curve: lines::straight(&[Point::new(10.0, y), Point::new(110.0, y)]).curve,
        closed: false,
        hard: y < 50.0,
        transitions: vec![0],
        values: [1, 2],
        edge_mm: 0.4,
    };
    let strokes = (0..10).map(|k| line(f64::from(k) * 10.0)).collect();
    let plan = StrokePlan { strokes, ..StrokePlan::default() };
    let options = PlotterOptions { lead_length_mm: Some(250.0), ..PlotterOptions::default() };
    let made = plan_plotter(&plan, &Furniture::default(), &options);
    let names: Vec<String> = made.parts.iter().map(PlotterPart::name).collect();
    assert_eq!(
        names,
        ["hard-1", "hard-2", "hard-3", "soft-1", "soft-2", "soft-3"],
        "two strokes of 100 mm each"
    );
    assert!(made.figures.parts.iter().all(|p| p.down_mm <= 250.0), "{:?}", made.figures.parts);
    assert_eq!((made.figures.strokes, made.figures.lifts), (10, 10), "a lift after each");
    assert!((made.figures.down_mm - 1000.0).abs() < 0.01, "{} mm", made.figures.down_mm);
    let joined = PlotterOptions { joined: true, ..options };
    let made = plan_plotter(&plan, &Furniture::default(), &joined);
    assert_eq!(made.parts.len(), 5, "one pencil: two strokes a part, over all lines");
}

#[test]
fn travel_over_a_rectangle_is_seen() {
    let rect = RectMm { x: 10.0, y: 10.0, width: 10.0, height: 10.0 };
    let passes = |a: (f64, f64), b: (f64, f64)| lines::passes(a.into(), b.into(), &rect);
    assert!(passes((0.0, 15.0), (30.0, 15.0)), "across");
    assert!(passes((15.0, 15.0), (16.0, 15.0)), "within");
    assert!(!passes((0.0, 9.0), (30.0, 9.0)), "above it");
    assert!(!passes((0.0, 25.0), (25.0 * PI, 25.0)), "below it");
    assert!(!passes((0.0, 15.0), (9.0, 15.0)), "short of it");
}
