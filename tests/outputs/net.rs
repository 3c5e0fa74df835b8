//! A hand-made net with every kind of transition: closed, through junctions, ending on the picture's edge.

use kurbo::{CubicBez, Point, Vec2};
use merestone::transitions::{BoundaryNet, Junction, NetArea, Transition};

/// Whole micrometres, as the net promises.
fn whole(p: Point) -> Point {
    Point::new((p.x * 1000.0).round() / 1000.0, (p.y * 1000.0).round() / 1000.0)
}

/// A smooth line through `points` (Catmull & Rom 1974), closed when it ends where it begins.
fn through(points: &[(f64, f64)]) -> Vec<CubicBez> {
    let p: Vec<Point> = points.iter().map(|&p| p.into()).collect();
    let n = p.len();
    let closed = points[0] == points[n - 1];
    let tangent = |i: usize| -> Vec2 {
        match (i, closed) {
            (0, true) => (p[1] - p[n - 2]) / 2.0,
            (0, false) => p[1] - p[0],
            (i, true) if i == n - 1 => (p[1] - p[n - 2]) / 2.0,
            (i, false) if i == n - 1 => p[n - 1] - p[n - 2],
            (i, _) => (p[i + 1] - p[i - 1]) / 2.0,
        }
    };
    (0..n - 1)
        .map(|i| {
            let (a, b) = (p[i], p[i + 1]);
            CubicBez::new(whole(a), whole(a + tangent(i) / 3.0), whole(b - tangent(i + 1) / 3.0), whole(b))
        })
        .collect()
}

/// One transition; its ends are junctions by number, or none.
fn transition(ends: [Option<usize>; 2], values: [u8; 2], edge_mm: f64, curve: Vec<CubicBez>) -> Transition {
    let closed = ends == [None, None] && curve[0].p0 == curve[curve.len() - 1].p3;
    Transition {
        from: ends[0],
        to: ends[1],
        closed,
        left: usize::from(values[0] - 1),
        right: usize::from(values[1] - 1),
        values,
        curve,
        width_mm: vec![edge_mm; 5],
        edge_mm,
        hard: edge_mm <= 1.0,
        height: 2_500.0,
        suppressed: false,
    }
}

/// A table edge, a jug with its cast shadow and a ball, in a picture of 170 x 226.667 mm.
pub(super) fn sample() -> BoundaryNet {
    let junctions = [(50.0, 150.0), (110.0, 150.0), (80.0, 190.0), (80.0, 60.0)];
    let [a, b, c, d] = junctions;
    let (left, right) = ((0.0, 140.0), (170.0, 155.0));
    let transitions = vec![
        transition([None, Some(0)], [2, 1], 0.4, through(&[left, (25.0, 143.0), a])),
        transition([Some(1), None], [2, 1], 0.45, through(&[b, (140.0, 151.0), right])),
        transition([Some(0), Some(2)], [3, 1], 0.35, through(&[a, (56.0, 175.0), c])),
        transition([Some(2), Some(1)], [3, 1], 0.6, through(&[c, (104.0, 175.0), b])),
        transition([Some(0), Some(3)], [2, 3], 0.5, through(&[a, (38.0, 110.0), (60.0, 80.0), d])),
        transition([Some(3), Some(1)], [2, 3], 0.3, through(&[d, (100.0, 80.0), (122.0, 110.0), b])),
        transition([Some(3), Some(2)], [3, 2], 6.5, through(&[d, (88.0, 110.0), (74.0, 150.0), c])),
        transition([Some(2), None], [1, 3], 2.4, through(&[c, (120.0, 200.0), (170.0, 190.0)])),
        transition(
            [None, None],
            [1, 2],
            0.4,
            through(&[(130.0, 60.0), (150.0, 40.0), (130.0, 20.0), (110.0, 40.0), (130.0, 60.0)]),
        ),
        transition(
            [None, None],
            [1, 2],
            4.0,
            through(&[(130.0, 52.0), (143.0, 40.0), (130.0, 28.0), (120.0, 40.0), (130.0, 52.0)]),
        ),
    ];
    BoundaryNet {
        width_mm: 170.0,
        height_mm: 226.667,
        junctions: junctions.map(|p| Junction { at: p.into() }).into(),
        transitions,
        areas: (1..=3)
            .map(|value| NetArea {
                value,
                size_mm2: 1_234.567_8,
                tone: 100.0 - f64::from(value),
                edited: false,
            })
            .collect(),
    }
}
