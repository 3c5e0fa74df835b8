//! The printer's pages: each with its part of the sheet, trim lines, crosses and the way to its neighbours.

use super::{Cell, PrintOptions, onto};
use crate::sheet::RectMm;
use crate::sheet::lettering::{shortened, width_mm};
use crate::sheet::marks::{
    Anchor, CLEARED_MM, CROSS_ARM_MM, Furniture, Layer, Lettering, MARK_LINE_MM, MarkLines, Rule, cross,
};
use kurbo::{Affine, Point};

/// How strong trim lines are, compared with the boundary lines.
const TRIM_STRENGTH: f64 = 0.45;
/// Dashes and gaps of trim lines in mm.
const DASH_MM: [f64; 2] = [3.0, 2.0];
/// Height of lettering on pages in mm (ISO 3098-1).
const LETTER_MM: f64 = 1.8;
/// Height of the heading of the assembly page in mm (ISO 3098-1).
const HEADING_MM: f64 = 3.5;
/// What stands between the parts of a page's name.
const BETWEEN: &str = "  \u{b7}  ";
/// Where a page's name begins on its edge, its distance from a cross, and half the room of an arrow and its number, in mm.
const START_MM: f64 = 1.5;
const GAP_MM: f64 = 2.0;
const ARROW_MM: f64 = 6.0;
/// How far from the trim line the ground beyond it is cleared, in mm: the line itself stays.
const TRIM_GAP_MM: f64 = 0.3;
/// Share of a neighbour's edge at which the crosses on it lie.
const CROSS_PLACES: [f64; 2] = [0.25, 0.75];
/// Least height of lettering that is drawn smaller to fit, as a share; what is longer still is shortened.
const LEAST_SHARE: f64 = 0.75;
/// What the assembly page says.
const HOW_TO: [&str; 4] = [
    "Print at actual size (100 %), never fitted to the page, and measure the rules on this page first.",
    "Cut each page along its dashed trim lines where another page follows, except where you glue one over the other.",
    "Lay the crosses of neighbours on each other, check with a straight edge, and tape from behind.",
    "If a rule is off, give --print-correction what you measured, such as 199.2/200,200.4/200.",
];

/// The part of a sheet that a page shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SheetOnPage {
    /// From the sheet as shown (mm) to the page (mm from its top left, y down).
    pub transform: Affine,
    /// The part of the sheet as shown that is drawn; all of it without.
    pub shows: Option<RectMm>,
    /// The part that stays when the page is cut at its trim lines.
    pub trimmed: Option<RectMm>,
}

/// One page of the printer.
#[derive(Clone, Debug, PartialEq)]
pub struct Page {
    /// What it is called: "sheet", "assembly", or "page 2 of 6".
    pub name: String,
    /// Its width and height in mm.
    pub size_mm: [f64; 2],
    /// The sheet on it.
    pub sheet: SheetOnPage,
    /// What is printed on it besides, in mm on the page.
    pub own: Furniture,
}

/// The one page of a sheet on paper of its own size.
pub(super) fn whole(shown: [f64; 2], factor: [f64; 2]) -> Page {
    let middle = Point::new(shown[0] / 2.0, shown[1] / 2.0);
    let plain = factor.iter().all(|f| (f - 1.0).abs() < 1e-12);
    let transform = if plain { Affine::IDENTITY } else { onto(shown, middle, factor) };
    let sheet = SheetOnPage { transform, shows: None, trimmed: None };
    Page { name: "sheet".into(), size_mm: shown, sheet, own: Furniture::default() }
}

/// All that the pages of one sheet need to know.
pub(super) struct Sheets<'a> {
    pub(super) shown: [f64; 2],
    pub(super) page_mm: [f64; 2],
    pub(super) factor: [f64; 2],
    pub(super) options: &'a PrintOptions,
    pub(super) name: &'a str,
    pub(super) remark: &'a str,
    pub(super) all: &'a [Cell],
    pub(super) full: &'a [Cell],
}

/// One edge of a cell: which way its neighbour lies, and the arrow that says so.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Edge {
    across: i64,
    down: i64,
    arrow: &'static str,
}

impl Edge {
    const TOP: Self = Self { across: 0, down: -1, arrow: "\u{2191}" };
    const RIGHT: Self = Self { across: 1, down: 0, arrow: "\u{2192}" };
    const BOTTOM: Self = Self { across: 0, down: 1, arrow: "\u{2193}" };
    const LEFT: Self = Self { across: -1, down: 0, arrow: "\u{2190}" };

    /// Its place in a list of left, top, right and bottom.
    fn place(self) -> usize {
        match (self.across, self.down) {
            (-1, _) => 0,
            (_, -1) => 1,
            (1, _) => 2,
            _ => 3,
        }
    }

    /// Its ends, to the right or down.
    fn ends(self, r: &RectMm) -> [Point; 2] {
        let (right, bottom) = (r.x + r.width, r.y + r.height);
        let [from, to] = match self.place() {
            0 => [(r.x, r.y), (r.x, bottom)],
            1 => [(r.x, r.y), (right, r.y)],
            2 => [(right, r.y), (right, bottom)],
            _ => [(r.x, bottom), (right, bottom)],
        };
        [from.into(), to.into()]
    }

    fn outwards(self) -> kurbo::Vec2 {
        kurbo::Vec2::new(self.across as f64, self.down as f64)
    }
}

/// The edges of a cell, clockwise.
const EDGES: [Edge; 4] = [Edge::TOP, Edge::RIGHT, Edge::BOTTOM, Edge::LEFT];

impl Sheets<'_> {
    /// The assembly page and a page for each cell that holds something.
    pub(super) fn pages(&self) -> Vec<Page> {
        let mut pages = vec![self.assembly()];
        pages.extend((0..self.full.len()).map(|k| self.page(k)));
        pages
    }

    /// Number of the page (from 1) of a cell beside another.
    fn neighbour(&self, of: &Cell, right: i64, down: i64) -> Option<usize> {
        let column = usize::try_from(of.column as i64 + right).ok()?;
        let row = usize::try_from(of.row as i64 + down).ok()?;
        self.full.iter().position(|c| c.column == column && c.row == row).map(|k| k + 1)
    }

    fn page(&self, k: usize) -> Page {
        let cell = &self.full[k];
        let r = &cell.rect;
        let [left, top, right, bottom] = cell.beyond;
        let shows = RectMm {
            x: r.x - left,
            y: r.y - top,
            width: r.width + left + right,
            height: r.height + top + bottom,
        };
        let middle = Point::new(shows.x + shows.width / 2.0, shows.y + shows.height / 2.0);
        let transform = onto(self.page_mm, middle, self.factor);
        let name = format!("page {} of {}", k + 1, self.full.len());
        let mut own = Furniture::default();
        let mut dashes = Vec::new();
        for edge in EDGES {
            let [from, to] = edge.ends(r);
            dashes.extend(dashed(transform * from, transform * to));
        }
        own.lines.push(MarkLines {
            layer: Layer::Marks,
            paths: dashes,
            line_mm: MARK_LINE_MM,
            strength: TRIM_STRENGTH,
        });
        self.crosses_and_arrows(cell, &transform, &mut own);
        self.name(cell, &transform, &name, &mut own);
        let sheet = SheetOnPage { transform, shows: Some(shows), trimmed: Some(*r) };
        Page { name, size_mm: self.page_mm, sheet, own }
    }

    /// What the page is called, outside the trim line: below where there is room, else on the first side that has any.
    fn name(&self, cell: &Cell, transform: &Affine, name: &str, own: &mut Furniture) {
        let order = [Edge::BOTTOM, Edge::TOP, Edge::LEFT, Edge::RIGHT];
        let Some(edge) = order.into_iter().find(|edge| cell.beyond[edge.place()] > 0.0) else { return };
        let [from, to] = edge.ends(&cell.rect).map(|p| *transform * p);
        let length = from.distance(to);
        let said: Vec<&str> = [name, self.remark].into_iter().filter(|part| !part.is_empty()).collect();
        let said = said.join(BETWEEN);
        // Clear of what lies on an edge that is shared: its first cross, and the arrow in its middle.
        let shared = self.neighbour(cell, edge.across, edge.down).is_some();
        let parts = if shared {
            let cross = CROSS_PLACES[0] * length;
            let [before, behind] = [cross - CROSS_ARM_MM - GAP_MM, cross + CROSS_ARM_MM + GAP_MM];
            let picture = shortened(self.name, LETTER_MM, length / 2.0 - ARROW_MM - behind);
            vec![(said, START_MM, before), (picture.unwrap_or_default(), behind, length / 2.0 - ARROW_MM)]
        } else {
            let end = length / 2.0;
            let rest = end - START_MM - width_mm(&format!("{said}{BETWEEN}"), LETTER_MM);
            let picture = shortened(self.name, LETTER_MM, rest).filter(|picture| !picture.is_empty());
            vec![(picture.map_or(said.clone(), |p| format!("{said}{BETWEEN}{p}")), START_MM, end)]
        };
        let quarter_turns = u8::from(edge.across != 0);
        // Letters that run down have their capitals' tops to the right.
        let to_baseline = if quarter_turns == 0 {
            kurbo::Vec2::new(0.0, LETTER_MM / 2.0)
        } else {
            kurbo::Vec2::new(-LETTER_MM / 2.0, 0.0)
        };
        let along = (to - from) / length.max(f64::MIN_POSITIVE);
        let middle = edge.outwards() * (self.options.overlap_mm / 4.0);
        for (text, start, end) in parts.into_iter().filter(|(text, ..)| !text.is_empty()) {
            let height_mm = LETTER_MM * ((end - start) / width_mm(&text, LETTER_MM)).clamp(0.5, 1.0);
            let text = Lettering {
                layer: Layer::Marks,
                text,
                at: from + along * start + middle + to_baseline,
                height_mm,
                anchor: Anchor::Start,
                quarter_turns,
            };
            // A row's number beside the page's name would be read with it, so all of the strip before the cross is bare.
            let bare = if shared && start <= START_MM { vec![from, from + along * end] } else { Vec::new() };
            write_beyond(cell, transform, edge, vec![text], &bare, own);
        }
    }

    /// Two crosses on each edge that is shared with another page, and what lies beyond it.
    fn crosses_and_arrows(&self, cell: &Cell, transform: &Affine, own: &mut Furniture) {
        let half = self.options.overlap_mm / 2.0;
        let arm = CROSS_ARM_MM.min(half - 0.5);
        let mut paths = Vec::new();
        for edge in EDGES {
            let Some(number) = self.neighbour(cell, edge.across, edge.down) else { continue };
            let [from, to] = edge.ends(&cell.rect);
            for place in CROSS_PLACES {
                // In the middle of the overlap, so it lies at the same place of the sheet on both pages.
                let on_page = *transform * from.lerp(to, place);
                own.crosses.push(on_page);
                paths.extend(cross(on_page, arm));
            }
            let middle = *transform * from.midpoint(to) + edge.outwards() * (half / 2.0);
            // No wider than the strip beyond the trim line: beside it the arrow stands over its number.
            let parts = if edge.across == 0 {
                vec![(format!("{} {number}", edge.arrow), 0.0)]
            } else {
                vec![(edge.arrow.to_owned(), -LETTER_MM), (number.to_string(), LETTER_MM)]
            };
            let texts = parts.into_iter().map(|(text, y)| {
                Lettering::centred(Layer::Marks, text, middle + kurbo::Vec2::new(0.0, y), LETTER_MM)
            });
            write_beyond(cell, transform, edge, texts.collect(), &[], own);
        }
        if !paths.is_empty() {
            own.lines.push(MarkLines { layer: Layer::Marks, paths, line_mm: MARK_LINE_MM, strength: 1.0 });
        }
    }

    /// The page that shows how the others go together, with the rules that show whether the printer is true.
    fn assembly(&self) -> Page {
        let mut own = Furniture::default();
        let edge = self.options.printer_margin_mm + 5.0;
        let [width, height] = self.page_mm;
        let mut y = edge + HEADING_MM;
        let mut write = |text: String, y: f64, height_mm: f64| {
            let room = width - 2.0 * edge;
            let text = shortened(&text, height_mm * LEAST_SHARE, room).unwrap_or(text);
            let fitted = room / width_mm(&text, height_mm);
            own.texts.push(Lettering {
                layer: Layer::Marks,
                text,
                at: Point::new(edge, y),
                height_mm: height_mm * fitted.min(1.0),
                anchor: Anchor::Start,
                quarter_turns: 0,
            });
        };
        write(format!("{} pages make the sheet", self.full.len()), y, HEADING_MM);
        y += 2.0;
        let rest = if self.remark.is_empty() { String::new() } else { format!("{BETWEEN}{}", self.remark) };
        let room = width - 2.0 * edge - width_mm(&rest, LETTER_MM);
        let name = shortened(self.name, LETTER_MM, room).unwrap_or_default();
        let first = format!("{name}{rest}");
        for line in std::iter::once(first.as_str()).filter(|line| !line.is_empty()).chain(HOW_TO) {
            y += LETTER_MM * 2.0;
            write(line.into(), y, LETTER_MM);
        }
        // The rules lie along the page's foot and its right edge, as true as the pages themselves.
        let (foot, right) = (height - edge - 3.0, width - edge - 3.0);
        let top = y + 6.0;
        if let Some(rule) = Rule::fitting(Point::new(edge, foot), false, right - 6.0 - edge) {
            own.rules.push(rule);
        }
        if let Some(rule) = Rule::fitting(Point::new(right, top), true, foot - 6.0 - top) {
            own.rules.push(rule);
        }
        let correct = onto(self.page_mm, Point::new(width / 2.0, height / 2.0), self.factor);
        for rule in std::mem::take(&mut own.rules) {
            let mut drawn = Furniture::default();
            rule.draw(&mut drawn);
            own.add(&drawn, correct);
        }
        let room = [right - 8.0 - edge, foot - 8.0 - top];
        let scale = (room[0] / self.shown[0]).min(room[1] / self.shown[1]).max(0.0);
        let transform = Affine::translate((edge, top)) * Affine::scale(scale);
        self.miniature(&transform, scale, &mut own);
        let sheet = SheetOnPage { transform, shows: None, trimmed: None };
        Page { name: "assembly".into(), size_mm: self.page_mm, sheet, own }
    }

    /// The cells over the small sheet, each with the number of its page.
    fn miniature(&self, transform: &Affine, scale: f64, own: &mut Furniture) {
        let mut paths = Vec::new();
        for cell in self.all {
            let r = &cell.rect;
            let corner = |x: f64, y: f64| *transform * Point::new(x, y);
            let (right, bottom) = (r.x + r.width, r.y + r.height);
            paths.push(vec![
                corner(r.x, r.y),
                corner(right, r.y),
                corner(right, bottom),
                corner(r.x, bottom),
                corner(r.x, r.y),
            ]);
            let middle = corner(r.x + r.width / 2.0, r.y + r.height / 2.0);
            let text = match self.neighbour(cell, 0, 0) {
                Some(number) => number.to_string(),
                None => "nothing".into(),
            };
            let size = (r.width.min(r.height) * scale * 0.2).clamp(1.0, 7.0);
            let size = if text == "nothing" { size * 0.4 } else { size };
            own.write_cleared(Lettering::centred(Layer::Marks, text, middle, size));
        }
        own.lines.push(MarkLines {
            layer: Layer::Marks,
            paths,
            line_mm: MARK_LINE_MM,
            strength: TRIM_STRENGTH,
        });
    }
}

/// Writes texts beyond the trim line of a cell's edge, and clears the ground there from the line to the end of what is
/// printed, so that no half of a number or a tick of the sheet is left beside them; along the edge as far as the texts and
/// `bare` reach.
fn write_beyond(
    cell: &Cell,
    transform: &Affine,
    edge: Edge,
    texts: Vec<Lettering>,
    bare: &[Point],
    own: &mut Furniture,
) {
    let r = &cell.rect;
    let on_edge = edge.ends(r)[0];
    let trim = *transform * on_edge + edge.outwards() * TRIM_GAP_MM;
    // A little further, where the page is bare, so that no edge of a line is left.
    let outer =
        *transform * (on_edge + edge.outwards() * cell.beyond[edge.place()]) + edge.outwards() * TRIM_GAP_MM;
    let corners: Vec<Point> = texts.iter().flat_map(Lettering::bounds).chain(bare.iter().copied()).collect();
    let span = |of: fn(&Point) -> f64| {
        let spread = corners.iter().map(of).fold((f64::MAX, f64::MIN), |(a, b), s| (a.min(s), b.max(s)));
        (spread.0 - CLEARED_MM, spread.1 + CLEARED_MM)
    };
    let across = |a: f64, b: f64| (a.min(b), a.max(b));
    let ((left, right), (top, bottom)) = if edge.across == 0 {
        (span(|p| p.x), across(trim.y, outer.y))
    } else {
        (across(trim.x, outer.x), span(|p| p.y))
    };
    own.cleared.push(RectMm { x: left, y: top, width: right - left, height: bottom - top });
    own.texts.extend(texts);
}

/// The dashes from a point to another; both ends lie in a dash.
fn dashed(from: Point, to: Point) -> Vec<Vec<Point>> {
    let [dash, gap] = DASH_MM;
    let length = from.distance(to);
    let count = ((length - dash) / (dash + gap)).round().max(0.0);
    let gap = if count > 0.0 { (length - dash * (count + 1.0)) / count } else { 0.0 };
    let along = (to - from) / length.max(f64::MIN_POSITIVE);
    (0..=count as usize)
        .map(|k| {
            let start = k as f64 * (dash + gap);
            vec![from + along * start, from + along * (start + dash).min(length)]
        })
        .collect()
}
