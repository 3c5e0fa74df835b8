//! Guide lines from points and from SVG files: places in closed form, and files that are refused.

use super::*;
use crate::strokes::length_mm;

fn file(name: &str, text: &str) -> PathBuf {
    let path = std::env::temp_dir().join(format!("guides-{}-{name}.svg", std::process::id()));
    std::fs::write(&path, text).unwrap_or_else(|e| panic!("{e}"));
    path
}

fn of_svg(name: &str, text: &str) -> Result<ReadGuide, GuideError> {
    let path = file(name, text);
    let got = read(&Guide::File(path.clone()));
    std::fs::remove_file(path).unwrap_or_else(|e| panic!("{e}"));
    got
}

fn refused(name: &str, text: &str) -> String {
    let error = of_svg(name, text).expect_err(name).to_string();
    assert!(!error.contains('\n') && error.len() < 400, "{error}");
    error
}

const HEAD: &str = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 300 200\">";

#[test]
fn points_are_joined_by_straight_lines() {
    let points = [["10%", "20%"], ["40mm", "20%"], ["40mm", "50mm"]]
        .map(|p| p.map(|m| m.parse().unwrap_or_else(|e| panic!("{e}"))));
    let lines = read(&Guide::Points(points.to_vec())).and_then(|g| g.on_picture([150.0, 100.0]));
    let line = &lines.unwrap_or_else(|e| panic!("{e}"))[0];
    assert!((length_mm(&line.curve) - 55.0).abs() < 0.002 && !line.closed, "25 and 30 mm: {line:?}");
    assert_eq!(line.curve[0].p0, Point::new(15.0, 20.0), "shares and lengths");
}

#[test]
fn strokes_are_read_wherever_they_are_moved_and_fills_are_not() {
    let inner = "<g transform=\"translate(100 50) scale(2)\" stroke=\"red\" fill=\"none\">\
        <path d=\"M0,0 H20 V10 Z\"/><circle cx=\"0\" cy=\"0\" r=\"10\" stroke-dasharray=\"1 2\"/></g>\
        <path d=\"M0,0 L300,200\" fill=\"blue\"/><text stroke=\"red\" x=\"5\" y=\"9\">no line</text>";
    let read = of_svg("strokes", &format!("{HEAD}{inner}</svg>")).unwrap_or_else(|e| panic!("{e}"));
    let lines = read.on_picture([150.0, 100.0]).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(lines.len(), 2, "a triangle and a circle: {lines:?}");
    assert!(lines.iter().all(|line| line.closed), "both close");
    // Two units of a group are a unit of the page's 2 to the mm: 20, 10 and their root; and a circle of 10 mm.
    let want = [20.0 + 10.0 + 500.0_f64.sqrt(), 20.0 * std::f64::consts::PI];
    for (line, want) in lines.iter().zip(want) {
        let got = length_mm(&line.curve);
        assert!((got - want).abs() < 0.01, "{got} for {want}");
    }
    assert!(lines[0].curve[0].p0.distance(Point::new(50.0, 25.0)) < 0.001, "{:?}", lines[0]);
}

#[test]
fn pages_of_another_shape_are_refused() {
    let line = "<path d=\"M0,0 L10,10\" stroke=\"black\"/></svg>";
    let read = of_svg("shape", &format!("{HEAD}{line}")).unwrap_or_else(|e| panic!("{e}"));
    assert!(read.on_picture([151.0, 100.0]).is_ok(), "2 % are paper's affair");
    let said = read.on_picture([100.0, 150.0]).expect_err("upright").to_string();
    assert!(said.contains("300 x 200") && said.contains("100.0 x 150.0 mm"), "{said}");
}

#[test]
fn what_is_no_file_of_lines_is_refused_in_a_sentence() {
    assert!(refused("letter", "Dear reader").contains("no SVG"));
    assert!(refused("empty", "").contains("no SVG"));
    assert!(refused("none", &format!("{HEAD}</svg>")).contains("no line"));
    assert!(refused("filled", &format!("{HEAD}<path d=\"M0,0 H9 V9 Z\"/></svg>")).contains("with a stroke"));
    assert!(refused("open", &format!("{HEAD}<path d=\"M0,0")).contains("no SVG"));
    let deep = format!("{HEAD}{}{}</svg>", "<g>".repeat(100_000), "</g>".repeat(100_000));
    assert!(refused("deep", &deep).contains("200 deep"));
    let many =
        (1..40).map(|k| format!("<g id=\"a{k}\">{}</g>", format!("<use href=\"#a{}\"/>", k - 1).repeat(10)));
    let many: String = many.collect();
    let bomb = format!("{HEAD}<path id=\"a0\" d=\"M0,0 H9\" stroke=\"red\"/>{many}</svg>");
    assert!(refused("many", &bomb).contains("no SVG"));
    let gone = read(&Guide::File("no/such/lines.svg".into())).expect_err("not there").to_string();
    assert!(gone.contains("no/such/lines.svg") && gone.contains("path"), "{gone}");
}
