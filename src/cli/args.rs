//! The command line as structs: what may be written, and the help an artist reads. No logic.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use clap::builder::styling::{Style, Styles};
use clap::{Arg, Args, Parser, Subcommand, ValueEnum};

use super::batch::SeveralArgs;
use super::new::NewArgs;
use super::order::OrderArgs;
use super::other_sheets::is_of_another_sheet;
use super::packet::PacketArgs;
use super::page_args::PageFileArgs;
use super::plan::PlanArgs;
use super::plotter_args::PlotterFileArgs;
use super::squared::SquaredArgs;
use super::structure::StructureArgs;
use super::study_args::StudyArgs;

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
    /// Make the value structure of a reference picture: groups, strongest contrast, what must read alike, two and three values
    Structure(Box<StructureArgs>),
    /// List the working squares in the order in which to ink them, with boxes to tick
    Order(Box<OrderArgs>),
    /// Lay the working squares over the reference itself, and enlarge those with most lines
    Squared(Box<SquaredArgs>),
    /// Put all sheets of a study into one PDF, in the order in which they are used
    Packet(Box<PacketArgs>),
    /// Write a study file: every setting of a study, with comments, to be changed and drawn from
    New(Box<NewArgs>),
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

/// What every sheet besides the drawing takes.
#[derive(Clone, Debug, Args)]
pub(crate) struct SheetArgs {
    /// The reference: a JPEG, PNG, TIFF, WebP, BMP or GIF picture, or - for standard input; or a study file in .toml. With
    /// --into several, or folders of pictures
    #[arg(value_name = "REF", required = true)]
    pub(crate) references: Vec<OsString>,

    /// Everything that a study file can hold, so that all sheets are of the same areas and squares.
    #[command(flatten)]
    pub(crate) study: StudyArgs,

    /// Files.
    #[command(flatten)]
    pub(crate) files: FileArgs,

    /// How the program runs.
    #[command(flatten)]
    pub(crate) running: RunningArgs,
}

/// Settings of `draw`.
#[derive(Clone, Debug, Args)]
#[command(after_help = DRAW_EXAMPLES, mut_args(without_other_sheets))]
pub(crate) struct DrawArgs {
    /// The reference: a JPEG, PNG, TIFF, WebP, BMP or GIF picture, or - for standard input; or a study file in .toml. With
    /// --into several, or folders of pictures
    #[arg(value_name = "REF", required = true)]
    pub(crate) references: Vec<OsString>,

    /// Everything that a study file can hold.
    #[command(flatten)]
    pub(crate) study: StudyArgs,

    /// The reference before and after.
    #[command(flatten)]
    pub(crate) page: PageFileArgs,

    /// Files.
    #[command(flatten)]
    pub(crate) files: FileArgs,

    /// Files for a plotter.
    #[command(flatten)]
    pub(crate) plotter: PlotterFileArgs,

    /// How the program runs.
    #[command(flatten)]
    pub(crate) running: RunningArgs,
}

/// Keeps what is about other sheets out of the help of a drawing.
fn without_other_sheets(arg: Arg) -> Arg {
    if is_of_another_sheet(&arg, "draw") { arg.hide(true) } else { arg }
}

const DRAW_EXAMPLES: &str = "Examples:
  merestone draw picture.jpg
      SVG and PDF on A4, beside the picture
  merestone draw picture.jpg --paper 11x14in --margin 1in -o study.svg -o study.pdf
      another paper, and files of your own naming
  merestone draw photograph.jpg --find-page --even-light --before-after look.png
      from a photograph of a page
  merestone draw picture.jpg --values 3 --plainness 70 -o notan.pdf
      three values and few lines, for a first weighing up
  merestone draw picture.jpg --chain --plotter plotter.svg --order-view order.png
      for a plotter that holds a pencil
  merestone draw sketchbook --into drawings
      every picture of a folder, each with its own files in another folder
  merestone draw study.toml --plainness 40
      from a study file, which 'merestone new picture.jpg' writes; options win over it
  merestone draw - --format svg -o - < picture.png > study.svg
      from standard input to standard output";

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

    /// Several references.
    #[command(flatten)]
    pub(crate) several: SeveralArgs,
}

impl FileArgs {
    /// Whether the drawing is to have the usual names and forms.
    pub(crate) fn unnamed(&self) -> bool {
        self.out.is_empty() && self.several.forms.is_empty()
    }

    /// An option that was given and names a single file.
    pub(crate) fn names_a_file(&self) -> Option<&'static str> {
        [("report", &self.report), ("value-map", &self.value_map), ("net", &self.net)]
            .into_iter()
            .find_map(|(name, path)| path.as_ref().map(|_| name))
            .or_else(|| self.format.map(|_| "format"))
    }

    /// The file by whose name and folder results go that are not named: `named`, or that name in the folder for all.
    pub(crate) fn named(&self, named: Option<&Path>) -> Option<PathBuf> {
        let named = named?;
        Some(match &self.several.into {
            Some(into) => into.join(named.file_name().unwrap_or_default()),
            None => named.to_owned(),
        })
    }
}

/// How the program runs.
#[derive(Clone, Debug, Args)]
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
            // A line of the text may begin with the name too: commands of the README all make sheets.
            let makes_a_sheet = ["draw ", "plan ", "structure ", "order ", "squared ", "packet "];
            if !makes_a_sheet.iter().any(|command| words.starts_with(command)) {
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
