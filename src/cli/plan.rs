//! `plan`: the numbered value plan, from the same settings as the drawing.

use std::ffi::OsString;
use std::path::Path;
use std::time::Instant;

use clap::{Arg, Args};

use merestone::output::{self, LineWeight, OutputError, PdfSheet};
use merestone::plan::PLAN_LINE_MM;
use merestone::sheet::Layer;
use merestone::strokes::{SoftLines, StrokePlan};
use merestone::study::{
    Choices, KeyPlace, Marks, Settings, Stages, Step, ValuePlan, page_printing, report, run as run_study,
    value_plan,
};

use super::args::{FileArgs, RunningArgs};
use super::draw::{PREVIEW_PX_PER_MM, set_threads};
use super::files::{Content, Output, Outputs};
use super::job::{Job, failure};
use super::page_args;
use super::print::{Failure, say};
use super::progress::Progress;
use super::sheet_run;
use super::study_args::{StudyArgs, is_of_table};
use super::zones::{read_mask, spare_mask};

/// Settings of `plan`.
#[derive(Debug, Args)]
#[command(after_help = PLAN_EXAMPLES, mut_args(without_what_only_a_drawing_has))]
pub(crate) struct PlanArgs {
    /// The reference: a JPEG, PNG, TIFF, WebP, BMP or GIF picture, or - for standard input; or a study file in .toml
    #[arg(value_name = "REF")]
    pub(crate) reference: OsString,

    /// Everything that a study file can hold, so that plan and drawing are of the same areas on the same sheet.
    #[command(flatten)]
    pub(crate) study: StudyArgs,

    /// Files.
    #[command(flatten)]
    pub(crate) files: FileArgs,

    /// How the program runs.
    #[command(flatten)]
    pub(crate) running: RunningArgs,
}

const PLAN_EXAMPLES: &str = "Examples:
  merestone plan picture.jpg --paper a4 -o plan.pdf
      the plan of the drawing that 'merestone draw picture.jpg --paper a4' makes
  merestone plan picture.jpg --halves --tints -o plan.pdf -o plan.svg --report plan.json
      halves between the values, light tints, and where each number stands";

/// Options of a drawing that a plan does not have, besides those of a plotter, and why.
const ONLY_A_DRAWING: [(&str, &str); 5] = [
    ("chain", "is about strokes, and a plan is printed"),
    ("look", "is about the drawing, and a plan has a look of its own"),
    ("weight", "is about the drawing, and all lines of a plan are of one width"),
    ("extra-lines", "is for the drawing, and a plan has every area"),
    ("extra-in", "is for the drawing, and a plan has every area"),
];

/// Keeps them out of the help.
fn without_what_only_a_drawing_has(arg: Arg) -> Arg {
    let name = arg.get_id().as_str();
    let other = ["plotter", "order", "squared"].iter().any(|table| is_of_table(&arg, table));
    let hidden = other || ONLY_A_DRAWING.iter().any(|&(only, _)| only == name);
    if hidden { arg.hide(true) } else { arg }
}

/// Refuses what makes no plan; what a study file says for the drawing alone is passed over instead.
fn check(args: &PlanArgs, choices: &Choices) -> Result<(), Failure> {
    if let Some(name) = args.study.of_table("plotter") {
        return Err(Failure::wrong_use(format!(
            "--{name} is for a plotter, and a plan is printed; leave it out"
        )));
    }
    sheet_run::refuse_of_sheets(&args.study)?;
    for (key, values) in args.study.given() {
        if let Some((name, why)) = ONLY_A_DRAWING.into_iter().find(|&(name, _)| name == key.name) {
            return Err(Failure::wrong_use(format!("--{name} {why}; leave it out")));
        }
        if key.name == "soft" && values == ["none"] {
            return Err(Failure::wrong_use(
                "--soft none would leave areas of a plan without their borders; leave it out",
            ));
        }
    }
    if choices.plan.options.tints && choices.direct.on_paper.underlay.is_some() {
        return Err(Failure::wrong_use(
            "tints would hide the reference under them; take either --tints or --underlay (--underlay none takes it back)",
        ));
    }
    Ok(())
}

/// The settings of the drawing, with the look of a plan.
fn settings(args: &PlanArgs, job: &Job) -> Result<Settings, Failure> {
    let mut settings = job.settings(false)?;
    let chosen = args.study.given().any(|(key, _)| key.name == "line");
    settings.line_mm = job.choices.line_mm.filter(|_| chosen).unwrap_or(PLAN_LINE_MM);
    settings.on_paper.ink = job.choices.ink.unwrap_or_default();
    settings.on_paper.title.remark = "value plan".into();
    settings.chain = false;
    settings.weight = LineWeight::Even;
    settings.extra = None;
    if settings.soft == SoftLines::None {
        settings.soft = SoftLines::Solid;
    }
    Ok(settings)
}

/// Makes the plan of one reference: all is checked before work begins and written after all of it is done.
pub(crate) fn run(args: &PlanArgs) -> Result<(), Failure> {
    let job = Job::new(&args.reference, &args.study)?;
    let choices = &job.choices;
    check(args, choices)?;
    let mut settings = settings(args, &job)?;
    let max_megapixels = args.running.max_megapixels;
    let mask_notes = read_mask(choices, max_megapixels, &mut settings.zones)?;
    settings.check().and_then(|()| settings.by_hand.check_files()).map_err(|e| job.failure(&e))?;
    page_args::check(&settings.page)?;
    job.check_input(max_megapixels)?;
    let outputs = outputs(args, &job, &settings)?;
    spare_mask(choices, &outputs)?;
    job.spare_study(&outputs)?;
    set_threads(&args.running)?;

    let progress = Progress::new(args.running.quiet, Step::ALL.len() as u64 + 2);
    progress.begin("reading the reference");
    let mut timings_ms = Vec::new();
    let since = Instant::now();
    let (reference, mut notes) = job.read(max_megapixels)?;
    notes.extend(mask_notes);
    timings_ms.push(("reading", since.elapsed().as_secs_f64() * 1e3));
    let made =
        run_study(reference, &settings, &|step| progress.begin(step.doing())).map_err(|e| job.failure(&e))?;
    let mut stages = made.take(&mut notes);
    timings_ms.extend(stages.timings_ms.iter().map(|&(step, ms)| (step.name(), ms)));
    progress.begin("placing the numbers and making the files");
    let since = Instant::now();
    let plan = value_plan(&stages, &settings, &choices.plan).map_err(|e| failure(&e))?.take(&mut notes);
    // Numbers may lie on pages that the lines alone leave empty; the report says which pages there are.
    stages.shown.printing = plan.printing.clone();
    timings_ms.push(("plan", since.elapsed().as_secs_f64() * 1e3));
    let timings_ms = args.running.timings.then_some(&timings_ms[..]);
    let results = outputs
        .list()
        .iter()
        .map(|output| result(output.content(), &stages, &plan, &settings, &job, timings_ms))
        .collect::<Result<Vec<_>, _>>()?;
    progress.end();
    outputs.write(&results)?;
    if !args.running.quiet {
        notes.iter().for_each(|note| say(&format!("note: {note}")));
        if let Some(list) = timings_ms {
            let parts: Vec<String> = list.iter().map(|(name, ms)| format!("{name} {ms:.0} ms")).collect();
            say(&format!("timings: {}", parts.join(", ")));
        }
        say(&summary(&stages, &plan, &outputs));
    }
    Ok(())
}

/// What is to be written, checked; without names the plan lies beside the reference, or the study file.
fn outputs(args: &PlanArgs, job: &Job, settings: &Settings) -> Result<Outputs, Failure> {
    let mut files = args.files.clone();
    let tiled = settings.on_paper.print.paper.is_some();
    if let (Some(named), true) = (job.named(), files.out.is_empty()) {
        let forms = [".svg", ".pdf"].into_iter().skip(usize::from(tiled));
        files.out.extend(forms.map(|ending| beside(named, "-plan", ending)));
    }
    let mut outputs = Outputs::new(&files, &job.input, job.named(), tiled, &layers(&job.choices))?;
    if matches!(job.choices.plan.key, KeyPlace::Both | KeyPlace::Page) {
        for (content, ending) in [(Content::KeySvg, "svg"), (Content::KeyPng, "png")] {
            let named = files.out.iter().map(Path::new).filter(|path| {
                path.extension().is_some_and(|e| e.to_string_lossy().eq_ignore_ascii_case(ending))
            });
            for path in named {
                outputs.list.push(Output::File(content, beside(path, "-key", &format!(".{ending}")).into()));
            }
        }
        outputs.check(&job.input)?;
    }
    Ok(outputs)
}

/// The name of a file beside another.
fn beside(path: &Path, what: &str, ending: &str) -> OsString {
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(what);
    name.push(ending);
    path.with_file_name(name).into()
}

/// The layers that get a file each; none when they stay together.
fn layers(choices: &Choices) -> Vec<Layer> {
    let of_drawing = choices.layers_apart();
    let wanted = |layer: &Layer| match layer {
        Layer::Tints => choices.plan.options.tints,
        Layer::Values | Layer::Soft => true,
        Layer::Key => matches!(choices.plan.key, KeyPlace::Both | KeyPlace::Margin),
        other => of_drawing.contains(other),
    };
    if choices.layers_apart { Layer::ALL.into_iter().filter(wanted).collect() } else { Vec::new() }
}

/// The bytes of one output.
fn result(
    content: Content,
    stages: &Stages,
    plan: &ValuePlan,
    settings: &Settings,
    job: &Job,
    timings_ms: Option<&[(&'static str, f64)]>,
) -> Result<Vec<u8>, Failure> {
    let marks = job.choices.marks;
    let shown = &stages.shown;
    let (strokes, placement) = (&shown.strokes, &shown.placement);
    let drawn = plan.drawing_options(stages, settings, marks == Marks::All);
    let none = StrokePlan::default();
    let png = |made: Result<Vec<u8>, OutputError>| made.map_err(Failure::other);
    Ok(match content {
        Content::Svg => output::svg(strokes, placement, &drawn).into_bytes(),
        Content::SvgLayer(layer) => output::svg_layer(strokes, placement, &drawn, layer).into_bytes(),
        Content::Png => png(output::png(strokes, placement, &drawn, PREVIEW_PX_PER_MM))?,
        Content::KeySvg => {
            let page = plan.key_in_one();
            output::svg(&none, &page_printing(page.size_mm).0, &plan.key_options(&page, settings))
                .into_bytes()
        }
        Content::KeyPng => {
            let page = plan.key_in_one();
            png(output::png(
                &none,
                &page_printing(page.size_mm).0,
                &plan.key_options(&page, settings),
                PREVIEW_PX_PER_MM,
            ))?
        }
        Content::Pdf => {
            let options = plan.drawing_options(stages, settings, marks != Marks::None);
            pdf(stages, plan, settings, &options)
        }
        Content::ValueMap => output::value_map_png(&stages.traced.values, stages.tone.scale.breaks()),
        Content::Net => output::net_json(&stages.traced.net, &stages.thin, &stages.placement).into_bytes(),
        Content::Report => {
            let mut report =
                output::Report { plan: Some(plan.report()), ..report(stages, settings, timings_ms) };
            report.reference.recorded_sha256 = job.changed(&stages.sha256).map(Into::into);
            output::report_json(&report).into_bytes()
        }
        Content::Study
        | Content::Plotter
        | Content::PlotterPart(_)
        | Content::OrderSvg
        | Content::OrderPng
        | Content::PageSvg(_)
        | Content::PagePng(_)
        | Content::BeforeAfter => {
            return Err(Failure::other(
                "a plan has no plotter's file and no picture before and after, which is a fault of the program; report it",
            ));
        }
    })
}

/// The sheet on its pages, then the pages of the key.
fn pdf(stages: &Stages, plan: &ValuePlan, settings: &Settings, options: &output::DrawingOptions) -> Vec<u8> {
    let none = StrokePlan::default();
    let keys: Vec<_> = plan
        .key_pages
        .iter()
        .map(|page| (page_printing(page.size_mm), plan.key_options(page, settings)))
        .collect();
    let sheet = PdfSheet {
        plan: &stages.shown.strokes,
        placement: &stages.shown.placement,
        options,
        printing: &stages.shown.printing,
    };
    let pages = keys.iter().map(|((placement, printing), options)| PdfSheet {
        plan: &none,
        placement,
        options,
        printing,
    });
    let sheets: Vec<PdfSheet<'_>> = std::iter::once(sheet).chain(pages).collect();
    output::pdf_sheets(&options.title, &sheets)
}

/// One line at the end: how many numbers there are, and where they went.
fn summary(stages: &Stages, plan: &ValuePlan, outputs: &Outputs) -> String {
    let net = &stages.traced.net;
    let led: usize = plan.plan.labels.iter().map(|l| l.leaders.len()).sum();
    format!(
        "{} areas and {} thin marks, {led} of them numbered by a leader, {} listed; wrote {}",
        net.areas.len(),
        stages.thin.len(),
        plan.plan.listed.len(),
        outputs.names()
    )
}
