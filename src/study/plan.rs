//! The value plan of a study: numbers, key and list made from what the stages found, and laid on pages.

use kurbo::{Point, Rect};

use crate::notes::Noted;
use crate::output::{DrawingOptions, PlanReport};
use crate::plan::{
    KeyPage, KeyTexts, KeyValue, LEAST_ROOM_MM, Plan, PlanGround, PlanOptions, key_in_margin, key_pages,
    key_values, label,
};
use crate::sheet::{Printing, RectMm, Squares};

use super::pages::{page_mm, squares};
use super::{Settings, Stages, StudyError, on_paper};

/// Where the key is printed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum KeyPlace {
    /// Beside the picture where the margins have room, and on a page of its own.
    #[default]
    Both,
    /// Beside the picture only.
    Margin,
    /// On a page of its own only.
    Page,
    /// Nowhere.
    None,
}

/// Settings of a value plan.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PlanSettings {
    /// How areas are labelled and tinted.
    pub options: PlanOptions,
    /// Where the key is printed.
    pub key: KeyPlace,
}

/// A value plan, ready to be written.
#[derive(Clone, Debug)]
pub struct ValuePlan {
    /// Numbers, leaders, list, and everything that is printed on the sheet besides the boundary lines.
    pub plan: Plan,
    /// The key.
    pub key: Vec<KeyValue>,
    /// Where the key lies beside the picture.
    pub key_beside: Option<RectMm>,
    /// The key's own pages, with the list.
    pub key_pages: Vec<KeyPage>,
    /// Working squares of what is listed, in its order.
    pub squares: Vec<Option<String>>,
    /// The pages of the sheet.
    pub printing: Printing,
    halves: bool,
}

/// Makes the value plan of a study.
///
/// # Errors
/// [`StudyError`] when the pages cannot be laid out, which the stages have checked.
pub fn value_plan(
    stages: &Stages,
    settings: &Settings,
    of_plan: &PlanSettings,
) -> Result<Noted<ValuePlan>, StudyError> {
    let mut notes = Vec::new();
    let Stages { placement, shown, traced, tone, thin, .. } = stages;
    let view = settings.on_paper.view;
    let printer_margin_mm = settings.on_paper.print.printer_margin_mm;
    let key = key_values(&traced.values, &tone.reflectance, &tone.scale);
    let [width, height] = shown.placement.sheet_mm;
    let edge = printer_margin_mm;
    let reach = Rect::new(edge, edge, width - edge, height - edge);
    let beside = match of_plan.key {
        KeyPlace::Both | KeyPlace::Margin => {
            key_in_margin(&key, &shown.placement.picture_mm, reach, &shown.furniture)
        }
        KeyPlace::Page | KeyPlace::None => None,
    };
    let (beside, key_beside) = beside.unzip();
    let ground = PlanGround {
        net: &traced.net,
        thin,
        guides: &stages.strokes.guides,
        placement,
        view,
        marks: &shown.furniture,
        printer_margin_mm,
    };
    let blocks: Vec<RectMm> = key_beside.into_iter().collect();
    let mut plan = label(&ground, &tone.scale, of_plan.options, &blocks)?;
    if let Some(beside) = beside {
        plan.furniture.fills.extend(beside.fills);
        plan.furniture.lines.extend(beside.lines);
        plan.furniture.texts.extend(beside.texts);
    }
    let grid = squares(placement, settings);
    let listed = listed_texts(&plan, grid);
    let name = |at: Point, s: Squares| {
        let [column, row] = s.cell(at);
        s.name(column, row)
    };
    let squares = plan.listed.iter().map(|l| grid.map(|s| name(l.on_picture, s))).collect();
    let own_page = matches!(of_plan.key, KeyPlace::Both | KeyPlace::Page);
    let pages = if own_page || !listed.is_empty() {
        let texts = KeyTexts {
            remark: settings.on_paper.title.name.clone(),
            halves: of_plan.options.halves,
            thin: !thin.is_empty(),
            listed,
        };
        let (page_mm, edge_mm) = page_mm(settings, shown.placement.sheet_mm, LEAST_ROOM_MM);
        key_pages(&key, &texts, page_mm, edge_mm)
    } else {
        Vec::new()
    };
    match plan.listed.len() {
        0 => {}
        1 => notes
            .push("One number has no room; it is listed by working square on the page of the key.".into()),
        count => notes.push(format!(
            "{count} numbers have no room; they are listed by working square on the page of the key."
        )),
    }
    let covered = shown.underlay.is_some() || of_plan.options.tints;
    let laid = on_paper::pages(&shown.strokes, &shown.placement, &plan.furniture, covered, settings)?;
    let halves = of_plan.options.halves;
    let printing = laid.value;
    Ok(Noted::with(ValuePlan { plan, key, key_beside, key_pages: pages, squares, printing, halves }, notes))
}

impl ValuePlan {
    /// What the writers need to know of the sheet; without what is printed around the picture unless `marked`.
    #[must_use]
    pub fn drawing_options(&self, stages: &Stages, settings: &Settings, marked: bool) -> DrawingOptions {
        let mut furniture = self.plan.furniture.clone();
        if !marked {
            furniture.lines.retain(|l| l.layer.is_black());
            furniture.texts.retain(|t| t.layer.is_black());
        }
        DrawingOptions {
            title: format!("Value plan, {}", settings.paper.name),
            // Soft edges are as plain to see as hard ones: both bound a number.
            soft_line_mm: settings.line_mm,
            frame: true,
            furniture,
            ..stages.shown.drawing_options(settings, false)
        }
    }

    /// The same of a page of the key.
    #[must_use]
    pub fn key_options(&self, page: &KeyPage, settings: &Settings) -> DrawingOptions {
        DrawingOptions {
            title: format!("Key to the value plan, {}", settings.paper.name),
            furniture: page.furniture.clone(),
            ..DrawingOptions::default()
        }
    }

    /// All pages of the key one below the other, for files that have one page.
    #[must_use]
    pub fn key_in_one(&self) -> KeyPage {
        let mut whole = KeyPage::default();
        for page in &self.key_pages {
            let [width, height] = page.size_mm;
            whole.furniture.append_below(&page.furniture, whole.size_mm[1]);
            whole.size_mm = [width, whole.size_mm[1] + height];
        }
        whole
    }

    /// What the report says of it.
    #[must_use]
    pub fn report(&self) -> PlanReport {
        let (beside, pages) = (self.key_beside, &self.key_pages);
        PlanReport::new(&self.plan, self.halves, &self.squares, &self.key, beside, pages)
    }
}

/// What is listed, in words, square by square in reading order.
fn listed_texts(plan: &Plan, squares: Option<Squares>) -> Vec<String> {
    let mut texts: Vec<_> = plan
        .listed
        .iter()
        .map(|l| {
            let at = l.on_picture;
            // From the square's own corner, or the picture's.
            let (place, square, corner) = squares.map_or(([0, 0], String::new(), [0.0; 2]), |s| {
                let [column, row] = s.cell(at);
                let corner = [column, row].map(|k| k as f64 * s.side_mm);
                ([row, column], format!("{}: ", s.name(column, row)), corner)
            });
            let [right, down] = [at.x - corner[0], at.y - corner[1]].map(|mm| mm.round() as i64);
            let text = format!("{square}{} ({right} mm right, {down} mm down)", l.value.text());
            (place, down, right, text)
        })
        .collect();
    texts.sort();
    texts.into_iter().map(|(.., text)| text).collect()
}
