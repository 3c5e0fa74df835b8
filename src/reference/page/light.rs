//! Uneven light taken out by the paper's own white.

use serde::Serialize;

use crate::colour::lightness;
use crate::raster::Raster;
use crate::reference::resample;

use super::PageError;
use super::surface::{Figures, quadratic, smooth_surface};

mod shadow;

/// How uneven light is told from tone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum EvenLight {
    /// By bare paper that is seen: margins, lights, gaps between strokes.
    Paper,
    /// Where no paper is seen: what is brightest in each part is guessed to be equally light.
    Guess,
}

/// What was found of the light and taken out.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LightFigures {
    /// What the light was told by.
    pub told_by: EvenLight,
    /// Share of the page that was taken for bare paper.
    pub paper_share: f64,
    /// Light at the darkest place as a share of that at the brightest.
    pub darkest: f64,
    /// Lightness (L*) of the paper in the photograph, darkest and lightest.
    pub paper_before: [f64; 2],
    /// The same afterwards: of all but 1 % of the paper at either end.
    pub paper_after: [f64; 2],
    /// How much of its light the paper lost at most to what shows through from its back; that much was taken out.
    pub show_through: f64,
    /// How much of their light tones lost on the whole, by bare paper among them; that was put back too.
    pub tones_lifted: f64,
}

/// Cells along the longer side, and pixels of the reduced picture along a cell.
const LONG_SIDE_CELLS: f64 = 128.0;
const CELL: usize = 8;
/// Which of a cell's pixels, by rank, stands for its paper: gaps between strokes count, single specks do not.
const BRIGHT_RANK: f64 = 0.95;
/// Which stands for its ink.
const DARK_RANK: f64 = 0.05;
/// Differences of log light: a cell has content when it spans more than this within itself ...
const CONTENT_WITHIN: f64 = 0.25;
/// ... or from its neighbours; a soft shadow's edge is under 0.03 a cell.
const CONTENT_STEP: f64 = 0.07;
/// A cell holds ink and paper both when it spans more than this: a factor of 2.7.
const INK_WITHIN: f64 = 1.0;
/// Share of a row or column of cells that has content where the picture is.
const CONTENT_SHARE: f64 = 0.03;
/// Least share of the page that its margins have to be to stand for the paper.
const LEAST_RIM: f64 = 0.02;
/// How much darker than the page's brightest parts its margins may be on the whole.
const RIM_DARKER: f64 = 0.35;
/// How far margins may lie off the smooth light through them, all but the last of them by rank: 0.012 with a hand's soft
/// shadow on them, and 0.32 to 2.5 for the even tones at the edges of six pictures without margins (by a prototype over
/// NumPy that knew the margins' width).
const RIM_OFF: f64 = 0.12;
const RIM_RANK: f64 = 0.97;
/// How far under the surface a cell inside the picture may lie and still be paper: flat ones, and ones with ink.
const UNDER_FLAT: f64 = 0.04;
const UNDER_INK: f64 = 0.08;
/// Where margins say the light and few strokes do: how far under it paper inside may lie and have a say too. Lit sides of
/// forms are light tones, and each taken for paper would draw the light down to the next.
const UNDER_SURE: f64 = 0.015;
/// How far under it paper may lie that goes on evenly from surer paper, and its most from cell to cell.
const UNDER_GROWN: f64 = 0.12;
const GROWN_STEP: f64 = 0.04;
/// How far above the surface paper may lie: nothing is brighter than paper, but glare.
const ABOVE: f64 = 0.5;
/// Weight of cells with ink that lie under the surface: a narrow gap is never quite as bright as paper.
const UNDER_WEIGHT: f64 = 0.045;
/// Rounds of telling paper by the surface and the surface by paper.
const ROUNDS: usize = 8;
/// The same where a shadow comes in over the margin: the tones under it have a say, so it takes fewer.
const SHADOW_ROUNDS: usize = 3;
/// Share of cells with ink and paper both that makes a drawing in ink, whose gaps say the light without margins too.
const INK_SHARE: f64 = 0.2;
/// Least share of cells that has to be paper, and least share of the sixteen parts of the page that has to hold some.
const LEAST_PAPER: f64 = 0.04;
const LEAST_PARTS: f64 = 0.6;
/// What shows through is looked for within this, and always taken to be at least that: what JPEG leaves.
const SHOW_THROUGH: [f64; 2] = [0.02, 0.12];
/// How far under the surface a cell as a whole may lie and tell of it: the back in solid ink at 8 %.
const UNDER_THROUGH: f64 = 0.09;
/// Cells that are near, when the dip from paper beside is looked for.
const NEAR: usize = 3;
/// Which of the paper's dips, by rank, stands for what shows through, and how much more is taken for it, because the
/// surface follows a part of it.
const DIP_RANK: f64 = 0.01;
const DIP_TIMES: f64 = 1.25;
/// Tones darker than the paper by so many times the show-through are not drawn towards it.
const UNTOUCHED: f64 = 2.5;
/// Share of a row or column of cells that is tones where it goes through a picture.
const TONES_SHARE: f64 = 0.15;
/// So many cells of bare paper among a picture's tones tell how much light these have lost to the back.
const TELLING: usize = 40;
/// Least light that a pixel is counted with, before logarithms.
const DARK: f64 = 1e-3;

/// The page in cells: log light of paper (if there is any) and of ink.
struct Cells {
    width: usize,
    height: usize,
    bright: Vec<f64>,
    dark: Vec<f64>,
    /// Log light on the whole, and by how much the means of a cell's quarters differ in it.
    mean: Vec<f64>,
    uneven: Vec<f64>,
}

impl Cells {
    fn of(page: &Raster<f32>) -> Self {
        let longer = page.width().max(page.height()) as f64;
        let count = |side: usize| ((LONG_SIDE_CELLS * side as f64 / longer).round() as usize).max(4);
        let (width, height) = (count(page.width()), count(page.height()));
        let reduced = resample(page, width * CELL, height * CELL);
        let mut cells = Self {
            width,
            height,
            bright: Vec::new(),
            dark: Vec::new(),
            mean: Vec::new(),
            uneven: Vec::new(),
        };
        let log = |y: f32| f64::from(y).max(DARK).ln();
        for cy in 0..height {
            for cx in 0..width {
                let mut samples: Vec<f32> = (0..CELL)
                    .flat_map(|y| &reduced.row(cy * CELL + y)[cx * CELL..(cx + 1) * CELL])
                    .copied()
                    .collect();
                samples.sort_by(f32::total_cmp);
                let at = |rank: f64| samples[(rank * (samples.len() - 1) as f64).round() as usize];
                cells.bright.push(log(at(BRIGHT_RANK)));
                cells.dark.push(log(at(DARK_RANK)));
                let half = CELL / 2;
                let quarters: [f64; 4] = std::array::from_fn(|q| {
                    let (left, top) = (cx * CELL + q % 2 * half, cy * CELL + q / 2 * half);
                    let sum: f32 = (top..top + half).flat_map(|y| &reduced.row(y)[left..left + half]).sum();
                    log(sum / (half * half) as f32)
                });
                cells.mean.push(quarters.iter().sum::<f64>() / 4.0);
                let ends = quarters.iter().fold([f64::MAX, f64::MIN], |e, &q| [e[0].min(q), e[1].max(q)]);
                cells.uneven.push(ends[1] - ends[0]);
            }
        }
        cells
    }

    fn len(&self) -> usize {
        self.bright.len()
    }

    /// The four neighbours of a cell.
    fn beside(&self, i: usize) -> impl Iterator<Item = usize> {
        let (w, n, x) = (self.width, self.len(), i % self.width);
        let steps =
            [(x > 0, i.wrapping_sub(1)), (x + 1 < w, i + 1), (i >= w, i.wrapping_sub(w)), (i + w < n, i + w)];
        steps.into_iter().filter_map(|(there, j)| there.then_some(j))
    }

    /// The outermost cells: slivers of what lies beyond the page.
    fn outermost(&self, i: usize) -> bool {
        let (x, y) = (i % self.width, i / self.width);
        x == 0 || y == 0 || x + 1 == self.width || y + 1 == self.height
    }

    fn content(&self) -> Vec<bool> {
        (0..self.len())
            .map(|i| {
                !self.outermost(i)
                    && (self.bright[i] - self.dark[i] > CONTENT_WITHIN
                        || self.beside(i).any(|j| {
                            !self.outermost(j) && (self.bright[i] - self.bright[j]).abs() > CONTENT_STEP
                        }))
            })
            .collect()
    }

    /// Cells of margin all around the picture, if they can be the page's paper.
    fn rim(&self, content: &[bool]) -> Option<Vec<bool>> {
        let (w, h) = (self.width, self.height);
        let span = |count: usize, along: usize, at: &dyn Fn(usize, usize) -> usize| {
            let full = |k: usize| {
                (0..along).filter(|&l| content[at(k, l)]).count() as f64 > CONTENT_SHARE * along as f64
            };
            let first = (0..count).find(|&k| full(k)).unwrap_or(count);
            let last = (0..count).rev().find(|&k| full(k)).map_or(0, |k| k + 1);
            // A cell more on either side holds the blur of the picture's edge.
            first.saturating_sub(1)..last + 1
        };
        let columns = span(w, h, &|x, y| y * w + x);
        let rows = span(h, w, &|y, x| y * w + x);
        let rim: Vec<bool> = (0..self.len())
            .map(|i| {
                let inside = columns.contains(&(i % w)) && rows.contains(&(i / w));
                !inside && !content[i] && !self.outermost(i)
            })
            .collect();
        let share = rim.iter().filter(|&&r| r).count() as f64 / self.len() as f64;
        let mut margins: Vec<f64> = (0..self.len()).filter(|&i| rim[i]).map(|i| self.bright[i]).collect();
        let mut all = self.bright.clone();
        (share >= LEAST_RIM && rank(&mut margins, 0.5) > rank(&mut all, 0.97) - RIM_DARKER).then_some(rim)
    }

    /// Margins and the light through them, if they are one paper under one light: even tones along the edges of a
    /// picture without margins are not.
    fn lit_alike(&self, rim: Vec<bool>) -> Option<(Vec<bool>, Vec<f64>)> {
        let weights: Vec<f64> = rim.iter().map(|&r| f64::from(u8::from(r))).collect();
        let surface = self.surface(&weights)?;
        let mut off: Vec<f64> =
            (0..self.len()).filter(|&i| rim[i]).map(|i| (self.bright[i] - surface[i]).abs()).collect();
        (rank(&mut off, RIM_RANK) < RIM_OFF).then_some((rim, surface))
    }

    fn surface(&self, weights: &[f64]) -> Option<Vec<f64>> {
        smooth_surface(&Figures { width: self.width, height: self.height, values: &self.bright, weights })
    }

    fn quadratic(&self, weights: &[f64]) -> Option<Vec<f64>> {
        quadratic(&Figures { width: self.width, height: self.height, values: &self.bright, weights })
    }

    /// A surface of second degree over the brightest parts of some cells: asymmetric least squares, which pulls at what
    /// lies under it twenty times less (Newey & Powell 1987, "Asymmetric least squares estimation and testing",
    /// Econometrica 55), and leaves out more and more of what is far under it.
    fn upper(&self, among: impl Fn(usize) -> bool, unders: &[f64]) -> Option<Vec<f64>> {
        let mut all: Vec<f64> = (0..self.len()).filter(|&i| among(i)).map(|i| self.bright[i]).collect();
        let mut surface = vec![rank(&mut all, 0.98); self.len()];
        for under in unders {
            let weights: Vec<f64> = (0..self.len())
                .map(|i| match self.bright[i] - surface[i] {
                    _ if self.outermost(i) || !among(i) => 0.0,
                    r if r > 0.0 => 1.0,
                    r if r > -under => 0.05,
                    _ => 0.0,
                })
                .collect();
            surface = self.quadratic(&weights)?;
        }
        Some(surface)
    }

    /// The same over the whole page, whose tones lie far under it.
    fn upper_of_all(&self) -> Option<Vec<f64>> {
        self.upper(|_| true, &[0.8, 0.8, 0.6, 0.6, 0.45, 0.45, 0.35, 0.35, 0.3, 0.3])
    }

    /// Which cells lie in rows and columns that go through a picture.
    fn among_tones(&self, paper: &[bool]) -> Vec<bool> {
        let (w, h) = (self.width, self.height);
        let (mut rows, mut columns) = (vec![0; h], vec![0; w]);
        for i in (0..self.len()).filter(|&i| !paper[i]) {
            rows[i / w] += 1;
            columns[i % w] += 1;
        }
        let through = |tones: usize, all: usize| tones as f64 > TONES_SHARE * all as f64;
        (0..self.len()).map(|i| through(rows[i / w], w) && through(columns[i % w], h)).collect()
    }

    /// How far the darkest of a cell of paper dips, by what shows through: from the surface where the cell lies on it,
    /// else from the brightest paper near, for a lit form slopes away and print has edges. `None` too far under.
    fn dip(&self, i: usize, surface: &[f64], paper: &[bool]) -> Option<f64> {
        let under = surface[i] - self.bright[i];
        if under < UNDER_FLAT {
            return Some(self.dark[i] - surface[i]);
        }
        let (x, y) = (i % self.width, i / self.width);
        let near = (y.saturating_sub(NEAR)..(y + NEAR + 1).min(self.height))
            .flat_map(|y| (x.saturating_sub(NEAR)..(x + NEAR + 1).min(self.width)).map(move |x| (x, y)))
            .map(|(x, y)| y * self.width + x)
            .filter(|&j| paper[j])
            .map(|j| self.bright[j].min(surface[j]))
            .fold(self.bright[i], f64::max);
        (under < UNDER_THROUGH).then_some(self.dark[i] - near)
    }

    /// Which cells are paper by a surface; what goes on evenly from them too.
    fn paper(&self, surface: &[f64], rim: &[bool], content: &[bool], ink: &[bool]) -> Vec<bool> {
        let over = |i: usize| self.bright[i] - surface[i];
        let mut paper: Vec<bool> = (0..self.len())
            .map(|i| {
                let under = if ink[i] { UNDER_INK } else { UNDER_FLAT };
                rim[i] || (!self.outermost(i) && over(i) > -under && over(i) < ABOVE)
            })
            .collect();
        let mut next: Vec<usize> = (0..self.len()).filter(|&i| paper[i]).collect();
        while let Some(i) = next.pop() {
            for j in self.beside(i) {
                let even = (self.bright[i] - self.bright[j]).abs() < GROWN_STEP;
                if !paper[j] && !content[j] && !self.outermost(j) && even && over(j) > -UNDER_GROWN {
                    paper[j] = true;
                    next.push(j);
                }
            }
        }
        paper
    }
}

/// The value of a rank from 0 to 1; 0 of nothing.
fn rank(values: &mut [f64], share: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get((share * values.len().saturating_sub(1) as f64).round() as usize).copied().unwrap_or(0.0)
}

/// Takes uneven light out of a page: its paper becomes 1 everywhere.
///
/// The paper's log light is a smooth surface through what is surely paper: the page's margins first, then what lies on
/// that surface inside the picture, or goes on evenly from it. Tones lie under it and have no part in it, so a large
/// dark area takes the light of the paper round it.
///
/// # Errors
/// [`PageError::NoPaper`] when no paper can be told and a guess was not asked for.
pub(super) fn even(page: &Raster<f32>, how: EvenLight) -> Result<(Raster<f32>, LightFigures), PageError> {
    let cells = Cells::of(page);
    let content = cells.content();
    let ink: Vec<bool> = (0..cells.len()).map(|i| cells.bright[i] - cells.dark[i] > INK_WITHIN).collect();
    let Some(Told { surface, paper, by_margins }) = (match how {
        EvenLight::Paper => by_paper(&cells, &content, &ink),
        EvenLight::Guess => cells.upper_of_all().map(|surface| {
            let paper = cells.paper(&surface, &vec![false; cells.len()], &content, &ink);
            Told { surface, paper, by_margins: false }
        }),
    }) else {
        return Err(PageError::NoPaper);
    };
    let flat: Vec<usize> = (0..cells.len()).filter(|&i| paper[i] && !ink[i] && !content[i]).collect();
    let mut dips: Vec<f64> = flat.iter().filter_map(|&i| cells.dip(i, &surface, &paper)).collect();
    // What shows through is softer than print: it lies in cells that are otherwise even.
    let dip = DIP_TIMES * (1.0 - rank(&mut dips, DIP_RANK).exp());
    let lost = dip.clamp(SHOW_THROUGH[0], SHOW_THROUGH[1]);
    let lost = if how == EvenLight::Guess { 0.0 } else { lost };
    let light = over_page(&cells, surface.iter().map(|l| l.exp() as f32), page);
    let mut under: Vec<f64> = if by_margins {
        let among = cells.among_tones(&paper);
        flat.iter().filter(|&&i| among[i]).map(|&i| surface[i] - cells.bright[i]).collect()
    } else {
        Vec::new()
    };
    let tint = if under.len() < TELLING { 0.0 } else { rank(&mut under, 0.5).clamp(0.0, lost) };
    let evened = divide(page, &light, lost, tint);

    let inside: Vec<f64> = (0..cells.len()).filter(|&i| !cells.outermost(i)).map(|i| surface[i]).collect();
    let ends =
        |of: &[f64]| of.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |e, &v| [e[0].min(v), e[1].max(v)]);
    let [low, high] = ends(&inside);
    let after = Cells::of(&evened);
    let mut shown: Vec<f64> = flat.iter().map(|&i| lightness(after.bright[i].exp())).collect();
    let figures = LightFigures {
        told_by: how,
        paper_share: paper.iter().filter(|&&p| p).count() as f64 / cells.len() as f64,
        darkest: (low - high).exp(),
        paper_before: [low, high].map(|l| lightness(l.exp().min(1.0))),
        paper_after: if shown.is_empty() {
            [100.0; 2]
        } else {
            [rank(&mut shown, 0.01), rank(&mut shown, 0.99)]
        },
        show_through: lost,
        tones_lifted: tint,
    };
    Ok((evened, figures))
}

/// What paper tells of the light.
struct Told {
    /// Its logarithm in every cell.
    surface: Vec<f64>,
    /// Which cells are paper.
    paper: Vec<bool>,
    /// Whether margins said it, and no shadow came in over them: then paper among tones that lies under it is darkened by the
    /// page's back, and tones as well.
    by_margins: bool,
}

/// Surface and paper, when paper can be told.
fn by_paper(cells: &Cells, content: &[bool], ink: &[bool]) -> Option<Told> {
    let inked = ink.iter().filter(|&&i| i).count() as f64;
    let (rim, mut surface) = match cells.rim(content).and_then(|rim| cells.lit_alike(rim)) {
        Some(margins) => margins,
        None => {
            // Without margins only the gaps between strokes can be trusted to be paper.
            if inked < INK_SHARE * cells.len() as f64 {
                return None;
            }
            (vec![false; cells.len()], cells.upper_of_all()?)
        }
    };
    // Gaps between strokes say the light better than tones do, and paper far from margins is sure there.
    let drawn = inked >= INK_SHARE * cells.len() as f64;
    let sure_only = !drawn && rim.contains(&true);
    let weights_of = |paper: &[bool], surface: &[f64]| -> Vec<f64> {
        (0..cells.len())
            .map(|i| match (rim[i], paper[i]) {
                (true, _) => 1.0,
                (_, true) if ink[i] && cells.bright[i] < surface[i] => UNDER_WEIGHT,
                (_, true) if sure_only && cells.bright[i] < surface[i] - UNDER_SURE => 0.0,
                (_, true) => 1.0,
                _ => 0.0,
            })
            .collect()
    };
    let mut paper = rim.clone();
    let shadow = (!drawn).then(|| shadow::Shadow::over(cells, &rim)).flatten();
    let by_margins = sure_only && shadow.is_none();
    if let Some(shadow) = shadow {
        for _ in 0..SHADOW_ROUNDS {
            surface = shadow.surface(&weights_of(&paper, &surface))?;
            paper = cells.paper(&surface, &rim, content, ink);
        }
    } else {
        for _ in 0..ROUNDS {
            paper = cells.paper(&surface, &rim, content, ink);
            surface = cells.surface(&weights_of(&paper, &surface))?;
        }
    }
    let share = paper.iter().filter(|&&p| p).count() as f64 / cells.len() as f64;
    let part = |i: usize| (i % cells.width) * 4 / cells.width + (i / cells.width) * 4 / cells.height * 4;
    let held = (0..16).filter(|&p| (0..cells.len()).any(|i| paper[i] && part(i) == p)).count() as f64 / 16.0;
    (share >= LEAST_PAPER && held >= LEAST_PARTS).then_some(Told { surface, paper, by_margins })
}

/// Figures of cells over the page, smoothly between the middles of the cells.
fn over_page(cells: &Cells, figures: impl Iterator<Item = f32>, page: &Raster<f32>) -> Raster<f32> {
    resample(&Raster::from_vec(cells.width, cells.height, figures.collect()), page.width(), page.height())
}

/// Reflectance by the paper's light, and what shows through lifted to paper: between strokes too, where it darkens tones.
/// Tones have lost a share `tint` of their light on the whole.
fn divide(page: &Raster<f32>, light: &Raster<f32>, lost: f64, tint: f64) -> Raster<f32> {
    let (white, untouched) = (1.0 - lost as f32, 1.0 - (UNTOUCHED * lost) as f32);
    let kept = 1.0 - tint as f32;
    let lift = |r: f32| {
        if r >= white {
            1.0
        } else if r > untouched {
            untouched / kept + (r - untouched) * (1.0 - untouched / kept) / (white - untouched)
        } else {
            r / kept
        }
    };
    let samples = page.data().iter().zip(light.data());
    let data = samples.map(|(&y, &l)| lift((y / l.max(DARK as f32)).clamp(0.0, 1.0)));
    Raster::from_vec(page.width(), page.height(), data.collect())
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod shadow_tests;
