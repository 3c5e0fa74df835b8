//! One binary for all tests that see the project from outside.

mod bad_input;
mod command_line;
mod curves;
mod drawn;
mod edges;
mod extra;
mod ink_facts;
mod kernels;
mod label_maps;
mod metamorphic;
mod nesting;
mod oracles;
mod outputs;
mod plan;
mod program;
mod promises;
mod reading;
mod renderings;
mod sheet_sizes;
mod sphere;
mod study_file;
mod texture;
mod thin;
mod tidy;
mod tone_standards;
mod zones;
