//! Vibration of plates: one sheet and laminates.

use super::grids::{Cut, Grid};
use super::rig::{Rig, TX, TY, TZ, U, V, W, at, equal_plies, sheet};
use super::vibrating_beams::weighed;
use super::{Problem, Provenance, gate};
use crate::error::SolveError;
use crate::model::Model;
use crate::modes::{ModeWishes, modes};
use std::f64::consts::TAU;

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "cantilever-plate",
        title: "Cantilever plates, sides 2:3, 1:1, 3:2, 2:1",
        source: "A. W. Leissa, J. Sound Vib. 31 (1973) 257-293, class CFFF",
        provenance: Provenance::Recomputed,
        note: "Converged Ritz solutions; a is the side away from the clamp.",
        targets: &[
            gate("a/b 0.667, omega a^2 sqrt(rho h/D), mode 1", "-", 3.48517, 0.005),
            gate("a/b 0.667, omega a^2 sqrt(rho h/D), mode 2", "-", 6.38855, 0.005),
            gate("a/b 0.667, omega a^2 sqrt(rho h/D), mode 3", "-", 14.46715, 0.005),
            gate("a/b 0.667, omega a^2 sqrt(rho h/D), mode 4", "-", 21.91582, 0.005),
            gate("a/b 0.667, omega a^2 sqrt(rho h/D), mode 5", "-", 25.91352, 0.005),
            gate("a/b 0.667, omega a^2 sqrt(rho h/D), mode 6", "-", 31.44815, 0.005),
            gate("a/b 1, omega a^2 sqrt(rho h/D), mode 1", "-", 3.47114, 0.005),
            gate("a/b 1, omega a^2 sqrt(rho h/D), mode 2", "-", 8.50706, 0.005),
            gate("a/b 1, omega a^2 sqrt(rho h/D), mode 3", "-", 21.28581, 0.005),
            gate("a/b 1, omega a^2 sqrt(rho h/D), mode 4", "-", 27.199, 0.005),
            gate("a/b 1, omega a^2 sqrt(rho h/D), mode 5", "-", 30.95764, 0.005),
            gate("a/b 1, omega a^2 sqrt(rho h/D), mode 6", "-", 54.1893, 0.005),
            gate("a/b 1.5, omega a^2 sqrt(rho h/D), mode 1", "-", 3.4536, 0.005),
            gate("a/b 1.5, omega a^2 sqrt(rho h/D), mode 2", "-", 11.65735, 0.005),
            gate("a/b 1.5, omega a^2 sqrt(rho h/D), mode 3", "-", 21.46724, 0.005),
            gate("a/b 1.5, omega a^2 sqrt(rho h/D), mode 4", "-", 39.32961, 0.005),
            gate("a/b 1.5, omega a^2 sqrt(rho h/D), mode 5", "-", 53.54146, 0.005),
            gate("a/b 1.5, omega a^2 sqrt(rho h/D), mode 6", "-", 61.61929, 0.005),
            gate("a/b 2, omega a^2 sqrt(rho h/D), mode 1", "-", 3.43954, 0.005),
            gate("a/b 2, omega a^2 sqrt(rho h/D), mode 2", "-", 14.80352, 0.005),
            gate("a/b 2, omega a^2 sqrt(rho h/D), mode 3", "-", 21.43565, 0.005),
            gate("a/b 2, omega a^2 sqrt(rho h/D), mode 4", "-", 48.18317, 0.005),
            gate("a/b 2, omega a^2 sqrt(rho h/D), mode 5", "-", 60.15457, 0.005),
            gate("a/b 2, omega a^2 sqrt(rho h/D), mode 6", "-", 92.53046, 0.005),
        ],
        run: cantilever_plates,
    },
    Problem {
        id: "free-square-plate",
        title: "Square plate, free all round",
        source: "The Standard NAFEMS Benchmarks, TNSB rev. 3 (1990), FV12",
        provenance: Provenance::Read,
        note: "Three rigid motions lie below; the published values are rounded.",
        targets: &[
            gate("elastic mode 1", "Hz", 1.622, 0.005),
            gate("elastic mode 2", "Hz", 2.36, 0.005),
            gate("elastic mode 3", "Hz", 2.922, 0.005),
            gate("elastic mode 4", "Hz", 4.19, 0.005),
            gate("elastic mode 5", "Hz", 4.19, 0.005),
            gate("elastic mode 6", "Hz", 7.356, 0.005),
            gate("elastic mode 7", "Hz", 7.356, 0.005),
            gate("elastic mode 8", "Hz", 7.668, 0.005),
        ],
        run: free_plate,
    },
    Problem {
        id: "cantilever-square-plate",
        title: "Square plate, one edge clamped",
        source: "The Standard NAFEMS Benchmarks, TNSB rev. 3 (1990), FV16: 0.421, 1.029, 2.582, 3.306, 3.753, 6.555",
        provenance: Provenance::Recomputed,
        note: "Converged thin-plate Ritz values; the published ones are upper bounds up to 1 % above them.",
        targets: &[
            gate("mode 1", "Hz", 0.417946, 0.005),
            gate("mode 2", "Hz", 1.024303, 0.005),
            gate("mode 3", "Hz", 2.562944, 0.005),
            gate("mode 4", "Hz", 3.274928, 0.005),
            gate("mode 5", "Hz", 3.727492, 0.005),
            gate("mode 6", "Hz", 6.524727, 0.005),
        ],
        run: cantilever_square,
    },
    Problem {
        id: "held-square-plates",
        title: "Square plates: all supported, all clamped, two supported, two clamped edges",
        source: "A. W. Leissa, J. Sound Vib. 31 (1973) 257-293",
        provenance: Provenance::Recomputed,
        note: "All supported: pi^2 (m^2 + n^2); others Ritz.",
        targets: &[
            gate("SSSS, omega a^2 sqrt(rho h/D), mode 1", "-", 19.739209, 0.005),
            gate("SSSS, omega a^2 sqrt(rho h/D), mode 2", "-", 49.348022, 0.005),
            gate("SSSS, omega a^2 sqrt(rho h/D), mode 3", "-", 49.348022, 0.005),
            gate("SSSS, omega a^2 sqrt(rho h/D), mode 4", "-", 78.956835, 0.005),
            gate("SSSS, omega a^2 sqrt(rho h/D), mode 5", "-", 98.696044, 0.005),
            gate("CCCC, omega a^2 sqrt(rho h/D), mode 1", "-", 35.985191, 0.005),
            gate("CCCC, omega a^2 sqrt(rho h/D), mode 2", "-", 73.393847, 0.005),
            gate("CCCC, omega a^2 sqrt(rho h/D), mode 3", "-", 73.393847, 0.005),
            gate("CCCC, omega a^2 sqrt(rho h/D), mode 4", "-", 108.216507, 0.005),
            gate("CCCC, omega a^2 sqrt(rho h/D), mode 5", "-", 131.580773, 0.005),
            gate("SFSF, omega a^2 sqrt(rho h/D), mode 1", "-", 9.631385, 0.005),
            gate("SFSF, omega a^2 sqrt(rho h/D), mode 2", "-", 16.134777, 0.005),
            gate("SFSF, omega a^2 sqrt(rho h/D), mode 3", "-", 36.725642, 0.005),
            gate("SFSF, omega a^2 sqrt(rho h/D), mode 4", "-", 38.944959, 0.005),
            gate("SFSF, omega a^2 sqrt(rho h/D), mode 5", "-", 46.738147, 0.005),
            gate("CCFF adjacent, omega a^2 sqrt(rho h/D), mode 1", "-", 6.919851, 0.005),
            gate("CCFF adjacent, omega a^2 sqrt(rho h/D), mode 2", "-", 23.905724, 0.005),
            gate("CCFF adjacent, omega a^2 sqrt(rho h/D), mode 3", "-", 26.585349, 0.005),
            gate("CCFF adjacent, omega a^2 sqrt(rho h/D), mode 4", "-", 47.653941, 0.005),
            gate("CCFF adjacent, omega a^2 sqrt(rho h/D), mode 5", "-", 62.707829, 0.005),
        ],
        run: held_plates,
    },
    Problem {
        id: "angle-ply-frequency",
        title: "Square angle-ply plates +45/-45, edges free to slide along themselves",
        source: "J. N. Reddy, N. D. Phan, J. Sound Vib. 98 (1985) 157-170, Table 4",
        provenance: Provenance::Recomputed,
        note: "Navier solutions that reproduce the published digits; thin: the Kirchhoff limit, solved at a/h = 1000.",
        targets: &[
            gate("2 plies, a/h 100, omega a^2/h sqrt(rho/E2)", "-", 14.6183, 0.005),
            gate("2 plies, a/h thin, omega a^2/h sqrt(rho/E2)", "-", 14.6376, 0.005),
            gate("8 plies, a/h 100, omega a^2/h sqrt(rho/E2)", "-", 25.1757, 0.005),
            gate("8 plies, a/h thin, omega a^2/h sqrt(rho/E2)", "-", 25.2665, 0.005),
        ],
        run: angle_ply,
    },
    Problem {
        id: "cross-ply-frequency",
        title: "Square cross-ply plates, edges free to slide across themselves",
        source: "J. N. Reddy, Mechanics of Laminated Composite Plates and Shells, 2nd ed. (2004), Navier solutions",
        provenance: Provenance::Recomputed,
        note: "Thin: the Kirchhoff limit, solved at a/h = 1000. Coupling lowers the two-ply plate.",
        targets: &[
            gate("0/90, E1/E2 40, a/h 100, omega a^2/h sqrt(rho/E2)", "-", 11.299, 0.005),
            gate("0/90, E1/E2 40, a/h thin, omega a^2/h sqrt(rho/E2)", "-", 11.3086, 0.005),
            gate("0/90/90/0, E1/E2 40, a/h 100, omega a^2/h sqrt(rho/E2)", "-", 18.8362, 0.005),
            gate("0/90/90/0, E1/E2 40, a/h thin, omega a^2/h sqrt(rho/E2)", "-", 18.8913, 0.005),
            gate("0/90, E1/E2 25, a/h 100, omega a^2/h sqrt(rho/E2)", "-", 9.6873, 0.005),
            gate("0/90, E1/E2 25, a/h thin, omega a^2/h sqrt(rho/E2)", "-", 9.6965, 0.005),
            gate("0/90/90/0, E1/E2 25, a/h thin, omega a^2/h sqrt(rho/E2)", "-", 15.2278, 0.005),
        ],
        run: cross_ply,
    },
    Problem {
        id: "lamina-30-cantilever",
        title: "Cantilever strip of one ply with fibres at 30 degrees",
        source: "Ritz solution with the whole bending stiffness, 14 polynomials a direction",
        provenance: Provenance::Recomputed,
        note: "Static part: pressure 10 Pa.",
        targets: &[
            gate("mode 1", "Hz", 18.796, 0.01),
            gate("mode 2", "Hz", 114.56, 0.01),
            gate("mode 3", "Hz", 219.75, 0.01),
            gate("mode 4", "Hz", 319.93, 0.01),
            gate("mode 5", "Hz", 626.0, 0.01),
            gate("deflection at the tip's middle", "mm", 2.8518, 0.01),
            gate("deflection at the tip's corner y = -10 mm", "mm", 3.1077, 0.01),
            gate("deflection at the tip's corner y = +10 mm", "mm", 2.5932, 0.01),
        ],
        run: lamina,
    },
];

/// A thin plate of unit mass per area and unit bending stiffness, nu 0.3, that moves out of its plane only.
fn plate(sides: [f64; 2], n: [u32; 2]) -> (Grid, Rig) {
    const H: f64 = 1e-3;
    let grid = Grid::rectangle(sides, n, Cut::Cross);
    let e = 12.0 * (1.0 - 0.3 * 0.3) / (H * H * H);
    let mut rig = Rig::new(&grid, weighed(sheet(e, 0.3, H), 1.0, H));
    rig.hold(grid.all(), &[U, V, TZ]);
    (grid, rig)
}

/// Angular frequencies of the first modes.
fn omegas(model: &Model, count: usize, lift: f64) -> Result<Vec<f64>, SolveError> {
    let found = modes(model, &ModeWishes { count, lift, ..ModeWishes::default() })?;
    Ok(found.modes.iter().map(|m| m.eigenvalue.max(0.0).sqrt()).collect())
}

fn cantilever(b: f64, n: [u32; 2]) -> Result<Vec<f64>, SolveError> {
    let (grid, mut rig) = plate([1.0, b], n);
    rig.clamp(grid.first(0));
    Ok(omegas(&rig.model, 7, 0.0)?[..6].to_vec())
}

fn cantilever_plates() -> Result<Vec<f64>, SolveError> {
    let cases = [(1.5, [24, 36]), (1.0, [24, 24]), (1.0 / 1.5, [30, 20]), (0.5, [36, 18])];
    let all: Result<Vec<_>, _> = cases.into_iter().map(|(b, n)| cantilever(b, n)).collect();
    Ok(all?.concat())
}

/// Hz per unit of `omega a^2 sqrt(rho h/D)` for the benchmark plate: 10 m square, 0.05 m thick, modulus 200e9 Pa,
/// Poisson 0.3, density 8000.
fn benchmark_hz() -> f64 {
    let d = 200e9 * 0.05f64.powi(3) / (12.0 * (1.0 - 0.3 * 0.3));
    (d / (8000.0 * 0.05)).sqrt() / 100.0 / TAU
}

fn free_plate() -> Result<Vec<f64>, SolveError> {
    let (_, rig) = plate([1.0, 1.0], [24, 24]);
    // Three rigid motions first.
    let all = omegas(&rig.model, 12, 50.0)?;
    Ok(all[3..11].iter().map(|omega| omega * benchmark_hz()).collect())
}

fn cantilever_square() -> Result<Vec<f64>, SolveError> {
    Ok(cantilever(1.0, [24, 24])?.iter().map(|omega| omega * benchmark_hz()).collect())
}

fn held_plates() -> Result<Vec<f64>, SolveError> {
    let mut all = Vec::new();
    for case in 0..4 {
        let (grid, mut rig) = plate([1.0, 1.0], [32, 32]);
        let sides = [grid.first(0), grid.first(1), grid.second(0), grid.second(1)];
        // Slope along an edge that does not move is nothing.
        let simple = [TX, TX, TY, TY];
        for (k, side) in sides.iter().enumerate() {
            match (case, k) {
                (0, _) | (2, 0 | 1) => rig.hold(side.clone(), &[W, simple[k]]),
                (1, _) | (3, 0 | 2) => rig.clamp(side.clone()),
                _ => (),
            }
        }
        all.extend_from_slice(&omegas(&rig.model, 7, 0.0)?[..5]);
    }
    Ok(all)
}

/// First `omega a^2/h sqrt(rho/E2)` of a square laminate of side 1; `along`: in-plane motion held along the edges (else
/// across them).
fn laminate(angles_deg: &[f64], moduli: [f64; 4], a_over_h: f64, along: bool) -> Result<f64, SolveError> {
    const N: u32 = 24;
    let h = 1.0 / a_over_h;
    let grid = Grid::rectangle([1.0, 1.0], [N, N], Cut::Cross);
    let mut rig = Rig::new(&grid, weighed(equal_plies(h, moduli, angles_deg), h, h));
    let [first, second] = if along { [V, U] } else { [U, V] };
    for end in [0, 1] {
        rig.hold(grid.first(end), &[W, TX, first]);
        rig.hold(grid.second(end), &[W, TY, second]);
    }
    Ok(omegas(&rig.model, 2, 0.0)?[0] / h)
}

fn angle_ply() -> Result<Vec<f64>, SolveError> {
    let plies = |pairs: usize| [45.0, -45.0].repeat(pairs);
    let cases = [(1, 100.0), (1, 1000.0), (4, 100.0), (4, 1000.0)];
    cases.into_iter().map(|(pairs, s)| laminate(&plies(pairs), [40.0, 1.0, 0.25, 0.6], s, false)).collect()
}

fn cross_ply() -> Result<Vec<f64>, SolveError> {
    const STIFF: [f64; 4] = [40.0, 1.0, 0.25, 0.6];
    const PLY: [f64; 4] = [25.0, 1.0, 0.25, 0.5];
    let two: &[f64] = &[0.0, 90.0];
    let four: &[f64] = &[0.0, 90.0, 90.0, 0.0];
    let cases = [
        (two, STIFF, 100.0),
        (two, STIFF, 1000.0),
        (four, STIFF, 100.0),
        (four, STIFF, 1000.0),
        (two, PLY, 100.0),
        (two, PLY, 1000.0),
        (four, PLY, 1000.0),
    ];
    cases.into_iter().map(|(angles, moduli, s)| laminate(angles, moduli, s, true)).collect()
}

/// The strip of one ply in SI, 100 x 20 x 0.25 mm.
fn lamina() -> Result<Vec<f64>, SolveError> {
    const H: f64 = 0.25e-3;
    let grid = Grid::mapped([50, 10], Cut::Cross, |s, t| [0.1 * s, 0.02 * (t - 0.5), 0.0]);
    let ply = equal_plies(H, [138e9, 9e9, 0.3, 7.1e9], &[30.0]);
    let mut rig = Rig::new(&grid, weighed(ply, 1550.0 * H, H));
    rig.hold(grid.all(), &[U, V, TZ]);
    rig.clamp(grid.first(0));
    let mut all: Vec<f64> = omegas(&rig.model, 6, 0.0)?[..5].iter().map(|omega| omega / TAU).collect();
    rig.area(|_| [0.0, 0.0, 10.0]);
    let solution = rig.solve()?;
    let tip = grid.first(1);
    all.extend([5, 0, 10].map(|j: usize| at(&solution, tip[j], W) * 1e3));
    Ok(all)
}
