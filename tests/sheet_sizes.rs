//! Paper sizes against the standards that define them.

use merestone::sheet::{Paper, papers};

/// ISO 216:2007, table of the A series: width and height in mm of A0 to A10.
const ISO_A: [(f64, f64); 11] = [
    (841.0, 1189.0),
    (594.0, 841.0),
    (420.0, 594.0),
    (297.0, 420.0),
    (210.0, 297.0),
    (148.0, 210.0),
    (105.0, 148.0),
    (74.0, 105.0),
    (52.0, 74.0),
    (37.0, 52.0),
    (26.0, 37.0),
];

/// ISO 216:2007, table of the B series: width and height in mm of B0 to B10.
const ISO_B: [(f64, f64); 11] = [
    (1000.0, 1414.0),
    (707.0, 1000.0),
    (500.0, 707.0),
    (353.0, 500.0),
    (250.0, 353.0),
    (176.0, 250.0),
    (125.0, 176.0),
    (88.0, 125.0),
    (62.0, 88.0),
    (44.0, 62.0),
    (31.0, 44.0),
];

fn size(name: &str) -> (f64, f64) {
    let paper = Paper::parse(name).unwrap_or_else(|e| panic!("{e}"));
    (paper.width_mm, paper.height_mm)
}

#[test]
fn iso_sizes_are_as_published() {
    for (letter, table) in [("A", ISO_A), ("B", ISO_B)] {
        for (n, expected) in table.into_iter().enumerate() {
            assert_eq!(size(&format!("{letter}{n}")), expected, "{letter}{n} of ISO 216");
        }
    }
}

/// ISO 216 makes each size by halving the one before across its longer side and dropping the half millimetre;
/// A0 has an area of 1 m2, B0 a width of 1 m, and the sides are as 1 to the square root of 2.
#[test]
fn iso_sizes_follow_the_halving_rule() {
    for letter in ["a", "b"] {
        for n in 1..=10 {
            let (width, height) = size(&format!("{letter}{n}"));
            let (larger_width, larger_height) = size(&format!("{letter}{}", n - 1));
            assert_eq!(
                (width, height),
                ((larger_height / 2.0).floor(), larger_width),
                "{letter}{n} by halving"
            );
        }
    }
    let (width, height) = size("a0");
    assert!((width * height - 1e6).abs() < 1e3, "A0 is a square metre within a part in a thousand");
    for n in 0..=10 {
        let (width, height) = size(&format!("a{n}"));
        // Each side is off by under a millimetre, so their ratio by under sqrt 2 / width + 1 / width.
        assert!((height / width - 2f64.sqrt()).abs() < 2.5 / width, "A{n} is as 1 to the square root of 2");
    }
}

/// ANSI/ASME Y14.1: size A is 8.5 x 11 in, size B is 11 x 17 in; legal is 8.5 x 14 in. An inch is 25.4 mm (1959).
#[test]
fn us_sizes_are_whole_inches() {
    for (name, width, height) in [
        ("letter", 215.9, 279.4),
        ("legal", 215.9, 355.6),
        ("tabloid", 279.4, 431.8),
        ("ledger", 279.4, 431.8),
        ("9x12", 228.6, 304.8),
        ("11x14", 279.4, 355.6),
        ("14x17", 355.6, 431.8),
        ("18x24", 457.2, 609.6),
    ] {
        let got = size(name);
        assert!((got.0 - width).abs() < 1e-9 && (got.1 - height).abs() < 1e-9, "{name} gave {got:?}");
        assert!(Paper::parse(name).is_ok_and(|p| p.us), "{name} is sold by the inch");
    }
}

#[test]
fn every_name_reads_back_upright_and_once() {
    let mut names: Vec<&str> = papers().iter().map(|row| row.name).collect();
    for name in &names {
        let (width, height) = size(name);
        assert!(width <= height, "{name} is upright as named");
    }
    let count = names.len();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), count, "no name is used twice");
}
