//! The board as understood: SI units, valid by construction; later rooms never re-check.
//!
//! Input: a parsed design file. Output: [`Board`], or every fault of the file at once.
//! Absent: triangles, stiffness, anything that depends on a mesh.

pub(crate) mod fault;
mod fixtures;
mod parts;
mod understand;

pub use fault::{Fault, Faults};
pub use fixtures::{
    Arm, Body, DriveWave, DriveWishes, Flap, Load, LockedIn, Magnet, MagnetShape, Obstacle, ObstacleShape,
    Place, Support, SupportKind, SwingWishes,
};
pub use parts::{
    Bond, Conductor, ConductorId, ConductorKind, CurrentPath, Elastic, Layer, LayerId, LayerKind, Material,
    MaterialId, PathSegment, Seat, Smear, Stiffener, TurnAxes, Value,
};
pub use understand::{LARGEST_FILE_BYTES, understand};

use crate::region::{Point, Region};

/// What the user wishes of the mesh and of the answer.
#[derive(Debug, Clone, PartialEq)]
pub struct MeshWishes {
    /// Largest triangle side, m; None: chosen from the board.
    pub coarse_m: Option<f64>,
    /// Smallest triangle side, m; None: half the local thickness.
    pub fine_m: Option<f64>,
    /// Growth of size per length away from fine places.
    pub growth: f64,
    /// Elements across an arm at least.
    pub across_arm: u32,
    /// Smallest angle, rad.
    pub min_angle_rad: f64,
    /// Wished relative change of the top spots under refinement.
    pub tolerance: f64,
    /// Most refinements.
    pub max_refinements: u32,
    /// Most triangles.
    pub max_triangles: u32,
    /// Merge features thinner than the report limit instead of meshing them.
    pub merge_thin: bool,
}

/// Limits written by the user; exceeding one gives exit code 1.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Limits {
    /// Largest ranking strain in copper.
    pub copper_strain: Option<f64>,
    /// Largest flap angle, rad.
    pub flap_angle_rad: Option<f64>,
    /// Largest current, A.
    pub current_a: Option<f64>,
    /// Largest mean electrical power of an alternating drive, W.
    pub power_w: Option<f64>,
}

/// A rounded corner of some shape: mesh size and names come from it.
#[derive(Debug, Clone, PartialEq)]
pub struct Fillet {
    /// Centre, m.
    pub centre_m: Point,
    /// Radius, m.
    pub radius_m: f64,
    /// Start angle and swept angle, rad.
    pub angles_rad: [f64; 2],
    /// Name shown to the user ("fillet R 0.50 mm of 'body'").
    pub name: String,
}

/// A named thing near which a spot may lie.
#[derive(Debug, Clone, PartialEq)]
pub struct Landmark {
    /// Name shown to the user ("clamp edge of 'holder'", "stiffener 'pad' edge", "corner of 'body'").
    pub name: String,
    /// Edge pieces, m.
    pub edges_m: Vec<[Point; 2]>,
}

/// A remark that does not stop the work.
#[derive(Debug, Clone, PartialEq)]
pub struct Warning {
    /// Where in the file ("layer 2, line 14") or on the board.
    pub place: String,
    /// What was found, with the value.
    pub text: String,
    /// What to do about it.
    pub remedy: String,
}

/// The whole board.
#[derive(Debug, Clone, PartialEq)]
pub struct Board {
    /// Title.
    pub title: String,
    /// Outline with its openings.
    pub outline: Region,
    /// Materials in use.
    pub materials: Vec<Material>,
    /// Layers from the bottom, stiffener layers below the base film first.
    pub layers: Vec<Layer>,
    /// z = 0 is the lower face of this layer (the base film).
    pub base_layer: LayerId,
    /// Stiffeners.
    pub stiffeners: Vec<Stiffener>,
    /// Named copper.
    pub conductors: Vec<Conductor>,
    /// Current path, if the board is driven.
    pub current: Option<CurrentPath>,
    /// Arms.
    pub arms: Vec<Arm>,
    /// Flap.
    pub flap: Option<Flap>,
    /// Supports.
    pub supports: Vec<Support>,
    /// Bodies.
    pub bodies: Vec<Body>,
    /// Magnets.
    pub magnets: Vec<Magnet>,
    /// What the board must not touch, beside the magnets.
    pub obstacles: Vec<Obstacle>,
    /// Loads.
    pub loads: Vec<Load>,
    /// Gravity, m/s2 (zero if none).
    pub gravity_m_s2: [f64; 3],
    /// Working temperature, degC.
    pub temperature_degc: f64,
    /// Locked-in state.
    pub locked_in: LockedIn,
    /// Mesh wishes.
    pub mesh: MeshWishes,
    /// Wishes about the swing.
    pub swing: SwingWishes,
    /// Wishes about the alternating drive.
    pub drive: DriveWishes,
    /// Limits.
    pub limits: Limits,
    /// Rounded corners.
    pub fillets: Vec<Fillet>,
    /// Named edges.
    pub landmarks: Vec<Landmark>,
    /// Remarks.
    pub warnings: Vec<Warning>,
}
