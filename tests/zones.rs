//! Focus and rest: more lines here and fewer there, no seam between, and clear words for zones that make no sense.

use std::path::Path;

use image::GrayImage;
use kurbo::Point;

use crate::drawn::{Drawn, draw, grey, reflectance};
use crate::program::{Desk, flat};

const WIDTH: f64 = 90.0;
const SCALE: u32 = 8;
const PLAIN: [&str; 4] = ["--tone-range", "0,100", "--breaks", "80,60,40,20"];
/// Over the left half.
const LEFT: &str = "rect:0%,0%,50%,100%";
const RIGHT: &str = "rect:50%,0%,50%,100%";
const ALL: &str = "rect:0%,0%,100%,100%";

/// A picture 90 x 60 mm of tones (L*) by place in mm.
fn picture(lightness: impl Fn(f64, f64) -> f64) -> GrayImage {
    let at = |p: u32| (f64::from(p) + 0.5) / f64::from(SCALE);
    grey(90 * SCALE, 60 * SCALE, |x, y| reflectance(lightness(at(x), at(y))))
}

/// Dots 1.8 mm across (2.5 mm2) in rows 6 mm apart, dark on light.
fn dots() -> GrayImage {
    picture(|x, y| {
        let (dx, dy) = (x.rem_euclid(6.0) - 3.0, y.rem_euclid(6.0) - 3.0);
        if f64::hypot(dx, dy) < 0.9 { 10.0 } else { 90.0 }
    })
}

/// A fall of tone from left to right with a dark band across, and a thin dark strip (0.8 mm).
fn crossed() -> GrayImage {
    picture(|x, y| {
        if (20.0..30.0).contains(&y) {
            10.0
        } else if (44.0..44.8).contains(&y) {
            30.0
        } else if y > 50.0 {
            95.0 - x
        } else {
            88.0
        }
    })
}

fn with(folder: &Path, name: &str, picture: &GrayImage, more: &[&str]) -> Drawn {
    let mut all = PLAIN.to_vec();
    all.extend(more);
    draw(picture, folder, name, WIDTH, &all)
}

fn lines_where(drawn: &Drawn, wanted: impl Fn(Point) -> bool) -> usize {
    drawn.lines.iter().filter(|l| l.samples.iter().all(|&p| wanted(p))).count()
}

#[test]
fn small_things_are_kept_in_focus_and_left_out_elsewhere() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let drawn = with(folder.path(), "dots", &dots(), &["--focus", LEFT, "--plainness", "0"]);
    let left = lines_where(&drawn, |p| p.x < 45.0);
    let beyond = lines_where(&drawn, |p| p.x > 50.0);
    // 7 whole columns and half of an eighth, by 10 rows; those on the way out blend.
    assert!(left >= 70, "only {left} dots are kept in focus");
    assert_eq!(beyond, 0, "dots under the least area are drawn beyond the blend");
}

#[test]
fn a_painted_mask_does_what_outlines_do() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let mask = folder.path().join("mask.png");
    // Of another size: 90 x 60, white on the left and mid grey on the right.
    GrayImage::from_fn(90, 60, |x, _| image::Luma([if x < 45 { 255 } else { 128 }]))
        .save(&mask)
        .expect("a mask can be saved");
    let mask = mask.to_str().expect("a plain path");
    let drawn = with(folder.path(), "masked", &dots(), &["--zones", mask, "--plainness", "0"]);
    let (left, right) = (lines_where(&drawn, |p| p.x < 42.0), lines_where(&drawn, |p| p.x > 50.0));
    assert!(left >= 60 && right == 0, "{left} dots in focus, {right} elsewhere");
}

#[test]
fn no_line_follows_the_outline_of_a_zone() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    for (name, zones) in [
        ("focus", &["--focus", LEFT][..]),
        ("rest", &["--rest", LEFT]),
        ("both", &["--focus", LEFT, "--rest", RIGHT]),
    ] {
        for plainness in ["0", "55"] {
            let mut more = zones.to_vec();
            more.extend(["--plainness", plainness]);
            let drawn = with(folder.path(), name, &crossed(), &more);
            // The band's two borders are there on both sides; everything there is runs level at x = 45, but for
            // the fall of tone below, whose borders (L* 80, 60, 40, 20) stand at x = 15, 35, 55, 75.
            let near = |p: &Point| (p.x - 45.0).abs() < 6.0 && p.y < 49.0;
            for line in &drawn.lines {
                for pair in line.samples.windows(2).filter(|pair| near(&pair[0]) && near(&pair[1])) {
                    let step = pair[1] - pair[0];
                    assert!(
                        step.x.abs() >= step.y.abs(),
                        "{name} at {plainness}: a line stands upright at {:?}, where only the zone's outline does",
                        pair[0]
                    );
                }
            }
            for border in [20.0, 30.0] {
                let found = drawn.samples().iter().filter(|p| near(p) && (p.y - border).abs() < 0.3).count();
                assert!(found > 100, "{name} at {plainness}: the border at {border} mm is not drawn through");
            }
        }
    }
}

#[test]
fn a_zone_over_everything_is_its_limits() {
    let desk = Desk::new();
    dots().save(desk.path("picture.png")).expect("a picture can be saved");
    for (zone, narrowest, area, shift) in
        [("--focus", "0.5mm", "1.5mm2", -1.0), ("--rest", "2mm", "25mm2", 1.0)]
    {
        for plainness in [0.0, 55.0] {
            // In focus all heights are doubled, at rest halved. The map from plainness to height is logarithmic, from
            // 10 to 20,000: twice the height is 100 ln 2 / ln 2000 further.
            let same = if plainness > 0.0 {
                plainness + shift * 100.0 * 2.0_f64.ln() / 2000.0_f64.ln()
            } else {
                0.0
            };
            let (zoned, direct) = (plainness.to_string(), same.to_string());
            let base = ["--quiet", "--overwrite"];
            let mut first = vec!["-o", "a.svg", zone, ALL, "--plainness", &zoned];
            let mut second =
                vec!["-o", "b.svg", "--narrowest", narrowest, "--least-area", area, "--plainness", &direct];
            first.extend(base);
            second.extend(base);
            for args in [first, second] {
                let drawn = desk.draw(&args);
                assert_eq!(drawn.code, 0, "{}", drawn.err);
            }
            assert!(
                desk.get("a.svg") == desk.get("b.svg"),
                "{zone} {ALL} is not {narrowest}, {area} at {plainness}"
            );
        }
    }
}

#[test]
fn the_report_tells_the_limits_of_each_zone() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let zones = ["--focus", LEFT, "--rest", RIGHT, "--narrowest", "1.2mm", "--rest-least-area", "50mm2"];
    let drawn = with(folder.path(), "limits", &crossed(), &zones);
    for part in ["asked", "used"] {
        for (name, want) in [
            ("narrowest_mm", 1.2),
            ("least_area_mm2", 6.0),
            ("focus_narrowest_mm", 0.6),
            ("focus_least_area_mm2", 1.5),
            ("rest_narrowest_mm", 2.4),
            ("rest_least_area_mm2", 50.0),
        ] {
            let got = drawn.report["limits"][part][name].as_f64().unwrap_or(f64::NAN);
            assert!((got - want).abs() < 1e-9, "{part} {name}: {got} for {want}");
        }
    }
    let plain = with(folder.path(), "none", &crossed(), &[]);
    assert!(plain.report["limits"]["used"]["focus_narrowest_mm"].is_null(), "no zones, no limits of zones");
}

#[test]
fn zones_that_make_no_sense_are_refused_in_a_sentence() {
    let desk = Desk::with_picture();
    flat(100, 100, 255).save(desk.path("square.png")).expect("a mask can be saved");
    flat(90, 120, 255).save(desk.path("white.png")).expect("a mask can be saved");
    desk.put("text.png", b"no picture");
    let before = desk.everything();
    for (args, code, part) in [
        (&["--focus", "circle:1mm,2mm,3mm"][..], 2, "circle:1mm,2mm,3mm"),
        (&["--rest", "rect:1,2,3,4"], 2, "40mm"),
        (&["--focus", "rect:600mm,10mm,20mm,20mm"], 2, "rect:600mm,10mm,20mm,20mm"),
        (&["--focus-narrowest", "0.4mm"], 2, "no focus zone"),
        (&["--rest-least-area", "40mm2", "--focus", ALL], 2, "no rest zone"),
        (&["--focus", ALL, "--focus-narrowest", "3mm"], 2, "no larger"),
        (&["--rest", ALL, "--rest-narrowest", "0.5mm"], 2, "no smaller"),
        (&["--focus", ALL, "--focus-narrowest", "0mm"], 2, "narrowest"),
        (&["--zones", "square.png"], 2, "100 x 100"),
        (&["--zones", "missing.png"], 1, "missing.png"),
        (&["--zones", "text.png"], 1, "text.png"),
        (&["--zones", "white.png", "--value-map", "white.png", "--overwrite"], 2, "mask"),
    ] {
        let mut all = vec!["-o", "a.svg"];
        all.extend(args);
        let refused = desk.draw(&all);
        assert_eq!(refused.code, code, "{args:?}: {}", refused.err);
        assert!(refused.err.contains(part), "{args:?}: {:?} lacks {part:?}", refused.err);
        assert_eq!(refused.err.trim_end().lines().count(), 1, "{args:?}: one line: {}", refused.err);
        assert!(desk.everything() == before, "{args:?}: the folder changed");
    }
}
