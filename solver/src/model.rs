//! Mesh, laminates, supports and loads in one checked whole, ready to assemble.

use crate::freedoms::Freedoms;
use crate::laminate::Laminate;
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
    /// Relative size of the last correction: what the answer is worth.
    pub last_correction: f64,
    /// Refinement steps taken.
    pub refinements: u32,
}
