//! `vary`: the beam of every combination of changed values, in one table.

use super::{Outcome, read_design};
use crate::args::Vary;
use crate::failure::Failure;
use crate::output::atomic::OutFolder;
use crate::output::{csv, numbers, table};
use crate::screen::{self, ProgressLine};
use copperbend_mesh::board::understand;
use copperbend_mesh::design::vary::{Change, places, table as plain_table, variant, variants};
use copperbend_solver::beam::answer::{BeamAnswer, BeamScope, beam};
use copperbend_solver::bend::Progress;
use copperbend_solver::error::SolveError;
use rayon::prelude::*;
use std::time::Instant;

/// Most variants of one command.
const MOST: usize = 1_000_000;

/// Variants between two words about how far the work has come.
const ROUND: usize = 512;

/// One variant: its values, and its beam or why there is none.
pub(crate) struct Variant {
    pub(crate) values: Vec<f64>,
    pub(crate) answer: Result<BeamAnswer, String>,
}

/// Runs every variant and writes the table.
///
/// # Errors
/// The design has faults, a change names nothing, or the file cannot be written.
pub(crate) fn run(options: &Vary) -> Result<Outcome, Failure> {
    let design = read_design(&options.files.design)?;
    let refuse = |what: String| Failure::new(format!("--change: {what}"), "see `copperbend vary --help`");
    let changes: Vec<Change> =
        options.change.iter().map(|c| Change::parse(c)).collect::<Result<_, _>>().map_err(refuse)?;
    let total = variants(&changes);
    if total > MOST {
        return Err(Failure::new(
            format!("--change: {total} variants are more than {MOST}"),
            "take fewer values",
        ));
    }
    let text = plain_table(&design.text).map_err(|e| Failure::new(format!("{}: {e}", design.name), ""))?;
    // Names are checked once, before any work.
    variant(&text, &changes, &vec![0; changes.len()]).map_err(refuse)?;
    let folder = super::out_folder(&options.files, "vary");
    let mut out = OutFolder::open(&folder)?;
    let scope = BeamScope { frequencies: if options.no_frequencies { 0 } else { 4 } };
    let wishes = super::beam::wishes(options.beams);
    let begin = Instant::now();
    let one = |n: usize| {
        let places = places(&changes, n);
        let values = changes.iter().zip(&places).map(|(c, &p)| c.number(p)).collect();
        let answer = variant(&text, &changes, &places).and_then(|text| {
            let board = understand(&design.name, &text).map_err(|f| first_line(&f.to_string()))?;
            beam(&board, &wishes, scope).map_err(|e| first_line(&e.to_string()))
        });
        Variant { values, answer }
    };
    let mut progress = ProgressLine::new();
    let all = in_rounds(total, one, &mut progress)?;
    drop(progress);
    if let Some(Err(first)) = all.first().map(|v| v.answer.as_ref())
        && all.iter().all(|v| v.answer.is_err())
    {
        let what =
            format!("--change: none of the {total} variants is a board with beams; the first: {first}");
        return Err(Failure::new(what, "see `copperbend vary --help`"));
    }
    out.put("variants.csv", &csv::variants(&changes, &all))?;
    let written = out.finish()?;
    let seconds = numbers::plain(begin.elapsed().as_secs_f64(), 3);
    screen::print(&table::variants(&design.board.title, &changes, &all, &seconds))?;
    screen::print(&format!(
        "Written to {}\n",
        written.first().map_or(String::new(), |p| p.display().to_string())
    ))?;
    Ok(Outcome::Done)
}

/// Every variant, [`ROUND`] at a time; `progress` hears of each round.
///
/// # Errors
/// [`SolveError::Cancelled`] when `progress` says stop.
fn in_rounds<T: Send>(
    total: usize,
    one: impl Fn(usize) -> T + Sync,
    progress: &mut dyn Progress,
) -> Result<Vec<T>, SolveError> {
    let mut all: Vec<T> = Vec::with_capacity(total);
    while all.len() < total {
        let next = (all.len() + ROUND).min(total);
        let round: Vec<T> = (all.len()..next).into_par_iter().map(&one).collect();
        all.extend(round);
        if !progress.report(&format!("variant {next} of {total},"), next as f64 / total as f64) {
            return Err(SolveError::Cancelled);
        }
    }
    Ok(all)
}

fn first_line(text: &str) -> String {
    text.lines().next().unwrap_or_default().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Notes what it hears; says stop after some words.
    struct Heard(Vec<(String, f64)>, usize);

    impl Progress for Heard {
        fn report(&mut self, stage: &str, fraction: f64) -> bool {
            self.0.push((stage.to_owned(), fraction));
            self.0.len() < self.1
        }
    }

    #[test]
    fn every_round_is_told_and_may_be_the_last() {
        let mut heard = Heard(Vec::new(), 9);
        let all = in_rounds(1100, |n| 3 * n, &mut heard).expect("to the end");
        assert!(all.len() == 1100 && all.iter().enumerate().all(|(n, v)| *v == 3 * n), "values in order");
        let words: Vec<&str> = heard.0.iter().map(|h| h.0.as_str()).collect();
        assert_eq!(
            words,
            ["variant 512 of 1100,", "variant 1024 of 1100,", "variant 1100 of 1100,"],
            "words"
        );
        let last = heard.0.last().map_or(0.0, |h| h.1);
        assert!((last - 1.0).abs() < 1e-12 && heard.0.windows(2).all(|w| w[0].1 < w[1].1), "{:?}", heard.0);
        let stopped = in_rounds(1100, |n| n, &mut Heard(Vec::new(), 1));
        assert!(matches!(stopped, Err(SolveError::Cancelled)), "{stopped:?}");
    }
}
