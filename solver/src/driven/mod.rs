//! The verb `drive`: board in, steady swing under an alternating current out.
//!
//! A list of stage calls: mesh, model, air, modes at rest (`stage`), a first estimate, the way of the large swing
//! (`way`), damping share by share (`damping`), the reduced board (`reduce`), sweeps over frequency and strength
//! (`sweep`), strain ranges (`strain`), limits (`usable`). One pass per bond limit. Absent: contact, heating of
//! the coil by itself, feedback of the eddy currents' own field.

mod beams;
mod damping;
mod expected;
mod in_time;
mod reduce;
mod remarks;
mod slow;
mod stage;
mod strain;
mod sweep;
mod usable;
mod way;

pub use beams::beside_shell;
pub use expected::{Expected, expected};
pub use in_time::InTime;

use crate::beam::board::BeamWishes;
use crate::bend::Progress;
use crate::error::SolveError;
use crate::result::{BondLimit, DriveAnswer, DriveReport};
use crate::summary::summarise;
use copperbend_mesh::board::{Board, Bond};
use stage::Stage;

/// What to compute beside the design's own wishes.
#[derive(Debug, Clone)]
pub struct DriveOptions {
    /// Natural modes in the reduced board.
    pub modes: usize,
    /// Layered beams instead of the shell, with what they take for granted (the bond limit comes from the board).
    pub beam: Option<BeamWishes>,
    /// What to follow in time.
    pub in_time: Vec<InTime>,
    /// Asks the machine for its free memory, bytes: a factor that would not fit is refused. None: no limit.
    pub free_memory: Option<fn() -> Option<u64>>,
}

impl Default for DriveOptions {
    fn default() -> Self {
        Self { modes: 5, beam: None, in_time: Vec::new(), free_memory: None }
    }
}

/// Progress of one answer.
type Tell<'t> = dyn FnMut(&str, f64) -> Result<(), SolveError> + 't;

/// The driven swing of a board in air.
///
/// With a tape-held stiffener both bond limits are run: bonded, then sliding. A branch that is lost says where and
/// keeps what it has.
///
/// # Errors
/// Any [`SolveError`]; [`SolveError::Cancelled`] when `progress` says stop; [`SolveError::Model`] for a board without
/// flap, current path, current or magnet.
pub fn drive(
    board: &Board,
    options: &DriveOptions,
    progress: &mut dyn Progress,
) -> Result<DriveReport, SolveError> {
    stage::check(board)?;
    let taped = board.stiffeners.iter().any(|s| matches!(s.bond, Bond::Tape(_)));
    let bonds: &[BondLimit] =
        if taped { &[BondLimit::Bonded, BondLimit::Sliding] } else { &[BondLimit::AsWritten] };
    let mut answers = Vec::with_capacity(bonds.len());
    for (i, &bond) in bonds.iter().enumerate() {
        let mut tell = |name: &str, fraction: f64| {
            let whole = (i as f64 + fraction) / bonds.len() as f64;
            if progress.report(name, whole) { Ok(()) } else { Err(SolveError::Cancelled) }
        };
        answers.push(answer(board, options, bond, &mut tell)?);
    }
    let mut report = DriveReport {
        title: board.title.clone(),
        summary: summarise(board),
        answers,
        ..DriveReport::default()
    };
    remarks::fill(board, &mut report);
    if options.beam.is_some() {
        report.left_out.push(crate::beam::compare::LEFT_OUT.to_owned());
    }
    Ok(report)
}

fn answer(
    board: &Board,
    options: &DriveOptions,
    bond: BondLimit,
    tell: &mut Tell<'_>,
) -> Result<DriveAnswer, SolveError> {
    let stage = Stage::new(board, options, bond, tell)?;
    let damping = damping::Damping::new(&stage);
    tell("estimate", 0.4)?;
    let reach_rad = reduce::estimate(&stage, &damping);
    let way = way::Way::follow(&stage, reach_rad, tell)?;
    tell("eddy currents", 0.7)?;
    let system = reduce::reduced(&stage, &damping, &way)?;
    tell("strain", 0.74)?;
    let strains = strain::Strains::new(&stage, &way);
    let mut out = stage.told(bond);
    way.tell(&stage, &system, &mut out);
    sweep::fill(&stage, &way, &system, &strains, (&mut out, tell))?;
    for &wish in &options.in_time {
        tell("in time", 0.99)?;
        let peak = out.peak.and_then(|p| out.sweep.get(p));
        let at = peak.map_or([out.swing.frequency_hz, 0.1], |r| [r.frequency_hz, r.swing_rad]);
        let wave = reduce::wave(&stage, out.source.inductance_h);
        out.traces.extend(in_time::trace((&stage, &way, &system), wish, wave, at));
    }
    damping.tell(&stage, &system, &mut out);
    usable::fill(board, &mut out);
    Ok(out)
}
