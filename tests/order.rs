//! `order` as a person meets it: a scene whose squares are known, files, refusals, study files.

use lopdf::Document;
use serde_json::Value;

use crate::outputs::schema;
use crate::program::{Desk, Outcome};

/// `order` on the small scene at a size that takes little time: 70 x 93.3 mm of picture, a disc and a band.
fn order(desk: &Desk, more: &[&str]) -> Outcome {
    let args = [&["order", "picture.png", "--paper", "90x120mm", "--margin", "10mm"][..], more].concat();
    desk.run(&args)
}

fn json(bytes: &[u8]) -> Value {
    serde_json::from_slice(bytes).unwrap_or_else(|e| panic!("{e}"))
}

fn names(order: &Value) -> Vec<&str> {
    let squares = order["squares"].as_array().expect("squares");
    squares.iter().map(|square| square["name"].as_str().expect("a name")).collect()
}

fn done(desk: &Desk, more: &[&str]) -> Value {
    let run = order(desk, &[more, &["--report", "r.json", "--overwrite"]].concat());
    assert_eq!(run.code, 0, "{more:?}: {}", run.err);
    schema::check("report", &String::from_utf8(desk.get("r.json")).expect("UTF-8"));
    json(&desk.get("r.json"))["order"].clone()
}

#[test]
fn squares_follow_each_other_as_asked() {
    let desk = Desk::with_picture();
    // The scene on 70 x 93.33 mm, squares of 25 mm: 3 columns and 4 rows. The disc reaches from 11.7 to 52.5 mm across and
    // 17.5 to 58.3 mm down, the band from 17.5 mm on across and from 52.8 to 75.8 mm down.
    let top = done(&desk, &["-o", "a.pdf"]);
    assert_eq!(names(&top), ["A1", "B1", "A2", "B2", "C2", "A3", "B3", "C3", "A4", "B4", "C4"]);
    assert_eq!(top["ever"], serde_json::json!({ "squares": 0, "times": 0 }), "from the top");
    assert_eq!(top["bare"], serde_json::json!(["C1"]), "neither disc nor band");
    let left = done(&desk, &["-o", "a.pdf", "--hand", "left"]);
    assert_eq!(names(&left)[..5], ["B1", "A1", "C2", "B2", "A2"], "the other way round");
    let outward = done(&desk, &["-o", "a.pdf", "--begin", "point", "--begin-at", "30mm,60%"]);
    assert_eq!((outward["from"].as_str(), names(&outward)[0]), (Some("B3"), "B3"));
    let by_zone = done(&desk, &["-o", "a.pdf", "--begin", "point", "--focus", "ellipse:30mm,60%,9mm,9mm"]);
    assert_eq!(names(&by_zone)[0], "B3", "the middle of the focus");
    assert!(by_zone["wet"]["squares"].as_u64() > Some(0), "outward the hand comes to lie on ink");
    let dry = done(&desk, &["-o", "a.pdf", "--begin", "point", "--begin-at", "30mm,60%", "--wet-for", "0"]);
    assert_eq!(dry["wet"]["times"], 0, "nothing is ever wet");
}

#[test]
fn a_square_says_what_it_holds() {
    let desk = Desk::with_picture();
    let of = done(
        &desk,
        &["-o", "a.pdf", "--breaks", "80,40", "--tone-range", "0,100", "--values", "3", "--pitch", "none"],
    );
    let square = |name: &str| {
        let squares = of["squares"].as_array().expect("squares");
        squares.iter().find(|square| square["name"] == name).unwrap_or_else(|| panic!("no {name}")).clone()
    };
    // The middle square lies within the disc but for its corners: by the circle's own area the disc of 20.42 mm around
    // 32.08, 37.92 mm leaves 1.3 % of it free at the corners far from its middle.
    let middle = square("B2");
    assert!(middle["black"].as_f64() > Some(0.97), "{middle}");
    let steps: Vec<&str> =
        middle["steps"].as_array().expect("steps").iter().filter_map(|s| s["step"].as_str()).collect();
    assert_eq!(steps, ["black"], "nothing to hatch");
    let band = square("C3");
    let steps: Vec<&str> =
        band["steps"].as_array().expect("steps").iter().filter_map(|s| s["step"].as_str()).collect();
    assert_eq!(steps[0], "hatch", "{band}");
    // 22.2 of 25 mm down, less where the disc reaches over its corner.
    let share = band["areas"][0]["share"].as_f64().expect("a share");
    assert!((share - 22.2 / 25.0).abs() < 0.03, "{band}");
}

#[test]
fn pages_are_files_where_a_form_has_one_page() {
    let desk = Desk::with_picture();
    let one = done(&desk, &["-o", "a.svg", "-o", "a.pdf", "-o", "a.png"]);
    assert_eq!(one["pages"], 1);
    assert!(desk.path("a.svg").exists() && !desk.path("a-1.svg").exists(), "one page, one file");
    let boxes: usize = one["squares"]
        .as_array()
        .expect("squares")
        .iter()
        .map(|s| s["steps"].as_array().map_or(0, Vec::len))
        .sum();
    let svg = String::from_utf8(desk.get("a.svg")).expect("UTF-8");
    let tree = roxmltree::Document::parse(&svg).expect("an SVG");
    let squared = |d: &&str| d.matches('L').count() == 4 && d.matches('M').count() == 1;
    let lines = tree.descendants().filter(|n| n.attribute("fill") == Some("none"));
    let drawn = lines.filter_map(|n| n.attribute("d")).filter(squared).count();
    assert_eq!(drawn, boxes + 1, "each step has its box, and the map its edge");
    // Small squares take several pages.
    let many = done(&desk, &["-o", "b.svg", "-o", "b.pdf", "-o", "b.png", "--squares", "5mm"]);
    let pages = many["pages"].as_u64().expect("a number");
    assert!(pages > 1, "{pages} pages");
    let pdf = Document::load_mem(&desk.get("b.pdf")).expect("a PDF");
    assert_eq!(pdf.get_pages().len() as u64, pages);
    for k in 1..=pages {
        assert!(
            desk.path(&format!("b-{k}.svg")).exists() && desk.path(&format!("b-{k}.png")).exists(),
            "page {k}"
        );
    }
    assert!(
        !desk.path("b.svg").exists() && !desk.path(&format!("b-{}.svg", pages + 1)).exists(),
        "no others"
    );
    let piped = order(&desk, &["-o", "-", "--format", "svg", "--squares", "5mm"]);
    assert!(piped.code == 2 && piped.err.contains("--format pdf"), "{}", piped.err);
    let whole = order(&desk, &["-o", "-", "--format", "pdf", "--squares", "5mm"]);
    assert!(whole.code == 0 && whole.out.starts_with(b"%PDF"), "{}", whole.err);
}

#[test]
fn the_same_bytes_with_any_number_of_threads() {
    let desk = Desk::with_picture();
    let bytes = |threads: &str| {
        let run = order(&desk, &["--threads", threads, "-o", "a.pdf", "--report", "a.json", "--overwrite"]);
        assert_eq!(run.code, 0, "{}", run.err);
        (desk.get("a.pdf"), desk.get("a.json"))
    };
    assert!(bytes("1") == bytes("3"));
}

#[test]
fn a_study_file_says_it_all() {
    let desk = Desk::with_picture();
    let groups = "[[group]]\nname = \"band\"\nzone = \"rect:0%,60%,100%,40%\"\nvalue = 2\n\
                  [[group]]\nname = \"disc\"\nzone = \"rect:0%,0%,100%,60%\"\nvalue = 3\n";
    let study = format!(
        "format = 1\n[reference]\nfile = \"picture.png\"\n[sheet]\npaper = \"90x120mm\"\nmargin = \"10mm\"\n\
         [order]\nbegin = \"groups\"\nhand = \"left\"\nwet-for = 2\n{groups}"
    );
    desk.put("study.toml", study.as_bytes());
    let run = desk.run(&["order", "study.toml", "--report", "r.json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(desk.path("study-order.pdf").exists(), "named by the study file");
    let of = json(&desk.get("r.json"))["order"].clone();
    assert_eq!((of["hand"].as_str(), of["wet_for"].as_u64()), (Some("left"), Some(2)));
    let order: Vec<(&str, &str)> = of["squares"]
        .as_array()
        .expect("squares")
        .iter()
        .map(|s| (s["group"].as_str().expect("a group"), s["name"].as_str().expect("a name")))
        .collect();
    // The band's zone begins at 56 mm, so it has three quarters of the third row.
    assert_eq!(order[..3], [("band", "C3"), ("band", "B3"), ("band", "A3")], "{order:?}");
    let first_of_disc = order.iter().position(|(group, _)| *group == "disc").expect("the disc too");
    assert!(
        order[first_of_disc..].iter().all(|(group, _)| *group == "disc"),
        "one after the other: {order:?}"
    );
    let over = desk.run(&[
        "order",
        "study.toml",
        "--begin",
        "top",
        "--hand",
        "right",
        "--report",
        "o.json",
        "--overwrite",
    ]);
    assert_eq!(over.code, 0, "{}", over.err);
    assert_eq!(json(&desk.get("o.json"))["order"]["begin"], "top", "options win");
}

#[test]
fn what_makes_no_sense_is_refused() {
    let desk = Desk::with_picture();
    desk.put("there-1.svg", b"kept");
    let before = desk.everything();
    for (options, part) in [
        (&["--squares", "none"][..], "squares"),
        (&["--begin", "groups"], "[[group]]"),
        (&["--begin", "point"], "begin-at"),
        (&["--begin", "point", "--begin-at", "140%,20%"], "outside the picture"),
        (&["--begin-at", "somewhere"], "across and down"),
        (&["--begin-at", "10,20"], "10"),
        (&["--begin", "middle"], "--begin"),
        (&["--hand", "both"], "--hand"),
        (&["--wet-for", "-1"], "whole number"),
        (&["--chain"], "--chain"),
        (&["--mirror"], "--mirror"),
        (&["--key", "page"], "--key"),
        (&["--lead-length", "8m"], "--lead-length"),
        (&["-o", "there.svg"], "there-1.svg exists already"),
        (&["-o", "picture.png", "--overwrite"], "reference itself"),
    ] {
        let refused = order(&desk, &[options, &["-o", "a.pdf"][..]].concat());
        assert_eq!(refused.code, 2, "{options:?}: {}", refused.err);
        assert!(refused.err.contains(part), "{options:?}: {:?} lacks {part:?}", refused.err);
        assert_eq!(refused.err.trim().lines().count(), 1, "{options:?}: one sentence, not {:?}", refused.err);
    }
    assert!(desk.everything() == before, "nothing was written");
    for command in ["draw", "plan"] {
        let refused = desk.run(&[command, "picture.png", "-o", "a.pdf", "--hand", "left"]);
        assert!(refused.code == 2 && refused.err.contains("merestone order"), "{command}: {}", refused.err);
    }
}

#[test]
fn a_picture_without_ink_says_so() {
    let desk = Desk::new();
    crate::program::flat(120, 160, 250).save(desk.path("picture.png")).expect("a picture can be saved");
    let run = order(&desk, &["-o", "a.pdf", "--report", "r.json"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let of = json(&desk.get("r.json"))["order"].clone();
    let bare = of["bare"].as_array().map_or(0, Vec::len);
    let inked = of["squares"].as_array().map_or(0, Vec::len);
    assert!(bare == 0 || inked == 0, "one tone is paper everywhere or nowhere");
    assert_eq!(inked == 0, run.err.contains("nothing to ink:"), "{}", run.err);
}
