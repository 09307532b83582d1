//! Shells whose copper yields: set of a laminate against an independent integration, tangent, loops.

use super::*;
use crate::copper::shell::{POINTS, ShellCopper};
use crate::copper::{Curve, Law};
use crate::element::{Matrix18, Vector18, local};
use crate::swing::newton::Goal;
use nalgebra::Matrix3;

const COPPER_PA: f64 = 117e9;
const YIELD_PA: f64 = 60e6;
const FILM_PA: f64 = 2.5e9;

fn ideal(nu: f64) -> Law {
    Curve::Bilinear { modulus_pa: COPPER_PA, yield_pa: YIELD_PA, hardening_pa: 0.0 }.law(nu, 1, 0.01)
}

/// Moment along the strip per width (N) at a curvature, and the curvature ratios left when it is let go — by the elastic
/// stiffness, and with the copper yielding back where it does — of film, copper, film with the sides free: explicit steps of the flow rule in plane stress, half the stack by symmetry. Nothing of it
/// is shared with the program: no return mapping, no element.
fn integrated(film_m: f64, copper_m: f64, nu: f64, curvature: f64) -> [f64; 3] {
    const SLICES: usize = 120;
    const STEPS: u32 = 12_000;
    let q = |e: f64| {
        let c = e / (1.0 - nu * nu);
        Matrix3::new(c, nu * c, 0.0, nu * c, c, 0.0, 0.0, 0.0, 0.5 * (1.0 - nu) * c)
    };
    let (copper, dz) = (q(COPPER_PA), 0.5 * copper_m / SLICES as f64);
    let [inner, outer] = [0.5 * copper_m, 0.5 * copper_m + film_m];
    let film_d = q(FILM_PA) * (2.0 * (outer.powi(3) - inner.powi(3)) / 3.0);
    let whole_d = film_d + copper * (2.0 * inner.powi(3) / 3.0);
    let flow = |s: &Vector3<f64>| Vector3::new(2.0 * s[0] - s[1], 2.0 * s[1] - s[0], 6.0 * s[2]);
    let mises = |s: &Vector3<f64>| (s[0] * s[0] + s[1] * s[1] - s[0] * s[1] + 3.0 * s[2] * s[2]).sqrt();
    let mut stress = vec![Vector3::zeros(); SLICES];
    let (mut moment, mut bent) = (Vector3::<f64>::zeros(), Vector3::<f64>::zeros());
    let slice = |k: usize| (k as f64 + 0.5) * dz;
    let mut step = |along: f64| {
        // Stiffness of the step, then the curvature across that leaves no moment there.
        let stiffness = |s: &Vector3<f64>| {
            let n = flow(s);
            if mises(s) < YIELD_PA * (1.0 - 1e-12) || n.dot(&(copper * n)) == 0.0 {
                return copper;
            }
            let cn = copper * n;
            copper - cn * cn.transpose() / n.dot(&cn)
        };
        // Copper at its yield stress that is bent back is elastic.
        let own: Vec<Matrix3<f64>> =
            stress.iter().map(|s| if s[0] * along < 0.0 { copper } else { stiffness(s) }).collect();
        let mut tangent = film_d;
        for (k, c) in own.iter().enumerate() {
            tangent += c * (2.0 * slice(k) * slice(k) * dz);
        }
        let by = Vector3::new(along, (-moment[1] - tangent[(1, 0)] * along) / tangent[(1, 1)], 0.0);
        bent += by;
        moment = film_d * bent;
        for (k, s) in stress.iter_mut().enumerate() {
            *s += own[k] * by * slice(k);
            let size = mises(s);
            if size > YIELD_PA {
                *s *= YIELD_PA / size;
            }
            moment += *s * (2.0 * slice(k) * dz);
        }
        (moment[0], bent[0])
    };
    let along = curvature / f64::from(STEPS);
    let mut top = 0.0;
    for _ in 0..STEPS {
        top = step(along).0;
    }
    let back = whole_d.try_inverse().unwrap() * Vector3::new(top, 0.0, 0.0);
    let (mut last, mut left) = ((top, curvature), curvature);
    while last.0 > 0.0 {
        let now = step(-along);
        left = last.1 + (now.1 - last.1) * last.0 / (last.0 - now.0);
        last = now;
    }
    [top, 1.0 - back[0] / curvature, left / curvature]
}

/// A strip of film, copper, film between planes of symmetry, ready for an end moment.
fn sandwich(film_m: f64, copper_m: f64, nu: f64) -> Strip {
    let z = 0.5 * copper_m;
    let mut plies = vec![ply(-z - film_m, -z, FILM_PA, nu), ply(-z, z, COPPER_PA, nu)];
    plies.push(ply(z, z + film_m, FILM_PA, nu));
    plies[1].layer = LayerId(1);
    let mut strip = Strip::new([40e-6, 20e-6], [4, 2], plies, 0.1);
    strip.model.freedoms = Freedoms::free(strip.model.nodes_m.len());
    for node in strip.column(0) {
        strip.model.freedoms.hold(node, 0, 0.0);
        strip.model.freedoms.hold(node, 4, 0.0);
    }
    for component in [1, 2, 3, 5] {
        strip.model.freedoms.hold(1, component, 0.0);
    }
    strip
}

fn yielding(model: &Model, points: usize, law: &Law) -> ShellCopper {
    ShellCopper::new(&model.laminates, &model.laminate_of, points, |p| {
        (p.layer == LayerId(1)).then(|| law.clone())
    })
}

/// Film 25, copper 35, film 25 um and film 50, copper 18, film 50 um bent to 200 1/m and let go. By fibres alone the
/// ratios are 0.60854 and 0.083477 (see the tests of `copper::bending`): there every layer contracts by itself; here film
/// and copper contract together, and yielding copper contracts by one half instead of nu. Both these and the known figures
/// below let go elastically; thick films bend the copper back beyond its yield stress, which takes part of the set away.
#[test]
fn set_of_a_laminate_is_that_of_an_independent_integration() {
    let curvature = 200.0;
    for (film, copper, nu, about) in [
        (25e-6, 35e-6, 0.0, 0.591),
        (50e-6, 18e-6, 0.0, 0.077),
        (25e-6, 35e-6, 0.34, 0.607),
        (50e-6, 18e-6, 0.34, 0.083),
    ] {
        let [moment, elastic, ratio] = integrated(film, copper, nu, curvature);
        assert!((elastic - about).abs() < 6e-4, "integration gives {elastic}, about {about} is known");
        let strip = sandwich(film, copper, nu);
        let load = strip.end_load(Vector6::new(0.0, 0.0, 0.0, 0.0, -20e-6, 0.0));
        let mut path = Path::new(&strip.model, Loads { steady: &[], driven: Some(&load) }).unwrap();
        path.yielding(yielding(&strip.model, 48, &ideal(nu)));
        // A short strip: its end rises by half of curvature times length squared.
        let node = strip.column(4).start + 1;
        let rest_m = Vector3::from(strip.model.nodes_m[node as usize]);
        let end = NodeDisplacement { node, rest_m, direction: Vector3::z() };
        let curvature_of = |path: &Path<'_>| 2.0 * path.displacement_m(node)[2] / (40e-6 * 40e-6);
        let mut most = 0;
        for k in 1..=240 {
            let height = 0.5 * curvature * f64::from(k) / 240.0 * 40e-6 * 40e-6;
            most = most.max(path.to_measure(&end, height).unwrap().iterations);
        }
        let (bent, found) = (curvature_of(&path), path.state().level.driven);
        path.turn_round();
        for k in (0..200).rev() {
            let driven = found * f64::from(k) / 200.0;
            most = most.max(path.to_level(Level { driven, ..Level::default() }).unwrap().iterations);
        }
        let left = curvature_of(&path) / bent;
        let sheet = &strip.model.laminates[0].d;
        let stiffness = sheet[(0, 0)] - sheet[(0, 1)].powi(2) / sheet[(1, 1)];
        let by_stiffness = 1.0 - found / stiffness / bent;
        println!("nu {nu}: {found} against {moment}, {by_stiffness} {elastic}, {left} {ratio}, {most} steps");
        assert!((by_stiffness - elastic).abs() < 1e-4, "nu {nu}: {by_stiffness} against {elastic}");
        assert!((left - ratio).abs() < 1e-4, "nu {nu}: {left} against {ratio}");
        assert!(most <= 10, "{most} steps");
    }
}

/// Works of the steps towards a bend of 200 1/m: once they shrink, each is the square of the one before.
#[test]
fn steps_converge_quadratically() {
    let strip = sandwich(25e-6, 35e-6, 0.34);
    let load = strip.end_load(Vector6::new(0.0, 0.0, 0.0, 0.0, -0.04 * 20e-6, 0.0));
    let mut path = Path::new(&strip.model, Loads { steady: &[], driven: Some(&load) }).unwrap();
    let curve = Curve::Bilinear { modulus_pa: COPPER_PA, yield_pa: YIELD_PA, hardening_pa: 5e9 };
    path.yielding(yielding(&strip.model, POINTS, &curve.law(0.34, 1, 0.01)));
    let goal = Goal { level: Level { driven: 1.0, ..Level::default() }, measured: None };
    let start = path.now.point.clone();
    let works = path.newton.settle(start, &goal, false).unwrap().works;
    println!("{works:?}");
    let ratio = |k: usize| works[k] / works[0];
    // Work goes with the square of the motion's error e: e' = c e^2 means work' = c^2 work^2.
    let near = (1..works.len()).find(|&k| ratio(k) < 1e-5).unwrap();
    assert!(works.len() <= 9, "{works:?}");
    assert!(near + 2 >= works.len() - 1, "slow at the end: {works:?}");
}

/// Forces of one triangle, elastic less what the yielding takes off, against differences of the same: the algorithmic
/// tangent, after a bend the other way.
#[test]
fn tangent_of_a_yielding_triangle_is_the_derivative() {
    let strip = sandwich(25e-6, 35e-6, 0.34);
    let own = local([[0.0; 3], [1e-4, 2e-5, 0.0], [3e-5, 9e-5, 0.0]], [1.0, 0.0, 0.0]);
    let law = Curve::Power(crate::life::CopperKind::RolledAnnealed.slopes().as_strain_life().cyclic_curve())
        .law(0.34, 8, 0.02);
    let mut copper = yielding(&strip.model, POINTS, &law);
    // Curvature about both axes, some stretch and twist.
    let motion = |k: f64| {
        let mut d = Vector18::zeros();
        for (a, [x, y]) in own.corners.iter().enumerate() {
            let (kx, ky, kxy) = (180.0 * k, -70.0 * k, 60.0);
            d[6 * a] = 1e-3 * k * x + 4e-4 * y;
            d[6 * a + 1] = -5e-4 * y;
            d[6 * a + 2] = -0.5 * (kx * x * x + ky * y * y + kxy * x * y);
            d[6 * a + 3] = -(ky * y + 0.5 * kxy * x);
            d[6 * a + 4] = kx * x + 0.5 * kxy * y;
            d[6 * a + 5] = 3e-4 * k;
        }
        d
    };
    copper.keep(|_| Some(motion(-0.7)), &[own; 16], 0.0);
    assert!(copper.yielded() > 0, "the first bend yields");
    let d = motion(1.0);
    let at = |d: &Vector18| copper.shortfall(0, &own, d, 0.0).unwrap().force;
    let found = copper.shortfall(0, &own, &d, 0.0).unwrap().stiffness;
    let step = |j: usize| if j % 6 < 3 { 1e-12 } else { 1e-8 };
    let difference = Matrix18::from_fn(|i, j| {
        let moved = |sign: f64| {
            let mut d = d;
            d[j] += sign * step(j);
            at(&d)[i]
        };
        (moved(1.0) - moved(-1.0)) / (2.0 * step(j))
    });
    // Displacements and rotations have different units: compare in the scale of each pair.
    let mut worst = 0.0f64;
    for i in 0..18 {
        for j in 0..18 {
            let scale = (found[(i, i)] * found[(j, j)]).abs().sqrt();
            worst = worst.max((found[(i, j)] - difference[(i, j)]).abs() / scale);
        }
    }
    println!("tangent off by {worst:.1e}");
    assert!(worst < 1e-6, "tangent off by {worst}");
}

/// Cyclic law, a thin strip swung by an end force through some forty degrees: the second upward swing ends where the
/// first did (parts start unstressed, so the first pull ends on the loop's tip), and the loop from a set state keeps its
/// set.
#[test]
fn steady_loops_close_and_a_set_stays() {
    let (film, copper) = (25e-6, 18e-6);
    let z = 0.5 * copper;
    let mut plies = vec![ply(-z - film, -z, FILM_PA, 0.34), ply(-z, z, COPPER_PA, 0.34)];
    plies[1].layer = LayerId(1);
    plies.push(ply(z, z + film, FILM_PA, 0.34));
    let strip = Strip::new([8e-3, 2e-3], [16, 2], plies, 0.1);
    let load = strip.end_load(Vector6::new(0.0, 0.0, 6e-3, 0.0, 0.0, 0.0));
    let law = Curve::Power(crate::life::CopperKind::RolledAnnealed.slopes().as_strain_life().cyclic_curve())
        .law(0.34, 8, 0.02);
    let first_law =
        Curve::Bilinear { modulus_pa: COPPER_PA, yield_pa: 48e6, hardening_pa: 5e9 }.law(0.34, 1, 0.02);
    let swung = |law: &Law, set_first: Option<&Law>, parts: u32| {
        let mut path = Path::new(&strip.model, Loads { steady: &[], driven: Some(&load) }).unwrap();
        path.yielding(yielding(&strip.model, POINTS, set_first.unwrap_or(law)));
        let mut tips = Vec::new();
        let mut to = |path: &mut Path<'_>, driven: f64| {
            path.turn_round();
            let from = path.state().level.driven;
            for k in 1..=parts {
                let driven = from + (driven - from) * f64::from(k) / f64::from(parts);
                path.to_level(Level { driven, ..Level::default() }).unwrap();
            }
            tips.push(strip.tip(path)[1]);
        };
        if set_first.is_some() {
            to(&mut path, 1.0);
            to(&mut path, 0.0);
            path.restart_copper(|_| Some(law.clone()));
        }
        for driven in [1.0, -1.0, 1.0, -1.0, 1.0, -1.0, 1.0, 0.0] {
            to(&mut path, driven);
        }
        assert!(path.copper().is_some_and(|c| c.yielded() > 0), "nothing yields");
        tips
    };
    let steady = swung(&law, None, 4);
    println!("steady {steady:?}");
    assert!((steady[0] + steady[1]).abs() < 2e-3 * steady[0], "both ways alike: {steady:?}");
    assert!((steady[2] - steady[0]).abs() < 2e-3 * steady[0], "the loop closes: {steady:?}");
    // What moves from loop to loop dies out: the parts share out the contraction across. Four parts a half-swing: with
    // one, the tips scatter by 2e-4 with the steps taken.
    let drift = [3, 5].map(|k| (steady[k] - steady[k - 2]).abs() / steady[0]);
    assert!(drift[0] < 3e-4 && drift[1] < 0.6 * drift[0], "and stays closed: {drift:?}");
    let set = swung(&law, Some(&first_law), 1);
    println!("set first {set:?}");
    assert!(set[1] > 0.01 * set[0], "the first bend leaves a set: {set:?}");
    assert!((set[2] / steady[0] - 1.0).abs() < 0.5, "{set:?}");
}
