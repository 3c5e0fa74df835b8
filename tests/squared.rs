//! `squared` as a person meets it: the picture's own pixels in the file, enlargements, refusals, study files.

use lopdf::{Document, Object};
use serde_json::Value;

use crate::outputs::schema;
use crate::program::{Desk, Outcome};

fn squared(desk: &Desk, more: &[&str]) -> Outcome {
    let args = [&["squared", "picture.png", "--paper", "90x120mm", "--margin", "10mm"][..], more].concat();
    desk.run(&args)
}

fn done(desk: &Desk, more: &[&str]) -> Value {
    let run = squared(desk, &[more, &["-o", "a.pdf", "--report", "r.json", "--overwrite"]].concat());
    assert_eq!(run.code, 0, "{more:?}: {}", run.err);
    let text = String::from_utf8(desk.get("r.json")).expect("UTF-8");
    schema::check("report", &text);
    serde_json::from_str(&text).expect("JSON")
}

/// Every grey picture of a PDF: width, height and samples.
fn pictures(bytes: &[u8]) -> Vec<(i64, i64, Vec<u8>)> {
    let pdf = Document::load_mem(bytes).expect("a PDF");
    let of = |object: &Object| {
        let stream = object.as_stream().ok()?;
        let is_image =
            stream.dict.get(b"Subtype").and_then(Object::as_name).is_ok_and(|name| name == b"Image");
        let side = |key: &[u8]| stream.dict.get(key).and_then(Object::as_i64).expect("a side");
        is_image.then(|| (side(b"Width"), side(b"Height"), stream.decompressed_content().expect("samples")))
    };
    pdf.objects.values().filter_map(of).collect()
}

#[test]
fn the_picture_is_in_the_file_pixel_by_pixel() {
    let desk = Desk::with_picture();
    let report = done(&desk, &["--enlarged", "0"]);
    assert_eq!(report["squared"]["picture_px"], serde_json::json!([240, 320]));
    let found = pictures(&desk.get("a.pdf"));
    assert_eq!(found.len(), 1, "no enlargements");
    let (width, height, samples) = &found[0];
    let scene = crate::program::scene();
    assert_eq!((*width, *height), (240, 320));
    assert!(samples == scene.as_raw(), "grey sRGB comes out as it went in");
    assert_eq!(report["squared"]["pages"], 0);
}

#[test]
fn the_busiest_squares_follow() {
    let desk = Desk::with_picture();
    let report = done(&desk, &["--enlarged", "3"]);
    let of = &report["squared"];
    let lengths: Vec<f64> =
        of["squares"].as_array().expect("squares").iter().filter_map(|s| s["line_mm"].as_f64()).collect();
    assert_eq!(lengths.len(), 12, "3 columns and 4 rows");
    assert!(lengths.windows(2).all(|pair| pair[0] >= pair[1]), "{lengths:?}");
    let total = report["transitions"]["length_mm"].as_f64().expect("a length")
        + report["thin"]["length_mm"].as_f64().expect("a length");
    assert!(
        (lengths.iter().sum::<f64>() - total).abs() < 0.1,
        "{} of {total} mm",
        lengths.iter().sum::<f64>()
    );
    let enlarged = of["enlarged"].as_array().expect("enlarged");
    let names = |list: &[Value]| {
        list.iter().map(|s| s["name"].as_str().unwrap_or_default().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(names(enlarged), names(&of["squares"].as_array().expect("squares")[..3]));
    // 25 mm twice as large; A4, because the sheet is too small for the pages.
    let sides = enlarged[0]["rect_mm"].as_array().expect("a rectangle");
    assert!(enlarged[0]["scale"] == 2.0 && sides[2] == 50.0, "{enlarged:?}");
    assert_eq!(pictures(&desk.get("a.pdf")).len(), 4, "the picture and three pieces");
    assert_eq!(Document::load_mem(&desk.get("a.pdf")).expect("a PDF").get_pages().len(), 2);
    let larger = done(&desk, &["--enlarge-by", "10", "--enlarged", "2"]);
    let scale = larger["squared"]["enlarged"][0]["scale"].as_f64().expect("a scale");
    assert!(scale > 3.0 && scale < 10.0, "as large as a page holds: {scale}");
}

#[test]
fn the_crop_and_the_squares_are_those_of_the_drawing() {
    let desk = Desk::with_picture();
    let options = ["--crop", "rect:40px,60px,180px,200px", "--squares", "20mm"];
    let report = done(&desk, &options);
    assert_eq!(report["squared"]["picture_px"], serde_json::json!([180, 200]), "what is cropped");
    let draw = [
        &[
            "draw",
            "picture.png",
            "--paper",
            "90x120mm",
            "--margin",
            "10mm",
            "-o",
            "d.pdf",
            "--report",
            "d.json",
        ][..],
        &options,
    ]
    .concat();
    assert_eq!(desk.run(&draw).code, 0, "the drawing");
    let drawn: Value = serde_json::from_slice(&desk.get("d.json")).expect("JSON");
    for key in ["picture_mm", "sheet_mm", "areas", "transitions"] {
        assert_eq!(report[key], drawn[key], "{key}");
    }
    assert_eq!(report["print"]["squares"], drawn["print"]["squares"]);
}

#[test]
fn what_makes_no_sense_is_refused() {
    let desk = Desk::with_picture();
    let before = desk.everything();
    for (options, part) in [
        (&["-o", "a.svg"][..], ".pdf"),
        (&["-o", "a.png"], ".pdf"),
        (&["-o", "a.pdf", "--squares", "none"], "squares"),
        (&["-o", "a.pdf", "--enlarged", "-2"], "whole number"),
        (&["-o", "a.pdf", "--enlarge-by", "0.5"], "1 to 20"),
        (&["-o", "a.pdf", "--mirror"], "--mirror"),
        (&["-o", "a.pdf", "--underlay", "20%"], "--underlay"),
        (&["-o", "a.pdf", "--hand", "left"], "--hand"),
    ] {
        let refused = squared(&desk, options);
        assert_eq!(refused.code, 2, "{options:?}: {}", refused.err);
        assert!(refused.err.contains(part), "{options:?}: {:?} lacks {part:?}", refused.err);
    }
    assert!(desk.everything() == before, "nothing was written");
    let refused = desk.run(&["draw", "picture.png", "--enlarged", "3"]);
    assert!(refused.code == 2 && refused.err.contains("merestone squared"), "{}", refused.err);
}

#[test]
fn a_study_file_tiles_and_any_number_of_threads() {
    let desk = Desk::with_picture();
    desk.put(
        "study.toml",
        b"format = 1\n[reference]\nfile = \"picture.png\"\n[sheet]\npaper = \"a3\"\n[print]\nprint-on = \"a4\"\nmirror = true\n\
          [squared]\nenlarged = 2\nenlarge-by = 3\n",
    );
    let run = desk.run(&["squared", "study.toml", "--report", "r.json", "--threads", "1"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let first = desk.get("study-squared.pdf");
    let report: Value = serde_json::from_slice(&desk.get("r.json")).expect("JSON");
    assert_eq!(report["squared"]["enlarged"].as_array().map(Vec::len), Some(2));
    assert_eq!(report["print"]["mirrored"], false, "it is looked at, not traced");
    let tiles = report["print"]["pages"].as_array().expect("pages").len();
    let pages = Document::load_mem(&first).expect("a PDF").get_pages().len();
    assert!(tiles >= 3, "{tiles} pages of the sheet");
    assert_eq!(pages, tiles + 1, "and one of enlargements");
    let again = desk.run(&["squared", "study.toml", "--threads", "3", "--overwrite"]);
    assert_eq!(again.code, 0, "{}", again.err);
    assert!(desk.get("study-squared.pdf") == first, "the same bytes");
}
