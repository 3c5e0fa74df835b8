//! Changing one setting in the text of a study file.
//!
//! The parser says where things stand and the text is changed there, because the parser's own editing drops carriage
//! returns and marks of byte order: it would change every line of a file from another system.

use std::ops::Range;

use toml_edit::{Document, Item};

use super::keys::{Key, Table};

/// The text with a key set to a value in TOML.
pub(super) fn with(text: &str, table: &Table, key: &Key, literal: &str) -> String {
    let Ok(document) = Document::parse(text) else { return text.into() };
    let found = document.get(table.name);
    if let Some(span) = found.and_then(|t| t.get(key.name)).and_then(Item::span) {
        return replaced(text, span, literal);
    }
    let line = format!("{} = {literal}", key.name);
    match found {
        Some(Item::Table(t)) if !t.is_dotted() && !t.is_implicit() => {
            let body = body_of(text, &document, t.span().map_or(0, |span| span.start));
            if let Some(shown) = shown(text, &document, body.clone(), key) {
                return replaced(text, shown, &line);
            }
            let at = last_line(text, body);
            inserted(text, at, &line)
        }
        Some(Item::Value(toml_edit::Value::InlineTable(t))) => {
            let close = t.span().map_or(text.len(), |span| span.end.saturating_sub(1));
            let comma = if t.is_empty() { " " } else { ", " };
            replaced(text, close..close, &format!("{comma}{line} "))
        }
        Some(_) => {
            // Keys written as table.key stand above all headings, where another one can stand too.
            let at = first_heading(text, &document);
            replaced(text, at..at, &format!("{}.{line}{}", table.name, end_of_line(text)))
        }
        None => {
            let end = end_of_line(text);
            let gap = if text.is_empty() || text.ends_with('\n') { "" } else { end };
            format!("{text}{gap}{end}[{}]{end}{line}{end}", table.name)
        }
    }
}

/// The text with a key put behind a `#`; a value of several lines, or one inside braces, is taken out.
pub(super) fn without(text: &str, table: &Table, key: &Key) -> String {
    let Ok(document) = Document::parse(text) else { return text.into() };
    let Some(found) = document.get(table.name) else { return text.into() };
    let Some(inside) = found.as_table_like() else { return text.into() };
    let value = inside.get(key.name).and_then(Item::span);
    let name = inside.key(key.name).and_then(toml_edit::Key::span);
    let (Some(value), Some(name)) = (value, name) else { return text.into() };
    if found.is_table() {
        let begin = text[..name.start].rfind('\n').map_or(0, |k| k + 1);
        if !text[begin..value.end].contains('\n') {
            let blank = |c: char| c.is_whitespace() || c == '\u{feff}';
            let first = name.start - text[begin..name.start].trim_start_matches(blank).len();
            return replaced(text, first..first, "#");
        }
        let end = text[value.end..].find('\n').map_or(text.len(), |k| value.end + k + 1);
        return replaced(text, begin..end, "");
    }
    // Inside braces: with the comma behind it, or else the one before it.
    let behind = text[value.end..].trim_start();
    if behind.starts_with(',') {
        let end = text.len() - behind.len() + 1;
        return replaced(text, name.start..end, "");
    }
    let before = text[..name.start].trim_end();
    let begin = if before.ends_with(',') { before.len() - 1 } else { name.start };
    replaced(text, begin..value.end, "")
}

fn replaced(text: &str, span: Range<usize>, with: &str) -> String {
    format!("{}{with}{}", &text[..span.start], &text[span.end..])
}

/// The text with a line put in at the beginning of a line, or at its end.
fn inserted(text: &str, at: usize, line: &str) -> String {
    let end = end_of_line(text);
    if at == 0 || text[..at].ends_with('\n') {
        replaced(text, at..at, &format!("{line}{end}"))
    } else {
        replaced(text, at..at, &format!("{end}{line}"))
    }
}

/// How lines end in this file.
fn end_of_line(text: &str) -> &'static str {
    if text.contains("\r\n") { "\r\n" } else { "\n" }
}

/// Where headings begin, in order.
fn headings(document: &Document<&str>) -> Vec<usize> {
    fn visit(item: &Item, found: &mut Vec<usize>) {
        match item {
            Item::Table(table) => {
                if !table.is_dotted() && !table.is_implicit() {
                    found.extend(table.span().map(|span| span.start));
                }
                table.iter().for_each(|(_, item)| visit(item, found));
            }
            Item::ArrayOfTables(list) => {
                for table in list {
                    found.extend(table.span().map(|span| span.start));
                    table.iter().for_each(|(_, item)| visit(item, found));
                }
            }
            Item::None | Item::Value(_) => {}
        }
    }
    let mut found = Vec::new();
    document.iter().for_each(|(_, item)| visit(item, &mut found));
    found.sort_unstable();
    found
}

/// The byte at which the first heading begins, or the end.
fn first_heading(text: &str, document: &Document<&str>) -> usize {
    headings(document).first().copied().unwrap_or(text.len())
}

/// What lies between the line of a heading and the next heading.
fn body_of(text: &str, document: &Document<&str>, heading: usize) -> Range<usize> {
    let end = headings(document).into_iter().find(|&at| at > heading).unwrap_or(text.len());
    let begin = text[heading..].find('\n').map_or(text.len(), |k| heading + k + 1);
    begin.min(end)..end
}

/// The line, without its end, that shows a key behind a `#`.
fn shown(text: &str, document: &Document<&str>, body: Range<usize>, key: &Key) -> Option<Range<usize>> {
    let mut at = body.start;
    for line in text[body].split_inclusive('\n') {
        let span = at..at + line.trim_end().len();
        at += line.len();
        let Some(rest) = line.trim_start().strip_prefix('#') else { continue };
        let shows = rest.trim_start().strip_prefix(key.name).is_some_and(|r| r.trim_start().starts_with('='));
        // A text of several lines may hold such a line too.
        if shows && !inside_value(document, span.start) {
            return Some(span);
        }
    }
    None
}

fn inside_value(document: &Document<&str>, at: usize) -> bool {
    fn holds(item: &Item, at: usize) -> bool {
        match item {
            Item::Value(_) => item.span().is_some_and(|span| span.contains(&at)),
            Item::Table(table) => table.iter().any(|(_, item)| holds(item, at)),
            Item::ArrayOfTables(list) => list.iter().any(|t| t.iter().any(|(_, item)| holds(item, at))),
            Item::None => false,
        }
    }
    document.iter().any(|(_, item)| holds(item, at))
}

/// Where a line can be added to a body: behind its last line that is neither empty nor a remark on what follows.
fn last_line(text: &str, body: Range<usize>) -> usize {
    let mut at = body.start;
    let mut last = body.start;
    for line in text[body].split_inclusive('\n') {
        at += line.len();
        if !line.trim().is_empty() && !line.trim_start().starts_with('#') {
            last = at;
        }
    }
    last
}
