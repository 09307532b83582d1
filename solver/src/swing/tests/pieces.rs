//! Rigid pieces: against stiff laminates, held in part, cut at a plane of symmetry; their whole tangent.

use super::super::field;
use super::*;

/// A stiff end piece by eliminated unknowns and by a stiff laminate.
#[test]
fn a_rigid_piece_follows_like_a_very_stiff_one() {
    let (length, h) = (10.0, 0.1);
    let run = |tied: bool| {
        let mut strip = Strip::new([length, 1.0], [12, 2], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.3)], 0.0);
        let nodes: Vec<u32> = (8 * 3..13 * 3).collect();
        if tied {
            let at = strip.model.nodes_m.clone();
            strip.model.freedoms.tie(&at, &nodes, [8.0, 0.1, 0.3]);
        } else {
            strip.model.laminates.push(Laminate::new(vec![ply(-h / 2.0, h / 2.0, 1.2e9, 0.3)]));
            for (e, t) in strip.model.triangles.iter().enumerate() {
                if t.iter().all(|n| nodes.contains(n)) {
                    strip.model.laminate_of[e] = 1;
                }
            }
        }
        let mut load = strip.end_load(Vector6::new(-0.02, 0.0, 0.08, 0.0, 0.0, 0.0));
        load.nodal[29] += Vector6::new(0.0, 0.01, 0.02, 0.0, 0.0, 0.0);
        let loads: [&dyn MovingLoad; 1] = [&load];
        let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
        let state = path.to_level(FULL).unwrap();
        (strip.tip(&path), state, path.pose().rotations[25])
    };
    let ((tied, state, turn), (stiff, _, other)) = (run(true), run(false));
    println!("tied {tied:?} in {} steps", state.iterations);
    assert!(tied[2] > 0.7, "a large turn: {}", tied[2]);
    for (a, b) in tied.iter().zip(&stiff) {
        assert!((a / b - 1.0).abs() < 1e-4, "tied {tied:?} against stiff {stiff:?}");
    }
    assert!((turn - other).amax() < 1e-4, "rotation of the piece");
    assert!(state.iterations <= 9, "quadratic: {} steps", state.iterations);
}

/// Half a strip with a rigid end on its plane of symmetry moves like the whole.
#[test]
fn a_rigid_end_on_a_plane_of_symmetry_follows_the_whole_strip() {
    let (length, h) = (10.0, 0.1);
    let plies = vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.3)];
    let load = Vector6::new(-0.02, 0.0, 0.08, 0.0, 0.0, 0.0);
    let run = |half: bool| {
        let mut strip = Strip::new([length, 1.0], [12, 2], plies.clone(), 0.0);
        let mut nodal = strip.end_load(load).nodal;
        let tip = strip.column(12).start + 1;
        let mut end: Vec<u32> = (8 * 3..13 * 3).collect();
        let at = strip.model.nodes_m.clone();
        if half {
            // Nodes at y < 0 go: their triangles are dropped and they are clamped.
            let gone = |n: u32| n.is_multiple_of(3);
            strip.model.triangles.retain(|t| !t.iter().any(|&n| gone(n)));
            strip.model.laminate_of.truncate(strip.model.triangles.len());
            end.retain(|&n| !gone(n));
            for n in (0..39).filter(|&n| gone(n)) {
                strip.model.freedoms.clamp(n);
                nodal[n as usize].fill(0.0);
            }
            strip.model.freedoms.tie(&at, &end, [8.0, 0.1, 0.3]);
            for n in (0..13).map(|i| 3 * i + 1).filter(|n| *n > 1) {
                nodal[n as usize] *= 0.5;
                for c in [1, 3, 5] {
                    let mut row = Vector6::zeros();
                    row[c] = 1.0;
                    strip.model.freedoms.constrain(n, &row, 0.0);
                }
            }
        } else {
            strip.model.freedoms.tie(&at, &end, [8.0, 0.1, 0.3]);
        }
        let load = DeadLoad { nodal };
        let loads: [&dyn MovingLoad; 1] = [&load];
        let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
        let state = path.to_level(FULL).unwrap();
        (path.displacement_m(tip), path.pose().rotations[tip as usize], state)
    };
    let ((whole, turn, _), (half, other, state)) = (run(false), run(true));
    println!("{whole} {half} {state:?}");
    assert!(whole[2] > 5.0, "a large motion");
    assert!((whole - half).amax() < 1e-8 * length, "{whole} against {half}");
    assert!((turn - other).amax() < 1e-8, "{turn} against {other}");
    assert!(state.iterations <= 9, "{} steps", state.iterations);
}

/// A point of a rigid piece, off its centre, kept at its height while the piece turns: against a stiff laminate.
#[test]
fn a_support_at_one_point_of_a_rigid_piece_is_met_while_it_turns() {
    let (length, h) = (10.0, 0.1);
    let run = |tied: bool| {
        let mut strip = Strip::new([length, 1.0], [12, 2], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.3)], 0.0);
        let nodes: Vec<u32> = (8 * 3..13 * 3).collect();
        let stop = strip.column(9).start + 1;
        if tied {
            let at = strip.model.nodes_m.clone();
            strip.model.freedoms.tie(&at, &nodes, [8.0, 0.1, 0.3]);
        } else {
            strip.model.laminates.push(Laminate::new(vec![ply(-h / 2.0, h / 2.0, 1.2e9, 0.3)]));
            for (e, t) in strip.model.triangles.iter().enumerate() {
                if t.iter().all(|n| nodes.contains(n)) {
                    strip.model.laminate_of[e] = 1;
                }
            }
        }
        strip.model.freedoms.hold(stop, 2, 0.5);
        let load = strip.end_load(Vector6::new(-0.15, 0.0, 0.3, 0.0, 0.0, 0.0));
        let loads: [&dyn MovingLoad; 1] = [&load];
        let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
        let state = path.to_level(Level { prescribed: 1.0, ..FULL }).unwrap();
        let lift = path.displacement_m(stop)[2];
        assert!((lift - 0.5).abs() < 1e-12, "the support holds the height: {lift}");
        let held = path.equilibrium().unwrap();
        let mut total = held.total_reaction();
        for f in &load.nodal {
            total += Vector6::new(f[0], f[1], f[2], 0.0, 0.0, 0.0);
        }
        // Forces of the stiff laminate carry the rounding of its places times its stretch, E t.
        let rounding = if tied { 0.0 } else { 1.2e9 * h * f64::EPSILON * length };
        let left = total.fixed_rows::<3>(0).amax();
        assert!(left < 1e-8 + rounding, "forces out of balance (tied {tied}, {state:?}): {total}");
        (strip.tip(&path), state)
    };
    let ((tied, state), (stiff, _)) = (run(true), run(false));
    println!("{tied:?} {stiff:?} {state:?}");
    assert!(tied[2].abs() > 0.3, "turns: {tied:?}");
    for (a, b) in tied.iter().zip(&stiff) {
        assert!((a / b - 1.0).abs() < 1e-4, "tied {tied:?} against stiff {stiff:?}");
    }
    assert!(state.iterations <= 10, "{} steps", state.iterations);
}

/// Whole tangent with a rigid piece, a turned frame, a load on levers and a state far from rest, against differences of
/// the residual along every free unknown.
#[test]
fn tangent_of_a_model_with_rigid_pieces_is_the_change_of_its_residual() {
    let (length, h) = (10.0, 0.1);
    let mut strip = Strip::new([length, 1.0], [6, 2], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.3)], 0.2);
    let frame = crate::element::corotational::exponential(&Vector3::new(0.3, -0.5, 0.9));
    strip.model.freedoms.turn(7, &frame);
    let at = strip.model.nodes_m.clone();
    strip.model.freedoms.tie(&at, &[15, 16, 17, 18, 19, 20], [8.0, 0.2, 0.3]);
    let end = strip.end_load(Vector6::new(0.003, 0.004, 0.05, 0.0, 0.0, 0.0));
    let levers = [19u32, 9].map(|node| Lever {
        node,
        arm_m: Vector3::new(0.1, -0.2, 0.8),
        force_n: Vector3::new(0.01, -0.005, 0.02),
    });
    let load = RidingLoad::new(&strip.model, end.nodal.clone(), levers.to_vec());
    let loads: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
    path.to_level(FULL).unwrap();
    assert!(strip.tip(&path)[2] > 0.5, "a large turn");
    let (values, negative) = path.newton.inspect(&path.now.point).unwrap();
    assert_eq!(negative, 0, "stable");
    let dense = nalgebra::DMatrix::from(&path.tangent().unwrap());
    assert!(dense == dense.transpose() && values.len() < dense.len(), "symmetric and sparse");
    let start = path.now.point.clone();
    let field = &mut path.newton.field;
    let n = field.n_unknowns();
    let blocks = field.model.freedoms.blocks.len();
    let residual_at = |field: &mut field::Field, unknown: usize, by: f64| {
        let mut free = vec![0.0; n];
        free[unknown] = by;
        let mut steps = vec![Vector6::zeros(); blocks];
        field.add_free(&free, &mut steps);
        let mut stance = start.stance.clone();
        stance.set_levers(&field.links, &mut field.model);
        stance.advance(&field.links, &mut field.model, &steps);
        let mut frames = Vec::new();
        field.frames(&stance, &mut frames).unwrap();
        let inner = field.inner(&frames, 0.0);
        let nodal = load.forces(&stance.pose);
        let loads = field.block_loads(&nodal);
        nalgebra::DVector::from(field.residual(&loads, &inner.corners))
    };
    // Lower triangle in elimination order.
    let structure = &field.layout.structure;
    let mut k = nalgebra::DMatrix::zeros(n, n);
    for column in 0..n {
        let range = structure.entry_start()[column] as usize..structure.entry_start()[column + 1] as usize;
        for entry in range {
            let row = structure.entry_rows()[entry] as usize;
            k[(row, column)] = values[entry];
            k[(column, row)] = values[entry];
        }
    }
    let mut slope = nalgebra::DMatrix::zeros(n, n);
    for j in 0..n {
        let step = 1e-4;
        let mut at = |s: f64| residual_at(field, j, s * step);
        let column = ((at(2.0) - at(-2.0)) - (at(1.0) - at(-1.0)) * 8.0) / (12.0 * step);
        slope.set_column(j, &column);
    }
    let skew = (&slope - slope.transpose()).amax() / k.amax();
    let gap = ((&slope + slope.transpose()) * 0.5 - &k).amax() / k.amax();
    println!("{n} unknowns: skew part {skew:.1e}, symmetric part off by {gap:.1e}");
    assert!(gap < 1e-8, "tangent off by {gap:e}");
    assert!(skew < 1e-8, "in balance under conservative loads nothing is skew: {skew:e}");
}
