//! The options about paper to settings.

use merestone::areas::zones::Outline;
use merestone::output::{Ink, Look};
use merestone::sheet::{Align, Layer, Orientation, Paper, PlaceOptions, PrintOptions, TitleBlock, View};
use merestone::study::{ExtraLines, ExtraPlace, OnPaper, SquareRule};

use super::args::{DrawArgs, SoftArg};
use super::files::Input;
use super::paper_args::{
    AlignArg, ColourArg, LayersArg, LookArg, MarksArg, OrientationArg, PaperArgs, PrintArgs,
};
use super::print::Failure;
use super::values::{ExtraPlaceArg, SquaresArg};

/// What is said when lines are to be printed on the drawing paper itself.
pub(crate) const UNDER_INK_CAUTION: &str = "Toner repels dip ink, and neither toner nor inkjet can be erased: let no \
    printed line lie in areas that stay white, try one sheet first, and heed the manual of your printer for its paper.";

/// Where the picture lies.
pub(crate) fn placing(args: &PaperArgs) -> PlaceOptions {
    use AlignArg::{Bottom, BottomLeft, BottomRight, Left, Middle, Right, Top, TopLeft, TopRight};
    let across = match args.align {
        Left | TopLeft | BottomLeft => Align::Start,
        Middle | Top | Bottom => Align::Middle,
        Right | TopRight | BottomRight => Align::End,
    };
    let down = match args.align {
        Top | TopLeft | TopRight => Align::Start,
        Middle | Left | Right => Align::Middle,
        Bottom | BottomLeft | BottomRight => Align::End,
    };
    PlaceOptions {
        margin_mm: args.margin,
        side_margins_mm: [args.margin_top, args.margin_right, args.margin_bottom, args.margin_left],
        align: [across, down],
        scale: args.scale,
        orientation: match args.orientation {
            OrientationArg::AsPicture => Orientation::AsPicture,
            OrientationArg::Portrait => Orientation::Portrait,
            OrientationArg::Landscape => Orientation::Landscape,
        },
        picture_width_mm: args.picture_width,
        picture_height_mm: args.picture_height,
    }
}

/// The look that was asked for.
pub(crate) fn look(args: &PrintArgs) -> Look {
    match args.look {
        LookArg::LightBox => Look::LightBox,
        LookArg::UnderInk => Look::UnderInk,
    }
}

/// How the sheet is shown, marked and printed.
pub(crate) fn on_paper(args: &DrawArgs) -> Result<OnPaper, Failure> {
    let print = &args.print;
    let paper = print.print_on.as_deref().map(Paper::parse).transpose().map_err(Failure::wrong_use)?;
    let name = match Input::new(&args.reference) {
        Input::Piped => String::new(),
        Input::File(path) => path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
    };
    Ok(OnPaper {
        view: View {
            mirrored: print.mirror,
            quarter_turns: match print.rotate.as_str() {
                "90" => 1,
                "180" => 2,
                "270" => 3,
                _ => 0,
            },
        },
        print: PrintOptions {
            paper,
            overlap_mm: print.overlap,
            printer_margin_mm: print.printer_margin,
            measured: print.print_correction,
        },
        squares: match print.squares {
            SquaresArg::Auto => SquareRule::Usual,
            SquaresArg::None => SquareRule::None,
            SquaresArg::Side(mm) => SquareRule::Side(mm),
        },
        square_grid: print.square_grid,
        title: TitleBlock {
            name,
            credit: print.credit.clone().unwrap_or_default(),
            date: print.date.clone().unwrap_or_default(),
            ..TitleBlock::default()
        },
        ink: match print.colour {
            None => look(print).ink(),
            Some(ColourArg::Black) => Ink::Black,
            Some(ColourArg::Grey) => Ink::Grey,
            Some(ColourArg::Blue) => Ink::Blue,
        },
        underlay: print.underlay,
    })
}

/// The layers that get a file each, by the settings alone so that names are known before work begins; none when they
/// stay together.
pub(crate) fn layers_apart(args: &DrawArgs) -> Vec<Layer> {
    let print = &args.print;
    let marked = print.marks == MarksArg::All;
    let wanted = |layer: &Layer| match layer {
        Layer::Reference => print.underlay.is_some(),
        Layer::Hard => true,
        Layer::Soft => args.lines.soft != SoftArg::None,
        Layer::Thin => args.lines.thin.0.is_some(),
        Layer::Guides | Layer::Tints | Layer::Values | Layer::Key => false,
        Layer::Squares | Layer::Numbers => marked && print.squares != SquaresArg::None,
        Layer::Marks => marked,
    };
    match print.layers {
        LayersArg::Together => Vec::new(),
        LayersArg::Apart => Layer::ALL.into_iter().filter(wanted).collect(),
    }
}

/// Which extra lines are wanted.
pub(crate) fn extra(args: &PrintArgs) -> Option<ExtraLines> {
    let place = match &args.extra_in {
        ExtraPlaceArg::Square(name) => ExtraPlace::Square(name.clone()),
        ExtraPlaceArg::Rect(Outline::Rect { corner, size }) => {
            ExtraPlace::Rect { corner: *corner, size: *size }
        }
        ExtraPlaceArg::Whole | ExtraPlaceArg::Rect(_) => ExtraPlace::Whole,
    };
    args.extra_lines.map(|plainness| ExtraLines { plainness, place })
}
