//! Runs the stages of one study in order: the only file that does.

use std::time::Instant;

use crate::areas::zones::Purpose;
use crate::areas::{self, AreaMap, AreaOptions};
use crate::notes::Noted;
use crate::output::grey;
use crate::plotter::PlotterPlan;
use crate::raster::Raster;
use crate::reference::page::{PageFigures, Repaired, repair};
use crate::reference::{Reference, resample};
use crate::sheet::{Original, Placement, RectMm, place_original};
use crate::strokes::StrokePlan;
use crate::thin::{self, ThinMark};
use crate::tone::{self, ToneField};
use crate::transitions::{Borders, HowMuch, NetOptions, Traced};

use super::lay::{self, ToLay};
use super::on_paper::{self, Shown};
use super::{ByHandFigures, Settings, StudyError, amount_notes, by_hand, extra, order, plotter};

/// Working pixels per mm unless the reference or the narrowest width asks for others: a third of a pencil line.
const WORKING_PX_PER_MM: f64 = 6.0;
/// Working pixels that the narrowest width spans at least: fewer cannot tell a strip from its two edges.
const LEAST_PX_ACROSS: f64 = 4.0;
/// Most working pixels: an A0 sheet at the usual scale, and a bound on memory.
const MOST_WORKING_PX: usize = 40_000_000;

/// One step of the work, for whoever shows how far it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// The reference is made into the picture: flat, evenly lit, cut.
    Page,
    /// The reference is brought to the scale of the sheet.
    Scaling,
    /// Texture is averaged and the breaks are found.
    Tone,
    /// Areas are found.
    Areas,
    /// Transitions are traced and fitted.
    Transitions,
    /// Thin lights and darks are followed.
    Thin,
    /// Strokes are put in order.
    Strokes,
}

impl Step {
    /// All steps, in order.
    pub const ALL: [Self; 7] =
        [Self::Page, Self::Scaling, Self::Tone, Self::Areas, Self::Transitions, Self::Thin, Self::Strokes];

    /// Its name in reports.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Page => "page",
            Self::Scaling => "scaling",
            Self::Tone => "tone",
            Self::Areas => "areas",
            Self::Transitions => "transitions",
            Self::Thin => "thin",
            Self::Strokes => "strokes",
        }
    }

    /// What is being done, for a person who waits.
    #[must_use]
    pub fn doing(self) -> &'static str {
        match self {
            Self::Page => "looking at the page",
            Self::Scaling => "bringing the reference to the size of the sheet",
            Self::Tone => "averaging texture, keeping edges",
            Self::Areas => "finding areas",
            Self::Transitions => "tracing transitions",
            Self::Thin => "following thin lights and darks",
            Self::Strokes => "putting strokes in order",
        }
    }
}

/// What the stages made.
#[derive(Debug)]
pub struct Stages {
    /// What was done to the reference before it was studied, if anything.
    pub page: Option<PageFigures>,
    /// The reference before and after, when asked for.
    pub before_after: Option<Raster<u8>>,
    /// The picture in grey samples of sRGB, at the reference's own pixels, when asked for.
    pub picture: Option<Raster<u8>>,
    /// SHA-256 of the reference's file, in hexadecimal digits.
    pub sha256: String,
    /// The sheet and where the picture lies on it.
    pub placement: Placement,
    /// Working pixels per mm, the same on both axes.
    pub px_per_mm: f64,
    /// Tones and the value scale; the lightness raster covers exactly the picture.
    pub tone: ToneField,
    /// Narrowest width and least area as used: never less than the texture can bear.
    pub areas_used: AreaOptions,
    /// The same in focus and at rest, where there are zones.
    pub zones_used: Option<[AreaOptions; 2]>,
    /// The boundary net in mm on the picture, and the value of every working pixel.
    pub traced: Traced,
    /// Thin lights and darks that are no areas, in mm on the picture; those that are drawn.
    pub thin: Vec<ThinMark>,
    /// Which working pixels lie in an area that the artist has edited; none without edits.
    pub edited: Option<Raster<bool>>,
    /// Tones of groups, and lines that are not drawn.
    pub by_hand: ByHandFigures,
    /// The strokes in mm on the sheet.
    pub strokes: StrokePlan,
    /// The sheet as it is shown, marked and laid on pages.
    pub shown: Shown,
    /// What a plotter draws, when there is one.
    pub plotter: Option<PlotterPlan>,
    /// How long each step took, in ms, in the order of the steps.
    pub timings_ms: Vec<(Step, f64)>,
    /// What it takes to lay the sheet again.
    pub(super) to_lay: ToLay,
}

/// Runs all stages on a reference that has been read.
///
/// `begin` is told each step before it begins. The result is the same for the same reference and settings, whatever
/// the number of threads; only `timings_ms` differs.
///
/// # Errors
/// [`StudyError`] when a setting makes no sense, the picture does not fit the sheet, or a stage refuses its input.
pub fn run(
    reference: Reference,
    settings: &Settings,
    begin: &dyn Fn(Step),
) -> Result<Noted<Stages>, StudyError> {
    settings.check()?;
    let mut notes = Vec::new();
    let mut clock = Clock { begin, running: None, timings_ms: Vec::new() };

    clock.next(Step::Page);
    let Repaired { figures: page, view, reference } = repair(reference, &settings.page)?.take(&mut notes);

    clock.next(Step::Scaling);
    let pixels = [reference.luminance.width(), reference.luminance.height()];
    let original = Original { pixels, pixels_per_inch: reference.pixels_per_inch };
    let placement = place_original(&settings.paper, &original, &settings.place)?.take(&mut notes);
    on_paper::check_pages(&placement, settings)?;
    let extra_rect = settings.extra.as_ref().map(|e| e.rect(&placement, settings)).transpose()?.flatten();
    let picture = placement.picture_mm;
    let px_per_mm = working_scale(pixels, &picture, settings.finest_narrowest_mm())?.take(&mut notes);
    settings.zones.check([picture.width, picture.height], pixels, px_per_mm)?;
    order::check_begin(settings, [picture.width, picture.height])?;
    notes.extend(coarse_note(&original, &placement, settings.finest_narrowest_mm()));
    let [width, height] = working_size(&picture, px_per_mm);
    let guides = settings.by_hand.on_picture([picture.width, picture.height], [width, height])?;
    let working = resample(&reference.luminance, width, height);
    let (sha256, full) = kept_of(reference, settings);

    clock.next(Step::Tone);
    let mut tone = tone::measure(&working, px_per_mm, &settings.tone_options())?.take(&mut notes);
    let working = settings.on_paper.underlay.map(|_| working);

    clock.next(Step::Areas);
    let (own_areas, own_borders) = areas_of(&mut tone, settings);
    let edited = settings.by_hand.edited(&tone, &own_areas, &settings.net_options())?;
    let area_map = edited.as_ref().unwrap_or(&own_areas);
    let borders = edited.as_ref().map_or(own_borders, |edited| Borders::of(&tone, edited));
    notes.extend(settings.by_hand.idle_notes(area_map.edited.as_ref()));
    notes.extend(limit_notes(settings, area_map));

    clock.next(Step::Transitions);
    let mut traced = borders.trace(&tone, area_map, &settings.net_options());
    notes.extend(amount_notes::of(&traced, settings.how_much));

    clock.next(Step::Thin);
    let thin_of = |traced: &Traced| {
        let Some(options) = settings.thin_options(traced.height) else { return Vec::new() };
        let on = |areas| thin::find(&tone, areas, &traced.net, &options);
        match &edited {
            Some(edited) => by_hand::still_thin(on(&own_areas), &on(edited)),
            None => on(&own_areas),
        }
    };
    let mut thin = thin_of(&traced);
    let all_thin = thin.clone();
    let with = |how_much| {
        let traced = borders.trace(&tone, area_map, &NetOptions { how_much, ..settings.net_options() });
        let thin = thin_of(&traced);
        (traced, thin)
    };
    let looked_at = settings.by_hand.looked_at_for_lines(settings.how_much).map(with);
    let suppressed =
        settings.by_hand.suppress(&mut traced.net, &mut thin, looked_at.as_ref())?.take(&mut notes);
    let (by_hand, said) = settings.by_hand.tones(&tone, &traced.values, suppressed);
    notes.extend(said);
    let added = settings.extra.as_ref().map(|extra| {
        let (finer, finer_thin) = with(HowMuch::Plainness(extra.plainness));
        let net = extra::added_net(&traced, &finer, extra.plainness)?;
        Ok::<_, StudyError>((net, extra::added_thin(&all_thin, finer_thin)))
    });
    let added = added.transpose()?;

    clock.next(Step::Strokes);
    let (drawn_net, drawn_thin) = added.as_ref().map_or((&traced.net, &thin), |(net, thin)| (net, thin));
    let made_by = added.is_none().then(|| lay::of_strokes(settings));
    let to_lay = ToLay { guides, original, working, made_by };
    let mut strokes = to_lay.strokes(drawn_net, drawn_thin, &placement, settings);
    if strokes.strokes.is_empty() && !traced.net.transitions.is_empty() {
        notes.push("Every edge is soft and soft edges are left out, so no lines are drawn.".into());
    }
    if let Some(rect) = &extra_rect {
        strokes = strokes.within(rect);
    }
    notes.extend(extra::nothing_note(settings, &strokes));
    let shown = to_lay.show(&strokes, &placement, settings)?.take(&mut notes);
    let guides = if added.is_some() { &[][..] } else { &to_lay.guides };
    let drawn = (drawn_net, drawn_thin.as_slice(), guides);
    let plotter = plotter::plan(&shown, drawn, &placement, extra_rect, settings).take(&mut notes);
    let timings_ms = clock.stop();

    Ok(Noted::with(
        Stages {
            page,
            before_after: view,
            picture: full,
            sha256,
            plotter,
            placement,
            px_per_mm,
            tone,
            areas_used: area_map.used,
            zones_used: area_map.used_in_zones,
            traced,
            thin,
            edited: area_map.edited_pixels(),
            by_hand,
            strokes,
            shown,
            timings_ms,
            to_lay,
        },
        notes,
    ))
}

/// What is kept of a reference once it has been resampled: its SHA-256, and the picture where it is asked for.
fn kept_of(reference: Reference, settings: &Settings) -> (String, Option<Raster<u8>>) {
    (reference.sha256, settings.keep_picture.then(|| grey(&reference.luminance, 1.0)))
}

/// The areas of a tone field and their borders. Holding lines in hatching are seen only along borders; once they are known, narrow
/// darks are these lines and no areas, so then areas are found anew.
fn areas_of(tone: &mut ToneField, settings: &Settings) -> (AreaMap, Borders) {
    let find = |tone: &ToneField| {
        let areas = areas::find_in_zones(tone, &settings.area_options(), settings.zoning().as_ref());
        let borders = Borders::of(tone, &areas);
        (areas, borders)
    };
    let (areas, borders) = find(tone);
    if borders.note_outlines(tone, &areas) { find(tone) } else { (areas, borders) }
}

/// What there is to say of limits that the texture does not bear.
fn limit_notes(settings: &Settings, area_map: &AreaMap) -> Vec<String> {
    let mut notes = Vec::new();
    let (asked, used) = (settings.area_options(), area_map.used);
    if used.narrowest_mm > asked.narrowest_mm || used.least_area_mm2 > asked.least_area_mm2 {
        notes.push(format!(
            "The texture is too coarse for limits this fine: the narrowest width is {:.2} mm and the least area {:.1} \
             mm2; a larger picture on the sheet leaves room for finer ones.",
            used.narrowest_mm, used.least_area_mm2
        ));
    }

    if let (Some(zoning), Some([focus, _])) = (settings.zoning(), area_map.used_in_zones)
        && settings.zones.has(Purpose::Focus)
        && focus.narrowest_mm > zoning.focus.narrowest_mm
    {
        notes.push(format!(
            "The texture is too coarse for the limits in focus: the narrowest width there is {:.2} mm and the least \
             area {:.1} mm2.",
            focus.narrowest_mm, focus.least_area_mm2
        ));
    }
    notes
}

/// Times the steps and tells who waits.
struct Clock<'a> {
    begin: &'a dyn Fn(Step),
    running: Option<(Step, Instant)>,
    timings_ms: Vec<(Step, f64)>,
}

impl Clock<'_> {
    /// Ends the running step and begins another.
    fn next(&mut self, step: Step) {
        self.end();
        (self.begin)(step);
        self.running = Some((step, Instant::now()));
    }

    fn end(&mut self) {
        if let Some((step, since)) = self.running.take() {
            self.timings_ms.push((step, since.elapsed().as_secs_f64() * 1e3));
        }
    }

    fn stop(mut self) -> Vec<(Step, f64)> {
        self.end();
        self.timings_ms
    }
}

/// Pixels of the reference per mm of the sheet under which the eye sees them, and lines lose their place.
const COARSE_PX_PER_MM: f64 = 4.0;

/// What there is to say of a reference that is coarse on the sheet, where its working scale says nothing of it.
fn coarse_note(original: &Original, placement: &Placement, narrowest_mm: f64) -> Option<String> {
    let given = original.px_per_mm(placement);
    (given < COARSE_PX_PER_MM && given >= LEAST_PX_ACROSS / narrowest_mm).then(|| {
        format!(
            "The reference is coarse on this sheet: it has {:.1} pixels per mm there, and lines are sure from \
             {COARSE_PX_PER_MM:.0} on; take a larger scan or a smaller picture.",
            tenths_below(given)
        )
    })
}

/// Down to whole tenths: what has fewer than four must not read as having four.
fn tenths_below(number: f64) -> f64 {
    (number * 10.0 + 1e-6).floor() / 10.0
}

/// The working raster's size: the picture at the working scale, never empty.
fn working_size(picture: &RectMm, px_per_mm: f64) -> [usize; 2] {
    [picture.width, picture.height].map(|side| (side * px_per_mm).round().max(1.0) as usize)
}

/// Working pixels per mm for a reference of `pixels` that covers `picture` on the sheet.
///
/// 6 px/mm, less when the reference has fewer, but the narrowest width always spans at least 4 pixels, and never more
/// pixels in all than memory is meant for. A note says when the reference is too small for the sheet.
///
/// # Errors
/// [`StudyError::TooFine`] when the narrowest width cannot have its 4 pixels within that bound.
pub fn working_scale(
    pixels: [usize; 2],
    picture: &RectMm,
    narrowest_mm: f64,
) -> Result<Noted<f64>, StudyError> {
    let least = LEAST_PX_ACROSS / narrowest_mm;
    let given = (pixels[0] as f64 / picture.width).max(pixels[1] as f64 / picture.height);
    let area_mm2 = picture.width * picture.height;
    let most = (MOST_WORKING_PX as f64 / area_mm2).sqrt();
    if least > most {
        return Err(StudyError::TooFine {
            width_mm: picture.width,
            height_mm: picture.height,
            narrowest_mm,
            most: MOST_WORKING_PX / 1_000_000,
        });
    }
    let scale = WORKING_PX_PER_MM.min(given).min(most).max(least);
    let mut notes = Vec::new();
    if most < WORKING_PX_PER_MM.min(given) {
        notes.push(format!(
            "The picture is very large on this sheet, so it is worked at {scale:.1} pixels per mm to spare memory."
        ));
    }
    if given < least {
        notes.push(format!(
            "The reference is too small for this sheet: it has {:.1} pixels per mm at {:.0} x {:.0} mm and lines \
             {narrowest_mm} mm apart need {least:.1}, so edges are softer than they look; take a larger scan or a \
             smaller picture.",
            tenths_below(given),
            picture.width,
            picture.height
        ));
    }
    Ok(Noted::with(scale, notes))
}

/// The most working pixels that a reference of so many pixels comes to on the sheet of some settings: those of the whole paper.
#[must_use]
pub fn most_working_pixels(settings: &Settings, reference_pixels: f64) -> f64 {
    let area_mm2 = settings.paper.width_mm * settings.paper.height_mm;
    let least = (LEAST_PX_ACROSS / settings.finest_narrowest_mm()).powi(2) * area_mm2;
    (WORKING_PX_PER_MM.powi(2) * area_mm2).min(reference_pixels).max(least).min(MOST_WORKING_PX as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(width: f64, height: f64) -> RectMm {
        RectMm { x: 20.0, y: 20.0, width, height }
    }

    fn scale(pixels: [usize; 2], narrowest_mm: f64) -> Noted<f64> {
        match working_scale(pixels, &picture(170.0, 255.0), narrowest_mm) {
            Ok(scale) => scale,
            Err(error) => panic!("{pixels:?}: {error}"),
        }
    }

    #[test]
    fn a_large_scan_is_worked_at_six_pixels_a_millimetre() {
        let got = scale([3400, 5100], 1.0);
        assert!((got.value - 6.0).abs() < 1e-12, "20 px/mm came to {}", got.value);
        assert!(got.notes.is_empty(), "nothing is wrong with a large scan: {:?}", got.notes);
    }

    #[test]
    fn a_middling_scan_is_worked_at_its_own_scale() {
        let got = scale([850, 1275], 1.0);
        assert!((got.value - 5.0).abs() < 1e-12, "5 px/mm came to {}", got.value);
        assert!(got.notes.is_empty(), "5 px/mm is enough: {:?}", got.notes);
    }

    #[test]
    fn a_small_scan_is_enlarged_and_a_note_says_so() {
        for pixels in [[340, 510], [1, 1], [17, 25]] {
            let got = scale(pixels, 1.0);
            assert!((got.value - 4.0).abs() < 1e-12, "{pixels:?} came to {}", got.value);
            assert!(got.notes.iter().any(|n| n.contains("too small")), "{pixels:?}: {:?}", got.notes);
        }
    }

    #[test]
    fn a_fine_pencil_gets_its_four_pixels() {
        let got = scale([3400, 5100], 0.4);
        assert!((got.value - 10.0).abs() < 1e-12, "0.4 mm came to {} px/mm", got.value);
        assert!(got.notes.is_empty(), "20 px/mm is enough for 0.4 mm: {:?}", got.notes);
        assert!(!scale([850, 1275], 0.4).notes.is_empty(), "5 px/mm is too little for 0.4 mm");
    }

    #[test]
    fn memory_has_a_bound() {
        let huge = picture(10_000.0, 10_000.0);
        assert!(
            matches!(working_scale([9000, 9000], &huge, 1.0), Err(StudyError::TooFine { .. })),
            "1.6 gigapixels"
        );
        let a0 = picture(801.0, 1149.0);
        let got = working_scale([20_000, 28_000], &a0, 1.0).map(|s| s.value);
        assert!(got.as_ref().is_ok_and(|s| (s - 6.0).abs() < 1e-12), "A0 works at the usual scale: {got:?}");
        let larger = picture(1400.0, 1400.0);
        let got = working_scale([20_000, 20_000], &larger, 1.0);
        assert!(
            got.as_ref().is_ok_and(|s| s.value < 6.0 && s.value >= 4.0 && s.notes.len() == 1),
            "a larger sheet is worked more coarsely, and a note says so: {got:?}"
        );
    }

    #[test]
    fn the_working_raster_is_never_empty() {
        assert_eq!(working_size(&picture(170.0, 0.01), 6.0), [1020, 1], "a sliver still has a row");
        assert_eq!(working_size(&picture(170.0, 255.0), 6.0), [1020, 1530], "mm times px/mm");
    }

    #[test]
    fn a_reference_of_under_four_pixels_a_millimetre_is_warned_about() {
        let placement = Placement { sheet_mm: [210.0, 297.0], picture_mm: picture(170.0, 255.0) };
        // 170 mm at 1 to 8 px/mm; the narrowest width decides which of the two notes it is, never whether there is one.
        for narrowest_mm in [0.4, 1.0, 2.0, 20.0] {
            for per_mm in [1.0, 2.0, 3.0, 3.9, 4.0, 5.0, 8.0] {
                let pixels = [170.0, 255.0].map(|side: f64| (side * per_mm).round() as usize);
                let original = Original { pixels, pixels_per_inch: None };
                let mut notes = scale(pixels, narrowest_mm).notes;
                notes.extend(coarse_note(&original, &placement, narrowest_mm));
                let said = notes.iter().filter(|n| n.contains(&format!("{per_mm:.1} pixels per mm"))).count();
                let small = per_mm < 4.0 || per_mm < 4.0 / narrowest_mm;
                assert_eq!(said, usize::from(small), "{per_mm} px/mm, {narrowest_mm} mm apart: {notes:?}");
            }
        }
    }
}
