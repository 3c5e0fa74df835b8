//! The order of drawing: always on to the nearest line, entered from whichever end is nearer.

use super::{Line, reversed};
use kurbo::Point;
use rstar::RTree;
use rstar::primitives::GeomWithData;

/// A place where a line can be begun: the line's number and the way of drawing it.
type Entry = GeomWithData<[f64; 2], (usize, usize)>;

/// Orders lines by nearest neighbour from `at`, which is left where the last one ends.
///
/// Ties go to the line that comes first in `lines`, drawn forwards.
pub(super) fn nearest_first(lines: Vec<Line>, at: &mut Point) -> Vec<Line> {
    let entries: Vec<Vec<Entry>> = lines
        .iter()
        .enumerate()
        .map(|(i, line)| {
            places(line).into_iter().enumerate().map(|(way, p)| Entry::new([p.x, p.y], (i, way))).collect()
        })
        .collect();
    let mut tree = RTree::bulk_load(entries.concat());
    let mut waiting: Vec<Option<Line>> = lines.into_iter().map(Some).collect();
    let mut ordered = Vec::with_capacity(waiting.len());
    while let Some((i, way)) = nearest(&tree, *at) {
        for entry in &entries[i] {
            tree.remove(entry);
        }
        if let Some(line) = waiting[i].take() {
            let line = entered(line, way);
            if let Some(end) = line.runs.last().and_then(|run| run.curve.last()) {
                *at = end.p3;
            }
            ordered.push(line);
        }
    }
    ordered
}

/// The nearest place to begin; of equally near ones the lowest.
fn nearest(tree: &RTree<Entry>, at: Point) -> Option<(usize, usize)> {
    let mut found = tree.nearest_neighbor_iter_with_distance_2(&[at.x, at.y]);
    let (first, distance) = found.next()?;
    Some(found.take_while(|(_, d)| *d <= distance).map(|(entry, _)| entry.data).fold(first.data, Ord::min))
}

/// Where a line can be begun: an open one at its two ends; a closed one at every transition's beginning, or at
/// every joint when it is a single transition away from any junction.
fn places(line: &Line) -> Vec<Point> {
    let starts = || line.runs.iter().filter_map(|run| run.curve.first()).map(|c| c.p0);
    match line.runs.as_slice() {
        [run] if line.closed && run.free => run.curve.iter().map(|c| c.p0).collect(),
        _ if line.closed => starts().collect(),
        runs => starts().take(1).chain(runs.last().and_then(|r| r.curve.last()).map(|c| c.p3)).collect(),
    }
}

/// The line begun at the place with this number.
fn entered(mut line: Line, way: usize) -> Line {
    if !line.closed {
        if way == 1 {
            line.runs.reverse();
            for run in &mut line.runs {
                run.curve = reversed(&run.curve);
                run.reversed = !run.reversed;
            }
        }
    } else if let [run] = line.runs.as_mut_slice() {
        run.curve.rotate_left(way);
    } else {
        line.runs.rotate_left(way);
    }
    line
}
