//! One binary for all tests that see the project from outside.

mod bad_input;
mod by_hand;
mod command_line;
mod curves;
mod drawn;
mod edges;
mod edits;
mod extra;
mod kernels;
mod label_maps;
mod metamorphic;
mod nesting;
mod oracles;
mod outputs;
mod program;
mod promises;
mod reading;
mod sheet_sizes;
mod sphere;
mod study_file;
mod texture;
mod thin;
mod tidy;
mod tone_standards;
mod zones;
