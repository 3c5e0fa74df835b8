//! The way through strokes: exact for few, near the best known for many, never longer than as given.

use super::*;
use proptest::prelude::*;
use serde_json::Value;

fn any_strokes(count: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Gates>> {
    let point =
        || (0i32..2000, 0i32..2000).prop_map(|(x, y)| Point::new(f64::from(x) / 10.0, f64::from(y) / 10.0));
    let stroke = prop_oneof![
        3 => [point(), point()].prop_map(Gates::Open),
        1 => prop::collection::vec(point(), 1..4).prop_map(Gates::Closed),
    ];
    prop::collection::vec(stroke, count)
}

/// Every stroke once, in a way that it has.
fn is_whole(strokes: &[Gates], order: &[(usize, usize)]) -> bool {
    let mut seen: Vec<usize> = order.iter().map(|&(i, _)| i).collect();
    seen.sort_unstable();
    seen == (0..strokes.len()).collect::<Vec<_>>() && order.iter().all(|&(i, way)| way < strokes[i].ways())
}

/// The shortest way by trying every order: slow and obvious.
fn by_trying(strokes: &[Gates], left: &mut Vec<usize>, at: Point, back: Option<Point>) -> f64 {
    if left.is_empty() {
        return back.map_or(0.0, |p| apart(at, p));
    }
    let mut best = f64::INFINITY;
    for k in 0..left.len() {
        let i = left.remove(k);
        for way in 0..strokes[i].ways() {
            let [enter, leave] = strokes[i].ends(way);
            best = best.min(apart(at, enter) + by_trying(strokes, left, leave, back));
        }
        left.insert(k, i);
    }
    best
}

/// Held & Karp's programme from the other end, for up to 11 strokes: `rest[set][stroke, way]` is what is left to go.
fn held_karp(strokes: &[Gates], from: Point, back: Option<Point>) -> f64 {
    let all = (1usize << strokes.len()) - 1;
    let mut rest: Vec<Vec<Vec<f64>>> =
        vec![strokes.iter().map(|s| vec![f64::INFINITY; s.ways()]).collect(); all + 1];
    for done in (1..=all).rev() {
        for i in (0..strokes.len()).filter(|i| done >> i & 1 == 1) {
            for way in 0..strokes[i].ways() {
                let leave = strokes[i].ends(way)[1];
                let mut best =
                    if done == all { back.map_or(0.0, |p| apart(leave, p)) } else { f64::INFINITY };
                for j in (0..strokes.len()).filter(|j| done >> j & 1 == 0) {
                    for (next, to_go) in rest[done | 1 << j][j].iter().enumerate() {
                        best = best.min(apart(leave, strokes[j].ends(next)[0]) + to_go);
                    }
                }
                rest[done][i][way] = best;
            }
        }
    }
    let first = |i: usize, way: usize| apart(from, strokes[i].ends(way)[0]) + rest[1 << i][i][way];
    let starts = (0..strokes.len()).flat_map(|i| (0..strokes[i].ways()).map(move |way| first(i, way)));
    starts.fold(f64::INFINITY, f64::min)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn few_strokes_have_the_shortest_way(strokes in any_strokes(1..6), home: bool) {
        let back = home.then_some(Point::ZERO);
        let order = shortest_way(&strokes, Point::ZERO, back);
        prop_assert!(is_whole(&strokes, &order), "{order:?}");
        let least = by_trying(&strokes, &mut (0..strokes.len()).collect(), Point::ZERO, back);
        let got = travel_mm(&strokes, &order, Point::ZERO, back);
        prop_assert!((got - least).abs() < 1e-6, "{got} mm, {least} mm is shortest");
    }

    #[test]
    fn up_to_eleven_strokes_have_the_shortest_way(strokes in any_strokes(6..12), home: bool) {
        let back = home.then_some(Point::ZERO);
        let order = shortest_way(&strokes, Point::ZERO, back);
        prop_assert!(is_whole(&strokes, &order), "{order:?}");
        let (got, least) = (travel_mm(&strokes, &order, Point::ZERO, back), held_karp(&strokes, Point::ZERO, back));
        prop_assert!((got - least).abs() < 1e-6, "{got} mm, {least} mm is shortest");
    }

    #[test]
    fn improving_alone_never_makes_the_way_longer(strokes in any_strokes(3..40)) {
        // The improvement alone, without the exact programme: its own account of gains must not be wrong.
        let given: Vec<(usize, usize)> = (0..strokes.len()).map(|i| (i, 0)).collect();
        let order = Tour::new(&strokes, given.clone(), Point::ZERO, None).improved();
        prop_assert!(is_whole(&strokes, &order), "{order:?}");
        let length = |order: &[(usize, usize)]| travel_mm(&strokes, order, Point::ZERO, None);
        prop_assert!(length(&order) <= length(&given) + 1e-6, "no longer than it was");
    }

    #[test]
    fn many_strokes_are_drawn_once_and_never_on_a_longer_way(strokes in any_strokes(12..120), home: bool) {
        let back = home.then_some(Point::new(5.0, 5.0));
        let order = shortest_way(&strokes, Point::ZERO, back);
        prop_assert!(is_whole(&strokes, &order), "{order:?}");
        let given: Vec<(usize, usize)> = (0..strokes.len()).map(|i| (i, 0)).collect();
        let length = |order: &[(usize, usize)]| travel_mm(&strokes, order, Point::ZERO, back);
        prop_assert!(length(&order) <= length(&given), "longer than as given");
        prop_assert!(length(&order) <= length(&nearest_first(&strokes, Point::ZERO)) + 1e-6, "longer than nearest first");
        prop_assert_eq!(&order, &shortest_way(&strokes, Point::ZERO, back), "it repeats");
    }
}

/// Five nets of 200 to 2000 strokes, from (0, 0) and back: within 8 % of what no way can be shorter than, and so of the
/// shortest way that anybody may ever know.
///
/// Source: `tests/data/stroke-nets.json`, which names solvers, versions and times; nets by
/// `tests/oracles/stroke_travel.py`, bounds by `travel_bound.py` (Held & Karp) and `travel_programme.py` (HiGHS).
#[test]
fn travel_is_within_8_percent_of_the_shortest() {
    let text = include_str!("../../../tests/data/stroke-nets.json");
    let nets: Vec<Value> = serde_json::from_str(text).expect("the nets are JSON");
    assert_eq!(nets.len(), 5, "five nets");
    for net in &nets {
        let strokes = strokes_of(net);
        assert!((200..=2000).contains(&strokes.len()), "{} strokes", strokes.len());
        let order = shortest_way(&strokes, Point::ZERO, Some(Point::ZERO));
        assert!(is_whole(&strokes, &order), "{}", net["name"]);
        let got = travel_mm(&strokes, &order, Point::ZERO, Some(Point::ZERO));
        let bound = net["bound_mm"].as_f64().expect("its bound");
        let known = net["travel_mm"].as_f64().expect("the best that is known");
        assert!(bound <= known && known < 1.08 * bound, "{}: bound {bound}, known {known}", net["name"]);
        assert!(got >= bound - 0.001, "{}: {got} mm of travel, less than can be", net["name"]);
        assert!(got <= 1.08 * bound, "{}: {got} mm of travel, {bound} mm at least", net["name"]);
    }
}

fn strokes_of(net: &Value) -> Vec<Gates> {
    let point = |v: &Value| Point::new(v[0].as_f64().expect("x"), v[1].as_f64().expect("y"));
    net["strokes"]
        .as_array()
        .expect("strokes")
        .iter()
        .map(|s| {
            let at: Vec<Point> = s["at"].as_array().expect("points").iter().map(point).collect();
            if s["closed"] == true { Gates::Closed(at) } else { Gates::Open([at[0], at[1]]) }
        })
        .collect()
}
