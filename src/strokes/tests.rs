//! Tests of strokes on hand-made and random nets.

use super::*;
use crate::sheet::RectMm;
use crate::transitions::{Junction, NetArea, Transition};
use proptest::prelude::*;
use std::f64::consts::TAU;

/// A transition with the given ends; `Err` is a point on the picture's edge.
fn between(
    net: &BoundaryNet,
    from: Result<usize, Point>,
    to: Result<usize, Point>,
    sag: f64,
    hard: bool,
) -> Transition {
    let point = |end: Result<usize, Point>| end.map_or_else(|p| p, |j| net.junctions[j].at);
    let (a, b) = (point(from), point(to));
    let side = if a == b { Vec2::new(20.0, 0.0) } else { b - a };
    let normal = Vec2::new(-side.y, side.x) * sag;
    let cubic = if a == b {
        CubicBez::new(a, a + side + normal, a + side - normal, a)
    } else {
        CubicBez::new(a, a + side / 3.0 + normal, a + side * (2.0 / 3.0) + normal, b)
    };
    Transition {
        from: from.ok(),
        to: to.ok(),
        closed: false,
        left: 0,
        right: 1,
        values: [1, 2],
        curve: vec![cubic],
        width_mm: vec![0.4],
        edge_mm: 0.4,
        hard,
        height: 100.0,
        suppressed: false,
    }
}

/// A circle of four cubics round `centre`.
fn circle(centre: Point, radius: f64, hard: bool) -> Transition {
    // The usual handle length for a quarter circle: 4/3 tan(pi/8).
    let k = radius * 4.0 / 3.0 * (TAU / 16.0).tan();
    let turn = |i: usize| [(1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0)][i % 4];
    let quarter = |i: usize| {
        let (u, v) = (Vec2::from(turn(i)), Vec2::from(turn(i + 1)));
        let (a, b) = (centre + u * radius, centre + v * radius);
        CubicBez::new(a, a + v * k, b + u * k, b)
    };
    Transition {
        from: None,
        to: None,
        closed: true,
        left: 0,
        right: 1,
        values: [3, 1],
        curve: (0..4).map(quarter).collect(),
        width_mm: vec![2.0],
        edge_mm: 2.0,
        hard,
        height: 50.0,
        suppressed: false,
    }
}

fn empty_net(points: &[(f64, f64)]) -> BoundaryNet {
    BoundaryNet {
        width_mm: 100.0,
        height_mm: 100.0,
        junctions: points.iter().map(|&p| Junction { at: p.into() }).collect(),
        transitions: Vec::new(),
        areas: (1..=2).map(|value| NetArea { value, size_mm2: 100.0, tone: 50.0, edited: false }).collect(),
    }
}

fn placement() -> Placement {
    Placement {
        sheet_mm: [140.0, 140.0],
        picture_mm: RectMm { x: 20.0, y: 20.0, width: 100.0, height: 100.0 },
    }
}

fn options(soft: SoftLines, chain: bool) -> StrokeOptions {
    StrokeOptions { soft, chain, line_mm: 0.35 }
}

/// Strokes that the theory of trails allows: per connected part of one layer max(1, half its odd ends).
///
/// Written apart from the code under test: parts by spreading labels, oddness by counting.
fn fewest_strokes(net: &BoundaryNet, hard: bool) -> usize {
    let layer: Vec<&Transition> = net.transitions.iter().filter(|t| t.hard == hard).collect();
    let mut label: Vec<usize> = (0..net.junctions.len()).collect();
    for _ in 0..net.junctions.len() {
        for t in &layer {
            if let (Some(a), Some(b)) = (t.from, t.to) {
                let low = label[a].min(label[b]);
                (label[a], label[b]) = (low, low);
            }
        }
    }
    let mut degree = vec![0usize; net.junctions.len()];
    let mut odd = vec![0usize; net.junctions.len()];
    let mut touched = vec![false; net.junctions.len()];
    let mut alone = 0;
    for t in &layer {
        let ends: Vec<usize> = [t.from, t.to].into_iter().flatten().collect();
        for &j in &ends {
            degree[j] += 1;
            touched[label[j]] = true;
        }
        match ends.first() {
            Some(&j) if ends.len() == 1 => odd[label[j]] += 1,
            // Edge to edge, or closed on itself: a part of its own, one stroke.
            None => alone += 1,
            _ => {}
        }
    }
    for (j, &d) in degree.iter().enumerate() {
        odd[label[j]] += d % 2;
    }
    alone + (0..net.junctions.len()).filter(|&j| touched[j]).map(|j| (odd[j] / 2).max(1)).sum::<usize>()
}

/// Checks what holds for every plan of unbroken lines.
fn check_plan(net: &BoundaryNet, plan: &StrokePlan) {
    let mut drawn: Vec<usize> = plan.strokes.iter().flat_map(|s| s.transitions.clone()).collect();
    drawn.sort_unstable();
    assert_eq!(drawn, (0..net.transitions.len()).collect::<Vec<_>>(), "every transition is drawn once");
    for stroke in &plan.strokes {
        for pair in stroke.curve.windows(2) {
            assert!(pair[0].p3 == pair[1].p0, "a stroke has no jump: {:?} {:?}", pair[0].p3, pair[1].p0);
        }
        let (start, end) = (stroke.curve[0].p0, stroke.curve[stroke.curve.len() - 1].p3);
        assert!(!stroke.closed || start == end, "a closed stroke ends where it begins");
        for t in &stroke.transitions {
            assert_eq!(net.transitions[*t].hard, stroke.hard, "layers are not mixed");
        }
    }
    let length = net.length_mm();
    assert!((plan.drawn_mm - length).abs() < 0.01 * (1.0 + net.transitions.len() as f64), "nothing is lost");
    let first_soft = plan.strokes.iter().position(|s| !s.hard).unwrap_or(plan.strokes.len());
    assert!(plan.strokes[first_soft..].iter().all(|s| !s.hard), "hard strokes come before soft ones");
}

/// A random net: junctions on a grid, ends at junctions or on the picture's edge, some closed transitions.
fn any_net() -> impl Strategy<Value = BoundaryNet> {
    let end = |junctions: usize| prop_oneof![5 => (0..junctions).prop_map(Some), 1 => Just(None)];
    (1usize..12).prop_flat_map(move |junctions| {
        let transition = (end(junctions), end(junctions), -300i32..300, any::<bool>(), 0u32..12, 0i32..100);
        prop::collection::vec(transition, 1..40).prop_map(move |list| {
            let points: Vec<(f64, f64)> = (0..junctions)
                .map(|i| (10.0 + 25.0 * (i % 4) as f64, 15.0 + 30.0 * (i / 4) as f64))
                .collect();
            let mut net = empty_net(&points);
            for (from, to, sag, hard, closing, at) in list {
                let t = if closing == 0 {
                    circle(Point::new(f64::from(at), 50.0), 5.0, hard)
                } else {
                    let edge = |y: f64| Point::new(f64::from(at), y);
                    let sag = f64::from(sag) / 1000.0;
                    between(&net, from.ok_or(edge(0.0)), to.ok_or(edge(100.0)), sag, hard)
                };
                net.transitions.push(t);
            }
            net
        })
    })
}

proptest! {
    #[test]
    fn chained_strokes_are_as_few_as_theory_allows(net in any_net()) {
        let plan = plan_strokes(&net, &placement(), &options(SoftLines::Solid, true));
        check_plan(&net, &plan);
        for hard in [true, false] {
            let count = plan.strokes.iter().filter(|s| s.hard == hard).count();
            prop_assert_eq!(count, fewest_strokes(&net, hard), "strokes of one layer");
        }
    }

    #[test]
    fn unchained_strokes_are_the_transitions(net in any_net()) {
        let plan = plan_strokes(&net, &placement(), &options(SoftLines::Solid, false));
        check_plan(&net, &plan);
        prop_assert_eq!(plan.strokes.len(), net.transitions.len(), "one stroke each");
        let hard_only = plan_strokes(&net, &placement(), &options(SoftLines::None, false));
        prop_assert_eq!(hard_only.strokes.len(), net.transitions.iter().filter(|t| t.hard).count(), "soft left out");
    }

    #[test]
    fn broken_lines_keep_ends_and_lose_only_gaps(net in any_net(), chain in any::<bool>()) {
        let solid = plan_strokes(&net, &placement(), &options(SoftLines::Solid, chain));
        let broken = plan_strokes(&net, &placement(), &options(SoftLines::Broken, chain));
        let soft = |plan: &StrokePlan| plan.strokes.iter().filter(|s| !s.hard).cloned().collect::<Vec<_>>();
        let hard = |plan: &StrokePlan| plan.strokes.iter().filter(|s| s.hard).cloned().collect::<Vec<_>>();
        prop_assert_eq!(hard(&solid), hard(&broken), "hard lines stay whole");
        // Each transition of 8 mm or more loses whole gaps of 1.5 mm; a shorter one loses nothing.
        let mut gaps = 0.0;
        for t in net.transitions.iter().filter(|t| !t.hard) {
            // A closed line has no end; it may be begun anywhere.
            let ends = if t.closed { Vec::new() } else { vec![t.start(), t.end()] };
            let ends = ends.into_iter().map(|p| p + placement().offset());
            for end in ends {
                let drawn = soft(&broken).iter().any(|s| s.curve.iter().any(|c| {
                    c.p0.distance(end) < 0.002 || c.p3.distance(end) < 0.002
                }));
                prop_assert!(drawn, "the end at {end:?} is drawn");
            }
            if t.length_mm() >= 8.0 {
                gaps += 1.0;
            }
        }
        let lost = solid.drawn_mm - broken.drawn_mm;
        prop_assert!(lost >= 1.5 * gaps - 0.01 * (1.0 + gaps), "{lost} mm lost, at least a gap on each of {gaps}");
        let whole = lost / 1.5;
        prop_assert!((whole - whole.round()).abs() * 1.5 < 0.001 * (10.0 + whole), "{lost} mm is whole gaps");
    }
}

#[test]
fn the_same_plan_comes_twice() {
    let mut net = empty_net(&[(10.0, 10.0), (50.0, 50.0), (90.0, 10.0)]);
    for (a, b, hard) in [(0, 1, true), (1, 2, true), (2, 0, false), (0, 1, false)] {
        let t = between(&net, Ok(a), Ok(b), 0.1, hard);
        net.transitions.push(t);
    }
    for chain in [false, true] {
        let plan = || plan_strokes(&net, &placement(), &options(SoftLines::Broken, chain));
        assert_eq!(plan(), plan(), "no chance in it");
    }
}

#[test]
fn a_crossing_is_drawn_straight_through() {
    // Four ends meet at right angles: two straight strokes, not two corners.
    let mut net = empty_net(&[(50.0, 50.0)]);
    for p in [(50.0, 0.0), (100.0, 50.0), (50.0, 100.0), (0.0, 50.0)] {
        let t = between(&net, Ok(0), Err(p.into()), 0.0, true);
        net.transitions.push(t);
    }
    let plan = plan_strokes(&net, &placement(), &options(SoftLines::Solid, true));
    let mut pairs: Vec<Vec<usize>> = plan.strokes.iter().map(|s| s.transitions.clone()).collect();
    pairs.iter_mut().for_each(|p| p.sort_unstable());
    pairs.sort();
    assert_eq!(pairs, [[0, 2], [1, 3]], "opposite arms belong together");
}

#[test]
fn values_change_sides_with_the_direction() {
    // Two separate lines; the second is nearer at its end, so it is drawn backwards.
    let mut net = empty_net(&[(10.0, 10.0), (40.0, 10.0), (90.0, 10.0), (45.0, 10.0)]);
    for (a, b) in [(0, 1), (2, 3)] {
        let t = between(&net, Ok(a), Ok(b), 0.0, true);
        net.transitions.push(t);
    }
    let plan = plan_strokes(&net, &placement(), &options(SoftLines::Solid, false));
    let values: Vec<[u8; 2]> = plan.strokes.iter().map(|s| s.values).collect();
    assert_eq!(values, [[1, 2], [2, 1]], "left and right change places when a line is drawn backwards");
    assert!((plan.travel_mm - 5.0).abs() < 1e-9, "5 mm from one to the other, got {}", plan.travel_mm);
}

#[test]
fn a_closed_soft_line_is_broken_all_round() {
    // A circle of radius 20 is 125.66 mm round: 125.66 / 6.5 = 19.3, so 19 dashes and 19 gaps.
    let mut net = empty_net(&[]);
    net.transitions.push(circle(Point::new(50.0, 50.0), 20.0, false));
    let plan = plan_strokes(&net, &placement(), &options(SoftLines::Broken, false));
    assert_eq!(plan.strokes.len(), 19, "dashes");
    let dash = (TAU * 20.0 - 19.0 * 1.5) / 19.0;
    for stroke in &plan.strokes {
        let length = length_mm(&stroke.curve);
        assert!((length - dash).abs() < 0.02, "a dash of {length} mm, not {dash}");
        assert!(!stroke.closed, "a dash does not close");
    }
}

#[test]
fn corners_are_drawn_and_short_lines_stay_whole() {
    // A square of four straight sides, 20 mm each, as one closed transition: three inner corners and its start.
    let corners = [(30.0, 30.0), (50.0, 30.0), (50.0, 50.0), (30.0, 50.0)].map(Point::from);
    let side = |i: usize, scale: f64| {
        let at = |p: Point| Point::new(30.0 + (p.x - 30.0) * scale, 30.0 + (p.y - 30.0) * scale);
        let (a, b) = (at(corners[i]), at(corners[(i + 1) % 4]));
        CubicBez::new(a, a.lerp(b, 1.0 / 3.0), a.lerp(b, 2.0 / 3.0), b)
    };
    let mut net = empty_net(&[]);
    net.transitions.push(Transition {
        curve: (0..4).map(|i| side(i, 1.0)).collect(),
        ..circle(Point::ZERO, 1.0, false)
    });
    let plan = plan_strokes(&net, &placement(), &options(SoftLines::Broken, false));
    for corner in corners {
        let corner = corner + placement().offset();
        let inside =
            plan.strokes.iter().any(|s| s.curve.windows(2).any(|pair| pair[0].p3.distance(corner) < 1e-9));
        assert!(inside, "the corner at {corner:?} lies within a dash");
    }
    // 20 mm between corners, half a dash at both: (20 + 0) / 6.5 = 3.08, so 3 gaps a side.
    assert_eq!(plan.strokes.len(), 12, "three gaps a side");
    net.transitions[0].curve = (0..4).map(|i| side(i, 0.09)).collect();
    let plan = plan_strokes(&net, &placement(), &options(SoftLines::Broken, false));
    assert_eq!(plan.strokes.len(), 1, "7.2 mm round: not broken");
    assert!(plan.strokes[0].closed, "and closed as it was");
}

#[test]
fn a_chained_soft_trail_runs_through_its_junction() {
    let mut net = empty_net(&[(50.0, 50.0)]);
    for p in [(0.0, 50.0), (100.0, 50.0)] {
        let t = between(&net, Ok(0), Err(p.into()), 0.0, false);
        net.transitions.push(t);
    }
    let plan = plan_strokes(&net, &placement(), &options(SoftLines::Broken, true));
    let through: Vec<&Stroke> = plan.strokes.iter().filter(|s| s.transitions.len() == 2).collect();
    assert_eq!(through.len(), 1, "one dash lies over the junction");
    let junction = Point::new(70.0, 70.0);
    assert!(through[0].curve.iter().any(|c| c.p3 == junction), "and its curve passes through it");
}

#[test]
fn gaps_grow_with_wide_lines() {
    assert!((gaps::gap_mm(0.35) - 1.5).abs() < 1e-12, "a pencil line leaves 1.15 mm bare");
    assert!((gaps::gap_mm(1.2) - 2.2).abs() < 1e-12, "a brush line still leaves 1 mm bare");
}

#[test]
fn travel_is_far_below_the_order_of_the_net() {
    // 400 short lines in scrambled order (a fixed linear congruence, Knuth vol. 2): nearest first against as given.
    let mut net = empty_net(&[]);
    let mut seed = 12_345u64;
    let mut next = || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 40) as f64 / f64::from(1u32 << 24) * 100.0
    };
    for _ in 0..400 {
        let a = Point::new(next(), next());
        let t = between(&net, Err(a), Err(a + Vec2::new(3.0, 1.0)), 0.05, true);
        net.transitions.push(t);
    }
    let plan = plan_strokes(&net, &placement(), &options(SoftLines::Solid, false));
    let as_given: f64 = net.transitions.windows(2).map(|p| p[0].end().distance(p[1].start())).sum();
    assert!(plan.travel_mm < as_given / 8.0, "{} mm of travel against {as_given}", plan.travel_mm);
}
