//! Runs the program on a picture and reads back the lines it drew, by other libraries than it writes with.

use std::path::Path;
use std::process::Command;

use image::GrayImage;
use kurbo::{BezPath, ParamCurve, ParamCurveArclen, PathSeg, Point, Shape, Vec2};
use rstar::RTree;
use rstar::primitives::GeomWithData;
use serde_json::Value;

/// Distance between samples of a line in mm.
pub(crate) const SAMPLE_MM: f64 = 0.1;

/// One boundary line, in mm on the picture.
pub(crate) struct Line {
    pub(crate) path: BezPath,
    /// Points along it, [`SAMPLE_MM`] apart at most.
    pub(crate) samples: Vec<Point>,
    /// Values on its left and right.
    pub(crate) values: [u8; 2],
}

/// One thin mark, in mm on the picture.
pub(crate) struct Thin {
    /// Points along it, [`SAMPLE_MM`] apart at most.
    pub(crate) samples: Vec<Point>,
    pub(crate) value: u8,
    pub(crate) width_mm: f64,
}

/// What the program made of one picture.
pub(crate) struct Drawn {
    pub(crate) lines: Vec<Line>,
    pub(crate) thin: Vec<Thin>,
    pub(crate) report: Value,
}

impl Drawn {
    /// All samples of all lines.
    pub(crate) fn samples(&self) -> Vec<Point> {
        self.lines.iter().flat_map(|l| l.samples.iter().copied()).collect()
    }

    /// Length of all lines in mm.
    pub(crate) fn length_mm(&self) -> f64 {
        self.lines.iter().map(|l| l.path.segments().map(|s| s.arclen(1e-4)).sum::<f64>()).sum()
    }
}

/// The program, as cargo built it for these tests.
pub(crate) fn merestone() -> Command {
    Command::new(env!("CARGO_BIN_EXE_merestone"))
}

/// Encodes reflectances (0 to 1, row by row) as an 8-bit grey picture.
pub(crate) fn grey(width: u32, height: u32, light: impl Fn(u32, u32) -> f64) -> GrayImage {
    // IEC 61966-2-1, written here once more so that the tests do not lean on the library's own.
    let encode = |y: f64| if y <= 0.003_130_8 { 12.92 * y } else { 1.055 * y.powf(1.0 / 2.4) - 0.055 };
    GrayImage::from_fn(width, height, |x, y| image::Luma([(encode(light(x, y)) * 255.0).round() as u8]))
}

/// Reflectance of a lightness L* (CIE 15, above its straight part too).
pub(crate) fn reflectance(lightness: f64) -> f64 {
    if lightness > 8.0 { ((lightness + 16.0) / 116.0).powi(3) } else { lightness * 27.0 / 24_389.0 }
}

/// Draws a picture: writes it into `folder`, runs `merestone draw` with `more` options, reads the results.
pub(crate) fn draw(picture: &GrayImage, folder: &Path, name: &str, width_mm: f64, more: &[&str]) -> Drawn {
    let reference = folder.join(format!("{name}.png"));
    picture.save(&reference).expect("the test's own picture can be written");
    draw_file(
        &reference,
        folder,
        name,
        width_mm,
        f64::from(picture.height()) / f64::from(picture.width()),
        more,
    )
}

/// [`draw`] for a picture that is a file already; `aspect` is its height over its width.
pub(crate) fn draw_file(
    reference: &Path,
    folder: &Path,
    name: &str,
    width_mm: f64,
    aspect: f64,
    more: &[&str],
) -> Drawn {
    let svg = folder.join(format!("{name}.svg"));
    let report = folder.join(format!("{name}-report.json"));
    let paper = format!("{}x{}mm", (width_mm + 20.0).ceil(), (width_mm * aspect + 20.0).ceil());
    let out = merestone()
        .arg("draw")
        .arg(reference)
        .args(["--paper", &paper, "--margin", "10mm", "--picture-width", &format!("{width_mm}mm")])
        .args(more)
        .arg("-o")
        .arg(&svg)
        .arg("--report")
        .arg(&report)
        .arg("--overwrite")
        .output()
        .expect("the program starts");
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(out.status.success(), "drawing {name} failed ({}): {said}", out.status);
    let report = std::fs::read_to_string(&report).expect("the report was written");
    let report: Value = serde_json::from_str(&report).expect("the report is JSON");
    let at = |key: &str| report["picture_mm"][key].as_f64().expect("picture_mm holds numbers");
    assert!((at("width") - width_mm).abs() < 0.001, "the picture is {} mm wide, not {width_mm}", at("width"));
    let origin = Vec2::new(at("x"), at("y"));
    let text = std::fs::read_to_string(&svg).expect("the SVG was written");
    Drawn { lines: read_lines(&text, origin), thin: read_thin(&text, origin), report }
}

/// The boundary lines of an SVG, moved so that the picture's top left is the origin.
pub(crate) fn read_lines(svg: &str, origin: Vec2) -> Vec<Line> {
    let document = roxmltree::Document::parse(svg).expect("the SVG is XML");
    let Some(group) = document.descendants().find(|n| n.attribute("id") == Some("boundary")) else {
        return vec![];
    };
    for node in group.ancestors().chain(group.descendants()) {
        assert!(
            node.attribute("transform").is_none(),
            "one unit has to be one mm: no transform on the way to a line"
        );
    }
    group.descendants().filter(|n| n.has_tag_name("path")).map(|n| read_line(n, origin)).collect()
}

/// The thin marks of an SVG, moved likewise.
fn read_thin(svg: &str, origin: Vec2) -> Vec<Thin> {
    let document = roxmltree::Document::parse(svg).expect("the SVG is XML");
    let Some(group) = document.descendants().find(|n| n.attribute("id") == Some("thin")) else {
        return vec![];
    };
    let number = |n: roxmltree::Node<'_, '_>, name: &str| -> f64 {
        n.attribute(name).expect("a mark says what it is").parse().expect("a number")
    };
    let paths = group.children().filter(|n| n.has_tag_name("path"));
    paths
        .map(|n| {
            let path = BezPath::from_svg(n.attribute("d").expect("a path has a d")).expect("a path");
            Thin {
                samples: samples(&(kurbo::Affine::translate(-origin) * path)),
                value: number(n, "data-value") as u8,
                width_mm: number(n, "data-width-mm"),
            }
        })
        .collect()
}

fn read_line(node: roxmltree::Node<'_, '_>, origin: Vec2) -> Line {
    let d = node.attribute("d").expect("a path has a d");
    let path = kurbo::Affine::translate(-origin) * BezPath::from_svg(d).expect("the path can be read");
    let values = node.attribute("data-values").expect("a boundary line has data-values");
    let values: Vec<u8> = values.split_whitespace().map(|v| v.parse().expect("values are numbers")).collect();
    let values = values.try_into().expect("a line has two sides");
    Line { samples: samples(&path), path, values }
}

/// Points along a path, [`SAMPLE_MM`] apart at most.
pub(crate) fn samples(path: &BezPath) -> Vec<Point> {
    let mut points = vec![];
    for segment in path.segments() {
        let pieces = (length(segment) / SAMPLE_MM).ceil().max(1.0) as usize;
        for i in 0..=pieces {
            points.push(segment.eval(i as f64 / pieces as f64));
        }
    }
    points
}

fn length(segment: PathSeg) -> f64 {
    // The control polygon is never shorter than the curve.
    match segment {
        PathSeg::Line(l) => l.p0.distance(l.p1),
        PathSeg::Quad(q) => q.p0.distance(q.p1) + q.p1.distance(q.p2),
        PathSeg::Cubic(c) => c.p0.distance(c.p1) + c.p1.distance(c.p2) + c.p2.distance(c.p3),
    }
}

/// A set of points to measure distances to.
pub(crate) struct Near(RTree<GeomWithData<[f64; 2], usize>>);

impl Near {
    pub(crate) fn new(points: &[Point]) -> Self {
        Self(RTree::bulk_load(
            points.iter().enumerate().map(|(i, p)| GeomWithData::new([p.x, p.y], i)).collect(),
        ))
    }

    /// Distance to the nearest point in mm, and which it is; infinite when there are none.
    pub(crate) fn nearest(&self, p: Point) -> (f64, usize) {
        self.0
            .nearest_neighbor(&[p.x, p.y])
            .map_or((f64::INFINITY, 0), |q| (p.distance(Point::new(q.geom()[0], q.geom()[1])), q.data))
    }
}

/// The value that a share `p` (0 to 1) of `all` does not exceed; 0 of nothing.
pub(crate) fn percentile(mut all: Vec<f64>, p: f64) -> f64 {
    all.sort_by(f64::total_cmp);
    let last = all.len().saturating_sub(1);
    all.get((p * last as f64).ceil() as usize).copied().unwrap_or(0.0)
}

/// The larger of the 98th percentiles of the distances from each set of points to the other, in mm.
pub(crate) fn apart(one: &[Point], other: &[Point]) -> f64 {
    let way = |from: &[Point], to: &Near| percentile(from.iter().map(|&p| to.nearest(p).0).collect(), 0.98);
    way(one, &Near::new(other)).max(way(other, &Near::new(one)))
}

/// Whether a line closes on itself.
pub(crate) fn closes(line: &Line) -> bool {
    let ends = (line.samples.first(), line.samples.last());
    matches!(ends, (Some(a), Some(b)) if a.distance(*b) < 1e-3) && line.path.bounding_box().area() > 1e-6
}

#[test]
fn lines_are_read_from_a_hand_made_svg() {
    let svg = r#"<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">
      <g id="frame"><path d="M0 0H60"/></g>
      <g id="boundary"><g id="hard"><path d="M12 11C13 11 14 11 15 11" data-values="2 4" data-edge-mm="0.2"/></g>
      <g id="soft"><path d="M20 20L30 20L30 30Z" data-values="1 2" data-edge-mm="3"/></g></g></svg>"#;
    let lines = read_lines(svg, Vec2::new(10.0, 10.0));
    assert_eq!(lines.len(), 2, "the frame is not a boundary line");
    assert_eq!(lines[0].values, [2, 4], "values are kept in order");
    assert!(!closes(&lines[0]) && closes(&lines[1]), "only the triangle closes");
    let first = &lines[0].samples;
    assert!(first.windows(2).all(|w| w[0].distance(w[1]) <= 0.15), "samples are close");
    assert!((first[0] - Point::new(2.0, 1.0)).hypot() < 1e-9, "the picture's corner is the origin");
    // Two parallel lines 0.3 mm apart, one with a tail of 10 mm that the other lacks.
    let one: Vec<_> = (0..500).map(|i| Point::new(f64::from(i) * 0.1, 0.0)).collect();
    let other: Vec<_> = (0..400).map(|i| Point::new(f64::from(i) * 0.1, 0.3)).collect();
    assert!((apart(&one[..400], &other) - 0.3).abs() < 1e-9, "parallel lines are as far apart as they are");
    assert!(apart(&one, &other) > 5.0, "a missing tail shows");
    assert!(apart(&one, &[]).is_infinite(), "nothing is far from something");
}
