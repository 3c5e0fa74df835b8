//! `merestone draw`: options to settings, the study run, and everything written together.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::time::Instant;

use merestone::output::{self, Look};
use merestone::study::{Marks, Settings, Stages, report};

use super::args::{DrawArgs, FileArgs, RunningArgs};
use super::batch::{Checked, SheetCommand, first};
use super::begin::{self, Ready, prepare};
use super::files::{Content, Outputs};
use super::job::Job;
use super::other_sheets::refuse_other_sheets;
use super::page_args;
use super::plotter_args::{PLOTTER_CAUTION, figures};
use super::plotter_files;
use super::print::Failure;
use super::sheet_pages::{SheetPages, pdf};

/// What is said when lines are to be printed on the drawing paper itself.
pub(super) const UNDER_INK_CAUTION: &str = "Toner repels dip ink, and neither toner nor inkjet can be erased: let no \
    printed line lie in areas that stay white, try one sheet first, and heed the manual of your printer for its paper.";
/// Pixels per mm of a `.png` drawing: about 250 an inch, enough to look at and to print in a hurry.
pub(super) const PREVIEW_PX_PER_MM: f64 = 10.0;

/// What is checked of one reference before any work.
struct Before<'a> {
    ready: Ready<'a>,
    outputs: Outputs,
    /// Parts of a plotter's file that an earlier run left.
    old_parts: Vec<PathBuf>,
}

/// Checks one reference and its files.
fn before(args: &DrawArgs) -> Result<Before<'_>, Failure> {
    refuse_other_sheets(&args.study, "draw")?;
    if args.plotter.plotter.is_none()
        && let Some(name) = args.study.of_table("plotter")
    {
        return Err(Failure::wrong_use(format!(
            "--{name} is about a plotter's file, and none is written; add --plotter with a name in .svg"
        )));
    }
    let ready = prepare(first(&args.references), &args.study, &args.running, |job| {
        let mut settings = job.settings(args.plotter.plotter.is_some())?;
        settings.page.before_after = args.page.before_after.is_some();
        Ok(settings)
    })?;
    let Ready { job, settings, .. } = &ready;
    let (choices, input) = (&job.choices, &job.input);
    let mut outputs = outputs(&args.files, job, settings)?;
    let each = choices.plotter.apart;
    page_args::add(&mut outputs, &args.page, input)?;
    let old_parts = plotter_files::add(&mut outputs, &args.plotter, each, input)?;
    ready.spare_what_is_read(&outputs)?;
    Ok(Before { ready, outputs, old_parts })
}

/// The drawing's own files, checked.
pub(super) fn outputs(files: &FileArgs, job: &Job, settings: &Settings) -> Result<Outputs, Failure> {
    let tiled = settings.on_paper.print.paper.is_some();
    let named = files.named(job.named());
    Outputs::new(files, &job.input, named.as_deref(), tiled, &job.choices.layers_apart())
}

impl SheetCommand for DrawArgs {
    const ENDS: &'static str = "-underdrawing";

    fn references(&self) -> &[OsString] {
        &self.references
    }

    fn files(&self) -> &FileArgs {
        &self.files
    }

    fn running(&self) -> &RunningArgs {
        &self.running
    }

    fn names_a_file(&self) -> Option<&'static str> {
        let own = [
            ("before-after", self.page.before_after.is_some()),
            ("plotter", self.plotter.plotter.is_some()),
            ("order-view", self.plotter.order_view.is_some()),
        ];
        let own = own.into_iter().find_map(|(name, given)| given.then_some(name));
        self.files.names_a_file().or(own)
    }

    fn one(&self, reference: &Path, files: FileArgs) -> Self {
        Self { references: vec![reference.into()], files, ..self.clone() }
    }

    fn check(&self) -> Result<Checked, Failure> {
        let before = before(self)?;
        Ok(Checked::new(&before.outputs, before.ready.bytes()))
    }

    fn run(&self, hidden: bool) -> Result<Vec<String>, Failure> {
        run(self, hidden)
    }
}

/// Draws one reference: all is checked before work begins and written after all of it is done. What there is to say comes back.
fn run(args: &DrawArgs, hidden: bool) -> Result<Vec<String>, Failure> {
    let Before { ready, mut outputs, old_parts } = before(args)?;
    let Ready { job, settings, .. } = &ready;
    let (choices, input) = (&job.choices, &job.input);
    let each = choices.plotter.apart;

    let progress = begin::progress(hidden);
    let mut made = ready.make(&progress)?;
    if choices.look == Look::UnderInk {
        made.notes.push(UNDER_INK_CAUTION.into());
    }
    if let Some(plan) = &made.stages.plotter {
        made.notes.push(PLOTTER_CAUTION.into());
        if each {
            plotter_files::divide(&mut outputs, plan, input)?;
            made.notes.extend(plotter_files::left_over(&outputs, &old_parts));
        }
    }

    progress.begin("making the files");
    let since = Instant::now();
    let results = outputs
        .list()
        .iter()
        .map(|output| result(output.content(), &made.stages, settings, job, made.timings(&args.running)))
        .collect::<Result<Vec<_>, _>>()?;
    made.timings_ms.push(("output", since.elapsed().as_secs_f64() * 1e3));
    progress.end();
    outputs.write(&results)?;
    let own = [summary(&made.stages, &outputs)].into_iter().chain(made.stages.plotter.as_ref().map(figures));
    Ok(made.said(&args.running, own))
}

/// The sheet on its pages.
pub(super) fn pages(stages: &Stages, settings: &Settings, job: &Job) -> SheetPages {
    SheetPages::drawn(stages, stages.shown.drawing_options(settings, job.choices.marks != Marks::None))
}

/// The bytes of one output.
pub(super) fn result(
    content: Content,
    stages: &Stages,
    settings: &Settings,
    job: &Job,
    timings_ms: Option<&[(&'static str, f64)]>,
) -> Result<Vec<u8>, Failure> {
    let shown = &stages.shown;
    let marks = job.choices.marks;
    let (plan, placement) = (&shown.strokes, &shown.placement);
    let drawn = shown.drawing_options(settings, marks == Marks::All);
    if let Some(plan) = &stages.plotter
        && let Some(bytes) = plotter_files::bytes(content, plan, settings, placement.sheet_mm)?
    {
        return Ok(bytes);
    }
    Ok(match content {
        Content::Svg => output::svg(plan, placement, &drawn).into_bytes(),
        Content::SvgLayer(layer) => output::svg_layer(plan, placement, &drawn, layer).into_bytes(),
        Content::Pdf => pdf(&[pages(stages, settings, job)]),
        Content::Png => output::png(plan, placement, &drawn, PREVIEW_PX_PER_MM).map_err(Failure::other)?,
        Content::ValueMap => output::value_map_png(&stages.traced.values, stages.tone.scale.breaks()),
        Content::BeforeAfter => stages.before_after.as_ref().map(output::grey_png).ok_or_else(|| {
            Failure::other("a view of the reference that was not made is a fault of the program; report it")
        })?,
        Content::Study
        | Content::Plotter
        | Content::PlotterPart(_)
        | Content::OrderSvg
        | Content::OrderPng
        | Content::KeySvg
        | Content::KeyPng
        | Content::PageSvg(_)
        | Content::PagePng(_) => {
            return Err(Failure::other("a file that is no drawing's is a fault of the program; report it"));
        }
        Content::Net => output::net_json(&stages.traced.net, &stages.thin, placement).into_bytes(),
        Content::Report => {
            let mut report = report(stages, settings, timings_ms);
            report.reference.recorded_sha256 = job.changed(&stages.sha256).map(Into::into);
            output::report_json(&report).into_bytes()
        }
    })
}

/// One line at the end: how much there is to draw, and where it went.
fn summary(stages: &Stages, outputs: &Outputs) -> String {
    format!(
        "{:.2} m of line, {} areas, {} transitions; wrote {}",
        // Nothing drawn is 0, not -0.
        stages.strokes.drawn_mm.max(0.0) / 1000.0,
        stages.traced.net.areas.len(),
        stages.traced.net.drawn().count(),
        outputs.names()
    )
}
