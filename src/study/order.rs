//! The working order of a study: its squares put in order by the settings, and laid on pages.

use kurbo::Affine;

use crate::areas::edits::PlaceOnPicture;
use crate::areas::zones::{Outline, Purpose, said};
use crate::groups::{Group, membership};
use crate::notes::Noted;
use crate::order::{
    Begin, Drawn, Hand, LEAST_ROOM_MM, OrderGround, OrderOptions, OrderPage, OrderTexts, WorkOrder, group_of,
    order_pages, work_order,
};
use crate::output::{DrawingOptions, OrderReport};
use crate::plan::{numbers_of, tints};
use crate::sheet::Squares;

use super::pages::{page_mm, remark, squares_side};
use super::{Settings, Stages, StudyError};

/// How many further squares are inked before a square's blacks are dry, unless set: half an hour, at some eight minutes
/// a square (common practice, no source).
pub const DEFAULT_WET_FOR: usize = 4;

/// Where the work begins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum BeginRule {
    /// At the top, on the side away from the drawing hand.
    #[default]
    Top,
    /// At a point, and outward from it.
    Point,
    /// With the first of the groups.
    Groups,
}

/// Settings of a working order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OrderSettings {
    /// Where the work begins.
    pub begin: BeginRule,
    /// The point, where it begins at one; without it the middle of the first focus zone.
    pub at: Option<PlaceOnPicture>,
    /// The drawing hand.
    pub hand: Hand,
    /// How many further squares are inked before a square's blacks are dry.
    pub wet_for: usize,
}

impl Default for OrderSettings {
    /// From the top, by the right hand.
    fn default() -> Self {
        Self { begin: BeginRule::Top, at: None, hand: Hand::Right, wet_for: DEFAULT_WET_FOR }
    }
}

/// A working order, ready to be written.
#[derive(Clone, Debug)]
pub struct OrderSheet {
    /// The squares in order.
    pub order: WorkOrder,
    /// Its pages.
    pub pages: Vec<OrderPage>,
    of_order: OrderSettings,
    from: Option<String>,
    squares: Squares,
    groups: Vec<String>,
    last: u8,
}

impl OrderSettings {
    /// Checks what can be judged without the reference.
    ///
    /// # Errors
    /// [`StudyError`] when there are no working squares, no groups to go by, or no point to begin at.
    pub fn check(&self, settings: &Settings) -> Result<(), StudyError> {
        squares_side(settings)?;
        match self.begin {
            BeginRule::Groups if settings.by_hand.groups.is_empty() => Err(StudyError::NoGroupsToGoBy),
            BeginRule::Point if self.at.is_none() && first_focus(settings).is_none() => {
                Err(StudyError::NoPoint)
            }
            _ => Ok(()),
        }
    }
}

/// Makes the working order of a study; with `halves`, areas between two values are those of the halves, as on the plan.
///
/// # Errors
/// As [`OrderSettings::check`], or [`StudyError::PointOutside`] for a point to begin at that is beside the picture.
pub fn order_sheet(
    stages: &Stages,
    settings: &Settings,
    of_order: &OrderSettings,
    halves: bool,
) -> Result<Noted<OrderSheet>, StudyError> {
    of_order.check(settings)?;
    let Stages { placement, traced, tone, thin, .. } = stages;
    let picture = placement.picture_mm;
    let picture_mm = [picture.width, picture.height];
    let squares = Squares::of(&picture, squares_side(settings)?);
    let last = tone.scale.values();
    let labels = numbers_of(&traced.net, &tone.scale, halves);
    let ground = OrderGround {
        net: &traced.net,
        labels: &labels,
        last,
        thin,
        values: &traced.values,
        px_per_mm: tone.px_per_mm,
        picture_mm,
        squares,
    };
    let groups: Vec<Group> = match of_order.begin {
        BeginRule::Groups => settings.by_hand.groups.iter().map(|entry| entry.what.clone()).collect(),
        BeginRule::Top | BeginRule::Point => Vec::new(),
    };
    let begin = match of_order.begin {
        BeginRule::Top => Begin::Top,
        BeginRule::Groups => Begin::Groups,
        BeginRule::Point => Begin::Outward(squares.cell(begin_at(of_order, settings, picture_mm)?)),
    };
    let options = OrderOptions { begin, hand: of_order.hand, wet_for: of_order.wet_for };
    let order = work_order(&ground, &of_groups(&groups, stages, squares), &options)?;
    let from = match begin {
        Begin::Outward([column, row]) => Some(squares.name(column, row)),
        Begin::Top | Begin::Groups => None,
    };
    let groups: Vec<String> = groups.into_iter().map(|group| group.name).collect();
    let texts = OrderTexts {
        remark: remark(settings),
        from: from.clone(),
        groups: groups.clone(),
        hand: of_order.hand,
        last,
    };
    let (size_mm, edge_mm) = page_mm(settings, placement.sheet_mm, LEAST_ROOM_MM);
    let tints = tints(&traced.net, Affine::IDENTITY, last)?;
    let drawn = Drawn { order: &order, squares, picture_mm, tints: &tints, texts: &texts, size_mm, edge_mm };
    let mut notes = Vec::new();
    let pages = order_pages(&drawn).take(&mut notes);
    if order.squares.is_empty() {
        notes.push("There is nothing to ink: every area is bare paper at these settings.".into());
    }
    Ok(Noted::with(OrderSheet { order, pages, of_order: *of_order, from, squares, groups, last }, notes))
}

impl OrderSheet {
    /// What the writers need to know of one of its pages.
    #[must_use]
    pub fn page_options(&self, page: &OrderPage, settings: &Settings) -> DrawingOptions {
        DrawingOptions {
            title: format!("Working order, {}", settings.paper.name),
            furniture: page.furniture.clone(),
            ..DrawingOptions::default()
        }
    }

    /// What the report says of it.
    #[must_use]
    pub fn report(&self) -> OrderReport {
        let begin = match self.of_order.begin {
            BeginRule::Top => "top",
            BeginRule::Point => "point",
            BeginRule::Groups => "groups",
        };
        let mut report = OrderReport::new(&self.order, &self.pages, self.squares, &self.groups, self.last);
        report.begin = begin.into();
        report.from.clone_from(&self.from);
        report.hand = self.of_order.hand;
        report.wet_for = self.of_order.wet_for;
        report
    }
}

/// The group that has each square, row by row; none where there are no groups.
fn of_groups(groups: &[Group], stages: &Stages, squares: Squares) -> Vec<Option<usize>> {
    if groups.is_empty() {
        return Vec::new();
    }
    let (values, px) = (&stages.traced.values, stages.tone.px_per_mm);
    let (width, height) = (values.width(), values.height());
    let of = membership(groups, width, height, px);
    let mut pixels = vec![0.0_f64; squares.columns * squares.rows];
    let mut held = vec![vec![0.0_f64; groups.len()]; pixels.len()];
    for (i, &group) in of.data().iter().enumerate() {
        let middle = kurbo::Point::new(((i % width) as f64 + 0.5) / px, ((i / width) as f64 + 0.5) / px);
        let [column, row] = squares.cell(middle);
        let k = row * squares.columns + column;
        pixels[k] += 1.0;
        if let Some(count) = held[k].get_mut(group as usize) {
            *count += 1.0;
        }
    }
    let share = |(held, &all): (&Vec<f64>, &f64)| {
        let shares: Vec<f64> = held.iter().map(|&count| count / f64::max(all, 1.0)).collect();
        group_of(&shares)
    };
    held.iter().zip(&pixels).map(share).collect()
}

/// Where the work begins on the picture, in mm.
fn begin_at(
    of_order: &OrderSettings,
    settings: &Settings,
    size_mm: [f64; 2],
) -> Result<kurbo::Point, StudyError> {
    if let Some(at) = of_order.at {
        return begin_in_picture(&at, size_mm);
    }
    let focus = first_focus(settings).map(|outline| middle_of(outline, size_mm));
    focus.map(|[x, y]| kurbo::Point::new(x, y)).ok_or(StudyError::NoPoint)
}

/// Refuses a point to begin at that is beside a picture of this size in mm.
pub(super) fn check_begin(settings: &Settings, size_mm: [f64; 2]) -> Result<(), StudyError> {
    settings.begin_at.map_or(Ok(()), |at| begin_in_picture(&at, size_mm).map(drop))
}

/// A point to begin at in mm on the picture, if it lies in it.
fn begin_in_picture(at: &PlaceOnPicture, size_mm: [f64; 2]) -> Result<kurbo::Point, StudyError> {
    let point = [at[0].mm(size_mm[0]), at[1].mm(size_mm[1])];
    match (0..2).all(|k| (-1e-6..=size_mm[k] + 1e-6).contains(&point[k])) {
        true => Ok(kurbo::Point::new(point[0], point[1])),
        false => Err(StudyError::PointOutside { at: said(at), width_mm: size_mm[0], height_mm: size_mm[1] }),
    }
}

/// The first focus zone that has an outline.
fn first_focus(settings: &Settings) -> Option<&Outline> {
    let zones = settings.zones.outlined.iter();
    zones.filter(|zone| zone.purpose == Purpose::Focus).map(|zone| &zone.outline).next()
}

/// The middle of a zone's smallest upright rectangle.
fn middle_of(outline: &Outline, size_mm: [f64; 2]) -> [f64; 2] {
    [0, 1].map(|k| {
        let mm = |measure: &crate::areas::zones::Measure| measure.mm(size_mm[k]);
        match outline {
            Outline::Rect { corner, size } => mm(&corner[k]) + mm(&size[k]) / 2.0,
            Outline::Ellipse { middle, .. } => mm(&middle[k]),
            Outline::Polygon { corners } => {
                let all = || corners.iter().map(|corner| mm(&corner[k]));
                (all().fold(f64::MAX, f64::min) + all().fold(f64::MIN, f64::max)) / 2.0
            }
        }
    })
}
