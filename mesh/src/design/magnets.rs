//! `[[magnet]]`.

use super::given::{Given, word};
use crate::quantity::{Angle, FluxDensity, Length};
use schemars::JsonSchema;
use serde::Deserialize;

word!(
    /// Direction of magnetisation in the magnet's own frame.
    Magnetisation {
        /// Along its height (own z).
        Axial = "axial",
        /// Across it (own x).
        Diametral = "diametral",
    }
);

word!(
    /// Which way an axial magnet points before tilting.
    Polarity {
        /// North pole towards +z.
        Up = "up",
        /// North pole towards -z.
        Down = "down",
    }
);

/// A magnet fixed in space: exactly one of `disc`, `ring`, `block`.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Magnet {
    /// Name.
    pub name: Given<String>,
    /// Cylinder.
    pub disc: Option<Disc>,
    /// Hollow cylinder.
    pub ring: Option<Ring>,
    /// Cuboid.
    pub block: Option<Block>,
    /// Direction of magnetisation. Default: "axial".
    pub magnetisation: Option<Given<Magnetisation>>,
    /// Remanence; or give `grade`.
    pub remanence: Option<Given<FluxDensity>>,
    /// Grade of a sintered neodymium magnet, such as "N42": the middle of its range of remanence is used.
    pub grade: Option<Given<String>>,
    /// Centre, [x, y, z]; z = 0 is the lower face of the base film.
    pub centre: Given<[Length; 3]>,
    /// Rotation about its centre: about x first, then y, then z.
    pub tilt: Option<Tilt>,
    /// Which way an axial magnet points. Default: "up".
    pub polarity: Option<Given<Polarity>>,
    /// Iron plate parallel to the board, behind the magnet.
    pub back_plate: Option<BackPlate>,
    /// Region that carries the magnet (not built: refused).
    pub carried_by: Option<Given<String>>,
}

/// Cylinder standing on its own z axis.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Disc {
    /// Diameter.
    pub diameter: Given<Length>,
    /// Height.
    pub height: Given<Length>,
}

/// Hollow cylinder standing on its own z axis.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Ring {
    /// Outer diameter.
    pub outer: Given<Length>,
    /// Inner diameter.
    pub inner: Given<Length>,
    /// Height.
    pub height: Given<Length>,
}

/// Cuboid.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Block {
    /// Sides along its own x, y and z.
    pub sides: Given<[Length; 3]>,
}

/// Angles of rotation, right-handed, about the board's axes.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Tilt {
    /// About x, first.
    pub about_x: Option<Given<Angle>>,
    /// About y, second.
    pub about_y: Option<Given<Angle>>,
    /// About z, third.
    pub about_z: Option<Given<Angle>>,
}

/// Iron plate parallel to the board, taken as very wide and very permeable: a mirror magnet stands for it.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BackPlate {
    /// Height of its face towards the magnet.
    pub height: Given<Length>,
}
