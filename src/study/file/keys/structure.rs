//! The value structure.

use super::syntax::{LENGTH, SHARE};
use super::{Key, Table, Usual};
use crate::study::file::form::Form;
use crate::study::structure::{MOST_GROUPS, parse_group_count, parse_part, parse_window_mm};

pub(super) static STRUCTURE: Table = Table {
    name: "structure",
    heading: Some("Value structure"),
    remark: "The value structure, which 'merestone structure' makes",
    keys: &[
        Key::new("most-groups", Form::Count { least: 1, most: Some(MOST_GROUPS) }, Usual::Value("7"))
            .says(
                "How many groups are found at most where none are named, 1 to 12",
                "How many large areas are found at most where the study names no groups, 1 to 12",
            )
            .sets(|c, t| {
                c.structure.most_groups = parse_group_count(t)?;
                Ok(())
            }),
        Key::new("least-group", Form::Written(&SHARE), Usual::Value("3%"))
            .says(
                "The smallest found group, as a share of the picture",
                "The smallest found group, as a share of the picture, 0.5% to 50%",
            )
            .sets(|c, t| {
                c.structure.least_group = parse_part(t)?;
                Ok(())
            }),
        Key::new("contrast-window", Form::Written(&LENGTH), Usual::Follows("25mm"))
            .says(
                "Side of the window through which contrasts are compared; without it that of a working square",
                "Side of the window through which contrasts are compared, in mm, cm or in, from 5mm on; without it that of a \
                 working square",
            )
            .sets(|c, t| {
                c.structure.window_mm = Some(parse_window_mm(t)?);
                Ok(())
            }),
        Key::new("least-alike", Form::Written(&SHARE), Usual::Value("1%"))
            .says(
                "The smallest area in the keep-alike list, as a share of the picture",
                "The smallest area in the keep-alike list, as a share of the picture, 0.5% to 50%; in no case less than half \
                 a working square",
            )
            .sets(|c, t| {
                c.structure.least_alike = parse_part(t)?;
                Ok(())
            }),
    ],
};
