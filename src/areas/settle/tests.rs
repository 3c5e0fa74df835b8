//! Tests of settling: borders and values on strokes whose tone and crossings are known.

use super::*;
use crate::colour::reflectance;
use crate::tone::{BreakRule, PitchRule, ReferenceKind, ToneOptions, ToneRange, measure};

const PX_PER_MM: f64 = 6.0;
const SIDE_MM: f64 = 40.0;
/// Where a second set begins to cross the strokes, and where their tone passes the break, in mm.
const CROSSED_MM: f64 = 22.0;
const PASSED_MM: f64 = 19.0;
const BREAK_L: f64 = 50.0;

/// Strokes 1.1 mm apart whose tone gets darker by 0.4 L* a mm and passes its break on the way, crossed from a place on or not at all,
/// black from a place on.
fn hatched(crossed_mm: f64, black_mm: f64, level: f64, kind: ReferenceKind) -> ToneField {
    let side = (SIDE_MM * PX_PER_MM) as usize;
    let mut light = Raster::new(side, side, 0.0_f32);
    for (i, light) in light.data_mut().iter_mut().enumerate() {
        // Four by four samples to a pixel.
        let white = (0..16).filter(|k| {
            let sub = |n: usize, k: usize| (n as f64 + (k as f64 + 0.5) / 4.0) / PX_PER_MM;
            let (u, v) = (sub(i % side, k % 4), sub(i / side, k / 4));
            let share = reflectance(level - 0.4 * (u - PASSED_MM));
            let gap = |across: f64, share: f64| (across / 1.1).rem_euclid(1.0) < share;
            let (one, other) = (0.9 * u + 0.436 * v, 0.436 * u - 0.9 * v);
            u < black_mm
                && if u < crossed_mm {
                    gap(one, share)
                } else {
                    gap(one, share.sqrt()) && gap(other, share.sqrt())
                }
        });
        *light = white.count() as f32 / 16.0;
    }
    let options = ToneOptions {
        values: 2,
        breaks: BreakRule::Explicit(vec![level]),
        tone_range: ToneRange::Fixed([0.0, 100.0]),
        kind: Some(kind),
        pitch: PitchRule::Measured,
    };
    let mut tone = measure(&light, PX_PER_MM, &options).unwrap_or_else(|e| panic!("{e}")).value;
    // Strokes beyond doubt: half of a picture this small has their ends or crossings in sight.
    tone.evidence.directed_share = 1.0;
    tone
}

/// By row away from the picture's edge, where the first place of a value lies, in mm; before settling and after.
fn begins(tone: &ToneField, value: u8) -> [Vec<f64>; 2] {
    let by_tone = tone.lightness.map(|l| tone.scale.value(l));
    let mut settled = by_tone.clone();
    settle(&mut settled, tone);
    [by_tone, settled].map(|values| {
        let rows = (8 * PX_PER_MM as usize)..((SIDE_MM - 8.0) * PX_PER_MM) as usize;
        let first = |y: usize| values.row(y).iter().position(|&v| v >= value).unwrap_or(values.width());
        rows.map(|y| first(y) as f64 / PX_PER_MM).collect()
    })
}

fn farthest(found: &[f64], from: f64) -> f64 {
    found.iter().fold(0.0, |most, x| (x - from).abs().max(most))
}

/// The tone passes its break 3 mm (1.2 L*) before a second set begins: the border goes to where it begins, to within a stroke.
#[test]
fn a_border_goes_where_strokes_are_crossed() {
    let tone = hatched(CROSSED_MM, SIDE_MM, BREAK_L, ReferenceKind::Hatched);
    let [by_tone, settled] = begins(&tone, 2);
    assert!(farthest(&settled, CROSSED_MM) < 1.1, "up to {} mm off", farthest(&settled, CROSSED_MM));
    assert!(by_tone.iter().all(|x| (x - CROSSED_MM).abs() > 2.0), "by their tone {by_tone:?} mm");
}

/// Where strokes run on there is nothing to go to, and the tone alone says where its break is.
#[test]
fn without_a_change_of_strokes_the_tone_is_followed() {
    let tone = hatched(SIDE_MM, SIDE_MM, BREAK_L, ReferenceKind::Hatched);
    let [_, settled] = begins(&tone, 2);
    let mean = settled.iter().sum::<f64>() / settled.len() as f64;
    assert!((mean - PASSED_MM).abs() < 0.6, "{mean} mm");
}

/// Crossed strokes a little darker than the last break are no black while they show gaps; where they show none it begins,
/// to within a stroke.
#[test]
fn gaps_are_not_black() {
    let tone = hatched(0.0, 30.0, 30.0, ReferenceKind::Hatched);
    let [by_tone, settled] = begins(&tone, 2);
    assert!(farthest(&by_tone, 30.0) > 8.0, "by its tone it begins {} mm off", farthest(&by_tone, 30.0));
    assert!(farthest(&settled, 30.0) < 1.1, "up to {} mm off", farthest(&settled, 30.0));
}

/// Where the darkest value begins in the mid tones, dense strokes are as good as solid ink.
#[test]
fn mid_tones_need_not_be_solid() {
    // At a break itself nothing but gaps and solid ink has a say.
    for (level, gaps) in [(30.0, GAPS), (38.5, 0.5 * GAPS), (46.0, 0.0)] {
        let grey = Raster::new(2, 1, level as f32);
        let off = off_break(level, &grey, Some(&Raster::from_vec(2, 1, vec![false, true])), 1.0);
        assert!(
            (off.at(0, 0) - gaps).abs() < 1e-6 && off.at(1, 0) == -CERTAIN,
            "{:?} at {level} L*",
            off.data()
        );
    }
}

/// Continuous tones, and what is made of dots, keep the values of their tones.
#[test]
fn only_strokes_are_settled() {
    let mut tone = hatched(CROSSED_MM, SIDE_MM, BREAK_L, ReferenceKind::Tonal);
    let [by_tone, settled] = begins(&tone, 2);
    assert_eq!(by_tone, settled, "tones");
    tone = hatched(CROSSED_MM, SIDE_MM, BREAK_L, ReferenceKind::Hatched);
    (tone.evidence.ink_share, tone.evidence.directed_share) = (0.6, 0.1);
    let [by_tone, settled] = begins(&tone, 2);
    assert_eq!(by_tone, settled, "dots");
}

/// A border's length by cracks is that of a line along rows, and 1.5 / sqrt 2 = 1.06 times that of one along a diagonal.
#[test]
fn lines_of_all_directions_cost_their_length() {
    let price = |one: &dyn Fn(isize, isize) -> bool| -> f64 {
        let places = (0..60).flat_map(|y| (0..60).map(move |x| (x, y)));
        places
            .flat_map(|(x, y)| CRACKS.map(|(way, cracks)| (x, y, x + WAYS[way][0], y + WAYS[way][1], cracks)))
            .filter(|&(x, y, p, q, _)| (0..60).contains(&p) && (0..60).contains(&q) && one(x, y) != one(p, q))
            .map(|c| c.4)
            .sum()
    };
    // For each place in a row one pair across and two diagonal ones; along a diagonal two and two for sqrt 2 places.
    let straight = price(&|_, y| y < 30) / 60.0;
    let diagonal = price(&|x, y| x < y) / (60.0 * 2.0_f64.sqrt());
    assert!(
        (straight - 1.0).abs() < 0.03 && (diagonal - 1.5 / 2.0_f64.sqrt()).abs() < 0.03,
        "{straight}, {diagonal}"
    );
}

/// A value that the half grid has at a place or beside it stays; others are taken over.
#[test]
fn only_what_is_settled_otherwise_is_taken_over() {
    let settled = Raster::from_vec(4, 1, vec![1, 1, 3, 3]);
    let mut values = Raster::from_vec(8, 2, vec![1, 1, 1, 3, 1, 3, 1, 3, 2, 2, 2, 2, 2, 2, 2, 2]);
    take(&mut values, &settled);
    assert_eq!(values.row(0), [1, 1, 1, 3, 1, 3, 3, 3]);
    assert_eq!(values.row(1), [1, 1, 1, 1, 3, 3, 3, 3]);
}
