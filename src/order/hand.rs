//! Where the hand rests while it draws, and how often an order makes it lie on ink.
//!
//! The model: the hand lies on the paper below the pen's tip and on the drawing hand's side of it, in a rectangle that
//! begins at the tip. While a square is inked the tip goes everywhere in it, so the hand lies on every other square
//! that the rectangle reaches from any place in it.

use kurbo::Rect;
use serde::Serialize;

/// How far the hand reaches on the paper from the pen's tip, sideways and down, in mm: from the tip to the outside of the
/// hand, and to the wrist (common practice, no source; hands differ).
pub const HAND_MM: [f64; 2] = [80.0, 100.0];
/// How many further squares are inked before hatching without any solid black is dry: pen lines dry in a minute or two
/// (common practice, no source).
pub(super) const HATCHING_WET_FOR: usize = 1;
/// Squares that share an edge do not reach into each other, whatever rounding says, in mm.
const TOUCH_MM: f64 = 0.01;

/// The hand that draws.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Hand {
    /// The right one.
    #[default]
    Right,
    /// The left one.
    Left,
}

impl Hand {
    /// In a word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
        }
    }

    /// Whether the hand lies on a square somewhere while another is inked.
    #[must_use]
    pub fn lies_on(self, square: &Rect, while_inking: &Rect) -> bool {
        let [aside, down] = HAND_MM;
        let from = while_inking;
        let reach = match self {
            Self::Right => Rect::new(from.x0, from.y0, from.x1 + aside, from.y1 + down),
            Self::Left => Rect::new(from.x0 - aside, from.y0, from.x1, from.y1 + down),
        };
        let shared = reach.intersect(*square);
        shared.width() > TOUCH_MM && shared.height() > TOUCH_MM
    }
}

/// How often the hand lies on inked squares.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Passes {
    /// How many squares it lies on at some time after they were inked.
    pub squares: usize,
    /// How often: each square that is inked counts each inked one that the hand lies on meanwhile.
    pub times: usize,
}

/// The squares, by their places in the order in which they are inked, that the hand lies on afterwards, each with how
/// often; `wet_for` says of each for how many further squares that counts.
pub(super) fn lain_on(squares: &[Rect], wet_for: impl Fn(usize) -> usize, hand: Hand) -> Vec<(usize, usize)> {
    let times = |(k, square): (usize, &Rect)| {
        let later = squares[k + 1..].iter().take(wet_for(k));
        (k, later.filter(|&now| hand.lies_on(square, now)).count())
    };
    squares.iter().enumerate().map(times).filter(|&(_, times)| times > 0).collect()
}

impl Passes {
    /// Counts them.
    pub(super) fn of(lain_on: &[(usize, usize)]) -> Self {
        Self { squares: lain_on.len(), times: lain_on.iter().map(|(_, times)| times).sum() }
    }
}
