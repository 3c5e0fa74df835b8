//! The shape of a line before it is fitted: placed, smoothed as far as there is room, its corners kept.

use kurbo::{CubicBez, Point};

use super::by_hand;
use super::corners::{CornerOptions, find_corners};
use super::edge;
use super::ends::carry_to_frame;
use super::lines::Line;
use super::place::{Ground, Side, carry_ends, place};
use super::smooth::{even, smooth};
use super::steady::steady;
use crate::tone::{ToneField, WIDEST_MM};

/// Distance between the points that curves are fitted to, in mm.
pub(super) const SPACING_MM: f64 = 0.12;
/// Least smoothing along a line in mm: the pixel stairs.
const SMOOTH_MM: f64 = 0.12;
/// Smoothing along a line per narrowest width: what is narrower is not drawn, so no line waves more finely.
const SMOOTH_PER_NARROWEST: f64 = 0.3;
/// Smoothing along a line per width of the first mean: no line is busier than the texture it is found in.
const SMOOTH_PER_MEAN: f64 = 2.0;
/// Smoothing for texture, in mm, from which a line counts as following its teeth.
const TEXTURED_MM: f64 = 0.2;
/// Smoothing along a line per width of its edge ...
const SMOOTH_PER_WIDTH: f64 = 0.06;
/// ... and at most this many mm.
const SMOOTH_MOST_MM: f64 = 1.2;
/// Room for smoothing a hand's slow waves out of a line: per width of the first mean, and per width of its edge up to so many mm.
const ROOM_PER_MEAN: f64 = 0.1;
const ROOM_PER_WIDTH: f64 = 0.02;
const ROOM_OF_WIDTH_MM: f64 = 0.25;
/// So many widths of the mean that a border was placed in, the widest on soft ones, its end says nothing of where it ends.
const BLIND_MEANS: f64 = 1.5;
/// Widest edge, in mm, along which two corners near each other are a form's own, in texture as elsewhere.
const SOFT_MM: f64 = 1.5;
/// On wider ones two corners less than this many times their reach apart are a tooth.
const TEETH: f64 = 2.0;
/// Smoothing left near a spot at each tightness; at the last the points stay in the middle of the cracks as well.
const LOOSEN: [f64; 6] = [1.0, 0.6, 0.35, 0.15, 0.0, 0.0];
/// Round a spot of this radius, in mm, a line is first as tight as the spot asks; over as much beyond it loosens.
const SPOT_MM: f64 = 2.0;
/// Most radius of a spot, in mm, along which meetings went on.
const SPOT_MOST_MM: f64 = 16.0;

/// A place where a line would meet another and has to keep closer to its border.
#[derive(Clone, Copy, Debug)]
struct Spot {
    at: Point,
    /// How far from there the line is as tight as the level says, in mm.
    radius: f64,
    level: usize,
}

/// Where a line has to be tighter than asked.
#[derive(Clone, Debug, Default)]
pub(super) struct Tight {
    spots: Vec<Spot>,
    /// Whether the line is drawn as its mid-crack line, the last resort: those never meet.
    pub(super) crack: bool,
}

impl Tight {
    /// Whether the line is as loose as asked.
    pub(super) fn is_loose(&self) -> bool {
        self.spots.is_empty() && !self.crack
    }

    /// How tight the line is at a place, 0 as asked.
    pub(super) fn level_at(&self, p: Point) -> usize {
        if self.crack {
            return LOOSEN.len();
        }
        self.spots.iter().filter(|s| s.at.distance(p) <= s.radius).map(|s| s.level).max().unwrap_or(0)
    }

    /// Whether nothing within so many mm of a place asks the line to be tighter.
    fn is_loose_about(&self, p: Point, mm: f64) -> bool {
        !self.crack && self.spots.iter().all(|s| s.at.distance(p) > s.radius + mm)
    }

    /// Whether the line keeps to the middles of its cracks at a place.
    fn keeps_to_cracks(&self, p: Point) -> bool {
        self.level_at(p) + 1 >= LOOSEN.len()
    }

    /// Makes the line tighter at some places, each by one step; beyond the last step it becomes its cracks.
    ///
    /// Two lines that run side by side meet again just beyond a place where they were tightened, and once more beyond
    /// that. So a place beside a spot makes that spot twice as wide, instead of being one of its own.
    pub(super) fn tighten(&mut self, places: &[Point]) {
        let mut stepped: Vec<bool> = vec![false; self.spots.len()];
        for &at in places {
            if let Some(i) = self.spots.iter().position(|s| s.at.distance(at) <= s.radius) {
                if i < stepped.len() && !stepped[i] {
                    stepped[i] = true;
                    self.spots[i].level += 1;
                    self.crack |= self.spots[i].level >= LOOSEN.len();
                }
                continue;
            }
            let wider = |s: &Spot| (2.0 * s.radius).min(SPOT_MOST_MM);
            match self.spots.iter_mut().find(|s| s.at.distance(at) <= wider(s)) {
                Some(beside) => beside.radius = wider(beside),
                None => self.spots.push(Spot { at, radius: SPOT_MM, level: 1 }),
            }
        }
    }

    /// How loose the line may be at a place: 1 as asked, 0 along its cracks.
    fn looseness(&self, p: Point) -> f64 {
        let each = self.spots.iter().map(|s| {
            let t = ((s.at.distance(p) - s.radius) / SPOT_MM).clamp(0.0, 1.0);
            let tight = LOOSEN[s.level.min(LOOSEN.len() - 1)];
            tight + (1.0 - tight) * t * t * (3.0 - 2.0 * t)
        });
        each.fold(1.0, f64::min)
    }

    /// Width of smoothing at each point, in points, where `sigma_mm` is asked for.
    fn sigmas(&self, points: &[Point], sigma_mm: f64) -> Vec<f64> {
        points.iter().map(|&p| self.looseness(p) * sigma_mm / SPACING_MM).collect()
    }
}

/// A line's points before the fit, in mm.
pub(super) struct Shape {
    /// Points about evenly apart.
    pub(super) points: Vec<Point>,
    /// Indices of the points that are corners.
    pub(super) corners: Vec<usize>,
    /// Place of each passed junction, in points.
    pub(super) passed: Vec<f64>,
    /// The line as placed, one point for each of the line's own.
    pub(super) placed: Vec<Point>,
    /// How many points at an end say nothing of where it ends.
    pub(super) blind: usize,
}

/// Points of a line, placed and smoothed as its tightness allows.
pub(super) fn shape(
    ground: &Ground<'_>,
    line: &Line,
    sides: &[Side],
    tight: &Tight,
    narrowest_mm: f64,
) -> Shape {
    let tone = ground.tone;
    let px = tone.px_per_mm;
    let to_mm = |p: &Point| Point::new(p.x / px, p.y / px);
    if tight.crack {
        // Mid-crack lines never meet but at junctions.
        let points: Vec<Point> = line.points.iter().map(to_mm).collect();
        return Shape {
            placed: points.clone(),
            points,
            corners: (0..line.points.len()).collect(),
            passed: line.passed.iter().map(|p| p.index as f64 - 0.5).collect(),
            blind: 0,
        };
    }
    let mut placed = place(ground, line, sides);
    // Placing gives way as smoothing does: a line that jumped back to its cracks at a spot would meet others beside it.
    for (p, &crack) in placed.iter_mut().zip(&line.points) {
        let share = if tight.keeps_to_cracks(to_mm(&crack)) { 0.0 } else { tight.looseness(to_mm(&crack)) };
        *p = crack.lerp(*p, share);
    }
    let ends = [0, line.points.len() - 1].map(|i| !tight.keeps_to_cracks(to_mm(&line.points[i])));
    carry_ends(&mut placed, line, ends, [ground.light.width(), ground.light.height()]);
    let placed: Vec<Point> = placed.iter().map(to_mm).collect();
    let by_hand = by_hand::beside(ground.edited, sides, px);
    let sigmas =
        |points: &[Point], sigma_mm: f64| by_hand::keep(&by_hand, points, tight.sigmas(points, sigma_mm));
    let evened = even(&placed, line.closed(), SPACING_MM);
    let count = placed.len() as f64;
    let passed = line
        .passed
        .iter()
        .map(|p| {
            let at = |i: usize| evened.at[i.min(evened.at.len() - 1)];
            if p.index == 0 {
                -0.5
            } else if p.index as f64 >= count {
                evened.points.len() as f64 - 0.5
            } else {
                0.5 * (at(p.index - 1) + at(p.index))
            }
        })
        .collect::<Vec<f64>>();
    let stairs = smooth(&evened.points, line.closed(), &sigmas(&evened.points, SMOOTH_MM));
    let mean = SMOOTH_PER_MEAN * tone.mean_width_mm;
    let (stairs, passed) = if mean > TEXTURED_MM {
        calm(&stairs, line.closed(), &sigmas(&stairs, mean), passed)
    } else {
        (stairs, passed)
    };
    let width = typical_width(tone, &stairs);
    let mean_mm = match tone.mean_width_mm {
        mean if mean > 0.0 && width > SOFT_MM => WIDEST_MM.max(mean),
        mean => mean,
    };
    let blind = (BLIND_MEANS * mean_mm / SPACING_MM) as usize;
    let mut stairs = stairs;
    let ends = [0, stairs.len() - 1].map(|i| tight.is_loose_about(stairs[i], BLIND_MEANS * mean_mm));
    carry_to_frame(
        &mut stairs,
        &line.ends,
        ends,
        blind,
        [ground.light.width(), ground.light.height()].map(|n| n as f64 / px),
    );
    let soft = (SMOOTH_PER_WIDTH * width).min(SMOOTH_MOST_MM);
    let base = SMOOTH_MM.max(SMOOTH_PER_NARROWEST * narrowest_mm);
    let sigma = (base * base + mean * mean + soft * soft).sqrt();
    // A corner is one only if it stands out from what the texture makes along the line.
    let reach = 0.8_f64.max(3.0 * sigma);
    let mut corners =
        find_corners(&stairs, line.closed(), &CornerOptions { angle_deg: 50.0, reach_mm: reach });
    corners.retain(|&c| line.closed() || (c > 0 && c + 1 < stairs.len()));
    if mean > TEXTURED_MM && width > SOFT_MM {
        corners = alone(&corners, stairs.len(), line.closed(), TEETH * reach);
    }
    let room = if mean > TEXTURED_MM && tone.kind.is_ink() {
        let waver = ROOM_PER_MEAN * tone.mean_width_mm + (ROOM_PER_WIDTH * width).min(ROOM_OF_WIDTH_MM);
        waver * tone.evidence.drawn()
    } else {
        0.0
    };
    let points = smooth_between(&stairs, line.closed(), &corners, &sigmas(&stairs, sigma), room);
    Shape { points, corners, passed, placed, blind }
}

/// The corners that no other one is within so many mm of along a line of `count` points, each a spacing apart.
fn alone(corners: &[usize], count: usize, closed: bool, apart_mm: f64) -> Vec<usize> {
    let apart = (apart_mm / SPACING_MM) as usize;
    let near = |a: usize, b: usize| {
        let along = a.abs_diff(b);
        a != b && (along <= apart || (closed && count - along <= apart))
    };
    corners.iter().copied().filter(|&c| !corners.iter().any(|&other| near(c, other))).collect()
}

/// Smooths a line that follows the teeth of a texture and measures it anew: a comb is much longer than the edge
/// that it lies along, so one smoothing over its length leaves the teeth. Corners are looked for on what is left.
fn calm(points: &[Point], closed: bool, sigmas: &[f64], passed: Vec<f64>) -> (Vec<Point>, Vec<f64>) {
    let evened = even(&smooth(points, closed, sigmas), closed, SPACING_MM);
    let last = points.len() - 1;
    let moved = |p: f64| {
        if p < 0.0 {
            return p;
        }
        let i = p as usize;
        if i >= last {
            return evened.points.len() as f64 - 0.5;
        }
        evened.at[i] + (p - i as f64) * (evened.at[i + 1] - evened.at[i])
    };
    let passed = passed.into_iter().map(moved).collect();
    (evened.points, passed)
}

/// Median width of the edge along a polyline, in mm, from a few places.
fn typical_width(tone: &ToneField, points: &[Point]) -> f64 {
    let every = (points.len() / 12).max(8);
    let mut found: Vec<f64> = points
        .iter()
        .step_by(every)
        .zip(points.iter().skip(4).step_by(every))
        .flat_map(|(&a, &b)| {
            let third = (b - a) / 3.0;
            edge::widths(tone, &[CubicBez::new(a, a + third, b - third, b)])
        })
        .collect();
    found.sort_by(f64::total_cmp);
    found.get(found.len() / 2).copied().unwrap_or(0.0)
}

/// Smooths each stretch between corners for itself, with `room` mm for slow waves, corners and ends staying where they are.
fn smooth_between(
    points: &[Point],
    closed: bool,
    corners: &[usize],
    sigmas: &[f64],
    room: f64,
) -> Vec<Point> {
    if corners.is_empty() {
        return steady(points, closed, sigmas, room);
    }
    let n = points.len();
    let mut out = points.to_vec();
    let mut stretch = |from: usize, to: usize| {
        let part: Vec<Point> = (from..=to).map(|i| points[i % n]).collect();
        let widths: Vec<f64> = (from..=to).map(|i| sigmas[i % n]).collect();
        for (i, p) in steady(&part, false, &widths, room).into_iter().enumerate() {
            out[(from + i) % n] = p;
        }
    };
    for pair in corners.windows(2) {
        stretch(pair[0], pair[1]);
    }
    let (first, last) = (corners[0], corners[corners.len() - 1]);
    if closed {
        stretch(last, first + n);
    } else {
        stretch(0, first);
        stretch(last, n - 1);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What meets again beside a tightened spot widens it by as much again; what meets far off is a spot of its own.
    #[test]
    fn a_meeting_that_moves_on_widens_its_spot() {
        let at = |x: f64| Point::new(x, 0.0);
        let mut tight = Tight::default();
        tight.tighten(&[at(0.0)]);
        assert_eq!([1.9, 2.1].map(|x| tight.level_at(at(x))), [1, 0]);
        tight.tighten(&[at(3.0)]);
        assert_eq!([3.0, 3.9, 4.1].map(|x| tight.level_at(at(x))), [1, 1, 0]);
        tight.tighten(&[at(3.0)]);
        tight.tighten(&[at(30.0)]);
        assert_eq!([0.0, 3.0, 30.0].map(|x| tight.level_at(at(x))), [2, 2, 1]);
        // Just outside a spot the line is hardly looser than in it, beyond 2 mm as loose as asked.
        assert!((tight.looseness(at(4.01)) - LOOSEN[2]).abs() < 0.01, "{}", tight.looseness(at(4.01)));
        assert!((tight.looseness(at(6.0)) - 1.0).abs() < 1e-9);
    }

    /// A spot grows no further than stated; what lies beyond is a spot of its own.
    #[test]
    fn spots_have_a_largest_radius() {
        let mut tight = Tight::default();
        tight.tighten(&[Point::ZERO]);
        for x in [3.0, 7.0, 15.0, 16.5] {
            tight.tighten(&[Point::new(x, 0.0)]);
        }
        assert_eq!(tight.level_at(Point::new(15.9, 0.0)), 1);
        assert_eq!(tight.spots.len(), 2);
        assert!((tight.spots[0].radius - SPOT_MOST_MM).abs() < 1e-9);
    }

    /// The corners of a tooth fall together; one that is far from others stays, round a closed line as well.
    #[test]
    fn teeth_are_no_corners() {
        let apart = 20.0 * SPACING_MM;
        assert_eq!(alone(&[100, 300, 310, 315, 600], 1000, true, apart), [100, 600]);
        assert_eq!(
            alone(&[5, 500, 995], 1000, true, apart),
            [500],
            "round the end they are ten points apart"
        );
        assert_eq!(alone(&[5, 500, 995], 1000, false, apart), [5, 500, 995], "an open line does not go on");
        assert_eq!(alone(&[400], 1000, true, apart), [400]);
    }
}
