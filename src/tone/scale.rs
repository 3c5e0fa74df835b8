//! The value scale: the breaks of lightness between values, 1 lightest to n darkest.

use crate::colour::lightness;

/// Bins of the lightness histogram over which breaks are fitted: a tenth of L*, finer than any eye.
pub const HISTOGRAM_BINS: usize = 1024;
/// Reflectance above which an ink reference is bare paper (under 6 % ink).
pub(super) const PAPER_REFLECTANCE: f64 = 0.94;
/// Reflectance below which an ink reference is solid black (over 93 % ink).
pub(super) const SOLID_REFLECTANCE: f64 = 0.07;

/// Breaks of L*, lightest first; value v lies between break v-1 (above) and break v (below).
#[derive(Clone, Debug, PartialEq)]
pub struct ValueScale {
    breaks: Vec<f64>,
}

impl ValueScale {
    /// A scale from breaks in L*, which are put in falling order.
    #[must_use]
    pub fn new(mut breaks: Vec<f64>) -> Self {
        breaks.sort_by(|a, b| b.total_cmp(a));
        Self { breaks }
    }

    /// Breaks of L*, lightest first.
    #[must_use]
    pub fn breaks(&self) -> &[f64] {
        &self.breaks
    }

    /// How many values the scale has.
    #[must_use]
    pub fn values(&self) -> u8 {
        self.breaks.len() as u8 + 1
    }

    /// The value of a lightness: 1 above the first break, n below the last. A lightness on a break is lighter.
    #[must_use]
    #[inline]
    pub fn value(&self, lightness: f32) -> u8 {
        1 + self.breaks.iter().filter(|&&b| lightness < b as f32).count() as u8
    }

    /// The place of a lightness on the scale, in values: 0 at L* 100, k at the k-th break, n at L* 0; even between them.
    #[must_use]
    pub fn place(&self, lightness: f64) -> f64 {
        let ends = |k: usize| match k {
            0 => 100.0,
            k => self.breaks.get(k - 1).copied().unwrap_or(0.0),
        };
        let k = self.breaks.iter().filter(|&&b| lightness < b).count();
        let (upper, lower) = (ends(k), ends(k + 1));
        let share = (upper - lightness) / (upper - lower).max(1e-9);
        k as f64 + share.clamp(0.0, 1.0)
    }

    /// The break between two neighbouring values, or the middle of those between values further apart, in L*.
    #[must_use]
    pub fn break_between(&self, a: u8, b: u8) -> f64 {
        let (lo, hi) = (usize::from(a.min(b)), usize::from(a.max(b)));
        let between = &self.breaks[lo - 1..hi - 1];
        0.5 * (between[0] + between[between.len() - 1])
    }
}

/// Equal steps of L* between the ends of the tone range (L*, darkest and lightest).
#[must_use]
pub fn even_breaks(range: [f64; 2], values: u8) -> Vec<f64> {
    let n = f64::from(values);
    (1..values).map(|k| range[1] - (range[1] - range[0]) * f64::from(k) / n).collect()
}

/// Breaks that divide a histogram into `values` classes with the least sum of squares within the classes.
///
/// `histogram` holds weights of equal bins over L* 0 to 100. Exact one-dimensional least squares by dynamic
/// programming (Fisher 1958, "On grouping for maximum homogeneity"). Breaks fall on the edges of bins, in the
/// middle of the empty run where there is one. Classes without weight are given equal steps of what is left.
/// Returns `values - 1` breaks in L*, lightest first.
#[must_use]
pub fn fitted_breaks(histogram: &[f64], values: usize) -> Vec<f64> {
    let width = 100.0 / histogram.len() as f64;
    let filled: Vec<usize> = (0..histogram.len()).filter(|&i| histogram[i] > 0.0).collect();
    if filled.len() < values {
        return too_few_tones(&filled, width, values);
    }
    let n = filled.len();
    // Prefix sums of weight, weight x tone, weight x tone^2.
    let mut sums = vec![[0.0_f64; 3]; n + 1];
    for (k, &i) in filled.iter().enumerate() {
        let (w, x) = (histogram[i], (i as f64 + 0.5) * width);
        sums[k + 1] = [sums[k][0] + w, sums[k][1] + w * x, sums[k][2] + w * x * x];
    }
    let within = |a: usize, b: usize| {
        let [w, s, q] = [0, 1, 2].map(|j| sums[b][j] - sums[a][j]);
        (q - s * s / w).max(0.0)
    };
    let mut cost: Vec<f64> = (0..=n).map(|b| if b == 0 { f64::INFINITY } else { within(0, b) }).collect();
    let mut cut = Vec::new();
    for k in 2..=values {
        let mut next = vec![f64::INFINITY; n + 1];
        let mut from = vec![0_usize; n + 1];
        for b in k..=n {
            for (a, before) in cost.iter().enumerate().take(b).skip(k - 1) {
                let c = before + within(a, b);
                if c < next[b] {
                    (next[b], from[b]) = (c, a);
                }
            }
        }
        cost = next;
        cut.push(from);
    }
    let mut breaks = Vec::with_capacity(values - 1);
    let mut b = n;
    for from in cut.iter().rev() {
        b = from[b];
        breaks.push(0.5 * (filled[b - 1] + 1 + filled[b]) as f64 * width);
    }
    breaks
}

/// Fewer tones than values: a break between each two, the rest below the darkest tone.
fn too_few_tones(filled: &[usize], width: f64, values: usize) -> Vec<f64> {
    let mut breaks: Vec<f64> =
        filled.windows(2).map(|p| 0.5 * (p[0] + 1 + p[1]) as f64 * width).rev().collect();
    let lowest = filled.first().map_or(100.0, |&i| i as f64 * width);
    let missing = values - 1 - breaks.len();
    breaks.extend((1..=missing).map(|k| lowest * (1.0 - k as f64 / (missing + 1) as f64)));
    breaks
}

/// Fitted breaks of an ink reference: bare paper and solid black stand apart, only the rest is fitted.
#[must_use]
pub fn fitted_ink_breaks(histogram: &[f64], values: usize) -> Vec<f64> {
    let (paper, solid) = (lightness(PAPER_REFLECTANCE), lightness(SOLID_REFLECTANCE));
    if values == 2 {
        return fitted_breaks(histogram, 2);
    }
    if values == 3 {
        return vec![paper, solid];
    }
    let width = 100.0 / histogram.len() as f64;
    let between: Vec<f64> = histogram
        .iter()
        .enumerate()
        .map(|(i, &w)| if (solid..paper).contains(&((i as f64 + 0.5) * width)) { w } else { 0.0 })
        .collect();
    let mut inner = fitted_breaks(&between, values - 2);
    // Too few tones between paper and black: equal steps there.
    if inner.iter().any(|&b| b <= solid || b >= paper) {
        inner = even_breaks([solid, paper], values as u8 - 2);
    }
    let mut breaks = vec![paper];
    breaks.extend(inner);
    breaks.push(solid);
    breaks
}

/// Histogram of lightness over [`HISTOGRAM_BINS`] equal bins of L* 0 to 100.
#[must_use]
pub fn histogram(lightness: &[f32]) -> Vec<f64> {
    let mut bins = vec![0_u64; HISTOGRAM_BINS];
    for &l in lightness {
        let i = (l / 100.0 * HISTOGRAM_BINS as f32) as usize;
        bins[i.min(HISTOGRAM_BINS - 1)] += 1;
    }
    bins.into_iter().map(|n| n as f64).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_fall_with_lightness() {
        let scale = ValueScale::new(vec![20.0, 80.0, 60.0, 40.0]);
        let got: Vec<u8> = [100.0, 80.0, 79.9, 60.0, 41.0, 39.0, 19.0, 0.0].map(|l| scale.value(l)).to_vec();
        assert_eq!(got, [1, 1, 2, 2, 3, 4, 5, 5], "a lightness on a break belongs to the lighter value");
        assert!((scale.break_between(2, 3) - 60.0).abs() < 1e-9, "neighbours have one break between them");
        assert!((scale.break_between(1, 4) - 60.0).abs() < 1e-9, "the middle of 80, 60 and 40");
    }

    /// Two spikes have one best break: half way.
    #[test]
    fn spikes_are_told_apart() {
        let mut bins = vec![0.0; 1000];
        (bins[200], bins[400], bins[900]) = (5.0, 1.0, 9.0);
        let got = fitted_breaks(&bins, 3);
        assert!((got[0] - 65.05).abs() < 1e-9 && (got[1] - 30.05).abs() < 1e-9, "{got:?}");
        assert_eq!(fitted_breaks(&bins, 5).len(), 4, "always one break fewer than values");
    }
}
