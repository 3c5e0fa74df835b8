//! Reference: the picture studied, made ready.
