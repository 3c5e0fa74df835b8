//! Areas: connected patches of one value.
