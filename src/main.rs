//! The `sustent` command.
fn main() {}
