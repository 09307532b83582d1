//! Limits, warnings, cautions, and what the model of the driven swing leaves out.

use crate::bend::cautions;
use crate::result::{DriveAnswer, DriveReport, LimitCheck, Remark};
use copperbend_mesh::board::Board;

/// Roll over swing at the largest swing from which it is worth a word.
const ROLLS: f64 = 0.10;

pub(super) fn fill(board: &Board, report: &mut DriveReport) {
    let mut checks = Vec::new();
    let mut check = |what: &str, unit: &str, limit: Option<f64>, value: f64| {
        if let Some(limit) = limit {
            checks.push(LimitCheck {
                what: what.into(),
                unit: unit.into(),
                limit,
                value,
                exceeded: value > limit,
            });
        }
    };
    let rows = || report.answers.iter().flat_map(|a| &a.sweep).filter(|r| r.stable != Some(false));
    let most = |of: fn(&crate::result::DriveRow) -> f64| rows().map(of).fold(0.0, f64::max);
    check(
        "copper strain",
        "1",
        board.limits.copper_strain,
        most(|r| 0.5 * (r.strain_range + r.strain_range_error.unwrap_or(0.0))),
    );
    check(
        "flap angle",
        "rad",
        board.limits.flap_angle_rad,
        most(|r| r.extremes_rad[0].abs().max(r.extremes_rad[1].abs())),
    );
    let current = board.current.as_ref().map_or(0.0, |c| c.current_a.abs()) + board.drive.offset_a.abs();
    check("current", "A", board.limits.current_a, current);
    check("power", "W", board.limits.power_w, most(|r| r.power_w.unwrap_or(0.0)));
    report.limits = checks;
    report.warnings = Remark::of_board(board);
    for answer in &report.answers {
        report.warnings.extend(warnings(answer));
    }
    report.cautions = cautions(board);
    report.left_out = left_out();
}

fn warnings(answer: &DriveAnswer) -> Vec<Remark> {
    let mut out = Vec::new();
    let mut warn = |place: &str, text: String, remedy: &str| {
        out.push(Remark { place: place.to_owned(), text, remedy: remedy.to_owned() });
    };
    for stop in &answer.swing.stops {
        warn(
            "swing",
            stop.clone(),
            "swings beyond it are extrapolated and marked; contact itself is not modelled",
        );
    }
    if answer.sweep.iter().any(|r| r.beyond) {
        warn(
            "sweep",
            "some motions reach beyond the followed flap angles: their rows are extrapolated".to_owned(),
            "drive with less current, or move what is in the way",
        );
    }
    if let Some(why) = &answer.slow_lost {
        warn("sweep at 0 Hz", why.clone(), "drive with less current, or move the magnet away");
    }
    if let Some(why) = &answer.sweep_lost {
        warn("sweep over frequency", why.clone(), "the rows before it hold; try fewer steps or less current");
    }
    if let Some(why) = &answer.levels_lost {
        warn("sweep over strength", why.clone(), "the rows before it hold");
    }
    let half = &answer.half_frequency;
    if let Some([low, high]) = half.found_hz {
        let size = half.swing_rad.map_or(String::new(), |s| format!(" of about +-{:.1} deg", s.to_degrees()));
        warn(
            "half frequency",
            format!("between {low:.2} and {high:.2} Hz the flap swings at half the drive frequency{size}"),
            "keep the drive away from twice the natural frequency, drive with less current, or move the magnet so that the torque depends less on the angle",
        );
    } else if half.epsilon > half.threshold {
        warn(
            "half frequency",
            format!(
                "the current changes the stiffness by {:.3} of itself, more than damping holds ({:.3}): near twice the natural frequency the flap may swing at half the drive frequency",
                half.epsilon, half.threshold
            ),
            "keep the drive away from twice the natural frequency",
        );
    }
    if let Some(row) = answer.peak.and_then(|p| answer.sweep.get(p))
        && row.roll_rad > ROLLS * row.swing_rad
    {
        warn(
            "roll",
            format!(
                "at the largest swing the flap rolls by {:.0} % of it",
                100.0 * row.roll_rad / row.swing_rad
            ),
            "centre the coil over the magnet and the arm, or use two arms",
        );
    }
    out
}

fn left_out() -> Vec<String> {
    [
        "walls and magnets near the flap raise the drag of air (by up to five times where they are close)",
        "the copper's resistance is that at 20 degC; a warm coil takes more voltage and more power",
        "eddy currents: their own field; metal parts outside the board; glued bodies, whose metal is not known",
        "roll and the other modes add to the large swing linearly",
        "contact, play in the clamp, loss in glue under the board's holder",
        "steps that a square wave excites beyond the harmonics kept",
    ]
    .map(str::to_owned)
    .to_vec()
}
