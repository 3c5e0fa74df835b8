//! Guides: lines that the artist adds by hand, where light meets light and there is no transition to find.
//!
//! In: points, or an SVG file of lines. Out: [`GuideLine`]s, in mm on the picture from its top left.
//! Keeps: lines are as they were given, up to a micrometre; what lies beyond the picture is cut off where they become
//! strokes. Fills, widths, colours and dashes of an SVG say nothing here.

mod svg;

#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};

use kurbo::{CubicBez, Point};
use thiserror::Error;

use crate::areas::edits::PlaceOnPicture;
use crate::transitions::fit::round_um;

/// Most difference between the shape of an SVG's page and the picture's, as for a mask (common practice, no source).
const SHAPE_SLACK: f64 = 1.02;

/// Lines that are to be added.
#[derive(Clone, Debug, PartialEq)]
pub enum Guide {
    /// Straight from point to point.
    Points(Vec<PlaceOnPicture>),
    /// All lines of an SVG file, whose page is laid over the picture.
    File(PathBuf),
}

/// One line.
#[derive(Clone, Debug, PartialEq)]
pub struct GuideLine {
    /// Cubics that join end to end, in mm on the picture, whole micrometres.
    pub curve: Vec<CubicBez>,
    /// Whether it closes on itself.
    pub closed: bool,
}

/// Why guides cannot be used.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum GuideError {
    /// The file cannot be read.
    #[error("cannot read the guide lines {}: {reason}; check the path, which leads from the study file's folder", path.display())]
    Unread {
        /// The file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// The file is no SVG that can be read.
    #[error("{} is no SVG that can be read ({reason}); save the lines as a plain SVG file", path.display())]
    NoSvg {
        /// The file.
        path: PathBuf,
        /// Why.
        reason: String,
    },
    /// A file without any stroked line.
    #[error("{} holds no line: only paths and shapes with a stroke count, fills, texts and pictures do not", path.display())]
    NoLine {
        /// The file.
        path: PathBuf,
    },
    /// A page of another shape than the picture.
    #[error(
        "the page of {} is {width} x {height}, which is not the shape of the picture ({width_mm:.1} x {height_mm:.1} mm); \
         draw the lines over the whole reference", path.display()
    )]
    Shape {
        /// The file.
        path: PathBuf,
        /// Its width in its own unit.
        width: f64,
        /// Its height.
        height: f64,
        /// Width of the picture in mm.
        width_mm: f64,
        /// Height of the picture in mm.
        height_mm: f64,
    },
}

/// Guides with their files read.
#[derive(Clone, Debug, PartialEq)]
pub enum ReadGuide {
    /// Points.
    Points(Vec<PlaceOnPicture>),
    /// Lines on a page of some size, in the page's unit.
    Page {
        /// The file that they are from.
        path: PathBuf,
        /// Width and height of the page.
        size: [f64; 2],
        /// The lines.
        lines: Vec<GuideLine>,
    },
}

/// Reads the file of a guide, if it has one.
///
/// # Errors
/// [`GuideError`] when the file cannot be read or holds no line.
pub fn read(guide: &Guide) -> Result<ReadGuide, GuideError> {
    match guide {
        Guide::Points(points) => Ok(ReadGuide::Points(points.clone())),
        Guide::File(path) => svg::read(path),
    }
}

impl ReadGuide {
    /// The lines in mm on a picture of some size.
    ///
    /// # Errors
    /// [`GuideError::Shape`] when a page has another shape than the picture.
    pub fn on_picture(&self, size_mm: [f64; 2]) -> Result<Vec<GuideLine>, GuideError> {
        match self {
            Self::Points(points) => {
                let at = |p: &PlaceOnPicture| Point::new(p[0].mm(size_mm[0]), p[1].mm(size_mm[1]));
                let points: Vec<Point> = points.iter().map(|p| round_um(at(p))).collect();
                Ok(vec![straight(&points)])
            }
            Self::Page { path, size, lines } => {
                let stretch = [size_mm[0] / size[0], size_mm[1] / size[1]];
                let shape = stretch[0] / stretch[1];
                if !(1.0 / SHAPE_SLACK..=SHAPE_SLACK).contains(&shape) {
                    return Err(shape_error(path, *size, size_mm));
                }
                let on = |p: Point| round_um(Point::new(p.x * stretch[0], p.y * stretch[1]));
                let moved = lines.iter().map(|line| GuideLine {
                    curve: line
                        .curve
                        .iter()
                        .map(|c| CubicBez::new(on(c.p0), on(c.p1), on(c.p2), on(c.p3)))
                        .filter(|c| c.p0 != c.p3 || c.p0 != c.p1 || c.p0 != c.p2)
                        .collect(),
                    closed: line.closed,
                });
                Ok(moved.filter(|line| !line.curve.is_empty()).collect())
            }
        }
    }
}

fn shape_error(path: &Path, [width, height]: [f64; 2], [width_mm, height_mm]: [f64; 2]) -> GuideError {
    GuideError::Shape { path: path.into(), width, height, width_mm, height_mm }
}

/// A straight piece as a cubic.
fn side(a: Point, b: Point) -> CubicBez {
    CubicBez::new(a, round_um(a.lerp(b, 1.0 / 3.0)), round_um(a.lerp(b, 2.0 / 3.0)), b)
}

/// A chain of points; it is closed when it ends where it begins.
fn straight(points: &[Point]) -> GuideLine {
    let curve = points.windows(2).filter(|ends| ends[0] != ends[1]).map(|ends| side(ends[0], ends[1]));
    GuideLine { curve: curve.collect(), closed: points.len() > 3 && points[0] == points[points.len() - 1] }
}
