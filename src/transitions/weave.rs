//! The lines woven into one net: placed, smoothed, fitted from the highest down, each ending exactly on what it
//! meets, and tightened wherever two of them would cross.

use std::collections::{BTreeMap, BTreeSet};

use kurbo::{CubicBez, ParamCurve, ParamCurveNearest, Point, Vec2};
use rayon::prelude::*;

use super::cut::cut;
use super::distances::{Moved, moved};
use super::ends::{Landing, land, landing};
use super::fit::{FitOptions, fit, round_um};
use super::lines::Line;
use super::place::{Ground, Side};
use super::proof::{ProofLine, find_meetings_of_finest};
use super::shape::{SPACING_MM, Shape, Tight, shape};
use super::trace::ArcEnd;
use super::turned::turned;

/// Rounds of proving and tightening.
const ROUNDS: usize = 16;
/// From this round on lines that still meet become their cracks.
const LAST_RESORT: usize = 10;

/// How many steps a line gives way to one that lives longer before that gives way too: plainer drawings have that one alone.
const YIELDS: usize = 2;

/// Settings of weaving.
#[derive(Clone, Copy, Debug)]
pub(super) struct WeaveOptions {
    /// Fit tolerance in mm.
    pub(super) tolerance_mm: f64,
    /// Narrowest width of an area in mm.
    pub(super) narrowest_mm: f64,
}

/// A fitted line.
#[derive(Clone, Debug)]
pub(super) struct Woven {
    /// Its cubics, in whole micrometres, in mm on the picture.
    pub(super) curve: Vec<CubicBez>,
    /// For each junction passed: (cubic, parameter, where).
    pub(super) passed: Vec<(usize, f64, Point)>,
    /// The same before lines that end there were carried on to it.
    passed_at_first: Vec<(usize, f64, Point)>,
    /// The points that it was fitted to.
    pub(super) points: Vec<Point>,
    /// Which of them are corners.
    corners: Vec<usize>,
    /// The lines on which its ends have been carried on to land.
    landed_on: [Option<usize>; 2],
}

impl Woven {
    /// Whether an end has been carried on to land on another line.
    fn has_landed(&self) -> bool {
        self.landed_on.iter().any(Option::is_some)
    }
}

/// What weaving gives.
pub(super) struct Weaving {
    /// The lines.
    pub(super) woven: Vec<Woven>,
    /// How far each was moved.
    pub(super) moved: Vec<Moved>,
    /// How many had to be tightened.
    pub(super) refits: usize,
    /// Places left where lines meet: 0 but for a fault of the program.
    pub(super) meetings: usize,
}

/// Weaves all lines.
pub(super) fn weave(
    ground: &Ground<'_>,
    lines: &[Line],
    sides_of: &[Vec<Side>],
    junctions: &[Point],
    options: &WeaveOptions,
) -> Weaving {
    let order = {
        let mut order: Vec<usize> = (0..lines.len()).collect();
        order.sort_by(|&a, &b| {
            lines[b]
                .height
                .total_cmp(&lines[a].height)
                .then(lines[b].points.len().cmp(&lines[a].points.len()))
                .then(a.cmp(&b))
        });
        order
    };
    let tone = ground.tone;
    let mut tight = vec![Tight::default(); lines.len()];
    let mut shapes: Vec<Shape> = lines
        .par_iter()
        .zip(sides_of)
        .map(|(l, at)| shape(ground, l, at, &Tight::default(), options.narrowest_mm))
        .collect();
    let junctions_mm: Vec<Point> =
        junctions.iter().map(|j| round_um(Point::new(j.x / tone.px_per_mm, j.y / tone.px_per_mm))).collect();
    let mut round = 0;
    // Which lines may be carried on at their ends: of lines that meet, those that were are put back first.
    let mut may_land = vec![true; lines.len()];
    // What the round before has fitted, less what has been tightened since.
    let mut before: Vec<Option<Woven>> = vec![None; lines.len()];
    loop {
        let woven = fit_all(lines, &shapes, &order, &junctions_mm, (&tight, &may_land), &before, options);
        let (pieces, owner, ends, closed) = pieces(lines, &woven);
        let proof: Vec<ProofLine<'_>> = pieces
            .iter()
            .zip(&ends)
            .zip(&closed)
            .map(|((curve, &ends), &closed)| ProofLine { curve, closed, ends })
            .collect();
        let meetings = find_meetings_of_finest(&proof);
        let turned = turned(ground, lines, sides_of, &woven);
        let left = meetings.len() + turned.len();
        let mut places: BTreeMap<usize, Vec<Point>> = BTreeMap::new();
        let mut back: BTreeSet<usize> = BTreeSet::new();
        for m in &meetings {
            let [a, b] = m.lines.map(|l| owner[l]);
            let landed: Vec<usize> = [a, b].into_iter().filter(|&l| woven[l].has_landed()).collect();
            if !landed.is_empty() {
                back.extend(landed);
                continue;
            }
            let levels = [tight[a].level_at(m.at), tight[b].level_at(m.at)];
            let give = giving_way(levels, [lines[a].height, lines[b].height]);
            if give[0] {
                places.entry(a).or_default().push(m.at);
            }
            if give[1] && a != b {
                places.entry(b).or_default().push(m.at);
            }
        }
        for (l, at) in turned {
            let landed = (0..lines.len())
                .filter(|&m| woven[m].has_landed() && (m == l || woven[m].landed_on.contains(&Some(l))));
            let landed: Vec<usize> = landed.collect();
            if landed.is_empty() {
                places.entry(l).or_default().push(at);
            }
            back.extend(landed);
        }
        places.retain(|&l, _| !tight[l].crack);
        if (places.is_empty() && back.is_empty()) || round + 1 == ROUNDS {
            let to_mm = |p: &Point| Point::new(p.x / tone.px_per_mm, p.y / tone.px_per_mm);
            let moved = (0..lines.len()).into_par_iter().map(|l| {
                let crack: Vec<Point> = lines[l].points.iter().map(to_mm).collect();
                let w = &woven[l];
                moved(&crack, &shapes[l].placed, &w.points, lines[l].closed(), &w.curve)
            });
            return Weaving {
                moved: moved.collect(),
                refits: tight.iter().filter(|t| !t.is_loose()).count(),
                meetings: left,
                woven,
            };
        }
        for (&l, at) in &places {
            tight[l].tighten(at);
            tight[l].crack |= round >= LAST_RESORT;
        }
        back.iter().for_each(|&l| may_land[l] = false);
        let offenders: Vec<usize> = places.into_keys().collect();
        before = woven.into_iter().map(Some).collect();
        offenders.iter().for_each(|&l| before[l] = None);
        let fresh: Vec<(usize, Shape)> = offenders
            .par_iter()
            .map(|&l| (l, shape(ground, &lines[l], &sides_of[l], &tight[l], options.narrowest_mm)))
            .collect();
        for (l, s) in fresh {
            shapes[l] = s;
        }
        // Lines are put back once each.
        round += usize::from(!offenders.is_empty());
    }
}

/// Which of two lines that meet give way: the looser, the one that dies earlier some steps before the other; both
/// where that is even.
fn giving_way(levels: [usize; 2], heights: [f64; 2]) -> [bool; 2] {
    let lasting = |one: usize| if heights[one] > heights[1 - one] { YIELDS } else { 0 };
    let [p, q] = [levels[0] + lasting(0), levels[1] + lasting(1)];
    [p <= q, q <= p]
}

/// Fits all lines from the highest down, each ending on those already fitted.
fn fit_all(
    lines: &[Line],
    shapes: &[Shape],
    order: &[usize],
    junctions_mm: &[Point],
    (tight, may_land): (&[Tight], &[bool]),
    before: &[Option<Woven>],
    options: &WeaveOptions,
) -> Vec<Woven> {
    let mut at: Vec<Option<Point>> = vec![None; junctions_mm.len()];
    let mut woven: Vec<Option<Woven>> = vec![None; lines.len()];
    let mut landed_on = vec![[None; 2]; lines.len()];
    let mut passed_by: Vec<Option<(usize, usize)>> = vec![None; junctions_mm.len()];
    let mut ending = vec![0_usize; junctions_mm.len()];
    for end in lines.iter().flat_map(|line| line.ends) {
        if let ArcEnd::Junction(j) = end {
            ending[j] += 1;
        }
    }
    let mut rest: Vec<usize> = order.to_vec();
    while !rest.is_empty() {
        // Lines whose end junctions lie on fitted lines (or on no line at all) can be fitted side by side.
        let passes: Vec<bool> = {
            let mut pending = vec![false; junctions_mm.len()];
            rest.iter().flat_map(|&l| &lines[l].passed).for_each(|p| pending[p.junction] = true);
            rest.iter()
                .map(|&l| lines[l].ends.iter().all(|e| !matches!(e, ArcEnd::Junction(j) if pending[*j])))
                .collect()
        };
        let mut ready: Vec<usize> =
            rest.iter().zip(&passes).filter(|(_, ok)| **ok).map(|(&l, _)| l).collect();
        if ready.is_empty() {
            // Lines of one height that end on each other in a ring: the first keeps its junctions where they are.
            ready.push(rest[0]);
        }
        let mut landed: Vec<[Option<Landing>; 2]> = ready.iter().map(|_| [None, None]).collect();
        for (&l, landed) in ready.iter().zip(&mut landed) {
            for (e, end) in lines[l].ends.into_iter().enumerate() {
                let ArcEnd::Junction(j) = end else { continue };
                at[j].get_or_insert(junctions_mm[j]);
                // A line that ends alone on another is carried on to it.
                let Some((on, k)) = passed_by[j].filter(|_| ending[j] == 1) else { continue };
                let Some(w) = &mut woven[on] else { continue };
                if !may_land[l] || !tight[l].is_loose() || tight[on].level_at(w.passed[k].2) > 0 {
                    continue;
                }
                landed[e] = landing(&shapes[l].points, e == 1, shapes[l].blind, &w.curve);
                if let Some(landing) = &landed[e] {
                    w.passed[k] = landing.on;
                    at[j] = Some(landing.on.2);
                    landed_on[l][e] = Some(on);
                }
            }
        }
        let done: Vec<(usize, Woven)> = ready
            .par_iter()
            .zip(&landed)
            .map(|(&l, landed)| {
                (l, fit_one(&lines[l], &shapes[l], &at, landed, &tight[l], before[l].as_ref(), options))
            })
            .collect();
        for (l, w) in done {
            for (k, (p, &(_, _, q))) in lines[l].passed.iter().zip(&w.passed).enumerate() {
                at[p.junction] = Some(q);
                passed_by[p.junction] = Some((l, k));
            }
            woven[l] = Some(w);
        }
        rest.retain(|&l| woven[l].is_none());
    }
    let woven = woven.into_iter().flatten().zip(landed_on);
    woven.map(|(w, landed_on)| Woven { landed_on, ..w }).collect()
}

/// Fits one line between the places where its ends lie. What was fitted to the same points before is taken again.
fn fit_one(
    line: &Line,
    shape: &Shape,
    at: &[Option<Point>],
    landed: &[Option<Landing>; 2],
    tight: &Tight,
    before: Option<&Woven>,
    options: &WeaveOptions,
) -> Woven {
    let mut points = shape.points.clone();
    let mut corners = shape.corners.clone();
    for (e, end) in line.ends.iter().enumerate() {
        let target = match end {
            ArcEnd::Junction(j) => at[*j],
            ArcEnd::Frame => Some(round_um(points[if e == 0 { 0 } else { points.len() - 1 }])),
            ArcEnd::Closed => None,
        };
        if let Some(target) = target {
            if let Some(landing) = &landed[e] {
                land(&mut points, &mut corners, e == 1, shape.blind, landing);
            }
            pull_end(&mut points, e == 1, target, tight.crack);
        }
    }
    // Junctions already fixed (only in a ring of lines that end on each other) are passed through as corners.
    let mut pinned = Vec::new();
    for (p, &place) in line.passed.iter().zip(&shape.passed) {
        if let Some(fixed) = at[p.junction] {
            let i = (place.round().max(0.0) as usize).min(points.len() - 1);
            points[i] = fixed;
            corners.push(i);
            pinned.push((p.junction, fixed));
        }
    }
    corners.sort_unstable();
    corners.dedup();
    if let Some(same) = before.filter(|b| b.points == points && b.corners == corners) {
        return Woven { passed: same.passed_at_first.clone(), ..same.clone() };
    }
    let tolerance_mm = if tight.is_loose() { options.tolerance_mm } else { 0.5 * options.tolerance_mm };
    let mut curve = if tight.crack {
        straight(&points, line.closed())
    } else {
        fit(&points, line.closed(), &corners, [None::<Vec2>; 2], &FitOptions { tolerance_mm })
    };
    if curve.is_empty() {
        // Both ends fell on one place of the line that they lie on; the proof will see it, and tighten that one.
        let place = round_um(points[0]);
        curve.push(CubicBez::new(place, place, place, place));
    }
    let passed: Vec<(usize, f64, Point)> = line
        .passed
        .iter()
        .zip(&shape.passed)
        .map(|(p, &place)| {
            let fixed = pinned.iter().find(|(j, _)| *j == p.junction).map(|(_, q)| *q);
            nearest(&curve, fixed.unwrap_or_else(|| between(&points, line.closed(), place)), fixed)
        })
        .collect();
    Woven { curve, passed_at_first: passed.clone(), passed, points, corners, landed_on: [None; 2] }
}

/// The polyline itself, as straight cubics in whole micrometres.
fn straight(points: &[Point], closed: bool) -> Vec<CubicBez> {
    let mut rounded: Vec<Point> = points.iter().map(|&p| round_um(p)).collect();
    if closed {
        rounded.push(rounded[0]);
    }
    rounded.dedup();
    rounded
        .windows(2)
        .map(|p| {
            CubicBez::new(
                p[0],
                round_um(p[0].lerp(p[1], 1.0 / 3.0)),
                round_um(p[0].lerp(p[1], 2.0 / 3.0)),
                p[1],
            )
        })
        .collect()
}

/// The place between two points of a line.
fn between(points: &[Point], closed: bool, at: f64) -> Point {
    let n = points.len();
    let i = at.floor();
    let index =
        |k: f64| if closed { k.rem_euclid(n as f64) as usize % n } else { (k.max(0.0) as usize).min(n - 1) };
    points[index(i)].lerp(points[index(i + 1.0)], at - i)
}

/// Nearest place of a curve: (cubic, parameter, where). A place that is fixed already is kept, and is a joint.
fn nearest(curve: &[CubicBez], p: Point, fixed: Option<Point>) -> (usize, f64, Point) {
    // A line may pass the junction that it ends on: the joint inside it is meant, not its end.
    if let Some(joint) = fixed.and_then(|f| (1..curve.len()).find(|&k| curve[k].p0 == round_um(f))) {
        return (joint, 0.0, curve[joint].p0);
    }
    let mut best = (0, 0.0, f64::INFINITY);
    for (i, c) in curve.iter().enumerate() {
        let n = c.nearest(p, 1e-6);
        if n.distance_sq < best.2 {
            best = (i, n.t, n.distance_sq);
        }
    }
    let (i, t, _) = best;
    (i, t, fixed.unwrap_or_else(|| round_um(curve[i].eval(t))))
}

/// Moves an end to where it belongs, the points before it following less and less.
fn pull_end(points: &mut [Point], at_end: bool, target: Point, only_end: bool) {
    let n = points.len();
    let index = |k: usize| if at_end { n - 1 - k } else { k };
    let shift = target - points[index(0)];
    let reach = (0.5_f64.max(3.0 * shift.hypot()) / SPACING_MM) as usize;
    let reach = reach.min(n / 2).max(1);
    if only_end {
        points[index(0)] = target;
        return;
    }
    for k in 0..reach {
        let t = k as f64 / reach as f64;
        let follow = 1.0 - t * t * (3.0 - 2.0 * t);
        points[index(k)] += shift * follow;
    }
    points[index(0)] = target;
}

type Pieces = (Vec<Vec<CubicBez>>, Vec<usize>, Vec<[Option<usize>; 2]>, Vec<bool>);

/// All lines cut at every junction that they pass, with the line that each piece is of.
fn pieces(lines: &[Line], woven: &[Woven]) -> Pieces {
    let (mut curves, mut owner, mut ends, mut closed) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for (l, (line, w)) in lines.iter().zip(woven).enumerate() {
        for piece in cut(line, w, &|_| true) {
            curves.push(piece.curve);
            owner.push(l);
            ends.push(piece.ends);
            closed.push(piece.closed);
        }
    }
    (curves, owner, ends, closed)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line between two junctions that fell on one place is a point, which the proof can find, and no fault.
    #[test]
    fn a_line_without_length_is_a_point() {
        let [from, to] = [Point::new(12.0, 8.0), Point::new(12.0, 9.0)];
        let line = Line {
            arcs: vec![],
            ends: [ArcEnd::Junction(0), ArcEnd::Junction(1)],
            passed: vec![],
            height: 1.0,
            points: vec![from, Point::new(12.5, 8.5), to],
            arc_of: vec![0; 3],
        };
        let shape = Shape {
            points: vec![from, to],
            placed: vec![from, to],
            corners: vec![],
            passed: vec![],
            blind: 0,
        };
        let place = Point::new(2.0, 1.4);
        let options = WeaveOptions { tolerance_mm: 0.1, narrowest_mm: 1.0 };
        for crack in [false, true] {
            let mut tight = Tight::default();
            tight.crack = crack;
            let woven = fit_one(&line, &shape, &[Some(place); 2], &[None, None], &tight, None, &options);
            assert_eq!(woven.curve.len(), 1);
            assert_eq!([woven.curve[0].p0, woven.curve[0].p3], [place; 2]);
        }
    }

    /// Like lines give way together, unlike ones the earlier to die first, for as many steps as are stated.
    #[test]
    fn the_line_that_dies_earlier_gives_way_first() {
        assert_eq!(giving_way([0, 0], [5.0, 5.0]), [true, true]);
        assert_eq!(giving_way([1, 0], [5.0, 5.0]), [false, true]);
        assert_eq!(giving_way([0, 0], [5.0, 9.0]), [true, false]);
        assert_eq!(giving_way([YIELDS, 0], [5.0, 9.0]), [true, true]);
        assert_eq!(giving_way([0, YIELDS + 1], [9.0, 5.0]), [true, false]);
        assert_eq!(giving_way([0, 0], [f64::INFINITY, f64::INFINITY]), [true, true]);
    }
}
