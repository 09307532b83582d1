//! Refines the mesh until the top spots hold still within the wished tolerance, or a stated limit is met.
//!
//! In: a way to build and solve a mesh from extra size wishes. Out: the last mesh with its spots, their
//! uncertainty, and why the refinement ended. Absent: what is meshed; boards, published problems and plain plates
//! all pass through here.
//!
//! Two rules make the next mesh. Energy: a triangle whose error is above its equal share of the wished total gets
//! smaller by the square root of the ratio (error ~ size squared per triangle). Spots: around a spot whose value
//! still moves, triangles shrink two to four times. No triangle goes below half the local thickness: the shell
//! means nothing there.

use crate::error::SolveError;
use crate::model::{Model, Solution};
use crate::recover::{Recovered, Spot, SpotOptions, Trace, recover, spots};
use copperbend_mesh::triangulate::SizeSource;

mod compare;
mod sizes;

/// One mesh, built and solved.
#[derive(Debug, Clone, Default)]
pub struct Trial<T> {
    /// Model.
    pub model: Model,
    /// Its displacements.
    pub solution: Solution,
    /// Share of the plies' own heating that acts.
    pub thermal_factor: f64,
    /// Pieces of copper whose spots are sought.
    pub traces: Vec<Trace>,
    /// Whatever the caller wants back with the last mesh.
    pub extra: T,
}

/// Makes and solves a mesh with these extra size wishes.
pub type Build<'a, T> = dyn FnMut(&[SizeSource]) -> Result<Trial<T>, SolveError> + 'a;

/// When to stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SettleOptions {
    /// Wished relative change of the top spots between two meshes.
    pub tolerance: f64,
    /// Most refinements after the first mesh.
    pub max_refinements: u32,
    /// Most triangles.
    pub max_triangles: u32,
    /// Spots that must settle: at most this many, all within a fifth of the highest.
    pub top: usize,
    /// Wished relative error of the whole strain field in energy.
    pub energy_error: f64,
    /// Growth of triangle size per length away from fine places, as in the mesh's own size field.
    pub growth: f64,
    /// Smallest triangle as a share of the local thickness.
    pub finest_share: f64,
    /// How spots are picked.
    pub spots: SpotOptions,
}

impl Default for SettleOptions {
    fn default() -> Self {
        Self {
            tolerance: 0.01,
            max_refinements: 4,
            max_triangles: 120_000,
            top: 5,
            energy_error: 0.015,
            growth: 0.25,
            finest_share: 0.5,
            spots: SpotOptions::default(),
        }
    }
}

/// Why the refinement ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// The top spots moved less than the tolerance.
    Settled,
    /// The most refinements were made; the top spots hold still, but two ways of reading their strain still differ.
    Unsure,
    /// The most refinements were made.
    RefinementLimit,
    /// A finer mesh would have more triangles than allowed.
    TriangleLimit,
    /// Triangles at the spots are already half the thickness.
    ThicknessLimit,
    /// No trace has a spot.
    NoSpots,
}

impl Outcome {
    /// Words for the report.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Settled => "the top spots hold still within the tolerance",
            Self::Unsure => {
                "stopped at the most refinements allowed; the top spots hold still within the tolerance, but two ways of \
                 reading the strain there differ by more"
            }
            Self::RefinementLimit => "stopped at the most refinements allowed; the top spots still move",
            Self::TriangleLimit => "stopped at the most triangles allowed; the top spots still move",
            Self::ThicknessLimit => {
                "triangles at the top spots are half the thickness; a finer shell means nothing there"
            }
            Self::NoSpots => "no ranked copper is strained",
        }
    }

    /// What a reader can do about it.
    #[must_use]
    pub fn remedy(self) -> &'static str {
        match self {
            Self::Settled | Self::NoSpots => "nothing to do",
            Self::Unsure | Self::RefinementLimit => {
                "read each strain with its uncertainty, or raise [mesh] max_refinements"
            }
            Self::TriangleLimit => "read each strain with its uncertainty, or raise [mesh] max_triangles",
            Self::ThicknessLimit => {
                "read each strain with its uncertainty: closer than half a thickness to an edge a layered shell has no more to say"
            }
        }
    }
}

/// One mesh of the sequence, for progress and report.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Round {
    /// Counted from 0.
    pub number: u32,
    /// Triangles.
    pub n_triangles: usize,
    /// Nodes.
    pub n_nodes: usize,
    /// Estimated relative error of the strain field in energy.
    pub energy_error: f64,
    /// Strain of the top spot.
    pub top: Option<f64>,
    /// Largest relative change of the top spots since the mesh before.
    pub change: Option<f64>,
}

/// The last mesh with its answer.
#[derive(Debug, Clone)]
pub struct Settled<T> {
    /// Model, solution, traces and the caller's own data.
    pub trial: Trial<T>,
    /// Recovered strains.
    pub recovered: Recovered,
    /// Spots, highest first, each with uncertainty and change.
    pub spots: Vec<Spot>,
    /// Why the refinement ended.
    pub outcome: Outcome,
    /// The meshes made.
    pub rounds: Vec<Round>,
    /// Extra size wishes of the last mesh.
    pub sources: Vec<SizeSource>,
}

/// One mesh with its strains.
struct Look<T> {
    trial: Trial<T>,
    recovered: Recovered,
    spots: Vec<Spot>,
}

/// Builds, looks, refines, until the top spots settle.
///
/// `progress`: called after each mesh; returning false stops the work.
///
/// # Errors
/// Whatever `build` returns; [`SolveError::Cancelled`] if `progress` returned false.
pub fn settle<T>(
    build: &mut Build<'_, T>,
    options: &SettleOptions,
    progress: &mut dyn FnMut(&Round) -> bool,
) -> Result<Settled<T>, SolveError> {
    let mut sources: Vec<SizeSource> = Vec::new();
    let mut rounds: Vec<Round> = Vec::new();
    let mut before: Option<Look<T>> = None;
    for number in 0..=options.max_refinements {
        let mut now = look(build(&sources)?, options);
        if let Some(before) = &before {
            compare::compare(&mut now, before, options);
        }
        let round = round(number, &now, options);
        rounds.push(round);
        if !progress(&round) {
            return Err(SolveError::Cancelled);
        }
        let outcome = match ended(&now, options, before.is_some()) {
            Some(outcome) => Some(outcome),
            None if number == options.max_refinements => {
                let quiet = round.change.is_some_and(|change| change <= options.tolerance);
                Some(if quiet { Outcome::Unsure } else { Outcome::RefinementLimit })
            }
            None => match sizes::next(&now, &sources, options) {
                sizes::Next::Finest => Some(Outcome::ThicknessLimit),
                sizes::Next::TooMany => Some(Outcome::TriangleLimit),
                sizes::Next::Refine(wishes) => {
                    sources = wishes;
                    None
                }
            },
        };
        if let Some(outcome) = outcome {
            let Look { trial, recovered, spots } = now;
            return Ok(Settled { trial, recovered, spots, outcome, rounds, sources });
        }
        before = Some(now);
    }
    // The last round above always ends the loop; this line only satisfies the type.
    Err(SolveError::Cancelled)
}

/// Whether the spots say that the work is done.
fn ended<T>(now: &Look<T>, options: &SettleOptions, compared: bool) -> Option<Outcome> {
    if now.spots.is_empty() {
        return Some(Outcome::NoSpots);
    }
    let top = compare::top(&now.spots, options);
    let done = |spot: &Spot| {
        let quiet = spot.change.is_some_and(|change| change <= options.tolerance * spot.strain.abs());
        compare::still(spot, options) || (quiet && compare::at_limit(spot, options))
    };
    if !compared || !top.iter().all(|spot| done(spot)) {
        None
    } else if top.iter().all(|spot| compare::still(spot, options)) {
        Some(Outcome::Settled)
    } else {
        Some(Outcome::ThicknessLimit)
    }
}

fn look<T>(trial: Trial<T>, options: &SettleOptions) -> Look<T> {
    let recovered = recover(&trial.model, &trial.solution, trial.thermal_factor);
    let spots = spots(&trial.model, &recovered, &trial.traces, &options.spots);
    Look { trial, recovered, spots }
}

fn round<T>(number: u32, now: &Look<T>, options: &SettleOptions) -> Round {
    let change = compare::top(&now.spots, options)
        .iter()
        .map(|spot| spot.change.map(|change| change / spot.strain.abs()))
        .try_fold(0.0, |most: f64, change| change.map(|change| most.max(change)));
    Round {
        number,
        n_triangles: now.trial.model.triangles.len(),
        n_nodes: now.trial.model.nodes_m.len(),
        energy_error: now.recovered.relative_error(),
        top: now.spots.first().map(|spot| spot.strain),
        change: if now.spots.is_empty() { None } else { change },
    }
}

#[cfg(test)]
mod tests;
