//! Strain along the swing: the worst spot of every state, the range at every place, the spots of largest range.
//!
//! The range at a place is the largest difference of the normal strain between any two states in one material
//! direction, over all directions: for two states it is the normal strain of their difference that ranks. Spots come
//! from the difference of the two states that lie farthest apart, with the same rules (singular points, means,
//! uncertainty) as the static ones; where states between them reach further, the range grows by that ratio.

use super::super::{BendOptions, maps, spots};
use super::{Seen, Stage};
use crate::recover::{
    Patches, Recovered, SpotOptions, Trace, along, beside_landmark, largest_normal, largest_size,
    spots as pick,
};
use crate::result::{RangeSpot, Swing};
use nalgebra::{Vector3, Vector6};

/// Recovers the strain of a state and puts its worst spot into its row.
pub(super) fn look(stage: &Stage<'_>, (patches, traces): (&Patches, &[Trace]), seen: &mut Seen) -> Recovered {
    let recovered = patches.recover(&stage.own.model, &seen.balance, seen.balance.level.thermal);
    let wishes = SpotOptions { most: 1, ..SpotOptions::default() };
    if let Some(top) = pick(&stage.own.model, &recovered, traces, &wishes).first() {
        seen.row.strain = top.strain;
        seen.row.strain_error = top.uncertainty;
        seen.row.track.clone_from(&traces[top.trace].name);
        seen.row.at_m = [top.place_m[0], top.place_m[1]];
    }
    recovered
}

/// Fills maps and spots of the swing from the strains of its states, in the order of the swing.
pub(super) fn fill(
    stage: &Stage<'_>,
    options: &BendOptions,
    traces: &[Trace],
    recovered: &[Recovered],
    swing: &mut Swing,
) {
    let (Some(first), Some(last)) = (recovered.first(), recovered.last()) else { return };
    let most = usize::try_from(options.max_spots).unwrap_or(usize::MAX);
    let wishes = SpotOptions { most, ..SpotOptions::default() };
    swing.spots = pick(&stage.own.model, &difference(last, first), traces, &wishes)
        .iter()
        .zip(1_u32..)
        .map(|(spot, rank)| row(stage, traces, recovered, spot, rank))
        .collect();
    let on = maps::On {
        mesh: stage.mesh,
        model: &stage.own.model,
        reference_z_m: stage.own.reference_z_m,
        corner: &first.corner,
    };
    swing.maps = maps::all(stage.board, &on, |place| {
        let at = |r: &Recovered| {
            let strain = &r.zone_nodes[place.zone_node as usize].strain;
            place.laminate.copper_strain_at(place.ply, place.z_m, strain, r.thermal_factor)
        };
        let strains: Vec<Vector3<f64>> = recovered.iter().map(at).collect();
        let (range, [low, high]) = widest(&strains);
        (range, (strains[high] - strains[low]).into())
    });
}

/// Largest range over pairs of states and directions, and the pair.
pub(crate) fn widest(strains: &[Vector3<f64>]) -> (f64, [usize; 2]) {
    let mut best = (0.0, [0, 0]);
    for (j, b) in strains.iter().enumerate() {
        for (i, a) in strains[..j].iter().enumerate() {
            let range = largest_size(&(b - a));
            if range > best.0 {
                best = (range, [i, j]);
            }
        }
    }
    best
}

/// One state's strains less another's, as a state of its own: heating drops out.
pub(crate) fn difference(of: &Recovered, less: &Recovered) -> Recovered {
    let mut out = of.clone();
    for (own, other) in out.zone_nodes.iter_mut().zip(&less.zone_nodes) {
        own.strain -= other.strain;
        own.second -= other.second;
        own.mean -= other.mean;
    }
    for (own, other) in out.raw.iter_mut().zip(&less.raw) {
        for (a, b) in own.iter_mut().zip(other) {
            *a -= b;
        }
    }
    for (own, other) in out.error.iter_mut().zip(&less.error) {
        *own += other;
    }
    out.energy += less.energy;
    out.thermal_factor = of.thermal_factor - less.thermal_factor;
    out
}

/// Strain of the copper at a spot in every state.
pub(super) fn strains_at<'r>(
    stage: &Stage<'_>,
    recovered: impl IntoIterator<Item = &'r Recovered>,
    spot: &crate::recover::Spot,
) -> Vec<Vector3<f64>> {
    let laminate = &stage.own.model.laminates[spot.laminate as usize];
    let ply = laminate.plies.iter().position(|p| p.layer == spot.layer).unwrap_or(0);
    let of = |r: &Recovered| {
        let own = r.zone_nodes.iter().find(|z| z.node == spot.node && z.zone == spot.zone);
        let strain = own.map_or_else(Vector6::zeros, |z| z.strain);
        laminate.copper_strain_at(ply, spot.z_m, &strain, r.thermal_factor)
    };
    recovered.into_iter().map(of).collect()
}

pub(super) fn row(
    stage: &Stage<'_>,
    traces: &[Trace],
    recovered: &[Recovered],
    spot: &crate::recover::Spot,
    rank: u32,
) -> RangeSpot {
    let at = [spot.place_m[0], spot.place_m[1]];
    let (near, near_m) = beside_landmark(stage.board, at);
    let strains = strains_at(stage, recovered, spot);
    // Place values against those of the two ends; a mean (singular spot) grows alike.
    let ends = [strains.first(), strains.last()].map(|s| s.map_or(0.0, |s| along(s, spot.direction_rad)));
    let between = match (strains.first(), strains.last()) {
        (Some(a), Some(b)) => largest_normal(&(b - a)).0.abs(),
        _ => 0.0,
    };
    let grown = if between > 0.0 { widest(&strains).0 / between } else { 1.0 };
    let share = if between > 0.0 && spot.mean.is_some() { spot.strain.abs() / between } else { 1.0 };
    RangeSpot {
        rank,
        track: traces[spot.trace].name.clone(),
        layer: stage.board.layers[spot.layer.0 as usize].name.clone(),
        layer_index: spot.layer.0,
        face: spots::face(spot.face),
        x_m: at[0],
        y_m: at[1],
        near,
        near_m,
        range: spot.strain.abs() * grown,
        range_error: spot.uncertainty * grown,
        direction_rad: spot.direction_rad,
        ends: ends.map(|e| e * share),
        singular: spot.mean.as_ref().map(|mean| spots::singular(mean.singular.kind)),
        indicative: spot.indicative,
    }
}
