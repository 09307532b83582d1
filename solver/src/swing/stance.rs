//! Where every node is, and how nodes follow their blocks through large motion.
//!
//! In: a [`Model`]'s supports and rigid pieces. Out: [`Links`] (once) and [`Stance`] (one per equilibrium). A rigid
//! piece turns exactly: its nodes keep their arms from the piece's centre. Positions are pairs of doubles, so small
//! motion on top of a large one keeps its digits. Absent: stiffness, loads.

use super::load::Pose;
use super::pinned::Pinned;
use crate::element::corotational::{exponential, logarithm, spin_from_vector};
use crate::error::SolveError;
use crate::freedoms::rigid;
use crate::model::Model;
use crate::statics::two_sum;
use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};
use rayon::prelude::*;

/// Nodes a thread takes at a time.
const CHUNK: usize = 512;

/// Cross terms of an own frame above this are no frame of a single node.
const MIXED: f64 = 1e-12;

/// How nodes hang on their blocks.
#[derive(Debug, Clone)]
pub(super) struct Links {
    /// From the block's centre to the node, at rest.
    pub(super) arm: Vec<Vector3<f64>>,
    /// Whether the node's arm turns with its block.
    pub(super) on_arm: Vec<bool>,
    /// Centre of each block at rest.
    pub(super) centre: Vec<Vector3<f64>>,
    /// Axes of the block's unknowns; None is global.
    axes: Vec<Option<Box<Matrix6<f64>>>>,
    /// Block of each node.
    pub(super) block: Vec<u32>,
    /// Pieces held in part.
    pub(super) pinned: Vec<Pinned>,
}

impl Links {
    /// Reads arms and axes off the model's freedoms.
    pub(super) fn new(model: &Model) -> Result<Self, SolveError> {
        let n_blocks = model.freedoms.blocks.len();
        let mut links = Self {
            arm: vec![Vector3::zeros(); model.nodes_m.len()],
            on_arm: vec![false; model.nodes_m.len()],
            centre: vec![Vector3::zeros(); n_blocks],
            axes: vec![None; n_blocks],
            block: model.freedoms.follow.iter().map(|f| f.block).collect(),
            pinned: Vec::new(),
        };
        let mut seen = vec![false; n_blocks];
        for (node, follow) in model.freedoms.follow.iter().enumerate() {
            let (block, at) = (follow.block as usize, Vector3::from(model.nodes_m[node]));
            let arm = follow.matrix.as_ref().map_or_else(Vector3::zeros, |g| arm_of(g));
            if !seen[block] {
                seen[block] = true;
                links.centre[block] = at - arm;
                links.axes[block] = follow.matrix.as_ref().map(|g| Box::new(rigid(&-arm) * g.as_ref()));
            }
            if arm != Vector3::zeros() {
                links.arm[node] = at - links.centre[block];
                links.on_arm[node] = true;
            }
        }
        links.pin(model)?;
        Ok(links)
    }

    /// Finds the pieces that are held in part: their unknowns follow the pose.
    fn pin(&mut self, model: &Model) -> Result<(), SolveError> {
        for (b, block) in model.freedoms.blocks.iter().enumerate() {
            if !block.held.contains(&true) || !block.held.contains(&false) {
                continue;
            }
            let mixed = self.axes[b].as_ref().is_some_and(|q| {
                q.fixed_view::<3, 3>(0, 3).amax().max(q.fixed_view::<3, 3>(3, 0).amax()) > MIXED
            });
            let on_arm = |n: usize| self.block[n] as usize == b && self.on_arm[n];
            if !mixed && !(0..self.block.len()).any(on_arm) {
                continue;
            }
            let Some(pinned) = Pinned::new(model, self, b) else {
                return Err(SolveError::Model {
                    what: format!(
                        "a rigid piece around node {} is held in an unknown way",
                        self.first_node(b)
                    ),
                    remedy: "clamp the piece whole or make it flexible for large swings".to_owned(),
                });
            };
            self.pinned.push(pinned);
        }
        for (node, &block) in self.block.iter().enumerate() {
            self.on_arm[node] |= self.pinned.iter().any(|p| p.block == block);
        }
        Ok(())
    }

    fn first_node(&self, block: usize) -> usize {
        self.block.iter().position(|&b| b as usize == block).unwrap_or(0)
    }
}

/// The arm in `rigid(arm) * (orthogonal)`.
fn arm_of(g: &Matrix6<f64>) -> Vector3<f64> {
    let cross = g.fixed_rows::<3>(0) * g.fixed_rows::<3>(3).transpose();
    // Upper right of g g' is -[arm]x.
    let arm = Vector3::new(
        cross[(1, 2)] - cross[(2, 1)],
        cross[(2, 0)] - cross[(0, 2)],
        cross[(0, 1)] - cross[(1, 0)],
    ) * 0.5;
    // A frame at the node itself leaves rounding only.
    if arm.amax() < 1e-14 { Vector3::zeros() } else { arm }
}

/// Where every block and node is.
#[derive(Debug, Clone)]
pub(super) struct Stance {
    /// Displacement of each block's centre from rest: leading and trailing parts.
    moved: Vec<[Vector3<f64>; 2]>,
    /// Rotation of each block from rest.
    turned: Vec<Matrix3<f64>>,
    /// Nodes: positions rounded, rotations.
    pub(super) pose: Pose,
    /// Displacement of each node from rest: leading and trailing parts.
    shift: Vec<[Vector3<f64>; 2]>,
    /// Axes of the unknowns of [`Links::pinned`], here.
    pinned_axes: Vec<Matrix6<f64>>,
}

impl Stance {
    /// Every block at rest.
    pub(super) fn at_rest(links: &Links, model: &Model) -> Self {
        let (n, n_blocks) = (model.nodes_m.len(), model.freedoms.blocks.len());
        let pinned_axes = links.pinned.iter().map(|p| p.axes(links, &Matrix3::identity())).collect();
        Self {
            pinned_axes,
            moved: vec![[Vector3::zeros(); 2]; n_blocks],
            turned: vec![Matrix3::identity(); n_blocks],
            pose: Pose::at_rest(&model.nodes_m),
            shift: vec![[Vector3::zeros(); 2]; n],
        }
    }

    /// Axes of a block's unknowns; None is global.
    fn axes<'s>(&'s self, links: &'s Links, block: usize) -> Option<&'s Matrix6<f64>> {
        match links.pinned.iter().position(|p| p.block as usize == block) {
            Some(own) => self.pinned_axes.get(own),
            None => links.axes[block].as_deref(),
        }
    }

    /// Velocity of a block's centre and its spin, from the block's unknowns.
    fn velocity(&self, links: &Links, block: usize, q: &Vector6<f64>) -> Vector6<f64> {
        self.axes(links, block).map_or(*q, |axes| axes * q)
    }

    /// A matrix of velocity and spin in a block's unknowns.
    pub(super) fn in_axes(&self, links: &Links, block: usize, k: &Matrix6<f64>) -> Matrix6<f64> {
        self.axes(links, block).map_or(*k, |axes| axes.tr_mul(&(k * axes)))
    }

    /// A block's unknowns from velocity and spin.
    fn unknowns(&self, links: &Links, block: usize, v: &Vector6<f64>) -> Vector6<f64> {
        self.axes(links, block).map_or(*v, |axes| axes.tr_mul(v))
    }

    /// Displacement of a node, rounded.
    pub(super) fn displacement(&self, node: usize) -> Vector3<f64> {
        self.shift[node][0] + self.shift[node][1]
    }

    /// From node `a` to node `b`, now; the digits of the difference are kept.
    pub(super) fn side(&self, model: &Model, a: u32, b: u32) -> Vector3<f64> {
        let (a, b) = (a as usize, b as usize);
        let rest = Vector3::from(model.nodes_m[b]) - Vector3::from(model.nodes_m[a]);
        rest + ((self.shift[b][0] - self.shift[a][0]) + (self.shift[b][1] - self.shift[a][1]))
    }

    /// Moves every block by its unknowns (held ones too) and brings the nodes after.
    pub(super) fn advance(&mut self, links: &Links, model: &mut Model, steps: &[Vector6<f64>]) {
        for (block, q) in steps.iter().enumerate() {
            if *q == Vector6::zeros() {
                continue;
            }
            let v = self.velocity(links, block, q);
            self.shift_block(block, &v.fixed_rows::<3>(0).into_owned());
            self.turned[block] = exponential(&v.fixed_rows::<3>(3).into_owned()) * self.turned[block];
        }
        self.follow(links, model);
    }

    fn shift_block(&mut self, block: usize, by: &Vector3<f64>) {
        let [leading, trailing] = &mut self.moved[block];
        for i in 0..3 {
            let (sum, error) = two_sum(leading[i], by[i]);
            (leading[i], trailing[i]) = two_sum(sum, trailing[i] + error);
        }
    }

    /// Velocity of held unknowns per change of the prescribed factor, block unknowns; free ones zero.
    pub(super) fn held_rates(&self, links: &Links, model: &Model) -> Vec<Vector6<f64>> {
        let mut rates = vec![Vector6::zeros(); model.freedoms.blocks.len()];
        for (b, block) in model.freedoms.blocks.iter().enumerate() {
            if block.value == Vector6::zeros() {
                continue;
            }
            if let Some(own) = links.pinned.iter().position(|p| p.block as usize == b) {
                let pinned = &links.pinned[own];
                let values: Vec<f64> = pinned.bounds.iter().map(|bound| bound.value).collect();
                rates[b] = pinned.held_part(links, &self.turned[b], &self.pinned_axes[own], &values);
                continue;
            }
            for c in (0..6).filter(|&c| block.held[c]) {
                rates[b][c] = block.value[c];
            }
            if block.held.iter().all(|&h| h) {
                let mut twist = self.velocity(links, b, &block.value);
                let turn = twist.fixed_rows::<3>(3).cross(&self.moved[b][0]);
                twist += Vector6::new(turn[0], turn[1], turn[2], 0.0, 0.0, 0.0);
                rates[b] = self.unknowns(links, b, &twist);
            }
        }
        rates
    }

    /// Puts held unknowns where the prescribed factor wants them and brings the nodes after.
    ///
    /// A block held in all six follows the screw motion of its values, so a clamp turns rigidly about its axis.
    /// Otherwise displacements are straight; rotations are exact if all three are held, else left as they are
    /// (they advance by spins).
    pub(super) fn place_held(&mut self, links: &Links, model: &mut Model, factor: f64) {
        self.place_pinned(links, factor);
        for (b, block) in model.freedoms.blocks.iter().enumerate() {
            if block.value == Vector6::zeros() || links.pinned.iter().any(|p| p.block as usize == b) {
                continue;
            }
            let value = self.velocity(links, b, &block.value) * factor;
            let (u, theta) = (value.fixed_rows::<3>(0).into_owned(), value.fixed_rows::<3>(3).into_owned());
            if block.held.iter().all(|&h| h) {
                self.moved[b] = [spin_from_vector(&theta) * u, Vector3::zeros()];
                self.turned[b] = exponential(&theta);
                continue;
            }
            if block.held[3] && block.held[4] && block.held[5] {
                self.turned[b] = exponential(&theta);
            }
            let now = self.moved[b][0] + self.moved[b][1];
            let is = self.unknowns(links, b, &Vector6::new(now[0], now[1], now[2], 0.0, 0.0, 0.0));
            let mut by = Vector6::zeros();
            for c in (0..3).filter(|&c| block.held[c]) {
                by[c] = factor * block.value[c] - is[c];
            }
            let by = self.velocity(links, b, &by).fixed_rows::<3>(0).into_owned();
            if block.held[..3].contains(&true) {
                self.shift_block(b, &by);
            }
        }
        self.follow(links, model);
    }

    /// Moves pieces that are held in part until their bounds are met where they are now.
    fn place_pinned(&mut self, links: &Links, factor: f64) {
        for (own, pinned) in links.pinned.iter().enumerate() {
            let b = pinned.block as usize;
            for _ in 0..3 {
                let moved = self.moved[b][0] + self.moved[b][1];
                let left = pinned.left(links, &moved, &self.turned[b], factor);
                self.pinned_axes[own] = pinned.axes(links, &self.turned[b]);
                let q = pinned.held_part(links, &self.turned[b], &self.pinned_axes[own], &left);
                let v = self.pinned_axes[own] * q;
                self.shift_block(b, &v.fixed_rows::<3>(0).into_owned());
                self.turned[b] = exponential(&v.fixed_rows::<3>(3).into_owned()) * self.turned[b];
            }
        }
    }

    /// Nodes after their blocks, and the levers of rigid pieces in the model's freedoms.
    fn follow(&mut self, links: &Links, model: &mut Model) {
        for (axes, pinned) in self.pinned_axes.iter_mut().zip(&links.pinned) {
            *axes = pinned.axes(links, &self.turned[pinned.block as usize]);
        }
        let (moved, turned) = (&self.moved, &self.turned);
        let of = |node: usize| {
            let b = links.block[node] as usize;
            if !links.on_arm[node] {
                return (moved[b], turned[b]);
            }
            let swung = turned[b] * links.arm[node] - links.arm[node];
            let mut shift = moved[b];
            for i in 0..3 {
                let (sum, error) = two_sum(shift[0][i], swung[i]);
                (shift[0][i], shift[1][i]) = two_sum(sum, shift[1][i] + error);
            }
            (shift, turned[b])
        };
        let rest = &model.nodes_m;
        self.shift
            .par_iter_mut()
            .zip(&mut self.pose.positions_m)
            .zip(&mut self.pose.rotations)
            .enumerate()
            .with_min_len(CHUNK)
            .for_each(|(node, ((shift, position), rotation))| {
                (*shift, *rotation) = of(node);
                *position = Vector3::from(rest[node]) + (shift[0] + shift[1]);
            });
        self.set_levers(links, model);
    }

    /// Writes the present arms of rigid pieces into the model's freedoms.
    pub(super) fn set_levers(&self, links: &Links, model: &mut Model) {
        for (node, follow) in model.freedoms.follow.iter_mut().enumerate() {
            if links.on_arm[node] {
                let b = follow.block as usize;
                let lever = rigid(&(self.turned[b] * links.arm[node]));
                let g = self.axes(links, b).map_or(lever, |axes| lever * axes);
                follow.matrix = Some(Box::new(g));
            }
        }
    }

    /// Guess at weights over known stances: a polynomial through them, rotations seen from the first.
    ///
    /// `weights` sum to one.
    pub(super) fn guess(known: &[&Self], weights: &[f64], links: &Links, model: &mut Model) -> Self {
        let mut out = known[0].clone();
        for b in 0..out.moved.len() {
            let base = known[0].turned[b];
            let (mut by, mut turn) = (Vector3::zeros(), Vector3::zeros());
            for (other, &weight) in known.iter().zip(weights).skip(1) {
                by += (other.moved[b][0] - known[0].moved[b][0]) * weight;
                turn += logarithm(&(other.turned[b] * base.transpose())) * weight;
            }
            out.shift_block(b, &by);
            out.turned[b] = exponential(&turn) * base;
        }
        out.follow(links, model);
        out
    }
}
