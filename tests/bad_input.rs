//! What bad input gets: one clear sentence, the right exit code, nothing written, nothing overwritten.

use crate::program::{Desk, Outcome, encoded, flat, scene};

/// Wrong use.
const WRONG_USE: i32 = 2;
/// Anything else that goes wrong.
const OTHER: i32 = 1;

/// Standard error holds one sentence that names all `parts`.
fn one_sentence(outcome: &Outcome, code: i32, parts: &[&str], what: &str) {
    assert_eq!(outcome.code, code, "{what}: exit code; standard error: {}", outcome.err);
    assert!(outcome.err.starts_with("merestone: "), "{what}: {:?}", outcome.err);
    assert_eq!(outcome.err.trim_end().lines().count(), 1, "{what}: more than one line: {:?}", outcome.err);
    assert!(!outcome.err.contains("panicked"), "{what}: {:?}", outcome.err);
    assert!(outcome.err.len() < 500, "{what}: no short sentence: {:?}", outcome.err);
    for part in parts {
        assert!(outcome.err.contains(part), "{what}: {:?} lacks {part:?}", outcome.err);
    }
}

/// Runs `draw` with options that have to be refused, and looks whether the folder is as it was.
fn refused(desk: &Desk, args: &[&str], code: i32, parts: &[&str]) {
    let mut all = vec!["draw"];
    all.extend(args);
    let before = desk.everything();
    let outcome = desk.run(&all);
    one_sentence(&outcome, code, parts, &format!("{args:?}"));
    assert!(outcome.out.is_empty(), "{args:?}: something on standard output");
    assert!(desk.everything() == before, "{args:?}: the folder changed: {:?}", desk.everything().keys());
}

/// A small drawing to standard output.
const PIPED: [&str; 9] = ["draw", "picture.png", "--paper", "70x90mm", "--margin", "5mm", "-q", "-o", "-"];

#[test]
fn a_missing_file_is_named() {
    let desk = Desk::new();
    refused(&desk, &["no-such.png"], OTHER, &["no-such.png"]);
    refused(&desk, &["no-folder/no-such.png"], OTHER, &["no-folder/no-such.png"]);
    refused(&desk, &["no-such.png", "-o", "a.svg"], OTHER, &["no-such.png"]);
}

#[test]
fn a_folder_is_no_picture() {
    let desk = Desk::new();
    refused(&desk, &["."], OTHER, &["folder"]);
    refused(&desk, &[".", "-o", "a.svg"], OTHER, &["folder"]);
}

#[test]
fn an_empty_file_is_no_picture() {
    let desk = Desk::new();
    desk.put("empty.png", b"");
    refused(&desk, &["empty.png"], OTHER, &["empty.png", "empty"]);
}

#[test]
fn a_text_file_is_no_picture() {
    let desk = Desk::new();
    desk.put("letter.png", b"Dear reader, this is a letter and no picture at all.\n");
    desk.put("letter.txt", b"Dear reader, this is a letter and no picture at all.\n");
    refused(&desk, &["letter.png"], OTHER, &["letter.png"]);
    refused(&desk, &["letter.txt"], OTHER, &["letter.txt"]);
}

#[test]
fn cut_off_pictures_are_refused() {
    for ending in ["png", "jpg", "tiff", "webp", "gif", "bmp"] {
        let whole = encoded(&scene(), ending);
        for share in [0.02, 0.5, 0.9] {
            let desk = Desk::new();
            let name = format!("cut.{ending}");
            desk.put(&name, &whole[..(whole.len() as f64 * share) as usize]);
            refused(&desk, &[&name, "-o", "a.svg", "--paper", "70x90mm", "--margin", "5mm"], OTHER, &[&name]);
        }
    }
}

#[test]
fn a_huge_header_is_refused_without_taking_memory() {
    let desk = Desk::new();
    desk.put("huge.png", &png_header(60_000, 60_000));
    refused(&desk, &["huge.png"], OTHER, &["huge.png", "60000", "megapixels", "--max-megapixels"]);
    // With the limit raised, the file turns out to hold nothing.
    desk.put("wide.png", &png_header(40_000, 1));
    refused(&desk, &["wide.png"], OTHER, &["wide.png"]);
}

#[test]
fn the_pixel_limit_can_be_set() {
    let desk = Desk::new();
    desk.put("large.png", &encoded(&flat(1100, 1000, 200), "png"));
    refused(&desk, &["large.png", "--max-megapixels", "1"], OTHER, &["large.png", "1100", "megapixels"]);
    for bad in ["0", "-1", "NaN", "many"] {
        refused(&desk, &["large.png", "--max-megapixels", bad], WRONG_USE, &["--max-megapixels"]);
    }
}

/// A PNG that announces a size and ends (PNG specification, third edition, clauses 5 and 11.2.1).
fn png_header(width: u32, height: u32) -> Vec<u8> {
    let mut header = b"IHDR".to_vec();
    header.extend(width.to_be_bytes());
    header.extend(height.to_be_bytes());
    header.extend([8, 0, 0, 0, 0]);
    let mut file = b"\x89PNG\r\n\x1a\n".to_vec();
    for chunk in [header, b"IDAT\x78\x9c\x03\x00\x00\x00\x00\x01".to_vec(), b"IEND".to_vec()] {
        file.extend((chunk.len() as u32 - 4).to_be_bytes());
        file.extend(&chunk);
        file.extend(crc32(&chunk).to_be_bytes());
    }
    file
}

/// The checksum of a PNG chunk (PNG specification, annex D).
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |sum, &byte| {
        (0..8).fold(sum ^ u32::from(byte), |s, _| if s & 1 == 1 { 0xEDB8_8320 ^ (s >> 1) } else { s >> 1 })
    })
}

#[test]
fn the_checksum_is_the_standards_own() {
    // Check value of this CRC over "123456789": ITU-T V.42 parameters, catalogue value 0xCBF43926 (from memory).
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926, "CRC-32");
}

#[test]
fn sizes_that_are_none_are_refused() {
    let desk = Desk::with_picture();
    for option in ["--picture-width", "--picture-height", "--narrowest", "--line"] {
        for bad in ["0mm", "-3mm", "NaN", "NaNmm", "infmm", "20", "mm", "", "2 furlongs"] {
            refused(&desk, &["picture.png", option, bad], WRONG_USE, &[]);
        }
    }
    for bad in ["0mm2", "-6mm2", "NaNmm2", "NaN", "6", "6mm", ""] {
        refused(&desk, &["picture.png", "--least-area", bad], WRONG_USE, &[]);
    }
    for bad in ["-1mm", "NaN", "NaNmm", "infmm", "20"] {
        refused(&desk, &["picture.png", "--margin", bad], WRONG_USE, &["margin"]);
    }
    for bad in ["0x0mm", "-10x20mm", "NaNxNaNmm", "0x200mm", "1e9x1e9mm", "180x240", "infx10mm"] {
        refused(&desk, &["picture.png", &format!("--paper={bad}")], WRONG_USE, &[]);
    }
}

#[test]
fn margins_larger_than_the_paper_are_refused() {
    let desk = Desk::with_picture();
    refused(&desk, &["picture.png", "--paper", "a4", "--margin", "105mm"], WRONG_USE, &["margin", "210"]);
    refused(&desk, &["picture.png", "--paper", "a6", "--margin", "3in"], WRONG_USE, &["margin"]);
    refused(&desk, &["picture.png", "--margin", "1e300mm"], WRONG_USE, &["margin"]);
}

#[test]
fn a_picture_larger_than_the_sheet_is_refused() {
    let desk = Desk::with_picture();
    refused(&desk, &["picture.png", "--paper", "a5", "--picture-width", "300mm"], WRONG_USE, &["300"]);
    refused(&desk, &["picture.png", "--paper", "a5", "--picture-height", "40in"], WRONG_USE, &["1016"]);
}

#[test]
fn an_unknown_paper_gets_the_nearest_name() {
    let desk = Desk::with_picture();
    refused(&desk, &["picture.png", "--paper", "a44"], WRONG_USE, &["a44", "a4"]);
    refused(&desk, &["picture.png", "--paper", "leter"], WRONG_USE, &["leter", "letter"]);
    refused(&desk, &["picture.png", "--paper", ""], WRONG_USE, &["paper"]);
}

#[test]
fn too_few_or_too_many_values_are_refused() {
    let desk = Desk::with_picture();
    for bad in ["0", "1", "10", "-5", "2.5", "NaN", "five", "99999999999"] {
        refused(&desk, &["picture.png", "--values", bad], WRONG_USE, &["--values", "2 to 9"]);
    }
}

#[test]
fn breaks_that_make_no_scale_are_refused() {
    let desk = Desk::with_picture();
    refused(&desk, &["picture.png", "--breaks", "20,40,60,80"], WRONG_USE, &["order"]);
    refused(&desk, &["picture.png", "--breaks", "80,60,60,20"], WRONG_USE, &["order"]);
    refused(&desk, &["picture.png", "--breaks", "80,60", "--values", "5"], WRONG_USE, &["4"]);
    refused(&desk, &["picture.png", "--breaks", "120,60,40,20"], WRONG_USE, &["120"]);
    refused(&desk, &["picture.png", "--breaks", "90,80,70,60,50,40,30,20,10"], WRONG_USE, &["2 to 9"]);
    for bad in ["", ",", "80,,20", "NaN,20", "evenly", "-80"] {
        refused(&desk, &["picture.png", "--breaks", bad], WRONG_USE, &[]);
    }
}

#[test]
fn tone_ranges_that_make_no_sense_are_refused() {
    let desk = Desk::with_picture();
    for bad in ["100,0", "50,50", "-5,100", "0,101", "NaN,100", "0", "0,50,100", "", "wide"] {
        refused(&desk, &["picture.png", "--tone-range", bad], WRONG_USE, &[]);
    }
}

#[test]
fn other_wrong_uses_are_refused() {
    let desk = Desk::with_picture();
    for bad in ["-1", "101", "NaN", "plain", ""] {
        refused(&desk, &["picture.png", "--plainness", bad], WRONG_USE, &["--plainness"]);
    }
    for bad in ["0m", "-1m", "4", "4km", "NaNm", "infm", ""] {
        refused(&desk, &["picture.png", "--line-budget", bad], WRONG_USE, &["line"]);
    }
    for bad in ["0", "-1", "2.5", "NaN", ""] {
        refused(&desk, &["picture.png", "--areas", bad], WRONG_USE, &["--areas"]);
    }
    for two in [
        ["--plainness=9", "--areas=9"],
        ["--line-budget=1m", "--areas=9"],
        ["--line-budget=1m", "--plainness=9"],
    ] {
        refused(&desk, &["picture.png", two[0], two[1]], WRONG_USE, &["cannot be used with"]);
    }
    for bad in ["0", "-1", "300", "NaN"] {
        refused(&desk, &["picture.png", "--threads", bad], WRONG_USE, &["--threads"]);
    }
    refused(&desk, &["picture.png", "--soft", "wavy"], WRONG_USE, &["--soft", "broken"]);
    refused(&desk, &["picture.png", "--kind", "oil"], WRONG_USE, &["--kind", "tonal"]);
    refused(&desk, &["picture.png", "--orientation", "up"], WRONG_USE, &["--orientation"]);
    refused(&desk, &["picture.png", "--valuess", "5"], WRONG_USE, &["--values"]);
    refused(&desk, &["picture.png", "another.png"], WRONG_USE, &["another.png"]);
    refused(&desk, &[], WRONG_USE, &["REF"]);
}

#[test]
fn commands_that_are_none_are_refused() {
    let desk = Desk::new();
    for args in [&[][..], &["drow"], &["draw", "--papper"], &["completions", "tcsh-of-old"], &["completions"]]
    {
        one_sentence(&desk.run(args), WRONG_USE, &[], &format!("{args:?}"));
    }
}

#[test]
fn outputs_are_checked_before_work() {
    let desk = Desk::with_picture();
    for name in ["a", "a.txt", "a.jpeg", "a.svg.gz", ".svg", ""] {
        refused(&desk, &["picture.png", "-o", name], WRONG_USE, &[".svg", ".pdf"]);
    }
    refused(&desk, &["picture.png", "-o", "no-folder/a.svg"], OTHER, &["no-folder"]);
    refused(&desk, &["picture.png", "-o", "a.svg", "--report", "no-folder/r.json"], OTHER, &["no-folder"]);
    refused(&desk, &["picture.png", "-o", "a.svg", "-o", "a.svg"], WRONG_USE, &["twice"]);
    refused(&desk, &["picture.png", "-o", "a.svg", "-o", "./a.svg"], WRONG_USE, &["twice"]);
    refused(&desk, &["picture.png", "-o", "a.png", "--value-map", "a.png"], WRONG_USE, &["twice"]);
    refused(
        &desk,
        &["picture.png", "-o", "a.svg", "--report", "r.json", "--net", "r.json"],
        WRONG_USE,
        &["twice"],
    );
    refused(&desk, &["picture.png", "-o", "a.svg", "--report", "r.txt"], WRONG_USE, &["--report", ".json"]);
    refused(
        &desk,
        &["picture.png", "-o", "a.svg", "--value-map", "v.gif"],
        WRONG_USE,
        &["--value-map", ".png"],
    );
    refused(&desk, &["picture.png", "-o", "a.svg", "--net", "n.xml"], WRONG_USE, &["--net", ".json"]);
    std::fs::create_dir(desk.path("folder.svg")).expect("a folder can be made");
    for more in [&[][..], &["--overwrite"]] {
        let mut args = vec!["picture.png", "-o", "folder.svg"];
        args.extend(more);
        refused(&desk, &args, WRONG_USE, &["folder.svg"]);
    }
}

#[test]
fn standard_output_needs_a_form_and_there_is_one_of_it() {
    let desk = Desk::with_picture();
    refused(&desk, &["picture.png", "-o", "-"], WRONG_USE, &["--format"]);
    refused(&desk, &["picture.png", "-o", "a.svg", "--format", "svg"], WRONG_USE, &["--format"]);
    refused(&desk, &["picture.png", "-o", "-", "-o", "-", "--format", "svg"], WRONG_USE, &["twice"]);
    refused(&desk, &["picture.png", "-o", "-", "--format", "gif"], WRONG_USE, &["--format", "svg"]);
    refused(&desk, &["-"], WRONG_USE, &["-o"]);
}

#[test]
fn standard_input_that_holds_no_picture_is_refused() {
    let desk = Desk::new();
    for bytes in [&b""[..], b"no picture", &encoded(&scene(), "png")[..300]] {
        let before = desk.everything();
        let mut command = desk.program(&["draw", "-", "-o", "a.svg"]);
        command.write_stdin(bytes);
        let outcome = crate::program::outcome(command);
        one_sentence(&outcome, OTHER, &["standard input"], "a bad picture on standard input");
        assert!(desk.everything() == before, "something was written");
    }
}

#[test]
fn files_that_exist_stay_as_they_are() {
    let desk = Desk::with_picture();
    for name in ["a.svg", "a.pdf", "a.png", "r.json", "v.png", "n.json", "picture-underdrawing.pdf"] {
        desk.put(name, b"mine");
    }
    for name in ["a.svg", "a.pdf", "a.png"] {
        refused(&desk, &["picture.png", "-o", "new.svg", "-o", name], WRONG_USE, &[name, "--overwrite"]);
    }
    for (option, name) in [("--report", "r.json"), ("--value-map", "v.png"), ("--net", "n.json")] {
        refused(&desk, &["picture.png", "-o", "new.svg", option, name], WRONG_USE, &[name, "--overwrite"]);
    }
    refused(&desk, &["picture.png"], WRONG_USE, &["picture-underdrawing.pdf", "--overwrite"]);
}

#[test]
fn the_reference_is_never_written_over() {
    let desk = Desk::with_picture();
    for name in ["picture.png", "./picture.png"] {
        refused(&desk, &["picture.png", "-o", name], WRONG_USE, &["reference"]);
        refused(&desk, &["picture.png", "-o", name, "--overwrite"], WRONG_USE, &["reference"]);
    }
    refused(
        &desk,
        &["picture.png", "-o", "a.svg", "--value-map", "picture.png", "--overwrite"],
        WRONG_USE,
        &["reference"],
    );
    let whole = desk.path("picture.png");
    let whole = whole.to_str().expect("a plain path");
    refused(&desk, &["picture.png", "-o", whole, "--overwrite"], WRONG_USE, &["reference"]);
}

#[cfg(unix)]
#[test]
fn a_link_to_the_reference_is_the_reference() {
    let desk = Desk::with_picture();
    std::os::unix::fs::symlink(desk.path("picture.png"), desk.path("soft.png")).expect("a link can be made");
    std::fs::hard_link(desk.path("picture.png"), desk.path("firm.png")).expect("a link can be made");
    for link in ["soft.png", "firm.png"] {
        refused(&desk, &["picture.png", "-o", link, "--overwrite"], WRONG_USE, &["reference"]);
        refused(&desk, &[link, "-o", "picture.png", "--overwrite"], WRONG_USE, &["reference"]);
    }
}

#[cfg(target_os = "linux")]
#[test]
fn an_unwritable_folder_is_found_before_work() {
    // /proc takes no files, not even from the system's own user, whom permissions do not stop.
    let desk = Desk::with_picture();
    refused(&desk, &["picture.png", "-o", "/proc/study.svg"], OTHER, &["/proc/study.svg"]);
    refused(&desk, &["picture.png", "-o", "a.svg", "--report", "/proc/r.json"], OTHER, &["/proc/r.json"]);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_gets_a_sentence() {
    use std::process::Command;
    let desk = Desk::with_picture();
    let draw = [&PIPED[..], &["--report", "r.json"]].concat();
    let svg = [&draw[..], &["--format", "svg"]].concat();
    let pdf = [&draw[..], &["--format", "pdf"]].concat();
    for args in
        [&svg[..], &pdf, &["papers"], &["manual"], &["completions", "zsh"], &["--help"], &["--version"]]
    {
        let before = desk.everything();
        let full = std::fs::OpenOptions::new().write(true).open("/dev/full").expect("the full device");
        let output = Command::new(crate::program::program())
            .args(args)
            .current_dir(desk.path("."))
            .stdout(full)
            .output()
            .expect("the program starts");
        let outcome = Outcome {
            code: output.status.code().unwrap_or(-1),
            out: Vec::new(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        };
        one_sentence(&outcome, OTHER, &["standard output"], &format!("{args:?} on a full disk"));
        assert!(desk.everything() == before, "{args:?}: a report of a drawing that never arrived was left");
    }
}

#[cfg(unix)]
#[test]
fn a_reader_that_leaves_is_no_fault() {
    use std::process::{Command, Stdio};
    let desk = Desk::with_picture();
    let draw = [&PIPED[..], &["--format", "svg"]].concat();
    for args in [&draw[..], &["papers"], &["manual"], &["completions", "bash"], &["--help"]] {
        let (reader, writer) = std::io::pipe().expect("a pipe can be made");
        drop(reader);
        let output = Command::new(crate::program::program())
            .args(args)
            .current_dir(desk.path("."))
            .stdin(Stdio::null())
            .stdout(writer)
            .output()
            .expect("the program starts");
        assert_eq!(output.status.code(), Some(0), "{args:?}: {output:?}");
        assert!(output.stderr.is_empty(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    }
}

#[cfg(unix)]
#[test]
fn a_limit_on_file_sizes_leaves_no_partial_file() {
    let desk = Desk::with_picture();
    let before = desk.everything();
    for form in ["svg", "pdf", "png"] {
        let name = format!("a.{form}");
        // One block of the shell's own size: 512 bytes by POSIX, 1024 in some shells.
        let mut command = assert_cmd::Command::new("sh");
        command
            .current_dir(desk.path("."))
            .args(["-c", "ulimit -f 1; exec \"$0\" \"$@\""])
            .arg(crate::program::program());
        command.args(["draw", "picture.png", "--paper", "70x90mm", "--margin", "5mm", "-q", "-o", &name]);
        let outcome = crate::program::outcome(command);
        one_sentence(&outcome, OTHER, &[&name], "a limit on file sizes");
        assert!(desk.everything() == before, "{name}: {:?}", desk.everything().keys());
    }
    // Without the limit the same drawing is larger than that, so the limit did bite.
    let outcome = desk.draw(&["-o", "a.svg"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    assert!(desk.get("a.svg").len() > 1024, "the drawing has to be larger than the limit");
}

#[cfg(unix)]
#[test]
fn a_limit_on_the_size_of_standard_output_gets_a_sentence() {
    // The system's signal would end the program without a word.
    let desk = Desk::with_picture();
    let mut command = assert_cmd::Command::new("sh");
    command.current_dir(desk.path(".")).args(["-c", "ulimit -f 1; exec \"$0\" \"$@\" > out.svg"]);
    command.arg(crate::program::program());
    command.args([&PIPED[..], &["--format", "svg"]].concat());
    let outcome = crate::program::outcome(command);
    one_sentence(&outcome, OTHER, &["standard output"], "a limit on standard output");
}

#[test]
fn a_flat_tone_is_a_valid_result_without_lines() {
    for (width, height, tone) in [(200, 260, 128), (200, 260, 255), (200, 260, 0), (40, 40, 60)] {
        let desk = Desk::new();
        desk.put("picture.png", &encoded(&flat(width, height, tone), "png"));
        let outcome = desk.draw(&["-o", "a.svg", "-o", "a.pdf"]);
        assert_eq!(outcome.code, 0, "tone {tone}: {}", outcome.err);
        assert!(outcome.err.contains("note: "), "tone {tone}: {}", outcome.err);
        assert!(outcome.err.contains("no lines"), "tone {tone}: {}", outcome.err);
        let svg = String::from_utf8(desk.get("a.svg")).expect("SVG is text");
        assert!(!svg.contains("data-values"), "tone {tone}: a line was drawn on one flat tone");
        assert!(desk.get("a.pdf").starts_with(b"%PDF-"), "tone {tone}: a page without lines is still a page");
    }
}

#[test]
fn a_picture_of_one_pixel_draws_nothing_and_says_so() {
    let desk = Desk::new();
    desk.put("picture.png", &encoded(&flat(1, 1, 90), "png"));
    let outcome = desk.draw(&["-o", "a.svg"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    assert!(outcome.err.contains("no lines"), "{}", outcome.err);
    assert!(outcome.err.contains("too small"), "{}", outcome.err);
}

#[test]
fn slivers_are_refused_in_one_sentence() {
    for (width, height) in [(4000, 1), (1, 4000)] {
        let desk = Desk::new();
        desk.put("sliver.png", &encoded(&flat(width, height, 90), "png"));
        refused(&desk, &["sliver.png"], WRONG_USE, &["mm"]);
    }
}
