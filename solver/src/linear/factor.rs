//! Symbolic structure of an ordered block matrix, its numeric factor, and solves.

use super::LinearError;
use super::order::{self, Graph};
use super::tree::{NONE, Tree, positions};
use faer::dyn_stack::{MemBuffer, MemStack, StackReq};
use faer::linalg::solvers::LltError;
use faer::sparse::linalg::SymbolicSupernodalParams;
use faer::sparse::linalg::cholesky::{simplicial, supernodal};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMatRef};
use faer::{Conj, MatMut, Par};
use rayon::prelude::*;
use std::time::Instant;

/// Where everything sits: elimination order, pattern of the lower triangle, pattern of the factor.
///
/// Unknowns are numbered by elimination: block `order[p]` has unknowns `first[p]..first[p + 1]`.
#[derive(Debug)]
pub struct Structure {
    order: Vec<u32>,
    position: Vec<u32>,
    first: Vec<u32>,
    column_start: Vec<u32>,
    rows: Vec<u32>,
    entry_start: Vec<u32>,
    entry_rows: Vec<u32>,
    work: f64,
    order_s: f64,
    symbolic_s: f64,
    symbolic: supernodal::SymbolicSupernodalCholesky<u32>,
}

/// Numeric factor of one matrix.
#[derive(Debug)]
pub struct Factor {
    values: Vec<f64>,
}

impl Structure {
    /// Orders the blocks and lays out the factor.
    ///
    /// `sizes`: unknowns per block, 1 to 6; every block column is dense within its pattern. `places`: where the
    /// blocks lie, a hint for the order.
    ///
    /// # Errors
    /// [`LinearError::TooLarge`] beyond 32-bit indices, [`LinearError::OutOfMemory`].
    pub fn new(graph: &Graph, sizes: &[u8], places: &[[f64; 3]]) -> Result<Self, LinearError> {
        let begin = Instant::now();
        let (order, tree) = order::best(graph, sizes, places)?;
        let order_s = begin.elapsed().as_secs_f64();
        let position = positions(&order);
        let first = cumulate(order.iter().map(|&b| usize::from(sizes[b as usize])))?;
        let (column_start, rows) = lower(graph, &order, &position)?;
        let (entry_start, entry_rows) = entries(&first, &column_start, &rows)?;
        let symbolic = symbolic(graph, &order, &first, &tree)?;
        let symbolic_s = begin.elapsed().as_secs_f64() - order_s;
        Ok(Self {
            order,
            position,
            first,
            column_start,
            rows,
            entry_start,
            entry_rows,
            work: tree.work,
            order_s,
            symbolic_s,
            symbolic,
        })
    }

    /// Number of unknowns.
    #[must_use]
    pub fn n_unknowns(&self) -> usize {
        self.first.last().map_or(0, |&n| n as usize)
    }

    /// Blocks by elimination position.
    #[must_use]
    pub fn order(&self) -> &[u32] {
        &self.order
    }

    /// Elimination position of each block.
    #[must_use]
    pub fn position(&self) -> &[u32] {
        &self.position
    }

    /// First unknown of the block at each position; one entry more than blocks.
    #[must_use]
    pub fn first(&self) -> &[u32] {
        &self.first
    }

    /// Positions of the blocks below the diagonal in the block column at `position`, ascending.
    #[must_use]
    pub fn rows(&self, position: usize) -> &[u32] {
        &self.rows[self.column_start[position] as usize..self.column_start[position + 1] as usize]
    }

    /// First stored entry of each column of the lower triangle; one more than unknowns.
    #[must_use]
    pub fn entry_start(&self) -> &[u32] {
        &self.entry_start
    }

    /// Row (unknown in elimination order) of each stored entry, ascending within a column.
    #[must_use]
    pub fn entry_rows(&self) -> &[u32] {
        &self.entry_rows
    }

    /// Stored entries of the factor.
    #[must_use]
    pub fn factor_len(&self) -> usize {
        self.symbolic.len_val()
    }

    /// Multiplications of one factorisation, roughly.
    #[must_use]
    pub fn work(&self) -> f64 {
        self.work
    }

    /// Seconds spent on the order, and on the patterns of matrix and factor.
    #[must_use]
    pub fn seconds(&self) -> [f64; 2] {
        [self.order_s, self.symbolic_s]
    }

    /// Factor `L L' = K`. `values`: lower triangle in the order of [`Self::entry_rows`]. `reuse`: an older
    /// factor of this structure whose memory is taken over.
    ///
    /// # Errors
    /// [`LinearError::NotFinite`] and [`LinearError::Pivot`] name the block, [`LinearError::OutOfMemory`].
    ///
    /// # Panics
    /// If `values` is not as long as the pattern.
    pub fn factorise(&self, values: &[f64], reuse: Option<Factor>) -> Result<Factor, LinearError> {
        assert_eq!(values.len(), self.entry_rows.len(), "one value per stored entry");
        if let Some(bad) = values.iter().position(|v| !v.is_finite()) {
            let column = self.entry_start.partition_point(|&start| start as usize <= bad) - 1;
            let (block, component) = self.place(column);
            return Err(LinearError::NotFinite { block, component });
        }
        let n = self.n_unknowns();
        let pattern = SymbolicSparseColMatRef::new_checked(n, n, &self.entry_start, None, &self.entry_rows);
        let matrix = SparseColMatRef::new(pattern, values);
        let request = supernodal::factorize_supernodal_numeric_llt_scratch::<u32, f64>(
            &self.symbolic,
            Par::Seq,
            faer::Spec::default(),
        );
        let mut memory = memory(request)?;
        let mut factor = match reuse {
            Some(old) if old.values.len() == self.factor_len() => old,
            _ => Factor { values: zeros(self.factor_len())? },
        };
        supernodal::factorize_supernodal_numeric_llt(
            &mut factor.values,
            matrix,
            faer::linalg::cholesky::llt::factor::LltRegularization::default(),
            &self.symbolic,
            Par::Seq,
            MemStack::new(&mut memory),
            faer::Spec::default(),
        )
        .map_err(|LltError::NonPositivePivot { index }| {
            let (block, component) = self.place(index);
            LinearError::Pivot { block, component }
        })?;
        Ok(factor)
    }

    /// Solves for `n_rhs` right-hand sides in place: column after column, unknowns in elimination order.
    ///
    /// # Errors
    /// [`LinearError::OutOfMemory`].
    ///
    /// # Panics
    /// If `rhs` does not hold `n_rhs` columns, or the factor belongs to another structure.
    pub fn solve(&self, factor: &Factor, rhs: &mut [f64], n_rhs: usize) -> Result<(), LinearError> {
        let n = self.n_unknowns();
        assert_eq!(rhs.len(), n * n_rhs, "one column per right-hand side");
        assert_eq!(factor.values.len(), self.factor_len(), "a factor of this structure");
        if n == 0 || n_rhs == 0 {
            return Ok(());
        }
        let mut memory = memory(self.symbolic.solve_in_place_scratch::<f64>(n_rhs, Par::Seq))?;
        supernodal::SupernodalLltRef::new(&self.symbolic, &factor.values).solve_in_place_with_conj(
            Conj::No,
            MatMut::from_column_major_slice_mut(rhs, n, n_rhs),
            Par::Seq,
            MemStack::new(&mut memory),
        );
        Ok(())
    }

    /// Block and component of an unknown in elimination order.
    fn place(&self, unknown: usize) -> (u32, u32) {
        let unknown = as_u32(unknown);
        let position = self.first.partition_point(|&first| first <= unknown) - 1;
        let position = position.min(self.order.len().saturating_sub(1));
        (self.order[position], unknown - self.first[position])
    }
}

/// Index as stored. Sizes are checked where arrays are laid out, so nothing saturates later.
pub(super) fn as_u32(index: usize) -> u32 {
    u32::try_from(index).unwrap_or(u32::MAX)
}

fn memory(request: StackReq) -> Result<MemBuffer, LinearError> {
    MemBuffer::try_new(request).map_err(|_| LinearError::OutOfMemory)
}

/// Zeros, asked for politely and touched by all threads: first touch costs more than filling.
fn zeros(len: usize) -> Result<Vec<f64>, LinearError> {
    let mut asked = Vec::<f64>::new();
    asked.try_reserve_exact(len).map_err(|_| LinearError::OutOfMemory)?;
    drop(asked);
    let mut values = vec![0.0; len];
    values.par_chunks_mut(1 << 16).for_each(|chunk| chunk.fill(0.0));
    Ok(values)
}

/// Running sum from 0, one entry longer than the input.
fn cumulate(sizes: impl Iterator<Item = usize>) -> Result<Vec<u32>, LinearError> {
    let mut total = 0usize;
    let mut sums = vec![0];
    for size in sizes {
        total += size;
        sums.push(u32::try_from(total).map_err(|_| LinearError::TooLarge)?);
    }
    Ok(sums)
}

/// Block rows below the diagonal per position, ascending.
fn lower(graph: &Graph, order: &[u32], position: &[u32]) -> Result<(Vec<u32>, Vec<u32>), LinearError> {
    let mut start = Vec::with_capacity(order.len() + 1);
    let mut rows = Vec::with_capacity(graph.neighbours.len() / 2);
    start.push(0);
    for (p, &block) in (0u32..).zip(order) {
        let from = rows.len();
        rows.extend(graph.of(block as usize).iter().map(|&b| position[b as usize]).filter(|&row| row > p));
        rows[from..].sort_unstable();
        start.push(u32::try_from(rows.len()).map_err(|_| LinearError::TooLarge)?);
    }
    Ok((start, rows))
}

/// Scalar pattern of the lower triangle, column by column.
fn entries(first: &[u32], column_start: &[u32], rows: &[u32]) -> Result<(Vec<u32>, Vec<u32>), LinearError> {
    let n_blocks = first.len() - 1;
    let mut start = vec![0];
    let mut entry_rows = Vec::new();
    for p in 0..n_blocks {
        for column in first[p]..first[p + 1] {
            entry_rows.extend(column..first[p + 1]);
            for &row in &rows[column_start[p] as usize..column_start[p + 1] as usize] {
                entry_rows.extend(first[row as usize]..first[row as usize + 1]);
            }
            start.push(u32::try_from(entry_rows.len()).map_err(|_| LinearError::TooLarge)?);
        }
    }
    Ok((start, entry_rows))
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
    let (start, children) = tree_edges(&parent);
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

/// Columns of the upper triangle that hold the tree's edges: children of each unknown.
fn tree_edges(parent: &[u32]) -> (Vec<u32>, Vec<u32>) {
    let mut start = vec![0u32; parent.len() + 1];
    for &p in parent.iter().filter(|&&p| p != NONE) {
        start[p as usize + 1] += 1;
    }
    for i in 0..parent.len() {
        start[i + 1] += start[i];
    }
    let mut next = start.clone();
    let mut children = vec![0u32; start.last().map_or(0, |&n| n as usize)];
    for (child, &p) in (0u32..).zip(parent).filter(|&(_, &p)| p != NONE) {
        children[next[p as usize] as usize] = child;
        next[p as usize] += 1;
    }
    (start, children)
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
