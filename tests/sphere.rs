//! A lit sphere: where one value gives way to the next is known in closed form.
//!
//! The light a matt sphere sends back goes with the cosine between its normal and the direction of the light
//! (Lambert 1760). A break of lightness is one reflectance, one cosine, hence a circle on the sphere in a plane
//! square to the light; seen from far off it is an ellipse, of which the half that faces the eye shows.

use kurbo::Point;

use crate::drawn::{Drawn, Near, draw, grey, percentile, reflectance};

/// Width of the square picture, radius and centre of the sphere, in mm.
const SIDE: f64 = 100.0;
const RADIUS: f64 = 36.0;
const CENTRE: f64 = 50.0;
/// Pixels to a mm of the reference.
const SCALE: u32 = 10;
/// Reflectance of the sphere's dark side, and what the light adds where it falls straight on it.
const AMBIENT: f64 = 0.015;
const LIT: f64 = 0.94;
/// Lightness of the ground: the middle of value 3.
const GROUND: f64 = 50.0;
/// Even breaks of five values between 0 and 100.
const BREAKS: [f64; 4] = [80.0, 60.0, 40.0, 20.0];

type V = [f64; 3];

fn dot(a: V, b: V) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Towards the light; x right, y down, z to the eye.
fn light() -> V {
    let l = [-0.52, -0.47, 0.71];
    let k = dot(l, l).sqrt();
    l.map(|c| c / k)
}

/// Normal of the sphere seen at a place in mm, if it is seen there.
fn normal(x: f64, y: f64) -> Option<V> {
    let (u, v) = ((x - CENTRE) / RADIUS, (y - CENTRE) / RADIUS);
    let rest = 1.0 - u * u - v * v;
    (rest >= 0.0).then(|| [u, v, rest.sqrt()])
}

/// Reflectance seen at a place in mm.
fn tone(x: f64, y: f64) -> f64 {
    normal(x, y).map_or(reflectance(GROUND), |n| AMBIENT + LIT * dot(n, light()).max(0.0))
}

/// Cosine between normal and light at which the sphere has lightness `l`.
fn cosine(l: f64) -> f64 {
    (reflectance(l) - AMBIENT) / LIT
}

/// Slope of lightness at a place on the sphere, in L* per mm.
fn slope(x: f64, y: f64) -> f64 {
    let Some(n) = normal(x, y) else { return f64::INFINITY };
    let l = light();
    if dot(n, l) <= 0.0 {
        return 0.0;
    }
    let by = |i: usize| (l[i] - l[2] * n[i] / n[2].max(1e-6)) / RADIUS;
    let y = AMBIENT + LIT * dot(n, l);
    LIT * f64::hypot(by(0), by(1)) * 116.0 / 3.0 * y.powf(-2.0 / 3.0)
}

/// The visible arc on which the sphere has lightness `l`, in steps well under 0.05 mm.
fn isophote(l: f64) -> Vec<Point> {
    let c = cosine(l);
    let s = (1.0 - c * c).sqrt();
    let a = light();
    // Two directions square to the light and to each other.
    let k = a[2].hypot(a[0]);
    let u = [a[2] / k, 0.0, -a[0] / k];
    let v = [a[1] * u[2], a[2] * u[0] - a[0] * u[2], -a[1] * u[0]];
    (0..6000)
        .map(|i| f64::from(i) / 6000.0 * std::f64::consts::TAU)
        .map(|t| [0, 1, 2].map(|i| c * a[i] + s * (u[i] * t.cos() + v[i] * t.sin())))
        .filter(|n| n[2] > 0.0)
        .map(|n| Point::new(CENTRE + RADIUS * n[0], CENTRE + RADIUS * n[1]))
        .collect()
}

fn silhouette() -> Vec<Point> {
    (0..6000)
        .map(|i| f64::from(i) / 6000.0 * std::f64::consts::TAU)
        .map(|t| Point::new(CENTRE + RADIUS * t.cos(), CENTRE + RADIUS * t.sin()))
        .collect()
}

/// How far off a line may be: a least distance, or a lightness over the slope there.
#[derive(Clone, Copy)]
struct Allowed {
    mm: f64,
    lightness: f64,
}

impl Allowed {
    fn at(self, p: Point) -> f64 {
        self.mm.max(self.lightness / slope(p.x, p.y))
    }
}

/// For each sample of each line, how far it is off its own curve, in shares of what is allowed there.
///
/// A line between values a and b has its place on one of the breaks between them, or on the silhouette.
fn strays(drawn: &Drawn, allowed: Allowed) -> Vec<f64> {
    let arcs = BREAKS.map(isophote);
    let nears = arcs.each_ref().map(|a| Near::new(a));
    let edge = Near::new(&silhouette());
    let mut all = vec![];
    for line in &drawn.lines {
        let (light, dark) = (line.values[0].min(line.values[1]), line.values[0].max(line.values[1]));
        assert!(light < dark && (1..=5).contains(&light) && dark <= 5, "values {:?} on a line", line.values);
        for &p in &line.samples {
            let mut best = edge.nearest(p).0 / allowed.mm;
            for k in usize::from(light) - 1..usize::from(dark) - 1 {
                let (d, at) = nears[k].nearest(p);
                best = best.min(d / allowed.at(arcs[k][at]));
            }
            all.push(best);
        }
    }
    all
}

/// Share of the arcs well inside the sphere's outline that has a line of its break within what is allowed.
fn found(drawn: &Drawn, allowed: Allowed) -> f64 {
    let (mut near, mut all) = (0, 0);
    for (k, &l) in BREAKS.iter().enumerate() {
        let samples: Vec<Point> = drawn
            .lines
            .iter()
            .filter(|line| line.values.iter().any(|&v| usize::from(v) <= k + 1))
            .filter(|line| line.values.iter().any(|&v| usize::from(v) > k + 1))
            .flat_map(|line| line.samples.iter().copied())
            .collect();
        let lines = Near::new(&samples);
        for p in isophote(l) {
            if p.distance(Point::new(CENTRE, CENTRE)) < 0.93 * RADIUS {
                all += 1;
                near += usize::from(lines.nearest(p).0 <= allowed.at(p));
            }
        }
    }
    f64::from(near as u32) / f64::from(all as u32)
}

fn draw_sphere(name: &str, light: impl Fn(u32, u32) -> f64) -> Drawn {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let side = SIDE as u32 * SCALE;
    // Every break the picture allows: the faintest ring is the first that a plainer drawing leaves out.
    let more = ["--tone-range", "0,100", "--breaks", "even", "--values", "5", "--plainness", "0"];
    draw(&grey(side, side, light), folder.path(), name, SIDE, &more)
}

/// Mean of `f` over the pixel (x, y), at `n` by `n` places in mm.
fn over_pixel(x: u32, y: u32, n: u32, f: impl Fn(f64, f64) -> f64) -> f64 {
    let at = |p: u32, i: u32| (f64::from(p) + (f64::from(i) + 0.5) / f64::from(n)) / f64::from(SCALE);
    let sum: f64 = (0..n * n).map(|i| f(at(x, i % n), at(y, i / n))).sum();
    sum / f64::from(n * n)
}

#[test]
fn the_closed_form_agrees_with_the_picture() {
    // What the figures below rest on, checked against the rendered tones themselves.
    for l in BREAKS {
        let arc = isophote(l);
        assert!(arc.len() > 1500, "an arc of L* {l} shows");
        for p in arc.iter().step_by(97).filter(|p| p.distance(Point::new(CENTRE, CENTRE)) < 0.99 * RADIUS) {
            assert!((tone(p.x, p.y) - reflectance(l)).abs() < 1e-9, "L* {l} is seen at {p}");
            let step = 1e-4;
            let by = |dx: f64, dy: f64| {
                let y = |s: f64| 116.0 * tone(p.x + s * dx, p.y + s * dy).cbrt() - 16.0;
                (y(step) - y(-step)) / (2.0 * step)
            };
            let measured = f64::hypot(by(1.0, 0.0), by(0.0, 1.0));
            assert!((measured / slope(p.x, p.y) - 1.0).abs() < 1e-3, "slope at {p}: {measured}");
        }
    }
}

#[test]
fn flat_tones_give_the_ellipses() {
    let drawn = draw_sphere("sphere-flat", |x, y| over_pixel(x, y, 3, tone));
    let allowed = Allowed { mm: 0.3, lightness: 0.5 };
    let off = percentile(strays(&drawn, allowed), 0.95);
    assert!(off <= 1.0, "95 % of the line lies within {off:.2} times what is allowed");
    let found = found(&drawn, allowed);
    assert!(found > 0.9, "only {:.1} % of the arcs have their line", 100.0 * found);
}

/// Whether a place in mm is under ink: parallel strokes by an unsteady hand, crossed by more where it is dark.
fn inked(x: f64, y: f64) -> bool {
    let cover = 1.0 - tone(x, y);
    if cover > 0.96 {
        return true;
    }
    let sets: &[f64] = if cover < 0.5 { &[0.6] } else { &[0.6, 2.1] };
    let each = 1.0 - (1.0 - cover).powf(1.0 / sets.len() as f64);
    // On the ground the strokes run another way than on the sphere.
    let turn = if normal(x, y).is_some() { 0.0 } else { 0.8 };
    sets.iter().any(|angle| {
        let (s, c) = (angle + turn).sin_cos();
        let (on, off) = (x * c + y * s, y * c - x * s);
        let pitch = 0.9;
        let row = (off / pitch).floor();
        let wobble = 0.05 * (on / 3.1 + 1.7 * row).sin() + 0.03 * (on / 1.3 + 2.9 * row).sin();
        ((off + wobble) / pitch).rem_euclid(1.0) < each
    })
}

#[test]
fn hatched_ink_gives_the_ellipses() {
    let drawn = draw_sphere("sphere-hatched", |x, y| {
        1.0 - over_pixel(x, y, 5, |x, y| f64::from(u8::from(inked(x, y))))
    });
    let allowed = Allowed { mm: 0.8, lightness: 1.5 };
    let off = percentile(strays(&drawn, allowed), 0.95);
    assert!(off <= 1.0, "95 % of the line lies within {off:.2} times what is allowed");
    let found = found(&drawn, allowed);
    assert!(found > 0.8, "only {:.1} % of the arcs have their line", 100.0 * found);
}

#[test]
fn the_measures_tell_right_lines_from_wrong_ones() {
    // Lines made from the closed form itself, moved sideways by hand.
    let moved = |by: f64| {
        let lines = BREAKS.iter().enumerate().map(|(k, &l)| {
            let mut path = kurbo::BezPath::new();
            for pair in isophote(l).windows(2).filter(|pair| pair[0].distance(pair[1]) < 0.2) {
                path.move_to(pair[0] + kurbo::Vec2::new(by, 0.0));
                path.line_to(pair[1] + kurbo::Vec2::new(by, 0.0));
            }
            let values = [k as u8 + 1, k as u8 + 2];
            crate::drawn::Line { samples: crate::drawn::samples(&path), path, values }
        });
        Drawn { lines: lines.collect(), thin: vec![], report: serde_json::Value::Null }
    };
    let allowed = Allowed { mm: 0.3, lightness: 0.5 };
    for (by, right) in [(0.0, true), (0.2, true), (1.0, false)] {
        let drawn = moved(by);
        let off = percentile(strays(&drawn, allowed), 0.95);
        assert_eq!(off <= 1.0, right, "moved by {by} mm: off by {off:.2} times what is allowed");
        let found = found(&drawn, allowed);
        assert_eq!(found > 0.9, right, "moved by {by} mm: {found:.2} found");
    }
    let mut half = moved(0.0);
    half.lines.truncate(2);
    assert!(found(&half, allowed) < 0.9, "two of four arcs are missing");
}
