//! `[[track]]`, `[[coil]]` and `[circuit]`.

use super::given::{Given, Number, word};
use crate::quantity::{Angle, Length};
use schemars::JsonSchema;
use serde::Deserialize;

/// A copper track with a centre line.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Track {
    /// Name, shown with its spots.
    pub name: Given<String>,
    /// Copper layer.
    pub layer: Given<String>,
    /// Points of the centre line, [x, y] each.
    pub points: Vec<Given<[Length; 2]>>,
    /// Width.
    pub width: Given<Length>,
    /// Radius of the centre line at its corners. Default: sharp.
    pub corner_radius: Option<Given<Length>>,
}

word!(
    /// Form of a coil's turns.
    CoilForm {
        /// Circles.
        Round = "round",
        /// Squares with sharp corners.
        Square = "square",
        /// Squares with rounded corners.
        Rounded = "rounded",
    }
);

word!(
    /// Sense of rotation of the current, seen from above, when it enters at the first end.
    Sense {
        /// Counter-clockwise.
        CounterClockwise = "counter_clockwise",
        /// Clockwise.
        Clockwise = "clockwise",
    }
);

word!(
    /// How the turns enter the stiffness.
    TurnsModel {
        /// As one material with the copper's share of the area.
        Smeared = "smeared",
        /// Every turn by itself.
        Each = "each",
    }
);

/// A spiral coil on one or more copper layers.
///
/// The current enters at the outer end on the first layer, passes through a via at the inner end to the second, and
/// so on; turns of all layers run in the same sense.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Coil {
    /// Name.
    pub name: Given<String>,
    /// Form of the turns.
    pub form: Given<CoilForm>,
    /// Centre, [x, y].
    pub centre: Given<[Length; 2]>,
    /// Size over the outermost turn, from copper edge to copper edge.
    pub outer: Given<Length>,
    /// Corner radius of the outermost centre line, for form "rounded".
    pub corner_radius: Option<Given<Length>>,
    /// Number of turns on each layer.
    pub turns: Given<Number>,
    /// Width of the turns.
    pub track_width: Given<Length>,
    /// Distance from one turn's middle to the next.
    pub pitch: Given<Length>,
    /// Copper layers in the order of the current.
    pub layers: Vec<Given<String>>,
    /// Sense of the current. Default: `"counter_clockwise"`.
    pub sense: Option<Given<Sense>>,
    /// Direction from the centre to the outer end. Default: 180 deg (towards the arm when the vane lies at +x).
    pub start_angle: Option<Given<Angle>>,
    /// How the turns enter the stiffness. Default: "smeared".
    pub turns_model: Option<Given<TurnsModel>>,
    /// Material between the turns when smeared. Default: the adhesive above them.
    pub filler: Option<Given<String>>,
}

/// The current path.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Circuit {
    /// Tracks and coils in order, from the + pad to the - pad; ends must meet within 10 um.
    pub chain: Vec<Given<String>>,
}
