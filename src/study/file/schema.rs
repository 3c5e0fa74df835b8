//! The JSON Schema of a study file, made from the table of keys.

use serde_json::{Map, Value as Json, json};

use super::FORMAT;
use super::entries::ENTRIES;
use super::keys::{TABLES, Table};

/// The schema (draft 2020-12) of a study file turned into JSON; `src/output/schema/study.schema.json` holds it.
#[must_use]
pub fn schema() -> Json {
    let mut properties = Map::new();
    let format = json!({ "description": "Number of the file's format.", "const": FORMAT });
    properties.insert("format".into(), format);
    for table in TABLES {
        properties.insert(table.name.into(), of_table(table));
    }
    for entries in &ENTRIES {
        properties.insert(entries.name.into(), entries.schema());
    }
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Study file",
        "description": "Every setting of one study. What is left out follows from the picture or from other settings.",
        "type": "object",
        "additionalProperties": false,
        "required": ["format", "reference"],
        "properties": properties,
    })
}

fn of_table(table: &Table) -> Json {
    let mut properties = Map::new();
    for key in table.keys {
        let mut own = json!({ "description": format!("{}.", key.remark) });
        if let (Json::Object(all), Json::Object(form)) = (&mut own, key.form.schema(key.unset())) {
            all.extend(form);
        }
        properties.insert(key.name.into(), own);
    }
    let mut schema = json!({
        "description": format!("{}.", table.remark),
        "type": "object",
        "additionalProperties": false,
        "properties": properties,
    });
    if table.name == "reference" {
        schema["required"] = json!(["file"]);
    }
    schema
}
