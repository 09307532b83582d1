//! The command line as typed: verbs and their options, nothing else.

mod life;

pub(crate) use life::{Life, Plan, Reliability, Rig};

use clap::{Args, Parser, Subcommand, ValueEnum};
use copperbend_mesh::quantity;
use std::path::PathBuf;

/// Predicts how the arms of a flexible-circuit actuator bend and where their copper cracks.
///
/// Exit codes: 0 done; 1 done, but a limit written in the design is exceeded or a published problem is missed;
/// 2 error; 130 stopped with Ctrl-C.
#[derive(Debug, Clone, Parser)]
#[command(name = "copperbend", version, propagate_version = true, max_term_width = 100)]
pub(crate) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub(crate) verb: Verb,
    /// Threads to work with; default: one per processor.
    #[arg(long, global = true, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub(crate) threads: Option<u16>,
}

/// The verbs.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum Verb {
    /// Bend the board under its loads: deflection, force, torque, copper strain and the spots that will crack.
    Bend(Bend),
    /// Find the natural modes in air about the loaded state: frequencies, names, shapes, copper strain per degree.
    Modes(Modes),
    /// Drive the flap with an alternating current in air: swing, lag, damping, strain range, usable speed.
    Drive(Drive),
    /// Fit a measured free decay or resonance: damping and drag with their spread, beside those of a design.
    Damping(Damping),
    /// Show the board as understood, and layout advice of the trade.
    Check(Check),
    /// Draw the zones and triangles.
    Mesh(Mesh),
    /// Write stiffness, mass and load of the board as Matrix Market files.
    Matrices(Matrices),
    /// Set, steady loop and life of the copper: cycles and flexes to crack, by spot and for the board.
    Life(Life),
    /// Fit the lives of tested samples, survivors included, and say what they prove.
    Reliability(Reliability),
    /// Plan a durability test: samples, length, what failures would prove, cost.
    Plan(Plan),
    /// Read an endurance rig's log: corrected resistance, alarms, flexes, failures.
    Rig(Rig),
    /// Solve problems with published answers on this machine.
    Verify(Verify),
    /// Hand estimates (stack, stiffness, coil, frequency, root strain, bend radius) beside beam and shell.
    Hand(Hand),
    /// Judge your own results: agree, or differ by how much and most likely why. Exit code 1 if any differs.
    Claims(Claims),
    /// Run thousands of variants of a design by the fast beam model into one CSV table.
    Vary(Vary),
    /// Write the JSON Schema of the design file, for editors.
    Schema(Schema),
}

/// A design file and where results go.
#[derive(Debug, Clone, Args)]
pub(crate) struct InOut {
    /// Design file (TOML).
    #[arg(value_name = "DESIGN")]
    pub(crate) design: PathBuf,
    /// Folder for the results, made if need be; default: beside the design file, named after it and the verb.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) out: Option<PathBuf>,
}

/// Options of `bend`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Bend {
    /// Files.
    #[command(flatten)]
    pub(crate) files: InOut,
    /// Strain at the ends of the maps' colour bar, in microstrain (um/m), so that maps of several runs compare;
    /// default: from the worst spot.
    #[arg(long, value_name = "MICROSTRAIN", value_parser = positive)]
    pub(crate) scale: Option<f64>,
    /// Faces of the copper on the maps.
    #[arg(long, value_enum, default_value_t = MapFaces::Worse)]
    pub(crate) faces: MapFaces,
    /// Spots to list.
    #[arg(long, value_name = "N", default_value_t = 12, value_parser = clap::value_parser!(u32).range(1..=500))]
    pub(crate) spots: u32,
    /// What to leave out for speed.
    #[command(flatten)]
    pub(crate) leave_out: LeaveOut,
    /// Model: the shell; layered beams, thousands of times faster; or both side by side.
    #[arg(long, value_enum, default_value_t = ModelWord::Shell)]
    pub(crate) model: ModelWord,
    /// What the beams take for granted.
    #[command(flatten)]
    pub(crate) beams: BeamOptions,
}

/// What layered beams take for granted.
#[derive(Debug, Clone, Copy, Args)]
pub(crate) struct BeamOptions {
    /// Beams: the flap bends as a wide beam; default: it is rigid.
    #[arg(long)]
    pub(crate) elastic_flap: bool,
    /// Beams: the ends of the arms may warp; default: clamp and flap hold it back, which stiffens the twist.
    #[arg(long)]
    pub(crate) free_warping: bool,
}

/// Models of a board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ModelWord {
    /// Layered shell: strain at every place, the answer to trust.
    Shell,
    /// Layered beams joined to the flap: milliseconds.
    Beam,
    /// The shell, and the beam beside it with ratios and reasons.
    Both,
}

/// What `bend` may leave out.
#[derive(Debug, Clone, Copy, Args)]
pub(crate) struct LeaveOut {
    /// One mesh only: do not refine until the spots settle.
    #[arg(long)]
    pub(crate) one_mesh: bool,
    /// Do not run the worst spot again with the copper modulus at both ends of its span.
    #[arg(long)]
    pub(crate) no_modulus_span: bool,
    /// Do not follow the swing of a driven flap through large angles.
    #[arg(long)]
    pub(crate) no_swing: bool,
    /// Draw no pictures.
    #[arg(long)]
    pub(crate) no_pictures: bool,
}

/// Faces of a copper layer on the maps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum MapFaces {
    /// One map a layer: at every place the face with the larger magnitude.
    Worse,
    /// Two maps a layer: lower and upper face.
    Each,
}

/// Options of `modes`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Modes {
    /// Files.
    #[command(flatten)]
    pub(crate) files: InOut,
    /// Modes wanted.
    #[arg(long, value_name = "N", default_value_t = 8, value_parser = clap::value_parser!(u16).range(1..=200))]
    pub(crate) count: u16,
    /// Direct current through the board: "30 mA"; the modes are those about the state it holds.
    #[arg(long, value_name = "CURRENT", value_parser = current, allow_hyphen_values = true)]
    pub(crate) current: Option<f64>,
    /// Without the mass of the air.
    #[arg(long)]
    pub(crate) vacuum: bool,
    /// Model: the shell; layered beams, the fast model; or both side by side.
    #[arg(long, value_enum, default_value_t = ModelWord::Shell)]
    pub(crate) model: ModelWord,
    /// What the beams take for granted.
    #[command(flatten)]
    pub(crate) beams: BeamOptions,
    /// Put another design's swing and roll beside this one's: one arm against two, say.
    #[arg(long, value_name = "DESIGN")]
    pub(crate) against: Option<PathBuf>,
    /// Draw no pictures.
    #[arg(long)]
    pub(crate) no_pictures: bool,
}

/// Options of `drive`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Drive {
    /// Files.
    #[command(flatten)]
    pub(crate) files: InOut,
    /// Lowest drive frequency, Hz; default: of the design, else a fifth of the natural one. 0: the slow drive, in balance
    /// at every instant, comes first.
    #[arg(long, value_name = "HZ", value_parser = from_zero)]
    pub(crate) from: Option<f64>,
    /// Highest drive frequency, Hz; default: of the design, else two and a half times the natural one.
    #[arg(long, value_name = "HZ", value_parser = positive)]
    pub(crate) to: Option<f64>,
    /// Drive frequencies; default: of the design, else 60.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(2..=2000))]
    pub(crate) points: Option<u32>,
    /// Model: the shell; layered beams, the fast model; or both side by side.
    #[arg(long, value_enum, default_value_t = ModelWord::Shell)]
    pub(crate) model: ModelWord,
    /// What the beams take for granted.
    #[command(flatten)]
    pub(crate) beams: BeamOptions,
    /// Follow start and stop in time too: this many periods with the drive, as many without.
    #[arg(long, value_name = "PERIODS", value_parser = clap::value_parser!(u32).range(1..=2000))]
    pub(crate) start: Option<u32>,
    /// Follow a shock in time too: peak in g and length in ms of a half sine across the board, such as "50,1".
    #[arg(long, value_name = "G,MS", value_parser = shock, allow_hyphen_values = true)]
    pub(crate) shock: Option<[f64; 2]>,
    /// Draw no picture.
    #[arg(long)]
    pub(crate) no_pictures: bool,
}

/// Options of `damping`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Damping {
    /// Record (CSV) with the heading `time_s,angle_deg` or `frequency_hz,swing_deg`.
    #[arg(value_name = "RECORD")]
    pub(crate) record: PathBuf,
    /// Design file (TOML) of the board that was measured.
    #[arg(long, value_name = "DESIGN")]
    pub(crate) design: Option<PathBuf>,
}

/// Options of `check`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Check {
    /// Design file (TOML).
    #[arg(value_name = "DESIGN")]
    pub(crate) design: PathBuf,
    /// Show the stack at a point of the board, in mm: "8.5,0.3"; may be repeated.
    #[arg(long, value_name = "X,Y", value_parser = point, allow_hyphen_values = true)]
    pub(crate) at: Vec<[f64; 2]>,
}

/// Options of `mesh`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Mesh {
    /// Files.
    #[command(flatten)]
    pub(crate) files: InOut,
}

/// Options of `matrices`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Matrices {
    /// Files.
    #[command(flatten)]
    pub(crate) files: InOut,
    /// How stiffeners on a tape are taken.
    #[arg(long, value_enum, default_value_t = Tape::AsWritten)]
    pub(crate) tape: Tape,
}

/// How stiffeners on a tape are taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Tape {
    /// By the design file and the tape's glass point.
    AsWritten,
    /// Stiff in shear.
    Bonded,
    /// Free of shear.
    Sliding,
}

/// Options of `hand`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Hand {
    /// Files.
    #[command(flatten)]
    pub(crate) files: InOut,
    /// Leave the shell out: an answer in milliseconds.
    #[arg(long)]
    pub(crate) no_shell: bool,
}

/// Options of `claims`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Claims {
    /// Files.
    #[command(flatten)]
    pub(crate) files: InOut,
    /// Your results: CSV with the columns quantity, value, unit, tolerance, `x_mm`, `y_mm`, layer, or TOML
    /// with `[[claim]]` tables.
    #[arg(value_name = "CLAIMS")]
    pub(crate) claims: PathBuf,
    /// Leave the shell out: the beam judges alone.
    #[arg(long)]
    pub(crate) no_shell: bool,
}

/// Options of `vary`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Vary {
    /// Files.
    #[command(flatten)]
    pub(crate) files: InOut,
    /// A value and its range: "layer[copper top].thickness = 9 um .. 35 um : 100" takes 100 values, ends included.
    /// May be repeated: every value of one with every value of the others.
    #[arg(long, value_name = "PATH = FROM .. TO : COUNT", required = true)]
    pub(crate) change: Vec<String>,
    /// Leave frequencies out.
    #[arg(long)]
    pub(crate) no_frequencies: bool,
    /// What the beams take for granted.
    #[command(flatten)]
    pub(crate) beams: BeamOptions,
}

/// Options of `verify`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Verify {
    /// Only problems whose name contains this.
    #[arg(value_name = "NAME")]
    pub(crate) only: Option<String>,
}

/// Options of `schema`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Schema {
    /// File to write; default: the screen.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

pub(super) fn positive(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if v.is_finite() && v > 0.0 => Ok(v),
        _ => Err("a number above zero is needed, such as 3000".to_owned()),
    }
}

fn from_zero(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if v.is_finite() && v >= 0.0 => Ok(v),
        _ => Err("a number from zero up is needed, such as 5".to_owned()),
    }
}

fn current(text: &str) -> Result<f64, String> {
    quantity::parse(text, quantity::Current::DIMENSION).map_err(|e| e.to_string())
}

/// Peak, m/s2, and length, s, of a shock.
fn shock(text: &str) -> Result<[f64; 2], String> {
    const STANDARD_GRAVITY: f64 = 9.806_65;
    let wish = "peak in g and length in ms with a comma between are needed, such as 50,1";
    let (peak, length) = text.split_once(',').ok_or(wish)?;
    match (peak.trim().parse::<f64>(), length.trim().parse::<f64>()) {
        (Ok(g), Ok(ms)) if g.is_finite() && ms.is_finite() && ms > 1e-3 && ms < 1e5 => {
            Ok([g * STANDARD_GRAVITY, ms / 1e3])
        }
        _ => Err(wish.to_owned()),
    }
}

fn point(text: &str) -> Result<[f64; 2], String> {
    let wish = "two numbers in mm with a comma between are needed, such as 8.5,0.3";
    let (x, y) = text.split_once(',').ok_or(wish)?;
    let number = |t: &str| match t.trim().parse::<f64>() {
        Ok(v) if v.is_finite() => Ok(v / 1e3),
        _ => Err(wish.to_owned()),
    };
    Ok([number(x)?, number(y)?])
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn command_line_is_consistent() {
        Cli::command().debug_assert();
    }

    #[test]
    fn points_are_read_in_millimetres() {
        assert_eq!(point("8.5,-0.25"), Ok([8.5e-3, -0.25e-3]), "a plain point");
        assert!(point("8.5").is_err() && point("a,b").is_err() && point("nan,1").is_err(), "no points");
    }

    #[test]
    fn scale_must_be_above_zero() {
        assert!(
            positive("0").is_err() && positive("-3").is_err() && positive("inf").is_err(),
            "not above zero"
        );
        assert_eq!(positive("3000"), Ok(3000.0), "a plain number");
    }
}
