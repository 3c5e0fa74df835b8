//! The command line: one file per command, failures to exit codes.

mod args;
mod batch;
mod begin;
mod draw;
mod files;
mod job;
mod memory;
mod new;
mod order;
mod other_sheets;
mod packet;
mod page_args;
mod page_files;
mod plan;
mod plotter_args;
mod plotter_files;
mod print;
mod progress;
mod sheet_pages;
mod squared;
mod structure;
mod study_args;
mod zones;

use std::panic;
use std::process::ExitCode;
use std::sync::{Arc, Mutex};

use clap::error::ErrorKind;
use clap::{CommandFactory, Parser};

use merestone::sheet::{Paper, papers};
use merestone::units::MM_PER_INCH;

use args::{Command, CommandLine, RunningArgs};
use batch::SheetCommand;
use print::{Failure, hand_over, sentence_of};

/// Runs what the command line asks for and gives the exit code; whatever happens gets one sentence.
pub(crate) fn run() -> ExitCode {
    outlive_size_limits();
    // The standard report of a panic is for makers; it is kept for the sentence below instead of printed.
    let fault = Arc::new(Mutex::new(String::new()));
    let kept = Arc::clone(&fault);
    panic::set_hook(Box::new(move |info| {
        if let Ok(mut text) = kept.lock() {
            *text = info.to_string().split_whitespace().collect::<Vec<_>>().join(" ");
        }
    }));
    let ended = panic::catch_unwind(dispatch).unwrap_or_else(|_| {
        let text = fault.lock().map(|t| t.clone()).unwrap_or_default();
        Err(Failure::other(format!(
            "a fault of the program itself, please report it with the reference: {text}"
        )))
    });
    match ended {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => ExitCode::from(failure.tell()),
    }
}

/// A write past the limit on file sizes shall fail with an error, not end the program with half a file.
///
/// The signal that ends it by default is caught and the note of it never read: the failed write says enough.
fn outlive_size_limits() {
    #[cfg(unix)]
    {
        let _without = signal_hook::flag::register(signal_hook::consts::SIGXFSZ, Arc::default());
    }
}

fn dispatch() -> Result<(), Failure> {
    let line = match CommandLine::try_parse() {
        Ok(line) => line,
        Err(asked) if matches!(asked.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) => {
            return asked.print().map_err(|e| Failure::of_stdout(&e)).and_then(|()| hand_over(b""));
        }
        Err(complaint) => return Err(Failure::wrong_use(sentence_of(&complaint))),
    };
    match line.command {
        Command::Draw(args) => sheets(&*args),
        Command::Plan(args) => sheets(&*args),
        Command::Structure(args) => sheets(&*args),
        Command::Order(args) => sheets(&*args),
        Command::Squared(args) => sheets(&*args),
        Command::Packet(args) => sheets(&*args),
        Command::New(args) => new::run(&args),
        Command::Papers => hand_over(paper_list().as_bytes()),
        Command::Completions { shell } => {
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut CommandLine::command(), "merestone", &mut script);
            hand_over(&script)
        }
        Command::Manual => hand_over(&manual()?),
    }
}

/// Runs a command on as many threads as were asked for.
fn sheets<C: SheetCommand>(command: &C) -> Result<(), Failure> {
    set_threads(command.running())?;
    batch::run(command)
}

/// Sets how many threads work at once; without the option all processors do.
fn set_threads(running: &RunningArgs) -> Result<(), Failure> {
    let Some(threads) = running.threads else { return Ok(()) };
    rayon::ThreadPoolBuilder::new().num_threads(usize::from(threads)).build_global().map_err(|e| {
        Failure::other(format!("cannot start {threads} threads ({e}); try fewer with --threads"))
    })
}

/// One line per paper: name, mm, inches.
fn paper_list() -> String {
    let mut list = String::new();
    for paper in papers().iter().map(|row| Paper::from(*row)) {
        let mm = format!("{:.1} x {:.1} mm", paper.width_mm, paper.height_mm);
        let inches = format!("{:.2} x {:.2} in", paper.width_mm / MM_PER_INCH, paper.height_mm / MM_PER_INCH);
        list.push_str(&format!("{:<12} {mm:>20}   {inches:>20}\n", paper.name));
    }
    list
}

/// The manual page: the program, then the options of each command.
fn manual() -> Result<Vec<u8>, Failure> {
    let mut line = CommandLine::command();
    line.build();
    let mut page = Vec::new();
    let unwritten = |e: std::io::Error| {
        Failure::other(format!("cannot make the manual page: {e}; report this as a fault"))
    };
    let whole = clap_mangen::Man::new(line.clone());
    whole.render_title(&mut page).map_err(unwritten)?;
    whole.render_name_section(&mut page).map_err(unwritten)?;
    whole.render_synopsis_section(&mut page).map_err(unwritten)?;
    whole.render_description_section(&mut page).map_err(unwritten)?;
    for command in line.get_subcommands().filter(|c| c.get_name() != "help") {
        let name = command.get_name().to_uppercase();
        let mut part = Vec::new();
        let one = clap_mangen::Man::new(command.clone());
        one.render_synopsis_section(&mut part).map_err(unwritten)?;
        one.render_description_section(&mut part).map_err(unwritten)?;
        one.render_options_section(&mut part).map_err(unwritten)?;
        one.render_extra_section(&mut part).map_err(unwritten)?;
        let part = String::from_utf8_lossy(&part);
        let mut own = String::new();
        for text in part.lines() {
            // The sections of one command under headings of its own: SYNOPSIS becomes DRAW: SYNOPSIS.
            match text.strip_prefix(".SH ") {
                Some(heading) => own.push_str(&format!(".SH \"{name}: {}\"", heading.trim_matches('"'))),
                None => own.push_str(text),
            }
            own.push('\n');
        }
        page.extend_from_slice(own.as_bytes());
    }
    whole.render_version_section(&mut page).map_err(unwritten)?;
    Ok(page)
}
