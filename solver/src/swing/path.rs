//! Along the equilibria of one mesh: by load, by a prescribed measure, by length of path.
//!
//! In: a model and its loads. Out: one [`State`] per equilibrium, the present one as an [`Equilibrium`]. Steps that do
//! not settle are cut; the last good state always stays. From three states on, the next is guessed by a polynomial
//! through them, stance and element forces alike, so that a path costs one or two factorisations a step.

use super::equilibrium::Equilibrium;
use super::field::{Field, Level, Loads, gather, to_frame};
use super::lagged::LaggedCopper;
use super::load::Pose;
use super::measure::Along;
use super::newton::{Failure, Goal, Measure, Measured, Newton, Point, Settled};
use super::stance::Stance;
use crate::assemble::{Elements, Layout, public};
use crate::copper::Law;
use crate::copper::shell::ShellCopper;
use crate::element::Vector18;
use crate::error::SolveError;
use crate::model::Model;
use crate::model::loads::Nodal;
use copperbend_mesh::board::LayerId;
use nalgebra::{Matrix3, Vector3, Vector6};
use nalgebra_sparse::CscMatrix;
use std::sync::Arc;

/// Known states kept for guessing.
const KEPT: usize = 4;
/// Places closer than this, over half the model's diagonal, are the same.
const SAME_PLACE: f64 = 1e-5;
/// Smallest share of a step before giving up.
const LEAST_SHARE: f64 = 1.0 / 1024.0;

/// An equilibrium in figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// Factors on everything that acts.
    pub level: Level,
    /// Newton steps of the last settled stretch.
    pub iterations: usize,
    /// Negative pivots of its last factor: above zero the state is not stable under its loads. (Made within the last
    /// steps; [`Path::negative_pivots`] makes one at the state itself.)
    pub negative_pivots: usize,
    /// Work of the last step over that of the first or the strain energy: the square of what the state is worth.
    pub last_work: f64,
    /// Strain energy (thermal work taken off), J.
    pub energy_j: f64,
}

/// A state with all that is needed to go on from it.
#[derive(Debug, Clone)]
pub struct Mark(Arc<Known>);

impl Mark {
    /// Factors of the state.
    #[must_use]
    pub fn level(&self) -> Level {
        self.0.state.level
    }

    /// Where every node is.
    #[must_use]
    pub fn pose(&self) -> &Pose {
        &self.0.point.stance.pose
    }

    /// Whether both are the same state.
    #[must_use]
    pub fn is(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }
}

#[derive(Debug)]
pub(super) struct Known {
    pub(super) point: Point,
    state: State,
}

/// Small motion about an equilibrium.
#[derive(Debug)]
pub(crate) struct Linearised {
    /// Rigid pieces follow as they do here.
    pub(crate) model: Model,
    pub(crate) elements: Arc<Elements>,
    pub(crate) layout: Arc<Layout>,
    /// Symmetrised tangent in the layout's pattern.
    pub(crate) values: Vec<f64>,
    /// The part of it that is not of a triangle: loads that follow, arms of rigid pieces.
    pub(crate) rest: Vec<f64>,
    /// The triangles' own tangents, packed, global axes; empty at rest.
    pub(crate) packed: Vec<f64>,
    /// Forces of every triangle on its corners, global axes; empty at rest.
    pub(crate) corners: Vec<Vector18>,
    /// Axes of every triangle here.
    pub(crate) triads: Vec<Matrix3<f64>>,
    pub(crate) pose: Pose,
}

/// A model on its way through large motion.
#[derive(Debug)]
pub struct Path<'a> {
    pub(super) newton: Newton<'a>,
    pub(super) now: Arc<Known>,
    /// States passed, the latest last.
    passed: Vec<Arc<Known>>,
}

impl<'a> Path<'a> {
    /// A model at rest, ready to be loaded. Order and patterns are found here, once.
    ///
    /// # Errors
    /// As [`crate::statics::Prepared::new`]; [`SolveError::Model`] for a rigid piece that is held in part in an unknown way.
    pub fn new(model: &Model, loads: Loads<'a>) -> Result<Self, SolveError> {
        let mut field = Field::new(model)?;
        let stance = Stance::at_rest(&field.links, model);
        stance.set_levers(&field.links, &mut field.model);
        let n = model.triangles.len();
        let own = vec![Vector18::zeros(); n];
        let state = State {
            level: Level::default(),
            iterations: 0,
            negative_pivots: 0,
            last_work: 0.0,
            energy_j: 0.0,
        };
        let now = Arc::new(Known { point: Point { stance, level: Level::default(), own, number: 0 }, state });
        Ok(Self { newton: Newton::new(field, loads), now: now.clone(), passed: vec![now] })
    }

    /// The present equilibrium in figures.
    #[must_use]
    pub fn state(&self) -> State {
        self.now.state
    }

    /// Where every node is.
    #[must_use]
    pub fn pose(&self) -> &Pose {
        &self.now.point.stance.pose
    }

    /// Displacement of a node from rest, m; the digits of small motion are kept.
    #[must_use]
    pub fn displacement_m(&self, node: u32) -> Vector3<f64> {
        self.now.point.stance.displacement(node as usize)
    }

    /// Factorisations made so far.
    #[must_use]
    pub fn factorisations(&self) -> usize {
        self.newton.factorisations
    }

    /// Free unknowns.
    #[must_use]
    pub fn n_unknowns(&self) -> usize {
        self.newton.field.n_unknowns()
    }

    /// The present state, to come back to.
    #[must_use]
    pub fn mark(&self) -> Mark {
        Mark(self.now.clone())
    }

    /// Back to a state passed before. The states around it stay known for guessing.
    pub fn back_to(&mut self, mark: &Mark) {
        self.now = mark.0.clone();
    }

    /// Whether the present state leads back to one passed before when its factors are taken back: true on one branch
    /// of equilibria, false where the board has snapped to another in between. The present state stays.
    pub fn leads_back_to(&mut self, before: &Mark) -> bool {
        let (now, passed) = (self.now.clone(), self.passed.clone());
        let (from, to) = (now.state.level, before.level());
        let went = self.by_shares(|path, share| {
            let level = Level::between(&from, &to, share);
            path.attempt(&Goal { level, measured: None }, &[], share)
        });
        let size = self.newton.field.half_size;
        let back = went.is_ok() && {
            let (a, b) = (&self.pose().positions_m, &before.0.point.stance.pose.positions_m);
            a.iter().zip(b).all(|(x, y)| (x - y).norm() < SAME_PLACE * size)
        };
        (self.now, self.passed) = (now, passed);
        back
    }

    /// The present equilibrium as an object of its own.
    ///
    /// # Errors
    /// As the loads' [`SolveError::Model`].
    pub fn equilibrium(&mut self) -> Result<Equilibrium, SolveError> {
        Ok(self.equilibrium_and_drive()?.0)
    }

    /// As [`Self::equilibrium`], with the driven load at unit factor: force and moment per node.
    ///
    /// # Errors
    /// As the loads' [`SolveError::Model`].
    pub(crate) fn equilibrium_and_drive(&mut self) -> Result<(Equilibrium, Option<Nodal>), SolveError> {
        let now = self.now.clone();
        let (net, driven) = self.newton.balance(&now.point).map_err(|f| told(&f, 0.0))?;
        let found = Equilibrium::new(&self.newton.field, &self.newton.frames, &now.point, now.state, &net);
        Ok((found, driven))
    }

    /// Negative pivots of the tangent at the present state itself: the number of ways in which it gives way.
    ///
    /// # Errors
    /// [`SolveError::Singular`] where a pivot vanishes.
    pub fn negative_pivots(&mut self) -> Result<usize, SolveError> {
        let now = self.now.clone();
        let (_, negative) = self.newton.inspect(&now.point).map_err(|f| told(&f, 0.0))?;
        Ok(negative)
    }

    /// Symmetrised tangent at the present state over the free unknowns, loads that follow included; rows as
    /// [`crate::assemble::unknowns`] names them: displacements and spatial spins.
    ///
    /// # Errors
    /// [`SolveError::Singular`] where a pivot vanishes.
    pub fn tangent(&mut self) -> Result<CscMatrix<f64>, SolveError> {
        let now = self.now.clone();
        let (values, _) = self.newton.inspect(&now.point).map_err(|f| told(&f, 0.0))?;
        public(&self.newton.field.layout, &values)
    }

    /// The tangent of the present state with everything a linear motion about it needs.
    ///
    /// # Errors
    /// [`SolveError::Model`] for a load that is not finite.
    pub(crate) fn linearised(&mut self) -> Result<Linearised, SolveError> {
        let now = self.now.clone();
        let (values, rest, corners) = self.newton.linearised(&now.point).map_err(|f| told(&f, 0.0))?;
        let field = &self.newton.field;
        let n = field.model.triangles.len();
        let triad = |e: usize| {
            field.moved(&now.point.stance, e).map_or_else(|| field.elements.local[e].triad, |m| m.triad)
        };
        Ok(Linearised {
            model: field.model.clone(),
            elements: field.elements.clone(),
            layout: field.layout.clone(),
            values,
            rest,
            packed: self.newton.triangle_tangents().to_vec(),
            corners,
            triads: (0..n).map(triad).collect(),
            pose: now.point.stance.pose.clone(),
        })
    }

    /// Change of the motion inside the frame of every triangle (as in [`Equilibrium::motion`]) with a small motion of
    /// the nodes about the present state: displacements and spatial spins.
    #[must_use]
    pub fn strained_by(&self, shape: &[Vector6<f64>]) -> Vec<Vector18> {
        let field = &self.newton.field;
        let of = |e: usize| match field.moved(&self.now.point.stance, e) {
            Some(moved) if !field.elements.rigid[e] => {
                moved.strained(&to_frame(&moved.triad, &gather(shape, field.model.triangles[e])))
            }
            _ => Vector18::zeros(),
        };
        (0..field.model.triangles.len()).map(of).collect()
    }

    /// To other factors, in as few steps as settle.
    ///
    /// # Errors
    /// [`SolveError::Stopped`] with the share of the way reached; the path stays at the last good state.
    pub fn to_level(&mut self, to: Level) -> Result<State, SolveError> {
        let from = self.now.state.level;
        self.by_shares(|path, share| {
            let level = Level::between(&from, &to, share);
            let known = path.on_line(&from, &to);
            path.attempt(&Goal { level, measured: None }, &known, share)
        })
    }

    /// To a value of a measure, by whatever factor on the driven load that takes; everything else as it is.
    ///
    /// # Errors
    /// [`SolveError::Stopped`] with the share of the way reached; the path stays at the last good state.
    pub fn to_measure(&mut self, measure: &dyn Measure, target: f64) -> Result<State, SolveError> {
        let from = measure.value(self.pose());
        if self.newton.loads.driven.is_none() {
            return Err(SolveError::Model {
                what: "nothing drives the board".to_owned(),
                remedy: "give it a load whose factor can be sought".to_owned(),
            });
        }
        self.by_shares(|path, share| {
            let target = if share >= 1.0 { target } else { from + share * (target - from) };
            let level = path.now.state.level;
            let measured = Measured { measure, target, per_factor: 0.0 };
            let known = path.at_same_level(measure);
            path.attempt(&Goal { level, measured: Some(measured) }, &known, target)
        })
    }

    /// A step of given length along the path of equilibria, past limit points: the driven factor is what it must be.
    ///
    /// `factor_scale`: change of the driven factor that counts as much as the model moving by its half diagonal (root
    /// mean square over its nodes). `length`: in these units; of the direction of the last two states.
    ///
    /// # Errors
    /// [`SolveError::Stopped`]; the path stays at the last good state. [`SolveError::Model`] without two states.
    pub fn along(&mut self, length: f64, factor_scale: f64) -> Result<State, SolveError> {
        let before = self.passed.iter().rev().find(|known| !Arc::ptr_eq(known, &self.now)).cloned();
        let Some(before) = before.filter(|_| factor_scale > 0.0 && length.is_finite()) else {
            return Err(SolveError::Model {
                what: "a path of one state has no direction".to_owned(),
                remedy: "make a step by load first".to_owned(),
            });
        };
        let (now, size) = (self.now.clone(), self.newton.field.half_size);
        let (a, b) = (&before.point.stance.pose.positions_m, &now.point.stance.pose.positions_m);
        let count = b.iter().fold(0.0, |n, _| n + 1.0);
        let moved = |x: &Vector3<f64>, y: &Vector3<f64>| (x - y) / (size * size * count);
        let mut direction: Vec<Vector3<f64>> = b.iter().zip(a).map(|(x, y)| moved(x, y)).collect();
        let turned = now.state.level.driven - before.state.level.driven;
        let mut per_factor = turned / (factor_scale * factor_scale);
        let squared = b.iter().zip(a).zip(&direction).map(|((x, y), t)| t.dot(&(x - y))).sum::<f64>();
        let norm = (squared + turned * per_factor).sqrt();
        direction.iter_mut().for_each(|t| *t /= norm);
        per_factor /= norm;
        let measure = Along { direction, from: b.clone() };
        let start = per_factor * now.state.level.driven;
        self.by_shares(|path, share| {
            let target = start + share * length;
            let level = path.now.state.level;
            let measured = Measured { measure: &measure, target, per_factor };
            path.attempt(&Goal { level, measured: Some(measured) }, &[], share)
        })
    }

    /// A whole way in steps that halve where they do not settle.
    fn by_shares(
        &mut self,
        mut attempt: impl FnMut(&mut Self, f64) -> Result<Settled, Failure>,
    ) -> Result<State, SolveError> {
        let (mut share, mut step) = (0.0f64, 1.0f64);
        while share < 1.0 {
            let next = (share + step).min(1.0);
            match attempt(self, next) {
                Ok(settled) => {
                    share = next;
                    step *= 2.0;
                    self.accept(settled);
                }
                Err(Failure::Fatal(error)) => return Err(error),
                Err(failure) => {
                    step = 0.5 * (next - share);
                    if step < LEAST_SHARE {
                        return Err(told(&failure, share));
                    }
                }
            }
        }
        Ok(self.now.state)
    }

    /// Lets copper yield from the present state on, which must be at rest or elastic so far.
    pub fn yielding(&mut self, copper: ShellCopper) {
        let triangles = self.newton.field.model.triangles.len();
        self.newton.field.copper = Some(LaggedCopper::new(copper, triangles));
    }

    /// The copper that may yield, at the present state.
    #[must_use]
    pub fn copper(&self) -> Option<&ShellCopper> {
        self.newton.field.copper.as_ref().map(|lagged| &lagged.copper)
    }

    /// Counts the plastic work of the copper anew from here.
    pub fn forget_plastic_work(&mut self) {
        if let Some(lagged) = &mut self.newton.field.copper {
            lagged.copper.forget_work();
        }
    }

    /// Changes the laws of the copper here, see [`ShellCopper::restart`].
    pub fn restart_copper(&mut self, law: impl Fn(LayerId) -> Option<Law>) {
        let now = self.now.clone();
        self.newton.field.restart_copper(&now.point.stance, now.state.level.thermal, law);
        self.turn_round();
    }

    /// Forgets the states passed: where the copper turns round, they say nothing of what comes.
    pub fn turn_round(&mut self) {
        self.passed = vec![self.now.clone()];
    }

    fn accept(&mut self, settled: Settled) {
        let thermal = settled.point.level.thermal;
        self.newton.field.keep_copper(&settled.point.stance, thermal);
        let energy = settled.energy_j;
        let last = settled.works.last().copied().unwrap_or(0.0);
        let scale = settled.works.first().copied().unwrap_or(0.0).max(energy.abs());
        let state = State {
            level: settled.point.level,
            iterations: settled.works.len(),
            negative_pivots: settled.negative,
            last_work: if last > 0.0 { last / scale } else { 0.0 },
            energy_j: energy,
        };
        self.now = Arc::new(Known { point: settled.point, state });
        self.passed.push(self.now.clone());
        if self.passed.len() > 2 * KEPT {
            self.passed.remove(0);
        }
    }

    /// One step: from a guess where enough is known, else from the present state.
    fn attempt(&mut self, goal: &Goal<'_>, known: &[(f64, Arc<Known>)], at: f64) -> Result<Settled, Failure> {
        if let Some((guess, driven)) = self.guess(known, at) {
            let mut goal = *goal;
            if goal.measured.is_some() {
                goal.level.driven = driven;
            }
            if let Ok(settled) = self.newton.settle(guess, &goal, true) {
                return Ok(settled);
            }
        }
        let start = self.now.point.clone();
        self.newton.settle(start, goal, false)
    }

    /// Polynomial through known states at another value of their parameter.
    fn guess(&mut self, known: &[(f64, Arc<Known>)], at: f64) -> Option<(Point, f64)> {
        let mut near: Vec<&(f64, Arc<Known>)> = known.iter().collect();
        near.sort_by(|a, b| (a.0 - at).abs().total_cmp(&(b.0 - at).abs()));
        near.truncate(KEPT);
        let (low, high) =
            near.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), k| (l.min(k.0), h.max(k.0)));
        let nearest = (near.first()?.0 - at).abs();
        if near.len() < 3 || nearest > 0.7 * (high - low) {
            return None;
        }
        let weight = |i: usize| {
            let others = near.iter().enumerate().filter(|&(j, _)| j != i);
            others.map(|(_, other)| (at - other.0) / (near[i].0 - other.0)).product::<f64>()
        };
        let weights: Vec<f64> = (0..near.len()).map(weight).collect();
        let stances: Vec<&Stance> = near.iter().map(|k| &k.1.point.stance).collect();
        let field = &mut self.newton.field;
        let stance = Stance::guess(&stances, &weights, &field.links, &mut field.model);
        let mut own = vec![Vector18::zeros(); near[0].1.point.own.len()];
        let mut driven = 0.0;
        for (k, &w) in near.iter().zip(&weights) {
            own.iter_mut().zip(&k.1.point.own).for_each(|(sum, f)| *sum += f * w);
            driven += w * k.1.state.level.driven;
        }
        // Supports stand where the nearest state had them; the first step moves them on.
        Some((Point { stance, level: near[0].1.state.level, own, number: 0 }, driven))
    }

    /// States passed on the straight line between two levels, with their share.
    fn on_line(&self, from: &Level, to: &Level) -> Vec<(f64, Arc<Known>)> {
        let parts = |l: &Level| [l.steady, l.driven, l.thermal, l.prescribed];
        let (a, b) = (parts(from), parts(to));
        let way: [f64; 4] = std::array::from_fn(|i| b[i] - a[i]);
        let squared: f64 = way.iter().map(|w| w * w).sum();
        // Supports that move are not guessed: they move by themselves.
        if squared == 0.0 || way[3] != 0.0 {
            return Vec::new();
        }
        let share = |known: &Arc<Known>| {
            let own = parts(&known.state.level);
            let t = (0..4).map(|i| (own[i] - a[i]) * way[i]).sum::<f64>() / squared;
            let off = (0..4).map(|i| (own[i] - a[i] - t * way[i]).powi(2)).sum::<f64>();
            (off <= 1e-24 * squared).then(|| (t, known.clone()))
        };
        distinct(self.passed.iter().filter_map(share).collect())
    }

    /// States passed under the same loads but the driven one, with their measure.
    fn at_same_level(&self, measure: &dyn Measure) -> Vec<(f64, Arc<Known>)> {
        let now = self.now.state.level;
        let alike = |level: &Level| Level { driven: now.driven, ..*level } == now;
        let passed = self.passed.iter().filter(|known| alike(&known.state.level));
        distinct(passed.map(|k| (measure.value(&k.point.stance.pose), k.clone())).collect())
    }
}

/// One state per parameter: the latest.
fn distinct(mut known: Vec<(f64, Arc<Known>)>) -> Vec<(f64, Arc<Known>)> {
    known.reverse();
    let span = known.iter().fold(0.0, |span: f64, k| span.max((k.0 - known[0].0).abs()));
    let mut kept: Vec<(f64, Arc<Known>)> = Vec::new();
    for one in known {
        if kept.iter().all(|other| (other.0 - one.0).abs() > 1e-6 * span) {
            kept.push(one);
        }
    }
    kept
}

/// A failure in words.
fn told(failure: &Failure, share: f64) -> SolveError {
    let why = match failure {
        Failure::Unsettled => "the iteration does not settle".to_owned(),
        Failure::Collapsed(triangle) => format!("triangle {triangle} collapses"),
        Failure::Singular(place) if share == 0.0 => return SolveError::Singular { place: place.clone() },
        Failure::Singular(place) => format!("the stiffness vanishes at {place}"),
        Failure::Unmoved => "the driving load does not move what is prescribed".to_owned(),
        Failure::Fatal(error) => return error.clone(),
    };
    SolveError::Stopped { share, why }
}
