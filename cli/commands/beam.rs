//! The fast model of `bend`: layered beams alone, or beside the shell.

use super::{Design, Outcome, out_folder};
use crate::args::{BeamOptions, InOut, ModelWord};
use crate::failure::Failure;
use crate::output::atomic::OutFolder;
use crate::output::{csv, json, table};
use crate::screen;
use copperbend_mesh::board::{Board, Bond};
use copperbend_solver::beam::answer::{BeamAnswer, BeamState, swing};
use copperbend_solver::beam::board::{BeamWishes, board_beam};
use copperbend_solver::beam::compare::{Beside, Compared, compare, rigid_shell};
use copperbend_solver::bend::Progress;
use copperbend_solver::result::{BendReport, BondLimit};
use serde::Serialize;

/// Currents per polarity of the beam's swing.
const STEPS: u32 = 10;

/// Everything the beam says under one bond limit.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct BeamRun {
    /// How tapes were taken.
    pub(crate) bond: BondLimit,
    /// Linear answers.
    pub(crate) answer: BeamAnswer,
    /// The same with what the assumptions cost.
    pub(crate) rows: Vec<Compared>,
    /// States of the large swing, by current.
    pub(crate) swing: Vec<BeamState>,
    /// Why the swing ended early.
    pub(crate) stopped: Option<String>,
}

/// Bond limits to run.
pub(super) fn bonds(board: &Board) -> &'static [BondLimit] {
    match board.stiffeners.iter().any(|s| matches!(s.bond, Bond::Tape(_))) {
        true => &[BondLimit::Bonded, BondLimit::Sliding],
        false => &[BondLimit::AsWritten],
    }
}

/// What the beams take for granted, as asked.
pub(super) fn wishes(options: BeamOptions) -> BeamWishes {
    BeamWishes {
        elastic_flap: options.elastic_flap,
        warping_held: !options.free_warping,
        ..BeamWishes::default()
    }
}

/// The same; None with the shell alone.
///
/// # Errors
/// An option for beams without beams.
pub(super) fn asked(model: ModelWord, options: BeamOptions) -> Result<Option<BeamWishes>, Failure> {
    if model != ModelWord::Shell {
        return Ok(Some(wishes(options)));
    }
    let stray = [(options.elastic_flap, "--elastic-flap"), (options.free_warping, "--free-warping")];
    match stray.into_iter().find(|(given, _)| *given) {
        Some((_, name)) => Err(Failure::new(
            format!("{name} is about layered beams, but the shell was asked for"),
            "add --model beam or --model both",
        )),
        None => Ok(None),
    }
}

/// Bends the beams of a board and writes table and files.
///
/// # Errors
/// The board has no beam, or a file cannot be written.
pub(super) fn run(design: &Design, files: &InOut, asked: BeamWishes) -> Result<Outcome, Failure> {
    let folder = out_folder(files, "beam");
    let board = &design.board;
    let mut runs = Vec::new();
    for &bond in bonds(board) {
        let wishes = BeamWishes { bond, ..asked };
        let (answer, rows) = compare(board, &wishes, None, None)?;
        let mut run = BeamRun { bond, answer, rows, swing: Vec::new(), stopped: None };
        let most = board.current.as_ref().map_or(0.0, |c| board.swing.current_a.unwrap_or(c.current_a.abs()));
        if most > 0.0 && !board.magnets.is_empty() && board.flap.is_some() && !board.swing.off {
            let own = board_beam(board, &wishes)?;
            let currents: Vec<f64> =
                (0..=2 * STEPS).map(|i| most * (f64::from(i) / f64::from(STEPS) - 1.0)).collect();
            (run.swing, run.stopped) = swing(board, &own, &currents, &[])?;
        }
        runs.push(run);
    }
    let mut out = OutFolder::open(&folder)?;
    let rows: Vec<(BondLimit, Vec<Compared>)> = runs.iter().map(|r| (r.bond, r.rows.clone())).collect();
    out.put("beam.csv", &csv::compared(&rows))?;
    out.put("beam.json", &json::plain("beam.json", &runs)?)?;
    for run in runs.iter().filter(|r| !r.swing.is_empty()) {
        let name = match run.bond {
            BondLimit::AsWritten => "beam_swing.csv",
            BondLimit::Bonded => "beam_swing_bonded.csv",
            BondLimit::Sliding => "beam_swing_sliding.csv",
        };
        out.put(name, &csv::beam_swing(&run.swing))?;
    }
    let written = out.finish()?;
    screen::print(&table::beam(&board.title, &runs, &written))?;
    let limit = board.limits.copper_strain;
    let most = runs.iter().flat_map(|r| &r.answer.strains).map(|s| s.strain.abs()).fold(0.0, f64::max);
    Ok(if limit.is_some_and(|l| most > l) { Outcome::Exceeded } else { Outcome::Done })
}

/// The wishes of beams that are put beside the shell; None where both were not asked for.
pub(super) fn both(model: ModelWord, asked: Option<BeamWishes>) -> Option<BeamWishes> {
    asked.filter(|_| model == ModelWord::Both)
}

/// The file of beam and shell side by side; None without rows.
pub(super) fn file(beside: &Beside) -> Option<(String, Vec<u8>)> {
    (!beside.is_empty()).then(|| ("beam.csv".to_owned(), csv::compared(beside)))
}

/// The beam beside every answer of the shell, and of the shell with a rigid flap.
///
/// # Errors
/// The board has no beam.
pub(super) fn beside(
    board: &Board,
    report: &BendReport,
    asked: BeamWishes,
    progress: &mut dyn Progress,
) -> Result<Beside, Failure> {
    let tied = rigid_shell(board, &super::hand::shell_options(), progress)?;
    let mut all = Vec::new();
    for (n, answer) in report.answers.iter().enumerate() {
        let wishes = BeamWishes { bond: answer.bond, ..asked };
        let tied = tied.as_ref().and_then(|t| t.answers.get(n));
        all.push((answer.bond, compare(board, &wishes, Some(answer), tied)?.1));
    }
    Ok(all)
}
