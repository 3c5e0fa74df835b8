//! Paper sizes by name, and sizes written out.

use super::SheetError;
use crate::units::{MM_PER_INCH, UnitError, parse_length_mm};
use std::cmp::Reverse;
use std::sync::LazyLock;

/// A sheet of paper before it is turned to suit the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Paper {
    /// Its name in the table, or the size as it was written.
    pub name: String,
    /// Width in mm, as named (upright) or as written.
    pub width_mm: f64,
    /// Height in mm.
    pub height_mm: f64,
    /// Whether it is sold by the inch; its margin is then an inch unless set.
    pub us: bool,
}

/// One row of the table of papers, upright.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NamedPaper {
    /// The name, in lower case.
    pub name: &'static str,
    /// The shorter side.
    pub width: f64,
    /// The longer side.
    pub height: f64,
    /// Whether the sides are inches; millimetres otherwise.
    pub inches: bool,
    /// The standard, or the practice, that it comes from.
    pub source: &'static str,
}

/// Shortest side that is taken for a sheet, in mm.
const SHORTEST_SIDE_MM: f64 = 20.0;
/// Longest side that is taken for a sheet, in mm.
pub(super) const LONGEST_SIDE_MM: f64 = 10_000.0;

/// The catalogue, with its sources; read once.
static PAPERS: LazyLock<Vec<NamedPaper>> = LazyLock::new(|| read_catalogue(include_str!("papers.txt")));

/// Every paper that has a name, by standard.
#[must_use]
pub fn papers() -> &'static [NamedPaper] {
    &PAPERS
}

/// Reads the catalogue: rows of name, two sides and unit, below headings that name their source.
///
/// The file is part of the program, so a row that cannot be read is a fault of the program and a test finds it.
fn read_catalogue(text: &'static str) -> Vec<NamedPaper> {
    let mut source = "";
    let mut rows = Vec::new();
    for line in text.lines() {
        if let Some(heading) = line.strip_prefix("## ") {
            source = heading;
        } else if !line.starts_with('#') && !line.trim().is_empty() {
            let row = read_row(line, source);
            rows.push(row.unwrap_or_else(|| panic!("papers.txt holds a row that is no paper: {line}")));
        }
    }
    rows
}

fn read_row(line: &'static str, source: &'static str) -> Option<NamedPaper> {
    let words: Vec<&'static str> = line.split_whitespace().collect();
    let [name, width, height, unit] = words[..] else { return None };
    let (factor, inches) = match unit {
        "mm" => (1.0, false),
        "cm" => (10.0, false),
        "in" => (1.0, true),
        _ => return None,
    };
    let side = |text: &str| text.parse::<f64>().ok().map(|side| side * factor);
    Some(NamedPaper { name, width: side(width)?, height: side(height)?, inches, source })
}

impl From<NamedPaper> for Paper {
    fn from(row: NamedPaper) -> Self {
        let unit_mm = if row.inches { MM_PER_INCH } else { 1.0 };
        Self {
            name: row.name.into(),
            width_mm: row.width * unit_mm,
            height_mm: row.height * unit_mm,
            us: row.inches,
        }
    }
}

impl Paper {
    /// Reads a paper's name (`a4`, `Letter`, `11x14`) or a size written out (`180x240mm`, `11x14in`, `18x24cm`).
    ///
    /// A name stands for the upright sheet; a size written out is taken as `WIDTHxHEIGHT`.
    ///
    /// # Errors
    /// [`SheetError`] when the name is unknown, the size cannot be read, or a side is under 20 mm or over 10 m.
    pub fn parse(text: &str) -> Result<Self, SheetError> {
        let plain: String =
            text.to_lowercase().replace('×', "x").chars().filter(|c| !c.is_whitespace()).collect();
        if let Some(&row) = PAPERS.iter().find(|row| row.name == plain) {
            return Ok(row.into());
        }
        match split_size(&plain) {
            Some((width, height)) => Self::from_size(text.trim(), width, height),
            None if is_one_side(&plain) => Err(SheetError::OneSide { text: text.trim().into() }),
            None => Err(SheetError::UnknownPaper { name: text.trim().into(), nearest: nearest_name(&plain) }),
        }
    }

    /// A sheet of a size written out; the unit of the height serves the width too when that has none.
    fn from_size(text: &str, width: &str, height: &str) -> Result<Self, SheetError> {
        let out_of_range = || SheetError::SizeOutOfRange { text: text.into() };
        let read = |side: &str| match parse_length_mm(side) {
            Ok(mm) => Ok(mm),
            Err(UnitError::OutOfRange { .. }) => Err(out_of_range()),
            Err(UnitError::NoUnit { .. }) => {
                // 11x14 means inches, 180x240 means millimetres.
                let small = side.parse().is_ok_and(|number: f64| number < 60.0);
                let unit = if small { "in" } else { "mm" };
                let source = UnitError::NoUnit { text: text.into(), unit };
                Err(SheetError::UnreadableSize { text: text.into(), source })
            }
            Err(source) => Err(SheetError::UnreadableSize { text: text.into(), source }),
        };
        let height_mm = read(height)?;
        let unit = height.trim_start_matches(|c: char| c.is_ascii_digit() || "+-.".contains(c));
        let width_mm = match parse_length_mm(width) {
            Err(UnitError::NoUnit { .. }) => read(&format!("{width}{unit}"))?,
            _ => read(width)?,
        };
        for side in [width_mm, height_mm] {
            if !(SHORTEST_SIDE_MM..=LONGEST_SIDE_MM).contains(&side) {
                return Err(out_of_range());
            }
        }
        let us = unit.starts_with('i') || unit.starts_with('"');
        // Micrometres are the unit of everything written, so the sheet is a whole number of them too.
        Ok(Self { name: text.into(), width_mm: whole_um(width_mm), height_mm: whole_um(height_mm), us })
    }
}

/// A length rounded to 0.001 mm.
pub(super) fn whole_um(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}

/// The two sides of a text that is meant as a size: something numeric before an `x`.
fn split_size(plain: &str) -> Option<(&str, &str)> {
    let numeric = plain.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c))
        || ["nan", "inf"].iter().any(|word| plain.starts_with(word));
    if !numeric {
        return None;
    }
    plain.split_once('x')
}

/// Whether a text is one length, or one number.
fn is_one_side(plain: &str) -> bool {
    matches!(parse_length_mm(plain), Ok(_) | Err(UnitError::NoUnit { .. } | UnitError::OutOfRange { .. }))
}

/// The name in the table with the smallest edit distance; the first of equals, but a shared first letter wins.
fn nearest_name(plain: &str) -> &'static str {
    // A name longer than this is no slip of the finger; cutting it bounds the work.
    let plain: String = plain.chars().take(40).collect();
    let rank = |row: &&NamedPaper| {
        let same_start = row.name.chars().next() == plain.chars().next();
        (strsim::levenshtein(&plain, row.name), Reverse(same_start))
    };
    PAPERS.iter().min_by_key(rank).map_or("a4", |row| row.name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_sizes_read() {
        for (text, width, height, us) in [
            ("a4", 210.0, 297.0, false),
            ("A4", 210.0, 297.0, false),
            (" Letter ", 215.9, 279.4, true),
            ("11x14in", 279.4, 355.6, true),
            ("11 x 14 in", 279.4, 355.6, true),
            ("11x14", 279.4, 355.6, true),
            ("11inx14in", 279.4, 355.6, true),
            ("8.5\"x11\"", 215.9, 279.4, true),
            ("180x240mm", 180.0, 240.0, false),
            ("240X180MM", 240.0, 180.0, false),
            ("18×24cm", 180.0, 240.0, false),
            ("18cmx240mm", 180.0, 240.0, false),
        ] {
            let paper = Paper::parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!(
                (paper.width_mm - width).abs() < 1e-9 && (paper.height_mm - height).abs() < 1e-9,
                "{text} gave {paper:?}"
            );
            assert_eq!(paper.us, us, "{text}: sold by the inch or not");
        }
    }

    #[test]
    fn impossible_sizes_are_refused() {
        for text in [
            "0x100mm",
            "-180x240mm",
            "nanxnanmm",
            "NaNx240mm",
            "infx240mm",
            "180x-240mm",
            "19x240mm",
            "10001x240mm",
            "180x1e9mm",
            "11x1e300in",
        ] {
            let error = Paper::parse(text).expect_err(text);
            assert!(matches!(error, SheetError::SizeOutOfRange { .. }), "{text} gave {error}");
            assert!(!error.to_string().contains('\n'), "{text} is refused in one sentence");
        }
        for text in ["180x240", "180x", "x240mm", "180x240furlongs", "180x240x300mm", "", "x", "180"] {
            assert!(Paper::parse(text).is_err(), "{text} was taken for a size");
        }
    }

    #[test]
    fn one_length_is_told_from_a_misspelt_name() {
        for text in ["2mm", "2", "11 in", "24cm"] {
            let error = Paper::parse(text).expect_err(text);
            assert_eq!(error, SheetError::OneSide { text: text.into() }, "{text}");
        }
    }

    #[test]
    fn a_size_without_a_unit_gets_the_likely_one() {
        for (text, example) in [("180x240", "write 180x240mm"), ("7x10", "write 7x10in")] {
            let error = Paper::parse(text).expect_err(text).to_string();
            assert!(error.contains(example), "{text}: {error}");
        }
    }

    #[test]
    fn unknown_names_suggest_the_nearest() {
        for (text, nearest) in
            [("leter", "letter"), ("A44", "a4"), ("a11", "a1"), ("tabliod", "tabloid"), ("leagal", "legal")]
        {
            let error = Paper::parse(text).expect_err(text);
            assert_eq!(
                error,
                SheetError::UnknownPaper { name: text.into(), nearest },
                "the nearest name to {text}"
            );
            assert!(error.to_string().contains(nearest), "the sentence names {nearest}");
        }
        assert!(Paper::parse(&"é".repeat(100_000)).is_err(), "a very long name is refused without long work");
    }
}
