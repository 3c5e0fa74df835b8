//! The one place where a length becomes text.

/// Appends `mm` with at most three decimals: no zeros at the end, no `-0`, no exponent.
///
/// # Panics
/// When `mm` is not finite; the net and the sheet hold finite numbers only.
pub(super) fn push_number(text: &mut String, mm: f64) {
    assert!(mm.is_finite(), "only finite lengths are written");
    // Whole thousandths decide on everything below, so 0.9995 carries over and -0.0001 loses its sign.
    let thousandths = (mm * 1000.0).round() as i64;
    if thousandths < 0 {
        text.push('-');
    }
    let size = thousandths.unsigned_abs();
    text.push_str(&(size / 1000).to_string());
    let rest = size % 1000;
    if rest > 0 {
        let decimals = format!(".{rest:03}");
        text.push_str(decimals.trim_end_matches('0'));
    }
}

/// `mm` as text, written as [`push_number`] does.
pub(super) fn number(mm: f64) -> String {
    let mut text = String::new();
    push_number(&mut text, mm);
    text
}

/// `mm` rounded to three decimals, never `-0.0`: for numbers that another library prints.
pub(super) fn rounded(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0 + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn worked_examples() {
        for (mm, text) in [
            (0.0, "0"),
            (-0.0, "0"),
            (-0.0004, "0"),
            (0.0005, "0.001"),
            (1.0, "1"),
            (1.5, "1.5"),
            (-1.05, "-1.05"),
            (0.9996, "1"),
            (-0.25, "-0.25"),
            (1189.123, "1189.123"),
            (1e9, "1000000000"),
        ] {
            assert_eq!(number(mm), text, "{mm}");
        }
        assert!(rounded(-0.0001).is_sign_positive(), "no minus before nothing");
    }

    proptest! {
        #[test]
        fn any_length_reads_back_within_half_a_micrometre(mm in -1e6f64..1e6) {
            let text = number(mm);
            let back: f64 = text.parse().expect("our own number");
            prop_assert!((back - mm).abs() <= 0.0005 + 1e-9, "{mm} became {text}");
            prop_assert!(!text.contains(['e', 'E', '+']), "no exponent in {text}");
            prop_assert!(!text.contains('.') || !text.ends_with(['0', '.']), "no zeros at the end of {text}");
            prop_assert!(text.split('.').nth(1).is_none_or(|d| d.len() <= 3), "three decimals in {text}");
            prop_assert!(text != "-0", "no minus before nothing");
            prop_assert_eq!(number(back), text, "written again, it is the same");
        }
    }
}
