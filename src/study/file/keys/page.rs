//! The reference as it comes: a photograph of a page made into the picture.

use super::syntax::{CORNERS, CROP, TRUE_SHAPE};
use super::{Key, Table, Usual};
use crate::reference::page::{EvenLight, PageCorners};
use crate::study::file::form::Form;
use crate::study::written::{self, Words};

const LIGHTS: Words<Option<EvenLight>, 3> = [
    ("none", "As it is", None),
    ("paper", "By bare paper round the picture and between strokes", Some(EvenLight::Paper)),
    ("guess", "By the brightest of each part, where no paper is seen", Some(EvenLight::Guess)),
];

pub(super) static PAGE: Table = Table {
    name: "page",
    heading: Some("Reference"),
    remark: "A photograph of a page made into the picture, before it is studied",
    keys: &[
        Key::new("find-page", Form::Flag, Usual::Follows("true"))
            .says(
                "Whether the four corners of a page or picture in a photograph are found, and it is laid flat",
                "Find the four corners of the page or picture in a photograph and lay it flat; refused when they are \
                 not sure",
            )
            .excludes(&["corners"])
            .sets(|c, t| {
                let corners = &mut c.direct.page.corners;
                match (written::flag(t)?, *corners) {
                    (true, _) => *corners = PageCorners::Found,
                    (false, PageCorners::Found) => *corners = PageCorners::Whole,
                    (false, _) => {}
                }
                Ok(())
            }),
        Key::new("corners", Form::Spread(&CORNERS, 4), Usual::Follows("12%,8% 88%,10% 90%,95% 9%,93%"))
            .says(
                "Corners of a page to be laid flat: top left, top right, bottom right, bottom left, in %, px or lengths",
                "Lay this page flat: its top left, top right, bottom right and bottom left corner, each X,Y in shares \
                 of the reference (12%,8%), in its pixels (310px,95px) or in lengths (mm, cm or in); none for no page",
            )
            .excludes(&["find-page"])
            .sets_or("none", |c, t| {
                let corners = &mut c.direct.page.corners;
                match (t, *corners) {
                    (Some(text), _) => *corners = PageCorners::Given(written::corners(text)?),
                    (None, PageCorners::Given(_)) => *corners = PageCorners::Whole,
                    (None, _) => {}
                }
                Ok(())
            }),
        Key::new("true-shape", Form::Written(&TRUE_SHAPE), Usual::Value("auto"))
            .says(
                "True shape of the flat page: \"3:4\" (width to height), a size, a paper, or \"auto\" to estimate it",
                "The true shape of the page that is laid flat: width to height (3:4), its size (180x240mm), a paper's \
                 name, or auto to estimate it from the perspective",
            )
            .sets(|c, t| {
                c.direct.page.true_shape = written::true_shape(t)?;
                Ok(())
            }),
        Key::new("even-light", Form::Switch("HOW", &LIGHTS, "paper"), Usual::Value("none"))
            .says(
                "Takes out uneven light, yellow and show-through: none, paper (by its white), or guess where there is none",
                "Take out fall-off of light, soft shadows, the yellow of paper and what shows through from its back, \
                 by the white of bare paper; where no paper is seen, =guess takes the brightest of each part",
            )
            .sets(|c, t| {
                c.direct.page.even_light = written::word(&LIGHTS, t)?;
                Ok(())
            }),
        Key::new("keep-frame", Form::Flag, Usual::Value("false"))
            .says(
                "Whether a rule printed round the picture stays, and captions and page numbers of a flat page",
                "Keep the rule printed round a picture, and on a page that is laid flat captions and page numbers",
            )
            .sets(|c, t| {
                c.direct.page.keep_frame = written::flag(t)?;
                Ok(())
            }),
        Key::new("crop", Form::Written(&CROP), Usual::Follows("rect:10%,5%,80%,90%"))
            .says(
                "The part that is kept, of the flat page where there is one: LEFT,TOP,WIDTH,HEIGHT in %, px or lengths",
                "Keep only this part, of the flat page where there is one: rect:LEFT,TOP,WIDTH,HEIGHT in shares (10%), \
                 pixels (310px) or lengths (12mm)",
            )
            .sets_or("none", |c, t| {
                c.direct.page.crop = t.map(written::crop).transpose()?;
                Ok(())
            }),
    ],
};
