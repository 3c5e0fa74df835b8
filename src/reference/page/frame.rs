//! What is printed round a picture and does not belong to it: rules, captions, page numbers.

use serde::Serialize;

use crate::components::components;
use crate::raster::{Raster, extreme_square};
use crate::reference::resample;

use super::place::PixelRect;
use super::rules::{Rules, find_rules};

/// What was left out round the picture.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct FrameFigures {
    /// Rules printed round the picture, one inside another.
    pub rules: usize,
    /// Width of the outermost rule as a share of the page's longer side; 0 without any.
    pub rule_width: f64,
    /// Captions and page numbers: left, top, width and height of each as shares of the page's width and height.
    pub captions: Vec<[f64; 4]>,
}

/// The picture on its page.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Framed {
    /// The part of the page that is kept.
    pub(super) kept: PixelRect,
    pub(super) figures: FrameFigures,
}

/// Longer side of the picture that is looked at, in pixels: a rule of 0.3 mm on a page of 200 mm is two wide.
pub(super) const LOOKED_AT: f64 = 1200.0;
/// Radius in which paper is looked for, as a share of the longer side.
const PAPER_REACH: f64 = 0.025;
/// Light under this share of the paper's is a rule's ink; under the other, content of any kind.
const RULE_DARK: f32 = 0.7;
const CONTENT_DARK: f32 = 0.8;
/// Gap that is closed between letters and lines, as a share of the longer side (run-length smoothing as in Wong, Casey &
/// Wahl 1982, "Document analysis system", IBM Journal of Research and Development 26).
const CLOSED_GAP: f64 = 0.012;
/// Most height of a caption or a page number as a share of the page's longer side: two lines.
const CAPTION_HEIGHT: f64 = 0.05;
/// Least share of the page that a picture covers.
const LEAST_PICTURE: f64 = 0.15;
/// What lies in this share of the page at its very edge is no caption but a sliver of the table.
const EDGE: f64 = 0.006;

/// Looks for rules round the picture, and on a page (`captions`) for captions too; what lies outside the innermost rule
/// is turned to paper in `page`. `None` when nothing is to be left out.
pub(super) fn leave_out(page: &mut Raster<f32>, captions: bool) -> Option<Framed> {
    let longer = page.width().max(page.height()) as f64;
    let scale = (LOOKED_AT / longer).min(1.0);
    let [w, h] = [page.width(), page.height()].map(|s| ((s as f64 * scale).round() as usize).max(1));
    if w < 60 || h < 60 {
        return None;
    }
    let small = resample(page, w, h);
    let paper = extreme_square(&small, (PAPER_REACH * w.max(h) as f64).ceil() as usize, f32::max);
    let darker = |share: f32| {
        let data = small.data().iter().zip(paper.data()).map(|(&y, &p)| y < share * p);
        Raster::from_vec(w, h, data.collect())
    };
    if let Some(rules) = find_rules(&darker(RULE_DARK)) {
        return Some(inside(page, &rules, [w, h]));
    }
    if captions { without_captions(&darker(CONTENT_DARK), [page.width(), page.height()]) } else { None }
}

/// The picture inside its rules: the box round them, with paper where a leaning rule would show.
fn inside(page: &mut Raster<f32>, rules: &Rules, small: [usize; 2]) -> Framed {
    let up = [page.width() as f64 / small[0] as f64, page.height() as f64 / small[1] as f64];
    let quad = rules.inner.map(|p| [p[0] * up[0], p[1] * up[1]]);
    let ends = |axis: usize, side: usize| {
        let of = quad.iter().map(|p| p[axis]);
        let (low, high) = (of.clone().fold(f64::INFINITY, f64::min), of.fold(f64::NEG_INFINITY, f64::max));
        (low.floor().clamp(0.0, side as f64 - 1.0) as usize, high.ceil().clamp(1.0, side as f64) as usize)
    };
    let ((left, right), (top, bottom)) = (ends(0, page.width()), ends(1, page.height()));
    let kept = PixelRect { left, top, width: right - left, height: bottom - top };
    let paper = brightest(page);
    for y in top..bottom {
        for x in left..right {
            let at = [x as f64 + 0.5, y as f64 + 0.5];
            if (0..4).any(|k| super::homography::turn(quad[k], quad[(k + 1) % 4], at) < 0.0) {
                page.set(x, y, paper);
            }
        }
    }
    let figures = FrameFigures {
        rules: rules.count,
        rule_width: rules.width / small[0].max(small[1]) as f64,
        captions: vec![],
    };
    Framed { kept, figures }
}

/// The light of paper: the brightest hundredth of a sample of pixels.
fn brightest(page: &Raster<f32>) -> f32 {
    let step = (page.data().len() / 20_000).max(1);
    let mut sample: Vec<f32> = page.data().iter().step_by(step).copied().collect();
    sample.sort_by(f32::total_cmp);
    sample[(sample.len() - 1) * 99 / 100]
}

/// A box in the looked-at picture: left, top, right, bottom.
type Box4 = [usize; 4];

/// The page cut between the picture and its captions.
fn without_captions(content: &Raster<bool>, size: [usize; 2]) -> Option<Framed> {
    let (w, h) = (content.width(), content.height());
    let longer = w.max(h) as f64;
    let radius = (CLOSED_GAP * longer / 2.0).ceil() as usize;
    let edge = (EDGE * longer).ceil() as usize;
    let inside = |i: usize| {
        let (x, y) = (i % w, i / w);
        x >= edge && y >= edge && x + edge < w && y + edge < h
    };
    let marked =
        Raster::from_vec(w, h, (0..w * h).map(|i| u8::from(content.data()[i] && inside(i))).collect());
    let (labels, count) = components(&extreme_square(&marked, radius, u8::max));
    let mut boxes: Vec<Box4> = vec![[w, h, 0, 0]; count + 1];
    for (i, &label) in labels.data().iter().enumerate() {
        if label > 0 && marked.data()[i] > 0 {
            let b = &mut boxes[label as usize];
            let (x, y) = (i % w, i / w);
            *b = [b[0].min(x), b[1].min(y), b[2].max(x + 1), b[3].max(y + 1)];
        }
    }
    let area = |b: &Box4| (b[2].saturating_sub(b[0])) * (b[3].saturating_sub(b[1]));
    let mut rest: Vec<Box4> = boxes.into_iter().filter(|b| area(b) > 4).collect();
    let largest = (0..rest.len()).max_by_key(|&i| (area(&rest[i]), usize::MAX - i))?;
    let mut picture = rest.swap_remove(largest);
    let mut captions = Vec::new();
    // What overlaps the picture or is too high for a caption is part of it; that may bring in more.
    loop {
        let (out, parts): (Vec<Box4>, Vec<Box4>) = rest.into_iter().partition(|b| {
            let apart = b[2] <= picture[0] || b[0] >= picture[2] || b[3] <= picture[1] || b[1] >= picture[3];
            let beyond = b[3] <= picture[1] || b[1] >= picture[3];
            apart && beyond && (b[3] - b[1]) as f64 <= CAPTION_HEIGHT * longer
        });
        rest = out;
        if parts.is_empty() {
            break;
        }
        for b in parts {
            picture =
                [picture[0].min(b[0]), picture[1].min(b[1]), picture[2].max(b[2]), picture[3].max(b[3])];
        }
    }
    if (area(&picture) as f64) < LEAST_PICTURE * (w * h) as f64 {
        return None;
    }
    let (mut top, mut bottom) = (0, h);
    for b in rest {
        if b[3] <= picture[1] {
            top = top.max((b[3] + picture[1]) / 2);
        } else {
            bottom = bottom.min((b[1] + picture[3]) / 2);
        }
        captions.push([
            b[0] as f64 / w as f64,
            b[1] as f64 / h as f64,
            (b[2] - b[0]) as f64 / w as f64,
            (b[3] - b[1]) as f64 / h as f64,
        ]);
    }
    captions.sort_by(|a, b| a[1].total_cmp(&b[1]).then(a[0].total_cmp(&b[0])));
    let up = size[1] as f64 / h as f64;
    let (top, bottom) = ((top as f64 * up).round() as usize, (bottom as f64 * up).round() as usize);
    let kept = PixelRect { left: 0, top, width: size[0], height: bottom.min(size[1]) - top };
    (!captions.is_empty())
        .then(|| Framed { kept, figures: FrameFigures { captions, ..FrameFigures::default() } })
}

#[cfg(test)]
mod tests;
