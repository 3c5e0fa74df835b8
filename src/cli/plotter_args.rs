//! The files of a plotter as options, and what is said of its plan; its settings are those of the study.

use std::path::PathBuf;

use clap::Args;

use merestone::plotter::PlotterPlan;

/// What is said whenever a plotter's file is made.
pub(crate) const PLOTTER_CAUTION: &str = "Stay beside the plotter while it draws, keep hands, hair and sleeves out of its \
    way, press the pencil no harder than it needs to mark, and heed the machine's manual before anything said here.";

/// Files for a plotter.
#[derive(Clone, Debug, Args)]
#[command(next_help_heading = "Files")]
pub(crate) struct PlotterFileArgs {
    /// Also write a file for a plotter that holds a pencil: one path per stroke, in drawing order
    #[arg(long, value_name = "FILE.svg")]
    pub(crate) plotter: Option<PathBuf>,

    /// Also write a picture of the drawing order, from light to black, with travel and lifts, as .svg or .png
    #[arg(long, value_name = "FILE.png", requires = "plotter")]
    pub(crate) order_view: Option<PathBuf>,
}

/// What the terminal says of a plan.
pub(crate) fn figures(plan: &PlotterPlan) -> String {
    let figures = &plan.figures;
    let whole = figures.seconds.round() as u64;
    let mut text = format!(
        "plotter: {} strokes, {} lifts, {:.2} m pencil down, {:.2} m pencil up, about {} min {:02} s",
        figures.strokes,
        figures.lifts,
        figures.down_mm / 1000.0,
        figures.up_mm / 1000.0,
        whole / 60,
        whole % 60
    );
    let parts: Vec<String> =
        figures.parts.iter().map(|p| format!("{} {:.2} m", p.name, p.down_mm / 1000.0)).collect();
    if !parts.is_empty() {
        text.push_str(&format!("; pencil used: {}", parts.join(", ")));
    }
    text
}
