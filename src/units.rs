//! Lengths and areas as people write them (`20mm`, `1.5 cm`, `11in`, `6mm2`), read into millimetres.

use thiserror::Error;

/// Millimetres in an inch, exactly (the international yard and pound agreement of 1959).
pub const MM_PER_INCH: f64 = 25.4;

/// Why a length or an area could not be read.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum UnitError {
    /// The text has no number in it, or more than a number and a unit.
    #[error("\"{text}\" is not {what}: write a number and a unit, such as {example}")]
    Unreadable {
        /// What was written.
        text: String,
        /// What was asked for: "a length", "an area" and so on.
        what: &'static str,
        /// A right one.
        example: &'static str,
    },
    /// A number with no unit: 20 could be millimetres or inches.
    #[error("\"{text}\" has no unit: write {text}{unit}, for example")]
    NoUnit {
        /// What was written.
        text: String,
        /// The likeliest unit.
        unit: &'static str,
    },
    /// Not a number, infinite, or below what makes sense there.
    #[error("\"{text}\" is out of range: it has to be {range}")]
    OutOfRange {
        /// What was written.
        text: String,
        /// The range in words.
        range: &'static str,
    },
}

/// Splits a number from the unit behind it.
fn number_and_unit(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let end = text
        .char_indices()
        .find(|&(i, c)| {
            let exponent = (c == 'e' || c == 'E')
                && text[i + 1..].starts_with(|d: char| d.is_ascii_digit() || d == '-' || d == '+');
            !(c.is_ascii_digit() || c == '.' || c == '-' || c == '+' || exponent)
        })
        .map_or(text.len(), |(i, _)| i);
    if text.is_empty() {
        return None;
    }
    if let Ok(number) = text[..end].parse::<f64>() {
        return Some((number, text[end..].trim()));
    }
    // "NaN", "inf": numbers to Rust, out of range to us.
    let word = text.trim_end_matches(|c: char| c == '"' || c.is_ascii_digit());
    for unit in ["mm", "cm", "in"] {
        if let Some(number) = word.strip_suffix(unit).and_then(|n| n.trim().parse::<f64>().ok()) {
            return Some((number, unit));
        }
    }
    text.parse::<f64>().ok().map(|n| (n, ""))
}

/// Reads a length with its unit (`mm`, `cm`, `in` or `"`) into millimetres.
///
/// Any finite number is taken, negative ones too: what is asked for decides on the range.
///
/// # Errors
/// [`UnitError`] when there is no number, no unit, or the number is not finite.
pub fn parse_length_mm(text: &str) -> Result<f64, UnitError> {
    let unreadable = || UnitError::Unreadable {
        text: text.into(),
        what: "a length in mm, cm or in",
        example: "20mm, 1.5cm or 11in",
    };
    let (number, unit) = number_and_unit(text).ok_or_else(unreadable)?;
    let factor = match unit.to_ascii_lowercase().as_str() {
        "mm" => 1.0,
        "cm" => 10.0,
        "in" | "inch" | "inches" | "\"" => MM_PER_INCH,
        "" => return Err(UnitError::NoUnit { text: text.trim().into(), unit: "mm" }),
        _ => return Err(unreadable()),
    };
    if !number.is_finite() {
        return Err(UnitError::OutOfRange { text: text.into(), range: "a finite number" });
    }
    Ok(number * factor)
}

/// Reads a length of pencil line with its unit (`m`, `cm`, `mm` or `in`) into millimetres.
///
/// # Errors
/// [`UnitError`] when there is no number, no unit, or the number is not finite.
pub fn parse_line_total_mm(text: &str) -> Result<f64, UnitError> {
    match number_and_unit(text) {
        Some((number, unit)) if unit.eq_ignore_ascii_case("m") && number.is_finite() => Ok(number * 1000.0),
        Some((_, "")) => Err(UnitError::NoUnit { text: text.trim().into(), unit: "m" }),
        _ => parse_length_mm(text).map_err(|e| match e {
            UnitError::Unreadable { text, .. } => {
                UnitError::Unreadable { text, what: "a length", example: "4m, 250cm or 800mm" }
            }
            other => other,
        }),
    }
}

/// Reads an area with its unit (`mm2`, `cm2` or `in2`) into square millimetres.
///
/// # Errors
/// [`UnitError`] when there is no number, no unit, or the number is not finite.
pub fn parse_area_mm2(text: &str) -> Result<f64, UnitError> {
    let unreadable = || UnitError::Unreadable { text: text.into(), what: "an area", example: "6mm2" };
    let (number, unit) = number_and_unit(text).ok_or_else(unreadable)?;
    let factor = match unit.to_ascii_lowercase().replace('²', "2").as_str() {
        "mm2" => 1.0,
        "cm2" => 100.0,
        "in2" => MM_PER_INCH * MM_PER_INCH,
        "" => return Err(UnitError::NoUnit { text: text.trim().into(), unit: "mm2" }),
        _ => return Err(unreadable()),
    };
    if !number.is_finite() {
        return Err(UnitError::OutOfRange { text: text.into(), range: "a finite number" });
    }
    Ok(number * factor)
}

/// Reads a finite number before one of several units, each with what a number is multiplied with.
fn before(text: &str, units: &[(&str, f64)]) -> Option<f64> {
    units.iter().find_map(|(unit, factor)| {
        let number = text.trim().strip_suffix(unit)?.trim().parse::<f64>().ok()?;
        number.is_finite().then_some(number * factor)
    })
}

/// Reads a speed with its unit (`mm/s`, `cm/s` or `in/s`) into mm/s.
///
/// # Errors
/// [`UnitError`] when there is no number, no unit, or the number is not finite.
pub fn parse_speed_mm_s(text: &str) -> Result<f64, UnitError> {
    before(text, &[("mm/s", 1.0), ("cm/s", 10.0), ("in/s", MM_PER_INCH)]).ok_or_else(|| {
        UnitError::Unreadable { text: text.into(), what: "a speed", example: "30mm/s, 3cm/s or 1in/s" }
    })
}

/// Reads an acceleration with its unit (`mm/s2`, `cm/s2` or `in/s2`) into mm/s2.
///
/// # Errors
/// [`UnitError`] when there is no number, no unit, or the number is not finite.
pub fn parse_acceleration_mm_s2(text: &str) -> Result<f64, UnitError> {
    before(text, &[("mm/s2", 1.0), ("cm/s2", 10.0), ("in/s2", MM_PER_INCH)]).ok_or_else(|| {
        UnitError::Unreadable { text: text.into(), what: "an acceleration", example: "400mm/s2" }
    })
}

/// Reads a time with its unit (`s` or `ms`) into seconds.
///
/// # Errors
/// [`UnitError`] when there is no number, no unit, or the number is not finite.
pub fn parse_seconds(text: &str) -> Result<f64, UnitError> {
    before(text, &[("ms", 1.0)])
        .map(|ms| ms / 1000.0)
        .or_else(|| before(text, &[("s", 1.0)]))
        .ok_or_else(|| UnitError::Unreadable { text: text.into(), what: "a time", example: "0.4s or 400ms" })
}

/// A share from 0 to 1 in words, in hundredths.
#[must_use]
pub fn percent(share: f64) -> String {
    match share * 100.0 {
        p if p > 0.0 && p < 1.0 => "under 1 %".into(),
        p => format!("{p:.0} %"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn measures_of_machines_take_their_units() {
        for (got, want) in [
            (parse_speed_mm_s("30mm/s"), 30.0),
            (parse_speed_mm_s("3 cm/s"), 30.0),
            (parse_speed_mm_s("1in/s"), 25.4),
            (parse_acceleration_mm_s2("400mm/s2"), 400.0),
            (parse_seconds("0.4s"), 0.4),
            (parse_seconds("400ms"), 0.4),
        ] {
            let got = got.expect("a measure");
            assert!((got - want).abs() < 1e-9, "{got}, not {want}");
        }
        for bad in ["30", "", "mm/s", "30mm", "nanmm/s", "30 km/h"] {
            assert!(parse_speed_mm_s(bad).is_err(), "{bad:?} was taken for a speed");
        }
        assert!(parse_seconds("1").is_err() && parse_acceleration_mm_s2("400").is_err(), "bare numbers");
    }

    #[test]
    fn lengths_read_in_every_unit() {
        for (text, mm) in [
            ("20mm", 20.0),
            (" 1.5 cm", 15.0),
            ("11in", 279.4),
            ("8.5\"", 215.9),
            ("1e2mm", 100.0),
            ("-3mm", -3.0),
        ] {
            let got = parse_length_mm(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((got - mm).abs() < 1e-9, "{text} gave {got}");
        }
    }

    #[test]
    fn nonsense_lengths_are_refused() {
        for text in ["", "mm", "20", "20 furlongs", "nanmm", "infmm", "--3mm", "NaN", "§", "2§", "é5mm"] {
            assert!(parse_length_mm(text).is_err(), "{text} was taken for a length");
        }
        assert!(matches!(parse_length_mm("20"), Err(UnitError::NoUnit { .. })), "a bare number needs a unit");
    }

    #[test]
    fn lengths_of_line_read_in_metres_too() {
        for (text, mm) in
            [("4m", 4000.0), (" 2.5 m", 2500.0), ("80cm", 800.0), ("900mm", 900.0), ("100in", 2540.0)]
        {
            let got = parse_line_total_mm(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((got - mm).abs() < 1e-9, "{text} gave {got}");
        }
        for text in ["", "m", "4", "4km", "nanm", "infm", "4 metres"] {
            assert!(parse_line_total_mm(text).is_err(), "{text} was taken for a length of line");
        }
    }

    #[test]
    fn areas_read_in_every_unit() {
        for (text, mm2) in [("6mm2", 6.0), ("0.5 cm2", 50.0), ("1in2", 645.16), ("2mm²", 2.0)] {
            let got = parse_area_mm2(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((got - mm2).abs() < 1e-9, "{text} gave {got}");
        }
        assert!(parse_area_mm2("6mm").is_err(), "a length is not an area");
    }
}
