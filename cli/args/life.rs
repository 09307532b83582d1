//! Options of the verbs about life, tests and rigs.

#![allow(clippy::doc_markdown, reason = "the texts are the help on the screen")]

use super::{InOut, positive};
use clap::Args;
use copperbend_solver::reliability::calendar::Day;
use std::path::PathBuf;

/// A share between zero and one, such as 0.9; "90 %" is understood.
fn share(text: &str) -> Result<f64, String> {
    let (number, factor) = match text.trim().strip_suffix('%') {
        Some(percent) => (percent.trim(), 0.01),
        None => (text.trim(), 1.0),
    };
    match number.parse::<f64>().map(|v| v * factor) {
        Ok(v) if v > 0.0 && v < 1.0 => Ok(v),
        _ => Err("a share between 0 and 1 is needed, such as 0.9 or \"90 %\"".to_owned()),
    }
}

/// A number of zero or more.
fn amount(text: &str) -> Result<f64, String> {
    match text.trim().parse::<f64>() {
        Ok(v) if v.is_finite() && v >= 0.0 => Ok(v),
        _ => Err("a number of zero or more is needed".to_owned()),
    }
}

fn date(text: &str) -> Result<Day, String> {
    Day::of(text).map_err(|e| e.to_string())
}

fn degrees(text: &str) -> Result<f64, String> {
    positive(text)
        .ok()
        .filter(|v| *v < 90.0)
        .ok_or_else(|| "an angle between 0 and 90 degrees is needed".to_owned())
}

/// Options of `life`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Life {
    /// Files.
    #[command(flatten)]
    pub(crate) files: InOut,
    /// Tested samples (CSV: sample, current_ma or angle_deg, frequency_hz, flexes or cycles, outcome, x_mm, y_mm, layer).
    #[arg(long, value_name = "CSV")]
    pub(crate) samples: Option<PathBuf>,
    /// Duties that repeat (CSV: current_ma or angle_deg, and cycles, or hours with frequency_hz).
    #[arg(long, value_name = "CSV")]
    pub(crate) duties: Option<PathBuf>,
    /// Found cracks (CSV: sample, x_mm, y_mm, layer, flexes or cycles).
    #[arg(long, value_name = "CSV")]
    pub(crate) places: Option<PathBuf>,
    /// Stress-strain curve of the first bend (CSV: strain_um_per_m, stress_mpa).
    #[arg(long, value_name = "CSV")]
    pub(crate) curve: Option<PathBuf>,
    /// Cyclic stress-strain curve (CSV: strain_um_per_m, stress_mpa).
    #[arg(long, value_name = "CSV")]
    pub(crate) cyclic_curve: Option<PathBuf>,
    /// Swing by this much about the rest, in degrees (measured at resonance, say); default: by the design's current.
    #[arg(long, value_name = "DEG", value_parser = degrees)]
    pub(crate) angle: Option<f64>,
    /// Swing in use, in degrees: judges three levels of a faster test between it and the computed swing.
    #[arg(long, value_name = "DEG", value_parser = degrees)]
    pub(crate) use_angle: Option<f64>,
    /// The larger swing of a faster test is made by more current, not at resonance.
    #[arg(long)]
    pub(crate) more_current: bool,
    /// Samples of a faster test, split over its levels.
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub(crate) test_samples: u32,
    /// Days of a faster test, all levels at once, with --frequency; default: each level until 63 % are expected to fail.
    #[arg(long, value_name = "DAYS", value_parser = positive, requires = "frequency")]
    pub(crate) test_days: Option<f64>,
    /// Life over drive frequency at the swing that the drive makes there (as `drive` has it); without --angle the loop is
    /// followed to the largest of these swings.
    #[arg(long)]
    pub(crate) driven: bool,
    /// Flexes (two per cycle) that 90 % of the boards shall survive: says with --driven up to which speed they do.
    #[arg(long, value_name = "N", value_parser = positive)]
    pub(crate) flexes: Option<f64>,
    /// Drive frequency, Hz: hours beside cycles.
    #[arg(long, value_name = "HZ", value_parser = positive)]
    pub(crate) frequency: Option<f64>,
    /// Confidence of all bounds.
    #[arg(long, value_name = "SHARE", default_value = "0.9", value_parser = share)]
    pub(crate) confidence: f64,
    /// Parts of each half-swing; default: two, three in the half that is recorded.
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = clap::value_parser!(u32).range(0..=100))]
    pub(crate) steps: u32,
    /// Spots to list.
    #[arg(long, value_name = "N", default_value_t = 8, value_parser = clap::value_parser!(u32).range(1..=100))]
    pub(crate) spots: u32,
    /// One mesh only: do not refine until the spots settle.
    #[arg(long)]
    pub(crate) one_mesh: bool,
    /// Draw no pictures.
    #[arg(long)]
    pub(crate) no_pictures: bool,
}

/// Options of `reliability`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Reliability {
    /// Lives (CSV: sample, one of flexes, cycles, hours, and outcome: failed or survived).
    #[arg(value_name = "LIVES")]
    pub(crate) lives: PathBuf,
    /// Folder for the results; default: beside the table.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) out: Option<PathBuf>,
    /// Confidence of the bounds.
    #[arg(long, value_name = "SHARE", default_value = "0.95", value_parser = share)]
    pub(crate) confidence: f64,
    /// Weibull shape assumed for what few or no failures prove.
    #[arg(long, value_name = "SHAPE", value_parser = positive)]
    pub(crate) shape: Option<f64>,
    /// Equal parts in series in one board (two arms: 2).
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub(crate) parts: u32,
}

/// Options of `plan`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Plan {
    /// Flexes (two per cycle) that must be survived.
    #[arg(long, value_name = "N", value_parser = positive)]
    pub(crate) flexes: f64,
    /// Share that must survive.
    #[arg(long, value_name = "SHARE", default_value = "0.9", value_parser = share)]
    pub(crate) reliability: f64,
    /// Confidence.
    #[arg(long, value_name = "SHARE", default_value = "0.9", value_parser = share)]
    pub(crate) confidence: f64,
    /// Drive frequency of the test, Hz.
    #[arg(long, value_name = "HZ", value_parser = positive)]
    pub(crate) frequency: f64,
    /// Places on the rig.
    #[arg(long, value_name = "N", default_value_t = 20, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub(crate) places: u32,
    /// Weibull shape assumed (1.5 to 4 is usual for flexing copper: judgement).
    #[arg(long, value_name = "SHAPE", default_value = "2", value_parser = positive)]
    pub(crate) shape: f64,
    /// Samples for "what failures prove"; default: those of the first plan.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
    pub(crate) samples: Option<u32>,
    /// Predicted flexes to 10 % failed (from `life`), for the chance of success.
    #[arg(long, value_name = "N", value_parser = positive)]
    pub(crate) predicted_flexes: Option<f64>,
    /// Day on which the test begins, such as 2027-01-31: dates beside days.
    #[arg(long, value_name = "DATE", value_parser = date)]
    pub(crate) start: Option<Day>,
    /// Cost of one sample.
    #[arg(long, value_name = "MONEY", default_value = "0", value_parser = amount)]
    pub(crate) sample_cost: f64,
    /// Cost of setting up.
    #[arg(long, value_name = "MONEY", default_value = "0", value_parser = amount)]
    pub(crate) setup_cost: f64,
    /// Cost of a day of the rig.
    #[arg(long, value_name = "MONEY", default_value = "0", value_parser = amount)]
    pub(crate) day_cost: f64,
}

/// Options of `rig`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Rig {
    /// Log (CSV: time_s, sample, voltage_v, current_a, temperature_degc, frequency_hz; also time_min, time_h,
    /// voltage_mv, current_ma, temperature_k).
    #[arg(value_name = "LOG")]
    pub(crate) log: PathBuf,
    /// Folder for the results; default: beside the log.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) out: Option<PathBuf>,
    /// Temperature that resistance is corrected to, degC.
    #[arg(long, value_name = "DEGC", default_value = "20", allow_hyphen_values = true)]
    pub(crate) reference: f64,
    /// Lasting rise of the resistance told as a drift, per cent.
    #[arg(long, value_name = "PERCENT", default_value = "0.4", value_parser = positive)]
    pub(crate) drift: f64,
    /// Rise at which a sample has failed, per cent.
    #[arg(long, value_name = "PERCENT", default_value = "10", value_parser = positive)]
    pub(crate) failure: f64,
    /// Open at which a sample has failed, ms.
    #[arg(long, value_name = "MS", default_value = "1000", value_parser = positive)]
    pub(crate) open_ms: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_and_angles_are_checked() {
        assert_eq!(share("90 %"), Ok(0.9), "per cent");
        assert!(share("90").is_err() && share("0").is_err() && share("x").is_err(), "no shares");
        assert!(degrees("95").is_err() && degrees("12").is_ok() && amount("-1").is_err(), "bounds");
    }
}
