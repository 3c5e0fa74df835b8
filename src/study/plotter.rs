//! The plotter's settings checked, and its plan made from what the study draws.

use crate::guides::GuideLine;
use crate::notes::Noted;
use crate::plotter::{PlotterOptions, PlotterPlan, plan_plotter};
use crate::sheet::{Placement, RectMm};
use crate::strokes::plan_joined_strokes;
use crate::thin::ThinMark;
use crate::transitions::BoundaryNet;

use super::on_paper::Shown;
use super::settings::in_range;
use super::{Settings, StudyError};

/// Range of lengths of lead in mm: a decimetre to a kilometre.
const LEAD_RANGE_MM: [f64; 2] = [100.0, 1e6];
/// Largest overlap where a closed line ends, and shortest stroke, in mm.
const MOST_SHORT_MM: f64 = 20.0;
/// Range of the chord tolerance in mm: the finest number that is written to what any eye sees.
const TOLERANCE_RANGE_MM: [f64; 2] = [0.001, 1.0];
/// Range of speeds in mm/s, of acceleration in mm/s2, of a lift in s: what machines with a pencil do, widely.
const SPEED_RANGE_MM_S: [f64; 2] = [0.1, 2000.0];
const ACCELERATION_RANGE_MM_S2: [f64; 2] = [1.0, 100_000.0];
const LIFT_RANGE_S: [f64; 2] = [0.0, 60.0];

/// Checks every setting of a plotter.
pub(super) fn check(options: &PlotterOptions) -> Result<(), StudyError> {
    if let Some(lead) = options.lead_length_mm {
        in_range("length of lead", "mm", lead, LEAD_RANGE_MM[0], LEAD_RANGE_MM[1])?;
    }
    in_range("overlap of closed lines", "mm", options.close_over_mm, 0.0, MOST_SHORT_MM)?;
    in_range("shortest stroke", "mm", options.least_stroke_mm, 0.0, MOST_SHORT_MM)?;
    if let Some(tolerance) = options.polylines_mm {
        in_range("tolerance of polylines", "mm", tolerance, TOLERANCE_RANGE_MM[0], TOLERANCE_RANGE_MM[1])?;
    }
    let machine = &options.machine;
    let [least, most] = SPEED_RANGE_MM_S;
    in_range("drawing speed", "mm/s", machine.drawing_mm_s, least, most)?;
    in_range("travel speed", "mm/s", machine.travel_mm_s, least, most)?;
    let [least, most] = ACCELERATION_RANGE_MM_S2;
    in_range("acceleration", "mm/s2", machine.acceleration_mm_s2, least, most)?;
    in_range("time of a lift", "s", machine.lift_s, LIFT_RANGE_S[0], LIFT_RANGE_S[1])
}

/// The plotter's plan, if there is a plotter: of the strokes as shown, or of the net and its thin marks joined anew.
pub(super) fn plan(
    shown: &Shown,
    (net, thin, guides): (&BoundaryNet, &[ThinMark], &[GuideLine]),
    placement: &Placement,
    part: Option<RectMm>,
    settings: &Settings,
) -> Noted<Option<PlotterPlan>> {
    let Some(options) = &settings.plotter else { return Noted::with(None, Vec::new()) };
    let plan = if options.joined {
        let mut strokes = plan_joined_strokes(net, placement, &settings.stroke_options());
        strokes.add_thin(thin, placement);
        strokes.add_guides(guides, placement);
        let strokes = part.map_or_else(|| strokes.clone(), |rect| strokes.within(&rect));
        plan_plotter(&strokes.seen(placement, settings.on_paper.view), &shown.furniture, options)
    } else {
        plan_plotter(&shown.strokes, &shown.furniture, options)
    };
    let notes = notes(&plan, options);
    Noted::with(Some(plan), notes)
}

/// What there is to say of a plan.
fn notes(plan: &PlotterPlan, options: &PlotterOptions) -> Vec<String> {
    let figures = &plan.figures;
    let mut notes = Vec::new();
    if figures.short > 0 {
        notes.push(format!(
            "{} strokes shorter than {} mm are left out of the plotter's file.",
            figures.short, options.least_stroke_mm
        ));
    }
    if figures.over_keep_out > 0 {
        notes.push(format!(
            "{} travels pass over a rectangle that the pencil keeps out of: raise it higher than what lies there, or \
             move that.",
            figures.over_keep_out
        ));
    }
    let lead = options.lead_length_mm.unwrap_or(f64::INFINITY);
    let long = figures.parts.iter().filter(|part| part.down_mm > lead).count();
    if long > 0 {
        notes.push(format!(
            "{long} parts are one stroke that is longer than the lead's {:.2} m; without --chain strokes are shorter.",
            lead / 1000.0
        ));
    }
    notes
}
