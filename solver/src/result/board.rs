//! The board as understood, in plain data.

use copperbend_mesh::region::Point;
use serde::Serialize;

/// The board as understood.
#[derive(Debug, Clone, Default, Serialize)]
pub struct BoardSummary {
    /// Area of the outline without openings, m2.
    pub outline_area_m2: f64,
    /// Extent of the outline, m: least and largest x, y.
    pub extent_m: [Point; 2],
    /// Layers from the bottom.
    pub layers: Vec<LayerFacts>,
    /// Mass of the layers, kg.
    pub layer_mass_kg: f64,
    /// Mass of glued bodies, kg.
    pub body_mass_kg: f64,
    /// Mass of the flap with bodies on it, kg.
    pub flap_mass_kg: Option<f64>,
    /// Arms.
    pub arms: Vec<ArmFacts>,
    /// Current path, where there is one.
    pub circuit: Option<CircuitFacts>,
    /// Named copper.
    pub tracks: Vec<TrackFacts>,
}

/// One layer.
#[derive(Debug, Clone, Default, Serialize)]
pub struct LayerFacts {
    /// Name.
    pub name: String,
    /// Material.
    pub material: String,
    /// What it is for.
    pub kind: String,
    /// Thickness, m.
    pub thickness_m: f64,
    /// Area, m2.
    pub area_m2: f64,
    /// Mass, kg.
    pub mass_kg: f64,
}

/// One arm.
#[derive(Debug, Clone, Default, Serialize)]
pub struct ArmFacts {
    /// Name.
    pub name: String,
    /// Root to tip, m.
    pub length_m: f64,
    /// Width at mid-length, m.
    pub width_m: f64,
    /// Bending stiffness of the section at mid-length, N m2.
    pub bending_nm2: f64,
    /// Neutral plane of that section above z = 0, m.
    pub neutral_z_m: f64,
}

/// The current path.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct CircuitFacts {
    /// Length, m.
    pub length_m: f64,
    /// Resistance at 20 degC, ohm.
    pub resistance_ohm: f64,
    /// Drive current, A.
    pub current_a: f64,
    /// Heat at the drive current, W.
    pub power_w: f64,
    /// Largest current density, A/m2.
    pub density_a_per_m2: f64,
}

/// One named piece of copper.
#[derive(Debug, Clone, Default, Serialize)]
pub struct TrackFacts {
    /// Name.
    pub name: String,
    /// Layer.
    pub layer: String,
    /// Centre line length, m, for tracks.
    pub length_m: Option<f64>,
    /// Width, m, for tracks.
    pub width_m: Option<f64>,
    /// Area, m2.
    pub area_m2: f64,
}

/// The stack at one point of the board, from the bottom.
#[derive(Debug, Clone, Default, Serialize)]
pub struct StackAt {
    /// Point, m.
    pub at_m: Point,
    /// Plies from the bottom.
    pub plies: Vec<StackPly>,
    /// Total thickness, m.
    pub thickness_m: f64,
    /// Neutral plane of the stack above z = 0, m (bending along x).
    pub neutral_z_m: f64,
    /// Bending stiffness per width about the neutral plane, N m (along x).
    pub bending_nm: f64,
}

/// One ply of [`StackAt`].
#[derive(Debug, Clone, Default, Serialize)]
pub struct StackPly {
    /// Layer.
    pub layer: String,
    /// Material.
    pub material: String,
    /// Lower and upper face, m above z = 0.
    pub z_m: [f64; 2],
    /// Sliding stiffener.
    pub sliding: bool,
}
