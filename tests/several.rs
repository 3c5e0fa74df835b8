//! Several references in one run: names, failures that stop nothing else, refusals before work, the same bytes however many at once.

use std::fs;
use std::path::PathBuf;

use crate::program::{Desk, Outcome, flat, scene};

const SHEET: [&str; 4] = ["--paper", "70x90mm", "--margin", "5mm"];

/// A desk with a folder of three pictures, a text and a hidden file, and an empty folder to write into.
fn desk() -> Desk {
    let desk = Desk::new();
    fs::create_dir(desk.path("book")).expect("a folder");
    fs::create_dir(desk.path("out")).expect("a folder");
    scene().save(desk.path("book/b.png")).expect("a picture");
    image::imageops::rotate180(&scene()).save(desk.path("book/a.png")).expect("a picture");
    flat(120, 160, 128).save(desk.path("book/c.png")).expect("a picture");
    desk.put("book/notes.txt", b"not a picture");
    desk.put("book/.hidden.png", b"not a picture either");
    desk
}

fn run(desk: &Desk, command: &str, words: &[&str]) -> Outcome {
    desk.run(&[&[command][..], words, &SHEET, &["--into", "out"]].concat())
}

/// Names in the folder of results.
fn written(desk: &Desk) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(desk.path("out"))
        .expect("the folder can be listed")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn a_folder_gives_the_files_that_single_runs_give() {
    let desk = desk();
    let done = run(&desk, "draw", &["book", "--forms", "svg,report,net,value-map"]);
    assert_eq!(done.code, 0, "{}", done.err);
    for stem in ["a", "b", "c"] {
        let (picture, one, report) =
            (format!("book/{stem}.png"), format!("{stem}.svg"), format!("{stem}.json"));
        let single =
            desk.run(&[&["draw", &picture][..], &SHEET, &["-o", &one, "--report", &report]].concat());
        assert_eq!(single.code, 0, "{}", single.err);
        assert_eq!(desk.get(&format!("out/{stem}-underdrawing.svg")), desk.get(&one), "{stem}");
        assert_eq!(desk.get(&format!("out/{stem}-underdrawing.json")), desk.get(&report), "{stem}");
    }
    assert_eq!(written(&desk).len(), 3 * 4, "four of each and nothing else: {:?}", written(&desk));
    // What is said stands together, reference by reference, in their order.
    let names: Vec<&str> = done.err.lines().filter_map(|line| line.split(": ").next()).collect();
    let mut sorted = names.clone();
    sorted.sort_unstable();
    assert_eq!(names, sorted, "{}", done.err);
    assert!(names.contains(&"book/a.png") && names.contains(&"book/c.png"), "{}", done.err);
}

#[test]
fn every_sheet_can_be_made_of_several() {
    let desk = desk();
    for (command, forms) in [("plan", "pdf"), ("structure", "pdf,svg"), ("draw", "pdf")] {
        let done = run(&desk, command, &["book/a.png", "book/b.png", "--forms", forms, "--quiet"]);
        assert_eq!((done.code, done.err.as_str()), (0, ""), "{command}");
    }
    let wanted = [
        "a-plan.pdf",
        "a-structure.pdf",
        "a-structure.svg",
        "a-underdrawing.pdf",
        "b-plan.pdf",
        "b-structure.pdf",
        "b-structure.svg",
        "b-underdrawing.pdf",
    ];
    assert_eq!(written(&desk), wanted);
    // Without forms what a single run writes, in the folder.
    let done = run(&desk, "draw", &["book/c.png"]);
    assert_eq!(done.code, 0, "{}", done.err);
    assert!(desk.path("out/c-underdrawing.svg").exists() && desk.path("out/c-underdrawing.pdf").exists());
    assert_eq!(
        desk.everything().keys().filter(|p| p.parent() == Some(&desk.path("book"))).count(),
        5,
        "nothing beside"
    );
}

#[test]
fn a_broken_reference_stops_nothing_else() {
    let desk = desk();
    let whole = desk.get("book/b.png");
    desk.put("book/b.png", &whole[..whole.len() / 2]);
    let done = run(&desk, "draw", &["book", "missing.png", "--forms", "svg"]);
    assert_eq!(done.code, 1, "{}", done.err);
    assert_eq!(written(&desk), ["a-underdrawing.svg", "c-underdrawing.svg"], "the good ones are there");
    let told: Vec<&str> = done.err.lines().filter(|line| line.starts_with("merestone: ")).collect();
    assert_eq!(told.len(), 3, "each failure in a line, and one at the end: {}", done.err);
    assert!(told[0].contains("book/b.png") && told[1].contains("missing.png"), "{told:?}");
    assert!(told[2].contains("2 of 4 references failed: book/b.png, missing.png"), "{told:?}");
    // Failures are told even when nothing else is.
    let quiet = run(&desk, "draw", &["book", "--forms", "png", "--quiet"]);
    assert_eq!((quiet.code, quiet.err.lines().count()), (1, 2), "{}", quiet.err);
}

#[test]
fn the_same_bytes_however_many_at_once() {
    let desk = desk();
    let mut runs = Vec::new();
    for more in [
        &["--at-once", "1"][..],
        &["--at-once", "3", "--threads", "2"],
        // Less than one of them takes, so that each runs alone.
        &["--at-once", "3", "--memory", "64MB"],
    ] {
        let words = [&["book", "--forms", "svg,report", "--overwrite"][..], more].concat();
        let done = run(&desk, "draw", &words);
        assert_eq!(done.code, 0, "{more:?}: {}", done.err);
        let files: Vec<Vec<u8>> =
            written(&desk).iter().map(|name| desk.get(&format!("out/{name}"))).collect();
        runs.push((done.err, files));
    }
    assert!(runs.windows(2).all(|pair| pair[0] == pair[1]), "files and what is said are the same");
}

#[test]
fn what_cannot_be_is_refused_before_work() {
    let desk = desk();
    fs::create_dir(desk.path("empty")).expect("a folder");
    scene().save(desk.path("A.jpg")).expect("a picture");
    scene().save(desk.path("a-values.png")).expect("a picture");
    for (words, code, part) in [
        (&["draw", "book", "empty", "--into", "out"][..], 2, "empty holds no picture"),
        (&["draw", "book", "A.jpg", "--into", "out"], 2, "would both write"),
        (&["draw", "book", "book/a.png", "--into", "out"], 2, "would both write"),
        (&["draw", "book/a.png", "book/b.png"], 2, "--into"),
        (&["draw", "book", "--into", "nowhere"], 1, "no such folder"),
        (&["draw", "book", "--into", "book/notes.txt"], 1, "notes.txt is a file and no folder"),
        (&["draw", "-", "book/a.png", "--into", "out"], 2, "standard input"),
        (&["draw", "book", "--into", "out", "--report", "r.json"], 2, "--report names a single file"),
        (&["draw", "book", "--into", "out", "--plotter", "p.svg"], 2, "--plotter names a single file"),
        (&["draw", "book", "--into", "out", "-o", "one.svg"], 2, "--into"),
        (&["draw", "book", "--into", "out", "--memory", "4"], 2, "unit"),
        (&["draw", "book/a.png", "a-values.png", "--into", ".", "--forms", "value-map"], 2, "exists already"),
        (
            &["draw", "book/a.png", "a-values.png", "--into", ".", "--forms", "value-map", "--overwrite"],
            2,
            "one of the references",
        ),
        (&["plan", "book", "--into", "out", "--soft", "none"], 2, "--soft none"),
        (&["draw", "book", "--into", "out", "--forms", "svg", "--print-on", "a4"], 2, "several pages"),
    ] {
        let before: Vec<PathBuf> = desk.everything().into_keys().collect();
        let done = desk.run(words);
        assert_eq!(done.code, code, "{words:?}: {}", done.err);
        assert!(done.err.contains(part), "{words:?} gave {:?}, which lacks {part:?}", done.err);
        assert_eq!(done.err.lines().count(), 1, "{words:?}: one sentence: {}", done.err);
        let after: Vec<PathBuf> = desk.everything().into_keys().collect();
        assert_eq!(before, after, "{words:?}: nothing is written");
    }
    // An output that is there already, found before the first reference is worked on.
    desk.put("out/c-underdrawing.svg", b"mine");
    let done = run(&desk, "draw", &["book", "--forms", "svg"]);
    assert!(done.code == 2 && done.err.contains("exists already"), "{}", done.err);
    assert_eq!(written(&desk), ["c-underdrawing.svg"], "nothing else is there");
}

#[cfg(unix)]
#[test]
fn a_folder_that_may_not_be_written_is_refused() {
    use std::os::unix::fs::PermissionsExt;
    let desk = desk();
    let shut = fs::Permissions::from_mode(0o555);
    fs::set_permissions(desk.path("out"), shut).expect("permissions");
    if fs::write(desk.path("out/probe"), b"").is_ok() {
        // The superuser may write anywhere; a system folder that nobody may write into is not at hand.
        fs::remove_file(desk.path("out/probe")).expect("a file of our own");
        let done = desk.run(&["draw", "book", "--into", "/proc", "--forms", "svg"]);
        assert!(done.code == 1 && done.err.contains("/proc"), "{}", done.err);
        return;
    }
    let done = run(&desk, "draw", &["book", "--forms", "svg"]);
    assert!(done.code == 1 && done.err.contains("not permitted"), "{}", done.err);
    fs::set_permissions(desk.path("out"), fs::Permissions::from_mode(0o755)).expect("permissions");
}
