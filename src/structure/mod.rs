//! Structure: the value structure of a picture, to be settled before anything is inked.
//!
//! In: [`ToneField`], the value of each pixel as drawn, named groups and pairs. Out: [`Structure`]: the tones of groups (or of a
//! few large areas that are found), the strongest contrast, what must read as one tone, the picture in two and three values;
//! [`pages`] lays it out.
//! Units: lightness CIE L*, reflectance linear light, places in mm on the picture, shares from 0 to 1.
//! Keeps: nothing here changes the drawing; the same picture gives the same figures.

mod alike;
mod block;
mod contrast;
mod decided;
mod found;
mod map;
mod page;
mod thumbnail;

use kurbo::Point;
use serde::Serialize;

use crate::components::components;
use crate::groups::{self, Alike, AlikeTone, Group, PartTone, membership, part_tones};
use crate::raster::Raster;
use crate::sheet::Squares;
use crate::tone::{BreakRule, ToneField};
use crate::transitions::WalkError;

pub use alike::{AlikeSet, LEAST_UNEVEN_L, Member, keep_alike};
pub use contrast::{Contrast, Rival, strongest_contrast};
pub use found::{COVERED_SHARE, found_groups};
pub use page::{PageTexts, StructurePage, pages, thumb_room};
pub use thumbnail::{Thumbnail, thumbnail};

/// Settings of a value structure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StructureOptions {
    /// Most groups that are found where none are named.
    pub most_groups: usize,
    /// Least share of the picture that a found group has.
    pub least_group: f64,
    /// Side of the window in which contrasts are compared, in mm; without it that of a working square, or 25 mm.
    pub window_mm: Option<f64>,
    /// Least share of the picture that an area of the keep-alike list has.
    pub least_alike: f64,
}

impl Default for StructureOptions {
    /// Seven groups are what a person keeps in mind (Miller 1956, "The magical number seven"); the shares are common practice,
    /// no source.
    fn default() -> Self {
        Self { most_groups: 7, least_group: 0.03, window_mm: None, least_alike: 0.01 }
    }
}

/// A picture as the value structure is made from.
#[derive(Clone, Copy, Debug)]
pub struct StructureGround<'a> {
    /// Its tones.
    pub tone: &'a ToneField,
    /// The value of each pixel as drawn.
    pub values: &'a Raster<u8>,
    /// Which pixels lie in an area that the artist has edited; none without edits.
    pub edited: Option<&'a Raster<bool>>,
    /// Named groups; where there are none, large areas are found.
    pub groups: &'a [Group],
    /// What the artist wants to read as one tone, with its figures.
    pub pairs: &'a [(Alike, AlikeTone)],
    /// How the breaks between values are found.
    pub breaks: &'a BreakRule,
    /// Working squares, by which places are named.
    pub squares: Option<Squares>,
}

impl StructureGround<'_> {
    /// Width and height of the picture in mm.
    #[must_use]
    pub fn size_mm(&self) -> [f64; 2] {
        [self.values.width(), self.values.height()].map(|n| n as f64 / self.tone.px_per_mm)
    }

    /// The name of the working square at a place in mm.
    fn square(&self, at: Point) -> Option<String> {
        self.squares.map(|s| {
            let [column, row] = s.cell(at);
            s.name(column, row)
        })
    }
}

/// One group, named or found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StructureGroup {
    /// Its name; found ones have Roman numbers, the largest first.
    pub name: String,
    /// The lightest and the darkest value that were wanted of a named one.
    pub wanted: Option<[u8; 2]>,
    /// A place in the middle of it, in mm on the picture.
    pub at_mm: [f64; 2],
    /// The working square of that place, when there are any.
    pub square: Option<String>,
    /// Its figures.
    #[serde(flatten)]
    pub tone: PartTone,
}

/// A pair of the study, with the squares in which it lies.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StudyPair {
    /// Working squares of both, when there are any.
    pub squares: Option<[String; 2]>,
    /// Its figures.
    #[serde(flatten)]
    pub tone: AlikeTone,
}

/// What must read as one tone.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct KeepAlike {
    /// Pairs that the study asks for.
    pub pairs: Vec<StudyPair>,
    /// Named groups that are alike by themselves.
    pub groups: Vec<AlikeSet>,
    /// Large areas apart from each other that have one value and one tone.
    pub areas: Vec<AlikeSet>,
    /// Least size in mm2 of an area that is listed.
    pub least_mm2: f64,
}

/// The value structure of a picture.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Structure {
    /// Whether the groups were found, because none are named.
    pub found: bool,
    /// Merging height in L*^2 mm at which they were found.
    pub found_height: Option<f64>,
    /// The groups.
    pub groups: Vec<StructureGroup>,
    /// Share of the picture that is in no group.
    pub rest_share: f64,
    /// The strongest contrast; none in a picture of one area.
    pub contrast: Option<Contrast>,
    /// What must read as one tone.
    pub keep_alike: KeepAlike,
    /// The picture in two and in three values.
    pub thumbnails: Vec<Thumbnail>,
    /// The groups on a small picture, for the page.
    #[serde(skip)]
    map: map::GroupMap,
}

/// Side of the window for contrasts where there are no working squares, in mm: that of a usual one.
const USUAL_WINDOW_MM: f64 = 25.0;

/// The value structure of a picture; thumbnails and map are to have room on a rectangle of `thumb_mm`.
///
/// # Errors
/// [`WalkError`] when a net does not keep its invariants; never on a net of [`trace`](crate::transitions::trace).
pub fn structure(
    of: &StructureGround<'_>,
    options: &StructureOptions,
    thumb_mm: [f64; 2],
) -> Result<Structure, WalkError> {
    let (tone, values) = (of.tone, of.values);
    let (mut areas, count) = components(values);
    areas.data_mut().iter_mut().for_each(|id| *id -= 1);
    let found = of.groups.is_empty();
    let (member, group_count, height) = if found {
        let found = found_groups(tone, values, &areas, count, options);
        (found.of, found.count, Some(groups::rounded(found.height, 3)))
    } else {
        (membership(of.groups, values.width(), values.height(), tone.px_per_mm), of.groups.len(), None)
    };
    let figures = part_tones(tone, values, &member, group_count);
    let window_mm = options.window_mm.or(of.squares.map(|s| s.side_mm)).unwrap_or(USUAL_WINDOW_MM);
    let contrast = strongest_contrast(of, &areas, window_mm);
    let window = contrast.as_ref().map(Contrast::window);
    let map = map::GroupMap::new(&member, group_count, window, of.size_mm(), thumb_mm);
    let places = map.middles();
    let groups: Vec<StructureGroup> = figures
        .into_iter()
        .enumerate()
        .map(|(k, tone)| {
            let named = of.groups.get(k);
            let at = places[k];
            StructureGroup {
                name: named.map_or_else(|| roman(k + 1), |g| g.name.clone()),
                wanted: named.map(|g| g.wanted),
                at_mm: [at.x, at.y].map(|mm| groups::rounded(mm, 1)),
                square: of.square(at),
                tone,
            }
        })
        .collect();
    let rest = 1.0 - groups.iter().map(|g| g.tone.share).sum::<f64>();
    let keep_alike = keep_alike(of, &areas, count, &groups, options);
    let by_hand = of.edited.map(|edited| decided::decided(tone, values, edited));
    let thumbnails = [2, 3]
        .into_iter()
        .map(|n| thumbnail(by_hand.as_ref().unwrap_or(tone), of.breaks, n, of.size_mm(), thumb_mm))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(Structure {
        found,
        found_height: height,
        groups,
        rest_share: groups::rounded(rest.max(0.0), 6),
        contrast,
        keep_alike,
        thumbnails,
        map,
    })
}

/// A small number in Roman figures: working squares have letters and Arabic figures, values the latter.
fn roman(mut n: usize) -> String {
    const FIGURES: [(usize, &str); 6] = [(50, "L"), (40, "XL"), (10, "X"), (9, "IX"), (5, "V"), (4, "IV")];
    let mut text = String::new();
    for (worth, figure) in FIGURES {
        while n >= worth {
            text.push_str(figure);
            n -= worth;
        }
    }
    text.push_str(&"I".repeat(n));
    text
}

#[cfg(test)]
mod tests;
