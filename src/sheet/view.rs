//! The sheet as it is shown in print: mirrored for work from the back, turned by quarter turns.

use super::lettering::quarter_turned;
use super::paper::whole_um;
use super::{Placement, RectMm};
use kurbo::{Affine, CubicBez, Point, Vec2};

/// How the sheet is shown: mirrored first, then turned.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct View {
    /// Whether left and right are exchanged.
    pub mirrored: bool,
    /// Quarter turns clockwise, 0 to 3.
    pub quarter_turns: u8,
}

impl View {
    /// Whether it shows the sheet as it is.
    #[must_use]
    pub fn is_plain(self) -> bool {
        !self.mirrored && self.quarter_turns.is_multiple_of(4)
    }

    /// Width and height in mm of a sheet as shown.
    #[must_use]
    pub fn size(self, sheet_mm: [f64; 2]) -> [f64; 2] {
        let [width, height] = sheet_mm;
        if self.quarter_turns.is_multiple_of(2) { [width, height] } else { [height, width] }
    }

    /// What takes a point of the sheet (mm) to the sheet as shown.
    #[must_use]
    pub fn transform(self, sheet_mm: [f64; 2]) -> Affine {
        let [width, height] = sheet_mm;
        let mirror =
            if self.mirrored { Affine::new([-1.0, 0.0, 0.0, 1.0, width, 0.0]) } else { Affine::IDENTITY };
        // A turned sheet has its top left at the origin again.
        let back = match self.quarter_turns % 4 {
            0 => Vec2::ZERO,
            1 => Vec2::new(height, 0.0),
            2 => Vec2::new(width, height),
            _ => Vec2::new(0.0, width),
        };
        Affine::translate(back) * quarter_turned(self.quarter_turns) * mirror
    }

    /// A placement as shown.
    #[must_use]
    pub fn placement(self, placement: &Placement) -> Placement {
        Placement {
            sheet_mm: self.size(placement.sheet_mm),
            picture_mm: self.rect(placement.sheet_mm, &placement.picture_mm),
        }
    }

    /// A rectangle of a sheet as shown.
    #[must_use]
    pub fn rect(self, sheet_mm: [f64; 2], rect: &RectMm) -> RectMm {
        let at = |x, y| self.point(sheet_mm, Point::new(x, y));
        let (a, b) = (at(rect.x, rect.y), at(rect.x + rect.width, rect.y + rect.height));
        RectMm {
            x: a.x.min(b.x),
            y: a.y.min(b.y),
            width: whole_um((a.x - b.x).abs()),
            height: whole_um((a.y - b.y).abs()),
        }
    }

    /// A point of a sheet as shown, on whole micrometres.
    #[must_use]
    pub fn point(self, sheet_mm: [f64; 2], point: Point) -> Point {
        let p = self.transform(sheet_mm) * point;
        Point::new(whole_um(p.x), whole_um(p.y))
    }

    /// A curve of a sheet as shown, on whole micrometres.
    #[must_use]
    pub fn cubic(self, sheet_mm: [f64; 2], c: CubicBez) -> CubicBez {
        let at = |p| self.point(sheet_mm, p);
        CubicBez::new(at(c.p0), at(c.p1), at(c.p2), at(c.p3))
    }
}

#[cfg(test)]
#[expect(clippy::float_cmp, reason = "shown points are whole micrometres, compared as written")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn worked_examples() {
        // A4: the point 10 mm from the left and 20 mm from the top.
        for (mirrored, quarter_turns, x, y) in [
            (false, 0, 10.0, 20.0),
            (true, 0, 200.0, 20.0),
            (false, 1, 277.0, 10.0),
            (false, 2, 200.0, 277.0),
            (false, 3, 20.0, 200.0),
            (true, 1, 277.0, 200.0),
        ] {
            let view = View { mirrored, quarter_turns };
            let got = view.point([210.0, 297.0], Point::new(10.0, 20.0));
            assert_eq!([got.x, got.y], [x, y], "{view:?}");
        }
        let turned = View { mirrored: false, quarter_turns: 1 };
        let placement = Placement {
            sheet_mm: [210.0, 297.0],
            picture_mm: RectMm { x: 20.0, y: 30.0, width: 100.0, height: 150.0 },
        };
        let wanted = RectMm { x: 117.0, y: 20.0, width: 150.0, height: 100.0 };
        assert_eq!(turned.placement(&placement).picture_mm, wanted, "297 - 30 - 150 from the left");
    }

    proptest! {
        #[test]
        fn distances_stay_and_points_stay_on_the_sheet(
            mirrored: bool, quarter_turns in 0u8..4, a in (0.0..210.0, 0.0..297.0), b in (0.0..210.0, 0.0..297.0)
        ) {
            let (view, sheet) = (View { mirrored, quarter_turns }, [210.0, 297.0]);
            let (a, b) = (Point::from(a), Point::from(b));
            let [p, q] = [a, b].map(|point| view.point(sheet, point));
            prop_assert!((p.distance(q) - a.distance(b)).abs() < 0.002, "{p:?} {q:?}");
            let [width, height] = view.size(sheet);
            prop_assert!((0.0..=width).contains(&p.x) && (0.0..=height).contains(&p.y), "{p:?} is off the sheet");
            prop_assert!((view.transform(sheet).determinant() < 0.0) == mirrored, "mirrored or not");
        }
    }
}
