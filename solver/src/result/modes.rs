//! What `modes` found out: frequencies with their errors, names, shares, strain of the copper.

use super::{BoardSummary, BondLimit, Caution, Face, Remark, Shape};
use serde::Serialize;

/// Everything that `modes` found out.
#[derive(Debug, Clone, Default, Serialize)]
pub struct ModesReport {
    /// Title of the design.
    pub title: String,
    /// The board as understood.
    pub summary: BoardSummary,
    /// Density of the air, kg/m3; None in vacuum.
    pub air_density_kg_m3: Option<f64>,
    /// Direct current about which the modes were taken, A.
    pub current_a: f64,
    /// One answer, or two when a stiffener is held by a tape: bonded, then sliding.
    pub answers: Vec<ModesAnswer>,
    /// What to look at before trusting the figures.
    pub warnings: Vec<Remark>,
    /// Safety cautions due for this design.
    pub cautions: Vec<Caution>,
    /// What the model leaves out, one line each.
    pub left_out: Vec<String>,
}

/// Modes under one bond limit.
#[derive(Debug, Clone, Default, Serialize)]
pub struct ModesAnswer {
    /// How tapes were taken.
    pub bond: BondLimit,
    /// Elements of the layered beams; None: by the shell.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beam_elements: Option<u32>,
    /// Flap angle of the state about which the board vibrates, rad; None without a flap.
    pub flap_angle_rad: Option<f64>,
    /// Ways in which the state gives way (negative eigenvalues of its stiffness); 0 for a stable state.
    pub unstable: u32,
    /// The modes, lowest first.
    pub modes: Vec<ModeFacts>,
    /// Modes below a frequency by the signs of the factor, and modes found there; None where too few were asked for.
    pub counted: Option<[u32; 2]>,
    /// Mass of air that moves with each part as a whole, kg.
    pub air: Vec<AirFacts>,
    /// Stiffness of the flap and its roll, by static loads on the same factor.
    pub stance: Option<StanceFacts>,
    /// Triangles.
    pub triangles: u32,
    /// Unknowns.
    pub unknowns: u32,
    /// Seconds for eigenvalues and residuals.
    #[serde(skip)]
    pub seconds: f64,
    /// Mesh, and the state about which the board vibrates as the loaded one.
    #[serde(skip)]
    pub shape: Shape,
    /// Displacements and rotations per node of each mode, of unit modal mass (kg).
    #[serde(skip)]
    pub shapes: Vec<Vec<[f64; 6]>>,
    /// Triangles that carry copper, for pictures.
    #[serde(skip)]
    pub copper: Vec<bool>,
}

/// Air that moves with one part.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct AirFacts {
    /// Part.
    pub part: String,
    /// Sides of the rectangle it was taken for, longer first, m.
    pub sides_m: [f64; 2],
    /// Added mass when it moves as a whole, kg.
    pub mass_kg: f64,
}

/// Static stiffness of the flap.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct StanceFacts {
    /// Moment about the hinge line per swing, N m/rad.
    pub swing_nm_per_rad: f64,
    /// Moment about the arm direction per roll, N m/rad.
    pub roll_nm_per_rad: f64,
    /// Roll per swing of a normal force 1 mm beside the flap's middle: roll over swing.
    pub roll_per_swing_1_mm_aside: f64,
}

/// How a mode moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ModeKind {
    /// The flap turns about a line behind it: the motion that is driven.
    #[default]
    Swing,
    /// The flap turns about a line through itself, the arms bend in an S.
    SecondBend,
    /// The flap turns about the arm direction.
    Roll,
    /// The flap moves or turns in its own plane.
    Sideways,
    /// The flap itself bends.
    FlapPlate,
    /// The arms bend, the flap stands almost still.
    ArmBend,
    /// The arms twist, the flap stands almost still.
    ArmTwist,
    /// The whole board without arms or flap to tell apart.
    Board,
}

impl ModeKind {
    /// Words for tables.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Swing => "swing",
            Self::SecondBend => "second bend",
            Self::Roll => "roll",
            Self::Sideways => "sideways",
            Self::FlapPlate => "flap plate",
            Self::ArmBend => "arms bend",
            Self::ArmTwist => "arms twist",
            Self::Board => "board",
        }
    }
}

/// Shares of the kinetic energy; they sum to 1.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct ModeShares {
    /// Flap as a rigid plate: up and down, and turning about the hinge direction.
    pub swing: f64,
    /// Flap turning about the arm direction.
    pub roll: f64,
    /// Flap moving or turning in its plane.
    pub sideways: f64,
    /// Flap bending.
    pub flap_plate: f64,
    /// Arms bending.
    pub arm_bend: f64,
    /// Arms twisting.
    pub arm_twist: f64,
    /// Everything else.
    pub rest: f64,
}

/// One mode.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct ModeFacts {
    /// Number, 1 = lowest.
    pub number: u32,
    /// How it moves, by the largest share.
    pub kind: ModeKind,
    /// In words ("swing", "roll", "second arms bend", "gives way: swing").
    pub name: String,
    /// Frequency in air (or in vacuum, if that was asked for), Hz; 0 for a motion that gives way.
    pub frequency_hz: f64,
    /// Mesh error of the frequency, estimated from the strain energy of recovered less raw strain, Hz.
    pub frequency_error_hz: f64,
    /// Frequency without air, same shape, Hz.
    pub vacuum_hz: f64,
    /// Square of the angular frequency, (rad/s)^2; negative for a motion that gives way.
    pub eigenvalue_rad2_s2: f64,
    /// Relative residual of the eigenpair, by a solve with full digits.
    pub residual: f64,
    /// Shares of the kinetic energy.
    pub shares: ModeShares,
    /// Swing of the flap per unit of the modal coordinate (modal mass 1 kg), rad.
    pub swing_rad: f64,
    /// Roll of the flap per unit of the modal coordinate, rad.
    pub roll_rad: f64,
    /// Roll over swing; None where the swing is less than a hundredth of the flap's turn.
    pub roll_per_swing: Option<f64>,
    /// Largest displacement per unit of the modal coordinate, m.
    pub largest_m: f64,
    /// Mass that moves with the largest displacement, kg: modal mass over its square.
    pub mass_at_largest_kg: f64,
    /// Share of air in the modal mass.
    pub air_share: f64,
    /// Worst copper strain.
    pub strain: Option<ModeSpot>,
}

/// Worst copper strain of a mode.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct ModeSpot {
    /// Ranking strain per degree of the flap's swing; None where the flap hardly swings.
    pub per_swing_degree: Option<f64>,
    /// Ranking strain per degree of the flap's whole turn.
    pub per_turn_degree: Option<f64>,
    /// Ranking strain per 0.1 mm of the largest displacement.
    pub per_tenth_mm: f64,
    /// Uncertainty of either, relative; None: not estimated (layered beams).
    pub relative_error: Option<f64>,
    /// Track or pour.
    pub track: String,
    /// Layer.
    pub layer: String,
    /// Face of the copper.
    pub face: Face,
    /// Where, m, on the board at rest.
    pub x_m: f64,
    /// Where, m, on the board at rest.
    pub y_m: f64,
    /// Nearest named feature.
    pub near: String,
    /// Distance to it, m.
    pub near_m: f64,
    /// The strain is a mean about a singular place.
    pub mean: bool,
}
