//! Supports, rigid pieces and the check that every part of the board is held.
//!
//! In: board and mesh. Out: [`Freedoms`] and the triangles that cannot strain. Absent: stiffness.

use super::place::{held_nodes, nodes_of, triangles_in};
use crate::error::SolveError;
use crate::freedoms::{Freedoms, rigid};
use copperbend_mesh::board::{Board, Place, Support, SupportKind};
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::{BoardMesh, Role};
use nalgebra::{Vector3, Vector6};

/// Freedoms of a board's mesh.
#[derive(Debug)]
pub(super) struct Held {
    pub(super) freedoms: Freedoms,
    /// Triangles whose nodes are all clamped, or all in one rigid piece.
    pub(super) still: Vec<bool>,
    /// Nodes of each rigid piece.
    pub(super) pieces: Vec<Vec<u32>>,
}

/// Declares all supports and rigid pieces.
pub(super) fn hold(board: &Board, mesh: &BoardMesh, nodes_m: &[[f64; 3]]) -> Result<Held, SolveError> {
    if board.supports.is_empty() {
        return Err(SolveError::NotHeld { what: "the board (the design has no support)".into() });
    }
    let mut freedoms = Freedoms::free(nodes_m.len());
    let mut places = Vec::with_capacity(board.supports.len());
    for (support, number) in board.supports.iter().zip(0_u32..) {
        let role = Role::Support(number);
        places.push(held_nodes(mesh, &support.place, role, &support.name)?);
    }
    let clamped = clamp(board, &places, nodes_m, &mut freedoms)?;
    simple(board, &places, &clamped, &mut freedoms);
    symmetry(board, &places, &clamped, &mut freedoms)?;
    check_connected(board, mesh, &places)?;
    let pieces = rigid_pieces(board, mesh);
    for piece in &pieces {
        freedoms.tie(nodes_m, piece, middle(piece, nodes_m));
    }
    if let Some(fault) = freedoms.faults.first() {
        return Err(SolveError::Model {
            what: fault.clone(),
            remedy: "let each part be held once, or by supports that agree".into(),
        });
    }
    let still = still(mesh, &clamped, &pieces);
    Ok(Held { freedoms, still, pieces })
}

/// Holds all six freedoms of clamped nodes; returns which nodes are clamped.
fn clamp(
    board: &Board,
    places: &[Vec<u32>],
    nodes_m: &[[f64; 3]],
    freedoms: &mut Freedoms,
) -> Result<Vec<bool>, SolveError> {
    let mut by: Vec<Option<usize>> = vec![None; nodes_m.len()];
    for (number, (support, nodes)) in board.supports.iter().zip(places).enumerate() {
        let SupportKind::Clamp { rotation_rad, axis_point_m, axis } = support.kind else { continue };
        for &node in nodes {
            let motion = clamp_motion(rotation_rad, axis_point_m, axis, nodes_m[node as usize]);
            if let Some(other) = by[node as usize] {
                let own = &freedoms.blocks[node as usize].value;
                if (own - motion).amax() > 1e-12 {
                    return Err(overlap(support, &board.supports[other]));
                }
                continue;
            }
            by[node as usize] = Some(number);
            for c in 0..6 {
                freedoms.hold(node, c, motion[c]);
            }
        }
    }
    Ok(by.into_iter().map(|b| b.is_some()).collect())
}

/// Motion of a clamped node: small rotation about the axis (linear, so that it strains nothing).
fn clamp_motion(rotation_rad: f64, axis_point_m: [f64; 3], axis: [f64; 3], at: [f64; 3]) -> Vector6<f64> {
    let theta = Vector3::from(axis) * rotation_rad;
    let moved = theta.cross(&(Vector3::from(at) - Vector3::from(axis_point_m)));
    Vector6::new(moved[0], moved[1], moved[2], theta[0], theta[1], theta[2])
}

fn overlap(one: &Support, other: &Support) -> SolveError {
    SolveError::Model {
        what: format!("clamps '{}' and '{}' overlap and move differently", one.name, other.name),
        remedy: "keep them apart or give both the same mounting rotation".into(),
    }
}

fn simple(board: &Board, places: &[Vec<u32>], clamped: &[bool], freedoms: &mut Freedoms) {
    for (support, nodes) in board.supports.iter().zip(places) {
        if support.kind == SupportKind::Simple {
            for &node in nodes.iter().filter(|&&n| !clamped[n as usize]) {
                for c in 0..3 {
                    freedoms.hold(node, c, 0.0);
                }
            }
        }
    }
}

/// Symmetry about a line: no displacement normal to it, no rotation about it, no drilling.
fn symmetry(
    board: &Board,
    places: &[Vec<u32>],
    clamped: &[bool],
    freedoms: &mut Freedoms,
) -> Result<(), SolveError> {
    for (support, nodes) in board.supports.iter().zip(places) {
        if support.kind != SupportKind::Symmetry {
            continue;
        }
        let Place::Line([p, q]) = support.place else {
            return Err(SolveError::Model {
                what: format!("symmetry support '{}' is not a line", support.name),
                remedy: "give it line = [[x, y], [x, y]] along the line of symmetry".into(),
            });
        };
        let length = (q[0] - p[0]).hypot(q[1] - p[1]);
        let [c, s] = [(q[0] - p[0]) / length, (q[1] - p[1]) / length];
        let rows = [
            Vector6::new(-s, c, 0.0, 0.0, 0.0, 0.0),
            Vector6::new(0.0, 0.0, 0.0, c, s, 0.0),
            Vector6::new(0.0, 0.0, 0.0, 0.0, 0.0, 1.0),
        ];
        for &node in nodes.iter().filter(|&&n| !clamped[n as usize]) {
            for row in &rows {
                freedoms.constrain(node, row, 0.0);
            }
        }
    }
    Ok(())
}

/// Nodes of every rigid piece: a rigid flap, stiff bodies; pieces that touch are one.
fn rigid_pieces(board: &Board, mesh: &BoardMesh) -> Vec<Vec<u32>> {
    let mut roles: Vec<Role> =
        board.bodies.iter().zip(0_u32..).filter(|(b, _)| b.stiff).map(|(_, n)| Role::Body(n)).collect();
    if board.flap.as_ref().is_some_and(|f| f.rigid) {
        roles.push(Role::Flap);
    }
    let mut pieces: Vec<Vec<u32>> = Vec::new();
    for role in roles {
        let mut own = nodes_of(&mesh.flat, &triangles_in(mesh, role));
        let touching: Vec<Vec<u32>> =
            pieces.extract_if(.., |p| p.iter().any(|n| own.binary_search(n).is_ok())).collect();
        own.extend(touching.into_iter().flatten());
        own.sort_unstable();
        own.dedup();
        if !own.is_empty() {
            pieces.push(own);
        }
    }
    pieces
}

fn middle(nodes: &[u32], nodes_m: &[[f64; 3]]) -> [f64; 3] {
    let mut sum = Vector3::zeros();
    let mut count = 0.0;
    for &node in nodes {
        sum += Vector3::from(nodes_m[node as usize]);
        count += 1.0;
    }
    (sum / count).into()
}

fn still(mesh: &BoardMesh, clamped: &[bool], pieces: &[Vec<u32>]) -> Vec<bool> {
    let mut piece_of = vec![0_usize; clamped.len()];
    for (piece, number) in pieces.iter().zip(1_usize..) {
        for &node in piece {
            piece_of[node as usize] = number;
        }
    }
    let all = |corners: &[u32; 3]| {
        let [a, b, c] = corners.map(|n| piece_of[n as usize]);
        corners.iter().all(|&n| clamped[n as usize]) || (a > 0 && a == b && b == c)
    };
    mesh.flat.triangles.iter().map(all).collect()
}

/// Moves the unknowns of plain nodes to a plane `up_m` below the nodes: `node = rigid(up) q`.
///
/// Nodes that are held in part keep theirs (their held components are named at the node).
pub(super) fn move_unknowns(freedoms: &mut Freedoms, up_m: f64) {
    let lever = Vector3::new(0.0, 0.0, up_m);
    for (node, follow) in freedoms.follow.iter_mut().enumerate() {
        let block = &mut freedoms.blocks[follow.block as usize];
        let plain = follow.block as usize == node && follow.matrix.is_none();
        let all = block.held.iter().all(|&h| h);
        if plain && (all || !block.held.contains(&true)) {
            block.value = rigid(&-lever) * block.value;
            follow.matrix = Some(Box::new(rigid(&lever)));
        }
    }
}

/// Every connected part of the mesh must touch a support.
fn check_connected(board: &Board, mesh: &BoardMesh, places: &[Vec<u32>]) -> Result<(), SolveError> {
    let part = parts(mesh);
    let mut supported = vec![false; part.len()];
    for &node in places.iter().flatten() {
        supported[part[node as usize]] = true;
    }
    let loose = mesh.flat.triangles.iter().position(|c| !supported[part[c[0] as usize]]);
    let Some(loose) = loose else { return Ok(()) };
    let root = part[mesh.flat.triangles[loose][0] as usize];
    Err(SolveError::NotHeld { what: describe(board, mesh, &part, root) })
}

/// A connected part in words: what lies on it and where it is.
fn describe(board: &Board, mesh: &BoardMesh, part: &[usize], root: usize) -> String {
    let own: Vec<usize> = (0..mesh.flat.triangles.len())
        .filter(|&t| part[mesh.flat.triangles[t][0] as usize] == root)
        .collect();
    let has = |role: Role| own.iter().any(|&t| mesh.is_in(t, role));
    let mut names: Vec<String> = Vec::new();
    if has(Role::Flap) {
        names.push("the flap".into());
    }
    let arms = board.arms.iter().zip(0_u32..).filter(|&(_, n)| has(Role::Arm(n)));
    names.extend(arms.map(|(a, _)| format!("arm '{}'", a.name)));
    let bodies = board.bodies.iter().zip(0_u32..).filter(|&(_, n)| has(Role::Body(n)));
    names.extend(bodies.map(|(b, _)| format!("body '{}'", b.name)));
    if names.is_empty() {
        let tracks = board.conductors.iter().zip(0_u32..);
        let on = tracks.filter(|&(_, n)| has(Role::Conductor(copperbend_mesh::board::ConductorId(n))));
        names.extend(on.take(3).map(|(c, _)| format!("'{}'", c.name)));
    }
    let mut sum: Point = [0.0; 2];
    let mut count = 0.0;
    for at in own.iter().map(|&t| mesh.flat.centroid_m(t)) {
        sum = [sum[0] + at[0], sum[1] + at[1]];
        count += 1.0;
    }
    let with = if names.is_empty() { String::new() } else { format!(" with {}", names.join(", ")) };
    format!("the part{with} around ({:.3}, {:.3}) mm", 1e3 * sum[0] / count, 1e3 * sum[1] / count)
}

/// Connected part of every node: the least node of the part.
fn parts(mesh: &BoardMesh) -> Vec<usize> {
    let mut part: Vec<usize> = (0..mesh.flat.points_m.len()).collect();
    for corners in &mesh.flat.triangles {
        let roots = corners.map(|n| root(&mut part, n as usize));
        let least = roots.into_iter().min().unwrap_or(0);
        for r in roots {
            part[r] = least;
        }
    }
    for node in 0..part.len() {
        part[node] = root(&mut part, node);
    }
    part
}

/// The node that stands for a part; shortens the way on the walk.
fn root(part: &mut [usize], mut node: usize) -> usize {
    while part[node] != node {
        part[node] = part[part[node]];
        node = part[node];
    }
    node
}
