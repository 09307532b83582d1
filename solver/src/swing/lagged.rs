//! Yielding copper on a moving mesh: judged at the motion that the last step predicted, not at the actual one.
//!
//! The step of a thin arm stretches it in the first order of its turning, far beyond yield. Copper judged there would go
//! soft everywhere and never come back. So every triangle keeps the motion that the step predicted in the first order;
//! copper is judged there, and towards the actual motion its forces follow the tangent: for elastic copper this is the
//! plain way, at equilibrium both motions agree, and convergence stays quadratic.

use super::field::{Field, gather, to_frame};
use super::stance::Stance;
use crate::copper::Law;
use crate::copper::shell::{ShellCopper, Shortfall};
use crate::element::Vector18;
use copperbend_mesh::board::LayerId;
use nalgebra::Vector6;
use rayon::prelude::*;

/// Triangles a thread takes at a time.
const CHUNK: usize = 128;

/// The copper of a mesh and what its triangles fall short by.
#[derive(Debug)]
pub(super) struct LaggedCopper {
    pub(super) copper: ShellCopper,
    short: Vec<Option<Box<Shortfall>>>,
}

impl LaggedCopper {
    pub(super) fn new(copper: ShellCopper, triangles: usize) -> Self {
        Self { copper, short: vec![None; triangles] }
    }

    /// What a triangle falls short by, None while it is elastic.
    pub(super) fn of(&self, triangle: usize) -> Option<&Shortfall> {
        self.short[triangle].as_deref()
    }
}

impl Field {
    /// Motion in its frame of a triangle that can strain.
    fn motion(&self, stance: &Stance, triangle: usize) -> Option<Vector18> {
        if self.elements.rigid[triangle] {
            return None;
        }
        self.moved(stance, triangle).map(|moved| moved.motion)
    }

    /// Judges the copper at given motions.
    fn judge(&mut self, thermal: f64, motion: impl Fn(&Self, usize) -> Option<Vector18> + Sync) {
        let Some(mut lagged) = self.copper.take() else { return };
        let copper = &lagged.copper;
        let own = &*self;
        lagged.short.par_iter_mut().enumerate().with_min_len(CHUNK).for_each(|(e, short)| {
            if !copper.may_yield(e) {
                return;
            }
            let found = motion(own, e).and_then(|m| copper.shortfall(e, &own.elements.local[e], &m, thermal));
            match (short.as_deref_mut(), found) {
                (Some(kept), Some(found)) => *kept = found,
                (_, found) => *short = found.map(Box::new),
            }
        });
        self.copper = Some(lagged);
    }

    /// Judges the copper at a stance.
    pub(super) fn judge_copper(&mut self, stance: &Stance, thermal: f64) {
        self.judge(thermal, |field, e| field.motion(stance, e));
    }

    /// Judges the copper where a step from a stance leads in the first order.
    pub(super) fn judge_copper_after(&mut self, stance: &Stance, steps: &[Vector6<f64>], thermal: f64) {
        if self.copper.is_none() {
            return;
        }
        let nodes = self.node_steps(steps);
        self.judge(thermal, |field, e| {
            if field.elements.rigid[e] {
                return None;
            }
            let moved = field.moved(stance, e)?;
            let global = gather(&nodes, field.model.triangles[e]);
            Some(moved.motion + moved.strained(&to_frame(&moved.triad, &global)))
        });
    }

    /// Keeps the state of the copper at a stance for the steps that follow.
    pub(super) fn keep_copper(&mut self, stance: &Stance, thermal: f64) {
        let Some(mut lagged) = self.copper.take() else { return };
        lagged.copper.keep(|e| self.motion(stance, e), &self.elements.local, thermal);
        self.copper = Some(lagged);
    }

    /// Changes the laws of the copper at a stance, see [`ShellCopper::restart`].
    pub(super) fn restart_copper(
        &mut self,
        stance: &Stance,
        thermal: f64,
        law: impl Fn(LayerId) -> Option<Law>,
    ) {
        let Some(mut lagged) = self.copper.take() else { return };
        lagged.copper.restart(|e| self.motion(stance, e), &self.elements.local, thermal, law);
        self.copper = Some(lagged);
    }
}
