//! `plan` as a person meets it: files, refusals, and that it is the plan of the very drawing.

use lopdf::Document;
use serde_json::Value;

use crate::outputs::schema;
use crate::program::{Desk, Outcome};

/// `plan` on the small scene at a size that takes little time.
fn plan(desk: &Desk, more: &[&str]) -> Outcome {
    let mut args = vec!["plan", "picture.png", "--paper", "90x110mm", "--margin", "10mm"];
    args.extend(more);
    desk.run(&args)
}

fn json(bytes: &[u8]) -> Value {
    serde_json::from_slice(bytes).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn without_names_the_plan_and_its_key_lie_beside_the_picture() {
    let desk = Desk::with_picture();
    let done = plan(&desk, &[]);
    assert_eq!(done.code, 0, "{}", done.err);
    let names: Vec<String> = desk
        .everything()
        .keys()
        .filter_map(|p| Some(p.file_name()?.to_string_lossy().into_owned()))
        .collect();
    let wanted = ["picture-plan-key.svg", "picture-plan.pdf", "picture-plan.svg", "picture.png"];
    assert_eq!(names, wanted, "the plan in two forms, and the key that an SVG has no page for");
    let pdf = Document::load_mem(&desk.get("picture-plan.pdf")).expect("a PDF");
    let sizes: Vec<Vec<f64>> = pdf
        .get_pages()
        .values()
        .map(|&id| {
            let page = pdf.get_dictionary(id).expect("a page");
            let media = page.get(b"MediaBox").and_then(lopdf::Object::as_array).expect("its size");
            media.iter().map(|n| f64::from(n.as_float().expect("a number")) / 72.0 * 25.4).collect()
        })
        .collect();
    assert_eq!(sizes.len(), 2, "the sheet and its key");
    // The sheet is too small for a key page, which then is A4 (ISO 216).
    for (size, [width, height]) in sizes.iter().zip([[90.0, 110.0], [210.0, 297.0]]) {
        assert!((size[2] - width).abs() < 0.01 && (size[3] - height).abs() < 0.01, "{size:?}");
    }
}

#[test]
fn it_is_the_plan_of_the_drawing_with_the_same_options() {
    let desk = Desk::with_picture();
    let options = ["--values", "3", "--plainness", "20", "--rest", "rect:0%,0%,50%,50%"];
    let mut with = options.to_vec();
    with.extend(["-o", "plan.svg", "--net", "plan-net.json", "--report", "plan.json"]);
    assert_eq!(plan(&desk, &with).code, 0, "the plan");
    let mut args = vec!["draw", "picture.png", "--paper", "90x110mm", "--margin", "10mm"];
    args.extend(options);
    args.extend(["-o", "draw.svg", "--net", "draw-net.json", "--report", "draw.json"]);
    assert_eq!(desk.run(&args).code, 0, "the drawing");
    assert_eq!(desk.get("plan-net.json"), desk.get("draw-net.json"), "one net");
    let (of_plan, of_draw) = (json(&desk.get("plan.json")), json(&desk.get("draw.json")));
    assert_eq!(of_plan["picture_mm"], of_draw["picture_mm"], "one place on the sheet");
    assert!(of_draw.get("plan").is_none(), "a drawing has no numbers");
}

#[test]
fn numbers_in_the_file_are_those_of_the_report() {
    let desk = Desk::with_picture();
    let done = plan(&desk, &["-o", "plan.svg", "--report", "plan.json", "--net", "net.json"]);
    assert_eq!(done.code, 0, "{}", done.err);
    schema::check("report", &String::from_utf8(desk.get("plan.json")).expect("UTF-8"));
    let (report, net) = (json(&desk.get("plan.json")), json(&desk.get("net.json")));
    let labels = report["plan"]["labels"].as_array().expect("labels");
    let mut reported: Vec<&str> = labels.iter().map(|l| l["text"].as_str().expect("a text")).collect();
    let svg = String::from_utf8(desk.get("plan.svg")).expect("UTF-8");
    let tree = roxmltree::Document::parse(&svg).expect("an SVG");
    let group = tree.descendants().find(|n| n.attribute("id") == Some("values")).expect("the numbers");
    let mut drawn: Vec<&str> = group.children().filter_map(|n| n.attribute("data-text")).collect();
    reported.sort_unstable();
    drawn.sort_unstable();
    assert_eq!(reported, drawn, "each number once");
    let mut areas: Vec<u64> = labels
        .iter()
        .filter(|l| l["again"] == Value::Bool(false))
        .flat_map(|l| l["areas"].as_array().expect("areas"))
        .filter_map(Value::as_u64)
        .collect();
    areas.sort_unstable();
    let count = net["areas"].as_array().expect("areas").len() as u64;
    assert_eq!(areas, (0..count).collect::<Vec<_>>(), "every area has its number");
    let width = |id: &str| {
        let group = tree.descendants().find(|n| n.attribute("id") == Some(id)).expect("a layer");
        group.attribute("stroke-width").map(str::to_owned)
    };
    assert_eq!(
        [width("hard"), width("soft")],
        [Some("0.25".into()), Some("0.25".into())],
        "lines of 0.25 mm"
    );
}

#[test]
fn the_key_says_that_1_is_the_lightest() {
    let desk = Desk::with_picture();
    for (options, file) in [
        (&["-o", "a.svg", "--paper", "a4"][..], "a.svg"),
        (&["-o", "b.svg", "--key", "page"], "b-key.svg"),
        (&["-o", "c.svg", "--key", "both", "--mirror", "--rotate", "90"], "c-key.svg"),
    ] {
        let mut args = vec!["plan", "picture.png"];
        args.extend(options);
        let done = desk.run(&args);
        assert_eq!(done.code, 0, "{}", done.err);
        let svg = String::from_utf8(desk.get(file)).expect("UTF-8");
        let said =
            svg.contains("Key: 1 is") && svg.contains("the lightest") || svg.contains("1 is the lightest");
        assert!(said, "{file} does not say which end is light");
    }
    let none = desk.run(&["plan", "picture.png", "-o", "d.svg", "--key", "none", "--report", "d.json"]);
    assert_eq!(none.code, 0, "{}", none.err);
    assert!(!desk.path("d-key.svg").exists(), "no key was wanted");
    assert_eq!(json(&desk.get("d.json"))["plan"]["key_pages"], 0, "no page either");
}

#[test]
fn what_makes_no_sense_is_refused_before_work() {
    let desk = Desk::with_picture();
    desk.put("there-key.svg", b"kept");
    desk.put("picture-plan.svg", b"kept");
    let before = desk.everything();
    for (options, part) in [
        (&["-o", "plan.doc"][..], ".svg, .pdf or .png"),
        (&["-o", "picture.png", "--overwrite"], "reference itself"),
        (&["-o", "there.svg"], "there-key.svg exists already"),
        (&[], "picture-plan.svg exists already"),
        (&["-o", "a.svg", "-o", "a-key.svg"], "named twice"),
        (&["-o", "a.pdf", "--chain"], "--chain"),
        (&["-o", "a.pdf", "--soft", "none"], "--soft none"),
        (&["-o", "a.pdf", "--look", "under-ink"], "--look"),
        (&["-o", "a.pdf", "--extra-lines", "10"], "--extra-lines"),
        (&["-o", "a.pdf", "--plotter", "b.svg"], "--plotter"),
        (&["-o", "a.pdf", "--lead-length", "8m"], "--lead-length"),
        (&["-o", "a.pdf", "--weight", "by-step"], "--weight"),
        (&["-o", "a.pdf", "--tints", "--underlay", "15%"], "--underlay"),
        (&["-o", "a.pdf", "--key", "somewhere"], "--key"),
        (&["-o", "a.pdf", "--report", "a.txt"], ".json"),
        (&["-o", "a.svg", "--print-on", "a4"], "pages"),
        (&["-o", "a.pdf", "--values", "10"], "2 to 9"),
    ] {
        let refused = plan(&desk, options);
        assert_eq!(refused.code, 2, "{options:?}: {}", refused.err);
        assert!(refused.err.contains(part), "{options:?}: {:?} lacks {part:?}", refused.err);
        assert_eq!(refused.err.trim().lines().count(), 1, "{options:?}: one sentence, not {:?}", refused.err);
    }
    assert!(desk.everything() == before, "nothing was written");
    let missing = desk.run(&["plan", "nothing.png", "-o", "a.pdf"]);
    assert_eq!(missing.code, 1, "{}", missing.err);
}

#[test]
fn a_study_file_makes_the_same_plan() {
    let desk = Desk::with_picture();
    let of_plan = ["--halves", "--tints", "--key", "margin"];
    let sheet = ["--paper", "90x110mm", "--margin", "10mm", "--values", "4"];
    // What is about the drawing alone does not change the plan.
    let of_drawing =
        ["--chain", "--soft", "none", "--look", "under-ink", "--line", "0.5mm", "--colour", "black"];
    let new = [&["new", "picture.png"][..], &sheet, &of_plan, &of_drawing].concat();
    let made = desk.run(&new);
    assert_eq!(made.code, 0, "{}", made.err);
    let by_file = desk.run(&["plan", "study.toml", "-o", "a.svg", "-o", "a.pdf"]);
    assert_eq!(by_file.code, 0, "{}", by_file.err);
    let options = [&["plan", "picture.png", "-o", "b.svg", "-o", "b.pdf"][..], &sheet, &of_plan].concat();
    assert_eq!(desk.run(&options).code, 0, "by options");
    for ending in ["svg", "pdf"] {
        assert!(desk.get(&format!("a.{ending}")) == desk.get(&format!("b.{ending}")), "another .{ending}");
    }
    let taken_back = desk.run(&["plan", "study.toml", "--tints=false", "--underlay", "15%", "-o", "c.svg"]);
    assert_eq!(taken_back.code, 0, "{}", taken_back.err);
    let both = desk.run(&["plan", "study.toml", "--underlay", "15%", "-o", "d.svg"]);
    assert!(both.code == 2 && both.err.contains("--tints"), "tints over the reference: {}", both.err);
    let drawn = desk.run(&["draw", "picture.png", "-o", "e.svg", "--halves"]);
    assert!(
        drawn.code == 2 && drawn.err.contains("merestone plan"),
        "a drawing has no numbers: {}",
        drawn.err
    );
    // Without a name results go by that of the study file.
    assert_eq!(desk.run(&["plan", "study.toml"]).code, 0, "named by itself");
    assert!(desk.path("study-plan.pdf").exists() && desk.path("study-plan.svg").exists(), "its own names");
    assert!(!desk.path("study-plan-key.svg").exists(), "no page of the key is wanted");
}

#[test]
fn every_kind_of_file_and_piping() {
    let desk = Desk::with_picture();
    let one = |threads: &str| {
        let names = ["pdf", "svg", "png", "json"].map(|ending| format!("plan-{threads}.{ending}"));
        let [pdf, svg, png, report] = [0, 1, 2, 3].map(|k| names[k].as_str());
        let options = [
            "--threads",
            threads,
            "--halves",
            "--tints",
            "--square-grid",
            "--marks",
            "all",
            "-o",
            pdf,
            "-o",
            svg,
            "-o",
            png,
            "--report",
            report,
        ];
        let done = plan(&desk, &options);
        assert_eq!(done.code, 0, "{}", done.err);
        names.map(|name| desk.get(&name))
    };
    assert!(one("1") == one("3"), "the same bytes with any number of threads");
    assert!(image::load_from_memory(&desk.get("plan-1-key.png")).is_ok(), "the key as a picture");
    let piped = plan(&desk, &["-o", "-", "--format", "svg"]);
    assert_eq!(piped.code, 0, "{}", piped.err);
    let svg = String::from_utf8(piped.out).expect("UTF-8");
    assert!(roxmltree::Document::parse(&svg).is_ok() && svg.contains("id=\"values\""), "the sheet alone");
    let apart = plan(&desk, &["-o", "part.svg", "--layers", "apart", "--tints"]);
    assert_eq!(apart.code, 0, "{}", apart.err);
    for layer in ["tints", "hard", "soft", "values", "value-key"] {
        assert!(desk.path(&format!("part-{layer}.svg")).exists(), "no file for {layer}");
    }
}

#[test]
fn the_grid_lies_over_the_reference() {
    let desk = Desk::with_picture();
    let done = plan(&desk, &["-o", "plan.pdf", "--underlay", "20%", "--square-grid"]);
    assert_eq!(done.code, 0, "{}", done.err);
    let pdf = Document::load_mem(&desk.get("plan.pdf")).expect("a PDF");
    let first = *pdf.get_pages().values().next().expect("a page");
    let content = pdf.get_page_content(first);
    let content = String::from_utf8_lossy(&content);
    let place = |layer: &str| content.find(layer).unwrap_or_else(|| panic!("no {layer} on the page"));
    assert!(place("/reference") < place("/squares"), "what is drawn later lies over it");
    assert!(place("/squares") < place("/hard") && place("/hard") < place("/values"), "lines, then numbers");
}

#[test]
fn tiled_over_small_pages_the_key_follows() {
    let desk = Desk::with_picture();
    let done = desk.run(&[
        "plan",
        "picture.png",
        "--paper",
        "a3",
        "--print-on",
        "a4",
        "-o",
        "plan.pdf",
        "--report",
        "r.json",
    ]);
    assert_eq!(done.code, 0, "{}", done.err);
    let pages = Document::load_mem(&desk.get("plan.pdf")).expect("a PDF").get_pages().len();
    let report = json(&desk.get("r.json"));
    let own = report["print"]["pages"].as_array().expect("pages").len();
    assert!(own >= 3 && pages == own + 1, "{pages} pages, {own} of the sheet");
}
