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
