//! Proof that boundary lines meet only at their shared ends, on the rounded cubics as written.
//!
//! Every cubic is cut into pieces that go forward in one direction, so that no piece meets itself. Pairs of
//! pieces whose boxes come near each other are separated by their control polygons' hulls or divided further
//! (Sederberg & Nishita, Curve intersection using Bezier clipping, 1990) until both are flat; then the distance
//! of two straight lines decides. Where two lines share an end, or two pieces a joint, the curves are at no
//! distance by design: there pieces are divided towards the shared place, and what is asked of them grows with
//! the distance from it (see `Asked`).

mod piece;
#[cfg(test)]
mod tests;

use kurbo::{CubicBez, Point};
use piece::{Piece, monotone_pieces, stretches_apart};
use rayon::prelude::*;
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

/// One boundary line as the proof sees it.
#[derive(Clone, Copy, Debug)]
pub struct ProofLine<'a> {
    /// Cubics that join end to end, in mm.
    pub curve: &'a [CubicBez],
    /// Whether the last cubic ends where the first begins.
    pub closed: bool,
    /// Junctions where the line begins and ends; lines with the same junction meet there.
    pub ends: [Option<usize>; 2],
}

/// A place where two lines, or one line with itself, meet away from shared ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Meeting {
    /// Indices of the lines, the smaller first; equal when a line meets itself.
    pub lines: [usize; 2],
    /// Where, in mm.
    pub at: Point,
}

/// Distance in mm that counts as touching away from shared ends. A touch is 0.001 mm; the rest makes sure that
/// lines flattened to 0.004 mm do not cross either: the chord of a bend dips inwards by as much.
pub const TOUCH_MM: f64 = 0.005;
/// Distance in mm that counts as touching near a shared end.
const NEAR_TOUCH_MM: f64 = 0.001;
/// Lengths along the lines from the shared end: up to the first nothing is asked, since rounding rules there; up
/// to the second only that the lines do not change sides; up to the third [`NEAR_TOUCH_MM`].
const ZONES_MM: [f64; 3] = [0.005, 0.05, 0.3];
/// Hits of the same two lines closer to each other than this are one meeting.
const SAME_MEETING_MM: f64 = 0.05;

/// What is asked near shared ends and away from them.
#[derive(Clone, Copy, Debug)]
struct Asked {
    /// Up to this length from a shared end nothing is asked, in mm.
    nothing_mm: f64,
    /// Added to every distance that is asked, in mm.
    spare_mm: f64,
}

/// What a net has to keep.
const KEPT: Asked = Asked { nothing_mm: ZONES_MM[0], spare_mm: 0.0 };
/// What the finest net has to keep, so that nets with fewer lines, whose cubics are cut elsewhere and rounded anew, keep
/// theirs: rounding moves a control point by 0.0007 mm at most, two curves by twice that.
const KEPT_BY_FINEST: Asked = Asked { nothing_mm: 0.001, spare_mm: 0.0015 };

impl Asked {
    /// Least distance asked of two places, the farther of which lies `gone` mm along its line from the shared end.
    /// None: nothing is asked; zero: they may touch but not cross.
    fn clearance(self, gone: f64) -> Option<f64> {
        if gone < self.nothing_mm {
            None
        } else if gone < ZONES_MM[1] {
            Some(0.0)
        } else if gone < ZONES_MM[2] {
            Some(NEAR_TOUCH_MM + self.spare_mm)
        } else {
            Some(TOUCH_MM + self.spare_mm)
        }
    }
}

/// What the lengths along two lines say about a shared place.
#[derive(Clone, Copy, Debug)]
struct Relation {
    same: bool,
    /// Length of the line when it closes on itself.
    round: Option<f64>,
    lengths: [f64; 2],
    /// Which end of the first line is which end of the second (start-start, start-end, end-start, end-end).
    shared: [bool; 4],
}

impl Relation {
    fn new(lines: &[ProofLine], lengths: &[f64], a: usize, b: usize) -> Self {
        let mut shared = [false; 4];
        for (k, flag) in shared.iter_mut().enumerate() {
            let (i, j) = (k / 2, k % 2);
            *flag = lines[a].ends[i].is_some() && lines[a].ends[i] == lines[b].ends[j] && !(a == b && i == j);
        }
        let round = (a == b && lines[a].closed).then_some(lengths[a]);
        Self { same: a == b, round, lengths: [lengths[a], lengths[b]], shared }
    }

    /// Length from the nearest shared place to the farther of the two places at lengths `a` and `b`; infinite
    /// when nothing is shared.
    fn gone(&self, a: f64, b: f64) -> f64 {
        let mut least = f64::INFINITY;
        if self.same {
            let apart = (a - b).abs();
            least = self.round.map_or(apart, |l| apart.min(l - apart)) / 2.0;
        }
        let ends = [[a, self.lengths[0] - a], [b, self.lengths[1] - b]];
        for (k, shared) in self.shared.iter().enumerate() {
            if *shared {
                least = least.min(ends[0][k / 2].max(ends[1][k % 2]));
            }
        }
        least
    }
}

/// Finds every place where two lines cross, touch or run on each other, or one line does with itself, except at
/// the ends they share and at the joints of a line's own cubics.
///
/// Sorted by lines, then along the first of them. Meetings of the same lines closer than 0.05 mm to each other, and
/// a stretch on which two lines run together, count as one. Within 0.005 mm of a shared end, and on loops shorter
/// than 0.01 mm, nothing is asked: rounding to 0.001 mm rules there. Cubics that are not finite lie nowhere and
/// are left out. The result does not depend on the number of threads.
#[must_use]
pub fn find_meetings(lines: &[ProofLine]) -> Vec<Meeting> {
    meetings(lines, KEPT)
}

/// The same for a finest net, with room for what rounding does to plainer ones.
pub(super) fn find_meetings_of_finest(lines: &[ProofLine]) -> Vec<Meeting> {
    meetings(lines, KEPT_BY_FINEST)
}

fn meetings(lines: &[ProofLine], asked: Asked) -> Vec<Meeting> {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut lengths = Vec::with_capacity(lines.len());
    for (i, line) in lines.iter().enumerate() {
        lengths.push(monotone_pieces(line.curve, i, &mut pieces));
    }
    let boxes: Vec<GeomWithData<Rectangle<[f64; 2]>, usize>> = pieces
        .iter()
        .enumerate()
        .map(|(k, p)| {
            let b = p.hull_box();
            GeomWithData::new(Rectangle::from_corners([b.x0, b.y0], [b.x1, b.y1]), k)
        })
        .collect();
    let tree = RTree::bulk_load(boxes);
    let mut found: Vec<Found> = pieces
        .par_iter()
        .enumerate()
        .map(|(k, p)| {
            let b = p.hull_box().inflate(TOUCH_MM + asked.spare_mm, TOUCH_MM + asked.spare_mm);
            let area = AABB::from_corners([b.x0, b.y0], [b.x1, b.y1]);
            let mut near: Vec<usize> =
                tree.locate_in_envelope_intersecting(&area).map(|g| g.data).filter(|&j| j > k).collect();
            near.sort_unstable();
            let mut hits = Vec::new();
            for j in near {
                let relation = Relation::new(lines, &lengths, p.line, pieces[j].line);
                let mut walker = Walker { relation, asked, hits: Vec::new() };
                walker.compare(p, &pieces[j], 0);
                let lines = [p.line, pieces[j].line];
                hits.extend(walker.hits.into_iter().map(|hit| Found { lines, hit }));
            }
            hits
        })
        .collect::<Vec<_>>()
        .into_iter()
        .flatten()
        .collect();
    found.sort_by(|a, b| {
        a.lines
            .cmp(&b.lines)
            .then(a.hit.along[0].total_cmp(&b.hit.along[0]))
            .then(a.hit.along[1].total_cmp(&b.hit.along[1]))
    });
    gathered(&found)
}

/// A hit and its lines.
struct Found {
    lines: [usize; 2],
    hit: Hit,
}

/// Two flat pieces too close to each other.
#[derive(Clone, Copy, Debug)]
struct Hit {
    at: Point,
    /// Length along either line.
    along: [f64; 2],
    /// Ends of the stretch of the first piece on which it is too close to the second.
    stretch: [Point; 2],
}

impl Hit {
    /// Least and largest x of the stretch.
    fn stretch_x(&self) -> [f64; 2] {
        let [p, q] = self.stretch;
        [p.x.min(q.x), p.x.max(q.x)]
    }
}

/// One meeting for each cluster of hits of the same lines, at the cluster's first hit.
///
/// Hits whose stretches come near each other belong together. They are joined by where they lie, not by their lengths along the lines: a closed line that crosses itself at
/// its own start has hits at both ends of its length. `found` is sorted.
fn gathered(found: &[Found]) -> Vec<Meeting> {
    let mut meetings = Vec::new();
    for same in found.chunk_by(|a, b| a.lines == b.lines) {
        // Parent of each hit; a root is the first hit of its cluster.
        let mut parent: Vec<usize> = (0..same.len()).collect();
        let mut by_x: Vec<usize> = parent.clone();
        by_x.sort_by(|&i, &j| {
            let left = |k: usize| same[k].hit.stretch_x()[0];
            left(i).total_cmp(&left(j)).then(i.cmp(&j))
        });
        for (k, &i) in by_x.iter().enumerate() {
            let right = same[i].hit.stretch_x()[1] + SAME_MEETING_MM;
            for &j in by_x[k + 1..].iter().take_while(|&&j| same[j].hit.stretch_x()[0] <= right) {
                if stretches_apart(&same[i].hit.stretch, &same[j].hit.stretch) <= SAME_MEETING_MM {
                    let (r, s) = (root(&mut parent, i), root(&mut parent, j));
                    parent[r.max(s)] = r.min(s);
                }
            }
        }
        for (i, f) in same.iter().enumerate() {
            if parent[i] == i {
                meetings.push(Meeting { lines: f.lines, at: f.hit.at });
            }
        }
    }
    meetings
}

/// First hit of the cluster that hit `i` belongs to.
fn root(parent: &mut [usize], mut i: usize) -> usize {
    while parent[i] != i {
        parent[i] = parent[parent[i]];
        i = parent[i];
    }
    i
}

/// Compares two pieces by dividing them.
struct Walker {
    relation: Relation,
    asked: Asked,
    hits: Vec<Hit>,
}

/// Flatness in mm below which a piece counts as straight.
const FLAT_MM: f64 = 1e-4;
/// The same near a shared end, where lines lie less than [`FLAT_MM`] apart and may yet change sides.
const FLAT_NEAR_END_MM: f64 = 1e-7;
/// Most divisions; a piece of a metre is then shorter than a micrometre.
const DEEPEST: usize = 60;

impl Walker {
    fn compare(&mut self, a: &Piece, b: &Piece, depth: usize) {
        // Lengths from the shared place over all pairs of places on the two pieces: the largest is at the ends.
        let corners = [
            self.relation.gone(a.along[0], b.along[0]),
            self.relation.gone(a.along[0], b.along[1]),
            self.relation.gone(a.along[1], b.along[0]),
            self.relation.gone(a.along[1], b.along[1]),
        ];
        let spread = a.length() + b.length();
        let most = corners.iter().copied().fold(0.0, f64::max) + 0.5 * spread;
        let Some(asked) = self.asked.clearance(most) else { return };
        if a.is_clear_of(b, asked) {
            return;
        }
        if corners.iter().copied().fold(f64::INFINITY, f64::min) < ZONES_MM[2] && self.is_parting(a, b) {
            return;
        }
        let least = corners.iter().copied().fold(f64::INFINITY, f64::min) - 0.5 * spread;
        let flat_mm = if least < ZONES_MM[1] { FLAT_NEAR_END_MM } else { FLAT_MM };
        let flat = [a.flatness() <= flat_mm, b.flatness() <= flat_mm];
        // Both ends of the zone must ask for the same; close to the shared place pieces shrink towards it.
        let settled = self.asked.clearance(least) == Some(asked) || spread < 1e-3;
        if depth >= DEEPEST || (flat[0] && flat[1] && settled) {
            self.judge(a, b);
            return;
        }
        let divide_a = match flat {
            [true, false] if settled => false,
            [false, true] if settled => true,
            _ => a.length() >= b.length(),
        };
        if divide_a {
            let (a1, a2) = a.halves();
            self.compare(&a1, b, depth + 1);
            self.compare(&a2, b, depth + 1);
        } else {
            let (b1, b2) = b.halves();
            self.compare(a, &b1, depth + 1);
            self.compare(a, &b2, depth + 1);
        }
    }

    /// Whether the pieces leave one shared place, control point by control point in wedges clearly apart, so
    /// that they never come near each other again.
    fn is_parting(&self, a: &Piece, b: &Piece) -> bool {
        let tips = [[a.cubic.p0, a.cubic.p3], [b.cubic.p0, b.cubic.p3]];
        for i in 0..2 {
            for j in 0..2 {
                let here = tips[0][i];
                if here.distance(tips[1][j]) <= 1e-9
                    && self.relation.gone(a.along[i], b.along[j]) < 1e-6
                    && a.parts_from(b, here)
                {
                    return true;
                }
            }
        }
        false
    }

    /// Two pieces as good as straight: too close, or crossing, by what is asked where they are closest.
    fn judge(&mut self, a: &Piece, b: &Piece) {
        let meet = a.closest(b);
        let along = [a.along[0] + meet.shares[0] * a.length(), b.along[0] + meet.shares[1] * b.length()];
        let gone = self.relation.gone(along[0], along[1]);
        let bad = match self.asked.clearance(gone) {
            None => false,
            Some(asked) if asked > 0.0 => meet.distance <= asked,
            Some(_) => meet.crosses,
        };
        if bad {
            let stretch = a.stretch_near(b, meet.shares[0], self.asked.clearance(gone).unwrap_or(0.0));
            self.hits.push(Hit { at: meet.at, along, stretch });
        }
    }
}
