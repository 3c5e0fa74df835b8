//! What a study file lists by hand: edits, groups, pairs alike, guides, lines left out. Each is a heading in double
//! brackets, as often as wanted.
//!
//! One table again, from which reader, writer and schema are made; none of these has an option on the command line.

mod form;
mod read;
mod table;

use serde_json::{Map, Value as Json, json};

use super::Fault;
use crate::study::ByHand;

use form::EntryForm;
use read::Fields;

pub(super) use read::read;
pub(super) use table::ENTRIES;

/// A fault and the byte at which it stands.
type FaultAt = (usize, Fault);

/// A heading that may stand any number of times.
pub(super) struct EntryTable {
    /// The heading.
    pub(super) name: &'static str,
    /// The same as faults name it: within one pair of brackets more.
    bracketed: &'static str,
    /// What it is about, in one line.
    remark: &'static str,
    /// Its keys.
    keys: &'static [EntryKey],
    /// Entries as they are written, for a new file.
    pub(super) examples: &'static [&'static str],
    /// Adds what was read to the rest.
    add: fn(&mut ByHand, &Fields<'_>) -> Result<(), FaultAt>,
}

/// One key of an entry.
struct EntryKey {
    name: &'static str,
    form: EntryForm,
    /// Whether no entry is without it.
    required: bool,
    /// What it is for, in one line.
    remark: &'static str,
}

impl EntryTable {
    /// What a new file shows: what the entry is for, its keys, and examples behind `#`.
    pub(super) fn shown(&self) -> String {
        let mut text = format!("\n\n# {}.\n", self.remark);
        for key in self.keys {
            text.push_str(&format!("# {}: {}\n", key.name, key.remark));
        }
        for example in self.examples {
            text.push('\n');
            text.extend(format!("[[{}]]\n{example}", self.name).lines().map(|line| format!("#{line}\n")));
        }
        text
    }

    /// Its JSON Schema.
    pub(super) fn schema(&self) -> Json {
        let mut properties = Map::new();
        for key in self.keys {
            let mut own = json!({ "description": format!("{}.", key.remark) });
            if let (Json::Object(all), Json::Object(form)) = (&mut own, key.form.schema()) {
                all.extend(form);
            }
            properties.insert(key.name.into(), own);
        }
        let required: Vec<&str> = self.keys.iter().filter(|key| key.required).map(|key| key.name).collect();
        json!({
            "description": format!("{}.", self.remark),
            "type": "array",
            "items": {
                "type": "object",
                "additionalProperties": false,
                "required": required,
                "properties": properties,
            },
        })
    }
}
