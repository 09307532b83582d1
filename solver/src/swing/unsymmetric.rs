//! The unsymmetric part of the tangent: moments fixed in space, added to a symmetric factor by repetition.
//!
//! In: a solution of the symmetric part and the moments. Out: the solution of the whole. A moment m at a node has the
//! tangent `-[m]x / 2` beside the symmetric part. Method: minimal residuals over a few directions (Y. Saad, M. H.
//! Schultz, SIAM J. Sci. Stat. Comput. 7 (1986) 856-869; from memory), each of which costs one solve.

use super::field::Field;
use nalgebra::{DMatrix, DVector, Vector3, Vector6};

/// Most directions.
const MOST: usize = 12;
/// Share of the first solution that may be left.
const LEFT: f64 = 1e-5;

/// Solves `x - gained(x) = x0` in place of x0, where `gained(x)` is what the moments add as they turn with x.
///
/// # Errors
/// Those of `gained`.
pub(super) fn corrected<E>(x: &mut [f64], gained: impl Fn(&[f64]) -> Result<Vec<f64>, E>) -> Result<(), E> {
    let size = dot(x, x).sqrt();
    if size == 0.0 || !size.is_finite() {
        return Ok(());
    }
    let mut basis: Vec<Vec<f64>> = vec![x.iter().map(|v| v / size).collect()];
    let mut h = DMatrix::<f64>::zeros(MOST + 1, MOST);
    let mut best = DVector::from_element(1, size);
    for k in 0..MOST {
        let mut next = gained(&basis[k])?;
        next.iter_mut().zip(&basis[k]).for_each(|(g, v)| *g = v - *g);
        for _ in 0..2 {
            for (i, v) in basis.iter().enumerate() {
                let part = dot(&next, v);
                h[(i, k)] += part;
                next.iter_mut().zip(v).for_each(|(n, v)| *n -= part * v);
            }
        }
        let norm = dot(&next, &next).sqrt();
        h[(k + 1, k)] = norm;
        let m = h.view((0, 0), (k + 2, k + 1)).into_owned();
        let mut rhs = DVector::zeros(k + 2);
        rhs[0] = size;
        let Ok(y) = m.clone().svd(true, true).solve(&rhs, 1e-14) else { break };
        let left = (&m * &y - &rhs).norm();
        best = y;
        if left <= LEFT * size || norm <= f64::EPSILON * size {
            break;
        }
        basis.push(next.iter().map(|v| v / norm).collect());
    }
    x.fill(0.0);
    for (v, y) in basis.iter().zip(best.iter()) {
        x.iter_mut().zip(v).for_each(|(x, v)| *x += y * v);
    }
    Ok(())
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

impl Field {
    /// Half of what moments fixed in space gain when their nodes turn by a solution, over the free unknowns.
    pub(super) fn turned_moments(&self, moments: &[(u32, Vector3<f64>)], solution: &[f64]) -> Vec<f64> {
        let mut steps = vec![Vector6::zeros(); self.model.freedoms.blocks.len()];
        self.add_free(solution, &mut steps);
        let mut blocks = vec![Vector6::zeros(); steps.len()];
        for (node, moment) in moments {
            let Some(follow) = self.model.freedoms.follow.get(*node as usize) else { continue };
            let q = &steps[follow.block as usize];
            let motion = follow.matrix.as_ref().map_or(*q, |g| g.as_ref() * q);
            let gained = moment.cross(&motion.fixed_rows::<3>(3).into_owned()) * 0.5;
            let gained = Vector6::new(0.0, 0.0, 0.0, gained[0], gained[1], gained[2]);
            blocks[follow.block as usize] += follow.matrix.as_ref().map_or(gained, |g| g.tr_mul(&gained));
        }
        self.free_part(|vertex| blocks[self.layout.blocks[vertex] as usize])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_strong_skew_part_is_met_where_plain_repetition_would_run_away() {
        let n = 9;
        let g = DMatrix::from_fn(n, n, |i, j| {
            let s = if i < j { 1.0 } else { -1.0 };
            if i == j { 0.0 } else { s * (1.0 + ((i * j) % 5) as f64) }
        });
        let x0 = DVector::from_fn(n, |i, _| 1.0 + (i % 4) as f64);
        let mut x: Vec<f64> = x0.as_slice().to_vec();
        corrected(&mut x, |v| Ok::<_, ()>((&g * DVector::from_column_slice(v)).as_slice().to_vec())).unwrap();
        let x = DVector::from_vec(x);
        let gap = (&x - &g * &x - &x0).norm() / x0.norm();
        assert!(gap < 2.0 * LEFT, "left {gap:e}");
    }
}
