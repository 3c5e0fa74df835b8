//! Page: a reference as it comes, a photograph of a page or a print on a wall, made into the picture alone.
//!
//! Corners are found or given and the page is laid flat; its light is evened by the paper's own white; rules, captions
//! and page numbers are left out; what is to be cropped is cut. All of it in linear light, at the reference's own
//! resolution, and only what is asked for, except that a rule round a picture is always left out unless it is to stay.

mod find;
mod frame;
mod homography;
mod light;
mod place;
mod rules;
mod shape;
mod sides;
mod surface;
mod view;
mod warp;

use serde::Serialize;
use thiserror::Error;

use crate::notes::Noted;
use crate::raster::Raster;
use crate::units::MM_PER_INCH;

use super::Reference;
use find::LEAST_CONFIDENCE;
use homography::{Homography, Quad, check_corners, rectangle};
use place::PixelRect;

pub use frame::FrameFigures;
pub use light::{EvenLight, LightFigures};
pub use place::{Corner, Crop, Measure};
pub use shape::TrueShape;

/// Where the page is in the reference.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum PageCorners {
    /// The reference is the page.
    #[default]
    Whole,
    /// Found in the reference.
    Found,
    /// Given: top left, top right, bottom right, bottom left.
    Given([Corner; 4]),
}

/// What is to be done to a reference before it is studied.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PageOptions {
    /// Where the page is.
    pub corners: PageCorners,
    /// What is known of its true shape.
    pub true_shape: TrueShape,
    /// How its light is evened, if at all.
    pub even_light: Option<EvenLight>,
    /// Whether rules, captions and page numbers stay.
    pub keep_frame: bool,
    /// What is kept of the page.
    pub crop: Option<Crop>,
    /// Whether a picture before and after is made.
    pub before_after: bool,
}

/// Why a reference cannot be made into the picture.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum PageError {
    /// A corner that is not in the reference.
    #[error(
        "corner {corner} lies outside the reference, at {:.0},{:.0} of its {} x {} pixels; list four corners inside it",
        at[0], at[1], size[0], size[1]
    )]
    CornerOutside {
        /// Which, from 1.
        corner: usize,
        /// Where, in pixels.
        at: [f64; 2],
        /// Size of the reference in pixels.
        size: [usize; 2],
    },
    /// Three corners that make no triangle.
    #[error(
        "corners {}, {} and {} lie in one line, and no page looks so; list the page's top left, top right, bottom right \
         and bottom left corner",
        corners[0], corners[1], corners[2]
    )]
    CornersInLine {
        /// Which, from 1.
        corners: [usize; 3],
    },
    /// Corners whose sides cross.
    #[error(
        "the sides between the corners cross; list the corners in their order round the page: top left, top right, bottom \
         right, bottom left"
    )]
    CornersCrossed,
    /// Corners the other way round.
    #[error(
        "the corners go round anticlockwise, which would mirror the picture; list top left, top right, bottom right, \
         bottom left"
    )]
    CornersAnticlockwise,
    /// One corner inside the triangle of the others.
    #[error(
        "one corner lies between the other three, and no page looks so; list the four corners of the page"
    )]
    CornersDented,
    /// Nothing that looks like a page.
    #[error(
        "no page or picture with four straight sides is seen in the reference; give its corners with --corners, or cut it \
         out with --crop"
    )]
    NoPage,
    /// Something that may be a page.
    #[error(
        "the page is not sure: only {:.0} % of its weakest side is seen as an edge (corners at {}), and {:.0} % are needed; \
         give its corners with --corners, or photograph it whole on something darker or lighter",
        confidence * 100.0, list_of(quad), LEAST_CONFIDENCE * 100.0
    )]
    UnsurePage {
        /// Share of the weakest side, 0 to 1.
        confidence: f64,
        /// The corners that were found, in pixels.
        quad: [[f64; 2]; 4],
    },
    /// No paper to tell the light by.
    #[error(
        "no bare paper can be told in the reference, neither round the picture nor between strokes, so its light cannot \
         be told from its tones; leave --even-light out, or let it be guessed with --even-light=guess"
    )]
    NoPaper,
    /// A crop that reaches out of the picture.
    #[error("{asked} reaches out of the picture of {} x {} pixels; keep it inside", size[0], size[1])]
    CropOutside {
        /// What was asked for.
        asked: String,
        /// Size of the page in pixels.
        size: [usize; 2],
    },
    /// A crop of no pixel.
    #[error("{asked} holds not one pixel of the picture; make it larger")]
    CropEmpty {
        /// What was asked for.
        asked: String,
    },
    /// A length on a picture of unknown scale.
    #[error(
        "{asked} cannot be measured: the reference does not state its resolution; write shares (25%) or pixels (840px), or \
         give the page's size with --true-shape"
    )]
    NoScale {
        /// What was asked for.
        asked: String,
    },
}

impl PageError {
    /// Whether the settings are at fault, not the reference.
    #[must_use]
    pub fn wrong_use(&self) -> bool {
        !matches!(self, Self::NoPage | Self::UnsurePage { .. } | Self::NoPaper)
    }
}

/// Corners as they are written for `--corners`.
fn list_of(quad: &Quad) -> String {
    quad.map(|p| format!("{:.0}px,{:.0}px", p[0], p[1])).join(" ")
}

/// How the page was laid flat.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FlatFigures {
    /// Its corners in the reference, in pixels, clockwise from the top left.
    pub corners_px: [[f64; 2]; 4],
    /// For corners that were found: how much of the weakest side was seen as an edge, 0 to 1.
    pub confidence: Option<f64>,
    /// For corners that were found: how far the most curved side strays from straight, as a share of its length.
    pub bend: Option<f64>,
    /// Width to height of the flat page.
    pub ratio: f64,
    /// For a ratio that was estimated: how far it may be off, as a share of it.
    pub ratio_doubt: Option<f64>,
    /// Width and height of the flat page in pixels.
    pub size_px: [usize; 2],
}

/// What was found and done.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PageFigures {
    /// How the page was laid flat, if it was.
    pub flat: Option<FlatFigures>,
    /// How its light was evened, if it was.
    pub light: Option<LightFigures>,
    /// What was left out round the picture, if anything.
    pub frame: Option<FrameFigures>,
    /// What is kept of the flat page: left, top, width, height in its pixels.
    pub kept_px: [usize; 4],
    /// Where the picture's corners lie in the reference, in pixels, clockwise from its top left.
    pub picture_corners_px: [[f64; 2]; 4],
}

/// A reference made into the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Repaired {
    /// The picture.
    pub reference: Reference,
    /// What was done; `None` when nothing was.
    pub figures: Option<PageFigures>,
    /// Before and after, in grey samples of sRGB, when asked for.
    pub view: Option<Raster<u8>>,
}

/// A bend of a side from which it is said, as a share of its length: 0.6 mm on 150 mm.
const SAID_BEND: f64 = 0.004;
/// A doubt of the shape from which it is said, as a share.
const SAID_DOUBT: f64 = 0.015;
/// How much of a page laid flat, and of a crop from one, is drawn from a little further in at its edges, against slivers of
/// the table or of the page's paper, which corners and crops are never quite without: a share of each side, and pixels of the
/// flat page.
const SLIVER: [f64; 2] = [0.001, 1.5];

/// Makes a reference as it comes into the picture.
///
/// # Errors
/// [`PageError`] when corners or crop make no sense, no page is found, or no paper to tell the light by.
pub fn repair(reference: Reference, options: &PageOptions) -> Result<Noted<Repaired>, PageError> {
    let size = [reference.luminance.width(), reference.luminance.height()];
    let mut notes = Vec::new();
    let before = options.before_after.then(|| view::half(&reference.luminance));
    let located = locate(&reference, options)?;
    let Reference { mut luminance, mut pixels_per_inch, sha256, format, bits, profile } = reference;
    // From pixels of the page to pixels of the reference.
    let mut place: Option<Homography> = None;
    let mut flat = None;
    if let Some((quad, found)) = located {
        let (figures, mm) = flatten(&quad, found, options.true_shape, size);
        notes.extend(flat_notes(&figures));
        luminance = warp::lay_flat(&luminance, &quad, figures.size_px, SLIVER);
        let [w, h] = figures.size_px.map(|side| side as f64);
        pixels_per_inch = mm.map(|mm| [w / mm[0] * MM_PER_INCH, h / mm[1] * MM_PER_INCH]);
        place = Homography::from_rectangle(w, h, &quad);
        flat = Some(figures);
    }
    let mut kept = PixelRect::whole(luminance.width(), luminance.height());
    let page = [luminance.width(), luminance.height()];
    let crop = options.crop.map(|c| c.pixels(page, pixels_per_inch)).transpose()?;
    // Without a page, what lies outside the crop may be anything, so it has no say in the light.
    if let (Some(rect), None) = (crop, &flat) {
        luminance = cut(luminance, rect);
        kept = rect;
    }
    let mut light = None;
    if let Some(how) = options.even_light {
        let (evened, figures) = light::even(&luminance, how)?;
        luminance = evened;
        notes.extend(light_notes(&figures));
        light = Some(figures);
    }
    let mut left_out = None;
    if let (Some(rect), Some(_)) = (crop, &flat) {
        luminance = warp::from_further_in(&cut(luminance, rect), SLIVER);
        kept = rect;
    } else if crop.is_none()
        && !options.keep_frame
        && let Some(framed) = frame::leave_out(&mut luminance, flat.is_some())
    {
        luminance = cut(luminance, framed.kept);
        notes.push(frame_note(&framed.figures));
        kept = framed.kept;
        left_out = Some(framed.figures);
    }
    let taken = corners_of(kept, place.as_ref());
    let done = flat.is_some() || light.is_some() || left_out.is_some() || crop.is_some();
    let view = before.map(|before| view::side_by_side(before, size, &taken, &view::half(&luminance)));
    let figures = done.then_some(PageFigures {
        flat,
        light,
        frame: left_out,
        kept_px: [kept.left, kept.top, kept.width, kept.height],
        picture_corners_px: taken,
    });
    let reference = Reference { luminance, pixels_per_inch, sha256, format, bits, profile };
    Ok(Noted::with(Repaired { reference, figures, view }, notes))
}

/// What finding a page says: confidence and bend.
type Seen = Option<(f64, f64)>;

/// The page's corners in the reference, if it is not the whole of it.
fn locate(reference: &Reference, options: &PageOptions) -> Result<Option<(Quad, Seen)>, PageError> {
    let size = [reference.luminance.width(), reference.luminance.height()];
    match options.corners {
        PageCorners::Whole => Ok(None),
        PageCorners::Given(corners) => {
            let mut quad = [[0.0; 2]; 4];
            for (at, corner) in quad.iter_mut().zip(corners) {
                for axis in 0..2 {
                    let ppi = reference.pixels_per_inch.map(|p| p[axis]);
                    at[axis] = corner.0[axis].pixels(size[axis], ppi)?;
                }
            }
            check_corners(&quad, size)?;
            Ok(Some((quad, None)))
        }
        PageCorners::Found => {
            let found = find::find_page(&reference.luminance).ok_or(PageError::NoPage)?;
            if found.confidence < LEAST_CONFIDENCE {
                return Err(PageError::UnsurePage { confidence: found.confidence, quad: found.quad });
            }
            Ok(Some((found.quad, Some((found.confidence, found.bend)))))
        }
    }
}

/// The figures of a flat page, and its size in mm where that is given.
fn flatten(quad: &Quad, seen: Seen, shape: TrueShape, size: [usize; 2]) -> (FlatFigures, Option<[f64; 2]>) {
    let estimate = shape::estimate(quad, size);
    let (ratio, mm) = match shape {
        TrueShape::Estimated => (estimate.ratio, None),
        TrueShape::Ratio(ratio) => (ratio, None),
        TrueShape::Size([w, h]) => {
            let off = |ratio: f64| (ratio / estimate.ratio).ln().abs();
            let mm = if off(w / h) <= off(h / w) { [w, h] } else { [h, w] };
            (mm[0] / mm[1], Some(mm))
        }
    };
    let figures = FlatFigures {
        corners_px: *quad,
        confidence: seen.map(|s| s.0),
        bend: seen.map(|s| s.1),
        ratio,
        ratio_doubt: (shape == TrueShape::Estimated).then_some(estimate.doubt),
        size_px: warp::flat_size(quad, ratio, mm, size[0] * size[1]),
    };
    (figures, mm)
}

/// What a person has to know of a page laid flat.
fn flat_notes(figures: &FlatFigures) -> Vec<String> {
    let mut notes = Vec::new();
    if let Some(confidence) = figures.confidence {
        notes.push(format!(
            "A page was found, at least {:.0} % of each side: --corners {}",
            confidence * 100.0,
            list_of(&figures.corners_px)
        ));
    }
    if let Some(bend) = figures.bend.filter(|&b| b >= SAID_BEND) {
        notes.push(format!(
            "A side of the page is curved by {:.1} % of its length, as pages are near the gutter: four corners cannot lay \
             that flat, so lines there are off by about as much; press the page flat and photograph it again.",
            bend * 100.0
        ));
    }
    if let Some(doubt) = figures.ratio_doubt.filter(|&d| d >= SAID_DOUBT) {
        notes.push(format!(
            "The page's true shape is estimated from its perspective as {:.3}:1 (width to height), give or take {:.0} %; \
             where you know better, give it with --true-shape.",
            figures.ratio,
            doubt * 100.0
        ));
    }
    notes
}

/// A share of light by which tones were lifted is worth saying from here on: half an L* in mid greys.
const WORTH_SAYING: f64 = 0.015;

/// What a person has to know of evened light.
fn light_notes(figures: &LightFigures) -> Vec<String> {
    let mut notes = vec![format!(
        "Light was evened: at its darkest it was {:.0} % of its brightest, and paper had L* {:.0} to {:.0}.",
        figures.darkest * 100.0,
        figures.paper_before[0],
        figures.paper_before[1]
    )];
    if figures.tones_lifted >= WORTH_SAYING {
        notes.push(format!(
            "Tones were lifted by {:.0} %: the bare paper among them is that much darker than the margins; --before-after \
             shows what became of them.",
            figures.tones_lifted * 100.0
        ));
    }
    if figures.told_by == EvenLight::Guess {
        notes.push(
            "No paper was asked for to tell the light by: it is a guess that the brightest of each part is equally light, \
             and gradations of the picture itself may be lost; compare before and after with --before-after."
                .into(),
        );
    }
    notes
}

/// What a person has to know of what was left out.
fn frame_note(figures: &FrameFigures) -> String {
    let mut parts = Vec::new();
    match figures.rules {
        0 => {}
        1 => parts.push("the rule printed round the picture and all outside it".to_owned()),
        n => parts.push(format!("the {n} rules printed round the picture and all outside them")),
    }
    match figures.captions.len() {
        0 => {}
        1 => parts.push("one caption or page number".to_owned()),
        n => parts.push(format!("{n} captions or page numbers")),
    }
    format!("Left out as not part of the picture: {}; --keep-frame keeps it all.", parts.join(" and "))
}

/// A rectangle of a picture.
fn cut(picture: Raster<f32>, rect: PixelRect) -> Raster<f32> {
    if (rect.width, rect.height) == (picture.width(), picture.height()) {
        return picture;
    }
    let rows = (rect.top..rect.top + rect.height)
        .flat_map(|y| &picture.row(y)[rect.left..rect.left + rect.width])
        .copied();
    Raster::from_vec(rect.width, rect.height, rows.collect())
}

/// Where the corners of a rectangle of the page lie in the reference.
fn corners_of(rect: PixelRect, place: Option<&Homography>) -> Quad {
    rectangle(rect.width as f64, rect.height as f64).map(|[x, y]| {
        let at = [x + rect.left as f64, y + rect.top as f64];
        place.map_or(at, |map| map.apply(at))
    })
}
