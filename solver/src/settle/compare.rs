//! Spots of one mesh against the mesh before, by place.

use super::{Look, SettleOptions};
use crate::laminate::Laminate;
use crate::recover::{Ranked, Spot, Trace, distance_m, trace_mean, trace_values, zone};

/// Ratio of sizes from which the difference of two meshes tells the error that is left.
const REFINED: f64 = 1.4;

/// What the mesh before knew at a spot.
#[derive(Clone, Copy)]
struct Old {
    /// Ranking strain there.
    strain: f64,
    /// Triangle size there, m.
    size_m: f64,
}

/// Sets change and uncertainty of every spot from the mesh before.
///
/// Strains here converge at least in proportion to the triangle size. So where a spot's triangles shrank by a
/// factor q, what is left is at most the difference over q - 1 (a quarter more for a peak, and never less than half the
/// difference; twice for a mean about a singular point, whose triangles shrink much at once); where they hardly shrank, what was uncertain before still is, in proportion to the size.
pub(super) fn compare<T>(now: &mut Look<T>, before: &Look<T>, options: &SettleOptions) {
    let mut values = vec![None; before.trial.traces.len()];
    for spot in &mut now.spots {
        let trace = &now.trial.traces[spot.trace];
        let same = |other: &Trace| {
            other.layer == trace.layer && other.conductor == trace.conductor && other.name == trace.name
        };
        let Some(trace) = before.trial.traces.iter().position(same) else { continue };
        let known = match spot.mean {
            Some(_) => {
                let stack = now.trial.model.laminates.get(spot.laminate as usize);
                old_mean(stack, spot, before, trace)
            }
            None => {
                let all = values[trace].get_or_insert_with(|| {
                    trace_values(&before.trial.model, &before.recovered, &before.trial.traces[trace])
                });
                old_peak(all, spot, before)
            }
        };
        let Some(known) = known else { continue };
        let change = (known.strain - spot.strain).abs();
        spot.change = Some(change);
        spot.uncertainty = left(spot, change, known.size_m, old_uncertainty(spot, before, trace))
            .max((spot.strain - spot.second).abs())
            .max(options.spots.floor * spot.strain.abs());
    }
}

/// Error left after a step from triangles of `old_size_m`, absolute.
fn left(spot: &Spot, change: f64, old_size_m: f64, old_uncertainty: Option<f64>) -> f64 {
    let size_m = spot.mean.map_or(spot.size_m, |mean| mean.size_m);
    let q = old_size_m / size_m;
    if q >= REFINED {
        change * if spot.mean.is_some() { 2.0 / (q - 1.0) } else { (1.25 / (q - 1.0)).max(0.5) }
    } else {
        let carried = old_uncertainty.map_or(2.0 * change, |old| old * (size_m / old_size_m).min(1.0));
        change.max(carried)
    }
}

/// Uncertainty of the same spot on the mesh before, if it was one there.
fn old_uncertainty<T>(spot: &Spot, before: &Look<T>, trace: usize) -> Option<f64> {
    let reach = (2.0 * spot.thickness_m).max(spot.size_m);
    before
        .spots
        .iter()
        .filter(|old| old.trace == trace && old.mean.is_some() == spot.mean.is_some())
        .map(|old| (distance_m(&old.place_m, &spot.place_m), old))
        .filter(|(distance, old)| *distance <= reach.max(2.0 * old.size_m))
        .min_by(|one, other| one.0.total_cmp(&other.0))
        .map(|(_, old)| old.uncertainty)
}

/// Strain of largest magnitude that the mesh before had within one of its triangles of the spot.
fn old_peak<T>(values: &[(u32, u32, Ranked)], spot: &Spot, before: &Look<T>) -> Option<Old> {
    let distance = |node: u32| distance_m(&before.trial.model.nodes_m[node as usize], &spot.place_m);
    let nearest = values.iter().min_by(|one, other| distance(one.0).total_cmp(&distance(other.0)))?;
    let size_m = before.recovered.local_size_m(nearest.1);
    let reach = size_m.max(spot.thickness_m);
    let within = values.iter().filter(|value| distance(value.0) <= reach);
    let highest = within.max_by(|one, other| one.2.strain.abs().total_cmp(&other.2.strain.abs()));
    Some(Old { strain: highest.unwrap_or(nearest).2.strain, size_m })
}

/// The mean about the same point on the mesh before, in the zone of the same stack.
fn old_mean<T>(stack: Option<&Laminate>, spot: &Spot, before: &Look<T>, trace: usize) -> Option<Old> {
    let (mean, stack) = (spot.mean?, stack?);
    let model = &before.trial.model;
    let laminate = model.laminates.iter().position(|other| other == stack)?;
    let disc = (mean.singular.place_m, mean.radius_m);
    let trace = &before.trial.traces[trace];
    let of = |&triangle: &u32| model.laminate_of[triangle as usize] as usize == laminate;
    let zone = zone(model, trace.triangles.iter().copied().find(of)?);
    let of = (zone, u32::try_from(laminate).ok()?);
    let old = trace_mean(model, &before.recovered, trace, of, disc)?;
    Some(Old { strain: old.ranked.strain, size_m: old.size_m })
}

/// The spots that must settle.
pub(super) fn top<'a>(spots: &'a [Spot], options: &SettleOptions) -> Vec<&'a Spot> {
    let highest = spots.first().map_or(0.0, |spot| spot.strain.abs());
    spots.iter().take(options.top).filter(|spot| spot.strain.abs() >= 0.8 * highest).collect()
}

/// Whether a spot has settled: it moved within the tolerance, and both what may be left and the second opinion stay
/// within twice that.
pub(super) fn still(spot: &Spot, options: &SettleOptions) -> bool {
    let allowed = options.tolerance * spot.strain.abs();
    let moved_little = spot.change.is_some_and(|change| change <= allowed);
    let sure = match spot.mean {
        Some(mean) => mean.resolved,
        None => spot.uncertainty <= 2.0 * allowed.max(options.spots.floor * spot.strain.abs()),
    };
    moved_little && sure && (spot.strain - spot.second).abs() <= 2.0 * allowed
}

/// How much larger than asked triangles come out: without this room a spot at its limit would be refined in vain.
const LARGER: f64 = 1.25;

/// Whether nothing finer makes sense at a spot: its triangles are about half the thickness already.
pub(super) fn at_limit(spot: &Spot, options: &SettleOptions) -> bool {
    match spot.mean {
        Some(mean) => mean.resolved,
        None => spot.size_m <= LARGER * options.finest_share * spot.thickness_m,
    }
}
