//! What the board is made of: materials, layers, stiffeners, copper and the current path.

use crate::region::{Point, Region};

/// Index into [`super::Board::materials`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MaterialId(pub u32);

/// Index into [`super::Board::layers`], counted from the bottom.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LayerId(pub u32);

/// Index into [`super::Board::conductors`].
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
///
/// "Beneath" means towards the base film: layers listed before the base film lie on what is above them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seat {
    /// Lies on the nearest layer present towards the base film at each place; constant thickness.
    Drape,
    /// Fills the gaps towards the base film: its outer face is at this height (m) wherever it is present.
    Level(f64),
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
    /// Stiffener this layer belongs to (sheet or tape), index into [`super::Board::stiffeners`].
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

/// A stiffener: its layers are in [`super::Board::layers`].
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
