//! Where the cubics of one piece begin and end: dynamic programming over candidate breaks (Plass & Stone 1983).
//!
//! Trying every pair of points would take hours on a long line. Walking forwards with the longest cubic that
//! fits, and backwards likewise, brackets every joint of a least solution between the two walks' joints; the
//! candidates are those joints and even samples between them, so the programme stays linear in the points.

use super::span::{Piece, Span, straight};
use kurbo::CubicBez;

/// Parts into which the bracket of a joint is divided.
const SAMPLES: usize = 6;
/// Failures in a row after which no longer span from the same break is tried.
const FAILURES: usize = 3;

/// What a way through the piece costs: bare edges first, then cubics, then squared distance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cost {
    /// Edges of the polyline taken as they are, because nothing fits.
    pub(super) bare: usize,
    /// Cubics in all.
    pub(super) count: usize,
    /// Squared distance summed over the length, in mm3.
    pub(super) error: f64,
}

impl Cost {
    const NONE: Cost = Cost { bare: 0, count: 0, error: 0.0 };

    fn plus(self, step: &Step) -> Cost {
        Cost {
            bare: self.bare + usize::from(step.bare),
            count: self.count + 1,
            error: self.error + step.span.error,
        }
    }
    fn rank(&self) -> (usize, usize) {
        (self.bare, self.count)
    }
    pub(super) fn less(&self, other: &Cost) -> bool {
        self.rank() < other.rank() || (self.rank() == other.rank() && self.error < other.error)
    }
}

/// A cubic from one break to another.
#[derive(Clone, Copy, Debug)]
struct Step {
    from: usize,
    to: usize,
    span: Span,
    bare: bool,
}

impl Piece {
    fn last(&self) -> usize {
        self.points.len() - 1
    }

    fn step(&self, from: usize, to: usize, tolerance: f64) -> Option<Step> {
        self.span(from, to, tolerance).map(|span| Step { from, to, span, bare: false })
    }

    /// The edge from point `from` to the next as a straight cubic: the last resort.
    fn bare_step(&self, from: usize) -> Step {
        let cubic = straight(self.at[from], self.at[from + 1]);
        Step { from, to: from + 1, span: Span { cubic, error: 0.0 }, bare: true }
    }

    /// The longest step from `here` forwards, or up to `here` backwards, found by doubling and halving from the
    /// guess `hint` (points).
    fn longest(&self, here: usize, hint: usize, forwards: bool, tolerance: f64) -> Step {
        let room = if forwards { self.last() - here } else { here };
        let attempt = |n: usize| {
            if forwards { self.step(here, here + n, tolerance) } else { self.step(here - n, here, tolerance) }
        };
        let mut best: Option<(usize, Step)> = None;
        let mut good = 0;
        let mut bad = room + 1;
        let mut n = hint.clamp(1, room);
        while good + 1 < bad {
            match attempt(n) {
                Some(step) => {
                    good = n;
                    best = Some((n, step));
                }
                None => bad = n,
            }
            if bad - good <= 1 + good / 40 {
                break;
            }
            n = if bad > room { (good + good.div_ceil(2).max(1)).min(room) } else { good + (bad - good) / 2 };
        }
        match best {
            Some((_, step)) => step,
            None => self.bare_step(if forwards { here } else { here - 1 }),
        }
    }

    /// Steps of the walk that always takes the longest cubic.
    fn walk(&self, forwards: bool, tolerance: f64) -> Vec<Step> {
        let mut steps = Vec::new();
        let (mut here, end) = if forwards { (0, self.last()) } else { (self.last(), 0) };
        let mut hint = 32;
        while here != end {
            let step = self.longest(here, hint, forwards, tolerance);
            hint = step.to - step.from;
            here = if forwards { step.to } else { step.from };
            steps.push(step);
        }
        if !forwards {
            steps.reverse();
        }
        steps
    }

    /// Number of cubics (and of bare edges) that the forward walk needs, and the length of its first step.
    pub(super) fn walked(&self, tolerance: f64) -> (usize, usize, usize) {
        let steps = self.walk(true, tolerance);
        (steps.iter().filter(|s| s.bare).count(), steps.len(), steps.first().map_or(1, |s| s.to))
    }

    /// Candidate breaks in rising order, the ends among them.
    fn candidates(&self, ahead: &[Step], back: &[Step]) -> Vec<usize> {
        let mut found: Vec<usize> = vec![0, self.last()];
        for step in ahead.iter().chain(back) {
            found.push(step.to);
        }
        // Joint k of a least solution lies between joint k of the backward and of the forward walk. If the walks
        // differ in their counts, all that is known is that each span holds a joint.
        let same = ahead.len() == back.len();
        for (k, f) in ahead.iter().enumerate() {
            let (low, high) =
                if same { (back[k].to.min(f.to), back[k].to.max(f.to)) } else { (f.from, f.to) };
            for k in 1..SAMPLES {
                found.push(low + (high - low) * k / SAMPLES);
            }
        }
        found.sort_unstable();
        found.dedup();
        found
    }

    /// The cubics of the cheapest way through the piece, and its cost.
    pub(super) fn fewest(&self, tolerance: f64) -> (Vec<CubicBez>, Cost) {
        let ahead = self.walk(true, tolerance);
        if ahead.len() < 2 {
            let cost = ahead.iter().fold(Cost::NONE, Cost::plus);
            return (ahead.iter().map(|s| s.span.cubic).collect(), cost);
        }
        let back = self.walk(false, tolerance);
        let breaks = self.candidates(&ahead, &back);
        let mut best: Vec<Option<(Cost, Option<Step>)>> = vec![None; self.points.len()];
        best[0] = Some((Cost::NONE, None));
        // The walks' own steps are ways through that are known to exist.
        let mut known: Vec<&Step> = ahead.iter().chain(&back).collect();
        known.sort_by_key(|s| (s.from, s.to));
        let mut known = known.into_iter().peekable();
        for (k, &from) in breaks.iter().enumerate() {
            let Some((cost, _)) = best[from] else { continue };
            while let Some(step) = known.next_if(|s| s.from <= from) {
                if step.from == from {
                    offer(&mut best[step.to], cost.plus(step), step);
                }
            }
            let mut failures = 0;
            for &to in &breaks[k + 1..] {
                if let Some((there, _)) = &best[to]
                    && there.rank() < (cost.bare, cost.count + 1)
                {
                    continue;
                }
                match self.step(from, to, tolerance) {
                    Some(step) => {
                        failures = 0;
                        offer(&mut best[to], cost.plus(&step), &step);
                    }
                    None => failures += 1,
                }
                if failures == FAILURES {
                    break;
                }
            }
        }
        let mut cubics = Vec::new();
        let mut here = self.last();
        let mut total = Cost::NONE;
        if let Some((cost, _)) = best[here] {
            total = cost;
        }
        while let Some((_, Some(step))) = best[here] {
            cubics.push(step.span.cubic);
            here = step.from;
        }
        cubics.reverse();
        (cubics, total)
    }
}

/// Keeps the cheaper of the way known and the one offered.
fn offer(slot: &mut Option<(Cost, Option<Step>)>, cost: Cost, step: &Step) {
    if slot.as_ref().is_none_or(|(old, _)| cost.less(old)) {
        *slot = Some((cost, Some(*step)));
    }
}
