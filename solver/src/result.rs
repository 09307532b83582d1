//! Plain data out: every number with its unit in its name and, where it applies, its error.
//!
//! Filled by [`crate::bend`] and [`crate::summary`]; drawn and written by the program. Absent: any computation.
//! Small tables serialise; the large arrays for pictures and meshes are skipped there and read directly.

mod board;
mod cycle;
mod driven;
mod modes;
mod swing;

pub use board::{ArmFacts, BoardSummary, CircuitFacts, LayerFacts, StackAt, StackPly, TrackFacts};
pub use cycle::{CycleAnswer, CycleSpot};
pub use driven::{
    BasisMode, DampingShare, DriveAnswer, DriveReport, DriveRow, DriveSource, DriveSpot, HalfFrequency,
    SpeedLimit, SwingFacts, TimePoint, TimeTrace, Usable,
};
pub use modes::{AirFacts, ModeFacts, ModeKind, ModeShares, ModeSpot, ModesAnswer, ModesReport, StanceFacts};
pub use swing::{Coupling, LeastClearance, PullIn, RangeSpot, SideView, Snap, Swing, SwingState, SwingStop};

use copperbend_mesh::board::{Board, Warning};
use copperbend_mesh::region::Point;
use serde::Serialize;

/// How the tape-held stiffeners of one answer were taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum BondLimit {
    /// Each stiffener as the design says; a tape is bonded below its glass point and sliding above it.
    #[default]
    AsWritten,
    /// Tapes taken as stiff in shear: the stiffener joins the laminate.
    Bonded,
    /// Tapes taken as free of shear: the stiffener bends beside the flex.
    Sliding,
}

/// Everything that `bend` found out.
#[derive(Debug, Clone, Default, Serialize)]
pub struct BendReport {
    /// Title of the design.
    pub title: String,
    /// The board as understood.
    pub summary: BoardSummary,
    /// Force and torque of the magnets on the current, at the rest position.
    pub drive: Option<DriveLoad>,
    /// One answer, or two when a stiffener is held by a tape: bonded, then sliding.
    pub answers: Vec<BendAnswer>,
    /// Limits written by the user against what was found.
    pub limits: Vec<LimitCheck>,
    /// What to look at before trusting the figures.
    pub warnings: Vec<Remark>,
    /// Safety cautions due for this design.
    pub cautions: Vec<Caution>,
    /// What the model leaves out, one line each.
    pub left_out: Vec<String>,
}

impl BendReport {
    /// Whether a limit written by the user is exceeded (exit code 1).
    #[must_use]
    pub fn exceeds_limit(&self) -> bool {
        self.limits.iter().any(|l| l.exceeded)
    }
}

/// A remark with place and remedy.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Remark {
    /// Where.
    pub place: String,
    /// What, with the value.
    pub text: String,
    /// What to do about it.
    pub remedy: String,
}

impl Remark {
    /// What the reading of a board already warned of.
    #[must_use]
    pub fn of_board(board: &Board) -> Vec<Self> {
        let of =
            |w: &Warning| Self { place: w.place.clone(), text: w.text.clone(), remedy: w.remedy.clone() };
        board.warnings.iter().map(of).collect()
    }
}

/// A safety caution.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Caution {
    /// One or two words ("magnets", "hot coils").
    pub about: String,
    /// The caution.
    pub text: String,
}

/// A limit written by the user against the value found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LimitCheck {
    /// What is limited ("copper strain", "flap angle", "current").
    pub what: String,
    /// Unit of both numbers ("1" for strain).
    pub unit: String,
    /// The user's limit.
    pub limit: f64,
    /// Largest value over the answers, its uncertainty added.
    pub value: f64,
    /// Value above limit.
    pub exceeded: bool,
}

/// One complete answer under one bond limit.
#[derive(Debug, Clone, Default, Serialize)]
pub struct BendAnswer {
    /// How tapes were taken.
    pub bond: BondLimit,
    /// Movement of the board under the loads, unloaded shape included.
    pub loaded: Movement,
    /// The unloaded shape: stress-free temperature, mounting rotation, gravity at assembly.
    pub unloaded: Movement,
    /// Spring stiffness of the arms, where a flap is known.
    pub spring: Option<Spring>,
    /// Ranked spots of the copper, worst first.
    pub spots: Vec<Spot>,
    /// The swing through large angles, where a magnet drives a flap.
    pub swing: Option<Swing>,
    /// The same with copper that yields, where asked for.
    pub cycle: Option<CycleAnswer>,
    /// Worst spot again with the copper modulus at both ends of its span.
    pub modulus_span: Option<ModulusSpan>,
    /// Largest strain of every other layer against its own elongation.
    pub elongations: Vec<ElongationCheck>,
    /// How good the linear solve is.
    pub accuracy: Accuracy,
    /// The mesh of this answer.
    pub mesh: MeshFacts,
    /// Refinement until the spots settled.
    pub settle: SettleHistory,
    /// Mesh and displacements, for pictures and mesh files.
    #[serde(skip)]
    pub shape: Shape,
    /// Strain of every copper layer at both faces, for pictures and mesh files.
    #[serde(skip)]
    pub maps: Vec<StrainMap>,
}

/// Movement of the board in one state.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Movement {
    /// Largest displacement and where.
    pub largest_m: f64,
    /// Where the largest displacement is, board coordinates at rest, m.
    pub largest_at_m: Point,
    /// Displacement at the board's far end (farthest along the arm direction), m.
    pub tip_m: [f64; 3],
    /// Where the far end is, at rest, m.
    pub tip_at_m: Point,
    /// Displacement of the flap's centre, m.
    pub flap_centre_m: Option<[f64; 3]>,
    /// Flap angle about the hinge line, rad; positive lifts the flap.
    pub flap_angle_rad: Option<f64>,
    /// Roll of the flap about the arm direction, rad.
    pub roll_angle_rad: Option<f64>,
    /// Sum of the loads (gravity, forces, drive), N.
    pub load_n: [f64; 3],
    /// Sum of the reactions at the supports, N.
    pub reaction_n: [f64; 3],
    /// Strain energy, J.
    pub energy_j: f64,
}

/// Force and torque of the magnets on the current, board flat and at rest.
#[derive(Debug, Clone, Default, Serialize)]
pub struct DriveLoad {
    /// Drive current, A.
    pub current_a: f64,
    /// Total force, N.
    pub force_n: [f64; 3],
    /// Torque about the hinge line, N m; positive lifts the flap.
    pub torque_nm: f64,
    /// Torque per ampere, N m/A.
    pub torque_constant_nm_per_a: f64,
    /// Torque about the arm direction at the hinge line, N m.
    pub roll_torque_nm: f64,
    /// Torque about +z at the hinge line, N m.
    pub yaw_torque_nm: f64,
    /// Coil and tracks at 20 degC, ohm.
    pub resistance_ohm: f64,
    /// Heat at the drive current, resistance at 20 degC, W.
    pub power_w: f64,
    /// Largest flux density met along the path, T.
    pub field_max_t: f64,
}

/// Spring stiffness of the arms seen at the flap (linear, board flat).
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Spring {
    /// Moment about the hinge direction, spread over the flap, per flap angle, N m/rad.
    pub moment_nm_per_rad: f64,
    /// Normal force, spread evenly over the flap, per displacement of the flap's centre, N/m.
    pub force_n_per_m: f64,
    /// Moment about the arm direction per roll angle, N m/rad.
    pub roll_nm_per_rad: f64,
    /// Drive torque about the hinge line per flap angle by the drive alone, N m/rad (drive present).
    pub drive_nm_per_rad: Option<f64>,
}

/// Upper or lower face of a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Face {
    /// Face towards smaller z.
    #[default]
    Lower,
    /// Face towards larger z.
    Upper,
}

/// Why a place has no mesh-independent strain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum SingularKind {
    /// A clamp edge ends at a free edge.
    ClampEnd,
    /// A corner of the outline without a fillet.
    ReentrantCorner,
    /// An edge of a stiffener, cover or copper ends at a free edge or turns.
    StackEdge,
}

/// A place where copper is likely to crack.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Spot {
    /// Rank, 1 = worst; the number drawn on the maps.
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
    /// Mechanical normal strain of largest magnitude over all directions, signed.
    pub strain: f64,
    /// Uncertainty of it from mesh and recovery.
    pub strain_error: f64,
    /// Direction of that strain from +x, rad.
    pub direction_rad: f64,
    /// Normal strain along the track, where it has a centre line.
    pub along_track: Option<f64>,
    /// The same strain in the unloaded shape.
    pub unloaded_strain: f64,
    /// Range of the normal strain over the swing (largest over directions), where there is one.
    pub swing_range: Option<f64>,
    /// Set when the place is singular: the strain is then a mean over half a disc.
    pub singular: Option<SingularKind>,
    /// Radius of that half-disc, m.
    pub mean_radius_m: Option<f64>,
    /// Strain is indicative only: the track is narrower than about three thicknesses across.
    pub indicative: bool,
    /// Remark for the reader, empty if none.
    pub note: String,
}

/// Worst spot with the copper modulus at both ends of its span.
#[derive(Debug, Clone, Default, Serialize)]
pub struct ModulusSpan {
    /// Copper of the worst spot.
    pub material: String,
    /// Moduli, Pa: low end, value used, high end.
    pub modulus_pa: [f64; 3],
    /// Ranking strain at the worst spot for each.
    pub strain: [f64; 3],
    /// Flap angle for each, rad.
    pub flap_angle_rad: Option<[f64; 3]>,
    /// Triangles of the mesh on which the ratios were found.
    pub triangles: u32,
}

/// Largest strain of a layer other than copper against its own elongation.
#[derive(Debug, Clone, Default, Serialize)]
pub struct ElongationCheck {
    /// Layer.
    pub layer: String,
    /// Material.
    pub material: String,
    /// Face.
    pub face: Face,
    /// Where, m.
    pub x_m: f64,
    /// Where, m.
    pub y_m: f64,
    /// Mechanical normal strain of largest magnitude over directions and both faces, signed.
    pub strain: f64,
    /// Uncertainty of it.
    pub strain_error: f64,
    /// Elongation at break, where known.
    pub elongation: Option<f64>,
    /// Strain over elongation.
    pub share: Option<f64>,
    /// Remark ("a crack here lies above track 'supply plus'"), empty if none.
    pub note: String,
}

/// How good the linear solve is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Accuracy {
    /// Relative size of the first correction: what one plain solve was worth.
    pub first_correction: f64,
    /// Relative size of the last correction, made or foretold from the residual.
    pub last_correction: f64,
    /// Good decimal digits of the displacements.
    pub digits: f64,
    /// Corrections made.
    pub corrections: u32,
    /// Largest difference between loads and reactions over the largest load (or reaction).
    pub balance: f64,
}

/// Facts about a mesh.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct MeshFacts {
    /// Nodes.
    pub nodes: u32,
    /// Triangles.
    pub triangles: u32,
    /// Unknowns solved for.
    pub unknowns: u32,
    /// Smallest angle, degrees.
    pub min_angle_deg: f64,
    /// Shortest side, m.
    pub shortest_m: f64,
    /// Longest side, m.
    pub longest_m: f64,
    /// Narrow corners where an edge of the plan was moved so that no triangle is needlessly narrow.
    pub moved_corners: u32,
    /// Largest such move, m.
    pub moved_most_m: f64,
    /// Place of the largest move, m.
    pub moved_at_m: Point,
    /// Places where points hardly apart became one, in words.
    pub merged: Vec<String>,
    /// False when a cap or the geometry stopped the refinement early.
    pub complete: bool,
    /// Height of the solver's reference plane above z = 0, m.
    pub reference_z_m: f64,
}

/// One pass of the refinement.
#[derive(Debug, Clone, Default, Serialize)]
pub struct SettlePass {
    /// Triangles.
    pub triangles: u32,
    /// Ranking strain of the worst spot.
    pub top_strain: f64,
    /// Largest relative change of the top spots since the pass before.
    pub change: Option<f64>,
    /// Energy error relative to the energy.
    pub energy_error: f64,
}

/// Refinement until the spots settled.
#[derive(Debug, Clone, Default, Serialize)]
pub struct SettleHistory {
    /// Passes in order.
    pub passes: Vec<SettlePass>,
    /// Wished relative change.
    pub tolerance: f64,
    /// Reached.
    pub settled: bool,
    /// Why it stopped ("within 1 %", "most triangles reached", ...).
    pub stopped: String,
    /// What to do about it.
    pub remedy: String,
}

/// Mesh and displacements of one answer.
#[derive(Debug, Clone, Default)]
pub struct Shape {
    /// Nodes of the flat board, m.
    pub points_m: Vec<Point>,
    /// Corners of the triangles.
    pub triangles: Vec<[u32; 3]>,
    /// Zone of each triangle.
    pub zone_of: Vec<u32>,
    /// Displacements and rotations per node, loaded state: u, v, w (m), tx, ty, tz (rad).
    pub loaded: Vec<[f64; 6]>,
    /// The same, unloaded state.
    pub unloaded: Vec<[f64; 6]>,
    /// Nodal loads of the loaded state: N, N m.
    pub load: Vec<[f64; 6]>,
    /// Total thickness per triangle, m.
    pub thickness_m: Vec<f64>,
    /// Relative energy error per triangle, 0 to 1 (share of the largest).
    pub error_share: Vec<f64>,
    /// Generalised strains at the triangles' corners, loaded: ex, ey, gxy, kx, ky (1/m), kxy, about the reference plane.
    pub strains: Vec<[[f64; 6]; 3]>,
}

/// Strain of one face of one copper layer.
#[derive(Debug, Clone, Default)]
pub struct StrainMap {
    /// Layer.
    pub layer: String,
    /// Index of the layer from the bottom.
    pub layer_index: u32,
    /// Face.
    pub face: Face,
    /// Triangles of [`Shape`] that carry this layer.
    pub triangles: Vec<u32>,
    /// Height of the face per such triangle, m above z = 0.
    pub z_m: Vec<f64>,
    /// Ranking strain at the three corners of each such triangle (smooth inside a zone, may jump between zones).
    pub ranking: Vec<[f64; 3]>,
    /// Mechanical strain exx, eyy, gxy at the three corners.
    pub components: Vec<[[f64; 3]; 3]>,
    /// Part of coil turns that are not ranked (drawn paler).
    pub unranked: Vec<bool>,
}

/// One piece of layout advice of the trade: never a verdict.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Advice {
    /// Short name of the rule.
    pub rule: String,
    /// Where on the board.
    pub place: String,
    /// What was found, with the value.
    pub found: String,
    /// What the trade advises.
    pub advice: String,
    /// Who says so.
    pub source: String,
    /// Place to look at, m, where one can be pointed at.
    pub at_m: Option<Point>,
}
