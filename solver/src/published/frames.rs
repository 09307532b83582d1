//! The beam model on problems with known answers: large motion, buckling.

use super::bars::{Bar, Bars};
use super::strips;
use super::{Problem, Provenance, gate};
use crate::beam::frame::{Pose, Share};
use crate::beam::motion::Motion;
use crate::error::SolveError;
use nalgebra::Vector3;

/// All riding loads.
pub(super) const FULL: Share = Share { dead: 1.0, heating: 0.0, drive: 0.0 };

pub(super) const PROBLEMS: &[Problem] = &[
    Problem {
        id: "beam-elastica-tip-force",
        title: "Beam model: cantilever under a dead end force, large deflection",
        run: tip_force,
        note: "Inextensible target; 60 elements.",
        ..strips::PROBLEMS[0]
    },
    Problem {
        id: "beam-elastica-end-moment",
        title: "Beam model: cantilever rolled up by an end moment",
        run: end_moment,
        note: "60 elements.",
        ..strips::PROBLEMS[1]
    },
    Problem {
        id: "beam-elastica-distributed",
        title: "Beam model: cantilever under a dead load along its length",
        run: weight,
        note: "60 elements.",
        ..strips::PROBLEMS[2]
    },
    Problem {
        id: "beam-cantilever-shear",
        title: "Beam model: cantilever strip with an end shear force",
        run: shear,
        ..strips::PROBLEMS[3]
    },
    Problem {
        id: "beam-bend-45",
        title: "Beam model: 45 degree bend, dead force normal to its plane",
        source: "K.-J. Bathe, S. Bolourchi, Int. J. Numer. Meth. Engng 14 (1979) 961-986; J. C. Simo, L. Vu-Quoc, \
                 Comput. Methods Appl. Mech. Engrg. 58 (1986) 79-116",
        provenance: Provenance::Recomputed,
        note: "Targets by shooting a geometrically exact rod with shear, torsion constant of the square 0.140577, then \
               1/6 as several authors took it. Published at 600 (from memory): 15.9, 47.2, 53.4. 32 elements.",
        targets: &[
            gate("tip x at 300", "length", 22.1125, 0.01),
            gate("tip y at 300", "length", 58.5357, 0.01),
            gate("tip z at 300", "length", 40.4808, 0.01),
            gate("tip x at 450", "length", 18.3692, 0.01),
            gate("tip y at 450", "length", 51.9694, 0.01),
            gate("tip z at 450", "length", 48.7053, 0.01),
            gate("tip x at 600", "length", 15.5577, 0.01),
            gate("tip y at 600", "length", 46.8916, 0.01),
            gate("tip z at 600", "length", 53.608, 0.01),
            gate("tip x at 300, J = 1/6", "length", 22.2447, 0.01),
            gate("tip y at 300, J = 1/6", "length", 58.7789, 0.01),
            gate("tip z at 300, J = 1/6", "length", 40.1924, 0.01),
            gate("tip x at 450, J = 1/6", "length", 18.5081, 0.01),
            gate("tip y at 450, J = 1/6", "length", 52.2383, 0.01),
            gate("tip z at 450, J = 1/6", "length", 48.5035, 0.01),
            gate("tip x at 600, J = 1/6", "length", 15.6847, 0.01),
            gate("tip y at 600, J = 1/6", "length", 47.1501, 0.01),
            gate("tip z at 600, J = 1/6", "length", 53.4755, 0.01),
        ],
        run: bend_45,
    },
    Problem {
        id: "beam-lateral-buckling",
        title: "Beam model: narrow cantilever that kicks out sideways",
        source: "S. Timoshenko, J. M. Gere, Theory of Elastic Stability: P = 4.0126 sqrt(EI GJ) / L^2",
        provenance: Provenance::Recomputed,
        note: "J = h t^3/3 (1 - 0.63 t/h); a geometrically exact rod gives 3.2923. First load with a negative pivot.",
        targets: &[gate("critical force", "force", 3.2904, 0.02)],
        run: lateral,
    },
];

/// Runs the loads of a frame through factors, in order, and reads each pose.
fn along(bars: &Bars, factors: &[f64], read: impl Fn(&Pose) -> Vec<f64>) -> Result<Vec<f64>, SolveError> {
    let frame = bars.frame()?;
    let mut motion = Motion::new(&frame, &bars.rides, None);
    let mut values = Vec::new();
    for &dead in factors {
        motion.to(Share { dead, ..Share::default() })?;
        values.extend(read(&motion.pose));
    }
    Ok(values)
}

/// Shortening, lift and slope at the far end of a cantilever along x.
fn tip(bars: &Bars, pose: &Pose) -> [f64; 3] {
    let n = bars.last();
    let (at, turn) = (pose.at_m[n] - bars.nodes[n].at_m, pose.turn[n]);
    [-at.x, at.z, (-turn[(2, 0)]).atan2(turn[(0, 0)]).abs()]
}

fn tip_force() -> Result<Vec<f64>, SolveError> {
    let mut bars = Bars::cantilever(1.0, 60, |_| Bar::slender(1.0, 0.0));
    bars.load(60, [0.0, 0.0, 1.0, 0.0, 0.0, 0.0]);
    along(&bars, &strips::TIP_FORCE, |p| tip(&bars, p).to_vec())
}

fn end_moment() -> Result<Vec<f64>, SolveError> {
    let mut bars = Bars::cantilever(12.0, 60, |_| Bar::slender(1.0, 0.0));
    bars.load(60, [0.0, 0.0, 0.0, 0.0, -std::f64::consts::TAU / 12.0, 0.0]);
    along(&bars, &strips::END_MOMENT, |p| tip(&bars, p)[..2].to_vec())
}

fn weight() -> Result<Vec<f64>, SolveError> {
    let mut bars = Bars::cantilever(1.0, 60, |_| Bar::slender(1.0, 0.0));
    for n in 1..=60 {
        let share = if n == 60 { 0.5 } else { 1.0 };
        bars.load(n, [0.0, 0.0, share / 60.0, 0.0, 0.0, 0.0]);
    }
    along(&bars, &strips::WEIGHT, |p| tip(&bars, p).to_vec())
}

fn shear() -> Result<Vec<f64>, SolveError> {
    let mut bars = Bars::cantilever(10.0, 60, |_| Bar::rectangle([1.2e6, 0.0, 0.0], 1.0, 0.1, 1e-3 / 3.0));
    bars.load(60, [0.0, 0.0, 4.0, 0.0, 0.0, 0.0]);
    along(&bars, &strips::SHEAR, |p| tip(&bars, p)[..2].to_vec())
}

fn bend_45() -> Result<Vec<f64>, SolveError> {
    let point = |i: u32| {
        let (s, c) = (std::f64::consts::FRAC_PI_4 * f64::from(i) / 32.0).sin_cos();
        Vector3::new(100.0 * (1.0 - c), 100.0 * s, 0.0)
    };
    let points: Vec<Vector3<f64>> = (0..=32).map(point).collect();
    let mut values = Vec::new();
    for j in [0.140_577, 1.0 / 6.0] {
        let mut bars = Bars::line(&points, Vector3::z(), |_| Bar::rectangle([1e7, 0.0, 0.0], 1.0, 1.0, j));
        bars.nodes[0].held = [true; 6];
        bars.load(32, [0.0, 0.0, 600.0, 0.0, 0.0, 0.0]);
        values.extend(along(&bars, &[0.5, 0.75, 1.0], |p| p.at_m[32].iter().copied().collect())?);
    }
    Ok(values)
}

fn lateral() -> Result<Vec<f64>, SolveError> {
    let (depth, t): (f64, f64) = (30.0, 0.6);
    let j = depth * t.powi(3) / 3.0 * (1.0 - 0.63 * t / depth);
    let mut bars = Bars::cantilever(240.0, 40, |_| Bar::rectangle([71_240.0, 0.31, 0.0], depth, t, j));
    bars.load(40, [0.0, 1.0, 0.0, 0.0, 0.0, 0.0]);
    let frame = bars.frame()?;
    let mut motion = Motion::new(&frame, &bars.rides, None);
    let (mut low, mut high) = (2.5, 4.5);
    while high - low > 1e-4 * low {
        let dead = 0.5 * (low + high);
        motion.to(Share { dead, ..Share::default() })?;
        if motion.negative > 0 { high = dead } else { low = dead }
    }
    Ok(vec![0.5 * (low + high)])
}
