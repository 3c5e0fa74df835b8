//! Values and tones.

use super::syntax::PITCH;
use super::{Key, Table, Usual};
use crate::study::file::form::Form;
use crate::study::written::{self, Words};
use crate::tone::ReferenceKind;

const KINDS: Words<Option<ReferenceKind>, 5> = [
    ("auto", "Find out from the picture", None),
    ("hatched", "Hatched, stippled or engraved in ink", Some(ReferenceKind::Hatched)),
    ("hatched-with-lines", "The same with holding lines round things", Some(ReferenceKind::HatchedWithLines)),
    ("tonal", "Tones: a photograph, a wash, a pencil shading", Some(ReferenceKind::Tonal)),
    ("tonal-with-lines", "Tones with holding lines", Some(ReferenceKind::TonalWithLines)),
];

pub(super) static TONES: Table = Table {
    name: "tones",
    heading: Some("Values"),
    remark: "How many values, and where one gives way to the next",
    keys: &[
        Key::new("values", Form::Count { least: 2, most: Some(9) }, Usual::Follows("5"))
            .says(
                "How many values, 2 to 9: 1 is bare paper; without it 5, or one more than the breaks listed",
                "How many values, 2 to 9: 1 is bare paper, the last is solid black [default: 5, or one more than \
                 the breaks you list]",
            )
            .sets_or("auto", |c, t| {
                c.values = t.map(written::values).transpose()?;
                Ok(())
            }),
        Key::new(
            "breaks",
            Form::Numbers {
                value_name: "fitted|even|L*,L*,...",
                words: &["fitted", "even"],
                count: [1, 8],
            },
            Usual::Value("fitted"),
        )
        .says(
            "\"fitted\" to this picture, \"even\", or your own in L*, lightest first, such as [80, 60, 40, 20]",
            "Where one value gives way to the next: fitted to this picture's tones, even steps of lightness, or your \
             own list in L* (0 black to 100 white), lightest first, such as 80,60,40,20",
        )
        .sets(|c, t| {
            c.direct.breaks = written::breaks(t)?;
            Ok(())
        }),
        Key::new(
            "tone-range",
            Form::Numbers { value_name: "auto|INK,PAPER", words: &["auto"], count: [2, 2] },
            Usual::Value("auto"),
        )
        .says(
            "L* taken as solid ink and as bare paper: \"auto\" finds them, [0, 100] takes the picture as it is",
            "The lightness in L* (0 to 100) taken as solid ink and as bare paper: auto finds them in the picture, \
             0,100 takes the picture as it is",
        )
        .sets(|c, t| {
            c.direct.tone_range = written::tone_range(t)?;
            Ok(())
        }),
        Key::new("kind", Form::Word("KIND", &KINDS), Usual::Value("auto"))
            .says(
                "How the reference is made: auto, hatched, hatched-with-lines, tonal or tonal-with-lines",
                "How the reference is made: hatched in ink, in tones, or either with holding lines (dark contours, \
                 which are not drawn); auto looks for itself",
            )
            .sets(|c, t| {
                c.direct.kind = written::word(&KINDS, t)?;
                Ok(())
            }),
        Key::new("pitch", Form::Written(&PITCH), Usual::Value("auto"))
            .says(
                "Distance from line to line of the hatching on the sheet: auto, none, or a length such as 0.9mm",
                "The distance from line to line of the hatching (or dot row to dot row) on the sheet, such as 0.9mm: \
                 what is that fine is averaged; none averages nothing, auto measures",
            )
            .sets(|c, t| {
                c.direct.pitch = written::pitch(t)?;
                Ok(())
            }),
    ],
};
