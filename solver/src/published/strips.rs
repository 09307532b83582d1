//! Strips through large motion: elastica under forces, moments and weight, roll-up, lateral buckling.

use super::grids::{Cut, Grid};
use super::rig::{Rig, TX, TY, TZ, U, V, W, along, count_of, sheet};
use super::{Problem, Provenance, gate};
use crate::error::SolveError;
use crate::swing::{DeadLoad, Level, Loads, MovingLoad, Path};

pub(super) const TIP_FORCE: [f64; 17] =
    [0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0];
pub(super) const END_MOMENT: [f64; 13] = [0.05, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.75, 0.8, 0.9, 1.0];
pub(super) const WEIGHT: [f64; 5] = [1.0, 2.0, 5.0, 10.0, 20.0];
pub(super) const SHEAR: [f64; 13] = [0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0];

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "elastica-tip-force",
        title: "Cantilever under a dead end force, large deflection",
        source: "K. E. Bisshopp, D. C. Drucker, Quart. Appl. Math. 3 (1945) 272-275; K. Mattiasson, Int. J. Numer. Meth. Engng 17 (1981) 145-153; elliptic integrals in 30 digits",
        provenance: Provenance::Recomputed,
        note: "Inextensible; a shell strip without transverse contraction behaves so. 40 x 4 cells.",
        targets: &[
            gate("u/L at P L^2/EI 0.25", "-", 0.00411782, 0.001),
            gate("w/L at P L^2/EI 0.25", "-", 0.08274592, 0.001),
            gate("slope at P L^2/EI 0.25", "-", 0.12429244, 0.001),
            gate("u/L at P L^2/EI 0.5", "-", 0.01591896, 0.001),
            gate("w/L at P L^2/EI 0.5", "-", 0.16214358, 0.001),
            gate("slope at P L^2/EI 0.5", "-", 0.24453365, 0.001),
            gate("u/L at P L^2/EI 0.75", "-", 0.03396632, 0.001),
            gate("w/L at P L^2/EI 0.75", "-", 0.23561523, 0.001),
            gate("slope at P L^2/EI 0.75", "-", 0.35752617, 0.001),
            gate("u/L at P L^2/EI 1.0", "-", 0.05643324, 0.001),
            gate("w/L at P L^2/EI 1.0", "-", 0.30172077, 0.001),
            gate("slope at P L^2/EI 1.0", "-", 0.46135195, 0.001),
            gate("u/L at P L^2/EI 1.5", "-", 0.1079415, 0.001),
            gate("w/L at P L^2/EI 1.5", "-", 0.41097821, 0.001),
            gate("slope at P L^2/EI 1.5", "-", 0.63953983, 0.001),
            gate("u/L at P L^2/EI 2.0", "-", 0.16064172, 0.001),
            gate("w/L at P L^2/EI 2.0", "-", 0.49345748, 0.001),
            gate("slope at P L^2/EI 2.0", "-", 0.78174983, 0.001),
            gate("u/L at P L^2/EI 2.5", "-", 0.20995846, 0.001),
            gate("w/L at P L^2/EI 2.5", "-", 0.55565946, 0.001),
            gate("slope at P L^2/EI 2.5", "-", 0.89499675, 0.001),
            gate("u/L at P L^2/EI 3.0", "-", 0.25442018, 0.001),
            gate("w/L at P L^2/EI 3.0", "-", 0.60325344, 0.001),
            gate("slope at P L^2/EI 3.0", "-", 0.98601695, 0.001),
            gate("u/L at P L^2/EI 3.5", "-", 0.29393944, 0.001),
            gate("w/L at P L^2/EI 3.5", "-", 0.64039169, 0.001),
            gate("slope at P L^2/EI 3.5", "-", 1.06011694, 0.001),
            gate("u/L at P L^2/EI 4.0", "-", 0.32894124, 0.001),
            gate("w/L at P L^2/EI 4.0", "-", 0.66996418, 0.001),
            gate("slope at P L^2/EI 4.0", "-", 1.12123935, 0.001),
            gate("u/L at P L^2/EI 4.5", "-", 0.35998717, 0.001),
            gate("w/L at P L^2/EI 4.5", "-", 0.693967, 0.001),
            gate("slope at P L^2/EI 4.5", "-", 1.17227792, 0.001),
            gate("u/L at P L^2/EI 5.0", "-", 0.38762836, 0.001),
            gate("w/L at P L^2/EI 5.0", "-", 0.71379152, 0.001),
            gate("slope at P L^2/EI 5.0", "-", 1.21536812, 0.001),
            gate("u/L at P L^2/EI 6.0", "-", 0.43458883, 0.001),
            gate("w/L at P L^2/EI 6.0", "-", 0.74457115, 0.001),
            gate("slope at P L^2/EI 6.0", "-", 1.28369729, 0.001),
            gate("u/L at P L^2/EI 7.0", "-", 0.47292743, 0.001),
            gate("w/L at P L^2/EI 7.0", "-", 0.7673691, 0.001),
            gate("slope at P L^2/EI 7.0", "-", 1.33495986, 0.001),
            gate("u/L at P L^2/EI 8.0", "-", 0.50482773, 0.001),
            gate("w/L at P L^2/EI 8.0", "-", 0.78498237, 0.001),
            gate("slope at P L^2/EI 8.0", "-", 1.37443151, 0.001),
            gate("u/L at P L^2/EI 9.0", "-", 0.53182056, 0.001),
            gate("w/L at P L^2/EI 9.0", "-", 0.79905553, 0.001),
            gate("slope at P L^2/EI 9.0", "-", 1.40546533, 0.001),
            gate("u/L at P L^2/EI 10.0", "-", 0.5549956, 0.001),
            gate("w/L at P L^2/EI 10.0", "-", 0.81060902, 0.001),
            gate("slope at P L^2/EI 10.0", "-", 1.43028554, 0.001),
        ],
        run: tip_force,
    },
    Problem {
        id: "elastica-end-moment",
        title: "Cantilever rolled up by an end moment",
        source: "K. Y. Sze, X. H. Liu, S. H. Lo, Finite Elem. Anal. Des. 40 (2004) 1551-1569, section 3.2; exact bending to an arc",
        provenance: Provenance::Recomputed,
        note: "A whole circle at the last moment; the gap there is in parts of the length 12.",
        targets: &[
            gate("-U at M/M0 0.05", "length", 0.1964, 0.005),
            gate("W at M/M0 0.05", "length", 1.8695, 0.005),
            gate("-U at M/M0 0.1", "length", 0.7741, 0.005),
            gate("W at M/M0 0.1", "length", 3.6475, 0.005),
            gate("-U at M/M0 0.2", "length", 2.9181, 0.005),
            gate("W at M/M0 0.2", "length", 6.5984, 0.005),
            gate("-U at M/M0 0.25", "length", 4.3606, 0.005),
            gate("W at M/M0 0.25", "length", 7.6394, 0.005),
            gate("-U at M/M0 0.3", "length", 5.9454, 0.005),
            gate("W at M/M0 0.3", "length", 8.3335, 0.005),
            gate("-U at M/M0 0.4", "length", 9.1935, 0.005),
            gate("W at M/M0 0.4", "length", 8.6374, 0.005),
            gate("-U at M/M0 0.5", "length", 12.0, 0.005),
            gate("W at M/M0 0.5", "length", 7.6394, 0.005),
            gate("-U at M/M0 0.6", "length", 13.871, 0.005),
            gate("W at M/M0 0.6", "length", 5.7583, 0.005),
            gate("-U at M/M0 0.7", "length", 14.5948, 0.005),
            gate("W at M/M0 0.7", "length", 3.5715, 0.005),
            gate("-U at M/M0 0.75", "length", 14.5465, 0.005),
            gate("W at M/M0 0.75", "length", 2.5465, 0.005),
            gate("-U at M/M0 0.8", "length", 14.2705, 0.005),
            gate("W at M/M0 0.8", "length", 1.6496, 0.005),
            gate("-U at M/M0 0.9", "length", 13.2473, 0.005),
            gate("W at M/M0 0.9", "length", 0.4053, 0.005),
            gate("-U at M/M0 1.0", "length", 12.0, 0.005),
            gate("W at M/M0 1.0", "length", 0.0, 0.0012000000000000001),
        ],
        run: end_moment,
    },
    Problem {
        id: "elastica-distributed",
        title: "Cantilever under a dead load along its length",
        source: "F. V. Rohde, Quart. Appl. Math. 11 (1953) 337-338 (problem); shooting",
        provenance: Provenance::Recomputed,
        note: "",
        targets: &[
            gate("u/L at q L^3/EI 1.0", "-", 0.008754, 0.003),
            gate("w/L at q L^3/EI 1.0", "-", 0.123471, 0.003),
            gate("slope at q L^3/EI 1.0", "-", 0.165116, 0.003),
            gate("u/L at q L^3/EI 2.0", "-", 0.033107, 0.003),
            gate("w/L at q L^3/EI 2.0", "-", 0.238507, 0.003),
            gate("slope at q L^3/EI 2.0", "-", 0.321594, 0.003),
            gate("u/L at q L^3/EI 5.0", "-", 0.153343, 0.003),
            gate("w/L at q L^3/EI 5.0", "-", 0.495905, 0.003),
            gate("slope at q L^3/EI 5.0", "-", 0.697005, 0.003),
            gate("u/L at q L^3/EI 10.0", "-", 0.343646, 0.003),
            gate("w/L at q L^3/EI 10.0", "-", 0.7002, 0.003),
            gate("slope at q L^3/EI 10.0", "-", 1.052643, 0.003),
            gate("u/L at q L^3/EI 20.0", "-", 0.554768, 0.003),
            gate("w/L at q L^3/EI 20.0", "-", 0.829881, 0.003),
            gate("slope at q L^3/EI 20.0", "-", 1.339502, 0.003),
        ],
        run: weight,
    },
    Problem {
        id: "sze-cantilever-shear",
        title: "Cantilever strip with an end shear force",
        source: "K. Y. Sze, X. H. Liu, S. H. Lo, Finite Elem. Anal. Des. 40 (2004) 1551-1569, section 3.1, table",
        provenance: Provenance::Read,
        note: "Published values of a shear-flexible shell to three decimals. The two smallest shortenings (published 0.026 and 0.103) are the inextensible elastica instead, which three decimals do not resolve to 0.5 %; it differs from all other rows by less than 0.4 %.",
        targets: &[
            gate("-U at P/P0 0.05", "length", 0.026465, 0.005),
            gate("W at P/P0 0.05", "length", 0.663, 0.005),
            gate("-U at P/P0 0.1", "length", 0.103539, 0.005),
            gate("W at P/P0 0.1", "length", 1.309, 0.005),
            gate("-U at P/P0 0.15", "length", 0.224, 0.005),
            gate("W at P/P0 0.15", "length", 1.922, 0.005),
            gate("-U at P/P0 0.2", "length", 0.381, 0.005),
            gate("W at P/P0 0.2", "length", 2.493, 0.005),
            gate("-U at P/P0 0.25", "length", 0.563, 0.005),
            gate("W at P/P0 0.25", "length", 3.015, 0.005),
            gate("-U at P/P0 0.3", "length", 0.763, 0.005),
            gate("W at P/P0 0.3", "length", 3.488, 0.005),
            gate("-U at P/P0 0.4", "length", 1.184, 0.005),
            gate("W at P/P0 0.4", "length", 4.292, 0.005),
            gate("-U at P/P0 0.5", "length", 1.604, 0.005),
            gate("W at P/P0 0.5", "length", 4.933, 0.005),
            gate("-U at P/P0 0.6", "length", 2.002, 0.005),
            gate("W at P/P0 0.6", "length", 5.444, 0.005),
            gate("-U at P/P0 0.7", "length", 2.37, 0.005),
            gate("W at P/P0 0.7", "length", 5.855, 0.005),
            gate("-U at P/P0 0.8", "length", 2.705, 0.005),
            gate("W at P/P0 0.8", "length", 6.19, 0.005),
            gate("-U at P/P0 0.9", "length", 3.01, 0.005),
            gate("W at P/P0 0.9", "length", 6.467, 0.005),
            gate("-U at P/P0 1.0", "length", 3.286, 0.005),
            gate("W at P/P0 1.0", "length", 6.698, 0.005),
        ],
        run: shear,
    },
    Problem {
        id: "lateral-buckling-strip",
        title: "Lateral buckling of a cantilever strip by an in-plane end force",
        source: "S. Timoshenko, J. Gere, Theory of Elastic Stability: P = 4.0126 sqrt(E Iy G J)/L^2",
        provenance: Provenance::Recomputed,
        note: "The load where the tangent gains a negative pivot. The bar's formula lets the root warp; with warping held (E' h^3 t^3 / 144 in the bar's equation, solved anew) it gives 3.5114.",
        targets: &[
            gate("critical force, root free to warp", "force", 3.2904, 0.02),
            gate("critical force, root held whole", "force", 3.5114, 0.02),
        ],
        run: lateral,
    },
];

/// A strip of unit width along x, clamped at x = 0, with E I = 1.
fn strip(length: f64, thickness: f64, n: [u32; 2]) -> (Rig, Grid) {
    let grid = Grid::rectangle([length, 1.0], n, Cut::Cross);
    let mut rig = Rig::new(&grid, sheet(12.0 / thickness.powi(3), 0.0, thickness));
    rig.clamp(grid.first(0));
    (rig, grid)
}

/// Shortening, lift and slope of the far end: means over its nodes.
fn tip(path: &Path<'_>, nodes: &[u32]) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for &node in nodes {
        let (u, r) = (path.displacement_m(node), path.pose().rotations[node as usize]);
        sum = [sum[0] - u[0], sum[1] + u[2], sum[2] + r[(2, 0)].atan2(r[(0, 0)])];
    }
    sum.map(|s| s / count_of(nodes))
}

fn tip_force() -> Result<Vec<f64>, SolveError> {
    let (mut rig, grid) = strip(10.0, 0.1, [40, 4]);
    rig.line(&grid.first(1), W, 1e-2);
    along(&rig, &TIP_FORCE, |path| {
        let [u, w, slope] = tip(path, &grid.first(1));
        vec![u / 10.0, w / 10.0, slope]
    })
}

fn end_moment() -> Result<Vec<f64>, SolveError> {
    let (mut rig, grid) = strip(12.0, 0.1, [40, 2]);
    rig.line(&grid.first(1), TY, -std::f64::consts::TAU / 12.0);
    along(&rig, &END_MOMENT, |path| tip(path, &grid.first(1))[..2].to_vec())
}

fn weight() -> Result<Vec<f64>, SolveError> {
    let (mut rig, grid) = strip(10.0, 0.1, [40, 4]);
    rig.area(|_| [0.0, 0.0, 1e-3]);
    along(&rig, &WEIGHT, |path| {
        let [u, w, slope] = tip(path, &grid.first(1));
        vec![u / 10.0, w / 10.0, slope]
    })
}

fn shear() -> Result<Vec<f64>, SolveError> {
    // E I = 100 and P0 = 4: in units of E I = 1, 0.04.
    let (mut rig, grid) = strip(10.0, 0.1, [40, 4]);
    rig.line(&grid.first(1), W, 0.04);
    along(&rig, &SHEAR, |path| tip(path, &grid.first(1))[..2].to_vec())
}

fn lateral() -> Result<Vec<f64>, SolveError> {
    Ok(vec![lateral_force(false)?, lateral_force(true)?])
}

/// Force at which a narrow strip kicks out sideways; `whole`: the root may not warp.
fn lateral_force(whole: bool) -> Result<f64, SolveError> {
    let (length, depth) = (240.0, 30.0);
    let grid = Grid::rectangle([length, depth], [48, 6], Cut::Cross);
    let mut rig = Rig::new(&grid, sheet(71_240.0, 0.31, 0.6));
    if whole {
        rig.clamp(grid.first(0));
    } else {
        // Twist per length turns the normals along the root; only their mean, the bending slope, is held.
        rig.hold(grid.first(0), &[U, V, W, TX, TZ]);
        rig.hold([grid.at(0, 3)], &[TY]);
    }
    rig.force(grid.at(48, 3), V, 1.0);
    let load = DeadLoad { nodal: rig.load.nodal.clone() };
    let loads: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&rig.model, Loads { steady: &loads, driven: None })?;
    let (mut low, mut high) = (2.5, 4.5);
    while high - low > 1e-3 * low {
        let steady = 0.5 * (low + high);
        path.to_level(Level { steady, ..Level::default() })?;
        if path.negative_pivots()? > 0 { high = steady } else { low = steady }
    }
    Ok(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Shortening and lift over the length of the inextensible cantilever under a dead end force: angle, curvature and
    /// place by fourth-order steps along the strip, the root's curvature by halving until the free end has none.
    fn shot(alpha: f64) -> [f64; 2] {
        const STEPS: u32 = 400;
        let end = |curvature: f64| {
            let h = 1.0 / f64::from(STEPS);
            let rate = |y: [f64; 4]| [y[1], -alpha * y[0].cos(), y[0].cos(), y[0].sin()];
            let go = |y: [f64; 4], d: [f64; 4], by: f64| [0, 1, 2, 3].map(|i| y[i] + by * d[i]);
            (0..STEPS).fold([0.0, curvature, 0.0, 0.0], |y, _| {
                let a = rate(y);
                let b = rate(go(y, a, 0.5 * h));
                let c = rate(go(y, b, 0.5 * h));
                let d = rate(go(y, c, h));
                [0, 1, 2, 3].map(|i| y[i] + h / 6.0 * (a[i] + 2.0 * b[i] + 2.0 * c[i] + d[i]))
            })
        };
        let (mut low, mut high) = (0.0, 1.01 * alpha);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if end(middle)[1] < 0.0 { low = middle } else { high = middle }
        }
        let tip = end(0.5 * (low + high));
        [1.0 - tip[2], tip[3]]
    }

    /// Elliptic integrals and shooting agree, and every row of the published table is the elastica but for its
    /// decimals and the shear of its shell.
    #[test]
    fn shear_rows_are_the_elastica() {
        let of = |id: &str| PROBLEMS.iter().find(|p| p.id == id).unwrap().targets;
        for (row, alpha) in of("elastica-tip-force").chunks(3).zip(TIP_FORCE) {
            for (target, exact) in row.iter().zip(shot(alpha)) {
                let off = target.value - exact;
                assert!(off.abs() < 1e-7, "{}: {} against {exact}", target.quantity, target.value);
            }
        }
        for (row, share) in of("sze-cantilever-shear").chunks(2).zip(SHEAR) {
            for (target, exact) in row.iter().zip(shot(4.0 * share)) {
                let off = target.value / (10.0 * exact) - 1.0;
                let most = if target.quantity == "-U at P/P0 0.05" || target.quantity == "-U at P/P0 0.1" {
                    2e-5
                } else {
                    0.004
                };
                assert!(off.abs() < most, "{}: {} against {}", target.quantity, target.value, 10.0 * exact);
            }
        }
    }
}
