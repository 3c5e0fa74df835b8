//! One binary for all tests that see the project from outside.

mod reading;
mod tone_standards;
mod sheet_sizes;
mod outputs;
mod program;
mod command_line;
mod bad_input;
