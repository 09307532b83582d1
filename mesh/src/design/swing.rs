//! `[swing]` and `[[obstacle]]`.

use super::given::Given;
use super::magnets::{Block, Disc, Tilt};
use crate::quantity::{Angle, Current, Length};
use schemars::JsonSchema;
use serde::Deserialize;

/// The swing that `bend` follows: currents of both polarities, and prescribed flap angles.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Swing {
    /// Leave the swing out. Default: false.
    pub off: Option<Given<bool>>,
    /// Largest current, taken in both polarities. Default: the drive current.
    pub current: Option<Given<Current>>,
    /// Currents per polarity, evenly spaced. Default: 2.
    pub steps: Option<Given<u32>>,
    /// Flap angles to prescribe. Default: evenly on both sides, a little beyond what the largest current reaches.
    pub angles: Option<SwingAngles>,
}

/// Prescribed flap angles.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SwingAngles {
    /// First angle, 0 or below.
    pub from: Given<Angle>,
    /// Last angle, 0 or above.
    pub to: Given<Angle>,
    /// Step between angles.
    pub step: Given<Angle>,
}

/// Something that the board must not touch while it swings: exactly one of `disc`, `block`, `plane`.
///
/// Magnets and their back plates are watched without being named here.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Obstacle {
    /// Name.
    pub name: Given<String>,
    /// Cylinder.
    pub disc: Option<Disc>,
    /// Cuboid.
    pub block: Option<Block>,
    /// Endless flat face parallel to the board, solid on the side away from it.
    pub plane: Option<ObstaclePlane>,
    /// Centre of a disc or block, [x, y, z]; z = 0 is the lower face of the base film.
    pub centre: Option<Given<[Length; 3]>>,
    /// Rotation of a disc or block about its centre: about x first, then y, then z.
    pub tilt: Option<Tilt>,
}

/// A flat face parallel to the board, such as a base or a window.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ObstaclePlane {
    /// Its height: below the board's lowest face or above its highest.
    pub height: Given<Length>,
}
