//! Internal forces element by element, from displacements held as pairs of doubles.
//!
//! Each element sees its nodes' motion less the rigid motion of its first node, formed in pairs and rounded
//! once. So neither the rounding of large displacements nor that of assembled entries reaches the residual.

use super::pair::{Pair6, fused_product, relative};
use crate::assemble::{Elements, Layout, PACKED, packed_row};
use crate::element::{self, Vector18};
use crate::model::{LoadCase, Model};
use crate::vectors::widest;
use nalgebra::{Vector3, Vector6};
use rayon::prelude::*;

/// Triangles a thread takes at a time; fixed, so that partial sums are.
const CHUNK: usize = 512;

/// Displacements of one load case as pairs, by block and by node.
#[derive(Debug, Clone)]
pub(super) struct State {
    pub(super) blocks: Vec<Pair6>,
    pub(super) nodes: Vec<Pair6>,
    /// Every node at exactly zero: no triangle need be multiplied.
    pub(super) still: bool,
}

/// One load case whose internal forces are wanted.
#[derive(Debug)]
pub(super) struct Wanted<'a> {
    pub(super) state: &'a State,
    pub(super) case: &'a LoadCase,
    /// Filled; its memory is used again.
    pub(super) forces: &'a mut Forces,
}

/// Internal forces on the corners of every triangle (global axes, thermal part included), and energies.
#[derive(Debug, Default)]
pub(super) struct Forces {
    /// Six entries per corner.
    corners: Vec<[f64; 18]>,
    /// `d' K d`, J.
    pub(super) quadratic: f64,
    /// `d' f` with the thermal loads f, J.
    pub(super) thermal: f64,
}

impl State {
    /// Everything free at zero, held unknowns at `factor` times their values.
    pub(super) fn at_supports(model: &Model, factor: f64) -> Self {
        let mut blocks = vec![Pair6::default(); model.freedoms.blocks.len()];
        for (state, block) in blocks.iter_mut().zip(&model.freedoms.blocks) {
            for c in (0..6).filter(|&c| block.held[c]) {
                state.leading[c] = factor * block.value[c];
            }
        }
        let still = blocks.iter().all(|block| block.leading.amax() == 0.0);
        let mut state = Self { blocks, nodes: Vec::new(), still };
        state.update(model);
        state
    }

    /// Recomputes the nodes from the blocks.
    pub(super) fn update(&mut self, model: &Model) {
        let blocks = &self.blocks;
        let of = |follow: &crate::freedoms::Follow| {
            let block = &blocks[follow.block as usize];
            follow.matrix.as_ref().map_or(*block, |g| block.moved(g))
        };
        self.nodes = model.freedoms.follow.par_iter().with_min_len(CHUNK).map(of).collect();
    }
}

/// Motion of a triangle's corners in its own axes, less the rigid motion of its first corner.
///
/// `product`: as in [`relative`].
#[inline(always)]
pub(super) fn strained(
    model: &Model,
    local: &element::Local,
    triangle: usize,
    corners: [&Pair6; 3],
    product: impl Fn(f64, f64) -> (f64, f64),
) -> Vector18 {
    let ids = model.triangles[triangle];
    let origin = model.nodes_m[ids[0] as usize];
    let mut d = Vector18::zeros();
    for a in 1..3 {
        let p = model.nodes_m[ids[a] as usize];
        let arm = [p[0] - origin[0], p[1] - origin[1], p[2] - origin[2]];
        let motion = relative(corners[a], corners[0], &arm, &product);
        for (i, value) in motion.iter().enumerate() {
            d[6 * a + i] = *value;
        }
    }
    if local.is_global() { d } else { local.vector_to_local(&d) }
}

/// Columns 6 to 17 of an element matrix, whole: the first corner never moves against itself.
type Columns = [[f64; 18]; 12];

/// Unpacks the upper triangle, so that one matrix serves several load cases.
#[inline(always)]
fn unpack(packed: &[f64], columns: &mut Columns) {
    for i in 0..18 {
        let row = &packed[packed_row(i) + i..packed_row(i) + 18];
        for (j, &k) in (i..18).zip(row).skip(6usize.saturating_sub(i)) {
            columns[j - 6][i] = k;
            if i >= 6 {
                columns[i - 6][j] = k;
            }
        }
    }
}

/// `K d`; the first six entries of d are zero.
#[inline(always)]
fn product(columns: &Columns, d: &Vector18) -> Vector18 {
    let mut f = [0.0; 18];
    for (column, &own) in columns.iter().zip(&d.as_slice()[6..]) {
        for (sum, k) in f.iter_mut().zip(column) {
            *sum += k * own;
        }
    }
    Vector18::from(f)
}

/// What a residual needs.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Balance<'a> {
    pub(crate) model: &'a Model,
    pub(crate) elements: &'a Elements,
    pub(crate) layout: &'a Layout,
}

impl Balance<'_> {
    /// Load less internal force with every free unknown at zero, in elimination order.
    pub(crate) fn at_rest(&self, case: &LoadCase) -> Vec<f64> {
        let state = State::at_supports(self.model, case.prescribed_factor);
        let mut residual = vec![0.0; self.layout.structure.n_unknowns()];
        self.residual(&self.block_loads(case), &self.forces(&state, case), &mut residual);
        residual
    }

    /// Internal forces of one state.
    pub(super) fn forces(&self, state: &State, case: &LoadCase) -> Forces {
        let mut forces = Forces::default();
        self.fill(&mut [Wanted { state, case, forces: &mut forces }]);
        forces
    }

    /// Internal forces of several states at once: every element matrix is read once for all of them.
    pub(super) fn fill(&self, wanted: &mut [Wanted<'_>]) {
        let n = self.model.triangles.len();
        let cases: Vec<(&State, &LoadCase)> = wanted.iter().map(|w| (w.state, w.case)).collect();
        let mut chunks: Vec<Vec<&mut [[f64; 18]]>> = (0..n.div_ceil(CHUNK)).map(|_| Vec::new()).collect();
        for w in wanted.iter_mut() {
            if w.forces.corners.len() != n {
                // Zeros that the machine hands out untouched: the threads below pay for the pages they fill.
                w.forces.corners = vec![[0.0; 18]; n];
            }
            for (chunk, part) in chunks.iter_mut().zip(w.forces.corners.chunks_mut(CHUNK)) {
                chunk.push(part);
            }
        }
        let parts: Vec<Vec<[f64; 2]>> = chunks
            .into_par_iter()
            .enumerate()
            .map(|(chunk, mut outs)| self.chunk_forces(CHUNK * chunk, &cases, &mut outs))
            .collect();
        for (k, w) in wanted.iter_mut().enumerate() {
            let sum = |i: usize| parts.iter().map(|p| p[k][i]).sum();
            (w.forces.quadratic, w.forces.thermal) = (sum(0), sum(1));
        }
    }

    /// Forces of the triangles from `first` on, for every case; energies of each case.
    fn chunk_forces(
        &self,
        first: usize,
        cases: &[(&State, &LoadCase)],
        outs: &mut [&mut [[f64; 18]]],
    ) -> Vec<[f64; 2]> {
        let mut sums = vec![[0.0; 2]; cases.len()];
        let len = outs.first().map_or(0, |out| out.len());
        let still = cases.iter().all(|(state, _)| state.still);
        let mut columns: Columns = [[0.0; 18]; 12];
        widest(
            #[inline(always)]
            || {
                for k in 0..len {
                    let e = first + k;
                    if self.elements.rigid[e] {
                        outs.iter_mut().for_each(|out| out[k] = [0.0; 18]);
                        continue;
                    }
                    if !still {
                        unpack(&self.elements.stiffness[PACKED * e..PACKED * (e + 1)], &mut columns);
                    }
                    for (((state, case), out), sum) in cases.iter().zip(outs.iter_mut()).zip(&mut sums) {
                        let [quadratic, thermal] =
                            self.triangle_forces(e, &columns, (state, case), &mut out[k]);
                        sum[0] += quadratic;
                        sum[1] += thermal;
                    }
                }
            },
        );
        sums
    }

    #[inline(always)]
    fn triangle_forces(
        &self,
        e: usize,
        columns: &Columns,
        (state, case): (&State, &LoadCase),
        out: &mut [f64; 18],
    ) -> [f64; 2] {
        let local = &self.elements.local[e];
        let (mut d, mut f) = (Vector18::zeros(), Vector18::zeros());
        if !state.still {
            let corners = self.model.triangles[e].map(|node| &state.nodes[node as usize]);
            d = strained(self.model, local, e, corners, fused_product);
            f = product(columns, &d);
        }
        let quadratic = d.dot(&f);
        let mut thermal = 0.0;
        let laminate = &self.model.laminates[self.model.laminate_of[e] as usize];
        if case.thermal_factor != 0.0 && (laminate.thermal_n.amax() > 0.0 || laminate.thermal_m.amax() > 0.0)
        {
            let load = element::shell::thermal(&local.corners, laminate) * case.thermal_factor;
            thermal = d.dot(&load);
            f -= load;
        }
        let f = if local.is_global() { f } else { local.vector_to_global(&f) };
        out.copy_from_slice(f.as_slice());
        [quadratic, thermal]
    }

    /// Load less internal force in the unknowns of one block, in fixed order.
    pub(super) fn imbalance(&self, block: usize, loads: &[Vector6<f64>], forces: &Forces) -> Vector6<f64> {
        let mut sum = Vector6::zeros();
        for &corner in self.layout.corners_of(block) {
            let (triangle, a) = (corner as usize / 3, corner as usize % 3);
            let f = Vector6::from_column_slice(&forces.corners[triangle][6 * a..6 * a + 6]);
            let node = self.model.triangles[triangle][a] as usize;
            match &self.model.freedoms.follow[node].matrix {
                None => sum += f,
                Some(g) => sum += g.tr_mul(&f),
            }
        }
        loads[block] - sum
    }

    /// Nodal loads of a case in block unknowns.
    pub(super) fn block_loads(&self, case: &LoadCase) -> Vec<Vector6<f64>> {
        self.model.freedoms.gathered(&case.nodal)
    }

    /// Residual over the free unknowns, in elimination order.
    pub(super) fn residual(&self, loads: &[Vector6<f64>], forces: &Forces, out: &mut [f64]) {
        let (structure, blocks) = (&self.layout.structure, &self.layout.blocks);
        let first = structure.first();
        let n = structure.order().len();
        let mut parts: Vec<&mut [f64]> = Vec::with_capacity(n.div_ceil(CHUNK));
        let mut rest = out;
        for from in (0..n).step_by(CHUNK) {
            let (part, tail) = rest.split_at_mut((first[n.min(from + CHUNK)] - first[from]) as usize);
            parts.push(part);
            rest = tail;
        }
        parts.into_par_iter().enumerate().for_each(|(chunk, part)| {
            let from = CHUNK * chunk;
            for (p, &vertex) in (from..).zip(&structure.order()[from..n.min(from + CHUNK)]) {
                let own = self.imbalance(blocks[vertex as usize] as usize, loads, forces);
                let start = (first[p] - first[from]) as usize;
                for (k, &c) in self.layout.free(vertex as usize).iter().enumerate() {
                    part[start + k] = own[usize::from(c)];
                }
            }
        });
    }

    /// Adds a correction to a state; returns its squared displacement norm.
    ///
    /// `lever`: rotations count at this distance, m.
    pub(super) fn correct(&self, state: &mut State, correction: &[f64], lever: f64) -> f64 {
        let structure = &self.layout.structure;
        let mut increments = vec![Vector6::<f64>::zeros(); state.blocks.len()];
        for (p, &vertex) in structure.order().iter().enumerate() {
            let first = structure.first()[p] as usize;
            let block = self.layout.blocks[vertex as usize] as usize;
            for (k, &c) in self.layout.free(vertex as usize).iter().enumerate() {
                increments[block][usize::from(c)] = correction[first + k];
            }
        }
        let pairs = state.blocks.par_iter_mut().with_min_len(CHUNK).zip(&increments);
        pairs.zip(&self.model.freedoms.blocks).for_each(|((own, more), block)| {
            for c in (0..6).filter(|&c| !block.held[c]) {
                own.add(c, more[c]);
            }
        });
        state.still = false;
        state.update(self.model);
        let of = |follow: &crate::freedoms::Follow| {
            let q = &increments[follow.block as usize];
            let motion = follow.matrix.as_ref().map_or(*q, |g| g.as_ref() * q);
            squared(&motion, lever)
        };
        self.model.freedoms.follow.iter().map(of).sum()
    }
}

impl State {
    /// Squared displacement norm, rotations counted at `lever`.
    pub(super) fn squared_norm(&self, lever: f64) -> f64 {
        self.nodes.iter().map(|node| squared(&node.leading, lever)).sum()
    }
}

/// Displacement squared plus rotation times lever squared.
fn squared(motion: &Vector6<f64>, lever: f64) -> f64 {
    let u: Vector3<f64> = motion.fixed_rows::<3>(0).into_owned();
    let theta: Vector3<f64> = motion.fixed_rows::<3>(3).into_owned();
    u.norm_squared() + lever * lever * theta.norm_squared()
}
