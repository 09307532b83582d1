//! Spots and elongations as rows of the report.

use super::BendOptions;
use super::state::State;
use crate::recover::{self, beside_landmark, layer_strains, layer_wishes, rank_layer, recover_at};
use crate::result::{BendAnswer, ElongationCheck, Face, RangeSpot, SingularKind, Spot};
use crate::settle::Settled;
use copperbend_mesh::board::Board;

/// Spots of two lists nearer than this are one, m.
const SAME_PLACE_M: f64 = 0.3e-3;

/// Spots, and the other layers against their elongations.
pub(super) fn rows(
    board: &Board,
    options: &BendOptions,
    settled: &Settled<State>,
) -> (Vec<Spot>, Vec<ElongationCheck>) {
    let trial = &settled.trial;
    let most = usize::try_from(options.max_spots).unwrap_or(usize::MAX);
    let mut nodes: Vec<u32> = settled.spots.iter().take(most).map(|spot| spot.node).collect();
    nodes.sort_unstable();
    let unloaded = recover_at(&trial.model, &trial.extra.unloaded, trial.thermal_factor, &nodes);
    let spots = settled
        .spots
        .iter()
        .take(most)
        .zip(1_u32..)
        .map(|(spot, rank)| Spot {
            unloaded_strain: unloaded_strain(settled, &unloaded, spot),
            ..row(board, settled, spot, rank)
        })
        .collect();
    let wishes = layer_wishes(board);
    let elongations = layer_strains(&trial.model, &settled.recovered, &wishes, &trial.traces)
        .into_iter()
        .map(|found| {
            let layer = &board.layers[found.layer.0 as usize];
            ElongationCheck {
                layer: layer.name.clone(),
                material: board.materials[layer.material.0 as usize].name.clone(),
                face: face(found.face),
                x_m: found.place_m[0],
                y_m: found.place_m[1],
                strain: found.strain,
                strain_error: found.uncertainty,
                elongation: found.elongation,
                share: found.share(),
                note: found.beside_trace.map_or_else(String::new, |trace| {
                    format!("a crack here would lie above track '{}'", trial.traces[trace].name)
                }),
            }
        })
        .collect();
    (spots, elongations)
}

/// Puts the range over the swing beside the spots of the loaded state, where the same place ranks in both lists.
pub(super) fn swing_ranges(answer: &mut BendAnswer) {
    let Some(swing) = &answer.swing else { return };
    for spot in &mut answer.spots {
        let apart = |r: &RangeSpot| (r.x_m - spot.x_m).hypot(r.y_m - spot.y_m);
        let same = |r: &&RangeSpot| {
            r.layer_index == spot.layer_index && r.track == spot.track && apart(r) < SAME_PLACE_M
        };
        let nearest = swing
            .spots
            .iter()
            .filter(same)
            .min_by(|a, b| apart(a).total_cmp(&apart(b)).then(a.rank.cmp(&b.rank)));
        spot.swing_range = nearest.map(|r| r.range);
    }
}

fn row(board: &Board, settled: &Settled<State>, spot: &recover::Spot, rank: u32) -> Spot {
    let at = [spot.place_m[0], spot.place_m[1]];
    let (near, near_m) = beside_landmark(board, at);
    let mut notes: Vec<String> = Vec::new();
    if let Some(mean) = &spot.mean {
        notes.push(format!(
            "{}: no mesh-independent value; mean over a half-disc of radius {:.0} um{}",
            mean.singular.kind.words(),
            1e6 * mean.radius_m,
            if mean.resolved { "" } else { ", on triangles too coarse for it" }
        ));
    }
    if spot.indicative {
        notes.push("strain across a track narrower than three thicknesses: indicative only".into());
    }
    Spot {
        rank,
        track: settled.trial.traces[spot.trace].name.clone(),
        layer: board.layers[spot.layer.0 as usize].name.clone(),
        layer_index: spot.layer.0,
        face: face(spot.face),
        x_m: at[0],
        y_m: at[1],
        near,
        near_m,
        strain: spot.strain,
        strain_error: spot.uncertainty,
        direction_rad: spot.direction_rad,
        along_track: spot.along_track,
        unloaded_strain: 0.0,
        swing_range: None,
        singular: spot.mean.as_ref().map(|mean| singular(mean.singular.kind)),
        mean_radius_m: spot.mean.as_ref().map(|mean| mean.radius_m),
        indicative: spot.indicative,
        note: notes.join("; "),
    }
}

/// Ranking strain of the unloaded shape in the direction and at the face of a spot.
fn unloaded_strain(settled: &Settled<State>, unloaded: &recover::Recovered, spot: &recover::Spot) -> f64 {
    let model = &settled.trial.model;
    let laminate = &model.laminates[spot.laminate as usize];
    let own = unloaded.zone_nodes.iter().find(|z| z.node == spot.node && z.laminate == spot.laminate);
    let ply = laminate.plies.iter().position(|p| p.layer == spot.layer);
    let (Some(own), Some(ply)) = (own, ply) else { return 0.0 };
    if rank_layer(laminate, spot.layer, &own.strain, unloaded.thermal_factor).is_none() {
        return 0.0;
    }
    let strain = laminate.copper_strain_at(ply, spot.z_m, &own.strain, unloaded.thermal_factor);
    recover::along(&strain, spot.direction_rad)
}

pub(crate) fn face(face: recover::Face) -> Face {
    match face {
        recover::Face::Lower => Face::Lower,
        recover::Face::Upper => Face::Upper,
    }
}

pub(super) fn singular(kind: recover::SingularKind) -> SingularKind {
    use recover::SingularKind as Found;
    match kind {
        Found::ClampEnd | Found::ClampCorner | Found::PointSupport => SingularKind::ClampEnd,
        Found::ReentrantCorner => SingularKind::ReentrantCorner,
        Found::StackEdgeEnd | Found::StackCorner => SingularKind::StackEdge,
    }
}
