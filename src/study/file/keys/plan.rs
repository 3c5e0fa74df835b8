//! The value plan.

use super::{Key, Table, Usual};
use crate::study::KeyPlace;
use crate::study::file::form::Form;
use crate::study::written::{self, Words};

const PLACES: Words<KeyPlace, 4> = [
    ("both", "Beside the picture where the margins have room, and on a page of its own", KeyPlace::Both),
    ("margin", "Beside the picture", KeyPlace::Margin),
    ("page", "On a page of its own", KeyPlace::Page),
    ("none", "Nowhere", KeyPlace::None),
];

pub(super) static PLAN: Table = Table {
    name: "plan",
    heading: Some("Value plan"),
    remark: "The value plan and its key, which 'merestone plan' makes",
    keys: &[
        Key::new("halves", Form::Flag, Usual::Value("false"))
            .says(
                "Whether an area whose own tone lies between two values is labelled with the half",
                "Label an area whose own tone lies between two values with the half (3 1/2); borders stay as they are",
            )
            .sets(|c, t| {
                c.plan.options.halves = written::flag(t)?;
                Ok(())
            }),
        Key::new("tints", Form::Flag, Usual::Value("false"))
            .says(
                "Whether areas are tinted in light greys by value, under the numbers",
                "Tint the areas in light greys by value, under the numbers",
            )
            .sets(|c, t| {
                c.plan.options.tints = written::flag(t)?;
                Ok(())
            }),
        Key::new("key", Form::Word("WHERE", &PLACES), Usual::Value("both"))
            .says(
                "Where the key to the values is printed: both, margin, page or none",
                "Where the key to the values is printed: beside the picture when the margins have room, on a page of its \
                 own with a strip to cut out (for SVG and PNG a file of its own, NAME-key.svg), both, or none",
            )
            .sets(|c, t| {
                c.plan.key = written::word(&PLACES, t)?;
                Ok(())
            }),
    ],
};
