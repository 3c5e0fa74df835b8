//! Strokes: what the pencil does to draw the net: broken soft lines, chaining, order.

mod exact;
mod gaps;
mod guides;
mod order;
mod thin;
mod tour;
mod trails;
mod view;
mod within;

#[cfg(test)]
mod tests;

pub use guides::GuideStroke;
pub use thin::ThinStroke;
pub use tour::{Gates, shortest_way, travel_mm};
pub(crate) use within::cut;

use crate::sheet::Placement;
use crate::transitions::BoundaryNet;
use kurbo::{CubicBez, ParamCurveArclen, Point, Vec2};

/// How soft edges are drawn.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum SoftLines {
    /// Whole, like hard ones (thinner in print).
    #[default]
    Solid,
    /// Broken by real gaps in the geometry.
    Broken,
    /// Left out.
    None,
}

/// How the net becomes strokes.
#[derive(Clone, Debug, PartialEq)]
pub struct StrokeOptions {
    /// How soft edges are drawn.
    pub soft: SoftLines,
    /// Whether transitions are joined through junctions into long strokes.
    pub chain: bool,
    /// Width of the line in mm; a gap is wider than its round ends.
    pub line_mm: f64,
}

/// One pencil-down movement.
#[derive(Clone, Debug, PartialEq)]
pub struct Stroke {
    /// The line as cubics that join end to end, in mm on the sheet, whole micrometres.
    pub curve: Vec<CubicBez>,
    /// Whether it ends where it begins and is drawn as a closed line.
    pub closed: bool,
    /// Whether it follows hard edges; soft ones otherwise.
    pub hard: bool,
    /// Indices into the net of the transitions it draws (or draws a piece of), in the order of drawing.
    pub transitions: Vec<usize>,
    /// Value numbers on the left and right of its first transition, walking as the stroke is drawn.
    pub values: [u8; 2],
    /// Width of the edge in mm: that of its transition, or the median by length of several.
    pub edge_mm: f64,
}

impl Stroke {
    /// How many values it crosses.
    #[must_use]
    pub fn step(&self) -> u8 {
        self.values[0].abs_diff(self.values[1])
    }
}

/// All strokes of a drawing in drawing order: hard ones first, then soft.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StrokePlan {
    /// The strokes of the net.
    pub strokes: Vec<Stroke>,
    /// Thin marks, drawn after the net, in drawing order.
    pub thin: Vec<ThinStroke>,
    /// Guide lines, drawn after those, in drawing order.
    pub guides: Vec<GuideStroke>,
    /// Length drawn, in mm.
    pub drawn_mm: f64,
    /// Length of the straight movements from each stroke's end to the next one's beginning, in mm.
    pub travel_mm: f64,
}

impl StrokePlan {
    /// The curves of all strokes, in drawing order.
    pub fn curves(&self) -> impl Iterator<Item = &Vec<CubicBez>> {
        let thin = self.thin.iter().map(|s| &s.curve);
        self.strokes.iter().map(|s| &s.curve).chain(thin).chain(self.guides.iter().map(|s| &s.curve))
    }

    /// Where the last stroke ends.
    fn end(&self) -> Option<Point> {
        self.curves().last().and_then(|curve| curve.last()).map(|c| c.p3)
    }
}

/// A run of whole transitions in the direction of drawing, before soft lines are broken; mm on the picture.
#[derive(Clone, Debug)]
struct Line {
    /// The transitions, end to end.
    runs: Vec<Run>,
    /// Whether the last one ends where the first one begins.
    closed: bool,
}

/// One transition of a line.
#[derive(Clone, Debug)]
struct Run {
    /// Its number in the net (or that of a thin mark among the marks).
    transition: usize,
    /// Whether it is drawn from its end.
    reversed: bool,
    /// Its cubics in the direction of drawing.
    curve: Vec<CubicBez>,
    /// Whether it closes on itself away from any junction, so that it may begin anywhere.
    free: bool,
}

/// How closely lengths along curves are measured, in mm.
const LENGTH_ACCURACY_MM: f64 = 1e-4;

/// Turns the net into strokes on the sheet: hard edges first, then soft ones, each layer in an order that keeps
/// travel short.
///
/// Not chained, each transition is one stroke (several when it is broken). Chained, transitions of one layer are
/// joined at junctions into as few strokes as a pencil needs that draws none twice.
#[must_use]
pub fn plan_strokes(net: &BoundaryNet, placement: &Placement, options: &StrokeOptions) -> StrokePlan {
    let layer = |hard: bool| {
        let drawn = hard || options.soft != SoftLines::None;
        let all = (0..net.transitions.len()).filter(move |&i| drawn && net.transitions[i].hard == hard);
        all.filter(|&i| is_drawn(net, i)).collect::<Vec<usize>>()
    };
    plan_layers(net, placement, options, &[layer(true), layer(false)])
}

/// The same with hard and soft edges as one layer, for one pencil; broken soft lines stay a layer of their own.
#[must_use]
pub fn plan_joined_strokes(net: &BoundaryNet, placement: &Placement, options: &StrokeOptions) -> StrokePlan {
    if options.soft != SoftLines::Solid {
        return plan_strokes(net, placement, options);
    }
    let all = (0..net.transitions.len()).filter(|&i| is_drawn(net, i)).collect();
    plan_layers(net, placement, options, &[all])
}

/// Whether a transition is a line of this drawing: one without a curve is another drawing's.
fn is_drawn(net: &BoundaryNet, i: usize) -> bool {
    !net.transitions[i].suppressed && !net.transitions[i].curve.is_empty()
}

fn plan_layers(
    net: &BoundaryNet,
    placement: &Placement,
    options: &StrokeOptions,
    layers: &[Vec<usize>],
) -> StrokePlan {
    let mut plan = StrokePlan::default();
    // The pencil waits at the sheet's top left; seen from the picture, that is up and to the left.
    let mut at = Point::ZERO - placement.offset();
    for layer in layers {
        let lines = if options.chain { trails::chained(net, layer) } else { trails::single(net, layer) };
        for line in order::shortest(lines, &mut at) {
            let broken = options.soft == SoftLines::Broken
                && line.runs.first().is_some_and(|run| !net.transitions[run.transition].hard);
            let gap_mm = broken.then(|| gaps::gap_mm(options.line_mm));
            plan.strokes.extend(strokes_of(&line, gap_mm, net, placement.offset()));
        }
    }
    plan.drawn_mm = plan.strokes.iter().map(|s| length_mm(&s.curve)).sum();
    plan.travel_mm = plan
        .strokes
        .windows(2)
        .filter_map(|pair| Some(pair[0].curve.last()?.p3.distance(pair[1].curve.first()?.p0)))
        .sum();
    plan
}

/// Pieces that are drawn without a lift, each with the transitions under it.
type Piece<'a> = (Vec<CubicBez>, Vec<(&'a Run, f64)>);

/// The strokes of one line: itself, or its pieces when it is broken.
fn strokes_of(line: &Line, gap_mm: Option<f64>, net: &BoundaryNet, offset: Vec2) -> Vec<Stroke> {
    let mut pieces: Vec<Piece<'_>> = Vec::new();
    for run in &line.runs {
        let parts = match gap_mm {
            Some(gap_mm) => gaps::broken(&run.curve, run.free, gap_mm),
            None => vec![run.curve.clone()],
        };
        for (k, part) in parts.into_iter().enumerate() {
            let owner = (run, length_mm(&part));
            match pieces.last_mut() {
                // Both ends of every transition are drawn, so the pencil stays down through the junction.
                Some((curve, owners)) if k == 0 => {
                    curve.extend(part);
                    owners.push(owner);
                }
                _ => pieces.push((part, vec![owner])),
            }
        }
    }
    let whole = pieces.len() == 1;
    if line.closed && !whole {
        // The last piece runs on into the first one.
        if let Some((mut curve, mut owners)) = pieces.pop() {
            curve.append(&mut pieces[0].0);
            owners.append(&mut pieces[0].1);
            pieces[0] = (curve, owners);
        }
    }
    pieces
        .into_iter()
        .map(|(curve, owners)| {
            let (first, _) = owners[0];
            let transition = &net.transitions[first.transition];
            let [left, right] = transition.values;
            let mut transitions: Vec<usize> = owners.iter().map(|(run, _)| run.transition).collect();
            transitions.dedup();
            Stroke {
                curve: curve.iter().map(|&c| on_sheet(c, offset)).collect(),
                closed: line.closed && whole,
                hard: transition.hard,
                transitions,
                values: if first.reversed { [right, left] } else { [left, right] },
                edge_mm: median_edge_mm(&owners, net),
            }
        })
        .collect()
}

/// Median width of the edges under a stroke, by the length drawn of each, in mm.
fn median_edge_mm(owners: &[(&Run, f64)], net: &BoundaryNet) -> f64 {
    let mut widths: Vec<(f64, f64)> =
        owners.iter().map(|&(run, length)| (net.transitions[run.transition].edge_mm, length)).collect();
    widths.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = widths.iter().map(|w| w.1).sum::<f64>() / 2.0;
    let mut sum = 0.0;
    for &(width, length) in &widths {
        sum += length;
        if sum >= half {
            return width;
        }
    }
    widths.last().map_or(0.0, |w| w.0)
}

/// A cubic moved from the picture to the sheet, on whole micrometres.
fn on_sheet(cubic: CubicBez, offset: Vec2) -> CubicBez {
    let moved = |p: Point| {
        let p = p + offset;
        Point::new((p.x * 1000.0).round() / 1000.0, (p.y * 1000.0).round() / 1000.0)
    };
    CubicBez::new(moved(cubic.p0), moved(cubic.p1), moved(cubic.p2), moved(cubic.p3))
}

/// Length of cubics end to end in mm.
pub(crate) fn length_mm(curve: &[CubicBez]) -> f64 {
    curve.iter().map(|c| c.arclen(LENGTH_ACCURACY_MM)).sum()
}

/// A curve from its end to its beginning.
fn reversed(curve: &[CubicBez]) -> Vec<CubicBez> {
    curve.iter().rev().map(|c| CubicBez::new(c.p3, c.p2, c.p1, c.p0)).collect()
}

/// Direction in which a curve leaves its first point, of length 1; zero when all its points are one.
pub(crate) fn heading(curve: &[CubicBez]) -> Vec2 {
    let Some(start) = curve.first().map(|c| c.p0) else { return Vec2::ZERO };
    curve
        .iter()
        .flat_map(|c| [c.p1, c.p2, c.p3])
        .map(|p| p - start)
        .find(|v| v.hypot2() > 0.0)
        .map_or(Vec2::ZERO, Vec2::normalize)
}
