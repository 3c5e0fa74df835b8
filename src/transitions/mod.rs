//! Transitions: the borders between areas as a planar net of fitted curves.
//!
//! In: [`ToneField`] and [`AreaMap`] (pixels). Out: [`BoundaryNet`] (mm on the picture): here pixels end and
//! millimetres begin.
//! Keeps: each border is one curve; curves meet only at junctions; coordinates are whole micrometres.
//! The finest net is placed, fitted and proven once; a plainness only chooses which of its lines are drawn.

mod net;
mod trace;
mod lines;
mod place;
mod smooth;
pub mod corners;
pub mod fit;
pub mod proof;
mod edge;
mod shape;
mod weave;
mod cut;
mod fill;

use rayon::prelude::*;

use crate::areas::AreaMap;
use crate::raster::Raster;
use crate::tone::ToneField;

pub use net::{BoundaryNet, Junction, NetArea, Transition};
pub(crate) use place::{normals, sample};
pub(crate) use smooth::{even, smooth};

/// Settings of the transitions stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NetOptions {
    /// How far areas are merged, 0 (every difference that the texture allows one to believe) to 100.
    pub plainness: f64,
    /// Most distance of a fitted curve from its smoothed border, in mm.
    pub tolerance_mm: f64,
    /// Widest edge that counts as hard, in mm (10 to 90 % of the change of tone).
    pub hard_limit_mm: f64,
}

impl Default for NetOptions {
    fn default() -> Self {
        Self { plainness: DEFAULT_PLAINNESS, tolerance_mm: 0.1, hard_limit_mm: 1.5 }
    }
}

/// Plainness at which a picture with figures gives about 3 to 5 m of line on A4; see DEVELOPERS.md.
pub const DEFAULT_PLAINNESS: f64 = 55.0;

/// Merging height in L*^2 mm at plainness just above 0 and at 100; between them a logarithmic map.
const HEIGHTS: [f64; 2] = [10.0, 20_000.0];

/// A boundary net with what belongs to it.
#[derive(Clone, Debug)]
pub struct Traced {
    /// The net at the plainness asked for.
    pub net: BoundaryNet,
    /// Value number of each working pixel.
    pub values: Raster<u8>,
    /// Lines of the finest net that had to be fitted more tightly so that nothing crosses.
    pub refits: usize,
    /// Places where the proof still finds two lines meeting; anything but 0 is a fault of the program.
    pub meetings: usize,
}

/// Merging height in L*^2 mm for a plainness of 0 to 100; 0 merges only what the texture makes doubtful.
#[must_use]
pub fn merging_height(plainness: f64) -> f64 {
    if plainness <= 0.0 {
        return 0.0;
    }
    HEIGHTS[0] * (HEIGHTS[1] / HEIGHTS[0]).powf(plainness.min(100.0) / 100.0)
}

/// Builds the boundary net of a picture.
#[must_use]
pub fn trace(tone: &ToneField, areas: &AreaMap, options: &NetOptions) -> Traced {
    let tracing = trace::trace(&areas.ids);
    let tree = &areas.tree;
    let heights: Vec<f64> =
        tracing.arcs.iter().map(|a| tree.height_between(a.sides[0] as usize, a.sides[1] as usize)).collect();
    let finest = tree.cut(0.0);
    let value_of = |leaf: u32| tree.value(finest[leaf as usize]);
    let lines = lines::through_lines(&tracing, &heights, 0.0);
    // Break of L* at each point, by the values on both sides in the finest net.
    let levels: Vec<Vec<f64>> = lines
        .par_iter()
        .map(|line| {
            let of_arc = |w: &lines::Walked| {
                let [l, r] = tracing.arcs[w.arc].sides.map(value_of);
                tone.scale.break_between(l, r)
            };
            let by_arc: Vec<f64> = line.arcs.iter().map(of_arc).collect();
            line.arc_of.iter().map(|&a| by_arc[a as usize]).collect()
        })
        .collect();
    let weave_options =
        weave::WeaveOptions { tolerance_mm: options.tolerance_mm, narrowest_mm: areas.used.narrowest_mm };
    let (woven, refits, meetings) = weave::weave(tone, &lines, &levels, &tracing.junctions, &weave_options);
    let height = merging_height(options.plainness);
    let (net, values) = assemble(tone, areas, &tracing, &lines, &woven, height, options);
    Traced { net, values, refits, meetings }
}

/// The lines that live above a height, cut at the junctions that are left.
fn assemble(
    tone: &ToneField,
    areas: &AreaMap,
    tracing: &trace::Tracing,
    lines: &[lines::Line],
    woven: &[weave::Woven],
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
            });
        }
    }
    let area_of = |leaf: u32| number[cut[leaf as usize]];
    // A junction is left where a living line ends on another.
    let mut ends_here = vec![false; tracing.junctions.len()];
    for line in lines.iter().filter(|l| l.height > height) {
        for end in line.ends {
            if let trace::ArcEnd::Junction(j) = end {
                ends_here[j] = true;
            }
        }
    }
    let mut junction_number = vec![None; tracing.junctions.len()];
    let mut junctions = Vec::new();
    let mut transitions = Vec::new();
    for (line, w) in lines.iter().zip(woven).filter(|(l, _)| l.height > height) {
        for piece in cut::cut(line, w, &|j| ends_here[j]) {
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
            });
        }
    }
    transitions.par_iter_mut().for_each(|t| {
        t.width_mm = edge::widths(tone, &t.curve);
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
