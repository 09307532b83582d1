//! From the steady loop of a board to the life of its spots and of the whole: literature, samples, duties, levels.
//!
//! In: a [`CycleAnswer`], tested samples, wishes. Out: [`LifeReport`] in plain data. Absent: files, pictures, levels of a
//! faster test (see [`super::levels`]).

use super::Band;
use super::band::mean_stress;
use super::mean::MeanStress;
use super::miner::{Block, damage};
use super::samples::{Belief, SpotLoad, TestedSample};
use super::speed::{DrivenSpeed, Evidence, SpeedCurve, driven, evidence, held};
use crate::reliability::{Interval, StatError};
use crate::result::{CycleAnswer, CycleSpot};
use serde::Serialize;

/// How far a board swings: amplitude about its rest.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Amplitude {
    /// Current, A.
    Current(f64),
    /// Flap angle, rad.
    Angle(f64),
    /// Share of both ends of the computed swing.
    Share(f64),
}

/// A tested sample as the user gives it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GivenSample {
    /// Its name.
    pub name: String,
    /// Its swing; None: the swing computed.
    pub swing: Option<Amplitude>,
    /// Its drive frequency, Hz, where known.
    pub frequency_hz: Option<f64>,
    /// Cycles to failure, or survived.
    pub cycles: f64,
    /// Whether it failed.
    pub failed: bool,
    /// Rank of the spot that cracked, counted from 0, where known.
    pub spot: Option<usize>,
    /// Whether a place was named that lies at none of the spots.
    pub elsewhere: bool,
}

/// A duty: how long at which swing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Duty {
    /// The swing.
    pub swing: Amplitude,
    /// Cycles in one round of the list.
    pub cycles: f64,
}

/// What is asked.
#[derive(Debug, Clone, Default)]
pub struct LifeWish {
    /// Tested samples; may be empty.
    pub samples: Vec<GivenSample>,
    /// Duties that repeat; empty: the swing computed alone.
    pub duties: Vec<Duty>,
    /// Drive frequency, Hz.
    pub frequency_hz: Option<f64>,
    /// Motions at several drive frequencies; may be empty.
    pub driven: Vec<DrivenSpeed>,
    /// Cycles that 90 per cent of the boards shall survive.
    pub wanted_cycles: Option<f64>,
    /// Confidence of all bounds.
    pub confidence: f64,
}

/// Cycles to 10 and 50 per cent failed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Lives {
    /// Cycles until 10 per cent have failed.
    pub ten_percent_cycles: Interval,
    /// Cycles until half have failed.
    pub half_cycles: Interval,
}

/// A spot's life.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpotLife {
    /// Rank as in the loop's spots.
    pub rank: u32,
    /// Literature band at its strain range.
    pub band: Band,
    /// Mean-stress corrections by the strain-life law of universal slopes.
    pub mean_stress: MeanStress,
    /// Life by belief, with the mean stress that lasts.
    pub lives: Lives,
    /// The same as if there were no mean stress anywhere, samples included.
    pub without_mean: Lives,
    /// Whether the strain lies below every data point.
    pub extrapolated: bool,
}

/// Life over swing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CurveRow {
    /// Amplitude over that of the computed loop.
    pub share: f64,
    /// Flap angle amplitude, rad.
    pub angle_rad: f64,
    /// Current amplitude of the quiet swing, A.
    pub current_a: f64,
    /// Largest strain range.
    pub range: f64,
    /// Rank of the spot that has it, counted from 0.
    pub spot: usize,
    /// Life of the board.
    pub lives: Lives,
    /// What it rests on.
    pub evidence: Evidence,
}

/// Everything about life.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LifeReport {
    /// Spots, worst strain first.
    pub spots: Vec<SpotLife>,
    /// The board: all spots in series.
    pub board: Lives,
    /// The same as if there were no mean stress anywhere, samples included.
    pub board_without_mean: Lives,
    /// Samples used, and failures among them.
    pub samples: [usize; 2],
    /// Names of samples whose crack lies at none of the spots: taken as failures without a place.
    pub elsewhere: Vec<String>,
    /// Strain ranges of the samples' worst spots.
    pub tested_range: Option<[f64; 2]>,
    /// Mean Weibull shape believed.
    pub shape: f64,
    /// Life over swing, smallest first.
    pub curve: Vec<CurveRow>,
    /// Share of life used by one round of the duties, each, and in sum; None without duties.
    pub duty_damage: Option<(Vec<f64>, f64)>,
    /// Life over drive frequency: at the computed swing held, and where asked at the swing that the drive makes.
    pub speed: Vec<SpeedCurve>,
    /// Cycles that 90 per cent of the boards shall survive.
    pub wanted_cycles: Option<f64>,
    /// Drive frequency, Hz.
    pub frequency_hz: Option<f64>,
    /// Confidence of the bounds.
    pub confidence: f64,
}

impl Lives {
    pub(super) fn of(belief: &Belief, spots: &[SpotLoad], confidence: f64) -> Result<Self, StatError> {
        Ok(Self {
            ten_percent_cycles: belief.life(spots, 0.1, confidence)?,
            half_cycles: belief.life(spots, 0.5, confidence)?,
        })
    }
}

/// Strain of all spots at a swing.
///
/// # Errors
/// A swing beyond the computed one.
pub fn loads_at(cycle: &CycleAnswer, swing: Option<Amplitude>) -> Result<Vec<SpotLoad>, StatError> {
    let one = |spot: &CycleSpot| {
        let (range, share) = match swing {
            None => (Some(spot.spot.range), 1.0),
            Some(Amplitude::Current(a)) => (cycle.range_at(spot, a, false), cycle.share_of(a, false)),
            Some(Amplitude::Angle(a)) => (cycle.range_at(spot, a, true), cycle.share_of(a, true)),
            Some(Amplitude::Share(share)) => (cycle.range_at_share(spot, share), share),
        };
        range.map(|range| SpotLoad { kind: spot.kind, range, mean_pa: spot.mean_stress_at(share) })
    };
    cycle.spots.iter().map(one).collect::<Option<Vec<_>>>().ok_or_else(|| {
        let words = match swing {
            Some(Amplitude::Current(a)) => format!("{:.3} mA", a * 1e3),
            Some(Amplitude::Angle(a)) => format!("{:.3} deg", a.to_degrees()),
            Some(Amplitude::Share(share)) => format!("{:.1} %", 100.0 * share),
            None => "the whole swing".to_owned(),
        };
        StatError::new(
            format!("a swing of {words} lies beyond the computed one"),
            "compute a swing that holds all samples: raise the swing's current in the design, or give --angle",
        )
    })
}

/// Life of a board from its steady loop.
///
/// # Errors
/// No spot, a strain above the laws, a sample or duty beyond the computed swing, an empty duty.
pub fn life(cycle: &CycleAnswer, wish: &LifeWish) -> Result<LifeReport, StatError> {
    let loads = loads_at(cycle, None)?;
    let samples = tested(cycle, wish)?;
    let belief = believed(&loads, &samples)?;
    let plain: Vec<SpotLoad> = loads.iter().map(unpulled).collect();
    let plain_samples: Vec<TestedSample> = samples
        .iter()
        .map(|s| TestedSample { spots: s.spots.iter().map(unpulled).collect(), ..s.clone() })
        .collect();
    let plainly = believed(&plain, &plain_samples)?;
    let spot = |(load, own): (&SpotLoad, &CycleSpot)| {
        let outside = |e: super::OutsideLaw| StatError::new(e.to_string(), "reduce the swing");
        Ok(SpotLife {
            rank: own.spot.rank,
            band: Band::under(load.kind, load.range, load.mean_pa).map_err(outside)?,
            mean_stress: mean_stress(load.kind, load.range, load.mean_pa).map_err(outside)?,
            lives: Lives::of(&belief, &[*load], wish.confidence)?,
            without_mean: Lives::of(&plainly, &[unpulled(load)], wish.confidence)?,
            extrapolated: evidence(load, &samples) == Evidence::Extrapolated,
        })
    };
    let curve = curve(cycle, &belief, wish.confidence, &samples)?;
    let mut speed = vec![held(cycle.amplitude_rad(), &loads, &belief, (wish, &samples))?];
    if !wish.driven.is_empty() {
        speed.push(driven(cycle, &belief, (wish, &samples))?);
    }
    Ok(LifeReport {
        spots: loads.iter().zip(&cycle.spots).map(spot).collect::<Result<Vec<_>, StatError>>()?,
        board: Lives::of(&belief, &loads, wish.confidence)?,
        board_without_mean: Lives::of(&plainly, &plain, wish.confidence)?,
        samples: [belief.samples, belief.failures],
        elsewhere: wish.samples.iter().filter(|s| s.elsewhere).map(|s| s.name.clone()).collect(),
        tested_range: belief.tested,
        shape: belief.shape(),
        curve,
        duty_damage: duties(cycle, &belief, wish)?,
        speed,
        wanted_cycles: wish.wanted_cycles,
        frequency_hz: wish.frequency_hz,
        confidence: wish.confidence,
    })
}

/// A load as if it had no mean stress.
fn unpulled(load: &SpotLoad) -> SpotLoad {
    SpotLoad { mean_pa: 0.0, ..*load }
}

/// The tested samples with the strain of their spots.
pub(super) fn tested(cycle: &CycleAnswer, wish: &LifeWish) -> Result<Vec<TestedSample>, StatError> {
    let one = |given: &GivenSample| {
        let spots = loads_at(cycle, given.swing)
            .map_err(|e| StatError::new(format!("sample '{}': {}", given.name, e.what), e.remedy))?;
        Ok(TestedSample { spots, cycles: given.cycles, failed: given.failed, place: given.spot })
    };
    wish.samples.iter().map(one).collect()
}

/// The belief about a board with these loads after the samples.
pub(super) fn believed(loads: &[SpotLoad], samples: &[TestedSample]) -> Result<Belief, StatError> {
    let worst = loads.iter().copied().max_by(|a, b| a.range.total_cmp(&b.range));
    let worst =
        worst.ok_or_else(|| StatError::new("no spot of the copper is strained", "give the board a swing"))?;
    Belief::new(worst, samples)
}

/// Shares of the computed amplitude at which the curve is told.
const SHARES: [f64; 8] = [0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0];

fn curve(
    cycle: &CycleAnswer,
    belief: &Belief,
    confidence: f64,
    samples: &[TestedSample],
) -> Result<Vec<CurveRow>, StatError> {
    let (whole_a, whole_rad) = (cycle.amplitude_a(), cycle.amplitude_rad());
    let mut rows = Vec::new();
    for share in SHARES {
        let swing = (share < 1.0).then_some(Amplitude::Share(share));
        let loads = loads_at(cycle, swing)?;
        let Some((spot, worst)) = loads.iter().enumerate().max_by(|a, b| a.1.range.total_cmp(&b.1.range))
        else {
            continue;
        };
        rows.push(CurveRow {
            share,
            angle_rad: share * whole_rad,
            current_a: share * whole_a,
            range: worst.range,
            spot,
            lives: Lives::of(belief, &loads, confidence)?,
            evidence: evidence(worst, samples),
        });
    }
    Ok(rows)
}

/// Damage of one round of the duties at the board's median life.
fn duties(
    cycle: &CycleAnswer,
    belief: &Belief,
    wish: &LifeWish,
) -> Result<Option<(Vec<f64>, f64)>, StatError> {
    if wish.duties.is_empty() {
        return Ok(None);
    }
    let mut terms = Vec::new();
    for duty in &wish.duties {
        let loads = loads_at(cycle, Some(duty.swing))?;
        let life = belief.life(&loads, 0.5, wish.confidence)?.value;
        let block = Block { cycles: duty.cycles, range: loads.iter().map(|l| l.range).fold(0.0, f64::max) };
        let own =
            damage(&[block], |_| Ok(life)).map_err(|e| StatError::new(e.to_string(), "correct the duty"))?;
        terms.extend(own);
    }
    let sum = terms.iter().sum();
    Ok(Some((terms, sum)))
}
