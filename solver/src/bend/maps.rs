//! Arrays for pictures and mesh files: displacements, and the strain of every copper layer at both faces.

use super::state::State;
use crate::laminate::Laminate;
use crate::model::{Model, Solution};
use crate::recover::largest_normal;
use crate::result::{Face, Shape, StrainMap};
use crate::settle::Settled;
use copperbend_mesh::board::{Board, ConductorId, LayerId, LayerKind};
use copperbend_mesh::triangulate::{BoardMesh, Role, Zone};
use nalgebra::Vector6;
use rayon::prelude::*;

/// Shape and maps.
pub(super) fn of(board: &Board, settled: &Settled<State>) -> (Shape, Vec<StrainMap>) {
    let (trial, recovered) = (&settled.trial, &settled.recovered);
    let on = On {
        mesh: &trial.extra.mesh,
        model: &trial.model,
        reference_z_m: trial.extra.reference_z_m,
        corner: &recovered.corner,
    };
    let value = |place: &Place<'_>| -> Value {
        let strain: &Vector6<f64> = &recovered.zone_nodes[place.zone_node as usize].strain;
        let own = place.laminate.copper_strain_at(place.ply, place.z_m, strain, recovered.thermal_factor);
        (largest_normal(&own).0, own.into())
    };
    rayon::join(|| shape(settled), || all(board, &on, value))
}

/// What a map is drawn on.
pub(super) struct On<'a> {
    pub(super) mesh: &'a BoardMesh,
    pub(super) model: &'a Model,
    /// Height of the model's reference plane above z = 0, m.
    pub(super) reference_z_m: f64,
    /// Zone-node of every triangle corner.
    pub(super) corner: &'a [[u32; 3]],
}

/// The strain that ranks, and its three components.
type Value = (f64, [f64; 3]);

/// A corner of a triangle on a face of one ply.
pub(super) struct Place<'a> {
    pub(super) zone_node: u32,
    pub(super) laminate: &'a Laminate,
    pub(super) ply: usize,
    /// Height over the reference plane, m.
    pub(super) z_m: f64,
}

/// Both faces of every copper layer; `of` gives the value that ranks and the three components at a place.
pub(super) fn all(board: &Board, on: &On<'_>, of: impl Fn(&Place<'_>) -> Value + Sync) -> Vec<StrainMap> {
    board
        .layers
        .iter()
        .zip(0_u32..)
        .filter(|(layer, _)| layer.kind == LayerKind::Copper)
        .flat_map(|(_, id)| [Face::Lower, Face::Upper].map(|face| map(board, on, (LayerId(id), face), &of)))
        .filter(|map| !map.triangles.is_empty())
        .collect()
}

fn six(solution: &Solution) -> Vec<[f64; 6]> {
    solution.displacement.iter().map(|&d| d.into()).collect()
}

pub(super) fn shape(settled: &Settled<State>) -> Shape {
    let (trial, state) = (&settled.trial, &settled.trial.extra);
    let flat = &state.mesh.flat;
    let recovered = &settled.recovered;
    let worst = recovered.error.iter().copied().fold(0.0, f64::max);
    let thickness: Vec<f64> = trial.model.laminates.iter().map(Laminate::thickness_m).collect();
    Shape {
        points_m: flat.points_m.clone(),
        triangles: flat.triangles.clone(),
        zone_of: flat.zone_of.clone(),
        loaded: six(&trial.solution),
        unloaded: six(&state.unloaded),
        load: state.loads[0].nodal.iter().map(|&f| f.into()).collect(),
        thickness_m: trial.model.laminate_of.iter().map(|&l| thickness[l as usize]).collect(),
        error_share: recovered
            .error
            .iter()
            .map(|&e| if worst > 0.0 { (e / worst).sqrt() } else { 0.0 })
            .collect(),
        strains: recovered
            .corner
            .iter()
            .map(|corners| corners.map(|z| recovered.zone_nodes[z as usize].strain.into()))
            .collect(),
    }
}

fn map(
    board: &Board,
    on: &On<'_>,
    (layer, face): (LayerId, Face),
    of: &(impl Fn(&Place<'_>) -> Value + Sync),
) -> StrainMap {
    let model = on.model;
    let ply_of: Vec<Option<usize>> =
        model.laminates.iter().map(|l| l.plies.iter().position(|p| p.layer == layer)).collect();
    let pale = pale_zones(board, on.mesh, layer);
    let triangles: Vec<u32> = (0_u32..)
        .zip(&model.laminate_of)
        .filter(|&(_, &l)| ply_of[l as usize].is_some())
        .map(|(t, _)| t)
        .collect();
    let values: Vec<(f64, [Value; 3])> = triangles
        .par_iter()
        .map(|&t| {
            let l = model.laminate_of[t as usize] as usize;
            let (laminate, ply) = (&model.laminates[l], ply_of[l].unwrap_or(0));
            let z_m = match face {
                Face::Lower => laminate.plies[ply].z0_m,
                Face::Upper => laminate.plies[ply].z1_m,
            };
            let at = on.corner[t as usize].map(|zone_node| of(&Place { zone_node, laminate, ply, z_m }));
            (z_m + on.reference_z_m, at)
        })
        .collect();
    StrainMap {
        layer: board.layers[layer.0 as usize].name.clone(),
        layer_index: layer.0,
        face,
        z_m: values.iter().map(|v| v.0).collect(),
        ranking: values.iter().map(|v| v.1.map(|at| at.0)).collect(),
        components: values.into_iter().map(|v| v.1.map(|at| at.1)).collect(),
        unranked: triangles.iter().map(|&t| pale[on.mesh.flat.zone_of[t as usize] as usize]).collect(),
        triangles,
    }
}

/// Zones inside copper of a layer that is not ranked, one flag each.
fn pale_zones(board: &Board, mesh: &BoardMesh, layer: LayerId) -> Vec<bool> {
    let unranked_roles: Vec<Role> = board
        .conductors
        .iter()
        .zip(0_u32..)
        .filter(|(c, _)| !c.ranked && c.layer == layer)
        .map(|(_, n)| Role::Conductor(ConductorId(n)))
        .collect();
    let is_pale = |zone: &Zone| {
        let inside =
            |(bit, role): (usize, &Role)| zone.inside >> bit & 1 == 1 && unranked_roles.contains(role);
        mesh.roles.iter().enumerate().any(inside)
    };
    mesh.flat.zones.iter().map(is_pale).collect()
}
