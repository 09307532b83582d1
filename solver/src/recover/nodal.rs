//! Second opinion: strains as gradients of polynomials through the nodal displacements and rotations around a node.
//!
//! It shares no sampling point with the first fit. Source: Zhang and Naga 2005, SIAM J. Sci. Comput. 26, 1192
//! (gradients recovered from a polynomial through nodal values; cited from memory).

use super::fields::Recovered;
use super::fit::{least_squares, patch};
use super::motion::Motion;
use crate::model::Model;
use nalgebra::{Vector3, Vector6};

/// Strains at a zone-node from quadratics through displacements (stretch) and rotations (curvature) of two rings of
/// triangles; None where the nodes do not determine them.
pub(super) fn nodal_fit(
    model: &Model,
    source: &impl Motion,
    recovered: &Recovered,
    zone_node: usize,
) -> Option<Vector6<f64>> {
    let own = &recovered.zone_nodes[zone_node];
    let mut nodes: Vec<u32> = patch(recovered, zone_node, 2)
        .iter()
        .flat_map(|&t| recovered.corner[t as usize])
        .map(|z| recovered.zone_nodes[z as usize].node)
        .collect();
    nodes.sort_unstable();
    nodes.dedup();
    let size = recovered.local_size_m(u32::try_from(zone_node).unwrap_or(u32::MAX));
    let centre = Vector3::from(model.nodes_m[own.node as usize]);
    let samples: Vec<([f64; 3], Vector6<f64>)> = nodes
        .iter()
        .map(|&node| {
            let arm = Vector3::from(model.nodes_m[node as usize]) - centre;
            let at = own.triad * arm / size;
            let motion = source.seen_from(model, node, own.node);
            let moved = own.triad * motion.fixed_rows::<3>(0);
            let turned = own.triad * motion.fixed_rows::<3>(3);
            let weight = 1.0 / (1.0 + at[0] * at[0] + at[1] * at[1]);
            // The normal turns by (ty, -tx): its gradient is the curvature.
            ([at[0], at[1], weight], Vector6::new(moved[0], moved[1], turned[1], -turned[0], 0.0, 0.0))
        })
        .collect();
    let fitted = least_squares(&samples, true).or_else(|| least_squares(&samples, false))?;
    let along = |column: usize| [fitted[(1, column)] / size, fitted[(2, column)] / size];
    let [u, v, bx, by] = [along(0), along(1), along(2), along(3)];
    Some(Vector6::new(u[0], v[1], u[1] + v[0], bx[0], by[1], bx[1] + by[0]))
}
