//! The forms that settings have: how each is written in TOML, on the command line, and in JSON Schema.

use std::ops::Range;

use serde_json::{Value as Json, json};
use toml_edit::{Item, Value};

use super::Fault;
use crate::study::written::Words;

/// A list of words with what each says to a person.
pub trait WordList: Sync {
    /// The words in order, each with what it says.
    fn entries(&self) -> Vec<(&'static str, &'static str)>;
}

impl<T: Sync, const N: usize> WordList for Words<T, N> {
    fn entries(&self) -> Vec<(&'static str, &'static str)> {
        self.iter().map(|&(name, says, _)| (name, says)).collect()
    }
}

/// How something is written that has a grammar of its own.
#[derive(Debug)]
pub struct Syntax {
    /// What the command line calls it.
    pub value_name: &'static str,
    /// What it is, in words.
    pub wanted: &'static str,
    /// Its grammar as a regular expression (ECMA 262), stricter than the program where people write in several ways.
    pub pattern: &'static str,
}

/// The form of a setting.
#[derive(Clone, Copy)]
pub enum Form {
    /// Yes or no.
    Flag,
    /// One of a few words, with what the command line calls it.
    Word(&'static str, &'static dyn WordList),
    /// Such a word, and the one that its option means when it stands alone.
    Switch(&'static str, &'static dyn WordList, &'static str),
    /// A whole number.
    Count {
        /// The least.
        least: u32,
        /// The most, where there is one.
        most: Option<u32>,
    },
    /// A number between two others.
    Number {
        /// The least.
        least: f64,
        /// The most.
        most: f64,
    },
    /// Quarter turns in degrees.
    Degrees,
    /// A list of numbers, or a word that stands for one.
    Numbers {
        /// What the command line calls it.
        value_name: &'static str,
        /// The words.
        words: &'static [&'static str],
        /// Fewest and most numbers.
        count: [usize; 2],
    },
    /// A text with a grammar.
    Written(&'static Syntax),
    /// A text of so many parts, which may stand apart on the command line.
    Spread(&'static Syntax, usize),
    /// Any text.
    Text,
    /// A path, from the study file's folder.
    File,
    /// Any number of texts with a grammar.
    List(&'static Syntax),
}

/// A value as it would be written on the command line, and where it stands.
pub(super) type Written = (String, usize);

impl Form {
    /// What it takes, in words.
    pub(super) fn wanted(&self) -> &'static str {
        match self {
            Self::Flag => "true or false",
            Self::Word(..) | Self::Switch(..) => "a word in quotes",
            Self::Count { .. } | Self::Degrees => "a whole number",
            Self::Number { .. } => "a number",
            Self::Numbers { .. } => "a word in quotes or a list of numbers",
            Self::Written(syntax) | Self::Spread(syntax, _) => syntax.wanted,
            Self::Text => "a text in quotes",
            Self::File => "a path in quotes",
            Self::List(_) => "a list of texts in quotes",
        }
    }

    /// The value of a key in TOML for values as the command line has them.
    pub(super) fn literal(&self, values: &[&str]) -> String {
        let quoted = |text: &&str| quoted(text);
        let first = values.first().map_or("", |text| text.trim());
        match self {
            Self::List(_) => format!("[{}]", values.iter().map(quoted).collect::<Vec<_>>().join(", ")),
            Self::Flag => first.into(),
            Self::Count { .. } | Self::Number { .. } | Self::Degrees => {
                // What is no number is a word that stands for one, or for the reader to refuse.
                first.parse::<f64>().map_or_else(|_| quoted(&first), |number| number.to_string())
            }
            Self::Numbers { words, .. } if !words.contains(&first) => {
                let numbers: Option<Vec<String>> =
                    first.split(',').map(|n| Some(n.trim().parse::<f64>().ok()?.to_string())).collect();
                numbers.map_or_else(|| quoted(&first), |numbers| format!("[{}]", numbers.join(", ")))
            }
            // A text is kept with the spaces around it.
            Self::Text | Self::File => quoted(&values.first().copied().unwrap_or_default()),
            Self::Word(..)
            | Self::Switch(..)
            | Self::Numbers { .. }
            | Self::Written(_)
            | Self::Spread(..) => quoted(&first),
        }
    }

    /// The values of a key as the command line would have them. `unset` is the word for "not set", if the key has one.
    pub(super) fn values(&self, item: &Item, unset: Option<&str>) -> Result<Vec<Written>, &'static str> {
        let at = start(item.span());
        let one = |text: String| Ok(vec![(text, at)]);
        let Some(value) = item.as_value() else { return Err(kind_of(item)) };
        if let (Value::String(text), Some(word)) = (value, unset)
            && text.value() == word
        {
            return one(word.into());
        }
        match (self, value) {
            (Self::Flag, Value::Boolean(flag)) => one(flag.value().to_string()),
            (Self::Count { .. } | Self::Degrees | Self::Number { .. }, Value::Integer(n)) => {
                one(n.value().to_string())
            }
            (Self::Number { .. }, Value::Float(n)) => one(n.value().to_string()),
            (Self::Numbers { words, .. }, Value::String(text)) if words.contains(&text.value().as_str()) => {
                one(text.value().clone())
            }
            (Self::Numbers { .. }, Value::Array(list)) => {
                let number = |value: &Value| match value {
                    Value::Integer(n) => Some(n.value().to_string()),
                    Value::Float(n) => Some(n.value().to_string()),
                    _ => None,
                };
                let numbers: Option<Vec<String>> = list.iter().map(number).collect();
                numbers.map_or(Err("a list with something else in it"), |numbers| one(numbers.join(",")))
            }
            (
                Self::Word(..)
                | Self::Switch(..)
                | Self::Written(_)
                | Self::Spread(..)
                | Self::Text
                | Self::File,
                Value::String(text),
            ) => one(text.value().clone()),
            // A measure without quotes is a measure without a unit, which its own parser explains best.
            (Self::Written(_), Value::Integer(n)) => one(n.value().to_string()),
            (Self::Written(_), Value::Float(n)) => one(n.value().to_string()),
            (Self::List(_), Value::Array(list)) => list
                .iter()
                .map(|value| match value {
                    Value::String(text) => Ok((text.value().clone(), start(value.span()))),
                    _ => Err("a list with something else in it"),
                })
                .collect(),
            _ => Err(kind_of(item)),
        }
    }

    /// What the command line calls a value.
    #[must_use]
    pub fn value_name(&self) -> &'static str {
        match self {
            Self::Flag => "true|false",
            Self::Word(name, _) | Self::Switch(name, ..) | Self::Numbers { value_name: name, .. } => name,
            Self::Count { most: Some(_), .. } => "COUNT",
            Self::Count { most: None, .. } => "NUMBER",
            Self::Number { most, .. } if *most < 100.0 => "TIMES",
            Self::Number { .. } => "0..100",
            Self::Degrees => "DEGREES",
            Self::Written(syntax) | Self::Spread(syntax, _) | Self::List(syntax) => syntax.value_name,
            Self::Text => "TEXT",
            Self::File => "MASK.png",
        }
    }

    /// Its JSON Schema, with the word for "not set".
    pub(super) fn schema(&self, unset: Option<&str>) -> Json {
        let words = |words: Vec<&str>| json!({ "type": "string", "enum": words });
        let own = match self {
            Self::Flag => json!({ "type": "boolean" }),
            Self::Word(_, list) | Self::Switch(_, list, _) => {
                words(list.entries().iter().map(|(name, _)| *name).collect())
            }
            Self::Count { least, most: Some(most) } => {
                json!({ "type": "integer", "minimum": least, "maximum": most })
            }
            Self::Count { least, most: None } => json!({ "type": "integer", "minimum": least }),
            Self::Number { least, most } => json!({ "type": "number", "minimum": least, "maximum": most }),
            Self::Degrees => json!({ "type": "integer", "enum": [0, 90, 180, 270] }),
            Self::Numbers { words: own, count: [least, most], .. } => {
                let list = json!({
                    "type": "array",
                    "items": { "type": "number", "minimum": 0, "maximum": 100 },
                    "minItems": least,
                    "maxItems": most,
                });
                json!({ "anyOf": [words(own.to_vec()), list] })
            }
            Self::Written(syntax) | Self::Spread(syntax, _) => {
                json!({ "type": "string", "pattern": syntax.pattern })
            }
            Self::Text => json!({ "type": "string" }),
            Self::File => json!({ "type": "string", "minLength": 1 }),
            Self::List(syntax) => {
                json!({ "type": "array", "items": { "type": "string", "pattern": syntax.pattern } })
            }
        };
        match unset {
            Some(word) => json!({ "anyOf": [{ "const": word }, own] }),
            None => own,
        }
    }

    /// The fault of a value of another type.
    pub(super) fn wrong_type(&self, name: &'static str, found: &'static str, example: &[&str]) -> Fault {
        Fault::Type { name, wanted: self.wanted(), found, example: self.literal(example) }
    }
}

/// A text as TOML has it, on one line.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\t' => out.push_str("\\t"),
            c if c.is_control() => out.push_str(&format!("\\u{:04X}", u32::from(c))),
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

/// Where something begins; all that was parsed has a place.
pub(super) fn start(span: Option<Range<usize>>) -> usize {
    span.map_or(0, |span| span.start)
}

/// What an item is, in words.
pub(super) fn kind_of(item: &Item) -> &'static str {
    match item {
        Item::None => "nothing",
        Item::Table(_) => "a heading",
        Item::ArrayOfTables(_) => "a list of headings",
        Item::Value(value) => match value {
            Value::String(_) => "a text",
            Value::Integer(_) => "a whole number",
            Value::Float(_) => "a number with a point",
            Value::Boolean(_) => "true or false",
            Value::Datetime(_) => "a date without quotes",
            Value::Array(_) => "a list",
            Value::InlineTable(_) => "a table in braces",
        },
    }
}
