//! Designs understood: one test per fault, and what the examples become.

mod faults;
mod results;

use super::*;

const STRIP: &str = include_str!("../../../../../examples/plain_strip/design.toml");
const ONE_ARM: &str = include_str!("../../../../../examples/one_arm_vane/design.toml");
const TWO_ARMS: &str = include_str!("../../../../../examples/two_arm_vane/design.toml");

fn board(text: &str) -> Board {
    understand("design.toml", text).unwrap_or_else(|faults| panic!("{faults}"))
}
