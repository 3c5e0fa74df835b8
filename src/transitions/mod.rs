//! Transitions: the borders between areas as a planar net of fitted curves.

mod net;

pub use net::{BoundaryNet, Junction, NetArea, Transition};
