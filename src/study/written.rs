//! Settings as people write them, on the command line and in study files alike: text to numbers and choices.
//!
//! In: one text. Out: what it means. Ranges that need more than the text itself are the settings' business.

use std::path::PathBuf;

use thiserror::Error;

use crate::areas::edits::PlaceOnPicture;
use crate::areas::zones::{Outline, OutlineError};
use crate::reference::page::{Corner, Crop, TrueShape};
use crate::sheet::{Paper, RectMm, SheetError};
use crate::tone::{BreakRule, PitchRule, ToneRange};
use crate::units::{UnitError, parse_length_mm};

use super::{ExtraPlace, SquareRule};

/// Why a text is no such setting.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum WrittenError {
    /// No measure.
    #[error(transparent)]
    Unit(#[from] UnitError),
    /// No measure, and none of the words that may stand for one.
    #[error("{error}, or {words}")]
    UnitOrWord {
        /// What is wrong with the measure.
        error: UnitError,
        /// The words.
        words: &'static str,
    },
    /// No zone.
    #[error(transparent)]
    Outline(#[from] OutlineError),
    /// No paper.
    #[error(transparent)]
    Paper(#[from] SheetError),
    /// None of a few words.
    #[error("\"{text}\" is none of {known}; did you mean {nearest}?")]
    Word {
        /// What was written.
        text: String,
        /// The words.
        known: String,
        /// The word that is written most alike.
        nearest: &'static str,
    },
    /// No place in a reference, or no shape of a page.
    #[error("{0}")]
    Page(String),
    /// Anything else, with what to write instead.
    #[error("\"{text}\" will not do: {hint}")]
    Other {
        /// What was written.
        text: String,
        /// What to write.
        hint: &'static str,
    },
}

impl WrittenError {
    pub(super) fn other(text: &str, hint: &'static str) -> Self {
        Self::Other { text: text.trim().into(), hint }
    }
}

/// Words with what they say to a person, and what each means.
pub(crate) type Words<T, const N: usize> = [(&'static str, &'static str, T); N];

/// What a word means.
pub(super) fn word<T: Copy, const N: usize>(words: &Words<T, N>, text: &str) -> Result<T, WrittenError> {
    let text = text.trim();
    words.iter().find(|(name, ..)| *name == text).map(|&(_, _, meaning)| meaning).ok_or_else(|| {
        let names: Vec<&'static str> = words.iter().map(|&(name, ..)| name).collect();
        WrittenError::Word { text: text.into(), known: names.join(", "), nearest: nearest(text, &names) }
    })
}

/// The name that is written most alike; the first of equals.
pub(crate) fn nearest(text: &str, names: &[&'static str]) -> &'static str {
    // A longer text is no slip of the finger; cutting it bounds the work. People mix up the two dashes.
    let text: String = text.chars().take(60).collect::<String>().to_lowercase().replace('_', "-");
    let apart = |name: &&&'static str| strsim::damerau_levenshtein(&text, name);
    names.iter().min_by_key(apart).copied().unwrap_or_default()
}

/// `true` or `false`.
pub(super) fn flag(text: &str) -> Result<bool, WrittenError> {
    word(&[("true", "", true), ("false", "", false)], text)
}

/// A number from 0 to 100.
pub(super) fn plainness(text: &str) -> Result<f64, WrittenError> {
    let number = text.trim().parse::<f64>().ok().filter(|p| (0.0..=100.0).contains(p));
    number.ok_or_else(|| WrittenError::other(text, "plainness goes from 0 to 100"))
}

/// The number of values.
pub(super) fn values(text: &str) -> Result<u8, WrittenError> {
    let number = text.trim().parse::<u8>().ok().filter(|n| (2..=9).contains(n));
    number.ok_or_else(|| WrittenError::other(text, "a study has 2 to 9 values"))
}

/// The most areas.
pub(super) fn areas(text: &str) -> Result<usize, WrittenError> {
    let number = text.trim().parse::<usize>().ok().filter(|&n| n > 0);
    number.ok_or_else(|| WrittenError::other(text, "write a whole number of areas, at least 1"))
}

/// Quarter turns, from degrees.
pub(super) fn quarter_turns(text: &str) -> Result<u8, WrittenError> {
    word(&[("0", "", 0), ("90", "", 1), ("180", "", 2), ("270", "", 3)], text)
}

/// A share written as `150%` or `3/2`: what no one can take for something else.
pub(super) fn share(text: &str) -> Result<f64, WrittenError> {
    let number = |text: &str| text.trim().parse::<f64>().ok().filter(|n| n.is_finite());
    let share = match (text.trim().strip_suffix('%'), text.split_once('/')) {
        (Some(percent), _) => number(percent).map(|percent| percent / 100.0),
        (None, Some((over, under))) => number(over)
            .zip(number(under))
            .filter(|&(_, under)| under > 0.0)
            .map(|(over, under)| over / under),
        (None, None) => None,
    };
    share
        .filter(|share| *share > 0.0)
        .ok_or_else(|| WrittenError::other(text, "write a share such as 150% or 3/2, above 0"))
}

/// Two shares: across and down.
pub(super) fn correction(text: &str) -> Result<[f64; 2], WrittenError> {
    let wrong = || {
        let hint =
            "write what the rules measured across and down, such as 199.2/200,200.4/200 or 99.6%,100.2%";
        WrittenError::other(text, hint)
    };
    let (across, down) = text.split_once(',').ok_or_else(wrong)?;
    Ok([share(across).map_err(|_| wrong())?, share(down).map_err(|_| wrong())?])
}

/// Four corners of a page, between spaces.
pub(super) fn corners(text: &str) -> Result<[Corner; 4], WrittenError> {
    let list = text.split_whitespace().map(str::parse).collect::<Result<Vec<Corner>, String>>();
    list.map_err(WrittenError::Page)?.try_into().map_err(|list: Vec<Corner>| {
        WrittenError::Page(format!(
            "{} corners are no page: list top left, top right, bottom right and bottom left, such as 12%,8% 88%,10% \
             90%,95% 9%,93%",
            list.len()
        ))
    })
}

/// A rectangle of a reference.
pub(super) fn crop(text: &str) -> Result<Crop, WrittenError> {
    text.parse().map_err(WrittenError::Page)
}

/// The true shape of a page, or a paper that has it.
pub(super) fn true_shape(text: &str) -> Result<TrueShape, WrittenError> {
    text.parse().or_else(|complaint| {
        let paper = Paper::parse(text).map_err(|_| WrittenError::Page(complaint))?;
        Ok(TrueShape::Size([paper.width_mm, paper.height_mm]))
    })
}

/// `auto`, `none` or a length.
pub(super) fn pitch(text: &str) -> Result<PitchRule, WrittenError> {
    match text.trim() {
        "auto" => Ok(PitchRule::Measured),
        "none" => Ok(PitchRule::None),
        length => parse_length_mm(length).map(PitchRule::Fixed).map_err(or_word("auto or none")),
    }
}

/// `auto`, `none` or a length.
pub(super) fn squares(text: &str) -> Result<SquareRule, WrittenError> {
    match text.trim() {
        "auto" => Ok(SquareRule::Usual),
        "none" => Ok(SquareRule::None),
        length => parse_length_mm(length).map(SquareRule::Side).map_err(or_word("auto or none")),
    }
}

/// A length, or `none`.
pub(super) fn thin(text: &str) -> Result<Option<f64>, WrittenError> {
    length_or_none(text, "none for no thin marks")
}

/// A length, or `none`.
pub(super) fn least_tip(text: &str) -> Result<Option<f64>, WrittenError> {
    length_or_none(text, "none for no tips")
}

fn length_or_none(text: &str, none: &'static str) -> Result<Option<f64>, WrittenError> {
    match text.trim() {
        "none" => Ok(None),
        length => parse_length_mm(length).map(Some).map_err(or_word(none)),
    }
}

fn or_word(words: &'static str) -> impl Fn(UnitError) -> WrittenError {
    move |error| WrittenError::UnitOrWord { error, words }
}

/// `fitted`, `even` or a list of L*.
pub(super) fn breaks(text: &str) -> Result<BreakRule, WrittenError> {
    match text.trim() {
        "fitted" => Ok(BreakRule::Fitted),
        "even" => Ok(BreakRule::Even),
        list => numbers(list).map(BreakRule::Explicit).ok_or_else(|| {
            let hint = "write fitted, even, or a list of L*, lightest first, such as 80,60,40,20";
            WrittenError::other(text, hint)
        }),
    }
}

/// `auto` or the L* of ink and of paper.
pub(super) fn tone_range(text: &str) -> Result<ToneRange, WrittenError> {
    if text.trim() == "auto" {
        return Ok(ToneRange::Auto);
    }
    match numbers(text).as_deref() {
        Some(&[ink, paper]) => Ok(ToneRange::Fixed([ink, paper])),
        _ => Err(WrittenError::other(text, "write auto, or the L* of ink and of paper, such as 5,95")),
    }
}

/// Finite numbers between commas.
fn numbers(text: &str) -> Option<Vec<f64>> {
    text.split(',').map(|part| part.trim().parse::<f64>().ok().filter(|n| n.is_finite())).collect()
}

/// A SHA-256 in hexadecimal digits.
pub(super) fn sha256(text: &str) -> Result<String, WrittenError> {
    if text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return Ok(text.to_ascii_lowercase());
    }
    Err(WrittenError::other(
        text,
        "a SHA-256 has 64 digits from 0 to f; without the line nothing is compared",
    ))
}

/// A path that names something.
pub(super) fn path(text: &str) -> Result<PathBuf, WrittenError> {
    if text.is_empty() {
        return Err(WrittenError::other(text, "write the path of a picture, from the study file's folder"));
    }
    Ok(text.into())
}

/// The outline of a zone.
pub(super) fn outline(text: &str) -> Result<Outline, WrittenError> {
    Ok(text.parse()?)
}

/// A point of the picture: across and down.
pub(super) fn point(text: &str) -> Result<PlaceOnPicture, WrittenError> {
    let hint =
        "write two measures, across and down from the picture's top left, such as 40%,30% or 25mm,60mm";
    let (across, down) = text.split_once(',').ok_or_else(|| WrittenError::other(text, hint))?;
    Ok([across.parse()?, down.parse()?])
}

/// A number of squares.
pub(super) fn squares_count(text: &str) -> Result<usize, WrittenError> {
    let count = text.trim().parse().ok().filter(|count| *count <= 1000);
    count.ok_or_else(|| WrittenError::other(text, "write a whole number of squares from 0 to 1000"))
}

/// How many times squares are enlarged.
pub(super) fn times(text: &str) -> Result<f64, WrittenError> {
    let times = text.trim().parse().ok().filter(|times| (1.0..=20.0).contains(times));
    times.ok_or_else(|| WrittenError::other(text, "squares are shown 1 to 20 times as large"))
}

/// `whole`, a square's name or a rectangle.
pub(super) fn extra_place(text: &str) -> Result<ExtraPlace, WrittenError> {
    match text.trim() {
        "whole" => Ok(ExtraPlace::Whole),
        zone if zone.contains(':') => match outline(zone)? {
            Outline::Rect { corner, size } => Ok(ExtraPlace::Rect { corner, size }),
            _ => {
                let hint = "extra lines take a zone of the form rect:LEFT,TOP,WIDTH,HEIGHT";
                Err(WrittenError::other(text, hint))
            }
        },
        square => Ok(ExtraPlace::Square(square.into())),
    }
}

/// A rectangle of the sheet in lengths.
pub(super) fn keep_out(text: &str) -> Result<RectMm, WrittenError> {
    use crate::areas::zones::Measure::Mm;
    match outline(text)? {
        Outline::Rect { corner: [Mm(x), Mm(y)], size: [Mm(width), Mm(height)] } => {
            Ok(RectMm { x, y, width, height })
        }
        _ => {
            let hint = "write rect:LEFT,TOP,WIDTH,HEIGHT in lengths from the sheet's top left, such as \
                        rect:0mm,0mm,30mm,15mm";
            Err(WrittenError::other(text, hint))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn breaks_read_as_words_and_lists() {
        assert_eq!(breaks("fitted"), Ok(BreakRule::Fitted), "a word");
        assert_eq!(breaks("even"), Ok(BreakRule::Even), "a word");
        assert_eq!(breaks("80, 60,40"), Ok(BreakRule::Explicit(vec![80.0, 60.0, 40.0])), "with a space");
        for bad in ["", ",", "80,,40", "80;60", "NaN", "inf,20", "evenly"] {
            assert!(breaks(bad).is_err(), "{bad:?} was taken for breaks");
        }
    }

    #[test]
    fn thin_reads_a_length_or_none() {
        assert_eq!(thin("none"), Ok(None), "a word");
        assert_eq!(thin("0.5mm"), Ok(Some(0.5)), "a length");
        for bad in ["0.5", "", "nothing"] {
            assert!(thin(bad).is_err(), "{bad:?} was taken for a thinnest mark");
        }
    }

    #[test]
    fn tone_ranges_read_as_a_word_or_a_pair() {
        assert_eq!(tone_range("auto"), Ok(ToneRange::Auto), "a word");
        assert_eq!(tone_range("0,100"), Ok(ToneRange::Fixed([0.0, 100.0])), "a pair");
        for bad in ["", "5", "5,50,95", "a,b", "nan,100"] {
            assert!(tone_range(bad).is_err(), "{bad:?} was taken for a tone range");
        }
    }

    #[test]
    fn counts_stay_in_range() {
        for bad in ["0", "1", "10", "300", "-3", "2.5", "", "NaN"] {
            assert!(values(bad).is_err(), "{bad:?} was taken for a number of values");
        }
        for bad in ["-1", "100.5", "NaN", "inf", ""] {
            assert!(plainness(bad).is_err(), "{bad:?} was taken for a plainness");
        }
        for bad in ["0", "-1", "1.5", "many", "", "NaN"] {
            assert!(areas(bad).is_err(), "{bad:?} was taken for a number of areas");
        }
        assert_eq!(areas("120"), Ok(120), "a number of areas");
        assert_eq!(values("9"), Ok(9), "nine values are allowed");
        assert_eq!(plainness("0"), Ok(0.0), "plainness zero is allowed");
    }

    #[test]
    fn the_pencil_keeps_out_of_rectangles_of_the_sheet() {
        let rect = RectMm { x: 0.0, y: 10.0, width: 30.0, height: 15.0 };
        assert_eq!(keep_out("rect:0mm,1cm,30mm,15mm"), Ok(rect), "lengths");
        for bad in ["rect:0%,0%,5%,5%", "ellipse:1mm,1mm,1mm,1mm", "3mm"] {
            assert!(keep_out(bad).is_err(), "{bad:?} was taken");
        }
    }

    #[test]
    fn a_slip_of_the_finger_finds_its_word() {
        for (text, want) in [("potrait", "portrait"), ("As_Picture", "as-picture"), ("landscap", "landscape")]
        {
            assert_eq!(nearest(text, &["as-picture", "portrait", "landscape"]), want, "{text}");
        }
        assert!(nearest(&"x".repeat(1 << 20), &["a4"]) == "a4", "a very long word is cut");
    }
}
