//! The key as a page: the value chart, how to read the plan, the strip to cut out, and the list.

use kurbo::{Point, Rect};

use crate::sheet::lettering::{width_mm, wrapped};
use crate::sheet::{Anchor, RectMm};
use crate::units::percent;

use super::block::{Block, LETTER_MM, OUTSIDE_MM, SMALL_MM};
use super::{KeyPage, KeyPatch, KeyValue};

/// Height of the heading and of the chart's numbers in mm (ISO 3098-1).
const HEADING_MM: f64 = 3.5;
/// Distance from line to line as a multiple of the height (ISO 3098-1: at least 1.4).
const SPACING: f64 = 1.6;
/// Patches of the chart: width and height in mm, the largest that fit.
const CHART_MM: [[f64; 2]; 3] = [[18.0, 12.0], [12.0, 9.0], [9.0, 6.0]];
/// Sides of the patches of the strip in mm, the largest that fit.
const STRIP_MM: [f64; 2] = [18.0, 12.0];

/// Width and height in mm that a key of nine values needs.
pub const LEAST_ROOM_MM: [f64; 2] = [117.0, 165.0];

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
/// and the list, which may go on over further pages. At least [`LEAST_ROOM_MM`] has to be left inside the edge.
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
            blocks.push(Block::default());
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
