//! What must not change the lines, and what must give none: no truth is needed to see that these fail.

use std::path::Path;

use image::{GrayImage, imageops};
use kurbo::Point;

use crate::drawn::{Drawn, apart, draw, draw_file, grey, reflectance};

/// The flat scene: width and height in mm, and pixels to a mm.
pub(crate) const WIDTH: f64 = 96.0;
pub(crate) const HEIGHT: f64 = 72.0;
const SCALE: u32 = 8;
/// Explicit breaks, so that no setting depends on how often a tone occurs.
const PLAIN: [&str; 4] = ["--tone-range", "0,100", "--breaks", "80,60,40,20"];
/// How far the same net may be from itself, in mm (98 % of the line).
const SAME_MM: f64 = 0.1;

/// Lightness at a place in mm: discs, a bar, a lobed shape and a slanting horizon, each of one flat tone.
pub(crate) fn scene(x: f64, y: f64) -> f64 {
    let disc = |cx: f64, cy: f64, r: f64| f64::hypot(x - cx, y - cy) < r;
    if disc(24.0, 22.0, 12.0) {
        return if y < 22.0 + 0.2 * (x - 24.0) { 92.0 } else { 30.0 };
    }
    if disc(66.0, 46.0, 15.0 + 2.5 * (4.0 * (y - 46.0).atan2(x - 66.0)).cos()) {
        return if disc(69.0, 45.0, 5.0) { 91.0 } else { 11.0 };
    }
    let (u, v) = (0.9 * (x - 28.0) + 0.436 * (y - 54.0), 0.9 * (y - 54.0) - 0.436 * (x - 28.0));
    if u.abs() < 13.0 && v.abs() < 5.0 {
        return 31.0;
    }
    if y > 36.0 + 0.15 * x - 8.0 * (-((x - 50.0) / 18.0).powi(2)).exp() { 52.0 } else { 71.0 }
}

/// The scene at `scale` pixels a mm, its content moved by (`dx`, `dy`) mm.
fn picture(scale: u32, dx: f64, dy: f64) -> GrayImage {
    let fine = 6;
    let size = |mm: f64| (mm * f64::from(scale)) as u32;
    grey(size(WIDTH), size(HEIGHT), |x, y| {
        let at = |p: u32, i: u32| (f64::from(p) + (f64::from(i) + 0.5) / f64::from(fine)) / f64::from(scale);
        let sum: f64 =
            (0..fine * fine).map(|i| reflectance(scene(at(x, i % fine) - dx, at(y, i / fine) - dy))).sum();
        sum / f64::from(fine * fine)
    })
}

/// Samples away from the picture's edge, where a shifted picture shows something else.
fn inner(points: Vec<Point>) -> Vec<Point> {
    let rim = 0.5;
    points.into_iter().filter(|p| p.x > rim && p.y > rim && p.x < WIDTH - rim && p.y < HEIGHT - rim).collect()
}

fn plain(folder: &Path, name: &str, picture: &GrayImage, width_mm: f64) -> Drawn {
    draw(picture, folder, name, width_mm, &PLAIN)
}

/// Asserts that a changed picture gives the same net once each of its points is put back by `back`.
fn same(what: &str, changed: &GrayImage, width_mm: f64, back: impl Fn(Point) -> Point) {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let first = plain(folder.path(), "first", &picture(SCALE, 0.0, 0.0), WIDTH);
    assert!(first.length_mm() > 300.0, "the scene has borders: {:.0} mm", first.length_mm());
    let other = plain(folder.path(), "changed", changed, width_mm);
    assert_eq!(first.lines.len(), other.lines.len(), "{what}: as many lines");
    let put_back = inner(other.samples().into_iter().map(back).collect());
    let off = apart(&inner(first.samples()), &put_back);
    assert!(off <= SAME_MM, "{what}: the lines lie {off:.3} mm apart");
}

#[test]
fn quarter_turns_turn_the_net() {
    let upright = picture(SCALE, 0.0, 0.0);
    // A quarter turn to the right takes (x, y) to (HEIGHT - y, x).
    same("a quarter turn right", &imageops::rotate90(&upright), HEIGHT, |p| Point::new(p.y, HEIGHT - p.x));
    same("a half turn", &imageops::rotate180(&upright), WIDTH, |p| Point::new(WIDTH - p.x, HEIGHT - p.y));
    same("a quarter turn left", &imageops::rotate270(&upright), HEIGHT, |p| Point::new(WIDTH - p.y, p.x));
}

#[test]
fn a_mirror_mirrors_the_net() {
    let mirrored = imageops::flip_horizontal(&picture(SCALE, 0.0, 0.0));
    same("mirrored", &mirrored, WIDTH, |p| Point::new(WIDTH - p.x, p.y));
}

#[test]
fn half_a_pixel_aside_moves_the_net_by_half_a_pixel() {
    let half = 0.5 / f64::from(SCALE);
    same("half a pixel aside", &picture(SCALE, half, half), WIDTH, |p| Point::new(p.x - half, p.y - half));
}

#[test]
fn twice_the_pixels_give_the_same_net() {
    same("twice the pixels", &picture(2 * SCALE, 0.0, 0.0), WIDTH, |p| p);
}

#[test]
fn drawing_a_value_map_gives_its_own_net_back() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let map = folder.path().join("map.png");
    let mut more: Vec<&str> = PLAIN.to_vec();
    more.extend(["--value-map", map.to_str().expect("a plain path")]);
    let first = draw(&picture(SCALE, 0.0, 0.0), folder.path(), "first", WIDTH, &more);
    // The map's pixel is its value's number; each is painted in the middle of its step of lightness.
    let values = indices(&map);
    let (w, h) = (values.0, values.1.len() as u32 / values.0);
    let flat = grey(w, h, |x, y| {
        let value = values.1[(y * w + x) as usize];
        assert!((1..=5).contains(&value), "{value} is no value");
        reflectance(110.0 - 20.0 * f64::from(value))
    });
    let reference = folder.path().join("flat.png");
    flat.save(&reference).expect("the flat picture can be written");
    let again = draw_file(&reference, folder.path(), "again", WIDTH, HEIGHT / WIDTH, &PLAIN);
    assert_eq!(first.lines.len(), again.lines.len(), "as many lines as before");
    // The map is a staircase: what was placed between pixels is known to half a pixel of the map only.
    let pixel = WIDTH / f64::from(w);
    let off = apart(&inner(first.samples()), &inner(again.samples()));
    assert!(off <= SAME_MM.max(0.5 * pixel), "the map's own net lies {off:.3} mm from the first");
}

/// Width and palette indices of a value map, by the `png` crate (which does not expand the palette).
fn indices(path: &Path) -> (u32, Vec<u8>) {
    let file = std::io::BufReader::new(std::fs::File::open(path).expect("the value map was written"));
    let mut reader = png::Decoder::new(file).read_info().expect("the value map is a PNG");
    assert_eq!(reader.info().color_type, png::ColorType::Indexed, "a value map has a palette");
    assert_eq!(reader.info().bit_depth, png::BitDepth::Eight, "a value map has 8 bits a pixel");
    let mut data = vec![0; reader.output_buffer_size().expect("a size")];
    let info = reader.next_frame(&mut data).expect("the value map can be decoded");
    data.truncate(info.buffer_size());
    (info.width, data)
}

/// Even hatching by an unsteady hand that covers a share `cover` of the paper: 60 mm square, one tone.
fn hatching(cover: f64, pitch: f64, crossed: bool) -> GrayImage {
    let (side, scale, fine) = (60.0, 12u32, 4u32);
    let sets: &[f64] = if crossed { &[0.5, 1.7] } else { &[0.5] };
    let each = 1.0 - (1.0 - cover).powf(1.0 / sets.len() as f64);
    let ink = |x: f64, y: f64| {
        sets.iter().any(|angle| {
            let (s, c) = f64::sin_cos(*angle);
            let (on, off) = (x * c + y * s, y * c - x * s);
            let row = (off / pitch).floor();
            // Strokes wander by a twelfth of the pitch, each in its own way, and press by a tenth more or less.
            let wander = (on / 4.3 + 2.4 * row).sin() + 0.6 * (on / 1.7 + 5.1 * row).sin();
            let press = 1.0 + 0.1 * (on / 6.1 + 3.3 * row).sin();
            let place = (off / pitch).rem_euclid(1.0) - 0.5 + 0.05 * wander;
            place.abs() < 0.5 * each * press
        })
    };
    let pixels = (side * f64::from(scale)) as u32;
    grey(pixels, pixels, |x, y| {
        let at = |p: u32, i: u32| (f64::from(p) + (f64::from(i) + 0.5) / f64::from(fine)) / f64::from(scale);
        let inked = (0..fine * fine).filter(|i| ink(at(x, i % fine), at(y, i / fine))).count();
        1.0 - inked as f64 / f64::from(fine * fine)
    })
}

#[test]
fn even_hatching_gives_no_line() {
    let folder = tempfile::tempdir().expect("a scratch folder");
    let even = ["--tone-range", "0,100", "--breaks", "even", "--values", "5"];
    // L* of the mean: 94, 90, 71, 50, 30, well inside values 1, 1, 2, 3 and 4 (breaks at 80, 60, 40, 20).
    let cases =
        [(0.15, 1.0, false), (0.24, 1.0, false), (0.58, 0.9, false), (0.816, 0.9, true), (0.938, 0.9, true)];
    for (i, (cover, pitch, crossed)) in cases.into_iter().enumerate() {
        let drawn = draw(&hatching(cover, pitch, crossed), folder.path(), &format!("null-{i}"), 60.0, &even);
        let length = drawn.length_mm();
        assert!(length <= 0.0, "hatching that covers {cover} of the paper gave {length:.1} mm of line");
    }
}

#[test]
fn even_hatching_gives_no_line_with_fitted_breaks() {
    // Fitting must not split one tone into several values because it was asked for five.
    let folder = tempfile::tempdir().expect("a scratch folder");
    for (i, (cover, crossed)) in [(0.3, false), (0.75, true)].into_iter().enumerate() {
        let drawn = draw(&hatching(cover, 1.0, crossed), folder.path(), &format!("fitted-{i}"), 60.0, &[]);
        let length = drawn.length_mm();
        assert!(length <= 0.0, "hatching that covers {cover} of the paper gave {length:.1} mm of line");
    }
}
