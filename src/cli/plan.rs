//! `plan`: the numbered value plan, with the options of `draw` and a few of its own.

use std::ffi::OsString;
use std::path::Path;

use clap::{Arg, Args, ValueEnum};

use merestone::output::{self, OutputError, PdfSheet};
use merestone::plan::{PLAN_LINE_MM, PlanOptions};
use merestone::sheet::Layer;
use merestone::strokes::StrokePlan;
use merestone::study::{
    KeyPlace, PlanSettings, Settings, Stages, Step, ValuePlan, key_printing, report, run as run_study,
    value_plan,
};

use super::args::{DrawArgs, SoftArg};
use super::draw::{PREVIEW_PX_PER_MM, failure, read, set_threads, settings};
use super::files::{Content, Input, Output, Outputs};
use super::paper_args::{LayersArg, LookArg, MarksArg};
use super::print::{Failure, say};
use super::progress::Progress;
use super::zones::{read_mask, spare_mask};

/// Settings of `plan`.
#[derive(Debug, Args)]
#[command(after_help = PLAN_EXAMPLES, mut_args(without_what_only_a_drawing_has))]
pub(crate) struct PlanArgs {
    /// All that a drawing has, so that both are of the same areas on the same sheet.
    #[command(flatten)]
    pub(crate) draw: DrawArgs,

    /// What only a plan has.
    #[command(flatten)]
    pub(crate) plan: PlanOnlyArgs,
}

/// What only a plan has.
#[derive(Debug, Args)]
#[command(next_help_heading = "Plan", after_help = PLAN_EXAMPLES)]
pub(crate) struct PlanOnlyArgs {
    /// Label an area whose own tone lies between two values with the half (3 1/2); borders stay as they are
    #[arg(long)]
    pub(crate) halves: bool,

    /// Tint the areas in light greys by value, under the numbers
    #[arg(long, conflicts_with = "underlay")]
    pub(crate) tints: bool,

    /// Where the key to the values is printed: beside the picture when the margins have room, on a page of its own
    /// with a strip to cut out (for SVG and PNG a file of its own, NAME-key.svg), both, or none
    #[arg(long, value_name = "WHERE", value_enum, default_value_t = KeyArg::Both)]
    pub(crate) key: KeyArg,
}

/// `--key`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum KeyArg {
    /// Beside the picture and on a page of its own
    Both,
    /// Beside the picture
    Margin,
    /// On a page of its own
    Page,
    /// Nowhere
    None,
}

const PLAN_EXAMPLES: &str = "Examples:
  merestone plan picture.jpg --paper a4 -o plan.pdf
      the plan of the drawing that 'merestone draw picture.jpg --paper a4' makes
  merestone plan picture.jpg --halves --tints -o plan.pdf -o plan.svg --report plan.json
      halves between the values, light tints, and where each number stands";

/// Options of a drawing that a plan does not have.
const ONLY_A_DRAWING: [&str; 18] = [
    "chain",
    "look",
    "extra_lines",
    "extra_in",
    "timings",
    "plotter",
    "plotter_files",
    "plotter_edges",
    "order_view",
    "lead_length",
    "close_over",
    "least_stroke",
    "keep_out",
    "polylines",
    "drawing_speed",
    "travel_speed",
    "acceleration",
    "lift_time",
];

/// Keeps them out of the help.
fn without_what_only_a_drawing_has(arg: Arg) -> Arg {
    let hidden = ONLY_A_DRAWING.contains(&arg.get_id().as_str());
    if hidden { arg.hide(true) } else { arg }
}

/// Refuses them: a plan has every border, in its own look, and is not drawn by a machine.
fn check(args: &DrawArgs) -> Result<(), Failure> {
    let refused = [
        (args.lines.chain, "--chain", "is about strokes, and a plan is printed"),
        (args.plotter.plotter.is_some(), "--plotter", "is for the drawing, and a plan is printed"),
        (args.print.extra_lines.is_some(), "--extra-lines", "is for the drawing, and a plan has every area"),
        (
            args.print.look == LookArg::UnderInk,
            "--look under-ink",
            "is for the drawing paper, and a plan lies beside it",
        ),
        (
            args.lines.soft == SoftArg::None,
            "--soft none",
            "would leave areas of a plan without their borders",
        ),
    ];
    match refused.into_iter().find(|&(given, ..)| given) {
        Some((_, option, why)) => Err(Failure::wrong_use(format!("{option} {why}; leave it out"))),
        None => Ok(()),
    }
}

/// Makes the plan of one reference: all is checked before work begins and written after all of it is done.
pub(crate) fn run(args: &PlanArgs) -> Result<(), Failure> {
    let of_plan = PlanSettings {
        options: PlanOptions { halves: args.plan.halves, tints: args.plan.tints },
        key: match args.plan.key {
            KeyArg::Both => KeyPlace::Both,
            KeyArg::Margin => KeyPlace::Margin,
            KeyArg::Page => KeyPlace::Page,
            KeyArg::None => KeyPlace::None,
        },
    };
    let args = &args.draw;
    check(args)?;
    let mut settings = settings(args)?;
    settings.line_mm = args.lines.line.unwrap_or(PLAN_LINE_MM);
    settings.on_paper.title.remark = "value plan".into();
    let mask_notes = read_mask(&args.zones, args.running.max_megapixels, &mut settings.zones)?;
    settings.check().map_err(|e| failure(&e))?;
    let input = Input::new(&args.reference);
    if let Input::File(path) = &input
        && !path.metadata().is_ok_and(|found| !found.is_dir())
    {
        // There is nothing to read: the reading says so, before anything is said of outputs beside it.
        read(&input, args)?;
    }
    let outputs = outputs(args, &input, &of_plan)?;
    spare_mask(&args.zones, &outputs)?;
    set_threads(args)?;

    let progress = Progress::new(args.running.quiet, Step::ALL.len() as u64 + 2);
    progress.begin("reading the reference");
    let (reference, mut notes) = read(&input, args)?;
    notes.extend(mask_notes);
    let made =
        run_study(reference, &settings, &|step| progress.begin(step.doing())).map_err(|e| failure(&e))?;
    let mut stages = made.take(&mut notes);
    progress.begin("placing the numbers and making the files");
    let plan = value_plan(&stages, &settings, &of_plan).map_err(|e| failure(&e))?.take(&mut notes);
    // Numbers may lie on pages that the lines alone leave empty; the report says which pages there are.
    stages.shown.printing = plan.printing.clone();
    let results = outputs
        .list()
        .iter()
        .map(|output| result(output.content(), &stages, &plan, &settings, args.print.marks))
        .collect::<Result<Vec<_>, _>>()?;
    progress.end();
    outputs.write(&results)?;
    if !args.running.quiet {
        notes.iter().for_each(|note| say(&format!("note: {note}")));
        say(&summary(&stages, &plan, &outputs));
    }
    Ok(())
}

/// What is to be written, checked; without names the plan lies beside the reference.
fn outputs(args: &DrawArgs, input: &Input, of_plan: &PlanSettings) -> Result<Outputs, Failure> {
    let mut files = args.files.clone();
    let tiled = args.print.print_on.is_some();
    if let (Input::File(reference), true) = (input, files.out.is_empty()) {
        let forms = [".svg", ".pdf"].into_iter().skip(usize::from(tiled));
        files.out.extend(forms.map(|ending| beside(reference, "-plan", ending)));
    }
    let apart = match args.print.layers {
        LayersArg::Together => Vec::new(),
        LayersArg::Apart => layers(args, of_plan),
    };
    let mut outputs = Outputs::new(&files, input, tiled, &apart)?;
    if matches!(of_plan.key, KeyPlace::Both | KeyPlace::Page) {
        for (content, ending) in [(Content::KeySvg, "svg"), (Content::KeyPng, "png")] {
            let named = files.out.iter().map(Path::new).filter(|path| {
                path.extension().is_some_and(|e| e.to_string_lossy().eq_ignore_ascii_case(ending))
            });
            for path in named {
                outputs.list.push(Output::File(content, beside(path, "-key", &format!(".{ending}")).into()));
            }
        }
        outputs.check(input)?;
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

/// The layers that get a file each.
fn layers(args: &DrawArgs, of_plan: &PlanSettings) -> Vec<Layer> {
    let own = |layer: &Layer| match layer {
        Layer::Tints => of_plan.options.tints,
        Layer::Values => true,
        Layer::Key => matches!(of_plan.key, KeyPlace::Both | KeyPlace::Margin),
        other => super::on_paper::layers_apart(args).contains(other),
    };
    Layer::ALL.into_iter().filter(own).collect()
}

/// The bytes of one output.
fn result(
    content: Content,
    stages: &Stages,
    plan: &ValuePlan,
    settings: &Settings,
    marks: MarksArg,
) -> Result<Vec<u8>, Failure> {
    let shown = &stages.shown;
    let (strokes, placement) = (&shown.strokes, &shown.placement);
    let drawn = plan.drawing_options(stages, settings, marks == MarksArg::All);
    let none = StrokePlan::default();
    let png = |made: Result<Vec<u8>, OutputError>| made.map_err(Failure::other);
    Ok(match content {
        Content::Svg => output::svg(strokes, placement, &drawn).into_bytes(),
        Content::SvgLayer(layer) => output::svg_layer(strokes, placement, &drawn, layer).into_bytes(),
        Content::Png => png(output::png(strokes, placement, &drawn, PREVIEW_PX_PER_MM))?,
        Content::KeySvg => {
            let page = plan.key_in_one();
            output::svg(&none, &key_printing(&page).0, &plan.key_options(&page, settings)).into_bytes()
        }
        Content::KeyPng => {
            let page = plan.key_in_one();
            png(output::png(
                &none,
                &key_printing(&page).0,
                &plan.key_options(&page, settings),
                PREVIEW_PX_PER_MM,
            ))?
        }
        Content::Pdf => {
            let options = plan.drawing_options(stages, settings, marks != MarksArg::None);
            pdf(stages, plan, settings, &options)
        }
        Content::ValueMap => output::value_map_png(&stages.traced.values, stages.tone.scale.breaks()),
        Content::Net => output::net_json(&stages.traced.net, &stages.thin, &stages.placement).into_bytes(),
        Content::Report => {
            let report = output::Report { plan: Some(plan.report()), ..report(stages, settings, None) };
            output::report_json(&report).into_bytes()
        }
        Content::Plotter | Content::PlotterPart(_) | Content::OrderSvg | Content::OrderPng => {
            return Err(Failure::other(
                "a plan has no plotter's file, which is a fault of the program; report it",
            ));
        }
    })
}

/// The sheet on its pages, then the pages of the key.
fn pdf(stages: &Stages, plan: &ValuePlan, settings: &Settings, options: &output::DrawingOptions) -> Vec<u8> {
    let none = StrokePlan::default();
    let keys: Vec<_> =
        plan.key_pages.iter().map(|page| (key_printing(page), plan.key_options(page, settings))).collect();
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
