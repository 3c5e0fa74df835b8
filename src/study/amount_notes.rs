//! What there is to say of how much is drawn.

use crate::transitions::{HowMuch, Traced};

/// All that there is to say.
pub(super) fn of(traced: &Traced, how_much: HowMuch) -> impl Iterator<Item = String> {
    of_amount(traced, how_much).into_iter().chain(of_net(traced, how_much))
}

/// What is to be said of a net: that there is none, or that it is not as promised.
fn of_net(traced: &Traced, how_much: HowMuch) -> Vec<String> {
    let mut notes = Vec::new();
    if traced.amounts[0].length_mm <= 0.0 || (traced.net.transitions.is_empty() && is_plainness(how_much)) {
        notes.push(
            "The picture is one flat tone at these settings: there is no transition, so no lines are drawn."
                .into(),
        );
    }
    if traced.meetings > 0 {
        notes.push(format!(
            "Two lines meet away from a junction in {} places, which is a fault of the program: please report it with \
             the reference.",
            traced.meetings
        ));
    }
    notes
}

fn is_plainness(how_much: HowMuch) -> bool {
    matches!(how_much, HowMuch::Plainness(_))
}

/// What there is to say of a budget: that it draws everything, or that it allows no line at all.
fn of_amount(traced: &Traced, how_much: HowMuch) -> Option<String> {
    let (finest, fewest) = match traced.amounts.as_slice() {
        // The last amount is the empty one.
        [finest, .., fewest, _] | [finest @ fewest, _] => (finest, fewest),
        _ => return None,
    };
    if let Some(note) = kept_note(traced, how_much) {
        return Some(note);
    }
    let everything = traced.height <= 0.0;
    let nothing = traced.net.transitions.is_empty();
    match how_much {
        HowMuch::LineBudget { .. } if everything => Some(format!(
            "The budget is larger than all there is: everything that the picture lets one believe is drawn, {:.2} m of \
             line.",
            finest.length_mm / 1000.0
        )),
        HowMuch::LineBudget { mm } if nothing => Some(format!(
            "A line budget of {} m allows no line: the least that can be drawn of this picture is {:.2} m.",
            mm / 1000.0,
            fewest.length_mm / 1000.0
        )),
        HowMuch::Areas(_) if everything => Some(format!(
            "There are no more areas than allowed: everything that the picture lets one believe is drawn, {} areas.",
            finest.areas
        )),
        HowMuch::Areas(_) if nothing => Some(format!(
            "So few areas allow no line: the fewest with a line that can be drawn of this picture are {}.",
            fewest.areas
        )),
        _ => None,
    }
}

/// What there is to say of a budget that is less than what edits keep.
fn kept_note(traced: &Traced, how_much: HowMuch) -> Option<String> {
    let least = traced.amounts.last()?;
    match how_much {
        HowMuch::LineBudget { mm } if least.length_mm > mm => Some(format!(
            "The line budget of {} m cannot be kept: the borders of the edited areas alone are {:.2} m.",
            mm / 1000.0,
            least.length_mm / 1000.0
        )),
        HowMuch::Areas(most) if least.areas > most => Some(format!(
            "There are more areas than the {most} allowed: with the edits there are {} at least.",
            least.areas
        )),
        _ => None,
    }
}
