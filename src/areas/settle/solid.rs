//! Solid ink, told from strokes however dense by the gaps between them.

use crate::distance::squared_distance_within;
use crate::raster::Raster;

/// Reflectance from which a pixel shows a gap.
const GAP: f32 = 0.15;
/// Radius of the disc without a gap that solid ink has room for, in widths of the first mean: about one and a half times
/// what strokes are apart.
const ROOM_WIDTHS: f64 = 3.0;

/// Where a disc fits that shows no gap: the opening of what is not paper (Matheron 1975). Where strokes cross, however densely,
/// gaps are not that far apart.
pub(super) fn solid(reflectance: &Raster<f32>, mean_width_px: f64) -> Raster<bool> {
    let room = ROOM_WIDTHS * mean_width_px;
    let reach = room.ceil() as usize + 1;
    let within = (room * room) as f32;
    let middles = squared_distance_within(&reflectance.map(|r| r > GAP), reach).map(|d| d > within);
    squared_distance_within(&middles, reach).map(|d| d <= within)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 120;

    /// Gaps of one pixel on a square lattice: a disc fits between four of them if it is smaller than half their diagonal.
    #[test]
    fn what_no_disc_fits_into_is_no_solid() {
        let apart = 20;
        let dotted = Raster::from_vec(
            SIDE,
            SIDE,
            (0..SIDE * SIDE)
                .map(|i| if (i % SIDE) % apart == 10 && (i / SIDE) % apart == 10 { 0.5 } else { 0.0 })
                .collect(),
        );
        let half_diagonal = 0.5 * 2.0_f64.sqrt() * apart as f64;
        let shares = [-1.0, 1.0].map(|more| {
            let found = solid(&dotted, (half_diagonal + more) / ROOM_WIDTHS);
            // Beyond the outermost gaps lies nothing to be seen.
            let inside = (30..SIDE - 30).flat_map(|y| (30..SIDE - 30).map(move |x| (x, y)));
            inside.filter(|&(x, y)| found.at(x, y)).count() as f64 / (SIDE - 60).pow(2) as f64
        });
        assert!(shares[0] > 0.5 && shares[1] == 0.0, "{shares:?}");
    }

    /// A black with room for the disc is solid to its edge; its corners keep what a disc cannot fill, r (sqrt 2 - 1) of each.
    #[test]
    fn solid_ends_at_its_gaps() {
        let room = 9.0;
        let black = |x: usize, y: usize| (30..90).contains(&x) && (20..100).contains(&y);
        let light = (0..SIDE * SIDE).map(|i| if black(i % SIDE, i / SIDE) { 0.05 } else { 0.9 }).collect();
        let found = solid(&Raster::from_vec(SIDE, SIDE, light), room / ROOM_WIDTHS);
        for (x, y) in (0..SIDE).flat_map(|y| (0..SIDE).map(move |x| (x, y))) {
            let from =
                |v: usize, low: usize, high: usize| (v + 1).saturating_sub(low).min(high.saturating_sub(v));
            let (across, down) = (from(x, 30, 90), from(y, 20, 100));
            if across + down > 2 * room as usize || across.min(down) > room as usize || across.min(down) == 0
            {
                assert_eq!(found.at(x, y), black(x, y), "at {x}, {y}");
            }
        }
        assert!(!found.at(30, 20) && found.at(34, 24), "a corner's own pixel, and one well inside it");
    }
}
