//! One step of a walk: makes it, watches the way between, looks at where it led.
//!
//! In: a walk and a step. Out: a state with its row, contact, or why there is none. Between two states the board is watched
//! on the straight way from pose to pose: no equilibria, but nothing thin is jumped through.

use super::Stage;
use super::walk::{APPROACH, Seen, Step, Walk};
use crate::clearance::Approach;
use crate::error::SolveError;
use crate::lorentz::moving::CarriedPath;
use crate::result::{SwingState, SwingStop};
use crate::swing::{Mark, Path, Pose};
use nalgebra::Vector3;

/// States whose clearance is remembered.
const REMEMBERED: usize = 4;

/// Most looks at the way between two states.
const MOST_LOOKS: u32 = 32;

impl<'p> Walk<'_, 'p, '_> {
    /// Least distance to anything now, m; infinite when there is nothing.
    pub(super) fn clear_m(&mut self) -> f64 {
        let now = self.path.mark();
        self.nearest(&now).map_or(f64::INFINITY, |a| a.distance_m)
    }

    /// The nearest approach of a state; those looked at last are remembered.
    fn nearest(&mut self, state: &Mark) -> Option<Approach> {
        if let Some((_, known)) = self.near.iter().find(|(other, _)| other.is(state)) {
            return known.clone();
        }
        let found = self.stage.guard.nearest(state.pose());
        if self.near.len() >= REMEMBERED {
            self.near.remove(0);
        }
        self.near.push((state.clone(), found.clone()));
        found
    }

    /// Contact met on the straight way from another state to the present one.
    fn swept(&mut self, before: &Mark) -> Option<Approach> {
        let clear = self.nearest(before).map_or(f64::INFINITY, |a| a.distance_m);
        let (before, now) = (before.pose(), self.path.pose());
        let pairs = before.positions_m.iter().zip(&now.positions_m);
        let moved = pairs.map(|(a, b)| (b - a).norm()).fold(0.0, f64::max);
        let parts =
            (1..=MOST_LOOKS).find(|&n| moved <= f64::from(n) * APPROACH * clear).unwrap_or(MOST_LOOKS);
        (1..parts).find_map(|k| {
            let share = f64::from(k) / f64::from(parts);
            let positions = before.positions_m.iter().zip(&now.positions_m);
            let rotations = before.rotations.iter().zip(&now.rotations);
            let between = Pose {
                positions_m: positions.map(|(a, b)| a + (b - a) * share).collect(),
                rotations: rotations.map(|(a, b)| a + (b - a) * share).collect(),
            };
            self.stage.guard.nearest(&between).filter(Approach::is_contact)
        })
    }

    /// Makes a step and looks at where it led.
    pub(super) fn step(
        &mut self,
        go: impl FnOnce(&mut Path<'p>, &Stage<'_>) -> Result<(), SolveError>,
    ) -> Result<Step, SolveError> {
        self.done += 1.0;
        self.told.stage("swing", self.done / (self.done + 8.0))?;
        let before = self.path.mark();
        match go(&mut self.path, self.stage) {
            Ok(()) => match self.swept(&before) {
                Some(contact) => Ok(Step::Contact(contact)),
                None => self.look(),
            },
            Err(SolveError::Stopped { share, why }) => {
                // What was reached may lie inside something: that is why it stopped.
                let now = self.path.mark();
                let reached = self.nearest(&now).filter(Approach::is_contact);
                if let Some(contact) = reached {
                    return Ok(Step::Contact(contact));
                }
                Ok(Step::Failed(format!("stopped at {:.0} % of the step: {why}", 100.0 * share)))
            }
            Err(SolveError::Singular { place }) => {
                Ok(Step::Failed(format!("the stiffness vanishes at {place}")))
            }
            Err(other) => Err(other),
        }
    }

    /// The present state: clear of everything, or in contact.
    pub(super) fn look(&mut self) -> Result<Step, SolveError> {
        let now = self.path.mark();
        let approach = self.nearest(&now);
        if let Some(contact) = approach.clone().filter(Approach::is_contact) {
            return Ok(Step::Contact(contact));
        }
        let state = self.path.state();
        let current_a = state.level.driven;
        let (balance, driven) = self.path.equilibrium_and_drive()?;
        let torque_nm = match (driven.filter(|_| self.stage.most_a > 0.0), &self.stage.carried) {
            (Some(forces), Some(_)) => {
                current_a * CarriedPath::torque_of(&forces, now.pose(), &self.stage.hinge_line())
            }
            _ => self.torque_nm(),
        };
        let pose = now.pose().clone();
        let row = SwingState {
            current_a,
            load: state.level.steady,
            largest_m: balance.displacement_m.iter().map(Vector3::norm).fold(0.0, f64::max),
            angle_rad: self.stage.angle_rad(&pose),
            torque_nm,
            clearance_m: approach.as_ref().map(|a| a.distance_m),
            within_current: current_a.abs() <= self.stage.most_a * (1.0 + 1e-9),
            stable: state.negative_pivots == 0,
            ..SwingState::default()
        };
        Ok(Step::Clear(Box::new(Seen { row, pose, balance, approach })))
    }

    /// Torque of the magnets at the present state, N m.
    fn torque_nm(&self) -> f64 {
        let level = self.path.state().level;
        self.torque_per_factor() * if self.stage.most_a > 0.0 { level.driven } else { level.steady }
    }

    /// Torque of the magnets at unit factor, N m: per ampere where the current is sought.
    pub(super) fn torque_per_factor(&self) -> f64 {
        let carried = self.stage.carried.as_ref();
        carried.map_or(0.0, |path| path.torque_nm(self.path.pose(), &self.stage.hinge_line()))
    }

    /// Angle and current of the present state.
    pub(super) fn here(&self) -> (f64, f64) {
        (self.stage.angle_rad(self.path.pose()), self.path.state().level.driven)
    }

    pub(super) fn stop(&mut self, why: String) {
        let (angle_rad, current_a) = self.here();
        let load = self.path.state().level.steady;
        let wished = self.wished.clone();
        self.found.stops.push(SwingStop { wished, current_a, load, angle_rad, why });
    }
}
