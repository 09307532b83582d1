//! Symmetric systems whose blocks of six couple like a tree: solved from the leaves to the roots, without fill.
//!
//! In: parent of every node, diagonal blocks, blocks between node and parent. Out: solutions, and the number of
//! negative pivots (of negative eigenvalues, by Sylvester's law). Held components leave the equations.

use nalgebra::{Matrix6, Vector6};

/// Order and links of a forest.
#[derive(Debug, Clone, Default)]
pub struct Tree {
    /// Parent of each node.
    pub parent: Vec<Option<usize>>,
    /// Children before parents.
    order: Vec<usize>,
}

/// A symmetric matrix on a tree.
#[derive(Debug, Clone, Default)]
pub struct TreeMatrix {
    /// Diagonal blocks.
    pub diagonal: Vec<Matrix6<f64>>,
    /// Block in the rows of a node and the columns of its parent.
    pub to_parent: Vec<Matrix6<f64>>,
}

/// A factored matrix.
#[derive(Debug, Clone)]
pub struct TreeFactor {
    lower: Vec<Matrix6<f64>>,
    pivots: Vec<Vector6<f64>>,
    to_parent: Vec<Matrix6<f64>>,
    /// Negative pivots.
    pub negative: usize,
}

impl Tree {
    /// From links between nodes; None where links close a ring.
    #[must_use]
    pub fn new(n: usize, links: &[[usize; 2]]) -> Option<Self> {
        let mut near: Vec<Vec<usize>> = vec![Vec::new(); n];
        for &[a, b] in links {
            near[a].push(b);
            near[b].push(a);
        }
        let mut parent: Vec<Option<usize>> = vec![None; n];
        let mut seen = vec![false; n];
        let mut order = Vec::with_capacity(n);
        // The last node of each part is its root: there the arms meet.
        for root in (0..n).rev() {
            if seen[root] {
                continue;
            }
            seen[root] = true;
            let mut stack = vec![root];
            while let Some(node) = stack.pop() {
                order.push(node);
                for &next in &near[node] {
                    if !seen[next] {
                        seen[next] = true;
                        parent[next] = Some(node);
                        stack.push(next);
                    }
                }
            }
        }
        let edges = parent.iter().flatten().count();
        order.reverse();
        (edges == links.len()).then_some(Self { parent, order })
    }

    /// A matrix of zeros.
    #[must_use]
    pub fn zeros(&self) -> TreeMatrix {
        let n = self.parent.len();
        TreeMatrix { diagonal: vec![Matrix6::zeros(); n], to_parent: vec![Matrix6::zeros(); n] }
    }

    /// Adds a block to rows of `a` and columns of `b`, linked or equal nodes; the mirror block is implied.
    pub fn add(&self, m: &mut TreeMatrix, a: usize, b: usize, block: &Matrix6<f64>) {
        if a == b {
            m.diagonal[a] += block;
        } else if self.parent[a] == Some(b) {
            m.to_parent[a] += block;
        }
    }

    /// Takes held components out: unit diagonal, nothing beside it.
    pub fn hold(&self, m: &mut TreeMatrix, held: &[[bool; 6]]) {
        for (node, own) in held.iter().enumerate() {
            for c in (0..6).filter(|&c| own[c]) {
                m.diagonal[node].row_mut(c).fill(0.0);
                m.diagonal[node].column_mut(c).fill(0.0);
                m.diagonal[node][(c, c)] = 1.0;
                m.to_parent[node].row_mut(c).fill(0.0);
            }
            if let Some(up) = self.parent[node] {
                for c in (0..6).filter(|&c| held[up][c]) {
                    m.to_parent[node].column_mut(c).fill(0.0);
                }
            }
        }
    }

    /// Factors a matrix; Err with the node whose pivot vanished.
    ///
    /// # Errors
    /// A pivot is zero or not a number.
    pub fn factor(&self, m: &TreeMatrix) -> Result<TreeFactor, usize> {
        let mut diagonal = m.diagonal.clone();
        let n = diagonal.len();
        let mut out = TreeFactor {
            lower: vec![Matrix6::identity(); n],
            pivots: vec![Vector6::zeros(); n],
            to_parent: m.to_parent.clone(),
            negative: 0,
        };
        for &node in &self.order {
            let (lower, pivots) = ldl(&diagonal[node]).ok_or(node)?;
            out.negative += pivots.iter().filter(|p| **p < 0.0).count();
            if let Some(up) = self.parent[node] {
                // W = L^-1 O; D_parent -= W' P^-1 W.
                let mut w = m.to_parent[node];
                forward(&lower, &mut w);
                let mut scaled = w;
                for r in 0..6 {
                    let factor = 1.0 / pivots[r];
                    scaled.row_mut(r).scale_mut(factor);
                }
                diagonal[up] -= w.tr_mul(&scaled);
                out.to_parent[node] = w;
            }
            out.lower[node] = lower;
            out.pivots[node] = pivots;
        }
        Ok(out)
    }

    /// Solves in place.
    pub fn solve(&self, f: &TreeFactor, x: &mut [Vector6<f64>]) {
        for &node in &self.order {
            let mut own = x[node];
            forward_one(&f.lower[node], &mut own);
            let scaled = own.component_div(&f.pivots[node]);
            if let Some(up) = self.parent[node] {
                let less = f.to_parent[node].tr_mul(&scaled);
                x[up] -= less;
            }
            x[node] = scaled;
        }
        for &node in self.order.iter().rev() {
            let mut own = x[node];
            if let Some(up) = self.parent[node] {
                own -= (f.to_parent[node] * x[up]).component_div(&f.pivots[node]);
            }
            backward_one(&f.lower[node], &mut own);
            x[node] = own;
        }
    }

    /// Product with a matrix.
    #[must_use]
    pub fn times(&self, m: &TreeMatrix, x: &[Vector6<f64>]) -> Vec<Vector6<f64>> {
        let mut out: Vec<Vector6<f64>> = m.diagonal.iter().zip(x).map(|(d, x)| d * x).collect();
        for (node, up) in self.parent.iter().enumerate() {
            if let Some(up) = *up {
                out[node] += m.to_parent[node] * x[up];
                let mirror = m.to_parent[node].tr_mul(&x[node]);
                out[up] += mirror;
            }
        }
        out
    }
}

/// `L P L'` of one block.
fn ldl(a: &Matrix6<f64>) -> Option<(Matrix6<f64>, Vector6<f64>)> {
    let mut l = Matrix6::identity();
    let mut p = Vector6::zeros();
    for j in 0..6 {
        let mut pivot = a[(j, j)];
        for k in 0..j {
            pivot -= l[(j, k)] * l[(j, k)] * p[k];
        }
        if !pivot.is_finite() || pivot.abs() <= 1e-14 * a[(j, j)].abs() {
            return None;
        }
        p[j] = pivot;
        for i in j + 1..6 {
            let mut v = a[(i, j)];
            for k in 0..j {
                v -= l[(i, k)] * l[(j, k)] * p[k];
            }
            l[(i, j)] = v / pivot;
        }
    }
    Some((l, p))
}

fn forward(l: &Matrix6<f64>, m: &mut Matrix6<f64>) {
    for i in 1..6 {
        for k in 0..i {
            for c in 0..6 {
                m[(i, c)] -= l[(i, k)] * m[(k, c)];
            }
        }
    }
}

fn forward_one(l: &Matrix6<f64>, x: &mut Vector6<f64>) {
    for i in 1..6 {
        for k in 0..i {
            x[i] -= l[(i, k)] * x[k];
        }
    }
}

fn backward_one(l: &Matrix6<f64>, x: &mut Vector6<f64>) {
    for i in (0..5).rev() {
        for k in i + 1..6 {
            x[i] -= l[(k, i)] * x[k];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn star_of_chains_is_solved_and_its_signs_counted() {
        // Two chains 0-1-4, 2-3-4.
        let links = [[0, 1], [1, 4], [2, 3], [3, 4]];
        let tree = Tree::new(5, &links).expect("no ring");
        let mut m = tree.zeros();
        let mut seed = 7_u64;
        let mut draw = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 33) as f64 / f64::from(1_u32 << 31) - 0.5
        };
        for d in &mut m.diagonal {
            let r = Matrix6::from_fn(|_, _| draw());
            *d = r * r.transpose() + Matrix6::identity() * 6.0;
        }
        for [a, b] in links {
            let block = Matrix6::from_fn(|_, _| draw());
            let (a, b) = if tree.parent[a] == Some(b) { (a, b) } else { (b, a) };
            tree.add(&mut m, a, b, &block);
        }
        m.diagonal[2][(3, 3)] -= 40.0;
        let mut held = vec![[false; 6]; 5];
        held[0] = [true; 6];
        held[3][2] = true;
        tree.hold(&mut m, &held);
        let x: Vec<Vector6<f64>> = (0..5).map(|_| Vector6::from_fn(|_, _| draw())).collect();
        let mut b = tree.times(&m, &x);
        let f = tree.factor(&m).expect("regular");
        assert_eq!(f.negative, 1, "one direction was made negative");
        tree.solve(&f, &mut b);
        for (a, b) in x.iter().zip(&b) {
            assert!((a - b).norm() < 1e-12, "{a} {b}");
        }
        assert!(Tree::new(3, &[[0, 1], [1, 2], [2, 0]]).is_none(), "a ring is no tree");
    }
}
