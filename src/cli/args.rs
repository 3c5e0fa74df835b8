//! The command line as structs: what may be written, and the help an artist reads. No logic.

use std::ffi::OsString;
use std::path::PathBuf;

use clap::builder::styling::{Style, Styles};
use clap::{Args, Parser, Subcommand, ValueEnum};

use super::paper_args::{PaperArgs, PrintArgs};
use super::plan::PlanArgs;
use super::plotter_args::PlotterArgs;
use super::values::{
    BreaksArg, PitchArg, ThinArg, ToneRangeArg, parse_area, parse_areas, parse_breaks, parse_length,
    parse_line_total, parse_pitch, parse_plainness, parse_thin, parse_tone_range, parse_values,
};
use super::zones::parse_outline;
use merestone::areas::zones::Outline;

/// Bold headings and nothing else: the help has to read well on any terminal.
const STYLES: Styles = Styles::plain().header(Style::new().bold()).usage(Style::new().bold());

/// Boundary-line underdrawings for artists who ink by value.
///
/// Turns a reference picture into the fewest pencil lines that tell the hand where one value stops and
/// the next begins, at the exact size of the paper.
#[derive(Debug, Parser)]
#[command(name = "merestone", version, styles = STYLES, max_term_width = 100, subcommand_required = true, arg_required_else_help = false)]
#[command(after_help = "Example:\n  merestone draw picture.jpg --paper a4\n\n\
    Every length takes a unit: 20mm, 2cm or 0.75in. 'merestone draw --help' explains each option.")]
pub(crate) struct CommandLine {
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Command,
}

/// One thing to do.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Draw the boundary lines of a reference picture at the size of the paper
    Draw(Box<DrawArgs>),
    /// Make the numbered value plan of a reference picture, with its key, to work from
    Plan(Box<PlanArgs>),
    /// List the papers known by name, with their sizes in mm and inches
    #[command(after_help = "Example:\n  merestone papers")]
    Papers,
    /// Print the word completions of a shell on standard output
    #[command(
        after_help = "Example:\n  merestone completions bash > ~/.local/share/bash-completion/completions/merestone"
    )]
    Completions {
        /// The shell that is to complete the words
        #[arg(value_name = "SHELL")]
        shell: clap_complete::Shell,
    },
    /// Print the manual page (roff) on standard output
    #[command(after_help = "Example:\n  merestone manual > merestone.1 && man ./merestone.1")]
    Manual,
}

/// Settings of `draw`.
#[derive(Debug, Args)]
#[command(after_help = DRAW_EXAMPLES)]
pub(crate) struct DrawArgs {
    /// The reference: a JPEG, PNG, TIFF, WebP, BMP or GIF picture, or - for standard input
    #[arg(value_name = "REF")]
    pub(crate) reference: OsString,

    /// Paper, sheet and picture.
    #[command(flatten)]
    pub(crate) paper: PaperArgs,

    /// Marks, squares and how the lines look.
    #[command(flatten)]
    pub(crate) print: PrintArgs,

    /// Values.
    #[command(flatten)]
    pub(crate) values: ValueArgs,

    /// How much is drawn, and how.
    #[command(flatten)]
    pub(crate) lines: LineArgs,

    /// Focus and rest.
    #[command(flatten)]
    pub(crate) zones: ZoneArgs,

    /// Plotter.
    #[command(flatten)]
    pub(crate) plotter: PlotterArgs,

    /// Files.
    #[command(flatten)]
    pub(crate) files: FileArgs,

    /// How the program runs.
    #[command(flatten)]
    pub(crate) running: RunningArgs,
}

const DRAW_EXAMPLES: &str = "Examples:
  merestone draw picture.jpg
      SVG and PDF on A4, beside the picture
  merestone draw picture.jpg --paper 11x14in --margin 1in -o study.svg -o study.pdf
      another paper, and files of your own naming
  merestone draw picture.jpg --values 3 --plainness 70 -o notan.pdf
      three values and few lines, for a first weighing up
  merestone draw picture.jpg --chain --plotter plotter.svg --order-view order.png
      for a plotter that holds a pencil
  merestone draw - --format svg -o - < picture.png > study.svg
      from standard input to standard output";

/// Values.
#[derive(Debug, Args)]
#[command(next_help_heading = "Values")]
pub(crate) struct ValueArgs {
    /// How many values, 2 to 9: 1 is bare paper, the last is solid black [default: 5, or one more than the
    /// breaks you list]
    #[arg(long, value_name = "COUNT", value_parser = parse_values, allow_hyphen_values = true)]
    pub(crate) values: Option<u8>,

    /// Where one value gives way to the next: fitted to this picture's tones, even steps of lightness, or your
    /// own list in L* (0 black to 100 white), lightest first, such as 80,60,40,20
    #[arg(long, value_name = "fitted|even|L*,L*,...", value_parser = parse_breaks, default_value = "fitted",
          allow_hyphen_values = true)]
    pub(crate) breaks: BreaksArg,

    /// The lightness in L* (0 to 100) taken as solid ink and as bare paper: auto finds them in the picture,
    /// 0,100 takes the picture as it is
    #[arg(long, value_name = "auto|INK,PAPER", value_parser = parse_tone_range, default_value = "auto",
          allow_hyphen_values = true)]
    pub(crate) tone_range: ToneRangeArg,

    /// How the reference is made: hatched in ink, in tones, or either with holding lines (dark contours, which
    /// are not drawn); auto looks for itself
    #[arg(long, value_name = "KIND", value_enum, default_value_t = KindArg::Auto)]
    pub(crate) kind: KindArg,

    /// The distance from line to line of the hatching (or dot row to dot row) on the sheet, such as 0.9mm: what is
    /// that fine is averaged; none averages nothing, auto measures
    #[arg(long, value_name = "auto|none|LENGTH", value_parser = parse_pitch, default_value = "auto",
          allow_hyphen_values = true)]
    pub(crate) pitch: PitchArg,
}

/// How much is drawn, and how.
#[derive(Debug, Args)]
#[command(next_help_heading = "Lines")]
pub(crate) struct LineArgs {
    /// Narrowest strip between two lines that your pencil can honour, in mm, cm or in
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, default_value = "1mm", allow_hyphen_values = true)]
    pub(crate) narrowest: f64,

    /// Smallest area worth its own line, in mm2, cm2 or in2 (6mm2 is room for one digit)
    #[arg(long, value_name = "AREA", value_parser = parse_area, default_value = "6mm2", allow_hyphen_values = true)]
    pub(crate) least_area: f64,

    /// Thinnest light or dark that is kept, in mm, cm or in: a rim light or a strand of hair that is wider than
    /// this and narrower than --narrowest is drawn as one line; none leaves them out
    #[arg(long, value_name = "LENGTH|none", value_parser = parse_thin, default_value = "0.4mm", allow_hyphen_values = true)]
    pub(crate) thin: ThinArg,

    /// How far areas are merged, 0 to 100: 0 keeps every difference the picture lets one believe, 100 keeps
    /// hardly any [default: 55, about 3 to 5 m of line on A4 for most pictures with figures]
    #[arg(long, value_name = "0..100", value_parser = parse_plainness, allow_hyphen_values = true,
          group = "how_much")]
    pub(crate) plainness: Option<f64>,

    /// Instead of a plainness: at most so much pencil line, in m, cm, mm or in, such as 4m
    #[arg(long, value_name = "TOTAL", value_parser = parse_line_total, allow_hyphen_values = true, group = "how_much")]
    pub(crate) line_budget: Option<f64>,

    /// Instead of a plainness: at most so many areas, from 1, such as 120
    #[arg(long, value_name = "NUMBER", value_parser = parse_areas, allow_hyphen_values = true, group = "how_much")]
    pub(crate) areas: Option<usize>,

    /// How the lines of soft edges are drawn: solid (whole, thinner in print), broken (real gaps: about 5 mm
    /// of line, 1.5 mm of gap) or none
    #[arg(long, value_name = "HOW", value_enum, default_value_t = SoftArg::Solid)]
    pub(crate) soft: SoftArg,

    /// Join lines through junctions into long strokes, for a plotter
    #[arg(long)]
    pub(crate) chain: bool,

    /// Width of the printed line, in mm, cm or in [default: by --look, 0.35mm or 0.18mm]
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true)]
    pub(crate) line: Option<f64>,
}

/// Focus and rest.
#[derive(Debug, Args)]
#[command(next_help_heading = "Focus and rest")]
pub(crate) struct ZoneArgs {
    /// A zone where more lines are wanted; may be given again: rect:LEFT,TOP,WIDTH,HEIGHT,
    /// ellipse:X,Y,RADIUS,RADIUS or polygon:X,Y,X,Y,X,Y; each number is a share of the picture's width or height
    /// (25%) or a length from its top left (40mm)
    #[arg(long, value_name = "ZONE", value_parser = parse_outline, allow_hyphen_values = true)]
    pub(crate) focus: Vec<Outline>,

    /// A zone where fewer lines are wanted, written as for --focus; where both lie, focus wins
    #[arg(long, value_name = "ZONE", value_parser = parse_outline, allow_hyphen_values = true)]
    pub(crate) rest: Vec<Outline>,

    /// A grey picture painted over the whole reference, at any size: white is focus, black is rest, mid grey leaves
    /// things as they are
    #[arg(long, value_name = "MASK.png")]
    pub(crate) zones: Option<PathBuf>,

    /// Narrowest strip between two lines in focus, in mm, cm or in [default: half of --narrowest]
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true)]
    pub(crate) focus_narrowest: Option<f64>,

    /// Narrowest strip between two lines at rest, in mm, cm or in [default: twice --narrowest]
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true)]
    pub(crate) rest_narrowest: Option<f64>,

    /// Smallest area worth its own line in focus, in mm2, cm2 or in2 [default: a quarter of --least-area]
    #[arg(long, value_name = "AREA", value_parser = parse_area, allow_hyphen_values = true)]
    pub(crate) focus_least_area: Option<f64>,

    /// Smallest area worth its own line at rest, in mm2, cm2 or in2 [default: about four times --least-area]
    #[arg(long, value_name = "AREA", value_parser = parse_area, allow_hyphen_values = true)]
    pub(crate) rest_least_area: Option<f64>,
}

/// Files.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Files")]
pub(crate) struct FileArgs {
    /// A drawing to write, .svg, .pdf or .png by its ending; may be given again; - is standard output [default:
    /// SVG and PDF beside the reference]
    #[arg(short = 'o', long = "out", value_name = "FILE")]
    pub(crate) out: Vec<OsString>,

    /// Form of the drawing on standard output, with -o -
    #[arg(long, value_name = "FORM", value_enum)]
    pub(crate) format: Option<FormatArg>,

    /// Also write the figures of the drawing (sizes in mm, counts, limits) to this .json file
    #[arg(long, value_name = "FILE.json")]
    pub(crate) report: Option<PathBuf>,

    /// Also write the values as a .png that covers exactly the picture: each pixel holds its value's number
    #[arg(long, value_name = "FILE.png")]
    pub(crate) value_map: Option<PathBuf>,

    /// Also write the boundary net (areas, transitions and junctions, in mm) to this .json file
    #[arg(long, value_name = "FILE.json")]
    pub(crate) net: Option<PathBuf>,

    /// Replace files that exist; the reference itself is never replaced
    #[arg(long)]
    pub(crate) overwrite: bool,
}

/// How the program runs.
#[derive(Debug, Args)]
#[command(next_help_heading = "Running")]
pub(crate) struct RunningArgs {
    /// Largest reference to open, in megapixels (millions of pixels): a guard against files made to fill memory
    #[arg(long, value_name = "MEGAPIXELS", default_value_t = 400, value_parser = clap::value_parser!(u32).range(1..=4000),
          allow_hyphen_values = true)]
    pub(crate) max_megapixels: u32,

    /// How many processor threads work at once, 1 to 256 [default: all]; the drawing is the same with any number
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=256), allow_hyphen_values = true)]
    pub(crate) threads: Option<u16>,

    /// Say how long each step took, in ms, at the end and in the report
    #[arg(long)]
    pub(crate) timings: bool,

    /// Say nothing on standard error unless something is wrong
    #[arg(long, short = 'q')]
    pub(crate) quiet: bool,
}

/// `--kind`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum KindArg {
    /// Find out from the picture
    Auto,
    /// Hatched, stippled or engraved in ink
    Hatched,
    /// The same with holding lines round things
    HatchedWithLines,
    /// Tones: a photograph, a wash, a pencil shading
    Tonal,
    /// Tones with holding lines
    TonalWithLines,
}

/// `--soft`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum SoftArg {
    /// Whole lines, thinner in print than hard ones
    Solid,
    /// Lines with real gaps
    Broken,
    /// No lines
    None,
}

/// `--format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum FormatArg {
    /// Vector drawing in mm
    Svg,
    /// Vector page for printing
    Pdf,
    /// Picture of the sheet, to look at
    Png,
}

#[cfg(test)]
mod tests {
    use super::CommandLine;
    use clap::{Arg, Command, CommandFactory};

    fn options(command: &Command) -> Vec<&Arg> {
        command.get_arguments().filter(|a| a.get_id() != "help" && a.get_id() != "version").collect()
    }

    fn help_of(arg: &Arg) -> String {
        arg.get_help().map(ToString::to_string).unwrap_or_default()
    }

    #[test]
    fn clap_finds_no_fault_with_the_command_line() {
        CommandLine::command().debug_assert();
    }

    #[test]
    fn every_option_has_help_and_every_value_a_name() {
        let line = CommandLine::command();
        for command in line.get_subcommands() {
            for arg in options(command) {
                let id = format!("{} {}", command.get_name(), arg.get_id());
                assert!(help_of(arg).len() > 20, "{id} needs help text that a person can use");
                if arg.get_action().takes_values() {
                    let names = arg.get_value_names().unwrap_or_default();
                    assert_eq!(names.len(), 1, "{id} takes a value, so it needs a value name");
                    assert_ne!(
                        names[0].to_lowercase(),
                        arg.get_id().as_str().replace('_', "-") + "-",
                        "{id} needs a value name of its own"
                    );
                }
            }
        }
    }

    #[test]
    fn every_measure_names_its_unit() {
        let line = CommandLine::command();
        let mut measures = 0;
        for command in line.get_subcommands() {
            for arg in options(command) {
                let units: &[&str] = match arg.get_value_names().and_then(|n| n.first()).map(|n| n.as_str()) {
                    Some("LENGTH") => &["in mm, cm or in"],
                    Some("TOTAL") => &["in m, cm, mm or in"],
                    Some("NUMBER") => &["areas"],
                    Some("AREA") => &["in mm2, cm2 or in2"],
                    Some("fitted|even|L*,L*,..." | "auto|INK,PAPER") => &["L*", "100"],
                    Some("0..100") => &["0 to 100"],
                    Some("PAPER") => &["(mm, cm or in)"],
                    Some("MEGAPIXELS") => &["millions of pixels"],
                    Some("COUNT") => &["How many", " to "],
                    _ => &[],
                };
                measures += usize::from(!units.is_empty());
                for unit in units {
                    assert!(help_of(arg).contains(unit), "the help of --{} lacks {unit:?}", arg.get_id());
                }
            }
        }
        assert!(measures >= 12, "only {measures} measures were looked at");
    }

    #[test]
    fn every_command_shows_an_example_of_itself() {
        let line = CommandLine::command();
        for command in line.get_subcommands() {
            let after = command.get_after_help().map(ToString::to_string).unwrap_or_default();
            assert!(after.contains("Example"), "{} has no example", command.get_name());
            assert!(
                after.contains(&format!("merestone {}", command.get_name())),
                "the example of {} does not run it",
                command.get_name()
            );
        }
    }

    #[test]
    fn examples_are_taken_by_the_parser() {
        use clap::Parser;
        let line = CommandLine::command();
        let mut seen = 0;
        for command in line.get_subcommands() {
            let after = command.get_after_help().map(ToString::to_string).unwrap_or_default();
            for example in after.lines().map(str::trim).filter(|l| l.starts_with("merestone ")) {
                let words = example.split_whitespace().take_while(|w| !["<", ">", "&&"].contains(w));
                let parsed = CommandLine::try_parse_from(words);
                assert!(
                    parsed.is_ok(),
                    "{example}: {}",
                    parsed.err().map(|e| e.to_string()).unwrap_or_default()
                );
                seen += 1;
            }
        }
        assert!(seen >= 8, "only {seen} examples were tried");
    }

    #[test]
    fn the_readme_explains_every_option_and_its_commands_are_taken() {
        use clap::Parser;
        let readme = include_str!("../../README.md");
        let line = CommandLine::command();
        for command in line.get_subcommands() {
            for arg in options(command) {
                if let Some(long) = arg.get_long() {
                    let named =
                        readme.contains(&format!("--{long}")) || long == "out" && readme.contains("`-o ");
                    assert!(named, "the README does not say what --{long} is for");
                }
            }
        }
        let mut seen = 0;
        for text in readme.lines() {
            let words =
                text.strip_prefix("cargo run --release -- ").or_else(|| text.strip_prefix("merestone "));
            let Some(words) = words else { continue };
            // A line of the text may begin with the name too: commands of the README all draw or plan.
            if !words.starts_with("draw ") && !words.starts_with("plan ") {
                continue;
            }
            let parsed =
                CommandLine::try_parse_from(["merestone"].into_iter().chain(words.split_whitespace()));
            assert!(parsed.is_ok(), "{text}: {}", parsed.err().map(|e| e.to_string()).unwrap_or_default());
            seen += 1;
        }
        assert!(seen >= 6, "only {seen} commands of the README were tried");
    }
}
