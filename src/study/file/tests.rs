//! Tests of the study file: reader, writer, changes and schema against the one table of keys.

use std::collections::BTreeSet;
use std::path::Path;

mod fuzz;

use super::*;
use crate::study::Choices;

/// SHA-256 of nothing at all (FIPS 180-4).
const OF_NOTHING: &str = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855";

fn fresh() -> StudyFile {
    new_study(Path::new("study.toml"), Path::new("picture.jpg"), Some(OF_NOTHING))
        .unwrap_or_else(|e| panic!("{e}"))
}

fn read(text: &str) -> Result<StudyFile, StudyFileError> {
    StudyFile::from_text(Path::new("study.toml"), text.into())
}

/// Line and column of a fault, and what is said.
fn fault(text: &str) -> (Place, String) {
    match read(text) {
        Ok(_) => panic!("taken:\n{text}"),
        Err(error @ StudyFileError::At { .. }) => {
            let said = error.to_string();
            let StudyFileError::At { place, .. } = error else { unreachable!("as matched") };
            (place, said)
        }
        Err(error) => panic!("no place: {error}"),
    }
}

/// The keys that have options.
fn keys() -> impl Iterator<Item = &'static Key> {
    TABLES.iter().filter(|table| table.heading.is_some()).flat_map(|table| table.keys)
}

/// A value of a key that is not the usual one.
fn other(key: &Key) -> &'static str {
    let unlike = match key.name {
        "paper" => "b5",
        "breaks" => "80,60,40,20",
        "true-shape" => "3:4",
        "tone-range" => "5,95.5",
        "pitch" => "2mm",
        "squares" => "9mm",
        "most-groups" => "4",
        "credit" => "after \"an engraving\" \\ 1780",
        "date" => "7 May",
        "extra-in" => "whole",
        "print-correction" => "199.2/200,100.2%",
        _ => "",
    };
    if !unlike.is_empty() {
        return unlike;
    }
    match (key.form, key.usual) {
        (Form::Flag, _) => "true",
        (Form::Degrees, _) => "90",
        (Form::Word(_, words) | Form::Switch(_, words, _), usual) => {
            let entries = words.entries();
            entries.iter().map(|(name, _)| *name).find(|name| *name != usual.text()).unwrap_or_default()
        }
        (Form::Written(syntax), Usual::Value(_)) => match syntax.value_name {
            "all|SHEET,SHEET" => "plan,order",
            "LENGTH" | "LENGTH|none" => "0.5cm",
            "AREA" => "0.1in2",
            "SHARE" => "12.5%",
            "SPEED" => "2cm/s",
            "ACCEL" => "500mm/s2",
            "SECONDS" => "250ms",
            name => panic!("{}: no other value of {name}", key.name),
        },
        (Form::Number { .. }, Usual::Value(_)) => "12.5",
        (_, usual) => usual.text(),
    }
}

#[test]
fn names_are_unique_and_remarks_are_one_line() {
    let names: Vec<&str> = TABLES.iter().flat_map(|t| t.keys.iter().map(|k| k.name)).collect();
    let unique: BTreeSet<&str> = names.iter().copied().collect();
    assert_eq!(unique.len(), names.len(), "a name is used twice");
    assert!(names.len() > 60, "only {} keys", names.len());
    for table in TABLES {
        for key in table.keys {
            let length = key.remark.chars().count();
            assert!((15..=118).contains(&length), "{}: a remark of {length} characters", key.name);
            assert!(!key.remark.contains('\n'), "{}: a remark of several lines", key.name);
            assert!(table.heading.is_none() || key.help.len() > 20, "{}: no help", key.name);
            for other in key.excludes {
                let (_, other) = find(other).unwrap_or_else(|| panic!("{}: no key {other}", key.name));
                assert!(other.excludes.contains(&key.name), "{} and {}: one way only", key.name, other.name);
            }
        }
    }
}

#[test]
fn a_new_file_chooses_what_is_usual() {
    let file = fresh();
    let usual = Choices {
        reference: Some("picture.jpg".into()),
        sha256: Some(OF_NOTHING.into()),
        ..Choices::default()
    };
    assert_eq!(*file.choices(), usual, "the values written out are those of the settings");
    for key in keys() {
        let line =
            file.text().lines().find(|l| l.trim_start_matches('#').starts_with(&format!("{} = ", key.name)));
        let line = line.unwrap_or_else(|| panic!("{} is not in a new file", key.name));
        assert_eq!(line.starts_with('#'), matches!(key.usual, Usual::Follows(_)), "{line}");
    }
}

#[test]
fn a_file_is_kept_to_the_byte() {
    let plain = fresh().text().to_owned();
    for text in [
        plain.clone(),
        plain.replace('\n', "\r\n"),
        format!("\u{feff}{plain}"),
        format!("{plain}# at the end, without a line end"),
        plain.replace(" = ", "\t=   ").replace("[sheet]", "  [ sheet ]  # odd"),
    ] {
        assert_eq!(read(&text).map(|f| f.text().to_owned()).ok(), Some(text), "as it was");
    }
}

#[test]
fn every_example_can_be_uncommented() {
    let text = fresh().text().to_owned();
    let mut tried = 0;
    for key in keys().filter(|key| matches!(key.usual, Usual::Follows(_))) {
        let mut text = text.replace(&format!("\n#{} = ", key.name), &format!("\n{} = ", key.name));
        for other in key.excludes {
            text = text.replace(&format!("\n{other} = "), &format!("\n#{other} = "));
        }
        // Limits in zones need a zone.
        if let Some((zone @ ("focus" | "rest"), _)) = key.name.split_once('-') {
            text = text.replace(&format!("\n#{zone} = "), &format!("\n{zone} = "));
        }
        let file = read(&text).unwrap_or_else(|e| panic!("{}: {e}", key.name));
        assert!(file.place_of(key.name).is_some(), "{} is not set", key.name);
        tried += 1;
    }
    assert!(tried > 20, "only {tried} examples");
}

#[test]
fn every_entry_of_a_new_file_can_be_uncommented() {
    let text = fresh().text().to_owned();
    let (settings, shown) = text.split_at(text.find("\n# Edits of areas").expect("entries"));
    let blocks: Vec<String> = shown
        .split("\n\n")
        .filter(|block| block.trim_start().starts_with("#[["))
        .map(|block| block.lines().map(|line| format!("{}\n", line.trim_start_matches('#'))).collect())
        .collect();
    assert_eq!(blocks.len(), 10, "{blocks:?}");
    for block in blocks.iter().filter(|block| !block.contains("groups = ")) {
        read(&format!("{settings}{block}")).unwrap_or_else(|e| panic!("{block}: {e}"));
    }
    let file = read(&format!("{settings}{}", blocks.concat())).unwrap_or_else(|e| panic!("{e}"));
    let by_hand = &file.choices().by_hand;
    let counts = [
        by_hand.edits.len(),
        by_hand.groups.len(),
        by_hand.alike.len(),
        by_hand.guides.len(),
        by_hand.suppressed.len(),
    ];
    assert_eq!(counts, [3, 2, 2, 2, 1]);
    assert_eq!(by_hand.looked_at, Some(file.choices().direct.how_much), "edits are of this file's drawing");
    let place = by_hand.edits[0].place.expect("a place");
    assert_eq!(file.text().lines().nth(place.line - 1), Some("[[edit]]"), "{place:?}");
    // Settings can still be changed, and a heading that is not there is added behind.
    let mut file = file;
    file.set("margin", &["9mm"]).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(file.choices().by_hand.groups.len(), 2, "entries stay");
}

#[test]
fn entries_have_faults_with_their_places() {
    let head = "format = 1\n[reference]\nfile = \"p.png\"\n";
    for (body, line, column, parts) in [
        ("[[edt]]\nat = 3", 4, 3, &["[edt]", "[[edit]]?"][..]),
        ("[edit]\nat = [\"4%\", \"4%\"]", 4, 2, &["several of [edit]", "[[edit]]"]),
        ("edit = 3", 4, 1, &["edit"]),
        ("[[edit]]\nvalue = 3", 4, 1, &["at is missing under [[edit]]", "at = ["]),
        ("[[edit]]\nat = [\"4%\", \"4%\"]", 4, 1, &["changes nothing", "value = 4"]),
        ("[[edit]]\nat = [\"4%\", 4]\nvalue = 3", 5, 13, &["at", "\"4\" is no measure", "25%"]),
        ("[[edit]]\nat = [\"4%\"]\nvalue = 3", 5, 6, &["a point in brackets", "a list of one"]),
        ("[[edit]]\nat = \"4%, 4%\"\nvalue = 3", 5, 6, &["a point in brackets", "a text"]),
        ("[[edit]]\nat = [\"4%\", \"4%\"]\nvalue = 0", 6, 9, &["value", "no value has"]),
        ("[[edit]]\nat = [\"4%\", \"4%\"]\nvalue = 7", 4, 1, &["value 7", "1 to 5"]),
        ("[[edit]]\nat = [\"4%\", \"4%\"]\nvalu = 3", 6, 1, &["\"valu\" under [[edit]]", "value?"]),
        (
            "[[edit]]\nat = [\"4%\", \"4%\"]\nsplit-along = [[\"4%\", \"4%\"]]\nvalue = 3",
            6,
            15,
            &["two points or more"],
        ),
        ("[[group]]\nname = \"a\"\nzone = \"rect:1\"\nvalue = 3", 6, 8, &["zone", "rect:1"]),
        ("[[group]]\nname = \"\"\nzone = \"rect:0%,0%,1%,1%\"\nvalue = 3", 5, 8, &["an empty text"]),
        ("[[group]]\nname = \"a\"\nzone = \"rect:0%,0%,1%,1%\"\nvalue = [3, 2]", 7, 9, &["darkest"]),
        ("[[keep-alike]]\ngroups = [\"a\"]", 5, 10, &["two names"]),
        ("[[keep-alike]]\ngroups = [\"a\", \"b\"]", 4, 1, &["no group \"a\"", "[[group]]"]),
        ("[[keep-alike]]", 4, 1, &["two groups or of two points"]),
        (
            "[[guide]]\nfile = \"a.svg\"\npoints = [[\"4%\", \"4%\"], [\"5%\", \"4%\"]]",
            4,
            1,
            &["points or a file"],
        ),
        ("[[suppress]]\nat = [\"4%\", true]", 5, 13, &["a point in brackets"]),
    ] {
        // A line above all headings belongs there.
        let text = if body.starts_with('[') {
            format!("{head}{body}\n")
        } else {
            format!("format = 1\n\n\n{body}\n")
        };
        let (place, said) = fault(&text);
        assert_eq!((place.line, place.column), (line, column), "{body}: {said}");
        for part in parts {
            assert!(said.contains(part), "{body}: {said:?} lacks {part:?}");
        }
        assert!(!said.contains('\n') && said.len() < 400, "{said}");
    }
}

#[test]
fn a_changed_setting_changes_its_own_line_alone() {
    for (ending, mark) in [("\n", ""), ("\r\n", "\u{feff}")] {
        let before = format!("{mark}{}", fresh().text().replace('\n', ending));
        for key in keys().filter(|key| !key.name.starts_with("focus-") && !key.name.starts_with("rest-")) {
            let mut file = read(&before).unwrap_or_else(|e| panic!("{e}"));
            file.set(key.name, &[other(key)]).unwrap_or_else(|e| panic!("{}: {e}", key.name));
            let mut expected = read(&before).unwrap_or_else(|e| panic!("{e}")).choices;
            key.apply(&mut expected, &[other(key)]).unwrap_or_else(|e| panic!("{}: {e}", key.name));
            if !matches!(key.form, Form::File) {
                assert_eq!(*file.choices(), expected, "{}: set in the file and set directly", key.name);
            }
            let lines = |text: &str| text.split('\n').map(str::to_owned).collect::<Vec<_>>();
            let (old, new) = (lines(&before), lines(file.text()));
            assert_eq!(old.len(), new.len(), "{}: lines came or went", key.name);
            for (old, new) in old.iter().zip(&new).filter(|(old, new)| old != new) {
                let name = old.trim_start_matches('#').split(' ').next().unwrap_or_default();
                assert!(name == key.name || key.excludes.contains(&name), "{}: {old:?} to {new:?}", key.name);
                assert_eq!(new.ends_with('\r'), ending == "\r\n", "{new:?}");
            }
            file.unset(key.name).unwrap_or_else(|e| panic!("{}: {e}", key.name));
            assert!(file.place_of(key.name).is_none(), "{} is still set", key.name);
        }
    }
}

#[test]
fn a_setting_finds_a_place_in_files_of_any_shape() {
    let head = "format = 1\nreference = { file = \"p.png\" }\n";
    for (name, text) in [
        ("no heading", head.to_owned()),
        ("no line end", head.trim_end().to_owned()),
        ("an empty heading", format!("{head}[sheet]\n")),
        ("an empty heading at the end", format!("{head}[sheet]")),
        ("another heading behind", format!("{head}[sheet]\npaper = \"a3\" # mine\n\n# of lines\n[lines]\n")),
        ("in braces", format!("{head}sheet = {{ paper = \"a3\" }}\n[lines]\n")),
        ("empty braces", format!("{head}sheet = {{}}\n")),
        ("with points", format!("{head}sheet.paper = \"a3\"\n[lines]\n")),
        (
            "in a text of several lines",
            format!("{head}[sheet]\n[print]\ncredit = \"\"\"\n#margin = 3\n\"\"\"\n"),
        ),
    ] {
        let mut file = read(&text).unwrap_or_else(|e| panic!("{name}: {e}"));
        file.set("margin", &["1.5cm"]).unwrap_or_else(|e| panic!("{name}: {e}\n{text}"));
        assert_eq!(file.choices().direct.place.margin_mm, Some(15.0), "{name}: {}", file.text());
        file.set("margin", &["2cm"]).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(file.choices().direct.place.margin_mm, Some(20.0), "{name}: {}", file.text());
        for kept in text.lines().filter(|l| l.contains('#')) {
            assert!(file.text().contains(kept), "{name}: {kept:?} is lost: {}", file.text());
        }
        file.unset("margin").unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(file.choices().direct.place.margin_mm, None, "{name}: {}", file.text());
    }
}

#[test]
fn a_setting_that_makes_no_sense_changes_nothing() {
    let mut file = fresh();
    let before = file.text().to_owned();
    for (name, value, part) in [
        ("margin", "20", "unit"),
        ("narrowest", "-3mm", "narrowest"),
        ("papper", "a4", "paper"),
        ("values", "12", "2 to 9"),
    ] {
        let error = file.set(name, &[value]).expect_err(name).to_string();
        assert!(error.contains(part), "{error}");
        assert_eq!(file.text(), before, "{name}");
    }
}

#[test]
fn faults_have_their_place_and_the_nearest_right_name() {
    let head = "format = 1\n[reference]\nfile = \"p.png\"\n";
    for (body, line, column, parts) in [
        ("[sheet]\nmargn = \"20mm\"", 5, 1, &["\"margn\"", "[sheet]", "margin?"][..]),
        ("[sheet]\npicture_width = \"20mm\"", 5, 1, &["picture-width?"]),
        ("[sheet]\nplainness = 3", 5, 1, &["plainness belongs under [lines]"]),
        ("[shete]\npaper = \"a4\"", 4, 2, &["[shete]", "[sheet]?"]),
        ("[sheet]\n  margin   = 20", 5, 14, &["margin", "\"20\" has no unit", "20mm"]),
        ("[sheet]\nmargin = \"20\"", 5, 10, &["has no unit"]),
        ("[sheet]\nmargin = \"20 furlongs\"", 5, 10, &["furlongs", "20mm"]),
        ("[sheet]\nmargin = true", 5, 10, &["a length in quotes", "true or false", "margin = \"20mm\""]),
        ("[sheet]\npaper = \"a44\"", 5, 9, &["a44", "did you mean a4"]),
        ("[sheet]\norientation = \"upright\"", 5, 15, &["portrait", "landscape"]),
        ("[lines]\nplainness = \"55\"", 5, 13, &["a number", "plainness = 55"]),
        ("[lines]\nplainness = 101", 5, 13, &["0 to 100"]),
        ("[lines]\nplainness = 55\nareas = 3", 6, 9, &["areas", "plainness", "#"]),
        ("[lines]\nnarrowest = \"90mm\"", 5, 13, &["narrowest", "between 0.1 and 50"]),
        ("[lines]\nchain = \"yes\"", 5, 9, &["true or false", "chain = false"]),
        ("[lines]\nchain = 1 2", 5, 9, &["TOML"]),
        ("[tones]\nvalues = 3\nbreaks = [80, 60, 40]", 5, 10, &["breaks"]),
        ("[tones]\nbreaks = [80, \"60\"]", 5, 10, &["list of numbers"]),
        ("[print]\ndate = 1999-05-07", 5, 8, &["a text in quotes", "date"]),
        ("[focus-and-rest]\nfocus = [\"rect:0%,0%,5%,5%\", \"rect:1\"]", 5, 30, &["focus", "rect:1"]),
        ("[focus-and-rest]\nfocus = \"rect:0%,0%,5%,5%\"", 5, 9, &["a list"]),
        ("[focus-and-rest]\nfocus = [\"none\"]", 5, 10, &["rect:LEFT"]),
        ("[focus-and-rest]\nrest-narrowest = \"3mm\"", 5, 18, &["no rest zone"]),
        ("[[sheet]]\npaper = \"a4\"", 4, 3, &["[sheet]"]),
        ("[sheet]\n[sheet.paper]", 5, 8, &["paper"]),
        ("sheet", 4, 6, &["TOML"]),
        ("[print]\ncredit = \"äöü\" oops", 5, 16, &["TOML"]),
    ] {
        let (place, said) = fault(&format!("{head}{body}\n"));
        assert_eq!((place.line, place.column), (line, column), "{body}: {said}");
        for part in parts {
            assert!(said.contains(part), "{body}: {said:?} lacks {part:?}");
        }
        assert!(!said.contains('\n') && said.len() < 400, "{said}");
    }
    for (text, line, part) in [
        ("", 1, "format"),
        ("# nothing\n", 1, "format = 1"),
        ("format = 2\nnonsense = 1\n", 1, "newer"),
        ("format = \"1\"\n", 1, "whole number"),
        ("format = 1\n", 1, "picture"),
        ("format = 1\n\n[reference]\n", 3, "picture"),
        ("format = 1\nmargn = \"2mm\"\n", 2, "margin?"),
        ("format = 1\nmargin = \"2mm\"\n", 2, "[sheet]"),
        ("format = 1\nsheet = 3\n", 2, "[sheet]"),
        ("format = 1\n[reference]\nfile = \"\"\n", 3, "path"),
        ("format = 1\n[reference]\nfile = \"p\"\nsha256 = \"12\"\n", 4, "64"),
    ] {
        let (place, said) = fault(text);
        assert_eq!(place.line, line, "{text:?}: {said}");
        assert!(said.contains(part), "{text:?}: {said:?} lacks {part:?}");
    }
}

#[test]
fn paths_lead_from_the_files_folder() {
    let text = "format = 1\n[reference]\nfile = \"../p.png\"\n[focus-and-rest]\nzones = \"mask.png\"\n";
    let file =
        StudyFile::from_text(Path::new("studies/one.toml"), text.into()).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(file.reference(), Path::new("studies/../p.png"), "the picture");
    assert_eq!(file.choices().mask.as_deref(), Some(Path::new("studies/mask.png")), "the mask");
}

#[test]
fn the_shipped_schema_is_that_of_the_keys() {
    let shipped = include_str!("../../output/schema/study.schema.json");
    let made = schema();
    if serde_json::from_str::<serde_json::Value>(shipped).ok().as_ref() != Some(&made) {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/study.schema.json");
        fs::write(&path, format!("{made:#}\n")).unwrap_or_else(|e| panic!("{e}"));
        panic!(
            "src/output/schema/study.schema.json is out of date; {} is what the keys ask for",
            path.display()
        );
    }
}
