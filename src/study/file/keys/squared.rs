//! The squared reference.

use super::{Key, Table, Usual};
use crate::study::file::form::Form;
use crate::study::written;

pub(super) static SQUARED: Table = Table {
    name: "squared",
    heading: Some("Squared reference"),
    remark: "The reference with its working squares, to follow strokes by, which 'merestone squared' makes",
    keys: &[
        Key::new("enlarged", Form::Count { least: 0, most: Some(1000) }, Usual::Value("9"))
            .says(
                "How many of the squares with most lines are shown larger, 0 to 1000",
                "How many of the squares with most lines are shown larger on pages of their own, 0 to 1000",
            )
            .sets(|c, t| {
                c.squared.enlarged = written::squares_count(t)?;
                Ok(())
            }),
        Key::new("enlarge-by", Form::Number { least: 1.0, most: 20.0 }, Usual::Value("2"))
            .says(
                "How many times larger they are, 1 to 20, as far as a page holds one",
                "How many times larger they are shown, 1 to 20, as far as a page holds one",
            )
            .sets(|c, t| {
                c.squared.times = written::times(t)?;
                Ok(())
            }),
    ],
};
