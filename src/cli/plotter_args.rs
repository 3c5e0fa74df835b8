//! The options of `draw` that are about a plotter, to settings, and what is said of its plan.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use merestone::areas::zones::{Measure, Outline};
use merestone::plotter::{Machine, PlotterOptions, PlotterPlan};
use merestone::sheet::RectMm;

use super::values::{parse_length, parse_line_total};
use super::zones::parse_outline;

/// What is said whenever a plotter's file is made.
pub(crate) const PLOTTER_CAUTION: &str = "Stay beside the plotter while it draws, keep hands, hair and sleeves out of its \
    way, press the pencil no harder than it needs to mark, and heed the machine's manual before anything said here.";

/// Plotter.
#[derive(Debug, Args)]
#[command(next_help_heading = "Plotter")]
pub(crate) struct PlotterArgs {
    /// Also write a file for a plotter that holds a pencil: one path per stroke, in drawing order
    #[arg(long, value_name = "FILE.svg")]
    pub(crate) plotter: Option<PathBuf>,

    /// One file for all, or one for each layer and part (FILE-01-hard.svg, FILE-02-soft.svg ...)
    #[arg(long, value_name = "FILES", value_enum, default_value_t = PlotterFilesArg::One, requires = "plotter")]
    pub(crate) plotter_files: PlotterFilesArg,

    /// Whether hard and soft edges are drawn apart, for two pencils, or joined as one layer
    #[arg(long, value_name = "HOW", value_enum, default_value_t = EdgesArg::Apart, requires = "plotter")]
    pub(crate) plotter_edges: EdgesArg,

    /// Also write a picture of the drawing order, from light to black, with travel and lifts, as .svg or .png
    #[arg(long, value_name = "FILE.png", requires = "plotter")]
    pub(crate) order_view: Option<PathBuf>,

    /// Length of line after which the pencil is turned or sharpened, in m, cm, mm or in: a new part begins there
    #[arg(long, value_name = "TOTAL", value_parser = parse_line_total, allow_hyphen_values = true, requires = "plotter")]
    pub(crate) lead_length: Option<f64>,

    /// How far a closed line is drawn on over its beginning, in mm, cm or in
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, default_value = "0mm", allow_hyphen_values = true,
          requires = "plotter")]
    pub(crate) close_over: f64,

    /// Leave out strokes shorter than this, in mm, cm or in
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, default_value = "0mm", allow_hyphen_values = true,
          requires = "plotter")]
    pub(crate) least_stroke: f64,

    /// A rectangle that the pencil keeps out of, such as a clamp; may be given again: rect:LEFT,TOP,WIDTH,HEIGHT
    /// in lengths from the top left of the sheet as it is shown
    #[arg(long, value_name = "ZONE", value_parser = parse_keep_out, allow_hyphen_values = true, requires = "plotter")]
    pub(crate) keep_out: Vec<Outline>,

    /// Write straight pieces instead of curves, off the curve by at most this, in mm, cm or in
    #[arg(long, value_name = "LENGTH", value_parser = parse_length, allow_hyphen_values = true, requires = "plotter")]
    pub(crate) polylines: Option<f64>,

    /// Speed of the machine with the pencil down, such as 30mm/s
    #[arg(long, value_name = "SPEED", value_parser = parse_speed, default_value = "30mm/s", requires = "plotter",
          allow_hyphen_values = true)]
    pub(crate) drawing_speed: f64,

    /// Speed of the machine with the pencil up, such as 80mm/s
    #[arg(long, value_name = "SPEED", value_parser = parse_speed, default_value = "80mm/s", requires = "plotter",
          allow_hyphen_values = true)]
    pub(crate) travel_speed: f64,

    /// Acceleration of the machine, such as 400mm/s2
    #[arg(long, value_name = "ACCEL", value_parser = parse_acceleration, default_value = "400mm/s2",
          requires = "plotter", allow_hyphen_values = true)]
    pub(crate) acceleration: f64,

    /// Time that it takes to raise and lower the pencil once, such as 0.4s
    #[arg(long, value_name = "SECONDS", value_parser = parse_seconds, default_value = "0.4s", requires = "plotter",
          allow_hyphen_values = true)]
    pub(crate) lift_time: f64,
}

/// `--plotter-files`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum PlotterFilesArg {
    /// One, with a group for each layer and part
    One,
    /// One for each layer and part
    Each,
}

/// `--plotter-edges`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum EdgesArg {
    /// Hard edges, then soft ones
    Apart,
    /// As one layer
    Joined,
}

/// The plotter's settings, if there is one.
pub(crate) fn plotter(args: &PlotterArgs, marks: bool) -> Option<PlotterOptions> {
    args.plotter.as_ref()?;
    Some(PlotterOptions {
        joined: args.plotter_edges == EdgesArg::Joined,
        marks,
        lead_length_mm: args.lead_length,
        close_over_mm: args.close_over,
        least_stroke_mm: args.least_stroke,
        keep_out: args.keep_out.iter().filter_map(rectangle).collect(),
        apart: args.plotter_files == PlotterFilesArg::Each,
        polylines_mm: args.polylines,
        machine: Machine {
            drawing_mm_s: args.drawing_speed,
            travel_mm_s: args.travel_speed,
            acceleration_mm_s2: args.acceleration,
            lift_s: args.lift_time,
        },
    })
}

fn rectangle(outline: &Outline) -> Option<RectMm> {
    let Outline::Rect { corner, size } = outline else { return None };
    let mm = |measure: &Measure| if let Measure::Mm(mm) = measure { Some(*mm) } else { None };
    Some(RectMm { x: mm(&corner[0])?, y: mm(&corner[1])?, width: mm(&size[0])?, height: mm(&size[1])? })
}

/// A rectangle of the sheet in lengths.
fn parse_keep_out(text: &str) -> Result<Outline, String> {
    let outline = parse_outline(text)?;
    match rectangle(&outline) {
        Some(_) => Ok(outline),
        None => Err("write rect:LEFT,TOP,WIDTH,HEIGHT in lengths from the sheet's top left, such as \
                     rect:0mm,0mm,30mm,15mm"
            .into()),
    }
}

/// A positive number before a unit.
fn before(text: &str, unit: &str) -> Option<f64> {
    text.trim().strip_suffix(unit)?.trim().parse::<f64>().ok().filter(|n| n.is_finite())
}

/// A speed in mm/s.
fn parse_speed(text: &str) -> Result<f64, String> {
    before(text, "mm/s")
        .or_else(|| before(text, "cm/s").map(|n| n * 10.0))
        .or_else(|| before(text, "in/s").map(|n| n * merestone::units::MM_PER_INCH))
        .ok_or_else(|| "write a speed with its unit, such as 30mm/s, 3cm/s or 1in/s".into())
}

/// An acceleration in mm/s2.
fn parse_acceleration(text: &str) -> Result<f64, String> {
    before(text, "mm/s2")
        .or_else(|| before(text, "cm/s2").map(|n| n * 10.0))
        .or_else(|| before(text, "in/s2").map(|n| n * merestone::units::MM_PER_INCH))
        .ok_or_else(|| "write an acceleration with its unit, such as 400mm/s2".into())
}

/// A time in s.
fn parse_seconds(text: &str) -> Result<f64, String> {
    before(text, "ms")
        .map(|n| n / 1000.0)
        .or_else(|| before(text, "s"))
        .ok_or_else(|| "write a time with its unit, such as 0.4s or 400ms".into())
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn measures_of_machines_take_their_units() {
        for (got, want) in [
            (parse_speed("30mm/s"), 30.0),
            (parse_speed("3 cm/s"), 30.0),
            (parse_speed("1in/s"), 25.4),
            (parse_acceleration("400mm/s2"), 400.0),
            (parse_seconds("0.4s"), 0.4),
            (parse_seconds("400ms"), 0.4),
        ] {
            let got = got.expect("a measure");
            assert!((got - want).abs() < 1e-9, "{got}, not {want}");
        }
        for bad in ["30", "", "mm/s", "30mm", "nanmm/s", "30 km/h"] {
            assert!(parse_speed(bad).is_err(), "{bad:?} was taken for a speed");
        }
        assert!(parse_seconds("1").is_err() && parse_acceleration("400").is_err(), "bare numbers");
    }

    #[test]
    fn the_pencil_keeps_out_of_rectangles_of_the_sheet() {
        let rect = parse_keep_out("rect:0mm,1cm,30mm,15mm").ok().as_ref().and_then(rectangle);
        assert_eq!(rect, Some(RectMm { x: 0.0, y: 10.0, width: 30.0, height: 15.0 }), "lengths");
        for bad in ["rect:0%,0%,5%,5%", "ellipse:1mm,1mm,1mm,1mm", "3mm"] {
            assert!(parse_keep_out(bad).is_err(), "{bad:?} was taken");
        }
    }
}
