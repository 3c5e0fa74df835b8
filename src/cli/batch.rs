//! Several references at once: what they are, their files, how many run together, and what is said of each in its turn.

use std::any::Any;
use std::collections::{BTreeMap, HashSet};
use std::ffi::OsStr;
use std::fs;
use std::num::NonZero;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;

use clap::{Args, ValueEnum};

use merestone::output::file_among;

use super::args::{FileArgs, RunningArgs};
use super::files::{Output, Outputs, ending_of};
use super::memory::{self, Bytes};
use super::print::{Failure, plain, say};
use super::progress::Progress;

/// Endings of the pictures of a folder that are taken.
const PICTURES: [&str; 9] = ["jpg", "jpeg", "png", "tif", "tiff", "webp", "bmp", "gif", "jpe"];

/// Several references.
#[derive(Clone, Debug, Default, Args)]
#[command(next_help_heading = "Several references")]
pub(crate) struct SeveralArgs {
    /// Write into this folder, which has to be there, under each reference's own name; needed for several references, and
    /// for a folder of them
    #[arg(long, value_name = "FOLDER", conflicts_with = "out")]
    pub(crate) into: Option<PathBuf>,

    /// What is written of each reference, with commas between [default: what is written without -o]
    #[arg(long, value_name = "FORM,FORM", value_enum, value_delimiter = ',', requires = "into")]
    pub(crate) forms: Vec<FormOf>,

    /// How many references are worked on at once, 1 to 64 [default: one for each processor, or for each of --threads, as memory allows]
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u16).range(1..=64), requires = "into", allow_hyphen_values = true)]
    pub(crate) at_once: Option<u16>,

    /// Memory that all references worked on at once may take together, in MB, GB, MiB or GiB [default: half of what is free]
    #[arg(long, value_name = "MEMORY", requires = "into")]
    pub(crate) memory: Option<Bytes>,
}

/// What is written of each reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum FormOf {
    /// The sheet as SVG
    Svg,
    /// The sheet as PDF
    Pdf,
    /// The sheet as a picture
    Png,
    /// The figures, as JSON
    Report,
    /// The value of every pixel, as PNG
    ValueMap,
    /// The boundary net, as JSON
    Net,
}

/// What was checked of one reference before any work.
pub(crate) struct Checked {
    /// Where its results go.
    pub(crate) files: Vec<PathBuf>,
    /// Memory that its work takes at most, as far as that can be told before.
    pub(crate) bytes: u64,
}

impl Checked {
    /// Of these outputs.
    pub(crate) fn new(outputs: &Outputs, bytes: u64) -> Self {
        let file = |output: &Output| match output {
            Output::Piped(_) => None,
            Output::File(_, path) => Some(path.clone()),
        };
        Self { files: outputs.list().iter().filter_map(file).collect(), bytes }
    }
}

/// A command that makes sheets of references.
pub(crate) trait SheetCommand: Sync + Sized {
    /// What its files are called after the reference's name.
    const ENDS: &'static str;

    /// The references.
    fn references(&self) -> &[std::ffi::OsString];
    /// Its files.
    fn files(&self) -> &FileArgs;
    /// How the program runs.
    fn running(&self) -> &RunningArgs;
    /// An option that was given and names a single file.
    fn names_a_file(&self) -> Option<&'static str>;
    /// The same for one reference, with other files.
    fn one(&self, reference: &Path, files: FileArgs) -> Self;
    /// Checks everything that can be checked before work.
    fn check(&self) -> Result<Checked, Failure>;
    /// Makes the sheets of its one reference; what there is to say comes back.
    fn run(&self, hidden: bool) -> Result<Vec<String>, Failure>;
}

/// Makes a command of the arguments of a sheet: with the field `sheet`, and the functions `before` and `run`
/// beside them.
macro_rules! sheet_command {
    ($args:ty, $ends:literal) => {
        impl $crate::cli::batch::SheetCommand for $args {
            const ENDS: &'static str = $ends;

            fn references(&self) -> &[std::ffi::OsString] {
                &self.sheet.references
            }

            fn files(&self) -> &$crate::cli::args::FileArgs {
                &self.sheet.files
            }

            fn running(&self) -> &$crate::cli::args::RunningArgs {
                &self.sheet.running
            }

            fn names_a_file(&self) -> Option<&'static str> {
                self.sheet.files.names_a_file()
            }

            fn one(&self, reference: &std::path::Path, files: $crate::cli::args::FileArgs) -> Self {
                Self {
                    sheet: $crate::cli::args::SheetArgs {
                        references: vec![reference.into()],
                        files,
                        ..self.sheet.clone()
                    },
                }
            }

            fn check(&self) -> Result<$crate::cli::batch::Checked, Failure> {
                let before = before(self)?;
                Ok($crate::cli::batch::Checked::new(&before.outputs, before.ready.bytes()))
            }

            fn run(&self, hidden: bool) -> Result<Vec<String>, Failure> {
                run(self, hidden)
            }
        }
    };
}

pub(super) use sheet_command;

/// Runs a command on one reference, or on all of them into a folder.
pub(crate) fn run<C: SheetCommand>(command: &C) -> Result<(), Failure> {
    let quiet = command.running().quiet;
    match (&command.files().several.into, command.references()) {
        (Some(into), _) => several(command, into),
        (None, [_]) => {
            let lines = command.run(quiet)?;
            if !quiet {
                lines.iter().for_each(|line| say(line));
            }
            Ok(())
        }
        (None, list) => Err(Failure::wrong_use(format!(
            "{} are several references ({} too), and each needs files of its own; add --into with a folder to write into",
            list.len(),
            Path::new(&list[list.len() - 1]).display()
        ))),
    }
}

/// One of several references.
struct Job<C> {
    reference: PathBuf,
    command: C,
}

/// All references into one folder.
fn several<C: SheetCommand>(command: &C, into: &Path) -> Result<(), Failure> {
    if let Some(option) = command.names_a_file() {
        return Err(Failure::wrong_use(format!(
            "--{option} names a single file, and with --into each reference has its own; leave it out (--forms says what is \
             written of each)"
        )));
    }
    if let Some(file) = file_among(into) {
        return Err(Failure::other(format!(
            "cannot write into {}: {} is a file and no folder; name a folder",
            into.display(),
            file.display()
        )));
    }
    if !into.is_dir() {
        return Err(Failure::other(format!(
            "cannot write into {}: there is no such folder; make it first, or name another",
            into.display()
        )));
    }
    Outputs::probe(into)?;
    let jobs: Vec<Job<C>> = references(command.references())?
        .into_iter()
        .map(|reference| {
            let files = files_of(command.files(), &reference, into, C::ENDS);
            Job { command: command.one(&reference, files), reference }
        })
        .collect();
    let checked = check(&jobs)?;
    let failed = work(&jobs, &checked, command.running(), &command.files().several);
    match (&failed[..], jobs.len()) {
        ([], _) => Ok(()),
        (failed, all) => Err(Failure::other(format!(
            "{} of {all} references failed: {}; the others are done",
            failed.len(),
            failed.iter().map(|&k| jobs[k].reference.display().to_string()).collect::<Vec<_>>().join(", ")
        ))),
    }
}

/// The references that are meant, a folder's pictures in the order of their names.
fn references(named: &[std::ffi::OsString]) -> Result<Vec<PathBuf>, Failure> {
    let mut list = Vec::new();
    for name in named {
        let path = Path::new(name);
        if name == "-" {
            return Err(Failure::wrong_use(
                "a reference on standard input has no name to go by in a folder; save it and name it",
            ));
        }
        if !path.is_dir() {
            list.push(path.to_owned());
            continue;
        }
        let unread = |e: std::io::Error| {
            Failure::other(format!(
                "the folder {} cannot be read: {}; change its permissions, or name its pictures",
                path.display(),
                plain(&e)
            ))
        };
        let mut pictures = Vec::new();
        for entry in fs::read_dir(path).map_err(unread)? {
            let found = entry.map_err(unread)?.path();
            let hidden = found.file_name().is_some_and(|name| name.to_string_lossy().starts_with('.'));
            if !hidden && PICTURES.contains(&ending_of(&found).as_str()) && found.is_file() {
                pictures.push(found);
            }
        }
        if pictures.is_empty() {
            return Err(Failure::wrong_use(format!(
                "the folder {} holds no picture (JPEG, PNG, TIFF, WebP, BMP or GIF, by its ending); name another",
                path.display()
            )));
        }
        pictures.sort();
        list.extend(pictures);
    }
    Ok(list)
}

/// The files of one reference.
fn files_of(all: &FileArgs, reference: &Path, into: &Path, ends: &str) -> FileArgs {
    let mut files = all.clone();
    let named = |what: &str, ending: &str| {
        let mut name = reference.file_stem().unwrap_or_default().to_owned();
        name.push(what);
        name.push(ending);
        into.join(name)
    };
    for form in &all.several.forms {
        match form {
            FormOf::Svg => files.out.push(named(ends, ".svg").into()),
            FormOf::Pdf => files.out.push(named(ends, ".pdf").into()),
            FormOf::Png => files.out.push(named(ends, ".png").into()),
            FormOf::Report => files.report = Some(named(ends, ".json")),
            FormOf::ValueMap => files.value_map = Some(named("-values", ".png")),
            FormOf::Net => files.net = Some(named("-net", ".json")),
        }
    }
    files
}

/// Checks all references before any work: what is wrong use stops everything, anything else is that reference's own failure.
fn check<C: SheetCommand>(jobs: &[Job<C>]) -> Result<Vec<Result<Checked, Failure>>, Failure> {
    let mut checked = Vec::new();
    let mut owners: BTreeMap<String, usize> = BTreeMap::new();
    for (k, job) in jobs.iter().enumerate() {
        let one = match job.command.check() {
            Err(Failure::WrongUse(sentence)) => return Err(Failure::WrongUse(sentence)),
            other => other,
        };
        for path in one.iter().flat_map(|c| &c.files) {
            // Some disks take large and small letters for the same.
            let name = path.to_string_lossy().to_lowercase();
            if let Some(other) = owners.insert(name, k).filter(|&other| other != k) {
                return Err(Failure::wrong_use(format!(
                    "{} and {} would both write {}; rename one of them, or give it a run of its own",
                    jobs[other].reference.display(),
                    job.reference.display(),
                    path.display()
                )));
            }
        }
        checked.push(one);
    }
    // No result replaces what another reference is read from.
    let read: HashSet<PathBuf> =
        jobs.iter().filter_map(|job| fs::canonicalize(&job.reference).ok()).collect();
    for path in checked.iter().flatten().flat_map(|c| &c.files) {
        if fs::canonicalize(path).is_ok_and(|place| read.contains(&place)) {
            return Err(Failure::wrong_use(format!(
                "{} is one of the references; write into another folder",
                path.display()
            )));
        }
    }
    Ok(checked)
}

/// What is shared by those who work.
struct Shared<'a> {
    /// The next reference that nobody has taken.
    next: usize,
    /// Memory that is left, in bytes.
    free: u64,
    /// What came of each, until it is said.
    came: BTreeMap<usize, Result<Vec<String>, Failure>>,
    /// How many have been spoken of.
    told: usize,
    /// Those that failed.
    failed: Vec<usize>,
    progress: &'a Progress,
}

/// Works on all references and gives those that failed; what is said of each stands together, in the order of the references.
fn work<C: SheetCommand>(
    jobs: &[Job<C>],
    checked: &[Result<Checked, Failure>],
    running: &RunningArgs,
    several: &SeveralArgs,
) -> Vec<usize> {
    let memory = several.memory.map_or_else(memory::usual, |Bytes(bytes)| bytes);
    let processors = thread::available_parallelism().map_or(1, NonZero::get);
    let most = several.at_once.or(running.threads).map_or(processors, usize::from).clamp(1, jobs.len());
    let progress = Progress::new(running.quiet, jobs.len() as u64);
    progress.counting("references");
    let shared = Mutex::new(Shared {
        next: 0,
        free: memory,
        came: BTreeMap::new(),
        told: 0,
        failed: Vec::new(),
        progress: &progress,
    });
    let freed = Condvar::new();
    thread::scope(|scope| {
        for _ in 0..most {
            scope.spawn(|| {
                while let Some((k, taken)) = take(&shared, &freed, checked, memory) {
                    let came = match &checked[k] {
                        Err(failure) => Err(failure.again()),
                        Ok(_) => guarded(&jobs[k].command),
                    };
                    let mut shared = lock(&shared);
                    shared.free += taken;
                    shared.came.insert(k, came);
                    shared.tell(jobs, running.quiet);
                    drop(shared);
                    freed.notify_all();
                }
            });
        }
    });
    progress.end();
    lock(&shared).failed.clone()
}

fn lock<'a, T>(mutex: &'a Mutex<T>) -> MutexGuard<'a, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Takes the next reference as soon as there is memory for it, in order; one that needs more than all runs alone.
fn take(
    shared: &Mutex<Shared<'_>>,
    freed: &Condvar,
    checked: &[Result<Checked, Failure>],
    memory: u64,
) -> Option<(usize, u64)> {
    let mut shared = lock(shared);
    loop {
        let k = shared.next;
        let needs = checked.get(k)?.as_ref().map_or(0, |c| c.bytes.min(memory));
        if needs <= shared.free {
            shared.next += 1;
            shared.free -= needs;
            return Some((k, needs));
        }
        shared = freed.wait(shared).unwrap_or_else(PoisonError::into_inner);
    }
}

/// Runs one; a fault of the program is that reference's failure.
fn guarded<C: SheetCommand>(command: &C) -> Result<Vec<String>, Failure> {
    catch_unwind(AssertUnwindSafe(|| command.run(true))).unwrap_or_else(|fault| {
        Err(Failure::other(format!(
            "a fault of the program itself, please report it with the reference: {}",
            said_by(fault.as_ref())
        )))
    })
}

/// What a panic says.
fn said_by(fault: &(dyn Any + Send)) -> &str {
    let text = fault.downcast_ref::<String>().map(String::as_str);
    text.or_else(|| fault.downcast_ref::<&str>().copied()).unwrap_or("it does not say what")
}

impl Shared<'_> {
    /// Says what there is to say of all references whose turn it is.
    fn tell<C>(&mut self, jobs: &[Job<C>], quiet: bool) {
        self.progress.begin("references");
        while let Some(came) = self.came.remove(&self.told) {
            let name = jobs[self.told].reference.display();
            match came {
                Ok(lines) if quiet => drop(lines),
                Ok(lines) => {
                    self.progress.above(|| lines.iter().for_each(|line| say(&format!("{name}: {line}"))));
                }
                Err(failure) => {
                    self.progress.above(|| failure.tell_of(&name.to_string()));
                    self.failed.push(self.told);
                }
            }
            self.told += 1;
        }
    }
}

/// The one reference of a command that is run on one.
pub(crate) fn first(references: &[std::ffi::OsString]) -> &OsStr {
    references.first().map_or(OsStr::new(""), |name| name.as_os_str())
}
