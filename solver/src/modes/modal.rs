//! The eigenproblem of one state: matrices, factor, modes, and static answers by the same factor.
//!
//! Lanczos works with the assembled matrices. At rest the modes are then judged, and improved where need be, by
//! stiffness element by element with the rigid motion taken out, which the rounding of assembled entries does not
//! reach; about an equilibrium by the assembled tangent.

use super::rows::SymmetricRows;
use super::{ACCEPTED, Mode, ModeWishes, Modes, SETTLED};
use crate::assemble::{self, Elements, Layout, refused, turned};
use crate::element::{self, Matrix18};
use crate::error::SolveError;
use crate::linear::{self, BLOCK, Block, Factor, LinearError, Pairs, Pencil, Structure};
use crate::model::Model;
use crate::statics::{self, Balance};
use crate::swing::{Linearised, Path, Pose};
use nalgebra::{Cholesky, DMatrix, Matrix3, Matrix6, SymmetricEigen, Vector6};
use rayon::prelude::*;
use std::sync::Arc;
use std::time::Instant;

/// Improvements of all modes by solves with full digits, at most.
const MOST_ROUNDS: u32 = 6;

/// Tries to find every unstable mode, each with more vectors.
const MOST_TRIES: u32 = 4;

/// The natural modes of one state with what found them.
#[derive(Debug)]
pub struct Modal {
    /// The modes.
    pub modes: Modes,
    problem: Problem,
}

/// Stiffness and mass on one pattern, stiffness factored.
struct Problem {
    model: Model,
    elements: Arc<Elements>,
    layout: Arc<Layout>,
    stiffness: Vec<f64>,
    mass_values: Vec<f64>,
    mass: SymmetricRows,
    air: Option<SymmetricRows>,
    /// The assembled tangent; None at rest, where products go element by element.
    tangent: Option<SymmetricRows>,
    lift: f64,
    factor: Factor,
}

/// Vectors with their products, and the quotients of Rayleigh and Ritz.
struct Ritz {
    theta: Vec<f64>,
    vectors: Vec<Block>,
    stiff: Vec<Block>,
    heavy: Vec<Block>,
}

impl Modal {
    /// Modes of a model at rest.
    ///
    /// # Errors
    /// As [`super::modes`].
    pub fn at_rest(model: &Model, wishes: &ModeWishes<'_>) -> Result<Self, SolveError> {
        if wishes.lift == 0.0 {
            statics::check(model)?;
        }
        let elements = Elements::new(model)?;
        let layout = Layout::new(model, &elements)?;
        let values = layout.assemble(model, |triangle, b, a| elements.pair(triangle, b, a));
        let state = Linearised {
            model: model.clone(),
            triads: elements.local.iter().map(|local| local.triad).collect(),
            elements: Arc::new(elements),
            layout: Arc::new(layout),
            values,
            pose: Pose::at_rest(&model.nodes_m),
        };
        Self::of(state, true, wishes)
    }

    /// Modes about the present state of a path.
    ///
    /// # Errors
    /// As [`super::modes_about`].
    pub fn about(path: &mut Path<'_>, wishes: &ModeWishes<'_>) -> Result<Self, SolveError> {
        Self::of(path.linearised()?, false, wishes)
    }

    fn of(state: Linearised, at_rest: bool, wishes: &ModeWishes<'_>) -> Result<Self, SolveError> {
        let problem = Problem::new(state, at_rest, wishes)?;
        let begin = Instant::now();
        let (found, solves, unstable) = problem.search(wishes)?;
        let seconds = begin.elapsed().as_secs_f64();
        let counted = if wishes.prove { problem.counted(&found)? } else { None };
        if let Some([below, known]) = counted
            && below != known
        {
            return Err(SolveError::Model {
                what: format!("{below} modes lie below the highest one found, but only {known} were found"),
                remedy: "ask for a few modes more".to_owned(),
            });
        }
        Ok(Self { modes: Modes { modes: found, counted, unstable, solves, seconds }, problem })
    }

    /// Static displacement of every node under nodal forces and moments (global axes), by the modes' own factor with
    /// one correction; the lift, where there is one, acts too.
    ///
    /// # Errors
    /// [`SolveError::Model`] for loads of another number of nodes; those of a solve.
    pub fn response(&self, nodal: &[Vector6<f64>]) -> Result<Vec<Vector6<f64>>, SolveError> {
        let problem = &self.problem;
        if nodal.len() != problem.model.nodes_m.len() {
            return Err(SolveError::Model {
                what: "loads for another number of nodes".to_owned(),
                remedy: "give one load per node".to_owned(),
            });
        }
        let loads = problem.model.freedoms.gathered(nodal);
        let load = problem.layout.free_part(|vertex| loads[problem.layout.blocks[vertex] as usize]);
        let mut x = load.clone();
        let solve = |x: &mut Vec<f64>| problem.structure().solve(&problem.factor, x, 1);
        solve(&mut x).map_err(|e| refused(&e))?;
        let image = problem.stiff(&[to_block(&x)], 1)?.swap_remove(0);
        let mut rest: Vec<f64> = load.iter().zip(&image).map(|(f, k)| f - k[0]).collect();
        solve(&mut rest).map_err(|e| refused(&e))?;
        x.iter_mut().zip(&rest).for_each(|(x, d)| *x += d);
        Ok(problem.shape(&to_block(&x), 0))
    }

    /// What the modes leave out of the static answer to a load: [`Self::response`] less the modes' own share of it.
    ///
    /// # Errors
    /// As [`Self::response`].
    pub fn static_correction(&self, nodal: &[Vector6<f64>]) -> Result<Vec<Vector6<f64>>, SolveError> {
        let mut rest = self.response(nodal)?;
        for mode in &self.modes.modes {
            let share = work(&mode.shape, nodal) / (mode.eigenvalue + self.problem.lift);
            rest.iter_mut().zip(&mode.shape).for_each(|(sum, x)| *sum -= x * share);
        }
        Ok(rest)
    }

    /// Force on each modal coordinate by nodal forces and moments, N per unit of the coordinate.
    #[must_use]
    pub fn modal_load(&self, nodal: &[Vector6<f64>]) -> Vec<f64> {
        self.modes.modes.iter().map(|mode| work(&mode.shape, nodal)).collect()
    }
}

/// Work of nodal loads on a motion.
fn work(shape: &[Vector6<f64>], nodal: &[Vector6<f64>]) -> f64 {
    shape.iter().zip(nodal).map(|(x, f)| x.dot(f)).sum()
}

fn to_block(x: &[f64]) -> Block {
    x.iter()
        .map(|&x| {
            let mut row = [0.0; BLOCK];
            row[0] = x;
            row
        })
        .collect()
}

impl Problem {
    fn new(state: Linearised, at_rest: bool, wishes: &ModeWishes<'_>) -> Result<Self, SolveError> {
        let air = wishes.air_kg_m2;
        if !air.is_empty() && (air.len() != state.triads.len() || air.iter().any(|m| !(*m >= 0.0))) {
            return Err(SolveError::Model {
                what: "the mass of air is not one number from zero up per triangle".to_owned(),
                remedy: "give one per triangle, or none for vacuum".to_owned(),
            });
        }
        statics::fits(&state.model, &state.layout.structure)?;
        let air_values = (!air.is_empty()).then(|| {
            let corners = |e: usize| &state.elements.local[e].corners;
            assembled_mass(&state, |e| element::mass::normal_mass(corners(e), air[e]))
        });
        let own = assemble::element_masses(&state.model, &state.elements);
        let mut mass_values = assembled_mass(&state, |e| own[e]);
        add_bodies(&state, &mut mass_values);
        if let Some(air) = &air_values {
            mass_values = combined(&mass_values, 1.0, air);
        }
        let Linearised { model, elements, layout, values: stiffness, .. } = state;
        let rows = |values: &[f64]| {
            SymmetricRows::new(layout.structure.entry_start(), layout.structure.entry_rows(), values)
        };
        let lifted = combined(&stiffness, wishes.lift, &mass_values);
        let factor = match layout.structure.factorise(&lifted, None) {
            Err(LinearError::Pivot { .. }) if !at_rest => layout.structure.factorise_signed(&lifted, None),
            other => other,
        };
        let factor = factor.map_err(|e| statics::explained(&model, &layout, &e))?;
        Ok(Self {
            mass: rows(&mass_values),
            air: air_values.as_deref().map(rows),
            tangent: (!at_rest).then(|| rows(&stiffness)),
            model,
            elements,
            layout,
            stiffness,
            mass_values,
            lift: wishes.lift,
            factor,
        })
    }

    fn structure(&self) -> &Structure {
        &self.layout.structure
    }

    /// Modes ascending, solves taken, negative eigenvalues of the stiffness.
    fn search(&self, wishes: &ModeWishes<'_>) -> Result<(Vec<Mode>, u32, usize), SolveError> {
        let unstable = self.factor.negative_pivots();
        let mut wanted = wishes.count.max(unstable.min(wishes.count + BLOCK));
        let mut solves = 0;
        for attempt in 1.. {
            let pairs = linear::largest(self, wanted, SETTLED).map_err(|e| refused(&e))?;
            solves += pairs.solves;
            if pairs.theta.is_empty() && wishes.count > 0 {
                return Err(SolveError::Model {
                    what: "the model has no mass that can move".to_owned(),
                    remedy: "give its layers a density".to_owned(),
                });
            }
            let negative = pairs.theta.iter().filter(|theta| **theta < 0.0).count();
            if negative < unstable && attempt < MOST_TRIES && pairs.theta.len() == wanted {
                wanted *= 2;
                continue;
            }
            let (ritz, residuals, more) = self.improved(pairs)?;
            solves += more;
            let mut found = self.told(&ritz, &residuals);
            found.truncate(wishes.count.max(unstable));
            return Ok((found, solves, unstable));
        }
        Ok((Vec::new(), solves, unstable))
    }

    /// Modes ascending from vectors.
    fn told(&self, ritz: &Ritz, residuals: &[f64]) -> Vec<Mode> {
        let airy: Vec<Block> = match &self.air {
            Some(air) => ritz.vectors.iter().map(|block| air.times(block)).collect(),
            None => Vec::new(),
        };
        let of = |i: usize| {
            let (b, c) = (i / BLOCK, i % BLOCK);
            let eigenvalue = ritz.theta[i] - self.lift;
            let share =
                |airy: &Block| -> f64 { airy.iter().zip(&ritz.vectors[b]).map(|(a, x)| a[c] * x[c]).sum() };
            Mode {
                eigenvalue,
                frequency_hz: eigenvalue.max(0.0).sqrt() / std::f64::consts::TAU,
                shape: self.shape(&ritz.vectors[b], c),
                residual: residuals[i],
                air_share: airy.get(b).map_or(0.0, share),
            }
        };
        (0..ritz.theta.len()).map(of).collect()
    }

    /// Quotients of Rayleigh and Ritz with stiffness of full digits, and relative residuals; the vectors are improved
    /// until the residuals are accepted or stand still. With the solves that took.
    fn improved(&self, pairs: Pairs) -> Result<(Ritz, Vec<f64>, u32), SolveError> {
        let (mut vectors, size) = (pairs.vectors, pairs.theta.len());
        let (mut solves, mut before) = (0, f64::INFINITY);
        for round in 0.. {
            let ritz = self.ritz(vectors, size)?;
            let (steps, residuals) = self.steps(&ritz)?;
            solves += u32::try_from(steps.len()).unwrap_or(u32::MAX);
            let worst = residuals.iter().copied().fold(0.0, f64::max);
            if worst < ACCEPTED || round >= MOST_ROUNDS || worst > 0.5 * before {
                return Ok((ritz, residuals, solves));
            }
            before = worst;
            vectors = ritz.vectors;
            for (block, step) in vectors.iter_mut().zip(&steps) {
                block
                    .par_iter_mut()
                    .zip(step)
                    .for_each(|(x, d)| x.iter_mut().zip(d).for_each(|(x, d)| *x += d));
            }
        }
        Ok((
            Ritz { theta: Vec::new(), vectors: Vec::new(), stiff: Vec::new(), heavy: Vec::new() },
            Vec::new(),
            0,
        ))
    }

    /// `(K + lift M)^-1 (lambda M x - (K + lift M) x)` of every vector and its length: the relative residual.
    fn steps(&self, ritz: &Ritz) -> Result<(Vec<Block>, Vec<f64>), SolveError> {
        let mut residuals = Vec::with_capacity(ritz.theta.len());
        let mut steps = Vec::with_capacity(ritz.vectors.len());
        for ((stiff, heavy), theta) in ritz.stiff.iter().zip(&ritz.heavy).zip(ritz.theta.chunks(BLOCK)) {
            let of = |(k, m): (&[f64; BLOCK], &[f64; BLOCK])| {
                let mut row = [0.0; BLOCK];
                for (i, theta) in theta.iter().enumerate() {
                    row[i] = theta * m[i] - k[i];
                }
                row
            };
            let mut step: Block = stiff.par_iter().zip(heavy).map(of).collect();
            self.solve(&mut step).map_err(|e| refused(&e))?;
            let with_mass = Pencil::mass(self, &step);
            for r in 0..theta.len() {
                let square: f64 = step.iter().zip(&with_mass).map(|(a, b)| a[r] * b[r]).sum();
                residuals.push(square.max(0.0).sqrt());
            }
            steps.push(step);
        }
        Ok((steps, residuals))
    }

    /// Best vectors within the space of the given ones: `theta` ascending, of unit mass.
    fn ritz(&self, vectors: Vec<Block>, size: usize) -> Result<Ritz, SolveError> {
        let heavy: Vec<Block> = vectors.iter().map(|block| Pencil::mass(self, block)).collect();
        let mut stiff = self.stiff(&vectors, size)?;
        if self.lift != 0.0 {
            for (k, m) in stiff.iter_mut().zip(&heavy) {
                for (k, m) in k.iter_mut().zip(m) {
                    k.iter_mut().zip(m).for_each(|(k, m)| *k += self.lift * m);
                }
            }
        }
        let both = |a: &[Block], b: &[Block]| {
            let product = linear::gram(a, b, size);
            (&product + product.transpose()) * 0.5
        };
        let (k, m) = (both(&vectors, &stiff), both(&vectors, &heavy));
        let Some(root) = Cholesky::new(m).map(|c| c.l()) else {
            return Err(SolveError::Model {
                what: "modes that depend on each other".to_owned(),
                remedy: "ask for fewer modes".to_owned(),
            });
        };
        let back = root.clone().try_inverse().unwrap_or_else(|| DMatrix::identity(size, size));
        let eigen = SymmetricEigen::new(&back * k * back.transpose());
        let mut rank: Vec<usize> = (0..size).collect();
        rank.sort_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]).then(a.cmp(&b)));
        let chosen = (back.transpose() * eigen.eigenvectors).select_columns(&rank);
        let turned = |blocks: &[Block]| linear::combined(&blocks.iter().collect::<Vec<_>>(), &chosen);
        Ok(Ritz {
            theta: rank.iter().map(|&i| eigen.eigenvalues[i]).collect(),
            vectors: turned(&vectors),
            stiff: turned(&stiff),
            heavy: turned(&heavy),
        })
    }

    /// Stiffness times the first `size` vectors.
    fn stiff(&self, blocks: &[Block], size: usize) -> Result<Vec<Block>, SolveError> {
        if let Some(tangent) = &self.tangent {
            return Ok(blocks.iter().map(|block| tangent.times(block)).collect());
        }
        let balance = Balance { model: &self.model, elements: &self.elements, layout: &self.layout };
        let of = |(b, block): (usize, &Block)| {
            let used = BLOCK.min(size.saturating_sub(b * BLOCK));
            let columns: Vec<Vec<f64>> =
                (0..used).map(|c| block.iter().map(|row| row[c]).collect()).collect();
            let products = balance.times(&columns);
            let row = |i: usize| std::array::from_fn(|c| products.get(c).map_or(0.0, |p| p[i]));
            (0..block.len()).map(row).collect()
        };
        Ok(blocks.iter().enumerate().map(of).collect())
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
        let factor = factor.map_err(|e| statics::explained(&self.model, &self.layout, &e))?;
        Ok(Some([factor.negative_pivots(), i]))
    }
}

impl Pencil for Problem {
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

impl std::fmt::Debug for Problem {
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

/// Lower triangle of a mass given per triangle in its own axes.
fn assembled_mass(state: &Linearised, own: impl Fn(usize) -> Matrix18 + Sync) -> Vec<f64> {
    let all: Vec<Matrix18> = (0..state.triads.len()).into_par_iter().map(&own).collect();
    let pair = |e: usize, b: usize, a: usize| -> Matrix6<f64> {
        turned(&all[e].fixed_view::<6, 6>(6 * b, 6 * a).into_owned(), &state.triads[e])
    };
    let mut lower = state.layout.assemble(&state.model, pair);
    // Triangles of rigid pieces are in no pattern; all their mass lies on the piece.
    for e in (0..all.len()).filter(|&e| state.elements.rigid[e]) {
        let mut whole = Matrix18::zeros();
        for a in 0..3 {
            for b in 0..3 {
                whole.fixed_view_mut::<6, 6>(6 * b, 6 * a).copy_from(&pair(e, b, a));
            }
        }
        state.layout.add_rigid_triangle(&state.model, e, &whole, &mut lower);
    }
    lower
}

/// Bodies at nodes, turned with them.
fn add_bodies(state: &Linearised, lower: &mut [f64]) {
    for (node, inertia) in &state.model.node_mass {
        let Some(rotation) = state.pose.rotations.get(*node as usize) else { continue };
        let own =
            if *rotation == Matrix3::identity() { *inertia } else { turned(inertia, &rotation.transpose()) };
        state.layout.add_at_node(&state.model, *node, &own, lower);
    }
}
