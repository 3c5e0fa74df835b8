//! Every setting there is: its name, its form, what it says to people, and what it sets.
//!
//! A key has the name that its option has on the command line. Reader, writer, schema and options are all made from
//! these tables, so that none of them can know a setting that another does not.

mod lines;
mod order;
mod packet;
mod page;
mod plan;
mod plotter;
mod print;
mod reference;
mod sheet;
mod squared;
mod structure;
mod syntax;
mod tones;
mod zones;

pub(super) use syntax::{MEASURE, ZONE};

use std::fmt;

use super::form::Form;
use crate::study::Choices;
use crate::study::written::WrittenError;

/// All headings of a study file, in order.
pub static TABLES: [&Table; 13] = [
    &reference::REFERENCE,
    &page::PAGE,
    &sheet::SHEET,
    &tones::TONES,
    &lines::LINES,
    &zones::ZONES,
    &print::PRINT,
    &plan::PLAN,
    &structure::STRUCTURE,
    &order::ORDER,
    &squared::SQUARED,
    &packet::PACKET,
    &plotter::PLOTTER,
];

/// A heading with its settings.
#[derive(Debug)]
pub struct Table {
    /// The heading in the file.
    pub name: &'static str,
    /// The heading in the help of the command line; a table without one has no options.
    pub heading: Option<&'static str>,
    /// What it is about, in one line.
    pub remark: &'static str,
    /// Its settings, in order.
    pub keys: &'static [Key],
}

/// What holds when a key is not set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Usual {
    /// A value, as it is written on the command line; it is written into every study file.
    Value(&'static str),
    /// What follows from the picture or from other settings; a study file shows an example behind a `#`.
    Follows(&'static str),
}

impl Usual {
    /// The value or the example.
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::Value(text) | Self::Follows(text) => text,
        }
    }
}

/// How a key changes the choices.
#[derive(Clone, Copy)]
enum Setter {
    /// From one text.
    One(fn(&mut Choices, &str) -> Result<(), WrittenError>),
    /// From one text, or from a word that takes back what was set.
    OneOr(&'static str, fn(&mut Choices, Option<&str>) -> Result<(), WrittenError>),
    /// From any number of texts.
    Many(fn(&mut Choices, &[&str]) -> Result<(), WrittenError>),
}

/// One setting.
#[derive(Clone, Copy)]
pub struct Key {
    /// Its name in the file, and without its dashes on the command line.
    pub name: &'static str,
    /// Its form.
    pub form: Form,
    /// What holds when it is not set.
    pub usual: Usual,
    /// Keys that say the same thing in another way, so that only one of them can be.
    pub excludes: &'static [&'static str],
    /// What it is for, in one line of the file.
    pub remark: &'static str,
    /// What it is for, in the help of the command line.
    pub help: &'static str,
    setter: Setter,
}

impl Key {
    const fn new(name: &'static str, form: Form, usual: Usual) -> Self {
        Self { name, form, usual, excludes: &[], remark: "", help: "", setter: Setter::Many(|_, _| Ok(())) }
    }

    const fn says(mut self, remark: &'static str, help: &'static str) -> Self {
        self.remark = remark;
        self.help = help;
        self
    }

    const fn excludes(mut self, others: &'static [&'static str]) -> Self {
        self.excludes = others;
        self
    }

    const fn sets(mut self, set: fn(&mut Choices, &str) -> Result<(), WrittenError>) -> Self {
        self.setter = Setter::One(set);
        self
    }

    const fn sets_or(
        mut self,
        unset: &'static str,
        set: fn(&mut Choices, Option<&str>) -> Result<(), WrittenError>,
    ) -> Self {
        self.setter = Setter::OneOr(unset, set);
        self
    }

    const fn lists(mut self, set: fn(&mut Choices, &[&str]) -> Result<(), WrittenError>) -> Self {
        self.setter = Setter::Many(set);
        self
    }

    /// The word that takes back what was set, `auto` or `none`, if the key has one.
    #[must_use]
    pub fn unset(&self) -> Option<&'static str> {
        match self.setter {
            Setter::OneOr(word, _) => Some(word),
            Setter::One(_) | Setter::Many(_) => None,
        }
    }

    /// Sets it, from values as they are written on the command line; what was set before is forgotten.
    ///
    /// # Errors
    /// [`WrittenError`] when a value cannot be read.
    pub fn apply(&self, choices: &mut Choices, values: &[&str]) -> Result<(), WrittenError> {
        let one = values.first().copied().unwrap_or_default();
        match self.setter {
            Setter::One(set) => set(choices, one),
            Setter::OneOr(word, set) => set(choices, (one.trim() != word).then_some(one)),
            Setter::Many(set) => set(choices, values),
        }
    }

    /// Checks one value.
    ///
    /// # Errors
    /// [`WrittenError`] when it cannot be read.
    pub fn check(&self, value: &str) -> Result<(), WrittenError> {
        self.apply(&mut Choices::default(), &[value])
    }
}

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name)
    }
}

impl PartialEq for Key {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

/// The key of a name, with its table. Names are unique over all tables.
#[must_use]
pub fn find(name: &str) -> Option<(&'static Table, &'static Key)> {
    TABLES.iter().find_map(|table| table.keys.iter().find(|key| key.name == name).map(|key| (*table, key)))
}

/// The names of all keys.
pub(super) fn names() -> Vec<&'static str> {
    TABLES.iter().flat_map(|table| table.keys.iter().map(|key| key.name)).collect()
}
