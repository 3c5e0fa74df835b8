//! Tone maths against the standards: IEC 61966-2-1, CIE 15, ASTM D1535, and the `palette` crate.

use merestone::colour;
use palette::white_point::D65;
use palette::{FromColor, Lab, LinSrgb, Srgb, Xyz};

#[test]
fn srgb_transfer_has_the_standard_values() {
    // IEC 61966-2-1: encoded/12.92 up to 0.04045, ((encoded + 0.055)/1.055)^2.4 above. The figures are
    // those formulas to seven places; 188 is the code nearest to half the light.
    for (code, linear) in [
        (0.0, 0.0),
        (1.0, 0.000_303_5),
        (10.0, 0.003_035_3),
        (11.0, 0.003_346_5),
        (64.0, 0.051_269_5),
        (128.0, 0.215_860_5),
        (188.0, 0.502_886_5),
        (255.0, 1.0),
    ] {
        let got = colour::srgb_to_linear(code / 255.0);
        assert!((got - linear).abs() < 1e-6, "code {code}: {got}, {linear} was expected");
    }
}

#[test]
fn srgb_transfer_goes_there_and_back() {
    for code in 0..=255_u8 {
        let encoded = f64::from(code) / 255.0;
        let back = colour::linear_to_srgb(colour::srgb_to_linear(encoded));
        assert!((back - encoded).abs() < 1e-6, "code {code} came back as {back}");
    }
}

#[test]
fn srgb_transfer_agrees_with_palette() {
    for code in 0..=255_u8 {
        let encoded = f64::from(code) / 255.0;
        let theirs: LinSrgb<f64> = Srgb::new(encoded, encoded, encoded).into_linear();
        let ours = colour::srgb_to_linear(encoded);
        assert!((ours - theirs.red).abs() < 1e-9, "code {code}: {ours}, palette {}", theirs.red);
    }
}

#[test]
fn lightness_has_the_standard_values() {
    // CIE 15: L* = 116 (Y/Yn)^(1/3) - 16 above (6/29)^3, and (29/3)^3 Y/Yn below; the first row is where they meet.
    for (y, l) in [
        (216.0 / 24_389.0, 8.0),
        (0.0, 0.0),
        (0.001, 0.903_296),
        (0.01, 8.991_442),
        (0.184_186_5, 50.0),
        (0.5, 76.069_261),
        (1.0, 100.0),
    ] {
        let got = colour::lightness(y);
        assert!((got - l).abs() < 1e-4, "Y {y}: L* {got}, {l} was expected");
        assert!((f64::from(colour::lightness_f32(y as f32)) - l).abs() < 3e-5, "Y {y} in f32");
        assert!((colour::reflectance(l) - y).abs() < 1e-5, "L* {l}: Y {}", colour::reflectance(l));
    }
}

#[test]
fn lightness_agrees_with_palette() {
    for i in 0..=1000 {
        let y = f64::from(i) / 1000.0;
        let theirs: Lab<D65, f64> = Lab::from_color(Xyz::<D65, f64>::new(0.950_47 * y, y, 1.088_83 * y));
        let ours = colour::lightness(y);
        assert!((ours - theirs.l).abs() < 1e-6, "Y {y}: L* {ours}, palette {}", theirs.l);
    }
}

#[test]
fn luminance_weights_agree_with_palette() {
    let ours: [f64; 3] = colour::LUMINANCE_WEIGHTS.map(f64::from);
    let primaries = [LinSrgb::new(1.0, 0.0, 0.0), LinSrgb::new(0.0, 1.0, 0.0), LinSrgb::new(0.0, 0.0, 1.0)];
    for (weight, primary) in ours.iter().zip(primaries) {
        let theirs = Xyz::<D65, f64>::from_color(primary).y;
        assert!((weight - theirs).abs() < 1e-4, "weight {weight}, palette {theirs}");
    }
    assert!((ours.iter().sum::<f64>() - 1.0).abs() < 1e-6, "white has to reflect 1");
}

/// Luminance factor in per cent of a Munsell value: the quintic of ASTM D1535.
///
/// These coefficients are against the perfect reflecting diffuser (value 10 gives 100 %). The polynomial
/// of 1943 (Newhall, Nickerson & Judd) is against magnesium oxide and gives 102.57 % there; the two differ
/// by the factor 0.975.
fn munsell_luminance(value: f64) -> f64 {
    let coefficients = [1.1914, -0.225_33, 0.233_52, -0.020_484, 0.000_819_39];
    coefficients.iter().rev().fold(0.0, |sum, c| (sum + c) * value)
}

/// The value whose luminance factor that is, by halving.
fn munsell_value(luminance: f64) -> f64 {
    let (mut low, mut high) = (0.0, 10.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if munsell_luminance(middle) < luminance { low = middle } else { high = middle }
    }
    low
}

#[test]
fn lightness_follows_munsell_value() {
    // Luminance factors of the renotation of 1943, per cent of magnesium oxide (table from memory).
    let published = [1.210, 3.126, 6.555, 12.00, 19.77, 30.05, 43.06, 59.10, 78.66];
    for (i, against_oxide) in published.iter().enumerate() {
        let value = (i + 1) as f64;
        let luminance = against_oxide * 0.975;
        let inverted = munsell_value(luminance);
        assert!((inverted - value).abs() < 0.01, "Y {luminance} % inverts to value {inverted}, not {value}");
        // L* was made so that it runs along ten times Munsell value (CIE 15 notes; within 1.1 for 1 to 9).
        let l = colour::lightness(luminance / 100.0);
        assert!((l - 10.0 * value).abs() < 1.1, "value {value} has L* {l}");
    }
    assert!((munsell_luminance(10.0) - 100.0).abs() < 0.01, "value 10 is the perfect diffuser");
}
