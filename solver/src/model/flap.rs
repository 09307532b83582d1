//! Hinge line, arm direction, and the motion of the flap as one plane.
//!
//! In: board, mesh, displacements. Out: flap angle, roll, displacement of places. Absent: stiffness.

use super::place::triangles_in;
use copperbend_mesh::board::{Board, Place};
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::{BoardMesh, Role};
use nalgebra::{Matrix3, Vector3, Vector6};
use rayon::prelude::*;

/// Weight, place and movement at the middle of a triangle's side.
type Sample = (f64, Point, Vector3<f64>);

/// Hinge line and arm direction (TERMS of the program: through the arms' roots, normal to their mean direction, z = 0).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hinge {
    /// Middle of the roots, m.
    pub root_m: Point,
    /// Mean arm direction, unit, root to tip.
    pub along: [f64; 2],
}

impl Hinge {
    /// From the arms; without arms from the supports' middle towards the middle of the outline.
    #[must_use]
    pub fn of(board: &Board) -> Self {
        let mut root = [0.0; 2];
        let mut run = [0.0; 2];
        let mut count = 0.0;
        for arm in &board.arms {
            let own = [arm.tip_m[0] - arm.root_m[0], arm.tip_m[1] - arm.root_m[1]];
            let length = own[0].hypot(own[1]);
            root = [root[0] + arm.root_m[0], root[1] + arm.root_m[1]];
            run = [run[0] + own[0] / length, run[1] + own[1] / length];
            count += 1.0;
        }
        if count > 0.0 {
            root = root.map(|r| r / count);
        } else {
            let middles = board.supports.iter().map(|s| middle_of(&s.place));
            for at in middles {
                root = [root[0] + at[0], root[1] + at[1]];
                count += 1.0;
            }
            root = root.map(|r| r / f64::max(count, 1.0));
            let board_middle = board.outline.centroid_m();
            run = [board_middle[0] - root[0], board_middle[1] - root[1]];
        }
        let length = run[0].hypot(run[1]);
        let along = if length > 0.0 { [run[0] / length, run[1] / length] } else { [1.0, 0.0] };
        Self { root_m: root, along }
    }

    /// A point of the hinge line, m.
    #[must_use]
    pub fn point_m(&self) -> [f64; 3] {
        [self.root_m[0], self.root_m[1], 0.0]
    }

    /// Unit direction of the hinge line; a positive turn about it lifts the flap towards +z.
    #[must_use]
    pub fn axis(&self) -> [f64; 3] {
        [self.along[1], -self.along[0], 0.0]
    }

    /// Distance of a point from the hinge line along the arms, m.
    #[must_use]
    pub fn along_m(&self, at: Point) -> f64 {
        (at[0] - self.root_m[0]) * self.along[0] + (at[1] - self.root_m[1]) * self.along[1]
    }
}

fn middle_of(place: &Place) -> Point {
    match place {
        Place::Area(region) => region.centroid_m(),
        Place::Line([p, q]) => [0.5 * (p[0] + q[0]), 0.5 * (p[1] + q[1])],
        Place::Point(at) => *at,
    }
}

/// Rotation of a plane piece and displacement of its centre.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct PlaneMotion {
    /// Displacement of the area centre, m.
    pub centre_m: [f64; 3],
    /// Rotation about the hinge line, rad; positive lifts.
    pub lift_rad: f64,
    /// Rotation about the arm direction, rad.
    pub roll_rad: f64,
}

/// Motion of the flap: best-fit plane of its displacements, weighted by area (small rotations).
///
/// None without a flap on the mesh.
#[must_use]
pub fn flap_motion(
    board: &Board,
    mesh: &BoardMesh,
    hinge: &Hinge,
    displacement: &[Vector6<f64>],
) -> Option<PlaneMotion> {
    board.flap.as_ref()?;
    let triangles = triangles_in(mesh, Role::Flap);
    plane_motion(mesh, &triangles, hinge, displacement)
}

/// See [`flap_motion`]; for any set of triangles.
fn plane_motion(
    mesh: &BoardMesh,
    triangles: &[usize],
    hinge: &Hinge,
    displacement: &[Vector6<f64>],
) -> Option<PlaneMotion> {
    let flat = &mesh.flat;
    // Integrals over the triangles by the mid-side rule, exact for the products of linear fields below.
    let samples: Vec<[Sample; 3]> = triangles
        .par_iter()
        .with_min_len(1024)
        .map(|&t| {
            let corners = flat.triangles[t];
            let weight = flat.area_m2(t) / 3.0;
            [(0, 1), (1, 2), (2, 0)].map(|(i, j)| {
                let [p, q] = [corners[i], corners[j]].map(|n| flat.points_m[n as usize]);
                let [u, v] = [corners[i], corners[j]]
                    .map(|n| displacement[n as usize].fixed_rows::<3>(0).into_owned());
                (weight, [0.5 * (p[0] + q[0]), 0.5 * (p[1] + q[1])], (u + v) * 0.5)
            })
        })
        .collect();
    let samples = samples.as_flattened();
    let total: f64 = samples.iter().map(|s| s.0).sum();
    let mean = |of: &dyn Fn(&Sample) -> f64| samples.iter().map(|s| s.0 * of(s)).sum::<f64>() / total;
    let centre = [mean(&|s| s.1[0]), mean(&|s| s.1[1])];
    let moved = [mean(&|s| s.2[0]), mean(&|s| s.2[1]), mean(&|s| s.2[2])];
    let mut normal = Matrix3::zeros();
    let mut right = Vector3::zeros();
    for (weight, at, u) in samples {
        let row = Vector3::new(1.0, at[0] - centre[0], at[1] - centre[1]);
        normal += row * row.transpose() * *weight;
        right += row * (u[2] - moved[2]) * *weight;
    }
    // Two-by-two solve in centred coordinates: the constant is decoupled.
    let (xx, xy, yy) = (normal[(1, 1)], normal[(1, 2)], normal[(2, 2)]);
    let det = xx * yy - xy * xy;
    if det.is_nan() || det <= 0.0 {
        return None;
    }
    let slope = [(yy * right[1] - xy * right[2]) / det, (xx * right[2] - xy * right[1]) / det];
    let [c, s] = hinge.along;
    Some(PlaneMotion {
        centre_m: moved,
        lift_rad: slope[0] * c + slope[1] * s,
        roll_rad: -slope[0] * s + slope[1] * c,
    })
}
