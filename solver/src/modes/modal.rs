//! The eigenproblem of one state: matrices, factor, modes, and static answers by the same factor.
//!
//! Lanczos works with the assembled matrices. At rest the modes are then judged, and improved where need be, by
//! stiffness element by element with the rigid motion taken out, which the rounding of assembled entries does not
//! reach; about an equilibrium the triangles' tangents serve in the same way.

use super::product::{Product, Tangent};
use super::rows::SymmetricRows;
use super::{Mode, ModeWishes, Modes};
use crate::assemble::{self, Elements, Layout, refused, turned};
use crate::element::{self, Matrix18};
use crate::error::SolveError;
use crate::linear::{BLOCK, Block, Factor, LinearError, Pencil, Structure};
use crate::model::Model;
use crate::statics;
use crate::swing::{Linearised, Path, Pose};
use nalgebra::{Matrix3, Matrix6, Vector6};
use rayon::prelude::*;
use std::sync::Arc;
use std::time::Instant;

/// The natural modes of one state with what found them.
#[derive(Debug)]
pub struct Modal {
    /// The modes.
    pub modes: Modes,
    problem: Problem,
}

/// Stiffness and mass on one pattern, stiffness factored.
pub(super) struct Problem {
    model: Model,
    elements: Arc<Elements>,
    layout: Arc<Layout>,
    stiffness: Vec<f64>,
    mass_values: Vec<f64>,
    mass: SymmetricRows,
    pub(super) air: Option<SymmetricRows>,
    /// Tangents of the triangles; None at rest.
    tangent: Option<Tangent>,
    pub(super) lift: f64,
    pub(super) factor: Factor,
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
            rest: Vec::new(),
            packed: Vec::new(),
            corners: Vec::new(),
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
        let image = problem.stiff(&[&to_block(&x)]);
        let mut rest: Vec<f64> = load.iter().zip(&image[0]).map(|(f, k)| f - k[0]).collect();
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
        if !air.is_empty() && (air.len() != state.triads.len() || !air.iter().all(|m| *m >= 0.0)) {
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
        let Linearised { model, elements, layout, values: stiffness, rest, packed, corners, pose, .. } =
            state;
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
            tangent: (!at_rest).then(|| Tangent {
                packed,
                corners,
                positions_m: pose.positions_m,
                rest: rows(&rest),
            }),
            model,
            elements,
            layout,
            stiffness,
            mass_values,
            lift: wishes.lift,
            factor,
        })
    }

    pub(super) fn structure(&self) -> &Structure {
        &self.layout.structure
    }

    /// Stiffness, the lift included, times each block.
    pub(super) fn stiff(&self, blocks: &[&Block]) -> Vec<Block> {
        let Self { model, elements, layout, tangent, .. } = self;
        let mut out = Product { model, elements, layout, tangent: tangent.as_ref() }.times(blocks);
        if self.lift != 0.0 {
            for (out, x) in out.iter_mut().zip(blocks) {
                out.par_iter_mut().zip(self.mass.times(x)).for_each(|(k, m)| {
                    k.iter_mut().zip(m).for_each(|(k, m)| *k += self.lift * m);
                });
            }
        }
        out
    }

    /// Displacement of every node.
    pub(super) fn shape(&self, x: &[[f64; BLOCK]], column: usize) -> Vec<Vector6<f64>> {
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

    /// Smooth motions over the whole model: bending in polynomials of the place, with a shift in the plane beside the
    /// last two. The shifts alone would move far less than bending does and leave columns that count for nothing.
    fn guess(&self) -> Option<Block> {
        let model = &self.model;
        let mut places = vec![[0.0; 3]; model.freedoms.blocks.len()];
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for (follow, p) in model.freedoms.follow.iter().zip(&model.nodes_m) {
            let place = &mut places[follow.block as usize];
            *place = [place[0] + p[0], place[1] + p[1], place[2] + 1.0];
            for k in 0..2 {
                low[k] = low[k].min(p[k]);
                high[k] = high[k].max(p[k]);
            }
        }
        let half = 0.5 * (high[0] - low[0]).max(high[1] - low[1]).max(f64::MIN_POSITIVE);
        let structure = self.structure();
        let mut rows = vec![[0.0; BLOCK]; structure.n_unknowns()];
        for (vertex, &block) in self.layout.blocks.iter().enumerate() {
            let [sx, sy, count] = places[block as usize];
            let x = (sx / count - low[0]) / half;
            let y = (sy / count - 0.5 * (low[1] + high[1])) / half;
            let first = structure.first()[structure.position()[vertex] as usize] as usize;
            for (k, &component) in self.layout.free(vertex).iter().enumerate() {
                rows[first + k] = match component {
                    0 => [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0],
                    1 => [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0],
                    2 => [1.0, x, y, x * x, x * y, x * x * y, x * x * x, y * y],
                    3 => [0.0, 0.0, 1.0, 0.0, x, x * x, 0.0, 2.0 * y].map(|slope| slope / half),
                    4 => {
                        [0.0, 1.0, 0.0, 2.0 * x, y, 2.0 * x * y, 3.0 * x * x, 0.0].map(|slope| -slope / half)
                    }
                    _ => [0.0; BLOCK],
                };
            }
        }
        Some(rows)
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
