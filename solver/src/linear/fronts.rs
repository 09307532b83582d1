//! Fronts: groups of neighbouring columns with one row pattern, each factored as one dense panel.
//!
//! In: the block pattern of the ordered matrix and which columns form a front ([`super::groups`]). Out: the rows below it, where those rows lie in the front of its parent, where each matrix entry goes, and how much memory
//! and work a factorisation takes. Built once per pattern. Sources: Liu 1990, Duff and Reid 1983 (from memory).
//!
//! The panel of a front holds its columns one after another, `height` entries each: first the front's own rows (the
//! pivots), then the rows below. Panels lie in postorder, so those of a whole branch are one contiguous slice.

use super::LinearError;
use super::groups::Grouped;
use super::tree::NONE;
use rayon::prelude::*;

/// Pattern of all fronts. Front f has the block positions `block[f]..block[f + 1]`.
#[derive(Debug)]
pub(super) struct Fronts {
    /// First block position of each front; one more than fronts.
    pub(super) block: Vec<u32>,
    /// First unknown of each front; one more than fronts.
    pub(super) column: Vec<u32>,
    /// Front that takes this one's update, [`NONE`] at roots.
    pub(super) parent: Vec<u32>,
    /// First entry of each front in `below` and `into_parent`; one more than fronts.
    pub(super) below_start: Vec<u32>,
    /// Block positions of the rows below each front, ascending.
    pub(super) below: Vec<u32>,
    /// First row of each of those blocks in the front of the parent.
    pub(super) into_parent: Vec<u32>,
    /// Unknowns in the rows below.
    pub(super) n_below: Vec<u32>,
    /// First entry of each front in `children`; one more than fronts.
    pub(super) child_start: Vec<u32>,
    /// Children of each front in the order of their columns.
    pub(super) children: Vec<u32>,
    /// Start of each panel in the factor's array; one more than fronts.
    pub(super) panel: Vec<usize>,
    /// Row in its panel of each block row below the diagonal of the matrix pattern.
    pub(super) scatter: Vec<u32>,
    /// Multiplications of each front and everything it depends on, roughly.
    pub(super) work: Vec<f64>,
    /// First front of the branch that ends in each front.
    pub(super) branch: Vec<u32>,
}

/// The ordered block pattern: unknowns per position and block rows below the diagonal of each column.
#[derive(Clone, Copy)]
pub(super) struct Pattern<'a> {
    pub(super) first: &'a [u32],
    pub(super) column_start: &'a [u32],
    pub(super) rows: &'a [u32],
}

impl Pattern<'_> {
    fn rows_of(&self, position: usize) -> &[u32] {
        &self.rows[self.column_start[position] as usize..self.column_start[position + 1] as usize]
    }

    /// Unknowns of the block at a position.
    pub(super) fn size(&self, position: u32) -> u32 {
        self.first[position as usize + 1] - self.first[position as usize]
    }
}

impl Fronts {
    /// Lays out the fronts of an ordered pattern.
    pub(super) fn new(pattern: Pattern<'_>, grouped: Grouped) -> Result<Self, LinearError> {
        let n = grouped.parent.len();
        let (child_start, children) = children(&grouped.parent);
        let mut own = Self {
            column: grouped.block.iter().map(|&b| pattern.first[b as usize]).collect(),
            block: grouped.block,
            parent: grouped.parent,
            below_start: vec![0],
            below: Vec::new(),
            into_parent: Vec::new(),
            n_below: grouped.below,
            child_start,
            children,
            panel: vec![0],
            scatter: Vec::new(),
            work: Vec::with_capacity(n),
            branch: Vec::with_capacity(n),
        };
        own.measure()?;
        own.gather_rows(pattern)?;
        own.into_parent = own.rows_in_parents(pattern);
        own.scatter = own.places_of_entries(pattern);
        Ok(own)
    }

    /// Number of fronts.
    pub(super) fn len(&self) -> usize {
        self.parent.len()
    }

    /// Pivot columns of a front.
    pub(super) fn n_columns(&self, front: usize) -> usize {
        (self.column[front + 1] - self.column[front]) as usize
    }

    /// Rows below the pivots of a front.
    pub(super) fn n_below(&self, front: usize) -> usize {
        self.n_below[front] as usize
    }

    /// Entries of the rows below the pivots, of the front among these that has most.
    pub(super) fn most_below(&self, fronts: std::ops::Range<usize>) -> usize {
        fronts.map(|f| self.n_columns(f) * self.n_below(f)).max().unwrap_or(0)
    }

    /// Entries of packed rows that the front among these which needs most takes.
    pub(super) fn most_packed(&self, fronts: std::ops::Range<usize>) -> usize {
        let of = |f: usize| super::dense::packed(self.n_columns(f), self.n_columns(f) + self.n_below(f));
        fronts.map(of).max().unwrap_or(0)
    }

    /// Children of a front, ascending.
    pub(super) fn children_of(&self, front: usize) -> &[u32] {
        &self.children[self.child_start[front] as usize..self.child_start[front + 1] as usize]
    }

    /// Block positions below a front and their first rows in the parent's front.
    pub(super) fn below_of(&self, front: usize) -> (&[u32], &[u32]) {
        let range = self.below_start[front] as usize..self.below_start[front + 1] as usize;
        (&self.below[range.clone()], &self.into_parent[range])
    }

    /// Entries of all panels.
    pub(super) fn factor_len(&self) -> usize {
        self.panel.last().copied().unwrap_or(0)
    }

    /// Panel sizes, work and first front of every branch.
    fn measure(&mut self) -> Result<(), LinearError> {
        for f in 0..self.len() {
            let (k, m) = (self.n_columns(f), self.n_columns(f) + self.n_below(f));
            let end = m.checked_mul(k).and_then(|len| len.checked_add(self.panel[f]));
            self.panel.push(end.ok_or(LinearError::TooLarge)?);
            u32::try_from(m).map_err(|_| LinearError::TooLarge)?;
            let children = self.children_of(f);
            let below: f64 = children.iter().map(|&c| self.work[c as usize]).sum();
            let branch = children.first().map_or(f, |&c| self.branch[c as usize] as usize);
            self.work.push(below + front_work(k, m));
            self.branch.push(super::factor::as_u32(branch));
        }
        Ok(())
    }

    /// Rows below each front: those of its columns and of its children, without its own.
    fn gather_rows(&mut self, pattern: Pattern<'_>) -> Result<(), LinearError> {
        let mut mark = vec![NONE; pattern.first.len()];
        for f in 0..self.len() {
            let end = self.block[f + 1];
            let tag = super::factor::as_u32(f);
            let from = self.below.len();
            for position in self.block[f]..end {
                for &row in pattern.rows_of(position as usize) {
                    if row >= end && mark[row as usize] != tag {
                        mark[row as usize] = tag;
                        self.below.push(row);
                    }
                }
            }
            for &child in &self.children[self.child_start[f] as usize..self.child_start[f + 1] as usize] {
                let range =
                    self.below_start[child as usize] as usize..self.below_start[child as usize + 1] as usize;
                for i in range {
                    let row = self.below[i];
                    if row >= end && mark[row as usize] != tag {
                        mark[row as usize] = tag;
                        self.below.push(row);
                    }
                }
            }
            self.below[from..].sort_unstable();
            self.below_start.push(u32::try_from(self.below.len()).map_err(|_| LinearError::TooLarge)?);
        }
        Ok(())
    }

    /// Row in front `f` of each of the ascending block positions, all of which belong to it.
    fn locate(&self, pattern: Pattern<'_>, f: usize, positions: &[u32], place: &mut [u32]) {
        let end = self.block[f + 1];
        let list = self.below_start[f] as usize..self.below_start[f + 1] as usize;
        let mut at = list.start;
        let mut offset = self.column[f + 1] - self.column[f];
        for (&position, place) in positions.iter().zip(place) {
            if position < end {
                *place = pattern.first[position as usize] - self.column[f];
                continue;
            }
            while at < list.end && self.below[at] < position {
                offset += pattern.size(self.below[at]);
                at += 1;
            }
            *place = offset;
        }
    }

    fn rows_in_parents(&self, pattern: Pattern<'_>) -> Vec<u32> {
        let mut places = vec![0; self.below.len()];
        split_by(&mut places, self.below_start.windows(2).map(|w| (w[1] - w[0]) as usize))
            .into_par_iter()
            .enumerate()
            .with_min_len(64)
            .for_each(|(f, places)| {
                let range = self.below_start[f] as usize..self.below_start[f + 1] as usize;
                if self.parent[f] != NONE {
                    self.locate(pattern, self.parent[f] as usize, &self.below[range], places);
                }
            });
        places
    }

    fn places_of_entries(&self, pattern: Pattern<'_>) -> Vec<u32> {
        let mut places = vec![0; pattern.rows.len()];
        let start = |f: usize| pattern.column_start[self.block[f] as usize] as usize;
        split_by(&mut places, (0..self.len()).map(|f| start(f + 1) - start(f)))
            .into_par_iter()
            .enumerate()
            .with_min_len(64)
            .for_each(|(f, mut places)| {
                for position in self.block[f] as usize..self.block[f + 1] as usize {
                    let rows = pattern.rows_of(position);
                    let (own, rest) = places.split_at_mut(rows.len());
                    self.locate(pattern, f, rows, own);
                    places = rest;
                }
            });
        places
    }
}

/// Multiplications of one front with `k` pivots of `m` rows: the sum of squared column lengths.
#[expect(clippy::cast_precision_loss, reason = "counts are far below 2^52")]
pub(super) fn front_work(k: usize, m: usize) -> f64 {
    let squares = |n: f64| n * (n + 1.0) * (2.0 * n + 1.0) / 6.0;
    squares(m as f64) - squares((m - k) as f64)
}

/// Cuts a slice into consecutive parts of the given lengths.
pub(super) fn split_by<T>(mut rest: &mut [T], lengths: impl Iterator<Item = usize>) -> Vec<&mut [T]> {
    let mut parts = Vec::new();
    for length in lengths {
        let (part, tail) = rest.split_at_mut(length);
        parts.push(part);
        rest = tail;
    }
    parts
}

/// Children by parent, ascending: starts and lists.
pub(super) fn children(parent: &[u32]) -> (Vec<u32>, Vec<u32>) {
    let mut start = vec![0u32; parent.len() + 1];
    for &p in parent.iter().filter(|&&p| p != NONE) {
        start[p as usize + 1] += 1;
    }
    for i in 1..start.len() {
        start[i] += start[i - 1];
    }
    let mut next = start.clone();
    let mut children = vec![0; start.last().map_or(0, |&n| n as usize)];
    for (child, &p) in (0u32..).zip(parent).filter(|&(_, &p)| p != NONE) {
        children[next[p as usize] as usize] = child;
        next[p as usize] += 1;
    }
    (start, children)
}
