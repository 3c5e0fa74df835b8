//! The order of drawing lines of the net: the shortest way, each line entered where that asks.

use super::tour::{Gates, shortest_way};
use super::{Line, reversed};
use kurbo::Point;

/// Orders lines so that travel from `at` is short; `at` is left where the last one ends.
pub(super) fn shortest(lines: Vec<Line>, at: &mut Point) -> Vec<Line> {
    let gates: Vec<Gates> = lines.iter().map(gates).collect();
    let order = shortest_way(&gates, *at, None);
    let mut waiting: Vec<Option<Line>> = lines.into_iter().map(Some).collect();
    let ordered: Vec<Line> =
        order.into_iter().filter_map(|(i, way)| Some(entered(waiting[i].take()?, way))).collect();
    if let Some(end) = ordered.last().and_then(|line| line.runs.last()?.curve.last()) {
        *at = end.p3;
    }
    ordered
}

/// Where a line can be begun: an open one at its two ends; a closed one at every transition's beginning, or at
/// every joint when it is a single transition away from any junction.
fn gates(line: &Line) -> Gates {
    let starts = || line.runs.iter().filter_map(|run| run.curve.first()).map(|c| c.p0);
    match line.runs.as_slice() {
        [run] if line.closed && run.free => Gates::Closed(run.curve.iter().map(|c| c.p0).collect()),
        _ if line.closed => Gates::Closed(starts().collect()),
        runs => {
            let start = starts().next().unwrap_or_default();
            Gates::Open([start, runs.last().and_then(|r| r.curve.last()).map_or(start, |c| c.p3)])
        }
    }
}

/// The line drawn in the way with this number.
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
