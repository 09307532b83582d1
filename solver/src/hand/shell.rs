//! The shell's figures that stand beside estimates and claims.

use crate::beam::answer::BeamFrequency;
use crate::beam::compare::middle_strain;
use crate::error::SolveError;
use crate::model::{Hinge, board_model, flap_motion};
use crate::modes::{ModeWishes, modes};
use crate::result::{BendAnswer, BendReport};
use copperbend_mesh::board::Board;
use copperbend_mesh::triangulate::board_mesh;

/// What the shell says.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ShellFacts {
    /// Flap angle and roll under all loads, rad.
    pub angle_rad: Option<f64>,
    /// Roll, rad.
    pub roll_rad: Option<f64>,
    /// Lift of the far end, m.
    pub tip_lift_m: f64,
    /// Springs seen at the flap.
    pub moment_nm_per_rad: Option<f64>,
    /// Force per lift of the flap's middle, N/m.
    pub force_n_per_m: Option<f64>,
    /// Moment about the arm direction per roll.
    pub roll_nm_per_rad: Option<f64>,
    /// Normal force of the magnets per ampere, N/A.
    pub force_per_ampere_n: Option<f64>,
    /// Torque about the hinge line per ampere, N m/A.
    pub torque_per_ampere_nm: Option<f64>,
    /// Flap angle per ampere by the drive alone, rad/A.
    pub angle_per_ampere_rad: Option<f64>,
    /// Worst strain of the copper, magnitude.
    pub worst_strain: Option<f64>,
    /// Copper strain at mid-arm, magnitude.
    pub middle_strain: Option<f64>,
    /// Frequencies flat at rest, without air.
    pub frequencies: Vec<BeamFrequency>,
}

/// Reads a report of `bend` and finds the frequencies of the same board.
///
/// # Errors
/// Those of the modes.
pub fn shell_facts(
    board: &Board,
    report: &BendReport,
    answer: &BendAnswer,
) -> Result<ShellFacts, SolveError> {
    let drive = report.drive.as_ref().filter(|d| d.current_a != 0.0);
    let spring = answer.spring.as_ref();
    Ok(ShellFacts {
        angle_rad: answer.loaded.flap_angle_rad,
        roll_rad: answer.loaded.roll_angle_rad,
        tip_lift_m: answer.loaded.tip_m[2],
        moment_nm_per_rad: spring.map(|s| s.moment_nm_per_rad),
        force_n_per_m: spring.map_or_else(|| tip_spring(board, answer), |s| Some(s.force_n_per_m)),
        roll_nm_per_rad: spring.map(|s| s.roll_nm_per_rad),
        force_per_ampere_n: drive.map(|d| d.force_n[2] / d.current_a),
        torque_per_ampere_nm: drive.map(|d| d.torque_constant_nm_per_a),
        angle_per_ampere_rad: drive
            .zip(spring.and_then(|s| s.drive_nm_per_rad))
            .map(|(d, k)| d.torque_constant_nm_per_a / k),
        worst_strain: answer.spots.first().map(|s| s.strain.abs()),
        middle_strain: middle_strain(board, answer),
        frequencies: frequencies(board, answer)?,
    })
}

/// Force over lift where one force across the tip is all that acts.
fn tip_spring(board: &Board, answer: &BendAnswer) -> Option<f64> {
    let lift = answer.loaded.tip_m[2];
    let alone = board.loads.len() == 1
        && board.gravity_m_s2.iter().all(|g| g.abs() <= 0.0)
        && board.current.is_none();
    (alone && lift != 0.0).then(|| answer.loaded.load_n[2] / lift)
}

/// The six lowest frequencies with the kind of motion.
fn frequencies(board: &Board, answer: &BendAnswer) -> Result<Vec<BeamFrequency>, SolveError> {
    let mesh =
        board_mesh(board, &[]).map_err(|e| SolveError::Mesh { what: e.to_string(), remedy: e.remedy })?;
    let own = board_model(board, &mesh, answer.bond)?;
    let found = modes(&own.model, &ModeWishes { count: 6, prove: false, ..ModeWishes::default() })?;
    let hinge = Hinge::of(board);
    let reach = mesh.flat.points_m.iter().map(|&p| hinge.along_m(p)).fold(1e-6, f64::max);
    let named = |m: &crate::modes::Mode| {
        let motion = flap_motion(board, &mesh, &hinge, &m.shape);
        let kind = motion.map_or("swing", |f| {
            let aside = -f.centre_m[0] * hinge.along[1] + f.centre_m[1] * hinge.along[0];
            let parts = [f.centre_m[2].powi(2), (f.roll_rad * 0.5 * reach).powi(2), aside.powi(2)];
            let most = (0..3).max_by(|&a, &b| parts[a].total_cmp(&parts[b])).unwrap_or(0);
            ["swing", "roll", "in plane"][most]
        });
        BeamFrequency { frequency_hz: m.frequency_hz, kind: kind.to_owned() }
    };
    Ok(found.modes.iter().map(named).collect())
}
