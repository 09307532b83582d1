//! Loads that follow the motion against independent computations: torque at every angle, flux, load stiffness.

use crate::magnet::{HINGE, configurations, drive_magnet, number, reference_coil, rows};
use copperbend_mesh::triangulate::{Diagonals, FlatMesh, rectangle_grid};
use copperbend_solver::lorentz::moving::CarriedPath;
use copperbend_solver::lorentz::nodal::Carrier;
use copperbend_solver::magnet::Field;
use copperbend_solver::swing::{MovingLoad, Pose};
use nalgebra::{Matrix3, Rotation3, Vector3};

/// Triangles under the whole reference coil, 6 to 19 mm from the hinge.
fn flap() -> FlatMesh {
    rectangle_grid([6e-3, -6.5e-3], [19e-3, 6.5e-3], [17, 19], Diagonals::Rising)
}

/// The flat mesh at height 0 turned about the hinge; positive angles lift it.
fn lifted(mesh: &FlatMesh, degrees: f64) -> Pose {
    let turn = Rotation3::from_axis_angle(&Vector3::y_axis(), -degrees.to_radians());
    let turn: Matrix3<f64> = *turn.matrix();
    Pose {
        positions_m: mesh.points_m.iter().map(|p| turn * Vector3::new(p[0], p[1], 0.0)).collect(),
        rotations: vec![turn; mesh.points_m.len()],
    }
}

/// Both tables of the swing (independent computation, 13 digits) with the flap turned as a rigid body. Rows in
/// which the flap would reach the magnet are not in the tables.
#[test]
fn carried_coil_has_the_reference_torque_and_flux_at_every_angle() {
    let mesh = flap();
    let held = vec![false; mesh.triangles.len()];
    let carrier = Carrier { mesh: &mesh, reference_z_m: 0.0, held: &held };
    let coil = reference_coil(72);
    for (name, table) in configurations() {
        let field = Field::new(&[drive_magnet(name)]);
        let carried = CarriedPath::new(&coil, &field, &carrier, coil.current_a);
        let table: Vec<Vec<f64>> =
            rows(table).iter().map(|cells| cells.iter().map(|cell| number(cell)).collect()).collect();
        let most_flux = table.iter().map(|v| v[7].abs()).fold(0.0, f64::max);
        for v in table {
            let pose = lifted(&mesh, v[0]);
            let torque = carried.torque_nm(&pose, &HINGE);
            let off = (torque / v[4] - 1.0).abs();
            assert!(off < 1e-6, "{name} at {} deg: torque off by {off:e}", v[0]);
            let force =
                carried.forces(&pose).iter().fold(Vector3::zeros(), |sum, f| sum + f.fixed_rows::<3>(0));
            let want = Vector3::new(v[1], v[2], v[3]);
            let off = (force - want).norm() / want.norm();
            assert!(off < 1e-6, "{name} at {} deg: force off by {off:e}", v[0]);
            let off = (carried.flux_wb(&pose) - v[7]).abs() / most_flux;
            assert!(off < 1e-8, "{name} at {} deg: flux off by {off:e}", v[0]);
        }
    }
}

/// Load stiffness against rigid turning: the change of torque with angle is minus the quadratic form of the stiffness,
/// plus the work of the forces on the second-order part of the turn. Against the reference's change of torque
/// (N m/rad at 0.12 A, two to three digits) and differences of the torque that the test above checks.
#[test]
fn load_stiffness_gives_the_change_of_torque_with_angle() {
    let mesh = flap();
    let held = vec![false; mesh.triangles.len()];
    let carrier = Carrier { mesh: &mesh, reference_z_m: 0.0, held: &held };
    let coil = reference_coil(72);
    let rows = [
        ("A_below", 0.0, 1.20e-3),
        ("A_below", 10.0, 3.9e-4),
        ("B_beside", 10.0, 1.6e-4),
        ("D_swing", 0.0, 1.69e-5),
        ("D_swing", -30.0, -1.56e-5),
    ];
    for (name, degrees, printed) in rows {
        let field = Field::new(&[drive_magnet(name)]);
        let carried = CarriedPath::new(&coil, &field, &carrier, coil.current_a);
        let pose = lifted(&mesh, degrees);
        let spin = -Vector3::y();
        let mut change = 0.0;
        for (triangle, k) in carried.stiffness(&pose) {
            let mut motion = nalgebra::SVector::<f64, 18>::zeros();
            for (a, &node) in mesh.triangles[triangle as usize].iter().enumerate() {
                let go = spin.cross(&pose.positions_m[node as usize]);
                for c in 0..3 {
                    motion[6 * a + c] = go[c];
                    motion[6 * a + 3 + c] = spin[c];
                }
            }
            change -= motion.dot(&(k * motion));
        }
        for (f, at) in carried.forces(&pose).iter().zip(&pose.positions_m) {
            change += f.fixed_rows::<3>(0).dot(&spin.cross(&spin.cross(at)));
        }
        let off = (change / printed - 1.0).abs();
        assert!(off < 0.02, "{name} at {degrees} deg: {change:e} N m/rad against {printed:e}");
        let torque = |d: f64| carried.torque_nm(&lifted(&mesh, degrees + d), &HINGE);
        let h = 0.01_f64;
        let slope =
            (8.0 * (torque(h) - torque(-h)) - (torque(2.0 * h) - torque(-2.0 * h))) / (12.0 * h.to_radians());
        let off = (change / slope - 1.0).abs();
        assert!(off < 1e-7, "{name} at {degrees} deg: stiffness and differences part by {off:e}");
    }
}
