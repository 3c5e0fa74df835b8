//! `structure`: the value structure, from the same settings as drawing and plan.

use std::time::Instant;

use clap::{Arg, Args};

use merestone::output;
use merestone::strokes::StrokePlan;
use merestone::study::{Settings, Stages, ValueStructure, page_printing, report, value_structure};

use super::args::{FileArgs, SheetArgs};
use super::batch::{first, sheet_command};
use super::begin::{self, Ready, prepare};
use super::draw::PREVIEW_PX_PER_MM;
use super::files::{Content, Outputs};
use super::job::{Job, failure};
use super::other_sheets::Without;
use super::print::Failure;
use super::sheet_pages::{SheetPages, pdf};

/// Settings of `structure`.
#[derive(Clone, Debug, Args)]
#[command(after_help = STRUCTURE_EXAMPLES, mut_args(without_what_is_drawn_from))]
pub(crate) struct StructureArgs {
    /// What every sheet takes.
    #[command(flatten)]
    pub(crate) sheet: SheetArgs,
}

const STRUCTURE_EXAMPLES: &str = "Examples:
  merestone structure picture.jpg --paper a4 -o structure.pdf
      large areas are found, because a picture names no groups
  merestone structure study.toml -o structure.pdf --report structure.json
      the groups and pairs that the study names, and all figures";

/// The structure's page is read, not drawn from.
const WITHOUT: Without = Without {
    command: "structure",
    sheet: "the value structure",
    keys: &[
        "chain",
        "look",
        "weight",
        "line",
        "colour",
        "soft",
        "extra-lines",
        "extra-in",
        "marks",
        "layers",
        "square-grid",
        "underlay",
        "mirror",
        "rotate",
        "overlap",
        "print-correction",
        "credit",
        "date",
    ],
};

/// Keeps the rest out of the help.
fn without_what_is_drawn_from(arg: Arg) -> Arg {
    WITHOUT.hide(arg)
}

/// The settings of the drawing; what only its own sheet needs is left out.
pub(super) fn settings(job: &Job) -> Result<Settings, Failure> {
    let mut settings = job.settings(false)?;
    settings.chain = false;
    settings.extra = None;
    settings.on_paper.underlay = None;
    Ok(settings)
}

/// What is checked of one reference before any work.
struct Before<'a> {
    ready: Ready<'a>,
    outputs: Outputs,
}

/// Checks one reference and its files.
fn before(args: &StructureArgs) -> Result<Before<'_>, Failure> {
    WITHOUT.check(&args.sheet.study)?;
    let ready = prepare(first(&args.sheet.references), &args.sheet.study, &args.sheet.running, settings)?;
    let outputs = outputs(&args.sheet.files, &ready.job)?;
    ready.spare_what_is_read(&outputs)?;
    Ok(Before { ready, outputs })
}

/// What is to be written, checked; without names a PDF beside the reference, or the study file.
pub(super) fn outputs(files: &FileArgs, job: &Job) -> Result<Outputs, Failure> {
    Outputs::of_sheet(files, job, "-structure")
}

sheet_command!(StructureArgs, "-structure");

/// Makes the value structure of one reference: all is checked before work begins and written after all of it is done. What
/// there is to say comes back.
fn run(args: &StructureArgs, hidden: bool) -> Result<Vec<String>, Failure> {
    let Before { ready, outputs } = before(args)?;
    let Ready { job, settings, .. } = &ready;

    let progress = begin::progress(hidden);
    let mut made = ready.make(&progress)?;
    progress.begin("weighing the values and making the files");
    let since = Instant::now();
    let structure =
        value_structure(&made.stages, settings, &job.choices.structure).map_err(|e| failure(&e))?;
    made.timings_ms.push(("structure", since.elapsed().as_secs_f64() * 1e3));
    let timings_ms = made.timings(&args.sheet.running);
    let results = outputs
        .list()
        .iter()
        .map(|output| result(output.content(), &made.stages, &structure, settings, job, timings_ms))
        .collect::<Result<Vec<_>, _>>()?;
    progress.end();
    outputs.write(&results)?;
    Ok(made.said(&args.sheet.running, [summary(&structure, &outputs)]))
}

/// The bytes of one output.
pub(super) fn result(
    content: Content,
    stages: &Stages,
    structure: &ValueStructure,
    settings: &Settings,
    job: &Job,
    timings_ms: Option<&[(&'static str, f64)]>,
) -> Result<Vec<u8>, Failure> {
    let none = StrokePlan::default();
    let in_one = || {
        let page = structure.in_one();
        (page_printing(page.size_mm).0, structure.page_options(&page, settings))
    };
    Ok(match content {
        Content::Svg => {
            let (placement, options) = in_one();
            output::svg(&none, &placement, &options).into_bytes()
        }
        Content::Png => {
            let (placement, options) = in_one();
            output::png(&none, &placement, &options, PREVIEW_PX_PER_MM).map_err(Failure::other)?
        }
        Content::Pdf => pdf(&pages(structure, settings)),
        Content::ValueMap => output::value_map_png(&stages.traced.values, stages.tone.scale.breaks()),
        Content::Net => output::net_json(&stages.traced.net, &stages.thin, &stages.placement).into_bytes(),
        Content::Report => {
            let mut report = output::Report {
                structure: Some(structure.figures.clone()),
                ..report(stages, settings, timings_ms)
            };
            report.reference.recorded_sha256 = job.changed(&stages.sha256).map(Into::into);
            output::report_json(&report).into_bytes()
        }
        Content::SvgLayer(_)
        | Content::PageSvg(_)
        | Content::PagePng(_)
        | Content::Study
        | Content::Plotter
        | Content::PlotterPart(_)
        | Content::OrderSvg
        | Content::OrderPng
        | Content::KeySvg
        | Content::KeyPng
        | Content::BeforeAfter => {
            return Err(Failure::other("a file that no structure has is a fault of the program; report it"));
        }
    })
}

/// All pages.
pub(super) fn pages(structure: &ValueStructure, settings: &Settings) -> Vec<SheetPages> {
    let pages = structure.pages.iter();
    pages.map(|page| SheetPages::page(page.size_mm, structure.page_options(page, settings))).collect()
}

/// One line at the end: what was found, and where it went.
fn summary(structure: &ValueStructure, outputs: &Outputs) -> String {
    let figures = &structure.figures;
    let groups = match (figures.groups.len(), figures.found) {
        (1, true) => "1 group found".to_owned(),
        (count, true) => format!("{count} groups found"),
        (1, false) => "1 group".to_owned(),
        (count, false) => format!("{count} groups"),
    };
    let contrast = figures.contrast.as_ref().map_or_else(String::new, |c| {
        let place = c.square.as_ref().map_or_else(String::new, |square| format!(" in {square}"));
        format!(", strongest contrast{place} (L* {:.0} against {:.0})", c.lightness[0], c.lightness[1])
    });
    let list = &figures.keep_alike;
    let alike = list.pairs.len() + list.groups.len() + list.areas.len();
    format!("{groups}{contrast}, {alike} to keep alike; wrote {}", outputs.names())
}
