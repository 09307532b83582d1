//! Layers through the thickness to plate stiffness: A, B, D, thermal resultants, mass, strain at a height.

use copperbend_mesh::board::LayerId;
use nalgebra::{Matrix3, Vector3};

/// One ply: a layer at one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Ply {
    /// Layer it comes from.
    pub layer: LayerId,
    /// Lower face, m, in the laminate's own frame (0 = the model's reference plane).
    pub z0_m: f64,
    /// Upper face, m.
    pub z1_m: f64,
    /// Plane-stress stiffness in board axes, Pa, order xx, yy, xy (engineering shear).
    pub q_pa: Matrix3<f64>,
    /// Expansion per kelvin in board axes, order xx, yy, xy (engineering shear).
    pub expansion_per_k: Vector3<f64>,
    /// Density, kg/m3.
    pub density_kg_m3: f64,
    /// Temperature change since the ply was free of stress, K.
    pub heating_k: f64,
    /// Held by a tape without shear: adds its own bending about its own neutral plane, and mass, nothing else.
    pub sliding: bool,
}

/// Stiffness and mass of a stack at one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Laminate {
    /// Plies from the bottom.
    pub plies: Vec<Ply>,
    /// Membrane stiffness, N/m.
    pub a: Matrix3<f64>,
    /// Coupling, N.
    pub b: Matrix3<f64>,
    /// Bending stiffness, N m.
    pub d: Matrix3<f64>,
    /// Thermal membrane resultant at each ply's heating, N/m.
    pub thermal_n: Vector3<f64>,
    /// Thermal moment resultant, N.
    pub thermal_m: Vector3<f64>,
    /// Mass per area and its first and second moments about the reference plane: kg/m2, kg/m, kg.
    pub mass: [f64; 3],
}
