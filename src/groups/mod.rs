//! Groups: the tones of named zones of the picture (a figure, a plane of depth), and of what must read as one tone.
//!
//! In: [`ToneField`], the value of each pixel as drawn, [`Group`]s and pairs. Out: their figures, and no drawing.
//! Units: reflectance is linear light from 0 to 1, lightness CIE L*, shares from 0 to 1.
//! Keeps: a pixel is in one group at most, so shares add up to 1 at most; where zones overlap the smaller one has it (a
//! figure in front of its plane of depth), the later one of two that are as large.

#[cfg(test)]
mod tests;

use std::collections::HashMap;

use serde::Serialize;

use crate::areas::edits::PlaceOnPicture;
use crate::areas::zones::Outline;
use crate::raster::Raster;
use crate::tone::{ToneField, ValueScale, tone_of};

/// From this part of a step on, two tones that must read as one are told apart (common practice, no source).
pub const TOLD_APART_STEPS: f64 = 1.0 / 3.0;
/// Share of a group's pixels that its range leaves out at each end: edges of the zone that cut into its neighbours.
const OUTLIERS: f64 = 0.025;

/// A named zone.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// Its name.
    pub name: String,
    /// Where it lies.
    pub zone: Outline,
    /// The lightest and the darkest value that its tone is to have.
    pub wanted: [u8; 2],
}

/// Two tones that must read as one.
#[derive(Clone, Debug, PartialEq)]
pub enum Alike {
    /// Those of two groups, by their names.
    Groups([String; 2]),
    /// Those of the areas at two points.
    Points([PlaceOnPicture; 2]),
}

/// The figures of one group.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct GroupTone {
    /// Its name.
    pub name: String,
    /// Share of the picture.
    pub share: f64,
    /// Mean reflectance of the reference, paper being 1 and ink 0.
    pub reflectance: f64,
    /// Its L*: the group's tone.
    pub lightness: f64,
    /// The value of that tone.
    pub value: u8,
    /// The lightest and the darkest value that were wanted.
    pub wanted: [u8; 2],
    /// Whether the value is one of those.
    pub as_wanted: bool,
    /// L* of its lightest and of its darkest tone, texture averaged away, 2.5 % of it left out at either end.
    pub range: [f64; 2],
    /// Share of the group that each value has in the drawing, value 1 first.
    pub drawn_shares: Vec<f64>,
}

/// How far two tones are apart that must read as one.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct AlikeTone {
    /// What they are of: names of groups, or points.
    pub of: [String; 2],
    /// L* of each mean reflectance.
    pub lightness: [f64; 2],
    /// How far apart they are in L*.
    pub apart_lightness: f64,
    /// How far apart they are on the value scale, in values.
    pub apart_values: f64,
    /// Whether they are told apart: more than a third of a step.
    pub told_apart: bool,
}

/// Number of the group that each pixel is in, `u32::MAX` where it is in none.
#[must_use]
pub fn membership(groups: &[Group], width: usize, height: usize, px_per_mm: f64) -> Raster<u32> {
    let size_mm = [width as f64 / px_per_mm, height as f64 / px_per_mm];
    let rows: Vec<Vec<_>> = groups.iter().map(|g| g.zone.rows(size_mm, [width, height]).collect()).collect();
    let pixels =
        |k: usize| rows[k].iter().flat_map(|(_, runs)| runs).map(ExactSizeIterator::len).sum::<usize>();
    let mut order: Vec<usize> = (0..groups.len()).collect();
    // The larger first, so that the smaller are written over them; a stable sort keeps later ones later.
    order.sort_by_key(|&k| std::cmp::Reverse(pixels(k)));
    let mut out = Raster::new(width, height, u32::MAX);
    for k in order {
        for (y, runs) in &rows[k] {
            for run in runs {
                out.data_mut()[y * width + run.start..y * width + run.end].fill(k as u32);
            }
        }
    }
    out
}

/// Sums over pixels of the reference.
#[derive(Clone, Copy, Debug, Default)]
struct Sum {
    pixels: f64,
    reflectance: f64,
}

impl Sum {
    fn add(&mut self, reflectance: f32) {
        self.pixels += 1.0;
        self.reflectance += f64::from(reflectance);
    }

    fn lightness(self) -> f64 {
        tone_of(self.reflectance, self.pixels)
    }
}

/// What is measured of a part of the picture, whatever it is called.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PartTone {
    /// Share of the picture.
    pub share: f64,
    /// Mean reflectance of the reference, paper being 1 and ink 0.
    pub reflectance: f64,
    /// Its L*: the part's tone.
    pub lightness: f64,
    /// The value of that tone.
    pub value: u8,
    /// L* of its lightest and of its darkest tone, texture averaged away, 2.5 % of it left out at either end.
    pub range: [f64; 2],
    /// Share of the part that each value has in the drawing, value 1 first.
    pub drawn_shares: Vec<f64>,
}

/// The figures of groups; `values` are those of the drawing.
#[must_use]
pub fn tones(tone: &ToneField, values: &Raster<u8>, groups: &[Group]) -> Vec<GroupTone> {
    if groups.is_empty() {
        return Vec::new();
    }
    let of = membership(groups, values.width(), values.height(), tone.px_per_mm);
    let named = |(part, group): (PartTone, &Group)| GroupTone {
        name: group.name.clone(),
        share: part.share,
        reflectance: part.reflectance,
        lightness: part.lightness,
        value: part.value,
        wanted: group.wanted,
        as_wanted: (group.wanted[0]..=group.wanted[1]).contains(&part.value),
        range: part.range,
        drawn_shares: part.drawn_shares,
    };
    part_tones(tone, values, &of, groups.len()).into_iter().zip(groups).map(named).collect()
}

/// The figures of `count` parts of a picture; `of` is each pixel's part, [`u32::MAX`] where it is in none, and `values` are
/// those of the drawing.
#[must_use]
pub fn part_tones(tone: &ToneField, values: &Raster<u8>, of: &Raster<u32>, count: usize) -> Vec<PartTone> {
    let steps = usize::from(tone.scale.values());
    let mut sums = vec![Sum::default(); count];
    let mut counts = vec![vec![0_usize; steps]; count];
    let mut lightness: Vec<Vec<f32>> = vec![Vec::new(); count];
    for (i, &k) in of.data().iter().enumerate().filter(|(_, k)| **k != u32::MAX) {
        let k = k as usize;
        sums[k].add(tone.reflectance.data()[i]);
        counts[k][usize::from(values.data()[i].clamp(1, tone.scale.values())) - 1] += 1;
        lightness[k].push(tone.lightness.data()[i]);
    }
    let all = of.data().len() as f64;
    (0..count)
        .map(|k| {
            let pixels = sums[k].pixels.max(1.0);
            let own = sums[k].lightness();
            PartTone {
                share: rounded(sums[k].pixels / all, 6),
                reflectance: rounded(sums[k].reflectance / pixels, 6),
                lightness: rounded(own, 3),
                value: tone.scale.value(own as f32),
                range: range(&mut lightness[k]).map(|l| rounded(l, 3)),
                drawn_shares: counts[k].iter().map(|&n| rounded(n as f64 / pixels, 6)).collect(),
            }
        })
        .collect()
}

/// The lightest and the darkest of many tones, outliers left out.
fn range(lightness: &mut [f32]) -> [f64; 2] {
    if lightness.is_empty() {
        return [0.0; 2];
    }
    lightness.sort_unstable_by(f32::total_cmp);
    let out = (OUTLIERS * lightness.len() as f64) as usize;
    [lightness[lightness.len() - 1 - out], lightness[out]].map(f64::from)
}

/// How far pairs are apart in the reference; `values` are those of the drawing, whose areas points speak of.
///
/// A pair of groups has to be among `tones`, and points have to lie on the picture: other pairs are left out.
#[must_use]
pub fn alike(tone: &ToneField, values: &Raster<u8>, tones: &[GroupTone], pairs: &[Alike]) -> Vec<AlikeTone> {
    let by_name: HashMap<&str, f64> = tones.iter().map(|t| (t.name.as_str(), t.lightness)).collect();
    pairs
        .iter()
        .filter_map(|pair| match pair {
            Alike::Groups(names) => {
                let [a, b] = names.each_ref().map(|name| by_name.get(name.as_str()).copied());
                Some(apart(&tone.scale, names.clone(), [a?, b?]))
            }
            Alike::Points(points) => {
                let [a, b] = points.map(|point| area_lightness(tone, values, point));
                Some(apart(&tone.scale, points.map(|p| crate::areas::zones::said(&p)), [a?, b?]))
            }
        })
        .collect()
}

fn apart(scale: &ValueScale, of: [String; 2], lightness: [f64; 2]) -> AlikeTone {
    let places = lightness.map(|l| scale.place(l));
    let steps = (places[0] - places[1]).abs();
    AlikeTone {
        of,
        lightness: lightness.map(|l| rounded(l, 3)),
        apart_lightness: rounded((lightness[0] - lightness[1]).abs(), 3),
        apart_values: rounded(steps, 3),
        told_apart: steps > TOLD_APART_STEPS,
    }
}

/// L* of the mean reflectance of the drawn area at a point.
fn area_lightness(tone: &ToneField, values: &Raster<u8>, point: PlaceOnPicture) -> Option<f64> {
    let (w, h) = (values.width(), values.height());
    let side = |n: usize| n as f64 / tone.px_per_mm;
    let [x, y] = [point[0].mm(side(w)), point[1].mm(side(h))].map(|mm| mm * tone.px_per_mm);
    if !(0.0..=w as f64).contains(&x) || !(0.0..=h as f64).contains(&y) {
        return None;
    }
    let first = (y as usize).min(h - 1) * w + (x as usize).min(w - 1);
    let mut seen = vec![false; w * h];
    let (mut waiting, mut sum) = (vec![first], Sum::default());
    seen[first] = true;
    while let Some(i) = waiting.pop() {
        sum.add(tone.reflectance.data()[i]);
        let beside = [
            (i % w > 0).then(|| i - 1),
            (i % w + 1 < w).then_some(i + 1),
            (i >= w).then(|| i - w),
            (i + w < w * h).then_some(i + w),
        ];
        for j in beside.into_iter().flatten() {
            if !seen[j] && values.data()[j] == values.data()[first] {
                seen[j] = true;
                waiting.push(j);
            }
        }
    }
    Some(sum.lightness())
}

/// A number to so many digits behind the point.
pub(crate) fn rounded(n: f64, digits: i32) -> f64 {
    let scale = 10.0_f64.powi(digits);
    (n * scale).round() / scale
}
