//! Groups and pairs on a scene of even patches, whose figures follow from its reflectances alone.

use super::*;
use crate::colour::lightness;
use crate::tone::{BreakRule, PitchRule, ReferenceKind, ToneOptions, ToneRange, measure};

/// Reflectances of four columns of 20 x 40 mm.
const COLUMNS: [f64; 4] = [0.9, 0.5, 0.45, 0.08];
const PX: f64 = 4.0;

fn scene() -> (ToneField, Raster<u8>) {
    let (w, h) = ((80.0 * PX) as usize, (40.0 * PX) as usize);
    let light = Raster::from_vec(w, h, (0..w * h).map(|i| COLUMNS[(i % w) * 4 / w] as f32).collect());
    let options = ToneOptions {
        values: 4,
        breaks: BreakRule::Explicit(vec![80.0, 60.0, 40.0]),
        tone_range: ToneRange::Fixed([0.0, 100.0]),
        kind: Some(ReferenceKind::Tonal),
        pitch: PitchRule::None,
    };
    let tone = measure(&light, PX, &options).unwrap_or_else(|e| panic!("{e}")).value;
    let values = tone.lightness.map(|l| tone.scale.value(l));
    (tone, values)
}

fn group(name: &str, zone: &str, wanted: [u8; 2]) -> Group {
    Group { name: name.into(), zone: zone.parse().unwrap_or_else(|e| panic!("{e}")), wanted }
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 0.002
}

#[test]
fn means_are_those_of_light() {
    let (tone, values) = scene();
    let groups = [
        group("whole", "rect:0%,0%,100%,100%", [1, 4]),
        group("left half", "rect:0%,0%,50%,100%", [2, 3]),
        group("dark", "rect:60mm,0mm,20mm,50%", [3, 4]),
    ];
    let got = tones(&tone, &values, &groups);
    // The left half is two columns; the dark zone half a column; the whole is what these leave of it.
    let half = (COLUMNS[0] + COLUMNS[1]) / 2.0;
    let rest = (COLUMNS[2] * 2.0 + COLUMNS[3]) / 3.0;
    for (tone, share, reflectance, value, as_wanted) in [
        (&got[0], 0.375, rest, 2, true),
        (&got[1], 0.5, half, 1, false),
        (&got[2], 0.125, COLUMNS[3], 4, true),
    ] {
        assert!(near(tone.share, share), "{tone:?}");
        assert!(near(tone.reflectance, reflectance), "{tone:?} for {reflectance}");
        assert!((tone.lightness - lightness(reflectance)).abs() < 0.1, "{tone:?}");
        assert_eq!((tone.value, tone.as_wanted), (value, as_wanted), "{tone:?}");
    }
    assert!((got[1].range[0] - lightness(COLUMNS[0])).abs() < 0.1, "{:?}", got[1].range);
    assert!((got[1].range[1] - lightness(COLUMNS[1])).abs() < 0.1, "{:?}", got[1].range);
    assert_eq!(got[1].drawn_shares, [0.5, 0.5, 0.0, 0.0], "a half is value 1, a half value 2");
    // L* of 0.35 is 65.7, of 0.7 it is 87.0, of 0.08 it is 34.0 (CIE 15): values 2, 1 and 4 at breaks of 80, 60, 40.
}

#[test]
fn the_smaller_zone_has_what_two_cover_and_the_later_of_two_alike() {
    let zones = [
        group("large", "rect:0%,0%,100%,100%", [1, 4]),
        group("small", "rect:0%,0%,25%,100%", [1, 4]),
        group("first", "rect:50%,0%,25%,100%", [1, 4]),
        group("second", "rect:50%,0%,25%,100%", [1, 4]),
    ];
    for order in [[0, 1, 2, 3], [1, 0, 2, 3]] {
        let groups = order.map(|k: usize| zones[k].clone());
        let of = membership(&groups, 80, 40, 1.0);
        let name = |x: usize| groups[of.at(x, 20) as usize].name.as_str();
        assert_eq!([name(5), name(30), name(50), name(70)], ["small", "large", "second", "large"]);
    }
}

#[test]
fn pairs_are_told_apart_from_a_third_of_a_step_on() {
    let (tone, values) = scene();
    let groups = [group("a", "rect:0%,0%,20%,100%", [1, 1]), group("b", "rect:80%,0%,20%,100%", [4, 4])];
    let point = |x: &str| [x, "50%"].map(|m| m.parse().unwrap_or_else(|e| panic!("{e}")));
    let pairs = [
        Alike::Groups(["a".into(), "b".into()]),
        Alike::Points([point("30%"), point("60%")]),
        Alike::Points([point("5%"), point("20%")]),
    ];
    let got = alike(&tone, &values, &tones(&tone, &values, &groups), &pairs);
    let l = COLUMNS.map(lightness);
    // Places by hand: value 1 goes from L* 100 to 80, 2 from 80 to 60, 4 from 40 to 0. Columns two and three are one area.
    let place = [(100.0 - l[0]) / 20.0, 3.0 + (40.0 - l[3]) / 40.0];
    assert!(
        near(got[0].apart_lightness, l[0] - l[3]) && near(got[0].apart_values, place[1] - place[0]),
        "{got:?}"
    );
    assert!(got[0].told_apart, "paper and dark");
    assert!(near(got[1].apart_lightness, 0.0) && !got[1].told_apart, "one area: {got:?}");
    assert!(near(got[2].apart_values, 0.0), "one area: {got:?}");
    let scale = &tone.scale;
    for (l, place) in
        [(100.0, 0.0), (80.0, 1.0), (70.0, 1.5), (60.0, 2.0), (40.0, 3.0), (20.0, 3.5), (0.0, 4.0)]
    {
        assert!(near(scale.place(l), place), "L* {l} at {}", scale.place(l));
    }
}
