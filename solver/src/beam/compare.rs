//! Beam and shell side by side: ratios, and what the beam's assumptions cost.
//!
//! In: the board, the shell's answer. Out: one [`Compared`] per quantity: both values, their ratio, what the beam gives
//! when one assumption is switched at a time, the ratio that is left when the shell's flap is made rigid too, and the
//! assumption that explains most of the difference with the remainder.
//! Absent: the shell's own uncertainty.

use super::answer::{BeamAnswer, BeamScope, beam};
use super::board::BeamWishes;
use super::section::Across;
use crate::bend::{BendOptions, Progress, bend};
use crate::error::SolveError;
use crate::result::{BendAnswer, BendReport, BondLimit};
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
    /// The same with the flap of both rigid; None where that was not computed, or no flap bends.
    pub rigid_flap: Option<f64>,
    /// Assumptions that change the value by more than 0.1 %.
    pub effects: Vec<Effect>,
    /// Why they differ, in words; empty within 1 %.
    pub reason: String,
}

/// Rows of every bond limit.
pub type Beside = Vec<(BondLimit, Vec<Compared>)>;

/// Difference from which a reason is given.
const WORTH_A_REASON: f64 = 0.01;

/// Name, change of the wishes.
pub(crate) type Switch = (&'static str, fn(&mut BeamWishes));

/// The assumption that the shell can drop as well.
const BENDING_FLAP: &str = "flap that bends";

/// What a beam takes for granted, switched one at a time.
pub(crate) const SWITCHES: [Switch; 4] = [
    ("held curl across (plane strain)", |w| w.across = Across::Flat),
    ("warping free at both ends of the arms", |w| w.warping_held = false),
    (BENDING_FLAP, |w| w.elastic_flap = true),
    ("load over the whole width of wide parts at once", |w| w.spreads = false),
];

/// What a beam leaves out, for the list on the screen.
pub(crate) const LEFT_OUT: &str = "the beams: strain that gathers at corners, steps, holes and clamps; contraction held \
     back at clamps; a flap that bends (`--model both` shows what that costs)";

/// A quantity that is left out where it hardly is there.
const ROLL: &str = "roll, all loads";

/// Roll over flap angle below which it is what is left of a symmetric board's.
const HARDLY_ROLLS: f64 = 1e-3;

/// Name, unit, value.
type Reading = (&'static str, &'static str, Option<f64>);

fn readings(a: &BeamAnswer) -> Vec<Reading> {
    vec![
        ("flap angle, all loads", "rad", a.flap_angle_rad),
        (ROLL, "rad", a.roll_angle_rad),
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

/// What the beams give with one assumption switched at a time.
///
/// # Errors
/// Those of `of`.
pub(crate) fn switched<T>(
    wishes: &BeamWishes,
    mut of: impl FnMut(BeamWishes) -> Result<T, SolveError>,
) -> Result<Vec<(&'static str, T)>, SolveError> {
    let one = |(name, change): Switch| {
        let mut other = *wishes;
        change(&mut other);
        Ok((name, of(other)?))
    };
    SWITCHES.into_iter().map(one).collect()
}

/// Answers of both models paired by bond limit.
///
/// # Errors
/// Those of `one`.
pub(crate) fn each_bond<A>(
    [beam, shell]: [&[A]; 2],
    bond: impl Fn(&A) -> BondLimit,
    mut one: impl FnMut(&A, &A) -> Result<Vec<Compared>, SolveError>,
) -> Result<Beside, SolveError> {
    beam.iter().zip(shell).map(|(b, s)| Ok((bond(b), one(b, s)?))).collect()
}

/// The shell's linear answers with the flap tied into one rigid body; None without a flap, or where it is so already.
///
/// # Errors
/// Those of [`bend`].
pub fn rigid_shell(
    board: &Board,
    options: &BendOptions,
    progress: &mut dyn Progress,
) -> Result<Option<BendReport>, SolveError> {
    let mut tied = board.clone();
    match &mut tied.flap {
        Some(flap) if !flap.rigid => flap.rigid = true,
        _ => return Ok(None),
    }
    let options = BendOptions { modulus_span: false, swing: false, cycle: None, ..options.clone() };
    bend(&tied, &options, progress).map(Some)
}

/// Both models side by side; `rigid`: the shell once more with a rigid flap, beside beams whose flap is rigid.
///
/// # Errors
/// Those of the beam.
pub fn compare(
    board: &Board,
    wishes: &BeamWishes,
    shell: Option<&BendAnswer>,
    rigid: Option<&BendAnswer>,
) -> Result<(BeamAnswer, Vec<Compared>), SolveError> {
    let own = beam(board, wishes, BeamScope { frequencies: 6 })?;
    let none = BeamScope { frequencies: 0 };
    let switched = switched(wishes, |other| Ok(readings(&beam(board, &other, none)?)))?;
    let tied = match rigid {
        Some(shell) => {
            let stiff = beam(board, &BeamWishes { elastic_flap: false, ..*wishes }, none)?;
            Some((readings(&stiff), by_shell(board, shell)))
        }
        None => None,
    };
    let seen = shell.map(|s| by_shell(board, s));
    let mut rows = Vec::new();
    for (n, (quantity, unit, value)) in readings(&own).into_iter().enumerate() {
        let Some(value) = value else { continue };
        let others: Vec<_> = switched.iter().map(|(name, other)| (*name, other[n].2)).collect();
        let shell = seen.as_ref().and_then(|s| s[n]);
        let most = value.abs().max(shell.map_or(0.0, f64::abs));
        if quantity == ROLL && own.flap_angle_rad.is_some_and(|f| most < HARDLY_ROLLS * f.abs()) {
            continue;
        }
        let rigid = tied.as_ref().and_then(|(beam, shell)| Some(shell[n]? / beam[n].2?));
        let mut row = compared(quantity, unit, value, shell, &others);
        if let Some((ratio, rigid)) = row.ratio.zip(rigid) {
            row.reason = with_rigid(quantity, ratio, rigid, &row.effects);
            row.rigid_flap = Some(rigid);
        }
        rows.push(row);
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
    Compared { quantity: quantity.to_owned(), unit, beam, shell, ratio, rigid_flap: None, effects, reason }
}

/// The same where it is known what a rigid flap makes of the ratio.
fn with_rigid(quantity: &str, ratio: f64, rigid: f64, effects: &[Effect]) -> String {
    let percent = |r: f64| 100.0 * (r - 1.0);
    let by_flap = ratio / rigid - 1.0;
    if (ratio - 1.0).abs() < WORTH_A_REASON || by_flap.abs() < 0.1 * (ratio - 1.0).abs() {
        return reason(quantity, ratio, effects);
    }
    let arms: Vec<Effect> = effects.iter().filter(|e| e.name != BENDING_FLAP).cloned().collect();
    let mut text = format!(
        "{BENDING_FLAP}: {:+.1} % by the shell with and without it; remainder {:+.1} %",
        100.0 * by_flap,
        percent(rigid)
    );
    let rest = reason(quantity, rigid, &arms);
    if !rest.is_empty() {
        text.push_str("; for it: ");
        text.push_str(&rest);
    }
    text
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
        Some(e) => {
            let rest = 100.0 * (ratio / e.factor - 1.0);
            format!("{}: alone it makes {:+.1} %; remainder {rest:+.1} %", e.name, 100.0 * (e.factor - 1.0))
        }
        None => "contraction and curl held back near clamp, stiffener and flap (between the beam's free and plane-strain \
                 values), and load that spreads into wide parts"
            .to_owned(),
    }
}
