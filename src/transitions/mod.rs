//! Transitions: the borders between areas as a planar net of fitted curves.

mod net;
mod trace;

pub use net::{BoundaryNet, Junction, NetArea, Transition};
