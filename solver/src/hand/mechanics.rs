//! Stack, stiffness, root strain, bend radius.

use super::{Bench, Estimate, put};
use crate::model::laminate_of_layers;
use crate::result::BondLimit;
use copperbend_mesh::board::{Elastic, LayerKind};
use copperbend_mesh::layup::layers_at;

const TRANSFORMED: &str = "transformed section, any text on strength of materials, e.g. S. Timoshenko, Strength of \
                           Materials, part I (from memory)";
const CANTILEVER: &str =
    "slope and deflection of a cantilever, any text on strength of materials (from memory)";

pub(super) fn all(b: &Bench<'_>) -> Vec<Estimate> {
    let mut all = vec![neutral(b), bending(b), moment(b), lift(b)];
    all.extend(root_strain(b));
    all
}

fn neutral(b: &Bench<'_>) -> Estimate {
    Estimate {
        quantity: "neutral plane of an arm, height above the base film's lower face",
        formula: "zn = sum(E A z) / sum(E A)",
        put: stack(b),
        source: TRANSFORMED,
        value: b.section[1],
        unit: "m",
        beam: Some(b.answer.section[1]),
        shell: None,
        costs: vec![
            "section at mid-length only, layers free across: the beam's section is the same one".into(),
        ],
    }
}

fn bending(b: &Bench<'_>) -> Estimate {
    Estimate {
        quantity: "bending stiffness of one arm",
        formula: "EI = sum E w ((z1 - zn)^3 - (z0 - zn)^3) / 3",
        put: stack(b),
        source: TRANSFORMED,
        value: b.section[0],
        unit: "N m2",
        beam: Some(b.answer.section[0]),
        shell: None,
        costs: vec![
            "layers free across: held curl would make it stiffer, see the moment per flap angle".into(),
        ],
    }
}

/// Layers at mid-arm with their moduli: what goes into the sums.
fn stack(b: &Bench<'_>) -> Vec<super::Put> {
    let mut all = vec![put("w", "arm width at mid-length", b.width_m, "m")];
    for layer in &b.board.layers {
        let on = b.board.arms.iter().any(|a| !layer.region.intersection(&a.region).is_empty());
        if !on || layer.stiffener.is_some() {
            continue;
        }
        let material = &b.board.materials[layer.material.0 as usize];
        let modulus = match &material.elastic {
            Elastic::Isotropic { e_pa, .. } => e_pa.v,
            Elastic::Orthotropic { e1_pa, .. } => e1_pa.v,
        };
        all.push(put("E", format!("modulus of '{}'", layer.name), modulus, "Pa"));
        all.push(put("t", format!("thickness of '{}'", layer.name), layer.thickness_m, "m"));
    }
    all
}

fn bend_inputs(b: &Bench<'_>) -> Vec<super::Put> {
    vec![
        put("n", "arms", b.count, ""),
        put("EI", "bending stiffness of one arm", b.section[0], "N m2"),
        put("L", "arm, root to tip", b.length_m, "m"),
    ]
}

fn moment(b: &Bench<'_>) -> Estimate {
    let value = b.count * b.section[0] / b.length_m;
    let beam = b.answer.moment_nm_per_rad;
    Estimate {
        quantity: "moment per flap angle",
        formula: "k = n EI / L",
        put: bend_inputs(b),
        source: CANTILEVER,
        value,
        unit: "N m/rad",
        beam,
        shell: b.shell.and_then(|s| s.moment_nm_per_rad),
        costs: b.costs("moment per flap angle", value, beam, "fillets, root and shoulder left out"),
    }
}

fn lift(b: &Bench<'_>) -> Estimate {
    let (l, c) = (b.length_m, b.reach_m - b.length_m);
    let value = b.count * b.section[0] / (l.powi(3) / 3.0 + l * l * c + l * c * c);
    let mut inputs = bend_inputs(b);
    inputs.push(put("c", "force beyond the arm's tip (middle of the flap)", c, "m"));
    Estimate {
        quantity: "tip stiffness: force per lift at the flap's middle (at the tip without a flap)",
        formula: "k = n EI / (L^3/3 + L^2 c + L c^2)",
        put: inputs,
        source: CANTILEVER,
        value,
        unit: "N/m",
        beam: Some(b.answer.force_n_per_m),
        shell: b.shell.and_then(|s| s.force_n_per_m),
        costs: b.costs(
            "force per lift of the flap",
            value,
            Some(b.answer.force_n_per_m),
            "fillets, root and shoulder left out; flap rigid",
        ),
    }
}

/// Moment of all loads but weight about the hinge line, N m: what bends the root.
pub(super) fn root_moment(b: &Bench<'_>) -> f64 {
    let axis = nalgebra::Vector3::from(b.beam.hinge.axis());
    let point = nalgebra::Vector3::from(b.beam.hinge.point_m());
    let loads = b.beam.rides.iter().map(|r| {
        let at = b.beam.frame.nodes[r.node].at_m + r.arm_m;
        ((at - point).cross(&r.force_n) + r.moment_nm).dot(&axis)
    });
    let drive =
        b.beam.drive.as_ref().map_or(0.0, |d| d.current_a) * b.answer.torque_per_ampere_nm.unwrap_or(0.0);
    loads.sum::<f64>() + drive
}

fn root_strain(b: &Bench<'_>) -> Option<Estimate> {
    let moment = root_moment(b);
    let middle = {
        let arm = b.board.arms.first()?;
        [0, 1].map(|i| 0.5 * (arm.root_m[i] + arm.tip_m[i]))
    };
    let faces = copper_faces(b, middle)?;
    let far =
        faces.into_iter().max_by(|x, y| (x - b.section[1]).abs().total_cmp(&(y - b.section[1]).abs()))?;
    let off = (far - b.section[1]).abs();
    let value = moment.abs() / b.count * off / b.section[0];
    let beam = b.answer.strains.iter().map(|s| s.strain.abs()).reduce(f64::max);
    (value > 0.0).then(|| Estimate {
        quantity: "copper strain at the root",
        formula: "e = M z / (n EI)",
        put: vec![
            put("M", "moment of all loads about the hinge line", moment.abs(), "N m"),
            put("z", "farthest copper face from the neutral plane", off, "m"),
            put("n", "arms", b.count, ""),
            put("EI", "bending stiffness of one arm", b.section[0], "N m2"),
        ],
        source: TRANSFORMED,
        value,
        unit: "1",
        beam,
        shell: b.shell.and_then(|s| s.worst_strain),
        costs: b.costs(
            "largest copper strain on the arms",
            value,
            beam,
            "one section for the whole arm, root moment",
        ),
    })
}

/// Heights of the copper's faces near the middle of an arm, m above z = 0.
fn copper_faces(b: &Bench<'_>, middle: [f64; 2]) -> Option<Vec<f64>> {
    let arm = b.board.arms.first()?;
    let run = [arm.tip_m[0] - arm.root_m[0], arm.tip_m[1] - arm.root_m[1]];
    let length = run[0].hypot(run[1]);
    let across = [-run[1] / length, run[0] / length];
    let mut faces = Vec::new();
    for i in 0..=40_i32 {
        let y = arm.width_m * (f64::from(i) / 40.0 - 0.5);
        let at = [middle[0] + across[0] * y, middle[1] + across[1] * y];
        let laminate = laminate_of_layers(b.board, &layers_at(b.board, at), BondLimit::AsWritten);
        let copper = |l: &crate::laminate::Ply| b.board.layers[l.layer.0 as usize].kind == LayerKind::Copper;
        faces.extend(laminate.plies.iter().filter(|p| copper(p)).flat_map(|p| [p.z0_m, p.z1_m]));
    }
    (!faces.is_empty()).then_some(faces)
}

/// The minimum-radius rule of older flexible-board standards, with its known weakness told.
pub(super) fn radius_rule(b: &Bench<'_>) -> Option<Estimate> {
    /// Copper strain that the rule allows in a moving bend, per cent.
    const ALLOWED: f64 = 0.3;
    let on = |l: &&copperbend_mesh::board::Layer| {
        b.board.arms.iter().any(|a| l.region.intersection(&a.region).area_m2() > 1e-10)
    };
    let copper: Vec<_> = b.board.layers.iter().filter(|l| l.kind == LayerKind::Copper).filter(on).collect();
    let (c, d) = match copper.as_slice() {
        [one] => (one.thickness_m, 0.0),
        [low, .., high] => (0.5 * (low.thickness_m + high.thickness_m), dielectric(b, low, high)),
        [] => return None,
    };
    let cover = cover(b);
    let half = if copper.len() > 1 { 0.5 * d + c } else { 0.5 * c };
    let value = half * (100.0 - ALLOWED) / ALLOWED - cover;
    let moment = root_moment(b).abs() / b.count;
    let radius = (moment > 0.0).then(|| b.section[0] / moment);
    Some(Estimate {
        quantity: "minimum bend radius in use",
        formula: if copper.len() > 1 { "R = (d/2 + c) (100 - EB)/EB - D" } else { "R = (c/2) (100 - EB)/EB - D" },
        put: vec![
            put("c", "copper thickness", c, "m"),
            put("d", "dielectric between the coppers (0 for one layer)", d, "m"),
            put("D", "cover film with its adhesive", cover, "m"),
            put("EB", "allowed copper strain in a moving bend, per cent", ALLOWED, ""),
        ],
        source: "minimum-radius rule of older revisions of IPC-2223, as two board makers quote it (read there; the \
                 standard itself not seen)",
        value,
        unit: "m",
        beam: radius,
        shell: None,
        costs: vec![
            "the column 'beam' is the radius to which the loads bend the root, EI / (M/n)".into(),
            "the rule puts the neutral plane in the middle of the copper; off-centre copper strains more: go by the strain".into(),
        ],
    })
}

fn dielectric(
    b: &Bench<'_>,
    low: &copperbend_mesh::board::Layer,
    high: &copperbend_mesh::board::Layer,
) -> f64 {
    let place = |l: &copperbend_mesh::board::Layer| {
        b.board.layers.iter().position(|o| std::ptr::eq(o, l)).unwrap_or(0)
    };
    b.board.layers[place(low) + 1..place(high)]
        .iter()
        .filter(|l| matches!(l.kind, LayerKind::Film | LayerKind::Adhesive))
        .map(|l| l.thickness_m)
        .sum()
}

/// Thicker of what lies over the highest and under the lowest copper, stiffeners left out.
fn cover(b: &Bench<'_>) -> f64 {
    let is = |l: &copperbend_mesh::board::Layer| l.kind == LayerKind::Copper;
    let sum = |layers: &mut dyn Iterator<Item = &copperbend_mesh::board::Layer>| {
        layers
            .filter(|l| matches!(l.kind, LayerKind::Cover | LayerKind::Adhesive | LayerKind::Mask))
            .map(|l| l.thickness_m)
            .sum::<f64>()
    };
    let above = sum(&mut b.board.layers.iter().rev().take_while(|l| !is(l)));
    let below = sum(&mut b.board.layers.iter().take_while(|l| !is(l)));
    above.max(below)
}
