//! Ends of lines, carried on to what they end on.
//!
//! Beside a hard edge and at the picture's edge a mean sees one side only: what is level in it turns there to meet the edge
//! square. So the last stretch of a line says nothing of where it ends; its course before that does.

use kurbo::{CubicBez, Line as Straight, ParamCurve, ParamCurveDeriv, PathSeg, Point, Rect, Vec2};

use super::fit::round_um;
use super::trace::ArcEnd;

/// Of a short line at most one in so many points is carried at each end.
const SHARE: usize = 5;
/// The course of a line is that of so many times what is carried, next to it.
const COURSE_OF: f64 = 2.0;
/// A line that turns less than this over what is carried, in radians, may go on straight where its bend leads past its end.
const STRAIGHT: f64 = 0.25;
/// What is carried on becomes no longer than so many times what it was.
const LONGER: f64 = 2.0;
/// Least sine of the angle at which a line is carried on to another: at a smaller one little moves its end far.
const LEAST_SINE: f64 = 0.35;
/// Points of a line carried on from one that is looked at to the next.
const EVERY: usize = 2;

/// Where a line lands on another, and how it comes there.
pub(super) struct Landing {
    /// Cubic of the other, parameter, and place rounded as it is written.
    pub(super) on: (usize, f64, Point),
    /// The way from the last point that is believed.
    way: Vec<Point>,
}

/// How many points of a line of `points` are carried on at an end where `count` say nothing.
fn carried(points: usize, count: usize) -> Option<usize> {
    let count = count.min(points / SHARE);
    (count > 2).then_some(count)
}

/// Carries a line on to the picture's edge over the last `count` of its points, where it ends there and is `free`; `size` is the
/// picture's, in the points' unit. An end that would move farther than it is carried stays as it is.
pub(super) fn carry_to_frame(
    points: &mut [Point],
    ends: &[ArcEnd; 2],
    free: [bool; 2],
    count: usize,
    size: [f64; 2],
) {
    let Some(count) = carried(points.len(), count) else { return };
    for (e, _) in ends.iter().enumerate().filter(|(e, end)| **end == ArcEnd::Frame && free[*e]) {
        from_its_end(points, e == 1, |points| {
            let (near, end) = (points[count], points[0]);
            let found = ways_on(points, count).into_iter().find_map(|way| {
                let leaves = way.windows(2).find_map(|pair| leaving(pair[0], pair[1], size));
                leaves.filter(|&to| is_moderate(near, end, to)).map(|to| (way, to))
            });
            if let Some((way, to)) = found {
                follow(points, count, &way, to);
            }
        });
    }
}

/// Where a stretch leaves a picture of a size, if it does.
fn leaving(from: Point, to: Point, [w, h]: [f64; 2]) -> Option<Point> {
    let inside = |p: Point| (0.0..=w).contains(&p.x) && (0.0..=h).contains(&p.y);
    if !inside(from) || inside(to) {
        return None;
    }
    let share = |a: f64, b: f64, most: f64| {
        let edge = if b < 0.0 { 0.0 } else { most };
        if (0.0..=most).contains(&b) { 1.0 } else { (edge - a) / (b - a) }
    };
    let p = from.lerp(to, share(from.x, to.x, w).min(share(from.y, to.y, h)));
    Some(Point::new(p.x.clamp(0.0, w), p.y.clamp(0.0, h)))
}

/// Where a line, carried on over the last `count` of its points, lands on the curve that it ends on.
pub(super) fn landing(points: &[Point], at_end: bool, count: usize, curve: &[CubicBez]) -> Option<Landing> {
    let count = carried(points.len(), count)?;
    let mut points = points.to_vec();
    from_its_end(&mut points, at_end, |points| {
        ways_on(points, count).into_iter().find_map(|way| landing_by(points, count, way, curve))
    })
}

/// The same of the way from the point that `count` others lie before.
fn landing_by(points: &[Point], count: usize, way: Vec<Point>, curve: &[CubicBez]) -> Option<Landing> {
    let (near, end) = (points[count], points[0]);
    let around = |points: &[Point]| {
        let first = Rect::from_points(points[0], points[0]);
        points[1..].iter().fold(first, |all, &p| all.union_pt(p))
    };
    let reached = around(&way);
    let beside: Vec<usize> = (0..curve.len())
        .filter(|&i| {
            let of = around(&[curve[i].p0, curve[i].p1, curve[i].p2, curve[i].p3]);
            of.x0 <= reached.x1 && of.x1 >= reached.x0 && of.y0 <= reached.y1 && of.y1 >= reached.y0
        })
        .collect();
    let (i, t, place, on) = way.windows(2).find_map(|pair| {
        let step = Straight::new(pair[0], pair[1]);
        let hits = beside.iter().flat_map(|&i| {
            let hits = PathSeg::Cubic(curve[i]).intersect_line(step);
            hits.into_iter().map(move |hit| (i, hit.segment_t.clamp(0.0, 1.0), hit.line_t))
        });
        let (i, t, _) = hits.min_by(|a, b| a.2.total_cmp(&b.2))?;
        Some((i, t, curve[i].eval(t), pair[1] - pair[0]))
    })?;
    let along = curve[i].deriv().eval(t).to_vec2();
    let sine = on.cross(along).abs() / (along.hypot() * on.hypot()).max(1e-12);
    (sine >= LEAST_SINE && is_moderate(near, end, place))
        .then(|| Landing { on: (i, t, round_um(place)), way })
}

/// Lets a line run to where it lands over the last `count` of its points; corners there go.
pub(super) fn land(
    points: &mut [Point],
    corners: &mut Vec<usize>,
    at_end: bool,
    count: usize,
    landing: &Landing,
) {
    let Some(count) = carried(points.len(), count) else { return };
    let n = points.len();
    corners.retain(|&c| if at_end { c + count < n } else { c >= count });
    from_its_end(points, at_end, |points| follow(points, count, &landing.way, landing.on.2));
}

/// What is done to a line as if it began with the end in question.
fn from_its_end<T>(points: &mut [Point], at_end: bool, mut of: impl FnMut(&mut [Point]) -> T) -> T {
    if at_end {
        points.reverse();
    }
    let done = of(points);
    if at_end {
        points.reverse();
    }
    done
}

/// Whether an end moves no farther than it is carried, and what is carried becomes not much longer.
fn is_moderate(near: Point, end: Point, to: Point) -> bool {
    let most = near.distance(end);
    to.distance(end) < most && to.distance(near) < LONGER * most
}

/// Lays the first `count` points along a way that was carried on, as far as to the place on it next to `to`.
fn follow(points: &mut [Point], count: usize, way: &[Point], to: Point) {
    let nearest = (0..way.len()).min_by(|&a, &b| way[a].distance(to).total_cmp(&way[b].distance(to)));
    let mut stretch = way[..nearest.unwrap_or(0)].to_vec();
    if stretch.is_empty() {
        stretch.push(points[count]);
    }
    stretch.push(to);
    let mut along = vec![0.0];
    for pair in stretch.windows(2) {
        along.push(along[along.len() - 1] + pair[0].distance(pair[1]));
    }
    let length = along[along.len() - 1];
    for (k, p) in points.iter_mut().enumerate().take(count) {
        let s = length * (1.0 - k as f64 / count as f64);
        let i = along.partition_point(|&a| a <= s).clamp(1, along.len() - 1);
        let t = (s - along[i - 1]) / (along[i] - along[i - 1]).max(1e-12);
        *p = stretch[i - 1].lerp(stretch[i], t.clamp(0.0, 1.0));
    }
}

/// Ways of a line beyond the point that `count` others lie before, from that point on, the likelier first: a parabola by least
/// squares over what lies behind it, and straight on where that hardly bends.
fn ways_on(points: &[Point], count: usize) -> Vec<Vec<Point>> {
    let near = points[count];
    let course = &points[count..(count + 1 + (COURSE_OF * count as f64) as usize).min(points.len())];
    let n = course.len() as f64;
    let half = 0.5 * (n - 1.0);
    // Places along the course grow towards the end; about their middle, powers of one and of two have nothing in common.
    let place = |k: usize| half - k as f64;
    let square = (0..course.len()).map(|k| place(k).powi(2)).sum::<f64>();
    let spread = |k: usize| place(k).powi(2) - square / n;
    let (mut slope, mut bend, mut spreads) = (Vec2::ZERO, Vec2::ZERO, 0.0);
    for (k, p) in course.iter().enumerate() {
        slope += p.to_vec2() * place(k) / square;
        bend += p.to_vec2() * spread(k);
        spreads += spread(k).powi(2);
    }
    let bend = bend / spreads.max(1e-12);
    let way = |bend: Vec2| -> Vec<Point> {
        let slope = slope + bend * (2.0 * half);
        let places = (0..=(LONGER * count as f64) as usize).step_by(EVERY);
        places.map(|s| near + slope * s as f64 + bend * (s * s) as f64).collect()
    };
    let turn = 2.0 * bend.hypot() * count as f64 / slope.hypot().max(1e-12);
    if turn < STRAIGHT { vec![way(bend), way(Vec2::ZERO)] } else { vec![way(bend)] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const STEP: f64 = 0.12;
    const COUNT: usize = 20;

    /// Points along a circle of this radius through the origin, the last of them there, running to the right there; the last
    /// `COUNT` of them bent off by up to so much.
    fn circle(radius: f64, bent: f64) -> Vec<Point> {
        (0..120)
            .map(|k| {
                let before = (119 - k) as f64;
                let turn = before * STEP / radius;
                let off = bent * (1.0 - before / COUNT as f64).max(0.0).powi(2);
                Point::new(-radius * turn.sin(), radius * (1.0 - turn.cos()) + off)
            })
            .collect()
    }

    fn straight(from: Point, to: Point) -> CubicBez {
        CubicBez::new(from, from.lerp(to, 1.0 / 3.0), from.lerp(to, 2.0 / 3.0), to)
    }

    proptest! {
        /// A line on a circle is carried on to where the circle meets another, whichever end it is and however its last stretch
        /// was bent off; then it has no hook.
        #[test]
        fn lines_land_where_their_course_leads(radius in 14.0_f64..400.0, bent in -0.9_f64..0.9, at_end in proptest::bool::ANY) {
            let mut points = circle(radius, bent);
            if !at_end {
                points.reverse();
            }
            let wall = straight(Point::new(0.0, -8.0), Point::new(0.0, 8.0));
            let far = straight(Point::new(9.0, -8.0), Point::new(9.0, 8.0));
            let landing = landing(&points, at_end, COUNT, &[far, wall]).expect("it lands");
            prop_assert_eq!(landing.on.0, 1);
            prop_assert!(landing.on.2.distance(Point::ZERO) < 0.12, "it lands at {:?}", landing.on.2);
            let mut corners = vec![50, if at_end { 115 } else { 4 }];
            land(&mut points, &mut corners, at_end, COUNT, &landing);
            prop_assert_eq!(corners, vec![50]);
            let truth = circle(radius, 0.0);
            for (k, p) in points.iter().enumerate() {
                let want = truth[if at_end { k } else { 119 - k }];
                prop_assert!(p.distance(want) < 0.15, "point {k} is {} mm off", p.distance(want));
            }
        }

        /// The same at the picture's edge.
        #[test]
        fn lines_leave_the_picture_where_their_course_leads(radius in 14.0_f64..400.0, bent in -0.9_f64..0.9) {
            let place = |p: &Point| *p + Vec2::new(60.0, 30.0);
            let mut points: Vec<Point> = circle(radius, bent).iter().map(place).collect();
            carry_to_frame(&mut points, &[ArcEnd::Junction(0), ArcEnd::Frame], [true; 2], COUNT, [60.0, 50.0]);
            let end = points[119];
            prop_assert!((end.x - 60.0).abs() < 1e-9 && (end.y - 30.0).abs() < 0.12, "it leaves at {end:?}");
        }
    }

    /// Ends that are not free, short lines, and ends that would move far stay as they are.
    #[test]
    fn what_is_unsure_stays() {
        let shifted: Vec<Point> = circle(50.0, 0.8).iter().map(|p| *p + Vec2::new(60.0, 30.0)).collect();
        let carried = |points: &[Point], free: bool, width: f64| {
            let mut points = points.to_vec();
            carry_to_frame(&mut points, &[ArcEnd::Frame; 2], [false, free], COUNT, [width, 50.0]);
            points
        };
        assert_ne!(carried(&shifted, true, 60.0), shifted);
        assert_eq!(carried(&shifted, false, 60.0), shifted);
        assert_eq!(carried(&shifted[110..], true, 60.0), shifted[110..]);
        assert_eq!(carried(&shifted, true, 66.0), shifted);
        // Along a line that it hardly leaves it lands nowhere.
        let beside = straight(Point::new(-8.0, 0.3), Point::new(8.0, -0.3));
        assert!(landing(&circle(400.0, 0.0), true, COUNT, &[beside]).is_none());
    }
}
