//! Newton's method with the element forces as independent iterates: from a stance near equilibrium to equilibrium.
//!
//! In: a [`Point`] and a [`Goal`]. Out: the equilibrium, or why there is none. The tangent is built with the forces
//! that the last step predicted, not with those of the actual stance: a step of a thin arm stretches it in the
//! first order, and that stretch must not reach the tangent. Every step corrects the one before it, so an
//! inaccurate solve costs steps, not digits. Cholesky first; where the tangent is not positive, `L D L'` with its
//! negative pivots counted.
//!
//! Source: D. Magisano, L. Leonetti, G. Garcea, Comput. Methods Appl. Mech. Engrg. 313 (2017) 986-1005 (idea; its
//! form for a turning frame is this program's).

use super::field::{Collapsed, Field, Frames, Inner, Level, Loads};
use super::load::{MovingLoad, Pose};
use super::stance::Stance;
use super::unsymmetric;
use crate::element::{Matrix18, Vector18};
use crate::error::SolveError;
use crate::linear::{Factor, LinearError};
use crate::model::loads::Nodal;
use crate::statics;
use nalgebra::{Vector3, Vector6};

/// Work of a step against that of the first (or the strain energy) at which the stance is settled: 1e-9 in motion.
const SETTLED: f64 = 1e-18;
/// Below this the work may stand still: rounding.
const FLOOR: f64 = 1e-12;
/// Most steps.
const MOST_STEPS: usize = 30;
/// A factor made when the work stood below this serves the steps that follow: work falls as its square from step to step
/// with fresh factors, as its cube over two steps with a kept one, and both end below [`SETTLED`] at the same step.
const KEEP: f64 = 1e-6;
/// Work a kept factor must gain per step.
const KEPT_GAIN: f64 = 0.1;

/// A quantity of the pose that can be prescribed: the flap angle, a displacement.
pub trait Measure: Sync {
    /// Its value.
    fn value(&self, pose: &Pose) -> f64;
    /// Its change with displacement and spatial spin of every node, global axes.
    fn gradient(&self, pose: &Pose) -> Vec<Vector6<f64>>;
}

/// What is wanted.
#[derive(Clone, Copy)]
pub(super) struct Goal<'g> {
    /// Factors; the driven one is a guess where a measure is prescribed.
    pub(super) level: Level,
    pub(super) measured: Option<Measured<'g>>,
}

/// A prescribed measure: `value(pose) + per_factor * driven = target`.
#[derive(Clone, Copy)]
pub(super) struct Measured<'g> {
    pub(super) measure: &'g dyn Measure,
    pub(super) target: f64,
    pub(super) per_factor: f64,
}

/// A stance under its loads, with the element forces that go with it.
#[derive(Debug, Clone)]
pub(super) struct Point {
    pub(super) stance: Stance,
    pub(super) level: Level,
    pub(super) own: Vec<Vector18>,
    /// Number of the equilibrium found here; 0 anywhere else.
    pub(super) number: usize,
}

/// Load less internal force per block, and the driven load at unit factor per node.
pub(super) type Balance = (Vec<Vector6<f64>>, Option<Nodal>);

/// Why there is no equilibrium.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Failure {
    /// The steps do not shrink.
    Unsettled,
    /// A triangle has collapsed.
    Collapsed(u32),
    /// The stiffness vanishes: place.
    Singular(String),
    /// The driven load does not move what is prescribed.
    Unmoved,
    /// Something that cutting the load does not cure.
    Fatal(SolveError),
}

impl From<Collapsed> for Failure {
    fn from(collapsed: Collapsed) -> Self {
        Self::Collapsed(collapsed.0)
    }
}

/// An equilibrium found.
#[derive(Debug)]
pub(super) struct Settled {
    pub(super) point: Point,
    /// Strain energy, thermal work taken off, J.
    pub(super) energy_j: f64,
    /// Work of every step.
    pub(super) works: Vec<f64>,
    /// Negative pivots of the last factor.
    pub(super) negative: usize,
}

/// Values of a tangent, of its part that is not of a triangle, forces of the triangles on their corners.
pub(super) type Linear = (Vec<f64>, Vec<f64>, Vec<Vector18>);

/// The loads of one stance.
struct Acting {
    nodal: Vec<Vector6<f64>>,
    driven: Option<Vec<Vector6<f64>>>,
}

/// Solver state that outlives a stance.
#[derive(Debug)]
pub(super) struct Newton<'a> {
    pub(super) field: Field,
    pub(super) loads: Loads<'a>,
    factor: Option<Factor>,
    /// Work over reference at the stance of the factor.
    staleness: f64,
    packed: Vec<f64>,
    /// Of the stance at hand.
    pub(super) frames: Frames,
    /// Forces on the corners of the triangles at the equilibrium `at`.
    corners: Vec<Vector18>,
    /// Equilibria found so far.
    found: usize,
    /// Number of the equilibrium that frames and corners belong to; 0: of none.
    at: usize,
    /// Whether the last tangent was not positive.
    signed: bool,
    pub(super) factorisations: usize,
}

impl<'a> Newton<'a> {
    pub(super) fn new(field: Field, loads: Loads<'a>) -> Self {
        Self {
            field,
            loads,
            factor: None,
            staleness: f64::INFINITY,
            packed: Vec::new(),
            frames: Vec::new(),
            corners: Vec::new(),
            found: 0,
            at: 0,
            signed: false,
            factorisations: 0,
        }
    }

    /// Loads at a stance, and the driven load at unit factor.
    fn acting(&self, pose: &Pose, level: &Level) -> Result<Acting, Failure> {
        let n = pose.positions_m.len();
        let mut nodal = vec![Vector6::zeros(); n];
        let mut add = |load: &dyn MovingLoad, factor: f64| -> Result<Vec<Vector6<f64>>, Failure> {
            let own = load.forces(pose);
            if own.len() != n || !own.iter().all(|f| f.iter().all(|x| x.is_finite())) {
                return Err(Failure::Fatal(SolveError::Model {
                    what: "a load is not one finite force and moment per node".to_owned(),
                    remedy: "give every node a finite load".to_owned(),
                }));
            }
            if factor != 0.0 {
                nodal.iter_mut().zip(&own).for_each(|(sum, f)| *sum += f * factor);
            }
            Ok(own)
        };
        for load in self.loads.steady {
            if level.steady != 0.0 {
                add(*load, level.steady)?;
            }
        }
        let driven = self.loads.driven.map(|load| add(load, level.driven)).transpose()?;
        Ok(Acting { nodal, driven })
    }

    /// Stiffness of the loads that follow, with their factors.
    fn followers(&self, pose: &Pose, level: &Level) -> Vec<(f64, Vec<(u32, Matrix18)>)> {
        let steady = self.loads.steady.iter().map(|load| (level.steady, *load));
        let all = steady.chain(self.loads.driven.map(|load| (level.driven, load)));
        all.filter(|(factor, _)| *factor != 0.0)
            .map(|(factor, load)| (factor, load.stiffness(pose)))
            .collect()
    }

    /// Builds and factors the tangent of a stance whose frames are at hand.
    fn factorise(&mut self, point: &Point, nodal: &[Vector6<f64>], at_rest: bool) -> Result<(), Failure> {
        let values = self.tangent(point, nodal);
        let structure = &self.field.layout.structure;
        self.factorisations += 1;
        if !self.signed {
            match structure.factorise(&values, self.factor.take()) {
                Ok(factor) => {
                    self.factor = Some(factor);
                    return Ok(());
                }
                Err(LinearError::Pivot { .. }) if !at_rest => {}
                Err(error) => return Err(self.refused(&error)),
            }
        }
        match structure.factorise_signed(&values, self.factor.take()) {
            Ok(factor) => {
                self.signed = factor.negative_pivots() > 0;
                self.factor = Some(factor);
                Ok(())
            }
            Err(error) => Err(self.refused(&error)),
        }
    }

    /// Values of the tangent in the fixed pattern, frames at hand; `self.packed` keeps those of the triangles.
    fn tangent(&mut self, point: &Point, nodal: &[Vector6<f64>]) -> Vec<f64> {
        point.stance.set_levers(&self.field.links, &mut self.field.model);
        let mut packed = std::mem::take(&mut self.packed);
        let corners = self.field.tangents(&self.frames, &point.own, &mut packed);
        let followers = self.followers(&point.stance.pose, &point.level);
        let values = self.field.assembled(&point.stance, &mut packed, &followers, nodal, &corners);
        self.packed = packed;
        values
    }

    fn refused(&self, error: &LinearError) -> Failure {
        match statics::explained(&self.field.model, &self.field.layout, error) {
            SolveError::Singular { place } => Failure::Singular(place),
            other => Failure::Fatal(other),
        }
    }

    /// Tangent of an equilibrium, the part of it that is not of a triangle, and the triangles' forces on their corners.
    pub(super) fn linearised(&mut self, point: &Point) -> Result<Linear, Failure> {
        let acting = self.acting(&point.stance.pose, &point.level)?;
        self.at = 0;
        self.field.judge_copper(&point.stance, point.level.thermal);
        self.field.frames(&point.stance, &mut self.frames)?;
        point.stance.set_levers(&self.field.links, &mut self.field.model);
        let mut packed = std::mem::take(&mut self.packed);
        let corners = self.field.tangents(&self.frames, &point.own, &mut packed);
        let followers = self.followers(&point.stance.pose, &point.level);
        let mut none = vec![0.0; packed.len()];
        let rest = self.field.assembled(&point.stance, &mut none, &followers, &acting.nodal, &corners);
        let mut values = self.field.summed(&packed);
        values.iter_mut().zip(&rest).for_each(|(sum, r)| *sum += r);
        self.packed = packed;
        self.staleness = f64::INFINITY;
        Ok((values, rest, corners))
    }

    /// The triangles' own tangents of the last [`Self::linearised`], packed, global axes.
    pub(super) fn triangle_tangents(&self) -> &[f64] {
        &self.packed
    }

    /// Tangent values of an equilibrium, and the number of its negative pivots.
    pub(super) fn inspect(&mut self, point: &Point) -> Result<(Vec<f64>, usize), Failure> {
        let acting = self.acting(&point.stance.pose, &point.level)?;
        self.at = 0;
        self.field.judge_copper(&point.stance, point.level.thermal);
        self.field.frames(&point.stance, &mut self.frames)?;
        let values = self.tangent(point, &acting.nodal);
        let structure = &self.field.layout.structure;
        self.factorisations += 1;
        self.staleness = f64::INFINITY;
        let factor = structure.factorise_signed(&values, self.factor.take()).map_err(|e| self.refused(&e))?;
        let negative = factor.negative_pivots();
        self.factor = Some(factor);
        Ok((values, negative))
    }

    /// What acts at an equilibrium against what resists.
    pub(super) fn balance(&mut self, point: &Point) -> Result<Balance, Failure> {
        point.stance.set_levers(&self.field.links, &mut self.field.model);
        let acting = self.acting(&point.stance.pose, &point.level)?;
        // Frames and forces of the equilibrium found last are still at hand.
        if point.number == 0 || point.number != self.at || self.field.copper.is_some() {
            self.at = 0;
            self.field.judge_copper(&point.stance, point.level.thermal);
            self.field.frames(&point.stance, &mut self.frames)?;
            self.corners = self.field.inner(&self.frames, point.level.thermal).corners;
            self.at = point.number;
        }
        let loads = self.field.block_loads(&acting.nodal);
        let net = |b: usize| loads[b] - self.field.block_sum(b, &self.corners);
        Ok(((0..loads.len()).map(net).collect(), acting.driven))
    }

    /// Finds the equilibrium of a goal near a point.
    ///
    /// `keep`: the point's forces are a guess to start with; else those of its stance are taken.
    pub(super) fn settle(&mut self, start: Point, goal: &Goal<'_>, keep: bool) -> Result<Settled, Failure> {
        let mut point = start;
        (point.number, self.at) = (0, 0);
        let moved_supports = goal.level.prescribed - point.level.prescribed;
        point.level = goal.level;
        point.stance.set_levers(&self.field.links, &mut self.field.model);
        let mut works: Vec<f64> = Vec::new();
        let mut reference = 0.0f64;
        self.field.judge_copper(&point.stance, point.level.thermal);
        loop {
            self.field.frames(&point.stance, &mut self.frames)?;
            let inner = self.field.inner(&self.frames, point.level.thermal);
            let first = works.is_empty();
            if first && !keep {
                point.own.clone_from(&inner.own);
            }
            let acting = self.acting(&point.stance.pose, &point.level)?;
            let fresh = self.factor.is_none() || first || !self.keeps(&works);
            if fresh {
                let at_rest = first && point.own.iter().all(|f| f.amax() == 0.0);
                self.factorise(&point, &acting.nodal, at_rest)?;
            }
            let pull = if first { moved_supports } else { 0.0 };
            let (steps, turned, work) = self.step(&mut point, &inner, &acting, goal, pull)?;
            if first {
                reference = work.max(inner.energy.abs());
            }
            if fresh {
                self.staleness = work / reference;
            }
            let thermal = point.level.thermal;
            self.field.judge_copper_after(&point.stance, &steps, thermal);
            self.field.predicted(&self.frames, &steps, thermal, &mut point.own);
            point.level.driven += turned;
            point.stance.advance(&self.field.links, &mut self.field.model, &steps);
            point.stance.place_held(&self.field.links, &mut self.field.model, point.level.prescribed);
            works.push(work);
            if !work.is_finite() {
                return Err(Failure::Unsettled);
            }
            if work <= self.field.noise_j || is_settled(&works, reference) {
                return self.finish(point, works);
            }
            if is_hopeless(&works) {
                return Err(Failure::Unsettled);
            }
        }
    }

    fn finish(&mut self, mut point: Point, works: Vec<f64>) -> Result<Settled, Failure> {
        self.field.frames(&point.stance, &mut self.frames)?;
        let inner = self.field.inner(&self.frames, point.level.thermal);
        (point.own, self.corners) = (inner.own, inner.corners);
        self.found += 1;
        (point.number, self.at) = (self.found, self.found);
        let negative = self.factor.as_ref().map_or(0, Factor::negative_pivots);
        Ok(Settled { point, energy_j: inner.energy, works, negative })
    }

    /// Whether the factor at hand still serves.
    fn keeps(&self, works: &[f64]) -> bool {
        let gains = match works {
            [.., before, last] => *last < KEPT_GAIN * before,
            _ => true,
        };
        self.staleness < KEEP && gains
    }

    /// One step: motion of all blocks, change of the driven factor, work.
    fn step(
        &mut self,
        point: &mut Point,
        inner: &Inner,
        acting: &Acting,
        goal: &Goal<'_>,
        pull: f64,
    ) -> Result<(Vec<Vector6<f64>>, f64, f64), Failure> {
        let field = &self.field;
        let n = field.n_unknowns();
        let mut steps = vec![Vector6::zeros(); field.model.freedoms.blocks.len()];
        let mut rhs = field.residual(&field.block_loads(&acting.nodal), &inner.corners);
        if pull != 0.0 {
            steps = point.stance.held_rates(&field.links, &field.model);
            steps.iter_mut().for_each(|s| *s *= pull);
            let none = vec![Vector6::zeros(); steps.len()];
            let pulled = field.residual(&none, &field.pulled(&self.packed, &steps));
            rhs.iter_mut().zip(&pulled).for_each(|(r, p)| *r += p);
        }
        let residual = rhs.clone();
        let mut along = Vec::new();
        if let (Some(_), Some(driven)) = (goal.measured, &acting.driven) {
            let loads = field.block_loads(driven);
            along = field.free_part(|vertex| loads[field.layout.blocks[vertex] as usize]);
            rhs.extend_from_slice(&along);
        }
        self.solve(&mut rhs, &point.level)?;
        let (own, by_driven) = rhs.split_at(n);
        let mut work = dot(own, &residual).abs();
        let mut turned = 0.0;
        field.add_free(own, &mut steps);
        if let Some(measured) = &goal.measured {
            turned = self.border(point, measured, &steps, by_driven)?;
            let scaled: Vec<f64> = by_driven.iter().map(|b| b * turned).collect();
            field.add_free(&scaled, &mut steps);
            work += (turned * turned * dot(by_driven, &along)).abs();
        }
        Ok((steps, turned, work))
    }

    /// Solves for columns of right-hand sides with the whole tangent, its unsymmetric part by repetition.
    fn solve(&self, rhs: &mut [f64], level: &Level) -> Result<(), Failure> {
        let n = self.field.n_unknowns();
        let Some(factor) = &self.factor else { return Err(Failure::Unsettled) };
        let structure = &self.field.layout.structure;
        let columns = rhs.len().checked_div(n).unwrap_or(0);
        structure.solve(factor, rhs, columns).map_err(|e| self.refused(&e))?;
        let moments = self.dead_moments(level);
        if moments.is_empty() || n == 0 {
            return Ok(());
        }
        for column in rhs.chunks_mut(n) {
            let done = unsymmetric::corrected(column, |x| {
                let mut gained = self.field.turned_moments(&moments, x);
                structure.solve(factor, &mut gained, 1)?;
                Ok(gained)
            });
            done.map_err(|e| self.refused(&e))?;
        }
        Ok(())
    }

    fn dead_moments(&self, level: &Level) -> Vec<(u32, Vector3<f64>)> {
        let steady = self.loads.steady.iter().map(|load| (level.steady, *load));
        let all = steady.chain(self.loads.driven.map(|load| (level.driven, load)));
        let some = all.filter(|(factor, _)| *factor != 0.0);
        some.flat_map(|(factor, load)| load.dead_moments().into_iter().map(move |(n, m)| (n, m * factor)))
            .collect()
    }

    /// Change of the driven factor that meets the prescribed measure in the first order.
    fn border(
        &self,
        point: &Point,
        measured: &Measured<'_>,
        steps: &[Vector6<f64>],
        by_driven: &[f64],
    ) -> Result<f64, Failure> {
        let field = &self.field;
        let pose = &point.stance.pose;
        let gradient = field.block_loads(&measured.measure.gradient(pose));
        let moved: f64 = gradient.iter().zip(steps).map(|(g, s)| g.dot(s)).sum();
        let mut driven = vec![Vector6::zeros(); gradient.len()];
        field.add_free(by_driven, &mut driven);
        let parts = gradient.iter().zip(&driven).map(|(g, d)| g.dot(d));
        let rate: f64 = parts.clone().sum::<f64>() + measured.per_factor;
        let size: f64 = parts.map(f64::abs).sum::<f64>() + measured.per_factor.abs();
        let gap =
            measured.target - measured.measure.value(pose) - measured.per_factor * point.level.driven - moved;
        let turned = gap / rate;
        if rate.abs() <= 1e-12 * size || !turned.is_finite() {
            return Err(Failure::Unmoved);
        }
        Ok(turned)
    }
}

/// Whether the last step is small enough, or stands still among the rounding.
fn is_settled(works: &[f64], reference: f64) -> bool {
    let Some(&last) = works.last() else { return false };
    if last <= SETTLED * reference {
        return true;
    }
    let n = works.len();
    n > 3 && last < FLOOR * reference && last > 0.1 * works[n - 4]
}

/// Whether more steps are a waste.
fn is_hopeless(works: &[f64]) -> bool {
    let least = |w: &[f64]| w.iter().copied().fold(f64::INFINITY, f64::min);
    let n = works.len();
    // The first step of a thin part always stretches it; after that, work that grows twice running is lost.
    let grows = n >= 5 && works[n - 1] > works[n - 2] && works[n - 2] > works[n - 3];
    n >= MOST_STEPS || grows || (n >= 12 && least(&works[n - 6..]) > 0.5 * least(&works[..n - 6]))
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
