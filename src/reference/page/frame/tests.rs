//! Pages with rules, captions and page numbers, and pictures that have none.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;

use super::*;

const W: usize = 700;
const H: usize = 900;

fn page() -> Raster<f32> {
    Raster::new(W, H, 1.0)
}

fn fill(page: &mut Raster<f32>, [left, top, right, bottom]: [usize; 4], light: f32) {
    for y in top..bottom {
        for x in left..right {
            page.set(x, y, light);
        }
    }
}

/// A picture in three tones with a light strip through it.
fn picture(page: &mut Raster<f32>, [left, top, right, bottom]: [usize; 4]) {
    fill(page, [left, top, right, bottom], 0.3);
    fill(page, [left + 60, top + 80, right - 150, bottom - 120], 0.05);
    fill(page, [left + 90, top + 10, left + 130, bottom - 30], 0.9);
}

/// A rule round a box, leaning by `lean` pixels across.
fn rule(page: &mut Raster<f32>, [left, top, right, bottom]: [usize; 4], wide: usize, lean: f64) {
    for y in 0..H {
        for x in 0..W {
            let across = lean * (x as f64 - 350.0) / 500.0;
            let down = -lean * (y as f64 - 450.0) / 500.0;
            let (u, v) = (x as f64 - down, y as f64 - across);
            let inside = |by: f64| {
                u >= left as f64 + by
                    && u < right as f64 - by
                    && v >= top as f64 + by
                    && v < bottom as f64 - by
            };
            if inside(0.0) && !inside(wide as f64) {
                page.set(x, y, 0.04);
            }
        }
    }
}

/// Letters as bars of even height.
fn line_of_text(page: &mut Raster<f32>, left: usize, top: usize, letters: usize) {
    for k in 0..letters {
        if k % 6 != 5 {
            fill(page, [left + 9 * k, top, left + 9 * k + 3, top + 12], 0.1);
            fill(page, [left + 9 * k, top + 9, left + 9 * k + 6, top + 12], 0.1);
        }
    }
}

proptest! {
    // Always the same cases, so that what passes here passes everywhere.
    #![proptest_config(ProptestConfig { cases: 24, rng_seed: RngSeed::Fixed(1), ..ProptestConfig::default() })]

    /// A rule of 2 to 5 pixels, level or leaning by up to half a degree: the picture is what lies inside it, all of it.
    #[test]
    fn a_rule_is_left_out(wide in 2_usize..6, gap in 0_usize..2, lean in -4.0..4.0_f64) {
        let mut whole = page();
        let gap = 12 * gap + wide + 8;
        picture(&mut whole, [100 + gap, 120 + gap, 600 - gap, 780 - gap]);
        rule(&mut whole, [100, 120, 600, 780], wide, lean);
        line_of_text(&mut whole, 250, 820, 20);
        let framed = leave_out(&mut whole, false).expect("a rule");
        prop_assert_eq!(framed.figures.rules, 1);
        let kept = framed.kept;
        let off = |a: usize, b: usize| (a as f64 - b as f64).abs();
        let most = lean.abs() + 4.0;
        prop_assert!(off(kept.left, 100 + wide) <= most && off(kept.top, 120 + wide) <= most, "{:?}", kept);
        prop_assert!(off(kept.left + kept.width, 600 - wide) <= most && off(kept.top + kept.height, 780 - wide) <= most, "{:?}", kept);
        // No ink of the rule is left: the outermost pixels are paper.
        for x in kept.left..kept.left + kept.width {
            prop_assert!(whole.at(x, kept.top) > 0.9 && whole.at(x, kept.top + kept.height - 1) > 0.9, "ink at {}", x);
        }
        for y in kept.top..kept.top + kept.height {
            prop_assert!(whole.at(kept.left, y) > 0.9 && whole.at(kept.left + kept.width - 1, y) > 0.9, "ink at {}", y);
        }
        // And all of the picture: its corner has the tone that it had.
        prop_assert!(whole.at(100 + gap + 3, 120 + gap + 3) < 0.35, "the picture's corner went");
    }
}

#[test]
fn two_rules_are_two() {
    let mut whole = page();
    picture(&mut whole, [140, 160, 560, 740]);
    rule(&mut whole, [100, 120, 600, 780], 5, 0.0);
    rule(&mut whole, [114, 134, 586, 766], 2, 0.0);
    let framed = leave_out(&mut whole, false).expect("rules");
    assert_eq!(framed.figures.rules, 2, "{framed:?}");
    assert!(framed.kept.left >= 116 && framed.kept.left <= 120, "{framed:?}");
}

#[test]
fn captions_and_numbers_go_and_the_picture_stays_whole() {
    let mut whole = page();
    picture(&mut whole, [100, 150, 600, 700]);
    line_of_text(&mut whole, 200, 740, 30);
    line_of_text(&mut whole, 620, 40, 3);
    let framed = leave_out(&mut whole.clone(), true).expect("captions");
    assert_eq!(framed.figures.captions.len(), 2, "{framed:?}");
    let (top, bottom) = (framed.kept.top, framed.kept.top + framed.kept.height);
    assert!(top > 52 && top <= 150 && (700..740).contains(&bottom), "{framed:?}");
    assert_eq!((framed.kept.left, framed.kept.width), (0, W), "nothing lies beside the picture");
    // On a reference that is no page, a line below may be the drawing's own.
    assert_eq!(leave_out(&mut whole, false), None, "no page, no captions");
}

#[test]
fn what_is_the_pictures_own_stays() {
    let mut plain = page();
    picture(&mut plain, [0, 0, W, H]);
    let mut margins = page();
    picture(&mut margins, [100, 120, 600, 780]);
    // A window with bars, and a drawn box that does not close.
    let mut window = page();
    rule(&mut window, [200, 200, 420, 500], 4, 0.0);
    let mut open = page();
    picture(&mut open, [140, 160, 560, 740]);
    rule(&mut open, [100, 120, 600, 780], 4, 0.0);
    fill(&mut open, [90, 770, 420, 790], 1.0);
    // A dark ground right up to a dark edge.
    let mut dark = page();
    fill(&mut dark, [100, 120, 600, 780], 0.05);
    fill(&mut dark, [130, 150, 570, 750], 0.2);
    // Two parts of one picture, one above the other.
    let mut two = page();
    picture(&mut two, [100, 100, 600, 480]);
    picture(&mut two, [150, 520, 550, 800]);
    for (name, mut whole) in [
        ("plain", plain),
        ("margins", margins),
        ("window", window),
        ("open", open),
        ("dark", dark),
        ("two", two),
        ("bare", page()),
    ] {
        let before = whole.clone();
        assert_eq!(leave_out(&mut whole, true), None, "{name}");
        assert!(whole == before, "{name} was changed");
    }
}
