//! `mesh`: draws the zones and triangles of a design.

use super::{Outcome, out_folder, read_design};
use crate::args::Mesh;
use crate::failure::Failure;
use crate::output::atomic::OutFolder;
use crate::output::{mesh_view, table};
use crate::screen::{self, ProgressLine};
use copperbend_mesh::triangulate::board_mesh;

/// Meshes a board and draws it.
///
/// # Errors
/// The design has faults, the mesh cannot be made, or the folder cannot be written.
pub(crate) fn run(options: &Mesh) -> Result<Outcome, Failure> {
    let design = read_design(&options.files.design)?;
    let folder = out_folder(&options.files, "mesh");
    drop(OutFolder::open(&folder)?);
    let mut progress = ProgressLine::new();
    progress.say("triangles");
    let mesh = board_mesh(&design.board, &[])?;
    progress.say("picture");
    let picture = mesh_view::draw(&design.board, &mesh.flat)?;
    let mut out = OutFolder::open(&folder)?;
    out.put("mesh.png", &picture)?;
    let written = out.finish()?;
    drop(progress);
    screen::print(&table::mesh(&design.board, &mesh, &written))?;
    Ok(Outcome::Done)
}
