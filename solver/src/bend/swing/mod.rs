//! The swing of a board: currents of both polarities, prescribed flap angles, what may be touched, strain ranges.
//!
//! In: board, settled mesh. Out: [`Swing`]. A list of stage calls: equilibria along the paths ([`walk`]), their strain
//! ([`range`]), the board seen from the side ([`side`]). Absent: inertia, contact itself, eddy currents.

mod cycle;
mod range;
mod side;
mod walk;

use super::state::State;
use super::{BendOptions, Told};
use crate::clearance::Guard;
use crate::error::SolveError;
use crate::lorentz::HingeLine;
use crate::lorentz::moving::CarriedPath;
use crate::lorentz::nodal::{Carrier, held_triangles};
use crate::magnet::Field;
use crate::model::{BoardModel, Hinge, Solution, board_model, flap_motion, triangles_in};
use crate::recover::{Recovered, board_traces};
use crate::result::{BondLimit, Coupling, LeastClearance, Swing};
use crate::settle::Settled;
use crate::swing::{FlapAngle, Level, Loads, MovingLoad, Path, Pose, board_load};
use copperbend_mesh::board::Board;
use copperbend_mesh::triangulate::{BoardMesh, Role};
pub(super) use cycle::cycle;
pub use cycle::{CycleWish, cyclic_curve, first_curve};
use nalgebra::SVector;
use walk::{Seen, Walk};

/// Everything of a board that its states share.
pub(super) struct Stage<'a> {
    pub(super) board: &'a Board,
    pub(super) mesh: &'a BoardMesh,
    pub(super) own: BoardModel,
    pub(super) hinge: Hinge,
    pub(super) carried: CarriedPath,
    pub(super) guard: Guard,
    pub(super) angle: FlapAngle,
    /// Largest current, A.
    pub(super) most_a: f64,
    /// Farthest place of the board from the hinge line, m.
    pub(super) reach_m: f64,
}

/// Largest current of the swing, A; None when the board has no swing to follow.
pub(super) fn most_current_a(board: &Board) -> Option<f64> {
    let path = board.current.as_ref()?;
    let most = board.swing.current_a.unwrap_or(path.current_a.abs());
    let swings = !board.swing.off && board.flap.is_some() && !board.magnets.is_empty() && most > 0.0;
    swings.then_some(most)
}

/// Follows the swing; None for a board without magnet, current or flap.
///
/// A path that ends early (pull-in, contact, no convergence) is told in [`Swing::stops`], not as an error.
pub(super) fn swing(
    board: &Board,
    options: &BendOptions,
    bond: BondLimit,
    settled: &Settled<State>,
    told: &mut Told<'_>,
) -> Result<Option<Swing>, SolveError> {
    let Some(most_a) = most_current_a(board).filter(|_| options.swing) else { return Ok(None) };
    let state = &settled.trial.extra;
    let Some(stage) = stage(board, &state.mesh, bond, most_a)? else { return Ok(None) };
    let steady = board_load(board, &state.mesh, &stage.own, board.gravity_m_s2)?;
    let steady: [&dyn MovingLoad; 1] = [&steady];
    let loads = Loads { steady: &steady, driven: Some(&stage.carried) };
    let path = Path::new(&stage.own.model, loads)?;
    let coupling = state.springs.as_ref().and_then(|[couple, _, _]| coupling(&stage, couple));
    let mut walk = Walk::new(&stage, path, told, coupling.map_or(0.0, |c| c.kappa));
    let loaded = Level { steady: 1.0, driven: 0.0, thermal: 1.0, prescribed: 1.0 };
    walk.start(loaded)?;
    walk.currents(board.swing.steps)?;
    walk.angles(board.swing.angles_rad)?;
    let mut found = walk.finish();
    found.currents.sort_by(|a, b| a.row.current_a.total_cmp(&b.row.current_a));
    found.angles.sort_by(|a, b| a.row.angle_rad.total_cmp(&b.row.angle_rad));
    let traces = board_traces(board, &state.mesh);
    let mut strains = Vec::new();
    for (seen, over) in found
        .currents
        .iter_mut()
        .map(|s| (s, board.swing.angles_rad.is_none()))
        .chain(found.angles.iter_mut().map(|s| (s, board.swing.angles_rad.is_some())))
    {
        told.stage("swing: strain", 1.0)?;
        let recovered = range::look(&stage, &traces, seen);
        if over {
            strains.push((seen.row.angle_rad, recovered));
        }
    }
    let reach = |most: fn(f64, f64) -> f64, start| strains.iter().map(|s| s.0).fold(start, most);
    let mut swing = Swing {
        most_current_a: most_a,
        rest_angle_rad: found.rest_angle_rad,
        stops: found.stops,
        coupling: coupling.map(|own| Coupling { pull_in: found.pull_in, ..own }),
        clearance: nearest(found.currents.iter().chain(&found.angles)),
        touching_at_rest: stage.guard.touching_at_rest().to_vec(),
        range_angles_rad: [reach(f64::min, f64::INFINITY), reach(f64::max, f64::NEG_INFINITY)],
        factorisations: u32::try_from(found.factorisations).unwrap_or(u32::MAX),
        views: found.currents.iter().map(|s| side::view(&stage, &s.pose, &s.row)).collect(),
        ..Swing::default()
    };
    let strains: Vec<Recovered> = strains.into_iter().map(|s| s.1).collect();
    range::fill(&stage, options, &traces, &strains, &mut swing);
    swing.by_current = found.currents.into_iter().map(|s| s.row).collect();
    swing.by_angle = found.angles.into_iter().map(|s| s.row).collect();
    Ok(Some(swing))
}

fn stage<'a>(
    board: &'a Board,
    mesh: &'a BoardMesh,
    bond: BondLimit,
    most_a: f64,
) -> Result<Option<Stage<'a>>, SolveError> {
    let Some(current) = &board.current else { return Ok(None) };
    let own = board_model(board, mesh, bond)?;
    let hinge = Hinge::of(board);
    let flap = triangles_in(mesh, Role::Flap);
    let Some(angle) = FlapAngle::new(&own.model, &flap, &hinge) else { return Ok(None) };
    let held = held_triangles(board, mesh);
    let carrier = Carrier { mesh: &mesh.flat, reference_z_m: own.reference_z_m, held: &held };
    let carried = CarriedPath::new(current, &Field::new(&board.magnets), &carrier, 1.0);
    let guard = Guard::new(board, mesh, &own);
    let reach_m =
        mesh.flat.points_m.iter().map(|&p| hinge.along_m(p).abs()).fold(f64::MIN_POSITIVE, f64::max);
    Ok(Some(Stage { board, mesh, own, hinge, carried, guard, angle, most_a, reach_m }))
}

impl Stage<'_> {
    pub(super) fn hinge_line(&self) -> HingeLine {
        HingeLine::new(self.hinge.point_m(), self.hinge.along)
    }
}

/// Change of torque with flap angle at rest, against the spring of the arms.
///
/// The flap moves as under a unit moment; the in-plane part of second order in the angle is left out (some per
/// cent at most).
fn coupling(stage: &Stage<'_>, couple: &Solution) -> Option<Coupling> {
    let turned = flap_motion(stage.board, stage.mesh, &stage.hinge, &couple.displacement)?.lift_rad;
    let rest = Pose::at_rest(&stage.own.model.nodes_m);
    let mut work = 0.0;
    for (triangle, k) in stage.carried.stiffness(&rest) {
        let mut motion = SVector::<f64, 18>::zeros();
        for (a, &node) in stage.mesh.flat.triangles[triangle as usize].iter().enumerate() {
            motion.fixed_rows_mut::<6>(6 * a).copy_from(&couple.displacement[node as usize]);
        }
        work -= motion.dot(&(k * motion));
    }
    let change = work / (turned * turned);
    let stiffness = 1.0 / turned;
    let pull_in = stiffness / change;
    Some(Coupling {
        change_nm_per_rad_a: change,
        stiffness_nm_per_rad: stiffness,
        kappa: stage.most_a * change / stiffness,
        pull_in_estimate_a: Some(pull_in).filter(|a| a.is_finite()),
        pull_in: None,
    })
}

/// The nearest approach of all states.
fn nearest<'s>(states: impl Iterator<Item = &'s Seen>) -> Option<LeastClearance> {
    let least = states.filter_map(|s| s.approach.as_ref().map(|a| (s, a))).min_by(|a, b| {
        let at = |x: &(&Seen, &crate::clearance::Approach)| x.1.distance_m;
        at(a).total_cmp(&at(b))
    })?;
    let (seen, approach) = least;
    Some(LeastClearance {
        to: approach.to.clone(),
        distance_m: approach.distance_m,
        angle_rad: seen.row.angle_rad,
        current_a: seen.row.current_a,
        at_m: approach.at_m,
    })
}
