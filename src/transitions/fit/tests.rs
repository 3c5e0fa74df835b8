//! Tests of the fit against closed forms, a slow exhaustive programme, and random input.
