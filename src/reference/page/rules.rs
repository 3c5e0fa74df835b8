//! A black rule printed round a picture, told from the picture's own lines.

use rayon::prelude::*;

use crate::raster::Raster;

use super::homography::{Quad, turn};

/// Rules round a picture.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Rules {
    /// How many, one inside another.
    pub(super) count: usize,
    /// Width of the outermost in pixels.
    pub(super) width: f64,
    /// Inner edge of the innermost, clockwise from the top left, clear of its blur.
    pub(super) inner: Quad,
}

/// Widest rule as a share of the longer side.
const WIDEST: f64 = 0.012;
/// How far from the edge of the page a rule may lie, as a share of that side.
const DEEPEST: f64 = 0.4;
/// What lies so near the edge of the page, as a share of the longer side, is the edge itself.
const EDGE: f64 = 0.004;
/// Most lean of a rule: 2 degrees, in steps of a pixel or so over a long side.
const MOST_SLOPE: f64 = 0.035;
const SLOPES: i32 = 20;
/// How far from its line a rule may waver, in pixels.
const WAVER: f64 = 1.6;
/// Share of the page's side that a rule is long, and of that length at which it is seen.
const LEAST_LENGTH: f64 = 0.5;
const LEAST_SEEN: f64 = 0.9;
/// Share of its length along which there is paper just outside, as wide as this share of the longer side.
const PAPER_SEEN: f64 = 0.85;
const PAPER_WIDTH: f64 = 0.008;
/// How far the ends of a rule may be from where it meets the next, as a share of the longer side.
const CORNER_GAP: f64 = 0.02;
/// Least share of the page inside a rule.
const LEAST_INSIDE: f64 = 0.15;
/// Most distance between two rules one inside the other, as a share of the longer side, and most rules.
const NEXT_RULE: f64 = 0.035;
const MOST_RULES: usize = 3;
/// Pixels of blur that stay outside.
const BLUR_PX: f64 = 1.5;

/// A rule along one side: depth from that side at place `k` along it is `depth + slope * k`.
#[derive(Clone, Copy, Debug)]
struct Rule {
    depth: f64,
    slope: f64,
    width: f64,
    from: usize,
    to: usize,
}

/// The page seen from one side: places along it, depths from it.
struct Seen<'a> {
    dark: &'a Raster<bool>,
    side: usize,
}

impl Seen<'_> {
    fn size(&self) -> (usize, usize) {
        let (w, h) = (self.dark.width(), self.dark.height());
        if self.side.is_multiple_of(2) { (w, h) } else { (h, w) }
    }

    /// Whether there is ink at place `k`, depth `d`; sides are top, right, bottom, left.
    fn at(&self, k: usize, d: usize) -> bool {
        let (w, h) = (self.dark.width(), self.dark.height());
        match self.side {
            0 => self.dark.at(k, d),
            1 => self.dark.at(w - 1 - d, k),
            2 => self.dark.at(k, h - 1 - d),
            _ => self.dark.at(d, k),
        }
    }

    /// From place and depth to the page's own axes.
    fn point(&self, k: f64, d: f64) -> [f64; 2] {
        let (w, h) = (self.dark.width() as f64, self.dark.height() as f64);
        match self.side {
            0 => [k, d],
            1 => [w - d, k],
            2 => [k, h - d],
            _ => [d, k],
        }
    }

    /// Thin runs of ink between paper: place, depth where it begins, width.
    fn thin_runs(&self, from: f64, to: f64) -> Vec<(usize, usize, usize)> {
        let (along, deep) = self.size();
        let longer = along.max(deep) as f64;
        let widest = (WIDEST * longer).ceil() as usize;
        let (first, last) = (from.max(1.0) as usize, (to.min(deep as f64 - 1.0)) as usize);
        let mut runs = Vec::new();
        for k in 0..along {
            let mut d = first;
            while d < last {
                if self.at(k, d) && !self.at(k, d - 1) {
                    let width = (d..deep).take_while(|&e| self.at(k, e)).count();
                    if width <= widest {
                        runs.push((k, d, width));
                    }
                    d += width;
                } else {
                    d += 1;
                }
            }
        }
        runs
    }

    /// The outermost rule between two depths: the runs vote for lines of small slope (Hough's transform).
    fn rule(&self, from: f64, to: f64) -> Option<Rule> {
        let (along, deep) = self.size();
        let runs = self.thin_runs(from, to);
        let starts: Vec<usize> = (0..=along).map(|k| runs.partition_point(|r| r.0 < k)).collect();
        let by_place: Vec<&[(usize, usize, usize)]> =
            starts.windows(2).map(|ends| &runs[ends[0]..ends[1]]).collect();
        let mut found: Option<Rule> = None;
        let votes_of = |step: i32| -> Vec<(u32, i32, usize)> {
            let slope = f64::from(step) / f64::from(SLOPES) * MOST_SLOPE;
            let mut counts = vec![0_u32; deep + 2];
            for &(k, d, _) in &runs {
                let offset = d as f64 - slope * (k as f64 - along as f64 / 2.0);
                if offset >= 0.0 && offset < deep as f64 {
                    counts[offset.round() as usize] += 1;
                }
            }
            let most = counts
                .iter()
                .enumerate()
                .filter(|&(_, &n)| f64::from(n) >= 0.3 * LEAST_LENGTH * along as f64);
            most.map(|(offset, &n)| (n, step, offset)).collect()
        };
        let mut votes: Vec<(u32, i32, usize)> =
            (-SLOPES..=SLOPES).into_par_iter().flat_map_iter(votes_of).collect();
        votes.sort_by(|a, b| b.0.cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        votes.truncate(60);
        for (_, step, offset) in votes {
            let slope = f64::from(step) / f64::from(SLOPES) * MOST_SLOPE;
            let depth = offset as f64 - slope * along as f64 / 2.0;
            if let Some(rule) = self.judged(&by_place, depth, slope) {
                let outer = |r: &Rule| r.depth + r.slope * along as f64 / 2.0;
                if found.as_ref().is_none_or(|f| outer(&rule) < outer(f) - 1.0) {
                    found = Some(rule);
                }
            }
        }
        found
    }

    /// Whether there is a rule along a line: long, unbroken, even in width, with paper outside. Runs are given by place, by depth
    /// at each.
    fn judged(&self, by_place: &[&[(usize, usize, usize)]], depth: f64, slope: f64) -> Option<Rule> {
        let (along, deep) = self.size();
        let longer = along.max(deep) as f64;
        let near = |depth: f64, slope: f64, reach: f64| -> Vec<(usize, usize, usize)> {
            let off = |&(k, d, _): &(usize, usize, usize)| d as f64 - depth - slope * k as f64;
            let mut on = Vec::new();
            for runs in by_place {
                let from = runs.partition_point(|r| off(r) < -reach);
                on.extend(runs[from..].iter().take_while(|r| off(r) <= reach));
            }
            on
        };
        // Placed anew by least squares through what lies near, twice.
        let (mut depth, mut slope) = (depth, slope);
        for reach in [2.0 * WAVER, WAVER] {
            let on = near(depth, slope, reach);
            let n = on.len() as f64;
            if n < 0.4 * LEAST_LENGTH * along as f64 {
                return None;
            }
            let mean = [
                on.iter().map(|r| r.0 as f64).sum::<f64>() / n,
                on.iter().map(|r| r.1 as f64).sum::<f64>() / n,
            ];
            let (mut xx, mut xy) = (0.0, 0.0);
            for r in &on {
                xx += (r.0 as f64 - mean[0]).powi(2);
                xy += (r.0 as f64 - mean[0]) * (r.1 as f64 - mean[1]);
            }
            slope = if xx > 0.0 { xy / xx } else { 0.0 };
            depth = mean[1] - slope * mean[0];
        }
        let on = near(depth, slope, WAVER);
        let mut seen = vec![false; along];
        on.iter().for_each(|r| seen[r.0] = true);
        let mut places: Vec<usize> = (0..along).filter(|&k| seen[k]).collect();
        // Stray runs beyond the rule's ends do not lengthen it.
        let stray = places.len() / 100;
        places = places[stray..places.len() - stray].to_vec();
        let (&from, &to) = places.first().zip(places.last())?;
        let length = (to - from + 1) as f64;
        let mut widths: Vec<usize> = on.iter().map(|r| r.2).collect();
        widths.sort_unstable();
        let width = widths[widths.len() / 2] as f64;
        let alike =
            widths.iter().filter(|&&w| (w as f64 - width).abs() <= (0.4 * width).max(1.0)).count() as f64;
        let band = (PAPER_WIDTH * longer).ceil();
        let clear = (from..=to)
            .filter(|&k| {
                let at = (depth + slope * k as f64).round();
                (2..=band as usize).all(|b| at < b as f64 || !self.at(k, at as usize - b))
            })
            .count() as f64;
        (length >= LEAST_LENGTH * along as f64
            && places.len() as f64 >= LEAST_SEEN * length
            && alike >= 0.8 * widths.len() as f64
            && clear >= PAPER_SEEN * length)
            .then_some(Rule { depth, slope, width, from, to })
    }
}

/// Looks for a rule on all four sides that closes round the picture, and for others just inside it.
pub(super) fn find_rules(dark: &Raster<bool>) -> Option<Rules> {
    let longer = dark.width().max(dark.height()) as f64;
    let sides: [Seen<'_>; 4] = std::array::from_fn(|side| Seen { dark, side });
    let mut rules: Option<Rules> = None;
    let mut last: Option<[Rule; 4]> = None;
    for _ in 0..MOST_RULES {
        let found: Option<Vec<Rule>> = sides
            .iter()
            .enumerate()
            .map(|(k, side)| {
                let (along, deep) = side.size();
                let (from, to) = match &last {
                    None => (EDGE * longer, DEEPEST * deep as f64),
                    Some(outer) => {
                        let r = outer[k];
                        let at = r.depth + r.slope * along as f64 / 2.0;
                        let lean = r.slope.abs() * along as f64 / 2.0;
                        (at + r.width + lean + 2.0, at + r.width + lean + NEXT_RULE * longer)
                    }
                };
                side.rule(from, to)
            })
            .collect();
        let Some(found) = found.and_then(|f| <[Rule; 4]>::try_from(f).ok()) else { break };
        let Some(inner) = closed(&sides, &found, longer) else { break };
        rules = Some(match rules {
            None => Rules { count: 1, width: found.iter().map(|r| r.width).sum::<f64>() / 4.0, inner },
            Some(r) => Rules { count: r.count + 1, inner, ..r },
        });
        last = Some(found);
    }
    rules
}

/// The inner edges' quadrangle, when the four rules meet at their ends and hold enough of the page.
fn closed(sides: &[Seen<'_>; 4], rules: &[Rule; 4], longer: f64) -> Option<Quad> {
    let line = |k: usize, add: f64| {
        let r = rules[k];
        let (along, _) = sides[k].size();
        [0.0, along as f64].map(|at| sides[k].point(at, r.depth + r.slope * at + add))
    };
    let corner =
        |k: usize, add: &dyn Fn(usize) -> f64| meet(line(k, add(k)), line((k + 1) % 4, add((k + 1) % 4)));
    let middles = |k: usize| rules[k].width / 2.0;
    let inner = |k: usize| rules[k].width + BLUR_PX;
    // Corner k lies between side k and the next: top right, bottom right, bottom left, top left. Places grow to the
    // right along top and bottom and downwards along the others, so each corner is the far end of a side or the near.
    for (k, far) in [(0, [true, false]), (1, [true, true]), (2, [false, true]), (3, [false, false])] {
        let at = corner(k, &middles)?;
        for (side, far) in [k, (k + 1) % 4].into_iter().zip(far) {
            let end = if far { rules[side].to } else { rules[side].from };
            let place = if side % 2 == 0 { at[0] } else { at[1] };
            if (end as f64 - place).abs() > CORNER_GAP * longer {
                return None;
            }
        }
    }
    let met: Option<Vec<[f64; 2]>> = (0..4).map(|k| corner((k + 3) % 4, &inner)).collect();
    let quad: Quad = met?.try_into().ok()?;
    let convex = (0..4).all(|k| turn(quad[k], quad[(k + 1) % 4], quad[(k + 2) % 4]) > 0.0);
    let inside = 0.5 * (turn(quad[0], quad[1], quad[2]) + turn(quad[0], quad[2], quad[3]));
    let page = (sides[0].dark.width() * sides[0].dark.height()) as f64;
    (convex && inside >= LEAST_INSIDE * page).then_some(quad)
}

/// Where two lines through two points each meet.
fn meet(a: [[f64; 2]; 2], b: [[f64; 2]; 2]) -> Option<[f64; 2]> {
    let (da, db) = ([a[1][0] - a[0][0], a[1][1] - a[0][1]], [b[1][0] - b[0][0], b[1][1] - b[0][1]]);
    let det = da[0] * db[1] - da[1] * db[0];
    (det.abs() > 1e-9).then(|| {
        let t = ((b[0][0] - a[0][0]) * db[1] - (b[0][1] - a[0][1]) * db[0]) / det;
        [a[0][0] + t * da[0], a[0][1] + t * da[1]]
    })
}
