//! The plotter's file: one path per stroke, in drawing order; and the view of that order.

use super::number::{number, push_number};
use super::png::colour_png;
use super::{OutputError, clean_title};
use crate::plotter::{PlotterPart, PlotterPlan, PlotterStroke};
use kurbo::{BezPath, PathEl, Point};
use std::fmt::Write;

/// Parts of a plan as SVG text: each a group, each stroke one path in absolute mm, in drawing order.
///
/// With a chord tolerance in mm lines are polylines whose points lie on the curves (kurbo's flattening), without one
/// they are cubics.
#[must_use]
pub fn plotter_svg(
    parts: &[PlotterPart],
    sheet_mm: [f64; 2],
    line_mm: f64,
    title: &str,
    polylines_mm: Option<f64>,
) -> String {
    let mut text = opened(sheet_mm, title);
    for part in parts {
        let _infallible = writeln!(
            text,
            "<g id=\"{}\" fill=\"none\" stroke=\"#000\" stroke-width=\"{}\" stroke-linecap=\"round\" stroke-linejoin=\"round\">",
            part.name(),
            number(line_mm)
        );
        for stroke in &part.strokes {
            let drawn: Vec<String> = stroke.transitions.iter().map(ToString::to_string).collect();
            let of = if drawn.is_empty() {
                String::new()
            } else {
                format!(" data-transitions=\"{}\"", drawn.join(" "))
            };
            let _infallible = writeln!(text, "<path d=\"{}\"{of}/>", data(stroke, polylines_mm));
        }
        text.push_str("</g>\n");
    }
    text.push_str("</svg>\n");
    text
}

/// Lightness, as a grey from 0 to 255, of the first stroke; the last one is black.
const FIRST_GREY: f64 = 205.0;
/// Widths of strokes and travel, and radius of the dot where the pencil is raised, in mm.
const STROKE_MM: f64 = 0.6;
const TRAVEL_MM: f64 = 0.15;
const LIFT_MM: f64 = 0.55;
/// Colour of travel and lifts: nothing else in the view has one.
const TRAVEL_COLOUR: &str = "#d4480c";

/// The order of a plan as SVG text: strokes from light, the first, to black, the last; travel as thin coloured lines
/// from stroke to stroke; a dot wherever the pencil is raised.
#[must_use]
pub fn order_view_svg(plan: &PlotterPlan, sheet_mm: [f64; 2], title: &str) -> String {
    let mut text = opened(sheet_mm, title);
    let [width, height] = sheet_mm.map(number);
    let _infallible = writeln!(text, "<rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>");
    let strokes: Vec<&PlotterStroke> = plan.parts.iter().flat_map(|part| &part.strokes).collect();
    let count = strokes.len().max(2) - 1;
    text.push_str("<g id=\"strokes\" fill=\"none\" stroke-linecap=\"round\" stroke-linejoin=\"round\">\n");
    for (k, stroke) in strokes.iter().enumerate() {
        let grey = (FIRST_GREY * (1.0 - k as f64 / count as f64)).round() as u8;
        let line = number(STROKE_MM);
        let _infallible = writeln!(
            text,
            "<path d=\"{}\" stroke=\"#{grey:02x}{grey:02x}{grey:02x}\" stroke-width=\"{line}\"/>",
            data(stroke, None)
        );
    }
    text.push_str("</g>\n");
    let line = number(TRAVEL_MM);
    let _infallible =
        writeln!(text, "<g id=\"travel\" fill=\"none\" stroke=\"{TRAVEL_COLOUR}\" stroke-width=\"{line}\">");
    let mut at = Point::ZERO;
    let mut lifts = String::new();
    for stroke in &strokes {
        let (start, end) = (stroke.curve[0].p0, stroke.curve[stroke.curve.len() - 1].p3);
        let mut path = String::new();
        push(&mut path, 'M', &[at]);
        push(&mut path, 'L', &[start]);
        let _infallible = writeln!(text, "<path d=\"{path}\"/>");
        let [x, y, r] = [end.x, end.y, LIFT_MM].map(number);
        let _infallible = writeln!(lifts, "<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\"/>");
        at = end;
    }
    let _infallible = write!(text, "</g>\n<g id=\"lifts\" fill=\"{TRAVEL_COLOUR}\">\n{lifts}</g>\n</svg>\n");
    text
}

/// The same as a PNG.
///
/// # Errors
/// [`OutputError::PreviewSize`] when the picture would have no pixels or more than 100 million.
pub fn order_view_png(
    plan: &PlotterPlan,
    sheet_mm: [f64; 2],
    title: &str,
    pixels_per_mm: f64,
) -> Result<Vec<u8>, OutputError> {
    colour_png(&order_view_svg(plan, sheet_mm, title), sheet_mm, pixels_per_mm)
}

fn opened(sheet_mm: [f64; 2], title: &str) -> String {
    let [width, height] = sheet_mm.map(number);
    let title = clean_title(title).replace('&', "&amp;").replace('<', "&lt;");
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" version=\"1.1\" width=\"{width}mm\" height=\"{height}mm\" \
         viewBox=\"0 0 {width} {height}\">\n<title>{title}</title>\n"
    )
}

fn data(stroke: &PlotterStroke, polylines_mm: Option<f64>) -> String {
    let mut text = String::new();
    push(&mut text, 'M', &[stroke.curve[0].p0]);
    let Some(tolerance) = polylines_mm else {
        for c in &stroke.curve {
            push(&mut text, 'C', &[c.p1, c.p2, c.p3]);
        }
        return text;
    };
    let mut path = BezPath::new();
    path.move_to(stroke.curve[0].p0);
    for c in &stroke.curve {
        path.curve_to(c.p1, c.p2, c.p3);
    }
    kurbo::flatten(path.iter(), tolerance, |element| {
        if let PathEl::LineTo(p) = element {
            push(&mut text, 'L', &[p]);
        }
    });
    text
}

fn push(text: &mut String, letter: char, points: &[Point]) {
    text.push(letter);
    for (k, p) in points.iter().enumerate() {
        if k > 0 {
            text.push(' ');
        }
        push_number(text, p.x);
        text.push(',');
        push_number(text, p.y);
    }
}
