//! Plans of durability tests: how many, how long, what they prove, how likely they are to succeed, what they cost.

use super::proof::{above_zero, chance_of_at_most, proven_reliability, samples_needed, test_length};
use super::{StatError, share};
use serde::Serialize;

/// What is to be shown and with what.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanWish {
    /// Share that must survive.
    pub reliability: f64,
    /// Confidence.
    pub confidence: f64,
    /// Life that must be survived, cycles.
    pub goal_cycles: f64,
    /// Weibull shape assumed.
    pub shape: f64,
    /// Drive frequency of the test, Hz.
    pub frequency_hz: f64,
    /// Places on the rig.
    pub places: u32,
    /// Predicted life with 10 per cent failed, cycles, for the chance of success.
    pub predicted_ten_percent_cycles: Option<f64>,
    /// Cost of one sample, of setting up, and of a day of the rig, in the user's money.
    pub costs: [f64; 3],
}

/// One way to test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TestPlan {
    /// Samples.
    pub samples: u32,
    /// Failures that may happen.
    pub failures: u32,
    /// Length of the test of each sample, cycles.
    pub cycles: f64,
    /// Days of the whole test, samples in turns where the rig has too few places.
    pub days: f64,
    /// Chance that the test succeeds if the design is as predicted.
    pub chance: Option<f64>,
    /// Cost in all.
    pub cost: f64,
}

/// Plans with no and one failure allowed, at and beyond the wished life.
///
/// # Errors
/// A share outside 0 to 1, a life, shape or frequency not above zero, no place on the rig.
pub fn plans(wish: &PlanWish) -> Result<Vec<TestPlan>, StatError> {
    share("the reliability", wish.reliability)?;
    share("the confidence", wish.confidence)?;
    above_zero("the wished life", wish.goal_cycles)?;
    above_zero("the Weibull shape", wish.shape)?;
    above_zero("the frequency", wish.frequency_hz)?;
    if wish.places == 0 {
        return Err(StatError::new("the rig has no place", "give at least one"));
    }
    let mut found = Vec::new();
    for failures in [0, 1] {
        let n = samples_needed(wish.reliability, wish.confidence, failures)?;
        found.push(wish.plan(n, failures, 1.0));
        let mut fewer: Vec<u32> = [2, 4, 8].iter().map(|d| n.div_ceil(*d)).collect();
        fewer.dedup();
        for n in fewer.into_iter().filter(|&n| n > failures + 1) {
            if let Some(length) = wish.length(n, failures) {
                found.push(wish.plan(n, failures, length));
            }
        }
    }
    Ok(found)
}

impl PlanWish {
    /// Length of the test over the wished life that proves it with some samples: the binomial bound at the end of the
    /// test, carried back along the assumed shape.
    fn length(&self, samples: u32, failures: u32) -> Option<f64> {
        if failures == 0 {
            return test_length(samples, self.reliability, self.confidence, self.shape).ok();
        }
        let at_end = proven_reliability(samples, failures, self.confidence).ok()?;
        let length = (at_end.ln() / self.reliability.ln()).powf(1.0 / self.shape);
        length.is_finite().then_some(length)
    }

    fn plan(&self, samples: u32, failures: u32, length: f64) -> TestPlan {
        let cycles = length * self.goal_cycles;
        let turns = f64::from(samples.div_ceil(self.places));
        let days = turns * crate::life::count::days(cycles, self.frequency_hz);
        let chance = self.predicted_ten_percent_cycles.map(|ten| {
            let whole = (0.9_f64.ln() * (cycles / ten).powf(self.shape)).exp();
            chance_of_at_most(failures, samples, whole)
        });
        let [sample, setup, day] = self.costs;
        TestPlan {
            samples,
            failures,
            cycles,
            days,
            chance,
            cost: setup + sample * f64::from(samples) + day * days,
        }
    }
}

/// What none, one, two and three failures among samples prove.
///
/// # Errors
/// As [`proven_reliability`].
pub fn what_failures_prove(samples: u32, confidence: f64) -> Result<Vec<f64>, StatError> {
    (0..=3.min(samples)).map(|failures| proven_reliability(samples, failures, confidence)).collect()
}

/// Times to look at the samples: a dozen, evenly spaced in the share failed by the assumed shape so that each look is
/// as likely to find something, the first at a tenth of the test.
#[must_use]
pub fn looks(cycles: f64, shape: f64) -> Vec<f64> {
    let first = 0.1_f64.powf(shape);
    (0..12).map(|k| cycles * (first + (1.0 - first) * f64::from(k) / 11.0).powf(1.0 / shape)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wish() -> PlanWish {
        PlanWish {
            reliability: 0.9,
            confidence: 0.9,
            goal_cycles: 5e7,
            shape: 2.0,
            frequency_hz: 16.0,
            places: 10,
            predicted_ten_percent_cycles: Some(1e8),
            costs: [20.0, 300.0, 5.0],
        }
    }

    #[test]
    fn plans_meet_the_textbook_numbers() {
        let found = plans(&wish()).expect("plans");
        let first = found[0];
        assert_eq!((first.samples, first.failures), (22, 0), "zero failures, 90 at 90 per cent");
        assert!(
            (first.days - 3.0 * 5e7 / 16.0 / 86_400.0).abs() < 1e-9,
            "three turns on ten places: {first:?}"
        );
        assert!((first.cost - (300.0 + 440.0 + 5.0 * first.days)).abs() < 1e-9, "{first:?}");
        let half = found[1];
        assert_eq!(half.samples, 11, "half as many");
        let want = (0.1_f64.ln() / (11.0 * 0.9_f64.ln())).sqrt();
        assert!((half.cycles / 5e7 - want).abs() < 1e-12, "longer by the shape: {half:?}");
        // The binomial with one failure: 38 samples (textbook tables).
        assert!(found.iter().any(|p| (p.samples, p.failures) == (38, 1)), "{found:?}");
    }

    /// At half of the life with 10 per cent failed, shape 2: each survives with 0.9^(1/4); all of 22 with its 22nd power.
    #[test]
    fn chance_of_success_is_the_binomial_of_the_prediction() {
        let found = plans(&wish()).expect("plans")[0];
        let each = 0.9_f64.powf(0.25);
        let want = each.powi(22);
        assert!((found.chance.expect("a chance") - want).abs() < 1e-9, "{found:?} {want}");
    }

    #[test]
    fn looks_fall_inside_the_test_and_bad_wishes_are_told() {
        let at = looks(1e7, 2.0);
        assert!((at[0] - 1e6).abs() < 1.0 && (at[11] - 1e7).abs() < 1.0 && at.is_sorted(), "{at:?}");
        assert!(plans(&PlanWish { reliability: 1.5, ..wish() }).is_err(), "no share");
        assert!(plans(&PlanWish { places: 0, ..wish() }).is_err(), "no rig");
        assert!(plans(&PlanWish { frequency_hz: f64::NAN, ..wish() }).is_err(), "no frequency");
        let proven = what_failures_prove(20, 0.9).expect("bounds");
        assert!((proven[0] - 0.891_25).abs() < 1e-5 && proven[1] < proven[0], "{proven:?}");
    }
}
