//! Connected patches of one value on a grid.

use crate::raster::Raster;

/// Areas of one value, 4-connected: an id from 1 for each pixel in the order of their first pixels, 0 where
/// `values` is 0, and how many there are.
///
/// Two passes with disjoint sets (Rosenfeld & Pfaltz 1966). Our own because imageproc's panics on pictures one
/// pixel across and takes the background for an area's value.
#[must_use]
pub fn components(values: &Raster<u8>) -> (Raster<u32>, usize) {
    let (w, h) = (values.width(), values.height());
    let mut labels = vec![0_u32; w * h];
    let mut above: Vec<u32> = vec![0];
    fn root(above: &mut [u32], mut i: u32) -> u32 {
        while above[i as usize] != i {
            above[i as usize] = above[above[i as usize] as usize];
            i = above[i as usize];
        }
        i
    }
    for y in 0..h {
        let (before, row) = labels.split_at_mut(y * w);
        let last = &before[y.saturating_sub(1) * w..];
        let over = if y > 0 { values.row(y - 1) } else { &[] };
        let own = values.row(y);
        let mut left = 0;
        for x in 0..w {
            let value = own[x];
            if value == 0 {
                left = 0;
                continue;
            }
            if x > 0 && own[x - 1] != value {
                left = 0;
            }
            let up = if over.get(x) == Some(&value) { last[x] } else { 0 };
            left = match (left, up) {
                (0, 0) => {
                    above.push(above.len() as u32);
                    above.len() as u32 - 1
                }
                (l, 0) => l,
                (0, u) => u,
                // Most often both have been joined before.
                (l, u) if l == u => l,
                (l, u) => {
                    let (a, b) = (root(&mut above, l), root(&mut above, u));
                    above[a.max(b) as usize] = a.min(b);
                    a.min(b)
                }
            };
            row[x] = left;
        }
    }
    let mut number = vec![0_u32; above.len()];
    let mut count = 0;
    for l in &mut labels {
        if *l != 0 {
            let r = root(&mut above, *l) as usize;
            if number[r] == 0 {
                count += 1;
                number[r] = count;
            }
            *l = number[r];
        }
    }
    (Raster::from_vec(w, h, labels), count as usize)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The same areas as imageproc finds (on grids from two pixels across, where it can).
        #[test]
        fn components_agree_with_imageproc(w in 2_usize..16, h in 2_usize..16, cells in proptest::collection::vec(1_u8..4, 256)) {
            let values = Raster::from_vec(w, h, cells[..w * h].to_vec());
            let (got, count) = components(&values);
            for v in 1..4 {
                // One value at a time: its background value then hides nothing.
                let mask: Vec<u8> = values.data().iter().map(|&p| u8::from(p == v)).collect();
                let mask = image::GrayImage::from_vec(w as u32, h as u32, mask).expect("sizes agree");
                let other = imageproc::region_labelling::connected_components(&mask, imageproc::region_labelling::Connectivity::Four, image::Luma([0]));
                let pairs: std::collections::BTreeSet<(u32, u32)> = got.data().iter().zip(other.as_raw()).filter(|p| *p.1 != 0).map(|(&a, &b)| (a, b)).collect();
                let ours: std::collections::BTreeSet<u32> = pairs.iter().map(|p| p.0).collect();
                let theirs: std::collections::BTreeSet<u32> = pairs.iter().map(|p| p.1).collect();
                prop_assert!(pairs.len() == ours.len() && pairs.len() == theirs.len(), "areas of value {} differ", v);
            }
            prop_assert_eq!(got.data().iter().copied().max().unwrap_or(0) as usize, count);
        }
    }
}
