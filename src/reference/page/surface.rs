//! A smooth surface through scattered figures on a grid: penalised cubic B-splines.

use nalgebra::{DMatrix, DVector};

/// Figures on a grid of cells, each with a weight; 0 leaves one out.
pub(super) struct Figures<'a> {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) values: &'a [f64],
    pub(super) weights: &'a [f64],
}

/// A rise of the surface from one cell to another, with a weight.
pub(super) struct Step {
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) rise: f64,
    pub(super) weight: f64,
}

/// B-splines along the longer side.
const LONG_SIDE_SPLINES: f64 = 16.0;
/// Fewest along either side: three intervals.
const FEWEST_SPLINES: usize = 6;
/// Weight of the second differences of neighbouring coefficients against one figure: as much as margins need that have
/// to say all of the light, and as little as leaves a shadow its edges where the tones inside say it too.
const STIFFNESS: f64 = 0.3;
const STIFFNESS_BY_STEPS: f64 = 0.1;
/// Keeps the equations solvable where no figure lies near; far below any weight.
const RIDGE: f64 = 1e-9;

/// The surface at every cell: uniform cubic B-splines in both directions, with a penalty on the second differences of
/// their coefficients (P-splines, Eilers & Marx 1996, "Flexible smoothing with B-splines and penalties", Statistical
/// Science 11; in two directions with the mixed difference, so that the penalty is the bending energy of a thin
/// plate). Where there are no figures it goes on as smoothly as it can. `None` when there is no figure at all.
pub(super) fn smooth_surface(figures: &Figures<'_>) -> Option<Vec<f64>> {
    fit(figures, &[], STIFFNESS)
}

/// The same through figures and rises, and less stiff.
pub(super) fn surface_by_steps(figures: &Figures<'_>, steps: &[Step]) -> Option<Vec<f64>> {
    fit(figures, steps, STIFFNESS_BY_STEPS)
}

fn fit(figures: &Figures<'_>, steps: &[Step], stiffness: f64) -> Option<Vec<f64>> {
    let (w, h) = (figures.width, figures.height);
    if figures.weights.iter().all(|&weight| weight <= 0.0) {
        return None;
    }
    let longer = w.max(h) as f64;
    let count =
        |side: usize| ((LONG_SIDE_SPLINES * side as f64 / longer).round() as usize).max(FEWEST_SPLINES);
    let (across, down) = (basis(w, count(w)), basis(h, count(h)));
    let (m, n) = (count(w), count(h));
    // The sixteen splines that reach a cell.
    let reach = |cell: usize| -> [(usize, f64); 16] {
        let ((first_x, shares_x), (first_y, shares_y)) = (across[cell % w], down[cell / w]);
        std::array::from_fn(|k| {
            let (i, j) = (k / 4, k % 4);
            ((first_y + i) * m + first_x + j, shares_y[i] * shares_x[j])
        })
    };
    let mut left = penalty(m, n, stiffness);
    let mut right = DVector::<f64>::zeros(m * n);
    let mut add = |terms: &[(usize, f64)], value: f64, weight: f64| {
        for &(a, share) in terms {
            right[a] += weight * share * value;
            for &(b, other) in terms {
                left[(a, b)] += weight * share * other;
            }
        }
    };
    for (cell, (&value, &weight)) in figures.values.iter().zip(figures.weights).enumerate() {
        if weight > 0.0 {
            add(&reach(cell), value, weight);
        }
    }
    for step in steps.iter().filter(|s| s.weight > 0.0) {
        let mut terms = reach(step.to).to_vec();
        for (spline, share) in reach(step.from) {
            match terms.iter_mut().find(|t| t.0 == spline) {
                Some(term) => term.1 -= share,
                None => terms.push((spline, -share)),
            }
        }
        add(&terms, step.rise, step.weight);
    }
    let solved = left.cholesky()?.solve(&right);
    let at = |cell: usize| reach(cell).iter().map(|&(spline, share)| share * solved[spline]).sum();
    Some((0..w * h).map(at).collect())
}

/// For the middle of each of `cells` cells: the first spline of `splines` that reaches it, and the values of four.
fn basis(cells: usize, splines: usize) -> Vec<(usize, [f64; 4])> {
    let intervals = splines - 3;
    (0..cells)
        .map(|cell| {
            let at = (cell as f64 + 0.5) / cells as f64 * intervals as f64;
            let first = (at as usize).min(intervals - 1);
            let t = at - first as f64;
            let u = 1.0 - t;
            let shares = [
                u * u * u / 6.0,
                (3.0 * t * t * t - 6.0 * t * t + 4.0) / 6.0,
                (3.0 * u * u * u - 6.0 * u * u + 4.0) / 6.0,
                t * t * t / 6.0,
            ];
            (first, shares)
        })
        .collect()
}

/// Stiffness times the sum of squared second differences, the mixed one twice.
fn penalty(m: usize, n: usize, stiffness: f64) -> DMatrix<f64> {
    let mut left = DMatrix::<f64>::identity(m * n, m * n) * RIDGE;
    let mut add = |terms: &[(usize, f64)], times: f64| {
        for &(a, share) in terms {
            for &(b, other) in terms {
                left[(a, b)] += stiffness * times * share * other;
            }
        }
    };
    for j in 0..n {
        for i in 0..m {
            let at = |i: usize, j: usize| j * m + i;
            if i + 2 < m {
                add(&[(at(i, j), 1.0), (at(i + 1, j), -2.0), (at(i + 2, j), 1.0)], 1.0);
            }
            if j + 2 < n {
                add(&[(at(i, j), 1.0), (at(i, j + 1), -2.0), (at(i, j + 2), 1.0)], 1.0);
            }
            if i + 1 < m && j + 1 < n {
                let terms =
                    [(at(i, j), 1.0), (at(i + 1, j), -1.0), (at(i, j + 1), -1.0), (at(i + 1, j + 1), 1.0)];
                add(&terms, 2.0);
            }
        }
    }
    left
}

/// Terms of a polynomial of second degree in x and y.
const TERMS: usize = 6;

/// The polynomial of second degree through weighted figures, at every cell; `None` when they do not determine it.
pub(super) fn quadratic(figures: &Figures<'_>) -> Option<Vec<f64>> {
    let (w, h) = (figures.width, figures.height);
    let terms = |i: usize| {
        let x = (2 * (i % w) + 1) as f64 / w as f64 - 1.0;
        let y = (2 * (i / w) + 1) as f64 / h as f64 - 1.0;
        [1.0, x, y, x * x, x * y, y * y]
    };
    let mut left = DMatrix::<f64>::zeros(TERMS, TERMS);
    let mut right = DVector::<f64>::zeros(TERMS);
    for (i, (&value, &weight)) in figures.values.iter().zip(figures.weights).enumerate() {
        if weight > 0.0 {
            let t = terms(i);
            for a in 0..TERMS {
                right[a] += weight * t[a] * value;
                for b in 0..TERMS {
                    left[(a, b)] += weight * t[a] * t[b];
                }
            }
        }
    }
    let solved = left.cholesky()?.solve(&right);
    let at = |i: usize| terms(i).iter().zip(solved.iter()).map(|(t, c)| t * c).sum();
    Some((0..w * h).map(at).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn plane(w: usize, h: usize, [a, b, c]: [f64; 3]) -> Vec<f64> {
        (0..w * h).map(|i| a + b * (i % w) as f64 + c * (i / w) as f64).collect()
    }

    proptest! {
        /// A plane bends nowhere, so it comes back from a rim alone, whatever lies inside.
        #[test]
        fn a_plane_comes_back_from_its_rim(w in 30_usize..90, h in 30_usize..90, a in -1.0..1.0_f64, b in -0.01..0.01_f64, c in -0.01..0.01_f64) {
            let truth = plane(w, h, [a, b, c]);
            let rim = |i: usize| i % w < 5 || i % w + 5 >= w || i / w < 5 || i / w + 5 >= h;
            let weights: Vec<f64> = (0..w * h).map(|i| f64::from(u8::from(rim(i)))).collect();
            let values: Vec<f64> = truth.iter().enumerate().map(|(i, &v)| if rim(i) { v } else { -9.0 }).collect();
            let figures = Figures { width: w, height: h, values: &values, weights: &weights };
            for got in [smooth_surface(&figures), quadratic(&figures)] {
                let got = got.expect("a rim determines it");
                for (i, (g, t)) in got.iter().zip(&truth).enumerate() {
                    prop_assert!((g - t).abs() < 1e-5, "{} for {} at {}", g, t, i);
                }
            }
        }

        /// A plane comes back from one side of it and the rises inside.
        #[test]
        fn a_plane_comes_back_from_rises(w in 30_usize..90, h in 30_usize..90, a in -1.0..1.0_f64, b in -0.01..0.01_f64, c in -0.01..0.01_f64) {
            let truth = plane(w, h, [a, b, c]);
            let weights: Vec<f64> = (0..w * h).map(|i| f64::from(u8::from(i % w < 5))).collect();
            let values: Vec<f64> = truth.iter().zip(&weights).map(|(&v, &weight)| if weight > 0.0 { v } else { -9.0 }).collect();
            let steps: Vec<Step> = (0..w * h)
                .filter(|i| i % w + 3 < w)
                .map(|from| Step { from, to: from + 3, rise: truth[from + 3] - truth[from], weight: 10.0 })
                .collect();
            let figures = Figures { width: w, height: h, values: &values, weights: &weights };
            let got = surface_by_steps(&figures, &steps).expect("a side and rises determine it");
            for (i, (g, t)) in got.iter().zip(&truth).enumerate() {
                prop_assert!((g - t).abs() < 1e-5, "{} for {} at {}", g, t, i);
            }
        }

        /// A gentle bowl is followed within a hundred and fiftieth of its depth where figures are, whatever its middle.
        #[test]
        fn a_bowl_is_followed(x0 in 0.0..1.0_f64, y0 in 0.0..1.0_f64, depth in 0.1..0.6_f64) {
            let (w, h) = (96, 72);
            let truth: Vec<f64> = (0..w * h)
                .map(|i| {
                    let (x, y) = ((i % w) as f64 / w as f64 - x0, (i / w) as f64 / h as f64 - y0);
                    -depth * (x * x + y * y)
                })
                .collect();
            let figures = Figures { width: w, height: h, values: &truth, weights: &vec![1.0; w * h] };
            let got = smooth_surface(&figures).expect("figures");
            for (g, t) in got.iter().zip(&truth) {
                prop_assert!((g - t).abs() < depth / 150.0, "{} for {}", g, t);
            }
        }
    }

    #[test]
    fn without_figures_there_is_no_surface() {
        let figures = Figures { width: 9, height: 9, values: &[0.5; 81], weights: &[0.0; 81] };
        assert!(smooth_surface(&figures).is_none() && quadratic(&figures).is_none(), "nothing was given");
    }
}
