//! The `merestone` program: parse, run, say what went wrong.

mod cli;

fn main() -> std::process::ExitCode {
    cli::run()
}
