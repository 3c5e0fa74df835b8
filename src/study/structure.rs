//! The value structure of a study: its figures from what the stages found, and its pages.

use crate::groups::{Alike, AlikeTone, Group};
use crate::output::DrawingOptions;
use crate::plan::{LEAST_ROOM_MM, key_values};
use crate::structure::{
    PageTexts, Structure, StructureGround, StructureOptions, StructurePage, pages, structure, thumb_room,
};
use crate::units::parse_length_mm;

use super::pages::{page_mm, squares};
use super::written::{self, WrittenError};
use super::{Settings, Stages, StudyError};

/// Most groups that can be asked for: more are no structure.
pub(super) const MOST_GROUPS: u32 = 12;
/// Range of shares of the picture.
const PART_RANGE: [f64; 2] = [0.005, 0.5];
/// Range of the window's side in mm: the least working square to the longest sheet.
const WINDOW_RANGE_MM: [f64; 2] = [5.0, 10_000.0];

/// The value structure of a study, ready to be written.
#[derive(Clone, Debug)]
pub struct ValueStructure {
    /// Its figures.
    pub figures: Structure,
    /// Its pages, upright and never mirrored: they are read, not drawn from.
    pub pages: Vec<StructurePage>,
}

/// Makes the value structure of a study.
///
/// # Errors
/// [`StudyError::Net`] when a net cannot be walked, which is a fault of the program.
pub fn value_structure(
    stages: &Stages,
    settings: &Settings,
    options: &StructureOptions,
) -> Result<ValueStructure, StudyError> {
    let Stages { tone, traced, placement, by_hand, .. } = stages;
    let groups: Vec<Group> = settings.by_hand.groups.iter().map(|entry| entry.what.clone()).collect();
    // The study has checked that every pair has its figures.
    let pairs: Vec<(Alike, AlikeTone)> =
        settings.by_hand.alike.iter().map(|entry| entry.what.clone()).zip(by_hand.alike.clone()).collect();
    let ground = StructureGround {
        tone,
        values: &traced.values,
        edited: stages.edited.as_ref(),
        groups: &groups,
        pairs: &pairs,
        breaks: &settings.breaks,
        squares: squares(placement, settings),
    };
    let (size_mm, edge_mm) = page_mm(settings, stages.shown.placement.sheet_mm, LEAST_ROOM_MM);
    let figures = structure(&ground, options, thumb_room(size_mm, edge_mm))?;
    let key = key_values(&traced.values, &tone.reflectance, &tone.scale);
    let [width, height] = ground.size_mm();
    let squares = ground.squares.map_or_else(String::new, |s| {
        format!(
            "; squares of {} mm, lettered along and numbered down from its top left",
            (s.side_mm * 10.0).round() / 10.0
        )
    });
    let named = Some(&settings.on_paper.title.name).filter(|name| !name.is_empty());
    let name = named.map_or_else(String::new, |name| format!("{name}; "));
    let remark = format!("{name}picture of {width:.0} x {height:.0} mm{squares}");
    let texts = PageTexts { remark: &remark, net: &traced.net, key: &key, breaks: tone.scale.breaks() };
    let pages = pages(&figures, &texts, size_mm, edge_mm)?;
    Ok(ValueStructure { figures, pages })
}

impl ValueStructure {
    /// What the writers need to know of a page.
    #[must_use]
    pub fn page_options(&self, page: &StructurePage, settings: &Settings) -> DrawingOptions {
        DrawingOptions {
            title: format!("Value structure, {}", settings.paper.name),
            furniture: page.furniture.clone(),
            ..DrawingOptions::default()
        }
    }

    /// All pages one below the other, for files that have one page.
    #[must_use]
    pub fn in_one(&self) -> StructurePage {
        let mut whole = StructurePage::default();
        for page in &self.pages {
            let [width, height] = page.size_mm;
            whole.furniture.append_below(&page.furniture, whole.size_mm[1]);
            whole.size_mm = [width, whole.size_mm[1] + height];
        }
        whole
    }
}

/// How many groups are found.
pub(super) fn parse_group_count(text: &str) -> Result<usize, WrittenError> {
    text.trim()
        .parse::<u32>()
        .ok()
        .filter(|count| (1..=MOST_GROUPS).contains(count))
        .map(|count| count as usize)
        .ok_or_else(|| WrittenError::other(text, "write a whole number from 1 to 12"))
}

/// A share of the picture.
pub(super) fn parse_part(text: &str) -> Result<f64, WrittenError> {
    let [least, most] = PART_RANGE;
    let share = written::share(text)?;
    if (least..=most).contains(&share) {
        Ok(share)
    } else {
        Err(WrittenError::other(text, "write a share of the picture from 0.5% to 50%"))
    }
}

/// The side of the window in mm.
pub(super) fn parse_window_mm(text: &str) -> Result<f64, WrittenError> {
    let [least, most] = WINDOW_RANGE_MM;
    let mm = parse_length_mm(text)?;
    if (least..=most).contains(&mm) {
        Ok(mm)
    } else {
        Err(WrittenError::other(text, "write a length from 5mm to 10000mm"))
    }
}
