//! Flexure arms of a board: layered and tapered.

use super::grids::{Cut, Grid};
use super::rig::{Rig, W, mean, ply, sheet};
use super::sections::flex;
use super::vibrating_beams::weighed;
use super::{Problem, Provenance, Target, gate};
use crate::error::SolveError;
use crate::laminate::{Laminate, Ply, isotropic_q};
use crate::modes::{ModeWishes, modes};

/// Deflection and two frequencies of arms that taper to these widths, alike for both models.
pub(super) const TAPERED: [Target; 15] = [
    gate("deflection, tip over root width 1", "-", 0.333_333_333, 0.005),
    gate("frequency 1", "-", 3.516_015, 0.005),
    gate("frequency 2", "-", 22.034_492, 0.005),
    gate("deflection, 0.75", "-", 0.356_554_61, 0.005),
    gate("frequency 1", "-", 3.836_435, 0.005),
    gate("frequency 2", "-", 22.638_702, 0.005),
    gate("deflection, 0.5", "-", 0.386_294_361, 0.005),
    gate("frequency 1", "-", 4.315_173, 0.005),
    gate("frequency 2", "-", 23.519_255, 0.005),
    gate("deflection, 0.25", "-", 0.427_599_16, 0.005),
    gate("frequency 1", "-", 5.145_716, 0.005),
    gate("frequency 2", "-", 25.119_544, 0.005),
    gate("deflection, 0.1", "-", 0.463_684_29, 0.005),
    gate("frequency 1", "-", 6.070_39, 0.005),
    gate("frequency 2", "-", 27.298_945, 0.005),
];

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "arm-composite",
        title: "Layered arm of 10 x 2 mm with a force of 1 mN at its tip",
        source: "transformed-section beam theory",
        provenance: Provenance::Recomputed,
        note: "Polyimide 25, copper 18, adhesive 15, polyimide 12.5 um without lateral contraction; small deflection. \
               Signs for a stretched top face.",
        targets: &[
            gate("neutral height", "um", 33.883_147, 0.005),
            gate("bending stiffness", "N m2", 3.224_317_8e-7, 0.005),
            gate("mass per length", "kg/m", 0.000_462_06, 0.005),
            gate("tip deflection", "um", 1033.8104, 0.005),
            gate("root strain, copper lower face", "-", -0.000_275_504_7, 0.005),
            gate("root strain, copper upper face", "-", 0.000_282_752_9, 0.005),
            gate("root strain, top of the cover film", "-", 0.001_135_646_5, 0.005),
            gate("root strain, bottom of the base film", "-", -0.001_050_862_5, 0.005),
            gate("frequency 1", "Hz", 147.8225, 0.005),
        ],
        run: layered,
    },
    Problem {
        id: "arm-taper",
        title: "Arm whose width falls linearly towards the tip, w E I0/(P L^3) and w L^2 sqrt(m0/EI0)",
        source: "beam theory (for a point at the tip: 1/2 and 7.157)",
        provenance: Provenance::Recomputed,
        note: "",
        targets: &TAPERED,
        run: tapered,
    },
    Problem {
        id: "stiffener-bond-limits",
        title: "Strip of a film and a stiffener: bonded, and held without shear",
        source: "transformed-section beam theory: one section, or the sum of two",
        provenance: Provenance::Recomputed,
        note: "Film 50 um of 4 GPa, stiffener 200 um of 20 GPa, 20 x 2 mm, tip force 1 mN; no lateral contraction.",
        targets: &[
            gate("tip deflection, bonded", "um", 81.543_502_002_2, 0.001),
            gate("tip deflection, held without shear", "um", 99.688_473_520_2, 0.001),
        ],
        run: bond_limits,
    },
];

fn layered() -> Result<Vec<f64>, SolveError> {
    let width = 0.002;
    let mut plies = flex([0.0; 3], 0.0).plies;
    for (p, density) in plies.iter_mut().zip([1420.0, 8960.0, 1100.0, 1420.0]) {
        p.density_kg_m3 = density;
    }
    let bottom = Laminate::new(plies);
    let neutral = bottom.neutral_plane_m();
    let laminate = bottom.shifted(neutral);
    let stiffness = (laminate.d[(0, 0)] - laminate.b[(0, 0)].powi(2) / laminate.a[(0, 0)]) * width;
    let grid = Grid::mapped([80, 8], Cut::Cross, |s, t| [0.010 * s, width * (t - 0.5), 0.0]);
    let mut rig = Rig::new(&grid, laminate);
    rig.clamp(grid.first(0));
    // Downwards, so that the top face is stretched.
    rig.line(&grid.first(1), W, -1e-3);
    let s = rig.solve()?;
    let first = modes(&rig.model, &ModeWishes { count: 3, ..ModeWishes::default() })?;
    let strain = rig.node_strain(&s, grid.at(0, 4));
    let at_height = |z: f64| strain[0] + (z - neutral) * strain[3];
    Ok(vec![
        neutral * 1e6,
        stiffness,
        rig.model.laminates[0].mass[0] * width,
        -mean(&s, &grid.first(1), W) * 1e6,
        at_height(25e-6),
        at_height(43e-6),
        at_height(70.5e-6),
        at_height(0.0),
        first.modes.first().map_or(0.0, |m| m.frequency_hz),
    ])
}

fn tapered() -> Result<Vec<f64>, SolveError> {
    let (e, t, root): (f64, f64, f64) = (1e9, 0.001, 0.05);
    let mut values = Vec::new();
    for ratio in [1.0, 0.75, 0.5, 0.25, 0.1] {
        let grid =
            Grid::mapped([80, 6], Cut::Cross, |p, q| [p, root * (1.0 + (ratio - 1.0) * p) * (q - 0.5), 0.0]);
        let mut rig = Rig::new(&grid, weighed(sheet(e, 0.0, t), 1.0, t));
        rig.clamp(grid.first(0));
        rig.line(&grid.first(1), W, 1.0);
        values.push(mean(&rig.solve()?, &grid.first(1), W) * e * root * t.powi(3) / 12.0);
        // Twist and bending in the plane lie far above: the two lowest modes bend.
        let found = modes(&rig.model, &ModeWishes { count: 4, ..ModeWishes::default() })?;
        let unit = (12.0 / (e * t.powi(3))).sqrt();
        values.extend(found.modes.iter().take(2).map(|m| m.eigenvalue.max(0.0).sqrt() * unit));
    }
    Ok(values)
}

fn bond_limits() -> Result<Vec<f64>, SolveError> {
    let (length, width) = (0.020, 0.002);
    let grid = Grid::mapped([80, 8], Cut::Cross, |s, t| [length * s, width * (t - 0.5), 0.0]);
    let film = ply(0.0, 50e-6, isotropic_q(4e9, 0.0));
    let answer = |sliding: bool| {
        let stiffener = Ply { sliding, ..ply(-200e-6, 0.0, isotropic_q(20e9, 0.0)) };
        let stack = Laminate::new(vec![stiffener, film.clone()]);
        let up = stack.neutral_plane_m();
        let mut rig = Rig::new(&grid, stack.shifted(up));
        rig.clamp(grid.first(0));
        rig.line(&grid.first(1), W, 1e-3);
        Ok(mean(&rig.solve()?, &grid.first(1), W) * 1e6)
    };
    [false, true].into_iter().map(answer).collect()
}
