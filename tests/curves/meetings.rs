//! The proof of no crossing against geo's sweep over a dense flattening, and planted meetings.

use super::{Numbers, smoothed, to_curve, wander};
use geo::sweep::{Cross, Intersections};
use geo::{Coord, Line, LineIntersection};
use kurbo::{Affine, CubicBez, ParamCurve, Point, Vec2};
use merestone::transitions::fit::{FitOptions, fit};
use merestone::transitions::proof::{Meeting, ProofLine, TOUCH_MM, find_meetings};
use proptest::prelude::*;

const FREE: [Option<usize>; 2] = [None, None];

fn proven(curves: &[Vec<CubicBez>]) -> Vec<Meeting> {
    let lines: Vec<ProofLine<'_>> =
        curves.iter().map(|c| ProofLine { curve: c, closed: false, ends: FREE }).collect();
    find_meetings(&lines)
}

/// A short straight part of a line, for the sweep.
#[derive(Clone, Debug)]
struct Part {
    line: usize,
    /// Number along the line: neighbours share an end.
    number: usize,
    shape: Line<f64>,
}

impl Cross for Part {
    type Scalar = f64;
    fn line(&self) -> Line<f64> {
        self.shape
    }
}

/// Proper crossings of the lines cut into `each` chords a cubic.
fn swept(curves: &[Vec<CubicBez>], each: usize) -> Vec<([usize; 2], Point)> {
    let mut parts = Vec::new();
    for (line, curve) in curves.iter().enumerate() {
        let at = super::places(curve, each);
        for (number, w) in at.windows(2).enumerate() {
            let coord = |p: Point| Coord { x: p.x, y: p.y };
            parts.push(Part { line, number, shape: Line::new(coord(w[0]), coord(w[1])) });
        }
    }
    Intersections::from_iter(parts)
        .filter_map(|(a, b, met)| {
            let LineIntersection::SinglePoint { intersection: p, is_proper: true } = met else { return None };
            let is_next = a.line == b.line && a.number.abs_diff(b.number) <= 1;
            (!is_next).then_some(([a.line.min(b.line), a.line.max(b.line)], Point::new(p.x, p.y)))
        })
        .collect()
}

/// Whether the two lines keep touching from one place to the other, so that the two places are one meeting.
fn run_together(curves: &[Vec<CubicBez>], lines: [usize; 2], from: Point, to: Point) -> bool {
    let [first, second] = lines.map(|l| super::places(&curves[l], 300));
    let mut along = vec![0.0];
    for w in first.windows(2) {
        along.push(along[along.len() - 1] + w[0].distance(w[1]));
    }
    let is_touching = |k: usize| {
        second.windows(2).enumerate().any(|(n, s)| {
            // A line beside itself: not the places next along it.
            let is_other = || (along[n] - along[k]).abs().min((along[n + 1] - along[k]).abs()) > 0.03;
            super::to_segment(first[k], s[0], s[1]) <= TOUCH_MM + 1e-3 && (lines[0] != lines[1] || is_other())
        })
    };
    let passes = |p: Point, i: usize, j: usize| super::to_segment(p, first[i], first[j]) <= TOUCH_MM + 1e-3;
    let arrives = |mut before: usize, walk: &mut dyn Iterator<Item = usize>| {
        for k in walk {
            if passes(to, before, k) {
                return true;
            }
            if !is_touching(k) {
                return false;
            }
            before = k;
        }
        false
    };
    // Both ways from every place where the first line passes: it may cross itself just there.
    (0..first.len() - 1)
        .filter(|&k| passes(from, k, k + 1))
        .any(|k| arrives(k, &mut (k + 1..first.len())) || arrives(k + 1, &mut (0..=k).rev()))
}

/// Every crossing of the sweep has a meeting of its lines close by, or at the other end of a stretch on which
/// they run together; every meeting lies on both its lines.
fn check(curves: &[Vec<CubicBez>]) -> Result<usize, TestCaseError> {
    let meetings = proven(curves);
    let crossings = swept(curves, 300);
    for (lines, at) in &crossings {
        // Close by covers hits that are joined across small gaps or from one branch of a line to another.
        let close = 0.3;
        let mut own = meetings.iter().filter(|m| m.lines == *lines);
        let is_found = own.any(|m| m.at.distance(*at) <= close || run_together(curves, *lines, *at, m.at));
        prop_assert!(is_found, "lines {lines:?} cross at {at:?}; found only {meetings:?}");
    }
    for m in &meetings {
        for line in m.lines {
            let off = to_curve(m.at, &curves[line]);
            prop_assert!(off <= TOUCH_MM + 1e-3, "{m:?} lies {off} mm off line {line}");
        }
    }
    Ok(crossings.len())
}

fn point() -> impl Strategy<Value = Point> {
    (0.0_f64..30.0, 0.0_f64..30.0).prop_map(|(x, y)| Point::new(x, y))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_crossing_of_random_cubics_is_found(
        lines in prop::collection::vec(prop::collection::vec(point(), 4), 2..7),
    ) {
        let curves: Vec<Vec<CubicBez>> =
            lines.iter().map(|p| vec![CubicBez::new(p[0], p[1], p[2], p[3])]).collect();
        check(&curves)?;
    }

    #[test]
    fn every_crossing_of_fitted_lines_is_found_and_joints_are_none(seed in any::<u64>(), bend in 0.05_f64..0.8) {
        let mut numbers = Numbers(seed);
        let curves: Vec<Vec<CubicBez>> = (0..4)
            .map(|_| {
                let shift = Vec2::new(4.0 * numbers.signed(), 4.0 * numbers.signed());
                let turn = Affine::rotate_about(3.0 * numbers.signed(), Point::new(25.0, 20.0));
                let points: Vec<Point> = smoothed(&wander(&mut numbers, 120, bend, 10, 0.02), 1.2, false)
                    .iter()
                    .map(|p| turn * *p + shift)
                    .collect();
                fit(&points, false, &[], [None, None], &FitOptions::default())
            })
            .collect();
        check(&curves)?;
    }

    #[test]
    fn smooth_closed_lines_have_no_meeting(
        radius in 0.2_f64..40.0, waves in 0_u32..6, depth in 0.0_f64..0.4, tolerance in 0.02_f64..0.3, start in 0_usize..50,
    ) {
        // r = R (1 + depth cos(waves angle)): star-shaped, so it never meets itself.
        let n = ((radius * 6.3 / 0.15) as usize).max(24);
        let mut points: Vec<Point> = (0..n)
            .map(|i| {
                let angle = i as f64 / n as f64 * std::f64::consts::TAU;
                let r = radius * (1.0 + depth * (f64::from(waves) * angle).cos());
                Point::new(50.0, 50.0) + r * Vec2::from_angle(angle)
            })
            .collect();
        points.rotate_left(start % n);
        let curve = fit(&points, true, &[], [None, None], &FitOptions { tolerance_mm: tolerance.min(radius / 20.0) });
        let line = ProofLine { curve: &curve, closed: true, ends: FREE };
        prop_assert_eq!(find_meetings(&[line]), vec![], "{:?}", curve);
    }

    #[test]
    fn planted_crossings_are_counted(
        turn in 0.0_f64..6.3, places in prop::collection::btree_set(1_u32..19, 1..6), slant in 0.3_f64..2.8,
    ) {
        // A long straight line of two cubics and short ones across it, at known places at least 1 mm apart.
        let turned = Affine::rotate(turn);
        let straight = |a: Point, b: Point| {
            let (a, b) = (turned * a, turned * b);
            CubicBez::new(a, a.lerp(b, 1.0 / 3.0), a.lerp(b, 2.0 / 3.0), b)
        };
        let mut curves =
            vec![vec![straight(Point::ZERO, Point::new(9.5, 0.0)), straight(Point::new(9.5, 0.0), Point::new(20.0, 0.0))]];
        for &x in &places {
            let (at, half) = (Point::new(f64::from(x), 0.0), 0.1 * Vec2::from_angle(slant));
            curves.push(vec![straight(at - half, at + half)]);
        }
        let meetings = proven(&curves);
        prop_assert_eq!(meetings.len(), places.len(), "{:?}", meetings);
        for (m, &x) in meetings.iter().zip(&places) {
            prop_assert!(m.at.distance(turned * Point::new(f64::from(x), 0.0)) < 0.02, "{:?} for {}", m, x);
        }
        // The same short ones as one zigzag line: the pair now meets in as many places.
        let zigzag: Vec<CubicBez> = places
            .iter()
            .enumerate()
            .map(|(k, &x)| {
                let y = if k % 2 == 0 { -0.4 } else { 0.4 };
                straight(Point::new(f64::from(x) - 0.5, y), Point::new(f64::from(x) + 0.5, -y))
            })
            .collect();
        let mut joined: Vec<CubicBez> = Vec::new();
        for c in zigzag {
            if let Some(last) = joined.last().map(|l| l.p3)
                && last != c.p0
            {
                joined.push(CubicBez::new(last, last.lerp(c.p0, 0.3), last.lerp(c.p0, 0.7), c.p0));
            }
            joined.push(c);
        }
        let [long, zigzag] = [curves.swap_remove(0), joined];
        let meetings = proven(&[long, zigzag]);
        prop_assert_eq!(meetings.len(), places.len(), "zigzag: {:?}", meetings);
    }

    #[test]
    fn touches_are_found_and_near_misses_are_not(radius in 0.5_f64..30.0, turn in 0.0_f64..6.3, share in 0.1_f64..0.9) {
        // Two arcs of circles that touch from outside in their middles, closed form: the gap is what is put between.
        let arc = |centre: Point, radius: f64, from: f64, sweep: f64| -> Vec<CubicBez> {
            let k = 4.0 / 3.0 * (sweep / 4.0).tan();
            let (u, v) = (Vec2::from_angle(from), Vec2::from_angle(from + sweep));
            let across = |w: Vec2| Vec2::new(-w.y, w.x);
            let at = |w: Vec2| centre + radius * w;
            vec![CubicBez::new(at(u), at(u + k * across(u)), at(v - k * across(v)), at(v))]
        };
        let sweep = 0.6;
        let first = arc(Point::ZERO, radius, turn - share * sweep, sweep);
        for (gap, wanted) in [(0.0, 1), (0.0005, 1), (TOUCH_MM + 0.002 + radius * 1e-5, 0)] {
            let centre = Point::ZERO + (2.0 * radius + gap) * Vec2::from_angle(turn);
            let second = arc(centre, radius, turn + std::f64::consts::PI - share * sweep, sweep);
            let meetings = proven(&[first.clone(), second]);
            prop_assert_eq!(meetings.len(), wanted, "gap {} mm: {:?}", gap, meetings);
        }
    }

    #[test]
    fn stretches_in_common_are_one_meeting(seed in any::<u64>(), from in 0.1_f64..0.4, to in 0.6_f64..0.9) {
        let points = wander(&mut Numbers(seed), 60, 0.1, 15, 0.0);
        let whole = fit(&points, false, &[], [None, None], &FitOptions { tolerance_mm: 0.02 });
        // The same curve from inside its first cubic to inside its last, cut elsewhere than the whole is.
        let mut part = whole.clone();
        let n = part.len();
        if n == 1 {
            part[0] = part[0].subsegment(from..to);
        } else {
            part[0] = part[0].subsegment(from..1.0);
            part[n - 1] = part[n - 1].subsegment(0.0..to);
        }
        let halves: Vec<CubicBez> = part.iter().flat_map(|c| [c.subsegment(0.0..0.37), c.subsegment(0.37..1.0)]).collect();
        let meetings: Vec<Meeting> = proven(&[whole, halves]).into_iter().filter(|m| m.lines == [0, 1]).collect();
        prop_assert_eq!(meetings.len(), 1, "{:?}", meetings);
    }
}

#[test]
fn lines_of_a_junction_may_touch_there_and_nowhere_else() {
    let at = Point::new(10.0, 10.0);
    let ray = |angle: f64, length: f64, bow: f64| {
        let d = length * Vec2::from_angle(angle);
        let side = bow * Vec2::new(-d.y, d.x);
        vec![CubicBez::new(at, at + d / 3.0 + side, at + d * 2.0 / 3.0 + side, at + d)]
    };
    let joined = |curves: &[Vec<CubicBez>]| {
        let lines: Vec<ProofLine<'_>> =
            curves.iter().map(|c| ProofLine { curve: c, closed: false, ends: [Some(4), None] }).collect();
        find_meetings(&lines)
    };
    // T: a through-line in two pieces and a third that ends on it, at angles down to 5 degrees.
    for degrees in [5.0_f64, 15.0, 45.0, 90.0, 140.0, 175.0] {
        // The through-line bends away from the third, the third away from the nearer half.
        let bow = if degrees < 90.0 { 0.1 } else { -0.1 };
        let net =
            [ray(0.0, 8.0, -0.05), ray(std::f64::consts::PI, 8.0, 0.05), ray(degrees.to_radians(), 6.0, bow)];
        assert_eq!(joined(&net), vec![], "a T at {degrees} degrees");
        let meetings = proven(&net);
        assert_eq!(meetings.len(), 3, "the same without a junction: each pair touches, {meetings:?}");
    }
    // Two that leave together and cross again 6 mm on.
    let again = [ray(0.0, 8.0, 0.0), ray(-0.3, 8.0, 0.25)];
    let crossings = swept(&again, 300);
    let far: Vec<_> = crossings.iter().filter(|c| c.1.distance(at) > 0.01).collect();
    let meetings = joined(&again);
    assert_eq!(far.len(), 1, "planted by hand: {crossings:?}");
    assert_eq!(meetings.len(), 1, "{meetings:?}");
    assert!(meetings[0].at.distance(far[0].1) < 0.05, "{meetings:?} is not where the sweep says: {far:?}");
    // The end of one line on the inside of another is a contact that no junction excuses.
    let stem = vec![CubicBez::new((14.0, 10.0), (14.0, 12.0), (14.0, 14.0), (14.0, 16.0))];
    let flat = ray(0.0, 8.0, 0.0);
    assert_eq!(proven(&[flat, stem]).len(), 1, "a T without a junction");
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let mut numbers = Numbers(5);
    let curves: Vec<Vec<CubicBez>> = (0..60)
        .map(|_| {
            let mut p = || Point::new(30.0 * numbers.share(), 30.0 * numbers.share());
            vec![CubicBez::new(p(), p(), p(), p())]
        })
        .collect();
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads start");
        pool.install(|| proven(&curves))
    };
    let one = with(1);
    assert!(one.len() > 100, "plenty to compare: {}", one.len());
    assert_eq!(one, with(2), "two threads");
    assert_eq!(one, with(7), "seven threads");
}
