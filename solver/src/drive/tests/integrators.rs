//! Order, spectral radius and energy of the time steps; stability of linear periodic systems.

use super::super::floquet::stability_in;
use super::super::runge::Explicit;
use super::super::step::{Inputs, Run, Scheme, energy_j};
use super::super::{Balance, Drive, Wave};
use super::*;
use nalgebra::{Complex, DVector, Matrix3};
use std::f64::consts::TAU;

/// 15 Hz, damping ratio 0.02, unit mass.
struct Plain(Linear);

impl Plain {
    fn new(f: f64, zeta: f64) -> Self {
        let w = TAU * f;
        Self(Linear::single(1.0, 2.0 * zeta * w, w * w))
    }
}

impl Oscillator for Plain {
    fn linear(&self) -> &Linear {
        &self.0
    }
    fn force(&self, at: &Instant<'_>, out: &mut Force) {
        out.value[0] = at.input;
        out.by_input[0] = 1.0;
    }
}

fn one(x: f64) -> DVector<f64> {
    DVector::from_element(1, x)
}

/// From rest under 100 cos(2 pi 12 t), steps of 1/600 s: displacement after 10 and 80 steps (recomputed
/// independently); exact last.
const ROWS: [(f64, [f64; 2]); 4] = [
    (1.0, [0.009_426_117_782_917, -0.051_164_429_739_25]),
    (0.8, [0.009_422_755_015_369, -0.051_174_314_061_43]),
    (0.5, [0.009_397_552_464_852, -0.051_237_167_307_26]),
    (0.0, [0.009_199_764_495_599, -0.051_352_158_704_18]),
];
const EXACT: [f64; 2] = [0.009_461_317_048_18, -0.050_848_355_045_2];

fn run_linear(scheme: Scheme, parts: usize) -> [f64; 2] {
    let system = Plain::new(15.0, 0.02);
    let inputs = |t: f64| Inputs { input: 100.0 * (TAU * 12.0 * t).cos(), ..Inputs::default() };
    let mut run = Run::new(&system, scheme, &inputs, [one(0.0), one(0.0)]).unwrap();
    let mut seen = Vec::new();
    for i in 1..=80 * parts {
        assert!(run.step(1.0 / 600.0 / parts as f64), "step {i}");
        if i == 10 * parts || i == 80 * parts {
            seen.push(run.now().q[0]);
        }
    }
    [seen[0], seen[1]]
}

#[test]
fn alpha_steps_give_the_tabled_values_and_order_two() {
    for (radius, want) in ROWS {
        let got = run_linear(Scheme::Alpha(radius), 1);
        for (got, want) in got.iter().zip(want) {
            assert!(
                (got - want).abs() < 1e-9 * want.abs() + 1e-13,
                "radius {radius}: {got:.14} against {want:.14}"
            );
        }
        let off = |parts: usize| (run_linear(Scheme::Alpha(radius), parts)[1] - EXACT[1]).abs();
        let order = (off(16) / off(32)).log2();
        assert!((order - 2.0).abs() < 0.05, "radius {radius}: order {order}");
    }
}

/// Of the undamped oscillator: spectral radius at a step of a million periods over 2 pi, and the error of the period at
/// twenty steps (recomputed independently; published scheme, so spectral radius is the asked one).
#[test]
fn alpha_steps_have_the_published_spectrum() {
    for (radius, at_infinity, period, damping) in [
        (1.0, 1.0, 0.008_171_242_600_256, 0.0),
        (0.9, 0.900_067_637_619_5, 0.008_272_878_590_031, 2.221_817_444_285e-6),
        (0.8, 0.800_077_876_416_9, 0.008_623_282_523_937, 2.083_849_927_048e-5),
        (0.5, 0.500_078_007_685_4, 0.012_156_643_903_82, 0.000_545_013_803_962),
        (0.0, 0.000_100_005_928_980_9, 0.039_084_409_803_81, 0.011_626_154_086_13),
    ] {
        let spectrum = |steps_per_period: f64| {
            let system = Plain::new(1.0, 0.0);
            let h = 1.0 / steps_per_period;
            // Columns of the map of (q, h v, h^2 a): by linear combination of runs.
            let none = |_: f64| Inputs::default();
            let images: Vec<[f64; 3]> = [[1.0, 0.0], [0.0, 1.0 / h]]
                .iter()
                .map(|s| {
                    let mut run =
                        Run::new(&system, Scheme::Alpha(radius), &none, [one(s[0]), one(s[1])]).unwrap();
                    assert!(run.step(h), "one step");
                    let now = run.now();
                    [now.q[0], h * now.v[0], h * h * now.a[0]]
                })
                .collect();
            // The third column by the scheme's constants.
            let s = super::super::step::Alpha::new(radius);
            let k = (TAU * h).powi(2);
            let (lq, lv) = (0.5 - s.beta, 1.0 - s.gamma);
            let new_a = -(s.alpha_m + (1.0 - s.alpha_f) * k * lq)
                / (1.0 - s.alpha_m + (1.0 - s.alpha_f) * k * s.beta);
            let third = [lq + s.beta * new_a, lv + s.gamma * new_a, new_a];
            // The first two started with the balanced acceleration -k q: take its share off.
            let first: Vec<f64> = (0..3).map(|i| images[0][i] + k * third[i]).collect();
            let map = Matrix3::from_fn(|i, j| [first[i], images[1][i], third[i]][j]);
            let mut values: Vec<Complex<f64>> = map.complex_eigenvalues().iter().copied().collect();
            values.sort_by(|a, b| b.norm().total_cmp(&a.norm()));
            values
        };
        let far = spectrum(TAU / 1e6)[0].norm();
        // The table's step is 1e6 over the angular frequency or the period; both are infinity to four digits.
        assert!((far - at_infinity).abs() < 2e-3, "radius {radius}: {far}");
        let principal =
            spectrum(20.0).into_iter().filter(|x| x.im > 1e-6).max_by(|a, b| a.norm().total_cmp(&b.norm()));
        let z = principal.expect("an oscillation");
        let turn = z.im.atan2(z.re);
        assert!(
            (TAU / 20.0 / turn - 1.0 - period).abs() < 1e-6,
            "radius {radius}: period {}",
            TAU / 20.0 / turn - 1.0
        );
        let own = -z.norm().ln() / turn;
        assert!((own - damping).abs() < 1e-6, "radius {radius}: damping {own}");
    }
}

#[test]
fn explicit_steps_have_order_five() {
    let system = Hinge::new(DAMPING, 0.0, &[1.0, 0.3, -0.2]);
    let inputs = |t: f64| Inputs { input: 2e-6 * (TAU * 9.0 * t).cos(), ..Inputs::default() };
    let at = |steps: usize| {
        let mut run = Explicit::new(&system, &inputs, 1.0, 1.0).unwrap();
        let mut x = [one(0.1), one(0.0)];
        let h = 0.2 / steps as f64;
        for i in 0..steps {
            x = run.step([&x[0], &x[1]], h * i as f64, h).0;
        }
        x[0][0]
    };
    let exact = at(2000);
    let (a, b) = ((at(40) - exact).abs(), (at(80) - exact).abs());
    let order = (a / b).log2();
    assert!((order - 5.0).abs() < 0.3, "order {order}");
}

/// A mass of 1 kg on a stiff spring of 1 m that swings about a point under gravity, from (1, 0) with (0, -2) m/s.
struct SpringPendulum(Linear);

const SPRING_N_PER_M: f64 = 1e5;

impl SpringPendulum {
    fn new() -> Self {
        let zero = nalgebra::DMatrix::zeros(2, 2);
        let mass = nalgebra::DMatrix::identity(2, 2);
        Self(Linear { mass, damping: zero.clone(), stiffness: zero })
    }
}

impl Oscillator for SpringPendulum {
    fn linear(&self) -> &Linear {
        &self.0
    }
    fn force(&self, at: &Instant<'_>, out: &mut Force) {
        let q = DVector::from_column_slice(at.q);
        let r = q.norm();
        out.value = -self.potential(&q).expect("a potential").1;
        for i in 0..2 {
            for j in 0..2 {
                let unit = f64::from(u8::from(i == j));
                out.by_q[(i, j)] = -SPRING_N_PER_M * (unit * (1.0 - 1.0 / r) + q[i] * q[j] / r.powi(3));
            }
        }
    }
    fn potential(&self, q: &DVector<f64>) -> Option<(f64, DVector<f64>)> {
        let r = q.norm();
        let mut gradient = q * (SPRING_N_PER_M * (r - 1.0) / r);
        gradient[1] += 9.81;
        Some((0.5 * SPRING_N_PER_M * (r - 1.0).powi(2) + 9.81 * q[1], gradient))
    }
}

/// Highest, lowest and last energy over 20 s.
fn pendulum(scheme: Scheme, h: f64, steps: u32) -> [f64; 3] {
    let system = SpringPendulum::new();
    let none = |_: f64| Inputs::default();
    let start = [DVector::from_vec(vec![1.0, 0.0]), DVector::from_vec(vec![0.0, -2.0])];
    let mut run = Run::new(&system, scheme, &none, start).unwrap();
    // From 2 J at the start.
    let mut seen: [f64; 3] = [2.0; 3];
    for i in 0..steps {
        assert!(run.step(h), "{scheme:?}: step {i} of {h} s");
        let e = energy_j(&system, run.now()).unwrap();
        seen = [seen[0].max(e), seen[1].min(e), e];
    }
    seen
}

/// Highest, lowest and last energy (recomputed independently). The blow-up of the trapezoidal rule at 0.1 s is a known
/// fact of the method, its size is not.
#[test]
fn long_runs_of_a_stiff_pendulum() {
    let rows: [(Scheme, u32, [f64; 3]); 7] = [
        (Scheme::Alpha(1.0), 2000, [2.000_027_636_171, 1.987_165_665_828, 1.999_128_465_011]),
        (Scheme::Alpha(0.8), 2000, [2.0, 1.987_383_065_241, 1.998_750_153_802]),
        (Scheme::Alpha(0.5), 2000, [2.0, 1.975_314_740_588, 1.990_659_243_229]),
        (Scheme::Alpha(1.0), 400, [2.022_053_564_366, 1.599_425_455_872, 1.998_901_940_491]),
        (Scheme::Alpha(0.8), 400, [2.0, 1.672_700_949_711, 1.960_232_410_141]),
        (Scheme::Alpha(0.5), 400, [2.0, 0.809_924_972_985, 1.084_567_692_599]),
        (Scheme::Alpha(0.5), 200, [2.0, -2.916_488_687_017, -2.883_868_123_485]),
    ];
    for (scheme, steps, want) in rows {
        let h = 20.0 / f64::from(steps);
        let got = pendulum(scheme, h, steps);
        for (got, want) in got.iter().zip(want) {
            assert!((got - want).abs() < 1e-5, "{scheme:?} at {h} s: {got} against {want}");
        }
    }
    for (h, steps) in [(0.01, 2000), (0.05, 400), (0.1, 200)] {
        let [high, low, _] = pendulum(Scheme::EnergyKeeping, h, steps);
        assert!((high - 2.0).abs() < 1e-9 && (low - 2.0).abs() < 1e-9, "at {h} s: {low} to {high}");
    }
    assert!(pendulum(Scheme::Alpha(1.0), 0.1, 200)[0] > 1e3, "the trapezoidal rule blows up at 0.1 s");
}

/// The energy-keeping step is of second order.
#[test]
fn energy_keeping_step_has_order_two() {
    let at = |steps: usize| {
        let system = SpringPendulum::new();
        let none = |_: f64| Inputs::default();
        let start = [DVector::from_vec(vec![1.0, 0.0]), DVector::from_vec(vec![0.0, -2.0])];
        let mut run = Run::new(&system, Scheme::EnergyKeeping, &none, start).unwrap();
        for _ in 0..steps {
            assert!(run.step(0.1 / steps as f64), "a step");
        }
        run.now().q[1]
    };
    let exact = at(12_800);
    let order = ((at(400) - exact) / (at(800) - exact)).abs().log2();
    assert!((order - 2.0).abs() < 0.1, "order {order}");
}

/// Multipliers of a damped oscillator are known: exp((-zeta +- i sqrt(1 - zeta^2)) w T). The step converges with its
/// fourth order.
#[test]
fn multipliers_of_a_plain_oscillator() {
    let system = Plain::new(15.0, 0.02);
    let balance = Balance::new(&system, Wave::sine(1.0), 1, 1);
    let x = balance.solve(&balance.rest(Drive { frequency_hz: 11.0, level: 1.0 })).unwrap();
    let w = TAU * 15.0;
    let want = Complex::new(-0.02 * w / 11.0, (1.0_f64 - 0.0004).sqrt() * w / 11.0).exp();
    let off = |steps: usize| {
        let found = stability_in(&balance, &x, steps).multipliers;
        found.iter().map(|m| (m - want).norm()).fold(f64::INFINITY, f64::min)
    };
    assert!(off(128) < 5e-7, "{:e}", off(128));
    let order = (off(32) / off(64)).log2();
    assert!((order - 4.0).abs() < 0.2, "order {order}");
}

/// Hill's equation of a spring that changes by epsilon at twice the natural frequency: undamped it grows by
/// epsilon w / 4 per second at first order (any book on vibration).
#[test]
fn growth_of_a_modulated_spring() {
    let hinge = Hinge::new(0.0, 0.0, &[0.0, 1.0]);
    let f = 2.0 * (SPRING / INERTIA).sqrt() / TAU;
    let epsilon = 0.02;
    let balance = Balance::new(&hinge, Wave::sine(epsilon * SPRING), 1, 1);
    let x = balance.rest(Drive { frequency_hz: f, level: 1.0 });
    let found = super::super::stability(&balance, &x);
    let growth = found.largest().ln() * f;
    let want = epsilon * TAU * f / 2.0 / 4.0;
    assert!((growth / want - 1.0).abs() < 1e-3, "{growth} against {want}");
    assert_eq!(found.loss, Some(super::super::Loss::Halving), "{:?}", found.multipliers);
}
