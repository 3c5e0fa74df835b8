//! A row-major grid of numbers, the form in which tones travel between stages.

use rayon::prelude::*;

/// A grid of `width` x `height` samples, row by row from the top left.
///
/// Sample (x, y) stands for the square [x, x+1) x [y, y+1) in pixels.
#[derive(Clone, Debug, PartialEq)]
pub struct Raster<T> {
    width: usize,
    height: usize,
    data: Vec<T>,
}

impl<T: Copy + Send + Sync> Raster<T> {
    /// A grid filled with one value.
    #[must_use]
    pub fn new(width: usize, height: usize, fill: T) -> Self {
        Self { width, height, data: vec![fill; width * height] }
    }

    /// A grid over existing samples.
    ///
    /// # Panics
    /// When `data` does not hold exactly `width * height` samples.
    #[must_use]
    pub fn from_vec(width: usize, height: usize, data: Vec<T>) -> Self {
        assert_eq!(data.len(), width * height, "a raster needs width x height samples");
        Self { width, height, data }
    }

    /// Samples across.
    #[must_use]
    pub fn width(&self) -> usize {
        self.width
    }

    /// Samples down.
    #[must_use]
    pub fn height(&self) -> usize {
        self.height
    }

    /// All samples, row by row.
    #[must_use]
    pub fn data(&self) -> &[T] {
        &self.data
    }

    /// All samples, row by row, to be changed.
    pub fn data_mut(&mut self) -> &mut [T] {
        &mut self.data
    }

    /// The samples themselves.
    #[must_use]
    pub fn into_vec(self) -> Vec<T> {
        self.data
    }

    /// One row.
    #[must_use]
    pub fn row(&self, y: usize) -> &[T] {
        &self.data[y * self.width..(y + 1) * self.width]
    }

    /// The sample at column `x`, row `y`.
    #[must_use]
    #[inline]
    pub fn at(&self, x: usize, y: usize) -> T {
        self.data[y * self.width + x]
    }

    /// Writes the sample at column `x`, row `y`.
    #[inline]
    pub fn set(&mut self, x: usize, y: usize, value: T) {
        self.data[y * self.width + x] = value;
    }

    /// A grid of the same size, each sample made from one sample of this; rows run in parallel.
    #[must_use]
    pub fn map<U: Copy + Send + Sync>(&self, f: impl Fn(T) -> U + Sync + Send) -> Raster<U> {
        let Some(&first) = self.data.first() else {
            return Raster { width: self.width, height: self.height, data: Vec::new() };
        };
        // Over slices, so that simple functions run in vector registers.
        let mut data = vec![f(first); self.data.len()];
        data.par_chunks_mut(1 << 14).zip(self.data.par_chunks(1 << 14)).for_each(|(out, from)| {
            for (o, &v) in out.iter_mut().zip(from) {
                *o = f(v);
            }
        });
        Raster { width: self.width, height: self.height, data }
    }
}

/// Largest or smallest sample within a square of 2 x radius + 1 pixels round each pixel; `pick` is either of two, the larger or the smaller.
#[must_use]
pub fn extreme_square<T: Copy + Send + Sync>(
    input: &Raster<T>,
    radius: usize,
    pick: impl Fn(T, T) -> T + Sync,
) -> Raster<T> {
    let (w, h) = (input.width(), input.height());
    if w == 0 || h == 0 {
        return input.clone();
    }
    // Runs twice as long from each place come of two runs; two that overlap make the last length. Beyond the border its own
    // sample goes on, which is in each of the squares that reach there.
    let (wide, high) = (2 * radius.min(w - 1) + 1, 2 * radius.min(h - 1) + 1);
    let mut across = input.clone();
    across.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        let row = input.row(y);
        let mut runs: Vec<T> =
            (0..w + wide - 1).map(|i| row[i.saturating_sub(wide / 2).min(w - 1)]).collect();
        let mut length = 1;
        while 2 * length <= wide {
            for i in 0..runs.len() - length {
                runs[i] = pick(runs[i], runs[i + length]);
            }
            length *= 2;
        }
        for ((o, &a), &b) in out.iter_mut().zip(&runs).zip(&runs[wide - length..]) {
            *o = pick(a, b);
        }
    });
    let picked = |out: &mut [T], a: &[T], b: &[T]| {
        out.iter_mut().zip(a).zip(b).for_each(|((o, &a), &b)| *o = pick(a, b));
    };
    let mut runs: Vec<T> =
        (0..h + high - 1).flat_map(|i| across.row(i.saturating_sub(high / 2).min(h - 1))).copied().collect();
    let mut length = 1;
    while 2 * length <= high {
        let mut longer = runs.clone();
        let (from, later) = (&runs[..runs.len() - length * w], &runs[length * w..]);
        longer
            .par_chunks_mut(w)
            .zip(from.par_chunks(w).zip(later.par_chunks(w)))
            .for_each(|(out, (a, b))| picked(out, a, b));
        runs = longer;
        length *= 2;
    }
    let later = &runs[(high - length) * w..];
    let mut down = across;
    down.data_mut()
        .par_chunks_mut(w)
        .zip(runs.par_chunks(w).zip(later.par_chunks(w)))
        .for_each(|(out, (a, b))| picked(out, a, b));
    down
}

/// Length of the gradient by central differences, per pixel.
#[must_use]
pub fn gradient(field: &Raster<f32>) -> Raster<f32> {
    let (w, h) = (field.width(), field.height());
    let mut out = Raster::new(w, h, 0.0_f32);
    out.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        let (up, row, down) = (field.row(y.saturating_sub(1)), field.row(y), field.row((y + 1).min(h - 1)));
        for (x, o) in out.iter_mut().enumerate() {
            let dx = row[(x + 1).min(w - 1)] - row[x.saturating_sub(1)];
            let dy = down[x] - up[x];
            *o = 0.5 * dx.hypot(dy);
        }
    });
    out
}

/// Weights of the differences in the middle row and in those beside it: with these the direction of a slope is truest (Scharr 2000,
/// "Optimal operators in digital image processing").
const MIDDLE_ROW: f32 = 10.0 / 32.0;
const ROWS_BESIDE: f32 = 3.0 / 32.0;

/// The slope of a field at a pixel, across and down, per pixel; level beyond the border.
#[must_use]
pub fn slope_at(field: &Raster<f32>, x: usize, y: usize) -> [f32; 2] {
    let near = |i: usize, n: usize| [i.saturating_sub(1), i, (i + 1).min(n - 1)];
    let (x, y) = (near(x, field.width()), near(y, field.height()));
    let at = |i: usize, j: usize| field.at(x[i], y[j]);
    let weighed = |difference: &dyn Fn(usize) -> f32| {
        MIDDLE_ROW * difference(1) + ROWS_BESIDE * (difference(0) + difference(2))
    };
    [weighed(&|j| at(2, j) - at(0, j)), weighed(&|i| at(i, 2) - at(i, 0))]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A plane's slope is its own, inside; at the border half of it is seen.
    #[test]
    fn a_planes_slope_is_its_own() {
        let data = (0..30).map(|i| 2.0 * (i % 6) as f32 - 0.5 * (i / 6) as f32).collect();
        let plane = Raster::from_vec(6, 5, data);
        assert_eq!(
            [slope_at(&plane, 3, 2), slope_at(&plane, 0, 2), slope_at(&plane, 3, 4)],
            [[2.0, -0.5], [1.0, -0.5], [2.0, -0.25]]
        );
    }

    proptest! {
        /// The largest and the smallest sample of each square by definition, also of squares wider than the grid.
        #[test]
        fn extremes_of_squares_are_those_of_their_samples(
            w in 1_usize..14, h in 1_usize..14, radius in 0_usize..9,
            cells in proptest::collection::vec(0_u8..50, 196),
        ) {
            let grid = Raster::from_vec(w, h, cells[..w * h].to_vec());
            let (most, least) = (extreme_square(&grid, radius, u8::max), extreme_square(&grid, radius, u8::min));
            for (x, y) in (0..h).flat_map(|y| (0..w).map(move |x| (x, y))) {
                let near = |i: usize, n: usize| i.saturating_sub(radius)..(i + radius + 1).min(n);
                let square: Vec<u8> =
                    near(y, h).flat_map(|y| grid.row(y)[near(x, w)].iter().copied()).collect();
                prop_assert_eq!(Some(most.at(x, y)), square.iter().copied().max());
                prop_assert_eq!(Some(least.at(x, y)), square.iter().copied().min());
            }
        }
    }
}
