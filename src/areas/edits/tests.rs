//! Edits of areas drawn by hand, pixel by pixel.

use super::*;
use crate::areas::{AreaOptions, Doubt, merge_tree};
use crate::colour::reflectance;
use crate::tone::{BreakRule, PitchRule, ReferenceKind, ToneOptions, ToneRange, measure};

/// A map whose every patch is an area, at 1 pixel per mm, each tone the middle of its value.
fn map(rows: &[&str]) -> (ToneField, AreaMap) {
    let data: Vec<u8> = rows.iter().flat_map(|r| r.bytes().map(|b| b - b'0')).collect();
    let values = Raster::from_vec(rows[0].len(), rows.len(), data);
    let light = values.map(|v| reflectance(110.0 - 20.0 * f64::from(v)) as f32);
    let options = ToneOptions {
        values: 5,
        breaks: BreakRule::Even,
        tone_range: ToneRange::Fixed([0.0, 100.0]),
        kind: Some(ReferenceKind::Tonal),
        pitch: PitchRule::None,
    };
    let tone = measure(&light, 1.0, &options).unwrap_or_else(|e| panic!("{e}")).value;
    let (mut ids, count) = components(&values);
    ids.data_mut().iter_mut().for_each(|id| *id -= 1);
    let (mut of_leaf, mut sums) = (vec![0; count], vec![AreaSums::default(); count]);
    for ((&id, &v), &r) in ids.data().iter().zip(values.data()).zip(tone.reflectance.data()) {
        of_leaf[id as usize] = v;
        sums[id as usize].pixels += 1.0;
        sums[id as usize].reflectance += f64::from(r);
    }
    let tree = merge_tree(&ids, &of_leaf, &sums, 1.0, Doubt::none());
    let used = AreaOptions { narrowest_mm: 1.0, least_area_mm2: 0.0 };
    (tone, AreaMap { ids, tree, used, used_in_zones: None, finest_mm: 1.0, edited: None })
}

/// The values at a height, as rows.
fn rows_at(areas: &AreaMap, height: f64) -> Vec<String> {
    let cut = areas.tree.cut(height);
    let value = areas.ids.map(|leaf| areas.tree.value(cut[leaf as usize]));
    (0..value.height()).map(|y| value.row(y).iter().map(|v| char::from(b'0' + v)).collect()).collect()
}

fn at(x: f64, y: f64) -> PlaceOnPicture {
    [Measure::Mm(x), Measure::Mm(y)]
}

fn value(x: f64, y: f64, value: u8) -> Edit {
    Edit { at: at(x, y), act: Act::Value(value) }
}

fn merge(x: f64, y: f64, with: PlaceOnPicture, value: Option<u8>) -> Edit {
    Edit { at: at(x, y), act: Act::Merge { with, value } }
}

fn split(x: f64, y: f64, along: &[PlaceOnPicture], value: u8) -> Edit {
    Edit { at: at(x, y), act: Act::Split { along: along.to_vec(), value } }
}

const MAP: [&str; 4] = ["11112222", "11112222", "33335555", "33335555"];

fn after(edits: &[Edit]) -> AreaMap {
    let (tone, areas) = map(&MAP);
    edited(&tone, &areas, edits, 0.0).unwrap_or_else(|(k, e)| panic!("edit {k}: {e}"))
}

fn fault(edits: &[Edit]) -> (usize, EditFault) {
    let (tone, areas) = map(&MAP);
    edited(&tone, &areas, edits, 0.0).expect_err("a fault")
}

#[test]
fn an_area_gets_its_value_and_keeps_it_at_every_height() {
    let areas = after(&[value(0.5, 0.5, 4)]);
    assert_eq!(rows_at(&areas, 0.0), ["44442222", "44442222", "33335555", "33335555"]);
    for height in [1.0, 1e3, 1e12] {
        let rows = rows_at(&areas, height);
        assert!(
            rows[..2].iter().all(|row| row.starts_with("4444") && !row.ends_with('4')),
            "{height}: {rows:?}"
        );
    }
    let edited = areas.edited.as_ref().expect("edits");
    assert_eq!(edited.pinned.iter().filter(|p| **p).count(), 1, "one area");
    assert_eq!(edited.own.at(0, 0), 1, "the value of its own tone");
    assert!(areas.tree.height_between(0, areas.ids.at(7, 0) as usize).is_infinite(), "never merged");
}

#[test]
fn neighbours_of_one_value_become_one_area() {
    let areas = after(&[value(0.5, 0.5, 3)]);
    assert_eq!(rows_at(&areas, 0.0), ["33332222", "33332222", "33335555", "33335555"]);
    assert_eq!(areas.ids.at(0, 0), areas.ids.at(0, 3), "one leaf");
    assert_eq!(areas.tree.leaves(), 3);
}

#[test]
fn merged_areas_have_one_value() {
    let three = after(&[merge(0.5, 0.5, at(7.5, 0.5), Some(3))]);
    assert_eq!(rows_at(&three, 0.0), ["33333333", "33333333", "33335555", "33335555"]);
    // As much of each: the lighter.
    assert_eq!(rows_at(&after(&[merge(7.5, 0.5, at(0.5, 0.5), None)]), 0.0)[0], "11111111");
    let all = [merge(0.5, 0.5, at(7.5, 0.5), None), merge(7.5, 0.5, at(7.5, 3.5), None), value(7.5, 3.5, 4)];
    assert_eq!(rows_at(&after(&all), 0.0), ["44444444", "44444444", "33334444", "33334444"]);
    let far = [merge(0.5, 0.5, at(7.5, 3.5), Some(4))];
    assert_eq!(fault(&far).0, 0);
    assert!(matches!(fault(&far).1, EditFault::Apart { .. }), "they touch at a point only");
}

#[test]
fn a_split_divides_along_the_line() {
    let line = [at(2.0, -1.0), at(2.0, 3.0)];
    let areas = after(&[split(0.5, 0.5, &line, 4)]);
    assert_eq!(rows_at(&areas, 0.0), ["44112222", "44112222", "33335555", "33335555"]);
    let cracks = &areas.edited.as_ref().expect("edits").cracks;
    let noted: Vec<usize> = (0..32).filter(|&i| cracks.data()[i] != 0).collect();
    assert_eq!(noted, [1, 9], "between the second and the third column, in this area alone");
    // The other side, a line that goes through pixels' middles, and a closed one.
    assert_eq!(rows_at(&after(&[split(3.5, 0.5, &line, 4)]), 0.0)[0], "11442222");
    let slanting = [at(0.0, 0.0), at(2.0, 2.0)];
    let rows = rows_at(&after(&[split(3.5, 0.5, &slanting, 4)]), 0.0);
    assert!(["14442222", "44442222"].contains(&rows[0].as_str()) && rows[1].starts_with('1'), "{rows:?}");
    let ring = [at(4.9, 0.0), at(7.1, 0.0), at(7.1, 0.9), at(4.9, 0.9), at(4.9, 0.0)];
    assert_eq!(rows_at(&after(&[split(6.5, 0.5, &ring, 1)]), 0.0)[0], "11112112");
    let short = [at(2.0, -1.0), at(2.0, 0.9)];
    assert!(matches!(fault(&[split(0.5, 0.5, &short, 4)]), (0, EditFault::SplitsNothing { .. })));
    assert!(
        after(&[split(0.5, 0.5, &line, 1)]).edited.is_some_and(|e| e.idle == [0]),
        "both sides have value 1"
    );
}

#[test]
fn splits_come_before_values() {
    let line = [at(2.0, -1.0), at(2.0, 3.0)];
    let both = after(&[value(3.5, 0.5, 5), split(0.5, 0.5, &line, 4)]);
    assert_eq!(rows_at(&both, 0.0), ["44552222", "44552222", "33335555", "33335555"]);
    let (k, error) = fault(&[split(0.5, 0.5, &line, 4), value(1.5, 1.5, 2)]);
    assert_eq!((k, &error), (1, &EditFault::TwoValues { at: at(1.5, 1.5), first: 4, second: 2, other: 0 }));
}

#[test]
fn impossible_edits_are_told_by_number() {
    assert!(matches!(fault(&[value(0.5, 0.5, 2), value(8.5, 0.5, 2)]), (1, EditFault::Outside { .. })));
    assert!(matches!(
        fault(&[value(0.5, 0.5, 2), value(1.5, 1.5, 3)]),
        (1, EditFault::TwoValues { other: 0, .. })
    ));
    let clash = [value(0.5, 0.5, 2), value(7.5, 0.5, 3), merge(0.5, 0.5, at(7.5, 0.5), None)];
    assert!(matches!(fault(&clash), (1, EditFault::TwoValues { other: 0, first: 2, second: 3, .. })));
    assert!(after(&[value(0.5, 0.5, 2), value(1.5, 1.5, 2)]).edited.is_some(), "the same value twice");
}

#[test]
fn an_edited_area_has_the_outline_that_was_seen() {
    // At this height the four in the right half are part of the two; given value 4, the left does not take them in.
    let rows = ["1112222222", "1114422222", "1114422222", "1112222222"];
    let (tone, areas) = map(&rows);
    let height = areas.tree.height_between(areas.ids.at(3, 0) as usize, areas.ids.at(3, 1) as usize);
    assert_eq!(rows_at(&areas, height)[1], "1112222222", "merged there");
    let edited = edited(&tone, &areas, &[value(0.5, 0.5, 4)], height).unwrap_or_else(|e| panic!("{e:?}"));
    assert_eq!(rows_at(&edited, height)[1], "4442222222", "as it was seen");
    assert_eq!(rows_at(&edited, 0.0)[1], "4442222222", "and at every height");
}
