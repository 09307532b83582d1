//! The current path riding on a moving shell: forces, their stiffness, and the flux through the circuit.
//!
//! In: the path cut at the triangles of the flat mesh, the magnets' [`Field`], any [`Pose`]. Out: nodal forces and
//! moments of `I dl x B` at the present place, the load stiffness per triangle, and by another route (the vector
//! potential along the path) the flux, of which `I dPhi` is the work of the forces.
//! Absent: the path's own field, eddy currents, the width of the tracks.
//!
//! A point of the path keeps its triangle, its area coordinates `zeta` and its height `z` along the directors:
//! `x = sum zeta_a (x_a + z d_a)`. A force F there gives corner `a` the force `zeta_a F` and the moment
//! `zeta_a z d_a x F`, so that total force and moment are kept in every pose.

use super::nodal::{Carrier, stretches};
use super::{GAUSS, HingeLine, PIECE_SHARE};
use crate::element::Matrix18;
use crate::magnet::Field;
use crate::swing::{MovingLoad, Pose};
use copperbend_mesh::board::{CurrentPath, PathSegment};
use copperbend_mesh::triangulate::Locator;
use nalgebra::{Matrix3, SVector, Vector3, Vector6};
use rayon::prelude::*;

/// A piece may come this much closer to a magnet than at rest before it counts as long.
const APPROACH: f64 = 0.5;

/// Distance to a magnet below which pieces are not cut any finer, m.
const CLOSE_M: f64 = 0.3e-3;

/// A straight piece inside one triangle.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    triangle: u32,
    /// Area coordinates at both ends.
    zeta: [[f64; 3]; 2],
    /// Height over the reference plane at both ends, m.
    height_m: [f64; 2],
}

/// A current path carried by a shell, in a field fixed in space.
#[derive(Debug, Clone)]
pub struct CarriedPath {
    field: Field,
    current_a: f64,
    n_nodes: usize,
    corners: Vec<[u32; 3]>,
    /// On moving triangles, in ascending order of triangle.
    pieces: Vec<Piece>,
    /// First piece of each loaded triangle, and the end of the list.
    starts: Vec<usize>,
    /// In clamps: they follow the clamp but load nothing.
    held: Vec<Piece>,
    /// Off the mesh: fixed in space.
    outside: Vec<[Vector3<f64>; 2]>,
}

/// One corner's frame of a triangle in a pose.
#[derive(Clone, Copy)]
struct Corner {
    at_m: Vector3<f64>,
    director: Vector3<f64>,
}

impl CarriedPath {
    /// Cuts a path at the triangles of its carrier.
    ///
    /// `current_a`: current at unit load factor, A. Pieces are halved until they are shorter than 0.4 of half their
    /// distance to the magnets at rest (of 0.3 mm at least): three Gauss points each then leave some 1e-9 of the
    /// force down to half the distance at rest, some 1e-6 at a quarter.
    #[must_use]
    pub fn new(path: &CurrentPath, field: &Field, carrier: &Carrier<'_>, current_a: f64) -> Self {
        let locator = carrier.mesh.locator();
        let parts: Vec<Cut> =
            path.segments.par_iter().map(|segment| cut(segment, field, carrier, &locator)).collect();
        let mut all = Cut::default();
        for part in parts {
            all.moving.extend(part.moving);
            all.held.extend(part.held);
            all.outside.extend(part.outside);
        }
        all.moving.sort_by_key(|piece| piece.triangle);
        let mut starts: Vec<usize> = Vec::new();
        for (i, piece) in all.moving.iter().enumerate() {
            if i == 0 || all.moving[i - 1].triangle != piece.triangle {
                starts.push(i);
            }
        }
        starts.push(all.moving.len());
        Self {
            field: field.clone(),
            current_a,
            n_nodes: carrier.mesh.points_m.len(),
            corners: carrier.mesh.triangles.clone(),
            pieces: all.moving,
            starts,
            held: all.held,
            outside: all.outside,
        }
    }

    /// Current at unit load factor, A.
    #[must_use]
    pub fn current_a(&self) -> f64 {
        self.current_a
    }

    /// Flux through the circuit, Wb: line integral of the vector potential along the whole path, parts in clamps
    /// and off the mesh included. No flux density and no force enters. Means something for a closed path only.
    #[must_use]
    pub fn flux_wb(&self, pose: &Pose) -> f64 {
        let of = |piece: &Piece| {
            let corners = self.corners_of(piece.triangle, pose);
            GAUSS.iter().fold(0.0, |sum, &(share, weight)| {
                let (at, along) = piece.place(share, &corners);
                sum + weight * self.field.potential(at.into()).dot(&along)
            })
        };
        let fixed = |[from, to]: &[Vector3<f64>; 2]| {
            GAUSS.iter().fold(0.0, |sum, &(share, weight)| {
                let at = from + (to - from) * share;
                sum + weight * self.field.potential(at.into()).dot(&(to - from))
            })
        };
        let on_board: Vec<f64> = self.pieces.par_iter().chain(&self.held).map(of).collect();
        let beside: Vec<f64> = self.outside.par_iter().map(fixed).collect();
        on_board.iter().chain(&beside).sum()
    }

    /// Torque about the hinge line at unit factor, N m; positive lifts the flap.
    #[must_use]
    pub fn torque_nm(&self, pose: &Pose, about: &HingeLine) -> f64 {
        let [_, hinge] = about.axes();
        -self.moment_nm(pose, about).dot(&hinge)
    }

    /// Moment about the hinge line's point at unit factor, N m, board axes.
    #[must_use]
    pub fn moment_nm(&self, pose: &Pose, about: &HingeLine) -> Vector3<f64> {
        Self::moment_of(&self.forces(pose), pose, about)
    }

    /// As [`Self::torque_nm`] from forces that are known already.
    pub(crate) fn torque_of(forces: &[Vector6<f64>], pose: &Pose, about: &HingeLine) -> f64 {
        let [_, hinge] = about.axes();
        -Self::moment_of(forces, pose, about).dot(&hinge)
    }

    fn moment_of(forces: &[Vector6<f64>], pose: &Pose, about: &HingeLine) -> Vector3<f64> {
        let pivot = Vector3::from(about.point_m);
        forces.iter().zip(&pose.positions_m).fold(Vector3::zeros(), |sum, (f, at)| {
            sum + (at - pivot).cross(&f.fixed_rows::<3>(0).into_owned()) + f.fixed_rows::<3>(3)
        })
    }

    fn corners_of(&self, triangle: u32, pose: &Pose) -> [Corner; 3] {
        self.corners[triangle as usize].map(|node| Corner {
            at_m: pose.positions_m[node as usize],
            director: pose.rotations[node as usize].column(2).into_owned(),
        })
    }

    /// Runs of pieces, one run a triangle.
    fn runs(&self) -> Vec<&[Piece]> {
        self.starts.windows(2).map(|ends| &self.pieces[ends[0]..ends[1]]).collect()
    }

    /// Forces on the three corners of one triangle.
    fn on_triangle(&self, run: &[Piece], pose: &Pose) -> (u32, SVector<f64, 18>) {
        let triangle = run[0].triangle;
        let corners = self.corners_of(triangle, pose);
        let mut sum = SVector::<f64, 18>::zeros();
        for piece in run {
            for (share, weight) in GAUSS {
                let (at, along) = piece.place(share, &corners);
                let force = along.cross(&self.field.at(at.into())) * (weight * self.current_a);
                let (zeta, height) = piece.at(share);
                for (a, corner) in corners.iter().enumerate() {
                    let f = force * zeta[a];
                    let m = corner.director.cross(&f) * height;
                    for c in 0..3 {
                        sum[6 * a + c] += f[c];
                        sum[6 * a + 3 + c] += m[c];
                    }
                }
            }
        }
        (triangle, sum)
    }

    /// Minus the change of the forces on one triangle with the motion of its corners, symmetrised.
    ///
    /// dF = I (dx' x B + x' x (G dx)), and a corner's part of place and direction is a number times its displacement
    /// and its director's turn: the blocks are sums of two 3 x 3 matrices with numbers before them, and the directors
    /// come in at the end.
    fn stiffness_of(&self, run: &[Piece], pose: &Pose) -> (u32, Matrix18) {
        let triangle = run[0].triangle;
        let corners = self.corners_of(triangle, pose);
        // Row part (displacement or director) and corner, column part and corner.
        let mut sums = [[Matrix3::<f64>::zeros(); 6]; 6];
        let mut turning = [Matrix3::<f64>::zeros(); 3];
        for piece in run {
            for (share, weight) in GAUSS {
                let (at, along) = piece.place(share, &corners);
                let (b, gradient) = self.field.at_with_gradient(at.into());
                let scale = weight * self.current_a;
                let (by_place, by_direction) =
                    (along.cross_matrix() * gradient * scale, b.cross_matrix() * scale);
                let (place, change) = piece.follow(share);
                for (column, (p, c)) in place.into_iter().zip(change).enumerate() {
                    let moved = by_place * p - by_direction * c;
                    for (row, q) in place.into_iter().enumerate() {
                        sums[row][column] += moved * q;
                    }
                }
                // The lever itself turns: d(z d x F) = z (dw x d) x F.
                let force = along.cross(&b) * scale;
                for (a, corner) in corners.iter().enumerate() {
                    turning[a] += force.cross_matrix() * corner.director.cross_matrix() * place[3 + a];
                }
            }
        }
        let spins = corners.map(|corner| -corner.director.cross_matrix());
        let mut k = Matrix18::zeros();
        for (row, sums) in sums.iter().enumerate() {
            for (column, sum) in sums.iter().enumerate() {
                let mut block = if column < 3 { *sum } else { sum * spins[column - 3] };
                if row >= 3 {
                    block = spins[row - 3].tr_mul(&block);
                }
                if row == column && row >= 3 {
                    block += turning[row - 3];
                }
                let first = |part: usize| 6 * (part % 3) + 3 * (part / 3);
                k.fixed_view_mut::<3, 3>(first(row), first(column)).copy_from(&-block);
            }
        }
        (triangle, (k + k.transpose()) * 0.5)
    }
}

impl MovingLoad for CarriedPath {
    fn forces(&self, pose: &Pose) -> Vec<Vector6<f64>> {
        let parts: Vec<(u32, SVector<f64, 18>)> =
            self.runs().into_par_iter().map(|run| self.on_triangle(run, pose)).collect();
        let mut nodal = vec![Vector6::zeros(); self.n_nodes];
        for (triangle, f) in parts {
            for (a, &node) in self.corners[triangle as usize].iter().enumerate() {
                nodal[node as usize] += f.fixed_rows::<6>(6 * a);
            }
        }
        nodal
    }

    fn stiffness(&self, pose: &Pose) -> Vec<(u32, Matrix18)> {
        self.runs().into_par_iter().map(|run| self.stiffness_of(run, pose)).collect()
    }

    fn potential_j(&self, pose: &Pose) -> Option<f64> {
        Some(-self.current_a * self.flux_wb(pose))
    }
}

impl Piece {
    /// Area coordinates and height at a share of the length.
    fn at(&self, share: f64) -> ([f64; 3], f64) {
        let [from, to] = self.zeta;
        let zeta = [0, 1, 2].map(|a| from[a] + (to[a] - from[a]) * share);
        (zeta, self.height_m[0] + (self.height_m[1] - self.height_m[0]) * share)
    }

    /// Place and its derivative by the share of the length, in space.
    fn place(&self, share: f64, corners: &[Corner; 3]) -> (Vector3<f64>, Vector3<f64>) {
        let (zeta, height) = self.at(share);
        let rise = self.height_m[1] - self.height_m[0];
        let mut sum = (Vector3::zeros(), Vector3::zeros());
        for (a, corner) in corners.iter().enumerate() {
            let step = self.zeta[1][a] - self.zeta[0][a];
            sum.0 += (corner.at_m + corner.director * height) * zeta[a];
            sum.1 += (corner.at_m + corner.director * height) * step + corner.director * (zeta[a] * rise);
        }
        sum
    }

    /// How place and derivative follow the corners: numbers before the three displacements, then before the changes
    /// of the three directors.
    fn follow(&self, share: f64) -> ([f64; 6], [f64; 6]) {
        let (zeta, height) = self.at(share);
        let rise = self.height_m[1] - self.height_m[0];
        let (mut place, mut change) = ([0.0; 6], [0.0; 6]);
        for a in 0..3 {
            let step = self.zeta[1][a] - self.zeta[0][a];
            (place[a], place[3 + a]) = (zeta[a], zeta[a] * height);
            (change[a], change[3 + a]) = (step, step * height + zeta[a] * rise);
        }
        (place, change)
    }
}

/// Pieces of one segment by what carries them.
#[derive(Default)]
struct Cut {
    moving: Vec<Piece>,
    held: Vec<Piece>,
    outside: Vec<[Vector3<f64>; 2]>,
}

/// Cuts a segment at triangles and to length.
fn cut(segment: &PathSegment, field: &Field, carrier: &Carrier<'_>, locator: &Locator<'_>) -> Cut {
    let (from, to) = (Vector3::from(segment.from_m), Vector3::from(segment.to_m));
    let mut out = Cut::default();
    for stretch in stretches([from.x, from.y], [to.x, to.y], carrier.mesh, locator) {
        let ends = [stretch.from, stretch.to].map(|t| from + (to - from) * t);
        let mut short = Vec::new();
        halve(ends[0], ends[1], field, &mut short);
        let Some(triangle) = stretch.triangle else {
            out.outside.extend(short);
            continue;
        };
        let held = carrier.held.get(triangle).copied().unwrap_or(false);
        let list = if held { &mut out.held } else { &mut out.moving };
        list.extend(short.into_iter().map(|ends| Piece {
            triangle: crate::freedoms::index_u32(triangle),
            zeta: ends.map(|p| carrier.mesh.area_coordinates(triangle, [p.x, p.y])),
            height_m: ends.map(|p| p.z - carrier.reference_z_m),
        }));
    }
    out
}

/// Halves a straight piece until it is short against its distance to the magnets.
fn halve(from: Vector3<f64>, to: Vector3<f64>, field: &Field, out: &mut Vec<[Vector3<f64>; 2]>) {
    let middle = (from + to) * 0.5;
    let near = (APPROACH * field.clearance_m(middle.into())).max(CLOSE_M);
    if (to - from).norm() > PIECE_SHARE * near {
        halve(from, middle, field, out);
        halve(middle, to, field, out);
    } else {
        out.push([from, to]);
    }
}

#[cfg(test)]
mod tests;
