//! Structure of an ordered block matrix, its numeric factor, and solves: the door of the room.

use super::LinearError;
use super::forecast::{self, Play};
use super::fronts::{Fronts, Pattern, split_by};
use super::groups;
use super::lanczos::BLOCK;
use super::library::{Entries, Library};
use super::numeric::{Failure, Job};
use super::order::{self, Graph};
use super::pool::{Pool, zeros};
use super::sweep::Sweep;
use super::tree::positions;
use super::units::Units;
use rayon::prelude::*;
use std::time::Instant;

/// Which factorisation does the work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Engine {
    /// Fronts on the elimination tree, all threads.
    #[default]
    Fronts,
    /// The library's sparse factorisation on one thread: for checks and comparison.
    Library,
}

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
    fronts: Fronts,
    units: Units,
    library: Option<Library>,
}

/// Numeric factor of one matrix, with the memory that made it.
#[derive(Debug)]
pub struct Factor {
    values: Vec<f64>,
    pool: Pool,
    signed: bool,
    negative_pivots: usize,
}

impl Factor {
    /// Memory held by the factor and the buffers kept for the next one, bytes.
    #[must_use]
    pub fn memory_bytes(&self) -> u64 {
        8 * (self.values.len() + self.pool.entries()) as u64
    }

    /// Negative eigenvalues of the factored matrix (Sylvester's law of inertia): 0 unless it was factored by
    /// [`Structure::factorise_signed`] and is not positive definite.
    #[must_use]
    pub fn negative_pivots(&self) -> usize {
        self.negative_pivots
    }
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
        Self::with_engine(graph, sizes, places, Engine::Fronts)
    }

    /// The same with a choice of factorisation.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub fn with_engine(
        graph: &Graph,
        sizes: &[u8],
        places: &[[f64; 3]],
        engine: Engine,
    ) -> Result<Self, LinearError> {
        let begin = Instant::now();
        let (order, tree) = order::best(graph, sizes, places)?;
        let (order, tree, grouped) = groups::fronts(sizes, &order, tree);
        let order_s = begin.elapsed().as_secs_f64();
        let position = positions(&order);
        let first = cumulate(order.iter().map(|&b| usize::from(sizes[b as usize])))?;
        let (column_start, rows) = lower(graph, &order, &position)?;
        let (entry_start, entry_rows) = entries(&first, &column_start, &rows)?;
        let pattern = Pattern { first: &first, column_start: &column_start, rows: &rows };
        let fronts = Fronts::new(pattern, grouped)?;
        let units = Units::new(&fronts);
        let library = match engine {
            Engine::Fronts => None,
            Engine::Library => Some(Library::new(graph, &order, &first, &tree)?),
        };
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
            fronts,
            units,
            library,
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
        self.library.as_ref().map_or_else(|| self.fronts.factor_len(), Library::factor_len)
    }

    /// Memory that one factorisation takes on this many threads, bytes: the factor and the updates that wait for
    /// their parents. Exact for one thread; with more the most that any sharing of the machine leads to.
    #[must_use]
    pub fn memory_bytes(&self, threads: usize) -> u64 {
        self.forecast(threads, false)
    }

    /// The same for [`Self::factorise_signed`], whose kernels take other room.
    #[must_use]
    pub fn signed_memory_bytes(&self, threads: usize) -> u64 {
        self.forecast(threads, true)
    }

    fn forecast(&self, threads: usize, signed: bool) -> u64 {
        let play = Play { fronts: &self.fronts, units: &self.units, signed };
        let waiting = if self.library.is_some() { 0 } else { forecast::waiting(play, threads) };
        8 * (self.factor_len() + waiting) as u64
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
        self.factored(values, reuse, false)
    }

    /// Factor `L D L' = K` of a matrix that need not be positive definite, its negative pivots counted. There is no
    /// exchange of pivots: a pivot that is exactly zero stops it, a tiny one costs digits.
    ///
    /// # Errors
    /// As [`Self::factorise`], [`LinearError::Pivot`] only for a pivot of zero.
    ///
    /// # Panics
    /// If `values` is not as long as the pattern.
    pub fn factorise_signed(&self, values: &[f64], reuse: Option<Factor>) -> Result<Factor, LinearError> {
        self.factored(values, reuse, true)
    }

    fn factored(&self, values: &[f64], reuse: Option<Factor>, signed: bool) -> Result<Factor, LinearError> {
        assert_eq!(values.len(), self.entry_rows.len(), "one value per stored entry");
        if let Some(bad) = values.iter().position(|v| !v.is_finite()) {
            let column = self.entry_start.partition_point(|&start| start as usize <= bad) - 1;
            let (block, component) = self.place(column);
            return Err(LinearError::NotFinite { block, component });
        }
        let mut factor = match reuse {
            Some(old) if old.values.len() == self.factor_len() => Factor { signed, ..old },
            _ => Factor {
                values: zeros(self.factor_len())?,
                pool: Pool::default(),
                signed,
                negative_pivots: 0,
            },
        };
        let pivot = |unknown: usize| {
            let (block, component) = self.place(unknown);
            LinearError::Pivot { block, component }
        };
        if let Some(library) = &self.library {
            let entries = Entries { start: &self.entry_start, rows: &self.entry_rows, values };
            let done = library.factorise(entries, &mut factor.values, signed);
            done.map_err(|place| place.map_or(LinearError::OutOfMemory, pivot))?;
        } else {
            let job = Job {
                fronts: &self.fronts,
                units: &self.units,
                pool: &factor.pool,
                first: &self.first,
                column_start: &self.column_start,
                rows: &self.rows,
                entry_start: &self.entry_start,
                values,
                signed,
            };
            job.run(&mut factor.values).map_err(|failure| match failure {
                Failure::Pivot(unknown) => pivot(unknown as usize),
                Failure::Memory => LinearError::OutOfMemory,
            })?;
        }
        factor.negative_pivots = if signed { self.count_negative(&factor.values) } else { 0 };
        Ok(factor)
    }

    fn count_negative(&self, factor: &[f64]) -> usize {
        if let Some(library) = &self.library {
            return library.count_negative(factor);
        }
        let of_front = |f: usize| {
            let stride = self.fronts.n_columns(f) + self.fronts.n_below(f) + 1;
            let panel = &factor[self.fronts.panel[f]..self.fronts.panel[f + 1]];
            panel.iter().step_by(stride).take(self.fronts.n_columns(f)).filter(|d| **d < 0.0).count()
        };
        (0..self.fronts.len()).map(of_front).sum()
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
        if let Some(library) = &self.library {
            return library.solve(&factor.values, rhs, n_rhs, factor.signed);
        }
        self.sweep(factor).solve(rhs, n_rhs)
    }

    /// Solves in place for eight right-hand sides whose values for one unknown lie side by side.
    ///
    /// # Errors
    /// [`LinearError::OutOfMemory`].
    ///
    /// # Panics
    /// If `rows` does not hold one row per unknown, or the factor belongs to another structure.
    pub fn solve_block(&self, factor: &Factor, rows: &mut [[f64; BLOCK]]) -> Result<(), LinearError> {
        let n = self.n_unknowns();
        assert_eq!(rows.len(), n, "one row per unknown");
        assert_eq!(factor.values.len(), self.factor_len(), "a factor of this structure");
        if self.library.is_some() {
            let mut columns: Vec<f64> = (0..BLOCK).flat_map(|r| rows.iter().map(move |row| row[r])).collect();
            self.solve(factor, &mut columns, BLOCK)?;
            for (i, row) in rows.iter_mut().enumerate() {
                *row = std::array::from_fn(|r| columns[r * n + i]);
            }
        } else if n > 0 {
            self.sweep(factor).both(rows.as_flattened_mut(), BLOCK);
        }
        Ok(())
    }

    fn sweep<'a>(&'a self, factor: &'a Factor) -> Sweep<'a> {
        Sweep {
            fronts: &self.fronts,
            units: &self.units,
            first: &self.first,
            panels: &factor.values,
            signed: factor.signed,
        }
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
    let unknowns = |position: usize| first[position]..first[position + 1];
    let rows_of = |p: usize| &rows[column_start[p] as usize..column_start[p + 1] as usize];
    let n_blocks = first.len() - 1;
    let mut start = Vec::with_capacity(first[n_blocks] as usize + 1);
    start.push(0);
    let mut total = 0usize;
    for p in 0..n_blocks {
        let below: usize = rows_of(p).iter().map(|&row| unknowns(row as usize).len()).sum();
        for own in (1..=unknowns(p).len()).rev() {
            total += own + below;
            start.push(u32::try_from(total).map_err(|_| LinearError::TooLarge)?);
        }
    }
    let mut entry_rows = vec![0; total];
    let length = |p: usize| start[first[p + 1] as usize] - start[first[p] as usize];
    split_by(&mut entry_rows, (0..n_blocks).map(|p| length(p) as usize))
        .into_par_iter()
        .enumerate()
        .with_min_len(256)
        .for_each(|(p, part)| {
            let below = || rows_of(p).iter().flat_map(|&row| unknowns(row as usize));
            let all = unknowns(p).flat_map(|column| (column..first[p + 1]).chain(below()));
            part.iter_mut().zip(all).for_each(|(place, row)| *place = row);
        });
    Ok((start, entry_rows))
}
