//! The drawing as PDF pages of exactly the size of the paper: vector lines in layers, not to be scaled in print.

mod content;
mod font;
mod outline;

use super::{DrawingOptions, Underlay, clean_title};
use crate::sheet::{Layer, Page, Placement, Printing};
use crate::strokes::StrokePlan;
use crate::units::MM_PER_INCH;
use font::Letters;
use kurbo::Affine;
use miniz_oxide::deflate::compress_to_vec_zlib;
use outline::Bookmark;
use pdf_writer::types::PageMode;
use pdf_writer::writers::Resources;
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use xmp_writer::{LangId, XmpWriter};

/// Points in a millimetre: 72 to the inch (ISO 32000-1, 8.3.2.3).
const PT_PER_MM: f64 = 72.0 / MM_PER_INCH;
/// Longest side of a page in its own units (ISO 32000-1, annex C); larger sheets take larger units.
const LONGEST_SIDE_UNITS: f64 = 14_400.0;
/// Compression of streams, 0 to 10.
const COMPRESSION: u8 = 8;
/// Language of the lettering.
const LANGUAGE: &str = "en";
/// Names in the content: the font, the reference, the drawing and what is around it.
const FONT: &[u8] = b"Letters";
const IMAGE: &str = "Reference";
const DRAWING: &[u8] = b"Drawing";
const AROUND: &[u8] = b"Around";

/// The name of one of a sheet's pictures.
fn image_name(place: usize) -> Vec<u8> {
    if place == 0 { IMAGE.into() } else { format!("{IMAGE}{place}").into_bytes() }
}

/// The drawing as the bytes of a PDF 1.7 file (ISO 32000-1) with one page of the sheet's size.
#[must_use]
pub fn pdf(plan: &StrokePlan, placement: &Placement, options: &DrawingOptions) -> Vec<u8> {
    pdf_pages(plan, placement, options, &Printing::plain(placement.sheet_mm))
}

/// The drawing as the bytes of a PDF 1.7 file, on the pages that it is laid out on.
///
/// Plan, placement and options are of the sheet as shown.
#[must_use]
pub fn pdf_pages(
    plan: &StrokePlan,
    placement: &Placement,
    options: &DrawingOptions,
    printing: &Printing,
) -> Vec<u8> {
    pdf_sheets(&options.title, &[PdfSheet { plan, placement, options, printing }])
}

/// One sheet of a PDF, as shown.
#[derive(Clone, Copy, Debug)]
pub struct PdfSheet<'a> {
    /// Its strokes.
    pub plan: &'a StrokePlan,
    /// Sheet and picture.
    pub placement: &'a Placement,
    /// How it looks, and what is printed around the picture.
    pub options: &'a DrawingOptions,
    /// The pages that it is laid out on.
    pub printing: &'a Printing,
}

/// Several sheets, one after the other, as the bytes of one PDF 1.7 file.
#[must_use]
pub fn pdf_sheets(title: &str, sheets: &[PdfSheet<'_>]) -> Vec<u8> {
    whole(title, sheets, &[])
}

/// Sheets that a reader finds under one name.
#[derive(Clone, Debug)]
pub struct PdfPart<'a> {
    /// The name.
    pub title: &'a str,
    /// The sheets, one after the other.
    pub sheets: Vec<PdfSheet<'a>>,
}

/// The same with a bookmark for each part (ISO 32000-1, 12.3.3).
#[must_use]
pub fn pdf_parts(title: &str, parts: &[PdfPart<'_>]) -> Vec<u8> {
    let mut page = 0;
    let mut bookmarks = Vec::new();
    for part in parts {
        let count: usize = part.sheets.iter().map(|sheet| sheet.printing.pages.len()).sum();
        if count > 0 {
            bookmarks.push(Bookmark { title: clean_title(part.title), page });
        }
        page += count;
    }
    let sheets: Vec<PdfSheet<'_>> = parts.iter().flat_map(|part| part.sheets.iter().copied()).collect();
    whole(title, &sheets, &bookmarks)
}

/// All of a file.
fn whole(title: &str, sheets: &[PdfSheet<'_>], bookmarks: &[Bookmark]) -> Vec<u8> {
    let title = clean_title(title);
    let pages = || sheets.iter().flat_map(|sheet| &sheet.printing.pages);
    let own_texts = pages().flat_map(|page| &page.own.texts);
    let texts = sheets.iter().flat_map(|sheet| &sheet.options.furniture.texts).chain(own_texts);
    let letters = Letters::of(texts.map(|text| text.text.as_str()));
    let mut objects = Objects::new(sheets, &letters, bookmarks.len());
    let mut pdf = Pdf::new();
    let mut hashed: Vec<u8> = title.clone().into_bytes();
    let unit = pages().map(|page| unit_of(page.size_mm)).fold(1.0, f64::max);

    write_catalog(&mut pdf, &objects);
    pdf.pages(objects.pages).kids(objects.page.iter().copied()).count(objects.page.len() as i32);
    let mut numbers = objects.page.iter().copied().zip(objects.content.iter().copied());
    for (sheet, own) in sheets.iter().zip(&objects.sheets) {
        // One page draws the sheet itself; several share it.
        let shared = sheet.printing.pages.len() > 1;
        if shared {
            write_forms(&mut pdf, sheet, own, &objects, &letters, &mut hashed);
        }
        for (page, (id, stream)) in sheet.printing.pages.iter().zip(&mut numbers) {
            let [width, height] = page.size_mm.map(|side| side * PT_PER_MM / unit);
            let edge = Rect::new(0.0, 0.0, width as f32, height as f32);
            let mut entry = pdf.page(id);
            entry.parent(objects.pages).media_box(edge).crop_box(edge).trim_box(edge).contents(stream);
            if unit > 1.0 {
                entry.user_unit(unit as f32);
            }
            objects.list(entry.resources(), own, shared);
            entry.finish();
            let bytes = page_content(page, sheet, &letters, (PT_PER_MM / unit, shared));
            hashed.extend(&bytes);
            hashed.extend(format!("{width} {height}").bytes());
            pdf.stream(stream, &packed(&bytes)).filter(Filter::FlateDecode);
        }
    }
    for &(layer, id) in &objects.layers {
        let mut group = pdf.indirect(id).dict();
        group.pair(Name(b"Type"), Name(b"OCG")).pair(Name(b"Name"), TextStr(layer.title()));
    }
    for (sheet, own) in sheets.iter().zip(&objects.sheets) {
        for (&id, picture) in own.images.iter().zip(sheet.options.pictures()) {
            hashed.extend(picture.grey.data());
            write_image(&mut pdf, id, picture);
        }
    }
    if let Some(font) = objects.font {
        letters.write(&mut pdf, font, || objects.counter.take());
    }
    outline::write(&mut pdf, &objects.bookmarks, bookmarks, &objects.page);
    hashed.extend(bookmarks.iter().flat_map(|bookmark| bookmark.title.bytes()));
    let mut info = pdf.document_info(objects.info);
    if !title.is_empty() {
        info.title(TextStr(&title));
    }
    info.creator(TextStr("merestone")).producer(TextStr("merestone"));
    info.finish();
    let xmp = metadata(&title);
    pdf.metadata(objects.xmp, xmp.as_bytes());

    // The same drawing has the same id, another one another: no clock and no chance in it.
    let id = fnv1a_128(&[&hashed]);
    pdf.set_file_id((id.clone(), id));
    pdf.finish()
}

/// Writes what the pages of one sheet share: its drawing, and what is around it.
fn write_forms(
    pdf: &mut Pdf,
    sheet: &PdfSheet<'_>,
    own: &SheetObjects,
    objects: &Objects,
    letters: &Letters,
    hashed: &mut Vec<u8>,
) {
    let PdfSheet { plan, placement, options, .. } = *sheet;
    let around = &options.furniture;
    let mut drawing = Content::new();
    content::with_pencil(&mut drawing, options.ink);
    content::reference(&mut drawing, options);
    content::furniture(&mut drawing, around, options.ink, letters, true);
    content::drawing(&mut drawing, plan, placement, options);
    let mut beside = Content::new();
    content::with_pencil(&mut beside, options.ink);
    content::furniture(&mut beside, around, options.ink, letters, false);
    let [width, height] = placement.sheet_mm;
    for (id, content) in [(own.drawing, drawing), (own.around, beside)] {
        let bytes = content.finish().into_vec();
        hashed.extend(&bytes);
        let bytes = packed(&bytes);
        let mut form = pdf.form_xobject(id, &bytes);
        form.filter(Filter::FlateDecode);
        form.bbox(Rect::new(0.0, 0.0, width as f32, height as f32));
        objects.list(form.resources(), own, false);
    }
}

/// How many points a page's unit has to be for the page to be within what a reader counts.
fn unit_of(size_mm: [f64; 2]) -> f64 {
    (size_mm[0].max(size_mm[1]) * PT_PER_MM / LONGEST_SIDE_UNITS).ceil().max(1.0)
}

/// Gives out numbers of objects.
struct Counter(i32);

impl Counter {
    fn take(&mut self) -> Ref {
        self.0 += 1;
        Ref::new(self.0)
    }
}

/// The numbers of the file's objects.
struct Objects {
    catalog: Ref,
    pages: Ref,
    page: Vec<Ref>,
    content: Vec<Ref>,
    info: Ref,
    xmp: Ref,
    layers: Vec<(Layer, Ref)>,
    sheets: Vec<SheetObjects>,
    font: Option<Ref>,
    /// The outline, then its entries; none without bookmarks.
    bookmarks: Vec<Ref>,
    counter: Counter,
}

/// The numbers of one sheet's own objects.
struct SheetObjects {
    drawing: Ref,
    around: Ref,
    images: Vec<Ref>,
}

impl Objects {
    fn new(sheets: &[PdfSheet<'_>], letters: &Letters, bookmarks: usize) -> Self {
        let mut counter = Counter(0);
        let held_by = |sheet: &PdfSheet<'_>, layer: Layer| match layer {
            Layer::Reference => sheet.options.pictures().next().is_some(),
            Layer::Hard | Layer::Soft => true,
            Layer::Thin => !sheet.plan.thin.is_empty(),
            Layer::Guides => !sheet.plan.guides.is_empty(),
            _ => {
                sheet.options.furniture.has(layer)
                    || sheet.printing.pages.iter().any(|page| page.own.has(layer))
            }
        };
        let held = |&layer: &Layer| sheets.iter().any(|sheet| held_by(sheet, layer));
        let count = sheets.iter().map(|sheet| sheet.printing.pages.len()).sum();
        let mut many = |count: usize| (0..count).map(|_| counter.take()).collect::<Vec<_>>();
        let [page, content] = [many(count), many(count)];
        Self {
            page,
            content,
            catalog: counter.take(),
            pages: counter.take(),
            info: counter.take(),
            xmp: counter.take(),
            layers: Layer::ALL.into_iter().filter(held).map(|l| (l, counter.take())).collect(),
            sheets: sheets
                .iter()
                .map(|sheet| SheetObjects {
                    drawing: counter.take(),
                    around: counter.take(),
                    images: sheet.options.pictures().map(|_| counter.take()).collect(),
                })
                .collect(),
            font: (!letters.is_empty()).then(|| counter.take()),
            bookmarks: (0..bookmarks + usize::from(bookmarks > 0)).map(|_| counter.take()).collect(),
            counter,
        }
    }

    /// Lists what a content may use; `shared`: the sheet as a part of the page.
    fn list(&self, mut resources: Resources<'_>, own: &SheetObjects, shared: bool) {
        let mut properties = resources.insert(Name(b"Properties")).dict();
        for &(layer, id) in &self.layers {
            properties.pair(Name(content::property(layer)), id);
        }
        properties.finish();
        if let Some(font) = self.font {
            resources.fonts().pair(Name(FONT), font);
        }
        if !own.images.is_empty() || shared {
            let mut parts = resources.x_objects();
            for (k, &image) in own.images.iter().enumerate() {
                parts.pair(Name(&image_name(k)), image);
            }
            if shared {
                parts.pair(Name(DRAWING), own.drawing).pair(Name(AROUND), own.around);
            }
        }
    }
}

/// The catalog: layers, language, and the wish that the viewer prints at full size.
fn write_catalog(pdf: &mut Pdf, objects: &Objects) {
    let listed = || objects.layers.iter().map(|&(_, id)| id);
    let mut catalog = pdf.catalog(objects.catalog);
    catalog.pages(objects.pages).metadata(objects.xmp).lang(TextStr(LANGUAGE));
    if let Some(&outline) = objects.bookmarks.first() {
        catalog.outlines(outline).page_mode(PageMode::UseOutlines);
    }
    // ISO 32000-1, table 150: None asks for no scaling; the writer has no method of its own for it.
    catalog.viewer_preferences().display_doc_title(true).pair(Name(b"PrintScaling"), Name(b"None"));
    let mut optional = catalog.insert(Name(b"OCProperties")).dict();
    optional.insert(Name(b"OCGs")).array().items(listed());
    let mut shown = optional.insert(Name(b"D")).dict();
    shown.pair(Name(b"Name"), TextStr("Boundary lines"));
    shown.insert(Name(b"Order")).array().items(listed());
    shown.insert(Name(b"ON")).array().items(listed());
}

/// One page's content, not yet compressed; `shared`: the sheet is drawn once and placed here.
fn page_content(
    page: &Page,
    sheet: &PdfSheet<'_>,
    letters: &Letters,
    (units_per_mm, shared): (f64, bool),
) -> Vec<u8> {
    let PdfSheet { plan, placement, options, .. } = *sheet;
    let mut content = Content::new();
    content::in_mm(&mut content, units_per_mm, page.size_mm[1]);
    let moved = page.sheet.transform != Affine::IDENTITY || page.sheet.shows.is_some();
    if moved {
        content.save_state();
        content::transform(&mut content, page.sheet.transform);
        if let Some(shows) = &page.sheet.shows {
            content::clip(&mut content, shows);
        }
    }
    if shared {
        content.x_object(Name(DRAWING));
        // The small sheet of the assembly page shows the lines alone.
        if page.sheet.shows.is_some() {
            content.x_object(Name(AROUND));
        }
    } else {
        content::with_pencil(&mut content, options.ink);
        content::reference(&mut content, options);
        content::furniture(&mut content, &options.furniture, options.ink, letters, true);
        content::drawing(&mut content, plan, placement, options);
        content::furniture(&mut content, &options.furniture, options.ink, letters, false);
    }
    if moved {
        content.restore_state();
    }
    content::clear(&mut content, &page.own.cleared);
    content::with_pencil(&mut content, options.ink);
    content::furniture(&mut content, &page.own, options.ink, letters, false);
    content.restore_state();
    content.finish().into_vec()
}

/// The reference as a grey image.
fn write_image(pdf: &mut Pdf, id: Ref, underlay: &Underlay) {
    let grey = &underlay.grey;
    let bytes = packed(grey.data());
    let mut image = pdf.image_xobject(id, &bytes);
    image.filter(Filter::FlateDecode);
    image.width(grey.width() as i32).height(grey.height() as i32);
    image.color_space().device_gray();
    image.bits_per_component(8).interpolate(true);
}

/// Bytes as a stream holds them.
fn packed(bytes: &[u8]) -> Vec<u8> {
    compress_to_vec_zlib(bytes, COMPRESSION)
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
