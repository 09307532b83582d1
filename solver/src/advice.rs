//! Layout advice of the trade, each with its source: board in, remarks out. Never a verdict on life or strength.

use crate::result::Advice;
use copperbend_mesh::board::Board;

/// What the trade's layout rules say about this board.
#[must_use]
pub fn advise(board: &Board) -> Vec<Advice> {
    let _ = board;
    Vec::new()
}
