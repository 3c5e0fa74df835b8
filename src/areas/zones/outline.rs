//! Outlines of zones: how they are written, and which pixels they cover.

use std::fmt;
use std::ops::Range;
use std::str::FromStr;

use thiserror::Error;

use crate::units::parse_length_mm;

/// Most corners of a polygon: more is a mask.
const MOST_CORNERS: usize = 10_000;

/// A place or a length along one axis of the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measure {
    /// In hundredths of the picture's width or height.
    Percent(f64),
    /// In mm on the picture.
    Mm(f64),
}

impl Measure {
    /// In mm, for a side of the picture of so many mm.
    #[must_use]
    pub fn mm(self, side_mm: f64) -> f64 {
        match self {
            Self::Percent(p) => p / 100.0 * side_mm,
            Self::Mm(mm) => mm,
        }
    }

    fn number(self) -> f64 {
        match self {
            Self::Percent(n) | Self::Mm(n) => n,
        }
    }
}

impl FromStr for Measure {
    type Err = OutlineError;

    fn from_str(text: &str) -> Result<Self, OutlineError> {
        measure(text.trim()).ok_or_else(|| OutlineError::NoMeasure { text: text.into() })
    }
}

/// A place on the picture as it is written.
pub(crate) fn said(place: &[Measure; 2]) -> String {
    format!("{}, {}", place[0], place[1])
}

impl fmt::Display for Measure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Percent(p) => write!(f, "{p}%"),
            Self::Mm(mm) => write!(f, "{mm}mm"),
        }
    }
}

/// The outline of a zone; x to the right, y down, from the picture's top left.
#[derive(Clone, Debug, PartialEq)]
pub enum Outline {
    /// `rect:LEFT,TOP,WIDTH,HEIGHT`
    Rect {
        /// Left and top.
        corner: [Measure; 2],
        /// Width and height.
        size: [Measure; 2],
    },
    /// `ellipse:X,Y,RADIUS,RADIUS`
    Ellipse {
        /// The middle.
        middle: [Measure; 2],
        /// Half of its width and half of its height.
        radii: [Measure; 2],
    },
    /// `polygon:X,Y X,Y X,Y`: three corners or more, inside by the even-odd rule.
    Polygon {
        /// The corners in order.
        corners: Vec<[Measure; 2]>,
    },
}

/// Why the outline of a zone could not be read.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum OutlineError {
    /// No known form of outline.
    #[error(
        "\"{text}\" is no zone: write rect:LEFT,TOP,WIDTH,HEIGHT, ellipse:X,Y,RADIUS,RADIUS or polygon:X,Y,X,Y,X,Y \
         with numbers such as 25% or 40mm"
    )]
    Form {
        /// What was written.
        text: String,
    },
    /// Too few or too many numbers.
    #[error("\"{text}\" has {found} numbers, but {form} takes {wanted}")]
    Count {
        /// What was written.
        text: String,
        /// The form of outline.
        form: &'static str,
        /// Numbers found.
        found: usize,
        /// Numbers it takes, in words.
        wanted: &'static str,
    },
    /// A number that cannot be read.
    #[error(
        "\"{part}\" in \"{text}\" is no measure: write a share of the picture such as 25%, or a length such as 40mm"
    )]
    Measure {
        /// What was written.
        text: String,
        /// The part at fault.
        part: String,
    },
    /// A measure by itself that cannot be read.
    #[error("\"{text}\" is no measure: write a share of the picture such as 25%, or a length such as 40mm")]
    NoMeasure {
        /// What was written.
        text: String,
    },
    /// A zone without any size.
    #[error("\"{text}\" has no size: give it a width and a height above 0")]
    NoSize {
        /// What was written.
        text: String,
    },
}

impl FromStr for Outline {
    type Err = OutlineError;

    /// Numbers stand between commas or spaces; each is a share of the picture (`25%`) or a length (`40mm`).
    fn from_str(text: &str) -> Result<Self, OutlineError> {
        let text = text.trim();
        let said = || text.to_owned();
        let (form, list) = text.split_once(':').ok_or_else(|| OutlineError::Form { text: said() })?;
        let form = ["rect", "ellipse", "polygon"]
            .into_iter()
            .find(|f| *f == form.trim())
            .ok_or_else(|| OutlineError::Form { text: said() })?;
        let measures = list
            .split(|c: char| c == ',' || c.is_whitespace())
            .filter(|part| !part.is_empty())
            .map(|part| {
                measure(part).ok_or_else(|| OutlineError::Measure { text: said(), part: part.into() })
            })
            .collect::<Result<Vec<_>, _>>()?;
        let count = |wanted| OutlineError::Count { text: said(), form, found: measures.len(), wanted };
        let outline = match (form, measures.as_slice()) {
            ("rect", &[x, y, w, h]) => Self::Rect { corner: [x, y], size: [w, h] },
            ("ellipse", &[x, y, rx, ry]) => Self::Ellipse { middle: [x, y], radii: [rx, ry] },
            ("polygon", list) if list.len() >= 6 && list.len() % 2 == 0 && list.len() <= 2 * MOST_CORNERS => {
                Self::Polygon { corners: list.chunks_exact(2).map(|p| [p[0], p[1]]).collect() }
            }
            ("polygon", _) => return Err(count("two for each corner, and three corners or more")),
            _ => return Err(count("four")),
        };
        if let Self::Rect { size, .. } | Self::Ellipse { radii: size, .. } = &outline
            && !size.iter().all(|s| s.number() > 0.0)
        {
            return Err(OutlineError::NoSize { text: said() });
        }
        Ok(outline)
    }
}

fn measure(part: &str) -> Option<Measure> {
    if let Some(percent) = part.strip_suffix('%') {
        return percent.parse().ok().filter(|p: &f64| p.is_finite()).map(Measure::Percent);
    }
    parse_length_mm(part).ok().map(Measure::Mm)
}

impl fmt::Display for Outline {
    /// As it is written on the command line.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Rect { corner: [x, y], size: [w, h] } => write!(f, "rect:{x},{y},{w},{h}"),
            Self::Ellipse { middle: [x, y], radii: [rx, ry] } => write!(f, "ellipse:{x},{y},{rx},{ry}"),
            Self::Polygon { corners } => {
                f.write_str("polygon:")?;
                for (i, [x, y]) in corners.iter().enumerate() {
                    write!(f, "{}{x},{y}", if i == 0 { "" } else { " " })?;
                }
                Ok(())
            }
        }
    }
}

impl Outline {
    /// The rows of a raster of `pixels` over a picture of `size_mm`, each with the runs of pixels whose middles lie
    /// inside.
    pub(crate) fn rows(
        &self,
        size_mm: [f64; 2],
        pixels: [usize; 2],
    ) -> impl Iterator<Item = (usize, Vec<Range<usize>>)> {
        let [across, down] = [0, 1].map(|a| pixels[a] as f64 / size_mm[a]);
        let px = move |[x, y]: [Measure; 2]| [x.mm(size_mm[0]) * across, y.mm(size_mm[1]) * down];
        let outline = match self {
            Self::Rect { corner, size } => {
                let ([x, y], [w, h]) = (px(*corner), px(*size));
                Pixels::Polygon(vec![[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
            }
            Self::Ellipse { middle, radii } => Pixels::Ellipse(px(*middle), px(*radii)),
            Self::Polygon { corners } => Pixels::Polygon(corners.iter().map(|&c| px(c)).collect()),
        };
        let width = pixels[0];
        (0..pixels[1]).map(move |y| (y, outline.row(y as f64 + 0.5, width)))
    }
}

/// An outline in pixels.
enum Pixels {
    Ellipse([f64; 2], [f64; 2]),
    Polygon(Vec<[f64; 2]>),
}

impl Pixels {
    /// Runs of pixels whose middles lie inside at height `y`.
    fn row(&self, y: f64, width: usize) -> Vec<Range<usize>> {
        let mut crossed: Vec<f64> = match self {
            Self::Ellipse([cx, cy], [rx, ry]) => {
                let v = (y - cy) / ry;
                let half = rx * (1.0 - v * v).max(0.0).sqrt();
                if v.abs() < 1.0 { vec![cx - half, cx + half] } else { Vec::new() }
            }
            Self::Polygon(corners) => (0..corners.len())
                .filter_map(|i| {
                    let ([x0, y0], [x1, y1]) = (corners[i], corners[(i + 1) % corners.len()]);
                    // Half open, so that a corner on the row counts once.
                    ((y0 <= y) != (y1 <= y)).then(|| x0 + (y - y0) / (y1 - y0) * (x1 - x0))
                })
                .collect(),
        };
        crossed.sort_by(f64::total_cmp);
        let first = |x: f64| (x - 0.5).ceil().clamp(0.0, width as f64) as usize;
        crossed
            .chunks_exact(2)
            .map(|pair| first(pair[0])..first(pair[1]))
            .filter(|run| !run.is_empty())
            .collect()
    }
}
