//! Areas: connected patches of one value, wide and large enough to draw, and the order in which they merge.
//!
//! In: [`ToneField`]. Out: [`AreaMap`] (an id per pixel, one record per area, the merge tree).
//! Units: widths in mm and sizes in mm2 on the sheet; merging heights in L*^2 mm.
//! Keeps: every pixel belongs to exactly one area; neighbouring areas differ in value.

mod calm;
mod doubt;
mod flood;
mod ladders;
mod merge;
mod settle;
mod slopes;
pub mod edits;
pub mod zones;

use rayon::prelude::*;

use crate::components::components;
use crate::raster::{Raster, extreme_square, gradient};
use crate::tone::{ReferenceKind, ToneField, gaussian};

pub use doubt::Doubt;
use flood::Limit;
pub use merge::{AreaSums, MergeTree, merge_tree};
use zones::{Zoning, blended};

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
    /// Narrowest width and least size used, in mm and mm2 (never less than the texture can bear); outside zones.
    pub used: AreaOptions,
    /// The same in focus and at rest, where there are zones.
    pub used_in_zones: Option<[AreaOptions; 2]>,
    /// Narrowest width used anywhere on the picture, in mm.
    pub finest_mm: f64,
    /// What the artist's edits changed, where there are any.
    pub edited: Option<edits::Edited>,
}

impl AreaMap {
    /// Which pixels lie in an area that the artist has edited; none without edits.
    #[must_use]
    pub fn edited_pixels(&self) -> Option<Raster<bool>> {
        self.edited.as_ref().map(|edited| self.ids.map(|id| edited.pinned[id as usize]))
    }
}

/// Narrowest width that a mean of this width (mm, standard deviation) can bear, in widths: a narrower thing has
/// lost more than half of its contrast.
const BEARABLE_WIDTHS: f64 = 1.2;

/// Where the reference is known to have holding lines, darks narrower than this many first widths are such lines: a line 0.5 mm wide
/// in a mean of 0.5 mm.
const LINE_WIDTHS: f64 = 3.2;

/// Finds the areas of a tone field.
#[must_use]
pub fn find(tone: &ToneField, options: &AreaOptions) -> AreaMap {
    find_in_zones(tone, options, None)
}

/// Limits of each pixel.
struct Local {
    narrowest_px: Raster<f32>,
    least_px: Raster<f32>,
}

/// Finds the areas of a tone field with other limits in focus and at rest.
///
/// A squared error of tone counts as often in a zone as its narrowest width goes into that elsewhere: an area half as
/// wide has half the energy per mm of line, so in focus it is worth its line as an area of the usual width is
/// elsewhere. What the texture makes doubtful stays doubtful in every zone.
#[must_use]
pub fn find_in_zones(tone: &ToneField, options: &AreaOptions, zoning: Option<&Zoning>) -> AreaMap {
    let px = tone.px_per_mm;
    let bearable = BEARABLE_WIDTHS * tone.mean_width_mm;
    let bear = |asked: &AreaOptions| AreaOptions {
        narrowest_mm: asked.narrowest_mm.max(bearable),
        least_area_mm2: asked.least_area_mm2.max(3.0 * bearable * bearable),
    };
    let used = bear(options);
    let weights = zoning.map(|z| (z, z.zones.weights(tone.lightness.width(), tone.lightness.height(), px)));
    let at = |z: &Zoning, w: f32| AreaOptions {
        narrowest_mm: blended(options.narrowest_mm, z.focus.narrowest_mm, z.rest.narrowest_mm, w),
        least_area_mm2: blended(options.least_area_mm2, z.focus.least_area_mm2, z.rest.least_area_mm2, w),
    };
    // One weight all over is one limit all over; else each pixel has its own.
    let (everywhere, local) = match &weights {
        None => (used, None),
        Some((z, w)) if w.data().iter().all(|v| v.total_cmp(&w.data()[0]).is_eq()) => {
            (bear(&at(z, w.data()[0])), None)
        }
        Some((z, w)) => {
            let local = Local {
                narrowest_px: w.map(|w| (bear(&at(z, w)).narrowest_mm * px) as f32),
                least_px: w.map(|w| (bear(&at(z, w)).least_area_mm2 * px * px) as f32),
            };
            (used, Some(local))
        }
    };
    let finest_mm = local.as_ref().map_or(everywhere.narrowest_mm, |l| {
        f64::from(l.narrowest_px.data().iter().copied().fold(f32::INFINITY, f32::min)) / px
    });
    let mut values = tone.lightness.map(|l| tone.scale.value(l));
    settle::settle(&mut values, tone);
    // Blur happens in light, so the steepest place there is half height.
    let light = tone.light();
    let slope = gradient(&gaussian(&light, CALM_PX));
    let blur = blur_mm(&light, px, tone.is_textured());
    let ladder_px = LADDER_WIDTHS[usize::from(tone.is_textured())] * blur * px;
    let core = match &local {
        None => {
            let narrowest_px = everywhere.narrowest_mm * px;
            let ladder_px = ladder_px.min(LADDER_MOST * narrowest_px);
            let limits = [narrowest_px, ladder_px, everywhere.least_area_mm2 * px * px];
            cores(tone, &values, limits.map(Limit::Even))
        }
        Some(Local { narrowest_px, least_px }) => {
            let ladder_px = narrowest_px.map(|n| (ladder_px as f32).min(LADDER_MOST as f32 * n));
            cores(tone, &values, [narrowest_px, &ladder_px, least_px].map(Limit::Local))
        }
    };
    let mut flooded = flood::flood(&core, &slope);
    if flooded.data()[0] == 0 {
        // Nothing is wide enough for a core: the picture is one area of its mean tone.
        let all = sums_of(&tone.reflectance, &Raster::new(values.width(), values.height(), 0), 1);
        let value = tone.scale.value(all[0].tone() as f32);
        flooded.data_mut().fill(value);
    }
    let smallest_px = local.as_ref().map_or(everywhere.least_area_mm2 * px * px, |l| {
        f64::from(l.least_px.data().iter().copied().fold(f32::INFINITY, f32::min))
    });
    if tone.is_textured() {
        flooded = calm::calm(&flooded, tone.scale.values(), finest_mm * px, smallest_px);
    } else if slopes::lead(&mut flooded, &core, (&tone.lightness, &tone.scale), px, [blur, finest_mm]) {
        calm::absorb(&mut flooded, tone.scale.values(), smallest_px);
    }
    let (mut ids, count) = components(&flooded);
    ids.data_mut().iter_mut().for_each(|id| *id -= 1);
    let mut leaf_values = vec![0_u8; count];
    for (&id, &v) in ids.data().iter().zip(flooded.data()) {
        leaf_values[id as usize] = v;
    }
    let mut sums = sums_of(&tone.reflectance, &ids, count);
    if let Some((z, w)) = &weights {
        for (&w, &id) in w.data().iter().zip(ids.data()) {
            sums[id as usize].emphasis += options.narrowest_mm / at(z, w).narrowest_mm - 1.0;
        }
    }
    let doubt = Doubt::of(tone);
    doubt.sum_misfits(&ids, &mut sums);
    let tree = merge_tree(&ids, &leaf_values, &sums, px, doubt);
    let used_in_zones = zoning.map(|z| [bear(&z.focus), bear(&z.rest)]);
    AreaMap { ids, tree, used, used_in_zones, finest_mm, edited: None }
}

/// Where each value has an area of its own: wide and large enough, no ladder and no holding line. `limits` in pixels: narrowest width,
/// width of ladders, least size.
fn cores(tone: &ToneField, values: &Raster<u8>, limits: [Limit<'_>; 3]) -> Raster<u8> {
    let [narrowest, ladder, least] = limits;
    let (count, width_px) = (tone.scale.values(), tone.mean_width_mm * tone.px_per_mm);
    let mut core = flood::cores(values, count, narrowest, ladder);
    if tone.is_textured() {
        let scales = [tone.px_per_mm, tone.mean_width_mm];
        ladders::drop_ladders(&mut core, values, count, &tone.reflectance, scales);
    }
    flood::drop_small(&mut core, least);
    if tone.kind == ReferenceKind::HatchedWithLines {
        flood::drop_narrow_darks(&mut core, values, count, LINE_WIDTHS * width_px);
    }
    core
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

/// Width of the Gaussian that takes single pixels out of the slope, in pixels.
const CALM_PX: f32 = 0.6;

/// Share of the strong edges that stands for the sharpest, by their length ...
const SHARPEST: f64 = 0.05;
/// ... or, in texture, by their pixels: there the mean makes all of them about as wide, and waver some sharper than they are.
const SHARPEST_IN_TEXTURE: f64 = 0.1;

/// How many of these widths an in-between value has to span before it counts as a tone of its own: of tones, and of texture.
const LADDER_WIDTHS: [f64; 2] = [1.38, 1.3];

/// No in-between value wider than this many narrowest widths is taken for blur.
const LADDER_MOST: f64 = 4.0;

/// Width in mm of the sharpest strong edges: change of reflectance over slope, which a share of all
/// strong edges stays under (the rest may be gradations).
fn blur_mm(light: &Raster<f32>, px_per_mm: f64, textured: bool) -> f64 {
    let reach = (0.5 * px_per_mm).round().max(2.0) as usize;
    let (low, high) = (extreme_square(light, reach, f32::min), extreme_square(light, reach, f32::max));
    let (w, h) = (light.width(), light.height());
    let mut widths: Vec<f32> = (1..h.saturating_sub(1))
        .into_par_iter()
        .flat_map_iter(|y| {
            let (low, high) = (&low, &high);
            (1..w.saturating_sub(1)).filter_map(move |x| {
                let change = high.at(x, y) - low.at(x, y);
                if change < 0.2 {
                    return None;
                }
                // Only where the slope is steepest on its own normal: near the middle of the change.
                let middle = 0.5 * (high.at(x, y) + low.at(x, y));
                if (light.at(x, y) - middle).abs() > 0.12 * change {
                    return None;
                }
                let dx = 0.5 * (light.at(x + 1, y) - light.at(x - 1, y));
                let dy = 0.5 * (light.at(x, y + 1) - light.at(x, y - 1));
                Some(change / dx.hypot(dy).max(1e-4))
            })
        })
        .collect();
    if widths.len() < 20 {
        return 0.0;
    }
    if textured {
        let at = (SHARPEST_IN_TEXTURE * widths.len() as f64) as usize;
        return f64::from(*widths.select_nth_unstable_by(at, f32::total_cmp).1) / px_per_mm;
    }
    // An edge has as many pixels across as it is wide, so soft ones would be the most.
    widths.sort_unstable_by(f32::total_cmp);
    let length = |width: &f32| 1.0 / f64::from(width.max(0.5));
    let least = SHARPEST * widths.iter().map(length).sum::<f64>();
    let lengths = widths.iter().scan(0.0, |sum, width| {
        *sum += length(width);
        Some(*sum)
    });
    let at = lengths.take_while(|&sum| sum < least).count();
    f64::from(widths[at.min(widths.len() - 1)]) / px_per_mm
}

#[cfg(test)]
mod tests {
    use super::*;

    const PX_PER_MM: f64 = 6.0;
    const SIDE: usize = 360;

    /// A picture of edges that lean by a fifth: by the places across them and down, in pixels.
    fn leaning(light: impl Fn(f64, f64) -> f32) -> Raster<f32> {
        let at = |i: usize| {
            let [x, y] = [i % SIDE, i / SIDE].map(|p| p as f64 + 0.5);
            light((x + 0.2 * y) / 1.04_f64.sqrt(), y)
        };
        Raster::from_vec(SIDE, SIDE, (0..SIDE * SIDE).map(at).collect())
    }

    fn width(light: &Raster<f32>) -> f64 {
        blur_mm(light, PX_PER_MM, false)
    }

    /// A step blurred by a Gaussian of width s has slope 1 / (s sqrt(2 pi)) in its middle.
    #[test]
    fn the_blur_of_a_picture_is_that_of_its_edges() {
        let steps = leaning(|x, _| if ((x / 60.0) as usize).is_multiple_of(2) { 0.1 } else { 0.9 });
        for sigma_mm in [0.15, 0.25] {
            let found = width(&gaussian(&steps, (sigma_mm * PX_PER_MM) as f32));
            // A central difference averages over two pixels, whose variance is a third.
            let seen = sigma_mm.hypot((1.0_f64 / 3.0).sqrt() / PX_PER_MM);
            let want = seen * std::f64::consts::TAU.sqrt();
            assert!((found / want - 1.0).abs() < 0.12, "{found} mm for {want}");
        }
    }

    /// Folds have many pixels to a mm of their edges, and say nothing of how sharp a picture is, however many there are.
    #[test]
    fn soft_folds_do_not_hide_what_is_sharp() {
        // Slopes 1.2 mm wide 3 mm apart, and in an eighth of the height some 0.2 mm wide 2 mm apart.
        let slopes = |x: f64, apart: f64, wide: f64| {
            let share = ((x % (2.0 * apart) - apart).abs() - 0.5 * (apart - wide)) / wide;
            0.1 + 0.8 * share.clamp(0.0, 1.0) as f32
        };
        let soft = leaning(|x, _| slopes(x, 18.0, 7.2));
        let picture =
            leaning(|x, y| if y > SIDE as f64 / 8.0 { slopes(x, 18.0, 7.2) } else { slopes(x, 12.0, 1.2) });
        assert!(width(&picture) < 0.4, "{} mm", width(&picture));
        assert!(width(&soft) > 0.8, "{} mm where nothing is sharp", width(&soft));
    }
}
