//! Shapes on the fine grid of a panel, row by row.
//!
//! Input: corners in fine pixels. Output: rows and columns that a shape covers. Absent: pixels themselves.

use super::super::colour::Rgb;
use super::{FINE, first_at};

/// Edges of a prism: below, above, between.
pub(super) const PRISM: [[usize; 2]; 9] =
    [[0, 1], [1, 2], [2, 0], [3, 4], [4, 5], [5, 3], [0, 3], [1, 4], [2, 5]];

/// One convex polygon on the fine grid.
pub(super) struct Convex {
    corners: Vec<[f64; 2]>,
    /// First row and row after the last.
    pub(super) rows: [usize; 2],
}

impl Convex {
    pub(super) fn new(corners: Vec<[f64; 2]>, height: usize) -> Option<Self> {
        let heights = corners.iter().map(|p| p[1]);
        let low = heights.clone().fold(f64::INFINITY, f64::min);
        let high = heights.fold(f64::NEG_INFINITY, f64::max);
        let rows = [first_at(low, height), first_at(high, height)];
        let finite = corners.iter().flatten().all(|v| v.is_finite());
        (finite && rows[0] < rows[1]).then_some(Self { corners, rows })
    }

    /// First column of a row and column after the last.
    pub(super) fn span(&self, row: usize, width: usize) -> [usize; 2] {
        let y = row as f64 + 0.5;
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for (i, a) in self.corners.iter().enumerate() {
            let b = &self.corners[(i + 1) % self.corners.len()];
            if (a[1] <= y) != (b[1] <= y) {
                let x = a[0] + (b[0] - a[0]) * (y - a[1]) / (b[1] - a[1]);
                (low, high) = (low.min(x), high.max(x));
            }
        }
        if low > high { [0, 0] } else { [first_at(low, width), first_at(high, width)] }
    }
}

/// One triangle on the fine grid.
pub(super) struct Triangle {
    idx: usize,
    /// First row and row after the last.
    pub(super) rows: [usize; 2],
    columns: [usize; 2],
    /// Barycentric coordinate i = a x + b y + c.
    plane: [[f64; 3]; 3],
}

impl Triangle {
    pub(super) fn new(idx: usize, p: [[f64; 2]; 3], width: usize, height: usize) -> Option<Self> {
        let twice = (p[1][0] - p[0][0]) * (p[2][1] - p[0][1]) - (p[2][0] - p[0][0]) * (p[1][1] - p[0][1]);
        if !twice.is_finite() || twice.abs() < 1e-12 {
            return None;
        }
        let span = |k: usize| {
            let lo = p[0][k].min(p[1][k]).min(p[2][k]);
            [lo, p[0][k].max(p[1][k]).max(p[2][k])]
        };
        let (x, y) = (span(0), span(1));
        let columns = [first_at(x[0], width), first_at(x[1] + 1.0, width)];
        let rows = [first_at(y[0], height), first_at(y[1] + 1.0, height)];
        if columns[0] >= columns[1] || rows[0] >= rows[1] {
            return None;
        }
        let plane = [0, 1, 2].map(|i| {
            let (q, r) = (p[(i + 1) % 3], p[(i + 2) % 3]);
            let (a, b) = ((q[1] - r[1]) / twice, (r[0] - q[0]) / twice);
            [a, b, (q[0] * r[1] - r[0] * q[1]) / twice]
        });
        Some(Self { idx, rows, columns, plane })
    }

    /// Columns of a row that can lie inside, one to spare at either end.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the panel")]
    fn span(&self, y: f64) -> [usize; 2] {
        let (mut low, mut high) = (self.columns[0] as f64, self.columns[1] as f64);
        for [a, b, c] in self.plane {
            let zero = -(b * y + c) / a;
            if a > 0.0 {
                low = low.max(zero - 1.5);
            } else if a < 0.0 {
                high = high.min(zero + 1.5);
            }
        }
        let last = high.max(0.0) as usize;
        [(low.max(0.0) as usize).min(last), last]
    }

    pub(super) fn paint_row<S>(&self, row: usize, line: &mut [Rgb], shade: &S)
    where
        S: Fn(usize, [f64; 3]) -> Option<Rgb>,
    {
        // A hair of overlap closes the seams between neighbours.
        const HAIR: f64 = -1e-9;
        let y = row as f64 + 0.5;
        let [from, to] = self.span(y);
        // The fine pixels of one page pixel are averaged anyway: the colour at the first of them in a row serves for all.
        let mut known = (usize::MAX, None);
        for (pixel, column) in line[from..to].iter_mut().zip(from..) {
            let x = column as f64 + 0.5;
            let at = self.plane.map(|[a, b, c]| a * x + b * y + c);
            if at.iter().all(|&v| v >= HAIR) {
                if known.0 != column / FINE {
                    known = (column / FINE, shade(self.idx, at));
                }
                if let Some(colour) = known.1 {
                    *pixel = colour;
                }
            }
        }
    }
}
