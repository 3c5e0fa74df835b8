//! The working order.

use super::syntax::POINT;
use super::{Key, Table, Usual};
use crate::order::Hand;
use crate::study::BeginRule;
use crate::study::file::form::Form;
use crate::study::written::{self, Words};

const BEGINS: Words<BeginRule, 3> = [
    ("top", "At the top, on the side away from the drawing hand", BeginRule::Top),
    ("point", "At a point, and outward from it", BeginRule::Point),
    ("groups", "With the first group of the study file, then the next: front to back", BeginRule::Groups),
];

const HANDS: Words<Hand, 2> = [("right", "The right one", Hand::Right), ("left", "The left one", Hand::Left)];

pub(super) static ORDER: Table = Table {
    name: "order",
    heading: Some("Working order"),
    remark: "In which order the working squares are inked, for 'merestone order'",
    keys: &[
        Key::new("begin", Form::Word("WHERE", &BEGINS), Usual::Value("top"))
            .says(
                "Where inking begins: at the top, at a point (and outward), or with the groups in their order",
                "Where inking begins, and so how it goes on",
            )
            .sets(|c, t| {
                c.order.begin = written::word(&BEGINS, t)?;
                Ok(())
            }),
        Key::new("begin-at", Form::Written(&POINT), Usual::Follows("40%,30%"))
            .says(
                "The point for begin = \"point\", across and down; without it the middle of the first focus zone",
                "The point to begin at with --begin point: across and down from the picture's top left, each a share (40%) \
                 or a length (25mm) [default: the middle of the first focus zone]",
            )
            .sets_or("auto", |c, t| {
                c.order.at = t.map(written::point).transpose()?;
                Ok(())
            }),
        Key::new("hand", Form::Word("HAND", &HANDS), Usual::Value("right"))
            .says("The hand that draws: right or left", "The hand that draws: rows begin on the side away from it")
            .sets(|c, t| {
                c.order.hand = written::word(&HANDS, t)?;
                Ok(())
            }),
        Key::new("wet-for", Form::Count { least: 0, most: Some(1000) }, Usual::Value("4"))
            .says(
                "How many further squares are inked before the blacks of one are dry, 0 to 1000",
                "How many further squares are inked before the blacks of one are dry, 0 to 1000",
            )
            .sets(|c, t| {
                c.order.wet_for = written::squares_count(t)?;
                Ok(())
            }),
    ],
};
