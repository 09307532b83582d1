//! Twisting stiffness of a section made of stacks side by side: Saint-Venant torsion by the stress function.
//!
//! In: shear modulus over blocks of the section. Out: `GJ`. The stress function `f` solves
//! `div((1/G) grad f) = -2` and vanishes on the outline; `GJ = 2 (integral of f)`. Nine-node elements on the grid of
//! all block edges, finer towards every edge across the width: a wide thin section has `f` quadratic through each
//! layer, which the elements hold exactly, and all else dies out within a thickness of an edge.
//! Absent: restrained warping (see [`super::section`]), holes wholly inside a section.
//!
//! Theory: L. Prandtl, Phys. Z. 4 (1903) 758; S. Timoshenko, J. N. Goodier, Theory of Elasticity, chapter on torsion
//! (from memory).

/// A block of one material in a section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Block {
    /// Right and left edge across, m.
    pub across_m: [f64; 2],
    /// Lower and upper face, m.
    pub z_m: [f64; 2],
    /// Shear modulus, Pa.
    pub shear_pa: f64,
}

/// Widths of the columns next to an edge across, in heights of the section; they double from one to the next.
const FIRST_COLUMN: f64 = 0.12;

/// Heights beyond which the section no longer feels an edge: wider columns are left in one piece.
const FAR: f64 = 3.0;

/// Weights of the three-node line element: mass, stiffness and load of unit length, nodes at 0, 1/2, 1.
const MASS: [[f64; 3]; 3] = [
    [4.0 / 30.0, 2.0 / 30.0, -1.0 / 30.0],
    [2.0 / 30.0, 16.0 / 30.0, 2.0 / 30.0],
    [-1.0 / 30.0, 2.0 / 30.0, 4.0 / 30.0],
];
const STIFF: [[f64; 3]; 3] = [
    [7.0 / 3.0, -8.0 / 3.0, 1.0 / 3.0],
    [-8.0 / 3.0, 16.0 / 3.0, -8.0 / 3.0],
    [1.0 / 3.0, -8.0 / 3.0, 7.0 / 3.0],
];
const LOAD: [f64; 3] = [1.0 / 6.0, 4.0 / 6.0, 1.0 / 6.0];

/// Saint-Venant twisting stiffness `GJ` of a section, N m2.
///
/// Blocks must not overlap. Pieces that do not touch add up. 0 for an empty section.
#[must_use]
pub fn stiffness_nm2(blocks: &[Block]) -> f64 {
    let Some(grid) = Grid::new(blocks) else { return 0.0 };
    grid.solve()
}

/// Lines of the grid and the modulus of every cell.
struct Grid {
    y: Vec<f64>,
    z: Vec<f64>,
    /// Per column, per row; None outside.
    shear: Vec<Vec<Option<f64>>>,
}

impl Grid {
    fn new(blocks: &[Block]) -> Option<Self> {
        let z = lines(blocks.iter().flat_map(|b| b.z_m), 1e-10);
        let edges = lines(blocks.iter().flat_map(|b| b.across_m), 1e-9);
        if z.len() < 2 || edges.len() < 2 {
            return None;
        }
        let height = z[z.len() - 1] - z[0];
        let mut y = vec![edges[0]];
        for pair in edges.windows(2) {
            columns(pair[0], pair[1], height, &mut y);
        }
        let z = rows(&z, height);
        let cell = |y: f64, z: f64| {
            let at = blocks.iter().find(|b| within(y, b.across_m) && within(z, b.z_m));
            at.map(|b| b.shear_pa).filter(|g| *g > 0.0)
        };
        let shear = y
            .windows(2)
            .map(|p| z.windows(2).map(|q| cell(0.5 * (p[0] + p[1]), 0.5 * (q[0] + q[1]))).collect())
            .collect();
        Some(Self { y, z, shear })
    }

    /// Nodes up a column: corners and middles.
    fn high(&self) -> usize {
        2 * self.z.len() - 1
    }

    /// Whether a node lies inside: every cell that touches it is filled.
    fn free(&self, i: usize, j: usize) -> bool {
        let touching = |k: usize, n: usize| {
            let below = if k % 2 == 1 { k / 2 } else { (k / 2).wrapping_sub(1) };
            let above = k / 2;
            (below, above, below < n && above < n)
        };
        let (left, right, across) = touching(i, self.y.len() - 1);
        let (low, top, up) = touching(j, self.z.len() - 1);
        across && up && [left, right].iter().all(|&c| [low, top].iter().all(|&r| self.shear[c][r].is_some()))
    }

    /// Twice the integral of the stress function, by a banded factorisation column after column.
    fn solve(&self) -> f64 {
        let (high, wide) = (self.high(), 2 * self.y.len() - 1);
        let (n, band) = (high * wide, 2 * high + 3);
        let mut a = vec![0.0; n * band];
        let mut load = vec![0.0; n];
        for (c, column) in self.shear.iter().enumerate() {
            for (r, shear) in column.iter().enumerate() {
                let Some(shear) = shear else { continue };
                self.add_cell([c, r], *shear, &mut a, &mut load);
            }
        }
        for i in 0..wide {
            for j in 0..high {
                let row = i * high + j;
                if self.free(i, j) {
                    continue;
                }
                load[row] = 0.0;
                a[row * band..(row + 1) * band].fill(0.0);
                a[row * band] = 1.0;
                for k in 1..band.min(row + 1) {
                    a[(row - k) * band + k] = 0.0;
                }
            }
        }
        // Rows are scaled like the largest stiffness only through G; no pivoting is needed, the matrix is definite.
        2.0 * banded_energy(&mut a, &mut load, band)
    }

    fn add_cell(&self, [c, r]: [usize; 2], shear: f64, a: &mut [f64], load: &mut [f64]) {
        let (dy, dz) = (self.y[c + 1] - self.y[c], self.z[r + 1] - self.z[r]);
        let (high, band) = (self.high(), 2 * self.high() + 3);
        let node = |p: usize, q: usize| (2 * c + p) * high + 2 * r + q;
        for p in 0..3 {
            for q in 0..3 {
                let row = node(p, q);
                load[row] += 2.0 * LOAD[p] * LOAD[q] * dy * dz;
                for s in 0..3 {
                    for t in 0..3 {
                        let col = node(s, t);
                        if col >= row {
                            let along = STIFF[p][s] * MASS[q][t] * dz / dy;
                            let up = MASS[p][s] * STIFF[q][t] * dy / dz;
                            a[row * band + col - row] += (along + up) / shear;
                        }
                    }
                }
            }
        }
    }
}

/// `b' A^-1 b / 2` for a symmetric positive definite band (upper half, row by row); destroys both.
fn banded_energy(a: &mut [f64], b: &mut [f64], band: usize) -> f64 {
    let n = b.len();
    let mut sum = 0.0;
    for row in 0..n {
        let (head, tail) = a[row * band..].split_at_mut(band);
        let pivot = head[0];
        let last = (band - 1).min(n - 1 - row);
        let own = b[row];
        if pivot > 0.0 {
            sum += own * own / pivot;
            for k in 1..=last {
                let factor = head[k] / pivot;
                if factor != 0.0 {
                    let below = &mut tail[(k - 1) * band..];
                    for (x, y) in below.iter_mut().zip(&head[k..=last]) {
                        *x -= factor * y;
                    }
                    b[row + k] -= factor * own;
                }
            }
        }
    }
    0.5 * sum
}

fn within(x: f64, ends: [f64; 2]) -> bool {
    x > ends[0] && x < ends[1]
}

/// Sorted values, those closer than `gap` merged.
fn lines(values: impl Iterator<Item = f64>, gap: f64) -> Vec<f64> {
    let mut all: Vec<f64> = values.collect();
    all.sort_by(f64::total_cmp);
    all.dedup_by(|b, a| *b - *a < gap);
    all
}

/// Rows: every layer once, thick ones parted so that none is more than a quarter of the height.
fn rows(z: &[f64], height: f64) -> Vec<f64> {
    let mut out = vec![z[0]];
    for pair in z.windows(2) {
        let parts = ((pair[1] - pair[0]) / (0.25 * height) - 1e-6).ceil().max(1.0);
        let mut k = 1.0;
        while k <= parts {
            out.push(pair[0] + (pair[1] - pair[0]) * k / parts);
            k += 1.0;
        }
    }
    out
}

/// Columns between two edges, growing from both ends; the first edge is there already.
fn columns(from: f64, to: f64, height: f64, out: &mut Vec<f64>) {
    let half = 0.5 * (to - from);
    let mut steps = Vec::new();
    let (mut done, mut step) = (0.0, FIRST_COLUMN * height);
    while done + 1.5 * step < half && done < FAR * height {
        done += step;
        steps.push(done);
        step *= 1.6;
    }
    out.extend(steps.iter().map(|s| from + s));
    // What is left in the middle: one piece where it is far from both edges, else two.
    if done < FAR * height {
        out.push(from + half);
    }
    out.extend(steps.iter().rev().map(|s| to - s));
    out.push(to);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(width: f64, height: f64) -> Block {
        Block { across_m: [-0.5 * width, 0.5 * width], z_m: [0.0, height], shear_pa: 1.0 }
    }

    /// Torsion constants of rectangles, J / (b t^3): S. Timoshenko, J. N. Goodier, Theory of Elasticity, table in the
    /// chapter on torsion (from memory; recomputed from the series to the digits given).
    #[test]
    fn rectangles_agree_with_the_series() {
        for ratio in [1.0_f64, 1.5, 2.0, 3.0, 5.0, 10.0, 40.0] {
            let series: f64 = (0..60_i32)
                .map(|k| f64::from(2 * k + 1))
                .map(|n| (n * std::f64::consts::FRAC_PI_2 * ratio).tanh() / n.powi(5))
                .sum();
            let exact = (1.0 - 192.0 / std::f64::consts::PI.powi(5) / ratio * series) / 3.0;
            let found = stiffness_nm2(&[bar(ratio * 1e-4, 1e-4)]) / (ratio * 1e-16);
            assert!((found / exact - 1.0).abs() < 1e-3, "b/t {ratio}: {found} against {exact}");
        }
        let square = stiffness_nm2(&[bar(1.0, 1.0)]);
        assert!((square / 0.140_577 - 1.0).abs() < 1e-3, "square {square}");
    }

    /// Two equal bars bonded face to face are one; side by side they are one; apart they add up.
    #[test]
    fn parts_join_and_part() {
        let whole = stiffness_nm2(&[bar(1e-3, 1e-4)]);
        let low = Block { z_m: [0.0, 4e-5], ..bar(1e-3, 1e-4) };
        let top = Block { z_m: [4e-5, 1e-4], ..low };
        let stacked = stiffness_nm2(&[low, top]);
        assert!((stacked / whole - 1.0).abs() < 1e-3, "stacked {stacked} against {whole}");
        let left = Block { across_m: [-5e-4, 1e-4], ..bar(1e-3, 1e-4) };
        let right = Block { across_m: [1e-4, 5e-4], ..left };
        let side = stiffness_nm2(&[left, right]);
        assert!((side / whole - 1.0).abs() < 1e-3, "side by side {side} against {whole}");
        let away = Block { across_m: [2e-3, 2.4e-3], ..left };
        let sum = stiffness_nm2(&[left]) + stiffness_nm2(&[Block { across_m: [0.0, 4e-4], ..left }]);
        let apart = stiffness_nm2(&[left, away]);
        assert!((apart / sum - 1.0).abs() < 1e-3, "apart {apart} against {sum}");
    }

    /// A wide layered strip: `GJ / b` tends to four times the twisting stiffness `D66` about the plane where the
    /// shear force vanishes (classical lamination theory), less an end correction of the order of the thickness.
    #[test]
    fn wide_layered_strip_tends_to_its_plate_stiffness() {
        let layers =
            [(1.5e9, 0.0, 25e-6), (44e9, 25e-6, 43e-6), (0.6e9, 43e-6, 58e-6), (1.5e9, 58e-6, 70.5e-6)];
        let moment = |p: i32| -> f64 {
            layers.iter().map(|&(g, a, b): &(f64, f64, f64)| g * (b.powi(p) - a.powi(p)) / f64::from(p)).sum()
        };
        let d66 = moment(3) - moment(2).powi(2) / moment(1);
        let at = |width: f64| {
            let block =
                |&(g, a, b): &(f64, f64, f64)| Block { across_m: [0.0, width], z_m: [a, b], shear_pa: g };
            stiffness_nm2(&layers.iter().map(block).collect::<Vec<_>>())
        };
        // Ends cancel in the difference of two widths.
        let per_width = (at(4e-3) - at(2e-3)) / 2e-3;
        assert!((per_width / (4.0 * d66) - 1.0).abs() < 1e-4, "{per_width} against {}", 4.0 * d66);
        assert!(at(2e-3) < 4.0 * d66 * 2e-3, "the ends take something off");
    }
}
