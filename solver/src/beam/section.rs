//! Stacks side by side to the stiffness of a beam's section, and back to the strain in every layer.
//!
//! In: laminates over stretches of the width. Out: 4 x 4 stiffness between stretch, two curvatures and twist, with all
//! coupling; inertia; how strongly held-back warping stiffens the ends; generalised strain at any offset across.
//! Absent: transverse shear.
//!
//! The strain along the beam is `e + z ky - y kz` over the whole section; across, every stretch of the width is free
//! ([`Across::Free`]) or kept flat ([`Across::Flat`]: plane strain, what a wide strip tends to). Twist alone comes
//! from the stress function ([`super::torsion`]); its coupling to bending by layers at an angle from the laminates.

use super::torsion::{self, Block};
use crate::element::beam::SectionMass;
use crate::laminate::{Laminate, strain_rotation};
use nalgebra::{Matrix3, Matrix4, Matrix6, Vector3, Vector4, Vector6};

/// Places of stretch, curvature and twist curvature in (ex, ey, gxy, kx, ky, kxy).
const KEPT: [usize; 3] = [0, 3, 5];

/// What the strip does across its width.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Across {
    /// Contracts and curls freely.
    #[default]
    Free,
    /// Does not curl: plane strain in bending.
    Flat,
}

/// One stack over some width.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// Right and left edge across, m.
    pub across_m: [f64; 2],
    /// Stack about the beam's axis plane, board axes.
    pub laminate: Laminate,
}

/// A stretch with what recovery needs.
#[derive(Debug, Clone, PartialEq)]
struct Own {
    stretch: Stretch,
    /// Forces (Nx, Mx, Mxy) per (ex, kx, kxy), strip axes.
    stiff: Matrix3<f64>,
    /// (ex, kx, kxy) of the free stack at its own heating.
    free: Vector3<f64>,
    /// Whole generalised strain per forces (Nx, Mx, Mxy), and of the free stack; strip axes.
    whole: nalgebra::SMatrix<f64, 6, 3>,
    whole_free: Vector6<f64>,
}

/// A section with its stiffness.
#[derive(Debug, Clone, PartialEq)]
pub struct Section {
    /// Between (stretch, curvature about y, about z, twist) and (pull, moments, torque).
    pub stiffness: Matrix4<f64>,
    /// Its inverse.
    pub compliance: Matrix4<f64>,
    /// Stretch, curvatures and twist of the free section at the layers' own heating.
    pub free: Vector4<f64>,
    /// Inertia per length.
    pub mass: SectionMass,
    /// Resistance against change of twist along the beam, N m4.
    pub warping_nm4: f64,
    along: [f64; 2],
    own: Vec<Own>,
}

/// The twisting stiffness of a section apart from all else: costly, so kept for equal sections.
#[must_use]
pub fn twisting_nm2(stretches: &[Stretch]) -> f64 {
    let blocks = |sliding: bool| -> Vec<Block> {
        stretches
            .iter()
            .flat_map(|s| {
                s.laminate.plies.iter().filter(move |p| p.sliding == sliding).map(|p| Block {
                    across_m: s.across_m,
                    z_m: [p.z0_m, p.z1_m],
                    shear_pa: p.q_pa[(2, 2)],
                })
            })
            .collect()
    };
    torsion::stiffness_nm2(&blocks(false)) + torsion::stiffness_nm2(&blocks(true))
}

impl Section {
    /// A section of stacks side by side.
    ///
    /// `along`: unit direction of the beam in the board plane. `twisting_nm2`: see [`twisting_nm2`]. None without
    /// any stiffness.
    #[must_use]
    pub fn new(stretches: &[Stretch], along: [f64; 2], across: Across, twisting_nm2: f64) -> Option<Self> {
        let own: Vec<Own> = stretches.iter().filter_map(|s| Own::new(s, along, across)).collect();
        let mut k = Matrix4::zeros();
        let mut thermal = Vector4::zeros();
        for o in &own {
            o.add(&mut k, &mut thermal);
        }
        k[(3, 3)] = twisting_nm2;
        let scale = Vector4::from_fn(|i, _| 1.0 / k[(i, i)].sqrt());
        if !scale.iter().all(|s| s.is_finite()) {
            return None;
        }
        let scaled = Matrix4::from_fn(|i, j| k[(i, j)] * scale[i] * scale[j]);
        let inverse = scaled.try_inverse()?;
        let compliance =
            Matrix4::from_fn(|i, j| 0.5 * (inverse[(i, j)] + inverse[(j, i)]) * scale[i] * scale[j]);
        let warping_nm4 = warping(stretches, along);
        Some(Self {
            stiffness: k,
            compliance,
            free: compliance * thermal,
            mass: mass_of(stretches),
            warping_nm4,
            along,
            own,
        })
    }

    /// Bending stiffness about the axis across, nothing else held, N m2.
    #[must_use]
    pub fn bending_nm2(&self) -> f64 {
        1.0 / self.compliance[(1, 1)]
    }

    /// Height of the neutral plane above the beam's axis plane, m: where bending about the axis across makes no
    /// strain.
    #[must_use]
    pub fn neutral_m(&self) -> f64 {
        -self.compliance[(0, 1)] / self.compliance[(1, 1)]
    }

    /// The stacks, from right to left.
    pub fn stretches(&self) -> impl Iterator<Item = &Stretch> {
        self.own.iter().map(|o| &o.stretch)
    }

    /// Generalised strain (board axes) at an offset across inside stretch `index`, for the section's own strain.
    #[must_use]
    pub fn strain_at(
        &self,
        index: usize,
        across_m: f64,
        strain: &Vector4<f64>,
        heating: f64,
    ) -> Vector6<f64> {
        let o = &self.own[index];
        let kept = Vector3::new(strain[0] - across_m * strain[2], strain[1], -2.0 * strain[3]);
        let forces = o.stiff * (kept - o.free * heating);
        let strip = o.whole * forces + o.whole_free * heating;
        let back = strain_rotation(-self.along[1].atan2(self.along[0]));
        let mut board = Vector6::zeros();
        board.fixed_rows_mut::<3>(0).copy_from(&(back * strip.fixed_rows::<3>(0)));
        board.fixed_rows_mut::<3>(3).copy_from(&(back * strip.fixed_rows::<3>(3)));
        board
    }
}

impl Own {
    fn new(stretch: &Stretch, along: [f64; 2], across: Across) -> Option<Self> {
        let turn = strain_rotation(along[1].atan2(along[0]));
        let mut both = Matrix6::zeros();
        both.fixed_view_mut::<3, 3>(0, 0).copy_from(&turn);
        both.fixed_view_mut::<3, 3>(3, 3).copy_from(&turn);
        let mut soft = both * stretch.laminate.compliance()? * both.transpose();
        let mut free = both * stretch.laminate.free_strain()?;
        if across == Across::Flat {
            // A moment across keeps the curvature across at zero.
            let (column, pivot, off) = (soft.column(4).into_owned(), soft[(4, 4)], free[4]);
            soft -= column * column.transpose() / pivot;
            free -= column * (off / pivot);
        }
        let kept = Matrix3::from_fn(|i, j| soft[(KEPT[i], KEPT[j])]);
        let scale = Vector3::from_fn(|i, _| 1.0 / kept[(i, i)].sqrt());
        let scaled = Matrix3::from_fn(|i, j| kept[(i, j)] * scale[i] * scale[j]).try_inverse()?;
        let stiff = Matrix3::from_fn(|i, j| scaled[(i, j)] * scale[i] * scale[j]);
        let whole = nalgebra::SMatrix::<f64, 6, 3>::from_fn(|i, j| soft[(i, KEPT[j])]);
        Some(Self {
            stretch: stretch.clone(),
            stiff,
            free: Vector3::from_fn(|i, _| free[KEPT[i]]),
            whole,
            whole_free: free,
        })
    }

    /// Adds stiffness and thermal forces of this stretch; the pure twist term is left out.
    fn add(&self, k: &mut Matrix4<f64>, thermal: &mut Vector4<f64>) {
        let [a, b] = self.stretch.across_m;
        let (w, y, yy) = (b - a, 0.5 * (b * b - a * a), (b.powi(3) - a.powi(3)) / 3.0);
        // (ex, kx, kxy) per (stretch, ky, kz, twist), without and with the offset across.
        let plain = nalgebra::SMatrix::<f64, 3, 4>::from_row_slice(&[
            1.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, -2.0,
        ]);
        let mut tilt = nalgebra::SMatrix::<f64, 3, 4>::zeros();
        tilt[(0, 2)] = -1.0;
        let c = &self.stiff;
        let cross = plain.transpose() * c * tilt * y;
        *k +=
            plain.transpose() * c * plain * w + cross + cross.transpose() + tilt.transpose() * c * tilt * yy;
        let force = c * self.free;
        *thermal += plain.transpose() * force * w + tilt.transpose() * force * y;
    }
}

/// Inertia per length of stacks side by side.
#[must_use]
pub fn mass_of(stretches: &[Stretch]) -> SectionMass {
    let mut mass = SectionMass::default();
    stretches.iter().for_each(|s| add_mass(s, &mut mass));
    mass
}

fn add_mass(s: &Stretch, mass: &mut SectionMass) {
    let [a, b] = s.across_m;
    let (w, y, yy) = (b - a, 0.5 * (b * b - a * a), (b.powi(3) - a.powi(3)) / 3.0);
    let [m, mz, mzz] = s.laminate.mass;
    mass.mass += m * w;
    mass.first = [mass.first[0] + m * y, mass.first[1] + mz * w];
    let [oyy, ozz, oyz] = mass.second;
    mass.second = [oyy + m * yy, ozz + mzz * w, oyz + mz * y];
}

/// `integral of D (y - ys)^2` over the width: the twist `phi` moves the strip by `y phi`, so its second derivative
/// bends every lengthwise fibre; `D` is the stiffness of the stack bent without curl across.
fn warping(stretches: &[Stretch], along: [f64; 2]) -> f64 {
    let flat: Vec<([f64; 2], f64)> = stretches
        .iter()
        .filter_map(|s| Own::new(s, along, Across::Flat).map(|o| (s.across_m, o)))
        .map(|(across, o)| {
            // Nothing pulls: condense the stretch.
            let c = &o.stiff;
            (across, c[(1, 1)] - c[(0, 1)] * c[(0, 1)] / c[(0, 0)])
        })
        .collect();
    let sum = |power: i32| -> f64 {
        flat.iter()
            .map(|([a, b], d)| d * (b.powi(power + 1) - a.powi(power + 1)) / f64::from(power + 1))
            .sum()
    };
    let (whole, first, second) = (sum(0), sum(1), sum(2));
    if whole > 0.0 { (second - first * first / whole).max(0.0) } else { 0.0 }
}

/// Share of the twist that is left at a place of an arm of constant section whose ends may not warp.
///
/// `place_m` from the first end, arm length, and the decay `sqrt(GJ / warping)`, 1/m. Both ends held:
/// `1 - cosh(k (x - L/2)) / cosh(k L/2)`. Constant torque is exact (V. Z. Vlasov, Thin-Walled Elastic Beams; from
/// memory).
#[must_use]
pub fn twist_share(place_m: f64, length_m: f64, decay_per_m: f64, held: [bool; 2]) -> f64 {
    // Quotients of cosh by decaying exponentials: no overflow.
    let ratio = |near: f64, far: f64| {
        let e = |x: f64| (-x).exp();
        e(far - near) * (1.0 + e(2.0 * near)) / (1.0 + e(2.0 * far))
    };
    let k = decay_per_m;
    match held {
        [true, true] => 1.0 - ratio(k * (place_m - 0.5 * length_m).abs(), 0.5 * k * length_m),
        [true, false] => 1.0 - ratio(k * (length_m - place_m), k * length_m),
        [false, true] => 1.0 - ratio(k * place_m, k * length_m),
        [false, false] => 1.0,
    }
}
