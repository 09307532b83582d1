//! Fits and bounds against the NIST/SEMATECH e-Handbook, textbook data, and independent computation.

#![allow(clippy::float_cmp, reason = "exact figures are meant")]

use super::proof::{
    chance_of_at_most, proven_reliability, proven_scale, samples_needed, test_length, weibull_life,
};
use super::*;

/// NIST/SEMATECH e-Handbook 8.4.1.3: twenty units, ten failed, the others whole at 500 h.
fn handbook() -> Vec<Tested> {
    let failed = [54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0];
    failed.map(Tested::failed).into_iter().chain([Tested::survived(500.0); 10]).collect()
}

/// Shock absorbers, distances of P. D. T. O'Connor, Practical Reliability Engineering (1985); which ones failed is
/// from memory.
fn absorbers() -> Vec<Tested> {
    let failed = [6700, 9120, 12200, 13150, 14300, 17520, 20100, 20900, 22700, 26510, 27490];
    let whole = [
        6950, 7820, 8790, 9660, 9820, 11310, 11690, 11850, 11880, 12140, 12870, 13330, 13470, 14040, 17540,
        17890, 18450, 18960, 18980, 19410, 20100, 20150, 20320, 23490, 27410, 27890, 28100,
    ];
    let failed = failed.into_iter().map(|t| Tested::failed(f64::from(t)));
    failed.chain(whole.into_iter().map(|t| Tested::survived(f64::from(t)))).collect()
}

#[track_caller]
fn close(value: f64, want: f64, tolerance: f64) {
    assert!((value / want - 1.0).abs() <= tolerance, "{value} against {want}");
}

/// The handbook prints shape 1.7208, scale 606.5280, mean 540.737, deviation 323.806, AIC 154.27; more digits
/// recomputed with two general statistics libraries.
#[test]
fn weibull_fit_of_the_handbook() {
    let found = fit(Family::Weibull, &handbook()).expect("a fit");
    close(found.shape(), 1.7208, 1e-5);
    close(found.scale(), 606.528, 1e-6);
    close(found.shape(), 1.720_797_260_801_36, 1e-9);
    close(found.scale(), 606.527_558_003_572, 1e-9);
    close(found.log_likelihood, -75.134_618_164_474_9, 1e-10);
    close(found.covariance[0].sqrt(), 0.205_943_907_188_111, 1e-6);
    close(found.covariance[2].sqrt(), 0.291_812_763_632_284, 1e-6);
    let [mean, deviation] = found.moments();
    close(mean, 540.737, 1e-6);
    close(deviation, 323.806, 1e-5);
    close(2.0 * 2.0 - 2.0 * found.log_likelihood, 154.27, 1e-5);
}

#[test]
fn weibull_fit_of_the_absorbers() {
    let found = fit(Family::Weibull, &absorbers()).expect("a fit");
    close(found.shape(), 3.160_470_314_534_59, 1e-8);
    close(found.scale(), 27_718.718_128_515_1, 1e-8);
    close(found.log_likelihood, -123.995_361_188_833, 1e-10);
    close(found.covariance[0].sqrt(), 0.109_890_473_796_821, 1e-6);
    close(found.covariance[2].sqrt(), 0.231_237_224_812_566, 1e-6);
}

/// The handbook prints AIC 154.39.
#[test]
fn lognormal_fit_of_the_handbook() {
    let found = fit(Family::Lognormal, &handbook()).expect("a fit");
    close(found.mu, 6.226_015_051_885_65, 1e-7);
    close(found.sigma, 0.908_914_044_899_451, 1e-6);
    close(found.log_likelihood, -75.196_270_778_884_4, 1e-9);
    close(4.0 - 2.0 * found.log_likelihood, 154.39, 2e-5);
}

/// Recomputed with general statistics libraries.
#[test]
fn bounds_of_the_handbook_by_curvature_and_by_likelihood_ratio() {
    let samples = handbook();
    let found = fit(Family::Weibull, &samples).expect("a fit");
    let both = |i: Interval, low: f64, high: f64| {
        close(i.low, low, 1e-5);
        close(i.high, high, 1e-5);
    };
    both(bounds_of_shape(&found, 0.95), 0.971_266_101_035, 3.048_745_559_66);
    both(bounds_of_scale(&found, 0.95), 405.089_294_961_779, 908.134_782_116);
    let b10 = bounds_of_quantile(&found, 0.1, 0.95);
    close(b10.value, 164.022_438_660_012, 1e-8);
    both(b10, 83.875_129_809_8, 320.754_917_995);
    let ratio = likelihood_bounds(&found, &samples, 0.1, 0.95).expect("bounds");
    both(ratio.shape, 0.905_645_358_752, 2.885_737_865_74);
    both(ratio.scale, 437.556_745_394, 1_118.877_624_70);
    both(ratio.life, 59.854_554_249_4, 271.949_517_555);
}

#[test]
fn rank_regression_of_the_handbook() {
    let benard = plotted(&handbook(), RankRule::Benard);
    let line = rank_line(Family::Weibull, &benard, true).expect("a line");
    close(1.0 / line.sigma, 1.625_962_767_167_08, 1e-9);
    close(line.mu.exp(), 601.959_890_300_891, 1e-9);
    close(line.r2, 0.896_403_625_860_642, 1e-9);
    let other = rank_line(Family::Weibull, &benard, false).expect("a line");
    close(1.0 / other.sigma, 1.457_518_9, 1e-7);
    close(other.mu.exp(), 667.336_36, 1e-7);
    let exact = rank_line(Family::Weibull, &plotted(&handbook(), RankRule::Exact), true).expect("a line");
    close(1.0 / exact.sigma, 1.632_198_3, 1e-7);
    close(exact.mu.exp(), 601.384_13, 1e-7);
}

#[test]
fn ranks_pass_over_survivors() {
    let t = [Tested::failed(100.0), Tested::survived(150.0), Tested::failed(200.0), Tested::survived(250.0)];
    let points = plotted(&[&t[..], &[Tested::failed(300.0)]].concat(), RankRule::Benard);
    let ranks: Vec<f64> = points.iter().map(|p| p.rank).collect();
    assert_eq!(ranks, [1.0, 2.25, 4.125], "adjusted ranks");
    for (p, want) in points.iter().zip([0.129_630, 0.361_111, 0.708_333]) {
        assert!((p.share - want).abs() < 1e-6, "{p:?}");
    }
    for (n, want) in [(5, 0.129_449), (10, 0.066_967), (20, 0.034_064)] {
        let one = plotted(&vec![Tested::failed(1.0); n], RankRule::Exact)[0];
        assert!((one.share - want).abs() < 1e-6, "first of {n}: {one:?}");
    }
}

/// Exact binomial bounds; the units needed are ln(1 - C) / ln R rounded up.
#[test]
fn few_failures_prove_what_the_binomial_says() {
    let wanted = [0.891_250_938_133_746, 0.819_039_036_563_261, 0.755_234_682_871_388, 0.695_813_188_592_521];
    for (failures, want) in (0..).zip(wanted) {
        close(proven_reliability(20, failures, 0.9).expect("a bound"), want, 1e-9);
    }
    close(proven_reliability(20, 0, 0.95).expect("a bound"), 0.860_891_659, 1e-8);
    for (r, c, want) in [
        (0.9, 0.9, 22),
        (0.95, 0.9, 45),
        (0.99, 0.9, 230),
        (0.999, 0.9, 2302),
        (0.9, 0.95, 29),
        (0.95, 0.95, 59),
        (0.99, 0.95, 299),
    ] {
        assert_eq!(samples_needed(r, c, 0), Ok(want), "R {r} at C {c}");
    }
    // Two failures allowed: exactly at the bound both ways.
    let n = samples_needed(0.9, 0.9, 2).expect("a number");
    assert!(chance_of_at_most(2, n, 0.9) <= 0.1 && chance_of_at_most(2, n - 1, 0.9) > 0.1, "{n}");
    assert_eq!(proven_reliability(5, 5, 0.9), Ok(0.0), "all failed: nothing is proven");
}

#[test]
fn survivors_prove_a_life_with_an_assumed_shape() {
    let units = [Tested::survived(1e8); 20];
    for (shape, scale, b10, longer) in [
        (1.5, 422_548_150.024_495, 9.426e7, 1.714_286_479_585_43),
        (2.0, 294_718_333.974_407, 9.566e7, 1.498_175_014_481_87),
        (3.0, 205_559_760.173_166, 9.709e7, 1.309_307_633_669_58),
    ] {
        let found = proven_scale(&units, shape, 0.9).expect("a bound");
        close(found, scale, 1e-9);
        close(weibull_life(found, shape, 0.1), b10, 1e-4);
        close(test_length(20, 0.95, 0.9, shape).expect("a length"), longer, 1e-9);
    }
    for (failures, want) in [(0.0, std::f64::consts::LN_10), (1.0, 3.889_720_170), (2.0, 5.322_320_338)] {
        close(special::half_chi_square(0.9, 2.0 * failures + 2.0), want, 1e-9);
    }
}

#[test]
fn two_equal_arms_are_weaker_by_the_shape() {
    let arm = series::assumed(Family::Weibull, 1e8_f64.ln(), 0.5);
    let flap = series::life(&[arm, arm], 0.1);
    close(flap, arm.life(0.1) * series::scale_of_weakest(2, 2.0), 1e-9);
    close(
        series::reliability(&[arm, arm], 3e7),
        series::reliability_of_equal(arm.reliability(3e7), 2),
        1e-12,
    );
    let log = series::assumed(Family::Lognormal, 1e8_f64.ln(), 0.5);
    close(log.life(0.1), 5.268_835e7, 1e-6);
    close(log.life(0.01), 3.124_928e7, 1e-6);
    close(log.reliability(5e7), 0.917_171_481, 1e-8);
    let mixed = series::life(&[arm, log], 0.2);
    close(1.0 - arm.reliability(mixed) * log.reliability(mixed), 0.2, 1e-9);
    assert_eq!(series::life(&[], 0.1), f64::INFINITY, "no parts never fail");
}

/// Birnbaum and Saunders (1958), NIST/SEMATECH 1.4.2.9, 101 lives: with no survivors the fit of half the failures
/// told as survivors at their time must shift to longer life.
#[test]
fn survivors_lengthen_the_life_found() {
    let all = fit(Family::Weibull, &absorbers().iter().map(|s| Tested::failed(s.time)).collect::<Vec<_>>());
    let some = fit(Family::Weibull, &absorbers());
    assert!(some.expect("some").life(0.1) > all.expect("all").life(0.1), "survivors were thrown away");
}

#[test]
fn hopeless_samples_are_refused_with_a_remedy() {
    let told = |samples: &[Tested]| fit(Family::Weibull, samples).expect_err("no fit").to_string();
    let none = told(&[Tested::survived(1e8); 20]);
    assert!(none.contains("none of 20 samples failed") && none.contains("assume a shape"), "{none}");
    let once = told(&[Tested::failed(3e7); 8]);
    assert!(once.contains("all 8 failures share one time") && once.contains("inspect"), "{once}");
    for bad in [-1.0, 0.0, f64::NAN] {
        let text = told(&[Tested::failed(1e6), Tested::failed(bad)]);
        assert!(text.contains("sample 2") && text.contains("above zero"), "{text}");
    }
    // One failure among longer survivors has a peak; among shorter ones it has none.
    let beyond = fit(Family::Weibull, &[Tested::failed(1e7), Tested::survived(4e7), Tested::survived(4e7)]);
    assert!(beyond.is_ok_and(|f| f.shape() > 0.1 && f.scale() > 1e7), "one failure, two survivors");
    let short = told(&[Tested::failed(4e7), Tested::survived(1e7), Tested::survived(1e7)]);
    assert!(short.contains("share one time"), "{short}");
    assert!(proven_reliability(3, 4, 0.9).is_err() && proven_reliability(0, 0, 0.9).is_err(), "counts");
    assert!(samples_needed(1.0, 0.9, 0).is_err() && samples_needed(0.9, 1.2, 0).is_err(), "shares");
    assert!(proven_scale(&[], 2.0, 0.9).is_err() && test_length(0, 0.9, 0.9, 2.0).is_err(), "no samples");
}
