//! The worst spot with the copper modulus at both ends of its span.
//!
//! Foil moduli are disputed, so the figure is shown as a span. Beyond [`BendOptions::span_triangles`] the three moduli are solved
//! on a mesh of the program's own sizes and applied as ratios to the settled strain: the ratio hardly depends on the
//! mesh.

use super::BendOptions;
use super::state::{State, solve_loaded};
use crate::error::SolveError;
use crate::model::{Hinge, Model, Solution, board_model_about, flap_motion};
use crate::recover::{Spot, Trace, board_traces, recover_at, trace_values};
use crate::result::{BondLimit, ModulusSpan};
use crate::settle::Settled;
use copperbend_mesh::board::{Board, Elastic, MaterialId, Value};
use copperbend_mesh::triangulate::{BoardMesh, board_mesh};
use rayon::prelude::*;

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
    let mut mesh = &state.mesh;
    if mesh.flat.triangles.len() > options.span_triangles {
        coarse = plain_mesh(board)?;
        if coarse.flat.triangles.len() < mesh.flat.triangles.len() {
            mesh = &coarse;
        }
    }
    let hinge = Hinge::of(board);
    let same_mesh = std::ptr::eq(mesh, &state.mesh);
    let seen = |n: usize| -> Result<Seen, SolveError> {
        let known = (n == 1 && same_mesh).then_some(&settled.trial.solution);
        let varied = with_modulus(board, material, moduli[n] / moduli[1]);
        let own = board_model_about(&varied, mesh, bond, options.reference_z_m)?;
        let solved;
        let solution = match known {
            Some(solution) => solution,
            None => {
                solved = solve_loaded(&varied, mesh, &own)?;
                &solved
            }
        };
        let trace = &board_traces(&varied, mesh)[top.trace];
        let angle = flap_motion(&varied, mesh, &hinge, &solution.displacement).map(|m| m.lift_rad);
        Ok(Seen { strain: strain_near(&own.model, solution, trace, top), angle })
    };
    // Where an end of the span is the value itself nothing is solved.
    let varied = |n: &usize| *n == 1 || moduli[*n] < moduli[1] || moduli[*n] > moduli[1];
    let wanted: Vec<usize> = (0..3).filter(varied).collect();
    let found = wanted.par_iter().map(|&n| seen(n)).collect::<Vec<_>>();
    let found: Vec<Seen> = found.into_iter().collect::<Result<_, _>>()?;
    let of = |n: usize| wanted.iter().position(|&w| w == n).or(wanted.iter().position(|&w| w == 1));
    let [low, used, high] = [0, 1, 2].map(|n| of(n).map_or_else(Seen::default, |k| found[k]));
    let strain = [low, used, high]
        .map(|end| if used.strain == 0.0 { top.strain } else { top.strain * (end.strain / used.strain) });
    let own = flap_motion(board, &state.mesh, &hinge, &settled.trial.solution.displacement);
    let angle = [low, used, high].map(|end| {
        let ratio = if used.angle? == 0.0 { 1.0 } else { end.angle? / used.angle? };
        own.map(|m| m.lift_rad * ratio)
    });
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

/// What one modulus gives.
#[derive(Debug, Clone, Copy, Default)]
struct Seen {
    strain: f64,
    angle: Option<f64>,
}

/// Triangles across an arm of the mesh for the ratios.
const ACROSS_ARM: u32 = 12;

/// The board's mesh at the program's own sizes, whatever finer ones the design wishes.
fn plain_mesh(board: &Board) -> Result<BoardMesh, SolveError> {
    let mut plain = board.clone();
    (plain.mesh.coarse_m, plain.mesh.fine_m, plain.mesh.across_arm) = (None, None, ACROSS_ARM);
    board_mesh(&plain, &[]).map_err(SolveError::of_mesh)
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
    let touching = |&t: &u32| model.triangles[t as usize].contains(&nearest);
    let near = trace.triangles.iter().copied().filter(touching).collect();
    let values = trace_values(model, &recovered, &Trace { triangles: near, ..trace.clone() });
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
