//! Joining transitions through junctions into as few strokes as possible.
//!
//! Ends that meet at a junction are paired, straightest continuation first; following the pairs gives trails and
//! closed circuits. A circuit that touches another trail at a junction is spliced into it by pairing the ends
//! there anew (Hierholzer 1873). What remains per connected part is one circuit, or half as many trails as it
//! has odd ends: no drawing without double lines takes fewer (Euler 1736).

use super::{Line, Run, heading, reversed};
use crate::transitions::BoundaryNet;
use kurbo::Vec2;

/// Each transition of the layer as a line of its own.
pub(super) fn single(net: &BoundaryNet, layer: &[usize]) -> Vec<Line> {
    layer
        .iter()
        .map(|&t| {
            let transition = &net.transitions[t];
            // A loop from a junction to itself closes too, but only there.
            let closed = transition.closed || (transition.from.is_some() && transition.from == transition.to);
            Line { runs: vec![run(net, t, false)], closed }
        })
        .collect()
}

/// The transitions of the layer joined into as few lines as possible.
pub(super) fn chained(net: &BoundaryNet, layer: &[usize]) -> Vec<Line> {
    let mut pairing = Pairing::new(net, layer);
    pairing.pair_straightest();
    pairing.splice_circuits();
    pairing.lines(net)
}

fn run(net: &BoundaryNet, transition: usize, backwards: bool) -> Run {
    let t = &net.transitions[transition];
    let curve = if backwards { reversed(&t.curve) } else { t.curve.clone() };
    Run { transition, reversed: backwards, curve, free: t.closed }
}

/// Which ends of transitions follow each other.
///
/// End `2k` is where the layer's transition `k` begins, end `2k + 1` where it ends.
struct Pairing<'a> {
    layer: &'a [usize],
    /// The end that each end continues into; none where a stroke begins or ends.
    partner: Vec<Option<usize>>,
    /// Direction from each end into its transition.
    heading: Vec<Vec2>,
    /// The ends at each junction, in rising order.
    at: Vec<Vec<usize>>,
    /// Parent in the forest of joined trails, by `k`.
    parent: Vec<usize>,
    /// Whether the trail with this root has ends.
    open: Vec<bool>,
}

/// Two ends at one junction that are paired, or one without a partner.
type Through = (usize, Option<usize>);

impl<'a> Pairing<'a> {
    fn new(net: &BoundaryNet, layer: &'a [usize]) -> Self {
        let mut at = vec![Vec::new(); net.junctions.len()];
        let mut partner = vec![None; layer.len() * 2];
        let mut headings = Vec::with_capacity(layer.len() * 2);
        for (k, &id) in layer.iter().enumerate() {
            let t = &net.transitions[id];
            headings.push(heading(&t.curve));
            headings.push(heading(&reversed(&t.curve)));
            if t.closed {
                partner[2 * k] = Some(2 * k + 1);
                partner[2 * k + 1] = Some(2 * k);
            } else {
                for (end, junction) in [(2 * k, t.from), (2 * k + 1, t.to)] {
                    if let Some(junction) = junction {
                        at[junction].push(end);
                    }
                }
            }
        }
        Self {
            layer,
            partner,
            heading: headings,
            at,
            parent: (0..layer.len()).collect(),
            open: vec![false; layer.len()],
        }
    }

    /// How far going from end `a` into end `b` is from straight on: 0 straight, 1 a right angle, 2 back.
    fn bend(&self, a: usize, b: usize) -> f64 {
        1.0 + self.heading[a].dot(self.heading[b])
    }

    fn join(&mut self, a: usize, b: usize) {
        self.partner[a] = Some(b);
        self.partner[b] = Some(a);
    }

    /// Pairs the ends at every junction, straightest first; an odd one out stays without a partner.
    fn pair_straightest(&mut self) {
        for j in 0..self.at.len() {
            let ends = self.at[j].clone();
            let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
            for (i, &a) in ends.iter().enumerate() {
                pairs.extend(ends[i + 1..].iter().map(|&b| (self.bend(a, b), a, b)));
            }
            pairs.sort_by(|x, y| x.0.total_cmp(&y.0).then((x.1, x.2).cmp(&(y.1, y.2))));
            for (_, a, b) in pairs {
                if self.partner[a].is_none() && self.partner[b].is_none() {
                    self.join(a, b);
                }
            }
        }
        for end in 0..self.partner.len() {
            match self.partner[end] {
                Some(other) => self.unite(end / 2, other / 2),
                None => {
                    let root = self.root(end / 2);
                    self.open[root] = true;
                }
            }
        }
    }

    fn root(&mut self, mut k: usize) -> usize {
        while self.parent[k] != k {
            self.parent[k] = self.parent[self.parent[k]];
            k = self.parent[k];
        }
        k
    }

    fn unite(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        let (low, high) = (a.min(b), a.max(b));
        self.parent[high] = low;
        self.open[low] |= self.open[high];
    }

    /// Splices every circuit into a trail or circuit that it meets.
    ///
    /// One pass over the junctions is enough: trails only grow, so two that meet at a junction already dealt
    /// with met there then, and were joined if one of them was closed.
    fn splice_circuits(&mut self) {
        for j in 0..self.at.len() {
            while let Some((a, b)) = self.best_splice(j) {
                self.splice(a, b);
            }
        }
    }

    /// The trails through junction `j`, one entry per passage or end.
    fn passages(&self, j: usize) -> Vec<Through> {
        self.at[j]
            .iter()
            .filter_map(|&a| match self.partner[a] {
                Some(b) => (a < b).then_some((a, Some(b))),
                None => Some((a, None)),
            })
            .collect()
    }

    /// The passage of a circuit and the passage or end of another trail at `j` whose joining bends least.
    fn best_splice(&mut self, j: usize) -> Option<((usize, usize), Through)> {
        let passages = self.passages(j);
        let roots: Vec<usize> = passages.iter().map(|p| self.root(p.0 / 2)).collect();
        let mut best: Option<(f64, (usize, usize), Through)> = None;
        for (&(a, b), &root) in passages.iter().zip(&roots) {
            let Some(b) = b.filter(|_| !self.open[root]) else { continue };
            for (&other, &other_root) in passages.iter().zip(&roots) {
                if other_root == root {
                    continue;
                }
                let straight = self.bend(a, b) + other.1.map_or(0.0, |d| self.bend(other.0, d));
                for (x, y) in [(a, b), (b, a)] {
                    // x goes on into the other trail, y into its second half when it has one.
                    let cost = self.bend(x, other.0) + other.1.map_or(0.0, |d| self.bend(y, d)) - straight;
                    if best.is_none_or(|(least, ..)| cost < least) {
                        best = Some((cost, (x, y), other));
                    }
                }
            }
        }
        best.map(|(_, circuit, other)| (circuit, other))
    }

    fn splice(&mut self, (x, y): (usize, usize), (c, d): Through) {
        self.join(x, c);
        match d {
            Some(d) => self.join(y, d),
            None => self.partner[y] = None,
        }
        self.unite(x / 2, c / 2);
    }

    /// Follows the pairs: trails with ends first, then circuits, each from its lowest end.
    fn lines(&self, net: &BoundaryNet) -> Vec<Line> {
        let mut used = vec![false; self.layer.len()];
        let mut lines = Vec::new();
        let with_ends = (0..self.partner.len()).filter(|&end| self.partner[end].is_none());
        for start in with_ends.chain((0..self.layer.len()).map(|k| 2 * k)) {
            if used[start / 2] {
                continue;
            }
            let mut runs = Vec::new();
            let mut next = Some(start);
            while let Some(end) = next.filter(|&end| !used[end / 2]) {
                used[end / 2] = true;
                runs.push(run(net, self.layer[end / 2], end % 2 == 1));
                next = self.partner[end ^ 1];
            }
            lines.push(Line { runs, closed: next.is_some() });
        }
        lines
    }
}
