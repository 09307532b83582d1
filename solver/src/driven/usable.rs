//! Usable speed: up to which frequency every limit holds, and which fails first.
//!
//! In: rows of the sweep, limits of the user or their defaults. Out: [`Usable`]. Absent: life (strain has its own limit).

use crate::result::{DriveAnswer, DriveRow, SpeedLimit, Usable};
use copperbend_mesh::board::Board;

/// Largest roll over swing where none is wished.
const ROLL: f64 = 0.10;

/// A limit on one row.
struct Limit<'l> {
    name: &'static str,
    words: String,
    default: bool,
    holds: Box<dyn Fn(&DriveRow) -> bool + 'l>,
}

/// Judges the rows.
pub(super) fn fill(board: &Board, out: &mut DriveAnswer) {
    let rows: Vec<DriveRow> =
        out.sweep.iter().filter(|r| r.asked && r.stable != Some(false)).cloned().collect();
    let wished = board.drive.swing_rad.or_else(|| rows.first().map(|r| r.swing_rad * (1.0 - 1e-6)));
    let mut limits = Vec::new();
    if let Some(wished) = wished {
        limits.push(Limit {
            name: "swing reached",
            words: format!("at least +-{:.3} deg", wished.to_degrees()),
            default: board.drive.swing_rad.is_none(),
            holds: Box::new(move |r| r.swing_rad >= wished),
        });
    }
    let roll = board.drive.roll.unwrap_or(ROLL);
    limits.push(Limit {
        name: "roll",
        words: format!("at most {:.1} % of the swing", 100.0 * roll),
        default: board.drive.roll.is_none(),
        holds: Box::new(move |r| r.roll_rad <= roll * r.swing_rad),
    });
    if let Some(strain) = board.limits.copper_strain {
        limits.push(Limit {
            name: "copper strain",
            words: format!("range at most {:.0} um/m (twice the limit of {:.0})", 2e6 * strain, 1e6 * strain),
            default: false,
            holds: Box::new(move |r| r.strain_range + r.strain_range_error.unwrap_or(0.0) <= 2.0 * strain),
        });
    }
    if let Some(power) = board.limits.power_w {
        limits.push(Limit {
            name: "power",
            words: format!("at most {:.3} mW", 1e3 * power),
            default: false,
            holds: Box::new(move |r| r.power_w.is_none_or(|p| p <= power)),
        });
    }
    if let Some(angle) = board.limits.flap_angle_rad {
        limits.push(Limit {
            name: "flap angle",
            words: format!("at most {:.2} deg from flat", angle.to_degrees()),
            default: false,
            holds: Box::new(move |r| r.extremes_rad.iter().all(|a| a.abs() <= angle)),
        });
    }
    let [low, high] = out.swing.followed_rad;
    if !out.swing.stops.is_empty() {
        limits.push(Limit {
            name: "clear of everything",
            words: format!("between {:.1} and {:.1} deg", low.to_degrees(), high.to_degrees()),
            default: true,
            holds: Box::new(|r| !r.beyond),
        });
    }
    out.usable = judged(&rows, &limits, out);
}

fn judged(rows: &[DriveRow], limits: &[Limit<'_>], out: &DriveAnswer) -> Usable {
    let all = |r: &DriveRow| limits.iter().all(|l| (l.holds)(r));
    let last = rows
        .iter()
        .filter(|r| all(r))
        .map(|r| r.frequency_hz)
        .fold(None, |m: Option<f64>, f| Some(m.map_or(f, |m| m.max(f))));
    let told = limits.iter().map(|l| {
        let holds_to_hz = rows.iter().filter(|r| (l.holds)(r)).map(|r| r.frequency_hz).reduce(f64::max);
        let below = holds_to_hz.unwrap_or(0.0);
        let fails: Vec<f64> =
            rows.iter().filter(|r| !(l.holds)(r) && r.frequency_hz < below).map(|r| r.frequency_hz).collect();
        let ends = [f64::min, f64::max].map(|of: fn(f64, f64) -> f64| fails.iter().copied().reduce(of));
        SpeedLimit {
            name: l.name.to_owned(),
            limit: l.words.clone(),
            default: l.default,
            holds_to_hz,
            fails_hz: ends[0].zip(ends[1]).map(|(a, b)| [a, b]),
        }
    });
    let beyond = |f: f64| {
        let next = rows
            .iter()
            .filter(|r| r.frequency_hz > f)
            .min_by(|a, b| a.frequency_hz.total_cmp(&b.frequency_hz));
        next.map(|r| limits.iter().filter(|l| !(l.holds)(r)).map(|l| l.name).collect::<Vec<_>>())
    };
    let unstable =
        out.sweep.iter().any(|r| r.stable == Some(false) && last.is_some_and(|f| r.frequency_hz > f));
    let binds = match last.map(beyond) {
        None => {
            let never: Vec<&str> =
                limits.iter().filter(|l| !rows.iter().any(|r| (l.holds)(r))).map(|l| l.name).collect();
            if never.is_empty() {
                "no frequency meets all limits together".to_owned()
            } else {
                never.join(", ")
            }
        }
        Some(Some(names)) if !names.is_empty() => names.join(", "),
        Some(_) if unstable => "stability".to_owned(),
        Some(_) if out.sweep_lost.is_some() => {
            let struck =
                if rows.iter().any(|r| r.beyond) { ", the flap striking what ends its swing" } else { "" };
            format!("the steady motion is lost there{struck}: less current, or more room to swing")
        }
        Some(_) => "none inside the sweep: raise `to`".to_owned(),
    };
    Usable { frequency_hz: last, binds, limits: told.collect() }
}
