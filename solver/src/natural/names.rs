//! How a mode moves: shares of its kinetic energy, flap angles, and a plain name.
//!
//! In: mass and place of every triangle, a mode's shape. Out: [`ModeShares`], [`ModeKind`]. The flap's motion is split
//! into that of a rigid plate (the fit of least kinetic energy, so both parts add up) and the rest; the arms' into
//! turning about their own direction and the rest. Air and rotary inertia of the laminate are left out of the shares.

use super::strain::HARDLY;
use crate::model::{Hinge, Model, triangles_in};
use crate::result::{ModeFacts, ModeKind, ModeShares};
use crate::swing::Pose;
use copperbend_mesh::board::Board;
use copperbend_mesh::triangulate::{BoardMesh, Role};
use nalgebra::{Matrix3, Vector3, Vector6};

/// A bit of mass: kg, node shares, place now.
struct Bit {
    mass_kg: f64,
    nodes: [u32; 2],
    at: Vector3<f64>,
}

/// One part of the board.
struct Part {
    bits: Vec<Bit>,
    mass_kg: f64,
    centre: Vector3<f64>,
}

/// The parts of a board where they are now.
pub(super) struct Parts {
    flap: Option<Part>,
    /// With the direction of each arm, root to tip, now.
    arms: Vec<(Part, Vector3<f64>)>,
    rest: Part,
    hinge_axis: Vector3<f64>,
    /// Directions of the flap now: along the arms, along the hinge line, normal.
    frame: [Vector3<f64>; 3],
    /// Distance from the flap's centre back to its nearest edge, m.
    behind_m: f64,
}

/// How a mode moves.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Movement {
    pub(super) kind: ModeKind,
    pub(super) shares: ModeShares,
    pub(super) swing_rad: f64,
    pub(super) roll_rad: f64,
    /// All rotation of the flap, rad.
    pub(super) turn_rad: f64,
    pub(super) largest_m: f64,
}

impl Part {
    fn of(model: &Model, pose: &Pose, triangles: &[usize]) -> Self {
        let mut bits = Vec::new();
        for &t in triangles {
            let corners = model.triangles[t];
            let [a, b, c] = corners.map(|n| Vector3::from(model.nodes_m[n as usize]));
            let area = 0.5 * (b - a).cross(&(c - a)).norm();
            let mass_kg = model.laminates[model.laminate_of[t] as usize].mass[0] * area / 3.0;
            for (i, j) in [(0, 1), (1, 2), (2, 0)] {
                let nodes = [corners[i], corners[j]];
                let [p, q] = nodes.map(|n| pose.positions_m[n as usize]);
                bits.push(Bit { mass_kg, nodes, at: (p + q) * 0.5 });
            }
        }
        let mut part = Self { bits, mass_kg: 0.0, centre: Vector3::zeros() };
        part.settle();
        part
    }

    /// Adds bodies glued to nodes of the part.
    fn with_bodies(mut self, model: &Model, pose: &Pose, own: &[bool]) -> Self {
        for (node, inertia) in model.node_mass.iter().filter(|(n, _)| own[*n as usize]) {
            let mass_kg = inertia.fixed_view::<3, 3>(0, 0).trace() / 3.0;
            self.bits.push(Bit { mass_kg, nodes: [*node; 2], at: pose.positions_m[*node as usize] });
        }
        self.settle();
        self
    }

    fn settle(&mut self) {
        self.mass_kg = self.bits.iter().map(|b| b.mass_kg).sum();
        let first: Vector3<f64> = self.bits.iter().map(|b| b.at * b.mass_kg).sum();
        self.centre = if self.mass_kg > 0.0 { first / self.mass_kg } else { first };
    }

    /// Twice the kinetic energy at unit angular frequency.
    fn energy(&self, shape: &[Vector6<f64>]) -> f64 {
        self.bits.iter().map(|b| b.mass_kg * b.speed(shape).norm_squared()).sum()
    }

    /// Rigid motion of least difference in kinetic energy: of the centre, and rotation; with the inertia about it.
    fn rigid(&self, shape: &[Vector6<f64>]) -> (Vector3<f64>, Vector3<f64>, Matrix3<f64>) {
        let (mut shift, mut spin, mut inertia) = (Vector3::zeros(), Vector3::zeros(), Matrix3::zeros());
        for b in &self.bits {
            let (arm, speed) = (b.at - self.centre, b.speed(shape));
            shift += speed * (b.mass_kg / self.mass_kg);
            spin += arm.cross(&speed) * b.mass_kg;
            inertia += (Matrix3::identity() * arm.norm_squared() - arm * arm.transpose()) * b.mass_kg;
        }
        // A straight row of mass has no inertia about itself; the smallest share keeps the solve sound.
        let safe = inertia + Matrix3::identity() * (1e-12 * inertia.trace());
        let turn = safe.try_inverse().map_or_else(Vector3::zeros, |back| back * spin);
        (shift, turn, inertia)
    }
}

impl Bit {
    fn speed(&self, shape: &[Vector6<f64>]) -> Vector3<f64> {
        let [a, b] = self.nodes.map(|n| shape[n as usize].fixed_rows::<3>(0).into_owned());
        (a + b) * 0.5
    }
}

impl Parts {
    pub(super) fn new(board: &Board, mesh: &BoardMesh, model: &Model, pose: &Pose, hinge: &Hinge) -> Self {
        let n = model.triangles.len();
        let mut free = vec![true; n];
        let mut take = |role: Role| -> Vec<usize> {
            triangles_in(mesh, role).into_iter().filter(|&t| std::mem::take(&mut free[t])).collect()
        };
        let flap = board.flap.as_ref().map(|_| take(Role::Flap)).filter(|own| !own.is_empty());
        let arms: Vec<Vec<usize>> =
            (0_u32..).zip(&board.arms).map(|(number, _)| take(Role::Arm(number))).collect();
        let rest: Vec<usize> = (0..n).filter(|&t| free[t]).collect();
        let mut of_flap = vec![false; model.nodes_m.len()];
        for &t in flap.iter().flatten() {
            model.triangles[t].iter().for_each(|&node| of_flap[node as usize] = true);
        }
        let others: Vec<bool> = of_flap.iter().map(|own| !own).collect();
        let turned = flap.as_ref().map_or_else(Matrix3::identity, |own| mean_rotation(model, pose, own));
        let [c, s] = hinge.along;
        let axes = [Vector3::new(c, s, 0.0), Vector3::from(hinge.axis()), Vector3::z()];
        let frame = axes.map(|axis| turned * axis);
        let flap = flap.map(|own| Part::of(model, pose, &own).with_bodies(model, pose, &of_flap));
        let behind_m = flap.as_ref().map_or(0.0, |part| {
            part.bits.iter().map(|b| (part.centre - b.at).dot(&frame[0])).fold(0.0, f64::max)
        });
        let arm = |own: &Vec<usize>| {
            let part = Part::of(model, pose, own);
            (!part.bits.is_empty()).then_some(())?;
            Some((part, axes[0]))
        };
        Self {
            arms: arms.iter().filter_map(arm).collect(),
            rest: Part::of(model, pose, &rest).with_bodies(model, pose, &others),
            flap,
            hinge_axis: axes[1],
            frame,
            behind_m,
        }
    }

    /// Shares, angles and kind of one mode.
    pub(super) fn movement(&self, shape: &[Vector6<f64>]) -> Movement {
        let mut out = Movement {
            largest_m: shape.iter().map(|x| x.fixed_rows::<3>(0).norm()).fold(0.0, f64::max),
            ..Movement::default()
        };
        let shares = &mut out.shares;
        shares.rest = self.rest.energy(shape);
        for (part, along) in &self.arms {
            let (whole, twist) = (part.energy(shape), twist_energy(part, along, &self.frame[1], shape));
            shares.arm_twist += twist.min(whole);
            shares.arm_bend += whole - twist.min(whole);
        }
        let mut pivot_m = f64::INFINITY;
        if let Some(flap) = &self.flap {
            let (shift, turn, inertia) = flap.rigid(shape);
            let [along, across, normal] = self.frame;
            let about = |axis: &Vector3<f64>| axis.dot(&(inertia * axis)) * turn.dot(axis).powi(2);
            shares.swing = flap.mass_kg * shift.dot(&normal).powi(2) + about(&across);
            shares.roll = about(&along);
            shares.sideways =
                flap.mass_kg * (shift.dot(&along).powi(2) + shift.dot(&across).powi(2)) + about(&normal);
            let rigid = shares.swing + shares.roll + shares.sideways;
            shares.flap_plate = (flap.energy(shape) - rigid).max(0.0);
            out.swing_rad = turn.dot(&self.hinge_axis);
            out.roll_rad = turn.dot(&along);
            out.turn_rad = turn.norm();
            // The line at rest lies this far behind the flap's centre.
            pivot_m = shift.dot(&normal) / turn.dot(&across);
        }
        normalise(shares);
        out.kind = self.kind(shares, pivot_m);
        out
    }

    fn kind(&self, shares: &ModeShares, pivot_m: f64) -> ModeKind {
        if self.flap.is_none() && self.arms.is_empty() {
            return ModeKind::Board;
        }
        let bend = if pivot_m > self.behind_m { ModeKind::Swing } else { ModeKind::SecondBend };
        let parts = [
            (shares.swing, bend),
            (shares.roll, ModeKind::Roll),
            (shares.sideways, ModeKind::Sideways),
            (shares.flap_plate, ModeKind::FlapPlate),
            (shares.arm_bend, ModeKind::ArmBend),
            (shares.arm_twist, ModeKind::ArmTwist),
            (shares.rest, ModeKind::Board),
        ];
        parts.into_iter().fold((0.0, ModeKind::Board), |best, own| if own.0 > best.0 { own } else { best }).1
    }
}

/// Twice the kinetic energy of a part turning about its own middle line.
fn twist_energy(part: &Part, along: &Vector3<f64>, across: &Vector3<f64>, shape: &[Vector6<f64>]) -> f64 {
    let turn = |b: &Bit| {
        let [p, q] = b.nodes.map(|n| shape[n as usize].fixed_rows::<3>(3).dot(along));
        0.5 * (p + q)
    };
    let lever = |b: &Bit| (b.at - part.centre).dot(across);
    part.bits.iter().map(|b| b.mass_kg * (lever(b) * turn(b)).powi(2)).sum()
}

/// Rotation of a part from rest: the one nearest to the mean of its nodes'.
fn mean_rotation(model: &Model, pose: &Pose, triangles: &[usize]) -> Matrix3<f64> {
    let mut sum = Matrix3::zeros();
    for &t in triangles {
        for &node in &model.triangles[t] {
            sum += pose.rotations[node as usize];
        }
    }
    let svd = sum.svd(true, true);
    match (svd.u, svd.v_t) {
        (Some(u), Some(v_t)) => u * v_t,
        _ => Matrix3::identity(),
    }
}

fn normalise(shares: &mut ModeShares) {
    let all = [
        &mut shares.swing,
        &mut shares.roll,
        &mut shares.sideways,
        &mut shares.flap_plate,
        &mut shares.arm_bend,
        &mut shares.arm_twist,
        &mut shares.rest,
    ];
    let total: f64 = all.iter().map(|v| **v).sum();
    for value in all {
        *value = if total > 0.0 { *value / total } else { 0.0 };
    }
}

impl Movement {
    /// Whether the swing is so small a share of the flap's rotation that ratios to it mean nothing.
    fn hardly_swings(&self) -> bool {
        self.swing_rad.abs() < HARDLY * self.turn_rad
    }

    /// A mode that moves like this; number, frequency and strain are the solver's to add.
    pub(super) fn facts(&self) -> ModeFacts {
        ModeFacts {
            number: 0,
            kind: self.kind,
            name: String::new(),
            frequency_hz: 0.0,
            frequency_error_hz: 0.0,
            vacuum_hz: 0.0,
            eigenvalue_rad2_s2: 0.0,
            residual: 0.0,
            shares: self.shares,
            swing_rad: self.swing_rad,
            roll_rad: self.roll_rad,
            roll_per_swing: (!self.hardly_swings() && self.turn_rad > 0.0)
                .then(|| self.roll_rad / self.swing_rad),
            largest_m: self.largest_m,
            mass_at_largest_kg: self.largest_m.powi(-2),
            air_share: 0.0,
            strain: None,
        }
    }
}

/// Gives all modes, in order, their names.
pub(super) fn name(all: &mut [ModeFacts]) {
    let kinds: Vec<_> = all.iter().map(|m| (m.kind, m.eigenvalue_rad2_s2)).collect();
    for (mode, name) in all.iter_mut().zip(names(&kinds)) {
        mode.name = name;
    }
}

/// Names of all modes in order: later ones of a kind are counted, unstable ones say so.
pub(super) fn names(kinds: &[(ModeKind, f64)]) -> Vec<String> {
    let mut seen: Vec<ModeKind> = Vec::new();
    kinds
        .iter()
        .map(|&(kind, eigenvalue)| {
            seen.push(kind);
            let count = seen.iter().filter(|&&k| k == kind).count();
            let plain = match (kind, count) {
                (_, 1) => kind.words().to_owned(),
                (ModeKind::SecondBend, _) => format!("bend no. {}", count + 1),
                _ => format!("{} no. {count}", kind.words()),
            };
            if eigenvalue < 0.0 { format!("gives way: {plain}") } else { plain }
        })
        .collect()
}
