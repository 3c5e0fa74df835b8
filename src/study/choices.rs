//! What an artist chose, from options and study file alike, before what follows from it is filled in.

use std::path::PathBuf;

use crate::areas::zones::{Outline, Purpose, Zone};
use crate::output::{Ink, Look};
use crate::plotter::PlotterOptions;
use crate::sheet::{Layer, Paper};
use crate::strokes::SoftLines;
use crate::structure::StructureOptions;
use crate::tone::BreakRule;

use super::{
    ByHand, DEFAULT_VALUES, ExtraLines, ExtraPlace, OrderSettings, PacketSettings, PlanSettings, Settings,
    SquareRule, SquaredSettings, StudyError,
};

/// Which files have what is printed around the picture.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Marks {
    /// The PDF alone.
    #[default]
    Pdf,
    /// SVG and PNG too.
    All,
    /// None.
    None,
}

/// Everything that can be chosen for a study. What is `None`, or not filled in, follows from the rest.
#[derive(Clone, Debug, PartialEq)]
pub struct Choices {
    /// The reference that a study file names.
    pub reference: Option<PathBuf>,
    /// SHA-256 that the reference had when the study file was written, as 64 hexadecimal digits.
    pub sha256: Option<String>,
    /// The settings that stand for themselves; those that follow from other fields are filled in by
    /// [`Choices::settings`].
    pub direct: Settings,
    /// How many values; without it, 5, or one more than the breaks listed.
    pub values: Option<u8>,
    /// Focus zones.
    pub focus: Vec<Outline>,
    /// Rest zones.
    pub rest: Vec<Outline>,
    /// A mask of zones, to be read.
    pub mask: Option<PathBuf>,
    /// How lines look where width and colour are not chosen.
    pub look: Look,
    /// Width of the printed line in mm.
    pub line_mm: Option<f64>,
    /// Colour.
    pub ink: Option<Ink>,
    /// Which files have marks.
    pub marks: Marks,
    /// Whether each layer of an SVG is a file.
    pub layers_apart: bool,
    /// The lower plainness of extra lines.
    pub extra_plainness: Option<f64>,
    /// Where extra lines are wanted.
    pub extra_place: ExtraPlace,
    /// What is decided by hand for single places.
    pub by_hand: ByHand,
    /// The plotter's settings, used when a plotter's file is written; `marks` follows from those above.
    pub plotter: PlotterOptions,
    /// The value plan's settings, used when a plan is made.
    pub plan: PlanSettings,
    /// The settings of the value structure, used when that is made.
    pub structure: StructureOptions,
    /// The working order's settings, used when one is made.
    pub order: OrderSettings,
    /// The squared reference's settings, used when one is made.
    pub squared: SquaredSettings,
    /// The packet's settings, used when one is made.
    pub packet: PacketSettings,
}

impl Default for Choices {
    /// What suits most pictures, on A4.
    fn default() -> Self {
        // ISO 216.
        let a4 = Paper { name: "a4".into(), width_mm: 210.0, height_mm: 297.0, us: false };
        Self {
            reference: None,
            sha256: None,
            direct: Settings::on(a4),
            values: None,
            focus: Vec::new(),
            rest: Vec::new(),
            mask: None,
            look: Look::default(),
            line_mm: None,
            ink: None,
            marks: Marks::default(),
            layers_apart: false,
            extra_plainness: None,
            extra_place: ExtraPlace::Whole,
            by_hand: ByHand::default(),
            plotter: PlotterOptions::default(),
            plan: PlanSettings::default(),
            structure: StructureOptions::default(),
            order: OrderSettings::default(),
            squared: SquaredSettings::default(),
            packet: PacketSettings::default(),
        }
    }
}

impl Choices {
    /// The settings of the study: everything filled in, the mask not read yet, nothing checked but what cannot be said
    /// in settings.
    ///
    /// `name` is what the title block calls the reference; a plotter is planned for when `plotter` says so.
    ///
    /// # Errors
    /// [`StudyError::NoExtra`] when extra lines are wanted somewhere, but none are asked for.
    pub fn settings(&self, name: &str, plotter: bool) -> Result<Settings, StudyError> {
        let mut settings = self.direct.clone();
        // A list of breaks says by itself how many values there are; too long a list is refused by its count.
        settings.values = self.values.unwrap_or(match &settings.breaks {
            BreakRule::Explicit(list) => u8::try_from(list.len() + 1).unwrap_or(u8::MAX),
            _ => DEFAULT_VALUES,
        });
        let zone = |purpose| move |outline: &Outline| Zone { purpose, outline: outline.clone() };
        settings.zones.outlined = self.focus.iter().map(zone(Purpose::Focus)).collect();
        settings.zones.outlined.extend(self.rest.iter().map(zone(Purpose::Rest)));
        settings.line_mm = self.line_mm.unwrap_or(self.look.line_mm());
        settings.on_paper.ink = self.ink.unwrap_or(self.look.ink());
        settings.on_paper.title.name = name.into();
        settings.by_hand = self.by_hand.clone();
        settings.plotter =
            plotter.then(|| PlotterOptions { marks: self.marks == Marks::All, ..self.plotter.clone() });
        settings.extra = match self.extra_plainness {
            Some(plainness) => Some(ExtraLines { plainness, place: self.extra_place.clone() }),
            None if self.extra_place != ExtraPlace::Whole => return Err(StudyError::NoExtra),
            None => None,
        };
        Ok(settings)
    }

    /// The layers that get a file each, by the choices alone so that names are known before work begins; none when they
    /// stay together.
    #[must_use]
    pub fn layers_apart(&self) -> Vec<Layer> {
        let marked = self.marks == Marks::All;
        let wanted = |layer: &Layer| match layer {
            Layer::Reference => self.direct.on_paper.underlay.is_some(),
            Layer::Hard => true,
            Layer::Soft => self.direct.soft != SoftLines::None,
            Layer::Thin => self.direct.thin_mm.is_some(),
            Layer::Guides => !self.by_hand.guides.is_empty() && self.extra_plainness.is_none(),
            Layer::Tints | Layer::Values | Layer::Key | Layer::Structure | Layer::Order => false,
            Layer::Squares | Layer::Numbers => marked && self.direct.on_paper.squares != SquareRule::None,
            Layer::Marks => marked,
        };
        if self.layers_apart { Layer::ALL.into_iter().filter(wanted).collect() } else { Vec::new() }
    }
}
