//! Lettering: the one open font in which everything on a sheet is written, measured and outlined.
//!
//! A part of DejaVu Sans Condensed, whose licence lies beside it. Heights are those of capitals, as ISO 3098-1 counts
//! lettering.

use kurbo::{Affine, BezPath, Point, Vec2};
use std::sync::LazyLock;
use ttf_parser::{Face, GlyphId, OutlineBuilder};

/// The font file.
pub(crate) const FONT: &[u8] = include_bytes!("DejaVuSansCondensed-part.ttf");
/// Its name, as PDF wants it.
pub(crate) const FONT_NAME: &str = "DejaVuSansCondensed";
/// Height of capitals as a share of the font's size: 1493 of 2048 units, read from the font's own H.
pub const CAPITALS_SHARE: f64 = 1493.0 / 2048.0;

/// Fewest letters that are left of a text that is shortened.
const LEAST_LETTERS: usize = 6;

static FACE: LazyLock<Face<'static>> = LazyLock::new(|| {
    Face::parse(FONT, 0).unwrap_or_else(|e| panic!("the font of the program cannot be read: {e}"))
});

/// One letter as the font has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Glyph {
    /// Its number in the font.
    pub(crate) id: u16,
    /// The letter.
    pub(crate) letter: char,
    /// How far it moves the pen, as a share of the font's size.
    pub(crate) advance: f64,
}

/// The glyphs of a text; what the font lacks is a question mark, see [`missing_letters`].
pub(crate) fn glyphs(text: &str) -> Vec<Glyph> {
    let units = f64::from(FACE.units_per_em());
    text.chars()
        .filter_map(|letter| {
            let (letter, id) = match FACE.glyph_index(letter) {
                Some(id) => (letter, id),
                None => ('?', FACE.glyph_index('?')?),
            };
            let advance = f64::from(FACE.glyph_hor_advance(id).unwrap_or(0)) / units;
            Some(Glyph { id: id.0, letter, advance })
        })
        .collect()
}

/// The letters of a text that the font lacks, each once, in order of appearance.
#[must_use]
pub fn missing_letters(text: &str) -> Vec<char> {
    let mut missing = Vec::new();
    for letter in text.chars().filter(|&c| FACE.glyph_index(c).is_none()) {
        if !missing.contains(&letter) {
            missing.push(letter);
        }
    }
    missing
}

/// Width in mm of a text whose capitals are `height_mm` high.
#[must_use]
pub fn width_mm(text: &str, height_mm: f64) -> f64 {
    glyphs(text).iter().map(|g| g.advance).sum::<f64>() * height_mm / CAPITALS_SHARE
}

/// A text that is no wider than `room_mm`: whole, or its beginning and its end with dots between; `None` when there is
/// no room even for a few letters.
#[must_use]
pub fn shortened(text: &str, height_mm: f64, room_mm: f64) -> Option<String> {
    if width_mm(text, height_mm) <= room_mm {
        return Some(text.into());
    }
    let letters: Vec<char> = text.chars().collect();
    // The end of a file's name tells versions apart, so both ends stay.
    let kept = |count: usize| {
        let tail = count / 3;
        let head: String = letters[..count - tail].iter().collect();
        let end: String = letters[letters.len() - tail..].iter().collect();
        // The dots take the place of a full stop or a space beside them.
        let bare = |c: char| c == '.' || c.is_whitespace();
        format!("{}...{}", head.trim_end_matches(bare), end.trim_start_matches(bare))
    };
    (LEAST_LETTERS..letters.len()).rev().map(kept).find(|short| width_mm(short, height_mm) <= room_mm)
}

/// A text in lines no wider than a room.
#[must_use]
pub fn wrapped(text: &str, room_mm: f64, height_mm: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if width_mm(&format!("{line} {word}"), height_mm) <= room_mm => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.into()),
        }
    }
    lines
}

/// Outlines of a text in mm, y down: its baseline begins at `at` and runs on after so many quarter turns clockwise.
pub(crate) fn outline(text: &str, at: Point, height_mm: f64, quarter_turns: u8) -> BezPath {
    let size_mm = height_mm / CAPITALS_SHARE;
    let per_unit = size_mm / f64::from(FACE.units_per_em());
    let turn = Affine::translate(at.to_vec2()) * quarter_turned(quarter_turns);
    let mut whole = BezPath::new();
    let mut along_mm = 0.0;
    for glyph in glyphs(text) {
        let mut drawn = Outline(BezPath::new());
        FACE.outline_glyph(GlyphId(glyph.id), &mut drawn);
        let place = turn
            * Affine::translate(Vec2::new(along_mm, 0.0))
            * Affine::scale_non_uniform(per_unit, -per_unit);
        whole.extend((place * drawn.0).elements().iter().copied());
        along_mm += glyph.advance * size_mm;
    }
    whole
}

/// Quarter turns clockwise as seen on the sheet (y down), exact.
pub(crate) fn quarter_turned(quarter_turns: u8) -> Affine {
    match quarter_turns % 4 {
        0 => Affine::IDENTITY,
        1 => Affine::new([0.0, 1.0, -1.0, 0.0, 0.0, 0.0]),
        2 => Affine::new([-1.0, 0.0, 0.0, -1.0, 0.0, 0.0]),
        _ => Affine::new([0.0, -1.0, 1.0, 0.0, 0.0, 0.0]),
    }
}

/// What the descriptor of an embedded font has to say, in thousandths of the font's size.
pub(crate) struct Metrics {
    /// Smallest box that holds every glyph: left, bottom, right, top.
    pub(crate) bounds: [f64; 4],
    /// Above the baseline.
    pub(crate) ascent: f64,
    /// Below it, negative.
    pub(crate) descent: f64,
}

/// The font's metrics.
pub(crate) fn metrics() -> Metrics {
    let thousandths = |units: i16| f64::from(units) * 1000.0 / f64::from(FACE.units_per_em());
    let b = FACE.global_bounding_box();
    Metrics {
        bounds: [b.x_min, b.y_min, b.x_max, b.y_max].map(thousandths),
        ascent: thousandths(FACE.ascender()),
        descent: thousandths(FACE.descender()),
    }
}

/// Collects a glyph's outline.
struct Outline(BezPath);

impl OutlineBuilder for Outline {
    fn move_to(&mut self, x: f32, y: f32) {
        self.0.move_to((f64::from(x), f64::from(y)));
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.0.line_to((f64::from(x), f64::from(y)));
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.0.quad_to((f64::from(x1), f64::from(y1)), (f64::from(x), f64::from(y)));
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.0.curve_to(
            (f64::from(x1), f64::from(y1)),
            (f64::from(x2), f64::from(y2)),
            (f64::from(x), f64::from(y)),
        );
    }

    fn close(&mut self) {
        self.0.close_path();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use kurbo::Shape;

    #[test]
    fn capitals_have_the_height_asked_for_whichever_way_they_run() {
        // ISO 3098-1: lettering is named by the height of its capitals.
        let at = Point::new(40.0, 60.0);
        for (turns, expected) in [(0, [40.0, 57.5]), (1, [40.0, 60.0]), (2, [0.0, 60.0]), (3, [37.5, 0.0])] {
            let b = outline("H", at, 2.5, turns).bounding_box();
            let (high, low) = if turns % 2 == 0 { (b.height(), b.y0) } else { (b.width(), b.x0) };
            assert!((high - 2.5).abs() < 1e-9, "{turns} quarter turns: {high} mm high");
            let wanted = if turns % 2 == 0 { expected[1] } else { expected[0] };
            assert!((low - wanted).abs() < 1e-9, "{turns} quarter turns: the letter begins at {low}");
        }
    }

    #[test]
    fn the_advance_is_that_of_the_font() {
        // DejaVu Sans Condensed 2.37, advance widths by fontTools 4: H 1386, I 543, l 512 of 2048 units.
        for (letter, units) in [("H", 1386.0), ("I", 543.0), ("l", 512.0)] {
            let wanted = units / 2048.0 * 2.5 / CAPITALS_SHARE;
            assert!((width_mm(letter, 2.5) - wanted).abs() < 1e-9, "{letter}");
        }
    }

    #[test]
    fn a_text_is_shortened_in_its_middle_to_the_room_there_is() {
        let name = "a picture scanned from a book, plate 12, final.png";
        assert_eq!(shortened(name, 2.0, 200.0).as_deref(), Some(name), "there is room");
        for room in [20.0, 35.0, 50.0] {
            let short = shortened(name, 2.0, room).unwrap_or_else(|| panic!("{room} mm are enough"));
            assert!(width_mm(&short, 2.0) <= room, "{short} in {room} mm");
            assert!(short.starts_with("a p") && short.contains("...") && short.ends_with("ng"), "{short}");
        }
        assert_eq!(shortened(name, 2.0, 5.0), None, "room for nothing");
        for room in 12..40 {
            let short = shortened("still-life-hatched.png", 2.0, f64::from(room)).unwrap_or_default();
            assert!(!short.contains("....") && !short.contains("... "), "{short}");
        }
    }

    #[test]
    fn letters_that_the_font_lacks_are_named() {
        assert!(
            missing_letters("Büste à l'œuvre – Şžłű, Ωμέγα, Мастер ← 5 ×").is_empty(),
            "Europe's letters"
        );
        assert_eq!(missing_letters("静物 still life 静"), ['静', '物'], "each once");
        assert_eq!(glyphs("静")[0].letter, '?', "and written as a question mark");
    }
}
