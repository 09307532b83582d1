//! Tested samples against the literature: a belief about life that starts at the band and moves to the user's data.
//!
//! In: strain range of every spot of every sample, cycles, failed or not, crack spot if known. Out: a [`Belief`] that
//! answers life at any strain with bounds. The logarithm of the median life of a spot is that of the literature band
//! plus a shift and a tilt with the logarithm of strain; scatter is Weibull. A sample fails at its weakest spot: a
//! failure without a place belongs to all spots together, with a place the other spots have survived. Shift, tilt and
//! scatter start from a stated prior, so that no or few samples still give an answer, and it says so.
//!
//! The posterior is found by Newton and summed over a grid about its peak: no chance in it, same bytes every time.

use super::{Band, CopperKind, OutsideLaw};
use crate::reliability::{Interval, StatError};
use nalgebra::{Matrix3, Vector3};

/// Prior of the scatter: median and deviation of the logarithm of Weibull `1 / shape` (shape 2, span 1.5 to 4 at about
/// 90 per cent; judgement, no source).
pub const SCATTER: [f64; 2] = [0.5, 0.35];
/// Prior deviation of the tilt: change of the exponent of life over strain (judgement).
pub const TILT: f64 = 1.0;

/// A spot of a tested or designed board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpotLoad {
    /// Kind of its copper.
    pub kind: CopperKind,
    /// Strain range of the steady loop.
    pub range: f64,
    /// Mean stress of the loop, Pa.
    pub mean_pa: f64,
}

/// A tested sample as the fit sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct TestedSample {
    /// Its spots at its own swing.
    pub spots: Vec<SpotLoad>,
    /// Cycles to failure, or survived.
    pub cycles: f64,
    /// Whether it failed.
    pub failed: bool,
    /// The spot that cracked, where known.
    pub place: Option<usize>,
}

/// What is believed about life after the samples.
#[derive(Debug, Clone, PartialEq)]
pub struct Belief {
    /// Shift, tilt, sigma, and weight.
    nodes: Vec<[f64; 4]>,
    /// Strain range at which the shift applies whole.
    reference: f64,
    /// Samples used.
    pub samples: usize,
    /// Of these, failed.
    pub failures: usize,
    /// Lowest and highest strain range of the samples' worst spots; None without samples.
    pub tested: Option<[f64; 2]>,
    /// Most cycles of any sample.
    pub longest_cycles: f64,
}

/// Logarithm of the standardised median of Weibull lives.
const MEDIAN: f64 = -0.366_512_920_581_664_3;

/// Logarithm of the life in the middle of the literature band; below what the laws cover, on along the slope of the
/// high-cycle line, so that a mild spot never counts as much as a worse one.
fn literature(spot: &SpotLoad) -> Result<f64, OutsideLaw> {
    let covered = |cycles: f64| spot.kind.foil().range(cycles).max(spot.kind.slopes().range(cycles));
    let least = covered(super::MOST_CYCLES);
    let middle = Band::under(spot.kind, spot.range.max(least), spot.mean_pa)?.middle().ln();
    // A range that is no number or below zero was refused by the band.
    Band::at(spot.kind, spot.range)?;
    let below = (least / spot.range.max(1e-12)).ln().max(0.0);
    Ok(middle + spot.kind.line().exponent() * below)
}

/// Rows of one sample: literature log life and log strain over reference, per spot.
struct Row {
    log_cycles: f64,
    failed: bool,
    place: Option<usize>,
    spots: Vec<[f64; 2]>,
}

impl Row {
    fn log_likelihood(&self, shift: f64, tilt: f64, sigma: f64) -> f64 {
        let z = |spot: &[f64; 2]| (self.log_cycles - (spot[0] + shift - tilt * spot[1])) / sigma + MEDIAN;
        let hazard: f64 = self.spots.iter().map(|s| z(s).exp()).sum();
        if !self.failed {
            return -hazard;
        }
        let cracked = self.place.and_then(|k| self.spots.get(k)).map_or_else(|| hazard.ln(), z);
        cracked - sigma.ln() - hazard
    }
}

/// Shift (in units of its prior), tilt and scatter from standardised unknowns.
fn unfold(x: &Vector3<f64>, doubt: f64) -> [f64; 3] {
    [doubt * x[0], TILT * x[1], SCATTER[0] * (SCATTER[1] * x[2]).exp()]
}

impl Belief {
    /// From the design's worst spot and any number of samples.
    ///
    /// # Errors
    /// A sample without cycles, spots, or with a crack place that is none of its spots; a strain above the law.
    pub fn new(design: SpotLoad, samples: &[TestedSample]) -> Result<Self, StatError> {
        let outside = |e: OutsideLaw| StatError::new(e.to_string(), "check swing and stack of the samples");
        let doubt = Band::under(design.kind, design.range, design.mean_pa).map_err(outside)?.doubt();
        let worst = |s: &TestedSample| s.spots.iter().map(|s| s.range).fold(0.0, f64::max);
        let (mut sum, mut low, mut high) = (0.0, f64::INFINITY, 0.0f64);
        for sample in samples {
            sum += worst(sample).ln();
            (low, high) = (low.min(worst(sample)), high.max(worst(sample)));
        }
        let reference = if samples.is_empty() { design.range } else { (sum / samples.len() as f64).exp() };
        let mut rows = Vec::with_capacity(samples.len());
        for (i, sample) in samples.iter().enumerate() {
            if !(sample.cycles.is_finite() && sample.cycles > 0.0) || sample.spots.is_empty() {
                let what =
                    format!("sample {}: {} cycles, {} spots", i + 1, sample.cycles, sample.spots.len());
                return Err(StatError::new(
                    what,
                    "give cycles above zero and a swing that strains the copper",
                ));
            }
            let spot =
                |s: &SpotLoad| Ok([literature(s).map_err(outside)?, (s.range.max(1e-12) / reference).ln()]);
            let spots = sample.spots.iter().map(spot).collect::<Result<Vec<_>, StatError>>()?;
            rows.push(Row {
                log_cycles: sample.cycles.ln(),
                failed: sample.failed,
                place: sample.place,
                spots,
            });
        }
        Ok(Self {
            nodes: posterior(&rows, doubt),
            reference,
            samples: samples.len(),
            failures: samples.iter().filter(|s| s.failed).count(),
            tested: if samples.is_empty() { None } else { Some([low, high]) },
            longest_cycles: samples.iter().map(|s| s.cycles).fold(0.0, f64::max),
        })
    }

    /// Cycles to share `p` failed of boards with these spots in series: best value and bounds that hold with
    /// confidence `confidence` between them.
    ///
    /// # Errors
    /// A strain above the law, or no spot.
    pub fn life(&self, spots: &[SpotLoad], p: f64, confidence: f64) -> Result<Interval, StatError> {
        let laid = self.laid(spots)?;
        Ok(self.spread(confidence, |node| Self::log_life(&laid, node, p)).map(f64::exp))
    }

    /// Life with these spots over the life with others, share `p` failed.
    ///
    /// # Errors
    /// As [`Self::life`].
    pub fn ratio(
        &self,
        spots: &[SpotLoad],
        over: &[SpotLoad],
        p: f64,
        confidence: f64,
    ) -> Result<Interval, StatError> {
        let laid = [self.laid(spots)?, self.laid(over)?];
        let of = |node| Self::log_life(&laid[0], node, p) - Self::log_life(&laid[1], node, p);
        Ok(self.spread(confidence, of).map(f64::exp))
    }

    /// Exponent `m` of life over strain between two loads of the same board, by their worst strains.
    ///
    /// # Errors
    /// As [`Self::life`]; both worst strains alike.
    pub fn exponent(
        &self,
        spots: &[SpotLoad],
        over: &[SpotLoad],
        confidence: f64,
    ) -> Result<Interval, StatError> {
        let worst = |spots: &[SpotLoad]| spots.iter().map(|s| s.range).fold(0.0, f64::max);
        let way = (worst(spots) / worst(over)).ln();
        if !way.is_finite() || way.abs() < 1e-9 {
            return Err(StatError::new("two swings of one strain have no exponent", "let them differ"));
        }
        let laid = [self.laid(spots)?, self.laid(over)?];
        let of = |node| (Self::log_life(&laid[1], node, 0.5) - Self::log_life(&laid[0], node, 0.5)) / way;
        Ok(self.spread(confidence, of))
    }

    /// Median and bounds of a quantity over everything unsure.
    fn spread(&self, confidence: f64, of: impl Fn([f64; 3]) -> f64) -> Interval {
        let node = |&[shift, tilt, sigma, weight]: &[f64; 4]| [of([shift, tilt, sigma]), weight];
        let mut lives: Vec<[f64; 2]> = self.nodes.iter().map(node).collect();
        lives.sort_by(|a, b| a[0].total_cmp(&b[0]));
        // Nodes of one value are one step of the distribution.
        lives.dedup_by(|next, kept| {
            let same = next[0] - kept[0] < 1e-6;
            if same {
                kept[1] += next[1];
            }
            same
        });
        let at = |share: f64| {
            let mut before = (0.0, lives.first().map_or(f64::NAN, |l| l[0]));
            let mut sum = 0.0;
            for [y, weight] in &lives {
                // Weight counts half before its place and half after.
                let here = sum + 0.5 * weight;
                if here >= share {
                    let part = if here > before.0 { (share - before.0) / (here - before.0) } else { 1.0 };
                    return before.1 + part * (y - before.1);
                }
                before = (here, *y);
                sum += weight;
            }
            before.1
        };
        let tail = 0.5 * (1.0 - confidence);
        Interval { value: at(0.5), low: at(tail), high: at(1.0 - tail) }
    }

    /// Chance that a board with these spots is whole after some cycles, everything unsure averaged over.
    ///
    /// # Errors
    /// As [`Self::life`].
    pub fn reliability(&self, spots: &[SpotLoad], cycles: f64) -> Result<f64, StatError> {
        self.all_whole(spots, cycles, 1)
    }

    /// Chance that all of so many boards are whole after some cycles: they share what is unsure.
    ///
    /// # Errors
    /// As [`Self::life`].
    pub fn all_whole(&self, spots: &[SpotLoad], cycles: f64, boards: u32) -> Result<f64, StatError> {
        let laid = self.laid(spots)?;
        let whole = |&[shift, tilt, sigma, weight]: &[f64; 4]| {
            let hazard: f64 = laid
                .iter()
                .map(|s| ((cycles.ln() - (s[0] + shift - tilt * s[1])) / sigma + MEDIAN).exp())
                .sum();
            weight * (-hazard * f64::from(boards)).exp()
        };
        Ok(self.nodes.iter().map(whole).sum())
    }

    /// Mean Weibull shape believed.
    #[must_use]
    pub fn shape(&self) -> f64 {
        self.nodes.iter().map(|n| n[3] / n[2]).sum()
    }

    fn laid(&self, spots: &[SpotLoad]) -> Result<Vec<[f64; 2]>, StatError> {
        if spots.is_empty() {
            return Err(StatError::new("no spot of the copper is strained", "give the board a swing"));
        }
        let one = |s: &SpotLoad| {
            let own = literature(s).map_err(|e| StatError::new(e.to_string(), "reduce the swing"))?;
            Ok([own, (s.range.max(1e-12) / self.reference).ln()])
        };
        spots.iter().map(one).collect()
    }

    /// Logarithm of the life of a series of spots.
    fn log_life(laid: &[[f64; 2]], [shift, tilt, sigma]: [f64; 3], p: f64) -> f64 {
        let mu = |s: &[f64; 2]| s[0] + shift - tilt * s[1];
        let least = laid.iter().map(mu).fold(f64::INFINITY, f64::min);
        let sum: f64 = laid.iter().map(|s| (-(mu(s) - least) / sigma).exp()).sum();
        least + sigma * ((-(-p).ln_1p()).ln() - MEDIAN - sum.ln())
    }
}

/// Points of the grid on either side of the peak, and their distance in deviations.
const REACH: i32 = 9;
const SPACING: f64 = 0.5;

/// Grid about the peak of the posterior: shift, tilt, sigma, weight.
fn posterior(rows: &[Row], doubt: f64) -> Vec<[f64; 4]> {
    let log = |x: &Vector3<f64>| {
        let [shift, tilt, sigma] = unfold(x, doubt);
        let data: f64 = rows.iter().map(|row| row.log_likelihood(shift, tilt, sigma)).sum();
        let value = data - 0.5 * x.norm_squared();
        if value.is_finite() { value } else { -1e300 }
    };
    let mut at = Vector3::zeros();
    let mut spread = Matrix3::identity();
    for _ in 0..60 {
        let (gradient, hessian) = differences(log, &at);
        // The prior alone has curvature one: never less, so that a step always climbs.
        let down = positive(&-hessian);
        let Some(inverse) = down.try_inverse() else { break };
        spread = inverse;
        let step = inverse * gradient;
        let (mut share, here) = (1.0, log(&at));
        while share > 1e-6 && log(&(at + step * share)) < here {
            share *= 0.5;
        }
        at += step * share;
        if (step * share).norm() < 1e-7 {
            break;
        }
    }
    let axes = spread.cholesky().map_or_else(Matrix3::identity, |c| c.l());
    let peak = log(&at);
    let mut nodes = Vec::new();
    for i in -REACH..=REACH {
        for j in -REACH..=REACH {
            for k in -REACH..=REACH {
                let u = Vector3::new(f64::from(i), f64::from(j), f64::from(k)) * SPACING;
                let x = at + axes * u;
                let weight = (log(&x) - peak).exp();
                let [shift, tilt, sigma] = unfold(&x, doubt);
                nodes.push([shift, tilt, sigma, weight]);
            }
        }
    }
    let total: f64 = nodes.iter().map(|n| n[3]).sum();
    nodes.retain(|n| n[3] > 1e-12 * total);
    let total: f64 = nodes.iter().map(|n| n[3]).sum();
    nodes.iter_mut().for_each(|n| n[3] /= total);
    nodes
}

/// Symmetric part with eigenvalues of at least one fifth.
fn positive(m: &Matrix3<f64>) -> Matrix3<f64> {
    let mut own = ((m + m.transpose()) * 0.5).symmetric_eigen();
    own.eigenvalues.iter_mut().for_each(|v| *v = if v.is_finite() { v.max(0.2) } else { 1.0 });
    own.recompose()
}

/// Gradient and second derivatives by central differences.
fn differences(f: impl Fn(&Vector3<f64>) -> f64, at: &Vector3<f64>) -> (Vector3<f64>, Matrix3<f64>) {
    const H: f64 = 1e-4;
    let moved = |i: usize, a: f64, j: usize, b: f64| {
        let mut x = *at;
        x[i] += a * H;
        x[j] += b * H;
        f(&x)
    };
    let gradient = Vector3::from_fn(|i, _| (moved(i, 1.0, i, 0.0) - moved(i, -1.0, i, 0.0)) / (2.0 * H));
    let middle = f(at);
    let hessian = Matrix3::from_fn(|i, j| {
        if i == j {
            (moved(i, 1.0, i, 0.0) - 2.0 * middle + moved(i, -1.0, i, 0.0)) / (H * H)
        } else {
            let corner = |a, b| moved(i, a, j, b);
            (corner(1.0, 1.0) - corner(1.0, -1.0) - corner(-1.0, 1.0) + corner(-1.0, -1.0)) / (4.0 * H * H)
        }
    });
    (gradient, hessian)
}

#[cfg(test)]
mod tests;
