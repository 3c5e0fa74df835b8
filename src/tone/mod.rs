//! Tone: texture averaged away in linear light, edges kept, and the value scale.
//!
//! In: linear reflectance at the working scale. Out: [`ToneField`] (L*) with its [`ValueScale`].
//! Units: reflectance 0 to 1, lightness 0 to 100, widths in mm on the sheet.
//! Keeps: the mean reflectance of the reference (averages are taken in linear light only).
//! Limits: texture coarser than about 2 mm reads as tone; on pictures more than 280 mm wide and high in proportion.

mod along;
mod directed;
mod edge_mean;
mod fade;
mod gauss;
mod kind;
mod pitch;
mod scale;
mod texture;

use rayon::prelude::*;
use thiserror::Error;

use crate::colour::{lightness, lightness_f32, reflectance};
use crate::notes::Noted;
use crate::raster::Raster;
use crate::reference::resample;

pub use edge_mean::{joint_mean, rolling_mean};
pub(crate) use fade::WIDEST_MM;
#[cfg(test)]
pub(crate) use fade::tests::even_numbers;
pub use gauss::gaussian;
pub use kind::{KindEvidence, ReferenceKind};
pub use pitch::{PitchMap, PitchRegion, TilePitch};
pub use scale::{HISTOGRAM_BINS, ValueScale, even_breaks, fitted_breaks, fitted_ink_breaks, histogram};
pub use texture::Waver;
pub(crate) use texture::course_of_marks;

/// How the breaks between values are found.
#[derive(Clone, Debug, PartialEq)]
pub enum BreakRule {
    /// Breaks that divide this picture's tones best (exact least squares; on ink, paper and solid stand apart).
    Fitted,
    /// Equal steps of L* between the ends of the tone range.
    Even,
    /// Breaks given in L* of the reference as it is, before any normalising.
    Explicit(Vec<f64>),
}

/// Which lightness is taken as ink and which as paper.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ToneRange {
    /// Robust percentiles of the reference.
    Auto,
    /// L* of ink and L* of paper.
    Fixed([f64; 2]),
}

/// How the pitch of the texture is known.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum PitchRule {
    /// Measured; the first mean's width follows the unevenness that the texture leaves.
    #[default]
    Measured,
    /// There is no texture: nothing is averaged.
    None,
    /// Pitch in mm on the sheet, [`PITCH_RANGE_MM`]: it decides the first mean's width.
    Fixed(f64),
}

/// Range of a pitch that is given, in mm: finer is no texture, coarser is drawing.
pub const PITCH_RANGE_MM: [f64; 2] = [0.1, 12.0];
/// Width of the first mean (standard deviation) as a share of a pitch that is given: a Gaussian of 0.55 of the pitch
/// leaves exp(-2 (0.55 pi)^2) = 0.25 % of a grating's swing.
const WIDTH_OF_PITCH: f64 = 0.55;

/// Settings of the tone stage.
#[derive(Clone, Debug, PartialEq)]
pub struct ToneOptions {
    /// How many values, 2 to 9.
    pub values: u8,
    /// How the breaks are found.
    pub breaks: BreakRule,
    /// Which lightness is ink and which is paper.
    pub tone_range: ToneRange,
    /// The reference's kind; `None` to judge it.
    pub kind: Option<ReferenceKind>,
    /// How the pitch of the texture is known.
    pub pitch: PitchRule,
}

impl Default for ToneOptions {
    fn default() -> Self {
        Self {
            values: 5,
            breaks: BreakRule::Fitted,
            tone_range: ToneRange::Auto,
            kind: None,
            pitch: PitchRule::Measured,
        }
    }
}

/// Why no tone could be measured.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum ToneError {
    /// Fewer than 2 or more than 9 values.
    #[error("{0} values cannot be drawn: choose 2 to 9")]
    Values(u8),
    /// Breaks that do not fall from light to dark inside 0 to 100, or not one fewer than the values.
    #[error("the breaks {breaks:?} do not fit {values} values: give {} lightnesses (L*) between 0 and 100, falling from light to dark", values - 1)]
    Breaks {
        /// What was given.
        breaks: Vec<f64>,
        /// How many values were asked for.
        values: u8,
    },
    /// Ink that is not darker than paper.
    #[error(
        "the tone range {0:?} has no room: give the lightness (L*) of the ink, then a higher one of the paper"
    )]
    Range([f64; 2]),
    /// A pitch outside [`PITCH_RANGE_MM`].
    #[error("a pitch of {0} mm is no texture: give {least} to {most} mm", least = PITCH_RANGE_MM[0], most = PITCH_RANGE_MM[1])]
    Pitch(f64),
}

/// The tones of a reference with texture averaged away.
#[derive(Clone, Debug)]
pub struct ToneField {
    /// Reflectance normalised to paper 1 and ink 0, texture still in it; holding lines closed where the kind has them.
    pub reflectance: Raster<f32>,
    /// Reflectance averaged as little as the texture allows: where edges are placed and measured.
    pub fine: Raster<f32>,
    /// L* with texture averaged and edges kept: what values are told by.
    pub lightness: Raster<f32>,
    /// Working scale.
    pub px_per_mm: f64,
    /// Width of the first mean in mm (standard deviation of the Gaussian); 0 where no texture asked for one.
    pub mean_width_mm: f64,
    /// What is left of the texture in `lightness`.
    pub waver: Waver,
    /// Pitch of the texture in mm on the sheet, as given or as measured, if it has one.
    pub pitch_mm: Option<f64>,
    /// Regions that differ in measured pitch, the largest first; none when the pitch was given.
    pub pitch_regions: Vec<PitchRegion>,
    /// The breaks.
    pub scale: ValueScale,
    /// What the reference is made of.
    pub kind: ReferenceKind,
    /// What the kind was judged by.
    pub evidence: KindEvidence,
    /// L* of the reference's ink and paper.
    pub tone_range: [f64; 2],
}

impl ToneField {
    /// Whether tone is made of marks so coarse that borders follow them: areas and lines are calmed there.
    #[must_use]
    pub fn is_textured(&self) -> bool {
        self.kind.is_ink() && self.mean_width_mm >= TEXTURED_MM
    }

    /// The edge-kept tone as linear reflectance: between pixels light is what mixes.
    #[must_use]
    pub fn light(&self) -> Raster<f32> {
        self.lightness.map(|l| reflectance(f64::from(l)) as f32)
    }

    /// The same tones on a picture `times` smaller, with `width` x `height` working pixels and a scale of its own: widths in
    /// mm shrink with it, tones are averaged in light.
    #[must_use]
    pub fn smaller(&self, times: f64, [width, height]: [usize; 2], scale: ValueScale) -> Self {
        let px_per_mm = self.px_per_mm * times * width as f64 / self.lightness.width() as f64;
        Self {
            reflectance: resample(&self.reflectance, width, height),
            fine: resample(&self.fine, width, height),
            lightness: resample(&self.light(), width, height).map(lightness_f32),
            px_per_mm,
            mean_width_mm: self.mean_width_mm / times,
            waver: self.waver.smaller(times),
            pitch_mm: self.pitch_mm.map(|mm| mm / times),
            pitch_regions: self
                .pitch_regions
                .iter()
                .map(|r| PitchRegion { pitch_mm: r.pitch_mm / times, ..*r })
                .collect(),
            scale,
            kind: self.kind,
            evidence: self.evidence.clone(),
            tone_range: self.tone_range,
        }
    }
}

/// Narrowest first mean that makes ink textured, in mm.
const TEXTURED_MM: f64 = 0.1;
/// Unevenness in L* that a first mean may leave: the rounds that keep edges take out the rest.
const UNEVEN_LEFT: f64 = 2.0;
/// Share of the tiles that have to be that even; the rest is mostly edges.
const EVEN_SHARE: f64 = 0.8;
/// How near the least unevenness of all widths is near enough (gradations grow with the width, texture falls).
const UNEVEN_NEAR_LEAST: f64 = 1.25;
/// Widths of mean up to this share of the pitch leave most of the texture's lines.
const BELOW_PITCH: f64 = 0.4;
/// Unevenness of single pixels, in L*, from which a reference has grain ...
const GRAIN_L: f64 = 0.15;
/// ... and the least width of mean that grain asks for, in mm.
const GRAIN_WIDTH_MM: f64 = 0.16;
/// Short side, in mm, up to which widths and pitches are sought as they are: the short side of A3 less margins.
const DRAWN_SIDE_MM: f64 = 280.0;
/// What counts as one tone for the edge-keeping mean, in L*: half a step of five values.
const RANGE_L: f32 = 12.0;
/// Rounds of the edge-keeping mean.
const ROUNDS: usize = 4;
/// Tones closer than this, in L*, are one flat tone.
const FLAT_L: f64 = 3.0;

/// Measures tone and value scale of a reference at its working scale.
///
/// # Errors
/// [`ToneError`] when the settings contradict each other.
pub fn measure(
    input: &Raster<f32>,
    px_per_mm: f64,
    options: &ToneOptions,
) -> Result<Noted<ToneField>, ToneError> {
    check(options)?;
    let mut notes = Vec::new();
    let enlarged = enlarged(input, px_per_mm);
    let (sheet_px_per_mm, px_per_mm) = (px_per_mm, px_per_mm * enlarged);
    let tone_range = match (&options.breaks, options.tone_range) {
        (_, ToneRange::Fixed(range)) => range,
        (BreakRule::Explicit(_), ToneRange::Auto) => [0.0, 100.0],
        (_, ToneRange::Auto) => robust_range(input, &mut notes),
    };
    let mut normal = normalise(input, tone_range);
    let pitches = PitchMap::of(&normal, px_per_mm);
    let (judged, mut evidence) = kind::judge(&normal, px_per_mm, &pitches);
    evidence.set_by_hand = options.kind.is_some();
    let kind = options.kind.unwrap_or(judged);
    if kind == ReferenceKind::TonalWithLines {
        normal = kind::close_disc(&normal, 0.4 * px_per_mm);
    }
    let mean_width_mm = match options.pitch {
        PitchRule::Measured => first_width_mm(&normal, px_per_mm, pitches.median_mm()),
        PitchRule::None => 0.0,
        PitchRule::Fixed(pitch) => WIDTH_OF_PITCH * pitch / enlarged,
    };
    let sigma = (mean_width_mm * px_per_mm) as f32;
    let fine = gaussian(&normal, sigma);
    let (lightness, waver) = if mean_width_mm <= 0.0 {
        (normal.map(lightness_f32), Waver::none())
    } else {
        let (drawn, strokes) =
            if kind.is_ink() { (evidence.drawn(), evidence.strokes() as f32) } else { (0.0, 0.0) };
        let kept = fade::edge_keeping(&normal, &fine, px_per_mm, mean_width_mm, RANGE_L, ROUNDS, strokes);
        // What is left of texture hangs together along lines as well, so it is read where they are not followed.
        rayon::join(
            || along::along_the_tone(&kept, px_per_mm, mean_width_mm, strokes),
            || texture::waver(&kept.lightness, &kept.hard, px_per_mm, drawn),
        )
    };
    let scale = ValueScale::new(match &options.breaks {
        BreakRule::Explicit(breaks) => breaks.clone(),
        BreakRule::Even => even_breaks([0.0, 100.0], options.values),
        BreakRule::Fitted => {
            let bins = histogram(lightness.data());
            if kind.is_ink() {
                fitted_ink_breaks(&bins, usize::from(options.values))
            } else {
                fitted_breaks(&bins, usize::from(options.values))
            }
        }
    });
    let field = ToneField {
        reflectance: normal,
        fine,
        lightness,
        px_per_mm: sheet_px_per_mm,
        mean_width_mm: mean_width_mm * enlarged,
        waver: waver.smaller(1.0 / enlarged),
        pitch_mm: match options.pitch {
            PitchRule::Measured => pitches.median_mm().map(|mm| mm * enlarged),
            PitchRule::None => None,
            PitchRule::Fixed(pitch) => Some(pitch),
        },
        pitch_regions: match options.pitch {
            PitchRule::Measured => pitches
                .regions()
                .into_iter()
                .map(|r| PitchRegion { pitch_mm: r.pitch_mm * enlarged, ..r })
                .collect(),
            PitchRule::None | PitchRule::Fixed(_) => Vec::new(),
        },
        scale,
        kind,
        evidence,
        tone_range,
    };
    Ok(Noted::with(field, notes))
}

/// How many times larger the picture lies on the sheet than drawings are usually made: texture grows with its picture, so
/// whatever is measured in mm here grows with it too.
fn enlarged(input: &Raster<f32>, px_per_mm: f64) -> f64 {
    (input.width().min(input.height()) as f64 / px_per_mm / DRAWN_SIDE_MM).max(1.0)
}

/// Width in mm of the narrowest first mean that leaves little of the texture's unevenness. `pitch_mm` is the texture's.
fn first_width_mm(normal: &Raster<f32>, px_per_mm: f64, pitch_mm: Option<f64>) -> f64 {
    let by_width = texture::unevenness_by_width(normal, px_per_mm);
    let uneven: Vec<f64> = by_width.iter().map(|u| u.quantile(EVEN_SHARE)).collect();
    let least = uneven.iter().copied().fold(f64::INFINITY, f64::min);
    let limit = UNEVEN_LEFT.max(UNEVEN_NEAR_LEAST * least);
    let mut width = uneven.iter().position(|&u| u <= limit).unwrap_or(uneven.len() - 1);
    // Lines far apart change little between two fine means: what is uneven at any width below their pitch is their own.
    if let Some(pitch) = pitch_mm {
        let within = texture::WIDTHS_MM.iter().take_while(|&&w| w <= BELOW_PITCH * pitch).count();
        let own = uneven[..within].iter().rposition(|&u| u > limit);
        width = width.max(own.map_or(0, |i| (i + 1).min(uneven.len() - 1)));
    }
    if by_width[0].quantile(0.5) > GRAIN_L {
        width = width.max(texture::WIDTHS_MM.iter().position(|&w| w >= GRAIN_WIDTH_MM).unwrap_or(0));
    }
    texture::WIDTHS_MM[width]
}

fn check(options: &ToneOptions) -> Result<(), ToneError> {
    if !(2..=9).contains(&options.values) {
        return Err(ToneError::Values(options.values));
    }
    if let BreakRule::Explicit(breaks) = &options.breaks {
        let falls = breaks.windows(2).all(|p| p[0] > p[1]);
        let inside = breaks.iter().all(|b| (0.0..=100.0).contains(b));
        if !falls || !inside || breaks.len() + 1 != usize::from(options.values) {
            return Err(ToneError::Breaks { breaks: breaks.clone(), values: options.values });
        }
    }
    if let ToneRange::Fixed(range) = options.tone_range {
        let inside = range.iter().all(|b| (0.0..=100.0).contains(b));
        if !inside || range[1] - range[0] < 1.0 {
            return Err(ToneError::Range(range));
        }
    }
    if let PitchRule::Fixed(pitch) = options.pitch
        && !(PITCH_RANGE_MM[0]..=PITCH_RANGE_MM[1]).contains(&pitch)
    {
        return Err(ToneError::Pitch(pitch));
    }
    Ok(())
}

/// Half width in L* of the heap of pixels that paper or solid ink makes in the histogram.
const HEAP_L: f64 = 1.5;
/// Share of the picture that makes a heap.
const HEAP_SHARE: f64 = 0.04;
/// How far from the outermost tones a heap is looked for, in L*.
const HEAP_REACH_L: f64 = 12.0;

/// L* of ink and paper: the half percent of the darkest and one percent of the lightest pixels left out.
fn robust_range(input: &Raster<f32>, notes: &mut Vec<String>) -> [f64; 2] {
    let counted = input.data().par_chunks(1 << 16).map(|chunk| {
        let mut bins = vec![0_u64; 4096];
        for &v in chunk {
            bins[((lightness_f32(v) / 100.0 * 4096.0) as usize).min(4095)] += 1;
        }
        bins
    });
    let added = |mut bins: Vec<u64>, more: Vec<u64>| {
        bins.iter_mut().zip(more).for_each(|(n, more)| *n += more);
        bins
    };
    let bins = counted.reduce(|| vec![0; 4096], added);
    let total = input.data().len() as f64;
    let at = |share: f64| {
        let mut sum = 0;
        let bin = bins.iter().position(|&n| {
            sum += n;
            sum as f64 > total * share
        });
        (bin.unwrap_or(4095) as f64 + 0.5) / 4096.0 * 100.0
    };
    let mut range = [at(0.005), at(0.99)];
    if range[1] - range[0] < FLAT_L {
        notes.push(format!(
            "the picture is one flat tone (L* {:.0}): there is nothing to draw a line between",
            at(0.5)
        ));
        return [0.0, 100.0];
    }
    // Paper and solid ink are heaps of pixels of nearly one lightness: their middles, not their outermost grains.
    let heap = |from: f64, to: f64| -> Option<f64> {
        let within = |l: f64| {
            let bin = |l: f64| (l.clamp(0.0, 100.0) / 100.0 * 4096.0) as usize;
            bins[bin(l - HEAP_L)..bin(l + HEAP_L)].iter().sum::<u64>() as f64 / total
        };
        let steps = ((to - from) / 0.25) as usize;
        let top = (0..=steps)
            .map(|k| from + 0.25 * k as f64)
            .max_by(|&a, &b| within(a).total_cmp(&within(b)).then(b.total_cmp(&a)))?;
        let beside = within(top - 4.0 * HEAP_L).max(if to > 50.0 { 0.0 } else { within(top + 4.0 * HEAP_L) });
        (within(top) > HEAP_SHARE && within(top) > 2.0 * beside).then_some(top)
    };
    let reach = HEAP_REACH_L.min(0.25 * (range[1] - range[0]));
    let paper = heap(range[1] - reach, range[1]);
    let ink = heap(range[0], range[0] + reach);
    range = [ink.unwrap_or(range[0]), paper.unwrap_or(range[1])];
    range
}

/// Stretches reflectance so that ink is 0 and paper is 1.
fn normalise(input: &Raster<f32>, range: [f64; 2]) -> Raster<f32> {
    let [ink, paper] = range.map(reflectance);
    let (ink, gain) = (ink as f32, (1.0 / (paper - ink)) as f32);
    input.map(|v| ((v - ink) * gain).clamp(0.0, 1.0))
}

/// L* of the mean reflectance over a set of samples.
pub(crate) fn tone_of(sum_reflectance: f64, samples: f64) -> f64 {
    lightness(sum_reflectance / samples.max(1.0))
}
