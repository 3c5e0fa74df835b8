//! What is printed around the picture, and how.

use super::syntax::{CORRECTION, EXTRA_PLACE, LENGTH, PAPER, PITCH, SHARE};
use super::{Key, Table, Usual};
use crate::output::{Ink, Look};
use crate::sheet::Paper;
use crate::study::Marks;
use crate::study::file::form::Form;
use crate::study::written::{self, Words};
use crate::units::parse_length_mm;

const LOOKS: Words<Look, 2> = [
    ("light-box", "Black, to be seen through the drawing paper", Look::LightBox),
    ("under-ink", "Light grey, printed on the drawing paper and inked over", Look::UnderInk),
];

const COLOURS: Words<Ink, 3> = [
    ("black", "Black", Ink::Black),
    ("grey", "Grey of 22 % black", Ink::Grey),
    ("blue", "Light blue, which copying cameras do not see", Ink::Blue),
];

const MARKS: Words<Marks, 3> = [
    ("pdf", "The PDF alone", Marks::Pdf),
    ("all", "SVG and PNG too", Marks::All),
    ("none", "None", Marks::None),
];

const LAYERS: Words<bool, 2> = [("together", "Groups of one file", false), ("apart", "A file each", true)];

pub(super) static PRINT: Table = Table {
    name: "print",
    heading: Some("Print"),
    remark: "How lines look, what is printed around the picture, and the printer's pages",
    keys: &[
        Key::new("look", Form::Word("LOOK", &LOOKS), Usual::Value("light-box"))
            .says(
                "How the lines look: for a light-box (black, 0.35 mm) or under-ink (light grey, 0.18 mm)",
                "How the lines look: for a light box (black, 0.35 mm), or printed on the drawing paper and inked over \
                 (light grey, 0.18 mm)",
            )
            .sets(|c, t| {
                c.look = written::word(&LOOKS, t)?;
                Ok(())
            }),
        Key::new("colour", Form::Word("COLOUR", &COLOURS), Usual::Follows("blue"))
            .says(
                "Colour of the lines: black, grey or blue; without it by look, black or grey",
                "Colour of the lines [default: by --look, black or grey]",
            )
            .sets_or("auto", |c, t| {
                c.ink = t.map(|t| written::word(&COLOURS, t)).transpose()?;
                Ok(())
            }),
        Key::new("marks", Form::Word("FILES", &MARKS), Usual::Value("pdf"))
            .says(
                "Which files have crop marks, rules, crosses, working squares and title block: pdf, all or none",
                "Which files have crop marks, rules, register crosses, working squares and title block",
            )
            .sets(|c, t| {
                c.marks = written::word(&MARKS, t)?;
                Ok(())
            }),
        Key::new("layers", Form::Word("HOW", &LAYERS), Usual::Value("together"))
            .says(
                "How an SVG holds its layers: together as groups, or apart, a file each",
                "How an SVG holds its layers: together as groups, or apart, each in a file of its own with the layer's \
                 name before the ending (study-hard.svg, study-soft.svg and so on)",
            )
            .sets(|c, t| {
                c.layers_apart = written::word(&LAYERS, t)?;
                Ok(())
            }),
        Key::new("squares", Form::Written(&PITCH), Usual::Value("auto"))
            .says(
                "Side of the working squares: a length, \"none\", or \"auto\": 25 mm, on US papers 1 in",
                "Side of the working squares, in mm, cm or in, none, or auto: 25 mm, on US papers 1 in",
            )
            .sets(|c, t| {
                c.direct.on_paper.squares = written::squares(t)?;
                Ok(())
            }),
        Key::new("square-grid", Form::Flag, Usual::Value("false"))
            .says(
                "Whether the working squares are a very light grid over the picture too",
                "Draw the working squares as a very light grid over the picture too",
            )
            .sets(|c, t| {
                c.direct.on_paper.square_grid = written::flag(t)?;
                Ok(())
            }),
        Key::new("underlay", Form::Written(&SHARE), Usual::Follows("15%"))
            .says(
                "How strong the reference is printed under the lines; without it not at all",
                "Print the reference faintly under the lines, as strong as this: 15%, or 1/6",
            )
            .sets_or("none", |c, t| {
                c.direct.on_paper.underlay = t.map(written::share).transpose()?;
                Ok(())
            }),
        Key::new("credit", Form::Text, Usual::Value(""))
            .says(
                "A line of credit for the title block",
                "A line of credit for the title block, such as \"after an engraving of 1780\"",
            )
            .sets(|c, t| {
                c.direct.on_paper.title.credit = t.into();
                Ok(())
            }),
        Key::new("date", Form::Text, Usual::Value(""))
            .says(
                "A date for the title block, in quotes, as you want it written",
                "A date for the title block, as you want it written; without it there is none, so that output repeats",
            )
            .sets(|c, t| {
                c.direct.on_paper.title.date = t.into();
                Ok(())
            }),
        Key::new("mirror", Form::Flag, Usual::Value("false"))
            .says(
                "Whether left and right are exchanged, for work from the back",
                "Exchange left and right: for tracing from the back, rubbing down face down, and toner transfer",
            )
            .sets(|c, t| {
                c.direct.on_paper.view.mirrored = written::flag(t)?;
                Ok(())
            }),
        Key::new("rotate", Form::Degrees, Usual::Value("0"))
            .says(
                "Degrees by which the sheet is turned clockwise in print: 0, 90, 180 or 270",
                "Turn the sheet clockwise in print, in degrees",
            )
            .sets(|c, t| {
                c.direct.on_paper.view.quarter_turns = written::quarter_turns(t)?;
                Ok(())
            }),
        Key::new("print-on", Form::Written(&PAPER), Usual::Follows("a4"))
            .says(
                "The printer's paper, when the PDF is laid on pages that are smaller than the sheet",
                "Print the PDF on the pages of a smaller paper, to be joined: a name, or WIDTHxHEIGHT (mm, cm or in)",
            )
            .sets_or("none", |c, t| {
                c.direct.on_paper.print.paper = t.map(Paper::parse).transpose()?;
                Ok(())
            }),
        Key::new("overlap", Form::Written(&LENGTH), Usual::Value("10mm"))
            .says(
                "How much neighbouring pages share",
                "How much neighbouring pages share, in mm, cm or in",
            )
            .sets(|c, t| {
                c.direct.on_paper.print.overlap_mm = parse_length_mm(t)?;
                Ok(())
            }),
        Key::new("printer-margin", Form::Written(&LENGTH), Usual::Value("5mm"))
            .says(
                "Edge of the paper that your printer leaves bare",
                "Edge of the paper that your printer leaves bare, in mm, cm or in; no mark is put there",
            )
            .sets(|c, t| {
                c.direct.on_paper.print.printer_margin_mm = parse_length_mm(t)?;
                Ok(())
            }),
        Key::new("print-correction", Form::Written(&CORRECTION), Usual::Value("100%,100%"))
            .says(
                "What printed rules measured of what they say, across and down: \"199.2/200,200.4/200\" or \"99.6%,100.2%\"",
                "What the printed rules of an earlier print measured, across and down, as a share of what they say: \
                 199.2/200,200.4/200 or 99.6%,100.2%; the PDF is drawn larger or smaller to make up for it",
            )
            .sets(|c, t| {
                c.direct.on_paper.print.measured = written::correction(t)?;
                Ok(())
            }),
        Key::new("extra-lines", Form::Number { least: 0.0, most: 100.0 }, Usual::Follows("30"))
            .says(
                "Instead of the drawing only the lines that this lower plainness adds",
                "Instead of the drawing, only the lines that this lower plainness (0 to 100) adds to it, in the same place",
            )
            .sets_or("none", |c, t| {
                c.extra_plainness = t.map(written::plainness).transpose()?;
                Ok(())
            }),
        Key::new("extra-in", Form::Written(&EXTRA_PLACE), Usual::Value("whole"))
            .says(
                "Where the extra lines are wanted: \"whole\", a working square such as \"C4\", or a zone rect:...",
                "Where the extra lines are wanted: whole, a working square such as C4, or a zone \
                 rect:LEFT,TOP,WIDTH,HEIGHT",
            )
            .sets(|c, t| {
                c.extra_place = written::extra_place(t)?;
                Ok(())
            }),
    ],
};
