//! A sheet that merestone itself does not make, built on its boundary net: every area as a tint of its value, and the
//! same areas as polygons for programs that work with maps.
//!
//! `cargo run --release --example tint_sheet -- PICTURE [FOLDER]` writes `tint-sheet.svg` and `tint-sheet.wkt` to FOLDER
//! (default: here). The picture lies on A4 as `merestone draw` puts it.

use std::error::Error;
use std::fmt::Write;
use std::fs;
use std::path::PathBuf;

use kurbo::Point;
use merestone::reference::{ReadOptions, read_file};
use merestone::sheet::Paper;
use merestone::study::{Settings, Stages, run};
use merestone::transitions::{AreaPolygon, BoundaryNet};

/// How far polygons may lie from the curves, in mm: lines keep 0.005 mm from each other, so these never cross.
const TOLERANCE_MM: f64 = 0.004;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args_os().skip(1);
    let picture = arguments.next().map(PathBuf::from).ok_or("name a picture: tint_sheet PICTURE [FOLDER]")?;
    let folder = arguments.next().map_or_else(|| PathBuf::from("."), PathBuf::from);

    let reference = read_file(&picture, &ReadOptions::default())?.value;
    let made = run(reference, &Settings::on(Paper::parse("a4")?), &|_| {})?;
    let stages = made.value;
    let net = &stages.traced.net;
    // One polygon for each area; both neighbours of a line have the same points on it.
    let polygons = net.polygons(TOLERANCE_MM)?;

    fs::write(folder.join("tint-sheet.svg"), svg(&stages, &polygons))?;
    fs::write(folder.join("tint-sheet.wkt"), wkt(net, &polygons))?;
    Ok(())
}

/// The areas, each filled with a grey as light as its value's middle; a hole is left by the even-odd rule.
fn svg(stages: &Stages, polygons: &[AreaPolygon]) -> String {
    let [width, height] = stages.placement.sheet_mm;
    let at = stages.placement.picture_mm;
    let mut text = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" viewBox=\"0 0 {width} \
         {height}\">\n<g transform=\"translate({} {})\">\n",
        at.x, at.y
    );
    let most = f64::from(stages.traced.net.areas.iter().map(|a| a.value).max().unwrap_or(2).max(2));
    for (area, polygon) in stages.traced.net.areas.iter().zip(polygons) {
        let share = (f64::from(area.value) - 1.0) / (most - 1.0);
        let grey = (250.0 - 200.0 * share).round();
        let rings = std::iter::once(&polygon.outer).chain(&polygon.holes);
        let data: String = rings.map(|ring| format!("M{}Z", listed(ring, " ", "L"))).collect();
        writeln!(text, "<path fill-rule=\"evenodd\" fill=\"rgb({grey},{grey},{grey})\" d=\"{data}\"/>")
            .expect("text grows");
    }
    text.push_str("</g>\n</svg>\n");
    text
}

/// The areas as well-known text (ISO 19125), one line each: value, size, polygon in mm on the picture, y down.
fn wkt(net: &BoundaryNet, polygons: &[AreaPolygon]) -> String {
    let ring = |points: &Vec<Point>| {
        // A ring's first point is repeated at its end.
        let closed: Vec<Point> = points.iter().chain(points.first()).copied().collect();
        format!("({})", listed(&closed, " ", ", "))
    };
    let line = |(area, polygon): (&merestone::transitions::NetArea, &AreaPolygon)| {
        let rings: Vec<String> = std::iter::once(&polygon.outer).chain(&polygon.holes).map(ring).collect();
        format!("{}\t{:.3}\tPOLYGON ({})\n", area.value, area.size_mm2, rings.join(", "))
    };
    net.areas.iter().zip(polygons).map(line).collect()
}

/// Coordinates of points.
fn listed(points: &[Point], between: &str, apart: &str) -> String {
    let each: Vec<String> = points.iter().map(|p| format!("{:.6}{between}{:.6}", p.x, p.y)).collect();
    each.join(apart)
}
