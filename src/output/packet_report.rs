//! What the report says of a packet: where each of its sheets is.

use serde::Serialize;

/// A sheet of a packet.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PacketPart {
    /// Which: underdrawing, plan, key, structure, squared, enlarged or order.
    pub sheet: String,
    /// As the file's bookmark names it.
    pub title: String,
    /// Its first page, from 1.
    pub from: usize,
    /// Its last.
    pub to: usize,
}

/// A packet.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct PacketReport {
    /// Its sheets, in the order of their pages.
    pub sheets: Vec<PacketPart>,
    /// How many pages it has.
    pub pages: usize,
}

impl PacketReport {
    /// Of sheets: which each is, its title, and how many pages it has; those without pages are left out.
    #[must_use]
    pub fn new<'a>(sheets: impl IntoIterator<Item = (&'a str, &'a str, usize)>) -> Self {
        let mut report = Self::default();
        for (sheet, title, pages) in sheets.into_iter().filter(|&(.., pages)| pages > 0) {
            let from = report.pages + 1;
            report.pages += pages;
            report.sheets.push(PacketPart {
                sheet: sheet.into(),
                title: title.into(),
                from,
                to: report.pages,
            });
        }
        report
    }
}
