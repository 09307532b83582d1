//! An endurance rig's log, reading by reading: corrected resistance, alarms, opens, flexes, failures.
//!
//! In: readings in the order of time, one [`Channel`] per sample. Out: [`Event`]s as they happen and the channel's sums;
//! nothing grows with the length of the log. Absent: files, what a failure means for life (see [`crate::reliability`]).

#[cfg(test)]
mod tests;

use serde::Serialize;

/// When to cry out. Every default is common practice of endurance rigs, no source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Alarms {
    /// Temperature that resistance is corrected to, degC.
    pub reference_degc: f64,
    /// Change of resistance with temperature at the reference, 1/K.
    pub coefficient_per_k: f64,
    /// Lasting rise of the corrected resistance that is told as a drift.
    pub drift: f64,
    /// Sudden rise that is told as a jump.
    pub jump: f64,
    /// Rise at which the sample has failed.
    pub failure: f64,
    /// Length of an open at which the sample has failed, s.
    pub open_s: f64,
    /// Longest gap between readings that still counts as running, s.
    pub gap_s: f64,
}

impl Default for Alarms {
    fn default() -> Self {
        Self {
            reference_degc: 20.0,
            coefficient_per_k: 0.003_93,
            drift: 0.004,
            jump: 0.02,
            failure: 0.1,
            open_s: 1.0,
            gap_s: 3600.0,
        }
    }
}

/// One line of a log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Time, s.
    pub time_s: f64,
    /// Voltage across the sample, V (r.m.s. or peak, but always the same).
    pub voltage_v: f64,
    /// Current, A, of the same kind.
    pub current_a: f64,
    /// Temperature near the coil, degC, where measured.
    pub temperature_degc: Option<f64>,
    /// Drive frequency, Hz, where known.
    pub frequency_hz: Option<f64>,
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Corrected resistance has crept up.
    Drift,
    /// Corrected resistance has jumped.
    Jump,
    /// No current at full voltage, this long, s (one reading counts as no length).
    Open(f64),
    /// Too long without a reading, s: not counted as running.
    Gap(f64),
    /// The sample has failed.
    Failed,
}

/// Something that happened, and when.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Event {
    /// Time, s.
    pub time_s: f64,
    /// Cycles by then.
    pub cycles: f64,
    /// Corrected resistance over that of the beginning.
    pub ratio: f64,
    /// What.
    pub kind: Kind,
}

/// Why a reading cannot be used.
#[derive(Debug, Clone, PartialEq)]
pub struct BadReading {
    /// Value and rule.
    pub what: String,
}

/// Readings that make the beginning; two from the start are skipped while the drive settles.
const FIRST: usize = 40;
/// Weight of a new reading in the slow and in the fast mean.
const SLOW: f64 = 0.02;
const FAST: f64 = 0.25;
/// A resistance this many times off within one reading is no copper but another unit.
const UNIT_SLIP: f64 = 200.0;

/// One sample on the rig.
#[derive(Debug, Clone)]
pub struct Channel {
    alarms: Alarms,
    first: Vec<[f64; 3]>,
    /// Resistance, current and voltage of the beginning.
    base: Option<[f64; 3]>,
    slow: f64,
    fast: f64,
    last: Option<Reading>,
    open_since: Option<f64>,
    drifted: bool,
    jumped: bool,
    failing: u32,
    /// Cycles counted.
    pub cycles: f64,
    /// Seconds of running.
    pub running_s: f64,
    /// Opens seen.
    pub opens: u32,
    /// Readings used.
    pub readings: u64,
    /// Time and cycles of the failure.
    pub failed: Option<[f64; 2]>,
    /// Highest corrected resistance over that of the beginning, slow mean.
    pub highest: f64,
    /// Whether any reading came without temperature.
    pub uncorrected: bool,
}

impl Channel {
    /// A sample never read.
    #[must_use]
    pub fn new(alarms: Alarms) -> Self {
        Self {
            alarms,
            first: Vec::with_capacity(FIRST),
            base: None,
            slow: 1.0,
            fast: 1.0,
            last: None,
            open_since: None,
            drifted: false,
            jumped: false,
            failing: 0,
            cycles: 0.0,
            running_s: 0.0,
            opens: 0,
            readings: 0,
            failed: None,
            highest: 1.0,
            uncorrected: false,
        }
    }

    /// Resistance of the beginning at the reference temperature, ohm; None before it is known.
    #[must_use]
    pub fn base_ohm(&self) -> Option<f64> {
        self.base.map(|b| b[0])
    }

    /// Takes the next reading; what it brought about.
    ///
    /// # Errors
    /// A value that is no number, a time that runs backwards, a resistance in another unit.
    pub fn take(&mut self, reading: Reading) -> Result<Vec<Event>, BadReading> {
        let r = &reading;
        let all = [
            r.time_s,
            r.voltage_v,
            r.current_a,
            r.temperature_degc.unwrap_or(0.0),
            r.frequency_hz.unwrap_or(0.0),
        ];
        if !all.iter().all(|v| v.is_finite()) || r.time_s < 0.0 || r.frequency_hz.is_some_and(|f| f < 0.0) {
            return Err(BadReading {
                what: format!("time {} s: a value is negative or no number", r.time_s),
            });
        }
        if let Some(last) = self.last.filter(|last| r.time_s < last.time_s) {
            let what = format!("time {} s comes after {} s: sort the log by time", r.time_s, last.time_s);
            return Err(BadReading { what });
        }
        let mut events = Vec::new();
        self.count(&reading, &mut events);
        self.readings += 1;
        self.uncorrected |= r.temperature_degc.is_none();
        match self.base {
            None => self.begin(&reading)?,
            Some(base) => self.judge(&reading, base, &mut events)?,
        }
        self.last = Some(reading);
        Ok(events)
    }

    /// Cycles since the reading before, unless the gap is too long.
    fn count(&mut self, reading: &Reading, events: &mut Vec<Event>) {
        let Some(last) = self.last else { return };
        let by = reading.time_s - last.time_s;
        if by > self.alarms.gap_s {
            events.push(self.event(reading.time_s, Kind::Gap(by)));
            return;
        }
        let driven = last.voltage_v.abs() > 0.0;
        if let (true, Some(f)) = (driven && self.failed.is_none(), last.frequency_hz) {
            self.cycles += f * by;
            self.running_s += by;
        }
    }

    fn corrected(&self, reading: &Reading) -> Option<f64> {
        if reading.current_a == 0.0 || reading.voltage_v == 0.0 {
            return None;
        }
        let own = (reading.voltage_v / reading.current_a).abs();
        let a = &self.alarms;
        let warmer = reading.temperature_degc.map_or(0.0, |t| t - a.reference_degc);
        Some(own / (1.0 + a.coefficient_per_k * warmer))
    }

    /// Gathers the beginning: medians of the first readings.
    fn begin(&mut self, reading: &Reading) -> Result<(), BadReading> {
        let Some(r) = self.corrected(reading) else { return Ok(()) };
        if let Some(one) = self.first.first() {
            slipped(r / one[0], reading.time_s)?;
        }
        self.first.push([r, reading.current_a.abs(), reading.voltage_v.abs()]);
        if self.first.len() < FIRST {
            return Ok(());
        }
        let median = |i: usize| {
            let mut all: Vec<f64> = self.first[2..].iter().map(|row| row[i]).collect();
            all.sort_by(f64::total_cmp);
            all[all.len() / 2]
        };
        self.base = Some([median(0), median(1), median(2)]);
        self.first = Vec::new();
        Ok(())
    }

    fn judge(
        &mut self,
        reading: &Reading,
        base: [f64; 3],
        events: &mut Vec<Event>,
    ) -> Result<(), BadReading> {
        let (volts, amps) = (reading.voltage_v.abs(), reading.current_a.abs());
        if volts > 0.5 * base[2] && amps < 0.02 * base[1] * volts / base[2] {
            let since = *self.open_since.get_or_insert(reading.time_s);
            if reading.time_s - since >= self.alarms.open_s {
                self.fail(since, events);
            }
            return Ok(());
        }
        if let Some(since) = self.open_since.take() {
            self.opens += 1;
            let last = self.last.map_or(since, |last| last.time_s);
            events.push(self.event(since, Kind::Open(last - since)));
        }
        let Some(r) = self.corrected(reading).filter(|_| volts > 0.1 * base[2]) else { return Ok(()) };
        let ratio = r / base[0];
        slipped(ratio, reading.time_s)?;
        self.fast += FAST * (ratio - self.fast);
        if !self.jumped && self.fast - self.slow > self.alarms.jump {
            self.jumped = true;
            events.push(self.event(reading.time_s, Kind::Jump));
        }
        self.slow += SLOW * (ratio - self.slow);
        self.highest = self.highest.max(self.slow);
        if !self.drifted && self.slow - 1.0 > self.alarms.drift {
            self.drifted = true;
            events.push(self.event(reading.time_s, Kind::Drift));
        }
        self.failing = if self.fast - 1.0 > self.alarms.failure { self.failing + 1 } else { 0 };
        if self.failing >= 3 {
            self.fail(reading.time_s, events);
        }
        Ok(())
    }

    fn fail(&mut self, time_s: f64, events: &mut Vec<Event>) {
        if self.failed.is_none() {
            self.failed = Some([time_s, self.cycles]);
            events.push(self.event(time_s, Kind::Failed));
        }
    }

    fn event(&self, time_s: f64, kind: Kind) -> Event {
        Event { time_s, cycles: self.cycles, ratio: self.slow, kind }
    }
}

/// Refuses a resistance that is hundreds of times off.
fn slipped(ratio: f64, time_s: f64) -> Result<(), BadReading> {
    // A worn sample may rise without limit, but not within one reading to a multiple of a thousand.
    let off = ratio.log10() / 3.0;
    let thousands = (off - off.round()).abs() < 0.05 && off.round() != 0.0;
    if thousands && !(1.0 / UNIT_SLIP..=UNIT_SLIP).contains(&ratio) {
        let what = format!(
            "at {time_s} s the resistance is {ratio:.0e} times that of the beginning: the unit of voltage or current \
             changes within the log"
        );
        return Err(BadReading { what });
    }
    Ok(())
}
