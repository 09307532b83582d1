//! Second opinion: strains as gradients of polynomials through the nodal displacements and rotations around a node.
//!
//! It shares no sampling point with the first fit. Source: Zhang and Naga 2005, SIAM J. Sci. Comput. 26, 1192
//! (gradients recovered from a polynomial through nodal values; cited from memory).

use super::fields::Recovered;
use super::fit::{Sample, distinct, least_squares, patch};
use super::motion::Motion;
use crate::model::Model;
use nalgebra::{Vector3, Vector6};

/// Weights of the nodes' motion in the gradients along both axes, 1/m.
pub(super) type NodeWeights = Vec<(u32, [f64; 2])>;

/// Weights at a zone-node of quadratics through displacements (stretch) and rotations (curvature) of two rings of
/// triangles; None where the nodes do not determine them.
pub(super) fn nodal_weights(
    nodes_m: &[[f64; 3]],
    recovered: &Recovered,
    zone_node: usize,
) -> Option<NodeWeights> {
    let own = &recovered.zone_nodes[zone_node];
    let patch = patch(recovered, zone_node, 2);
    let nodes = patch
        .iter()
        .flat_map(|&t| recovered.corner[t as usize])
        .map(|z| recovered.zone_nodes[z as usize].node);
    let nodes = distinct(nodes, 24);
    let size = recovered.local_size_m(u32::try_from(zone_node).unwrap_or(u32::MAX));
    let centre = Vector3::from(nodes_m[own.node as usize]);
    let sample = |&node: &u32| -> Sample {
        let at = own.triad * (Vector3::from(nodes_m[node as usize]) - centre) / size;
        [at[0], at[1], 1.0 / (1.0 + at[0] * at[0] + at[1] * at[1])]
    };
    let samples: Vec<Sample> = nodes.iter().map(sample).collect();
    let fit = least_squares(&samples, true).or_else(|| least_squares(&samples, false))?;
    let weights = samples.iter().map(|s| [1, 2].map(|k| fit.weight(k, s) / size));
    // The node itself does not move as seen from itself.
    Some(nodes.into_iter().zip(weights).filter(|(node, _)| *node != own.node).collect())
}

/// Strains from the weights and the motion.
pub(super) fn gradients(
    model: &Model,
    source: &impl Motion,
    recovered: &Recovered,
    (zone_node, weights): (usize, &NodeWeights),
) -> Vector6<f64> {
    let own = &recovered.zone_nodes[zone_node];
    let mut sums = [[0.0; 2]; 4];
    for &(node, by) in weights {
        let motion = source.seen_from(model, node, own.node);
        let moved = own.triad * motion.fixed_rows::<3>(0);
        let turned = own.triad * motion.fixed_rows::<3>(3);
        // The normal turns by (ty, -tx): its gradient is the curvature.
        for (sum, value) in sums.iter_mut().zip([moved[0], moved[1], turned[1], -turned[0]]) {
            sum[0] += by[0] * value;
            sum[1] += by[1] * value;
        }
    }
    let [u, v, bx, by] = sums;
    Vector6::new(u[0], v[1], u[1] + v[0], bx[0], by[1], bx[1] + by[0])
}
