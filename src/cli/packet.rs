//! `packet`: all sheets of a study in one PDF, from one run of the stages, and the same as files of their own.

use std::time::Instant;

use clap::{Arg, Args};

use merestone::output::{self, Look, PacketReport, PdfPart, Report};
use merestone::study::{
    BeginRule, PacketSheet, Settings, order_sheet, report, squared_sheet, value_plan, value_structure,
};

use super::args::{FileArgs, SheetArgs};
use super::batch::{FormOf, first, sheet_command};
use super::begin::{self, Made, Ready, prepare};
use super::draw::{self, UNDER_INK_CAUTION};
use super::files::{Content, Output, Outputs, beside};
use super::job::Job;
use super::print::Failure;
use super::sheet_pages::SheetPages;
use super::study_args::is_of_table;
use super::{order, plan, squared, structure};

/// Settings of `packet`.
#[derive(Clone, Debug, Args)]
#[command(after_help = PACKET_EXAMPLES, mut_args(without_a_plotter))]
pub(crate) struct PacketArgs {
    /// What every sheet takes.
    #[command(flatten)]
    pub(crate) sheet: SheetArgs,
}

const PACKET_EXAMPLES: &str = "Examples:
  merestone packet study.toml --paper a4 -o packet.pdf
      underdrawing, value plan, key, value structure, squared reference and working order in one file
  merestone packet picture.jpg --paper a3 --print-on a4 --sheets underdrawing,plan -o packet.pdf
      two of them, on the pages of a smaller printer
  merestone packet picture.jpg --into folder
      the packet, and each sheet as files of its own beside it";

/// Keeps a plotter's settings out of the help.
fn without_a_plotter(arg: Arg) -> Arg {
    if is_of_table(&arg, "plotter") { arg.hide(true) } else { arg }
}

/// One sheet of the packet, with the settings that it is made with and the files that it has to itself.
struct Sheet {
    which: PacketSheet,
    settings: Settings,
    files: Vec<Output>,
}

/// What is checked of one reference before any work.
struct Before<'a> {
    ready: Ready<'a>,
    sheets: Vec<Sheet>,
    /// The packet's own files, then those of each sheet.
    outputs: Outputs,
    /// How many of them are the packet's own.
    own: usize,
}

/// Checks one reference and its files.
fn before(args: &PacketArgs) -> Result<Before<'_>, Failure> {
    if let Some(name) = args.sheet.study.of_table("plotter") {
        return Err(Failure::wrong_use(format!(
            "--{name} is about a plotter's file, and a packet is printed; leave it out"
        )));
    }
    let ready = prepare(first(&args.sheet.references), &args.sheet.study, &args.sheet.running, settings)?;
    let job = &ready.job;
    let mut outputs = Outputs::of_sheet(&args.sheet.files, job, "-packet")?;
    outputs.pdf_only("a packet")?;
    let own = outputs.list.len();
    let mut sheets = Vec::new();
    for &which in &job.choices.packet.sheets {
        let sheet = sheet(which, args, &ready)?;
        outputs.list.extend(sheet.files.iter().cloned());
        sheets.push(sheet);
    }
    outputs.check(&job.input)?;
    ready.spare_what_is_read(&outputs)?;
    Ok(Before { ready, sheets, outputs, own })
}

/// The settings that the stages run with: those of the drawing, with what other sheets need besides.
fn settings(job: &Job) -> Result<Settings, Failure> {
    let (packet, of_order) = (&job.choices.packet, &job.choices.order);
    let mut settings = job.settings(false)?;
    settings.keep_picture = packet.has(PacketSheet::Squared);
    if !packet.has(PacketSheet::Underdrawing) {
        settings.extra = None;
    }
    if packet.has(PacketSheet::Order) && of_order.begin == BeginRule::Point {
        settings.begin_at = of_order.at;
    }
    Ok(settings)
}

/// Checks one sheet, with the settings and files that its own command has.
fn sheet(which: PacketSheet, args: &PacketArgs, ready: &Ready<'_>) -> Result<Sheet, Failure> {
    let job = &ready.job;
    let mut settings = match which {
        PacketSheet::Underdrawing => job.settings(false)?,
        PacketSheet::Plan => {
            plan::check_ground(&job.choices)?;
            plan::settings(&args.sheet.study, job)?
        }
        PacketSheet::Structure => structure::settings(job)?,
        PacketSheet::Squared => squared::settings(job)?,
        PacketSheet::Order => order::settings(job)?,
    };
    // The mask has been read.
    settings.zones = ready.settings.zones.clone();
    let checked = settings.check().and_then(|()| match which {
        PacketSheet::Squared => job.choices.squared.check(&settings),
        PacketSheet::Order => job.choices.order.check(&settings),
        PacketSheet::Underdrawing | PacketSheet::Plan | PacketSheet::Structure => Ok(()),
    });
    checked.map_err(|e| job.failure(&e))?;
    let outputs = |ends| files_of_its_own(&args.sheet.files, job, ends);
    let files = match which {
        PacketSheet::Underdrawing => {
            outputs("-underdrawing").map(|files| draw::outputs(&files, job, &settings)).transpose()?
        }
        PacketSheet::Plan => {
            outputs("-plan").map(|files| plan::outputs(&files, job, &settings)).transpose()?
        }
        PacketSheet::Structure => {
            outputs("-structure").map(|files| structure::outputs(&files, job)).transpose()?
        }
        PacketSheet::Squared => outputs("-squared").map(|files| squared::outputs(&files, job)).transpose()?,
        PacketSheet::Order => outputs("-order").map(|files| order::outputs(&files, job)).transpose()?,
    };
    Ok(Sheet { which, settings, files: files.map(|outputs| outputs.list).unwrap_or_default() })
}

/// What one sheet's own command would be asked for: with a folder to write into, what it writes without names.
fn files_of_its_own(files: &FileArgs, job: &Job, ends: &str) -> Option<FileArgs> {
    let several = &files.several;
    several.into.as_ref()?;
    let mut own = FileArgs { out: Vec::new(), report: None, value_map: None, net: None, ..files.clone() };
    if !several.forms.is_empty() {
        let named = files.named(job.named()).filter(|_| several.forms.contains(&FormOf::Pdf))?;
        own.out.push(beside(&named, ends, ".pdf"));
    }
    Some(own)
}

sheet_command!(PacketArgs, "-packet");

/// Makes the packet of one reference: all is checked before work begins and written after all of it is done. What there is
/// to say comes back.
fn run(args: &PacketArgs, hidden: bool) -> Result<Vec<String>, Failure> {
    let Before { ready, sheets, outputs, own } = before(args)?;
    let Ready { job, settings, .. } = &ready;

    let progress = begin::progress(hidden);
    let made = ready.make(&progress)?;
    progress.begin("making the sheets and the files");
    let since = Instant::now();
    let figures = report(&made.stages, settings, None);
    let mut work = Work { made, job, parts: Vec::new(), files: Vec::new(), figures };
    for sheet in &sheets {
        work.add(sheet)?;
    }
    let Work { mut made, parts, files, mut figures, .. } = work;
    made.timings_ms.push(("sheets", since.elapsed().as_secs_f64() * 1e3));
    figures.reference.recorded_sha256 = job.changed(&made.stages.sha256).map(Into::into);
    let of_parts = parts.iter().map(|part| (part.sheet, part.title, part.count()));
    let packet = PacketReport::new(of_parts);
    let said = summary(&packet, &outputs);
    figures.packet = Some(packet);
    figures.timings_ms = made
        .timings(&args.sheet.running)
        .map(|list| list.iter().map(|&(name, ms)| (name.to_owned(), ms)).collect());
    let mut results = outputs
        .list()
        .iter()
        .take(own)
        .map(|output| result(output.content(), &made, &parts, &figures, settings))
        .collect::<Result<Vec<_>, _>>()?;
    results.extend(files);
    progress.end();
    outputs.write(&results)?;
    Ok(made.said(&args.sheet.running, [said]))
}

/// A part of the packet with a bookmark of its own.
struct Part {
    /// As the report calls it.
    sheet: &'static str,
    /// As the bookmark names it.
    title: &'static str,
    pages: Vec<SheetPages>,
}

impl Part {
    fn count(&self) -> usize {
        self.pages.iter().map(SheetPages::count).sum()
    }
}

/// The sheets as they are made, one after the other.
struct Work<'a> {
    made: Made,
    job: &'a Job,
    parts: Vec<Part>,
    /// The bytes of each file that a sheet has to itself.
    files: Vec<Vec<u8>>,
    figures: Report,
}

impl Work<'_> {
    /// Makes one sheet, just as its own command does.
    fn add(&mut self, sheet: &Sheet) -> Result<(), Failure> {
        let (job, settings) = (self.job, &sheet.settings);
        let choices = &job.choices;
        let contents = || sheet.files.iter().map(Output::content);
        match sheet.which {
            PacketSheet::Underdrawing => {
                if choices.look == Look::UnderInk {
                    self.note(vec![UNDER_INK_CAUTION.into()]);
                }
                let stages = &self.made.stages;
                let pages = vec![draw::pages(stages, settings, job)];
                for content in contents() {
                    self.files.push(draw::result(content, stages, settings, job, None)?);
                }
                self.part("underdrawing", "Underdrawing", pages);
            }
            PacketSheet::Plan => {
                self.lay_again(settings)?;
                let mut notes = Vec::new();
                let plan = value_plan(&self.made.stages, settings, &choices.plan)
                    .map_err(|e| job.failure(&e))?
                    .take(&mut notes);
                self.note(notes);
                self.made.stages.shown.printing = plan.printing.clone();
                let stages = &self.made.stages;
                let mut pages = plan::pages(stages, &plan, settings, job);
                for content in contents() {
                    self.files.push(plan::result(content, stages, &plan, settings, job, None)?);
                }
                self.figures.plan = Some(plan.report());
                let keys = pages.split_off(1);
                self.part("plan", "Value plan", pages);
                self.part("key", "Key to the value plan", keys);
            }
            PacketSheet::Structure => {
                let stages = &self.made.stages;
                let made =
                    value_structure(stages, settings, &choices.structure).map_err(|e| job.failure(&e))?;
                for content in contents() {
                    self.files.push(structure::result(content, stages, &made, settings, job, None)?);
                }
                self.figures.structure = Some(made.figures.clone());
                self.part("structure", "Value structure", structure::pages(&made, settings));
            }
            PacketSheet::Squared => {
                self.lay_again(settings)?;
                let mut notes = Vec::new();
                let made = squared_sheet(&self.made.stages, settings, &choices.squared)
                    .map_err(|e| job.failure(&e))?
                    .take(&mut notes);
                self.note(notes);
                self.made.stages.shown.printing = made.printing.clone();
                let stages = &self.made.stages;
                let mut pages = squared::pages(stages, &made, settings);
                for content in contents() {
                    self.files.push(squared::result(content, stages, &made, settings, job, None)?);
                }
                self.figures.squared = Some(made.report());
                let enlarged = pages.split_off(1);
                self.part("squared", "Squared reference", pages);
                self.part("enlarged", "Squares enlarged", enlarged);
            }
            PacketSheet::Order => {
                let mut notes = Vec::new();
                let halves = choices.plan.options.halves;
                let stages = &self.made.stages;
                let made = order_sheet(stages, settings, &choices.order, halves)
                    .map_err(|e| job.failure(&e))?
                    .take(&mut notes);
                for content in contents() {
                    self.files.push(order::result(content, stages, &made, settings, job, None)?);
                }
                self.figures.order = Some(made.report());
                self.note(notes);
                self.part("order", "Working order", order::pages(&made, settings));
            }
        }
        Ok(())
    }

    /// Lays the sheet as this one has it.
    fn lay_again(&mut self, settings: &Settings) -> Result<(), Failure> {
        let notes = self.made.stages.lay_again(settings).map_err(|e| self.job.failure(&e))?;
        self.note(notes);
        Ok(())
    }

    /// Keeps remarks; what one sheet has said needs no other to say it again.
    fn note(&mut self, notes: Vec<String>) {
        for note in notes {
            if !self.made.notes.contains(&note) {
                self.made.notes.push(note);
            }
        }
    }

    fn part(&mut self, sheet: &'static str, title: &'static str, pages: Vec<SheetPages>) {
        if !pages.is_empty() {
            self.parts.push(Part { sheet, title, pages });
        }
    }
}

/// The bytes of one of the packet's own files.
fn result(
    content: Content,
    made: &Made,
    parts: &[Part],
    figures: &Report,
    settings: &Settings,
) -> Result<Vec<u8>, Failure> {
    let stages = &made.stages;
    Ok(match content {
        Content::Pdf => {
            let parts: Vec<PdfPart<'_>> = parts
                .iter()
                .map(|part| PdfPart {
                    title: part.title,
                    sheets: part.pages.iter().map(SheetPages::sheet).collect(),
                })
                .collect();
            output::pdf_parts(&format!("Packet, {}", settings.paper.name), &parts)
        }
        Content::ValueMap => output::value_map_png(&stages.traced.values, stages.tone.scale.breaks()),
        Content::Net => output::net_json(&stages.traced.net, &stages.thin, &stages.placement).into_bytes(),
        Content::Report => output::report_json(figures).into_bytes(),
        _ => return Err(Failure::other("a file that is no packet's is a fault of the program; report it")),
    })
}

/// One line at the end: which sheet is on which pages, and where everything went.
fn summary(packet: &PacketReport, outputs: &Outputs) -> String {
    let place = |part: &output::PacketPart| {
        let to = if part.to > part.from { format!("-{}", part.to) } else { String::new() };
        format!("{} {}{to}", part.sheet, part.from)
    };
    let places: Vec<String> = packet.sheets.iter().map(place).collect();
    let pages = if packet.pages == 1 { "1 page".into() } else { format!("{} pages", packet.pages) };
    format!("{pages}: {}; wrote {}", places.join(", "), outputs.names())
}
