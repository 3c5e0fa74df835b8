//! What is drawn on a page, in mm from its top left, y down.

use super::font::Letters;
use super::{FONT, image_name};
use crate::output::number::rounded;
use crate::output::{DrawingOptions, Ink};
use crate::sheet::lettering::{CAPITALS_SHARE, quarter_turned};
use crate::sheet::{Furniture, Layer, Placement, RectMm};
use crate::strokes::StrokePlan;
use kurbo::{Affine, BezPath, CubicBez, PathEl, Point};
use pdf_writer::types::{LineCapStyle, LineJoinStyle};
use pdf_writer::{Content, Name, Str};

/// Name of a layer in the content: no two have the same.
pub(super) fn property(layer: Layer) -> &'static [u8] {
    layer.id().as_bytes()
}

/// Begins a content whose unit is a mm, `top` being the height of the page in its own units.
pub(super) fn in_mm(content: &mut Content, units_per_mm: f64, height_mm: f64) {
    let mm = units_per_mm as f32;
    content.save_state().transform([mm, 0.0, 0.0, -mm, 0.0, (height_mm * units_per_mm) as f32]);
}

/// Round ends and the colour of the lines.
pub(super) fn with_pencil(content: &mut Content, ink: Ink) {
    content.set_line_cap(LineCapStyle::RoundCap).set_line_join(LineJoinStyle::RoundJoin);
    set_ink(content, ink, 1.0);
}

fn set_ink(content: &mut Content, ink: Ink, strength: f64) {
    let [r, g, b] = ink.with_strength(strength).map(|part| part as f32);
    if ink != Ink::Blue {
        content.set_stroke_gray(r).set_fill_gray(r);
    } else {
        content.set_stroke_rgb(r, g, b).set_fill_rgb(r, g, b);
    }
}

/// A transform without rounding to micrometres, for pages.
pub(super) fn transform(content: &mut Content, affine: Affine) {
    content.transform(affine.as_coeffs().map(|n| n as f32));
}

/// Keeps what follows within a rectangle.
pub(super) fn clip(content: &mut Content, r: &RectMm) {
    content.rect(written(r.x), written(r.y), written(r.width), written(r.height)).clip_nonzero().end_path();
}

/// Makes rectangles white.
pub(super) fn clear(content: &mut Content, rects: &[RectMm]) {
    if rects.is_empty() {
        return;
    }
    content.set_fill_gray(1.0);
    for r in rects {
        content.rect(written(r.x), written(r.y), written(r.width), written(r.height));
    }
    content.fill_nonzero();
}

fn in_layer(content: &mut Content, layer: Layer, draw: impl FnOnce(&mut Content)) {
    content.begin_marked_content_with_properties(Name(b"OC")).properties_named(Name(property(layer)));
    draw(content);
    content.end_marked_content();
}

/// A curve, whether it is closed, and its width in mm.
type Line<'a> = (&'a [CubicBez], bool, f64);

/// The reference, which lies under everything.
pub(super) fn reference(content: &mut Content, options: &DrawingOptions) {
    if options.pictures().next().is_none() {
        return;
    }
    in_layer(content, Layer::Reference, |content| {
        for (k, picture) in options.pictures().enumerate() {
            let p = &picture.picture_mm;
            content.save_state();
            // An image fills the unit square, its first row at the top (ISO 32000-1, 8.9.3).
            let square = Affine::new([p.width, 0.0, 0.0, -p.height, p.x, p.y + p.height]);
            transform(content, picture.shown * square);
            content.x_object(Name(&image_name(k)));
            content.restore_state();
        }
    });
}

/// The lines of the plan.
pub(super) fn drawing(
    content: &mut Content,
    plan: &StrokePlan,
    placement: &Placement,
    options: &DrawingOptions,
) {
    let of_edges = |hard: bool, line_mm: f64| -> Vec<Line<'_>> {
        let edges = plan.strokes.iter().filter(|s| s.hard == hard);
        edges.map(|s| (&s.curve[..], s.closed, options.weight.width_mm(line_mm, s.step()))).collect()
    };
    let thin: Vec<Line<'_>> = plan.thin.iter().map(|s| (&s.curve[..], false, options.soft_line_mm)).collect();
    let guides = plan.guides.iter().map(|s| (&s.curve[..], s.closed, options.soft_line_mm)).collect();
    let layers = [
        (Layer::Hard, of_edges(true, options.line_mm)),
        (Layer::Soft, of_edges(false, options.soft_line_mm)),
        (Layer::Thin, thin),
        (Layer::Guides, guides),
    ];
    for (layer, lines) in layers {
        if matches!(layer, Layer::Thin | Layer::Guides) && lines.is_empty() {
            continue;
        }
        in_layer(content, layer, |content| {
            set_ink(content, options.ink, 1.0);
            let mut set_mm = f64::NAN;
            for (curve, closed, line_mm) in lines {
                if line_mm.total_cmp(&set_mm).is_ne() {
                    content.set_line_width(written(line_mm));
                    set_mm = line_mm;
                }
                stroke(content, curve, closed);
            }
        });
    }
    if options.frame {
        let p = placement.picture_mm;
        content.set_line_width(written(options.soft_line_mm));
        content.rect(written(p.x), written(p.y), written(p.width), written(p.height)).stroke();
    }
}

/// Tints, marks, squares and lettering: what lies under the lines, or everything else.
pub(super) fn furniture(
    content: &mut Content,
    furniture: &Furniture,
    ink: Ink,
    letters: &Letters,
    under: bool,
) {
    let wanted = |layer: Layer| furniture.has(layer) && layer.lies_under() == under;
    for layer in Layer::ALL.into_iter().filter(|&layer| wanted(layer)) {
        let ink = if layer.is_black() { Ink::Black } else { ink };
        in_layer(content, layer, |content| {
            for fill in furniture.fills.iter().filter(|f| f.layer == layer) {
                set_ink(content, Ink::Black, fill.strength);
                outline(content, &fill.outline);
                content.fill_nonzero();
            }
            for lines in furniture.lines.iter().filter(|l| l.layer == layer) {
                content.set_line_width(written(lines.line_mm));
                set_ink(content, ink, lines.strength);
                for path in &lines.paths {
                    polyline(content, path);
                }
                content.stroke();
            }
            set_ink(content, ink, 1.0);
            for text in furniture.texts.iter().filter(|t| t.layer == layer) {
                let at = text.start();
                // The text's own axes: along its line, and up, against the page's y.
                let turn = quarter_turned(text.quarter_turns);
                let [a, b, c, d, ..] = (turn * Affine::scale_non_uniform(1.0, -1.0)).as_coeffs();
                let size = (text.height_mm / CAPITALS_SHARE) as f32;
                content.begin_text().set_font(Name(FONT), size);
                let [a, b, c, d] = [a, b, c, d].map(|n| n as f32);
                content.set_text_matrix([a, b, c, d, written(at.x), written(at.y)]);
                content.show(Str(&letters.encoded(&text.text)));
                content.end_text();
            }
        });
    }
}

/// The outline of a shape that is to be filled.
fn outline(content: &mut Content, path: &BezPath) {
    let mut last = Point::ORIGIN;
    let curve = |content: &mut Content, [p1, p2, p3]: [Point; 3]| {
        let [p1, p2, p3] = [p1, p2, p3].map(|p| [written(p.x), written(p.y)]);
        content.cubic_to(p1[0], p1[1], p2[0], p2[1], p3[0], p3[1]);
    };
    for element in path.elements() {
        match *element {
            PathEl::MoveTo(p) => drop(content.move_to(written(p.x), written(p.y))),
            PathEl::LineTo(p) => drop(content.line_to(written(p.x), written(p.y))),
            PathEl::QuadTo(p1, p2) => curve(content, [last.lerp(p1, 2.0 / 3.0), p2.lerp(p1, 2.0 / 3.0), p2]),
            PathEl::CurveTo(p1, p2, p3) => curve(content, [p1, p2, p3]),
            PathEl::ClosePath => drop(content.close_path()),
        }
        last = element.end_point().unwrap_or(last);
    }
}

fn polyline(content: &mut Content, path: &[Point]) {
    for (k, p) in path.iter().enumerate() {
        if k == 0 {
            content.move_to(written(p.x), written(p.y));
        } else {
            content.line_to(written(p.x), written(p.y));
        }
    }
}

fn stroke(content: &mut Content, curve: &[CubicBez], closed: bool) {
    let Some(first) = curve.first() else { return };
    content.move_to(written(first.p0.x), written(first.p0.y));
    for c in curve {
        let [p1, p2, p3] = [c.p1, c.p2, c.p3].map(|p| [written(p.x), written(p.y)]);
        content.cubic_to(p1[0], p1[1], p2[0], p2[1], p3[0], p3[1]);
    }
    if closed {
        content.close_path();
    }
    content.stroke();
}

/// A length as the writer takes it; at 10 m an f32 still tells half a micrometre from the next.
fn written(mm: f64) -> f32 {
    rounded(mm) as f32
}
