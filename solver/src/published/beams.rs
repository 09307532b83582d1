//! Straight, curved and twisted cantilevers.

use super::grids::{Cut, Grid};
use super::rig::{Rig, TX, TY, TZ, U, V, W, mean, sheet};
use super::{Problem, Provenance, gate};
use crate::error::SolveError;
use std::f64::consts::{FRAC_PI_2, PI};

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "mh-straight-beam",
        title: "Straight cantilever under pull, in-plane force, out-of-plane force and torque",
        source: "R. H. MacNeal, R. L. Harder, Finite Elem. Anal. Des. 1 (1985) 3-20, Fig. 3 and Table 3",
        provenance: Provenance::Recomputed,
        note: "Targets without shear strain through the thickness and with the thin-plate torsion constant b t^3/3; \
               the paper's solid values are 3.0e-5, 0.1081, 0.4321 and 0.03208.",
        targets: &[
            gate("tip displacement, axial", "length", 3e-5, 0.01),
            gate("tip displacement, in plane", "length", 0.108, 0.01),
            gate("tip displacement, out of plane", "length", 0.432, 0.01),
            gate("tip twist", "rad", 0.0234, 0.03),
        ],
        run: straight,
    },
    Problem {
        id: "mh-curved-beam",
        title: "Quarter-ring cantilever, in plane and out of plane",
        source: "R. H. MacNeal, R. L. Harder, Finite Elem. Anal. Des. 1 (1985) 3-20, Fig. 4 and Table 3; exact \
                 plane-stress solution of Golovin in S. Timoshenko, J. N. Goodier, Theory of Elasticity",
        provenance: Provenance::Recomputed,
        note: "Out of plane with the thin-plate torsion constant; a solid gives 0.5006.",
        targets: &[
            gate("tip displacement, radial", "length", 0.088_565_5, 0.02),
            gate("tip displacement, out of plane", "length", 0.4545, 0.02),
        ],
        run: quarter_ring,
    },
    Problem {
        id: "twisted-beam-thick",
        title: "Cantilever twisted by 90 degrees, thickness 0.32",
        source: "P. Krysl, J.-S. Chen, Arch. Comput. Methods Eng. (2022/2023), preprint of 13 July 2022, Table 10 \
                 (shear-rigid limits); R. H. MacNeal, R. L. Harder (1985): 0.001754 and 0.005424",
        provenance: Provenance::Read,
        note: "",
        targets: &[
            gate("tip displacement, across the tip", "length", 0.001_749, 0.01),
            gate("tip displacement, along the tip", "length", 0.005_399, 0.01),
        ],
        run: twisted,
    },
];

fn straight() -> Result<Vec<f64>, SolveError> {
    let grid = Grid::mapped([96, 4], Cut::Cross, |s, t| [6.0 * s, 0.2 * (t - 0.5), 0.0]);
    let tip = grid.first(1);
    let answer = |component: usize| {
        let mut rig = Rig::new(&grid, sheet(1e7, 0.3, 0.1));
        // The root may contract sideways, as a beam's does.
        rig.hold(grid.first(0), &[U, W, TX, TY, TZ]);
        rig.hold([grid.at(0, 2)], &[V]);
        rig.line(&tip, component, 1.0);
        Ok(mean(&rig.solve()?, &tip, component))
    };
    [U, V, W, TX].into_iter().map(answer).collect()
}

fn quarter_ring() -> Result<Vec<f64>, SolveError> {
    let grid = Grid::mapped([96, 6], Cut::Cross, |s, t| {
        let (sin, cos) = (FRAC_PI_2 * s).sin_cos();
        let r = 4.32 - 0.2 * t;
        [r * sin, r * cos, 0.0]
    });
    let tip = grid.first(1);
    let answer = |component: usize| {
        let mut rig = Rig::new(&grid, sheet(1e7, 0.25, 0.1));
        rig.clamp(grid.first(0));
        rig.line(&tip, component, 1.0);
        Ok(mean(&rig.solve()?, &tip, component).abs())
    };
    // The free end lies on the x axis: radial there is x.
    [U, W].into_iter().map(answer).collect()
}

fn twisted() -> Result<Vec<f64>, SolveError> {
    let grid = Grid::mapped([96, 12], Cut::Cross, |p, q| {
        let (sin, cos) = (PI / 2.0 * p).sin_cos();
        let s = 1.1 * (q - 0.5);
        [12.0 * p, s * cos, s * sin]
    });
    let tip = grid.first(1);
    let answer = |component: usize| {
        let mut rig = Rig::new(&grid, sheet(29e6, 0.22, 0.32));
        rig.clamp(grid.first(0));
        rig.line(&tip, component, 1.0);
        Ok(rig.solve()?.displacement[grid.at(96, 6) as usize][component])
    };
    [V, W].into_iter().map(answer).collect()
}
