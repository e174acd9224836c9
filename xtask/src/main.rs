//! Chores of the project, each a verb.

fn main() {}
