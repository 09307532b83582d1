//! Solves with the factor: upwards through the fronts with L, downwards with its transpose.
//!
//! Right-hand sides are worked off in groups of up to eight, so that the factor is read twice for each group. Every front passes a small vector to its parent (upwards) or takes one from it
//! (downwards), so that branches need nothing of each other and run on their own threads.

use super::LinearError;
use super::fronts::{Fronts, split_by};
use super::pool::zeros;
use super::units::{Slot, Units, put, take};
use crate::vectors::{ask_for, widest};
use faer::linalg::matmul::matmul;
use faer::linalg::triangular_solve;
use faer::prelude::{Reborrow, ReborrowMut};
use faer::{Accum, MatMut, MatRef, Par};
use rayon::prelude::*;
use std::sync::Mutex;

/// Right-hand sides worked off together.
const TOGETHER: usize = 8;

/// Columns taken together by the kernels for one right-hand side; the rest one by one. Of 1 to 24 tried at 361,620
/// unknowns 8 and 12 are the fastest, 6 takes a quarter longer.
const GROUP: usize = 8;

/// Rows taken together by those kernels.
const LANES: usize = 8;

/// A factored matrix, ready for right-hand sides.
#[derive(Clone, Copy)]
pub(super) struct Sweep<'a> {
    pub(super) fronts: &'a Fronts,
    pub(super) units: &'a Units,
    /// First unknown of each block position.
    pub(super) first: &'a [u32],
    pub(super) panels: &'a [f64],
    /// `L D L'` instead of `L L'`.
    pub(super) signed: bool,
}

impl Sweep<'_> {
    /// Solves in place: `n_rhs` columns of unknowns in elimination order, one after another.
    pub(super) fn solve(&self, rhs: &mut [f64], n_rhs: usize) -> Result<(), LinearError> {
        let n = rhs.len() / n_rhs.max(1);
        for columns in rhs.chunks_mut(TOGETHER * n) {
            match columns.len() / n {
                1 => self.both(columns, 1),
                width => self.interleaved(columns, width)?,
            }
        }
        Ok(())
    }

    /// Several right-hand sides, with the values of one unknown next to each other in between, so that every
    /// branch has a slice of its own.
    fn interleaved(&self, columns: &mut [f64], width: usize) -> Result<(), LinearError> {
        let n = columns.len() / width;
        let mut rows = zeros(columns.len())?;
        let whole: &[f64] = columns;
        rows.par_chunks_mut(width * 1024).enumerate().for_each(|(chunk, part)| {
            for (i, row) in part.chunks_exact_mut(width).enumerate() {
                for (r, x) in row.iter_mut().enumerate() {
                    *x = whole[r * n + chunk * 1024 + i];
                }
            }
        });
        self.both(&mut rows, width);
        columns.par_chunks_mut(n).enumerate().for_each(|(r, column)| {
            for (x, row) in column.iter_mut().zip(rows.chunks_exact(width)) {
                *x = row[r];
            }
        });
        Ok(())
    }

    /// Upwards and downwards over rows of `width` values.
    pub(super) fn both(&self, x: &mut [f64], width: usize) {
        let passed: Vec<Slot<Vec<f64>>> = (0..self.units.len()).map(|_| Mutex::new(None)).collect();
        let own = self.parts(x, width);
        self.units.upwards(&|unit| {
            if let Some(x) = take(&own[unit]) {
                put(&passed[unit], self.climb(unit, Rows { x, width }, &passed));
            }
        });
        drop(own);
        passed.iter().for_each(|slot| drop(take(slot)));
        let own = self.parts(x, width);
        self.units.downwards(&|unit| {
            if let Some(x) = take(&own[unit]) {
                let above = take(&passed[unit]).unwrap_or_default();
                self.descend(unit, Rows { x, width }, above, &passed);
            }
        });
    }

    /// Rows of the unknowns of each unit.
    fn parts<'x>(&self, x: &'x mut [f64], width: usize) -> Vec<Slot<&'x mut [f64]>> {
        let ends = self.units.first.iter().map(|&f| self.fronts.column[f as usize] as usize * width);
        let ends: Vec<usize> = ends.collect();
        let parts = split_by(x, ends.windows(2).map(|w| w[1] - w[0]));
        parts.into_iter().map(|part| Mutex::new(Some(part))).collect()
    }

    /// Pivot columns, rows and values of the panel of a front.
    fn panel(&self, front: usize) -> (usize, usize, &[f64]) {
        let k = self.fronts.n_columns(front);
        let m = k + self.fronts.n_below(front);
        (k, m, &self.panels[self.fronts.panel[front]..self.fronts.panel[front + 1]])
    }

    /// Upwards through one unit; what is left over for the parent's front.
    fn climb(&self, unit: usize, mut rows: Rows<'_>, passed: &[Slot<Vec<f64>>]) -> Vec<f64> {
        let range = self.units.fronts_of(unit);
        let start = self.fronts.column[range.start] as usize;
        let width = rows.width;
        // Vectors for the parent, newest last; a front's children are the newest ones of their depth.
        let mut stacks: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
        let mut v = Vec::new();
        for front in range.clone() {
            let (k, m, panel) = self.panel(front);
            let at = self.fronts.column[front] as usize - start;
            v.clear();
            v.resize(m * width, 0.0);
            rows.read(at, k, m, &mut v);
            let children = self.fronts.children_of(front);
            if range.len() == 1 {
                for &child in children {
                    let slot = &passed[self.units.ends[child as usize] as usize];
                    self.gather(child, &take(slot).unwrap_or_default(), &mut v, m);
                }
            } else {
                let stack = &mut stacks[usize::from(!self.units.odd[front])];
                let total: usize = children.iter().map(|&c| self.fronts.n_below(c as usize) * width).sum();
                let base = stack.len() - total;
                let mut at = base;
                for &child in children {
                    let len = self.fronts.n_below(child as usize) * width;
                    self.gather(child, &stack[at..at + len], &mut v, m);
                    at += len;
                }
                stack.truncate(base);
            }
            self.forward(panel, k, m, &mut v);
            rows.write(at, k, m, &v);
            let left_over = v.chunks_exact(m).flat_map(|column| &column[k..]);
            if front + 1 == range.end {
                return left_over.copied().collect();
            }
            stacks[usize::from(self.units.odd[front])].extend(left_over);
        }
        Vec::new()
    }

    /// Adds a child's vectors to those of the front (of `m` rows) they belong to.
    fn gather(&self, child: u32, from: &[f64], front: &mut [f64], m: usize) {
        let n = self.fronts.n_below(child as usize);
        if n == 0 {
            return;
        }
        for (own, above) in from.chunks_exact(n).zip(front.chunks_exact_mut(m)) {
            self.meet(child, |at, to, len| {
                for (a, b) in above[to..to + len].iter_mut().zip(&own[at..at + len]) {
                    *a += b;
                }
            });
        }
    }

    /// Calls with places in the child's vector and in the parent's front, block by block.
    fn meet(&self, child: u32, mut visit: impl FnMut(usize, usize, usize)) {
        let (below, into_parent) = self.fronts.below_of(child as usize);
        let mut own = 0;
        for (&block, &to) in below.iter().zip(into_parent) {
            let size = (self.first[block as usize + 1] - self.first[block as usize]) as usize;
            visit(own, to as usize, size);
            own += size;
        }
    }

    /// Downwards through one unit. `above`: solved unknowns in the rows below the unit's last front.
    fn descend(&self, unit: usize, mut rows: Rows<'_>, above: Vec<f64>, passed: &[Slot<Vec<f64>>]) {
        let range = self.units.fronts_of(unit);
        let start = self.fronts.column[range.start] as usize;
        let width = rows.width;
        let mut stacks: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
        stacks[usize::from(self.units.odd[range.end - 1])] = above;
        let mut v = Vec::new();
        for front in range.clone().rev() {
            let (k, m, panel) = self.panel(front);
            let at = self.fronts.column[front] as usize - start;
            let stack = &mut stacks[usize::from(self.units.odd[front])];
            let base = stack.len() - (m - k) * width;
            v.clear();
            v.resize(m * width, 0.0);
            rows.read(at, k, m, &mut v);
            for (r, column) in v.chunks_exact_mut(m).enumerate() {
                column[k..].copy_from_slice(&stack[base + r * (m - k)..][..m - k]);
            }
            stack.truncate(base);
            self.backward(panel, k, m, &mut v);
            rows.write(at, k, m, &v);
            for &child in self.fronts.children_of(front) {
                if range.len() == 1 {
                    let mut own = Vec::with_capacity(self.fronts.n_below(child as usize) * width);
                    self.hand_down(child, &v, m, &mut own);
                    put(&passed[self.units.ends[child as usize] as usize], own);
                } else {
                    self.hand_down(child, &v, m, &mut stacks[usize::from(!self.units.odd[front])]);
                }
            }
        }
    }

    /// The solved rows that a child needs, from the vectors of its parent's front.
    fn hand_down(&self, child: u32, front: &[f64], m: usize, into: &mut Vec<f64>) {
        for column in front.chunks_exact(m) {
            self.meet(child, |_, from, len| into.extend_from_slice(&column[from..from + len]));
        }
    }

    /// Solves with the pivots of a front and takes their part out of the rows below.
    fn forward(&self, panel: &[f64], k: usize, m: usize, v: &mut [f64]) {
        let signed = self.signed;
        if v.len() == m {
            return widest(
                #[inline(always)]
                || forward(panel, k, m, v, signed),
            );
        }
        let (top, low) = MatRef::from_column_major_slice(panel, m, k).split_at_row(k);
        let width = v.len() / m;
        let (mut pivots, below) = MatMut::from_column_major_slice_mut(v, m, width).split_at_row_mut(k);
        if signed {
            triangular_solve::solve_unit_lower_triangular_in_place(top, pivots.rb_mut(), Par::Seq);
        } else {
            triangular_solve::solve_lower_triangular_in_place(top, pivots.rb_mut(), Par::Seq);
        }
        matmul(below, Accum::Add, low, pivots.rb(), -1.0, Par::Seq);
    }

    /// Takes the part of the rows below out of the pivots and solves with their transpose.
    fn backward(&self, panel: &[f64], k: usize, m: usize, v: &mut [f64]) {
        let signed = self.signed;
        if v.len() == m {
            return widest(
                #[inline(always)]
                || backward(panel, k, m, v, signed),
            );
        }
        let (top, low) = MatRef::from_column_major_slice(panel, m, k).split_at_row(k);
        let width = v.len() / m;
        let (mut pivots, below) = MatMut::from_column_major_slice_mut(v, m, width).split_at_row_mut(k);
        if signed {
            for j in 0..k {
                let pivot = top[(j, j)];
                pivots.rb_mut().row_mut(j).iter_mut().for_each(|x| *x /= pivot);
            }
        }
        matmul(pivots.rb_mut(), Accum::Add, low.transpose(), below.rb(), -1.0, Par::Seq);
        if signed {
            triangular_solve::solve_unit_upper_triangular_in_place(top.transpose(), pivots, Par::Seq);
        } else {
            triangular_solve::solve_upper_triangular_in_place(top.transpose(), pivots, Par::Seq);
        }
    }
}

/// Unknowns of one unit, `width` right-hand sides next to each other.
struct Rows<'x> {
    x: &'x mut [f64],
    width: usize,
}

impl Rows<'_> {
    /// Rows `at..at + k` into the heads of columns of `m` entries.
    fn read(&self, at: usize, k: usize, m: usize, v: &mut [f64]) {
        let rows = &self.x[at * self.width..][..k * self.width];
        for (r, column) in v.chunks_exact_mut(m).enumerate() {
            for (a, row) in column[..k].iter_mut().zip(rows.chunks_exact(self.width)) {
                *a = row[r];
            }
        }
    }

    /// The heads of columns back into rows `at..at + k`.
    fn write(&mut self, at: usize, k: usize, m: usize, v: &[f64]) {
        let rows = &mut self.x[at * self.width..][..k * self.width];
        for (r, column) in v.chunks_exact(m).enumerate() {
            for (a, row) in column[..k].iter().zip(rows.chunks_exact_mut(self.width)) {
                row[r] = *a;
            }
        }
    }
}

/// One right-hand side: solves with the pivots of a front and takes their part out of the rows below.
#[inline(always)]
fn forward(panel: &[f64], k: usize, m: usize, v: &mut [f64], signed: bool) {
    let mut j = 0;
    while j + GROUP <= k {
        forward_group::<GROUP>(panel, m, j, v, signed);
        j += GROUP;
    }
    while j < k {
        forward_group::<1>(panel, m, j, v, signed);
        j += 1;
    }
}

#[inline(always)]
fn forward_group<const G: usize>(panel: &[f64], m: usize, j: usize, v: &mut [f64], signed: bool) {
    let (head, tail) = v.split_at_mut(j + G);
    let own = &mut head[j..];
    for g in 0..G {
        let column = &panel[(j + g) * m + j..][..G];
        let value = if signed { own[g] } else { own[g] / column[g] };
        own[g] = value;
        for h in g + 1..G {
            own[h] -= column[h] * value;
        }
    }
    let y: [f64; G] = std::array::from_fn(|g| own[g]);
    let rows = m - j - G;
    let columns: [&[f64]; G] = std::array::from_fn(|g| &panel[(j + g) * m + j + G..][..rows]);
    let split = columns.map(|c| c.as_chunks::<LANES>());
    let (tail, last) = tail[..rows].as_chunks_mut::<LANES>();
    for (i, t) in tail.iter_mut().enumerate() {
        for g in 0..G {
            let c = &split[g].0[i];
            ask_for(c.as_ptr().wrapping_add(G * m));
            for l in 0..LANES {
                t[l] -= c[l] * y[g];
            }
        }
    }
    for (i, t) in last.iter_mut().enumerate() {
        for g in 0..G {
            *t -= split[g].1[i] * y[g];
        }
    }
}

/// One right-hand side: takes the part of the rows below out of the pivots and solves with their transpose.
#[inline(always)]
fn backward(panel: &[f64], k: usize, m: usize, v: &mut [f64], signed: bool) {
    let mut j = k;
    while !j.is_multiple_of(GROUP) {
        j -= 1;
        backward_group::<1>(panel, m, j, v, signed);
    }
    while j > 0 {
        j -= GROUP;
        backward_group::<GROUP>(panel, m, j, v, signed);
    }
}

#[inline(always)]
fn backward_group<const G: usize>(panel: &[f64], m: usize, j: usize, v: &mut [f64], signed: bool) {
    let (head, tail) = v.split_at_mut(j + G);
    let own = &mut head[j..];
    let rows = m - j - G;
    let columns: [&[f64]; G] = std::array::from_fn(|g| &panel[(j + g) * m + j + G..][..rows]);
    let split = columns.map(|c| c.as_chunks::<LANES>());
    let (tail, last) = tail[..rows].as_chunks::<LANES>();
    let mut lanes = [[0.0; LANES]; G];
    for (i, t) in tail.iter().enumerate() {
        for g in 0..G {
            let c = &split[g].0[i];
            ask_for(c.as_ptr().wrapping_sub(G * m));
            for l in 0..LANES {
                lanes[g][l] += c[l] * t[l];
            }
        }
    }
    for g in (0..G).rev() {
        let column = &panel[(j + g) * m + j..][..G];
        let mut sum: f64 = lanes[g].iter().sum();
        for (t, c) in last.iter().zip(split[g].1) {
            sum += c * t;
        }
        let mut value = if signed { own[g] / column[g] } else { own[g] } - sum;
        for h in g + 1..G {
            value -= column[h] * own[h];
        }
        own[g] = if signed { value } else { value / column[g] };
    }
}
