//! Mesh, laminates, supports and loads in one checked whole, ready to assemble.
//!
//! In: any shell ([`Model`]) or a board with its mesh ([`board_model`]). Out: [`Model`] and [`LoadCase`]s.
//! Absent: stiffness, solving.

#[cfg(test)]
pub(crate) mod fixture;
mod flap;
pub mod loads;
mod place;
mod plate;
mod stacks;
mod stripes;
mod supports;
#[cfg(test)]
mod tests;

pub use flap::{Hinge, PlaneMotion, flap_motion};
pub use place::triangles_in;
pub use stacks::TURN_STEP_DEG;
pub(crate) use stacks::{laminate_at, laminate_of_layers, slides};

use crate::error::SolveError;
use crate::freedoms::Freedoms;
use crate::laminate::Laminate;
use crate::linear::Engine;
use crate::result::BondLimit;
use copperbend_mesh::board::Board;
use copperbend_mesh::triangulate::BoardMesh;
use nalgebra::Vector6;

/// A shell model, flat or curved. Units: any consistent set; the board path uses SI.
#[derive(Debug, Clone, Default)]
pub struct Model {
    /// Node positions.
    pub nodes_m: Vec<[f64; 3]>,
    /// Corners; the normal (counter-clockwise) is the laminate's +z.
    pub triangles: Vec<[u32; 3]>,
    /// Distinct laminates.
    pub laminates: Vec<Laminate>,
    /// Laminate of each triangle.
    pub laminate_of: Vec<u32>,
    /// Laminate x axis per triangle: a direction in space, projected into the triangle. Empty: global x for all.
    pub axis_of: Vec<[f64; 3]>,
    /// Recovery zone of each triangle: strain is smoothed inside a zone only. Empty: the laminate is the zone.
    /// (A smeared coil has one zone but one laminate per turn direction.)
    pub zone_of: Vec<u32>,
    /// Supports and ties.
    pub freedoms: Freedoms,
    /// Lumped mass at nodes with full 6 x 6 inertia in global axes (glued bodies): node and matrix.
    pub node_mass: Vec<(u32, nalgebra::Matrix6<f64>)>,
    /// Asks the machine for its free memory, bytes, just before a factor is made: one that would not fit is refused.
    /// None, or no answer: no limit.
    pub free_memory: Option<fn() -> Option<u64>>,
    /// Which factorisation every stage uses.
    pub engine: Engine,
}

/// One set of loads on a model.
#[derive(Debug, Clone, Default)]
pub struct LoadCase {
    /// Forces and moments per node (global axes); empty means none.
    pub nodal: Vec<Vector6<f64>>,
    /// Factor on the laminates' thermal resultants (0: no heating, 1: the plies' own heating).
    pub thermal_factor: f64,
    /// Factor on the prescribed values of held unknowns.
    pub prescribed_factor: f64,
}

/// Displacements with how good they are.
#[derive(Debug, Clone, Default)]
pub struct Solution {
    /// Per node: u, v, w, tx, ty, tz in global axes (leading part of the pair of doubles).
    pub displacement: Vec<Vector6<f64>>,
    /// Trailing part of the pair of doubles: the true value is the sum of both.
    pub trailing: Vec<Vector6<f64>>,
    /// Strain energy, J.
    pub energy: f64,
    /// Relative size of the first correction: what one plain solve was worth.
    pub first_correction: f64,
    /// Relative size of the last correction, made or foretold: what the answer is worth.
    pub last_correction: f64,
    /// Refinement steps taken.
    pub refinements: u32,
}

/// A board's model: the shell and what is needed to load it.
#[derive(Debug, Clone, Default)]
pub struct BoardModel {
    /// The shell; node and triangle numbers are those of the mesh.
    pub model: Model,
    /// Height of the plane of nodes and strains above z = 0, m: the neutral plane of the arms.
    pub reference_z_m: f64,
    /// Mid-height of the flex stack above the reference plane at each node, m: where in-plane forces act.
    pub node_mid_m: Vec<f64>,
    /// Triangles that cannot strain: inside a clamp or a rigid piece.
    pub still: Vec<bool>,
    /// Nodes of each rigid piece.
    pub rigid_pieces: Vec<Vec<u32>>,
}

impl BoardModel {
    /// Mid-height of the flex stack above the reference plane at a node, m.
    #[must_use]
    pub fn mid_height_m(&self, node: u32) -> f64 {
        self.node_mid_m[node as usize]
    }
}

/// The model of a board about the neutral plane of its arms.
///
/// # Errors
/// As [`board_model_about`].
pub fn board_model(board: &Board, mesh: &BoardMesh, bond: BondLimit) -> Result<BoardModel, SolveError> {
    board_model_about(board, mesh, bond, None)
}

/// The model of a board with its unknowns at a chosen reference plane.
///
/// `reference_z_m`: height of the unknowns above z = 0, m; None: where the nodes are. Nodes and strains always lie at
/// the neutral plane of the arms (small coupling, small mesh error), so the answer does not depend on this choice
/// beyond rounding. Partly held nodes and rigid pieces keep their own unknowns.
/// Heating of every ply is the working temperature less its stress-free temperature; a load case scales it.
/// Smeared turns: one laminate per [`TURN_STEP_DEG`] of turn direction.
///
/// # Errors
/// [`SolveError::NotHeld`] without a support, or for a part of the board that touches none (named);
/// [`SolveError::Model`] for supports off the board or in contradiction.
pub fn board_model_about(
    board: &Board,
    mesh: &BoardMesh,
    bond: BondLimit,
    reference_z_m: Option<f64>,
) -> Result<BoardModel, SolveError> {
    let plane_z_m = stacks::neutral_plane_m(board, mesh, bond);
    let nodes_m: Vec<[f64; 3]> = mesh.flat.points_m.iter().map(|p| [p[0], p[1], plane_z_m]).collect();
    let mut held = supports::hold(board, mesh, &nodes_m)?;
    if let Some(wished) = reference_z_m {
        supports::move_unknowns(&mut held.freedoms, plane_z_m - wished);
    }
    let reference_z_m = plane_z_m;
    let own = stacks::stacks(board, mesh, bond, reference_z_m, &held.still);
    let node_mass = loads::body_masses(board, mesh, &nodes_m);
    let node_mid_m = node_mids(mesh, &own.mid_z_m, reference_z_m);
    let model = Model {
        nodes_m,
        triangles: mesh.flat.triangles.clone(),
        laminates: own.laminates,
        laminate_of: own.laminate_of,
        axis_of: Vec::new(),
        zone_of: own.zone_of,
        freedoms: held.freedoms,
        node_mass,
        free_memory: None,
        engine: Engine::default(),
    };
    Ok(BoardModel { model, reference_z_m, node_mid_m, still: held.still, rigid_pieces: held.pieces })
}

/// Area-weighted mid-height of the stacks around each node, above the reference plane, m.
fn node_mids(mesh: &BoardMesh, mid_z_m: &[f64], reference_z_m: f64) -> Vec<f64> {
    let mut sums = vec![[0.0; 2]; mesh.flat.points_m.len()];
    for (t, corners) in mesh.flat.triangles.iter().enumerate() {
        let area = mesh.flat.area_m2(t);
        for &node in corners {
            sums[node as usize][0] += area * mid_z_m[t];
            sums[node as usize][1] += area;
        }
    }
    sums.into_iter().map(|[sum, area]| if area > 0.0 { sum / area - reference_z_m } else { 0.0 }).collect()
}
