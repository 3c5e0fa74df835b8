//! The squares under each other, each with a box for every step.

use kurbo::Point;

use crate::order::{Step, WorkSquare};
use crate::plan::PlanValue;
use crate::sheet::lettering::{shortened, width_mm};
use crate::sheet::{Anchor, RectMm};

use super::{BOX_LINE_MM, Drawn, GAP_MM, LETTER_MM, OrderPage, RULE_MM, RULE_STRENGTH, SMALL_MM, Tick};

/// Side of a box in mm: room for a tick of the pencil.
const BOX_MM: f64 = 3.4;
/// Between box, number and words, in mm.
const NEAR_MM: f64 = 0.9;
/// Height of one line of boxes, and of a heading, and what lies between two steps, in mm: the calmest first. A closer one is
/// taken where it saves a page; two lines of small print and their distance leave no less.
const SPACES: [Spaces; 4] = [
    Spaces { line_mm: 6.6, apart_mm: 2.0 },
    Spaces { line_mm: 6.6, apart_mm: 1.2 },
    Spaces { line_mm: 5.8, apart_mm: 2.0 },
    Spaces { line_mm: 5.8, apart_mm: 1.2 },
];
/// Most tables side by side.
const MOST_BESIDE: usize = 3;

/// How far apart things stand.
#[derive(Clone, Copy, Debug)]
struct Spaces {
    line_mm: f64,
    apart_mm: f64,
}

/// What is written beside a box: number of the value, and two short lines.
struct Words {
    number: String,
    lines: [String; 2],
}

impl Words {
    fn width(&self) -> f64 {
        let number = if self.number.is_empty() { 0.0 } else { width_mm(&self.number, LETTER_MM) + NEAR_MM };
        number + self.lines.iter().map(|line| width_mm(line, SMALL_MM)).fold(0.0, f64::max)
    }
}

/// One thing under another.
enum Entry {
    Group(String),
    Square(usize),
}

/// How wide everything is.
struct Form {
    /// Steps that any square has, in order, with the width of each in mm.
    columns: Vec<(Step, f64)>,
    /// Width of place and name.
    places_mm: f64,
    lead_mm: f64,
    /// Whether every step has a column of its own; else a square's steps follow each other over several lines.
    in_columns: bool,
    width_mm: f64,
    spaces: Spaces,
}

/// Puts all squares on as few pages as there can be, on from `top` of the first.
pub(super) fn fill(of: &Drawn<'_>, first: &OrderPage, top: f64) -> Vec<OrderPage> {
    let tried = SPACES.map(|spaces| filled(of, first.clone(), top, spaces));
    let fewest = tried.iter().map(Vec::len).min();
    let mut pages = tried.into_iter().find(|pages| Some(pages.len()) == fewest).unwrap_or_default();
    number(of, &mut pages);
    pages
}

/// Puts all squares on pages, this far apart.
fn filled(of: &Drawn<'_>, first: OrderPage, top: f64, spaces: Spaces) -> Vec<OrderPage> {
    let [width, height] = of.room();
    let form = form(of, width, spaces);
    let line_mm = spaces.line_mm;
    let beside = (((width + GAP_MM) / (form.width_mm + GAP_MM)) as usize).clamp(1, MOST_BESIDE);
    let bottom = of.edge_mm + height;
    let head = of.edge_mm + LETTER_MM + 3.0;
    let mut pages = vec![first];
    let (mut column, mut begun, mut y) = (0, top, top);
    for entry in entries(of) {
        let tall = match &entry {
            Entry::Square(k) => form.lines(&of.order.squares[*k]) as f64 * line_mm,
            // A heading stays with its first square.
            Entry::Group(_) => 2.0 * line_mm,
        };
        if y + tall > bottom {
            column += 1;
            y = begun;
            if column == beside || y + tall > bottom {
                let mut page = OrderPage { size_mm: of.size_mm, ..OrderPage::default() };
                let words = format!("Working order, continued: {}", of.texts.remark);
                let words = shortened(&words, SMALL_MM, width - 20.0).unwrap_or_default();
                page.text(words, Point::new(of.edge_mm, of.edge_mm + SMALL_MM), SMALL_MM, Anchor::Start);
                pages.push(page);
                (column, begun, y) = (0, head, head);
            }
        }
        let x = of.edge_mm + column as f64 * (form.width_mm + GAP_MM);
        let at = pages.len() - 1;
        let page = &mut pages[at];
        match entry {
            Entry::Group(name) => {
                let name = shortened(&name, LETTER_MM, form.width_mm).unwrap_or_default();
                page.text(name, Point::new(x, y + line_mm - 1.6), LETTER_MM, Anchor::Start);
                y += line_mm;
            }
            Entry::Square(k) => y = form.row(page, of, k, Point::new(x, y)),
        }
        page.line(vec![Point::new(x, y), Point::new(x + form.width_mm, y)], RULE_MM, RULE_STRENGTH);
    }
    pages
}

/// Says on each page which one it is, where there are several.
fn number(of: &Drawn<'_>, pages: &mut [OrderPage]) {
    let count = pages.len();
    if count > 1 {
        let at = Point::new(of.size_mm[0] - of.edge_mm, of.edge_mm + SMALL_MM);
        for (k, page) in pages.iter_mut().enumerate() {
            page.text(format!("page {} of {count}", k + 1), at, SMALL_MM, Anchor::End);
        }
    }
}

/// The squares in order, under the groups' names where there are any.
fn entries(of: &Drawn<'_>) -> Vec<Entry> {
    let mut entries = Vec::new();
    let mut last = None;
    for (k, square) in of.order.squares.iter().enumerate() {
        if !of.texts.groups.is_empty() && last != Some(square.group) {
            let name = square.group.and_then(|group| of.texts.groups.get(group));
            entries.push(Entry::Group(name.cloned().unwrap_or_else(|| "The rest".into())));
            last = Some(square.group);
        }
        entries.push(Entry::Square(k));
    }
    entries
}

fn form(of: &Drawn<'_>, room: f64, spaces: Spaces) -> Form {
    let apart_mm = spaces.apart_mm;
    let squares = &of.order.squares;
    let mut columns: Vec<(Step, f64)> = Vec::new();
    for square in squares {
        for &step in &square.steps {
            let width = BOX_MM + NEAR_MM + words(of, square, step).width();
            match columns.iter_mut().find(|(known, _)| *known == step) {
                Some((_, widest)) => *widest = widest.max(width),
                None => columns.push((step, width)),
            }
        }
    }
    columns.sort_by_key(|&(step, _)| rank(step));
    let widest = |texts: &mut dyn Iterator<Item = String>| {
        texts.map(|text| width_mm(&text, LETTER_MM)).fold(0.0, f64::max)
    };
    let places_mm = widest(&mut std::iter::once(squares.len().to_string()));
    let names_mm = widest(&mut squares.iter().map(|square| square.name.clone()));
    let lead_mm = places_mm + apart_mm + names_mm + 1.5 * apart_mm;
    let apart = apart_mm * columns.len().saturating_sub(1) as f64;
    let whole = lead_mm + columns.iter().map(|&(_, width)| width).sum::<f64>() + apart;
    let in_columns = whole <= room;
    Form { columns, places_mm, lead_mm, in_columns, width_mm: whole.min(room), spaces }
}

/// Steps in the order in which they are done.
fn rank(step: Step) -> (u8, Option<PlanValue>) {
    match step {
        Step::Lights => (0, None),
        Step::Hatch(label) => (1, Some(label)),
        Step::Black => (2, None),
    }
}

impl Form {
    fn width_of(&self, step: Step) -> f64 {
        self.columns.iter().find(|(known, _)| *known == step).map_or(0.0, |&(_, width)| width)
    }

    /// Where the box of each step of a square lies: from the beginning of its line, and on which line.
    fn boxes(&self, square: &WorkSquare) -> Vec<(f64, usize)> {
        let apart_mm = self.spaces.apart_mm;
        if self.in_columns {
            let before = |step: Step| {
                let columns = self.columns.iter().take_while(|(known, _)| *known != step);
                columns.map(|(_, width)| width + apart_mm).sum::<f64>()
            };
            return square.steps.iter().map(|&step| (self.lead_mm + before(step), 0)).collect();
        }
        let (mut x, mut line) = (self.lead_mm, 0);
        let mut boxes = Vec::new();
        for &step in &square.steps {
            let width = self.width_of(step);
            if x + width > self.width_mm && x > self.lead_mm {
                (x, line) = (self.lead_mm, line + 1);
            }
            boxes.push((x, line));
            x += width + apart_mm;
        }
        boxes
    }

    fn lines(&self, square: &WorkSquare) -> usize {
        self.boxes(square).last().map_or(1, |&(_, line)| line + 1)
    }

    /// Writes a square with its corner at a point; gives where the next begins.
    fn row(&self, page: &mut OrderPage, of: &Drawn<'_>, place: usize, corner: Point) -> f64 {
        let Spaces { line_mm, apart_mm } = self.spaces;
        let square = &of.order.squares[place];
        let baseline = corner.y + (line_mm + LETTER_MM) / 2.0;
        let number = Point::new(corner.x + self.places_mm, baseline);
        page.text((place + 1).to_string(), number, LETTER_MM, Anchor::End);
        page.text(square.name.as_str(), Point::new(number.x + apart_mm, baseline), LETTER_MM, Anchor::Start);
        for (step, (x, line)) in self.boxes(square).into_iter().enumerate() {
            let top = corner.y + line as f64 * line_mm;
            let rect =
                RectMm { x: corner.x + x, y: top + (line_mm - BOX_MM) / 2.0, width: BOX_MM, height: BOX_MM };
            page.outline(&rect, BOX_LINE_MM);
            page.ticks.push(Tick { square: place, step, rect });
            let Words { number, lines } = words(of, square, square.steps[step]);
            let mut x = rect.x + BOX_MM + NEAR_MM;
            if !number.is_empty() {
                let at = Point::new(x, top + (line_mm + LETTER_MM) / 2.0);
                x += width_mm(&number, LETTER_MM) + NEAR_MM;
                page.text(number, at, LETTER_MM, Anchor::Start);
            }
            let middle = top + line_mm / 2.0;
            for (text, y) in lines.into_iter().zip([middle - 0.4, middle + 0.6 + SMALL_MM]) {
                page.text(text, Point::new(x, y), SMALL_MM, Anchor::Start);
            }
        }
        corner.y + self.lines(square) as f64 * line_mm
    }
}

/// What is written beside the box of a step.
fn words(of: &Drawn<'_>, square: &WorkSquare, step: Step) -> Words {
    let last = of.texts.last;
    let number = match step {
        Step::Lights => {
            let mm = square.lights.iter().map(|light| light.length_mm).sum::<f64>().round().max(1.0);
            let count = counted(square.lights.len(), ["light", "lights"]);
            return Words { number: String::new(), lines: [count, format!("{mm} mm")] };
        }
        Step::Hatch(label) => label.text(),
        Step::Black => last.to_string(),
    };
    let (areas, thin, share) = square.amount(step, last);
    let plural = if step == Step::Black { ["black"; 2] } else { ["area", "areas"] };
    let said = match (areas, thin) {
        (_, 0) => counted(areas, plural),
        (0, _) => counted(thin, ["thin"; 2]),
        _ => format!("{areas}, {thin} thin"),
    };
    let share = match share * 100.0 {
        _ if areas == 0 => "line".into(),
        p if p < 1.0 => "<1 %".into(),
        p => format!("{p:.0} %"),
    };
    Words { number, lines: [share, said] }
}

fn counted(count: usize, words: [&str; 2]) -> String {
    format!("{count} {}", words[usize::from(count != 1)])
}
