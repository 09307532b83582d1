//! One file per verb: read, call the solver, hand to output.

mod beam;
mod bend;
mod check;
mod claims;
pub(crate) mod damping;
mod drive;
mod hand;
mod life;
mod matrices;
mod mesh;
mod modes;
mod plan;
mod reliability;
mod rig;
mod schema;
mod vary;
mod verify;

pub(crate) use beam::BeamRun;
pub(crate) use vary::Variant;

pub(crate) use life::{NEAR_M, STRAINED};
pub(crate) use reliability::Lives;
pub(crate) use rig::Watched;

use crate::args::{Cli, InOut, Verb};
use crate::failure::Failure;
use crate::output::atomic::{OutFolder, cannot};
use crate::output::json;
use copperbend_mesh::board::{Board, understand};
use serde::Serialize;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Stack of every thread, bytes: as much as a program's first thread commonly has.
const STACK: usize = 8 << 20;

/// Largest design file that is read, bytes.
const MAX_DESIGN: u64 = 16 << 20;

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// Done.
    Done,
    /// Done, but a limit written by the user is exceeded, or a published problem is missed.
    Exceeded,
}

/// Runs the verb.
///
/// # Errors
/// Anything that stops the work, ready to be shown.
pub(crate) fn run(cli: &Cli) -> Result<Outcome, Failure> {
    let wished = cli.threads.map_or(0, usize::from);
    rayon::ThreadPoolBuilder::new()
        .num_threads(wished)
        .stack_size(STACK)
        .build_global()
        .map_err(|e| Failure::new(format!("--threads {wished}: {e}"), "ask for fewer"))?;
    // On a thread of the pool from the start: parallel work then begins without waking the others from outside.
    rayon::scope(|_| dispatch(&cli.verb))
}

fn dispatch(verb: &Verb) -> Result<Outcome, Failure> {
    match verb {
        Verb::Bend(options) => bend::run(options),
        Verb::Modes(options) => modes::run(options),
        Verb::Check(options) => check::run(options),
        Verb::Drive(options) => drive::run(options),
        Verb::Damping(options) => damping::run(options),
        Verb::Mesh(options) => mesh::run(options),
        Verb::Matrices(options) => matrices::run(options),
        Verb::Life(options) => life::run(options),
        Verb::Reliability(options) => reliability::run(options),
        Verb::Plan(options) => plan::run(options),
        Verb::Rig(options) => rig::run(options),
        Verb::Verify(options) => verify::run(options),
        Verb::Hand(options) => hand::run(options),
        Verb::Claims(options) => claims::run(options),
        Verb::Vary(options) => vary::run(options),
        Verb::Schema(options) => schema::run(options),
    }
}

/// A design file, read and understood.
#[derive(Debug)]
struct Design {
    /// Name as given.
    name: String,
    text: String,
    board: Board,
}

/// Reads a design file, refusing what cannot be one before reading it whole.
///
/// # Errors
/// The file cannot be read, is too large or no text; or every fault of the design.
fn read_design(path: &Path) -> Result<Design, Failure> {
    let name = path.display().to_string();
    let file = File::open(path).map_err(|e| cannot("read the design file", path, &e))?;
    let facts = file.metadata().map_err(|e| cannot("read the design file", path, &e))?;
    if facts.is_dir() {
        return Err(Failure::new(format!("{name}: this is a folder"), "name the design file in it"));
    }
    let mut bytes = Vec::new();
    if facts.len() <= MAX_DESIGN {
        // Devices and pipes have no length: the limit holds for them as well.
        file.take(MAX_DESIGN + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| cannot("read the design file", path, &e))?;
    }
    if facts.len() > MAX_DESIGN || bytes.len() as u64 > MAX_DESIGN {
        return Err(Failure::new(
            format!("{name}: more than {} MB, too large for a design file", MAX_DESIGN >> 20),
            "check that this is the design and not a result",
        ));
    }
    let text = String::from_utf8(bytes).map_err(|e| {
        let good = e.utf8_error().valid_up_to();
        let line = 1 + e.as_bytes()[..good].iter().filter(|&&b| b == b'\n').count();
        Failure::new(
            format!("{name}:{line}: this is not text in UTF-8 (byte {good})"),
            "save the design file as UTF-8 text",
        )
    })?;
    let board = understand(&name, &text)?;
    Ok(Design { name, text, board })
}

/// Where results go: as asked, or beside the design file under its name and the verb.
fn out_folder(files: &InOut, verb: &str) -> PathBuf {
    files.out.clone().unwrap_or_else(|| {
        let stem = files.design.file_stem().unwrap_or_default();
        let mut name = stem.to_os_string();
        name.push(format!("-{verb}"));
        files.design.with_file_name(name)
    })
}

/// Writes a run's files and `results.json`, all or none; gives their places.
///
/// # Errors
/// The results cannot be encoded, or a file cannot be written.
fn write_all(
    folder: &Path,
    design: &Design,
    report: &impl Serialize,
    files: Vec<(String, Vec<u8>)>,
) -> Result<Vec<PathBuf>, Failure> {
    write_rest(OutFolder::open(folder)?, design, report, files)
}

/// As [`write_all`], into a folder that has some of the files already.
///
/// # Errors
/// As [`write_all`].
fn write_rest(
    mut out: OutFolder,
    design: &Design,
    report: &impl Serialize,
    mut files: Vec<(String, Vec<u8>)>,
) -> Result<Vec<PathBuf>, Failure> {
    const LAST: &str = "results.json";
    let mut names: Vec<&str> =
        out.names().iter().chain(files.iter().map(|f| &f.0)).map(String::as_str).collect();
    names.sort_unstable();
    let results = json::results(report, &design.name, &design.text, &names)?;
    files.push((LAST.to_owned(), results));
    out.put_all(&files)?;
    out.sort(LAST);
    out.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_go_beside_the_design_unless_asked_otherwise() {
        let files = InOut { design: "boards/vane.toml".into(), out: None };
        assert_eq!(out_folder(&files, "bend"), Path::new("boards/vane-bend"), "default");
        let files = InOut { out: Some("elsewhere".into()), ..files };
        assert_eq!(out_folder(&files, "bend"), Path::new("elsewhere"), "as asked");
    }
}
