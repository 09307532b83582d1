//! Levels of a faster test between a use and the computed swing: time saved, why a level must not be used, how to split
//! the samples, how likely a level shows no failure at all.
//!
//! In: a steady loop, wishes, the use. Out: [`TestLevel`]s. Absent: what a test proves (see [`crate::reliability::plan`]).

use super::heat::WarmPlate;
use super::report::{Amplitude, LifeWish, believed, loads_at, tested};
use super::samples::SpotLoad;
use crate::reliability::{Interval, StatError};
use crate::result::CycleAnswer;
use serde::Serialize;

/// Shares of the samples for the three levels, lowest first: most where it takes longest, since the life in use is read
/// from there (common practice in accelerated tests, from memory).
const SPLIT: [u32; 3] = [4, 2, 1];

/// A coil may get this much warmer than in use, K: less is within what such an estimate is worth.
const WARMER_K: f64 = 2.0;

/// A chance of no failure above this is told as a fault of the plan.
pub const TOO_QUIET: f64 = 0.1;

/// A level of an accelerated test against the use.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TestLevel {
    /// Amplitude over that of the computed loop.
    pub share: f64,
    /// Flap angle amplitude, rad.
    pub angle_rad: f64,
    /// Largest strain range.
    pub range: f64,
    /// Rank of the spot that has it, counted from 0.
    pub spot: usize,
    /// Temperature of the coil, degC, where it can be estimated.
    pub coil_degc: Option<f64>,
    /// Median life of the board, cycles, with bounds.
    pub half_cycles: Interval,
    /// Time to the median life over that in use, with bounds: the exponent's doubt is in it.
    pub time_share: Interval,
    /// Exponent of life over strain between use and level; None for the use.
    pub exponent: Option<Interval>,
    /// Why the level must not be used; empty when it may.
    pub refused: String,
    /// Samples for it.
    pub samples: u32,
    /// Length of its test, cycles.
    pub run_cycles: f64,
    /// Failures expected by then.
    pub expected_failures: f64,
    /// Chance that none fails by then.
    pub none_fail: f64,
}

/// What a faster test is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TestWish {
    /// Swing in use, a share of the computed one.
    pub use_share: f64,
    /// Whether the larger swing is made by more current (resonance or a crank otherwise).
    pub more_current: bool,
    /// The coil, where known.
    pub coil: Option<WarmPlate>,
    /// Samples in all.
    pub samples: u32,
    /// Length of every level's test, cycles; None: until 63 per cent are expected to have failed.
    pub run_cycles: Option<f64>,
}

/// The use and three levels between it and the computed swing.
///
/// A level is refused where another spot is the worst than in use, where copper goes beyond its elastic range when it
/// stays within in use, and where more current makes the coil hotter than in use. Samples go to the others, most to the
/// lowest.
///
/// # Errors
/// A use outside the computed swing; as [`super::report::life`].
pub fn levels(cycle: &CycleAnswer, wish: &LifeWish, test: &TestWish) -> Result<Vec<TestLevel>, StatError> {
    if !(test.use_share > 0.0 && test.use_share < 1.0) {
        return Err(StatError::new(
            format!("the use is {:.3} of the computed swing", test.use_share),
            "compute a swing larger than the use: the levels lie between both",
        ));
    }
    let belief = believed(&loads_at(cycle, None)?, &tested(cycle, wish)?)?;
    let at = |share: f64| loads_at(cycle, (share < 1.0).then_some(Amplitude::Share(share)));
    let in_use = at(test.use_share)?;
    let Some((use_spot, use_load)) = worst(&in_use) else { return Ok(Vec::new()) };
    let mut found: Vec<TestLevel> = Vec::new();
    for k in 0..=3 {
        let share = test.use_share + (1.0 - test.use_share) * f64::from(k) / 3.0;
        let loads = at(share)?;
        let Some((spot, load)) = worst(&loads) else { continue };
        let mut why = Vec::new();
        if spot != use_spot {
            why.push(format!("the worst spot moves from number {} to number {}", use_spot + 1, spot + 1));
        }
        if load.range > cycle.elastic_range && use_load.range <= cycle.elastic_range {
            why.push("copper yields in every cycle, in use it does not".to_owned());
        }
        if k > 0 && test.more_current {
            why.extend(hotter(test.coil.as_ref(), [test.use_share, share].map(|s| cycle.peak_a(s))));
        }
        found.push(TestLevel {
            share,
            angle_rad: share * cycle.amplitude_rad(),
            range: load.range,
            spot,
            coil_degc: coil_degc(test, cycle, share),
            half_cycles: belief.life(&loads, 0.5, wish.confidence)?,
            time_share: belief.ratio(&loads, &in_use, 0.5, wish.confidence)?,
            exponent: if k == 0 { None } else { belief.exponent(&loads, &in_use, wish.confidence).ok() },
            refused: why.join("; "),
            samples: 0,
            run_cycles: 0.0,
            expected_failures: 0.0,
            none_fail: 1.0,
        });
    }
    let usable: Vec<usize> = (1..found.len()).filter(|&k| found[k].refused.is_empty()).collect();
    for (samples, &k) in split(test.samples, usable.len()).into_iter().zip(&usable) {
        let loads = at(found[k].share)?;
        let level = &mut found[k];
        level.samples = samples;
        let own = belief.life(&loads, 1.0 - (-1.0_f64).exp(), wish.confidence)?.value;
        level.run_cycles = test.run_cycles.unwrap_or(own);
        level.expected_failures =
            f64::from(samples) * (1.0 - belief.reliability(&loads, level.run_cycles)?);
        level.none_fail = belief.all_whole(&loads, level.run_cycles, samples)?;
    }
    Ok(found)
}

fn worst(loads: &[SpotLoad]) -> Option<(usize, SpotLoad)> {
    loads.iter().copied().enumerate().max_by(|a, b| a.1.range.total_cmp(&b.1.range))
}

/// Samples over so many usable levels, lowest first; whole numbers that add up.
fn split(samples: u32, levels: usize) -> Vec<u32> {
    let weights = &SPLIT[..levels.min(SPLIT.len())];
    let whole: u32 = weights.iter().sum();
    let mut own: Vec<u32> = weights.iter().map(|w| samples * w / whole.max(1)).collect();
    let left = samples - own.iter().sum::<u32>();
    // What division leaves over: one each, the highest level first, where it is scarcest.
    let n = own.len();
    for i in 0..left as usize {
        if n > 0 {
            own[n - 1 - i % n] += 1;
        }
    }
    own
}

fn coil_degc(test: &TestWish, cycle: &CycleAnswer, share: f64) -> Option<f64> {
    let share = if test.more_current { share } else { test.use_share };
    test.coil.as_ref()?.degc(cycle.peak_a(share))
}

/// Why more current than in use is too hot; None where it is not. Peak currents in use and at the level, A.
fn hotter(coil: Option<&WarmPlate>, [in_use, level]: [f64; 2]) -> Option<String> {
    let Some(coil) = coil else {
        let more = (level / in_use).powi(2);
        return Some(format!("the coil is heated {more:.1} times as much as in use"));
    };
    match [in_use, level].map(|a| coil.degc(a)) {
        [Some(cool), Some(warm)] if warm <= cool + WARMER_K => None,
        [Some(cool), Some(warm)] => {
            Some(format!("the coil gets {warm:.0} degC, in use {cool:.0} degC (plate in still air)"))
        }
        _ => Some("the coil has no steady temperature: it runs away".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::float_cmp, reason = "exact figures are meant")]

    use super::*;
    use crate::life::fixtures::{board, spot};

    fn wish() -> LifeWish {
        LifeWish { confidence: 0.9, ..LifeWish::default() }
    }

    fn test() -> TestWish {
        TestWish { use_share: 0.4, more_current: false, coil: None, samples: 20, run_cycles: None }
    }

    #[test]
    fn levels_of_one_elastic_spot_may_all_be_used() {
        let found = levels(&board(vec![spot(1, |s| 1e-3 * s)]), &wish(), &test()).expect("levels");
        assert!(found.iter().all(|l| l.refused.is_empty()), "{found:?}");
        let shares: Vec<f64> = found.iter().map(|l| (l.share * 10.0).round()).collect();
        assert_eq!(shares, [4.0, 6.0, 8.0, 10.0], "use and three levels");
        assert!(found.windows(2).all(|w| w[1].time_share.value < w[0].time_share.value), "time is saved");
        let top = &found[3];
        let m = top.exponent.expect("an exponent");
        assert!(m.low + 1.0 < m.value && m.value + 1.0 < m.high, "the exponent is unsure: {m:?}");
        let by_exponent = (0.4_f64.ln() * m.value).exp();
        assert!((top.time_share.value / by_exponent - 1.0).abs() < 0.1, "{top:?} {by_exponent}");
        assert!(top.time_share.high / top.time_share.low > 5.0, "{top:?}");
    }

    #[test]
    fn a_level_where_the_crack_moves_is_refused() {
        let spots = vec![spot(1, |s| 8e-4 * s), spot(2, |s| 1.1e-3 * s.abs().powf(1.5).copysign(s))];
        let found = levels(&board(spots), &wish(), &test()).expect("levels");
        assert!(
            found[0].refused.is_empty() && found[1].refused.contains("from number 1 to number 2"),
            "{found:?}"
        );
    }

    #[test]
    fn a_level_where_copper_yields_is_refused_unless_it_yields_in_use() {
        let found = levels(&board(vec![spot(1, |s| 2e-3 * s)]), &wish(), &test()).expect("levels");
        let yields = |l: &TestLevel| l.refused.contains("yields in every cycle");
        assert_eq!(found.iter().map(yields).collect::<Vec<_>>(), [false, false, true, true], "{found:?}");
        assert_eq!(
            found.iter().map(|l| l.samples).collect::<Vec<_>>(),
            [0, 20, 0, 0],
            "samples go to what is left"
        );
        let in_use = TestWish { use_share: 0.7, ..test() };
        let found = levels(&board(vec![spot(1, |s| 2e-3 * s)]), &wish(), &in_use).expect("levels");
        assert!(!found.iter().any(yields), "{found:?}");
    }

    #[test]
    fn a_level_with_a_hotter_coil_is_refused() {
        let one = || board(vec![spot(1, |s| 1e-3 * s)]);
        let plate = WarmPlate { face_m2: 2.25e-4, resistance_ohm: 6.568, air_degc: 25.0, rms_share: 1.0 };
        let hot = TestWish { more_current: true, coil: Some(plate), ..test() };
        let found = levels(&one(), &wish(), &hot).expect("levels");
        // 24, 36, 48, 60 mA: some 1, 2, 3, 4.5 K above the air.
        let degc: Vec<f64> = found.iter().map(|l| l.coil_degc.expect("a coil")).collect();
        assert!(degc[1] < degc[0] + 2.0 && degc[3] > degc[0] + 2.0, "{degc:?}");
        assert!(
            found[1].refused.is_empty() && found[3].refused.contains("the coil gets 29 degC"),
            "{found:?}"
        );
        // At resonance the current stays.
        let same = TestWish { more_current: false, ..hot };
        let found = levels(&one(), &wish(), &same).expect("levels");
        assert!(found.iter().all(|l| l.refused.is_empty() && l.coil_degc == found[0].coil_degc), "{found:?}");
        let unknown = TestWish { coil: None, ..hot };
        let found = levels(&one(), &wish(), &unknown).expect("levels");
        assert!(found[1].refused.contains("times as much as in use"), "{found:?}");
    }

    #[test]
    fn samples_are_split_most_to_the_lowest_level() {
        assert_eq!(split(20, 3), [11, 6, 3], "rest to the highest levels");
        assert_eq!(split(7, 3), [4, 2, 1], "as it stands");
        assert_eq!((split(20, 1), split(9, 2)), (vec![20], vec![6, 3]), "fewer levels");
        assert!(split(5, 0).is_empty() && split(0, 3) == [0, 0, 0], "nothing to split");
        let found = levels(&board(vec![spot(1, |s| 1e-3 * s)]), &wish(), &test()).expect("levels");
        assert_eq!(found.iter().map(|l| l.samples).sum::<u32>(), 20, "{found:?}");
        // Run to 63 per cent: the median board; the doubt about life lets all live longer than that now and then.
        assert!(found[1].none_fail > (-11.0_f64).exp() && found[1].none_fail < 0.5, "{found:?}");
        let short = TestWish { run_cycles: Some(1e3), ..test() };
        let found = levels(&board(vec![spot(1, |s| 1e-3 * s)]), &wish(), &short).expect("levels");
        assert!(found[1].none_fail > 0.9 && found[1].expected_failures < 0.1, "{found:?}");
        assert!(levels(&board(Vec::new()), &wish(), &test()).is_err(), "no spot");
        let over = TestWish { use_share: 1.2, ..test() };
        let told = levels(&board(Vec::new()), &wish(), &over).expect_err("above").to_string();
        assert!(told.contains("larger than the use"), "{told}");
    }
}
