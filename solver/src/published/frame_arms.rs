//! The beam model on problems with known answers: layered, tapered, paired and bent arms; and the shell beside it.

use super::bars::{Bar, Bars};
use super::grids::{Cut, Grid};
use super::rig::{Rig, TX, TY, W, count_of, mean, sheet};
use super::sections::flex;
use super::{Problem, Provenance, gate};
use crate::beam::frame::Link;
use crate::beam::section::{Across, Section, Stretch, twist_share, twisting_nm2};
use crate::element::beam::{BeamElement, SectionAt};
use crate::error::SolveError;
use nalgebra::{Matrix3, Vector3, Vector4};

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "beam-arm-composite",
        title: "Beam model: layered arm of 10 x 2 mm with a force of 1 mN at its tip",
        source: "transformed-section beam theory",
        provenance: Provenance::Recomputed,
        note: "As arm-composite; section by the program from the layers, 20 elements.",
        targets: &[
            gate("neutral height", "um", 33.883_147, 0.005),
            gate("bending stiffness", "N m2", 3.224_317_8e-7, 0.005),
            gate("mass per length", "kg/m", 0.000_462_06, 0.005),
            gate("tip deflection", "um", 1033.8104, 0.005),
            gate("root strain, copper lower face", "-", -0.000_275_504_7, 0.005),
            gate("root strain, copper upper face", "-", 0.000_282_752_9, 0.005),
            gate("root strain, top of the cover film", "-", 0.001_135_646_5, 0.005),
            gate("root strain, bottom of the base film", "-", -0.001_050_862_5, 0.005),
            gate("frequency 1", "Hz", 147.8225, 0.005),
        ],
        run: composite,
    },
    Problem {
        id: "beam-arm-pair",
        title: "Beam model: two parallel arms joined by a rigid body",
        source: "beam theory: 24 EI/L^3; 2 GK/L + 24 EI/L^3 (s/2)^2; 2 EI/L; 6 EI/L^3; with K = b t^3/3, and roll with \
                 held warping 2 GK/L / (1 - tanh x/x) + 24 EI/L^3 (s/2)^2",
        provenance: Provenance::Recomputed,
        note: "10 x 2 mm, 50 um, 4 GPa, 8 mm apart; nu 0.34, the last but one 0.",
        targets: &[
            gate("translation, turning held", "N/m", 2.0, 0.01),
            gate("roll", "N m/rad", 5.687_562e-5, 0.01),
            gate("pitch", "N m/rad", 1.666_666_7e-5, 0.01),
            gate("translation, free to pitch", "N/m", 0.5, 0.01),
            gate("roll, warping held, nu 0", "N m/rad", 6.83e-5, 0.01),
            gate("roll, warping held, nu 0.34", "N m/rad", 5.97e-5, 0.01),
        ],
        run: pair,
    },
    Problem {
        id: "shell-arm-pair",
        title: "Two parallel arms joined by a rigid body: the shell over the plain beam formulas",
        source: "ratio of a converged shell of the same kind to the beam formulas, by an independent computation; roll \
                 without contraction by the formula with held warping, as beam-arm-pair",
        provenance: Provenance::Recomputed,
        note: "nu 0.34: held contraction and curl at the roots, held warping in roll.",
        targets: &[
            gate("translation, turning held", "-", 1.0484, 0.01),
            gate("roll", "-", 1.0756, 0.01),
            gate("pitch", "-", 1.0192, 0.01),
            gate("translation, free to pitch", "-", 1.0264, 0.01),
            gate("roll, nu 0, over held warping", "-", 1.0, 0.01),
        ],
        run: shell_pair,
    },
    Problem {
        id: "beam-arm-taper",
        title: "Beam model: arm whose width falls linearly, w E I0/(P L^3) and w L^2 sqrt(m0/EI0)",
        source: "beam theory (for a point at the tip: 1/2 and 7.157)",
        provenance: Provenance::Recomputed,
        note: "60 elements.",
        targets: &super::arms::TAPERED,
        run: taper,
    },
    Problem {
        id: "beam-arm-l-shape",
        title: "Beam model: L-shaped arm out of plane",
        source: "beam theory: P (L1^3/3EI + L2^3/3EI + L2^2 L1/GK), K = b t^3/3",
        provenance: Provenance::Recomputed,
        note: "",
        targets: &[gate("tip deflection", "m", 0.007_024, 0.01)],
        run: l_shape,
    },
    Problem {
        id: "shell-arm-l-shape",
        title: "L-shaped arm out of plane: the shell over the beam formula",
        source: "ratio of a converged shell of the same kind to the beam formula, by an independent computation",
        provenance: Provenance::Recomputed,
        note: "The corner is a square of 2 x 2 mm.",
        targets: &[gate("tip deflection", "-", 0.9447, 0.01)],
        run: shell_l_shape,
    },
];

fn composite() -> Result<Vec<f64>, SolveError> {
    let broken =
        || SolveError::Model { what: "a section without stiffness".into(), remedy: "report this".into() };
    let width = 0.002;
    let mut plies = flex([0.0; 3], 0.0).plies;
    for (p, density) in plies.iter_mut().zip([1420.0, 8960.0, 1100.0, 1420.0]) {
        p.density_kg_m3 = density;
    }
    // About the bottom face: the coupling of stretch and bending is part of the test.
    let stretch =
        Stretch { across_m: [-0.5 * width, 0.5 * width], laminate: crate::laminate::Laminate::new(plies) };
    let stack = std::slice::from_ref(&stretch);
    let section = Section::new(stack, [1.0, 0.0], Across::Free, twisting_nm2(stack)).ok_or_else(broken)?;
    let at = SectionAt { place: 0.5, weight: 1.0, compliance: section.compliance, free: Vector4::zeros() };
    let rule = [
        SectionAt { place: 0.211_324_865_405_187_1, weight: 0.5, ..at },
        SectionAt { place: 0.788_675_134_594_812_9, weight: 0.5, ..at },
    ];
    let mut bars = Bars::cantilever(0.010, 20, |_| Bar::slender(1.0, 0.0));
    let triad = Matrix3::identity();
    let element = BeamElement::new(0.010 / 20.0, triad, &rule, &section.mass).ok_or_else(broken)?;
    for link in &mut bars.links {
        *link = Link { element: element.clone(), ..link.clone() };
    }
    // Downwards, so that the top face is stretched.
    bars.load(20, [0.0, 0.0, -1e-3, 0.0, 0.0, 0.0]);
    let down = -bars.small()?[20][2];
    // Moment at the root: the force times the length; positive about y bends the tip down.
    let strain = section.compliance * Vector4::new(0.0, 1e-3 * 0.010, 0.0, 0.0);
    let whole = section.strain_at(0, 0.0, &strain, 0.0);
    let face = |z: f64| whole[0] + z * whole[3];
    let first = bars.modes(1)?.first().map_or(0.0, |m| m.frequency_hz);
    Ok(vec![
        section.neutral_m() * 1e6,
        section.bending_nm2(),
        section.mass.mass,
        down * 1e6,
        face(25e-6),
        face(43e-6),
        face(70.5e-6),
        face(0.0),
        first,
    ])
}

const PAIR: [f64; 4] = [0.010, 0.002, 50e-6, 4e9];

/// Two arms and their rigid body at the last node; warping held at all ends, or free.
fn arms(nu: f64, warping_held: bool) -> Bars {
    let [length, width, t, e] = PAIR;
    let bar = Bar::rectangle([e, nu, 0.0], width, t, width * t.powi(3) / 3.0);
    let decay = (24.0 * (1.0 - nu)).sqrt() / width;
    let n = 20_u32;
    let mut bars = Bars::default();
    for y in [-0.004, 0.004] {
        let first = bars.nodes.len();
        for i in 0..n {
            let x = length * f64::from(i) / f64::from(n);
            bars.nodes.push(crate::beam::frame::FrameNode::free(Vector3::new(x, y, 0.0)));
        }
        bars.nodes[first].held = [true; 6];
    }
    bars.nodes.push(crate::beam::frame::FrameNode::free(Vector3::new(length, 0.0, 0.0)));
    let body = bars.last();
    for (arm, y) in [(0, -0.004), (1, 0.004)] {
        for i in 0..n as usize {
            let start = f64::from(u32::try_from(i).unwrap_or(0)) / f64::from(n);
            let section = |s: f64| {
                let place = (start + s / f64::from(n)) * length;
                let share = if warping_held { twist_share(place, length, decay, [true, true]) } else { 1.0 };
                Bar { gj: bar.gj / share.max(1e-9), ..bar }
            };
            let node = arm * n as usize + i;
            let last = i + 1 == n as usize;
            let (end, off) =
                if last { (body, Vector3::new(0.0, y, 0.0)) } else { (node + 1, Vector3::zeros()) };
            bars.arm_link([node, end], [Vector3::zeros(), off], Vector3::z(), &section);
        }
    }
    bars
}

/// Stiffness of the body in one component with others held.
fn stiffness_of(mut bars: Bars, component: usize, held: &[usize]) -> Result<f64, SolveError> {
    let body = bars.last();
    for &c in held {
        bars.nodes[body].held[c] = true;
    }
    let mut load = [0.0; 6];
    load[component] = 1e-6;
    bars.load(body, load);
    Ok(1e-6 / bars.small()?[body][component])
}

fn pair() -> Result<Vec<f64>, SolveError> {
    let plain = arms(0.34, false);
    Ok(vec![
        stiffness_of(plain.clone(), W, &[TX, TY, 5])?,
        stiffness_of(plain.clone(), TX, &[])?,
        stiffness_of(plain.clone(), TY, &[])?,
        stiffness_of(plain, W, &[TX])?,
        stiffness_of(arms(0.0, true), TX, &[])?,
        stiffness_of(arms(0.34, true), TX, &[])?,
    ])
}

/// The pair as a shell, over the beam formulas.
fn shell_pair() -> Result<Vec<f64>, SolveError> {
    let [length, width, t, e] = PAIR;
    let (ei, half) = (e * width * t.powi(3) / 12.0, 0.004);
    let twist = e / (2.0 * 1.34) * width * t.powi(3) / 3.0;
    let no_contraction = 6.83e-5;
    let arm = |y: f64| Grid::mapped([80, 16], Cut::Cross, |s, q| [length * s, y + width * (q - 0.5), 0.0]);
    let (left, right) = (arm(-half), arm(half));
    let offset = u32::try_from(left.nodes.len()).unwrap_or(u32::MAX);
    let nodes: Vec<[f64; 3]> = left.nodes.iter().chain(&right.nodes).copied().collect();
    let moved = right.triangles.iter().map(|t| t.map(|n| n + offset));
    let triangles: Vec<[u32; 3]> = left.triangles.iter().copied().chain(moved).collect();
    let both = |end: u32| -> Vec<u32> {
        left.first(end).into_iter().chain(right.first(end).into_iter().map(|n| n + offset)).collect()
    };
    let answer = |nu: f64, component: usize, held: &[usize]| {
        let mut rig = Rig::from_mesh(nodes.clone(), triangles.clone(), sheet(e, nu, t));
        rig.clamp(both(0));
        let tips = both(1);
        rig.model.freedoms.tie(&nodes, &tips, [length, 0.0, 0.0]);
        rig.hold([tips[0]], held);
        // Evenly over both tips: no moment about the body's middle.
        for &n in &tips {
            rig.force(n, component, 1e-6 / count_of(&tips));
        }
        Ok(1e-6 / mean(&rig.solve()?, &tips, component))
    };
    Ok(vec![
        answer(0.34, W, &[TX, TY])? / (24.0 * ei / length.powi(3)),
        answer(0.34, TX, &[])? / (2.0 * twist / length + 24.0 * ei / length.powi(3) * half * half),
        answer(0.34, TY, &[])? / (2.0 * ei / length),
        answer(0.34, W, &[TX])? / (6.0 * ei / length.powi(3)),
        answer(0.0, TX, &[])? / no_contraction,
    ])
}

fn taper() -> Result<Vec<f64>, SolveError> {
    let mut values = Vec::new();
    for ratio in [1.0, 0.75, 0.5, 0.25, 0.1] {
        let mut bars = Bars::cantilever(1.0, 60, |s| {
            let width = 1.0 + (ratio - 1.0) * s;
            Bar::slender(width, width)
        });
        bars.planar();
        let modes = bars.modes(2)?;
        bars.load(60, [0.0, 0.0, 1.0, 0.0, 0.0, 0.0]);
        values.push(bars.small()?[60][2]);
        values.extend(modes.iter().map(|m| m.eigenvalue.max(0.0).sqrt()));
    }
    Ok(values)
}

/// Lengths of both legs, width, thickness, modulus, force of the L-shaped arm.
const ELL: [f64; 6] = [0.010, 0.006, 0.002, 50e-6, 4e9, 1e-3];

fn l_shape() -> Result<Vec<f64>, SolveError> {
    let [first, second, width, t, e, force] = ELL;
    let leg = |i: u32| {
        Vector3::new(first * f64::from(i.min(10)) / 10.0, second * f64::from(i.saturating_sub(10)) / 6.0, 0.0)
    };
    let points: Vec<Vector3<f64>> = (0..=16).map(leg).collect();
    let bar = Bar::rectangle([e, 0.0, 0.0], width, t, width * t.powi(3) / 3.0);
    let mut bars = Bars::line(&points, Vector3::z(), |_| bar);
    bars.nodes[0].held = [true; 6];
    bars.load(16, [0.0, 0.0, force, 0.0, 0.0, 0.0]);
    Ok(vec![bars.small()?[16][2]])
}

fn shell_l_shape() -> Result<Vec<f64>, SolveError> {
    let [first, second, width, t, e, force] = ELL;
    // Squares of an eighth of the width over the L; the corner square belongs to both legs.
    let step = width / 16.0;
    let inside = |x: f64, y: f64| y < 0.5 * width || x > first - 0.5 * width;
    let columns = Grid::mapped([88, 56], Cut::Cross, |s, q| {
        [s * (first + 0.5 * width), (q - 8.0 / 56.0) * 56.0 * step, 0.0]
    });
    let kept: Vec<[u32; 3]> = columns
        .triangles
        .iter()
        .filter(|t| {
            let middle = |c: usize| t.iter().map(|&n| columns.nodes[n as usize][c]).sum::<f64>() / 3.0;
            inside(middle(0), middle(1))
        })
        .copied()
        .collect();
    let mut number = vec![u32::MAX; columns.nodes.len()];
    let mut nodes = Vec::new();
    for &n in kept.iter().flatten() {
        if number[n as usize] == u32::MAX {
            number[n as usize] = u32::try_from(nodes.len()).unwrap_or(u32::MAX);
            nodes.push(columns.nodes[n as usize]);
        }
    }
    let triangles = kept.iter().map(|t| t.map(|n| number[n as usize])).collect();
    let at = |test: &dyn Fn(&[f64; 3]) -> bool| -> Vec<u32> {
        (0_u32..).zip(&nodes).filter(|(_, p)| test(p)).map(|(n, _)| n).collect()
    };
    let root = at(&|p| p[0] < 1e-9);
    let end = at(&|p| (p[1] - second).abs() < 1e-9);
    let mut rig = Rig::from_mesh(nodes, triangles, sheet(e, 0.0, t));
    rig.clamp(root);
    rig.line(&end, W, force);
    Ok(vec![mean(&rig.solve()?, &end, W) / 0.007_024])
}
