//! The verb `bend`: board in, report out.
//!
//! A list of stage calls: mesh, model, solve, recover, refine until the spots settle, then tables and maps. One
//! pass per bond limit. Small deflections: linear about the flat board, the magnet's load at the rest position.
//! Absent: large rotation, motion, plasticity, contact.

mod maps;
mod remarks;
mod span;
mod spots;
mod state;
mod swing;

pub(crate) use remarks::cautions;
pub(crate) use spots::face;
pub(crate) use swing::{difference, widest};

use crate::error::SolveError;
use crate::model::{BoardModel, Hinge, LoadCase};
use crate::recover::{SpotOptions, board_traces};
use crate::result::{
    Accuracy, BendAnswer, BendReport, BondLimit, MeshFacts, SettleHistory, SettlePass, Spring,
};
use crate::settle::{SettleOptions, Settled, Trial, settle};
use crate::summary::summarise;
use copperbend_mesh::board::{Board, Bond};
use copperbend_mesh::triangulate::{BoardMesh, SizeSource, board_mesh};
use state::{State, solve_all};
use std::cell::RefCell;
use std::sync::{Mutex, PoisonError};
pub use swing::{CycleWish, cyclic_curve, first_curve};

/// Told how far a long computation has come; may stop it.
pub trait Progress: Send {
    /// A stage has reached `fraction` (0 to 1). Returning false stops the work with [`SolveError::Cancelled`].
    fn report(&mut self, stage: &str, fraction: f64) -> bool;
}

/// Says nothing and never stops.
#[derive(Debug, Clone, Copy, Default)]
pub struct Quiet;

impl Progress for Quiet {
    fn report(&mut self, _stage: &str, _fraction: f64) -> bool {
        true
    }
}

/// What to compute beside the design's own wishes.
#[derive(Debug, Clone)]
pub struct BendOptions {
    /// Height of the solver's unknowns above z = 0, m; None: the neutral plane of the arms. Changes rounding only.
    pub reference_z_m: Option<f64>,
    /// Refine the mesh until the spots settle (false: one pass).
    pub refine: bool,
    /// Run the worst spot again with the copper modulus at both ends of its span.
    pub modulus_span: bool,
    /// Meshes up to this many triangles serve for the span of the modulus themselves; beyond, a coarser one gives it as
    /// ratios.
    pub span_triangles: usize,
    /// Follow large motion: the swing where a magnet drives a flap, else growing loads.
    pub swing: bool,
    /// Follow the swing once more with copper that yields.
    pub cycle: Option<CycleWish>,
    /// Only what that needs: the settled mesh and the ends of the elastic swing; no tables, maps or strains of elastic
    /// copper.
    pub only_cycle: bool,
    /// Spots to list per answer.
    pub max_spots: u32,
    /// Asks the machine for its free memory, bytes: a factor that would not fit is refused. None: no limit.
    pub free_memory: Option<fn() -> Option<u64>>,
}

impl Default for BendOptions {
    fn default() -> Self {
        Self {
            reference_z_m: None,
            refine: true,
            modulus_span: true,
            span_triangles: 20_000,
            swing: true,
            cycle: None,
            only_cycle: false,
            max_spots: 12,
            free_memory: None,
        }
    }
}

/// Deflection, flap angle and copper strain of a board under its loads.
///
/// With a tape-held stiffener both bond limits are run: bonded, then sliding.
///
/// # Errors
/// Any [`SolveError`]; [`SolveError::Cancelled`] when `progress` says stop.
pub fn bend(
    board: &Board,
    options: &BendOptions,
    progress: &mut dyn Progress,
) -> Result<BendReport, SolveError> {
    let taped = board.stiffeners.iter().any(|s| matches!(s.bond, Bond::Tape(_)));
    let bonds: &[BondLimit] =
        if taped { &[BondLimit::Bonded, BondLimit::Sliding] } else { &[BondLimit::AsWritten] };
    let answers = answers(board, options, bonds, &Mutex::new(progress))?;
    let drive = state::drive_facts(board, &Hinge::of(board));
    let mut report = BendReport {
        title: board.title.clone(),
        summary: summarise(board),
        drive,
        answers,
        ..BendReport::default()
    };
    remarks::fill(board, &mut report);
    Ok(report)
}

/// Meshes up to this many triangles let both bond limits finish beside each other: a swing leaves threads idle, and
/// twice its memory is little.
const BESIDE: usize = 40_000;

/// One answer per bond limit, in their order.
fn answers<'p>(
    board: &Board,
    options: &BendOptions,
    bonds: &[BondLimit],
    progress: &'p Mutex<&'p mut dyn Progress>,
) -> Result<Vec<BendAnswer>, SolveError> {
    let told = |bond| Told {
        progress,
        name: match bond {
            BondLimit::AsWritten => "",
            BondLimit::Bonded => " (tape stiff)",
            BondLimit::Sliding => " (tape sliding)",
        },
    };
    let settle = |bond| settled(board, options, bond, &mut told(bond));
    let finish = |bond, settled: &Settled<State>| finished(board, options, bond, settled, &mut told(bond));
    let mut all = Vec::with_capacity(bonds.len());
    let mut rest = bonds;
    while let [bond, after @ ..] = rest {
        let one = settle(*bond)?;
        match after {
            [other, after @ ..] if one.trial.model.triangles.len() <= BESIDE => {
                let another = settle(*other)?;
                let (one, another) = rayon::join(|| finish(*bond, &one), || finish(*other, &another));
                all.extend([one?, another?]);
                rest = after;
            }
            _ => {
                all.push(finish(*bond, &one)?);
                rest = after;
            }
        }
    }
    Ok(all)
}

/// The loaded state of a board's model as one load case: all forces, heating, moved supports.
///
/// # Errors
/// [`SolveError::Model`] for a load that acts nowhere on the board.
pub fn loaded_case(board: &Board, mesh: &BoardMesh, own: &BoardModel) -> Result<LoadCase, SolveError> {
    state::loaded_case(board, mesh, own)
}

/// Progress with the name of the bond limit behind every stage.
struct Told<'p> {
    progress: &'p Mutex<&'p mut dyn Progress>,
    name: &'p str,
}

impl Told<'_> {
    fn stage(&mut self, stage: &str, fraction: f64) -> Result<(), SolveError> {
        let mut progress = self.progress.lock().unwrap_or_else(PoisonError::into_inner);
        if progress.report(&format!("{stage}{}", self.name), fraction) {
            Ok(())
        } else {
            Err(SolveError::Cancelled)
        }
    }
}

/// The mesh whose top spots hold still, solved.
fn settled(
    board: &Board,
    options: &BendOptions,
    bond: BondLimit,
    told: &mut Told<'_>,
) -> Result<Settled<State>, SolveError> {
    let hinge = Hinge::of(board);
    let wishes = settle_options(board, options);
    let passes = f64::from(wishes.max_refinements) + 1.0;
    let done = RefCell::new(0.0);
    let shared = RefCell::new(&mut *told);
    let mut build = |sources: &[SizeSource]| -> Result<Trial<State>, SolveError> {
        let at = |part: f64| (*done.borrow() + part) / passes;
        shared.borrow_mut().stage("mesh", at(0.0))?;
        let mesh = board_mesh(board, sources).map_err(SolveError::of_mesh)?;
        shared.borrow_mut().stage("model", at(0.15))?;
        let mut own = crate::model::board_model_about(board, &mesh, bond, options.reference_z_m)?;
        own.model.free_memory = options.free_memory;
        shared.borrow_mut().stage("solve", at(0.2))?;
        let (model, solution, state) = solve_all(board, mesh, own, &hinge)?;
        shared.borrow_mut().stage("recover", at(0.8))?;
        let traces = board_traces(board, &state.mesh);
        Ok(Trial { model, solution, thermal_factor: 1.0, traces, extra: state })
    };
    settle(&mut build, &wishes, &mut |_| {
        *done.borrow_mut() += 1.0;
        true
    })
}

/// Tables, spots, maps and the swing of a settled mesh.
fn finished(
    board: &Board,
    options: &BendOptions,
    bond: BondLimit,
    settled: &Settled<State>,
    told: &mut Told<'_>,
) -> Result<BendAnswer, SolveError> {
    let hinge = Hinge::of(board);
    let wishes = settle_options(board, options);
    told.stage("report", 1.0)?;
    if options.only_cycle {
        let mut answer = tables(board, bond, &hinge, &wishes, settled);
        answer.shape = maps::shape(settled);
        answer.swing = swing::ends(board, options, bond, settled, told)?;
        return looped(board, options, bond, (settled, answer), told);
    }
    let span = || match options.modulus_span {
        true => span::modulus_span(board, options, bond, settled),
        false => Ok(None),
    };
    let ((span, mut answer), (spots, maps)) = rayon::join(
        || rayon::join(span, || tables(board, bond, &hinge, &wishes, settled)),
        || rayon::join(|| spots::rows(board, options, settled), || maps::of(board, settled)),
    );
    answer.modulus_span = span?;
    (answer.spots, answer.elongations) = spots;
    (answer.shape, answer.maps) = maps;
    answer.swing = swing::swing(board, options, bond, settled, told)?;
    spots::swing_ranges(&mut answer);
    looped(board, options, bond, (settled, answer), told)
}

/// The answer with the loop of yielding copper, where one is asked for.
fn looped(
    board: &Board,
    options: &BendOptions,
    bond: BondLimit,
    (settled, mut answer): (&Settled<State>, BendAnswer),
    told: &mut Told<'_>,
) -> Result<BendAnswer, SolveError> {
    if let Some(elastic) = &answer.swing {
        answer.cycle = swing::cycle(board, options, bond, (&settled.trial.extra.mesh, elastic), told)?;
    }
    Ok(answer)
}

fn settle_options(board: &Board, options: &BendOptions) -> SettleOptions {
    SettleOptions {
        tolerance: board.mesh.tolerance,
        max_refinements: if options.refine { board.mesh.max_refinements } else { 0 },
        max_triangles: board.mesh.max_triangles,
        growth: board.mesh.growth,
        spots: SpotOptions::default(),
        ..SettleOptions::default()
    }
}

fn tables(
    board: &Board,
    bond: BondLimit,
    hinge: &Hinge,
    wishes: &SettleOptions,
    settled: &Settled<State>,
) -> BendAnswer {
    let (trial, state) = (&settled.trial, &settled.trial.extra);
    let passes = settled.rounds.iter().map(|round| SettlePass {
        triangles: u32::try_from(round.n_triangles).unwrap_or(u32::MAX),
        top_strain: round.top.unwrap_or(0.0),
        change: round.change,
        energy_error: round.energy_error,
    });
    BendAnswer {
        bond,
        loaded: state.movement(board, hinge, &trial.solution, &state.loads[0]),
        unloaded: state.movement(board, hinge, &state.unloaded, &state.loads[1]),
        spring: spring(board, hinge, state),
        accuracy: accuracy(trial, state),
        mesh: mesh_facts(board, state),
        settle: SettleHistory {
            passes: passes.collect(),
            tolerance: wishes.tolerance,
            settled: settled.outcome == crate::settle::Outcome::Settled,
            stopped: settled.outcome.words().into(),
            remedy: settled.outcome.remedy().into(),
        },
        ..BendAnswer::default()
    }
}

fn accuracy(trial: &Trial<State>, state: &State) -> Accuracy {
    let last = trial.solution.last_correction;
    Accuracy {
        first_correction: trial.solution.first_correction,
        last_correction: last,
        digits: if last > 0.0 { (-last.log10()).clamp(0.0, 15.0) } else { 15.0 },
        corrections: trial.solution.refinements,
        balance: state.loads[0].imbalance.max(state.loads[1].imbalance),
    }
}

fn mesh_facts(board: &Board, state: &State) -> MeshFacts {
    let flat = &state.mesh.flat;
    let (mut shortest, mut longest) = (f64::INFINITY, 0.0_f64);
    for corners in &flat.triangles {
        for [i, j] in [[0, 1], [1, 2], [2, 0]] {
            let [p, q] = [corners[i], corners[j]].map(|n| flat.points_m[n as usize]);
            let side = (q[0] - p[0]).hypot(q[1] - p[1]);
            shortest = shortest.min(side);
            longest = longest.max(side);
        }
    }
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let largest = flat.moved.iter().max_by(|a, b| a.by_m.total_cmp(&b.by_m));
    MeshFacts {
        moved_corners: count(flat.moved.len()),
        moved_most_m: largest.map_or(0.0, |m| m.by_m),
        moved_at_m: largest.map_or([0.0; 2], |m| m.at_m),
        merged: state.mesh.merged_words(board),
        nodes: count(flat.points_m.len()),
        triangles: count(flat.triangles.len()),
        unknowns: count(state.n_unknowns),
        min_angle_deg: flat.min_angle_rad.to_degrees(),
        shortest_m: shortest,
        longest_m: longest,
        complete: flat.complete,
        reference_z_m: state.reference_z_m,
    }
}

fn spring(board: &Board, hinge: &Hinge, state: &State) -> Option<Spring> {
    let [couple, lift, roll] = state.springs.as_ref()?;
    let motion = |solution: &crate::model::Solution| {
        crate::model::flap_motion(board, &state.mesh, hinge, &solution.displacement)
    };
    let by_drive =
        state.drive.filter(|[_, angle]| angle.abs() > 0.0).map(|[torque_nm, angle]| torque_nm / angle);
    Some(Spring {
        moment_nm_per_rad: 1.0 / motion(couple)?.lift_rad,
        force_n_per_m: 1.0 / motion(lift)?.centre_m[2],
        roll_nm_per_rad: 1.0 / motion(roll)?.roll_rad,
        drive_nm_per_rad: by_drive,
    })
}
