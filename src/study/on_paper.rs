//! From strokes to paper: the settings of the print, and the sheet as it is shown, marked and laid on pages.

use crate::notes::Noted;
use crate::output::{DrawingOptions, Ink, Underlay, soft_line_mm};
use crate::raster::Raster;
use crate::sheet::{
    DEFAULT_SQUARE_MM, DEFAULT_SQUARE_US_MM, Furniture, MarkOptions, Original, Paper, Placement,
    PrintOptions, Printing, RectMm, TitleBlock, View, furnish, lay_out,
};
use crate::strokes::StrokePlan;
use kurbo::{ParamCurve, Point};

use super::settings::in_range;
use super::{Settings, StudyError};

/// Least and largest side of a working square in mm: room for its name, and the largest sheet.
const SQUARE_RANGE_MM: [f64; 2] = [5.0, 10_000.0];
/// Largest edge of the paper that a printer may not reach, in mm.
const PRINTER_MARGIN_RANGE_MM: [f64; 2] = [0.0, 100.0];
/// What printed rules may measure, in hundredths: printers miss by 0.2 to 0.5; more than 5 is "fit to page".
const MEASURED_RANGE_PERCENT: [f64; 2] = [95.0, 105.0];
/// How strong the reference under the lines may be, in hundredths.
const UNDERLAY_RANGE_PERCENT: [f64; 2] = [1.0, 100.0];
/// Range of the scale on the sheet in hundredths of the reference's own size.
const SCALE_RANGE_PERCENT: [f64; 2] = [0.1, 100_000.0];

/// How large the working squares are.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum SquareRule {
    /// 25 mm, or one inch on paper sold by the inch.
    #[default]
    Usual,
    /// None.
    None,
    /// Of this side, in mm.
    Side(f64),
}

/// How the sheet is shown, marked and printed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OnPaper {
    /// Mirrored and turned.
    pub view: View,
    /// The printer's pages.
    pub print: PrintOptions,
    /// Working squares.
    pub squares: SquareRule,
    /// Whether the squares are drawn as a very light grid over the picture too.
    pub square_grid: bool,
    /// The reference's name, and what the artist wants to be said; sheet and scale are filled in.
    pub title: TitleBlock,
    /// Colour of everything that is drawn.
    pub ink: Ink,
    /// How strong the reference lies under the lines, 0 to 1; without it, it does not.
    pub underlay: Option<f64>,
}

impl OnPaper {
    /// Side of the working squares in mm on a paper, if there are any.
    #[must_use]
    pub fn square_mm(&self, paper: &Paper) -> Option<f64> {
        match self.squares {
            SquareRule::Usual if paper.us => Some(DEFAULT_SQUARE_US_MM),
            SquareRule::Usual => Some(DEFAULT_SQUARE_MM),
            SquareRule::None => None,
            SquareRule::Side(mm) => Some(mm),
        }
    }

    /// Checks every setting that can be judged without the reference.
    pub(super) fn check(&self, scale: Option<f64>) -> Result<(), StudyError> {
        if let SquareRule::Side(mm) = self.squares {
            in_range("working square", "mm", mm, SQUARE_RANGE_MM[0], SQUARE_RANGE_MM[1])?;
        }
        let [least, most] = PRINTER_MARGIN_RANGE_MM;
        in_range("printer's margin", "mm", self.print.printer_margin_mm, least, most)?;
        let [least, most] = MEASURED_RANGE_PERCENT;
        for share in self.print.measured {
            in_range("measure of the printed rule", "%", share * 100.0, least, most)?;
        }
        if let Some(strength) = self.underlay {
            let [least, most] = UNDERLAY_RANGE_PERCENT;
            in_range("strength of the reference under the lines", "%", strength * 100.0, least, most)?;
        }
        if let Some(scale) = scale {
            let [least, most] = SCALE_RANGE_PERCENT;
            in_range("scale", "%", scale * 100.0, least, most)?;
        }
        Ok(())
    }
}

/// The sheet as it is shown, ready to be written.
#[derive(Clone, Debug)]
pub struct Shown {
    /// The strokes as shown.
    pub strokes: StrokePlan,
    /// Sheet and picture as shown.
    pub placement: Placement,
    /// What is printed around the picture.
    pub furniture: Furniture,
    /// The reference under the lines.
    pub underlay: Option<Underlay>,
    /// The printer's pages.
    pub printing: Printing,
    /// How much larger the picture is than the reference, when that states its resolution.
    pub enlargement: Option<f64>,
    /// Pixels of the reference per mm of the sheet.
    pub reference_px_per_mm: f64,
}

impl Shown {
    /// What the writers need to know; without what is printed around the picture unless `marked`.
    #[must_use]
    pub fn drawing_options(&self, settings: &Settings, marked: bool) -> DrawingOptions {
        DrawingOptions {
            line_mm: settings.line_mm,
            soft_line_mm: soft_line_mm(settings.line_mm),
            weight: settings.weight,
            title: format!("Underdrawing, {}", settings.paper.name),
            frame: false,
            ink: settings.on_paper.ink,
            furniture: if marked { self.furniture.clone() } else { Furniture::default() },
            underlay: self.underlay.clone(),
            pieces: Vec::new(),
        }
    }
}

/// Refuses pages that cannot be, before the work begins.
pub(super) fn check_pages(placement: &Placement, settings: &Settings) -> Result<(), StudyError> {
    let shown = settings.on_paper.view.size(placement.sheet_mm);
    lay_out(shown, &settings.on_paper.print, "", "", &|_| false)?;
    Ok(())
}

/// Shows the sheet, marks it and lays it on pages; `working` is the reference that is to lie under the lines.
pub(super) fn show(
    strokes: &StrokePlan,
    placement: &Placement,
    original: &Original,
    settings: &Settings,
    working: Option<&Raster<f32>>,
) -> Result<Noted<Shown>, StudyError> {
    let on_paper = &settings.on_paper;
    let view = on_paper.view;
    let enlargement = original.enlargement(placement);
    let mut notes = Vec::new();
    let options = MarkOptions {
        printer_margin_mm: on_paper.print.printer_margin_mm,
        square_mm: on_paper.square_mm(&settings.paper),
        square_grid: on_paper.square_grid,
        title: title(placement, settings, enlargement),
    };
    let furniture = furnish(placement, view, &options).take(&mut notes);
    let seen = strokes.seen(placement, view);
    let underlay = working
        .zip(on_paper.underlay)
        .map(|(luminance, strength)| Underlay::new(luminance, strength, placement, view));
    let shown = view.placement(placement);
    let printing = pages(&seen, &shown, &furniture, underlay.is_some(), settings)?.take(&mut notes);
    let reference_px_per_mm = original.px_per_mm(placement);
    Ok(Noted::with(
        Shown {
            strokes: seen,
            placement: shown,
            furniture,
            underlay,
            printing,
            enlargement,
            reference_px_per_mm,
        },
        notes,
    ))
}

/// Lays a sheet as shown on its pages; `covered`: something lies under all of the picture.
pub(super) fn pages(
    strokes: &StrokePlan,
    shown: &Placement,
    furniture: &Furniture,
    covered: bool,
    settings: &Settings,
) -> Result<Noted<Printing>, StudyError> {
    let on_paper = &settings.on_paper;
    let holds = |cell: &RectMm| {
        covered && overlap(cell, &shown.picture_mm) || drawn_in(strokes, cell) || printed_in(furniture, cell)
    };
    let remark = if on_paper.view.mirrored { "mirrored" } else { "" };
    Ok(lay_out(shown.sheet_mm, &on_paper.print, &on_paper.title.name, remark, &holds)?)
}

/// The title block: what the artist gave, and what the sheet is.
fn title(placement: &Placement, settings: &Settings, enlargement: Option<f64>) -> TitleBlock {
    let reading = |mm: f64| (mm * 10.0).round() / 10.0;
    let [width, height] = placement.sheet_mm.map(reading);
    let picture = placement.picture_mm;
    let size = format!("picture {} x {} mm", reading(picture.width), reading(picture.height));
    let name = &settings.paper.name;
    let written_out = name.starts_with(|c: char| c.is_ascii_digit());
    let sheet = match (written_out, settings.paper.us) {
        (false, _) => format!("{}, {width} x {height} mm", name.to_uppercase()),
        // A size in inches is what the pad says; one in mm is its own name.
        (true, true) => format!("{name}, {width} x {height} mm"),
        (true, false) => format!("{width} x {height} mm"),
    };
    TitleBlock {
        sheet,
        scale: match enlargement {
            Some(times) => format!("{size}, {} times the reference", (times * 100.0).round() / 100.0),
            None => size,
        },
        remark: settings
            .extra
            .as_ref()
            .map_or_else(|| settings.on_paper.title.remark.clone(), |extra| extra.remark()),
        ..settings.on_paper.title.clone()
    }
}

fn overlap(a: &RectMm, b: &RectMm) -> bool {
    a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height
}

/// Whether the smallest box of some points reaches into a rectangle.
fn reaches(points: &[Point], rect: &RectMm) -> bool {
    let [mut low, mut high] = [points[0]; 2];
    for p in points {
        low = Point::new(low.x.min(p.x), low.y.min(p.y));
        high = Point::new(high.x.max(p.x), high.y.max(p.y));
    }
    low.x < rect.x + rect.width && high.x > rect.x && low.y < rect.y + rect.height && high.y > rect.y
}

/// Whether any stroke passes through a rectangle; a curve is looked at in eight pieces.
fn drawn_in(plan: &StrokePlan, rect: &RectMm) -> bool {
    plan.curves().flatten().any(|c| {
        reaches(&[c.p0, c.p1, c.p2, c.p3], rect)
            && (0..8).any(|k| {
                let piece = c.subsegment(f64::from(k) / 8.0..f64::from(k + 1) / 8.0);
                reaches(&[piece.p0, piece.p1, piece.p2, piece.p3], rect)
            })
    })
}

/// Whether anything around the picture lies in a rectangle.
fn printed_in(furniture: &Furniture, rect: &RectMm) -> bool {
    let lines = furniture.lines.iter().flat_map(|l| &l.paths).flat_map(|path| path.windows(2));
    // A line straight along an axis has a box of no width, which reaches in when it lies inside.
    let texts = furniture.texts.iter().map(|text| text.bounds());
    lines.into_iter().any(|pair| reaches(pair, rect))
        || texts.into_iter().any(|corners| reaches(&corners, rect))
}
