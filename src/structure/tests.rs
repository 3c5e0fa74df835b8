//! Structure on scenes of even tones, whose figures follow from reflectances and geometry alone.

use kurbo::Rect;

use super::*;
use crate::colour::lightness;
use crate::plan::key_values;
use crate::tone::{PitchRule, ReferenceKind, ToneOptions, ToneRange, measure};

const PX: f64 = 4.0;
const BREAKS: [f64; 4] = [85.0, 65.0, 45.0, 25.0];

/// A picture of a size in mm whose reflectance is a function of the place in mm.
fn scene(size_mm: [f64; 2], light: impl Fn(f64, f64) -> f64) -> (ToneField, Raster<u8>) {
    let [w, h] = size_mm.map(|side| (side * PX) as usize);
    let at = |i: usize| [(i % w) as f64 + 0.5, (i / w) as f64 + 0.5].map(|p| p / PX);
    let input = (0..w * h)
        .map(|i| {
            let [x, y] = at(i);
            light(x, y) as f32
        })
        .collect();
    let options = ToneOptions {
        values: 5,
        breaks: BreakRule::Explicit(BREAKS.to_vec()),
        tone_range: ToneRange::Fixed([0.0, 100.0]),
        kind: Some(ReferenceKind::Tonal),
        pitch: PitchRule::None,
    };
    let tone = measure(&Raster::from_vec(w, h, input), PX, &options).unwrap_or_else(|e| panic!("{e}")).value;
    let values = tone.lightness.map(|l| tone.scale.value(l));
    (tone, values)
}

fn made(of: &(ToneField, Raster<u8>), options: &StructureOptions) -> Structure {
    made_with(of, &[], &[], options)
}

fn made_with(
    (tone, values): &(ToneField, Raster<u8>),
    groups: &[Group],
    pairs: &[(Alike, AlikeTone)],
    options: &StructureOptions,
) -> Structure {
    let size = [values.width(), values.height()].map(|n| n as f64 / PX);
    let picture = crate::sheet::RectMm { x: 0.0, y: 0.0, width: size[0], height: size[1] };
    let of = StructureGround {
        edited: None,
        tone,
        values,
        groups,
        pairs,
        breaks: &BreakRule::Fitted,
        squares: Some(Squares::of(&picture, 20.0)),
    };
    structure(&of, options, [60.0, 60.0]).unwrap_or_else(|e| panic!("{e}"))
}

fn contrast(of: &(ToneField, Raster<u8>)) -> Contrast {
    made(of, &StructureOptions::default()).contrast.unwrap_or_else(|| panic!("there are two areas"))
}

/// A square with a corner at (x, y).
fn in_square(x: f64, y: f64, [left, top]: [f64; 2], side: f64) -> bool {
    (left..left + side).contains(&x) && (top..top + side).contains(&y)
}

#[test]
fn a_straight_edge_has_the_whole_step() {
    // 120 x 80 mm in halves: in the middle of its length each side has half of any window.
    let of = scene([120.0, 80.0], |x, _| if x < 60.0 { 0.7 } else { 0.1 });
    let got = contrast(&of);
    let step = lightness(0.7) - lightness(0.1);
    assert!((got.step - step).abs() < 0.01 && (got.strength - step).abs() < 0.01, "{got:?} for {step}");
    assert!((got.lightness[0] - lightness(0.7)).abs() < 0.01, "the lighter first: {got:?}");
    assert_eq!(got.values, [1, 4], "L* 87 and 38 at breaks of 85, 65, 45, 25");
    assert!((got.at_mm[0] - 60.0).abs() < 0.01, "on the edge: {got:?}");
    assert!((10.0..70.0).contains(&got.at_mm[1]), "a window that lies on the picture: {got:?}");
    let [light, dark] = got.around_range.unwrap_or_else(|| panic!("there is more than a window"));
    assert!((light - lightness(0.7)).abs() < 0.1 && (dark - lightness(0.1)).abs() < 0.1, "{got:?}");
    let around = got.around_lightness.unwrap_or_default();
    assert!((around - lightness(0.4)).abs() < 0.3, "as much of both around: {around}");
}

#[test]
fn a_corner_and_a_small_square_have_what_their_shares_give() {
    // A dark square of 8 mm in a window of 20 mm about a place of its border: p is its share, in closed form.
    let of = scene([100.0, 100.0], |x, y| if in_square(x, y, [46.0, 46.0], 8.0) { 0.02 } else { 0.9 });
    let got = contrast(&of);
    let share: f64 = 8.0 * 8.0 / 400.0;
    let step = lightness(0.9) - lightness(0.02);
    let wanted = step * 2.0 * (share * (1.0 - share)).sqrt();
    assert!((got.shares[1] - share).abs() < 0.01, "{got:?}");
    assert!((got.strength - wanted).abs() < 0.02 * wanted, "{got:?} for {wanted}");
}

#[test]
fn a_speck_of_black_gives_way_to_a_large_weaker_edge() {
    let of = scene([120.0, 100.0], |x, y| match x {
        _ if in_square(x, y, [20.0, 40.0], 4.0) => 0.0,
        x if x < 70.0 => 0.8,
        _ => 0.2,
    });
    let got = contrast(&of);
    // 16 of 400 mm2 at a step of 92 L* come to 36, half and half at a step of 40 to 40.
    let [speck, edge] = [lightness(0.8), lightness(0.8) - lightness(0.2)];
    let of_speck = speck * 2.0 * (0.04_f64 * 0.96).sqrt();
    assert!(of_speck < edge, "the scene is made so: {of_speck} and {edge}");
    assert!((got.strength - edge).abs() < 0.01, "{got:?} for {edge}");
    assert!((got.at_mm[0] - 70.0).abs() < 0.01, "{got:?}");
    // Farther along the same edge it is as strong.
    let next = got.next.unwrap_or_else(|| panic!("the edge is longer than a window"));
    assert!((next.strength - edge).abs() < 0.5, "{next:?} for {edge}");
    // The long edge is most of all border, so half of the length is about as strong as it.
    assert!(got.median <= edge + 0.01 && got.as_strong_share > 0.5, "{} {}", got.median, got.as_strong_share);
}

#[test]
fn what_lies_beyond_the_picture_is_of_neither_side() {
    // A strip of 2 mm of black along the lower edge: its window reaches over the edge.
    let of = scene([100.0, 60.0], |_, y| if y > 58.0 { 0.0 } else { 1.0 });
    let got = contrast(&of);
    let wanted = 100.0 * 2.0 * (0.5_f64 * 0.1).sqrt();
    assert!((got.strength - wanted).abs() < 0.02 * wanted, "{got:?} for {wanted}");
    let flat = scene([60.0, 60.0], |_, _| 0.5);
    assert!(made(&flat, &StructureOptions::default()).contrast.is_none(), "one area has no contrast");
}

/// Five squares of 25 mm on paper; two pairs of like tones, one pair of one value that is told apart.
fn patches() -> (ToneField, Raster<u8>) {
    // Of L* 75 and 74.2 (value 2), 55 and 54 (value 3), and 46 (value 3 too, 8 L* away).
    const TONES: [([f64; 2], f64); 5] = [
        ([5.0, 5.0], 75.0),
        ([65.0, 5.0], 74.2),
        ([5.0, 65.0], 55.0),
        ([65.0, 65.0], 54.0),
        ([125.0, 35.0], 46.0),
    ];
    scene([155.0, 100.0], |x, y| {
        let inside = TONES.iter().find(|(corner, _)| in_square(x, y, *corner, 25.0));
        inside.map_or(0.95, |(_, l)| crate::colour::reflectance(*l))
    })
}

#[test]
fn the_keep_alike_list_of_a_known_scene() {
    let got = made(&patches(), &StructureOptions::default()).keep_alike;
    let sets: Vec<(u8, Vec<&str>)> = got
        .areas
        .iter()
        .map(|set| (set.value, set.members.iter().map(|m| m.squares[0].as_str()).collect()))
        .collect();
    // Squares of 20 mm. The first patch goes from 5 to 30 mm: 15 of 25 mm lie in A and in 1; the second from 65 to 90,
    // 15 in D and 10 in E; the lower two from 65 to 90 mm down, 15 in 4.
    assert_eq!(sets, [(2, vec!["A1", "D1"]), (3, vec!["A4", "D4"])], "{got:?}");
    let lightness: Vec<f64> = got.areas[1].members.iter().map(|m| m.lightness).collect();
    assert!((lightness[0] - 55.0).abs() < 0.1 && (lightness[1] - 54.0).abs() < 0.1, "{lightness:?}");
    let share = 625.0 / 15_500.0;
    assert!((got.areas[0].members[0].share - share).abs() < 1e-3, "{got:?}");
    // A texture whose unevenness is 9 L* takes the third of value 3, were it not more than a third of a step away.
    assert!((got.areas[1].within - LEAST_UNEVEN_L).abs() < 1e-9, "no texture: {got:?}");
    // Nothing is large enough when areas have to be a twentieth of the picture.
    let strict = StructureOptions { least_alike: 0.05, ..StructureOptions::default() };
    assert!(made(&patches(), &strict).keep_alike.areas.is_empty(), "625 of 15500 mm2 are 4 %");
}

#[test]
fn pairs_and_groups_that_are_alike_are_listed_by_their_squares() {
    let of = patches();
    let group = |name: &str, zone: &str| Group {
        name: name.into(),
        zone: zone.parse().unwrap_or_else(|e| panic!("{e}")),
        wanted: [1, 5],
    };
    let groups = [
        group("left", "rect:5mm,5mm,25mm,25mm"),
        group("right", "rect:65mm,5mm,25mm,25mm"),
        group("low", "rect:125mm,35mm,25mm,25mm"),
    ];
    let tones = groups::tones(&of.0, &of.1, &groups);
    let asked = [Alike::Groups(["left".into(), "low".into()])];
    let figures = groups::alike(&of.0, &of.1, &tones, &asked);
    let pairs: Vec<_> = asked.iter().cloned().zip(figures).collect();
    let got = made_with(&of, &groups, &pairs, &StructureOptions::default());
    assert!(!got.found && got.groups.len() == 3, "named groups are taken");
    let names: Vec<_> = got.keep_alike.groups[0].members.iter().map(|m| m.name.as_deref()).collect();
    assert_eq!(names, [Some("left"), Some("right")], "{:?}", got.keep_alike);
    assert_eq!(got.keep_alike.groups.len(), 1, "the third is alone");
    // The middle of a patch of 25 mm from (5, 5): (17.5, 17.5) in A1; from (125, 35): (137.5, 47.5) in G3.
    assert_eq!(got.keep_alike.pairs[0].squares, Some(["A1".into(), "G3".into()]));
    assert!(got.keep_alike.pairs[0].tone.told_apart, "75 and 46");
    let rest = 1.0 - 3.0 * 625.0 / 15_500.0;
    assert!((got.rest_share - rest).abs() < 1e-3, "{} in no group", got.rest_share);
}

#[test]
fn found_groups_are_the_large_areas_of_like_tone() {
    // A ground of 0.8, a band of 0.3 with a lighter stain in it, and a black square.
    let of = scene([200.0, 100.0], |x, y| match y {
        _ if in_square(x, y, [20.0, 10.0], 30.0) => 0.01,
        _ if in_square(x, y, [120.0, 70.0], 6.0) => 0.42,
        y if y > 60.0 => 0.3,
        _ => 0.8,
    });
    let got = made(&of, &StructureOptions::default());
    assert!(got.found && got.found_height.is_some(), "none are named");
    let figures: Vec<(&str, f64, f64)> =
        got.groups.iter().map(|g| (g.name.as_str(), g.tone.share, g.tone.reflectance)).collect();
    let wanted = [("I", (12_000.0 - 900.0) / 20_000.0, 0.8), ("II", 0.4, 0.3), ("III", 0.045, 0.01)];
    assert_eq!(figures.len(), 3, "{figures:?}");
    for ((name, share, light), (wanted, of_picture, reflectance)) in figures.into_iter().zip(wanted) {
        assert_eq!(name, wanted, "the largest first");
        assert!((share - of_picture).abs() < 0.003, "{name}: {share} for {of_picture}");
        assert!((light - reflectance).abs() < 0.003, "{name}: {light} for {reflectance}");
    }
    let one = StructureOptions { most_groups: 1, ..StructureOptions::default() };
    assert_eq!(made(&of, &one).groups.len(), 1, "never more than asked for");
    assert_eq!([1, 4, 9, 12].map(roman), ["I", "IV", "IX", "XII"]);
}

#[test]
fn small_pictures_have_the_shares_and_the_ink_of_their_tones() {
    // Thirds of 0.9, 0.4 and 0.03: two and three values by least squares.
    let of = scene([150.0, 100.0], |x, _| {
        if x < 50.0 {
            0.9
        } else if x < 100.0 {
            0.4
        } else {
            0.03
        }
    });
    let got = made(&of, &StructureOptions::default());
    let [two, three] = &got.thumbnails[..] else { panic!("two of them") };
    // L* 96, 69 and 20: of two classes the lighter two are one (27 apart, not 49).
    for (got, wanted) in two.shares.iter().zip([2.0 / 3.0, 1.0 / 3.0]) {
        assert!((got - wanted).abs() < 0.01, "{two:?}");
    }
    for got in &three.shares {
        assert!((got - 1.0 / 3.0).abs() < 0.01, "{three:?}");
    }
    // Murray & Davies: ink covers what the mean reflectance leaves; paper is bare, the last value solid.
    assert!((three.coverage[1] - 0.6).abs() < 0.02, "{three:?}");
    assert!(three.coverage[0] <= 0.0 && three.coverage[2] >= 1.0, "{three:?}");
    assert!((60.0 - three.size_mm[0]).abs() < 0.2, "as wide as the room: {:?}", three.size_mm);
    // The ink itself: how much of points on a grid it covers, value by value.
    let ink = three.ink(Point::ORIGIN);
    let polygons: Vec<kurbo::BezPath> = ink
        .elements()
        .split_inclusive(|e| matches!(e, kurbo::PathEl::ClosePath))
        .map(|part| kurbo::BezPath::from_vec(part.to_vec()))
        .collect();
    for (from, coverage) in [(0.0, 0.0), (20.0, three.coverage[1]), (40.0, 1.0)] {
        let (mut inked, mut all) = (0.0, 0.0);
        for k in 0..97 * 97 {
            let at = Point::new(
                from + 1.0 + 18.0 * (f64::from(k % 97) + 0.5) / 97.0,
                1.0 + 36.0 * (f64::from(k / 97) + 0.37) / 97.0,
            );
            all += 1.0;
            inked += f64::from(u8::from(polygons.iter().any(|p| kurbo::Shape::contains(p, at))));
        }
        assert!((inked / all - coverage).abs() < 0.03, "from {from} mm: {} for {coverage}", inked / all);
    }
}

#[test]
fn pages_hold_what_is_on_them() {
    let of = patches();
    let names: Vec<String> = (0..40).map(|k| format!("a group with quite a long name, number {k}")).collect();
    let groups: Vec<Group> = names
        .iter()
        .enumerate()
        .map(|(k, name)| Group {
            name: name.clone(),
            zone: format!("rect:{}mm,{}mm,12mm,12mm", 3 * k, 2 * k).parse().unwrap_or_else(|e| panic!("{e}")),
            wanted: [2, 3],
        })
        .collect();
    let net = {
        let map = crate::areas::find(&of.0, &crate::areas::AreaOptions::default());
        crate::transitions::trace(&of.0, &map, &crate::transitions::NetOptions::default()).net
    };
    let key = key_values(&of.1, &of.0.reflectance, &of.0.scale);
    for size in [[210.0, 297.0], [215.9, 279.4], [140.0, 190.0]] {
        for groups in [&groups[..], &groups[..3], &[]] {
            let edge = 11.0;
            let (tone, values) = &of;
            let ground = StructureGround {
                edited: None,
                tone,
                values,
                groups,
                pairs: &[],
                breaks: &BreakRule::Fitted,
                squares: None,
            };
            let made = structure(&ground, &StructureOptions::default(), thumb_room(size, edge))
                .unwrap_or_else(|e| panic!("{e}"));
            let texts = PageTexts { remark: "a picture.png", net: &net, key: &key, breaks: &BREAKS };
            let pages = pages(&made, &texts, size, edge).unwrap_or_else(|e| panic!("{e}"));
            let inside = Rect::new(edge, edge, size[0] - edge, size[1] - edge).inflate(0.6, 0.6);
            let mut rows = 0;
            for page in &pages {
                let boxes: Vec<Rect> = page
                    .furniture
                    .texts
                    .iter()
                    .map(|t| {
                        let [a, b] = t.bounds();
                        Rect::from_points(a, b)
                    })
                    .collect();
                for (k, b) in boxes.iter().enumerate() {
                    let text = &page.furniture.texts[k].text;
                    assert!(inside.union(*b) == inside, "{text:?} leaves the page of {size:?}");
                    for (other, c) in boxes[..k].iter().enumerate() {
                        let meet = b.intersect(*c);
                        let apart = meet.width() <= 0.0 || meet.height() <= 0.0;
                        assert!(apart, "{text:?} lies on {:?}", page.furniture.texts[other].text);
                    }
                }
                for fill in &page.furniture.fills {
                    let b = kurbo::Shape::bounding_box(&fill.outline);
                    assert!(
                        inside.inflate(0.5, 0.5).union(b) == inside.inflate(0.5, 0.5),
                        "{b:?} leaves the page"
                    );
                }
                rows += page.furniture.texts.iter().filter(|t| t.text.starts_with("a group")).count();
            }
            assert!(rows >= groups.len(), "{rows} rows of {} groups", groups.len());
        }
    }
}
