//! `modes`: natural modes of a board, and of another beside it.

use super::{Outcome, out_folder, read_design, write_all};
use crate::args::{ModelWord, Modes};
use crate::failure::Failure;
use crate::output::atomic::OutFolder;
use crate::output::canvas::PictureError;
use crate::output::mode_view::{self, Side};
use crate::output::{csv, table, vtu};
use crate::screen::{self, ProgressLine};
use copperbend_mesh::board::Board;
use copperbend_solver::air::Medium;
use copperbend_solver::natural::{NaturalOptions, beside_shell, natural_modes};
use copperbend_solver::result::{BondLimit, ModesReport};
use rayon::prelude::*;
use serde::Serialize;

/// Finds the modes and writes everything.
///
/// # Errors
/// A design has faults, the solve stops, or a file cannot be written.
pub(crate) fn run(options: &Modes) -> Result<Outcome, Failure> {
    let design = read_design(&options.files.design)?;
    let other = options.against.as_deref().map(read_design).transpose()?;
    let folder = out_folder(&options.files, "modes");
    drop(OutFolder::open(&folder)?);
    let beams = super::beam::asked(options.model, options.beams)?;
    let mut progress = ProgressLine::new();
    let wishes = NaturalOptions {
        count: usize::from(options.count),
        current_a: options.current.unwrap_or(0.0),
        medium: (!options.vacuum).then_some(Medium::AIR),
        beam: beams.filter(|_| options.model == ModelWord::Beam),
        free_memory: Some(crate::machine::free_memory),
    };
    let report = natural_modes(&design.board, &wishes, &mut progress)?;
    let against = match &other {
        // The current belongs to the first board; the second is taken without one.
        Some(design) => {
            let wishes = NaturalOptions { current_a: 0.0, ..wishes.clone() };
            Some(natural_modes(&design.board, &wishes, &mut progress)?)
        }
        None => None,
    };
    let beside = match super::beam::both(options.model, beams) {
        None => Vec::new(),
        beam => beside_shell(&design.board, &NaturalOptions { beam, ..wishes }, &report, &mut progress)?,
    };
    progress.say("pictures and files");
    let mut files = vec![("modes.csv".to_owned(), csv::modes(&report))];
    for answer in &report.answers {
        files.push((format!("modes{}.vtu", suffix(&report, answer.bond)), vtu::write_modes(answer)));
    }
    if !options.no_pictures {
        files.extend(pictures(&design.board, &report)?);
        if let Some((other, against)) = other.as_ref().zip(against.as_ref()) {
            let sides = [(&design.board, &report), (&other.board, against)];
            let sides = sides.map(|(board, report)| Side { board, report });
            files.push(("against.png".to_owned(), mode_view::beside(sides)?));
        }
    }
    files.extend(super::beam::file(&beside));
    let all = Both { report: &report, against: against.as_ref() };
    let written = write_all(&folder, &design, &all, files)?;
    drop(progress);
    screen::print(&table::beside(&beside))?;
    screen::print(&table::modes(&report, against.as_ref(), &written))?;
    Ok(Outcome::Done)
}

/// Results of a board and of the one beside it.
#[derive(Serialize)]
struct Both<'a> {
    #[serde(flatten)]
    report: &'a ModesReport,
    #[serde(skip_serializing_if = "Option::is_none")]
    against: Option<&'a ModesReport>,
}

/// What tells the files of two answers apart.
fn suffix(report: &ModesReport, bond: BondLimit) -> &'static str {
    match bond {
        BondLimit::Bonded if report.answers.len() > 1 => "_bonded",
        BondLimit::Sliding if report.answers.len() > 1 => "_sliding",
        _ => "",
    }
}

fn pictures(board: &Board, report: &ModesReport) -> Result<Vec<(String, Vec<u8>)>, PictureError> {
    let all: Vec<_> =
        report.answers.iter().flat_map(|a| (0..a.modes.len()).map(move |mode| (a, mode))).collect();
    all.par_iter()
        .map(|&(answer, mode)| {
            let name = format!("mode_{:02}{}.png", mode + 1, suffix(report, answer.bond));
            Ok((name, mode_view::draw(board, answer, mode)?))
        })
        .collect()
}
