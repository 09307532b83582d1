//! Current path times flux density: force, torque about the hinge line, nodal loads, resistance.
//!
//! Input: the board's [`CurrentPath`] (a filament at the copper's mid-height) and the magnets' [`Field`].
//! Output: [`CoilLoad`] for the whole path, [`nodal::NodalLoad`] for a shell
//! mesh at rest, [`moving::CarriedPath`] for one that swings. Absent: the width of the
//! tracks (it changes the force of a fine coil by some 1e-5), the coil's own field, inductance.

pub mod inductance;
pub mod moving;
pub mod nodal;

use crate::magnet::Field;
use copperbend_mesh::board::{Board, CurrentPath, LayerId, PathSegment};
use copperbend_mesh::coil::clearance;
use nalgebra::Vector3;
use rayon::prelude::*;

/// Three-point Gauss rule on (0, 1): place and weight.
const GAUSS: [(f64, f64); 3] =
    [(0.112_701_665_379_258_3, 5.0 / 18.0), (0.5, 4.0 / 9.0), (0.887_298_334_620_741_7, 5.0 / 18.0)];

/// A piece longer than this share of its distance to the magnet is halved before it is integrated.
const PIECE_SHARE: f64 = 0.4;

/// Vertices that turn less than this, rad, are taken as points of a curve.
const CURVE_TURN: f64 = 0.35;

/// Line through the arms' roots about which torque counts; TERMS of the frame in the crate's documentation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HingeLine {
    /// A point of the line, m: torque, roll and yaw are taken there.
    pub point_m: [f64; 3],
    /// Mean direction of the arms from root to tip, unit length, in the board plane.
    pub arm: [f64; 2],
}

impl HingeLine {
    /// Hinge line through a point for arms along a direction (any length above 0).
    #[must_use]
    pub fn new(point_m: [f64; 3], direction: [f64; 2]) -> Self {
        let length = direction[0].hypot(direction[1]);
        let arm = if length > 0.0 { direction.map(|x| x / length) } else { [1.0, 0.0] };
        Self { point_m, arm }
    }

    /// Hinge line of a board: through the mean of the arms' roots, normal to their mean direction, in z = 0.
    /// None without arms.
    #[must_use]
    pub fn of_board(board: &Board) -> Option<Self> {
        let mut root = [0.0; 2];
        let mut direction = [0.0; 2];
        let mut n = 0.0;
        for arm in &board.arms {
            let along = [arm.tip_m[0] - arm.root_m[0], arm.tip_m[1] - arm.root_m[1]];
            let length = along[0].hypot(along[1]).max(f64::MIN_POSITIVE);
            n += 1.0;
            for i in 0..2 {
                root[i] += arm.root_m[i];
                direction[i] += along[i] / length;
            }
        }
        (n > 0.0).then(|| Self::new([root[0] / n, root[1] / n, 0.0], direction))
    }

    /// Unit vectors along the arms and along the hinge; a turn from the one towards +z about minus the other
    /// lifts the flap.
    #[must_use]
    pub fn axes(&self) -> [Vector3<f64>; 2] {
        let arm = Vector3::new(self.arm[0], self.arm[1], 0.0);
        [arm, Vector3::z().cross(&arm)]
    }
}

/// Force and torque of the magnets on a current path held where it is.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CoilLoad {
    /// Total force, N.
    pub force_n: Vector3<f64>,
    /// Total moment about the hinge line's point, N m, board axes.
    pub moment_nm: Vector3<f64>,
    /// Torque about the hinge line, N m; positive lifts the flap (work-conjugate to the flap angle).
    pub torque_nm: f64,
    /// Moment about the arm direction, N m.
    pub roll_nm: f64,
    /// Moment about +z, N m.
    pub yaw_nm: f64,
    /// Torque per ampere, N m/A (same as V s/rad); 0 without current.
    pub torque_constant_nm_per_a: f64,
    /// Estimated error of the force from chords in place of curves, N.
    pub chord_error_n: f64,
    /// Estimated error of the torque from chords in place of curves, N m.
    pub chord_error_nm: f64,
    /// Largest flux density met along the path, T.
    pub field_max_t: f64,
}

/// Part of a segment's integral: where, and I dl x B there.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Pull {
    at_m: Vector3<f64>,
    force_n: Vector3<f64>,
    field_t: f64,
}

/// Force and torque on the whole path at its present place.
///
/// Every straight piece is integrated by three Gauss points; pieces longer than 0.4 of their distance to the
/// magnet are halved first, which leaves some 1e-9 of the force.
/// Limits: filament at mid-height; only a closed path has a meaningful torque constant.
#[must_use]
pub fn coil_load(path: &CurrentPath, field: &Field, about: &HingeLine) -> CoilLoad {
    let (force_n, moment_nm, field_max_t) = resultant(&path.segments, path.current_a, field, about);
    let (coarse_force, coarse_moment, _) =
        resultant(&half_chords(&path.segments), path.current_a, field, about);
    let [arm, hinge] = about.axes();
    let torque_nm = -moment_nm.dot(&hinge);
    let current = path.current_a;
    CoilLoad {
        force_n,
        moment_nm,
        torque_nm,
        roll_nm: moment_nm.dot(&arm),
        yaw_nm: moment_nm.z,
        torque_constant_nm_per_a: if current.abs() > 0.0 { torque_nm / current } else { 0.0 },
        // The error falls with the square of the number of chords: half of them have three times as much more.
        chord_error_n: (force_n - coarse_force).norm() / 3.0,
        chord_error_nm: (moment_nm - coarse_moment).dot(&hinge).abs() / 3.0,
        field_max_t,
    }
}

/// Length of the whole path, vias and closing line included, m.
#[must_use]
pub fn path_length_m(path: &CurrentPath) -> f64 {
    path.segments.iter().map(|s| along(s).norm()).sum()
}

/// Resistance at 20 degC of a path, ohm: resistivity times length over section; vias and the closing line
/// count as 0.
///
/// `resistivity_ohm_m`: of a layer's copper at 20 degC (1.7241e-8 ohm m for annealed copper: IACS, National
/// Bureau of Standards Handbook 100, 1966).
#[must_use]
pub fn resistance_ohm(path: &CurrentPath, resistivity_ohm_m: impl Fn(LayerId) -> f64) -> f64 {
    let of = |s: &PathSegment| match s.layer {
        Some(layer) if s.section_m2 > 0.0 => resistivity_ohm_m(layer) * along(s).norm() / s.section_m2,
        _ => 0.0,
    };
    path.segments.iter().map(of).sum()
}

/// Resistance of a board's current path at 20 degC, ohm; None without a path, or if a layer of the path has no
/// resistivity.
#[must_use]
pub fn board_resistance_ohm(board: &Board) -> Option<f64> {
    let path = board.current.as_ref()?;
    let of = |layer: LayerId| {
        let material = board.layers.get(layer.0 as usize)?.material;
        board.materials.get(material.0 as usize)?.resistivity_ohm_m.as_ref().map(|value| value.v)
    };
    let known = path.segments.iter().filter_map(|s| s.layer).all(|layer| of(layer).is_some());
    known.then(|| resistance_ohm(path, |layer| of(layer).unwrap_or(0.0)))
}

/// First place where the path touches a magnet, in words; None if it stays clear.
#[must_use]
pub fn touching(board: &Board) -> Option<String> {
    let touch = clearance::touching(board.current.as_ref()?, &board.magnets)?;
    let [x, y, z] = touch.at_m.map(|v| v * 1e3);
    Some(format!("the current path touches magnet '{}' at ({x:.3}, {y:.3}, {z:.3}) mm", touch.magnet))
}

fn along(segment: &PathSegment) -> Vector3<f64> {
    Vector3::from(segment.to_m) - Vector3::from(segment.from_m)
}

/// Sums over all segments, each in its place: force, moment about the hinge point, largest flux density.
fn resultant(
    segments: &[PathSegment],
    current_a: f64,
    field: &Field,
    about: &HingeLine,
) -> (Vector3<f64>, Vector3<f64>, f64) {
    let pivot = Vector3::from(about.point_m);
    let per_segment: Vec<_> = segments
        .par_iter()
        .map(|s| {
            let mut sum = (Vector3::zeros(), Vector3::zeros(), 0.0_f64);
            pulls(s.from_m.into(), s.to_m.into(), current_a, field, &mut |pull| {
                sum.0 += pull.force_n;
                sum.1 += (pull.at_m - pivot).cross(&pull.force_n);
                sum.2 = sum.2.max(pull.field_t);
            });
            sum
        })
        .collect();
    per_segment.iter().fold((Vector3::zeros(), Vector3::zeros(), 0.0), |sum, part| {
        (sum.0 + part.0, sum.1 + part.1, sum.2.max(part.2))
    })
}

/// Hands out the Gauss points of a straight piece, halved as often as the distance to the magnet asks for.
fn pulls(from: Vector3<f64>, to: Vector3<f64>, current_a: f64, field: &Field, take: &mut impl FnMut(Pull)) {
    let dl = to - from;
    let length = dl.norm();
    let cuts = |gap: f64| length > PIECE_SHARE * gap.max(0.02 * length).max(1e-6);
    if cuts(field.clearance_m((0.5 * (from + to)).into())) {
        let middle = 0.5 * (from + to);
        pulls(from, middle, current_a, field, take);
        pulls(middle, to, current_a, field, take);
        return;
    }
    for (share, weight) in GAUSS {
        let at_m = from + dl * share;
        let b = field.at(at_m.into());
        take(Pull { at_m, force_n: dl.cross(&b) * (weight * current_a), field_t: b.norm() });
    }
}

/// The path with every second vertex of its curves left out.
fn half_chords(segments: &[PathSegment]) -> Vec<PathSegment> {
    let mut coarse: Vec<PathSegment> = Vec::with_capacity(segments.len());
    let mut merged = false;
    for segment in segments {
        let previous =
            coarse.last_mut().filter(|p| !merged && p.layer == segment.layer && curves(p, segment));
        if let Some(p) = previous {
            p.to_m = segment.to_m;
            merged = true;
        } else {
            coarse.push(*segment);
            merged = false;
        }
    }
    coarse
}

/// Whether two neighbours are chords of one curve.
fn curves(a: &PathSegment, b: &PathSegment) -> bool {
    let (a, b) = (along(a), along(b));
    let turn = a.cross(&b).norm().atan2(a.dot(&b));
    turn > 1e-6 && turn < CURVE_TURN
}
