//! The options of `draw` that are about paper: the sheet, what is printed around the picture, the printer's pages.

use clap::{Args, ValueEnum};

use super::values::{
    ExtraPlaceArg, SquaresArg, parse_correction, parse_extra_place, parse_length, parse_plainness,
    parse_share, parse_squares,
};

/// Paper, sheet and picture.
#[derive(Debug, Args)]
#[command(next_help_heading = "Paper")]
pub(crate) struct PaperArgs {
    /// The sheet: a name such as a4, b3 or letter, or WIDTHxHEIGHT with its unit (mm, cm or in), such as
    /// 11x14in or 180x240mm; 'merestone papers' lists the names
    #[arg(long, value_name = "PAPER", default_value = "a4")]
    pub(crate) paper: String,

    /// Bare paper kept on every side of the picture, in mm, cm or in [default: 20mm, on US papers 1in]
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true)]
    pub(crate) margin: Option<f64>,

    /// Which way the sheet is turned
    #[arg(long, value_name = "WAY", value_enum, default_value_t = OrientationArg::AsPicture)]
    pub(crate) orientation: OrientationArg,

    /// Width of the picture on the sheet, in mm, cm or in [default: as large as the margins allow]
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true)]
    pub(crate) picture_width: Option<f64>,

    /// Height of the picture on the sheet, in mm, cm or in [default: as large as the margins allow]
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true)]
    pub(crate) picture_height: Option<f64>,

    /// Bare paper above the picture, where it differs from --margin, in mm, cm or in
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true)]
    pub(crate) margin_top: Option<f64>,

    /// Bare paper right of the picture, where it differs from --margin, in mm, cm or in
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true)]
    pub(crate) margin_right: Option<f64>,

    /// Bare paper below the picture, where it differs from --margin, in mm, cm or in
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true)]
    pub(crate) margin_bottom: Option<f64>,

    /// Bare paper left of the picture, where it differs from --margin, in mm, cm or in
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true)]
    pub(crate) margin_left: Option<f64>,

    /// Size of the picture compared with the reference's own, when that states its resolution: 150%, or 3/2
    #[arg(long, value_name = "SHARE", value_parser = parse_share, allow_hyphen_values = true,
          conflicts_with_all = ["picture_width", "picture_height"])]
    pub(crate) scale: Option<f64>,

    /// Where the picture lies inside the margins
    #[arg(long, value_name = "PLACE", value_enum, default_value_t = AlignArg::Middle)]
    pub(crate) align: AlignArg,
}

/// What is printed around the picture, and how.
#[derive(Debug, Args)]
#[command(next_help_heading = "Print")]
pub(crate) struct PrintArgs {
    /// How the lines look: for a light box (black, 0.35 mm), or printed on the drawing paper and inked over (light
    /// grey, 0.18 mm)
    #[arg(long, value_name = "LOOK", value_enum, default_value_t = LookArg::LightBox)]
    pub(crate) look: LookArg,

    /// Colour of the lines [default: by --look, black or grey]
    #[arg(long, value_name = "COLOUR", value_enum)]
    pub(crate) colour: Option<ColourArg>,

    /// Which files have crop marks, rules, register crosses, working squares and title block
    #[arg(long, value_name = "FILES", value_enum, default_value_t = MarksArg::Pdf)]
    pub(crate) marks: MarksArg,

    /// How an SVG holds its layers: together as groups, or apart, each in a file of its own with the layer's name
    /// before the ending (study-hard.svg, study-soft.svg and so on)
    #[arg(long, value_name = "HOW", value_enum, default_value_t = LayersArg::Together)]
    pub(crate) layers: LayersArg,

    /// Side of the working squares, in mm, cm or in, none, or auto: 25 mm, on US papers 1 in
    #[arg(long, value_name = "auto|none|LENGTH", value_parser = parse_squares, default_value = "auto",
          allow_hyphen_values = true)]
    pub(crate) squares: SquaresArg,

    /// Draw the working squares as a very light grid over the picture too
    #[arg(long)]
    pub(crate) square_grid: bool,

    /// Print the reference faintly under the lines, as strong as this: 15%, or 1/6
    #[arg(long, value_name = "SHARE", value_parser = parse_share, allow_hyphen_values = true)]
    pub(crate) underlay: Option<f64>,

    /// A line of credit for the title block, such as "after an engraving of 1780"
    #[arg(long, value_name = "TEXT")]
    pub(crate) credit: Option<String>,

    /// A date for the title block, as you want it written; without it there is none, so that output repeats
    #[arg(long, value_name = "TEXT")]
    pub(crate) date: Option<String>,

    /// Exchange left and right: for tracing from the back, rubbing down face down, and toner transfer
    #[arg(long)]
    pub(crate) mirror: bool,

    /// Turn the sheet clockwise in print, in degrees
    #[arg(long, value_name = "DEGREES", value_parser = ["0", "90", "180", "270"], default_value = "0")]
    pub(crate) rotate: String,

    /// Print the PDF on the pages of a smaller paper, to be joined: a name, or WIDTHxHEIGHT (mm, cm or in)
    #[arg(long, value_name = "PAPER")]
    pub(crate) print_on: Option<String>,

    /// How much neighbouring pages share, in mm, cm or in
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, default_value = "10mm", allow_hyphen_values = true)]
    pub(crate) overlap: f64,

    /// Edge of the paper that your printer leaves bare, in mm, cm or in; no mark is put there
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, default_value = "5mm", allow_hyphen_values = true)]
    pub(crate) printer_margin: f64,

    /// What the printed rules of an earlier print measured, across and down, as a share of what they say:
    /// 199.2/200,200.4/200 or 99.6%,100.2%; the PDF is drawn larger or smaller to make up for it
    #[arg(long, value_name = "X,Y", value_parser = parse_correction, default_value = "100%,100%",
          allow_hyphen_values = true)]
    pub(crate) print_correction: [f64; 2],

    /// Instead of the drawing, only the lines that this lower plainness adds to it, in the same place
    #[arg(long, value_name = "0..100 (lower)", value_parser = parse_plainness, allow_hyphen_values = true)]
    pub(crate) extra_lines: Option<f64>,

    /// Where the extra lines are wanted: whole, a working square such as C4, or a zone rect:LEFT,TOP,WIDTH,HEIGHT
    #[arg(long, value_name = "WHERE", value_parser = parse_extra_place, default_value = "whole",
          requires = "extra_lines")]
    pub(crate) extra_in: ExtraPlaceArg,
}

/// `--orientation`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum OrientationArg {
    /// The way the picture is turned
    AsPicture,
    /// Upright
    Portrait,
    /// On its side
    Landscape,
}

/// `--align`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum AlignArg {
    /// In the middle
    Middle,
    /// At the top
    Top,
    /// At the bottom
    Bottom,
    /// At the left
    Left,
    /// At the right
    Right,
    /// In the top left corner
    TopLeft,
    /// In the top right corner
    TopRight,
    /// In the bottom left corner
    BottomLeft,
    /// In the bottom right corner
    BottomRight,
}

/// `--look`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum LookArg {
    /// Black, to be seen through the drawing paper
    LightBox,
    /// Light grey, printed on the drawing paper and inked over
    UnderInk,
}

/// `--colour`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum ColourArg {
    /// Black
    Black,
    /// Grey of 22 % black
    Grey,
    /// Light blue, which copying cameras do not see
    Blue,
}

/// `--marks`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum MarksArg {
    /// The PDF alone
    Pdf,
    /// SVG and PNG too
    All,
    /// None
    None,
}

/// `--layers`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum LayersArg {
    /// Groups of one file
    Together,
    /// A file each
    Apart,
}
