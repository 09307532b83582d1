//! Following steady motions over frequency or over the drive's strength, around folds.
//!
//! In: a [`Balance`] and a motion to start from. Out: a [`Branch`]: motions in order, those at the asked values solved
//! exactly there, each with its stability; and how the branch ended. By pseudo-arclength along parabolas through the last
//! two motions; between two motions, cubics.

use super::floquet::{Stability, stability};
use super::harmonic::{Balance, Steady};
use nalgebra::{DMatrix, DVector};
use rayon::prelude::*;

/// What changes along a branch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Along {
    /// The drive frequency.
    Frequency,
    /// The strength of the drive's alternating part.
    Level,
}

impl Along {
    pub(super) fn of(self, x: &Steady) -> f64 {
        match self {
            Self::Frequency => x.drive.frequency_hz,
            Self::Level => x.drive.level,
        }
    }

    pub(super) fn set(self, x: &mut Steady, value: f64) {
        match self {
            Self::Frequency => x.drive.frequency_hz = value,
            Self::Level => x.drive.level = value,
        }
    }
}

/// One motion of a branch.
#[derive(Debug, Clone, PartialEq)]
pub struct Motion {
    /// The motion.
    pub steady: Steady,
    /// Stability; None where it was not asked for.
    pub stability: Option<Stability>,
    /// At one of the asked values (else on the way between).
    pub asked: bool,
}

/// How a branch ended.
#[derive(Debug, Clone, PartialEq)]
pub enum End {
    /// At the last asked value.
    Reached,
    /// No further motion was found: the value reached, and why.
    Lost {
        /// Value of what changes along the branch.
        at: f64,
        /// In words.
        why: String,
    },
    /// Stopped by the one who watches.
    Stopped,
}

/// Motions in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Branch {
    /// The motions.
    pub motions: Vec<Motion>,
    /// How it ended.
    pub end: End,
}

/// Wishes about a branch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Following {
    /// What changes.
    pub along: Along,
    /// Judge the stability of every motion.
    pub stability: bool,
    /// Most corrected steps in all.
    pub most_steps: usize,
    /// Largest change of the motion in one step, of its own size.
    pub largest: f64,
}

impl Following {
    /// Over frequency or level, with stability.
    #[must_use]
    pub fn new(along: Along) -> Self {
        Self { along, stability: true, most_steps: 4000, largest: 0.25 }
    }
}

/// Smallest step, in shares of the whole way, before the branch counts as lost.
const LEAST_STEP: f64 = 1e-7;

/// Most corrections of one step.
const MOST_CORRECTIONS: usize = 9;

/// A bent guess is taken while it leaves the straight one by less than this share of the step.
const MOST_BEND: f64 = 0.5;

/// A point in the space of coefficients and parameter, both over their sizes.
struct Metric {
    motion: f64,
    way: f64,
}

impl Metric {
    fn product(&self, a: &Change, b: &Change) -> f64 {
        a.0.dot(&b.0) / (self.motion * self.motion) + a.1 * b.1 / (self.way * self.way)
    }

    fn size(&self, a: &Change) -> f64 {
        self.product(a, a).sqrt()
    }
}

/// A cubic between two motions.
struct Cubic {
    whole: Change,
    /// Tangents at both ends over the whole way.
    ends: [Change; 2],
    from: f64,
}

impl Cubic {
    /// Tangents that lie far from the straight way are taken along it.
    fn new([from, to]: [&Steady; 2], tangents: [&Change; 2], metric: &Metric, along: Along) -> Self {
        let whole = (&to.series - &from.series, along.of(to) - along.of(from));
        let square = metric.product(&whole, &whole);
        let ends = tangents.map(|t| {
            let shared = metric.product(t, &whole);
            if shared > 0.5 * square.sqrt() * metric.size(t) {
                let scale = square / shared;
                (&t.0 * scale, t.1 * scale)
            } else {
                whole.clone()
            }
        });
        Self { whole, ends, from: along.of(from) }
    }

    /// Series where the value along the branch is `value`, which lies between the ends.
    fn at(&self, value: f64, [from, to]: [&Steady; 2]) -> DMatrix<f64> {
        let way = |u: f64| {
            let [rise, start, end] = weights(u);
            self.from + rise * self.whole.1 + start * self.ends[0].1 + end * self.ends[1].1
        };
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if (way(middle) - value) * self.whole.1 < 0.0 { low = middle } else { high = middle }
        }
        let [rise, start, end] = weights(0.5 * (low + high));
        let bent = &self.ends[0].0 * start + &self.ends[1].0 * end;
        &from.series * (1.0 - rise) + &to.series * rise + bent
    }
}

/// Weights of the whole difference and of both end tangents in a cubic.
fn weights(u: f64) -> [f64; 3] {
    [u * u * (3.0 - 2.0 * u), u * (1.0 - u) * (1.0 - u), -u * u * (1.0 - u)]
}

/// Follows a motion through the asked values, in their order (all on one side of the first).
///
/// `watch` is told the share of the way gone, and may stop it by returning false.
pub fn follow(
    balance: &Balance<'_>,
    start: &Steady,
    values: &[f64],
    wishes: &Following,
    watch: &mut dyn FnMut(f64) -> bool,
) -> Branch {
    let mut out = Branch { motions: Vec::new(), end: End::Reached };
    let (Some(&first), Some(&last)) = (values.first(), values.last()) else { return out };
    let mut x = start.clone();
    wishes.along.set(&mut x, first);
    x = match balance.solve(&x) {
        Ok(x) => x,
        Err(e) => {
            out.end = End::Lost { at: first, why: e.why };
            return out;
        }
    };
    let mut walk = Walk { balance, wishes, values, next: 1, way: last - first, size: 0.0, out };
    walk.keep(&x, true);
    if values.len() > 1 && (last - first).abs() > 0.0 {
        walk.go(x, watch);
    }
    if wishes.stability {
        walk.out.motions.par_iter_mut().for_each(|m| m.stability = Some(stability(balance, &m.steady)));
    }
    walk.out
}

/// A change of the motion and of what changes along the branch.
type Change = (DMatrix<f64>, f64);

struct Walk<'w> {
    balance: &'w Balance<'w>,
    wishes: &'w Following,
    values: &'w [f64],
    /// Next asked value.
    next: usize,
    way: f64,
    /// Size of the largest motion so far.
    size: f64,
    out: Branch,
}

impl Walk<'_> {
    fn keep(&mut self, x: &Steady, asked: bool) {
        self.size = self.size.max(x.series.norm());
        self.out.motions.push(Motion { steady: x.clone(), stability: None, asked });
    }

    fn go(&mut self, mut x: Steady, watch: &mut dyn FnMut(f64) -> bool) {
        let along = self.wishes.along;
        let first = self.values[0];
        // The first step goes a share of the way to the next asked value.
        let mut step = (self.values[1] - first).abs() / self.way.abs();
        let metric = Metric { motion: x.series.norm().max(f64::MIN_POSITIVE), way: self.way.abs() };
        let Some(mut tangent) = tangent(self.balance, &x, along, &metric) else {
            self.out.end = End::Lost { at: first, why: "the balance is singular at the start".to_owned() };
            return;
        };
        if tangent.1 * self.way < 0.0 {
            tangent = (-tangent.0, -tangent.1);
        }
        let mut before: Option<Steady> = None;
        for _ in 0..self.wishes.most_steps {
            let gone = (along.of(&x) - first) / self.way;
            if !watch(gone.clamp(0.0, 1.0)) {
                self.out.end = End::Stopped;
                return;
            }
            let metric = Metric { motion: x.series.norm().max(self.size * 1e-3), way: self.way.abs() };
            let Some(direction) = rescaled(&tangent, &metric) else {
                self.out.end = End::Lost { at: along.of(&x), why: "the branch has no direction".to_owned() };
                return;
            };
            let bend = before.as_ref().and_then(|old| bend(old, &x, &direction, &metric, along));
            match self.attempt(&x, &direction, bend.as_ref(), step, &metric) {
                Some((next, new_tangent, corrections)) => {
                    self.pass_asked([&x, &next], [&tangent, &new_tangent], &metric);
                    let done = self.next >= self.values.len();
                    if done {
                        return;
                    }
                    let back = (along.of(&next) - first) / self.way;
                    self.keep(&next, false);
                    if back < -1e-9 {
                        self.out.end = End::Lost {
                            at: first,
                            why: "the branch turns back and leaves through the first value".to_owned(),
                        };
                        return;
                    }
                    tangent = new_tangent;
                    before = Some(std::mem::replace(&mut x, next));
                    let most = if corrections <= 3 {
                        1.6
                    } else if corrections <= 5 {
                        1.0
                    } else {
                        0.5
                    };
                    step = (step * most).min(self.wishes.largest);
                }
                None => {
                    step *= 0.4;
                    if step < LEAST_STEP {
                        self.out.end = End::Lost {
                            at: along.of(&x),
                            why: "no motion close by continues the branch".to_owned(),
                        };
                        return;
                    }
                }
            }
        }
        let why = format!("not at its end after {} steps", self.wishes.most_steps);
        self.out.end = End::Lost { at: along.of(&x), why };
    }

    /// Solves at the asked values between two motions. A branch that runs back past a fold is asked on its way back
    /// too, where it crosses earlier values.
    fn pass_asked(&mut self, [from, to]: [&Steady; 2], tangents: [&Change; 2], metric: &Metric) {
        let along = self.wishes.along;
        let between_both = Cubic::new([from, to], tangents, metric, along);
        let (a, b) = (along.of(from), along.of(to));
        let forward = (b - a) * self.way > 0.0;
        let beyond = |value: f64, mark: f64| (value - mark) * self.way > 0.0;
        let between: Vec<usize> = (0..self.values.len())
            .filter(|&i| {
                let value = self.values[i];
                let [low, high] = if forward { [a, b] } else { [b, a] };
                beyond(value, low) && !beyond(value, high)
            })
            .collect();
        let ordered: Vec<usize> = if forward { between } else { between.into_iter().rev().collect() };
        for i in ordered {
            let value = self.values[i];
            let mut guess = from.clone();
            guess.series = between_both.at(value, [from, to]);
            along.set(&mut guess, value);
            if let Ok(x) = self.balance.solve(&guess) {
                let size = (&to.series - &from.series).norm() + 1e-9 * to.series.norm();
                // Newton may leap to another branch beside a fold: that motion is not of this one.
                if (&x.series - &guess.series).norm() <= 2.0 * size {
                    self.keep(&x, true);
                }
            }
            if forward {
                self.next = self.next.max(i + 1);
            }
        }
    }

    /// One step along a direction, bent as told, corrected on the plane across it; with the tangent there and the
    /// corrections taken.
    fn attempt(
        &self,
        x: &Steady,
        direction: &(DVector<f64>, f64),
        bend: Option<&Change>,
        step: f64,
        metric: &Metric,
    ) -> Option<(Steady, Change, usize)> {
        let along = self.wishes.along;
        let n = x.series.len();
        let mut next = x.clone();
        next.series.iter_mut().zip(direction.0.iter()).for_each(|(q, d)| *q += step * metric.motion * d);
        let mut at = along.of(x) + step * metric.way * direction.1;
        let small = |bend: &&Change| metric.size(bend) * step < MOST_BEND;
        if let Some((series, way)) = bend.filter(small) {
            next.series += series * (step * step);
            at += way * step * step;
        }
        along.set(&mut next, at);
        if along == Along::Frequency && next.drive.frequency_hz <= 0.0 {
            return None;
        }
        let mut before = f64::INFINITY;
        for correction in 1..=MOST_CORRECTIONS {
            let residual = self.balance.residual(&next);
            let relative = residual.relative();
            if !relative.is_finite() {
                return None;
            }
            let by = match along {
                Along::Frequency => &residual.by_frequency,
                Along::Level => &residual.by_level,
            };
            let mut bordered = residual.jacobian.clone().insert_column(n, 0.0).insert_row(n, 0.0);
            bordered.column_mut(n).rows_mut(0, n).copy_from(by);
            bordered.row_mut(n).columns_mut(0, n).copy_from(&(direction.0.transpose() / metric.motion));
            bordered[(n, n)] = direction.1 / metric.way;
            let mut right = residual.value.clone().insert_row(n, 0.0);
            right[n] = 0.0;
            let bordered = bordered.lu();
            let change = bordered.solve(&right)?;
            next.series.iter_mut().zip(change.iter()).for_each(|(q, d)| *q -= d);
            let at = along.of(&next) - change[n];
            along.set(&mut next, at);
            if along == Along::Frequency && at <= 0.0 {
                return None;
            }
            let size = (change.rows(0, n).norm() / metric.motion).hypot(change[n] / metric.way);
            if !size.is_finite() || (correction > 2 && size > before) {
                return None;
            }
            // Corrections shrink with their square: what would follow is far below what is shown.
            let next_size =
                if correction > 1 { size * (size / before).powi(2).max(size) } else { f64::INFINITY };
            if size < 1e-9 || (size < 1e-5 && next_size < 1e-11) || (size < 1e-7 && relative < 1e-9) {
                let mut across = DVector::zeros(n + 1);
                across[n] = 1.0;
                let tangent = bordered.solve(&across)?;
                let series =
                    DMatrix::from_column_slice(x.series.nrows(), x.series.ncols(), &tangent.as_slice()[..n]);
                return Some((next, (series, tangent[n]), correction));
            }
            before = size;
        }
        None
    }
}

/// How the branch leaves its tangent by the last motion before, over the square of a step.
fn bend(
    old: &Steady,
    x: &Steady,
    direction: &(DVector<f64>, f64),
    metric: &Metric,
    along: Along,
) -> Option<Change> {
    let [nrows, ncols] = [x.series.nrows(), x.series.ncols()];
    let straight = DMatrix::from_column_slice(nrows, ncols, (&direction.0 * metric.motion).as_slice());
    let straight: Change = (straight, direction.1 * metric.way);
    let back = (&old.series - &x.series, along.of(old) - along.of(x));
    let gone = -metric.product(&back, &straight);
    let square = gone * gone;
    (gone > 0.0).then(|| ((back.0 + &straight.0 * gone) / square, (back.1 + straight.1 * gone) / square))
}

/// Unit direction of a difference of motions.
fn rescaled(tangent: &Change, metric: &Metric) -> Option<(DVector<f64>, f64)> {
    let motion = DVector::from_column_slice(tangent.0.as_slice()) / metric.motion;
    let way = tangent.1 / metric.way;
    let size = motion.norm().hypot(way);
    (size > 0.0 && size.is_finite()).then(|| (motion / size, way / size))
}

/// Change of the motion with the parameter.
fn tangent(balance: &Balance<'_>, x: &Steady, along: Along, metric: &Metric) -> Option<Change> {
    let residual = balance.residual(x);
    let by = match along {
        Along::Frequency => residual.by_frequency,
        Along::Level => residual.by_level,
    };
    let change = residual.jacobian.lu().solve(&by)? * -metric.way;
    let shape = DMatrix::from_column_slice(x.series.nrows(), x.series.ncols(), change.as_slice());
    shape.iter().all(|x| x.is_finite()).then_some((shape, metric.way))
}
