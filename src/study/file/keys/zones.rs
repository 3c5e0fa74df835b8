//! Focus and rest.

use super::syntax::{AREA, LENGTH, ZONE};
use super::{Key, Table, Usual};
use crate::study::file::form::Form;
use crate::study::written;
use crate::units::{parse_area_mm2, parse_length_mm};

pub(super) static ZONES: Table = Table {
    name: "focus-and-rest",
    heading: Some("Focus and rest"),
    remark: "Where more and fewer lines are wanted: numbers are shares of the picture (25%) or lengths from its top left",
    keys: &[
        Key::new("focus", Form::List(&ZONE), Usual::Follows("ellipse:50%,40%,25mm,30mm"))
            .says(
                "Zones of more lines: rect:LEFT,TOP,WIDTH,HEIGHT, ellipse:X,Y,RADIUS,RADIUS or polygon:X,Y,X,Y,X,Y",
                "A zone where more lines are wanted; may be given again: rect:LEFT,TOP,WIDTH,HEIGHT, \
                 ellipse:X,Y,RADIUS,RADIUS or polygon:X,Y,X,Y,X,Y; each number is a share of the picture's width or \
                 height (25%) or a length from its top left (40mm)",
            )
            .lists(|c, list| {
                c.focus = list.iter().map(|t| written::outline(t)).collect::<Result<_, _>>()?;
                Ok(())
            }),
        Key::new("rest", Form::List(&ZONE), Usual::Follows("rect:0%,0%,100%,20%"))
            .says(
                "Zones of fewer lines, written as for focus; where both lie, focus wins",
                "A zone where fewer lines are wanted, written as for --focus; where both lie, focus wins",
            )
            .lists(|c, list| {
                c.rest = list.iter().map(|t| written::outline(t)).collect::<Result<_, _>>()?;
                Ok(())
            }),
        Key::new("zones", Form::File, Usual::Follows("mask.png"))
            .says(
                "A grey picture over the whole reference: white is focus, black is rest, mid grey changes nothing",
                "A grey picture painted over the whole reference, at any size: white is focus, black is rest, mid grey \
                 leaves things as they are",
            )
            .sets_or("none", |c, t| {
                c.mask = t.map(written::path).transpose()?;
                Ok(())
            }),
        Key::new("focus-narrowest", Form::Written(&LENGTH), Usual::Follows("0.5mm"))
            .says(
                "Narrowest strip between two lines in focus; without it half of narrowest",
                "Narrowest strip between two lines in focus, in mm, cm or in [default: half of --narrowest]",
            )
            .sets_or("auto", |c, t| {
                c.direct.focus.narrowest_mm = t.map(parse_length_mm).transpose()?;
                Ok(())
            }),
        Key::new("rest-narrowest", Form::Written(&LENGTH), Usual::Follows("2mm"))
            .says(
                "Narrowest strip between two lines at rest; without it twice narrowest",
                "Narrowest strip between two lines at rest, in mm, cm or in [default: twice --narrowest]",
            )
            .sets_or("auto", |c, t| {
                c.direct.rest.narrowest_mm = t.map(parse_length_mm).transpose()?;
                Ok(())
            }),
        Key::new("focus-least-area", Form::Written(&AREA), Usual::Follows("1.5mm2"))
            .says(
                "Smallest area worth its own line in focus; without it a quarter of least-area",
                "Smallest area worth its own line in focus, in mm2, cm2 or in2 [default: a quarter of --least-area]",
            )
            .sets_or("auto", |c, t| {
                c.direct.focus.least_area_mm2 = t.map(parse_area_mm2).transpose()?;
                Ok(())
            }),
        Key::new("rest-least-area", Form::Written(&AREA), Usual::Follows("25mm2"))
            .says(
                "Smallest area worth its own line at rest; without it about four times least-area",
                "Smallest area worth its own line at rest, in mm2, cm2 or in2 [default: about four times --least-area]",
            )
            .sets_or("auto", |c, t| {
                c.direct.rest.least_area_mm2 = t.map(parse_area_mm2).transpose()?;
                Ok(())
            }),
    ],
};
