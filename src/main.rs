//! The `merestone` program: parse, run, say what went wrong.

fn main() {}
