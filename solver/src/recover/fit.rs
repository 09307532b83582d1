//! Recovered strain at a node: a quadratic through the mid-side values of the triangles around it.
//!
//! Mid-side values of these triangles are good to higher order; corner values swing about the truth with the number
//! of triangles at the corner, so their mean serves only where a fit is not determined.
//! Source: Zienkiewicz and Zhu 1992, Int. J. Numer. Methods Eng. 33, 1331 (patch recovery; cited from memory),
//! with the mid-side points as samples.

use super::fields::{Recovered, into_axes};
use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

/// Fewest triangles for one ring; with fewer the second ring joins.
const ONE_RING: usize = 6;
/// Fewest triangles for a quadratic.
const QUADRATIC: usize = 4;
/// Smallest ratio of pivots of a determined fit.
const DETERMINED: f64 = 1e-4;

/// A place relative to the node over the patch size, with its weight.
pub(super) type Sample = [f64; 3];

/// Weights of the corners' own strains in the fitted strain, triangle by triangle.
pub(super) type CornerWeights = Vec<(u32, [f64; 3])>;

/// Weights of the strains at a zone-node by the least-squares quadratic (linear on tiny patches) through mid-side
/// strains; None where a fit is not determined.
pub(super) fn mid_side_weights(
    nodes_m: &[[f64; 3]],
    recovered: &Recovered,
    zone_node: usize,
) -> Option<CornerWeights> {
    let own = &recovered.zone_nodes[zone_node];
    let rings = if own.triangles.len() < ONE_RING { 2 } else { 1 };
    let patch = patch(recovered, zone_node, rings);
    let samples = samples(nodes_m, recovered, zone_node, &patch);
    let quadratic = if patch.len() >= QUADRATIC { least_squares(&samples, true) } else { None };
    let fit = quadratic.or_else(|| least_squares(&samples, false))?;
    let weights = samples.chunks_exact(3).map(|sides| {
        let [a, b, c] = [0, 1, 2].map(|k| 0.5 * fit.weight(0, &sides[k]));
        // Sides run from corner to corner: 0-1, 1-2, 2-0.
        [a + c, a + b, b + c]
    });
    Some(patch.into_iter().zip(weights).collect())
}

/// The fitted strain, in the axes of the zone-node.
pub(super) fn weighted(recovered: &Recovered, zone_node: usize, weights: &CornerWeights) -> Vector6<f64> {
    let own = &recovered.zone_nodes[zone_node].triad;
    weights.iter().fold(Vector6::zeros(), |sum, &(triangle, [a, b, c])| {
        let [p, q, r] = &recovered.raw[triangle as usize];
        sum + into_axes(&(p * a + q * b + r * c), &recovered.triad[triangle as usize], own)
    })
}

/// Triangles of the zone around a zone-node, in one or two rings, each once.
pub(super) fn patch(recovered: &Recovered, zone_node: usize, rings: u32) -> Vec<u32> {
    let ring = |of: usize| recovered.zone_nodes[of].triangles.iter().map(|&(triangle, _)| triangle);
    if rings < 2 {
        return ring(zone_node).collect();
    }
    let near = distinct(ring(zone_node).flat_map(|t| recovered.corner[t as usize]), 8);
    distinct(near.iter().flat_map(|&z| ring(z as usize)), 32)
}

/// Every number of a short list once, in the order of their first places.
pub(super) fn distinct(all: impl Iterator<Item = u32>, about: usize) -> Vec<u32> {
    let mut kept = Vec::with_capacity(about);
    for n in all {
        if !kept.contains(&n) {
            kept.push(n);
        }
    }
    kept
}

fn samples(nodes_m: &[[f64; 3]], recovered: &Recovered, zone_node: usize, patch: &[u32]) -> Vec<Sample> {
    let own = &recovered.zone_nodes[zone_node];
    let centre = Vector3::from(nodes_m[own.node as usize]);
    let size = recovered.local_size_m(u32::try_from(zone_node).unwrap_or(u32::MAX));
    let mut all = Vec::with_capacity(patch.len() * 3);
    for &triangle in patch {
        let corners = recovered.corner[triangle as usize].map(|z| {
            let node = recovered.zone_nodes[z as usize].node;
            own.triad * (Vector3::from(nodes_m[node as usize]) - centre) / size
        });
        for [i, j] in [[0, 1], [1, 2], [2, 0]] {
            let at = (corners[i] + corners[j]) * 0.5;
            all.push([at[0], at[1], 1.0]);
        }
    }
    all
}

/// A weighted least-squares polynomial in 1, x, y (and x^2, xy, y^2) through samples, before any value is known.
pub(super) struct LeastSquares {
    /// Columns 0 to 2 of the inverse of the normal matrix: coefficients of 1, x, y.
    inverse: [Vector6<f64>; 3],
}

impl LeastSquares {
    /// What the value at a sample adds to a coefficient (0: of 1, 1: of x, 2: of y), per unit.
    pub(super) fn weight(&self, coefficient: usize, [x, y, weight]: &Sample) -> f64 {
        let c = &self.inverse[coefficient];
        (c[0] + c[1] * x + c[2] * y + x * (c[3] * x + c[4] * y) + c[5] * y * y) * weight
    }
}

/// The polynomial through the samples; None where they do not determine it.
pub(super) fn least_squares(samples: &[Sample], quadratic: bool) -> Option<LeastSquares> {
    // Moments of the samples: powers of x up to four, then of y.
    let mut moments = [[0.0; 5]; 5];
    let most = if quadratic { 4 } else { 2 };
    for &[x, y, weight] in samples {
        let mut along = weight;
        for (i, row) in moments.iter_mut().enumerate().take(most + 1) {
            let mut both = along;
            for sum in row.iter_mut().take(most + 1 - i) {
                *sum += both;
                both *= y;
            }
            along *= x;
        }
    }
    const POWERS: [[usize; 2]; 6] = [[0, 0], [1, 0], [0, 1], [2, 0], [1, 1], [0, 2]];
    let entry = |i: usize, j: usize| moments[POWERS[i][0] + POWERS[j][0]][POWERS[i][1] + POWERS[j][1]];
    let determined = |pivots: &[f64]| {
        let (low, high) = pivots.iter().fold((f64::INFINITY, 0.0_f64), |(l, h), &p| (l.min(p), h.max(p)));
        low > DETERMINED * high
    };
    if quadratic {
        let factor = Matrix6::from_fn(entry).cholesky()?;
        let pivots = factor.l_dirty().diagonal();
        let unit = |k: usize| factor.solve(&Vector6::from_fn(|i, _| if i == k { 1.0 } else { 0.0 }));
        return determined(pivots.as_slice()).then(|| LeastSquares { inverse: [unit(0), unit(1), unit(2)] });
    }
    let factor = Matrix3::from_fn(entry).cholesky()?;
    let pivots = factor.l_dirty().diagonal();
    let unit = |k: usize| {
        let own = factor.solve(&Vector3::from_fn(|i, _| if i == k { 1.0 } else { 0.0 }));
        Vector6::new(own[0], own[1], own[2], 0.0, 0.0, 0.0)
    };
    determined(pivots.as_slice()).then(|| LeastSquares { inverse: [unit(0), unit(1), unit(2)] })
}
