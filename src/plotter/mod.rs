//! Plotter: what a machine that holds a pencil draws, in which order, how long it takes and how much pencil it uses.

mod lines;
mod motion;

#[cfg(test)]
mod tests;

pub use motion::{Machine, drawing_s, straight_s};

use crate::sheet::{Furniture, Layer, RectMm};
use crate::strokes::{Gates, StrokePlan, length_mm, shortest_way};
use kurbo::{CubicBez, Point};
use serde::Serialize;

/// How the machine is to draw; lengths in mm. What is not a standard or a formula is common practice, no source.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlotterOptions {
    /// Whether hard and soft edges are one layer, drawn with one pencil.
    pub joined: bool,
    /// Whether corner marks, rules and working squares are drawn too.
    pub marks: bool,
    /// Length after which the pencil is turned or sharpened.
    pub lead_length_mm: Option<f64>,
    /// How far a closed line is drawn on over its beginning.
    pub close_over_mm: f64,
    /// Strokes that are shorter are left out.
    pub least_stroke_mm: f64,
    /// Rectangles of the sheet, as shown, that the pencil keeps out of: clamps, tape.
    pub keep_out: Vec<RectMm>,
    /// Whether each layer and part is a file of its own.
    pub apart: bool,
    /// Chord tolerance of polylines; curves without.
    pub polylines_mm: Option<f64>,
    /// Speeds and acceleration.
    pub machine: Machine,
}

/// One movement with the pencil down.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotterStroke {
    /// The line, in mm on the sheet as shown.
    pub curve: Vec<CubicBez>,
    /// Whether it ends where it begins (and then perhaps goes on over its beginning).
    pub closed: bool,
    /// Transitions of the net that it draws; none for marks, thin marks and guide lines.
    pub transitions: Vec<usize>,
}

/// Strokes that one pencil draws without being turned.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotterPart {
    /// The layer: its id, `boundary` when hard and soft edges are one.
    pub layer: &'static str,
    /// Number of the part of its layer, from 1; 0 when the layer is not divided.
    pub part: usize,
    /// Its strokes in drawing order.
    pub strokes: Vec<PlotterStroke>,
}

impl PlotterPart {
    /// Its name in files.
    #[must_use]
    pub fn name(&self) -> String {
        if self.part == 0 { self.layer.into() } else { format!("{}-{}", self.layer, self.part) }
    }
}

/// The figures of a plan.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PlotterFigures {
    /// Movements with the pencil down.
    pub strokes: usize,
    /// How often the pencil is raised: after every stroke.
    pub lifts: usize,
    /// Length drawn in mm: the pencil used.
    pub down_mm: f64,
    /// Length of travel in mm, from the sheet's top left corner and back to it, in every file.
    pub up_mm: f64,
    /// Time in s, without changes of pencil.
    pub seconds: f64,
    /// Length drawn in mm in each part, in drawing order: the pencil used from one stop to the next.
    pub parts: Vec<PartFigures>,
    /// Strokes left out because they are too short.
    pub short: usize,
    /// Travels that pass over a rectangle that is kept out of.
    pub over_keep_out: usize,
}

/// How much pencil one part uses.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PartFigures {
    /// Its name.
    pub name: String,
    /// Number of strokes.
    pub strokes: usize,
    /// Length drawn in mm.
    pub down_mm: f64,
}

/// What the machine draws.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotterPlan {
    /// Parts in drawing order: marks, boundary lines, thin marks, guide lines, working squares.
    pub parts: Vec<PlotterPart>,
    /// Figures.
    pub figures: PlotterFigures,
}

/// Where the pencil waits: the sheet's top left corner.
const HOME: Point = Point::ZERO;

/// Plans the drawing of strokes and of what is printed around the picture, both as shown.
///
/// Marks come first, so that the sheet can be checked for being square, the working squares last. Lettering is left
/// to the hand.
#[must_use]
pub fn plan_plotter(plan: &StrokePlan, furniture: &Furniture, options: &PlotterOptions) -> PlotterPlan {
    let mut layers = layers(plan, furniture, options);
    let mut figures = PlotterFigures::default();
    for (_, strokes) in &mut layers {
        for rect in &options.keep_out {
            *strokes = strokes.iter().flat_map(|s| lines::outside(s, rect)).collect();
        }
        let before = strokes.len();
        strokes.retain(|s| length_mm(&s.curve) >= options.least_stroke_mm);
        figures.short += before - strokes.len();
    }
    layers.retain(|(_, strokes)| !strokes.is_empty());
    let mut at = HOME;
    let last = layers.len().saturating_sub(1);
    for (k, (_, strokes)) in layers.iter_mut().enumerate() {
        // A file of its own begins and ends where the pencil waits; so does the last layer of one file.
        let back = (options.apart || k == last).then_some(HOME);
        *strokes = ordered(strokes, if options.apart { HOME } else { at }, back);
        at = strokes.last().and_then(|s| s.curve.last()).map_or(at, |c| c.p3);
    }
    for stroke in layers.iter_mut().flat_map(|(_, strokes)| strokes).filter(|s| s.closed) {
        lines::close_over(stroke, options.close_over_mm);
    }
    let parts = divided(layers, options);
    measure(&parts, options, &mut figures);
    PlotterPlan { parts, figures }
}

fn layers(
    plan: &StrokePlan,
    furniture: &Furniture,
    options: &PlotterOptions,
) -> Vec<(&'static str, Vec<PlotterStroke>)> {
    let around = |layer: Layer| {
        let paths =
            furniture.lines.iter().filter(|l| options.marks && l.layer == layer).flat_map(|l| &l.paths);
        paths.filter(|path| path.len() > 1).map(|path| lines::straight(path)).collect::<Vec<_>>()
    };
    let of = |hard: Option<bool>| {
        let strokes = plan.strokes.iter().filter(|s| hard.is_none_or(|hard| s.hard == hard));
        let made = |s: &crate::strokes::Stroke| PlotterStroke {
            curve: s.curve.clone(),
            // A line from a junction back to it may begin anywhere too.
            closed: s.closed,
            transitions: s.transitions.clone(),
        };
        strokes.map(made).collect::<Vec<_>>()
    };
    let mut layers = vec![(Layer::Marks.id(), around(Layer::Marks))];
    if options.joined {
        layers.push(("boundary", of(None)));
    } else {
        layers.push((Layer::Hard.id(), of(Some(true))));
        layers.push((Layer::Soft.id(), of(Some(false))));
    }
    let thin = plan.thin.iter().map(|s| PlotterStroke {
        curve: s.curve.clone(),
        closed: false,
        transitions: Vec::new(),
    });
    layers.push((Layer::Thin.id(), thin.collect()));
    let guides = plan.guides.iter().map(|s| PlotterStroke {
        curve: s.curve.clone(),
        closed: s.closed,
        transitions: Vec::new(),
    });
    layers.push((Layer::Guides.id(), guides.collect()));
    layers.push((Layer::Squares.id(), around(Layer::Squares)));
    layers
}

/// Strokes in the order and direction of short travel, closed ones begun where the pencil comes from.
fn ordered(strokes: &[PlotterStroke], from: Point, back: Option<Point>) -> Vec<PlotterStroke> {
    let places: Vec<Vec<(usize, f64)>> =
        strokes.iter().map(|s| if s.closed { lines::places(&s.curve) } else { Vec::new() }).collect();
    let gates: Vec<Gates> = strokes.iter().zip(&places).map(|(s, places)| lines::gates(s, places)).collect();
    shortest_way(&gates, from, back)
        .into_iter()
        .map(|(i, way)| lines::begun(&strokes[i], &places[i], way))
        .collect()
}

/// Parts of at most the length of lead, each of at least one stroke.
fn divided(layers: Vec<(&'static str, Vec<PlotterStroke>)>, options: &PlotterOptions) -> Vec<PlotterPart> {
    let mut parts: Vec<PlotterPart> = Vec::new();
    let mut used = 0.0;
    for (layer, strokes) in layers {
        // Layers have pencils of their own, unless all is drawn with one.
        if !options.joined {
            used = 0.0;
        }
        let mut part = usize::from(options.lead_length_mm.is_some());
        let mut now = PlotterPart { layer, part, strokes: Vec::new() };
        for stroke in strokes {
            let length = length_mm(&stroke.curve);
            if options.lead_length_mm.is_some_and(|lead| used > 0.0 && used + length > lead) {
                if !now.strokes.is_empty() {
                    parts.push(now);
                    part += 1;
                }
                now = PlotterPart { layer, part, strokes: Vec::new() };
                used = 0.0;
            }
            used += length;
            now.strokes.push(stroke);
        }
        parts.push(now);
    }
    parts
}

fn measure(parts: &[PlotterPart], options: &PlotterOptions, figures: &mut PlotterFigures) {
    let machine = &options.machine;
    let mut at = HOME;
    let mut travels = Vec::new();
    let (mut down, mut seconds) = (0.0, 0.0);
    let rounded = |n: f64| (n * 1000.0).round() / 1000.0;
    for (k, part) in parts.iter().enumerate() {
        let mut of_part = 0.0;
        for stroke in &part.strokes {
            travels.push((at, stroke.curve[0].p0));
            of_part += length_mm(&stroke.curve);
            seconds += drawing_s(&stroke.curve, machine) + machine.lift_s;
            at = stroke.curve[stroke.curve.len() - 1].p3;
        }
        if options.apart || k + 1 == parts.len() {
            travels.push((at, HOME));
            at = HOME;
        }
        down += of_part;
        let strokes = part.strokes.len();
        figures.strokes += strokes;
        figures.parts.push(PartFigures { name: part.name(), strokes, down_mm: rounded(of_part) });
    }
    figures.lifts = figures.strokes;
    figures.down_mm = rounded(down);
    figures.up_mm = rounded(travels.iter().map(|(a, b)| a.distance(*b)).sum());
    seconds +=
        travels.iter().map(|(a, b)| straight_s(a.distance(*b), machine.travel_mm_s, machine)).sum::<f64>();
    figures.seconds = rounded(seconds);
    let over = |(a, b): &&(Point, Point)| options.keep_out.iter().any(|rect| lines::passes(*a, *b, rect));
    figures.over_keep_out = travels.iter().filter(over).count();
}
