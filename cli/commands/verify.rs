//! `verify`: problems with published answers, solved on this machine.

use super::Outcome;
use crate::args::Verify;
use crate::failure::Failure;
use crate::output::table;
use crate::screen::{self, ProgressLine};
use copperbend_solver::published::{self, Problem};

/// Solves the problems and prints how close they come.
///
/// # Errors
/// No problem has the name asked for.
pub(crate) fn run(options: &Verify) -> Result<Outcome, Failure> {
    let wanted = options.only.as_deref().unwrap_or_default().to_lowercase();
    let named = |p: &&'static Problem| {
        p.id.to_lowercase().contains(&wanted) || p.title.to_lowercase().contains(&wanted)
    };
    let chosen: Vec<&'static Problem> = published::problems().filter(named).collect();
    if chosen.is_empty() {
        let known: Vec<&str> = published::problems().map(|p| p.id).collect();
        return Err(Failure::new(
            format!("no problem has '{wanted}' in its name"),
            format!("choose one of {}", known.join(", ")),
        ));
    }
    let mut rows = Vec::new();
    let mut progress = ProgressLine::new();
    for (i, problem) in chosen.iter().enumerate() {
        progress.say(&format!("{} of {}: {}", i + 1, chosen.len(), problem.id));
        rows.extend(published::run(problem));
    }
    drop(progress);
    screen::print(&table::verify(&rows))?;
    Ok(if rows.iter().any(published::Row::fails) { Outcome::Exceeded } else { Outcome::Done })
}
