//! The command line as a person meets it: help, lists, completions, the manual, files in and out.

use std::collections::BTreeMap;

use crate::program::{Desk, encoded, outcome, scene};

/// The fixed options of `draw`: acceptance runs them, so none may be lost.
const DRAW_OPTIONS: [&str; 44] = [
    "--find-page",
    "--corners",
    "--true-shape",
    "--even-light",
    "--keep-frame",
    "--crop",
    "--before-after",
    "--paper",
    "--margin",
    "--orientation",
    "--picture-width",
    "--picture-height",
    "--values",
    "--breaks",
    "--tone-range",
    "--kind",
    "--pitch",
    "--narrowest",
    "--least-area",
    "--thin",
    "--least-tip",
    "--plainness",
    "--line-budget",
    "--areas",
    "--focus",
    "--rest",
    "--zones",
    "--focus-narrowest",
    "--rest-narrowest",
    "--focus-least-area",
    "--rest-least-area",
    "--soft",
    "--chain",
    "--line",
    "--out",
    "--format",
    "--report",
    "--value-map",
    "--net",
    "--overwrite",
    "--max-megapixels",
    "--threads",
    "--timings",
    "--quiet",
];

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8 text")
}

#[test]
fn help_names_every_option_and_an_example() {
    let desk = Desk::new();
    let whole = desk.run(&["--help"]);
    assert_eq!(whole.code, 0, "{}", whole.err);
    for command in ["draw", "plan", "papers", "completions", "manual", "Example"] {
        assert!(text(&whole.out).contains(command), "the help lacks {command}");
    }
    for flag in ["--help", "-h"] {
        let draw = desk.run(&["draw", flag]);
        assert_eq!(draw.code, 0, "{}", draw.err);
        for option in DRAW_OPTIONS.iter().chain(&["merestone draw picture.jpg"]) {
            assert!(text(&draw.out).contains(option), "the help of draw lacks {option}");
        }
    }
    for command in ["plan", "papers", "completions", "manual"] {
        let help = desk.run(&[command, "--help"]);
        assert_eq!(help.code, 0, "{}", help.err);
        assert!(
            text(&help.out).contains(&format!("merestone {command}")),
            "{command} has no example of itself"
        );
    }
}

#[test]
fn the_version_is_the_packages_own() {
    let version = Desk::new().run(&["--version"]);
    assert_eq!(text(&version.out).trim(), format!("merestone {}", env!("CARGO_PKG_VERSION")), "the version");
}

#[test]
fn papers_are_listed_in_mm_and_inches() {
    let papers = Desk::new().run(&["papers"]);
    assert_eq!(papers.code, 0, "{}", papers.err);
    let list = text(&papers.out);
    // ISO 216 A4; US letter is 8.5 x 11 in (ANSI/ASME Y14.1).
    for (name, mm, inches) in
        [("a4", "210.0 x 297.0 mm", "8.27 x 11.69 in"), ("letter", "215.9 x 279.4 mm", "8.50 x 11.00 in")]
    {
        let row = list.lines().find(|l| l.split_whitespace().next() == Some(name));
        let row = row.unwrap_or_else(|| panic!("{name} is not listed:\n{list}"));
        assert!(row.contains(mm) && row.contains(inches), "{row:?} lacks {mm} or {inches}");
    }
}

#[test]
fn every_listed_paper_can_be_asked_for() {
    // An unreadable reference is refused only after the paper was taken.
    let desk = Desk::new();
    let list = text(&desk.run(&["papers"]).out);
    let names: Vec<&str> = list.lines().filter_map(|l| l.split_whitespace().next()).collect();
    assert!(names.len() > 20, "only {} papers are listed", names.len());
    for name in names {
        let refused = desk.run(&["draw", "none.png", "--paper", name]);
        assert_eq!(refused.code, 1, "{name}: {}", refused.err);
    }
}

#[test]
fn completions_print_for_every_shell() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = Desk::new().run(&["completions", shell]);
        assert_eq!(script.code, 0, "{shell}: {}", script.err);
        for word in ["merestone", "least-area", "papers"] {
            assert!(text(&script.out).contains(word), "the completions of {shell} lack {word}");
        }
    }
}

#[test]
fn the_manual_is_roff_and_explains_every_option() {
    let manual = Desk::new().run(&["manual"]);
    assert_eq!(manual.code, 0, "{}", manual.err);
    let roff = text(&manual.out);
    assert!(roff.lines().any(|l| l.starts_with(".TH merestone 1")), "no title line");
    let plain = roff.replace("\\-", "-");
    for option in DRAW_OPTIONS {
        assert!(plain.contains(option), "the manual lacks {option}");
    }
    assert_eq!(roff, text(&Desk::new().run(&["manual"]).out), "the manual repeats to the byte");
}

#[test]
fn a_drawing_in_all_forms_at_once() {
    let desk = Desk::with_picture();
    let outcome = desk.draw(&[
        "--values",
        "3",
        "-o",
        "a.svg",
        "-o",
        "a.pdf",
        "-o",
        "a.png",
        "--report",
        "r.json",
        "--value-map",
        "v.png",
        "--net",
        "n.json",
    ]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    assert!(outcome.out.is_empty(), "nothing belongs on standard output unless asked for");
    assert!(desk.get("a.pdf").starts_with(b"%PDF-"), "a PDF");

    let svg = text(&desk.get("a.svg"));
    let document = roxmltree::Document::parse(&svg).expect("well-formed XML");
    let root = document.root_element();
    assert_eq!(root.attribute("width"), Some("70mm"), "the sheet's width");
    assert_eq!(root.attribute("height"), Some("90mm"), "the sheet's height");
    assert_eq!(root.attribute("viewBox"), Some("0 0 70 90"), "one unit is one mm");
    let lines = document.descendants().filter(|n| n.has_attribute("data-values")).count();
    assert!(lines >= 2, "a disc and a shadow have borders, but {lines} lines were drawn");

    let report: serde_json::Value = serde_json::from_slice(&desk.get("r.json")).expect("JSON");
    for key in [
        "picture_mm",
        "sheet_mm",
        "values",
        "breaks",
        "kind",
        "pitch_mm",
        "pitch_regions",
        "limits",
        "areas",
        "transitions",
        "strokes",
        "travel_mm",
        "refits",
        "version",
    ] {
        assert!(report.get(key).is_some(), "the report lacks {key}");
    }
    assert!(
        report.get("timings_ms").is_none(),
        "times never repeat, so they are not written unless asked for"
    );
    assert_eq!(report["values"], 3, "as asked");
    // 240 x 320 px in 60 x 80 mm of room: both sides fit exactly.
    for (key, mm) in [("x", 5.0), ("y", 5.0), ("width", 60.0), ("height", 80.0)] {
        let got = report["picture_mm"][key].as_f64().unwrap_or(f64::NAN);
        assert!((got - mm).abs() < 0.0015, "picture {key}: {got} mm instead of {mm}");
    }

    let net: serde_json::Value = serde_json::from_slice(&desk.get("n.json")).expect("JSON");
    let count = |key: &str| net[key].as_array().map_or(0, Vec::len);
    assert!(count("areas") >= 2 && count("transitions") >= 1, "areas and transitions");

    let map = png::Decoder::new(std::io::Cursor::new(desk.get("v.png"))).read_info().expect("a PNG");
    let (width, height) = map.info().size();
    let aspect = f64::from(width) / f64::from(height);
    assert!((aspect - 0.75).abs() < 0.01, "the value map covers exactly the picture: {width} x {height}");
    assert_eq!(map.info().color_type, png::ColorType::Indexed, "an index is a value's number");

    for part in ["m of line", "areas", "transitions", "a.svg", "a.pdf", "a.png", "r.json", "v.png", "n.json"]
    {
        assert!(outcome.err.contains(part), "the summary lacks {part}: {}", outcome.err);
    }
}

#[test]
fn with_no_file_named_svg_and_pdf_lie_beside_the_reference() {
    let desk = Desk::new();
    std::fs::create_dir(desk.path("scans")).expect("a folder can be made");
    desk.put("scans/road.v2.jpg", &encoded(&scene(), "jpg"));
    let outcome = desk.run(&["draw", "scans/road.v2.jpg", "--paper", "70x90mm", "--margin", "5mm"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    for name in ["scans/road.v2-underdrawing.svg", "scans/road.v2-underdrawing.pdf"] {
        assert!(!desk.get(name).is_empty(), "{name} is empty");
    }
}

#[test]
fn overwriting_happens_when_allowed_and_is_whole() {
    let desk = Desk::with_picture();
    let long = "x".repeat(1 << 20);
    desk.put("a.svg", long.as_bytes());
    assert_eq!(desk.draw(&["-o", "a.svg"]).code, 2, "not without --overwrite");
    assert_eq!(desk.get("a.svg"), long.as_bytes(), "and the file is as it was");
    let outcome = desk.draw(&["-o", "a.svg", "--overwrite"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let svg = text(&desk.get("a.svg"));
    assert!(svg.trim_end().ends_with("</svg>"), "nothing of the longer file is left behind the new one");
}

#[test]
fn standard_input_and_output_give_the_same_bytes_as_files() {
    let desk = Desk::with_picture();
    assert_eq!(desk.draw(&["-o", "a.svg", "-o", "a.pdf"]).code, 0, "files");
    for form in ["svg", "pdf"] {
        let args = ["draw", "-", "--paper", "70x90mm", "--margin", "5mm", "-o", "-", "--format", form];
        let mut command = desk.program(&args);
        command.write_stdin(desk.get("picture.png"));
        let piped = outcome(command);
        assert_eq!(piped.code, 0, "{}", piped.err);
        assert!(piped.out == desk.get(&format!("a.{form}")), "{form} by pipe differs from {form} by file");
    }
}

#[test]
fn standard_output_and_files_can_be_asked_for_together() {
    let desk = Desk::with_picture();
    let both = desk.draw(&["-o", "-", "--format", "svg", "-o", "a.svg", "--report", "r.json"]);
    assert_eq!(both.code, 0, "{}", both.err);
    assert!(both.out == desk.get("a.svg"), "the same drawing twice");
    assert!(!desk.get("r.json").is_empty(), "and its report");
}

#[test]
fn quiet_says_nothing_and_otherwise_the_last_line_sums_up() {
    let desk = Desk::with_picture();
    let quiet = desk.draw(&["-q", "-o", "a.svg"]);
    assert_eq!((quiet.code, quiet.err.as_str()), (0, ""), "quiet");
    let told = desk.draw(&["-o", "b.svg"]);
    let last = told.err.lines().last().unwrap_or_default().to_owned();
    assert!(last.contains("m of line") && last.contains("b.svg"), "{last:?}");
    for line in told.err.lines().rev().skip(1) {
        assert!(line.starts_with("note: "), "{line:?} is neither a note nor the summary");
    }
    assert!(!told.err.contains('\u{1b}'), "no bar where there is no terminal: {:?}", told.err);
}

#[test]
fn timings_come_when_asked_for() {
    let desk = Desk::with_picture();
    let outcome = desk.draw(&["--timings", "-o", "a.svg", "--report", "r.json"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    assert!(outcome.err.lines().any(|l| l.starts_with("timings: ")), "{}", outcome.err);
    let report: serde_json::Value = serde_json::from_slice(&desk.get("r.json")).expect("JSON");
    for step in ["reading", "scaling", "tone", "areas", "transitions", "strokes"] {
        assert!(report["timings_ms"][step].as_f64().is_some_and(|ms| ms >= 0.0), "no time for {step}");
    }
}

#[test]
fn any_number_of_threads_gives_the_same_bytes() {
    let mut first: Option<BTreeMap<String, Vec<u8>>> = None;
    for threads in ["1", "2", "8", "8"] {
        let desk = Desk::with_picture();
        let outcome = desk.draw(&[
            "--threads",
            threads,
            "-o",
            "a.svg",
            "-o",
            "a.pdf",
            "-o",
            "a.png",
            "--report",
            "r.json",
            "--value-map",
            "v.png",
            "--net",
            "n.json",
        ]);
        assert_eq!(outcome.code, 0, "{}", outcome.err);
        let all: BTreeMap<String, Vec<u8>> = ["a.svg", "a.pdf", "a.png", "r.json", "v.png", "n.json"]
            .into_iter()
            .map(|name| (name.to_owned(), desk.get(name)))
            .collect();
        match &first {
            None => first = Some(all),
            Some(first) => {
                for (name, bytes) in first {
                    assert!(*bytes == all[name], "{name} differs with {threads} threads");
                }
            }
        }
    }
}

#[test]
fn options_reach_the_drawing() {
    let desk = Desk::with_picture();
    let sheet = |name: &str| {
        let svg = text(&desk.get(name));
        let document = roxmltree::Document::parse(&svg).expect("well-formed XML");
        let side = |key| document.root_element().attribute(key).unwrap_or_default().to_owned();
        [side("width"), side("height")]
    };
    let cases: [(&str, &[&str], [&str; 2]); 4] = [
        ("a4.svg", &["--picture-width", "40mm"], ["210mm", "297mm"]),
        (
            "turned.svg",
            &["--paper", "a5", "--orientation", "landscape", "--picture-height", "4cm"],
            ["210mm", "148mm"],
        ),
        ("pad.svg", &["--paper", "11x14in", "--margin", "4in"], ["279.4mm", "355.6mm"]),
        ("own.svg", &["--paper", "90x70mm", "--margin", "1cm"], ["70mm", "90mm"]),
    ];
    for (name, options, size) in cases {
        let mut args = vec!["draw", "picture.png", "-o", name];
        args.extend(options);
        let outcome = desk.run(&args);
        assert_eq!(outcome.code, 0, "{options:?}: {}", outcome.err);
        assert_eq!(sheet(name), size, "{options:?}");
    }
    for options in [
        &["--values", "2"][..],
        &["--breaks", "even"],
        &["--breaks", "80,60,40,20"],
        &["--breaks", "50"],
        &["--breaks", "even", "--values", "9"],
        &["--tone-range", "0,100"],
        &["--narrowest", "2mm", "--least-area", "0.2cm2"],
        &["--plainness", "0"],
        &["--plainness", "100"],
        &["--line-budget", "0.3m"],
        &["--areas", "3"],
        &["--soft", "broken", "--chain"],
        &["--soft", "none"],
        &["--line", "0.02in"],
        &["--kind", "hatched"],
        &["--kind", "tonal"],
        &["--kind", "tonal-with-lines"],
        &["--kind", "auto"],
        &["--pitch", "auto"],
        &["--pitch", "none"],
        &["--pitch", "0.9mm"],
    ] {
        let mut args = vec!["--overwrite", "-o", "any.svg", "--report", "any.json"];
        args.extend(options);
        let outcome = desk.draw(&args);
        assert_eq!(outcome.code, 0, "{options:?}: {}", outcome.err);
    }
}

#[test]
fn a_list_of_breaks_is_used_as_it_is() {
    let desk = Desk::with_picture();
    let outcome = desk.draw(&["--breaks", "85,55,25", "-o", "a.svg", "--report", "r.json"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let report: serde_json::Value = serde_json::from_slice(&desk.get("r.json")).expect("JSON");
    assert_eq!(report["values"], 4, "three breaks make four values");
    assert_eq!(report["breaks"].as_array().map(Vec::len), Some(3), "three breaks");
}
