//! Small displacements under static load: `K u = f`, refined until the answer is worth seven digits.
//!
//! In: a [`Model`] and load cases. Out: displacements as pairs of doubles, energy, reactions, and how good the
//! plain solve was. A direct solve in doubles loses digits with the fourth power of length over triangle size
//! (the matrix mixes stretching with bending), so each solve is corrected with a residual formed element by
//! element. Absent: large rotation, inertia.
//!
//! Size of a correction: the larger of two ratios, both free of units. One is in displacements,
//! `|du| / |u|` with `|u|^2` the sum over nodes of displacement squared plus (half the model's diagonal times
//! rotation) squared. The other is in energy, `sqrt(du' r / u' K u)`, since strain can be small against rigid
//! motion. Refinement stops below [`SETTLED`], or where the residual left after a correction shows that the next one
//! would be far below: the factor's error acts on a correction as it acted on what was corrected, so a residual that
//! fell by some factor foretells corrections that fall by the same.

mod held;
mod pair;
mod refused;
mod residual;
#[cfg(test)]
mod tests;

pub(crate) use held::check;
pub(crate) use pair::two_sum;
pub(crate) use refused::{explained, fits};
pub(crate) use residual::Balance;

use crate::assemble::{Elements, Layout, refused};
use crate::element::Vector18;
use crate::error::SolveError;
use crate::linear::{Factor, Structure};
use crate::model::{LoadCase, Model, Solution};
use nalgebra::{Vector3, Vector6};
use pair::Pair6;
use rayon::prelude::*;
use residual::{Forces, State, Wanted};
use std::time::Instant;

/// Relative correction at which a solution is settled.
pub const SETTLED: f64 = 1e-7;

/// A correction foretold from the residual must be this much smaller than one that was made.
const FORETOLD: f64 = 0.1;

/// No correction is foretold to be smaller: rounding of the element products leaves about this much.
const ROUNDING: f64 = 1e-11;

/// Refinements before giving up; each pair must gain tenfold, so this is never the first limit met.
const MOST_REFINEMENTS: u32 = 30;

/// Share of the work of moving the supports below which strain energy is rounding.
const ENERGY_FLOOR: f64 = 1e-18;

/// Load cases solved together: as many as one board needs, so that factor and element matrices are read once.
const GROUP: usize = 8;

/// A model with its stiffness factored: ready for any number of load cases.
#[derive(Debug)]
pub struct Prepared<'m> {
    model: &'m Model,
    elements: Elements,
    layout: Layout,
    factor: Factor,
    half_size: f64,
    seconds: Seconds,
}

/// Where the time of [`Prepared::new`] went, s.
#[derive(Debug, Clone, Copy, Default)]
pub struct Seconds {
    /// Checks and element matrices.
    pub elements: f64,
    /// Elimination order.
    pub order: f64,
    /// Graph, patterns of matrix and factor, and where each element adds.
    pub symbolic: f64,
    /// Sum into the sparse matrix.
    pub assembly: f64,
    /// Numeric factor.
    pub factor: f64,
}

/// How well a load case is to be solved, and what for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wish {
    /// Relative correction at which it is good enough.
    pub correction: f64,
    /// Displacements alone: no reactions, and the energy is left at zero.
    pub motion_only: bool,
}

impl Default for Wish {
    fn default() -> Self {
        Self { correction: SETTLED, motion_only: false }
    }
}

/// A solved load case.
#[derive(Debug, Clone)]
pub struct Solved {
    /// Displacements.
    pub solution: Solution,
    /// What the supports exert, by node in ascending order; none where only the motion is wished.
    pub reactions: Vec<Reaction>,
}

/// Force and moment that a support exerts.
#[derive(Debug, Clone, PartialEq)]
pub struct Reaction {
    /// Node; for a rigid piece its first node.
    pub node: u32,
    /// Force (N) and moment about the node (N m) on the board, global axes.
    pub load: Vector6<f64>,
}

impl<'m> Prepared<'m> {
    /// Checks the model, orders, assembles and factors its stiffness.
    ///
    /// # Errors
    /// [`SolveError::NotHeld`] for a piece that can move freely, [`SolveError::Model`] for a model that does not
    /// fit together or is too large, [`SolveError::Singular`] where the stiffness vanishes, [`SolveError::Memory`]
    /// where the factor would not fit.
    pub fn new(model: &'m Model) -> Result<Self, SolveError> {
        let mut clock = Instant::now();
        let mut lap = || std::mem::replace(&mut clock, Instant::now()).elapsed().as_secs_f64();
        check(model)?;
        let elements = Elements::new(model)?;
        let elements_s = lap();
        let layout = Layout::new(model, &elements)?;
        let layout_s = lap();
        fits(model, &layout.structure)?;
        let values = layout.assemble(model, |triangle, b, a| elements.pair(triangle, b, a));
        let assembly_s = lap();
        let factor = layout.structure.factorise(&values, None).map_err(|e| explained(model, &layout, &e))?;
        let [order_s, _] = layout.structure.seconds();
        let seconds = Seconds {
            elements: elements_s,
            order: order_s,
            symbolic: layout_s - order_s,
            assembly: assembly_s,
            factor: lap(),
        };
        Ok(Self { model, elements, layout, factor, half_size: 0.5 * diagonal(model), seconds })
    }

    /// The model.
    #[must_use]
    pub fn model(&self) -> &'m Model {
        self.model
    }

    /// Where the time went.
    #[must_use]
    pub fn seconds(&self) -> Seconds {
        self.seconds
    }

    /// Order and patterns of the factored matrix.
    #[must_use]
    pub fn structure(&self) -> &Structure {
        &self.layout.structure
    }

    /// The factored matrix.
    #[must_use]
    pub fn factor(&self) -> &Factor {
        &self.factor
    }

    /// Number of free unknowns.
    #[must_use]
    pub fn n_unknowns(&self) -> usize {
        self.layout.structure.n_unknowns()
    }

    /// Solves all load cases, each refined to a relative correction below [`SETTLED`].
    ///
    /// # Errors
    /// [`SolveError::Inaccurate`] if two refinements do not gain tenfold, [`SolveError::Model`] for loads that
    /// do not fit the model.
    pub fn solve(&self, cases: &[LoadCase]) -> Result<Vec<Solution>, SolveError> {
        let all = self.solve_within(cases, &vec![Wish::default(); cases.len()])?;
        Ok(all.into_iter().map(|solved| solved.solution).collect())
    }

    /// Solves all load cases, each refined until a correction is below its own wish; with what the supports exert.
    ///
    /// A correction is about as large as the error before it, and its own error smaller by the same ratio again.
    ///
    /// # Errors
    /// As [`Self::solve`].
    pub fn solve_within(&self, cases: &[LoadCase], wishes: &[Wish]) -> Result<Vec<Solved>, SolveError> {
        for case in cases {
            check_case(self.model, case)?;
        }
        let wished = |k: usize| wishes.get(k).copied().unwrap_or_default();
        let wanted: Vec<(&LoadCase, Wish)> = cases.iter().enumerate().map(|(k, c)| (c, wished(k))).collect();
        let mut solutions = Vec::with_capacity(cases.len());
        for group in wanted.chunks(GROUP) {
            let mut runs: Vec<Run<'_>> =
                group.par_iter().map(|&(case, wish)| Run::new(self, case, wish)).collect();
            self.rebalance(&mut runs.iter_mut().collect::<Vec<_>>());
            while runs.iter().any(|run| !run.done) {
                self.step(&mut runs)?;
            }
            solutions.extend(runs.iter().map(|run| Solved {
                solution: self.solution(run),
                reactions: match run.wish.motion_only {
                    true => Vec::new(),
                    false => self.reactions_from(&run.loads, &run.forces),
                },
            }));
        }
        Ok(solutions)
    }

    /// Gives the memory back on another thread: the pages of a large factor take a while, and others may use it.
    pub(crate) fn discard(self) {
        let Self { elements, layout, factor, .. } = self;
        rayon::spawn(move || drop((elements, layout, factor)));
    }

    fn balance(&self) -> Balance<'_> {
        Balance { model: self.model, elements: &self.elements, layout: &self.layout }
    }

    /// One solve for every case that is not done, then its new residual.
    fn step(&self, runs: &mut [Run<'_>]) -> Result<(), SolveError> {
        let n = self.n_unknowns();
        let mut active: Vec<&mut Run<'_>> = runs.iter_mut().filter(|run| !run.done).collect();
        let mut rhs = Vec::with_capacity(n * active.len());
        for run in &active {
            rhs.extend_from_slice(&run.residual);
        }
        self.layout.structure.solve(&self.factor, &mut rhs, active.len()).map_err(|e| refused(&e))?;
        let parts = active.par_iter_mut().zip(rhs.par_chunks_exact(n.max(1)));
        // All outcomes are gathered first, so that of several errors the same one is told every time.
        parts
            .map(|(run, step)| run.advance(self, step))
            .collect::<Vec<_>>()
            .into_iter()
            .collect::<Result<(), _>>()?;
        active.retain(|run| !(run.done && run.wish.motion_only));
        self.rebalance(&mut active);
        active.iter_mut().for_each(|run| run.foresee(self));
        Ok(())
    }

    /// Internal forces and residuals of several runs from their states.
    fn rebalance(&self, runs: &mut [&mut Run<'_>]) {
        let mut wanted: Vec<Wanted<'_>> = runs
            .iter_mut()
            .map(|run| {
                let run = &mut **run;
                Wanted { state: &run.state, case: run.case, forces: &mut run.forces }
            })
            .collect();
        self.balance().fill(&mut wanted);
        for run in runs {
            self.balance().residual(&run.loads, &run.forces, &mut run.residual);
        }
    }

    /// Size of a residual, N: moments count by the lever of half the model.
    fn size(&self, residual: &[f64]) -> f64 {
        let structure = &self.layout.structure;
        let parts = structure.order().iter().zip(structure.first());
        let squares = parts.map(|(&vertex, &first)| {
            let own = self.layout.free(vertex as usize).iter().zip(&residual[first as usize..]);
            own.map(|(&c, r)| if c < 3 { r * r } else { (r / self.half_size).powi(2) }).sum::<f64>()
        });
        squares.sum::<f64>().sqrt()
    }

    fn solution(&self, run: &Run<'_>) -> Solution {
        Solution {
            displacement: run.state.nodes.iter().map(|node| node.leading).collect(),
            trailing: run.state.nodes.iter().map(|node| node.trailing).collect(),
            energy: match run.wish.motion_only {
                true => 0.0,
                false => 0.5 * run.forces.quadratic - run.forces.thermal + self.locked_in(run.case),
            },
            first_correction: run.corrections.first().copied().unwrap_or(0.0),
            last_correction: run.foretold.or(run.corrections.last().copied()).unwrap_or(0.0),
            refinements: u32::try_from(run.corrections.len()).unwrap_or(u32::MAX),
        }
    }

    /// Strain energy of heating with every node fixed, J.
    fn locked_in(&self, case: &LoadCase) -> f64 {
        if case.thermal_factor == 0.0 {
            return 0.0;
        }
        let per_area: Vec<f64> = self
            .model
            .laminates
            .iter()
            .map(|laminate| {
                let plies = laminate.plies.iter().filter(|ply| !ply.sliding);
                plies
                    .map(|ply| {
                        let strain = ply.free_strain() * case.thermal_factor;
                        0.5 * (ply.z1_m - ply.z0_m) * strain.dot(&(ply.q_pa * strain))
                    })
                    .sum()
            })
            .collect();
        let triangles = self.elements.local.iter().zip(&self.model.laminate_of);
        triangles.map(|(t, &l)| 0.5 * crate::element::double_area(&t.corners) * per_area[l as usize]).sum()
    }

    /// What the supports exert in a solved case, by node in ascending order.
    #[must_use]
    pub fn reactions(&self, case: &LoadCase, solution: &Solution) -> Vec<Reaction> {
        let state = state_of(solution);
        let forces = self.balance().forces(&state, case);
        self.reactions_from(&self.balance().block_loads(case), &forces)
    }

    fn reactions_from(&self, loads: &[Vector6<f64>], forces: &Forces) -> Vec<Reaction> {
        support_reactions(self.model, |block| self.balance().imbalance(block, loads, forces))
    }
}

/// What the supports exert, block by block; `net`: load less internal force of a block.
pub(crate) fn support_reactions(model: &Model, net: impl Fn(usize) -> Vector6<f64>) -> Vec<Reaction> {
    let blocks = &model.freedoms.blocks;
    let mut told = vec![false; blocks.len()];
    let mut reactions = Vec::new();
    for (node, follow) in (0u32..).zip(&model.freedoms.follow) {
        let block = follow.block as usize;
        if told[block] || !blocks[block].held.contains(&true) {
            continue;
        }
        told[block] = true;
        let mut force = -net(block);
        for c in (0..6).filter(|&c| !blocks[block].held[c]) {
            force[c] = 0.0;
        }
        // Work is the same in node freedoms: F . G q = force . q.
        let load = match &follow.matrix {
            None => Some(force),
            Some(g) => g.transpose().try_inverse().map(|back| back * force),
        };
        reactions.extend(load.map(|load| Reaction { node, load }));
    }
    reactions
}

/// Refuses loads that do not fit the model.
pub(crate) fn check_case(model: &Model, case: &LoadCase) -> Result<(), SolveError> {
    let fits = case.nodal.is_empty() || case.nodal.len() == model.nodes_m.len();
    let finite = case.nodal.iter().all(|f| f.iter().all(|x| x.is_finite()))
        && case.thermal_factor.is_finite()
        && case.prescribed_factor.is_finite();
    if fits && finite {
        return Ok(());
    }
    let what = if fits { "a load is not a finite number" } else { "loads for another number of nodes" };
    Err(SolveError::Model { what: what.to_owned(), remedy: "give one finite load per node".to_owned() })
}

/// Motion of a triangle's corners in its own axes (u, v, w, tx, ty, tz, corner by corner), less the linearised
/// rigid motion of its first corner: the full digits of a refined solution, ready for strain operators.
///
/// `local`: the triangle's own axes as [`crate::element::local`] gives them.
#[must_use]
pub fn strained_motion(
    model: &Model,
    solution: &Solution,
    local: &crate::element::Local,
    triangle: usize,
) -> Vector18 {
    let corners = model.triangles[triangle].map(|node| Pair6 {
        leading: solution.displacement[node as usize],
        trailing: solution.trailing.get(node as usize).copied().unwrap_or_default(),
    });
    let corners = [&corners[0], &corners[1], &corners[2]];
    residual::strained(model, local, triangle, corners, pair::two_product)
}

fn state_of(solution: &Solution) -> State {
    let pairs = solution.displacement.iter().zip(&solution.trailing);
    let nodes = pairs.map(|(&leading, &trailing)| Pair6 { leading, trailing }).collect();
    let still = solution.displacement.iter().all(|d| d.amax() == 0.0);
    State { blocks: Vec::new(), nodes, still }
}

/// One load case on its way to the solution.
#[derive(Debug)]
struct Run<'c> {
    case: &'c LoadCase,
    loads: Vec<Vector6<f64>>,
    state: State,
    forces: Forces,
    residual: Vec<f64>,
    wish: Wish,
    /// Work of the first residual on the first solve: the scale of energy.
    work: f64,
    /// Size of the residual after the last solve.
    left: f64,
    solved: bool,
    corrections: Vec<f64>,
    /// Size of the correction that was not worth making.
    foretold: Option<f64>,
    done: bool,
}

impl<'c> Run<'c> {
    fn new(prepared: &Prepared<'_>, case: &'c LoadCase, wish: Wish) -> Self {
        let state = State::at_supports(prepared.model, case.prescribed_factor);
        let loads = prepared.balance().block_loads(case);
        Self {
            case,
            loads,
            state,
            forces: Forces::default(),
            residual: vec![0.0; prepared.n_unknowns()],
            wish,
            work: 0.0,
            left: 0.0,
            solved: false,
            corrections: Vec::new(),
            foretold: None,
            done: false,
        }
    }

    /// Takes one solve of the residual: the first is the plain solution, later ones correct it. Forces and residual
    /// still are those of the state before.
    fn advance(&mut self, prepared: &Prepared<'_>, step: &[f64]) -> Result<(), SolveError> {
        let work: f64 = step.iter().zip(&self.residual).map(|(a, b)| a * b).sum();
        let moved = prepared.balance().correct(&mut self.state, step, prepared.half_size);
        if !self.solved {
            self.solved = true;
            self.work = work;
            return Ok(());
        }
        let energy = self.forces.quadratic.max(ENERGY_FLOOR * self.work);
        let correction = ratio(moved, self.state.squared_norm(prepared.half_size)).max(ratio(work, energy));
        self.corrections.push(correction);
        self.done = correction < self.wish.correction;
        let n = self.corrections.len();
        let stuck = n >= 3 && correction > 0.1 * self.corrections[n - 3];
        if !self.done && (stuck || !correction.is_finite() || n >= MOST_REFINEMENTS as usize) {
            return Err(SolveError::Inaccurate {
                correction,
                length_over_size: length_over_size(prepared.model),
            });
        }
        Ok(())
    }
}

impl Run<'_> {
    /// Ends a run whose next correction would be far below its wish, by the fall of the residual and of the corrections
    /// so far; the last correction is then the one foretold.
    fn foresee(&mut self, prepared: &Prepared<'_>) {
        let before = std::mem::replace(&mut self.left, prepared.size(&self.residual));
        let [.., last] = self.corrections[..] else { return };
        let n = self.corrections.len();
        // The first correction itself says how much smaller it is than what it corrects.
        let fall = if n > 1 { last / self.corrections[n - 2] } else { last };
        let next = last * fall.max(if before > 0.0 { self.left / before } else { 1.0 });
        let next = next.max(ROUNDING);
        if !self.done && next < FORETOLD * self.wish.correction {
            self.foretold = Some(next);
            self.done = true;
        }
    }
}

/// Root of a ratio of squares; nothing over nothing is nothing.
fn ratio(part: f64, whole: f64) -> f64 {
    if part == 0.0 { 0.0 } else { (part.abs() / whole).sqrt() }
}

/// Diagonal of the box around all nodes, m.
pub(crate) fn diagonal(model: &Model) -> f64 {
    let mut low = Vector3::repeat(f64::INFINITY);
    let mut high = Vector3::repeat(f64::NEG_INFINITY);
    for p in &model.nodes_m {
        let p = Vector3::from(*p);
        low = low.inf(&p);
        high = high.sup(&p);
    }
    (high - low).norm()
}

/// Length of the model over the size of its smallest triangle.
fn length_over_size(model: &Model) -> f64 {
    let size = |t: &[u32; 3]| {
        let [a, b, c] = t.map(|node| Vector3::from(model.nodes_m[node as usize]));
        (b - a).cross(&(c - a)).norm().sqrt()
    };
    diagonal(model) / model.triangles.iter().map(size).fold(f64::INFINITY, f64::min)
}
