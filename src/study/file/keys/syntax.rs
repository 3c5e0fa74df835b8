//! Grammars of what is written as text, for the schema; the program itself reads by its parsers.

use crate::study::file::form::Syntax;

/// A number, and the same with a unit behind it.
macro_rules! number {
    ($unit:literal) => {
        concat!(r"[-+]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][-+]?[0-9]+)? *", $unit)
    };
}

/// One measure of a zone.
macro_rules! measure {
    () => {
        number!(r#"(mm|cm|in|inch|inches|"|%)"#)
    };
}

pub(super) static LENGTH: Syntax = Syntax {
    value_name: "LENGTH",
    wanted: "a length in quotes, with its unit",
    pattern: concat!("^ *", number!(r#"(mm|cm|in|inch|inches|")"#), " *$"),
};

pub(super) static THIN: Syntax = Syntax {
    value_name: "LENGTH|none",
    wanted: "a length in quotes, with its unit, or \"none\"",
    pattern: concat!("^ *(none|", number!(r#"(mm|cm|in|inch|inches|")"#), ") *$"),
};

pub(super) static PITCH: Syntax = Syntax {
    value_name: "auto|none|LENGTH",
    wanted: "a length in quotes, with its unit, or \"auto\" or \"none\"",
    pattern: concat!("^ *(auto|none|", number!(r#"(mm|cm|in|inch|inches|")"#), ") *$"),
};

pub(super) static LINE_TOTAL: Syntax = Syntax {
    value_name: "TOTAL",
    wanted: "a length of line in quotes, with its unit",
    pattern: concat!("^ *", number!(r#"(m|mm|cm|in|inch|inches|")"#), " *$"),
};

pub(super) static AREA: Syntax = Syntax {
    value_name: "AREA",
    wanted: "an area in quotes, with its unit",
    pattern: concat!("^ *", number!("(mm|cm|in)[2²]"), " *$"),
};

pub(super) static SHARE: Syntax = Syntax {
    value_name: "SHARE",
    wanted: "a share in quotes, such as \"150%\"",
    pattern: r"^ *(\+?[0-9.]+([eE][-+]?[0-9]+)? *%|[0-9.]+ */ *[0-9.]+) *$",
};

pub(super) static CORRECTION: Syntax = Syntax {
    value_name: "X,Y",
    wanted: "two shares in quotes, such as \"99.6%,100.2%\"",
    pattern: r"^ *([0-9.]+ *%|[0-9.]+ */ *[0-9.]+) *, *([0-9.]+ *%|[0-9.]+ */ *[0-9.]+) *$",
};

pub(super) static SPEED: Syntax = Syntax {
    value_name: "SPEED",
    wanted: "a speed in quotes, with its unit",
    pattern: concat!("^ *", number!("(mm|cm|in)/s"), " *$"),
};

pub(super) static ACCELERATION: Syntax = Syntax {
    value_name: "ACCEL",
    wanted: "an acceleration in quotes, with its unit",
    pattern: concat!("^ *", number!("(mm|cm|in)/s2"), " *$"),
};

pub(super) static SECONDS: Syntax = Syntax {
    value_name: "SECONDS",
    wanted: "a time in quotes, with its unit",
    pattern: concat!("^ *", number!("m?s"), " *$"),
};

pub(super) static PAPER: Syntax = Syntax {
    value_name: "PAPER",
    wanted: "a paper in quotes: its name, or WIDTHxHEIGHT with its unit",
    pattern: r#"^ *([A-Za-z][A-Za-z0-9 -]*|[0-9.]+ *[a-z"]* *[xX×] *[0-9.]+ *[a-z"]*) *$"#,
};

pub(in crate::study::file) static MEASURE: Syntax = Syntax {
    value_name: "MEASURE",
    wanted: "a share or a length in quotes",
    pattern: concat!("^ *", measure!(), " *$"),
};

pub(super) static POINT: Syntax = Syntax {
    value_name: "X,Y",
    wanted: "a point in quotes: across, then down, such as \"40%,25mm\"",
    pattern: concat!("^ *", measure!(), " *, *", measure!(), " *$"),
};

pub(in crate::study::file) static ZONE: Syntax = Syntax {
    value_name: "ZONE",
    wanted: "a zone in quotes, such as \"rect:10%,10%,40%,30%\"",
    pattern: concat!("^ *(rect|ellipse|polygon) *:[, ]*", measure!(), "([, ]+", measure!(), ")+[, ]*$"),
};

/// One measure on a reference.
macro_rules! on_reference {
    () => {
        number!(r#"(mm|cm|in|inch|inches|"|%|px)"#)
    };
}

pub(super) static CORNERS: Syntax = Syntax {
    value_name: "X,Y",
    wanted: "four corners in quotes, such as \"12%,8% 88%,10% 90%,95% 9%,93%\"",
    pattern: concat!(
        "^ *",
        on_reference!(),
        ",",
        on_reference!(),
        "( +",
        on_reference!(),
        ",",
        on_reference!(),
        "){3} *$"
    ),
};

pub(super) static CROP: Syntax = Syntax {
    value_name: "RECT",
    wanted: "a rectangle in quotes, such as \"rect:10%,5%,80%,90%\"",
    pattern: concat!("^ *rect:", on_reference!(), "(,", on_reference!(), "){3}$"),
};

pub(super) static TRUE_SHAPE: Syntax = Syntax {
    value_name: "auto|W:H|SIZE|PAPER",
    wanted: "\"auto\", a ratio such as \"3:4\", a size, or a paper, in quotes",
    pattern: r#"^ *([A-Za-z][A-Za-z0-9 -]*|[0-9.]+ *: *[0-9.]+|[0-9.]+ *[a-z"]* *[xX×] *[0-9.]+ *[a-z"]*) *$"#,
};

pub(super) static EXTRA_PLACE: Syntax = Syntax {
    value_name: "WHERE",
    wanted: "\"whole\", a working square, or a zone in quotes",
    pattern: concat!(
        "^ *(whole|[A-Za-z]+[0-9]+|rect *:[, ]*",
        measure!(),
        "([, ]+",
        measure!(),
        "){3}[, ]*) *$"
    ),
};

/// One sheet of a packet.
macro_rules! sheet {
    () => {
        "(underdrawing|plan|structure|squared|order)"
    };
}

pub(super) static SHEETS: Syntax = Syntax {
    value_name: "all|SHEET,SHEET",
    wanted: "sheets in quotes, such as \"plan,order\", or \"all\"",
    pattern: concat!("^ *(all|", sheet!(), "( *, *", sheet!(), ")*) *$"),
};

pub(super) static SHA256: Syntax =
    Syntax { value_name: "DIGITS", wanted: "64 hexadecimal digits in quotes", pattern: "^[0-9a-fA-F]{64}$" };
