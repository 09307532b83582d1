//! `damping`: damping and drag from a measured free decay or resonance, beside what a design would take.

use super::{Outcome, read_design};
use crate::args::Damping;
use crate::failure::Failure;
use crate::output::table;
use crate::record::{self, Kind, Record};
use crate::screen::{self, ProgressLine};
use copperbend_solver::decay::{free, resonance};
use copperbend_solver::driven::{DriveOptions, Expected, expected};

/// Fits a record and prints what it tells.
///
/// # Errors
/// The record has faults or holds nothing to fit; the design has faults.
pub(crate) fn run(options: &Damping) -> Result<Outcome, Failure> {
    let record = record::read(&options.record)?;
    let name = options.record.display().to_string();
    let fitted = fit(&name, &record)?;
    let beside = match &options.design {
        None => None,
        Some(path) => {
            let design = read_design(path)?;
            let mut progress = ProgressLine::new();
            let wishes =
                DriveOptions { free_memory: Some(crate::machine::free_memory), ..DriveOptions::default() };
            Some(expected(&design.board, &wishes, swing_rad(&fitted), &mut progress)?)
        }
    };
    screen::print(&table::damping(&name, &fitted, beside.as_ref()))?;
    Ok(Outcome::Done)
}

/// What was fitted.
#[derive(Debug)]
pub(crate) enum Fitted {
    /// A free decay.
    Decay(free::Decay),
    /// A resonance, and its largest swing, rad.
    Resonance(resonance::Resonance, f64),
}

fn fit(name: &str, record: &Record) -> Result<Fitted, Failure> {
    match record.kind {
        Kind::Decay => {
            let samples: Vec<free::Sample> =
                record.rows.iter().map(|&[time_s, angle_rad]| free::Sample { time_s, angle_rad }).collect();
            free::fit(&samples).map(Fitted::Decay).map_err(|e| Failure::new(format!("{name}: {e}"), ""))
        }
        Kind::Resonance => {
            let points: Vec<resonance::Point> = record
                .rows
                .iter()
                .map(|&[frequency_hz, swing_rad]| resonance::Point { frequency_hz, swing_rad })
                .collect();
            let most = points.iter().map(|p| p.swing_rad).fold(0.0, f64::max);
            let found = resonance::fit(&points).ok_or_else(|| {
                Failure::new(
                    format!("{name}: the {} points hold no resonance that can be fitted", points.len()),
                    format!("give at least {} points with the peak between them", resonance::LEAST_POINTS),
                )
            })?;
            Ok(Fitted::Resonance(found, most))
        }
    }
}

/// Middle of the swings that the fit rests on: there a drag coefficient is compared.
fn swing_rad(fitted: &Fitted) -> f64 {
    match fitted {
        Fitted::Decay(d) => (d.from_rad * d.to_rad.max(0.1 * d.from_rad)).sqrt(),
        Fitted::Resonance(_, most) => *most,
    }
}

/// Loss factor of the arms and drag coefficient that a fit leaves for a design, each with one deviation.
pub(crate) fn for_design(ratio: [f64; 2], drag: [f64; 2], own: &Expected) -> [[f64; 2]; 2] {
    let arms = 2.0 * (ratio[0] - own.air_ratio - own.eddy_ratio);
    let c = own.drag_per_coefficient;
    [[arms.max(0.0), 2.0 * ratio[1]], [(drag[0] / c).max(0.0), drag[1] / c]]
}
