//! The sheet as the numbers find it: areas, lines and marks in mm on the sheet as shown.

use kurbo::{Affine, CubicBez, PathEl, Point, Rect};
use rstar::primitives::Line;
use rstar::{AABB, PointDistance, RTree};

use crate::sheet::{Furniture, Layer, Placement, RectMm, View};
use crate::strokes::GuideStroke;
use crate::thin::ThinMark;
use crate::transitions::{BoundaryNet, WalkError};

use super::widest::Inside;

/// How far straight pieces may lie from the curves, in mm: small against any room, and areas stay simple.
const FLAT_MM: f64 = 0.002;

/// What is drawn already, and where there is paper left.
pub(super) struct Ground {
    /// The inside of each area, in the order of the net.
    pub(super) areas: Vec<Inside>,
    /// Boundary lines, thin marks, guide lines and the picture's edge in straight pieces.
    pub(super) lines: Vec<[Point; 2]>,
    /// What is printed around the picture, in straight pieces.
    pub(super) marks: Vec<[Point; 2]>,
    /// Texts around the picture.
    pub(super) texts: Vec<Rect>,
    /// What the printer reaches.
    pub(super) reach: Rect,
    /// From the picture to the sheet as shown.
    pub(super) shown: Affine,
    index: RTree<Line<[f64; 2]>>,
}

/// A net on its sheet.
#[derive(Clone, Copy, Debug)]
pub struct PlanGround<'a> {
    /// The net, in mm on the picture.
    pub net: &'a BoundaryNet,
    /// Thin marks beside it.
    pub thin: &'a [ThinMark],
    /// Guide lines, in mm on the sheet as it is.
    pub guides: &'a [GuideStroke],
    /// The sheet as it is.
    pub placement: &'a Placement,
    /// How it is shown.
    pub view: View,
    /// What is printed around the picture as shown.
    pub marks: &'a Furniture,
    /// Edge of the paper that the printer does not reach, in mm.
    pub printer_margin_mm: f64,
}

impl Ground {
    pub(super) fn new(of: &PlanGround<'_>) -> Result<Self, WalkError> {
        let sheet_mm = of.placement.sheet_mm;
        let shown = of.view.transform(sheet_mm) * Affine::translate(of.placement.offset());
        let areas = of
            .net
            .polygons(FLAT_MM)?
            .into_iter()
            .map(|polygon| {
                let moved = |ring: Vec<Point>| ring.into_iter().map(|p| shown * p).collect::<Vec<_>>();
                let rings: Vec<_> = std::iter::once(polygon.outer).chain(polygon.holes).map(moved).collect();
                Inside::new(&rings)
            })
            .collect();
        let mut lines = Vec::new();
        let curves = of.net.transitions.iter().map(|t| &t.curve).chain(of.thin.iter().map(|m| &m.curve));
        for curve in curves {
            flatten(curve, shown, &mut lines);
        }
        for guide in of.guides {
            flatten(&guide.curve, of.view.transform(sheet_mm), &mut lines);
        }
        // The edge is drawn where the picture lies; whole working pixels may leave the net a little smaller or larger.
        let picture = rect(&of.view.placement(of.placement).picture_mm);
        let corners = [
            Point::new(picture.x0, picture.y0),
            Point::new(picture.x1, picture.y0),
            Point::new(picture.x1, picture.y1),
            Point::new(picture.x0, picture.y1),
        ];
        lines.extend((0..4).map(|k| [corners[k], corners[(k + 1) % 4]]));
        // The grid over the picture gives way to numbers, so it is no obstacle; its ticks lie beside the picture.
        let marks = of
            .marks
            .lines
            .iter()
            .flat_map(|l| &l.paths)
            .flat_map(|path| path.windows(2).map(|p| [p[0], p[1]]))
            .filter(|[a, b]| !(within(&picture, *a) && within(&picture, *b)))
            .collect();
        let texts = of.marks.texts.iter().map(|t| Rect::from_points(t.bounds()[0], t.bounds()[1])).collect();
        let edge = of.printer_margin_mm;
        let [width, height] = of.view.size(sheet_mm);
        let index = RTree::bulk_load(lines.iter().map(|[a, b]| Line::new([a.x, a.y], [b.x, b.y])).collect());
        Ok(Self {
            areas,
            lines,
            marks,
            texts,
            reach: Rect::new(edge, edge, width - edge, height - edge),
            shown,
            index,
        })
    }

    /// How many lines a straight piece crosses.
    pub(super) fn crossings(&self, [from, to]: [Point; 2]) -> usize {
        let near = AABB::from_corners([from.x, from.y], [to.x, to.y]);
        let crossed = |line: &&Line<[f64; 2]>| {
            let [a, b] = [line.from, line.to].map(|[x, y]| Point::new(x, y));
            let side = |p: Point, q: Point, of: Point| (q - p).cross(of - p);
            (side(a, b, from) > 0.0) != (side(a, b, to) > 0.0)
                && (side(from, to, a) > 0.0) != (side(from, to, b) > 0.0)
        };
        self.index.locate_in_envelope_intersecting(&near).filter(crossed).count()
    }

    /// Distance in mm from a point to the nearest line.
    pub(super) fn distance(&self, p: Point) -> f64 {
        let at = [p.x, p.y];
        self.index.nearest_neighbor(&at).map_or(f64::INFINITY, |line| line.distance_2(&at).sqrt())
    }
}

fn within(r: &Rect, p: Point) -> bool {
    const ROUNDED_MM: f64 = 0.002;
    r.inflate(ROUNDED_MM, ROUNDED_MM).contains(p)
}

/// Appends the straight pieces of a curve.
fn flatten(curve: &[CubicBez], shown: Affine, pieces: &mut Vec<[Point; 2]>) {
    let Some(first) = curve.first() else { return };
    let mut path = kurbo::BezPath::new();
    path.move_to(first.p0);
    curve.iter().for_each(|c| path.curve_to(c.p1, c.p2, c.p3));
    let mut last = first.p0;
    kurbo::flatten(path, FLAT_MM, |element| {
        if let PathEl::LineTo(p) = element {
            pieces.push([shown * last, shown * p]);
            last = p;
        }
    });
}

/// A rectangle as kurbo has it.
pub(super) fn rect(r: &RectMm) -> Rect {
    Rect::new(r.x, r.y, r.x + r.width, r.y + r.height)
}

/// Takes the light grid over the picture away under some boxes, so that it touches no number.
pub(super) fn part_grid(furniture: &mut Furniture, boxes: &[Rect], gap_mm: f64) {
    for lines in furniture.lines.iter_mut().filter(|l| l.layer == Layer::Squares) {
        for b in boxes {
            let b = b.inflate(gap_mm, gap_mm);
            lines.paths = lines.paths.drain(..).flat_map(|path| parted(path, &b)).collect();
        }
    }
}

/// What is left of a straight line along an axis outside a box.
fn parted(path: Vec<Point>, b: &Rect) -> Vec<Vec<Point>> {
    let [from, to] = path[..] else { return vec![path] };
    if !super::widest::segment_meets_box(*b, [from, to]) {
        return vec![path];
    }
    let down = (from.x - to.x).abs() < (from.y - to.y).abs();
    let place = |p: Point| if down { p.y } else { p.x };
    let at = |s: f64| if down { Point::new(from.x, s) } else { Point::new(s, from.y) };
    let (low, high) = (place(from).min(place(to)), place(from).max(place(to)));
    let [first, second] = if down { [b.y0, b.y1] } else { [b.x0, b.x1] };
    [(low, first.min(high)), (second.max(low), high)]
        .into_iter()
        .filter(|(a, b)| a < b)
        .map(|(a, b)| vec![at(a), at(b)])
        .collect()
}
