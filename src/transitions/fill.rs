//! The areas of a net painted back onto pixels, so that the value map shows what the lines say.

use lyon::geom::{CubicBezierSegment, Point, point};
use rayon::prelude::*;

use super::net::BoundaryNet;
use crate::raster::Raster;

/// Distance in mm within which curves are flattened for painting: far under a pixel.
const FLAT_MM: f64 = 0.004;

/// How far under its middle a row is looked at, in mm: coordinates are whole micrometres, so no cubic begins, ends or
/// turns exactly there.
const OFF_GRID_MM: f64 = 0.000_37;

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
            let mut points = vec![from];
            let curve = CubicBezierSegment { from, ctrl1, ctrl2, to };
            curve.for_each_flattened(FLAT_MM, &mut |line| points.push(line.to));
            // Cubics join to the last bit, or a row between two of them would be passed once too often.
            if points.len() > 1 {
                points.pop();
            }
            points.push(to);
            for ends in points.windows(2) {
                pass(&mut passages, ends[0], ends[1], [t.left, t.right], px_per_mm);
            }
        }
    }
    let mut out = Raster::new(width, height, 0_u32);
    out.data_mut().par_chunks_mut(width).zip(passages.par_iter_mut()).enumerate().for_each(
        |(y, (row, passed))| {
            passed.sort_by(|a, b| a.0.total_cmp(&b.0));
            chain(passed);
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

/// Puts passages that flattening has brought out of order (lines that part at a narrow angle) back into one chain
/// from area to area.
fn chain(passed: &mut [Passage]) {
    for i in 1..passed.len() {
        let area = passed[i - 1].2;
        if passed[i].1 == area {
            continue;
        }
        let near = passed[i].0 + 4.0 * FLAT_MM;
        let next = (i + 1..passed.len()).take_while(|&k| passed[k].0 <= near).find(|&k| passed[k].1 == area);
        if let Some(k) = next {
            passed[i..=k].rotate_right(1);
        } else if i >= 2 && passed[i].1 == passed[i - 2].2 && passed[i].2 == passed[i - 1].1 {
            passed.swap(i - 1, i);
        }
    }
}

/// Notes every row whose middle a straight piece from `a` to `b` passes; `sides` are the areas on its left and right.
fn pass(passages: &mut [Vec<Passage>], a: Point<f64>, b: Point<f64>, sides: [usize; 2], px_per_mm: f64) {
    let row = |y: f64| ((y - OFF_GRID_MM) * px_per_mm - 0.5).ceil().max(0.0) as usize;
    let (from, to) = (row(a.y.min(b.y)), row(a.y.max(b.y)).min(passages.len()));
    for (y, passed) in passages.iter_mut().enumerate().take(to).skip(from) {
        let t = ((y as f64 + 0.5) / px_per_mm + OFF_GRID_MM - a.y) / (b.y - a.y);
        // Walking down the sheet the left hand points to growing x.
        let [behind, before] = if b.y > a.y { sides } else { [sides[1], sides[0]] };
        passed.push((a.x + t * (b.x - a.x), before, behind));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::transitions::{NetArea, Transition};
    use kurbo::{Circle, CubicBez, PathSeg, Shape};
    use proptest::prelude::*;

    proptest! {
        /// A disc painted from its outline has its pixels inside and no others (closed form, a rim left out).
        #[test]
        fn a_disc_is_painted_whole(cx in 8_u32..12, cy in 8_u32..12, r in 3_u32..7, px in 1_u32..9) {
            let (cx, cy, r, px) = (f64::from(cx) + 0.5, f64::from(cy), f64::from(r), f64::from(px));
            let curve: Vec<CubicBez> = Circle::new((cx, cy), r)
                .path_segments(1e-4)
                .filter_map(|s| if let PathSeg::Cubic(c) = s { Some(c) } else { None })
                .collect();
            let area = |value| NetArea { value, size_mm2: 0.0, tone: 0.0, edited: false };
            let net = BoundaryNet {
                width_mm: 20.0,
                height_mm: 20.0,
                junctions: Vec::new(),
                // kurbo's circle runs clockwise on the sheet: the inside is on its right.
                transitions: vec![Transition {
                    from: None, to: None, closed: true, left: 0, right: 1, values: [1, 2], curve,
                    width_mm: vec![0.0], edge_mm: 0.0, hard: true, height: 1.0,
                    suppressed: false,
                }],
                areas: vec![area(1), area(2)],
            };
            let n = (20.0 * px) as usize;
            let got = areas(&net, n, n, px, |_| 0);
            for y in 0..n {
                for x in 0..n {
                    let d = ((x as f64 + 0.5) / px - cx).hypot((y as f64 + 0.5) / px - cy);
                    if (d - r).abs() > 0.03 {
                        prop_assert_eq!(got.at(x, y) == 1, d < r, "pixel {} {}", x, y);
                    }
                }
            }
        }
    }
}
