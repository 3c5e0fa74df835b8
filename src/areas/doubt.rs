//! What is believed of a difference of tone, where texture has tones of its own.

use super::merge::AreaSums;
use crate::raster::Raster;
use crate::tone::{ToneField, course_of_marks};

/// How many times the energy of its own unevenness a difference needs before it is believed; see DEVELOPERS.md.
const ENERGIES: f64 = 50.0;
/// A step along a whole border in L* from which it is seen whatever a hand does, about the middle tone.
const SEEN_STEP_L: f64 = 10.0;
/// Wrong tone in L*^2 mm from which a border is believed whatever its step, of dots and about the middle tone.
const SEEN_WRONG: f64 = 10.0;
/// The middle tone (L*).
const MIDDLE_L: f64 = 50.0;
/// How far from a border its step is read on either side, in widths of the first mean.
const STEP_WIDTHS: f64 = 1.5;
/// How many times more is doubted of strokes than of dots: they waver together, over longer ways; see DEVELOPERS.md.
const STROKES_DOUBT: f64 = 5.0;

/// What the texture of a tone field makes doubtful.
#[derive(Clone, Copy, Debug, Default)]
pub struct Doubt<'a> {
    tone: Option<&'a ToneField>,
    /// Energy at every tone where no tone field says it.
    even: f64,
}

/// What lies between two areas, in sums over their shared border.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Border {
    /// Length in mm.
    pub(super) mm: f64,
    /// Tone on the own side less that on the other, in L* mm.
    pub(super) step: f64,
}

impl Border {
    pub(super) fn join(&mut self, other: Self) {
        self.mm += other.mm;
        self.step += other.step;
    }

    /// The same border seen from its other side.
    pub(super) fn turned(self) -> Self {
        Self { step: -self.step, ..self }
    }
}

impl<'a> Doubt<'a> {
    /// No texture, no doubt.
    #[must_use]
    pub fn none() -> Self {
        Self::default()
    }

    /// The same energy (L*^2 mm) at every tone, and no hand.
    #[must_use]
    pub fn even(energy: f64) -> Self {
        Self { tone: None, even: energy }
    }

    /// The doubt of a tone field.
    #[must_use]
    pub fn of(tone: &'a ToneField) -> Self {
        Self { tone: Some(tone), even: 0.0 }
    }

    /// Energy in L*^2 mm that the texture's unevenness makes by itself at a tone (L*).
    ///
    /// Where a field of standard deviation s that hangs together over r mm rises above a level, the patch is about r
    /// across and s high, so its energy per mm of border is of the order of s^2 r (Lantuejoul 1991 gives the variance
    /// of means over areas as s^2 times the integral range over the area; patches cut out by a level are picked for
    /// their excess, hence the factor).
    pub(super) fn energy(&self, lightness: f64) -> f64 {
        self.tone.map_or(self.even, |tone| ENERGIES * tone.waver.at(lightness).powi(2) * tone.waver.reach_mm)
    }

    /// How far the marks count as drawn by a hand, 0 to 1 and above it for strokes: a hand wavers over centimetres, so
    /// its areas are larger than those of grain, but hardly beyond the break.
    fn drawn(&self) -> f64 {
        self.tone.filter(|t| t.kind.is_ink()).map_or(0.0, |tone| {
            let drawn = tone.evidence.drawn().powi(2);
            drawn * (1.0 + (STROKES_DOUBT - 1.0) * tone.evidence.strokes())
        })
    }

    /// The tone, and how many pixels from a border its step is read, where that is asked for.
    pub(super) fn steps(&self) -> Option<(&'a Raster<f32>, usize)> {
        let tone = self.tone.filter(|_| self.drawn() > 0.0)?;
        let away = (STEP_WIDTHS * tone.mean_width_mm * tone.px_per_mm).round().max(2.0) as usize;
        Some((&tone.lightness, away))
    }

    /// Whether a border may be a hand's own waver: its removal would give tones a wrong value by `wrong` L*^2 mm, and
    /// `between` (L*) is the tone in the middle between its sides.
    ///
    /// Marks are the more uneven in L* the darker they are, so what has to be seen grows with their course over tones;
    /// with which powers of it was measured on borders of known truth, see DEVELOPERS.md.
    pub(super) fn waves(&self, border: Border, wrong: f64, between: f64) -> bool {
        let uneven = course_of_marks(between) / course_of_marks(MIDDLE_L);
        wrong < SEEN_WRONG * self.drawn() * uneven.powi(3)
            && border.step.abs() < SEEN_STEP_L * uneven.powi(2) * border.mm
    }

    /// Sums up what each area's tones would be off by, if it had another value.
    pub(super) fn sum_misfits(&self, ids: &Raster<u32>, sums: &mut [AreaSums]) {
        let (Some(tone), Some((lightness, _))) = (self.tone, self.steps()) else { return };
        let breaks = tone.scale.breaks();
        for (&id, &l) in ids.data().iter().zip(lightness.data()) {
            let l = f64::from(l);
            for (v, misfit) in sums[id as usize].misfit.iter_mut().enumerate().take(breaks.len() + 1) {
                let above = if v == 0 { 0.0 } else { l - breaks[v - 1] };
                let below = breaks.get(v).map_or(0.0, |b| b - l);
                *misfit += above.max(below).max(0.0).powi(2);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::areas::{AreaMap, AreaOptions, find};
    use crate::tone::{BreakRule, PitchRule, ReferenceKind, ToneOptions, ToneRange, measure};

    const PX_PER_MM: f64 = 6.0;

    /// Hatching 1.2 mm apart at 30 degrees whose ink covers what `cover` says at a place in mm, on 50 x 50 mm.
    fn hatched(cover: impl Fn(f64, f64) -> f64, kind: ReferenceKind) -> (ToneField, AreaMap) {
        let side = (50.0 * PX_PER_MM) as usize;
        let mut light = Raster::new(side, side, 0.0_f32);
        for y in 0..side {
            for x in 0..side {
                // Four by four samples to a pixel.
                let white = (0..16)
                    .filter(|k| {
                        let sub = |n: usize, k: usize| (n as f64 + (k as f64 + 0.5) / 4.0) / PX_PER_MM;
                        let (u, v) = (sub(x, k % 4), sub(y, k / 4));
                        let across = (0.5 * u + 0.866 * v) / 1.2;
                        (across - across.round()).abs() > 0.5 * cover(u, v)
                    })
                    .count();
                light.data_mut()[y * side + x] = white as f32 / 16.0;
            }
        }
        let options = ToneOptions {
            values: 2,
            // Half of the light: what ink over half of the paper gives.
            breaks: BreakRule::Explicit(vec![76.07]),
            tone_range: ToneRange::Fixed([0.0, 100.0]),
            kind: Some(kind),
            pitch: PitchRule::Measured,
        };
        let mut tone = measure(&light, PX_PER_MM, &options).unwrap_or_else(|e| panic!("{e}")).value;
        // Values of strokes are settled before they are doubted; here the doubt is asked by itself, so they pass for dots.
        (tone.evidence.ink_share, tone.evidence.directed_share) = (0.6, 0.0);
        let areas = find(&tone, &AreaOptions { narrowest_mm: 0.6, least_area_mm2: 2.0 });
        (tone, areas)
    }

    fn count(areas: &AreaMap) -> usize {
        let mut left = areas.tree.cut(0.0);
        left.sort_unstable();
        left.dedup();
        left.len()
    }

    /// A slow wave of a hand's pressure, within 0.02 of the ink's share: about 2.4 L* from top to bottom here.
    fn waver(x: f64, y: f64) -> f64 {
        0.02 * ((x / 1.9).sin() * (y / 2.3).cos() + 0.6 * ((x + y) / 1.3).sin()) / 1.6
    }

    /// A hand that wavers about a break makes many areas on either side, and none is believed.
    #[test]
    fn a_hands_waver_is_no_border() {
        let (tone, areas) = hatched(|x, y| 0.5 + waver(x, y), ReferenceKind::Hatched);
        assert!(areas.tree.leaves() > 10, "{} areas cross the break", areas.tree.leaves());
        assert!(Doubt::of(&tone).steps().is_some(), "ink by a hand: {}", tone.evidence.ink_share);
        assert_eq!(count(&areas), 1);
    }

    /// The same waver on both sides of a true step leaves that one border.
    #[test]
    fn a_step_among_waver_is_a_border() {
        let step = |x: f64, y: f64| (if x < 25.0 { 0.42 } else { 0.58 }) + waver(x, y);
        let (_, areas) = hatched(step, ReferenceKind::Hatched);
        assert_eq!(count(&areas), 2);
    }

    /// Dots of ink are doubted as a hand's marks, strokes more, printing screens not at all.
    #[test]
    fn strokes_are_doubted_more_than_dots() {
        let (mut tone, _) = hatched(|x, _| 0.3 + 0.008 * x, ReferenceKind::Hatched);
        let mut drawn = |ink: f64, directed: f64| {
            (tone.evidence.ink_share, tone.evidence.directed_share) = (ink, directed);
            Doubt::of(&tone).drawn()
        };
        for (ink, times) in [(0.2, 0.0), (0.35, 0.25), (0.5, 1.0), (0.71, 1.0), (0.8, 5.0)] {
            let found = drawn(ink, 0.0);
            assert!(
                (found - times).abs() < 1e-9,
                "{found} times for marks in all directions with an ink share of {ink}"
            );
        }
        // Strokes that a photograph or a coarse scan has blurred count as much as those on a clean one.
        for (directed, times) in [(0.1, 1.0), (0.35, 1.0), (0.575, 3.0), (0.8, 5.0), (1.0, 5.0)] {
            let found = drawn(0.5, directed);
            assert!((found - times).abs() < 1e-9, "{found} times with {directed} of few directions");
        }
        assert!((drawn(0.15, 0.9) - 5.0).abs() < 1e-9, "strokes whatever their ink share");
    }

    /// What has to be seen grows towards the dark: the course by hand (CIE 15) is 0.463 at L* 50, 0.684 at 20, 0.307 at 76.
    #[test]
    fn darker_steps_have_to_be_larger() {
        let (mut tone, _) = hatched(|x, _| 0.3 + 0.008 * x, ReferenceKind::Hatched);
        (tone.evidence.ink_share, tone.evidence.directed_share) = (0.5, 0.0);
        let doubt = Doubt::of(&tone);
        let least = |between: f64, wrong: f64| {
            (0..400).map(|k| 0.1 * f64::from(k)).find(|step| {
                let border = Border { mm: 3.0, step: -3.0 * step };
                !doubt.waves(border, wrong, between)
            })
        };
        for (between, course) in [(50.0, 0.463), (20.0, 0.684), (76.0, 0.307)] {
            let uneven: f64 = course / 0.463;
            let found = least(between, 1.0).unwrap_or_else(|| panic!("nothing is seen at {between}"));
            assert!((found - 10.0 * uneven.powi(2)).abs() < 0.2, "{found} L* at {between}");
            assert_eq!(
                least(between, 10.2 * uneven.powi(3)),
                Some(0.0),
                "much wrong tone is believed at {between}"
            );
            assert_ne!(
                least(between, 9.8 * uneven.powi(3)),
                Some(0.0),
                "little wrong tone is not at {between}"
            );
        }
    }

    /// Misfits are squared distances from a value's band: 76.07 divides the two here.
    #[test]
    fn misfits_are_distances_from_bands() {
        let (tone, areas) = hatched(|x, _| 0.3 + 0.008 * x, ReferenceKind::Hatched);
        let (mut lighter, mut darker) = (0.0, 0.0);
        for &l in tone.lightness.data() {
            let over = f64::from(l) - 76.07;
            lighter += over.min(0.0).powi(2);
            darker += over.max(0.0).powi(2);
        }
        let sum = |v: usize| (0..areas.tree.leaves()).map(|n| areas.tree.sums(n).misfit[v]).sum::<f64>();
        assert!((sum(0) / lighter - 1.0).abs() < 1e-6, "as value 1: {} for {lighter}", sum(0));
        assert!((sum(1) / darker - 1.0).abs() < 1e-6, "as value 2: {} for {darker}", sum(1));
    }

    /// Continuous tone keeps to the energy alone: grain is small, and its waver is measured whole.
    #[test]
    fn tones_without_marks_have_no_hand() {
        let (tone, areas) = hatched(|x, _| 0.3 + 0.008 * x, ReferenceKind::Tonal);
        assert!(Doubt::of(&tone).steps().is_none());
        assert!(areas.tree.sums(0).misfit.iter().all(|&m| m == 0.0));
    }
}
