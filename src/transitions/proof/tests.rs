//! Tests of the proof with planted meetings.

use super::*;
use kurbo::Vec2;
use std::f64::consts::FRAC_PI_2;

fn straight(a: (f64, f64), b: (f64, f64)) -> CubicBez {
    let (a, b) = (Point::from(a), Point::from(b));
    CubicBez::new(a, a.lerp(b, 1.0 / 3.0), a.lerp(b, 2.0 / 3.0), b)
}

fn count(curves: &[(&[CubicBez], [Option<usize>; 2])]) -> usize {
    let lines: Vec<ProofLine> =
        curves.iter().map(|&(curve, ends)| ProofLine { curve, closed: false, ends }).collect();
    find_meetings(&lines).len()
}

#[test]
fn planted_meetings_are_found() {
    let none = [None, None];
    let flat = [straight((0.0, 0.0), (10.0, 0.0))];
    assert_eq!(count(&[(&flat, none), (&[straight((3.0, -1.0), (4.0, 1.0))], none)]), 1, "a crossing");
    assert_eq!(
        count(&[(&flat, none), (&[straight((3.0, 0.0), (4.0, 1.0))], none)]),
        1,
        "an end on the inside"
    );
    assert_eq!(count(&[(&flat, none), (&[straight((3.0, 0.02), (8.0, 0.02))], none)]), 0, "0.02 mm apart");
    assert_eq!(
        count(&[(&flat, none), (&[straight((2.0, 0.0), (7.0, 0.0))], none)]),
        1,
        "a stretch run together"
    );
    // The lowest place of this arch is its middle, 3/4 of the way to the handles.
    let arch = |low: f64| {
        let top = 3.0;
        let handle = top - (top - low) * 4.0 / 3.0;
        [CubicBez::new((0.0, top), (3.0, handle), (7.0, handle), (10.0, top))]
    };
    assert_eq!(count(&[(&flat, none), (&arch(0.0005), none)]), 1, "a touch");
    assert_eq!(count(&[(&flat, none), (&arch(0.05), none)]), 0, "a near miss");
    assert_eq!(count(&[(&flat, none), (&arch(-0.5), none)]), 2, "two crossings");
}

#[test]
fn shared_ends_are_no_meetings_but_what_follows_is() {
    let a = [straight((0.0, 0.0), (10.0, 0.0))];
    let b = [straight((0.0, 0.0), (0.0, 10.0))];
    let c = [straight((0.0, 0.0), (-9.0, -2.0))];
    let at = [Some(0), None];
    assert_eq!(count(&[(&a, at), (&b, at), (&c, at)]), 0, "three lines at a junction");
    let tangent = [CubicBez::new((0.0, 0.0), (3.0, 0.0), (6.0, 2.0), (9.0, 6.0))];
    assert!(count(&[(&a, [None, None]), (&b, [None, None])]) == 1, "the same place without a junction");
    let again = [CubicBez::new((0.0, 0.0), (3.0, 3.0), (6.0, 3.0), (8.0, -3.0))];
    assert_eq!(count(&[(&a, at), (&again, at)]), 1, "a line that crosses again after leaving");
    assert_eq!(count(&[(&b, at), (&tangent, at)]), 0, "a bent line at a right angle");
}

#[test]
fn a_line_that_meets_itself_is_found() {
    let loop_ = [CubicBez::new((0.0, 0.0), (15.0, 10.0), (-5.0, 10.0), (10.0, 0.0))];
    assert_eq!(count(&[(&loop_, [None, None])]), 1, "a loop within one cubic");
    let k = 0.552_284_75;
    let circle: Vec<CubicBez> = (0..4)
        .map(|i| {
            let (u, v) =
                (Vec2::from_angle(f64::from(i) * FRAC_PI_2), Vec2::from_angle(f64::from(i + 1) * FRAC_PI_2));
            let turn = |w: Vec2| Vec2::new(-w.y, w.x);
            CubicBez::new(
                (5.0 * u).to_point(),
                (5.0 * (u + k * turn(u))).to_point(),
                (5.0 * (v - k * turn(v))).to_point(),
                (5.0 * v).to_point(),
            )
        })
        .collect();
    let line = ProofLine { curve: &circle, closed: true, ends: [None, None] };
    assert_eq!(find_meetings(&[line]), Vec::new(), "a circle has no meeting");
    let eight = [
        CubicBez::new((0.0, 0.0), (5.0, 5.0), (10.0, 5.0), (10.0, 0.0)),
        CubicBez::new((10.0, 0.0), (10.0, -5.0), (5.0, -5.0), (0.0, 0.0)),
        CubicBez::new((0.0, 0.0), (-5.0, 5.0), (-10.0, 5.0), (-10.0, 0.0)),
        CubicBez::new((-10.0, 0.0), (-10.0, -5.0), (-5.0, -5.0), (0.0, 0.0)),
    ];
    let line = ProofLine { curve: &eight, closed: true, ends: [None, None] };
    assert_eq!(find_meetings(&[line]).len(), 1, "a figure eight");
}

#[test]
fn degenerate_cubics_neither_panic_nor_alarm() {
    let none = [None, None];
    let dot = |x: f64, y: f64| [CubicBez::new((x, y), (x, y), (x, y), (x, y))];
    let flat = [straight((0.0, 0.0), (10.0, 0.0))];
    assert_eq!(count(&[(&dot(1.0, 1.0), none), (&flat, none)]), 0, "a point beside a line");
    assert_eq!(count(&[(&dot(5.0, 0.0), none), (&flat, none)]), 1, "a point on a line");
    assert_eq!(count(&[(&[], none), (&flat, none)]), 0, "a line without cubics");
    let stubs = [
        CubicBez::new((0.0, 0.0), (0.0, 0.0), (3.0, 1.0), (3.0, 1.0)),
        dot(3.0, 1.0)[0],
        CubicBez::new((3.0, 1.0), (3.0, 1.0), (3.0, 1.0), (5.0, 1.5)),
        CubicBez::new((5.0, 1.5), (7.0, 2.0), (7.0, 2.0), (7.0, 2.0)),
    ];
    assert_eq!(count(&[(&stubs, none)]), 0, "zero handles and a point between");
    let cusp = [CubicBez::new((0.0, 0.0), (10.0, 10.0), (0.0, 10.0), (10.0, 0.0))];
    assert_eq!(count(&[(&cusp, none)]), 0, "a cusp");
    let drop = [CubicBez::new((0.0, 0.0), (8.0, 6.0), (-8.0, 6.0), (0.0, 0.0))];
    assert_eq!(count(&[(&drop, none)]), 1, "an open line whose end lies on its start");
    let round = ProofLine { curve: &drop, closed: true, ends: none };
    assert_eq!(find_meetings(&[round]), Vec::new(), "the same line closed");
    let there_and_back = [straight((0.0, 0.0), (5.0, 0.0)), straight((5.0, 0.0), (0.0, 0.0))];
    assert_eq!(count(&[(&there_and_back, none)]), 1, "a line that runs back on itself");
    let broken = [CubicBez::new((0.0, 0.0), (f64::NAN, 1.0), (2.0, 1.0), (3.0, -1.0))];
    assert_eq!(count(&[(&broken, none), (&flat, none)]), 0, "not a number");
}
