//! Reading: from the text of a study file to choices, or to its first fault.

use std::path::Path;

use toml_edit::{Document, Item, TableLike};

use super::entries::{self, ENTRIES};
use super::fault::byte_of;
use super::form::{Form, kind_of, start};
use super::keys::{Key, TABLES, Table, find};
use super::{FORMAT, Fault};
use crate::guides::Guide;
use crate::raster::Raster;
use crate::study::written::nearest;
use crate::study::{ByHand, Choices, Settings, StudyError};

/// What was read: the choices, and each key that is set with the byte at which its value begins.
pub(super) type Found = (Choices, Vec<(&'static Key, usize)>);
/// A fault and the byte at which it stands.
pub(super) type FaultAt = (usize, Fault);

/// One key as it stands in the file: its values as the command line would have them.
struct Setting {
    key: &'static Key,
    at: usize,
    values: Vec<String>,
}

impl Setting {
    fn apply(&self, choices: &mut Choices) -> Result<(), Fault> {
        let values: Vec<&str> = self.values.iter().map(String::as_str).collect();
        let set = self.key.apply(choices, &values);
        set.map_err(|reason| Fault::Value { name: self.key.name, reason })
    }

    /// Whether it sets anything: `auto` and `none` do not.
    fn counts(&self) -> bool {
        self.key.unset().is_none_or(|word| self.values != [word])
    }
}

/// Reads the text of a study file that lies at `path`.
pub(super) fn read(text: &str, path: &Path) -> Result<Found, FaultAt> {
    let document = Document::parse(text).map_err(|error| {
        let message = error.message().split_whitespace().collect::<Vec<_>>().join(" ");
        (start(error.span()), Fault::Grammar { message })
    })?;
    let mut faults = Vec::new();
    // A later format may mean anything by the rest, so it comes first.
    check_format(document.as_table(), &mut faults);
    if let Some(fault) = faults.pop() {
        return Err(fault);
    }
    let mut settings = Vec::new();
    let mut by_hand = ByHand::default();
    for (name, item) in document.iter().filter(|(name, _)| *name != "format") {
        let at = start(document.key(name).and_then(toml_edit::Key::span).or(item.span()));
        match ENTRIES.iter().find(|entries| entries.name == name) {
            Some(entries) => entries::read(entries, (at, text), item, &mut by_hand, &mut faults),
            None => read_table(name, at, item, &mut settings, &mut faults),
        }
    }
    settings.sort_by_key(|setting: &Setting| setting.at);
    check_exclusions(&settings, &mut faults);
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut choices = Choices { by_hand, ..Choices::default() };
    for setting in &settings {
        faults.extend(setting.apply(&mut choices).err().map(|fault| (setting.at, fault)));
    }
    if let Some(first) = faults.into_iter().min_by_key(|&(at, _)| at) {
        return Err(first);
    }
    if choices.reference.is_none() {
        return Err((text.find("[reference]").unwrap_or(0), Fault::NoReference));
    }
    check_settings(text, &settings, &choices)?;
    let lines = choices.by_hand.guides.iter_mut().filter_map(|guide| match &mut guide.what {
        Guide::File(path) => Some(path),
        Guide::Points(_) => None,
    });
    for named in [&mut choices.reference, &mut choices.mask].into_iter().flatten().chain(lines) {
        *named = folder.join(&named);
    }
    // What an option asks for changes how much is drawn, never which areas the edits of this file are of.
    let points = !choices.by_hand.edits.is_empty() || !choices.by_hand.suppressed.is_empty();
    choices.by_hand.looked_at = points.then_some(choices.direct.how_much);
    Ok((choices, settings.into_iter().map(|setting| (setting.key, setting.at)).collect()))
}

/// Refuses a file without a format, or of another than this version's.
fn check_format(root: &toml_edit::Table, faults: &mut Vec<FaultAt>) {
    let Some(item) = root.get("format") else {
        faults.push((0, Fault::NoFormat));
        return;
    };
    match item.as_integer() {
        Some(FORMAT) => {}
        Some(found) if found > FORMAT => faults.push((start(item.span()), Fault::NewerFormat { found })),
        _ => faults.push((start(item.span()), Fault::NoSuchFormat)),
    }
}

/// Reads what stands at the first level under a name.
fn read_table(name: &str, at: usize, item: &Item, settings: &mut Vec<Setting>, faults: &mut Vec<FaultAt>) {
    let Some(table) = TABLES.iter().find(|table| table.name == name) else {
        let fault = match find(name) {
            // A heading is taken for one even if a setting has its name: [sheets] is meant for [sheet].
            _ if item.is_table() || item.is_array_of_tables() => {
                let tables = TABLES.iter().map(|table| table.name);
                let names: Vec<&'static str> = tables.chain(ENTRIES.iter().map(|e| e.name)).collect();
                let nearest = nearest(name, &names);
                let twice = ENTRIES.iter().any(|entries| entries.name == nearest);
                let nearest = if twice { format!("[[{nearest}]]") } else { format!("[{nearest}]") };
                Fault::UnknownTable { name: name.into(), nearest }
            }
            Some((table, key)) => Fault::Elsewhere { name: key.name, belongs: table.name },
            None => unknown_key(name),
        };
        faults.push((at, fault));
        return;
    };
    let Some(inside) = item.as_table_like() else {
        faults.push((at, Fault::NoTable { name: table.name }));
        return;
    };
    for (name, item) in inside.iter() {
        match read_key(table, inside, name, item) {
            Ok(setting) => settings.push(setting),
            Err(fault) => faults.push(fault),
        }
    }
}

/// A key above all headings that is none of any heading.
fn unknown_key(name: &str) -> Fault {
    let nearest = nearest(name, &super::keys::names());
    let table = find(nearest).map_or("", |(table, _)| table.name);
    Fault::UnknownKey { name: name.into(), table, nearest }
}

/// Reads one key of a heading.
fn read_key(
    table: &'static Table,
    inside: &dyn TableLike,
    name: &str,
    item: &Item,
) -> Result<Setting, FaultAt> {
    let key_at = start(inside.key(name).and_then(toml_edit::Key::span).or(item.span()));
    let Some(key) = table.keys.iter().find(|key| key.name == name) else {
        let fault = match find(name) {
            Some((belongs, key)) => Fault::Elsewhere { name: key.name, belongs: belongs.name },
            None => {
                let names: Vec<&'static str> = table.keys.iter().map(|key| key.name).collect();
                Fault::UnknownKey { name: name.into(), table: table.name, nearest: nearest(name, &names) }
            }
        };
        return Err((key_at, fault));
    };
    let at = item.span().map_or(key_at, |span| span.start);
    let wrong = |found| (at, key.form.wrong_type(key.name, found, &[key.usual.text()]));
    if item.as_value().is_none() {
        return Err((key_at, wrong(kind_of(item)).1));
    }
    let values = key.form.values(item, key.unset()).map_err(wrong)?;
    if let Form::List(_) = key.form {
        // The place of a faulty zone is its own, not that of its list.
        for (text, at) in &values {
            key.check(text).map_err(|reason| (*at, Fault::Value { name: key.name, reason }))?;
        }
    }
    Ok(Setting { key, at, values: values.into_iter().map(|(text, _)| text).collect() })
}

/// Refuses two keys that say the same thing in two ways.
fn check_exclusions(settings: &[Setting], faults: &mut Vec<FaultAt>) {
    for (k, setting) in settings.iter().enumerate().filter(|(_, setting)| setting.counts()) {
        let earlier = settings[..k].iter().filter(|other| other.counts());
        if let Some(other) = earlier.map(|other| other.key).find(|o| setting.key.excludes.contains(&o.name)) {
            faults.push((setting.at, Fault::Excludes { name: setting.key.name, other: other.name }));
        }
    }
}

/// Refuses settings that make no sense, by themselves or together; the place is that of the first key without which they
/// would.
fn check_settings(text: &str, settings: &[Setting], choices: &Choices) -> Result<(), FaultAt> {
    let Err(error) = sense(choices) else { return Ok(()) };
    if let StudyError::Entry { place: Some(place), .. } = error {
        return Err((byte_of(text, place), Fault::from(&error)));
    }
    let by_hand = &choices.by_hand;
    let without = |k: usize| {
        let mut choices = Choices { by_hand: by_hand.clone(), ..Choices::default() };
        let others = settings.iter().enumerate().filter(|&(other, _)| other != k);
        others.into_iter().all(|(_, setting)| setting.apply(&mut choices).is_ok()) && sense(&choices).is_ok()
    };
    let culprit = (0..settings.len()).find(|&k| without(k));
    Err((culprit.map_or(0, |k| settings[k].at), Fault::from(&error)))
}

/// Checks the settings of some choices, with a mask that has focus and rest where one is named.
fn sense(choices: &Choices) -> Result<(), StudyError> {
    let mut settings: Settings = choices.settings("", true)?;
    if choices.mask.is_some() {
        settings.zones.mask = Some(Raster::from_vec(2, 1, vec![-1.0, 1.0]));
    }
    settings.check()
}
