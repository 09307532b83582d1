//! Stress-strain curves and the parts that follow them.

use super::{Law, Part};
use crate::life::slopes::PowerCurve;
use std::fmt;

/// Strain over the elastic one at which a smooth curve is taken to leave its elastic line.
const LEAVES: f64 = 1.01;

/// Most parts of a law.
const MOST_PARTS: usize = 10;

/// A stress-strain curve of a first pull, or of the tips of steady loops.
#[derive(Debug, Clone, PartialEq)]
pub enum Curve {
    /// Elastic up to a yield stress, then straight.
    Bilinear {
        /// Young's modulus, Pa.
        modulus_pa: f64,
        /// Yield stress, Pa.
        yield_pa: f64,
        /// Stress over plastic strain beyond, Pa; 0 for ideally plastic.
        hardening_pa: f64,
    },
    /// Elastic strain plus a power of stress.
    Power(PowerCurve),
    /// Measured: strain and stress (Pa) of the kinks, the elastic limit first.
    Table(Vec<[f64; 2]>),
}

/// Why a measured curve cannot be followed; rows are counted from 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveFault {
    /// Row at fault; 0 for the table as a whole.
    pub row: usize,
    /// What must hold.
    pub rule: &'static str,
}

impl fmt::Display for CurveFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.row {
            0 => write!(f, "the curve: {}", self.rule),
            row => write!(f, "row {row} of the curve: {}", self.rule),
        }
    }
}

impl std::error::Error for CurveFault {}

impl Curve {
    /// Stress at a strain not below zero, Pa.
    #[must_use]
    pub fn stress_pa(&self, strain: f64) -> f64 {
        match self {
            Self::Bilinear { modulus_pa, yield_pa, hardening_pa } => {
                let tangent = modulus_pa * hardening_pa / (modulus_pa + hardening_pa);
                let beyond = strain - yield_pa / modulus_pa;
                if beyond <= 0.0 { modulus_pa * strain } else { yield_pa + tangent * beyond }
            }
            Self::Power(curve) => curve.stress_pa(strain),
            Self::Table(rows) => {
                let mut before = [0.0, 0.0];
                for row in rows {
                    if strain <= row[0] {
                        let share = (strain - before[0]) / (row[0] - before[0]);
                        return before[1] + share * (row[1] - before[1]);
                    }
                    before = *row;
                }
                before[1]
            }
        }
    }

    /// Checks a measured curve.
    ///
    /// # Errors
    /// No row, a row that does not grow, a slope that rises: the row and what must hold.
    pub fn checked(rows: Vec<[f64; 2]>) -> Result<Self, CurveFault> {
        let fault = |row, rule| Err(CurveFault { row, rule });
        if rows.len() < 2 || rows.len() > MOST_PARTS {
            return fault(0, "give two to ten rows, the elastic limit first");
        }
        let (mut before, mut slope) = ([0.0; 2], f64::INFINITY);
        for (i, row) in rows.iter().enumerate() {
            if !(row[0].is_finite() && row[1].is_finite() && row[0] > before[0]) {
                return fault(i + 1, "strains must be finite, above zero and rising");
            }
            let own = (row[1] - before[1]) / (row[0] - before[0]);
            if own < 0.0 || (i == 0 && own <= 0.0) {
                return fault(i + 1, "stress must not fall");
            }
            if own > slope * (1.0 + 1e-9) {
                return fault(i + 1, "the slope must not rise: the law only softens as it yields");
            }
            (before, slope) = (*row, own);
        }
        Ok(Self::Table(rows))
    }

    /// Slope at the origin, Pa.
    #[must_use]
    pub fn modulus_pa(&self) -> f64 {
        match self {
            Self::Bilinear { modulus_pa, .. } => *modulus_pa,
            Self::Power(curve) => curve.modulus_pa,
            Self::Table(rows) => rows.first().map_or(0.0, |r| r[1] / r[0]),
        }
    }

    /// Kinks of the law: strain and stress (Pa), the elastic limit first, the slope after the last.
    fn kinks(&self, count: usize, most_strain: f64) -> (Vec<[f64; 2]>, f64) {
        match self {
            Self::Bilinear { modulus_pa, yield_pa, hardening_pa } => {
                let tangent = modulus_pa * hardening_pa / (modulus_pa + hardening_pa);
                (vec![[yield_pa / modulus_pa, *yield_pa]], tangent)
            }
            Self::Power(curve) => {
                let count = count.clamp(2, MOST_PARTS);
                // (s / K)^(1 / n) is the share LEAVES - 1 of s / E.
                let n = curve.exponent;
                let first_pa = ((LEAVES - 1.0) * curve.coefficient_pa.powf(1.0 / n) / curve.modulus_pa)
                    .powf(n / (1.0 - n));
                let first = first_pa / curve.modulus_pa;
                let ratio = (most_strain.max(4.0 * first) / first).ln() / (count - 1) as f64;
                let at = |i: usize| first * (ratio * i as f64).exp();
                let kink = |i: usize| [at(i), if i == 0 { first_pa } else { curve.stress_pa(at(i)) }];
                (balanced(curve, (0..count).map(kink).collect()), 0.0)
            }
            Self::Table(rows) => (rows.clone(), 0.0),
        }
    }

    /// Parts that follow the curve up to a strain, by `count` kinks where the curve is smooth; beyond the last kink the
    /// stress stays (a bilinear curve goes on).
    #[must_use]
    pub fn law(&self, poisson: f64, count: usize, most_strain: f64) -> Law {
        let modulus_pa = self.modulus_pa();
        let (kinks, last) = self.kinks(count, most_strain);
        let mut parts = Vec::with_capacity(kinks.len() + 1);
        let mut slope = modulus_pa;
        for (i, kink) in kinks.iter().enumerate() {
            let next = kinks.get(i + 1).map_or(last, |to| (to[1] - kink[1]) / (to[0] - kink[0]));
            let next = next.min(slope);
            parts.push(Part { share: (slope - next) / modulus_pa, yield_pa: modulus_pa * kink[0] });
            slope = next;
        }
        if slope > 0.0 {
            parts.push(Part { share: slope / modulus_pa, yield_pa: f64::INFINITY });
        }
        parts.retain(|part| part.share > 0.0);
        Law { modulus_pa, poisson, parts }
    }
}

/// Kinks raised by half of what their chords miss, so that the law lies as much above the curve as below.
fn balanced(curve: &PowerCurve, kinks: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    let missed = |pair: &[[f64; 2]]| {
        let [a, b] = [pair[0], pair[1]];
        let at = |share: f64| {
            let [strain, chord] = [0, 1].map(|i| a[i] + share * (b[i] - a[i]));
            curve.stress_pa(strain) / chord - 1.0
        };
        (1..8).map(|k| at(f64::from(k) / 8.0)).fold(0.0, f64::max)
    };
    let chords: Vec<f64> = kinks.windows(2).map(missed).collect();
    let raised = |(i, kink): (usize, [f64; 2])| {
        let left = if i == 0 { 0.0 } else { chords[i - 1] };
        let right = chords.get(i).copied().unwrap_or(left);
        let by = if i == 0 { 0.0 } else { 0.25 * (left + right) };
        [kink[0], kink[1] * (1.0 + by)]
    };
    kinks.into_iter().enumerate().map(raised).collect()
}
