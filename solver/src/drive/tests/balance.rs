//! Quadratic drag on one freedom: harmonic balance against its closed root, against time, and around folds.

use super::super::runge::Explicit;
use super::super::step::Inputs;
use super::super::{Along, Balance, Branch, Drive, End, Following, Form, Loss, Wave, follow, stability};
use super::*;
use nalgebra::DVector;
use std::f64::consts::{PI, TAU};

const TORQUE: f64 = 1.5e-6;

/// f, Hz; amplitude by single-harmonic balance; first and third harmonic by time integration, rad (recomputed
/// independently with a closed root and an eighth-order Runge-Kutta method).
const WORKED: [[f64; 4]; 11] = [
    [6.013, 0.053_908_837_731_7, 0.053_908_853_775_17, 7.539_695_019_808e-6],
    [8.419, 0.079_252_006_125_52, 0.079_252_112_559_02, 1.170_898_639_229e-5],
    [9.621, 0.112_123_249_514_9, 0.112_123_768_444_9, 2.193_041_805_28e-5],
    [10.824, 0.210_359_797_448, 0.210_367_467_869_4, 7.393_458_854_171e-5],
    [11.425, 0.381_582_077_752, 0.381_661_413_663_3, 0.000_239_429_473_868_1],
    [12.027, 0.650_254_811_767_6, 0.650_262_194_521, 0.000_685_433_933_963_5],
    [12.628, 0.359_119_441_490_6, 0.359_047_732_532, 0.000_206_642_430_416_6],
    [13.23, 0.189_581_040_802_5, 0.189_573_925_639_9, 5.704_504_486_714e-5],
    [14.432, 0.091_661_858_394_29, 0.091_661_392_282_27, 1.312_506_255_22e-5],
    [16.838, 0.042_092_914_339_82, 0.042_092_885_175_08, 2.707_908_632_731e-6],
    [21.648, 0.018_050_466_278_75, 0.018_050_465_884_12, 4.878_407_684_599e-7],
];

fn drive(frequency_hz: f64) -> Drive {
    Drive { frequency_hz, level: 1.0 }
}

/// Amplitude at harmonic `k` of the first freedom.
fn amplitude(x: &super::super::Steady, k: usize) -> f64 {
    let [c, s] = x.harmonic_of(&DVector::from_element(1, 1.0), k);
    c.hypot(s)
}

#[test]
fn single_harmonic_gives_the_closed_root() {
    let hinge = Hinge::new(DAMPING, DRAG, &[1.0]);
    let balance = Balance::new(&hinge, Wave::sine(TORQUE), 1, 1).with_samples(4096);
    for [f, closed, ..] in WORKED {
        let x = balance.solve(&balance.rest(drive(f))).unwrap();
        let a = amplitude(&x, 1);
        // Sampling of v|v| leaves 1/N^2 of its jump in curvature.
        assert!((a / closed - 1.0).abs() < 1e-9, "{f} Hz: {a:.13} against {closed:.13}");
    }
}

#[test]
fn amplitude_at_resonance_over_torque() {
    // Torque, amplitude with drag, without (closed forms recomputed independently).
    for (torque, with, without) in [
        (1e-7, 0.101_423_963_218, 0.134_792_519_067_8),
        (5e-7, 0.327_033_495_271_1, 0.673_962_565_493_8),
        (1.5e-6, 0.650_263_593_278_9, 2.021_887_786_017),
        (3e-6, 0.972_967_256_797_6, 4.043_775_572_033),
    ] {
        let f = (SPRING / INERTIA).sqrt() / TAU;
        for (drag, want, tol) in [(DRAG, with, 1e-8), (0.0, without, 1e-6)] {
            let hinge = Hinge::new(DAMPING, drag, &[1.0]);
            let balance = Balance::new(&hinge, Wave::sine(torque), 1, 1).with_samples(2048);
            let x = balance.solve(&balance.rest(drive(f))).unwrap();
            assert!(
                (amplitude(&x, 1) / want - 1.0).abs() < tol,
                "{torque:e} N m, drag {drag:e}: {}",
                amplitude(&x, 1)
            );
        }
    }
}

/// Drag coefficient 8 KC^(-1/3) (Graham 1980, from memory), KC = 2 pi A 12.5 mm / 13 mm.
#[test]
fn drag_that_depends_on_the_swing() {
    struct ByKc(Hinge, DVector<f64>);
    impl Oscillator for ByKc {
        fn linear(&self) -> &Linear {
            self.0.linear()
        }
        fn force(&self, at: &Instant<'_>, out: &mut Force) {
            let kc = (TAU * at.swing * 12.5 / 13.0).max(1e-12);
            let (cd, by) = (8.0 * kc.powf(-1.0 / 3.0), -8.0 / 3.0 * kc.powf(-4.0 / 3.0) * TAU * 12.5 / 13.0);
            let (c, v) = (DRAG / 2.0, at.v[0]);
            out.value[0] = at.input - cd * c * v * v.abs();
            out.by_v[(0, 0)] = -2.0 * cd * c * v.abs();
            out.by_input[0] = 1.0;
            out.by_swing[0] = -by * c * v * v.abs();
        }
        fn swing(&self) -> Option<&DVector<f64>> {
            Some(&self.1)
        }
    }
    let f = (SPRING / INERTIA).sqrt() / TAU;
    let system = ByKc(Hinge::new(DAMPING, DRAG, &[1.0]), DVector::from_element(1, 1.0));
    for (torque, want) in
        [(5e-7, 0.197_357_911_317_6), (1.5e-6, 0.409_980_820_065), (3e-6, 0.641_798_086_058_3)]
    {
        let balance = Balance::new(&system, Wave::sine(torque), 1, 1).with_samples(4096);
        let mut start = balance.rest(drive(f));
        start.series[(0, 2)] = 0.1;
        let x = balance.solve(&start).unwrap();
        assert!(
            (amplitude(&x, 1) / want - 1.0).abs() < 1e-6,
            "{torque:e}: {} against {want}",
            amplitude(&x, 1)
        );
    }
}

/// Wished: 1e-3 against time with one harmonic, 1e-5 with nine.
#[test]
fn balance_and_time_agree() {
    let hinge = Hinge::new(DAMPING, DRAG, &[1.0]);
    for [f, _, by_time, third] in WORKED {
        let rough = Balance::new(&hinge, Wave::sine(TORQUE), 1, 1);
        let one = rough.solve(&rough.rest(drive(f))).unwrap();
        assert!(
            (amplitude(&one, 1) / by_time - 1.0).abs() < 1e-3,
            "{f} Hz, one harmonic: {}",
            amplitude(&one, 1)
        );
        let fine = Balance::new(&hinge, Wave::sine(TORQUE), 9, 1);
        let nine = fine.solve(&fine.rest(drive(f))).unwrap();
        assert!((amplitude(&nine, 1) / by_time - 1.0).abs() < 1e-5, "{f} Hz, nine: {}", amplitude(&nine, 1));
        assert!(
            (amplitude(&nine, 3) - third).abs() < 1e-5 * by_time,
            "{f} Hz, third: {}",
            amplitude(&nine, 3)
        );
        assert!(stability(&fine, &nine).stable(), "{f} Hz: quadratic drag only damps");
    }
}

/// The same from our own explicit method: forty periods from the balance's state leave it where it is.
#[test]
fn time_holds_the_balance() {
    let hinge = Hinge::new(DAMPING, DRAG, &[1.0]);
    for f in [9.621, 12.027, 14.432] {
        let balance = Balance::new(&hinge, Wave::sine(TORQUE), 9, 1);
        let x = balance.solve(&balance.rest(drive(f))).unwrap();
        let inputs = |t: f64| Inputs { input: TORQUE * (TAU * f * t).cos(), ..Inputs::default() };
        let mut run = Explicit::new(&hinge, &inputs, 1e-11, 1e-4).unwrap();
        let (q, v) = x.at(0.0);
        let end = run.advance([q.clone(), v.clone()], 0.0, 40.0 / f).unwrap();
        let size = amplitude(&x, 1);
        let off = (end[0][0] - q[0]).hypot((end[1][0] - v[0]) / (TAU * f));
        assert!(off < 1e-5 * size, "{f} Hz: off by {:e} of the swing", off / size);
    }
}

/// A branch over frequencies, from rest at the first.
fn over_frequency(balance: &Balance<'_>, values: &[f64]) -> Branch {
    follow(balance, &balance.rest(drive(values[0])), values, &Following::new(Along::Frequency), &mut |_| true)
}

/// Hardening spring, the textbook fold: three motions at one frequency, the middle one unstable with a multiplier
/// beyond +1; amplitude on the branch obeys the single-harmonic closed form (any book on nonlinear vibration):
/// [(k - m w^2) A + 3/4 k3 A^3]^2 + (c w A)^2 = F^2.
#[test]
fn a_branch_is_followed_around_its_folds() {
    struct Cubic(Linear);
    impl Oscillator for Cubic {
        fn linear(&self) -> &Linear {
            &self.0
        }
        fn force(&self, at: &Instant<'_>, out: &mut Force) {
            out.value[0] = at.input - 0.2 * at.q[0].powi(3);
            out.by_q[(0, 0)] = -0.6 * at.q[0].powi(2);
            out.by_input[0] = 1.0;
        }
    }
    let system = Cubic(Linear::single(1.0, 0.04, 1.0));
    let balance = Balance::new(&system, Wave::sine(0.15), 1, 1);
    let values: Vec<f64> = (0..61).map(|i| (0.6 + 0.03 * f64::from(i)) / TAU).collect();
    let branch = over_frequency(&balance, &values);
    assert_eq!(branch.end, End::Reached, "{} motions", branch.motions.len());
    let mut unstable = 0;
    let mut most_at_once = 0;
    for value in &values {
        most_at_once = most_at_once.max(
            branch
                .motions
                .iter()
                .filter(|m| m.asked && (m.steady.drive.frequency_hz - value).abs() < 1e-12)
                .count(),
        );
    }
    for m in &branch.motions {
        let (w, a) = (TAU * m.steady.drive.frequency_hz, amplitude(&m.steady, 1));
        let closed = ((1.0 - w * w) * a + 0.15 * a.powi(3)).powi(2) + (0.04 * w * a).powi(2);
        assert!((closed.sqrt() / 0.15 - 1.0).abs() < 1e-7, "at {w}: {closed}");
        let s = m.stability.as_ref().unwrap();
        if !s.stable() {
            unstable += 1;
            assert_eq!(s.loss, Some(Loss::Leap), "at {w}: {:?}", s.multipliers);
        }
    }
    assert_eq!(most_at_once, 3, "three motions side by side");
    assert!(unstable > 3, "{unstable} unstable motions");
}

/// What cannot be followed says where, and keeps what it has.
#[test]
fn a_lost_branch_keeps_what_it_has() {
    struct Wall(Linear);
    impl Oscillator for Wall {
        fn linear(&self) -> &Linear {
            &self.0
        }
        fn force(&self, at: &Instant<'_>, out: &mut Force) {
            // No force is defined beyond an amplitude of 0.3.
            let bad = if at.q[0].abs() > 0.3 { f64::NAN } else { 0.0 };
            out.value[0] = at.input + bad;
            out.by_input[0] = 1.0;
        }
    }
    let system = Wall(Linear::single(1.0, 0.1, 1.0));
    let balance = Balance::new(&system, Wave::sine(0.1), 1, 1);
    let values: Vec<f64> = (0..20).map(|i| (0.5 + 0.05 * f64::from(i)) / TAU).collect();
    let branch = over_frequency(&balance, &values);
    let End::Lost { at, .. } = &branch.end else { panic!("{:?}", branch.end) };
    // |1 - w^2| near 1/3 is where 0.1 grows to 0.3.
    let w = TAU * at;
    assert!((0.1 / (1.0 - w * w).hypot(0.1 * w) - 0.3).abs() < 0.01, "lost at {w}");
    assert!(branch.motions.iter().filter(|m| m.asked).count() >= 6, "kept {}", branch.motions.len());
}

/// Exact derivatives against differences, with half-frequency base period, two freedoms, swing-dependent drag.
#[test]
fn derivatives_of_the_balance_are_exact() {
    struct Pair(Linear, DVector<f64>);
    impl Oscillator for Pair {
        fn linear(&self) -> &Linear {
            &self.0
        }
        fn force(&self, at: &Instant<'_>, out: &mut Force) {
            let (x, y, v, s) = (at.q[0], at.q[1], at.v[0], at.swing);
            out.value[0] = at.input * (1.0 + x * y) - s * v.powi(3);
            out.value[1] = at.input * x * x * 0.5 + y * v;
            out.by_q[(0, 0)] = at.input * y;
            out.by_q[(0, 1)] = at.input * x;
            out.by_q[(1, 0)] = at.input * x;
            out.by_q[(1, 1)] = v;
            out.by_v[(0, 0)] = -3.0 * s * v * v;
            out.by_v[(1, 0)] = y;
            out.by_input[0] = 1.0 + x * y;
            out.by_input[1] = x * x * 0.5;
            out.by_swing[0] = -v.powi(3);
        }
        fn swing(&self) -> Option<&DVector<f64>> {
            Some(&self.1)
        }
    }
    let m = |a: [f64; 4]| nalgebra::DMatrix::from_row_slice(2, 2, &a);
    let linear = Linear {
        mass: m([1.0, 0.2, 0.2, 2.0]),
        damping: m([0.1, 0.02, 0.03, 0.2]),
        stiffness: m([3.0, -0.5, -0.5, 4.0]),
    };
    let system = Pair(linear, DVector::from_vec(vec![1.0, -0.3]));
    let wave = Wave { form: Form::Triangle, amplitude: 0.7, offset: 0.2, lag_s: 0.0 };
    let balance = Balance::new(&system, wave, 2, 2);
    let mut x = balance.rest(Drive { frequency_hz: 0.2, level: 0.9 });
    x.series.iter_mut().enumerate().for_each(|(i, c)| *c = 0.3 * (1.7 * i as f64).sin());
    let exact = balance.residual(&x);
    let d = 1e-6;
    let check = |at: &dyn Fn(f64) -> super::super::Steady, want: &DVector<f64>, what: &str| {
        let by = (balance.residual(&at(d)).value - balance.residual(&at(-d)).value) / (2.0 * d);
        let off = (&by - want).amax() / want.amax();
        assert!(off < 1e-7, "{what}: {off:e}");
    };
    for i in 0..x.series.len() {
        let moved = |d: f64| {
            let mut y = x.clone();
            y.series[i] += d;
            y
        };
        check(&moved, &exact.jacobian.column(i).into_owned(), "coefficient");
    }
    let faster = |d: f64| {
        let mut y = x.clone();
        y.drive.frequency_hz += d;
        y
    };
    check(&faster, &exact.by_frequency, "frequency");
    let stronger = |d: f64| {
        let mut y = x.clone();
        y.drive.level += d;
        y
    };
    check(&stronger, &exact.by_level, "level");
}

/// A square wave on a linear oscillator: every harmonic by its own transfer function.
#[test]
fn square_wave_harmonics_superpose() {
    let hinge = Hinge::new(DAMPING, 0.0, &[1.0]);
    let wave = Wave { form: Form::Square, amplitude: 1e-7, offset: 0.0, lag_s: 0.0 };
    let f = (SPRING / INERTIA).sqrt() / TAU / 3.0;
    let balance = Balance::new(&hinge, wave, 7, 1);
    let x = balance.solve(&balance.rest(drive(f))).unwrap();
    for k in [1usize, 3, 5, 7] {
        let w = TAU * f * k as f64;
        let want = 4e-7 / (PI * k as f64) / (SPRING - INERTIA * w * w).hypot(DAMPING * w);
        let got = amplitude(&x, k);
        assert!((got / want - 1.0).abs() < 1e-8, "harmonic {k}: {got:e} against {want:e}");
    }
}
