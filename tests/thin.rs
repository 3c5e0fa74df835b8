//! Thin lights and darks, drawn from closed forms in mm: kept as one centre line, and nothing else taken for one.

use kurbo::{Line, ParamCurve, Point};

use crate::drawn::{Drawn, Near, draw, grey, reflectance};

/// Size of the pictures in mm.
const WIDE: f64 = 60.0;
const HIGH: f64 = 50.0;
/// Lightness of each of five even values' middles, lightest first.
const TONES: [f64; 5] = [90.0, 70.0, 50.0, 30.0, 10.0];

fn of_value(v: usize) -> f64 {
    reflectance(TONES[v - 1])
}

/// Draws a picture of reflectances given in mm, at so many pixels per mm.
fn drawn(name: &str, scale: u32, more: &[&str], light: impl Fn(Point) -> f64) -> Drawn {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let [w, h] = [WIDE, HIGH].map(|mm| (mm * f64::from(scale)) as u32);
    let picture = grey(w, h, |x, y| {
        let n = 4;
        let at = |p: u32, i: u32| (f64::from(p) + (f64::from(i) + 0.5) / f64::from(n)) / f64::from(scale);
        let sum: f64 = (0..n * n).map(|i| light(Point::new(at(x, i % n), at(y, i / n)))).sum();
        sum / f64::from(n * n)
    });
    let even = ["--tone-range", "0,100", "--breaks", "even", "--values", "5"];
    draw(&picture, folder.path(), name, WIDE, &[&even, more].concat())
}

/// Distance in mm from a circle about (30, 60) of radius 40.
fn off_arc(p: Point) -> f64 {
    p.distance(Point::new(30.0, 60.0)) - 40.0
}

/// A rim of light, 0.5 mm wide, along that circle, between two darks.
fn rim(p: Point) -> f64 {
    match off_arc(p) {
        d if d.abs() < 0.25 => of_value(1),
        d if d < 0.0 => of_value(4),
        _ => of_value(5),
    }
}

/// A spear along y = 25 that tapers from 3 mm to a point of 20 degrees at x = 50.
fn in_spear(p: Point) -> bool {
    let half = ((50.0 - p.x) * 10.0_f64.to_radians().tan()).min(1.5);
    p.x > 15.0 && (p.y - 25.03).abs() < half
}

/// How far to the right lines and marks reach, in mm.
fn reaches(drawn: &Drawn) -> f64 {
    let marks = drawn.thin.iter().flat_map(|t| t.samples.iter().copied());
    drawn.samples().into_iter().chain(marks).map(|p| p.x).fold(0.0, f64::max)
}

/// No mark crosses a boundary line or another mark.
fn assert_apart(drawn: &Drawn) {
    let lines = drawn.lines.iter().map(|l| &l.samples);
    let all: Vec<&Vec<Point>> = drawn.thin.iter().map(|t| &t.samples).chain(lines).collect();
    for (i, mark) in all.iter().enumerate().take(drawn.thin.len()) {
        for other in all.iter().skip(i + 1) {
            let near = Near::new(other);
            for p in mark.iter() {
                // The gap is 0.12 mm, the fit moves a mark by at most 0.05 mm.
                assert!(near.nearest(*p).0 > 0.06, "a mark comes to {} mm of a line", near.nearest(*p).0);
            }
            for a in mark.windows(2).filter(|a| near.nearest(a[0]).0 < 1.0) {
                for b in other.windows(2).filter(|b| b[0].distance(a[0]) < 1.0) {
                    let (a, b) = (Line::new(a[0], a[1]), Line::new(b[0], b[1]));
                    let meets = a.crossing_point(b).is_some_and(|p| {
                        let within = |l: Line| (p - l.eval(0.5)).hypot() <= 0.5 * (l.p1 - l.p0).hypot();
                        within(a) && within(b)
                    });
                    assert!(!meets, "a mark crosses a line at {:?}", a.p0);
                }
            }
        }
    }
}

#[test]
fn a_rim_light_is_one_centre_line_at_any_resolution() {
    let marks = [10, 20].map(|scale| {
        let drawn = drawn("rim", scale, &[], rim);
        assert_eq!(drawn.thin.len(), 1, "one line at {scale} px/mm");
        assert_apart(&drawn);
        let mark = drawn.thin.into_iter().next().expect("one mark");
        assert_eq!(mark.value, 1, "the light is value 1");
        assert!((mark.width_mm - 0.5).abs() < 0.1, "0.5 mm wide, not {}", mark.width_mm);
        let off = mark.samples.iter().map(|&p| off_arc(p).abs()).fold(0.0, f64::max);
        assert!(off <= 0.15, "up to {off} mm from the true centre line");
        let ends = [mark.samples[0].x, mark.samples[mark.samples.len() - 1].x];
        assert!(ends[0].min(ends[1]) < 0.5 && ends[0].max(ends[1]) > 59.5, "from edge to edge: {ends:?}");
        mark
    });
    let (one, other) = (Near::new(&marks[0].samples), Near::new(&marks[1].samples));
    let apart =
        |m: &crate::drawn::Thin, n: &Near| m.samples.iter().map(|&p| n.nearest(p).0).fold(0.0, f64::max);
    let most = apart(&marks[0], &other).max(apart(&marks[1], &one));
    assert!(most <= 0.1, "twice the pixels move the mark by {most} mm");
}

#[test]
fn a_black_strand_is_kept_and_can_be_switched_off() {
    let middle = |x: f64| 25.0 + 3.0 * (x / 8.0).sin();
    let strand = |p: Point| {
        // Across the line, not upright: 0.45 mm wide.
        let slope = 0.375 * (p.x / 8.0).cos();
        let off = (p.y - middle(p.x)).abs() / slope.hypot(1.0);
        if off < 0.225 && (10.0..50.0).contains(&p.x) { of_value(5) } else { of_value(1) }
    };
    let got = drawn("strand", 10, &["--kind", "tonal"], strand);
    assert_eq!(got.thin.len(), 1, "one line");
    let mark = &got.thin[0];
    assert_eq!(mark.value, 5, "black");
    assert!((mark.width_mm - 0.45).abs() < 0.1, "0.45 mm wide, not {}", mark.width_mm);
    let truth: Vec<Point> =
        (0..=800).map(|i| 10.0 + f64::from(i) * 0.05).map(|x| Point::new(x, middle(x))).collect();
    let (truth_near, mark_near) = (Near::new(&truth), Near::new(&mark.samples));
    let off = |from: f64, to: f64| {
        let part = mark.samples.iter().filter(|p| (from..=to).contains(&p.x));
        part.map(|&p| truth_near.nearest(p).0).fold(0.0, f64::max)
    };
    // The last half millimetre at a free end has no profile of its own on both sides: it may bend by a pixel more.
    let (inside, whole) = (off(10.5, 49.5), off(0.0, WIDE));
    assert!(inside <= 0.15 && whole <= 0.25, "{inside} mm from the strand, {whole} mm at its ends");
    let left_out = truth.iter().map(|&p| mark_near.nearest(p).0).fold(0.0, f64::max);
    assert!(left_out < 0.5, "{left_out} mm of it missing");
    for (more, why) in [
        (["--kind", "tonal", "--thin", "none"], "switched off"),
        (["--kind", "tonal", "--thin", "0.7mm"], "thinner than the limit"),
        (["--kind", "tonal-with-lines", "--thin", "0.4mm"], "a holding line"),
    ] {
        assert!(drawn("strand", 10, &more, strand).thin.is_empty(), "no mark: {why}");
    }
}

#[test]
fn points_keep_their_tips() {
    for (name, ink, ground) in [("dark", 5, 1), ("light", 1, 5)] {
        let got = drawn(name, 10, &["--kind", "tonal"], |p| of_value(if in_spear(p) { ink } else { ground }));
        assert!((49.0..=50.1).contains(&reaches(&got)), "{name}: the tip is reached to {}", reaches(&got));
        assert_apart(&got);
        for mark in &got.thin {
            assert_eq!(usize::from(mark.value), ink, "the tip has its area's value");
            let area = Near::new(&got.samples());
            let gap = mark.samples.iter().map(|&p| area.nearest(p).0).fold(f64::INFINITY, f64::min);
            assert!(gap <= 0.3, "the tip goes on {gap} mm from its area");
        }
        if name == "light" {
            // Its thin end is a mark by itself, as a rim light is.
            continue;
        }
        // Without tips the area's own line is where it ends; a point is followed if it runs on far enough.
        let with = |least: &str| {
            let more = ["--kind", "tonal", "--least-tip", least];
            drawn(name, 10, &more, |p| of_value(if in_spear(p) { ink } else { ground }))
        };
        let without = with("none");
        assert!(!got.thin.is_empty() && without.thin.is_empty(), "no tips where none are wanted");
        let runs_on = reaches(&got) - reaches(&without);
        for (least, followed) in [(0.5 * runs_on, true), (runs_on + 0.5, false)] {
            let tips = with(&format!("{least:.3}mm")).thin.len();
            assert_eq!(tips > 0, followed, "a point that runs on {runs_on:.2} mm, {least:.2} asked");
        }
    }
}

/// How far a picture's wedge of 20 degrees, pointing along `degrees` at (45, 25), is missed at its tip, in mm.
fn tip_missed(name: &str, degrees: f64, light: impl Fn(Point, f64) -> f64) -> f64 {
    let along = kurbo::Vec2::from_angle(degrees.to_radians());
    let tip = Point::new(45.0, 25.0);
    // How far a place lies inside the wedge, in mm (less than 0 outside).
    let inside = |p: Point| {
        let (behind, aside) = (-(p - tip).dot(along), (p - tip).cross(along).abs());
        let half = 10.0_f64.to_radians();
        (behind * half.sin() - aside * half.cos()).min(30.0 - behind)
    };
    let got = drawn(name, 10, &[], |p| light(p, inside(p)));
    assert_apart(&got);
    let marks = got.thin.iter().flat_map(|t| t.samples.iter().copied());
    let near = got.samples().into_iter().chain(marks).filter(|p| (*p - tip).cross(along).abs() < 1.5);
    let furthest = near.map(|p| (p - tip).dot(along)).filter(|s| *s < 6.0).fold(f64::NEG_INFINITY, f64::max);
    furthest.abs()
}

#[test]
fn points_of_brush_blacks_keep_their_tips_to_a_millimetre() {
    let black = |inside: f64, ground: f64| if inside > 0.0 { of_value(5) } else { ground };
    for degrees in [0.0, 37.0] {
        let flat = tip_missed("flat", degrees, |_, d| black(d, of_value(2)));
        // Away from the tip a straight edge blurred by 0.3 mm (normal distribution function).
        let blurred = tip_missed("blurred", degrees, |_, d| {
            let t = normal(d / 0.3);
            of_value(2) + t * (of_value(5) - of_value(2))
        });
        let grainy = tip_missed("grainy", degrees, |p, d| {
            let mixed = ((p.x * 10.0) as u32).wrapping_mul(73_856_093)
                ^ ((p.y * 10.0) as u32).wrapping_mul(19_349_663);
            let even = f64::from(mixed.wrapping_mul(2_654_435_761) >> 8) / f64::from(1 << 24) - 0.5;
            (black(d, of_value(2)) * (1.0 + 0.6 * even)).clamp(0.0, 1.0)
        });
        let hatched = tip_missed("hatched", degrees, |p, d| {
            let wobble = 0.06 * (0.7 * (0.6 * p.y - 0.8 * p.x)).sin();
            f64::from(u8::from(d <= 0.0 && (0.6 * p.x + 0.8 * p.y + wobble).rem_euclid(1.3) > 0.39))
        });
        for (name, missed) in [("flat", flat), ("blurred", blurred), ("grainy", grainy), ("hatched", hatched)]
        {
            assert!(missed <= 1.0, "{name}, {degrees} degrees: the tip is missed by {missed} mm");
        }
    }
}

/// Marks at a higher plainness lie where those of a lower one lie, but for where these make way for a line.
#[test]
fn more_plain_takes_marks_away_and_moves_none() {
    // A light and a black strand, and a step beneath them that dies before they do.
    let picture = |p: Point| {
        let ground = if p.x < 31.0 { reflectance(52.0) } else { reflectance(62.0) };
        let wave = 2.0 * (p.x / 7.0).sin();
        if (p.y - 15.0 - wave).abs() < 0.25 {
            of_value(1)
        } else if (p.y - 35.0 + wave).abs() < 0.25 {
            of_value(5)
        } else {
            ground
        }
    };
    let mut before: Option<Drawn> = None;
    let mut counts = vec![];
    for plainness in ["0", "30", "55", "65", "75", "100"] {
        let now = drawn("nested", 10, &["--kind", "tonal", "--plainness", plainness], picture);
        counts.push(now.thin.len());
        if let Some(before) = &before {
            let marks: Vec<Point> = before.thin.iter().flat_map(|t| t.samples.iter().copied()).collect();
            let (marks, lines) = (Near::new(&marks), Near::new(&before.samples()));
            for p in now.thin.iter().flat_map(|t| &t.samples) {
                // Samples lie 0.1 mm apart, a piece up to 0.76 mm long beside a gap of 0.12 mm is left out.
                let there = marks.nearest(*p).0 < 0.06 || lines.nearest(*p).0 < 1.0;
                assert!(there, "plainness {plainness}: a mark at {p:?} is new");
            }
        }
        before = Some(now);
    }
    assert!(counts[0] >= 2 && counts[counts.len() - 1] < counts[0], "marks by plainness: {counts:?}");
}

/// Normal distribution function (Abramowitz & Stegun 1964, 7.1.26; error under 1.5e-7).
fn normal(x: f64) -> f64 {
    let z = x.abs() / std::f64::consts::SQRT_2;
    let t = 1.0 / (1.0 + 0.327_591_1 * z);
    let series = ((((1.061_405_429 * t - 1.453_152_027) * t) + 1.421_413_741) * t - 0.284_496_736) * t;
    let erf = 1.0 - (series + 0.254_829_592) * t * (-z * z).exp();
    0.5 * (1.0 + erf.copysign(x))
}

#[test]
fn blurred_edges_are_one_line_and_stairs_no_mark() {
    for sigma in [0.2, 0.3, 0.8, 1.4] {
        let got = drawn("edge", 10, &[], |p| {
            let t = normal((p.x + 0.3 * p.y - 37.0) / 0.3_f64.hypot(1.0) / sigma);
            of_value(1) + t * (of_value(5) - of_value(1))
        });
        assert!(got.lines.len() == 1 && got.thin.is_empty(), "blur of {sigma} mm: {} lines", got.lines.len());
    }
    // Steps 1.5 mm apart: in-between values, however narrow, are extremes of nothing.
    let stairs = drawn("stairs", 10, &[], |p| of_value(1 + ((p.x - 23.5) / 1.5).clamp(0.0, 4.0) as usize));
    assert!(stairs.thin.is_empty(), "stairs: {} marks", stairs.thin.len());
}

#[test]
fn holding_lines_leave_no_mark() {
    for (inside, outside, lines, half) in [(2, 4, 1, 0.2), (3, 3, 0, 0.15), (3, 3, 0, 0.2), (3, 3, 0, 0.3)] {
        let got = drawn("holding", 10, &[], |p| match p.distance(Point::new(30.0, 25.0)) - 15.0 {
            d if d.abs() < half => reflectance(5.0),
            d if d < 0.0 => of_value(inside),
            _ => of_value(outside),
        });
        assert_eq!(
            got.report["kind"]["name"], "tonal-with-lines",
            "a contour of {half} mm to each side is a holding line"
        );
        assert_eq!(got.lines.len(), lines, "values {inside} and {outside}");
        assert!(got.thin.is_empty(), "a holding line is no mark");
    }
}

#[test]
fn the_strokes_of_an_even_tone_are_no_marks() {
    for pitch in [0.6, 0.9, 1.4] {
        let got = drawn("hatch", 10, &[], |p| {
            let wobble = 0.05 * (0.6 * p.x - 0.8 * p.y).sin();
            f64::from(u8::from((0.8 * p.x + 0.6 * p.y + wobble).rem_euclid(pitch) > pitch / 3.0))
        });
        assert!(got.thin.is_empty(), "{} marks in hatching {pitch} mm apart", got.thin.len());
    }
    // Dots on a grid of 0.8 mm, each moved by up to 0.3 mm (integer hash by multiplication, Knuth 1973, 6.4).
    let hash = |i: i64, j: i64, k: i64| {
        let mixed =
            ((i * 73_856_093) ^ (j * 19_349_663) ^ (k * 83_492_791)).wrapping_mul(2_654_435_761) as u32;
        f64::from(mixed >> 8) / f64::from(1 << 24)
    };
    let got = drawn("stipple", 10, &[], |p| {
        let cell = [(p.x / 0.8).floor() as i64, (p.y / 0.8).floor() as i64];
        let ink = (-1..=1).flat_map(|a| (-1..=1).map(move |b| [cell[0] + a, cell[1] + b])).any(|[i, j]| {
            let moved = |n: i64, k: i64| (n as f64 + 0.5) * 0.8 + 0.6 * (hash(i, j, k) - 0.5);
            p.distance(Point::new(moved(i, 1), moved(j, 2))) < 0.18
        });
        f64::from(u8::from(!ink))
    });
    assert!(got.thin.is_empty(), "{} marks in stipple", got.thin.len());
}
