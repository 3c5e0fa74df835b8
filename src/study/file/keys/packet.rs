//! The packet.

use super::syntax::SHEETS;
use super::{Key, Table, Usual};
use crate::study::file::form::Form;
use crate::study::packet::parse_sheets;

pub(super) static PACKET: Table = Table {
    name: "packet",
    heading: Some("Packet"),
    remark: "All sheets of the study in one file, which 'merestone packet' makes",
    keys: &[Key::new("sheets", Form::Written(&SHEETS), Usual::Value("all"))
        .says(
            "The sheets in it: \"all\", or some of underdrawing, plan, structure, squared, order, with commas between",
            "The sheets in it: all, or some of underdrawing, plan, structure, squared and order, with commas between; they \
             always stand in this order",
        )
        .sets(|c, t| {
            c.packet.sheets = parse_sheets(t)?;
            Ok(())
        })],
};
