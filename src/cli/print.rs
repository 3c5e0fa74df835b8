//! What is said: failures as one sentence with an exit code, notes, and bytes on standard output.

use std::fmt::Display;
use std::io::{self, ErrorKind, Write};

/// Exit code of wrong use.
const WRONG_USE: u8 = 2;
/// Exit code of everything else that goes wrong.
const OTHER: u8 = 1;

/// Why the program ends without having done what was asked.
#[derive(Debug)]
pub(crate) enum Failure {
    /// What was asked for makes no sense, or would replace a file.
    WrongUse(String),
    /// The reference, the disk or the machine would not do it.
    Other(String),
    /// Whoever read standard output has stopped reading: no fault of anyone.
    ReaderGone,
}

impl Failure {
    /// Wrong use, in one sentence.
    pub(crate) fn wrong_use(sentence: impl Display) -> Self {
        Self::WrongUse(sentence.to_string())
    }

    /// Anything else, in one sentence.
    pub(crate) fn other(sentence: impl Display) -> Self {
        Self::Other(sentence.to_string())
    }

    /// A failed write to standard output.
    pub(crate) fn of_stdout(error: &io::Error) -> Self {
        if error.kind() == ErrorKind::BrokenPipe {
            Self::ReaderGone
        } else {
            Self::Other(format!(
                "cannot write to standard output: {}; free some room or name a file",
                plain(error)
            ))
        }
    }

    /// The same failure, to be told later.
    pub(crate) fn again(&self) -> Self {
        match self {
            Self::WrongUse(sentence) => Self::WrongUse(sentence.clone()),
            Self::Other(sentence) => Self::Other(sentence.clone()),
            Self::ReaderGone => Self::ReaderGone,
        }
    }

    /// Says what went wrong with one of several references, which the sentence may name itself.
    pub(crate) fn tell_of(&self, name: &str) {
        match self {
            Self::WrongUse(sentence) | Self::Other(sentence) if sentence.contains(name) => {
                say(&format!("merestone: {sentence}"));
            }
            Self::WrongUse(sentence) | Self::Other(sentence) => {
                say(&format!("merestone: {name}: {sentence}"));
            }
            Self::ReaderGone => {}
        }
    }

    /// Says what went wrong on standard error and gives the exit code.
    pub(crate) fn tell(&self) -> u8 {
        match self {
            Self::WrongUse(sentence) => {
                say(&format!("merestone: {sentence}"));
                WRONG_USE
            }
            Self::Other(sentence) => {
                say(&format!("merestone: {sentence}"));
                OTHER
            }
            Self::ReaderGone => 0,
        }
    }
}

/// Writes one line on standard error. When even that fails there is nobody left to tell.
pub(crate) fn say(line: &str) {
    let _unheard = writeln!(io::stderr().lock(), "{line}");
}

/// Writes all bytes on standard output and makes sure that they left.
pub(crate) fn hand_over(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    out.write_all(bytes).and_then(|()| out.flush()).map_err(|e| Failure::of_stdout(&e))
}

/// The text of an error of the system, without the number that the standard library adds.
pub(crate) fn plain(error: &io::Error) -> String {
    let text = error.to_string();
    let text = text.split(" (os error").next().unwrap_or_default();
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// Turns a complaint of the option parser into one sentence.
///
/// The parser writes paragraphs: the complaint, tips, the usage. The complaint and the first tip make the
/// sentence; the usage gives way to the word where to find it.
pub(crate) fn sentence_of(complaint: &clap::Error) -> String {
    let text = complaint.render().to_string();
    let mut paragraphs = text.split("\n\n");
    let first = paragraphs.next().unwrap_or_default();
    let first = first.strip_prefix("error: ").unwrap_or(first);
    let joined: Vec<&str> = first.lines().map(str::trim).filter(|l| !l.is_empty()).collect();
    let tip = paragraphs
        .flat_map(str::lines)
        .find_map(|l| l.trim().strip_prefix("tip: "))
        .map_or_else(|| "see 'merestone --help' or 'merestone draw --help'".to_owned(), str::to_owned);
    format!("{}; {tip}", joined.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::args::CommandLine;
    use clap::Parser;

    fn complaint(words: &[&str]) -> String {
        match CommandLine::try_parse_from(words) {
            Ok(_) => panic!("{words:?} was taken"),
            Err(e) => sentence_of(&e),
        }
    }

    #[test]
    fn complaints_become_single_lines_that_name_the_option() {
        for (words, part) in [
            (&["merestone"][..], "subcommand"),
            (&["merestone", "draw"], "<REF>"),
            (&["merestone", "draw", "a.png", "--values", "10"], "2 to 9"),
            (&["merestone", "draw", "a.png", "--margin", "-"], "--margin"),
            (&["merestone", "draw", "a.png", "--narrowest", "NaN"], "--narrowest"),
            (&["merestone", "drow", "a.png"], "draw"),
            (&["merestone", "draw", "a.png", "--valuess", "5"], "--values"),
            (&["merestone", "draw", "a.png", "--soft", "wavy"], "broken"),
        ] {
            let sentence = complaint(words);
            assert!(!sentence.contains('\n'), "{words:?} gave more than a line: {sentence}");
            assert!(sentence.contains(part), "{words:?} gave {sentence:?}, which lacks {part:?}");
        }
    }

    #[test]
    fn system_errors_read_as_words() {
        let error = io::Error::from_raw_os_error(28);
        assert!(!plain(&error).contains("os error"), "{}", plain(&error));
    }
}
