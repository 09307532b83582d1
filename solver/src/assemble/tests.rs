//! Public matrices: symmetric, consistent with the solver, and with the right mass.

use super::*;
use crate::freedoms::Freedoms;
use crate::laminate::{Laminate, Ply, isotropic_q};
use crate::model::LoadCase;
use crate::statics::Prepared;
use copperbend_mesh::board::LayerId;
use nalgebra::{DMatrix, DVector, Vector3, Vector6};

/// A tilted strip of two laminates, 1.5 mm2 each, clamped at one end and moved at one node.
fn tilted() -> (Model, LoadCase) {
    let ply = |z0_m: f64, z1_m: f64, e_pa: f64, density_kg_m3: f64| Ply {
        layer: LayerId(0),
        z0_m,
        z1_m,
        q_pa: isotropic_q(e_pa, 0.3),
        expansion_per_k: Vector3::new(20e-6, 20e-6, 0.0),
        density_kg_m3,
        heating_k: 30.0,
        sliding: false,
    };
    let film = Laminate::new(vec![ply(0.0, 50e-6, 4e9, 1420.0)]);
    let coated = Laminate::new(vec![ply(0.0, 50e-6, 4e9, 1420.0), ply(50e-6, 68e-6, 117e9, 8940.0)]);
    let mut model = Model { laminates: vec![film, coated], ..Model::default() };
    for i in 0..=6 {
        for j in 0..=2 {
            let (x, y) = (0.5e-3 * f64::from(i), 0.5e-3 * f64::from(j));
            model.nodes_m.push([0.8 * x, y, 0.6 * x]);
        }
    }
    for i in 0..6u32 {
        for j in 0..2u32 {
            let a = 3 * i + j;
            model.triangles.extend([[a, a + 3, a + 4], [a, a + 4, a + 1]]);
            model.laminate_of.extend([u32::from(i > 2); 2]);
        }
    }
    model.freedoms = Freedoms::free(21);
    for node in 0..3 {
        model.freedoms.clamp(node);
    }
    model.freedoms.hold(9, 1, 3e-6);
    let mut nodal = vec![Vector6::zeros(); 21];
    nodal[19] = Vector6::new(1e-3, -2e-3, 3e-3, 1e-6, 2e-6, -1e-6);
    (model, LoadCase { nodal, thermal_factor: 0.5, prescribed_factor: 2.0 })
}

#[test]
fn stiffness_is_symmetric_and_solves_to_the_same_displacements() {
    let (model, case) = tilted();
    let k = DMatrix::from(&stiffness(&model).unwrap());
    assert!(k == k.transpose(), "symmetric to the last bit");
    let f = DVector::from(load_vector(&model, &case).unwrap());
    let x = k.clone().lu().solve(&f).unwrap();
    let solution = Prepared::new(&model).unwrap().solve(&[case]).unwrap().remove(0);
    let names = unknowns(&model).unwrap();
    assert_eq!(names.len(), 18 * 6 - 1, "three nodes clamped, one component held");
    let scale = x.amax();
    for (unknown, value) in names.iter().zip(x.iter()) {
        let moved = solution.displacement[unknown.node as usize][usize::from(unknown.component)];
        assert!((moved - value).abs() < 1e-8 * scale, "{unknown:?}: {moved} against {value}");
    }
}

#[test]
fn mass_of_a_free_translation_is_the_weight_in_rigid_pieces_too() {
    let (mut model, _) = tilted();
    model.freedoms = Freedoms::free(21);
    for node in 0..3 {
        model.freedoms.hold(node, 3, 0.0);
        model.freedoms.hold(node, 4, 0.0);
        model.freedoms.hold(node, 5, 0.0);
    }
    let nodes = model.nodes_m.clone();
    model.freedoms.tie(&nodes, &[15, 16, 17, 18, 19, 20], [0.0; 3]);
    model.node_mass = vec![(4, Matrix6::identity() * 1e-9)];
    // Holding one translation each keeps the piece held without touching x.
    model.freedoms.hold(0, 1, 0.0);
    model.freedoms.hold(0, 2, 0.0);
    model.freedoms.hold(0, 0, 0.0);
    let m = DMatrix::from(&mass(&model).unwrap());
    assert!((&m - m.transpose()).amax() <= 1e-18 * m.amax(), "symmetric");
    let names = unknowns(&model).unwrap();
    let shift =
        DVector::from_iterator(names.len(), names.iter().map(|u| if u.component == 1 { 1.0 } else { 0.0 }));
    // Node 0 is held: its share of the film is missing, and found by the mass of its neighbours' row sums.
    let film = 1.5e-6 * 50e-6 * 1420.0;
    let coated = 1.5e-6 * (50e-6 * 1420.0 + 18e-6 * 8940.0);
    let moved = shift.dot(&(&m * &shift));
    let total = film + coated + 1e-9;
    // Corner 0 belongs to two film triangles of 0.125 mm2: less at most their thirds, doubled.
    let corner = 2.0 * 0.125e-6 * 50e-6 * 1420.0;
    assert!(moved < total && moved > total - corner, "mass {moved:e} of {total:e}");
    let heavy =
        (0..names.len()).filter(|&i| names[i].node == 15 && names[i].component == 1).map(|i| m[(i, i)]);
    let own: f64 = heavy.sum();
    assert!(own > coated / 3.0, "the rigid piece carries its triangles' mass: {own:e}");
}
