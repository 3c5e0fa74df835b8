//! What ink on paper reflects, from the trade's and the printer's books, and what merestone reads.

use merestone::colour::{lightness, reflectance};
use merestone::raster::Raster;
use merestone::tone::{self, BreakRule, PitchRule, ReferenceKind, ToneOptions, ToneRange};

const PX_PER_MM: f64 = 10.0;
const SIDE: usize = 480;

/// Sets of parallel lines, `width` wide and `pitch` apart in mm, at some angles in degrees: ideal ink on ideal paper.
fn crossed(width: f64, pitch: f64, angles: &[f64]) -> Raster<f32> {
    let fine = 6;
    let mut light = Vec::with_capacity(SIDE * SIDE);
    for i in 0..SIDE * SIDE {
        let at = |p: usize, k: usize| (p as f64 + (k as f64 + 0.5) / fine as f64) / PX_PER_MM;
        let paper = (0..fine * fine).filter(|k| {
            let (x, y) = (at(i % SIDE, k % fine), at(i / SIDE, k / fine));
            angles.iter().all(|degrees| {
                let (s, c) = degrees.to_radians().sin_cos();
                ((y * c - x * s) / pitch).rem_euclid(1.0) * pitch >= width
            })
        });
        light.push(paper.count() as f32 / (fine * fine) as f32);
    }
    Raster::from_vec(SIDE, SIDE, light)
}

/// L* that the tone stage reads in the middle of a picture, as a median.
fn read(light: &Raster<f32>) -> f64 {
    let options = ToneOptions {
        values: 5,
        breaks: BreakRule::Even,
        tone_range: ToneRange::Fixed([0.0, 100.0]),
        kind: Some(ReferenceKind::Hatched),
        pitch: PitchRule::Measured,
    };
    let field = tone::measure(light, PX_PER_MM, &options).expect("a picture with tones").value;
    let (w, h) = (field.lightness.width(), field.lightness.height());
    let inner = (h / 4..3 * h / 4).flat_map(|y| (w / 4..3 * w / 4).map(move |x| (x, y)));
    let mut found: Vec<f64> = inner.map(|(x, y)| f64::from(field.lightness.at(x, y))).collect();
    found.sort_by(f64::total_cmp);
    found[found.len() / 2]
}

/// Half ink on ideal paper reflects Y 0.5 (Murray & Davies 1936), which is L* 76.07 (CIE 15); not L* 53, which the mean
/// of encoded samples (IEC 61966-2-1) would give.
#[test]
fn half_ink_reads_as_half_the_light() {
    assert!((lightness(0.5) - 76.069).abs() < 0.001, "{}", lightness(0.5));
    let got = read(&crossed(0.5, 1.0, &[30.0]));
    assert!((got - 76.07).abs() < 0.5, "half ink reads L* {got:.2}");
}

/// n sets of lines of width w at pitch p cover 1 - (1 - w / p)^n at any angles (Demichel's overlap 1924, as cited by
/// Neugebauer 1937; not where sets at 60 degrees make one pattern of triangles); reflectance is then that of the paper left (Murray & Davies 1936), within 1 %.
#[test]
fn crossed_hatching_reads_by_demichel_and_murray_davies() {
    for (width, pitch) in [(0.2_f64, 0.8_f64), (0.3, 1.0), (0.4, 1.3)] {
        for angles in [&[20.0][..], &[20.0, 80.0], &[20.0, 75.0, 137.0], &[20.0, 66.0, 109.0, 157.0]] {
            let wanted = (1.0 - width / pitch).powi(angles.len() as i32);
            let got = reflectance(read(&crossed(width, pitch, angles)));
            assert!(
                (got - wanted).abs() < 0.01,
                "{} sets of {width} mm at {pitch} mm reflect {got:.4}, not {wanted:.4}",
                angles.len()
            );
        }
    }
}

/// A mid grey of value 3 (L* 50 on even steps of five) with a fifth of it solid black reads near 3.25: light adds, not
/// values. In closed form: L*(0.8 Y(50)) = 45.27, which lies 0.237 of a step of 20 below.
#[test]
fn a_fifth_of_black_moves_the_mid_grey_by_a_quarter_value() {
    let mid = reflectance(50.0);
    let mut light = crossed(0.2, 1.0, &[25.0]);
    for share in light.data_mut() {
        *share = (mid * f64::from(*share)) as f32;
    }
    let value = |l: f64| 3.0 + (50.0 - l) / 20.0;
    let in_closed_form = value(lightness(0.8 * mid));
    assert!((in_closed_form - 3.237).abs() < 0.001, "{in_closed_form}");
    let got = value(read(&light));
    assert!((got - 3.25).abs() < 0.03, "it reads {got:.3}");
}
