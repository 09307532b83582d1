//! Second opinion on a recovered strain: a quadratic through the mid-side values around a node.
//!
//! Source: Zienkiewicz and Zhu 1992, Int. J. Numer. Methods Eng. 33, 1331 (patch recovery; cited from memory),
//! with the mid-side points as samples.

use super::fields::{Recovered, into_axes};
use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

/// Fewest triangles for one ring; with fewer the second ring joins.
const ONE_RING: usize = 6;
/// Fewest triangles for a quadratic.
const QUADRATIC: usize = 4;

/// One mid-side sample: place relative to the node over the patch size, and the strains there.
struct Sample {
    x: f64,
    y: f64,
    strain: Vector6<f64>,
}

/// Value at a zone-node of the least-squares quadratic (linear on tiny patches) through mid-side strains.
pub(super) fn second_opinion(nodes_m: &[[f64; 3]], recovered: &Recovered, zone_node: usize) -> Vector6<f64> {
    let own = &recovered.zone_nodes[zone_node];
    let mut patch: Vec<u32> = own.triangles.iter().map(|&(triangle, _)| triangle).collect();
    if patch.len() < ONE_RING {
        let mut second: Vec<u32> = patch
            .iter()
            .flat_map(|&t| recovered.corner[t as usize])
            .flat_map(|z| recovered.zone_nodes[z as usize].triangles.iter().map(|&(triangle, _)| triangle))
            .collect();
        second.sort_unstable();
        second.dedup();
        patch = second;
    }
    let samples = samples(nodes_m, recovered, zone_node, &patch);
    let quadratic = if patch.len() >= QUADRATIC { fit_quadratic(&samples) } else { None };
    quadratic.or_else(|| fit_linear(&samples)).unwrap_or(own.strain)
}

fn samples(nodes_m: &[[f64; 3]], recovered: &Recovered, zone_node: usize, patch: &[u32]) -> Vec<Sample> {
    let own = &recovered.zone_nodes[zone_node];
    let centre = Vector3::from(nodes_m[own.node as usize]);
    let size = recovered.local_size_m(u32::try_from(zone_node).unwrap_or(u32::MAX));
    let mut all = Vec::with_capacity(patch.len() * 3);
    for &triangle in patch {
        let t = triangle as usize;
        let corners = recovered.corner[t].map(|z| {
            let node = recovered.zone_nodes[z as usize].node;
            own.triad * (Vector3::from(nodes_m[node as usize]) - centre) / size
        });
        for [i, j] in [[0, 1], [1, 2], [2, 0]] {
            let raw = (recovered.raw[t][i] + recovered.raw[t][j]) * 0.5;
            let at = (corners[i] + corners[j]) * 0.5;
            let strain = into_axes(&raw, &recovered.triad[t], &own.triad);
            all.push(Sample { x: at[0], y: at[1], strain });
        }
    }
    all
}

fn fit_quadratic(samples: &[Sample]) -> Option<Vector6<f64>> {
    let mut normal = Matrix6::<f64>::zeros();
    let mut right = Matrix6::<f64>::zeros();
    for Sample { x, y, strain } in samples {
        let row = Vector6::new(1.0, *x, *y, x * x, x * y, y * y);
        normal += row * row.transpose();
        right += row * strain.transpose();
    }
    let factor = normal.cholesky()?;
    let pivots = factor.l().diagonal();
    (pivots.min() > 1e-4 * pivots.max()).then(|| factor.solve(&right).row(0).transpose())
}

fn fit_linear(samples: &[Sample]) -> Option<Vector6<f64>> {
    let mut normal = Matrix3::<f64>::zeros();
    let mut right = nalgebra::Matrix3x6::<f64>::zeros();
    for Sample { x, y, strain } in samples {
        let row = Vector3::new(1.0, *x, *y);
        normal += row * row.transpose();
        right += row * strain.transpose();
    }
    let factor = normal.cholesky()?;
    let pivots = factor.l().diagonal();
    (pivots.min() > 1e-4 * pivots.max()).then(|| factor.solve(&right).row(0).transpose())
}
