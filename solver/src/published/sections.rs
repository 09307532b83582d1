//! Stacks by formula: stiffness, thermal resultants, curvature of bimetal and film.

use super::rig::{equal_plies, ply};
use super::{Problem, Provenance, gate, show};
use crate::error::SolveError;
use crate::laminate::{Laminate, Ply, isotropic_q, rotated_expansion};
use nalgebra::{Matrix3, Vector3, Vector6};

/// Graphite and epoxy of a textbook: E1, E2, nu12, G12.
const GRAPHITE: [f64; 4] = [181e9, 10.3e9, 0.28, 7.17e9];

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "abd-0-30-m45",
        title: "A, B, D and strains of a three-ply laminate at 0, 30 and -45 degrees",
        source: "A. K. Kaw, Mechanics of Composite Materials, 2nd ed. (2006), Examples 4.2 and 4.3",
        provenance: Provenance::Recomputed,
        note: "Plies of 5 mm, z upward; strains under 1000 N/m along x and y.",
        targets: &[
            gate("A11", "N/m", 1_739_241_000.0, 1e-5),
            gate("A12", "N/m", 388_386_400.0, 1e-5),
            gate("A16", "N/m", 56_633_730.0, 1e-5),
            gate("A22", "N/m", 453_253_500.0, 1e-5),
            gate("A26", "N/m", -114_063_600.0, 1e-5),
            gate("A66", "N/m", 452_482_500.0, 1e-5),
            gate("B11", "N", -3_128_833.805_7, 1e-5),
            gate("B12", "N", 985_521.554_285, 1e-5),
            gate("B16", "N", -1_071_656.125_716, 1e-5),
            gate("B22", "N", 1_157_790.697_148, 1e-5),
            gate("B26", "N", -1_071_656.125_716, 1e-5),
            gate("B66", "N", 985_521.554_285, 1e-5),
            gate("D11", "N m", 33_432.034_148, 1e-5),
            gate("D12", "N m", 6_460.977_238, 1e-5),
            gate("D16", "N m", -5_240.293_689, 1e-5),
            gate("D22", "N m", 9_319.771_319, 1e-5),
            gate("D26", "N m", -5_595.913_148, 1e-5),
            gate("D66", "N m", 7_662.779_738, 1e-5),
            gate("strain x", "-", 3.122_948e-7, 1e-5),
            gate("strain y", "-", 3.491_705e-6, 1e-5),
            gate("shear strain", "-", -7.598_445e-7, 1e-5),
            gate("curvature x", "1/m", 2.971_437e-5, 1e-5),
            gate("curvature y", "1/m", -0.000_328_502_4, 1e-5),
            gate("twist", "1/m", 0.000_410_146_7, 1e-5),
        ],
        run: three_plies,
    },
    Problem {
        id: "thermal-0-90",
        title: "Warping of a two-ply laminate at 0 and 90 degrees cooled by 75 K",
        source: "A. K. Kaw, Mechanics of Composite Materials, 2nd ed. (2006), Example 4.5",
        provenance: Provenance::Recomputed,
        note: "Small displacements: a saddle. Both directions are compared.",
        targets: &[
            gate("strain x", "-", -0.000_390_715_2, 1e-4),
            gate("strain y", "-", -0.000_390_715_2, 1e-4),
            gate("curvature x", "1/m", -0.127_647_6, 1e-4),
            gate("curvature y", "1/m", 0.127_647_6, 1e-4),
            gate("thermal force", "N/m", 113_123.8, 1e-4),
            gate("thermal moment", "N", 153.7776, 1e-4),
        ],
        run: cross_ply_cooled,
    },
    Problem {
        id: "flex-stack",
        title: "Flexible-circuit stack: neutral height, bending stiffness, thermal bow",
        source: "transformed section and classical lamination theory",
        provenance: Provenance::Recomputed,
        note: "Polyimide 25, copper 18, adhesive 15, polyimide 12.5 um. Values illustrate, no product is meant.",
        targets: &[
            gate("neutral height above the bottom, no contraction", "um", 33.883_147, 1e-4),
            gate("bending stiffness per width, no contraction", "N m", 0.000_161_215_89, 1e-4),
            gate("bending stiffness per width, free strip", "N m", 0.000_161_216_61, 1e-4),
            gate("bending stiffness per width, plane strain", "N m", 0.000_182_347_41, 1e-4),
            gate("bow at 100 K", "1/m", 13.669_95, 1e-4),
            gate("strain at mid-height", "-", 0.001_801_557, 1e-4),
        ],
        run: flex_stack,
    },
    Problem {
        id: "timoshenko-bimetal",
        title: "Curvature of bimetal strips",
        source: "S. Timoshenko, J. Opt. Soc. Am. 11 (1925) 233-255",
        provenance: Provenance::Recomputed,
        note: "Equal contraction in both layers, so that strip and free plate agree.",
        targets: &[
            gate("copper 18 um on polyimide 25 um", "1/m", 5.798_136, 0.005),
            gate("copper 35 um on polyimide 50 um", "1/m", 13.101_738, 0.005),
            gate("two equal layers of 0.5 mm", "1/m", 1.5, 0.005),
        ],
        run: bimetal,
    },
    Problem {
        id: "stoney",
        title: "Thin film on a thick plate",
        source: "G. G. Stoney, Proc. R. Soc. A 82 (1909) 172-175; lamination theory",
        provenance: Provenance::Recomputed,
        note: "The first figure is Stoney's thin-film limit, shown only: the stack must match the second.",
        targets: &[
            show("curvature, thin-film limit", "1/m", 0.018_019_25, 0.005),
            gate("curvature, lamination theory", "1/m", 0.017_947_17, 0.002),
        ],
        run: stoney,
    },
];

fn upper(m: &Matrix3<f64>) -> [f64; 6] {
    [m[(0, 0)], m[(0, 1)], m[(0, 2)], m[(1, 1)], m[(1, 2)], m[(2, 2)]]
}

fn no_stiffness() -> SolveError {
    SolveError::Model {
        what: "a stack has no stiffness".to_owned(),
        remedy: "give every ply a modulus".to_owned(),
    }
}

fn three_plies() -> Result<Vec<f64>, SolveError> {
    let l = equal_plies(0.015, GRAPHITE, &[0.0, 30.0, -45.0]);
    let strain = l.compliance().ok_or_else(no_stiffness)? * Vector6::new(1000.0, 1000.0, 0.0, 0.0, 0.0, 0.0);
    let matrices = [&l.a, &l.b, &l.d].into_iter().flat_map(upper);
    Ok(matrices.chain(strain.iter().copied()).collect())
}

fn cross_ply_cooled() -> Result<Vec<f64>, SolveError> {
    let mut plies = equal_plies(0.010, GRAPHITE, &[0.0, 90.0]).plies;
    for (p, degrees) in plies.iter_mut().zip([0.0f64, 90.0]) {
        p.expansion_per_k = rotated_expansion(0.02e-6, 22.5e-6, degrees.to_radians());
        p.heating_k = -75.0;
    }
    let l = Laminate::new(plies);
    let e = l.free_strain().ok_or_else(no_stiffness)?;
    Ok(vec![e[0], e[1], e[3], e[4], l.thermal_n[0].abs(), l.thermal_m[0].abs()])
}

/// A ply with expansion and heating.
fn warm(z: [f64; 2], e: f64, nu: f64, alpha: f64, heating_k: f64) -> Ply {
    let expansion_per_k = Vector3::new(alpha, alpha, 0.0);
    Ply { expansion_per_k, heating_k, ..ply(z[0], z[1], isotropic_q(e, nu)) }
}

/// Polyimide, copper, adhesive, polyimide, from the bottom; heights from the bottom face.
pub(super) fn flex(contraction: [f64; 3], heating_k: f64) -> Laminate {
    let [pi, cu, glue] = contraction;
    Laminate::new(vec![
        warm([0.0, 25e-6], 4e9, pi, 20e-6, heating_k),
        warm([25e-6, 43e-6], 117e9, cu, 17e-6, heating_k),
        warm([43e-6, 58e-6], 1.5e9, glue, 80e-6, heating_k),
        warm([58e-6, 70.5e-6], 4e9, pi, 20e-6, heating_k),
    ])
}

fn flex_stack() -> Result<Vec<f64>, SolveError> {
    let beam = flex([0.0; 3], 100.0);
    let neutral = beam.b[(0, 0)] / beam.a[(0, 0)];
    let beam_stiffness = beam.d[(0, 0)] - beam.b[(0, 0)] * neutral;
    let plate = flex([0.34, 0.34, 0.35], 100.0).shifted(35.25e-6);
    let free_width = 1.0 / plate.compliance().ok_or_else(no_stiffness)?[(3, 3)];
    let plane_strain = plate.d[(0, 0)] - plate.b[(0, 0)] * plate.b[(0, 0)] / plate.a[(0, 0)];
    let e = plate.free_strain().ok_or_else(no_stiffness)?;
    Ok(vec![neutral * 1e6, beam_stiffness, free_width, plane_strain, e[3], e[0]])
}

fn bimetal() -> Result<Vec<f64>, SolveError> {
    let strips = [
        [117e9, 18e-6, 17e-6, 4e9, 25e-6, 20e-6],
        [117e9, 35e-6, 17e-6, 4e9, 50e-6, 30e-6],
        [1e9, 500e-6, 0.0, 1e9, 500e-6, 10e-6],
    ];
    let curvature = |[e1, t1, a1, e2, t2, a2]: [f64; 6]| {
        let l = Laminate::new(vec![
            warm([0.0, t1], e1, 0.34, a1, 100.0),
            warm([t1, t1 + t2], e2, 0.34, a2, 100.0),
        ]);
        Ok(l.free_strain().ok_or_else(no_stiffness)?[3])
    };
    strips.into_iter().map(curvature).collect()
}

fn stoney() -> Result<Vec<f64>, SolveError> {
    // The film wants to be shorter by 1e-3: it pulls its own side hollow.
    let plies =
        vec![warm([0.0, 500e-6], 170e9, 0.28, 0.0, 1.0), warm([500e-6, 501e-6], 117e9, 0.34, -1e-3, 1.0)];
    let exact = Laminate::new(plies).free_strain().ok_or_else(no_stiffness)?[3].abs();
    Ok(vec![exact, exact])
}
