//! Leaders: numbers of areas too small to hold one, put on free paper nearby and led to by a thin straight line.

use kurbo::{Point, Rect, Vec2};
use rstar::primitives::{GeomWithData, Line, Rectangle};
use rstar::{AABB, RTree};

use super::ground::{Ground, rect};
use super::numbers::{LEADER_HEIGHTS_MM, PlanValue, around, box_size};
use super::widest::{Seen, box_to_segment, point_to_segment, segment_meets_box};
use super::{LEAST_GAP_MM, Label, Leader, Marked};

/// Distance between a number and the beginning of its leader in mm.
const BEGINS_MM: f64 = 0.35;
/// Least distance of a number from a leader and of a leader from another dot, in mm.
const APART_MM: f64 = 0.5;
/// Radii of dots in mm.
const RADII_MM: [f64; 2] = [0.22, 0.4];
/// Least distance of a number from another, beside it and above it, in mm: 7 and 3 shall not read as 73.
const NUMBERS_APART_MM: [f64; 2] = [1.6, 0.8];
/// Least distance between two leaders in mm.
const LEADERS_APART_MM: f64 = 0.4;
/// Shortest and longest leader in mm; the longest is tried when nothing nearer is free.
const LENGTHS_MM: [f64; 3] = [2.0, 14.0, 28.0];
/// Step between the lengths that are tried in mm, and how many directions.
const STEP_MM: f64 = 0.6;
const DIRECTIONS: usize = 48;
/// What the crossing of a line is worth, in mm of leader.
const CROSSING_MM: f64 = 5.0;
/// What a mm of leader beside a line is worth (it is hard to tell from the line), and what counts as beside, in mm.
const BESIDE: f64 = 2.0;
const BESIDE_MM: f64 = 0.3;
/// What a number that is saved is worth, in mm of leader.
const SAVED_MM: f64 = 9.0;
/// Most areas that share one number, and the greatest distance between their dots in mm.
const MOST_SHARING: usize = 6;
const SHARING_MM: f64 = 15.0;

/// What has no number of its own yet, with the place of its dot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Speck {
    pub(super) of: Marked,
    pub(super) value: PlanValue,
    /// Where its dot lies: farthest from the area's border.
    pub(super) at: Point,
}

type Block = Rectangle<[f64; 2]>;
type Drawn = Line<[f64; 2]>;
type Dot = GeomWithData<[f64; 2], Marked>;

/// What is on the sheet so far.
pub(super) struct Taken<'a> {
    ground: &'a Ground,
    /// Boxes of numbers and other texts.
    boxes: RTree<Block>,
    leaders: RTree<Drawn>,
    /// Places of dots, and what each is of.
    dots: RTree<Dot>,
}

/// One way to put a number for some specks.
struct Choice {
    middle: Point,
    size: [f64; 2],
    height_mm: f64,
    clearance_mm: f64,
    led: Vec<(Marked, [Point; 2])>,
    cost: f64,
}

impl<'a> Taken<'a> {
    /// With numbers that stand already, and other rectangles to keep out of.
    pub(super) fn new(ground: &'a Ground, labels: &[Label], blocks: &[Rect]) -> Self {
        let placed = labels.iter().map(|l| rect(&l.box_mm));
        let all = placed.chain(ground.texts.iter().copied()).chain(blocks.iter().copied());
        Self {
            ground,
            boxes: RTree::bulk_load(all.map(block).collect()),
            // Leaders keep away from marks as from each other.
            leaders: RTree::bulk_load(ground.marks.iter().map(|&ends| drawn(ends)).collect()),
            dots: RTree::new(),
        }
    }

    /// Puts numbers for specks, several of one value with one number where they are near each other; those that find
    /// no room are given back.
    pub(super) fn lead(&mut self, mut waiting: Vec<Speck>, labels: &mut Vec<Label>) -> Vec<Speck> {
        self.dots = RTree::bulk_load(waiting.iter().map(|s| Dot::new([s.at.x, s.at.y], s.of)).collect());
        let [_, usual, longest] = LENGTHS_MM;
        for (height_mm, reach_mm) in
            [(LEADER_HEIGHTS_MM[0], usual), (LEADER_HEIGHTS_MM[1], usual), (LEADER_HEIGHTS_MM[1], longest)]
        {
            let seen = [false, true].map(|half| {
                let size = box_size(half, height_mm);
                Seen::new(self.ground.lines.iter(), size)
            });
            let mut left = Vec::new();
            while !waiting.is_empty() {
                let speck = waiting.remove(0);
                let half = speck.value.is_half();
                match self.choose(&speck, &waiting, height_mm, &seen[usize::from(half)], reach_mm) {
                    Some(choice) => {
                        waiting.retain(|w| choice.led.iter().all(|&(of, _)| of != w.of));
                        labels.push(self.put(choice, speck.value));
                    }
                    None => left.push(speck),
                }
            }
            waiting = left;
        }
        waiting
    }

    /// The cheapest way to put a number for a speck, and for others of its value that it can serve too.
    fn choose(
        &self,
        speck: &Speck,
        others: &[Speck],
        height_mm: f64,
        seen: &Seen,
        reach_mm: f64,
    ) -> Option<Choice> {
        let size = box_size(speck.value.is_half(), height_mm);
        let mut sharing: Vec<&Speck> = others
            .iter()
            .filter(|o| o.value == speck.value && o.at.distance(speck.at) <= SHARING_MM)
            .collect();
        sharing.sort_by(|a, b| a.at.distance(speck.at).total_cmp(&b.at.distance(speck.at)));
        sharing.truncate(MOST_SHARING - 1);
        let most_saved = SAVED_MM * sharing.len() as f64;
        let mut best: Option<Choice> = None;
        let steps = ((reach_mm - LENGTHS_MM[0]) / STEP_MM).ceil() as usize;
        for step in 0..=steps {
            let length = LENGTHS_MM[0] + step as f64 * STEP_MM;
            // A leader leaves its own area, so it crosses a line at least.
            let least = length + CROSSING_MM - most_saved;
            if best.as_ref().is_some_and(|b| b.cost <= least) {
                break;
            }
            for direction in 0..DIRECTIONS {
                let angle = direction as f64 / DIRECTIONS as f64 * std::f64::consts::TAU;
                let way = Vec2::from_angle(angle);
                let out = (size[0] / 2.0 / way.x.abs().max(1e-9)).min(size[1] / 2.0 / way.y.abs().max(1e-9));
                let middle = speck.at + way * (length + out);
                let Some((clearance_mm, held)) = self.free(middle, size, seen) else { continue };
                let Some((leader, own)) = self.led(&held, speck, &[]) else { continue };
                let mut led = vec![(speck.of, leader)];
                let mut cost = own;
                for other in &sharing {
                    if let Some((leader, more)) = self.led(&held, other, &led)
                        && more < SAVED_MM + CROSSING_MM
                        && leader[0].distance(leader[1]) <= reach_mm
                    {
                        led.push((other.of, leader));
                        cost += more - SAVED_MM - CROSSING_MM;
                    }
                }
                if best.as_ref().is_none_or(|b| cost < b.cost) {
                    best = Some(Choice { middle, size, height_mm, clearance_mm, led, cost });
                }
            }
        }
        best
    }

    /// Whether a box is free, and how far it is from the nearest line.
    fn free(&self, middle: Point, size: [f64; 2], seen: &Seen) -> Option<(f64, Rect)> {
        let held = rect(&around(middle, size));
        let r = &self.ground.reach;
        if held.x0 < r.x0 || held.x1 > r.x1 || held.y0 < r.y0 || held.y1 > r.y1 {
            return None;
        }
        let near = envelope(held.inflate(APART_MM, APART_MM));
        let widest = RADII_MM[1] + LEAST_GAP_MM;
        let dots = envelope(held.inflate(widest, widest));
        let beside = envelope(held.inflate(NUMBERS_APART_MM[0], NUMBERS_APART_MM[1]));
        if self.boxes.locate_in_envelope_intersecting(&beside).next().is_some()
            || self.dots.locate_in_envelope(&dots).any(|dot| !self.clear_of_dot(held, point(dot), dot.data))
        {
            return None;
        }
        let clear = |d: &Drawn| box_to_segment(held, ends(d)) >= APART_MM;
        if !self.leaders.locate_in_envelope_intersecting(&near).all(clear) {
            return None;
        }
        let clearance = seen.clearance(middle);
        (clearance >= LEAST_GAP_MM).then_some((clearance, held))
    }

    /// The leader from a box to a speck and what it costs, when it is in nobody's way; `own` are those of the same box.
    fn led(&self, held: &Rect, speck: &Speck, own: &[(Marked, [Point; 2])]) -> Option<([Point; 2], f64)> {
        let nearest = Point::new(speck.at.x.clamp(held.x0, held.x1), speck.at.y.clamp(held.y0, held.y1));
        let length = nearest.distance(speck.at);
        if length < LENGTHS_MM[0] - 1e-9 {
            return None;
        }
        let begins = nearest + (speck.at - nearest) * (BEGINS_MM / length);
        let leader = [begins, speck.at];
        let reach = RADII_MM[1] + LEAST_GAP_MM;
        let near = envelope(Rect::from_points(begins, speck.at).inflate(reach, reach));
        let apart = |b: &Block| {
            let [low, high] = [b.lower(), b.upper()];
            let b = Rect::new(low[0], low[1], high[0], high[1]);
            !segment_meets_box(b.inflate(APART_MM, APART_MM), leader)
                && self.clear_of_dot(b, speck.at, speck.of)
        };
        let parted = |d: &Drawn| segments_apart(ends(d), leader) >= LEADERS_APART_MM;
        let dotted = |dot: &&Dot| {
            let p = point(dot);
            p.distance(speck.at) < 1e-9 || point_to_segment(p, leader) >= APART_MM
        };
        // Leaders of one number part from each other at the number, so only their far halves are held apart.
        let far = |[a, b]: [Point; 2]| [a.midpoint(b), b];
        let of_own = |&(_, other): &(Marked, [Point; 2])| {
            segments_apart(other, far(leader)).min(segments_apart(far(other), leader)) >= LEADERS_APART_MM
                && segments_apart(other, leader) > 0.0
        };
        let clear = self.boxes.locate_in_envelope_intersecting(&near).all(apart)
            && self.leaders.locate_in_envelope_intersecting(&near).all(parted)
            && self.dots.locate_in_envelope(&near).all(|dot| dotted(&dot))
            && own.iter().all(of_own);
        if !clear {
            return None;
        }
        let samples = (length / BESIDE_MM).ceil().max(1.0) as usize;
        let beside = (0..samples)
            .filter(|&k| self.ground.distance(begins.lerp(speck.at, k as f64 / samples as f64)) < BESIDE_MM)
            .count();
        let crossings = self.ground.crossings(leader) as f64;
        // A crossing is beside a line by itself, for twice that distance.
        let beside_mm = (beside as f64 - 2.0 * crossings).max(0.0) * BESIDE_MM;
        Some((leader, length + CROSSING_MM * crossings + BESIDE * beside_mm))
    }

    fn put(&mut self, choice: Choice, value: PlanValue) -> Label {
        let box_mm = around(choice.middle, choice.size);
        self.boxes.insert(block(rect(&box_mm)));
        choice.led.iter().for_each(|&(_, ends)| self.leaders.insert(drawn(ends)));
        let leaders = choice
            .led
            .iter()
            .copied()
            .map(|(of, [from, to])| Leader { of, from, to, dot_mm: self.dot(of, to) })
            .collect();
        let Choice { height_mm, clearance_mm, .. } = choice;
        Label { value, height_mm, box_mm, clearance_mm, area: None, again: false, leaders }
    }

    /// Whether a box is as far from a dot as numbers are from lines.
    fn clear_of_dot(&self, held: Rect, at: Point, of: Marked) -> bool {
        box_to_segment(held, [at, at]) >= self.dot(of, at) + LEAST_GAP_MM
    }

    /// Radius of a dot in mm: smaller in a narrow area, so that it stays clear of the border; on a thin mark large
    /// enough to be seen on the line.
    fn dot(&self, of: Marked, at: Point) -> f64 {
        match of {
            Marked::Area(_) => (self.ground.distance(at) * 0.6).clamp(RADII_MM[0], RADII_MM[1]),
            Marked::Thin(_) => RADII_MM[1],
        }
    }
}

fn block(r: Rect) -> Block {
    Rectangle::from_corners([r.x0, r.y0], [r.x1, r.y1])
}

fn drawn([a, b]: [Point; 2]) -> Drawn {
    Line::new([a.x, a.y], [b.x, b.y])
}

fn point(dot: &Dot) -> Point {
    let [x, y] = *dot.geom();
    Point::new(x, y)
}

fn envelope(r: Rect) -> AABB<[f64; 2]> {
    AABB::from_corners([r.x0, r.y0], [r.x1, r.y1])
}

fn ends(drawn: &Drawn) -> [Point; 2] {
    [drawn.from, drawn.to].map(|[x, y]| Point::new(x, y))
}

/// Distance between two straight pieces; 0 where they cross.
fn segments_apart(a: [Point; 2], b: [Point; 2]) -> f64 {
    let side = |p: Point, q: Point, of: Point| (q - p).cross(of - p);
    let divides = |[p, q]: [Point; 2], [r, s]: [Point; 2]| side(p, q, r) * side(p, q, s) < 0.0;
    if divides(a, b) && divides(b, a) {
        return 0.0;
    }
    let to_b = a.map(|p| point_to_segment(p, b));
    let to_a = b.map(|p| point_to_segment(p, a));
    to_b.into_iter().chain(to_a).fold(f64::INFINITY, f64::min)
}
