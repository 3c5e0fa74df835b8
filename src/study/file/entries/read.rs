//! Reading entries: from headings in double brackets to what the artist decided by hand.

use std::path::PathBuf;

use toml_edit::{Item, TableLike, Value};

use super::form::Got;
use super::{EntryTable, FaultAt};
use crate::areas::edits::PlaceOnPicture;
use crate::areas::zones::Outline;
use crate::study::ByHand;
use crate::study::file::form::start;
use crate::study::file::{Fault, Place};
use crate::study::written::nearest;

/// What one entry says.
pub(super) struct Fields<'a> {
    /// The byte at which it begins.
    at: usize,
    /// The text of the file, for places in it.
    text: &'a str,
    got: Vec<(&'static str, usize, Got)>,
}

impl Fields<'_> {
    fn find(&self, name: &str) -> Option<&Got> {
        self.got.iter().find(|(key, ..)| *key == name).map(|(.., got)| got)
    }

    /// Whether a key is set.
    pub(super) fn has(&self, name: &str) -> bool {
        self.find(name).is_some()
    }

    /// The points of a key.
    pub(super) fn points(&self, name: &str) -> Option<Vec<PlaceOnPicture>> {
        match self.find(name)? {
            Got::Points(points) => Some(points.clone()),
            _ => None,
        }
    }

    /// The first point of a key.
    pub(super) fn point(&self, name: &str) -> Option<PlaceOnPicture> {
        self.points(name)?.first().copied()
    }

    /// The values of a key, lightest and darkest.
    pub(super) fn values(&self, name: &str) -> Option<[u8; 2]> {
        match self.find(name)? {
            Got::Values(values) => Some(*values),
            _ => None,
        }
    }

    /// The zone of a key.
    pub(super) fn zone(&self, name: &str) -> Option<Outline> {
        match self.find(name)? {
            Got::Zone(zone) => Some(zone.clone()),
            _ => None,
        }
    }

    /// The texts of a key.
    pub(super) fn texts(&self, name: &str) -> Option<Vec<String>> {
        match self.find(name)? {
            Got::Texts(texts) => Some(texts.clone()),
            _ => None,
        }
    }

    /// The path of a key.
    pub(super) fn path(&self, name: &str) -> Option<PathBuf> {
        Some(self.texts(name)?.first()?.into())
    }

    /// The place that faults name which only the picture shows.
    pub(super) fn place(&self) -> Option<Place> {
        Some(Place::of(self.text, self.at))
    }

    /// A fault of the entry as a whole.
    pub(super) fn fault(&self, reason: &str) -> FaultAt {
        (self.at, Fault::Setting { reason: reason.into() })
    }
}

/// Reads what stands under the name of an entry's heading.
pub(in crate::study::file) fn read(
    table: &'static EntryTable,
    (at, text): (usize, &str),
    item: &Item,
    by_hand: &mut ByHand,
    faults: &mut Vec<FaultAt>,
) {
    let mut one = |at: usize, inside: &dyn TableLike| {
        faults.extend(read_one(table, (at, text), inside, by_hand).err());
    };
    match item {
        Item::ArrayOfTables(list) => {
            list.iter().for_each(|inside| one(inside.span().map_or(at, |span| span.start), inside));
        }
        Item::Value(Value::Array(list)) if list.iter().all(Value::is_inline_table) => {
            let entries = list.iter().filter_map(Value::as_inline_table);
            entries.for_each(|inside| one(start(inside.span()), inside));
        }
        _ => faults.push((at, Fault::NoList { name: table.bracketed })),
    }
}

fn read_one(
    table: &'static EntryTable,
    (at, text): (usize, &str),
    inside: &dyn TableLike,
    by_hand: &mut ByHand,
) -> Result<(), FaultAt> {
    let mut fields = Fields { at, text, got: Vec::new() };
    for (name, item) in inside.iter() {
        let key_at = start(inside.key(name).and_then(toml_edit::Key::span).or(item.span()));
        let Some(key) = table.keys.iter().find(|key| key.name == name) else {
            let names: Vec<&'static str> = table.keys.iter().map(|key| key.name).collect();
            let nearest = nearest(name, &names);
            return Err((key_at, Fault::UnknownKey { name: name.into(), table: table.bracketed, nearest }));
        };
        // A heading inside an entry has no value of its own to point at.
        let value = key
            .form
            .read(key.name, item)
            .map_err(|(at, fault)| (if item.is_value() { at } else { key_at }, fault))?;
        fields.got.push((key.name, start(item.span()), value));
    }
    if let Some(key) = table.keys.iter().find(|key| key.required && !fields.has(key.name)) {
        let example = table.examples.first().and_then(|e| e.lines().find(|l| l.starts_with(key.name)));
        let fault = Fault::Missing {
            name: key.name,
            table: table.bracketed,
            example: example.unwrap_or_default().into(),
        };
        return Err((at, fault));
    }
    (table.add)(by_hand, &fields)
}
