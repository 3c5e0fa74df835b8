//! Extra lines: only what a lower plainness adds to the drawing, in the same place, for when the way is lost.

use crate::areas::zones::Measure;
use crate::sheet::{DEFAULT_SQUARE_MM, DEFAULT_SQUARE_US_MM, Placement, RectMm, Squares, column_name};
use crate::strokes::StrokePlan;
use crate::thin::ThinMark;
use crate::transitions::{BoundaryNet, Traced, plainness_of};

use super::{Settings, StudyError};

/// Where extra lines are wanted.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum ExtraPlace {
    /// All over the picture.
    #[default]
    Whole,
    /// In one working square, by its name.
    Square(String),
    /// In a rectangle of the picture.
    Rect {
        /// Left and top.
        corner: [Measure; 2],
        /// Width and height.
        size: [Measure; 2],
    },
}

/// A sheet of extra lines.
#[derive(Clone, Debug, PartialEq)]
pub struct ExtraLines {
    /// The lower plainness.
    pub plainness: f64,
    /// Where its lines are wanted.
    pub place: ExtraPlace,
}

impl ExtraLines {
    /// The rectangle of the sheet in which lines are wanted, in mm; `None` for all of it.
    pub(super) fn rect(
        &self,
        placement: &Placement,
        settings: &Settings,
    ) -> Result<Option<RectMm>, StudyError> {
        let picture = &placement.picture_mm;
        match &self.place {
            ExtraPlace::Whole => Ok(None),
            ExtraPlace::Rect { corner, size } => {
                let sides = [picture.width, picture.height];
                let [x, y] = [0, 1].map(|k| corner[k].mm(sides[k]));
                let [width, height] = [0, 1].map(|k| size[k].mm(sides[k]));
                Ok(Some(RectMm { x: picture.x + x, y: picture.y + y, width, height }))
            }
            ExtraPlace::Square(name) => {
                // Squares that are not drawn are still counted, at their usual size.
                let usual = if settings.paper.us { DEFAULT_SQUARE_US_MM } else { DEFAULT_SQUARE_MM };
                let side_mm = settings.on_paper.square_mm(&settings.paper).unwrap_or(usual);
                let squares = Squares::of(picture, side_mm);
                let last = format!("{}{}", column_name(squares.columns - 1), squares.rows);
                let found = squares.rect(name, picture);
                found.map(Some).ok_or(StudyError::NoSquare { asked: name.clone(), side_mm, last })
            }
        }
    }

    /// What the sheet says of itself.
    pub(super) fn remark(&self) -> String {
        let place = match &self.place {
            ExtraPlace::Whole => String::new(),
            ExtraPlace::Square(name) => format!(", square {}", name.trim().to_uppercase()),
            ExtraPlace::Rect { .. } => ", one zone".into(),
        };
        format!("extra lines of plainness {}{place}", self.plainness)
    }
}

/// The finer net with only the transitions that it adds to the drawing; the others keep their place without a curve.
///
/// Lines keep their geometry at every plainness, so what the drawing has is told by the height at which it dies.
pub(super) fn added_net(drawing: &Traced, finer: &Traced, asked: f64) -> Result<BoundaryNet, StudyError> {
    let mut net = finer.net.clone();
    let mut added = 0;
    for transition in &mut net.transitions {
        if transition.height > drawing.height {
            transition.curve.clear();
        } else {
            added += 1;
        }
    }
    if added == 0 {
        return Err(StudyError::NothingExtra { asked, own: plainness_of(drawing.height).unwrap_or(0.0) });
    }
    Ok(net)
}

/// What there is to say when the lower plainness adds nothing where it was wanted.
pub(super) fn nothing_note(settings: &Settings, strokes: &StrokePlan) -> Option<String> {
    let nothing = strokes.strokes.is_empty() && strokes.thin.is_empty();
    (settings.extra.is_some() && nothing).then(|| "The lower plainness adds no line there.".into())
}

/// The thin marks that the finer drawing adds.
pub(super) fn added_thin(drawing: &[ThinMark], finer: Vec<ThinMark>) -> Vec<ThinMark> {
    finer.into_iter().filter(|mark| drawing.iter().all(|other| other.curve != mark.curve)).collect()
}
