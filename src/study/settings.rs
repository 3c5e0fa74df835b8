//! Every setting of one study, and the check that they make sense before any work begins.

use crate::areas::AreaOptions;
use crate::areas::edits::PlaceOnPicture;
use crate::areas::zones::{
    FOCUS_LEAST_AREA_SHARE, FOCUS_NARROWEST_SHARE, Purpose, REST_LEAST_AREA_SHARE, REST_NARROWEST_SHARE,
    Zones, Zoning,
};
use crate::output::LineWeight;
use crate::plotter::PlotterOptions;
use crate::reference::page::PageOptions;
use crate::sheet::{Paper, PlaceOptions};
use crate::strokes::{SoftLines, StrokeOptions};
use crate::thin::ThinOptions;
use crate::tone::{BreakRule, PITCH_RANGE_MM, PitchRule, ReferenceKind, ToneOptions, ToneRange};
use crate::transitions::{HowMuch, NetOptions};

use super::StudyError;
use super::by_hand::ByHand;
use super::extra::ExtraLines;
use super::on_paper::OnPaper;

/// Number of values unless set: bare paper, three hatchings, solid black (common practice, no source).
pub const DEFAULT_VALUES: u8 = 5;
/// Narrowest strip between two lines unless set, in mm (common practice, no source).
pub const DEFAULT_NARROWEST_MM: f64 = 1.0;
/// Smallest area unless set, in mm2: room for one digit (common practice, no source).
pub const DEFAULT_LEAST_AREA_MM2: f64 = 6.0;
/// Thinnest light or dark kept as a line unless set, in mm (common practice, no source).
pub const DEFAULT_THIN_MM: f64 = 0.4;
/// How far a point has to run on beyond its area's line unless set, in mm: half of what a tip may lack (1 mm).
pub const DEFAULT_LEAST_TIP_MM: f64 = 0.5;
/// Width of the printed line unless set, in mm: black that shows through on a light box (common practice).
pub const DEFAULT_LINE_MM: f64 = 0.35;
/// Largest reference to open unless set, in megapixels.
pub const DEFAULT_MAX_MEGAPIXELS: u32 = 400;

/// Range of the narrowest width in mm: a pencil point to a broad brush.
const NARROWEST_RANGE_MM: [f64; 2] = [0.1, 50.0];
/// Largest least area in mm2: a square metre.
const MOST_LEAST_AREA_MM2: f64 = 1e6;
/// Range of the printed line's width in mm.
const LINE_RANGE_MM: [f64; 2] = [0.01, 10.0];

/// Limits of zones of one kind, where they are set.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ZoneLimits {
    /// Narrowest strip between two lines, in mm.
    pub narrowest_mm: Option<f64>,
    /// Smallest area, in mm2.
    pub least_area_mm2: Option<f64>,
}

/// Every setting of one study.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// What is done to the reference before it is studied.
    pub page: PageOptions,
    /// The paper of the sheet.
    pub paper: Paper,
    /// How the picture is put on the sheet.
    pub place: PlaceOptions,
    /// How many values, 2 to 9.
    pub values: u8,
    /// How the breaks are found.
    pub breaks: BreakRule,
    /// The lightness taken as ink and as paper.
    pub tone_range: ToneRange,
    /// How the reference is made; `None`: found from the picture.
    pub kind: Option<ReferenceKind>,
    /// How the pitch of the texture is known.
    pub pitch: PitchRule,
    /// Narrowest strip between two lines, in mm.
    pub narrowest_mm: f64,
    /// Smallest area, in mm2.
    pub least_area_mm2: f64,
    /// Thinnest light or dark that is kept as one centre line, in mm; `None`: no thin marks.
    pub thin_mm: Option<f64>,
    /// How far a point runs on beyond its area's line before its tip is drawn, in mm; `None`: no tips.
    pub least_tip_mm: Option<f64>,
    /// How much is drawn: a plainness, a budget of line or a number of areas.
    pub how_much: HowMuch,
    /// Where more and fewer lines are wanted.
    pub zones: Zones,
    /// Limits in focus; those left out follow from the limits elsewhere.
    pub focus: ZoneLimits,
    /// Limits at rest; those left out follow from the limits elsewhere.
    pub rest: ZoneLimits,
    /// How soft lines are drawn.
    pub soft: SoftLines,
    /// Whether lines are joined through junctions.
    pub chain: bool,
    /// Width of the printed line, in mm.
    pub line_mm: f64,
    /// Whether lines are heavier where more values change.
    pub weight: LineWeight,
    /// How the sheet is shown, marked and printed.
    pub on_paper: OnPaper,
    /// What a plotter is to draw, when there is one.
    pub plotter: Option<PlotterOptions>,
    /// What is decided by hand for single places.
    pub by_hand: ByHand,
    /// Only the lines that a lower plainness adds, instead of the drawing.
    pub extra: Option<ExtraLines>,
    /// Whether the picture at the reference's own pixels is kept, for sheets that show it.
    pub keep_picture: bool,
    /// A point where the work begins, which has to lie in the picture.
    pub begin_at: Option<PlaceOnPicture>,
}

impl Settings {
    /// The settings that suit most pictures, on a paper.
    #[must_use]
    pub fn on(paper: Paper) -> Self {
        Self {
            page: PageOptions::default(),
            paper,
            place: PlaceOptions::default(),
            values: DEFAULT_VALUES,
            breaks: BreakRule::Fitted,
            tone_range: ToneRange::Auto,
            kind: None,
            pitch: PitchRule::Measured,
            narrowest_mm: DEFAULT_NARROWEST_MM,
            least_area_mm2: DEFAULT_LEAST_AREA_MM2,
            thin_mm: Some(DEFAULT_THIN_MM),
            least_tip_mm: Some(DEFAULT_LEAST_TIP_MM),
            how_much: HowMuch::default(),
            zones: Zones::default(),
            focus: ZoneLimits::default(),
            rest: ZoneLimits::default(),
            soft: SoftLines::Solid,
            chain: false,
            line_mm: DEFAULT_LINE_MM,
            weight: LineWeight::Even,
            on_paper: OnPaper::default(),
            plotter: None,
            by_hand: ByHand::default(),
            extra: None,
            keep_picture: false,
            begin_at: None,
        }
    }

    /// Checks every setting that can be judged without the reference.
    ///
    /// # Errors
    /// [`StudyError`] for the first setting that makes no sense.
    pub fn check(&self) -> Result<(), StudyError> {
        if !(2..=9).contains(&self.values) {
            return Err(StudyError::Values { asked: self.values });
        }
        self.check_breaks()?;
        if let ToneRange::Fixed([ink, paper]) = self.tone_range
            && !(0.0 <= ink && ink < paper && paper <= 100.0)
        {
            return Err(StudyError::ToneRange { ink, paper });
        }
        if let PitchRule::Fixed(pitch) = self.pitch {
            let [least, most] = PITCH_RANGE_MM;
            in_range("texture's pitch", "mm", pitch, least, most)?;
        }
        let [least, most] = NARROWEST_RANGE_MM;
        in_range("narrowest width", "mm", self.narrowest_mm, least, most)?;
        if !(self.least_area_mm2 > 0.0 && self.least_area_mm2 <= MOST_LEAST_AREA_MM2) {
            return Err(StudyError::LeastArea { asked: self.least_area_mm2, most: MOST_LEAST_AREA_MM2 });
        }
        if let Some(thin_mm) = self.thin_mm {
            in_range("thinnest mark's width", "mm", thin_mm, least, most)?;
        }
        if let Some(least_tip_mm) = self.least_tip_mm {
            in_range("least tip's length", "mm", least_tip_mm, least, most)?;
        }
        self.check_how_much()?;
        self.check_zones()?;
        self.by_hand.check(self.values)?;
        let [least, most] = LINE_RANGE_MM;
        in_range("printed line's width", "mm", self.line_mm, least, most)?;
        if self.chain && self.weight == LineWeight::ByStep {
            return Err(StudyError::WeightOfChained);
        }
        for (what, length) in [
            ("picture's width", self.place.picture_width_mm),
            ("picture's height", self.place.picture_height_mm),
        ] {
            if let Some(length) = length
                && !(length.is_finite() && length > 0.0)
            {
                return Err(StudyError::NotPositive { what, asked_mm: length });
            }
        }
        // Half the sheet's smaller side is the sheet's own affair: its placement says what is left.
        for margin in self.place.side_margins_mm.into_iter().chain([self.place.margin_mm]).flatten() {
            if !(margin.is_finite() && margin >= 0.0) {
                return Err(StudyError::Margin { asked_mm: margin });
            }
        }
        if let Some(extra) = &self.extra {
            in_range("plainness of the extra lines", "", extra.plainness, 0.0, 100.0)?;
        }
        if let Some(plotter) = &self.plotter {
            super::plotter::check(plotter)?;
        }
        self.on_paper.check(self.place.scale)
    }

    fn check_how_much(&self) -> Result<(), StudyError> {
        match self.how_much {
            HowMuch::Plainness(plainness) => in_range("plainness", "", plainness, 0.0, 100.0),
            HowMuch::LineBudget { mm } if !(mm.is_finite() && mm > 0.0) => {
                Err(StudyError::NotPositive { what: "line budget", asked_mm: mm })
            }
            HowMuch::Areas(0) => Err(StudyError::NoAreas),
            HowMuch::LineBudget { .. } | HowMuch::Areas(_) => Ok(()),
        }
    }

    fn check_zones(&self) -> Result<(), StudyError> {
        let of = |purpose| self.zones.outlined.iter().filter(move |zone| zone.purpose == purpose);
        if let Some(zone) = of(Purpose::Focus).find(|a| of(Purpose::Rest).any(|b| a.outline == b.outline)) {
            return Err(StudyError::TwoPurposes { outline: zone.outline.clone() });
        }
        let [least, most] = NARROWEST_RANGE_MM;
        for (purpose, set, sign) in [(Purpose::Focus, self.focus, 1.0), (Purpose::Rest, self.rest, -1.0)] {
            if set != ZoneLimits::default() && !self.zones.has(purpose) {
                return Err(StudyError::NoZone { purpose });
            }
            if let Some(asked) = set.narrowest_mm {
                in_range("narrowest width in a zone", "mm", asked, least, most)?;
            }
            if let Some(asked) = set.least_area_mm2
                && !(asked > 0.0 && asked <= MOST_LEAST_AREA_MM2)
            {
                return Err(StudyError::LeastArea { asked, most: MOST_LEAST_AREA_MM2 });
            }
            for (what, asked, elsewhere) in [
                ("narrowest width", set.narrowest_mm, self.narrowest_mm),
                ("least area", set.least_area_mm2, self.least_area_mm2),
            ] {
                if let Some(asked) = asked
                    && (asked - elsewhere) * sign > 0.0
                {
                    return Err(StudyError::ZoneLimit { what, purpose, asked, elsewhere });
                }
            }
        }
        Ok(())
    }

    /// The zones with their limits, if there are any.
    #[must_use]
    pub fn zoning(&self) -> Option<Zoning> {
        let limits = |set: &ZoneLimits, shares: [f64; 2]| AreaOptions {
            narrowest_mm: set.narrowest_mm.unwrap_or(shares[0] * self.narrowest_mm),
            least_area_mm2: set.least_area_mm2.unwrap_or(shares[1] * self.least_area_mm2),
        };
        (!self.zones.is_empty()).then(|| Zoning {
            zones: self.zones.clone(),
            focus: limits(&self.focus, [FOCUS_NARROWEST_SHARE, FOCUS_LEAST_AREA_SHARE]),
            rest: limits(&self.rest, [REST_NARROWEST_SHARE, REST_LEAST_AREA_SHARE]),
        })
    }

    /// Narrowest width asked for anywhere, in mm: finer than elsewhere only where there is focus.
    #[must_use]
    pub fn finest_narrowest_mm(&self) -> f64 {
        match self.zoning() {
            Some(z) if z.zones.has(Purpose::Focus) => z.focus.narrowest_mm.min(self.narrowest_mm),
            _ => self.narrowest_mm,
        }
    }

    fn check_breaks(&self) -> Result<(), StudyError> {
        let BreakRule::Explicit(breaks) = &self.breaks else { return Ok(()) };
        let wanted = usize::from(self.values) - 1;
        if breaks.len() != wanted {
            return Err(StudyError::BreakCount { values: self.values, wanted, listed: breaks.len() });
        }
        if let Some(&outside) = breaks.iter().find(|&&b| !(b > 0.0 && b < 100.0)) {
            return Err(StudyError::BreakRange { asked: outside });
        }
        if let Some(pair) = breaks.windows(2).find(|pair| pair[0] <= pair[1]) {
            return Err(StudyError::BreakOrder { first: pair[0], second: pair[1] });
        }
        Ok(())
    }

    /// What the tone stage needs to know.
    #[must_use]
    pub fn tone_options(&self) -> ToneOptions {
        ToneOptions {
            values: self.values,
            breaks: self.breaks.clone(),
            tone_range: self.tone_range,
            kind: self.kind,
            pitch: self.pitch,
        }
    }

    /// What the areas stage needs to know.
    #[must_use]
    pub fn area_options(&self) -> AreaOptions {
        AreaOptions { narrowest_mm: self.narrowest_mm, least_area_mm2: self.least_area_mm2 }
    }

    /// What the transitions stage needs to know.
    #[must_use]
    pub fn net_options(&self) -> NetOptions {
        NetOptions { how_much: self.how_much, ..NetOptions::default() }
    }

    /// What the thin marks need to know beside a net of a merging height (L*^2 mm); `None` when there are to be none.
    #[must_use]
    pub fn thin_options(&self, height: f64) -> Option<ThinOptions> {
        self.thin_mm.map(|limit_mm| ThinOptions { limit_mm, least_tip_mm: self.least_tip_mm, height })
    }

    /// What the strokes stage needs to know.
    #[must_use]
    pub fn stroke_options(&self) -> StrokeOptions {
        StrokeOptions { soft: self.soft, chain: self.chain, line_mm: self.line_mm }
    }
}

/// Refuses a number outside a range; a NaN is outside every range.
pub(super) fn in_range(
    what: &'static str,
    unit: &'static str,
    asked: f64,
    least: f64,
    most: f64,
) -> Result<(), StudyError> {
    if asked >= least && asked <= most {
        Ok(())
    } else {
        Err(StudyError::OutOfRange { what, unit, asked, least, most })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings() -> Settings {
        Settings::on(Paper::parse("a4").expect("A4 is a paper"))
    }

    fn refused(change: impl Fn(&mut Settings)) -> String {
        let mut changed = settings();
        change(&mut changed);
        match changed.check() {
            Ok(()) => panic!("{changed:?} was taken"),
            Err(error) => {
                assert!(error.wrong_use(), "{error} is wrong use");
                error.to_string()
            }
        }
    }

    #[test]
    fn the_defaults_make_sense() {
        assert!(settings().check().is_ok(), "the defaults have to pass their own check");
    }

    #[test]
    fn sizes_have_to_be_numbers_above_zero() {
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let text = refused(|s| s.narrowest_mm = bad);
            assert!(text.contains("narrowest"), "{text}");
            assert!(refused(|s| s.least_area_mm2 = bad).contains("least area"), "{bad}");
            assert!(refused(|s| s.thin_mm = Some(bad)).contains("thinnest"), "{bad}");
            assert!(refused(|s| s.least_tip_mm = Some(bad)).contains("tip"), "{bad}");
            assert!(refused(|s| s.line_mm = bad).contains("line"), "{bad}");
            assert!(refused(|s| s.how_much = HowMuch::LineBudget { mm: bad }).contains("budget"), "{bad}");
            assert!(refused(|s| s.pitch = PitchRule::Fixed(bad)).contains("pitch"), "{bad}");
            assert!(refused(|s| s.place.picture_width_mm = Some(bad)).contains("width"), "{bad}");
            assert!(refused(|s| s.place.picture_height_mm = Some(bad)).contains("height"), "{bad}");
        }
        for bad in [-0.1, f64::NAN, f64::INFINITY] {
            assert!(refused(|s| s.place.margin_mm = Some(bad)).contains("margin"), "{bad}");
        }
        for bad in [-1.0, 100.1, f64::NAN] {
            assert!(refused(|s| s.how_much = HowMuch::Plainness(bad)).contains("plainness"), "{bad}");
        }
    }

    #[test]
    fn a_picture_has_at_least_one_area() {
        assert!(refused(|s| s.how_much = HowMuch::Areas(0)).contains("at least 1"), "no area at all");
    }

    #[test]
    fn values_stay_between_two_and_nine() {
        for bad in [0, 1, 10, 255] {
            assert!(refused(|s| s.values = bad).contains("2 to 9"), "{bad}");
        }
        for good in 2..=9 {
            let mut changed = settings();
            changed.values = good;
            assert!(changed.check().is_ok(), "{good} values are allowed");
        }
    }

    #[test]
    fn explicit_breaks_go_from_light_to_dark_and_fit_the_values() {
        let with = |list: &[f64]| {
            let list = list.to_vec();
            move |s: &mut Settings| s.breaks = BreakRule::Explicit(list.clone())
        };
        assert!(refused(with(&[20.0, 40.0, 60.0, 80.0])).contains("order"), "darkest first");
        assert!(refused(with(&[80.0, 60.0, 60.0, 20.0])).contains("order"), "one twice");
        assert!(refused(with(&[80.0, 60.0, 40.0])).contains("4 breaks"), "one too few");
        assert!(refused(with(&[100.0, 60.0, 40.0, 20.0])).contains("between 0 and 100"), "no paper left");
        assert!(refused(with(&[80.0, 60.0, 40.0, f64::NAN])).contains("between 0 and 100"), "no number");
        let mut good = settings();
        with(&[80.0, 60.0, 40.0, 20.0])(&mut good);
        assert!(good.check().is_ok(), "four breaks make five values");
    }

    #[test]
    fn the_tone_range_goes_from_ink_to_paper() {
        for bad in [[50.0, 50.0], [90.0, 10.0], [-1.0, 100.0], [0.0, 101.0], [f64::NAN, 100.0]] {
            assert!(refused(|s| s.tone_range = ToneRange::Fixed(bad)).contains("tone range"), "{bad:?}");
        }
    }
}
