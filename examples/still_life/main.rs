//! Renders an invented still life as plain tones and as hatched ink: the reference that the README starts from.
//!
//! `cargo run --release --example still_life -- [FOLDER]` writes `still-life-tonal.png` and
//! `still-life-hatched.png` to FOLDER (default `examples`). The same bytes come out each time.

mod ink;
mod scene;
mod vector;

use std::error::Error;
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder};
use rayon::prelude::*;

use scene::{Eye, Seen};

/// The picture is 170 mm x 200 mm at 10 pixels to a millimetre.
pub(crate) const PX_PER_MM: f64 = 10.0;
const WIDTH: usize = 1700;
const HEIGHT: usize = 2000;
/// Every unsteadiness of the hand follows from this.
const SEED: u64 = 1_906;

/// What is seen at each pixel, row by row.
pub(crate) struct Picture {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// Reflectance, 0 black to 1 paper.
    pub(crate) light: Vec<f64>,
    /// Which thing is there.
    pub(crate) thing: Vec<usize>,
    /// Whether it is flat.
    pub(crate) flat: Vec<bool>,
    /// Direction in which it is hatched.
    pub(crate) along: Vec<[f64; 2]>,
}

/// Looks once at every pixel, and nine times where its neighbours differ.
fn look(eye: &Eye) -> Picture {
    let at = |x: f64, y: f64| eye.look(x / WIDTH as f64, y / HEIGHT as f64);
    let once: Vec<Seen> = (0..WIDTH * HEIGHT)
        .into_par_iter()
        .map(|i| at((i % WIDTH) as f64 + 0.5, (i / WIDTH) as f64 + 0.5))
        .collect();
    let uneven = |i: usize| {
        let (x, y) = (i % WIDTH, i / WIDTH);
        let other =
            |j: usize| once[j].thing != once[i].thing || (once[j].light - once[i].light).abs() > 0.015;
        (x > 0 && other(i - 1))
            || (x + 1 < WIDTH && other(i + 1))
            || (y > 0 && other(i - WIDTH))
            || (y + 1 < HEIGHT && other(i + WIDTH))
    };
    let light = (0..WIDTH * HEIGHT)
        .into_par_iter()
        .map(|i| {
            if !uneven(i) {
                return once[i].light;
            }
            let (x, y) = ((i % WIDTH) as f64, (i / WIDTH) as f64);
            let mut sum = 0.0;
            for k in 0..9 {
                sum += at(x + (f64::from(k % 3) + 0.5) / 3.0, y + (f64::from(k / 3) + 0.5) / 3.0).light;
            }
            sum / 9.0
        })
        .collect();
    Picture {
        width: WIDTH,
        height: HEIGHT,
        light,
        thing: once.iter().map(|s| s.thing as usize).collect(),
        flat: once.iter().map(|s| s.thing.is_flat()).collect(),
        along: once.iter().map(|s| s.along).collect(),
    }
}

/// Writes reflectances as an 8-bit grey PNG; `levels` steps keep the file small.
fn write(path: &Path, light: &[f64], levels: f64) -> Result<(), Box<dyn Error>> {
    let grey: Vec<u8> = light
        .iter()
        .map(|&y| {
            let encoded = merestone::colour::linear_to_srgb(y.clamp(0.0, 1.0));
            ((encoded * levels).round() / levels * 255.0).round() as u8
        })
        .collect();
    let file = BufWriter::new(File::create(path).map_err(|e| format!("{}: {e}", path.display()))?);
    PngEncoder::new_with_quality(file, CompressionType::Best, FilterType::Adaptive).write_image(
        &grey,
        WIDTH as u32,
        HEIGHT as u32,
        ExtendedColorType::L8,
    )?;
    Ok(())
}

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args_os().nth(1).map_or_else(|| PathBuf::from("examples"), PathBuf::from);
    std::fs::create_dir_all(&folder)?;
    let picture = look(&Eye::new(HEIGHT as f64 / WIDTH as f64));
    write(&folder.join("still-life-tonal.png"), &picture.light, 255.0)?;
    let paper: Vec<f64> = ink::ink(&picture, SEED).iter().map(|c| 1.0 - c).collect();
    write(&folder.join("still-life-hatched.png"), &paper, 15.0)
}
