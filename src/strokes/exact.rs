//! The shortest way through few strokes, exactly: dynamic programming over subsets (Held & Karp 1962, Bellman 1962).

use super::tour::{Gates, apart};
use kurbo::Point;

/// Most strokes for which the way is exact.
const MOST_STROKES: usize = 11;
/// Most steps of the programme: about a tenth of a second.
const MOST_STEPS: usize = 40_000_000;

/// The shortest way, or `None` when there are too many strokes or too many places to begin them at.
pub(super) fn shortest(strokes: &[Gates], from: Point, back: Option<Point>) -> Option<Vec<(usize, usize)>> {
    let all: Vec<(usize, usize)> =
        strokes.iter().enumerate().flat_map(|(i, s)| (0..s.ways()).map(move |way| (i, way))).collect();
    let count = strokes.len();
    if count > MOST_STROKES || (all.len() * all.len()) << count > MOST_STEPS {
        return None;
    }
    let ends: Vec<[Point; 2]> = all.iter().map(|&(i, way)| strokes[i].ends(way)).collect();
    let step: Vec<f64> = ends.iter().flat_map(|a| ends.iter().map(move |b| apart(a[1], b[0]))).collect();
    let wide = all.len();
    // Shortest way through the strokes of a set that ends with a stroke drawn in a way, and what came before that.
    let mut length = vec![f64::INFINITY; wide << count];
    let mut came = vec![usize::MAX; wide << count];
    for (last, &(i, _)) in all.iter().enumerate() {
        length[(1 << i) * wide + last] = apart(from, ends[last][0]);
    }
    for set in 1..1usize << count {
        for last in 0..wide {
            let so_far = length[set * wide + last];
            if !so_far.is_finite() {
                continue;
            }
            for (next, &(j, _)) in all.iter().enumerate().filter(|(_, (j, _))| set >> *j & 1 == 0) {
                let at = (set | 1 << j) * wide + next;
                let longer = so_far + step[last * wide + next];
                if longer < length[at] {
                    (length[at], came[at]) = (longer, last);
                }
            }
        }
    }
    let mut set = (1usize << count) - 1;
    let whole = |last: usize| length[set * wide + last] + back.map_or(0.0, |p| apart(ends[last][1], p));
    let mut last = (0..wide).min_by(|&a, &b| whole(a).total_cmp(&whole(b)))?;
    let mut order = Vec::with_capacity(count);
    while last != usize::MAX {
        order.push(all[last]);
        let before = came[set * wide + last];
        set &= !(1 << all[last].0);
        last = before;
    }
    order.reverse();
    Some(order)
}
