//! Stated physical resolution: units, plausibility, and what wins when two places disagree.

use crate::units::MM_PER_INCH;

/// Pixels per inch, across and down.
pub(super) type PixelsPerInch = [f64; 2];

/// Centimetres in an inch.
const CM_PER_INCH: f64 = MM_PER_INCH / 10.0;

/// What the two numbers count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Per {
    /// Pixels per inch.
    Inch,
    /// Pixels per centimetre.
    Centimetre,
    /// Pixels per metre.
    Metre,
}

/// Two stored numbers as pixels per inch.
///
/// Zero, not a number, and anything outside 1 to 100,000 ppi is taken as "not stated": files carry
/// such numbers when their writer knew nothing (common practice, no source).
pub(super) fn pixels_per_inch(x: f64, y: f64, per: Per) -> Option<PixelsPerInch> {
    let factor = match per {
        Per::Inch => 1.0,
        Per::Centimetre => CM_PER_INCH,
        Per::Metre => CM_PER_INCH / 100.0,
    };
    let ppi = [x * factor, y * factor];
    ppi.iter().all(|v| (1.0..=100_000.0).contains(v)).then_some(ppi)
}

/// One resolution out of the container's own field and the EXIF block.
///
/// The container's field wins: programs that resample rewrite it and often leave the EXIF block as it
/// was. It loses only when it is the 72 or 96 that writers put in without knowing and the EXIF block
/// states something else. A difference of more than 1 % is told in a note.
pub(super) fn settle(
    container: Option<PixelsPerInch>,
    exif: Option<PixelsPerInch>,
    field: &str,
    notes: &mut Vec<String>,
) -> Option<PixelsPerInch> {
    let (Some(own), Some(other)) = (container, exif) else { return container.or(exif) };
    let apart = |a: f64, b: f64| (a - b).abs() > 0.01 * a.max(b);
    if !apart(own[0], other[0]) && !apart(own[1], other[1]) {
        return Some(own);
    }
    let is_default =
        |p: PixelsPerInch| [72.0, 96.0].iter().any(|&d: &f64| p.iter().all(|v| (v - d).abs() < 0.05));
    let own_wins = !is_default(own) || is_default(other);
    let (used, by) = if own_wins { (own, field) } else { (other, "EXIF") };
    notes.push(format!(
        "the file states two resolutions, {:.0} ppi ({field}) and {:.0} ppi (EXIF); {:.0} ppi ({by}) is used",
        own[0], other[0], used[0]
    ));
    Some(used)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_become_pixels_per_inch() {
        // 11811 pixels per metre is how 300 ppi is written in PNG: 11811 * 0.0254 = 299.9994.
        for (x, per, ppi) in
            [(300.0, Per::Inch, 300.0), (118.11, Per::Centimetre, 299.9994), (11_811.0, Per::Metre, 299.9994)]
        {
            let got = pixels_per_inch(x, x, per).unwrap_or_else(|| panic!("{x} {per:?} was refused"));
            assert!((got[0] - ppi).abs() < 1e-9, "{x} {per:?} gave {got:?}");
        }
    }

    #[test]
    fn nonsense_is_not_stated() {
        for x in [0.0, -72.0, f64::NAN, f64::INFINITY, 0.5, 1e9] {
            assert_eq!(pixels_per_inch(x, 300.0, Per::Inch), None, "{x} was taken for a resolution");
        }
    }

    #[test]
    fn the_container_wins_unless_it_is_a_bare_default() {
        let mut notes = Vec::new();
        let of = |v: f64| Some([v, v]);
        assert_eq!(
            settle(of(300.0), of(600.0), "JFIF", &mut notes),
            of(300.0),
            "the container's own field wins"
        );
        assert_eq!(settle(of(72.0), of(600.0), "JFIF", &mut notes), of(600.0), "a bare 72 loses");
        assert_eq!(settle(of(72.0), of(96.0), "JFIF", &mut notes), of(72.0), "two defaults: the container's");
        assert_eq!(notes.len(), 3, "each conflict is told: {notes:?}");
        assert_eq!(settle(None, of(600.0), "JFIF", &mut notes), of(600.0), "EXIF alone is used");
        assert_eq!(
            settle(of(300.0), of(300.5), "JFIF", &mut notes),
            of(300.0),
            "nearly the same is no conflict"
        );
        assert_eq!(notes.len(), 3, "agreement is not told: {notes:?}");
    }
}
