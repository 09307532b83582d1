//! The way of the large swing: equilibria at prescribed flap angles, held by the flap's own inertia.
//!
//! In: the board at rest and how far it may swing. Out: at each angle the pose, the work of holding it there, the flux
//! through the coil. Held by forces along the swing mode (not by the coil, whose torque may vanish on the way), so the
//! way starts along that mode. Contact and failure end it on their side, and are told.

use super::Tell;
use super::stage::Stage;
use crate::beam::frame;
use crate::clearance::Approach;
use crate::drive::{Curve, Reduced};
use crate::error::SolveError;
use crate::result::DriveAnswer;
use crate::swing::{DeadLoad, Equilibrium, Level, Loads, Mark, Measure, MovingLoad, Path, Pose, board_load};
use nalgebra::{Vector3, Vector6};

/// States on either side of the one at rest.
const STATES: u32 = 4;

/// Halvings towards the place where the way ends early.
const HALVINGS: u32 = 3;

/// Where the strain of a state comes from.
pub(super) enum Strained {
    Shell(Box<Equilibrium>),
    Beams(frame::Pose),
}

/// One state.
pub(super) struct State {
    pub(super) angle_rad: f64,
    pub(super) pose: Pose,
    pub(super) strained: Strained,
    /// Flux through the coil, Wb.
    pub(super) flux_wb: f64,
    /// Factor on the holding forces.
    pub(super) factor: f64,
    /// Their work at factor one, from the board flat, J.
    pub(super) work_j: f64,
    /// Strain energy and that of steady loads, J; None where a load has none.
    pub(super) energy_j: Option<f64>,
}

/// All states, by ascending angle, and curves through them.
pub(super) struct Way {
    pub(super) states: Vec<State>,
    pub(super) rest_rad: f64,
    pub(super) stops: Vec<String>,
    /// Amplitude of the swing at every state: the length of the way in the metric of the mass; 0 at flap angle 0.
    pub(super) amplitude: Vec<f64>,
    /// Flap angle over the amplitude.
    pub(super) angle: Curve,
    /// Restoring force over the amplitude.
    pub(super) force: Curve,
    /// Change of flux with the amplitude, over it.
    pub(super) flux_slope: Curve,
    energy_gap: f64,
    unknowns: usize,
}

impl Way {
    /// From the state at rest to `reach_rad` on both sides of it.
    pub(super) fn follow(stage: &Stage<'_>, reach_rad: f64, tell: &mut Tell<'_>) -> Result<Self, SolveError> {
        tell("swing: at rest", 0.42)?;
        if let Some(beams) = &stage.beams {
            let forces = holding(stage);
            let held = beams.holding(&forces);
            return Self::along(stage, beams.walk(stage, &held)?, reach_rad, tell);
        }
        let steady = board_load(stage.board, &stage.mesh, &stage.own, stage.board.gravity_m_s2)?;
        let full = |f: Vector3<f64>| Vector6::new(f.x, f.y, f.z, 0.0, 0.0, 0.0);
        let holding = DeadLoad { nodal: holding(stage).into_iter().map(full).collect() };
        let steady_loads: [&dyn MovingLoad; 1] = [&steady];
        let mut path = Path::new(&stage.own.model, Loads { steady: &steady_loads, driven: Some(&holding) })?;
        path.to_level(Level { steady: 1.0, driven: 0.0, thermal: 1.0, prescribed: 1.0 })?;
        Self::along(stage, ShellWalk { stage, steady: &steady, holding: &holding, path }, reach_rad, tell)
    }

    /// With either model, from its state at rest.
    fn along<W: Walk>(
        stage: &Stage<'_>,
        mut path: W,
        reach_rad: f64,
        tell: &mut Tell<'_>,
    ) -> Result<Self, SolveError> {
        let rest = path.look()?;
        let rest_rad = rest.angle_rad;
        let mark = path.mark();
        let mut stops = Vec::new();
        let mut sides: [Vec<State>; 2] = [Vec::new(), Vec::new()];
        for (side, sign) in [-1.0, 1.0].into_iter().enumerate() {
            path.back_to(&mark);
            let (mut clear, mut good) = (mark.clone(), rest_rad);
            for k in 1..=STATES {
                let done = (side as f64 * f64::from(STATES) + f64::from(k)) / (2.0 * f64::from(STATES));
                tell("swing", 0.42 + 0.28 * done)?;
                let target = rest_rad + sign * reach_rad * f64::from(k) / f64::from(STATES);
                let Some(why) = step(stage, &mut path, target)? else {
                    (clear, good) = (path.mark(), target);
                    sides[side].push(path.look()?);
                    continue;
                };
                // Closer to what ended the way; its last state is taken too.
                let (mut bad, mut reason) = (target, why);
                for _ in 0..HALVINGS {
                    path.back_to(&clear);
                    let middle = 0.5 * (good + bad);
                    match step(stage, &mut path, middle)? {
                        None => (clear, good) = (path.mark(), middle),
                        Some(why) => (bad, reason) = (middle, why),
                    }
                }
                path.back_to(&clear);
                let last = path.look()?;
                let known = sides[side].last().map_or(rest_rad, |s| s.angle_rad);
                if (last.angle_rad - known).abs() > 0.02 * reach_rad {
                    sides[side].push(last);
                }
                let [from, to] = [good, bad].map(f64::to_degrees);
                stops.push(format!("between {from:.1} and {to:.1} deg {reason}"));
                break;
            }
        }
        let [low, high] = sides;
        let states: Vec<State> = low.into_iter().rev().chain([rest]).chain(high).collect();
        let unknowns = path.unknowns();
        Ok(Self { unknowns, ..Self::through(stage, states, rest_rad, stops)? })
    }

    fn through(
        stage: &Stage<'_>,
        states: Vec<State>,
        rest_rad: f64,
        stops: Vec<String>,
    ) -> Result<Self, SolveError> {
        if states.len() < 3 {
            return Err(SolveError::Model {
                what: format!("the flap has no room to swing: {}", stops.join("; ")),
                remedy: "move the magnet or what else is in the way".to_owned(),
            });
        }
        let amplitude = lengths(stage, &states);
        let curve = |of: &dyn Fn(&State) -> f64| {
            Curve::new(amplitude.clone(), states.iter().map(|s| vec![of(s)]).collect())
        };
        let curves = curve(&|s| s.angle_rad).zip(curve(&|s| s.work_j)).zip(curve(&|s| s.flux_wb));
        let Some(((angle, work), flux)) = curves else {
            return Err(SolveError::Model {
                what: "the states of the swing do not follow each other".to_owned(),
                remedy: "report this design".to_owned(),
            });
        };
        let along = |values: Vec<f64>| {
            Curve::new(amplitude.clone(), values.into_iter().map(|v| vec![v]).collect()).unwrap_or_default()
        };
        let slope = |c: &Curve, x: f64| c.at(x, 0)[1];
        let force = along(states.iter().zip(&amplitude).map(|(s, &q)| s.factor * slope(&work, q)).collect());
        let flux_slope = along(amplitude.iter().map(|&q| slope(&flux, q)).collect());
        let energy_gap = energy_gap(&states, &amplitude, &force);
        Ok(Self { states, rest_rad, stops, amplitude, angle, force, flux_slope, energy_gap, unknowns: 0 })
    }

    /// Square of the angular frequency about the state under the steady loads, 1/s2: the slope of the restoring force,
    /// since the modal mass is 1 kg.
    fn square(&self) -> f64 {
        self.force.at(self.at_angle(self.rest_rad), 0)[1]
    }

    /// Natural frequency of the swing about the state under the steady loads, Hz; 0 where that state does not hold.
    pub(super) fn frequency_hz(&self) -> f64 {
        self.square().max(0.0).sqrt() / std::f64::consts::TAU
    }

    /// Fills what the way tells.
    pub(super) fn tell(&self, stage: &Stage<'_>, system: &Reduced, out: &mut DriveAnswer) {
        let swing = &stage.shapes[0];
        let facts = &mut out.swing;
        let rest = self.at_angle(self.rest_rad);
        let [per, change, _] = system.per_ampere.at(rest, 0);
        let turn = self.angle.at(rest, 0)[1];
        let square = self.square();
        facts.frequency_hz = self.frequency_hz();
        facts.flat_frequency_hz = swing.rad_s / std::f64::consts::TAU;
        facts.air_share = stage.air_share;
        facts.inertia_kg_m2 = turn.powi(-2);
        facts.spring_nm_per_rad = square / (turn * turn);
        facts.torque_nm_per_a = per / turn;
        facts.torque_change_nm_per_rad_a = change / (turn * turn);
        facts.rest_angle_rad = self.rest_rad;
        facts.followed_rad = self.span_rad();
        facts.stops.clone_from(&self.stops);
        facts.energy_gap = self.energy_gap;
        out.unknowns = u32::try_from(self.unknowns).unwrap_or(u32::MAX);
    }

    /// First and last flap angle.
    pub(super) fn span_rad(&self) -> [f64; 2] {
        [self.states[0].angle_rad, self.states[self.states.len() - 1].angle_rad]
    }

    /// Amplitude at a flap angle inside the way.
    pub(super) fn at_angle(&self, angle_rad: f64) -> f64 {
        let mut q = self.amplitude[self.states.len() / 2];
        for _ in 0..30 {
            let [value, slope, _] = self.angle.at(q, 0);
            q += (angle_rad - value) / slope;
        }
        q
    }
}

/// A model that walks along the swing.
pub(super) trait Walk {
    /// A place to come back to.
    type Mark: Clone;
    fn mark(&self) -> Self::Mark;
    fn back_to(&mut self, mark: &Self::Mark);
    /// The present state.
    fn look(&mut self) -> Result<State, SolveError>;
    /// To a flap angle, held by the holding forces; what keeps the board from it, in words.
    fn to_angle(&mut self, target_rad: f64) -> Result<Option<String>, SolveError>;
    fn pose(&self) -> Pose;
    fn unknowns(&self) -> usize;
}

/// The shell on its way.
struct ShellWalk<'s, 'b> {
    stage: &'s Stage<'b>,
    steady: &'s dyn MovingLoad,
    holding: &'s DeadLoad,
    path: Path<'s>,
}

impl Walk for ShellWalk<'_, '_> {
    type Mark = Mark;

    fn mark(&self) -> Mark {
        self.path.mark()
    }

    fn back_to(&mut self, mark: &Mark) {
        self.path.back_to(mark);
    }

    fn look(&mut self) -> Result<State, SolveError> {
        let pose = self.path.pose().clone();
        let state = self.path.state();
        Ok(State {
            angle_rad: self.stage.angle.value(&pose),
            flux_wb: self.stage.carried.flux_wb(&pose),
            factor: state.level.driven,
            work_j: work(self.holding, &pose, self.stage),
            energy_j: self.steady.potential_j(&pose).map(|p| p + state.energy_j),
            strained: Strained::Shell(Box::new(self.path.equilibrium()?)),
            pose,
        })
    }

    fn to_angle(&mut self, target_rad: f64) -> Result<Option<String>, SolveError> {
        match self.path.to_measure(&self.stage.angle, target_rad) {
            Ok(_) => Ok(None),
            Err(error) => unreached(error),
        }
    }

    fn pose(&self) -> Pose {
        self.path.pose().clone()
    }

    fn unknowns(&self) -> usize {
        self.path.n_unknowns()
    }
}

/// Why a state was not found, in words; errors of another kind pass.
pub(super) fn unreached(error: SolveError) -> Result<Option<String>, SolveError> {
    match error {
        SolveError::Stopped { why, .. } => {
            Ok(Some(format!("no further state of the swing was found: {why}")))
        }
        SolveError::Singular { place } => Ok(Some(format!("the stiffness vanishes at {place}"))),
        other => Err(other),
    }
}

/// To a flap angle; what keeps the board from it, in words.
fn step<W: Walk>(stage: &Stage<'_>, path: &mut W, target: f64) -> Result<Option<String>, SolveError> {
    if let Some(why) = path.to_angle(target)? {
        return Ok(Some(why));
    }
    let contact = stage.guard.nearest(&path.pose()).filter(Approach::is_contact);
    Ok(contact.map(|contact| {
        let [x, y] = contact.at_m.map(|v| v * 1e3);
        format!("the board comes into contact with {} (board at x {x:.2} mm, y {y:.2} mm)", contact.to)
    }))
}

/// Forces on the nodes along the swing mode in the metric of the mass.
fn holding(stage: &Stage<'_>) -> Vec<Vector3<f64>> {
    let swing = &stage.shapes[0].motion;
    swing.iter().zip(&stage.node_mass_kg).map(|(x, m)| x.fixed_rows::<3>(0) * *m).collect()
}

fn work(holding: &DeadLoad, pose: &Pose, stage: &Stage<'_>) -> f64 {
    let moved = |node: usize| pose.positions_m[node] - Vector3::from(stage.own.model.nodes_m[node]);
    holding.nodal.iter().enumerate().map(|(n, f)| f.fixed_rows::<3>(0).dot(&moved(n))).sum()
}

/// Amplitude at every state: length of the way between neighbours, chords lengthened to arcs of the turn between them.
fn lengths(stage: &Stage<'_>, states: &[State]) -> Vec<f64> {
    let unit = stage.lumped_square(&stage.shapes[0].motion).sqrt();
    let mut along = vec![0.0];
    for pair in states.windows(2) {
        let [a, b] = [&pair[0], &pair[1]];
        let square: f64 = a
            .pose
            .positions_m
            .iter()
            .zip(&b.pose.positions_m)
            .zip(&stage.node_mass_kg)
            .map(|((a, b), m)| m * (b - a).norm_squared())
            .sum();
        let half = 0.5 * (b.angle_rad - a.angle_rad).abs();
        let arc = if half > 1e-6 { half / half.sin() } else { 1.0 };
        along.push(along[along.len() - 1] + square.sqrt() * arc / unit);
    }
    // Zero at flap angle zero, on the curve of length over angle.
    let angles: Vec<f64> = states.iter().map(|s| s.angle_rad).collect();
    let zero = Curve::new(angles, along.iter().map(|&l| vec![l]).collect()).map_or(0.0, |c| c.at(0.0, 0)[0]);
    along.into_iter().map(|l| l - zero).collect()
}

/// Largest difference of the energy along the way and the integral of the restoring force, over the largest energy.
fn energy_gap(states: &[State], amplitude: &[f64], force: &Curve) -> f64 {
    const PARTS: u32 = 64;
    let Some(energies) = states.iter().map(|s| s.energy_j).collect::<Option<Vec<f64>>>() else { return 0.0 };
    let (mut done, mut worst) = (0.0, 0.0_f64);
    for i in 1..states.len() {
        let (a, h) = (amplitude[i - 1], (amplitude[i] - amplitude[i - 1]) / f64::from(PARTS));
        done += (0..PARTS).map(|k| force.at(a + h * (f64::from(k) + 0.5), 0)[0] * h).sum::<f64>();
        worst = worst.max((done - (energies[i] - energies[0])).abs());
    }
    let [low, high] =
        energies.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], &e| [l.min(e), h.max(e)]);
    if high > low { worst / (high - low) } else { 0.0 }
}
