//! `[[support]]`, `[[arm]]`, `[flap]` and `[[body]]`.

use super::given::{Given, Number, word};
use crate::quantity::{Angle, Inertia, Length, Mass};
use schemars::JsonSchema;
use serde::Deserialize;

word!(
    /// Kind of support.
    SupportWord {
        /// Everything is held: displacements and rotations.
        Clamp = "clamp",
        /// Displacements are held, rotations free.
        Simple = "simple",
        /// Mirror line, for symmetric loads only.
        Symmetry = "symmetry",
    }
);

/// A support, over a shape or along a line.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Support {
    /// Name.
    pub name: Given<String>,
    /// Kind.
    pub kind: Given<SupportWord>,
    /// Shape that is held; what overhangs the outline does not matter.
    pub shape: Option<Given<String>>,
    /// Line that is held, from one point to another.
    pub line: Option<Given<[[Length; 2]; 2]>>,
    /// Mounting rotation of a clamp: the shape it has before any load.
    pub rotation: Option<MountingRotation>,
}

/// Rotation of a clamp about a fixed axis.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MountingRotation {
    /// Angle, right-handed about the axis.
    pub angle: Given<Angle>,
    /// A point of the axis, [x, y, z]. Default: the origin.
    pub through: Option<Given<[Length; 3]>>,
    /// Direction of the axis, three numbers.
    pub axis: Given<[Number; 3]>,
}

/// An arm: the strip that bends, between the held side and the flap.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Arm {
    /// Name, shown with spots on it.
    pub name: Given<String>,
    /// Plan form.
    pub shape: Given<String>,
    /// Middle of its root at the held side, [x, y]; the hinge line passes through the roots.
    pub root: Given<[Length; 2]>,
    /// Middle of its end at the flap, [x, y].
    pub tip: Given<[Length; 2]>,
    /// Points of its centre line between root and tip, for a bent arm; used by the fast beam model. Default: straight,
    /// or along the middle of the outline.
    pub centre_line: Option<Vec<Given<[Length; 2]>>>,
}

/// The part whose angle is reported.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Flap {
    /// Plan form.
    pub shape: Given<String>,
    /// Moves as one rigid piece. Default: false.
    pub rigid: Option<Given<bool>>,
}

/// A stiff or heavy body glued on, such as a weight.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Body {
    /// Name.
    pub name: Given<String>,
    /// Footprint.
    pub shape: Given<String>,
    /// Mass.
    pub mass: Given<Mass>,
    /// Height of its centre of mass above z = 0.
    pub centre_height: Given<Length>,
    /// Own moments of inertia about its centre, about x, y and z. Default: none.
    pub inertia: Option<Given<[Inertia; 3]>>,
    /// The board under it moves as one rigid piece. Default: true.
    pub stiff: Option<Given<bool>>,
}
