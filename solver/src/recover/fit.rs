//! Recovered strain at a node: a quadratic through the mid-side values of the triangles around it.
//!
//! Mid-side values of these triangles are good to higher order; corner values swing about the truth with the number
//! of triangles at the corner, so their mean serves only where a fit is not determined.
//! Source: Zienkiewicz and Zhu 1992, Int. J. Numer. Methods Eng. 33, 1331 (patch recovery; cited from memory),
//! with the mid-side points as samples.

use super::fields::{Recovered, into_axes};
use nalgebra::{Matrix3, Matrix3x6, Matrix6, Vector3, Vector6};

/// Fewest triangles for one ring; with fewer the second ring joins.
const ONE_RING: usize = 6;
/// Fewest triangles for a quadratic.
const QUADRATIC: usize = 4;
/// Smallest ratio of pivots of a determined fit.
const DETERMINED: f64 = 1e-4;

/// A place relative to the node over the patch size, with its weight, and six values there.
pub(super) type Sample = ([f64; 3], Vector6<f64>);

/// Strains at a zone-node by the least-squares quadratic (linear on tiny patches) through mid-side strains.
pub(super) fn mid_side_fit(nodes_m: &[[f64; 3]], recovered: &Recovered, zone_node: usize) -> Vector6<f64> {
    let own = &recovered.zone_nodes[zone_node];
    let rings = if own.triangles.len() < ONE_RING { 2 } else { 1 };
    let patch = patch(recovered, zone_node, rings);
    let samples = samples(nodes_m, recovered, zone_node, &patch);
    let quadratic = if patch.len() >= QUADRATIC { least_squares(&samples, true) } else { None };
    let fitted = quadratic.or_else(|| least_squares(&samples, false));
    fitted.map_or(own.mean, |fitted| fitted.row(0).transpose())
}

/// Triangles of the zone around a zone-node, in one or two rings, sorted.
pub(super) fn patch(recovered: &Recovered, zone_node: usize, rings: u32) -> Vec<u32> {
    let ring = |of: usize| recovered.zone_nodes[of].triangles.iter().map(|&(triangle, _)| triangle);
    let first: Vec<u32> = ring(zone_node).collect();
    if rings < 2 {
        return first;
    }
    let mut second: Vec<u32> =
        first.iter().flat_map(|&t| recovered.corner[t as usize]).flat_map(|z| ring(z as usize)).collect();
    second.sort_unstable();
    second.dedup();
    second
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
            all.push(([at[0], at[1], 1.0], into_axes(&raw, &recovered.triad[t], &own.triad)));
        }
    }
    all
}

/// Coefficients of 1, x, y (and x^2, xy, y^2, else zero rows) for each of the six values, by weighted least squares;
/// None where the samples do not determine them.
pub(super) fn least_squares(samples: &[Sample], quadratic: bool) -> Option<Matrix6<f64>> {
    if quadratic {
        let (mut normal, mut right) = (Matrix6::<f64>::zeros(), Matrix6::<f64>::zeros());
        for ([x, y, weight], values) in samples {
            let row = Vector6::new(1.0, *x, *y, x * x, x * y, y * y);
            normal += row * row.transpose() * *weight;
            right += row * values.transpose() * *weight;
        }
        let factor = normal.cholesky()?;
        let pivots = factor.l_dirty().diagonal();
        return (pivots.min() > DETERMINED * pivots.max()).then(|| factor.solve(&right));
    }
    let (mut normal, mut right) = (Matrix3::<f64>::zeros(), Matrix3x6::<f64>::zeros());
    for ([x, y, weight], values) in samples {
        let row = Vector3::new(1.0, *x, *y);
        normal += row * row.transpose() * *weight;
        right += row * values.transpose() * *weight;
    }
    let factor = normal.cholesky()?;
    let pivots = factor.l_dirty().diagonal();
    let determined = pivots.min() > DETERMINED * pivots.max();
    determined.then(|| factor.solve(&right).fixed_resize::<6, 6>(0.0))
}
