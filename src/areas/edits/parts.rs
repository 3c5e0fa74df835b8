//! The areas of one drawing as edits change them: cut along lines, given values, merged.

use kurbo::Point;

use crate::areas::AreaMap;
use crate::raster::Raster;

/// A value and the number of the edit that gives it.
pub(super) type Given = (u8, usize);

/// Two edits that give one area two values, in their order.
pub(super) struct Clash {
    pub(super) earlier: Given,
    pub(super) later: Given,
}

/// How far lines are moved before they are laid over the pixels, in pixels: no line that people write then runs exactly
/// through a pixel's middle, where it would have no side.
const OFF_GRID_PX: [f64; 2] = [0.000_137, 0.000_259];

/// The areas, numbered from 0.
pub(super) struct Parts {
    of: Raster<u32>,
    value: Vec<u8>,
    given: Vec<Option<Given>>,
    /// Sets of parts that are merged: the part that stands for each.
    above: Vec<usize>,
    touched: Vec<bool>,
}

impl Parts {
    /// Those of the drawing at a height.
    pub(super) fn of(areas: &AreaMap, height: f64) -> Self {
        let cut = areas.tree.cut(height);
        let most = cut.iter().copied().max().map_or(0, |n| n + 1);
        let mut number = vec![u32::MAX; most];
        let mut value = Vec::new();
        for &node in &cut {
            if number[node] == u32::MAX {
                number[node] = value.len() as u32;
                value.push(areas.tree.value(node));
            }
        }
        let of = areas.ids.map(|leaf| number[cut[leaf as usize]]);
        let count = value.len();
        Self { of, value, given: vec![None; count], above: (0..count).collect(), touched: vec![false; count] }
    }

    /// Cuts the part at a pixel along a line (in pixels), gives what the pixel is in a value, and notes where the line
    /// parts pixels; false when the line does not cut that part in two.
    pub(super) fn split(&mut self, at: usize, line: &[Point], given: Given, cracks: &mut Raster<u8>) -> bool {
        let part = self.of.data()[at];
        let crossed = crossed(line, self.of.width(), self.of.height());
        let inside = reached(&self.of, at, &crossed);
        let cut_off = |i: usize| self.of.data()[i] == part && !inside[i];
        if !(0..inside.len()).any(cut_off) {
            return false;
        }
        let w = self.of.width();
        for i in 0..inside.len() {
            for (bit, j) in [(1, i + 1), (2, i + w)] {
                let beside = j < inside.len() && (bit == 2 || j % w != 0);
                if beside && (inside[i] && cut_off(j) || inside[j] && cut_off(i)) {
                    cracks.data_mut()[i] |= bit;
                }
            }
        }
        let own = self.value.len() as u32;
        self.value.push(given.0);
        self.given.push(Some(given));
        self.above.push(own as usize);
        self.touched.push(true);
        // What is left keeps its value too: of the finer areas that it is made of, a piece could have another by itself.
        self.touched[part as usize] = true;
        for (id, _) in self.of.data_mut().iter_mut().zip(&inside).filter(|(_, inside)| **inside) {
            *id = own;
        }
        true
    }

    /// Makes each connected piece a part of its own: a line may leave several pieces of what it cuts.
    pub(super) fn separate(&mut self) {
        let (of, old) = pieces(&self.of);
        let from = |k: &u32| *k as usize;
        self.value = old.iter().map(|k| self.value[from(k)]).collect();
        self.given = old.iter().map(|k| self.given[from(k)]).collect();
        self.touched = old.iter().map(|k| self.touched[from(k)]).collect();
        self.above = (0..old.len()).collect();
        self.of = of;
    }

    fn root(&self, mut part: usize) -> usize {
        while self.above[part] != part {
            part = self.above[part];
        }
        part
    }

    fn at(&self, pixel: usize) -> usize {
        self.root(self.of.data()[pixel] as usize)
    }

    /// Gives the part at a pixel a value.
    pub(super) fn force(&mut self, at: usize, given: Given) -> Result<(), Clash> {
        let part = self.at(at);
        self.given[part] = both(self.given[part], Some(given))?;
        self.touched[part] = true;
        Ok(())
    }

    /// Makes the parts at two pixels one.
    pub(super) fn merge(&mut self, a: usize, b: usize) -> Result<(), Clash> {
        let (a, b) = (self.at(a), self.at(b));
        let given = both(self.given[a], self.given[b])?;
        let (first, second) = (a.min(b), a.max(b));
        self.above[second] = first;
        self.given[first] = given;
        self.touched[first] = true;
        Ok(())
    }

    /// The value of each pixel, and whether it is in an edited part.
    pub(super) fn values(&self) -> (Raster<u8>, Raster<bool>) {
        // A merged part without a value of its own takes the one that most of it has; of two, the lighter.
        let mut held = vec![[0_usize; 10]; self.value.len()];
        let roots: Vec<usize> = (0..self.value.len()).map(|part| self.root(part)).collect();
        for &part in self.of.data() {
            held[roots[part as usize]][usize::from(self.value[part as usize])] += 1;
        }
        let value_of = |root: usize| {
            let most = held[root].iter().copied().max().unwrap_or(0);
            let own = held[root].iter().position(|&n| n == most).unwrap_or(1) as u8;
            self.given[root].map_or(own, |(value, _)| value)
        };
        let values: Vec<u8> = roots.iter().map(|&root| value_of(root)).collect();
        let touched: Vec<bool> = roots.iter().map(|&root| self.touched[root]).collect();
        (self.of.map(|part| values[part as usize]), self.of.map(|part| touched[part as usize]))
    }
}

/// One value from two that may be given.
fn both(a: Option<Given>, b: Option<Given>) -> Result<Option<Given>, Clash> {
    match (a, b) {
        (Some(a), Some(b)) if a.0 != b.0 => {
            let (earlier, later) = if a.1 <= b.1 { (a, b) } else { (b, a) };
            Err(Clash { earlier, later })
        }
        _ => Ok(a.or(b)),
    }
}

/// Connected pieces of one number (4-connected), numbered in the order of their first pixels, and the number of each.
pub(super) fn pieces(of: &Raster<u32>) -> (Raster<u32>, Vec<u32>) {
    let (w, h) = (of.width(), of.height());
    let mut out = Raster::new(w, h, u32::MAX);
    let mut numbers = Vec::new();
    let mut waiting = Vec::new();
    for first in 0..w * h {
        if out.data()[first] != u32::MAX {
            continue;
        }
        let (number, id) = (of.data()[first], numbers.len() as u32);
        numbers.push(number);
        out.data_mut()[first] = id;
        waiting.push(first);
        while let Some(i) = waiting.pop() {
            for j in around(i, w, h).into_iter().flatten() {
                if of.data()[j] == number && out.data()[j] == u32::MAX {
                    out.data_mut()[j] = id;
                    waiting.push(j);
                }
            }
        }
    }
    (out, numbers)
}

/// Pixels left, right, above and below.
fn around(i: usize, w: usize, h: usize) -> [Option<usize>; 4] {
    let (x, y) = (i % w, i / w);
    [(x > 0).then(|| i - 1), (x + 1 < w).then(|| i + 1), (y > 0).then(|| i - w), (y + 1 < h).then(|| i + w)]
}

/// Between which pixels a line passes an odd number of times: bit 0 to the right of each pixel, bit 1 below it.
///
/// A way from middle to middle that crosses the line an even number of times ends on the side that it began on.
fn crossed(line: &[Point], w: usize, h: usize) -> Raster<u8> {
    let mut out = Raster::new(w, h, 0_u8);
    let moved: Vec<[f64; 2]> = line.iter().map(|p| [p.x + OFF_GRID_PX[0], p.y + OFF_GRID_PX[1]]).collect();
    for ends in moved.windows(2) {
        // Rows first: where the line passes the middles of a row; then the same with columns.
        for (axis, [across, down], bit) in [(1, [w, h], 1), (0, [h, w], 2)] {
            let (a, b) = (ends[0], ends[1]);
            let (low, high) = (a[axis].min(b[axis]), a[axis].max(b[axis]));
            let from = (low - 0.5).ceil().max(0.0) as usize;
            for row in (from..down).take_while(|&row| row as f64 + 0.5 < high) {
                let t = (row as f64 + 0.5 - a[axis]) / (b[axis] - a[axis]);
                let place = a[1 - axis] + t * (b[1 - axis] - a[1 - axis]) - 0.5;
                if place < 0.0 || place >= across as f64 - 1.0 {
                    continue;
                }
                let column = place as usize;
                let (x, y) = if axis == 1 { (column, row) } else { (row, column) };
                out.set(x, y, out.at(x, y) ^ bit);
            }
        }
    }
    out
}

/// The pixels of one part that are reached from a pixel without crossing.
fn reached(of: &Raster<u32>, at: usize, crossed: &Raster<u8>) -> Vec<bool> {
    let (w, h) = (of.width(), of.height());
    let mut inside = vec![false; w * h];
    inside[at] = true;
    let mut waiting = vec![at];
    while let Some(i) = waiting.pop() {
        for (k, j) in around(i, w, h).into_iter().enumerate() {
            let Some(j) = j else { continue };
            let (holder, bit) = [(j, 1), (i, 1), (j, 2), (i, 2)][k];
            if !inside[j] && of.data()[j] == of.data()[at] && crossed.data()[holder] & bit == 0 {
                inside[j] = true;
                waiting.push(j);
            }
        }
    }
    inside
}
