//! The entries there are.

use super::form::EntryForm;
use super::{EntryKey, EntryTable};
use crate::areas::edits::{Act, Edit};
use crate::groups::{Alike, Group};
use crate::guides::Guide;
use crate::study::Entry;

const fn key(name: &'static str, form: EntryForm, required: bool, remark: &'static str) -> EntryKey {
    EntryKey { name, form, required, remark }
}

/// All entries, in the order in which a new file shows them.
pub(in crate::study::file) static ENTRIES: [EntryTable; 5] = [
    EntryTable {
        name: "edit",
        bracketed: "[edit]",
        remark: "Edits of areas, as they are at this file's plainness; each keeps its value at every plainness",
        keys: &[
            key(
                "at",
                EntryForm::Point,
                true,
                "a point of the area, across and down: shares or lengths from the top left",
            ),
            key("value", EntryForm::Value, false, "the value that the area gets"),
            key("merge-with", EntryForm::Point, false, "a point of a neighbour that becomes one with it"),
            key(
                "split-along",
                EntryForm::Line,
                false,
                "a line across the area; what lies on the point's side of it gets the value, the rest keeps its own",
            ),
        ],
        examples: &[
            "at = [\"40%\", \"25mm\"]\nvalue = 4",
            "at = [\"40%\", \"25mm\"]\nmerge-with = [\"45%\", \"30mm\"]",
            "at = [\"40%\", \"25mm\"]\nsplit-along = [[\"30%\", \"20mm\"], [\"40%\", \"35mm\"], [\"50%\", \"20mm\"]]\nvalue = 2",
        ],
        add: |by_hand, fields| {
            let Some(at) = fields.point("at") else { return Ok(()) };
            let value = fields.values("value").map(|[value, _]| value);
            let act = match (fields.point("merge-with"), fields.points("split-along"), value) {
                (None, None, Some(value)) => Act::Value(value),
                (Some(with), None, value) => Act::Merge { with, value },
                (None, Some(along), Some(value)) => Act::Split { along, value },
                (None, Some(_), None) => {
                    return Err(fields.fault(
                        "an area that is split needs a value for the part at the point; write value = 4",
                    ));
                }
                (Some(_), Some(_), _) => {
                    return Err(fields.fault(
                        "an edit either splits an area or merges it; make two edits of it, the split first",
                    ));
                }
                (None, None, None) => {
                    return Err(fields.fault(
                        "this edit changes nothing; write value = 4, merge-with = [\"45%\", \"30mm\"], or split-along and value",
                    ));
                }
            };
            by_hand.edits.push(Entry { what: Edit { at, act }, place: fields.place() });
            Ok(())
        },
    },
    EntryTable {
        name: "group",
        bracketed: "[group]",
        remark: "Groups: named zones with the value that their tone is to have; the report says what it is",
        keys: &[
            key("name", EntryForm::Name, true, "what the group is called"),
            key(
                "zone",
                EntryForm::Zone,
                true,
                "where it lies, written as for focus; where two overlap, the smaller has it",
            ),
            key(
                "value",
                EntryForm::Values,
                true,
                "the value of its tone, or the lightest and the darkest that will do",
            ),
        ],
        examples: &[
            "name = \"figure\"\nzone = \"ellipse:50%,60%,25%,35%\"\nvalue = [2, 3]",
            "name = \"ground\"\nzone = \"rect:0%,70%,100%,30%\"\nvalue = 3",
        ],
        add: |by_hand, fields| {
            let name = fields.texts("name").and_then(|names| names.into_iter().next());
            if let (Some(name), Some(zone), Some(wanted)) =
                (name, fields.zone("zone"), fields.values("value"))
            {
                by_hand.groups.push(Entry { what: Group { name, zone, wanted }, place: fields.place() });
            }
            Ok(())
        },
    },
    EntryTable {
        name: "keep-alike",
        bracketed: "[keep-alike]",
        remark: "Pairs that must read as one tone: two groups, or the areas at two points",
        keys: &[
            key("groups", EntryForm::TwoNames, false, "the names of two groups"),
            key("points", EntryForm::TwoPoints, false, "a point of each area"),
        ],
        examples: &["groups = [\"figure\", \"ground\"]", "points = [[\"20%\", \"30%\"], [\"80%\", \"30%\"]]"],
        add: |by_hand, fields| {
            let what = match (fields.texts("groups"), fields.points("points")) {
                (Some(names), None) => <[String; 2]>::try_from(names).ok().map(Alike::Groups),
                (None, Some(points)) => <[_; 2]>::try_from(points).ok().map(Alike::Points),
                _ => {
                    return Err(fields.fault(
                        "a pair is of two groups or of two points; write groups = [\"figure\", \"ground\"] or points = ...",
                    ));
                }
            };
            by_hand.alike.extend(what.map(|what| Entry { what, place: fields.place() }));
            Ok(())
        },
    },
    EntryTable {
        name: "guide",
        bracketed: "[guide]",
        remark: "Guide lines that you add, where light meets light and there is no transition to find",
        keys: &[
            key(
                "points",
                EntryForm::Line,
                false,
                "a line from point to point; ending where it began, it is closed",
            ),
            key(
                "file",
                EntryForm::File,
                false,
                "an SVG drawn over the whole reference: all its stroked lines; fills say nothing",
            ),
        ],
        examples: &[
            "points = [[\"10%\", \"20%\"], [\"30%\", \"25%\"], [\"45%\", \"22%\"]]",
            "file = \"lines.svg\"",
        ],
        add: |by_hand, fields| {
            let what = match (fields.points("points"), fields.path("file")) {
                (Some(points), None) => Guide::Points(points),
                (None, Some(path)) => Guide::File(path),
                _ => {
                    return Err(fields.fault(
                        "a guide is points or a file; write points = [[\"10%\", \"20%\"], [\"30%\", \"25%\"]] or file = \"lines.svg\"",
                    ));
                }
            };
            by_hand.guides.push(Entry { what, place: fields.place() });
            Ok(())
        },
    },
    EntryTable {
        name: "suppress",
        bracketed: "[suppress]",
        remark: "Lines that are not drawn: the one nearest to each point, within 3 mm; areas and values stay",
        keys: &[key("at", EntryForm::Point, true, "a point on the line, across and down")],
        examples: &["at = [\"40%\", \"25mm\"]"],
        add: |by_hand, fields| {
            let point = fields.point("at").map(|what| Entry { what, place: fields.place() });
            by_hand.suppressed.extend(point);
            Ok(())
        },
    },
];
