//! Through-lines: arcs of the finest net joined through junctions in the order in which they die.
//!
//! Of the arcs that meet at a junction the two that live longest live equally long (heights between areas are
//! ultrametric, Arbelaez et al. 2011), so they are one line and every other arc ends on it. A line placed and
//! fitted whole stays the same at every plainness: taking away what ends on it moves nothing.

use kurbo::{Point, Vec2};

use super::trace::{ArcEnd, Tracing};

/// An arc, walked forward or backward.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Walked {
    /// Number of the arc.
    pub(super) arc: usize,
    /// Whether it is walked from its end to its beginning.
    pub(super) backward: bool,
}

/// A junction that a line runs through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Passed {
    /// Number of the junction.
    pub(super) junction: usize,
    /// Index among the line's points of the first point behind the junction.
    pub(super) index: usize,
}

/// A line of the finest net.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// Its arcs in order.
    pub(super) arcs: Vec<Walked>,
    /// What lies at its two ends.
    pub(super) ends: [ArcEnd; 2],
    /// Junctions it runs through, in order; for a closed line the first may lie where it begins (index 0).
    pub(super) passed: Vec<Passed>,
    /// Height at which it dies, in L*^2 mm.
    pub(super) height: f64,
    /// Its points in pixels: middles of crack edges, and its end points where it has ends.
    pub(super) points: Vec<Point>,
    /// For each point the arc (index into `arcs`) that it lies on.
    pub(super) arc_of: Vec<u32>,
}

impl Line {
    /// Whether it closes on itself.
    pub(super) fn closed(&self) -> bool {
        self.ends[0] == ArcEnd::Closed
    }

    /// The arc walked behind the `k`-th junction passed, or at the line's beginning.
    pub(super) fn walked(&self, behind: Option<usize>) -> Walked {
        let index = behind.map_or(0, |k| self.passed[k].index);
        self.arcs[self.arc_of[index % self.points.len()] as usize]
    }
}

/// Direction in which an arc leaves one of its ends.
fn leaving(points: &[Point], backward: bool) -> Vec2 {
    let reach = 6.min(points.len() - 1);
    if backward {
        points[points.len() - 1 - reach] - points[points.len() - 1]
    } else {
        points[reach] - points[0]
    }
}

/// Joins arcs into lines. `heights` are those of the arcs; arcs at or under `floor` are left out.
pub(super) fn through_lines(tracing: &Tracing, heights: &[f64], floor: f64) -> Vec<Line> {
    let arcs = &tracing.arcs;
    // Ends of arcs at each junction: (arc, the end that lies there).
    let mut meeting: Vec<Vec<(usize, usize)>> = vec![Vec::new(); tracing.junctions.len()];
    for (a, arc) in arcs.iter().enumerate() {
        if heights[a] > floor {
            for (e, end) in arc.ends.iter().enumerate() {
                if let ArcEnd::Junction(j) = end {
                    meeting[*j].push((a, e));
                }
            }
        }
    }
    // For each end of each arc, the end of an arc that goes on from it.
    let mut goes_on: Vec<[Option<(usize, usize)>; 2]> = vec![[None; 2]; arcs.len()];
    for ends in &meeting {
        if let Some((a, b)) = best_pair(ends, heights, |(arc, end)| leaving(&arcs[arc].points, end == 1)) {
            goes_on[a.0][a.1] = Some(b);
            goes_on[b.0][b.1] = Some(a);
        }
    }
    let mut used = vec![false; arcs.len()];
    let mut lines = Vec::new();
    // Lines with ends begin where nothing goes on; what is left runs in circles.
    for circles in [false, true] {
        for a in 0..arcs.len() {
            for e in 0..2 {
                if used[a] || heights[a] <= floor || (!circles && goes_on[a][e].is_some()) {
                    continue;
                }
                lines.push(follow(tracing, heights, &goes_on, &mut used, a, e, circles));
            }
        }
    }
    lines
}

/// The two arc ends at a junction that make the through-line: the highest, the straightest where heights tie.
fn best_pair(
    ends: &[(usize, usize)],
    heights: &[f64],
    direction: impl Fn((usize, usize)) -> Vec2,
) -> Option<((usize, usize), (usize, usize))> {
    let mut order: Vec<_> = ends.to_vec();
    order.sort_by(|a, b| heights[b.0].total_cmp(&heights[a.0]).then(a.cmp(b)));
    let second = heights[order.get(1)?.0];
    let tied: Vec<_> = order.into_iter().filter(|e| heights[e.0] >= second).collect();
    let mut best = None;
    for (i, &a) in tied.iter().enumerate() {
        for &b in &tied[i + 1..] {
            let (p, q) = (direction(a), direction(b));
            let bend = p.dot(q) / (p.hypot() * q.hypot()).max(1e-12);
            if best.is_none_or(|(least, _)| bend < least) {
                best = Some((bend, (a, b)));
            }
        }
    }
    best.map(|(_, pair)| pair)
}

/// Follows a line from one end of an arc.
fn follow(
    tracing: &Tracing,
    heights: &[f64],
    goes_on: &[[Option<(usize, usize)>; 2]],
    used: &mut [bool],
    arc: usize,
    end: usize,
    circle: bool,
) -> Line {
    let arcs = &tracing.arcs;
    let mut line = Line {
        arcs: Vec::new(),
        ends: [arcs[arc].ends[end], ArcEnd::Closed],
        passed: Vec::new(),
        height: heights[arc],
        points: Vec::new(),
        arc_of: Vec::new(),
    };
    if circle {
        line.ends[0] = ArcEnd::Closed;
        if let ArcEnd::Junction(junction) = arcs[arc].ends[end] {
            line.passed.push(Passed { junction, index: 0 });
        }
    }
    let (mut a, mut e) = (arc, end);
    loop {
        used[a] = true;
        let backward = e == 1;
        line.arcs.push(Walked { arc: a, backward });
        let points = &arcs[a].points;
        let mut walk: Vec<Point> =
            if backward { points.iter().rev().copied().collect() } else { points.clone() };
        let far = 1 - e;
        let next = goes_on[a][far];
        // The corner points at junctions inside the line are no middles of crack edges.
        let opens = arcs[a].ends[e] != ArcEnd::Closed;
        if opens && (!line.points.is_empty() || line.closed()) {
            walk.remove(0);
        }
        if next.is_some() {
            walk.pop();
        }
        line.points.append(&mut walk);
        line.arc_of.resize(line.points.len(), line.arcs.len() as u32 - 1);
        match next {
            None => {
                line.ends[1] = arcs[a].ends[far];
                return line;
            }
            Some((b, f)) => {
                if used[b] {
                    return line;
                }
                if let ArcEnd::Junction(junction) = arcs[a].ends[far] {
                    line.passed.push(Passed { junction, index: line.points.len() });
                }
                (a, e) = (b, f);
            }
        }
    }
}
