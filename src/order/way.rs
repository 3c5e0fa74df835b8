//! Ways through the working squares.

use crate::sheet::Cell;

use super::Hand;

/// Share of a square from which on the frontmost group has it: its edge is finished with the group, not with what lies
/// behind (common practice, no source).
pub const GROUP_SHARE: f64 = 0.25;

/// Where the work begins, and how it goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Begin {
    /// With the uppermost row; in each row on the side away from the drawing hand.
    Top,
    /// With the square of this column and row, then the squares around it ring by ring, each ring as from the top.
    Outward(Cell),
    /// With the first group, then the next, each as from the top; at last what is in none.
    Groups,
}

/// The squares' places in the order in which they are inked; each has its column and row, and its group.
pub(super) fn sequence(squares: &[(Cell, Option<usize>)], begin: Begin, hand: Hand) -> Vec<usize> {
    let key = |&k: &usize| {
        let ([column, row], group) = squares[k];
        let class = match begin {
            Begin::Top => 0,
            Begin::Outward([c, r]) => column.abs_diff(c).max(row.abs_diff(r)),
            Begin::Groups => group.unwrap_or(usize::MAX),
        };
        let along = match hand {
            Hand::Right => column,
            Hand::Left => usize::MAX - column,
        };
        (class, row, along)
    };
    let mut order: Vec<usize> = (0..squares.len()).collect();
    order.sort_by_key(key);
    order
}

/// The group that a square is inked with, by the share of it that each has: the first that has at least
/// [`GROUP_SHARE`], else the one with most, if any has a part.
#[must_use]
pub fn group_of(shares: &[f64]) -> Option<usize> {
    let most = || {
        let largest = |a: &usize, b: &usize| shares[*a].total_cmp(&shares[*b]).then(b.cmp(a));
        (0..shares.len()).filter(|&k| shares[k] > 0.0).max_by(largest)
    };
    shares.iter().position(|&share| share >= GROUP_SHARE).or_else(most)
}
