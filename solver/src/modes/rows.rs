//! A symmetric sparse matrix by whole rows, to multiply with eight vectors at once.

use crate::linear::{BLOCK, Block};
use rayon::prelude::*;

/// Rows a thread takes at a time.
const STRETCH: usize = 1024;

/// Both triangles, row by row.
#[derive(Debug)]
pub(super) struct SymmetricRows {
    start: Vec<u32>,
    columns: Vec<u32>,
    values: Vec<f64>,
}

impl SymmetricRows {
    /// From the lower triangle by columns, the diagonal first in each.
    pub(super) fn new(lower_start: &[u32], lower_rows: &[u32], lower: &[f64]) -> Self {
        let n = lower_start.len() - 1;
        let entries = || {
            (0..n).flat_map(|column| {
                (lower_start[column] as usize..lower_start[column + 1] as usize)
                    .filter(|&at| lower[at] != 0.0)
                    .map(move |at| (column, lower_rows[at] as usize, lower[at]))
            })
        };
        let mut start = vec![0u32; n + 1];
        for (column, row, _) in entries() {
            start[row + 1] += 1;
            start[column + 1] += u32::from(row != column);
        }
        for i in 0..n {
            start[i + 1] += start[i];
        }
        let mut next = start.clone();
        let mut columns = vec![0u32; start[n] as usize];
        let mut values = vec![0.0; start[n] as usize];
        let mut put = |row: usize, column: u32, value: f64| {
            let at = next[row] as usize;
            (columns[at], values[at]) = (column, value);
            next[row] += 1;
        };
        for (column, row, value) in entries() {
            let [narrow_row, narrow_column] = [row, column].map(crate::freedoms::index_u32);
            put(row, narrow_column, value);
            if row != column {
                put(column, narrow_row, value);
            }
        }
        Self { start, columns, values }
    }

    /// Product with a block of vectors.
    pub(super) fn times(&self, x: &[[f64; BLOCK]]) -> Block {
        let of_row = |row: usize| {
            let mut sum = [0.0; BLOCK];
            for at in self.start[row] as usize..self.start[row + 1] as usize {
                let (value, x) = (self.values[at], &x[self.columns[at] as usize]);
                for (s, x) in sum.iter_mut().zip(x) {
                    *s += value * x;
                }
            }
            sum
        };
        (0..x.len()).into_par_iter().with_min_len(STRETCH).map(of_row).collect()
    }
}
