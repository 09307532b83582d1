//! Strain at a face of a layer, and the one number that ranks it.
//!
//! In: generalised strains (ex, ey, gxy, kx, ky, kxy) and a laminate. Out: mechanical strain at a height, the
//! normal strain of largest magnitude over directions and faces. Absent: places, see [`mod@super::spots`].

use crate::laminate::Laminate;
use copperbend_mesh::board::LayerId;
use nalgebra::{Vector3, Vector6};

/// Which face of a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Face {
    /// Towards -z.
    Lower,
    /// Towards +z.
    Upper,
}

/// The strain that ranks, at one place of one layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ranked {
    /// Mechanical normal strain of largest magnitude over directions and faces, sign kept.
    pub strain: f64,
    /// Its direction from the x axis of the strains, rad, in (-pi/2, pi/2].
    pub direction_rad: f64,
    /// Face of the layer.
    pub face: Face,
    /// Height of that face in the laminate's own frame, m.
    pub z_m: f64,
    /// All three strains at that face, order xx, yy, xy (engineering shear).
    pub components: [f64; 3],
}

/// Normal strain of largest magnitude over in-plane directions, sign kept, and its direction, rad.
///
/// `strain`: order xx, yy, xy (engineering shear).
/// Source: plane strain transformation (Mohr's circle), any text on strength of materials.
#[must_use]
pub fn largest_normal(strain: &Vector3<f64>) -> (f64, f64) {
    let mean = 0.5 * (strain[0] + strain[1]);
    let half = 0.5 * (strain[0] - strain[1]);
    let radius = half.hypot(0.5 * strain[2]);
    let towards_major = 0.5 * strain[2].atan2(2.0 * half);
    if mean >= 0.0 {
        (mean + radius, towards_major)
    } else {
        let turned = towards_major + std::f64::consts::FRAC_PI_2;
        let direction =
            if turned > std::f64::consts::FRAC_PI_2 { turned - std::f64::consts::PI } else { turned };
        (mean - radius, direction)
    }
}

/// Magnitude of [`largest_normal`].
#[must_use]
pub fn largest_size(strain: &Vector3<f64>) -> f64 {
    let mean = 0.5 * (strain[0] + strain[1]);
    let half = 0.5 * (strain[0] - strain[1]);
    mean.abs() + (half * half + 0.25 * strain[2] * strain[2]).sqrt()
}

/// Normal strain along a direction at `angle_rad` from x; `strain` in order xx, yy, xy (engineering shear).
#[must_use]
pub fn along(strain: &Vector3<f64>, angle_rad: f64) -> f64 {
    let (s, c) = angle_rad.sin_cos();
    c * c * strain[0] + s * s * strain[1] + s * c * strain[2]
}

/// The strain that ranks a layer at one place, over both its faces; None where the layer is absent.
#[must_use]
pub fn rank_layer(
    laminate: &Laminate,
    layer: LayerId,
    strain: &Vector6<f64>,
    thermal_factor: f64,
) -> Option<Ranked> {
    let mut best: Option<Ranked> = None;
    for (ply, own) in laminate.plies.iter().enumerate().filter(|(_, own)| own.layer == layer) {
        for face in [Face::Lower, Face::Upper] {
            let z_m = if face == Face::Lower { own.z0_m } else { own.z1_m };
            let at_face = laminate.copper_strain_at(ply, z_m, strain, thermal_factor);
            let (value, direction_rad) = largest_normal(&at_face);
            if best.is_none_or(|found| value.abs() > found.strain.abs()) {
                best = Some(Ranked { strain: value, direction_rad, face, z_m, components: at_face.into() });
            }
        }
    }
    best
}

/// Generalised strains in axes turned by `angle_rad` about the normal.
#[must_use]
pub fn rotate(strain: &Vector6<f64>, angle_rad: f64) -> Vector6<f64> {
    let (s, c) = angle_rad.sin_cos();
    let turn = |x: f64, y: f64, xy: f64| {
        [
            c * c * x + s * s * y + s * c * xy,
            s * s * x + c * c * y - s * c * xy,
            2.0 * s * c * (y - x) + (c * c - s * s) * xy,
        ]
    };
    let [a, b, g] = turn(strain[0], strain[1], strain[2]);
    let [k, l, m] = turn(strain[3], strain[4], strain[5]);
    Vector6::new(a, b, g, k, l, m)
}
