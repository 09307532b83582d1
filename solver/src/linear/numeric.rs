//! Numeric factorisation, front by front: `L L'`, or `L D L'` with the signs of the pivots.
//!
//! Every front collects its matrix entries and the updates of its children, eliminates its pivots with dense
//! kernels, and leaves the update for its parent. Branches run on one thread each, large fronts share all threads
//! inside. No number depends on which thread did what: every sum has a fixed order. No pivoting.
//! Source: Duff and Reid 1983 (from memory).

use super::LinearError;
use super::collect::{self, Child, Window};
use super::dense::{self, Panel, Room};
use super::fronts::{Fronts, split_by};
use super::pool::Pool;
use super::units::{Slot, Units, put, take};
use faer::Par;
use faer::dyn_stack::{MemBuffer, StackReq};
use faer::linalg::cholesky::ldlt;
use rayon::prelude::*;
use std::ops::Range;
use std::sync::Mutex;

/// Multiplications above which one front is worth all threads.
const SHARED: f64 = 3e7;

/// Entries of a panel that are filled and added to together: they stay in the second-level cache.
const GATHERED: usize = 1 << 14;

/// Most unknowns of a node.
const FREEDOMS: usize = 6;

/// What stops a front, in unknowns by elimination.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Failure {
    /// Not positive (or exactly zero where signs are allowed) at this unknown.
    Pivot(u32),
    Memory,
}

impl From<LinearError> for Failure {
    fn from(_: LinearError) -> Self {
        Self::Memory
    }
}

/// One factorisation: the ordered pattern, the matrix values, and where buffers come from.
pub(super) struct Job<'a> {
    pub(super) fronts: &'a Fronts,
    pub(super) units: &'a Units,
    pub(super) pool: &'a Pool,
    /// First unknown of each block position.
    pub(super) first: &'a [u32],
    pub(super) column_start: &'a [u32],
    pub(super) rows: &'a [u32],
    pub(super) entry_start: &'a [u32],
    pub(super) values: &'a [f64],
    /// `L D L'` instead of `L L'`.
    pub(super) signed: bool,
}

/// An update waiting for its parent, or why there is none.
type Waiting = Slot<Result<Vec<f64>, Failure>>;

impl Job<'_> {
    /// Fills all panels. Of several failures the one at the smallest unknown is told.
    pub(super) fn run(&self, panels: &mut [f64]) -> Result<(), Failure> {
        let panel = &self.fronts.panel;
        let starts = self.units.first.windows(2).map(|w| panel[w[1] as usize] - panel[w[0] as usize]);
        let panels: Vec<Slot<&mut [f64]>> =
            split_by(panels, starts).into_iter().map(|part| Mutex::new(Some(part))).collect();
        let updates: Vec<Waiting> = panels.iter().map(|_| Mutex::new(None)).collect();
        self.units.upwards(&|unit| {
            let Some(own) = take(&panels[unit]) else { return };
            let children = self.units.children_of(unit);
            let below: Vec<_> = children.iter().filter_map(|&c| take(&updates[c as usize])).collect();
            let failure = below.iter().filter_map(|b| b.as_ref().err()).min();
            let update = match failure {
                Some(&failure) => Err(failure),
                None if self.units.fronts_of(unit).len() == 1 => {
                    self.trunk(unit, own, below.into_iter().flatten().collect())
                }
                None => self.branch(unit, own),
            };
            put(&updates[unit], update);
        });
        let failures = updates.iter().filter_map(take).filter_map(|update| match update {
            Ok(buffer) => {
                self.pool.give(buffer);
                None
            }
            Err(failure) => Some(failure),
        });
        failures.min().map_or(Ok(()), Err)
    }

    /// One large front; its children are units of their own.
    fn trunk(&self, unit: usize, panel: &mut [f64], below: Vec<Vec<f64>>) -> Result<Vec<f64>, Failure> {
        let front = self.units.fronts_of(unit).start;
        let n = self.fronts.n_below(front);
        let mut update = self.pool.take(n * n)?;
        let children = self.fronts.children_of(front).iter().zip(&below);
        let children: Vec<Child<'_>> =
            children.map(|(&c, buffer)| self.child(c as usize, front, buffer)).collect();
        let work = self.fronts.work[front]
            - self.fronts.children_of(front).iter().map(|&c| self.fronts.work[c as usize]).sum::<f64>();
        let shared = work > SHARED;
        let mut bench = Bench::new(self, front..front + 1)?;
        let done = self.front(front, panel, &mut update[..n * n], (&children, &mut bench, shared));
        drop(children);
        below.into_iter().chain(bench.buffers()).for_each(|buffer| self.pool.give(buffer));
        done.map(|()| update)
    }

    /// A whole branch on one thread. Updates lie on two stacks, by depth even and odd, so that those of a front's
    /// children are on top of one while its own goes on top of the other.
    fn branch(&self, unit: usize, mut panels: &mut [f64]) -> Result<Vec<f64>, Failure> {
        let range = self.units.fronts_of(unit);
        let [even, odd] = self.units.stacks[unit];
        let mut stacks = [self.pool.take(even)?, self.pool.take(odd)?];
        let mut top = [0usize; 2];
        let last = range.end - 1;
        let n = self.fronts.n_below(last);
        let mut out = self.pool.take(n * n)?;
        let mut bench = Bench::new(self, range.clone())?;
        let mut done = Ok(());
        for front in range {
            let (panel, rest) = panels.split_at_mut(self.fronts.panel[front + 1] - self.fronts.panel[front]);
            panels = rest;
            let own = usize::from(self.units.odd[front]);
            let [even, odd] = &mut stacks;
            let (mine, theirs) = if own == 0 { (even, odd) } else { (odd, even) };
            let mut at = top[1 - own];
            for &c in self.fronts.children_of(front) {
                at -= self.fronts.n_below(c as usize).pow(2);
            }
            top[1 - own] = at;
            let children: Vec<Child<'_>> = self
                .fronts
                .children_of(front)
                .iter()
                .map(|&c| {
                    let len = self.fronts.n_below(c as usize).pow(2);
                    let update = &theirs[at..at + len];
                    at += len;
                    self.child(c as usize, front, update)
                })
                .collect();
            let len = self.fronts.n_below(front).pow(2);
            let update = if front == last { &mut out[..len] } else { &mut mine[top[own]..top[own] + len] };
            done = self.front(front, panel, update, (&children, &mut bench, false));
            if done.is_err() {
                break;
            }
            top[own] += if front == last { 0 } else { len };
        }
        stacks.into_iter().chain(bench.buffers()).for_each(|buffer| self.pool.give(buffer));
        done.map(|()| out)
    }

    fn child<'b>(&self, child: usize, front: usize, update: &'b [f64]) -> Child<'b> {
        let (below, into_parent) = self.fronts.below_of(child);
        let pieces = below.iter().zip(into_parent).map(|(&b, &to)| (to as usize, self.size(b as usize)));
        Child::new(update, self.fronts.n_columns(front), pieces)
    }

    fn size(&self, position: usize) -> usize {
        (self.first[position + 1] - self.first[position]) as usize
    }

    /// Assembles and eliminates one front; its update is left for the parent.
    fn front(
        &self,
        front: usize,
        panel: &mut [f64],
        update: &mut [f64],
        (children, bench, shared): (&[Child<'_>], &mut Bench, bool),
    ) -> Result<(), Failure> {
        let (k, n) = (self.fronts.n_columns(front), self.fronts.n_below(front));
        let m = k + n;
        self.gather(front, panel, children, shared);
        let at = |index: usize| Failure::Pivot(self.fronts.column[front] + super::factor::as_u32(index));
        let whole = Panel { values: panel, m, k };
        let Bench { library, spare, room } = bench;
        let finish = |first: usize, columns: &mut [f64]| {
            let first = k + first;
            collect::add(
                columns,
                Window { columns: [first, first + columns.len() / n], rows: n, skipped: k },
                children,
            );
        };
        if self.signed {
            let par = if shared { Par::rayon(0) } else { Par::Seq };
            dense::eliminate_signed(whole, update, library, spare, par, &finish).map_err(at)
        } else {
            dense::eliminate(whole, update, room, shared, &finish).map_err(at)
        }
    }

    /// Fills the panel of a front with the matrix entries and what its children leave there.
    fn gather(&self, front: usize, panel: &mut [f64], children: &[Child<'_>], shared: bool) {
        let blocks = self.fronts.block[front] as usize..self.fronts.block[front + 1] as usize;
        let m = self.fronts.n_columns(front) + self.fronts.n_below(front);
        if panel.len() <= GATHERED {
            return self.gather_columns(front, panel, blocks, children);
        }
        let mut bounds = vec![blocks.start];
        let mut from = self.first[blocks.start];
        for block in blocks.start + 1..blocks.end {
            if (self.first[block + 1] - from) as usize * m > GATHERED {
                bounds.push(block);
                from = self.first[block];
            }
        }
        bounds.push(blocks.end);
        let lengths = bounds.windows(2).map(|b| (self.first[b[1]] - self.first[b[0]]) as usize * m);
        let parts = split_by(panel, lengths);
        if shared {
            let parts = parts.into_par_iter().zip(bounds.par_windows(2)).with_max_len(1);
            parts.for_each(|(part, b)| self.gather_columns(front, part, b[0]..b[1], children));
        } else {
            let parts = parts.into_iter().zip(bounds.windows(2));
            parts.for_each(|(part, b)| self.gather_columns(front, part, b[0]..b[1], children));
        }
    }

    /// The same for the columns of some of its blocks.
    fn gather_columns(&self, front: usize, part: &mut [f64], blocks: Range<usize>, children: &[Child<'_>]) {
        let m = self.fronts.n_columns(front) + self.fronts.n_below(front);
        let start = self.fronts.column[front];
        let skipped = (self.first[blocks.start] - start) as usize;
        // Nobody reads the upper triangle: its pages need not even exist.
        part.chunks_exact_mut(m).enumerate().for_each(|(j, column)| column[skipped + j..].fill(0.0));
        for position in blocks.clone() {
            let below = self.column_start[position] as usize..self.column_start[position + 1] as usize;
            let (first, size) = (self.first[position], self.size(position));
            let own = (first - start) as usize;
            for c in 0..size {
                let column = &mut part[(own - skipped + c) * m..][..m];
                let mut at = self.entry_start[first as usize + c] as usize;
                let mut copy = |row: usize, len: usize| {
                    put_run(&mut column[row..][..len], &self.values[at..][..len]);
                    at += len;
                };
                copy(own + c, size - c);
                for e in below.clone() {
                    copy(self.fronts.scatter[e] as usize, self.size(self.rows[e] as usize));
                }
            }
        }
        let columns = [skipped, (self.first[blocks.end] - start) as usize];
        collect::add(part, Window { columns, rows: m, skipped: 0 }, children);
    }
}

/// Copies the few entries of one node.
#[inline]
fn put_run(into: &mut [f64], values: &[f64]) {
    match (into.first_chunk_mut::<FREEDOMS>(), values.first_chunk::<FREEDOMS>()) {
        // A length that the compiler knows spares a call.
        (Some(into), Some(values)) => *into = *values,
        _ => into.copy_from_slice(values),
    }
}

/// Memory that fronts of one unit use in turn.
struct Bench {
    library: MemBuffer,
    spare: Vec<f64>,
    room: Room,
}

impl Bench {
    fn new(job: &Job<'_>, fronts: Range<usize>) -> Result<Self, Failure> {
        if !job.signed {
            let packed = job.pool.take(job.fronts.most_packed(fronts))?;
            return Ok(Self {
                library: MemBuffer::new(StackReq::EMPTY),
                spare: Vec::new(),
                room: Room::new(packed),
            });
        }
        let widest = fronts.clone().map(|f| job.fronts.n_columns(f)).max().unwrap_or(0);
        let request = ldlt::factor::cholesky_in_place_scratch::<f64>(widest, Par::Seq, faer::Spec::default());
        let library = MemBuffer::try_new(request).map_err(|_| Failure::Memory)?;
        Ok(Self { library, spare: job.pool.take(job.fronts.most_below(fronts))?, room: Room::default() })
    }

    /// What goes back to the pool.
    fn buffers(self) -> [Vec<f64>; 2] {
        [self.spare, self.room.packed]
    }
}
