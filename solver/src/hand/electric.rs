//! Force and torque of the coil, angle per ampere, resistance.

use super::{Bench, Estimate, put};
use copperbend_mesh::board::{CurrentPath, Magnet, MagnetShape};
use nalgebra::Vector3;
use std::f64::consts::{PI, TAU};

/// Vacuum permeability, H/m.
const MU0: f64 = 4e-7 * PI;

/// A coil by its turns alone.
struct Turns {
    count: f64,
    radius_m: f64,
    centre_m: Vector3<f64>,
    length_m: f64,
    section_m2: f64,
}

pub(super) fn all(b: &Bench<'_>) -> Vec<Estimate> {
    let Some(path) = &b.board.current else { return Vec::new() };
    let mut all = Vec::new();
    if let Some(turns) = turns(b, path) {
        if let [magnet] = b.board.magnets.as_slice() {
            all.extend(pull(b, &turns, magnet));
        }
        all.extend(resistance(b, path, &turns));
    }
    all
}

/// The path on the flap as circles about their middle.
fn turns(b: &Bench<'_>, path: &CurrentPath) -> Option<Turns> {
    let flap = b.board.flap.as_ref()?;
    let pieces: Vec<_> = path
        .segments
        .iter()
        .filter(|s| s.layer.is_some() && flap.region.contains([s.from_m[0], s.from_m[1]]))
        .map(|s| {
            let (a, c) = (Vector3::from(s.from_m), Vector3::from(s.to_m));
            ((a + c) * 0.5, (c - a).norm(), s.section_m2)
        })
        .collect();
    let length_m: f64 = pieces.iter().map(|p| p.1).sum();
    if length_m <= 0.0 {
        return None;
    }
    let centre_m = pieces.iter().map(|p| p.0 * p.1).sum::<Vector3<f64>>() / length_m;
    let radius_m = pieces.iter().map(|p| (p.0 - centre_m).xy().norm() * p.1).sum::<f64>() / length_m;
    let volume: f64 = pieces.iter().map(|p| p.1 * p.2).sum();
    Some(Turns {
        count: length_m / (TAU * radius_m),
        radius_m,
        centre_m,
        length_m,
        section_m2: volume / length_m,
    })
}

/// Volume of a magnet, m3.
fn volume(shape: &MagnetShape) -> f64 {
    match *shape {
        MagnetShape::Disc { diameter_m, height_m } => 0.25 * PI * diameter_m.powi(2) * height_m,
        MagnetShape::Ring { outer_m, inner_m, height_m } => {
            0.25 * PI * (outer_m.powi(2) - inner_m.powi(2)) * height_m
        }
        MagnetShape::Block { sides_m: [a, b, c] } => a * b * c,
    }
}

/// Force, torque and angle per ampere with the magnet as a point dipole below the coil's middle.
fn pull(b: &Bench<'_>, turns: &Turns, magnet: &Magnet) -> Vec<Estimate> {
    let away = turns.centre_m - Vector3::from(magnet.centre_m);
    let upright = magnet.polarisation_t[0].hypot(magnet.polarisation_t[1]) < 1e-9;
    if !upright || away.xy().norm() > 0.25 * turns.radius_m {
        return Vec::new();
    }
    let (rho, z) = (turns.radius_m, away.z.abs());
    let moment = magnet.polarisation_t[2].abs() * volume(&magnet.shape) / MU0;
    // A wide iron sheet mirrors the magnet: twice the field by rough count.
    let plate = if magnet.back_plate.is_some() { 2.0 } else { 1.0 };
    let radial = plate * MU0 / (4.0 * PI) * 3.0 * moment * rho * z / (rho * rho + z * z).powf(2.5);
    let force = turns.count * TAU * rho * radial;
    let lever = b.beam.hinge.along_m([turns.centre_m.x, turns.centre_m.y]);
    let inputs = || {
        vec![
            put("N", "turns by length of the path on the flap", turns.count, ""),
            put("r", "mean radius of the turns", rho, "m"),
            put("z", "middle of the coil over the middle of the magnet", z, "m"),
            put("m", "moment of the magnet, remanence times volume over mu0", moment, "A m2"),
            put("p", "factor for an iron back plate", plate, ""),
        ]
    };
    let by_path = b.answer.force_per_ampere_n.map(|f| f[2].abs());
    let dipole = |hand: f64, real: Option<f64>, more: &str| {
        let off = real.filter(|r| *r > 0.0).map_or(0.0, |r| 100.0 * (hand / r - 1.0));
        vec![format!(
            "magnet as a point, turns as one circle{more}: {off:+.1} % (hand over the whole path in the whole field)"
        )]
    };
    let source = "force on a loop in the field of a dipole, e.g. J. D. Jackson, Classical Electrodynamics, chapter 5 (from memory)";
    let torque = force * lever;
    let by_torque = b.answer.torque_per_ampere_nm.map(f64::abs);
    let mut all = vec![
        Estimate {
            quantity: "force of the coil per ampere",
            formula: "F/I = N 2 pi r Br, Br = p mu0/(4 pi) 3 m r z / (r^2 + z^2)^(5/2)",
            put: inputs(),
            source,
            value: force,
            unit: "N/A",
            beam: by_path,
            shell: b.shell.and_then(|s| s.force_per_ampere_n).map(f64::abs),
            costs: dipole(force, by_path, ""),
        },
        Estimate {
            quantity: "torque about the hinge line per ampere",
            formula: "T/I = (F/I) d",
            put: vec![
                put("F/I", "force per ampere", force, "N/A"),
                put("d", "coil's middle from the roots", lever, "m"),
            ],
            source: "lever",
            value: torque,
            unit: "N m/A",
            beam: by_torque,
            shell: b.shell.and_then(|s| s.torque_per_ampere_nm).map(f64::abs),
            costs: dipole(torque, by_torque, ""),
        },
    ];
    let l = b.length_m;
    let angle = force * (lever * l - 0.5 * l * l) / (b.count * b.section[0]);
    let by_beam = b.answer.angle_per_ampere_rad.map(f64::abs);
    let mut costs = dipole(angle, by_beam, ", one section for the whole arm");
    costs.extend(b.costs("moment per flap angle", 0.0, None, ""));
    all.push(Estimate {
        quantity: "flap angle per ampere, small",
        formula: "angle/I = (F/I) (d L - L^2/2) / (n EI)",
        put: vec![
            put("F/I", "force per ampere", force, "N/A"),
            put("d", "coil's middle from the roots", lever, "m"),
            put("L", "arm, root to tip", l, "m"),
            put("n", "arms", b.count, ""),
            put("EI", "bending stiffness of one arm", b.section[0], "N m2"),
        ],
        source: "slope of a cantilever with a force beyond its end (from memory)",
        value: angle,
        unit: "rad/A",
        beam: by_beam,
        shell: b.shell.and_then(|s| s.angle_per_ampere_rad).map(f64::abs),
        costs,
    });
    all
}

fn resistance(b: &Bench<'_>, path: &CurrentPath, turns: &Turns) -> Option<Estimate> {
    let layer = path.segments.iter().find_map(|s| s.layer)?;
    let material = b.board.layers.get(layer.0 as usize)?.material;
    let rho = b.board.materials.get(material.0 as usize)?.resistivity_ohm_m.as_ref()?.v;
    let value = rho * turns.length_m / turns.section_m2;
    let whole = crate::lorentz::board_resistance_ohm(b.board);
    let off = whole.map_or(0.0, |w| 100.0 * (value / w - 1.0));
    Some(Estimate {
        quantity: "coil resistance at 20 degC",
        formula: "R = rho N 2 pi r / (w t)",
        put: vec![
            put("rho", "resistivity of the copper", rho, "ohm m"),
            put("N 2 pi r", "length of the turns", turns.length_m, "m"),
            put("w t", "section of a turn", turns.section_m2, "m2"),
        ],
        source: "Ohm's law; annealed copper 1.7241e-8 ohm m, National Bureau of Standards Handbook 100 (1966)",
        value,
        unit: "ohm",
        beam: whole,
        shell: whole,
        costs: vec![format!(
            "supply tracks on arms and pad left out: {off:+.1} % (hand over the whole path)"
        )],
    })
}
