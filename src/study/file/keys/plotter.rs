//! The plotter.

use super::syntax::{ACCELERATION, LENGTH, LINE_TOTAL, SECONDS, SPEED, ZONE};
use super::{Key, Table, Usual};
use crate::study::file::form::Form;
use crate::study::written::{self, Words};
use crate::units::{
    parse_acceleration_mm_s2, parse_length_mm, parse_line_total_mm, parse_seconds, parse_speed_mm_s,
};

const FILES: Words<bool, 2> = [
    ("one", "One, with a group for each layer and part", false),
    ("each", "One for each layer and part", true),
];

const EDGES: Words<bool, 2> =
    [("apart", "Hard edges, then soft ones", false), ("joined", "As one layer", true)];

pub(super) static PLOTTER: Table = Table {
    name: "plotter",
    heading: Some("Plotter"),
    remark: "A plotter that holds a pencil; used when a file for it is asked for with --plotter",
    keys: &[
        Key::new("plotter-files", Form::Word("FILES", &FILES), Usual::Value("one"))
            .says(
                "One file for all, or each layer and part in a file of its own",
                "One file for all, or one for each layer and part (FILE-01-hard.svg, FILE-02-soft.svg ...)",
            )
            .sets(|c, t| {
                c.plotter.apart = written::word(&FILES, t)?;
                Ok(())
            }),
        Key::new("plotter-edges", Form::Word("HOW", &EDGES), Usual::Value("apart"))
            .says(
                "Whether hard and soft edges are drawn apart, for two pencils, or joined as one layer",
                "Whether hard and soft edges are drawn apart, for two pencils, or joined as one layer",
            )
            .sets(|c, t| {
                c.plotter.joined = written::word(&EDGES, t)?;
                Ok(())
            }),
        Key::new("lead-length", Form::Written(&LINE_TOTAL), Usual::Follows("8m"))
            .says(
                "Length of line after which the pencil is turned or sharpened: a new part begins there",
                "Length of line after which the pencil is turned or sharpened, in m, cm, mm or in: a new part begins \
                 there",
            )
            .sets_or("none", |c, t| {
                c.plotter.lead_length_mm = t.map(parse_line_total_mm).transpose()?;
                Ok(())
            }),
        Key::new("close-over", Form::Written(&LENGTH), Usual::Value("0mm"))
            .says(
                "How far a closed line is drawn on over its beginning",
                "How far a closed line is drawn on over its beginning, in mm, cm or in",
            )
            .sets(|c, t| {
                c.plotter.close_over_mm = parse_length_mm(t)?;
                Ok(())
            }),
        Key::new("least-stroke", Form::Written(&LENGTH), Usual::Value("0mm"))
            .says("Strokes shorter than this are left out", "Leave out strokes shorter than this, in mm, cm or in")
            .sets(|c, t| {
                c.plotter.least_stroke_mm = parse_length_mm(t)?;
                Ok(())
            }),
        Key::new("keep-out", Form::List(&ZONE), Usual::Follows("rect:0mm,0mm,30mm,15mm"))
            .says(
                "Rectangles that the pencil keeps out of, in lengths from the top left of the sheet as it is shown",
                "A rectangle that the pencil keeps out of, such as a clamp; may be given again: \
                 rect:LEFT,TOP,WIDTH,HEIGHT in lengths from the top left of the sheet as it is shown",
            )
            .lists(|c, list| {
                c.plotter.keep_out = list.iter().map(|t| written::keep_out(t)).collect::<Result<_, _>>()?;
                Ok(())
            }),
        Key::new("polylines", Form::Written(&LENGTH), Usual::Follows("0.05mm"))
            .says(
                "Straight pieces instead of curves, off the curve by at most this",
                "Write straight pieces instead of curves, off the curve by at most this, in mm, cm or in",
            )
            .sets_or("none", |c, t| {
                c.plotter.polylines_mm = t.map(parse_length_mm).transpose()?;
                Ok(())
            }),
        Key::new("drawing-speed", Form::Written(&SPEED), Usual::Value("30mm/s"))
            .says(
                "Speed of the machine with the pencil down",
                "Speed of the machine with the pencil down, such as 30mm/s",
            )
            .sets(|c, t| {
                c.plotter.machine.drawing_mm_s = parse_speed_mm_s(t)?;
                Ok(())
            }),
        Key::new("travel-speed", Form::Written(&SPEED), Usual::Value("80mm/s"))
            .says(
                "Speed of the machine with the pencil up",
                "Speed of the machine with the pencil up, such as 80mm/s",
            )
            .sets(|c, t| {
                c.plotter.machine.travel_mm_s = parse_speed_mm_s(t)?;
                Ok(())
            }),
        Key::new("acceleration", Form::Written(&ACCELERATION), Usual::Value("400mm/s2"))
            .says("Acceleration of the machine", "Acceleration of the machine, such as 400mm/s2")
            .sets(|c, t| {
                c.plotter.machine.acceleration_mm_s2 = parse_acceleration_mm_s2(t)?;
                Ok(())
            }),
        Key::new("lift-time", Form::Written(&SECONDS), Usual::Value("0.4s"))
            .says(
                "Time that it takes to raise and lower the pencil once",
                "Time that it takes to raise and lower the pencil once, such as 0.4s",
            )
            .sets(|c, t| {
                c.plotter.machine.lift_s = parse_seconds(t)?;
                Ok(())
            }),
    ],
};
