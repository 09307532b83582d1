//! Layered plates under transverse load: cylindrical bending and square plates.

use super::grids::{Cut, Grid};
use super::rig::{Rig, TX, TY, TZ, U, V, W, at, equal_plies, symmetry};
use super::{Problem, Provenance, Target, gate, show};
use crate::error::SolveError;
use std::f64::consts::PI;

/// Ply of the elasticity solutions: E1, E2, nu12, G12 over E2.
const PLY: [f64; 4] = [25.0, 1.0, 0.25, 0.5];

const PAGANO: &str = "N. J. Pagano, J. Compos. Mater. 3 (1969) 398-411";
const PAGANO_SQUARE: &str =
    "N. J. Pagano, J. Compos. Mater. 4 (1970) 20-34; N. J. Pagano, S. J. Hatfield, AIAA J. 10 (1972) 931-933";
const THICK: &str = "S is span over thickness. The targets include transverse shear, this shell does not: rows below S = 100 \
                     show by how much that matters.";

const DEFLECTION: &str = "100 E2 h^3 w/(q L^4)";
const TOP: &str = "top stress/(q S^2)";
const BOTTOM: &str = "bottom stress/(q S^2)";

const fn shown(deflection: f64, top: f64, bottom: f64) -> [Target; 3] {
    [show(DEFLECTION, "-", deflection, 0.01), show(TOP, "-", top, 0.01), show(BOTTOM, "-", bottom, 0.01)]
}

const fn judged(deflection: f64, top: f64, bottom: f64) -> [Target; 3] {
    [gate(DEFLECTION, "-", deflection, 0.01), gate(TOP, "-", top, 0.01), gate(BOTTOM, "-", bottom, 0.01)]
}

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "pagano-cylindrical-0",
        title: "Cylindrical bending, one ply, S = 10, 50, 100",
        source: PAGANO,
        provenance: Provenance::Recomputed,
        note: THICK,
        targets: [
            shown(0.73188, 0.65692, -0.65513),
            shown(0.50121, 0.60991, -0.6099),
            judged(0.49396, 0.60842, -0.60842),
        ]
        .as_flattened(),
        run: || spans(&[0.0], &[10.0, 50.0, 100.0]),
    },
    Problem {
        id: "pagano-cylindrical-0-90",
        title: "Cylindrical bending, two plies 0/90, S = 10, 50, 100",
        source: PAGANO,
        provenance: Provenance::Recomputed,
        note: THICK,
        targets: [
            shown(2.95379, 0.19829, -1.76528),
            shown(2.63226, 0.18972, -1.7449),
            judged(2.62219, 0.18945, -1.74426),
        ]
        .as_flattened(),
        run: || spans(&[0.0, 90.0], &[10.0, 50.0, 100.0]),
    },
    Problem {
        id: "pagano-cylindrical-0-90-0",
        title: "Cylindrical bending, three plies 0/90/0, S = 4, 10, 50, 100",
        source: PAGANO,
        provenance: Provenance::Recomputed,
        note: THICK,
        targets: [
            shown(2.88723, 1.1755, -1.13153),
            shown(0.93164, 0.7367, -0.7363),
            shown(0.52698, 0.6348, -0.63485),
            judged(0.51399, 0.63146, -0.63147),
        ]
        .as_flattened(),
        run: || spans(&[0.0, 90.0, 0.0], &[4.0, 10.0, 50.0, 100.0]),
    },
    Problem {
        id: "pagano-square-0-90-0",
        title: "Square plate under a sine load, 0/90/0, S = 4, 10, 100",
        source: PAGANO_SQUARE,
        provenance: Provenance::Recomputed,
        note: THICK,
        targets: &[
            show(DEFLECTION, "-", 2.00591, 0.01),
            show(TOP, "-", 0.80084, 0.01),
            show(DEFLECTION, "-", 0.75303, 0.01),
            show(TOP, "-", 0.59059, 0.01),
            gate(DEFLECTION, "-", 0.43472, 0.01),
            gate(TOP, "-", 0.53926, 0.01),
        ],
        run: || squares(&[0.0, 90.0, 0.0]),
    },
    Problem {
        id: "pagano-square-0-90-90-0",
        title: "Square plate under a sine load, 0/90/90/0, S = 4, 10, 100",
        source: PAGANO_SQUARE,
        provenance: Provenance::Recomputed,
        note: THICK,
        targets: &[
            show(DEFLECTION, "-", 1.93672, 0.01),
            show(TOP, "-", 0.72026, 0.01),
            show(DEFLECTION, "-", 0.73698, 0.01),
            show(TOP, "-", 0.55861, 0.01),
            gate(DEFLECTION, "-", 0.4346, 0.01),
            gate(TOP, "-", 0.53885, 0.01),
        ],
        run: || squares(&[0.0, 90.0, 90.0, 0.0]),
    },
    Problem {
        id: "navier-0-90-uniform",
        title: "Square plates 0/90 and 0/90/90/0 under uniform pressure",
        source: "J. N. Reddy, Mechanics of Laminated Composite Plates and Shells (2004), Navier solutions",
        provenance: Provenance::Recomputed,
        note: "Side over thickness 1000. Edges slide along their normal: tests the coupling of the two-ply stack.",
        targets: &[
            gate("100 E2 h^3 w/(q a^4), 0/90", "-", 1.69547, 0.005),
            gate("100 E2 h^3 w/(q a^4), 0/90/90/0", "-", 0.67967, 0.005),
        ],
        run: navier,
    },
];

/// Strip of unit span in plane strain under a sine load: deflection, top and bottom stress at mid-span.
fn strip(angles_deg: &[f64], span_over_thickness: f64) -> Result<[f64; 3], SolveError> {
    let h = 1.0 / span_over_thickness;
    let n = 100;
    // Half the span, from the support to the plane of symmetry.
    let grid = Grid::rectangle([0.5, 0.01], [n, 2], Cut::Cross);
    let mut rig = Rig::new(&grid, equal_plies(h, PLY, angles_deg));
    rig.hold(grid.all(), &[V, TX, TZ]);
    rig.hold(grid.first(0), &[W]);
    rig.hold(grid.first(1), &symmetry(U));
    rig.area(|p| [0.0, 0.0, (PI * p[0]).sin()]);
    let s = rig.solve()?;
    let middle = grid.at(n, 1);
    let strain = rig.node_strain(&s, middle);
    let laminate = &rig.model.laminates[0];
    let face = |ply: usize, z: f64| laminate.stress_at(ply, z, &strain, 0.0)[0] * h * h;
    let w = 100.0 * h.powi(3) * at(&s, middle, W);
    Ok([w, face(angles_deg.len() - 1, 0.5 * h), face(0, -0.5 * h)])
}

fn spans(angles_deg: &[f64], spans: &[f64]) -> Result<Vec<f64>, SolveError> {
    let mut out = Vec::new();
    for &s in spans {
        out.extend(strip(angles_deg, s)?);
    }
    Ok(out)
}

/// Quarter of a unit square plate, centre at the origin: deflection and top stress x at the centre.
fn square(angles_deg: &[f64], h: f64, pressure: impl Fn([f64; 3]) -> f64) -> Result<[f64; 2], SolveError> {
    let n = 32;
    let grid = Grid::rectangle([0.5, 0.5], [n, n], Cut::Cross);
    let mut rig = Rig::new(&grid, equal_plies(h, PLY, angles_deg));
    rig.hold(grid.first(0), &symmetry(U));
    rig.hold(grid.second(0), &symmetry(V));
    rig.hold(grid.first(1), &[W, V, TX]);
    rig.hold(grid.second(1), &[W, U, TY]);
    rig.area(|p| [0.0, 0.0, pressure(p)]);
    let s = rig.solve()?;
    let centre = grid.at(0, 0);
    let strain = rig.node_strain(&s, centre);
    let top = rig.model.laminates[0].stress_at(angles_deg.len() - 1, 0.5 * h, &strain, 0.0)[0];
    Ok([100.0 * h.powi(3) * at(&s, centre, W), top * h * h])
}

fn squares(angles_deg: &[f64]) -> Result<Vec<f64>, SolveError> {
    let mut out = Vec::new();
    for span in [4.0, 10.0, 100.0] {
        out.extend(square(angles_deg, 1.0 / span, |p| (PI * p[0]).cos() * (PI * p[1]).cos())?);
    }
    Ok(out)
}

fn navier() -> Result<Vec<f64>, SolveError> {
    let deflection = |angles: &[f64]| Ok(square(angles, 1e-3, |_| 1.0)?[0]);
    Ok(vec![deflection(&[0.0, 90.0])?, deflection(&[0.0, 90.0, 90.0, 0.0])?])
}
