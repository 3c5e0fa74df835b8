//! Paper sizes against the standards that define them.
//!
//! The tables are from memory of the standards named beside them. What the standards say of how sizes follow from each
//! other (halving, doubling, the geometric mean) is tested too, so that a slip of memory would show.

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

/// ISO 269:1985, table of the C series: width and height in mm of C0 to C10.
const ISO_C: [(f64, f64); 11] = [
    (917.0, 1297.0),
    (648.0, 917.0),
    (458.0, 648.0),
    (324.0, 458.0),
    (229.0, 324.0),
    (162.0, 229.0),
    (114.0, 162.0),
    (81.0, 114.0),
    (57.0, 81.0),
    (40.0, 57.0),
    (28.0, 40.0),
];

/// JIS P 0138:1998, table of the B series: width and height in mm of B0 to B10.
const JIS_B: [(f64, f64); 11] = [
    (1030.0, 1456.0),
    (728.0, 1030.0),
    (515.0, 728.0),
    (364.0, 515.0),
    (257.0, 364.0),
    (182.0, 257.0),
    (128.0, 182.0),
    (91.0, 128.0),
    (64.0, 91.0),
    (45.0, 64.0),
    (32.0, 45.0),
];

fn size(name: &str) -> (f64, f64) {
    let paper = Paper::parse(name).unwrap_or_else(|e| panic!("{e}"));
    (paper.width_mm, paper.height_mm)
}

#[test]
fn metric_sizes_are_as_published() {
    for (letter, table) in [("A", ISO_A), ("B", ISO_B), ("C", ISO_C), ("JIS-B", JIS_B)] {
        for (n, expected) in table.into_iter().enumerate() {
            assert_eq!(size(&format!("{letter}{n}")), expected, "{letter}{n} as published");
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

/// ASME Y14.1, table of flat sheet sizes (inches, shorter side first): A to E, and the architectural series beside it.
#[test]
fn sizes_of_asme_y14_1_are_as_published() {
    let table = [
        ("A", [8.5, 11.0]),
        ("B", [11.0, 17.0]),
        ("C", [17.0, 22.0]),
        ("D", [22.0, 34.0]),
        ("E", [34.0, 44.0]),
    ];
    for (k, (letter, inches)) in table.into_iter().enumerate() {
        let (width, height) = size(&format!("ANSI-{letter}"));
        assert!((width - inches[0] * 25.4).abs() < 1e-9, "width of size {letter}");
        assert!((height - inches[1] * 25.4).abs() < 1e-9, "height of size {letter}");
        // Each size is two of the one before, side by side.
        if k > 0 {
            let [smaller_width, smaller_height] = table[k - 1].1;
            let doubled = [smaller_height, 2.0 * smaller_width];
            let same = inches.iter().zip(doubled).all(|(a, b)| (a - b).abs() < 1e-9);
            assert!(same, "two sheets make one of size {letter}");
        }
    }
    for (name, inches) in [
        ("Arch-A", [9.0, 12.0]),
        ("Arch-B", [12.0, 18.0]),
        ("Arch-C", [18.0, 24.0]),
        ("Arch-D", [24.0, 36.0]),
        ("Arch-E", [36.0, 48.0]),
        ("Arch-E1", [30.0, 42.0]),
    ] {
        let (width, height) = size(name);
        assert!((width - inches[0] * 25.4).abs() < 1e-9, "width of {name}");
        assert!((height - inches[1] * 25.4).abs() < 1e-9, "height of {name}");
    }
}

/// ISO 269: the sides of Cn lie between those of An and Bn (their geometric mean, rounded down or up).
#[test]
fn iso_c_lies_between_a_and_b() {
    for n in 0..=10 {
        let [a, b, c] = ["a", "b", "c"].map(|letter| size(&format!("{letter}{n}")));
        for (a, b, c) in [(a.0, b.0, c.0), (a.1, b.1, c.1)] {
            assert!(((a * b).sqrt() - c).abs() < 1.5, "a side of C{n} is {c}, between {a} and {b}");
        }
    }
}

#[test]
fn every_name_reads_back_upright_and_once() {
    let mut names: Vec<&str> = papers().iter().map(|row| row.name).collect();
    for name in &names {
        let (width, height) = size(name);
        assert!(width <= height, "{name} is upright as named");
    }
    assert!(papers().iter().all(|row| !row.source.is_empty()), "every row has a source");
    let count = names.len();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), count, "no name is used twice");
}
