//! `order`: the working squares in the order in which they are inked, from the same settings as the drawing.

use std::ffi::OsString;
use std::time::Instant;

use clap::{Arg, Args};

use merestone::output::{self, PdfSheet};
use merestone::strokes::StrokePlan;
use merestone::study::{OrderSheet, Settings, Stages, order_sheet, page_printing, report};

use super::args::{FileArgs, RunningArgs};
use super::draw::PREVIEW_PX_PER_MM;
use super::files::{Content, Outputs};
use super::job::Job;
use super::print::Failure;
use super::sheet_run::{self, Ran, Without};
use super::study_args::StudyArgs;

/// Settings of `order`.
#[derive(Debug, Args)]
#[command(after_help = ORDER_EXAMPLES, mut_args(without_other_sheets))]
pub(crate) struct OrderArgs {
    /// The reference: a JPEG, PNG, TIFF, WebP, BMP or GIF picture, or - for standard input; or a study file in .toml
    #[arg(value_name = "REF")]
    pub(crate) reference: OsString,

    /// Everything that a study file can hold, so that the squares are those of the drawing.
    #[command(flatten)]
    pub(crate) study: StudyArgs,

    /// Files.
    #[command(flatten)]
    pub(crate) files: FileArgs,

    /// How the program runs.
    #[command(flatten)]
    pub(crate) running: RunningArgs,
}

const ORDER_EXAMPLES: &str = "Examples:
  merestone order picture.jpg --paper a4 -o order.pdf
      the squares of the drawing that 'merestone draw picture.jpg --paper a4' makes, from the top
  merestone order study.toml --hand left --begin groups -o order.pdf
      for the left hand, one group of the study file after the other
  merestone order picture.jpg --begin point --begin-at 45%,30% -o order.svg --report order.json
      outward from a point, and what each square holds";

const WITHOUT: Without = Without {
    sheet: "the working order",
    tables: &["plotter", "plan", "squared"],
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
    // The numbers are those of the plan.
    kept: &["halves"],
};

fn without_other_sheets(arg: Arg) -> Arg {
    WITHOUT.hide(arg)
}

/// Makes the working order of one reference: all is checked before work begins and written after all of it is done.
pub(crate) fn run(args: &OrderArgs) -> Result<(), Failure> {
    let job = Job::new(&args.reference, &args.study)?;
    let choices = &job.choices;
    WITHOUT.check(&args.study)?;
    let mut settings = sheet_run::settings(&job)?;
    let (mut outputs, mask_notes) = sheet_run::checked(&job, &mut settings, &args.running, || {
        sheet_run::outputs(&args.files, &job, "-order")
    })?;
    choices.order.check(&settings).map_err(|e| job.failure(&e))?;
    let Ran { stages, mut notes, mut timings_ms, progress } =
        sheet_run::run(&job, &settings, &args.running, mask_notes)?;
    progress.begin("putting the squares in order and making the files");
    let since = Instant::now();
    let halves = choices.plan.options.halves;
    let sheet = order_sheet(&stages, &settings, &choices.order, halves)
        .map_err(|e| job.failure(&e))?
        .take(&mut notes);
    timings_ms.push(("order", since.elapsed().as_secs_f64() * 1e3));
    sheet_run::divide(&mut outputs, sheet.pages.len(), &job.input)?;
    let timed = args.running.timings.then_some(&timings_ms[..]);
    let results = outputs
        .list()
        .iter()
        .map(|output| result(output.content(), &stages, &sheet, &settings, &job, timed))
        .collect::<Result<Vec<_>, _>>()?;
    progress.end();
    outputs.write(&results)?;
    sheet_run::tell(&args.running, &notes, &timings_ms, &summary(&sheet, &outputs));
    Ok(())
}

/// The bytes of one output.
fn result(
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
        Content::Pdf => pdf(sheet, settings),
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
fn pdf(sheet: &OrderSheet, settings: &Settings) -> Vec<u8> {
    let none = StrokePlan::default();
    let pages: Vec<_> = sheet
        .pages
        .iter()
        .map(|page| (page_printing(page.size_mm), sheet.page_options(page, settings)))
        .collect();
    let sheets: Vec<PdfSheet<'_>> = pages
        .iter()
        .map(|((placement, printing), options)| PdfSheet { plan: &none, placement, options, printing })
        .collect();
    output::pdf_sheets(&format!("Working order, {}", settings.paper.name), &sheets)
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
