//! The map between a flat rectangle and its picture in perspective.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::PageError;

/// Four corners clockwise from the top left, in pixels (the first pixel covers 0 to 1).
pub(super) type Quad = [[f64; 2]; 4];

/// A projective map of the plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Homography(Matrix3<f64>);

impl Homography {
    /// The map that takes each corner of `from` to the same one of `to`; `None` when three lie in line.
    ///
    /// The eight equations of the direct linear transformation with one entry fixed at 1 (Hartley & Zisserman 2004,
    /// "Multiple View Geometry", section 4.1), after both quads are moved and scaled to the unit square for the sake
    /// of rounding (their section 4.4).
    pub(super) fn between(from: &Quad, to: &Quad) -> Option<Self> {
        let (a, b) = (norming(from), norming(to));
        let mut rows = SMatrix::<f64, 8, 8>::zeros();
        let mut right = SVector::<f64, 8>::zeros();
        for k in 0..4 {
            let ([x, y], [u, v]) = (a.apply(from[k]), b.apply(to[k]));
            for (row, (line, want)) in [
                ([x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y], u),
                ([0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y], v),
            ]
            .into_iter()
            .enumerate()
            {
                rows.row_mut(2 * k + row).copy_from_slice(&line);
                right[2 * k + row] = want;
            }
        }
        let h = rows.full_piv_lu().solve(&right)?;
        let middle = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0);
        let whole = b.0.try_inverse()? * middle * a.0;
        (whole.iter().all(|n| n.is_finite()) && whole.determinant().abs() > 0.0).then_some(Self(whole))
    }

    /// From a rectangle of `width` x `height` to a quad.
    pub(super) fn from_rectangle(width: f64, height: f64, to: &Quad) -> Option<Self> {
        Self::between(&rectangle(width, height), to)
    }

    /// Where a point goes.
    #[inline]
    pub(super) fn apply(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let p = self.0 * Vector3::new(x, y, 1.0);
        [p.x / p.z, p.y / p.z]
    }

    /// The map back.
    #[cfg(test)]
    pub(super) fn inverse(&self) -> Option<Self> {
        self.0.try_inverse().map(Self)
    }

    /// How far a point moves for a step along x, and for one along y.
    #[inline]
    pub(super) fn steps(&self, [x, y]: [f64; 2]) -> [[f64; 2]; 2] {
        let m = &self.0;
        let p = m * Vector3::new(x, y, 1.0);
        let along = |c: usize| [0, 1].map(|r| (m[(r, c)] * p.z - p[r] * m[(2, c)]) / (p.z * p.z));
        [along(0), along(1)]
    }
}

/// The corners of an upright rectangle.
pub(super) fn rectangle(width: f64, height: f64) -> Quad {
    [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]
}

/// Moves and scales a quad's box to the unit square.
fn norming(quad: &Quad) -> Homography {
    let range = |axis: usize| {
        let of = quad.iter().map(|p| p[axis]);
        (of.clone().fold(f64::INFINITY, f64::min), of.fold(f64::NEG_INFINITY, f64::max))
    };
    let ((left, right), (top, bottom)) = (range(0), range(1));
    let [sx, sy] = [right - left, bottom - top].map(|side| if side > 0.0 { 1.0 / side } else { 1.0 });
    Homography(Matrix3::new(sx, 0.0, -sx * left, 0.0, sy, -sy * top, 0.0, 0.0, 1.0))
}

/// Twice the area of the triangle a, b, c; positive when it turns clockwise on the screen.
pub(super) fn turn(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// How far a corner may lie outside the picture, as a share of its longer side: a page just cut off by the photograph.
const OUTSIDE_SHARE: f64 = 0.002;
/// Least height of the triangle of three corners, as a share of its longest side: flatter ones are in line.
const IN_LINE_SHARE: f64 = 0.02;

/// Refuses corners that are no page: outside, three in line, crossed, inside out, dented.
///
/// # Errors
/// [`PageError`], saying which.
pub(super) fn check_corners(quad: &Quad, size: [usize; 2]) -> Result<(), PageError> {
    let slack = OUTSIDE_SHARE * size[0].max(size[1]) as f64 + 0.5;
    for (k, p) in quad.iter().enumerate() {
        if (0..2).any(|a| !(p[a] >= -slack && p[a] <= size[a] as f64 + slack)) {
            return Err(PageError::CornerOutside { corner: k + 1, at: *p, size });
        }
    }
    for skipped in 0..4 {
        let [a, b, c] = [1, 2, 3].map(|d| quad[(skipped + d) % 4]);
        let far = |p: [f64; 2], q: [f64; 2]| (p[0] - q[0]).hypot(p[1] - q[1]);
        let longest = far(a, b).max(far(b, c)).max(far(c, a));
        if turn(a, b, c).abs() <= IN_LINE_SHARE * longest * longest {
            let [a, b, c] = [1, 2, 3].map(|d| (skipped + d) % 4 + 1);
            let mut names = [a, b, c];
            names.sort_unstable();
            return Err(PageError::CornersInLine { corners: names });
        }
    }
    let turns: Vec<bool> =
        (0..4).map(|k| turn(quad[k], quad[(k + 1) % 4], quad[(k + 2) % 4]) > 0.0).collect();
    match turns.iter().filter(|&&clockwise| clockwise).count() {
        4 => Ok(()),
        0 => Err(PageError::CornersAnticlockwise),
        2 => Err(PageError::CornersCrossed),
        _ => Err(PageError::CornersDented),
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Any convex quad that is not too flat: a rectangle with its corners moved by up to a quarter.
    pub(in super::super) fn quads() -> impl Strategy<Value = Quad> {
        (200.0..4000.0_f64, 200.0..4000.0_f64, proptest::array::uniform8(-0.25..0.25_f64)).prop_map(
            |(w, h, moved)| {
                let mut quad = rectangle(w, h);
                for (k, corner) in quad.iter_mut().enumerate() {
                    corner[0] += moved[2 * k] * w + 1000.0;
                    corner[1] += moved[2 * k + 1] * h + 1000.0;
                }
                quad
            },
        )
    }

    proptest! {
        /// There and back again, and corners on corners.
        #[test]
        fn maps_come_back(from in quads(), to in quads(), x in 0.0..1.0_f64, y in 0.0..1.0_f64) {
            let map = Homography::between(&from, &to).expect("convex quads have a map");
            for k in 0..4 {
                let [u, v] = map.apply(from[k]);
                prop_assert!((u - to[k][0]).hypot(v - to[k][1]) < 1e-7, "corner {} went to {:?}", k, [u, v]);
            }
            let inside = Homography::from_rectangle(1.0, 1.0, &from).expect("a map").apply([x, y]);
            let back = map.inverse().expect("a map back").apply(map.apply(inside));
            prop_assert!((back[0] - inside[0]).hypot(back[1] - inside[1]) < 1e-6, "{:?} came back as {:?}", inside, back);
        }

        /// The steps are the slopes of the map, by differences.
        #[test]
        fn steps_are_slopes(to in quads(), x in 0.0..1.0_f64, y in 0.0..1.0_f64) {
            let map = Homography::from_rectangle(1.0, 1.0, &to).expect("a map");
            let d = 1e-5;
            let [along, down] = map.steps([x, y]);
            for (step, [a, b]) in [(along, [[x - d, y], [x + d, y]]), (down, [[x, y - d], [x, y + d]])] {
                let (a, b) = (map.apply(a), map.apply(b));
                for axis in 0..2 {
                    let want = (b[axis] - a[axis]) / (2.0 * d);
                    prop_assert!((step[axis] - want).abs() < 1e-3 * (1.0 + want.abs()), "{} for {}", step[axis], want);
                }
            }
        }

        /// Straight stays straight: the middle of three points in line lies on the line of the other two.
        #[test]
        fn lines_stay_lines(to in quads(), a in proptest::array::uniform2(0.0..1.0_f64), b in proptest::array::uniform2(0.0..1.0_f64)) {
            let map = Homography::from_rectangle(1.0, 1.0, &to).expect("a map");
            let middle = map.apply([(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]);
            prop_assert!(turn(map.apply(a), middle, map.apply(b)).abs() < 1e-4, "bent at {:?}", middle);
        }
    }

    #[test]
    fn wrong_corners_are_told_apart() {
        let size = [1000, 800];
        let good = [[100.0, 100.0], [900.0, 120.0], [880.0, 700.0], [90.0, 690.0]];
        assert!(check_corners(&good, size).is_ok(), "a good page");
        let order = |o: [usize; 4]| o.map(|k| good[k]);
        assert!(check_corners(&order([1, 2, 3, 0]), size).is_ok(), "a page on its side");
        assert!(
            matches!(check_corners(&order([0, 2, 1, 3]), size), Err(PageError::CornersCrossed)),
            "crossed"
        );
        assert!(
            matches!(check_corners(&order([3, 2, 1, 0]), size), Err(PageError::CornersAnticlockwise)),
            "mirrored"
        );
        let mut dented = good;
        dented[2] = [300.0, 300.0];
        assert!(matches!(check_corners(&dented, size), Err(PageError::CornersDented)), "dented");
        let mut flat = good;
        flat[2] = [500.0, 112.0];
        assert!(matches!(check_corners(&flat, size), Err(PageError::CornersInLine { .. })), "in line");
        let mut twice = good;
        twice[1] = twice[0];
        assert!(matches!(check_corners(&twice, size), Err(PageError::CornersInLine { .. })), "one twice");
        let mut outside = good;
        outside[3][1] = 830.0;
        assert!(
            matches!(check_corners(&outside, size), Err(PageError::CornerOutside { corner: 4, .. })),
            "outside"
        );
    }
}
