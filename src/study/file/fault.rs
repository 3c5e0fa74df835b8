//! What can be wrong with a study file, and where.

use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

use super::FORMAT;
use crate::study::StudyError;
use crate::study::written::{WrittenError, nearest};

/// A place in a text, both counted from 1; a column is a character.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// The line.
    pub line: usize,
    /// The character in it.
    pub column: usize,
}

impl Place {
    /// The place of a byte of a text; behind its end, the end.
    #[must_use]
    pub fn of(text: &str, byte: usize) -> Self {
        let mut at = byte.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        let before = &text[..at];
        let line = before.rfind('\n').map_or(0, |k| k + 1);
        // A mark of byte order is no character that an editor shows.
        let shown = before[line..].chars().filter(|&c| c != '\u{feff}').count();
        Self { line: before.matches('\n').count() + 1, column: shown + 1 }
    }
}

/// Why a study file cannot be used.
#[derive(Debug, Error)]
pub enum StudyFileError {
    /// It cannot be read.
    #[error("cannot read the study file {}: {}; check its name", path.display(), plain(source))]
    Unread {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// It is no study file by its size.
    #[error("{} is larger than {most_mib} MiB, which no study file is; name another file", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Largest size in MiB.
        most_mib: u64,
    },
    /// Something in it is wrong.
    #[error("{}, line {}, column {}: {}", path.display(), place.line, place.column, fault.sentence())]
    At {
        /// The file.
        path: PathBuf,
        /// Where.
        place: Place,
        /// What.
        fault: Box<Fault>,
    },
    /// A setting was to be changed that there is not.
    #[error("a study file has no setting \"{name}\"; did you mean {nearest}?")]
    NoSuchKey {
        /// What was asked for.
        name: String,
        /// The key that is written most alike.
        nearest: &'static str,
    },
    /// The picture's name cannot be written.
    #[error("the path of {} is no plain text, so a study file cannot hold it; rename the picture", path.display())]
    Unwritable {
        /// The picture.
        path: PathBuf,
    },
}

impl StudyFileError {
    pub(super) fn at(path: &Path, text: &str, byte: usize, fault: Fault) -> Self {
        Self::At { path: path.into(), place: Place::of(text, byte), fault: Box::new(fault) }
    }

    pub(super) fn no_such_key(name: &str) -> Self {
        Self::NoSuchKey { name: name.into(), nearest: nearest(name, &super::keys::names()) }
    }

    /// Whether what the file says is at fault, not the disk.
    #[must_use]
    pub fn wrong_use(&self) -> bool {
        !matches!(self, Self::Unread { .. })
    }
}

/// The text of an error of the system, without the number that the standard library adds.
fn plain(error: &io::Error) -> String {
    let text = error.to_string();
    text.split(" (os error").next().unwrap_or_default().to_lowercase()
}

/// What is wrong at a place of a study file.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum Fault {
    /// A byte that belongs to no text.
    #[error("the file is no text in UTF-8 from here on; save it as UTF-8")]
    NotText,
    /// Not the grammar of TOML.
    #[error("this is not written as TOML has it ({message}); a setting is a line such as margin = \"20mm\"")]
    Grammar {
        /// What the parser says.
        message: String,
    },
    /// No number of the format.
    #[error("the number of the file's format is missing; write format = {FORMAT} above the first heading")]
    NoFormat,
    /// A format that is no number.
    #[error("the format is a whole number, from 1; write format = {FORMAT}")]
    NoSuchFormat,
    /// A format of a later version.
    #[error("the file has format {found}, and this version reads format {FORMAT}; use a newer merestone")]
    NewerFormat {
        /// What the file says.
        found: i64,
    },
    /// No reference.
    #[error("the file names no picture; write file = \"picture.jpg\" under [reference]")]
    NoReference,
    /// A heading that means nothing.
    #[error("there is no heading [{name}]; did you mean {nearest}?")]
    UnknownTable {
        /// What was written.
        name: String,
        /// The heading that is written most alike, in its brackets.
        nearest: String,
    },
    /// A heading that is no heading.
    #[error("{name} is a heading: write [{name}] on a line of its own, and its settings below")]
    NoTable {
        /// Its name.
        name: &'static str,
    },
    /// An entry that is written as a heading of its own kind.
    #[error(
        "there may be several of {name}: write [{name}] on a line of its own for each, and what it says below"
    )]
    NoList {
        /// Its name in one pair of brackets.
        name: &'static str,
    },
    /// An entry without what it is about.
    #[error("{name} is missing under [{table}]; write {example}")]
    Missing {
        /// The key.
        name: &'static str,
        /// The entry in one pair of brackets.
        table: &'static str,
        /// A right line.
        example: String,
    },
    /// A key that means nothing.
    #[error("there is no setting \"{name}\" under [{table}]; did you mean {nearest}?")]
    UnknownKey {
        /// What was written.
        name: String,
        /// Where.
        table: &'static str,
        /// The key there that is written most alike.
        nearest: &'static str,
    },
    /// A key that belongs elsewhere.
    #[error("{name} belongs under [{belongs}]; move the line there")]
    Elsewhere {
        /// The key.
        name: &'static str,
        /// Its heading.
        belongs: &'static str,
    },
    /// A value of another type.
    #[error("{name} is {wanted}, not {found}; write {name} = {example}")]
    Type {
        /// The key.
        name: &'static str,
        /// What it takes.
        wanted: &'static str,
        /// What was found.
        found: &'static str,
        /// A right one.
        example: String,
    },
    /// A value that cannot be read.
    #[error("{name}: {reason}")]
    Value {
        /// The key.
        name: &'static str,
        /// What is wrong.
        reason: WrittenError,
    },
    /// Two keys that cannot both be.
    #[error("{name} and {other} say the same thing in two ways; put a # before one of them")]
    Excludes {
        /// The later one.
        name: &'static str,
        /// The earlier one.
        other: &'static str,
    },
    /// A setting that makes no sense, by itself or with the others.
    #[error("{reason}")]
    Setting {
        /// What is wrong.
        reason: String,
    },
}

/// Most characters of a sentence: a value that is quoted in it may be of any length.
const MOST_SAID: usize = 300;

impl Fault {
    /// What is wrong as one line, however the text at fault was written.
    #[must_use]
    pub fn sentence(&self) -> String {
        let said: Vec<char> =
            self.to_string().chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        if said.len() <= MOST_SAID {
            return said.into_iter().collect();
        }
        // The end says what to write instead.
        let (first, last) = (&said[..MOST_SAID / 3], &said[said.len() - MOST_SAID / 2..]);
        format!("{} ... {}", first.iter().collect::<String>(), last.iter().collect::<String>())
    }
}

/// The byte of a place in a text.
pub(super) fn byte_of(text: &str, place: Place) -> usize {
    let line = text.split_inclusive('\n').take(place.line.saturating_sub(1)).map(str::len).sum::<usize>();
    let shown = text[line..].char_indices().filter(|&(_, c)| c != '\u{feff}');
    shown.map(|(k, _)| k).nth(place.column.saturating_sub(1)).map_or(text.len(), |k| line + k)
}

impl From<&StudyError> for Fault {
    fn from(error: &StudyError) -> Self {
        Self::Setting { reason: error.to_string() }
    }
}
