//! `squared`: the reference with its working squares, and the busiest of them enlarged, from the drawing's settings.

use std::ffi::OsString;
use std::time::Instant;

use clap::{Arg, Args};

use merestone::output::{self, PdfSheet};
use merestone::strokes::StrokePlan;
use merestone::study::{Settings, SquaredSheet, Stages, page_printing, report, squared_sheet};

use super::args::{FileArgs, RunningArgs};
use super::files::{Content, Outputs};
use super::job::Job;
use super::print::Failure;
use super::sheet_run::{self, Ran, Without};
use super::study_args::StudyArgs;

/// Settings of `squared`.
#[derive(Debug, Args)]
#[command(after_help = SQUARED_EXAMPLES, mut_args(without_other_sheets))]
pub(crate) struct SquaredArgs {
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

const SQUARED_EXAMPLES: &str = "Examples:
  merestone squared picture.jpg --paper a4 -o squared.pdf
      the reference at the size of the drawing that 'merestone draw picture.jpg --paper a4' makes
  merestone squared study.toml --enlarged 12 --enlarge-by 3 -o squared.pdf
      with twelve of its squares three times as large";

const WITHOUT: Without = Without {
    sheet: "the squared reference",
    tables: &["plotter", "plan", "order"],
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
    kept: &[],
};

fn without_other_sheets(arg: Arg) -> Arg {
    WITHOUT.hide(arg)
}

/// Makes the squared reference of one picture: all is checked before work begins and written after all of it is done.
pub(crate) fn run(args: &SquaredArgs) -> Result<(), Failure> {
    let job = Job::new(&args.reference, &args.study)?;
    let choices = &job.choices;
    WITHOUT.check(&args.study)?;
    let mut settings = sheet_run::settings(&job)?;
    settings.keep_picture = true;
    settings.on_paper.square_grid = false;
    // It is looked at while inking, and never traced.
    settings.on_paper.view.mirrored = false;
    settings.on_paper.title.remark = "squared reference".into();
    let (outputs, mask_notes) = sheet_run::checked(&job, &mut settings, &args.running, || {
        let outputs = sheet_run::outputs(&args.files, &job, "-squared")?;
        pdf_only(&outputs)?;
        Ok(outputs)
    })?;
    choices.squared.check(&settings).map_err(|e| job.failure(&e))?;
    let Ran { mut stages, mut notes, mut timings_ms, progress } =
        sheet_run::run(&job, &settings, &args.running, mask_notes)?;
    progress.begin("laying the squares over the picture and making the files");
    let since = Instant::now();
    let sheet =
        squared_sheet(&stages, &settings, &choices.squared).map_err(|e| job.failure(&e))?.take(&mut notes);
    // The picture fills pages that the lines alone leave empty; the report says which pages there are.
    stages.shown.printing = sheet.printing.clone();
    timings_ms.push(("squared", since.elapsed().as_secs_f64() * 1e3));
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

/// Refuses other forms than PDF: pages and pictures in one file.
fn pdf_only(outputs: &Outputs) -> Result<(), Failure> {
    let other = |content| matches!(content, Content::Svg | Content::Png);
    match outputs.list().iter().any(|output| other(output.content())) {
        false => Ok(()),
        true => Err(Failure::wrong_use(
            "the squared reference is a PDF with pages of its own; end the name in .pdf, or add --format pdf to -o -",
        )),
    }
}

/// The bytes of one output.
fn result(
    content: Content,
    stages: &Stages,
    sheet: &SquaredSheet,
    settings: &Settings,
    job: &Job,
    timings_ms: Option<&[(&'static str, f64)]>,
) -> Result<Vec<u8>, Failure> {
    Ok(match content {
        Content::Pdf => pdf(stages, sheet, settings),
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
fn pdf(stages: &Stages, sheet: &SquaredSheet, settings: &Settings) -> Vec<u8> {
    let none = StrokePlan::default();
    let options = sheet.drawing_options(settings);
    let first = PdfSheet {
        plan: &none,
        placement: &stages.shown.placement,
        options: &options,
        printing: &sheet.printing,
    };
    let enlarged: Vec<_> = sheet
        .pages
        .iter()
        .map(|page| (page_printing(page.size_mm), sheet.page_options(page, settings)))
        .collect();
    let pages = enlarged.iter().map(|((placement, printing), options)| PdfSheet {
        plan: &none,
        placement,
        options,
        printing,
    });
    let sheets: Vec<PdfSheet<'_>> = std::iter::once(first).chain(pages).collect();
    output::pdf_sheets(&options.title, &sheets)
}

/// One line at the end: how many squares there are, and how many are enlarged.
fn summary(sheet: &SquaredSheet, outputs: &Outputs) -> String {
    let enlarged: usize = sheet.pages.iter().map(|page| page.squares.len()).sum();
    format!("{} squares, {enlarged} of them enlarged; wrote {}", sheet.squares.len(), outputs.names())
}
