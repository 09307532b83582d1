//! First swing and roll frequency, with the flap as a stiff plate on light arms.

use super::{Bench, Estimate, put};
use std::f64::consts::TAU;

const HINGE: &str = "one-degree-of-freedom oscillator; arms as a hinge at mid-arm, e.g. R. D. Blevins, Formulas for \
                     Natural Frequency and Mode Shape (from memory)";

pub(super) fn all(b: &Bench<'_>) -> Vec<Estimate> {
    if b.beam.flap.is_none() {
        return cantilever(b).into_iter().collect();
    }
    swing(b).into_iter().chain(roll(b)).collect()
}

/// Frequency of a kind by the beam.
fn by_beam(b: &Bench<'_>, kind: &str) -> Option<f64> {
    b.answer.frequencies.iter().find(|f| f.kind == kind).map(|f| f.frequency_hz)
}

fn by_shell(b: &Bench<'_>, kind: &str) -> Option<f64> {
    let own = b.shell?.frequencies.iter().find(|f| f.kind == kind)?;
    Some(own.frequency_hz)
}

/// Flap's inertia about an axis through its mass centre, kg m2: along the arms and across them.
fn own_inertia(b: &Bench<'_>) -> Option<[f64; 2]> {
    let node = b.beam.flap?;
    let m = &b.beam.frame.nodes[node].inertia;
    let (mass, centre) = b.beam.flap_mass;
    let [c, s] = b.beam.hinge.along;
    let about = |axis: nalgebra::Vector3<f64>| {
        let turn = m.fixed_view::<3, 3>(3, 3).into_owned();
        axis.dot(&(turn * axis)) - mass * axis.cross(&centre).norm_squared()
    };
    Some([about(nalgebra::Vector3::new(c, s, 0.0)), about(nalgebra::Vector3::new(-s, c, 0.0))])
}

fn swing(b: &Bench<'_>) -> Option<Estimate> {
    let node = b.beam.flap?;
    let (mass, centre) = b.beam.flap_mass;
    let [_, own] = own_inertia(b)?;
    let at = b.beam.frame.nodes[node].at_m + centre;
    let lever = b.beam.hinge.along_m([at.x, at.y]) - 0.5 * b.length_m;
    let inertia = own + mass * lever * lever;
    let stiffness = b.count * b.section[0] / b.length_m;
    let value = (stiffness / inertia).sqrt() / TAU;
    let beam = by_beam(b, "swing");
    let mut costs = b.costs(
        "moment per flap angle",
        value,
        beam,
        "hinge at mid-arm, light arms, fillets and shoulders left out",
    );
    costs.push("air left out by all three; see `modes` for its added mass".into());
    Some(Estimate {
        quantity: "first swing frequency",
        formula: "f = sqrt((n EI / L) / (Ic + m a^2)) / 2 pi",
        put: vec![
            put("n", "arms", b.count, ""),
            put("EI", "bending stiffness of one arm", b.section[0], "N m2"),
            put("L", "arm, root to tip", b.length_m, "m"),
            put("m", "flap and what is glued to it", mass, "kg"),
            put("Ic", "its inertia about its centre, axis across", own, "kg m2"),
            put("a", "its centre from mid-arm", lever, "m"),
        ],
        source: HINGE,
        value,
        unit: "Hz",
        beam,
        shell: by_shell(b, "swing"),
        costs,
    })
}

fn roll(b: &Bench<'_>) -> Option<Estimate> {
    let [own, _] = own_inertia(b)?;
    let l = b.length_m;
    // Distance of the arms from their middle line.
    let aside: f64 = b
        .board
        .arms
        .iter()
        .map(|a| {
            let [c, s] = b.beam.hinge.along;
            let off = [a.root_m[0] - b.beam.hinge.root_m[0], a.root_m[1] - b.beam.hinge.root_m[1]];
            (off[1] * c - off[0] * s).powi(2)
        })
        .sum();
    let twist = b.answer.twisting_nm2;
    let section = &b.beam.sections[b.beam.spans[b.beam.middle_section()?].section];
    let decay = (twist / section.warping_nm4.max(f64::MIN_POSITIVE)).sqrt();
    let x = 0.5 * decay * l;
    let held = 1.0 / (1.0 - x.tanh() / x);
    let stiffness = b.count * twist / l * held + 12.0 * b.section[0] / l.powi(3) * aside;
    let value = (stiffness / own).sqrt() / TAU;
    let beam = by_beam(b, "roll");
    Some(Estimate {
        quantity: "roll frequency",
        formula: "f = sqrt((n GJ/L / (1 - tanh x/x) + 12 EI/L^3 sum y^2) / Ir) / 2 pi, x = L/2 sqrt(GJ/EG)",
        put: vec![
            put("GJ", "twisting stiffness of one arm", twist, "N m2"),
            put("EG", "resistance to warping of one arm", section.warping_nm4, "N m4"),
            put("L", "arm, root to tip", l, "m"),
            put("sum y^2", "squared distances of the arms from their middle line", aside, "m2"),
            put("Ir", "flap's inertia about the arm direction", own, "kg m2"),
        ],
        source: "Saint-Venant torsion with held warping, V. Z. Vlasov, Thin-Walled Elastic Beams (from memory)",
        value,
        unit: "Hz",
        beam,
        shell: by_shell(b, "roll"),
        costs: b.costs("roll moment per roll", value, beam, "light arms, fillets and shoulders left out"),
    })
}

fn cantilever(b: &Bench<'_>) -> Option<Estimate> {
    let middle = b.beam.middle_section()?;
    let mass = b.beam.sections[b.beam.spans[middle].section].mass.mass;
    let value = 1.875_104_07_f64.powi(2) / TAU * (b.section[0] / (mass * b.length_m.powi(4))).sqrt();
    let beam = b.answer.frequencies.first().map(|f| f.frequency_hz);
    Some(Estimate {
        quantity: "first frequency of the arm",
        formula: "f = 1.8751^2 sqrt(EI / (m L^4)) / 2 pi",
        put: vec![
            put("EI", "bending stiffness", b.section[0], "N m2"),
            put("m", "mass per length", mass, "kg/m"),
            put("L", "arm, root to tip", b.length_m, "m"),
        ],
        source: "clamped-free beam, e.g. R. D. Blevins, Formulas for Natural Frequency and Mode Shape (from memory)",
        value,
        unit: "Hz",
        beam,
        shell: b.shell.and_then(|s| s.frequencies.first()).map(|f| f.frequency_hz),
        costs: b.costs("tip lift, all loads", value, beam, "constant section"),
    })
}
