//! Permanent set of bent laminates by the shell, whose layers contract together, beside the sum over single fibres.

use super::grids::{Cut, Grid};
use super::rig::{Rig, TX, TY, TZ, U, V, W, ply};
use super::{Problem, Provenance, gate, show};
use crate::copper::shell::ShellCopper;
use crate::copper::{Curve, Law};
use crate::error::SolveError;
use crate::laminate::{Laminate, isotropic_q};
use crate::swing::{DeadLoad, Level, Loads, Path};
use copperbend_mesh::board::LayerId;

pub(super) const PROBLEMS: &[Problem] = &[Problem {
    id: "copper-set-shell",
    title: "Permanent set of bent laminates, free width, layers that contract together",
    source: "plane-stress plasticity through the thickness, integrated elsewhere by implicit steps (numpy)",
    provenance: Provenance::Recomputed,
    note: "Copper 117 GPa, yield 60 MPa, ideally plastic; films 2.5 GPa; bent to 1/200 m. Fibre by fibre the first two stacks \
           keep 0.60854 and 0.083477: there every layer contracts by itself, here all contract alike, and yielding copper by \
           one half instead of nu. Let go elastically, but for the last row: there the thick film bends the copper back \
           beyond its yield stress.",
    targets: &[
        gate("film 25, copper 35, film 25 um, nu 0", "-", 0.590_832, 2e-4),
        gate("film 50, copper 18, film 50 um, nu 0", "-", 0.076_643, 1e-3),
        gate("film 25, copper 35, film 25 um, nu 0.34", "-", 0.606_572, 2e-4),
        gate("film 50, copper 18, film 50 um, nu 0.34", "-", 0.082_711, 1e-3),
        gate("copper 18, film 50 um, nu 0.34", "-", 0.273_19, 5e-4),
        show("the same as a sum over fibres, film 25, copper 35, film 25 um", "-", 0.608_54, 1e-4),
        gate("film 25, copper 35, film 25 um, nu 0, yielding back", "-", 0.517_920, 3e-4),
    ],
    run: set,
}];

const COPPER_PA: f64 = 117e9;
const FILM_PA: f64 = 2.5e9;
/// Points through the copper, and steps of the bend.
const POINTS: usize = 48;
const STEPS: u32 = 120;
/// Length of the strip, m: so short that a turn of its end is curvature times length.
const LENGTH_M: f64 = 40e-6;

fn copper(nu: f64) -> Law {
    Curve::Bilinear { modulus_pa: COPPER_PA, yield_pa: 60e6, hardening_pa: 0.0 }.law(nu, 1, 0.01)
}

/// Film, copper, film about the middle of the copper; thicknesses from the bottom, m.
fn stack([below, metal, above]: [f64; 3], nu: f64) -> Laminate {
    let z = 0.5 * metal;
    let mut plies = vec![ply(-z, z, isotropic_q(COPPER_PA, nu))];
    plies[0].layer = LayerId(1);
    if below > 0.0 {
        plies.insert(0, ply(-z - below, -z, isotropic_q(FILM_PA, nu)));
    }
    plies.push(ply(z, z + above, isotropic_q(FILM_PA, nu)));
    Laminate::new(plies)
}

/// Curvature left over that applied, sprung back by the elastic stiffness; and with the copper yielding back where asked.
fn ratio(layers: [f64; 3], nu: f64, back: bool) -> Result<f64, SolveError> {
    let grid = Grid::rectangle([LENGTH_M, 20e-6], [2, 2], Cut::Cross);
    let laminate = stack(layers, nu);
    let mut whole = nalgebra::Matrix6::zeros();
    for (place, part) in
        [([0, 0], laminate.a), ([0, 3], laminate.b), ([3, 0], laminate.b), ([3, 3], laminate.d)]
    {
        whole.fixed_view_mut::<3, 3>(place[0], place[1]).copy_from(&part);
    }
    let mut rig = Rig::new(&grid, laminate);
    rig.hold(grid.first(0), &[U, TY]);
    rig.hold([grid.at(0, 1)], &[V, W, TX, TZ]);
    let end = grid.first(1);
    rig.line(&end, TY, -20e-6);
    let load = DeadLoad { nodal: rig.load.nodal.clone() };
    let mut path = Path::new(&rig.model, Loads { steady: &[], driven: Some(&load) })?;
    path.yielding(ShellCopper::new(&rig.model.laminates, &rig.model.laminate_of, POINTS, |own| {
        (own.layer == LayerId(1)).then(|| copper(nu))
    }));
    let node = grid.at(2, 1);
    let rest_m = nalgebra::Vector3::from(grid.nodes[node as usize]);
    let measure = crate::swing::NodeDisplacement { node, rest_m, direction: nalgebra::Vector3::z() };
    let curvature = |path: &Path<'_>| {
        let along = path.pose().rotations[node as usize].column(0).into_owned();
        along[2].atan2(along[0]) / LENGTH_M
    };
    let height = 0.5 * 200.0 * LENGTH_M * LENGTH_M;
    for k in 1..=STEPS {
        path.to_measure(&measure, height * f64::from(k) / f64::from(STEPS))?;
    }
    // A strip with copper on one face stretches as it bends: on to the curvature meant.
    path.to_measure(&measure, height * 200.0 / curvature(&path))?;
    let (bent, moment) = (curvature(&path), path.state().level.driven);
    if !back {
        let soft = whole.try_inverse().map_or(f64::NAN, |inverse| inverse[(3, 3)]);
        return Ok(1.0 - moment * soft / bent);
    }
    path.turn_round();
    for k in (0..STEPS).rev() {
        let driven = moment * f64::from(k) / f64::from(STEPS);
        path.to_level(Level { driven, ..Level::default() })?;
    }
    Ok(curvature(&path) / bent)
}

fn set() -> Result<Vec<f64>, SolveError> {
    let (thin, thick) = ([25e-6, 35e-6, 25e-6], [50e-6, 18e-6, 50e-6]);
    let mut out = Vec::new();
    for (layers, nu) in [(thin, 0.0), (thick, 0.0), (thin, 0.34), (thick, 0.34), ([0.0, 18e-6, 50e-6], 0.34)]
    {
        out.push(ratio(layers, nu, false)?);
    }
    let film = crate::copper::bending::Strand::Elastic([25e-6, FILM_PA]);
    let law = copper(0.0);
    let metal = crate::copper::bending::Strand::Copper(35e-6, &law);
    out.push(crate::copper::bending::set_ratio(&[film, metal, film], 200.0, 4000));
    out.push(ratio(thin, 0.0, true)?);
    Ok(out)
}
