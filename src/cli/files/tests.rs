//! What the options ask for, and how files are written.

use clap::Parser;

use super::*;
use crate::cli::args::{Command, CommandLine};

fn files(words: &[&str]) -> FileArgs {
    let line = ["merestone", "draw", "unused.png"].iter().chain(words);
    match CommandLine::try_parse_from(line).map(|l| l.command) {
        Ok(Command::Draw(args)) => args.files,
        other => panic!("{words:?} gave {other:?}"),
    }
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn with_none_named_svg_and_pdf_go_beside_the_reference() {
    let list = collect(&files(&[]), Some(Path::new("some/folder/old.scan.jpeg")), false)
        .unwrap_or_else(|e| panic!("{e:?}"));
    assert_eq!(
        list,
        [
            Output::File(Content::Svg, "some/folder/old.scan-underdrawing.svg".into()),
            Output::File(Content::Pdf, "some/folder/old.scan-underdrawing.pdf".into()),
        ],
        "the reference's name without its ending, and what it is"
    );
}

#[test]
fn endings_say_the_form_in_either_case() {
    let list = collect(&files(&["-o", "a.SVG", "-o", "b.Pdf", "-o", "c.png"]), None, false);
    let contents: Vec<Content> =
        list.unwrap_or_else(|e| panic!("{e:?}")).iter().map(Output::content).collect();
    assert_eq!(contents, [Content::Svg, Content::Pdf, Content::Png], "by ending");
}

#[test]
fn a_dash_takes_the_form_that_is_named() {
    let list = collect(&files(&["-o", "-", "--format", "pdf"]), None, false);
    assert_eq!(list.unwrap_or_else(|e| panic!("{e:?}")), [Output::Piped(Content::Pdf)], "standard output");
}

#[test]
fn nothing_appears_when_one_file_cannot_be_kept() {
    let folder = folder();
    let [first, second] = ["a.svg", "b.svg"].map(|name| folder.path().join(name));
    let list = vec![Output::File(Content::Svg, first), Output::File(Content::Svg, second.clone())];
    let outputs = Outputs { list, overwrite: false };
    // Another program was quicker: the file was not there when the outputs were checked.
    fs::write(&second, b"theirs").unwrap_or_else(|e| panic!("{e}"));
    let ended = outputs.write(&[b"one".to_vec(), b"two".to_vec()]);
    assert!(matches!(ended, Err(Failure::WrongUse(_))), "{ended:?}");
    let names: Vec<_> = fs::read_dir(folder.path())
        .unwrap_or_else(|e| panic!("{e}"))
        .filter_map(|entry| entry.ok().map(|e| e.file_name()))
        .collect();
    assert_eq!(names, ["b.svg"], "only the other program's file is there");
    assert_eq!(fs::read(&second).ok().as_deref(), Some(&b"theirs"[..]), "and it is as it was");
}

#[test]
fn places_are_told_apart_by_where_they_are() {
    let folder = folder();
    let path = folder.path().join("a.svg");
    let place = |p: &Path| Place::of(p).unwrap_or_else(|e| panic!("{e:?}"));
    assert!(place(&path).same(&place(&folder.path().join("./a.svg"))), "the same name by another way");
    assert!(!place(&path).same(&place(&folder.path().join("b.svg"))), "another name");
    assert!(Place::of(&folder.path().join("none/a.svg")).is_err(), "a folder that is not there");
}
