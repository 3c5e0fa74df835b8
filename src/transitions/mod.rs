//! Transitions: the borders between areas as a planar net of fitted curves.

mod net;
pub mod corners;
pub mod fit;
pub mod proof;

pub use net::{BoundaryNet, Junction, NetArea, Transition};
