//! The shortest way through all strokes: order, direction, and where closed ones begin.
//!
//! Up to 11 strokes the way is exact, by dynamic programming over subsets (Held & Karp 1962, Bellman 1962), unless
//! closed strokes offer so many places that the programme would grow past its bound. Beyond that it begins with the
//! nearest stroke each time (Rosenkrantz, Stearns & Lewis 1977) and is improved by 2-opt (Croes 1958) and Or-opt (Or
//! 1976), both over the nearest strokes only, from many starts that exchange two neighbouring stretches (iterated
//! local search; the exchange is a local double bridge of Martin, Otto & Felten 1991). Every loop is bounded by a count
//! of steps and chance comes from a fixed seed, so the way repeats.

use super::exact;
use kurbo::Point;
use rstar::RTree;
use rstar::primitives::GeomWithData;

/// Where a stroke can be begun.
#[derive(Clone, Debug, PartialEq)]
pub enum Gates {
    /// At one of its two ends; it is left at the other.
    Open([Point; 2]),
    /// At any of these points of a closed line; it is left where it was begun. At least one.
    Closed(Vec<Point>),
}

impl Gates {
    /// How many ways there are of drawing it.
    pub(super) fn ways(&self) -> usize {
        match self {
            Self::Open(_) => 2,
            Self::Closed(points) => points.len(),
        }
    }

    /// Where it is entered and left, drawn in one of its ways.
    pub(super) fn ends(&self, way: usize) -> [Point; 2] {
        match self {
            Self::Open([a, b]) if way == 0 => [*a, *b],
            Self::Open([a, b]) => [*b, *a],
            Self::Closed(points) => [points[way]; 2],
        }
    }
}

/// How far it is from one place to another, in mm; by square root alone, which is the same on every machine.
pub(super) fn apart(a: Point, b: Point) -> f64 {
    let d = b - a;
    (d.x * d.x + d.y * d.y).sqrt()
}

/// How many near strokes are tried at each end.
const NEAR: usize = 8;
/// Most strokes that Or-opt moves together.
const MOVED_TOGETHER: usize = 3;
/// Longest stretch that a new start exchanges, in strokes.
const STRETCH: usize = 30;
/// New starts per stroke, and at most: so many take under a second for 2000 strokes.
const STARTS_PER_STROKE: usize = 40;
const MOST_STARTS: usize = 28_000;
/// A way counts as shorter from this many mm on: less is rounding.
const GAIN_MM: f64 = 1e-7;

/// Travel in mm from `from` through strokes in an order, and back to `back` if that is given.
#[must_use]
pub fn travel_mm(strokes: &[Gates], order: &[(usize, usize)], from: Point, back: Option<Point>) -> f64 {
    let mut at = from;
    let mut sum = 0.0;
    for &(i, way) in order {
        let [enter, leave] = strokes[i].ends(way);
        sum += apart(at, enter);
        at = leave;
    }
    sum + back.map_or(0.0, |p| apart(at, p))
}

/// An order of strokes, each with its way of drawing, that keeps travel from `from` (and back to `back`) short.
///
/// It is never longer than drawing them as given, each in its first way.
#[must_use]
pub fn shortest_way(strokes: &[Gates], from: Point, back: Option<Point>) -> Vec<(usize, usize)> {
    if strokes.is_empty() {
        return Vec::new();
    }
    if let Some(order) = exact::shortest(strokes, from, back) {
        return order;
    }
    let given: Vec<(usize, usize)> = (0..strokes.len()).map(|i| (i, 0)).collect();
    let improved = |order| Tour::new(strokes, order, from, back).improved();
    let order = improved(nearest_first(strokes, from));
    let length = |order: &[(usize, usize)]| travel_mm(strokes, order, from, back);
    if length(&order) <= length(&given) { order } else { improved(given) }
}

type Entry = GeomWithData<[f64; 2], (usize, usize)>;

fn entries(strokes: &[Gates]) -> Vec<Vec<Entry>> {
    let of = |i: usize, way: usize| {
        let [p, _] = strokes[i].ends(way);
        Entry::new([p.x, p.y], (i, way))
    };
    (0..strokes.len()).map(|i| (0..strokes[i].ways()).map(|way| of(i, way)).collect()).collect()
}

/// Always on to the nearest stroke; of equally near ones the first.
fn nearest_first(strokes: &[Gates], from: Point) -> Vec<(usize, usize)> {
    let entries = entries(strokes);
    let mut tree = RTree::bulk_load(entries.concat());
    let (mut at, mut order) = (from, Vec::with_capacity(strokes.len()));
    while order.len() < strokes.len() {
        let mut found = tree.nearest_neighbor_iter_with_distance_2(&[at.x, at.y]);
        let Some((first, distance)) = found.next() else { break };
        let near = found.take_while(|(_, d)| *d <= distance);
        let (i, way) = near.map(|(entry, _)| entry.data).fold(first.data, Ord::min);
        for entry in &entries[i] {
            tree.remove(entry);
        }
        order.push((i, way));
        at = strokes[i].ends(way)[1];
    }
    order
}

/// The strokes nearest to any place where each can be entered, itself left out: how far each is, nearest first.
fn near_strokes(strokes: &[Gates]) -> Vec<Vec<(f64, usize)>> {
    let entries = entries(strokes);
    let tree = RTree::bulk_load(entries.concat());
    (0..strokes.len())
        .map(|i| {
            let mut near: Vec<(f64, usize)> = Vec::new();
            for entry in &entries[i] {
                let mut here: Vec<usize> = Vec::new();
                let p = entry.geom();
                // A closed stroke has many places; more than this many entries are not looked through.
                for (other, distance_2) in tree.nearest_neighbor_iter_with_distance_2(p).take(16 * NEAR) {
                    let (j, _) = other.data;
                    if j != i && !here.contains(&j) {
                        here.push(j);
                        near.push((distance_2.sqrt(), j));
                        if here.len() == NEAR {
                            break;
                        }
                    }
                }
            }
            near.sort_by(|a, b| a.1.cmp(&b.1).then(a.0.total_cmp(&b.0)));
            near.dedup_by_key(|n| n.1);
            near.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            near
        })
        .collect()
}

/// One stroke of a tour as it is drawn.
#[derive(Clone, Copy)]
struct Slot {
    stroke: usize,
    way: usize,
    enter: Point,
    leave: Point,
}

/// A change that can be taken back.
#[derive(Clone, Copy)]
enum Change {
    /// The strokes from one place to another, both included, drawn backwards.
    Reversed(usize, usize),
    /// The stroke at a place begun elsewhere; its way before.
    Begun(usize, usize),
}

/// A tour under improvement.
struct Tour<'a> {
    strokes: &'a [Gates],
    near: Vec<Vec<(f64, usize)>>,
    slots: Vec<Slot>,
    /// Where each stroke stands in the tour.
    place: Vec<usize>,
    from: Point,
    back: Option<Point>,
    changes: Vec<Change>,
    waiting: Vec<usize>,
    is_waiting: Vec<bool>,
}

impl<'a> Tour<'a> {
    fn new(strokes: &'a [Gates], order: Vec<(usize, usize)>, from: Point, back: Option<Point>) -> Self {
        let mut place = vec![0; strokes.len()];
        let slots = order
            .into_iter()
            .enumerate()
            .map(|(k, (stroke, way))| {
                place[stroke] = k;
                let [enter, leave] = strokes[stroke].ends(way);
                Slot { stroke, way, enter, leave }
            })
            .collect();
        Self {
            near: near_strokes(strokes),
            is_waiting: vec![false; strokes.len()],
            strokes,
            slots,
            place,
            from,
            back,
            changes: Vec::new(),
            waiting: Vec::new(),
        }
    }

    /// Where the pencil comes from before the stroke at a place.
    fn before(&self, k: usize) -> Point {
        if k == 0 { self.from } else { self.slots[k - 1].leave }
    }

    /// Length of the way from a point to the stroke at a place; past the last one, back.
    fn on_to(&self, p: Point, k: usize) -> f64 {
        match self.slots.get(k) {
            Some(slot) => apart(p, slot.enter),
            None => self.back.map_or(0.0, |back| apart(p, back)),
        }
    }

    fn wake(&mut self, k: usize) {
        if let Some(slot) = self.slots.get(k)
            && !self.is_waiting[slot.stroke]
        {
            self.is_waiting[slot.stroke] = true;
            self.waiting.push(slot.stroke);
        }
    }

    fn wake_around(&mut self, k: usize) {
        for at in k.saturating_sub(1)..=k + 1 {
            self.wake(at);
        }
    }

    /// Draws the strokes from `a` to `b` backwards.
    fn reverse(&mut self, a: usize, b: usize) {
        if a > b {
            return;
        }
        self.changes.push(Change::Reversed(a, b));
        self.turn(a, b);
        for k in [a, b] {
            self.wake_around(k);
        }
    }

    fn turn(&mut self, a: usize, b: usize) {
        self.slots[a..=b].reverse();
        for k in a..=b {
            let slot = &mut self.slots[k];
            std::mem::swap(&mut slot.enter, &mut slot.leave);
            if matches!(self.strokes[slot.stroke], Gates::Open(_)) {
                slot.way ^= 1;
            }
            self.place[slot.stroke] = k;
        }
    }

    fn begin(&mut self, k: usize, way: usize) {
        let slot = &mut self.slots[k];
        slot.way = way;
        [slot.enter, slot.leave] = self.strokes[slot.stroke].ends(way);
    }

    fn take_back(&mut self) {
        while let Some(change) = self.changes.pop() {
            match change {
                Change::Reversed(a, b) => self.turn(a, b),
                Change::Begun(k, way) => self.begin(k, way),
            }
        }
    }

    /// Exchanges the stretches `a..m` and `m..b`.
    fn exchange(&mut self, a: usize, m: usize, b: usize) {
        self.reverse(a, b - 1);
        let middle = a + b - m;
        self.reverse(a, middle - 1);
        self.reverse(middle, b - 1);
    }

    /// Begins a closed stroke where that is shortest; the gain in mm.
    fn begin_better(&mut self, k: usize) -> f64 {
        let Slot { stroke, way, enter, .. } = self.slots[k];
        let Gates::Closed(points) = &self.strokes[stroke] else { return 0.0 };
        let before = self.before(k);
        let through = |p: Point| apart(before, p) + self.on_to(p, k + 1);
        let (mut best, mut least) = (way, through(enter));
        let now = least;
        for (other, &p) in points.iter().enumerate() {
            let length = through(p);
            if length < least - GAIN_MM {
                (best, least) = (other, length);
            }
        }
        if best != way {
            self.changes.push(Change::Begun(k, way));
            self.begin(k, best);
            self.wake_around(k);
        }
        now - least
    }

    /// 2-opt: leaves one stroke and goes on to a near one, all between drawn backwards; the gain in mm.
    fn two_opt(&mut self, k: usize, other: usize) -> f64 {
        let (a, b) = (k.min(other), k.max(other));
        // After a: a joins b, and what followed a joins what followed b. Before b likewise.
        for (first, last) in [(a + 1, b), (a, b.wrapping_sub(1)), (a, b)] {
            if first > last || last > b {
                continue;
            }
            let (enter, leave) = (self.slots[first].enter, self.slots[last].leave);
            let before = self.before(first);
            let old = apart(before, enter) + self.on_to(leave, last + 1);
            let new = apart(before, leave) + self.on_to(enter, last + 1);
            if old - new > GAIN_MM {
                self.reverse(first, last);
                return old - new;
            }
        }
        0.0
    }

    /// Or-opt: moves up to three strokes from `k` on beside a near one, either way round; the gain in mm.
    fn or_opt(&mut self, k: usize, other: usize) -> f64 {
        for count in 1..=MOVED_TOGETHER {
            for first in [Some(k), (k + 1).checked_sub(count)].into_iter().flatten() {
                let end = first + count;
                if end > self.slots.len() || (first..end).contains(&other) {
                    continue;
                }
                let (enter, leave) = (self.slots[first].enter, self.slots[end - 1].leave);
                let before = self.before(first);
                let freed = apart(before, enter) + self.on_to(leave, end) - self.on_to(before, end);
                if freed <= GAIN_MM {
                    continue;
                }
                // In front of `other`, and behind it.
                for gap in [other, other + 1] {
                    if gap == first || gap == end {
                        continue;
                    }
                    let left = self.before(gap);
                    let bridged = self.on_to(left, gap);
                    let onward = apart(left, enter) + self.on_to(leave, gap) - bridged;
                    let backward = apart(left, leave) + self.on_to(enter, gap) - bridged;
                    let gain = freed - onward.min(backward);
                    if gain > GAIN_MM {
                        self.shift(first, end, gap, backward < onward);
                        return gain;
                    }
                }
            }
        }
        0.0
    }

    /// Moves the strokes `first..end` into the gap before place `gap`, backwards if asked.
    fn shift(&mut self, first: usize, end: usize, gap: usize, backwards: bool) {
        if backwards {
            self.reverse(first, end - 1);
        }
        if gap > end { self.exchange(first, end, gap) } else { self.exchange(gap, first, end) }
    }

    /// Improves until no stroke that was woken has a better place; the gain in mm.
    fn settle(&mut self) -> f64 {
        let mut gained = 0.0;
        // Each step shortens the way, so it ends; the bound is against rounding.
        let mut steps = 200 * self.slots.len() + 10_000;
        while let Some(stroke) = self.waiting.pop() {
            self.is_waiting[stroke] = false;
            while steps > 0 {
                steps -= 1;
                let gain = self.step(stroke);
                if gain <= 0.0 {
                    break;
                }
                gained += gain;
            }
        }
        gained
    }

    fn step(&mut self, stroke: usize) -> f64 {
        let gain = self.begin_better(self.place[stroke]);
        if gain > 0.0 {
            return gain;
        }
        // A way that gets shorter has somewhere a new link shorter than the old one at the same stroke (Lin & Kernighan
        // 1973), so strokes beyond both links are no use here.
        let k = self.place[stroke];
        let mut reach =
            apart(self.before(k), self.slots[k].enter).max(self.on_to(self.slots[k].leave, k + 1));
        if matches!(self.strokes[stroke], Gates::Closed(_)) {
            // It may be begun elsewhere beside its new neighbour.
            reach = f64::INFINITY;
        }
        for n in 0..self.near[stroke].len() {
            let (distance, other) = self.near[stroke][n];
            if distance >= reach {
                break;
            }
            let gain = self.two_opt(self.place[stroke], self.place[other]);
            if gain > 0.0 {
                return gain;
            }
            let gain = self.or_opt(self.place[stroke], self.place[other]);
            if gain > 0.0 {
                return gain;
            }
        }
        // The first and last strokes have no near one beyond them.
        let (k, last) = (self.place[stroke], self.slots.len() - 1);
        let gain = self.two_opt(k, 0);
        if gain > 0.0 { gain } else { self.two_opt(k, last) }
    }

    fn improved(mut self) -> Vec<(usize, usize)> {
        let count = self.slots.len();
        for k in (0..count).rev() {
            self.wake(k);
        }
        self.settle();
        let mut seed = 0x2545_F491_4F6C_DD1D_u64;
        let starts = (STARTS_PER_STROKE * count).min(MOST_STARTS);
        for _ in 0..if count >= 3 { starts } else { 0 } {
            // Xorshift (Marsaglia 2003).
            let mut chance = |below: usize| {
                seed ^= seed << 13;
                seed ^= seed >> 7;
                seed ^= seed << 17;
                (seed % below as u64) as usize
            };
            let a = chance(count - 1);
            let m = a + 1 + chance(STRETCH.min(count - a - 1));
            let b = m + if m < count { 1 + chance(STRETCH.min(count - m)) } else { 0 };
            if b <= m {
                continue;
            }
            self.changes.clear();
            let joints = |tour: &Self| [a, m, b].iter().map(|&k| tour.on_to(tour.before(k), k)).sum::<f64>();
            let before = joints(&self);
            self.exchange(a, m, b);
            let after = [a, a + b - m, b].iter().map(|&k| self.on_to(self.before(k), k)).sum::<f64>();
            if self.settle() + before - after < 0.0 {
                self.take_back();
            }
        }
        self.slots.iter().map(|slot| (slot.stroke, slot.way)).collect()
    }
}

#[cfg(test)]
mod tests;
