//! The whole mesh at one stance: internal forces, tangent, loads.
//!
//! In: a model and a [`Stance`]. Out: residual over the free unknowns and the tangent's values in the fixed pattern.
//! Elements run in parallel; sums run in element order, so the bytes do not depend on the number of threads.

use super::lagged::LaggedCopper;
use super::load::MovingLoad;
use super::stance::{Links, Stance};
use crate::assemble::{Elements, Layout, PACKED, packed_row};
use crate::element::corotational::{Moved, packed_tangent};
use crate::element::{Matrix18, Vector18, shell};
use crate::error::SolveError;
use crate::model::Model;
use crate::statics;
use crate::vectors::widest;
use nalgebra::{Matrix3, Matrix6, Vector6};
use rayon::prelude::*;
use std::sync::Arc;

/// Triangles or blocks a thread takes at a time; fixed, so that partial sums are.
const CHUNK: usize = 256;

/// Strain that rounding alone makes in every triangle: two units in the last place.
const ROUNDING: f64 = 4e-16;

/// What acts on a board beside the heating of its plies.
#[derive(Clone, Copy)]
pub struct Loads<'a> {
    /// Loads that share one factor: gravity, tip forces.
    pub steady: &'a [&'a dyn MovingLoad],
    /// The load whose factor may be sought: the magnet's pull at one ampere, say.
    pub driven: Option<&'a dyn MovingLoad>,
}

impl std::fmt::Debug for Loads<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Loads {{ {} steady, driven: {} }}", self.steady.len(), self.driven.is_some())
    }
}

/// Factors on everything that acts.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Level {
    /// On every steady load.
    pub steady: f64,
    /// On the driven load; its unit is the load's (A for a current).
    pub driven: f64,
    /// On the plies' own heating.
    pub thermal: f64,
    /// On the prescribed values of held unknowns.
    pub prescribed: f64,
}

impl Level {
    /// A share of the way from one level to another.
    #[must_use]
    pub fn between(from: &Self, to: &Self, share: f64) -> Self {
        // Both ends are met exactly.
        let mix = |a: f64, b: f64| if share >= 1.0 { b } else { a + share * (b - a) };
        Self {
            steady: mix(from.steady, to.steady),
            driven: mix(from.driven, to.driven),
            thermal: mix(from.thermal, to.thermal),
            prescribed: mix(from.prescribed, to.prescribed),
        }
    }
}

/// Everything of one mesh that outlives a stance.
#[derive(Debug)]
pub(super) struct Field {
    /// Working copy: the levers of rigid pieces follow the stance.
    pub(super) model: Model,
    pub(super) links: Links,
    pub(super) elements: Arc<Elements>,
    pub(super) layout: Arc<Layout>,
    /// Half the diagonal of the model: rotations count at this distance, m.
    pub(super) half_size: f64,
    /// Energy of strains of [`ROUNDING`] everywhere, J: nothing below it means anything.
    pub(super) noise_j: f64,
    /// Copper that may yield.
    pub(super) copper: Option<LaggedCopper>,
}

/// Internal forces of one stance.
#[derive(Debug, Clone, Default)]
pub(super) struct Inner {
    /// Forces conjugate to the motion in each triangle's frame.
    pub(super) own: Vec<Vector18>,
    /// Forces on the corners of each triangle, global axes.
    pub(super) corners: Vec<Vector18>,
    /// `d' K d / 2 - d' f` with the thermal loads f, J.
    pub(super) energy: f64,
}

/// Frames of all triangles; none for those of rigid pieces.
pub(super) type Frames = Vec<Option<Moved>>;

/// A triangle has collapsed or turned inside out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Collapsed(pub(super) u32);

impl Field {
    pub(super) fn new(model: &Model) -> Result<Self, SolveError> {
        statics::check(model)?;
        let links = Links::new(model)?;
        let elements = Elements::new(model)?;
        let layout = Layout::new(model, &elements)?;
        let half_size = 0.5 * statics::diagonal(model);
        let stretched = |(t, &l): (&crate::element::Local, &u32)| {
            0.5 * crate::element::double_area(&t.corners) * model.laminates[l as usize].a.amax()
        };
        let noise_j =
            ROUNDING * ROUNDING * elements.local.iter().zip(&model.laminate_of).map(stretched).sum::<f64>();
        Ok(Self {
            model: model.clone(),
            links,
            elements: Arc::new(elements),
            layout: Arc::new(layout),
            half_size,
            noise_j,
            copper: None,
        })
    }

    pub(super) fn n_unknowns(&self) -> usize {
        self.layout.structure.n_unknowns()
    }

    /// A triangle's frame at a stance.
    pub(super) fn moved(&self, stance: &Stance, triangle: usize) -> Option<Moved> {
        let nodes = self.model.triangles[triangle];
        let sides =
            [stance.side(&self.model, nodes[0], nodes[1]), stance.side(&self.model, nodes[0], nodes[2])];
        let rotations = nodes.map(|n| &stance.pose.rotations[n as usize]);
        Moved::new(&self.elements.local[triangle], sides, rotations)
    }

    fn packed(&self, triangle: usize) -> &[f64] {
        &self.elements.stiffness[PACKED * triangle..PACKED * (triangle + 1)]
    }

    fn thermal(&self, triangle: usize) -> Option<Vector18> {
        let laminate = &self.model.laminates[self.model.laminate_of[triangle] as usize];
        let heated = laminate.thermal_n.amax() > 0.0 || laminate.thermal_m.amax() > 0.0;
        heated.then(|| shell::thermal(&self.elements.local[triangle].corners, laminate))
    }

    /// Forces conjugate to a motion in the frame, and their energy; of yielding copper to first order about the motion
    /// that the last step predicted.
    fn own_forces(&self, triangle: usize, motion: &Vector18, thermal: f64) -> (Vector18, f64) {
        let (mut f, mut energy) = self.elastic_forces(triangle, motion, thermal);
        if let Some(less) = self.copper.as_ref().and_then(|c| c.of(triangle)) {
            let force = less.force_at(motion);
            energy -= 0.5 * motion.dot(&force);
            f -= force;
        }
        (f, energy)
    }

    /// The same with all copper elastic.
    fn elastic_forces(&self, triangle: usize, motion: &Vector18, thermal: f64) -> (Vector18, f64) {
        let mut f = product(self.packed(triangle), motion);
        let mut energy = 0.5 * motion.dot(&f);
        if thermal != 0.0
            && let Some(load) = self.thermal(triangle)
        {
            energy -= thermal * motion.dot(&load);
            f -= load * thermal;
        }
        (f, energy)
    }

    /// Frames of all triangles at a stance; none for those of rigid pieces.
    pub(super) fn frames(&self, stance: &Stance, frames: &mut Frames) -> Result<(), Collapsed> {
        let of = |e: usize| {
            if self.elements.rigid[e] {
                return Ok(None);
            }
            self.moved(stance, e).map(Some).ok_or(Collapsed(crate::freedoms::index_u32(e)))
        };
        frames.resize(self.model.triangles.len(), None);
        let parts = frames.par_chunks_mut(CHUNK).enumerate().map(|(chunk, frames)| {
            for (k, frame) in frames.iter_mut().enumerate() {
                *frame = of(CHUNK * chunk + k)?;
            }
            Ok(())
        });
        let parts: Vec<Result<(), Collapsed>> = parts.collect();
        parts.into_iter().collect()
    }

    /// Internal forces of every triangle.
    pub(super) fn inner(&self, frames: &[Option<Moved>], thermal: f64) -> Inner {
        let n = self.model.triangles.len();
        let mut own = vec![Vector18::zeros(); n];
        let mut corners = vec![Vector18::zeros(); n];
        let parts: Vec<f64> = own
            .par_chunks_mut(CHUNK)
            .zip(corners.par_chunks_mut(CHUNK))
            .zip(frames.par_chunks(CHUNK))
            .enumerate()
            .map(|(chunk, ((own, corners), frames))| {
                let mut energy = 0.0;
                for (k, ((own, corner), frame)) in own.iter_mut().zip(corners).zip(frames).enumerate() {
                    let Some(moved) = frame else { continue };
                    let (f, part) = self.own_forces(CHUNK * chunk + k, &moved.motion, thermal);
                    energy += part;
                    *own = f;
                    *corner = to_global(&moved.triad, &moved.force(&f));
                }
                energy
            })
            .collect();
        Inner { own, corners, energy: parts.into_iter().sum() }
    }

    /// Symmetrised tangents of all triangles for given independent forces, packed, global axes; and their forces
    /// on the corners.
    pub(super) fn tangents(
        &self,
        frames: &[Option<Moved>],
        mixed: &[Vector18],
        packed: &mut Vec<f64>,
    ) -> Vec<Vector18> {
        packed.resize(PACKED * mixed.len(), 0.0);
        let mut corners = vec![Vector18::zeros(); mixed.len()];
        packed.par_chunks_mut(PACKED * CHUNK).zip(corners.par_chunks_mut(CHUNK)).enumerate().for_each(
            |(chunk, (packed, corners))| {
                let first = CHUNK * chunk;
                widest(
                    #[inline(always)]
                    || {
                        for (k, (out, corner)) in
                            packed.chunks_exact_mut(PACKED).zip(&mut *corners).enumerate()
                        {
                            let e = first + k;
                            let Some(moved) = &frames[e] else { continue };
                            let soft = self.copper.as_ref().and_then(|c| c.of(e));
                            let soft = soft.map(|less| softer(self.packed(e), &less.stiffness));
                            let stiffness = soft.as_ref().map_or(self.packed(e), |k| k.as_slice());
                            let force = packed_tangent(moved, stiffness, &mixed[e], out);
                            *corner = to_global(&moved.triad, &force);
                        }
                    },
                );
            },
        );
        corners
    }

    /// Independent forces after a step: what the tangent predicts, with the frames of before the step.
    pub(super) fn predicted(
        &self,
        frames: &[Option<Moved>],
        steps: &[Vector6<f64>],
        thermal: f64,
        mixed: &mut [Vector18],
    ) {
        let nodes: Vec<Vector6<f64>> = self.node_steps(steps);
        mixed.par_iter_mut().zip(frames).enumerate().with_min_len(CHUNK).for_each(|(e, (mixed, frame))| {
            let Some(moved) = frame else { return };
            let global = gather(&nodes, self.model.triangles[e]);
            let motion = moved.motion + moved.strained(&to_frame(&moved.triad, &global));
            *mixed = self.own_forces(e, &motion, thermal).0;
        });
    }

    /// Motion of every node per block unknowns.
    pub(super) fn node_steps(&self, steps: &[Vector6<f64>]) -> Vec<Vector6<f64>> {
        let of = |follow: &crate::freedoms::Follow| {
            let q = &steps[follow.block as usize];
            follow.matrix.as_ref().map_or(*q, |g| g.as_ref() * q)
        };
        self.model.freedoms.follow.par_iter().with_min_len(CHUNK).map(of).collect()
    }

    /// Forces on the corners that packed tangents give to a motion of the nodes.
    pub(super) fn pulled(&self, packed: &[f64], steps: &[Vector6<f64>]) -> Vec<Vector18> {
        let nodes = self.node_steps(steps);
        let of = |e: usize| {
            let motion = gather(&nodes, self.model.triangles[e]);
            product(&packed[PACKED * e..PACKED * (e + 1)], &motion)
        };
        (0..self.model.triangles.len()).into_par_iter().with_min_len(CHUNK).map(of).collect()
    }

    /// Sum of corner forces in the unknowns of one block.
    pub(super) fn block_sum(&self, block: usize, corners: &[Vector18]) -> Vector6<f64> {
        let mut sum = Vector6::zeros();
        for &corner in self.layout.corners_of(block) {
            let (e, a) = (corner as usize / 3, corner as usize % 3);
            let f = corners[e].fixed_rows::<6>(6 * a).into_owned();
            let node = self.model.triangles[e][a] as usize;
            match &self.model.freedoms.follow[node].matrix {
                None => sum += f,
                Some(g) => sum += g.tr_mul(&f),
            }
        }
        sum
    }

    /// Nodal forces in block unknowns.
    pub(super) fn block_loads(&self, nodal: &[Vector6<f64>]) -> Vec<Vector6<f64>> {
        self.model.freedoms.gathered(nodal)
    }

    /// Loads less corner forces over the free unknowns, in elimination order.
    pub(super) fn residual(&self, loads: &[Vector6<f64>], corners: &[Vector18]) -> Vec<f64> {
        let blocks = &self.layout.blocks;
        let of = |vertex: usize| {
            let block = blocks[vertex] as usize;
            loads[block] - self.block_sum(block, corners)
        };
        let all: Vec<Vector6<f64>> = (0..blocks.len()).into_par_iter().with_min_len(CHUNK).map(of).collect();
        self.free_part(|vertex| all[vertex])
    }

    /// See [`Layout::free_part`].
    pub(super) fn free_part(&self, of: impl Fn(usize) -> Vector6<f64>) -> Vec<f64> {
        self.layout.free_part(of)
    }

    /// Adds free unknowns in elimination order to block unknowns.
    pub(super) fn add_free(&self, free: &[f64], steps: &mut [Vector6<f64>]) {
        let structure = &self.layout.structure;
        for (p, &vertex) in structure.order().iter().enumerate() {
            let first = structure.first()[p] as usize;
            let block = self.layout.blocks[vertex as usize] as usize;
            for (k, &c) in self.layout.free(vertex as usize).iter().enumerate() {
                steps[block][usize::from(c)] += free[first + k];
            }
        }
    }

    /// The tangent's values: triangles, loads that follow, and the arms of rigid pieces.
    ///
    /// `packed` gains the loads' part. `net`: load less internal force per node of a piece is found from `nodal` and
    /// `corners`.
    pub(super) fn assembled(
        &self,
        stance: &Stance,
        packed: &mut [f64],
        follower: &[(f64, Vec<(u32, Matrix18)>)],
        nodal: &[Vector6<f64>],
        corners: &[Vector18],
    ) -> Vec<f64> {
        packed.par_chunks_mut(PACKED * CHUNK).enumerate().for_each(|(chunk, packed)| {
            let first = CHUNK * chunk;
            let end = first + packed.len() / PACKED;
            for (factor, stiffness) in follower {
                // Ascending by triangle.
                let from = stiffness.partition_point(|(t, _)| (*t as usize) < first);
                let own = stiffness[from..].iter().take_while(|(t, _)| (*t as usize) < end);
                for (triangle, k) in own.filter(|(t, _)| !self.elements.rigid[*t as usize]) {
                    let at = PACKED * (*triangle as usize - first);
                    add_packed(&mut packed[at..at + PACKED], k, *factor);
                }
            }
        });
        let packed = &*packed;
        let mut values = self.summed(packed);
        for (factor, stiffness) in follower {
            let in_pieces = stiffness
                .iter()
                .filter(|(t, _)| self.elements.rigid.get(*t as usize).is_some_and(|&rigid| rigid));
            for (triangle, k) in in_pieces {
                self.layout.add_rigid_triangle(&self.model, *triangle as usize, &(k * *factor), &mut values);
            }
        }
        self.add_arms(stance, nodal, corners, &mut values);
        values
    }

    /// Sum of the triangles' packed matrices.
    pub(super) fn summed(&self, packed: &[f64]) -> Vec<f64> {
        self.layout.assemble(&self.model, |e, b, a| pair(packed, e, b, a))
    }

    /// Adds what bounds exert on pieces that are held in part to the net force of their nodes.
    fn add_reactions(&self, stance: &Stance, net: &mut [Vector6<f64>]) {
        for pinned in &self.links.pinned {
            let mut total = Vector6::zeros();
            let mut turned = Matrix3::identity();
            for (node, force) in net.iter().enumerate().filter(|&(n, _)| self.links.block[n] == pinned.block)
            {
                turned = stance.pose.rotations[node];
                total += crate::freedoms::rigid(&(turned * self.links.arm[node])).tr_mul(force);
            }
            for (bound, force) in pinned.bounds.iter().zip(pinned.reactions(&self.links, &turned, &total)) {
                net[bound.node as usize] += bound.row * force;
            }
        }
    }

    /// Forces at the ends of a piece's arms turn the piece as the arms turn.
    fn add_arms(&self, stance: &Stance, nodal: &[Vector6<f64>], corners: &[Vector18], values: &mut [f64]) {
        if !self.links.on_arm.contains(&true) {
            return;
        }
        let mut net: Vec<Vector6<f64>> =
            if nodal.is_empty() { vec![Vector6::zeros(); self.model.nodes_m.len()] } else { nodal.to_vec() };
        for (e, nodes) in self.model.triangles.iter().enumerate() {
            for (a, &node) in nodes.iter().enumerate() {
                net[node as usize] -= corners[e].fixed_rows::<6>(6 * a);
            }
        }
        self.add_reactions(stance, &mut net);
        let n_blocks = self.model.freedoms.blocks.len();
        let mut sums = vec![None; n_blocks];
        for (node, force) in net.iter().enumerate().filter(|&(node, _)| self.links.on_arm[node]) {
            let block = self.links.block[node] as usize;
            let arm = stance.pose.rotations[node] * self.links.arm[node];
            let f = force.fixed_rows::<3>(0).into_owned();
            // d(r x f) = -[f]x [r]x' ... with dr = w x r; residual grows by [f]x [r]x w, so K loses it.
            let part: Matrix3<f64> = f.cross_matrix() * arm.cross_matrix();
            *sums[block].get_or_insert_with(Matrix3::zeros) -= part;
        }
        for (block, sum) in sums.iter().enumerate() {
            let Some(sum) = sum else { continue };
            let mut k = Matrix6::zeros();
            k.fixed_view_mut::<3, 3>(3, 3).copy_from(&((sum + sum.transpose()) * 0.5));
            let own = stance.in_axes(&self.links, block, &k);
            self.layout.add_in_block(crate::freedoms::index_u32(block), &own, values);
        }
    }
}

pub(super) fn gather(nodes: &[Vector6<f64>], corners: [u32; 3]) -> Vector18 {
    let mut out = Vector18::zeros();
    for (a, &node) in corners.iter().enumerate() {
        out.fixed_rows_mut::<6>(6 * a).copy_from(&nodes[node as usize]);
    }
    out
}

fn to_global(triad: &Matrix3<f64>, own: &Vector18) -> Vector18 {
    let mut out = Vector18::zeros();
    for i in 0..6 {
        out.fixed_rows_mut::<3>(3 * i).copy_from(&triad.tr_mul(&own.fixed_rows::<3>(3 * i)));
    }
    out
}

pub(super) fn to_frame(triad: &Matrix3<f64>, global: &Vector18) -> Vector18 {
    let mut out = Vector18::zeros();
    for i in 0..6 {
        out.fixed_rows_mut::<3>(3 * i).copy_from(&(triad * global.fixed_rows::<3>(3 * i)));
    }
    out
}

/// `K d` with the packed upper triangle.
fn product(packed: &[f64], d: &Vector18) -> Vector18 {
    let mut f = Vector18::zeros();
    for i in 0..18 {
        let row = &packed[packed_row(i) + i..packed_row(i) + 18];
        let mut sum = row[0] * d[i];
        for (j, k) in (i + 1..18).zip(&row[1..]) {
            sum += k * d[j];
            f[j] += k * d[i];
        }
        f[i] += sum;
    }
    f
}

/// Packed stiffness less what yielding takes from it.
fn softer(packed: &[f64], less: &Matrix18) -> [f64; PACKED] {
    let mut out = [0.0; PACKED];
    for i in 0..18 {
        for j in i..18 {
            let n = packed_row(i) + j;
            out[n] = packed[n] - 0.5 * (less[(i, j)] + less[(j, i)]);
        }
    }
    out
}

fn add_packed(packed: &mut [f64], k: &Matrix18, factor: f64) {
    for i in 0..18 {
        for j in i..18 {
            packed[packed_row(i) + j] += 0.5 * factor * (k[(i, j)] + k[(j, i)]);
        }
    }
}

/// Rows of corner `b` against columns of corner `a`.
fn pair(packed: &[f64], triangle: usize, b: usize, a: usize) -> Matrix6<f64> {
    let own = &packed[PACKED * triangle..PACKED * (triangle + 1)];
    Matrix6::from_fn(|i, j| {
        let (i, j) = (6 * b + i, 6 * a + j);
        own[packed_row(i.min(j)) + i.max(j)]
    })
}
