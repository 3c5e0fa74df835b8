//! Bookmarks: a name for each part of a file, and the page that it begins on.

use pdf_writer::{Pdf, Ref, TextStr};

/// One of them.
pub(super) struct Bookmark {
    /// What a reader shows.
    pub(super) title: String,
    /// The page, from 0.
    pub(super) page: usize,
}

/// Writes all as one flat list; `ids` are those of the outline and of its entries.
pub(super) fn write(pdf: &mut Pdf, ids: &[Ref], bookmarks: &[Bookmark], pages: &[Ref]) {
    let [outline, entries @ ..] = ids else { return };
    if let (Some(first), Some(last)) = (entries.first(), entries.last()) {
        pdf.outline(*outline).first(*first).last(*last).count(entries.len() as i32);
    }
    for (k, (&id, bookmark)) in entries.iter().zip(bookmarks).enumerate() {
        let mut entry = pdf.outline_item(id);
        entry.title(TextStr(&bookmark.title)).parent(*outline);
        if let Some(&before) = k.checked_sub(1).and_then(|k| entries.get(k)) {
            entry.prev(before);
        }
        if let Some(&after) = entries.get(k + 1) {
            entry.next(after);
        }
        entry.dest().page(pages[bookmark.page]).fit();
    }
}
