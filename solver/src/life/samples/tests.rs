//! A belief from literature and samples: fits with survivors, places, batches, and what is refused.

use super::*;

const KIND: CopperKind = CopperKind::RolledAnnealed;

fn spot(range: f64) -> SpotLoad {
    SpotLoad { kind: KIND, range, mean_pa: 0.0 }
}

fn sample(ranges: &[f64], cycles: f64, failed: bool, place: Option<usize>) -> TestedSample {
    TestedSample { spots: ranges.iter().map(|&r| spot(r)).collect(), cycles, failed, place }
}

/// Lives at the medians of their ranks of a Weibull distribution, the later ones cut off as survivors.
fn batch(range: f64, median: f64, shape: f64, n: usize, cut: f64) -> Vec<TestedSample> {
    (0..n)
        .map(|i| {
            let p = (i as f64 + 0.7) / (n as f64 + 0.4);
            let life = median * ((-(1.0 - p).ln()) / std::f64::consts::LN_2).powf(1.0 / shape);
            sample(&[range], life.min(cut), life < cut, None)
        })
        .collect()
}

/// Without samples the answer is the band: median in its middle, a decade or more between 10 and 90 per cent.
#[test]
fn without_samples_the_prior_speaks() {
    let belief = Belief::new(spot(2e-3), &[]).expect("a belief");
    let life = belief.life(&[spot(2e-3)], 0.5, 0.8).expect("a life");
    let band = Band::at(KIND, 2e-3).expect("law");
    assert!((life.value / band.middle() - 1.0).abs() < 0.02, "{life:?} {band:?}");
    let [own, known] = [life.high / life.low, band.high() / band.low()].map(f64::ln);
    assert!((own / known - 1.0).abs() < 0.06, "{life:?} {band:?}");
    assert!(belief.tested.is_none() && belief.samples == 0, "{belief:?}");
    let ten = belief.life(&[spot(2e-3)], 0.1, 0.8).expect("a life");
    assert!(ten.value < 0.6 * life.value, "10 % fail earlier: {ten:?}");
}

/// Samples three times longer lived than the middle of the band move the belief there and narrow it.
#[test]
fn samples_move_and_narrow_the_belief() {
    let truth = 3.0 * Band::at(KIND, 1.5e-3).expect("law").middle();
    let samples = batch(1.5e-3, truth, 2.0, 20, 1.6 * truth);
    assert!(samples.iter().any(|s| !s.failed), "some survive");
    let belief = Belief::new(spot(1.5e-3), &samples).expect("a belief");
    let life = belief.life(&[spot(1.5e-3)], 0.5, 0.9).expect("a life");
    assert!(life.low < truth && truth < life.high, "{life:?} {truth}");
    assert!((life.value / truth - 1.0).abs() < 0.1 && life.high / life.low < 2.5, "{life:?} {truth}");
    assert!((belief.shape() - 2.0).abs() < 0.5, "shape {}", belief.shape());
    // Far from the tested strain the tilt makes it less sure.
    let far = belief.life(&[spot(6e-4)], 0.5, 0.9).expect("a life");
    assert!(far.high / far.low > 3.0, "{far:?}");
}

/// Refitted without one batch, the belief predicts that batch inside its band.
#[test]
fn a_batch_left_out_is_predicted() {
    let factor = 1.8;
    let life_at = |r: f64| factor * Band::at(KIND, r).expect("law").middle();
    let kept = [1.2e-3, 2e-3].map(|r| batch(r, life_at(r), 2.2, 10, 2.0 * life_at(r))).concat();
    let belief = Belief::new(spot(1.6e-3), &kept).expect("a belief");
    let predicted = belief.life(&[spot(1.6e-3)], 0.5, 0.9).expect("a life");
    assert!(predicted.low < life_at(1.6e-3) && life_at(1.6e-3) < predicted.high, "{predicted:?}");
    assert!(predicted.high / predicted.low < 3.0, "{predicted:?}");
}

#[test]
fn survivors_alone_lengthen_the_life_believed() {
    let middle = Band::at(KIND, 1e-3).expect("law").middle();
    let none = Belief::new(spot(1e-3), &[]).expect("prior");
    let some = Belief::new(spot(1e-3), &vec![sample(&[1e-3], middle, false, None); 20]).expect("a belief");
    let [a, b] = [&none, &some].map(|x| x.life(&[spot(1e-3)], 0.1, 0.9).expect("a life"));
    assert!(b.value > 2.0 * a.value && b.low > 3.0 * a.low, "{a:?} {b:?}");
}

/// A named crack at the mild spot tells more of that spot than an unnamed one: life there is believed shorter.
#[test]
fn a_named_place_is_used() {
    let n = Band::at(KIND, 2e-3).expect("law").middle();
    let fit = |place| {
        let samples = vec![sample(&[2e-3, 1.4e-3], n, true, place); 6];
        let belief = Belief::new(spot(2e-3), &samples).expect("a belief");
        belief.life(&[spot(1.4e-3)], 0.5, 0.9).expect("a life").value
    };
    assert!(fit(Some(1)) < 0.8 * fit(None) && fit(Some(0)) > 0.9 * fit(None), "named places ignored");
}

/// Weibull by hand: a failure without a place has the density of the weakest of its spots, with a place that of the
/// spot times the survival of the others, so the former is the sum of the latter; a survivor is all survivals.
#[test]
fn a_sample_is_its_weakest_spot() {
    let (shift, tilt, sigma, t) = (0.3, 0.2, 0.4, 2e5_f64);
    let spots = vec![[12.0, 0.1], [12.4, -0.05], [13.0, -0.3]];
    let row = |failed, place| Row { log_cycles: t.ln(), failed, place, spots: spots.clone() };
    let told = |failed, place| row(failed, place).log_likelihood(shift, tilt, sigma).exp();
    let shape = 1.0 / sigma;
    // Scale from the median: scale = median / (ln 2)^(1 / shape). Densities are per unit of ln t.
    let scale = |s: &[f64; 2]| (s[0] + shift - tilt * s[1]).exp() / std::f64::consts::LN_2.powf(1.0 / shape);
    let whole = |s: &[f64; 2]| (-(t / scale(s)).powf(shape)).exp();
    let density = |s: &[f64; 2]| shape * (t / scale(s)).powf(shape) * whole(s);
    let all: f64 = spots.iter().map(whole).product();
    assert!((told(false, None) / all - 1.0).abs() < 1e-12, "a survivor");
    let mut sum = 0.0;
    for (k, own) in spots.iter().enumerate() {
        let want = density(own) * all / whole(own);
        assert!((told(true, Some(k)) / want - 1.0).abs() < 1e-12, "a crack at spot {k}");
        sum += want;
    }
    assert!((told(true, None) / sum - 1.0).abs() < 1e-12, "a failure without a place");
}

/// Two equal spots and no place named: the board's median is that of one spot over 2^(1 / shape), and fitting samples
/// of two spots gives back the life of one, longer by that factor.
#[test]
fn series_of_spots_is_undone_by_the_fit() {
    let (median, shape) = (Band::at(KIND, 1.5e-3).expect("law").middle(), 2.0);
    let boards: Vec<TestedSample> = batch(1.5e-3, median, shape, 40, f64::INFINITY)
        .into_iter()
        .map(|one| TestedSample { spots: vec![spot(1.5e-3); 2], ..one })
        .collect();
    let belief = Belief::new(spot(1.5e-3), &boards).expect("a belief");
    let of = |n: usize| belief.life(&vec![spot(1.5e-3); n], 0.5, 0.9).expect("a life").value;
    assert!((of(2) / median - 1.0).abs() < 0.06, "{} {median}", of(2));
    let factor = 2.0_f64.powf(1.0 / belief.shape());
    assert!((of(1) / of(2) / factor - 1.0).abs() < 0.03, "{} {factor}", of(1) / of(2));
}

/// Mean stress is in the life of design and samples alike: samples tested under it say nothing of it twice.
#[test]
fn a_lasting_mean_stress_shortens_the_life() {
    let pulled = SpotLoad { mean_pa: 40e6, ..spot(7e-4) };
    let prior = Belief::new(spot(7e-4), &[]).expect("prior");
    let life = |b: &Belief, s: SpotLoad| b.life(&[s], 0.5, 0.9).expect("a life").value;
    let factors = Band::under(KIND, 7e-4, 40e6).expect("law").mean_factors;
    let want = (factors[0] * factors[1]).sqrt();
    assert!(want < 0.7 && want > 0.1, "{factors:?}");
    assert!((life(&prior, pulled) / life(&prior, spot(7e-4)) / want - 1.0).abs() < 1e-9, "prior");
    let samples: Vec<TestedSample> = batch(7e-4, 1e8, 2.0, 30, f64::INFINITY)
        .into_iter()
        .map(|one| TestedSample { spots: vec![pulled], ..one })
        .collect();
    let belief = Belief::new(pulled, &samples).expect("a belief");
    assert!((life(&belief, pulled) / 1e8 - 1.0).abs() < 0.15, "{}", life(&belief, pulled));
    assert!((life(&belief, pulled) / life(&belief, spot(7e-4)) / want - 1.0).abs() < 1e-9, "after samples");
}

/// Without samples the exponent is the prior's: the band's slope, unsure by one (the tilt); so is the ratio of lives.
#[test]
fn exponent_and_ratio_of_lives() {
    let belief = Belief::new(spot(1e-3), &[]).expect("prior");
    let [high, low] = [[spot(1.5e-3)], [spot(1e-3)]];
    let m = belief.exponent(&high, &low, 0.6827).expect("an exponent");
    let at = |r: f64| Band::at(KIND, r).expect("law").middle().ln();
    let want = (at(1e-3) - at(1.5e-3)) / 1.5_f64.ln();
    assert!((m.value - want).abs() < 0.05 && (m.high - m.value - TILT).abs() < 0.1, "{m:?} {want}");
    let ratio = belief.ratio(&high, &low, 0.5, 0.6827).expect("a ratio");
    assert!((ratio.value.ln() + m.value * 1.5_f64.ln()).abs() < 0.02, "{ratio:?} {m:?}");
    assert!((ratio.low.ln() + m.high * 1.5_f64.ln()).abs() < 0.02, "{ratio:?} {m:?}");
    assert!(belief.exponent(&high, &high, 0.9).is_err(), "one strain");
    let n = belief.life(&high, 0.5, 0.9).expect("a life").value;
    let [one, ten] = [1, 10].map(|k| belief.all_whole(&high, n, k).expect("a chance"));
    assert!((one - 0.5).abs() < 0.02 && ten > 0.5_f64.powi(10) * 20.0, "shared doubt: {one} {ten}");
}

#[test]
fn spots_below_all_laws_do_not_shorten_the_life_of_the_worst() {
    let belief = Belief::new(spot(1.5e-4), &[]).expect("prior");
    let one = belief.life(&[spot(1.5e-4)], 0.1, 0.9).expect("a life").value;
    let many = belief.life(&[spot(1.5e-4), spot(2e-5), spot(2e-5), spot(0.0)], 0.1, 0.9).expect("a life");
    assert!((many.value / one - 1.0).abs() < 0.01, "{} {one}", many.value);
}

#[test]
fn two_spots_live_shorter_than_one_and_few_survive_long() {
    let belief = Belief::new(spot(1e-3), &[]).expect("prior");
    let [one, two] = [1, 2].map(|n| belief.life(&vec![spot(1e-3); n], 0.1, 0.9).expect("a life").value);
    assert!(two < 0.85 * one, "{two} {one}");
    let alive = |n: f64| belief.reliability(&[spot(1e-3)], n).expect("a share");
    assert!(alive(1e4) > 0.99 && alive(1e12) < 0.01, "{} {}", alive(1e4), alive(1e12));
    let told = belief.life(&[], 0.1, 0.9).expect_err("no spots").to_string();
    assert!(told.contains("no spot"), "{told}");
    let told = Belief::new(spot(0.5), &[]).expect_err("too much").to_string();
    assert!(told.contains("above what the law covers"), "{told}");
    assert!(Belief::new(spot(1e-3), &[sample(&[1e-3], -5.0, true, None)]).is_err(), "negative cycles");
}
