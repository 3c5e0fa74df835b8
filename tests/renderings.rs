//! The same scene made in eight ways, and what must hold of each whatever the lines are: no line in an even tone, the same
//! net when the picture is turned, mirrored, moved or enlarged, and plainer nets that lie on finer ones.

use image::{GrayImage, Luma, imageops};
use kurbo::{CubicBez, Point};

use crate::drawn::{Drawn, apart, draw, grey, reflectance};
use crate::metamorphic::{HEIGHT, WIDTH, scene};
use crate::nesting::strays;

const SCALE: u32 = 8;

/// Ways of making a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Made {
    Flat,
    Grain,
    Photo,
    Hatch,
    Stipple,
    Screen,
    Holding,
    HatchHolding,
}

impl Made {
    /// How far the same net may be from itself, in mm (98 % of the line): 0.1 mm where there is a tone everywhere. Where
    /// there are strokes and dots, what was reached is held, until it is better: an area near its limits may come or go.
    fn same_mm(self) -> f64 {
        match self {
            Self::Flat | Self::Grain | Self::Photo | Self::Holding => 0.1,
            Self::Screen => 0.15,
            Self::Hatch => 0.5,
            Self::Stipple | Self::HatchHolding => 1.5,
        }
    }
}

const ALL: [Made; 8] = [
    Made::Flat,
    Made::Grain,
    Made::Photo,
    Made::Hatch,
    Made::Stipple,
    Made::Screen,
    Made::Holding,
    Made::HatchHolding,
];

/// A number from 0 to 1 that belongs to two whole numbers (mixing of SplitMix64, Steele et al. 2014).
fn chance(a: i64, b: i64) -> f64 {
    let mut z =
        (a as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (b as u64).wrapping_mul(0xD1B5_4A32_D192_ED03);
    for multiplier in [0xBF58_476D_1CE4_E5B9_u64, 0x94D0_49BB_1331_11EB] {
        z = (z ^ (z >> 30)).wrapping_mul(multiplier);
    }
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

/// About normally distributed: twelve chances less their mean.
fn noise(x: i64, y: i64) -> f64 {
    (0..12).map(|k| chance(13 * x + 7, 29 * y + 1000 * k)).sum::<f64>() - 6.0
}

/// Whether strokes that cover a share of the paper lie at a place, by an unsteady hand.
fn stroke(x: f64, y: f64, cover: f64) -> bool {
    if cover > 0.96 {
        return true;
    }
    let sets: &[f64] = if cover < 0.5 { &[0.6] } else { &[0.6, 2.1] };
    let each = 1.0 - (1.0 - cover).powf(1.0 / sets.len() as f64);
    sets.iter().any(|angle| {
        let (s, c) = angle.sin_cos();
        let (on, off) = (x * c + y * s, y * c - x * s);
        let pitch = 1.0;
        let row = (off / pitch).floor();
        let waver = 0.05 * (on / 3.1 + 1.7 * row).sin() + 0.03 * (on / 1.3 + 2.9 * row).sin();
        ((off + waver) / pitch).rem_euclid(1.0) < each
    })
}

/// Whether a dot of a shaken lattice covers a place: dots grow with the cover.
fn dotted(x: f64, y: f64, cover: f64, pitch: f64, shaken: f64) -> bool {
    // A dot's reach for a cover, past half of which it meets its neighbours (white dots on black are the same, turned).
    let (dark, share) = if cover > 0.5 { (true, 1.0 - cover) } else { (false, cover) };
    let radius = pitch * (share / std::f64::consts::PI).sqrt();
    let (i, j) = ((x / pitch).floor() as i64, (y / pitch).floor() as i64);
    let inside = (-1..=1).any(|a| {
        (-1..=1).any(|b| {
            let (u, v) = (i + a, j + b);
            let middle = |n: i64, c: f64| (n as f64 + 0.5 + shaken * (c - 0.5)) * pitch;
            f64::hypot(x - middle(u, chance(u, v)), y - middle(v, chance(u + 71, v - 13))) < radius
        })
    });
    inside != dark
}

/// Whether a place lies on a border of the scene, within half a line's width.
fn on_border(x: f64, y: f64, tone: &impl Fn(f64, f64) -> f64) -> bool {
    let here = tone(x, y);
    (0..8).any(|k| {
        let (s, c) = (f64::from(k) * std::f64::consts::FRAC_PI_4).sin_cos();
        (tone(x + 0.2 * c, y + 0.2 * s) - here).abs() > 1.0
    })
}

/// A scene of tones in L* made in one way.
fn made(how: Made, width_mm: f64, height_mm: f64, tone: impl Fn(f64, f64) -> f64) -> GrayImage {
    let fine = 5;
    let size = |mm: f64| (mm * f64::from(SCALE)) as u32;
    let inked = |x: f64, y: f64| -> f64 {
        let cover = 1.0 - reflectance(tone(x, y));
        let ink = match how {
            Made::Hatch | Made::HatchHolding => stroke(x, y, cover),
            Made::Stipple => dotted(x, y, cover, 0.8, 0.7),
            Made::Screen => dotted(0.8 * x + 0.6 * y, 0.8 * y - 0.6 * x, cover, 0.5, 0.0),
            _ => return 1.0 - cover,
        };
        if ink { 0.0 } else { 1.0 }
    };
    let light = |x: f64, y: f64| {
        let lined = matches!(how, Made::Holding | Made::HatchHolding);
        if lined && on_border(x, y, &tone) { 0.02 } else { inked(x, y) }
    };
    let mean = |x: u32, y: u32| {
        let at = |p: u32, i: u32| (f64::from(p) + (f64::from(i) + 0.5) / f64::from(fine)) / f64::from(SCALE);
        let sum: f64 = (0..fine * fine).map(|i| light(at(x, i % fine), at(y, i / fine))).sum();
        let mean = sum / f64::from(fine * fine);
        match how {
            Made::Grain => mean * (1.0 + 0.06 * noise(i64::from(x), i64::from(y))),
            // A tenth less light in one corner, and noise.
            Made::Photo => {
                let gone =
                    f64::hypot(f64::from(x) / f64::from(SCALE), f64::from(y) / f64::from(SCALE)) / 120.0;
                mean * (1.0 - 0.1 * gone * gone) * (1.0 + 0.02 * noise(i64::from(x), i64::from(y)))
            }
            _ => mean,
        }
    };
    let picture = grey(size(width_mm), size(height_mm), |x, y| mean(x, y).clamp(0.0, 1.0));
    if how == Made::Photo { imageops::blur(&picture, 1.2) } else { picture }
}

const PLAIN: [&str; 4] = ["--tone-range", "0,100", "--breaks", "80,60,40,20"];

fn drawn(name: &str, picture: &GrayImage, more: &[&str]) -> Drawn {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let options: Vec<&str> = PLAIN.iter().chain(more).copied().collect();
    draw(picture, folder.path(), name, f64::from(picture.width()) / f64::from(SCALE), &options)
}

#[test]
fn an_even_tone_gives_no_line_however_it_is_made() {
    for how in ALL {
        // The middle of each value, but paper and black, that have no texture.
        for lightness in [70.0, 50.0, 30.0] {
            let picture = made(how, 60.0, 45.0, |_, _| lightness);
            let lines = drawn(&format!("{how:?}-{lightness}"), &picture, &["--plainness", "0"]);
            let mm = lines.length_mm();
            assert!(mm < 1e-9, "{how:?}, L* {lightness}: {mm:.1} mm of line in an even tone");
        }
    }
}

/// Half a pixel to the right: each pixel the mean of itself and its left neighbour.
fn half_aside(picture: &GrayImage) -> GrayImage {
    GrayImage::from_fn(picture.width(), picture.height(), |x, y| {
        let [a, b] = [x.saturating_sub(1), x].map(|x| u16::from(picture.get_pixel(x, y).0[0]));
        Luma([(a + b).div_ceil(2) as u8])
    })
}

/// Points of a drawing, put back by `back`, away from the picture's edge.
fn inner(drawn: &Drawn, back: impl Fn(Point) -> Point) -> Vec<Point> {
    let rim = 0.5;
    let inside = |p: &Point| p.x > rim && p.y > rim && p.x < WIDTH - rim && p.y < HEIGHT - rim;
    drawn.samples().into_iter().map(back).filter(inside).collect()
}

fn the_same_changed(how: Made) {
    let picture = made(how, WIDTH, HEIGHT, scene);
    let first = drawn("first", &picture, &[]);
    let first = inner(&first, |p| p);
    assert!(first.len() > 2000, "{how:?} is drawn");
    type Back = fn(Point) -> Point;
    let changes: [(&str, GrayImage, Back); 4] = [
        ("turned", imageops::rotate90(&picture), |p| Point::new(p.y, HEIGHT - p.x)),
        ("mirrored", imageops::flip_horizontal(&picture), |p| Point::new(WIDTH - p.x, p.y)),
        ("moved", half_aside(&picture), |p| Point::new(p.x - 0.5 / f64::from(SCALE), p.y)),
        (
            "twice as large",
            imageops::resize(
                &picture,
                2 * picture.width(),
                2 * picture.height(),
                imageops::FilterType::Triangle,
            ),
            |p| Point::new(p.x, p.y),
        ),
    ];
    for (what, changed, back) in changes {
        let folder = tempfile::tempdir().expect("a scratch folder");
        let width_mm = if what == "turned" { HEIGHT } else { WIDTH };
        let second = draw(&changed, folder.path(), "second", width_mm, &PLAIN);
        let far = apart(&first, &inner(&second, back));
        assert!(far < how.same_mm(), "{how:?} {what}: the net lies {far:.3} mm off");
    }
}

macro_rules! the_same_changed {
    ($($name:ident: $how:ident),*) => {
        $(#[test]
        fn $name() {
            the_same_changed(Made::$how);
        })*
    };
}

the_same_changed! {
    flat_tones_change_nothing: Flat,
    grain_changes_nothing: Grain,
    a_photograph_changes_nothing: Photo,
    hatching_changes_nothing: Hatch,
    stipple_changes_nothing: Stipple,
    a_screen_changes_nothing: Screen,
    holding_lines_change_nothing: Holding,
    hatching_with_lines_changes_nothing: HatchHolding
}

fn cubics(drawn: &Drawn) -> Vec<CubicBez> {
    drawn.lines.iter().flat_map(|l| l.path.segments()).map(|s| s.to_cubic()).collect()
}

#[test]
fn plainer_nets_lie_on_finer_ones_however_the_picture_is_made() {
    for how in ALL {
        let picture = made(how, WIDTH, HEIGHT, scene);
        let mut finer: Option<Drawn> = None;
        for plainness in ["0", "25", "50", "75", "100"] {
            let plainer = drawn("plainer", &picture, &["--plainness", plainness, "--thin", "none"]);
            if let Some(finer) = finer {
                let stray = strays(&cubics(&plainer), &cubics(&finer));
                assert!(stray.is_none(), "{how:?}, plainness {plainness}: off the finer net at {stray:?}");
                assert!(plainer.length_mm() <= finer.length_mm() + 1e-2, "{how:?}: more plain, more line");
            }
            finer = Some(plainer);
        }
    }
}
