//! The areas of a net painted back onto pixels, so that the value map shows what the lines say.

use lyon::geom::{CubicBezierSegment, Point, point};
use rayon::prelude::*;

use super::net::BoundaryNet;
use crate::raster::Raster;

/// Distance in mm within which curves are flattened for painting: far under a pixel.
const FLAT_MM: f64 = 0.01;

/// A place where a boundary line passes a row's middle: where, and the areas before and behind it.
type Passage = (f64, usize, usize);

/// Area of the net at the middle of each pixel; `plain` gives the area of a row that no line passes.
pub(super) fn areas(
    net: &BoundaryNet,
    width: usize,
    height: usize,
    px_per_mm: f64,
    plain: impl Fn(usize) -> usize + Sync,
) -> Raster<u32> {
    let mut passages: Vec<Vec<Passage>> = vec![Vec::new(); height];
    for t in &net.transitions {
        for c in &t.curve {
            let [from, ctrl1, ctrl2, to] = [c.p0, c.p1, c.p2, c.p3].map(|p| point(p.x, p.y));
            CubicBezierSegment { from, ctrl1, ctrl2, to }.for_each_flattened(FLAT_MM, &mut |line| {
                pass(&mut passages, line.from, line.to, [t.left, t.right], px_per_mm);
            });
        }
    }
    let mut out = Raster::new(width, height, 0_u32);
    out.data_mut().par_chunks_mut(width).zip(passages.par_iter_mut()).enumerate().for_each(
        |(y, (row, passed))| {
            passed.sort_by(|a, b| a.0.total_cmp(&b.0));
            let mut area = passed.first().map_or_else(|| plain(y), |p| p.1);
            let mut next = 0;
            for (x, cell) in row.iter_mut().enumerate() {
                while next < passed.len() && passed[next].0 <= (x as f64 + 0.5) / px_per_mm {
                    area = passed[next].2;
                    next += 1;
                }
                *cell = area as u32;
            }
        },
    );
    out
}

/// Notes every row whose middle a straight piece from `a` to `b` passes; `sides` are the areas on its left and right.
fn pass(passages: &mut [Vec<Passage>], a: Point<f64>, b: Point<f64>, sides: [usize; 2], px_per_mm: f64) {
    let row = |y: f64| (y * px_per_mm - 0.5).ceil().max(0.0) as usize;
    let (from, to) = (row(a.y.min(b.y)), row(a.y.max(b.y)).min(passages.len()));
    for (y, passed) in passages.iter_mut().enumerate().take(to).skip(from) {
        let t = ((y as f64 + 0.5) / px_per_mm - a.y) / (b.y - a.y);
        // Walking down the sheet the left hand points to growing x.
        let [behind, before] = if b.y > a.y { sides } else { [sides[1], sides[0]] };
        passed.push((a.x + t * (b.x - a.x), before, behind));
    }
}
