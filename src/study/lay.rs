//! The last step: strokes in order, and the sheet marked and laid on pages. It can be taken again for another sheet.

use crate::guides::GuideLine;
use crate::notes::Noted;
use crate::raster::Raster;
use crate::sheet::{Original, Placement};
use crate::strokes::{SoftLines, StrokeOptions, StrokePlan, plan_strokes};
use crate::thin::ThinMark;
use crate::transitions::BoundaryNet;

use super::on_paper::{self, Shown};
use super::{Settings, Stages, StudyError};

/// What the last step needs besides the net.
#[derive(Debug)]
pub(super) struct ToLay {
    /// Lines of the artist's own, on the picture.
    pub(super) guides: Vec<GuideLine>,
    /// The picture as it was placed.
    pub(super) original: Original,
    /// The picture at the working scale, where it is to lie under the lines.
    pub(super) working: Option<Raster<f32>>,
    /// How the strokes were made, when they are those of the whole drawing.
    pub(super) made_by: Option<StrokeOptions>,
}

impl ToLay {
    /// The strokes of a net and its thin marks.
    pub(super) fn strokes(
        &self,
        net: &BoundaryNet,
        thin: &[ThinMark],
        placement: &Placement,
        settings: &Settings,
    ) -> StrokePlan {
        let mut strokes = plan_strokes(net, placement, &settings.stroke_options());
        strokes.add_thin(thin, placement);
        // Extra lines are laid beside a drawing that has the guide lines already.
        let guides: &[GuideLine] = if settings.extra.is_some() { &[] } else { &self.guides };
        strokes.add_guides(guides, placement);
        strokes
    }

    /// Shows the sheet, marks it and lays it on pages.
    pub(super) fn show(
        &self,
        strokes: &StrokePlan,
        placement: &Placement,
        settings: &Settings,
    ) -> Result<Noted<Shown>, StudyError> {
        on_paper::show(strokes, placement, &self.original, settings, self.working.as_ref())
    }
}

/// What strokes depend on: gaps alone know how wide the line is.
pub(super) fn of_strokes(settings: &Settings) -> StrokeOptions {
    let options = settings.stroke_options();
    let line_mm = if options.soft == SoftLines::Broken { options.line_mm } else { 0.0 };
    StrokeOptions { line_mm, ..options }
}

impl Stages {
    /// Takes the last step again for another sheet of the same study: other strokes, view or marks; tones and areas stay.
    ///
    /// The sheet has all lines of the study, whatever was said of extra ones, and no file for a plotter.
    ///
    /// # Errors
    /// [`StudyError`] when the pages cannot be laid out.
    pub fn lay_again(&mut self, settings: &Settings) -> Result<Vec<String>, StudyError> {
        let settings = Settings { extra: None, ..settings.clone() };
        let mut notes = Vec::new();
        let made_by = of_strokes(&settings);
        if self.to_lay.made_by.as_ref() != Some(&made_by) {
            self.strokes = self.to_lay.strokes(&self.traced.net, &self.thin, &self.placement, &settings);
            self.to_lay.made_by = Some(made_by);
        }
        self.shown = self.to_lay.show(&self.strokes, &self.placement, &settings)?.take(&mut notes);
        self.plotter = None;
        Ok(notes)
    }
}
