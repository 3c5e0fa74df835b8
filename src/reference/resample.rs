//! Resampling of linear luminance: exact area averages when shrinking, a smooth cubic when enlarging.

use rayon::prelude::*;

use crate::raster::Raster;

/// Where one output sample comes from along one axis.
#[derive(Clone, Debug)]
enum Source {
    /// Samples from `first` on, each with the share it has in the average; the shares add up to 1.
    Average { first: usize, shares: Vec<f64> },
    /// Four neighbours and their cubic weights.
    Between { taps: [usize; 4], weights: [f64; 4] },
}

/// Resamples linear luminance to `width` x `height` samples (each at least 1; 0 is taken as 1).
///
/// Along an axis that shrinks, each sample is the exact mean of what it covers, parts of samples
/// included: the right prefilter for reflectance, because it is what an eye too far away to see the
/// strokes averages. Along an axis that grows, it is the Catmull-Rom cubic (Catmull & Rom 1974), held
/// within its four neighbours so that no halo arises beside blacks. Sample centres stay where they are:
/// output centre i + 0.5 lies at (i + 0.5) x old / new in the input. Outside, the edge sample goes on.
///
/// Sums are made in 64 bits in a fixed order, so the result does not depend on the number of threads.
#[must_use]
pub fn resample(luminance: &Raster<f32>, width: usize, height: usize) -> Raster<f32> {
    let (width, height) = (width.max(1), height.max(1));
    let (old_width, old_height) = (luminance.width(), luminance.height());
    if (old_width, old_height) == (width, height) {
        return luminance.clone();
    }
    if old_width == 0 || old_height == 0 {
        return Raster::new(width, height, 0.0);
    }
    let across = sources(old_width, width);
    let down = sources(old_height, height);
    let mut out = Raster::new(width, height, 0.0_f32);
    out.data_mut().par_chunks_mut(width).zip(&down).for_each_init(
        || vec![0.0_f64; old_width],
        |column, (row, source)| {
            mix_rows(luminance, source, column);
            for (sample, source) in row.iter_mut().zip(&across) {
                *sample = pick(column, source) as f32;
            }
        },
    );
    out
}

/// The sources of every output sample along one axis.
fn sources(old: usize, new: usize) -> Vec<Source> {
    if new > old {
        (0..new).map(|i| between(i, old, new)).collect()
    } else {
        (0..new).map(|i| average(i, old, new)).collect()
    }
}

/// The samples that output `i` covers: from i x old / new to (i + 1) x old / new.
///
/// Bounds are kept as whole numbers of 1/new of a sample, so that shares are exact.
fn average(i: usize, old: usize, new: usize) -> Source {
    let (start, end) = (i * old, (i + 1) * old);
    let (first, last) = (start / new, (end - 1) / new);
    let shares = (first..=last)
        .map(|s| {
            let covered = end.min((s + 1) * new) - start.max(s * new);
            covered as f64 / old as f64
        })
        .collect();
    Source::Average { first, shares }
}

/// The four neighbours of output centre `i` and their weights.
fn between(i: usize, old: usize, new: usize) -> Source {
    let centre = (i as f64 + 0.5) * old as f64 / new as f64 - 0.5;
    let left = centre.floor();
    let t = centre - left;
    let clamp = |offset: f64| (left + offset).clamp(0.0, (old - 1) as f64) as usize;
    let (t2, t3) = (t * t, t * t * t);
    let weights = [
        -0.5 * t + t2 - 0.5 * t3,
        1.0 - 2.5 * t2 + 1.5 * t3,
        0.5 * t + 2.0 * t2 - 1.5 * t3,
        -0.5 * t2 + 0.5 * t3,
    ];
    Source::Between { taps: [clamp(-1.0), clamp(0.0), clamp(1.0), clamp(2.0)], weights }
}

/// One output row at the input's width.
fn mix_rows(input: &Raster<f32>, source: &Source, out: &mut [f64]) {
    match source {
        Source::Average { first, shares } => {
            out.fill(0.0);
            for (offset, share) in shares.iter().enumerate() {
                for (o, &v) in out.iter_mut().zip(input.row(first + offset)) {
                    *o += share * f64::from(v);
                }
            }
        }
        Source::Between { taps, weights } => {
            let [a, b, c, d] = taps.map(|t| input.row(t));
            for (x, o) in out.iter_mut().enumerate() {
                *o = cubic([a[x], b[x], c[x], d[x]].map(f64::from), weights);
            }
        }
    }
}

/// One output sample out of a row.
#[inline]
fn pick(row: &[f64], source: &Source) -> f64 {
    match source {
        Source::Average { first, shares } => row[*first..].iter().zip(shares).map(|(v, s)| v * s).sum(),
        Source::Between { taps, weights } => cubic(taps.map(|t| row[t]), weights),
    }
}

/// The weighted sum, held within the four values.
#[inline]
fn cubic(values: [f64; 4], weights: &[f64; 4]) -> f64 {
    let sum: f64 = values.iter().zip(weights).map(|(v, w)| v * w).sum();
    let (low, high) =
        values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    sum.max(low).min(high)
}
