//! Sheet: paper sizes and where the picture lies on the sheet.
