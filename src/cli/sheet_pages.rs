//! A sheet with all that its pages in a PDF are made from.

use merestone::output::{self, DrawingOptions, PdfSheet};
use merestone::sheet::{Placement, Printing};
use merestone::strokes::StrokePlan;
use merestone::study::{Stages, page_printing};

/// A sheet as shown, on its pages.
pub(super) struct SheetPages {
    strokes: StrokePlan,
    placement: Placement,
    options: DrawingOptions,
    printing: Printing,
}

impl SheetPages {
    /// The sheet of the stages with their strokes.
    pub(super) fn drawn(stages: &Stages, options: DrawingOptions) -> Self {
        let shown = &stages.shown;
        let (strokes, placement) = (shown.strokes.clone(), shown.placement);
        Self { strokes, placement, options, printing: shown.printing.clone() }
    }

    /// The same without them.
    pub(super) fn undrawn(stages: &Stages, options: DrawingOptions) -> Self {
        Self { strokes: StrokePlan::default(), ..Self::drawn(stages, options) }
    }

    /// One page of a size.
    pub(super) fn page(size_mm: [f64; 2], options: DrawingOptions) -> Self {
        let (placement, printing) = page_printing(size_mm);
        Self { strokes: StrokePlan::default(), placement, options, printing }
    }

    /// How many pages it has.
    pub(super) fn count(&self) -> usize {
        self.printing.pages.len()
    }

    /// As the writer takes it.
    pub(super) fn sheet(&self) -> PdfSheet<'_> {
        let Self { strokes, placement, options, printing } = self;
        PdfSheet { plan: strokes, placement, options, printing }
    }
}

/// All in one PDF that has the title of the first.
pub(super) fn pdf(sheets: &[SheetPages]) -> Vec<u8> {
    let title = sheets.first().map_or("", |first| &first.options.title);
    let list: Vec<PdfSheet<'_>> = sheets.iter().map(SheetPages::sheet).collect();
    output::pdf_sheets(title, &list)
}
