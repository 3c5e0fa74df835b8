//! Strokes cut off at the edges of a rectangle.

use super::{GuideStroke, Stroke, StrokePlan, ThinStroke, length_mm};
use crate::sheet::RectMm;
use crate::transitions::fit::round_um;
use kurbo::common::solve_cubic;
use kurbo::{CubicBez, ParamCurve, Point};

impl StrokePlan {
    /// The parts of the plan that lie in a rectangle of the sheet, in the same order.
    #[must_use]
    pub fn within(&self, rect: &RectMm) -> Self {
        let mut plan = Self::default();
        for stroke in &self.strokes {
            plan.strokes.extend(
                cut(&stroke.curve, stroke.closed, rect, true).into_iter().map(|(curve, closed)| Stroke {
                    curve,
                    closed,
                    ..stroke.clone()
                }),
            );
        }
        for stroke in &self.thin {
            let pieces = cut(&stroke.curve, false, rect, true);
            plan.thin.extend(pieces.into_iter().map(|(curve, _)| ThinStroke { curve, ..stroke.clone() }));
        }
        for stroke in &self.guides {
            let pieces = cut(&stroke.curve, stroke.closed, rect, true).into_iter();
            plan.guides.extend(pieces.map(|(curve, closed)| GuideStroke { curve, closed }));
        }
        let curves: Vec<&Vec<CubicBez>> = plan.curves().collect();
        let drawn_mm = curves.iter().map(|curve| length_mm(curve)).sum();
        let travel_mm =
            curves.windows(2).filter_map(|w| Some(w[0].last()?.p3.distance(w[1].first()?.p0))).sum();
        Self { drawn_mm, travel_mm, ..plan }
    }
}

/// The pieces of a curve inside a rectangle (or outside it), and whether a piece is the whole closed curve.
pub(crate) fn cut(
    curve: &[CubicBez],
    closed: bool,
    rect: &RectMm,
    within: bool,
) -> Vec<(Vec<CubicBez>, bool)> {
    let inside = |p: Point| {
        (rect.x..=rect.x + rect.width).contains(&p.x) && (rect.y..=rect.y + rect.height).contains(&p.y)
    };
    let mut pieces: Vec<Vec<CubicBez>> = Vec::new();
    let mut running = false;
    let mut all = true;
    for cubic in curve {
        let mut at = vec![0.0];
        at.extend(crossings(cubic, rect));
        at.push(1.0);
        for pair in at.windows(2).filter(|pair| pair[1] - pair[0] > 1e-9) {
            if inside(cubic.eval(f64::midpoint(pair[0], pair[1]))) != within {
                (running, all) = (false, false);
                continue;
            }
            let piece =
                if pair[1] - pair[0] >= 1.0 { *cubic } else { rounded(cubic.subsegment(pair[0]..pair[1])) };
            match pieces.last_mut() {
                Some(last) if running => last.push(piece),
                _ => pieces.push(vec![piece]),
            }
            running = true;
        }
    }
    // A closed curve that leaves the rectangle is cut where it leaves, not where it happens to begin.
    if closed && !all && running && pieces.len() > 1 && pieces[0][0].p0 == curve[0].p0 {
        let first = pieces.remove(0);
        if let Some(last) = pieces.last_mut() {
            last.extend(first);
        }
    }
    pieces.into_iter().map(|piece| (piece, closed && all)).collect()
}

/// Where a cubic crosses the lines of a rectangle's sides, from 0 to 1, in order.
fn crossings(c: &CubicBez, rect: &RectMm) -> Vec<f64> {
    let mut found = Vec::new();
    for (p, low, high) in [
        ([c.p0.x, c.p1.x, c.p2.x, c.p3.x], rect.x, rect.x + rect.width),
        ([c.p0.y, c.p1.y, c.p2.y, c.p3.y], rect.y, rect.y + rect.height),
    ] {
        // Bernstein to powers of t.
        let [a, b, d, e] = p;
        let powers = [a, 3.0 * (b - a), 3.0 * (a - 2.0 * b + d), e - 3.0 * d + 3.0 * b - a];
        for side in [low, high] {
            found.extend(solve_cubic(powers[0] - side, powers[1], powers[2], powers[3]));
        }
    }
    found.retain(|t| *t > 0.0 && *t < 1.0);
    found.sort_by(f64::total_cmp);
    found
}

fn rounded(c: CubicBez) -> CubicBez {
    CubicBez::new(round_um(c.p0), round_um(c.p1), round_um(c.p2), round_um(c.p3))
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::ParamCurveArclen;
    use proptest::prelude::*;

    const RECT: RectMm = RectMm { x: 10.0, y: 20.0, width: 30.0, height: 40.0 };

    fn line(from: (f64, f64), to: (f64, f64)) -> CubicBez {
        let (a, b) = (Point::from(from), Point::from(to));
        CubicBez::new(a, a.lerp(b, 1.0 / 3.0), a.lerp(b, 2.0 / 3.0), b)
    }

    fn ends(pieces: &[(Vec<CubicBez>, bool)]) -> Vec<[(f64, f64); 2]> {
        pieces.iter().map(|(piece, _)| [piece[0].p0.into(), piece[piece.len() - 1].p3.into()]).collect()
    }

    #[test]
    fn a_straight_line_is_cut_at_the_sides() {
        let through = cut(&[line((0.0, 30.0), (100.0, 30.0))], false, &RECT, true);
        assert_eq!(ends(&through), [[(10.0, 30.0), (40.0, 30.0)]], "from side to side");
        assert!(cut(&[line((0.0, 0.0), (100.0, 0.0))], false, &RECT, true).is_empty(), "beside it");
        let inside = line((15.0, 25.0), (35.0, 55.0));
        assert_eq!(cut(&[inside], false, &RECT, true), [(vec![inside], false)], "whole, to the bit");
    }

    #[test]
    fn a_line_that_comes_back_is_two_pieces() {
        let out_and_back = [line((20.0, 30.0), (60.0, 30.0)), line((60.0, 30.0), (20.0, 40.0))];
        let pieces = cut(&out_and_back, false, &RECT, true);
        assert_eq!(ends(&pieces), [[(20.0, 30.0), (40.0, 30.0)], [(40.0, 35.0), (20.0, 40.0)]], "two pieces");
    }

    #[test]
    fn a_closed_line_is_cut_where_it_leaves_and_stays_closed_where_it_does_not() {
        let square = |x0: f64, x1: f64| {
            [(x0, 30.0), (x1, 30.0), (x1, 50.0), (x0, 50.0), (x0, 30.0)]
                .windows(2)
                .map(|w| line(w[0], w[1]))
                .collect::<Vec<_>>()
        };
        let whole = cut(&square(15.0, 35.0), true, &RECT, true);
        assert_eq!(whole, [(square(15.0, 35.0), true)], "all inside");
        // It begins inside, so its first and its last piece are one.
        let left = cut(&square(15.0, 60.0), true, &RECT, true);
        assert_eq!(ends(&left), [[(40.0, 50.0), (40.0, 30.0)]], "one piece, from where it comes back");
        assert!(!left[0].1, "no longer closed");
    }

    #[test]
    fn a_cut_end_beside_zero_has_no_sign() {
        let at_zero = RectMm { x: 0.0, y: 0.0, width: 30.0, height: 40.0 };
        let pieces = cut(&[line((-0.0001, 30.0), (60.0, 30.0))], false, &at_zero, true);
        let across = |c: &CubicBez| [c.p0.x, c.p1.x, c.p2.x, c.p3.x];
        assert!(pieces[0].0.iter().flat_map(across).all(f64::is_sign_positive), "{pieces:?}");
        let cubic = rounded(line((-0.0001, -0.0002), (-0.0003, -0.0004)));
        let all = [cubic.p0, cubic.p1, cubic.p2, cubic.p3];
        assert!(all.iter().all(|p| p.x.is_sign_positive() && p.y.is_sign_positive()), "{cubic:?}");
    }

    proptest! {
        #[test]
        fn the_pieces_lie_inside_and_are_all_that_is_inside(
            p in prop::array::uniform4((0.0..60.0, 0.0..80.0))
        ) {
            let [a, b, c, d] = p.map(Point::from);
            let cubic = CubicBez::new(a, b, c, d);
            let pieces = cut(&[cubic], false, &RECT, true);
            let near = |q: Point, by: f64| {
                (RECT.x - by..=RECT.x + RECT.width + by).contains(&q.x)
                    && (RECT.y - by..=RECT.y + RECT.height + by).contains(&q.y)
            };
            let mut length = 0.0;
            for (piece, _) in &pieces {
                for c in piece {
                    length += c.arclen(1e-6);
                    prop_assert!((0..=20).all(|k| near(c.eval(f64::from(k) / 20.0), 0.002)), "{c:?} leaves");
                }
            }
            // The slow way: short chords whose middle lies inside.
            const STEPS: u32 = 20_000;
            let at = |k: u32| cubic.eval(f64::from(k) / f64::from(STEPS));
            let slow: f64 = (0..STEPS)
                .filter(|&k| near(at(k).midpoint(at(k + 1)), 0.0))
                .map(|k| at(k).distance(at(k + 1)))
                .sum();
            // A chord at each cut may count or not (0.02 mm), and cut ends are rounded to micrometres.
            prop_assert!((length - slow).abs() < 0.15, "{length} mm and {slow} mm");
        }
    }
}
