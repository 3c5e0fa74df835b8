//! The program against figures that other libraries made (see `tests/oracles/`, which holds the scripts).

use std::path::PathBuf;

use kurbo::Point;
use serde_json::Value;

use crate::drawn::{Near, draw_file, percentile};

fn figures(name: &str) -> Value {
    let path = data(name);
    let text = std::fs::read_to_string(&path).expect("the figures are checked in");
    serde_json::from_str(&text).expect("the figures are JSON")
}

fn data(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

/// Sum of squares within the classes that `breaks` (descending L*) cut an evenly binned histogram into.
fn within(weights: &[f64], breaks: &[f64]) -> f64 {
    let centre = |i: usize| (i as f64 + 0.5) * 100.0 / weights.len() as f64;
    let class = |i: usize| breaks.iter().filter(|&&b| centre(i) < b).count();
    let mut sums = vec![(0.0, 0.0); breaks.len() + 1];
    for (i, w) in weights.iter().enumerate() {
        let c = &mut sums[class(i)];
        *c = (c.0 + w, c.1 + w * centre(i));
    }
    weights
        .iter()
        .enumerate()
        .map(|(i, w)| {
            let (mass, moment) = sums[class(i)];
            if mass > 0.0 { w * (centre(i) - moment / mass).powi(2) } else { 0.0 }
        })
        .sum()
}

#[test]
fn the_measure_of_breaks_agrees_with_the_oracle() {
    // The oracle's own classes, measured here, give the oracle's own sum: both mean the same thing.
    for histogram in figures("fitted-breaks.json")["histograms"].as_array().expect("a list") {
        let weights: Vec<f64> = numbers(&histogram["weights"]);
        for fit in histogram["fits"].as_array().expect("a list") {
            let mut breaks: Vec<f64> =
                numbers(&fit["first_bins"]).iter().map(|b| b * 100.0 / weights.len() as f64).collect();
            breaks.reverse();
            let oracle = fit["sum_of_squares"].as_f64().expect("a number");
            let got = within(&weights, &breaks);
            assert!(
                (got - oracle).abs() <= 1e-6 * oracle + 1e-6,
                "{}: {got} for {oracle}",
                histogram["name"]
            );
        }
    }
}

fn numbers(list: &Value) -> Vec<f64> {
    list.as_array().expect("a list").iter().map(|n| n.as_f64().expect("a number")).collect()
}

#[test]
fn fitted_breaks_are_the_best_there_are() {
    // Source: Fisher's natural breaks by NumPy, bounded by SciPy's k-means (tests/oracles/fitted_breaks.py).
    let mut seen = 0;
    for histogram in figures("fitted-breaks.json")["histograms"].as_array().expect("a list") {
        let name = &histogram["name"];
        let weights = numbers(&histogram["weights"]);
        for fit in histogram["fits"].as_array().expect("a list") {
            let values = fit["values"].as_u64().expect("a count") as usize;
            let oracle = fit["sum_of_squares"].as_f64().expect("a number");
            let breaks = merestone::tone::fitted_breaks(&weights, values);
            assert_eq!(breaks.len(), values - 1, "{name}, {values} values: {breaks:?}");
            assert!(
                breaks.windows(2).all(|w| w[0] > w[1]),
                "{name}, {values} values: not descending: {breaks:?}"
            );
            let got = within(&weights, &breaks);
            // Rounding of sums of squares over bins of 0.1 L* is far below a millionth of the whole spread.
            let slack = 1e-6 * oracle + 1e-12 * within(&weights, &[]);
            assert!(
                got <= oracle + slack,
                "{name}, {values} values: {got} where {oracle} can be had, {breaks:?}"
            );
            seen += 1;
        }
    }
    assert!(seen >= 40, "only {seen} fits were checked");
}

#[test]
fn flat_borders_agree_with_marching_squares_within_half_a_pixel() {
    // Source: scikit-image find_contours on the same picture (tests/oracles/contours.py).
    let figures = figures("flat-scene-contours.json");
    let width = figures["width_mm"].as_f64().expect("a number");
    let aspect = figures["height_mm"].as_f64().expect("a number") / width;
    let half_pixel = 0.5 / figures["px_per_mm"].as_f64().expect("a number");
    let folder = tempfile::tempdir().expect("a scratch folder");
    let more = ["--tone-range", "0,100", "--breaks", "80,50,20", "--values", "4"];
    let drawn = draw_file(&data("flat-scene.png"), folder.path(), "flat", width, aspect, &more);

    let mut borders = vec![];
    let mut wanted = 0.0;
    for border in figures["borders"].as_array().expect("a list") {
        let points: Vec<Point> = border["points_mm"]
            .as_array()
            .expect("a list")
            .iter()
            .map(numbers)
            .map(|p| Point::new(p[0], p[1]))
            .collect();
        for pair in points.windows(2) {
            wanted += pair[0].distance(pair[1]);
            borders.extend((0..8).map(|i| pair[0].lerp(pair[1], f64::from(i) / 8.0)));
        }
    }
    // Marching squares stops half a pixel inside the picture's edge; the program's lines reach it.
    let inside = |p: &Point| p.x > 0.3 && p.y > 0.3 && p.x < width - 0.3 && p.y < width * aspect - 0.3;
    let lines: Vec<Point> = drawn.samples().into_iter().filter(inside).collect();
    borders.retain(inside);
    for (what, from, to) in [("drawn", &lines, &borders), ("oracle", &borders, &lines)] {
        let near = Near::new(to);
        let all: Vec<f64> = from.iter().map(|&p| near.nearest(p).0).collect();
        let (most, worst) = (percentile(all.clone(), 0.98), percentile(all, 1.0));
        assert!(
            most <= half_pixel,
            "{what} lines: 98 % within {most:.3} mm, half a pixel is {half_pixel:.3} mm"
        );
        assert!(worst <= 3.0 * half_pixel, "{what} lines: up to {worst:.3} mm away");
    }
    let length = drawn.length_mm();
    assert!((length / wanted - 1.0).abs() < 0.03, "{length:.1} mm of line for {wanted:.1} mm of border");
}
