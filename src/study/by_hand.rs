//! What the artist decides by hand for single places of the picture: edits, groups, tones alike, guides, lines left out.
//!
//! Each stands at a place of the study file, which every fault names, also one that only the picture shows.

use thiserror::Error;

use super::file::Place;
use super::{Settings, StudyError};
use crate::areas::AreaMap;
use crate::areas::edits::{Act, Edit, EditFault, Edited, PlaceOnPicture, edited};
use crate::areas::zones::said;
use crate::groups::{self, Alike, AlikeTone, Group, GroupTone};
use crate::guides::{self, Guide, GuideError, GuideLine};
use crate::output::LengthCount;
use crate::raster::Raster;
use crate::thin::ThinMark;
use crate::tone::ToneField;
use crate::transitions::{HowMuch, NetOptions, merging_height, trace};

/// Within this distance of its point, in mm, a line is left out: what a hand misses by that reads a point off a sheet
/// (common practice, no source).
pub const SUPPRESS_WITHIN_MM: f64 = 3.0;

/// Something decided by hand, with where the study file says so.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry<T> {
    /// What.
    pub what: T,
    /// Where in the study file.
    pub place: Option<Place>,
}

impl<T> Entry<T> {
    pub(super) fn at_fault(&self, fault: impl Into<EntryFault>) -> StudyError {
        StudyError::Entry { place: self.place, fault: Box::new(fault.into()) }
    }

    /// How to speak of it in a sentence.
    fn said(&self, what: &str) -> String {
        self.place
            .map_or_else(|| format!("another {what}"), |place| format!("the {what} in line {}", place.line))
    }
}

/// Everything decided by hand; nothing by default.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ByHand {
    /// Edits of areas, in their order.
    pub edits: Vec<Entry<Edit>>,
    /// How much was drawn where the areas of edits and the lines to be left out were looked at; without it, as much as is
    /// drawn now.
    pub looked_at: Option<HowMuch>,
    /// Named zones.
    pub groups: Vec<Entry<Group>>,
    /// What must read as one tone.
    pub alike: Vec<Entry<Alike>>,
    /// Lines that are added.
    pub guides: Vec<Entry<Guide>>,
    /// Points on lines that are not drawn.
    pub suppressed: Vec<Entry<PlaceOnPicture>>,
}

/// What is wrong with something decided by hand.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum EntryFault {
    /// An edit that cannot be made.
    #[error(transparent)]
    Edit(#[from] EditFault),
    /// Two edits that give one area two values.
    #[error(
        "the area at {} gets value {second} here, but value {first} by {other}; take one of them out",
        said(at)
    )]
    TwoValues {
        /// The point.
        at: PlaceOnPicture,
        /// Value by the earlier edit.
        first: u8,
        /// Value by this one.
        second: u8,
        /// The earlier edit, in words.
        other: String,
    },
    /// A value that the study does not have.
    #[error("value {asked} is not on the scale of this study, which goes from 1 to {values}")]
    NoValue {
        /// The value.
        asked: u8,
        /// How many values there are.
        values: u8,
    },
    /// A name that two groups have.
    #[error("{other} is called \"{name}\" too; give each group a name of its own")]
    SameName {
        /// The name.
        name: String,
        /// The earlier group, in words.
        other: String,
    },
    /// A pair that names a group that there is not.
    #[error("there is no group \"{name}\"; {}", if known.is_empty() { "add one with [[group]]".into() } else { format!("groups are {known}") })]
    NoGroup {
        /// The name.
        name: String,
        /// The names there are.
        known: String,
    },
    /// A pair of one and the same group.
    #[error("\"{name}\" is always like itself; name two groups")]
    OneGroup {
        /// The name.
        name: String,
    },
    /// A zone that covers nothing of the picture.
    #[error(
        "the zone of the group \"{name}\" covers nothing of the picture, which is {width_mm:.1} x {height_mm:.1} mm on \
         the sheet; measure it from the picture's top left"
    )]
    ZoneOutside {
        /// The group.
        name: String,
        /// Width of the picture in mm.
        width_mm: f64,
        /// Height of the picture in mm.
        height_mm: f64,
    },
    /// A zone that smaller ones cover.
    #[error(
        "nothing is left of the group \"{name}\": {other} lies over all of it, and the smaller zone has what two cover; \
         draw one of them elsewhere or take it out"
    )]
    Covered {
        /// The group.
        name: String,
        /// Who covers it, in words.
        other: String,
    },
    /// A point without any line near it.
    #[error(
        "there is no line within {SUPPRESS_WITHIN_MM} mm of {} that could be left out{}; move the point on to the line",
        said(at), nearest_mm.map_or_else(String::new, |mm| format!(" (the nearest is {mm:.1} mm away)"))
    )]
    NoLine {
        /// The point.
        at: PlaceOnPicture,
        /// How far the nearest line is, in mm.
        nearest_mm: Option<f64>,
    },
    /// Guide lines that cannot be used.
    #[error(transparent)]
    Guide(#[from] GuideError),
    /// Guide lines that lie beside the picture.
    #[error(
        "these guide lines lie outside the picture, which is {width_mm:.1} x {height_mm:.1} mm on the sheet; measure them from the picture's top left"
    )]
    GuideOutside {
        /// Width of the picture in mm.
        width_mm: f64,
        /// Height of the picture in mm.
        height_mm: f64,
    },
}

/// Figures of what was decided by hand.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ByHandFigures {
    /// The groups' tones.
    pub groups: Vec<GroupTone>,
    /// How far pairs are apart.
    pub alike: Vec<AlikeTone>,
    /// Lines that are not drawn.
    pub suppressed: LengthCount,
}

impl ByHand {
    /// Checks what can be judged without the reference.
    pub(super) fn check(&self, values: u8) -> Result<(), StudyError> {
        let on_scale = |value: u8| {
            if (1..=values).contains(&value) {
                Ok(())
            } else {
                Err(EntryFault::NoValue { asked: value, values })
            }
        };
        for edit in &self.edits {
            let value = match edit.what.act {
                Act::Value(value) | Act::Split { value, .. } => Some(value),
                Act::Merge { value, .. } => value,
            };
            value.map_or(Ok(()), on_scale).map_err(|fault| edit.at_fault(fault))?;
        }
        for (k, group) in self.groups.iter().enumerate() {
            group.what.wanted.into_iter().try_for_each(on_scale).map_err(|fault| group.at_fault(fault))?;
            let name = &group.what.name;
            if let Some(other) = self.groups[..k].iter().find(|other| other.what.name == *name) {
                let other = other.said("group");
                return Err(group.at_fault(EntryFault::SameName { name: name.clone(), other }));
            }
        }
        for pair in &self.alike {
            let Alike::Groups(names) = &pair.what else { continue };
            for name in names {
                if !self.groups.iter().any(|group| group.what.name == *name) {
                    let known: Vec<String> =
                        self.groups.iter().map(|group| format!("\"{}\"", group.what.name)).collect();
                    let fault = EntryFault::NoGroup { name: name.clone(), known: known.join(", ") };
                    return Err(pair.at_fault(fault));
                }
            }
            if names[0] == names[1] {
                return Err(pair.at_fault(EntryFault::OneGroup { name: names[0].clone() }));
            }
        }
        Ok(())
    }

    /// Reads the files of guides; the lines themselves need the picture's size.
    ///
    /// # Errors
    /// [`StudyError::Entry`] for the first that cannot be read.
    pub fn check_files(&self) -> Result<(), StudyError> {
        for guide in &self.guides {
            guides::read(&guide.what).map_err(|error| guide.at_fault(error))?;
        }
        Ok(())
    }

    /// Checks what the picture's size shows (mm, and in working pixels), and gives the guide lines on it.
    pub(super) fn on_picture(
        &self,
        size_mm: [f64; 2],
        [width, height]: [usize; 2],
    ) -> Result<Vec<GuideLine>, StudyError> {
        let [width_mm, height_mm] = size_mm;
        let inside = |point: &PlaceOnPicture| {
            let on = |k: usize| (-1e-6..=size_mm[k] + 1e-6).contains(&point[k].mm(size_mm[k]));
            if on(0) && on(1) { Ok(()) } else { Err(EditFault::Outside { at: *point, width_mm, height_mm }) }
        };
        for edit in &self.edits {
            inside(&edit.what.at).map_err(|fault| edit.at_fault(fault))?;
            if let Act::Merge { with, .. } = &edit.what.act {
                inside(with).map_err(|fault| edit.at_fault(fault))?;
            }
        }
        for pair in &self.alike {
            if let Alike::Points(points) = &pair.what {
                points.iter().try_for_each(inside).map_err(|fault| pair.at_fault(fault))?;
            }
        }
        for point in &self.suppressed {
            inside(&point.what).map_err(|fault| point.at_fault(fault))?;
        }
        self.check_zones(size_mm, [width, height])?;
        let mut lines = Vec::new();
        let size = kurbo::Rect::new(0.0, 0.0, width_mm, height_mm);
        for guide in &self.guides {
            let read = guides::read(&guide.what).and_then(|read| read.on_picture(size_mm));
            let own = read.map_err(|error| guide.at_fault(error))?;
            let mut boxes = own.iter().flat_map(|line| &line.curve).map(kurbo::Shape::bounding_box);
            if !boxes.any(|b| {
                b.x0 < size.x1 && b.x1 > 0.0 && b.y0 < size.y1 && b.y1 > 0.0 || size.contains(b.origin())
            }) {
                return Err(guide.at_fault(EntryFault::GuideOutside { width_mm, height_mm }));
            }
            lines.extend(own);
        }
        Ok(lines)
    }

    fn check_zones(&self, size_mm: [f64; 2], [width, height]: [usize; 2]) -> Result<(), StudyError> {
        if self.groups.is_empty() {
            return Ok(());
        }
        let plain: Vec<Group> = self.groups.iter().map(|group| group.what.clone()).collect();
        let of = groups::membership(&plain, width, height, width as f64 / size_mm[0]);
        let mut held = vec![false; plain.len()];
        of.data().iter().filter(|k| **k != u32::MAX).for_each(|&k| held[k as usize] = true);
        if let Some((k, group)) = self.groups.iter().enumerate().find(|(k, _)| !held[*k]) {
            let own = groups::membership(&plain[k..=k], width, height, width as f64 / size_mm[0]);
            let name = group.what.name.clone();
            let over = own.data().iter().zip(of.data()).find(|(own, _)| **own == 0);
            return Err(group.at_fault(match over {
                None => EntryFault::ZoneOutside { name, width_mm: size_mm[0], height_mm: size_mm[1] },
                Some((_, &over)) => {
                    let other = &self.groups[over as usize];
                    let other = format!("\"{}\" ({})", other.what.name, other.said("group"));
                    EntryFault::Covered { name, other }
                }
            }));
        }
        Ok(())
    }

    /// The areas as edited; none without edits.
    pub(super) fn edited(
        &self,
        tone: &ToneField,
        areas: &AreaMap,
        options: &NetOptions,
    ) -> Result<Option<AreaMap>, StudyError> {
        if self.edits.is_empty() {
            return Ok(None);
        }
        // Edits speak of the areas of one drawing; how high a budget comes to lie only that drawing shows.
        let height = match self.looked_at.unwrap_or(options.how_much) {
            HowMuch::Plainness(plainness) => merging_height(plainness),
            how_much => trace(tone, areas, &NetOptions { how_much, ..*options }).height,
        };
        let plain: Vec<Edit> = self.edits.iter().map(|edit| edit.what.clone()).collect();
        let made = edited(tone, areas, &plain, height).map_err(|(k, fault)| match fault {
            EditFault::TwoValues { at, first, second, other } => {
                let other = self.edits[other].said("edit");
                self.edits[k].at_fault(EntryFault::TwoValues { at, first, second, other })
            }
            fault => self.edits[k].at_fault(fault),
        })?;
        Ok(Some(made))
    }

    /// What there is to say of edits that draw nothing.
    pub(super) fn idle_notes(&self, edited: Option<&Edited>) -> Vec<String> {
        let idle = edited.into_iter().flat_map(|edited| &edited.idle);
        idle.map(|&k| {
            format!(
                "The line that splits the area at {} parts nothing, because both sides have one value: no line is drawn \
                 there.",
                said(&self.edits[k].what.at)
            )
        })
        .collect()
    }

    /// The tones of groups and pairs, with what there is to say of them.
    pub(super) fn tones(
        &self,
        tone: &ToneField,
        values: &Raster<u8>,
        suppressed: LengthCount,
    ) -> (ByHandFigures, Vec<String>) {
        let plain: Vec<Group> = self.groups.iter().map(|group| group.what.clone()).collect();
        let pairs: Vec<Alike> = self.alike.iter().map(|pair| pair.what.clone()).collect();
        let groups = groups::tones(tone, values, &plain);
        let alike = groups::alike(tone, values, &groups, &pairs);
        let mut notes = Vec::new();
        for group in groups.iter().filter(|group| !group.as_wanted) {
            let wanted = match group.wanted {
                [a, b] if a == b => format!("value {a}"),
                [a, b] => format!("value {a} to {b}"),
            };
            notes.push(format!(
                "The group \"{}\" reads as value {} in the reference (L* {:.1}), and {wanted} is wanted: plan it {}.",
                group.name,
                group.value,
                group.lightness,
                if group.value > group.wanted[1] { "lighter" } else { "darker" }
            ));
        }
        for pair in alike.iter().filter(|pair| pair.told_apart) {
            let name = |k: usize| match self.groups.iter().any(|group| group.what.name == pair.of[k]) {
                true => format!("\"{}\"", pair.of[k]),
                false => format!("the area at {}", pair.of[k]),
            };
            notes.push(format!(
                "{} and {} are to read as one tone, but the reference has them {:.1} L* apart, {:.2} of a step, which a \
                 hand sees: hatch both from one patch of the value chart.",
                capital(&name(0)),
                name(1),
                pair.apart_lightness,
                pair.apart_values
            ));
        }
        (ByHandFigures { groups, alike, suppressed }, notes)
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// The thin marks that the tone has by itself and that the edited drawing has too: an edit takes away marks that no longer
/// stand out in their area, and the points of areas that have gone, and makes none.
pub(super) fn still_thin(own: Vec<ThinMark>, edited: &[ThinMark]) -> Vec<ThinMark> {
    own.into_iter().filter(|mark| edited.iter().any(|other| other.curve == mark.curve)).collect()
}

impl Settings {
    /// Whether any line is added by hand.
    #[must_use]
    pub fn has_guides(&self) -> bool {
        !self.by_hand.guides.is_empty()
    }
}
