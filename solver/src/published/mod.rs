//! Problems with known answers, run by the `verify` command and by the tests from one table.
//!
//! Input: nothing. Output: one [`Row`] per figure: target, result, ratio, tolerance, pass. Each problem builds its
//! own mesh and model and goes through the same rooms as a board.
//!
//! Units are consistent within a problem; the unit of a row says which where it matters.

mod arms;
mod bars;
mod beams;
mod concentration;
mod curved;
mod frame_arms;
mod frame_modes;
mod frames;
mod grids;
mod laminates;
mod life;
mod patch;
mod plates;
mod rig;
mod sections;
mod set;
mod shells;
mod strips;
mod vibrating_beams;
mod vibrating_plates;

use crate::error::SolveError;

/// How the target value is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Provenance {
    /// Seen in the source.
    Read,
    /// Obtained by an independent computation.
    Recomputed,
    /// Recalled from the literature, not confirmed.
    Memory,
}

impl Provenance {
    /// Words for a table.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Read => "read",
            Self::Recomputed => "recomputed",
            Self::Memory => "from memory",
        }
    }
}

/// One figure of a problem.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Target {
    /// What is compared.
    pub quantity: &'static str,
    /// Unit of target and result.
    pub unit: &'static str,
    /// The known value.
    pub value: f64,
    /// Allowed difference as a share of the target; the difference itself where the target is zero.
    pub tolerance: f64,
    /// Whether the figure must pass; else it is shown only.
    pub gated: bool,
}

/// One problem: where it comes from, its figures, and how to compute them.
#[derive(Debug, Clone, Copy)]
pub struct Problem {
    /// Short name.
    pub id: &'static str,
    /// One line for people.
    pub title: &'static str,
    /// Author, title, year, place.
    pub source: &'static str,
    /// How the targets are known.
    pub provenance: Provenance,
    /// Conditions a reader must know to judge the figures; may be empty.
    pub note: &'static str,
    /// The figures, in the order [`Problem::run`] returns them.
    pub targets: &'static [Target],
    /// Computes one value per target.
    pub run: fn() -> Result<Vec<f64>, SolveError>,
}

/// A figure that must pass.
const fn gate(quantity: &'static str, unit: &'static str, value: f64, tolerance: f64) -> Target {
    Target { quantity, unit, value, tolerance, gated: true }
}

/// A figure that is shown only.
const fn show(quantity: &'static str, unit: &'static str, value: f64, tolerance: f64) -> Target {
    Target { quantity, unit, value, tolerance, gated: false }
}

/// One line of the verification table.
#[derive(Debug, Clone)]
pub struct Row {
    /// The problem.
    pub problem: &'static Problem,
    /// The figure.
    pub target: Target,
    /// What this program finds; NaN if the problem could not be solved.
    pub result: f64,
    /// Result over target; NaN where the target is zero.
    pub ratio: f64,
    /// Whether the result lies within the tolerance.
    pub pass: bool,
    /// Why there is no result.
    pub failure: Option<String>,
}

impl Row {
    fn new(problem: &'static Problem, target: Target, result: f64, failure: Option<String>) -> Self {
        let zero = target.value == 0.0;
        let reference = if zero { 1.0 } else { target.value.abs() };
        let pass = (result - target.value).abs() <= target.tolerance * reference;
        let ratio = if zero { f64::NAN } else { result / target.value };
        Self { problem, target, result, ratio, pass, failure }
    }

    /// True if the figure must pass and does not.
    #[must_use]
    pub const fn fails(&self) -> bool {
        self.target.gated && !self.pass
    }
}

/// Every problem, in reading order.
pub fn problems() -> impl Iterator<Item = &'static Problem> {
    [
        patch::PROBLEMS,
        sections::PROBLEMS,
        beams::PROBLEMS,
        plates::PROBLEMS,
        curved::PROBLEMS,
        laminates::PROBLEMS,
        arms::PROBLEMS,
        concentration::PROBLEMS,
        strips::PROBLEMS,
        shells::PROBLEMS,
        life::PROBLEMS,
        set::PROBLEMS,
        frames::PROBLEMS,
        frame_modes::PROBLEMS,
        frame_arms::PROBLEMS,
        vibrating_beams::PROBLEMS,
        vibrating_plates::PROBLEMS,
    ]
    .into_iter()
    .flatten()
}

/// Computes one problem: a row per figure.
#[must_use]
pub fn run(problem: &'static Problem) -> Vec<Row> {
    let outcome = (problem.run)();
    let row = |i: usize, target: &Target| match &outcome {
        Ok(values) => match values.get(i) {
            Some(value) => Row::new(problem, *target, *value, None),
            None => Row::new(problem, *target, f64::NAN, Some("the problem gave no such figure".to_owned())),
        },
        Err(error) => Row::new(problem, *target, f64::NAN, Some(error.to_string())),
    };
    problem.targets.iter().enumerate().map(|(i, t)| row(i, t)).collect()
}

/// Computes every problem in order; `progress` sees the rows of each as they come.
pub fn run_all(mut progress: impl FnMut(&[Row])) -> Vec<Row> {
    let mut all = Vec::new();
    for problem in problems() {
        let rows = run(problem);
        progress(&rows);
        all.extend(rows);
    }
    all
}
