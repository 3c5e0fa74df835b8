//! The forms that keys of entries have.

use serde_json::{Value as Json, json};
use toml_edit::{Array, Item, Value};

use super::FaultAt;
use crate::areas::edits::PlaceOnPicture;
use crate::areas::zones::Outline;
use crate::study::file::Fault;
use crate::study::file::form::{kind_of, start};
use crate::study::file::keys::{MEASURE, ZONE};
use crate::study::written::{self, WrittenError};

/// Most points of a line, as of a polygon: more is a file of lines.
const MOST_POINTS: usize = 10_000;

/// How a key of an entry is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum EntryForm {
    /// A point of the picture.
    Point,
    /// So many points, or more.
    Line,
    /// Two points.
    TwoPoints,
    /// One value.
    Value,
    /// One value, or the lightest and the darkest of several.
    Values,
    /// A zone.
    Zone,
    /// A name.
    Name,
    /// Two names.
    TwoNames,
    /// A path.
    File,
}

/// What was read.
#[derive(Clone, Debug)]
pub(super) enum Got {
    Points(Vec<PlaceOnPicture>),
    Values([u8; 2]),
    Zone(Outline),
    Texts(Vec<String>),
}

impl EntryForm {
    fn wanted(self) -> &'static str {
        match self {
            Self::Point => "a point in brackets: across, then down",
            Self::Line => "a list of two points or more, each in brackets",
            Self::TwoPoints => "a list of two points, each in brackets",
            Self::Value => "the number of a value, from 1",
            Self::Values => "the number of a value, or the lightest and the darkest in brackets",
            Self::Zone => "a zone in quotes",
            Self::Name => "a text in quotes",
            Self::TwoNames => "two names in brackets",
            Self::File => "a path in quotes",
        }
    }

    fn example(self) -> &'static str {
        match self {
            Self::Point => "[\"40%\", \"25mm\"]",
            Self::Line | Self::TwoPoints => "[[\"40%\", \"25mm\"], [\"60%\", \"25mm\"]]",
            Self::Value => "4",
            Self::Values => "[2, 3]",
            Self::Zone => "\"ellipse:50%,40%,25mm,30mm\"",
            Self::Name => "\"figure\"",
            Self::TwoNames => "[\"figure\", \"ground\"]",
            Self::File => "\"lines.svg\"",
        }
    }

    /// Reads a value; the place of a fault is as near to it as can be.
    pub(super) fn read(self, name: &'static str, item: &Item) -> Result<Got, FaultAt> {
        let at = start(item.span());
        let wrong = |found: &'static str| self.wrong(name, at, found);
        let Some(value) = item.as_value() else { return Err(wrong(kind_of(item))) };
        let texts = |list: &Array| -> Option<Vec<String>> {
            list.iter().map(|v| v.as_str().map(str::to_owned)).collect()
        };
        match (self, value) {
            (Self::Point, Value::Array(list)) => Ok(Got::Points(vec![self.point(name, list, at)?])),
            (Self::Line | Self::TwoPoints, Value::Array(list)) => {
                let points = list.iter().map(|value| match value {
                    Value::Array(point) => self.point(name, point, start(value.span())),
                    _ => Err(self.wrong(name, start(value.span()), "a list with something else in it")),
                });
                let points = points.collect::<Result<Vec<_>, _>>()?;
                let most = if self == Self::TwoPoints { 2 } else { MOST_POINTS };
                let fits = (2..=most).contains(&points.len());
                if fits { Ok(Got::Points(points)) } else { Err(wrong(counted(points.len()))) }
            }
            (Self::Value | Self::Values, Value::Integer(_)) => {
                let value = self.value(name, value)?;
                Ok(Got::Values([value, value]))
            }
            (Self::Values, Value::Array(list)) => {
                let values = list.iter().map(|v| self.value(name, v)).collect::<Result<Vec<_>, _>>()?;
                match *values.as_slice() {
                    [a, b] if a <= b => Ok(Got::Values([a, b])),
                    [_, _] => Err(wrong("the darkest value first")),
                    _ => Err(wrong(counted(values.len()))),
                }
            }
            (Self::Zone, Value::String(text)) => {
                written::outline(text.value()).map(Got::Zone).map_err(|reason| unread(name, at, reason))
            }
            (Self::Name | Self::File, Value::String(text)) if !text.value().trim().is_empty() => {
                Ok(Got::Texts(vec![text.value().clone()]))
            }
            (Self::Name | Self::File, Value::String(_)) => Err(wrong("an empty text")),
            (Self::TwoNames, Value::Array(list)) => match texts(list) {
                Some(names) if names.len() == 2 => Ok(Got::Texts(names)),
                Some(names) => Err(wrong(counted(names.len()))),
                None => Err(wrong("a list with something else in it")),
            },
            _ => Err(wrong(kind_of(item))),
        }
    }

    fn wrong(self, name: &'static str, at: usize, found: &'static str) -> FaultAt {
        (at, Fault::Type { name, wanted: self.wanted(), found, example: self.example().into() })
    }

    fn value(self, name: &'static str, value: &Value) -> Result<u8, FaultAt> {
        let number = value.as_integer().and_then(|n| u8::try_from(n).ok()).filter(|n| (1..=9).contains(n));
        let found = if value.is_integer() { "a number that no value has" } else { "something else" };
        number.ok_or_else(|| self.wrong(name, start(value.span()), found))
    }

    fn point(self, name: &'static str, list: &Array, at: usize) -> Result<PlaceOnPicture, FaultAt> {
        let measure = |value: &Value| {
            let at = start(value.span());
            // A number without quotes is a measure without a unit, which the parser of measures explains.
            let text = match value {
                Value::String(text) => text.value().clone(),
                Value::Integer(n) => n.value().to_string(),
                Value::Float(n) => n.value().to_string(),
                _ => return Err(self.wrong(name, at, "a list with something else in it")),
            };
            text.parse().map_err(|error| unread(name, at, WrittenError::Outline(error)))
        };
        let both = list.iter().map(measure).collect::<Result<Vec<_>, _>>()?;
        <[_; 2]>::try_from(both).map_err(|other| self.wrong(name, at, counted(other.len())))
    }

    /// Its JSON Schema.
    pub(super) fn schema(self) -> Json {
        let text = |pattern: &str| json!({ "type": "string", "pattern": pattern });
        let several = |item: Json, least: usize, most: usize| json!({ "type": "array", "items": item, "minItems": least, "maxItems": most });
        let point = || several(text(MEASURE.pattern), 2, 2);
        let value = || json!({ "type": "integer", "minimum": 1, "maximum": 9 });
        match self {
            Self::Point => point(),
            Self::Line => several(point(), 2, MOST_POINTS),
            Self::TwoPoints => several(point(), 2, 2),
            Self::Value => value(),
            Self::Values => json!({ "anyOf": [value(), several(value(), 2, 2)] }),
            Self::Zone => text(ZONE.pattern),
            Self::Name | Self::File => text(r"\S"),
            Self::TwoNames => several(json!({ "type": "string" }), 2, 2),
        }
    }
}

fn unread(name: &'static str, at: usize, reason: WrittenError) -> FaultAt {
    (at, Fault::Value { name, reason })
}

/// How many there are, where another number is wanted.
fn counted(count: usize) -> &'static str {
    match count {
        0 => "an empty list",
        1 => "a list of one",
        2 => "a list of two",
        _ => "a longer list",
    }
}
