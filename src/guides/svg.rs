//! Lines from an SVG file, by usvg: every path and shape with a stroke, as geometry alone.

use std::fs;
use std::io::Read;
use std::path::Path;

use kurbo::{Affine, CubicBez, Point};
use resvg::usvg::tiny_skia_path::PathSegment;
use resvg::usvg::{self, Group, ImageHrefResolver, Node, Options, Tree};

use super::{GuideError, GuideLine, ReadGuide};

/// Most bytes of a file of lines: a day's drawing needs less.
const MOST_BYTES: u64 = 32 << 20;
/// Most levels of elements within elements: each is a call within a call when the file is read.
const MOST_LEVELS: usize = 200;

/// Reads the lines of a file.
pub(super) fn read(path: &Path) -> Result<ReadGuide, GuideError> {
    let unread = |reason: String| GuideError::Unread { path: path.into(), reason };
    let no_svg = |reason: String| GuideError::NoSvg { path: path.into(), reason };
    let plain =
        |e: std::io::Error| e.to_string().split(" (os error").next().unwrap_or_default().to_lowercase();
    let mut bytes = Vec::new();
    let file = fs::File::open(path).map_err(|e| unread(plain(e)))?;
    file.take(MOST_BYTES + 1).read_to_end(&mut bytes).map_err(|e| unread(plain(e)))?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(no_svg(format!("it is larger than {} MiB", MOST_BYTES >> 20)));
    }
    let text = String::from_utf8(bytes).map_err(|_| no_svg("it is no text in UTF-8".into()))?;
    if levels(&text) > MOST_LEVELS {
        return Err(no_svg(format!("its elements lie more than {MOST_LEVELS} deep in each other")));
    }
    // Pictures and other files that an SVG names are nobody's lines: they are not opened.
    let options = Options {
        image_href_resolver: ImageHrefResolver {
            resolve_data: Box::new(|_, _, _| None),
            resolve_string: Box::new(|_, _| None),
        },
        ..Options::default()
    };
    let tree = Tree::from_str(&text, &options).map_err(|e| no_svg(said(&e.to_string())))?;
    let mut lines = Vec::new();
    collect(tree.root(), &mut lines);
    if lines.is_empty() {
        return Err(GuideError::NoLine { path: path.into() });
    }
    let size = [tree.size().width(), tree.size().height()].map(f64::from);
    Ok(ReadGuide::Page { path: path.into(), size, lines })
}

/// A message on one line, without an end of its own.
fn said(message: &str) -> String {
    let words: Vec<&str> = message.split_whitespace().collect();
    words.join(" ").chars().filter(|c| !c.is_control()).take(160).collect()
}

/// How deep elements lie in each other at most, by their tags alone.
fn levels(text: &str) -> usize {
    let (mut now, mut most) = (0_usize, 0);
    let bytes = text.as_bytes();
    for (i, _) in bytes.iter().enumerate().filter(|(_, b)| **b == b'<') {
        match bytes.get(i + 1) {
            Some(b'/') => now = now.saturating_sub(1),
            Some(b'!' | b'?') | None => {}
            Some(_) => {
                let end = text[i..].find('>').map_or(bytes.len(), |k| i + k);
                let closes = bytes.get(end.wrapping_sub(1)) == Some(&b'/');
                now += usize::from(!closes);
                most = most.max(now);
            }
        }
    }
    most
}

/// The lines of a group and all in it.
fn collect(group: &Group, lines: &mut Vec<GuideLine>) {
    for node in group.children() {
        match node {
            Node::Group(group) => collect(group, lines),
            Node::Path(path) if path.stroke().is_some() && path.is_visible() => {
                let t = path.abs_transform();
                let to_page = Affine::new([t.sx, t.ky, t.kx, t.sy, t.tx, t.ty].map(f64::from));
                let point =
                    |p: usvg::tiny_skia_path::Point| to_page * Point::new(f64::from(p.x), f64::from(p.y));
                let mut made = Pieces::default();
                for segment in path.data().segments() {
                    match segment {
                        PathSegment::MoveTo(p) => made.begin(point(p)),
                        PathSegment::LineTo(p) => made.line(point(p)),
                        PathSegment::QuadTo(a, p) => made.quad(point(a), point(p)),
                        PathSegment::CubicTo(a, b, p) => made.cubic(point(a), point(b), point(p)),
                        PathSegment::Close => made.close(),
                    }
                }
                lines.extend(made.done());
            }
            Node::Path(_) | Node::Image(_) | Node::Text(_) => {}
        }
    }
}

/// Lines as they are read.
#[derive(Default)]
struct Pieces {
    done: Vec<GuideLine>,
    now: Vec<CubicBez>,
    start: Point,
    at: Point,
}

impl Pieces {
    fn finish(&mut self, closed: bool) {
        let curve = std::mem::take(&mut self.now);
        let finite = curve.iter().all(|c| [c.p0, c.p1, c.p2, c.p3].iter().all(|p| p.is_finite()));
        if !curve.is_empty() && finite {
            self.done.push(GuideLine { curve, closed });
        }
    }

    fn begin(&mut self, p: Point) {
        self.finish(false);
        (self.start, self.at) = (p, p);
    }

    fn cubic(&mut self, a: Point, b: Point, p: Point) {
        self.now.push(CubicBez::new(self.at, a, b, p));
        self.at = p;
    }

    fn line(&mut self, p: Point) {
        let from = self.at;
        self.cubic(from.lerp(p, 1.0 / 3.0), from.lerp(p, 2.0 / 3.0), p);
    }

    fn quad(&mut self, a: Point, p: Point) {
        let from = self.at;
        self.cubic(from.lerp(a, 2.0 / 3.0), p.lerp(a, 2.0 / 3.0), p);
    }

    fn close(&mut self) {
        if self.at != self.start {
            self.line(self.start);
        }
        self.finish(true);
        self.at = self.start;
    }

    fn done(mut self) -> Vec<GuideLine> {
        self.finish(false);
        self.done
    }
}
