//! `plan`: the numbered value plan, from the same settings as the drawing.

use std::path::Path;
use std::time::Instant;

use clap::{Arg, Args};

use merestone::output::{self, LineWeight, OutputError};
use merestone::plan::PLAN_LINE_MM;
use merestone::sheet::Layer;
use merestone::strokes::{SoftLines, StrokePlan};
use merestone::study::{
    Choices, KeyPlace, Marks, Settings, Stages, ValuePlan, page_printing, report, value_plan,
};

use super::args::{FileArgs, SheetArgs};
use super::batch::{first, sheet_command};
use super::begin::{self, Ready, prepare};
use super::draw::PREVIEW_PX_PER_MM;
use super::files::{Content, Output, Outputs, beside};
use super::job::{Job, failure};
use super::other_sheets::{is_of_another_sheet, refuse_other_sheets};
use super::print::Failure;
use super::sheet_pages::{SheetPages, pdf};
use super::study_args::{StudyArgs, is_of_table};

/// Settings of `plan`.
#[derive(Clone, Debug, Args)]
#[command(after_help = PLAN_EXAMPLES, mut_args(without_what_only_a_drawing_has))]
pub(crate) struct PlanArgs {
    /// What every sheet takes.
    #[command(flatten)]
    pub(crate) sheet: SheetArgs,
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
    let hidden = is_of_table(&arg, "plotter")
        || is_of_another_sheet(&arg, "plan")
        || ONLY_A_DRAWING.iter().any(|&(only, _)| only == name);
    if hidden { arg.hide(true) } else { arg }
}

/// Refuses what makes no plan; what a study file says for the drawing alone is passed over instead.
fn check(args: &PlanArgs, choices: &Choices) -> Result<(), Failure> {
    if let Some(name) = args.sheet.study.of_table("plotter") {
        return Err(Failure::wrong_use(format!(
            "--{name} is for a plotter, and a plan is printed; leave it out"
        )));
    }
    for (key, values) in args.sheet.study.given() {
        if let Some((name, why)) = ONLY_A_DRAWING.into_iter().find(|&(name, _)| name == key.name) {
            return Err(Failure::wrong_use(format!("--{name} {why}; leave it out")));
        }
        if key.name == "soft" && values == ["none"] {
            return Err(Failure::wrong_use(
                "--soft none would leave areas of a plan without their borders; leave it out",
            ));
        }
    }
    check_ground(choices)
}

/// Refuses two things under the numbers.
pub(super) fn check_ground(choices: &Choices) -> Result<(), Failure> {
    if choices.plan.options.tints && choices.direct.on_paper.underlay.is_some() {
        return Err(Failure::wrong_use(
            "tints would hide the reference under them; take either --tints or --underlay (--underlay none takes it back)",
        ));
    }
    Ok(())
}

/// The settings of the drawing, with the look of a plan.
pub(super) fn settings(study: &StudyArgs, job: &Job) -> Result<Settings, Failure> {
    let mut settings = job.settings(false)?;
    let chosen = study.given().any(|(key, _)| key.name == "line");
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

/// What is checked of one reference before any work.
struct Before<'a> {
    ready: Ready<'a>,
    outputs: Outputs,
}

/// Checks one reference and its files.
fn before(args: &PlanArgs) -> Result<Before<'_>, Failure> {
    refuse_other_sheets(&args.sheet.study, "plan")?;
    let ready = prepare(first(&args.sheet.references), &args.sheet.study, &args.sheet.running, |job| {
        check(args, &job.choices)?;
        settings(&args.sheet.study, job)
    })?;
    let outputs = outputs(&args.sheet.files, &ready.job, &ready.settings)?;
    ready.spare_what_is_read(&outputs)?;
    Ok(Before { ready, outputs })
}

sheet_command!(PlanArgs, "-plan");

/// Makes the plan of one reference: all is checked before work begins and written after all of it is done. What there is to
/// say comes back.
fn run(args: &PlanArgs, hidden: bool) -> Result<Vec<String>, Failure> {
    let Before { ready, outputs } = before(args)?;
    let Ready { job, settings, .. } = &ready;

    let progress = begin::progress(hidden);
    let mut made = ready.make(&progress)?;
    progress.begin("placing the numbers and making the files");
    let since = Instant::now();
    let plan =
        value_plan(&made.stages, settings, &job.choices.plan).map_err(|e| failure(&e))?.take(&mut made.notes);
    // Numbers may lie on pages that the lines alone leave empty; the report says which pages there are.
    made.stages.shown.printing = plan.printing.clone();
    made.timings_ms.push(("plan", since.elapsed().as_secs_f64() * 1e3));
    let timings_ms = made.timings(&args.sheet.running);
    let results = outputs
        .list()
        .iter()
        .map(|output| result(output.content(), &made.stages, &plan, settings, job, timings_ms))
        .collect::<Result<Vec<_>, _>>()?;
    progress.end();
    outputs.write(&results)?;
    Ok(made.said(&args.sheet.running, [summary(&made.stages, &plan, &outputs)]))
}

/// What is to be written, checked; without names the plan lies beside the reference, or the study file.
pub(super) fn outputs(files: &FileArgs, job: &Job, settings: &Settings) -> Result<Outputs, Failure> {
    let mut files = files.clone();
    let tiled = settings.on_paper.print.paper.is_some();
    let named = files.named(job.named());
    if let (Some(named), true) = (&named, files.unnamed()) {
        let forms = [".svg", ".pdf"].into_iter().skip(usize::from(tiled));
        files.out.extend(forms.map(|ending| beside(named, "-plan", ending)));
    }
    let mut outputs = Outputs::new(&files, &job.input, named.as_deref(), tiled, &layers(&job.choices))?;
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
pub(super) fn result(
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
        Content::Pdf => pdf(&pages(stages, plan, settings, job)),
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
pub(super) fn pages(stages: &Stages, plan: &ValuePlan, settings: &Settings, job: &Job) -> Vec<SheetPages> {
    let options = plan.drawing_options(stages, settings, job.choices.marks != Marks::None);
    let keys =
        plan.key_pages.iter().map(|page| SheetPages::page(page.size_mm, plan.key_options(page, settings)));
    std::iter::once(SheetPages::drawn(stages, options)).chain(keys).collect()
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
