//! Merging by energy: which difference of tone is worth its length of line.
//!
//! The pair of areas whose union costs least in squared tone error per millimetre of line saved is merged first
//! (Koepfler, Lopez & Morel 1994). The order is computed once and kept as a tree; every plainness is a cut
//! through it, so lines only ever disappear as it grows.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BinaryHeap};

use super::doubt::{Border, Doubt};
use crate::raster::Raster;
use crate::tone::tone_of;

/// Marks the root of a tree.
const NONE: u32 = u32::MAX;

/// Sums over the pixels of an area.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AreaSums {
    /// Pixels.
    pub pixels: f64,
    /// Sum of their reflectance.
    pub reflectance: f64,
    /// Sum of how much more than once a squared error of tone counts at each of them; 0 without zones.
    pub emphasis: f64,
    /// By value, the summed squared distance in L* of their tones from that value's band; 0 unless the marks were drawn.
    pub misfit: [f64; MOST_VALUES],
}

impl AreaSums {
    /// L* of the mean reflectance.
    #[must_use]
    pub fn tone(&self) -> f64 {
        tone_of(self.reflectance, self.pixels)
    }

    fn join(&self, other: &Self) -> Self {
        Self {
            pixels: self.pixels + other.pixels,
            reflectance: self.reflectance + other.reflectance,
            emphasis: self.emphasis + other.emphasis,
            misfit: std::array::from_fn(|v| self.misfit[v] + other.misfit[v]),
        }
    }

    /// How many times the energy of a union counts: each area's own squared error is weighted where it lies, and the
    /// smaller area's is the larger one. Exactly 1 without zones.
    fn weight(&self, other: &Self) -> f64 {
        let (a, b) = (self.pixels, other.pixels);
        1.0 + (self.emphasis / a * b + other.emphasis / b * a) / (a + b)
    }
}

/// The order in which areas merge: leaves first, then one node for each union.
#[derive(Clone, Debug, Default)]
pub struct MergeTree {
    /// Node above each node; `u32::MAX` for a root.
    parent: Vec<u32>,
    /// Height at which each node came to be, in L*^2 mm; 0 for leaves. Never falls towards the root.
    height: Vec<f64>,
    /// Value of each node.
    value: Vec<u8>,
    /// Sums of each node.
    sums: Vec<AreaSums>,
    leaves: usize,
}

impl MergeTree {
    /// How many leaves (areas of the finest net) the tree has.
    #[must_use]
    pub fn leaves(&self) -> usize {
        self.leaves
    }

    /// Value of a node.
    #[must_use]
    pub fn value(&self, node: usize) -> u8 {
        self.value[node]
    }

    /// Sums of a node.
    #[must_use]
    pub fn sums(&self, node: usize) -> &AreaSums {
        &self.sums[node]
    }

    /// For each leaf the node that stands for it when everything up to `height` (L*^2 mm) has merged.
    #[must_use]
    pub fn cut(&self, height: f64) -> Vec<usize> {
        let mut stands: Vec<usize> = (0..self.parent.len()).collect();
        for n in (0..self.parent.len()).rev() {
            let p = self.parent[n];
            if p != NONE && self.height[p as usize] <= height {
                stands[n] = stands[p as usize];
            }
        }
        stands.truncate(self.leaves);
        stands
    }

    /// The heights at which unions come to be, each once, lowest first.
    #[must_use]
    pub fn heights(&self) -> Vec<f64> {
        let mut heights = self.height[self.leaves..].to_vec();
        heights.sort_by(f64::total_cmp);
        heights.dedup_by(|a, b| a.total_cmp(b).is_eq());
        heights
    }

    /// Height at which two leaves become one, in L*^2 mm; infinite if they never do, because an edit keeps them apart.
    #[must_use]
    pub fn height_between(&self, a: usize, b: usize) -> f64 {
        let (mut a, mut b) = (a as u32, b as u32);
        // A parent's number is above its children's: the lower of the two climbs.
        while a != b {
            let lower = if a < b { &mut a } else { &mut b };
            *lower = self.parent[*lower as usize];
            if *lower == NONE {
                return f64::INFINITY;
            }
        }
        self.height[a as usize]
    }
}

/// Pixels of each value in an area.
type Shares = [f64; MOST_VALUES];
/// Most values a scale has.
pub(super) const MOST_VALUES: usize = 9;

/// A pair that may merge, cheapest first; ties by number, so that the order never depends on chance.
#[derive(PartialEq)]
struct Pair {
    cost: f64,
    a: u32,
    b: u32,
}

impl Eq for Pair {}

impl Ord for Pair {
    fn cmp(&self, other: &Self) -> Ordering {
        other.cost.total_cmp(&self.cost).then(other.a.cmp(&self.a)).then(other.b.cmp(&self.b))
    }
}

impl PartialOrd for Pair {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// Mean length of a straight line per crack edge that it is traced with, over all directions (pi / 4).
const CRACK_LENGTH: f64 = std::f64::consts::FRAC_PI_4;

/// What each area shares with each of its neighbours.
fn shared_borders(
    ids: &Raster<u32>,
    leaves: usize,
    px_per_mm: f64,
    doubt: &Doubt<'_>,
) -> Vec<BTreeMap<u32, Border>> {
    let (w, h) = (ids.width(), ids.height());
    let steps = doubt.steps();
    let mut pairs: Vec<(u64, f32)> = Vec::new();
    let mut note = |a: u32, b: u32, step: f32| {
        if a < b {
            pairs.push((u64::from(a) << 32 | u64::from(b), step));
        } else if b < a {
            pairs.push((u64::from(b) << 32 | u64::from(a), -step));
        }
    };
    for y in 0..h {
        for x in 0..w {
            let own = ids.at(x, y);
            if x + 1 < w && ids.at(x + 1, y) != own {
                let step = steps.map_or(0.0, |(l, away)| {
                    l.at(x.saturating_sub(away), y) - l.at((x + 1 + away).min(w - 1), y)
                });
                note(own, ids.at(x + 1, y), step);
            }
            if y + 1 < h && ids.at(x, y + 1) != own {
                let step = steps.map_or(0.0, |(l, away)| {
                    l.at(x, y.saturating_sub(away)) - l.at(x, (y + 1 + away).min(h - 1))
                });
                note(own, ids.at(x, y + 1), step);
            }
        }
    }
    // Stable: sums are taken in the order of the picture.
    pairs.sort_by_key(|&(pair, _)| pair);
    let mut sides = vec![BTreeMap::new(); leaves];
    for run in pairs.chunk_by(|a, b| a.0 == b.0) {
        let (a, b) = ((run[0].0 >> 32) as u32, run[0].0 as u32);
        let per_crack = CRACK_LENGTH / px_per_mm;
        let border = Border {
            mm: run.len() as f64 * per_crack,
            step: run.iter().map(|&(_, step)| f64::from(step)).sum::<f64>() * per_crack,
        };
        sides[a as usize].insert(b, border);
        sides[b as usize].insert(a, border.turned());
    }
    sides
}

/// What an artist's edits ask of merging; nothing by default.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Held<'a> {
    /// By leaf, whether its value stands whatever is merged: it joins areas of its own value and no others.
    pub(super) pinned: &'a [bool],
    /// By leaf, the area of the edited drawing that it is part of, and the value of that area.
    pub(super) home: &'a [(u32, u8)],
}

/// Merges everything, cheapest union first, and keeps the order.
///
/// `ids` are leaf numbers from 0; `values` and `sums` are those of the leaves. `doubt` says what energy the texture makes
/// by itself: it is taken off, so a union at height 0 is one whose difference cannot be told from the texture's own
/// unevenness.
#[must_use]
pub fn merge_tree(
    ids: &Raster<u32>,
    values: &[u8],
    sums: &[AreaSums],
    px_per_mm: f64,
    doubt: Doubt<'_>,
) -> MergeTree {
    merge_tree_held(ids, values, sums, px_per_mm, doubt, Held::default())
}

/// The same where some leaves are held: those that are pinned never come to another value, so a tree has as many roots
/// as there are areas that cannot be merged.
///
/// What would come to a pinned neighbour's value by itself, within an area that has another value in the edited
/// drawing, takes that area's value instead: an edited area has the outline that the artist saw.
pub(super) fn merge_tree_held(
    ids: &Raster<u32>,
    values: &[u8],
    sums: &[AreaSums],
    px_per_mm: f64,
    doubt: Doubt<'_>,
    held: Held<'_>,
) -> MergeTree {
    let leaves = values.len();
    let mut pinned: Vec<bool> = (0..leaves).map(|n| held.pinned.get(n).copied().unwrap_or(false)).collect();
    let mut home: Vec<Option<(u32, u8)>> = (0..leaves).map(|n| held.home.get(n).copied()).collect();
    let mut sides = shared_borders(ids, leaves, px_per_mm, &doubt);
    let mut tree = MergeTree {
        parent: vec![NONE; leaves],
        height: vec![0.0; leaves],
        value: values.to_vec(),
        sums: sums.to_vec(),
        leaves,
    };
    for n in 0..leaves {
        if let Some(own) = home[n].filter(|_| !pinned[n])
            && beside_pinned(&tree, &pinned, &sides[n], tree.value[n])
        {
            tree.value[n] = own.1;
        }
    }
    // A union takes the value that most of it has, so bare paper stays paper when a few strokes are merged into it.
    let mut shares: Vec<Shares> = vec![Shares::default(); leaves];
    for ((share, &v), sum) in shares.iter_mut().zip(&tree.value).zip(sums) {
        share[usize::from(v.max(1)) - 1] = sum.pixels;
    }
    let px2 = px_per_mm * px_per_mm;
    let cost = |tree: &MergeTree, pinned: &[bool], a: u32, b: u32, shared: Border| {
        let (p, q) = (&tree.sums[a as usize], &tree.sums[b as usize]);
        if tree.value[a as usize] == tree.value[b as usize] {
            return Some(0.0);
        }
        if pinned[a as usize] || pinned[b as usize] {
            return None;
        }
        let energy = doubt.energy(p.tone()).max(doubt.energy(q.tone()));
        let between = 0.5 * (p.tone() + q.tone());
        if doubt.waves(shared, wrongly_valued(tree, [a, b]) / px2 / shared.mm, between) {
            return Some(0.0);
        }
        let size = p.pixels * q.pixels / (p.pixels + q.pixels) / px2;
        Some((size * (p.tone() - q.tone()).powi(2) / shared.mm - energy).max(0.0) * p.weight(q))
    };
    let mut heap = BinaryHeap::new();
    for a in 0..leaves as u32 {
        for (&b, &border) in sides[a as usize].range(a + 1..) {
            heap.extend(cost(&tree, &pinned, a, b, border).map(|cost| Pair { cost, a, b }));
        }
    }
    while let Some(Pair { cost: c, a, b }) = heap.pop() {
        if tree.parent[a as usize] != NONE || tree.parent[b as usize] != NONE {
            continue;
        }
        let node = tree.parent.len() as u32;
        let height = c.max(tree.height[a as usize]).max(tree.height[b as usize]);
        let (pa, pb) = (tree.sums[a as usize], tree.sums[b as usize]);
        let sum = pa.join(&pb);
        tree.parent[a as usize] = node;
        tree.parent[b as usize] = node;
        tree.parent.push(NONE);
        tree.height.push(height);
        let mut share = shares[a as usize];
        share.iter_mut().zip(shares[b as usize]).for_each(|(p, q)| *p += q);
        shares.push(share);
        tree.sums.push(sum);
        let pair = [a as usize, b as usize];
        pinned.push(pair.iter().any(|&n| pinned[n]));
        home.push(home[pair[0]].filter(|_| home[pair[0]] == home[pair[1]]));
        // The longer list of neighbours takes in the shorter.
        let (mut most, mut least) =
            (std::mem::take(&mut sides[a as usize]), std::mem::take(&mut sides[b as usize]));
        if most.len() < least.len() {
            std::mem::swap(&mut most, &mut least);
        }
        for (n, border) in least {
            most.entry(n).or_default().join(border);
        }
        most.remove(&a);
        most.remove(&b);
        let value = match (pair.into_iter().find(|&n| pinned[n]), home[node as usize]) {
            (Some(n), _) => tree.value[n],
            (None, Some(own)) if beside_pinned(&tree, &pinned, &most, most_held(&share)) => own.1,
            (None, _) => most_held(&share),
        };
        tree.value.push(value);
        for (&n, &border) in &most {
            let side = &mut sides[n as usize];
            side.remove(&a);
            side.remove(&b);
            side.insert(node, border.turned());
            // A union of its neighbour's value costs nothing more: that line dies at the same height.
            heap.extend(cost(&tree, &pinned, n, node, border).map(|cost| Pair { cost, a: n, b: node }));
        }
        sides.push(most);
    }
    tree
}

/// Squared distance (L*^2) from their value's band that the tones of two nodes gain when both have the better of their values.
fn wrongly_valued(tree: &MergeTree, pair: [u32; 2]) -> f64 {
    let [(p, v), (q, u)] =
        pair.map(|n| (&tree.sums[n as usize].misfit, usize::from(tree.value[n as usize].max(1)) - 1));
    ((p[v] + q[v]).min(p[u] + q[u]) - p[v] - q[u]).max(0.0)
}

/// Whether a pinned node of a value is among the neighbours.
fn beside_pinned(tree: &MergeTree, pinned: &[bool], beside: &BTreeMap<u32, Border>, value: u8) -> bool {
    beside.keys().any(|&n| pinned[n as usize] && tree.value[n as usize] == value)
}

/// The value that most of an area has; of two that have as much, the lighter.
fn most_held(pixels_by_value: &Shares) -> u8 {
    let most = pixels_by_value.iter().copied().fold(0.0, f64::max);
    pixels_by_value.iter().position(|&p| p >= most).map_or(1, |i| i as u8 + 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn tree_of(w: usize, h: usize, values: Vec<u8>) -> (MergeTree, Raster<u32>) {
        let raster = Raster::from_vec(w, h, values);
        let (mut ids, n) = crate::components::components(&raster);
        ids.data_mut().iter_mut().for_each(|i| *i -= 1);
        let mut leaf_values = vec![0; n];
        let mut sums = vec![AreaSums::default(); n];
        for (&v, &i) in raster.data().iter().zip(ids.data()) {
            leaf_values[i as usize] = v;
            sums[i as usize].pixels += 1.0;
            sums[i as usize].reflectance += 1.0 - (f64::from(v) - 0.5) / 5.0;
        }
        (merge_tree(&ids, &leaf_values, &sums, 2.0, Doubt::none()), ids)
    }

    proptest! {
        /// Cuts are nested: what has merged stays merged, and the tree ends in one root.
        #[test]
        fn cuts_are_nested(w in 1_usize..12, h in 1_usize..12, cells in proptest::collection::vec(1_u8..6, 144)) {
            let (tree, ids) = tree_of(w, h, cells[..w * h].to_vec());
            for (n, &p) in tree.parent.iter().enumerate() {
                prop_assert!(p == NONE || (p as usize > n && tree.height[p as usize] >= tree.height[n]), "heights never fall");
            }
            prop_assert_eq!(tree.parent.iter().filter(|&&p| p == NONE).count(), 1, "one picture, one root");
            let mut before = tree.cut(-1.0);
            for height in [0.0, 1.0, 10.0, 100.0, 1e3, 1e9] {
                let now = tree.cut(height);
                for a in 0..before.len() {
                    for b in 0..before.len() {
                        prop_assert!(before[a] != before[b] || now[a] == now[b], "a union fell apart");
                        prop_assert_eq!(now[a] == now[b], a == b || tree.height_between(a, b) <= height);
                    }
                }
                // No line between equal values is left.
                for y in 0..h {
                    for x in 1..w {
                        let (a, b) = (now[ids.at(x - 1, y) as usize], now[ids.at(x, y) as usize]);
                        prop_assert!(a == b || tree.value(a) != tree.value(b), "neighbours of one value");
                    }
                }
                before = now;
            }
        }
    }
}
