//! `drive`: the steady swing under an alternating current, from the design file to table, files and picture.

use super::{Design, Outcome, out_folder, read_design, write_all};
use crate::args::{Drive, ModelWord};
use crate::failure::Failure;
use crate::output::atomic::OutFolder;
use crate::output::canvas::PictureError;
use crate::output::{drive_csv, drive_view, table};
use crate::screen::{self, ProgressLine};
use copperbend_solver::driven::{DriveOptions, InTime, beside_shell, drive};
use copperbend_solver::result::{BondLimit, DriveAnswer, DriveReport};

/// Drives a board and writes everything.
///
/// # Errors
/// The design has faults, the work stops, or a file cannot be written.
pub(crate) fn run(options: &Drive) -> Result<Outcome, Failure> {
    let mut design = read_design(&options.files.design)?;
    let wishes = &mut design.board.drive;
    wishes.from_hz = options.from.or(wishes.from_hz);
    wishes.to_hz = options.to.or(wishes.to_hz);
    wishes.points = options.points.or(wishes.points);
    if let (Some(from), Some(to)) = (wishes.from_hz, wishes.to_hz)
        && to <= from
    {
        return Err(Failure::new(
            format!("the sweep would go from {from} Hz to {to} Hz"),
            "let --to lie above --from",
        ));
    }
    let folder = out_folder(&options.files, "drive");
    drop(OutFolder::open(&folder)?);
    let beams = super::beam::asked(options.model, options.beams)?;
    let mut progress = ProgressLine::new();
    let mut in_time: Vec<InTime> = Vec::new();
    in_time.extend(options.start.map(|periods| InTime::StartStop { periods }));
    in_time.extend(options.shock.map(|[peak_m_s2, duration_s]| InTime::Shock { peak_m_s2, duration_s }));
    let wishes = DriveOptions {
        beam: beams.filter(|_| options.model == ModelWord::Beam),
        in_time,
        free_memory: Some(crate::machine::free_memory),
        ..DriveOptions::default()
    };
    let report = drive(&design.board, &wishes, &mut progress)?;
    let beside = match super::beam::both(options.model, beams) {
        None => Vec::new(),
        beam => beside_shell(&design.board, &DriveOptions { beam, ..wishes }, &report, &mut progress)?,
    };
    progress.say("picture and files");
    let mut files = if options.no_pictures { Vec::new() } else { pictures(&design, &report)? };
    files.push(("motions.csv".to_owned(), drive_csv::motions(&report)));
    files.extend(drive_csv::in_time(&report).map(|bytes| ("in_time.csv".to_owned(), bytes)));
    files.extend(super::beam::file(&beside));
    let written = write_all(&folder, &design, &report, files)?;
    drop(progress);
    screen::print(&table::beside(&beside))?;
    screen::print(&table::drive(&report, &written))?;
    Ok(if report.exceeds_limit() { Outcome::Exceeded } else { Outcome::Done })
}

fn pictures(design: &Design, report: &DriveReport) -> Result<Vec<(String, Vec<u8>)>, PictureError> {
    let drawable = report.answers.iter().filter(|a| a.sweep.len() > 1);
    let name = |a: &DriveAnswer| match a.bond {
        _ if report.answers.len() < 2 => "response.png",
        BondLimit::AsWritten => "response_as_written.png",
        BondLimit::Bonded => "response_bonded.png",
        BondLimit::Sliding => "response_sliding.png",
    };
    drawable.map(|a| Ok((name(a).to_owned(), drive_view::draw(&design.board, a)?))).collect()
}
