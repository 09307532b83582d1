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
mod tests {
    use super::*;

    const KIND: CopperKind = CopperKind::RolledAnnealed;

    fn spot(range: f64) -> SpotLoad {
        SpotLoad { kind: KIND, range, mean_pa: 0.0 }
    }

    fn sample(ranges: &[f64], cycles: f64, failed: bool, place: Option<usize>) -> TestedSample {
        TestedSample { spots: ranges.iter().map(|&r| spot(r)).collect(), cycles, failed, place }
    }

    /// Lives at the medians of their ranks of a Weibull distribution, the later ones cut off as survivors.
    fn batch(range: f64, median: f64, shape: f64, n: usize, cut: f64) -> Vec<TestedSample> {
        (0..n)
            .map(|i| {
                let p = (i as f64 + 0.7) / (n as f64 + 0.4);
                let life = median * ((-(1.0 - p).ln()) / std::f64::consts::LN_2).powf(1.0 / shape);
                sample(&[range], life.min(cut), life < cut, None)
            })
            .collect()
    }

    /// Without samples the answer is the band: median in its middle, a decade or more between 10 and 90 per cent.
    #[test]
    fn without_samples_the_prior_speaks() {
        let belief = Belief::new(spot(2e-3), &[]).expect("a belief");
        let life = belief.life(&[spot(2e-3)], 0.5, 0.8).expect("a life");
        let band = Band::at(KIND, 2e-3).expect("law");
        assert!((life.value / band.middle() - 1.0).abs() < 0.02, "{life:?} {band:?}");
        let [own, known] = [life.high / life.low, band.high() / band.low()].map(f64::ln);
        assert!((own / known - 1.0).abs() < 0.06, "{life:?} {band:?}");
        assert!(belief.tested.is_none() && belief.samples == 0, "{belief:?}");
        let ten = belief.life(&[spot(2e-3)], 0.1, 0.8).expect("a life");
        assert!(ten.value < 0.6 * life.value, "10 % fail earlier: {ten:?}");
    }

    /// Samples three times longer lived than the middle of the band move the belief there and narrow it.
    #[test]
    fn samples_move_and_narrow_the_belief() {
        let truth = 3.0 * Band::at(KIND, 1.5e-3).expect("law").middle();
        let samples = batch(1.5e-3, truth, 2.0, 20, 1.6 * truth);
        assert!(samples.iter().any(|s| !s.failed), "some survive");
        let belief = Belief::new(spot(1.5e-3), &samples).expect("a belief");
        let life = belief.life(&[spot(1.5e-3)], 0.5, 0.9).expect("a life");
        assert!(life.low < truth && truth < life.high, "{life:?} {truth}");
        assert!((life.value / truth - 1.0).abs() < 0.1 && life.high / life.low < 2.5, "{life:?} {truth}");
        assert!((belief.shape() - 2.0).abs() < 0.5, "shape {}", belief.shape());
        // Far from the tested strain the tilt makes it less sure.
        let far = belief.life(&[spot(6e-4)], 0.5, 0.9).expect("a life");
        assert!(far.high / far.low > 3.0, "{far:?}");
    }

    /// Refitted without one batch, the belief predicts that batch inside its band.
    #[test]
    fn a_batch_left_out_is_predicted() {
        let factor = 1.8;
        let life_at = |r: f64| factor * Band::at(KIND, r).expect("law").middle();
        let kept = [1.2e-3, 2e-3].map(|r| batch(r, life_at(r), 2.2, 10, 2.0 * life_at(r))).concat();
        let belief = Belief::new(spot(1.6e-3), &kept).expect("a belief");
        let predicted = belief.life(&[spot(1.6e-3)], 0.5, 0.9).expect("a life");
        assert!(predicted.low < life_at(1.6e-3) && life_at(1.6e-3) < predicted.high, "{predicted:?}");
        assert!(predicted.high / predicted.low < 3.0, "{predicted:?}");
    }

    #[test]
    fn survivors_alone_lengthen_the_life_believed() {
        let middle = Band::at(KIND, 1e-3).expect("law").middle();
        let none = Belief::new(spot(1e-3), &[]).expect("prior");
        let some =
            Belief::new(spot(1e-3), &vec![sample(&[1e-3], middle, false, None); 20]).expect("a belief");
        let [a, b] = [&none, &some].map(|x| x.life(&[spot(1e-3)], 0.1, 0.9).expect("a life"));
        assert!(b.value > 2.0 * a.value && b.low > 3.0 * a.low, "{a:?} {b:?}");
    }

    /// A named crack at the mild spot tells more of that spot than an unnamed one: life there is believed shorter.
    #[test]
    fn a_named_place_is_used() {
        let n = Band::at(KIND, 2e-3).expect("law").middle();
        let fit = |place| {
            let samples = vec![sample(&[2e-3, 1.4e-3], n, true, place); 6];
            let belief = Belief::new(spot(2e-3), &samples).expect("a belief");
            belief.life(&[spot(1.4e-3)], 0.5, 0.9).expect("a life").value
        };
        assert!(fit(Some(1)) < 0.8 * fit(None) && fit(Some(0)) > 0.9 * fit(None), "named places ignored");
    }

    /// Weibull by hand: a failure without a place has the density of the weakest of its spots, with a place that of the
    /// spot times the survival of the others, so the former is the sum of the latter; a survivor is all survivals.
    #[test]
    fn a_sample_is_its_weakest_spot() {
        let (shift, tilt, sigma, t) = (0.3, 0.2, 0.4, 2e5_f64);
        let spots = vec![[12.0, 0.1], [12.4, -0.05], [13.0, -0.3]];
        let row = |failed, place| Row { log_cycles: t.ln(), failed, place, spots: spots.clone() };
        let told = |failed, place| row(failed, place).log_likelihood(shift, tilt, sigma).exp();
        let shape = 1.0 / sigma;
        // Scale from the median: scale = median / (ln 2)^(1 / shape). Densities are per unit of ln t.
        let scale =
            |s: &[f64; 2]| (s[0] + shift - tilt * s[1]).exp() / std::f64::consts::LN_2.powf(1.0 / shape);
        let whole = |s: &[f64; 2]| (-(t / scale(s)).powf(shape)).exp();
        let density = |s: &[f64; 2]| shape * (t / scale(s)).powf(shape) * whole(s);
        let all: f64 = spots.iter().map(whole).product();
        assert!((told(false, None) / all - 1.0).abs() < 1e-12, "a survivor");
        let mut sum = 0.0;
        for (k, own) in spots.iter().enumerate() {
            let want = density(own) * all / whole(own);
            assert!((told(true, Some(k)) / want - 1.0).abs() < 1e-12, "a crack at spot {k}");
            sum += want;
        }
        assert!((told(true, None) / sum - 1.0).abs() < 1e-12, "a failure without a place");
    }

    /// Two equal spots and no place named: the board's median is that of one spot over 2^(1 / shape), and fitting samples
    /// of two spots gives back the life of one, longer by that factor.
    #[test]
    fn series_of_spots_is_undone_by_the_fit() {
        let (median, shape) = (Band::at(KIND, 1.5e-3).expect("law").middle(), 2.0);
        let boards: Vec<TestedSample> = batch(1.5e-3, median, shape, 40, f64::INFINITY)
            .into_iter()
            .map(|one| TestedSample { spots: vec![spot(1.5e-3); 2], ..one })
            .collect();
        let belief = Belief::new(spot(1.5e-3), &boards).expect("a belief");
        let of = |n: usize| belief.life(&vec![spot(1.5e-3); n], 0.5, 0.9).expect("a life").value;
        assert!((of(2) / median - 1.0).abs() < 0.06, "{} {median}", of(2));
        let factor = 2.0_f64.powf(1.0 / belief.shape());
        assert!((of(1) / of(2) / factor - 1.0).abs() < 0.03, "{} {factor}", of(1) / of(2));
    }

    /// Mean stress is in the life of design and samples alike: samples tested under it say nothing of it twice.
    #[test]
    fn a_lasting_mean_stress_shortens_the_life() {
        let pulled = SpotLoad { mean_pa: 40e6, ..spot(7e-4) };
        let prior = Belief::new(spot(7e-4), &[]).expect("prior");
        let life = |b: &Belief, s: SpotLoad| b.life(&[s], 0.5, 0.9).expect("a life").value;
        let factors = Band::under(KIND, 7e-4, 40e6).expect("law").mean_factors;
        let want = (factors[0] * factors[1]).sqrt();
        assert!(want < 0.7 && want > 0.1, "{factors:?}");
        assert!((life(&prior, pulled) / life(&prior, spot(7e-4)) / want - 1.0).abs() < 1e-9, "prior");
        let samples: Vec<TestedSample> = batch(7e-4, 1e8, 2.0, 30, f64::INFINITY)
            .into_iter()
            .map(|one| TestedSample { spots: vec![pulled], ..one })
            .collect();
        let belief = Belief::new(pulled, &samples).expect("a belief");
        assert!((life(&belief, pulled) / 1e8 - 1.0).abs() < 0.15, "{}", life(&belief, pulled));
        assert!(
            (life(&belief, pulled) / life(&belief, spot(7e-4)) / want - 1.0).abs() < 1e-9,
            "after samples"
        );
    }

    /// Without samples the exponent is the prior's: the band's slope, unsure by one (the tilt); so is the ratio of lives.
    #[test]
    fn exponent_and_ratio_of_lives() {
        let belief = Belief::new(spot(1e-3), &[]).expect("prior");
        let [high, low] = [[spot(1.5e-3)], [spot(1e-3)]];
        let m = belief.exponent(&high, &low, 0.6827).expect("an exponent");
        let at = |r: f64| Band::at(KIND, r).expect("law").middle().ln();
        let want = (at(1e-3) - at(1.5e-3)) / 1.5_f64.ln();
        assert!((m.value - want).abs() < 0.05 && (m.high - m.value - TILT).abs() < 0.1, "{m:?} {want}");
        let ratio = belief.ratio(&high, &low, 0.5, 0.6827).expect("a ratio");
        assert!((ratio.value.ln() + m.value * 1.5_f64.ln()).abs() < 0.02, "{ratio:?} {m:?}");
        assert!((ratio.low.ln() + m.high * 1.5_f64.ln()).abs() < 0.02, "{ratio:?} {m:?}");
        assert!(belief.exponent(&high, &high, 0.9).is_err(), "one strain");
        let n = belief.life(&high, 0.5, 0.9).expect("a life").value;
        let [one, ten] = [1, 10].map(|k| belief.all_whole(&high, n, k).expect("a chance"));
        assert!((one - 0.5).abs() < 0.02 && ten > 0.5_f64.powi(10) * 20.0, "shared doubt: {one} {ten}");
    }

    #[test]
    fn spots_below_all_laws_do_not_shorten_the_life_of_the_worst() {
        let belief = Belief::new(spot(1.5e-4), &[]).expect("prior");
        let one = belief.life(&[spot(1.5e-4)], 0.1, 0.9).expect("a life").value;
        let many = belief.life(&[spot(1.5e-4), spot(2e-5), spot(2e-5), spot(0.0)], 0.1, 0.9).expect("a life");
        assert!((many.value / one - 1.0).abs() < 0.01, "{} {one}", many.value);
    }

    #[test]
    fn two_spots_live_shorter_than_one_and_few_survive_long() {
        let belief = Belief::new(spot(1e-3), &[]).expect("prior");
        let [one, two] = [1, 2].map(|n| belief.life(&vec![spot(1e-3); n], 0.1, 0.9).expect("a life").value);
        assert!(two < 0.85 * one, "{two} {one}");
        let alive = |n: f64| belief.reliability(&[spot(1e-3)], n).expect("a share");
        assert!(alive(1e4) > 0.99 && alive(1e12) < 0.01, "{} {}", alive(1e4), alive(1e12));
        let told = belief.life(&[], 0.1, 0.9).expect_err("no spots").to_string();
        assert!(told.contains("no spot"), "{told}");
        let told = Belief::new(spot(0.5), &[]).expect_err("too much").to_string();
        assert!(told.contains("above what the law covers"), "{told}");
        assert!(Belief::new(spot(1e-3), &[sample(&[1e-3], -5.0, true, None)]).is_err(), "negative cycles");
    }
}
