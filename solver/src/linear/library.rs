//! The library's own sparse factorisation, one thread: the second opinion the tests and benches ask for.

use super::LinearError;
use super::order::Graph;
use super::tree::{NONE, Tree, positions};
use faer::dyn_stack::{MemBuffer, MemStack, StackReq};
use faer::linalg::cholesky::ldlt::factor::{LdltError, LdltRegularization};
use faer::linalg::cholesky::llt::factor::{LltError, LltRegularization};
use faer::sparse::linalg::SymbolicSupernodalParams;
use faer::sparse::linalg::cholesky::supernodal::{
    factorize_supernodal_numeric_ldlt as factorise_signed,
    factorize_supernodal_numeric_ldlt_scratch as signed_room, factorize_supernodal_numeric_llt as factorise,
    factorize_supernodal_numeric_llt_scratch as room,
};
use faer::sparse::linalg::cholesky::{simplicial, supernodal};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMatRef};
use faer::{Conj, MatMut, Par};

/// Pattern of the factor as the library lays it out.
#[derive(Debug)]
pub(super) struct Library {
    symbolic: supernodal::SymbolicSupernodalCholesky<u32>,
}

/// Stored entries of the lower triangle, unknowns in elimination order.
#[derive(Clone, Copy)]
pub(super) struct Entries<'a> {
    pub(super) start: &'a [u32],
    pub(super) rows: &'a [u32],
    pub(super) values: &'a [f64],
}

impl Library {
    pub(super) fn new(graph: &Graph, order: &[u32], first: &[u32], tree: &Tree) -> Result<Self, LinearError> {
        Ok(Self { symbolic: symbolic(graph, order, first, tree)? })
    }

    pub(super) fn factor_len(&self) -> usize {
        self.symbolic.len_val()
    }

    /// Negative pivots of a signed factor.
    pub(super) fn count_negative(&self, factor: &[f64]) -> usize {
        let factor = supernodal::SupernodalLdltRef::new(&self.symbolic, factor);
        let of = |s: usize| {
            let panel = factor.supernode(s).val();
            (0..panel.ncols()).filter(|&j| panel[(j, j)] < 0.0).count()
        };
        (0..self.symbolic.n_supernodes()).map(of).sum()
    }

    /// Fills `factor`; on failure the unknown where it stopped, or nothing for want of memory.
    pub(super) fn factorise(
        &self,
        entries: Entries<'_>,
        factor: &mut [f64],
        signed: bool,
    ) -> Result<(), Option<usize>> {
        let n = entries.start.len() - 1;
        let pattern = SymbolicSparseColMatRef::new_checked(n, n, entries.start, None, entries.rows);
        let matrix = SparseColMatRef::new(pattern, entries.values);
        let (plan, par) = (&self.symbolic, Par::Seq);
        if signed {
            let mut room =
                memory(signed_room::<u32, f64>(plan, par, faer::Spec::default())).map_err(|_| None)?;
            let (regular, stack) = (LdltRegularization::default(), MemStack::new(&mut room));
            factorise_signed(factor, matrix, regular, plan, par, stack, faer::Spec::default())
                .map_err(|LdltError::ZeroPivot { index }| Some(index))?;
        } else {
            let mut room = memory(room::<u32, f64>(plan, par, faer::Spec::default())).map_err(|_| None)?;
            let (regular, stack) = (LltRegularization::default(), MemStack::new(&mut room));
            factorise(factor, matrix, regular, plan, par, stack, faer::Spec::default())
                .map_err(|LltError::NonPositivePivot { index }| Some(index))?;
        }
        Ok(())
    }

    pub(super) fn solve(
        &self,
        factor: &[f64],
        rhs: &mut [f64],
        n_rhs: usize,
        signed: bool,
    ) -> Result<(), LinearError> {
        let n = rhs.len() / n_rhs.max(1);
        let mut room = memory(self.symbolic.solve_in_place_scratch::<f64>(n_rhs, Par::Seq))?;
        let stack = MemStack::new(&mut room);
        let rhs = MatMut::from_column_major_slice_mut(rhs, n, n_rhs);
        if signed {
            let factor = supernodal::SupernodalLdltRef::new(&self.symbolic, factor);
            factor.solve_in_place_with_conj(Conj::No, rhs, Par::Seq, stack);
        } else {
            let factor = supernodal::SupernodalLltRef::new(&self.symbolic, factor);
            factor.solve_in_place_with_conj(Conj::No, rhs, Par::Seq, stack);
        }
        Ok(())
    }
}

fn memory(request: StackReq) -> Result<MemBuffer, LinearError> {
    MemBuffer::try_new(request).map_err(|_| LinearError::OutOfMemory)
}

/// Supernodal structure of the factor, from the block tree.
///
/// The library builds its elimination tree by walking the whole factor. The walk is short on a matrix that
/// contains only the tree's own edges, which has the same tree; the counts come from the block tree.
fn symbolic(
    graph: &Graph,
    order: &[u32],
    first: &[u32],
    tree: &Tree,
) -> Result<supernodal::SymbolicSupernodalCholesky<u32>, LinearError> {
    let n = first.last().map_or(0, |&n| n as usize);
    let mut parent = vec![NONE; n];
    let mut counts = vec![0u32; n];
    for p in 0..order.len() {
        let end = first[p + 1];
        for unknown in first[p]..end {
            counts[unknown as usize] = end - unknown + tree.below[p];
            parent[unknown as usize] = match (unknown + 1 < end, tree.parent[p]) {
                (true, _) => unknown + 1,
                (false, NONE) => NONE,
                (false, above) => first[above as usize],
            };
        }
    }
    let mut etree = vec![0i32; n];
    let mut unused = vec![0u32; n];
    // Columns of the upper triangle that hold the tree's edges.
    let (start, children) = super::fronts::children(&parent);
    let edges = SymbolicSparseColMatRef::new_checked(n, n, &start, None, &children);
    let request = simplicial::prefactorize_symbolic_cholesky_scratch::<u32>(n, children.len());
    let mut buffer = memory(request)?;
    let etree = simplicial::prefactorize_symbolic_cholesky(
        &mut etree,
        &mut unused,
        edges,
        MemStack::new(&mut buffer),
    );
    let (start, rows) = upper(graph, order, first)?;
    let pattern = SymbolicSparseColMatRef::new_checked(n, n, &start, None, &rows);
    let mut buffer = memory(supernodal::factorize_supernodal_symbolic_cholesky_scratch::<u32>(n))?;
    supernodal::factorize_supernodal_symbolic_cholesky(
        pattern,
        etree,
        &counts,
        MemStack::new(&mut buffer),
        SymbolicSupernodalParams::default(),
    )
    .map_err(|_| LinearError::TooLarge)
}

/// Upper triangle for the row structure of supernodes. One entry per block and column is enough, since all
/// unknowns of a block lie in one supernode (only the first of them can have children outside the block).
fn upper(graph: &Graph, order: &[u32], first: &[u32]) -> Result<(Vec<u32>, Vec<u32>), LinearError> {
    let position = positions(order);
    let mut start = vec![0];
    let mut rows = Vec::new();
    for (p, &block) in (0u32..).zip(order) {
        let mut above: Vec<u32> =
            graph.of(block as usize).iter().map(|&b| position[b as usize]).filter(|&row| row < p).collect();
        above.sort_unstable();
        for _ in first[p as usize]..first[p as usize + 1] {
            rows.extend(above.iter().map(|&row| first[row as usize]));
            start.push(u32::try_from(rows.len()).map_err(|_| LinearError::TooLarge)?);
        }
    }
    Ok((start, rows))
}
