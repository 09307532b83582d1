//! Stiffness times eight small motions at once, triangle by triangle with the rigid motion taken out.
//!
//! A rigid turn of a triangle only turns its forces, so its product is known without the matrix; what is left is small
//! and its product keeps its digits, which those with assembled entries do not. At rest by the element stiffness, about
//! an equilibrium by the symmetrised tangents; loads that follow and the arms of rigid pieces come as a sparse matrix.
//! Every unknown sums over its own triangles, so bits do not depend on the threads.

use super::rows::SymmetricRows;
use crate::assemble::{Elements, Layout, PACKED, packed_row};
use crate::element::Vector18;
use crate::linear::{BLOCK, Block};
use crate::model::Model;
use crate::vectors::widest;
use nalgebra::{Matrix3, Matrix6, Vector3};
use rayon::prelude::*;
use std::ops::Range;

/// Nodes that a thread takes at a time.
const STRETCH: usize = 256;

/// The tangent of one state.
#[derive(Debug)]
pub(super) struct Tangent {
    /// Symmetrised tangents of all triangles, packed, global axes.
    pub(super) packed: Vec<f64>,
    /// Forces of every triangle on its corners, global axes.
    pub(super) corners: Vec<Vector18>,
    /// Where every node is.
    pub(super) positions_m: Vec<Vector3<f64>>,
    /// Everything that is not of a triangle.
    pub(super) rest: SymmetricRows,
}

/// Eight values side by side, and a vector of them.
type Lanes = [f64; BLOCK];
type Six = [Lanes; 6];

/// Forces on three corners.
type Forces = [Lanes; 18];

/// What a product needs.
pub(super) struct Product<'p> {
    pub(super) model: &'p Model,
    pub(super) elements: &'p Elements,
    pub(super) layout: &'p Layout,
    /// None at rest.
    pub(super) tangent: Option<&'p Tangent>,
}

/// Where no unknowns of a block are.
const NOWHERE: u32 = u32::MAX;

/// Rows of a triangle's matrix in the columns of the second and third corner.
type Rows = [[f64; 12]; 18];

impl Product<'_> {
    /// Stiffness times each block: while a triangle's matrix is at hand it serves all of them.
    pub(super) fn times(&self, blocks: &[&Block]) -> Vec<Block> {
        let structure = &self.layout.structure;
        let (first, order, position) = (structure.first(), structure.order(), structure.position());
        let mut spots = vec![NOWHERE; self.model.freedoms.blocks.len()];
        for (vertex, &block) in self.layout.blocks.iter().enumerate() {
            spots[block as usize] = position[vertex];
        }
        let nodes: Vec<Vec<Six>> = blocks.iter().map(|x| self.nodes(x, &spots)).collect();
        let mut out: Vec<Block> = blocks.iter().map(|x| vec![[0.0; BLOCK]; x.len()]).collect();
        let ends: Vec<usize> =
            (0..order.len()).step_by(STRETCH).map(|from| order.len().min(from + STRETCH)).collect();
        // The parts of a stretch of every block.
        let mut parts: Vec<Vec<&mut [Lanes]>> =
            ends.iter().map(|_| Vec::with_capacity(blocks.len())).collect();
        for out in &mut out {
            let mut rest = out.as_mut_slice();
            for (own, &end) in parts.iter_mut().zip(&ends) {
                let from = (end - 1) / STRETCH * STRETCH;
                let (part, tail) = rest.split_at_mut((first[end] - first[from]) as usize);
                own.push(part);
                rest = tail;
            }
        }
        parts.into_par_iter().zip(&ends).enumerate().for_each(|(chunk, (mut parts, &end))| {
            let from = chunk * STRETCH;
            let mut sums = vec![[[0.0; BLOCK]; 6]; STRETCH * nodes.len()];
            widest(
                #[inline(always)]
                || self.on_stretch(from..end, &spots, &nodes, &mut sums),
            );
            for (part, sums) in parts.iter_mut().zip(sums.chunks_exact(STRETCH)) {
                for ((p, &vertex), own) in (from..end).zip(&order[from..end]).zip(sums) {
                    let start = (first[p] - first[from]) as usize;
                    for (k, &c) in self.layout.free(vertex as usize).iter().enumerate() {
                        part[start + k] = own[usize::from(c)];
                    }
                }
            }
        });
        if let Some(tangent) = self.tangent {
            for (out, x) in out.iter_mut().zip(blocks) {
                out.par_iter_mut().zip(tangent.rest.times(x)).for_each(|(sum, row)| {
                    sum.iter_mut().zip(row).for_each(|(s, r)| *s += r);
                });
            }
        }
        out
    }

    /// Displacement and spin of every node, global axes.
    fn nodes(&self, x: &[Lanes], spots: &[u32]) -> Vec<Six> {
        let structure = &self.layout.structure;
        let of = |follow: &crate::freedoms::Follow| {
            let mut own = [[0.0; BLOCK]; 6];
            let spot = spots[follow.block as usize];
            if spot == NOWHERE {
                return own;
            }
            let start = structure.first()[spot as usize] as usize;
            let vertex = structure.order()[spot as usize] as usize;
            for (k, &component) in self.layout.free(vertex).iter().enumerate() {
                own[usize::from(component)] = x[start + k];
            }
            let Some(g) = &follow.matrix else { return own };
            let mut out = [[0.0; BLOCK]; 6];
            for (i, out) in out.iter_mut().enumerate() {
                for (j, own) in own.iter().enumerate() {
                    add(out, g[(i, j)], own);
                }
            }
            out
        };
        self.model.freedoms.follow.par_iter().with_min_len(STRETCH).map(of).collect()
    }

    /// Forces on the unknowns of the vertices in a stretch of the order, vector by vector: every triangle that touches
    /// the stretch is taken once, at the first of its corners there.
    #[inline(always)]
    fn on_stretch(&self, stretch: Range<usize>, spots: &[u32], nodes: &[Vec<Six>], sums: &mut [Six]) {
        let structure = &self.layout.structure;
        let follow = &self.model.freedoms.follow;
        for p in stretch.clone() {
            let block = self.layout.blocks[structure.order()[p] as usize] as usize;
            for &corner in self.layout.corners_of(block) {
                let (e, a) = (corner as usize / 3, corner as usize % 3);
                let follows = self.model.triangles[e].map(|n| &follow[n as usize]);
                let places = follows.map(|f| spots[f.block as usize] as usize);
                let inside = |c: usize| stretch.contains(&places[c]);
                if (0..3).any(|c| inside(c) && (places[c], c) < (p, a)) {
                    continue;
                }
                let rows = self.rows(e);
                for (nodes, sums) in nodes.iter().zip(sums.chunks_exact_mut(STRETCH)) {
                    let f = match self.tangent {
                        None => self.at_rest(e, &rows, nodes),
                        Some(tangent) => self.about(tangent, e, &rows, nodes),
                    };
                    for c in (0..3).filter(|&c| inside(c)) {
                        let sum = &mut sums[places[c] - stretch.start];
                        gather(sum, &f[6 * c..6 * c + 6], follows[c].matrix.as_deref());
                    }
                }
            }
        }
    }

    /// A triangle's matrix in the columns of the second and third corner.
    fn rows(&self, e: usize) -> Rows {
        let all = self.tangent.map_or(&self.elements.stiffness, |tangent| &tangent.packed);
        let packed = &all[PACKED * e..PACKED * (e + 1)];
        std::array::from_fn(|i| std::array::from_fn(|j| packed[packed_row(i.min(6 + j)) + i.max(6 + j)]))
    }

    /// Motion of the second and third corner against the rigid motion of the first.
    #[inline(always)]
    fn against_first(&self, e: usize, nodes: &[Six], place: impl Fn(usize) -> Vector3<f64>) -> [Lanes; 12] {
        let [base, second, third] = self.model.triangles[e].map(|n| n as usize);
        let origin = place(base);
        let from = &nodes[base];
        let mut d = [[0.0; BLOCK]; 12];
        for (node, d) in [second, third].into_iter().zip(d.chunks_exact_mut(6)) {
            let arm = place(node) - origin;
            let to = &nodes[node];
            for i in 0..3 {
                // Spin times arm, component i.
                let (j, k) = ((i + 1) % 3, (i + 2) % 3);
                for l in 0..BLOCK {
                    let turned = from[3 + j][l] * arm[k] - from[3 + k][l] * arm[j];
                    d[i][l] = (to[i][l] - from[i][l]) - turned;
                    d[3 + i][l] = to[3 + i][l] - from[3 + i][l];
                }
            }
        }
        d
    }

    #[inline(always)]
    fn at_rest(&self, e: usize, rows: &Rows, nodes: &[Six]) -> Forces {
        let place = |node: usize| Vector3::from(self.model.nodes_m[node]);
        let local = &self.elements.local[e];
        let d = self.against_first(e, nodes, place);
        if local.is_global() {
            return times(rows, &d);
        }
        turned(&times(rows, &turned(&d, &local.triad)), &local.triad.transpose())
    }

    #[inline(always)]
    fn about(&self, tangent: &Tangent, e: usize, rows: &Rows, nodes: &[Six]) -> Forces {
        let d = self.against_first(e, nodes, |node| tangent.positions_m[node]);
        let mut f = times(rows, &d);
        let spin = &nodes[self.model.triangles[e][0] as usize];
        let own = &tangent.corners[e];
        for a in 0..3 {
            for i in 0..3 {
                let (j, k) = ((i + 1) % 3, (i + 2) % 3);
                for l in 0..BLOCK {
                    f[6 * a + i][l] += spin[3 + j][l] * own[6 * a + k] - spin[3 + k][l] * own[6 * a + j];
                    // The symmetric part leaves half of what turns the moments.
                    f[6 * a + 3 + i][l] +=
                        0.5 * (spin[3 + j][l] * own[6 * a + 3 + k] - spin[3 + k][l] * own[6 * a + 3 + j]);
                }
            }
        }
        f
    }
}

/// The rows times the motion of the second and third corner.
#[inline(always)]
fn times(rows: &Rows, d: &[Lanes; 12]) -> Forces {
    let mut f = [[0.0; BLOCK]; 18];
    for (row, f) in rows.iter().zip(&mut f) {
        let mut sum = [0.0; BLOCK];
        for j in 0..12 {
            for l in 0..BLOCK {
                sum[l] += row[j] * d[j][l];
            }
        }
        *f = sum;
    }
    f
}

/// Adds forces on a node to those on the block it follows.
#[inline(always)]
fn gather(sum: &mut Six, f: &[Lanes], follow: Option<&Matrix6<f64>>) {
    match follow {
        None => {
            for (sum, f) in sum.iter_mut().zip(f) {
                add(sum, 1.0, f);
            }
        }
        Some(g) => {
            for (i, sum) in sum.iter_mut().enumerate() {
                for (j, f) in f.iter().enumerate() {
                    add(sum, g[(j, i)], f);
                }
            }
        }
    }
}

/// Vectors of three in other axes.
#[inline(always)]
fn turned<const N: usize>(v: &[Lanes; N], rotation: &Matrix3<f64>) -> [Lanes; N] {
    let mut out = [[0.0; BLOCK]; N];
    for (n, out) in out.iter_mut().enumerate() {
        let first = n / 3 * 3;
        for j in 0..3 {
            add(out, rotation[(n % 3, j)], &v[first + j]);
        }
    }
    out
}

#[inline(always)]
fn add(sum: &mut Lanes, factor: f64, x: &Lanes) {
    for (s, x) in sum.iter_mut().zip(x) {
        *s += factor * x;
    }
}
