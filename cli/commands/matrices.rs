//! `matrices`: stiffness, mass and load of a board for other tools.

use super::{Outcome, out_folder, read_design};
use crate::args::{Matrices, Tape};
use crate::failure::Failure;
use crate::output::atomic::OutFolder;
use crate::output::{csv, matrix_market, table};
use crate::screen::{self, ProgressLine};
use copperbend_mesh::triangulate::board_mesh;
use copperbend_solver::assemble::{load_vector, mass, stiffness, unknowns};
use copperbend_solver::bend::loaded_case;
use copperbend_solver::model::board_model;
use copperbend_solver::result::BondLimit;

/// Meshes a board once and writes its matrices over the free unknowns.
///
/// # Errors
/// The design has faults, the model cannot be built, or the folder cannot be written.
pub(crate) fn run(options: &Matrices) -> Result<Outcome, Failure> {
    let design = read_design(&options.files.design)?;
    let folder = out_folder(&options.files, "matrices");
    drop(OutFolder::open(&folder)?);
    let bond = match options.tape {
        Tape::AsWritten => BondLimit::AsWritten,
        Tape::Bonded => BondLimit::Bonded,
        Tape::Sliding => BondLimit::Sliding,
    };
    let mut progress = ProgressLine::new();
    progress.say("triangles");
    let mesh = board_mesh(&design.board, &[])?;
    let own = board_model(&design.board, &mesh, bond)?;
    progress.say("matrices");
    let case = loaded_case(&design.board, &mesh, &own)?;
    let rows = unknowns(&own.model)?;
    let stiff = matrix_market::symmetric(
        &stiffness(&own.model)?,
        &["stiffness over the free unknowns; N/m, N, N m by the kinds of row and column (unknowns.csv)"],
    );
    let heavy = matrix_market::symmetric(
        &mass(&own.model)?,
        &["mass over the free unknowns; kg, kg m, kg m2 by the kinds of row and column (unknowns.csv)"],
    );
    let load = matrix_market::vector(
        &load_vector(&own.model, &case)?,
        &["load over the free unknowns; N, N m by the kind of row (unknowns.csv)"],
    );
    let mut out = OutFolder::open(&folder)?;
    out.put("stiffness.mtx", &stiff)?;
    out.put("mass.mtx", &heavy)?;
    out.put("load.mtx", &load)?;
    out.put("unknowns.csv", &csv::unknowns(&rows, &own.model.nodes_m))?;
    let written = out.finish()?;
    drop(progress);
    let n = (rows.len(), mesh.flat.triangles.len());
    screen::print(&table::matrices(&design.board, n, &written))?;
    Ok(Outcome::Done)
}
