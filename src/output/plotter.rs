//! The plotter's file: one path per stroke, in drawing order; and the view of that order.

use super::number::{number, push_number};
use super::png::colour_png;
use super::{OutputError, clean_title};
use crate::plotter::{PlotterPart, PlotterPlan, PlotterStroke};
use kurbo::{ParamCurve, Point};
use std::fmt::Write;

/// Parts of a plan as SVG text: each a group, each stroke one path in absolute mm, in drawing order.
///
/// With a chord tolerance in mm lines are polylines whose points lie on the curves, without one they are
/// cubics.
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
    let mut path = String::new();
    push(&mut path, 'M', &[at]);
    push(&mut path, 'L', &[Point::ZERO]);
    let _infallible = writeln!(text, "<path d=\"{path}\"/>");
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
    for c in &stroke.curve {
        // Wang's bound: n even steps in t keep a chord within 6/8 of the largest second difference over n^2.
        let bends = [
            c.p0.to_vec2() - 2.0 * c.p1.to_vec2() + c.p2.to_vec2(),
            c.p1.to_vec2() - 2.0 * c.p2.to_vec2() + c.p3.to_vec2(),
        ];
        let bend = bends[0].hypot().max(bends[1].hypot());
        let count = (0.75 * bend / tolerance).sqrt().ceil().max(1.0) as usize;
        for k in 1..=count {
            push(&mut text, 'L', &[c.eval(k as f64 / count as f64)]);
        }
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::{CubicBez, Line, ParamCurveNearest};
    use proptest::prelude::*;

    fn points(text: &str) -> Vec<Point> {
        let numbers =
            text.split(|c: char| c.is_ascii_alphabetic() || c == ' ').filter(|part| !part.is_empty());
        let read = |n: &str| n.parse::<f64>().expect("a number");
        numbers.filter_map(|pair| pair.split_once(',')).map(|(x, y)| Point::new(read(x), read(y))).collect()
    }

    proptest! {
        #[test]
        fn polylines_keep_their_tolerance(xs in prop::array::uniform8(0.0f64..100.0), tolerance in 0.005f64..1.0) {
            let [a, b, c, d] = [0, 2, 4, 6].map(|k| Point::new(xs[k], xs[k + 1]));
            let cubic = CubicBez::new(a, b, c, d);
            let stroke = PlotterStroke { curve: vec![cubic], closed: false, transitions: vec![] };
            let line = points(&data(&stroke, Some(tolerance)));
            for k in 0..=200 {
                let p = cubic.eval(f64::from(k) / 200.0);
                let near = line.windows(2).map(|w| Line::new(w[0], w[1]).nearest(p, 1e-9).distance_sq.sqrt());
                let off = near.fold(f64::INFINITY, f64::min);
                prop_assert!(off <= tolerance * 1.02 + 0.001, "{off} mm off, {tolerance} allowed");
            }
            prop_assert_eq!(points(&data(&stroke, None)).len(), 4, "a curve is its four points");
        }
    }

    #[test]
    fn a_path_for_each_stroke_in_order() {
        let stroke = |x: f64| PlotterStroke {
            curve: vec![CubicBez::new((x, 1.0), (x, 2.0), (x, 3.0), (x, 4.0))],
            closed: false,
            transitions: vec![7],
        };
        let part = |layer, part, xs: &[f64]| PlotterPart {
            layer,
            part,
            strokes: xs.iter().map(|&x| stroke(x)).collect(),
        };
        let parts = [part("hard", 1, &[5.0, 1.0]), part("soft", 0, &[3.0])];
        let text = plotter_svg(&parts, [100.0, 50.0], 0.35, "a < b", None);
        let document = roxmltree::Document::parse(&text).expect("well-formed");
        let starts: Vec<(&str, &str)> = document
            .descendants()
            .filter(|n| n.has_tag_name("path"))
            .map(|n| {
                (n.parent().and_then(|g| g.attribute("id")).unwrap_or(""), n.attribute("d").unwrap_or(""))
            })
            .collect();
        let wanted =
            [("hard-1", "M5,1C5,2 5,3 5,4"), ("hard-1", "M1,1C1,2 1,3 1,4"), ("soft", "M3,1C3,2 3,3 3,4")];
        assert_eq!(starts, wanted, "in drawing order");
        assert_eq!(document.root_element().attribute("viewBox"), Some("0 0 100 50"), "one unit is one mm");
    }
}
