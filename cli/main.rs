//! stub
mod output;
fn main() {}
