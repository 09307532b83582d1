//! `hand`: the estimates of a hand calculation beside beam and shell.

use super::{Outcome, out_folder, read_design};
use crate::args::Hand;
use crate::failure::Failure;
use crate::output::atomic::OutFolder;
use crate::output::{csv, json, table};
use crate::screen::{self, ProgressLine};
use copperbend_solver::beam::answer::{BeamScope, answer};
use copperbend_solver::beam::board::{BeamWishes, board_beam};
use copperbend_solver::beam::compare::compare;
use copperbend_solver::bend::{BendOptions, bend};
use copperbend_solver::hand::{estimates, shell_facts};

/// Prints the estimates and writes them.
///
/// # Errors
/// The design has faults, the board has no beam, or a file cannot be written.
pub(crate) fn run(options: &Hand) -> Result<Outcome, Failure> {
    let design = read_design(&options.files.design)?;
    let board = &design.board;
    let folder = out_folder(&options.files, "hand");
    drop(OutFolder::open(&folder)?);
    let mut progress = ProgressLine::new();
    let report = match options.no_shell {
        true => None,
        false => Some(bend(board, &shell_options(), &mut progress)?),
    };
    let first = report.as_ref().and_then(|r| Some((r, r.answers.first()?)));
    let bond = first.map_or_else(|| super::beam::bonds(board)[0], |(_, a)| a.bond);
    progress.say("frequencies");
    let shell = first.map(|(r, a)| shell_facts(board, r, a)).transpose()?;
    let wishes = BeamWishes { bond, ..BeamWishes::default() };
    let beam = board_beam(board, &wishes)?;
    let own = answer(board, &beam, BeamScope { frequencies: 6 })?;
    let (_, rows) = compare(board, &wishes, first.map(|f| f.1), None)?;
    let all = estimates(board, &beam, &own, &rows, shell.as_ref());
    let mut out = OutFolder::open(&folder)?;
    out.put("hand.csv", &csv::estimates(&all))?;
    out.put("hand.json", &json::plain("hand.json", &all)?)?;
    let written = out.finish()?;
    drop(progress);
    screen::print(&table::hand(&board.title, &all, bond, super::beam::bonds(board).len() > 1, &written))?;
    Ok(Outcome::Done)
}

/// The shell's linear answer without what estimates do not need.
pub(super) fn shell_options() -> BendOptions {
    BendOptions {
        modulus_span: false,
        swing: false,
        free_memory: Some(crate::machine::free_memory),
        ..BendOptions::default()
    }
}
