//! What must read as one tone: pairs that the study asks for, and what is alike by itself.
//!
//! Two things are alike when they have one value and their own tones (L* of the mean reflectance) lie no further apart than the
//! unevenness that the texture leaves at that tone, its standard deviation, and in no case a third of a step of the value
//! scale, from which on a hand tells them apart. Where there is no texture, [`LEAST_UNEVEN_L`] stands for the unevenness.

use std::collections::BTreeMap;

use kurbo::Point;
use serde::Serialize;

use crate::groups::{Alike, TOLD_APART_STEPS, rounded};
use crate::raster::Raster;
use crate::tone::{ToneField, tone_of};

use super::{KeepAlike, StructureGround, StructureGroup, StructureOptions, StudyPair};

/// Tones nearer than this in L* are alike on any picture: what a hand's own hatching varies by at least (common practice, no
/// source).
pub const LEAST_UNEVEN_L: f64 = 1.5;
/// Least size of a listed area as a share of a working square: smaller ones are not found by a square's name.
const OF_A_SQUARE: f64 = 0.5;
/// A usual square's size in mm2, where there are none.
const USUAL_SQUARE_MM2: f64 = 625.0;
/// Most squares by which an area is named.
const MOST_SQUARES: usize = 3;
/// A square has to have this share of an area to be named, besides the first.
const NAMED_SHARE: f64 = 0.1;

/// One of several that are alike.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Member {
    /// The group's name, when it is one.
    pub name: Option<String>,
    /// Working squares in which most of it lies, most of it first, when there are any.
    pub squares: Vec<String>,
    /// A place in it, in mm on the picture.
    pub at_mm: [f64; 2],
    /// Share of the picture.
    pub share: f64,
    /// Its own tone, L* of its mean reflectance.
    pub lightness: f64,
}

/// Things that must read as one tone.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AlikeSet {
    /// The value of all of them.
    pub value: u8,
    /// How far apart the lightest and the darkest of them may be, in L*.
    pub within: f64,
    /// They, the lightest first.
    pub members: Vec<Member>,
}

/// The keep-alike list of a picture; `areas` are numbers of the drawn areas from 0, of which there are `count`.
#[must_use]
pub fn keep_alike(
    of: &StructureGround<'_>,
    areas: &Raster<u32>,
    count: usize,
    groups: &[StructureGroup],
    options: &StructureOptions,
) -> KeepAlike {
    let [width, height] = of.size_mm();
    let square_mm2 = of.squares.map_or(USUAL_SQUARE_MM2, |s| s.side_mm * s.side_mm);
    let least_mm2 = (options.least_alike * width * height).max(OF_A_SQUARE * square_mm2.min(width * height));
    let named = groups.iter().filter(|g| g.wanted.is_some());
    let named = named.map(|g| {
        let member = Member {
            name: Some(g.name.clone()),
            squares: g.square.iter().cloned().collect(),
            at_mm: g.at_mm,
            share: g.tone.share,
            lightness: g.tone.lightness,
        };
        (g.tone.value, member)
    });
    KeepAlike {
        pairs: of.pairs.iter().map(|(pair, tone)| study_pair(of, pair, tone, groups)).collect(),
        groups: sets(of.tone, named.collect()),
        areas: sets(of.tone, large_areas(of, areas, count, least_mm2)),
        least_mm2: rounded(least_mm2, 1),
    }
}

/// A pair of the study with the squares of its groups or points.
fn study_pair(
    of: &StructureGround<'_>,
    pair: &Alike,
    tone: &crate::groups::AlikeTone,
    groups: &[StructureGroup],
) -> StudyPair {
    let [width, height] = of.size_mm();
    let squares = match pair {
        Alike::Groups(names) => names
            .each_ref()
            .map(|name| groups.iter().find(|g| g.name == *name).and_then(|g| g.square.clone())),
        Alike::Points(points) => points.map(|[x, y]| of.square(Point::new(x.mm(width), y.mm(height)))),
    };
    let squares = match squares {
        [Some(a), Some(b)] => Some([a, b]),
        _ => None,
    };
    StudyPair { squares, tone: tone.clone() }
}

/// How far apart two tones of a value may be to be alike, in L*, the lighter being at `lightness`.
fn within(tone: &ToneField, lightness: f64) -> f64 {
    let uneven = tone.waver.at(lightness).max(LEAST_UNEVEN_L);
    let place = tone.scale.place(lightness);
    // The lightness a third of a step darker, by halving: places fall steadily with lightness.
    let (mut low, mut high) = (0.0, lightness);
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if tone.scale.place(middle) - place > TOLD_APART_STEPS {
            low = middle;
        } else {
            high = middle;
        }
    }
    uneven.min(lightness - high)
}

/// What is alike among things with their values: as few sets as can be, from the lightest on, those of several kept.
///
/// On a line the fewest intervals of a length that cover all points are found from one end (Cormen et al., "Introduction to
/// Algorithms", exercise of greedy choice).
fn sets(tone: &ToneField, mut all: Vec<(u8, Member)>) -> Vec<AlikeSet> {
    all.sort_by(|(v, a), (w, b)| v.cmp(w).then(b.lightness.total_cmp(&a.lightness)));
    let mut sets: Vec<AlikeSet> = Vec::new();
    for (value, member) in all {
        match sets.last_mut() {
            Some(set) if set.value == value && set.members[0].lightness - member.lightness <= set.within => {
                set.members.push(member);
            }
            _ => {
                let within = rounded(within(tone, member.lightness), 3);
                sets.push(AlikeSet { value, within, members: vec![member] });
            }
        }
    }
    sets.retain(|set| set.members.len() > 1);
    sets
}

/// The large areas with their values.
fn large_areas(
    of: &StructureGround<'_>,
    areas: &Raster<u32>,
    count: usize,
    least_mm2: f64,
) -> Vec<(u8, Member)> {
    let px = of.tone.px_per_mm;
    let width = areas.width();
    let mut sums = vec![(0_u64, 0.0_f64); count];
    for (&id, &light) in areas.data().iter().zip(of.tone.reflectance.data()) {
        let (pixels, reflectance) = &mut sums[id as usize];
        *pixels += 1;
        *reflectance += f64::from(light);
    }
    let mut number = vec![usize::MAX; count];
    let large: Vec<usize> = (0..count).filter(|&id| sums[id].0 as f64 >= least_mm2 * px * px).collect();
    large.iter().enumerate().for_each(|(k, &id)| number[id] = k);
    // Of each large area: pixels in each square and the sums of their places; and its value.
    let mut in_squares: Vec<BTreeMap<usize, [f64; 3]>> = vec![BTreeMap::new(); large.len()];
    let mut values = vec![0; large.len()];
    let mut add = |(k, cell): (usize, usize), sums: [f64; 3]| {
        let into = in_squares[k].entry(cell).or_default();
        (0..3).for_each(|j| into[j] += sums[j]);
    };
    // Pixels of one area and one square beside each other are added at once.
    let mut run: Option<((usize, usize), [f64; 3])> = None;
    for (i, &id) in areas.data().iter().enumerate() {
        let k = number[id as usize];
        if k == usize::MAX {
            continue;
        }
        let at = Point::new(((i % width) as f64 + 0.5) / px, ((i / width) as f64 + 0.5) / px);
        let cell = of.squares.map_or(0, |s| {
            let [column, row] = s.cell(at);
            row * s.columns + column
        });
        match &mut run {
            Some((key, sums)) if *key == (k, cell) => {
                sums[0] += 1.0;
                sums[1] += at.x;
                sums[2] += at.y;
            }
            _ => {
                if let Some((key, sums)) = run.replace(((k, cell), [1.0, at.x, at.y])) {
                    add(key, sums);
                }
            }
        }
        values[k] = of.values.data()[i];
    }
    if let Some((key, sums)) = run {
        add(key, sums);
    }
    let all = areas.data().len() as f64;
    let member = |(k, &id): (usize, &usize)| {
        let (pixels, reflectance) = sums[id];
        let mut cells: Vec<(usize, [f64; 3])> =
            in_squares[k].iter().map(|(&cell, &sums)| (cell, sums)).collect();
        cells.sort_by(|(a, m), (b, n)| n[0].total_cmp(&m[0]).then(a.cmp(b)));
        let [most, x, y] = cells[0].1;
        let named = cells.iter().enumerate().take(MOST_SQUARES);
        let named =
            named.filter(|(rank, (_, [here, ..]))| *rank == 0 || *here >= NAMED_SHARE * pixels as f64);
        let squares = of.squares.map_or_else(Vec::new, |s| {
            named.map(|(_, &(cell, _))| s.name(cell % s.columns, cell / s.columns)).collect()
        });
        let member = Member {
            name: None,
            squares,
            at_mm: [x / most, y / most].map(|mm| rounded(mm, 1)),
            share: rounded(pixels as f64 / all, 6),
            lightness: rounded(tone_of(reflectance, pixels as f64), 3),
        };
        (values[k], member)
    };
    large.iter().enumerate().map(member).collect()
}
