//! Reading a reference: every format and kind, against figures that other libraries give.
//!
//! The pictures and `expected.json` are made by `tests/data/make_fixtures.py` with Pillow, littlecms,
//! OpenCV, tifffile and NumPy; the versions used are in the file.

use std::fs;
use std::path::{Path, PathBuf};

use merestone::colour;
use merestone::notes::Noted;
use merestone::raster::Raster;
use merestone::reference::{ReadOptions, Reference, ReferenceError, read_bytes, read_file, resample};
use proptest::prelude::*;
use serde_json::Value;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

fn json(name: &str) -> Value {
    let text = fs::read_to_string(data(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{name}: {e}"))
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().map(|a| a.iter().filter_map(Value::as_f64).collect()).unwrap_or_default()
}

fn read(name: &str) -> Noted<Reference> {
    read_file(&data(name), &ReadOptions::default()).unwrap_or_else(|e| panic!("{e}"))
}

fn refusal(bytes: &[u8]) -> ReferenceError {
    match read_bytes(bytes, "odd.file", &ReadOptions::default()) {
        Ok(_) => panic!("a file that should be refused was read"),
        Err(e) => e,
    }
}

/// The figures of one picture, compared.
fn agree(name: &str, want: &Value) {
    let got = read(name).value;
    let (width, height) = (got.luminance.width() as u64, got.luminance.height() as u64);
    assert_eq!(Some(width), want["width"].as_u64(), "{name}: width");
    assert_eq!(Some(height), want["height"].as_u64(), "{name}: height");
    assert_eq!(Some(u64::from(got.bits)), want["bits"].as_u64(), "{name}: bits");
    assert_eq!(got.profile.as_deref(), want["profile"].as_str(), "{name}: profile");
    let ppi = numbers(&want["ppi"]);
    match got.pixels_per_inch {
        None => assert!(ppi.is_empty(), "{name}: states {ppi:?} and nothing was read"),
        Some(p) => {
            assert_eq!(ppi.len(), 2, "{name}: states no resolution and {p:?} was read");
            assert!(
                p.iter().zip(&ppi).all(|(a, b)| (a - b).abs() < 1e-3),
                "{name}: states {ppi:?}, read {p:?}"
            );
        }
    }
    let tolerance = want["tolerance"].as_f64().unwrap_or(0.0);
    let values = numbers(&want["luminance"]);
    assert_eq!(values.len(), got.luminance.data().len(), "{name}: samples");
    for (i, (g, w)) in got.luminance.data().iter().zip(&values).enumerate() {
        let off = (f64::from(*g) - w).abs();
        assert!(off <= tolerance, "{name}: sample {i} is {g}, {w} was expected, tolerance {tolerance}");
    }
    // Lossy decoders may differ by pixel; on average they may not.
    let mean = |v: &mut dyn Iterator<Item = f64>| v.sum::<f64>() / values.len() as f64;
    let off =
        mean(&mut got.luminance.data().iter().map(|&v| f64::from(v))) - mean(&mut values.iter().copied());
    assert!(off.abs() <= tolerance.min(0.004), "{name}: the mean is off by {off}");
}

#[test]
fn every_fixture_agrees_with_other_libraries() {
    let expected = json("expected.json");
    let pictures = expected["pictures"].as_object().map(|o| o.iter().collect::<Vec<_>>()).unwrap_or_default();
    assert!(pictures.len() > 50, "only {} pictures in expected.json", pictures.len());
    let failed: Vec<String> = pictures
        .iter()
        .filter_map(|(name, want)| {
            std::panic::catch_unwind(|| agree(name, want)).err().map(|_| (*name).clone())
        })
        .collect();
    assert!(failed.is_empty(), "these disagree: {failed:?}");
}

/// Pictures that are refused, and a word that the sentence has to hold.
const REFUSED: [(&str, &str); 5] = [
    ("inks-unknown.jpg", "without a colour profile"),
    ("inks-unknown.tif", "without a colour profile"),
    ("inks-wrong-profile.jpg", "cannot be used"),
    ("palette.tif", "of a kind that is not read"),
    ("lab.tif", "of a kind that is not read"),
];

#[test]
fn what_cannot_be_read_rightly_is_refused() {
    for (name, words) in REFUSED {
        let text = match read_file(&data(name), &ReadOptions::default()) {
            Ok(_) => panic!("{name} was read"),
            Err(e) => e.to_string(),
        };
        assert!(text.contains(name) && text.contains(words), "{name}: {text}");
        assert!(!text.contains('\n'), "{name}: one sentence on one line: {text}");
    }
}

#[test]
fn a_broken_profile_is_told() {
    let notes = read("broken-profile.png").notes;
    assert!(notes.len() == 1 && notes[0].contains("sRGB"), "the note should tell of sRGB: {notes:?}");
    assert!(read("wide.png").notes.is_empty(), "a sound profile needs no note");
}

#[test]
fn nothing_missing_empty_or_foreign_is_taken_for_a_picture() {
    let folder = tempfile::tempdir().unwrap_or_else(|e| panic!("no temporary folder: {e}"));
    let options = ReadOptions::default();
    let missing = folder.path().join("missing.jpg");
    assert!(matches!(read_file(&missing, &options), Err(ReferenceError::Missing { .. })), "a missing file");
    assert!(matches!(read_file(folder.path(), &options), Err(ReferenceError::Directory { .. })), "a folder");
    for (name, bytes) in
        [("empty.png", ""), ("text.jpg", "BM is how this text begins, and it goes on"), ("short", "x")]
    {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
        let error = match read_file(&path, &options) {
            Ok(_) => panic!("{name} was read"),
            Err(e) => e,
        };
        assert!(error.to_string().contains(name), "the sentence names the file: {error}");
        let right = if bytes.is_empty() {
            matches!(error, ReferenceError::Empty { .. })
        } else {
            matches!(error, ReferenceError::NotAPicture { .. })
        };
        assert!(right, "{name}: {error}");
    }
    for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let read = read_bytes(b"x", "x", &ReadOptions { max_megapixels: bad });
        assert!(matches!(read, Err(ReferenceError::BadLimit { .. })), "a limit of {bad} was taken");
    }
}

/// Headers that announce 60000 x 60000 pixels, with nothing behind them.
fn huge_headers() -> Vec<(&'static str, Vec<u8>)> {
    let side = 60_000_u32;
    let mut png = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR".to_vec();
    png.extend(side.to_be_bytes());
    png.extend(side.to_be_bytes());
    png.extend([8, 2, 0, 0, 0, 0, 0, 0, 0]);
    let jpeg = vec![0xFF, 0xD8, 0xFF, 0xC0, 0, 11, 8, 0xEA, 0x60, 0xEA, 0x60, 1, 1, 0x11, 0, 0xFF, 0xD9];
    let mut bmp = b"BM\0\0\0\0\0\0\0\0\x36\0\0\0\x28\0\0\0".to_vec();
    bmp.extend(side.to_le_bytes());
    bmp.extend(side.to_le_bytes());
    bmp.extend([1, 0, 24, 0]);
    bmp.extend([0; 24]);
    let gif = b"GIF89a\x60\xEA\x60\xEA\0\0\0".to_vec();
    let mut tiff = b"II*\0\x08\0\0\0\x06\0".to_vec();
    for (tag, value) in [(256_u16, side), (257, side), (258, 8), (262, 1), (273, 8), (279, 1)] {
        tiff.extend(tag.to_le_bytes());
        tiff.extend([4, 0, 1, 0, 0, 0]);
        tiff.extend(value.to_le_bytes());
    }
    tiff.extend([0; 4]);
    vec![("PNG", png), ("JPEG", jpeg), ("BMP", bmp), ("GIF", gif), ("TIFF", tiff)]
}

#[test]
fn a_bomb_is_refused_by_its_header() {
    for (kind, bytes) in huge_headers() {
        let text = refusal(&bytes).to_string();
        for words in ["odd.file", "60000 x 60000", "400 megapixels", "--max-megapixels 3600"] {
            assert!(text.contains(words), "{kind}: {words:?} is not in: {text}");
        }
    }
    // WebP goes through its decoder's header: a real one and a small limit.
    let small = ReadOptions { max_megapixels: 0.000_05 };
    for name in ["plain.webp", "plain.png", "plain.jpg", "plain.tif", "plain.bmp", "plain.gif"] {
        let refused = matches!(read_file(&data(name), &small), Err(ReferenceError::TooManyPixels { .. }));
        assert!(refused, "{name} passed a limit of 50 pixels");
    }
}

#[test]
fn a_cut_off_file_is_refused_or_whole() {
    let expected = json("expected.json");
    let names: Vec<&String> =
        expected["pictures"].as_object().map(|o| o.keys().collect()).unwrap_or_default();
    for name in names {
        let bytes = fs::read(data(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
        let whole = read(name).value;
        let step = (bytes.len() / 150).max(1);
        for length in (0..bytes.len()).rev().step_by(step) {
            match read_bytes(&bytes[..length], name, &ReadOptions::default()) {
                Err(e) => assert!(e.to_string().contains(name.as_str()), "{name} cut to {length}: {e}"),
                Ok(cut) => {
                    assert!(
                        cut.value.luminance == whole.luminance,
                        "{name} cut to {length} reads, but differently"
                    );
                }
            }
        }
        if name.ends_with(".jpg") || name.ends_with(".webp") {
            let cut = read_bytes(&bytes[..bytes.len() - 2], name, &ReadOptions::default());
            assert!(
                matches!(cut, Err(ReferenceError::Truncated { .. })),
                "{name} without its end: {:?}",
                cut.err()
            );
        }
        if name.ends_with(".png") {
            let cut = read_bytes(&bytes[..bytes.len() * 2 / 3], name, &ReadOptions::default());
            assert!(
                matches!(cut, Err(ReferenceError::Truncated { .. })),
                "{name} cut by a third: {:?}",
                cut.err()
            );
        }
    }
}

#[test]
fn a_scan_cut_off_and_closed_is_refused() {
    // Some programs close a cut-off file with an end marker; lenient decoders fill the rest with grey.
    let picture = image::RgbImage::from_fn(160, 120, |x, y| {
        let v = (x * 7 + y * 13 + x * y % 31) as u8;
        image::Rgb([v, v.wrapping_add(40), 255 - v])
    });
    let mut baseline = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut baseline, 90)
        .encode_image(&picture)
        .unwrap_or_else(|e| panic!("{e}"));
    let progressive = fs::read(data("progressive-noise.jpg")).unwrap_or_else(|e| panic!("{e}"));
    let options = ReadOptions::default();
    for (kind, bytes, shares) in [
        ("baseline", baseline, [0.3, 0.5, 0.7, 0.9, 0.97, 0.995]),
        // The last scan brings the last bit of lightness and is more than a quarter of the file: a cut in it
        // costs at most that bit and is not seen.
        ("progressive", progressive, [0.2, 0.25, 0.3, 0.35, 0.4, 0.5]),
    ] {
        assert!(read_bytes(&bytes, kind, &options).is_ok(), "{kind}: the whole picture has to be read");
        for share in shares {
            let mut cut = bytes[..(bytes.len() as f64 * share) as usize].to_vec();
            cut.extend([0xFF, 0xD9]);
            let refused = matches!(read_bytes(&cut, kind, &options), Err(ReferenceError::Truncated { .. }));
            assert!(refused, "{kind}: {share} of the file, closed, was not refused as cut off");
        }
    }
}

#[test]
fn the_digest_is_of_the_bytes() {
    // FIPS 180-4 by Python's hashlib, recorded by the script.
    let digests = &json("expected.json")["sha256"];
    for name in ["plain.bmp", "wide.jpg", "fax.tif"] {
        assert_eq!(Some(read(name).value.sha256.as_str()), digests[name].as_str(), "{name}");
    }
}

#[test]
fn threads_do_not_change_a_bit() {
    let work = || {
        let picture = read("wide.jpg").value.luminance;
        (resample(&picture, 13, 5), resample(&picture, 201, 33), picture)
    };
    let of = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        pool.unwrap_or_else(|e| panic!("no pool: {e}")).install(work)
    };
    let one = of(1);
    for threads in [2, 8] {
        assert!(of(threads) == one, "{threads} threads gave other samples than one");
    }
}

fn raster(figures: &Value, field: &str, width: usize, height: usize) -> Raster<f32> {
    Raster::from_vec(width, height, numbers(&figures[field]).iter().map(|&v| v as f32).collect())
}

fn size(value: &Value) -> (usize, usize) {
    (value["width"].as_u64().unwrap_or(0) as usize, value["height"].as_u64().unwrap_or(0) as usize)
}

#[test]
fn shrinking_agrees_with_opencv_area() {
    // OpenCV's INTER_AREA, in f32: figures in resample.json.
    let figures = json("resample.json");
    let source = raster(&figures, "source", 23, 17);
    let cases = figures["area"].as_array().cloned().unwrap_or_default();
    assert_eq!(cases.len(), 5, "cases in resample.json");
    for case in cases {
        let (width, height) = size(&case);
        let got = resample(&source, width, height);
        for (g, w) in got.data().iter().zip(numbers(&case["values"])) {
            assert!((f64::from(*g) - w).abs() < 3e-6, "{width} x {height}: {g}, OpenCV {w}");
        }
    }
}

#[test]
fn enlarging_agrees_with_pillow_cubic_inside() {
    // Pillow's BICUBIC (a = -0.5) on a smooth field; it treats edges otherwise, so two input samples are left out.
    let figures = json("resample.json");
    let (width, height) = size(&figures["cubic"]);
    let got = resample(&raster(&figures, "smooth", 23, 17), width, height);
    let want = numbers(&figures["cubic"]["values"]);
    let (mx, my) = (2 * width / 23 + 1, 2 * height / 17 + 1);
    for y in my..height - my {
        for x in mx..width - mx {
            let (g, w) = (f64::from(got.at(x, y)), want[y * width + x]);
            assert!((g - w).abs() < 1e-5, "({x}, {y}): {g}, Pillow {w}");
        }
    }
}

#[test]
fn a_fine_grating_reads_as_its_linear_mean() {
    // Closed form: half ink, half paper reflects 0.5, which is L* 76.07 (CIE 15: 116 x 0.5^(1/3) - 16).
    let grating = Raster::from_vec(96, 96, (0..96 * 96).map(|i| f32::from(u8::from(i % 2 == 0))).collect());
    for y in resample(&grating, 12, 7).data() {
        let l = colour::lightness(f64::from(*y));
        assert!((l - 76.07).abs() < 0.005, "the grating came out at L* {l}");
    }
}

#[test]
fn a_ramp_stays_a_ramp() {
    // Closed form: the ramp's value at a centre is a + b x centre, shrunk, enlarged, or both at once.
    let ramp = Raster::from_vec(
        40,
        30,
        (0..1200).map(|i| 0.1 + 0.01 * ((i % 40) as f32 + 0.5) + 0.01 * ((i / 40) as f32 + 0.5)).collect(),
    );
    for (width, height) in [(10, 10), (7, 11), (90, 70), (13, 77), (160, 9)] {
        let got = resample(&ramp, width, height);
        let (sx, sy) = (40.0 / width as f64, 30.0 / height as f64);
        for y in 0..height {
            for x in 0..width {
                let (cx, cy) = ((x as f64 + 0.5) * sx, (y as f64 + 0.5) * sy);
                // Two input samples from the edge, where the cubic has no neighbours left.
                if !(2.0..=38.0).contains(&cx) || !(2.0..=28.0).contains(&cy) {
                    continue;
                }
                let want = 0.1 + 0.01 * cx + 0.01 * cy;
                let off = (f64::from(got.at(x, y)) - want).abs();
                // A mean over parts of samples sees the ramp as the staircase it is stored as: at each cut
                // sample that differs by at most slope x f (1 - f) / 2, shared among `s` samples.
                let stairs = |s: f64| if s > 1.0 && s.fract() > 1e-9 { 0.01 / 8.0 / s } else { 0.0 };
                let allowed = 1e-5 + stairs(sx) + stairs(sy);
                assert!(off < allowed, "{width} x {height} at ({x}, {y}): off by {off}, {allowed} allowed");
            }
        }
    }
}

#[test]
fn no_halo_arises_beside_a_black() {
    // A step stays between its own values, rises without turning back, and keeps its place.
    let step = Raster::from_vec(20, 1, (0..20).map(|i| if i < 10 { 0.2 } else { 0.7 }).collect());
    let got = resample(&step, 130, 1);
    let row = got.data();
    assert!(row.iter().all(|v| (0.2..=0.7).contains(v)), "overshoot: {row:?}");
    assert!(row.windows(2).all(|w| w[1] >= w[0] - 1e-6), "the step turns back: {row:?}");
    let crossing = row.iter().filter(|v| **v < 0.45).count();
    assert_eq!(crossing, 65, "the step moved");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Exact area averages keep the mean (closed form), and nothing leaves the range of the input.
    #[test]
    fn shrinking_keeps_the_mean(w in 1_usize..40, h in 1_usize..40, nw in 1_usize..40, nh in 1_usize..40, seed: u32) {
        let mut state = seed | 1;
        let mut next = || { state ^= state << 13; state ^= state >> 17; state ^= state << 5; (state >> 8) as f32 / 16_777_216.0 };
        let source = Raster::from_vec(w, h, (0..w * h).map(|_| next()).collect());
        let got = resample(&source, nw, nh);
        let mean = |r: &Raster<f32>| r.data().iter().map(|&v| f64::from(v)).sum::<f64>() / r.data().len() as f64;
        if nw <= w && nh <= h {
            prop_assert!((mean(&got) - mean(&source)).abs() < 1e-6, "mean {} became {}", mean(&source), mean(&got));
        }
        let (low, high) = source.data().iter().fold((f32::MAX, f32::MIN), |(l, g), &v| (l.min(v), g.max(v)));
        prop_assert!(got.data().iter().all(|v| (low - 1e-6..=high + 1e-6).contains(v)), "a value left the range");
    }
}

/// Small sound files of every format, as seeds.
const SEEDS: [&str; 16] = [
    "plain.jpg",
    "progressive.jpg",
    "turned-6.jpg",
    "wide.jpg",
    "plain.png",
    "wide.png",
    "turned.png",
    "alpha.tif",
    "planar.tif",
    "fax.tif",
    "deep.tif",
    "turned.webp",
    "lossy.webp",
    "plain.gif",
    "palette.bmp",
    "inks.tif",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn damaged_bytes_give_a_picture_or_a_sentence(
        seed in 0..SEEDS.len(),
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
        cut in proptest::option::of(any::<prop::sample::Index>()),
    ) {
        let mut bytes = fs::read(data(SEEDS[seed])).unwrap_or_default();
        for (at, v) in changes {
            let at = at.index(bytes.len());
            bytes[at] = v;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        // One megapixel keeps a damaged size from costing time.
        match read_bytes(&bytes, "damaged.file", &ReadOptions { max_megapixels: 1.0 }) {
            Ok(read) => prop_assert!(
                read.value.luminance.data().iter().all(|v| (0.0..=1.0).contains(v)),
                "reflectance left 0 to 1"
            ),
            Err(e) => {
                let text = e.to_string();
                prop_assert!(text.contains("damaged.file") && !text.contains('\n'), "{}", text);
            }
        }
    }
}
