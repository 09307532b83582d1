//! The driven swing in plain data: one row per steady motion, damping share by share, limits, strain ranges.

use super::{BoardSummary, BondLimit, Caution, Face, LimitCheck, Remark};
use serde::Serialize;

/// Everything that `drive` found out.
#[derive(Debug, Clone, Default, Serialize)]
pub struct DriveReport {
    /// Title of the design.
    pub title: String,
    /// The board as understood.
    pub summary: BoardSummary,
    /// One answer, or two when a stiffener is held by a tape: bonded, then sliding.
    pub answers: Vec<DriveAnswer>,
    /// Limits written by the user against what was found.
    pub limits: Vec<LimitCheck>,
    /// What to look at before trusting the figures.
    pub warnings: Vec<Remark>,
    /// Safety cautions due for this design.
    pub cautions: Vec<Caution>,
    /// What the model leaves out, one line each.
    pub left_out: Vec<String>,
}

impl DriveReport {
    /// Whether a limit written by the user is exceeded (exit code 1).
    #[must_use]
    pub fn exceeds_limit(&self) -> bool {
        self.limits.iter().any(|l| l.exceeded)
    }
}

/// The driven swing of one bond limit.
#[derive(Debug, Clone, Default, Serialize)]
pub struct DriveAnswer {
    /// How tape-held stiffeners were taken.
    pub bond: BondLimit,
    /// Elements of the layered beams; None: by the shell.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub beam_elements: Option<u32>,
    /// The drive.
    pub source: DriveSource,
    /// Amplitudes of the reduced board: the swing first, the static answer to the coil last.
    pub basis: Vec<BasisMode>,
    /// The swing as one oscillator.
    pub swing: SwingFacts,
    /// Damping of the swing, share by share.
    pub damping: Vec<DampingShare>,
    /// Stiffness modulated by the current against what damping holds.
    pub half_frequency: HalfFrequency,
    /// Over frequency, ascending where asked; a branch that folds back gives a frequency again.
    pub sweep: Vec<DriveRow>,
    /// Why there is no row at frequency zero where the sweep begins there, in words.
    pub slow_lost: Option<String>,
    /// How the sweep ended, in words; None: at its last frequency.
    pub sweep_lost: Option<String>,
    /// Over the drive's strength, at the frequency of the largest stable swing.
    pub levels: Vec<DriveRow>,
    /// How that ended; None: at full strength.
    pub levels_lost: Option<String>,
    /// Index of the row of the sweep with the largest stable swing inside the followed flap angles (of all, where none
    /// is).
    pub peak: Option<usize>,
    /// Swing at that frequency with the drag coefficient at the ends of its bracket, rad: low drag first.
    pub peak_bracket_rad: Option<[f64; 2]>,
    /// Difference of harmonic balance and steps in time there, relative to the swing.
    pub time_check: Option<f64>,
    /// Usable speed.
    pub usable: Usable,
    /// Places of largest strain range at the largest stable swing, worst first.
    pub spots: Vec<DriveSpot>,
    /// Start and stop, shock, where asked for.
    pub traces: Vec<TimeTrace>,
    /// Triangles of the mesh.
    pub triangles: u32,
    /// Unknowns of the mesh.
    pub unknowns: u32,
    /// Seconds for the modes, their matrices and factor included, and for the sweep over frequency.
    #[serde(skip)]
    pub seconds: [f64; 2],
}

/// A motion in time.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct TimeTrace {
    /// "start and stop" or "shock".
    pub name: String,
    /// Drive frequency, or the swing's own for a shock, Hz.
    pub frequency_hz: f64,
    /// Largest excursion from the flap angle without current, rad.
    pub largest_rad: f64,
    /// Flap angles beyond those followed: extrapolated.
    pub beyond: bool,
    /// Time at which the steps no longer settled, s; None: to the end.
    pub ended_s: Option<f64>,
    /// Points, evenly spaced.
    #[serde(skip)]
    pub points: Vec<TimePoint>,
}

/// One instant.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct TimePoint {
    /// Time, s.
    pub time_s: f64,
    /// Flap angle, rad.
    pub angle_rad: f64,
    /// Roll, rad.
    pub roll_rad: f64,
    /// Current, A.
    pub current_a: f64,
}

/// The drive.
#[derive(Debug, Clone, Default, Serialize)]
pub struct DriveSource {
    /// Form of the wave.
    pub wave: String,
    /// Amplitude of the current, A: forced, or what the voltage drives through the resistance alone.
    pub current_a: f64,
    /// Mean current, A.
    pub offset_a: f64,
    /// Amplitude of the voltage, V, where it drives.
    pub voltage_v: Option<f64>,
    /// Resistance of the path at 20 degC, ohm; None: unknown.
    pub resistance_ohm: Option<f64>,
    /// Inductance of the path, H (estimate).
    pub inductance_h: f64,
    /// Harmonics of the steady motion.
    pub harmonics: u32,
}

/// One amplitude of the reduced board.
#[derive(Debug, Clone, Default, Serialize)]
pub struct BasisMode {
    /// "swing", "mode 2" ..., "static answer to the coil".
    pub name: String,
    /// Natural frequency, Hz.
    pub frequency_hz: f64,
    /// Roll of the flap over its swing in this shape; None where it hardly swings.
    pub roll_per_swing: Option<f64>,
    /// Flap angle by one ampere in this shape alone, at rest, rad/A.
    pub angle_rad_per_a: f64,
    /// Roll by one ampere in this shape alone, at rest, rad/A.
    pub roll_rad_per_a: f64,
}

/// The swing as one oscillator.
#[derive(Debug, Clone, Default, Serialize)]
pub struct SwingFacts {
    /// Natural frequency about the state under weight and heat, without current, Hz, air included.
    pub frequency_hz: f64,
    /// The same of the board flat and without weight, Hz.
    pub flat_frequency_hz: f64,
    /// Share of air in the moving mass.
    pub air_share: f64,
    /// Inertia about the hinge line by the mode, kg m2: modal mass per square of the flap angle.
    pub inertia_kg_m2: f64,
    /// Spring of the swing about that state, N m/rad.
    pub spring_nm_per_rad: f64,
    /// Torque per ampere by the change of flux with the flap angle at rest, N m/A.
    pub torque_nm_per_a: f64,
    /// Change of it with the angle, N m/(rad A).
    pub torque_change_nm_per_rad_a: f64,
    /// Flap angle without current, rad.
    pub rest_angle_rad: f64,
    /// Flap angles followed, rad.
    pub followed_rad: [f64; 2],
    /// Why the way ended early on either side, in words.
    pub stops: Vec<String>,
    /// Energy along the way against the work done, relative to the largest energy.
    pub energy_gap: f64,
}

/// One share of damping.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct DampingShare {
    /// "arms", "air, linear", "air, quadratic", "eddy currents", "induced voltage".
    pub name: String,
    /// Damping ratio of the swing at rest (quadratic drag: at the largest stable swing).
    pub ratio: f64,
    /// Lowest and highest plausible.
    pub span: [f64; 2],
    /// How sure, in words.
    pub basis: String,
    /// Given by the design from a measurement.
    pub measured: bool,
}

/// Half-frequency motion near twice the natural frequency.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct HalfFrequency {
    /// Amplitude of the stiffness change by the current over the stiffness.
    pub epsilon: f64,
    /// Four times the damping ratio at small swings: beyond it the flap at rest gives way to half-frequency motion.
    pub threshold: f64,
    /// Drive frequencies at which it was found, Hz.
    pub found_hz: Option<[f64; 2]>,
    /// Swing of it in the middle of these, rad.
    pub swing_rad: Option<f64>,
}

/// One steady motion.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct DriveRow {
    /// Drive frequency, Hz; 0: so slow that the flap is in balance at every instant.
    pub frequency_hz: f64,
    /// Strength of the alternating part, 1 as designed.
    pub level: f64,
    /// Whether it is one of the asked values.
    pub asked: bool,
    /// Whether small disturbances die out; None: not judged.
    pub stable: Option<bool>,
    /// How it gives way, in words.
    pub gives_way: String,
    /// Swing: half the way between the extremes of the flap angle, rad.
    pub swing_rad: f64,
    /// Amplitude at the drive frequency, rad.
    pub first_rad: f64,
    /// Lag of it behind the drive, rad.
    pub lag_rad: f64,
    /// Mean flap angle, rad.
    pub mean_rad: f64,
    /// Extremes of the flap angle, rad.
    pub extremes_rad: [f64; 2],
    /// Amplitude of the flap's roll, rad.
    pub roll_rad: f64,
    /// Root mean square of the current, A.
    pub current_rms_a: f64,
    /// Mean electrical power, W; None: resistance unknown.
    pub power_w: Option<f64>,
    /// Largest range of the ranking strain in copper.
    pub strain_range: f64,
    /// Uncertainty of it; None: not estimated (layered beams).
    pub strain_range_error: Option<f64>,
    /// Rank of the spot it occurs at, in [`DriveAnswer::spots`].
    pub spot: u32,
    /// Drive periods in which a disturbance falls to one twentieth; None where it does not.
    pub settles_periods: Option<f64>,
    /// Stroke over width of the flap's middle (Keulegan-Carpenter number).
    pub stroke_over_width: f64,
    /// Flap angles beyond those followed: extrapolated.
    pub beyond: bool,
}

/// A place of large strain range.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct DriveSpot {
    /// 1 is the worst.
    pub rank: u32,
    /// Track.
    pub track: String,
    /// Layer.
    pub layer: String,
    /// Face.
    pub face: Face,
    /// Place on the board at rest, m.
    pub x_m: f64,
    /// Place on the board at rest, m.
    pub y_m: f64,
    /// Nearest named thing.
    pub near: String,
    /// Distance to it, m.
    pub near_m: f64,
    /// Range of the ranking strain over one period.
    pub range: f64,
    /// Uncertainty of it from mesh and recovery; None: not estimated (layered beams).
    pub range_error: Option<f64>,
    /// Whether the value is a mean at a singular point.
    pub mean: bool,
}

/// A limit of the usable speed.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct SpeedLimit {
    /// "swing reached", "roll", "copper strain", "power", "stable", "clearance".
    pub name: String,
    /// The limit in words, with its unit.
    pub limit: String,
    /// Taken by default, not written by the user.
    pub default: bool,
    /// Highest asked frequency at which it holds, Hz; None: at none.
    pub holds_to_hz: Option<f64>,
    /// Lowest and highest asked frequency below that at which it does not hold, Hz; None where it holds throughout.
    pub fails_hz: Option<[f64; 2]>,
}

/// Usable speed.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Usable {
    /// Highest drive frequency at which every limit holds, Hz; None: at none.
    pub frequency_hz: Option<f64>,
    /// Which limit is the first to fail beyond it, in words.
    pub binds: String,
    /// The limits.
    pub limits: Vec<SpeedLimit>,
}
