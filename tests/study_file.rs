//! Study files as a person meets them: made, drawn from, changed by hand, in the wrong place, or wrong.

use crate::program::{Desk, Outcome, flat};

/// A desk with a picture and its study file of a small sheet.
fn desk() -> Desk {
    let desk = Desk::with_picture();
    let made = desk.run(&["new", "picture.png", "--paper", "70x90mm", "--margin", "5mm"]);
    assert_eq!(made.code, 0, "{}", made.err);
    assert!(made.err.contains("study.toml") && made.out.is_empty(), "{}", made.err);
    desk
}

fn study(desk: &Desk) -> String {
    String::from_utf8(desk.get("study.toml")).expect("UTF-8")
}

/// Puts a study file with some text replaced.
fn edit(desk: &Desk, from: &str, to: &str) {
    let text = study(desk);
    assert!(text.contains(from), "no {from:?} in the file");
    desk.put("study.toml", text.replace(from, to).as_bytes());
}

/// One sentence, this exit code, and nothing written.
fn refused(desk: &Desk, args: &[&str], code: i32, parts: &[&str]) {
    let before = desk.everything();
    let Outcome { code: got, out, err } = desk.run(args);
    assert_eq!(got, code, "{args:?}: {err}");
    assert!(err.starts_with("merestone: ") && err.trim_end().lines().count() == 1, "{args:?}: {err:?}");
    assert!(!err.contains("panicked") && err.len() < 500 && out.is_empty(), "{args:?}: {err:?}");
    for part in parts {
        assert!(err.contains(part), "{args:?}: {err:?} lacks {part:?}");
    }
    assert!(desk.everything() == before, "{args:?}: the folder changed");
}

const FILES: [&str; 10] =
    ["-o", "a.svg", "-o", "a.pdf", "-o", "a.png", "--report", "a.json", "--net", "n.json"];
const NAMES: [&str; 5] = ["a.svg", "a.pdf", "a.png", "a.json", "n.json"];

/// Bytes of everything that a run with these arguments writes.
fn drawn(desk: &Desk, args: &[&str]) -> Vec<Vec<u8>> {
    let mut all = vec!["draw"];
    all.extend(args);
    all.extend(FILES);
    all.push("--overwrite");
    let outcome = desk.run(&all);
    assert_eq!(outcome.code, 0, "{args:?}: {}", outcome.err);
    NAMES.iter().map(|name| desk.get(name)).collect()
}

#[test]
fn a_study_file_draws_the_same_bytes_as_options() {
    let options = [
        &[][..],
        &["--values", "3", "--plainness", "10", "--soft", "broken", "--mirror", "--rotate", "90"],
        &[
            "--breaks",
            "80,50,20",
            "--line-budget",
            "0.2m",
            "--colour",
            "blue",
            "--credit",
            "a \"line\"",
            "--marks",
            "all",
        ],
        &[
            "--focus",
            "ellipse:50%,40%,10mm,10mm",
            "--rest",
            "rect:0%,0%,100%,30%",
            "--focus-narrowest",
            "0.7mm",
            "--chain",
        ],
        &["--tone-range", "5,95", "--pitch", "none", "--thin", "none", "--underlay", "15%", "--square-grid"],
    ];
    for options in options {
        let desk = Desk::with_picture();
        let sheet = ["--paper", "70x90mm", "--margin", "5mm"];
        let with = |first: &[&'static str]| [first, &sheet[..], options].concat();
        assert_eq!(desk.run(&with(&["new", "picture.png"])).code, 0, "{options:?}");
        let by_file = drawn(&desk, &["study.toml"]);
        let by_options = drawn(&desk, &with(&["picture.png"]));
        for ((name, a), b) in NAMES.iter().zip(by_file).zip(by_options) {
            assert!(a == b, "{options:?}: {name} differs");
        }
    }
}

#[test]
fn options_win_over_the_file() {
    let desk = desk();
    edit(&desk, "plainness = 55", "plainness = 90");
    let over = drawn(&desk, &["study.toml", "--plainness", "20", "--margin", "10mm"]);
    let plain = drawn(&desk, &["picture.png", "--paper", "70x90mm", "--plainness", "20", "--margin", "10mm"]);
    assert!(over == plain, "the same as without the file");
    assert!(over != drawn(&desk, &["study.toml"]), "and not what the file says");
}

#[test]
fn results_without_a_name_go_by_the_study_file() {
    let desk = desk();
    let outcome = desk.run(&["draw", "study.toml"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    assert!(!desk.get("study-underdrawing.svg").is_empty(), "beside the study file, by its name");
    assert!(!desk.get("study-underdrawing.pdf").is_empty(), "beside the study file, by its name");
}

#[test]
fn paths_lead_from_the_file_wherever_one_stands() {
    let desk = Desk::with_picture();
    for folder in ["scans", "studies"] {
        std::fs::create_dir(desk.path(folder)).expect("a folder can be made");
    }
    std::fs::rename(desk.path("picture.png"), desk.path("scans/picture.png")).expect("a file can be moved");
    desk.put("scans/mask.png", &desk_mask());
    let options = ["--paper", "70x90mm", "--margin", "5mm", "--zones", "scans/mask.png"];
    let made = desk.run(&[&["new", "scans/picture.png", "-o", "studies/one.toml"][..], &options].concat());
    assert_eq!(made.code, 0, "{}", made.err);
    let text = String::from_utf8(desk.get("studies/one.toml")).expect("UTF-8");
    for line in ["file = \"../scans/picture.png\"", "zones = \"../scans/mask.png\"", "paper = \"70x90mm\""] {
        assert!(text.contains(line), "no {line} in:\n{text}");
    }
    let by_file = drawn(&desk, &["studies/one.toml"]);
    assert!(by_file == drawn(&desk, &[&["scans/picture.png"][..], &options].concat()), "the same drawing");
    let mut elsewhere = desk.program(&["draw", "one.toml", "-o", "a.svg"]);
    elsewhere.current_dir(desk.path("studies"));
    assert_eq!(crate::program::outcome(elsewhere).code, 0, "from the file's own folder");
    assert!(desk.get("studies/a.svg") == by_file[0], "the same drawing from another folder");
}

fn desk_mask() -> Vec<u8> {
    crate::program::encoded(&flat(24, 32, 255), "png")
}

#[test]
fn a_changed_picture_is_said_and_drawn() {
    let desk = desk();
    let before = desk.run(&["draw", "study.toml", "-o", "a.svg", "--report", "a.json"]);
    assert_eq!(before.code, 0, "{}", before.err);
    assert!(!before.err.contains("changed"), "{}", before.err);
    desk.put("picture.png", &crate::program::encoded(&crate::program::scene(), "png"));
    let after = desk.run(&["draw", "study.toml", "-o", "b.svg", "--report", "b.json"]);
    assert_eq!(after.code, 0, "{}", after.err);
    let note = after.err.lines().find(|l| l.starts_with("note: ") && l.contains("changed"));
    let note = note.unwrap_or_else(|| panic!("no note: {}", after.err));
    assert!(
        note.contains("picture.png") && note.contains("study.toml") && note.contains("SHA-256"),
        "{note}"
    );
    let report = |name: &str| -> serde_json::Value { serde_json::from_slice(&desk.get(name)).expect("JSON") };
    let (a, b) = (report("a.json"), report("b.json"));
    assert_eq!(a["reference"].get("recorded_sha256"), None, "as it was");
    assert_eq!(b["reference"]["recorded_sha256"], a["reference"]["sha256"], "what it was");
    assert_ne!(b["reference"]["sha256"], a["reference"]["sha256"], "what it is");
}

#[test]
fn nothing_is_replaced_unasked() {
    let desk = desk();
    refused(&desk, &["new", "picture.png"], 2, &["study.toml", "exists already", "--overwrite"]);
    refused(&desk, &["new", "picture.png", "-o", "picture.png"], 2, &[".toml"]);
    edit(&desk, "plainness = 55", "plainness = 70");
    let again = desk.run(&["new", "picture.png", "--overwrite"]);
    assert_eq!(again.code, 0, "{}", again.err);
    assert!(study(&desk).contains("plainness = 55"), "written anew");
    let twin = desk.run(&["new", "picture.png", "-o", "crowd.toml", "-q"]);
    assert_eq!((twin.code, twin.err.as_str()), (0, ""), "another name");
    refused(&desk, &["draw", "study.toml", "-o", "study.toml.svg", "--report", "study.toml"], 2, &[".json"]);
}

#[cfg(unix)]
#[test]
fn the_study_file_is_never_a_result() {
    let desk = desk();
    std::os::unix::fs::symlink(desk.path("study.toml"), desk.path("link.svg")).expect("a link can be made");
    refused(&desk, &["draw", "study.toml", "-o", "link.svg", "--overwrite"], 2, &["link.svg", "study file"]);
}

#[test]
fn a_picture_that_is_not_there_or_is_none() {
    let desk = desk();
    edit(&desk, "file = \"picture.png\"", "file = \"scans/lost.png\"");
    refused(&desk, &["draw", "study.toml"], 1, &["study.toml", "line 16", "scans/lost.png", "not there"]);
    refused(&desk, &["draw", "no-such.toml"], 1, &["no-such.toml"]);
    refused(&desk, &["new", "no-such.png"], 1, &["no-such.png"]);
    refused(&desk, &["new", "."], 1, &["folder"]);
    refused(&desk, &["new", "-"], 2, &["file"]);
    desk.put("letter.png", b"Dear reader, this is a letter and no picture at all.\n");
    refused(&desk, &["new", "letter.png", "-o", "letter.toml"], 1, &["letter.png"]);
    desk.put("folder.toml", b"\xff\xfe");
    refused(&desk, &["draw", "folder.toml"], 2, &["folder.toml", "line 1, column 1", "UTF-8"]);
}

#[test]
fn faults_are_one_sentence_with_a_place() {
    for (from, to, parts) in [
        ("margin = \"5mm\"", "margn = \"5mm\"", &["column 1", "margin?"][..]),
        ("margin = \"5mm\"", "margin = 5", &["column 10", "no unit", "5mm"]),
        ("margin = \"5mm\"", "margin = \"5 miles\"", &["column 10", "5 miles", "20mm"]),
        ("[sheet]", "[sheets]", &["column 2", "[sheet]?"]),
        ("format = 1", "format = 99", &["line 9, column 10", "99", "newer"]),
        ("chain = false", "chain = \"no\"", &["true or false"]),
        ("plainness = 55", "plainness = 55\nareas = 4", &["areas", "plainness"]),
        ("narrowest = \"1mm\"", "narrowest = \"0mm\"", &["narrowest", "0.1"]),
        ("paper = \"70x90mm\"", "paper = \"a44\"", &["did you mean a4"]),
    ] {
        let desk = desk();
        edit(&desk, from, to);
        refused(&desk, &["draw", "study.toml"], 2, &[&["study.toml, line "][..], parts].concat());
    }
    let desk = desk();
    refused(&desk, &["new", "picture.png", "-o", "b.toml", "--narrowest", "0mm"], 2, &["narrowest"]);
    refused(&desk, &["draw", "picture.png", "--extra-in", "C4"], 2, &["extra-lines"]);
    refused(&desk, &["draw", "picture.png", "--close-over", "1mm"], 2, &["--close-over", "--plotter"]);
}

#[test]
fn a_plotters_settings_are_used_when_its_file_is_asked_for() {
    let desk = Desk::with_picture();
    let settings = ["--lead-length", "0.2m", "--plotter-edges", "joined", "--close-over", "1mm"];
    let sheet = ["--paper", "70x90mm", "--margin", "5mm"];
    let made = desk.run(&[&["new", "picture.png"][..], &sheet, &settings].concat());
    assert_eq!(made.code, 0, "{}", made.err);
    assert_eq!(desk.run(&["draw", "study.toml", "-o", "a.svg", "--plotter", "p.svg"]).code, 0, "by file");
    let options =
        [&["draw", "picture.png", "-o", "b.svg", "--plotter", "q.svg"][..], &sheet, &settings].concat();
    assert_eq!(desk.run(&options).code, 0, "by options");
    assert!(desk.get("p.svg") == desk.get("q.svg"), "the plotter's file differs");
    assert_eq!(desk.run(&["draw", "study.toml", "-o", "c.svg"]).code, 0, "and without a plotter");
    assert!(desk.get("c.svg") == desk.get("a.svg"), "the drawing differs");
}
