//! What the report says of a squared reference: the line in each square, and which are enlarged, where.

use super::number::rounded;
use crate::squared::{Busy, EnlargedPage};
use serde::Serialize;

/// A square with the line in it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SquareLineReport {
    /// Its name.
    pub name: String,
    /// Boundary lines and thin marks in it, in mm.
    pub line_mm: f64,
}

/// A square that is enlarged.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct EnlargedReport {
    /// Its name.
    pub name: String,
    /// How many times larger than on the sheet.
    pub scale: f64,
    /// The page that it is on, from 1 among the pages of enlargements.
    pub page: usize,
    /// Where the square lies there: left, top, width, height in mm.
    pub rect_mm: [f64; 4],
    /// Pixels of the reference per mm of the page.
    pub px_per_mm: f64,
}

/// A squared reference.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct SquaredReport {
    /// Width and height of the picture in its own pixels.
    pub picture_px: [usize; 2],
    /// All squares, that with most line first.
    pub squares: Vec<SquareLineReport>,
    /// Those that are enlarged.
    pub enlarged: Vec<EnlargedReport>,
    /// Pages of enlargements.
    pub pages: usize,
    /// Width and height of one in mm; none without any.
    pub page_mm: Option<[f64; 2]>,
}

impl SquaredReport {
    /// The report of the squares and their pages.
    #[must_use]
    pub fn new(picture_px: [usize; 2], squares: &[Busy], pages: &[EnlargedPage]) -> Self {
        let line =
            |square: &Busy| SquareLineReport { name: square.name.clone(), line_mm: rounded(square.line_mm) };
        let enlarged = pages.iter().enumerate().flat_map(|(page, of)| {
            of.squares.iter().map(move |square| {
                let r = square.rect_mm;
                EnlargedReport {
                    name: square.square.name.clone(),
                    scale: rounded(square.scale),
                    page: page + 1,
                    rect_mm: [r.x, r.y, r.width, r.height].map(rounded),
                    px_per_mm: rounded(square.px_per_mm),
                }
            })
        });
        Self {
            picture_px,
            squares: squares.iter().map(line).collect(),
            enlarged: enlarged.collect(),
            pages: pages.len(),
            page_mm: pages.first().map(|page| page.size_mm),
        }
    }
}
