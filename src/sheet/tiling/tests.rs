//! Tiling: cells that cover the sheet once, crosses that coincide, turning and refusals.
