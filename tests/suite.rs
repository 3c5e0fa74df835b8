//! One binary for all tests that see the project from outside.

mod drawn;
mod metamorphic;
mod oracles;
mod promises;
mod sphere;
