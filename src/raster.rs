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

/// Largest or smallest sample within a square of 2 x radius + 1 pixels round each pixel.
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
    let mut across = input.clone();
    across.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        let row = input.row(y);
        for d in 1..=radius.min(w - 1) {
            for (o, &v) in out[..w - d].iter_mut().zip(&row[d..]) {
                *o = pick(*o, v);
            }
            for (o, &v) in out[d..].iter_mut().zip(&row[..w - d]) {
                *o = pick(*o, v);
            }
        }
    });
    let mut down = across.clone();
    down.data_mut().par_chunks_mut(w).enumerate().for_each(|(y, out)| {
        for yy in y.saturating_sub(radius)..(y + radius + 1).min(h) {
            for (o, &v) in out.iter_mut().zip(across.row(yy)) {
                *o = pick(*o, v);
            }
        }
    });
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
