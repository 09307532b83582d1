//! Up, down and up again with copper that yields, in plain data: set, steady loop, strain history of the spots.

use super::{RangeSpot, StrainMap};
use crate::life::CopperKind;
use serde::Serialize;

/// The swing with yielding copper.
#[derive(Debug, Clone, Default, Serialize)]
pub struct CycleAnswer {
    /// Curve of the first bend, in words.
    pub first_curve: String,
    /// Curve of the steady loop, in words.
    pub cyclic_curve: String,
    /// Currents between which the board swings, A: most negative, most positive.
    pub currents_a: [f64; 2],
    /// Flap angle before the first bend, without current, rad.
    pub rest_before_rad: f64,
    /// Flap angle at the end of the first bend, rad.
    pub first_top_rad: f64,
    /// Flap angle without current after the first bend less that before, rad: the set of the first bend.
    pub first_set_rad: f64,
    /// Flap angles at the ends of the steady loop, rad, as the currents.
    pub steady_ends_rad: [f64; 2],
    /// Flap angle without current after the steady loop, power off, rad.
    pub rest_after_rad: f64,
    /// Change of the upper end of the loop from its first to its second pass, rad.
    pub loop_change_rad: f64,
    /// Whether the steady loop is elastic (shakedown): its plastic work is nothing beside the elastic work of the swing.
    pub shakes_down: bool,
    /// Strain range up to which a loop is elastic: twice the strain at which the cyclic curve leaves its elastic line.
    pub elastic_range: f64,
    /// Plastic work of the first bend and of one round of the steady loop, all copper together, J.
    pub plastic_work_j: [f64; 2],
    /// Elastic work of the swing: strain energy of the ends over that without drive, the larger, J.
    pub elastic_work_j: f64,
    /// Triangles in which copper yields in every cycle.
    pub loop_yielding_triangles: u32,
    /// Triangles in which copper yielded in the first bend.
    pub yielded_triangles: u32,
    /// Currents of the states of the upward half of the steady loop, A.
    pub loop_current_a: Vec<f64>,
    /// Flap angles of these states, rad.
    pub loop_angle_rad: Vec<f64>,
    /// Spots of largest steady strain range, worst first.
    pub spots: Vec<CycleSpot>,
    /// Why the loop was not finished; empty when it was.
    pub stopped: String,
    /// Factorisations made.
    pub factorisations: u32,
    /// Steady strain range of every copper layer at both faces.
    #[serde(skip)]
    pub maps: Vec<StrainMap>,
}

/// A spot of the steady loop.
#[derive(Debug, Clone, Serialize)]
pub struct CycleSpot {
    /// Place, range of the steady loop, strain at its two ends.
    #[serde(flatten)]
    pub spot: RangeSpot,
    /// Kind of copper.
    pub kind: CopperKind,
    /// Strain in the spot's direction at the end of the first bend.
    pub first_bend_strain: f64,
    /// Strain left there without current after the first bend.
    pub set_strain: f64,
    /// Mean strain of the steady loop.
    pub mean_strain: f64,
    /// Mean stress of the steady loop by a single fibre of the same curves, Pa.
    pub mean_stress_pa: f64,
    /// The same for smaller swings: share of the swing, Pa; smallest first.
    pub mean_stress_over_share: Vec<[f64; 2]>,
    /// Strain in the spot's direction at the states of [`CycleAnswer::loop_current_a`].
    pub loop_strain: Vec<f64>,
}

impl CycleAnswer {
    /// Strain range of a spot at a smaller swing: the strain at both ends, read off the loop of the largest. `place`:
    /// current (A) or flap angle (rad) of the end states. None outside the loop.
    #[must_use]
    pub fn range_at(&self, spot: &CycleSpot, amplitude: f64, by_angle: bool) -> Option<f64> {
        let at = if by_angle { &self.loop_angle_rad } else { &self.loop_current_a };
        let middle = if by_angle { self.rest_after_rad } else { 0.0 };
        // A hair of slack: samples tested at the largest swing itself.
        let reach = amplitude * (1.0 - 1e-6);
        between(at, &spot.loop_strain, [middle - reach, middle + reach]).map(range)
    }

    /// Share of the computed swing that an amplitude is, by current (A) or flap angle (rad).
    #[must_use]
    pub fn share_of(&self, amplitude: f64, by_angle: bool) -> f64 {
        let whole = if by_angle { self.amplitude_rad() } else { self.amplitude_a() };
        if whole > 0.0 { amplitude / whole } else { 0.0 }
    }

    /// Amplitude of the computed swing by flap angle, rad.
    #[must_use]
    pub fn amplitude_rad(&self) -> f64 {
        0.5 * (self.steady_ends_rad[1] - self.steady_ends_rad[0]).abs()
    }

    /// Largest current of either polarity that a share of the swing takes, A.
    #[must_use]
    pub fn peak_a(&self, share: f64) -> f64 {
        let ends = self.ends_at_share(&self.loop_current_a, share).unwrap_or(self.currents_a);
        ends[0].abs().max(ends[1].abs())
    }

    /// Amplitude of the computed swing by current, A.
    #[must_use]
    pub fn amplitude_a(&self) -> f64 {
        self.currents_a[0].abs().min(self.currents_a[1].abs())
    }

    /// The same at a share of both ends of the loop about the rest, by flap angle.
    #[must_use]
    pub fn range_at_share(&self, spot: &CycleSpot, share: f64) -> Option<f64> {
        self.ends_at_share(&spot.loop_strain, share).map(range)
    }

    /// Strain of a spot's loop at both ends of a share of the swing, by flap angle about the rest.
    #[must_use]
    pub fn ends_at_share(&self, loop_strain: &[f64], share: f64) -> Option<[f64; 2]> {
        let reach = share.min(1.0 - 1e-9);
        let ends = self.steady_ends_rad.map(|end| self.rest_after_rad + reach * (end - self.rest_after_rad));
        between(&self.loop_angle_rad, loop_strain, ends)
    }
}

impl CycleSpot {
    /// Mean stress at a share of the computed swing, Pa.
    #[must_use]
    pub fn mean_stress_at(&self, share: f64) -> f64 {
        let rows = &self.mean_stress_over_share;
        match rows.iter().position(|row| row[0] >= share) {
            None => self.mean_stress_pa,
            Some(0) => rows[0][1],
            Some(k) => {
                let [[x0, y0], [x1, y1]] = [rows[k - 1], rows[k]];
                y0 + (share - x0) / (x1 - x0) * (y1 - y0)
            }
        }
    }
}

fn range([low, high]: [f64; 2]) -> f64 {
    (high - low).abs()
}

/// Strain at two places of a loop; None outside.
fn between(at: &[f64], strain: &[f64], ends: [f64; 2]) -> Option<[f64; 2]> {
    let read = |x: f64| {
        let i = at.windows(2).position(|w| (w[0] - x) * (w[1] - x) <= 0.0)?;
        let share = (x - at[i]) / (at[i + 1] - at[i]);
        Some(strain[i] + share * (strain[i + 1] - strain[i]))
    };
    Some([read(ends[0])?, read(ends[1])?])
}
