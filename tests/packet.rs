//! `packet` as a person meets it: its pages and bookmarks, the same files as each command by itself, refusals, study files.

use std::fs;

use lopdf::{Document, Object};
use serde_json::Value;

use crate::outputs::schema;
use crate::program::{Desk, Outcome};

const SHEET: [&str; 4] = ["--paper", "90x120mm", "--margin", "10mm"];
/// Commands of the sheets, in the order of use.
const COMMANDS: [&str; 5] = ["draw", "plan", "structure", "squared", "order"];

fn packet(desk: &Desk, more: &[&str]) -> Outcome {
    desk.run(&[&["packet", "picture.png"][..], &SHEET, more].concat())
}

fn done(desk: &Desk, more: &[&str]) -> Value {
    let run = packet(desk, &[more, &["-o", "p.pdf", "--report", "p.json", "--overwrite"]].concat());
    assert_eq!(run.code, 0, "{more:?}: {}", run.err);
    let text = String::from_utf8(desk.get("p.json")).expect("UTF-8");
    schema::check("report", &text);
    serde_json::from_str(&text).expect("JSON")
}

/// Titles of the bookmarks and the pages that they lead to, from 1, by following the file's own list.
fn bookmarks(pdf: &Document) -> Vec<(String, usize)> {
    let pages: Vec<_> = pdf.get_pages().into_values().collect();
    let dict = |object: &Object| {
        pdf.dereference(object).expect("an object").1.as_dict().expect("a dictionary").clone()
    };
    let outline = dict(pdf.catalog().expect("a catalog").get(b"Outlines").expect("bookmarks"));
    let mut found = Vec::new();
    let mut next = outline.get(b"First").ok().cloned();
    while let Some(entry) = next.map(|entry| dict(&entry)) {
        let title = lopdf::decode_text_string(entry.get(b"Title").expect("a title")).expect("text");
        let place = entry.get(b"Dest").and_then(Object::as_array).expect("a place");
        let page = place[0].as_reference().expect("a page");
        found.push((title, pages.iter().position(|&id| id == page).expect("a page of the file") + 1));
        next = entry.get(b"Next").ok().cloned();
    }
    let count = outline.get(b"Count").and_then(Object::as_i64).expect("a count");
    assert_eq!(count, found.len() as i64, "the outline says how many there are");
    found
}

#[test]
fn every_sheet_has_its_pages_and_its_bookmark_in_the_order_of_use() {
    let desk = Desk::with_picture();
    let report = done(&desk, &[]);
    let pdf = Document::load_mem(&desk.get("p.pdf")).expect("a PDF");
    let listed = report["packet"]["sheets"].as_array().expect("sheets");
    let sheets: Vec<&str> = listed.iter().filter_map(|part| part["sheet"].as_str()).collect();
    assert_eq!(sheets, ["underdrawing", "plan", "key", "structure", "squared", "enlarged", "order"]);
    let said: Vec<(String, usize)> = listed
        .iter()
        .map(|part| {
            (part["title"].as_str().expect("a title").into(), part["from"].as_u64().expect("a page") as usize)
        })
        .collect();
    assert_eq!(bookmarks(&pdf), said);
    let mut next = 1;
    for part in listed {
        assert_eq!(part["from"], next, "{part}");
        next = part["to"].as_u64().expect("a page") + 1;
    }
    assert_eq!(report["packet"]["pages"], next - 1);
    assert_eq!(pdf.get_pages().len() as u64, next - 1);
    for key in ["plan", "structure", "squared", "order"] {
        assert!(report[key].is_object(), "no figures of {key}");
    }
    // One object of the page's resources for each name in it (ISO 32000-1, 7.3.7).
    let mut names: Vec<&str> = merestone::sheet::Layer::ALL.into_iter().map(|layer| layer.id()).collect();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), merestone::sheet::Layer::ALL.len(), "layers are told apart by their names");
}

#[test]
fn its_files_are_those_that_each_command_writes() {
    for more in [
        &[][..],
        &["--print-on", "60x80mm", "--printer-margin", "3mm", "--overlap", "6mm", "--rotate", "90"],
        &[
            "--underlay",
            "20%",
            "--mirror",
            "--halves",
            "--begin",
            "point",
            "--begin-at",
            "40%,50%",
            "--soft",
            "broken",
        ],
        &["--plainness", "100", "--extra-lines", "0", "--chain", "--forms", "pdf"],
    ] {
        let desk = Desk::with_picture();
        for folder in ["all", "single"] {
            fs::create_dir(desk.path(folder)).expect("a folder");
        }
        let run = packet(&desk, &[more, &["--into", "all"]].concat());
        assert_eq!(run.code, 0, "{more:?}: {}", run.err);
        let taken = |command: &str, option: &str| match option {
            "--begin" | "--begin-at" => command == "order",
            "--halves" => ["plan", "order"].contains(&command),
            "--rotate" => !["structure", "order"].contains(&command),
            "--overlap" => !["structure", "order"].contains(&command),
            "--underlay" | "--mirror" => ["draw", "plan"].contains(&command),
            "--soft" => ["draw", "plan"].contains(&command),
            "--extra-lines" | "--chain" => command == "draw",
            _ => true,
        };
        for command in COMMANDS {
            let mut own: Vec<&str> = Vec::new();
            let mut keep = true;
            for word in more {
                if word.starts_with("--") {
                    keep = taken(command, word);
                }
                if keep {
                    own.push(word);
                }
            }
            let single =
                desk.run(&[&[command, "picture.png"][..], &SHEET, &own, &["--into", "single"]].concat());
            assert_eq!(single.code, 0, "{command} {own:?}: {}", single.err);
        }
        let names = |folder: &str| -> Vec<String> {
            let list = fs::read_dir(desk.path(folder)).expect("a folder");
            let mut names: Vec<String> = list
                .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
                .collect();
            names.sort();
            names
        };
        let singles = names("single");
        assert!(singles.len() >= COMMANDS.len(), "{singles:?}");
        let mut expected = [&singles[..], &["picture-packet.pdf".to_owned()]].concat();
        expected.sort();
        assert_eq!(names("all"), expected, "{more:?}");
        for name in singles {
            let same = desk.get(&format!("all/{name}")) == desk.get(&format!("single/{name}"));
            assert!(same, "{more:?}: {name} is another than the command's own");
        }
    }
}

#[test]
fn a_study_file_says_which_sheets_and_how() {
    let desk = Desk::with_picture();
    let study = "format = 1\n[reference]\nfile = \"picture.png\"\n[sheet]\npaper = \"90x120mm\"\nmargin = \"10mm\"\n\
                 [plan]\nhalves = true\n[order]\nhand = \"left\"\n[squared]\nenlarged = 0\n\
                 [packet]\nsheets = \"order, squared,plan\"\n";
    desk.put("study.toml", study.as_bytes());
    let run = desk.run(&["packet", "study.toml", "--report", "r.json", "--threads", "1"]);
    assert_eq!(run.code, 0, "{}", run.err);
    let report: Value = serde_json::from_slice(&desk.get("r.json")).expect("JSON");
    let pdf = Document::load_mem(&desk.get("study-packet.pdf")).expect("a PDF");
    let titles: Vec<String> = bookmarks(&pdf).into_iter().map(|(title, _)| title).collect();
    assert_eq!(titles, ["Value plan", "Key to the value plan", "Squared reference", "Working order"]);
    assert!(report["plan"]["halves"] == true && report["order"]["hand"] == "left", "settings of the sheets");
    let again = desk.run(&["packet", "study.toml", "-o", "b.pdf", "--threads", "3"]);
    assert!(again.code == 0 && desk.get("b.pdf") == desk.get("study-packet.pdf"), "the same on any threads");
    let over = desk.run(&["packet", "study.toml", "-o", "c.pdf", "--sheets", "underdrawing"]);
    assert_eq!(over.code, 0, "{}", over.err);
    assert!(over.err.contains("1 page: underdrawing 1;"), "{}", over.err);
}

#[test]
fn what_makes_no_sense_is_refused_before_work() {
    let desk = Desk::with_picture();
    fs::create_dir(desk.path("all")).expect("a folder");
    desk.put("all/picture-squared.pdf", b"mine");
    desk.put("there.pdf", b"mine");
    let before = desk.everything();
    for (options, part) in [
        (&["-o", "a.svg"][..], ".pdf"),
        (&["-o", "there.pdf"], "exists already"),
        (&["--into", "all"], "picture-squared.pdf exists already"),
        (&["--into", "all", "--forms", "svg"], ".pdf"),
        (&["-o", "a.pdf", "--sheets", "plan,drawing"], "underdrawing"),
        (&["-o", "a.pdf", "--sheets", "plan,plan"], "once"),
        (&["-o", "a.pdf", "--squares", "none"], "squares"),
        (&["-o", "a.pdf", "--begin", "groups"], "group"),
        (&["-o", "a.pdf", "--begin", "point", "--begin-at", "400%,50%"], "begin-at"),
        (&["-o", "a.pdf", "--tints", "--underlay", "20%"], "--tints"),
        (&["-o", "a.pdf", "--lead-length", "8m"], "a packet is printed"),
    ] {
        let refused = packet(&desk, options);
        assert_eq!(refused.code, 2, "{options:?}: {}", refused.err);
        assert!(refused.err.contains(part), "{options:?}: {:?} lacks {part:?}", refused.err);
    }
    assert!(desk.everything() == before, "nothing was written");
    // Sheets that are left out ask for nothing.
    let fine = packet(&desk, &["-o", "a.pdf", "--squares", "none", "--sheets", "underdrawing,plan"]);
    assert_eq!(fine.code, 0, "{}", fine.err);
    let refused = desk.run(&["draw", "picture.png", "--sheets", "plan"]);
    assert!(refused.code == 2 && refused.err.contains("merestone packet"), "{}", refused.err);
}
