//! `merestone draw`: options to settings, the study run, and everything written together.

use std::fs;
use std::time::Instant;

use merestone::output::{self, Look};
use merestone::reference::{ReadOptions, Reference, ReferenceError, read_bytes, read_file};
use merestone::sheet::Paper;
use merestone::strokes::SoftLines;
use merestone::study::{DEFAULT_VALUES, Settings, Stages, Step, StudyError, report, run as run_study};
use merestone::tone::{BreakRule, PitchRule, ReferenceKind, ToneRange};
use merestone::transitions::HowMuch;

use super::args::{DrawArgs, KindArg, LineArgs, SoftArg};
use super::files::{Content, Input, Outputs, read_piped};
use super::on_paper::{UNDER_INK_CAUTION, extra, layers_apart, look, on_paper, placing};
use super::paper_args::MarksArg;
use super::plotter_args::{PLOTTER_CAUTION, PlotterFilesArg, figures, plotter};
use super::plotter_files;
use super::print::{Failure, say};
use super::progress::Progress;
use super::values::{BreaksArg, PitchArg, ToneRangeArg};
use super::zones::{outlined, read_mask, spare_mask};

/// Pixels per mm of a `.png` drawing: about 250 an inch, enough to look at and to print in a hurry.
pub(super) const PREVIEW_PX_PER_MM: f64 = 10.0;
/// Draws one reference: all is checked before work begins and written after all of it is done.
pub(crate) fn run(args: &DrawArgs) -> Result<(), Failure> {
    let mut settings = settings(args)?;
    let mask_notes = read_mask(&args.zones, args.running.max_megapixels, &mut settings.zones)?;
    settings.check().map_err(|e| failure(&e))?;
    let input = Input::new(&args.reference);
    if let Input::File(path) = &input
        && !fs::metadata(path).is_ok_and(|found| !found.is_dir())
    {
        // There is nothing to read: the reading says so, before anything is said of outputs beside it.
        read(&input, args)?;
    }
    let mut outputs = Outputs::new(&args.files, &input, args.print.print_on.is_some(), &layers_apart(args))?;
    let old_parts = plotter_files::add(&mut outputs, &args.plotter, &input)?;
    spare_mask(&args.zones, &outputs)?;
    set_threads(args)?;

    let progress = Progress::new(args.running.quiet, Step::ALL.len() as u64 + 2);
    progress.begin("reading the reference");
    let mut timings_ms = Vec::new();
    let since = Instant::now();
    let (reference, mut notes) = read(&input, args)?;
    notes.extend(mask_notes);
    if look(&args.print) == Look::UnderInk {
        notes.push(UNDER_INK_CAUTION.into());
    }
    timings_ms.push(("reading", since.elapsed().as_secs_f64() * 1e3));
    let made =
        run_study(reference, &settings, &|step| progress.begin(step.doing())).map_err(|e| failure(&e))?;
    let stages = made.take(&mut notes);
    if let Some(plan) = &stages.plotter {
        notes.push(PLOTTER_CAUTION.into());
        if args.plotter.plotter_files == PlotterFilesArg::Each {
            plotter_files::divide(&mut outputs, plan, &input)?;
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
                args.print.marks,
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

/// Options to settings; what cannot be read at all is refused here, what makes no sense by the settings' own check.
pub(super) fn settings(args: &DrawArgs) -> Result<Settings, Failure> {
    let paper = Paper::parse(&args.paper.paper).map_err(Failure::wrong_use)?;
    let breaks = match &args.values.breaks {
        BreaksArg::Fitted => BreakRule::Fitted,
        BreaksArg::Even => BreakRule::Even,
        BreaksArg::Listed(list) => BreakRule::Explicit(list.clone()),
    };
    // A list of breaks says by itself how many values there are; too long a list is refused by its count.
    let values = args.values.values.unwrap_or(match &breaks {
        BreakRule::Explicit(list) => u8::try_from(list.len() + 1).unwrap_or(u8::MAX),
        _ => DEFAULT_VALUES,
    });
    let (zones, [focus, rest]) = outlined(&args.zones);
    Ok(Settings {
        place: placing(&args.paper),
        values,
        breaks,
        tone_range: match args.values.tone_range {
            ToneRangeArg::Auto => ToneRange::Auto,
            ToneRangeArg::Given(range) => ToneRange::Fixed(range),
        },
        kind: match args.values.kind {
            KindArg::Auto => None,
            KindArg::Hatched => Some(ReferenceKind::Hatched),
            KindArg::HatchedWithLines => Some(ReferenceKind::HatchedWithLines),
            KindArg::Tonal => Some(ReferenceKind::Tonal),
            KindArg::TonalWithLines => Some(ReferenceKind::TonalWithLines),
        },
        pitch: match args.values.pitch {
            PitchArg::Auto => PitchRule::Measured,
            PitchArg::None => PitchRule::None,
            PitchArg::Given(mm) => PitchRule::Fixed(mm),
        },
        narrowest_mm: args.lines.narrowest,
        least_area_mm2: args.lines.least_area,
        how_much: how_much(&args.lines),
        zones,
        focus,
        rest,
        thin_mm: args.lines.thin.0,
        soft: match args.lines.soft {
            SoftArg::Solid => SoftLines::Solid,
            SoftArg::Broken => SoftLines::Broken,
            SoftArg::None => SoftLines::None,
        },
        chain: args.lines.chain,
        line_mm: args.lines.line.unwrap_or(look(&args.print).line_mm()),
        on_paper: on_paper(args)?,
        plotter: plotter(&args.plotter, args.print.marks == MarksArg::All),
        extra: extra(&args.print),
        ..Settings::on(paper)
    })
}

/// The one of the three that was given; the option parser refuses two.
fn how_much(lines: &LineArgs) -> HowMuch {
    match (lines.plainness, lines.line_budget, lines.areas) {
        (_, Some(mm), _) => HowMuch::LineBudget { mm },
        (_, _, Some(most)) => HowMuch::Areas(most),
        (Some(plainness), ..) => HowMuch::Plainness(plainness),
        (None, None, None) => HowMuch::default(),
    }
}

/// Whose fault it is decides on the exit code.
pub(super) fn failure(error: &StudyError) -> Failure {
    if error.wrong_use() { Failure::wrong_use(error) } else { Failure::other(error) }
}

pub(super) fn read(input: &Input, args: &DrawArgs) -> Result<(Reference, Vec<String>), Failure> {
    let options = ReadOptions { max_megapixels: f64::from(args.running.max_megapixels) };
    let read = match input {
        Input::File(path) => read_file(path, &options),
        Input::Piped => read_bytes(&read_piped()?, &input.name(), &options),
    };
    let mut notes = Vec::new();
    let reference = read.map_err(|e: ReferenceError| failure(&e.into()))?.take(&mut notes);
    Ok((reference, notes))
}

/// Sets how many threads work at once; without the option all processors do.
pub(super) fn set_threads(args: &DrawArgs) -> Result<(), Failure> {
    let Some(threads) = args.running.threads else { return Ok(()) };
    rayon::ThreadPoolBuilder::new().num_threads(usize::from(threads)).build_global().map_err(|e| {
        Failure::other(format!("cannot start {threads} threads ({e}); try fewer with --threads"))
    })
}

/// The bytes of one output.
fn result(
    content: Content,
    stages: &Stages,
    settings: &Settings,
    marks: MarksArg,
    timings_ms: Option<&[(&'static str, f64)]>,
) -> Result<Vec<u8>, Failure> {
    let shown = &stages.shown;
    let (plan, placement) = (&shown.strokes, &shown.placement);
    let drawn = shown.drawing_options(settings, marks == MarksArg::All);
    if let Some(plan) = &stages.plotter
        && let Some(bytes) = plotter_files::bytes(content, plan, settings, placement.sheet_mm)?
    {
        return Ok(bytes);
    }
    Ok(match content {
        Content::Svg => output::svg(plan, placement, &drawn).into_bytes(),
        Content::SvgLayer(layer) => output::svg_layer(plan, placement, &drawn, layer).into_bytes(),
        Content::Pdf => {
            let options = shown.drawing_options(settings, marks != MarksArg::None);
            output::pdf_pages(plan, placement, &options, &shown.printing)
        }
        Content::Png => output::png(plan, placement, &drawn, PREVIEW_PX_PER_MM).map_err(Failure::other)?,
        Content::ValueMap => output::value_map_png(&stages.traced.values, stages.tone.scale.breaks()),
        Content::Plotter | Content::PlotterPart(_) | Content::OrderSvg | Content::OrderPng => {
            return Err(Failure::other(
                "a plotter's file without a plotter is a fault of the program; report it",
            ));
        }
        Content::KeySvg | Content::KeyPng => {
            return Err(Failure::other("a drawing has no key, which is a fault of the program; report it"));
        }
        Content::Net => output::net_json(&stages.traced.net, &stages.thin, placement).into_bytes(),
        Content::Report => output::report_json(&report(stages, settings, timings_ms)).into_bytes(),
    })
}

/// One line at the end: how much there is to draw, and where it went.
fn summary(stages: &Stages, outputs: &Outputs) -> String {
    format!(
        "{:.2} m of line, {} areas, {} transitions; wrote {}",
        // Nothing drawn is 0, not -0.
        stages.strokes.drawn_mm.max(0.0) / 1000.0,
        stages.traced.net.areas.len(),
        stages.traced.net.transitions.len(),
        outputs.names()
    )
}
