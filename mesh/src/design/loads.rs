//! `[[force]]`, `[[pressure]]`, `[[moment]]`, `[gravity]`, `[temperature]`, `[mesh]` and `[limits]`.

use super::given::{Given, Number};
use crate::quantity::{
    Acceleration, Angle, Current, Force, Length, Moment, Power, Share, Stress, Temperature,
};
use schemars::JsonSchema;
use serde::Deserialize;

/// A force at a point, along a line or over a shape: exactly one of them.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ForceLoad {
    /// Name.
    pub name: Given<String>,
    /// Point, [x, y].
    pub point: Option<Given<[Length; 2]>>,
    /// Line, from one point to another.
    pub line: Option<Given<[[Length; 2]; 2]>>,
    /// Shape over which the force is spread evenly.
    pub shape: Option<Given<String>>,
    /// Total force, [x, y, z].
    pub force: Given<[Force; 3]>,
}

/// A pressure over a shape, along +z.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PressureLoad {
    /// Name.
    pub name: Given<String>,
    /// Shape.
    pub shape: Given<String>,
    /// Pressure, positive along +z.
    pub pressure: Given<Stress>,
}

/// A moment at a point or along a line: exactly one of them.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MomentLoad {
    /// Name.
    pub name: Given<String>,
    /// Point, [x, y].
    pub point: Option<Given<[Length; 2]>>,
    /// Line, from one point to another.
    pub line: Option<Given<[[Length; 2]; 2]>>,
    /// Total moment about x, y and z.
    pub moment: Given<[Moment; 3]>,
}

/// Gravity: a direction, or an acceleration as a vector.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Gravity {
    /// Direction in which things fall, three numbers; 9.80665 m/s2.
    pub direction: Option<Given<[Number; 3]>>,
    /// Acceleration as a vector, [x, y, z].
    pub acceleration: Option<Given<[Acceleration; 3]>>,
    /// Direction in which things fell when the board was clamped: part of the unloaded shape.
    pub direction_at_assembly: Option<Given<[Number; 3]>>,
}

/// Temperatures.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Temperatures {
    /// Working temperature. Default: 20 degC.
    pub working: Option<Given<Temperature>>,
    /// Temperature at which the layers are free of stress. Default: the working temperature.
    pub stress_free: Option<Given<Temperature>>,
}

/// Wishes about triangles and accuracy.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Mesh {
    /// Largest triangle side. Default: from the size of the board.
    pub coarse: Option<Given<Length>>,
    /// Smallest triangle side. Default: half the local thickness.
    pub fine: Option<Given<Length>>,
    /// Growth of the side per length away from fine places. Default: 0.3.
    pub growth: Option<Given<Share>>,
    /// Triangles across an arm, at least. Default: 8.
    pub across_arm: Option<Given<u32>>,
    /// Smallest angle. Default: 25 deg.
    pub min_angle: Option<Given<Angle>>,
    /// Refinement stops when the top spots change by less. Default: 1 %.
    pub tolerance: Option<Given<Share>>,
    /// Most refinements. Default: 6.
    pub max_refinements: Option<Given<u32>>,
    /// Most triangles. Default: 400000.
    pub max_triangles: Option<Given<u32>>,
    /// Merge features thinner than 10 um instead of resolving them. Default: false.
    pub merge_thin: Option<Given<bool>>,
}

/// Limits: exceeding one ends the program with exit code 1.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// Largest strain in copper.
    pub copper_strain: Option<Given<Share>>,
    /// Largest flap angle.
    pub flap_angle: Option<Given<Angle>>,
    /// Largest current.
    pub current: Option<Given<Current>>,
    /// Largest mean electrical power of an alternating drive.
    pub power: Option<Given<Power>>,
}
