//! Beam, estimates, claims and variants as comma-separated values.

use super::{bond_words, quoted};
use crate::commands::Variant;
use copperbend_mesh::design::vary::Change;
use copperbend_solver::beam::answer::{BeamAnswer, BeamState};
use copperbend_solver::beam::compare::Compared;
use copperbend_solver::claims::Verdict;
use copperbend_solver::hand::Estimate;
use copperbend_solver::result::BondLimit;

/// A number with all its digits, or an empty cell.
fn number(v: Option<f64>) -> String {
    v.map_or(String::new(), |v| format!("{v:.9e}"))
}

fn table(heading: &str, rows: impl Iterator<Item = Vec<String>>) -> Vec<u8> {
    let mut out = format!("{heading}\r\n");
    for cells in rows {
        out.push_str(&cells.join(","));
        out.push_str("\r\n");
    }
    out.into_bytes()
}

/// Columns of a study of variants.
pub(crate) const VARIANT_COLUMNS: [&str; 12] = [
    "bending stiffness nN m2",
    "neutral plane um",
    "tip lift um",
    "flap angle deg",
    "angle per ampere deg/mA",
    "moment per flap angle uN m/rad",
    "force per lift N/m",
    "roll moment uN m/rad",
    "largest copper strain um/m",
    "frequency 1 Hz",
    "frequency 2 Hz",
    "torque per ampere uN m/mA",
];

/// Values of one variant in the order of [`VARIANT_COLUMNS`].
pub(crate) fn variant_values(a: &BeamAnswer) -> [Option<f64>; 12] {
    let hz = |n: usize| a.frequencies.get(n).map(|f| f.frequency_hz);
    [
        Some(a.section[0] * 1e9),
        Some(a.section[1] * 1e6),
        Some(a.tip_m[2] * 1e6),
        a.flap_angle_rad.map(f64::to_degrees),
        a.angle_per_ampere_rad.map(|x| x.to_degrees() * 1e-3),
        a.moment_nm_per_rad.map(|x| x * 1e6),
        Some(a.force_n_per_m),
        a.roll_nm_per_rad.map(|x| x * 1e6),
        a.strains.first().map(|s| s.strain.abs() * 1e6),
        hz(0),
        hz(1),
        a.torque_per_ampere_nm.map(|x| x * 1e3),
    ]
}

/// All variants, one row each.
pub(crate) fn variants(changes: &[Change], all: &[Variant]) -> Vec<u8> {
    let unit = |c: &Change| match c.unit.as_str() {
        "" => String::new(),
        unit => format!(" {unit}"),
    };
    let own = changes.iter().map(|c| quoted(&format!("{}{}", c.path, unit(c))));
    let names = VARIANT_COLUMNS.iter().map(|n| quoted(&n.replace(' ', "_").replace('/', "_per_")));
    let heading = own.chain(names).chain(["refused".to_owned()]).collect::<Vec<_>>().join(",");
    let row = |v: &Variant| {
        let mut cells: Vec<String> = v.values.iter().map(|x| format!("{x}")).collect();
        match &v.answer {
            Ok(a) => {
                cells.extend(variant_values(a).map(number));
                cells.push(String::new());
            }
            Err(why) => {
                cells.extend(VARIANT_COLUMNS.map(|_| String::new()));
                cells.push(quoted(why));
            }
        }
        cells
    };
    table(&heading, all.iter().map(row))
}

/// Hand estimates.
pub(crate) fn estimates(all: &[Estimate]) -> Vec<u8> {
    let row = |e: &Estimate| {
        let put: Vec<String> =
            e.put.iter().map(|p| format!("{} = {:.6e} {}", p.letter, p.value, p.unit)).collect();
        vec![
            quoted(e.quantity),
            e.unit.to_owned(),
            number(Some(e.value)),
            number(e.beam),
            number(e.shell),
            number(e.beam.map(|b| e.value / b)),
            number(e.shell.map(|s| e.value / s)),
            quoted(e.formula),
            quoted(&put.join("; ")),
            quoted(e.source),
            quoted(&e.costs.join("; ")),
        ]
    };
    table(
        "quantity,unit,hand,beam,shell,hand_over_beam,hand_over_shell,formula,with,source,costs",
        all.iter().map(row),
    )
}

/// Claims with their verdicts.
pub(crate) fn verdicts(all: &[Verdict]) -> Vec<u8> {
    let row = |v: &Verdict| {
        let place = |i: usize| v.place_m.map_or(String::new(), |p| format!("{:.6}", p[i] * 1e3));
        vec![
            v.line.to_string(),
            quoted(v.quantity),
            place(0),
            place(1),
            v.unit.to_owned(),
            number(Some(v.claimed)),
            number(v.found),
            v.model.to_owned(),
            number(v.difference),
            number(Some(v.tolerance)),
            if v.agrees { "agrees" } else { "differs" }.to_owned(),
            quoted(&v.reason),
        ]
    };
    table(
        "line,quantity,x_mm,y_mm,unit,claimed,found,model,difference,tolerance,verdict,reason",
        all.iter().map(row),
    )
}

/// Beam and shell side by side.
pub(crate) fn compared(answers: &[(BondLimit, Vec<Compared>)]) -> Vec<u8> {
    let mut out =
        String::from("bond,quantity,unit,beam,shell,shell_over_beam,both_with_a_rigid_flap,reason\r\n");
    for (bond, rows) in answers {
        for r in rows {
            let cells = [
                bond_words(*bond).to_owned(),
                quoted(&r.quantity),
                r.unit.to_owned(),
                number(Some(r.beam)),
                number(r.shell),
                number(r.ratio),
                number(r.rigid_flap),
                quoted(&r.reason),
            ];
            out.push_str(&cells.join(","));
            out.push_str("\r\n");
        }
    }
    out.into_bytes()
}

/// The swing of the beam.
pub(crate) fn beam_swing(states: &[BeamState]) -> Vec<u8> {
    let mut out =
        String::from("current_ma,angle_deg,torque_un_m,strain_um_per_m,stable_at_constant_current\r\n");
    for s in states {
        let yes = if s.stable { "yes" } else { "no" };
        let (current, angle) = (s.current_a * 1e3, s.angle_rad.to_degrees());
        let row = format!("{current:.6},{angle:.6},{:.6},{:.4},{yes}\r\n", s.torque_nm * 1e6, s.strain * 1e6);
        out.push_str(&row);
    }
    out.into_bytes()
}
