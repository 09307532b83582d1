//! `rig`: an endurance rig's log, read line by line: corrected resistance, alarms, opens, flexes, failures.
//!
//! The log is streamed: memory goes with the number of samples, never with its length.

use super::Outcome;
use crate::args::Rig;
use crate::failure::Failure;
use crate::given::cells;
use crate::output::atomic::{OutFolder, cannot};
use crate::output::{json, table};
use crate::screen::{self, ProgressLine};
use copperbend_solver::life::count;
use copperbend_solver::rig_log::{Alarms, Channel, Event, Kind, Reading};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufRead, BufReader};

/// Most faults told, events kept per sample, samples of one log.
const MOST_FAULTS: usize = 20;
const MOST_EVENTS: usize = 200;
const MOST_SAMPLES: usize = 10_000;
/// Longest line, bytes.
const MOST_LINE: usize = 1 << 16;

/// Columns a log may have: name, what it is, factor to SI.
const COLUMNS: [(&str, Part, f64); 12] = [
    ("time_s", Part::Time, 1.0),
    ("time_min", Part::Time, 60.0),
    ("time_h", Part::Time, 3600.0),
    ("sample", Part::Sample, 1.0),
    ("voltage_v", Part::Voltage, 1.0),
    ("voltage_mv", Part::Voltage, 1e-3),
    ("current_a", Part::Current, 1.0),
    ("current_ma", Part::Current, 1e-3),
    ("temperature_degc", Part::Temperature, 1.0),
    ("frequency_hz", Part::Frequency, 1.0),
    ("temperature_k", Part::Kelvin, 1.0),
    ("note", Part::Note, 1.0),
];

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    Time,
    Sample,
    Voltage,
    Current,
    Temperature,
    Kelvin,
    Frequency,
    Note,
}

/// One sample's sums and what happened to it.
#[derive(Debug, Serialize)]
pub(crate) struct Watched {
    pub(crate) name: String,
    pub(crate) readings: u64,
    pub(crate) base_ohm: Option<f64>,
    pub(crate) highest_ratio: f64,
    pub(crate) opens: u32,
    pub(crate) cycles: f64,
    pub(crate) running_s: f64,
    pub(crate) failed_s_cycles: Option<[f64; 2]>,
    pub(crate) uncorrected: bool,
    pub(crate) events: Vec<Event>,
    pub(crate) more_events: u64,
}

/// Reads the log and tells what happened.
///
/// # Errors
/// The log cannot be read, lacks a column, or has bad lines: the first twenty are told.
pub(crate) fn run(options: &Rig) -> Result<Outcome, Failure> {
    let alarms = Alarms {
        reference_degc: options.reference,
        drift: options.drift / 100.0,
        failure: options.failure / 100.0,
        open_s: options.open_ms / 1e3,
        ..Alarms::default()
    };
    let (watched, cut) = read(options, alarms)?;
    let mut files =
        vec![("lives.csv".to_owned(), lives(&watched)), ("events.csv".to_owned(), events(&watched))];
    let results =
        json::other(&watched, &options.log.display().to_string(), "", &["lives.csv", "events.csv"])?;
    files.push(("results.json".to_owned(), results));
    let folder = options.out.clone().unwrap_or_else(|| {
        let mut name = options.log.file_stem().unwrap_or_default().to_os_string();
        name.push("-rig");
        options.log.with_file_name(name)
    });
    let mut out = OutFolder::open(&folder)?;
    out.put_all(&files)?;
    let written = out.finish()?;
    screen::print(&table::rig(&watched, &alarms, cut, &written))?;
    Ok(Outcome::Done)
}

/// Streams the log; the samples, and the line that was cut off at the end, if one was.
fn read(options: &Rig, alarms: Alarms) -> Result<(Vec<Watched>, Option<u64>), Failure> {
    let path = &options.log;
    let name = path.display().to_string();
    let file = File::open(path).map_err(|e| cannot("read the log", path, &e))?;
    let size = file.metadata().map(|m| m.len()).unwrap_or(0);
    let mut lines = BufReader::with_capacity(1 << 18, file);
    let mut stream =
        Stream { name, alarms, columns: Vec::new(), samples: BTreeMap::new(), faults: Vec::new() };
    let mut progress = ProgressLine::new();
    let (mut bytes, mut at, mut line, mut cut) = (0_u64, 0_u64, Vec::new(), None);
    loop {
        line.clear();
        let n = lines.read_until(b'\n', &mut line).map_err(|e| cannot("read the log", path, &e))?;
        if n == 0 {
            break;
        }
        at += 1;
        bytes += n as u64;
        let whole = line.last() == Some(&b'\n');
        let text = String::from_utf8_lossy(&line);
        let text = text.trim();
        if text.is_empty() || text.starts_with('#') {
            continue;
        }
        if line.len() > MOST_LINE {
            stream.faults.push(format!(
                "{}:{at}: a line of {} bytes is no log line",
                stream.name,
                line.len()
            ));
        } else if stream.columns.is_empty() {
            stream.heading(at, text)?;
        } else if let Err(why) = stream.take(at, text) {
            // A log that stops in the middle of a line is told, not refused.
            if whole {
                stream.faults.push(why);
            } else {
                cut = Some(at);
            }
        }
        if stream.faults.len() >= MOST_FAULTS {
            stream.faults.push("reading stops here".to_owned());
            break;
        }
        if at % 65_536 == 0 && size > 0 {
            progress.say(&format!("log {:.0} %", 100.0 * bytes as f64 / size as f64));
        }
    }
    drop(progress);
    if !stream.faults.is_empty() {
        return Err(Failure::new(stream.faults.join("\n"), ""));
    }
    if stream.samples.is_empty() {
        let remedy =
            "start with a heading such as time_s,sample,voltage_v,current_a,temperature_degc,frequency_hz";
        return Err(Failure::new(format!("{}: the log has no reading", stream.name), remedy));
    }
    Ok((stream.samples.into_iter().map(|(name, own)| own.done(name)).collect(), cut))
}

struct Sample {
    channel: Channel,
    events: Vec<Event>,
    more: u64,
}

impl Sample {
    fn done(self, name: String) -> Watched {
        let c = &self.channel;
        Watched {
            name,
            readings: c.readings,
            base_ohm: c.base_ohm(),
            highest_ratio: c.highest,
            opens: c.opens,
            cycles: c.failed.map_or(c.cycles, |f| f[1]),
            running_s: c.running_s,
            failed_s_cycles: c.failed,
            uncorrected: c.uncorrected,
            events: self.events,
            more_events: self.more,
        }
    }
}

struct Stream {
    name: String,
    alarms: Alarms,
    columns: Vec<(String, Part, f64)>,
    samples: BTreeMap<String, Sample>,
    faults: Vec<String>,
}

impl Stream {
    fn heading(&mut self, at: u64, text: &str) -> Result<(), Failure> {
        let text = text.trim_start_matches('\u{feff}');
        let known = || COLUMNS.map(|c| c.0).join(", ");
        let name = self.name.clone();
        let fail = |what: String| {
            Failure::new(format!("{name}:{at}: {what}"), format!("known columns: {}", known()))
        };
        for cell in cells(text).unwrap_or_default() {
            let Some(&(_, part, factor)) = COLUMNS.iter().find(|c| c.0 == cell) else {
                return Err(fail(format!("nobody knows the column '{cell}'")));
            };
            let own = if part == Part::Kelvin { Part::Temperature } else { part };
            let same =
                |c: &(String, Part, f64)| c.1 == part || (c.1 == Part::Kelvin && own == Part::Temperature);
            if part != Part::Note && self.columns.iter().any(same) {
                return Err(fail(format!(
                    "'{cell}' gives a second unit for the same thing: mixed units are not guessed"
                )));
            }
            self.columns.push((cell, part, factor));
        }
        for (part, words) in [(Part::Time, "time"), (Part::Voltage, "voltage"), (Part::Current, "current")] {
            if !self.columns.iter().any(|c| c.1 == part) {
                return Err(fail(format!("the log has no column of {words}")));
            }
        }
        Ok(())
    }

    fn take(&mut self, at: u64, text: &str) -> Result<(), String> {
        let place = format!("{}:{at}", self.name);
        let own = cells(text).ok_or_else(|| format!("{place}: a quote is never closed; close it"))?;
        if own.len() != self.columns.len() {
            return Err(format!("{place}: {} cells under {} headings", own.len(), self.columns.len()));
        }
        let mut reading = Reading {
            time_s: 0.0,
            voltage_v: 0.0,
            current_a: 0.0,
            temperature_degc: None,
            frequency_hz: None,
        };
        let mut sample = String::new();
        for (cell, (heading, part, factor)) in own.iter().zip(&self.columns) {
            if matches!(part, Part::Note) {
                continue;
            }
            if *part == Part::Sample {
                sample.clone_from(cell);
                continue;
            }
            let optional = matches!(part, Part::Temperature | Part::Kelvin | Part::Frequency);
            if cell.is_empty() && optional {
                continue;
            }
            let value = cell.parse::<f64>().ok().filter(|v| v.is_finite()).ok_or_else(|| {
                format!(
                    "{place}: {heading} '{cell}': write a plain number; the unit stands in the heading, once"
                )
            })? * factor;
            match part {
                Part::Time => reading.time_s = value,
                Part::Voltage => reading.voltage_v = value,
                Part::Current => reading.current_a = value,
                Part::Temperature => reading.temperature_degc = Some(value),
                Part::Kelvin => reading.temperature_degc = Some(value - 273.15),
                Part::Frequency => reading.frequency_hz = Some(value),
                Part::Sample | Part::Note => {}
            }
        }
        if !self.samples.contains_key(&sample) && self.samples.len() >= MOST_SAMPLES {
            return Err(format!("{place}: more than {MOST_SAMPLES} samples: is this the column of samples?"));
        }
        let alarms = self.alarms;
        let blank = || Sample { channel: Channel::new(alarms), events: Vec::new(), more: 0 };
        let known = self.samples.entry(sample).or_insert_with(blank);
        let found = known.channel.take(reading).map_err(|e| format!("{place}: {}", e.what))?;
        for event in found {
            if known.events.len() < MOST_EVENTS { known.events.push(event) } else { known.more += 1 }
        }
        Ok(())
    }
}

/// One line a sample, as `reliability` and `life` read it.
fn lives(watched: &[Watched]) -> Vec<u8> {
    let mut out = String::from("sample,flexes,outcome\r\n");
    for own in watched.iter().filter(|w| w.cycles > 0.0) {
        let outcome = if own.failed_s_cycles.is_some() { "failed" } else { "survived" };
        out.push_str(&format!(
            "{},{:.0},{outcome}\r\n",
            crate::output::csv::quoted(&own.name),
            count::flexes(own.cycles)
        ));
    }
    out.into_bytes()
}

fn events(watched: &[Watched]) -> Vec<u8> {
    let mut out = String::from("sample,time_s,flexes,resistance_ratio,event,length_s\r\n");
    for own in watched {
        for event in &own.events {
            let (kind, length) = match event.kind {
                Kind::Drift => ("drift", String::new()),
                Kind::Jump => ("jump", String::new()),
                Kind::Open(s) => ("open", format!("{s:.6}")),
                Kind::Gap(s) => ("gap", format!("{s:.3}")),
                Kind::Failed => ("failed", String::new()),
            };
            out.push_str(&format!(
                "{},{:.6},{:.0},{:.6},{kind},{length}\r\n",
                crate::output::csv::quoted(&own.name),
                event.time_s,
                count::flexes(event.cycles),
                event.ratio
            ));
        }
    }
    out.into_bytes()
}
