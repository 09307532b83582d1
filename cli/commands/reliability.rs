//! `reliability`: lives of tested samples as Weibull and lognormal distributions, with survivors and bounds.

use super::Outcome;
use crate::args::Reliability;
use crate::failure::Failure;
use crate::given::Given;
use crate::output::atomic::OutFolder;
use crate::output::{json, life_view, table};
use crate::screen;
use copperbend_solver::reliability::proof::{proven_reliability, proven_scale, weibull_life};
use copperbend_solver::reliability::{
    Family, Fit, Interval, RankRule, StatError, Tested, bounds_of_quantile, bounds_of_scale, bounds_of_shape,
    fit, likelihood_bounds, plotted, series,
};
use serde::Serialize;

/// One fitted distribution with its bounds.
#[derive(Debug, Serialize)]
pub(crate) struct Fitted {
    pub(crate) fit: Fit,
    /// Shape (Weibull) or deviation (lognormal), by curvature and by likelihood ratio.
    pub(crate) shape: [Interval; 2],
    pub(crate) scale: [Interval; 2],
    pub(crate) ten_percent: [Interval; 2],
    /// Life with 10 per cent failed of boards with so many of these parts in series.
    pub(crate) series_ten_percent: f64,
}

/// What the screen shows.
#[derive(Debug, Serialize)]
pub(crate) struct Lives {
    pub(crate) unit: &'static str,
    pub(crate) samples: u32,
    pub(crate) failures: u32,
    pub(crate) confidence: f64,
    pub(crate) parts: u32,
    pub(crate) fits: Vec<Fitted>,
    /// Why there is no fit.
    pub(crate) no_fit: String,
    /// Assumed Weibull shape, least scale, least life with 10 per cent failed.
    pub(crate) assumed: Option<[f64; 3]>,
    /// Least share surviving the longest time all samples were tested to, and that time.
    pub(crate) binomial: Option<[f64; 2]>,
}

/// Fits the lives in a table.
///
/// # Errors
/// Faults of the table; bad times; a file that cannot be written.
pub(crate) fn run(options: &Reliability) -> Result<Outcome, Failure> {
    let known = ["sample", "flexes", "cycles", "hours", "outcome"];
    let table = Given::read(&options.lives, &known)?;
    let columns: Vec<&'static str> =
        ["flexes", "cycles", "hours"].into_iter().filter(|c| table.has(c)).collect();
    let [unit] = columns[..] else {
        return Err(Failure::new(
            format!("{}: {} columns of time", options.lives.display(), columns.len()),
            "give one of flexes, cycles, hours for all samples: mixed units are not guessed",
        ));
    };
    let samples: Vec<Tested> =
        table.all(|row| Ok(Tested { time: row.positive(unit)?, failed: row.failed()? }))?;
    if samples.is_empty() {
        return Err(Failure::new(
            format!("{}: no sample", options.lives.display()),
            "give one line per sample",
        ));
    }
    let lives = judge(options, unit, &samples).map_err(|e| Failure::new(e.what, e.remedy))?;
    let mut files = Vec::new();
    if let Some(best) = lives.fits.first() {
        let points: Vec<[f64; 2]> =
            plotted(&samples, RankRule::Benard).iter().map(|p| [p.time, p.share]).collect();
        let whole: Vec<f64> = samples.iter().filter(|s| !s.failed).map(|s| s.time).collect();
        let of = |p: f64| {
            let i = bounds_of_quantile(&best.fit, p, options.confidence);
            [i.value, i.low, i.high]
        };
        let words = format!(
            "{} of {} failed; Weibull, bounds at {:.0} %",
            lives.failures,
            lives.samples,
            100.0 * options.confidence
        );
        let picture =
            life_view::probability(["Lives of the tested samples", &words], unit, &points, &whole, &of)?;
        files.push(("probability.png".to_owned(), picture));
    }
    let folder = options.out.clone().unwrap_or_else(|| {
        let mut name = options.lives.file_stem().unwrap_or_default().to_os_string();
        name.push("-reliability");
        options.lives.with_file_name(name)
    });
    let names: Vec<&str> = files.iter().map(|f| f.0.as_str()).collect();
    let results = json::other(&lives, &options.lives.display().to_string(), "", &names)?;
    files.push(("results.json".to_owned(), results));
    let mut out = OutFolder::open(&folder)?;
    out.put_all(&files)?;
    let written = out.finish()?;
    screen::print(&table::reliability(&lives, &written))?;
    Ok(Outcome::Done)
}

fn judge(options: &Reliability, unit: &'static str, samples: &[Tested]) -> Result<Lives, StatError> {
    let confidence = options.confidence;
    let failures = samples.iter().filter(|s| s.failed).count();
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let mut lives = Lives {
        unit,
        samples: count(samples.len()),
        failures: count(failures),
        confidence,
        parts: options.parts,
        fits: Vec::new(),
        no_fit: String::new(),
        assumed: None,
        binomial: None,
    };
    for family in [Family::Weibull, Family::Lognormal] {
        let found = match fit(family, samples) {
            Ok(found) => found,
            Err(e) => {
                lives.no_fit = e.to_string();
                continue;
            }
        };
        let ratio = likelihood_bounds(&found, samples, 0.1, confidence)?;
        let parts = vec![found; options.parts as usize];
        lives.fits.push(Fitted {
            shape: [bounds_of_shape(&found, confidence), ratio.shape],
            scale: [bounds_of_scale(&found, confidence), ratio.scale],
            ten_percent: [bounds_of_quantile(&found, 0.1, confidence), ratio.life],
            series_ten_percent: series::life(&parts, 0.1),
            fit: found,
        });
    }
    if let Some(shape) = options.shape {
        let scale = proven_scale(samples, shape, confidence)?;
        lives.assumed = Some([shape, scale, weibull_life(scale, shape, 0.1)]);
    }
    // All samples stood this long or failed before: the binomial bound holds there.
    let stood = samples.iter().filter(|s| !s.failed).map(|s| s.time).fold(f64::INFINITY, f64::min);
    if stood.is_finite() {
        let before = samples.iter().filter(|s| s.failed && s.time <= stood).count();
        lives.binomial = Some([stood, proven_reliability(lives.samples, count(before), confidence)?]);
    }
    Ok(lives)
}
