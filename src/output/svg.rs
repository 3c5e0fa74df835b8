//! The drawing as plain SVG 1.1: one unit is one millimetre on the sheet.

use super::number::{number, push_number};
use super::{DrawingOptions, clean_title};
use crate::sheet::Placement;
use crate::strokes::{Stroke, StrokePlan, ThinStroke};
use kurbo::{CubicBez, Point};
use svg::Document;
use svg::node::element::{Group, Path, Rectangle, Title};

/// The drawing as SVG text: boundary lines in the groups `hard` and `soft` of the group `boundary`; thin marks, where
/// there are any, in the group `thin` behind it.
///
/// Pieces of one broken line that follow each other share one path, so that a transition stays one path.
#[must_use]
pub fn svg(plan: &StrokePlan, placement: &Placement, options: &DrawingOptions) -> String {
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
    let mut boundary = Group::new().set("id", "boundary");
    for (id, hard, line_mm) in [("hard", true, options.line_mm), ("soft", false, options.soft_line_mm)] {
        let mut group = inked(Group::new().set("id", id), line_mm);
        let mut rest: Vec<&Stroke> = plan.strokes.iter().filter(|s| s.hard == hard).collect();
        while !rest.is_empty() {
            let pieces = rest.iter().skip(1).take_while(|next| continues(rest[0], next)).count() + 1;
            group = group.add(path(&rest[..pieces]));
            rest.drain(..pieces);
        }
        boundary = boundary.add(group);
    }
    document = document.add(boundary);
    if !plan.thin.is_empty() {
        let group = inked(Group::new().set("id", "thin"), options.soft_line_mm);
        document = document.add(plan.thin.iter().fold(group, |group, stroke| group.add(thin_path(stroke))));
    }
    if options.frame {
        let p = placement.picture_mm;
        let rectangle = Rectangle::new()
            .set("x", number(p.x))
            .set("y", number(p.y))
            .set("width", number(p.width))
            .set("height", number(p.height));
        document = document.add(inked(Group::new().set("id", "frame"), options.soft_line_mm).add(rectangle));
    }
    format!("{document}\n")
}

/// A group whose lines are black with round ends, without fill.
fn inked(group: Group, line_mm: f64) -> Group {
    group
        .set("fill", "none")
        .set("stroke", "#000")
        .set("stroke-width", number(line_mm))
        .set("stroke-linecap", "round")
        .set("stroke-linejoin", "round")
}

/// Whether `next` is another piece of the same single transition.
fn continues(first: &Stroke, next: &Stroke) -> bool {
    first.transitions.len() == 1 && first.transitions == next.transitions
}

/// One path over strokes that carry the same transitions.
fn path(pieces: &[&Stroke]) -> Path {
    let mut data = String::new();
    for stroke in pieces {
        push_path(&mut data, &stroke.curve, stroke.closed);
    }
    let first = pieces[0];
    let transitions: Vec<String> = first.transitions.iter().map(ToString::to_string).collect();
    Path::new()
        .set("d", data)
        .set("data-values", format!("{} {}", first.values[0], first.values[1]))
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
