//! Arrays for pictures and mesh files: displacements, and the strain of every copper layer at both faces.

use super::state::State;
use crate::model::Solution;
use crate::recover::largest_normal;
use crate::result::{BendAnswer, Face, Shape, StrainMap};
use crate::settle::Settled;
use copperbend_mesh::board::{Board, ConductorId, LayerId, LayerKind};
use copperbend_mesh::triangulate::Role;
use nalgebra::Vector6;
use rayon::prelude::*;

/// Fills shape and maps.
pub(super) fn fill(board: &Board, settled: &Settled<State>, answer: &mut BendAnswer) {
    answer.shape = shape(settled);
    answer.maps = board
        .layers
        .iter()
        .zip(0_u32..)
        .filter(|(layer, _)| layer.kind == LayerKind::Copper)
        .flat_map(|(_, id)| [Face::Lower, Face::Upper].map(|face| map(board, settled, LayerId(id), face)))
        .filter(|map| !map.triangles.is_empty())
        .collect();
}

fn six(solution: &Solution) -> Vec<[f64; 6]> {
    solution.displacement.iter().map(|&d| d.into()).collect()
}

fn shape(settled: &Settled<State>) -> Shape {
    let (trial, state) = (&settled.trial, &settled.trial.extra);
    let flat = &state.mesh.flat;
    let recovered = &settled.recovered;
    let worst = recovered.error.iter().copied().fold(0.0, f64::max);
    let thickness: Vec<f64> =
        trial.model.laminates.iter().map(crate::laminate::Laminate::thickness_m).collect();
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

fn map(board: &Board, settled: &Settled<State>, layer: LayerId, face: Face) -> StrainMap {
    let (trial, state) = (&settled.trial, &settled.trial.extra);
    let ply_of: Vec<Option<usize>> =
        trial.model.laminates.iter().map(|l| l.plies.iter().position(|p| p.layer == layer)).collect();
    let unranked_roles: Vec<Role> = board
        .conductors
        .iter()
        .zip(0_u32..)
        .filter(|(c, _)| !c.ranked && c.layer == layer)
        .map(|(_, n)| Role::Conductor(ConductorId(n)))
        .collect();
    let pale: Vec<bool> = state
        .mesh
        .flat
        .zones
        .iter()
        .map(|zone| {
            let inside =
                |(bit, role): (usize, &Role)| zone.inside >> bit & 1 == 1 && unranked_roles.contains(role);
            state.mesh.roles.iter().enumerate().any(inside)
        })
        .collect();
    let triangles: Vec<u32> = (0_u32..)
        .zip(&trial.model.laminate_of)
        .filter(|&(_, &l)| ply_of[l as usize].is_some())
        .map(|(t, _)| t)
        .collect();
    let values: Vec<(f64, [[f64; 3]; 3])> = triangles
        .par_iter()
        .map(|&t| {
            let laminate = &trial.model.laminates[trial.model.laminate_of[t as usize] as usize];
            let ply = ply_of[trial.model.laminate_of[t as usize] as usize].unwrap_or(0);
            let z = match face {
                Face::Lower => laminate.plies[ply].z0_m,
                Face::Upper => laminate.plies[ply].z1_m,
            };
            let at = settled.recovered.corner[t as usize].map(|zone_node| {
                let strain: &Vector6<f64> = &settled.recovered.zone_nodes[zone_node as usize].strain;
                laminate.copper_strain_at(ply, z, strain, settled.recovered.thermal_factor).into()
            });
            (z + state.reference_z_m, at)
        })
        .collect();
    StrainMap {
        layer: board.layers[layer.0 as usize].name.clone(),
        layer_index: layer.0,
        face,
        z_m: values.iter().map(|v| v.0).collect(),
        ranking: values.iter().map(|v| v.1.map(|s| largest_normal(&s.into()).0)).collect(),
        components: values.into_iter().map(|v| v.1).collect(),
        unranked: triangles.iter().map(|&t| pale[state.mesh.flat.zone_of[t as usize] as usize]).collect(),
        triangles,
    }
}
