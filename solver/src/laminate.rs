//! Layers through the thickness to plate stiffness: A, B, D, thermal resultants, mass, strain at a height.
//!
//! Input: plies with heights, plane-stress stiffness and heating. Output: [`Laminate`], and strain or stress at
//! any height in a ply. Absent: transverse shear, plies that yield.
//!
//! Signs: curvature `k = -(w_xx, w_yy, 2 w_xy)`, so the strain at height z is `e + z k`.
//! Theory: classical lamination theory, e.g. R. M. Jones, Mechanics of Composite Materials (from memory).

use copperbend_mesh::board::LayerId;
use nalgebra::{Matrix3, Matrix6, Vector3, Vector6};

/// One ply: a layer at one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Ply {
    /// Layer it comes from.
    pub layer: LayerId,
    /// Lower face, m, in the laminate's own frame (0 = the model's reference plane).
    pub z0_m: f64,
    /// Upper face, m.
    pub z1_m: f64,
    /// Plane-stress stiffness in board axes, Pa, order xx, yy, xy (engineering shear).
    pub q_pa: Matrix3<f64>,
    /// Expansion per kelvin in board axes, order xx, yy, xy (engineering shear).
    pub expansion_per_k: Vector3<f64>,
    /// Density, kg/m3.
    pub density_kg_m3: f64,
    /// Temperature change since the ply was free of stress, K.
    pub heating_k: f64,
    /// Held by a tape without shear: adds its own bending about its own neutral plane, and mass, nothing else.
    pub sliding: bool,
}

impl Ply {
    /// Free thermal strain at the ply's own heating.
    #[must_use]
    pub fn free_strain(&self) -> Vector3<f64> {
        self.expansion_per_k * self.heating_k
    }
}

/// Stiffness and mass of a stack at one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Laminate {
    /// Plies from the bottom.
    pub plies: Vec<Ply>,
    /// Membrane stiffness, N/m.
    pub a: Matrix3<f64>,
    /// Coupling, N.
    pub b: Matrix3<f64>,
    /// Bending stiffness, N m.
    pub d: Matrix3<f64>,
    /// Thermal membrane resultant at each ply's heating, N/m.
    pub thermal_n: Vector3<f64>,
    /// Thermal moment resultant, N.
    pub thermal_m: Vector3<f64>,
    /// Mass per area and its first and second moments about the reference plane: kg/m2, kg/m, kg.
    pub mass: [f64; 3],
    /// Factor on the membrane's higher-order drilling strain in a stiffness, [`crate::element::membrane_scale`].
    pub drilling_scale: f64,
    /// Plies whose copper strains otherwise than the ply as a whole (smeared turns).
    pub copper: Vec<CopperShare>,
}

/// Strain of the copper inside a ply of smeared turns, from the plate's generalised strain (e, k) in board axes:
/// (e, k) of the turns is `local * strain + thermal_factor * offset`.
#[derive(Debug, Clone, PartialEq)]
pub struct CopperShare {
    /// Ply.
    pub ply: usize,
    /// From the plate's strain to that of the turns.
    pub local: Matrix6<f64>,
    /// Added at the plies' own heating.
    pub offset: Vector6<f64>,
    /// Free strain of the copper at its own heating.
    pub free: Vector3<f64>,
}

/// A, B, D and thermal resultants of some plies about z = 0.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    a: Matrix3<f64>,
    b: Matrix3<f64>,
    d: Matrix3<f64>,
    n: Vector3<f64>,
    m: Vector3<f64>,
}

impl Sums {
    fn of<'p>(plies: impl Iterator<Item = &'p Ply>) -> Self {
        let mut s = Self::default();
        for p in plies {
            let [one, z, zz] = height_moments(p);
            let stress = p.q_pa * p.free_strain();
            s.a += p.q_pa * one;
            s.b += p.q_pa * z;
            s.d += p.q_pa * zz;
            s.n += stress * one;
            s.m += stress * z;
        }
        s
    }

    /// Membrane strain of a piece that slides freely: no membrane force, curvature `k`.
    fn sliding_strain(&self, k: &Vector3<f64>, thermal_factor: f64) -> Vector3<f64> {
        let compliance = self.a.try_inverse().unwrap_or_default();
        compliance * (self.n * thermal_factor - self.b * k)
    }
}

/// Integrals of 1, z and z^2 over the ply's thickness.
fn height_moments(p: &Ply) -> [f64; 3] {
    let (t, mid) = (p.z1_m - p.z0_m, 0.5 * (p.z1_m + p.z0_m));
    // About the mid-height, then moved: keeps digits when the ply is far from z = 0.
    [t, t * mid, t * (mid * mid + t * t / 12.0)]
}

impl Laminate {
    /// Stiffness, thermal resultants and mass of a stack.
    ///
    /// Plies may leave gaps. Each unbroken run of sliding plies is one piece (a stiffener with its tape): it bends
    /// with the stack about its own neutral plane, `D - B A^-1 B`, and adds mass.
    #[must_use]
    pub fn new(plies: Vec<Ply>) -> Self {
        let held = Sums::of(plies.iter().filter(|p| !p.sliding));
        let (mut d, mut thermal_m) = (held.d, held.m);
        for run in sliding_runs(&plies) {
            let s = Sums::of(plies[run].iter());
            let compliance = s.a.try_inverse().unwrap_or_default();
            d += s.d - s.b * compliance * s.b;
            thermal_m += s.m - s.b * compliance * s.n;
        }
        let mut mass = [0.0; 3];
        for p in &plies {
            for (sum, h) in mass.iter_mut().zip(height_moments(p)) {
                *sum += p.density_kg_m3 * h;
            }
        }
        let drilling_scale = crate::element::membrane_scale(&held.a);
        Self {
            plies,
            a: held.a,
            b: held.b,
            d: symmetric(&d),
            thermal_n: held.n,
            thermal_m,
            mass,
            drilling_scale,
            copper: Vec::new(),
        }
    }

    /// The six by six matrix from (e, k) to (N, M).
    #[must_use]
    pub fn abd(&self) -> Matrix6<f64> {
        let mut m = Matrix6::zeros();
        m.fixed_view_mut::<3, 3>(0, 0).copy_from(&self.a);
        m.fixed_view_mut::<3, 3>(0, 3).copy_from(&self.b);
        m.fixed_view_mut::<3, 3>(3, 0).copy_from(&self.b);
        m.fixed_view_mut::<3, 3>(3, 3).copy_from(&self.d);
        m
    }

    /// Thermal resultants (N, M) at the plies' own heating: N/m, N.
    #[must_use]
    pub fn thermal(&self) -> Vector6<f64> {
        let (n, m) = (self.thermal_n, self.thermal_m);
        Vector6::new(n[0], n[1], n[2], m[0], m[1], m[2])
    }

    /// Inverse of [`Self::abd`], from (N, M) to (e, k); None for a stack without stiffness.
    #[must_use]
    pub fn compliance(&self) -> Option<Matrix6<f64>> {
        // Scaled to equal diagonals first: A and D differ by the thickness squared.
        let abd = self.abd();
        let scale = Vector6::from_fn(|i, _| 1.0 / abd[(i, i)].sqrt());
        if !scale.iter().all(|s| s.is_finite()) {
            return None;
        }
        let scaled = Matrix6::from_fn(|i, j| abd[(i, j)] * scale[i] * scale[j]);
        let inverse = scaled.try_inverse()?;
        Some(Matrix6::from_fn(|i, j| inverse[(i, j)] * scale[i] * scale[j]))
    }

    /// Generalised strain (e, k) of a free piece of the stack at the plies' own heating.
    #[must_use]
    pub fn free_strain(&self) -> Option<Vector6<f64>> {
        Some(self.compliance()? * self.thermal())
    }

    /// The same plies seen from a reference plane `up_m` higher: every height falls by `up_m` (smeared turns become
    /// plain plies).
    #[must_use]
    pub fn shifted(&self, up_m: f64) -> Self {
        let lowered = |p: &Ply| Ply { z0_m: p.z0_m - up_m, z1_m: p.z1_m - up_m, ..p.clone() };
        Self::new(self.plies.iter().map(lowered).collect())
    }

    /// Height, m, of the plane without strain when the stack is bent about y and nothing pulls at it.
    #[must_use]
    pub fn neutral_plane_m(&self) -> f64 {
        self.compliance().map_or(0.0, |c| -c[(0, 3)] / c[(3, 3)])
    }

    /// Thickness from the lowest to the highest face, m.
    #[must_use]
    pub fn thickness_m(&self) -> f64 {
        let low = self.plies.iter().map(|p| p.z0_m).fold(f64::INFINITY, f64::min);
        let high = self.plies.iter().map(|p| p.z1_m).fold(f64::NEG_INFINITY, f64::max);
        (high - low).max(0.0)
    }

    /// Total strain (xx, yy, engineering xy) in ply `ply` at height `z_m` for generalised strain (e, k).
    ///
    /// A sliding ply follows the curvature but not the membrane strain.
    #[must_use]
    pub fn strain_at(
        &self,
        ply: usize,
        z_m: f64,
        strain: &Vector6<f64>,
        thermal_factor: f64,
    ) -> Vector3<f64> {
        let k = Vector3::new(strain[3], strain[4], strain[5]);
        let e = if self.plies[ply].sliding {
            let run =
                sliding_runs(&self.plies).into_iter().find(|r| r.contains(&ply)).unwrap_or(ply..ply + 1);
            Sums::of(self.plies[run].iter()).sliding_strain(&k, thermal_factor)
        } else {
            Vector3::new(strain[0], strain[1], strain[2])
        };
        e + k * z_m
    }

    /// Strain that makes stress: [`Self::strain_at`] less `thermal_factor` times the ply's free thermal strain.
    #[must_use]
    pub fn mechanical_strain_at(
        &self,
        ply: usize,
        z_m: f64,
        strain: &Vector6<f64>,
        thermal_factor: f64,
    ) -> Vector3<f64> {
        self.strain_at(ply, z_m, strain, thermal_factor) - self.plies[ply].free_strain() * thermal_factor
    }

    /// [`Self::mechanical_strain_at`] of the copper itself, where the ply is a mixture of turns and filler.
    #[must_use]
    pub fn copper_strain_at(
        &self,
        ply: usize,
        z_m: f64,
        strain: &Vector6<f64>,
        thermal_factor: f64,
    ) -> Vector3<f64> {
        let Some(own) = self.copper.iter().find(|c| c.ply == ply) else {
            return self.mechanical_strain_at(ply, z_m, strain, thermal_factor);
        };
        let turns = own.local * strain + own.offset * thermal_factor;
        turns.fixed_rows::<3>(0) + turns.fixed_rows::<3>(3) * z_m - own.free * thermal_factor
    }

    /// Stress (xx, yy, xy), Pa, in ply `ply` at height `z_m`.
    #[must_use]
    pub fn stress_at(
        &self,
        ply: usize,
        z_m: f64,
        strain: &Vector6<f64>,
        thermal_factor: f64,
    ) -> Vector3<f64> {
        self.plies[ply].q_pa * self.mechanical_strain_at(ply, z_m, strain, thermal_factor)
    }
}

/// Unbroken runs of sliding plies.
fn sliding_runs(plies: &[Ply]) -> Vec<std::ops::Range<usize>> {
    let mut runs = Vec::new();
    let mut start = 0;
    for run in plies.chunk_by(|p, q| p.sliding == q.sliding) {
        if run[0].sliding {
            runs.push(start..start + run.len());
        }
        start += run.len();
    }
    runs
}

fn symmetric(m: &Matrix3<f64>) -> Matrix3<f64> {
    (m + m.transpose()) * 0.5
}

/// Plane-stress stiffness of an isotropic material, in the unit of `e_pa`; order xx, yy, xy.
#[must_use]
pub fn isotropic_q(e_pa: f64, nu: f64) -> Matrix3<f64> {
    let c = e_pa / (1.0 - nu * nu);
    Matrix3::new(c, nu * c, 0.0, nu * c, c, 0.0, 0.0, 0.0, 0.5 * (1.0 - nu) * c)
}

/// Plane-stress stiffness in board axes of a ply whose direction 1 lies at `angle_rad` from x towards y.
///
/// `e1_pa`, `e2_pa`: moduli along and across; `nu12`: contraction across from tension along; `g12_pa`: shear.
#[must_use]
pub fn orthotropic_q(e1_pa: f64, e2_pa: f64, nu12: f64, g12_pa: f64, angle_rad: f64) -> Matrix3<f64> {
    let c = 1.0 / (1.0 - nu12 * nu12 * e2_pa / e1_pa);
    let q12 = c * nu12 * e2_pa;
    let own = Matrix3::new(c * e1_pa, q12, 0.0, q12, c * e2_pa, 0.0, 0.0, 0.0, g12_pa);
    let to_ply = strain_rotation(angle_rad);
    symmetric(&(to_ply.transpose() * own * to_ply))
}

/// Matrix that takes a strain (engineering shear) from board axes to axes turned by `angle_rad` from x towards y.
#[must_use]
pub fn strain_rotation(angle_rad: f64) -> Matrix3<f64> {
    let (s, c) = angle_rad.sin_cos();
    Matrix3::new(c * c, s * s, s * c, s * s, c * c, -s * c, -2.0 * s * c, 2.0 * s * c, c * c - s * s)
}

/// Expansion per kelvin in board axes from the expansions along and across a direction at `angle_rad` from x.
#[must_use]
pub fn rotated_expansion(along_per_k: f64, across_per_k: f64, angle_rad: f64) -> Vector3<f64> {
    strain_rotation(-angle_rad) * Vector3::new(along_per_k, across_per_k, 0.0)
}

#[cfg(test)]
mod tests;
