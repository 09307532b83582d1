//! Checks of the recovery's pure parts on plates with a known field.

use super::*;
use crate::freedoms::Freedoms;
use crate::laminate::{Laminate, Ply, isotropic_q};
use crate::model::{Model, Solution};
use copperbend_mesh::board::LayerId;
use nalgebra::{Rotation3, Vector3, Vector6};

pub(crate) fn sheet(layer: u32, z0_m: f64, z1_m: f64, e_pa: f64) -> Laminate {
    Laminate::new(vec![Ply {
        layer: LayerId(layer),
        z0_m,
        z1_m,
        q_pa: isotropic_q(e_pa, 0.3),
        expansion_per_k: Vector3::new(17e-6, 17e-6, 0.0),
        density_kg_m3: 8900.0,
        heating_k: 10.0,
        sliding: false,
    }])
}

/// A grid of `nx` by `ny` squares of side `side`, each of two triangles, slightly distorted inside.
pub(crate) fn grid(nx: u32, ny: u32, side: f64, keep: impl Fn(f64, f64) -> bool) -> Model {
    let at = |i: u32, j: u32| {
        let full = |di: f64, dj: f64| keep(side * (f64::from(i) + di), side * (f64::from(j) + dj));
        let ring = [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)];
        let inner = i > 0 && j > 0 && i < nx && j < ny && ring.iter().all(|&(di, dj)| full(di, dj));
        let off = if inner { 0.15 * f64::from((i * 7 + j * 5) % 3) - 0.15 } else { 0.0 };
        [side * (f64::from(i) + off), side * (f64::from(j) - off), 0.0]
    };
    let nodes_m: Vec<[f64; 3]> = (0..=ny).flat_map(|j| (0..=nx).map(move |i| at(i, j))).collect();
    let node = |i: u32, j: u32| j * (nx + 1) + i;
    let mut triangles = Vec::new();
    for j in 0..ny {
        for i in 0..nx {
            if keep(side * (f64::from(i) + 0.5), side * (f64::from(j) + 0.5)) {
                triangles.push([node(i, j), node(i + 1, j), node(i + 1, j + 1)]);
                triangles.push([node(i, j), node(i + 1, j + 1), node(i, j + 1)]);
            }
        }
    }
    let n_nodes = nodes_m.len();
    Model {
        laminate_of: vec![0; triangles.len()],
        laminates: vec![sheet(0, -0.05, 0.05, 1.0)],
        nodes_m,
        triangles,
        freedoms: Freedoms::free(n_nodes),
        ..Model::default()
    }
}

/// Displacements of constant generalised strain `e`, on top of a rigid motion, rotated into place by `turn`.
fn constant_strain(model: &Model, e: [f64; 6], turn: &Rotation3<f64>, rigid: &Vector6<f64>) -> Solution {
    let flat = |p: &[f64; 3]| turn.inverse() * Vector3::from(*p);
    let displacement = model
        .nodes_m
        .iter()
        .map(|p| {
            let (at, global) = (flat(p), Vector3::from(*p));
            let (x, y) = (at[0], at[1]);
            let move_ = Vector3::new(
                e[0] * x + 0.5 * e[2] * y,
                e[1] * y + 0.5 * e[2] * x,
                -0.5 * (e[3] * x * x + e[4] * y * y + e[5] * x * y),
            );
            let slope = [-(e[3] * x + 0.5 * e[5] * y), -(e[4] * y + 0.5 * e[5] * x)];
            let angle = Vector3::new(slope[1], -slope[0], 0.0);
            let spin = rigid.fixed_rows::<3>(3).into_owned();
            let moved = turn * move_ + rigid.fixed_rows::<3>(0) + spin.cross(&global);
            let turned = turn * angle + spin;
            Vector6::new(moved[0], moved[1], moved[2], turned[0], turned[1], turned[2])
        })
        .collect();
    Solution { displacement, ..Solution::default() }
}

#[test]
fn constant_strain_is_recovered_exactly_in_any_place_and_axes() {
    let wanted = Vector6::new(1e-3, -4e-4, 7e-4, 0.2, -0.3, 0.5);
    let mut model = grid(6, 5, 0.25, |_, _| true);
    let turn = Rotation3::from_euler_angles(0.4, -0.7, 1.1);
    for p in &mut model.nodes_m {
        *p = (turn * Vector3::from(*p)).into();
    }
    model.axis_of = vec![(turn * Vector3::x()).into(); model.triangles.len()];
    let rigid = Vector6::new(0.3, -0.2, 0.8, 0.1, 0.2, -0.3);
    let solution = constant_strain(&model, wanted.into(), &turn, &rigid);
    let recovered = recover(&model, &solution, 0.0);
    for own in &recovered.zone_nodes {
        let (first, second) = ((own.strain - wanted).norm(), (own.second - wanted).norm());
        assert!(first < 1e-12 && second < 1e-11, "node {}: off by {first:.1e}, {second:.1e}", own.node);
    }
    let error = recovered.relative_error();
    assert!(error < 1e-11, "relative error {error:.1e}");
    // Energy: area times the quadratic form.
    let exact = wanted.dot(&(model.laminates[0].abd() * wanted)) * 1.5 * 1.25;
    assert!((recovered.energy / exact - 1.0).abs() < 1e-12, "energy {} against {exact}", recovered.energy);
}

#[test]
fn different_triangle_axes_give_the_same_strain_in_space() {
    let wanted = Vector6::new(1e-3, -4e-4, 7e-4, 0.2, -0.3, 0.5);
    let mut model = grid(4, 4, 0.25, |_, _| true);
    model.axis_of = (0..model.triangles.len())
        .map(|t| if t % 2 == 0 { [1.0, 0.0, 0.0] } else { [0.6, 0.8, 0.0] })
        .collect();
    let solution = constant_strain(&model, wanted.into(), &Rotation3::identity(), &Vector6::zeros());
    let recovered = recover(&model, &solution, 0.0);
    for own in &recovered.zone_nodes {
        let angle = own.triad[(0, 1)].atan2(own.triad[(0, 0)]);
        let off = (rotate(&own.strain, -angle) - wanted).norm();
        assert!(off < 1e-12, "node {}: off by {off:.1e}", own.node);
    }
}

#[test]
fn trailing_parts_of_the_displacements_count() {
    let wanted = Vector6::new(1e-3, 0.0, 0.0, 0.0, 0.2, 0.0);
    let model = grid(3, 3, 0.25, |_, _| true);
    let mut solution = constant_strain(&model, wanted.into(), &Rotation3::identity(), &Vector6::zeros());
    solution.trailing = solution.displacement.clone();
    let recovered = recover(&model, &solution, 0.0);
    let off = (recovered.zone_nodes[5].strain - 2.0 * wanted).norm();
    assert!(off < 1e-12, "off by {off:.1e}");
}

#[test]
fn strain_never_crosses_a_stack_edge() {
    let mut model = grid(4, 2, 0.5, |_, _| true);
    model.laminates.push(sheet(1, -0.1, 0.1, 3.0));
    for (t, corners) in model.triangles.iter().enumerate() {
        model.laminate_of[t] = u32::from(corners.iter().all(|&n| model.nodes_m[n as usize][0] >= 1.0 - 0.1));
    }
    // A crease at the stack edge: the slope jumps from zero to a bend only on the right.
    let mut solution = constant_strain(&model, [0.0; 6], &Rotation3::identity(), &Vector6::zeros());
    for (p, motion) in model.nodes_m.iter().zip(&mut solution.displacement) {
        let past = (p[0] - 1.0).max(0.0);
        motion[2] = -0.5 * past * past;
        motion[4] = past;
    }
    let recovered = recover(&model, &solution, 0.0);
    let on_edge: Vec<&ZoneNode> = recovered.zone_nodes.iter().filter(|own| own.node == 2).collect();
    assert_eq!(on_edge.len(), 2, "zone-nodes at the stack edge");
    assert!(on_edge[0].strain[3].abs() < 1e-12, "left of the edge {}", on_edge[0].strain[3]);
    assert!((on_edge[1].strain[3] - 1.0).abs() < 1e-12, "right of the edge {}", on_edge[1].strain[3]);
}

#[test]
fn ranking_strain_is_the_largest_in_magnitude_over_faces_and_directions() {
    let laminate = sheet(0, -0.02, 0.05, 1.0);
    // Bending kx = 1 puts 0.05 on the upper face and -0.02 on the lower one.
    let bent = Vector6::new(0.0, 0.0, 0.0, 1.0, 0.0, 0.0);
    let ranked = rank_layer(&laminate, LayerId(0), &bent, 0.0).unwrap();
    assert_eq!((ranked.face, ranked.direction_rad), (Face::Upper, 0.0), "{ranked:?}");
    assert!((ranked.strain - 0.05).abs() < 1e-15, "{ranked:?}");
    // Pure shear g: normal strain g / 2 at 45 degrees.
    let (value, direction) = largest_normal(&Vector3::new(0.0, 0.0, 2e-3));
    assert!((value - 1e-3).abs() < 1e-15, "{value}");
    assert!((direction - std::f64::consts::FRAC_PI_4).abs() < 1e-12, "{direction}");
    // Compression wins with its sign.
    let (value, direction) = largest_normal(&Vector3::new(1e-3, -3e-3, 0.0));
    assert!((value + 3e-3).abs() < 1e-15, "{value}");
    assert!((direction.abs() - std::f64::consts::FRAC_PI_2).abs() < 1e-12, "{direction}");
    assert!(rank_layer(&laminate, LayerId(1), &bent, 0.0).is_none(), "an absent layer has no strain");
}

#[test]
fn free_expansion_is_no_mechanical_strain() {
    let laminate = sheet(0, 0.0, 0.05, 1.0);
    let free = 17e-6 * 10.0;
    let strain = Vector6::new(free, free, 0.0, 0.0, 0.0, 0.0);
    let ranked = rank_layer(&laminate, LayerId(0), &strain, 1.0).unwrap();
    assert!(ranked.strain.abs() < 1e-18, "{ranked:?}");
    let held = rank_layer(&laminate, LayerId(0), &Vector6::zeros(), 1.0).unwrap();
    assert!((held.strain + free).abs() < 1e-18, "{held:?}");
}

#[test]
fn principal_strain_is_the_extreme_of_the_strain_along_a_direction() {
    let strain = Vector3::new(3e-4, -8e-4, 5e-4);
    let (value, direction) = largest_normal(&strain);
    assert!((along(&strain, direction) - value).abs() < 1e-18, "{value} along {direction}");
    let extreme = (0..3600)
        .map(|k| along(&strain, f64::from(k) * std::f64::consts::PI / 3600.0))
        .fold(0.0, |best: f64, e| if e.abs() > best.abs() { e } else { best });
    assert!((extreme / value - 1.0).abs() < 1e-6, "scan {extreme}, formula {value}");
}

#[test]
fn disc_mean_of_a_linear_field_is_its_value_at_the_half_disc_centroid() {
    let model = grid(16, 8, 0.25, |_, _| true);
    let mut recovered =
        recover(&model, &constant_strain(&model, [0.0; 6], &Rotation3::identity(), &Vector6::zeros()), 0.0);
    for (raw, corners) in recovered.raw.iter_mut().zip(&model.triangles) {
        for (value, &node) in raw.iter_mut().zip(corners) {
            let p = model.nodes_m[node as usize];
            *value = Vector6::new(1.0 + 2.0 * p[0] + 3.0 * p[1], 0.0, 0.0, 0.0, 0.0, 0.0);
        }
    }
    let all: Vec<u32> = (0..u32::try_from(model.triangles.len()).unwrap()).collect();
    let (centre, radius) = ([2.0, 0.0, 0.0], 0.7);
    let mean = disc_mean(&model, &recovered, &all, centre, radius).unwrap();
    let area = 0.5 * std::f64::consts::PI * radius * radius;
    // Centroid of a half-disc: 4 r / (3 pi) from the straight side.
    let exact = 1.0 + 2.0 * 2.0 + 3.0 * 4.0 * radius / (3.0 * std::f64::consts::PI);
    assert!((mean.area_m2 / area - 1.0).abs() < 1e-9, "area {} against {area}", mean.area_m2);
    assert!((mean.strain[0] / exact - 1.0).abs() < 1e-3, "mean {} against {exact}", mean.strain[0]);
    assert!(disc_mean(&model, &recovered, &all, [9.0, 9.0, 0.0], 0.1).is_none(), "far from the board");
}

#[test]
fn corners_and_clamp_ends_are_flagged_and_arcs_are_not() {
    // An L-shaped plate, clamped along its lower edge.
    let mut model = grid(8, 8, 0.25, |x, y| x < 1.0 || y < 1.0);
    for (node, p) in model.nodes_m.iter().enumerate() {
        if p[1] < 1e-12 {
            model.freedoms.clamp(u32::try_from(node).unwrap());
        }
    }
    let topology = Topology::new(model.nodes_m.len(), &model.triangles);
    let found: Vec<(u32, SingularKind)> =
        singular_points(&model, &topology).iter().map(|point| (point.node, point.kind)).collect();
    let corner = 4 * 9 + 4;
    assert_eq!(
        found,
        [(0, SingularKind::ClampEnd), (8, SingularKind::ClampEnd), (corner, SingularKind::ReentrantCorner)],
        "flagged points"
    );
}

#[test]
fn coarse_round_hole_is_no_corner() {
    // A ring of 16 sectors: every inner vertex turns by 22.5 degrees and all of them alike.
    let n = 16_u32;
    let mut model = Model { laminates: vec![sheet(0, 0.0, 0.1, 1.0)], ..Model::default() };
    for radius in [1.0, 2.0] {
        for k in 0..n {
            let (s, c) = (f64::from(k) * std::f64::consts::TAU / f64::from(n)).sin_cos();
            model.nodes_m.push([radius * c, radius * s, 0.0]);
        }
    }
    for k in 0..n {
        let next = (k + 1) % n;
        model.triangles.push([k, n + k, n + next]);
        model.triangles.push([k, n + next, next]);
    }
    model.laminate_of = vec![0; model.triangles.len()];
    let topology = Topology::new(model.nodes_m.len(), &model.triangles);
    let found = singular_points(&model, &topology);
    assert!(found.is_empty(), "flagged {found:?}");
}

#[test]
fn stiffener_edge_end_and_corner_are_flagged() {
    let mut model = grid(8, 8, 0.25, |_, _| true);
    model.laminates.push(sheet(1, -0.2, 0.05, 3.0));
    for (t, corners) in model.triangles.iter().enumerate() {
        let mid =
            [0, 1].map(|axis| corners.iter().map(|&n| model.nodes_m[n as usize][axis]).sum::<f64>() / 3.0);
        model.laminate_of[t] = u32::from(mid[0] < 1.0 && mid[1] < 1.0);
    }
    let topology = Topology::new(model.nodes_m.len(), &model.triangles);
    let found: Vec<SingularKind> = singular_points(&model, &topology)
        .iter()
        .filter(|point| point.node == 4 || point.node == 4 * 9)
        .map(|point| point.kind)
        .collect();
    assert_eq!(found, [SingularKind::StackEdgeEnd; 2], "ends of the stiffener's edge");
    let corner = singular_points(&model, &topology).into_iter().find(|point| point.node == 4 * 9 + 4);
    let corner = corner.expect("the stiffener's corner is flagged");
    assert_eq!(corner.kind, SingularKind::StackCorner, "{corner:?}");
    assert!((corner.thickness_m - 0.1).abs() < 1e-15, "thinner side {corner:?}");
}

#[test]
fn spots_merge_within_the_track_width_and_say_where_they_are() {
    let model = grid(40, 4, 0.25, |_, _| true);
    let mut recovered =
        recover(&model, &constant_strain(&model, [0.0; 6], &Rotation3::identity(), &Vector6::zeros()), 0.0);
    // Three bumps of curvature along the strip, two of them close together.
    let bump = |x: f64, at: f64, high: f64| high * (1.0 - ((x - at) / 0.5).powi(2)).max(0.0);
    for own in &mut recovered.zone_nodes {
        let x = model.nodes_m[own.node as usize][0];
        own.strain[3] = bump(x, 2.0, 1.0) + bump(x, 3.0, 0.9) + bump(x, 8.0, -0.5);
        own.second = own.strain;
    }
    let trace = |width_m| Trace {
        name: "lead".into(),
        layer: Some(LayerId(0)),
        width_m: Some(width_m),
        centre_line_m: vec![[0.0, 0.5], [10.0, 0.5]],
        triangles: (0..u32::try_from(model.triangles.len()).unwrap()).collect(),
        ranked: true,
        ..Trace::default()
    };
    let wide = spots(&model, &recovered, &[trace(1.6)], &SpotOptions::default());
    let strains: Vec<f64> = wide.iter().map(|spot| spot.strain).collect();
    assert_eq!(strains.len(), 2, "merged spots {strains:?}");
    let narrow = spots(&model, &recovered, &[trace(0.3)], &SpotOptions::default());
    assert!(narrow.len() >= 3, "spots of a narrow track {}", narrow.len());
    let top = &wide[0];
    assert!((top.place_m[0] - 2.0).abs() < 0.1, "{top:?}");
    assert!(
        (top.strain.abs() - top.along_track.unwrap().abs()).abs() < 1e-12,
        "bent along the track {top:?}"
    );
    assert!(top.uncertainty >= 0.01 * top.strain.abs() && !top.indicative, "{top:?}");
}

#[test]
fn threads_change_no_bit() {
    let model = grid(20, 10, 0.25, |_, _| true);
    let displacement = model
        .nodes_m
        .iter()
        .map(|p| {
            Vector6::new((3.0 * p[0]).sin(), (2.0 * p[1]).cos(), p[0] * p[1], p[0].cos(), p[1].sin(), 0.1)
        })
        .collect();
    let solution = Solution { displacement, ..Solution::default() };
    let run = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| recover(&model, &solution, 0.0))
    };
    let (one, four) = (run(1), run(4));
    assert!(one.zone_nodes == four.zone_nodes, "strains differ between thread counts");
    assert_eq!((one.error, one.energy), (four.error, four.energy), "errors differ between thread counts");
}
