//! Pictures: a preview of the drawing, and the value map.

use super::{DrawingOptions, OutputError, svg};
use crate::colour::{linear_to_srgb, reflectance};
use crate::raster::Raster;
use crate::sheet::Placement;
use crate::strokes::StrokePlan;
use crate::units::MM_PER_INCH;
use png::{BitDepth, ColorType, Encoder, PixelDimensions, Unit};
use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree};

/// Most pixels of a preview, in millions: 400 MB while it is drawn.
const PREVIEW_LIMIT_MP: u32 = 100;
/// Pixels in an inch of CSS, in which the SVG reader counts.
const CSS_PX_PER_INCH: f64 = 96.0;

/// The drawing as a grey PNG, black on white, that says its resolution.
///
/// It is made from the SVG itself, by a reader that is not ours.
///
/// # Errors
/// [`OutputError::PreviewSize`] when the picture would have no pixels or more than 100 million.
pub fn png(
    plan: &StrokePlan,
    placement: &Placement,
    options: &DrawingOptions,
    pixels_per_mm: f64,
) -> Result<Vec<u8>, OutputError> {
    let pixmap = rendered(&svg(plan, placement, options), placement.sheet_mm, pixels_per_mm)?;
    let (width, height) = (pixmap.width(), pixmap.height());
    let failed = |e: &dyn std::fmt::Display| OutputError::Preview(e.to_string());
    // A coloured ink is shown as bright as its green, which is most of what the eye sees of it.
    let grey: Vec<u8> = pixmap.pixels().iter().map(|p| p.green()).collect();

    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, width, height);
    encoder.set_color(ColorType::Grayscale);
    encoder.set_depth(BitDepth::Eight);
    let per_metre = (pixels_per_mm * 1000.0).round() as u32;
    encoder.set_pixel_dims(Some(PixelDimensions { xppu: per_metre, yppu: per_metre, unit: Unit::Meter }));
    encoder
        .write_header()
        .and_then(|mut writer| {
            writer.write_image_data(&grey)?;
            writer.finish()
        })
        .map_err(|e| failed(&e))?;
    Ok(bytes)
}

/// SVG text of a sheet as pixels on white.
fn rendered(text: &str, sheet_mm: [f64; 2], pixels_per_mm: f64) -> Result<Pixmap, OutputError> {
    let [width, height] = sheet_mm.map(|side| (side * pixels_per_mm).round());
    let in_range = width >= 1.0 && height >= 1.0 && width * height <= f64::from(PREVIEW_LIMIT_MP) * 1e6;
    let out_of_range = || OutputError::PreviewSize { width, height, limit: PREVIEW_LIMIT_MP };
    if !in_range {
        return Err(out_of_range());
    }
    let failed = |e: &dyn std::fmt::Display| OutputError::Preview(e.to_string());
    let tree = Tree::from_str(text, &Options::default()).map_err(|e| failed(&e))?;
    let mut pixmap = Pixmap::new(width as u32, height as u32).ok_or_else(out_of_range)?;
    pixmap.fill(Color::WHITE);
    // Each side is drawn to its whole number of pixels, at most half a pixel from what was asked for.
    let scale = |pixels: f64, side_mm: f64| (pixels / side_mm * MM_PER_INCH / CSS_PX_PER_INCH) as f32;
    let [sx, sy] = [scale(width, sheet_mm[0]), scale(height, sheet_mm[1])];
    resvg::render(&tree, Transform::from_scale(sx, sy), &mut pixmap.as_mut());
    Ok(pixmap)
}

/// SVG text of a sheet as a PNG in colour on white.
pub(super) fn colour_png(text: &str, sheet_mm: [f64; 2], pixels_per_mm: f64) -> Result<Vec<u8>, OutputError> {
    let pixmap = rendered(text, sheet_mm, pixels_per_mm)?;
    pixmap.encode_png().map_err(|e| OutputError::Preview(e.to_string()))
}

/// Grey samples as a PNG.
///
/// # Panics
/// When the raster holds no samples; a picture has at least one.
#[must_use]
pub fn grey_png(grey: &Raster<u8>) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, grey.width() as u32, grey.height() as u32);
    encoder.set_color(ColorType::Grayscale);
    encoder.set_depth(BitDepth::Eight);
    let written = encoder.write_header().and_then(|mut writer| {
        writer.write_image_data(grey.data())?;
        writer.finish()
    });
    assert!(written.is_ok(), "a picture has samples, and a vector takes them all");
    bytes
}

/// The value map as a palette PNG: a pixel's index is its value number, its colour a grey of about that value.
///
/// `breaks` are the lightnesses (L*) between the values, lightest first, as in the value scale.
///
/// # Panics
/// When the raster holds no samples; a picture has at least one.
#[must_use]
pub fn value_map_png(values: &Raster<u8>, breaks: &[f64]) -> Vec<u8> {
    let used = values.data().iter().copied().max().unwrap_or(0);
    let count = (breaks.len() + 1).max(usize::from(used));
    let mut palette = vec![255u8; 3];
    for value in 1..=count {
        palette.extend([grey_of_value(value, breaks); 3]);
    }
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, values.width() as u32, values.height() as u32);
    encoder.set_color(ColorType::Indexed);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_palette(palette);
    let written = encoder.write_header().and_then(|mut writer| {
        writer.write_image_data(values.data())?;
        writer.finish()
    });
    assert!(written.is_ok(), "a value map has samples, and a vector takes them all");
    bytes
}

/// Grey of a value: bare paper for the lightest, solid black for the darkest, the middle of its band between.
fn grey_of_value(value: usize, breaks: &[f64]) -> u8 {
    let lightness = if value == 1 {
        100.0
    } else if value > breaks.len() {
        0.0
    } else {
        (breaks[value - 2] + breaks[value - 1]) / 2.0
    };
    (linear_to_srgb(reflectance(lightness.clamp(0.0, 100.0))) * 255.0).round() as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_value_map_keeps_indices_and_darkens() {
        let values = Raster::from_vec(3, 2, vec![1, 2, 3, 3, 2, 1]);
        let bytes = value_map_png(&values, &[70.0, 30.0]);
        let mut reader =
            png::Decoder::new(std::io::Cursor::new(&bytes)).read_info().unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(reader.info().color_type, ColorType::Indexed, "a palette picture");
        let palette = reader.info().palette.clone().unwrap_or_else(|| panic!("no palette"));
        let greys: Vec<u8> = palette.chunks(3).skip(1).map(|c| c[0]).collect();
        // L* 50 is sRGB 119 (CIE 15 and IEC 61966-2-1 by hand: Y = 0.18419, encoded 0.46633).
        assert_eq!(greys, [255, 119, 0], "light to dark");
        let mut out = vec![0; 6];
        reader.next_frame(&mut out).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(out, values.data(), "each index is its value");
    }

    #[test]
    fn one_value_and_stray_values_still_make_a_map() {
        for values in [vec![1, 1], vec![9, 1]] {
            let bytes = value_map_png(&Raster::from_vec(2, 1, values), &[]);
            assert!(image::load_from_memory(&bytes).is_ok(), "another reader takes it");
        }
    }
}
