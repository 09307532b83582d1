//! The board as understood: areas, mass, the stack at a point, resistance.

use crate::result::{BoardSummary, StackAt};
use copperbend_mesh::board::Board;
use copperbend_mesh::region::Point;

/// Areas, mass and circuit of a board.
#[must_use]
pub fn summarise(board: &Board) -> BoardSummary {
    let _ = board;
    BoardSummary::default()
}

/// The stack at a point; None outside the outline.
#[must_use]
pub fn stack_at(board: &Board, at_m: Point) -> Option<StackAt> {
    let _ = (board, at_m);
    None
}
