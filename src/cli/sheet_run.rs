//! What the commands have in common that make pages of their own beside the drawing: options that they do not have, the
//! study run, pages as files.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::time::Instant;

use clap::Arg;

use merestone::output::LineWeight;
use merestone::strokes::SoftLines;
use merestone::study::file::find;
use merestone::study::{Settings, Stages, Step, run as run_study};

use super::args::{FileArgs, RunningArgs};
use super::files::{Content, Input, Output, Outputs, ending_of};
use super::job::Job;
use super::page_args;
use super::print::{Failure, say};
use super::progress::Progress;
use super::study_args::StudyArgs;
use super::zones::{read_mask, spare_mask};

/// Settings of a study that a command passes over.
pub(super) struct Without {
    /// What the command makes, in words.
    pub(super) sheet: &'static str,
    /// Headings of study files that are about other sheets.
    pub(super) tables: &'static [&'static str],
    /// Single settings.
    pub(super) keys: &'static [&'static str],
    /// Settings under those headings that it has after all.
    pub(super) kept: &'static [&'static str],
}

impl Without {
    fn has_not(&self, name: &str) -> bool {
        let of_other = find(name).is_some_and(|(table, _)| self.tables.contains(&table.name));
        (of_other || self.keys.contains(&name)) && !self.kept.contains(&name)
    }

    /// Keeps them out of the help.
    pub(super) fn hide(&self, arg: Arg) -> Arg {
        if self.has_not(arg.get_id().as_str()) { arg.hide(true) } else { arg }
    }

    /// Refuses them where they are given as options; what a study file says for other sheets is passed over.
    pub(super) fn check(&self, study: &StudyArgs) -> Result<(), Failure> {
        match study.given().find(|(key, _)| self.has_not(key.name)) {
            None => Ok(()),
            Some((key, _)) => Err(Failure::wrong_use(format!(
                "--{} is about another sheet, and changes nothing on {}; leave it out",
                key.name, self.sheet
            ))),
        }
    }
}

/// Refuses options that are about the working order or the squared reference, where neither is made.
pub(super) fn refuse_of_sheets(study: &StudyArgs) -> Result<(), Failure> {
    for (table, sheet) in [("order", "working order"), ("squared", "squared reference")] {
        if let Some(name) = study.of_table(table) {
            return Err(Failure::wrong_use(format!(
                "--{name} is about the {sheet}; run 'merestone {table}' for it, or leave it out"
            )));
        }
    }
    Ok(())
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
    Ok(settings)
}

/// What is to be written, checked before any work; without names a PDF beside the reference, or the study file, with
/// `what` added to its name.
pub(super) fn outputs(files: &FileArgs, job: &Job, what: &str) -> Result<Outputs, Failure> {
    let mut files = files.clone();
    if let (Some(named), true) = (job.named(), files.out.is_empty()) {
        files.out.push(with_name(named, what, ".pdf"));
    }
    let outputs = Outputs::new(&files, &job.input, job.named(), false, &[])?;
    if !files.overwrite {
        // Only the work shows how many pages there are; of several, the first shall not be in the way either.
        for output in outputs.list() {
            if let Output::File(Content::Svg | Content::Png, path) = output {
                let first = numbered(path, 0);
                if first.exists() {
                    return Err(Failure::wrong_use(format!(
                        "{} exists already; add --overwrite to replace it, or give another name",
                        first.display()
                    )));
                }
            }
        }
    }
    Ok(outputs)
}

/// Puts a file for each page in place of an SVG or a picture, where there are several pages.
pub(super) fn divide(outputs: &mut Outputs, pages: usize, input: &Input) -> Result<(), Failure> {
    if pages < 2 {
        return Ok(());
    }
    let mut list = Vec::new();
    for output in std::mem::take(&mut outputs.list) {
        let page: fn(usize) -> Content = match output.content() {
            Content::Svg => Content::PageSvg,
            Content::Png => Content::PagePng,
            _ => {
                list.push(output);
                continue;
            }
        };
        match output {
            Output::File(_, path) => {
                list.extend((0..pages).map(|k| Output::File(page(k), numbered(&path, k))));
            }
            Output::Piped(_) => {
                return Err(Failure::wrong_use(format!(
                    "there are {pages} pages, but one standard output; add --format pdf, which holds them all, or give a \
                     file name instead of -o -"
                )));
            }
        }
    }
    outputs.list = list;
    outputs.check(input)
}

/// The name of a page's file: its number before the ending.
fn numbered(path: &Path, page: usize) -> PathBuf {
    path.with_file_name(with_name(path, &format!("-{}", page + 1), &format!(".{}", ending_of(path))))
}

/// The name of a file beside another.
fn with_name(path: &Path, what: &str, ending: &str) -> OsString {
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(what);
    name.push(ending);
    path.with_file_name(name).into()
}

/// A study that has been run for a sheet beside the drawing.
pub(super) struct Ran {
    /// What the stages made.
    pub(super) stages: Stages,
    /// What there is to say.
    pub(super) notes: Vec<String>,
    /// How long each step took, in ms.
    pub(super) timings_ms: Vec<(&'static str, f64)>,
    /// What shows how far the work is.
    pub(super) progress: Progress,
}

/// Checks everything that can be checked, and gives the notes of the zones' mask and what is to be written.
pub(super) fn checked(
    job: &Job,
    settings: &mut Settings,
    running: &RunningArgs,
    make: impl FnOnce() -> Result<Outputs, Failure>,
) -> Result<(Outputs, Vec<String>), Failure> {
    let choices = &job.choices;
    let max_megapixels = running.max_megapixels;
    let mask_notes = read_mask(choices, max_megapixels, &mut settings.zones)?;
    settings.check().and_then(|()| settings.by_hand.check_files()).map_err(|e| job.failure(&e))?;
    page_args::check(&settings.page)?;
    job.check_input(max_megapixels)?;
    let outputs = make()?;
    spare_mask(choices, &outputs)?;
    job.spare_study(&outputs)?;
    Ok((outputs, mask_notes))
}

/// Reads the reference and runs the stages.
pub(super) fn run(
    job: &Job,
    settings: &Settings,
    running: &RunningArgs,
    mask_notes: Vec<String>,
) -> Result<Ran, Failure> {
    super::draw::set_threads(running)?;
    let progress = Progress::new(running.quiet, Step::ALL.len() as u64 + 2);
    progress.begin("reading the reference");
    let since = Instant::now();
    let (reference, mut notes) = job.read(running.max_megapixels)?;
    notes.extend(mask_notes);
    let mut timings_ms = vec![("reading", since.elapsed().as_secs_f64() * 1e3)];
    let made =
        run_study(reference, settings, &|step| progress.begin(step.doing())).map_err(|e| job.failure(&e))?;
    let stages = made.take(&mut notes);
    timings_ms.extend(stages.timings_ms.iter().map(|&(step, ms)| (step.name(), ms)));
    Ok(Ran { stages, notes, timings_ms, progress })
}

/// Says notes, times and a last line, unless nothing is to be said.
pub(super) fn tell(
    running: &RunningArgs,
    notes: &[String],
    timings_ms: &[(&'static str, f64)],
    summary: &str,
) {
    if running.quiet {
        return;
    }
    notes.iter().for_each(|note| say(&format!("note: {note}")));
    if running.timings {
        let parts: Vec<String> = timings_ms.iter().map(|(name, ms)| format!("{name} {ms:.0} ms")).collect();
        say(&format!("timings: {}", parts.join(", ")));
    }
    say(summary);
}
