//! The net file: the boundary net itself as JSON, for whoever builds on it or checks it.

use super::number::rounded;
use crate::sheet::Placement;
use crate::thin::ThinMark;
use crate::transitions::BoundaryNet;
use kurbo::{CubicBez, Point};
use serde::Serialize;

/// What a net file holds; coordinates are mm on the sheet. Its schema is `schema/net.schema.json`.
#[derive(Serialize)]
struct NetFile {
    junctions: Vec<NetFileJunction>,
    transitions: Vec<NetFileTransition>,
    areas: Vec<NetFileArea>,
    thin: Vec<NetFileThin>,
}

#[derive(Serialize)]
struct NetFileThin {
    value: u8,
    cubics: Vec<[f64; 2]>,
    width_mm: Vec<f64>,
}

#[derive(Serialize)]
struct NetFileJunction {
    id: usize,
    x: f64,
    y: f64,
}

#[derive(Serialize)]
struct NetFileTransition {
    id: usize,
    from: Option<usize>,
    to: Option<usize>,
    left: usize,
    right: usize,
    values: [u8; 2],
    cubics: Vec<[f64; 2]>,
    width_mm: Vec<f64>,
    height: f64,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    suppressed: bool,
}

#[derive(Serialize)]
struct NetFileArea {
    id: usize,
    value: u8,
    size_mm2: f64,
    tone: f64,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    edited: bool,
}

/// The net with the thin marks beside it as JSON text, moved to where the picture lies on the sheet; ids are places in the net's lists.
#[must_use]
pub fn net_json(net: &BoundaryNet, thin: &[ThinMark], placement: &Placement) -> String {
    let offset = placement.offset();
    let on_sheet = |p: Point| [rounded(p.x + offset.x), rounded(p.y + offset.y)];
    let cubics = |curve: &[CubicBez]| -> Vec<[f64; 2]> {
        let first = curve.first().map(|c| c.p0).into_iter();
        first.chain(curve.iter().flat_map(|c| [c.p1, c.p2, c.p3])).map(on_sheet).collect()
    };
    let file = NetFile {
        junctions: net
            .junctions
            .iter()
            .enumerate()
            .map(|(id, junction)| {
                let [x, y] = on_sheet(junction.at);
                NetFileJunction { id, x, y }
            })
            .collect(),
        transitions: net
            .transitions
            .iter()
            .enumerate()
            .map(|(id, t)| NetFileTransition {
                id,
                from: t.from,
                to: t.to,
                left: t.left,
                right: t.right,
                values: t.values,
                cubics: cubics(&t.curve),
                width_mm: t.width_mm.iter().map(|&w| rounded(w)).collect(),
                height: rounded(t.height),
                suppressed: t.suppressed,
            })
            .collect(),
        areas: net
            .areas
            .iter()
            .enumerate()
            .map(|(id, a)| NetFileArea {
                id,
                value: a.value,
                size_mm2: rounded(a.size_mm2),
                tone: rounded(a.tone),
                edited: a.edited,
            })
            .collect(),
        thin: thin
            .iter()
            .map(|m| NetFileThin {
                value: m.value,
                cubics: cubics(&m.curve),
                width_mm: m.width_mm.iter().map(|&w| rounded(w)).collect(),
            })
            .collect(),
    };
    super::report::to_json(&file, false)
}
