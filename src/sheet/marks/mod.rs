//! What is printed around the picture: crop marks, rules, register crosses, working squares and the title block.
//!
//! All of it is laid out on the sheet as shown (mirrored and turned already), outwards from the picture, and keeps off
//! the edge of the paper that a printer cannot reach. What finds no room is left out, and a note says so.

mod divide;
mod rules;
mod squares;
mod title;

pub use divide::Cell;
pub(crate) use divide::clipped;
pub use rules::Rule;
pub use squares::{Squares, column_name};
pub use title::TitleBlock;

use super::{Placement, RectMm, View};
use crate::notes::Noted;
use crate::units::MM_PER_INCH;
use kurbo::{Affine, BezPath, Point};

/// Edge of the paper that printers do not reach unless set, in mm (common practice, no source).
pub const DEFAULT_PRINTER_MARGIN_MM: f64 = 5.0;
/// Side of a working square on paper sold by the millimetre, in mm (common practice, no source).
pub const DEFAULT_SQUARE_MM: f64 = 25.0;
/// Side of a working square on paper sold by the inch, in mm: one inch (common practice, no source).
pub const DEFAULT_SQUARE_US_MM: f64 = MM_PER_INCH;

/// Width of marks in mm: the finest but one of ISO 128-2's series.
pub(super) const MARK_LINE_MM: f64 = 0.18;
/// Distances from the picture in mm: crop marks and the ticks of squares begin and end.
const CROP_MM: [f64; 2] = [1.0, 5.5];
/// Distance of the register crosses from the picture, across and down, in mm.
const CROSS_MM: f64 = 9.5;
/// Nearest they may come where margins are small, in mm: clear of the crop marks.
const NEAREST_CROSS_MM: f64 = 7.0;
/// Half the length of a cross's arms, in mm.
pub(super) const CROSS_ARM_MM: f64 = 3.0;

/// How far the ground around a text is cleared, in mm.
pub(super) const CLEARED_MM: f64 = 0.5;

/// What can be switched apart in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Layer {
    /// The reference, faint, under everything.
    Reference,
    /// Tints of the areas by value.
    Tints,
    /// Boundary lines of hard edges.
    Hard,
    /// Boundary lines of soft edges.
    Soft,
    /// Centre lines of thin marks.
    Thin,
    /// Lines added by hand.
    Guides,
    /// Working squares: ticks, and the grid if there is one.
    Squares,
    /// Names of the working squares.
    Numbers,
    /// Value numbers with their leaders.
    Values,
    /// The key to the values.
    Key,
    /// The sheet of value structure.
    Structure,
    /// The order in which the working squares are inked.
    Order,
    /// Crop marks, rules, crosses, title block, trim lines.
    Marks,
}

impl Layer {
    /// All layers, in the order in which they are drawn.
    pub const ALL: [Self; 13] = [
        Self::Reference,
        Self::Tints,
        Self::Hard,
        Self::Soft,
        Self::Thin,
        Self::Guides,
        Self::Squares,
        Self::Numbers,
        Self::Values,
        Self::Key,
        Self::Structure,
        Self::Order,
        Self::Marks,
    ];

    /// Its name as a group of an SVG and in file names.
    #[must_use]
    pub fn id(self) -> &'static str {
        match self {
            Self::Reference => "reference",
            Self::Tints => "tints",
            Self::Hard => "hard",
            Self::Soft => "soft",
            Self::Thin => "thin",
            Self::Guides => "guides",
            Self::Squares => "squares",
            Self::Numbers => "numbers",
            Self::Values => "values",
            Self::Key => "value-key",
            Self::Structure => "structure",
            Self::Order => "order",
            Self::Marks => "marks",
        }
    }

    /// Its name as a viewer lists it.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Self::Reference => "Reference",
            Self::Tints => "Tints",
            Self::Hard => "Hard edges",
            Self::Soft => "Soft edges",
            Self::Thin => "Thin marks",
            Self::Guides => "Guide lines",
            Self::Squares => "Working squares",
            Self::Numbers => "Numbers",
            Self::Values => "Value numbers",
            Self::Key => "Key",
            Self::Structure => "Value structure",
            Self::Order => "Order of work",
            Self::Marks => "Marks",
        }
    }

    /// Whether it lies under the boundary lines.
    #[must_use]
    pub fn lies_under(self) -> bool {
        matches!(self, Self::Reference | Self::Tints | Self::Squares)
    }

    /// Whether it is black whatever colour the lines have, because it is read or compared with ink.
    #[must_use]
    pub fn is_black(self) -> bool {
        matches!(self, Self::Tints | Self::Values | Self::Key | Self::Structure | Self::Order)
    }
}

/// A filled shape.
#[derive(Clone, Debug, PartialEq)]
pub struct Fill {
    /// Its layer.
    pub layer: Layer,
    /// Its outline in mm; what it goes around more often one way than the other is filled.
    pub outline: BezPath,
    /// How strong it is: 1 black, 0 paper.
    pub strength: f64,
}

/// Straight lines of one look.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkLines {
    /// Their layer.
    pub layer: Layer,
    /// Each a chain of points in mm.
    pub paths: Vec<Vec<Point>>,
    /// Width in mm.
    pub line_mm: f64,
    /// How strong they are, 1 as the boundary lines, 0 invisible.
    pub strength: f64,
}

/// Which part of a text lies at its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Its beginning.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// A text on one line.
#[derive(Clone, Debug, PartialEq)]
pub struct Lettering {
    /// Its layer.
    pub layer: Layer,
    /// What it says.
    pub text: String,
    /// Where its anchor lies on its baseline, in mm.
    pub at: Point,
    /// Height of its capitals in mm.
    pub height_mm: f64,
    /// Which part of it lies there.
    pub anchor: Anchor,
    /// Quarter turns clockwise.
    pub quarter_turns: u8,
}

impl Lettering {
    /// A text whose capitals have their middle at a point, upright.
    #[must_use]
    pub fn centred(layer: Layer, text: String, middle: Point, height_mm: f64) -> Self {
        let at = Point::new(middle.x, middle.y + height_mm / 2.0);
        Self { layer, text, at, height_mm, anchor: Anchor::Middle, quarter_turns: 0 }
    }

    /// Two opposite corners of the box that it fills, in mm.
    #[must_use]
    pub fn bounds(&self) -> [Point; 2] {
        let width = super::lettering::width_mm(&self.text, self.height_mm);
        let turn = super::lettering::quarter_turned(self.quarter_turns);
        let start = self.start();
        [start, start + (turn * Point::new(width, -self.height_mm)).to_vec2()]
    }

    /// Where its baseline begins, in mm.
    #[must_use]
    pub fn start(&self) -> Point {
        let back = match self.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => 0.5,
            Anchor::End => 1.0,
        } * super::lettering::width_mm(&self.text, self.height_mm);
        let turn = super::lettering::quarter_turned(self.quarter_turns);
        self.at - (turn * Point::new(back, 0.0)).to_vec2()
    }
}

/// Everything that is printed around and over the picture, in mm.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Furniture {
    /// Filled shapes, under the lines and texts of their layer.
    pub fills: Vec<Fill>,
    /// Lines.
    pub lines: Vec<MarkLines>,
    /// Texts.
    pub texts: Vec<Lettering>,
    /// Middles of the register crosses.
    pub crosses: Vec<Point>,
    /// The printed rules.
    pub rules: Vec<Rule>,
    /// The working squares.
    pub squares: Option<Squares>,
    /// Rectangles kept bare of what lies under these lines and texts, so that texts can be read.
    pub cleared: Vec<RectMm>,
}

impl Furniture {
    /// Whether a layer holds anything.
    #[must_use]
    pub fn has(&self, layer: Layer) -> bool {
        self.fills.iter().any(|f| f.layer == layer)
            || self.lines.iter().any(|l| l.layer == layer)
            || self.texts.iter().any(|t| t.layer == layer)
    }

    /// Adds another's shapes, lines, texts and rules, moved by a transform; texts keep the way they run.
    pub(crate) fn add(&mut self, other: &Self, transform: Affine) {
        let fill = |f: &Fill| Fill { outline: transform * f.outline.clone(), ..f.clone() };
        self.fills.extend(other.fills.iter().map(fill));
        for lines in &other.lines {
            let moved = |path: &Vec<Point>| path.iter().map(|&p| transform * p).collect();
            self.lines.push(MarkLines { paths: lines.paths.iter().map(moved).collect(), ..lines.clone() });
        }
        self.texts.extend(other.texts.iter().map(|t| Lettering { at: transform * t.at, ..t.clone() }));
        self.rules.extend(other.rules.iter().map(|rule| {
            let at = transform * Point::new(rule.x, rule.y);
            Rule { x: at.x, y: at.y, ..*rule }
        }));
    }

    /// Adds what is printed on another page, so far below.
    pub(crate) fn append_below(&mut self, other: &Self, down_mm: f64) {
        self.add(other, Affine::translate((0.0, down_mm)));
    }

    /// Adds a text and clears the ground under it.
    pub(super) fn write_cleared(&mut self, text: Lettering) {
        let [a, b] = text.bounds();
        let low = Point::new(a.x.min(b.x), a.y.min(b.y));
        let high = Point::new(a.x.max(b.x), a.y.max(b.y));
        self.cleared.push(RectMm {
            x: low.x - CLEARED_MM,
            y: low.y - CLEARED_MM,
            width: high.x - low.x + 2.0 * CLEARED_MM,
            height: high.y - low.y + 2.0 * CLEARED_MM,
        });
        self.texts.push(text);
    }

    /// Adds lines of the usual look of marks.
    pub(super) fn mark(&mut self, layer: Layer, paths: Vec<Vec<Point>>) {
        self.lines.push(MarkLines { layer, paths, line_mm: MARK_LINE_MM, strength: 1.0 });
    }
}

/// What is to be printed around the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct MarkOptions {
    /// Edge of the paper that the printer does not reach, in mm.
    pub printer_margin_mm: f64,
    /// Side of the working squares in mm; none without.
    pub square_mm: Option<f64>,
    /// Whether the squares are drawn as a very light grid over the picture too.
    pub square_grid: bool,
    /// What the title block says.
    pub title: TitleBlock,
}

/// The four sides of a rectangle; a distance from a side counts outwards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    Top,
    Right,
    Bottom,
    Left,
}

/// The sheet as the marks see it.
pub(super) struct Ground {
    /// The picture as shown.
    pub(super) picture: RectMm,
    /// The part of the sheet that a printer reaches: left, top, right, bottom.
    pub(super) reach: [f64; 4],
}

impl Ground {
    /// Room in mm between the picture and what the printer reaches.
    pub(super) fn room(&self, side: Side) -> f64 {
        let [left, top, right, bottom] = self.reach;
        let p = &self.picture;
        match side {
            Side::Top => p.y - top,
            Side::Right => right - p.x - p.width,
            Side::Bottom => bottom - p.y - p.height,
            Side::Left => p.x - left,
        }
    }
}

/// Lays out everything that is printed around the picture of a sheet as shown in a view.
#[must_use]
pub fn furnish(placement: &Placement, view: View, options: &MarkOptions) -> Noted<Furniture> {
    let shown = view.placement(placement);
    let edge = options.printer_margin_mm;
    let ground = Ground {
        picture: shown.picture_mm,
        reach: [edge, edge, shown.sheet_mm[0] - edge, shown.sheet_mm[1] - edge],
    };
    let mut notes = Vec::new();
    let least_room = [Side::Top, Side::Right, Side::Bottom, Side::Left]
        .map(|s| ground.room(s))
        .into_iter()
        .fold(f64::MAX, f64::min);
    if least_room < 0.0 {
        notes.push(format!(
            "The picture comes nearer to the edge of the sheet than {edge} mm, where many printers do not print: a larger \
             --margin keeps it whole."
        ));
    }
    let mut furniture = Furniture::default();
    if let Some(side_mm) = options.square_mm {
        squares::draw(&mut furniture, placement, view, side_mm, options.square_grid, &ground);
    }
    crop_marks(&mut furniture, &ground);
    crosses(&mut furniture, &ground, least_room, &mut notes);
    let below = rules::draw(&mut furniture, &ground, &mut notes);
    title::draw(&mut furniture, &ground, &options.title, view.mirrored, below, &mut notes);
    Noted::with(furniture, notes)
}

/// Two short lines at each corner of the picture, in line with its edges.
fn crop_marks(furniture: &mut Furniture, ground: &Ground) {
    let p = &ground.picture;
    let mut paths = Vec::new();
    for (x, outward_x, side_x) in [(p.x, -1.0, Side::Left), (p.x + p.width, 1.0, Side::Right)] {
        for (y, outward_y, side_y) in [(p.y, -1.0, Side::Top), (p.y + p.height, 1.0, Side::Bottom)] {
            let [near, far] = CROP_MM;
            let far_x = far.min(ground.room(side_x));
            if far_x > near {
                paths.push(vec![Point::new(x + outward_x * near, y), Point::new(x + outward_x * far_x, y)]);
            }
            let far_y = far.min(ground.room(side_y));
            if far_y > near {
                paths.push(vec![Point::new(x, y + outward_y * near), Point::new(x, y + outward_y * far_y)]);
            }
        }
    }
    if !paths.is_empty() {
        furniture.mark(Layer::Marks, paths);
    }
}

/// A register cross off each corner of the picture, all at one distance.
fn crosses(furniture: &mut Furniture, ground: &Ground, least_room: f64, notes: &mut Vec<String>) {
    let distance = CROSS_MM.min(least_room - CROSS_ARM_MM);
    if distance < NEAREST_CROSS_MM {
        notes.push(format!(
            "There is no room for register crosses: they need {:.0} mm between the picture and the edge that the printer \
             reaches, on every side.",
            NEAREST_CROSS_MM + CROSS_ARM_MM
        ));
        return;
    }
    let p = &ground.picture;
    let mut paths = Vec::new();
    for y in [p.y - distance, p.y + p.height + distance] {
        for x in [p.x - distance, p.x + p.width + distance] {
            let middle = Point::new(x, y);
            furniture.crosses.push(middle);
            paths.extend(cross(middle, CROSS_ARM_MM));
        }
    }
    furniture.mark(Layer::Marks, paths);
}

/// The two lines of a cross.
pub(super) fn cross(middle: Point, arm_mm: f64) -> [Vec<Point>; 2] {
    let Point { x, y } = middle;
    [
        vec![Point::new(x - arm_mm, y), Point::new(x + arm_mm, y)],
        vec![Point::new(x, y - arm_mm), Point::new(x, y + arm_mm)],
    ]
}

#[cfg(test)]
mod tests;
