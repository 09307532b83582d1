//! Board models against beam theory, statics and symmetry.

use super::fixture::{Sheet, clamp, grid, line_force, material, stiffen, strip};
use super::loads::{mechanical, moment_nm, total_n, weight};
use super::{BoardModel, LoadCase, Solution, board_model, board_model_about};
use crate::laminate::Laminate;
use crate::recover::{Recovered, recover};
use crate::result::BondLimit;
use crate::statics::Prepared;
use copperbend_mesh::board::{Board, Body, Bond, Flap, LayerKind, Load, Place, Support, SupportKind};
use copperbend_mesh::region::Region;
use copperbend_mesh::triangulate::BoardMesh;
use nalgebra::{Vector3, Vector6};

fn solve(board: &Board, mesh: &BoardMesh, own: &BoardModel) -> (LoadCase, Solution) {
    let mut nodal = mechanical(board, mesh, own).unwrap();
    for (sum, more) in nodal.iter_mut().zip(weight(mesh, own, board.gravity_m_s2)) {
        *sum += more;
    }
    let case = LoadCase { nodal, thermal_factor: 1.0, prescribed_factor: 1.0 };
    let solution = Prepared::new(&own.model).unwrap().solve(std::slice::from_ref(&case)).unwrap().remove(0);
    (case, solution)
}

fn node_at(mesh: &BoardMesh, x: f64, y: f64) -> usize {
    let gap = |p: &[f64; 2]| (p[0] - x).hypot(p[1] - y);
    (0..mesh.flat.points_m.len())
        .min_by(|&a, &b| gap(&mesh.flat.points_m[a]).total_cmp(&gap(&mesh.flat.points_m[b])))
        .unwrap()
}

/// Recovered strain along x at a node and a height above z = 0.
fn strain_x(own: &BoardModel, recovered: &Recovered, node: usize, z_m: f64) -> f64 {
    let own_node = recovered.zone_nodes.iter().find(|z| z.node as usize == node).unwrap();
    own_node.strain[0] + (z_m - own.reference_z_m) * own_node.strain[3]
}

fn close(found: f64, expected: f64, relative: f64, what: &str) {
    let ratio = found / expected;
    assert!(
        (ratio - 1.0).abs() < relative,
        "{what}: found {found:.8e}, expected {expected:.8e}, ratio {ratio:.6}"
    );
}

/// Polyimide 25 um, copper 18 um, adhesive 15 um, polyimide 12.5 um.
const COMPOSITE: [Sheet; 4] = [
    Sheet("base", LayerKind::Film, 4e9, 25e-6),
    Sheet("copper", LayerKind::Copper, 117e9, 18e-6),
    Sheet("adhesive", LayerKind::Adhesive, 1.5e9, 15e-6),
    Sheet("cover", LayerKind::Cover, 4e9, 12.5e-6),
];

/// Source: transformed-section beam theory; figures recomputed for tests/data "arm-composite" (10 x 2 mm, 1 mN).
#[test]
fn composite_arm_bends_as_the_transformed_section() {
    let mut board = strip(&COMPOSITE, 10e-3, 2e-3, 0.0);
    board.loads.push(line_force(10e-3, 2e-3, [0.0, 0.0, 1e-3]));
    let mesh = grid(&board, 80, 8);
    let own = board_model(&board, &mesh, BondLimit::AsWritten).unwrap();
    close(own.reference_z_m, 33.883147e-6, 1e-6, "reference plane at the neutral height");
    let (_, solution) = solve(&board, &mesh, &own);
    let tip = node_at(&mesh, 10e-3, 0.0);
    close(solution.displacement[tip][2], 1033.8104e-6, 0.001, "tip deflection");
    // A line load also bends the tip edge only cylindrically when nu = 0.
    let recovered = recover(&own.model, &solution, 1.0);
    let root = node_at(&mesh, 0.0, 0.0);
    for (z, expected) in
        [(25e-6, 0.0002755047), (43e-6, -0.0002827529), (70.5e-6, -0.0011356465), (0.0, 0.0010508625)]
    {
        close(strain_x(&own, &recovered, root, z), expected, 0.005, "root strain");
    }
    let mass: f64 = -total_n(&weight(&mesh, &own, [0.0, 0.0, -1.0]))[2];
    close(mass / 10e-3, 0.00046206, 1e-5, "mass per length");
}

/// Closed form: bonded plies share one neutral plane; sliding ones add their own stiffness.
#[test]
fn two_ply_strip_meets_both_bond_limits() {
    let (flex, sheet, width, length, force) = ((4e9, 50e-6), (24e9, 200e-6), 2e-3, 10e-3, 5e-3);
    let mut board = strip(&[Sheet("base", LayerKind::Film, flex.0, flex.1)], length, width, 0.0);
    stiffen(&mut board, sheet.0, 0.0, sheet.1, Bond::Tape(1e5));
    board.loads.push(line_force(length, width, [0.0, 0.0, force]));
    let mesh = grid(&board, 80, 8);
    let alone = |(e, t): (f64, f64)| e * width * t.powi(3) / 12.0;
    let between = {
        let (a, b) = (flex.0 * flex.1, sheet.0 * sheet.1);
        width * a * b / (a + b) * (0.5 * (flex.1 + sheet.1)).powi(2)
    };
    let sliding = alone(flex) + alone(sheet);
    for (limit, stiffness) in [(BondLimit::Bonded, sliding + between), (BondLimit::Sliding, sliding)] {
        let own = board_model(&board, &mesh, limit).unwrap();
        let (_, solution) = solve(&board, &mesh, &own);
        let tip = solution.displacement[node_at(&mesh, length, 0.0)][2];
        close(tip, force * length.powi(3) / (3.0 * stiffness), 0.001, &format!("tip, {limit:?}"));
    }
}

#[test]
fn strip_bent_to_a_radius_strains_by_distance_over_radius() {
    let (length, width, radius) = (10e-3, 2e-3, 0.25);
    let mut board = strip(&COMPOSITE, length, width, 0.0);
    let end = Place::Line([[length, -0.5 * width], [length, 0.5 * width]]);
    let mut far = clamp("far", end);
    // A circular arc: the far end turns by length / radius about the axis at half length, at the neutral height.
    far.kind = SupportKind::Clamp {
        rotation_rad: length / radius,
        axis_point_m: [0.5 * length, 0.0, 33.883147e-6],
        axis: [0.0, -1.0, 0.0],
    };
    board.supports.push(far);
    let mesh = grid(&board, 40, 8);
    let own = board_model(&board, &mesh, BondLimit::AsWritten).unwrap();
    let (_, solution) = solve(&board, &mesh, &own);
    let recovered = recover(&own.model, &solution, 1.0);
    let middle = node_at(&mesh, 0.5 * length, 0.0);
    for z in [0.0, 25e-6, 43e-6, 70.5e-6] {
        let expected = -(z - 33.883147e-6) / radius;
        close(strain_x(&own, &recovered, middle, z), expected, 0.01, "strain");
    }
}

/// Every kind of load, unknowns at two planes 0.1 mm apart.
#[test]
fn reference_plane_shifted_changes_nothing() {
    let mut board = strip(&COMPOSITE, 10e-3, 2e-3, 0.34);
    board.loads.push(line_force(10e-3, 2e-3, [0.02, 3e-4, 1e-3]));
    board.locked_in.stress_free_degc = Some(120.0);
    board.gravity_m_s2 = [1.0, 2.0, -9.81];
    board.supports[0].kind =
        SupportKind::Clamp { rotation_rad: 0.01, axis_point_m: [0.0, 0.0, 20e-6], axis: [0.0, 1.0, 0.0] };
    let mesh = grid(&board, 40, 8);
    let answer = |plane_z_m: f64| {
        let own = board_model_about(&board, &mesh, BondLimit::AsWritten, Some(plane_z_m)).unwrap();
        let (_, solution) = solve(&board, &mesh, &own);
        let recovered = recover(&own.model, &solution, 1.0);
        let strains = [0.0, 3e-3, 7e-3].map(|x| strain_x(&own, &recovered, node_at(&mesh, x, 0.5e-3), 43e-6));
        (solution, strains)
    };
    let ((one, strains), (other, moved)) = (answer(30e-6), answer(130e-6));
    let scale = one.displacement.iter().map(Vector6::norm).fold(0.0, f64::max);
    for (a, b) in one.displacement.iter().zip(&other.displacement) {
        assert!((a - b).norm() < 1e-9 * scale, "{a} against {b}");
    }
    for (a, b) in strains.iter().zip(&moved) {
        assert!((a / b - 1.0).abs() < 1e-9, "strain {a:e} against {b:e}");
    }
}

/// An even pull at mid-height of a symmetric strip is a state of constant strain, and the mesh shows it so.
#[test]
fn even_pull_strains_evenly() {
    let board = {
        let mut board = strip(&[Sheet("base", LayerKind::Film, 4e9, 50e-6)], 10e-3, 2e-3, 0.0);
        board.loads.push(line_force(10e-3, 2e-3, [0.02, 0.0, 0.0]));
        board
    };
    let mesh = grid(&board, 13, 5);
    let own = board_model(&board, &mesh, BondLimit::AsWritten).unwrap();
    let (_, solution) = solve(&board, &mesh, &own);
    let strain = 0.02 / (4e9 * 50e-6 * 2e-3);
    for (d, p) in solution.displacement.iter().zip(&mesh.flat.points_m) {
        assert!((d[0] - strain * p[0]).abs() < 1e-9 * strain * 10e-3, "u at {p:?}: {}", d[0]);
        assert!(d[5].abs() < 1e-9 * strain, "drilling at {p:?}: {}", d[5]);
    }
}

/// A strip with every kind of load: totals are as written and the reactions balance them.
#[test]
fn reactions_balance_every_load() {
    let (length, width) = (10e-3, 2e-3);
    let mut board = strip(&COMPOSITE, length, width, 0.34);
    let patch = Region::rectangle([5e-3, -1e-3], [7.5e-3, 0.5e-3]);
    board.loads.push(line_force(length, width, [0.02, 3e-4, 1e-3]));
    let area = Place::Area(patch.clone());
    board.loads.push(Load::Force { name: "area".into(), place: area.clone(), force_n: [1e-3, 2e-3, -3e-3] });
    board.loads.push(Load::Pressure { name: "air".into(), place: area.clone(), pressure_pa: 30.0 });
    let point = Place::Point([6.1e-3, 0.13e-3]);
    board.loads.push(Load::Force { name: "point".into(), place: point.clone(), force_n: [0.0, 0.0, 2e-3] });
    board.loads.push(Load::Moment { name: "twist".into(), place: point, moment_nm: [1e-6, 2e-6, 3e-6] });
    board.gravity_m_s2 = [0.0, 3.0, -9.81];
    board.bodies.push(Body {
        name: "weight".into(),
        region: patch,
        mass_kg: 2e-5,
        centre_z_m: 0.8e-3,
        inertia_kg_m2: [1e-12, 1e-12, 2e-12],
        stiff: true,
    });
    let mesh = grid(&board, 40, 8);
    let own = board_model(&board, &mesh, BondLimit::AsWritten).unwrap();
    let (case, solution) = solve(&board, &mesh, &own);
    let applied = total_n(&case.nodal);
    let layers = 0.00046206 * length;
    let expected = [
        0.021,
        3e-4 + 2e-3 + 3.0 * (layers + 2e-5),
        1e-3 - 3e-3 + 30.0 * 2.5e-3 * 1.5e-3 + 2e-3 - 9.81 * (layers + 2e-5),
    ];
    for c in 0..3 {
        close(applied[c], expected[c], 1e-5, "total load");
    }
    let reactions = Prepared::new(&own.model).unwrap().reactions(&case, &solution);
    let (mut force, mut moment) = (Vector3::zeros(), Vector3::zeros());
    for r in &reactions {
        let own_force: Vector3<f64> = r.load.fixed_rows::<3>(0).into_owned();
        let at = Vector3::from(own.model.nodes_m[r.node as usize]);
        moment += r.load.fixed_rows::<3>(3) + at.cross(&own_force);
        force += own_force;
    }
    let turning = Vector3::from(moment_nm(&case.nodal, &own.model.nodes_m, [0.0; 3]));
    assert!((force + Vector3::from(applied)).norm() < 1e-6 * 0.021, "forces left over: {force} {applied:?}");
    assert!((moment + turning).norm() < 1e-6 * turning.norm(), "moments left over: {moment} {turning}");
}

/// Gravity on a stiff body acts at its own height and place, however it is meshed.
#[test]
fn weight_of_a_body_turns_about_its_true_centre() {
    let mut board = strip(&COMPOSITE, 10e-3, 2e-3, 0.34);
    let patch = Region::rectangle([5e-3, -1e-3], [7.5e-3, 0.5e-3]);
    let body = |stiff| Body {
        name: "weight".into(),
        region: patch.clone(),
        mass_kg: 2e-5,
        centre_z_m: 0.8e-3,
        inertia_kg_m2: [1e-9; 3],
        stiff,
    };
    let gravity = [1.0, -2.0, 3.0];
    let mut found = Vec::new();
    for stiff in [true, false] {
        board.bodies = vec![body(stiff)];
        let mesh = grid(&board, 40, 8);
        let own = board_model(&board, &mesh, BondLimit::AsWritten).unwrap();
        let with = moment_nm(&weight(&mesh, &own, gravity), &own.model.nodes_m, [0.0; 3]);
        board.bodies.clear();
        let bare = board_model(&board, &mesh, BondLimit::AsWritten).unwrap();
        let without = moment_nm(&weight(&mesh, &bare, gravity), &bare.model.nodes_m, [0.0; 3]);
        found.push(Vector3::from(with) - Vector3::from(without));
    }
    let centre = Vector3::new(6.25e-3, -0.25e-3, 0.8e-3);
    let expected = centre.cross(&(Vector3::from(gravity) * 2e-5));
    for moment in found {
        assert!((moment - expected).norm() < 1e-9 * expected.norm(), "{moment} against {expected}");
    }
}

#[test]
fn mirrored_design_gives_the_mirrored_answer() {
    let answer = |side: f64| {
        let mut board = strip(&COMPOSITE, 10e-3, 2e-3, 0.34);
        board.loads.push(Load::Force {
            name: "corner".into(),
            place: Place::Point([10e-3, side * 1e-3]),
            force_n: [1e-3, side * 2e-4, 1e-3],
        });
        let mesh = grid(&board, 40, 8);
        let own = board_model(&board, &mesh, BondLimit::AsWritten).unwrap();
        let (_, solution) = solve(&board, &mesh, &own);
        (solution.displacement[node_at(&mesh, 8e-3, side * 0.5e-3)], solution.energy)
    };
    let ((left, energy), (right, other)) = (answer(1.0), answer(-1.0));
    let flip = Vector6::new(1.0, -1.0, 1.0, -1.0, 1.0, -1.0);
    let gap = (left - right.component_mul(&flip)).norm() / left.norm();
    assert!(gap < 1e-7, "motion differs by {gap:e}: {left} {right}");
    close(energy, other, 1e-7, "energy");
}

#[test]
fn half_board_with_symmetry_equals_the_whole() {
    let (length, width) = (10e-3, 4e-3);
    let pull = |width: f64, lift: f64, at: [f64; 2]| {
        let place = Place::Line([[length, at[0]], [length, at[1]]]);
        let _ = width;
        Load::Force { name: "pull".into(), place, force_n: [10.0 * lift, 0.0, lift] }
    };
    let mut whole = strip(&COMPOSITE, length, width, 0.34);
    whole.loads.push(pull(width, 1e-3, [-2e-3, 2e-3]));
    let mut half = strip(&COMPOSITE, length, width, 0.34);
    half.outline = Region::rectangle([0.0, 0.0], [length, 0.5 * width]);
    for layer in &mut half.layers {
        layer.region = half.outline.clone();
    }
    half.supports.push(Support {
        name: "middle".into(),
        kind: SupportKind::Symmetry,
        place: Place::Line([[0.0, 0.0], [length, 0.0]]),
    });
    half.loads.push(pull(0.5 * width, 0.5e-3, [0.0, 2e-3]));
    let (all, part) = (grid(&whole, 40, 16), grid(&half, 40, 8));
    let mut found = Vec::new();
    for (board, mesh) in [(&whole, &all), (&half, &part)] {
        let own = board_model_about(board, mesh, BondLimit::AsWritten, Some(30e-6)).unwrap();
        let (_, solution) = solve(board, mesh, &own);
        found.push(
            [[10e-3, 0.0], [10e-3, 2e-3], [4e-3, 1e-3]]
                .map(|[x, y]| solution.displacement[node_at(mesh, x, y)]),
        );
    }
    for (a, b) in found[0].iter().zip(&found[1]) {
        // The meshes differ in their diagonals: agreement within what the mesh leaves.
        assert!((a - b).norm() < 2e-3 * a.norm(), "{a} against {b}");
    }
}

#[test]
fn rigid_flap_moves_as_one_and_carries_its_weight() {
    let (length, width) = (10e-3, 2e-3);
    let mut board = strip(&COMPOSITE, length, width, 0.34);
    let region = Region::rectangle([5e-3, -1e-3], [10e-3, 1e-3]);
    board.flap = Some(Flap { region, rigid: true });
    board.gravity_m_s2 = [0.0, 0.0, -9.81];
    let mesh = grid(&board, 40, 8);
    let own = board_model(&board, &mesh, BondLimit::AsWritten).unwrap();
    assert_eq!(own.rigid_pieces.len(), 1, "one rigid piece");
    let (case, solution) = solve(&board, &mesh, &own);
    close(total_n(&case.nodal)[2], -9.81 * 0.00046206 * length, 1e-5, "weight");
    let hinge = super::Hinge::of(&board);
    let motion = super::flap_motion(&board, &mesh, &hinge, &solution.displacement).unwrap();
    let tip = solution.displacement[node_at(&mesh, 10e-3, 0.0)];
    close(motion.lift_rad, -tip[4], 1e-9, "flap angle is the rotation of every node of the piece");
    assert!(motion.lift_rad < 0.0, "gravity lowers the flap: {}", motion.lift_rad);
}

#[test]
fn part_without_support_is_named() {
    let mut board = strip(&COMPOSITE, 10e-3, 2e-3, 0.34);
    board.supports[0].place = Place::Line([[10e-3, -1e-3], [10e-3, 1e-3]]);
    let mut mesh = grid(&board, 10, 2);
    // Cut the mesh in two by taking out a column of squares.
    let keep = |t: &[u32; 3]| {
        let x = t.iter().map(|&n| mesh.flat.points_m[n as usize][0]).sum::<f64>() / 3.0;
        !(4e-3..5e-3).contains(&x)
    };
    let kept: Vec<usize> =
        (0..mesh.flat.triangles.len()).filter(|&t| keep(&mesh.flat.triangles[t])).collect();
    mesh.flat.zone_of = kept.iter().map(|&t| mesh.flat.zone_of[t]).collect();
    mesh.flat.triangles = kept.iter().map(|&t| mesh.flat.triangles[t]).collect();
    let error = board_model(&board, &mesh, BondLimit::AsWritten).unwrap_err().to_string();
    assert!(error.contains("arm 'arm'") && error.contains("is not held"), "{error}");
    board.supports.clear();
    let none = board_model(&board, &mesh, BondLimit::AsWritten).unwrap_err().to_string();
    assert!(none.contains("no support"), "{none}");
}

#[test]
fn clamped_area_has_a_zone_of_its_own() {
    let mut board = strip(&COMPOSITE, 10e-3, 2e-3, 0.34);
    board.supports = vec![clamp("root", Place::Area(Region::rectangle([0.0, -1e-3], [2.5e-3, 1e-3])))];
    let mesh = grid(&board, 40, 8);
    let own = board_model(&board, &mesh, BondLimit::AsWritten).unwrap();
    assert_eq!(own.still.iter().filter(|&&s| s).count(), 160, "triangles inside the clamp");
    let zones: Vec<u32> = own.model.zone_of.clone();
    assert!(own.still.iter().zip(&zones).all(|(&s, &z)| s == (z == zones[0])), "clamp and arm share no zone");
}

#[test]
fn smeared_ply_follows_the_rule_of_mixtures_along_the_turn() {
    use copperbend_mesh::board::{MaterialId, Smear, TurnAxes};
    // Without sideways contraction the turns do not hold the filler between them.
    let mut board = strip(&[Sheet("copper", LayerKind::Copper, 117e9, 18e-6)], 10e-3, 10e-3, 0.0);
    board.materials.push(material("filler", 3e9, 0.0, 1200.0, 40e-6));
    let region = board.outline.clone();
    board.layers[0].smears.push(Smear {
        region,
        copper_share: 0.55,
        filler: MaterialId(1),
        centre_m: [5e-3, 0.0],
        turns: TurnAxes::Round,
    });
    let mesh = grid(&board, 20, 20);
    let own = board_model(&board, &mesh, BondLimit::AsWritten).unwrap();
    let modulus = |laminate: &Laminate, angle: f64| {
        let turn = crate::laminate::strain_rotation(angle);
        let compliance = (laminate.a / 18e-6).try_inverse().unwrap();
        1.0 / (turn * compliance * turn.transpose() * Vector3::x())[0]
    };
    let mut seen = 0;
    for t in 0..mesh.flat.triangles.len() {
        let at = mesh.flat.centroid_m(t);
        let along = at[1].atan2(at[0] - 5e-3) + std::f64::consts::FRAC_PI_2;
        let laminate = &own.model.laminates[own.model.laminate_of[t] as usize];
        close(modulus(laminate, along), 0.55 * 117e9 + 0.45 * 3e9, 0.005, "along the turn");
        let across = modulus(laminate, along + std::f64::consts::FRAC_PI_2);
        close(across, 1.0 / (0.55 / 117e9 + 0.45 / 3e9), 0.005, "across the turn");
        seen += 1;
    }
    assert_eq!(seen, 800, "triangles looked at");
    assert!(own.model.zone_of.iter().all(|&z| z == 0), "one zone whatever the turn direction");
    assert!(own.model.laminates.len() > 60, "laminates: {}", own.model.laminates.len());
}
