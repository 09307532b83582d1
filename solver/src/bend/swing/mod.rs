//! Large motion of a board: currents of both polarities, prescribed flap angles, growing loads, what may be touched,
//! strain ranges.
//!
//! In: board, settled mesh. Out: [`Swing`]. A list of stage calls: equilibria along the paths ([`walk`], and [`loads`]
//! where no current drives the board), their strain ([`range`]), the board seen from the side ([`side`]). Absent: inertia,
//! contact itself, eddy currents.

mod cycle;
mod loads;
mod range;
mod side;
mod steps;
mod walk;
mod words;

use super::state::State;
use super::{BendOptions, Told};
use crate::clearance::Guard;
use crate::error::SolveError;
use crate::lorentz::HingeLine;
use crate::lorentz::moving::CarriedPath;
use crate::lorentz::nodal::{Carrier, held_triangles};
use crate::magnet::Field;
use crate::model::{BoardModel, Hinge, Solution, board_model, flap_motion, triangles_in};
use crate::recover::{Patches, Recovered, board_traces};
use crate::result::{BondLimit, Coupling, LeastClearance, Swing};
use crate::settle::Settled;
use crate::swing::{FlapAngle, Level, Loads, Measure, MovingLoad, Path, Pose, board_load};
use copperbend_mesh::board::Board;
use copperbend_mesh::triangulate::{BoardMesh, Role};
pub(super) use cycle::cycle;
pub use cycle::{CycleWish, cyclic_curve, first_curve};
use nalgebra::SVector;
pub(crate) use range::{difference, widest};
use walk::{Found, Seen, Walk};

/// Everything of the design, no current.
const WHOLE: Level = Level { steady: 1.0, driven: 0.0, thermal: 1.0, prescribed: 1.0 };

/// Largest rotation (rad) and largest movement over the board's thickness up to which small motion is all there is.
const SMALL_RAD: f64 = 0.005;
const SMALL_SHARE: f64 = 1.0;

/// States from rest to the whole loads, per wished step of current.
const LOADS_PER_STEP: u32 = 2;

/// Everything of a board that its states share.
pub(super) struct Stage<'a> {
    pub(super) board: &'a Board,
    pub(super) mesh: &'a BoardMesh,
    pub(super) own: BoardModel,
    pub(super) hinge: Hinge,
    /// The current's path: at one ampere where the current is sought, else at the design's current.
    pub(super) carried: Option<CarriedPath>,
    pub(super) guard: Guard,
    pub(super) angle: Option<FlapAngle>,
    /// Node that moves most by the linear answer: its turn is the angle where there is no flap.
    pub(super) farthest: u32,
    /// Largest current, A; none where no current drives the board.
    pub(super) most_a: f64,
    /// Turn of the flap per ampere by small motion, rad/A.
    pub(super) rad_per_ampere: f64,
    /// Angle by the whole loads as small motion has it, rad.
    pub(super) loaded_rad: f64,
    /// Farthest place of the board from the hinge line, m.
    pub(super) reach_m: f64,
}

/// Largest current of the swing, A; None when no current drives a flap.
pub(super) fn most_current_a(board: &Board) -> Option<f64> {
    let path = board.current.as_ref()?;
    let most = board.swing.current_a.unwrap_or(path.current_a.abs());
    let swings = !board.swing.off && board.flap.is_some() && !board.magnets.is_empty() && most > 0.0;
    swings.then_some(most)
}

/// Follows the swing, or the loads where no current drives a flap; None where small motion is all there is.
///
/// A path that ends early (pull-in, contact, no convergence) is told in [`Swing::stops`], not as an error.
pub(super) fn swing(
    board: &Board,
    options: &BendOptions,
    bond: BondLimit,
    settled: &Settled<State>,
    told: &mut Told<'_>,
) -> Result<Option<Swing>, SolveError> {
    let most_a = most_current_a(board);
    if !options.swing || board.swing.off || (most_a.is_none() && is_small(settled)) {
        return Ok(None);
    }
    let state = &settled.trial.extra;
    let stage = stage(board, &state.mesh, bond, most_a)?.expecting(settled);
    let gravity = board_load(board, &state.mesh, &stage.own, board.gravity_m_s2)?;
    let driven = stage.carried.as_ref().map(|carried| carried as &dyn MovingLoad);
    let mut steady: Vec<&dyn MovingLoad> = vec![&gravity];
    if stage.most_a == 0.0 {
        steady.extend(driven);
    }
    let loads = Loads { steady: &steady, driven: driven.filter(|_| stage.most_a > 0.0) };
    let path = Path::new(&stage.own.model, loads)?;
    let coupling = state.springs.as_ref().and_then(|[couple, _, _]| coupling(&stage, couple));
    let mut walk = Walk::new(&stage, path, told, coupling.map_or(0.0, |c| c.kappa));
    if stage.most_a > 0.0 {
        walk.start(WHOLE)?;
        walk.currents(board.swing.steps)?;
        walk.angles(board.swing.angles_rad)?;
    } else {
        walk.loads(LOADS_PER_STEP * board.swing.steps)?;
    }
    let mut found = walk.finish();
    found.currents.sort_by(|a, b| a.row.current_a.total_cmp(&b.row.current_a));
    found.angles.sort_by(|a, b| a.row.angle_rad.total_cmp(&b.row.angle_rad));
    reported(&stage, options, found, coupling, told).map(Some)
}

/// Steps of current to each end where only the ends are wanted.
const STEPS_TO_ENDS: u32 = 2;

/// The ends of the swing alone, without strains, for the loop of yielding copper: the currents that have an equilibrium.
/// Where the loop goes by prescribed angle, nothing is walked.
pub(super) fn ends(
    board: &Board,
    options: &BendOptions,
    bond: BondLimit,
    settled: &Settled<State>,
    told: &mut Told<'_>,
) -> Result<Option<Swing>, SolveError> {
    let Some(most_a) = most_current_a(board).filter(|_| options.swing) else { return Ok(None) };
    if options.cycle.as_ref().is_some_and(|wish| wish.angle_rad.is_some()) {
        return Ok(Some(Swing { most_current_a: most_a, ..Swing::default() }));
    }
    let state = &settled.trial.extra;
    let stage = stage(board, &state.mesh, bond, Some(most_a))?.expecting(settled);
    let gravity = board_load(board, &state.mesh, &stage.own, board.gravity_m_s2)?;
    let driven = stage.carried.as_ref().map(|carried| carried as &dyn MovingLoad);
    let steady: [&dyn MovingLoad; 1] = [&gravity];
    let path = Path::new(&stage.own.model, Loads { steady: &steady, driven })?;
    let coupling = state.springs.as_ref().and_then(|[couple, _, _]| coupling(&stage, couple));
    let mut walk = Walk::new(&stage, path, told, coupling.map_or(0.0, |c| c.kappa));
    walk.start(WHOLE)?;
    walk.currents(STEPS_TO_ENDS)?;
    let mut found = walk.finish();
    found.currents.sort_by(|a, b| a.row.current_a.total_cmp(&b.row.current_a));
    Ok(Some(Swing {
        most_current_a: stage.most_a,
        rest_angle_rad: found.rest_angle_rad,
        by_current: found.currents.into_iter().map(|s| s.row).collect(),
        stops: found.stops,
        ..Swing::default()
    }))
}

/// Strains, ranges and rows of everything found.
fn reported(
    stage: &Stage<'_>,
    options: &BendOptions,
    mut found: Found,
    coupling: Option<Coupling>,
    told: &mut Told<'_>,
) -> Result<Swing, SolveError> {
    let by_angle = stage.board.swing.angles_rad.is_some();
    let traces = board_traces(stage.board, stage.mesh);
    let patches = Patches::new(&stage.own.model);
    let mut strains = Vec::new();
    let by_current = found.currents.iter_mut().chain(&mut found.loads).map(|s| (s, !by_angle));
    for (seen, over) in by_current.chain(found.angles.iter_mut().map(|s| (s, by_angle))) {
        told.stage("swing: strain", 1.0)?;
        let recovered = range::look(stage, (&patches, &traces), seen);
        if over {
            strains.push((seen.row.angle_rad, recovered));
        }
    }
    let reach = |most: fn(f64, f64) -> f64, start| strains.iter().map(|s| s.0).fold(start, most);
    let viewed = || found.currents.iter().chain(&found.loads);
    let mut swing = Swing {
        most_current_a: stage.most_a,
        rest_angle_rad: found.rest_angle_rad,
        angle_of: stage.angle_of(),
        stops: found.stops,
        snaps: found.snaps,
        coupling: coupling.map(|own| Coupling { pull_in: found.pull_in, ..own }),
        clearance: nearest(viewed().chain(&found.angles)),
        touching_at_rest: stage.guard.touching_at_rest().to_vec(),
        range_angles_rad: [reach(f64::min, f64::INFINITY), reach(f64::max, f64::NEG_INFINITY)],
        factorisations: u32::try_from(found.factorisations).unwrap_or(u32::MAX),
        views: viewed().map(|s| side::view(stage, &s.pose, &s.row)).collect(),
        ..Swing::default()
    };
    let strains: Vec<Recovered> = strains.into_iter().map(|s| s.1).collect();
    range::fill(stage, options, &traces, &strains, &mut swing);
    let rows = |list: Vec<Seen>| list.into_iter().map(|s| s.row).collect();
    swing.by_current = rows(found.currents);
    swing.by_angle = rows(found.angles);
    swing.by_load = rows(found.loads);
    Ok(swing)
}

/// Whether the linear answer turns and moves the board so little that nothing large is left to follow.
fn is_small(settled: &Settled<State>) -> bool {
    let (model, solution) = (&settled.trial.model, &settled.trial.solution);
    let thickest = model
        .laminates
        .iter()
        .flat_map(|l| l.plies.last().zip(l.plies.first()).map(|(high, low)| high.z1_m - low.z0_m))
        .fold(0.0, f64::max);
    solution.displacement.iter().all(|u| {
        u.fixed_rows::<3>(3).norm() < SMALL_RAD && u.fixed_rows::<3>(0).norm() < SMALL_SHARE * thickest
    })
}

fn stage<'a>(
    board: &'a Board,
    mesh: &'a BoardMesh,
    bond: BondLimit,
    most_a: Option<f64>,
) -> Result<Stage<'a>, SolveError> {
    let own = board_model(board, mesh, bond)?;
    let hinge = Hinge::of(board);
    let flap = triangles_in(mesh, Role::Flap);
    let angle = FlapAngle::new(&own.model, &flap, &hinge);
    let most_a = most_a.filter(|_| angle.is_some()).unwrap_or(0.0);
    let held = held_triangles(board, mesh);
    let carrier = Carrier { mesh: &mesh.flat, reference_z_m: own.reference_z_m, held: &held };
    let current = board.current.as_ref().filter(|_| !board.magnets.is_empty());
    let carried = current.map(|path| {
        let at_factor_one = if most_a > 0.0 { 1.0 } else { path.current_a };
        CarriedPath::new(path, &Field::new(&board.magnets), &carrier, at_factor_one)
    });
    let guard = Guard::new(board, mesh, &own);
    let reach_m =
        mesh.flat.points_m.iter().map(|&p| hinge.along_m(p).abs()).fold(f64::MIN_POSITIVE, f64::max);
    Ok(Stage {
        board,
        mesh,
        own,
        hinge,
        carried,
        guard,
        angle,
        farthest: 0,
        most_a,
        rad_per_ampere: 0.0,
        loaded_rad: 0.0,
        reach_m,
    })
}

impl Stage<'_> {
    /// Takes over what small motion says of the way ahead.
    fn expecting(mut self, settled: &Settled<State>) -> Self {
        let displacement = &settled.trial.solution.displacement;
        let moved = displacement.iter().map(|u| u.fixed_rows::<3>(0).norm_squared());
        let most = (0u32..).zip(moved).fold((0, 0.0), |most, own| if own.1 > most.1 { own } else { most });
        self.farthest = most.0;
        // Lift about the hinge line's direction (s, -c, 0).
        let [c, s] = self.hinge.along;
        self.loaded_rad = displacement.get(most.0 as usize).map_or(0.0, |u| u[3] * s - u[4] * c);
        self.rad_per_ampere = match (settled.trial.extra.drive, &self.board.current) {
            (Some([_, angle]), Some(path)) if path.current_a != 0.0 => angle / path.current_a,
            _ => 0.0,
        };
        self
    }

    pub(super) fn hinge_line(&self) -> HingeLine {
        HingeLine::new(self.hinge.point_m(), self.hinge.along)
    }

    /// Angle about the hinge line, rad: of the flap, or of the place that moves most.
    pub(super) fn angle_rad(&self, pose: &Pose) -> f64 {
        match &self.angle {
            Some(flap) => flap.value(pose),
            None => {
                let normal = pose.rotations[self.farthest as usize].column(2).into_owned();
                let [c, s] = self.hinge.along;
                (-(normal.x * c + normal.y * s)).atan2(normal.z)
            }
        }
    }

    fn angle_of(&self) -> String {
        if self.angle.is_some() {
            return "flap".to_owned();
        }
        let [x, y] = self.mesh.flat.points_m[self.farthest as usize].map(|v| v * 1e3);
        format!("board at x {x:.3} mm, y {y:.3} mm, which moves most")
    }
}

/// Change of torque with flap angle at rest, against the spring of the arms.
///
/// The flap moves as under a unit moment; the in-plane part of second order in the angle is left out (some per
/// cent at most).
fn coupling(stage: &Stage<'_>, couple: &Solution) -> Option<Coupling> {
    let turned = flap_motion(stage.board, stage.mesh, &stage.hinge, &couple.displacement)?.lift_rad;
    let carried = stage.carried.as_ref().filter(|_| stage.most_a > 0.0)?;
    let rest = Pose::at_rest(&stage.own.model.nodes_m);
    let mut work = 0.0;
    for (triangle, k) in carried.stiffness(&rest) {
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
        pull_in_estimate_rad: Some(pull_in * stage.rad_per_ampere).filter(|a| a.is_finite()),
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
        load: seen.row.load,
        at_m: approach.at_m,
    })
}
