//! Triangles by place, to find those that may reach a disc.

use crate::model::Model;
use std::collections::HashMap;

/// Triangles in square cells of the x-y plane.
#[derive(Debug)]
pub(super) struct Cells {
    cell_m: f64,
    /// Longest side of any triangle along x or y, m.
    longest_m: f64,
    /// Triangles by the cell of their first corner.
    cells: HashMap<[i64; 2], Vec<u32>>,
}

impl Cells {
    /// Sorts triangles; cells are as large as the longest triangle.
    pub(super) fn new(model: &Model, triangles: &[u32]) -> Self {
        let corners = |t: u32| model.triangles[t as usize].map(|n| model.nodes_m[n as usize]);
        let span = |t: u32| {
            let [p, q, r] = corners(t);
            [q, r].iter().map(|c| (c[0] - p[0]).abs().max((c[1] - p[1]).abs())).fold(0.0, f64::max)
        };
        let longest_m = triangles.iter().map(|&t| span(t)).fold(0.0, f64::max);
        let mut own = Self { cell_m: longest_m.max(f64::MIN_POSITIVE), longest_m, cells: HashMap::new() };
        for &t in triangles {
            let [[x, y, _], ..] = corners(t);
            own.cells.entry(own.cell([x, y])).or_default().push(t);
        }
        own
    }

    #[expect(clippy::cast_possible_truncation, reason = "a cell is no smaller than the longest triangle")]
    fn cell(&self, at: [f64; 2]) -> [i64; 2] {
        at.map(|x| (x / self.cell_m).floor() as i64)
    }

    /// All triangles that come within `radius_m` of a place, and some more; sorted.
    pub(super) fn around(&self, at: &[f64; 3], radius_m: f64) -> Vec<u32> {
        let reach = 1.01 * radius_m + self.longest_m;
        let [low, high] = [-reach, reach].map(|r| self.cell([at[0] + r, at[1] + r]));
        let mut found: Vec<u32> = if f64::from(u16::MAX) * self.cell_m < reach {
            self.cells.values().flatten().copied().collect()
        } else {
            let cells = (low[0]..=high[0]).flat_map(|i| (low[1]..=high[1]).map(move |j| [i, j]));
            cells.filter_map(|cell| self.cells.get(&cell)).flatten().copied().collect()
        };
        found.sort_unstable();
        found
    }
}
