//! Rules that every file keeps, and that DEVELOPERS.md names only what exists.

use std::fs;
use std::path::{Path, PathBuf};

/// Longest source file, in lines.
const MOST_LINES: usize = 500;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// All Rust files below a folder.
fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = vec![];
    for entry in fs::read_dir(folder).expect("a folder of the project") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
    found
}

fn text(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// What stands between single backticks, outside blocks of code.
fn quoted(page: &str) -> Vec<&str> {
    let prose = page.split("```").step_by(2);
    prose.flat_map(|part| part.split('`').skip(1).step_by(2)).collect()
}

/// Whether a quoted word is meant as a path: it begins with a folder of the project.
fn is_path(word: &str) -> bool {
    const FOLDERS: [&str; 7] =
        ["src/", "tests/", "benches/", "examples/", "docs/", ".ci/", "proptest-regressions/"];
    FOLDERS.iter().any(|f| word.starts_with(f)) && !word.contains([' ', '*'])
}

#[test]
fn every_path_that_developers_md_names_exists() {
    let page = text(&root().join("DEVELOPERS.md"));
    let named: Vec<&str> = quoted(&page).into_iter().filter(|word| is_path(word)).collect();
    assert!(named.len() > 20, "the map of the code names only {} paths", named.len());
    for path in named {
        assert!(root().join(path).exists(), "DEVELOPERS.md names {path}, which does not exist");
    }
}

#[test]
fn the_map_leaves_out_no_folder() {
    let page = text(&root().join("DEVELOPERS.md"));
    let named = quoted(&page);
    for entry in fs::read_dir(root().join("src")).expect("src").flatten() {
        let name = entry.file_name();
        let path = format!("src/{}{}", name.to_string_lossy(), if entry.path().is_dir() { "/" } else { "" });
        assert!(named.contains(&path.as_str()), "DEVELOPERS.md does not name {path}");
    }
}

#[test]
fn every_source_file_says_what_it_is_for_and_is_short() {
    for folder in ["src", "tests", "benches", "examples"] {
        for path in sources(&root().join(folder)) {
            let text = text(&path);
            assert!(text.starts_with("//! "), "{} does not open with a //! line", path.display());
            let lines = text.lines().count();
            assert!(lines < MOST_LINES, "{} has {lines} lines", path.display());
        }
    }
}

#[test]
fn only_the_command_line_knows_clap() {
    let mut users = 0;
    for path in sources(&root().join("src")) {
        let uses = text(&path).lines().any(|l| !l.trim_start().starts_with("//") && l.contains("clap"));
        let within = path.strip_prefix(root()).expect("below the root");
        let allowed = within.starts_with("src/cli") || within == Path::new("src/main.rs");
        assert!(!uses || allowed, "{} uses clap", within.display());
        users += usize::from(uses);
    }
    assert!(users > 0, "no file uses clap, so this test looks for the wrong thing");
}

#[test]
fn no_text_holds_both_sides_of_a_merge() {
    let mut texts = sources(root());
    texts.retain(|path| !path.starts_with(root().join("target")));
    texts.extend(["README.md", "DEVELOPERS.md", "tests/README.md"].map(|name| root().join(name)));
    for path in texts {
        let text = text(&path);
        let left = text.lines().find(|line| line.starts_with("<<<<<<< ") || line.starts_with(">>>>>>> "));
        assert!(left.is_none(), "{}: {left:?} was left by a merge", path.display());
    }
}
