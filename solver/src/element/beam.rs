//! The beam element: exact for small motion of a layered section, any rotation by a frame that turns with it.
//!
//! In: flexibility of the section along the element, its inertia, both ends at rest. Out: internal force and tangent
//! conjugate to displacements and *spatial spins* of the two ends, and a consistent mass; pure functions without
//! allocation. Absent: transverse shear, bending of second order inside one element (take several an arm).
//!
//! Small motion inside the frame has six modes: stretch, twist, and two end rotations about each of the axes y and z.
//! Forces vary along a free beam as equilibrium says (pull and torque constant, moments linear), so the flexibility
//! `F = integral of b' S b` is exact for any section `S` along the element, coupled and tapered ones included, and
//! the stiffness is its inverse. The frame's x axis joins the ends, its twist is the mean of both ends'.
//!
//! Sources: J.-M. Battini, C. Pacoste, Comput. Methods Appl. Mech. Engrg. 191 (2002) 1755-1789 (frame and its
//! variation; from memory, checked here against differences of energy and force).

use super::corotational::{logarithm, moment_correction, spin_to_vector};
use nalgebra::{Matrix3, Matrix4, Matrix6, SMatrix, SVector, Vector3, Vector4, Vector6};

/// Matrix over the freedoms of both ends: displacement and spin, first end first.
pub type Matrix12 = SMatrix<f64, 12, 12>;
/// Forces and moments at both ends.
pub type Vector12 = SVector<f64, 12>;
/// Motion in the frame: stretch, rotation vector of the first end, of the second.
type Vector7 = SVector<f64, 7>;

/// A section at some place of an element.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SectionAt {
    /// Place from the first end, 0 to 1.
    pub place: f64,
    /// Weight of the place; all weights sum to 1.
    pub weight: f64,
    /// From pull, moment about y, moment about z, torque to stretch, curvatures, twist.
    pub compliance: Matrix4<f64>,
    /// Stretch, curvatures (1/m) and twist (1/m) of the free section by its own heating.
    pub free: Vector4<f64>,
}

/// Inertia of a section per length: mass, first and second moments about the axis.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SectionMass {
    /// kg/m.
    pub mass: f64,
    /// Moments with y and z, kg.
    pub first: [f64; 2],
    /// Moments with y y, z z and y z, kg m.
    pub second: [f64; 3],
}

impl SectionMass {
    /// Inertia of a slice as a rigid body, per length, in section axes.
    fn slice(&self) -> Matrix6<f64> {
        let arm = Vector3::new(0.0, self.first[0], self.first[1]).cross_matrix();
        let [yy, zz, yz] = self.second;
        let mut m = Matrix6::zeros();
        m.fixed_view_mut::<3, 3>(0, 0).fill_diagonal(self.mass);
        m.fixed_view_mut::<3, 3>(0, 3).copy_from(&-arm);
        m.fixed_view_mut::<3, 3>(3, 0).copy_from(&arm);
        let turn = Matrix3::new(yy + zz, 0.0, 0.0, 0.0, zz, -yz, 0.0, -yz, yy);
        m.fixed_view_mut::<3, 3>(3, 3).copy_from(&turn);
        m
    }
}

/// One element at rest.
#[derive(Debug, Clone, PartialEq)]
pub struct BeamElement {
    /// Length, m.
    pub length_m: f64,
    /// Rows are the element axes at rest: along, across, up.
    pub triad: Matrix3<f64>,
    /// Stiffness of the six modes.
    pub stiffness: Matrix6<f64>,
    /// Mode motion by the section's own heating.
    pub free: Vector6<f64>,
    /// Consistent mass in the element's axes.
    pub mass: Matrix12,
}

/// Forces of the section (pull, moments about y and z, torque) per mode force at a place.
#[must_use]
pub fn section_forces(place: f64) -> SMatrix<f64, 4, 6> {
    let mut b = SMatrix::<f64, 4, 6>::zeros();
    b[(0, 0)] = 1.0;
    b[(1, 2)] = place - 1.0;
    b[(1, 3)] = place;
    b[(2, 4)] = place - 1.0;
    b[(2, 5)] = place;
    b[(3, 1)] = 1.0;
    b
}

impl BeamElement {
    /// An element of a given length; `triad`: rows along, across, up. None if the section has no stiffness.
    #[must_use]
    pub fn new(
        length_m: f64,
        triad: Matrix3<f64>,
        sections: &[SectionAt],
        mass: &SectionMass,
    ) -> Option<Self> {
        let mut flexibility = Matrix6::zeros();
        let mut free = Vector6::zeros();
        for s in sections {
            let b = section_forces(s.place);
            flexibility += b.transpose() * s.compliance * b * (s.weight * length_m);
            free += b.transpose() * s.free * (s.weight * length_m);
        }
        let scale = Vector6::from_fn(|i, _| 1.0 / flexibility[(i, i)].sqrt());
        if !scale.iter().all(|s| s.is_finite()) {
            return None;
        }
        let scaled = Matrix6::from_fn(|i, j| flexibility[(i, j)] * scale[i] * scale[j]);
        let inverse = scaled.try_inverse()?;
        let stiffness =
            Matrix6::from_fn(|i, j| 0.5 * (inverse[(i, j)] + inverse[(j, i)]) * scale[i] * scale[j]);
        Some(Self { length_m, triad, stiffness, free, mass: consistent_mass(length_m, mass) })
    }

    /// Forces of the six modes for a motion, `heating` times the own free motion taken off.
    #[must_use]
    pub fn mode_forces(&self, moved: &MovedBeam, heating: f64) -> Vector6<f64> {
        self.stiffness * (modes(&moved.motion) - self.free * heating)
    }

    /// Forces of the six modes for a small motion of the ends (space axes) from a place, `moved`, without force.
    #[must_use]
    pub fn small_mode_forces(&self, moved: &MovedBeam, ends: &Vector12, heating: f64) -> Vector6<f64> {
        let local = moved.in_frame(ends);
        self.stiffness * (modes(&(moved.strained() * local)) - self.free * heating)
    }

    /// Elastic energy, J.
    #[must_use]
    pub fn energy(&self, moved: &MovedBeam, heating: f64) -> f64 {
        let v = modes(&moved.motion) - self.free * heating;
        0.5 * v.dot(&(self.stiffness * v))
    }

    /// Change of the six mode forces by a motion of the ends (space, spins) from a place, to first order.
    #[must_use]
    pub fn change_of_forces(&self, moved: &MovedBeam, ends: &Vector12) -> Vector6<f64> {
        let local = moved.in_frame(ends);
        let frame = moved.fitter * local;
        let mut change = Vector7::zeros();
        change[0] = local[6] - local[0];
        for (end, at) in [1, 4].into_iter().enumerate() {
            let spin = local.fixed_rows::<3>(3 + 6 * end) - frame;
            change.fixed_rows_mut::<3>(at).copy_from(&(moved.turning[end] * spin));
        }
        self.stiffness * modes(&change)
    }

    /// Forces and moments at both ends, in space, and their tangent for displacements and spins.
    #[must_use]
    pub fn force_and_tangent(&self, moved: &MovedBeam, heating: f64) -> (Vector12, Matrix12) {
        let own = self.mode_forces(moved, heating);
        let (force, _, tangent) = self.pull(moved, &own, &own);
        (force, tangent)
    }

    /// Forces at both ends by the mode forces `own`; by the mode forces `foretold`; the tangent with the forces foretold
    /// in the parts that turn them. In space.
    ///
    /// On the way to equilibrium the forces that the last step foretold are closer to those at the end than the forces
    /// of the present motion: of a thin arm these hold a pull by the square of the spins that no equilibrium has.
    /// (Mixed points of integration: D. Magisano, L. Leonetti, G. Garcea, Int. J. Numer. Meth. Engng 109 (2017) 1237,
    /// from memory; here for the modes of a beam.)
    #[must_use]
    pub fn pull(
        &self,
        moved: &MovedBeam,
        own: &Vector6<f64>,
        foretold: &Vector6<f64>,
    ) -> (Vector12, Vector12, Matrix12) {
        let mut k = SMatrix::<f64, 7, 7>::zeros();
        for (mode, part, sign) in SELECTION {
            for (other, beside, turned) in SELECTION {
                k[(part, beside)] += sign * turned * self.stiffness[(mode, other)];
            }
        }
        for (end, at) in [1, 4].into_iter().enumerate() {
            let right = k.fixed_columns::<3>(at) * moved.turning[end];
            k.fixed_columns_mut::<3>(at).copy_from(&right);
        }
        let ahead = spread(foretold);
        for (end, at) in [1, 4].into_iter().enumerate() {
            let h = moved.turning[end];
            let left = h.transpose() * k.fixed_rows::<3>(at);
            k.fixed_rows_mut::<3>(at).copy_from(&left);
            let (v, m) = (moved.motion.fixed_rows::<3>(at), ahead.fixed_rows::<3>(at));
            let l = moment_correction(&v.into_owned(), &m.into_owned(), &h);
            let mut block = k.fixed_view_mut::<3, 3>(at, at);
            block += l;
        }
        let (own, ahead) = (moved.by_spin(&spread(own)), moved.by_spin(&ahead));
        let mut tangent = moved.on_the_ends(&k);
        moved.add_frame_terms(&ahead, &mut tangent);
        let in_space = |f: &Vector7| moved.turned_back(&moved.ends_of(f));
        (in_space(&own), in_space(&ahead), moved.matrix_in_space(&tangent))
    }

    /// Mass matrix in space at a moved place.
    #[must_use]
    pub fn mass_in_space(&self, moved: &MovedBeam) -> Matrix12 {
        moved.matrix_in_space(&self.mass)
    }
}

/// Stretch, twist and end rotations of a motion in the frame.
fn modes(p: &Vector7) -> Vector6<f64> {
    Vector6::new(p[0], p[4] - p[1], p[2], p[5], p[3], p[6])
}

/// Forces on the motion in the frame from forces of the modes.
fn spread(q: &Vector6<f64>) -> Vector7 {
    Vector7::from([q[0], -q[1], q[2], q[4], q[1], q[3], q[5]])
}

/// The linear map behind [`modes`]: mode, part of the motion, sign.
const SELECTION: [(usize, usize, f64); 7] =
    [(0, 0, 1.0), (1, 4, 1.0), (1, 1, -1.0), (2, 2, 1.0), (3, 5, 1.0), (4, 3, 1.0), (5, 6, 1.0)];

/// A moved element: its frame and the small motion inside it.
#[derive(Debug, Clone, Copy)]
pub struct MovedBeam {
    /// Rows are the frame's axes in space.
    pub triad: Matrix3<f64>,
    /// Length now, m.
    pub length_m: f64,
    motion: Vector7,
    turning: [Matrix3<f64>; 2],
    /// Spin of the frame per motion of the ends, frame axes.
    fitter: SMatrix<f64, 3, 12>,
    /// Both ends' across-axes in the frame, over the component of their mean along the frame's y.
    across: [Vector3<f64>; 2],
}

impl MovedBeam {
    /// The frame of a moved element; None where it has collapsed.
    ///
    /// `ends`: positions now. `rotations`: of the ends, from rest, in space.
    #[must_use]
    pub fn new(rest: &BeamElement, ends: [Vector3<f64>; 2], rotations: [&Matrix3<f64>; 2]) -> Option<Self> {
        let side = ends[1] - ends[0];
        let length = side.norm();
        let across_at_rest: Vector3<f64> = rest.triad.row(1).transpose();
        let across = rotations.map(|r| r * across_at_rest);
        let mean = (across[0] + across[1]) * 0.5;
        let e1 = side.try_normalize(0.0)?;
        let e3 = e1.cross(&mean).try_normalize(1e-6)?;
        let e2 = e3.cross(&e1);
        let triad = Matrix3::from_rows(&[e1.transpose(), e2.transpose(), e3.transpose()]);
        let mut motion = Vector7::zeros();
        motion[0] = length - rest.length_m;
        let mut turning = [Matrix3::identity(); 2];
        let back = rest.triad.transpose();
        for (end, at) in [1, 4].into_iter().enumerate() {
            let theta = logarithm(&(triad * rotations[end] * back));
            turning[end] = spin_to_vector(&theta);
            motion.fixed_rows_mut::<3>(at).copy_from(&theta);
        }
        let across = across.map(|v| triad * v / e2.dot(&mean));
        let [a, b] = across;
        let (lean, l) = (0.5 * (a[0] + b[0]), length);
        let mut fitter = SMatrix::<f64, 3, 12>::zeros();
        fitter[(0, 2)] = lean / l;
        fitter[(0, 8)] = -lean / l;
        fitter[(0, 3)] = 0.5 * a[1];
        fitter[(0, 4)] = -0.5 * a[0];
        fitter[(0, 9)] = 0.5 * b[1];
        fitter[(0, 10)] = -0.5 * b[0];
        fitter[(1, 2)] = 1.0 / l;
        fitter[(1, 8)] = -1.0 / l;
        fitter[(2, 1)] = -1.0 / l;
        fitter[(2, 7)] = 1.0 / l;
        Some(Self { triad, length_m: length, motion, turning, fitter, across })
    }

    /// Change of stretch and of the ends' spins in the frame per motion of the ends (frame axes).
    fn strained(&self) -> SMatrix<f64, 7, 12> {
        let mut b = SMatrix::<f64, 7, 12>::zeros();
        (b[(0, 0)], b[(0, 6)]) = (-1.0, 1.0);
        for i in 0..3 {
            b[(1 + i, 3 + i)] = 1.0;
            b[(4 + i, 9 + i)] = 1.0;
            for j in 0..12 {
                b[(1 + i, j)] -= self.fitter[(i, j)];
                b[(4 + i, j)] -= self.fitter[(i, j)];
            }
        }
        b
    }

    /// Forces conjugate to the spins in the frame of forces conjugate to the rotation vectors.
    fn by_spin(&self, own: &Vector7) -> Vector7 {
        let mut force = *own;
        for (end, at) in [1, 4].into_iter().enumerate() {
            let m: Vector3<f64> = own.fixed_rows::<3>(at).into_owned();
            force.fixed_rows_mut::<3>(at).copy_from(&self.turning[end].tr_mul(&m));
        }
        force
    }

    /// Forces on the ends: the transpose of [`Self::strained`] times forces.
    fn ends_of(&self, force: &Vector7) -> Vector12 {
        let (first, second) = (force.fixed_rows::<3>(1), force.fixed_rows::<3>(4));
        let mut ends = -self.fitter.tr_mul(&(first + second));
        ends[0] -= force[0];
        ends[6] += force[0];
        let mut at = ends.fixed_rows_mut::<3>(3);
        at += first;
        let mut at = ends.fixed_rows_mut::<3>(9);
        at += second;
        ends
    }

    /// `B' k B` with `B` of [`Self::strained`], which is a selection less the frame's spin.
    fn on_the_ends(&self, k: &SMatrix<f64, 7, 7>) -> Matrix12 {
        /// Part of the motion that each freedom of the ends moves by itself, and its sign.
        const OWN: [(usize, usize, f64); 8] = [
            (0, 0, -1.0),
            (6, 0, 1.0),
            (3, 1, 1.0),
            (4, 2, 1.0),
            (5, 3, 1.0),
            (9, 4, 1.0),
            (10, 5, 1.0),
            (11, 6, 1.0),
        ];
        let columns: SMatrix<f64, 7, 3> = k.fixed_columns::<3>(1) + k.fixed_columns::<3>(4);
        let rows: SMatrix<f64, 3, 7> = k.fixed_rows::<3>(1) + k.fixed_rows::<3>(4);
        let both: Matrix3<f64> = columns.fixed_rows::<3>(1) + columns.fixed_rows::<3>(4);
        // Rows and columns of the frame's spin.
        let by_frame = columns * self.fitter;
        let mut out = self.fitter.tr_mul(&(both * self.fitter));
        let of_frame = self.fitter.tr_mul(&rows);
        for (i, part, sign) in OWN {
            for (j, beside, turned) in OWN {
                out[(i, j)] += sign * turned * k[(part, beside)];
            }
            for j in 0..12 {
                out[(i, j)] -= sign * by_frame[(part, j)];
                out[(j, i)] -= sign * of_frame[(j, part)];
            }
        }
        out
    }

    /// Terms of the tangent by which the forces turn with the frame and the frame's levers change.
    fn add_frame_terms(&self, own: &Vector7, k: &mut Matrix12) {
        let pull = own[0] / self.length_m;
        for (i, j, sign) in [(0, 0, 1.0), (0, 6, -1.0), (6, 0, -1.0), (6, 6, 1.0)] {
            for c in 1..3 {
                k[(i + c, j + c)] += sign * pull;
            }
        }
        let moments = own.fixed_rows::<3>(1) + own.fixed_rows::<3>(4);
        // Forces that balance the moments in the frame.
        let mut balanced = Vector12::zeros();
        balanced.fixed_rows_mut::<3>(3).copy_from(&own.fixed_rows::<3>(1));
        balanced.fixed_rows_mut::<3>(9).copy_from(&own.fixed_rows::<3>(4));
        balanced -= self.fitter.tr_mul(&moments);
        let mut spins = SMatrix::<f64, 12, 3>::zeros();
        for i in 0..4 {
            let part: Vector3<f64> = balanced.fixed_rows::<3>(3 * i).into_owned();
            spins.fixed_rows_mut::<3>(3 * i).copy_from(&part.cross_matrix());
        }
        *k -= spins * self.fitter;
        let l = self.length_m;
        let lever = Vector3::new(0.0, (self.lean() * moments[0] + moments[1]) / l, moments[2] / l);
        let column = self.fitter.tr_mul(&lever);
        for i in 0..12 {
            k[(i, 0)] -= column[i];
            k[(i, 6)] += column[i];
        }
        self.add_twist_terms(moments[0], k);
    }

    /// Component of the mean across-axis along the frame's x, over that along y.
    fn lean(&self) -> f64 {
        0.5 * (self.across[0][0] + self.across[1][0])
    }

    /// The frame's twist is led by the ends' across-axes, whose share in it changes with the motion.
    fn add_twist_terms(&self, torque: f64, k: &mut Matrix12) {
        // Change of each across-axis in the frame, per motion.
        let change = [(0, 3), (1, 9)].map(|(end, at)| {
            let mut spin = -self.fitter;
            for c in 0..3 {
                spin[(c, at + c)] += 1.0;
            }
            -self.across[end].cross_matrix() * spin
        });
        let mean = (change[0] + change[1]) * 0.5;
        let scaled =
            |a: f64, own: &SMatrix<f64, 3, 12>, row: usize, j: usize| own[(row, j)] - a * mean[(1, j)];
        for j in 0..12 {
            let lean = (mean[(0, j)] - self.lean() * mean[(1, j)]) * torque / self.length_m;
            k[(2, j)] -= lean;
            k[(8, j)] += lean;
            for (end, at) in [(0, 3), (1, 9)] {
                let a = &self.across[end];
                k[(at, j)] -= 0.5 * torque * scaled(a[1], &change[end], 1, j);
                k[(at + 1, j)] += 0.5 * torque * scaled(a[0], &change[end], 0, j);
            }
        }
    }

    /// Displacements and spins of the ends in the frame's axes.
    fn in_frame(&self, ends: &Vector12) -> Vector12 {
        let mut local = *ends;
        for i in 0..4 {
            let part = self.triad * ends.fixed_rows::<3>(3 * i);
            local.fixed_rows_mut::<3>(3 * i).copy_from(&part);
        }
        local
    }

    fn turned_back(&self, local: &Vector12) -> Vector12 {
        let mut out = *local;
        for i in 0..4 {
            let part = self.triad.tr_mul(&local.fixed_rows::<3>(3 * i));
            out.fixed_rows_mut::<3>(3 * i).copy_from(&part);
        }
        out
    }

    fn matrix_in_space(&self, local: &Matrix12) -> Matrix12 {
        let mut out = *local;
        let e = &self.triad;
        for i in 0..4 {
            for j in 0..4 {
                let part = e.transpose() * local.fixed_view::<3, 3>(3 * i, 3 * j) * e;
                out.fixed_view_mut::<3, 3>(3 * i, 3 * j).copy_from(&part);
            }
        }
        out
    }
}

/// Consistent mass: stretch and twist linear, deflection cubic, rotation its slope; four Gauss points.
fn consistent_mass(length: f64, section: &SectionMass) -> Matrix12 {
    const RULE: [(f64, f64); 4] = [
        (0.069_431_844_202_973_71, 0.173_927_422_568_726_9),
        (0.330_009_478_207_571_9, 0.326_072_577_431_273_1),
        (0.669_990_521_792_428_1, 0.326_072_577_431_273_1),
        (0.930_568_155_797_026_3, 0.173_927_422_568_726_9),
    ];
    let slice = section.slice();
    let mut m = Matrix12::zeros();
    for (s, weight) in RULE {
        let l = length;
        let value = [
            1.0 - 3.0 * s * s + 2.0 * s.powi(3),
            l * s * (1.0 - s).powi(2),
            3.0 * s * s - 2.0 * s.powi(3),
            l * s * s * (s - 1.0),
        ];
        let slope = [
            6.0 * (s * s - s) / l,
            1.0 - 4.0 * s + 3.0 * s * s,
            6.0 * (s - s * s) / l,
            3.0 * s * s - 2.0 * s,
        ];
        let mut n = SMatrix::<f64, 6, 12>::zeros();
        for (end, share) in [(0, 1.0 - s), (6, s)] {
            n[(0, end)] = share;
            n[(3, end + 3)] = share;
            let h = end / 3;
            (n[(1, end + 1)], n[(1, end + 5)]) = (value[h], value[h + 1]);
            (n[(5, end + 1)], n[(5, end + 5)]) = (slope[h], slope[h + 1]);
            (n[(2, end + 2)], n[(2, end + 4)]) = (value[h], -value[h + 1]);
            (n[(4, end + 2)], n[(4, end + 4)]) = (-slope[h], slope[h + 1]);
        }
        m += n.transpose() * slice * n * (weight * length);
    }
    m
}

#[cfg(test)]
mod tests;
