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
use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

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
type Three = [Lanes; 3];
type Six = [Lanes; 6];

/// What a product needs.
pub(super) struct Product<'p> {
    pub(super) model: &'p Model,
    pub(super) elements: &'p Elements,
    pub(super) layout: &'p Layout,
    /// None at rest.
    pub(super) tangent: Option<&'p Tangent>,
}

impl Product<'_> {
    /// Stiffness times each block: while a triangle's matrix is at hand it serves all of them.
    pub(super) fn times(&self, blocks: &[&Block]) -> Vec<Block> {
        let nodes: Vec<Vec<Six>> = blocks.iter().map(|x| self.nodes(x)).collect();
        let structure = &self.layout.structure;
        let (first, order) = (structure.first(), structure.order());
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
            pulp::Arch::new().dispatch(
                #[inline(always)]
                || {
                    for (p, &vertex) in (from..end).zip(&order[from..end]) {
                        let start = (first[p] - first[from]) as usize;
                        for (part, nodes) in parts.iter_mut().zip(&nodes) {
                            let own = self.on_vertex(vertex as usize, nodes);
                            for (k, &c) in self.layout.free(vertex as usize).iter().enumerate() {
                                part[start + k] = own[usize::from(c)];
                            }
                        }
                    }
                },
            );
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
    fn nodes(&self, x: &[Lanes]) -> Vec<Six> {
        let structure = &self.layout.structure;
        let mut blocks = vec![[[0.0; BLOCK]; 6]; self.model.freedoms.blocks.len()];
        for (vertex, &block) in self.layout.blocks.iter().enumerate() {
            let first = structure.first()[structure.position()[vertex] as usize] as usize;
            for (k, &component) in self.layout.free(vertex).iter().enumerate() {
                blocks[block as usize][usize::from(component)] = x[first + k];
            }
        }
        let of = |follow: &crate::freedoms::Follow| {
            let own = &blocks[follow.block as usize];
            let Some(g) = &follow.matrix else { return *own };
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

    /// Forces on the unknowns of a vertex.
    #[inline(always)]
    fn on_vertex(&self, vertex: usize, nodes: &[Six]) -> Six {
        let mut sum = [[0.0; BLOCK]; 6];
        for &corner in self.layout.corners_of(self.layout.blocks[vertex] as usize) {
            let (e, a) = (corner as usize / 3, corner as usize % 3);
            let f = match self.tangent {
                None => self.at_rest(e, a, nodes),
                Some(tangent) => self.about(tangent, e, a, nodes),
            };
            let node = self.model.triangles[e][a] as usize;
            match &self.model.freedoms.follow[node].matrix {
                None => {
                    for (sum, f) in sum.iter_mut().zip(&f) {
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
        sum
    }

    /// Motion of the second and third corner against the rigid motion of the first.
    #[inline(always)]
    fn against_first(&self, e: usize, nodes: &[Six], place: impl Fn(usize) -> Vector3<f64>) -> [Six; 2] {
        let [base, second, third] = self.model.triangles[e].map(|n| n as usize);
        let origin = place(base);
        let from = &nodes[base];
        [second, third].map(|node| {
            let arm = place(node) - origin;
            let to = &nodes[node];
            let mut d = [[0.0; BLOCK]; 6];
            for i in 0..3 {
                // Spin times arm, component i.
                let (j, k) = ((i + 1) % 3, (i + 2) % 3);
                for l in 0..BLOCK {
                    let turned = from[3 + j][l] * arm[k] - from[3 + k][l] * arm[j];
                    d[i][l] = (to[i][l] - from[i][l]) - turned;
                    d[3 + i][l] = to[3 + i][l] - from[3 + i][l];
                }
            }
            d
        })
    }

    #[inline(always)]
    fn at_rest(&self, e: usize, a: usize, nodes: &[Six]) -> Six {
        let place = |node: usize| Vector3::from(self.model.nodes_m[node]);
        let local = &self.elements.local[e];
        let packed = &self.elements.stiffness[PACKED * e..PACKED * (e + 1)];
        let d = self.against_first(e, nodes, place);
        if local.is_global() {
            return rows(packed, a, &d);
        }
        let d = d.map(|d| turned(&d, &local.triad));
        turned(&rows(packed, a, &d), &local.triad.transpose())
    }

    #[inline(always)]
    fn about(&self, tangent: &Tangent, e: usize, a: usize, nodes: &[Six]) -> Six {
        let d = self.against_first(e, nodes, |node| tangent.positions_m[node]);
        let mut f = rows(&tangent.packed[PACKED * e..PACKED * (e + 1)], a, &d);
        let spin = &nodes[self.model.triangles[e][0] as usize];
        let own = &tangent.corners[e];
        for i in 0..3 {
            let (j, k) = ((i + 1) % 3, (i + 2) % 3);
            for l in 0..BLOCK {
                f[i][l] += spin[3 + j][l] * own[6 * a + k] - spin[3 + k][l] * own[6 * a + j];
                // The symmetric part leaves half of what turns the moments.
                f[3 + i][l] +=
                    0.5 * (spin[3 + j][l] * own[6 * a + 3 + k] - spin[3 + k][l] * own[6 * a + 3 + j]);
            }
        }
        f
    }
}

/// Rows of corner `a` times the motion of the second and third corner.
#[inline(always)]
fn rows(packed: &[f64], a: usize, d: &[Six; 2]) -> Six {
    let mut f = [[0.0; BLOCK]; 6];
    for (i, f) in (6 * a..).zip(f.iter_mut()) {
        for (j, d) in (6..).zip(d.iter().flatten()) {
            add(f, packed[packed_row(i.min(j)) + i.max(j)], d);
        }
    }
    f
}

/// Displacements and spins in other axes.
#[inline(always)]
fn turned(v: &Six, rotation: &Matrix3<f64>) -> Six {
    let part = |first: usize| -> Three {
        std::array::from_fn(|i| {
            let mut out = [0.0; BLOCK];
            for j in 0..3 {
                add(&mut out, rotation[(i, j)], &v[first + j]);
            }
            out
        })
    };
    let [[a, b, c], [d, e, f]] = [part(0), part(3)];
    [a, b, c, d, e, f]
}

#[inline(always)]
fn add(sum: &mut Lanes, factor: f64, x: &Lanes) {
    for (s, x) in sum.iter_mut().zip(x) {
        *s += factor * x;
    }
}
