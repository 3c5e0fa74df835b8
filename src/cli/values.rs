//! Reads the values of options: text to numbers and small enums. Ranges are the settings' business.

use super::zones::parse_outline;
use merestone::areas::zones::Outline;
use merestone::units::{parse_area_mm2, parse_length_mm, parse_line_total_mm};

/// `--breaks` as written.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum BreaksArg {
    /// Fitted to the picture.
    Fitted,
    /// Even steps of lightness.
    Even,
    /// A list of L*.
    Listed(Vec<f64>),
}

/// `--tone-range` as written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum ToneRangeArg {
    /// Found in the picture.
    Auto,
    /// L* of ink and of paper.
    Given([f64; 2]),
}

/// `--pitch` as written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum PitchArg {
    /// Measured.
    Auto,
    /// No texture.
    None,
    /// In mm.
    Given(f64),
}

/// `auto`, `none` or a length.
pub(crate) fn parse_pitch(text: &str) -> Result<PitchArg, String> {
    match text.trim() {
        "auto" => Ok(PitchArg::Auto),
        "none" => Ok(PitchArg::None),
        length => {
            parse_length_mm(length).map(PitchArg::Given).map_err(|e| format!("{e}; or write auto or none"))
        }
    }
}

/// `--thin` as written: the thinnest mark in mm, or `None` for no marks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct ThinArg(pub(crate) Option<f64>);

/// `--squares` as written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum SquaresArg {
    /// The usual size.
    Auto,
    /// None.
    None,
    /// In mm.
    Side(f64),
}

/// `auto`, `none` or a length.
pub(crate) fn parse_squares(text: &str) -> Result<SquaresArg, String> {
    match text.trim() {
        "auto" => Ok(SquaresArg::Auto),
        "none" => Ok(SquaresArg::None),
        length => {
            parse_length_mm(length).map(SquaresArg::Side).map_err(|e| format!("{e}; or write auto or none"))
        }
    }
}

/// `--extra-in` as written.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum ExtraPlaceArg {
    /// All over the picture.
    Whole,
    /// A working square.
    Square(String),
    /// A rectangle.
    Rect(Outline),
}

/// `whole`, a square's name or a rectangle.
pub(crate) fn parse_extra_place(text: &str) -> Result<ExtraPlaceArg, String> {
    match text.trim() {
        "whole" => Ok(ExtraPlaceArg::Whole),
        zone if zone.contains(':') => match parse_outline(zone)? {
            outline @ Outline::Rect { .. } => Ok(ExtraPlaceArg::Rect(outline)),
            _ => Err("extra lines take a zone of the form rect:LEFT,TOP,WIDTH,HEIGHT".into()),
        },
        square => Ok(ExtraPlaceArg::Square(square.into())),
    }
}

/// A share written as `150%` or `3/2`: what no one can take for something else.
pub(crate) fn parse_share(text: &str) -> Result<f64, String> {
    let number = |text: &str| text.trim().parse::<f64>().ok().filter(|n| n.is_finite());
    let share = match (text.trim().strip_suffix('%'), text.split_once('/')) {
        (Some(percent), _) => number(percent).map(|percent| percent / 100.0),
        (None, Some((over, under))) => number(over)
            .zip(number(under))
            .filter(|&(_, under)| under > 0.0)
            .map(|(over, under)| over / under),
        (None, None) => None,
    };
    share.filter(|share| *share > 0.0).ok_or_else(|| "write a share such as 150% or 3/2, above 0".into())
}

/// Two shares: across and down.
pub(crate) fn parse_correction(text: &str) -> Result<[f64; 2], String> {
    let wrong = "write what the rules measured across and down, such as 199.2/200,200.4/200 or 99.6%,100.2%";
    let (across, down) = text.split_once(',').ok_or(wrong)?;
    Ok([parse_share(across).map_err(|_| wrong)?, parse_share(down).map_err(|_| wrong)?])
}

/// A length with its unit, in mm.
pub(crate) fn parse_length(text: &str) -> Result<f64, String> {
    parse_length_mm(text).map_err(|e| e.to_string())
}

/// Metres of line with their unit, in mm.
pub(crate) fn parse_line_total(text: &str) -> Result<f64, String> {
    parse_line_total_mm(text).map_err(|e| e.to_string())
}

/// The most areas.
pub(crate) fn parse_areas(text: &str) -> Result<usize, String> {
    match text.trim().parse::<usize>() {
        Ok(n) if n > 0 => Ok(n),
        _ => Err("write a whole number of areas, at least 1".into()),
    }
}

/// A length with its unit, or `none`.
pub(crate) fn parse_thin(text: &str) -> Result<ThinArg, String> {
    if text.trim() == "none" {
        return Ok(ThinArg(None));
    }
    parse_length(text).map(|mm| ThinArg(Some(mm))).map_err(|e| format!("{e}, or none for no thin marks"))
}

/// An area with its unit, in mm2.
pub(crate) fn parse_area(text: &str) -> Result<f64, String> {
    parse_area_mm2(text).map_err(|e| e.to_string())
}

/// The number of values.
pub(crate) fn parse_values(text: &str) -> Result<u8, String> {
    match text.trim().parse::<u8>() {
        Ok(n) if (2..=9).contains(&n) => Ok(n),
        _ => Err("a study has 2 to 9 values".into()),
    }
}

/// The plainness.
pub(crate) fn parse_plainness(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(p) if (0.0..=100.0).contains(&p) => Ok(p),
        _ => Err("plainness goes from 0 to 100".into()),
    }
}

/// `fitted`, `even` or a list of L*.
pub(crate) fn parse_breaks(text: &str) -> Result<BreaksArg, String> {
    match text.trim() {
        "fitted" => Ok(BreaksArg::Fitted),
        "even" => Ok(BreaksArg::Even),
        list => numbers(list)
            .map(BreaksArg::Listed)
            .ok_or_else(|| "write fitted, even, or a list of L*, lightest first, such as 80,60,40,20".into()),
    }
}

/// `auto` or the L* of ink and of paper.
pub(crate) fn parse_tone_range(text: &str) -> Result<ToneRangeArg, String> {
    if text.trim() == "auto" {
        return Ok(ToneRangeArg::Auto);
    }
    match numbers(text).as_deref() {
        Some(&[ink, paper]) => Ok(ToneRangeArg::Given([ink, paper])),
        _ => Err("write auto, or the L* of ink and of paper, such as 5,95".into()),
    }
}

/// Finite numbers between commas.
fn numbers(text: &str) -> Option<Vec<f64>> {
    text.split(',').map(|part| part.trim().parse::<f64>().ok().filter(|n| n.is_finite())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn breaks_read_as_words_and_lists() {
        assert_eq!(parse_breaks("fitted"), Ok(BreaksArg::Fitted), "a word");
        assert_eq!(parse_breaks("even"), Ok(BreaksArg::Even), "a word");
        assert_eq!(
            parse_breaks("80, 60,40"),
            Ok(BreaksArg::Listed(vec![80.0, 60.0, 40.0])),
            "a list with a space"
        );
        for bad in ["", ",", "80,,40", "80;60", "NaN", "inf,20", "evenly"] {
            assert!(parse_breaks(bad).is_err(), "{bad:?} was taken for breaks");
        }
    }

    #[test]
    fn thin_reads_a_length_or_none() {
        assert_eq!(parse_thin("none"), Ok(ThinArg(None)), "a word");
        assert_eq!(parse_thin("0.5mm"), Ok(ThinArg(Some(0.5))), "a length");
        for bad in ["0.5", "", "nothing"] {
            assert!(parse_thin(bad).is_err(), "{bad:?} was taken for a thinnest mark");
        }
    }

    #[test]
    fn tone_ranges_read_as_a_word_or_a_pair() {
        assert_eq!(parse_tone_range("auto"), Ok(ToneRangeArg::Auto), "a word");
        assert_eq!(parse_tone_range("0,100"), Ok(ToneRangeArg::Given([0.0, 100.0])), "a pair");
        for bad in ["", "5", "5,50,95", "a,b", "nan,100"] {
            assert!(parse_tone_range(bad).is_err(), "{bad:?} was taken for a tone range");
        }
    }

    #[test]
    fn counts_stay_in_range() {
        for bad in ["0", "1", "10", "300", "-3", "2.5", "", "NaN"] {
            assert!(parse_values(bad).is_err(), "{bad:?} was taken for a number of values");
        }
        for bad in ["-1", "100.5", "NaN", "inf", ""] {
            assert!(parse_plainness(bad).is_err(), "{bad:?} was taken for a plainness");
        }
        for bad in ["0", "-1", "1.5", "many", "", "NaN"] {
            assert!(parse_areas(bad).is_err(), "{bad:?} was taken for a number of areas");
        }
        assert_eq!(parse_areas("120"), Ok(120), "a number of areas");
        assert_eq!(parse_values("9"), Ok(9), "nine values are allowed");
        assert_eq!(parse_plainness("0"), Ok(0.0), "plainness zero is allowed");
    }
}
