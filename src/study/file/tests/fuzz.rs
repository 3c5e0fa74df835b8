//! The reader of study files against whatever may lie in one.

use proptest::prelude::*;

use super::*;

/// Whether a place lies in a text, or right behind one of its lines.
fn lies_in(place: Place, text: &str) -> bool {
    let line = text.split('\n').nth(place.line.wrapping_sub(1));
    line.is_some_and(|line| (1..=line.chars().count() + 1).contains(&place.column))
}

/// What is put into a file by a careless hand.
fn scrap() -> impl Strategy<Value = String> {
    let names = TABLES.iter().flat_map(|t| t.keys.iter().map(|k| k.name)).collect::<Vec<_>>();
    let words = [
        "=",
        "\"",
        "'",
        "\"\"\"",
        "[",
        "]",
        "[[",
        "{",
        "}",
        "#",
        ".",
        ",",
        "\n",
        "\r",
        "\r\n",
        "20mm",
        "-1",
        "1e999",
        "nan",
        "true",
        "\u{feff}",
        "ä",
        "\u{0}",
        "0x1f",
        "format = 2\n",
        "[sheet]\n",
        "1999-05-07",
    ];
    prop_oneof![
        proptest::sample::select(names).prop_map(|name| format!("{name} = ")),
        proptest::sample::select(words.to_vec()).prop_map(str::to_owned),
        any::<String>(),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn no_edit_of_a_file_makes_the_reader_panic(
        edits in prop::collection::vec((any::<prop::sample::Index>(), 0usize..40, scrap()), 1..6)
    ) {
        let mut chars: Vec<char> = fresh().text().chars().collect();
        for (at, cut, put) in edits {
            let at = at.index(chars.len() + 1);
            let end = (at + cut).min(chars.len());
            chars.splice(at..end, put.chars());
        }
        let text: String = chars.into_iter().collect();
        match read(&text) {
            Ok(mut file) => {
                prop_assert_eq!(file.text(), &text);
                // What was read can be changed, and nothing else changes with it.
                let before = file.choices().clone();
                if file.set("least-area", &["7mm2"]).is_ok() {
                    prop_assert!((file.choices().direct.least_area_mm2 - 7.0).abs() < 1e-12);
                    let mut after = file.choices().clone();
                    after.direct.least_area_mm2 = before.direct.least_area_mm2;
                    prop_assert_eq!(after, before);
                }
            }
            Err(StudyFileError::At { place, fault, .. }) => {
                prop_assert!(lies_in(place, &text), "{:?} of {:?}: {}", place, text, fault);
                let said = fault.sentence();
                prop_assert!(!said.contains(char::is_control) && said.chars().count() <= 310, "{}", said);
            }
            Err(error) => return Err(TestCaseError::fail(error.to_string())),
        }
    }

    #[test]
    fn no_value_makes_the_reader_panic(at in any::<prop::sample::Index>(), value in any::<String>(), cut in any::<prop::sample::Index>()) {
        // Any text in place of a value, and any text put into a right one.
        let all: Vec<&Key> = keys().collect();
        let key = all[at.index(all.len())];
        let mut right: Vec<char> = key.usual.text().chars().collect();
        let cut = cut.index(right.len() + 1);
        right.splice(cut..cut, value.chars());
        for value in [value, right.into_iter().collect()] {
            let mut file = fresh();
            if let Err(error) = file.set(key.name, &[&value]) {
                prop_assert!(matches!(error, StudyFileError::At { .. }), "{}", error);
            }
        }
    }

    #[test]
    fn any_text_is_read_back_as_it_was_set(credit in any::<String>()) {
        let mut file = fresh();
        file.set("credit", &[&credit]).map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert_eq!(&file.choices().direct.on_paper.title.credit, &credit);
    }

    #[test]
    fn no_bytes_make_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        prop_assert!(!loaded(&bytes)?, "{bytes:?} names no reference, so it is no study file");
    }

    #[test]
    fn no_torn_file_makes_the_reader_panic(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..6),
        cut in any::<prop::sample::Index>(),
    ) {
        // A valid file with bytes changed, as a bad disk or the wrong encoding leaves them, and cut off.
        let mut bytes = fresh().text().as_bytes().to_vec();
        for (at, byte) in changes {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        bytes.truncate(cut.index(bytes.len() + 1));
        loaded(&bytes)?;
    }

    #[test]
    fn no_toml_makes_the_reader_panic(tables in prop::collection::vec((any::<prop::sample::Index>(), pairs()), 0..6)) {
        // Names that there are with values of any kind, and the other way round.
        let headings: Vec<&str> = TABLES.iter().filter_map(|t| t.heading).chain(ENTRIES).collect();
        let mut text = "format = 1\n[reference]\nfile = \"picture.jpg\"\n".to_owned();
        for (at, pairs) in tables {
            let heading = headings[at.index(headings.len())];
            let entry = ENTRIES.contains(&heading);
            text += &if entry { format!("[[{heading}]]\n") } else { format!("[{heading}]\n") };
            for (name, value) in pairs {
                text += &format!("{name} = {value}\n");
            }
        }
        loaded(text.as_bytes())?;
    }
}

/// What can stand in double brackets.
const ENTRIES: [&str; 5] = ["edit", "group", "keep-alike", "guide", "suppress"];

/// Reads a file of these bytes: a fault has to lie in it and be said in a sentence, and what is taken is kept to the byte.
/// Gives whether it was taken.
fn loaded(bytes: &[u8]) -> Result<bool, TestCaseError> {
    let dir = tempfile::tempdir().map_err(|e| TestCaseError::fail(e.to_string()))?;
    let path = dir.path().join("study.toml");
    fs::write(&path, bytes).map_err(|e| TestCaseError::fail(e.to_string()))?;
    match StudyFile::load(&path) {
        Ok(file) => {
            prop_assert_eq!(file.text().as_bytes(), bytes);
            Ok(true)
        }
        Err(StudyFileError::At { place, fault, .. }) => {
            let text = String::from_utf8_lossy(bytes);
            prop_assert!(lies_in(place, &text), "{:?} of {:?}: {}", place, text, fault);
            let said = fault.sentence();
            prop_assert!(!said.contains(char::is_control) && said.chars().count() <= 310, "{}", said);
            Ok(false)
        }
        Err(error) => Err(TestCaseError::fail(error.to_string())),
    }
}

/// Settings of a table: names with values of any kind of TOML.
fn pairs() -> impl Strategy<Value = Vec<(String, String)>> {
    let own = ["at", "value", "merge-with", "split-along", "name", "zone", "groups", "points", "file", "x"];
    let names: Vec<&str> = TABLES.iter().flat_map(|t| t.keys.iter().map(|k| k.name)).chain(own).collect();
    prop::collection::vec((proptest::sample::select(names).prop_map(str::to_owned), value()), 0..5)
}

/// Any value of TOML, arrays and tables in it too.
fn value() -> impl Strategy<Value = String> {
    let plain = [
        "true",
        "1",
        "-7",
        "0.5",
        "1e400",
        "inf",
        "nan",
        "1999-05-07",
        "\"50%\"",
        "\"20mm\"",
        "\"a4\"",
        "\"none\"",
    ];
    let leaf = prop_oneof![
        proptest::sample::select(plain.to_vec()).prop_map(str::to_owned),
        any::<i64>().prop_map(|n| n.to_string()),
        any::<f64>().prop_map(|n| format!("{n:?}").to_lowercase()),
        any::<String>().prop_map(|text| format!("{text:?}")),
    ];
    leaf.prop_recursive(4, 24, 5, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..5).prop_map(|all| format!("[{}]", all.join(", "))),
            inner.prop_map(|value| format!("{{ x = {value} }}")),
        ]
    })
}
