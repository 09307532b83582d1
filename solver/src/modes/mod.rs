//! Natural modes of a held model: `K x = lambda M x`, the lowest first, none left out.
//!
//! In: a [`Model`] with mass. Out: frequencies, shapes per node, how good each pair is, and the proof by the signs of
//! `K - shift M` that no frequency below the highest was missed. Consistent mass with glued bodies; air is not in
//! it. Absent: damping, loads.

mod rows;
#[cfg(test)]
mod tests;

use crate::assemble::{self, Elements, Layout, refused, turned};
use crate::element;
use crate::error::SolveError;
use crate::linear::{self, BLOCK, Block, Factor, LinearError, Pairs, Pencil, Structure};
use crate::model::Model;
use crate::statics;
use nalgebra::{Matrix6, Vector6};
use rayon::prelude::*;
use rows::SymmetricRows;
use std::time::Instant;

/// Relative residual at which a mode is settled.
pub const SETTLED: f64 = 1e-9;

/// What to look for.
#[derive(Debug, Clone, Copy)]
pub struct ModeWishes {
    /// Modes wanted.
    pub count: usize,
    /// Added to every eigenvalue while solving, (rad/s)^2: 0 for a held board, positive for one that may move freely.
    pub lift: f64,
    /// Prove by a second factorisation that no mode was missed.
    pub prove: bool,
}

impl Default for ModeWishes {
    fn default() -> Self {
        Self { count: 10, lift: 0.0, prove: true }
    }
}

/// One mode.
#[derive(Debug, Clone, PartialEq)]
pub struct Mode {
    /// Square of the angular frequency, (rad/s)^2; negative for an unstable state.
    pub eigenvalue: f64,
    /// Frequency, Hz; 0 where the eigenvalue is not positive.
    pub frequency_hz: f64,
    /// Displacement and rotation per node, global axes, of unit modal mass (kg).
    pub shape: Vec<Vector6<f64>>,
    /// `|K^-1 M x - x / lambda|_M lambda` for this unit vector: relative error of the pair as solved.
    pub residual: f64,
}

/// Lowest modes, ascending.
#[derive(Debug, Clone, Default)]
pub struct Modes {
    /// The modes.
    pub modes: Vec<Mode>,
    /// Eigenvalues below the proven shift and how many modes were found there; None without proof.
    pub counted: Option<[usize; 2]>,
    /// Solves with eight right-hand sides.
    pub solves: u32,
    /// Seconds for eigenvalues and residuals, factor and proof apart.
    pub seconds: f64,
}

/// The lowest natural modes.
///
/// # Errors
/// [`SolveError::NotHeld`] for a part that can move freely without a lift; [`SolveError::Singular`],
/// [`SolveError::Memory`] as in statics; [`SolveError::Model`] without mass or when a mode was missed.
pub fn modes(model: &Model, wishes: &ModeWishes) -> Result<Modes, SolveError> {
    if wishes.lift == 0.0 {
        statics::check(model)?;
    }
    let problem = Problem::new(model, wishes.lift)?;
    let begin = Instant::now();
    let pairs = linear::largest(&problem, wishes.count, SETTLED).map_err(|e| refused(&e))?;
    if pairs.theta.is_empty() && wishes.count > 0 {
        return Err(SolveError::Model {
            what: "the model has no mass that can move".to_owned(),
            remedy: "give its layers a density".to_owned(),
        });
    }
    let residuals = problem.residuals(&pairs)?;
    let seconds = begin.elapsed().as_secs_f64();
    let mut found: Vec<Mode> = (0..pairs.theta.len())
        .map(|i| {
            let eigenvalue = 1.0 / pairs.theta[i] - wishes.lift;
            let frequency_hz = eigenvalue.max(0.0).sqrt() / std::f64::consts::TAU;
            let shape = problem.shape(&pairs.vectors[i / BLOCK], i % BLOCK);
            Mode { eigenvalue, frequency_hz, shape, residual: residuals[i] }
        })
        .collect();
    found.sort_by(|a, b| a.eigenvalue.total_cmp(&b.eigenvalue));
    let counted = if wishes.prove { problem.counted(&found)? } else { None };
    if let Some([below, known]) = counted
        && below != known
    {
        return Err(SolveError::Model {
            what: format!("{below} modes lie below the highest one found, but only {known} were found"),
            remedy: "ask for a few modes more".to_owned(),
        });
    }
    Ok(Modes { modes: found, counted, solves: pairs.solves, seconds })
}

/// Stiffness and mass on one pattern, stiffness factored.
struct Problem<'m> {
    model: &'m Model,
    layout: Layout,
    stiffness: Vec<f64>,
    mass_values: Vec<f64>,
    mass: SymmetricRows,
    lift: f64,
    factor: Factor,
}

impl<'m> Problem<'m> {
    fn new(model: &'m Model, lift: f64) -> Result<Self, SolveError> {
        let mut elements = Elements::new(model)?;
        // Triangles of a rigid piece have mass though no stiffness, so all of them belong in the pattern.
        let rigid = std::mem::take(&mut elements.rigid);
        elements.rigid = vec![false; rigid.len()];
        let layout = Layout::new(model, &elements)?;
        statics::fits(model, &layout.structure)?;
        let stiff = |triangle: usize, b: usize, a: usize| {
            if rigid[triangle] { Matrix6::zeros() } else { elements.pair(triangle, b, a) }
        };
        let stiffness = layout.assemble(model, stiff);
        let mass_values = mass_values(model, &elements, &layout);
        let structure = &layout.structure;
        let mass = SymmetricRows::new(structure.entry_start(), structure.entry_rows(), &mass_values);
        let lifted = combined(&stiffness, lift, &mass_values);
        let factor = structure.factorise(&lifted, None);
        let factor = factor.map_err(|e| statics::explained(model, &layout, &e))?;
        Ok(Self { model, layout, stiffness, mass_values, mass, lift, factor })
    }

    fn structure(&self) -> &Structure {
        &self.layout.structure
    }

    /// Relative residuals of all pairs, by one more solve.
    fn residuals(&self, pairs: &Pairs) -> Result<Vec<f64>, SolveError> {
        let mut all = Vec::with_capacity(pairs.theta.len());
        for (block, theta) in pairs.vectors.iter().zip(pairs.theta.chunks(BLOCK)) {
            let mut image = self.mass(block);
            self.solve(&mut image).map_err(|e| refused(&e))?;
            for (image, x) in image.iter_mut().zip(block) {
                for ((image, x), theta) in image.iter_mut().zip(x).zip(theta) {
                    *image -= theta * x;
                }
            }
            let with_mass = self.mass(&image);
            for (r, theta) in theta.iter().enumerate() {
                let square: f64 = image.iter().zip(&with_mass).map(|(a, b)| a[r] * b[r]).sum();
                all.push(square.max(0.0).sqrt() / theta.abs());
            }
        }
        Ok(all)
    }

    /// Displacement of every node.
    fn shape(&self, x: &[[f64; BLOCK]], column: usize) -> Vec<Vector6<f64>> {
        let structure = self.structure();
        let mut blocks = vec![Vector6::zeros(); self.model.freedoms.blocks.len()];
        for (vertex, &block) in self.layout.blocks.iter().enumerate() {
            let first = structure.first()[structure.position()[vertex] as usize] as usize;
            for (k, &component) in self.layout.free(vertex).iter().enumerate() {
                blocks[block as usize][usize::from(component)] = x[first + k][column];
            }
        }
        let of = |follow: &crate::freedoms::Follow| {
            let own = blocks[follow.block as usize];
            follow.matrix.as_ref().map_or(own, |g| g.as_ref() * own)
        };
        self.model.freedoms.follow.iter().map(of).collect()
    }

    /// Eigenvalues below a shift just under the highest mode that stands clear of its lower neighbour, and the modes
    /// found below it.
    fn counted(&self, found: &[Mode]) -> Result<Option<[usize; 2]>, SolveError> {
        const CLEAR: f64 = 1e-5;
        let clear = |i: &usize| {
            let [low, high] = [found[i - 1].eigenvalue, found[*i].eigenvalue];
            high - low > CLEAR * high.abs()
        };
        let Some(i) = (1..found.len()).rev().find(clear) else { return Ok(None) };
        let shift = f64::midpoint(found[i - 1].eigenvalue, found[i].eigenvalue);
        let values = combined(&self.stiffness, -shift, &self.mass_values);
        let factor = self.structure().factorise_signed(&values, None);
        let factor = factor.map_err(|e| statics::explained(self.model, &self.layout, &e))?;
        Ok(Some([factor.negative_pivots(), i]))
    }
}

impl Pencil for Problem<'_> {
    fn n(&self) -> usize {
        self.structure().n_unknowns()
    }

    fn mass(&self, x: &[[f64; BLOCK]]) -> Block {
        self.mass.times(x)
    }

    fn solve(&self, x: &mut [[f64; BLOCK]]) -> Result<(), LinearError> {
        self.structure().solve_block(&self.factor, x)
    }
}

impl std::fmt::Debug for Problem<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Problem")
            .field("unknowns", &self.n())
            .field("lift", &self.lift)
            .finish_non_exhaustive()
    }
}

/// `a + factor b`, entry by entry.
fn combined(a: &[f64], factor: f64, b: &[f64]) -> Vec<f64> {
    a.par_iter().zip(b).map(|(a, b)| a + factor * b).collect()
}

/// Lower triangle of the consistent mass with glued bodies.
fn mass_values(model: &Model, elements: &Elements, layout: &Layout) -> Vec<f64> {
    let own = assemble::element_masses(model, elements);
    let pair = |e: usize, b: usize, a: usize| -> Matrix6<f64> {
        let part: &element::Matrix18 = &own[e];
        turned(&part.fixed_view::<6, 6>(6 * b, 6 * a).into_owned(), &elements.local[e].triad)
    };
    let mut lower = layout.assemble(model, pair);
    for (node, inertia) in &model.node_mass {
        layout.add_at_node(model, *node, inertia, &mut lower);
    }
    lower
}
