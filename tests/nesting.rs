//! More plain never adds a line and never moves one, and a budget is the first height within it.
//!
//! Of a plane net, fewer of the same lines have faces that are unions of the finer net's faces: nested curves mean
//! nested areas.

use std::path::PathBuf;

use kurbo::{CubicBez, ParamCurve, ParamCurveNearest, Point};
use merestone::areas::{self, AreaOptions};
use merestone::raster::Raster;
use merestone::tone::{self, BreakRule, ToneField, ToneOptions, ToneRange};
use merestone::transitions::{BoundaryNet, HowMuch, NetOptions, Traced, plainness_of, trace};
use proptest::prelude::*;
use rstar::{AABB, RTree};

use crate::drawn::{draw_file, reflectance};

/// How far a line may lie from itself, in mm. A cubic that is cut at a junction is rounded to whole micrometres
/// anew, which moves each control point by at most half of one across and down (0.71 micrometres).
const SAME_MM: f64 = 1e-3;
/// Length may grow by this much where a cut, and with it a rounding, goes: less than a written digit, in mm.
const ROUNDING_MM: f64 = 1e-3;

/// Cubics to measure distances to.
struct Curves(RTree<Boxed>);

#[derive(Clone)]
struct Boxed(CubicBez);

impl rstar::RTreeObject for Boxed {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> Self::Envelope {
        // A cubic lies in the hull of its control points.
        AABB::from_points(&[self.0.p0, self.0.p1, self.0.p2, self.0.p3].map(|p| [p.x, p.y]))
    }
}

impl Curves {
    fn new(cubics: impl Iterator<Item = CubicBez>) -> Self {
        Self(RTree::bulk_load(cubics.map(Boxed).collect()))
    }

    /// Whether a point lies on one of the curves.
    fn holds(&self, p: Point) -> bool {
        let around = AABB::from_corners([p.x - SAME_MM, p.y - SAME_MM], [p.x + SAME_MM, p.y + SAME_MM]);
        self.0
            .locate_in_envelope_intersecting(&around)
            .any(|c| c.0.nearest(p, 1e-8).distance_sq.sqrt() <= SAME_MM)
    }
}

/// The first point of `plainer` that no line of `finer` holds.
pub(crate) fn strays(plainer: &[CubicBez], finer: &[CubicBez]) -> Option<Point> {
    let finer = Curves::new(finer.iter().copied());
    let points = plainer.iter().flat_map(|c| (0..=8).map(|i| c.eval(f64::from(i) / 8.0)));
    points.into_iter().find(|&p| !finer.holds(p))
}

pub(crate) fn cubics(net: &BoundaryNet) -> Vec<CubicBez> {
    net.transitions.iter().flat_map(|t| t.curve.iter().copied()).collect()
}

/// Texture over flat patches: nothing, grain, or lines of ink 0.9 mm apart.
#[derive(Clone, Copy, Debug)]
enum Texture {
    Flat,
    Grain,
    Hatch,
}

/// Patches around random points, each of one lightness, 30 x 24 mm at 6 px/mm.
fn field(points: &[(f64, f64, f64)], texture: Texture) -> ToneField {
    let (w, h, px) = (180, 144, 6.0);
    let mut data = Vec::with_capacity(w * h);
    for y in 0..h {
        for x in 0..w {
            let (u, v) = ((x as f64 + 0.5) / px, (y as f64 + 0.5) / px);
            let near = points.iter().min_by(|a, b| {
                let d = |p: &(f64, f64, f64)| f64::hypot(30.0 * p.0 - u, 24.0 * p.1 - v);
                d(a).total_cmp(&d(b))
            });
            let light = reflectance(near.map_or(50.0, |p| p.2));
            // A hash of the place (Jarzynski & Olano 2020, pcg) gives grain that repeats.
            let mut n = (y * w + x) as u32;
            n = n.wrapping_mul(747_796_405).wrapping_add(2_891_336_453);
            n = ((n >> ((n >> 28) + 4)) ^ n).wrapping_mul(277_803_737);
            let even = f64::from((n >> 22) ^ n) / f64::from(u32::MAX) - 0.5;
            data.push(match texture {
                Texture::Flat => light,
                Texture::Grain => (light * (1.0 + 0.3 * even)).clamp(0.0, 1.0),
                Texture::Hatch => {
                    let off = ((0.6 * u + 0.8 * v) / 0.9).rem_euclid(1.0);
                    // A pixel on the stroke's edge is partly inked, over a pixel's width.
                    (((off - 0.5).abs() - 0.5 * (1.0 - light)) * 0.9 * px + 0.5).clamp(0.0, 1.0)
                }
            } as f32);
        }
    }
    let options = ToneOptions {
        values: 5,
        breaks: BreakRule::Even,
        tone_range: ToneRange::Fixed([0.0, 100.0]),
        kind: None,
        ..ToneOptions::default()
    };
    let measured = tone::measure(&Raster::from_vec(w, h, data), px, &options).expect("a picture with tones");
    measured.value
}

fn check_nested(points: &[(f64, f64, f64)], texture: Texture) -> Result<(), TestCaseError> {
    let tone = field(points, texture);
    let map = areas::find(&tone, &AreaOptions::default());
    let draw = |how_much| trace(&tone, &map, &NetOptions { how_much, ..NetOptions::default() });
    let mut before: Option<Traced> = None;
    for plainness in 0..=10 {
        let now = draw(HowMuch::Plainness(10.0 * f64::from(plainness)));
        if let Some(before) = &before {
            let stray = strays(&cubics(&now.net), &cubics(&before.net));
            prop_assert!(stray.is_none(), "{texture:?}, plainness {plainness}0: a line moved at {stray:?}");
            let (longer, length) = (now.net.length_mm(), before.net.length_mm());
            prop_assert!(longer <= length + ROUNDING_MM, "{texture:?}: {longer} mm after {length} mm");
            prop_assert!(now.net.areas.len() <= before.net.areas.len(), "{texture:?}: more areas");
        }
        before = Some(now);
    }
    // Every amount is what is drawn at its height, and a budget of just that much finds it and no lower one.
    let amounts = draw(HowMuch::Plainness(0.0)).amounts;
    prop_assert!(amounts[amounts.len() - 1].length_mm <= 0.0, "the last height leaves nothing");
    for (i, amount) in amounts.iter().enumerate().step_by(1 + amounts.len() / 6) {
        let drawn = draw(HowMuch::LineBudget { mm: amount.length_mm });
        prop_assert!(drawn.net.length_mm() <= amount.length_mm, "over the budget");
        let lowest = amounts.iter().position(|a| a.length_mm <= amount.length_mm).unwrap_or(i);
        prop_assert!((drawn.height - amounts[lowest].height).abs() <= 0.0, "not the lowest height");
        prop_assert!((drawn.net.length_mm() - amounts[lowest].length_mm).abs() <= 0.0, "another length");
        prop_assert_eq!(drawn.net.areas.len(), amounts[lowest].areas, "another number of areas");
        if let Some(plainness) = plainness_of(drawn.height) {
            prop_assert_eq!(&draw(HowMuch::Plainness(plainness)).net, &drawn.net, "plainness {}", plainness);
        }
        let counted = draw(HowMuch::Areas(amount.areas));
        prop_assert!(counted.net.areas.len() <= amount.areas, "more areas than allowed");
        prop_assert!(counted.height <= amount.height, "a lower height has as few areas");
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(8))]
    #[test]
    fn plainer_drawings_are_parts_of_finer_ones(
        points in proptest::collection::vec((0.0_f64..1.0, 0.0_f64..1.0, 8.0_f64..96.0), 2..30),
        texture in prop_oneof![Just(Texture::Flat), Just(Texture::Grain), Just(Texture::Hatch)],
    ) {
        check_nested(&points, texture)?;
    }
}

#[test]
fn the_still_life_is_nested_and_keeps_its_budget() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    for name in ["still-life-hatched", "still-life-tonal"] {
        let file = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("examples").join(format!("{name}.png"));
        let draw = |options: &[&str]| draw_file(&file, folder.path(), name, 100.0, 2000.0 / 1700.0, options);
        let mut before: Option<(Vec<CubicBez>, f64)> = None;
        for plainness in ["0", "10", "20", "30", "40", "50", "60", "70", "80", "90", "100"] {
            let drawn = draw(&["--plainness", plainness]);
            let lines: Vec<CubicBez> =
                drawn.lines.iter().flat_map(|l| l.path.segments().map(|s| s.to_cubic())).collect();
            if let Some((finer, length)) = &before {
                let stray = strays(&lines, finer);
                assert!(stray.is_none(), "{name}, plainness {plainness}: a line moved at {stray:?}");
                assert!(drawn.length_mm() <= length + ROUNDING_MM, "{name}, plainness {plainness}: longer");
            }
            before = Some((lines, drawn.length_mm()));
        }
        let drawn = draw(&["--line-budget", "0.7m"]);
        let length = drawn.length_mm();
        assert!(
            length <= 700.0 + ROUNDING_MM && length > 400.0,
            "{name}: {length} mm for a budget of 700 mm"
        );
        let same = draw(&["--plainness", &drawn.report["merging"]["plainness"].to_string()]);
        assert_eq!(same.report["transitions"], drawn.report["transitions"], "{name}: the plainness reported");
        assert!(draw(&["--areas", "12"]).report["areas"]["count"].as_u64() <= Some(12), "{name}: 12 areas");
    }
}

#[test]
fn a_line_that_moved_is_found() {
    let at = |y: f64| CubicBez::new((0.0, y), (1.0, y), (2.0, y), (3.0, y));
    assert!(strays(&[at(1.0)], &[at(1.0), at(2.0)]).is_none(), "a line lies on itself");
    assert!(strays(&[at(1.0).subsegment(0.2..0.7)], &[at(1.0)]).is_none(), "a part lies on the whole");
    assert!(strays(&[at(1.0)], &[at(1.0).subsegment(0.2..0.7)]).is_some(), "a tail that was not there");
    assert!(strays(&[at(1.002)], &[at(1.0)]).is_some(), "two micrometres aside");
}
