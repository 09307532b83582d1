//! The current path's load on the nodes of a flat shell mesh.
//!
//! Each straight piece is cut where it leaves a triangle; the force of every Gauss point is split by the area
//! coordinates of its triangle, and its height over the shell's reference plane gives moments, so that total
//! force and moment are kept to rounding. Pieces in a clamp or off the mesh are left out and counted.

use super::pulls;
use crate::magnet::Field;
use copperbend_mesh::board::{Board, CurrentPath, PathSegment, SupportKind};
use copperbend_mesh::region::Point;
use copperbend_mesh::triangulate::{BoardMesh, FlatMesh, Locator, Role};
use nalgebra::{Vector3, Vector6};
use rayon::prelude::*;

/// A place this close to the mesh still loads its nearest triangle, m: regions are kept on a 1 um grid.
const REACH_M: f64 = 2e-6;

/// Step along a piece that runs off the mesh, m.
const STRIDE_M: f64 = 10e-6;

/// How far beyond a triangle's edge the next triangle is looked for, m.
const BEYOND_M: f64 = 1e-9;

/// What carries the path.
#[derive(Debug, Clone, Copy)]
pub struct Carrier<'a> {
    /// Triangles in the board plane.
    pub mesh: &'a FlatMesh,
    /// Height of the shell's reference plane above z = 0, m.
    pub reference_z_m: f64,
    /// Triangles held in a clamp, one flag each: their load reaches nothing that moves.
    pub held: &'a [bool],
}

/// Share of the path's length by where it lies; the three add up to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PathShares {
    /// On triangles that move.
    pub carried: f64,
    /// In clamps.
    pub held: f64,
    /// Off the mesh.
    pub outside: f64,
}

/// Loads at the nodes and what was left out.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct NodalLoad {
    /// Force, N, and moment, N m, per node, board axes.
    pub nodal: Vec<Vector6<f64>>,
    /// Their total force, N.
    pub force_n: Vector3<f64>,
    /// Their total moment about the origin, N m.
    pub moment_nm: Vector3<f64>,
    /// Force on the parts in clamps, N.
    pub held_force_n: Vector3<f64>,
    /// Force on the parts off the mesh, N.
    pub outside_force_n: Vector3<f64>,
    /// Where the path's length lies.
    pub shares: PathShares,
}

/// Part of a segment in one triangle, or off the mesh; ends as shares of the segment's length.
pub(super) struct Stretch {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) triangle: Option<usize>,
}

/// What one segment adds.
#[derive(Default)]
struct Part {
    nodal: Vec<(u32, Vector6<f64>)>,
    force: Vector3<f64>,
    moment: Vector3<f64>,
    held_force: Vector3<f64>,
    outside_force: Vector3<f64>,
    lengths: [f64; 3],
}

/// Triangles inside a clamp's area, one flag each.
#[must_use]
pub fn held_triangles(board: &Board, mesh: &BoardMesh) -> Vec<bool> {
    let clamped = |bit: &usize| match mesh.roles[*bit] {
        Role::Support(i) => {
            board.supports.get(i as usize).is_some_and(|s| matches!(s.kind, SupportKind::Clamp { .. }))
        }
        _ => false,
    };
    let mask = (0..mesh.roles.len()).filter(clamped).fold(0_u128, |mask, bit| mask | 1 << bit);
    mesh.flat.zone_of.iter().map(|&zone| mesh.flat.zones[zone as usize].inside & mask != 0).collect()
}

/// Loads of the current path on the nodes of a mesh.
///
/// Moments about x and y come from the height of the copper over the reference plane:
/// `m = (z - z_ref) e_z x F`.
#[must_use]
pub fn nodal_load(path: &CurrentPath, field: &Field, carrier: &Carrier<'_>) -> NodalLoad {
    let locator = carrier.mesh.locator();
    let parts: Vec<Part> =
        path.segments.par_iter().map(|s| part(s, path.current_a, field, (carrier, &locator))).collect();
    let mut load =
        NodalLoad { nodal: vec![Vector6::zeros(); carrier.mesh.points_m.len()], ..NodalLoad::default() };
    let mut lengths = [0.0; 3];
    for part in parts {
        for (node, f) in part.nodal {
            load.nodal[node as usize] += f;
        }
        load.force_n += part.force;
        load.moment_nm += part.moment;
        load.held_force_n += part.held_force;
        load.outside_force_n += part.outside_force;
        for (sum, length) in lengths.iter_mut().zip(part.lengths) {
            *sum += length;
        }
    }
    let whole: f64 = lengths.iter().sum::<f64>().max(f64::MIN_POSITIVE);
    let [carried, held, outside] = lengths.map(|length| length / whole);
    load.shares = PathShares { carried, held, outside };
    load
}

fn part(segment: &PathSegment, current_a: f64, field: &Field, on: (&Carrier<'_>, &Locator<'_>)) -> Part {
    let (carrier, locator) = on;
    let (from, to) = (Vector3::from(segment.from_m), Vector3::from(segment.to_m));
    let mut part = Part::default();
    for stretch in stretches([from.x, from.y], [to.x, to.y], carrier.mesh, locator) {
        let length = (to - from).norm() * (stretch.to - stretch.from);
        let ends = [stretch.from, stretch.to].map(|t| from + (to - from) * t);
        let held = stretch.triangle.is_some_and(|t| carrier.held.get(t).copied().unwrap_or(false));
        part.lengths[if held { 1 } else { 2 * usize::from(stretch.triangle.is_none()) }] += length;
        pulls(ends[0], ends[1], current_a, field, &mut |pull| match stretch.triangle {
            Some(triangle) if !held => {
                part.force += pull.force_n;
                part.moment += pull.at_m.cross(&pull.force_n);
                let f = pull.force_n;
                let height = pull.at_m.z - carrier.reference_z_m;
                let whole = Vector6::new(f.x, f.y, f.z, -height * f.y, height * f.x, 0.0);
                let shares = carrier.mesh.area_coordinates(triangle, [pull.at_m.x, pull.at_m.y]);
                for (&node, share) in carrier.mesh.triangles[triangle].iter().zip(shares) {
                    part.nodal.push((node, whole * share));
                }
            }
            Some(_) => part.held_force += pull.force_n,
            None => part.outside_force += pull.force_n,
        });
    }
    part
}

/// Cuts a straight piece where it passes from triangle to triangle; positions as shares of its length.
pub(super) fn stretches(from: Point, to: Point, mesh: &FlatMesh, locator: &Locator<'_>) -> Vec<Stretch> {
    let length = (to[0] - from[0]).hypot(to[1] - from[1]);
    let at = |t: f64| [from[0] + (to[0] - from[0]) * t, from[1] + (to[1] - from[1]) * t];
    let find = |p: Point| locator.triangle_near(p, REACH_M).map(|(triangle, _)| triangle);
    if length < BEYOND_M {
        return vec![Stretch { from: 0.0, to: 1.0, triangle: find(from) }];
    }
    let (beyond, stride) = (BEYOND_M / length, STRIDE_M / length);
    let mut cuts: Vec<Stretch> = Vec::new();
    let mut t = 0.0;
    while t < 1.0 {
        let probe = (t + beyond).min(1.0);
        let (triangle, end) = if let Some((triangle, _)) = locator.triangle_at(at(probe)) {
            (Some(triangle), leaves(mesh, triangle, from, to).max(probe))
        } else {
            let triangle = find(at(probe));
            let next = t + stride;
            // Off the mesh: up to the place where it comes back, to 1 nm.
            (
                triangle,
                if next < 1.0 { comes_back(t, next, beyond, |t| find(at(t)) == triangle) } else { next },
            )
        };
        let end = end.min(1.0);
        match cuts.last_mut() {
            Some(last) if last.triangle == triangle => last.to = end,
            _ => cuts.push(Stretch { from: t, to: end, triangle }),
        }
        t = end;
    }
    cuts
}

/// Where the line from-to leaves a triangle that it crosses, as a share of its length.
fn leaves(mesh: &FlatMesh, triangle: usize, from: Point, to: Point) -> f64 {
    let a = mesh.area_coordinates(triangle, from);
    let b = mesh.area_coordinates(triangle, to);
    let mut exit = f64::INFINITY;
    for (a, b) in a.into_iter().zip(b) {
        if b < 0.0 && b < a {
            exit = exit.min(a / (a - b));
        }
    }
    exit
}

/// Last place between `t` and `next` where `same` still holds, or `next`.
fn comes_back(t: f64, next: f64, resolution: f64, same: impl Fn(f64) -> bool) -> f64 {
    if same(next) {
        return next;
    }
    let (mut low, mut high) = (t, next);
    while high - low > resolution {
        let middle = 0.5 * (low + high);
        if same(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;
    use copperbend_mesh::board::{LayerId, Magnet, MagnetShape};

    /// Squares of side `h` on [0, n h]^2, each cut along its rising diagonal.
    fn grid(n: u32, h: f64) -> FlatMesh {
        let mut mesh = FlatMesh::default();
        for j in 0..=n {
            mesh.points_m.extend((0..=n).map(|i| [f64::from(i) * h, f64::from(j) * h]));
        }
        for j in 0..n {
            for i in 0..n {
                let a = j * (n + 1) + i;
                mesh.triangles.extend([[a, a + 1, a + n + 2], [a, a + n + 2, a + n + 1]]);
            }
        }
        mesh.zone_of = vec![0; mesh.triangles.len()];
        mesh
    }

    fn field() -> Field {
        Field::new(&[Magnet {
            name: "drive".to_owned(),
            shape: MagnetShape::Block { sides_m: [3e-3, 2e-3, 1e-3] },
            polarisation_t: [0.3, -0.2, 1.2],
            centre_m: [2e-3, 3e-3, -2.1e-3],
            rotation: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
            back_plate: None,
            remanence_note: String::new(),
        }])
    }

    fn path(points: &[[f64; 3]]) -> CurrentPath {
        let piece = |w: &[[f64; 3]]| PathSegment {
            from_m: w[0],
            to_m: w[1],
            section_m2: 1e-9,
            layer: Some(LayerId(0)),
        };
        CurrentPath { segments: points.windows(2).map(piece).collect(), current_a: 0.15 }
    }

    fn totals(mesh: &FlatMesh, z: f64, nodal: &[Vector6<f64>]) -> (Vector3<f64>, Vector3<f64>) {
        let mut sum = (Vector3::zeros(), Vector3::zeros());
        for (p, load) in mesh.points_m.iter().zip(nodal) {
            let (f, m) = (load.fixed_rows::<3>(0).into_owned(), load.fixed_rows::<3>(3).into_owned());
            sum.0 += f;
            sum.1 += Vector3::new(p[0], p[1], z).cross(&f) + m;
        }
        sum
    }

    #[test]
    fn nodal_loads_keep_force_and_moment() {
        let mesh = grid(12, 0.4e-3);
        let wire = path(&[
            [0.1e-3, 0.1e-3, 30e-6],
            [4.3e-3, 0.9e-3, 30e-6],
            [4.4e-3, 4.1e-3, 30e-6],
            [4.4e-3, 4.1e-3, 80e-6],
            [0.8e-3, 3.2e-3, 80e-6],
            // Along mesh lines and through nodes.
            [0.8e-3, 0.4e-3, 80e-6],
            [2.0e-3, 1.6e-3, 80e-6],
        ]);
        for reference_z_m in [0.0, 45e-6, -1e-4] {
            let held = vec![false; mesh.triangles.len()];
            let load = nodal_load(&wire, &field(), &Carrier { mesh: &mesh, reference_z_m, held: &held });
            let (force, moment) = totals(&mesh, reference_z_m, &load.nodal);
            let off = (force - load.force_n).norm();
            assert!(off < 1e-12 * load.force_n.norm(), "force off by {off:e}");
            let off = (moment - load.moment_nm).norm();
            assert!(off < 1e-12 * load.moment_nm.norm(), "moment off by {off:e}");
            assert!((load.shares.carried - 1.0).abs() < 1e-12, "{:?}", load.shares);
            let about = super::super::HingeLine::new([0.0; 3], [1.0, 0.0]);
            let whole = super::super::coil_load(&wire, &field(), &about);
            let off = (whole.force_n - load.force_n).norm() / whole.force_n.norm();
            assert!(off < 2e-6, "cut at the triangles and uncut differ by {off:e}");
        }
    }

    #[test]
    fn consistent_with_virtual_work_of_a_linear_field() {
        // Uniform in-plane stretch u = x e_x: the nodes' work is the integral of x dF_x.
        let mesh = grid(5, 1e-3);
        let held = vec![false; mesh.triangles.len()];
        let wire = path(&[[0.3e-3, 0.2e-3, 0.0], [4.7e-3, 4.9e-3, 0.0]]);
        let load = nodal_load(&wire, &field(), &Carrier { mesh: &mesh, reference_z_m: 0.0, held: &held });
        let work: f64 = mesh.points_m.iter().zip(&load.nodal).map(|(p, f)| p[0] * f[2]).sum();
        let mut want = 0.0;
        let fine = 2000;
        let (from, to) = (Vector3::from(wire.segments[0].from_m), Vector3::from(wire.segments[0].to_m));
        for k in 0..fine {
            let t = (f64::from(k) + 0.5) / f64::from(fine);
            let p = from + (to - from) * t;
            let f = (to - from).cross(&field().at(p.into())) * (wire.current_a / f64::from(fine));
            want += p.x * f.z;
        }
        assert!((work / want - 1.0).abs() < 1e-5, "{work:e} against {want:e}");
    }

    #[test]
    fn parts_in_a_clamp_or_off_the_mesh_are_counted() {
        let mesh = grid(4, 1e-3);
        let held: Vec<bool> = (0..mesh.triangles.len())
            .map(|t| mesh.triangles[t].iter().all(|&n| mesh.points_m[n as usize][0] < 1.0001e-3))
            .collect();
        // 1 mm in the clamp, 3 mm on the mesh, 2 mm beyond it.
        let wire = path(&[[0.0, 1.7e-3, 0.0], [6e-3, 1.7e-3, 0.0]]);
        let load = nodal_load(&wire, &field(), &Carrier { mesh: &mesh, reference_z_m: 0.0, held: &held });
        let s = load.shares;
        assert!((s.held - 1.0 / 6.0).abs() < 1e-3, "{s:?}");
        assert!((s.carried - 0.5).abs() < 1e-3, "{s:?}");
        assert!((s.carried + s.held + s.outside - 1.0).abs() < 1e-12, "{s:?}");
        let about = super::super::HingeLine::new([0.0; 3], [1.0, 0.0]);
        let whole = super::super::coil_load(&wire, &field(), &about).force_n;
        let off = (load.force_n + load.held_force_n + load.outside_force_n - whole).norm();
        assert!(off < 1e-6 * whole.norm(), "parts and whole differ by {off:e} N");
        assert!(load.held_force_n.norm() > 0.0 && load.outside_force_n.norm() > 0.0, "{load:?}");
    }
}
