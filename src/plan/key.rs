//! The key: the value chart with a patch of each value, as a row in the margin and as a page with a strip to cut out.

mod beside;
mod block;
mod page;

use serde::Serialize;

use crate::colour::{lightness, reflectance as reflectance_of};
use crate::raster::Raster;
use crate::sheet::{Furniture, RectMm};
use crate::tone::ValueScale;

use super::hatching::sets;

pub use beside::key_in_margin;
pub use page::{KeyTexts, LEAST_ROOM_MM, key_pages};

/// What a value is made with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Made {
    /// Bare paper.
    Paper,
    /// One set of parallel lines.
    Open,
    /// Two sets that cross.
    Crossed,
    /// Three sets that cross.
    Dense,
    /// Solid ink.
    Solid,
}

impl Made {
    /// In a word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Paper => "paper",
            Self::Open => "open",
            Self::Crossed => "crossed",
            Self::Dense => "dense",
            Self::Solid => "solid",
        }
    }

    /// In a few words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Paper => "bare paper",
            Self::Open => "open hatching, one way",
            Self::Crossed => "crossed hatching, two ways",
            Self::Dense => "dense hatching, three ways",
            Self::Solid => "solid black",
        }
    }
}

/// One value of the key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeyValue {
    /// The value.
    pub value: u8,
    /// Mean lightness L* of the picture where it has this value (mean of reflectance), kept within the value's band; the
    /// middle of the band where the picture has the value nowhere.
    pub lightness: f64,
    /// Share of the paper that its patch covers with ink, 0 to 1.
    pub coverage: f64,
    /// Share of the picture that has it, 0 to 1.
    pub share: f64,
    /// What it is made with.
    pub made: Made,
}

/// The key of a picture: `values` and `reflectance` (linear, paper 1, ink 0) are of the same pixels.
///
/// Value 1 is left bare and the last value is solid black; between them ink covers what the value's mean reflectance
/// leaves (Murray & Davies 1936).
#[must_use]
pub fn key_values(values: &Raster<u8>, reflectance: &Raster<f32>, scale: &ValueScale) -> Vec<KeyValue> {
    let last = scale.values();
    let mut sums = vec![(0_u64, 0.0_f64); usize::from(last) + 1];
    for (&value, &y) in values.data().iter().zip(reflectance.data()) {
        let (count, sum) = &mut sums[usize::from(value.min(last))];
        *count += 1;
        *sum += f64::from(y);
    }
    let all = values.data().len().max(1) as f64;
    let edge = |k: usize| match k {
        0 => 100.0,
        k => scale.breaks().get(k - 1).copied().unwrap_or(0.0),
    };
    (1..=last)
        .map(|value| {
            let (count, sum) = sums[usize::from(value)];
            let [top, bottom] = [usize::from(value) - 1, usize::from(value)].map(edge);
            // A union of areas takes the value that most of it has, so the rest may pull a mean out of its band.
            let mean = if count > 0 { sum / count as f64 } else { reflectance_of((top + bottom) / 2.0) };
            let mean = mean.clamp(reflectance_of(bottom), reflectance_of(top));
            let (coverage, made) = match value {
                1 => (0.0, Made::Paper),
                v if v == last => (1.0, Made::Solid),
                _ => {
                    (1.0 - mean, [Made::Open, Made::Crossed, Made::Dense][usize::from(sets(1.0 - mean)) - 1])
                }
            };
            KeyValue { value, lightness: lightness(mean), coverage, share: count as f64 / all, made }
        })
        .collect()
}

/// Where a patch of the key is printed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeyPatch {
    /// Its value.
    pub value: u8,
    /// Its rectangle on its page in mm.
    pub rect: RectMm,
    /// Whether there is a hole to punch in its middle.
    pub hole: bool,
}

/// A page of the key.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct KeyPage {
    /// Width and height in mm.
    pub size_mm: [f64; 2],
    /// What is printed on it.
    pub furniture: Furniture,
    /// The patches on it.
    pub patches: Vec<KeyPatch>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::Point;

    /// Breaks of 80, 60, 40, 20; the middle value's mean lightness by hand.
    fn key(reflectances: &[(u8, f64)]) -> Vec<KeyValue> {
        let scale = ValueScale::new(vec![80.0, 60.0, 40.0, 20.0]);
        let width = reflectances.len();
        let values = Raster::from_vec(width, 1, reflectances.iter().map(|&(v, _)| v).collect());
        let light = Raster::from_vec(width, 1, reflectances.iter().map(|&(_, y)| y as f32).collect());
        key_values(&values, &light, &scale)
    }

    #[test]
    fn ink_covers_what_the_mean_reflectance_leaves() {
        let key = key(&[(1, 0.9), (3, 0.10), (3, 0.26), (3, 0.18), (5, 0.02), (5, 0.01)]);
        let third = &key[2];
        // CIE 15: Y = 0.18 is L* 49.5; Murray & Davies: the rest, 0.82, is covered.
        assert!((third.lightness - 49.5).abs() < 0.05, "{third:?}");
        assert!((third.coverage - 0.82).abs() < 1e-6 && third.made == Made::Dense, "{third:?}");
        assert!((third.share - 0.5).abs() < 1e-12, "3 of 6 pixels: {third:?}");
        assert!(key[0].made == Made::Paper && key[0].coverage <= 0.0, "1 stays bare: {:?}", key[0]);
        assert!(key[4].made == Made::Solid && key[4].coverage >= 1.0, "the last is solid: {:?}", key[4]);
        // Nowhere in the picture: the middle of its band, L* 70.
        assert!((key[1].lightness - 70.0).abs() < 1e-6 && key[1].share <= 0.0, "{:?}", key[1]);
    }

    #[test]
    fn a_darker_value_never_has_the_lighter_patch() {
        // Means pulled far out of their bands by what was merged into them.
        let key = key(&[(2, 0.05), (3, 0.9), (4, 0.9), (1, 0.1), (5, 0.5)]);
        for pair in key.windows(2) {
            assert!(
                pair[0].coverage <= pair[1].coverage && pair[0].lightness >= pair[1].lightness,
                "{key:?}"
            );
        }
        assert!(key[1].lightness >= 60.0 && key[3].lightness <= 40.0, "each stays in its band: {key:?}");
    }

    #[test]
    fn pages_hold_what_is_on_them() {
        let listed: Vec<String> =
            (0..400).map(|k| format!("B{k}: 3\u{bd} (12 mm right, 24 mm down)")).collect();
        for last in 2..=9_u8 {
            let breaks = (1..last).map(|k| 100.0 - 100.0 * f64::from(k) / f64::from(last)).collect();
            let all = Raster::from_vec(2, 1, vec![1, last]);
            let key = key_values(&all, &all.map(|_| 0.5), &ValueScale::new(breaks));
            for room in [LEAST_ROOM_MM, [190.0, 275.0], [275.0, 190.0]] {
                let edge = 10.0;
                let size = room.map(|side| side + 2.0 * edge);
                let texts = KeyTexts {
                    remark: "a reference with a long name.png".into(),
                    halves: true,
                    thin: true,
                    listed: listed.clone(),
                };
                let pages = key_pages(&key, &texts, size, edge);
                assert_eq!(pages[0].patches.len(), 2 * usize::from(last), "a chart and a strip");
                let inside = |p: Point| {
                    p.x > edge - 0.5
                        && p.x < size[0] - edge + 0.5
                        && p.y > edge - 0.5
                        && p.y < size[1] - edge + 0.5
                };
                let mut said = 0;
                for page in &pages {
                    for text in &page.furniture.texts {
                        assert!(text.bounds().into_iter().all(inside), "{last} values in {room:?}: {text:?}");
                        said += usize::from(text.text.starts_with('B'));
                    }
                    let lines = page.furniture.lines.iter().flat_map(|l| l.paths.iter().flatten());
                    assert!(lines.copied().all(inside), "{last} values in {room:?}: a line is outside");
                }
                assert_eq!(said, listed.len(), "everything is listed once");
            }
        }
    }
}
