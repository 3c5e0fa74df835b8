//! What the program promises of every net and file, checked on what it wrote (see DEVELOPERS.md; GEOS checks the
//! same from outside in `tests/outside/check_promises.py`).

use std::path::{Path, PathBuf};

use image::GrayImage;
use kurbo::{CubicBez, Line, ParamCurve, Point};
use rstar::primitives::GeomWithData;
use rstar::{AABB, RTree};
use serde_json::Value;

use crate::drawn::{Drawn, Near, closes, draw, draw_file, grey, merestone, reflectance};

/// Coordinates are whole micrometres; half of one to either side is rounding.
const EPS_MM: f64 = 0.0015;

struct Chain {
    from: Option<u64>,
    to: Option<u64>,
    points: Vec<Point>,
}

/// The net file: each transition as a chain of short straight pieces, and where the junctions lie.
fn read_net(path: &Path) -> (Vec<Chain>, Vec<(u64, Point)>) {
    let text = std::fs::read_to_string(path).expect("the net was written");
    let net: Value = serde_json::from_str(&text).expect("the net is JSON");
    let number = |v: &Value| v.as_f64().expect("a number");
    let point = |v: &Value| Point::new(number(&v[0]), number(&v[1]));
    let list = |key: &str| net[key].as_array().expect("a list").clone();
    let chains = list("transitions").into_iter().map(|t| {
        let controls: Vec<Point> = t["cubics"].as_array().expect("a list").iter().map(point).collect();
        assert_eq!(controls.len() % 3, 1, "3n + 1 control points");
        let mut points = vec![controls[0]];
        for c in controls.windows(4).step_by(3) {
            let cubic = CubicBez::new(c[0], c[1], c[2], c[3]);
            let length = c[0].distance(c[1]) + c[1].distance(c[2]) + c[2].distance(c[3]);
            let pieces = (length / 0.02).ceil().max(4.0) as usize;
            points.extend((1..=pieces).map(|i| cubic.eval(i as f64 / pieces as f64)));
        }
        Chain { from: t["from"].as_u64(), to: t["to"].as_u64(), points }
    });
    let junctions = list("junctions");
    let junctions = junctions
        .iter()
        .map(|j| (j["id"].as_u64().expect("an id"), Point::new(number(&j["x"]), number(&j["y"]))));
    (chains.collect(), junctions.collect())
}

/// Pieces of different lines, or of one line but not next to each other, that cross away from shared ends.
fn crossings(chains: &[Chain]) -> Vec<String> {
    let mut pieces = vec![];
    for (c, chain) in chains.iter().enumerate() {
        for (i, p) in chain.points.windows(2).enumerate() {
            pieces.push(GeomWithData::new(
                rstar::primitives::Line::new([p[0].x, p[0].y], [p[1].x, p[1].y]),
                (c, i),
            ));
        }
    }
    let tree = RTree::bulk_load(pieces.clone());
    let mut found = vec![];
    for piece in &pieces {
        let (a, b) = (piece.geom().from, piece.geom().to);
        let around = AABB::from_corners(
            [a[0].min(b[0]) - 1e-9, a[1].min(b[1]) - 1e-9],
            [a[0].max(b[0]) + 1e-9, a[1].max(b[1]) + 1e-9],
        );
        for other in tree.locate_in_envelope_intersecting(&around) {
            let ((c, i), (d, j)) = (piece.data, other.data);
            let neighbours = c == d && i.abs_diff(j) <= 1;
            if (d, j) <= (c, i) || neighbours {
                continue;
            }
            let line =
                |l: &rstar::primitives::Line<[f64; 2]>| Line::new((l.from[0], l.from[1]), (l.to[0], l.to[1]));
            let Some(at) = meet(line(piece.geom()), line(other.geom())) else { continue };
            let ends = |k: usize| [chains[k].points[0], chains[k].points[chains[k].points.len() - 1]];
            let near = |k: usize| ends(k).iter().any(|e| e.distance(at) <= 2.0 * EPS_MM);
            if !(near(c) && near(d)) {
                found.push(format!("lines {c} and {d} cross at {:.3}, {:.3}", at.x, at.y));
            }
        }
    }
    found
}

/// Where two straight pieces meet.
fn meet(a: Line, b: Line) -> Option<Point> {
    let (r, s, w) = (a.p1 - a.p0, b.p1 - b.p0, b.p0 - a.p0);
    let turn = r.cross(s);
    if turn.abs() < 1e-18 {
        return None;
    }
    let (t, u) = (w.cross(s) / turn, w.cross(r) / turn);
    ((0.0..=1.0).contains(&t) && (0.0..=1.0).contains(&u)).then(|| a.eval(t))
}

/// Ends that neither close, nor reach a junction of three, nor lie on the edge of the picture.
fn loose_ends(chains: &[Chain], junctions: &[(u64, Point)], on_edge: impl Fn(Point) -> bool) -> Vec<String> {
    let mut found = vec![];
    let mut joined = vec![0; junctions.len()];
    for (c, chain) in chains.iter().enumerate() {
        let (a, b) = (chain.points[0], chain.points[chain.points.len() - 1]);
        let closed = chain.from.is_none() && chain.to.is_none() && a.distance(b) <= EPS_MM;
        for (id, end) in [(chain.from, a), (chain.to, b)] {
            let Some(id) = id else {
                if !closed && !on_edge(end) {
                    found.push(format!("line {c} ends loose at {end}"));
                }
                continue;
            };
            match junctions.iter().position(|j| j.0 == id) {
                Some(j) => {
                    joined[j] += 1;
                    if junctions[j].1.distance(end) > EPS_MM {
                        found.push(format!("line {c} does not reach junction {id}"));
                    }
                }
                None => found.push(format!("line {c} names junction {id}, which is not there")),
            }
        }
    }
    for (j, &(id, at)) in junctions.iter().enumerate() {
        if joined[j] < 3 && !(on_edge(at) && joined[j] > 0) {
            found.push(format!("junction {id} joins {} lines", joined[j]));
        }
    }
    found
}

/// Stretches over 0.5 mm of one line within 0.02 mm of another.
fn doubles(drawn: &Drawn) -> Vec<String> {
    let mut found = vec![];
    for (i, line) in drawn.lines.iter().enumerate() {
        let others: Vec<Point> = drawn
            .lines
            .iter()
            .enumerate()
            .filter(|&(j, _)| j != i)
            .flat_map(|(_, other)| fine(&other.samples))
            .collect();
        let near = Near::new(&others);
        let mut run = 0.0;
        for pair in fine(&line.samples).windows(2) {
            let beside = near.nearest(pair[0]).0 <= 0.02;
            run = if beside { run + pair[0].distance(pair[1]) } else { 0.0 };
            if run > 0.5 {
                found.push(format!("line {i} runs beside another at {}", pair[0]));
                break;
            }
        }
    }
    found
}

/// The same polyline with points 0.01 mm apart.
fn fine(points: &[Point]) -> Vec<Point> {
    points
        .windows(2)
        .flat_map(|p| {
            let n = (p[0].distance(p[1]) / 0.01).ceil().max(1.0) as usize;
            let (a, b) = (p[0], p[1]);
            (0..n).map(move |i| a.lerp(b, i as f64 / n as f64))
        })
        .collect()
}

/// Everything that has to hold of one drawn picture.
fn check(drawn: &Drawn, net: &Path, what: &str) {
    let (chains, junctions) = read_net(net);
    assert_eq!(chains.len(), drawn.lines.len(), "{what}: the SVG has one path for each transition");
    let at = |key: &str| drawn.report["picture_mm"][key].as_f64().expect("a number");
    let (x0, y0) = (at("x"), at("y"));
    let (x1, y1) = (x0 + at("width"), y0 + at("height"));
    let on_edge = |p: Point| [p.x - x0, p.x - x1, p.y - y0, p.y - y1].iter().any(|d| d.abs() <= EPS_MM);
    let mut faults = crossings(&chains);
    faults.extend(loose_ends(&chains, &junctions, on_edge));
    faults.extend(doubles(drawn));
    assert!(faults.is_empty(), "{what}: {} faults, first {:?}", faults.len(), &faults[..faults.len().min(8)]);
    for line in drawn.lines.iter().filter(|l| closes(l)) {
        assert!(line.samples.len() > 4, "{what}: a closed line of no length");
    }
}

fn example(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("examples").join(name)
}

#[test]
fn the_still_life_is_drawn_as_promised() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    for name in ["still-life-hatched", "still-life-tonal"] {
        let net = folder.path().join("net.json");
        let more = ["--net", net.to_str().expect("a plain path")];
        let drawn =
            draw_file(&example(&format!("{name}.png")), folder.path(), name, 170.0, 2000.0 / 1700.0, &more);
        check(&drawn, &net, name);
        assert!(drawn.length_mm() > 1000.0, "{name}: only {:.0} mm of line", drawn.length_mm());
    }
}

/// A patchwork of `n` random patches of five flat tones: the nearest of some random points, with wavy borders.
fn patchwork(seed: u64, n: usize) -> GrayImage {
    let mut state = seed;
    let mut roll = || {
        // splitmix64 (Steele, Lea & Flood 2014).
        state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    };
    let patches: Vec<[f64; 3]> =
        (0..n).map(|_| [roll() * 300.0, roll() * 240.0, 10.0 + 20.0 * (roll() * 5.0).floor()]).collect();
    grey(300, 240, |x, y| {
        let (x, y) = (f64::from(x), f64::from(y));
        let (u, v) = (x + 5.0 * (y / 17.0).sin(), y + 5.0 * (x / 13.0).sin());
        let nearest = patches.iter().min_by(|a, b| {
            let d = |p: &[f64; 3]| f64::hypot(p[0] - u, p[1] - v);
            d(a).total_cmp(&d(b))
        });
        reflectance(nearest.map_or(50.0, |p| p[2]))
    })
}

#[test]
fn random_patchworks_are_drawn_as_promised() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    for (seed, n) in [(1, 6), (2, 12), (3, 25), (4, 60), (5, 150)] {
        let name = format!("patchwork-{seed}");
        let net = folder.path().join("net.json");
        let path = net.to_str().expect("a plain path");
        let more = ["--net", path, "--tone-range", "0,100", "--breaks", "even", "--plainness", "0"];
        let drawn = draw(&patchwork(seed, n), folder.path(), &name, 60.0, &more);
        check(&drawn, &net, &name);
        assert!(drawn.length_mm() > 30.0, "{name}: only {:.0} mm of line", drawn.length_mm());
    }
}

#[test]
fn threads_and_runs_give_the_same_bytes() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let reference = folder.path().join("reference.png");
    image::open(example("still-life-hatched.png"))
        .expect("the example can be read")
        .crop_imm(200, 900, 1000, 900)
        .save(&reference)
        .expect("a part of it can be written");
    let mut first: Option<Vec<(String, Vec<u8>)>> = None;
    for threads in ["1", "2", "8", "1"] {
        let out = tempfile::tempdir_in(folder.path()).expect("a folder for the run");
        let file = |name: &str| out.path().join(name);
        let status = merestone()
            .arg("draw")
            .arg(&reference)
            .args(["--paper", "a5", "--quiet", "--threads", threads, "-o"])
            .arg(file("a.svg"))
            .arg("-o")
            .arg(file("a.pdf"))
            .arg("-o")
            .arg(file("a.png"))
            .arg("--report")
            .arg(file("report.json"))
            .arg("--net")
            .arg(file("net.json"))
            .arg("--value-map")
            .arg(file("map.png"))
            .status()
            .expect("the program starts");
        assert!(status.success(), "with {threads} threads: {status}");
        let made: Vec<_> = ["a.svg", "a.pdf", "a.png", "report.json", "net.json", "map.png"]
            .iter()
            .map(|name| ((*name).to_owned(), std::fs::read(file(name)).expect("the file was written")))
            .collect();
        match &first {
            None => first = Some(made),
            Some(first) => {
                for (one, other) in first.iter().zip(&made) {
                    assert!(one == other, "{} differs with {threads} threads or on a second run", one.0);
                }
            }
        }
    }
}

#[test]
fn sizes_are_exact_in_svg_and_pdf() {
    // ISO 216: A5 is 148 mm x 210 mm; ANSI letter is 8.5 in x 11 in.
    let folder = tempfile::tempdir().expect("a scratch folder");
    let reference = folder.path().join("reference.png");
    patchwork(7, 9).save(&reference).expect("the picture can be written");
    for (paper, width, height) in
        [("a5", 210.0, 148.0), ("letter", 279.4, 215.9), ("180x240mm", 240.0, 180.0)]
    {
        let (svg, pdf) = (folder.path().join("a.svg"), folder.path().join("a.pdf"));
        let mut command = merestone();
        command.arg("draw").arg(&reference).args(["--paper", paper, "--quiet", "--overwrite", "-o"]);
        let status = command.arg(&svg).arg("-o").arg(&pdf).status().expect("the program starts");
        assert!(status.success(), "{paper}: {status}");
        let text = std::fs::read_to_string(&svg).expect("the SVG was written");
        let document = roxmltree::Document::parse(&text).expect("the SVG is XML");
        let said = |name: &str| document.root_element().attribute(name).unwrap_or_default().to_owned();
        let mm = |name: &str| said(name).strip_suffix("mm").and_then(|v| v.parse::<f64>().ok());
        let near = |got: Option<f64>, want: f64| got.is_some_and(|g| (g - want).abs() < 1e-3);
        // The picture is wider than high; a paper named WIDTHxHEIGHT turns with it as any other does.
        assert!(near(mm("width"), width), "{paper}: the SVG is {} wide, not {width} mm", said("width"));
        assert!(near(mm("height"), height), "{paper}: the SVG is {} high, not {height} mm", said("height"));
        let view: Vec<f64> = said("viewBox").split_whitespace().filter_map(|v| v.parse().ok()).collect();
        let wanted = [0.0, 0.0, width, height];
        let fits = view.len() == 4 && view.iter().zip(wanted).all(|(g, w)| (g - w).abs() < 1e-3);
        assert!(fits, "{paper}: one unit is one mm, but the viewBox is {view:?}");
        for (got, want) in media_box(&pdf).iter().zip([0.0, 0.0, width, height]) {
            assert!((got * 25.4 / 72.0 - want).abs() < 0.001, "{paper}: {got} pt in the PDF for {want} mm");
        }
    }
}

/// The only page's MediaBox in points, by `lopdf`.
fn media_box(path: &Path) -> Vec<f64> {
    let document = lopdf::Document::load(path).expect("the PDF can be read");
    let pages = document.get_pages();
    assert_eq!(pages.len(), 1, "one sheet, one page");
    let page = pages.values().next().and_then(|&id| document.get_dictionary(id).ok()).expect("a page");
    let numbers = page.get(b"MediaBox").and_then(|b| b.as_array()).expect("a page has its own MediaBox");
    numbers.iter().map(|n| f64::from(n.as_float().expect("a number"))).collect()
}

#[test]
fn faults_made_by_hand_are_found() {
    let chain = |from, to, ends: &[(f64, f64)]| {
        let points = ends.iter().map(|&(x, y)| Point::new(x, y)).collect();
        Chain { from, to, points }
    };
    let on_edge = |p: Point| p.x.abs() < EPS_MM || (p.x - 30.0).abs() < EPS_MM;
    let across = chain(None, None, &[(0.0, 5.0), (15.0, 5.2), (30.0, 6.0)]);
    let down = chain(None, None, &[(10.0, 1.0), (11.0, 9.0)]);
    assert_eq!(crossings(&[across, down]).len(), 1, "one crossing");
    let eight = chain(None, None, &[(1.0, 1.0), (5.0, 5.0), (5.0, 1.0), (1.0, 5.0)]);
    assert_eq!(crossings(&[eight]).len(), 1, "a line may not cross itself");
    let star = [
        chain(Some(0), None, &[(15.0, 10.0), (0.0, 3.0)]),
        chain(Some(0), None, &[(15.0, 10.0), (30.0, 3.0)]),
        chain(Some(0), None, &[(15.0, 10.0), (30.0, 15.0)]),
    ];
    let at = [(0, Point::new(15.0, 10.0))];
    assert!(crossings(&star).is_empty(), "lines meet at a junction");
    assert!(loose_ends(&star, &at, on_edge).is_empty(), "a sound star");
    assert_eq!(loose_ends(&star[..2], &at, on_edge).len(), 1, "two lines make no junction");
    let short = [chain(None, None, &[(0.0, 5.0), (29.0, 5.0)])];
    assert_eq!(loose_ends(&short, &[], on_edge).len(), 1, "an end in the open");
}
