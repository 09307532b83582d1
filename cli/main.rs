//! stub
mod failure;
mod output;
fn main() {}
