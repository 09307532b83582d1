//! `schema`: the JSON Schema of the design file.

use super::Outcome;
use crate::args::Schema;
use crate::failure::Failure;
use crate::output::atomic::OutFolder;
use crate::screen;
use copperbend_mesh::design;
use std::path::Path;

/// Writes the schema to the screen or to a file.
///
/// # Errors
/// The file cannot be written.
pub(crate) fn run(options: &Schema) -> Result<Outcome, Failure> {
    let mut text = design::schema();
    if !text.ends_with('\n') {
        text.push('\n');
    }
    let Some(path) = &options.out else {
        screen::print(&text)?;
        return Ok(Outcome::Done);
    };
    let name = path.file_name().and_then(|n| n.to_str()).ok_or_else(|| {
        Failure::new(format!("{}: this is no file name", path.display()), "name a file with --out")
    })?;
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut out = OutFolder::open(folder)?;
    out.put(name, text.as_bytes())?;
    for written in out.finish()? {
        screen::print(&format!("wrote {}\n", written.display()))?;
    }
    Ok(Outcome::Done)
}
