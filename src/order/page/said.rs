//! What the first page says in sentences.

use crate::order::Hand;
use crate::sheet::Squares;

use super::Drawn;

/// Least width in mm that sentences beside the map need.
pub(super) const LEAST_MM: f64 = 60.0;
/// Most names that are listed where the rest can be seen elsewhere.
const FEW: usize = 12;

/// All paragraphs.
pub(super) fn paragraphs(of: &Drawn<'_>) -> Vec<String> {
    let mut all = vec![
        way(of),
        hand(of),
        format!(
            "In each square: first outline, in ink, the lights that black is to leave bare; then hatch; then fill its \
             black ({}). A box for each step; beside it the number of the value on the plan, its share of the square, \
             and how many areas have it there.",
            of.texts.last
        ),
        "Common practice: let each set of hatching dry before the next crosses it. Black laid with a brush takes 10 to \
         30 minutes to dry. Erase pencil after an hour, better the day after."
            .into(),
    ];
    if !of.order.bare.is_empty() {
        all.push(format!("Nothing to ink in {}.", ranges(of.squares, &of.order.bare)));
    }
    all
}

/// How the squares follow each other.
fn way(of: &Drawn<'_>) -> String {
    let along = match of.texts.hand {
        Hand::Right => "from left to right",
        Hand::Left => "from right to left",
    };
    if !of.texts.groups.is_empty() {
        let names = of.texts.groups.join(", ");
        return format!(
            "Group by group, front to back ({names}), then the rest: each from the top, {along}."
        );
    }
    match &of.texts.from {
        Some(name) => format!("From {name} outward, ring by ring: each ring from the top, {along}."),
        None => format!("From the top, each row {along}."),
    }
}

/// Where the hand rests, and what it lies on.
fn hand(of: &Drawn<'_>) -> String {
    let names: Vec<&str> =
        of.order.lain_on.iter().map(|&place| of.order.squares[place].name.as_str()).collect();
    let lies = match names[..] {
        [] => "In this order it never lies on a square that is still wet.".into(),
        [name] => format!("In this order it comes to lie on {name} while that may be wet: let it dry first."),
        _ => format!(
            "In this order it comes to lie on {} squares while they may be wet: let these dry first, {}.",
            names.len(),
            few(&names)
        ),
    };
    format!("The {} hand rests below the pen and to its {0}. {lies}", of.texts.hand.word())
}

/// A few of many names.
pub(super) fn few(names: &[&str]) -> String {
    let listed = names[..names.len().min(FEW)].join(", ");
    if names.len() > FEW { format!("{listed} and others") } else { listed }
}

/// Names of squares, row by row, neighbours as ranges.
pub(super) fn ranges(squares: Squares, cells: &[[usize; 2]]) -> String {
    let mut runs: Vec<[[usize; 2]; 2]> = Vec::new();
    for &[column, row] in cells {
        match runs.last_mut() {
            Some([_, last]) if *last == [column.wrapping_sub(1), row] => *last = [column, row],
            _ => runs.push([[column, row]; 2]),
        }
    }
    let name = |[column, row]: [usize; 2]| squares.name(column, row);
    let said = |[first, last]: &[[usize; 2]; 2]| match last[0] - first[0] {
        0 => name(*first),
        1 => format!("{}, {}", name(*first), name(*last)),
        _ => format!("{} to {}", name(*first), name(*last)),
    };
    runs.iter().map(said).collect::<Vec<_>>().join(", ")
}
