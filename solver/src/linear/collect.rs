//! Updates of children added to the front of their parent.
//!
//! In: updates (square, lower triangle valid, columns one after another) and the rows of the front they belong to. Out:
//! some of the front's columns with them added, child after child, so that every sum has one order however the columns
//! are cut. Rows of one node lie side by side, so most pieces that stay together are shorter than a vector: their ends
//! are loaded and stored under a mask.

use pulp::{Simd, WithSimd};

/// Rows `from..from + len` of a child's update belong at rows `to..` of the front.
pub(super) struct Run {
    from: usize,
    to: usize,
    len: usize,
}

/// A child's update and where it belongs.
pub(super) struct Child<'a> {
    update: &'a [f64],
    n: usize,
    runs: Vec<Run>,
}

impl<'a> Child<'a> {
    /// An update whose rows belong, piece after piece (first row, rows), in a front with that many pivots.
    pub(super) fn new(
        update: &'a [f64],
        pivots: usize,
        pieces: impl Iterator<Item = (usize, usize)>,
    ) -> Self {
        let mut runs: Vec<Run> = Vec::new();
        let mut from = 0;
        for (to, len) in pieces {
            match runs.last_mut() {
                // A run never crosses from the pivots to the rows below, since these columns go elsewhere.
                Some(run) if run.to + run.len == to && to != pivots => run.len += len,
                _ => runs.push(Run { from, to, len }),
            }
            from += len;
        }
        Self { update, n: from, runs }
    }
}

/// Columns of a front held in a slice of `rows` entries each, the front's first `skipped` rows left out.
#[derive(Clone, Copy)]
pub(super) struct Window {
    /// First column, and the one after the last.
    pub(super) columns: [usize; 2],
    pub(super) rows: usize,
    pub(super) skipped: usize,
}

/// Adds those columns of the children's updates that lie in the window, child after child.
pub(super) fn add(target: &mut [f64], window: Window, children: &[Child<'_>]) {
    if !children.is_empty() {
        pulp::Arch::new().dispatch(Add { target, window, children });
    }
}

struct Add<'a> {
    target: &'a mut [f64],
    window: Window,
    children: &'a [Child<'a>],
}

impl WithSimd for Add<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        for child in self.children {
            add_child(simd, self.target, self.window, child);
        }
    }
}

#[inline(always)]
fn add_child<S: Simd>(simd: S, target: &mut [f64], window: Window, child: &Child<'_>) {
    let [start, end] = window.columns;
    for (j, run) in child.runs.iter().enumerate() {
        if run.to + run.len <= start {
            continue;
        }
        if run.to >= end {
            return;
        }
        for c in start.saturating_sub(run.to)..run.len.min(end - run.to) {
            let source = &child.update[(run.from + c) * child.n..][..child.n];
            let column = &mut target[(run.to + c - start) * window.rows..][..window.rows];
            let own = Run { from: run.from + c, to: run.to + c, len: run.len - c };
            for run in std::iter::once(&own).chain(&child.runs[j + 1..]) {
                let into = &mut column[run.to - window.skipped..][..run.len];
                add_run(simd, into, &source[run.from..][..run.len]);
            }
        }
    }
}

#[inline(always)]
fn add_run<S: Simd>(simd: S, into: &mut [f64], values: &[f64]) {
    let (into, into_end) = S::as_mut_simd_f64s(into);
    let (values, end) = S::as_simd_f64s(values);
    for (a, &b) in into.iter_mut().zip(values) {
        *a = simd.add_f64s(*a, b);
    }
    if !end.is_empty() {
        let sum = simd.add_f64s(simd.partial_load_f64s(into_end), simd.partial_load_f64s(end));
        simd.partial_store_f64s(into_end, sum);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever the lengths of the runs, the cuts of the columns and the width of the vectors: every entry of the lower
    /// triangle is added at its place once, to the bit.
    #[test]
    fn every_entry_is_added_once_at_its_place() {
        let pivots = 20;
        let m = 71;
        // Rows of two children, in pieces of one node each.
        let lists: [&[(usize, usize)]; 2] = [
            &[(0, 6), (6, 6), (18, 2), (20, 6), (26, 6), (32, 1), (40, 6), (46, 6), (52, 3), (70, 1)],
            &[(3, 3), (14, 6), (20, 3), (23, 6), (29, 6), (35, 6), (41, 6), (47, 6), (53, 6), (59, 6)],
        ];
        let updates: Vec<(usize, Vec<f64>)> = lists
            .iter()
            .map(|pieces| {
                let n: usize = pieces.iter().map(|p| p.1).sum();
                (n, (0..n * n).map(|i| f64::from(u32::try_from(i).unwrap()).sin()).collect())
            })
            .collect();
        let mut whole = vec![0.25; m * m];
        for (pieces, (n, update)) in lists.iter().zip(&updates) {
            let rows: Vec<usize> = pieces.iter().flat_map(|&(to, len)| to..to + len).collect();
            for (j, &column) in rows.iter().enumerate() {
                (j..*n).for_each(|i| whole[column * m + rows[i]] += update[j * n + i]);
            }
        }
        let children: Vec<Child<'_>> = lists
            .iter()
            .zip(&updates)
            .map(|(pieces, (_, update))| Child::new(update, pivots, pieces.iter().copied()))
            .collect();
        let check = |name: &str, added: &dyn Fn(&mut [f64], Window)| {
            for cut in [1, 5, 20, 64] {
                for [from, to] in [[0, pivots], [pivots, m]] {
                    let skipped = if from == 0 { 0 } else { pivots };
                    for start in (from..to).step_by(cut) {
                        let columns = [start, to.min(start + cut)];
                        let rows = m - skipped;
                        let mut own = vec![0.25; (columns[1] - columns[0]) * rows];
                        added(&mut own, Window { columns, rows, skipped });
                        for (column, own) in (start..).zip(own.chunks(rows)) {
                            let expected = &whole[column * m + column..][..m - column];
                            assert!(
                                own[column - skipped..] == *expected,
                                "{name}, column {column}, cut {cut}"
                            );
                        }
                    }
                }
            }
        };
        check("dispatched", &|target, window| add(target, window, &children));
        check("one by one", &|target, window| {
            Add { target, window, children: &children }.with_simd(pulp::Scalar);
        });
        #[cfg(target_arch = "x86_64")]
        if let Some(simd) = pulp::x86::V3::try_new() {
            let go = |target: &mut [f64], window| {
                simd.vectorize(|| Add { target, window, children: &children }.with_simd(simd));
            };
            check("by four", &go);
        }
    }
}
