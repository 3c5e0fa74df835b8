//! Input and outputs: `-`, what may be written where, and all files written together or not at all.

use std::ffi::{OsStr, OsString};
use std::fs;
use std::io::{self, IsTerminal, Read};
use std::path::{Path, PathBuf};

use merestone::output::{OutputError, StagedFile, file_among};
use merestone::sheet::Layer;

use super::args::{FileArgs, FormatArg};
use super::job::Job;
use super::print::{Failure, hand_over, plain};

/// Most bytes taken from standard input: past any picture of the largest pixel limit that people keep.
const MOST_PIPED_BYTES: u64 = 1 << 30;

/// Where the reference comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Input {
    /// Standard input.
    Piped,
    /// A file.
    File(PathBuf),
}

impl Input {
    /// `-` is standard input, everything else a path.
    pub(crate) fn new(text: &OsStr) -> Self {
        if text == "-" { Self::Piped } else { Self::File(text.into()) }
    }

    /// What to call it in a sentence.
    pub(crate) fn name(&self) -> String {
        match self {
            Self::Piped => "standard input".into(),
            Self::File(path) => path.display().to_string(),
        }
    }
}

/// Reads all of standard input.
pub(crate) fn read_piped() -> Result<Vec<u8>, Failure> {
    let input = io::stdin().lock();
    if input.is_terminal() {
        return Err(Failure::wrong_use(
            "nothing is piped into standard input; write '< picture.png' or name a file",
        ));
    }
    let mut bytes = Vec::new();
    input.take(MOST_PIPED_BYTES + 1).read_to_end(&mut bytes).map_err(|e| {
        Failure::other(format!("cannot read standard input: {}; name a file instead", plain(&e)))
    })?;
    if bytes.len() as u64 > MOST_PIPED_BYTES {
        return Err(Failure::other(
            "standard input holds more than 1 GiB, which no reference needs; make it smaller",
        ));
    }
    Ok(bytes)
}

/// What a file holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Content {
    /// A study file.
    Study,
    /// The sheet as SVG.
    Svg,
    /// One layer of it.
    SvgLayer(Layer),
    /// The sheet as PDF.
    Pdf,
    /// The sheet as a picture.
    Png,
    /// The figures.
    Report,
    /// The value of every pixel.
    ValueMap,
    /// The boundary net.
    Net,
    /// All that a plotter draws.
    Plotter,
    /// One part of that, by its number.
    PlotterPart(usize),
    /// The order in which a plotter draws, as SVG.
    OrderSvg,
    /// The same as a picture.
    OrderPng,
    /// The key of a plan as SVG.
    KeySvg,
    /// The same as a picture.
    KeyPng,
    /// One page of several as SVG, by its number.
    PageSvg(usize),
    /// The same as a picture.
    PagePng(usize),
    /// The reference before and after.
    BeforeAfter,
}

/// Where a result goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Output {
    /// Standard output.
    Piped(Content),
    /// A file.
    File(Content, PathBuf),
}

impl Output {
    /// What it holds.
    pub(crate) fn content(&self) -> Content {
        match self {
            Self::Piped(content) | Self::File(content, _) => *content,
        }
    }
}

/// Everything that is to be written, checked before any work.
#[derive(Debug)]
pub(crate) struct Outputs {
    pub(super) list: Vec<Output>,
    pub(super) overwrite: bool,
}

impl Outputs {
    /// Reads what is to be written from the options, and checks every file.
    ///
    /// An SVG is a file for each of the layers `apart`, when there are any.
    ///
    /// Checked here: endings, folders, files that exist, the same file named twice, the reference named as an output.
    ///
    /// Results without a name go by the one of `named`.
    pub(crate) fn new(
        args: &FileArgs,
        input: &Input,
        named: Option<&Path>,
        tiled: bool,
        apart: &[Layer],
    ) -> Result<Self, Failure> {
        let list = taken_apart(collect(args, named, tiled)?, apart)?;
        let outputs = Self { list, overwrite: args.overwrite };
        outputs.check(input)?;
        Ok(outputs)
    }

    /// What is to be written of a sheet beside the drawing, checked; without names a PDF with `what` added to the name that
    /// results go by.
    pub(crate) fn of_sheet(files: &FileArgs, job: &Job, what: &str) -> Result<Self, Failure> {
        let mut files = files.clone();
        let named = files.named(job.named());
        if let (Some(named), true) = (&named, files.unnamed()) {
            files.out.push(beside(named, what, ".pdf"));
        }
        Self::new(&files, &job.input, named.as_deref(), false, &[])
    }

    /// A study file for a reference, checked.
    pub(crate) fn study(path: PathBuf, overwrite: bool, reference: &Input) -> Result<Self, Failure> {
        let outputs = Self { list: vec![Output::File(Content::Study, path)], overwrite };
        outputs.check(reference)?;
        Ok(outputs)
    }

    /// Refuses a folder into which nothing can be written.
    pub(crate) fn probe(folder: &Path) -> Result<(), Failure> {
        let path = folder.join(".merestone-probe");
        StagedFile::new(&path, b"", true).map(drop).map_err(|e| match e {
            OutputError::NotPermitted(_) => Failure::other(OutputError::NotPermitted(folder.into())),
            other => Failure::other(other),
        })
    }

    /// The outputs in the order in which they were asked for.
    pub(crate) fn list(&self) -> &[Output] {
        &self.list
    }

    /// Where they go, in words.
    pub(crate) fn names(&self) -> String {
        let name = |output: &Output| match output {
            Output::Piped(_) => "standard output".into(),
            Output::File(_, path) => path.display().to_string(),
        };
        self.list.iter().map(name).collect::<Vec<_>>().join(", ")
    }

    /// Refuses an output that would replace another file that is read, `what` in words.
    pub(crate) fn spare(&self, path: &Path, what: &str) -> Result<(), Failure> {
        let Some(kept) = Place::of_existing(path) else { return Ok(()) };
        for output in &self.list {
            if let Output::File(_, path) = output
                && kept.same(&Place::of(path)?)
            {
                return Err(Failure::wrong_use(format!(
                    "{} is {what}; give the output another name",
                    path.display()
                )));
            }
        }
        Ok(())
    }

    pub(super) fn check(&self, input: &Input) -> Result<(), Failure> {
        let mut seen: Vec<Place> = Vec::new();
        let reference = match input {
            Input::File(path) => Place::of_existing(path),
            Input::Piped => None,
        };
        for output in &self.list {
            let Output::File(_, path) = output else { continue };
            let name = path.display();
            let place = Place::of(path)?;
            if reference.as_ref().is_some_and(|r| r.same(&place)) {
                return Err(Failure::wrong_use(format!(
                    "{name} is the reference itself; give the output another name"
                )));
            }
            if seen.iter().any(|s| s.same(&place)) {
                return Err(Failure::wrong_use(format!(
                    "{name} is named twice as an output; give each its own name"
                )));
            }
            // Staging an empty file is the one sure test of a folder: permissions alone do not tell.
            drop(StagedFile::new(path, b"", self.overwrite).map_err(|e| failure(&e))?);
            seen.push(place);
        }
        Ok(())
    }

    /// Writes all results, in the order of [`Outputs::list`]: every file is whole before the first one appears.
    pub(crate) fn write(&self, results: &[Vec<u8>]) -> Result<(), Failure> {
        let mut staged = Vec::new();
        for (output, bytes) in self.list.iter().zip(results) {
            if let Output::File(_, path) = output {
                staged.push((StagedFile::new(path, bytes, self.overwrite).map_err(|e| failure(&e))?, path));
            }
        }
        let mut reader_gone = false;
        for (output, bytes) in self.list.iter().zip(results) {
            if matches!(output, Output::Piped(_)) {
                match hand_over(bytes) {
                    Err(Failure::ReaderGone) => reader_gone = true,
                    other => other?,
                }
            }
        }
        let mut added: Vec<&Path> = Vec::new();
        for (file, path) in staged {
            let was_there = fs::symlink_metadata(path).is_ok();
            if let Err(error) = file.keep() {
                for path in added {
                    // What this run added goes again; a file that cannot be removed is still a whole one.
                    let _left = fs::remove_file(path);
                }
                return Err(failure(&error));
            }
            if !was_there {
                added.push(path);
            }
        }
        if reader_gone { Err(Failure::ReaderGone) } else { Ok(()) }
    }
}

/// A file that is there, or is none, was named wrongly; everything else is the system's refusal.
fn failure(error: &OutputError) -> Failure {
    match error {
        OutputError::Exists(path) => Failure::wrong_use(format!(
            "{} exists already; add --overwrite to replace it, or give another name",
            path.display()
        )),
        OutputError::NotAFile(_) => Failure::wrong_use(error),
        _ => Failure::other(error),
    }
}

/// The outputs that the options ask for.
fn collect(args: &FileArgs, named: Option<&Path>, tiled: bool) -> Result<Vec<Output>, Failure> {
    let mut list = Vec::new();
    for text in &args.out {
        let output = drawing(text, args.format)?;
        if tiled && output.content() != Content::Pdf {
            return Err(Failure::wrong_use(format!(
                "{} cannot be laid on several pages, which only a PDF has; end the name in .pdf, or leave --print-on out",
                text.display()
            )));
        }
        list.push(output);
    }
    let piped = list.iter().filter(|o| matches!(o, Output::Piped(_))).count();
    if piped > 1 {
        return Err(Failure::wrong_use(
            "-o - is given twice, but there is one standard output; give a file name instead",
        ));
    }
    if args.format.is_some() && piped == 0 {
        return Err(Failure::wrong_use(
            "--format is for -o - only; the ending of a file's name says its form",
        ));
    }
    if args.unnamed() {
        let Some(named) = named else {
            return Err(Failure::wrong_use(
                "a reference on standard input has no name to go by; say where to write with -o",
            ));
        };
        let mut stem = named.file_stem().unwrap_or_default().to_owned();
        stem.push("-underdrawing");
        // Pages to be joined are for a printer alone.
        let forms = [(Content::Svg, ".svg"), (Content::Pdf, ".pdf")];
        for (content, ending) in forms.into_iter().skip(usize::from(tiled)) {
            let mut name = stem.clone();
            name.push(ending);
            list.push(Output::File(content, named.with_file_name(name)));
        }
    }
    for (path, content, option, ending) in [
        (&args.report, Content::Report, "--report", "json"),
        (&args.value_map, Content::ValueMap, "--value-map", "png"),
        (&args.net, Content::Net, "--net", "json"),
    ] {
        let Some(path) = path else { continue };
        if ending_of(path) != ending {
            return Err(Failure::wrong_use(format!(
                "{option} writes a .{ending} file, but {} has another ending; rename it",
                path.display()
            )));
        }
        list.push(Output::File(content, path.clone()));
    }
    Ok(list)
}

/// The same outputs with each SVG as a file for each of its layers, when there are any to be apart.
fn taken_apart(list: Vec<Output>, layers: &[Layer]) -> Result<Vec<Output>, Failure> {
    if layers.is_empty() {
        return Ok(list);
    }
    if list.iter().any(|output| matches!(output, Output::Piped(Content::Svg))) {
        return Err(Failure::wrong_use(
            "--layers apart writes several files, but there is one standard output; give a file name instead of -o -",
        ));
    }
    if list.iter().all(|output| output.content() != Content::Svg) {
        return Err(Failure::wrong_use(
            "--layers apart is about an SVG, and none is written; add -o with a name in .svg (a PDF has its layers inside)",
        ));
    }
    let mut all = Vec::new();
    for output in list {
        match output {
            Output::File(Content::Svg, path) => all.extend(layers.iter().map(|&layer| {
                let mut name = path.file_stem().unwrap_or_default().to_owned();
                name.push(format!("-{}.svg", layer.id()));
                Output::File(Content::SvgLayer(layer), path.with_file_name(name))
            })),
            other => all.push(other),
        }
    }
    Ok(all)
}

/// One `-o`.
fn drawing(text: &OsString, format: Option<FormatArg>) -> Result<Output, Failure> {
    if text == "-" {
        return match format {
            Some(FormatArg::Svg) => Ok(Output::Piped(Content::Svg)),
            Some(FormatArg::Pdf) => Ok(Output::Piped(Content::Pdf)),
            Some(FormatArg::Png) => Ok(Output::Piped(Content::Png)),
            None => Err(Failure::wrong_use("-o - needs to know the form; add --format svg, pdf or png")),
        };
    }
    let path = PathBuf::from(text);
    let content = match ending_of(&path).as_str() {
        "svg" => Content::Svg,
        "pdf" => Content::Pdf,
        "png" => Content::Png,
        _ => {
            return Err(Failure::wrong_use(format!(
                "the ending of {} says no form that can be drawn; end the name in .svg, .pdf or .png",
                path.display()
            )));
        }
    };
    Ok(Output::File(content, path))
}

/// The name of a file beside another.
pub(super) fn beside(path: &Path, what: &str, ending: &str) -> OsString {
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(what);
    name.push(ending);
    path.with_file_name(name).into()
}

/// The ending of a file's name in lower case, empty when there is none.
pub(super) fn ending_of(path: &Path) -> String {
    path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default()
}

/// A place on the disk that can be compared whatever way it is written.
struct Place {
    path: PathBuf,
    #[cfg(unix)]
    file: Option<(u64, u64)>,
}

impl Place {
    /// Where a file that may not exist yet will be.
    fn of(path: &Path) -> Result<Self, Failure> {
        if let Some(place) = Self::of_existing(path) {
            return Ok(place);
        }
        let folder = folder_of(path);
        let whole = fs::canonicalize(folder).map_err(|e| {
            if let Some(file) = file_among(folder) {
                return Failure::other(OutputError::FileForFolder(file.into()));
            }
            Failure::other(format!(
                "cannot write {}: the folder {} cannot be opened ({}); make it first",
                path.display(),
                folder.display(),
                plain(&e)
            ))
        })?;
        let path = whole.join(path.file_name().unwrap_or_default());
        Ok(Self {
            path,
            #[cfg(unix)]
            file: None,
        })
    }

    /// Where an existing file is, links followed.
    fn of_existing(path: &Path) -> Option<Self> {
        let path = fs::canonicalize(path).ok()?;
        Some(Self {
            #[cfg(unix)]
            file: {
                use std::os::unix::fs::MetadataExt;
                fs::metadata(&path).ok().map(|m| (m.dev(), m.ino()))
            },
            path,
        })
    }

    /// Whether both are one file; on Unix by the file's own number too, so that hard links are seen.
    fn same(&self, other: &Self) -> bool {
        #[cfg(unix)]
        if self.file.is_some() && self.file == other.file {
            return true;
        }
        self.path == other.path
    }
}

/// The folder in which a file lies.
pub(super) fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

#[cfg(test)]
mod tests;
