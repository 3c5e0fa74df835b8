//! Pages drawn by a map of known corners, and pictures without a page.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;

use super::*;
use crate::reference::page::homography::Homography;

/// A picture of 640 x 480 in which `inside` says how far a place is inside the page (in pixels): light on dark, or dark on
/// light, with the grain of a table.
fn pictured(inside: impl Fn([f64; 2]) -> f64, [page, table]: [f32; 2]) -> Raster<f32> {
    let (w, h) = (640, 480);
    let light = |i: usize| {
        let (x, y) = (i % w, i / w);
        // A pixel's coverage by a straight edge that is not steep to it, to a hundredth.
        let share = (inside([x as f64 + 0.5, y as f64 + 0.5]) + 0.5).clamp(0.0, 1.0) as f32;
        let grain = ((x * 7919 + y * 104_729) % 97) as f32 / 97.0 - 0.5;
        share * page + (1.0 - share) * table * (1.0 + 0.3 * grain)
    };
    Raster::from_vec(w, h, (0..w * h).map(light).collect())
}

/// How far a place is inside a quad.
fn within(quad: &Quad, at: [f64; 2]) -> f64 {
    let side = |k: usize| {
        let (a, b) = (quad[k], quad[(k + 1) % 4]);
        turn(a, b, at) / (b[0] - a[0]).hypot(b[1] - a[1])
    };
    (0..4).map(side).fold(f64::INFINITY, f64::min)
}

proptest! {
    // Always the same cases, so that what passes here passes everywhere.
    #![proptest_config(ProptestConfig { cases: 24, rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]

    /// Tilted and turned, light on a dark table or dark on a light wall: corners to half a pixel.
    #[test]
    fn pages_are_found(moved in proptest::array::uniform8(-50.0..50.0_f64), darker in any::<bool>()) {
        let mut quad = [[120.0, 90.0], [520.0, 90.0], [520.0, 390.0], [120.0, 390.0]];
        for k in 0..8 {
            quad[k / 2][k % 2] += moved[k];
        }
        let lights = if darker { [0.2, 0.8] } else { [0.7, 0.15] };
        let found = find_page(&pictured(|at| within(&quad, at), lights)).expect("a page");
        prop_assert!(found.confidence > 0.9, "confidence {}", found.confidence);
        prop_assert!(found.bend < 0.002, "bend {}", found.bend);
        for (got, want) in found.quad.iter().zip(&quad) {
            let off = (got[0] - want[0]).hypot(got[1] - want[1]);
            prop_assert!(off < 0.5, "{} px off: {:?} for {:?}", off, got, want);
        }
    }
}

#[test]
fn the_page_is_taken_and_not_the_picture_on_it() {
    let page = [[60.0, 40.0], [590.0, 55.0], [570.0, 450.0], [80.0, 440.0]];
    let map = Homography::from_rectangle(1.0, 1.0, &page).expect("a map");
    let picture = [[0.15, 0.15], [0.85, 0.15], [0.85, 0.85], [0.15, 0.85]].map(|p| map.apply(p));
    let mut drawn = pictured(|at| within(&page, at), [0.8, 0.1]);
    let dark = pictured(|at| within(&picture, at), [0.1, 1.0]);
    for (v, &d) in drawn.data_mut().iter_mut().zip(dark.data()) {
        *v *= d.min(1.0);
    }
    let found = find_page(&drawn).expect("a page");
    for (got, want) in found.quad.iter().zip(&page) {
        let off = (got[0] - want[0]).hypot(got[1] - want[1]);
        assert!(off < 0.6, "{off} px off: {got:?} for {want:?}");
    }
}

#[test]
fn a_page_that_rises_to_its_gutter_is_found_and_said_to_be_curved() {
    // The upper and lower side sag by 5 pixels of 480, a hundredth.
    let sag = |x: f64| 5.0 * (1.0 - ((x - 320.0) / 240.0).powi(2));
    let inside = |[x, y]: [f64; 2]| (x - 80.0).min(560.0 - x).min(y - 70.0 - sag(x)).min(410.0 + sag(x) - y);
    let found = find_page(&pictured(inside, [0.8, 0.1])).expect("a page");
    assert!(found.confidence >= LEAST_CONFIDENCE, "confidence {}", found.confidence);
    assert!((found.bend - 5.0 / 480.0).abs() < 0.002, "bend {}", found.bend);
}

#[test]
fn where_there_is_no_page_none_is_believed() {
    let disc = |[x, y]: [f64; 2]| 170.0 - (x - 320.0).hypot(y - 240.0);
    let stripes = |[x, y]: [f64; 2]| 4.0 * ((0.6 * x + 0.35 * y) / 4.0).sin();
    let strip = |[_, y]: [f64; 2]| 60.0 - (y - 240.0).abs();
    for (name, picture) in [
        ("a disc", pictured(disc, [0.8, 0.1])),
        ("hatching", pictured(stripes, [0.9, 0.1])),
        ("a strip from edge to edge", pictured(strip, [0.8, 0.1])),
        ("one tone", Raster::new(640, 480, 0.5)),
        ("next to nothing", Raster::new(3, 2, 0.5)),
    ] {
        let found = find_page(&picture);
        let believed = found.as_ref().filter(|f| f.confidence >= LEAST_CONFIDENCE);
        assert!(believed.is_none(), "{name}: {found:?}");
    }
}
