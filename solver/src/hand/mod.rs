//! The estimates that practitioners write by hand, beside beam and shell.
//!
//! In: a board, the answers of beam and shell. Out: one [`Estimate`] per formula, with the numbers put in, its source,
//! the values of both models and what each assumption costs. Absent: anything that a spreadsheet could not do.

mod electric;
mod mechanics;
mod motion;
mod shell;

pub use shell::{ShellFacts, shell_facts};

use crate::beam::answer::BeamAnswer;
use crate::beam::board::BoardBeam;
use crate::beam::compare::Compared;
use copperbend_mesh::board::Board;
use serde::Serialize;

/// A number put into a formula.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Put {
    /// Letter in the formula.
    pub letter: &'static str,
    /// What it is.
    pub name: String,
    /// Value, SI.
    pub value: f64,
    /// SI unit.
    pub unit: &'static str,
}

/// One estimate.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Estimate {
    /// What is estimated.
    pub quantity: &'static str,
    /// The formula in plain letters.
    pub formula: &'static str,
    /// Numbers put in.
    pub put: Vec<Put>,
    /// Where the formula comes from.
    pub source: &'static str,
    /// Value, SI.
    pub value: f64,
    /// SI unit.
    pub unit: &'static str,
    /// The same by the beam (for electrical quantities: by the whole current path).
    pub beam: Option<f64>,
    /// The same by the shell.
    pub shell: Option<f64>,
    /// What each assumption of the formula costs.
    pub costs: Vec<String>,
}

/// Everything an estimate may look at.
pub(crate) struct Bench<'b> {
    pub(crate) board: &'b Board,
    pub(crate) beam: &'b BoardBeam,
    pub(crate) answer: &'b BeamAnswer,
    pub(crate) rows: &'b [Compared],
    pub(crate) shell: Option<&'b ShellFacts>,
    /// Bending stiffness, N m2, and neutral plane, m, of an arm's section at mid-length.
    pub(crate) section: [f64; 2],
    /// Arms.
    pub(crate) count: f64,
    /// Mean length and width of the arms, m.
    pub(crate) length_m: f64,
    pub(crate) width_m: f64,
    /// Distance of the flap's middle from the roots, m; the arm's length without a flap.
    pub(crate) reach_m: f64,
}

/// A number put in.
pub(crate) fn put(letter: &'static str, name: impl Into<String>, value: f64, unit: &'static str) -> Put {
    Put { letter, name: name.into(), value, unit }
}

impl Bench<'_> {
    /// What switching assumptions does to a quantity of the comparison, in words.
    pub(crate) fn costs(&self, quantity: &str, hand: f64, beam: Option<f64>, formula: &str) -> Vec<String> {
        let mut all = Vec::new();
        if let Some(beam) = beam.filter(|b| b.abs() > 0.0 && hand != 0.0) {
            all.push(format!("{formula}: {:+.1} % (hand over beam)", 100.0 * (hand / beam - 1.0)));
        }
        if let Some(row) = self.rows.iter().find(|r| r.quantity == quantity) {
            let words = |e: &crate::beam::compare::Effect| {
                format!("{}: {:+.1} % in the beam's {quantity}", e.name, 100.0 * (e.factor - 1.0))
            };
            all.extend(row.effects.iter().map(words));
        }
        all
    }
}

/// All estimates that the board has the parts for.
#[must_use]
pub fn estimates(
    board: &Board,
    beam: &BoardBeam,
    answer: &BeamAnswer,
    rows: &[Compared],
    shell: Option<&ShellFacts>,
) -> Vec<Estimate> {
    let summary = crate::summary::summarise(board);
    let count = f64::from(u32::try_from(board.arms.len()).unwrap_or(1)).max(1.0);
    let mean = |of: fn(&crate::result::ArmFacts) -> f64| summary.arms.iter().map(of).sum::<f64>() / count;
    let length_m = mean(|a| a.length_m);
    let reach_m = match beam.flap {
        Some(node) => {
            let at = beam.frame.nodes[node].at_m + beam.flap_centre_m;
            beam.hinge.along_m([at.x, at.y])
        }
        None => length_m,
    };
    let bench = Bench {
        board,
        beam,
        answer,
        rows,
        shell,
        section: [mean(|a| a.bending_nm2), mean(|a| a.neutral_z_m)],
        count,
        length_m,
        width_m: mean(|a| a.width_m),
        reach_m,
    };
    let mut all = mechanics::all(&bench);
    all.extend(motion::all(&bench));
    for e in &mut all {
        if let (Some(beam), Some(shell)) = (e.beam.filter(|b| b.abs() > 0.0), e.shell) {
            let off = 100.0 * (shell / beam - 1.0);
            e.costs.push(format!(
                "what only the shell knows (contraction and curl held back, steps, a flap that bends): {off:+.1} % (shell \
                 over beam)"
            ));
        }
    }
    // Nothing mechanical is in these.
    all.extend(electric::all(&bench));
    all.extend(mechanics::radius_rule(&bench));
    all
}
