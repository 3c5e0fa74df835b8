//! The options of `draw` that are about the reference as it comes, to settings, and the file they write.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use merestone::reference::page::{Corner, Crop, EvenLight, PageCorners, PageOptions, TrueShape};
use merestone::sheet::Paper;

use super::files::{Content, Input, Output, Outputs, ending_of};
use super::print::Failure;

/// The reference as it comes.
#[derive(Debug, Args)]
#[command(next_help_heading = "Reference")]
pub(crate) struct PageArgs {
    /// Find the four corners of the page or picture in a photograph and lay it flat; refused when they are not sure
    #[arg(long, conflicts_with = "corners")]
    pub(crate) find_page: bool,

    /// Lay this page flat: its top left, top right, bottom right and bottom left corner, each X,Y in shares of the
    /// reference (12%,8%), in its pixels (310px,95px) or in lengths
    #[arg(long, value_name = "X,Y", num_args = 4, allow_hyphen_values = true)]
    pub(crate) corners: Option<Vec<Corner>>,

    /// The true shape of the page that is laid flat: width to height (3:4), its size (180x240mm), a paper's name, or auto
    /// to estimate it from the perspective
    #[arg(long, value_name = "auto|W:H|SIZE|PAPER", value_parser = parse_true_shape, default_value = "auto",
          allow_hyphen_values = true)]
    pub(crate) true_shape: TrueShape,

    /// Take out fall-off of light, soft shadows, the yellow of paper and what shows through from its back, by the white
    /// of bare paper; where no paper is seen, =guess takes the brightest of each part
    #[arg(long, value_name = "HOW", value_enum, num_args = 0..=1, require_equals = true, default_missing_value = "paper")]
    pub(crate) even_light: Option<EvenLightArg>,

    /// Keep the rule printed round a picture, and on a page that is laid flat captions and page numbers
    #[arg(long)]
    pub(crate) keep_frame: bool,

    /// Keep only this part, of the flat page where there is one: rect:LEFT,TOP,WIDTH,HEIGHT in shares (10%), pixels
    /// (310px) or lengths (12mm)
    #[arg(long, value_name = "RECT", allow_hyphen_values = true)]
    pub(crate) crop: Option<Crop>,

    /// Also write a small .png of the reference before and after, side by side
    #[arg(long, value_name = "FILE.png")]
    pub(crate) before_after: Option<PathBuf>,
}

/// `--even-light`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum EvenLightArg {
    /// By bare paper round the picture and between strokes
    Paper,
    /// By the brightest of each part, where no paper is seen
    Guess,
}

/// `auto`, a ratio, a size or a paper's name.
pub(crate) fn parse_true_shape(text: &str) -> Result<TrueShape, String> {
    text.parse().or_else(|complaint| {
        let paper = Paper::parse(text).map_err(|_| complaint)?;
        Ok(TrueShape::Size([paper.width_mm, paper.height_mm]))
    })
}

/// What is done to the reference.
pub(crate) fn page(args: &PageArgs) -> Result<PageOptions, Failure> {
    let corners = match args.corners.as_deref() {
        Some(&[a, b, c, d]) => PageCorners::Given([a, b, c, d]),
        _ if args.find_page => PageCorners::Found,
        _ => PageCorners::Whole,
    };
    if args.true_shape != TrueShape::Estimated && corners == PageCorners::Whole {
        return Err(Failure::wrong_use(
            "--true-shape is about a page that is laid flat; add --find-page or --corners, or leave it out",
        ));
    }
    Ok(PageOptions {
        corners,
        true_shape: args.true_shape,
        even_light: args.even_light.map(|how| match how {
            EvenLightArg::Paper => EvenLight::Paper,
            EvenLightArg::Guess => EvenLight::Guess,
        }),
        keep_frame: args.keep_frame,
        crop: args.crop,
        before_after: args.before_after.is_some(),
    })
}

/// Adds the picture before and after to what is written, and checks it with the others.
pub(crate) fn add(outputs: &mut Outputs, args: &PageArgs, input: &Input) -> Result<(), Failure> {
    let Some(path) = &args.before_after else { return Ok(()) };
    if ending_of(path) != "png" {
        return Err(Failure::wrong_use(format!(
            "--before-after writes a .png file, but {} has another ending; rename it",
            path.display()
        )));
    }
    outputs.list.push(Output::File(Content::BeforeAfter, path.clone()));
    outputs.check(input)
}
