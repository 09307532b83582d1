//! What holds, moves and loads the board: arms, flap, supports, bodies, magnets, forces, locked-in state.

use super::MaterialId;
use crate::region::{Point, Region};

/// An arm: the bending strip between the fixed side and the flap.
#[derive(Debug, Clone, PartialEq)]
pub struct Arm {
    /// Name as written.
    pub name: String,
    /// Plan form, m.
    pub region: Region,
    /// Middle of the arm's root, m.
    pub root_m: Point,
    /// Middle of the arm's end at the flap, m.
    pub tip_m: Point,
    /// Width at mid-length, m.
    pub width_m: f64,
    /// Points of the centre line between root and tip as given, m; empty: found from the outline.
    pub centre_line_m: Vec<Point>,
}

/// The stiff part with the coil, whose angle is reported.
#[derive(Debug, Clone, PartialEq)]
pub struct Flap {
    /// Plan form.
    pub region: Region,
    /// Tied exactly as one rigid body.
    pub rigid: bool,
}

/// Kind of support.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SupportKind {
    /// All six freedoms held; optional rotation (rad) about an axis through a point (mounting rotation).
    Clamp {
        /// Rotation angle, rad.
        rotation_rad: f64,
        /// A point of the axis, m.
        axis_point_m: [f64; 3],
        /// Unit direction of the axis.
        axis: [f64; 3],
    },
    /// Displacements only.
    Simple,
    /// Normal displacement, rotation about the line and drilling; for symmetric loads only.
    Symmetry,
}

/// Where a support, load or body acts.
#[derive(Debug, Clone, PartialEq)]
pub enum Place {
    /// Everything inside a region.
    Area(Region),
    /// A straight line.
    Line([Point; 2]),
    /// One point.
    Point(Point),
}

/// A support.
#[derive(Debug, Clone, PartialEq)]
pub struct Support {
    /// Name as written.
    pub name: String,
    /// What it holds.
    pub kind: SupportKind,
    /// Where (an area or a line).
    pub place: Place,
}

/// A stiff or heavy body glued on.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Name as written.
    pub name: String,
    /// Its footprint.
    pub region: Region,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Height of its centre of mass, m.
    pub centre_z_m: f64,
    /// Own inertia about its centre (x, y, z), kg m2.
    pub inertia_kg_m2: [f64; 3],
    /// Its footprint moves as a rigid piece.
    pub stiff: bool,
}

/// Shape of a magnet in its own frame (axis along z, centre at the origin).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MagnetShape {
    /// Cylinder.
    Disc {
        /// Diameter, m.
        diameter_m: f64,
        /// Height, m.
        height_m: f64,
    },
    /// Hollow cylinder.
    Ring {
        /// Outer diameter, m.
        outer_m: f64,
        /// Inner diameter, m.
        inner_m: f64,
        /// Height, m.
        height_m: f64,
    },
    /// Cuboid with sides along its own x, y, z.
    Block {
        /// Sides, m.
        sides_m: [f64; 3],
    },
}

/// A magnet fixed in space.
#[derive(Debug, Clone, PartialEq)]
pub struct Magnet {
    /// Name as written.
    pub name: String,
    /// Shape.
    pub shape: MagnetShape,
    /// Polarisation in its own frame, T (axial: along z; diametral: along x).
    pub polarisation_t: [f64; 3],
    /// Centre, m.
    pub centre_m: [f64; 3],
    /// Rotation, own frame to board frame, rows of the matrix.
    pub rotation: [[f64; 3]; 3],
    /// Iron plate: a plane through this point with this unit normal towards the board; field by mirror magnet.
    pub back_plate: Option<[[f64; 3]; 2]>,
    /// Where the remanence comes from ("given", "N42, middle of 1.28 to 1.32 T").
    pub remanence_note: String,
}

/// Something fixed in space that the board must not touch.
#[derive(Debug, Clone, PartialEq)]
pub struct Obstacle {
    /// Name as written.
    pub name: String,
    /// Shape and place.
    pub shape: ObstacleShape,
}

/// Shape and place of an obstacle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ObstacleShape {
    /// A solid body.
    Solid {
        /// Its shape.
        shape: MagnetShape,
        /// Centre, m.
        centre_m: [f64; 3],
        /// Rotation, own frame to board frame, rows of the matrix.
        rotation: [[f64; 3]; 3],
    },
    /// An endless flat face parallel to the board.
    Plane {
        /// Height, m.
        height_m: f64,
        /// +1: solid below it; -1: solid above it.
        up: f64,
    },
}

/// What the user wishes of the swing.
#[derive(Debug, Clone, PartialEq)]
pub struct SwingWishes {
    /// Left out.
    pub off: bool,
    /// Largest current of either polarity, A; None: the drive current.
    pub current_a: Option<f64>,
    /// Currents per polarity.
    pub steps: u32,
    /// Prescribed flap angles, rad: from, to, step; None: chosen from what the current reaches.
    pub angles_rad: Option<[f64; 3]>,
}

impl Default for SwingWishes {
    fn default() -> Self {
        Self { off: false, current_a: None, steps: 2, angles_rad: None }
    }
}

/// Form of an alternating drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DriveWave {
    /// Sine.
    #[default]
    Sine,
    /// Square.
    Square,
    /// Triangle.
    Triangle,
}

/// What the user wishes of the alternating drive; its amplitude is the drive current.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DriveWishes {
    /// Form.
    pub wave: DriveWave,
    /// Mean current, A.
    pub offset_a: f64,
    /// Amplitude of the voltage that drives instead, V.
    pub voltage_v: Option<f64>,
    /// Lowest drive frequency, Hz.
    pub from_hz: Option<f64>,
    /// Highest drive frequency, Hz.
    pub to_hz: Option<f64>,
    /// Drive frequencies.
    pub points: Option<u32>,
    /// Harmonics of the drive.
    pub harmonics: Option<u32>,
    /// Wished swing, rad.
    pub swing_rad: Option<f64>,
    /// Measured loss factor of the arms.
    pub loss_factor: Option<f64>,
    /// Measured drag coefficient of the flap.
    pub drag_coefficient: Option<f64>,
    /// Largest wished roll over swing.
    pub roll: Option<f64>,
}

/// A mechanical load.
#[derive(Debug, Clone, PartialEq)]
pub enum Load {
    /// Total force, N, at a point, along a line, or over an area.
    Force {
        /// Name as written.
        name: String,
        /// Where.
        place: Place,
        /// Total force, N.
        force_n: [f64; 3],
    },
    /// Pressure along +z, Pa.
    Pressure {
        /// Name as written.
        name: String,
        /// Where (an area).
        place: Place,
        /// Pressure, Pa.
        pressure_pa: f64,
    },
    /// Total moment, N m, at a point or along a line.
    Moment {
        /// Name as written.
        name: String,
        /// Where.
        place: Place,
        /// Total moment, N m.
        moment_nm: [f64; 3],
    },
}

/// State before the loads: part of the unloaded shape.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LockedIn {
    /// Temperature at which the layers were free of stress, degC; None: same as the working temperature.
    pub stress_free_degc: Option<f64>,
    /// Per material, where different.
    pub stress_free_of: Vec<(MaterialId, f64)>,
    /// Gravity when it was mounted, m/s2.
    pub gravity_at_assembly: Option<[f64; 3]>,
}
