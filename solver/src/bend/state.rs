//! One mesh solved under every load case that the report needs.

use crate::error::SolveError;
use crate::laminate::Laminate;
use crate::lorentz::nodal::{Carrier, held_triangles, nodal_load};
use crate::lorentz::{HingeLine, board_resistance_ohm, coil_load};
use crate::magnet::Field;
use crate::model::loads::{self, Nodal};
use crate::model::{BoardModel, Hinge, LoadCase, Model, Solution, flap_motion, triangles_in};
use crate::result::{DriveLoad, Movement};
use crate::statics::{Prepared, Reaction, Wish};
use copperbend_mesh::board::Board;
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::{BoardMesh, Role};
use nalgebra::{Vector3, Vector6};

/// Correction at which a unit load on the flap is solved well enough: its error is then far below, and the springs
/// are read to four digits.
const UNIT_LOADS: Wish = Wish { correction: 1e-5, motion_only: true };

/// Everything of one mesh beside its model and the loaded solution.
#[derive(Debug, Clone, Default)]
pub(super) struct State {
    pub(super) mesh: BoardMesh,
    pub(super) reference_z_m: f64,
    pub(super) n_unknowns: usize,
    /// Unloaded shape.
    pub(super) unloaded: Solution,
    /// Loads of the loaded and of the unloaded state.
    pub(super) loads: [Balance; 2],
    /// Unit moment about the hinge direction, unit lift, unit moment about the arm direction, all on the flap.
    pub(super) springs: Option<[Solution; 3]>,
    /// Drive torque about the hinge line, N m, and the flap angle by the drive alone, rad.
    pub(super) drive: Option<[f64; 2]>,
}

/// Loads of a state against the reactions.
#[derive(Debug, Clone, Default)]
pub(super) struct Balance {
    pub(super) nodal: Nodal,
    pub(super) load_n: [f64; 3],
    pub(super) reaction_n: [f64; 3],
    /// Sum of forces and moments left over, relative to the sum of their magnitudes.
    pub(super) imbalance: f64,
}

/// Solves the loaded state, the unloaded shape and the unit loads.
pub(super) fn solve_all(
    board: &Board,
    mesh: BoardMesh,
    own: BoardModel,
    hinge: &Hinge,
) -> Result<(Model, Solution, State), SolveError> {
    let (acting, prepared) =
        rayon::join(|| acting(board, (&mesh, &own), hinge), || Prepared::new(&own.model));
    let (Acting { cases, rest, by_drive, still, springs }, prepared) = (acting?, prepared?);
    let n_states = if still { 1 } else { 2 };
    let wishes: Vec<Wish> =
        (0..cases.len()).map(|k| if k < n_states { Wish::default() } else { UNIT_LOADS }).collect();
    let mut solved = prepared.solve_within(&cases, &wishes)?.into_iter();
    let mut next =
        || solved.next().map_or_else(|| (Solution::default(), Vec::new()), |s| (s.solution, s.reactions));
    let (loaded, carried) = next();
    let (unloaded, carried_at_rest) = if still { (unmoved(&own.model), Vec::new()) } else { next() };
    let balances = [balance(&carried, &cases[0], &own.model), balance(&carried_at_rest, &rest, &own.model)];
    let mut solved = solved.map(|s| s.solution);
    let n_unknowns = prepared.n_unknowns();
    prepared.discard();
    let springs = if springs {
        solved.next().zip(solved.next()).zip(solved.next()).map(|((a, b), c)| [a, b, c])
    } else {
        None
    };
    let drive = by_drive.zip(springs.as_ref()).map(|(nodal, [couple, _, _])| {
        let moment = Vector3::from(loads::moment_nm(&nodal, &own.model.nodes_m, hinge.point_m()));
        // Betti: the flap angle by the drive is the drive's work on the motion by a unit moment.
        let angle = nodal.iter().zip(&couple.displacement).map(|(f, u)| f.dot(u)).sum();
        [moment.dot(&Vector3::from(hinge.axis())), angle]
    });
    let state = State {
        mesh,
        reference_z_m: own.reference_z_m,
        n_unknowns,
        unloaded,
        loads: balances,
        springs,
        drive,
    };
    Ok((own.model, loaded, state))
}

/// What acts on a board, before anything is solved.
struct Acting {
    /// Loaded; unloaded unless `still`; then the unit loads on the flap, if there is one.
    cases: Vec<LoadCase>,
    rest: LoadCase,
    by_drive: Option<Nodal>,
    /// Nothing acts on the unloaded board.
    still: bool,
    springs: bool,
}

fn acting(
    board: &Board,
    (mesh, own): (&BoardMesh, &BoardModel),
    hinge: &Hinge,
) -> Result<Acting, SolveError> {
    let before = loads::weight(mesh, own, board.locked_in.gravity_at_assembly.unwrap_or_default());
    let by_drive = drive_nodal(board, mesh, own);
    let all = all_loads(board, mesh, own, by_drive.as_ref())?;
    let case = |nodal: Nodal| LoadCase { nodal, thermal_factor: 1.0, prescribed_factor: 1.0 };
    let alone = |nodal: Nodal| LoadCase { nodal, thermal_factor: 0.0, prescribed_factor: 0.0 };
    let still = at_rest(&own.model, &before);
    let rest = case(before);
    let mut cases = vec![case(all)];
    if !still {
        cases.push(rest.clone());
    }
    let flap = triangles_in(mesh, Role::Flap);
    if !flap.is_empty() {
        cases.push(alone(loads::unit_couple(mesh, &flap, [hinge.axis()[0], hinge.axis()[1]])));
        cases.push(alone(loads::unit_lift(mesh, &flap)));
        cases.push(alone(loads::unit_couple(mesh, &flap, hinge.along)));
    }
    Ok(Acting { cases, rest, by_drive, still, springs: !flap.is_empty() })
}

/// Whether nothing bends the board before it is loaded: no weight at assembly, no heating, no moved support.
fn at_rest(model: &Model, nodal: &Nodal) -> bool {
    let cold = |l: &Laminate| l.thermal_n.amax() == 0.0 && l.thermal_m.amax() == 0.0;
    nodal.iter().all(|load| load.amax() == 0.0)
        && model.laminates.iter().all(cold)
        && model.freedoms.blocks.iter().all(|block| block.value.iter().all(|&value| value == 0.0))
}

/// The solution of a model that nothing acts on.
fn unmoved(model: &Model) -> Solution {
    let zeros = vec![Vector6::zeros(); model.nodes_m.len()];
    Solution { displacement: zeros.clone(), trailing: zeros, refinements: 1, ..Solution::default() }
}

/// The loaded state alone, solved.
pub(super) fn solve_loaded(
    board: &Board,
    mesh: &BoardMesh,
    own: &BoardModel,
) -> Result<Solution, SolveError> {
    let case = loaded_case(board, mesh, own)?;
    Ok(Prepared::new(&own.model)?.solve(&[case])?.pop().unwrap_or_default())
}

/// Mechanical loads, weight and drive together.
fn all_loads(
    board: &Board,
    mesh: &BoardMesh,
    own: &BoardModel,
    by_drive: Option<&Nodal>,
) -> Result<Nodal, SolveError> {
    let mut all = loads::mechanical(board, mesh, own)?;
    add(&mut all, &loads::weight(mesh, own, board.gravity_m_s2));
    if let Some(nodal) = by_drive {
        add(&mut all, nodal);
    }
    Ok(all)
}

/// The loaded state of a board as one load case: all forces, heating, moved supports.
pub(super) fn loaded_case(board: &Board, mesh: &BoardMesh, own: &BoardModel) -> Result<LoadCase, SolveError> {
    let nodal = all_loads(board, mesh, own, drive_nodal(board, mesh, own).as_ref())?;
    Ok(LoadCase { nodal, thermal_factor: 1.0, prescribed_factor: 1.0 })
}

fn add(sum: &mut Nodal, more: &[Vector6<f64>]) {
    for (s, m) in sum.iter_mut().zip(more) {
        *s += m;
    }
}

/// Sums of loads and reactions, and what is left over.
fn balance(reactions: &[Reaction], case: &LoadCase, model: &Model) -> Balance {
    let (mut reaction, mut turning) = (Vector3::zeros(), Vector3::zeros());
    let (mut scale, mut turning_scale) = (0.0, 0.0);
    for r in reactions {
        let force: Vector3<f64> = r.load.fixed_rows::<3>(0).into_owned();
        let moment = r.load.fixed_rows::<3>(3).into_owned();
        let lever = Vector3::from(model.nodes_m[r.node as usize]).cross(&force);
        reaction += force;
        turning += moment + lever;
        scale += force.norm();
        turning_scale += moment.norm() + lever.norm();
    }
    let load_n = loads::total_n(&case.nodal);
    let moment = Vector3::from(loads::moment_nm(&case.nodal, &model.nodes_m, [0.0; 3]));
    for (load, at) in case.nodal.iter().zip(&model.nodes_m) {
        let force: Vector3<f64> = load.fixed_rows::<3>(0).into_owned();
        scale += force.norm();
        turning_scale += load.fixed_rows::<3>(3).norm() + Vector3::from(*at).cross(&force).norm();
    }
    let part = |left: f64, whole: f64| if whole > 0.0 { left / whole } else { 0.0 };
    let imbalance = part((reaction + Vector3::from(load_n)).norm(), scale)
        .max(part((turning + moment).norm(), turning_scale));
    Balance { nodal: case.nodal.clone(), load_n, reaction_n: reaction.into(), imbalance }
}

impl State {
    pub(super) fn movement(
        &self,
        board: &Board,
        hinge: &Hinge,
        solution: &Solution,
        balance: &Balance,
    ) -> Movement {
        let points = &self.mesh.flat.points_m;
        let moved = |node: usize| solution.displacement[node].fixed_rows::<3>(0).into_owned();
        let (mut largest_m, mut largest_at_m): (f64, Point) = (0.0, [0.0; 2]);
        for (node, at) in points.iter().enumerate() {
            let size = moved(node).norm();
            if size > largest_m {
                (largest_m, largest_at_m) = (size, *at);
            }
        }
        let tip = far_end(points, hinge);
        let flap = flap_motion(board, &self.mesh, hinge, &solution.displacement);
        Movement {
            largest_m,
            largest_at_m,
            tip_m: tip.map_or([0.0; 3], |node| moved(node).into()),
            tip_at_m: tip.map_or([0.0; 2], |node| points[node]),
            flap_centre_m: flap.map(|f| f.centre_m),
            flap_angle_rad: flap.map(|f| f.lift_rad),
            roll_angle_rad: flap.map(|f| f.roll_rad),
            load_n: balance.load_n,
            reaction_n: balance.reaction_n,
            energy_j: solution.energy,
        }
    }
}

/// Node farthest along the arm direction; of equals the one nearest to the arms' middle line.
fn far_end(points: &[Point], hinge: &Hinge) -> Option<usize> {
    let most = points.iter().map(|&p| hinge.along_m(p)).fold(f64::NEG_INFINITY, f64::max);
    let aside = |p: Point| {
        let off = [p[0] - hinge.root_m[0], p[1] - hinge.root_m[1]];
        (off[1] * hinge.along[0] - off[0] * hinge.along[1]).abs()
    };
    (0..points.len())
        .filter(|&n| hinge.along_m(points[n]) > most - 1e-7)
        .min_by(|&a, &b| aside(points[a]).total_cmp(&aside(points[b])).then(a.cmp(&b)))
}

/// Nodal loads of the drive current in the magnets' field; None without current or magnets.
fn drive_nodal(board: &Board, mesh: &BoardMesh, own: &BoardModel) -> Option<Nodal> {
    let path = board.current.as_ref()?;
    if board.magnets.is_empty() || path.current_a == 0.0 {
        return None;
    }
    let still = held_triangles(board, mesh);
    let carrier = Carrier { mesh: &mesh.flat, reference_z_m: own.reference_z_m, held: &still };
    Some(nodal_load(path, &Field::new(&board.magnets), &carrier).nodal)
}

/// Force and torque of the magnets on the current path, board flat; None without current or magnets.
pub(super) fn drive_facts(board: &Board, hinge: &Hinge) -> Option<DriveLoad> {
    let path = board.current.as_ref()?;
    if board.magnets.is_empty() {
        return None;
    }
    let field = Field::new(&board.magnets);
    let load = coil_load(path, &field, &HingeLine::new(hinge.point_m(), hinge.along));
    let resistance_ohm = board_resistance_ohm(board).unwrap_or(0.0);
    Some(DriveLoad {
        current_a: path.current_a,
        force_n: load.force_n.into(),
        torque_nm: load.torque_nm,
        torque_constant_nm_per_a: load.torque_constant_nm_per_a,
        roll_torque_nm: load.roll_nm,
        yaw_torque_nm: load.yaw_nm,
        resistance_ohm,
        power_w: resistance_ohm * path.current_a.powi(2),
        field_max_t: load.field_max_t,
    })
}
