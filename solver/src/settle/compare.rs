//! Spots of one mesh against the mesh before, by place.

use super::{Look, SettleOptions};
use crate::recover::{Spot, Trace, spread, trace_mean, trace_values, zone};

/// Sets change and uncertainty of every spot from the mesh before.
pub(super) fn compare<T>(now: &mut Look<T>, before: &Look<T>, options: &SettleOptions) {
    let mut values = vec![None; before.trial.traces.len()];
    for spot in &mut now.spots {
        let trace = &now.trial.traces[spot.trace];
        let same = |other: &Trace| {
            other.layer == trace.layer && other.conductor == trace.conductor && other.name == trace.name
        };
        let Some(old) = before.trial.traces.iter().position(same) else { continue };
        let known = match spot.mean {
            Some(_) => old_mean(now.trial.model.laminates.get(spot.laminate as usize), spot, before, old),
            None => {
                let all = values[old].get_or_insert_with(|| {
                    trace_values(&before.trial.model, &before.recovered, &before.trial.traces[old])
                });
                old_peak(all, spot, before)
            }
        };
        spot.change = known.map(|strain| (strain - spot.strain).abs());
        spot.uncertainty =
            spread(spot).max(spot.change.unwrap_or(0.0)).max(options.spots.floor * spot.strain.abs());
    }
}

/// Strain of largest magnitude that the mesh before had within one of its triangles of the spot.
fn old_peak<T>(values: &[(u32, u32, crate::recover::Ranked)], spot: &Spot, before: &Look<T>) -> Option<f64> {
    let distance =
        |node: u32| crate::recover::distance_m(&before.trial.model.nodes_m[node as usize], &spot.place_m);
    let nearest = values.iter().min_by(|one, other| distance(one.0).total_cmp(&distance(other.0)))?;
    let reach = before.recovered.local_size_m(nearest.1).max(spot.thickness_m);
    let within = values.iter().filter(|value| distance(value.0) <= reach);
    let highest = within.max_by(|one, other| one.2.strain.abs().total_cmp(&other.2.strain.abs()));
    Some(highest.unwrap_or(nearest).2.strain)
}

/// The mean about the same point on the mesh before, in the zone of the same stack.
fn old_mean<T>(
    stack: Option<&crate::laminate::Laminate>,
    spot: &Spot,
    before: &Look<T>,
    trace: usize,
) -> Option<f64> {
    let (mean, stack) = (spot.mean?, stack?);
    let model = &before.trial.model;
    let laminate = model.laminates.iter().position(|other| other == stack)?;
    let disc = (mean.singular.place_m, mean.radius_m);
    let trace = &before.trial.traces[trace];
    let of = |&triangle: &u32| model.laminate_of[triangle as usize] as usize == laminate;
    let zone = zone(model, trace.triangles.iter().copied().find(of)?);
    let of = (zone, u32::try_from(laminate).ok()?);
    let old = trace_mean(model, &before.recovered, trace, of, disc)?;
    Some(old.ranked.strain)
}

/// The spots that must settle.
pub(super) fn top<'a>(spots: &'a [Spot], options: &SettleOptions) -> Vec<&'a Spot> {
    let highest = spots.first().map_or(0.0, |spot| spot.strain.abs());
    spots.iter().take(options.top).filter(|spot| spot.strain.abs() >= 0.8 * highest).collect()
}

/// Whether a spot has settled: it moved little, and its own spread agrees.
pub(super) fn still(spot: &Spot, options: &SettleOptions) -> bool {
    let allowed = options.tolerance * spot.strain.abs();
    let resolved = spot.mean.is_none_or(|mean| mean.resolved);
    resolved && spot.change.is_some_and(|change| change <= allowed) && spread(spot) <= 2.0 * allowed
}
