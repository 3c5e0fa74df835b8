//! Where edges lie, how far lines were moved to them, and how heavy they are printed.

use kurbo::Point;
use serde_json::Value;

use crate::drawn::{draw, grey, merestone, reflectance};

const PX_PER_MM: usize = 10;
const SIDE_MM: usize = 44;
/// Samples across a pixel.
const FINE: usize = 4;

/// Reflectance of a disc of `radius` mm on a ground, blurred by a Gaussian of `sigma` mm, each pixel a mean over its area.
fn blurred_disc(middle: Point, radius: f64, sigma: f64, disc: f64, ground: f64) -> Vec<f64> {
    let n = SIDE_MM * PX_PER_MM * FINE;
    let per_mm = (PX_PER_MM * FINE) as f64;
    let place = |i: usize| (i as f64 + 0.5) / per_mm;
    let mut light: Vec<f64> = (0..n * n)
        .map(|i| {
            let inside = f64::hypot(place(i % n) - middle.x, place(i / n) - middle.y) < radius;
            if inside { disc } else { ground }
        })
        .collect();
    if sigma > 0.0 {
        let reach = (4.0 * sigma * per_mm).ceil() as isize;
        let mut weights: Vec<f64> =
            (-reach..=reach).map(|k| (-0.5 * (k as f64 / (sigma * per_mm)).powi(2)).exp()).collect();
        let sum: f64 = weights.iter().sum();
        weights.iter_mut().for_each(|w| *w /= sum);
        for across in [true, false] {
            let along = |line: usize, k: isize| {
                let k = k.clamp(0, n as isize - 1) as usize;
                if across { line * n + k } else { k * n + line }
            };
            let mut out = vec![0.0; n * n];
            for line in 0..n {
                let row: Vec<f64> = (0..n as isize).map(|k| light[along(line, k)]).collect();
                for k in 0..n as isize {
                    let at = |j: isize| row[(k + j).clamp(0, n as isize - 1) as usize];
                    out[along(line, k)] = (-reach..=reach).zip(&weights).map(|(j, w)| w * at(j)).sum();
                }
            }
            light = out;
        }
    }
    let m = SIDE_MM * PX_PER_MM;
    (0..m * m)
        .map(|i| {
            let (x, y) = (i % m * FINE, i / m * FINE);
            let sum: f64 = (0..FINE * FINE).map(|k| light[(y + k / FINE) * n + x + k % FINE]).sum();
            sum / (FINE * FINE) as f64
        })
        .collect()
}

/// Closed form: the edge of a disc of 5 mm and more is a circle, whatever is lighter and however much light is blurred.
/// (Blur moves the half height of a bent edge inwards by sigma^2 / 2 r: 0.009 mm at most here.)
#[test]
fn edges_lie_within_a_twentieth_of_a_millimetre() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let m = (SIDE_MM * PX_PER_MM) as u32;
    for (k, &(radius, sigma)) in
        [(5.0, 0.0), (5.0, 0.3), (9.0, 0.0), (16.0, 0.15), (16.0, 0.3)].iter().enumerate()
    {
        for (disc, ground) in [(90.0, 10.0), (10.0, 90.0), (70.0, 50.0), (30.0, 70.0)] {
            let middle = Point::new(21.73 + 0.21 * k as f64, 22.31);
            let light = blurred_disc(middle, radius, sigma, reflectance(disc), reflectance(ground));
            let name = format!("disc-{radius}-{sigma}-{disc}-{ground}");
            let drawn = draw(
                &grey(m, m, |x, y| light[(y * m + x) as usize]),
                folder.path(),
                &name,
                SIDE_MM as f64,
                &["--tone-range", "0,100", "--breaks", "even", "--kind", "tonal"],
            );
            assert_eq!(drawn.lines.len(), 1, "{name}: one edge, one line");
            let off: Vec<f64> = drawn.samples().iter().map(|p| p.distance(middle) - radius).collect();
            let bias = off.iter().sum::<f64>() / off.len() as f64;
            let most = off.iter().fold(0.0, |most: f64, d| most.max(d.abs()));
            assert!(bias.abs() < 0.05, "{name}: the line lies {bias:.4} mm off");
            assert!(most < 0.1, "{name}: it lies up to {most:.4} mm off");
        }
    }
}

fn example(name: &str) -> std::path::PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(name)
}

/// Runs the program on the tonal example with more options; the SVG, the report and what was said.
fn drawn_example(more: &[&str]) -> (String, Value, String) {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let (svg, report) = (folder.path().join("a.svg"), folder.path().join("a.json"));
    let out = merestone()
        .arg("draw")
        .arg(example("still-life-tonal.png"))
        .args(more)
        .arg("-o")
        .arg(&svg)
        .arg("--report")
        .arg(&report)
        .output()
        .expect("the program starts");
    let said = String::from_utf8_lossy(&out.stderr).into_owned();
    let text = std::fs::read_to_string(svg).unwrap_or_default();
    let report = std::fs::read_to_string(report).unwrap_or("null".into());
    (text, serde_json::from_str(&report).expect("the report is JSON"), said)
}

#[test]
fn the_report_tells_how_far_lines_were_moved_and_how_many_nodes_they_have() {
    let (svg, report, _) = drawn_example(&[]);
    let far = |name: &str| report["distances_mm"][name].as_f64().expect("a distance");
    let tolerance = report["limits"]["used"]["tolerance_mm"].as_f64().expect("a tolerance");
    assert!(far("fitted") > 0.0 && far("fitted") < tolerance + 0.02, "fitted {} mm off", far("fitted"));
    // Ten pixels at 6 px/mm; more would be another edge.
    assert!(far("placed") > 0.0 && far("placed") < 1.7, "placed {} mm off", far("placed"));
    assert!(far("smoothed") > 0.0 && far("smoothed") < 1.0, "smoothed {} mm off", far("smoothed"));
    // Nodes as they stand in the file: a cubic has three points behind its letter or behind the cubic before it.
    let document = roxmltree::Document::parse(&svg).expect("the SVG is XML");
    let boundary = document.descendants().find(|n| n.attribute("id") == Some("boundary")).expect("lines");
    let nodes: usize = boundary
        .descendants()
        .filter_map(|n| n.attribute("d"))
        .map(|d| d.matches(',').count() / 3 + usize::from(!d.ends_with('Z')))
        .sum();
    assert_eq!(report["nodes"]["count"].as_u64(), Some(nodes as u64), "nodes");
    let length = report["transitions"]["length_mm"].as_f64().expect("a length");
    let per_100 = report["nodes"]["per_100_mm"].as_f64().expect("a number");
    assert!((per_100 - 100.0 * nodes as f64 / length).abs() < 0.001, "{per_100} nodes per 100 mm");
}

#[test]
fn lines_can_be_heavier_where_more_values_change() {
    let (even, ..) = drawn_example(&["--plainness", "0"]);
    let (by_step, ..) = drawn_example(&["--plainness", "0", "--weight", "by-step"]);
    let mut seen = std::collections::BTreeSet::new();
    let document = roxmltree::Document::parse(&by_step).expect("the SVG is XML");
    for path in document.descendants().filter(|n| n.attribute("data-values").is_some()) {
        let values: Vec<i32> = path
            .attribute("data-values")
            .expect("values")
            .split(' ')
            .map(|v| v.parse().expect("a value"))
            .collect();
        let step = (values[0] - values[1]).abs();
        let hard = path.parent().and_then(|p| p.attribute("id")) == Some("hard");
        // ISO 128-2: each width is the square root of 2 times the one before, 0.18, 0.25, 0.35, 0.5, 0.7.
        let wanted = match (hard, step) {
            (_, 1) => None,
            (true, 2) => Some("0.5"),
            (true, _) => Some("0.7"),
            (false, 2) => Some("0.25"),
            (false, _) => Some("0.35"),
        };
        assert_eq!(path.attribute("stroke-width"), wanted, "step {step}, hard {hard}");
        seen.insert(step);
    }
    assert!(seen.len() >= 3, "the example has steps of several sizes: {seen:?}");
    // Nothing but the widths differs.
    let without = |svg: &str| {
        let mut text = svg.to_owned();
        for width in ["0.25", "0.35", "0.5", "0.7"] {
            text = text.replace(&format!(" stroke-width=\"{width}\""), "");
        }
        text
    };
    assert_eq!(without(&even), without(&by_step), "the lines stay where they are");
    let (.., said) = drawn_example(&["--weight", "by-step", "--chain"]);
    assert!(said.contains("joined lines") && said.contains("weight"), "{said}");
}
