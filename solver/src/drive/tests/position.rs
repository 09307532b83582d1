//! Torque that depends on the angle: means, even harmonics, motion at half the drive frequency.

use super::super::{Along, Balance, Drive, Following, Loss, Steady, Wave, follow, stability};
use super::*;
use nalgebra::DVector;
use std::f64::consts::TAU;

/// Torque per ampere over angle of an invented vane above a disc magnet, constant first; a definition, also beyond the
/// angles it was fitted to.
const TORQUE: [f64; 7] = [
    -4.764_678e-5,
    0.000_134_027_4,
    -0.000_211_007,
    0.000_447_692_8,
    -0.000_538_713_3,
    -0.001_264_068,
    0.002_409_772,
];

/// f, Hz; mean, first, second, third harmonic, rad (nine harmonics, recomputed independently).
const ROWS: [[f64; 5]; 5] = [
    [9.621, -0.006_386_026_391_21, 0.112_886_146_777_8, 0.004_109_629_429_61, 7.426_839_969_861e-5],
    [11.425, -0.030_318_323_509_45, 0.595_942_896_079, 0.013_324_655_714_58, 0.001_517_251_128_353],
    [12.027, 0.001_228_914_642_368, 0.752_606_514_544_8, 0.013_363_603_669_16, 0.001_270_022_719_038],
    [12.628, 0.026_164_755_284_63, 0.523_950_926_276_1, 0.010_143_142_871_1, 0.001_605_869_268_371],
    [14.432, 0.004_811_826_328_009, 0.088_548_017_560_27, 0.001_021_898_990_38, 3.584_442_913_568e-5],
];

fn harmonics(x: &Steady) -> [f64; 4] {
    let one = DVector::from_element(1, 1.0);
    [0, 1, 2, 3].map(|k| {
        let [c, s] = x.harmonic_of(&one, k);
        if k == 0 { c } else { c.hypot(s) }
    })
}

#[test]
fn one_sided_torque_shifts_the_mean() {
    let hinge = Hinge::new(DAMPING, DRAG, &TORQUE);
    let balance = Balance::new(&hinge, Wave::sine(0.03), 9, 1).with_samples(512);
    let values = ROWS.map(|r| r[0]);
    let start = balance.rest(Drive { frequency_hz: values[0], level: 1.0 });
    let branch = follow(&balance, &start, &values, &Following::new(Along::Frequency), &mut |_| true);
    for row in ROWS {
        let motion =
            branch.motions.iter().find(|m| m.asked && (m.steady.drive.frequency_hz - row[0]).abs() < 1e-12);
        let got = harmonics(&motion.expect("an asked value").steady);
        for (got, want) in got.iter().zip(&row[1..]) {
            assert!(
                (got - want).abs() < 1e-9 + 1e-6 * want.abs(),
                "{} Hz: {got:.12} against {want:.12}",
                row[0]
            );
        }
    }
}

/// Current, A; change of torque over spring; swing at half the drive frequency and at the drive frequency, rad (time
/// integration by a classic fourth-order method over 600 s, independently; at 15 mA the motion takes 60 s to settle),
/// drive at twice the natural frequency. Threshold of the linear theory:
/// epsilon = 4 zeta = 0.04.
const HALVES: [[f64; 4]; 4] = [
    [0.004, 0.014_452_712_696_08, 0.0, 0.001_712_454_523_317],
    [0.015, 0.054_197_672_610_31, 0.117_636_477_4, 0.006_620_104_8],
    [0.03, 0.108_395_345_220_6, 0.657_024_801_054_8, 0.021_844_483_916_06],
    [0.06, 0.216_790_690_441_2, 0.695_814_854_239_8, 0.025_760_617_462_72],
];

#[test]
fn half_frequency_motion_sets_in_beyond_its_threshold() {
    // Damping ratio 0.01.
    let hinge = Hinge::new(DAMPING, DRAG, &TORQUE);
    let f = 2.0 * (SPRING / INERTIA).sqrt() / TAU;
    for [current, epsilon, half, whole] in HALVES {
        assert!((current * TORQUE[1] / SPRING / epsilon - 1.0).abs() < 1e-4, "epsilon at {current} A");
        let plain = Balance::new(&hinge, Wave::sine(current), 5, 1);
        let drive = Drive { frequency_hz: f, level: 1.0 };
        let x = plain.solve(&plain.rest(drive)).unwrap();
        let judged = stability(&plain, &x);
        let two = Balance::new(&hinge, Wave::sine(current), 5, 2).with_samples(512);
        if half == 0.0 {
            assert!(judged.stable(), "{current} A: {:?}", judged.multipliers);
            let got = harmonics(&x)[1];
            assert!((got / whole - 1.0).abs() < 1e-4, "{current} A: {got} against {whole}");
            continue;
        }
        assert_eq!(judged.loss, Some(Loss::Halving), "{current} A: {:?}", judged.multipliers);
        // From a good half-frequency swing on.
        let mut found = None;
        for guess in [0.05, 0.2, 0.4, 0.65, 0.7] {
            for turn in [0.0_f64, 0.8, 1.6, 2.4] {
                let mut start = two.rest(drive);
                (start.series[(0, 1)], start.series[(0, 2)]) = (guess * turn.cos(), guess * turn.sin());
                let settled = two.solve(&start).ok();
                let steady = settled.filter(|x| x.series[(0, 1)].hypot(x.series[(0, 2)]) > 1e-3);
                found = found.or_else(|| steady.filter(|x| stability(&two, x).stable()));
            }
        }
        let x = found.expect("a stable half-frequency motion");
        let (at_half, at_drive) =
            (x.series[(0, 1)].hypot(x.series[(0, 2)]), x.series[(0, 3)].hypot(x.series[(0, 4)]));
        assert!((at_half / half - 1.0).abs() < 1e-4, "{current} A, half: {at_half} against {half}");
        assert!((at_drive / whole - 1.0).abs() < 1e-4, "{current} A, whole: {at_drive} against {whole}");
    }
}
