//! Sweeps of the reduced board: over frequency at full strength, over strength at the largest swing.
//!
//! In: reduced board, way, strains. Out: rows. Every motion is judged for stability; where the plain one gives way to
//! half-frequency motion, that motion is sought. A lost branch keeps its rows and says where it ended.

use super::Tell;
use super::damping::stroke_per_rad;
use super::reduce::wave;
use super::stage::Stage;
use super::strain::{Range, Strains};
use super::way::Way;
use crate::drive::step::{Inputs, Run, Scheme};
use crate::drive::{
    Along, Balance, Branch, Drive, End, Following, Instant, Loss, Motion, Oscillator, Reduced, Steady, Wave,
    follow, stability,
};
use crate::error::SolveError;
use crate::result::{DriveAnswer, DriveRow};
use nalgebra::DVector;
use std::f64::consts::TAU;
use std::time::Instant as Clock;

/// Frequencies of a sweep where none are wished, and its ends over the swing's frequency.
const POINTS: u32 = 60;
const FROM: f64 = 0.2;
const TO: f64 = 2.5;

/// Samples over a base period.
const SAMPLES: usize = 64;

/// Strengths of the sweep over strength.
const LEVELS: u32 = 10;

/// Everything that a row needs.
pub(super) struct Rows<'r> {
    pub(super) stage: &'r Stage<'r>,
    pub(super) way: &'r Way,
    pub(super) system: &'r Reduced,
    strains: &'r Strains,
    roll: DVector<f64>,
    resistance: Option<f64>,
    stroke_per_rad: f64,
}

/// One instant of a base period.
pub(super) struct Sample {
    /// Phase of the drive, rad.
    pub(super) turn: f64,
    pub(super) q: DVector<f64>,
    pub(super) v: DVector<f64>,
    pub(super) input: f64,
}

/// Runs the sweeps and fills their part of the answer.
pub(super) fn fill(
    stage: &Stage<'_>,
    way: &Way,
    system: &Reduced,
    strains: &Strains,
    (out, tell): (&mut DriveAnswer, &mut Tell<'_>),
) -> Result<(), SolveError> {
    let n = stage.shapes.len();
    let rows = Rows {
        stage,
        way,
        system,
        strains,
        roll: DVector::from_iterator(n, stage.shapes.iter().map(|s| s.roll)),
        resistance: stage.resistance_ohm(),
        stroke_per_rad: stroke_per_rad(stage),
    };
    let wave = wave(stage, out.source.inductance_h);
    let harmonics = stage.harmonics() as usize;
    let balance = Balance::new(system, wave, harmonics, 1);
    let begin = Clock::now();
    let mut values = frequencies(stage);
    let slow = (values[0] == 0.0).then(|| {
        values.remove(0);
        super::slow::slow(&rows, wave)
    });
    let start = begin_at(&balance, Drive { frequency_hz: values[0], level: 1.0 });
    let mut failed = None;
    let mut watch = |share: f64| match tell("sweep over frequency", 0.76 + 0.16 * share) {
        Ok(()) => true,
        Err(e) => {
            failed = Some(e);
            false
        }
    };
    let branch = follow(&balance, &start, &values, &Following::new(Along::Frequency), &mut watch);
    if let Some(error) = failed {
        return Err(error);
    }
    out.seconds[1] = begin.elapsed().as_secs_f64();
    let (mut sweep, ranges): (Vec<DriveRow>, Vec<Vec<Range>>) =
        branch.motions.iter().map(|m| rows.row(m, &balance)).unzip();
    out.sweep_lost = lost(&branch, "Hz", 1.0).map(|why| why + &struck(&sweep, way));
    let resonance = largest(&sweep, |_| true);
    let peak = largest(&sweep, |r| !r.beyond).or(resonance);
    let mut ranks = Vec::new();
    if let Some(peak) = peak {
        (out.spots, ranks) = strains.told(stage, &ranges[peak]);
        rank(&mut sweep, &ranges, &ranks);
        tell("sweep over strength", 0.93)?;
        let motion = &branch.motions[peak].steady;
        let strongest = resonance.unwrap_or(peak);
        let hertz = branch.motions[strongest].steady.drive.frequency_hz;
        let (levels, ended) = rows.over_levels(&balance, hertz, &ranks);
        (out.levels, out.levels_lost) = (levels, ended);
        tell("drag bracket", 0.96)?;
        out.peak_bracket_rad = rows.bracket(wave, motion, strongest == peak);
        tell("check in time", 0.98)?;
        out.time_check = rows.in_time(wave, motion);
    }
    let mut peak = peak;
    match slow {
        Some(Ok((mut row, ranges))) => {
            rank(std::slice::from_mut(&mut row), &[ranges], &ranks);
            sweep.insert(0, row);
            peak = peak.map(|p| p + 1);
        }
        Some(Err(why)) => out.slow_lost = Some(why),
        None => {}
    }
    out.sweep = sweep;
    out.peak = peak;
    rows.halves(wave, &branch, out);
    let rest = way.at_angle(way.rest_rad);
    let change = system.per_ampere.at(rest, 0)[1];
    let spring = way.force.at(rest, 0)[1];
    out.half_frequency.epsilon = (out.source.current_a * change / spring).abs();
    Ok(())
}

/// Asked frequencies, evenly spaced by ratio.
fn frequencies(stage: &Stage<'_>) -> Vec<f64> {
    let own = stage.shapes[0].rad_s / TAU;
    let d = &stage.board.drive;
    let from = d.from_hz.unwrap_or_else(|| (FROM * own).min(0.5 * d.to_hz.unwrap_or(f64::INFINITY)));
    let to = d.to_hz.unwrap_or_else(|| (TO * own).max(2.0 * from));
    let points = d.points.unwrap_or(POINTS).max(2);
    if from == 0.0 {
        // The slow drive first; there is no ratio from zero.
        return (0..points).map(|i| to * f64::from(i) / f64::from(points - 1)).collect();
    }
    (0..points).map(|i| from * (to / from).powf(f64::from(i) / f64::from(points - 1))).collect()
}

/// A motion at the drive, reached with growing strength where it is not found at once.
fn begin_at(balance: &Balance<'_>, drive: Drive) -> Steady {
    if let Ok(x) = balance.solve(&balance.rest(drive)) {
        return x;
    }
    let mut x = balance.rest(Drive { level: 0.0, ..drive });
    for k in 1..=16 {
        x.drive.level = drive.level * f64::from(k) / 16.0;
        if let Ok(next) = balance.solve(&x) {
            x = next;
        }
    }
    x.drive = drive;
    x
}

fn lost(branch: &Branch, unit: &str, factor: f64) -> Option<String> {
    match &branch.end {
        End::Reached | End::Stopped => None,
        End::Lost { at, why } => Some(format!("the branch is lost at {:.4} {unit}: {why}", at * factor)),
    }
}

/// What a lost branch struck on its way, in words that go on from its own.
fn struck(rows: &[DriveRow], way: &Way) -> String {
    let [low, high] = way.span_rad();
    let Some(row) = rows.iter().find(|r| r.beyond) else { return String::new() };
    let [a, b] = row.extremes_rad;
    let (reached, stop) = if low - a > b - high { (a, way.stops.first()) } else { (b, way.stops.last()) };
    let why = stop.map_or_else(|| "no flap angles were followed that far".to_owned(), Clone::clone);
    format!(
        "; it is the motion of a flap that has struck: from {:.2} Hz on it would swing to {:.1} deg, but {why}",
        row.frequency_hz,
        reached.to_degrees()
    )
}

/// Row with the largest stable swing among some.
fn largest(rows: &[DriveRow], among: fn(&DriveRow) -> bool) -> Option<usize> {
    (0..rows.len())
        .filter(|&i| rows[i].stable != Some(false) && among(&rows[i]))
        .max_by(|&a, &b| rows[a].swing_rad.total_cmp(&rows[b].swing_rad).then(b.cmp(&a)))
}

/// Ranks of the worst spot in every row.
fn rank(rows: &mut [DriveRow], ranges: &[Vec<Range>], ranks: &[u32]) {
    for (row, ranges) in rows.iter_mut().zip(ranges) {
        if let Some(worst) = ranges.iter().max_by(|a, b| a.range.total_cmp(&b.range)) {
            row.spot = ranks.get(worst.spot).copied().unwrap_or(0);
        }
    }
}

impl Rows<'_> {
    /// A motion as a row, and the strain ranges at all spots.
    fn row(&self, motion: &Motion, balance: &Balance<'_>) -> (DriveRow, Vec<Range>) {
        let x = &motion.steady;
        let samples = SAMPLES * x.periods;
        let cycle: Vec<Sample> = (0..samples)
            .map(|i| {
                let phase = TAU * i as f64 / samples as f64;
                let (q, v) = x.at(phase);
                let [_, input] = balance.input(phase, &x.drive);
                Sample { turn: phase * x.periods as f64, q, v, input }
            })
            .collect();
        let (row, ranges) = self.over(&cycle);
        let judged = motion.stability.as_ref();
        let row = DriveRow {
            frequency_hz: x.drive.frequency_hz,
            level: x.drive.level,
            asked: motion.asked,
            stable: judged.map(crate::drive::Stability::stable),
            gives_way: judged.and_then(|s| s.loss).map_or(String::new(), |l| words(l).to_owned()),
            settles_periods: judged.and_then(|s| {
                let size = s.largest();
                (size > 0.0 && size < 1.0).then(|| 0.05_f64.ln() / size.ln() * x.periods as f64)
            }),
            ..row
        };
        (row, ranges)
    }

    /// What the samples of a base period tell by themselves, and the strain ranges at all spots.
    pub(super) fn over(&self, cycle: &[Sample]) -> (DriveRow, Vec<Range>) {
        let n = self.stage.shapes.len();
        let share = 1.0 / cycle.len() as f64;
        let (mut angles, mut rolls, mut squares, mut power) = (Vec::new(), Vec::new(), 0.0, 0.0);
        let mut states = Vec::with_capacity(cycle.len());
        let mut first = [0.0; 2];
        for Sample { turn, q, v, input } in cycle {
            let at = Instant { q: q.as_slice(), v: v.as_slice(), input: *input, base_m_s2: 0.0, swing: 0.0 };
            let current = self.system.current_a(&at);
            let others: f64 = (1..n).map(|j| self.stage.shapes[j].lift * q[j]).sum();
            let angle = self.way.angle.at(q[0], 0)[0] + others;
            first[0] += 2.0 * angle * turn.cos() * share;
            first[1] += 2.0 * angle * turn.sin() * share;
            angles.push(angle);
            rolls.push(self.roll.dot(q));
            squares += current * current * share;
            let own = if self.stage.board.drive.voltage_v.is_some() {
                input * current
            } else {
                current * current * self.resistance.unwrap_or(0.0)
                    + current * self.system.induced_v(q.as_slice(), v.as_slice())
            };
            power += own * share;
            states.push(q.as_slice().to_vec());
        }
        let (low, high) = extremes(&angles);
        let (roll_low, roll_high) = extremes(&rolls);
        let ranges = self.strains.ranges(&states);
        let worst = ranges.iter().max_by(|a, b| a.range.total_cmp(&b.range)).copied().unwrap_or_default();
        let span = self.way.span_rad();
        let slack = 1e-3;
        let row = DriveRow {
            swing_rad: 0.5 * (high - low),
            first_rad: first[0].hypot(first[1]),
            lag_rad: first[1].atan2(first[0]).rem_euclid(TAU),
            mean_rad: angles.iter().sum::<f64>() * share,
            extremes_rad: [low, high],
            roll_rad: 0.5 * (roll_high - roll_low),
            current_rms_a: squares.sqrt(),
            power_w: self.resistance.map(|_| power),
            strain_range: worst.range,
            strain_range_error: worst.error,
            stroke_over_width: self.stroke_per_rad * 0.5 * (high - low),
            beyond: low < span[0] - slack || high > span[1] + slack,
            ..DriveRow::default()
        };
        (row, ranges)
    }

    fn over_levels(
        &self,
        balance: &Balance<'_>,
        frequency_hz: f64,
        ranks: &[u32],
    ) -> (Vec<DriveRow>, Option<String>) {
        let values: Vec<f64> = (1..=LEVELS).map(|k| f64::from(k) / f64::from(LEVELS)).collect();
        let start = begin_at(balance, Drive { frequency_hz, level: values[0] });
        let branch = follow(balance, &start, &values, &Following::new(Along::Level), &mut |_| true);
        let (mut rows, ranges): (Vec<_>, Vec<_>) =
            branch.motions.iter().map(|m| self.row(m, balance)).unzip();
        rank(&mut rows, &ranges, ranks);
        rows.retain(|r: &DriveRow| r.asked || r.stable == Some(false));
        let current = self.stage.board.current.as_ref().map_or(0.0, |c| c.current_a.abs());
        (rows, lost(&branch, "mA", current * 1e3))
    }

    /// Largest swing about a motion with the drag coefficient at both ends of its bracket, rad: low drag first.
    /// `at_resonance`: the peak may move.
    fn bracket(&self, wave: Wave, about: &Steady, at_resonance: bool) -> Option<[f64; 2]> {
        let drag = self.system.drag.as_ref()?;
        if self.stage.board.drive.drag_coefficient.is_some() {
            return None;
        }
        let swing = |factor: f64| {
            let mut system = self.system.clone();
            let mut own = drag.clone();
            own.coefficient.factor *= factor;
            system.drag = Some(own);
            let balance = Balance::new(&system, wave, self.stage.harmonics() as usize, 1);
            let mut most = None::<f64>;
            // The peak moves a little with the drag; on a flank only the frequency itself counts.
            let parts: &[f64] = if at_resonance { &[0.96, 0.98, 1.0, 1.02, 1.04] } else { &[1.0] };
            for part in parts {
                let mut start = about.clone();
                start.drive.frequency_hz *= part;
                if let Ok(steady) = balance.solve(&start) {
                    let motion = Motion { steady, stability: None, asked: true };
                    let row = self.row(&motion, &balance).0;
                    most = Some(most.map_or(row.swing_rad, |m| m.max(row.swing_rad)));
                }
            }
            most
        };
        Some([swing(0.5)?, swing(2.0)?])
    }

    /// Steps in time from a motion on: how far they leave it within eight periods, relative to the swing.
    fn in_time(&self, wave: Wave, x: &Steady) -> Option<f64> {
        const PERIODS: usize = 8;
        const STEPS: usize = 400;
        let hertz = x.drive.frequency_hz;
        let swing = {
            let angle = self.system.swing()?;
            (1..x.series.ncols()).map(|c| angle.dot(&x.series.column(c)).powi(2)).sum::<f64>().sqrt()
        };
        let lag = wave.lag_s * TAU * hertz;
        let inputs = |t: f64| Inputs {
            input: wave.offset + x.drive.level * wave.amplitude * wave.form.series(TAU * hertz * t, 15, lag),
            base_m_s2: 0.0,
            swing,
        };
        let (q, v) = x.at(0.0);
        let mut run = Run::new(self.system, Scheme::Alpha(0.9), &inputs, [q.clone(), v])?;
        let mut off = 0.0_f64;
        for _ in 0..PERIODS {
            for _ in 0..STEPS {
                if !run.step(1.0 / hertz / STEPS as f64) {
                    return None;
                }
            }
            off = off.max((run.now().q[0] - q[0]).abs());
        }
        let size = (1..x.series.ncols()).map(|c| x.series[(0, c)].powi(2)).sum::<f64>().sqrt();
        (size > 0.0).then(|| off / size)
    }

    /// Where plain motion gives way to half-frequency motion, and that motion in the middle of it.
    fn halves(&self, wave: Wave, branch: &Branch, out: &mut DriveAnswer) {
        let gave: Vec<&Motion> = branch
            .motions
            .iter()
            .filter(|m| m.stability.as_ref().is_some_and(|s| s.loss == Some(Loss::Halving)))
            .collect();
        let hertz = |m: &Motion| m.steady.drive.frequency_hz;
        let low = gave.iter().map(|m| hertz(m)).fold(f64::INFINITY, f64::min);
        let high = gave.iter().map(|m| hertz(m)).fold(0.0, f64::max);
        if gave.is_empty() {
            return;
        }
        out.half_frequency.found_hz = Some([low, high]);
        let middle = gave[gave.len() / 2];
        let balance = Balance::new(self.system, wave, self.stage.harmonics() as usize, 2);
        let lift = self.stage.shapes[0].lift;
        for guess in [0.05, 0.2, 0.5, 0.9] {
            for turn in [0.0_f64, 0.8, 1.6, 2.4] {
                let mut start = balance.rest(middle.steady.drive);
                for k in 1..=(middle.steady.series.ncols() - 1) / 2 {
                    for part in 0..2 {
                        let own = middle.steady.series.column(2 * k - 1 + part).into_owned();
                        start.series.set_column(4 * k - 1 + part, &own);
                    }
                }
                start.series.set_column(0, &middle.steady.series.column(0).into_owned());
                let size = guess / lift;
                (start.series[(0, 1)], start.series[(0, 2)]) = (size * turn.cos(), size * turn.sin());
                let Ok(steady) = balance.solve(&start) else { continue };
                let half = lift * steady.series[(0, 1)].hypot(steady.series[(0, 2)]);
                if half > 1e-3 * guess && stability(&balance, &steady).stable() {
                    let motion = Motion { steady, stability: None, asked: false };
                    out.half_frequency.swing_rad = Some(self.row(&motion, &balance).0.swing_rad);
                    return;
                }
            }
        }
    }
}

fn extremes(values: &[f64]) -> (f64, f64) {
    values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)))
}

fn words(loss: Loss) -> &'static str {
    match loss {
        Loss::Leap => "leaps to another swing",
        Loss::Halving => "swings at half the drive frequency",
        Loss::Beating => "beats",
    }
}
