//! The study file: every setting of one study, with comments, in TOML.
//!
//! In: the file's text. Out: [`Choices`], or the first fault with its line and column. The text itself is what is kept,
//! so a file that is loaded and saved is the same to the byte; a changed setting changes its own place alone.
//! Keeps: reader, writer, schema and command line all follow one table, [`TABLES`].

mod change;
mod entries;
mod fault;
mod form;
pub mod keys;
mod read;
mod schema;
mod write;

#[cfg(test)]
mod tests;

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};

pub use fault::{Fault, Place, StudyFileError};
pub use form::Form;
pub use keys::{Key, TABLES, Table, Usual, find};
pub use schema::schema;
pub use write::{new_study, path_from};

use super::Choices;

/// Number of the file's format that this version reads and writes.
pub const FORMAT: i64 = 1;
/// Most bytes of a study file: two hundred polygons of ten thousand corners need less.
const MOST_BYTES: u64 = 32 << 20;

/// A study file that holds no fault.
#[derive(Clone, Debug, PartialEq)]
pub struct StudyFile {
    path: PathBuf,
    text: String,
    choices: Choices,
    set: Vec<(&'static Key, usize)>,
}

impl StudyFile {
    /// Reads and checks a study file.
    ///
    /// # Errors
    /// [`StudyFileError`] when it cannot be read, or for the first fault in it.
    pub fn load(path: &Path) -> Result<Self, StudyFileError> {
        let unread = |source| StudyFileError::Unread { path: path.into(), source };
        let mut bytes = Vec::new();
        let file = fs::File::open(path).map_err(unread)?;
        file.take(MOST_BYTES + 1).read_to_end(&mut bytes).map_err(unread)?;
        if bytes.len() as u64 > MOST_BYTES {
            return Err(StudyFileError::TooLarge { path: path.into(), most_mib: MOST_BYTES >> 20 });
        }
        match String::from_utf8(bytes) {
            Ok(text) => Self::from_text(path, text),
            Err(error) => {
                let good = error.utf8_error().valid_up_to();
                let known = String::from_utf8_lossy(&error.as_bytes()[..good]).into_owned();
                Err(StudyFileError::at(path, &known, good, Fault::NotText))
            }
        }
    }

    /// Checks the text of a study file that lies, or will lie, at a path.
    ///
    /// # Errors
    /// [`StudyFileError`] for the first fault in it.
    pub fn from_text(path: &Path, text: String) -> Result<Self, StudyFileError> {
        let (choices, set) =
            read::read(&text, path).map_err(|(at, fault)| StudyFileError::at(path, &text, at, fault))?;
        Ok(Self { path: path.into(), text, choices, set })
    }

    /// Where it lies.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Its text, as it was read but for what was changed since.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// What it chooses; paths lead from the working folder, not from the file.
    #[must_use]
    pub fn choices(&self) -> &Choices {
        &self.choices
    }

    /// The reference that it names.
    #[must_use]
    pub fn reference(&self) -> &Path {
        // A file without a reference has a fault, so there is one.
        self.choices.reference.as_deref().unwrap_or(Path::new(""))
    }

    /// Where in the file the value of a key stands.
    #[must_use]
    pub fn place_of(&self, name: &str) -> Option<Place> {
        self.set.iter().find(|(key, _)| key.name == name).map(|&(_, at)| Place::of(&self.text, at))
    }

    /// Sets one key to values as they are written on the command line: one, or any number for a list of zones.
    ///
    /// Comments, order and everything else stay as they are. A line that shows the key behind a `#` becomes its place;
    /// a key that this one excludes is put behind a `#`.
    ///
    /// # Errors
    /// [`StudyFileError`] when there is no such key or the file would be at fault with it; the file is then unchanged.
    pub fn set(&mut self, name: &str, values: &[&str]) -> Result<(), StudyFileError> {
        self.set_all(&[(name, values)])
    }

    /// Sets several keys as [`StudyFile::set`] does; only with all of them set does the file have to make sense.
    ///
    /// # Errors
    /// As [`StudyFile::set`].
    pub fn set_all(&mut self, settings: &[(&str, &[&str])]) -> Result<(), StudyFileError> {
        let mut text = self.text.clone();
        for (name, values) in settings {
            let (table, key) = find(name).ok_or_else(|| StudyFileError::no_such_key(name))?;
            for other in key.excludes {
                if let Some((table, other)) = find(other) {
                    text = change::without(&text, table, other);
                }
            }
            text = change::with(&text, table, key, &key.form.literal(values));
        }
        *self = Self::from_text(&self.path, text)?;
        Ok(())
    }

    /// Puts a key behind a `#`, so that it follows from the rest again.
    ///
    /// # Errors
    /// As [`StudyFile::set`].
    pub fn unset(&mut self, name: &str) -> Result<(), StudyFileError> {
        let (table, key) = find(name).ok_or_else(|| StudyFileError::no_such_key(name))?;
        *self = Self::from_text(&self.path, change::without(&self.text, table, key))?;
        Ok(())
    }
}
