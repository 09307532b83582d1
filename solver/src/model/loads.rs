//! Mechanical loads and weights as nodal forces and moments; every total is kept exactly.
//!
//! In: board, mesh, model. Out: one six-vector per node (N, N m) about the reference plane. Absent: the magnet's
//! load, see [`crate::lorentz`]; temperature, which is a factor of the load case.
//!
//! A force inside the board plane acts at mid-height of the flex stack where it is applied, whatever the reference
//! plane. Area loads give a third to each corner (lumped: consistent with the lumped weight).

use super::BoardModel;
use super::place::{area_shares, nodes_on_line, shares, triangles_in};
use crate::error::SolveError;
use crate::freedoms::rigid;
use copperbend_mesh::board::{Board, Body, Load, Place};
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::{BoardMesh, Role};
use nalgebra::{Matrix6, Vector3, Vector6};

/// Nodal loads, N and N m.
pub type Nodal = Vec<Vector6<f64>>;

/// Node, arm fixed in the board, and force at its end.
pub type Arm = (u32, Vector3<f64>, Vector3<f64>);

/// Forces, pressures and moments of the design.
///
/// # Errors
/// [`SolveError::Model`] if a load touches no part of the board.
pub fn mechanical(board: &Board, mesh: &BoardMesh, own: &BoardModel) -> Result<Nodal, SolveError> {
    let mut nodal = vec![Vector6::zeros(); own.model.nodes_m.len()];
    for (load, number) in board.loads.iter().zip(0_u32..) {
        let area = Role::Load(number);
        match load {
            Load::Force { name, place, force_n } => {
                for (node, share) in shares(mesh, place, area, name)? {
                    add_force(&mut nodal[node as usize], force_n, share, own.mid_height_m(node));
                }
                if let Place::Line(line) = place {
                    add_line_couples(&mut nodal, mesh, *line, force_n);
                }
            }
            Load::Moment { name, place, moment_nm } => {
                for (node, share) in shares(mesh, place, area, name)? {
                    for c in 0..3 {
                        nodal[node as usize][3 + c] += share * moment_nm[c];
                    }
                }
            }
            Load::Pressure { name, place, pressure_pa } => {
                let triangles = triangles_in(mesh, area);
                let total: f64 = triangles.iter().map(|&t| mesh.flat.area_m2(t)).sum();
                if !matches!(place, Place::Area(_)) {
                    return Err(SolveError::Model {
                        what: format!("pressure '{name}' has no area"),
                        remedy: "give it shape = \"...\"".into(),
                    });
                }
                for (node, share) in shares(mesh, place, area, name)? {
                    nodal[node as usize][2] += share * total * pressure_pa;
                }
            }
        }
    }
    Ok(nodal)
}

/// Levers of the moments that [`mechanical`] and [`weight`] give nodes because a force acts beside the plane of nodes:
/// node, arm fixed in the board (m; for weights times kg), force or acceleration. The moment is `arm x force`.
///
/// # Errors
/// As [`mechanical`].
pub fn levers(
    board: &Board,
    mesh: &BoardMesh,
    own: &BoardModel,
    gravity_m_s2: [f64; 3],
) -> Result<Vec<Arm>, SolveError> {
    let gravity = Vector3::from(gravity_m_s2);
    let mut first = vec![Vector3::zeros(); own.model.nodes_m.len()];
    for (t, corners) in mesh.flat.triangles.iter().enumerate() {
        let [_, moment, _] = own.model.laminates[own.model.laminate_of[t] as usize].mass;
        for &node in corners {
            first[node as usize][2] += moment * mesh.flat.area_m2(t) / 3.0;
        }
    }
    for (node, mass) in &own.model.node_mass {
        // Lower left of a mass matrix at a node is m [arm]x.
        first[*node as usize] += Vector3::new(mass[(5, 1)], mass[(3, 2)], mass[(4, 0)]);
    }
    let mut all = Vec::new();
    if gravity != Vector3::zeros() {
        let some = (0_u32..).zip(first).filter(|(_, arm)| *arm != Vector3::zeros());
        all.extend(some.map(|(node, arm)| (node, arm, gravity)));
    }
    for (load, number) in board.loads.iter().zip(0_u32..) {
        let Load::Force { name, place, force_n } = load else { continue };
        for (node, share) in shares(mesh, place, Role::Load(number), name)? {
            let arm = Vector3::new(0.0, 0.0, own.mid_height_m(node));
            all.push((node, arm, Vector3::from(*force_n) * share));
        }
    }
    Ok(all)
}

fn add_force(at: &mut Vector6<f64>, force_n: &[f64; 3], share: f64, height_m: f64) {
    let force = Vector3::from(*force_n) * share;
    let moment = Vector3::new(0.0, 0.0, height_m).cross(&force);
    for c in 0..3 {
        at[c] += force[c];
        at[3 + c] += moment[c];
    }
}

/// Drilling couples that belong to an even line force, so that it makes constant stress without a disturbance.
///
/// The membrane element lets its sides bow with the drilling rotations; the force normal to a piece of length l works
/// on that bow by `f l / 8` at either end, `f` being the piece's normal force. Inner nodes between equal pieces get
/// nothing. Derived from the element's constant-stress end forces (drilling parameter 3/2).
fn add_line_couples(nodal: &mut Nodal, mesh: &BoardMesh, line: [Point; 2], force_n: &[f64; 3]) {
    let on = nodes_on_line(&mesh.flat, line);
    let [Some(first), Some(last)] = [on.first(), on.last()] else { return };
    let whole = last.1 - first.1;
    let [dx, dy] = [line[1][0] - line[0][0], line[1][1] - line[0][1]];
    for pair in on.windows(2) {
        let part = pair[1].1 - pair[0].1;
        // Normal force times length: the unit normal's length cancels against the piece's.
        let couple = (force_n[0] * dy - force_n[1] * dx) * part * part / (8.0 * whole);
        nodal[pair[0].0 as usize][5] -= couple;
        nodal[pair[1].0 as usize][5] += couple;
    }
}

/// Weight of layers and bodies in a field of gravity, m/s2.
#[must_use]
pub fn weight(mesh: &BoardMesh, own: &BoardModel, gravity_m_s2: [f64; 3]) -> Nodal {
    let mut nodal = vec![Vector6::zeros(); own.model.nodes_m.len()];
    let gravity = Vector3::from(gravity_m_s2);
    for (t, corners) in mesh.flat.triangles.iter().enumerate() {
        let [mass, first, _] = own.model.laminates[own.model.laminate_of[t] as usize].mass;
        let third = mesh.flat.area_m2(t) / 3.0;
        let force = gravity * (mass * third);
        let moment = Vector3::new(0.0, 0.0, first * third).cross(&gravity);
        for &node in corners {
            for c in 0..3 {
                nodal[node as usize][c] += force[c];
                nodal[node as usize][3 + c] += moment[c];
            }
        }
    }
    let pull = Vector6::new(gravity[0], gravity[1], gravity[2], 0.0, 0.0, 0.0);
    for (node, mass) in &own.model.node_mass {
        nodal[*node as usize] += mass * pull;
    }
    nodal
}

/// Unit moment (1 N m) about an in-plane direction over some triangles, as normal forces that grow linearly from
/// their area centre: no net force, no moment about the direction across. Work-conjugate to the turn of the
/// best-fit plane.
#[must_use]
pub fn unit_couple(mesh: &BoardMesh, triangles: &[usize], direction: [f64; 2]) -> Nodal {
    let flat = &mesh.flat;
    let mut nodal = vec![Vector6::zeros(); flat.points_m.len()];
    let nodes = area_shares(flat, triangles);
    // Along the direction, and to its left: a positive turn lifts what lies to the left.
    let place = |node: u32| {
        let [x, y] = flat.points_m[node as usize];
        [x * direction[0] + y * direction[1], y * direction[0] - x * direction[1]]
    };
    let mean =
        |of: &dyn Fn([f64; 2]) -> f64| nodes.iter().map(|&(n, share)| share * of(place(n))).sum::<f64>();
    let centre = [mean(&|p| p[0]), mean(&|p| p[1])];
    let second = |i: usize, j: usize| mean(&|p| (p[i] - centre[i]) * (p[j] - centre[j]));
    let (along, mixed, left) = (second(0, 0), second(0, 1), second(1, 1));
    let det = along * left - mixed * mixed;
    for (node, share) in nodes {
        let [s, a] = place(node);
        nodal[node as usize][2] = share * (along * (a - centre[1]) - mixed * (s - centre[0])) / det;
    }
    nodal
}

/// Unit normal force (1 N along +z) spread evenly over some triangles.
#[must_use]
pub fn unit_lift(mesh: &BoardMesh, triangles: &[usize]) -> Nodal {
    let mut nodal = vec![Vector6::zeros(); mesh.flat.points_m.len()];
    for (node, share) in area_shares(&mesh.flat, triangles) {
        nodal[node as usize][2] = share;
    }
    nodal
}

/// Sum of nodal loads: force, N.
#[must_use]
pub fn total_n(nodal: &[Vector6<f64>]) -> [f64; 3] {
    let sum = nodal.iter().fold(Vector6::zeros(), |sum: Vector6<f64>, f| sum + f);
    [sum[0], sum[1], sum[2]]
}

/// Moment of nodal loads about a point, N m.
#[must_use]
pub fn moment_nm(nodal: &[Vector6<f64>], nodes_m: &[[f64; 3]], about_m: [f64; 3]) -> [f64; 3] {
    let mut sum = Vector3::zeros();
    for (load, at) in nodal.iter().zip(nodes_m) {
        let arm = Vector3::from(*at) - Vector3::from(about_m);
        sum += arm.cross(&load.fixed_rows::<3>(0).into_owned()) + load.fixed_rows::<3>(3);
    }
    sum.into()
}

/// Mass matrices of glued bodies at nodes.
///
/// A stiff body hangs on one node of its rigid piece. Any other is spread over its footprint by area; what its own
/// inertia exceeds that of the spread mass is added evenly.
pub(super) fn body_masses(board: &Board, mesh: &BoardMesh, nodes_m: &[[f64; 3]]) -> Vec<(u32, Matrix6<f64>)> {
    let mut masses = Vec::new();
    for (body, number) in board.bodies.iter().zip(0_u32..) {
        let nodes = area_shares(&mesh.flat, &triangles_in(mesh, Role::Body(number)));
        let centre = body.region.centroid_m();
        let centre = Vector3::new(centre[0], centre[1], body.centre_z_m);
        if body.stiff {
            if let Some(&(node, _)) = nodes.first() {
                let arm = centre - Vector3::from(nodes_m[node as usize]);
                masses.push((node, about_node(body.mass_kg, body.inertia_kg_m2, &arm)));
            }
        } else {
            spread(body, &nodes, nodes_m, &mut masses);
        }
    }
    masses
}

fn spread(body: &Body, nodes: &[(u32, f64)], nodes_m: &[[f64; 3]], masses: &mut Vec<(u32, Matrix6<f64>)>) {
    let mean = |of: &dyn Fn(u32) -> f64| nodes.iter().map(|&(n, share)| share * of(n)).sum::<f64>();
    let [x, y] = [0, 1].map(|c| mean(&|n| nodes_m[n as usize][c]));
    let xx = body.mass_kg * mean(&|n| (nodes_m[n as usize][0] - x).powi(2));
    let yy = body.mass_kg * mean(&|n| (nodes_m[n as usize][1] - y).powi(2));
    let carried = [yy, xx, xx + yy];
    let left: [f64; 3] = std::array::from_fn(|c| (body.inertia_kg_m2[c] - carried[c]).max(0.0));
    for &(node, share) in nodes {
        let arm = Vector3::new(0.0, 0.0, body.centre_z_m - nodes_m[node as usize][2]);
        masses.push((node, about_node(share * body.mass_kg, left.map(|j| share * j), &arm)));
    }
}

/// Mass matrix at a node of a body whose centre lies at `arm` from it.
fn about_node(mass_kg: f64, inertia_kg_m2: [f64; 3], arm: &Vector3<f64>) -> Matrix6<f64> {
    let [jx, jy, jz] = inertia_kg_m2;
    let own = Matrix6::from_diagonal(&Vector6::new(mass_kg, mass_kg, mass_kg, jx, jy, jz));
    let follow = rigid(arm);
    follow.transpose() * own * follow
}
