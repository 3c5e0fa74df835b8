//! Cores and flooding: what is wide enough to draw grows back to where the tone changes fastest.

use rayon::prelude::*;

use crate::components::components;
use crate::distance::squared_distance_to;
use crate::raster::Raster;

/// Levels of slope that flooding tells apart.
const LEVELS: usize = 4096;

/// The value of each pixel that lies in a core: in the opening of its value's mask with a disc `narrowest_px`
/// across, in a piece of at least `least_px` pixels. 0 elsewhere. The picture's edge narrows nothing.
///
/// Where lighter and darker values lie less than `ladder_px` apart, what is between them is a slope from one to
/// the other and no tone of its own: no core there, so that a blurred edge does not become a ladder of
/// in-between values.
pub(super) fn cores(
    values: &Raster<u8>,
    count: u8,
    narrowest_px: f64,
    ladder_px: f64,
    least_px: f64,
) -> Raster<u8> {
    let (w, h) = (values.width(), values.height());
    let radius_squared = (narrowest_px / 2.0).powi(2) as f32;
    let opened: Vec<Option<Vec<bool>>> = (1..=count)
        .into_par_iter()
        .map(|v| {
            if !values.data().contains(&v) {
                return None;
            }
            let room = squared_distance_to(&values.map(|p| p != v));
            let inside = room.map(|d| d >= radius_squared - 0.01);
            let reach = squared_distance_to(&inside);
            let mut mask: Vec<bool> = reach
                .data()
                .iter()
                .zip(values.data())
                .map(|(&d, &p)| p == v && d <= radius_squared)
                .collect();
            if ladder_px > 1.0 && v > 1 && v < count {
                let lighter = squared_distance_to(&values.map(|p| p < v));
                let darker = squared_distance_to(&values.map(|p| p > v));
                for ((m, a), b) in mask.iter_mut().zip(lighter.data()).zip(darker.data()) {
                    // Pixel centres lie one pixel further apart than the borders between them.
                    *m = *m && a.sqrt() + b.sqrt() > ladder_px as f32 + 1.0;
                }
            }
            Some(mask)
        })
        .collect();
    let mut core = Raster::new(w, h, 0_u8);
    for (v, mask) in (1..=count).zip(&opened) {
        if let Some(mask) = mask {
            for (c, &m) in core.data_mut().iter_mut().zip(mask) {
                if m {
                    *c = v;
                }
            }
        }
    }
    let (ids, count) = components(&core);
    let mut sizes = vec![0_u64; count + 1];
    for &id in ids.data() {
        sizes[id as usize] += 1;
    }
    for (c, &id) in core.data_mut().iter_mut().zip(ids.data()) {
        if (sizes[id as usize] as f64) < least_px {
            *c = 0;
        }
    }
    core
}

/// Floods from the cores: each pixel takes the value of the core that reaches it over the smallest largest slope.
///
/// `slope` is what the flood climbs (any unit, 0 and up). Minimax cost with ties by the order of arrival, so by
/// distance (Meyer 1994, "Topographic distance and watershed lines"): each edge gets one border, on its ridge.
/// With no core at all every pixel stays 0.
pub(super) fn flood(core: &Raster<u8>, slope: &Raster<f32>) -> Raster<u8> {
    let (w, h) = (core.width(), core.height());
    let top = slope.data().iter().copied().fold(0.0_f32, f32::max).max(1e-12);
    // Square root: more levels where slopes are small, where darks and lights differ little.
    let level = |i: usize| ((slope.data()[i] / top).sqrt() * (LEVELS - 1) as f32) as usize;
    let mut out = core.clone();
    let mut queues: Vec<Vec<(u32, u8)>> = vec![Vec::new(); LEVELS];
    let mut heads = vec![0_usize; LEVELS];
    let labels = out.data_mut();
    let around = |i: usize| {
        let (x, y) = (i % w, i / w);
        [
            (x > 0).then(|| i - 1),
            (x + 1 < w).then(|| i + 1),
            (y > 0).then(|| i - w),
            (y + 1 < h).then(|| i + w),
        ]
    };
    for i in 0..w * h {
        if labels[i] != 0 {
            for j in around(i).into_iter().flatten() {
                if labels[j] == 0 {
                    queues[level(j)].push((j as u32, labels[i]));
                }
            }
        }
    }
    let mut at = 0;
    while at < LEVELS {
        let Some(&(i, v)) = queues[at].get(heads[at]) else {
            queues[at] = Vec::new();
            heads[at] = 0;
            at += 1;
            continue;
        };
        heads[at] += 1;
        let i = i as usize;
        if labels[i] != 0 {
            continue;
        }
        labels[i] = v;
        for j in around(i).into_iter().flatten() {
            if labels[j] == 0 {
                queues[level(j).max(at)].push((j as u32, v));
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(rows: &[&str]) -> Raster<u8> {
        let w = rows[0].len();
        let data =
            rows.iter().flat_map(|r| r.bytes().map(|b| if b == b'.' { 0 } else { b - b'0' })).collect();
        Raster::from_vec(w, rows.len(), data)
    }

    #[test]
    fn flat_ground_goes_to_the_nearest_core() {
        let core = picture(&["1......2", "1......2"]);
        let got = flood(&core, &Raster::new(8, 2, 0.0));
        assert_eq!(got, picture(&["11112222", "11112222"]), "ties go half way");
    }

    #[test]
    fn borders_lie_on_the_ridge() {
        let core = picture(&["1......2"]);
        let slope = Raster::from_vec(8, 1, vec![0.0, 0.1, 0.1, 0.2, 0.3, 0.9, 0.2, 0.0]);
        let got = flood(&core, &slope);
        assert_eq!(got.data()[..5], [1, 1, 1, 1, 1], "everything before the ridge is the left core's");
        assert_eq!(got.data()[6..], [2, 2], "everything behind the ridge is the right core's");
    }

    #[test]
    fn thin_and_small_things_have_no_core() {
        let mut values = Raster::new(40, 40, 1_u8);
        for y in 5..35 {
            values.set(5, y, 2);
            for x in 20..30 {
                values.set(x, y, 3);
            }
        }
        for (x, y) in [(12, 12), (13, 12), (12, 13), (13, 13)] {
            values.set(x, y, 4);
        }
        let core = cores(&values, 5, 6.0, 0.0, 50.0);
        assert!(!core.data().contains(&2), "a line of one pixel is thinner than six");
        assert!(!core.data().contains(&4), "four pixels are less than fifty");
        assert_eq!(core.at(25, 20), 3, "a bar of ten pixels is wide enough");
        assert_eq!(core.at(0, 0), 1, "the picture's edge narrows nothing");
    }

    /// Each pixel goes to a core that reaches it over the least largest cost (Dijkstra with max for plus), on flat
    /// cost to a core fewest steps away; scikit-image's `watershed` keeps to the same (tests/oracles/kernels.py).
    ///
    /// Where several cores may have a pixel the order of arrival decides, and there the two differ: behind a pass
    /// scikit-image goes on in the order of the pixels' own costs, this in the order of distance from the pass.
    #[test]
    fn floods_keep_to_least_passes_like_watersheds() {
        let figures: serde_json::Value = serde_json::from_str(include_str!("../../tests/data/kernels.json"))
            .expect("the figures are JSON");
        let whole = |list: &serde_json::Value| -> Vec<u32> {
            list.as_array().expect("a list").iter().map(|v| v.as_u64().expect("whole") as u32).collect()
        };
        let cases = figures["flood"].as_array().expect("a list of cases");
        assert!(cases.len() > 3, "too few floods");
        for case in cases {
            let name = &case["name"];
            let cores: Vec<u8> = whole(&case["cores"]).into_iter().map(|v| v as u8).collect();
            let width = case["width"].as_u64().expect("a width") as usize;
            let height = cores.len() / width;
            // The flood's levels are roots: squares of whole costs stay apart.
            let slope = whole(&case["cost"]).into_iter().map(|c| (c * c) as f32).collect();
            let got = flood(&Raster::from_vec(width, height, cores), &Raster::from_vec(width, height, slope));
            let (may_have, other) = (whole(&case["may_have"]), whole(&case["watershed"]));
            let mut alike = 0;
            for (i, &label) in got.data().iter().enumerate() {
                assert!(may_have[i] >> (label - 1) & 1 == 1, "{name}: pixel {i} went to core {label}");
                alike += usize::from(u32::from(label) == other[i]);
                assert!(
                    !may_have[i].is_power_of_two() || u32::from(label) == other[i],
                    "{name}: pixel {i} has one answer"
                );
            }
            let share = alike as f64 / other.len() as f64;
            assert!(share > 0.6, "{name}: only {share:.3} of the pixels as scikit-image's watershed");
        }
    }
}
