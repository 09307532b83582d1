//! Rigid pieces that are held in part: what the supports leave them depends on how they have turned.
//!
//! In: the constraints as declared. Out: axes for the piece's six unknowns in which the held directions of the moment
//! are held components. Absent: pieces held whole or not at all.

use super::stance::Links;
use crate::element::corotational::logarithm;
use crate::freedoms::{Bound, rigid};
use crate::model::Model;
use nalgebra::{DMatrix, DVector, Matrix3, Matrix6, Vector3, Vector6};

/// Share of a constraint's length below which earlier ones decide it.
const DECIDED: f64 = 1e-9;

/// A piece held in part.
#[derive(Debug, Clone)]
pub(super) struct Pinned {
    pub(super) block: u32,
    /// Independent constraints on its nodes.
    pub(super) bounds: Vec<Bound>,
    /// Held components of the block.
    held: [bool; 6],
}

/// What is left of a vector beside orthonormal ones.
fn beside(v: &Vector6<f64>, taken: &[Vector6<f64>]) -> Vector6<f64> {
    // Twice is enough.
    let once = taken.iter().fold(*v, |left, h| left - h * h.dot(&left));
    taken.iter().fold(once, |left, h| left - h * h.dot(&left))
}

impl Pinned {
    /// None if the declared constraints are not those that hold the block.
    pub(super) fn new(model: &Model, links: &Links, block: usize) -> Option<Self> {
        let held = model.freedoms.blocks[block].held;
        let wished = held.iter().filter(|&&h| h).count();
        let mut own = Self { block: u32::try_from(block).ok()?, bounds: Vec::new(), held };
        let mut taken: Vec<Vector6<f64>> = Vec::new();
        for bound in &model.freedoms.bounds {
            if links.block.get(bound.node as usize).is_none_or(|&b| b as usize != block) {
                continue;
            }
            let row = direction(links, bound, &Matrix3::identity());
            let left = beside(&row, &taken);
            if left.norm() > DECIDED * row.norm() {
                taken.push(left.normalize());
                own.bounds.push(bound.clone());
            }
        }
        (own.bounds.len() == wished).then_some(own)
    }

    /// Orthonormal axes: the held components span the constraints of the moment.
    pub(super) fn axes(&self, links: &Links, turned: &Matrix3<f64>) -> Matrix6<f64> {
        let mut taken: Vec<Vector6<f64>> = Vec::with_capacity(6);
        for bound in &self.bounds {
            let left = beside(&direction(links, bound, turned), &taken);
            taken.push(left.try_normalize(0.0).unwrap_or_else(|| widest(&taken)));
        }
        let n_held = taken.len();
        while taken.len() < 6 {
            taken.push(widest(&taken));
        }
        let (mut hold, mut free) = (0, n_held);
        let mut axes = Matrix6::zeros();
        for c in 0..6 {
            let next = if self.held[c] { &mut hold } else { &mut free };
            axes.set_column(c, &taken[*next]);
            *next += 1;
        }
        axes
    }

    /// Held components (others zero) that change the bounds by `values`.
    pub(super) fn held_part(
        &self,
        links: &Links,
        turned: &Matrix3<f64>,
        axes: &Matrix6<f64>,
        values: &[f64],
    ) -> Vector6<f64> {
        let components = self.components();
        let m = self.matrix(links, turned, axes, &components);
        let mut q = Vector6::zeros();
        if let Some(y) = m.lu().solve(&DVector::from_column_slice(values)) {
            for (&c, value) in components.iter().zip(y.iter()) {
                q[c] = *value;
            }
        }
        q
    }

    /// Forces along the bounds that balance the force and moment `net` at the piece's centre where it is held.
    pub(super) fn reactions(&self, links: &Links, turned: &Matrix3<f64>, net: &Vector6<f64>) -> Vec<f64> {
        let axes = self.axes(links, turned);
        let components = self.components();
        let m = self.matrix(links, turned, &axes, &components);
        let own = axes.tr_mul(net);
        let rhs = DVector::from_iterator(components.len(), components.iter().map(|&c| -own[c]));
        m.transpose().lu().solve(&rhs).map_or_else(|| vec![0.0; components.len()], |y| y.data.into())
    }

    /// What the bounds still lack at a place.
    pub(super) fn left(
        &self,
        links: &Links,
        moved: &Vector3<f64>,
        turned: &Matrix3<f64>,
        factor: f64,
    ) -> Vec<f64> {
        let theta = logarithm(turned);
        let of = |bound: &Bound| {
            let arm = links.arm[bound.node as usize];
            let shift = moved + (turned * arm - arm);
            factor * bound.value
                - bound.row.fixed_rows::<3>(0).dot(&shift)
                - bound.row.fixed_rows::<3>(3).dot(&theta)
        };
        self.bounds.iter().map(of).collect()
    }

    fn components(&self) -> Vec<usize> {
        (0..6).filter(|&c| self.held[c]).collect()
    }

    /// Change of each bound with each held component.
    fn matrix(
        &self,
        links: &Links,
        turned: &Matrix3<f64>,
        axes: &Matrix6<f64>,
        components: &[usize],
    ) -> DMatrix<f64> {
        let rows: Vec<Vector6<f64>> = self.bounds.iter().map(|b| direction(links, b, turned)).collect();
        DMatrix::from_fn(rows.len(), components.len(), |i, j| rows[i].dot(&axes.column(components[j])))
    }
}

/// Change of a bound with velocity and spin of the piece's centre.
fn direction(links: &Links, bound: &Bound, turned: &Matrix3<f64>) -> Vector6<f64> {
    rigid(&(turned * links.arm[bound.node as usize])).tr_mul(&bound.row)
}

/// Unit vector of the axes that is least in those taken, beside them.
fn widest(taken: &[Vector6<f64>]) -> Vector6<f64> {
    let mut best = Vector6::zeros();
    for c in 0..6 {
        let left = beside(&Vector6::from_fn(|i, _| if i == c { 1.0 } else { 0.0 }), taken);
        if left.norm_squared() > best.norm_squared() + 1e-12 {
            best = left;
        }
    }
    best.normalize()
}
