//! The drawing as a PDF page of exactly the sheet's size: vector lines in two layers, not to be scaled in print.

use super::number::rounded;
use super::{DrawingOptions, clean_title};
use crate::sheet::Placement;
use crate::strokes::StrokePlan;
use crate::units::MM_PER_INCH;
use kurbo::CubicBez;
use miniz_oxide::deflate::compress_to_vec_zlib;
use pdf_writer::types::{LineCapStyle, LineJoinStyle};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, TextStr};
use xmp_writer::{LangId, XmpWriter};

/// Points in a millimetre: 72 to the inch (ISO 32000-1, 8.3.2.3).
const PT_PER_MM: f64 = 72.0 / MM_PER_INCH;
/// Longest side of a page in its own units (ISO 32000-1, annex C); larger sheets take larger units.
const LONGEST_SIDE_UNITS: f64 = 14_400.0;
/// Compression of streams, 0 to 10.
const COMPRESSION: u8 = 8;
/// Names of the layers in the content, and as a viewer lists them; the last is there only when it holds something.
const LAYERS: [(&[u8], &str); 3] =
    [(b"Hard", "Hard edges"), (b"Soft", "Soft edges"), (b"Thin", "Thin marks")];

const CATALOG: Ref = Ref::new(1);
const PAGES: Ref = Ref::new(2);
const PAGE: Ref = Ref::new(3);
const CONTENT: Ref = Ref::new(4);
const INFO: Ref = Ref::new(5);
const XMP: Ref = Ref::new(6);
const LAYER_REFS: [Ref; 3] = [Ref::new(7), Ref::new(8), Ref::new(9)];

/// The drawing as the bytes of a PDF 1.7 file (ISO 32000-1) with one page.
#[must_use]
pub fn pdf(plan: &StrokePlan, placement: &Placement, options: &DrawingOptions) -> Vec<u8> {
    let [width, height] = placement.sheet_mm.map(|side| side * PT_PER_MM);
    let unit = (width.max(height) / LONGEST_SIDE_UNITS).ceil().max(1.0);
    let title = clean_title(&options.title);
    let content = page_content(plan, placement, options, unit);
    let mut pdf = Pdf::new();

    let layers = if plan.thin.is_empty() { 2 } else { 3 };
    write_catalog(&mut pdf, layers);
    pdf.pages(PAGES).kids([PAGE]).count(1);
    let mut page = pdf.page(PAGE);
    let edge = Rect::new(0.0, 0.0, (width / unit) as f32, (height / unit) as f32);
    page.parent(PAGES).media_box(edge).crop_box(edge).trim_box(edge).contents(CONTENT);
    if unit > 1.0 {
        page.user_unit(unit as f32);
    }
    let mut resources = page.resources();
    let mut properties = resources.insert(Name(b"Properties")).dict();
    for ((name, _), layer) in LAYERS.iter().zip(LAYER_REFS).take(layers) {
        properties.pair(Name(name), layer);
    }
    properties.finish();
    resources.finish();
    page.finish();

    let packed = compress_to_vec_zlib(&content, COMPRESSION);
    pdf.stream(CONTENT, &packed).filter(Filter::FlateDecode);
    for ((_, shown), layer) in LAYERS.iter().zip(LAYER_REFS).take(layers) {
        let mut group = pdf.indirect(layer).dict();
        group.pair(Name(b"Type"), Name(b"OCG")).pair(Name(b"Name"), TextStr(shown));
    }
    let mut info = pdf.document_info(INFO);
    if !title.is_empty() {
        info.title(TextStr(&title));
    }
    info.creator(TextStr("merestone")).producer(TextStr("merestone"));
    info.finish();
    let xmp = metadata(&title);
    pdf.metadata(XMP, xmp.as_bytes());

    // The same drawing has the same id, another one another: no clock and no chance in it.
    let id = fnv1a_128(&[title.as_bytes(), &content, format!("{width} {height}").as_bytes()]);
    pdf.set_file_id((id.clone(), id));
    pdf.finish()
}

/// The catalog: layers, and the wish that the viewer prints at full size.
fn write_catalog(pdf: &mut Pdf, layers: usize) {
    let listed = || LAYER_REFS.into_iter().take(layers);
    let mut catalog = pdf.catalog(CATALOG);
    catalog.pages(PAGES).metadata(XMP);
    // ISO 32000-1, table 150: None asks for no scaling; the writer has no method of its own for it.
    catalog.viewer_preferences().display_doc_title(true).pair(Name(b"PrintScaling"), Name(b"None"));
    let mut optional = catalog.insert(Name(b"OCProperties")).dict();
    optional.insert(Name(b"OCGs")).array().items(listed());
    let mut shown = optional.insert(Name(b"D")).dict();
    shown.pair(Name(b"Name"), TextStr("Boundary lines"));
    shown.insert(Name(b"Order")).array().items(listed());
    shown.insert(Name(b"ON")).array().items(listed());
}

/// The page's content in mm from its top left, y down, not yet compressed.
fn page_content(plan: &StrokePlan, placement: &Placement, options: &DrawingOptions, unit: f64) -> Vec<u8> {
    let mut content = Content::new();
    let mm = (PT_PER_MM / unit) as f32;
    let top = (placement.sheet_mm[1] * PT_PER_MM / unit) as f32;
    content.save_state().transform([mm, 0.0, 0.0, -mm, 0.0, top]);
    content.set_line_cap(LineCapStyle::RoundCap).set_line_join(LineJoinStyle::RoundJoin).set_stroke_gray(0.0);
    let of_edges = |hard: bool| -> Vec<(&[CubicBez], bool)> {
        plan.strokes.iter().filter(|s| s.hard == hard).map(|s| (&s.curve[..], s.closed)).collect()
    };
    let thin: Vec<(&[CubicBez], bool)> = plan.thin.iter().map(|s| (&s.curve[..], false)).collect();
    let layers = [
        (of_edges(true), options.line_mm),
        (of_edges(false), options.soft_line_mm),
        (thin, options.soft_line_mm),
    ];
    let shown = if plan.thin.is_empty() { 2 } else { 3 };
    for ((name, _), (lines, line_mm)) in LAYERS.into_iter().zip(layers).take(shown) {
        content.begin_marked_content_with_properties(Name(b"OC")).properties_named(Name(name));
        content.set_line_width(written(line_mm));
        for (curve, closed) in lines {
            draw(&mut content, curve, closed);
        }
        content.end_marked_content();
    }
    if options.frame {
        let p = placement.picture_mm;
        content.set_line_width(written(options.soft_line_mm));
        content.rect(written(p.x), written(p.y), written(p.width), written(p.height)).stroke();
    }
    content.restore_state();
    content.finish().into_vec()
}

fn draw(content: &mut Content, curve: &[CubicBez], closed: bool) {
    let Some(first) = curve.first() else { return };
    content.move_to(written(first.p0.x), written(first.p0.y));
    for c in curve {
        let [p1, p2, p3] = [c.p1, c.p2, c.p3].map(|p| [written(p.x), written(p.y)]);
        content.cubic_to(p1[0], p1[1], p2[0], p2[1], p3[0], p3[1]);
    }
    if closed {
        content.close_path();
    }
    content.stroke();
}

/// A length as the writer takes it; at 10 m an f32 still tells half a micrometre from the next.
fn written(mm: f64) -> f32 {
    rounded(mm) as f32
}

/// Title and maker as XMP (ISO 16684-1), for readers that ignore the information dictionary.
fn metadata(title: &str) -> String {
    let mut xmp = XmpWriter::new();
    xmp.format("application/pdf").creator_tool("merestone").producer("merestone").pdf_version("1.7");
    if !title.is_empty() {
        xmp.title([(None::<LangId<'_>>, title)]);
    }
    xmp.finish(None)
}

/// FNV-1a hash of 128 bits over all parts in turn (Fowler, Noll & Vo; RFC 9923).
fn fnv1a_128(parts: &[&[u8]]) -> Vec<u8> {
    const BASIS: u128 = 0x6c62_272e_07bb_0142_62b8_2175_6295_c58d;
    const PRIME: u128 = (1 << 88) + 0x13b;
    let hash = parts
        .iter()
        .flat_map(|part| part.iter())
        .fold(BASIS, |h, &byte| (h ^ u128::from(byte)).wrapping_mul(PRIME));
    hash.to_be_bytes().to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_has_its_published_values() {
        // Test vectors of FNV-1a 128: "" is the offset basis, "a" from memory.
        let hex = |text: &[u8]| fnv1a_128(&[text]).iter().map(|b| format!("{b:02x}")).collect::<String>();
        assert_eq!(hex(b""), "6c62272e07bb014262b821756295c58d", "nothing hashes to the basis");
        assert_eq!(hex(b"a"), "d228cb696f1a8caf78912b704e4a8964", "one letter");
    }
}
