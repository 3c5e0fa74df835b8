//! debug
use merestone::{raster::Raster, tone::*, colour};
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let im = image::open(&a[1]).unwrap().to_luma8();
    let (w, h) = im.dimensions();
    let ppm: f64 = a[2].parse().unwrap();
    let y: Vec<f32> = im.as_raw().iter().map(|&v| colour::srgb_to_linear(f64::from(v) / 255.0) as f32).collect();
    let r = Raster::from_vec(w as usize, h as usize, y);
    let t = std::time::Instant::now();
    let f = measure(&r, ppm, &ToneOptions { breaks: BreakRule::Even, tone_range: ToneRange::Fixed([0.0, 100.0]), ..Default::default() }).unwrap().value;
    eprintln!("width {} uneven {} pitch {:?} {:?}", f.mean_width_mm, f.unevenness, f.pitch_mm, t.elapsed());
    let out: Vec<u8> = f.lightness.data().iter().map(|&l| (l * 2.55) as u8).collect();
    image::save_buffer(&a[3], &out, w, h, image::ExtendedColorType::L8).unwrap();
}
