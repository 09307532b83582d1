//! Flat plates: simply supported, clamped, round, skew.

use super::grids::{Cut, Grid};
use super::rig::{Rig, TX, TY, TZ, U, V, W, at, sheet, symmetry};
use super::{Problem, Provenance, gate, show};
use crate::error::SolveError;

const MACNEAL_HARDER: &str = "R. H. MacNeal, R. L. Harder, Finite Elem. Anal. Des. 1 (1985) 3-20, Table 4; S. \
                              Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells";

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "mh-plate-ss",
        title: "Simply supported rectangular plates",
        source: MACNEAL_HARDER,
        provenance: Provenance::Recomputed,
        note: "Targets from the double sine series.",
        targets: &[
            gate("centre, pressure, sides 1:1", "length", 4.062_35, 0.005),
            gate("centre, pressure, sides 1:5", "length", 12.970_83, 0.005),
            gate("centre, point force, sides 1:1", "length", 11.600_84, 0.005),
            gate("centre, point force, sides 1:5", "length", 16.960_99, 0.005),
        ],
        run: simply_supported,
    },
    Problem {
        id: "mh-plate-clamped-square",
        title: "Clamped square plate",
        source: MACNEAL_HARDER,
        provenance: Provenance::Recomputed,
        note: "Targets from a high-order Ritz solution.",
        targets: &[
            gate("centre, pressure", "length", 1.265_32, 0.01),
            gate("centre, point force", "length", 5.6118, 0.01),
        ],
        run: clamped_square,
    },
    Problem {
        id: "circular-plate",
        title: "Circular plate, three closed forms",
        source: "S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells: 1/64, (5+nu)/(64(1+nu)), 1/(16 pi)",
        provenance: Provenance::Recomputed,
        note: "Straight-sided rim of 144 sides; the simply supported rim leaves both rotations free.",
        targets: &[
            gate("w D/(q a^4), clamped", "-", 0.015_625, 0.01),
            gate("w D/(q a^4), simply supported", "-", 0.063_701_923_1, 0.01),
            gate("w D/(P a^2), clamped, centre force", "-", 0.019_894_367_9, 0.01),
        ],
        run: circular,
    },
    Problem {
        id: "razzaque-skew-plate",
        title: "Skew plate of 60 degrees, two opposite edges supported",
        source: "A. Razzaque, Int. J. Numer. Meth. Engng 6 (1973) 333-343: 0.007945",
        provenance: Provenance::Recomputed,
        note: "Target from a Ritz solution in skew coordinates.",
        targets: &[gate("w D/(q L^4) at the centre", "-", 0.007_932_5, 0.01)],
        run: skew_60,
    },
    Problem {
        id: "skew-plate-30",
        title: "Simply supported rhombic plate with acute corners of 30 degrees",
        source: "L. S. D. Morley, Skew Plates and Structures (1963): 0.000408",
        provenance: Provenance::Memory,
        note: "Strong singularity at the obtuse corners; bounds found otherwise are 0.00038 and 0.00043.",
        targets: &[show("w D/(q L^4) at the centre", "-", 0.000_408, 0.05)],
        run: skew_30,
    },
];

/// Quarter of a rectangular plate with its centre at the origin: [pressure, point force] deflections of the centre.
fn quarter(half: [f64; 2], n: [u32; 2], clamped: bool) -> Result<[f64; 2], SolveError> {
    let grid = Grid::rectangle(half, n, Cut::Cross);
    let mut rig = Rig::new(&grid, sheet(1.7472e7, 0.3, 1e-4));
    rig.hold(grid.all(), &[U, V, TZ]);
    rig.hold(grid.first(0), &symmetry(U));
    rig.hold(grid.second(0), &symmetry(V));
    for (edge, along) in [(grid.first(1), TX), (grid.second(1), TY)] {
        // The deflection is zero all along the edge, so its slope is too.
        rig.hold(edge.iter().copied(), if clamped { &[W, TX, TY] } else { &[W] });
        rig.hold(edge, &[along]);
    }
    let mut point = rig.clone();
    rig.area(|_| [0.0, 0.0, 1e-4]);
    point.force(grid.at(0, 0), W, 1e-4);
    let centre = grid.at(0, 0);
    Ok([at(&rig.solve()?, centre, W), at(&point.solve()?, centre, W)])
}

fn simply_supported() -> Result<Vec<f64>, SolveError> {
    let square = quarter([1.0, 1.0], [24, 24], false)?;
    let long = quarter([1.0, 5.0], [24, 72], false)?;
    Ok(vec![square[0], long[0], square[1], long[1]])
}

fn clamped_square() -> Result<Vec<f64>, SolveError> {
    Ok(quarter([1.0, 1.0], [32, 32], true)?.to_vec())
}

fn circular() -> Result<Vec<f64>, SolveError> {
    let (e, nu, t) = (1e9f64, 0.3f64, 0.005f64);
    let d = e * t.powi(3) / (12.0 * (1.0 - nu * nu));
    let grid = Grid::disc(1.0, 24);
    let answer = |clamped: bool, point: bool| {
        let mut rig = Rig::new(&grid, sheet(e, nu, t));
        rig.hold(grid.all(), &[U, V, TZ]);
        rig.hold(grid.rim(), if clamped { &[W, TX, TY] } else { &[W] });
        if point {
            rig.force(0, W, 1.0);
        } else {
            rig.area(|_| [0.0, 0.0, 1.0]);
        }
        Ok(at(&rig.solve()?, 0, W) * d)
    };
    [(true, false), (false, false), (true, true)].into_iter().map(|(c, p)| answer(c, p)).collect()
}

/// Rhombic plate under unit pressure: w D / (q L^4) at the centre.
fn rhombus(
    side: f64,
    acute_deg: f64,
    n: u32,
    [e, nu, t]: [f64; 3],
    all_round: bool,
) -> Result<f64, SolveError> {
    let (sin, cos) = acute_deg.to_radians().sin_cos();
    // The falling cut joins the obtuse corners: the better-shaped triangles.
    let grid = Grid::mapped([n, n], Cut::Falling, |p, q| [side * (p + q * cos), side * q * sin, 0.0]);
    let mut rig = Rig::new(&grid, sheet(e, nu, t));
    rig.hold(grid.all(), &[U, V, TZ]);
    rig.hold(grid.second(0).into_iter().chain(grid.second(1)), &[W]);
    if all_round {
        rig.hold(grid.sides(), &[W]);
    }
    rig.area(|_| [0.0, 0.0, 1.0]);
    let d = e * t.powi(3) / (12.0 * (1.0 - nu * nu));
    Ok(at(&rig.solve()?, grid.at(n / 2, n / 2), W) * d / side.powi(4))
}

fn skew_60() -> Result<Vec<f64>, SolveError> {
    Ok(vec![rhombus(10.0, 60.0, 40, [1085.0, 0.31, 0.01], false)?])
}

fn skew_30() -> Result<Vec<f64>, SolveError> {
    Ok(vec![rhombus(1.0, 30.0, 64, [1e7, 0.3, 0.001], true)?])
}
