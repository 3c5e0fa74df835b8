//! The painted mask of the zones, as read.

use std::fs;

use merestone::areas::zones::{Zones, mask_weights};
use merestone::reference::{ReadOptions, ReferenceError, read_file};
use merestone::study::Choices;

use super::files::Outputs;
use super::print::Failure;

/// Reads the mask into `zones`, if one is named; the remarks of its reading come back.
pub(crate) fn read_mask(
    choices: &Choices,
    max_megapixels: u32,
    zones: &mut Zones,
) -> Result<Vec<String>, Failure> {
    let Some(path) = &choices.mask else { return Ok(Vec::new()) };
    let options = ReadOptions { max_megapixels: f64::from(max_megapixels) };
    let mut notes = Vec::new();
    let mask = read_file(path, &options)
        .map_err(|e| match e {
            ReferenceError::BadLimit { .. } => Failure::wrong_use(e),
            other => Failure::other(other),
        })?
        .take(&mut notes);
    zones.mask = Some(mask_weights(&mask.luminance));
    Ok(notes)
}

/// Refuses an output that would replace the mask.
pub(crate) fn spare_mask(choices: &Choices, outputs: &Outputs) -> Result<(), Failure> {
    let Some(path) = choices.mask.as_ref().filter(|path| fs::metadata(path).is_ok()) else { return Ok(()) };
    outputs.spare(path, "the mask of the zones")
}
