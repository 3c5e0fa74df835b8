//! What every command that makes sheets begins and ends with: settings checked, stages run, files written, all of it said.

use std::ffi::OsStr;
use std::time::Instant;

use merestone::reference::announced_pixels;
use merestone::study::{Settings, Stages, Step, most_working_pixels, run as run_study};

use super::args::RunningArgs;
use super::files::{Input, Outputs};
use super::job::Job;
use super::memory;
use super::page_args;
use super::print::Failure;
use super::progress::Progress;
use super::study_args::StudyArgs;
use super::zones::{read_mask, spare_mask};

/// A job whose settings are checked and whose reference is there.
pub(crate) struct Ready<'a> {
    /// The job.
    pub(crate) job: Job,
    /// Its settings, the mask of its zones read.
    pub(crate) settings: Settings,
    running: &'a RunningArgs,
    mask_notes: Vec<String>,
}

/// What came of a job, before its files are made.
pub(crate) struct Made {
    /// What the stages made.
    pub(crate) stages: Stages,
    /// Remarks to the artist.
    pub(crate) notes: Vec<String>,
    /// How long everything took in ms.
    pub(crate) timings_ms: Vec<(&'static str, f64)>,
}

/// Reads what was asked for and checks it; `settle` makes the settings of the command from the choices.
pub(crate) fn prepare<'a>(
    reference: &OsStr,
    study: &StudyArgs,
    running: &'a RunningArgs,
    settle: impl FnOnce(&Job) -> Result<Settings, Failure>,
) -> Result<Ready<'a>, Failure> {
    let job = Job::new(reference, study)?;
    let mut settings = settle(&job)?;
    let mask_notes = read_mask(&job.choices, running.max_megapixels, &mut settings.zones)?;
    settings.check().and_then(|()| settings.by_hand.check_files()).map_err(|e| job.failure(&e))?;
    page_args::check(&settings.page)?;
    job.check_input(running.max_megapixels)?;
    Ok(Ready { job, settings, running, mask_notes })
}

impl Ready<'_> {
    /// Refuses results that would replace anything that is read.
    pub(crate) fn spare_what_is_read(&self, outputs: &Outputs) -> Result<(), Failure> {
        spare_mask(&self.job.choices, outputs)?;
        self.job.spare_study(outputs)
    }

    /// Memory in bytes that the work takes at most, as far as it can be told from the sizes of reference and paper.
    pub(crate) fn bytes(&self) -> u64 {
        let pixels = match &self.job.input {
            Input::File(path) => announced_pixels(path).map_or(0.0, |[w, h]| f64::from(w) * f64::from(h)),
            Input::Piped => 0.0,
        };
        memory::needed(pixels, most_working_pixels(&self.settings, pixels))
    }

    /// Reads the reference and runs all stages.
    pub(crate) fn make(&self, progress: &Progress) -> Result<Made, Failure> {
        progress.begin("reading the reference");
        let mut timings_ms = Vec::new();
        let since = Instant::now();
        let (reference, mut notes) = self.job.read(self.running.max_megapixels)?;
        notes.extend(self.mask_notes.iter().cloned());
        timings_ms.push(("reading", since.elapsed().as_secs_f64() * 1e3));
        let stages = run_study(reference, &self.settings, &|step| progress.begin(step.doing()))
            .map_err(|e| self.job.failure(&e))?
            .take(&mut notes);
        timings_ms.extend(stages.timings_ms.iter().map(|&(step, ms)| (step.name(), ms)));
        Ok(Made { stages, notes, timings_ms })
    }
}

/// A bar of all steps of a job: reading, the stages, the files.
pub(crate) fn progress(hidden: bool) -> Progress {
    Progress::new(hidden, Step::ALL.len() as u64 + 2)
}

impl Made {
    /// The times, when they were asked for.
    pub(crate) fn timings(&self, running: &RunningArgs) -> Option<&[(&'static str, f64)]> {
        running.timings.then_some(&self.timings_ms[..])
    }

    /// What is said when all is done, line by line: remarks, times, and what the command itself has to say.
    pub(crate) fn said(&self, running: &RunningArgs, own: impl IntoIterator<Item = String>) -> Vec<String> {
        let mut lines: Vec<String> = self.notes.iter().map(|note| format!("note: {note}")).collect();
        if let Some(list) = self.timings(running) {
            let parts: Vec<String> = list.iter().map(|(name, ms)| format!("{name} {ms:.0} ms")).collect();
            lines.push(format!("timings: {}", parts.join(", ")));
        }
        lines.extend(own);
        lines
    }
}
