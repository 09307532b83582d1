//! Elastica, circles, rigid turns, buckling, limit points: closed forms and independent routes.

#![allow(clippy::print_stdout, reason = "figures are shown when a test fails")]

mod copper;
mod paths;
mod pieces;
mod strains;

use super::*;
use crate::error::SolveError;
use crate::freedoms::Freedoms;
use crate::laminate::{Laminate, Ply, isotropic_q};
use crate::model::Model;
use copperbend_mesh::board::LayerId;
use nalgebra::{Vector3, Vector6};

fn ply(z0_m: f64, z1_m: f64, e_pa: f64, nu: f64) -> Ply {
    Ply {
        layer: LayerId(0),
        z0_m,
        z1_m,
        q_pa: isotropic_q(e_pa, nu),
        expansion_per_k: Vector3::new(20e-6, 20e-6, 0.0),
        density_kg_m3: 1420.0,
        heating_k: 0.0,
        sliding: false,
    }
}

/// Strip along x, y centred, clamped at x = 0; `jog` moves inner nodes by this share of a cell.
struct Strip {
    model: Model,
    nx: u32,
    ny: u32,
}

impl Strip {
    fn new([length, width]: [f64; 2], [nx, ny]: [u32; 2], plies: Vec<Ply>, jog: f64) -> Self {
        let mut model = Model { laminates: vec![Laminate::new(plies)], ..Model::default() };
        for i in 0..=nx {
            for j in 0..=ny {
                let (mut s, mut t) = (f64::from(i), f64::from(j));
                if i > 0 && i < nx && j > 0 && j < ny {
                    s += jog * f64::from((i * 7 + j * 3) % 5) / 2.0 - jog;
                    t += jog * f64::from((i * 3 + j * 5) % 7) / 3.0 - jog;
                }
                model.nodes_m.push([length * s / f64::from(nx), width * (t / f64::from(ny) - 0.5), 0.0]);
            }
        }
        let at = |i: u32, j: u32| i * (ny + 1) + j;
        for i in 0..nx {
            for j in 0..ny {
                let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
                let pair = if (i + j) % 2 == 0 { [[a, b, c], [a, c, d]] } else { [[a, b, d], [b, c, d]] };
                model.triangles.extend(pair);
            }
        }
        model.laminate_of = vec![0; model.triangles.len()];
        model.freedoms = Freedoms::free(model.nodes_m.len());
        for j in 0..=ny {
            model.freedoms.clamp(j);
        }
        Self { model, nx, ny }
    }

    fn column(&self, i: u32) -> std::ops::Range<u32> {
        i * (self.ny + 1)..(i + 1) * (self.ny + 1)
    }

    /// A load spread over the far end.
    fn end_load(&self, load: Vector6<f64>) -> DeadLoad {
        let mut nodal = vec![Vector6::zeros(); self.model.nodes_m.len()];
        for (j, node) in (0u32..).zip(self.column(self.nx)) {
            let share = if j == 0 || j == self.ny { 0.5 } else { 1.0 } / f64::from(self.ny);
            nodal[node as usize] = load * share;
        }
        DeadLoad { nodal }
    }

    /// Mean displacement of the far end and its rotation about -y.
    fn tip(&self, path: &Path<'_>) -> [f64; 3] {
        let (mut sum, mut turn, mut count) = (Vector3::zeros(), 0.0, 0.0);
        for node in self.column(self.nx) {
            sum += path.displacement_m(node);
            let r = path.pose().rotations[node as usize];
            turn += r[(2, 0)].atan2(r[(0, 0)]);
            count += 1.0;
        }
        [sum[0] / count, sum[2] / count, turn / count]
    }
}

const FULL: Level = Level { steady: 1.0, driven: 0.0, thermal: 0.0, prescribed: 0.0 };

fn half(level: Level) -> Level {
    Level::between(&Level::default(), &level, 0.5)
}

/// x/L, z/L and slope at the tip of an inextensional cantilever under a dead end force, by elliptic integrals in 30
/// digits (K. E. Bisshopp, D. C. Drucker, Quart. Appl. Math. 3 (1945) 272-275; recomputed).
const ELASTICA: [(f64, [f64; 3], &[usize]); 4] = [
    (1.0, [0.05643324, 0.30172077, 0.46135195], &[5]),
    (2.0, [0.16064172, 0.49345748, 0.78174983], &[6]),
    (5.0, [0.38762836, 0.71379152, 1.21536812], &[6, 6]),
    (10.0, [0.5549956, 0.81060902, 1.43028554], &[7, 6]),
];

#[test]
fn elastica_under_an_end_force() {
    // L = 10, w = 1, h = 0.1, nu = 0; E so that E I = 1.
    let (length, h) = (10.0, 0.1);
    for ([nx, ny], tolerance) in [([10, 1], 2.5e-3), ([20, 2], 1e-3), ([40, 4], 1e-3)] {
        let strip = Strip::new([length, 1.0], [nx, ny], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.0)], 0.0);
        for (k, [u, w, slope], counts) in ELASTICA {
            let load = strip.end_load(Vector6::new(0.0, 0.0, k / (length * length), 0.0, 0.0, 0.0));
            let loads: [&dyn MovingLoad; 1] = [&load];
            let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
            let mut steps = Vec::new();
            if counts.len() == 2 {
                steps.push(path.to_level(half(FULL)).unwrap().iterations);
            }
            steps.push(path.to_level(FULL).unwrap().iterations);
            let tip = strip.tip(&path);
            let gap = [-tip[0] / length / u - 1.0, tip[1] / length / w - 1.0, tip[2] / slope - 1.0];
            println!("{nx}x{ny} k {k}: off by {gap:?}, steps {steps:?}");
            assert!(gap.iter().all(|g| g.abs() < tolerance), "{nx}x{ny} k {k}: off by {gap:?}");
            for (found, most) in steps.iter().zip(counts) {
                assert!(found <= most, "{nx}x{ny} k {k}: {steps:?} steps against {counts:?}");
            }
            assert_eq!(path.state().negative_pivots, 0, "a bent strip is stable");
        }
    }
}

#[test]
fn an_end_moment_rolls_the_strip_into_a_circle() {
    // Mirrored and slanted diagonals: on the latter the moment fixed in space couples bending with twist.
    let (length, h) = (10.0, 0.1);
    for (nx, ny, least) in [(10, 2, 1e-4), (20, 2, 1e-5), (40, 2, 1e-6), (10, 1, 1e-4), (20, 1, 1e-4)] {
        let strip = Strip::new([length, 1.0], [nx, ny], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.0)], 0.0);
        let moment = std::f64::consts::TAU / length;
        let load = strip.end_load(Vector6::new(0.0, 0.0, 0.0, 0.0, -moment, 0.0));
        let loads: [&dyn MovingLoad; 1] = [&load];
        let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
        for share in [0.2, 0.4, 0.6, 0.8, 1.0] {
            let before = path.factorisations();
            let state = path.to_level(Level { steady: share, ..Level::default() }).unwrap();
            let made = path.factorisations() - before;
            println!("{nx}x{ny} at {share}: {} steps, {made} factorisations", state.iterations);
            assert!(made <= 7, "{nx}x{ny}: {made} factorisations at {share}");
        }
        let tip = strip.tip(&path);
        let open = (tip[0] + length).hypot(tip[1]) / length;
        println!("{nx}x{ny}: open by {open:.2e}");
        assert!(open < least, "{nx}x{ny}: open by {open:e}");
    }
}

#[test]
fn newton_counts_on_a_distorted_mesh() {
    // nu = 0.3, h/L = 1/100, inner nodes moved by 30 % of a cell: in one step and in two.
    let (length, h) = (10.0, 0.1);
    let strip = Strip::new([length, 1.0], [20, 2], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.3)], 0.3);
    for (k, one, two) in [(1.0, 5, [5, 5]), (5.0, 8, [6, 6]), (10.0, 10, [8, 6])] {
        let load = strip.end_load(Vector6::new(0.0, 0.0, k / (length * length), 0.0, 0.0, 0.0));
        let loads: [&dyn MovingLoad; 1] = [&load];
        let new = || Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
        let count = |path: &mut Path<'_>, level: Level| {
            let before = path.factorisations();
            let steps = path.to_level(level).unwrap().iterations;
            (path.factorisations() - before, steps)
        };
        let mut path = new();
        let whole = count(&mut path, FULL);
        let at_once = strip.tip(&path);
        let mut path = new();
        let halves = [count(&mut path, half(FULL)), count(&mut path, FULL)];
        println!("k {k}: {whole:?} factorisations and steps, in halves {halves:?}");
        let wished = [one, two[0], two[1]];
        for ((made, steps), most) in [whole, halves[0], halves[1]].into_iter().zip(wished) {
            assert!(
                made <= most && steps <= most,
                "k {k}: {made} factorisations, {steps} steps against {most}"
            );
        }
        for (a, b) in strip.tip(&path).iter().zip(&at_once) {
            assert!((a - b).abs() < 1e-8 * length, "the way does not matter: {a} against {b}");
        }
    }
}

/// Two plates at a right angle, 1 x 1 each, along the line x = 1.
fn folded(n: u32) -> Model {
    let mut model =
        Model { laminates: vec![Laminate::new(vec![ply(-0.005, 0.005, 1e7, 0.3)])], ..Model::default() };
    for i in 0..=2 * n {
        for j in 0..=n {
            let (s, y) = (f64::from(i) / f64::from(n), f64::from(j) / f64::from(n));
            model.nodes_m.push(if i <= n { [s, y, 0.0] } else { [1.0, y, s - 1.0] });
        }
    }
    for i in 0..2 * n {
        for j in 0..n {
            let a = i * (n + 1) + j;
            let [b, c, d] = [a + n + 1, a + n + 2, a + 1];
            model.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    model.laminate_of = vec![0; model.triangles.len()];
    model.axis_of = model.triangles.iter().map(|_| [0.0, 1.0, 0.0]).collect();
    model.freedoms = Freedoms::free(model.nodes_m.len());
    model
}

/// Holds every component of a node on a screw motion: rotation vector `theta` about the origin.
fn turn_with(model: &mut Model, node: u32, theta: Vector3<f64>) {
    let u = theta.cross(&Vector3::from(model.nodes_m[node as usize]));
    for c in 0..3 {
        model.freedoms.hold(node, c, u[c]);
        model.freedoms.hold(node, c + 3, theta[c]);
    }
}

const SUPPORTS: Level = Level { steady: 0.0, driven: 0.0, thermal: 0.0, prescribed: 1.0 };

#[test]
fn a_folded_sheet_turns_with_its_support_without_strain() {
    let mut model = folded(3);
    let theta = Vector3::new(0.36, -0.48, 0.8) * std::f64::consts::FRAC_PI_2;
    for node in 0..4 {
        turn_with(&mut model, node, theta);
    }
    let mut path = Path::new(&model, Loads { steady: &[], driven: None }).unwrap();
    let state = path.to_level(SUPPORTS).unwrap();
    let whole = 1e7 * 0.01 * 2.0;
    assert!(state.energy_j.abs() < 1e-20 * whole, "energy {:e} against E t area {whole}", state.energy_j);
    let q = crate::element::corotational::exponential(&theta);
    for (x, now) in model.nodes_m.iter().zip(&path.pose().positions_m) {
        let gap = (q * Vector3::from(*x) - now).norm();
        assert!(gap < 1e-9, "off by {gap:e}");
    }
}

#[test]
fn a_loaded_sheet_turned_as_a_whole_moves_the_same() {
    // Loads and supports turned together: every displacement turns with them.
    let run = |q: nalgebra::Matrix3<f64>| {
        let mut model = folded(3);
        for p in &mut model.nodes_m {
            *p = (q * Vector3::from(*p)).into();
        }
        model.axis_of = model.axis_of.iter().map(|a| (q * Vector3::from(*a)).into()).collect();
        for node in 0..4 {
            model.freedoms.clamp(node);
        }
        let mut nodal = vec![Vector6::zeros(); model.nodes_m.len()];
        let f = q * Vector3::new(-1.0, 0.3, 0.5);
        nodal[27] = Vector6::new(f[0], f[1], f[2], 0.0, 0.0, 0.0);
        let load = DeadLoad { nodal };
        let loads: [&dyn MovingLoad; 1] = [&load];
        let mut path = Path::new(&model, Loads { steady: &loads, driven: None }).unwrap();
        path.to_level(FULL).unwrap();
        (0..28).map(|n| q.tr_mul(&path.displacement_m(n))).collect::<Vec<_>>()
    };
    let plain = run(nalgebra::Matrix3::identity());
    let turned = run(crate::element::corotational::exponential(&Vector3::new(1.0, -2.0, 0.7)));
    let size = plain.iter().map(|u| u.norm()).fold(0.0, f64::max);
    assert!(size > 0.1, "moves by {size}");
    for (a, b) in plain.iter().zip(&turned) {
        assert!((a - b).norm() < 1e-9 * size, "{a} against {b}");
    }
}

#[test]
fn supports_bear_what_loads_bring_and_energy_is_their_work() {
    let (length, h) = (10.0, 0.1);
    let strip = Strip::new([length, 1.0], [12, 2], vec![ply(-h / 2.0, h / 2.0, 1.2e4, 0.3)], 0.2);
    let load = strip.end_load(Vector6::new(0.01, 0.02, 0.06, 0.0, 0.0, 0.0));
    let loads: [&dyn MovingLoad; 1] = [&load];
    let mut path = Path::new(&strip.model, Loads { steady: &loads, driven: None }).unwrap();
    // Work of the load by Simpson's rule over equal steps of the factor.
    let work_rate = |path: &Path<'_>| -> f64 {
        load.nodal.iter().zip(0u32..).map(|(f, n)| f.fixed_rows::<3>(0).dot(&path.displacement_m(n))).sum()
    };
    let mut moved = vec![0.0];
    for i in 1..=16 {
        path.to_level(Level { steady: f64::from(i) / 16.0, ..Level::default() }).unwrap();
        moved.push(work_rate(&path));
    }
    // W = F . u - integral of u . dF.
    let integral: f64 =
        (0..8).map(|i| (moved[2 * i] + 4.0 * moved[2 * i + 1] + moved[2 * i + 2]) / 48.0).sum();
    let work = moved[16] - integral;
    let energy = path.state().energy_j;
    assert!((work / energy - 1.0).abs() < 1e-4, "work {work} against energy {energy}");
    let balance = path.equilibrium().unwrap();
    let mut total = balance.total_reaction();
    for (f, x) in load.nodal.iter().zip(&balance.pose.positions_m) {
        let force = f.fixed_rows::<3>(0).into_owned();
        let moment = x.cross(&force);
        total += Vector6::new(force[0], force[1], force[2], moment[0], moment[1], moment[2]);
    }
    assert!(total.amax() < 1e-9, "out of balance by {total}");
}
