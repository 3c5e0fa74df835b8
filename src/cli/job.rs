//! What a command works on: a reference, by itself or by way of a study file, and what was chosen for it.

use std::ffi::OsStr;
use std::fs;
use std::path::Path;

use merestone::guides::Guide;
use merestone::reference::{ReadOptions, Reference, ReferenceError, read_bytes, read_file};
use merestone::study::file::{StudyFile, StudyFileError};
use merestone::study::{Choices, Settings, StudyError};

use super::files::{Input, Outputs, ending_of, read_piped};
use super::print::Failure;
use super::study_args::StudyArgs;

/// One reference with everything that was chosen for it.
pub(crate) struct Job {
    /// The choices: what is usual, the study file over it, the options over that.
    pub(crate) choices: Choices,
    /// Where the reference comes from.
    pub(crate) input: Input,
    study: Option<StudyFile>,
}

impl Job {
    /// Reads the study file, when one is named, and puts the options over it.
    pub(crate) fn new(named: &OsStr, args: &StudyArgs) -> Result<Self, Failure> {
        let mut job = match Input::new(named) {
            Input::File(path) if ending_of(&path) == "toml" => {
                let study = StudyFile::load(&path).map_err(|e| study_failure(&e))?;
                let input = Input::File(study.reference().into());
                Self { choices: study.choices().clone(), input, study: Some(study) }
            }
            input => Self { choices: Choices::default(), input, study: None },
        };
        args.apply(&mut job.choices)?;
        Ok(job)
    }

    /// The settings, checked, with the zones' mask still to be read.
    pub(crate) fn settings(&self, plotter: bool) -> Result<Settings, Failure> {
        let name = match &self.input {
            Input::Piped => String::new(),
            Input::File(path) => path.file_name().unwrap_or_default().to_string_lossy().into_owned(),
        };
        self.choices.settings(&name, plotter).map_err(|e| self.failure(&e))
    }

    /// The file by whose name and folder results go that are not named: the one that was named itself.
    pub(crate) fn named(&self) -> Option<&Path> {
        match (&self.study, &self.input) {
            (Some(study), _) => Some(study.path()),
            (None, Input::File(path)) => Some(path),
            (None, Input::Piped) => None,
        }
    }

    /// Refuses a reference that is not there, before anything is said of results.
    pub(crate) fn check_input(&self, max_megapixels: u32) -> Result<(), Failure> {
        let Input::File(path) = &self.input else { return Ok(()) };
        if fs::metadata(path).is_ok_and(|found| !found.is_dir()) {
            return Ok(());
        }
        if let Some(study) = &self.study {
            let line = study.place_of("file").map_or(1, |place| place.line);
            return Err(Failure::other(format!(
                "{}, line {line}: the picture {} is not there; correct its path, which leads from the study file's folder",
                study.path().display(),
                path.display()
            )));
        }
        // The reading says what is wrong with it.
        self.read(max_megapixels).map(drop)
    }

    /// Refuses results that would replace the study file, or the lines that it names.
    pub(crate) fn spare_study(&self, outputs: &Outputs) -> Result<(), Failure> {
        for guide in &self.choices.by_hand.guides {
            if let Guide::File(path) = &guide.what {
                outputs.spare(path, "a file of guide lines")?;
            }
        }
        self.study.as_ref().map_or(Ok(()), |study| outputs.spare(study.path(), "the study file"))
    }

    /// A study's fault, with the place of the study file that it is about.
    pub(crate) fn failure(&self, error: &StudyError) -> Failure {
        let (Some(study), StudyError::Entry { place: Some(place), .. }) = (&self.study, error) else {
            return failure(error);
        };
        let (path, line, column) = (study.path().display(), place.line, place.column);
        let said = format!("{path}, line {line}, column {column}: {error}");
        if error.wrong_use() { Failure::wrong_use(said) } else { Failure::other(said) }
    }

    /// Reads the reference.
    pub(crate) fn read(&self, max_megapixels: u32) -> Result<(Reference, Vec<String>), Failure> {
        let options = ReadOptions { max_megapixels: f64::from(max_megapixels) };
        let read = match &self.input {
            Input::File(path) => read_file(path, &options),
            Input::Piped => read_bytes(&read_piped()?, &self.input.name(), &options),
        };
        let mut notes = Vec::new();
        let reference = read.map_err(|e: ReferenceError| failure(&e.into()))?.take(&mut notes);
        notes.extend(self.changed(&reference.sha256).map(|_| {
            let study = self.study.as_ref().map_or(Path::new(""), |study| study.path());
            format!(
                "The picture {} has changed since {} was written (its SHA-256 is another), so this is not the drawing \
                 that it was.",
                self.input.name(),
                study.display()
            )
        }));
        Ok((reference, notes))
    }

    /// The SHA-256 that the study file has, when the reference's is another.
    pub(crate) fn changed(&self, sha256: &str) -> Option<&str> {
        self.choices.sha256.as_deref().filter(|&known| known != sha256)
    }
}

/// Whose fault it is decides on the exit code.
pub(crate) fn failure(error: &StudyError) -> Failure {
    if error.wrong_use() { Failure::wrong_use(error) } else { Failure::other(error) }
}

/// The same for a study file.
pub(crate) fn study_failure(error: &StudyFileError) -> Failure {
    if error.wrong_use() { Failure::wrong_use(error) } else { Failure::other(error) }
}
