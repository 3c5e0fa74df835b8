//! Boundary-line underdrawing extractor: the library behind the `merestone` program.
//!
//! A reference picture goes one way through these stages, each a pure function of its input and
//! options; an arrow never runs back up:
//!
//! ```text
//! reference    file -> linear reflectance, resampled to the sheet's working scale
//! tone         texture averaged in linear light, edges kept; the value scale
//! areas        connected patches of one value, merged by energy
//! transitions  the planar boundary net, in millimetres on the picture
//! thin         centre lines of thin lights and darks, beside the net
//! groups       tones of named zones, and of what must read alike
//! guides       lines that the artist adds, in millimetres on the picture
//! sheet        paper sizes and where the picture lies on the sheet
//! strokes      broken soft lines, chaining, order
//! plan         the value plan: a number for each area, and the key
//! structure    the value structure: groups, strongest contrast, small pictures in two and three values
//! order        the working squares in the order in which they are inked
//! squared      the reference with its squares, and the busiest of them enlarged
//! plotter      what a machine with a pencil draws, and how long it takes
//! output       svg, pdf, png, json
//! ```
//!
//! `study` owns the settings and runs the stages in order.
//!
//! Axes: origin at the top left, x to the right, y down. Pixel (0, 0) covers [0, 1) in both axes;
//! pixels end and millimetres begin where the net is built. Lightness is CIE L* (0 to 100),
//! reflectance is linear light (0 black to 1 white). Lengths in names end in `_mm`, areas in `_mm2`.

pub mod colour;
pub mod raster;
pub mod components;
pub mod distance;
pub mod units;
pub mod notes;
pub mod reference;
pub mod tone;
pub mod areas;
pub mod transitions;
pub mod thin;
pub mod groups;
pub mod guides;
pub mod sheet;
pub mod strokes;
pub mod plan;
pub mod structure;
pub mod order;
pub mod squared;
pub mod plotter;
pub mod output;
pub mod study;
