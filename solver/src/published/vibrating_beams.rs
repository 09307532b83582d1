//! Vibration of beams: strips held to bending in one plane.

use super::grids::{Cut, Grid};
use super::rig::{Rig, TX, TY, TZ, U, V, W, at, sheet};
use super::{Problem, Provenance, gate};
use crate::error::SolveError;
use crate::laminate::Laminate;
use crate::modes::{Modal, ModeWishes, Modes, modes, modes_about};
use crate::swing::{DeadLoad, Level, Loads, MovingLoad, Path};
use nalgebra::{Matrix6, Vector6};

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "eb-roots",
        title: "Bending frequencies of a uniform beam",
        source: "R. D. Blevins, Formulas for Natural Frequency and Mode Shape (1979)",
        provenance: Provenance::Recomputed,
        note: "Roots of the transcendental equations in 25 digits; omega = beta^2 sqrt(EI/m).",
        targets: &[
            gate("clamped-free, beta L, mode 1", "-", 1.87510407, 0.002),
            gate("clamped-free, beta L, mode 2", "-", 4.69409113, 0.002),
            gate("clamped-free, beta L, mode 3", "-", 7.85475744, 0.002),
            gate("clamped-free, beta L, mode 4", "-", 10.9955407, 0.002),
            gate("clamped-clamped, beta L, mode 1", "-", 4.73004074, 0.002),
            gate("clamped-clamped, beta L, mode 2", "-", 7.85320462, 0.002),
            gate("clamped-clamped, beta L, mode 3", "-", 10.9956078, 0.002),
            gate("clamped-clamped, beta L, mode 4", "-", 14.1371655, 0.002),
            gate("clamped-pinned, beta L, mode 1", "-", 3.92660231, 0.002),
            gate("clamped-pinned, beta L, mode 2", "-", 7.06858275, 0.002),
            gate("clamped-pinned, beta L, mode 3", "-", 10.2101761, 0.002),
            gate("clamped-pinned, beta L, mode 4", "-", 13.3517688, 0.002),
            gate("clamped-guided, beta L, mode 1", "-", 2.36502037, 0.002),
            gate("clamped-guided, beta L, mode 2", "-", 5.49780392, 0.002),
            gate("clamped-guided, beta L, mode 3", "-", 8.63937983, 0.002),
            gate("clamped-guided, beta L, mode 4", "-", 11.7809725, 0.002),
        ],
        run: roots,
    },
    Problem {
        id: "tip-mass",
        title: "Cantilever with a point mass at its tip",
        source: "P. A. A. Laura, J. L. Pombo, E. A. Susemihl, J. Sound Vib. 37 (1974) 161-168",
        provenance: Provenance::Recomputed,
        note: "mu: tip mass over the mass of the beam; no rotary inertia of the tip mass.",
        targets: &[
            gate("mu 0, beta L, mode 1", "-", 1.8751041, 0.002),
            gate("mu 0, beta L, mode 2", "-", 4.6940911, 0.002),
            gate("mu 0, beta L, mode 3", "-", 7.8547574, 0.002),
            gate("mu 0.1, beta L, mode 1", "-", 1.7227415, 0.002),
            gate("mu 0.1, beta L, mode 2", "-", 4.3995228, 0.002),
            gate("mu 0.1, beta L, mode 3", "-", 7.4510567, 0.002),
            gate("mu 0.25, beta L, mode 1", "-", 1.5737513, 0.002),
            gate("mu 0.25, beta L, mode 2", "-", 4.2251129, 0.002),
            gate("mu 0.25, beta L, mode 3", "-", 7.2812364, 0.002),
            gate("mu 0.5, beta L, mode 1", "-", 1.4199644, 0.002),
            gate("mu 0.5, beta L, mode 2", "-", 4.1111334, 0.002),
            gate("mu 0.5, beta L, mode 3", "-", 7.1903352, 0.002),
            gate("mu 1, beta L, mode 1", "-", 1.2479174, 0.002),
            gate("mu 1, beta L, mode 2", "-", 4.0311394, 0.002),
            gate("mu 1, beta L, mode 3", "-", 7.1341322, 0.002),
            gate("mu 2, beta L, mode 1", "-", 1.0761957, 0.002),
            gate("mu 2, beta L, mode 2", "-", 3.9825733, 0.002),
            gate("mu 2, beta L, mode 3", "-", 7.1026502, 0.002),
            gate("mu 5, beta L, mode 1", "-", 0.87002146, 0.002),
            gate("mu 5, beta L, mode 2", "-", 3.9499805, 0.002),
            gate("mu 5, beta L, mode 3", "-", 7.0825376, 0.002),
            gate("mu 10, beta L, mode 1", "-", 0.73578192, 0.002),
            gate("mu 10, beta L, mode 2", "-", 3.9384658, 0.002),
            gate("mu 10, beta L, mode 3", "-", 7.0756164, 0.002),
        ],
        run: tip_mass,
    },
    Problem {
        id: "prestressed-beam",
        title: "Beam under an axial force",
        source: "A. Bokaian, J. Sound Vib. 142 (1990) 481-498; exact characteristic equations",
        provenance: Provenance::Recomputed,
        note: "p = T L^2/EI, tension positive; the force at the free end keeps its direction. Modes about the loaded state.",
        targets: &[
            gate("clamped-clamped, p -1, omega L^2 sqrt(m/EI), mode 1", "-", 22.096464, 0.005),
            gate("clamped-clamped, p -1, omega L^2 sqrt(m/EI), mode 2", "-", 61.298262, 0.005),
            gate("clamped-clamped, p 5, omega L^2 sqrt(m/EI), mode 1", "-", 23.70429, 0.005),
            gate("clamped-clamped, p 5, omega L^2 sqrt(m/EI), mode 2", "-", 63.510163, 0.005),
            gate("clamped-clamped, p 10, omega L^2 sqrt(m/EI), mode 1", "-", 24.957437, 0.005),
            gate("clamped-clamped, p 10, omega L^2 sqrt(m/EI), mode 2", "-", 65.292139, 0.005),
            gate("clamped-clamped, p 50, omega L^2 sqrt(m/EI), mode 1", "-", 33.176262, 0.005),
            gate("clamped-clamped, p 50, omega L^2 sqrt(m/EI), mode 2", "-", 77.999675, 0.005),
            gate("clamped-free, p -1, omega L^2 sqrt(m/EI), mode 1", "-", 2.7536249, 0.005),
            gate("clamped-free, p -1, omega L^2 sqrt(m/EI), mode 2", "-", 21.284647, 0.005),
            gate("clamped-free, p 5, omega L^2 sqrt(m/EI), mode 1", "-", 5.768199, 0.005),
            gate("clamped-free, p 5, omega L^2 sqrt(m/EI), mode 2", "-", 25.40591, 0.005),
            gate("clamped-free, p 50, omega L^2 sqrt(m/EI), mode 1", "-", 13.115014, 0.005),
            gate("clamped-free, p 50, omega L^2 sqrt(m/EI), mode 2", "-", 43.821398, 0.005),
        ],
        run: prestressed,
    },
    Problem {
        id: "stepped-cantilever",
        title: "Cantilever of doubled thickness over the part a at its root",
        source: "Beam theory; deflection (1-(1-a)^3)/24 + (1-a)^3/3",
        provenance: Provenance::Recomputed,
        note: "Frequencies by 120 Hermite elements; m and EI of the thin part.",
        targets: &[
            gate("a 0.25, omega L^2 sqrt(m/EI), mode 1", "-", 5.569253, 0.005),
            gate("a 0.25, omega L^2 sqrt(m/EI), mode 2", "-", 31.25003, 0.005),
            gate("a 0.25, omega L^2 sqrt(m/EI), mode 3", "-", 75.97774, 0.005),
            gate("a 0.25, tip deflection w EI/(P L^3)", "-", 0.164713542, 0.005),
            gate("a 0.5, omega L^2 sqrt(m/EI), mode 1", "-", 8.36229, 0.005),
            gate("a 0.5, omega L^2 sqrt(m/EI), mode 2", "-", 29.73589, 0.005),
            gate("a 0.5, omega L^2 sqrt(m/EI), mode 3", "-", 88.19104, 0.005),
            gate("a 0.5, tip deflection w EI/(P L^3)", "-", 0.078125, 0.005),
            gate("a 0.75, omega L^2 sqrt(m/EI), mode 1", "-", 8.66374, 0.005),
            gate("a 0.75, omega L^2 sqrt(m/EI), mode 2", "-", 43.73034, 0.005),
            gate("a 0.75, omega L^2 sqrt(m/EI), mode 3", "-", 96.27242, 0.005),
            gate("a 0.75, tip deflection w EI/(P L^3)", "-", 0.046223958, 0.005),
        ],
        run: stepped,
    },
    Problem {
        id: "forced-undamped",
        title: "Tip of a cantilever under a harmonic tip force, undamped",
        source: "R. E. D. Bishop, D. C. Johnson, The Mechanics of Vibration (1960)",
        provenance: Provenance::Recomputed,
        note: "From eight modes and the static correction of the same factor; frequencies as shares of the first one found.",
        targets: &[
            gate("f/f1 0.2, w EI/(F L^3)", "-", 0.34682366, 0.01),
            gate("f/f1 0.5, w EI/(F L^3)", "-", 0.44124128, 0.01),
            gate("f/f1 0.9, w EI/(F L^3)", "-", 1.7129088, 0.01),
            gate("f/f1 1.1, w EI/(F L^3)", "-", 1.5307379, 0.01),
            gate("f/f1 2, w EI/(F L^3)", "-", 0.097134474, 0.01),
            gate("f/f1 5, w EI/(F L^3)", "-", 0.010818045, 0.01),
        ],
        run: forced,
    },
];

/// Width of the strips; their length is 1, and so are mass per area and bending stiffness per width.
const WIDTH: f64 = 0.05;

/// Thickness: rotary inertia and stretching are out of reach.
const THICKNESS: f64 = 1e-3;

/// A sheet of bending stiffness `factor^3` and mass `factor` per area, thickness [`THICKNESS`] times `factor`.
fn strip(factor: f64) -> Laminate {
    let h = THICKNESS * factor;
    weighed(sheet(12.0 / THICKNESS.powi(3), 0.0, h), factor, h)
}

/// A laminate of this mass per area and thickness, mass even through it.
pub(super) fn weighed(laminate: Laminate, per_area: f64, thickness: f64) -> Laminate {
    Laminate { mass: [per_area, 0.0, per_area * thickness * thickness / 12.0], ..laminate }
}

/// A strip along x that bends in one plane; `slides`: it may also stretch.
fn beam(n: u32, slides: bool) -> (Grid, Rig) {
    let grid = Grid::rectangle([1.0, WIDTH], [n, 1], Cut::Cross);
    let mut rig = Rig::new(&grid, strip(1.0));
    rig.hold(grid.all(), &[V, TX, TZ]);
    if !slides {
        rig.hold(grid.all(), &[U]);
    }
    rig.hold(grid.first(0), &[U, W, TY]);
    (grid, rig)
}

/// `beta L` of the first modes; omega = beta^2 here.
fn betas(found: &Modes, count: usize) -> Vec<f64> {
    found.modes.iter().take(count).map(|m| m.eigenvalue.max(0.0).powf(0.25)).collect()
}

fn wishes(count: usize) -> ModeWishes<'static> {
    ModeWishes { count: count + 2, ..ModeWishes::default() }
}

fn roots() -> Result<Vec<f64>, SolveError> {
    let ends: [&[usize]; 4] = [&[], &[W, TY], &[W], &[TY]];
    let mut all = Vec::new();
    for held in ends {
        let (grid, mut rig) = beam(64, false);
        rig.hold(grid.first(1), held);
        all.extend(betas(&modes(&rig.model, &wishes(4))?, 4));
    }
    Ok(all)
}

fn tip_mass() -> Result<Vec<f64>, SolveError> {
    let mut all = Vec::new();
    for mu in [0.0, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0] {
        let (grid, mut rig) = beam(64, false);
        for node in grid.first(1) {
            let mut mass = Matrix6::zeros();
            mass.fixed_view_mut::<3, 3>(0, 0).fill_diagonal(0.5 * mu * WIDTH);
            rig.model.node_mass.push((node, mass));
        }
        all.extend(betas(&modes(&rig.model, &wishes(3))?, 3));
    }
    Ok(all)
}

fn prestressed() -> Result<Vec<f64>, SolveError> {
    let cases =
        [(true, -1.0), (true, 5.0), (true, 10.0), (true, 50.0), (false, -1.0), (false, 5.0), (false, 50.0)];
    let mut all = Vec::new();
    for (clamped, p) in cases {
        let (grid, mut rig) = beam(64, true);
        if clamped {
            rig.hold(grid.first(1), &[W, TY]);
        }
        rig.line(&grid.first(1), U, p * WIDTH);
        let load = DeadLoad { nodal: rig.load.nodal.clone() };
        let steady: [&dyn MovingLoad; 1] = [&load];
        let mut path = Path::new(&rig.model, Loads { steady: &steady, driven: None })?;
        path.to_level(Level { steady: 1.0, ..Level::default() })?;
        let found = modes_about(&mut path, &wishes(2))?;
        all.extend(betas(&found, 2).iter().map(|beta| beta * beta));
    }
    Ok(all)
}

fn stepped() -> Result<Vec<f64>, SolveError> {
    let mut all = Vec::new();
    for a in [0.25, 0.5, 0.75] {
        let (grid, mut rig) = beam(64, false);
        rig.model.laminates.push(strip(2.0));
        for (t, corners) in rig.model.triangles.iter().enumerate() {
            let middle: f64 = corners.iter().map(|&n| rig.model.nodes_m[n as usize][0]).sum::<f64>() / 3.0;
            rig.model.laminate_of[t] = u32::from(middle < a);
        }
        all.extend(betas(&modes(&rig.model, &wishes(3))?, 3).iter().map(|beta| beta * beta));
        rig.line(&grid.first(1), W, WIDTH);
        all.push(at(&rig.solve()?, grid.first(1)[0], W));
    }
    Ok(all)
}

fn forced() -> Result<Vec<f64>, SolveError> {
    let (grid, rig) = beam(64, false);
    let modal = Modal::at_rest(&rig.model, &wishes(6))?;
    let tip = grid.first(1);
    let mut nodal = vec![Vector6::zeros(); rig.model.nodes_m.len()];
    for &node in &tip {
        nodal[node as usize][W] = 1.0 / super::rig::count_of(&tip);
    }
    let per_width = |x: &[Vector6<f64>]| x[tip[0] as usize][W] * WIDTH;
    let rest = per_width(&modal.static_correction(&nodal)?);
    let loads = modal.modal_load(&nodal);
    let first = modal.modes.modes.first().map_or(0.0, |m| m.eigenvalue);
    let amplitude = |ratio: f64| {
        let parts = modal.modes.modes.iter().zip(&loads);
        let sum: f64 =
            parts.map(|(m, f)| per_width(&m.shape) * f / (m.eigenvalue - ratio * ratio * first)).sum();
        (sum + rest).abs()
    };
    Ok([0.2, 0.5, 0.9, 1.1, 2.0, 5.0].map(amplitude).to_vec())
}
