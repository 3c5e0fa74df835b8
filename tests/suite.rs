//! One binary for all tests that see the project from outside.

mod sheet_sizes;
mod outputs;
