//! A board's copper as traces, its other layers as wishes, and the feature nearest to a spot.

use super::spots::{Trace, segment_distance_m};
use copperbend_mesh::board::{Board, ConductorId, ConductorKind, LayerId, LayerKind};
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::{BoardMesh, Role};

/// A layer whose strain is set against its own elongation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LayerWish {
    /// Layer.
    pub layer: LayerId,
    /// Elongation at break of its material, where known.
    pub elongation: Option<f64>,
    /// A crack of this layer would run into copper beneath it (mask, cover).
    pub cracks_reach_copper: bool,
}

/// Every conductor of a board with the triangles inside it, in the board's order.
#[must_use]
pub fn board_traces(board: &Board, mesh: &BoardMesh) -> Vec<Trace> {
    let mut traces: Vec<Trace> = board
        .conductors
        .iter()
        .zip(0_u32..)
        .map(|(conductor, id)| {
            let (width_m, centre_line_m) = match &conductor.kind {
                ConductorKind::Track { centre_line_m, width_m } => (Some(*width_m), centre_line_m.clone()),
                ConductorKind::CoilTurns | ConductorKind::Pour => (None, Vec::new()),
            };
            Trace {
                name: conductor.name.clone(),
                conductor: Some(ConductorId(id)),
                layer: Some(conductor.layer),
                width_m,
                centre_line_m,
                triangles: Vec::new(),
                ranked: conductor.ranked,
            }
        })
        .collect();
    let owners: Vec<Vec<usize>> = mesh.flat.zones.iter().map(|zone| owners(board, mesh, zone)).collect();
    for (triangle, &zone) in (0_u32..).zip(&mesh.flat.zone_of) {
        for &owner in &owners[zone as usize] {
            traces[owner].triangles.push(triangle);
        }
    }
    traces
}

/// Name of the conductor of a layer nearest to a place (by its triangles' centres); the layer's number where it has none.
pub(crate) fn track_at(traces: &[Trace], mesh: &BoardMesh, layer: u32, at: Point) -> String {
    let flat = &mesh.flat;
    let off = |t: u32| {
        let c = flat.triangles[t as usize].map(|n| flat.points_m[n as usize]);
        let middle = [0, 1].map(|k: usize| (c[0][k] + c[1][k] + c[2][k]) / 3.0);
        (middle[0] - at[0]).hypot(middle[1] - at[1])
    };
    let distance = |t: &Trace| t.triangles.iter().map(|&t| off(t)).fold(f64::INFINITY, f64::min);
    let own = traces.iter().filter(|t| t.layer == Some(LayerId(layer)) && !t.triangles.is_empty());
    let nearest = own.map(|t| (distance(t), t)).min_by(|a, b| a.0.total_cmp(&b.0));
    nearest.map_or_else(|| format!("layer {}", layer + 1), |(_, t)| t.name.clone())
}

/// Conductors that a zone belongs to.
fn owners(board: &Board, mesh: &BoardMesh, zone: &copperbend_mesh::triangulate::Zone) -> Vec<usize> {
    let inside = |(bit, role): (usize, &Role)| match role {
        Role::Conductor(id) if zone.inside >> bit & 1 == 1 => {
            let layer = board.conductors[id.0 as usize].layer;
            zone.layers.contains(&layer).then_some(id.0 as usize)
        }
        _ => None,
    };
    mesh.roles.iter().enumerate().filter_map(inside).collect()
}

/// The layers that are listed apart from copper: film, cover, mask and adhesive of the flex.
#[must_use]
pub fn layer_wishes(board: &Board) -> Vec<LayerWish> {
    let wish = |(layer, id): (&copperbend_mesh::board::Layer, u32)| {
        let listed =
            matches!(layer.kind, LayerKind::Film | LayerKind::Cover | LayerKind::Mask | LayerKind::Adhesive);
        let elongation = board.materials[layer.material.0 as usize].elongation.as_ref().map(|value| value.v);
        (listed && layer.stiffener.is_none()).then_some(LayerWish {
            layer: LayerId(id),
            elongation,
            cracks_reach_copper: matches!(layer.kind, LayerKind::Cover | LayerKind::Mask),
        })
    };
    board.layers.iter().zip(0_u32..).filter_map(wish).collect()
}

/// Name of the landmark nearest to a point of the board, and the distance to it, m; an empty name and 0 on a board without
/// landmarks.
#[must_use]
pub fn beside_landmark(board: &Board, at: Point) -> (String, f64) {
    let nearest = board
        .landmarks
        .iter()
        .filter_map(|landmark| {
            let distances = landmark.edges_m.iter().map(|&[p, q]| segment_distance_m(p, q, at));
            distances.min_by(f64::total_cmp).map(|distance| (landmark.name.as_str(), distance))
        })
        .min_by(|one, other| one.1.total_cmp(&other.1));
    nearest.map_or((String::new(), 0.0), |(name, distance_m)| (name.to_owned(), distance_m))
}
