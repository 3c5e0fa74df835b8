//! The report of one study: what was asked for, what was used and what came out.

use std::collections::BTreeMap;

use crate::output::{
    Count, Distances, Kind, LengthCount, Limits, Merging, Nodes, PageReport, PitchShare, Print,
    ReferenceReport, Report,
};
use crate::sheet::sheet_to_page;
use crate::strokes::length_mm;
use crate::thin::ThinMark;
use crate::tone::ReferenceKind;
use crate::transitions::{BoundaryNet, HowMuch, Transition, plainness_of};

use super::{Settings, Stages};

/// The report of what the stages made; `timings_ms` only when asked for, because times never repeat.
#[must_use]
pub fn report(stages: &Stages, settings: &Settings, timings_ms: Option<&[(&'static str, f64)]>) -> Report {
    let Stages { placement, tone, traced, thin, strokes, .. } = stages;
    let evidence = &tone.evidence;
    let net_options = settings.net_options();
    let mut asked = BTreeMap::from([
        ("narrowest_mm".to_owned(), settings.narrowest_mm),
        ("least_area_mm2".to_owned(), settings.least_area_mm2),
        match settings.how_much {
            HowMuch::Plainness(plainness) => ("plainness".to_owned(), plainness),
            HowMuch::LineBudget { mm } => ("line_budget_mm".to_owned(), mm),
            HowMuch::Areas(most) => ("areas".to_owned(), most as f64),
        },
        ("line_mm".to_owned(), settings.line_mm),
    ]);
    asked.extend(settings.thin_mm.map(|mm| ("thin_mm".to_owned(), mm)));
    asked.extend(settings.thin_mm.and(settings.least_tip_mm).map(|mm| ("least_tip_mm".to_owned(), mm)));
    let mut used = asked.clone();
    used.extend([
        ("narrowest_mm".to_owned(), stages.areas_used.narrowest_mm),
        ("least_area_mm2".to_owned(), stages.areas_used.least_area_mm2),
        ("tolerance_mm".to_owned(), net_options.tolerance_mm),
        ("hard_limit_mm".to_owned(), net_options.hard_limit_mm),
        ("px_per_mm".to_owned(), stages.px_per_mm),
        ("ink_lightness".to_owned(), tone.tone_range[0]),
        ("paper_lightness".to_owned(), tone.tone_range[1]),
    ]);
    if let (Some(zoning), Some(in_zones)) = (settings.zoning(), stages.zones_used) {
        for (name, wanted, got) in [("focus", zoning.focus, in_zones[0]), ("rest", zoning.rest, in_zones[1])]
        {
            for (limits, of) in [(&mut asked, wanted), (&mut used, got)] {
                limits.insert(format!("{name}_narrowest_mm"), of.narrowest_mm);
                limits.insert(format!("{name}_least_area_mm2"), of.least_area_mm2);
            }
        }
    }
    Report {
        reference: ReferenceReport { sha256: stages.sha256.clone(), recorded_sha256: None },
        values: usize::from(settings.values),
        breaks: tone.scale.breaks().to_vec(),
        kind: Kind {
            name: kind_name(tone.kind).into(),
            set: settings.kind.is_some(),
            evidence: [
                ("ink_share", Some(evidence.ink_share)),
                ("patterned_share", Some(evidence.patterned_share)),
                ("directed_share", Some(evidence.directed_share)),
                ("line_share", Some(evidence.line_share)),
                ("outlined_share", evidence.outlined),
            ]
            .into_iter()
            .filter_map(|(name, figure)| Some((name.to_owned(), figure?)))
            .collect(),
        },
        pitch_mm: tone.pitch_mm,
        pitch_regions: tone
            .pitch_regions
            .iter()
            .map(|r| PitchShare { pitch_mm: r.pitch_mm, share: r.share })
            .collect(),
        limits: Limits { asked, used },
        merging: Merging { height: traced.height, plainness: plainness_of(traced.height) },
        areas: Count { count: traced.net.areas.len() },
        transitions: LengthCount {
            count: traced.net.drawn().count(),
            length_mm: traced.net.drawn().map(Transition::length_mm).sum(),
        },
        nodes: nodes(&traced.net),
        distances_mm: Distances {
            placed: traced.moved.placed_mm,
            smoothed: traced.moved.smoothed_mm,
            fitted: traced.moved.fitted_mm,
        },
        thin: LengthCount { count: thin.len(), length_mm: thin.iter().map(ThinMark::length_mm).sum() },
        guides: LengthCount {
            count: strokes.guides.len(),
            length_mm: strokes.guides.iter().map(|guide| length_mm(&guide.curve)).sum(),
        },
        suppressed: stages.by_hand.suppressed,
        groups: stages.by_hand.groups.clone(),
        keep_alike: stages.by_hand.alike.clone(),
        edits: Count { count: settings.by_hand.edits.len() },
        strokes: LengthCount { count: strokes.curves().count(), length_mm: strokes.drawn_mm },
        travel_mm: strokes.travel_mm,
        refits: Count { count: traced.refits },
        print: print(stages, settings),
        page: stages.page.clone(),
        plotter: stages.plotter.as_ref().map(|plan| plan.figures.clone()),
        timings_ms: timings_ms.map(|list| list.iter().map(|&(name, ms)| (name.to_owned(), ms)).collect()),
        ..Report::new(placement)
    }
}

fn nodes(net: &BoundaryNet) -> Nodes {
    let count = net.drawn().map(Transition::nodes).sum();
    let length_mm: f64 = net.drawn().map(Transition::length_mm).sum();
    Nodes { count, per_100_mm: if length_mm > 0.0 { 100.0 * count as f64 / length_mm } else { 0.0 } }
}

/// How the sheet is shown and printed.
fn print(stages: &Stages, settings: &Settings) -> Print {
    let (shown, on_paper) = (&stages.shown, &settings.on_paper);
    let um = |n: f64| (n * 1000.0).round() / 1000.0;
    let points = |list: &[kurbo::Point]| list.iter().map(|p| [um(p.x), um(p.y)]).collect();
    let pages = shown.printing.pages.iter().map(|page| PageReport {
        name: page.name.clone(),
        size_mm: page.size_mm.map(um),
        sheet_to_page: sheet_to_page(stages.placement.sheet_mm, on_paper.view, &page.sheet).as_coeffs(),
        trimmed_mm: page.sheet.trimmed.map(|r| [r.x, r.y, r.width, r.height].map(um)),
        crosses_mm: points(&page.own.crosses),
    });
    Print {
        enlargement: shown.enlargement,
        reference_px_per_mm: shown.reference_px_per_mm,
        mirrored: on_paper.view.mirrored,
        turned: u16::from(on_paper.view.quarter_turns) * 90,
        measured: on_paper.print.measured,
        crosses_mm: points(&shown.furniture.crosses),
        rules: shown.furniture.rules.clone(),
        squares: shown.furniture.squares,
        pages: pages.collect(),
    }
}

/// A kind's name, as the command line has it.
fn kind_name(kind: ReferenceKind) -> &'static str {
    match kind {
        ReferenceKind::Hatched => "hatched",
        ReferenceKind::HatchedWithLines => "hatched-with-lines",
        ReferenceKind::Tonal => "tonal",
        ReferenceKind::TonalWithLines => "tonal-with-lines",
    }
}
