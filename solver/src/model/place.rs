//! Where supports, loads and bodies meet the mesh: triangles of an area, nodes of a line, shares of a point.

use crate::error::SolveError;
use copperbend_mesh::board::Place;
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::{BoardMesh, FlatMesh, Role};

/// How far a node may lie from a drawn line or point and still belong to it, m: the 1 um grid of the plan moves
/// ends by at most 0.71 um.
const ON_LINE_M: f64 = 1.5e-6;

/// Triangles inside a role's region, sorted.
#[must_use]
pub fn triangles_in(mesh: &BoardMesh, role: Role) -> Vec<usize> {
    let Some(bit) = mesh.roles.iter().position(|&r| r == role) else { return Vec::new() };
    let inside: Vec<bool> = mesh.flat.zones.iter().map(|z| z.inside >> bit & 1 == 1).collect();
    (0..mesh.flat.triangles.len()).filter(|&t| inside[mesh.flat.zone_of[t] as usize]).collect()
}

/// Nodes of some triangles, sorted.
pub(super) fn nodes_of(flat: &FlatMesh, triangles: &[usize]) -> Vec<u32> {
    let mut nodes: Vec<u32> = triangles.iter().flat_map(|&t| flat.triangles[t]).collect();
    nodes.sort_unstable();
    nodes.dedup();
    nodes
}

/// Nodes on a straight piece with their place along it (0 to 1), in order.
pub(super) fn nodes_on_line(flat: &FlatMesh, [p, q]: [Point; 2]) -> Vec<(u32, f64)> {
    let run = [q[0] - p[0], q[1] - p[1]];
    let square = run[0] * run[0] + run[1] * run[1];
    let mut found: Vec<(u32, f64)> = (0_u32..)
        .zip(&flat.points_m)
        .filter_map(|(node, at)| {
            let off = [at[0] - p[0], at[1] - p[1]];
            let along = ((off[0] * run[0] + off[1] * run[1]) / square).clamp(0.0, 1.0);
            let gap = (off[0] - along * run[0]).hypot(off[1] - along * run[1]);
            (gap <= ON_LINE_M).then_some((node, along))
        })
        .collect();
    found.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    found
}

/// Nodes with their share of a load spread evenly over a place; the shares sum to 1.
///
/// `area`: the role whose triangles stand for an area.
pub(super) fn shares(
    mesh: &BoardMesh,
    place: &Place,
    area: Role,
    name: &str,
) -> Result<Vec<(u32, f64)>, SolveError> {
    let found = match place {
        Place::Area(_) => area_shares(&mesh.flat, &triangles_in(mesh, area)),
        Place::Line(line) => line_shares(&mesh.flat, *line),
        Place::Point(at) => point_shares(&mesh.flat, *at),
    };
    if found.is_empty() {
        return Err(nowhere(name, place));
    }
    Ok(found)
}

/// Area share of every node of some triangles: a third of each.
pub(super) fn area_shares(flat: &FlatMesh, triangles: &[usize]) -> Vec<(u32, f64)> {
    let total: f64 = triangles.iter().map(|&t| flat.area_m2(t)).sum();
    let mut sums: Vec<Option<f64>> = vec![None; flat.points_m.len()];
    for &t in triangles {
        let share = flat.area_m2(t) / (3.0 * total);
        for node in flat.triangles[t] {
            *sums[node as usize].get_or_insert(0.0) += share;
        }
    }
    (0_u32..).zip(sums).filter_map(|(node, sum)| Some((node, sum?))).collect()
}

/// Length share of every node on a line: half of the pieces beside it.
fn line_shares(flat: &FlatMesh, line: [Point; 2]) -> Vec<(u32, f64)> {
    let on = nodes_on_line(flat, line);
    let [Some(first), Some(last)] = [on.first(), on.last()] else { return Vec::new() };
    let length = last.1 - first.1;
    if on.len() < 2 || length <= 0.0 {
        return Vec::new();
    }
    (0..on.len())
        .map(|i| {
            let before = if i > 0 { on[i].1 - on[i - 1].1 } else { 0.0 };
            let after = on.get(i + 1).map_or(0.0, |next| next.1 - on[i].1);
            (on[i].0, 0.5 * (before + after) / length)
        })
        .collect()
}

/// The node at a point, or the corners of the triangle around it by area coordinates.
fn point_shares(flat: &FlatMesh, at: Point) -> Vec<(u32, f64)> {
    let near = (0_u32..)
        .zip(&flat.points_m)
        .map(|(node, p)| ((p[0] - at[0]).hypot(p[1] - at[1]), node))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    if let Some((gap, node)) = near
        && gap <= ON_LINE_M
    {
        return vec![(node, 1.0)];
    }
    for (t, corners) in flat.triangles.iter().enumerate() {
        let [a, b, c] = corners.map(|n| flat.points_m[n as usize]);
        let twice =
            |p: Point, q: Point, r: Point| (q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1]);
        let all = 2.0 * flat.area_m2(t);
        let zeta = [twice(at, b, c) / all, twice(a, at, c) / all, twice(a, b, at) / all];
        if zeta.iter().all(|&z| z >= -1e-9) {
            return corners.iter().copied().zip(zeta).collect();
        }
    }
    Vec::new()
}

/// Nodes that a support holds, sorted.
pub(super) fn held_nodes(
    mesh: &BoardMesh,
    place: &Place,
    area: Role,
    name: &str,
) -> Result<Vec<u32>, SolveError> {
    let mut nodes = match place {
        Place::Area(_) => nodes_of(&mesh.flat, &triangles_in(mesh, area)),
        Place::Line(line) => nodes_on_line(&mesh.flat, *line).into_iter().map(|n| n.0).collect(),
        Place::Point(at) => point_shares(&mesh.flat, *at).into_iter().map(|n| n.0).collect(),
    };
    nodes.sort_unstable();
    if nodes.is_empty() {
        return Err(nowhere(name, place));
    }
    Ok(nodes)
}

fn nowhere(name: &str, place: &Place) -> SolveError {
    let kind = match place {
        Place::Area(_) => "area",
        Place::Line(_) => "line",
        Place::Point(_) => "point",
    };
    SolveError::Model {
        what: format!("the {kind} of '{name}' touches no part of the board"),
        remedy: "move it onto the board".into(),
    }
}
