//! The report: what was asked for, what was used and what came out, as JSON that repeats to the byte.

use super::number::rounded;
use super::order_report::OrderReport;
use super::packet_report::PacketReport;
use super::plan_report::PlanReport;
use super::squared_report::SquaredReport;
use crate::groups::{AlikeTone, GroupTone};
use crate::plotter::PlotterFigures;
use crate::reference::page::PageFigures;
use crate::sheet::{Placement, RectMm, Rule, Squares};
use crate::structure::Structure;
use serde::Serialize;
use std::collections::BTreeMap;

/// Width and height of the sheet in mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SheetSize {
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

/// What kind of reference it is, and what speaks for it.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Kind {
    /// The kind's name.
    pub name: String,
    /// Whether the artist set it.
    pub set: bool,
    /// The figures on which it was decided, by name.
    pub evidence: BTreeMap<String, f64>,
}

/// The limits by name (with the unit at its end), as asked for and as used.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Limits {
    /// As asked for.
    pub asked: BTreeMap<String, f64>,
    /// As used.
    pub used: BTreeMap<String, f64>,
}

/// How far areas were merged, whichever way it was asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Merging {
    /// Merging height in L*^2 mm: what dies at or under it is not drawn.
    pub height: f64,
    /// The smallest plainness that draws the same; none where no plainness has that height.
    pub plainness: Option<f64>,
}

/// How many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Count {
    /// Number of them.
    pub count: usize,
}

/// How many lines, and how long they are together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct LengthCount {
    /// Number of them.
    pub count: usize,
    /// Length of all in mm.
    pub length_mm: f64,
}

/// How many nodes lines have: places where their cubics begin and end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Nodes {
    /// Number of them.
    pub count: usize,
    /// Nodes in 100 mm of line; 0 where there is no line.
    pub per_100_mm: f64,
}

/// Largest distances between the steps from the pixels' border to the lines drawn, in mm.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct Distances {
    /// From the border of the areas' pixels to the line as placed on the tone.
    pub placed: f64,
    /// From the line as placed to the line as smoothed, its ends brought to where it meets others.
    pub smoothed: f64,
    /// From the line as smoothed to the fitted cubics.
    pub fitted: f64,
}

/// Part of the picture with one pitch of texture.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PitchShare {
    /// Distance from line to line, or dot row to dot row, in mm on the sheet.
    pub pitch_mm: f64,
    /// Share of the picture, 0 to 1.
    pub share: f64,
}

/// One page of the PDF.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PageReport {
    /// What it is called.
    pub name: String,
    /// Its width and height in mm.
    pub size_mm: [f64; 2],
    /// From the sheet (mm, as it is, neither mirrored nor turned) to the page (mm from its top left, y down): x' = a x +
    /// c y + e, y' = b x + d y + f, in the order a to f.
    pub sheet_to_page: [f64; 6],
    /// What stays of the sheet as shown when the page is cut at its trim lines: left, top, width, height in mm.
    pub trimmed_mm: Option<[f64; 4]>,
    /// Middles of the register crosses that the page has besides those of the sheet, in mm on the page.
    pub crosses_mm: Vec<[f64; 2]>,
}

/// How the sheet is shown and printed.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Print {
    /// How much larger the picture is than the reference, when that states its resolution.
    pub enlargement: Option<f64>,
    /// Pixels of the reference per mm of the sheet.
    pub reference_px_per_mm: f64,
    /// Whether left and right are exchanged.
    pub mirrored: bool,
    /// Degrees by which the sheet is turned clockwise.
    pub turned: u16,
    /// What the printed rules measured as a share of what they say, across and down.
    pub measured: [f64; 2],
    /// Middles of the register crosses in mm on the sheet as shown.
    pub crosses_mm: Vec<[f64; 2]>,
    /// The printed rules, on the sheet as shown.
    pub rules: Vec<Rule>,
    /// The working squares.
    pub squares: Option<Squares>,
    /// The pages of the PDF.
    pub pages: Vec<PageReport>,
}

/// The reference that was drawn from.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct ReferenceReport {
    /// SHA-256 of its file, in hexadecimal digits.
    pub sha256: String,
    /// The one that the study file has, when the reference has changed since.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub recorded_sha256: Option<String>,
}

/// The report of one drawing. Its schema is `schema/report.schema.json`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// The reference.
    pub reference: ReferenceReport,
    /// Where the picture lies on the sheet, in mm.
    pub picture_mm: RectMm,
    /// Size of the sheet in mm.
    pub sheet_mm: SheetSize,
    /// Number of values.
    pub values: usize,
    /// Lightnesses (L*) between the values, lightest first.
    pub breaks: Vec<f64>,
    /// Kind of reference.
    pub kind: Kind,
    /// Pitch of the texture in mm on the sheet, when one was set or found.
    pub pitch_mm: Option<f64>,
    /// Parts of the picture that differ in measured pitch, the largest first.
    pub pitch_regions: Vec<PitchShare>,
    /// Limits.
    pub limits: Limits,
    /// How far areas were merged.
    pub merging: Merging,
    /// Areas of the net.
    pub areas: Count,
    /// Transitions of the net that are drawn.
    pub transitions: LengthCount,
    /// Nodes of the transitions.
    pub nodes: Nodes,
    /// Thin marks beside the net.
    pub thin: LengthCount,
    /// Guide lines that the artist added, as drawn: cut at the picture's edge.
    pub guides: LengthCount,
    /// Boundary lines and thin marks that the artist does not want drawn; they are not among the transitions, thin marks
    /// and strokes.
    pub suppressed: LengthCount,
    /// Tones of the artist's groups.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub groups: Vec<GroupTone>,
    /// How far tones are apart that must read as one.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub keep_alike: Vec<AlikeTone>,
    /// How many edits of areas were made.
    pub edits: Count,
    /// Strokes of the drawing, thin marks and guide lines too.
    pub strokes: LengthCount,
    /// Length of travel between strokes in mm.
    pub travel_mm: f64,
    /// Curves that were fitted again, more tightly, so that none cross.
    pub refits: Count,
    /// How the sheet is shown and printed.
    pub print: Print,
    /// What was done to the reference before it was studied, if anything.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub page: Option<PageFigures>,
    /// What a plotter does, when it was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plotter: Option<PlotterFigures>,
    /// The value plan, when one was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plan: Option<PlanReport>,
    /// The value structure, when one was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub structure: Option<Structure>,
    /// The working order, when one was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order: Option<OrderReport>,
    /// The squared reference, when one was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub squared: Option<SquaredReport>,
    /// Where each sheet of a packet is, when one was made.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub packet: Option<PacketReport>,
    /// How far each step moved the lines at most.
    pub distances_mm: Distances,
    /// Version of the program.
    pub version: String,
    /// Time each stage took in ms, by name; only when asked for, because it never repeats.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub timings_ms: Option<BTreeMap<String, f64>>,
}

impl Report {
    /// A report with the sheet and this version filled in and nothing found yet.
    #[must_use]
    pub fn new(placement: &Placement) -> Self {
        Self {
            reference: ReferenceReport::default(),
            picture_mm: placement.picture_mm,
            sheet_mm: SheetSize { width: placement.sheet_mm[0], height: placement.sheet_mm[1] },
            values: 0,
            breaks: Vec::new(),
            kind: Kind::default(),
            pitch_mm: None,
            pitch_regions: Vec::new(),
            limits: Limits::default(),
            merging: Merging::default(),
            areas: Count::default(),
            transitions: LengthCount::default(),
            nodes: Nodes::default(),
            thin: LengthCount::default(),
            guides: LengthCount::default(),
            suppressed: LengthCount::default(),
            groups: Vec::new(),
            keep_alike: Vec::new(),
            edits: Count::default(),
            strokes: LengthCount::default(),
            travel_mm: 0.0,
            refits: Count::default(),
            print: Print::default(),
            page: None,
            plotter: None,
            plan: None,
            structure: None,
            order: None,
            squared: None,
            packet: None,
            distances_mm: Distances::default(),
            version: env!("CARGO_PKG_VERSION").into(),
            timings_ms: None,
        }
    }

    /// The same report with lengths and lightnesses rounded to three decimals; evidence, limits and merging stay as they are.
    fn for_writing(&self) -> Self {
        let mut report = self.clone();
        let p = &mut report.picture_mm;
        for number in [&mut p.x, &mut p.y, &mut p.width, &mut p.height]
            .into_iter()
            .chain(&mut report.breaks)
            .chain(&mut report.pitch_mm)
            .chain(report.pitch_regions.iter_mut().flat_map(|r| [&mut r.pitch_mm, &mut r.share]))
            .chain([&mut report.sheet_mm.width, &mut report.sheet_mm.height, &mut report.travel_mm])
            .chain(
                [
                    &mut report.transitions,
                    &mut report.thin,
                    &mut report.guides,
                    &mut report.suppressed,
                    &mut report.strokes,
                ]
                .map(|c| &mut c.length_mm),
            )
            .chain(
                [&mut report.distances_mm]
                    .into_iter()
                    .flat_map(|d| [&mut d.placed, &mut d.smoothed, &mut d.fitted]),
            )
            .chain([&mut report.nodes.per_100_mm])
            .chain(report.timings_ms.iter_mut().flat_map(BTreeMap::values_mut))
        {
            *number = rounded(*number);
        }
        report
    }
}

/// The report as JSON text, indented for reading.
#[must_use]
pub fn report_json(report: &Report) -> String {
    to_json(&report.for_writing(), true)
}

/// JSON text with a line end; a number that is not finite becomes `null`.
///
/// # Panics
/// Never: the files' types have text keys and no fallible parts.
pub(super) fn to_json<T: Serialize>(file: &T, indented: bool) -> String {
    let text = if indented { serde_json::to_string_pretty(file) } else { serde_json::to_string(file) };
    let mut text = text.unwrap_or_else(|e| panic!("plain structs always serialise: {e}"));
    text.push('\n');
    text
}
