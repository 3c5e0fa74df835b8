//! `merestone draw`: options to settings, the study run, and everything written together.

use std::time::Instant;

use merestone::output::{self, Look};
use merestone::study::{Marks, Settings, Stages, Step, report, run as run_study};

use super::args::{DrawArgs, RunningArgs};
use super::files::{Content, Outputs};
use super::job::Job;
use super::page_args;
use super::plotter_args::{PLOTTER_CAUTION, figures};
use super::plotter_files;
use super::print::{Failure, say};
use super::progress::Progress;
use super::sheet_run;
use super::zones::{read_mask, spare_mask};

/// What is said when lines are to be printed on the drawing paper itself.
const UNDER_INK_CAUTION: &str = "Toner repels dip ink, and neither toner nor inkjet can be erased: let no \
    printed line lie in areas that stay white, try one sheet first, and heed the manual of your printer for its paper.";
/// Pixels per mm of a `.png` drawing: about 250 an inch, enough to look at and to print in a hurry.
pub(super) const PREVIEW_PX_PER_MM: f64 = 10.0;

/// Draws one reference: all is checked before work begins and written after all of it is done.
pub(crate) fn run(args: &DrawArgs) -> Result<(), Failure> {
    if let Some(name) = args.study.of_table("plan") {
        return Err(Failure::wrong_use(format!(
            "--{name} is about the value plan; run 'merestone plan' for it, or leave it out"
        )));
    }
    sheet_run::refuse_of_sheets(&args.study)?;
    if args.plotter.plotter.is_none()
        && let Some(name) = args.study.of_table("plotter")
    {
        return Err(Failure::wrong_use(format!(
            "--{name} is about a plotter's file, and none is written; add --plotter with a name in .svg"
        )));
    }
    let job = Job::new(&args.reference, &args.study)?;
    let (choices, input) = (&job.choices, &job.input);
    let max_megapixels = args.running.max_megapixels;
    let mut settings = job.settings(args.plotter.plotter.is_some())?;
    let mask_notes = read_mask(choices, max_megapixels, &mut settings.zones)?;
    settings.page.before_after = args.page.before_after.is_some();
    settings.check().and_then(|()| settings.by_hand.check_files()).map_err(|e| job.failure(&e))?;
    page_args::check(&settings.page)?;
    job.check_input(max_megapixels)?;
    let tiled = settings.on_paper.print.paper.is_some();
    let mut outputs = Outputs::new(&args.files, input, job.named(), tiled, &choices.layers_apart())?;
    let each = choices.plotter.apart;
    page_args::add(&mut outputs, &args.page, input)?;
    let old_parts = plotter_files::add(&mut outputs, &args.plotter, each, input)?;
    spare_mask(choices, &outputs)?;
    job.spare_study(&outputs)?;
    set_threads(&args.running)?;

    let progress = Progress::new(args.running.quiet, Step::ALL.len() as u64 + 2);
    progress.begin("reading the reference");
    let mut timings_ms = Vec::new();
    let since = Instant::now();
    let (reference, mut notes) = job.read(max_megapixels)?;
    notes.extend(mask_notes);
    if choices.look == Look::UnderInk {
        notes.push(UNDER_INK_CAUTION.into());
    }
    timings_ms.push(("reading", since.elapsed().as_secs_f64() * 1e3));
    let made =
        run_study(reference, &settings, &|step| progress.begin(step.doing())).map_err(|e| job.failure(&e))?;
    let stages = made.take(&mut notes);
    if let Some(plan) = &stages.plotter {
        notes.push(PLOTTER_CAUTION.into());
        if each {
            plotter_files::divide(&mut outputs, plan, input)?;
            notes.extend(plotter_files::left_over(&outputs, &old_parts));
        }
    }
    timings_ms.extend(stages.timings_ms.iter().map(|&(step, ms)| (step.name(), ms)));

    progress.begin("making the files");
    let since = Instant::now();
    let results = outputs
        .list()
        .iter()
        .map(|output| {
            result(
                output.content(),
                &stages,
                &settings,
                &job,
                args.running.timings.then_some(&timings_ms[..]),
            )
        })
        .collect::<Result<Vec<_>, _>>()?;
    timings_ms.push(("output", since.elapsed().as_secs_f64() * 1e3));
    progress.end();
    outputs.write(&results)?;

    if !args.running.quiet {
        for note in &notes {
            say(&format!("note: {note}"));
        }
        if args.running.timings {
            let parts: Vec<String> =
                timings_ms.iter().map(|(name, ms)| format!("{name} {ms:.0} ms")).collect();
            say(&format!("timings: {}", parts.join(", ")));
        }
        say(&summary(&stages, &outputs));
        if let Some(plan) = &stages.plotter {
            say(&figures(plan));
        }
    }
    Ok(())
}

/// Sets how many threads work at once; without the option all processors do.
pub(super) fn set_threads(running: &RunningArgs) -> Result<(), Failure> {
    let Some(threads) = running.threads else { return Ok(()) };
    rayon::ThreadPoolBuilder::new().num_threads(usize::from(threads)).build_global().map_err(|e| {
        Failure::other(format!("cannot start {threads} threads ({e}); try fewer with --threads"))
    })
}

/// The bytes of one output.
fn result(
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
        Content::Pdf => {
            let options = shown.drawing_options(settings, marks != Marks::None);
            output::pdf_pages(plan, placement, &options, &shown.printing)
        }
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
