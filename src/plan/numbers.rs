//! Value numbers: what they say, how high they are, and the box that each fills.

use crate::sheet::lettering::outline;
use crate::sheet::{Anchor, Layer, Lettering, RectMm};
use crate::tone::ValueScale;
use kurbo::{Point, Shape};

/// Heights of the numbers that stand in their own area, in mm: two of the series of ISO 3098-1.
pub const HEIGHTS_MM: [f64; 2] = [3.5, 2.5];
/// Heights of the numbers that stand elsewhere, with a leader, in mm; the smaller where the larger has no room.
pub const LEADER_HEIGHTS_MM: [f64; 2] = [2.5, 1.8];
/// Share of a value's band, next to a break, that is labelled with the half.
const HALF_SHARE: f64 = 0.25;

/// What an area is labelled with: a value, or the half between two values.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PlanValue {
    /// Twice the value: 6 is 3, 7 is 3 1/2.
    twice: u8,
}

impl PlanValue {
    /// A whole value.
    #[must_use]
    pub fn whole(value: u8) -> Self {
        Self { twice: 2 * value }
    }

    /// The value of an area, or the half next to it when the area's own tone (L*) lies near a break or beyond it.
    ///
    /// The band of a value reaches from one break to the next, that of value 1 up to paper (100) and that of the last
    /// value down to ink (0). A tone in the quarter of the band next to a break, or beyond that break, takes the half.
    /// So a half is never more than half a value from the value that the area's border was drawn for.
    #[must_use]
    pub fn with_halves(value: u8, tone: f64, scale: &ValueScale) -> Self {
        let breaks = scale.breaks();
        let of_break = |k: usize| breaks.get(k).copied();
        let place = usize::from(value) - 1;
        let lighter = if place == 0 { None } else { of_break(place - 1) };
        let darker = of_break(place);
        let (top, bottom) = (lighter.unwrap_or(100.0), darker.unwrap_or(0.0));
        let near = HALF_SHARE * (top - bottom);
        if lighter.is_some() && tone > top - near {
            Self { twice: 2 * value - 1 }
        } else if darker.is_some() && tone < bottom + near {
            Self { twice: 2 * value + 1 }
        } else {
            Self::whole(value)
        }
    }

    /// Its number: 3 or 3.5.
    #[must_use]
    pub fn number(self) -> f64 {
        f64::from(self.twice) / 2.0
    }

    /// Whether it is a half.
    #[must_use]
    pub fn is_half(self) -> bool {
        self.twice % 2 == 1
    }

    /// As it is written on the plan.
    #[must_use]
    pub fn text(self) -> String {
        let half = if self.is_half() { "\u{bd}" } else { "" };
        format!("{}{half}", self.twice / 2)
    }
}

/// Width and height in mm of the box that any whole number (or any half) of a height fills.
///
/// It is the same for all, so that no number is set closer than another; figures with round ends reach a little above
/// and below the height that lettering is named by, and the box holds them.
#[must_use]
pub fn box_size(half: bool, height_mm: f64) -> [f64; 2] {
    let inks = (1..=9).map(|value| ink(&text_of(value, half), height_mm));
    let [mut width, mut top, mut bottom] = [0.0_f64; 3];
    for b in inks {
        width = width.max(b.width());
        top = top.min(b.y0);
        bottom = bottom.max(b.y1);
    }
    [width, bottom - top]
}

/// A number with its box around a point.
#[must_use]
pub(super) fn lettered(value: PlanValue, middle: Point, height_mm: f64) -> Lettering {
    let text = value.text();
    let own = ink(&text, height_mm);
    // All stand on one line in their boxes, as figures do in a text.
    let (top, bottom) = (1..=9).fold((0.0_f64, 0.0_f64), |(top, bottom), v| {
        let b = ink(&text_of(v, value.is_half()), height_mm);
        (top.min(b.y0), bottom.max(b.y1))
    });
    let at = Point::new(middle.x - (own.x0 + own.x1) / 2.0, middle.y - (top + bottom) / 2.0);
    Lettering { layer: Layer::Values, text, at, height_mm, anchor: Anchor::Start, quarter_turns: 0 }
}

/// A box of a size around a point.
#[must_use]
pub(super) fn around(middle: Point, size: [f64; 2]) -> RectMm {
    RectMm { x: middle.x - size[0] / 2.0, y: middle.y - size[1] / 2.0, width: size[0], height: size[1] }
}

fn text_of(value: u8, half: bool) -> String {
    PlanValue { twice: 2 * value + u8::from(half) }.text()
}

/// What a text fills when it begins at the origin.
fn ink(text: &str, height_mm: f64) -> kurbo::Rect {
    outline(text, Point::ORIGIN, height_mm, 0).bounding_box()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_are_the_quarters_beside_a_break() {
        // Even breaks: bands of 20 L*, so the quarter beside a break is 5 L* wide.
        let scale = ValueScale::new(vec![80.0, 60.0, 40.0, 20.0]);
        for (value, tone, text) in [
            (3, 50.0, "3"),
            (3, 54.9, "3"),
            (3, 55.1, "2\u{bd}"),
            (3, 45.1, "3"),
            (3, 44.9, "3\u{bd}"),
            // A union keeps the value that most of it has; its mean may lie beyond the break.
            (3, 75.0, "2\u{bd}"),
            (3, 5.0, "3\u{bd}"),
            // Nothing is lighter than 1 or darker than the last.
            (1, 100.0, "1"),
            (1, 85.1, "1"),
            (1, 84.9, "1\u{bd}"),
            (5, 0.0, "5"),
            (5, 14.9, "5"),
            (5, 15.1, "4\u{bd}"),
        ] {
            assert_eq!(PlanValue::with_halves(value, tone, &scale).text(), text, "{value} of tone {tone}");
        }
        let half = PlanValue::with_halves(3, 44.0, &scale);
        assert!((half.number() - 3.5).abs() < 1e-12, "3 1/2 is {}", half.number());
    }

    #[test]
    fn every_number_lies_in_its_box_and_is_as_high_as_said() {
        let middle = Point::new(30.0, 40.0);
        for height in HEIGHTS_MM.into_iter().chain(LEADER_HEIGHTS_MM) {
            for half in [false, true] {
                let size = box_size(half, height);
                let held = around(middle, size);
                for value in 1..=9 {
                    let value = PlanValue { twice: 2 * value + u8::from(half) };
                    let text = lettered(value, middle, height);
                    let ink = outline(&text.text, text.start(), height, 0).bounding_box();
                    let inside = ink.x0 >= held.x - 1e-9
                        && ink.x1 <= held.x + held.width + 1e-9
                        && ink.y0 >= held.y - 1e-9
                        && ink.y1 <= held.y + held.height + 1e-9;
                    assert!(inside, "{} of {height} mm: {ink:?} in {held:?}", text.text);
                    assert!(ink.height() >= height - 1e-9 && ink.height() < height * 1.05, "{ink:?}");
                }
            }
        }
    }
}
