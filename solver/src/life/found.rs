//! Found cracks against ranked spots: how many lie at one, and how often luck alone would do as well.

use crate::reliability::special::beta_below;
use serde::Serialize;

/// Agreement of found cracks with the first ranked spots.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Agreement {
    /// Cracks found.
    pub cracks: u32,
    /// Of these, within the radius of one of the spots.
    pub met: u32,
    /// Spots looked at.
    pub spots: u32,
    /// Radius, m.
    pub radius_m: f64,
    /// Share of the ranked copper that lies within the radius of these spots.
    pub covered: f64,
    /// Chance that places drawn evenly over the ranked copper agree at least as often.
    pub by_luck: f64,
}

/// Counts cracks near spots. `spots`, `cracks`: layer and place (m). `pieces`: layer, centre (m) and area (m2) of the
/// ranked copper.
#[must_use]
pub fn agreement(
    spots: &[(u32, [f64; 2])],
    cracks: &[(u32, [f64; 2])],
    pieces: &[(u32, [f64; 2], f64)],
    radius_m: f64,
) -> Agreement {
    let near = |layer: u32, at: [f64; 2]| {
        spots.iter().any(|(l, s)| *l == layer && (s[0] - at[0]).hypot(s[1] - at[1]) <= radius_m)
    };
    let met = cracks.iter().filter(|(layer, at)| near(*layer, *at)).count();
    let whole: f64 = pieces.iter().map(|p| p.2).sum();
    let inside: f64 = pieces.iter().filter(|p| near(p.0, p.1)).map(|p| p.2).sum();
    let covered = if whole > 0.0 { inside / whole } else { 0.0 };
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    Agreement {
        cracks: count(cracks.len()),
        met: count(met),
        spots: count(spots.len()),
        radius_m,
        covered,
        by_luck: at_least(met, cracks.len(), covered),
    }
}

/// Chance of at least `met` hits in `tries` of chance `p` each.
fn at_least(met: usize, tries: usize, p: f64) -> f64 {
    if met == 0 { 1.0 } else { beta_below(met as f64, (tries - met) as f64 + 1.0, p) }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::float_cmp, reason = "exact figures are meant")]

    use super::*;

    /// Binomial sums by hand: 4 of 5 at p = 0.1 is 5 * 1e-4 * 0.9 + 1e-5 = 4.6e-4.
    #[test]
    fn agreement_is_weighed_against_luck() {
        let pieces: Vec<(u32, [f64; 2], f64)> =
            (0..100).map(|i| (0, [1e-4 * f64::from(i), 0.0], 1e-8)).collect();
        let spots = [(0, [0.5e-3 - 5e-5, 0.0])];
        let crack = |mm: f64| (0, [mm * 1e-3, 0.0]);
        let cracks = [crack(0.4), crack(0.5), crack(0.1), crack(0.8), crack(9.0)];
        let found = agreement(&spots, &cracks, &pieces, 0.46e-3);
        assert_eq!((found.cracks, found.met), (5, 4), "{found:?}");
        assert!((found.covered - 0.1).abs() < 1e-12, "{found:?}");
        assert!((found.by_luck - 4.6e-4).abs() < 1e-9, "{found:?}");
        let wrong = agreement(&[(1, [0.5e-3, 0.0])], &cracks, &pieces, 0.46e-3);
        assert_eq!((wrong.met, wrong.by_luck), (0, 1.0), "another layer never agrees");
        assert_eq!(agreement(&[], &[], &[], 1e-3).by_luck, 1.0, "nothing found, nothing shown");
    }
}
