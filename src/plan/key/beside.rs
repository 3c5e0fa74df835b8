//! The key as one row in the margin, beside the picture.

use kurbo::{Point, Rect};

use crate::plan::widest::box_to_segment;
use crate::sheet::lettering::width_mm;
use crate::sheet::{Anchor, Furniture, RectMm};
use crate::units::percent;

use super::KeyValue;
use super::block::{Block, LETTER_MM, OUTSIDE_MM, SMALL_MM};

/// Patches in the margin in mm.
const MARGIN_PATCH_MM: [f64; 2] = [9.0, 6.0];
/// Distance of the key from the picture in mm: clear of the working squares' names.
const FROM_PICTURE_MM: f64 = 7.2;
/// Least distance of the key in the margin from any mark in mm.
const FROM_MARKS_MM: f64 = 0.8;

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
                t.intersect(r).area() <= 0.0
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
