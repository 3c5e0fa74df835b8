//! The packet of a study: which of its sheets go into one file, in the order in which they are used.

use super::written::{self, Words, WrittenError};

/// A sheet that a packet can hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PacketSheet {
    /// The boundary lines.
    Underdrawing,
    /// The value plan with its key.
    Plan,
    /// The value structure.
    Structure,
    /// The reference under its working squares.
    Squared,
    /// The order in which the working squares are inked.
    Order,
}

/// The words for them, in the order of use.
const SHEETS: Words<PacketSheet, 5> = [
    ("underdrawing", "The boundary lines", PacketSheet::Underdrawing),
    ("plan", "The value plan with its key", PacketSheet::Plan),
    ("structure", "The value structure", PacketSheet::Structure),
    ("squared", "The squared reference", PacketSheet::Squared),
    ("order", "The working order", PacketSheet::Order),
];

/// Settings of a packet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PacketSettings {
    /// Its sheets, each once, in the order in which they are used.
    pub sheets: Vec<PacketSheet>,
}

impl Default for PacketSettings {
    /// All of them.
    fn default() -> Self {
        Self { sheets: SHEETS.iter().map(|&(.., sheet)| sheet).collect() }
    }
}

impl PacketSettings {
    /// Whether a sheet is in it.
    #[must_use]
    pub fn has(&self, sheet: PacketSheet) -> bool {
        self.sheets.contains(&sheet)
    }
}

/// `all`, or sheets with commas between, in any order.
pub(super) fn parse_sheets(text: &str) -> Result<Vec<PacketSheet>, WrittenError> {
    if text.trim() == "all" {
        return Ok(PacketSettings::default().sheets);
    }
    let mut sheets = Vec::new();
    for name in text.split(',') {
        let sheet = written::word(&SHEETS, name)?;
        if sheets.contains(&sheet) {
            return Err(WrittenError::other(text, "name each sheet once"));
        }
        sheets.push(sheet);
    }
    sheets.sort_unstable();
    Ok(sheets)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sheets_are_in_the_order_of_use_however_they_are_written() {
        let read = |text| parse_sheets(text).map_err(|e| e.to_string());
        assert_eq!(read(" order, plan"), Ok(vec![PacketSheet::Plan, PacketSheet::Order]));
        assert_eq!(read("all"), read("order,squared,structure,plan,underdrawing"));
        for (bad, says) in
            [("", "underdrawing"), ("plan,", "underdrawing"), ("plam", "plan"), ("plan,plan", "once")]
        {
            assert!(read(bad).is_err_and(|e| e.contains(says)), "{bad:?}: {:?}", read(bad));
        }
    }
}
