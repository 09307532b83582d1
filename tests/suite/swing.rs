//! Large swings of whole boards: the example vane through ninety degrees, the magnet's pull, energy against flux.

#![allow(clippy::print_stdout, reason = "figures are shown when a test fails")]

use copperbend_mesh::board::{Board, understand};
use copperbend_mesh::triangulate::{BoardMesh, Role, board_mesh};
use copperbend_solver::lorentz::moving::CarriedPath;
use copperbend_solver::lorentz::nodal::{Carrier, held_triangles};
use copperbend_solver::magnet::Field;
use copperbend_solver::model::{BoardModel, Hinge, board_model, loads, triangles_in};
use copperbend_solver::result::BondLimit;
use copperbend_solver::swing::{
    DeadLoad, FlapAngle, Level, Loads, Measure, MovingLoad, Path, RidingLoad, board_load,
};

const VANE: &str = include_str!("../../examples/one_arm_vane/design.toml");

struct Vane {
    board: Board,
    mesh: BoardMesh,
    own: BoardModel,
    angle: FlapAngle,
    weight: RidingLoad,
}

fn vane() -> Vane {
    read(VANE)
}

fn read(design: &str) -> Vane {
    let board = understand("design.toml", design).unwrap();
    let mesh = board_mesh(&board, &[]).unwrap();
    let own = board_model(&board, &mesh, BondLimit::Bonded).unwrap();
    let flap = triangles_in(&mesh, Role::Flap);
    let angle = FlapAngle::new(&own.model, &flap, &Hinge::of(&board)).unwrap();
    let weight = board_load(&board, &mesh, &own, board.gravity_m_s2).unwrap();
    Vane { board, mesh, own, angle, weight }
}

impl Vane {
    /// The magnet's pull at one ampere.
    fn pull(&self) -> CarriedPath {
        let path = self.board.current.as_ref().unwrap();
        let field = Field::new(&self.board.magnets);
        let held = held_triangles(&self.board, &self.mesh);
        let carrier = Carrier { mesh: &self.mesh.flat, reference_z_m: self.own.reference_z_m, held: &held };
        CarriedPath::new(path, &field, &carrier, 1.0)
    }
}

const LOADED: Level = Level { steady: 1.0, driven: 0.0, thermal: 1.0, prescribed: 1.0 };

#[test]
fn vane_swings_through_ninety_degrees_for_few_factorisations() {
    let vane = vane();
    let flap = triangles_in(&vane.mesh, Role::Flap);
    let hinge = Hinge::of(&vane.board);
    let axis = hinge.axis();
    let push = DeadLoad { nodal: loads::unit_couple(&vane.mesh, &flap, [axis[0], axis[1]]) };
    let steady: [&dyn MovingLoad; 1] = [&vane.weight];
    let mut path = Path::new(&vane.own.model, Loads { steady: &steady, driven: Some(&push) }).unwrap();
    path.to_level(LOADED).unwrap();
    let start = path.mark();
    let mut found = Vec::new();
    for sign in [1.0, -1.0] {
        path.back_to(&start);
        for step in 0..=9 {
            let wished = (sign * 5.0 * f64::from(step)).to_radians();
            if step == 0 && sign < 0.0 {
                continue;
            }
            let state = path.to_measure(&vane.angle, wished).unwrap();
            let angle = vane.angle.value(path.pose());
            assert!((angle - wished).abs() < 1e-8, "angle {angle} against {wished}");
            assert!(state.negative_pivots == 0, "stable at {}", wished.to_degrees());
            found.push((wished.to_degrees(), state.level.driven, state.iterations, path.factorisations()));
        }
    }
    for f in &found {
        println!("{:6.1} deg: {:.6e} N m, {} steps, {} factorisations so far", f.0, f.1, f.2, f.3);
    }
    assert!(path.factorisations() <= 60, "{} factorisations", path.factorisations());
}

/// The work that the magnet does is the current times the change of flux, by an independent route; with everything else
/// conservative, along a path of equilibria `d(U + V) = I dPhi` for strain energy U and potential V of the weight.
#[test]
fn energy_gained_is_current_times_flux() {
    energy_against_flux(&vane());
}

/// The same with the vane as one rigid piece: loads and their stiffness reach the eliminated unknowns.
#[test]
fn energy_gained_by_a_rigid_vane_is_current_times_flux() {
    let rigid = VANE.replace("[flap]\nshape = \"stiff\"", "[flap]\nshape = \"stiff\"\nrigid = true");
    assert_ne!(rigid, VANE, "the example names its flap");
    let vane = read(&rigid);
    assert!(!vane.own.rigid_pieces.is_empty(), "one piece");
    energy_against_flux(&vane);
}

fn energy_against_flux(vane: &Vane) {
    let pull = vane.pull();
    let steady: [&dyn MovingLoad; 1] = [&vane.weight];
    let mut path = Path::new(&vane.own.model, Loads { steady: &steady, driven: Some(&pull) }).unwrap();
    path.to_level(Level { thermal: 0.0, ..LOADED }).unwrap();
    let energy = |path: &Path<'_>| path.state().energy_j + vane.weight.potential_j(path.pose()).unwrap();
    for current in [-0.006, 0.01, 0.03] {
        let h = 6e-5 * if current > 0.0 { 1.0 } else { -1.0 };
        let mut at = |i: f64| {
            path.to_level(Level { driven: i, thermal: 0.0, ..LOADED }).unwrap();
            [energy(&path), pull.flux_wb(path.pose()), vane.angle.value(path.pose()).to_degrees()]
        };
        let [a, b, c, d] = [at(current - 2.0 * h), at(current - h), at(current + h), at(current + 2.0 * h)];
        let slope = |k: usize| (8.0 * (c[k] - b[k]) - (d[k] - a[k])) / (12.0 * h);
        let gap = slope(0) / (current * slope(1)) - 1.0;
        println!("{current} A, {:.3} deg: dU/dI over I dPhi/dI off by {gap:.2e}", c[2]);
        assert!(gap.abs() < 1e-6, "{current} A: off by {gap:e}");
    }
}

/// Towards the magnet the current that holds the flap has a largest value (pull-in) and falls beyond. Traced by length
/// of path it is passed without being told where it is, and lies on the curve of prescribed angles.
#[test]
fn pull_in_is_passed_by_length_of_path_and_by_angle_alike() {
    let vane = vane();
    let pull = vane.pull();
    let steady: [&dyn MovingLoad; 1] = [&vane.weight];
    let loads = Loads { steady: &steady, driven: Some(&pull) };
    let mut path = Path::new(&vane.own.model, loads).unwrap();
    path.to_level(LOADED).unwrap();
    path.to_level(Level { driven: -2e-3, ..LOADED }).unwrap();
    let mut traced = Vec::new();
    for _ in 0..60 {
        let state = path.along(0.012, 0.2).unwrap();
        traced.push((vane.angle.value(path.pose()), state.level.driven, state.negative_pivots));
        if traced.last().unwrap().0 < -9f64.to_radians() {
            break;
        }
    }
    for t in &traced {
        println!("{:.3} deg at {:.4} mA, {} negative pivots", t.0.to_degrees(), 1e3 * t.1, t.2);
    }
    let most = traced.iter().map(|t| t.1).fold(0.0, f64::min);
    let last = traced.last().unwrap();
    assert!(last.1 > 0.995 * most, "the current falls beyond pull-in: {} of {most}", last.1);
    assert!(last.2 == 1 && traced[0].2 == 0, "stable before, unstable beyond under a given current");
    let mut other = Path::new(&vane.own.model, loads).unwrap();
    other.to_level(LOADED).unwrap();
    for (angle, current, _) in traced {
        let state = other.to_measure(&vane.angle, angle).unwrap();
        let gap = (state.level.driven / current - 1.0).abs();
        assert!(gap < 1e-6, "at {} deg {} A against {current} A", angle.to_degrees(), state.level.driven);
    }
}

/// A mounting rotation turns the whole board about its axis, exactly, however large; then weight acts on the turned board.
#[test]
fn mounting_rotation_turns_the_board_as_a_body() {
    let turned = VANE.replace(
        "kind = \"clamp\"",
        "kind = \"clamp\"\nrotation = { angle = \"-50 deg\", through = [\"-2 mm\", \"0 mm\", \"1 mm\"], axis = [0, 1, 0] }",
    );
    assert_ne!(turned, VANE, "the example has a clamp");
    let vane = read(&turned);
    let steady: [&dyn MovingLoad; 1] = [&vane.weight];
    let mut path = Path::new(&vane.own.model, Loads { steady: &steady, driven: None }).unwrap();
    let state = path.to_level(Level { prescribed: 1.0, ..Level::default() }).unwrap();
    let turn = nalgebra::Rotation3::from_axis_angle(&nalgebra::Vector3::y_axis(), (-50f64).to_radians());
    let centre = nalgebra::Vector3::new(-2e-3, 0.0, 1e-3);
    for (x, now) in vane.own.model.nodes_m.iter().zip(&path.pose().positions_m) {
        let expected = centre + turn * (nalgebra::Vector3::from(*x) - centre);
        let gap = (now - expected).norm();
        assert!(gap < 1e-11, "off by {gap:e} m");
    }
    println!("{state:?}, {} factorisations", path.factorisations());
    assert!((vane.angle.value(path.pose()).to_degrees() - 50.0).abs() < 1e-8, "lifted by 50 degrees");
    // Hanging freely along +x before; turned, the weight bends it back.
    path.to_level(Level { steady: 1.0, prescribed: 1.0, ..Level::default() }).unwrap();
    let angle = vane.angle.value(path.pose()).to_degrees();
    assert!(angle < 49.9 && angle > 0.0, "weight pulls it down: {angle} degrees");
}
