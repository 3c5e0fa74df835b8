//! Groups where none are named: the few large areas that are left when the drawing's areas go on merging.

use crate::areas::{AreaSums, Doubt, merge_tree};
use crate::raster::Raster;
use crate::tone::ToneField;

use super::StructureOptions;

/// Share of the picture that found groups cover together: what lies outside are accents, not planes (common practice, no
/// source).
pub const COVERED_SHARE: f64 = 0.85;

/// Groups that were found.
#[derive(Clone, Debug)]
pub struct Found {
    /// Number of the group of each pixel, the largest 0; [`u32::MAX`] outside.
    pub of: Raster<u32>,
    /// How many there are.
    pub count: usize,
    /// Merging height of the cut in L*^2 mm.
    pub height: f64,
}

/// Finds groups: the drawn areas go on merging by the energy of [`merge_tree`], without any doubt of texture, up to the lowest
/// height at which the large ones are at most as many as asked for and cover [`COVERED_SHARE`] of the picture.
///
/// The last union is the whole picture, so there always is such a height. `areas` are numbers of the drawn areas from 0, of
/// which there are `count`.
#[must_use]
pub fn found_groups(
    tone: &ToneField,
    values: &Raster<u8>,
    areas: &Raster<u32>,
    count: usize,
    options: &StructureOptions,
) -> Found {
    let mut sums = vec![AreaSums::default(); count];
    let mut own = vec![1_u8; count];
    for (i, &id) in areas.data().iter().enumerate() {
        let s = &mut sums[id as usize];
        s.pixels += 1.0;
        s.reflectance += f64::from(tone.reflectance.data()[i]);
        own[id as usize] = values.data()[i];
    }
    let tree = merge_tree(areas, &own, &sums, tone.px_per_mm, Doubt::none());
    let all = areas.data().len() as f64;
    // Nodes of a cut that are large enough, the largest first.
    let large = |cut: &[usize]| {
        let mut nodes: Vec<usize> = cut.to_vec();
        nodes.sort_unstable();
        nodes.dedup();
        nodes.retain(|&node| tree.sums(node).pixels >= options.least_group * all);
        nodes.sort_by(|&a, &b| tree.sums(b).pixels.total_cmp(&tree.sums(a).pixels).then(a.cmp(&b)));
        nodes
    };
    let mut chosen = (0.0, Vec::new(), Vec::new());
    for height in std::iter::once(0.0).chain(tree.heights()) {
        let cut = tree.cut(height);
        let nodes = large(&cut);
        let covered: f64 = nodes.iter().map(|&node| tree.sums(node).pixels).sum();
        let enough = nodes.len() <= options.most_groups && covered >= COVERED_SHARE * all;
        chosen = (height, cut, nodes);
        if enough {
            break;
        }
    }
    let (height, cut, nodes) = chosen;
    let number = |leaf: u32| {
        let node = cut[leaf as usize];
        nodes.iter().position(|&n| n == node).map_or(u32::MAX, |k| k as u32)
    };
    let by_leaf: Vec<u32> = (0..count as u32).map(number).collect();
    Found { of: areas.map(|leaf| by_leaf[leaf as usize]), count: nodes.len(), height }
}
