//! Areas: connected patches of one value, wide and large enough to draw, and the order in which they merge.
//!
//! In: [`ToneField`]. Out: [`AreaMap`] (an id per pixel, one record per area, the merge tree).
//! Units: widths in mm and sizes in mm2 on the sheet; merging heights in L*^2 mm.
//! Keeps: every pixel belongs to exactly one area; neighbouring areas differ in value.

mod flood;
mod merge;

use rayon::prelude::*;

use crate::raster::Raster;
use crate::tone::{ToneField, gaussian};

pub use merge::{AreaSums, MergeTree, merge_tree};

/// Settings of the areas stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AreaOptions {
    /// Narrowest width of an area in mm.
    pub narrowest_mm: f64,
    /// Least size of an area in mm2.
    pub least_area_mm2: f64,
}

impl Default for AreaOptions {
    fn default() -> Self {
        Self { narrowest_mm: 1.0, least_area_mm2: 6.0 }
    }
}

/// All areas of the finest net, and how they merge.
#[derive(Clone, Debug)]
pub struct AreaMap {
    /// Leaf number of each pixel, from 0.
    pub ids: Raster<u32>,
    /// The order of merging; its leaves are the areas of `ids`.
    pub tree: MergeTree,
    /// Narrowest width and least size used, in mm and mm2 (never less than the texture can bear).
    pub used: AreaOptions,
}

/// Narrowest width that a mean of this width (mm, standard deviation) can bear, in widths: a narrower thing has
/// lost more than half of its contrast.
const BEARABLE_WIDTHS: f64 = 1.2;

/// Finds the areas of a tone field.
#[must_use]
pub fn find(tone: &ToneField, options: &AreaOptions) -> AreaMap {
    let px = tone.px_per_mm;
    let bearable = BEARABLE_WIDTHS * tone.mean_width_mm;
    let used = AreaOptions {
        narrowest_mm: options.narrowest_mm.max(bearable),
        least_area_mm2: options.least_area_mm2.max(3.0 * bearable * bearable),
    };
    let values = tone.lightness.map(|l| tone.scale.value(l));
    let core = flood::cores(&values, tone.scale.values(), used.narrowest_mm * px, used.least_area_mm2 * px * px);
    let mut flooded = flood::flood(&core, &slope(tone));
    if flooded.data()[0] == 0 {
        // Nothing is wide enough for a core: the picture is one area of its mean tone.
        let all = sums_of(&tone.reflectance, &Raster::new(values.width(), values.height(), 0), 1);
        let value = tone.scale.value(all[0].tone() as f32);
        flooded.data_mut().fill(value);
    }
    let (mut ids, count) = flood::components(&flooded);
    ids.data_mut().iter_mut().for_each(|id| *id -= 1);
    let mut leaf_values = vec![0_u8; count];
    for (&id, &v) in ids.data().iter().zip(flooded.data()) {
        leaf_values[id as usize] = v;
    }
    let sums = sums_of(&tone.reflectance, &ids, count);
    let tree = merge_tree(&ids, &leaf_values, &sums, &tone.scale, px);
    AreaMap { ids, tree, used }
}

fn sums_of(reflectance: &Raster<f32>, ids: &Raster<u32>, count: usize) -> Vec<AreaSums> {
    let mut sums = vec![AreaSums::default(); count];
    for (&v, &id) in reflectance.data().iter().zip(ids.data()) {
        let s = &mut sums[id as usize];
        s.pixels += 1.0;
        s.reflectance += f64::from(v);
    }
    sums
}

/// Slope of the edge-kept tone in linear reflectance (blur happens in light, so the steepest place is half height).
fn slope(tone: &ToneField) -> Raster<f32> {
    let light = tone.lightness.map(|l| crate::colour::reflectance(f64::from(l)) as f32);
    let smooth = gaussian(&light, 0.6);
    let (w, h) = (smooth.width(), smooth.height());
    let mut out = Raster::new(w, h, 0.0_f32);
    out.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        let (up, row, down) = (smooth.row(y.saturating_sub(1)), smooth.row(y), smooth.row((y + 1).min(h - 1)));
        for (x, o) in out.iter_mut().enumerate() {
            let dx = row[(x + 1).min(w - 1)] - row[x.saturating_sub(1)];
            let dy = down[x] - up[x];
            *o = dx.hypot(dy);
        }
    });
    out
}
