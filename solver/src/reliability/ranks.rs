//! Where samples stand on a probability plot: ranks with survivors, and the line through them.
//!
//! Rank adjustment for survivors after L. G. Johnson (1964); median ranks after A. Benard and E. C. Bos-Levenbach
//! (1953) or exact, as the median of the beta distribution (formulas from memory, values checked).

use super::special::beta_quantile;
use super::{Family, StatError, Tested};

/// How the share failed is guessed from a rank.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RankRule {
    /// `(i - 0.3) / (n + 0.4)`.
    Benard,
    /// Median of the beta distribution.
    Exact,
}

/// A failure on the plot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plotted {
    /// Time of failure.
    pub time: f64,
    /// Adjusted rank, 1 for the first of samples without earlier survivors.
    pub rank: f64,
    /// Share failed by then.
    pub share: f64,
}

/// The failures of samples in order of time, with adjusted rank and share failed. A survivor at the time of a
/// failure counts as later.
#[must_use]
pub fn plotted(samples: &[Tested], rule: RankRule) -> Vec<Plotted> {
    let mut sorted = samples.to_vec();
    sorted.sort_by(|a, b| a.time.total_cmp(&b.time).then(b.failed.cmp(&a.failed)));
    let n = sorted.len() as f64;
    let mut rank = 0.0;
    let mut found = Vec::new();
    for (i, sample) in sorted.iter().enumerate().filter(|(_, s)| s.failed) {
        let beyond = n - i as f64;
        rank += (n + 1.0 - rank) / (1.0 + beyond);
        let share = match rule {
            RankRule::Benard => (rank - 0.3) / (n + 0.4),
            RankRule::Exact => beta_quantile(0.5, rank, n - rank + 1.0),
        };
        found.push(Plotted { time: sample.time, rank, share });
    }
    found
}

/// A straight line on the probability plot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Location of the logarithm of life.
    pub mu: f64,
    /// Scale of the logarithm of life.
    pub sigma: f64,
    /// Square of the correlation.
    pub r2: f64,
}

/// Least squares through plotted failures: logarithm of time on standardised place, or the other way round.
///
/// # Errors
/// Fewer than two different failure times.
pub fn rank_line(family: Family, points: &[Plotted], time_on_place: bool) -> Result<Line, StatError> {
    let rows: Vec<[f64; 2]> = points.iter().map(|p| [family.quantile(p.share), p.time.ln()]).collect();
    let n = rows.len() as f64;
    let mean = [0, 1].map(|i| rows.iter().map(|r| r[i]).sum::<f64>() / n);
    let moment = |i: usize, j: usize| rows.iter().map(|r| (r[i] - mean[i]) * (r[j] - mean[j])).sum::<f64>();
    let (zz, zy, yy) = (moment(0, 0), moment(0, 1), moment(1, 1));
    if !(rows.len() > 1 && zz > 0.0 && yy > 1e-18) {
        return Err(StatError::new(
            format!("{} failures give no line on the plot", rows.len()),
            "two failures at different times are needed",
        ));
    }
    let sigma = if time_on_place { zy / zz } else { yy / zy };
    Ok(Line { mu: mean[1] - sigma * mean[0], sigma, r2: zy * zy / (zz * yy) })
}
