//! Damping of the amplitudes, share by share: arms, air, eddy currents, induced voltage.
//!
//! In: shapes and layers. Out: matrices and patches for the reduced board; a table of shares. Absent: solving.

use super::stage::Stage;
use super::way::Way;
use crate::air::{drag, ribbon};
use crate::drive::{Coefficient, Curve, Patch, QuadraticDrag, Reduced};
use crate::eddy::{Sheet, Stream};
use crate::error::SolveError;
use crate::laminate::Laminate;
use crate::model::Solution;
use crate::recover::element_strains;
use crate::result::{DampingShare, DriveAnswer};
use crate::swing::Pose;
use copperbend_mesh::board::{LayerId, LayerKind};
use nalgebra::{DMatrix, DVector, Vector3, Vector6};
use std::collections::BTreeMap;
use std::f64::consts::PI;

/// Patches along the longer side of the moving part.
const PATCHES: f64 = 14.0;

/// Loss factor of layers near 10 Hz and 20 degC: value, lowest, highest. From memory, all of them; a measured decay
/// replaces them. (Epoxy cantilevers in vacuum: about 0.014; S. Schmid and C. Hierold, J. Appl. Phys. 104 (2008),
/// abstract read.)
fn loss_factor(kind: LayerKind) -> [f64; 3] {
    match kind {
        LayerKind::Film | LayerKind::Cover => [0.02, 0.01, 0.03],
        LayerKind::Copper | LayerKind::Finish => [0.002, 0.0005, 0.005],
        LayerKind::Adhesive => [0.04, 0.015, 0.12],
        LayerKind::Mask => [0.03, 0.01, 0.08],
        LayerKind::Stiffener => [0.01, 0.002, 0.03],
        LayerKind::Tape => [0.8, 0.3, 1.5],
    }
}

/// Damping that does not depend on the way.
pub(super) struct Damping {
    /// Loss factor of every amplitude: value, lowest, highest.
    loss: Vec<[f64; 3]>,
    /// Linear damping by air.
    air: DMatrix<f64>,
    pub(super) drag: QuadraticDrag,
    /// Bracket of the drag coefficient: factors.
    pub(super) bracket: [f64; 2],
    measured: Option<f64>,
}

impl Damping {
    pub(super) fn new(stage: &Stage<'_>) -> Self {
        let measured = stage.board.drive.loss_factor;
        let loss = (0..stage.shapes.len()).map(|j| by_layers(stage, j)).collect();
        let (coefficient, bracket) = coefficient(stage);
        Self {
            loss,
            air: linear_air(stage),
            drag: QuadraticDrag::new(stage.medium.density_kg_m3, coefficient, patches(stage)),
            bracket,
            measured,
        }
    }

    /// Loss factor of the arms by their layers in the swing: value, lowest, highest.
    pub(super) fn arms(&self) -> [f64; 3] {
        self.loss[0]
    }

    /// Damping of the swing by linear air, per second.
    pub(super) fn air_per_s(&self) -> f64 {
        self.air[(0, 0)]
    }

    /// Area times the cube of the normal motion, summed over the patches.
    pub(super) fn cubed(&self) -> f64 {
        self.drag.patches().iter().map(|p| p.area_m2 * p.normal[0].abs().powi(3)).sum()
    }

    /// Linear damping of the amplitudes: arms and air.
    pub(super) fn matrix(&self, stage: &Stage<'_>) -> DMatrix<f64> {
        let arms = stage.shapes.iter().zip(&self.loss).map(|(s, l)| self.measured.unwrap_or(l[0]) * s.rad_s);
        DMatrix::from_diagonal(&DVector::from_iterator(stage.shapes.len(), arms)) + &self.air
    }

    /// The table of shares.
    pub(super) fn tell(&self, stage: &Stage<'_>, system: &Reduced, out: &mut DriveAnswer) {
        let w = stage.shapes[0].rad_s;
        let ratio = |c: f64| c / (2.0 * w);
        let mut shares = Vec::new();
        let by_layers = self.loss[0].map(|l| 0.5 * l);
        if let Some(given) = self.measured {
            shares.push(DampingShare {
                name: "arms".into(),
                ratio: 0.5 * given,
                span: [0.5 * given; 2],
                basis: format!(
                    "loss factor {given:.4} of the design; by the layers it would be {:.4} ({:.4} to {:.4}, from memory)",
                    self.loss[0][0], self.loss[0][1], self.loss[0][2]
                ),
                measured: true,
            });
        } else {
            shares.push(DampingShare {
                name: "arms".into(),
                ratio: by_layers[0],
                span: [by_layers[1], by_layers[2]],
                basis: format!(
                    "loss factor {:.4} by the layers' share of the energy; values from memory",
                    self.loss[0][0]
                ),
                measured: false,
            });
        }
        let air = ratio(self.air[(0, 0)]);
        shares.push(DampingShare {
            name: "air, linear".into(),
            ratio: air,
            span: [0.5 * air, air],
            basis: "viscous flow about ribbons of the width: an upper limit for short plates".into(),
            measured: false,
        });
        let eddy = system.eddy.as_ref().map_or(0.0, |e| ratio(e.at(0.0, 0)[0]));
        shares.push(DampingShare {
            name: "eddy currents".into(),
            ratio: eddy,
            span: [0.9 * eddy, 1.1 * eddy],
            basis:
                "in metal stiffeners and copper areas at rest, thin sheets; field of the magnets to some 5 %"
                    .into(),
            measured: false,
        });
        if let crate::drive::Supply::Voltage(resistance) = system.supply {
            let own = ratio(system.per_ampere.at(0.0, 0)[0].powi(2) / resistance);
            shares.push(DampingShare {
                name: "induced voltage".into(),
                ratio: own,
                span: [own, own],
                basis: "a voltage drives; at 20 degC".into(),
                measured: false,
            });
        }
        if let Some(row) = out.peak.and_then(|p| out.sweep.get(p)) {
            let rate = row.first_rad / stage.shapes[0].lift.abs() * row.frequency_hz * 2.0 * PI;
            let cubed = self.cubed();
            let c = self.drag.coefficient.at(row.swing_rad)[0];
            let own = ratio(8.0 / (3.0 * PI) * 0.5 * self.drag.density_kg_m3 * c * cubed * rate);
            let given = stage.board.drive.drag_coefficient.is_some();
            let how = if given {
                "of the design"
            } else {
                "by the law for sharp edges, lowered for the flap's shape (from memory)"
            };
            shares.push(DampingShare {
                name: "air, quadratic".into(),
                ratio: own,
                span: self.bracket.map(|b| b * own),
                basis: format!(
                    "at the largest swing, +-{:.2} deg: drag coefficient {c:.2} {how}",
                    row.swing_rad.to_degrees()
                ),
                measured: given,
            });
        }
        let small: f64 = shares.iter().filter(|s| s.name != "air, quadratic").map(|s| s.ratio).sum();
        out.half_frequency.threshold = 4.0 * small;
        out.damping = shares;
    }
}

/// Loss factor of one shape: every ply's weighted with its share of the strain energy.
fn by_layers(stage: &Stage<'_>, shape: usize) -> [f64; 3] {
    let kind = |l: &Laminate, ply: usize| stage.board.layers[l.plies[ply].layer.0 as usize].kind;
    let (mut whole, mut lost) = (0.0, [0.0; 3]);
    let mut add = |laminate: &Laminate, strain: &Vector6<f64>, area: f64| {
        for ply in 0..laminate.plies.len() {
            let energy = area * ply_energy(laminate, ply, strain);
            whole += energy;
            for (sum, factor) in lost.iter_mut().zip(loss_factor(kind(laminate, ply))) {
                *sum += energy * factor;
            }
        }
    };
    match &stage.beams {
        Some(beams) => beams.own.stacks(&stage.shapes[shape].beam, &mut add),
        None => shell_stacks(stage, shape, &mut add),
    }
    if whole > 0.0 { lost.map(|l| l / whole) } else { [0.0; 3] }
}

/// Hands out every triangle's strains in one shape, with the area each stands for.
fn shell_stacks(stage: &Stage<'_>, shape: usize, take: &mut dyn FnMut(&Laminate, &Vector6<f64>, f64)) {
    let model = &stage.own.model;
    let motion = &stage.shapes[shape].motion;
    let solution = Solution {
        displacement: motion.clone(),
        trailing: vec![Vector6::zeros(); motion.len()],
        ..Solution::default()
    };
    for t in 0..model.triangles.len() {
        if stage.own.still[t] {
            continue;
        }
        let laminate = &model.laminates[model.laminate_of[t] as usize];
        let area = stage.mesh.flat.area_m2(t) / 3.0;
        for strain in element_strains(model, &solution, t) {
            take(laminate, &strain, area);
        }
    }
}

/// Twice the strain energy per area of a ply: three points through the thickness are exact.
fn ply_energy(laminate: &Laminate, ply: usize, strain: &Vector6<f64>) -> f64 {
    let own = &laminate.plies[ply];
    let (low, high) = (own.z0_m, own.z1_m);
    let at = |z: f64| {
        let e: Vector3<f64> = laminate.strain_at(ply, z, strain, 0.0);
        e.dot(&(own.q_pa * e))
    };
    (high - low) / 6.0 * (at(low) + 4.0 * at(0.5 * (low + high)) + at(high))
}

/// Width of the air's plate that a triangle belongs to, m: the flap's or the widest arm's.
fn linear_air(stage: &Stage<'_>) -> DMatrix<f64> {
    let n = stage.shapes.len();
    let mut sum = DMatrix::zeros(n, n);
    let Some(width) = flap_plate(stage).map(|p| p.width_m) else { return sum };
    let per_area = ribbon::damping_per_length(&stage.medium, stage.shapes[0].rad_s, width) / width;
    for patch in patches(stage) {
        let w = DVector::from_column_slice(&patch.normal);
        sum.ger(per_area * patch.area_m2, &w, &w, 1.0);
    }
    sum
}

fn flap_plate(stage: &Stage<'_>) -> Option<crate::air::plate::Plate> {
    let plates = &stage.air.plates;
    plates.iter().find(|p| p.name == "flap").or_else(|| plates.first()).map(|p| p.plate)
}

/// Pieces of the moving surface on a square grid, with the mean normal motion of each.
fn patches(stage: &Stage<'_>) -> Vec<Patch> {
    let flat = &stage.mesh.flat;
    let moving: Vec<usize> = (0..flat.triangles.len()).filter(|&t| !stage.own.still[t]).collect();
    let centre = |t: usize| {
        let c = flat.triangles[t].map(|n| flat.points_m[n as usize]);
        [0, 1].map(|k: usize| (c[0][k] + c[1][k] + c[2][k]) / 3.0)
    };
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for &t in &moving {
        let at = centre(t);
        for k in 0..2 {
            (low[k], high[k]) = (low[k].min(at[k]), high[k].max(at[k]));
        }
    }
    let cell = (high[0] - low[0]).max(high[1] - low[1]) / PATCHES;
    let n = stage.shapes.len();
    let mut cells: BTreeMap<[u64; 2], Patch> = BTreeMap::new();
    for &t in &moving {
        let at = centre(t);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a small count from 0 up"
        )]
        let key = [0, 1].map(|k: usize| ((at[k] - low[k]) / cell.max(1e-9)) as u64);
        let area = flat.area_m2(t);
        let own = cells.entry(key).or_insert_with(|| Patch { area_m2: 0.0, normal: vec![0.0; n] });
        own.area_m2 += area;
        for (sum, shape) in own.normal.iter_mut().zip(&stage.shapes) {
            *sum += area * flat.triangles[t].iter().map(|&c| shape.motion[c as usize][2]).sum::<f64>() / 3.0;
        }
    }
    let mean = |mut p: Patch| {
        p.normal.iter_mut().for_each(|w| *w /= p.area_m2);
        p
    };
    cells.into_values().map(mean).collect()
}

/// Stroke of the flap's middle over its width, per rad of swing: 2 pi times its lever over the width.
pub(super) fn stroke_per_rad(stage: &Stage<'_>) -> f64 {
    let swing = &stage.shapes[0];
    flap_plate(stage).map_or(0.0, |p| drag::keulegan_carpenter((swing.heave / swing.lift).abs(), p.width_m))
}

/// Drag coefficient over the swing, and the factors of its bracket.
fn coefficient(stage: &Stage<'_>) -> (Coefficient, [f64; 2]) {
    let aspect = flap_plate(stage).map_or(1.0, |p| p.aspect());
    if let Some(given) = stage.board.drive.drag_coefficient {
        return (Coefficient::fixed(given), [1.0, 1.0]);
    }
    let law = drag::Law::default();
    let per_rad = stroke_per_rad(stage);
    // A kink of the law (its level parts) is met between two places closely enough for Newton's steps.
    let logs: Vec<f64> = (0..=72).map(|i| (1e-4_f64).ln() + f64::from(i) * (2e4_f64).ln() / 72.0).collect();
    let values = logs.iter().map(|l| vec![law.coefficient(per_rad * l.exp(), aspect).value]).collect();
    let middle = law.coefficient(per_rad * 0.3, aspect);
    let bracket = [middle.low / middle.value, middle.high / middle.value];
    (Coefficient { over_log_swing: Curve::new(logs, values).unwrap_or_default(), factor: 1.0 }, bracket)
}

/// Damping by eddy currents over the amplitude of the swing, all entries column by column; None without metal areas.
pub(super) fn eddy(stage: &Stage<'_>, way: &Way) -> Result<Option<Curve>, SolveError> {
    let poses: Vec<&Pose> = way.states.iter().map(|s| &s.pose).collect();
    let Some(sums) = eddy_at(stage, &poses)? else { return Ok(None) };
    let values = sums.iter().map(|s| s.as_slice().to_vec()).collect();
    Ok(Curve::new(way.amplitude.clone(), values))
}

/// The same in given poses, one matrix each.
pub(super) fn eddy_at(stage: &Stage<'_>, poses: &[&Pose]) -> Result<Option<Vec<DMatrix<f64>>>, SolveError> {
    let n = stage.shapes.len();
    let rest: Vec<Vector3<f64>> = stage.own.model.nodes_m.iter().map(|p| Vector3::from(*p)).collect();
    let mut sums = vec![DMatrix::<f64>::zeros(n, n); poses.len()];
    let mut any = false;
    for (sheet, height_m) in sheets(stage) {
        let Some(stream) = Stream::new(&rest, sheet)? else { continue };
        any = true;
        for (sum, pose) in sums.iter_mut().zip(poses) {
            // The sheet rides on the nodes at its own height over the reference plane.
            let lifted: Vec<Vector3<f64>> = pose
                .positions_m
                .iter()
                .zip(&pose.rotations)
                .map(|(x, r)| x + r.column(2) * height_m)
                .collect();
            let field: BTreeMap<[u32; 2], Vector3<f64>> = stream.fields(&lifted, &stage.field);
            let carried: Vec<Vec<Vector3<f64>>> = stage
                .shapes
                .iter()
                .map(|s| {
                    let moved = |(x, r): (&Vector6<f64>, &nalgebra::Matrix3<f64>)| {
                        let spin: Vector3<f64> = x.fixed_rows::<3>(3).into_owned();
                        r * (x.fixed_rows::<3>(0) + spin.cross(&(Vector3::z() * height_m)))
                    };
                    s.motion.iter().zip(&pose.rotations).map(moved).collect()
                })
                .collect();
            let emf = |side: [u32; 2], motion: usize| {
                let v = (carried[motion][side[0] as usize] + carried[motion][side[1] as usize]) * 0.5;
                let key = [side[0].min(side[1]), side[0].max(side[1])];
                field.get(&key).map_or_else(Vector3::zeros, |b| v.cross(b))
            };
            *sum += stream.damping(&lifted, n, &emf)?;
        }
    }
    Ok(any.then_some(sums))
}

/// Conducting sheets with their heights over the reference plane: metal stiffeners, and copper that is no coil, layer by
/// layer.
fn sheets(stage: &Stage<'_>) -> Vec<(Sheet, f64)> {
    let model = &stage.own.model;
    let flat = &stage.mesh.flat;
    let mut by_layer: BTreeMap<LayerId, (Sheet, f64, f64)> = BTreeMap::new();
    for t in 0..model.triangles.len() {
        if stage.own.still[t] {
            continue;
        }
        let corners = flat.triangles[t].map(|n| flat.points_m[n as usize]);
        let at = [0, 1].map(|k: usize| (corners[0][k] + corners[1][k] + corners[2][k]) / 3.0);
        for ply in &model.laminates[model.laminate_of[t] as usize].plies {
            let layer = &stage.board.layers[ply.layer.0 as usize];
            let material = &stage.board.materials[layer.material.0 as usize];
            let Some(rho) = material.resistivity_ohm_m.as_ref().map(|r| r.v).filter(|r| *r > 0.0) else {
                continue;
            };
            if layer.smears.iter().any(|s| s.region.contains(at)) {
                continue;
            }
            let own = by_layer.entry(ply.layer).or_default();
            own.0.triangles.push(flat.triangles[t]);
            own.0.conductance_s.push((ply.z1_m - ply.z0_m) / rho);
            own.1 += 0.5 * (ply.z0_m + ply.z1_m);
            own.2 += 1.0;
        }
    }
    by_layer.into_values().map(|(sheet, sum, count)| (sheet, sum / count)).collect()
}
