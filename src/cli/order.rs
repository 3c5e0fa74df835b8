//! `order`: the working squares in the order in which they are inked, from the same settings as the drawing.

use std::time::Instant;

use clap::{Arg, Args};

use merestone::output::{self, LineWeight};
use merestone::strokes::{SoftLines, StrokePlan};
use merestone::study::{BeginRule, OrderSheet, Settings, Stages, order_sheet, page_printing, report};

use super::args::{FileArgs, SheetArgs};
use super::batch::{first, sheet_command};
use super::begin::{self, Ready, prepare};
use super::draw::PREVIEW_PX_PER_MM;
use super::files::{Content, Outputs};
use super::job::Job;
use super::other_sheets::Without;
use super::print::Failure;
use super::sheet_pages::{SheetPages, pdf};

/// Settings of `order`.
#[derive(Clone, Debug, Args)]
#[command(after_help = ORDER_EXAMPLES, mut_args(without_other_sheets))]
pub(crate) struct OrderArgs {
    /// What every sheet takes.
    #[command(flatten)]
    pub(crate) sheet: SheetArgs,
}

const ORDER_EXAMPLES: &str = "Examples:
  merestone order picture.jpg --paper a4 -o order.pdf
      the squares of the drawing that 'merestone draw picture.jpg --paper a4' makes, from the top
  merestone order study.toml --hand left --begin groups -o order.pdf
      for the left hand, one group of the study file after the other
  merestone order picture.jpg --begin point --begin-at 45%,30% -o order.svg --report order.json
      outward from a point, and what each square holds";

const WITHOUT: Without = Without {
    command: "order",
    sheet: "the working order",
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
        "credit",
        "date",
        "mirror",
        "rotate",
        "overlap",
        "print-correction",
        "extra-lines",
        "extra-in",
    ],
};

fn without_other_sheets(arg: Arg) -> Arg {
    WITHOUT.hide(arg)
}

/// The settings of the drawing for a sheet that goes with it: its areas are the same, and nothing is drawn by them.
pub(super) fn settings(job: &Job) -> Result<Settings, Failure> {
    let mut settings = job.settings(false)?;
    settings.on_paper.underlay = None;
    settings.chain = false;
    settings.weight = LineWeight::Even;
    settings.extra = None;
    if settings.soft == SoftLines::None {
        settings.soft = SoftLines::Solid;
    }
    if job.choices.order.begin == BeginRule::Point {
        settings.begin_at = job.choices.order.at;
    }
    Ok(settings)
}

/// What is checked of one reference before any work.
struct Before<'a> {
    ready: Ready<'a>,
    outputs: Outputs,
}

/// Checks one reference and its files.
fn before(args: &OrderArgs) -> Result<Before<'_>, Failure> {
    WITHOUT.check(&args.sheet.study)?;
    let ready = prepare(first(&args.sheet.references), &args.sheet.study, &args.sheet.running, settings)?;
    ready.job.choices.order.check(&ready.settings).map_err(|e| ready.job.failure(&e))?;
    let outputs = outputs(&args.sheet.files, &ready.job)?;
    ready.spare_what_is_read(&outputs)?;
    Ok(Before { ready, outputs })
}

/// What is to be written, checked; without names a PDF beside the reference, or the study file.
pub(super) fn outputs(files: &FileArgs, job: &Job) -> Result<Outputs, Failure> {
    let outputs = Outputs::of_sheet(files, job, "-order")?;
    outputs.check_first_pages()?;
    Ok(outputs)
}

sheet_command!(OrderArgs, "-order");

/// Makes the working order of one reference: all is checked before work begins and written after all of it is done. What
/// there is to say comes back.
fn run(args: &OrderArgs, hidden: bool) -> Result<Vec<String>, Failure> {
    let Before { ready, mut outputs } = before(args)?;
    let Ready { job, settings, .. } = &ready;

    let progress = begin::progress(hidden);
    let mut made = ready.make(&progress)?;
    progress.begin("putting the squares in order and making the files");
    let since = Instant::now();
    let halves = job.choices.plan.options.halves;
    let sheet = order_sheet(&made.stages, settings, &job.choices.order, halves)
        .map_err(|e| job.failure(&e))?
        .take(&mut made.notes);
    made.timings_ms.push(("order", since.elapsed().as_secs_f64() * 1e3));
    outputs.divide_pages(sheet.pages.len(), &job.input)?;
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
    sheet: &OrderSheet,
    settings: &Settings,
    job: &Job,
    timings_ms: Option<&[(&'static str, f64)]>,
) -> Result<Vec<u8>, Failure> {
    let none = StrokePlan::default();
    let page = |k: usize| {
        let page = &sheet.pages[k];
        (page_printing(page.size_mm).0, sheet.page_options(page, settings))
    };
    let svg = |k: usize| {
        let (placement, options) = page(k);
        output::svg(&none, &placement, &options).into_bytes()
    };
    let png = |k: usize| {
        let (placement, options) = page(k);
        output::png(&none, &placement, &options, PREVIEW_PX_PER_MM).map_err(Failure::other)
    };
    Ok(match content {
        Content::Svg => svg(0),
        Content::PageSvg(k) => svg(k),
        Content::Png => png(0)?,
        Content::PagePng(k) => png(k)?,
        Content::Pdf => pdf(&pages(sheet, settings)),
        Content::ValueMap => output::value_map_png(&stages.traced.values, stages.tone.scale.breaks()),
        Content::Net => output::net_json(&stages.traced.net, &stages.thin, &stages.placement).into_bytes(),
        Content::Report => {
            let mut report =
                output::Report { order: Some(sheet.report()), ..report(stages, settings, timings_ms) };
            report.reference.recorded_sha256 = job.changed(&stages.sha256).map(Into::into);
            output::report_json(&report).into_bytes()
        }
        Content::Study
        | Content::SvgLayer(_)
        | Content::Plotter
        | Content::PlotterPart(_)
        | Content::OrderSvg
        | Content::OrderPng
        | Content::KeySvg
        | Content::KeyPng
        | Content::BeforeAfter => {
            return Err(Failure::other(
                "a file that is no working order's is a fault of the program; report it",
            ));
        }
    })
}

/// All pages.
pub(super) fn pages(sheet: &OrderSheet, settings: &Settings) -> Vec<SheetPages> {
    sheet
        .pages
        .iter()
        .map(|page| SheetPages::page(page.size_mm, sheet.page_options(page, settings)))
        .collect()
}

/// One line at the end: how many squares there are, what the hand lies on, and where it went.
fn summary(sheet: &OrderSheet, outputs: &Outputs) -> String {
    let order = &sheet.order;
    let steps: usize = order.squares.iter().map(|square| square.steps.len()).sum();
    format!(
        "{} squares to ink in {steps} steps, {} with nothing to ink; the hand lies on {} that may be wet; wrote {}",
        order.squares.len(),
        order.bare.len(),
        order.wet.squares,
        outputs.names()
    )
}
