//! How much is drawn, and how.

use super::syntax::{AREA, LENGTH, LINE_TOTAL, THIN};
use super::{Key, Table, Usual};
use crate::output::LineWeight;
use crate::strokes::SoftLines;
use crate::study::file::form::Form;
use crate::study::written::{self, Words};
use crate::transitions::HowMuch;
use crate::units::{parse_area_mm2, parse_length_mm, parse_line_total_mm};

const SOFT: Words<SoftLines, 3> = [
    ("solid", "Whole lines, thinner in print than hard ones", SoftLines::Solid),
    ("broken", "Lines with real gaps", SoftLines::Broken),
    ("none", "No lines", SoftLines::None),
];

const WEIGHTS: Words<LineWeight, 2> = [
    ("even", "All alike", LineWeight::Even),
    ("by-step", "Heavier where more values change", LineWeight::ByStep),
];

pub(super) static LINES: Table = Table {
    name: "lines",
    heading: Some("Lines"),
    remark: "How much is drawn, and how",
    keys: &[
        Key::new("narrowest", Form::Written(&LENGTH), Usual::Value("1mm"))
            .says(
                "Narrowest strip between two lines that your pencil can honour",
                "Narrowest strip between two lines that your pencil can honour, in mm, cm or in",
            )
            .sets(|c, t| {
                c.direct.narrowest_mm = parse_length_mm(t)?;
                Ok(())
            }),
        Key::new("least-area", Form::Written(&AREA), Usual::Value("6mm2"))
            .says(
                "Smallest area worth its own line; 6mm2 is room for one digit",
                "Smallest area worth its own line, in mm2, cm2 or in2 (6mm2 is room for one digit)",
            )
            .sets(|c, t| {
                c.direct.least_area_mm2 = parse_area_mm2(t)?;
                Ok(())
            }),
        Key::new("thin", Form::Written(&THIN), Usual::Value("0.4mm"))
            .says(
                "Thinnest light or dark that is kept, as one line; \"none\" leaves them out",
                "Thinnest light or dark that is kept, in mm, cm or in: a rim light or a strand of hair that is wider \
                 than this and narrower than --narrowest is drawn as one line; none leaves them out",
            )
            .sets(|c, t| {
                c.direct.thin_mm = written::thin(t)?;
                Ok(())
            }),
        Key::new("least-tip", Form::Written(&THIN), Usual::Value("0.5mm"))
            .says(
                "How far a point runs on before its tip is drawn; \"none\" draws no tips",
                "How far the point of an area has to run on beyond the area's line, in mm, cm or in, for its tip to be \
                 drawn as one line; none draws no tips",
            )
            .sets(|c, t| {
                c.direct.least_tip_mm = written::least_tip(t)?;
                Ok(())
            }),
        Key::new("plainness", Form::Number { least: 0.0, most: 100.0 }, Usual::Value("55"))
            .excludes(&["line-budget", "areas"])
            .says(
                "How far areas are merged, 0 to 100: higher means fewer lines",
                "How far areas are merged, 0 to 100: 0 keeps every difference the picture lets one believe, 100 keeps \
                 hardly any; 55 gives about 3 to 5 m of line on A4 for most pictures with figures",
            )
            .sets(|c, t| {
                c.direct.how_much = HowMuch::Plainness(written::plainness(t)?);
                Ok(())
            }),
        Key::new("line-budget", Form::Written(&LINE_TOTAL), Usual::Follows("4m"))
            .excludes(&["plainness", "areas"])
            .says(
                "Instead of plainness: at most so much pencil line",
                "Instead of a plainness: at most so much pencil line, in m, cm, mm or in, such as 4m",
            )
            .sets(|c, t| {
                c.direct.how_much = HowMuch::LineBudget { mm: parse_line_total_mm(t)? };
                Ok(())
            }),
        Key::new("areas", Form::Count { least: 1, most: None }, Usual::Follows("120"))
            .excludes(&["plainness", "line-budget"])
            .says(
                "Instead of plainness: at most so many areas",
                "Instead of a plainness: at most so many areas, from 1, such as 120",
            )
            .sets(|c, t| {
                c.direct.how_much = HowMuch::Areas(written::areas(t)?);
                Ok(())
            }),
        Key::new("soft", Form::Word("HOW", &SOFT), Usual::Value("solid"))
            .says(
                "How the lines of soft edges are drawn: solid, broken or none",
                "How the lines of soft edges are drawn: solid (whole, thinner in print), broken (real gaps: about 5 mm \
                 of line, 1.5 mm of gap) or none",
            )
            .sets(|c, t| {
                c.direct.soft = written::word(&SOFT, t)?;
                Ok(())
            }),
        Key::new("chain", Form::Flag, Usual::Value("false"))
            .says(
                "Whether lines are joined through junctions into long strokes, for a plotter",
                "Join lines through junctions into long strokes, for a plotter",
            )
            .sets(|c, t| {
                c.direct.chain = written::flag(t)?;
                Ok(())
            }),
        Key::new("weight", Form::Word("HOW", &WEIGHTS), Usual::Value("even"))
            .says(
                "Weight of the printed lines: even, or by-step: heavier where more values change",
                "Weight of the printed lines: even, or by-step, where a line over two values is heavier than one over a \
                 single value, and one over three or more heavier still",
            )
            .sets(|c, t| {
                c.direct.weight = written::word(&WEIGHTS, t)?;
                Ok(())
            }),
        Key::new("line", Form::Written(&LENGTH), Usual::Follows("0.35mm"))
            .says(
                "Width of the printed line; without it by look, 0.35mm or 0.18mm",
                "Width of the printed line, in mm, cm or in [default: by --look, 0.35mm or 0.18mm]",
            )
            .sets_or("auto", |c, t| {
                c.line_mm = t.map(parse_length_mm).transpose()?;
                Ok(())
            }),
    ],
};
