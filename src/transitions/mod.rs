//! Transitions: the borders between areas as a planar net of fitted curves.
//!
//! In: [`ToneField`] and [`AreaMap`] (pixels). Out: [`BoundaryNet`] (mm on the picture): here pixels end and
//! millimetres begin.
//! Keeps: each border is one curve; curves meet only at junctions; coordinates are whole micrometres.
//! The finest net is placed, fitted and proven once; a plainness only chooses which of its lines are drawn.

mod net;
mod walk;
mod trace;
mod lines;
mod place;
mod regional;
mod across;
mod ends;
mod continued;
mod smooth;
mod steady;
pub mod corners;
pub mod fit;
pub mod proof;
mod edge;
mod shape;
mod weave;
mod turned;
mod cut;
mod distances;
mod amount;
mod by_hand;
mod fill;

use rayon::prelude::*;

use crate::areas::AreaMap;
use crate::raster::Raster;
use crate::tone::{ReferenceKind, ToneField};

pub use amount::{Amount, DEFAULT_PLAINNESS, HowMuch, height_for, merging_height, plainness_of};
pub use distances::Moved;
pub use net::{BoundaryNet, Junction, NetArea, Transition};
pub(crate) use place::{normals, sample};
pub(crate) use smooth::{even, smooth};
pub use walk::{AreaPolygon, FrameContact, Outline, Part, WalkError};

/// Settings of the transitions stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NetOptions {
    /// How much is drawn.
    pub how_much: HowMuch,
    /// Most distance of a fitted curve from its smoothed border, in mm.
    pub tolerance_mm: f64,
    /// Widest edge that counts as hard, in mm (10 to 90 % of the change of tone).
    pub hard_limit_mm: f64,
}

impl Default for NetOptions {
    fn default() -> Self {
        Self { how_much: HowMuch::default(), tolerance_mm: 0.1, hard_limit_mm: 1.5 }
    }
}

/// A boundary net with what belongs to it.
#[derive(Clone, Debug)]
pub struct Traced {
    /// The net with as much as was asked for.
    pub net: BoundaryNet,
    /// Merging height of that net, in L*^2 mm: what dies at or under it is not drawn.
    pub height: f64,
    /// Length and number of areas over merging height, lowest first: at 0 (the finest net, never missing) and at
    /// each distinct height at which a line dies, up to the last, where nothing is left. Each holds up to the next.
    pub amounts: Vec<Amount>,
    /// Value number of each working pixel, as the lines part them.
    pub values: Raster<u8>,
    /// How far the lines that are drawn were moved at most.
    pub moved: Moved,
    /// Lines of the finest net that had to be fitted more tightly so that nothing crosses.
    pub refits: usize,
    /// Places where the proof still finds two lines meeting, or a line on the wrong side of another; anything but 0 is a
    /// fault of the program.
    pub meetings: usize,
}

/// The borders of all areas of a picture, along pixel cracks and as lines that run through junctions: what a net is traced on.
pub struct Borders {
    tracing: trace::Tracing,
    /// Merging height of each arc.
    heights: Vec<f64>,
    lines: Vec<lines::Line>,
    /// What lies on both sides of each point, in the finest net.
    sides: Vec<Vec<place::Side>>,
    /// Tones as reflectance.
    light: Raster<f32>,
    /// Area of the finest net that each pixel lies in.
    nodes: Raster<u32>,
}

impl Borders {
    /// Walks the borders of all areas.
    #[must_use]
    pub fn of(tone: &ToneField, areas: &AreaMap) -> Self {
        let tree = &areas.tree;
        let finest = tree.cut(0.0);
        let (tracing, (light, nodes)) = rayon::join(
            || trace::trace(&areas.ids),
            || (tone.light(), areas.ids.map(|leaf| finest[leaf as usize] as u32)),
        );
        let heights: Vec<f64> = tracing
            .arcs
            .iter()
            .map(|a| tree.height_between(a.sides[0] as usize, a.sides[1] as usize))
            .collect();
        let lines = lines::through_lines(&tracing, &heights, 0.0);
        let mut sides: Vec<Vec<place::Side>> = lines
            .par_iter()
            .map(|line| {
                let of_arc = |w: &lines::Walked| {
                    let [mut left, mut right] = tracing.arcs[w.arc].sides.map(|leaf| finest[leaf as usize]);
                    if w.backward {
                        std::mem::swap(&mut left, &mut right);
                    }
                    let [l, r] = [left, right].map(|node| tree.value(node));
                    place::Side {
                        left: left as u32,
                        right: right as u32,
                        left_lighter: l < r,
                        level: tone.scale.break_between(l, r),
                        by_hand: false,
                    }
                };
                let by_arc: Vec<place::Side> = line.arcs.iter().map(of_arc).collect();
                line.arc_of.iter().map(|&a| by_arc[a as usize]).collect()
            })
            .collect();
        if let Some(edited) = &areas.edited {
            sides.par_iter_mut().zip(&lines).for_each(|(sides, line)| {
                let leaves = |i: usize| {
                    let walked = line.arcs[line.arc_of[i] as usize];
                    let [left, right] = tracing.arcs[walked.arc].sides;
                    if walked.backward { [right, left] } else { [left, right] }
                };
                by_hand::sides(edited, &tone.scale, line, sides, &areas.ids, leaves);
            });
        }
        Self { tracing, heights, lines, sides, light, nodes }
    }

    /// Looks along the borders for holding lines, where the reference has a texture of ink, and notes in the tone what
    /// is seen: [`KindEvidence::outlined`](crate::tone::KindEvidence), and a hatched reference that shows them has the kind
    /// with holding lines unless its kind was set by hand. Whether the kind is another now.
    pub fn note_outlines(&self, tone: &mut ToneField, areas: &AreaMap) -> bool {
        if !tone.is_textured() {
            return false;
        }
        let outlined = self.outlined(tone, areas);
        tone.evidence.outlined = Some(outlined);
        let by_hand = tone.evidence.set_by_hand;
        let new = !by_hand && regional::has_lines(outlined) && tone.kind != ReferenceKind::HatchedWithLines;
        if new {
            tone.kind = ReferenceKind::HatchedWithLines;
        }
        new
    }

    fn outlined(&self, tone: &ToneField, areas: &AreaMap) -> f64 {
        regional::outlined(&self.ground(tone, areas, false), &self.lines, &self.sides)
    }

    /// What lines are placed on.
    fn ground<'a>(&'a self, tone: &'a ToneField, areas: &'a AreaMap, outlined: bool) -> place::Ground<'a> {
        place::Ground {
            tone,
            light: &self.light,
            nodes: &self.nodes,
            edited: areas.edited.as_ref(),
            outlined,
        }
    }

    /// Builds the boundary net of the tones and areas that these are the borders of.
    #[must_use]
    pub fn trace(&self, tone: &ToneField, areas: &AreaMap, options: &NetOptions) -> Traced {
        let evidence = &tone.evidence;
        let asked = tone.is_textured() && evidence.outlined.is_none() && !evidence.set_by_hand;
        let outlined = tone.kind == ReferenceKind::HatchedWithLines
            || asked && regional::has_lines(self.outlined(tone, areas));
        let Self { tracing, heights, lines, sides, .. } = self;
        let weave_options =
            weave::WeaveOptions { tolerance_mm: options.tolerance_mm, narrowest_mm: areas.finest_mm };
        let ground = self.ground(tone, areas, outlined);
        let weave::Weaving { woven, moved, refits, meetings } =
            weave::weave(&ground, lines, sides, &tracing.junctions, &weave_options);
        let amounts = amount::amounts(tracing, heights, lines, &woven);
        let height = height_for(&amounts, options.how_much);
        let by_hand = by_hand::beside(areas.edited.as_ref(), &sides.concat(), tone.px_per_mm);
        let (net, values) = assemble(tone, areas, tracing, lines, (&woven, &by_hand), height, options);
        let drawn = lines.iter().zip(&moved).filter(|(line, _)| line.height > height);
        let moved = drawn.fold(Moved::default(), |farthest, (_, &of_line)| farthest.or_farther(of_line));
        Traced { net, height, amounts, values, moved, refits, meetings }
    }
}

/// Builds the boundary net of a picture.
#[must_use]
pub fn trace(tone: &ToneField, areas: &AreaMap, options: &NetOptions) -> Traced {
    Borders::of(tone, areas).trace(tone, areas, options)
}

/// The lines that live above a height, cut at the junctions that are left.
fn assemble(
    tone: &ToneField,
    areas: &AreaMap,
    tracing: &trace::Tracing,
    lines: &[lines::Line],
    (woven, by_hand): (&[weave::Woven], &[Vec<kurbo::Point>]),
    height: f64,
    options: &NetOptions,
) -> (BoundaryNet, Raster<u8>) {
    let tree = &areas.tree;
    let cut = tree.cut(height);
    let mut number = vec![usize::MAX; cut.iter().copied().max().map_or(0, |m| m + 1)];
    let mut net_areas = Vec::new();
    let px2 = tone.px_per_mm * tone.px_per_mm;
    for &node in &cut {
        if number[node] == usize::MAX {
            number[node] = net_areas.len();
            let sums = tree.sums(node);
            net_areas.push(NetArea {
                value: tree.value(node),
                size_mm2: sums.pixels / px2,
                tone: sums.tone(),
                edited: false,
            });
        }
    }
    for (leaf, &pinned) in areas.edited.iter().flat_map(|edited| &edited.pinned).enumerate() {
        net_areas[number[cut[leaf]]].edited |= pinned;
    }
    let area_of = |leaf: u32| number[cut[leaf as usize]];
    // A junction is left where a living line ends on another.
    let junction_heights = amount::junction_heights(lines, tracing.junctions.len());
    let mut junction_number = vec![None; tracing.junctions.len()];
    let mut junctions = Vec::new();
    let mut transitions = Vec::new();
    for (line, w) in lines.iter().zip(woven).filter(|(l, _)| l.height > height) {
        for piece in cut::cut(line, w, &|j| junction_heights[j] > height) {
            let walked = line.walked(piece.behind);
            let arc = &tracing.arcs[walked.arc];
            let [mut left, mut right] = arc.sides.map(area_of);
            if walked.backward {
                std::mem::swap(&mut left, &mut right);
            }
            let ends = piece.ends;
            let places = [piece.curve[0].p0, piece.curve[piece.curve.len() - 1].p3];
            let mut numbered = [None; 2];
            for e in 0..2 {
                if let Some(j) = ends[e] {
                    numbered[e] = Some(*junction_number[j].get_or_insert_with(|| {
                        junctions.push(Junction { at: places[e] });
                        junctions.len() - 1
                    }));
                }
            }
            transitions.push(Transition {
                from: numbered[0],
                to: numbered[1],
                closed: piece.closed,
                left,
                right,
                values: [net_areas[left].value, net_areas[right].value],
                curve: piece.curve,
                width_mm: Vec::new(),
                edge_mm: 0.0,
                hard: false,
                height: line.height,
                suppressed: false,
            });
        }
    }
    transitions.par_iter_mut().for_each(|t| {
        t.width_mm = edge::widths(tone, &t.curve);
        if !by_hand.is_empty() && by_hand::follows(by_hand, &t.curve) {
            // There the tone has no edge to measure: the artist's line is as sharp as it was drawn.
            t.width_mm.fill(0.0);
        }
        let mut sorted = t.width_mm.clone();
        sorted.sort_by(f64::total_cmp);
        t.edge_mm = sorted[sorted.len() / 2];
        t.hard = t.edge_mm <= options.hard_limit_mm;
    });
    let mut net = BoundaryNet {
        width_mm: areas.ids.width() as f64 / tone.px_per_mm,
        height_mm: areas.ids.height() as f64 / tone.px_per_mm,
        junctions,
        transitions,
        areas: net_areas,
    };
    // Sizes and the value map are those of the areas as drawn, not of the pixels they were found in.
    let (w, h) = (areas.ids.width(), areas.ids.height());
    let painted = fill::areas(&net, w, h, tone.px_per_mm, |y| area_of(areas.ids.at(w / 2, y)));
    let mut pixels = vec![0_u32; net.areas.len()];
    painted.data().iter().for_each(|&a| pixels[a as usize] += 1);
    for (area, &n) in net.areas.iter_mut().zip(&pixels) {
        area.size_mm2 = f64::from(n) / px2;
    }
    let values = painted.map(|a| net.areas[a as usize].value);
    (net, values)
}
