//! A steady hand: each place of a line is smoothed as widely as all narrower smoothings of it allow.
//!
//! Texture leaves slow waves in a line that one width of smoothing cannot take out without rounding its shape. So every place
//! has ever wider means, and the widest of them counts that still agrees with all narrower ones within the room there is: where
//! the line is straight or bends evenly that is a wide one, at a turn the narrowest (Lepski's rule; Goldenshluger & Nemirovski
//! 1997, "On spatially adaptive estimation of nonparametric regression").

use kurbo::{Point, Vec2};

use super::place::normals;
use super::smooth::smooth;

/// How many times wider each smoothing is than the one before, and how many wider ones are tried.
const WIDER: f64 = 1.5;
const TRIED: usize = 4;
/// Wider smoothings are read at so many places to a width of the narrowest: they change little between.
const PLACES_A_WIDTH: f64 = 2.0;
/// How many of these places each way the narrowest choice counts for, and choices go over into each other.
const BESIDE: usize = 1;

/// Smooths an evenly spaced line, `sigmas` points wide at least (see [`smooth`]) and wider where all widths agree within
/// `room`, in the unit of the coordinates: no place is moved by more than twice that. Ends stay.
pub(super) fn steady(points: &[Point], closed: bool, sigmas: &[f64], room: f64) -> Vec<Point> {
    let mut base = smooth(points, closed, sigmas);
    let narrowest = sigmas.iter().copied().fold(0.0, f64::max);
    let every = ((narrowest / PLACES_A_WIDTH) as usize).max(1);
    let n = base.len();
    let count = n / every;
    if room <= 0.0 || count < 6 {
        return base;
    }
    // Places evenly along the line, the last of an open one at its end.
    let apart = if closed { n as f64 / count as f64 } else { (n - 1) as f64 / (count - 1) as f64 };
    let at: Vec<usize> = (0..count).map(|k| (k as f64 * apart).round() as usize).collect();
    let few: Vec<Point> = at.iter().map(|&i| base[i]).collect();
    let across = normals(&few, closed, 1);
    // How far each place moves across the line.
    let moved = |times: f64| -> Vec<f64> {
        let wider: Vec<f64> = at.iter().map(|&i| sigmas[i] * times / apart).collect();
        let wide = smooth(&few, closed, &wider);
        (0..count).map(|i| (wide[i] - few[i]).dot(across[i])).collect()
    };
    let mut moves = vec![vec![0.0; count]];
    moves.extend((1..=TRIED).map(|k| moved(WIDER.powi(k as i32))));
    let widest: Vec<f64> =
        (0..count).map(|i| agreeing(moves.iter().map(|moves| moves[i]), room) as f64).collect();
    let least = around(&widest, closed, |beside| beside.fold(f64::MAX, f64::min));
    let chosen = around(&least, closed, |beside| beside.sum::<f64>() / (2 * BESIDE + 1) as f64);
    let moves: Vec<Vec2> = (0..count)
        .map(|i| {
            let narrower = (chosen[i] as usize).min(TRIED);
            let wider = (narrower + 1).min(TRIED);
            let [a, b] = [narrower, wider].map(|k| moves[k][i]);
            across[i] * (a + (chosen[i] - narrower as f64) * (b - a))
        })
        .collect();
    for (i, p) in base.iter_mut().enumerate() {
        let place = i as f64 / apart;
        let before = (place as usize).min(count - 1);
        let after = if closed { (before + 1) % count } else { (before + 1).min(count - 1) };
        *p += moves[before].lerp(moves[after], place - before as f64);
    }
    base
}

/// The last of ever wider means that agrees with all before it: each of them may be off by the room, the wider the less, as a
/// mean over that much more of the line is.
fn agreeing(means: impl Iterator<Item = f64>, room: f64) -> usize {
    let (mut low, mut high) = (f64::MIN, f64::MAX);
    let mut last = 0;
    for (k, mean) in means.enumerate() {
        let off = room / WIDER.powf(0.5 * k as f64);
        (low, high) = (low.max(mean - off), high.min(mean + off));
        if low > high {
            break;
        }
        last = k;
    }
    last
}

/// Something of each figure and the [`BESIDE`] on either side of it; beyond an open end the last goes on.
fn around(figures: &[f64], closed: bool, of: impl Fn(&mut dyn Iterator<Item = f64>) -> f64) -> Vec<f64> {
    let n = figures.len();
    let at = |i: usize| {
        if closed { figures[(i + n - BESIDE) % n] } else { figures[i.clamp(BESIDE, n + BESIDE - 1) - BESIDE] }
    };
    (0..n).map(|i| of(&mut (i..=i + 2 * BESIDE).map(at))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const SIGMA: f64 = 9.0;

    /// Points along a course by their number, each off it downward by a wave of some height, so many points long.
    fn waved(course: impl Fn(f64) -> Point, count: usize, height: f64, length: f64) -> Vec<Point> {
        (0..count)
            .map(|i| course(i as f64) + Vec2::new(0.0, height * (TAU * i as f64 / length).sin()))
            .collect()
    }

    fn most_off(points: &[Point], ends: usize, from: impl Fn(Point) -> f64) -> f64 {
        points[ends..points.len() - ends].iter().map(|&p| from(p).abs()).fold(0.0, f64::max)
    }

    /// Waves longer than the narrowest smoothing go where the line is straight otherwise, up to the room; higher ones stay.
    #[test]
    fn slow_waves_within_the_room_go() {
        let straight = |i: f64| Point::new(i, 0.3 * i);
        let off = |p: Point| (p.y - 0.3 * p.x) / 1.09_f64.sqrt();
        let low = waved(straight, 900, 0.6, 60.0);
        let once = smooth(&low, false, &[SIGMA; 900]);
        let calm = steady(&low, false, &[SIGMA; 900], 1.0);
        let [before, after] = [&once, &calm].map(|line| most_off(line, 100, off));
        assert!(before > 0.3 && after < 0.25 * before, "{before} to {after}");
        let high = waved(straight, 900, 6.0, 60.0);
        let [before, after] = [smooth(&high, false, &[SIGMA; 900]), steady(&high, false, &[SIGMA; 900], 1.0)]
            .map(|line| most_off(&line, 100, off));
        assert!(before > 3.0 && after > 0.9 * before, "waves of 6 from {before} to {after}");
        assert_eq!((calm[0], calm[899]), (low[0], low[899]), "ends stay");
    }

    /// A circle keeps its size within the room, and a turn that wide smoothing would cut is left alone.
    #[test]
    fn forms_stay() {
        for radius in [20.0_f64, 60.0, 200.0] {
            let n = (TAU * radius).round() as usize;
            let circle: Vec<Point> =
                (0..n).map(|i| Point::ZERO + radius * Vec2::from_angle(TAU * i as f64 / n as f64)).collect();
            let once = smooth(&circle, true, &vec![SIGMA; n]);
            let calm = steady(&circle, true, &vec![SIGMA; n], 1.0);
            let [before, after] =
                [&once, &calm].map(|line| most_off(line, 0, |p| p.to_vec2().hypot() - radius));
            assert!(after < before + 1.0, "radius {radius}: {before} off, then {after}");
        }
        let turn = |i: f64| Point::new((i - 300.0).abs(), i);
        let bent = waved(turn, 600, 0.0, 60.0);
        let once = smooth(&bent, false, &[SIGMA; 600]);
        let calm = steady(&bent, false, &[SIGMA; 600], 0.5);
        let most = once.iter().zip(&calm).map(|(a, b)| a.distance(*b)).fold(0.0, f64::max);
        assert!(most < 1.0, "a turn moved by {most}");
    }

    /// Without room, or where nothing is smoothed, nothing is moved.
    #[test]
    fn without_room_it_is_the_narrowest() {
        let line = waved(|i| Point::new(i, 0.0), 300, 0.5, 60.0);
        assert_eq!(steady(&line, false, &[SIGMA; 300], 0.0), smooth(&line, false, &[SIGMA; 300]));
        let held = steady(&line, false, &[0.0; 300], 1.0);
        assert!(held.iter().zip(&line).all(|(a, b)| a.distance(*b) < 1e-9));
    }

    #[test]
    fn means_that_part_are_left() {
        assert_eq!(agreeing([0.0, 0.2, 0.4, 0.6].into_iter(), 1.0), 3);
        assert_eq!(
            agreeing([0.0, 0.5, 2.5, 0.6].into_iter(), 1.0),
            1,
            "what parts once is not taken up again"
        );
        assert_eq!(agreeing([0.0, 3.0].into_iter(), 1.0), 0);
    }
}
