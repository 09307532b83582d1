//! Life over drive frequency, each point with what it rests on.
//!
//! In: the steady loop, a belief, tested samples, motions by frequency. Out: [`SpeedCurve`]s: at the computed swing held,
//! where cycles stay and hours fall with one over the frequency, and at the swing that the drive makes at each frequency.
//! Absent: how the swing comes about (see [`crate::driven`]).

use super::report::{Amplitude, LifeWish, Lives, loads_at};
use super::samples::{Belief, SpotLoad, TestedSample};
use crate::reliability::StatError;
use crate::result::{CycleAnswer, DriveAnswer};
use serde::Serialize;

/// Frequencies at which a held swing is told, Hz: third-octave steps, rounded.
const HELD_HZ: [f64; 11] = [5.0, 6.3, 8.0, 10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0, 50.0];

/// Frequencies between which the cycles of a held swing hardly depend on the speed, Hz (judgement).
pub const COMPARED_HZ: [f64; 2] = [10.0, 50.0];

/// Strain of a tested sample over that of a point, within which the point counts as tested.
const NEAR: f64 = 1.1;

/// What a point rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Evidence {
    /// Samples tested at this strain, within a tenth.
    Tested,
    /// Strain between those of tested samples, or between them and the last data point of the literature.
    Between,
    /// Strain no sample was tested at, above the last data point of the literature.
    Literature,
    /// Strain below every data point.
    Extrapolated,
}

impl Evidence {
    /// Words for a table.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Tested => "samples tested at this strain",
            Self::Between => "between data points",
            Self::Literature => "literature band",
            Self::Extrapolated => "extrapolated: below every data point",
        }
    }
}

/// The motion at one drive frequency.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct DrivenSpeed {
    /// Drive frequency, Hz.
    pub frequency_hz: f64,
    /// Swing about its mean, rad.
    pub swing_rad: f64,
    /// Largest strain range of elastic copper over the motion.
    pub range: f64,
}

/// Life at one frequency.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpeedRow {
    /// Drive frequency, Hz.
    pub frequency_hz: f64,
    /// Swing, rad.
    pub swing_rad: f64,
    /// Largest strain range; None where the swing lies beyond the computed loop.
    pub range: Option<f64>,
    /// Rank of the spot that has it, counted from 0.
    pub spot: usize,
    /// Life of the board; None where the swing lies beyond the computed loop or the strain above the laws.
    pub lives: Option<Lives>,
    /// What it rests on.
    pub evidence: Evidence,
    /// Whether no sample was tested near this frequency and it lies outside those that were compared.
    pub speed_untested: bool,
    /// Why there is no life, or what else to know; empty otherwise.
    pub note: String,
}

/// Life over frequency.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpeedCurve {
    /// At the swing of the drive, else at the computed swing held.
    pub driven: bool,
    /// Rows, lowest frequency first.
    pub rows: Vec<SpeedRow>,
    /// Highest frequency at which the wanted cycles are reached by 90 per cent of the boards: by the best value and by the
    /// lower bound.
    pub highest_hz: Option<[Option<f64>; 2]>,
}

/// The asked, stable motions of a drive inside the flap angles it followed.
#[must_use]
pub fn motions(answer: &DriveAnswer) -> Vec<DrivenSpeed> {
    let good = answer.sweep.iter().filter(|r| r.asked && r.stable != Some(false) && !r.beyond);
    let mut rows: Vec<DrivenSpeed> = good
        .map(|r| DrivenSpeed { frequency_hz: r.frequency_hz, swing_rad: r.swing_rad, range: r.strain_range })
        .collect();
    rows.sort_by(|a, b| a.frequency_hz.total_cmp(&b.frequency_hz));
    rows
}

/// Wishes and tested samples with their strain.
type Asked<'w> = (&'w LifeWish, &'w [TestedSample]);

/// The computed swing held at several frequencies.
pub(super) fn held(
    swing_rad: f64,
    loads: &[SpotLoad],
    belief: &Belief,
    asked: Asked<'_>,
) -> Result<SpeedCurve, StatError> {
    let lives = Lives::of(belief, loads, asked.0.confidence)?;
    let mut hertz = HELD_HZ.to_vec();
    hertz.extend(asked.0.frequency_hz);
    hertz.sort_by(f64::total_cmp);
    hertz.dedup();
    let row = |frequency_hz: f64| row(frequency_hz, swing_rad, loads, Some(lives), asked);
    Ok(SpeedCurve { driven: false, rows: hertz.into_iter().map(row).collect(), highest_hz: None })
}

/// The swing of the drive at each frequency.
pub(super) fn driven(
    cycle: &CycleAnswer,
    belief: &Belief,
    asked: Asked<'_>,
) -> Result<SpeedCurve, StatError> {
    let mut rows = Vec::new();
    for motion in &asked.0.driven {
        let share = cycle.share_of(motion.swing_rad, true);
        let Ok(mut loads) = loads_at(cycle, Some(Amplitude::Share(share.min(1.0)))) else { continue };
        let quiet = loads.iter().map(|l| l.range).fold(0.0, f64::max);
        // What roll and the other modes add to the strain of the quiet swing.
        let more = if quiet > 0.0 { motion.range / quiet } else { 1.0 };
        loads.iter_mut().for_each(|l| l.range *= more.max(1.0));
        let beyond = share > 1.0 + 1e-6;
        let lives = if beyond { None } else { Lives::of(belief, &loads, asked.0.confidence).ok() };
        let mut own = row(motion.frequency_hz, motion.swing_rad, &loads, lives, asked);
        if beyond {
            (own.range, own.note) = (None, "beyond the computed loop: give --angle".to_owned());
        } else if own.lives.is_none() {
            own.note = "above what the laws cover".to_owned();
        } else if more > 1.25 {
            own.note = format!("{more:.2} times the strain of the quiet swing: other modes");
        }
        rows.push(own);
    }
    let highest_hz = asked.0.wanted_cycles.map(|wanted| {
        [false, true].map(|bound| {
            let reached = |r: &&SpeedRow| {
                let ten = r.lives.map(|l| l.ten_percent_cycles);
                ten.is_some_and(|i| if bound { i.low } else { i.value } >= wanted)
            };
            rows.iter().filter(reached).map(|r| r.frequency_hz).reduce(f64::max)
        })
    });
    Ok(SpeedCurve { driven: true, rows, highest_hz })
}

fn row(
    frequency_hz: f64,
    swing_rad: f64,
    loads: &[SpotLoad],
    lives: Option<Lives>,
    (wish, samples): Asked<'_>,
) -> SpeedRow {
    let top = loads.iter().copied().enumerate().max_by(|a, b| a.1.range.total_cmp(&b.1.range));
    let (spot, load) = match top {
        Some((spot, load)) => (spot, Some(load)),
        None => (0, None),
    };
    SpeedRow {
        frequency_hz,
        swing_rad,
        range: load.map(|l| l.range),
        spot,
        lives,
        evidence: load.map_or(Evidence::Extrapolated, |l| evidence(&l, samples)),
        speed_untested: speed_untested(frequency_hz, wish),
        note: String::new(),
    }
}

/// What a strain rests on.
pub(super) fn evidence(load: &SpotLoad, samples: &[TestedSample]) -> Evidence {
    let tested = samples.iter().map(|s| s.spots.iter().map(|l| l.range).fold(0.0, f64::max));
    let (mut near, mut low, mut high) = (false, f64::INFINITY, 0.0f64);
    for range in tested {
        let apart = (range / load.range).max(load.range / range);
        near |= apart <= NEAR;
        (low, high) = (low.min(range), high.max(range));
    }
    let last = load.kind.last_tested_range();
    if near {
        Evidence::Tested
    } else if low <= load.range && load.range <= high.max(last) {
        Evidence::Between
    } else if load.range >= last {
        Evidence::Literature
    } else {
        Evidence::Extrapolated
    }
}

/// Outside the compared frequencies, with no sample tested within a factor of 1.5.
fn speed_untested(frequency_hz: f64, wish: &LifeWish) -> bool {
    let [low, high] = COMPARED_HZ;
    let near = |f: f64| (f / frequency_hz).max(frequency_hz / f) <= 1.5;
    !(low..=high).contains(&frequency_hz) && !wish.samples.iter().filter_map(|s| s.frequency_hz).any(near)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::float_cmp, reason = "exact figures are meant")]

    use super::*;
    use crate::life::CopperKind;
    use crate::life::fixtures::{board, spot};
    use crate::life::report::{GivenSample, life};

    fn load(range: f64) -> SpotLoad {
        SpotLoad { kind: CopperKind::RolledAnnealed, range, mean_pa: 0.0 }
    }

    fn sample(range: f64) -> TestedSample {
        TestedSample { spots: vec![load(range)], cycles: 1e6, failed: true, place: None }
    }

    #[test]
    fn every_strain_says_what_it_rests_on() {
        let samples = [sample(1e-3), sample(1.6e-3)];
        for (range, want) in [
            (1.05e-3, Evidence::Tested),
            (1.7e-3, Evidence::Tested),
            (1.3e-3, Evidence::Between),
            (1.2e-3, Evidence::Between),
            (2.5e-3, Evidence::Literature),
            (8e-4, Evidence::Literature),
            (7e-4, Evidence::Extrapolated),
        ] {
            assert_eq!(evidence(&load(range), &samples), want, "{range}");
        }
        assert_eq!(evidence(&load(1e-3), &[]), Evidence::Literature, "no sample");
        assert_eq!(
            evidence(&load(7e-4), &[sample(6.5e-4)]),
            Evidence::Tested,
            "the user's own data reach lower"
        );
        assert_eq!(
            evidence(&load(7e-4), &[sample(5e-4)]),
            Evidence::Between,
            "samples below, literature above"
        );
        assert_eq!(evidence(&load(4e-4), &[sample(5e-4)]), Evidence::Extrapolated, "below both");
    }

    /// Hours are cycles over frequency; a driven swing has the life of that swing; one beyond the loop has none; what roll
    /// adds shortens life; the highest speed for a wanted life is that of the last row that reaches it.
    #[test]
    fn life_over_speed_is_that_of_the_swing_at_each_speed() {
        let cycle = board(vec![spot(1, |s| 1.6e-3 * s)]);
        let whole = cycle.amplitude_rad();
        let motion = |frequency_hz: f64, share: f64, more: f64| DrivenSpeed {
            frequency_hz,
            swing_rad: share * whole,
            range: 1.6e-3 * share * more,
        };
        let wish = LifeWish {
            driven: vec![
                motion(10.0, 0.5, 1.0),
                motion(20.0, 1.0, 1.0),
                motion(22.0, 1.2, 1.0),
                motion(25.0, 0.5, 1.0),
                motion(30.0, 0.5, 1.5),
            ],
            frequency_hz: Some(18.0),
            wanted_cycles: Some(1e7),
            confidence: 0.9,
            ..LifeWish::default()
        };
        let report = life(&cycle, &wish).expect("a report");
        let [held, driven] = &report.speed[..] else { panic!("two curves") };
        assert!(held.rows.iter().all(|r| r.lives == Some(report.board)), "cycles stay at a held swing");
        assert!(
            held.rows.iter().any(|r| r.frequency_hz == 18.0)
                && held.rows.is_sorted_by_key(|r| r.frequency_hz),
            "the wished frequency in its place"
        );
        let ten = |k: usize| driven.rows[k].lives.map(|l| l.ten_percent_cycles.value);
        let share = report.curve.iter().find(|r| r.share == 0.5).expect("half the swing");
        let alike = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-6;
        assert!(alike(ten(0).expect("a life"), share.lives.ten_percent_cycles.value), "half the swing");
        assert_eq!(ten(0), ten(3), "speed alone changes no cycles");
        assert!(alike(ten(1).expect("a life"), report.board.ten_percent_cycles.value), "the whole swing");
        assert!(ten(2).is_none() && driven.rows[2].note.contains("beyond"), "{:?}", driven.rows[2]);
        assert!(ten(4) < ten(3) && driven.rows[4].note.contains("1.50 times"), "{:?}", driven.rows[4]);
        let wanted = |i: usize| driven.highest_hz.and_then(|h| h[i]);
        let reaches = |k: usize| ten(k).is_some_and(|n| n >= 1e7);
        let best = [4, 3, 1, 0].into_iter().find(|&k| reaches(k)).map(|k| driven.rows[k].frequency_hz);
        assert!(best.is_some() && wanted(0) == best && wanted(1) <= best, "{:?}", driven.highest_hz);
    }

    #[test]
    fn speeds_far_from_all_data_are_told() {
        let given = GivenSample {
            name: "A".to_owned(),
            swing: None,
            frequency_hz: Some(80.0),
            cycles: 1e6,
            failed: true,
            spot: None,
            elsewhere: false,
        };
        let wish = LifeWish { samples: vec![given], ..LifeWish::default() };
        let found = [5.0, 10.0, 50.0, 60.0, 120.0, 121.0].map(|f| speed_untested(f, &wish));
        assert_eq!(found, [true, false, false, false, false, true], "near 80 Hz a sample was tested");
    }
}
