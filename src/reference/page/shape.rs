//! The true shape of a page from its four corners in perspective.

use std::fmt;
use std::str::FromStr;

use crate::units::parse_length_mm;

use super::homography::Quad;

/// What is known of the true shape of the page.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum TrueShape {
    /// Nothing: it is estimated from the perspective.
    #[default]
    Estimated,
    /// Width to height.
    Ratio(f64),
    /// Width and height in mm; they are exchanged when the page plainly lies the other way.
    Size([f64; 2]),
}

/// Most that one side may be of the other.
const MOST_RATIO: f64 = 50.0;

impl FromStr for TrueShape {
    type Err = String;

    /// `auto`, a ratio such as `3:4`, a size such as `180x240mm`, or the name of a paper that the caller knows.
    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let unread = || {
            format!(
                "\"{text}\" is no shape: write auto, a ratio such as 3:4 (width to height), a size such as 180x240mm, \
                 or the name of a paper such as a4"
            )
        };
        if text == "auto" {
            return Ok(Self::Estimated);
        }
        let sensible = |w: f64, h: f64| {
            w > 0.0 && h > 0.0 && w.is_finite() && h.is_finite() && (w / h).max(h / w) <= MOST_RATIO
        };
        if let Some((w, h)) = text.split_once(':') {
            let sides = w.trim().parse::<f64>().ok().zip(h.trim().parse::<f64>().ok());
            return match sides {
                Some((w, h)) if sensible(w, h) => Ok(Self::Ratio(w / h)),
                _ => Err(unread()),
            };
        }
        let (w, h) = text.split_once('x').ok_or_else(unread)?;
        let height = parse_length_mm(h).map_err(|_| unread())?;
        let unit = h.trim().trim_start_matches(|c: char| c.is_ascii_digit() || c == '.');
        let width = parse_length_mm(w).or_else(|_| parse_length_mm(&format!("{}{unit}", w.trim())));
        match width {
            Ok(width) if sensible(width, height) => Ok(Self::Size([width, height])),
            _ => Err(unread()),
        }
    }
}

impl fmt::Display for TrueShape {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Estimated => f.write_str("auto"),
            Self::Ratio(ratio) => write!(f, "{ratio}:1"),
            Self::Size([w, h]) => write!(f, "{w}x{h}mm"),
        }
    }
}

/// An aspect that was estimated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Estimate {
    /// Width to height.
    pub(super) ratio: f64,
    /// How far it may be off, as a share of it.
    pub(super) doubt: f64,
}

/// Focal lengths of hand cameras and telephones as shares of the picture's diagonal: 20, 26 and 85 mm on film of 24 x
/// 36 mm (the usual range and the usual main camera of a telephone; common practice, no source).
const FOCAL_SHARES: [f64; 3] = [20.0 / 43.27, 26.0 / 43.27, 85.0 / 43.27];
/// How far a corner may be off, as a share of the diagonal, when the doubt is reckoned.
const CORNER_DOUBT: f64 = 0.0007;
/// A focal length found in the corners is used when the ratio moves less than this with corners that are off.
const SURE: f64 = 0.02;

/// Width to height of the flat page, by Zhang & He 2007 ("Whiteboard scanning and image enhancement", Digital Signal
/// Processing 17, section 3.2): a rectangle's perspective holds the camera's focal length and its aspect, if pixels are
/// square and the lens looks at the picture's middle.
///
/// Where two sides are nearly parallel the focal length cannot be told; then the usual one is taken, and the doubt is
/// what other usual ones would make of it.
pub(super) fn estimate(quad: &Quad, size: [usize; 2]) -> Estimate {
    let diagonal = (size[0] as f64).hypot(size[1] as f64);
    let centred = quad.map(|p| [0, 1].map(|a| (p[a] - size[a] as f64 / 2.0) / diagonal));
    let spread = |of: &dyn Fn(&Quad) -> Option<f64>, middle: f64| {
        let mut worst = 0.0_f64;
        for corner in 0..4 {
            for axis in 0..2 {
                for step in [-CORNER_DOUBT, CORNER_DOUBT] {
                    let mut moved = centred;
                    moved[corner][axis] += step;
                    worst = worst.max(of(&moved).map_or(f64::INFINITY, |r| (r / middle - 1.0).abs()));
                }
            }
        }
        worst
    };
    let own = |quad: &Quad| {
        let planes = Planes::of(quad);
        let focal = planes.focal()?;
        (FOCAL_SHARES[0] * 0.7..FOCAL_SHARES[2] * 2.0).contains(&focal).then(|| planes.ratio(focal))
    };
    if let Some(ratio) = own(&centred) {
        let doubt = spread(&own, ratio);
        if doubt < SURE {
            return Estimate { ratio, doubt };
        }
    }
    let of = |focal: f64| move |quad: &Quad| Some(Planes::of(quad).ratio(focal));
    let usual = Planes::of(&centred).ratio(FOCAL_SHARES[1]);
    let doubt = FOCAL_SHARES.map(|focal| spread(&of(focal), usual)).into_iter().fold(0.0, f64::max);
    Estimate { ratio: usual, doubt }
}

/// Directions of the page's two sides in the camera, up to a factor each: n2 and n3 of Zhang & He.
struct Planes {
    across: [f64; 3],
    down: [f64; 3],
}

impl Planes {
    /// From corners clockwise from the top left, measured from the middle of the picture.
    fn of(quad: &Quad) -> Self {
        // Their order is top left, top right, bottom left, bottom right.
        let [m1, m2, m4, m3] = quad.map(|[x, y]| [x, y, 1.0]);
        let k2 = dot(cross(m1, m4), m3) / dot(cross(m2, m4), m3);
        let k3 = dot(cross(m1, m4), m2) / dot(cross(m3, m4), m2);
        let less = |k: f64, a: [f64; 3], b: [f64; 3]| [0, 1, 2].map(|i| k * a[i] - b[i]);
        Self { across: less(k2, m2, m1), down: less(k3, m3, m1) }
    }

    /// The focal length at which the two directions stand square, if there is one.
    fn focal(&self) -> Option<f64> {
        let (a, d) = (self.across, self.down);
        let squared = -(a[0] * d[0] + a[1] * d[1]) / (a[2] * d[2]);
        (squared > 0.0 && squared.is_finite()).then(|| squared.sqrt())
    }

    /// Width to height for a focal length.
    fn ratio(&self, focal: f64) -> f64 {
        let long = |n: [f64; 3]| (n[0] / focal).hypot(n[1] / focal).hypot(n[2]);
        long(self.across) / long(self.down)
    }
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A rectangle of `ratio` x 1 before a pinhole: turned about the two axes and its own, 2.2 long sides away.
    fn photographed(ratio: f64, focal_share: f64, tilt: [f64; 3], size: [usize; 2]) -> Quad {
        let diagonal = (size[0] as f64).hypot(size[1] as f64);
        let [(sa, ca), (sb, cb), (sc, cc)] = tilt.map(|t| t.to_radians().sin_cos());
        [[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]].map(|[x, y]| {
            let (x, y) = (x * ratio, y);
            let (x, y) = (cc * x - sc * y, sc * x + cc * y);
            let (x, z) = (cb * x, sb * x);
            let (y, z) = (ca * y - sa * z, sa * y + ca * z);
            let away = 2.2 * ratio.max(1.0) + z;
            [0, 1].map(|a| [x, y][a] / away * focal_share * diagonal + size[a] as f64 / 2.0)
        })
    }

    proptest! {
        /// A page tilted both ways gives its aspect back, whatever the lens (closed form: the camera is ours).
        #[test]
        fn the_aspect_comes_back(ratio in 0.4..2.5_f64, focal in 0.5..1.5_f64, a in 12.0..28.0_f64, b in 12.0..28.0_f64, c in -20.0..20.0_f64, flip in any::<[bool; 2]>()) {
            let sign = |on: bool| if on { -1.0 } else { 1.0 };
            let size = [4000, 3000];
            let quad = photographed(ratio, focal, [a * sign(flip[0]), b * sign(flip[1]), c], size);
            let got = estimate(&quad, size);
            prop_assert!((ratio / got.ratio - 1.0).abs() <= got.doubt.max(1e-6), "{} for {}, doubt {}", got.ratio, ratio, got.doubt);
            if got.doubt < SURE {
                prop_assert!((got.ratio / ratio - 1.0).abs() < 1e-6, "{} for {}", got.ratio, ratio);
            }
        }

        /// A page seen straight on has the aspect of its picture, and there is little doubt of it.
        #[test]
        fn straight_on_nothing_is_estimated(ratio in 0.4..2.5_f64, c in -30.0..30.0_f64) {
            let size = [4000, 3000];
            let got = estimate(&photographed(ratio, 0.6, [0.0, 0.0, c], size), size);
            prop_assert!((got.ratio / ratio - 1.0).abs() < 1e-9, "{} for {}", got.ratio, ratio);
            prop_assert!(got.doubt < 0.03, "a doubt of {}", got.doubt);
        }

        /// Tilted about one axis only, the lens decides: the truth lies within the doubt for any usual lens.
        #[test]
        fn one_tilt_is_doubtful_and_says_so(ratio in 0.4..2.5_f64, focal in 0.4622..1.9643_f64, a in -28.0..28.0_f64) {
            let size = [4000, 3000];
            let got = estimate(&photographed(ratio, focal, [a, 0.0, 0.0], size), size);
            prop_assert!((ratio / got.ratio - 1.0).abs() <= got.doubt + 1e-6, "{} for {}, doubt {}", got.ratio, ratio, got.doubt);
        }
    }

    #[test]
    fn shapes_are_read_as_written() {
        for (text, want) in [
            ("auto", TrueShape::Estimated),
            ("3:4", TrueShape::Ratio(0.75)),
            ("180x240mm", TrueShape::Size([180.0, 240.0])),
            ("8inx10in", TrueShape::Size([203.2, 254.0])),
        ] {
            let got: TrueShape = text.parse().unwrap_or_else(|e| panic!("{e}"));
            match (got, want) {
                (TrueShape::Size(a), TrueShape::Size(b)) => {
                    assert!((0..2).all(|k| (a[k] - b[k]).abs() < 1e-9), "{text}: {a:?} for {b:?}");
                }
                _ => assert_eq!(got, want, "{text}"),
            }
        }
        for bad in ["", "3", "3:0", "0:4", "-3:4", "3x4", "NaN:1", "1000:1", "infx4mm", "a4"] {
            assert!(bad.parse::<TrueShape>().is_err(), "{bad} was taken");
        }
    }
}
