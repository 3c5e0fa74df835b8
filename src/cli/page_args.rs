//! The file of the reference before and after, and what makes no sense of a page by itself.

use std::path::PathBuf;

use clap::Args;

use merestone::reference::page::{PageCorners, PageOptions, TrueShape};

use super::files::{Content, Input, Output, Outputs, ending_of};
use super::print::Failure;

/// The reference as it comes.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Reference")]
pub(crate) struct PageFileArgs {
    /// Also write a small .png of the reference before and after, side by side
    #[arg(long, value_name = "FILE.png")]
    pub(crate) before_after: Option<PathBuf>,
}

/// Refuses a shape without a page that has it.
pub(crate) fn check(page: &PageOptions) -> Result<(), Failure> {
    if page.true_shape != TrueShape::Estimated && page.corners == PageCorners::Whole {
        return Err(Failure::wrong_use(
            "--true-shape is about a page that is laid flat; add --find-page or --corners, or leave it out",
        ));
    }
    Ok(())
}

/// Adds the picture before and after to what is written, and checks it with the others.
pub(crate) fn add(outputs: &mut Outputs, args: &PageFileArgs, input: &Input) -> Result<(), Failure> {
    let Some(path) = &args.before_after else { return Ok(()) };
    if ending_of(path) != "png" {
        return Err(Failure::wrong_use(format!(
            "--before-after writes a .png file, but {} has another ending; rename it",
            path.display()
        )));
    }
    outputs.list.push(Output::File(Content::BeforeAfter, path.clone()));
    outputs.check(input)
}
