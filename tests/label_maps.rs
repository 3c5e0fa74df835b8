//! Nets of maps of labels given pixel by pixel: the hard cases of planarity, and walks around every area.

use std::collections::HashMap;

use kurbo::{BezPath, Point, Shape};
use merestone::areas::{AreaMap, AreaOptions, AreaSums, Doubt, merge_tree};
use merestone::components::components;
use merestone::raster::Raster;
use merestone::tone::{self, BreakRule, PitchRule, ToneField, ToneOptions, ToneRange};
use merestone::transitions::proof::{Meeting, ProofLine, find_meetings};
use merestone::transitions::{BoundaryNet, HowMuch, NetOptions, Outline, Part, Traced, trace};
use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestCaseError};

pub(crate) const PX_PER_MM: f64 = 6.0;

/// Lightness of values 1 to 5: the middles of even steps.
fn lightness(value: u8) -> f64 {
    110.0 - 20.0 * f64::from(value)
}

/// A tone that is the map of values itself.
pub(crate) fn field(values: &Raster<u8>) -> ToneField {
    let light = values.map(|v| merestone::colour::reflectance(lightness(v)) as f32);
    let options = ToneOptions {
        values: 5,
        breaks: BreakRule::Even,
        tone_range: ToneRange::Fixed([0.0, 100.0]),
        kind: Some(tone::ReferenceKind::Tonal),
        pitch: PitchRule::None,
    };
    tone::measure(&light, PX_PER_MM, &options).expect("a picture with tones").value
}

/// Every connected patch of one value is an area, down to single pixels.
pub(crate) fn every_patch(tone: &ToneField, values: &Raster<u8>) -> AreaMap {
    let (mut ids, count) = components(values);
    ids.data_mut().iter_mut().for_each(|id| *id -= 1);
    let (mut of_leaf, mut sums) = (vec![0_u8; count], vec![AreaSums::default(); count]);
    for ((&id, &v), &r) in ids.data().iter().zip(values.data()).zip(tone.reflectance.data()) {
        of_leaf[id as usize] = v;
        sums[id as usize].pixels += 1.0;
        sums[id as usize].reflectance += f64::from(r);
    }
    let tree = merge_tree(&ids, &of_leaf, &sums, PX_PER_MM, Doubt::none());
    let used = AreaOptions { narrowest_mm: 1.0 / PX_PER_MM, least_area_mm2: 0.0 };
    AreaMap { ids, tree, finest_mm: used.narrowest_mm, used, used_in_zones: None, edited: None }
}

pub(crate) fn net_of(values: &Raster<u8>, plainness: f64) -> Traced {
    let tone = field(values);
    let options = NetOptions { how_much: HowMuch::Plainness(plainness), ..NetOptions::default() };
    trace(&tone, &every_patch(&tone, values), &options)
}

/// Where lines meet away from ends they share.
fn meetings(net: &BoundaryNet) -> Vec<Meeting> {
    let lines: Vec<ProofLine> = net
        .transitions
        .iter()
        .map(|t| ProofLine { curve: &t.curve, ends: [t.from, t.to], closed: t.closed })
        .collect();
    find_meetings(&lines)
}

/// Everything that is promised of a net, and of the walks around its areas.
pub(crate) fn check(traced: &Traced) -> Result<(), TestCaseError> {
    let net = &traced.net;
    prop_assert_eq!(traced.meetings, 0, "the program itself finds lines that meet");
    let met = meetings(net);
    prop_assert!(met.is_empty(), "lines meet: {:?}", met.first());
    let on_edge =
        |p: Point| [p.x, net.width_mm - p.x, p.y, net.height_mm - p.y].iter().any(|d| d.abs() < 0.001);
    let mut joined = vec![0_usize; net.junctions.len()];
    for (i, t) in net.transitions.iter().enumerate() {
        prop_assert!(t.left != t.right && t.values[0] != t.values[1], "transition {} parts nothing", i);
        for (junction, end) in [(t.from, t.start()), (t.to, t.end())] {
            match junction {
                Some(j) => {
                    joined[j] += 1;
                    prop_assert!(net.junctions[j].at.distance(end) < 1e-9, "{} misses its junction", i);
                }
                None if t.closed => prop_assert!(t.start().distance(t.end()) < 1e-9, "{} does not close", i),
                None => prop_assert!(on_edge(end), "transition {} ends loose at {}", i, end),
            }
        }
    }
    prop_assert!(joined.iter().all(|&n| n >= 3), "a junction of fewer than three lines");
    walks(net, &net.outlines().map_err(|e| TestCaseError::fail(e.to_string()))?)
}

/// Each transition is walked once from either side, walks are joined, and areas cover the picture once.
fn walks(net: &BoundaryNet, outlines: &[Outline]) -> Result<(), TestCaseError> {
    prop_assert_eq!(outlines.len(), net.areas.len());
    let mut times: HashMap<(usize, bool), usize> = HashMap::new();
    let (mut total, mut along_edge) = (0.0, 0.0);
    for (area, outline) in outlines.iter().enumerate() {
        let mut size = 0.0;
        for ring in std::iter::once(&outline.outer).chain(&outline.holes) {
            let path = path_of(net, ring)?;
            for part in ring {
                match *part {
                    Part::Transition { index, backward } => {
                        let t = &net.transitions[index];
                        prop_assert_eq!(
                            area,
                            if backward { t.right } else { t.left },
                            "the area on the left"
                        );
                        *times.entry((index, backward)).or_default() += 1;
                    }
                    Part::Frame { from, to } => along_edge += around(net, from, to),
                }
            }
            size -= path.area();
        }
        prop_assert!(size > 0.0, "area {} has {} mm2", area, size);
        total += size;
    }
    prop_assert!(
        times.len() == 2 * net.transitions.len() && times.values().all(|&n| n == 1),
        "walked twice or never"
    );
    let picture = net.width_mm * net.height_mm;
    // Lines end on the edge to the nearest micrometre.
    let edge = 2.0 * (net.width_mm + net.height_mm);
    prop_assert!((total - picture).abs() < 0.001 * edge, "areas add up to {} of {} mm2", total, picture);
    prop_assert!((along_edge - edge).abs() < 0.01, "{} mm of {} mm along the edge", along_edge, edge);
    Ok(())
}

/// Distance along the picture's edge against the clock; the whole edge between one place and itself.
fn around(net: &BoundaryNet, from: Point, to: Point) -> f64 {
    let (w, h) = (net.width_mm, net.height_mm);
    let place = |p: Point| match () {
        () if p.x < 0.001 => p.y,
        () if h - p.y < 0.001 => h + p.x,
        () if w - p.x < 0.001 => 2.0 * h + w - p.y,
        () => 2.0 * (h + w) - p.x,
    };
    let gap = (place(to) - place(from)).rem_euclid(2.0 * (w + h));
    if gap < 1e-9 { 2.0 * (w + h) } else { gap }
}

/// A ring as a closed path; corners of the picture from the distances along its edge.
fn path_of(net: &BoundaryNet, ring: &[Part]) -> Result<BezPath, TestCaseError> {
    let mut path = BezPath::new();
    let mut at: Option<Point> = None;
    let mut first = None;
    let begin = |path: &mut BezPath, p: Point| path.move_to(p);
    for part in ring {
        let (start, end) = match *part {
            Part::Transition { index, backward } => {
                let t = &net.transitions[index];
                let own = if backward { t.path().reverse_subpaths() } else { t.path() };
                let ends = if backward { (t.end(), t.start()) } else { (t.start(), t.end()) };
                if at.is_none() {
                    begin(&mut path, ends.0);
                }
                path.extend(own.iter().filter(|e| matches!(e, kurbo::PathEl::CurveTo(..))));
                ends
            }
            Part::Frame { from, to } => {
                if at.is_none() {
                    begin(&mut path, from);
                }
                let (w, h) = (net.width_mm, net.height_mm);
                let corners =
                    [Point::new(0.0, 0.0), Point::new(0.0, h), Point::new(w, h), Point::new(w, 0.0)];
                let far = around(net, from, to);
                let mut passed: Vec<(f64, Point)> = corners
                    .into_iter()
                    .map(|c| (if c.distance(from) < 1e-9 { 0.0 } else { around(net, from, c) }, c))
                    .filter(|&(s, _)| s > 1e-9 && s < far - 1e-9)
                    .collect();
                passed.sort_by(|a, b| a.0.total_cmp(&b.0));
                passed.into_iter().for_each(|(_, c)| path.line_to(c));
                path.line_to(to);
                (from, to)
            }
        };
        if let Some(at) = at {
            prop_assert!(start.distance(at) < 0.001, "a walk jumps from {} to {}", at, start);
        }
        first.get_or_insert(start);
        at = Some(end);
    }
    let closes = first.zip(at).is_some_and(|(a, b): (Point, Point)| a.distance(b) < 0.001);
    prop_assert!(closes, "a walk does not come back");
    path.close_path();
    Ok(path)
}

pub(crate) fn from_fn(w: usize, h: usize, value: impl Fn(usize, usize) -> u8) -> Raster<u8> {
    Raster::from_vec(w, h, (0..w * h).map(|i| value(i % w, i / w)).collect())
}

/// Hard cases, each with how many areas there are.
fn hard_cases() -> Vec<(&'static str, Raster<u8>, usize)> {
    let ring = |x: usize, y: usize| (f64::hypot(x as f64 - 24.0, y as f64 - 24.0) / 5.0) as u8;
    vec![
        ("one tone", from_fn(30, 20, |_, _| 3), 1),
        ("chequers of 8 pixels", from_fn(48, 40, |x, y| if (x / 8 + y / 8) % 2 == 0 { 1 } else { 5 }), 30),
        ("chequers of single pixels", from_fn(12, 9, |x, y| if (x + y) % 2 == 0 { 1 } else { 5 }), 108),
        ("a diagonal one pixel wide", from_fn(40, 40, |x, y| if x == y { 5 } else { 1 }), 42),
        ("a diagonal in steps", from_fn(40, 40, |x, y| if x == y || x == y + 1 { 5 } else { 1 }), 3),
        ("rings in rings", from_fn(48, 48, |x, y| 1 + ring(x, y) % 5), 13),
        (
            "two that touch at a point",
            from_fn(40, 40, |x, y| match (x, y) {
                (8..20, 8..20) | (20..32, 20..32) => 5,
                _ => 1,
            }),
            3,
        ),
        ("four that meet at a point", from_fn(40, 40, |x, y| [[1, 3], [5, 2]][y / 20][x / 20]), 4),
        ("bars from edge to edge", from_fn(40, 30, |x, _| 1 + (x / 7) as u8 % 5), 6),
        ("a patch in the corner", from_fn(40, 30, |x, y| if x < 9 && y < 7 { 4 } else { 1 }), 2),
        ("half rings at the edge", from_fn(48, 24, |x, y| 1 + ring(x, y + 24) % 5), 9),
        (
            "an island that touches its lake's shore at a point",
            from_fn(40, 40, |x, y| match (x, y) {
                (18..24, 14..20) => 3,
                (12..18, 20..26) | (8..32, 8..32) => 5,
                _ => 1,
            }),
            3,
        ),
    ]
}

#[test]
fn hard_cases_are_planar_and_walked() {
    for (name, values, areas) in hard_cases() {
        for plainness in [0.0, 40.0] {
            let traced = net_of(&values, plainness);
            if plainness <= 0.0 {
                assert_eq!(traced.net.areas.len(), areas, "{name}");
            }
            if let Err(fault) = check(&traced) {
                panic!("{name}, plainness {plainness}: {fault}");
            }
        }
    }
}

/// Holes in closed form: a disc in a square in a picture.
#[test]
fn holes_are_told_from_outlines() {
    let values = from_fn(60, 60, |x, y| {
        let inside = |d: usize| x >= d && x < 60 - d && y >= d && y < 60 - d;
        if f64::hypot(x as f64 - 29.5, y as f64 - 29.5) < 12.0 {
            5
        } else if inside(10) {
            3
        } else {
            1
        }
    });
    let net = net_of(&values, 0.0).net;
    let outlines = net.outlines().expect("a planar net");
    let polygons = net.polygons(0.002).expect("a planar net");
    for (area, (outline, polygon)) in net.areas.iter().zip(outlines.iter().zip(&polygons)) {
        let size = |ring: &[Point]| {
            let cross = |i: usize| ring[i].to_vec2().cross(ring[(i + 1) % ring.len()].to_vec2());
            (0..ring.len()).map(cross).sum::<f64>() / 2.0
        };
        assert_eq!(polygon.holes.len(), outline.holes.len());
        assert!(size(&polygon.outer) < 0.0, "outlines go against the clock");
        assert!(polygon.holes.iter().all(|hole| size(hole) > 0.0), "holes go with the clock");
        let (holes, mm2) = match area.value {
            1 => (1, 100.0 - (40.0 / PX_PER_MM).powi(2)),
            3 => (1, (40.0 / PX_PER_MM).powi(2) - std::f64::consts::PI * 4.0),
            _ => (0, std::f64::consts::PI * 4.0),
        };
        assert_eq!(outline.holes.len(), holes, "value {}", area.value);
        let got = -size(&polygon.outer) - polygon.holes.iter().map(|h| size(h)).sum::<f64>();
        assert!((got - mm2).abs() < 0.2, "value {}: {got} for {mm2} mm2", area.value);
    }
    let frame = Part::Frame { from: Point::ORIGIN, to: Point::ORIGIN };
    let whole = outlines.iter().filter(|o| o.outer == [frame]).count();
    assert_eq!(whole, 1, "one area has the picture's whole edge");
}

/// Found at random: two lines leave a junction so nearly side by side that rounding them anew, where a plainer net cuts
/// them elsewhere, made them cross 0.006 mm away from it.
#[test]
fn lines_cut_elsewhere_do_not_cross_beside_a_junction() {
    let rows = ["442222", "442222", "331144", "331144", "221133", "221133", "332233", "332233"];
    let values = from_fn(6, 8, |x, y| rows[y].as_bytes()[x] - b'0');
    for plainness in [0.0, 35.0] {
        if let Err(fault) = check(&net_of(&values, plainness)) {
            panic!("plainness {plainness}: {fault}");
        }
    }
}

/// Two patches touch at a point between two halves of one ground; when the bars that part the halves are taken away,
/// the ground touches itself there, and its holes are two rings that share that one point.
#[test]
fn an_area_that_touches_itself_has_rings_of_its_own() {
    let values = from_fn(60, 60, |x, y| match (x, y) {
        (30..44, 16..30) | (16..30, 30..44) => 5,
        (44.., 20..26) | (20..26, 44..) => 2,
        _ => 1,
    });
    let traced = net_of(&values, 60.0);
    check(&traced).expect("a planar net");
    let net = &traced.net;
    assert_eq!(net.areas.len(), 3, "the ground and two patches");
    assert_eq!(net.junctions.len(), 1, "the point where they touch");
    let ground = net.areas.iter().position(|a| a.value == 1).expect("the ground");
    let outline = &net.outlines().expect("a planar net")[ground];
    assert_eq!(outline.holes.len(), 2, "one ring for each patch");
    let patch = (14.0_f64 / PX_PER_MM).powi(2);
    for hole in &outline.holes {
        let mm2 = path_of(net, hole).expect("a ring").area();
        assert!((mm2 - patch).abs() < 0.1 * patch, "{mm2} for {patch} mm2");
    }
}

#[test]
fn neighbours_meet_where_lines_end() {
    let net = net_of(&from_fn(40, 40, |x, y| [[1, 3], [5, 2]][y / 20][x / 20]), 0.0).net;
    assert_eq!((net.transitions.len(), net.frame_contacts().len()), (4, 4));
    for index in 0..4 {
        let [start, end] = net.neighbours(index);
        let (inner, outer) = if net.transitions[index].from.is_some() { (start, end) } else { (end, start) };
        let others: Vec<usize> = (0..4).filter(|&o| o != index).collect();
        assert_eq!(inner, others, "all others meet it in the middle");
        assert!(outer.is_empty(), "none at the picture's edge");
    }
}

#[test]
fn a_net_that_is_not_planar_is_refused() {
    let mut net = net_of(&from_fn(40, 40, |x, y| [[1, 3], [5, 2]][y / 20][x / 20]), 0.0).net;
    net.transitions.pop();
    let fault = net.outlines().expect_err("a line is missing").to_string();
    assert!(fault.contains("not planar") || fault.contains("outlines"), "{fault}");
}

/// Values in blocks of `grain` pixels with everything that is hard: few or many values, diagonals, single pixels.
pub(crate) fn random_map() -> impl Strategy<Value = Raster<u8>> {
    (2_usize..14, 2_usize..14, 1_usize..7, 2_u8..=5).prop_flat_map(|(columns, rows, grain, values)| {
        proptest::collection::vec(1..=values, columns * rows).prop_map(move |cells| {
            from_fn(columns * grain, rows * grain, |x, y| cells[y / grain * columns + x / grain])
        })
    })
}

pub(crate) fn plainness() -> impl Strategy<Value = f64> {
    (1_u8..100).prop_map(f64::from)
}

proptest! {
    // Always the same thousand maps, so that what passes here passes everywhere.
    #![proptest_config(ProptestConfig { cases: 1000, rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]
    #[test]
    fn random_maps_are_planar_and_walked(values in random_map(), plainness in plainness()) {
        check(&net_of(&values, 0.0))?;
        check(&net_of(&values, plainness))?;
    }
}
