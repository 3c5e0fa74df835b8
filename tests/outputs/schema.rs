//! As much of JSON Schema (draft 2020-12) as our two schemas use; a keyword it does not know is a fault.

use serde_json::Value;

const REPORT: &str = include_str!("../../src/output/schema/report.schema.json");
const NET: &str = include_str!("../../src/output/schema/net.schema.json");

/// Panics with all faults of `text` against the schema of this name.
pub(crate) fn check(name: &str, text: &str) {
    let faults = faults(name, text);
    assert!(faults.is_empty(), "{name}: {faults:#?}");
}

/// What is wrong with `text`, one line each.
pub(super) fn faults(name: &str, text: &str) -> Vec<String> {
    let schema = if name == "report" { REPORT } else { NET };
    let schema: Value = serde_json::from_str(schema).unwrap_or_else(|e| panic!("schema {name}: {e}"));
    let value: Value = serde_json::from_str(text).unwrap_or_else(|e| panic!("{name}: {e}"));
    let mut faults = Vec::new();
    visit(&schema, &schema, &value, name, &mut faults);
    faults
}

fn visit(root: &Value, schema: &Value, value: &Value, at: &str, faults: &mut Vec<String>) {
    let rules = schema.as_object().unwrap_or_else(|| panic!("{at}: a schema is an object"));
    for (keyword, rule) in rules {
        let fault = match keyword.as_str() {
            "$schema" | "$defs" | "title" | "description" => None,
            "$ref" => {
                let pointer = rule.as_str().unwrap_or_default().trim_start_matches('#');
                let target = root.pointer(pointer).unwrap_or_else(|| panic!("{at}: no {pointer}"));
                visit(root, target, value, at, faults);
                None
            }
            "type" => {
                let allowed = rule.as_array().cloned().unwrap_or_else(|| vec![rule.clone()]);
                let fits = allowed.iter().filter_map(Value::as_str).any(|kind| is_a(value, kind));
                (!fits).then(|| format!("is no {rule}"))
            }
            "required" => {
                let names = rule.as_array().into_iter().flatten().filter_map(Value::as_str);
                let missing: Vec<&str> = names.filter(|name| value.get(name).is_none()).collect();
                // A standard rule: it asks nothing of what is no object.
                (value.is_object() && !missing.is_empty()).then(|| format!("lacks {missing:?}"))
            }
            "properties" => {
                for (name, schema) in rule.as_object().into_iter().flatten() {
                    if let Some(value) = value.get(name) {
                        visit(root, schema, value, &format!("{at}.{name}"), faults);
                    }
                }
                None
            }
            "additionalProperties" => {
                let known = |name: &String| schema["properties"].get(name).is_some();
                let others: Vec<_> =
                    value.as_object().into_iter().flatten().filter(|(name, _)| !known(name)).collect();
                if rule.is_object() {
                    for (name, value) in &others {
                        visit(root, rule, value, &format!("{at}.{name}"), faults);
                    }
                }
                (*rule == Value::Bool(false) && !others.is_empty()).then(|| format!("has more: {others:?}"))
            }
            "items" => {
                for (i, value) in value.as_array().into_iter().flatten().enumerate() {
                    visit(root, rule, value, &format!("{at}[{i}]"), faults);
                }
                None
            }
            "minimum" => below(value.as_f64(), rule.as_f64()).then(|| format!("is under {rule}")),
            "maximum" => below(rule.as_f64(), value.as_f64()).then(|| format!("is over {rule}")),
            "minItems" => below(length(value), rule.as_f64()).then(|| format!("has fewer than {rule}")),
            "maxItems" => below(rule.as_f64(), length(value)).then(|| format!("has more than {rule}")),
            unknown => panic!("{at}: this check does not know {unknown}"),
        };
        faults.extend(fault.map(|fault| format!("{at} {fault}")));
    }
}

fn below(a: Option<f64>, b: Option<f64>) -> bool {
    matches!((a, b), (Some(a), Some(b)) if a < b)
}

fn length(value: &Value) -> Option<f64> {
    value.as_array().map(|a| a.len() as f64)
}

fn is_a(value: &Value, kind: &str) -> bool {
    match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        "number" => value.is_number(),
        "integer" => value.is_u64() || value.is_i64(),
        _ => false,
    }
}
