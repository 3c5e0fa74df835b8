//! The reference before and after, side by side.

use crate::colour::linear_to_srgb;
use crate::raster::Raster;
use crate::reference::resample;

use super::homography::Quad;

/// Largest width and height of either half, in pixels.
const HALF: [f64; 2] = [600.0, 720.0];
/// White between and round the halves.
const GAP: usize = 16;
/// Grey on which they lie, so that white paper has an edge.
const GROUND: u8 = 200;
/// Length of the dashes that mark what was taken, in pixels.
const DASH: f64 = 6.0;

/// A picture at the size of one half, as grey samples of sRGB.
pub(super) fn half(picture: &Raster<f32>) -> Raster<u8> {
    let scale = (HALF[0] / picture.width() as f64).min(HALF[1] / picture.height() as f64).min(1.0);
    let [w, h] = [picture.width(), picture.height()].map(|s| ((s as f64 * scale).round() as usize).max(1));
    resample(picture, w, h).map(|y| (linear_to_srgb(f64::from(y).clamp(0.0, 1.0)) * 255.0).round() as u8)
}

/// Both halves on a grey ground; black and white dashes on the first show what became the second.
pub(super) fn side_by_side(
    mut before: Raster<u8>,
    size: [usize; 2],
    taken: &Quad,
    after: &Raster<u8>,
) -> Raster<u8> {
    let scale = [before.width() as f64 / size[0] as f64, before.height() as f64 / size[1] as f64];
    dashes(&mut before, &taken.map(|p| [p[0] * scale[0], p[1] * scale[1]]));
    let height = before.height().max(after.height()) + 2 * GAP;
    let mut view = Raster::new(before.width() + after.width() + 3 * GAP, height, GROUND);
    let left = before.width() + 2 * GAP;
    for (half, at) in [(&before, GAP), (after, left)] {
        for y in 0..half.height() {
            for x in 0..half.width() {
                view.set(at + x, GAP + y, half.at(x, y));
            }
        }
    }
    view
}

/// A line of dashes two pixels wide round a quad.
fn dashes(picture: &mut Raster<u8>, quad: &Quad) {
    let size = [picture.width() as f64, picture.height() as f64];
    for k in 0..4 {
        let (a, b) = (quad[k], quad[(k + 1) % 4]);
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        let steps = (2.0 * length).ceil().max(1.0) as usize;
        for step in 0..=steps {
            let t = step as f64 / steps as f64;
            let shade = if ((t * length / DASH) as usize).is_multiple_of(2) { 0 } else { 255 };
            for beside in [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]] {
                let at =
                    [0, 1].map(|i| (a[i] + t * (b[i] - a[i]) + beside[i] - 1.0).clamp(0.0, size[i] - 1.0));
                picture.set(at[0] as usize, at[1] as usize, shade);
            }
        }
    }
}
