//! `claims`: the user's own results against the program's.

use super::{Outcome, read_design};
use crate::args::Claims;
use crate::failure::Failure;
use crate::output::atomic::{OutFolder, cannot};
use crate::output::{csv, table};
use crate::screen::{self, ProgressLine};
use copperbend_solver::bend::bend;
use copperbend_solver::claims::{Claim, ClaimFault, Judge, Verdict, check_layers, from_csv, from_toml};
use copperbend_solver::hand::shell_facts;
use std::path::Path;

/// Largest claims file, bytes.
const MOST: u64 = 4 << 20;

/// Judges every claim; differing claims give exit code 1.
///
/// # Errors
/// Design or claims have faults, the board has no beam, or a file cannot be written.
pub(crate) fn run(options: &Claims) -> Result<Outcome, Failure> {
    let claims = read_claims(&options.claims)?;
    let design = read_design(&options.files.design)?;
    let board = &design.board;
    check_layers(&claims, board).map_err(|f| faulty(&options.claims, &f))?;
    let folder = super::out_folder(&options.files, "claims");
    drop(OutFolder::open(&folder)?);
    let mut progress = ProgressLine::new();
    let report = match options.no_shell {
        true => None,
        false => Some(bend(board, &super::hand::shell_options(), &mut progress)?),
    };
    let first = report.as_ref().and_then(|r| Some((r, r.answers.first()?)));
    let bond = first.map_or_else(|| super::beam::bonds(board)[0], |(_, a)| a.bond);
    progress.say("frequencies");
    let facts = first.map(|(r, a)| shell_facts(board, r, a)).transpose()?;
    let judge = Judge::new(board, bond, first.map(|f| f.1).zip(facts.as_ref()))?;
    let verdicts: Vec<Verdict> = claims.iter().map(|c| judge.judge(c)).collect();
    let mut out = OutFolder::open(&folder)?;
    out.put("claims.csv", &csv::verdicts(&verdicts))?;
    let written = out.finish()?;
    drop(progress);
    let name = options.claims.display().to_string();
    screen::print(&table::claims(&board.title, &name, &verdicts, &written))?;
    Ok(if verdicts.iter().all(|v| v.agrees) { Outcome::Done } else { Outcome::Exceeded })
}

fn read_claims(path: &Path) -> Result<Vec<Claim>, Failure> {
    let name = path.display().to_string();
    let facts = std::fs::metadata(path).map_err(|e| cannot("read the claims", path, &e))?;
    if facts.is_dir() || facts.len() > MOST {
        return Err(Failure::new(
            format!("{name}: this is no claims file"),
            "name a TOML or CSV file of claims",
        ));
    }
    let bytes = std::fs::read(path).map_err(|e| cannot("read the claims", path, &e))?;
    let text = String::from_utf8(bytes)
        .map_err(|_| Failure::new(format!("{name}: this is not text in UTF-8"), "save it as UTF-8 text"))?;
    let csv = path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"));
    let read = if csv { from_csv(&text) } else { from_toml(&text) };
    read.map_err(|faults| faulty(path, &faults))
}

/// Faults of a claims file, each with the file's name.
fn faulty(path: &Path, faults: &[ClaimFault]) -> Failure {
    let lines: Vec<String> = faults.iter().map(|f| format!("{}:{f}", path.display())).collect();
    Failure::new(lines.join("\n"), "")
}
