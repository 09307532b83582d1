//! The swing in plain data: one row per state, limits of the path, strain ranges.

use super::{Face, SingularKind, StrainMap};
use copperbend_mesh::region::Point;
use serde::Serialize;

/// Large motion: the swing of a flap in the real field by current and by angle, or, where no current drives the board,
/// the way of a board from rest to its whole loads. Quiet equilibria, no inertia.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Swing {
    /// Largest current of either polarity, A.
    pub most_current_a: f64,
    /// Flap angle without current, rad.
    pub rest_angle_rad: f64,
    /// States at given currents, by ascending current; the one without current included.
    pub by_current: Vec<SwingState>,
    /// States at given flap angles with the current that each needs, by ascending angle.
    pub by_angle: Vec<SwingState>,
    /// States at given shares of the design's loads, by ascending share; only where no current drives the board.
    pub by_load: Vec<SwingState>,
    /// What turns by the angles of the states ("flap", or the place that moves most).
    pub angle_of: String,
    /// Snaps: places where a steadily growing load carries the board to a state far off.
    pub snaps: Vec<Snap>,
    /// Where and why a path ended early.
    pub stops: Vec<SwingStop>,
    /// How strongly the load depends on the flap's place.
    pub coupling: Option<Coupling>,
    /// Least distance of the moving board to anything fixed, over all states.
    pub clearance: Option<LeastClearance>,
    /// What the board touches at rest already; not watched.
    pub touching_at_rest: Vec<String>,
    /// Flap angles between which the strain ranges are taken, rad.
    pub range_angles_rad: [f64; 2],
    /// Places of largest strain range, worst first.
    pub spots: Vec<RangeSpot>,
    /// Factorisations of the whole swing.
    pub factorisations: u32,
    /// The board seen along the hinge line, by ascending current.
    #[serde(skip)]
    pub views: Vec<SideView>,
    /// Strain range of every copper layer at both faces.
    #[serde(skip)]
    pub maps: Vec<StrainMap>,
}

/// One equilibrium of the swing.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct SwingState {
    /// Current, A.
    pub current_a: f64,
    /// Share of the design's loads (weight, forces, heating, moved supports).
    pub load: f64,
    /// Largest movement of any place from rest, m.
    pub largest_m: f64,
    /// Flap angle about the hinge line, rad; positive lifts the flap.
    pub angle_rad: f64,
    /// Torque of the magnets about the hinge line, N m.
    pub torque_nm: f64,
    /// Ranking strain of the worst spot, signed.
    pub strain: f64,
    /// Uncertainty of it from mesh and recovery.
    pub strain_error: f64,
    /// Track of that spot.
    pub track: String,
    /// Its place on the board at rest, m.
    pub at_m: Point,
    /// Least distance to anything fixed, m; None when there is nothing.
    pub clearance_m: Option<f64>,
    /// Current within the largest allowed.
    pub within_current: bool,
    /// Stable when current and loads are held (false: only when the angle is held, or by perfect symmetry).
    pub stable: bool,
    /// Reached by a snap from the state before.
    pub snapped: bool,
}

/// A snap: between two loads that lie close together the board jumps from one equilibrium to another.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Snap {
    /// Shares of the loads just before and after.
    pub loads: [f64; 2],
    /// Currents just before and after, A.
    pub currents_a: [f64; 2],
    /// Angles just before and after, rad.
    pub angles_rad: [f64; 2],
}

/// End of a path before its wished end.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct SwingStop {
    /// What was asked for ("+120 mA", "-45 deg").
    pub wished: String,
    /// Current of the last good state, A.
    pub current_a: f64,
    /// Share of the design's loads at the last good state.
    pub load: f64,
    /// Flap angle of the last good state, rad.
    pub angle_rad: f64,
    /// Why.
    pub why: String,
}

/// How the magnets' torque depends on the flap angle, against the spring of the arms.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Coupling {
    /// Change of torque with flap angle at rest, per ampere, N m/(rad A).
    pub change_nm_per_rad_a: f64,
    /// Spring of the arms, N m/rad: unit moment on the flap, board flat.
    pub stiffness_nm_per_rad: f64,
    /// Kappa at the largest current, positive polarity: change of torque over spring; +1 is pull-in, negative
    /// stiffens. The other polarity has the opposite sign.
    pub kappa: f64,
    /// Current at which kappa is 1 by the values at rest, A, signed: holds while the flap turns little up to there.
    pub pull_in_estimate_a: Option<f64>,
    /// Turn of the flap at that current by small motion, rad.
    pub pull_in_estimate_rad: Option<f64>,
    /// Pull-in found on the path.
    pub pull_in: Option<PullIn>,
}

/// Largest current that has an equilibrium on the path.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct PullIn {
    /// Current, A, signed.
    pub current_a: f64,
    /// Flap angle there, rad.
    pub angle_rad: f64,
}

/// The nearest approach over the whole swing.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct LeastClearance {
    /// To what.
    pub to: String,
    /// Distance, m.
    pub distance_m: f64,
    /// Flap angle, rad.
    pub angle_rad: f64,
    /// Current, A.
    pub current_a: f64,
    /// Share of the design's loads.
    pub load: f64,
    /// Place on the board at rest, m.
    pub at_m: Point,
}

/// A place where the strain changes most over the swing.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct RangeSpot {
    /// Rank, 1 = worst.
    pub rank: u32,
    /// Track or pour.
    pub track: String,
    /// Layer.
    pub layer: String,
    /// Index of the layer from the bottom.
    pub layer_index: u32,
    /// Face of the copper.
    pub face: Face,
    /// x, m.
    pub x_m: f64,
    /// y, m.
    pub y_m: f64,
    /// Nearest named feature.
    pub near: String,
    /// Distance to it, m.
    pub near_m: f64,
    /// Range of the normal strain over the swing in one material direction, the largest over directions.
    pub range: f64,
    /// Uncertainty of it from mesh and recovery.
    pub range_error: f64,
    /// That direction from +x, rad.
    pub direction_rad: f64,
    /// Strain in that direction at both ends of the swing: most negative current or angle, most positive.
    pub ends: [f64; 2],
    /// Set when the place is singular: range and ends are then means over half a disc.
    pub singular: Option<SingularKind>,
    /// Strain is indicative only: the track is narrower than about three thicknesses across.
    pub indicative: bool,
}

/// The board's middle line seen along the hinge line.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SideView {
    /// Current, A.
    pub current_a: f64,
    /// Share of the design's loads.
    pub load: f64,
    /// Flap angle, rad.
    pub angle_rad: f64,
    /// Distance from the hinge line along the arm direction, and height, m.
    pub line_m: Vec<Point>,
}
