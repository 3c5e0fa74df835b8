//! The key: the value chart with a patch of each value, as a row in the margin and as a page with a strip to cut out.

use kurbo::{Affine, BezPath, Circle, Point, Rect, Shape};
use serde::Serialize;

use crate::colour::{lightness, reflectance as reflectance_of};
use crate::raster::Raster;
use crate::sheet::lettering::{self, width_mm};
use crate::sheet::{Anchor, Fill, Furniture, Layer, Lettering, MarkLines, RectMm};
use crate::tone::ValueScale;

use super::hatching::{patch, sets};
use super::widest::{box_to_segment, segment_meets_box};

/// What a value is made with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Made {
    /// Bare paper.
    Paper,
    /// One set of parallel lines.
    Open,
    /// Two sets that cross.
    Crossed,
    /// Three sets that cross.
    Dense,
    /// Solid ink.
    Solid,
}

impl Made {
    /// In a word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Paper => "paper",
            Self::Open => "open",
            Self::Crossed => "crossed",
            Self::Dense => "dense",
            Self::Solid => "solid",
        }
    }

    /// In a few words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Paper => "bare paper",
            Self::Open => "open hatching, one way",
            Self::Crossed => "crossed hatching, two ways",
            Self::Dense => "dense hatching, three ways",
            Self::Solid => "solid black",
        }
    }
}

/// One value of the key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeyValue {
    /// The value.
    pub value: u8,
    /// Mean lightness L* of the picture where it has this value (mean of reflectance), kept within the value's band; the
    /// middle of the band where the picture has the value nowhere.
    pub lightness: f64,
    /// Share of the paper that its patch covers with ink, 0 to 1.
    pub coverage: f64,
    /// Share of the picture that has it, 0 to 1.
    pub share: f64,
    /// What it is made with.
    pub made: Made,
}

/// The key of a picture: `values` and `reflectance` (linear, paper 1, ink 0) are of the same pixels.
///
/// Value 1 is left bare and the last value is solid black; between them ink covers what the value's mean reflectance
/// leaves (Murray & Davies 1936).
#[must_use]
pub fn key_values(values: &Raster<u8>, reflectance: &Raster<f32>, scale: &ValueScale) -> Vec<KeyValue> {
    let last = scale.values();
    let mut sums = vec![(0_u64, 0.0_f64); usize::from(last) + 1];
    for (&value, &y) in values.data().iter().zip(reflectance.data()) {
        let (count, sum) = &mut sums[usize::from(value.min(last))];
        *count += 1;
        *sum += f64::from(y);
    }
    let all = values.data().len().max(1) as f64;
    let edge = |k: usize| match k {
        0 => 100.0,
        k => scale.breaks().get(k - 1).copied().unwrap_or(0.0),
    };
    (1..=last)
        .map(|value| {
            let (count, sum) = sums[usize::from(value)];
            let [top, bottom] = [usize::from(value) - 1, usize::from(value)].map(edge);
            // A union of areas takes the value that most of it has, so the rest may pull a mean out of its band.
            let mean = if count > 0 { sum / count as f64 } else { reflectance_of((top + bottom) / 2.0) };
            let mean = mean.clamp(reflectance_of(bottom), reflectance_of(top));
            let (coverage, made) = match value {
                1 => (0.0, Made::Paper),
                v if v == last => (1.0, Made::Solid),
                _ => {
                    (1.0 - mean, [Made::Open, Made::Crossed, Made::Dense][usize::from(sets(1.0 - mean)) - 1])
                }
            };
            KeyValue { value, lightness: lightness(mean), coverage, share: count as f64 / all, made }
        })
        .collect()
}

/// Where a patch of the key is printed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeyPatch {
    /// Its value.
    pub value: u8,
    /// Its rectangle on its page in mm.
    pub rect: RectMm,
    /// Whether there is a hole to punch in its middle.
    pub hole: bool,
}

/// A page of the key.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct KeyPage {
    /// Width and height in mm.
    pub size_mm: [f64; 2],
    /// What is printed on it.
    pub furniture: Furniture,
    /// The patches on it.
    pub patches: Vec<KeyPatch>,
}

/// Heights of lettering in mm (ISO 3098-1).
const SMALL_MM: f64 = 1.8;
const LETTER_MM: f64 = 2.5;
const HEADING_MM: f64 = 3.5;
/// Distance from line to line as a multiple of the height (ISO 3098-1: at least 1.4).
const SPACING: f64 = 1.6;
/// Outlines lie so far outside the patches, in mm, that they add no ink to them.
const OUTSIDE_MM: f64 = 0.3;
/// Their width in mm and how strong they are.
const OUTLINE_MM: f64 = 0.13;
const OUTLINE_STRENGTH: f64 = 0.45;
/// Patches of the chart: width and height in mm, the largest that fit.
const CHART_MM: [[f64; 2]; 3] = [[18.0, 12.0], [12.0, 9.0], [9.0, 6.0]];
/// Sides of the patches of the strip in mm, the largest that fit.
const STRIP_MM: [f64; 2] = [18.0, 12.0];
/// Diameter of the hole in mm: that of an office punch (ISO 838).
const HOLE_MM: f64 = 6.0;
/// Patches in the margin in mm.
const MARGIN_PATCH_MM: [f64; 2] = [9.0, 6.0];
/// Distance of the key from the picture in mm: clear of the working squares' names.
const FROM_PICTURE_MM: f64 = 7.2;
/// Least distance of the key in the margin from any mark in mm.
const FROM_MARKS_MM: f64 = 0.8;

/// Something drawn from its own corner, to be put on a sheet.
#[derive(Default)]
struct Block {
    drawn: Furniture,
    patches: Vec<KeyPatch>,
    size: [f64; 2],
}

impl Block {
    fn text(&mut self, text: impl Into<String>, x: f64, baseline: f64, height_mm: f64, anchor: Anchor) {
        let at = Point::new(x, baseline);
        let text = text.into();
        self.drawn.texts.push(Lettering { layer: Layer::Key, text, at, height_mm, anchor, quarter_turns: 0 });
    }

    fn patch(&mut self, of: &KeyValue, r: Rect, hole: bool) {
        let ink = patch(r, of.coverage);
        if !ink.elements().is_empty() {
            self.drawn.fills.push(Fill { layer: Layer::Key, outline: ink, strength: 1.0 });
        }
        let rect = RectMm { x: r.x0, y: r.y0, width: r.width(), height: r.height() };
        self.patches.push(KeyPatch { value: of.value, rect, hole });
        if hole {
            let circle = Circle::new(r.center(), HOLE_MM / 2.0);
            let outline: BezPath = circle.to_path(0.001);
            let round = |k: i32| circle.center + circle.radius * kurbo::Vec2::from_angle(f64::from(k) * TURN);
            self.drawn.fills.push(Fill { layer: Layer::Key, outline, strength: 0.0 });
            self.line((0..=SIDES).map(round).collect());
        }
    }

    fn outline(&mut self, r: Rect) {
        let r = r.inflate(OUTSIDE_MM, OUTSIDE_MM);
        let corners = [(r.x0, r.y0), (r.x1, r.y0), (r.x1, r.y1), (r.x0, r.y1), (r.x0, r.y0)];
        self.line(corners.map(Point::from).to_vec());
    }

    fn line(&mut self, path: Vec<Point>) {
        let (line_mm, strength) = (OUTLINE_MM, OUTLINE_STRENGTH);
        self.drawn.lines.push(MarkLines { layer: Layer::Key, paths: vec![path], line_mm, strength });
    }

    /// Puts it on a sheet with its corner at a point, upright or turned by a quarter clockwise.
    fn put(&self, corner: Point, turned: bool) -> (Furniture, RectMm) {
        let [w, h] = self.size;
        let affine = if turned {
            Affine::translate((corner.x + h, corner.y)) * lettering::quarter_turned(1)
        } else {
            Affine::translate(corner.to_vec2())
        };
        let mut put = Furniture::default();
        put.add(&self.drawn, affine);
        put.texts.iter_mut().for_each(|text| text.quarter_turns = u8::from(turned));
        let [width, height] = if turned { [h, w] } else { [w, h] };
        (put, RectMm { x: corner.x, y: corner.y, width, height })
    }
}

/// Straight pieces of a circle, and the angle of one.
const SIDES: i32 = 48;
const TURN: f64 = std::f64::consts::TAU / SIDES as f64;

fn percent(share: f64) -> String {
    match share * 100.0 {
        p if p > 0.0 && p < 1.0 => "under 1 %".into(),
        p => format!("{p:.0} %"),
    }
}

/// The key as one row.
fn row(values: &[KeyValue]) -> Block {
    let mut block = Block::default();
    let [width, height] = MARGIN_PATCH_MM;
    let lines = [height / 2.0 - 0.6, height / 2.0 + 0.6 + SMALL_MM];
    let mut x = 0.0;
    for (text, baseline) in ["Key: 1 is", "the lightest"].into_iter().zip(lines) {
        block.text(text, x, baseline, SMALL_MM, Anchor::Start);
    }
    x += width_mm("the lightest", SMALL_MM) + 3.0;
    for of in values {
        block.text(of.value.to_string(), x, height / 2.0 + LETTER_MM / 2.0, LETTER_MM, Anchor::Start);
        x += width_mm("8", LETTER_MM) + 0.8;
        let r = Rect::new(x, 0.0, x + width, height);
        block.patch(of, r, false);
        block.outline(r);
        x += width + 1.0;
        let texts = [of.made.word().to_owned(), format!("L* {:.0}, {}", of.lightness, percent(of.share))];
        let widest = texts.iter().map(|t| width_mm(t, SMALL_MM)).fold(0.0, f64::max);
        for (text, baseline) in texts.into_iter().zip(lines) {
            block.text(text, x, baseline, SMALL_MM, Anchor::Start);
        }
        x += widest + 2.2;
    }
    block.size = [x - 2.2, height];
    block
}

/// The key beside the picture, where the margins have room for it: above, below, or along a side; with the rectangle that
/// it takes. `reach` is the part of the sheet that a printer reaches.
#[must_use]
pub fn key_in_margin(
    values: &[KeyValue],
    picture: &RectMm,
    reach: Rect,
    marks: &Furniture,
) -> Option<(Furniture, RectMm)> {
    let block = row(values);
    let [w, h] = block.size;
    let (right, bottom) = (picture.x + picture.width, picture.y + picture.height);
    let free = |corner: Point, turned: bool| {
        let [width, height] = if turned { [h, w] } else { [w, h] };
        let r = Rect::new(corner.x, corner.y, corner.x + width, corner.y + height)
            .inflate(OUTSIDE_MM, OUTSIDE_MM);
        let mut pieces = marks.lines.iter().flat_map(|l| &l.paths).flat_map(|path| path.windows(2));
        r.x0 >= reach.x0
            && r.x1 <= reach.x1
            && r.y0 >= reach.y0
            && r.y1 <= reach.y1
            && pieces.all(|p| box_to_segment(r, [p[0], p[1]]) >= FROM_MARKS_MM)
            && marks.texts.iter().all(|t| {
                let [a, b] = t.bounds();
                let t = Rect::from_points(a, b).inflate(FROM_MARKS_MM, FROM_MARKS_MM);
                t.intersect(r).area() <= 0.0 && !segment_meets_box(t, [corner, corner])
            })
    };
    let steps = |length: f64| (0..=(length / 0.5).floor().max(0.0) as usize).map(|k| k as f64 * 0.5);
    let across = |out: f64| [picture.y - FROM_PICTURE_MM - out - h, bottom + FROM_PICTURE_MM + out];
    let beside = |out: f64| [picture.x - FROM_PICTURE_MM - out - h, right + FROM_PICTURE_MM + out];
    let far = reach.width().max(reach.height());
    for side in 0..2 {
        for out in steps(far) {
            let y = across(out)[side];
            if y < reach.y0 || y + h > reach.y1 {
                break;
            }
            for along in steps(reach.x1 - w - picture.x) {
                let corner = Point::new(picture.x + along, y);
                if free(corner, false) {
                    return Some(block.put(corner, false));
                }
            }
        }
    }
    for side in 0..2 {
        for out in steps(far) {
            let x = beside(out)[side];
            if x < reach.x0 || x + h > reach.x1 {
                break;
            }
            for along in steps(reach.y1 - w - picture.y) {
                let corner = Point::new(x, picture.y + along);
                if free(corner, true) {
                    return Some(block.put(corner, true));
                }
            }
        }
    }
    None
}

/// What the pages of the key say besides its values.
#[derive(Clone, Debug, Default)]
pub struct KeyTexts {
    /// What the sheet is: its picture and size.
    pub remark: String,
    /// Whether there are halves.
    pub halves: bool,
    /// Whether there are thin marks.
    pub thin: bool,
    /// Areas without room for their number, each in a few words.
    pub listed: Vec<String>,
}

/// The key on pages of a size, `edge_mm` kept bare on every side: the chart, how to read the plan, the strip to cut out,
/// and the list, which may go on over further pages. The pages have to be at least 140 x 190 mm, either way.
#[must_use]
pub fn key_pages(values: &[KeyValue], texts: &KeyTexts, size_mm: [f64; 2], edge_mm: f64) -> Vec<KeyPage> {
    let room = size_mm.map(|side| side - 2.0 * edge_mm);
    let fits = |b: &Block| b.size[1] <= room[1];
    let sizes = CHART_MM.iter().flat_map(|&chart| STRIP_MM.iter().map(move |&strip| (chart, strip)));
    let mut blocks = sizes.map(|(chart, strip)| chart_and_strip(values, texts, room[0], chart, strip));
    let mut last = None;
    let first = loop {
        match blocks.next() {
            Some(block) if fits(&block) && block.size[0] <= room[0] + 1e-9 => break block,
            Some(block) => last = Some(block),
            None => break last.unwrap_or_default(),
        }
    };
    let mut blocks = vec![first];
    let line = SMALL_MM * SPACING;
    let heading =
        format!("Without room for a number ({}): value, and place in the square", texts.listed.len());
    let mut rest = texts.listed.iter().peekable();
    let column_mm = texts.listed.iter().map(|t| width_mm(t, SMALL_MM)).fold(20.0, f64::max) + 5.0;
    let columns = ((room[0] / column_mm) as usize).max(1);
    while rest.peek().is_some() {
        let page = blocks.len() - 1;
        let top = blocks[page].size[1] + 2.0 * LETTER_MM;
        let lines = ((room[1] - top - LETTER_MM) / line).floor().max(0.0) as usize;
        if lines < 2 {
            blocks.push(Block { size: [room[0], 0.0], ..Block::default() });
            continue;
        }
        let block = &mut blocks[page];
        block.text(&heading, 0.0, top, LETTER_MM, Anchor::Start);
        'filled: for column in 0..columns {
            for row in 1..=lines {
                let Some(text) = rest.next() else { break 'filled };
                let baseline = top + 1.5 + row as f64 * line;
                block.text(text, column as f64 * column_mm, baseline, SMALL_MM, Anchor::Start);
            }
        }
        block.size[1] = room[1];
    }
    blocks
        .into_iter()
        .map(|block| {
            let (furniture, _) = block.put(Point::new(edge_mm, edge_mm), false);
            let moved = |p: KeyPatch| KeyPatch {
                rect: RectMm { x: p.rect.x + edge_mm, y: p.rect.y + edge_mm, ..p.rect },
                ..p
            };
            let patches = block.patches.into_iter().map(moved).collect();
            KeyPage { size_mm, furniture, patches }
        })
        .collect()
}

/// Chart, instructions and strip, in a width.
fn chart_and_strip(
    values: &[KeyValue],
    texts: &KeyTexts,
    width: f64,
    [patch_w, patch_h]: [f64; 2],
    side: f64,
) -> Block {
    let mut block = Block::default();
    let mut y = HEADING_MM;
    block.text("Key to the value plan", 0.0, y, HEADING_MM, Anchor::Start);
    y += 1.2;
    let paragraph = |block: &mut Block, y: &mut f64, text: &str, height: f64| {
        for line in wrapped(text, width, height) {
            *y += height * SPACING;
            block.text(line, 0.0, *y, height, Anchor::Start);
        }
    };
    if !texts.remark.is_empty() {
        paragraph(&mut block, &mut y, &texts.remark, SMALL_MM);
    }
    y += 1.5;
    let ends = format!(
        "1 is the lightest: bare paper. {} is the darkest: solid black.",
        values.last().map_or(1, |last| last.value)
    );
    paragraph(&mut block, &mut y, &ends, LETTER_MM);
    y += 4.0;
    for of in values {
        let middle = y + patch_h / 2.0;
        block.text(of.value.to_string(), 0.0, middle + HEADING_MM / 2.0, HEADING_MM, Anchor::Start);
        let r = Rect::new(6.0, y, 6.0 + patch_w, y + patch_h);
        block.patch(of, r, false);
        block.outline(r);
        let x = r.x1 + 4.0;
        block.text(of.made.words(), x, middle - 0.6, LETTER_MM, Anchor::Start);
        let figures = format!(
            "lightness L* {:.0}; {} of the picture; ink covers {:.0} %",
            of.lightness,
            percent(of.share),
            of.coverage * 100.0
        );
        block.text(figures, x, middle + 1.2 + SMALL_MM, SMALL_MM, Anchor::Start);
        y += patch_h + 2.0;
    }
    y += 1.0;
    let mut said = vec![
        "A number belongs to the area in which it stands; one with a thin line belongs to the areas in which the line's \
         dots lie.",
    ];
    if texts.thin {
        said.push("A line with free ends is a light or a dark too thin for an area; its number says which.");
    }
    if texts.halves {
        said.push(
            "3\u{bd} means that the area's own tone lies between 3 and 4, although its border was drawn for a whole value.",
        );
    }
    said.push(
        "Strip: cut along the thin line, punch out the circles, lay it on the drawing and compare the ink seen through a \
         hole with the hatching around it from arm's length. Lines as these come out of your pen only by practice; print \
         at full size, and mind the blade.",
    );
    for text in said {
        y += 0.6;
        paragraph(&mut block, &mut y, text, SMALL_MM);
    }
    y += 5.0;
    let strip = side * values.len() as f64;
    let cut = Rect::new(0.0, y, strip + 6.0, y + side + LETTER_MM + 7.0);
    block.outline(cut);
    let top = cut.y0 + LETTER_MM + 4.0;
    for (k, of) in values.iter().enumerate() {
        let x = 3.0 + k as f64 * side;
        block.text(of.value.to_string(), x + side / 2.0, top - 1.6, LETTER_MM, Anchor::Middle);
        block.patch(of, Rect::new(x, top, x + side, top + side), true);
    }
    block.outline(Rect::new(3.0, top, 3.0 + strip, top + side));
    block.size = [cut.x1.max(width.min(cut.x1)), cut.y1 + OUTSIDE_MM];
    block
}

/// A text in lines no wider than a room.
fn wrapped(text: &str, room_mm: f64, height_mm: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if width_mm(&format!("{line} {word}"), height_mm) <= room_mm => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.into()),
        }
    }
    lines
}
