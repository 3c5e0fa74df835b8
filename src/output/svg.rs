//! The drawing as plain SVG 1.1: one unit is one millimetre on the sheet.

use super::number::{number, push_number};
use super::png::grey_png;
use super::{DrawingOptions, Ink, LineWeight, Underlay, clean_title};
use crate::sheet::{Furniture, Layer, Placement, lettering};
use crate::strokes::{Stroke, StrokePlan, ThinStroke};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use kurbo::{Affine, BezPath, CubicBez, PathEl, Point};
use svg::Document;
use svg::node::element::{Group, Image, Path, Rectangle, Title};

/// The drawing as SVG text: boundary lines in the groups `hard` and `soft` of the group `boundary`; thin marks, where
/// there are any, in the group `thin` behind it; what is printed around the picture in groups of its layers' names.
///
/// Pieces of one broken line that follow each other share one path, so that a transition stays one path. Plan,
/// placement and options are of the sheet as shown. Lettering is drawn as outlines, so it needs no font.
#[must_use]
pub fn svg(plan: &StrokePlan, placement: &Placement, options: &DrawingOptions) -> String {
    drawn(plan, placement, options, None)
}

/// One layer of the drawing as an SVG of its own, of the same size.
#[must_use]
pub fn svg_layer(plan: &StrokePlan, placement: &Placement, options: &DrawingOptions, layer: Layer) -> String {
    drawn(plan, placement, options, Some(layer))
}

fn drawn(plan: &StrokePlan, placement: &Placement, options: &DrawingOptions, only: Option<Layer>) -> String {
    let wanted = |layer: Layer| only.is_none_or(|only| only == layer);
    let [width, height] = placement.sheet_mm.map(number);
    let mut document = Document::new()
        .set("version", "1.1")
        .set("width", format!("{width}mm"))
        .set("height", format!("{height}mm"))
        .set("viewBox", format!("0 0 {width} {height}"));
    let title = clean_title(&options.title);
    if !title.is_empty() {
        document = document.add(Title::new(title));
    }
    let pictures: Vec<&Underlay> = options.pictures().collect();
    if !pictures.is_empty() && wanted(Layer::Reference) {
        let group = Group::new().set("id", Layer::Reference.id());
        document = document.add(pictures.into_iter().fold(group, |group, picture| group.add(image(picture))));
    }
    // Tints and the squares' grid lie under the lines.
    let has = |layer: Layer| wanted(layer) && options.furniture.has(layer);
    for layer in Layer::ALL.into_iter().filter(|&l| has(l) && l.lies_under()) {
        document = document.add(around(&options.furniture, layer, options.ink));
    }
    let layers = [(Layer::Hard, true, options.line_mm), (Layer::Soft, false, options.soft_line_mm)];
    let mut boundary = Group::new().set("id", "boundary");
    for (layer, hard, line_mm) in layers.into_iter().filter(|&(layer, ..)| wanted(layer)) {
        let mut group = inked(Group::new().set("id", layer.id()), line_mm, options.ink);
        let mut rest: Vec<&Stroke> = plan.strokes.iter().filter(|s| s.hard == hard).collect();
        while !rest.is_empty() {
            let pieces = rest.iter().skip(1).take_while(|next| continues(rest[0], next)).count() + 1;
            group = group.add(path(&rest[..pieces], line_mm, options.weight));
            rest.drain(..pieces);
        }
        boundary = boundary.add(group);
    }
    if wanted(Layer::Hard) || wanted(Layer::Soft) {
        document = document.add(boundary);
    }
    if !plan.thin.is_empty() && wanted(Layer::Thin) {
        let group = inked(Group::new().set("id", Layer::Thin.id()), options.soft_line_mm, options.ink);
        document = document.add(plan.thin.iter().fold(group, |group, stroke| group.add(thin_path(stroke))));
    }
    if !plan.guides.is_empty() && wanted(Layer::Guides) {
        let group = inked(Group::new().set("id", Layer::Guides.id()), options.soft_line_mm, options.ink);
        let drawn = plan.guides.iter().fold(group, |group, stroke| {
            let mut data = String::new();
            push_path(&mut data, &stroke.curve, stroke.closed);
            group.add(Path::new().set("d", data))
        });
        document = document.add(drawn);
    }
    if options.frame && only.is_none() {
        let p = placement.picture_mm;
        let rectangle = Rectangle::new()
            .set("x", number(p.x))
            .set("y", number(p.y))
            .set("width", number(p.width))
            .set("height", number(p.height));
        let group = inked(Group::new().set("id", "frame"), options.soft_line_mm, options.ink);
        document = document.add(group.add(rectangle));
    }
    for layer in Layer::ALL.into_iter().filter(|&l| has(l) && !l.lies_under()) {
        document = document.add(around(&options.furniture, layer, options.ink));
    }
    format!("{document}\n")
}

/// One layer of what is printed around the picture.
fn around(furniture: &Furniture, layer: Layer, ink: Ink) -> Group {
    let ink = if layer.is_black() { Ink::Black } else { ink };
    let mut group = Group::new().set("id", layer.id());
    for fill in furniture.fills.iter().filter(|f| f.layer == layer) {
        let path =
            Path::new().set("d", outline_data(&fill.outline)).set("fill", Ink::Black.hex(fill.strength));
        group = group.add(path);
    }
    for lines in furniture.lines.iter().filter(|l| l.layer == layer) {
        let mut data = String::new();
        for path in &lines.paths {
            for (k, &point) in path.iter().enumerate() {
                data.push(if k == 0 { 'M' } else { 'L' });
                push_point(&mut data, point);
            }
        }
        let path = Path::new()
            .set("d", data)
            .set("fill", "none")
            .set("stroke", ink.hex(lines.strength))
            .set("stroke-width", number(lines.line_mm))
            .set("stroke-linecap", "round")
            .set("stroke-linejoin", "round");
        group = group.add(path);
    }
    for text in furniture.texts.iter().filter(|t| t.layer == layer) {
        let outline = lettering::outline(&text.text, text.start(), text.height_mm, text.quarter_turns);
        let path = Path::new()
            .set("d", outline_data(&outline))
            .set("fill", ink.hex(1.0))
            .set("data-text", clean_title(&text.text));
        group = group.add(path);
    }
    group
}

/// The path data of outlines.
fn outline_data(outline: &BezPath) -> String {
    let mut data = String::new();
    for element in outline.elements() {
        let (letter, points): (char, Vec<Point>) = match *element {
            PathEl::MoveTo(p) => ('M', vec![p]),
            PathEl::LineTo(p) => ('L', vec![p]),
            PathEl::QuadTo(p, q) => ('Q', vec![p, q]),
            PathEl::CurveTo(p, q, r) => ('C', vec![p, q, r]),
            PathEl::ClosePath => ('Z', vec![]),
        };
        data.push(letter);
        for (k, point) in points.into_iter().enumerate() {
            if k > 0 {
                data.push(' ');
            }
            push_point(&mut data, point);
        }
    }
    data
}

/// The reference as a PNG inside the file.
fn image(underlay: &Underlay) -> Image {
    let p = &underlay.picture_mm;
    let mut image = Image::new()
        .set("x", number(p.x))
        .set("y", number(p.y))
        .set("width", number(p.width))
        .set("height", number(p.height))
        .set("preserveAspectRatio", "none")
        .set("xlink:href", format!("data:image/png;base64,{}", STANDARD.encode(grey_png(&underlay.grey))))
        .set("xmlns:xlink", "http://www.w3.org/1999/xlink");
    if underlay.shown != Affine::IDENTITY {
        let matrix: Vec<String> = underlay.shown.as_coeffs().iter().map(|&n| number(n)).collect();
        image = image.set("transform", format!("matrix({})", matrix.join(" ")));
    }
    image
}

/// A group whose lines have round ends, without fill.
fn inked(group: Group, line_mm: f64, ink: Ink) -> Group {
    group
        .set("fill", "none")
        .set("stroke", ink.hex(1.0))
        .set("stroke-width", number(line_mm))
        .set("stroke-linecap", "round")
        .set("stroke-linejoin", "round")
}

/// Whether `next` is another piece of the same single transition.
fn continues(first: &Stroke, next: &Stroke) -> bool {
    first.transitions.len() == 1 && first.transitions == next.transitions
}

/// One path over strokes that carry the same transitions.
fn path(pieces: &[&Stroke], line_mm: f64, weight: LineWeight) -> Path {
    let mut data = String::new();
    for stroke in pieces {
        push_path(&mut data, &stroke.curve, stroke.closed);
    }
    let first = pieces[0];
    let transitions: Vec<String> = first.transitions.iter().map(ToString::to_string).collect();
    let path = Path::new().set("d", data);
    let width_mm = weight.width_mm(line_mm, first.step());
    let path = if width_mm > line_mm { path.set("stroke-width", number(width_mm)) } else { path };
    path.set("data-values", format!("{} {}", first.values[0], first.values[1]))
        .set("data-edge-mm", number(first.edge_mm))
        .set("data-transitions", transitions.join(" "))
}

/// The centre line of one thin mark.
fn thin_path(stroke: &ThinStroke) -> Path {
    let mut data = String::new();
    push_path(&mut data, &stroke.curve, false);
    Path::new()
        .set("d", data)
        .set("data-value", stroke.value.to_string())
        .set("data-width-mm", number(stroke.width_mm))
}

/// Appends the path data of one stroke; absolute, so that rounding never adds up.
fn push_path(data: &mut String, curve: &[CubicBez], closed: bool) {
    let Some(first) = curve.first() else { return };
    data.push('M');
    push_point(data, first.p0);
    for (i, cubic) in curve.iter().enumerate() {
        data.push(if i == 0 { 'C' } else { ' ' });
        for (k, point) in [cubic.p1, cubic.p2, cubic.p3].into_iter().enumerate() {
            if k > 0 {
                data.push(' ');
            }
            push_point(data, point);
        }
    }
    if closed {
        data.push('Z');
    }
}

fn push_point(data: &mut String, point: Point) {
    push_number(data, point.x);
    data.push(',');
    push_number(data, point.y);
}
