//! The planar boundary net: areas, the transitions between them, and the junctions where three meet.

use kurbo::{BezPath, CubicBez, Point};

use super::amount::{length_nm, mm_of};

/// A point where three or more areas meet.
#[derive(Clone, Debug, PartialEq)]
pub struct Junction {
    /// Where it lies, in mm on the picture.
    pub at: Point,
}

/// A connected patch of one value.
#[derive(Clone, Debug, PartialEq)]
pub struct NetArea {
    /// Value number, 1 lightest.
    pub value: u8,
    /// Its size in mm2 on the picture.
    pub size_mm2: f64,
    /// Its own tone: L* of its mean reflectance.
    pub tone: f64,
    /// Whether the artist's edits made it what it is, whatever its tone.
    pub edited: bool,
}

/// The shared border of two areas, drawn once.
#[derive(Clone, Debug, PartialEq)]
pub struct Transition {
    /// Junction where the curve begins; `None` when it closes on itself or begins on the picture's edge.
    pub from: Option<usize>,
    /// Junction where the curve ends; `None` when it closes on itself or ends on the picture's edge.
    pub to: Option<usize>,
    /// Whether the curve closes on itself without a junction.
    pub closed: bool,
    /// Index of the area on the left of the curve, walking along it with y down (seen on the sheet).
    pub left: usize,
    /// Index of the area on the right.
    pub right: usize,
    /// Value numbers on the left and right.
    pub values: [u8; 2],
    /// The boundary line: cubics that join end to end, in mm on the picture.
    pub curve: Vec<CubicBez>,
    /// Width of the edge (10 to 90 % of the tone's change across) in mm, at even steps along the curve.
    pub width_mm: Vec<f64>,
    /// Median of `width_mm`.
    pub edge_mm: f64,
    /// Whether the edge counts as hard (median width at most the limit asked for).
    pub hard: bool,
    /// Merging height at which the transition dies, in L*^2 mm; infinite where an edit keeps it.
    pub height: f64,
    /// Whether the artist does not want it drawn: it parts its areas all the same.
    pub suppressed: bool,
}

impl Transition {
    /// Where the curve begins.
    ///
    /// # Panics
    /// Never for a transition of a [`BoundaryNet`]: its curve holds at least one cubic.
    #[must_use]
    pub fn start(&self) -> Point {
        self.curve[0].p0
    }

    /// Where the curve ends.
    #[must_use]
    pub fn end(&self) -> Point {
        self.curve[self.curve.len() - 1].p3
    }

    /// The curve as one path.
    #[must_use]
    pub fn path(&self) -> BezPath {
        let mut path = BezPath::new();
        path.move_to(self.start());
        for c in &self.curve {
            path.curve_to(c.p1, c.p2, c.p3);
        }
        if self.closed {
            path.close_path();
        }
        path
    }

    /// Number of nodes: places where its cubics begin and end.
    #[must_use]
    pub fn nodes(&self) -> usize {
        self.curve.len() + usize::from(!self.closed)
    }

    /// Length of the curve in mm, within 0.001 mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        mm_of(length_nm(&self.curve))
    }
}

/// All areas, transitions and junctions of one picture, in mm on the picture (origin at its top left, y down).
///
/// Invariants: every transition separates two different areas of different value and is stored once; its ends
/// are junctions or lie on the picture's edge, or it is closed; curves meet only at junctions; coordinates are
/// whole micrometres (0.001 mm), so that what is proven is what is written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BoundaryNet {
    /// Width of the picture in mm.
    pub width_mm: f64,
    /// Height of the picture in mm.
    pub height_mm: f64,
    /// Where three or more areas meet.
    pub junctions: Vec<Junction>,
    /// The borders between areas.
    pub transitions: Vec<Transition>,
    /// The areas.
    pub areas: Vec<NetArea>,
}

impl BoundaryNet {
    /// The transitions that are drawn: all but the suppressed ones.
    pub fn drawn(&self) -> impl Iterator<Item = &Transition> {
        self.transitions.iter().filter(|t| !t.suppressed)
    }

    /// Length of all boundary lines in mm.
    #[must_use]
    pub fn length_mm(&self) -> f64 {
        mm_of(self.transitions.iter().map(|t| length_nm(&t.curve)).sum())
    }
}
