//! `structure` as a person meets it: the study's groups and pairs, places, files, refusals.

use lopdf::Document;
use serde_json::Value;

use crate::outputs::schema;
use crate::program::{Desk, Outcome};

/// The disc, the bar and the ground of the small scene: 60 x 80 mm on the sheet.
const SHEET: [&str; 4] = ["--paper", "70x90mm", "--margin", "5mm"];
const TONES: &str =
    "[tones]\nbreaks = [80, 60, 40, 20]\ntone-range = [0, 100]\npitch = \"none\"\nkind = \"tonal\"\n";

fn desk(more: &str) -> Desk {
    let desk = Desk::with_picture();
    let text = format!("format = 1\n[reference]\nfile = \"picture.png\"\n{TONES}{more}");
    desk.put("study.toml", text.as_bytes());
    desk
}

fn structure(desk: &Desk, more: &[&str]) -> Outcome {
    let files = ["-o", "s.pdf", "-o", "s.svg", "--report", "s.json", "--overwrite"];
    desk.run(&[&["structure", "study.toml"][..], &SHEET, &files, more].concat())
}

fn report(desk: &Desk, more: &[&str]) -> Value {
    let done = structure(desk, more);
    assert_eq!(done.code, 0, "{}", done.err);
    let text = String::from_utf8(desk.get("s.json")).expect("UTF-8");
    schema::check("report", &text);
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{e}"))
}

fn near(value: &Value, wanted: f64, within: f64) {
    let got = value.as_f64().unwrap_or(f64::NAN);
    assert!((got - wanted).abs() <= within, "{got} for {wanted}");
}

#[test]
fn found_groups_are_said_to_be_found() {
    let desk = desk("");
    let report = report(&desk, &[]);
    let found = &report["structure"];
    assert_eq!(found["found"], true, "no group is named");
    // The disc has a radius of 17.5 mm; the bar is 45 x 20 mm less the part of the disc that lies on it.
    near(&found["groups"][1]["share"], std::f64::consts::PI * 17.5 * 17.5 / 4800.0, 0.002);
    let svg = String::from_utf8(desk.get("s.svg")).expect("UTF-8");
    let tree = roxmltree::Document::parse(&svg).expect("an SVG");
    let said: Vec<&str> = tree.descendants().filter_map(|n| n.attribute("data-text")).collect();
    for wanted in ["Found groups", "I", "II", "III", "Strongest contrast", "Keep alike", "In two values"] {
        assert!(said.contains(&wanted), "the page does not say {wanted:?}: {said:?}");
    }
    let pdf = Document::load_mem(&desk.get("s.pdf")).expect("a PDF");
    assert_eq!(pdf.get_pages().len(), 1, "one page of A4, because the sheet is too small for it");
}

#[test]
fn small_pictures_show_what_the_artist_has_decided() {
    let plain = desk("");
    // The ground is made black: 93 L* in the picture, at most 20 now, as the disc nearly is; the bar, between, is left.
    let decided = desk("[[edit]]\nat = [\"2mm\", \"2mm\"]\nvalue = 5\n");
    let dark = |desk: &Desk| {
        let thumbnail = &report(desk, &[])["structure"]["thumbnails"][0];
        assert_eq!(thumbnail["values"], 2);
        thumbnail["shares"][1].as_f64().unwrap_or(f64::NAN)
    };
    let disc = std::f64::consts::PI * 17.5 * 17.5 / 4800.0;
    let (before, after) = (dark(&plain), dark(&decided));
    assert!(before < 0.5 && before > disc - 0.01, "disc, and the bar or not: {before}");
    // The bar is 45 x 20 mm less what the disc covers of it.
    assert!(after > 1.0 - 900.0 / 4800.0 - 0.01 && after < 1.0 - 600.0 / 4800.0, "{after}");
}

#[test]
fn named_groups_and_pairs_come_from_the_study() {
    let more = "[[group]]\nname = \"ball\"\nzone = \"rect:18mm,24mm,20mm,16mm\"\nvalue = 5\n\
                [[group]]\nname = \"air\"\nzone = \"rect:0mm,0mm,60mm,10mm\"\nvalue = [1, 2]\n\
                [[keep-alike]]\ngroups = [\"ball\", \"air\"]\n";
    let desk = desk(more);
    let report = report(&desk, &["--squares", "20mm"]);
    let got = &report["structure"];
    assert_eq!(got["found"], false, "two are named");
    let [ball, air] = [&got["groups"][0], &got["groups"][1]];
    assert_eq!((&ball["name"], &air["name"]), (&"ball".into(), &"air".into()), "in the study's order");
    // Code 40 of sRGB is L* 16.1, 235 is 93.2 (CIE 15, IEC 61966-2-1); value 5 from 20 down, 1 from 80 up.
    near(&ball["lightness"], 16.1, 0.2);
    near(&air["lightness"], 93.2, 0.2);
    assert_eq!((ball["value"].as_u64(), air["value"].as_u64()), (Some(5), Some(1)));
    near(&ball["share"], 320.0 / 4800.0, 0.001);
    // The middle of the ball's zone is (28, 32) mm: second column, second row.
    assert_eq!(ball["square"], "B2");
    assert_eq!(got["keep_alike"]["pairs"][0]["squares"], serde_json::json!(["B2", "A1"]));
    assert_eq!(got["keep_alike"]["pairs"][0]["told_apart"], true);
    // The disc against the ground is the strongest step there is: from 93 to 16.
    near(&got["contrast"]["step"], 93.2 - 16.1, 0.4);
    assert_eq!(got["contrast"]["values"], serde_json::json!([1, 5]));
    assert_eq!(got["contrast"]["window_mm"], 20.0);
}

#[test]
fn options_win_over_the_study_file() {
    let desk = desk("[structure]\nmost-groups = 1\ncontrast-window = \"12mm\"\n");
    let of_file = report(&desk, &[]);
    assert_eq!(of_file["structure"]["groups"].as_array().map(Vec::len), Some(1), "as the file says");
    assert_eq!(of_file["structure"]["contrast"]["window_mm"], 12.0);
    let of_options = report(&desk, &["--most-groups", "7", "--contrast-window", "1in"]);
    assert_eq!(of_options["structure"]["groups"].as_array().map(Vec::len), Some(3), "as the option says");
    assert_eq!(of_options["structure"]["contrast"]["window_mm"], 25.4);
    // The drawing of the same study has no structure, and passes its settings over.
    let draw =
        desk.run(&[&["draw", "study.toml"][..], &SHEET, &["-o", "d.svg", "--report", "d.json"]].concat());
    assert_eq!(draw.code, 0, "{}", draw.err);
    let drawn: Value = serde_json::from_slice(&desk.get("d.json")).expect("JSON");
    assert!(drawn.get("structure").is_none(), "a drawing has none");
    assert_eq!(drawn["areas"], of_options["areas"], "of the same areas");
}

#[test]
fn the_same_bytes_on_any_number_of_threads() {
    let desk = desk("");
    let made = ["1", "2", "5"].map(|threads| {
        assert_eq!(structure(&desk, &["--threads", threads]).code, 0);
        (desk.get("s.pdf"), desk.get("s.svg"), desk.get("s.json"))
    });
    assert!(made.windows(2).all(|pair| pair[0] == pair[1]), "threads change nothing");
}

#[test]
fn what_makes_no_sense_is_refused() {
    let desk = desk("");
    for (options, part) in [
        (&["--most-groups", "0"][..], "1 to 12"),
        (&["--least-group", "60%"], "50%"),
        (&["--least-alike", "3"], "share"),
        (&["--contrast-window", "1mm"], "5mm"),
        (&["--contrast-window", "20"], "unit"),
        (&["--mirror"], "--mirror is about a sheet that is drawn from"),
        (&["--halves"], "merestone plan"),
        (&["--polylines", "0.05mm"], "--polylines is about"),
    ] {
        let done = structure(&desk, options);
        assert_eq!(done.code, 2, "{options:?}: {}", done.err);
        assert!(done.err.contains(part), "{options:?} gave {:?}, which lacks {part:?}", done.err);
        assert!(!desk.path("s.pdf").exists(), "{options:?}: nothing is written");
    }
    let done = desk.run(&["draw", "picture.png", "--least-group", "5%"]);
    assert!(done.code == 2 && done.err.contains("merestone structure"), "{}", done.err);
}
