//! The worst spot with the copper modulus at both ends of its span.
//!
//! Foil moduli are disputed, so the figure is shown as a span. Both ends are solved on the first mesh of the board
//! and applied as ratios to the settled strain: the ratio hardly depends on the mesh.

use super::state::{State, solve_loaded};
use super::{BendOptions, mesh_error};
use crate::error::SolveError;
use crate::model::{Hinge, Model, Solution, board_model_about, flap_motion};
use crate::recover::{Spot, Trace, board_traces, recover_at, trace_values};
use crate::result::{BondLimit, ModulusSpan};
use crate::settle::Settled;
use copperbend_mesh::board::{Board, Elastic, MaterialId, Value};
use copperbend_mesh::triangulate::board_mesh;

/// Meshes up to this many triangles serve for the ratios as they are.
const LARGE: usize = 20_000;

/// Strain and flap angle for the low, the used and the high modulus; None without a spot.
pub(super) fn modulus_span(
    board: &Board,
    options: &BendOptions,
    bond: BondLimit,
    settled: &Settled<State>,
) -> Result<Option<ModulusSpan>, SolveError> {
    let Some(top) = settled.spots.first() else { return Ok(None) };
    let material = board.layers[top.layer.0 as usize].material;
    let moduli = span_of(&board.materials[material.0 as usize].elastic);
    let state = &settled.trial.extra;
    let coarse;
    let mesh = if state.mesh.flat.triangles.len() <= LARGE || settled.sources.is_empty() {
        &state.mesh
    } else {
        coarse = board_mesh(board, &[]).map_err(mesh_error)?;
        &coarse
    };
    let hinge = Hinge::of(board);
    let mut strain = [top.strain; 3];
    let mut angle = [None; 3];
    let mut seen = [0.0; 3];
    let same_mesh = std::ptr::eq(mesh, &state.mesh);
    for n in [1, 0, 2] {
        if n != 1 && moduli[n] <= moduli[1] && moduli[n] >= moduli[1] {
            (seen[n], angle[n]) = (seen[1], angle[1]);
            continue;
        }
        let known = (n == 1 && same_mesh).then_some(&settled.trial.solution);
        let varied = with_modulus(board, material, moduli[n] / moduli[1]);
        let own = board_model_about(&varied, mesh, bond, options.reference_z_m)?;
        let solution = match known {
            Some(solution) => solution.clone(),
            None => solve_loaded(&varied, mesh, &own)?,
        };
        let trace = &board_traces(&varied, mesh)[top.trace];
        seen[n] = strain_near(&own.model, &solution, trace, top);
        angle[n] = flap_motion(&varied, mesh, &hinge, &solution.displacement).map(|m| m.lift_rad);
    }
    for n in [0, 2] {
        if seen[1] != 0.0 {
            strain[n] = top.strain * seen[n] / seen[1];
        }
    }
    let flap_angle_rad = match angle {
        [Some(a), Some(b), Some(c)] => Some([a, b, c]),
        _ => None,
    };
    Ok(Some(ModulusSpan {
        material: board.materials[material.0 as usize].name.clone(),
        modulus_pa: moduli,
        strain,
        flap_angle_rad,
        triangles: u32::try_from(mesh.flat.triangles.len()).unwrap_or(u32::MAX),
    }))
}

/// Ranking strain of a trace at its node nearest to a spot.
fn strain_near(model: &Model, solution: &Solution, trace: &Trace, top: &Spot) -> f64 {
    let gap = |node: u32| {
        let at = model.nodes_m[node as usize];
        (at[0] - top.place_m[0]).hypot(at[1] - top.place_m[1])
    };
    let mut nodes: Vec<u32> = trace.triangles.iter().flat_map(|&t| model.triangles[t as usize]).collect();
    nodes.sort_unstable();
    let Some(nearest) = nodes.into_iter().min_by(|&a, &b| gap(a).total_cmp(&gap(b))) else { return 0.0 };
    let recovered = recover_at(model, solution, 1.0, &[nearest]);
    let values = trace_values(model, &recovered, trace);
    values.iter().find(|value| value.0 == nearest).map_or(0.0, |value| value.2.strain)
}

/// Low end, value, high end of the modulus (direction 1), Pa.
fn span_of(elastic: &Elastic) -> [f64; 3] {
    let value = match elastic {
        Elastic::Isotropic { e_pa, .. } => e_pa,
        Elastic::Orthotropic { e1_pa, .. } => e1_pa,
    };
    [value.lo.min(value.v), value.v, value.hi.max(value.v)]
}

fn with_modulus(board: &Board, material: MaterialId, factor: f64) -> Board {
    let mut varied = board.clone();
    let scale = |value: &mut Value| value.v *= factor;
    match &mut varied.materials[material.0 as usize].elastic {
        Elastic::Isotropic { e_pa, .. } => scale(e_pa),
        Elastic::Orthotropic { e1_pa, e2_pa, g12_pa, .. } => {
            scale(e1_pa);
            scale(e2_pa);
            scale(g12_pa);
        }
    }
    varied
}
