//! The value plan: every area has its number where there is most room, and nothing lies on anything else.

mod command;
mod search;

use geo::{Contains, Distance, Euclidean, Intersects, LineString, MultiPolygon, Polygon, Rect as GeoRect};
use kurbo::{Affine, BezPath, PathEl, Point};
use merestone::plan::{
    AGAIN_MM, HEIGHTS_MM, LARGE_GAP_MM, LEAST_GAP_MM, Label, Marked, Plan, PlanGround, PlanOptions, box_size,
    label,
};
use merestone::raster::Raster;
use merestone::sheet::{Furniture, MarkOptions, Placement, RectMm, TitleBlock, View, furnish};
use merestone::tone::ValueScale;
use merestone::transitions::BoundaryNet;
use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestCaseError};

use crate::label_maps::{from_fn, net_of};

/// Bare paper around the picture, in mm.
const MARGIN_MM: f64 = 12.0;
/// Rounding of what is compared, in mm.
const SLACK_MM: f64 = 0.005;

/// A net on its sheet, as another library sees it.
struct Seen {
    areas: Vec<Polygon<f64>>,
    /// Boundary lines and the picture's edge.
    lines: Vec<LineString<f64>>,
}

fn ring(points: &[Point], shown: Affine) -> LineString<f64> {
    points
        .iter()
        .chain(points.first())
        .map(|&p| {
            let p = shown * p;
            (p.x, p.y)
        })
        .collect()
}

fn seen(net: &BoundaryNet, shown: Affine) -> Seen {
    let polygons = net.polygons(0.002).expect("a planar net");
    let areas = polygons
        .iter()
        .map(|p| Polygon::new(ring(&p.outer, shown), p.holes.iter().map(|h| ring(h, shown)).collect()))
        .collect();
    let flat = |path: BezPath| {
        let mut points = Vec::new();
        kurbo::flatten(path, 0.002, |element| {
            if let PathEl::MoveTo(p) | PathEl::LineTo(p) = element {
                let p = shown * p;
                points.push((p.x, p.y));
            }
        });
        LineString::from(points)
    };
    let corners = [(0.0, 0.0), (net.width_mm, 0.0), (net.width_mm, net.height_mm), (0.0, net.height_mm)];
    let mut lines: Vec<LineString<f64>> = net.transitions.iter().map(|t| flat(t.path())).collect();
    lines.push(ring(&corners.map(Point::from), shown));
    Seen { areas, lines }
}

fn placement(net: &BoundaryNet) -> Placement {
    let sheet_mm = [net.width_mm, net.height_mm].map(|side| side + 2.0 * MARGIN_MM);
    let picture_mm = RectMm { x: MARGIN_MM, y: MARGIN_MM, width: net.width_mm, height: net.height_mm };
    Placement { sheet_mm, picture_mm }
}

/// The sheet's marks, when it has any.
fn marks(placement: &Placement, view: View, marked: bool) -> Furniture {
    let options = MarkOptions {
        printer_margin_mm: 3.0,
        square_mm: Some(10.0),
        square_grid: true,
        title: TitleBlock::default(),
    };
    if marked { furnish(placement, view, &options).value } else { Furniture::default() }
}

struct Made {
    plan: Plan,
    seen: Seen,
    shown: Affine,
    marks: Furniture,
}

fn made(net: &BoundaryNet, view: View, marked: bool) -> Made {
    let placement = placement(net);
    let marks = marks(&placement, view, marked);
    let ground = PlanGround {
        net,
        thin: &[],
        guides: &[],
        placement: &placement,
        view,
        marks: &marks,
        printer_margin_mm: 3.0,
    };
    let scale = ValueScale::new(vec![80.0, 60.0, 40.0, 20.0]);
    let plan = label(&ground, &scale, PlanOptions::default(), &[]).expect("a planar net");
    let shown = view.transform(placement.sheet_mm) * Affine::translate(placement.offset());
    Made { plan, seen: seen(net, shown), shown, marks }
}

fn geo_box(b: &RectMm) -> Polygon<f64> {
    GeoRect::new((b.x, b.y), (b.x + b.width, b.y + b.height)).to_polygon()
}

fn leader(label: &Label, k: usize) -> LineString<f64> {
    let l = &label.leaders[k];
    LineString::from(vec![(l.from.x, l.from.y), (l.to.x, l.to.y)])
}

/// Areas have one number each, or are listed.
fn each_has_one(net: &BoundaryNet, plan: &Plan) -> Result<(), TestCaseError> {
    let mut times = vec![0; net.areas.len()];
    let led = plan.labels.iter().flat_map(|l| l.leaders.iter().map(|leader| leader.of));
    let own = plan.labels.iter().filter(|l| !l.again).filter_map(|l| l.area).map(Marked::Area);
    let listed = plan.listed.iter().map(|l| l.of);
    for of in led.chain(own).chain(listed) {
        match of {
            Marked::Area(area) => times[area] += 1,
            Marked::Thin(_) => prop_assert!(false, "there are no thin marks"),
        }
    }
    prop_assert!(times.iter().all(|&n| n == 1), "{:?}", times);
    for l in &plan.labels {
        let says = |area: usize| (l.value.number() - f64::from(net.areas[area].value)).abs() < 1e-12;
        let led = l.leaders.iter().map(|leader| match leader.of {
            Marked::Area(area) | Marked::Thin(area) => area,
        });
        prop_assert!(l.area.into_iter().chain(led).all(says), "{:?} says another value", l);
        prop_assert_eq!(l.area.is_some(), l.leaders.is_empty(), "a number stands in its area or has leaders");
    }
    Ok(())
}

/// Numbers lie in their areas, and nothing touches them.
fn nothing_touches(made: &Made) -> Result<(), TestCaseError> {
    let Made { plan, seen, marks, .. } = made;
    let boxes: Vec<Polygon<f64>> = plan.labels.iter().map(|l| geo_box(&l.box_mm)).collect();
    for (k, (label, b)) in plan.labels.iter().zip(&boxes).enumerate() {
        if let Some(area) = label.area {
            prop_assert!(seen.areas[area].contains(b), "{:?} is not in its area", label);
        }
        let nearest = seen.lines.iter().map(|line| Euclidean.distance(line, b)).fold(f64::INFINITY, f64::min);
        prop_assert!(nearest >= LEAST_GAP_MM - SLACK_MM, "{:?} is {} mm from a line", label, nearest);
        prop_assert!((nearest - label.clearance_mm).abs() < SLACK_MM, "{:?}: {} mm", label, nearest);
        let apart = boxes[..k].iter().all(|other| Euclidean.distance(other, b) > 0.3);
        prop_assert!(apart, "{:?} touches another number", label);
        for text in &marks.texts {
            let [p, q] = text.bounds();
            let other = GeoRect::new((p.x, p.y), (q.x, q.y)).to_polygon();
            prop_assert!(!other.intersects(b), "{:?} touches {}", label, text.text);
        }
    }
    // What is drawn: the grid gives way to numbers, ticks and rules are kept clear of.
    let drawn = plan.furniture.lines.iter().filter(|l| !l.layer.is_black()).flat_map(|l| &l.paths);
    for path in drawn {
        let line: LineString<f64> = path.iter().map(|p| (p.x, p.y)).collect();
        for (label, b) in plan.labels.iter().zip(&boxes) {
            prop_assert!(Euclidean.distance(&line, b) > 0.3, "{:?} touches a mark", label);
        }
    }
    leaders_are_free(plan, seen, &boxes)
}

/// Leaders end in what they lead to, and cross no number and no other leader.
fn leaders_are_free(plan: &Plan, seen: &Seen, boxes: &[Polygon<f64>]) -> Result<(), TestCaseError> {
    let mut all: Vec<LineString<f64>> = Vec::new();
    for label in &plan.labels {
        for (k, l) in label.leaders.iter().enumerate() {
            let line = leader(label, k);
            let dot = geo::Point::new(l.to.x, l.to.y);
            prop_assert!(
                boxes.iter().all(|b| Euclidean.distance(&dot, b) > l.dot_mm + 0.3),
                "the dot of {:?} touches a number",
                l
            );
            if let Marked::Area(area) = l.of {
                prop_assert!(seen.areas[area].contains(&dot), "{:?} ends outside its area", l);
            }
            prop_assert!(
                boxes.iter().all(|b| Euclidean.distance(&line, b) > 0.3),
                "{:?} touches a number",
                l
            );
            prop_assert!(all.iter().all(|other| !other.intersects(&line)), "{:?} crosses another", l);
            all.push(line);
        }
    }
    Ok(())
}

/// Blocks of half a millimetre to five: areas of every shape, some with room for several numbers, some with none.
fn random_map() -> impl Strategy<Value = Raster<u8>> {
    (2_usize..9, 2_usize..9, 3_usize..30, 2_u8..=5).prop_flat_map(|(columns, rows, grain, values)| {
        proptest::collection::vec(1..=values, columns * rows).prop_map(move |cells| {
            from_fn(columns * grain, rows * grain, |x, y| cells[y / grain * columns + x / grain])
        })
    })
}

proptest! {
    // Always the same two hundred nets, so that what passes here passes everywhere.
    #![proptest_config(ProptestConfig { cases: 200, rng_seed: RngSeed::Fixed(6), ..ProptestConfig::default() })]
    #[test]
    fn numbers_on_random_nets(
        values in random_map(), plainness in 0_u8..60, mirrored: bool, quarter_turns in 0_u8..4, marked: bool
    ) {
        let net = net_of(&values, f64::from(plainness)).net;
        let made = made(&net, View { mirrored, quarter_turns }, marked);
        each_has_one(&net, &made.plan)?;
        nothing_touches(&made)?;
        search::rooms(&net, &made)?;
    }
}

/// A ground of 25 mm with three specks of 5: one number serves them all.
#[test]
fn specks_near_each_other_share_a_number() {
    let speck = |x: usize, y: usize, at: (usize, usize)| {
        (at.0..at.0 + 7).contains(&x) && (at.1..at.1 + 7).contains(&y)
    };
    let places = [(60, 60), (80, 66), (66, 84)];
    let values = from_fn(150, 150, |x, y| if places.iter().any(|&at| speck(x, y, at)) { 5 } else { 2 });
    let net = net_of(&values, 0.0).net;
    assert_eq!(net.areas.len(), 4, "a ground and three specks");
    let made = made(&net, View::default(), false);
    let led: Vec<usize> =
        made.plan.labels.iter().filter(|l| l.area.is_none()).map(|l| l.leaders.len()).collect();
    assert_eq!(led, [3], "one number with three leaders");
    nothing_touches(&made).expect("nothing touches");
}

/// Two specks of different value never share.
#[test]
fn specks_of_two_values_have_a_number_each() {
    let values = from_fn(150, 150, |x, y| match (x, y) {
        (60..67, 60..67) => 5,
        (75..82, 60..67) => 3,
        _ => 1,
    });
    let made = made(&net_of(&values, 0.0).net, View::default(), false);
    let led = made.plan.labels.iter().filter(|l| l.area.is_none());
    assert!(led.clone().count() == 2 && led.clone().all(|l| l.leaders.len() == 1), "{:?}", made.plan.labels);
}

/// Where there is paper for no number, everything is in the list, each area once.
#[test]
fn what_finds_no_room_is_listed() {
    let net = net_of(&from_fn(48, 48, |x, y| if (x / 4 + y / 4) % 2 == 0 { 1 } else { 5 }), 0.0).net;
    let placement = placement(&net);
    let marks = Furniture::default();
    let view = View::default();
    // A printer that reaches nothing but the picture.
    let ground = PlanGround {
        net: &net,
        thin: &[],
        guides: &[],
        placement: &placement,
        view,
        marks: &marks,
        printer_margin_mm: MARGIN_MM,
    };
    let scale = ValueScale::new(vec![80.0, 60.0, 40.0, 20.0]);
    let plan = label(&ground, &scale, PlanOptions::default(), &[]).expect("a planar net");
    assert!(plan.labels.is_empty(), "squares of 0.7 mm hold no number: {:?}", plan.labels);
    let listed: Vec<Marked> = plan.listed.iter().map(|l| l.of).collect();
    assert_eq!(listed, (0..net.areas.len()).map(Marked::Area).collect::<Vec<_>>());
    let seen = seen(&net, Affine::translate(placement.offset()));
    for l in &plan.listed {
        let Marked::Area(area) = l.of else { panic!("no thin marks") };
        assert!(seen.areas[area].contains(&geo::Point::new(l.at.x, l.at.y)), "{l:?} is elsewhere");
        let moved = l.on_picture + placement.offset();
        assert!(moved.distance(l.at) < 1e-9, "{l:?}: one place twice");
    }
}

/// A long area has its number again, so far off, and never nearer.
#[test]
fn a_long_area_is_numbered_again() {
    let made = made(&net_of(&from_fn(1200, 60, |_, y| 1 + u8::from(y < 8)), 0.0).net, View::default(), false);
    let long =
        made.plan.labels.iter().find(|l| l.again).and_then(|l| l.area).expect("it has its number again");
    let middles: Vec<Point> = made
        .plan
        .labels
        .iter()
        .filter(|l| l.area == Some(long))
        .map(|l| Point::new(l.box_mm.x + l.box_mm.width / 2.0, l.box_mm.y + l.box_mm.height / 2.0))
        .collect();
    for (k, p) in middles.iter().enumerate() {
        assert!(middles[..k].iter().all(|q| p.distance(*q) >= AGAIN_MM), "{middles:?}");
    }
    // 200 mm of even width: no place is farther from a number than that and what a number needs.
    for k in 0..=196 {
        let p = made.shown * Point::new(2.0 + f64::from(k), 5.0);
        let nearest = middles.iter().map(|q| q.distance(p)).fold(f64::INFINITY, f64::min);
        assert!(nearest < AGAIN_MM + LARGE_GAP_MM + 6.0, "{p:?} is {nearest} mm from a number");
    }
    nothing_touches(&made).expect("nothing touches");
}

/// The measure itself: a number moved on to a line, off its area, or by too much, is found out.
#[test]
fn faults_are_found() {
    let net = net_of(&from_fn(120, 90, |x, _| 1 + u8::from(x < 50)), 0.0).net;
    let fault = |change: &dyn Fn(&mut Label)| {
        let mut made = made(&net, View::default(), false);
        change(&mut made.plan.labels[0]);
        nothing_touches(&made).is_err() || search::rooms(&net, &made).is_err()
    };
    assert!(!fault(&|_| {}), "as it is made nothing is at fault");
    assert!(fault(&|l| l.box_mm.x += 4.0), "near the border");
    assert!(fault(&|l| l.box_mm.x += 12.0), "in the other area");
    assert!(
        fault(&|l| {
            l.box_mm.y += 1.0;
            l.box_mm.x += 0.8;
            l.clearance_mm -= 0.8;
        }),
        "not where there is most room"
    );
}

/// Heights are those asked for: 3.5 where there is ample room, else 2.5.
fn height_asked_for(room_mm: f64) -> f64 {
    if room_mm >= LARGE_GAP_MM { HEIGHTS_MM[0] } else { HEIGHTS_MM[1] }
}

/// All areas as one shape, for whoever asks where there is paper.
#[test]
fn areas_cover_the_picture_as_seen() {
    let net = net_of(&from_fn(90, 60, |x, y| 1 + (x / 30 + y / 30) as u8 % 3), 0.0).net;
    let seen = seen(&net, Affine::IDENTITY);
    use geo::Area;
    let all = MultiPolygon::new(seen.areas);
    assert!((all.unsigned_area() - net.width_mm * net.height_mm).abs() < 0.05, "the areas cover the picture");
    let [width, height] = box_size(false, height_asked_for(0.0));
    assert!(width > 1.0 && height > 2.4 && height < 2.8, "a number of 2.5 mm: {width} x {height}");
}
