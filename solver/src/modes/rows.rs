//! A symmetric sparse matrix by whole rows, to multiply with many columns at once.

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

    /// Product with columns of `n` values each.
    pub(super) fn times(&self, x: &[f64]) -> Vec<f64> {
        let n = self.start.len() - 1;
        let mut y = vec![0.0; x.len()];
        if n == 0 {
            return y;
        }
        let width = x.len() / n;
        let mut rest = x;
        let mut target = y.as_mut_slice();
        let mut left = width;
        while left > 0 {
            let take = if left >= 8 { 8 } else { 1 };
            let (part, tail) = rest.split_at(take * n);
            let (out, out_tail) = std::mem::take(&mut target).split_at_mut(take * n);
            if take == 8 {
                self.group::<8>(part, out)
            } else {
                self.group::<1>(part, out)
            }
            (rest, target) = (tail, out_tail);
            left -= take;
        }
        y
    }

    /// `W` columns: their values for one unknown are brought side by side first.
    fn group<const W: usize>(&self, x: &[f64], y: &mut [f64]) {
        let n = self.start.len() - 1;
        let side_by_side: Vec<[f64; W]> = (0..n)
            .into_par_iter()
            .with_min_len(STRETCH)
            .map(|i| std::array::from_fn(|r| x[r * n + i]))
            .collect();
        let of_row = |row: usize| {
            let mut sum = [0.0; W];
            for at in self.start[row] as usize..self.start[row + 1] as usize {
                let (value, x) = (self.values[at], &side_by_side[self.columns[at] as usize]);
                for (s, x) in sum.iter_mut().zip(x) {
                    *s += value * x;
                }
            }
            sum
        };
        let sums: Vec<[f64; W]> = (0..n).into_par_iter().with_min_len(STRETCH).map(of_row).collect();
        y.par_chunks_mut(n).enumerate().for_each(|(r, column)| {
            for (y, sum) in column.iter_mut().zip(&sums) {
                *y = sum[r];
            }
        });
    }
}
