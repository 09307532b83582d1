//! Beam and shell side by side: ratios, and what the beam's assumptions cost.
//!
//! In: the board, the shell's answer. Out: one [`Compared`] per quantity: both values, their ratio, what the beam gives
//! when one assumption is switched at a time, and the assumption that explains most of the difference.
//! Absent: the shell's own uncertainty.

use super::answer::{BeamAnswer, BeamScope, beam};
use super::board::BeamWishes;
use super::section::Across;
use crate::error::SolveError;
use crate::result::BendAnswer;
use copperbend_mesh::board::Board;
use serde::Serialize;

/// One assumption of the beam, switched.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Effect {
    /// In words.
    pub name: &'static str,
    /// Value with the switch over value without.
    pub factor: f64,
}

/// One quantity by both models.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Compared {
    /// What.
    pub quantity: String,
    /// Unit of both values, SI.
    pub unit: &'static str,
    /// By the beam.
    pub beam: f64,
    /// By the shell; None where it was not computed.
    pub shell: Option<f64>,
    /// Shell over beam.
    pub ratio: Option<f64>,
    /// Assumptions that change the value by more than 0.1 %.
    pub effects: Vec<Effect>,
    /// Why they differ, in words; empty within 1 %.
    pub reason: String,
}

/// Difference from which a reason is given.
const WORTH_A_REASON: f64 = 0.01;

/// Name, change of the wishes.
pub(crate) type Switch = (&'static str, fn(&mut BeamWishes));

/// What a beam takes for granted, switched one at a time.
pub(crate) const SWITCHES: [Switch; 4] = [
    ("held curl across (plane strain)", |w| w.across = Across::Flat),
    ("warping free at both ends of the arms", |w| w.warping_held = false),
    ("flap that bends", |w| w.elastic_flap = true),
    ("load over the whole width of wide parts at once", |w| w.spreads = false),
];

/// What a beam leaves out, for the list on the screen.
pub(crate) const LEFT_OUT: &str = "the beams: strain that gathers at corners, steps, holes and clamps; contraction held \
     back at clamps; a flap that bends (`--model both` shows what that costs)";

/// Name, unit, value.
type Reading = (&'static str, &'static str, Option<f64>);

fn readings(a: &BeamAnswer) -> Vec<Reading> {
    vec![
        ("flap angle, all loads", "rad", a.flap_angle_rad),
        ("roll, all loads", "rad", a.roll_angle_rad),
        ("tip lift, all loads", "m", a.flap_angle_rad.is_none().then_some(a.tip_m[2])),
        ("moment per flap angle", "N m/rad", a.moment_nm_per_rad),
        ("force per lift of the flap", "N/m", a.flap_angle_rad.map(|_| a.force_n_per_m)),
        ("roll moment per roll", "N m/rad", a.roll_nm_per_rad),
        ("copper strain at mid-arm", "1", Some(a.middle_strain.abs()).filter(|s| *s > 0.0)),
        ("largest copper strain on the arms", "1", a.strains.first().map(|s| s.strain.abs())),
    ]
}

fn by_shell(board: &Board, a: &BendAnswer) -> Vec<Option<f64>> {
    let spring = a.spring.as_ref();
    let on_arm = |at: [f64; 2]| board.arms.iter().any(|arm| arm.region.contains(at));
    let worst = a.spots.iter().filter(|s| on_arm([s.x_m, s.y_m])).map(|s| s.strain.abs()).reduce(f64::max);
    vec![
        a.loaded.flap_angle_rad,
        a.loaded.roll_angle_rad,
        Some(a.loaded.tip_m[2]),
        spring.map(|s| s.moment_nm_per_rad),
        spring.map(|s| s.force_n_per_m),
        spring.map(|s| s.roll_nm_per_rad),
        middle_strain(board, a),
        worst,
    ]
}

/// Largest ranking strain of the copper on the line across the middle of the first arm.
#[must_use]
pub fn middle_strain(board: &Board, answer: &BendAnswer) -> Option<f64> {
    let arm = board.arms.first()?;
    let run = [arm.tip_m[0] - arm.root_m[0], arm.tip_m[1] - arm.root_m[1]];
    let length = run[0].hypot(run[1]);
    let along = run.map(|r| r / length);
    let middle = [0, 1].map(|i| 0.5 * (arm.root_m[i] + arm.tip_m[i]));
    let side = |p: [f64; 2]| (p[0] - middle[0]) * along[0] + (p[1] - middle[1]) * along[1];
    let mut worst: Option<f64> = None;
    for map in &answer.maps {
        for (&t, corners) in map.triangles.iter().zip(&map.ranking) {
            let points = answer.shape.triangles[t as usize].map(|n| answer.shape.points_m[n as usize]);
            if !points.iter().all(|&p| arm.region.contains(p)) {
                continue;
            }
            for (i, j) in [(0, 1), (1, 2), (2, 0)] {
                let (a, b) = (side(points[i]), side(points[j]));
                if (a > 0.0) != (b > 0.0) {
                    let value = (corners[i] + (corners[j] - corners[i]) * a / (a - b)).abs();
                    worst = Some(worst.map_or(value, |w| w.max(value)));
                }
            }
        }
    }
    worst
}

/// Both models side by side.
///
/// # Errors
/// Those of the beam.
pub fn compare(
    board: &Board,
    wishes: &BeamWishes,
    shell: Option<&BendAnswer>,
) -> Result<(BeamAnswer, Vec<Compared>), SolveError> {
    let own = beam(board, wishes, BeamScope { frequencies: 6 })?;
    let mut switched = Vec::new();
    for (name, change) in SWITCHES {
        let mut other = *wishes;
        change(&mut other);
        switched.push((name, readings(&beam(board, &other, BeamScope { frequencies: 0 })?)));
    }
    let seen = shell.map(|s| by_shell(board, s));
    let mut rows = Vec::new();
    for (n, (quantity, unit, value)) in readings(&own).into_iter().enumerate() {
        let Some(value) = value else { continue };
        let noise =
            quantity == "roll, all loads" && own.flap_angle_rad.is_some_and(|f| value.abs() < 1e-6 * f.abs());
        if noise {
            continue;
        }
        let others: Vec<_> = switched.iter().map(|(name, other)| (*name, other[n].2)).collect();
        let shell = seen.as_ref().and_then(|s| s[n]);
        rows.push(compared(quantity, unit, value, shell, &others));
    }
    Ok((own, rows))
}

/// One row: `others` is the beam's value with one assumption switched at a time.
pub(crate) fn compared(
    quantity: &str,
    unit: &'static str,
    beam: f64,
    shell: Option<f64>,
    others: &[(&'static str, Option<f64>)],
) -> Compared {
    let effects: Vec<Effect> = others
        .iter()
        .filter_map(|&(name, other)| Some(Effect { name, factor: other? / beam }))
        .filter(|e| (e.factor - 1.0).abs() > 1e-3 && e.factor.is_finite())
        .collect();
    let ratio = shell.map(|s| s / beam);
    let reason = ratio.map_or_else(String::new, |r| reason(quantity, r, &effects));
    Compared { quantity: quantity.to_owned(), unit, beam, shell, ratio, effects, reason }
}

/// The assumption that explains most of a ratio.
fn reason(quantity: &str, ratio: f64, effects: &[Effect]) -> String {
    let off = ratio - 1.0;
    if off.abs() < WORTH_A_REASON {
        return String::new();
    }
    if quantity.contains("largest copper strain") && off > 0.0 {
        return "the shell sees steps, corners and held contraction at clamps, where strain gathers; a beam knows the \
                section only"
            .to_owned();
    }
    let same_way = effects.iter().filter(|e| (e.factor - 1.0) * off > 0.0);
    let best = same_way.min_by(|a, b| (a.factor - ratio).abs().total_cmp(&(b.factor - ratio).abs()));
    match best {
        Some(e) => format!("{}: alone it makes {:+.1} %", e.name, 100.0 * (e.factor - 1.0)),
        None => "contraction and curl held back near clamp, stiffener and flap (between the beam's free and plane-strain \
                 values), and load that spreads into wide parts"
            .to_owned(),
    }
}
