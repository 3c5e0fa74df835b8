//! Random maps of labels with random edits: everything that is promised of a net holds, and edits hold at every plainness.

use merestone::areas::AreaMap;
use merestone::areas::edits::{Act, Edit, edited};
use merestone::areas::zones::Measure::Percent;
use merestone::raster::Raster;
use merestone::transitions::{HowMuch, NetOptions, Traced, merging_height, trace};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{RngSeed, TestCaseError, TestRunner};

use crate::label_maps::{check, every_patch, field, plainness, random_map};
use crate::nesting::{cubics, strays};

/// A point somewhere on the picture, in hundredths.
fn point() -> impl Strategy<Value = [f64; 2]> {
    [0.0..100.0, 0.0..100.0_f64]
}

/// A line that may leave the picture.
fn line() -> impl Strategy<Value = Vec<[f64; 2]>> {
    proptest::collection::vec([-30.0..130.0, -30.0..130.0_f64], 2..6)
}

fn edit() -> impl Strategy<Value = Edit> {
    let place = |p: [f64; 2]| p.map(Percent);
    let act = prop_oneof![
        (1_u8..=5).prop_map(Act::Value),
        (point(), proptest::option::of(1_u8..=5))
            .prop_map(move |(with, value)| Act::Merge { with: place(with), value }),
        (line(), 1_u8..=5).prop_map(move |(along, value)| Act::Split {
            along: along.into_iter().map(place).collect(),
            value
        }),
    ];
    (point(), act).prop_map(move |(at, act)| Edit { at: place(at), act })
}

/// The value of each pixel at a merging height.
fn values_at(areas: &AreaMap, height: f64) -> Raster<u8> {
    let cut = areas.tree.cut(height);
    areas.ids.map(|leaf| areas.tree.value(cut[leaf as usize]))
}

/// The pixel of a point in hundredths.
fn pixel(at: &Edit, of: &Raster<u8>) -> [usize; 2] {
    let along = |k: usize, n: usize| match at.at[k] {
        Percent(p) => ((p / 100.0 * n as f64) as usize).min(n - 1),
        _ => 0,
    };
    [along(0, of.width()), along(1, of.height())]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, rng_seed: RngSeed::Fixed(2), ..ProptestConfig::default() })]
    #[test]
    fn edited_maps_are_planar_walked_and_nested(
        values in random_map(), asked in proptest::collection::vec(edit(), 1..6), base in plainness(),
        plainer in plainness(),
    ) {
        let tone = field(&values);
        let plain = every_patch(&tone, &values);
        let base_height = merging_height(base);
        // Those that cannot be made together are left out, one by one.
        let mut edits: Vec<Edit> = Vec::new();
        for edit in asked {
            edits.push(edit);
            if edited(&tone, &plain, &edits, base_height).is_err() {
                edits.pop();
            }
        }
        let areas = edited(&tone, &plain, &edits, base_height)
            .map_err(|(k, e)| TestCaseError::fail(format!("edit {k}: {e}")))?;
        let net = |p: f64| -> Traced {
            let options = NetOptions { how_much: HowMuch::Plainness(p), ..NetOptions::default() };
            trace(&tone, &areas, &options)
        };
        let (least, most) = (base.min(plainer), base.max(plainer));
        let nets = [0.0, least, most].map(net);
        for (traced, height) in nets.iter().zip([0.0, least, most].map(merging_height)) {
            check(traced)?;
            let drawn = values_at(&areas, height);
            for edit in &edits {
                let [x, y] = pixel(edit, &drawn);
                let given = match edit.act {
                    Act::Value(v) | Act::Split { value: v, .. } => Some(v),
                    Act::Merge { value, .. } => value,
                };
                prop_assert!(given.is_none_or(|v| drawn.at(x, y) == v), "{:?} at height {}", edit, height);
            }
        }
        for pair in nets.windows(2) {
            let stray = strays(&cubics(&pair[1].net), &cubics(&pair[0].net));
            prop_assert!(stray.is_none(), "a plainer line lies elsewhere: {:?}", stray);
        }
    }
}

/// Away from what was edited the drawing that was looked at is as it was, but for what a finer area beside the edited one
/// cannot be without: it may come to the value of a neighbour of its own area, and that joins it.
#[test]
fn edits_change_nothing_elsewhere() {
    let config = ProptestConfig { rng_seed: RngSeed::Fixed(3), ..ProptestConfig::default() };
    let mut runner = TestRunner::new(config);
    let cases = (random_map(), edit(), plainness());
    let (mut made, mut changed) = (0_usize, Vec::new());
    while made < 1000 {
        let (values, edit, base) = cases.new_tree(&mut runner).expect("a case").current();
        let tone = field(&values);
        let plain = every_patch(&tone, &values);
        let height = merging_height(base);
        let Ok(areas) = edited(&tone, &plain, &[edit], height) else { continue };
        made += 1;
        let (before, after) = (values_at(&plain, height), values_at(&areas, height));
        let pinned = &areas.edited.as_ref().expect("edits").pinned;
        let free = |i: &usize| !pinned[areas.ids.data()[*i] as usize];
        let differ = (0..before.data().len()).filter(free).filter(|&i| before.data()[i] != after.data()[i]);
        let count = differ.count();
        if count > 0 {
            changed.push(count as f64 / before.data().len() as f64);
        }
    }
    assert!(changed.len() <= 20, "{} of {made} drawings changed elsewhere: {changed:?}", changed.len());
}
