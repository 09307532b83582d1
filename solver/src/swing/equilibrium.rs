//! An equilibrium under large motion as an object: what recovery, modes and life build on.
//!
//! In: a settled stance. Out: pose, motion and forces of every triangle in its own frame, reactions, energy.
//! Absent: solving.

use super::field::{Field, Level};
use super::load::Pose;
use super::newton::Point;
use super::path::State;
use crate::element::Vector18;
use crate::element::corotational::Moved;
use crate::statics::{Reaction, support_reactions};
use nalgebra::{Matrix3, Vector3, Vector6};
use rayon::prelude::*;

/// A board in balance, anywhere.
#[derive(Debug, Clone)]
pub struct Equilibrium {
    /// Where every node is.
    pub pose: Pose,
    /// Displacement of every node from rest, m.
    pub displacement_m: Vec<Vector3<f64>>,
    /// Small motion of every triangle inside the frame that turns with it: u, v, w, tx, ty, tz, corner by corner, in
    /// the triangle's axes. Triangles of rigid pieces: zero.
    pub motion: Vec<Vector18>,
    /// Axes of every triangle now: rows e1, e2, e3 in space.
    pub triad: Vec<Matrix3<f64>>,
    /// Forces conjugate to [`Self::motion`], heating taken off (N and N m).
    pub own_forces: Vec<Vector18>,
    /// Factors on everything that acts.
    pub level: Level,
    /// What the supports exert, by node in ascending order.
    pub reactions: Vec<Reaction>,
    /// Figures.
    pub state: State,
}

impl Equilibrium {
    /// `net`: load less internal force per block, which the supports take where they hold. `frames`: of the point.
    pub(super) fn new(
        field: &Field,
        frames: &[Option<Moved>],
        point: &Point,
        state: State,
        net: &[Vector6<f64>],
    ) -> Self {
        let n = field.model.triangles.len();
        let moved: Vec<(Vector18, Matrix3<f64>)> = (0..n)
            .into_par_iter()
            .map(|e| match &frames[e] {
                Some(moved) => (moved.motion, moved.triad),
                None => {
                    let moved = field.moved(&point.stance, e);
                    (Vector18::zeros(), moved.map_or(field.elements.local[e].triad, |m| m.triad))
                }
            })
            .collect();
        let (motion, triad) = moved.into_iter().unzip();
        let displacement_m = (0..field.model.nodes_m.len()).map(|n| point.stance.displacement(n)).collect();
        Self {
            pose: point.stance.pose.clone(),
            displacement_m,
            motion,
            triad,
            own_forces: point.own.clone(),
            level: point.level,
            reactions: support_reactions(&field.model, |block| net[block]),
            state,
        }
    }

    /// Sum of all reactions: force (N) and moment about the origin (N m), global axes.
    #[must_use]
    pub fn total_reaction(&self) -> Vector6<f64> {
        let mut total = Vector6::zeros();
        for reaction in &self.reactions {
            let at = self.pose.positions_m[reaction.node as usize];
            let force = reaction.load.fixed_rows::<3>(0).into_owned();
            let moment = reaction.load.fixed_rows::<3>(3) + at.cross(&force);
            total += Vector6::new(force[0], force[1], force[2], moment[0], moment[1], moment[2]);
        }
        total
    }
}
