//! The font in the file: the glyphs that are used and no others, with what makes the text searchable.

use super::{Name, Pdf, Ref, Str, packed};
use crate::sheet::lettering::{self, CAPITALS_SHARE, FONT, FONT_NAME, Glyph, metrics};
use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Filter, Rect};
use std::collections::BTreeMap;
use subsetter::GlyphRemapper;

/// The letters of a file, and where they are in the font that it embeds.
pub(super) struct Letters {
    remapper: GlyphRemapper,
    used: BTreeMap<u16, Glyph>,
}

impl Letters {
    /// The letters of some texts.
    pub(super) fn of<'a>(texts: impl Iterator<Item = &'a str>) -> Self {
        let mut letters = Self { remapper: GlyphRemapper::new(), used: BTreeMap::new() };
        for text in texts {
            for glyph in lettering::glyphs(text) {
                letters.used.insert(letters.remapper.remap(glyph.id), glyph);
            }
        }
        letters
    }

    /// Whether there is nothing to write.
    pub(super) fn is_empty(&self) -> bool {
        self.used.is_empty()
    }

    /// A text as the file has it: two bytes a glyph.
    pub(super) fn encoded(&self, text: &str) -> Vec<u8> {
        lettering::glyphs(text)
            .iter()
            .flat_map(|glyph| self.remapper.get(glyph.id).unwrap_or(0).to_be_bytes())
            .collect()
    }

    /// Writes the font as a composite one (ISO 32000-1, 9.7) under `font`, with five objects from `next` on.
    pub(super) fn write(&self, pdf: &mut Pdf, font: Ref, mut next: impl FnMut() -> Ref) {
        let [cid, descriptor, file, cmap] = [next(), next(), next(), next()];
        let program = subsetter::subset(FONT, 0, &self.remapper)
            .unwrap_or_else(|e| panic!("the font of the program cannot be divided: {e}"));
        // Six capitals that stand for the glyphs taken (ISO 32000-1, 9.6.4).
        let mut hash =
            self.used.values().fold(0_u64, |h, g| h.wrapping_mul(31).wrapping_add(u64::from(g.id) + 1));
        let mut tag = String::new();
        for _ in 0..6 {
            tag.push(char::from(b'A' + (hash % 26) as u8));
            hash /= 26;
        }
        let name = format!("{tag}+{FONT_NAME}");
        let name = Name(name.as_bytes());
        let system = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };
        pdf.type0_font(font)
            .base_font(name)
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(cid)
            .to_unicode(cmap);
        let mut of_glyphs = pdf.cid_font(cid);
        of_glyphs
            .subtype(CidFontType::Type2)
            .base_font(name)
            .system_info(system)
            .font_descriptor(descriptor)
            .default_width(0.0)
            .cid_to_gid_map_predefined(Name(b"Identity"));
        let mut widths = of_glyphs.widths();
        for (&id, glyph) in &self.used {
            widths.same(id, id, (glyph.advance * 1000.0) as f32);
        }
        drop(widths);
        drop(of_glyphs);
        let m = metrics();
        let [left, bottom, right, top] = m.bounds.map(|n| n as f32);
        pdf.font_descriptor(descriptor)
            .name(name)
            .flags(FontFlags::SYMBOLIC)
            .bbox(Rect::new(left, bottom, right, top))
            .italic_angle(0.0)
            .ascent(m.ascent as f32)
            .descent(m.descent as f32)
            .cap_height((CAPITALS_SHARE * 1000.0) as f32)
            .stem_v(80.0)
            .font_file2(file);
        let length = program.len() as i32;
        let program = packed(&program);
        pdf.stream(file, &program).filter(Filter::FlateDecode).pair(Name(b"Length1"), length);
        let mut names = UnicodeCmap::new(Name(b"Letters"), system);
        for (&id, glyph) in &self.used {
            names.pair(id, glyph.letter);
        }
        pdf.cmap(cmap, &names.finish());
    }
}
