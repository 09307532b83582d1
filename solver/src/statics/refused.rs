//! Factors that cannot be: too large for the machine's memory, or stopped at a pivot, in words of the model.

use crate::assemble::{Layout, place, refused};
use crate::error::SolveError;
use crate::linear::{LinearError, Structure};
use crate::model::Model;

/// Refuses a factor that would not fit into the machine's free memory, before any of it is filled.
pub(crate) fn fits(model: &Model, structure: &Structure) -> Result<(), SolveError> {
    let Some(free) = model.free_memory.and_then(|ask| ask()) else { return Ok(()) };
    let matrix = 8 * structure.entry_rows().len() as u64;
    let needed = matrix + structure.memory_bytes(rayon::current_num_threads());
    if needed > free { Err(SolveError::Memory { needed, free }) } else { Ok(()) }
}

/// A failed factorisation in words of the model.
pub(crate) fn explained(model: &Model, layout: &Layout, error: &LinearError) -> SolveError {
    const FREEDOMS: [&str; 6] = ["u", "v", "w", "rotation about x", "rotation about y", "rotation about z"];
    let (LinearError::Pivot { block: vertex, component }
    | LinearError::NotFinite { block: vertex, component }) = *error
    else {
        return refused(error);
    };
    let block = layout.blocks[vertex as usize];
    let component = layout.free(vertex as usize)[component as usize];
    let node = model.freedoms.follow.iter().position(|f| f.block == block).unwrap_or(0);
    SolveError::Singular {
        place: format!(
            "node {node} at {}, {}",
            place(&model.nodes_m[node]),
            FREEDOMS[usize::from(component)]
        ),
    }
}
