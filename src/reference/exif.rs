//! The few fields of an EXIF block that matter here: orientation and resolution (Exif 2.32, TIFF 6.0).

use super::resolution::{Per, PixelsPerInch, pixels_per_inch};

/// Most directory entries looked at: real blocks have a few dozen.
const MOST_ENTRIES: usize = 512;

/// What an EXIF block states.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Exif {
    /// 1 to 8; anything else in the file counts as not stated.
    pub(super) orientation: Option<u8>,
    /// In the stored picture's axes, before orientation.
    pub(super) pixels_per_inch: Option<PixelsPerInch>,
}

/// Bytes of one TIFF structure with their byte order.
struct Block<'a> {
    bytes: &'a [u8],
    big_endian: bool,
}

impl Block<'_> {
    fn u16(&self, at: usize) -> Option<u16> {
        let b: [u8; 2] = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.big_endian { u16::from_be_bytes(b) } else { u16::from_le_bytes(b) })
    }

    fn u32(&self, at: usize) -> Option<u32> {
        let b: [u8; 4] = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.big_endian { u32::from_be_bytes(b) } else { u32::from_le_bytes(b) })
    }

    /// The first value of the entry at `at` as a number: SHORT, LONG or RATIONAL.
    fn number(&self, at: usize) -> Option<f64> {
        match self.u16(at + 2)? {
            3 => self.u16(at + 8).map(f64::from),
            4 => self.u32(at + 8).map(f64::from),
            5 => {
                let value = self.u32(at + 8)? as usize;
                let (top, bottom) = (self.u32(value)?, self.u32(value.checked_add(4)?)?);
                (bottom != 0).then(|| f64::from(top) / f64::from(bottom))
            }
            _ => None,
        }
    }
}

/// Reads the first directory of an EXIF block, with or without its `Exif` preamble.
///
/// A block that is cut off or wrong gives what could be read before the fault.
pub(super) fn read(bytes: &[u8]) -> Exif {
    let bytes = bytes.strip_prefix(b"Exif\0\0").unwrap_or(bytes);
    let big_endian = match bytes.get(..4) {
        Some([b'I', b'I', 42, 0]) => false,
        Some([b'M', b'M', 0, 42]) => true,
        _ => return Exif::default(),
    };
    let block = Block { bytes, big_endian };
    let mut orientation = None;
    let (mut x, mut y, mut unit) = (None, None, None);
    let directory = block.u32(4).and_then(|at| Some((at as usize, block.u16(at as usize)?)));
    let (start, count) = directory.map_or((0, 0), |(at, n)| (at, usize::from(n).min(MOST_ENTRIES)));
    for entry in 0..count {
        let at = start + 2 + entry * 12;
        let Some(tag) = block.u16(at) else { break };
        match tag {
            0x0112 => orientation = block.number(at).and_then(orientation_from),
            0x011A => x = block.number(at),
            0x011B => y = block.number(at),
            0x0128 => unit = block.number(at),
            _ => {}
        }
    }
    Exif { orientation, pixels_per_inch: resolution_from(x, y, unit) }
}

/// An orientation number, if it is one of the eight.
pub(super) fn orientation_from(number: f64) -> Option<u8> {
    (1..=8_u8).find(|&o| (number - f64::from(o)).abs() < 0.5)
}

/// XResolution, YResolution and ResolutionUnit (2 inch, the default; 3 centimetre; 1 no unit).
///
/// One axis alone stands for both.
pub(super) fn resolution_from(x: Option<f64>, y: Option<f64>, unit: Option<f64>) -> Option<PixelsPerInch> {
    let (x, y) = (x.or(y)?, y.or(x)?);
    let unit = unit.unwrap_or(2.0);
    if (unit - 2.0).abs() < 0.5 {
        pixels_per_inch(x, y, Per::Inch)
    } else if (unit - 3.0).abs() < 0.5 {
        pixels_per_inch(x, y, Per::Centimetre)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A block with orientation, both resolutions and the unit, written by hand from TIFF 6.0 section 2.
    fn block(big_endian: bool, orientation: u16, x: (u32, u32), y: (u32, u32), unit: u16) -> Vec<u8> {
        let w16 = |v: u16| if big_endian { v.to_be_bytes() } else { v.to_le_bytes() };
        let w32 = |v: u32| if big_endian { v.to_be_bytes() } else { v.to_le_bytes() };
        let mut out = if big_endian { b"MM\0*".to_vec() } else { b"II*\0".to_vec() };
        out.extend(w32(8));
        out.extend(w16(4));
        let values_at: u32 = 8 + 2 + 4 * 12 + 4;
        for (tag, kind, value) in
            [(0x112, 3, None), (0x11A, 5, Some(values_at)), (0x11B, 5, Some(values_at + 8)), (0x128, 3, None)]
        {
            out.extend(w16(tag));
            out.extend(w16(kind));
            out.extend(w32(1));
            match value {
                Some(at) => out.extend(w32(at)),
                None => {
                    out.extend(w16(if tag == 0x112 { orientation } else { unit }));
                    out.extend(w16(0));
                }
            }
        }
        out.extend(w32(0));
        for v in [x.0, x.1, y.0, y.1] {
            out.extend(w32(v));
        }
        out
    }

    #[test]
    fn both_byte_orders_are_read() {
        for big_endian in [false, true] {
            let exif = read(&block(big_endian, 6, (300, 1), (1200, 2), 2));
            assert_eq!(exif.orientation, Some(6), "orientation, big endian {big_endian}");
            assert_eq!(exif.pixels_per_inch, Some([300.0, 600.0]), "resolution, big endian {big_endian}");
        }
    }

    #[test]
    fn preamble_and_centimetres() {
        let mut bytes = b"Exif\0\0".to_vec();
        bytes.extend(block(false, 1, (100, 1), (100, 1), 3));
        assert_eq!(read(&bytes).pixels_per_inch, Some([254.0, 254.0]), "100 per cm is 254 per inch");
        assert_eq!(
            read(&block(false, 1, (100, 1), (100, 1), 1)).pixels_per_inch,
            None,
            "unit 1 states nothing physical"
        );
        assert_eq!(read(&block(false, 9, (100, 0), (100, 1), 2)).orientation, None, "9 is no orientation");
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(mut bytes in proptest::collection::vec(any::<u8>(), 0..200), cut in 0_usize..80, at in 0_usize..80, v: u8) {
            let _ = read(&bytes);
            bytes.splice(0..0, *b"II*\0");
            let _ = read(&bytes);
            let mut whole = block(true, 6, (300, 1), (300, 1), 2);
            let n = whole.len();
            whole[at % n] = v;
            whole.truncate(n - cut.min(n));
            let _ = read(&whole);
        }
    }
}
