//! What the report says of a value plan: every label, what is listed, and the key.

use super::number::rounded;
use crate::plan::{KeyPage, KeyValue, Label, Made, Marked, Plan};
use crate::sheet::RectMm;
use kurbo::Point;
use serde::Serialize;

/// One number on the plan; lengths are mm on the sheet as shown.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LabelReport {
    /// Areas that it is the number of, by their ids in the net file.
    pub areas: Vec<usize>,
    /// Thin marks that it is the number of, by their places in the net file.
    pub thin: Vec<usize>,
    /// Whether the area has another number too, far from this one.
    pub again: bool,
    /// Its value: 3, or 3.5 for the half.
    pub value: f64,
    /// As it is written.
    pub text: String,
    /// Its height.
    pub height_mm: f64,
    /// The box that it fills: left, top, width, height.
    pub box_mm: [f64; 4],
    /// Distance from the box to the nearest line.
    pub clearance_mm: f64,
    /// One leader for each of the areas, then for each of the thin marks, from the number to its dot; none where the
    /// number stands in its area.
    pub leaders_mm: Vec<[[f64; 2]; 2]>,
}

/// An area or a thin mark whose number found no room.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ListedReport {
    /// The area's id in the net file.
    pub area: Option<usize>,
    /// Or the thin mark's place there.
    pub thin: Option<usize>,
    /// Its value.
    pub value: f64,
    /// The working square in which it lies, when there are any.
    pub square: Option<String>,
    /// A place in it, in mm on the sheet as shown.
    pub at_mm: [f64; 2],
}

/// One value of the key.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct KeyReport {
    /// The value.
    pub value: u8,
    /// Its mean lightness L*.
    pub lightness: f64,
    /// Share of the picture, 0 to 1.
    pub share: f64,
    /// Share of its patch that ink covers, 0 to 1.
    pub coverage: f64,
    /// What it is made with.
    pub made: Made,
    /// Its patch in the chart, on the key's first page: left, top, width, height in mm.
    pub patch_mm: Option<[f64; 4]>,
    /// Its patch in the strip, on the same page.
    pub strip_mm: Option<[f64; 4]>,
}

/// A value plan.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct PlanReport {
    /// Whether areas between two values have the half.
    pub halves: bool,
    /// Every number.
    pub labels: Vec<LabelReport>,
    /// What has none.
    pub listed: Vec<ListedReport>,
    /// The key.
    pub key: Vec<KeyReport>,
    /// Where the key lies beside the picture, when it does: left, top, width, height in mm on the sheet as shown.
    pub key_beside_mm: Option<[f64; 4]>,
    /// Pages of the key, and their width and height in mm.
    pub key_pages: usize,
    /// Width and height of a page of the key in mm.
    pub key_page_mm: Option<[f64; 2]>,
}

impl PlanReport {
    /// The report of a plan; `squares` are the names of the working squares of what is listed.
    #[must_use]
    pub fn new(
        plan: &Plan,
        halves: bool,
        squares: &[Option<String>],
        key: &[KeyValue],
        key_beside: Option<RectMm>,
        pages: &[KeyPage],
    ) -> Self {
        let point = |p: Point| [rounded(p.x), rounded(p.y)];
        let rect = |r: &RectMm| [r.x, r.y, r.width, r.height].map(rounded);
        let label = |l: &Label| LabelReport {
            areas: l.area.into_iter().chain(l.leaders.iter().filter_map(|led| area(led.of))).collect(),
            thin: l.leaders.iter().filter_map(|led| thin(led.of)).collect(),
            again: l.again,
            value: l.value.number(),
            text: l.value.text(),
            height_mm: l.height_mm,
            box_mm: rect(&l.box_mm),
            clearance_mm: rounded(l.clearance_mm),
            leaders_mm: {
                let of = |wanted: fn(Marked) -> Option<usize>| {
                    l.leaders.iter().filter(move |led| wanted(led.of).is_some())
                };
                of(area).chain(of(thin)).map(|led| [point(led.from), point(led.to)]).collect()
            },
        };
        let patch = |value: u8, hole: bool| {
            let patches = pages.first().map_or(&[][..], |page| &page.patches);
            patches.iter().find(|p| p.value == value && p.hole == hole).map(|p| rect(&p.rect))
        };
        Self {
            halves,
            labels: plan.labels.iter().map(label).collect(),
            listed: plan
                .listed
                .iter()
                .zip(squares)
                .map(|(l, square)| ListedReport {
                    area: area(l.of),
                    thin: thin(l.of),
                    value: l.value.number(),
                    square: square.clone(),
                    at_mm: point(l.at),
                })
                .collect(),
            key: key
                .iter()
                .map(|k| KeyReport {
                    value: k.value,
                    lightness: rounded(k.lightness),
                    share: rounded(k.share),
                    coverage: (k.coverage * 1e6).round() / 1e6,
                    made: k.made,
                    patch_mm: patch(k.value, false),
                    strip_mm: patch(k.value, true),
                })
                .collect(),
            key_beside_mm: key_beside.as_ref().map(rect),
            key_pages: pages.len(),
            key_page_mm: pages.first().map(|page| page.size_mm),
        }
    }
}

fn area(of: Marked) -> Option<usize> {
    match of {
        Marked::Area(id) => Some(id),
        Marked::Thin(_) => None,
    }
}

fn thin(of: Marked) -> Option<usize> {
    match of {
        Marked::Thin(place) => Some(place),
        Marked::Area(_) => None,
    }
}
