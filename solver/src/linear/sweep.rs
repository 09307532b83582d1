//! Solves with the factor: upwards through the fronts with L, downwards with its transpose.
//!
//! Right-hand sides are worked off in groups of up to eight, interleaved row by row, so that the factor is read
//! twice for each group. Every front passes a small vector to its parent (upwards) or takes one from it
//! (downwards), so that branches need nothing of each other and run on their own threads.

use super::LinearError;
use super::fronts::{Fronts, split_by};
use super::pool::zeros;
use super::units::Units;
use rayon::prelude::*;
use std::sync::{Mutex, PoisonError};

/// Columns eliminated together: the freedoms of a node.
const GROUP: usize = 6;

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

type Slot<T> = Mutex<Option<T>>;

fn take<T>(slot: &Slot<T>) -> Option<T> {
    slot.lock().unwrap_or_else(PoisonError::into_inner).take()
}

fn put<T>(slot: &Slot<T>, value: T) {
    *slot.lock().unwrap_or_else(PoisonError::into_inner) = Some(value);
}

impl Sweep<'_> {
    /// Solves in place: `n_rhs` columns of unknowns in elimination order, one after another.
    pub(super) fn solve(&self, rhs: &mut [f64], n_rhs: usize) -> Result<(), LinearError> {
        let n = rhs.len() / n_rhs.max(1);
        let mut rest = rhs;
        let mut left = n_rhs;
        while left > 0 {
            let width = [8, 4, 2, 1].into_iter().find(|&w| w <= left).unwrap_or(1);
            let (group, tail) = rest.split_at_mut(n * width);
            match width {
                8 => self.interleaved::<8>(group, n)?,
                4 => self.interleaved::<4>(group, n)?,
                2 => self.interleaved::<2>(group, n)?,
                _ => self.both::<1>(group),
            }
            rest = tail;
            left -= width;
        }
        Ok(())
    }

    fn interleaved<const W: usize>(&self, columns: &mut [f64], n: usize) -> Result<(), LinearError> {
        let mut rows = zeros(columns.len())?;
        let whole: &[f64] = columns;
        rows.par_chunks_mut(W * 1024).enumerate().for_each(|(chunk, part)| {
            for (i, row) in part.chunks_exact_mut(W).enumerate() {
                for (r, x) in row.iter_mut().enumerate() {
                    *x = whole[r * n + chunk * 1024 + i];
                }
            }
        });
        self.both::<W>(&mut rows);
        columns.par_chunks_mut(n).enumerate().for_each(|(r, column)| {
            for (x, row) in column.iter_mut().zip(rows.chunks_exact(W)) {
                *x = row[r];
            }
        });
        Ok(())
    }

    fn both<const W: usize>(&self, x: &mut [f64]) {
        let passed: Vec<Slot<Vec<f64>>> = (0..self.units.len()).map(|_| Mutex::new(None)).collect();
        let own = self.parts(x, W);
        self.units.upwards(&|unit| {
            if let Some(x) = take(&own[unit]) {
                put(&passed[unit], self.climb::<W>(unit, x, &passed));
            }
        });
        drop(own);
        passed.iter().for_each(|slot| drop(take(slot)));
        let own = self.parts(x, W);
        self.units.downwards(&|unit| {
            if let Some(x) = take(&own[unit]) {
                let above = take(&passed[unit]).unwrap_or_default();
                self.descend::<W>(unit, x, above, &passed);
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
    fn climb<const W: usize>(&self, unit: usize, x: &mut [f64], passed: &[Slot<Vec<f64>>]) -> Vec<f64> {
        let range = self.units.fronts_of(unit);
        let start = self.fronts.column[range.start] as usize;
        // Vectors for the parent, newest last; a front's children are the newest ones of their depth.
        let mut stacks: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
        let mut front_vector = Vec::new();
        for front in range.clone() {
            let (k, m, panel) = self.panel(front);
            let own = &mut x[(self.fronts.column[front] as usize - start) * W..][..k * W];
            front_vector.clear();
            front_vector.extend_from_slice(own);
            front_vector.resize(m * W, 0.0);
            let children = self.fronts.children_of(front);
            if range.len() == 1 {
                for &child in children {
                    let slot = &passed[self.units.ends[child as usize] as usize];
                    self.gather::<W>(child, &take(slot).unwrap_or_default(), &mut front_vector);
                }
            } else {
                let stack = &mut stacks[usize::from(!self.units.odd[front])];
                let total: usize = children.iter().map(|&c| self.fronts.n_below(c as usize) * W).sum();
                let base = stack.len() - total;
                let mut at = base;
                for &child in children {
                    let len = self.fronts.n_below(child as usize) * W;
                    self.gather::<W>(child, &stack[at..at + len], &mut front_vector);
                    at += len;
                }
                stack.truncate(base);
            }
            let signed = self.signed;
            pulp::Arch::new().dispatch(
                #[inline(always)]
                || forward::<W>(panel, k, m, &mut front_vector, signed),
            );
            own.copy_from_slice(&front_vector[..k * W]);
            if front + 1 == range.end {
                return front_vector.split_off(k * W);
            }
            stacks[usize::from(self.units.odd[front])].extend_from_slice(&front_vector[k * W..]);
        }
        Vec::new()
    }

    /// Adds a child's vector to the front it belongs to.
    fn gather<const W: usize>(&self, child: u32, from: &[f64], front: &mut [f64]) {
        self.meet::<W>(child, from.len(), |own, above, len| {
            for (a, b) in front[above..above + len].iter_mut().zip(&from[own..own + len]) {
                *a += b;
            }
        });
    }

    /// Calls with places in the child's vector and in the parent's front, run by run.
    fn meet<const W: usize>(&self, child: u32, len: usize, mut visit: impl FnMut(usize, usize, usize)) {
        let (below, into_parent) = self.fronts.below_of(child as usize);
        let mut own = 0;
        for (&block, &to) in below.iter().zip(into_parent) {
            let size = (self.first[block as usize + 1] - self.first[block as usize]) as usize * W;
            if own + size > len {
                return;
            }
            visit(own, to as usize * W, size);
            own += size;
        }
    }

    /// Downwards through one unit. `above`: solved unknowns in the rows below the unit's last front.
    fn descend<const W: usize>(
        &self,
        unit: usize,
        x: &mut [f64],
        above: Vec<f64>,
        passed: &[Slot<Vec<f64>>],
    ) {
        let range = self.units.fronts_of(unit);
        let start = self.fronts.column[range.start] as usize;
        let mut stacks: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
        stacks[usize::from(self.units.odd[range.end - 1])] = above;
        let mut front_vector = Vec::new();
        for front in range.clone().rev() {
            let (k, m, panel) = self.panel(front);
            let own = &mut x[(self.fronts.column[front] as usize - start) * W..][..k * W];
            let stack = &mut stacks[usize::from(self.units.odd[front])];
            let base = stack.len() - (m - k) * W;
            front_vector.clear();
            front_vector.extend_from_slice(own);
            front_vector.extend_from_slice(&stack[base..]);
            stack.truncate(base);
            let signed = self.signed;
            pulp::Arch::new().dispatch(
                #[inline(always)]
                || backward::<W>(panel, k, m, &mut front_vector, signed),
            );
            own.copy_from_slice(&front_vector[..k * W]);
            for &child in self.fronts.children_of(front) {
                let len = self.fronts.n_below(child as usize) * W;
                if range.len() == 1 {
                    let mut own = vec![0.0; len];
                    self.meet::<W>(child, len, |at, above, n| {
                        own[at..at + n].copy_from_slice(&front_vector[above..above + n]);
                    });
                    put(&passed[self.units.ends[child as usize] as usize], own);
                } else {
                    let stack = &mut stacks[usize::from(!self.units.odd[front])];
                    self.meet::<W>(child, len, |_, above, n| {
                        stack.extend_from_slice(&front_vector[above..above + n]);
                    });
                }
            }
        }
    }
}

/// Solves with the pivots of a front and takes their part out of the rows below.
#[inline(always)]
fn forward<const W: usize>(panel: &[f64], k: usize, m: usize, v: &mut [f64], signed: bool) {
    let mut j = 0;
    while j + GROUP <= k {
        forward_group::<W, GROUP>(panel, m, j, v, signed);
        j += GROUP;
    }
    while j < k {
        forward_group::<W, 1>(panel, m, j, v, signed);
        j += 1;
    }
}

#[inline(always)]
fn forward_group<const W: usize, const G: usize>(
    panel: &[f64],
    m: usize,
    j: usize,
    v: &mut [f64],
    signed: bool,
) {
    let (head, tail) = v.split_at_mut((j + G) * W);
    let own = &mut head[j * W..];
    let mut y = [[0.0; W]; G];
    for g in 0..G {
        let column = &panel[(j + g) * m + j..][..G];
        for r in 0..W {
            let value = if signed { own[g * W + r] } else { own[g * W + r] / column[g] };
            y[g][r] = value;
            own[g * W + r] = value;
            for h in g + 1..G {
                own[h * W + r] -= column[h] * value;
            }
        }
    }
    let rows = m - j - G;
    let columns: [&[f64]; G] = std::array::from_fn(|g| &panel[(j + g) * m + j + G..][..rows]);
    if W == 1 {
        let (tail, last) = tail[..rows].as_chunks_mut::<8>();
        let split = columns.map(|c| c.as_chunks::<8>());
        for (i, t) in tail.iter_mut().enumerate() {
            for g in 0..G {
                let c = &split[g].0[i];
                for l in 0..8 {
                    t[l] -= c[l] * y[g][0];
                }
            }
        }
        for (i, t) in last.iter_mut().enumerate() {
            for g in 0..G {
                *t -= split[g].1[i] * y[g][0];
            }
        }
    } else {
        for (i, t) in tail.as_chunks_mut::<W>().0[..rows].iter_mut().enumerate() {
            for g in 0..G {
                let c = columns[g][i];
                for r in 0..W {
                    t[r] -= c * y[g][r];
                }
            }
        }
    }
}

/// Takes the part of the rows below out of the pivots and solves with their transpose.
#[inline(always)]
fn backward<const W: usize>(panel: &[f64], k: usize, m: usize, v: &mut [f64], signed: bool) {
    let mut j = k;
    while !j.is_multiple_of(GROUP) {
        j -= 1;
        backward_group::<W, 1>(panel, m, j, v, signed);
    }
    while j > 0 {
        j -= GROUP;
        backward_group::<W, GROUP>(panel, m, j, v, signed);
    }
}

#[inline(always)]
fn backward_group<const W: usize, const G: usize>(
    panel: &[f64],
    m: usize,
    j: usize,
    v: &mut [f64],
    signed: bool,
) {
    let (head, tail) = v.split_at_mut((j + G) * W);
    let own = &mut head[j * W..];
    let rows = m - j - G;
    let columns: [&[f64]; G] = std::array::from_fn(|g| &panel[(j + g) * m + j + G..][..rows]);
    let mut sums = [[0.0; W]; G];
    if W == 1 {
        let (tail, last) = tail[..rows].as_chunks::<8>();
        let split = columns.map(|c| c.as_chunks::<8>());
        let mut lanes = [[0.0; 8]; G];
        for (i, t) in tail.iter().enumerate() {
            for g in 0..G {
                let c = &split[g].0[i];
                for l in 0..8 {
                    lanes[g][l] += c[l] * t[l];
                }
            }
        }
        for g in 0..G {
            sums[g][0] = lanes[g].iter().sum();
            for (t, c) in last.iter().zip(split[g].1) {
                sums[g][0] += c * t;
            }
        }
    } else {
        for (i, t) in tail.as_chunks::<W>().0[..rows].iter().enumerate() {
            for g in 0..G {
                let c = columns[g][i];
                for r in 0..W {
                    sums[g][r] += c * t[r];
                }
            }
        }
    }
    for g in (0..G).rev() {
        let column = &panel[(j + g) * m + j..][..G];
        for r in 0..W {
            let value = if signed { own[g * W + r] / column[g] } else { own[g * W + r] };
            let mut value = value - sums[g][r];
            for h in g + 1..G {
                value -= column[h] * own[h * W + r];
            }
            own[g * W + r] = if signed { value } else { value / column[g] };
        }
    }
}
