//! Outlines read back as written, cover what they should, and weigh smoothly.

use super::*;
use proptest::prelude::*;

fn measure() -> impl Strategy<Value = Measure> {
    prop_oneof![
        (-50.0..150.0_f64).prop_map(Measure::Percent),
        (-50.0..300.0_f64).prop_map(Measure::Mm),
        (0..20_i32).prop_map(|n| Measure::Mm(f64::from(n))),
    ]
}

fn size() -> impl Strategy<Value = Measure> {
    prop_oneof![(0.01..150.0_f64).prop_map(Measure::Percent), (0.01..300.0_f64).prop_map(Measure::Mm)]
}

fn outline() -> impl Strategy<Value = Outline> {
    let pair = || [measure(), measure()];
    prop_oneof![
        (pair(), [size(), size()]).prop_map(|(corner, size)| Outline::Rect { corner, size }),
        (pair(), [size(), size()]).prop_map(|(middle, radii)| Outline::Ellipse { middle, radii }),
        proptest::collection::vec(pair(), 3..9).prop_map(|corners| Outline::Polygon { corners }),
    ]
}

/// Whether a point (mm) lies inside, by the formulas of each form and the ray of the even-odd rule.
fn inside(outline: &Outline, size_mm: [f64; 2], x: f64, y: f64) -> bool {
    let mm = |m: &[Measure; 2]| [m[0].mm(size_mm[0]), m[1].mm(size_mm[1])];
    match outline {
        Outline::Rect { corner, size } => {
            let ([l, t], [w, h]) = (mm(corner), mm(size));
            l <= x && x < l + w && t <= y && y < t + h
        }
        Outline::Ellipse { middle, radii } => {
            let ([cx, cy], [rx, ry]) = (mm(middle), mm(radii));
            ((x - cx) / rx).powi(2) + ((y - cy) / ry).powi(2) < 1.0
        }
        Outline::Polygon { corners } => {
            let corners: Vec<[f64; 2]> = corners.iter().map(mm).collect();
            let crossings = (0..corners.len()).filter(|&i| {
                let ([x0, y0], [x1, y1]) = (corners[i], corners[(i + 1) % corners.len()]);
                (y0 <= y) != (y1 <= y) && x < x0 + (y - y0) / (y1 - y0) * (x1 - x0)
            });
            crossings.count() % 2 == 1
        }
    }
}

proptest! {
    #[test]
    fn outlines_read_back_as_written(outline in outline()) {
        prop_assert_eq!(outline.to_string().parse::<Outline>(), Ok(outline));
    }

    /// The runs of each row against the plain test of every pixel; pixels on the very outline may go either way.
    #[test]
    fn rows_cover_what_lies_inside(outline in outline(), w in 1_usize..30, h in 1_usize..30, scale in 0.05..2.0_f64) {
        let size_mm = [w as f64 / scale, h as f64 / scale];
        for (y, row) in outline.rows(size_mm, [w, h]) {
            for x in 0..w {
                let (cx, cy) = ((x as f64 + 0.5) / scale, (y as f64 + 0.5) / scale);
                let eps = 1e-7;
                let near = [(eps, 0.0), (-eps, 0.0), (0.0, eps), (0.0, -eps)]
                    .map(|(dx, dy)| inside(&outline, size_mm, cx + dx, cy + dy));
                if near.iter().all(|&n| n == near[0]) {
                    prop_assert_eq!(row.iter().any(|r| r.contains(&x)), near[0], "pixel {} {} of {}", x, y, outline);
                }
            }
        }
    }

    /// In focus the weight is 1, at rest -1 (unless focus lies there too), and neighbours differ by little: from one
    /// end to the other over 4 mm by a smooth step is at most 2 x 1.5 / 4 mm, and half as much for each axis more.
    #[test]
    fn weights_are_whole_inside_and_smooth_outside(
        a in [0.0..30.0_f64, 0.0..20.0], b in [1.0..20.0_f64, 1.0..20.0], c in [0.0..30.0_f64, 0.0..20.0], d in [1.0..20.0_f64, 1.0..20.0],
    ) {
        let (w, h, px) = (80, 50, 2.0);
        let rect = |purpose, corner: [f64; 2], size: [f64; 2]| Zone {
            purpose,
            outline: Outline::Rect { corner: corner.map(Measure::Mm), size: size.map(Measure::Mm) },
        };
        let zones = Zones { outlined: vec![rect(Purpose::Focus, a, b), rect(Purpose::Rest, c, d)], mask: None };
        let got = zones.weights(w, h, px);
        let focus = zones.covered(Purpose::Focus, w, h, px);
        let rest = zones.covered(Purpose::Rest, w, h, px);
        for y in 0..h {
            for x in 0..w {
                let v = got.at(x, y);
                prop_assert!((-1.0..=1.0).contains(&v));
                if focus.at(x, y) {
                    prop_assert!(v >= 1.0, "{} in focus", v);
                } else if rest.at(x, y) && squared_distance_to(&focus).at(x, y) >= 64.0 {
                    prop_assert!(v <= -1.0, "{} at rest", v);
                }
                if x > 0 {
                    let step = (v - got.at(x - 1, y)).abs();
                    // Each blend turns by at most 1.5 / 4 a mm (a smooth step's steepest), over at most 2.
                    prop_assert!(step <= 2.0 * 2.0 * 1.5 / 4.0 / px as f32, "a step of {} from one pixel to the next", step);
                }
            }
        }
    }

    #[test]
    fn blends_go_from_end_to_end(elsewhere in 0.1..50.0_f64, focus in 0.1..50.0_f64, rest in 0.1..50.0_f64, t in 0.0..1.0_f32) {
        let at = |w| blended(elsewhere, focus, rest, w);
        prop_assert!(at(1.0).total_cmp(&focus).is_eq() && at(-1.0).total_cmp(&rest).is_eq());
        prop_assert!((at(0.0) / elsewhere - 1.0).abs() < 1e-12);
        let (low, high) = (elsewhere.min(focus), elsewhere.max(focus));
        prop_assert!((low * (1.0 - 1e-12)..=high * (1.0 + 1e-12)).contains(&at(t)));
        // Geometric: equal steps of weight are equal ratios.
        prop_assert!((at(t).ln() - (elsewhere.ln() + f64::from(t) * (focus / elsewhere).ln())).abs() < 1e-9);
    }
}

#[test]
fn nonsense_is_no_outline() {
    for (text, part) in [
        ("", "no zone"),
        ("circle:1mm,2mm,3mm", "no zone"),
        ("rect 1mm,2mm,3mm,4mm", "no zone"),
        ("rect:1mm,2mm,3mm", "four"),
        ("ellipse:1mm,2mm,3mm,4mm,5mm", "four"),
        ("polygon:1mm,2mm 3mm,4mm", "three corners"),
        ("polygon:1mm,2mm 3mm,4mm 5mm", "three corners"),
        ("rect:1,2,3,4", "\"1\""),
        ("rect:1mm,2%,nan%,4mm", "\"nan%\""),
        ("rect:1mm,2%,infmm,4mm", "\"infmm\""),
        ("rect:1mm,2mm,0%,4mm", "no size"),
        ("ellipse:1mm,2mm,3mm,-4mm", "no size"),
    ] {
        match text.parse::<Outline>() {
            Ok(outline) => panic!("{text:?} was taken for {outline}"),
            Err(error) => assert!(error.to_string().contains(part), "{text:?}: {error}"),
        }
    }
}

#[test]
fn greys_of_a_mask_weigh_as_painted() {
    let linear = |code: u8| crate::colour::srgb_to_linear(f64::from(code) / 255.0) as f32;
    let got = mask_weights(&Raster::from_vec(6, 1, [255, 0, 127, 128, 191, 64].map(linear).to_vec()));
    let want = [1.0, -1.0, 0.0, 0.0, 191.0 / 127.5 - 1.0, 64.0 / 127.5 - 1.0];
    for (got, want) in got.data().iter().zip(want) {
        assert!((f64::from(*got) - want).abs() < 1e-5, "{got} for {want}");
    }
}

#[test]
fn zones_that_do_not_fit_are_named() {
    let zones = |text: &str| Zones {
        outlined: vec![Zone { purpose: Purpose::Rest, outline: text.parse().expect("an outline") }],
        mask: None,
    };
    let check = |zones: &Zones| zones.check([100.0, 80.0], [500, 400], 6.0);
    for good in ["rect:0%,0%,100%,100%", "rect:-10mm,-10mm,20mm,20mm", "ellipse:100mm,80mm,5mm,5mm"] {
        assert_eq!(check(&zones(good)), Ok(()), "{good} lies on the picture, partly at least");
    }
    for bad in ["rect:100mm,0mm,20mm,20mm", "ellipse:-9mm,20%,8mm,8mm", "polygon:110%,0% 120%,0% 120%,50%"] {
        let error = check(&zones(bad)).expect_err("nothing of it lies on the picture").to_string();
        assert!(error.contains(bad) && error.contains("rest"), "{error}");
    }
    let masked = |w, h| Zones { outlined: vec![], mask: Some(Raster::new(w, h, 0.5)) };
    assert_eq!(check(&masked(50, 40)), Ok(()), "a smaller mask is stretched");
    assert_eq!(check(&masked(509, 400)), Ok(()), "1.8 % is within the slack");
    assert!(matches!(check(&masked(511, 400)), Err(ZoneError::MaskShape { .. })), "2.2 % is not");
}

#[test]
fn an_even_mask_and_a_zone_over_everything_are_even() {
    let all: Outline = "rect:0%,0%,100%,100%".parse().expect("an outline");
    for zones in [
        Zones { outlined: vec![], mask: Some(Raster::new(7, 5, 1.0)) },
        Zones { outlined: vec![Zone { purpose: Purpose::Focus, outline: all }], mask: None },
    ] {
        let weights = zones.weights(140, 100, 6.0);
        assert!(weights.data().iter().all(|&w| w >= 1.0), "focus everywhere, to the last bit");
        assert!(zones.has(Purpose::Focus) && !zones.has(Purpose::Rest), "focus and no rest");
    }
}
