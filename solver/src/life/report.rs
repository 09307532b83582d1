//! From the steady loop of a board to the life of its spots and of the whole: literature, samples, duties, levels.
//!
//! In: a [`CycleAnswer`], tested samples, wishes. Out: [`LifeReport`] in plain data. Absent: files, pictures.

use super::mean::{MeanStress, with_mean_stress};
use super::miner::{Block, damage};
use super::samples::{Belief, SpotLoad, TestedSample};
use super::{Band, count};
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
    /// Cycles to failure, or survived.
    pub cycles: f64,
    /// Whether it failed.
    pub failed: bool,
    /// Rank of the spot that cracked, counted from 0, where known.
    pub spot: Option<usize>,
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
    /// Life by belief, mean stress not applied.
    pub lives: Lives,
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
    /// Whether the strain lies below every data point.
    pub extrapolated: bool,
}

/// Everything about life.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LifeReport {
    /// Spots, worst strain first.
    pub spots: Vec<SpotLife>,
    /// The board: all spots in series.
    pub board: Lives,
    /// Samples used, and failures among them.
    pub samples: [usize; 2],
    /// Strain ranges of the samples' worst spots.
    pub tested_range: Option<[f64; 2]>,
    /// Mean Weibull shape believed.
    pub shape: f64,
    /// Life over swing, smallest first.
    pub curve: Vec<CurveRow>,
    /// Share of life used by one round of the duties, each, and in sum; None without duties.
    pub duty_damage: Option<(Vec<f64>, f64)>,
    /// Drive frequency, Hz.
    pub frequency_hz: Option<f64>,
    /// Confidence of the bounds.
    pub confidence: f64,
}

impl Lives {
    fn of(belief: &Belief, spots: &[SpotLoad], confidence: f64) -> Result<Self, StatError> {
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
        let range = match swing {
            None => Some(spot.spot.range),
            Some(Amplitude::Current(a)) => cycle.range_at(spot, a, false),
            Some(Amplitude::Angle(a)) => cycle.range_at(spot, a, true),
            Some(Amplitude::Share(share)) => cycle.range_at_share(spot, share),
        };
        range.map(|range| SpotLoad { kind: spot.kind, range })
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
    let worst = loads.iter().copied().max_by(|a, b| a.range.total_cmp(&b.range));
    let worst =
        worst.ok_or_else(|| StatError::new("no spot of the copper is strained", "give the board a swing"))?;
    let samples = wish.samples.iter().map(|given| {
        let spots = loads_at(cycle, given.swing)
            .map_err(|e| StatError::new(format!("sample '{}': {}", given.name, e.what), e.remedy))?;
        Ok(TestedSample { spots, cycles: given.cycles, failed: given.failed, place: given.spot })
    });
    let samples = samples.collect::<Result<Vec<_>, StatError>>()?;
    let belief = Belief::new(worst, &samples)?;
    let beyond = |load: &SpotLoad| match belief.tested {
        Some([low, _]) => load.range < low && load.range < load.kind.last_tested_range(),
        None => load.range < load.kind.last_tested_range(),
    };
    let spot = |(load, own): (&SpotLoad, &CycleSpot)| {
        let outside = |e: super::OutsideLaw| StatError::new(e.to_string(), "reduce the swing");
        let law = load.kind.slopes().as_strain_life();
        let amplitude = 0.5 * load.range.max(law_floor(load));
        Ok(SpotLife {
            rank: own.spot.rank,
            band: Band::at(load.kind, load.range).map_err(outside)?,
            mean_stress: with_mean_stress(&law, amplitude, own.mean_stress_pa.max(0.0)).map_err(outside)?,
            lives: Lives::of(&belief, &[*load], wish.confidence)?,
            extrapolated: beyond(load),
        })
    };
    let curve = curve(cycle, &belief, wish.confidence, &beyond)?;
    Ok(LifeReport {
        spots: loads.iter().zip(&cycle.spots).map(spot).collect::<Result<Vec<_>, StatError>>()?,
        board: Lives::of(&belief, &loads, wish.confidence)?,
        samples: [belief.samples, belief.failures],
        tested_range: belief.tested,
        shape: belief.shape(),
        curve,
        duty_damage: duties(cycle, &belief, wish)?,
        frequency_hz: wish.frequency_hz,
        confidence: wish.confidence,
    })
}

/// Least strain range the strain-life law covers.
fn law_floor(load: &SpotLoad) -> f64 {
    // At the most cycles a law speaks of, with room for the mean stress.
    1.5 * load.kind.slopes().range(super::MOST_CYCLES)
}

/// Shares of the computed amplitude at which the curve is told.
const SHARES: [f64; 8] = [0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0];

fn curve(
    cycle: &CycleAnswer,
    belief: &Belief,
    confidence: f64,
    beyond: &impl Fn(&SpotLoad) -> bool,
) -> Result<Vec<CurveRow>, StatError> {
    let half = |ends: [f64; 2]| 0.5 * (ends[1] - ends[0]).abs();
    let whole_a = cycle.currents_a[0].abs().min(cycle.currents_a[1].abs());
    let whole_rad = half(cycle.steady_ends_rad);
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
            extrapolated: beyond(worst),
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

/// A level of an accelerated test against the use.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TestLevel {
    /// Amplitude over that of the computed loop.
    pub share: f64,
    /// Flap angle amplitude, rad.
    pub angle_rad: f64,
    /// Median life of the board, cycles, with bounds.
    pub half_cycles: Interval,
    /// Time to the median life over that in use.
    pub time_share: f64,
    /// Why the level must not be used; empty when it may.
    pub refused: String,
}

/// Whether a larger swing is made at the current of use (resonance, crank) or by more current.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Drive {
    /// More current: the coil gets hotter.
    MoreCurrent,
    /// The same current at resonance, or no current at all.
    SameHeat,
}

/// Three levels between a use, given as a share of the computed amplitude, and the computed amplitude.
///
/// A level is refused where another spot is the worst than in use, where copper goes beyond its elastic range when it
/// stays within in use, and where more current makes the coil hotter than in use.
///
/// # Errors
/// A use outside the curve.
pub fn levels(
    cycle: &CycleAnswer,
    wish: &LifeWish,
    use_share: f64,
    drive: Drive,
) -> Result<Vec<TestLevel>, StatError> {
    if !(use_share > 0.0 && use_share < 1.0) {
        return Err(StatError::new(
            format!("the use is {use_share:.3} of the computed swing"),
            "compute a swing larger than the use: the levels lie between both",
        ));
    }
    let report = life(cycle, wish)?;
    let (mut found, mut in_use): (Vec<TestLevel>, Option<(usize, f64, f64)>) = (Vec::new(), None);
    let whole_rad = report.curve.last().map_or(0.0, |row| row.angle_rad);
    let loads: Vec<SpotLoad> = loads_at(cycle, None)?;
    let worst = loads.iter().copied().max_by(|a, b| a.range.total_cmp(&b.range));
    let Some(worst) = worst else { return Ok(found) };
    let samples = wish.samples.iter().map(|s| {
        Ok(TestedSample {
            spots: loads_at(cycle, s.swing)?,
            cycles: s.cycles,
            failed: s.failed,
            place: s.spot,
        })
    });
    let belief = Belief::new(worst, &samples.collect::<Result<Vec<_>, StatError>>()?)?;
    for k in 0..=3 {
        let share = use_share + (1.0 - use_share) * f64::from(k) / 3.0;
        let at = loads_at(cycle, (share < 1.0).then_some(Amplitude::Share(share)))?;
        let top = at.iter().enumerate().max_by(|a, b| a.1.range.total_cmp(&b.1.range));
        let Some((spot, load)) = top else { continue };
        let half = belief.life(&at, 0.5, wish.confidence)?;
        let (use_spot, use_range, use_life) = *in_use.get_or_insert((spot, load.range, half.value));
        let mut why = Vec::new();
        if spot != use_spot {
            why.push(format!("the worst spot moves from number {} to number {}", use_spot + 1, spot + 1));
        }
        if load.range > cycle.elastic_range && use_range <= cycle.elastic_range {
            why.push("copper yields in every cycle, in use it does not".to_owned());
        }
        if k > 0 && drive == Drive::MoreCurrent {
            why.push(format!(
                "the coil is heated {:.1} times as much as in use",
                (share / use_share).powi(2)
            ));
        }
        found.push(TestLevel {
            share,
            angle_rad: share * whole_rad,
            half_cycles: half,
            time_share: half.value / use_life,
            refused: why.join("; "),
        });
    }
    Ok(found)
}

/// Hours for a number of cycles at a frequency, where one is known.
#[must_use]
pub fn hours(cycles: f64, frequency_hz: Option<f64>) -> Option<f64> {
    frequency_hz.map(|f| count::hours(cycles, f))
}
