use super::*;
use crate::swing::MovingLoad;
use copperbend_mesh::board::{LayerId, Magnet, MagnetShape};
use copperbend_mesh::triangulate::{Diagonals, FlatMesh, rectangle_grid};
use nalgebra::Rotation3;

const UPRIGHT: [[f64; 3]; 3] = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];

fn field() -> Field {
    Field::new(&[Magnet {
        name: "drive".to_owned(),
        shape: MagnetShape::Disc { diameter_m: 6e-3, height_m: 2e-3 },
        polarisation_t: [0.2, 0.1, 1.3],
        centre_m: [2e-3, 1e-3, -3.2e-3],
        rotation: UPRIGHT,
        back_plate: Some([[0.0, 0.0, -5e-3], [0.0, 0.0, 1.0]]),
        remanence_note: String::new(),
    }])
}

/// A closed loop of two turns on two heights, joined by a via; one corner lies off the mesh.
fn path() -> CurrentPath {
    let ring = |r: f64, n: u32, turn: f64| {
        let a = std::f64::consts::TAU * f64::from(n) / 24.0 * turn;
        [2.5e-3 + r * a.cos(), 2e-3 + r * a.sin()]
    };
    let mut points: Vec<[f64; 3]> = Vec::new();
    for n in 0..=24 {
        let [x, y] = ring(1.9e-3, n, 1.0);
        points.push([x, y, 60e-6]);
    }
    for n in 0..=24 {
        let [x, y] = ring(1.9e-3 - 20e-6 * f64::from(n), n, 1.0);
        points.push([x, y, -40e-6]);
    }
    points.push([-0.5e-3, 2e-3, -40e-6]);
    points.push(points[0]);
    let segments = points.windows(2).map(|ends| PathSegment {
        from_m: ends[0],
        to_m: ends[1],
        section_m2: 1e-9,
        layer: Some(LayerId(0)),
    });
    CurrentPath { segments: segments.collect(), current_a: 0.2 }
}

/// A smooth pose far from flat: bent, twisted and stretched, every director turned on its own.
fn bent(mesh: &FlatMesh) -> Pose {
    let mut pose = Pose::default();
    for (i, p) in mesh.points_m.iter().enumerate() {
        let (x, y) = (p[0] / 5e-3, p[1] / 4e-3);
        pose.positions_m.push(Vector3::new(
            p[0] - 3e-4 * x * x,
            p[1] + 2e-4 * x * y,
            1.5e-3 * x * x + 4e-4 * (x * y).sin(),
        ));
        let wobble = 0.02 * f64::from(u32::try_from(i % 7).unwrap());
        let turn = Rotation3::new(Vector3::new(0.2 * y, -0.6 * x - wobble, 0.1 * x + wobble));
        pose.rotations.push(*turn.matrix());
    }
    pose
}

/// The pose after small displacements and spatial spins of one node.
fn nudged(pose: &Pose, node: usize, component: usize, by: f64) -> Pose {
    let mut moved = pose.clone();
    if component < 3 {
        moved.positions_m[node][component] += by;
    } else {
        let turn = Rotation3::new(Vector3::ith(component - 3, by));
        moved.rotations[node] = turn.matrix() * moved.rotations[node];
    }
    moved
}

/// Fourth-order difference of a function of a nudge.
fn slope<T>(h: f64, of: impl Fn(f64) -> T) -> T
where
    T: std::ops::Sub<Output = T> + std::ops::Mul<f64, Output = T>,
{
    ((of(h) - of(-h)) * 8.0 - (of(2.0 * h) - of(-2.0 * h))) * (1.0 / (12.0 * h))
}

fn step(component: usize) -> f64 {
    if component < 3 { 2e-6 } else { 1e-3 }
}

fn rig() -> (FlatMesh, CarriedPath) {
    let mesh = rectangle_grid([0.0, 0.0], [5e-3, 4e-3], [4, 3], Diagonals::Rising);
    let held: Vec<bool> = (0..mesh.triangles.len()).map(|t| t < 2).collect();
    let carrier = Carrier { mesh: &mesh, reference_z_m: 10e-6, held: &held };
    let path = path();
    let carried = CarriedPath::new(&path, &field(), &carrier, path.current_a);
    (mesh, carried)
}

/// Symmetric part of the change of forces against the stiffness, triangle by triangle summed over the mesh.
#[test]
fn stiffness_is_minus_the_change_of_forces() {
    let (mesh, carried) = rig();
    let pose = bent(&mesh);
    let n = 6 * mesh.points_m.len();
    let mut own = nalgebra::DMatrix::<f64>::zeros(n, n);
    for (triangle, k) in carried.stiffness(&pose) {
        let nodes = mesh.triangles[triangle as usize];
        for i in 0..18 {
            for j in 0..18 {
                own[(6 * nodes[i / 6] as usize + i % 6, 6 * nodes[j / 6] as usize + j % 6)] += k[(i, j)];
            }
        }
    }
    let mut raw = nalgebra::DMatrix::<f64>::zeros(n, n);
    for j in 0..n {
        let (node, component) = (j / 6, j % 6);
        let change = slope(step(component), |by| {
            let f = carried.forces(&nudged(&pose, node, component, by));
            nalgebra::DVector::from_iterator(n, f.iter().flat_map(|f| f.iter().copied().collect::<Vec<_>>()))
        });
        raw.set_column(j, &-change);
    }
    let symmetric = (&raw + raw.transpose()) * 0.5;
    // Displacement and spin blocks differ by lengths: each is judged on its own scale.
    for (i, j) in [(0, 0), (0, 3), (3, 3)] {
        let block = |m: &nalgebra::DMatrix<f64>| {
            nalgebra::DMatrix::from_fn(n / 2, n / 2, |r, c| {
                m[(6 * (r / 3) + i + r % 3, 6 * (c / 3) + j + c % 3)]
            })
        };
        let (got, want) = (block(&own), block(&symmetric));
        let off = (&got - &want).amax() / want.amax();
        assert!(off < 1e-8, "block ({i}, {j}): off by {off:e}");
    }
    // A node in the middle: the exact integral has a symmetric change with displacements.
    let middle = raw.view((6 * 7, 6 * 7), (3, 3)).into_owned();
    let skew = (&middle - middle.transpose()).amax() / middle.amax();
    assert!(skew < 1e-4, "displacements of one corner: skew part {skew:e} of {middle}");
}

/// I dPhi/dq, with the flux from the vector potential, is the nodal load.
#[test]
fn forces_are_current_times_change_of_flux() {
    let (mesh, carried) = rig();
    let pose = bent(&mesh);
    let forces = carried.forces(&pose);
    let scale = [0, 3].map(|c| forces.iter().map(|f| f.fixed_rows::<3>(c).amax()).fold(0.0, f64::max));
    // Nodes of the held triangles carry flux but no load; those around the place where the path leaves the mesh
    // open it.
    for (node, force) in forces.iter().enumerate() {
        let held = mesh.triangles[..2].iter().any(|t| t.contains(&u32::try_from(node).unwrap()));
        if held || mesh.points_m[node][0] < 1.3e-3 {
            continue;
        }
        for component in 0..6 {
            let work = slope(step(component), |by| {
                -carried.potential_j(&nudged(&pose, node, component, by)).unwrap()
            });
            let off = (work - force[component]).abs() / scale[component / 3];
            assert!(off < 1e-7, "node {node}, component {component}: {work:e} off by {off:e}");
        }
    }
}

#[test]
fn at_rest_it_is_the_load_of_the_flat_board() {
    let mesh = rectangle_grid([0.0, 0.0], [5e-3, 4e-3], [6, 5], Diagonals::Rising);
    let held = vec![false; mesh.triangles.len()];
    let carrier = Carrier { mesh: &mesh, reference_z_m: 10e-6, held: &held };
    let path = path();
    let flat = super::super::nodal::nodal_load(&path, &field(), &carrier);
    let carried = CarriedPath::new(&path, &field(), &carrier, path.current_a);
    let nodes: Vec<[f64; 3]> = mesh.points_m.iter().map(|p| [p[0], p[1], 10e-6]).collect();
    let moving = carried.forces(&Pose::at_rest(&nodes));
    for c in [0, 3] {
        let scale = flat.nodal.iter().map(|f| f.fixed_rows::<3>(c).amax()).fold(0.0, f64::max);
        for (a, b) in flat.nodal.iter().zip(&moving) {
            let off = (a - b).fixed_rows::<3>(c).amax() / scale;
            assert!(off < 1e-6, "flat and moving load differ by {off:e}");
        }
    }
    assert!(flat.shares.outside > 0.0, "part of the path lies off the mesh");
}
