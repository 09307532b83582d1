//! The design file as written: plain structs, one file per group of tables.
//!
//! Input: TOML text. Output: [`Design`] with every value and its place in the file, and the faults of reading.
//! Absent: any rule that needs two values; see [`crate::board`].

mod copper;
mod drive;
mod fixtures;
mod given;
mod layers;
mod loads;
mod magnets;
mod nearest;
mod read;
mod shapes;
mod swing;
pub mod vary;

pub use copper::{Circuit, Coil, CoilForm, Sense, Track, TurnsModel};
pub use drive::{Drive, DriveWave};
pub use fixtures::{Arm, Body, Flap, MountingRotation, Support, SupportWord};
pub use given::{Given, Number, Wanted};
pub use layers::{BondWord, Layer, LayerKindWord, MaterialEntry, SeatWord, SideWord, Stiffener, Tape};
pub use loads::{ForceLoad, Gravity, Limits, Mesh, MomentLoad, PressureLoad, Temperatures};
pub use magnets::{BackPlate, Block, Disc, Magnet, Magnetisation, Polarity, Ring, Tilt};
pub use nearest::nearest;
pub(crate) use read::read;
pub use shapes::{Circle, Outline, Polygon, Rectangle, RoundedRectangle, Shape, TrackShape};

pub use swing::{Obstacle, ObstaclePlane, Swing, SwingAngles};

use schemars::JsonSchema;
use std::collections::BTreeMap;
use std::ops::Range;

/// A table of the file with its place.
#[derive(Debug, Clone)]
pub struct Placed<T> {
    /// Its content.
    pub item: T,
    /// Byte range of its head (`[[layer]]`) or of its value.
    pub span: Range<usize>,
}

/// A named entry of a table with its place.
#[derive(Debug, Clone)]
pub struct Named<T> {
    /// Its key.
    pub name: String,
    /// Its content.
    pub item: T,
    /// Byte range of its key.
    pub span: Range<usize>,
}

/// A flexible-circuit design: layers, copper, supports, magnets and loads.
///
/// Quantities are texts with a unit as on drawings: "18 um", "0.5 oz" (copper), "2 mil", "120 mA", "1.3 T".
#[derive(Debug, Clone, Default, JsonSchema)]
#[schemars(deny_unknown_fields, title = "copperbend design")]
pub struct Design {
    /// Title, shown on all results.
    pub title: Option<Given<String>>,
    /// Shapes by name.
    #[schemars(with = "BTreeMap<String, Shape>")]
    pub shapes: Vec<Named<Shape>>,
    /// The board's outline.
    #[schemars(with = "Outline")]
    pub outline: Option<Placed<Outline>>,
    /// Materials added to the library or changed.
    #[schemars(with = "Option<BTreeMap<String, MaterialEntry>>")]
    pub materials: Vec<Named<MaterialEntry>>,
    /// Layers from the bottom to the top.
    #[schemars(with = "Vec<Layer>")]
    pub layer: Vec<Placed<Layer>>,
    /// Stiffeners.
    #[schemars(with = "Option<Vec<Stiffener>>")]
    pub stiffener: Vec<Placed<Stiffener>>,
    /// Copper tracks.
    #[schemars(with = "Option<Vec<Track>>")]
    pub track: Vec<Placed<Track>>,
    /// Coils.
    #[schemars(with = "Option<Vec<Coil>>")]
    pub coil: Vec<Placed<Coil>>,
    /// The current path.
    #[schemars(with = "Option<Circuit>")]
    pub circuit: Option<Placed<Circuit>>,
    /// The drive.
    #[schemars(with = "Option<Drive>")]
    pub drive: Option<Placed<Drive>>,
    /// Supports.
    #[schemars(with = "Vec<Support>")]
    pub support: Vec<Placed<Support>>,
    /// Arms.
    #[schemars(with = "Option<Vec<Arm>>")]
    pub arm: Vec<Placed<Arm>>,
    /// The part whose angle is reported.
    #[schemars(with = "Option<Flap>")]
    pub flap: Option<Placed<Flap>>,
    /// Bodies glued on.
    #[schemars(with = "Option<Vec<Body>>")]
    pub body: Vec<Placed<Body>>,
    /// Magnets.
    #[schemars(with = "Option<Vec<Magnet>>")]
    pub magnet: Vec<Placed<Magnet>>,
    /// What the board must not touch while it swings.
    #[schemars(with = "Option<Vec<Obstacle>>")]
    pub obstacle: Vec<Placed<Obstacle>>,
    /// The swing.
    #[schemars(with = "Option<Swing>")]
    pub swing: Option<Placed<Swing>>,
    /// Forces.
    #[schemars(with = "Option<Vec<ForceLoad>>")]
    pub force: Vec<Placed<ForceLoad>>,
    /// Pressures.
    #[schemars(with = "Option<Vec<PressureLoad>>")]
    pub pressure: Vec<Placed<PressureLoad>>,
    /// Moments.
    #[schemars(with = "Option<Vec<MomentLoad>>")]
    pub moment: Vec<Placed<MomentLoad>>,
    /// Gravity.
    #[schemars(with = "Option<Gravity>")]
    pub gravity: Option<Placed<Gravity>>,
    /// Temperatures.
    #[schemars(with = "Option<Temperatures>")]
    pub temperature: Option<Placed<Temperatures>>,
    /// Wishes about triangles and accuracy.
    #[schemars(with = "Option<Mesh>")]
    pub mesh: Option<Placed<Mesh>>,
    /// Limits of the user.
    #[schemars(with = "Option<Limits>")]
    pub limits: Option<Placed<Limits>>,
}

/// JSON Schema of the design file, for editors.
#[must_use]
pub fn schema() -> String {
    let schema = schemars::schema_for!(Design);
    format!("{:#}", schema.as_value())
}

#[cfg(test)]
mod tests;
