//! Strokes on the sheet as it is shown: mirrored or turned.

use super::StrokePlan;
use crate::sheet::{Placement, View};

impl StrokePlan {
    /// The plan as a view shows it; what lies left of a mirrored stroke is then on its right.
    #[must_use]
    pub fn seen(&self, placement: &Placement, view: View) -> Self {
        let mut plan = self.clone();
        if view.is_plain() {
            return plan;
        }
        let strokes = plan.strokes.iter_mut().map(|s| &mut s.curve);
        let thin = plan.thin.iter_mut().map(|s| &mut s.curve);
        let guides = plan.guides.iter_mut().map(|s| &mut s.curve);
        for cubic in strokes.chain(thin).chain(guides).flatten() {
            *cubic = view.cubic(placement.sheet_mm, *cubic);
        }
        if view.mirrored {
            plan.strokes.iter_mut().for_each(|s| s.values.reverse());
        }
        plan
    }
}
