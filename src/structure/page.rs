//! The value structure as pages to be printed beside the plan.

use kurbo::{BezPath, Point, Rect, Shape};

use crate::plan::KeyValue;
use crate::sheet::lettering::{shortened, width_mm, wrapped};
use crate::sheet::{Anchor, Furniture};
use crate::transitions::{AreaPolygon, BoundaryNet, WalkError};
use crate::units::percent;

use super::alike::{AlikeSet, Member};
use super::block::{Block, HEADING_MM, LETTER_MM, LINE_MM, SMALL_MM, SPACING, THIN_MM};
use super::thumbnail::{ink, polygons};
use super::{Contrast, Structure, StructureGroup, StudyPair};

/// Distance between small pictures in mm.
const BETWEEN_MM: f64 = 6.0;
/// Most of a page's height that small pictures take.
const PICTURES_SHARE: f64 = 0.36;
/// Distance between parts of a page in mm.
const PART_MM: f64 = 7.0;
/// Height of a row of the table of groups in mm.
const ROW_MM: f64 = 4.6;
/// Side of the view of the strongest contrast in mm.
const VIEW_MM: f64 = 46.0;
/// Room in mm that a group's name needs around it on the map.
const NAME_ROOM_MM: f64 = 1.9;

/// A page of value structure.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StructurePage {
    /// Width and height in mm.
    pub size_mm: [f64; 2],
    /// What is printed on it.
    pub furniture: Furniture,
}

/// What the pages need besides the figures.
#[derive(Clone, Copy, Debug)]
pub struct PageTexts<'a> {
    /// What the sheet is: its picture.
    pub remark: &'a str,
    /// The drawn net, of which the surroundings of the strongest contrast are shown.
    pub net: &'a BoundaryNet,
    /// What its values are made with.
    pub key: &'a [KeyValue],
    /// L* between the values of the drawing, lightest first.
    pub breaks: &'a [f64],
}

/// The room in mm for each of the small pictures on a page of a size, `edge_mm` kept bare on every side.
#[must_use]
pub fn thumb_room(size_mm: [f64; 2], edge_mm: f64) -> [f64; 2] {
    let room = size_mm.map(|side| side - 2.0 * edge_mm);
    [(room[0] - 2.0 * BETWEEN_MM) / 3.0, room[1] * PICTURES_SHARE]
}

/// Pages that fill one after the other.
struct Flow {
    done: Vec<Block>,
    page: Block,
    y: f64,
    room: [f64; 2],
}

impl Flow {
    /// Begins a new page unless so much is left of this one.
    fn need(&mut self, height: f64) {
        if self.y + height > self.room[1] && self.y > 0.0 {
            self.done.push(std::mem::take(&mut self.page));
            self.y = 0.0;
        }
    }

    /// A text over as many lines as it takes, in a width.
    fn paragraph(&mut self, text: &str, height_mm: f64, x: f64, width: f64) {
        for line in wrapped(text, width, height_mm) {
            self.need(height_mm * SPACING);
            self.y += height_mm * SPACING;
            self.page.text(line, Point::new(x, self.y), height_mm, Anchor::Start);
        }
    }

    /// The heading of a part that needs so much more below it.
    fn heading(&mut self, text: &str, below: f64) {
        self.need(PART_MM + HEADING_MM + below);
        if self.y > 0.0 {
            self.y += PART_MM;
        }
        self.y += HEADING_MM;
        self.page.text(text, Point::new(0.0, self.y), HEADING_MM, Anchor::Start);
        self.y += 1.0;
    }
}

/// Lays a value structure out on pages of a size, `edge_mm` kept bare on every side.
///
/// # Errors
/// As [`BoundaryNet::polygons`].
pub fn pages(
    of: &Structure,
    texts: &PageTexts<'_>,
    size_mm: [f64; 2],
    edge_mm: f64,
) -> Result<Vec<StructurePage>, WalkError> {
    let room = size_mm.map(|side| side - 2.0 * edge_mm);
    let mut flow = Flow { done: Vec::new(), page: Block::default(), y: 0.0, room };
    let width = room[0];
    flow.y = HEADING_MM;
    flow.page.text("Value structure", Point::new(0.0, flow.y), HEADING_MM, Anchor::Start);
    flow.y += 1.0;
    for line in wrapped(texts.remark, width, SMALL_MM) {
        // A name may be one long word.
        flow.paragraph(&shortened(&line, SMALL_MM, width).unwrap_or_default(), SMALL_MM, 0.0, width);
    }
    small_pictures(&mut flow, of, thumb_room(size_mm, edge_mm));
    groups(&mut flow, of, texts.breaks);
    if let Some(contrast) = &of.contrast {
        strongest(&mut flow, contrast, texts, &polygons(texts.net)?);
    }
    keep_alike(&mut flow, of, texts.key.len());
    flow.need(3.0 * SMALL_MM * SPACING);
    flow.y += 3.0;
    flow.paragraph(
        "Black and hatching on this page cover as much of the paper as the tones ask for. There are no printed greys, \
         because they cannot be trusted. 1 is the lightest value. Shares are of the picture, L* is lightness from 0, black, \
         to 100, paper.",
        SMALL_MM,
        0.0,
        width,
    );
    flow.done.push(flow.page);
    let page = |block: Block| {
        let mut furniture = Furniture::default();
        furniture.add(&block.drawn, kurbo::Affine::translate((edge_mm, edge_mm)));
        StructurePage { size_mm, furniture }
    };
    Ok(flow.done.into_iter().map(page).collect())
}

/// The picture in two and three values, and where the groups lie.
fn small_pictures(flow: &mut Flow, of: &Structure, room: [f64; 2]) {
    let [width, _] = room;
    let height = of.thumbnails.iter().map(|t| t.size_mm[1]).fold(of.map.size_mm[1], f64::max);
    let top = flow.y + 3.0 + LETTER_MM + 1.6;
    let titles = ["In two values", "In three values", if of.found { "Found groups" } else { "Groups" }];
    for (k, title) in titles.into_iter().enumerate() {
        let x = k as f64 * (width + BETWEEN_MM);
        flow.page.text(title, Point::new(x, top - 1.6), LETTER_MM, Anchor::Start);
    }
    let mut bottom = top + height;
    for (k, thumb) in of.thumbnails.iter().enumerate() {
        let corner = Point::new(k as f64 * (width + BETWEEN_MM), top);
        flow.page.ink(thumb.ink(corner), 1.0);
        flow.page.outline(Rect::from_origin_size(corner, (thumb.size_mm[0], thumb.size_mm[1])), THIN_MM, 1.0);
        let shares: Vec<String> = thumb
            .shares
            .iter()
            .enumerate()
            .map(|(v, &share)| format!("{}: {}", v + 1, percent(share)))
            .collect();
        let breaks: Vec<String> = thumb.breaks.iter().map(|b| format!("{b:.0}")).collect();
        let said = format!("{}; parted at L* {}", shares.join(", "), breaks.join(" and "));
        let mut y = top + thumb.size_mm[1];
        for line in wrapped(&said, width, SMALL_MM) {
            y += SMALL_MM * SPACING;
            flow.page.text(line, Point::new(corner.x, y), SMALL_MM, Anchor::Start);
        }
        bottom = bottom.max(y);
    }
    let corner = Point::new(2.0 * (width + BETWEEN_MM), top);
    let y = group_map(&mut flow.page, of, corner, width);
    flow.y = bottom.max(y) + 1.0;
}

/// The map of the groups, and where its text ends.
fn group_map(page: &mut Block, of: &Structure, corner: Point, width: f64) -> f64 {
    let map = &of.map;
    let size = (map.size_mm[0], map.size_mm[1]);
    let placed = |p: Point| corner + p.to_vec2();
    let frame = Rect::from_origin_size(corner, size);
    page.outline(frame, THIN_MM, 1.0);
    let moved = |line: &Vec<Point>| line.iter().map(|&p| placed(p)).collect();
    page.lines(map.outlines.iter().map(moved).collect(), THIN_MM, 1.0);
    // The window of the strongest contrast.
    let window = of.contrast.as_ref().map(|c| {
        (kurbo::Affine::translate(corner.to_vec2()) * kurbo::Affine::scale(map.scale()))
            .transform_rect_bbox(c.window())
            .intersect(frame)
    });
    if let Some(window) = window {
        page.outline(window, LINE_MM, 1.0);
    }
    let mut unnamed = false;
    for (group, &(at, room)) in of.groups.iter().zip(&map.names) {
        let height = if room > 2.0 * NAME_ROOM_MM { LETTER_MM } else { SMALL_MM };
        let text = shortened(&group.name, height, (2.0 * room * 0.8).max(0.0));
        let text = text.filter(|t| (width_mm(t, height) / 2.0).hypot(height / 2.0) + 0.3 <= room);
        match text {
            Some(text) => {
                let below = placed(at) + kurbo::Vec2::new(0.0, height / 2.0);
                page.text(text, below, height, Anchor::Middle);
            }
            None => unnamed = true,
        }
    }
    let mut said = String::new();
    if window.is_some() {
        said.push_str("Square: the strongest contrast. ");
    }
    if unnamed {
        said.push_str("What has no name here is in the table, with its square.");
    }
    let mut y = corner.y + size.1;
    for line in wrapped(&said, width, SMALL_MM) {
        y += SMALL_MM * SPACING;
        page.text(line, Point::new(corner.x, y), SMALL_MM, Anchor::Start);
    }
    y
}

/// The table of the groups, with a bar each.
fn groups(flow: &mut Flow, of: &Structure, breaks: &[f64]) {
    let width = flow.room[0];
    let small = width < 150.0;
    let height = if small { SMALL_MM } else { LETTER_MM };
    flow.heading(if of.found { "Found groups" } else { "Groups" }, 4.0 * ROW_MM);
    let rest = if of.rest_share >= 0.005 {
        format!(" {} of the picture is in none.", percent(of.rest_share))
    } else {
        String::new()
    };
    let said = if of.found {
        format!(
            "The study names no groups, so these were found: the large areas that are left when areas of like tone go on \
             merging. A group that you name yourself says more.{rest}"
        )
    } else {
        format!("As the study names them.{rest}")
    };
    flow.paragraph(&said, SMALL_MM, 0.0, width);
    flow.y += 2.0;
    let shares = if small {
        [0.0, 0.25, 0.34, 0.45, 0.57, 0.66, 0.78]
    } else {
        [0.0, 0.19, 0.26, 0.365, 0.465, 0.53, 0.62]
    };
    let x = shares.map(|share| share * width);
    let bar = [x[6], width];
    let heads = ["", "square", "share", "reflects", "L*", "value", ""];
    flow.y += SMALL_MM * SPACING;
    for (head, x) in heads.into_iter().zip(x) {
        flow.page.text(head, Point::new(x, flow.y), SMALL_MM, Anchor::Start);
    }
    // Values over their stretches of lightness, light to dark.
    let at = |l: f64| bar[0] + (100.0 - l) / 100.0 * (bar[1] - bar[0]);
    let ends: Vec<f64> = std::iter::once(100.0).chain(breaks.iter().copied()).chain([0.0]).collect();
    for (k, pair) in ends.windows(2).enumerate() {
        if at(pair[1]) - at(pair[0]) > 2.0 {
            let middle = Point::new((at(pair[0]) + at(pair[1])) / 2.0, flow.y);
            flow.page.text((k + 1).to_string(), middle, SMALL_MM, Anchor::Middle);
        }
    }
    flow.y += 1.0;
    let mut top = flow.y;
    let scale = |flow: &mut Flow, top: f64| {
        let down = |l: f64| vec![Point::new(at(l), top), Point::new(at(l), flow.y)];
        let paths = ends.iter().map(|&l| down(l)).collect();
        flow.page.lines(paths, THIN_MM, 0.6);
    };
    for group in &of.groups {
        if flow.y + ROW_MM > flow.room[1] {
            scale(flow, top);
            flow.need(ROW_MM);
            top = flow.y;
        }
        row(flow, group, x, height, &at);
    }
    scale(flow, top);
    flow.paragraph(
        "Thick: from the lightest to the darkest tone, without 2.5 % at each end; cross line: the L* of what it reflects on average. Numbers are values.",
        SMALL_MM,
        0.0,
        width,
    );
}

/// One row of the table.
fn row(flow: &mut Flow, group: &StructureGroup, x: [f64; 7], height: f64, at: &dyn Fn(f64) -> f64) {
    let middle = flow.y + ROW_MM / 2.0;
    let baseline = middle + height / 2.0;
    let tone = &group.tone;
    let value = match group.wanted {
        Some([a, b]) if (a..=b).contains(&tone.value) => format!("{}", tone.value),
        Some([a, b]) if a == b => format!("{}, not {a}", tone.value),
        Some([a, b]) => format!("{}, not {a}-{b}", tone.value),
        None => tone.value.to_string(),
    };
    let name = shortened(&group.name, height, x[1] - x[0] - 2.0).unwrap_or_default();
    let cells = [
        name,
        group.square.clone().unwrap_or_default(),
        percent(tone.share),
        format!("{:.0} %", tone.reflectance * 100.0),
        format!("{:.0}", tone.lightness),
        value,
    ];
    for (text, x) in cells.into_iter().zip(x) {
        flow.page.text(text, Point::new(x, baseline), height, Anchor::Start);
    }
    let [light, dark] = tone.range.map(at);
    let bar = Rect::new(light, middle - 0.5, dark.max(light + 0.2), middle + 0.5);
    flow.page.ink(bar.to_path(0.01), 1.0);
    let mean = at(tone.lightness);
    flow.page.lines(vec![vec![Point::new(mean, middle - 1.6), Point::new(mean, middle + 1.6)]], LINE_MM, 1.0);
    flow.y += ROW_MM;
}

/// The strongest contrast in words, with a view of its surroundings.
fn strongest(flow: &mut Flow, c: &Contrast, texts: &PageTexts<'_>, areas: &[(u8, AreaPolygon)]) {
    let width = flow.room[0];
    let view = VIEW_MM.min(width * 0.35);
    flow.heading("Strongest contrast", view + SMALL_MM * SPACING + 2.0);
    let top = flow.y + 1.5;
    let place = |square: &Option<String>, at: [f64; 2]| match square {
        Some(square) => format!("in {square}"),
        None => format!("{:.0} mm right, {:.0} mm down", at[0], at[1]),
    };
    let mut said = vec![format!(
        "{}: value {} (there L* {:.0}) against value {} (there L* {:.0}), a step of {:.0}. A window of {:.0} mm there holds {} and {} of \
         them, which makes a contrast of {:.0}: the step times twice the root of both shares, the whole step where each has half.",
        capital(&place(&c.square, c.at_mm)),
        c.values[0],
        c.lightness[0],
        c.values[1],
        c.lightness[1],
        c.step,
        c.window_mm,
        percent(c.shares[0]),
        percent(c.shares[1]),
        c.strength
    )];
    if let (Some(around), Some([light, dark])) = (c.around_lightness, c.around_range) {
        said.push(format!(
            "Around it, three windows wide: mean L* {around:.0}, from {light:.0} to {dark:.0}."
        ));
    }
    let next = c.next.as_ref().map_or_else(
        || "No other border lies a window's side away.".to_owned(),
        |next| {
            let share = 100.0 * next.strength / c.strength.max(1e-9);
            let rivals = if share >= 90.0 { "; it competes" } else { "" };
            format!(
                "The next strongest, {}, has {:.0}, which is {share:.0} % of it{rivals}.",
                place(&next.square, next.at_mm),
                next.strength
            )
        },
    );
    said.push(next);
    said.push(format!(
        "Half of the length of all borders has less than {:.0}; {} is at least nine tenths as strong as the strongest.",
        c.median,
        percent(c.as_strong_share)
    ));
    let height = if width < 150.0 { SMALL_MM } else { LETTER_MM };
    for text in said {
        flow.paragraph(&text, height, 0.0, width - view - 8.0);
        flow.y += 1.0;
    }
    let bottom =
        surroundings(&mut flow.page, c, texts, areas, Rect::new(width - view, top, width, top + view));
    flow.y = flow.y.max(bottom);
}

/// The drawing's values three windows wide around the strongest contrast; gives where its text ends.
fn surroundings(
    page: &mut Block,
    c: &Contrast,
    texts: &PageTexts<'_>,
    areas: &[(u8, AreaPolygon)],
    frame: Rect,
) -> f64 {
    let [width, height] = [texts.net.width_mm, texts.net.height_mm];
    let side = 3.0 * c.window_mm;
    // No window larger than the picture, and none over its edge.
    let along = |at: f64, length: f64| {
        let size = side.min(length);
        let from = (at - size / 2.0).clamp(0.0, length - size);
        [from, from + size]
    };
    let (x, y) = (along(c.at_mm[0], width), along(c.at_mm[1], height));
    let window = Rect::new(x[0], y[0], x[1], y[1]);
    let scale = (frame.width() / window.width()).min(frame.height() / window.height());
    let corner = frame.origin();
    let coverage = |value: u8| texts.key.iter().find(|k| k.value == value).map_or(0.0, |k| k.coverage);
    page.ink(ink(areas, &coverage, window, corner, scale), 1.0);
    let whole = Rect::from_origin_size(corner, (window.width() * scale, window.height() * scale));
    page.outline(whole, THIN_MM, 1.0);
    // The window itself, white under black so that it shows on both.
    let at = corner + (Point::new(c.at_mm[0], c.at_mm[1]) - window.origin()) * scale;
    let own = Rect::from_center_size(at, (c.window_mm * scale, c.window_mm * scale)).intersect(whole);
    page.ink(ring(own, 0.5), 0.0);
    page.ink(ring(own, 0.15), 1.0);
    let said = format!("The plan's values there, at {:.0} % of the study", scale * 100.0);
    let mut y = whole.y1;
    for line in wrapped(&said, frame.width(), SMALL_MM) {
        y += SMALL_MM * SPACING;
        page.text(line, Point::new(corner.x, y), SMALL_MM, Anchor::Start);
    }
    y
}

/// The line of a rectangle as a shape, `half` mm to either side.
fn ring(r: Rect, half: f64) -> BezPath {
    let mut path = r.inflate(half, half).to_path(0.01);
    path.extend(r.inflate(-half, -half).to_path(0.01).reverse_subpaths());
    path
}

/// What must read as one tone.
fn keep_alike(flow: &mut Flow, of: &Structure, values: usize) {
    let list = &of.keep_alike;
    let width = flow.room[0];
    let height = if width < 150.0 { SMALL_MM } else { LETTER_MM };
    flow.heading("Keep alike", 4.0 * ROW_MM);
    let mut said: Vec<String> = list.pairs.iter().map(pair).collect();
    said.extend(list.groups.iter().map(|set| format!("Groups of value {}: {}.", set.value, members(set))));
    // What takes hatching has to be watched; paper and solid black are alike by themselves.
    let by_itself = |set: &&AlikeSet| set.value == 1 || usize::from(set.value) == values;
    let (easy, hatched): (Vec<_>, Vec<_>) = list.areas.iter().partition(by_itself);
    said.extend(hatched.iter().map(|set| format!("Value {}: {}.", set.value, members(set))));
    said.extend(easy.iter().map(|set| {
        let what = if set.value == 1 { "bare paper" } else { "solid black" };
        format!("Value {}, {what}: {}.", set.value, members(set))
    }));
    if said.is_empty() {
        said.push(
            "Nothing: no pair is named, and no two large areas apart have one value and one tone.".into(),
        );
    }
    for text in said {
        flow.y += 0.8;
        flow.paragraph(&text, height, 0.0, width);
    }
    flow.y += 1.0;
    flow.paragraph(
        &format!(
            "Listed are areas of one value from {:.0} mm2 on whose own tones lie no further apart than the texture's \
             unevenness there, at least 1.5 L*, and never a third of a step; each by the squares that hold most of it.",
            list.least_mm2
        ),
        SMALL_MM,
        0.0,
        width,
    );
}

/// A pair of the study in words.
fn pair(of: &StudyPair) -> String {
    let [a, b] = &of.tone.of;
    let [in_a, in_b] = of
        .squares
        .as_ref()
        .map_or([String::new(), String::new()], |s| s.each_ref().map(|square| format!(" ({square})")));
    let judged = if of.tone.told_apart { "a hand tells them apart: settle which gives way" } else { "alike" };
    format!(
        "Your pair {a}{in_a} and {b}{in_b}: {:.1} L*, {:.2} of a step apart; {judged}.",
        of.tone.apart_lightness, of.tone.apart_values
    )
}

/// The members of a set in words.
fn members(set: &AlikeSet) -> String {
    let one = |m: &Member| {
        let squares = m.squares.join(" ");
        match (&m.name, squares.is_empty()) {
            (Some(name), true) => format!("{name} (L* {:.0})", m.lightness),
            (Some(name), false) => format!("{name} in {squares} (L* {:.0})", m.lightness),
            (None, false) => format!("{squares} (L* {:.0}, {})", m.lightness, percent(m.share)),
            (None, true) => format!(
                "{:.0} mm right {:.0} mm down (L* {:.0}, {})",
                m.at_mm[0],
                m.at_mm[1],
                m.lightness,
                percent(m.share)
            ),
        }
    };
    set.members.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// A text with its first letter large.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}
