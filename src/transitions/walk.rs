//! Walks around the areas of a net: their outlines with holes, what meets at a junction, polygons.

use std::collections::HashMap;

use kurbo::{CubicBez, ParamCurve, ParamCurveArea, ParamCurveDeriv, PathEl, Point, Vec2};
use thiserror::Error;

use super::net::{BoundaryNet, Transition};
use super::turned::along_edge;

/// Two ends are one place when they are nearer than this, in mm: coordinates are whole micrometres.
const SAME_PLACE_MM: f64 = 0.0005;
/// How far along a curve its direction is taken where tangents agree, as a share of its first cubic.
const A_LITTLE: f64 = 0.05;

/// One part of a walk around an area, the area on the left (seen on the sheet).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Part {
    /// Along a transition, forward or backward.
    Transition {
        /// Its index in the net.
        index: usize,
        /// Whether the walk goes from its end to its start.
        backward: bool,
    },
    /// Along the picture's edge, which is walked against the clock; corners may lie between.
    Frame {
        /// Where it begins, in mm on the picture.
        from: Point,
        /// Where it ends; the same point where the whole edge is walked.
        to: Point,
    },
}

/// The outline of one area: closed walks that touch each other and themselves nowhere but at single junctions.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outline {
    /// The walk around the area, against the clock as seen on the sheet.
    pub outer: Vec<Part>,
    /// Walks around what lies inside it, with the clock; in the order of the net's transitions.
    pub holes: Vec<Vec<Part>>,
}

/// An area as a polygon in mm on the picture; the last point of a ring is joined to its first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AreaPolygon {
    /// Around the area, against the clock as seen on the sheet.
    pub outer: Vec<Point>,
    /// Around its holes, with the clock.
    pub holes: Vec<Vec<Point>>,
}

/// Where a transition ends on the picture's edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FrameContact {
    /// The place, in mm on the picture.
    pub at: Point,
    /// The transition.
    pub transition: usize,
    /// Whether it is the transition's end (or its start).
    pub at_end: bool,
}

/// A net that does not keep its invariants cannot be walked.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum WalkError {
    /// A walk cannot go on.
    #[error("no line goes on around area {area} at {x:.3}, {y:.3} mm: the net is not planar there")]
    NoWayOn {
        /// The area that is walked around.
        area: usize,
        /// Place in mm on the picture.
        x: f64,
        /// Place in mm on the picture.
        y: f64,
    },
    /// An area has no outline, or several.
    #[error("area {area} has {count} outer outlines where each area has one")]
    Outlines {
        /// The area.
        area: usize,
        /// How many walks go around it against the clock.
        count: usize,
    },
}

/// A place where walks turn: a junction, or a place on the picture's edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
enum Node {
    Junction(usize),
    /// Place among the contacts in their order along the edge.
    Frame(usize),
}

/// A way that leaves a node: a transition, or the picture's edge onward.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Way {
    Line { index: usize, backward: bool },
    Edge(usize),
}

impl BoundaryNet {
    /// Where transitions end on the picture's edge, in order along it: down the left side from the top left corner,
    /// along the bottom, up, and back along the top.
    #[must_use]
    pub fn frame_contacts(&self) -> Vec<FrameContact> {
        let mut contacts = Vec::new();
        for (transition, t) in self.transitions.iter().enumerate().filter(|(_, t)| !t.closed) {
            for (at_end, junction, at) in [(false, t.from, t.start()), (true, t.to, t.end())] {
                if junction.is_none() {
                    contacts.push(FrameContact { at, transition, at_end });
                }
            }
        }
        contacts.sort_by(|a, b| self.along_edge(a.at).total_cmp(&self.along_edge(b.at)));
        contacts
    }

    /// Transitions that meet a transition at its start and at its end (itself too, where both its ends meet).
    #[must_use]
    pub fn neighbours(&self, transition: usize) -> [Vec<usize>; 2] {
        let t = &self.transitions[transition];
        [t.from, t.to].map(|junction| {
            let Some(junction) = junction else { return Vec::new() };
            let meets = |(other, o): (usize, &Transition)| {
                let ends = usize::from(o.from == Some(junction)) + usize::from(o.to == Some(junction));
                (ends > usize::from(other == transition)).then_some(other)
            };
            self.transitions.iter().enumerate().filter_map(meets).collect()
        })
    }

    /// The outline of each area, in the order of `areas`.
    ///
    /// Every transition is walked twice, once from each side, and the picture's edge once; the outlines cover the
    /// picture without gap or overlap. Time grows with the number of transitions.
    ///
    /// # Errors
    /// [`WalkError`] when the net does not keep its invariants; never on a net made by [`trace`](super::trace).
    pub fn outlines(&self) -> Result<Vec<Outline>, WalkError> {
        Walker::new(self).outlines()
    }

    /// Each area as a polygon, its curves flattened to within `tolerance_mm`.
    ///
    /// Both areas beside a transition get the same points, so polygons share their borders exactly. Lines keep
    /// 0.005 mm from each other, so polygons are simple up to a tolerance of 0.004 mm; coarser ones may cross.
    ///
    /// # Errors
    /// As [`BoundaryNet::outlines`].
    pub fn polygons(&self, tolerance_mm: f64) -> Result<Vec<AreaPolygon>, WalkError> {
        let flat: Vec<Vec<Point>> = self.transitions.iter().map(|t| flattened(t, tolerance_mm)).collect();
        let ring = |parts: &Vec<Part>| {
            let mut points = Vec::new();
            for part in parts {
                match *part {
                    Part::Transition { index, backward: false } => {
                        points.extend_from_slice(&flat[index][..flat[index].len() - 1]);
                    }
                    Part::Transition { index, backward: true } => {
                        points.extend(flat[index].iter().skip(1).rev());
                    }
                    Part::Frame { from, to } => {
                        points.push(from);
                        points.extend(self.corners_between(from, to));
                    }
                }
            }
            points
        };
        let outlines = self.outlines()?;
        let polygon =
            |o: &Outline| AreaPolygon { outer: ring(&o.outer), holes: o.holes.iter().map(ring).collect() };
        Ok(outlines.iter().map(polygon).collect())
    }

    /// Place on the picture's edge in mm from the top left corner: down the left side first.
    fn along_edge(&self, p: Point) -> f64 {
        along_edge(p, self.width_mm, self.height_mm)
    }

    /// Corners of the picture passed on the way along its edge, against the clock; all four where both places are one.
    #[must_use]
    pub fn corners_between(&self, from: Point, to: Point) -> Vec<Point> {
        let (w, h) = (self.width_mm, self.height_mm);
        let around = 2.0 * (w + h);
        let (a, mut b) = (self.along_edge(from), self.along_edge(to));
        if b <= a + SAME_PLACE_MM {
            b += around;
        }
        let corners = [
            (0.0, Point::ORIGIN),
            (h, Point::new(0.0, h)),
            (h + w, Point::new(w, h)),
            (2.0 * h + w, Point::new(w, 0.0)),
        ];
        let twice = corners.iter().chain(&corners).enumerate();
        twice
            .map(|(i, &(s, p))| (if i < 4 { s } else { s + around }, p))
            .filter(|&(s, _)| s > a + SAME_PLACE_MM && s < b - SAME_PLACE_MM)
            .map(|(_, p)| p)
            .collect()
    }
}

/// The net as ways between nodes.
struct Walker<'a> {
    net: &'a BoundaryNet,
    /// Ways that leave each node.
    leaving: HashMap<Node, Vec<Way>>,
    /// Places on the picture's edge, in order.
    edge: Vec<Point>,
    /// Nodes at both ends of each transition.
    ends: Vec<[Option<Node>; 2]>,
}

impl<'a> Walker<'a> {
    fn new(net: &'a BoundaryNet) -> Self {
        let contacts = net.frame_contacts();
        let mut edge: Vec<Point> = Vec::new();
        let mut ends: Vec<[Option<Node>; 2]> =
            net.transitions.iter().map(|t| [t.from, t.to].map(|j| j.map(Node::Junction))).collect();
        for contact in &contacts {
            if edge.last().is_none_or(|last| last.distance(contact.at) > SAME_PLACE_MM) {
                edge.push(contact.at);
            }
            ends[contact.transition][usize::from(contact.at_end)] = Some(Node::Frame(edge.len() - 1));
        }
        let mut leaving: HashMap<Node, Vec<Way>> = HashMap::new();
        for (index, e) in ends.iter().enumerate() {
            for (backward, node) in [(false, e[0]), (true, e[1])] {
                if let Some(node) = node {
                    leaving.entry(node).or_default().push(Way::Line { index, backward });
                }
            }
        }
        Self { net, leaving, edge, ends }
    }

    /// Area on the left of a way along a transition.
    fn left(&self, index: usize, backward: bool) -> usize {
        let t = &self.net.transitions[index];
        if backward { t.right } else { t.left }
    }

    /// Direction in which a transition leaves one of its ends: at the end itself, or a little further along.
    fn direction(&self, index: usize, backward: bool, further: bool) -> Vec2 {
        let curve = &self.net.transitions[index].curve;
        let c = if backward {
            let c = curve[curve.len() - 1];
            CubicBez::new(c.p3, c.p2, c.p1, c.p0)
        } else {
            curve[0]
        };
        let tangent = c.deriv().eval(0.0).to_vec2();
        let away = if further || tangent.hypot() < 1e-9 { c.eval(A_LITTLE) - c.p0 } else { tangent };
        if away.hypot() < 1e-9 { c.p3 - c.p0 } else { away }
    }

    /// The way on around `area` at a node, having come along `came` (which way leads back).
    fn on(&self, node: Node, came: Way, area: usize) -> Result<Way, WalkError> {
        let ways = self.leaving.get(&node).map_or(&[][..], Vec::as_slice);
        let mut keeps: Vec<Way> = ways
            .iter()
            .copied()
            .filter(|&w| matches!(w, Way::Line { index, backward } if self.left(index, backward) == area))
            .collect();
        // The edge goes on beside the area on the right of the last line of its place; it is no choice elsewhere.
        if let Node::Frame(place) = node
            && self.edge_area_after(place) == Some(area)
            && (!matches!(came, Way::Edge(_)) || keeps.is_empty())
        {
            keeps.push(Way::Edge(place));
        }
        match keeps.len() {
            1 => Ok(keeps[0]),
            0 => {
                let at = match node {
                    Node::Junction(j) => self.net.junctions[j].at,
                    Node::Frame(place) => self.edge[place],
                };
                Err(WalkError::NoWayOn { area, x: at.x, y: at.y })
            }
            // The area touches itself here: its next border is the first one with the clock from where we came.
            _ => Ok(self.first_with_the_clock(node, came, &keeps)),
        }
    }

    /// Of several ways the first that is met when turning with the clock (as seen on the sheet) from the way back.
    fn first_with_the_clock(&self, node: Node, came: Way, keeps: &[Way]) -> Way {
        let heading = |way: Way, further: bool, back: bool| match way {
            Way::Line { index, backward } => self.direction(index, backward != back, further),
            Way::Edge(place) => self.edge_direction(place, back),
        };
        let turn = |way: Way, further: bool| {
            let from = match (came, node) {
                // The way back along the edge, from the place reached.
                (Way::Edge(_), Node::Frame(place)) => self.edge_direction(place, true),
                _ => heading(came, further, true),
            };
            let to = heading(way, further, false);
            // With y down, growing angles turn with the clock.
            let angle = to.atan2() - from.atan2();
            angle.rem_euclid(std::f64::consts::TAU)
        };
        let further =
            keeps.iter().any(|&w| turn(w, false) < 1e-6 || turn(w, false) > std::f64::consts::TAU - 1e-6);
        let mut best = keeps[0];
        for &way in &keeps[1..] {
            if turn(way, further) < turn(best, further) {
                best = way;
            }
        }
        best
    }

    /// Direction of the picture's edge at a place: onward, or back.
    fn edge_direction(&self, place: usize, back: bool) -> Vec2 {
        let s = self.net.along_edge(self.edge[place]);
        let (w, h) = (self.net.width_mm, self.net.height_mm);
        let bounds = [0.0, h, h + w, 2.0 * h + w, 2.0 * (h + w)];
        let onward = [Vec2::new(0.0, 1.0), Vec2::new(1.0, 0.0), Vec2::new(0.0, -1.0), Vec2::new(-1.0, 0.0)];
        let side = |s: f64| (0..4).find(|&k| s < bounds[k + 1]).unwrap_or(3);
        if back {
            // At a corner the way back is the side before it.
            let s = if s <= SAME_PLACE_MM { bounds[4] } else { s };
            -onward[side(s - SAME_PLACE_MM)]
        } else {
            onward[side(s + SAME_PLACE_MM)]
        }
    }

    /// Area along the picture's edge after a place on it.
    fn edge_area_after(&self, place: usize) -> Option<usize> {
        let ways = self.leaving.get(&Node::Frame(place))?;
        // The last line before the edge goes on, turning with the clock from the way back along the edge.
        let back = self.edge_direction(place, true);
        let last = ways.iter().copied().max_by(|&a, &b| {
            let turn = |way: Way| match way {
                Way::Line { index, backward } => {
                    let angle = self.direction(index, backward, true).atan2() - back.atan2();
                    angle.rem_euclid(std::f64::consts::TAU)
                }
                Way::Edge(_) => 0.0,
            };
            turn(a).total_cmp(&turn(b))
        })?;
        // A way inward from the edge has on its right what lies beyond it.
        match last {
            Way::Line { index, backward } => Some(self.left(index, !backward)),
            Way::Edge(_) => None,
        }
    }

    fn outlines(&self) -> Result<Vec<Outline>, WalkError> {
        let mut rings: Vec<(usize, Vec<Part>)> = Vec::new();
        let mut walked = vec![[false; 2]; self.net.transitions.len()];
        for index in 0..walked.len() {
            for backward in [false, true] {
                if !walked[index][usize::from(backward)] {
                    let area = self.left(index, backward);
                    for ring in self.walk(index, backward, area, &mut walked)? {
                        rings.push((area, ring));
                    }
                }
            }
        }
        let mut outlines = vec![Outline::default(); self.net.areas.len()];
        let mut outer_count = vec![0; outlines.len()];
        for (area, ring) in rings {
            if self.signed_area(&ring) < 0.0 {
                outer_count[area] += 1;
                outlines[area].outer = ring;
            } else {
                outlines[area].holes.push(ring);
            }
        }
        // Where no line reaches the picture's edge, the one area that nothing goes around has the whole of it.
        if self.edge.is_empty()
            && let Some(area) = outer_count.iter().position(|&n| n == 0)
        {
            outer_count[area] = 1;
            outlines[area].outer = vec![Part::Frame { from: Point::ORIGIN, to: Point::ORIGIN }];
        }
        match outer_count.iter().position(|&n| n != 1) {
            Some(area) => Err(WalkError::Outlines { area, count: outer_count[area] }),
            None => Ok(outlines),
        }
    }

    /// The walk that begins along a transition, as rings that pass no node twice.
    fn walk(
        &self,
        index: usize,
        backward: bool,
        area: usize,
        walked: &mut [[bool; 2]],
    ) -> Result<Vec<Vec<Part>>, WalkError> {
        let mut rings = Vec::new();
        let mut parts: Vec<Part> = Vec::new();
        // The node at which each part begins.
        let mut nodes: Vec<Node> = Vec::new();
        let mut way = Way::Line { index, backward };
        loop {
            let (part, start, end) = match way {
                Way::Line { index, backward } => {
                    if std::mem::replace(&mut walked[index][usize::from(backward)], true) {
                        break;
                    }
                    let [a, b] = self.ends[index];
                    let ends = if backward { (b, a) } else { (a, b) };
                    (Part::Transition { index, backward }, ends.0, ends.1)
                }
                Way::Edge(place) => {
                    let next = (place + 1) % self.edge.len();
                    let part = Part::Frame { from: self.edge[place], to: self.edge[next] };
                    (part, Some(Node::Frame(place)), Some(Node::Frame(next)))
                }
            };
            let (Some(start), Some(end)) = (start, end) else {
                // It closes on itself.
                return Ok(vec![vec![part]]);
            };
            parts.push(part);
            nodes.push(start);
            // A place passed before closes a ring of its own.
            if let Some(since) = nodes.iter().position(|&n| n == end) {
                nodes.truncate(since);
                rings.push(parts.split_off(since));
            }
            way = self.on(end, way, area)?;
        }
        Ok(rings)
    }

    /// Area inside a ring in mm2: negative when it is walked against the clock as seen on the sheet.
    fn signed_area(&self, ring: &[Part]) -> f64 {
        let straight = |a: Point, b: Point| 0.5 * (a.x * b.y - b.x * a.y);
        ring.iter()
            .map(|part| match *part {
                Part::Transition { index, backward } => {
                    let area: f64 =
                        self.net.transitions[index].curve.iter().map(ParamCurveArea::signed_area).sum();
                    if backward { -area } else { area }
                }
                Part::Frame { from, to } => {
                    let mut places = vec![from];
                    places.extend(self.net.corners_between(from, to));
                    places.push(to);
                    places.windows(2).map(|p| straight(p[0], p[1])).sum()
                }
            })
            .sum()
    }
}

/// Points along a transition, from its start to its end, every one within the tolerance in mm.
fn flattened(t: &Transition, tolerance_mm: f64) -> Vec<Point> {
    let mut points = Vec::new();
    kurbo::flatten(t.path(), tolerance_mm, |element| match element {
        PathEl::MoveTo(p) | PathEl::LineTo(p) => points.push(p),
        _ => {}
    });
    // The ends to the last digit.
    if let [first, .., last] = points.as_mut_slice() {
        (*first, *last) = (t.start(), t.end());
    }
    points.dedup_by(|a, b| a == b);
    points
}
