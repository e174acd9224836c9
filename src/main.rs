//! The command line `thumbline`.

fn main() {}
