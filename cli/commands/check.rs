//! `check`: the board as understood, and layout advice of the trade.

use super::{Outcome, read_design};
use crate::args::Check;
use crate::failure::Failure;
use crate::output::table;
use crate::screen;
use copperbend_mesh::triangulate::board_mesh;
use copperbend_solver::advice::advise;
use copperbend_solver::summary::{stack_at, summarise};

/// Prints the board and the advice.
///
/// # Errors
/// The design has faults, or a point asked for is off the board.
pub(crate) fn run(options: &Check) -> Result<Outcome, Failure> {
    let design = read_design(&options.design)?;
    let board = &design.board;
    let mut stacks = Vec::new();
    for &at in &options.at {
        let stack = stack_at(board, at).ok_or_else(|| {
            Failure::new(
                format!("--at {},{}: this point is not on the board", at[0] * 1e3, at[1] * 1e3),
                "give a point inside the outline, in mm",
            )
        })?;
        stacks.push(("as asked".to_owned(), stack));
    }
    if options.at.is_empty() {
        let middles = board.arms.iter().map(|arm| {
            let middle = [0, 1].map(|k| 0.5 * (arm.root_m[k] + arm.tip_m[k]));
            (format!("middle of arm '{}'", arm.name), middle)
        });
        let flap = board.flap.iter().map(|f| ("middle of the flap".to_owned(), f.region.centroid_m()));
        stacks.extend(middles.chain(flap).filter_map(|(name, at)| Some((name, stack_at(board, at)?))));
    }
    // What cannot be meshed is told by the verbs that need the mesh.
    let mesh = board_mesh(board, &[]).ok();
    let text = table::check(board, &summarise(board), &stacks, &advise(board), mesh.as_ref());
    screen::print(&text)?;
    Ok(Outcome::Done)
}
