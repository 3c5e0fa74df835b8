//! Cores and flooding: what is wide enough to draw grows back to where the tone changes fastest.

use rayon::prelude::*;

use crate::components::components;
use crate::distance::{power_distance, squared_distance_within};
use crate::raster::Raster;

/// Levels of slope that flooding tells apart.
const LEVELS: usize = 4096;

/// A limit: one for the whole picture, or one for each pixel.
#[derive(Clone, Copy, Debug)]
pub(super) enum Limit<'a> {
    /// The same everywhere.
    Even(f64),
    /// Where zones are: the pixel's own.
    Local(&'a Raster<f32>),
}

impl Limit<'_> {
    /// The largest of all pixels' limits; 0 if none is larger.
    fn most(&self) -> f64 {
        match self {
            Limit::Even(px) => px.max(0.0),
            Limit::Local(px) => f64::from(px.data().iter().copied().fold(0.0, f32::max)),
        }
    }
}

/// The value of each pixel that lies in a core: in the opening of its value's mask with a disc `narrowest_px`
/// across. 0 elsewhere. A strip along the picture's edge is as narrow as it is seen: a cropped reference has the blur of its own
/// edge there. Where the limit differs from place to place, a disc is as wide as its middle asks.
///
/// Where lighter and darker values lie less than `ladder_px` apart, what is between them is a slope from one to
/// the other and no tone of its own: no core there, so that a blurred edge does not become a ladder of
/// in-between values.
pub(super) fn cores(
    values: &Raster<u8>,
    count: u8,
    narrowest_px: Limit<'_>,
    ladder_px: Limit<'_>,
) -> Raster<u8> {
    let (w, h) = (values.width(), values.height());
    let ladders = ladder_px.most() > 1.0;
    // Farther than what is asked for is far enough.
    let room_reach = (narrowest_px.most() / 2.0).ceil() as usize;
    let ladder_reach = ladder_px.most().ceil() as usize + 1;
    let opened: Vec<Option<Vec<bool>>> = (1..=count)
        .into_par_iter()
        .map(|v| {
            if !values.data().contains(&v) {
                return None;
            }
            let mut room = squared_distance_within(&values.map(|p| p != v), room_reach);
            from_edge(&mut room);
            let mut mask = match narrowest_px {
                Limit::Even(px) => opened_evenly(&room, (px / 2.0).powi(2) as f32),
                Limit::Local(px) => opened_locally(&room, px),
            };
            for (m, &p) in mask.iter_mut().zip(values.data()) {
                *m = *m && p == v;
            }
            if ladders && v > 1 && v < count {
                let lighter = squared_distance_within(&values.map(|p| p < v), ladder_reach);
                let darker = squared_distance_within(&values.map(|p| p > v), ladder_reach);
                for (i, m) in mask.iter_mut().enumerate() {
                    let ladder = match ladder_px {
                        Limit::Even(px) => px as f32,
                        Limit::Local(px) => px.data()[i],
                    };
                    // Pixel centres lie one pixel further apart than the borders between them.
                    let apart = lighter.data()[i].sqrt() + darker.data()[i].sqrt();
                    *m = *m && (ladder <= 1.0 || apart > ladder + 1.0);
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
    core
}

/// Takes the cores off pieces of fewer than `least_px` pixels. Where that differs from place to place, a piece is large enough
/// when its pixels, each as the share of the least size that it is there, add up to 1.
pub(super) fn drop_small(core: &mut Raster<u8>, least_px: Limit<'_>) {
    let (ids, count) = components(core);
    let mut sizes = vec![0.0_f64; count + 1];
    for (i, &id) in ids.data().iter().enumerate() {
        sizes[id as usize] += match least_px {
            Limit::Even(_) => 1.0,
            Limit::Local(px) => 1.0 / f64::from(px.data()[i]),
        };
    }
    let least = match least_px {
        Limit::Even(px) => px,
        Limit::Local(_) => 1.0 - SHARES_SLACK,
    };
    for (c, &id) in core.data_mut().iter_mut().zip(ids.data()) {
        if sizes[id as usize] < least {
            *c = 0;
        }
    }
}

/// Takes the cores off darks that no disc `across_px` across fits in: what is darker than a level is opened with it at every
/// level, so what a closing of the tone would fill in.
pub(super) fn drop_narrow_darks(core: &mut Raster<u8>, values: &Raster<u8>, count: u8, across_px: f64) {
    let reach = (across_px / 2.0).ceil() as usize;
    let wide: Vec<Vec<bool>> = (2..=count)
        .into_par_iter()
        .map(|v| {
            let mut room = squared_distance_within(&values.map(|p| p < v), reach);
            from_edge(&mut room);
            opened_evenly(&room, (across_px / 2.0).powi(2) as f32)
        })
        .collect();
    for (i, c) in core.data_mut().iter_mut().enumerate() {
        if *c > 1 && !wide[usize::from(*c) - 2][i] {
            *c = 0;
        }
    }
}

/// What rounding may take from a sum of shares.
const SHARES_SLACK: f64 = 1e-6;
/// What rounding may take from a squared radius, in pixels.
const ROOM_SLACK: f32 = 0.01;

/// Takes what lies beyond the picture's edge for something else; `room` holds squared distances in pixels.
fn from_edge(room: &mut Raster<f32>) {
    let (w, h) = (room.width(), room.height());
    room.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        let rows = (y + 1).min(h - y);
        for (x, d) in row.iter_mut().enumerate() {
            let away = rows.min(x + 1).min(w - x) as f32;
            *d = d.min(away * away);
        }
    });
}

/// The union of the discs of one radius whose middles have that much room to the outside.
fn opened_evenly(room: &Raster<f32>, radius_squared: f32) -> Vec<bool> {
    let inside = room.map(|d| d >= radius_squared - ROOM_SLACK);
    let reach = radius_squared.max(0.0).sqrt().ceil() as usize;
    squared_distance_within(&inside, reach).data().iter().map(|&d| d <= radius_squared).collect()
}

/// The same with a radius of its own for each middle, half of `across_px` there: a pixel lies in some disc when the
/// least of |x - c|^2 - r(c)^2 over all middles c is not above 0.
fn opened_locally(room: &Raster<f32>, across_px: &Raster<f32>) -> Vec<bool> {
    let mut lift = Raster::new(room.width(), room.height(), f64::INFINITY);
    for ((l, &d), &across) in lift.data_mut().iter_mut().zip(room.data()).zip(across_px.data()) {
        let radius_squared = (f64::from(across) / 2.0).powi(2) as f32;
        if d >= radius_squared - ROOM_SLACK {
            *l = -f64::from(radius_squared);
        }
    }
    power_distance(&lift).data().iter().map(|&d| d <= 0.0).collect()
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
    use proptest::prelude::*;

    /// Strips along the picture's edge have a core from the narrowest width on, as strips inside have.
    #[test]
    fn strips_along_the_edge_are_as_narrow_as_they_are_seen() {
        let strip = |from: usize, wide: usize| {
            let cells = (0..1600).map(|i| 1 + u8::from((from..from + wide).contains(&(i % 40))));
            let values = Raster::from_vec(40, 40, cells.collect());
            cores(&values, 2, Limit::Even(5.0), Limit::Even(0.0)).data().contains(&2)
        };
        for wide in 1..9 {
            assert_eq!(strip(0, wide), wide >= 5, "{wide} pixels along the edge");
            assert_eq!(strip(15, wide), wide >= 5, "{wide} pixels inside");
        }
    }

    proptest! {
        /// Discs of many radii against the definition: a pixel is kept when some disc that has room covers it.
        #[test]
        fn openings_with_many_radii_agree_with_brute_force(
            w in 1_usize..18, h in 1_usize..18,
            mask in proptest::collection::vec(0_u8..8, 324),
            across in proptest::collection::vec(2_u8..24, 324),
        ) {
            let within = Raster::from_vec(w, h, mask[..w * h].iter().map(|&m| m > 0).collect());
            let across = Raster::from_vec(w, h, across[..w * h].iter().map(|&a| f32::from(a) / 2.0).collect());
            let room = squared_distance_within(&within.map(|m| !m), 12);
            let got = opened_locally(&room, &across);
            let apart = |i: usize, j: usize| ((i % w).abs_diff(j % w).pow(2) + (i / w).abs_diff(j / w).pow(2)) as f32;
            for (i, &kept) in got.iter().enumerate() {
                let covered = (0..w * h).any(|c| {
                    let r2 = (across.data()[c] / 2.0).powi(2);
                    let fits = (0..w * h).all(|o| within.data()[o] || apart(c, o) >= r2 - ROOM_SLACK);
                    fits && apart(i, c) <= r2
                });
                prop_assert_eq!(kept, covered, "pixel {} {}", i % w, i / w);
            }
        }

        /// One limit written into every pixel is that limit.
        #[test]
        fn even_limits_are_local_ones_that_agree(
            w in 1_usize..24, h in 1_usize..24,
            cells in proptest::collection::vec(1_u8..4, 64),
            narrowest in 1.0..9.0_f32, ladder in 0.0..6.0_f32, least in 1.0..40.0_f32,
        ) {
            // Cells of three pixels, so that cores are found.
            let values = Raster::from_vec(w, h, (0..w * h).map(|i| cells[(i % w) / 3 + 8 * ((i / w) / 3)]).collect());
            let all = |v: f32| Raster::new(w, h, v);
            let (n, l, s) = (all(narrowest), all(ladder), all(least));
            let large = |narrowest, ladder, least| {
                let mut core = cores(&values, 3, narrowest, ladder);
                drop_small(&mut core, least);
                core
            };
            let local = large(Limit::Local(&n), Limit::Local(&l), Limit::Local(&s));
            let [n, l, s] = [narrowest, ladder, least].map(|v| Limit::Even(f64::from(v)));
            prop_assert_eq!(local, large(n, l, s));
        }
    }

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
        let mut core = cores(&values, 5, Limit::Even(6.0), Limit::Even(0.0));
        drop_small(&mut core, Limit::Even(50.0));
        assert!(!core.data().contains(&2), "a line of one pixel is thinner than six");
        assert!(!core.data().contains(&4), "four pixels are less than fifty");
        assert_eq!(core.at(25, 20), 3, "a bar of ten pixels is wide enough");
        assert_eq!(core.at(0, 0), 1, "the picture's edge narrows nothing");
    }

    #[test]
    fn narrow_darks_lose_their_cores_at_every_level() {
        // A line of value 4, six pixels wide with its flanks of value 3, between 1 and 2; a block of the same values.
        let profile = |i: usize, from: usize, to: usize| match (i.checked_sub(from), to.checked_sub(i + 1)) {
            (Some(0), _) | (_, Some(0)) => 3,
            (Some(_), Some(_)) => 4,
            _ => 0,
        };
        let mut values = Raster::new(60, 40, 1_u8);
        for y in 0..40 {
            for x in 0..60 {
                let ground = if x < 15 { 1 } else { 2 };
                let block = if (8..32).contains(&y) { profile(x, 30, 54) } else { 0 };
                values.set(x, y, ground.max(profile(x, 12, 18)).max(block));
            }
        }
        let mut core = values.clone();
        drop_narrow_darks(&mut core, &values, 5, 8.0);
        for y in 0..40 {
            assert!((12..18).all(|x| core.at(x, y) == 0), "row {y} of the line has a core");
        }
        assert_eq!(core.at(5, 20), 1, "lights stay");
        assert_eq!(core.at(24, 20), 2, "what lies wide between darks stays");
        assert!((31..53).all(|x| core.at(x, 20) == 4), "a wide dark stays");
        let mut all = values.clone();
        drop_narrow_darks(&mut all, &values, 5, 4.0);
        assert_eq!(all.at(15, 20), 4, "a line as wide as the disc stays");
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
