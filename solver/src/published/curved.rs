//! Curved shells in flat triangles: roof, hemisphere, cylinder, saddle.

use super::grids::{Cut, Grid};
use super::rig::{Rig, U, V, W, at, sheet, symmetry};
use super::{Problem, Provenance, gate};
use crate::error::SolveError;
use std::f64::consts::FRAC_PI_2;

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "scordelis-lo",
        title: "Barrel-vault roof under its own weight",
        source: "P. Krysl, J.-S. Chen, Arch. Comput. Methods Eng. (2022/2023), preprint of 13 July 2022, section 2 \
                 and Table 6 (shear-rigid shells); R. H. MacNeal, R. L. Harder (1985): 0.3024",
        provenance: Provenance::Read,
        note: "Target 0.30059 for a shell without transverse shear.",
        targets: &[gate("vertical displacement, middle of the free edge", "length", -0.300_59, 0.005)],
        run: roof,
    },
    Problem {
        id: "hemisphere-hole-linear",
        title: "Pinched hemisphere with a hole of 18 degrees",
        source: "P. Krysl, J.-S. Chen, Arch. Comput. Methods Eng. (2022/2023), preprint of 13 July 2022, section 2: \
                 0.093597; R. H. MacNeal, R. L. Harder (1985): 0.0940; J. C. Simo, D. D. Fox, M. S. Rifai, Comput. \
                 Methods Appl. Mech. Engrg. 73 (1989) 53-92: 0.093",
        provenance: Provenance::Read,
        note: "",
        targets: &[gate("radial displacement under the load", "length", 0.0936, 0.01)],
        run: hemisphere,
    },
    Problem {
        id: "pinched-cylinder",
        title: "Pinched cylinder between end diaphragms",
        source: "G. M. Lindberg, M. D. Olson, G. R. Cowper, Quart. Bull. NAE/NRC Canada (1969): 164.24 P/(E t); \
                 T. Belytschko et al., Comput. Methods Appl. Mech. Engrg. 51 (1985) 221-258",
        provenance: Provenance::Read,
        note: "",
        targets: &[gate("radial displacement under the load, inward", "length", 1.8248e-5, 0.02)],
        run: cylinder,
    },
    Problem {
        id: "clamped-hypar",
        title: "Hyperbolic paraboloid clamped along one side",
        source: "K.-J. Bathe, A. Iosilevich, D. Chapelle, Comput. Struct. 75 (2000) 1-30; P. Krysl, J.-S. Chen, \
                 Arch. Comput. Methods Eng. (2022/2023), preprint of 13 July 2022, Tables 14-18 (limits used here)",
        provenance: Provenance::Read,
        note: "Own weight 8000 per volume; length over thickness 100 and 1000.",
        targets: &[
            gate("deflection at (0.5, 0), 100", "m", 9.35e-5, 0.01),
            gate("strain energy, 100", "N m", 0.001_681_8, 0.01),
            gate("deflection at (0.5, 0), 1000", "m", 0.0064, 0.01),
            gate("strain energy, 1000", "N m", 0.011_025, 0.01),
        ],
        run: saddle,
    },
];

fn roof() -> Result<Vec<f64>, SolveError> {
    let n = 32;
    // Angle from the crown along the first parameter, y from the diaphragm to mid-length along the second.
    let grid = Grid::mapped([n, n], Cut::Cross, |p, q| {
        let (s, c) = (40f64.to_radians() * p).sin_cos();
        [25.0 * s, 25.0 * q, 25.0 * c]
    });
    let mut rig = Rig::new(&grid, sheet(4.32e8, 0.0, 0.25));
    rig.hold(grid.first(0), &symmetry(U));
    rig.hold(grid.second(1), &symmetry(V));
    rig.hold(grid.second(0), &[U, W]);
    rig.area(|_| [0.0, 0.0, -90.0]);
    Ok(vec![at(&rig.solve()?, grid.at(n, n), W)])
}

/// Quarter of the open hemisphere, pulled apart along x and together along y by `force` at its free edge: the rig and
/// the nodes pushed inward and pulled outward.
pub(super) fn hemisphere_rig(n: u32, force: f64) -> (Rig, [u32; 2]) {
    let grid = Grid::mapped([n, n], Cut::Cross, |p, q| {
        let (sin, cos) = (FRAC_PI_2 * p).sin_cos();
        let (high, low) = (72f64.to_radians() * q).sin_cos();
        [10.0 * low * cos, 10.0 * low * sin, 10.0 * high]
    });
    let mut rig = Rig::new(&grid, sheet(6.825e7, 0.3, 0.04));
    rig.hold(grid.first(0), &symmetry(V));
    rig.hold(grid.first(1), &symmetry(U));
    rig.hold([grid.at(n / 2, n)], &[W]);
    let (inward, outward) = (grid.at(0, 0), grid.at(n, 0));
    rig.force(inward, U, -force);
    rig.force(outward, V, force);
    (rig, [inward, outward])
}

fn hemisphere() -> Result<Vec<f64>, SolveError> {
    let (rig, [inward, outward]) = hemisphere_rig(64, 1.0);
    let s = rig.solve()?;
    Ok(vec![0.5 * (at(&s, outward, V) - at(&s, inward, U))])
}

fn cylinder() -> Result<Vec<f64>, SolveError> {
    let n = 40;
    // Axis along y; q = 0 at the diaphragm, q = 1 at mid-length; the load at the crown.
    let grid = Grid::mapped([n, n], Cut::Cross, |p, q| {
        let (s, c) = (FRAC_PI_2 * p).sin_cos();
        [300.0 * s, 300.0 * q, 300.0 * c]
    });
    let mut rig = Rig::new(&grid, sheet(3e6, 0.3, 3.0));
    rig.hold(grid.first(0), &symmetry(U));
    rig.hold(grid.first(1), &symmetry(W));
    rig.hold(grid.second(1), &symmetry(V));
    rig.hold(grid.second(0), &[U, W]);
    let loaded = grid.at(0, n);
    rig.force(loaded, W, -0.25);
    Ok(vec![-at(&rig.solve()?, loaded, W)])
}

/// Half a saddle (y from 0 to 0.5): deflection at (0.5, 0) and strain energy of the whole.
fn half_saddle(t: f64, n: [u32; 2]) -> Result<[f64; 2], SolveError> {
    let grid = Grid::mapped(n, Cut::Cross, |p, q| {
        let (x, y) = (p - 0.5, 0.5 * q);
        [x, y, x * x - y * y]
    });
    let mut rig = Rig::new(&grid, sheet(2e11, 0.3, t));
    rig.clamp(grid.first(0));
    rig.hold(grid.second(0).into_iter().filter(|&node| node != grid.at(0, 0)), &symmetry(V));
    rig.area(|_| [0.0, 0.0, -8000.0 * t]);
    let s = rig.solve()?;
    Ok([-at(&s, grid.at(n[0], 0), W), 2.0 * s.energy])
}

fn saddle() -> Result<Vec<f64>, SolveError> {
    Ok([half_saddle(0.01, [128, 64])?, half_saddle(0.001, [128, 64])?].concat())
}
