//! The picture in two or three values, small: settled as a drawing's areas are, on a sheet of its own size.

use kurbo::{BezPath, Point, Rect};
use serde::Serialize;

use crate::areas::{self, AreaOptions};
use crate::groups::rounded;
use crate::plan::hatching::hatched;
use crate::plan::{KeyValue, key_values};
use crate::raster::Raster;
use crate::sheet::clipped;
use crate::tone::{BreakRule, ToneField, ValueScale, even_breaks, fitted_breaks, histogram};
use crate::transitions::{AreaPolygon, BoundaryNet, HowMuch, NetOptions, WalkError, trace};

/// Working pixels per mm of a small picture, as of a drawing.
const PX_PER_MM: f64 = 6.0;
/// How far straight pieces may lie from the curves, in mm.
const FLAT_MM: f64 = 0.004;

/// The picture in a few values.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Thumbnail {
    /// How many values.
    pub values: u8,
    /// L* between them, lightest first.
    pub breaks: Vec<f64>,
    /// Share of the picture that each has, value 1 first.
    pub shares: Vec<f64>,
    /// L* of the mean reflectance where it has each value, kept within the value's band.
    pub lightness: Vec<f64>,
    /// Share of the paper that the ink of each covers.
    pub coverage: Vec<f64>,
    /// Its areas, in mm on the small picture.
    #[serde(skip)]
    pub(super) areas: Vec<(u8, AreaPolygon)>,
    /// Its width and height in mm.
    #[serde(skip)]
    pub(super) size_mm: [f64; 2],
}

/// The size in mm of a picture made to fit a rectangle.
pub(super) fn fitted(size_mm: [f64; 2], room_mm: [f64; 2]) -> [f64; 2] {
    let share = (room_mm[0] / size_mm[0]).min(room_mm[1] / size_mm[1]);
    size_mm.map(|side| side * share)
}

/// The working size of a small picture.
pub(super) fn working(size_mm: [f64; 2]) -> [usize; 2] {
    size_mm.map(|side| (side * PX_PER_MM).round().max(1.0) as usize)
}

/// The picture of `size_mm` in `values` values, fitted to `room_mm`.
///
/// Breaks are found from the whole picture's tones: even ones where the study has those, else by least squares over all tones.
/// On ink, too, bare paper and solid black do not stand apart as they do on a drawing: with two or three values nearly all of the
/// picture would lie between them. A list of breaks is for the study's own number of values. Areas are settled as on a drawing of
/// that size with the usual narrowest width and least area, at plainness 0: these limits alone make a small picture plain.
///
/// # Errors
/// As [`BoundaryNet::polygons`].
pub fn thumbnail(
    tone: &ToneField,
    rule: &BreakRule,
    values: u8,
    size_mm: [f64; 2],
    room_mm: [f64; 2],
) -> Result<Thumbnail, WalkError> {
    let small_mm = fitted(size_mm, room_mm);
    let scale = ValueScale::new(match rule {
        BreakRule::Even => even_breaks([0.0, 100.0], values),
        BreakRule::Fitted | BreakRule::Explicit(_) => {
            fitted_breaks(&histogram(tone.lightness.data()), usize::from(values))
        }
    });
    let tone = tone.smaller(size_mm[0] / small_mm[0], working(small_mm), scale);
    let map = areas::find(&tone, &AreaOptions::default());
    let everything = NetOptions { how_much: HowMuch::Plainness(0.0), ..NetOptions::default() };
    let traced = trace(&tone, &map, &everything);
    let key = key_values(&traced.values, &tone.reflectance, &tone.scale);
    let of_key = |figure: fn(&KeyValue) -> f64| key.iter().map(|k| rounded(figure(k), 6)).collect();
    Ok(Thumbnail {
        values,
        breaks: tone.scale.breaks().iter().map(|&b| rounded(b, 3)).collect(),
        shares: of_key(|k| k.share),
        lightness: of_key(|k| k.lightness),
        coverage: of_key(|k| k.coverage),
        areas: polygons(&traced.net)?,
        size_mm: [traced.net.width_mm, traced.net.height_mm],
    })
}

/// The areas of a net with their values.
pub(super) fn polygons(net: &BoundaryNet) -> Result<Vec<(u8, AreaPolygon)>, WalkError> {
    Ok(net.areas.iter().map(|area| area.value).zip(net.polygons(FLAT_MM)?).collect())
}

impl Thumbnail {
    /// Its ink, with its top left corner at a point.
    pub(super) fn ink(&self, corner: Point) -> BezPath {
        let [width, height] = self.size_mm;
        let coverage = |value: u8| self.coverage.get(usize::from(value) - 1).copied().unwrap_or(0.0);
        ink(&self.areas, &coverage, Rect::new(0.0, 0.0, width, height), corner, 1.0)
    }
}

/// The ink of what lies in a window of some areas, each with the coverage of its value; the window's corner comes to lie at a
/// point, and everything is scaled.
pub(super) fn ink(
    areas: &[(u8, AreaPolygon)],
    coverage: &dyn Fn(u8) -> f64,
    window: Rect,
    corner: Point,
    scale: f64,
) -> BezPath {
    let mut ink = BezPath::new();
    for (value, polygon) in areas {
        let covered = coverage(*value);
        if covered <= 0.0 {
            continue;
        }
        let placed = |ring: &Vec<Point>| -> Vec<Point> {
            let clipped = within(ring, window);
            clipped.into_iter().map(|p| corner + (p - window.origin()) * scale).collect()
        };
        let rings: Vec<Vec<Point>> = std::iter::once(&polygon.outer)
            .chain(&polygon.holes)
            .map(placed)
            .filter(|r| r.len() > 2)
            .collect();
        if covered < 1.0 {
            ink.extend(hatched(&rings, covered));
            continue;
        }
        for ring in rings {
            ink.move_to(ring[0]);
            ring[1..].iter().for_each(|&p| ink.line_to(p));
            ink.close_path();
        }
    }
    ink
}

/// The part of a ring within a rectangle; what runs along its edge encloses nothing.
fn within(ring: &[Point], r: Rect) -> Vec<Point> {
    let sides: [&dyn Fn(Point) -> f64; 4] =
        [&|p| p.x - r.x0, &|p| r.x1 - p.x, &|p| p.y - r.y0, &|p| r.y1 - p.y];
    sides.into_iter().fold(ring.to_vec(), |points, side| clipped(&points, side))
}

/// Each pixel of a small raster from the pixel of a large one in which its middle lies.
pub(super) fn sampled(of: &Raster<u32>, [width, height]: [usize; 2]) -> Raster<u32> {
    let source = |k: usize, small: usize, large: usize| ((2 * k + 1) * large / (2 * small)).min(large - 1);
    let data = (0..width * height)
        .map(|i| of.at(source(i % width, width, of.width()), source(i / width, height, of.height())))
        .collect();
    Raster::from_vec(width, height, data)
}
