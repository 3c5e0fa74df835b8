//! How printed lines look: their colour and width, and two looks that are ready.

/// Widths of lines in mm: the series of ISO 128-2:2020, 4.2, in steps of the square root of 2.
const WIDTHS_MM: [f64; 9] = [0.13, 0.18, 0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0];

/// Colour of the printed lines.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Ink {
    /// Black, which shows through heavy paper.
    #[default]
    Black,
    /// Grey of 22 % black, which ink covers and the eye passes over (common practice, no source).
    Grey,
    /// The light blue that copying cameras did not see (common practice, no source).
    Blue,
}

impl Ink {
    /// Red, green and blue from 0 to 1 of the ink at a strength: 1 is the ink itself, 0 the paper.
    #[must_use]
    pub fn with_strength(self, strength: f64) -> [f64; 3] {
        let full = match self {
            Self::Black => [0.0; 3],
            Self::Grey => [0.78; 3],
            Self::Blue => [0.64, 0.87, 0.93],
        };
        full.map(|part| 1.0 - (1.0 - part) * strength.clamp(0.0, 1.0))
    }

    /// The same as text for SVG.
    pub(super) fn hex(self, strength: f64) -> String {
        let [r, g, b] = self.with_strength(strength).map(|part| (part * 255.0).round() as u8);
        if self == Self::Black && [r, g, b] == [0; 3] {
            "#000".into()
        } else {
            format!("#{r:02x}{g:02x}{b:02x}")
        }
    }
}

/// A way in which lines look that is ready to be used.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Look {
    /// To be seen through the drawing paper: black, 0.35 mm.
    #[default]
    LightBox,
    /// Printed on the drawing paper and inked over: light grey, 0.18 mm, the width of the series nearest to 0.2 mm.
    UnderInk,
}

impl Look {
    /// Width of a hard edge's line in mm.
    #[must_use]
    pub fn line_mm(self) -> f64 {
        match self {
            Self::LightBox => 0.35,
            Self::UnderInk => 0.18,
        }
    }

    /// Its colour.
    #[must_use]
    pub fn ink(self) -> Ink {
        match self {
            Self::LightBox => Ink::Black,
            Self::UnderInk => Ink::Grey,
        }
    }
}

/// Whether lines are heavier where more values change.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LineWeight {
    /// All lines of a layer alike.
    #[default]
    Even,
    /// Over a step of two values one width of ISO 128-2's series heavier, over larger steps two.
    ByStep,
}

impl LineWeight {
    /// Width in mm of a line over a step of `step` values, where lines over one value are `line_mm` wide.
    ///
    /// ISO 128-2 steps its widths by the square root of 2, so two widths are twice as wide.
    #[must_use]
    pub fn width_mm(self, line_mm: f64, step: u8) -> f64 {
        let heavier = match (self, step) {
            (Self::Even, _) | (_, 0..=1) => return line_mm,
            (Self::ByStep, 2) => line_mm * std::f64::consts::SQRT_2,
            (Self::ByStep, _) => line_mm * 2.0,
        };
        let of_series = |width: &f64| (width / heavier).ln().abs() < 0.06;
        WIDTHS_MM.into_iter().find(of_series).unwrap_or(heavier)
    }
}

/// Width in mm of a soft edge's line beside hard ones of a width: about half, and of ISO 128-2's series where that has a
/// thinner one.
#[must_use]
pub fn soft_line_mm(line_mm: f64) -> f64 {
    let half = line_mm / 2.0;
    let apart = |width: &f64| (width / half).ln().abs();
    WIDTHS_MM
        .into_iter()
        .filter(|&width| width < line_mm)
        .min_by(|a, b| apart(a).total_cmp(&apart(b)))
        .map_or(half, |width| if apart(&width) < 0.5 { width } else { half })
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "widths are members of a list")]
mod tests {
    use super::*;

    #[test]
    fn soft_lines_are_thinner_and_of_the_series() {
        // ISO 128-2: wide and narrow lines are as 2 to 1.
        for (hard, soft) in [(0.35, 0.18), (0.5, 0.25), (0.7, 0.35), (1.0, 0.5), (2.0, 1.0), (0.18, 0.13)] {
            assert_eq!(soft_line_mm(hard), soft, "beside {hard} mm");
        }
        for k in 1..=1000 {
            let hard = f64::from(k) * 0.01;
            let soft = soft_line_mm(hard);
            assert!(soft < hard && soft > hard * 0.3, "{soft} mm beside {hard} mm");
        }
    }

    #[test]
    fn larger_steps_are_heavier_and_of_the_series() {
        for (line, two, three) in [(0.35, 0.5, 0.7), (0.18, 0.25, 0.35), (0.25, 0.35, 0.5)] {
            let widths = [1, 2, 3, 4].map(|step| LineWeight::ByStep.width_mm(line, step));
            assert_eq!(widths, [line, two, three, three], "{line} mm");
            assert_eq!(LineWeight::Even.width_mm(line, 4), line, "all alike");
        }
        let own = LineWeight::ByStep.width_mm(0.3, 2);
        assert!((own - 0.3 * std::f64::consts::SQRT_2).abs() < 1e-12, "{own}: 0.3 mm is of no series");
    }

    #[test]
    fn looks_are_as_described() {
        let of_series = |look: Look| WIDTHS_MM.contains(&look.line_mm());
        assert!(of_series(Look::LightBox) && of_series(Look::UnderInk), "widths of the series");
        assert_eq!(Look::LightBox.ink().hex(1.0), "#000", "black");
        // 20 to 25 % grey reflects 75 to 80 % of the code range.
        let [grey, ..] = Look::UnderInk.ink().with_strength(1.0);
        assert!((0.75..=0.80).contains(&grey), "grey of {grey}");
        assert_eq!(Ink::Blue.with_strength(0.0), [1.0; 3], "no strength is paper");
        assert_eq!(Ink::Black.hex(0.25), "#bfbfbf", "a quarter of black");
    }
}
