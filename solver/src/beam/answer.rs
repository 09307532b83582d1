//! What the beam says about a board: movement, springs, copper strain, frequencies, swing.
//!
//! In: board, wishes. Out: [`BeamAnswer`], plain data in the quantities of the shell's report. Strain is that of the
//! section's plane strain state at the ends of every element, both faces of every copper layer, both edges of every
//! track: what a beam can know. Absent: concentration at corners and steps, held contraction at clamps.

use super::board::{BeamWishes, BoardBeam, board_beam};
use super::copper::BeamStrain;
use super::frame::{Pose, Ride, Share};
use super::modes::{BeamMode, modes};
use super::motion::{Motion, NodeAngle};
use crate::error::SolveError;
use copperbend_mesh::board::Board;
use nalgebra::{Vector3, Vector6};
use serde::Serialize;

/// One frequency with the kind of motion.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct BeamFrequency {
    /// Hz.
    pub frequency_hz: f64,
    /// "swing", "roll" or "in plane": the flap's largest share of motion, else the kind of bending.
    pub kind: String,
}

/// One equilibrium of the large swing.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct BeamState {
    /// Current, A.
    pub current_a: f64,
    /// Flap angle, rad.
    pub angle_rad: f64,
    /// Torque of the magnets about the hinge line, N m.
    pub torque_nm: f64,
    /// Worst copper strain.
    pub strain: f64,
    /// Stable when the current is held.
    pub stable: bool,
}

/// Answers of the beam.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct BeamAnswer {
    /// Linear movement under all loads: displacement at the far end of the first arm, m.
    pub tip_m: [f64; 3],
    /// Displacement of the flap's centre, m.
    pub flap_centre_m: Option<[f64; 3]>,
    /// Flap angle, rad, linear.
    pub flap_angle_rad: Option<f64>,
    /// Roll, rad, linear.
    pub roll_angle_rad: Option<f64>,
    /// Moment about the hinge line per flap angle, N m/rad.
    pub moment_nm_per_rad: Option<f64>,
    /// Normal force at the flap's centre per displacement there, N/m; without a flap at the tip.
    pub force_n_per_m: f64,
    /// Moment about the arm direction per roll, N m/rad.
    pub roll_nm_per_rad: Option<f64>,
    /// Flap angle per ampere by the drive alone, rad/A.
    pub angle_per_ampere_rad: Option<f64>,
    /// Torque of the magnets per ampere at rest, N m/A.
    pub torque_per_ampere_nm: Option<f64>,
    /// Force of the magnets per ampere at rest, N/A.
    pub force_per_ampere_n: Option<[f64; 3]>,
    /// Largest copper strain per layer and arm, worst first, linear.
    pub strains: Vec<BeamStrain>,
    /// Frequencies about the flat rest state, in vacuo.
    pub frequencies: Vec<BeamFrequency>,
    /// Bending stiffness, N m2, and neutral plane above z = 0, m, of the first arm at mid-length.
    pub section: [f64; 2],
    /// Twisting stiffness of that section, N m2.
    pub twisting_nm2: f64,
    /// Copper strain of largest magnitude at the middle of the first arm, linear.
    pub middle_strain: f64,
    /// Elements.
    pub elements: usize,
}

/// A unit load on the flap.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Unit {
    /// Moment about the hinge direction.
    Pitch,
    /// Moment about the arm direction.
    Roll,
    /// Normal force.
    Lift,
}

/// What to compute beside the linear state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BeamScope {
    /// Frequencies wanted; 0 for none.
    pub frequencies: usize,
}

/// Linear answers of a board's beam.
///
/// # Errors
/// As [`board_beam`] and the solver's.
pub fn beam(board: &Board, wishes: &BeamWishes, scope: BeamScope) -> Result<BeamAnswer, SolveError> {
    let own = board_beam(board, wishes)?;
    answer(board, &own, scope)
}

/// As [`beam`], of a board that is built already.
///
/// # Errors
/// The solver's.
pub fn answer(board: &Board, own: &BoardBeam, scope: BeamScope) -> Result<BeamAnswer, SolveError> {
    let frame = &own.frame;
    let drive = own.drive.as_ref().map(|d| d as &dyn super::motion::Drive);
    let mut motion = Motion::new(frame, &[], drive);
    let current = own.drive.as_ref().map_or(0.0, |d| d.current_a);
    let loaded = Share { dead: 1.0, heating: 1.0, drive: current };
    let by_all = motion.small(&own.rides, loaded)?;
    let mut out = BeamAnswer { elements: frame.links.len(), ..BeamAnswer::default() };
    let [angle, roll] = own.turning(&by_all);
    let tip = own.tips.first().copied().unwrap_or(0);
    out.tip_m = by_all[tip].fixed_rows::<3>(0).into_owned().into();
    let centre = |x: &[Vector6<f64>]| own.flap.map(|n| own.centre_motion(n, x));
    out.flap_centre_m = centre(&by_all).map(Into::into);
    (out.flap_angle_rad, out.roll_angle_rad) = (own.flap.map(|_| angle), own.flap.map(|_| roll));
    let unit = Share { dead: 1.0, ..Share::default() };
    if let Some(flap) = own.flap {
        let by_moment = motion.small(&own.unit_loads(flap, Unit::Pitch), unit)?;
        out.moment_nm_per_rad = Some(1.0 / own.turning(&by_moment)[0]);
        let by_roll = motion.small(&own.unit_loads(flap, Unit::Roll), unit)?;
        out.roll_nm_per_rad = Some(1.0 / own.turning(&by_roll)[1]);
        let by_force = motion.small(&own.unit_loads(flap, Unit::Lift), unit)?;
        out.force_n_per_m = centre(&by_force).map_or(0.0, |u| 1.0 / u.z);
    } else {
        let zero = Vector3::zeros();
        let ride = Ride { node: tip, arm_m: zero, force_n: Vector3::z(), moment_nm: zero };
        out.force_n_per_m = 1.0 / motion.small(&[ride], unit)?[tip][2];
    }
    if let Some(coil) = &own.drive {
        let by_drive = motion.small(&[], Share { drive: 1.0, ..Share::default() })?;
        out.angle_per_ampere_rad = own.flap.map(|_| own.turning(&by_drive)[0]);
        let (force, moment) = coil.total(&frame.rest(), own.hinge.point_m());
        out.force_per_ampere_n = Some(force.into());
        out.torque_per_ampere_nm = Some(moment.dot(&Vector3::from(own.hinge.axis())));
    }
    let rest = frame.rest();
    out.strains = own.strains(board, &|link| frame.mode_forces_by(link, &rest, &by_all, 1.0), 1.0);
    out.middle_strain = own.middle_strain(board, &by_all);
    if let Some(section) = own.middle_section() {
        let s = &own.sections[own.spans[section].section];
        out.section = [s.bending_nm2(), own.reference_z_m + s.neutral_m()];
        out.twisting_nm2 = s.stiffness[(3, 3)];
    }
    if scope.frequencies > 0 {
        let found = modes(frame, &Motion::new(frame, &[], None), scope.frequencies)?;
        out.frequencies = found.iter().map(|m| own.named(m)).collect();
    }
    Ok(out)
}

/// The large swing: equilibria at given currents and at given angles.
///
/// States that are not found end the list early; why is told beside it.
///
/// # Errors
/// The state without current is not found, or the board has no driven flap.
pub fn swing(
    board: &Board,
    own: &BoardBeam,
    currents_a: &[f64],
    angles_rad: &[f64],
) -> Result<(Vec<BeamState>, Option<String>), SolveError> {
    let (Some(flap), Some(coil)) = (own.flap, own.drive.as_ref()) else {
        return Err(SolveError::Model {
            what: "the board has no flap that a magnet drives".to_owned(),
            remedy: "give [flap], [circuit] and [[magnet]]".to_owned(),
        });
    };
    let [c, s] = own.hinge.along;
    let angle = NodeAngle { node: flap, along: Vector3::new(c, s, 0.0), up: Vector3::z() };
    let mut motion = Motion::new(&own.frame, &own.rides, Some(coil));
    motion.to(Share { dead: 1.0, heating: 1.0, drive: 0.0 })?;
    let rest = (motion.pose.clone(), motion.share);
    let mut states = Vec::new();
    let mut stopped = None;
    let axis = Vector3::from(own.hinge.axis());
    for (goals, by_angle) in [(currents_a, false), (angles_rad, true)] {
        // From the middle outwards, each way for itself.
        for sign in [-1.0, 1.0] {
            let start = if by_angle { angle.at(&rest.0) } else { 0.0 };
            let mut side: Vec<f64> = goals
                .iter()
                .copied()
                .filter(|g| (g - start) * sign > 0.0 || (sign > 0.0 && (g - start).abs() <= 0.0))
                .collect();
            side.sort_by(|a, b| ((a - start) * sign).total_cmp(&((b - start) * sign)));
            (motion.pose, motion.share) = rest.clone();
            for goal in side {
                let step = if by_angle {
                    motion.to_angle(&angle, goal)
                } else {
                    motion.to(Share { drive: goal, ..rest.1 })
                };
                if let Err(error) = step {
                    stopped = Some(error.to_string());
                    break;
                }
                let strains = own.strains(board, &|link| own.frame.mode_forces(link, &motion.pose, 1.0), 1.0);
                let (_, moment) = motion.driven_about(&Vector3::from(own.hinge.point_m()));
                states.push(BeamState {
                    current_a: motion.share.drive,
                    angle_rad: own.flap_angle(&motion.pose).unwrap_or(0.0),
                    torque_nm: moment.dot(&axis) * motion.share.drive,
                    strain: strains.first().map_or(0.0, |s| s.strain),
                    stable: motion.negative == 0,
                });
            }
        }
    }
    states.sort_by(|a, b| a.current_a.total_cmp(&b.current_a));
    Ok((states, stopped))
}

/// The answers of [`answer`] about the state under all loads instead of at rest: large motion, and what it changes.
///
/// # Errors
/// The state is not found.
pub fn loaded(board: &Board, own: &BoardBeam, scope: BeamScope) -> Result<BeamAnswer, SolveError> {
    let frame = &own.frame;
    let drive = own.drive.as_ref().map(|d| d as &dyn super::motion::Drive);
    let current = own.drive.as_ref().map_or(0.0, |d| d.current_a);
    let mut motion = Motion::new(frame, &own.rides, drive);
    motion.to(Share { dead: 1.0, heating: 1.0, drive: 0.0 })?;
    let before = own.flap_angle(&motion.pose);
    motion.to(Share { dead: 1.0, heating: 1.0, drive: current })?;
    let pose = motion.pose.clone();
    let moved = |node: usize, arm: &Vector3<f64>| pose.point_m(node, arm) - (frame.nodes[node].at_m + arm);
    let tip = own.tips.first().copied().unwrap_or(0);
    let mut out = answer(board, own, BeamScope { frequencies: 0 })?;
    out.tip_m = moved(tip, &Vector3::zeros()).into();
    out.flap_centre_m = own.flap.map(|n| moved(n, &own.flap_centre_m).into());
    out.flap_angle_rad = own.flap_angle(&pose);
    let across = Vector3::new(-own.hinge.along[1], own.hinge.along[0], 0.0);
    let roll = |node| NodeAngle { node, along: across, up: Vector3::z() }.at(&pose);
    out.roll_angle_rad = own.flap.map(roll);
    if let Some(flap) = own.flap {
        let turned = |which: Unit| motion.answer_to(&own.unit_loads(flap, which));
        out.moment_nm_per_rad = Some(1.0 / own.turning(&turned(Unit::Pitch)?)[0]);
        out.roll_nm_per_rad = Some(1.0 / own.turning(&turned(Unit::Roll)?)[1]);
    }
    if let Some(coil) = own.drive.as_ref().filter(|_| current != 0.0) {
        let (force, moment) = coil.total(&pose, own.hinge.point_m());
        out.force_per_ampere_n = Some(force.into());
        out.torque_per_ampere_nm = Some(moment.dot(&Vector3::from(own.hinge.axis())));
        out.angle_per_ampere_rad = out.flap_angle_rad.zip(before).map(|(a, b)| (a - b) / current);
    }
    out.strains = own.strains(board, &|link| frame.mode_forces(link, &pose, 1.0), 1.0);
    if scope.frequencies > 0 {
        out.frequencies = modes(frame, &motion, scope.frequencies)?.iter().map(|m| own.named(m)).collect();
    }
    Ok(out)
}

fn point_motion(x: &Vector6<f64>, arm: &Vector3<f64>) -> Vector3<f64> {
    let (u, spin): (Vector3<f64>, Vector3<f64>) =
        (x.fixed_rows::<3>(0).into_owned(), x.fixed_rows::<3>(3).into_owned());
    u + spin.cross(arm)
}

impl BoardBeam {
    /// Flap angle and roll of a small motion, rad; of an elastic flap by its mean plane.
    #[must_use]
    pub fn turning(&self, x: &[Vector6<f64>]) -> [f64; 2] {
        let Some(flap) = self.flap else { return [0.0; 2] };
        let spin = |n: usize, axis: [f64; 3]| x[n].fixed_rows::<3>(3).dot(&Vector3::from(axis));
        let along = [self.hinge.along[0], self.hinge.along[1], 0.0];
        let rows = self.wide_flap();
        if rows.is_empty() {
            return [spin(flap, self.hinge.axis()), spin(flap, along)];
        }
        // Slope of the heights along the flap, and the mean roll, weighted by area.
        let mean = |of: &dyn Fn(&(f64, f64, usize)) -> f64| rows.iter().map(|r| r.0 * of(r)).sum::<f64>();
        let (s0, w0) = (mean(&|r| r.1), mean(&|r| x[r.2][2]));
        let slope = mean(&|r| (r.1 - s0) * (x[r.2][2] - w0)) / mean(&|r| (r.1 - s0).powi(2));
        [slope, mean(&|r| spin(r.2, along))]
    }

    /// Flap angle in a pose, rad; of an elastic flap by the line of best fit along it.
    #[must_use]
    pub fn flap_angle(&self, pose: &Pose) -> Option<f64> {
        let flap = self.flap?;
        let along = Vector3::new(self.hinge.along[0], self.hinge.along[1], 0.0);
        let rows = self.wide_flap();
        let line = if rows.is_empty() {
            pose.turn[flap] * along
        } else {
            let s0: f64 = rows.iter().map(|r| r.0 * r.1).sum();
            rows.iter().map(|r| pose.at_m[r.2] * (r.0 * (r.1 - s0))).sum()
        };
        Some(line.z.atan2(line.dot(&along)))
    }

    /// Nodes of a flap that bends: share of the area, distance from the hinge line, node. Empty for a rigid one.
    fn wide_flap(&self) -> Vec<(f64, f64, usize)> {
        let mut rows = Vec::new();
        for (span, link) in self.spans.iter().zip(&self.frame.links).filter(|(s, _)| s.arm.is_none()) {
            let width: f64 = span.piece.slots.iter().map(|s| s.across_m[1] - s.across_m[0]).sum();
            for n in link.nodes {
                let at = self.frame.nodes[n].at_m;
                rows.push((width * span.piece.length_m(), self.hinge.along_m([at.x, at.y]), n));
            }
        }
        let whole: f64 = rows.iter().map(|r| r.0).sum();
        for r in &mut rows {
            r.0 /= whole;
        }
        rows
    }

    /// Unit moment about the hinge direction, about the arm direction, or unit lift, on the flap; spread over a flap
    /// that bends as the shell's are.
    pub(crate) fn unit_loads(&self, flap: usize, which: Unit) -> Vec<Ride> {
        let zero = Vector3::zeros();
        let along = Vector3::new(self.hinge.along[0], self.hinge.along[1], 0.0);
        let rows = self.wide_flap();
        if rows.is_empty() {
            let (arm_m, force_n, moment_nm) = match which {
                Unit::Pitch => (zero, zero, Vector3::from(self.hinge.axis())),
                Unit::Roll => (zero, zero, along),
                Unit::Lift => (self.flap_centre_m, Vector3::z(), zero),
            };
            return vec![Ride { node: flap, arm_m, force_n, moment_nm }];
        }
        let s0: f64 = rows.iter().map(|r| r.0 * r.1).sum();
        let second: f64 = rows.iter().map(|r| r.0 * (r.1 - s0).powi(2)).sum();
        let one = |&(share, s, node): &(f64, f64, usize)| {
            let (force_n, moment_nm) = match which {
                Unit::Pitch => (Vector3::z() * (share * (s - s0) / second), zero),
                Unit::Roll => (zero, along * share),
                Unit::Lift => (Vector3::z() * share, zero),
            };
            Ride { node, arm_m: zero, force_n, moment_nm }
        };
        rows.iter().map(one).collect()
    }

    /// Motion of the flap's middle, m.
    fn centre_motion(&self, flap: usize, x: &[Vector6<f64>]) -> Vector3<f64> {
        let rows = self.wide_flap();
        if rows.is_empty() {
            return point_motion(&x[flap], &self.flap_centre_m);
        }
        rows.iter().map(|r| x[r.2].fixed_rows::<3>(0) * r.0).sum()
    }

    /// A mode in words: by energy of motion of the flap, else of the whole.
    fn named(&self, mode: &BeamMode) -> BeamFrequency {
        let (c, s) = (self.hinge.along[0], self.hinge.along[1]);
        let mut parts = [0.0; 3];
        let reach =
            self.frame.nodes.iter().map(|n| self.hinge.along_m([n.at_m.x, n.at_m.y])).fold(1e-6, f64::max);
        for (n, x) in mode.shape.iter().enumerate() {
            if self.flap.is_some_and(|f| f != n) {
                continue;
            }
            let roll = (x[3] * c + x[4] * s) * reach * 0.5;
            let aside = -x[0] * s + x[1] * c;
            parts[0] += x[2] * x[2];
            parts[1] += roll * roll;
            parts[2] += aside * aside;
        }
        let names = ["swing", "roll", "in plane"];
        let most = (0..3).max_by(|&a, &b| parts[a].total_cmp(&parts[b])).unwrap_or(0);
        BeamFrequency { frequency_hz: mode.frequency_hz, kind: names[most].to_owned() }
    }

    /// The pose at rest.
    #[must_use]
    pub fn rest(&self) -> Pose {
        self.frame.rest()
    }
}
