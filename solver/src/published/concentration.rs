//! Stress concentration in plane sheets: hole and shoulder fillet, through triangulation and automatic refinement.
//!
//! Modulus 1, so that a strain is a stress.

use super::rig::{Rig, TX, TY, TZ, U, V, W, sheet};
use super::{Problem, Provenance, gate};
use crate::error::SolveError;
use crate::recover::Trace;
use crate::settle::{SettleOptions, Settled, Trial, settle};
use copperbend_mesh::board::{Fillet, LayerId};
use copperbend_mesh::region::{Point, Region, rounded_polygon};
use copperbend_mesh::triangulate::{Plan, SizeField, SizeSource, triangulate};

/// Unit of length, m: so large that the grid of the mesh, 1 um, does not roughen the arcs.
const UNIT_M: f64 = 0.02;
/// Thin, so that refinement is not stopped by the thickness.
const THICKNESS_M: f64 = 0.02 * UNIT_M;
const NU: f64 = 0.3;

const PETERSON: &str = "W. D. Pilkey, D. F. Pilkey, Peterson's Stress Concentration Factors, Chart 3.2a; W. C. Young, \
                        Roark's Formulas for Stress and Strain, Table 17.1";
const FILLET_NOTE: &str =
    "Targets from refined quadratic plane-stress triangles; the handbook fits lie up to 3.5 % below.";

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "kirsch",
        title: "Circular hole in a wide sheet under tension",
        source: "G. Kirsch (1898) in S. Timoshenko, J. N. Goodier, Theory of Elasticity",
        provenance: Provenance::Recomputed,
        note: "Sheet 40 times as wide as the hole's radius. Stress along the pull on the line across the hole.",
        targets: &[
            gate("stress at 1 radius", "of remote", 3.0, 0.02),
            gate("stress at 1.25 radii", "of remote", 1.9344, 0.02),
            gate("stress at 1.5 radii", "of remote", 1.518_518_5, 0.02),
            gate("stress at 2 radii", "of remote", 1.218_75, 0.02),
            gate("stress at 3 radii", "of remote", 1.074_074_1, 0.02),
        ],
        run: kirsch,
    },
    Problem {
        id: "hole-finite-width",
        title: "Hole in the middle of a strip under tension",
        source: "R. C. J. Howland, Phil. Trans. R. Soc. A 229 (1930); W. D. Pilkey, Peterson's Stress Concentration \
                 Factors, Chart 4.1",
        provenance: Provenance::Recomputed,
        note: "Peak over the gross stress.",
        targets: &[
            gate("diameter over width 0.1", "-", 3.0357, 0.02),
            gate("diameter over width 0.2", "-", 3.153, 0.02),
        ],
        run: || [20.0, 10.0].into_iter().map(|width| Ok(hole(width, width, &[1.0])?[0])).collect(),
    },
    Problem {
        id: "fillet-tension",
        title: "Shoulder fillet in a flat bar, tension",
        source: PETERSON,
        provenance: Provenance::Recomputed,
        note: FILLET_NOTE,
        targets: &[
            gate("width ratio 2, radius 0.1", "-", 2.506, 0.03),
            gate("width ratio 1.5, radius 0.1", "-", 2.295, 0.03),
            gate("width ratio 2, radius 0.2", "-", 1.983, 0.03),
            gate("width ratio 1.5, radius 0.2", "-", 1.861, 0.03),
            gate("width ratio 2, radius 0.3", "-", 1.75, 0.03),
        ],
        run: || {
            let bars = [(2.0, 0.1), (1.5, 0.1), (2.0, 0.2), (1.5, 0.2), (2.0, 0.3)];
            bars.into_iter().map(|(wide, radius)| fillet(wide, radius, Pull::Tension)).collect()
        },
    },
    Problem {
        id: "fillet-bending",
        title: "Shoulder fillet in a flat bar, bending in its plane",
        source: PETERSON,
        provenance: Provenance::Recomputed,
        note: FILLET_NOTE,
        targets: &[
            gate("width ratio 2, radius 0.1", "-", 1.945, 0.03),
            gate("width ratio 2, radius 0.2", "-", 1.576, 0.03),
            gate("width ratio 2, radius 0.3", "-", 1.42, 0.03),
        ],
        run: || [0.1, 0.2, 0.3].into_iter().map(|radius| fillet(2.0, radius, Pull::Bending)).collect(),
    },
];

/// A plane part, its first mesh and how it is held and loaded.
struct Part<'p> {
    plan: Plan,
    coarse_m: f64,
    /// Wished relative error of the strain field.
    energy_error: f64,
    load: &'p dyn Fn(&mut Rig),
}

/// Refines until the peak holds still.
fn refined(part: &Part<'_>) -> Result<Settled<()>, SolveError> {
    let mut build = |extra: &[SizeSource]| {
        let sizes = SizeField {
            coarse_m: part.coarse_m,
            fine_m: 0.5 * THICKNESS_M,
            growth: 0.25,
            sources: extra.iter().copied().chain(arc_sizes(&part.plan.arcs)).collect(),
            min_angle_rad: 25f64.to_radians(),
            max_triangles: 60_000,
        };
        let mesh = triangulate(&part.plan, &sizes)
            .map_err(|e| SolveError::Mesh { what: e.to_string(), remedy: "report this".to_owned() })?;
        let nodes = mesh.points_m.iter().map(|p| [p[0], p[1], 0.0]).collect();
        let mut rig = Rig::from_mesh(nodes, mesh.triangles, sheet(1.0, NU, THICKNESS_M));
        let all = 0..u32::try_from(rig.model.nodes_m.len()).unwrap_or(u32::MAX);
        rig.hold(all, &[W, TX, TY]);
        (part.load)(&mut rig);
        let solution = rig.solve()?;
        let triangles = (0..u32::try_from(rig.model.triangles.len()).unwrap_or(u32::MAX)).collect();
        let trace = Trace {
            name: "sheet".into(),
            layer: Some(LayerId(0)),
            triangles,
            ranked: true,
            ..Trace::default()
        };
        Ok(Trial { model: rig.model, solution, thermal_factor: 0.0, traces: vec![trace], extra: () })
    };
    let options = SettleOptions {
        tolerance: 0.005,
        max_refinements: 6,
        top: 1,
        energy_error: part.energy_error,
        ..SettleOptions::default()
    };
    settle(&mut build, &options, &mut |_| true)
}

/// The board's own rule for round corners: triangles of an eighth of the radius.
fn arc_sizes(arcs: &[Fillet]) -> Vec<SizeSource> {
    let chord = |arc: &Fillet, i: u32| {
        let at = |k: u32| {
            let angle = arc.angles_rad[0] + arc.angles_rad[1] * f64::from(k) / 16.0;
            [arc.centre_m[0] + arc.radius_m * angle.cos(), arc.centre_m[1] + arc.radius_m * angle.sin()]
        };
        SizeSource { at_m: [at(i), at(i + 1)], size_m: arc.radius_m / 8.0 }
    };
    arcs.iter().flat_map(|arc| (0..16).map(move |i| chord(arc, i))).collect()
}

/// Nodes that satisfy a condition, ordered along x or y.
fn nodes_where(rig: &Rig, order: usize, keep: impl Fn(&[f64; 3]) -> bool) -> Vec<u32> {
    let nodes = &rig.model.nodes_m;
    let mut found: Vec<u32> = (0..).zip(nodes).filter(|(_, p)| keep(p)).map(|(n, _)| n).collect();
    found.sort_by(|&a, &b| nodes[a as usize][order].total_cmp(&nodes[b as usize][order]));
    found
}

/// Half a step of the mesh's grid.
fn on(value: f64, line: f64) -> bool {
    (value - line).abs() < 0.6e-6
}

/// Half a sheet (y above 0) with a hole of radius 1 at the origin under unit tension along x: stress x on x = 0.
fn hole(half_length: f64, width: f64, heights: &[f64]) -> Result<Vec<f64>, SolveError> {
    let (long, half) = (2.0 * half_length * UNIT_M, 0.5 * width * UNIT_M);
    let sheet_region = Region::rectangle([-long, 0.0], [long, half]);
    let arc = Fillet {
        centre_m: [0.0, 0.0],
        radius_m: UNIT_M,
        angles_rad: [0.0, std::f64::consts::PI],
        name: "hole".to_owned(),
    };
    let disc = Region::circle([0.0, 0.0], UNIT_M, UNIT_M / 32.0);
    let plan = Plan {
        outline: sheet_region.difference(&disc),
        points: heights.iter().map(|h| [0.0, h * UNIT_M]).collect(),
        arcs: vec![arc],
        ..Plan::default()
    };
    let load = |rig: &mut Rig| {
        let (left, bottom) =
            (nodes_where(rig, 1, |p| on(p[0], -long)), nodes_where(rig, 0, |p| on(p[1], 0.0)));
        rig.hold(left, &[U, TZ]);
        rig.hold(bottom, &[V, TZ]);
        let pulled = nodes_where(rig, 1, |p| on(p[0], long));
        rig.pull(&pulled, |_| THICKNESS_M);
    };
    let done = refined(&Part { plan, coarse_m: half / 6.0, energy_error: 0.005, load: &load })?;
    heights.iter().map(|h| stress_x(&done, [0.0, h * UNIT_M])).collect()
}

/// Recovered stress along x at the node nearest to a point.
fn stress_x(done: &Settled<()>, place: Point) -> Result<f64, SolveError> {
    let nodes = &done.trial.model.nodes_m;
    let distance = |n: u32| (nodes[n as usize][0] - place[0]).hypot(nodes[n as usize][1] - place[1]);
    let nearest =
        done.recovered.zone_nodes.iter().min_by(|a, b| distance(a.node).total_cmp(&distance(b.node)));
    let at = nearest.filter(|z| distance(z.node) < 2e-6).ok_or_else(|| SolveError::Model {
        what: format!("no node at {place:?}"),
        remedy: "report this".to_owned(),
    })?;
    Ok((at.strain[0] + NU * at.strain[1]) / (1.0 - NU * NU))
}

fn kirsch() -> Result<Vec<f64>, SolveError> {
    hole(20.0, 40.0, &[1.0, 1.25, 1.5, 2.0, 3.0])
}

/// How the bar is loaded.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Pull {
    Tension,
    Bending,
}

/// Peak stress in half a stepped bar of narrow width 10 under unit nominal stress.
fn fillet(wide_over_narrow: f64, radius_over_narrow: f64, pull: Pull) -> Result<f64, SolveError> {
    let narrow = 10.0 * UNIT_M;
    let (wide, radius) = (wide_over_narrow * narrow, radius_over_narrow * narrow);
    let (step, end) = (2.0 * wide, 2.0 * wide + 3.0 * narrow);
    let corners = [
        [0.0, 0.0],
        [end, 0.0],
        [end, 0.5 * narrow],
        [step, 0.5 * narrow],
        [step, 0.5 * wide],
        [0.0, 0.5 * wide],
    ];
    let (points, arcs) = rounded_polygon(&corners, &[0.0, 0.0, 0.0, radius, 0.0, 0.0], "bar")
        .map_err(|e| SolveError::Mesh { what: e.to_string(), remedy: "report this".to_owned() })?;
    let plan = Plan { outline: Region::from_polygon(&points), arcs, ..Plan::default() };
    let load = |rig: &mut Rig| {
        let axis = nodes_where(rig, 0, |p| on(p[1], 0.0));
        let far = nodes_where(rig, 1, |p| on(p[0], 0.0));
        rig.hold(far.iter().copied(), &[U, TZ]);
        let pulled = nodes_where(rig, 1, |p| on(p[0], end));
        match pull {
            Pull::Tension => {
                rig.hold(axis, &[V, TZ]);
                rig.pull(&pulled, |_| THICKNESS_M);
            }
            Pull::Bending => {
                rig.hold(axis, &[U]);
                rig.hold(far.first().copied(), &[V]);
                rig.pull(&pulled, |p| THICKNESS_M * 2.0 * p[1] / narrow);
            }
        }
    };
    let done = refined(&Part { plan, coarse_m: narrow / 10.0, energy_error: 0.02, load: &load })?;
    let peak = done.spots.first().ok_or_else(|| SolveError::Model {
        what: "the bar has no peak".to_owned(),
        remedy: "report this".to_owned(),
    })?;
    // A free edge carries stress along itself only, and the modulus is 1.
    Ok(peak.strain.abs())
}
