//! Zones of the command line: outlines as written, the painted mask as read.

use std::fs;

use merestone::areas::zones::{Outline, Purpose, Zone, Zones, mask_weights};
use merestone::reference::{ReadOptions, ReferenceError, read_file};
use merestone::study::ZoneLimits;

use super::args::ZoneArgs;
use super::files::Outputs;
use super::print::Failure;

/// One zone's outline.
pub(crate) fn parse_outline(text: &str) -> Result<Outline, String> {
    text.parse().map_err(|e: merestone::areas::zones::OutlineError| e.to_string())
}

/// The zones with outlines, and the limits of each kind of zone.
pub(crate) fn outlined(args: &ZoneArgs) -> (Zones, [ZoneLimits; 2]) {
    let list = |outlines: &[Outline], purpose| {
        outlines.iter().map(|outline| Zone { purpose, outline: outline.clone() }).collect::<Vec<_>>()
    };
    let mut zones = list(&args.focus, Purpose::Focus);
    zones.extend(list(&args.rest, Purpose::Rest));
    let focus = ZoneLimits { narrowest_mm: args.focus_narrowest, least_area_mm2: args.focus_least_area };
    let rest = ZoneLimits { narrowest_mm: args.rest_narrowest, least_area_mm2: args.rest_least_area };
    (Zones { outlined: zones, mask: None }, [focus, rest])
}

/// Reads the mask into `zones`, if one is named; the remarks of its reading come back.
pub(crate) fn read_mask(
    args: &ZoneArgs,
    max_megapixels: u32,
    zones: &mut Zones,
) -> Result<Vec<String>, Failure> {
    let Some(path) = &args.zones else { return Ok(Vec::new()) };
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
pub(crate) fn spare_mask(args: &ZoneArgs, outputs: &Outputs) -> Result<(), Failure> {
    let Some(path) = args.zones.as_ref().filter(|path| fs::metadata(path).is_ok()) else { return Ok(()) };
    outputs.spare(path, "the mask of the zones")
}
