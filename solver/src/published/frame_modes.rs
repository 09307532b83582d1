//! The beam model on problems with known answers: natural frequencies, forced motion.

use super::bars::{Bar, Bars};
use super::frames::FULL;
use super::{Problem, Provenance, gate};
use crate::beam::frame::rigid_mass;
use crate::beam::modes::{BeamMode, modes};
use crate::beam::motion::Motion;
use crate::element::beam::SectionMass;
use crate::error::SolveError;
use nalgebra::{Matrix3, Vector3, Vector6};

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "beam-roots",
        title: "Beam model: frequencies of slender beams, b L with w = b^2 sqrt(EI/m)",
        source: "e.g. R. D. Blevins, Formulas for Natural Frequency and Mode Shape (1979); roots in 25 digits",
        provenance: Provenance::Recomputed,
        note: "40 elements.",
        targets: &[
            gate("clamped-free 1", "-", 1.875_104_07, 0.002),
            gate("clamped-free 2", "-", 4.694_091_13, 0.002),
            gate("clamped-free 3", "-", 7.854_757_44, 0.002),
            gate("clamped-free 4", "-", 10.995_540_7, 0.002),
            gate("clamped-clamped 1", "-", 4.730_040_74, 0.002),
            gate("clamped-clamped 2", "-", 7.853_204_62, 0.002),
            gate("clamped-clamped 3", "-", 10.995_607_8, 0.002),
            gate("clamped-clamped 4", "-", 14.137_165_5, 0.002),
            gate("clamped-pinned 1", "-", 3.926_602_31, 0.002),
            gate("clamped-pinned 2", "-", 7.068_582_75, 0.002),
            gate("clamped-pinned 3", "-", 10.210_176_1, 0.002),
            gate("clamped-pinned 4", "-", 13.351_768_8, 0.002),
            gate("clamped-guided 1", "-", 2.365_020_37, 0.002),
            gate("clamped-guided 2", "-", 5.497_803_92, 0.002),
            gate("clamped-guided 3", "-", 8.639_379_83, 0.002),
            gate("clamped-guided 4", "-", 11.780_972_5, 0.002),
        ],
        run: roots,
    },
    Problem {
        id: "beam-tip-mass",
        title: "Beam model: cantilever with a point mass at its end, b L",
        source: "P. A. A. Laura, J. L. Pombo, E. A. Susemihl, J. Sound Vib. 37 (1974) 161-168 (problem)",
        provenance: Provenance::Recomputed,
        note: "Roots of 1 + cos b cosh b + mu b (cos b sinh b - sin b cosh b).",
        targets: &[
            gate("1, no mass", "-", 1.875_104_1, 0.002),
            gate("2", "-", 4.694_091_1, 0.002),
            gate("3", "-", 7.854_757_4, 0.002),
            gate("1, mass ratio 0.1", "-", 1.722_741_5, 0.002),
            gate("2", "-", 4.399_522_8, 0.002),
            gate("3", "-", 7.451_056_7, 0.002),
            gate("1, mass ratio 0.25", "-", 1.573_751_3, 0.002),
            gate("2", "-", 4.225_112_9, 0.002),
            gate("3", "-", 7.281_236_4, 0.002),
            gate("1, mass ratio 0.5", "-", 1.419_964_4, 0.002),
            gate("2", "-", 4.111_133_4, 0.002),
            gate("3", "-", 7.190_335_2, 0.002),
            gate("1, mass ratio 1", "-", 1.247_917_4, 0.002),
            gate("2", "-", 4.031_139_4, 0.002),
            gate("3", "-", 7.134_132_2, 0.002),
            gate("1, mass ratio 2", "-", 1.076_195_7, 0.002),
            gate("2", "-", 3.982_573_3, 0.002),
            gate("3", "-", 7.102_650_2, 0.002),
            gate("1, mass ratio 5", "-", 0.870_021_46, 0.002),
            gate("2", "-", 3.949_980_5, 0.002),
            gate("3", "-", 7.082_537_6, 0.002),
            gate("1, mass ratio 10", "-", 0.735_781_92, 0.002),
            gate("2", "-", 3.938_465_8, 0.002),
            gate("3", "-", 7.075_616_4, 0.002),
        ],
        run: tip_mass,
    },
    Problem {
        id: "beam-prestressed",
        title: "Beam model: frequencies under an axial force, w L^2 sqrt(m/EI)",
        source: "exact characteristic equations; A. Bokaian, J. Sound Vib. 142 (1990) 481-498 (problem)",
        provenance: Provenance::Recomputed,
        note: "Modes about the equilibrium under the force; p = T L^2/EI.",
        targets: &[
            gate("clamped-clamped 1, p -1", "-", 22.096_464, 0.005),
            gate("2", "-", 61.298_262, 0.005),
            gate("clamped-clamped 1, p 5", "-", 23.704_29, 0.005),
            gate("2", "-", 63.510_163, 0.005),
            gate("clamped-clamped 1, p 10", "-", 24.957_437, 0.005),
            gate("2", "-", 65.292_139, 0.005),
            gate("clamped-clamped 1, p 50", "-", 33.176_262, 0.005),
            gate("2", "-", 77.999_675, 0.005),
            gate("clamped-free 1, p -1", "-", 2.753_624_9, 0.005),
            gate("2", "-", 21.284_647, 0.005),
            gate("clamped-free 1, p 5", "-", 5.768_199, 0.005),
            gate("2", "-", 25.405_91, 0.005),
            gate("clamped-free 1, p 50", "-", 13.115_014, 0.005),
            gate("2", "-", 43.821_398, 0.005),
        ],
        run: prestressed,
    },
    Problem {
        id: "beam-l-frame",
        title: "Beam model: right-angle frame, two lowest frequencies",
        source: "J. H. Argyris et al. (1979/1991), as quoted in an example of an open library",
        provenance: Provenance::Read,
        note: "An Euler-Bernoulli space frame gives 11.2825 and 30.711 Hz (recomputed).",
        targets: &[gate("frequency 1", "Hz", 11.2732, 0.01), gate("frequency 2", "Hz", 30.5269, 0.01)],
        run: l_frame,
    },
    Problem {
        id: "beam-stepped",
        title: "Beam model: cantilever twice as thick near its root, w L^2 sqrt(m2/EI2), and tip deflection",
        source: "beam theory: (1 - (1-a)^3)/24 + (1-a)^3/3 for the deflection",
        provenance: Provenance::Recomputed,
        note: "a: share of the length that is thick.",
        targets: &[
            gate("1, a 0.25", "-", 5.569_253, 0.005),
            gate("2", "-", 31.250_03, 0.005),
            gate("3", "-", 75.977_74, 0.005),
            gate("w EI2/(P L^3)", "-", 0.164_713_542, 0.005),
            gate("1, a 0.5", "-", 8.362_29, 0.005),
            gate("2", "-", 29.735_89, 0.005),
            gate("3", "-", 88.191_04, 0.005),
            gate("w EI2/(P L^3)", "-", 0.078_125, 0.005),
            gate("1, a 0.75", "-", 8.663_74, 0.005),
            gate("2", "-", 43.730_34, 0.005),
            gate("3", "-", 96.272_42, 0.005),
            gate("w EI2/(P L^3)", "-", 0.046_223_958, 0.005),
        ],
        run: stepped,
    },
    Problem {
        id: "beam-forced",
        title: "Beam model: tip of a cantilever under a harmonic tip force, w EI/(F L^3), without damping",
        source: "R. E. D. Bishop, D. C. Johnson, The Mechanics of Vibration (1960)",
        provenance: Provenance::Recomputed,
        note: "(sin b cosh b - cos b sinh b)/(b^3 (1 + cos b cosh b)), b^2 = 3.516015 f/f1.",
        targets: &[
            gate("f/f1 0.2", "-", 0.346_823_66, 0.01),
            gate("f/f1 0.5", "-", 0.441_241_28, 0.01),
            gate("f/f1 0.9", "-", 1.712_908_8, 0.01),
            gate("f/f1 1.1", "-", 1.530_738_1, 0.01),
            gate("f/f1 2", "-", 0.097_134_474, 0.01),
            gate("f/f1 5", "-", 0.010_818_045, 0.01),
        ],
        run: forced,
    },
    Problem {
        id: "beam-flap",
        title: "Beam model: a stiff flap on one arm and on two, swing and second bend, roll, sideways",
        source: "dynamic stiffness of a uniform cantilever that carries a rigid plate: exact roots",
        provenance: Provenance::Recomputed,
        note: "Arm 12 mm, EI 0.22256 uN m2, 0.321 g/m; flap 37 mg, 13 x 13 mm; roll without held warping and without the \
               arm's own inertia.",
        targets: &[
            gate("one arm, swing", "Hz", 8.343_128_460_3, 1e-5),
            gate("one arm, second bend", "Hz", 105.603_488_833_8, 1e-5),
            gate("two arms, swing", "Hz", 11.766_334_957_6, 1e-5),
            gate("two arms, second bend", "Hz", 137.261_017_172_7, 1e-5),
            gate("one arm, roll", "Hz", 36.683_118_476_1, 1e-5),
            gate("one arm, sideways", "Hz", 357.199_739_0, 1e-5),
            gate("one arm, sideways, second", "Hz", 3_571.353_082, 1e-5),
        ],
        run: flap,
    },
];

fn slender(pieces: u32) -> Bars {
    let mut bars = Bars::cantilever(1.0, pieces, |_| Bar::slender(1.0, 1.0));
    bars.planar();
    bars
}

fn root(mode: &BeamMode) -> f64 {
    mode.eigenvalue.max(0.0).powf(0.25)
}

fn roots() -> Result<Vec<f64>, SolveError> {
    let mut values = Vec::new();
    for held in [&[][..], &[0, 2, 4], &[2], &[4]] {
        let mut bars = slender(40);
        for &c in held {
            bars.nodes[40].held[c] = true;
        }
        values.extend(bars.modes(4)?.iter().map(root));
    }
    Ok(values)
}

fn tip_mass() -> Result<Vec<f64>, SolveError> {
    let mut values = Vec::new();
    for ratio in [0.0, 0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0] {
        let mut bars = slender(40);
        bars.point_mass(40, ratio);
        values.extend(bars.modes(3)?.iter().map(root));
    }
    Ok(values)
}

fn prestressed() -> Result<Vec<f64>, SolveError> {
    let mut values = Vec::new();
    for (both, force) in
        [(true, -1.0), (true, 5.0), (true, 10.0), (true, 50.0), (false, -1.0), (false, 5.0), (false, 50.0)]
    {
        let mut bars = slender(40);
        if both {
            (bars.nodes[40].held[2], bars.nodes[40].held[4]) = (true, true);
        }
        bars.load(40, [force, 0.0, 0.0, 0.0, 0.0, 0.0]);
        let frame = bars.frame()?;
        let mut motion = Motion::new(&frame, &bars.rides, None);
        motion.to(FULL)?;
        values.extend(modes(&frame, &motion, 2)?.iter().map(|m| m.eigenvalue.max(0.0).sqrt()));
    }
    Ok(values)
}

fn l_frame() -> Result<Vec<f64>, SolveError> {
    let (width, thick): (f64, f64) = (30.0, 3.0);
    let j = width * thick.powi(3) / 3.0 * (1.0 - 0.63 * thick / width);
    let bar = Bar::rectangle([71_240.0, 0.31, 5e-9], width, thick, j);
    let step = 12.0;
    let leg = |i: u32| Vector3::new(f64::from(i.min(20)) * step, f64::from(i.saturating_sub(20)) * step, 0.0);
    let points: Vec<Vector3<f64>> = (0..=40).map(leg).collect();
    let mut bars = Bars::line(&points, Vector3::z(), |_| bar);
    bars.nodes[0].held = [true; 6];
    Ok(bars.modes(2)?.iter().map(|m| m.frequency_hz).collect())
}

fn stepped() -> Result<Vec<f64>, SolveError> {
    let mut values = Vec::new();
    for a in [0.25, 0.5, 0.75] {
        let section = |s: f64| if s < a { Bar::slender(8.0, 2.0) } else { Bar::slender(1.0, 1.0) };
        let mut bars = Bars::cantilever(1.0, 40, section);
        bars.planar();
        values.extend(bars.modes(3)?.iter().map(|m| m.eigenvalue.max(0.0).sqrt()));
        bars.load(40, [0.0, 0.0, 1.0, 0.0, 0.0, 0.0]);
        values.push(bars.small()?[40][2]);
    }
    Ok(values)
}

fn flap() -> Result<Vec<f64>, SolveError> {
    const LENGTH_M: f64 = 0.012;
    let arm = |arms: f64| Bar {
        ea: 1831.5 * arms,
        ei_y: 2.225_642_803_286e-7 * arms,
        ei_z: 4.376_25e-4 * arms,
        gj: 3.321_854_930_278e-7 * arms,
        mass: SectionMass { mass: 3.2127e-4 * arms, first: [0.0; 2], second: [0.0; 3] },
    };
    let (mass_kg, side_m) = (3.7e-5, 0.013);
    let turn = mass_kg * side_m * side_m / 12.0;
    let inertia = Matrix3::from_diagonal(&Vector3::new(turn, turn, 2.0 * turn));
    let bars = |arms: f64, held: [usize; 3]| {
        let mut own = Bars::cantilever(LENGTH_M, 40, |_| arm(arms));
        own.nodes[40].inertia += rigid_mass(mass_kg, &Vector3::new(0.5 * side_m, 0.0, 0.0), &inertia);
        for node in &mut own.nodes {
            held.iter().for_each(|&c| node.held[c] = true);
        }
        own
    };
    let hertz = |own: &Bars, count: usize| -> Result<Vec<f64>, SolveError> {
        Ok(own.modes(count)?.iter().map(|m| m.frequency_hz).collect())
    };
    let mut values = hertz(&bars(1.0, [1, 3, 5]), 2)?;
    values.extend(hertz(&bars(2.0, [1, 3, 5]), 2)?);
    let mut twisted = bars(1.0, [1, 2, 5]);
    twisted.nodes.iter_mut().for_each(|node| (node.held[0], node.held[4]) = (true, true));
    values.extend(hertz(&twisted, 1)?);
    let mut sideways = bars(1.0, [2, 3, 4]);
    sideways.nodes.iter_mut().for_each(|node| node.held[0] = true);
    values.extend(hertz(&sideways, 2)?);
    Ok(values)
}

fn forced() -> Result<Vec<f64>, SolveError> {
    let bars = slender(40);
    let frame = bars.frame()?;
    let motion = Motion::new(&frame, &[], None);
    let first = modes(&frame, &motion, 1)?.first().map_or(0.0, |m| m.eigenvalue);
    let stiffness = motion.tangent()?;
    let no_mass = || SolveError::Model { what: "no mass".to_owned(), remedy: "report this".to_owned() };
    let mut mass = frame.mass(&motion.pose).ok_or_else(no_mass)?;
    frame.tree.hold(&mut mass, &frame.held());
    let answer = |ratio: f64| {
        let mut k = stiffness.clone();
        for (k, m) in k.diagonal.iter_mut().zip(&mass.diagonal) {
            *k -= m * (first * ratio * ratio);
        }
        for (k, m) in k.to_parent.iter_mut().zip(&mass.to_parent) {
            *k -= m * (first * ratio * ratio);
        }
        let factor = frame.tree.factor(&k).map_err(|_| no_mass())?;
        let mut x = vec![Vector6::zeros(); frame.nodes.len()];
        x[40][2] = 1.0;
        frame.tree.solve(&factor, &mut x);
        Ok(x[40][2].abs())
    };
    [0.2, 0.5, 0.9, 1.1, 2.0, 5.0].into_iter().map(answer).collect()
}
