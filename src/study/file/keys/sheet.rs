//! The sheet, and the picture on it.

use super::syntax::{LENGTH, PAPER, SHARE};
use super::{Key, Table, Usual};
use crate::sheet::{Align, Orientation, Paper};
use crate::study::Choices;
use crate::study::file::form::Form;
use crate::study::written::{self, Words, WrittenError};
use crate::units::parse_length_mm;

const WAYS: Words<Orientation, 3> = [
    ("as-picture", "The way the picture is turned", Orientation::AsPicture),
    ("portrait", "Upright", Orientation::Portrait),
    ("landscape", "On its side", Orientation::Landscape),
];

const PLACES: Words<[Align; 2], 9> = [
    ("middle", "In the middle", [Align::Middle, Align::Middle]),
    ("top", "At the top", [Align::Middle, Align::Start]),
    ("bottom", "At the bottom", [Align::Middle, Align::End]),
    ("left", "At the left", [Align::Start, Align::Middle]),
    ("right", "At the right", [Align::End, Align::Middle]),
    ("top-left", "In the top left corner", [Align::Start, Align::Start]),
    ("top-right", "In the top right corner", [Align::End, Align::Start]),
    ("bottom-left", "In the bottom left corner", [Align::Start, Align::End]),
    ("bottom-right", "In the bottom right corner", [Align::End, Align::End]),
];

/// A length that may be left to follow from the rest.
const fn length(
    name: &'static str,
    example: &'static str,
    set: fn(&mut Choices, Option<&str>) -> Result<(), WrittenError>,
) -> Key {
    Key::new(name, Form::Written(&LENGTH), Usual::Follows(example)).sets_or("auto", set)
}

/// A length or nothing, in mm.
fn mm(text: Option<&str>) -> Result<Option<f64>, WrittenError> {
    Ok(text.map(parse_length_mm).transpose()?)
}

/// The margin of one side: 0 top, 1 right, 2 bottom, 3 left.
fn side(c: &mut Choices, k: usize, text: Option<&str>) -> Result<(), WrittenError> {
    c.direct.place.side_margins_mm[k] = mm(text)?;
    Ok(())
}

pub(super) static SHEET: Table = Table {
    name: "sheet",
    heading: Some("Paper"),
    remark: "The paper, and where the picture lies on it",
    keys: &[
        Key::new("paper", Form::Written(&PAPER), Usual::Value("a4"))
            .says(
                "The paper: a name ('merestone papers' lists them), or WIDTHxHEIGHT such as 11x14in or 180x240mm",
                "The sheet: a name such as a4, b3 or letter, or WIDTHxHEIGHT with its unit (mm, cm or in), such as \
                 11x14in or 180x240mm; 'merestone papers' lists the names",
            )
            .sets(|c, t| {
                c.direct.paper = Paper::parse(t)?;
                Ok(())
            }),
        length("margin", "20mm", |c, t| {
            c.direct.place.margin_mm = mm(t)?;
            Ok(())
        })
        .says(
            "Bare paper on every side of the picture; without it 20mm, on US papers 1in",
            "Bare paper kept on every side of the picture, in mm, cm or in [default: 20mm, on US papers 1in]",
        ),
        Key::new("orientation", Form::Word("WAY", &WAYS), Usual::Value("as-picture"))
            .says(
                "Which way the sheet is turned: as-picture, portrait or landscape",
                "Which way the sheet is turned",
            )
            .sets(|c, t| {
                c.direct.place.orientation = written::word(&WAYS, t)?;
                Ok(())
            }),
        length("picture-width", "170mm", |c, t| {
            c.direct.place.picture_width_mm = mm(t)?;
            c.direct.place.scale = c.direct.place.scale.filter(|_| t.is_none());
            Ok(())
        })
        .excludes(&["scale"])
        .says(
            "Width of the picture on the sheet; without it as large as the margins allow",
            "Width of the picture on the sheet, in mm, cm or in [default: as large as the margins allow]",
        ),
        length("picture-height", "255mm", |c, t| {
            c.direct.place.picture_height_mm = mm(t)?;
            c.direct.place.scale = c.direct.place.scale.filter(|_| t.is_none());
            Ok(())
        })
        .excludes(&["scale"])
        .says(
            "Height of the picture on the sheet; without it as large as the margins allow",
            "Height of the picture on the sheet, in mm, cm or in [default: as large as the margins allow]",
        ),
        length("margin-top", "30mm", |c, t| side(c, 0, t)).says(
            "Bare paper above the picture, where it differs from margin",
            "Bare paper above the picture, where it differs from --margin, in mm, cm or in",
        ),
        length("margin-right", "30mm", |c, t| side(c, 1, t)).says(
            "Bare paper right of the picture, where it differs from margin",
            "Bare paper right of the picture, where it differs from --margin, in mm, cm or in",
        ),
        length("margin-bottom", "30mm", |c, t| side(c, 2, t)).says(
            "Bare paper below the picture, where it differs from margin",
            "Bare paper below the picture, where it differs from --margin, in mm, cm or in",
        ),
        length("margin-left", "30mm", |c, t| side(c, 3, t)).says(
            "Bare paper left of the picture, where it differs from margin",
            "Bare paper left of the picture, where it differs from --margin, in mm, cm or in",
        ),
        Key::new("scale", Form::Written(&SHARE), Usual::Follows("150%"))
            .excludes(&["picture-width", "picture-height"])
            .says(
                "Size compared with the reference's own, when that states its resolution: \"150%\" or \"3/2\"",
                "Size of the picture compared with the reference's own, when that states its resolution: 150%, or 3/2",
            )
            .sets_or("auto", |c, t| {
                let place = &mut c.direct.place;
                place.scale = t.map(written::share).transpose()?;
                if t.is_some() {
                    (place.picture_width_mm, place.picture_height_mm) = (None, None);
                }
                Ok(())
            }),
        Key::new("align", Form::Word("PLACE", &PLACES), Usual::Value("middle"))
            .says(
                "Where the picture lies inside the margins: middle, top, bottom, left, right, top-left and so on",
                "Where the picture lies inside the margins",
            )
            .sets(|c, t| {
                c.direct.place.align = written::word(&PLACES, t)?;
                Ok(())
            }),
    ],
};
