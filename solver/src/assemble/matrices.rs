//! Stiffness, mass and load over the free unknowns as public types, for export and for other tools.
//!
//! Unknowns run block by block in node order, not in elimination order: [`unknowns`] names them.

use super::{Elements, Layout, turned};
use crate::element;
use crate::error::SolveError;
use crate::linear::Structure;
use crate::model::{LoadCase, Model};
use crate::statics;
use nalgebra::Matrix6;
use nalgebra_sparse::CscMatrix;
use nalgebra_sparse::pattern::SparsityPattern;
use rayon::prelude::*;

/// One free unknown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unknown {
    /// Node; for a rigid piece its first node.
    pub node: u32,
    /// 0 to 5: u, v, w, tx, ty, tz, in the axes of the node or rigid piece.
    pub component: u8,
}

/// The free unknowns, in the order of rows and columns of [`stiffness`], [`mass`] and [`load_vector`].
///
/// # Errors
/// [`SolveError::NotHeld`], [`SolveError::Model`] as in [`statics::Prepared::new`].
pub fn unknowns(model: &Model) -> Result<Vec<Unknown>, SolveError> {
    let (_, layout) = laid_out(model)?;
    let mut first = vec![u32::MAX; model.freedoms.blocks.len()];
    for (node, follow) in (0u32..).zip(&model.freedoms.follow) {
        let entry = &mut first[follow.block as usize];
        *entry = node.min(*entry);
    }
    let of = |(vertex, &block): (usize, &u32)| {
        let node = first[block as usize];
        layout.free(vertex).iter().map(move |&component| Unknown { node, component }).collect::<Vec<_>>()
    };
    Ok(layout.blocks.iter().enumerate().flat_map(of).collect())
}

/// Stiffness over the free unknowns, both triangles; N/m, N and N m by the unknowns' kinds.
///
/// # Errors
/// [`SolveError::NotHeld`], [`SolveError::Model`] as in [`statics::Prepared::new`].
pub fn stiffness(model: &Model) -> Result<CscMatrix<f64>, SolveError> {
    let (elements, layout) = laid_out(model)?;
    let lower = layout.assemble(model, |triangle, b, a| elements.pair(triangle, b, a));
    public(&layout, &lower)
}

/// Order and pattern of the stiffness with its lower triangle in elimination order, ready for
/// [`Structure::factorise`]: for those who time or compare factorisations.
///
/// # Errors
/// [`SolveError::NotHeld`], [`SolveError::Model`] as in [`statics::Prepared::new`].
pub fn ordered(model: &Model) -> Result<(Structure, Vec<f64>), SolveError> {
    statics::check(model)?;
    let elements = Elements::new(model)?;
    let layout = Layout::new(model, &elements)?;
    let values = layout.assemble(model, |triangle, b, a| elements.pair(triangle, b, a));
    Ok((layout.structure, values))
}

/// Consistent mass over the free unknowns, both triangles, with the lumped bodies of [`Model::node_mass`]; kg,
/// kg m and kg m2 by the unknowns' kinds. Rotation about the normal has almost no inertia of its own, so the
/// matrix is semidefinite.
///
/// # Errors
/// [`SolveError::NotHeld`], [`SolveError::Model`] as in [`statics::Prepared::new`].
pub fn mass(model: &Model) -> Result<CscMatrix<f64>, SolveError> {
    let (mut elements, mut layout) = laid_out(model)?;
    // Rigid triangles have mass too: here every triangle counts.
    let rigid: Vec<usize> = (0..elements.rigid.len()).filter(|&e| elements.rigid[e]).collect();
    elements.rigid.fill(false);
    if !rigid.is_empty() {
        layout = Layout::new(model, &elements)?;
    }
    let own = element_masses(model, &elements);
    let pair = |e: usize, b: usize, a: usize| -> Matrix6<f64> {
        turned(&own[e].fixed_view::<6, 6>(6 * b, 6 * a).into_owned(), &elements.local[e].triad)
    };
    let mut lower = layout.assemble(model, pair);
    for (node, inertia) in &model.node_mass {
        layout.add_at_node(model, *node, inertia, &mut lower);
    }
    public(&layout, &lower)
}

/// Consistent mass of every triangle in its own axes.
pub(crate) fn element_masses(model: &Model, elements: &Elements) -> Vec<element::Matrix18> {
    let of = |e: usize| {
        let laminate = &model.laminates[model.laminate_of[e] as usize];
        element::mass::mass(&elements.local[e].corners, &laminate.mass)
    };
    (0..elements.local.len()).into_par_iter().map(of).collect()
}

/// Load over the free unknowns: nodal loads, heating, and the pull of moved supports.
///
/// # Errors
/// [`SolveError::NotHeld`], [`SolveError::Model`] as in [`statics::Prepared::new`].
pub fn load_vector(model: &Model, case: &LoadCase) -> Result<Vec<f64>, SolveError> {
    let (elements, layout) = laid_out(model)?;
    statics::check_case(model, case)?;
    let balance = statics::Balance { model, elements: &elements, layout: &layout };
    let by_elimination = balance.at_rest(case);
    let mut load = vec![0.0; by_elimination.len()];
    for (own, natural) in natural(&layout).into_iter().enumerate() {
        load[natural as usize] = by_elimination[own];
    }
    Ok(load)
}

fn laid_out(model: &Model) -> Result<(Elements, Layout), SolveError> {
    statics::check(model)?;
    let elements = Elements::new(model)?;
    let layout = Layout::new(model, &elements)?;
    Ok((elements, layout))
}

/// Row of [`unknowns`] for each unknown in elimination order.
fn natural(layout: &Layout) -> Vec<u32> {
    let structure = &layout.structure;
    let mut start = vec![0u32; layout.blocks.len() + 1];
    for vertex in 0..layout.blocks.len() {
        start[vertex + 1] = start[vertex] + crate::freedoms::index_u32(layout.free(vertex).len());
    }
    let of = |&vertex: &u32| start[vertex as usize]..start[vertex as usize + 1];
    structure.order().iter().flat_map(of).collect()
}

/// Both triangles in the order of [`unknowns`], from the lower one in elimination order.
pub(crate) fn public(layout: &Layout, lower: &[f64]) -> Result<CscMatrix<f64>, SolveError> {
    let structure = &layout.structure;
    let n = structure.n_unknowns();
    let natural = natural(layout);
    let starts = structure.entry_start();
    let entries = || {
        (0..n).flat_map(|column| {
            let range = starts[column] as usize..starts[column + 1] as usize;
            range.map(move |at| (column, at))
        })
    };
    let ends = |(column, at): (usize, usize)| {
        let row = natural[structure.entry_rows()[at] as usize] as usize;
        (row, natural[column] as usize, lower[at])
    };
    let mut start = vec![0usize; n + 1];
    for (row, column, _) in entries().map(ends) {
        start[column + 1] += 1;
        if row != column {
            start[row + 1] += 1;
        }
    }
    for i in 0..n {
        start[i + 1] += start[i];
    }
    let mut next = start.clone();
    let mut pairs = vec![(0usize, 0.0f64); start[n]];
    let mut put = |column: usize, row: usize, value: f64| {
        pairs[next[column]] = (row, value);
        next[column] += 1;
    };
    for (row, column, value) in entries().map(ends) {
        put(column, row, value);
        if row != column {
            put(row, column, value);
        }
    }
    for column in 0..n {
        pairs[start[column]..start[column + 1]].sort_unstable_by_key(|&(row, _)| row);
    }
    let (rows, values): (Vec<usize>, Vec<f64>) = pairs.into_iter().unzip();
    let broken = |what: String| SolveError::Model { what, remedy: "report this model".to_owned() };
    let pattern = SparsityPattern::try_from_offsets_and_indices(n, n, start, rows)
        .map_err(|e| broken(e.to_string()))?;
    CscMatrix::try_from_pattern_and_values(pattern, values).map_err(|e| broken(e.to_string()))
}
