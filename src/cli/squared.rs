//! `squared`: the reference with its working squares, and the busiest of them enlarged, from the drawing's settings.

use std::time::Instant;

use clap::{Arg, Args};

use merestone::output;
use merestone::study::{Settings, SquaredSheet, Stages, report, squared_sheet};

use super::args::{FileArgs, SheetArgs};
use super::batch::{first, sheet_command};
use super::begin::{self, Ready, prepare};
use super::files::{Content, Outputs};
use super::job::Job;
use super::order;
use super::other_sheets::Without;
use super::print::Failure;
use super::sheet_pages::{SheetPages, pdf};

/// Settings of `squared`.
#[derive(Clone, Debug, Args)]
#[command(after_help = SQUARED_EXAMPLES, mut_args(without_other_sheets))]
pub(crate) struct SquaredArgs {
    /// What every sheet takes.
    #[command(flatten)]
    pub(crate) sheet: SheetArgs,
}

const SQUARED_EXAMPLES: &str = "Examples:
  merestone squared picture.jpg --paper a4 -o squared.pdf
      the reference at the size of the drawing that 'merestone draw picture.jpg --paper a4' makes
  merestone squared study.toml --enlarged 12 --enlarge-by 3 -o squared.pdf
      with twelve of its squares three times as large";

const WITHOUT: Without = Without {
    command: "squared",
    sheet: "the squared reference",
    keys: &[
        "chain",
        "soft",
        "line",
        "look",
        "weight",
        "colour",
        "marks",
        "layers",
        "square-grid",
        "underlay",
        "mirror",
        "extra-lines",
        "extra-in",
    ],
};

fn without_other_sheets(arg: Arg) -> Arg {
    WITHOUT.hide(arg)
}

/// The settings of the drawing for a sheet that is looked at while inking, and never traced.
pub(super) fn settings(job: &Job) -> Result<Settings, Failure> {
    let mut settings = order::settings(job)?;
    settings.begin_at = None;
    settings.keep_picture = true;
    settings.on_paper.square_grid = false;
    settings.on_paper.view.mirrored = false;
    settings.on_paper.title.remark = "squared reference".into();
    Ok(settings)
}

/// What is checked of one reference before any work.
struct Before<'a> {
    ready: Ready<'a>,
    outputs: Outputs,
}

/// Checks one reference and its files.
fn before(args: &SquaredArgs) -> Result<Before<'_>, Failure> {
    WITHOUT.check(&args.sheet.study)?;
    let ready = prepare(first(&args.sheet.references), &args.sheet.study, &args.sheet.running, settings)?;
    ready.job.choices.squared.check(&ready.settings).map_err(|e| ready.job.failure(&e))?;
    let outputs = outputs(&args.sheet.files, &ready.job)?;
    ready.spare_what_is_read(&outputs)?;
    Ok(Before { ready, outputs })
}

/// What is to be written, checked; without names a PDF beside the reference, or the study file.
pub(super) fn outputs(files: &FileArgs, job: &Job) -> Result<Outputs, Failure> {
    let outputs = Outputs::of_sheet(files, job, "-squared")?;
    outputs.pdf_only("the squared reference")?;
    Ok(outputs)
}

sheet_command!(SquaredArgs, "-squared");

/// Makes the squared reference of one picture: all is checked before work begins and written after all of it is done. What
/// there is to say comes back.
fn run(args: &SquaredArgs, hidden: bool) -> Result<Vec<String>, Failure> {
    let Before { ready, outputs } = before(args)?;
    let Ready { job, settings, .. } = &ready;

    let progress = begin::progress(hidden);
    let mut made = ready.make(&progress)?;
    progress.begin("laying the squares over the picture and making the files");
    let since = Instant::now();
    let sheet = squared_sheet(&made.stages, settings, &job.choices.squared)
        .map_err(|e| job.failure(&e))?
        .take(&mut made.notes);
    // The picture fills pages that the lines alone leave empty; the report says which pages there are.
    made.stages.shown.printing = sheet.printing.clone();
    made.timings_ms.push(("squared", since.elapsed().as_secs_f64() * 1e3));
    let timings_ms = made.timings(&args.sheet.running);
    let results = outputs
        .list()
        .iter()
        .map(|output| result(output.content(), &made.stages, &sheet, settings, job, timings_ms))
        .collect::<Result<Vec<_>, _>>()?;
    progress.end();
    outputs.write(&results)?;
    Ok(made.said(&args.sheet.running, [summary(&sheet, &outputs)]))
}

/// The bytes of one output.
pub(super) fn result(
    content: Content,
    stages: &Stages,
    sheet: &SquaredSheet,
    settings: &Settings,
    job: &Job,
    timings_ms: Option<&[(&'static str, f64)]>,
) -> Result<Vec<u8>, Failure> {
    Ok(match content {
        Content::Pdf => pdf(&pages(stages, sheet, settings)),
        Content::ValueMap => output::value_map_png(&stages.traced.values, stages.tone.scale.breaks()),
        Content::Net => output::net_json(&stages.traced.net, &stages.thin, &stages.placement).into_bytes(),
        Content::Report => {
            let mut report =
                output::Report { squared: Some(sheet.report()), ..report(stages, settings, timings_ms) };
            report.reference.recorded_sha256 = job.changed(&stages.sha256).map(Into::into);
            output::report_json(&report).into_bytes()
        }
        _ => {
            return Err(Failure::other(
                "a file that is no squared reference's is a fault of the program; report it",
            ));
        }
    })
}

/// The sheet on its pages, then the enlargements.
pub(super) fn pages(stages: &Stages, sheet: &SquaredSheet, settings: &Settings) -> Vec<SheetPages> {
    let first = SheetPages::undrawn(stages, sheet.drawing_options(settings));
    let enlarged =
        sheet.pages.iter().map(|page| SheetPages::page(page.size_mm, sheet.page_options(page, settings)));
    std::iter::once(first).chain(enlarged).collect()
}

/// One line at the end: how many squares there are, and how many are enlarged.
fn summary(sheet: &SquaredSheet, outputs: &Outputs) -> String {
    let enlarged: usize = sheet.pages.iter().map(|page| page.squares.len()).sum();
    format!("{} squares, {enlarged} of them enlarged; wrote {}", sheet.squares.len(), outputs.names())
}
