//! Natural modes of a frame of beams about any equilibrium.
//!
//! In: tangent and mass on the tree. Out: frequencies and shapes, the lowest first. Absent: air, damping.

use super::frame::Frame;
use super::motion::Motion;
use super::tree::{Tree, TreeFactor, TreeMatrix};
use crate::error::SolveError;
use crate::linear::{self, BLOCK, Block, LinearError, Pencil};
use nalgebra::Vector6;

/// Relative residual at which a mode is settled.
const SETTLED: f64 = 1e-9;

/// One mode of a frame.
#[derive(Debug, Clone, PartialEq)]
pub struct BeamMode {
    /// Square of the angular frequency, (rad/s)^2; negative for an unstable state.
    pub eigenvalue: f64,
    /// Frequency, Hz; 0 where the eigenvalue is not positive.
    pub frequency_hz: f64,
    /// Displacement and spin per node, unit modal mass (kg).
    pub shape: Vec<Vector6<f64>>,
    /// `|K^-1 M x - x / lambda|_M lambda` for this unit vector: relative error of the pair.
    pub residual: f64,
}

struct Problem<'t> {
    tree: &'t Tree,
    factor: TreeFactor,
    mass: TreeMatrix,
    /// Free freedoms: node and component.
    free: Vec<(usize, usize)>,
    /// The others.
    held: Vec<(usize, usize)>,
}

/// The lowest `count` modes about the present pose.
///
/// # Errors
/// [`SolveError::Singular`] for a frame that is not held, [`SolveError::Model`] without mass.
pub fn modes(frame: &Frame, motion: &Motion<'_>, count: usize) -> Result<Vec<BeamMode>, SolveError> {
    let k = motion.tangent()?;
    let factor = frame.tree.factor(&k).map_err(|node| {
        let at = frame.nodes[node].at_m * 1e3;
        SolveError::Singular { place: format!("({:.3}, {:.3}) mm of the beam model", at.x, at.y) }
    })?;
    let nothing = || SolveError::Model {
        what: "the beam model has no mass that can move".to_owned(),
        remedy: "give its layers a density".to_owned(),
    };
    let mut mass = frame.mass(&motion.pose).ok_or_else(nothing)?;
    let held = frame.held();
    frame.tree.hold(&mut mass, &held);
    let all = (0..frame.nodes.len()).flat_map(|n| (0..6).map(move |c| (n, c)));
    let (out, free): (Vec<_>, Vec<_>) = all.partition(|&(n, c)| held[n][c]);
    let problem = Problem { tree: &frame.tree, factor, mass, free, held: out };
    let pairs = linear::largest(&problem, count, SETTLED)
        .map_err(|e| SolveError::Model { what: e.to_string(), remedy: "hold the beam model".to_owned() })?;
    if pairs.theta.is_empty() {
        return Err(nothing());
    }
    let mut found: Vec<BeamMode> = (0..pairs.theta.len())
        .map(|i| {
            let eigenvalue = 1.0 / pairs.theta[i];
            let mut shape = vec![Vector6::zeros(); frame.nodes.len()];
            for (&(n, c), row) in problem.free.iter().zip(&pairs.vectors[i / BLOCK]) {
                shape[n][c] = row[i % BLOCK];
            }
            let frequency_hz = eigenvalue.max(0.0).sqrt() / std::f64::consts::TAU;
            let residual = problem.residual(&shape, eigenvalue);
            BeamMode { eigenvalue, frequency_hz, shape, residual }
        })
        .collect();
    found.sort_by(|a, b| a.eigenvalue.total_cmp(&b.eigenvalue));
    Ok(found)
}

/// Eigenvalues below a value, counted by the signs of `K - value M` about the present pose: [counted, expected of
/// `found`], the value between the two highest found. None with fewer than two, or where the two are one.
///
/// # Errors
/// As [`modes`].
pub fn counted(
    frame: &Frame,
    motion: &Motion<'_>,
    found: &[BeamMode],
) -> Result<Option<[usize; 2]>, SolveError> {
    let [.., low, high] = found else { return Ok(None) };
    let (low, high) = (low.eigenvalue, high.eigenvalue);
    if high - low < 1e-6 * high.abs() {
        return Ok(None);
    }
    let value = 0.5 * (low + high);
    let mut k = motion.tangent()?;
    let Some(mut mass) = frame.mass(&motion.pose) else { return Ok(None) };
    let held = frame.held();
    frame.tree.hold(&mut mass, &held);
    for (k, m) in k.diagonal.iter_mut().zip(&mass.diagonal) {
        *k -= m * value;
    }
    for (k, m) in k.to_parent.iter_mut().zip(&mass.to_parent) {
        *k -= m * value;
    }
    frame.tree.hold(&mut k, &held);
    let Ok(factor) = frame.tree.factor(&k) else { return Ok(None) };
    Ok(Some([factor.negative, found.len() - 1]))
}

impl Problem<'_> {
    fn residual(&self, shape: &[Vector6<f64>], eigenvalue: f64) -> f64 {
        let mut off = self.tree.times(&self.mass, shape);
        for &(n, c) in &self.held {
            off[n][c] = 0.0;
        }
        self.tree.solve(&self.factor, &mut off);
        for (o, x) in off.iter_mut().zip(shape) {
            *o -= x / eigenvalue;
        }
        let heavy = self.tree.times(&self.mass, &off);
        off.iter().zip(&heavy).map(|(o, h)| o.dot(h)).sum::<f64>().max(0.0).sqrt() * eigenvalue.abs()
    }

    fn each(&self, x: &[[f64; BLOCK]], mut change: impl FnMut(&mut Vec<Vector6<f64>>)) -> Block {
        let mut out = vec![[0.0; BLOCK]; x.len()];
        let nodes = self.tree.parent.len();
        for column in 0..BLOCK {
            let mut full = vec![Vector6::zeros(); nodes];
            for (&(n, c), row) in self.free.iter().zip(x) {
                full[n][c] = row[column];
            }
            change(&mut full);
            for (&(n, c), row) in self.free.iter().zip(out.iter_mut()) {
                row[column] = full[n][c];
            }
        }
        out
    }
}

impl Pencil for Problem<'_> {
    fn n(&self) -> usize {
        self.free.len()
    }

    fn mass(&self, x: &[[f64; BLOCK]]) -> Block {
        self.each(x, |full| *full = self.tree.times(&self.mass, full))
    }

    fn solve(&self, x: &mut [[f64; BLOCK]]) -> Result<(), LinearError> {
        let solved = self.each(x, |full| self.tree.solve(&self.factor, full));
        x.copy_from_slice(&solved);
        Ok(())
    }
}
