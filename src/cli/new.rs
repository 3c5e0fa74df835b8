//! `merestone new`: a study file beside the picture.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use clap::Args;

use merestone::reference::{ReadOptions, read_file};
use merestone::study::file::{StudyFile, StudyFileError, new_study, path_from};

use super::files::{Input, Outputs, ending_of};
use super::job::{failure, study_failure};
use super::print::{Failure, say};
use super::study_args::StudyArgs;

/// Settings of `new`.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  merestone new picture.jpg
      study.toml beside the picture, with every setting as it usually is
  merestone new picture.jpg --paper a3 --values 4 -o crowd.toml
      the same with some settings chosen, under another name")]
pub(crate) struct NewArgs {
    /// The reference: a JPEG, PNG, TIFF, WebP, BMP or GIF picture
    #[arg(value_name = "REF")]
    pub(crate) reference: OsString,

    /// The study file to write [default: study.toml beside the reference]
    #[arg(short = 'o', long = "out", value_name = "FILE.toml")]
    pub(crate) out: Option<PathBuf>,

    /// Replace a study file that exists; the reference itself is never replaced
    #[arg(long)]
    pub(crate) overwrite: bool,

    /// Largest reference to open, in megapixels (millions of pixels): a guard against files made to fill memory
    #[arg(long, value_name = "MEGAPIXELS", default_value_t = 400, value_parser = clap::value_parser!(u32).range(1..=4000),
          allow_hyphen_values = true)]
    pub(crate) max_megapixels: u32,

    /// Say nothing on standard error unless something is wrong
    #[arg(long, short = 'q')]
    pub(crate) quiet: bool,

    /// What is chosen.
    #[command(flatten)]
    pub(crate) study: StudyArgs,
}

/// Writes a new study file: the picture is read, so that a file that is none is told at once.
pub(crate) fn run(args: &NewArgs) -> Result<(), Failure> {
    let Input::File(picture) = Input::new(&args.reference) else {
        return Err(Failure::wrong_use(
            "a study file names its picture, so the picture has to be a file; save it and name it",
        ));
    };
    let path = args.out.clone().unwrap_or_else(|| picture.with_file_name("study.toml"));
    if ending_of(&path) != "toml" {
        return Err(Failure::wrong_use(format!(
            "a study file ends in .toml, but {} does not; rename it",
            path.display()
        )));
    }
    let options = ReadOptions { max_megapixels: f64::from(args.max_megapixels) };
    if !picture.is_file() {
        // The reading says what is wrong with it, before anything is said of the file beside it.
        read_file(&picture, &options).map_err(|e| failure(&e.into()))?;
    }
    let outputs = Outputs::study(path.clone(), args.overwrite, &Input::File(picture.clone()))?;
    let mut study = new_study(&path, &picture, None).map_err(|e| study_failure(&e))?;
    choose(&mut study, args)?;
    let reference = read_file(&picture, &options).map_err(|e| failure(&e.into()))?.value;
    study.set("sha256", &[&reference.sha256]).map_err(|e| study_failure(&e))?;
    outputs.write(&[study.text().as_bytes().to_vec()])?;
    if !args.quiet {
        let name = path.display();
        say(&format!("wrote {name}; change it with any text editor, then: merestone draw {name}"));
    }
    Ok(())
}

/// Writes what was given as options into the file.
fn choose(study: &mut StudyFile, args: &NewArgs) -> Result<(), Failure> {
    let mask = match args.study.mask() {
        Some(mask) => {
            let folder = study.path().parent().unwrap_or(Path::new(""));
            let unwritable = || study_failure(&StudyFileError::Unwritable { path: mask.clone() });
            Some(path_from(mask, folder).ok_or_else(unwritable)?)
        }
        None => None,
    };
    let given: Vec<(&str, Vec<&str>)> = args
        .study
        .given()
        .map(|(key, values)| (key.name, values))
        .chain(mask.as_deref().map(|mask| ("zones", vec![mask])))
        .collect();
    let given: Vec<(&str, &[&str])> = given.iter().map(|(name, values)| (*name, &values[..])).collect();
    study.set_all(&given).map_err(|error| match error {
        // The file is not written yet, so its lines say nothing to anyone.
        StudyFileError::At { fault, .. } => Failure::wrong_use(fault.sentence()),
        other => study_failure(&other),
    })
}
