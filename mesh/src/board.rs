//! The board as understood: SI units, valid by construction; later rooms never re-check.
//!
//! Input: a parsed design file. Output: [`Board`], or every fault of the file at once.
//! Absent: triangles, stiffness, anything that depends on a mesh.

use crate::region::{Point, Region};

/// Index into [`Board::materials`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MaterialId(pub u32);

/// Index into [`Board::layers`], counted from the bottom.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LayerId(pub u32);

/// Index into [`Board::conductors`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ConductorId(pub u32);

/// A material value with its plausible span and where it comes from.
#[derive(Debug, Clone, PartialEq)]
pub struct Value {
    /// Value used, SI.
    pub v: f64,
    /// Lowest plausible value, SI.
    pub lo: f64,
    /// Highest plausible value, SI.
    pub hi: f64,
    /// Citation, and whether the figure was read there or is from memory.
    pub source: String,
}

/// Plane elastic constants of one material.
#[derive(Debug, Clone, PartialEq)]
pub enum Elastic {
    /// Same in every in-plane direction.
    Isotropic {
        /// Young's modulus, Pa.
        e_pa: Value,
        /// Poisson's ratio.
        nu: Value,
    },
    /// Different along and across the material direction (1 = along the layer's direction).
    Orthotropic {
        /// Modulus along direction 1, Pa.
        e1_pa: Value,
        /// Modulus along direction 2, Pa.
        e2_pa: Value,
        /// Contraction along 2 from tension along 1.
        nu12: Value,
        /// Shear modulus, Pa.
        g12_pa: Value,
    },
}

/// One material with everything a layer needs.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// Name as written in the design file.
    pub name: String,
    /// What it is, one line.
    pub description: String,
    /// Plane elastic constants.
    pub elastic: Elastic,
    /// Density, kg/m3.
    pub density_kg_m3: Value,
    /// Thermal expansion along directions 1 and 2, 1/K.
    pub expansion_per_k: [Value; 2],
    /// Elongation at break (strain), where known.
    pub elongation: Option<Value>,
    /// Resistivity at 20 degC, ohm m; present for conductors only.
    pub resistivity_ohm_m: Option<Value>,
    /// Shear modulus in use, Pa, for tapes and soft adhesives.
    pub shear_pa: Option<Value>,
    /// Glass point, degC, for tapes.
    pub glass_point_degc: Option<Value>,
}

/// What a layer is for; decides how its strain is reported.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LayerKind {
    /// Base film.
    Film,
    /// Copper; its strain is ranked.
    Copper,
    /// Adhesive.
    Adhesive,
    /// Cover film.
    Cover,
    /// Printed or photo-imaged mask.
    Mask,
    /// Plated finish.
    Finish,
    /// Stiffener sheet.
    Stiffener,
    /// Tape that bonds a stiffener.
    Tape,
}

/// How a layer lies on what is beneath it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seat {
    /// Lies on the highest layer present beneath it at each place; constant thickness.
    Drape,
    /// Fills the gaps beneath it: its upper face is at one height wherever it is present.
    Level,
    /// Its lower face is at this height everywhere, m above z = 0.
    At(f64),
}

/// Smeared coil inside a copper layer: the layer's material is replaced there (TERMS "smeared coil").
#[derive(Debug, Clone, PartialEq)]
pub struct Smear {
    /// Where the smeared material stands in for turns and gaps.
    pub region: Region,
    /// Area share of copper, 0 to 1.
    pub copper_share: f64,
    /// Filler between turns.
    pub filler: MaterialId,
    /// Centre of the turns; the turn direction is normal to the radius for round coils.
    pub centre_m: Point,
    /// Direction of the turns at a place.
    pub turns: TurnAxes,
}

/// Direction of smeared turns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TurnAxes {
    /// Turns circle the centre.
    Round,
    /// Turns run parallel to x or y, by the nearer side.
    Square,
}

/// One layer, flex or stiffener, from the bottom.
#[derive(Debug, Clone, PartialEq)]
pub struct Layer {
    /// Name as written.
    pub name: String,
    /// Material.
    pub material: MaterialId,
    /// What it is for.
    pub kind: LayerKind,
    /// Thickness, m.
    pub thickness_m: f64,
    /// How it lies on the layers beneath.
    pub seat: Seat,
    /// Where it is present.
    pub region: Region,
    /// Angle of material direction 1 from +x, rad.
    pub direction_rad: f64,
    /// Smeared coils in this layer.
    pub smears: Vec<Smear>,
    /// Stiffener this layer belongs to (sheet or tape), index into [`Board::stiffeners`].
    pub stiffener: Option<u32>,
}

/// How a stiffener is held.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Bond {
    /// Its layers join the laminate.
    Bonded,
    /// The tape carries no shear.
    Sliding,
    /// A tape of this shear modulus, Pa: both limits are run.
    Tape(f64),
}

/// A stiffener: its layers are in [`Board::layers`].
#[derive(Debug, Clone, PartialEq)]
pub struct Stiffener {
    /// Name as written.
    pub name: String,
    /// Plan form.
    pub region: Region,
    /// How it is held.
    pub bond: Bond,
}

/// What a piece of copper is.
#[derive(Debug, Clone, PartialEq)]
pub enum ConductorKind {
    /// A track with centre line and width.
    Track {
        /// Centre line, m.
        centre_line_m: Vec<Point>,
        /// Width, m.
        width_m: f64,
    },
    /// Turns of a coil.
    CoilTurns,
    /// Copper without a centre line.
    Pour,
}

/// A named piece of copper on one layer.
#[derive(Debug, Clone, PartialEq)]
pub struct Conductor {
    /// Name as shown in the spots table.
    pub name: String,
    /// Layer it is on.
    pub layer: LayerId,
    /// Its plan form.
    pub region: Region,
    /// Track, coil or pour.
    pub kind: ConductorKind,
    /// Ranked for cracks (false for coil turns on a stiff flap).
    pub ranked: bool,
}

/// One straight piece of the current path, in the direction of positive current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PathSegment {
    /// Start, m (z at the copper's mid-height).
    pub from_m: [f64; 3],
    /// End, m.
    pub to_m: [f64; 3],
    /// Copper cross-section, m2 (0 for a via).
    pub section_m2: f64,
    /// Layer, None for a via or the closing line between the pads.
    pub layer: Option<LayerId>,
}

/// The whole current path from the + pad to the - pad.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CurrentPath {
    /// Pieces in order.
    pub segments: Vec<PathSegment>,
    /// Drive current, A.
    pub current_a: f64,
}

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
    /// Limits.
    pub limits: Limits,
    /// Rounded corners.
    pub fillets: Vec<Fillet>,
    /// Named edges.
    pub landmarks: Vec<Landmark>,
    /// Remarks.
    pub warnings: Vec<Warning>,
}
